#ifndef SEAMHOLD_LIVE_PASS_TRACKER_HPP
#define SEAMHOLD_LIVE_PASS_TRACKER_HPP

#include "seamhold/live/error_record.hpp"
#include "seamhold/live/forecast.hpp"
#include "seamhold/live/message.hpp"
#include "seamhold/live/pass_places.hpp"
#include "seamhold/live/pass_settings.hpp"
#include "seamhold/number/gradient.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

namespace seamhold {

/// How far a tracker is.
enum class PassState : std::uint8_t {
    idle,      ///< nobody said that the program runs
    searching, ///< the program's place is being looked for
    settling,  ///< it was found some samples ago
    following, ///< forecasts are good
    ended,     ///< the pass has no more data where the program is or soon will be
    lost       ///< what came is not the recorded program: begin again with `start` or `search`
};

/// Predicts from a recorded earlier pass of the same program: how far the program is and what this pass
/// deviates by, instead of how the robot moves. A deviation is small and slow, so that noise can be averaged
/// out of it over many samples, and what the program does next is known from the record, however jerky. In
/// the receiving thread; no heap after construction, no exception, no lock.
///
/// What it cannot know: whether a deviation along the motion is one or a delay, until the motion changes;
/// both are estimated together and the forecast of the pose is right either way. Where the pass stands still,
/// how far the program is. Rates that come with samples are not used.
class PassTracker {
public:
    /// For an earlier pass in the robot's time, recorded at full override. Throws BadInput for settings that
    /// cannot be.
    PassTracker(PoseLog<Cell, Flange> const& pass, PassSettings const& settings)
        : settings_(settings.checked()),
          places_(pass, std::max(0.01, norm(settings.spot - Point<Flange>{0, 0, 0}))),
          record_({settings.period, settings.period, settings.coverage}), noise_square_(sqr(settings.noise)) {
    }

    /// The program is at `program_time` s of the pass, known within ± `uncertainty` s, at robot time `at`:
    /// from a signal that the robot sets at its start.
    void start(double program_time, RobotTime at, double uncertainty) {
        range_ = {program_time - uncertainty, program_time + uncertainty};
        told_ = true;
        told_at_ = at.seconds;
        begin();
    }

    /// The program is somewhere between two times of the pass, s. It is found once the robot moves and just
    /// one place fits.
    void search(double from, double to) {
        range_ = {from, to};
        told_ = false;
        begin();
    }

    /// Nothing is known any more, not even that the program runs.
    void forget() { state_ = PassState::idle; }

    /// How fast the program is taken to run from the next sample on. At first `Pace::steady`.
    void pace(Pace pace) {
        if (pace_ == pace)
            return;
        pace_ = pace;
        if (pace == Pace::steady)
            filter_.put(filter_.program_time(), filter_.time_uncertainty(), 1, 0);
        else
            filter_.put(filter_.program_time(), filter_.time_uncertainty(), 1, 0.1);
    }

    /// How fast the program is taken to run.
    Pace pace() const { return pace_; }

    /// Takes in a sample. False, and nothing happens, for one that is not after the newest or not finite.
    bool add(Sample<7> const& sample) {
        bool good = is_finite(sample.time.seconds);
        for (double const v : sample.value)
            good = good && is_finite(v);
        if (!good || (any_ && !(sample.time.seconds > time_)))
            return false;
        double const dt = any_ ? sample.time.seconds - time_ : 0;
        any_ = true;
        time_ = sample.time.seconds;
        auto scaled = places_.scaled(sample.value);
        remember(scaled);
        if (dt > settings_.longest_gap && (state_ == PassState::settling || state_ == PassState::following))
            state_ = PassState::lost;
        if (state_ == PassState::searching)
            find(scaled);
        else if (state_ == PassState::settling || state_ == PassState::following ||
                 state_ == PassState::ended)
            follow(scaled, dt);
        foretell(sample);
        return true;
    }

    /// Whether `forecast` may be used.
    bool ready() const { return state_ == PassState::following && strange_ == 0; }

    /// How far it is.
    PassState state() const { return state_; }

    /// The program's time at the newest sample, s of the pass.
    double program_time() const { return filter_.program_time(); }

    /// How uncertain it is, 1 standard deviation, s.
    double program_time_uncertainty() const { return filter_.time_uncertainty(); }

    /// The forecast from the newest sample on. `number`, `made` and the clock are left to the receiver. With
    /// a fault unless `ready`: `few_samples` while the place is being found and after the end of the pass,
    /// `disagrees` where what came is not the recorded program.
    Forecast<7> const& forecast() const { return forecast_; }

private:
    static constexpr double vague = 1e-3; // a start told more vaguely waits until the robot moves, s
    static constexpr double place_uncertainty = 0.004; // of a place found by one sample, s
    static constexpr double wait_begins = 0.03;  // so far beside a wait a robot may still stand in it, s
    static constexpr double unseen_start = 0.02; // a start is seen after so many s of the program
    static constexpr double noise_samples = 250; // the noise is the mean over about so many
    static constexpr int settling_samples = 15;
    static constexpr std::size_t remembered = 32;

