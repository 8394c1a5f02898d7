#ifndef SEAMHOLD_LIVE_RECEIVER_HPP
#define SEAMHOLD_LIVE_RECEIVER_HPP

#include "seamhold/live/clock_estimator.hpp"
#include "seamhold/live/error_record.hpp"
#include "seamhold/live/intake.hpp"
#include "seamhold/live/live_link.hpp"
#include "seamhold/live/pass_tracker.hpp"
#include "seamhold/live/predictor.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <utility>

namespace seamhold {

/// What a `Receiver` is made from.
struct ReceiverSettings {
    double period;                         ///< usual time between messages, s
    IntakeOptions intake;                  ///< what is allowed of messages
    ClockOptions clock = {};               ///< what is assumed of the two clocks; the least delay stands here
    int order = 2;                         ///< of the extrapolation: 1 speed, 2 acceleration, 3 jerk
    double coverage = 0.99;                ///< how often the stated error is to hold
    double lead = 0;                       ///< from a tick to the moment that its command answers, s
    double servo_lag = 0;                  ///< of set-points: the robot is there so much later, s
    std::array<double, 16> joint_lag = {}; ///< of set-points of joints, each its own, on top, s: then
                                           ///< `ForecastArm` is given none
    double disagreement = 6; ///< a sample so many stated errors off what was foretold shuts the gate,
    double least_disagreement = 0.1e-3; ///< but not below this, m
    int agreeing = 5;                   ///< so many samples must agree again before it may open
    double sweep_speed = 0; ///< of the spot's point at full override, m/s, to measure the program's rate by
                            ///< where there is no pass; 0: the rate is not measured and counts as 1

