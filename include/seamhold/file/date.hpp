#ifndef SEAMHOLD_FILE_DATE_HPP
#define SEAMHOLD_FILE_DATE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <chrono>
#include <cmath>
#include <cstdio>
#include <string>

/// Dates as days since 1970-01-01, 0 h, of the clock on the wall; nothing is known of time zones.
namespace seamhold {

/// The days since 1970-01-01 of a date of the proleptic Gregorian calendar, years -32767 to 32767. Throws
/// BadInput for a date that there is not.
inline double days_of(int year, unsigned month, unsigned day) {
    std::chrono::year_month_day const date{std::chrono::year(year), std::chrono::month(month),
                                           std::chrono::day(day)};
    // Years have 16 bits there, months and days 8: what does not fit would be cut to another date.
    if (year < -32767 || year > 32767 || month > 12 || day > 31 || !date.ok())
        throw BadInput(std::to_string(year) + "-" + std::to_string(month) + "-" + std::to_string(day) +
                       " is no date");
    return static_cast<double>(std::chrono::sys_days(date).time_since_epoch().count());
}

/// A date in days since 1970-01-01 as people and TOML write it, 2026-11-27T08:30:00, to the second. Throws
/// BadInput where it does not lie within 1e7 days of 1970, as dates of weld records do.
inline std::string date_text(double days) {
    if (!is_finite(days) || !(std::abs(days) <= 1e7))
        throw BadInput("a date must lie within 1e7 days of 1970; given was " + detail::text_of(days));
    auto seconds = static_cast<long long>(std::llround((days - std::floor(days)) * 86400));
    auto whole = static_cast<int>(std::floor(days)) + static_cast<int>(seconds / 86400);
    seconds %= 86400;
    std::chrono::year_month_day const date{std::chrono::sys_days(std::chrono::days(whole))};
    char text[64];
    std::snprintf(text, sizeof text, "%04d-%02u-%02uT%02lld:%02lld:%02lld", static_cast<int>(date.year()),
                  static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()), seconds / 3600,
                  seconds / 60 % 60, seconds % 60);
    return text;
}

} // namespace seamhold

#endif