    detail::PassModel model() const {
        return {settings_.deviation / std::sqrt(2.0), settings_.variation,
                pace_ == Pace::steady ? 0.0 : settings_.rate_change, settings_.drift, settings_.stamp_noise};
    }

    // Of a component: half of what is at the spot comes from the flange's place, half from its turn.
    double row_variance() const { return noise_square_ / 2; }
    // Of a component of a sample against the pass: both have noise.
    double variance() const { return 2 * row_variance(); }

    void begin() {
        state_ = PassState::searching;
        held_ = 0;
        strange_ = 0;
        record_.restart();
    }

    void remember(detail::PassComponents const& sample) {
        past_[newest_ = (newest_ + 1) % remembered] = {time_, sample};
        held_ = std::min(held_ + 1, remembered);
    }

    // By how much the samples moved within the last 80 ms; 0 where that is little.
    detail::PassComponents moved() const {
        detail::PassComponents way{};
        double length = 0;
        for (std::size_t back = 1; back < held_; ++back) {
            auto const& old = past_[(newest_ + remembered - back) % remembered];
            if (time_ - old.time > 0.08)
                break;
            length = 0;
            for (std::size_t d = 0; d < 3; ++d) {
                way[d] = past_[newest_].at[d] - old.at[d];
                length += sqr(way[d]);
            }
        }
        return length > sqr(10) * noise_square_ ? way : detail::PassComponents{};
    }

    void find(detail::PassComponents const& sample) {
        bool const steady = pace_ == Pace::steady;
        auto within = range_;
        double expected = (range_.from + range_.to) / 2;
        if (told_) {
            double const since = time_ - told_at_;
            within.to += std::max(0.0, steady ? since : since * settings_.largest_rate);
            if (steady) {
                within.from += since;
                expected += since;
            }
        }
        auto const way = moved();
        bool const rests = sqr(way[0]) + sqr(way[1]) + sqr(way[2]) == 0;
        auto const found = places_.nearest(sample, way, within, settings_.largest_deviation,
                                           rests ? 2 * settings_.deviation : 0, expected);
        if (!found.any || !(found.alone || told_))
            return;
        // A robot at rest may be anywhere that it passes by, and a rest says nothing of when it ends.
        auto const still = places_.still_at(found.time);
        double const told = (range_.to - range_.from) / 2;
        if (rests && (!told_ || (told > vague && (steady || still.from <= still.to))))
            return;
        filter_.start(found.time, std::max(place_uncertainty, rests ? told : 0.0), steady ? 1 : 0.5,
                      steady ? 0 : 0.5, model());
        state_ = PassState::settling;
        highest_ = found.time - 2 * filter_.time_uncertainty();
        since_found_ = 0;
        strange_ = 0;
        take_in(sample);
    }

    auto pass() const {
        return [this](double program_time) { return places_.at(program_time); };
    }

    // With the sign of its quaternion as the pass has it.
    detail::PassComponents agreed(detail::PassComponents sample) const {
        auto const at = places_.at(filter_.program_time()).value;
        if (sample[3] * at[3] + sample[4] * at[4] + sample[5] * at[5] + sample[6] * at[6] < 0)
            for (std::size_t d = 3; d < 7; ++d)
                sample[d] = -sample[d];
        return sample;
    }

    void take_in(detail::PassComponents const& sample) {
        filter_.take_in(agreed(sample), pass(), model(), variance());
        if (pace_ == Pace::steady)
            return;
        filter_.hold_rate(0, settings_.largest_rate);
        // A program does not go back, but for what noise makes of it.
        double const least = highest_ - 0.002 - 3 * filter_.time_uncertainty();
        if (filter_.program_time() < least)
            filter_.put(least, filter_.time_uncertainty(), 0, std::max(0.1, filter_.rate_uncertainty()));
        highest_ = std::max(highest_, filter_.program_time());
    }

    double deviation() const {
        double sum = 0;
        for (std::size_t d = 0; d < 7; ++d)
            sum += sqr(filter_.coefficient(d, 0, model()));
        return std::sqrt(sum);
    }

    // How far a sample is from the pass where a filter believes the program to be, m.
    double off(detail::PassComponents const& sample, detail::PassFilter const& filter) const {
        auto const here = places_.at(filter.program_time()).value;
        double sum = 0;
        for (std::size_t d = 0; d < 7; ++d)
            sum += sqr(sample[d] - here[d]);
        return std::sqrt(sum);
    }

