#ifndef SEAMHOLD_STATISTICS_CAPABILITY_HPP
#define SEAMHOLD_STATISTICS_CAPABILITY_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/quantiles.hpp"
#include "seamhold/statistics/sample.hpp"
#include "seamhold/statistics/tolerance_factor.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// How a process that scatters normally fits between limits that a requirement gives. An index says nothing
/// of a process that drifts or does not scatter normally: look at both first.
struct Capability {
    SampleSummary sample;            ///< what the parts tell
    Bounds limits;                   ///< what is required; an end may be infinite, not both
    double level;                    ///< of the bounds
    std::optional<double> cp;        ///< (high − low) / (6 deviation); none with one limit only
    std::optional<Bounds> cp_bounds; ///< by χ²
    double cpk;        ///< from the mean to the nearer limit, over 3 deviations; below 0 outside
    Bounds cpk_bounds; ///< see `capability_of`
    bool upper_nearer; ///< whether the upper limit is the nearer one
};

namespace detail {

/// The bounds of (limit − mean) / deviation of which a sample of n shows `seen`: those true values for which
/// so much or more, and so much or less, is as rare as the level says (non-central t).
inline Bounds distance_bounds(double parts, double seen, double level) {
    double const tail = 1 - upper_end(level), degrees = parts - 1;
    // The distance at which a sample shows less than was seen with the probability `less`.
    auto const bound = [&](double less) {
        auto const beyond = [&](double distance) {
            return std::log(less / one_sided_share(parts, degrees, distance, seen));
        };
        double from = seen - 1, to = seen + 1;
        for (double step = 1; beyond(from) > 0; step *= 2)
            from -= step;
        for (double step = 1; beyond(to) < 0; step *= 2)
            to += step;
        return rising_root(beyond, from, to);
    };
    return {bound(1 - tail), bound(tail)};
}

} // namespace detail

/// Cp and Cpk of a sample (`summary_of` its values) against required limits, with two-sided bounds at a level
/// in (0, 1). Those of Cp are Cp · √(χ²/ν) and hold exactly for normal parts. Those of Cpk are the exact ones
/// of the distance to the nearer limit (non-central t, by integration): with one limit they hold exactly.
/// With two limits the lower bound holds at least as often as said; where the process lies in the middle, the
/// upper one may lie below the truth up to twice as often as a half of the rest of the level (4.8 % in place
/// of 2.5 %, measured). Throws BadInput for fewer than 2 values, a deviation of 0 or not finite, limits not
/// in order or both infinite, and another level. Source: NIST/SEMATECH e-Handbook of Statistical
/// Methods, 6.1.6 (from memory), for the indices and the bounds of Cp.
inline Capability capability_of(SampleSummary const& sample, Bounds const& limits, double level = 0.95) {
    using detail::text_of;
    if (!(limits.low < limits.high) || !(is_finite(limits.low) || is_finite(limits.high)))
        throw BadInput("required limits must run from low to high, and one of them must be finite; given " +
                       text_of(limits.low) + " to " + text_of(limits.high));
    if (sample.count < 2 || !is_finite(sample.mean) || !(sample.deviation > 0) ||
        !is_finite(sample.deviation))
        throw BadInput("a capability needs 2 values or more that differ; given are " +
                       std::to_string(sample.count) + " with a deviation of " + text_of(sample.deviation) +
                       " about " + text_of(sample.mean));
    double const parts = static_cast<double>(sample.count);
    double const above = (limits.high - sample.mean) / sample.deviation;
    double const below = (sample.mean - limits.low) / sample.deviation;
    if ((is_finite(limits.high) && !is_finite(above)) || (is_finite(limits.low) && !is_finite(below)))
        throw BadInput("a deviation of " + text_of(sample.deviation) +
                       " is too small beside the limits to tell a capability from it");
    double const nearer = std::min(above, below);
    auto const distance = detail::distance_bounds(parts, nearer, level);
    Capability result{sample,       limits, level, {}, {}, nearer / 3, {distance.low / 3, distance.high / 3},
                      above < below};
    if (is_finite(limits.low) && is_finite(limits.high)) {
        double const cp = (limits.high - limits.low) / (6 * sample.deviation);
        double const p = detail::upper_end(level);
        result.cp = cp;
        result.cp_bounds = {cp * std::sqrt(chi_squared_quantile(1 - p, parts - 1) / (parts - 1)),
                            cp * std::sqrt(chi_squared_quantile(p, parts - 1) / (parts - 1))};
    }
    return result;
}

/// The probability that values which do not depend on each other follow each other as alike as these do, or
/// more: small where a process drifts or wanders, and every interval from its scatter is too narrow. By the
/// mean squared step from value to value over the variance (J. von Neumann, "Distribution of the ratio of the
/// mean square successive difference to the variance", Annals of Mathematical Statistics 12 (1941) 367–395,
/// from memory), whose distribution is taken as normal: good to a few thousandths from 10 values on. In the
/// order in which they came. 1 for fewer than 4 values, or values that are all the same.
inline double likeness_of_neighbours(std::vector<double> const& values) {
    if (values.size() < 4)
        return 1;
    auto const summary = summary_of(values);
    if (!(summary.deviation > 0))
        return 1;
    double steps = 0;
    for (std::size_t i = 1; i < values.size(); ++i)
        steps += sqr((values[i] - values[i - 1]) / summary.deviation);
    double const n = static_cast<double>(values.size());
    // Half the mean squared step over the variance has the mean 1 and the variance (n − 2) / (n² − 1).
    double const ratio = steps / (2 * (n - 1));
    return detail::normal_above((1 - ratio) * std::sqrt((sqr(n) - 1) / (n - 2)));
}

} // namespace seamhold

#endif
