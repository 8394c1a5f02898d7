#ifndef SEAMHOLD_CALIBRATE_CLOCK_LINE_HPP
#define SEAMHOLD_CALIBRATE_CLOCK_LINE_HPP

#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/calibrate/pose_scatter.hpp"
#include "seamhold/statistics/line_fit.hpp"
#include "seamhold/statistics/linear_model.hpp"
#include "seamhold/statistics/robust_fit.hpp"

#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// The same line across the sweep, marked once in a forward and once in a backward sweep at one speed.
struct LineSeparation {
    double speed;      ///< of the sweep, both ways, m/s, above 0
    double separation; ///< place of the forward mark less that of the backward one, m, positive along the
                       ///< forward sweep
};

/// How the separation of lines is read.
struct ClockLineOptions {
    std::optional<double> separation_deviation; ///< of one separation as ruler and lines allow it, m: by it
                                                ///< separations that do not agree are told
    double largest_offset = 0.05;               ///< beyond it a clock's error is taken for a wrong unit, s
};

/// How late the light comes, from lines marked in both directions.
struct ClockLine {
    Estimate offset; ///< s: positive where the light comes late behind the flange's motion, so that marks lie
                     ///< further along each sweep; negative where it comes early
    Estimate reversal; ///< what the arm itself misses when it comes from the other side (backlash), m
    LineFit line;      ///< separation over speed of those that counted; residuals in their order
    std::optional<LackOfFit> lack_of_fit; ///< where speeds repeat: whether a straight line is enough
    std::optional<Estimate> curvature;    ///< by how much the delay grows with speed, s by m/s; needs four
    std::vector<bool> outlier;            ///< separations that do not agree with the others

    /// Whether nothing speaks against one delay for all speeds, of what chance makes in a share of cases. A
    /// controller that filters differently at speed fails here.
    bool straight(double probability = 0.05) const {
        if (lack_of_fit)
            return lack_of_fit->probability > probability;
        return !curvature || curvature->bounds(1 - probability).contains(0);
    }
};

/// How sure a delay will be, before anything is marked.
struct ClockLineDeviation {
    double offset;   ///< standard deviation of the delay, s
    double reversal; ///< of the reversal error, m
};

