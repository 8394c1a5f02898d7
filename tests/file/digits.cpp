#include "seamhold/file/digits.hpp"

#include "support/random.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>

// Truth from outside: the C library's strtod, which rounds correctly, and numbers written out by hand.

using seamhold::DigitsFault;
using seamhold::double_from_digits;
using seamhold::seconds_since;
using seamhold::stamp_from_digits;

TEST_CASE("a number is read as the C library reads it") {
    seamhold::test::Random random(1);
    for (std::size_t i = 0; i < seamhold::test::runs(20000); ++i) {
        char text[64];
        double const x = random.normal() * std::pow(10.0, random.uniform(-12, 12));
        std::snprintf(text, sizeof text, "%.*g", static_cast<int>(1 + random.index(17)), x);
        auto const read = double_from_digits(text);
        REQUIRE(read.fault == DigitsFault::none);
        CHECK(read.value == std::strtod(text, nullptr));
    }
    CHECK(double_from_digits("+2").value == 2);
    CHECK(double_from_digits("-.5").value == -0.5);
    CHECK(double_from_digits("1E3").value == 1000);
    CHECK(double_from_digits("7.").value == 7);
}

TEST_CASE("what is not one finite number is named as such") {
    for (char const* const text : {"", " ", "abc", "1.2.3", "1 2", "0x10", "1,5", "1e", "--1", "+-1", "+",
                                   "-", ".", "e5", "12mm", "1\r", "1;2"})
        CHECK_MESSAGE(double_from_digits(text).fault == DigitsFault::not_a_number, text);
    for (char const* const text : {"nan", "NaN", "-nan", "inf", "-Infinity", "INF"})
        CHECK_MESSAGE(double_from_digits(text).fault == DigitsFault::not_finite, text);
    for (char const* const text : {"1e999", "-1e400", "1e-400"})
        CHECK_MESSAGE(double_from_digits(text).fault == DigitsFault::out_of_range, text);
    for (char const* const text : {"", "abc", "1:30", "2017-02-17", "1e"})
        CHECK_MESSAGE(stamp_from_digits(text, 9).fault == DigitsFault::not_a_number, text);
    CHECK(stamp_from_digits("nan", 9).fault == DigitsFault::not_finite);
}

TEST_CASE("a stamp of 19 digits keeps its last nanosecond, in whatever unit and notation") {
    CHECK(stamp_from_digits("1487321563680000001", 0).value.nanoseconds == 1487321563680000001);
    CHECK(stamp_from_digits("1487321563680000.001", 3).value.nanoseconds == 1487321563680000001);
    CHECK(stamp_from_digits("1487321563680.000001", 6).value.nanoseconds == 1487321563680000001);
    CHECK(stamp_from_digits("1487321563.680000001", 9).value.nanoseconds == 1487321563680000001);
    CHECK(stamp_from_digits("1.487321563680000001e+09", 9).value.nanoseconds == 1487321563680000001);
    CHECK(stamp_from_digits("1487321563680000001e-9", 9).value.nanoseconds == 1487321563680000001);
    CHECK(stamp_from_digits("-1487321563.680000001", 9).value.nanoseconds == -1487321563680000001);
    CHECK(stamp_from_digits("+12", 9).value.nanoseconds == 12000000000);
    CHECK(stamp_from_digits("9223372036854775807", 0).value.nanoseconds == 9223372036854775807);
    CHECK(stamp_from_digits("9223372036854775808", 0).fault == DigitsFault::out_of_range);
    CHECK(stamp_from_digits("9223372037", 9).fault == DigitsFault::out_of_range);
    CHECK(stamp_from_digits("1e15", 9).fault == DigitsFault::out_of_range);
    CHECK(stamp_from_digits("0e2000000000", 9).fault == DigitsFault::out_of_range);
    CHECK(stamp_from_digits("000000000000000000000000000000000001.5", 9).value.nanoseconds == 1500000000);

    // Two neighbours a nanosecond apart: as doubles they would be one number.
    auto const a = stamp_from_digits("1487321563680000001", 0).value;
    auto const b = stamp_from_digits("1487321563680000002", 0).value;
    REQUIRE(static_cast<double>(a.nanoseconds) == static_cast<double>(b.nanoseconds));
    CHECK(seconds_since(1487321563680000000, a) == 1e-9);
    CHECK(seconds_since(1487321563680000000, b) == 2e-9);
}

TEST_CASE("seconds since zero are the double nearest to the written time") {
    seamhold::test::Random random(2);
    for (std::size_t i = 0; i < seamhold::test::runs(20000); ++i) {
        char text[64];
        int const decimals = static_cast<int>(random.index(10)); // 9 at most: whole nanoseconds
        std::snprintf(text, sizeof text, "%.*f", decimals, random.uniform(-9e6, 9e6)); // below 2^53 ns
        CHECK(seconds_since(0, stamp_from_digits(text, 9).value) == std::strtod(text, nullptr));
    }
    // Digits below a nanosecond: two units in the last place at most, as promised.
    for (std::size_t i = 0; i < seamhold::test::runs(20000); ++i) {
        char text[64];
        std::snprintf(text, sizeof text, "%.17g", random.uniform(0, 10));
        double const truth = std::strtod(text, nullptr);
        double const unit_in_last_place = std::nextafter(truth, 100) - truth;
        CHECK(std::abs(seconds_since(0, stamp_from_digits(text, 9).value) - truth) <= 2 * unit_in_last_place);
    }
    CHECK(seconds_since(0, stamp_from_digits("1e-20", 9).value) == doctest::Approx(1e-20).epsilon(1e-14));
}
