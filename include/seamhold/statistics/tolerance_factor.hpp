#ifndef SEAMHOLD_STATISTICS_TOLERANCE_FACTOR_HPP
#define SEAMHOLD_STATISTICS_TOLERANCE_FACTOR_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

/// Statistical tolerance limits of a normal quantity: mean ± factor · deviation of a few parts, such that a
/// wanted share of all parts (the coverage) lies between them with a wanted probability (the confidence) over
/// the luck of the few. Mean ± 3 deviations of ten parts hold 99 % of all parts in six cases of ten only.
namespace seamhold {

namespace detail {

/// The probability that a standard normal variable is above x.
inline double normal_above(double x) { return 0.5 * std::erfc(x / std::numbers::sqrt2); }

/// Where a rising function of a positive number is 0, to the last bits: halved steps where the straight line
/// through two values does no good (Dowell and Jarratt, 1971, from memory). The function must be below 0 at
/// low and above 0 at high.
template <class Function> double rising_root(Function const& function, double low, double high) {
    double f_low = function(low), f_high = function(high);
    int last = 0;
    for (int i = 0; i < 200 && high - low > 4e-16 * std::max(std::abs(low), std::abs(high)); ++i) {
        double x = low - f_low * (high - low) / (f_high - f_low);
        if (!(x > low && x < high) || i % 8 == 7)
            x = low + (high - low) / 2;
        if (!(x > low && x < high))
            break;
        double const f = function(x);
        if (f == 0)
            return x;
        if (f < 0) {
            low = x;
            f_low = f;
            f_high *= last < 0 ? 0.5 : 1;
            last = -1;
        } else {
            high = x;
            f_high = f;
            f_low *= last > 0 ? 0.5 : 1;
            last = 1;
        }
    }
    return low + (high - low) / 2;
}

/// How far limits about `offset` must reach, either way, to hold the share `coverage` of a standard normal
/// variable.
inline double reach_about(double offset, double coverage) {
    double const outside = 1 - coverage;
    // The farther tail holds between nothing and half of what is outside.
    double const low = std::max(0.0, offset + normal_quantile(coverage));
    double const high = offset + normal_quantile(0.5 + coverage / 2);
    return rising_root(
        [&](double reach) { return outside - normal_above(reach - offset) - normal_above(reach + offset); },
        low * (1 - 1e-15), high * (1 + 1e-15));
}

/// A standard normal variable in even steps, with the weights of the trapezoidal rule. What is integrated is
/// analytic and the density falls fast, so that the rule is exact to rounding at these steps.
struct NormalNodes {
    std::vector<double> z; ///< from −10 to 10
    std::vector<double> weight;

    /// `sharpness`: the most by which the variable is multiplied in what is integrated, where that is more
    /// than 1.
    explicit NormalNodes(double sharpness) {
        double const step = 0.0625 / std::max(1.0, sharpness);
        auto const count = static_cast<int>(10 / step);
        double sum = 0;
        for (int i = -count; i <= count; ++i) {
            z.push_back(step * i);
            weight.push_back(std::exp(-sqr(z.back()) / 2));
            sum += weight.back();
        }
        for (double& w : weight)
            w /= sum;
    }
};

/// Of the mean of `parts` parts: the reach that is needed for a coverage, over the offsets of the mean.
struct MeanOffsets {
    std::vector<double> reach;
    std::vector<double> weight;

    MeanOffsets(double parts, double degrees, double coverage) {
        NormalNodes const nodes(std::sqrt(degrees / parts));
        for (std::size_t i = nodes.z.size() / 2; i < nodes.z.size(); ++i) { // both sides are alike
            weight.push_back((nodes.z[i] > 0 ? 2 : 1) * nodes.weight[i]);
            reach.push_back(reach_about(nodes.z[i] / std::sqrt(parts), coverage));
        }
    }

    /// With which probability mean ± factor · deviation reach far enough.
    double share(double degrees, double factor) const {
        double met = 0;
        for (std::size_t i = 0; i < reach.size(); ++i)
            met += weight[i] * chi_squared_tail(degrees * sqr(reach[i] / factor), degrees);
        return met;
    }
};

/// The deviation of a sample over the true one, in steps of its logarithm, with the weights of the
/// trapezoidal rule. Exact to rounding for what changes over a 20th of the logarithm or more.
struct DeviationRatios {
    std::vector<double> ratio;
    std::vector<double> weight;

