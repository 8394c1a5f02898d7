#ifndef SEAMHOLD_CALIBRATE_CLOCK_DRIFT_HPP
#define SEAMHOLD_CALIBRATE_CLOCK_DRIFT_HPP

#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/live/clock_map.hpp"
#include "seamhold/statistics/line_fit.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// A clock's offset measured at a time of the shift.
struct OffsetReading {
    ScannerTime time;
    double offset;        ///< what the robot's clock shows less what the scanner's shows, s
    double deviation = 0; ///< standard deviation, s; 0 in all: unknown and alike
};

/// A jump of a clock between two readings, as when it is set.
struct ClockStep {
    std::size_t after; ///< it lies between this reading, counted from 0, and the next
    Estimate size;     ///< by how much the offset grew, s
    bool confirmed;    ///< two readings or more stand on both sides; if not, one reading may be wrong
                       ///< instead: measure once more
};

/// When an offset leaves its tolerance.
struct DriftExit {
    std::optional<ScannerTime> place; ///< where the line does; none where it never will
    Bounds between;                   ///< the scanner's clock, s, when it will with the confidence asked for;
                                      ///< ∞ where nothing bounds it
};

/// How the offset of two clocks goes on.
struct ClockDrift {
    LineFit line;                 ///< offset, s, over the scanner's clock, s, since the last step
    Estimate rate;                ///< seconds of offset a second; the same before and after steps
    std::vector<ClockStep> steps; ///< in order of time
    std::vector<bool> outlier;    ///< single readings that stand apart and did not count
    double bend; ///< the probability that readings on a straight line would bend as much; small (below
                 ///< 0.01): the rate changes, as while a controller warms up, and the line is no forecast
    ScannerTime last; ///< reading

    /// The rate in millionths.
    double parts_per_million() const { return 1e6 * rate.value; }
    /// The rate in µs an hour.
    double microseconds_per_hour() const { return 3600e6 * rate.value; }

    /// The offset at a moment, s.
    double at(ScannerTime t) const { return line.at(t.seconds); }
    /// Between which the offset lies at a moment with a confidence level.
    Bounds confidence(ScannerTime t, double level = 0.95) const { return line.confidence(t.seconds, level); }
    /// Between which a further reading at a moment will lie. With readings of stated deviations: one of a
    /// deviation of 1 / √weight.
    Bounds prediction(ScannerTime t, double level = 0.95, double weight = 1) const {
        return line.prediction(t.seconds, level, 1, weight);
    }

    /// When the offset leaves a tolerance after the last reading, by Fieller's bounds. Throws BadInput for a
    /// tolerance whose ends are not in order.
    DriftExit leaves(Bounds const& tolerance, double level = 0.95) const {
        if (!(tolerance.low < tolerance.high))
            throw BadInput("a tolerance's low end must be below its high end; given " +
                           detail::text_of(tolerance.low) + " s and " + detail::text_of(tolerance.high) +
                           " s");
        double const infinity = std::numeric_limits<double>::infinity();
        double const now = last.seconds;
        if (!tolerance.contains(at(last)))
            return {last, {now, now}};
        DriftExit exit{std::nullopt, {infinity, infinity}};
        bool const rising = line.slope > 0;
        auto const towards = line.crossing(rising ? tolerance.high : tolerance.low, level);
        auto const away = line.crossing(rising ? tolerance.low : tolerance.high, level);
        if (is_finite(towards.place))
            exit.place = ScannerTime{std::max(now, towards.place)};
        if (auto const b = towards.from(now))
            exit.between = *b;
        if (auto const b = away.from(now)) // a slope that may as well have the other sign
            exit.between = {std::min(exit.between.low, b->low), std::max(exit.between.high, b->high)};
        return exit;
    }

    /// The latest moment at which to measure again: the first at which the offset may leave its tolerance
    /// with that confidence; ∞ where it cannot.
    ScannerTime measure_again(Bounds const& tolerance, double level = 0.95) const {
        return {leaves(tolerance, level).between.low};
    }

    /// The clocks' relation, about the last reading.
    ClockMap map() const { return {last, {last.seconds + at(last)}, 1 + line.slope}; }
};

/// How a drift is made out.
struct ClockDriftOptions {
    double false_alarm = 0.01; ///< the share of clean drifts in which a step or an outlier is named
    double least_step = 1e-6;  ///< a step below this is not worth a name, s
};