    // Where the course turns back on itself, after a wait or after a sudden change of the rate the place may
    // have been taken wrong. Whether a little further on is one that fits much better; then goes on from
    // there.
    bool regain(detail::PassComponents const& sample) {
        auto const found = places_.nearest(sample, moved(), places_.ahead(highest_ - 0.01, 0.3),
                                           settings_.largest_deviation, 0, filter_.program_time());
        if (!found.any)
            return false;
        auto other = filter_;
        other.start(found.time, place_uncertainty, std::max(0.2, filter_.rate()), 0.5, model());
        auto const now = agreed(sample);
        other.take_in(now, pass(), model(), variance());
        if (!(off(now, other) < 0.6 * off(now, filter_)))
            return false;
        filter_ = other;
        return true;
    }

    // The wait of the pass in which a robot at this sample may stand, also one that is about to begin or has
    // just ended; empty where there is none.
    detail::PassPlaces::Stretch wait_at(detail::PassComponents const& sample) const {
        double const now = filter_.program_time();
        auto const seen = agreed(sample);
        for (double const t : {now, now + wait_begins, now - wait_begins}) {
            auto const still = places_.still_at(t);
            if (still.from > still.to)
                continue;
            auto const there = places_.at(still.from).value;
            double away = 0;
            for (std::size_t d = 0; d < 7; ++d)
                away += sqr(seen[d] - there[d] - filter_.coefficient(d, 0, model()));
            if (t == now || away < sqr(6) * noise_square_)
                return still;
        }
        return {0, -1};
    }

    void follow(detail::PassComponents const& sample, double dt) {
        bool const tracked = pace_ == Pace::tracked;
        auto const still = wait_at(sample);
        bool const waits = tracked && still.from <= still.to;
        if (waits) {
            // How far a wait is cannot be seen. It is taken to last as long as it did, and then to go on
            // until the robot moves.
            double const time = std::clamp(filter_.program_time() + dt, still.from, still.to);
            filter_.put(time, place_uncertainty, 0, 0);
            filter_.go_on(dt, model());
            filter_.put(time, place_uncertainty, 0, 0);
        } else {
            filter_.go_on(dt, model());
        }
        auto surprise = filter_.surprise(agreed(sample), pass(), model(), variance());
        if (waits && surprise.mean_square > 4 && sqr(surprise.length) > sqr(6) * noise_square_) {
            auto const found = places_.nearest(sample, detail::PassComponents{}, places_.ahead(still.to, 0.3),
                                               settings_.largest_deviation, 0, still.to);
            filter_.put(found.any ? found.time : still.to, 2 * place_uncertainty, 0.5, 0.5);
            surprise = filter_.surprise(agreed(sample), pass(), model(), variance());
        }
        bool strange = surprise.mean_square > 20 && surprise.length > 2 * settings_.deviation;
        if (tracked && (strange || deviation() > 4 * settings_.deviation) && regain(sample))
            strange = false;
        strange_ = strange ? strange_ + 1 : 0;
        if (!strange) {
            // The squares that are expected have a mean of 1. By 0.1 µm at least, and 0.2 mm at most.
            noise_square_ *= 1 + (std::min(surprise.mean_square, 4.0) - 1) / noise_samples;
            noise_square_ = std::clamp(noise_square_, 1e-14, 4e-8);
            take_in(sample);
        }
        // When it is tracked the place is looked for anew for a while.
        if (strange_ >=
                (tracked ? std::max(3, static_cast<int>(settings_.longest_gap / settings_.period)) : 3) ||
            deviation() > settings_.largest_deviation) {
            state_ = PassState::lost;
            return;
        }
        if (++since_found_ >= settling_samples)
            state_ = PassState::following;
        if (!places_.covers(filter_.program_time(), filter_.program_time() + 0.04))
            state_ = PassState::ended;
    }