namespace detail {

/// Throws where there are not two different speeds or more, at least half as fast again as the slowest.
inline void check_speeds(std::vector<double> const& speeds, std::size_t different) {
    for (std::size_t i = 0; i < speeds.size(); ++i)
        if (!(speeds[i] > 0) || !is_finite(speeds[i]))
            throw BadInput("observation " + std::to_string(i + 1) +
                           ": a sweep's speed must be above 0 m/s; given was " + text_of(speeds[i]) +
                           "; both directions have the same speed, and the separation has "
                           "the sign: positive along the forward sweep");
    std::vector<double> sorted = speeds;
    std::sort(sorted.begin(), sorted.end());
    std::size_t count = 0;
    double last = 0;
    for (double const speed : sorted)
        if (speed > 1.01 * last) {
            ++count;
            last = speed;
        }
    if (count < different)
        throw BadInput("the delay is told from the arm's reversal error by " + std::to_string(different) +
                       " different speeds or more; given " + std::to_string(count));
    if (sorted.back() < 1.5 * sorted.front())
        throw BadInput("the speeds are too alike to tell the delay from the arm's reversal error: " +
                       text_of(sorted.front()) + " to " + text_of(sorted.back()) +
                       " m/s; the fastest should be three times the slowest, and must be half as fast again");
}

/// Throws where speeds or separations look like another unit.
inline void check_line_units(std::vector<LineSeparation> const& given, ClockLineOptions const& options) {
    double fastest = 0, widest = 0, furthest = 0;
    for (auto const& o : given) {
        fastest = std::max(fastest, o.speed);
        widest = std::max(widest, std::abs(o.separation));
    }
    // Arms sweep at some mm/s to a few m/s (common practice, no source).
    if (fastest > 10) {
        std::string const text =
            "a sweep at " + text_of(fastest) + " m/s is faster than arms are; it looks like ";
        if (fastest / 60 <= 10)
            throw BadInput(text + "metres per minute or millimetres per second given as m/s");
        throw BadInput(text + "millimetres per second given as m/s");
    }
    if (fastest < 5e-3)
        throw BadInput("the fastest sweep is " + text_of(fastest) +
                       " m/s: it looks like m/s divided by 1000");
    // A reversal error of 5 mm would be a broken arm.
    furthest = 2 * options.largest_offset * fastest + 0.005;
    if (widest > furthest) {
        std::string const text = "a separation of " + text_of(widest) + " m would be a delay of " +
                                 text_of(widest / (2 * fastest)) + " s at " + text_of(fastest) +
                                 " m/s, more than " + text_of(options.largest_offset) + " s; ";
        if (widest / 1000 <= furthest)
            throw BadInput(text + "it looks like millimetres given as metres");
        throw BadInput(text + "it looks like micrometres given as metres");
    }
}

/// The line y = a + b x with points that do not agree left out: which do.
inline std::vector<bool> points_apart(std::vector<LinePoint> const& points, std::optional<double> deviation) {
    auto const n = static_cast<Eigen::Index>(points.size());
    if (n < 6) // too few to tell who is wrong
        return std::vector<bool>(points.size(), false);
    Linearised rows{Eigen::VectorXd(n), Eigen::MatrixXd(n, 2)};
    Eigen::VectorXd y(n);
    for (Eigen::Index i = 0; i < n; ++i) {
        auto const& p = points[static_cast<std::size_t>(i)];
        double const root = std::sqrt(p.weight);
        y(i) = root * p.y;
        rows.jacobian(i, 0) = -root;
        rows.jacobian(i, 1) = -root * p.x;
    }
    RobustOptions options;
    options.deviation = deviation;
    auto const linearised = [&](Eigen::VectorXd const& line) {
        rows.residuals = y + rows.jacobian * line;
        return rows;
    };
    auto const moved = [](Eigen::VectorXd const& line, Eigen::VectorXd const& step) {
        return Eigen::VectorXd(line + step);
    };
    return robust_least_squares(Eigen::VectorXd(Eigen::VectorXd::Zero(2)), linearised, moved, 1, options)
        .outlier;
}

/// Throws where separations fit far better with some signs turned.
inline void check_line_signs(std::vector<LineSeparation> const& given, LineFit const& line,
                             std::vector<bool> const& outlier) {
    std::string turned;
    for (std::size_t i = 0; i < given.size(); ++i) {
        double const y = given[i].separation, wanted = line.at(given[i].speed);
        if (outlier[i] && std::abs(y + wanted) < 0.1 * std::abs(y - wanted) &&
            std::abs(y + wanted) < std::max(6 * line.deviation, 1e-9))
            turned += (turned.empty() ? "" : ", ") + std::to_string(i + 1);
    }
    if (!turned.empty())
        throw BadInput("observations " + turned +
                       " fit only with their signs turned: separations are the forward mark's place less the "
                       "backward mark's, positive along the forward sweep");
    // Distances without signs turn over where the separation goes through 0.
    bool negative = false;
    for (auto const& o : given)
        negative = negative || o.separation < 0;
    if (negative || given.size() < 5)
        return;
    for (auto const& split : given) {
        std::vector<LinePoint> points;
        bool any = false;
        for (auto const& o : given) {
            bool const turn = o.speed <= split.speed;
            any = any || !turn;
            points.push_back({o.speed, turn ? -o.separation : o.separation});
        }
        if (!any)
            continue;
        auto const alternative = fit_line(points);
        if (alternative.sum_of_squares < line.sum_of_squares / 25 && alternative.at(split.speed) < 0)
            throw BadInput("the separations look like distances without a sign: up to " +
                           text_of(split.speed) +
                           " m/s they fit only as negative ones; give them positive along the forward sweep");
    }
}

/// Speeds that differ by 1 % or less as one, so that repeats are known as such.
inline std::vector<LinePoint> with_repeats(std::vector<LinePoint> points) {
    std::sort(points.begin(), points.end(), [](LinePoint const& a, LinePoint const& b) { return a.x < b.x; });
    for (std::size_t first = 0, i = 0; i < points.size(); ++i) {
        if (points[i].x > 1.01 * points[first].x)
            first = i;
        points[i].x = points[first].x;
    }
    return points;
}

} // namespace detail

