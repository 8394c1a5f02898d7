#ifndef SEAMHOLD_LIVE_CLOCK_ESTIMATOR_HPP
#define SEAMHOLD_LIVE_CLOCK_ESTIMATOR_HPP

#include "seamhold/live/clock_map.hpp"
#include "seamhold/live/lower_line.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>

namespace seamhold {

/// What a `ClockEstimator` assumes. Message stamps cannot tell a clock's offset from a delay that every
/// message has: what the least of all delays is must be known from elsewhere.
struct ClockOptions {
    /// The least time from the stamped moment to the arrival that any message takes, s. For set-points, whose
    /// stamps lie ahead of their arrival, it is negative.
    double least_delay = 0;
    double least_delay_deviation = 0; ///< how well it is known, 1 standard deviation, s
    double drift_bound = 200e-6;      ///< the robot's clock runs at most so much faster or slower, s/s
    double window = 20;               ///< how long a sample counts, s
    double spread = 0.5e-3;           ///< first guess of how far delays scatter above the least, s
    double least_step = 0.5e-3;       ///< a jump of the robot's clock below this is not told from scatter, s
    double persistence = 0.2;         ///< delays grown for so long are a step and not late messages, s
    double restart = 1;               ///< a stamp further back than this is a restart, s
};

/// What a `ClockEstimator` makes of a sample.
enum class ClockStatus : std::uint8_t {
    good,
    few_samples, ///< taken; too few so far to be relied on, since the start or the last step
    late,        ///< left out; later than the scatter so far: a late message, or the beginning of a step back
    refused,     ///< not finite, or not in order; nothing changed
    stepped,     ///< the robot's clock jumped against the scanner's; estimating begins anew with this sample
    restarted    ///< the robot's clock began anew; so does the estimate, with this sample
};

/// Estimates on line what the robot's clock shows from stamps and arrivals. Delays only add, so the true line
/// lies below all points (stamp, arrival − stamp), and near their lower convex envelope. The window is
/// divided into at most 64 blocks, of which the lowest point counts. Given exponential scatter above the
/// line, offset and rate have a joint distribution in closed form; its mean is the estimate and its spread
/// the uncertainty
/// (`LowerLine`). Late messages lie above the envelope and change nothing, however many and however late.
///
/// Each sample costs the same, about a microsecond, whatever the length of the stream; nothing is allocated.
/// Envelope: S. Moon, P. Skelly, D. Towsley, "Estimation and removal of clock skew from network delay
/// measurements", INFOCOM 1999 (from memory); the distribution is ours.
class ClockEstimator {
public:
    /// So many samples make an estimate that may be relied on.
    static constexpr int fewest = 16;

    /// Throws BadInput where an option is not finite, or not above 0 where it must be.
    explicit ClockEstimator(ClockOptions const& options = {}) : options_(options) {
        require(is_finite(options.least_delay), "the least delay", options.least_delay, "finite");
        require(options.least_delay_deviation >= 0 && is_finite(options.least_delay_deviation),
                "the deviation of the least delay", options.least_delay_deviation, "0 or more");
        require(options.drift_bound > 0 && options.drift_bound <= 0.1, "the drift bound", options.drift_bound,
                "above 0 and at most 0.1");
        auto const time = [](char const* what, double given) {
            require(given > 0 && given <= 1e6, what, given, "above 0 s and at most 1e6 s");
        };
        time("the window", options.window);
        time("the first guess of the spread", options.spread);
        time("the least step", options.least_step);
        time("the persistence of a step", options.persistence);
        time("the way back of a restart", options.restart);
    }

    /// Takes one sample: what the robot's clock showed, and when the message that says so arrived. Stamps
    /// must increase and arrivals must not decrease, or the sample is refused; but a stamp that lies further
    /// back than `restart` begins anew. A message that comes earlier than any can is known at once as a step
    /// of the robot's clock forward. A step back looks like late messages at first; it is one when none came
    /// in time for `persistence` and 12 messages.
    ClockStatus add(RobotTime stamp, ScannerTime arrival) {
        if (!is_finite(stamp.seconds) || !is_finite(arrival.seconds))
            return ClockStatus::refused;
        if (samples_ == 0) {
            begin(stamp, arrival);
            return ClockStatus::few_samples;
        }
        if (arrival < newest_arrival_)
            return ClockStatus::refused;
        if (stamp - newest_stamp_ < -options_.restart) {
            begin(stamp, arrival);
            return ClockStatus::restarted;
        }
        if (!(stamp > newest_stamp_))
            return ClockStatus::refused;

        double const x = stamp - first_stamp_;
        double const y = (arrival - first_arrival_) - x;
        lateness_ = y - line_.at(x);
        double const slack = options_.least_step + 6 * std::sqrt(line_.variance(x));
        bool const few = samples_ < fewest;
        if (!(lateness_ >= -(slack + 2 * line_.typical_height()))) { // nor a difference that overflowed
            begin(stamp, arrival);
            return few ? ClockStatus::few_samples : ClockStatus::stepped;
        }
        bool const is_late = follow_late_run(arrival, slack);
        if (late_count_ >= least_late && arrival - late_since_ >= options_.persistence) {
            begin(stamp, arrival);
            return ClockStatus::stepped;
        }
        newest_stamp_ = stamp;
        newest_arrival_ = arrival;
        if (is_late)
            return ClockStatus::late;
        ++samples_;
        take(x, y);
        line_.fit({blocks_.data(), count_}, options_.drift_bound, options_.spread);
        return samples_ < fewest ? ClockStatus::few_samples : ClockStatus::good;
    }

