#ifndef SEAMHOLD_CALIBRATE_TREND_HPP
#define SEAMHOLD_CALIBRATE_TREND_HPP

#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/calibrate/fit_kept.hpp"
#include "seamhold/statistics/line_fit.hpp"

#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

/// What drifts from check to check, and when it will have left what is allowed. Dates are plain numbers, days
/// or seconds since an epoch that the caller states; no clock is read here.
namespace seamhold {

/// A value found on a date.
struct DatedValue {
    double date;       ///< since the caller's epoch
    double value;      ///< in the unit of the thing
    double weight = 1; ///< its variance is in proportion to 1/weight; 0 leaves it out
};

/// When a trend leaves what is allowed.
struct Leaving {
    bool outside_now;            ///< the line is outside today already
    std::optional<double> date;  ///< on which the line leaves; none where it runs level or inwards
    std::optional<Bounds> dates; ///< from today on, on which it may leave at the level; the last may be
                                 ///< infinite; none where it surely has left, or will not
    bool bounded;                ///< whether the data bound the date on both sides
    double limit;                ///< the end of what is allowed that is meant
    std::string words;           ///< the same for a reader
};

/// A line through dated values, beside what is allowed.
struct Trend {
    LineFit line;              ///< value over date
    Bounds allowed;            ///< what the value must stay in
    std::vector<bool> outlier; ///< values that were left out
    double last_date;          ///< of the values

    /// When the line leaves what is allowed, looking on from `today`. The dates are Fieller's confidence set
    /// of the place where the true line meets the limit ahead of it, from today on. Where the trend is not
    /// told from none, nothing bounds them, which is said; then the first of them is the earliest at which
    /// either limit may be met. A single value scatters about the line and may be outside earlier: see
    /// `line.prediction`. A forecast holds while nothing else changes; it permits nothing. Throws BadInput
    /// for a level outside of (0, 1) and a day before the last value's.
    Leaving leaving(double today, double level = 0.95) const {
        using detail::text_of;
        if (!(today >= last_date) || !is_finite(today))
            throw BadInput("today's date of " + text_of(today) + " is before the last value's, " +
                           text_of(last_date) + "; are the dates in one unit and from one epoch?");
        double const infinity = std::numeric_limits<double>::infinity();
        double const now = line.at(today);
        bool const up = line.slope > 0;
        Leaving result{!allowed.contains(now), {}, {}, false, up ? allowed.high : allowed.low, ""};
        LineCrossing const never{infinity, CrossingSet::nowhere, {infinity, infinity}};
        auto const met = [&](double limit) { return is_finite(limit) ? line.crossing(limit, level) : never; };
        auto const ahead = met(result.limit);
        auto const behind = met(up ? allowed.low : allowed.high);
        std::string const percent = text_of(100 * level) + " %";
        if (is_finite(ahead.place) && ahead.place >= today)
            result.date = ahead.place;
        if (result.outside_now) {
            result.date.reset();
            result.limit = now > allowed.high ? allowed.high : allowed.low;
            result.dates = met(result.limit).from(today);
            result.bounded = true;
            result.words = "the line is outside now: " + text_of(now) + " against " + text_of(allowed.low) +
                           " to " + text_of(allowed.high);
            return result;
        }
        bool const told = line.slope_bounds(level).low > 0 || line.slope_bounds(level).high < 0;
        if (told && !is_finite(result.limit)) {
            result.words = "the line runs away from the only limit";
            return result;
        }
        result.dates = ahead.from(today);
        result.bounded = ahead.set == CrossingSet::between;
        if (result.bounded) {
            result.words = "the line leaves through " + text_of(result.limit) + " on " +
                           text_of(ahead.place) + "; at " + percent + " between " +
                           text_of(result.dates ? result.dates->low : today) + " and " +
                           text_of(result.dates ? result.dates->high : today);
            return result;
        }
        if (auto const other = behind.from(today)) // the trend may as well run the other way
            result.dates = result.dates ? Bounds{std::min(result.dates->low, other->low), infinity} : *other;
        result.words = "no trend is told from none at " + percent;
        if (result.dates)
            result.words += ": it may leave from " + text_of(result.dates->low) +
                            " on, and no last date can be given; look more often or for longer";
        else
            result.words += ", and no date at which it leaves";
        return result;
    }
};

/// The line through dated values beside what is allowed. Values far off the line are named in `outlier` and
/// left out, from 8 values on. Throws BadInput for what `fit_line` refuses and for limits that are not in
/// order.
inline Trend trend_of(std::vector<DatedValue> const& values, Bounds const& allowed,
                      bool find_outliers = true) {
    if (!(allowed.low < allowed.high))
        throw BadInput("what is allowed must run from low to high; given " + detail::text_of(allowed.low) +
                       " to " + detail::text_of(allowed.high));
    std::vector<LinePoint> points;
    double last = -std::numeric_limits<double>::infinity();
    for (auto const& value : values) {
        points.push_back({value.date, value.value, value.weight});
        last = std::max(last, value.date);
    }
    auto found = detail::line_without_outliers(points, find_outliers);
    return {std::move(found.line), allowed, std::move(found.outlier), last};
}

} // namespace seamhold

#endif
