#ifndef SEAMHOLD_RECORD_PROCESS_DRIFT_HPP
#define SEAMHOLD_RECORD_PROCESS_DRIFT_HPP

#include "seamhold/calibrate/trend.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/drift.hpp"
#include "seamhold/record/seam_summary.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/capability.hpp"
#include "seamhold/statistics/quantiles.hpp"
#include "seamhold/statistics/sample.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

// Outside of record.hpp: the search for outliers takes some seconds to compile.

namespace seamhold {

/// The power at the work over weeks, as it was measured for one and the same command.
struct PowerWatch {
    std::vector<DatedValue> readings; ///< W, dates in days since 1970-01-01
    Bounds allowed;                   ///< W
};

/// How a drift is looked for.
struct DriftOptions {
    /// Where the level of a part may lie in the band (`ChannelSummary::level`), half widths. At half the way
    /// to a limit good parts have begun to be refused more often.
    Bounds allowed = {-0.5, 0.5};
    double level = 0.95; ///< of all slopes together, and of each span of days
    /// Parts of so many days are taken together and count as one: what differs from day to day, such as the
    /// batch of sheet, would else look like knowledge.
    double days_together = 1;
    double least_seen = 0.95; ///< share of the seam that must be seen of a channel
    bool good_only = true;    ///< a fault is no drift
};

namespace detail {

/// The mean of each group of days, one value a group, at the mean date of its parts.
inline std::vector<DatedValue> day_means(std::vector<DatedValue> values, double days) {
    auto const group = [&](DatedValue const& v) { return std::floor(v.date / days); };
    std::stable_sort(values.begin(), values.end(),
                     [](DatedValue const& a, DatedValue const& b) { return a.date < b.date; });
    std::vector<DatedValue> means;
    for (std::size_t first = 0, end = 0; first < values.size(); first = end) {
        double date = 0, value = 0, count = 0;
        for (end = first; end < values.size() && group(values[end]) == group(values[first]); ++end) {
            count += 1;
            date += (values[end].date - date) / count;
            value += (values[end].value - value) / count;
        }
        means.push_back({date, value});
    }
    return means;
}

inline void check_days(double date, std::string const& of) {
    if (!(std::abs(date) < 200000))
        throw BadInput(of + " has the date " + text_of(date) +
                       "; dates are days since 1970-01-01: are these seconds?");
}

inline Drift drift_of(std::string const& name, std::vector<DatedValue> const& values, Bounds const& allowed,
                      double today, DriftOptions const& options, double slope_level, std::size_t rows) {
    auto means = day_means(values, options.days_together);
    if (means.size() < 4)
        throw BadInput("a drift of " + name + " needs 4 groups of " + text_of(options.days_together) +
                       " days or more; given are " + std::to_string(means.size()) + " from " +
                       std::to_string(values.size()) + " of " + std::to_string(rows) + " rows");
    auto trend = trend_of(means, allowed);
    auto leaving = trend.leaving(today, options.level);
    auto const slope = trend.line.slope_bounds(slope_level);
    bool const told = slope.low > 0 || slope.high < 0;
    std::vector<double> beside;
    for (std::size_t i = 0; i < means.size(); ++i)
        if (!trend.outlier[i])
            beside.push_back(trend.line.residuals[i]);
    return {name,
            std::move(means),
            std::move(trend),
            slope,
            told,
            std::move(leaving),
            likeness_of_neighbours(beside),
            values.size(),
            rows - values.size()};
}

/// Of what lies beside two lines on the groups of days that both have.
inline std::optional<Together> together(Drift const& a, Drift const& b, double days) {
    std::vector<double> x, y;
    for (std::size_t i = 0, k = 0; i < a.points.size() && k < b.points.size();) {
        double const of_a = std::floor(a.points[i].date / days), of_b = std::floor(b.points[k].date / days);
        if (of_a == of_b && !a.trend.outlier[i] && !b.trend.outlier[k]) {
            x.push_back(a.trend.line.residuals[i]);
            y.push_back(b.trend.line.residuals[k]);
        }
        i += of_a <= of_b ? 1U : 0U;
        k += of_b <= of_a ? 1U : 0U;
    }
    if (x.size() < 6)
        return std::nullopt;
    auto const of_x = summary_of(x), of_y = summary_of(y);
    if (!(of_x.deviation > 0 && of_y.deviation > 0))
        return std::nullopt;
    double sum = 0;
    for (std::size_t i = 0; i < x.size(); ++i)
        sum += (x[i] - of_x.mean) / of_x.deviation * ((y[i] - of_y.mean) / of_y.deviation);
    double const r = std::clamp(sum / (static_cast<double>(x.size()) - 1), -1.0, 1.0);
    // Three numbers are spent: two means and the slope.
    double const freedom = static_cast<double>(x.size()) - 3;
    double const rest = std::max(1e-300, 1 - r * r);
    return Together{r, student_tails(r * std::sqrt(freedom / rest), freedom), x.size()};
}

inline void check_drift_options(DriftOptions const& options) {
    if (!(options.days_together > 0) || !is_finite(options.days_together))
        throw BadInput("days that are taken together must be above 0; given " +
                       text_of(options.days_together));
    if (!(options.least_seen >= 0 && options.least_seen <= 1))
        throw BadInput("the share that must be seen of a channel must lie between 0 and 1; given " +
                       text_of(options.least_seen));
    (void)upper_end(options.level);
}

inline void check_drift_rows(std::vector<SeamSummary> const& rows, double today) {
    check_summaries(rows);
    for (auto const& row : rows) {
        std::string const of = "the row of part " + row.part;
        check_days(row.date, of);
        if (row.date > today)
            throw BadInput(of + " has the date " + text_of(row.date) + ", after today, " + text_of(today));
        if (row.band_parts != rows.front().band_parts)
            throw BadInput(of + " was held against a band learnt from " + std::to_string(row.band_parts) +
                           " parts, that of part " + rows.front().part + " against one from " +
                           std::to_string(rows.front().band_parts) +
                           "; a band that learns on drifts too: hold all parts against one band");
        if (row.band_print != rows.front().band_print)
            throw BadInput(of + " was held against another band than that of part " + rows.front().part +
                           ", though both were learnt from " + std::to_string(row.band_parts) +
                           " parts: hold all parts against one band");
    }
}

} // namespace detail

/// How the good band of one seam drifts, channel by channel: a straight line through the levels of its parts
/// over days, and when it leaves `options.allowed`. Beside it the power at the work, and which channels drift
/// while it does. That two things drift at once does not show that one makes the other; `Together` says
/// whether they also wander alike beside their trends. A share `level` of unchanged processes has no slope
/// that is told, over all channels and the power together (Šidák's share each). `today` is in days since
/// 1970-01-01. A forecast holds while nothing else changes; it permits nothing.
/// Throws BadInput for rows that do not belong together (`check_summaries`) or were held against different
/// bands, a date after today or one in seconds, a power that is not above 0, fewer than 4 groups of days
/// that are left, and options or limits that do not hold.
inline ProcessDrift process_drift(std::vector<SeamSummary> const& rows, double today,
                                  std::optional<PowerWatch> const& power = std::nullopt,
                                  DriftOptions const& options = {}) {
    detail::check_drift_options(options);
    detail::check_days(today, "today");
    detail::check_drift_rows(rows, today);
    std::size_t const channels = rows.front().channels.size();
    double const slope_level = std::pow(options.level, 1 / static_cast<double>(channels + (power ? 1 : 0)));
    ProcessDrift result;
    if (power) {
        for (auto const& reading : power->readings) {
            detail::check_days(reading.date, "a reading of the power");
            if (!(reading.value > 0))
                throw BadInput("a reading of the power must be above 0 W; given " +
                               detail::text_of(reading.value));
            if (reading.date > today)
                throw BadInput("a reading of the power has the date " + detail::text_of(reading.date) +
                               ", after today, " + detail::text_of(today));
        }
        result.power = detail::drift_of("power", power->readings, power->allowed, today, options, slope_level,
                                        power->readings.size());
    }
    for (std::size_t c = 0; c < channels; ++c) {
        std::vector<DatedValue> levels;
        for (auto const& row : rows)
            if (row.channels[c].seen >= options.least_seen && row.channels[c].seen > 0 &&
                (row.judgement == Judgement::good || !options.good_only))
                levels.push_back({row.date, row.channels[c].level});
        auto drift = detail::drift_of(rows.front().channels[c].name, levels, options.allowed, today, options,
                                      slope_level, rows.size());
        bool const with_power = drift.told && result.power && result.power->told;
        auto together = result.power ? detail::together(drift, *result.power, options.days_together)
                                     : std::optional<Together>();
        result.channels.push_back({std::move(drift), with_power, together});
    }
    std::vector<Drift const*> order;
    for (auto const& channel : result.channels)
        order.push_back(&channel.drift);
    if (result.power)
        order.push_back(&*result.power);
    std::stable_sort(order.begin(), order.end(), [&](Drift const* a, Drift const* b) {
        return detail::day_of_leaving(*a, today) < detail::day_of_leaving(*b, today);
    });
    if (is_finite(detail::day_of_leaving(*order.front(), today)))
        result.first = order.front()->name;
    for (Drift const* const drift : order)
        result.words.push_back(detail::drift_words(
            *drift, today, result.power && drift == &*result.power ? "W" : "half widths"));
    for (auto& hint : detail::drift_hints(result.channels, power.has_value()))
        result.words.push_back(std::move(hint));
    return result;
}

} // namespace seamhold

#endif
