#ifndef SEAMHOLD_STATISTICS_SAMPLE_HPP
#define SEAMHOLD_STATISTICS_SAMPLE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace seamhold {

/// What a sample of normally distributed values tells: how many, their mean and their standard deviation, all
/// in the values' units.
struct SampleSummary {
    std::size_t count; ///< values, 2 or more
    double mean;       ///< arithmetic mean
    double deviation;  ///< √(Σ (x − mean)² / (count − 1))

    /// The standard deviation of the mean itself, deviation / √count.
    double mean_deviation() const { return deviation / std::sqrt(static_cast<double>(count)); }

    /// Between which the true mean lies with a confidence level in (0, 1): mean ± t · deviation / √count.
    /// Throws BadInput for another level. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2.
    Bounds mean_bounds(double level = 0.95) const {
        double const reach =
            student_quantile(detail::upper_end(level), static_cast<double>(count) - 1) * mean_deviation();
        return {mean - reach, mean + reach};
    }

    /// The same for the true standard deviation: deviation · √((count − 1) / χ²). It holds for normally
    /// distributed values only. Source: NIST/SEMATECH e-Handbook, 1.3.5.8 and 7.2.3.1.
    Bounds deviation_bounds(double level = 0.95) const {
        double const p = detail::upper_end(level);
        double const degrees = static_cast<double>(count) - 1;
        return {deviation * std::sqrt(degrees / chi_squared_quantile(p, degrees)),
                deviation * std::sqrt(degrees / chi_squared_quantile(1 - p, degrees))};
    }
};

/// The summary of a sample. The mean is corrected by the mean of what remains, so that a small spread on a
/// large value keeps its digits. Throws BadInput for fewer than two values and for one that is not finite.
inline SampleSummary summary_of(std::vector<double> const& values) {
    if (values.size() < 2)
        throw BadInput("a sample needs 2 values or more; given " + std::to_string(values.size()));
    double const count = static_cast<double>(values.size());
    double sum = 0;
    for (std::size_t i = 0; i < values.size(); ++i) {
        if (!is_finite(values[i]))
            throw BadInput("value " + std::to_string(i + 1) + " of a sample is not finite");
        sum += values[i] / count;
    }
    double const about = sum;
    double rest = 0;
    for (double const value : values)
        rest += value - about;
    rest /= count;
    double squares = 0;
    for (double const value : values)
        squares += sqr((value - about) - rest);
    return {values.size(), about + rest, std::sqrt(squares / (count - 1))};
}

} // namespace seamhold

#endif