namespace detail {

/// Steps and readings left out that a drift is made of.
struct DriftModel {
    std::vector<bool> step; ///< after each reading
    std::vector<bool> out;  ///< of each reading
};

/// Runs of readings between steps with one slope for all, by least squares (analysis of covariance): a run's
/// mean and the slope, from the spread within the runs, do not depend on each other.
struct DriftRun {
    double weight = 0, x = 0, y = 0; ///< Σ w, weighted means
    std::size_t last = 0;            ///< reading that belongs to it
};

struct DriftLine {
    LineFit line; ///< of the last run; residuals of all readings
    std::vector<DriftRun> runs;
};

inline DriftLine fit_runs(std::vector<LinePoint> const& points, DriftModel const& model) {
    DriftLine fit{{}, {{}}};
    auto& line = fit.line;
    std::size_t const n = points.size();
    std::vector<std::size_t> run(n, 0);
    double used = 0;
    for (std::size_t i = 0; i < n; ++i) {
        run[i] = fit.runs.size() - 1;
        auto& r = fit.runs.back();
        if (!model.out[i]) {
            r.weight += points[i].weight;
            r.x += points[i].weight / r.weight * (points[i].x - r.x);
            r.y += points[i].weight / r.weight * (points[i].y - r.y);
            used += 1;
        }
        r.last = i;
        if (i + 1 < n && model.step[i])
            fit.runs.push_back({});
    }
    double product = 0;
    for (std::size_t i = 0; i < n; ++i)
        if (!model.out[i]) {
            auto const& r = fit.runs[run[i]];
            line.spread += points[i].weight * sqr(points[i].x - r.x);
            product += points[i].weight * (points[i].x - r.x) * (points[i].y - r.y);
        }
    line.slope = line.spread > 0 ? product / line.spread : 0;
    for (std::size_t i = 0; i < n; ++i) {
        auto const& r = fit.runs[run[i]];
        line.residuals.push_back(points[i].y - r.y - line.slope * (points[i].x - r.x));
        if (!model.out[i])
            line.sum_of_squares += points[i].weight * sqr(line.residuals.back());
    }
    auto const& last = fit.runs.back();
    line.degrees_of_freedom = used - 1 - static_cast<double>(fit.runs.size());
    line.centre = last.x;
    line.centre_y = last.y;
    line.weight = last.weight;
    line.deviation =
        line.degrees_of_freedom > 0 ? std::sqrt(line.sum_of_squares / line.degrees_of_freedom) : 0;
    line.intercept = last.y - line.slope * last.x;
    line.slope_deviation = line.deviation / std::sqrt(line.spread);
    line.intercept_deviation = line.deviation_at(0);
    line.covariance = -line.centre * sqr(line.slope_deviation);
    double const explained = product * product / line.spread;
    line.r_squared = explained > 0 ? explained / (explained + line.sum_of_squares) : 1;
    line.f = line.slope == 0 ? 0 : sqr(line.slope / line.slope_deviation);
    return fit;
}

/// The sum of squares where the rate itself changes evenly: a square of time beside the runs and the slope.
inline double squares_of_bent(std::vector<LinePoint> const& points, DriftModel const& model) {
    auto const used = std::count(model.out.begin(), model.out.end(), false);
    auto const runs = 1 + std::count(model.step.begin(), model.step.end(), true);
    Eigen::MatrixXd columns = Eigen::MatrixXd::Zero(used, runs + 2);
    Eigen::VectorXd y(used);
    double const middle = (points.front().x + points.back().x) / 2;
    double const scale = (points.back().x - points.front().x) / 2;
    Eigen::Index row = 0, run = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        if (!model.out[i]) {
            double const root = std::sqrt(points[i].weight), x = (points[i].x - middle) / scale;
            columns(row, run) = root;
            columns(row, runs) = root * x;
            columns(row, runs + 1) = root * sqr(x);
            y(row++) = root * points[i].y;
        }
        if (model.step[i])
            ++run;
    }
    return (y - columns * columns.colPivHouseholderQr().solve(y)).squaredNorm();
}

/// Finds what a straight drift does not explain: steps between readings, readings that stand apart.
class DriftEvents {
public:
    DriftEvents(std::vector<LinePoint> const& points, ClockDriftOptions const& options, double least_variance)
        : points_(points), options_(options), least_variance_(least_variance) {}

    DriftModel found() const {
        std::size_t const n = points_.size();
        DriftModel model{std::vector<bool>(n, false), std::vector<bool>(n, false)};
        for (std::size_t events = 0; events < std::max<std::size_t>(1, n / 4);) {
            auto const one = best(model, 1);
            auto const two = n > 120 ? model : best(model, 2); // pairs of so many are slow
            double const bent = squares_of_bent(points_, model);
            if (bent < sum(one) && bent < 4 * sum(two))
                break; // no steps, but a rate that changes
            bool const single = significant(model, one, 1);
            if (!single && !significant(model, two, 2))
                break;
            model = single ? one : two;
            events += single ? 1 : 2;
        }
        return model;
    }

private:
    double sum(DriftModel const& model) const {
        auto const fit = fit_runs(points_, model);
        // A run of readings that are all left out, or no spread, is no model.
        for (auto const& run : fit.runs)
            if (!(run.weight > 0))
                return std::numeric_limits<double>::infinity();
        return fit.line.spread > 0 ? fit.line.sum_of_squares : std::numeric_limits<double>::infinity();
    }

    /// The places of an event: after reading k for k < n − 1, and else reading k − n + 2 alone. The first and
    /// the last reading alone are a step.
    std::size_t places() const { return 2 * points_.size() - 3; }
    bool put(DriftModel& model, std::size_t place) const {
        std::size_t const n = points_.size();
        bool const is_step = place < n - 1;
        auto&& flag = is_step ? model.step[place] : model.out[place - n + 2];
        if (flag)
            return false;
        flag = true;
        return true;
    }

