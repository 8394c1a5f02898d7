#ifndef SEAMHOLD_LIVE_MESSAGE_ORDER_HPP
#define SEAMHOLD_LIVE_MESSAGE_ORDER_HPP

#include "seamhold/live/intake_status.hpp"
#include "seamhold/live/message.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <string>

namespace seamhold {

/// What is allowed of the stamps, numbers and arrivals of a stream. All times in s.
struct OrderOptions {
    double period;               ///< usual time from one message to the next
    double ahead = 0.05;         ///< a stamp may be so much further ahead of its arrival than any before
    double drift_bound = 200e-6; ///< the robot's clock runs at most so much faster or slower, s/s
    double restart = 1;          ///< a stamp further back than this is a restart, not a message overtaken
    double patience = 0.05; ///< what lasts so long is no chance: too old or too new stamps are a step then
    int stuck_count = 3;    ///< so often the same message again is a stuck sender
};

/// Puts the messages of a stream in time: by their stamps, or by their numbers and the period, or, without
/// either, by their arrivals. Tells duplicates, overtaken messages, and stamps that a sound clock would not
/// give. Differences of stamps and numbers are taken as integers, so that nothing overflows whatever comes;
/// numbers may wrap.
///
/// Without stamps and numbers the count is inferred: an arrival is some whole number of periods after the
/// ones before, measured from a line that follows early arrivals fast and late ones slowly; a loss leaves a
/// gap of whole periods. A message later than three quarters of a period is taken for a loss, and the next
/// one, which then comes too soon, is skipped. That works while delays scatter by less than three quarters of
/// a period.
class MessageOrder {
public:
    /// What came of a message, and where it stands.
    struct Place {
        IntakeStatus status;
        RobotTime time;     ///< since the first message; read only where accepted
        std::uint32_t lost; ///< messages missing between this and the one accepted before
    };

    /// Throws BadInput where an option is not what it can be.
    explicit MessageOrder(OrderOptions const& options) : options_(options) {
        auto const require = [](bool good, char const* what, double given, char const* allowed) {
            if (!good)
                throw BadInput(std::string("message order: ") + what + " must be " + allowed +
                               "; given was " + detail::text_of(given));
        };
        auto const time = [&require](char const* what, double given) {
            require(given > 0 && given <= 1e6, what, given, "above 0 s and at most 1e6 s");
        };
        time("the period", options.period);
        time("the way ahead of a stamp", options.ahead);
        time("the way back of a restart", options.restart);
        time("the patience", options.patience);
        require(options.drift_bound >= 0 && options.drift_bound <= 0.1, "the drift bound",
                options.drift_bound, "0 to 0.1");
        require(options.stuck_count >= 1, "the count of a stuck sender", options.stuck_count, "1 or more");
    }

    /// Takes the next message to arrive; arrivals must be finite. `same_values` says whether all but its head
    /// is as it was in the newest before.
    Place take(MessageHead const& head, ScannerTime arrival, bool same_values) {
        if (!begun_)
            return begin(head, arrival);
        if (head.has_stamp != newest_.has_stamp || head.has_number != newest_.has_number)
            return begin_anew(IntakeStatus::restarted);
        auto const counted = static_cast<std::int32_t>(head.number - newest_.number);
        std::int64_t periods = 0; // since the newest, where there are no stamps
        if (!head.has_stamp)
            periods = head.has_number ? counted : periods_until(arrival);
        double const after = head.has_stamp ? seconds_between(newest_.stamp, head.stamp)
                                            : static_cast<double>(periods) * options_.period;
        if (after < 0)
            return older(head, arrival, after, counted);
        if (after == 0 && !head.has_stamp && !head.has_number)
            return {IntakeStatus::late, {0}, 0};
        if (after == 0)
            return same(head.has_number && counted > 0, same_values);
        if (head.has_stamp && head.has_number && counted < 0)
            return begin_anew(IntakeStatus::restarted);

        double const time = head.has_stamp ? seconds_between(first_stamp_, head.stamp)
                                           : static_cast<double>(count_ + periods) * options_.period;
        double const lead = time - (arrival - first_arrival_);
        most_lead_ -= options_.drift_bound * std::max(arrival - newest_arrival_, 0.0);
        newest_arrival_ = std::max(newest_arrival_, arrival);
        if (!(lead <= most_lead_ + options_.ahead))
            return lasts(future_, arrival) ? begin_anew(IntakeStatus::clock_step)
                                           : Place{IntakeStatus::from_the_future, {0}, 0};
        most_lead_ = std::max(most_lead_, lead);
        future_ = behind_ = {};
        same_count_ = 0;
        double missing = head.has_number ? counted - 1.0 : std::floor(after / options_.period - 0.5);
        count_ += periods;
        newest_ = head;
        return {IntakeStatus::accepted, {time}, static_cast<std::uint32_t>(std::clamp(missing, 0.0, 4e9))};
    }

