#ifndef SEAMHOLD_RECORD_DRIFT_HPP
#define SEAMHOLD_RECORD_DRIFT_HPP

#include "seamhold/calibrate/trend.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/statistics/bounds.hpp"

#include <cmath>
#include <cstddef>
#include <cstdio>
#include <limits>
#include <optional>
#include <string>
#include <vector>

// Outside of record.hpp: the search for outliers takes some seconds to compile.

namespace seamhold {

/// How two things move about their own trends on the days that they share.
struct Together {
    double correlation; ///< of what is left beside both straight trends, −1 to 1
    double probability; ///< of one as strong or stronger by chance alone
    std::size_t days;   ///< groups of days that both have
};

/// What drifts, and when it will have left what is allowed.
struct Drift {
    std::string name;               ///< a channel's, or "power"
    std::vector<DatedValue> points; ///< one a group of days, at the mean of its dates
    Trend trend;          ///< a line through them: half widths of the band over days; W for the power
    Bounds slope;         ///< of the line, a day, at the level of all slopes together
    bool told;            ///< whether the slope is told from none
    Leaving leaving;      ///< `words` count in days since 1970
    double likeness;      ///< of groups that follow each other, beside the line: `likeness_of_neighbours`
    std::size_t parts;    ///< that it comes from; readings of the power
    std::size_t left_out; ///< rows that were not good, or not seen well enough
};

/// One channel's drift beside that of the power.
struct ChannelDrift {
    Drift drift;
    bool with_power;                  ///< both drift, and that is told for each
    std::optional<Together> together; ///< where power is given and they share 6 groups of days or more
};

/// How the good band of one seam drifts over weeks.
struct ProcessDrift {
    std::vector<ChannelDrift> channels;
    std::optional<Drift> power;
    std::optional<std::string> first; ///< what is outside now, or else leaves first of what is told
    std::vector<std::string> words;   ///< for a reader, what is worst first; days are counted from today
};

namespace detail {

/// A number of days as a reader wants it.
inline std::string in_days(double days) {
    char text[32];
    std::snprintf(text, sizeof text, days < 10 ? "%.1f" : "%.0f", days);
    return text;
}

/// Three digits that count, or all before the point.
inline std::string in_short(double x) {
    char text[32];
    std::snprintf(text, sizeof text, std::abs(x) >= 999.5 && std::abs(x) < 1e9 ? "%.0f" : "%.3g", x);
    return text;
}

/// One drift for a reader; `unit` of its values.
inline std::string drift_words(Drift const& drift, double today, std::string const& unit) {
    std::string words = drift.name;
    if (drift.told)
        words += std::string(drift.trend.line.slope > 0 ? " rises" : " falls") + " by " +
                 in_short(std::abs(drift.trend.line.slope)) + " " + unit + " a day (slope between " +
                 in_short(drift.slope.low) + " and " + in_short(drift.slope.high) + ")";
    else
        words += ": no drift is told from none";
    auto const& leaving = drift.leaving;
    if (leaving.outside_now)
        words += "; it lies beyond " + in_short(leaving.limit) + " " + unit + " now";
    else if (drift.told && leaving.date) {
        words += "; it leaves through " + in_short(leaving.limit) + " " + unit + " in " +
                 in_days(*leaving.date - today) + " days";
        if (leaving.dates)
            words += is_finite(leaving.dates->high)
                         ? " (between " + in_days(leaving.dates->low - today) + " and " +
                               in_days(leaving.dates->high - today) + ")"
                         : " (from " + in_days(leaving.dates->low - today) + " on, without a last day)";
    }
    if (drift.likeness < 0.01)
        words += "; days that follow each other are alike beside the line, so that all spans are too narrow";
    if (10 * drift.left_out > drift.parts + drift.left_out)
        words +=
            "; " + std::to_string(drift.left_out) + " of " + std::to_string(drift.parts + drift.left_out) +
            " parts were left out: where it is the drift that makes them fail, it looks slower than it is";
    return words;
}

/// The day on which a drift leaves: today where it is outside now, infinite where none is told.
inline double day_of_leaving(Drift const& drift, double today) {
    if (drift.leaving.outside_now)
        return today;
    return drift.told ? drift.leaving.date.value_or(std::numeric_limits<double>::infinity())
                      : std::numeric_limits<double>::infinity();
}

/// What a drift points to first. Common practice, no source.
inline std::vector<std::string> drift_hints(std::vector<ChannelDrift> const& channels, bool power_is_known) {
    std::string with, alone;
    std::size_t falling = 0;
    for (auto const& c : channels) {
        if (!c.drift.told)
            continue;
        std::string& list = c.with_power ? with : alone;
        list += (list.empty() ? "" : ", ") + c.drift.name;
        falling += c.drift.slope.high < 0 ? 1U : 0U;
    }
    std::vector<std::string> hints;
    if (!with.empty())
        hints.push_back("hint: together with the power: " + with +
                        "; look first at the power and what it passes (source, fibre, protective glass)");
    if (!alone.empty() && power_is_known)
        hints.push_back("hint: without the power: " + alone +
                        "; look at the sensor and its windows, at the sheet and at the gas");
    if (!power_is_known && falling == channels.size() && falling > 1)
        hints.push_back("hint: all channels fall: measure the power at the work");
    return hints;
}

} // namespace detail

} // namespace seamhold

#endif
