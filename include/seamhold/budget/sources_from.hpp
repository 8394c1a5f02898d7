#ifndef SEAMHOLD_BUDGET_SOURCES_FROM_HPP
#define SEAMHOLD_BUDGET_SOURCES_FROM_HPP

#include "seamhold/budget/sources.hpp"
#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/calibrate/mount_fit.hpp"
#include "seamhold/calibrate/part_fit.hpp"
#include "seamhold/calibrate/path_accuracy.hpp"
#include "seamhold/calibrate/pose_scatter.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

/// Results of calibrations as sources of a budget. What a calibration left uncertain is systematic: the same
/// number is used until the next calibration.
namespace seamhold {

namespace detail {

/// By how much a variance that residuals told with ν degrees of freedom counts more: ν/(ν − 2), the variance
/// of Student's t (NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.6.4, from memory).
inline double variance_by_freedom(std::string const& name, double degrees_of_freedom) {
    if (!(degrees_of_freedom > 2))
        throw BadInput("error source " + name + ": its deviation has " + text_of(degrees_of_freedom) +
                       " degrees of freedom behind it; a budget needs more than 2");
    return degrees_of_freedom == std::numeric_limits<double>::infinity()
               ? 1.0
               : degrees_of_freedom / (degrees_of_freedom - 2);
}

} // namespace detail

/// The mount as a calibration left it, with all its correlations. Throws BadInput where 2 degrees of freedom
/// or fewer are behind it.
inline ErrorSource mount_source(MountFit const& fit, std::string name = "mount") {
    if (!fit.plausible)
        throw BadInput(
            "error source " + name +
            ": the mount's residuals are larger than reading explains (MountFit::plausible), so its "
            "covariance says nothing");
    double const wider = detail::variance_by_freedom(name, fit.degrees_of_freedom);
    return source_at(std::move(name), error_on_head, wider * fit.covariance);
}

/// The part as a measurement left it: the covariance of its step of six numbers in the part's axes, and the
/// degrees of freedom behind it. Throws BadInput where they are 2 or fewer.
inline ErrorSource part_source(PoseCovariance const& covariance, double degrees_of_freedom,
                               std::string name = "part placement") {
    double const wider = detail::variance_by_freedom(name, degrees_of_freedom);
    return source_at(std::move(name), error_on_part, wider * covariance);
}

/// The same from touches. Throws BadInput too where nothing tells the touches' deviation.
inline ErrorSource part_source(PartFit const& fit, std::string name = "part placement") {
    if (!fit.plausible)
        throw BadInput(
            "error source " + name +
            ": the touches miss by more than touching explains (PartFit::plausible), so the covariance "
            "says nothing");
    return part_source(fit.covariance, fit.degrees_of_freedom, std::move(name));
}

/// A clock's offset as it was measured, s. The offset itself is applied; what stays is its deviation. Throws
/// BadInput where 2 degrees of freedom or fewer are behind it.
inline ErrorSource clock_source(Estimate const& offset, std::string name = "clock") {
    double const wider = detail::variance_by_freedom(name, offset.degrees_of_freedom);
    return clock_error(std::sqrt(wider) * offset.deviation, std::move(name));
}

/// A focus that was measured at the work, m along the beam. Throws BadInput where 2 degrees of freedom or
/// fewer are behind it.
inline ErrorSource focus_source(Estimate const& focus, std::string name = "focus") {
    double const wider = detail::variance_by_freedom(name, focus.degrees_of_freedom);
    return focus_error(std::sqrt(wider) * focus.deviation, std::move(name));
}

/// What a field's calibration left, from the root of the mean square of the marks' distances (two numbers a
/// mark), m. It has the error of reading the marks in it.
inline ErrorSource field_source(double rms_distance, std::string name = "field residual") {
    double const each = rms_distance / std::numbers::sqrt2;
    return field_residual(each, each, std::move(name));
}

/// What a head's own fitted numbers leave uncertain, on average over the marks they were fitted to: a place
/// that is predicted from least squares has the variance s² · numbers / readings in each direction. `numbers`
/// are the head's own, the field's terms among them, without those of mount and plate; `readings` are two a
/// mark. For the mount beside it take a fit by the calibrated head (`mount_source(calibrate_mount(head,
/// marks))`): the mount's covariance of a joint fit holds what mount and head trade among themselves, which
/// does not move the spot.
inline ErrorSource fitted_head_source(double deviation, std::size_t numbers, std::size_t readings,
                                      std::string name = "head and field") {
    if (!(readings > numbers))
        throw BadInput("error source " + name + ": " + std::to_string(numbers) +
                       " numbers cannot be fitted to " + std::to_string(readings) + " readings");
    double const left = deviation * std::sqrt(static_cast<double>(numbers) / static_cast<double>(readings));
    return field_residual(left, left, std::move(name), ErrorKind::systematic);
}

/// The path of a robot from repeated logs. Logs are cut by planes across the path (ISO 9283), so nothing of
/// what a robot is early or late *along* its path is in it, and that is often the largest error of all while
/// it sweeps: give it as `clock_error`, the mean corrected and the deviation from run to run
/// `ErrorKind::random`. Repeats are taken as new at every point; runs that lie off as a whole are better
/// given as systematic. In two sources: how the path's places lie off by themselves, the same each time (the
/// mean known, the scatter along the path systematic or, with a correlation time in s above 0, drifting), and
/// how repeats differ (random).
inline std::vector<ErrorSource> path_sources(PathScatter const& scatter, double correlation_time = 0) {
    Eigen::VectorXd const mean = Eigen::Map<Eigen::Matrix<double, 6, 1> const>(scatter.mean.data());
    auto off = with_mean(source_at("path accuracy", error_on_flange, scatter.along_path), mean);
    if (correlation_time > 0)
        off = drifting(std::move(off), correlation_time);
    return {std::move(off),
            source_at("path repeatability", error_on_flange, scatter.repeats, ErrorKind::random)};
}

/// The deviation along each axis of a robot whose position repeatability by ISO 9283 is RP_l = l̄ + 3 S_l, m,
/// if it scatters alike along all three axes: the distance from the mean then has the mean 2√(2/π) σ and the
/// deviation √(3 − 8/π) σ (the Maxwell distribution), so σ = RP_l / 3.616. Throws BadInput for a negative
/// one.
inline double deviation_of_repeatability(double repeatability) {
    if (!(repeatability >= 0) || !is_finite(repeatability))
        throw BadInput("a repeatability must be 0 or more; given was " + detail::text_of(repeatability) +
                       " m");
    double const pi = std::numbers::pi;
    return repeatability / (2 * std::sqrt(2 / pi) + 3 * std::sqrt(3 - 8 / pi));
}

} // namespace seamhold

#endif