    /// For a stream with so many s from message to message.
    static ReceiverSettings of(double period) {
        ReceiverSettings s{period, {{period}}};
        return s;
    }
};

/// The receiving thread's side: messages in, forecasts out. It checks each message, keeps the clocks'
/// relation, foretells from the last arrivals, or, where an earlier pass of the program is given, from what
/// this pass deviates by, and states how wrong that is. Bounded time (some tens of microseconds a message),
/// no heap, no exception, no lock after it is made. One thread uses it.
///
/// A sample that lies far from what was foretold shuts the gate: `disagreement` stated errors and
/// `least_disagreement` off. Alone it is taken for wrong and left out; after five that agree all is as
/// before. A second in a row is taken for true, a robot that was struck or a clock that jumped by little: the
/// motion, the clocks and the program's time are learnt anew, which takes 21 samples and a `start`. What
/// cannot be told is a sample off by less, and a clock that jumps by less than `least_disagreement` over the
/// speed and than `ClockOptions::least_step`: choose these so that together they stay within the tolerance.
///
/// With set-points ahead a forecast is good up to some two periods beyond the moment that it was asked for;
/// beyond, errors are stated that grow as those of a cubic through four points do.
///
/// `Message` is a PoseMessage or a JointMessage<N>; `SpotOf` gives the place of the tool's point at which
/// errors are stated (a FlangeSpot; for joints anything from N joints to a point of the cell).
template <class Message, class SpotOf = FlangeSpot> class Receiver {
public:
    static constexpr int size = Intake<Message>::size; ///< numbers of a sample
    using Out = Forecast<size>;                        ///< what comes out
    static_assert(size <= 16, "lags are kept for up to sixteen joints");

    /// Throws BadInput for settings that are not possible.
    Receiver(ReceiverSettings const& settings, SpotOf spot)
        : settings_(checked(settings)), spot_(std::move(spot)), intake_(settings.intake),
          clock_(settings.clock), predictor_({settings.period, settings.order}),
          record_({settings.period, settings.period, settings.coverage}) {}

    /// The same with a recorded earlier pass of the program; poses only.
    Receiver(ReceiverSettings const& settings, SpotOf spot, PoseLog<Cell, Flange> const& pass,
             PassSettings const& pass_settings) requires(size == 7)
        : Receiver(settings, std::move(spot)) {
        pass_.emplace(pass);
        tracker_.emplace(pass, pass_settings);
    }

    /// The program was, or will be, at `program_time` s of its own time at robot time `at`, known to ±
    /// `uncertainty` s. Without this no seam is welded.
    void start(double program_time, RobotTime at, double uncertainty = 0.01) {
        program_ = Program{program_time, at};
        if (tracker_)
            tracker_->start(program_time, at, uncertainty);
    }

    /// The program stands somewhere between two of its times, s: the pass tracker looks for the place.
    void search(double from, double to) {
        if (tracker_)
            tracker_->search(from, to);
    }

    /// Whether `start` was called, and nothing came since that makes it void: a jump of the robot's clock, or
    /// samples that disagree with what was foretold, two in a row. Of no matter while a pass is followed.
    bool knows_program() const { return program_.has_value(); }

    /// To weld, or to follow any override in a dry run; with a pass only.
    void pace(Pace pace) {
        if (tracker_)
            tracker_->pace(pace);
    }

    /// The robot time of a stamp, ns; of use once a message with a stamp has come.
    RobotTime robot_time(std::int64_t stamp) const {
        return {static_cast<double>(stamp - intake_.first_stamp()) * 1e-9};
    }

    /// What the clocks are known to be.
    ClockEstimator const& clock() const { return clock_; }

    /// The pass tracker, where there is one.
    std::optional<PassTracker> const& tracker() const { return tracker_; }

    /// What came of the newest message.
    IntakeStatus status() const { return status_; }

    /// Takes a message that has arrived and writes what follows from it into the link, with a sign of life.
    void receive(Message const& message, ScannerTime arrival, LiveLink<size>& link) {
        if (auto const forecast = take(message, arrival))
            static_cast<void>(link.forecasts.push(*forecast)); // a full queue is counted there, and ages
        link.beat(arrival);
    }

    /// The same without a link. Nothing where the message tells nothing new: the link was at fault.
    std::optional<Out> take(Message const& message, ScannerTime arrival) {
        auto taken = intake_.take(message, arrival);
        status_ = taken.status;
        if (auto const fault = fault_of(taken.status); fault != StreamFault::none)
            return faulty(fault, arrival, taken.status);
        if (taken.status != IntakeStatus::accepted)
            return std::nullopt;

        RobotTime const stamp = taken.sample.time;
        if (taken.sample.kind == SampleKind::set_point)
            taken.sample.time = stamp + settings_.servo_lag;
        // One that disagrees is left out: it may be wrong as a whole, its stamp too. A second in a row is
        // taken for what is, a robot that was struck or a clock that jumped by little; nothing learnt from
        // the stream before holds any more.
        strays_ = follows_forecast(taken.sample) ? 0 : std::min(strays_ + 1, 3);
        agreed_ = strays_ == 0 ? std::min(agreed_ + 1, settings_.agreeing) : 0;
        if (strays_ == 1)
            return faulty(StreamFault::disagrees, arrival, taken.status);
        auto const clock = clock_.add(stamp, arrival);
        if (clock == ClockStatus::stepped || clock == ClockStatus::restarted)
            return faulty(StreamFault::clock_step, arrival, IntakeStatus::clock_step);
        if (strays_ == 2) {
            learn_anew();
            clock_.restart();
            clock_.add(stamp, arrival);
        }
        if (!predictor_.add(taken.sample))
            return std::nullopt;
        if (tracker_)
            if constexpr (size == 7)
                tracker_->add(taken.sample);
        last_ = made(arrival);
        return last_;
    }

private:
    struct Program {
        double time;
        RobotTime at;
    };

    static ReceiverSettings const& checked(ReceiverSettings const& s) {
        auto const need = [](char const* what, double given, bool fine, char const* allowed) {
            if (!fine || !is_finite(given))
                throw BadInput(std::string("receiver: ") + what + " is " + detail::text_of(given) +
                               ", but must be " + allowed);
        };
        need("the lead", s.lead, s.lead >= 0, "0 s or above");
        need("the servo lag", s.servo_lag, s.servo_lag >= 0, "0 s or above");
        for (double const lag : s.joint_lag)
            need("a joint's lag", lag, lag >= 0, "0 s or above");
        need("the disagreement", s.disagreement, s.disagreement > 1, "above 1");
        need("the least disagreement", s.least_disagreement, s.least_disagreement > 0, "above 0 m");
        need("the count of agreeing samples", s.agreeing, s.agreeing >= 1, "1 or more");
        need("the sweep speed", s.sweep_speed, s.sweep_speed >= 0, "0 m/s or above");
        return s;
    }

    std::array<double, size> values_at(Out const& f, double t) const {
        auto r = f.cubic(t);
        if constexpr (size == 7)
            if (f.on_pass && pass_) {
                auto const base = pass_->components(f.program_at(t));
                for (std::size_t d = 0; d < 7; ++d)
                    r[d] += base[d];
            }
        return r;
    }

    /// Whether a sample lies where the last forecast said, at its own horizon.
    bool follows_forecast(Sample<size> const& sample) const {
        if (last_.number == 0 || last_.fault == StreamFault::few_samples || !predictor_.ready())
            return true;
        std::array<double, size> seen;
        std::copy(sample.value, sample.value + size, seen.begin());
        // An interpolation says nothing of the newest set-point: then what was extrapolated is compared.
        auto const foretold = last_.on_pass ? values_at(last_, sample.time.seconds)
                                            : predictor_.extrapolate().at(sample.time.seconds);
        auto const off = spot_(seen) - spot_(foretold);
        double const length = norm(off);
        if (length <= settings_.least_disagreement)
            return true;
        double const horizon = sample.time - (last_.on_pass ? last_.newest : predictor_.newest().time);
        double const stated = error_.bound((1 / length) * off, horizon);
        return length <= settings_.disagreement * stated;
    }

    /// What goes out where the sender is at fault; after a jump of its time all begins anew.
    Out faulty(StreamFault fault, ScannerTime arrival, IntakeStatus status) {
        agreed_ = 0;
        if (status == IntakeStatus::clock_step || status == IntakeStatus::restarted) {
            if (status_ != IntakeStatus::accepted)
                clock_.restart(); // times are counted anew from the next message
            learn_anew();
            if (tracker_)
                tracker_->forget();
        }
        last_.number = ++number_;
        last_.made = arrival;
        last_.fault = fault;
        return last_;
    }

    /// What was foretold before says nothing of what comes; how wrong forecasts are is kept.
    /// How far the program is must be told anew, or be found by the tracker.
    void learn_anew() {
        predictor_.restart();
        record_.restart();
        program_.reset();
    }

    Out made(ScannerTime arrival) {
        auto const course = spot_course(predictor_, spot_, settings_.period);
        // What was foretold from the first few samples says nothing of what comes after.
        auto const error = predictor_.ready() ? record_.add(course) : SpotError{};
        Out f{};
        bool on_pass = false;
        if constexpr (size == 7)
            if (tracker_ && tracker_->ready()) {
                f = tracker_->forecast();
                on_pass = true;
            }
        f.number = ++number_;
        f.made = arrival;
        f.clock = clock_.map();
        f.clock_uncertainty = clock_.deviation(arrival);
        if (!on_pass) {
            f.error = error;
            foretell(f, f.clock.robot_at(arrival + settings_.lead), course);
            f.speed = norm(course.velocity);
            tell_program(f);
        } else if (tracker_->pace() == Pace::steady) {
            f.measured_rate = rate_against_pass(course, f.program_time);
        } else {
            f.measured_rate = f.program_rate;
        }
        error_ = on_pass ? f.error : error;
        if (f.fault == StreamFault::none) {
            if (!clock_.known() || !predictor_.ready() || (!on_pass && !(record_.ready() && program_)))
                f.fault = StreamFault::few_samples;
            else if (agreed_ < settings_.agreeing)
                f.fault = StreamFault::disagrees;
        }
        return f;
    }

    /// The cubic from the last arrivals: each quantity at its own lag, all about one moment.
    void foretell(Out& f, RobotTime from, SpotCourse const& course) const {
        double const period = settings_.period;
        f.about = from + 0.75 * period;
        f.newest = {std::numeric_limits<double>::infinity()};
        bool interpolated = false;
        for (std::size_t d = 0; d < size; ++d) {
            double const lag = lag_of(d);
            auto const p = predictor_.predict(from + -lag);
            // Where a set-point cubic ends it is worth no more than an extrapolation, or less.
            RobotTime const known = (p.interpolated ? p.about + period : p.newest) + lag;
            f.newest = std::min(f.newest, known);
            interpolated = interpolated || p.interpolated;
            double const shift = f.about - (p.about + lag);
            double c[4];
            for (int k = 0; k < 4; ++k)
                c[k] = p.coefficient[k][d];
            for (int k = 0; k < 3; ++k) // Horner's scheme, for another middle
                for (int i = 2; i >= k; --i)
                    c[i] += shift * c[i + 1];
            for (int k = 0; k < 4; ++k)
                f.coefficient[k][d] = c[k];
        }
        if (interpolated)
            beyond_interpolation(f.error, course.noise);
    }

    /// A cubic through four places, h periods beyond the last, is off by their noise times the root of the
    /// sum of its weights' squares.
    static void beyond_interpolation(SpotError& error, double const (&noise)[6]) {
        for (std::size_t k = 0; k < SpotError::count; ++k) {
            auto const h = static_cast<double>(k + 1);
            double const weight[4] = {h * (h + 1) * (h + 2) / 6, h * (h + 1) * (h + 3) / 2,
                                      h * (h + 2) * (h + 3) / 2, (h + 1) * (h + 2) * (h + 3) / 6};
            double const squares = sqr(weight[0]) + sqr(weight[1]) + sqr(weight[2]) + sqr(weight[3]);
            for (std::size_t i = 0; i < 6; ++i)
                error.moment[k][i] += squares * noise[i];
        }
    }

    double lag_of(std::size_t d) const {
        if constexpr (size == 7)
            return 0; // a pose is late as a whole: its time is
        else
            return predictor_.newest().kind == SampleKind::set_point ? settings_.joint_lag[d] : 0;
    }

    /// How far the program is where there is no pass, or it is not yet followed: the first seam is waited
    /// for.
    void tell_program(Out& f) const {
        bool const follows = program_ && !tracker_;
        f.program_time = follows ? program_->time + (f.about - program_->at) : -1e6;
        f.program_rate = follows ? 1 : 0;
        f.measured_rate = settings_.sweep_speed > 0 ? f.speed / settings_.sweep_speed : 1;
        if (tracker_) // its reason, or that it is on the way
            f.fault =
                tracker_->state() == PassState::lost ? StreamFault::disagrees : StreamFault::few_samples;
    }

    /// The speed of the spot over that in the pass at the same place, smoothed over ten samples; where the
    /// pass stands still it is not measured and stays.
    double rate_against_pass(SpotCourse const& course, double program_time) {
        if constexpr (size == 7) {
            double const step = settings_.period;
            auto const way = spot_(pass_->components(program_time + step / 2)) -
                             spot_(pass_->components(program_time - step / 2));
            if (squared_norm(way) > sqr(0.01 * step)) // 10 mm/s
                rate_ += 0.1 * (step * dot(course.velocity, way) / squared_norm(way) - rate_);
        }
        return rate_;
    }

    ReceiverSettings settings_;
    SpotOf spot_;
    Intake<Message> intake_;
    ClockEstimator clock_;
    Predictor<size> predictor_;
    ErrorRecord record_;
    std::optional<PoseLog<Cell, Flange>> pass_;
    std::optional<PassTracker> tracker_;
    std::optional<Program> program_;
    Out last_ = {};
    SpotError error_ = {}; ///< by which the next sample is looked at
    std::uint64_t number_ = 0;
    int agreed_ = 0; ///< samples in a row
    int strays_ = 0; ///< samples in a row that disagree
    double rate_ = 1;
    IntakeStatus status_ = IntakeStatus::accepted;
};

} // namespace seamhold

#endif
