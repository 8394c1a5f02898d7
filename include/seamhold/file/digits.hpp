#ifndef SEAMHOLD_FILE_DIGITS_HPP
#define SEAMHOLD_FILE_DIGITS_HPP

#include "seamhold/number/number.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdint>
#include <limits>
#include <string_view>

namespace seamhold {

/// What is wrong with a text that should be a number.
enum class DigitsFault : std::uint8_t {
    none,         ///< nothing
    not_a_number, ///< it is empty or holds something else than one number
    not_finite,   ///< it says infinity or NaN
    out_of_range  ///< it is too large, or too close to 0, for the type that should hold it
};

/// A number read from text. The value is only meant where the fault is `none`.
template <class T> struct Digits {
    T value;
    DigitsFault fault;
};

/// The double nearest to a decimal number such as `-1.5`, `+2`, `.5` or `1e-3`. The whole text must be the
/// number: no spaces, no unit, no decimal comma; the locale plays no part.
inline Digits<double> double_from_digits(std::string_view text) {
    if (text.size() > 1 && text[0] == '+' && text[1] != '-')
        text.remove_prefix(1);
    double value = 0;
    auto const read = std::from_chars(text.data(), text.data() + text.size(), value);
    if (read.ec == std::errc::invalid_argument || read.ptr != text.data() + text.size())
        return {0, DigitsFault::not_a_number};
    if (read.ec != std::errc())
        return {0, DigitsFault::out_of_range};
    return {value, is_finite(value) ? DigitsFault::none : DigitsFault::not_finite};
}

/// A time stamp without loss: whole nanoseconds, and what is left of one.
struct Stamp {
    std::int64_t nanoseconds; ///< towards zero
    double rest;              ///< the fraction of a nanosecond behind it, of the same sign
};

/// Seconds from an epoch, in whole nanoseconds, to a stamp. The difference is taken in integers, so that
/// nothing of a stamp of 19 digits is lost: the result is the double nearest to the true difference while
/// that is below 2⁵³ ns (104 days) and the stamp has no digits below a nanosecond, else it is off by two
/// units in its last place at most, from 10 ns on.
inline double seconds_since(std::int64_t epoch_ns, Stamp const& stamp) {
    // As unsigned numbers, so that a difference beyond 63 bits is defined; such a stamp is refused elsewhere.
    auto const difference = static_cast<std::int64_t>(static_cast<std::uint64_t>(stamp.nanoseconds) -
                                                      static_cast<std::uint64_t>(epoch_ns));
    return (static_cast<double>(difference) + stamp.rest) / 1e9;
}

/// A stamp from a decimal number, digit by digit, never by way of a double: `1487321563680000000`,
/// `1487321563.1803279`, `1.4873215631803279e+09`. `decimal_shift` says in which unit it is written: 9 for
/// seconds, 6 for ms, 3 for µs, 0 for ns. Out of range is what 64 bits of nanoseconds cannot hold: 292 years
/// either way.
inline Digits<Stamp> stamp_from_digits(std::string_view text, int decimal_shift) {
    constexpr Digits<Stamp> no_number{{}, DigitsFault::not_a_number};
    auto const as_double = double_from_digits(text);
    if (as_double.fault != DigitsFault::none)
        return {{}, as_double.fault};
    bool const negative = text[0] == '-';
    if (negative || text[0] == '+')
        text.remove_prefix(1);
    int exponent = 0;
    if (auto const e = text.find_first_of("eE"); e != std::string_view::npos) {
        auto written = text.substr(e + 1);
        written.remove_prefix(written[0] == '+' ? 1 : 0);
        if (std::from_chars(written.data(), written.data() + written.size(), exponent).ec != std::errc())
            return no_number;
        text = text.substr(0, e);
    }
    if (std::abs(exponent) > 400) // beyond any double; no place of a digit overflows an int from here on
        return {{}, DigitsFault::out_of_range};
    auto const point = text.find('.');
    auto whole = text.substr(0, point);
    auto behind = point == std::string_view::npos ? std::string_view() : text.substr(point + 1);
    whole.remove_prefix(std::min(whole.find_first_not_of('0'), whole.size()));
    if (whole.empty()) {
        auto const zeros = std::min(behind.find_first_not_of('0'), behind.size());
        behind.remove_prefix(zeros);
        exponent -= static_cast<int>(zeros);
    }
    if (whole.empty() && behind.empty())
        return {{0, 0}, DigitsFault::none};
    int const before_point = static_cast<int>(whole.size()) + exponent + decimal_shift;
    if (before_point > 19) // 19 digits fit 64 bits without a sign
        return {{}, DigitsFault::out_of_range};

    std::uint64_t nanoseconds = 0;
    double rest = 0;
    double place = before_point < 0 ? std::pow(10.0, before_point - 1) : 0.1;
    int i = 0;
    for (auto const part : {whole, behind})
        for (char const c : part) {
            if (i++ < before_point) {
                nanoseconds = nanoseconds * 10 + static_cast<std::uint64_t>(c - '0');
            } else {
                rest += (c - '0') * place;
                place /= 10;
            }
        }
    for (; i < before_point; ++i)
        nanoseconds *= 10;
    if (nanoseconds > static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max()))
        return {{}, DigitsFault::out_of_range};
    auto const count = static_cast<std::int64_t>(nanoseconds);
    return {{negative ? -count : count, negative ? -rest : rest}, DigitsFault::none};
}

} // namespace seamhold

#endif
