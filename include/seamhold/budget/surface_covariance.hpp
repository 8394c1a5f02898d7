#ifndef SEAMHOLD_BUDGET_SURFACE_COVARIANCE_HPP
#define SEAMHOLD_BUDGET_SURFACE_COVARIANCE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace seamhold {

/// An ellipse on the face about the mean spot.
struct ErrorEllipse {
    double semi_major; ///< m
    double semi_minor; ///< m
    double angle;      ///< of the major axis from the seam's direction towards its left, rad, −π/2 to π/2
};

/// How the spot scatters on the face: variances and covariance along and across the seam, m².
struct SurfaceCovariance {
    double along = 0;
    double across = 0;
    double mixed = 0;

    /// The sum, for sources that are independent.
    friend constexpr SurfaceCovariance operator+(SurfaceCovariance const& a, SurfaceCovariance const& b) {
        return {a.along + b.along, a.across + b.across, a.mixed + b.mixed};
    }

    /// Deviation along the seam, m.
    double along_deviation() const { return std::sqrt(std::max(along, 0.0)); }

    /// Deviation across the seam, m.
    double across_deviation() const { return std::sqrt(std::max(across, 0.0)); }

    /// The ellipse that holds the spot with the probability `coverage`, normal errors assumed. Its half axes
    /// are the roots of the eigenvalues times √(−2 ln(1 − coverage)): the chi-squared distribution of two
    /// degrees of freedom is an exponential one (NIST/SEMATECH e-Handbook of Statistical Methods, section
    /// 1.3.6.6.6, from memory). Throws BadInput unless coverage is above 0 and below 1.
    ErrorEllipse ellipse(double coverage = 0.95) const {
        if (!(coverage > 0 && coverage < 1))
            throw BadInput("an ellipse's coverage must be above 0 and below 1; given was " +
                           detail::text_of(coverage));
        double const factor = std::sqrt(-2 * std::log1p(-coverage));
        double const middle = (along + across) / 2;
        double const apart = std::hypot((along - across) / 2, mixed);
        return {factor * std::sqrt(std::max(middle + apart, 0.0)),
                factor * std::sqrt(std::max(middle - apart, 0.0)),
                apart > 0 ? std::atan2(2 * mixed, along - across) / 2 : 0.0};
    }
};

/// The probability that a normal number with this mean and deviation lies within ± tolerance. Without a
/// deviation 1 or 0, for |mean| at the tolerance 1. By erfc, so that a small probability of being outside
/// keeps its digits in `probability_outside`.
inline double probability_outside(double mean, double deviation, double tolerance) {
    if (!(deviation > 0))
        return std::abs(mean) <= tolerance ? 0.0 : 1.0;
    double const scale = 1 / (std::numbers::sqrt2 * deviation);
    return 0.5 * (std::erfc((tolerance - mean) * scale) + std::erfc((tolerance + mean) * scale));
}

/// 1 less the probability of being outside.
inline double probability_within(double mean, double deviation, double tolerance) {
    return 1 - probability_outside(mean, deviation, tolerance);
}

/// The largest deviation with which a normal number of this mean lies within ± tolerance with the given
/// probability; −1 where none is small enough: |mean| above the tolerance. For a tolerance of ∞ that is ∞.
/// The probability falls while the deviation grows; halved to rounding. Throws BadInput unless the tolerance
/// is above 0 and the probability from 0.5 to below 1.
inline double largest_deviation(double mean, double tolerance, double probability) {
    if (!(tolerance > 0))
        throw BadInput("a tolerance must be above 0; given was " + detail::text_of(tolerance) + " m");
    if (!(probability >= 0.5 && probability < 1))
        throw BadInput("the probability wanted must be from 0.5 to below 1; given was " +
                       detail::text_of(probability));
    if (!is_finite(tolerance))
        return std::numeric_limits<double>::infinity();
    double const room = tolerance - std::abs(mean);
    if (!(room >= 0))
        return -1;
    double const outside = 1 - probability;
    double low = 0;
    double high = tolerance;
    while (probability_outside(mean, high, tolerance) < outside)
        high *= 2;
    while (true) {
        double const middle = low + (high - low) / 2;
        if (!(middle > low && middle < high))
            return low;
        (probability_outside(mean, middle, tolerance) <= outside ? low : high) = middle;
    }
}

/// What a curved face adds to a spot that is `off` m from where it was believed, m: the face falls off by
/// off²/(2·radius) from its tangent plane, and the beam meets it that much times the tangent of the incidence
/// farther. Budgets use the tangent plane.
inline double curvature_adds(double off, double incidence, double radius) {
    return sqr(off) / (2 * radius) * std::tan(std::abs(incidence));
}

} // namespace seamhold

#endif
