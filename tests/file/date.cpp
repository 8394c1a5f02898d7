#include "seamhold/file/date.hpp"

#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <limits>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::refusal_of;

// Found by a review on 2026-11-27: numbers of a date were cut to 8 and 16 bits before they were looked at.
TEST_CASE("a date that only its last bits make one is none") {
    CHECK(refusal_of([] { return days_of(2026, 257, 1); }) == "2026-257-1 is no date");
    CHECK(refusal_of([] { return days_of(2026, 1, 257); }) == "2026-1-257 is no date");
    CHECK(refusal_of([] { return days_of(67562, 1, 1); }) == "67562-1-1 is no date");
    CHECK(refusal_of([] { return days_of(-65536, 1, 1); }) == "-65536-1-1 is no date");
    CHECK(refusal_of([] { return days_of(2026, 1, 0); }) == "2026-1-0 is no date");
    CHECK(refusal_of([] { return days_of(2026, 0, 1); }) == "2026-0-1 is no date");
    CHECK(days_of(0, 2, 29) ==
          -719469); // 0000-03-01 is 719468 days before 1970: from memory, and by counting
    CHECK(days_of(32767, 12, 31) > 11e6);
}

// Found by a review on 2026-11-27: undefined behaviour.
TEST_CASE("what is no day of a calendar is not written as one") {
    for (double const days : {std::numeric_limits<double>::quiet_NaN(), 1e12, -1e12, 1.0000001e7,
                              std::numeric_limits<double>::infinity()})
        CHECK(has(refusal_of([&] { return date_text(days); }), "within 1e7 days of 1970; given was "));
    // 400 years have 146097 days.
    CHECK(date_text(68.0 * 146097) == "29170-01-01T00:00:00");
    CHECK(date_text(-4.0 * 146097) == "0370-01-01T00:00:00");
    CHECK_NOTHROW((void)date_text(1e7));
    CHECK_NOTHROW((void)date_text(-1e7));
}
