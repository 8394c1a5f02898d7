#include "seamhold/file/commissioning.hpp"

#include "support/numbers.hpp"
#include "support/refusal.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::near;
using seamhold::test::refusal_of;
using seamhold::test::TemporaryFolder;

namespace {

// Invented, as a person would write it.
std::string const written = R"(
[record]
date = 2026-03-01
valid_for_days = 90
marks_mm = [[0, 0], [60, 60], [-60, 60], [-60, -60], [60, -60]]
mark_deviation_mm = 0.02
mark_tolerance_mm = 0.15
focus = { value_mm = 0.4, deviation_mm = 0.05, degrees_of_freedom = 12, tolerance_mm = 0.5 }
power = { value_W = 3870, deviation_W = 15, tolerance_W = 120 }

[[check]]
date = 2026-03-02T06:30:00
marks_mm = [[0.01, 0], [60, 60.02], [-60, 60], [-60, -60], [60, -60]]
mark_deviation_mm = 0.03
focus = { value_mm = 0.45, deviation_mm = 0.1, degrees_of_freedom = 4 }
power = { value_W = 3850, deviation_W = 20 }
)";

} // namespace

TEST_CASE("days are counted as calendars count them") {
    CHECK(days_of(1970, 1, 1) == 0);
    CHECK(days_of(2000, 3, 1) ==
          11017); // (30 years, 8 leap days before it in 1972 … 2000) 10957 + 60 (by hand)
    CHECK(days_of(2026, 11, 27) == 20784); // date -d 2026-11-27 +%s / 86400 of GNU coreutils
    CHECK(has(refusal_of([] { return days_of(2026, 2, 29); }), "2026-2-29 is no date"));
    CHECK(date_text(20784.25) == "2026-11-27T06:00:00");
    CHECK(date_text(20784 - 1e-9) == "2026-11-27T00:00:00"); // rounded to the second, across midnight
    CHECK(date_text(-0.5) == "1969-12-31T12:00:00");
}

TEST_CASE("a commissioning record and its checks are read") {
    TemporaryFolder const folder;
    auto const file = read_commissioning(folder.file("cell.toml", written));
    CHECK(file.record.date == days_of(2026, 3, 1));
    CHECK(file.record.valid_for == 90);
    REQUIRE(file.record.marks.size() == 5);
    CHECK(near(file.record.marks[2].x, -0.06, 4e-16));
    CHECK(near(file.record.mark_deviation, 2e-5, 4e-16));
    CHECK(near(file.record.focus.found.value, 4e-4, 4e-16));
    CHECK(file.record.focus.found.degrees_of_freedom == 12);
    CHECK(near(file.record.focus.tolerance, 5e-4, 4e-16));
    CHECK(file.record.power.found.value == 3870);
    CHECK(file.record.power.found.degrees_of_freedom == test::infinity);
    REQUIRE(file.checks.size() == 1);
    CHECK(near(file.checks[0].date, days_of(2026, 3, 2) + 6.5 / 24, 1e-15));
    CHECK(file.checks[0].power.deviation == 20);
}

TEST_CASE("what is written reads back, and an old file is replaced only by a whole one") {
    TemporaryFolder const folder;
    auto const path = folder.file("cell.toml", written);
    auto file = read_commissioning(path);
    file.checks.push_back(file.checks[0]);
    file.checks[1].date += 1.0 / 3;
    file.checks[1].focus.value = 1.0 / 3e3;
    write_commissioning(path, file);
    auto const again = read_commissioning(path);
    REQUIRE(again.checks.size() == 2);
    CHECK(near(again.checks[1].date, file.checks[1].date, 0.5 / 86400 / 20000)); // to the second
    CHECK(near(again.checks[1].focus.value, file.checks[1].focus.value, 4e-16));
    CHECK(near(again.record.marks[4].y, file.record.marks[4].y, 4e-16));
    CHECK(again.record.focus.found.degrees_of_freedom == 12);
    CHECK(again.record.power.found.degrees_of_freedom == test::infinity);
    CHECK(text_of(again) == text_of(file));
}

TEST_CASE("a record that cannot be one is refused with its place") {
    TemporaryFolder const folder;
    auto const refused = [&](std::string const& what, std::string const& by) {
        std::string text = written;
        text.replace(text.find(what), what.size(), by);
        return refusal_of([&] { return read_commissioning(folder.file("cell.toml", text)); });
    };
    CHECK(has(refused("date = 2026-03-01", "date = \"2026-03-01\""), "a date is needed, as 2026-11-27"));
    CHECK(has(refused("date = 2026-03-01", "date = 2026-03-01T06:00:00Z"), "a date is needed"));
    CHECK(has(refused("valid_for_days = 90", "valid_for_days = -1"),
              "record.valid_for_days: -1 is not allowed"));
    CHECK(has(refused("valid_for_days = 90", "valid_days = 90"), "valid_for_days"));
    CHECK(has(refused("[-60, 60], [-60, -60], [60, -60]]\nmark_deviation_mm = 0.02",
                      "[-60, 60]]\nmark_deviation_mm = 0.02"),
              "cell.toml:2:1: record: a commissioning record needs 4 marks"));
    CHECK(has(refused("tolerance_mm = 0.5", "tolerance = 0.5"), "tolerance_mm"));
    CHECK(has(refused("deviation_W = 20 }", "deviation_W = 20, tolerance_W = 3 }"),
              "this key is not known here"));
    CHECK(has(refused("value_W = 3850", "value_W = nan"), "value_W"));
}
