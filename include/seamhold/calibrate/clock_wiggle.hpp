#ifndef SEAMHOLD_CALIBRATE_CLOCK_WIGGLE_HPP
#define SEAMHOLD_CALIBRATE_CLOCK_WIGGLE_HPP

#include "seamhold/calibrate/clock_match.hpp"
#include "seamhold/follow/chain.hpp"
#include "seamhold/motion/pose_log.hpp"

namespace seamhold {

/// Where the mirrors stood at a moment of the scanner's clock, mechanical angles, rad, as the head reports
/// them. Commanded angles instead leave the mirrors' own lag out of the offset.
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
/// residuals' own correlation into account. Positive: the robot's clock is ahead. The chain's motion is in
/// the robot's clock, and with recorded angles the offset is that of the light: what the mirrors lag behind
/// is in it. Accuracy: without noise that of the interpolated log; with noise of σ rad a sample and a wiggle
/// of rms velocity ω rad/s, σ / (ω √(2 samples)). Throws BadInput where the logs do not overlap, the motion
/// is too small against the noise, repeats within the range searched (with its period), agrees best at its
/// end, or fits only in another unit, with turned signs or swapped columns.
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

/// The mean angular speed of a log about a moment, rad/s: the angle between its orientations half a span
/// before and after, by the span. It does not depend on the frames between which the log's poses are.
template <class To, class From, class T>
T mean_angular_speed(PoseLog<To, From> const& log, T const& time, double span) {
    using std::sqrt;
    T const half = number_cast<T>(0.5 * span);
    auto const a = log.components(time - half);
    auto const b = log.components(time + half);
    // The quaternion of the turn between, conj(a) b.
    T const w = a[3] * b[3] + a[4] * b[4] + a[5] * b[5] + a[6] * b[6];
    T const x = a[3] * b[4] - a[4] * b[3] - a[5] * b[6] + a[6] * b[5];
    T const y = a[3] * b[5] - a[5] * b[3] - a[6] * b[4] + a[4] * b[6];
    T const z = a[3] * b[6] - a[6] * b[3] - a[4] * b[5] + a[5] * b[4];
    T const sine = sqrt(sqr(x) + sqr(y) + sqr(z));
    T const cosine = value_of(w) < 0 ? T(number_cast<T>(0) - w) : w;
    return atan_ratio(sine, cosine) * detail::factor<T>(2 / span);
}

/// The offset of two clocks from two streams of poses that share a rigid mount: the robot's log of its
/// flange, and a sensor's log of itself or of a target, in whatever frames. A turn has the same angle in all
/// frames, so the angular speeds are compared, taken over `span` s (longer: less noise, less detail), at the
/// sensor's rows. Otherwise as `clock_from_wiggle`, of which it has the refusals. The flange must turn;
/// shifts say nothing.
template <class To, class From, class SensorTo, class SensorFrom>
ClockMatch clock_from_turns(PoseLog<To, From> const& robot, PoseLog<SensorTo, SensorFrom> const& sensor,
                            double span, ClockMatchOptions const& options = {}) {
    if (!(span > 0) || !is_finite(span))
        throw BadInput("the span over which turns are compared must be above 0 s; given was " +
                       detail::text_of(span));
    auto const covered = [&](auto const& log, double t) {
        return log.covers(t - 0.5 * span) && log.covers(t + 0.5 * span);
    };
    std::vector<detail::MatchSample<1>> samples;
    for (double const t : sensor.times())
        if (covered(sensor, t))
            samples.push_back({t, {mean_angular_speed(sensor, t, span)}});
    auto const predicted = [&](double, auto const& robot_time) {
        return std::array<std::decay_t<decltype(robot_time)>, 1>{mean_angular_speed(robot, robot_time, span)};
    };
    auto const covers = [&](double t) { return covered(robot, t); };
    return detail::ClockMatcher<1, decltype(predicted), decltype(covers)>(predicted, covers, samples, options,
                                                                          "rad/s")
        .match();
}

} // namespace seamhold

#endif