/// The delay of the light from lines marked in both directions at three speeds or more: separation = 2 ·
/// speed · offset + reversal (common practice, no source). Half the slope over speed is the delay, the
/// intercept what the arm misses on reversal; from one speed the two are not told apart. Ask the chain for
/// the pose `offset` later than now. Separations that do not agree with the others are named and do not count
/// (of six or more). Throws BadInput for speeds that are not above 0, fewer than three different ones or too
/// alike, numbers that look like another unit, and separations that fit only with turned signs. That all
/// signs are turned cannot be seen: correct by the result and mark again; the separations must vanish, not
/// double.
inline ClockLine clock_from_lines(std::vector<LineSeparation> const& given,
                                  ClockLineOptions const& options = {}) {
    std::vector<double> speeds;
    for (std::size_t i = 0; i < given.size(); ++i) {
        if (!is_finite(given[i].separation))
            throw BadInput("observation " + std::to_string(i + 1) + ": the separation is not finite");
        speeds.push_back(given[i].speed);
    }
    detail::check_speeds(speeds, 3);
    detail::check_line_units(given, options);
    std::vector<LinePoint> points;
    points.reserve(given.size());
    for (auto const& o : given)
        points.push_back({o.speed, o.separation});
    ClockLine result{};
    if (options.separation_deviation && !(*options.separation_deviation > 0))
        throw BadInput("the deviation of a separation must be above 0 m; given was " +
                       detail::text_of(*options.separation_deviation));
    result.outlier = detail::points_apart(points, options.separation_deviation);
    std::vector<LinePoint> kept;
    std::vector<double> kept_speeds;
    for (std::size_t i = 0; i < points.size(); ++i)
        if (!result.outlier[i]) {
            kept.push_back(points[i]);
            kept_speeds.push_back(points[i].x);
        }
    result.line = fit_line(kept);
    detail::check_line_signs(given, result.line, result.outlier);
    detail::check_speeds(kept_speeds, 3);
    double const s = result.line.deviation;
    if (options.separation_deviation && s > 0) {
        double const ratio = s / *options.separation_deviation;
        if (ratio > 200)
            throw BadInput("the separations scatter by " + detail::text_of(s) + " m, " +
                           detail::text_of(ratio) +
                           " times what was stated: they look like millimetres given as metres");
        if (ratio < 1.0 / 200 && ratio > 1e-5 && result.line.degrees_of_freedom >= 2)
            throw BadInput("the separations scatter by " + detail::text_of(s) + " m, " +
                           detail::text_of(ratio) +
                           " times what was stated: they look like metres divided by 1000");
    }
    double const freedom = result.line.degrees_of_freedom;
    result.offset = {result.line.slope / 2, result.line.slope_deviation / 2, freedom};
    result.reversal = {result.line.intercept, result.line.intercept_deviation, freedom};
    result.lack_of_fit = fit_line(detail::with_repeats(kept)).lack_of_fit;
    if (kept.size() >= 4) {
        auto const n = static_cast<Eigen::Index>(kept.size());
        Eigen::MatrixXd columns(n, 3);
        Eigen::VectorXd y(n);
        for (Eigen::Index i = 0; i < n; ++i) {
            auto const& p = kept[static_cast<std::size_t>(i)];
            columns.row(i) << 1, p.x, sqr(p.x);
            y(i) = p.y;
        }
        auto const bent = fit_linear(columns, y);
        // The delay at a speed is half the slope there.
        result.curvature = Estimate{bent.coefficients(2), bent.deviations(2), bent.degrees_of_freedom};
    }
    return result;
}

/// How sure the delay and the reversal error will be from one separation at each of these speeds (repeat a
/// speed for each repetition) read with a standard deviation of `separation_deviation` m, which holds two
/// line positions: σ / (2 √Σ (v − v̄)²) and σ √(1/n + v̄² / Σ (v − v̄)²). Throws BadInput as `clock_from_lines`
/// does for the speeds, of which two different ones are enough, and for a deviation that is not above 0.
inline ClockLineDeviation clock_line_deviation(std::vector<double> const& speeds,
                                               double separation_deviation) {
    detail::check_speeds(speeds, 2);
    if (!(separation_deviation > 0) || !is_finite(separation_deviation))
        throw BadInput("the deviation of a separation must be above 0 m; given was " +
                       detail::text_of(separation_deviation));
    double const n = static_cast<double>(speeds.size());
    double mean = 0, spread = 0;
    for (double const v : speeds)
        mean += v / n;
    for (double const v : speeds)
        spread += sqr(v - mean);
    return {separation_deviation / (2 * std::sqrt(spread)),
            separation_deviation * std::sqrt(1 / n + sqr(mean) / spread)};
}

} // namespace seamhold

#endif
