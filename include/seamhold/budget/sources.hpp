#ifndef SEAMHOLD_BUDGET_SOURCES_HPP
#define SEAMHOLD_BUDGET_SOURCES_HPP

#include "seamhold/budget/error_source.hpp"

#include <array>
#include <cmath>
#include <initializer_list>
#include <numbers>
#include <string>
#include <utility>

/// The usual sources, each from the numbers in which it is known. Deviations are standard deviations, each
/// axis by itself unless it says otherwise. All throw BadInput, naming the source, for what `checked` refuses
/// and for negative deviations.
namespace seamhold {

/// Deviations of a pose about and along each of its axes.
struct PoseDeviations {
    double turn;  ///< about each axis, rad
    double shift; ///< along each axis, m
};

namespace detail {

/// A covariance without correlations. Throws BadInput for a deviation below 0.
inline Eigen::MatrixXd uncorrelated(std::string const& name, std::initializer_list<double> deviations) {
    Eigen::VectorXd variances(static_cast<Eigen::Index>(deviations.size()));
    Eigen::Index i = 0;
    for (double const deviation : deviations) {
        if (deviation < 0)
            throw BadInput("error source " + name + ": a deviation must not be negative; given was " +
                           text_of(deviation));
        variances(i++) = sqr(deviation);
    }
    return variances.asDiagonal();
}

inline Eigen::MatrixXd uncorrelated(std::string const& name, PoseDeviations const& d) {
    return uncorrelated(name, {d.turn, d.turn, d.turn, d.shift, d.shift, d.shift});
}

} // namespace detail

/// A source of any place, with any covariance: a user's own.
inline ErrorSource source_at(std::string name, ErrorPlace const& place, Eigen::MatrixXd covariance,
                             ErrorKind kind = ErrorKind::systematic) {
    return checked(ErrorSource{std::move(name), place, std::move(covariance), kind});
}

/// A source with a mean that is known and not corrected. Throws BadInput as `checked` does.
inline ErrorSource with_mean(ErrorSource source, Eigen::VectorXd mean) {
    source.mean = std::move(mean);
    return checked(source);
}

/// A source that drifts along the seam: 1/e of its correlation is left after `correlation_time`, s. Throws
/// BadInput as `checked` does.
inline ErrorSource drifting(ErrorSource source, double correlation_time) {
    source.kind = ErrorKind::slow;
    source.correlation_time = correlation_time;
    return checked(source);
}

/// The flange's pose, another one at every point: how well a pose that is reported is held, or repeats.
inline ErrorSource pose_repeatability(PoseDeviations const& deviations,
                                      std::string name = "pose repeatability") {
    auto covariance = detail::uncorrelated(name, deviations);
    return source_at(std::move(name), error_on_flange, std::move(covariance), ErrorKind::random);
}

/// The flange's path, by the same over the whole seam: the arm's absolute accuracy.
inline ErrorSource path_accuracy(PoseDeviations const& deviations, std::string name = "path accuracy") {
    auto covariance = detail::uncorrelated(name, deviations);
    return source_at(std::move(name), error_on_flange, std::move(covariance));
}

/// The flange's and the part's time against the head's, s: what is left after the clocks were brought
/// together. Both move by the same clock of the robot. The spot moves by this times the relative speed.
inline ErrorSource clock_error(double deviation, std::string name = "clock",
                               ErrorKind kind = ErrorKind::systematic) {
    Eigen::MatrixXd covariance = detail::uncorrelated(name, {deviation, deviation});
    covariance(0, 1) = covariance(1, 0) = covariance(0, 0);
    return source_at(std::move(name), error_in_clocks, std::move(covariance), kind);
}

/// The time of a part that moves by a clock of its own, s.
inline ErrorSource part_clock_error(double deviation, std::string name = "part's clock",
                                    ErrorKind kind = ErrorKind::systematic) {
    auto covariance = detail::uncorrelated(name, {deviation});
    return source_at(std::move(name), {error_in_clocks.first + 1, 1}, std::move(covariance), kind);
}

/// Mirror angles that are taken in steps, mechanical rad: off by up to half a step to each side, evenly, so
/// by step/√12 as a deviation.
inline ErrorSource mirror_resolution(double step, std::string const& name = "mirror resolution") {
    double const deviation = step / std::sqrt(12.0);
    auto source = source_at(name, error_in_mirror_angles, detail::uncorrelated(name, {deviation, deviation}),
                            ErrorKind::random);
    source.shape = ErrorShape::uniform;
    return source;
}

/// Noise of the mirror angles, mechanical rad.
inline ErrorSource mirror_noise(double deviation, std::string name = "mirror noise") {
    auto covariance = detail::uncorrelated(name, {deviation, deviation});
    return source_at(std::move(name), error_in_mirror_angles, std::move(covariance), ErrorKind::random);
}

/// Drift of both mirrors with temperature: of the zero, mechanical rad/K, and of the gain, 1/K, as
/// deviations, over a change of temperature, K. Systematic over a seam, which is short against a warm-up; see
/// `drifting`.
inline ErrorSource mirror_drift(double zero_per_kelvin, double gain_per_kelvin, double kelvin,
                                std::string name = "mirror drift") {
    double const zero = zero_per_kelvin * std::abs(kelvin), gain = gain_per_kelvin * std::abs(kelvin);
    auto covariance = detail::uncorrelated(name, {zero, zero, gain, gain});
    return source_at(std::move(name), error_in_mirrors, std::move(covariance));
}

/// Displacement of the focusing lens, m.
inline ErrorSource lens_error(double deviation, std::string name = "focusing lens",
                              ErrorKind kind = ErrorKind::random) {
    auto covariance = detail::uncorrelated(name, {deviation});
    return source_at(std::move(name), error_in_lens, std::move(covariance), kind);
}

/// The focus along the beam at the work, m: zero of the focus, thermal shift.
inline ErrorSource focus_error(double deviation, std::string name = "focus",
                               ErrorKind kind = ErrorKind::systematic) {
    auto covariance = detail::uncorrelated(name, {deviation});
    return source_at(std::move(name), error_in_focus, std::move(covariance), kind);
}

/// What the field's calibration left, along the head's x and y at the work, m. It differs from place to place
/// in the field, so it is taken anew at every point unless another kind is given.
inline ErrorSource field_residual(double x, double y, std::string name = "field residual",
                                  ErrorKind kind = ErrorKind::random) {
    auto covariance = detail::uncorrelated(name, {x, y});
    return source_at(std::move(name), error_in_beam, std::move(covariance), kind);
}

/// The same as mechanical mirror angles, rad.
inline ErrorSource field_residual_of_angles(double x, double y, std::string name = "field residual",
                                            ErrorKind kind = ErrorKind::random) {
    auto covariance = detail::uncorrelated(name, {x, y});
    return source_at(std::move(name), error_in_mirror_angles, std::move(covariance), kind);
}

/// Where the head sits on the flange, uncorrelated; from a calibration see `mount_source`.
inline ErrorSource mount_error(PoseDeviations const& deviations, std::string name = "mount") {
    auto covariance = detail::uncorrelated(name, deviations);
    return source_at(std::move(name), error_on_head, std::move(covariance));
}

/// Where the part lies, uncorrelated; from a measurement see `part_source`.
inline ErrorSource part_placement(PoseDeviations const& deviations, std::string name = "part placement") {
    auto covariance = detail::uncorrelated(name, deviations);
    return source_at(std::move(name), error_on_part, std::move(covariance));
}

/// The seam itself on the face, m along and across: how well the joint lies where the drawing has it.
inline ErrorSource joint_position(double along, double across, std::string name = "joint position",
                                  ErrorKind kind = ErrorKind::systematic) {
    auto covariance = detail::uncorrelated(name, {along, across});
    return source_at(std::move(name), error_on_face, std::move(covariance), kind);
}

} // namespace seamhold

#endif
