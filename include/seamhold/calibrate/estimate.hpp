#ifndef SEAMHOLD_CALIBRATE_ESTIMATE_HPP
#define SEAMHOLD_CALIBRATE_ESTIMATE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/crossing.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>

namespace seamhold {

/// A number with what is known of its error. What is known from outside, not from the scatter of a few
/// measurements, has infinitely many degrees of freedom.
struct Estimate {
    double value;           ///< in the unit of the thing
    double deviation = 0.0; ///< standard deviation, in the same unit
    double degrees_of_freedom = std::numeric_limits<double>::infinity(); ///< that stand behind the deviation

    /// The interval that covers the truth in this share of cases, by Student's t. Throws BadInput for a level
    /// outside of (0, 1).
    Bounds bounds(double level = 0.95) const {
        double const reach = student_quantile(detail::upper_end(level), degrees_of_freedom) * deviation;
        return {value - reach, value + reach};
    }
};

/// `after` less `before` of two estimates that do not depend on each other. The degrees of freedom are those
/// of F. Satterthwaite, Biometrics Bulletin 2 (1946) 110–114 (from memory).
inline Estimate difference_of(Estimate const& after, Estimate const& before) {
    double const a = sqr(after.deviation), b = sqr(before.deviation);
    double const weak = sqr(a) / after.degrees_of_freedom + sqr(b) / before.degrees_of_freedom;
    return {after.value - before.value, std::sqrt(a + b),
            weak > 0 ? sqr(a + b) / weak : std::numeric_limits<double>::infinity()};
}

/// The bounds of a ratio of two normal estimates from their variances and covariance, at a confidence level:
/// all ratios ρ for which above − ρ·below is not told from 0 (`detail::fieller`, on the parts of `above` and
/// `below` that do not depend on each other). Infinite on both sides where `below` itself is not told from 0
/// at that level. Throws BadInput for a level outside of (0, 1) and for degrees of freedom not above 0.
inline Bounds ratio_bounds(double above, double below, double above_variance, double below_variance,
                           double covariance, double degrees_of_freedom, double level = 0.95) {
    double const t2 = sqr(student_quantile(detail::upper_end(level), degrees_of_freedom));
    double const shared = below_variance > 0 ? covariance / below_variance : 0;
    auto const set =
        detail::fieller(shared, above - shared * below, -below,
                        t2 * std::max(0.0, above_variance - shared * covariance), t2 * below_variance);
    double const infinity = std::numeric_limits<double>::infinity();
    return set.set == CrossingSet::between ? set.bounds : Bounds{-infinity, infinity};
}

/// `part` over `whole`, of two estimates that do not depend on each other, with the bounds of
/// `ratio_bounds` at the lesser of their degrees of freedom.
struct RatioEstimate {
    Estimate ratio; ///< with its deviation to first order
    Bounds bounds;  ///< at the level that was asked for
};

/// See `RatioEstimate`. Throws BadInput for a `whole` of 0.
inline RatioEstimate ratio_of(Estimate const& part, Estimate const& whole, double level = 0.95) {
    if (whole.value == 0 || !is_finite(whole.value) || !is_finite(part.value))
        throw BadInput("a ratio of " + detail::text_of(part.value) + " to " + detail::text_of(whole.value) +
                       " cannot be formed");
    double const ratio = part.value / whole.value;
    double const freedom = std::min(part.degrees_of_freedom, whole.degrees_of_freedom);
    return {
        {ratio, std::sqrt(sqr(part.deviation) + sqr(ratio * whole.deviation)) / std::abs(whole.value),
         freedom},
        ratio_bounds(part.value, whole.value, sqr(part.deviation), sqr(whole.deviation), 0, freedom, level)};
}

namespace detail {
/// Throws BadInput for an estimate that is not finite or has a negative deviation.
inline void check_estimate(std::string const& name, Estimate const& estimate) {
    if (!is_finite(estimate.value))
        throw BadInput(name + " is not finite");
    if (!(estimate.deviation >= 0) || !is_finite(estimate.deviation))
        throw BadInput(name + " has a standard deviation of " + text_of(estimate.deviation) +
                       "; it must be 0 or more, and finite");
    if (!(estimate.degrees_of_freedom > 0))
        throw BadInput(name + " has " + text_of(estimate.degrees_of_freedom) +
                       " degrees of freedom; they must be above 0");
}
} // namespace detail

} // namespace seamhold

#endif
