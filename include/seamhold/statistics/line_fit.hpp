#ifndef SEAMHOLD_STATISTICS_LINE_FIT_HPP
#define SEAMHOLD_STATISTICS_LINE_FIT_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/crossing.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// One observation of y at a known x, in any units.
struct LinePoint {
    double x;          ///< known exactly
    double y;          ///< observed
    double weight = 1; ///< its variance is s² / weight; 0 leaves it out
};

/// Whether a straight line is enough, as points repeated at the same x tell it: the mean squares of the means
/// about the line and of the points about their means, compared.
struct LackOfFit {
    double f;           ///< the ratio of the mean squares
    double degrees;     ///< of freedom of the means about the line
    double repeated;    ///< degrees of freedom of the points about their means
    double probability; ///< of a ratio as large or larger by chance alone; small means: no straight line
};

/// The line y = intercept + slope · x through points, and what is known of it. Deviations are standard
/// deviations. y errors are taken as independent and normal, x as exact.
struct LineFit {
    double intercept;                     ///< y at x = 0
    double slope;                         ///< y by x
    double intercept_deviation;           ///< of the intercept
    double slope_deviation;               ///< of the slope
    double covariance;                    ///< of intercept and slope
    double deviation;                     ///< s, of a point of weight 1 about the line
    double r_squared;                     ///< the share of the squares about the mean that the line explains
    double f;                             ///< (slope / slope_deviation)²
    double degrees_of_freedom;            ///< points of a weight above 0 less 2
    double sum_of_squares;                ///< Σ w (y − line)²
    double centre;                        ///< weighted mean of x
    double centre_y;                      ///< weighted mean of y, the line's value at the centre
    double weight;                        ///< Σ w
    double spread;                        ///< Σ w (x − centre)²
    std::vector<double> residuals;        ///< y − line of each point
    std::optional<LackOfFit> lack_of_fit; ///< where points repeat an x and three x or more differ

    /// The line's value at x.
    double at(double x) const { return centre_y + slope * (x - centre); }

    /// The standard deviation of the line's value at x.
    double deviation_at(double x) const {
        return deviation * std::sqrt(1 / weight + sqr(x - centre) / spread);
    }

    /// Where the true line lies at x with a confidence level in (0, 1). At one x; not for all x at once.
    /// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 4.5.1.1. Throws BadInput for another level.
    Bounds confidence(double x, double level = 0.95) const {
        return about(x, student(level) * deviation_at(x));
    }

    /// Where the mean of `future` further observations of weight `weight` at x will lie with that confidence.
    /// Source: the same, 4.5.1.2. Throws BadInput for a level outside (0, 1), and where `future` or the
    /// weight is not above 0.
    Bounds prediction(double x, double level = 0.95, double future = 1, double weight_of_each = 1) const {
        if (!(future > 0 && weight_of_each > 0))
            throw BadInput("a prediction is for more than 0 observations of a weight above 0; given " +
                           detail::text_of(future) + " and " + detail::text_of(weight_of_each));
        return about(x, student(level) *
                            std::hypot(deviation_at(x), deviation / std::sqrt(future * weight_of_each)));
    }

    /// Where the line reaches y, with the confidence set of the place by Fieller's theorem: all x at which
    /// the line may have the value y. `readings`: y is the mean of so many observations of weight 1, not a
    /// value known exactly (calibration). Throws BadInput for a level outside (0, 1).
    LineCrossing crossing(double y, double level = 0.95,
                          double readings = std::numeric_limits<double>::infinity()) const {
        if (!(readings > 0))
            throw BadInput("a line's crossing is asked for a mean of readings; given " +
                           detail::text_of(readings));
        double const reach = sqr(student(level) * deviation);
        return detail::fieller(centre, centre_y - y, slope, reach * (1 / weight + 1 / readings),
                               reach / spread);
    }

    /// The same question for the slope: where it lies with that confidence.
    Bounds slope_bounds(double level = 0.95) const {
        double const reach = student(level) * slope_deviation;
        return {slope - reach, slope + reach};
    }

    /// And for the intercept.
    Bounds intercept_bounds(double level = 0.95) const {
        double const reach = student(level) * intercept_deviation;
        return {intercept - reach, intercept + reach};
    }

private:
    double student(double level) const {
        return student_quantile(detail::upper_end(level), degrees_of_freedom);
    }
    Bounds about(double x, double reach) const { return {at(x) - reach, at(x) + reach}; }
};