    // Fills the forecast, and has its stated error from the record.
    void foretell(Sample<7> const& sample) {
        Forecast<7>& f = forecast_ = {};
        f.newest = f.about = {time_};
        f.on_pass = true;
        f.fault = ready()                                     ? StreamFault::none
                  : state_ == PassState::lost || strange_ > 0 ? StreamFault::disagrees
                                                              : StreamFault::few_samples;
        if (state_ != PassState::settling && state_ != PassState::following)
            return;
        f.program_time = filter_.program_time();
        f.program_rate = filter_.rate();
        auto const model = this->model();
        for (std::size_t d = 0; d < 7; ++d)
            for (int k = 0; k < 4; ++k)
                f.coefficient[k][d] = filter_.coefficient(d, k, model) / places_.scale()[d];

        auto const now = components(f, Taylor<double, 1>::variable(time_));
        auto const spot = spot_of(now);
        auto const by = spot_by_components(now);
        SpotCourse course{};
        course.newest = f.newest;
        std::array<double, 7> seen;
        std::copy(sample.value, sample.value + 7, seen.begin());
        course.seen = spot_of(seen);
        course.velocity = {spot.x.coefficient[1], spot.y.coefficient[1], spot.z.coefficient[1]};
        for (std::size_t d = 0; d < 7; ++d)
            detail::add_square(course.noise, {by[0][d], by[1][d], by[2][d]}, row_variance());
        detail::add_square(course.noise, moved_by(by, places_.at(f.program_time).slope),
                           sqr(settings_.stamp_noise));
        for (std::size_t i = 0; i < SpotError::count; ++i) {
            double const dt = settings_.period * static_cast<double>(i + 1);
            course.place[i] = spot_of(components(f, time_ + dt));
            auto const slope = places_.at(f.program_time + dt * f.program_rate).slope;
            auto const m = filter_.moments(dt, by, slope, model, row_variance());
            std::copy(m.begin(), m.end(), course.moment[i]);
        }
        f.speed = norm(course.velocity);
        f.error = record_.add(course);
        if (pace_ == Pace::tracked)
            allow_for_end_of_wait(by);
    }

    // At any time a robot that waits may go on, or did so unseen, which no record foretells. What that may
    // make at most is what is stated, in whole.
    void allow_for_end_of_wait(std::array<detail::PassComponents, 3> const& by) {
        auto const still = places_.still_at(forecast_.program_time);
        if (still.from > still.to)
            return;
        auto const waiting = places_.at(still.to).value;
        for (std::size_t i = 0; i < SpotError::count; ++i) {
            double const dt = settings_.period * static_cast<double>(i + 1);
            auto way = places_.at(still.to + settings_.largest_rate * (dt + unseen_start)).value;
            for (std::size_t d = 0; d < 7; ++d)
                way[d] -= waiting[d];
            detail::add_square(forecast_.error.moment[i], moved_by(by, way), 1 / sqr(forecast_.error.factor));
        }
    }

    // How the spot moves where the components, m, move.
    static Direction<Cell> moved_by(std::array<detail::PassComponents, 3> const& by,
                                    detail::PassComponents const& way) {
        Direction<Cell> r{0, 0, 0};
        for (std::size_t d = 0; d < 7; ++d)
            r = r + way[d] * Direction<Cell>{by[0][d], by[1][d], by[2][d]};
        return r;
    }

    template <class T> std::array<T, 7> components(Forecast<7> const& f, T const& t) const {
        auto r = f.cubic(t);
        auto const base = places_.pass().components(f.program_at(t));
        for (std::size_t d = 0; d < 7; ++d)
            r[d] = r[d] + base[d];
        return r;
    }

    template <class T> Point<Cell, T> spot_of(std::array<T, 7> const& c) const {
        return Pose<Cell, Flange, T>{rotation_of<Cell, Flange>(Quaternion<T>{c[3], c[4], c[5], c[6]}),
                                     {c[0], c[1], c[2]}} *
               settings_.spot;
    }

    // What the spot moves by for each component in m.
    template <class T>
    std::array<detail::PassComponents, 3> spot_by_components(std::array<T, 7> const& at) const {
        std::array<Gradient<double, 7>, 7> c;
        for (std::size_t d = 0; d < 7; ++d)
            c[d] = Gradient<double, 7>::variable(value_of(at[d]), static_cast<int>(d));
        auto const p = spot_of(c);
        std::array<detail::PassComponents, 3> r;
        for (std::size_t d = 0; d < 7; ++d) {
            r[0][d] = p.x.partial[d] / places_.scale()[d];
            r[1][d] = p.y.partial[d] / places_.scale()[d];
            r[2][d] = p.z.partial[d] / places_.scale()[d];
        }
        return r;
    }

    struct Past {
        double time;
        detail::PassComponents at;
    };

    PassSettings settings_;
    detail::PassPlaces places_;
    detail::PassFilter filter_{};
    ErrorRecord record_;
    Forecast<7> forecast_{};
    std::array<Past, remembered> past_{};
    std::size_t newest_ = 0, held_ = 0;
    detail::PassPlaces::Stretch range_{0, 0};
    bool told_ = false, any_ = false;
    double told_at_ = 0;
    double noise_square_; ///< of a sample at the spot, as measured, m²
    double highest_ = 0;  ///< that the program's time has been, s
    double time_ = 0;
    int since_found_ = 0, strange_ = 0;
    Pace pace_ = Pace::steady;
    PassState state_ = PassState::idle;
};

} // namespace seamhold

#endif