    /// Forgets everything.
    void restart() {
        samples_ = 0;
        count_ = 0;
        block_size_ = 1;
        late_count_ = 0;
        lateness_ = 0;
    }

    /// Whether there were samples enough since the start or the last step.
    bool known() const { return samples_ >= fewest; }

    /// Samples taken since the start or the last step.
    std::uint64_t samples() const { return samples_; }

    /// The clocks' relation, about the newest sample; the straight line stays good for as long as the clocks'
    /// rates stay the same. Before the first sample it is the identity.
    ClockMap map() const {
        if (samples_ == 0)
            return {{0}, {0}, 1};
        double const x = newest_stamp_ - first_stamp_;
        return {first_arrival_ + (x + line_.at(x) - options_.least_delay), newest_stamp_,
                1 / (1 + line_.slope())};
    }

    /// How uncertain `map` is at a moment of the scanner's clock, s, 1 standard deviation: that of the
    /// envelope, and that of the least delay. It grows with the time since the newest sample. Before the
    /// first sample it is infinite.
    double deviation(ScannerTime t) const {
        if (samples_ == 0)
            return std::numeric_limits<double>::infinity();
        double const of_line = line_.variance((newest_stamp_ - first_stamp_) + (t - newest_arrival_));
        return std::sqrt(of_line + options_.least_delay_deviation * options_.least_delay_deviation);
    }

    /// How uncertain the rate of `map` is, 1 standard deviation, s/s.
    double rate_deviation() const { return samples_ == 0 ? options_.drift_bound : line_.slope_deviation(); }

    /// How much longer than the least delay the newest sample took, s, as it was known when it came.
    double lateness() const { return lateness_; }

private:
    static constexpr std::size_t most_blocks = 64;
    static constexpr int least_late = 12;

    static void require(bool good, char const* what, double given, char const* allowed) {
        if (!good)
            throw BadInput(std::string("clock estimator: ") + what + " must be " + allowed + "; given was " +
                           detail::text_of(given));
    }

    void begin(RobotTime stamp, ScannerTime arrival) {
        restart();
        samples_ = 1;
        first_stamp_ = newest_stamp_ = stamp;
        first_arrival_ = newest_arrival_ = arrival;
        take(0, 0);
        line_.fit({blocks_.data(), count_}, options_.drift_bound, options_.spread);
    }

    // A run of messages none of which came in time. Twelve exponential delays in a row above 20/12 of their
    // mean happen once in e²⁰ runs.
    bool follow_late_run(ScannerTime arrival, double slack) {
        bool const is_late = lateness_ > slack + 20.0 / least_late * line_.scatter();
        if (!is_late)
            late_count_ = 0;
        else if (late_count_++ == 0)
            late_since_ = arrival;
        return is_late;
    }

    // Puts a point into the newest block, or begins a block; where all are taken, blocks are joined in pairs
    // until the window is reached, and then the oldest goes.
    void take(double x, double y) {
        LowPoint const point{x, y, 1};
        if (count_ > 0 && blocks_[count_ - 1].count < block_size_) {
            blocks_[count_ - 1] = lower(blocks_[count_ - 1], point);
        } else {
            if (count_ == most_blocks && x - blocks_[0].x < 0.5 * options_.window) {
                for (std::size_t i = 0; i < most_blocks / 2; ++i)
                    blocks_[i] = lower(blocks_[2 * i], blocks_[2 * i + 1]);
                count_ = most_blocks / 2;
                block_size_ *= 2;
            } else if (count_ == most_blocks) {
                drop(1);
            }
            blocks_[count_++] = point;
        }
        std::size_t old = 0;
        while (old + 1 < count_ && blocks_[old].x < x - options_.window)
            ++old;
        if (old > 0)
            drop(old);
    }

    void drop(std::size_t oldest) {
        std::copy(blocks_.begin() + static_cast<std::ptrdiff_t>(oldest),
                  blocks_.begin() + static_cast<std::ptrdiff_t>(count_), blocks_.begin());
        count_ -= oldest;
    }

    // The one of two that lies lower above the line, for both.
    LowPoint lower(LowPoint const& a, LowPoint const& b) const {
        bool const second = b.y - a.y < line_.slope() * (b.x - a.x);
        LowPoint r = second ? b : a;
        r.count = a.count + b.count;
        return r;
    }

    ClockOptions options_;
    std::uint64_t samples_ = 0;
    RobotTime first_stamp_{0}, newest_stamp_{0};
    ScannerTime first_arrival_{0}, newest_arrival_{0};
    double lateness_ = 0;
    std::array<LowPoint, most_blocks> blocks_{};
    std::size_t count_ = 0;
    double block_size_ = 1;
    std::uint64_t late_count_ = 0;
    ScannerTime late_since_{0};
    LowerLine<most_blocks> line_{};
};

} // namespace seamhold

#endif