    DriftModel best(DriftModel const& model, int events, std::size_t from = 0) const {
        DriftModel found = model;
        double least = std::numeric_limits<double>::infinity();
        for (std::size_t place = from; place < places(); ++place) {
            DriftModel with = model;
            if (!put(with, place))
                continue;
            if (events == 2)
                with = best(with, 1, place + 1);
            double const squares = sum(with);
            if (squares < least) {
                least = squares;
                found = with;
            }
        }
        return found;
    }

    bool significant(DriftModel const& before, DriftModel const& after, int events) const {
        double const old = sum(before), now = sum(after);
        auto const fit = fit_runs(points_, after);
        double const freedom = fit.line.degrees_of_freedom;
        if (!(freedom >= 1) || !(now < old))
            return false;
        double const variance = std::max(now / freedom, least_variance_);
        double const c = static_cast<double>(places());
        double const tests = events == 1 ? c : c * (c - 1) / 2;
        double const f = (old - now) / events / variance;
        return f_tail(f, events, freedom) < options_.false_alarm / (2 * tests);
    }

    std::vector<LinePoint> const& points_;
    ClockDriftOptions options_;
    double least_variance_;
};

} // namespace detail

/// The drift of two clocks from offsets measured at times of a shift, in order: a straight line with one
/// rate, steps where a clock was set, and single readings that stand apart, found one by one (or two at once)
/// as long as chance does not make them. Deviations count where all are given; they are what readings scatter
/// by at least, so that a step is not made of noise that happens to be small. Throws BadInput for fewer than
/// three readings, times that do not increase, deviations given for some only, and numbers that are not
/// finite.
inline ClockDrift clock_drift(std::vector<OffsetReading> const& readings,
                              ClockDriftOptions const& options = {}) {
    std::size_t const n = readings.size();
    if (n < 3)
        throw BadInput("a drift needs three readings or more; given " + std::to_string(n));
    bool const stated = readings.front().deviation > 0;
    std::vector<LinePoint> points;
    for (std::size_t i = 0; i < n; ++i) {
        auto const& r = readings[i];
        if (!is_finite(r.time.seconds) || !is_finite(r.offset) || !is_finite(r.deviation) || r.deviation < 0)
            throw BadInput("reading " + std::to_string(i + 1) +
                           " holds a number that is not finite or a deviation "
                           "below 0");
        if (i > 0 && !(r.time > readings[i - 1].time))
            throw BadInput("reading " + std::to_string(i + 1) +
                           " is not later than the one before: " + detail::text_of(r.time.seconds) +
                           " s after " + detail::text_of(readings[i - 1].time.seconds) + " s");
        if ((r.deviation > 0) != stated)
            throw BadInput("reading " + std::to_string(i + 1) +
                           ": deviations are given for all readings or for none");
        points.push_back({r.time.seconds, r.offset, stated ? 1 / sqr(r.deviation) : 1.0});
    }
    // Rounding of an offset is below a picosecond.
    double const least_variance = stated ? 1.0 : std::max(sqr(1e-12), sqr(options.least_step) / 100);
    detail::DriftModel const model = detail::DriftEvents(points, options, least_variance).found();
    auto const fit = detail::fit_runs(points, model);
    ClockDrift drift{};
    drift.line = fit.line;
    drift.rate = {fit.line.slope, fit.line.slope_deviation, std::max(fit.line.degrees_of_freedom, 1e-9)};
    drift.outlier = model.out;
    drift.last = readings.back().time;
    auto const in_run = [&](std::size_t run) {
        std::size_t const first = run == 0 ? 0 : fit.runs[run - 1].last + 1;
        std::size_t count = 0;
        for (std::size_t i = first; i <= fit.runs[run].last; ++i)
            count += model.out[i] ? 0 : 1;
        return count;
    };
    for (std::size_t k = 0; k + 1 < fit.runs.size(); ++k) {
        auto const &a = fit.runs[k], &b = fit.runs[k + 1];
        double const size = (b.y - a.y) - fit.line.slope * (b.x - a.x);
        double const deviation =
            fit.line.deviation * std::sqrt(1 / a.weight + 1 / b.weight + sqr(b.x - a.x) / fit.line.spread);
        drift.steps.push_back(
            {a.last, {size, deviation, drift.rate.degrees_of_freedom}, in_run(k) >= 2 && in_run(k + 1) >= 2});
    }

    drift.bend = 1;
    double const freedom = fit.line.degrees_of_freedom - 1;
    if (freedom >= 1 && fit.line.sum_of_squares > 0) {
        double const bent = detail::squares_of_bent(points, model);
        double const variance = std::max(bent / freedom, stated ? 0.0 : sqr(1e-12));
        drift.bend = f_tail(std::max(0.0, fit.line.sum_of_squares - bent) / variance, 1, freedom);
    }
    return drift;
}

} // namespace seamhold

#endif