    /// Forgets everything; the next message begins a new count of time.
    void restart() { *this = MessageOrder(options_, Unchecked{}); }

    /// The time of any stamp, ns, as times are counted now; nothing overflows. Read only after a message with
    /// a stamp was accepted.
    RobotTime time_of(std::int64_t stamp) const { return {seconds_between(first_stamp_, stamp)}; }

    /// The stamp that times are counted from, ns; read only after a message with a stamp was accepted.
    std::int64_t first_stamp() const { return first_stamp_; }

private:
    struct Unchecked {};
    MessageOrder(OrderOptions const& options, Unchecked) : options_(options) {}

    // Messages in a row of one fault.
    struct Run {
        int count = 0;
        ScannerTime since{0};
    };

    // Exact as an integer whatever the stamps, then to the nearest double, s.
    static double seconds_between(std::int64_t from, std::int64_t to) {
        auto const a = static_cast<std::uint64_t>(from), b = static_cast<std::uint64_t>(to);
        return to >= from ? static_cast<double>(b - a) * 1e-9 : -(static_cast<double>(a - b) * 1e-9);
    }

    Place begin(MessageHead const& head, ScannerTime arrival) {
        begun_ = true;
        newest_ = head;
        first_stamp_ = head.stamp;
        first_arrival_ = newest_arrival_ = line_ = arrival;
        return {IntakeStatus::accepted, {0}, 0};
    }

    Place begin_anew(IntakeStatus why) {
        restart();
        return {why, {0}, 0};
    }

    bool lasts(Run& run, ScannerTime arrival) const {
        if (run.count == 0)
            run.since = arrival;
        run.count = std::min(run.count + 1, 4);
        return run.count == 4 && arrival - run.since >= options_.patience;
    }

    // A message that speaks of an earlier time than the newest.
    Place older(MessageHead const& head, ScannerTime arrival, double after, std::int32_t counted) {
        if (after < -options_.restart)
            return begin_anew(IntakeStatus::restarted);
        if (head.has_stamp && head.has_number && counted > 0)
            return begin_anew(IntakeStatus::clock_step);
        bool const inferred = !head.has_stamp && !head.has_number;
        if (!inferred && lasts(behind_, arrival))
            return begin_anew(head.has_stamp ? IntakeStatus::clock_step : IntakeStatus::restarted);
        return {IntakeStatus::late, {0}, 0};
    }

    // A message that speaks of the same time as the newest.
    Place same(bool counted_on, bool same_values) {
        same_count_ = std::min(same_count_ + 1, options_.stuck_count);
        if (!same_values || same_count_ >= options_.stuck_count)
            return {IntakeStatus::stuck_stamp, {0}, 0};
        return {counted_on ? IntakeStatus::repeated : IntakeStatus::duplicate, {0}, 0};
    }

    // Whole periods from the newest message to this arrival, by the line; moves the line where it is above 0.
    std::int64_t periods_until(ScannerTime arrival) {
        double const periods = std::clamp(std::floor((arrival - line_) / options_.period + 0.25), -1e9, 1e9);
        if (!(periods > 0))
            return 0;
        double const rest = (arrival - line_) - periods * options_.period;
        line_ = line_ + periods * options_.period + rest * (rest < 0 ? 0.25 : 0.01);
        return static_cast<std::int64_t>(periods);
    }

    OrderOptions options_;
    bool begun_ = false;
    MessageHead newest_{};
    std::int64_t first_stamp_ = 0;
    std::int64_t count_ = 0; ///< periods since the first message, where there are no stamps
    ScannerTime first_arrival_{0}, newest_arrival_{0};
    ScannerTime line_{0};  ///< when the newest message should have arrived
    double most_lead_ = 0; ///< of a stamp over its arrival, since the first message, drift allowed for
    Run behind_, future_;
    int same_count_ = 0;
};

} // namespace seamhold

#endif