namespace detail {

/// Σ w (y − mean of its x)² and the rest of the sum of squares, compared.
inline std::optional<LackOfFit> lack_of_fit(std::vector<LinePoint> points, double sum_of_squares) {
    points.erase(
        std::remove_if(points.begin(), points.end(), [](LinePoint const& p) { return p.weight == 0; }),
        points.end());
    std::sort(points.begin(), points.end(), [](LinePoint const& a, LinePoint const& b) { return a.x < b.x; });
    double pure = 0;
    double groups = 0;
    for (std::size_t first = 0, end = 0; first < points.size(); first = end) {
        double weight = 0, mean = 0;
        for (end = first; end < points.size() && points[end].x == points[first].x; ++end) {
            weight += points[end].weight;
            mean += points[end].weight / weight * (points[end].y - mean);
        }
        for (std::size_t i = first; i < end; ++i)
            pure += points[i].weight * sqr(points[i].y - mean);
        groups += 1;
    }
    double const repeated = static_cast<double>(points.size()) - groups;
    if (repeated < 1 || groups < 3 || !(pure > 0))
        return std::nullopt;
    double const f = std::max(0.0, sum_of_squares - pure) / (groups - 2) / (pure / repeated);
    return LackOfFit{f, groups - 2, repeated, f_tail(f, groups - 2, repeated)};
}

} // namespace detail

/// The line that makes Σ w (y − line)² least. Everything is computed about the weighted means, so that large
/// values of x or y (times since an epoch) lose no digits of the slope. Throws BadInput for fewer than three
/// points of a weight above 0, fewer than two different x among them, a negative weight, and values that are
/// not finite. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 4.4.3.1.
inline LineFit fit_line(std::vector<LinePoint> const& points) {
    double weight = 0, used = 0;
    double least = std::numeric_limits<double>::infinity(), most = -least;
    for (std::size_t i = 0; i < points.size(); ++i) {
        LinePoint const& p = points[i];
        if (!is_finite(p.x) || !is_finite(p.y) || !is_finite(p.weight) || p.weight < 0)
            throw BadInput("point " + std::to_string(i + 1) + " of a line: x " + detail::text_of(p.x) +
                           ", y " + detail::text_of(p.y) + ", weight " + detail::text_of(p.weight) +
                           "; all must be finite and the weight not negative");
        if (p.weight == 0)
            continue;
        weight += p.weight;
        used += 1;
        least = std::min(least, p.x);
        most = std::max(most, p.x);
    }
    if (used < 3)
        throw BadInput("a line needs 3 points or more; given " + detail::text_of(used));
    if (!(least < most))
        throw BadInput("a line needs 2 different x or more; all are " + detail::text_of(least));
    // The mean of what remains about a first mean puts right the first one's rounding.
    double x0 = 0, y0 = 0, dx = 0, dy = 0;
    for (LinePoint const& p : points) {
        x0 += p.weight / weight * p.x;
        y0 += p.weight / weight * p.y;
    }
    for (LinePoint const& p : points) {
        dx += p.weight / weight * (p.x - x0);
        dy += p.weight / weight * (p.y - y0);
    }
    double spread = 0, product = 0, squares = 0;
    for (LinePoint const& p : points) {
        double const x = (p.x - x0) - dx, y = (p.y - y0) - dy;
        spread += p.weight * x * x;
        product += p.weight * x * y;
        squares += p.weight * y * y;
    }
    LineFit fit{};
    fit.slope = product / spread;
    fit.centre = x0 + dx;
    fit.centre_y = y0 + dy;
    fit.intercept = fit.centre_y - fit.slope * fit.centre;
    fit.weight = weight;
    fit.spread = spread;
    fit.degrees_of_freedom = used - 2;
    fit.residuals.reserve(points.size());
    for (LinePoint const& p : points) {
        fit.residuals.push_back(((p.y - y0) - dy) - fit.slope * ((p.x - x0) - dx));
        fit.sum_of_squares += p.weight * sqr(fit.residuals.back());
    }
    fit.deviation = std::sqrt(fit.sum_of_squares / fit.degrees_of_freedom);
    fit.slope_deviation = fit.deviation / std::sqrt(spread);
    fit.intercept_deviation = fit.deviation_at(0);
    fit.covariance = -fit.centre * sqr(fit.slope_deviation);
    fit.r_squared = squares > 0 ? 1 - fit.sum_of_squares / squares : 1;
    fit.f = fit.slope == 0 ? 0 : sqr(fit.slope / fit.slope_deviation);
    fit.lack_of_fit = detail::lack_of_fit(points, fit.sum_of_squares);
    return fit;
}

} // namespace seamhold

#endif
