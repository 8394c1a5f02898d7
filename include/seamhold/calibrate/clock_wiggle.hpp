#ifndef SEAMHOLD_CALIBRATE_CLOCK_WIGGLE_HPP
#define SEAMHOLD_CALIBRATE_CLOCK_WIGGLE_HPP

#include "seamhold/calibrate/clock_match.hpp"
#include "seamhold/follow/chain.hpp"
#include "seamhold/motion/pose_log.hpp"

namespace seamhold {

/// Where the mirrors stood at a moment of the scanner's clock, mechanical angles, rad, as the head reports
/// them.
struct MirrorSample {
    ScannerTime time;
    double x_mirror;
    double y_mirror;
};

namespace detail {

template <class Predicted, class Covers>
ClockMatch match_mirrors(Predicted const& predicted, Covers const& covers,
                         std::vector<MirrorSample> const& mirrors, ClockMatchOptions const& options) {
    std::vector<MatchSample<2>> samples;
    samples.reserve(mirrors.size());
    for (auto const& m : mirrors)
        samples.push_back({m.time.seconds, {m.x_mirror, m.y_mirror}});
    return ClockMatcher<2, Predicted, Covers>(predicted, covers, samples, options, "rad").match();
}

} // namespace detail

/// The offset of two clocks from a wiggle: the flange moves without a period, the head holds the spot on one
/// target in the part, the robot logs its poses and the scanner its mirrors. The chain says which angles the
/// poses ask for at robot time = scanner's time + offset; the offset at which they are the recorded ones is
/// found by correlation over the range searched and then by least squares with exact derivatives by time,
/// with a constant for each mirror (and gains, where asked for) as further unknowns. Its deviation takes the
/// residuals' own correlation into account. Positive: the robot's clock is ahead.
///
/// What is found depends on what holds the spot. If something that sees the target does (a camera through the
/// head, a hand on a slow wiggle) and the angles are recorded ones, it is how the clocks stand, and `map()`
/// is for the live loop. If the loop itself holds the spot through the chain by an offset that it was given,
/// the mirrors answer that offset: what is found is the offset in use less what the mirrors lag behind, and
/// nothing of the clocks; see `answer_lag`. The clocks then come from lines (`clock_from_lines`). Accuracy:
/// without noise that of the interpolated log; with noise of σ rad a sample and a wiggle of rms velocity ω
/// rad/s, σ / (ω √(2 samples)). Throws BadInput where the logs do not overlap, the motion is too small
/// against the noise, repeats within the range searched (with its period), agrees best at its end, or fits
/// only in another unit, with turned signs or swapped columns.
template <class FlangeMotion, class PartMotion, class HeadModel>
ClockMatch clock_from_wiggle(Chain<FlangeMotion, PartMotion, HeadModel> const& chain,
                             Point<Part> const& target, std::vector<MirrorSample> const& mirrors,
                             ClockMatchOptions const& options = {}) {
    auto const predicted = [&](double, auto const& robot_time) {
        auto const command = chain.head.command(chain.in_head(target, robot_time), 0.0);
        return std::array<std::decay_t<decltype(command.x_mirror)>, 2>{command.x_mirror, command.y_mirror};
    };
    return detail::match_mirrors(
        predicted, [&](double t) { return chain.covers(t); }, mirrors, options);
}

/// How late mirrors that a loop moves through the chain answer, s: the offset that the loop was given, less
/// the one found in their recorded angles. 0 for commanded angles. Add it to the lag that the loop allows
/// for.
inline Estimate answer_lag(ClockMatch const& found, double offset_in_use) {
    return {offset_in_use - found.offset.value, found.offset.deviation, found.offset.degrees_of_freedom};
}

/// The same while a seam is followed that began at `start` of the scanner's clock and goes on by that clock.
/// Samples before the start or after the seam's end must not be among them.
template <class FlangeMotion, class PartMotion, class HeadModel, class AnyOrSeam>
ClockMatch clock_from_wiggle(Chain<FlangeMotion, PartMotion, HeadModel> const& chain, AnyOrSeam const& seam,
                             ScannerTime start, std::vector<MirrorSample> const& mirrors,
                             ClockMatchOptions const& options = {}) {
    auto const predicted = [&](double scanner_time, auto const& robot_time) {
        using T = std::decay_t<decltype(robot_time)>;
        auto const target = seam.at(number_cast<T>(scanner_time - start.seconds)).position;
        auto const command = chain.head.command(chain.in_head(target, robot_time), 0.0);
        return std::array<std::decay_t<decltype(command.x_mirror)>, 2>{command.x_mirror, command.y_mirror};
    };
    return detail::match_mirrors(
        predicted, [&](double t) { return chain.covers(t); }, mirrors, options);
}

namespace detail {

/// The turn of a log from one time to another, in the axes of From: the vector part of its quaternion, and w
/// ≥ 0.
template <class To, class From, class T>
Quaternion<T> turn_between(PoseLog<To, From> const& log, T const& begin, T const& end) {
    auto const a = log.components(begin), b = log.components(end);
    auto const turn = Quaternion<T>{a[3], -a[4], -a[5], -a[6]} * Quaternion<T>{b[3], b[4], b[5], b[6]};
    return value_of(turn.w) < 0 ? Quaternion<T>{-turn.w, -turn.x, -turn.y, -turn.z} : turn;
}

} // namespace detail

/// The mean angular speed of a log about a moment, rad/s: the angle between its orientations half a span
/// before and after, by the span. It does not depend on the frames between which the log's poses are.
template <class To, class From, class T>
T mean_angular_speed(PoseLog<To, From> const& log, T const& time, double span) {
    using std::sqrt;
    T const half = number_cast<T>(0.5 * span);
    auto const turn = detail::turn_between(log, T(time - half), T(time + half));
    return atan_ratio(T(sqrt(sqr(turn.x) + sqr(turn.y) + sqr(turn.z))), turn.w) * detail::factor<T>(2 / span);
}

/// The offset of two clocks from two streams of poses that share a rigid mount: the robot's log of its
/// flange, and a sensor's log of itself or of a target, in whatever frames. A turn has the same angle in all
/// frames, so the angular speeds are compared, each from one row of the sensor to another about `span` s
/// later (longer: less noise, less detail). Otherwise as `clock_from_wiggle`, of which it has the refusals.
/// The flange must turn; shifts say nothing.
template <class To, class From, class SensorTo, class SensorFrom>
ClockMatch clock_from_turns(PoseLog<To, From> const& robot, PoseLog<SensorTo, SensorFrom> const& sensor,
                            double span, ClockMatchOptions const& options = {}) {
    if (!(span > 0) || !is_finite(span))
        throw BadInput("the span over which turns are compared must be above 0 s; given was " +
                       detail::text_of(span));
    auto const times = sensor.times();
    if (times.size() < 3)
        throw BadInput("two streams of poses are compared by 20 rows or more; given " +
                       std::to_string(times.size()));
    // From row to row of the sensor, so that what a row has wrong comes back with the other sign.
    double const step = (times.back() - times.front()) / static_cast<double>(times.size() - 1);
    auto const rows = static_cast<std::size_t>(
        std::clamp(std::round(span / step), 1.0, static_cast<double>(times.size() - 1)));
    std::vector<detail::MatchSample<1>> samples;
    std::vector<double> middles, lengths;
    Eigen::MatrixXd axes(3, static_cast<Eigen::Index>(times.size()));
    for (std::size_t k = 0; k + rows < times.size(); ++k) {
        double const length = times[k + rows] - times[k], middle = times[k] + 0.5 * length;
        if (length > 2 * span + step) // a hole
            continue;
        auto const turn = detail::turn_between(sensor, times[k], times[k + rows]);
        axes.col(static_cast<Eigen::Index>(samples.size())) =
            Eigen::Vector3d(turn.x, turn.y, turn.z).normalized();
        samples.push_back({middle, {mean_angular_speed(sensor, middle, length)}});
        middles.push_back(middle);
        lengths.push_back(length);
    }
    auto const length_at = [&](double middle) {
        auto const at = std::lower_bound(middles.begin(), middles.end(), middle) - middles.begin();
        return lengths[static_cast<std::size_t>(at)];
    };
    auto const predicted = [&](double scanner_time, auto const& robot_time) {
        return std::array<std::decay_t<decltype(robot_time)>, 1>{
            mean_angular_speed(robot, robot_time, length_at(scanner_time))};
    };
    auto const covers = [&](double t) { return robot.covers(t - span) && robot.covers(t + span); };
    return detail::ClockMatcher<1, decltype(predicted), decltype(covers)>(
               predicted, covers, samples, options, "rad/s", static_cast<Eigen::Index>(rows), axes)
        .match();
}

} // namespace seamhold

#endif