    explicit DeviationRatios(double degrees) {
        double const step = std::min(0.04, 0.2 / std::sqrt(degrees));
        double sum = 0;
        // The logarithm of the density of t = ln(ratio), less its value at 0: ν (t + ½ − ½ exp 2t).
        auto const add = [&](double t) {
            double const w = std::exp(degrees * (t - std::expm1(2 * t) / 2));
            ratio.push_back(std::exp(t));
            weight.push_back(w);
            sum += w;
            return w > 1e-22;
        };
        for (int i = 0; add(step * i); ++i) {
        }
        for (int i = -1; add(step * i); --i) {
        }
        for (double& w : weight)
            w /= sum;
    }
};

/// With which probability mean + factor · deviation of a sample lies above the true mean + z deviations.
/// Integrated over the mean where z is so large that z less the mean's offset keeps its sign, else over the
/// deviation.
inline double one_sided_share(double parts, double degrees, double z, double factor) {
    double const root = std::sqrt(parts);
    double met = 0;
    if (std::abs(z) * root > 20) {
        NormalNodes const offsets(std::sqrt(degrees) / (root * std::abs(z)));
        for (std::size_t i = 0; i < offsets.z.size(); ++i) {
            // The deviation over the true one must be above this ratio, or below it where z is below 0.
            double const ratio = (z + offsets.z[i] / root) / factor;
            double const square = degrees * sqr(ratio);
            if (!(ratio > 0)) // z and the factor point to different sides
                met += z < 0 ? offsets.weight[i] : 0;
            else if (z > 0)
                met += offsets.weight[i] * chi_squared_tail(square, degrees);
            else
                met += offsets.weight[i] * boost::math::gamma_p(degrees / 2, square / 2, QuantilePolicy());
        }
        return met;
    }
    DeviationRatios const ratios(degrees);
    for (std::size_t i = 0; i < ratios.ratio.size(); ++i)
        met += ratios.weight[i] * normal_above(root * (z - factor * ratios.ratio[i]));
    return met;
}

/// Degrees of freedom of the deviation, checked with the number of parts.
inline double tolerance_degrees(double parts, std::optional<double> degrees) {
    if (!degrees && !(parts >= 2))
        throw BadInput("tolerance limits need 2 parts or more; given " + text_of(parts));
    double const result = degrees.value_or(parts - 1);
    if (!(parts > 0) || !is_finite(parts) || !(result > 0) || !is_finite(result))
        throw BadInput("tolerance limits need parts and degrees of freedom above 0 and finite; given " +
                       text_of(parts) + " and " + text_of(result));
    if (result > 1e4 * parts || parts > 1e4 * result)
        throw BadInput("tolerance limits are computed for degrees of freedom from 1/10000 to 10000 a part; "
                       "given " +
                       text_of(result) + " for " + text_of(parts) + " parts");
    return result;
}

/// A share or a confidence, checked.
inline void check_tolerance_share(double share, char const* what) {
    if (!(share > 0 && share < 1))
        throw BadInput(std::string("a ") + what + " must lie between 0 and 1; given " + text_of(share));
}

} // namespace detail

/// The confidence with which mean ± factor · deviation of `parts` normal parts hold the share `coverage` of
/// all parts, exact to 1e-12. `degrees_of_freedom` of the deviation are parts − 1, unless it comes from more
/// than these parts. Throws BadInput for fewer than 2 parts, a coverage outside of (0, 1), a factor that is
/// not above 0 and finite, and degrees of freedom that are not between 1/10000 and 10000 a part.
inline double normal_tolerance_confidence(double parts, double coverage, double factor,
                                          std::optional<double> degrees_of_freedom = std::nullopt) {
    double const degrees = detail::tolerance_degrees(parts, degrees_of_freedom);
    detail::check_tolerance_share(coverage, "coverage");
    if (!(factor > 0) || !is_finite(factor))
        throw BadInput("a factor of tolerance limits must be above 0 and finite; given " +
                       detail::text_of(factor));
    return detail::MeanOffsets(parts, degrees, coverage).share(degrees, factor);
}

/// The factor k for which mean ± k · deviation of `parts` normal parts hold the share `coverage` of all parts
/// with the probability `confidence`. Exact to 1e-10 of itself, by integration over the offset of the mean;
/// Howe's formula, found in handbooks, is 0.3 % off for ten parts and 5 % for two at 0.95 and 0.95. Throws
/// BadInput as `normal_tolerance_confidence`. Source: C. Eisenhart, M. Hastay, W. Wallis, "Techniques of
/// Statistical Analysis", 1947, chapter 2 (from memory); checked against published tables.
inline double normal_tolerance_factor(double parts, double coverage, double confidence,
                                      std::optional<double> degrees_of_freedom = std::nullopt) {
    double const degrees = detail::tolerance_degrees(parts, degrees_of_freedom);
    detail::check_tolerance_share(coverage, "coverage");
    detail::check_tolerance_share(confidence, "confidence");
    detail::MeanOffsets const offsets(parts, degrees, coverage);
    auto const beyond = [&](double factor) { return std::log(offsets.share(degrees, factor) / confidence); };
    double low = normal_quantile(0.5 + coverage / 2), high = low;
    while (beyond(low) > 0)
        low /= 2;
    while (beyond(high) < 0)
        high *= 2;
    return detail::rising_root(beyond, low, high);
}

/// The confidence with which mean + factor · deviation of `parts` normal parts lies above the share
/// `coverage` of all parts (or mean − factor · deviation below it); the factor may have either sign. Exact to
/// 1e-12. Throws BadInput as `normal_tolerance_confidence`.
inline double one_sided_tolerance_confidence(double parts, double coverage, double factor,
                                             std::optional<double> degrees_of_freedom = std::nullopt) {
    double const degrees = detail::tolerance_degrees(parts, degrees_of_freedom);
    detail::check_tolerance_share(coverage, "coverage");
    if (!is_finite(factor))
        throw BadInput("a factor of tolerance limits must be finite");
    return detail::one_sided_share(parts, degrees, normal_quantile(coverage), factor);
}

/// The factor k for which mean + k · deviation of `parts` normal parts lies above the share `coverage` of all
/// parts with the probability `confidence`: a quantile of the non-central t distribution, over √parts. Exact
/// to 1e-10, by integration over the deviation. Throws BadInput as `normal_tolerance_confidence`. Source:
/// NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3.
inline double one_sided_tolerance_factor(double parts, double coverage, double confidence,
                                         std::optional<double> degrees_of_freedom = std::nullopt) {
    double const degrees = detail::tolerance_degrees(parts, degrees_of_freedom);
    detail::check_tolerance_share(coverage, "coverage");
    detail::check_tolerance_share(confidence, "confidence");
    double const z = normal_quantile(coverage);
    auto const beyond = [&](double factor) {
        return std::log(detail::one_sided_share(parts, degrees, z, factor) / confidence);
    };
    double low = z - 1, high = z + 1;
    for (double step = 1; beyond(low) > 0; step *= 2)
        low -= step;
    for (double step = 1; beyond(high) < 0; step *= 2)
        high += step;
    return detail::rising_root(beyond, low, high);
}

/// The least number of parts for which `normal_tolerance_factor` is at most 1 + excess times the normal
/// quantile: the price of a band from few parts is that it is wide. Throws BadInput for a coverage or a
/// confidence outside of (0, 1), and for an excess from which no number of parts up to a thousand million
/// is enough.
inline std::uint64_t parts_for_factor(double coverage, double confidence, double excess) {
    detail::check_tolerance_share(coverage, "coverage");
    detail::check_tolerance_share(confidence, "confidence");
    double const bar = (1 + excess) * normal_quantile(0.5 + coverage / 2);
    auto const enough = [&](std::uint64_t parts) {
        return normal_tolerance_factor(static_cast<double>(parts), coverage, confidence) <= bar;
    };
    std::uint64_t low = 1, high = 2; // low is not enough (one part has no deviation)
    while (!(excess > 0 && enough(high))) {
        if (!(excess > 0 && high < 1000000000))
            throw BadInput(
                "no number of parts up to a thousand million brings the factor of tolerance limits "
                "to within " +
                detail::text_of(excess) + " of the normal quantile; the excess must be above 0");
        low = high;
        high *= 2;
    }
    while (high - low > 1) {
        std::uint64_t const middle = low + (high - low) / 2;
        (enough(middle) ? high : low) = middle;
    }
    return high;
}

} // namespace seamhold

#endif
