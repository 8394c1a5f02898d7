#include "seamhold/calibrate/daily_check.hpp"

#include "seamhold/number/units.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

// An invented cell: five marks over 200 mm, dates in days.
std::vector<MarkPlace> const five{{0, 0}, {-0.1, -0.1}, {0.1, -0.1}, {0.1, 0.1}, {-0.1, 0.1}};

CommissioningRecord const record{100, 365, five, 1e-5, 1e-4, {{0.002, 5e-5, 8}, 3e-4}, {{3680, 8}, 80}};

/// The five marks after the field was shifted, turned and scaled about its middle, in plain coordinates.
std::vector<MarkPlace> moved(std::vector<MarkPlace> const& marks, double x, double y, double turn,
                             double scale) {
    std::vector<MarkPlace> all;
    double const c = (1 + scale) * std::cos(turn), s = (1 + scale) * std::sin(turn);
    for (auto const& mark : marks)
        all.push_back({x + c * mark.x - s * mark.y, y + s * mark.x + c * mark.y});
    return all;
}

std::vector<MarkPlace> noisy(std::vector<MarkPlace> marks, double deviation, Random& random) {
    for (auto& mark : marks)
        mark = {mark.x + deviation * random.normal(), mark.y + deviation * random.normal()};
    return marks;
}

DailyCheck unchanged() { return {130, five, 1e-5, {0.002, 5e-5, 8}, {3680, 8}}; }

/// A normal estimate with a deviation that was itself found from 9 readings.
Estimate found(double truth, double deviation, Random& random) {
    double squares = 0;
    for (int i = 0; i < 8; ++i)
        squares += sqr(random.normal());
    return {truth + deviation * random.normal(), deviation * std::sqrt(squares / 8), 8};
}

CheckVerdict verdict_of(CheckReport const& report, CheckItem item) {
    return report.items[static_cast<std::size_t>(item)].verdict;
}

} // namespace

TEST_CASE("marks without errors give back 1000 random moves") {
    Random random(851);
    for (std::size_t i = 0; i < runs(1000); ++i) {
        double const x = random.uniform(-1e-3, 1e-3), y = random.uniform(-1e-3, 1e-3);
        double const turn = random.uniform(-0.1, 0.1), scale = random.uniform(-0.1, 0.1);
        auto const move = marks_move(five, moved(five, x, y, turn, scale), 1e-5);
        CHECK(std::abs(move.shift_x.value - x) < 1e-15);
        CHECK(std::abs(move.shift_y.value - y) < 1e-15);
        CHECK(std::abs(move.turn.value - turn) < 1e-14);
        CHECK(std::abs(move.scale.value - scale) < 1e-14);
        CHECK(!move.odd);
        CHECK(move.chi_squared < 1e-15);
        CHECK(move.degrees_of_freedom == 6);
        CHECK(std::abs(move.reach - 0.1 * std::sqrt(2.0)) < 1e-16);
        for (auto const& left : move.remainder)
            CHECK(std::hypot(left.x, left.y) < 1e-15);
    }
    // Deviations by hand: 1e-5/√5 of the shift; 1e-5/√(4 · 0.02) of turn and scale.
    auto const move = marks_move(five, five, 1e-5);
    CHECK(std::abs(move.shift_x.deviation - 1e-5 / std::sqrt(5.0)) < 1e-18);
    CHECK(std::abs(move.turn.deviation - 1e-5 / std::sqrt(0.08)) < 1e-18);
}

TEST_CASE("the parts of a move cover the truth as often as they say") {
    Random random(852);
    std::size_t const trials = runs(3000);
    std::array<std::size_t, 5> covered{};
    double few = 0, many = 0;
    for (std::size_t i = 0; i < trials; ++i) {
        // Marks that are not about a middle, and one missing.
        std::vector<MarkPlace> marks{{0.01, 0.02}, {-0.1, -0.08}, {0.11, -0.1}, {0.1, 0.09}, {-0.05, 0.1}};
        double const turn = random.uniform(-0.01, 0.01);
        auto const move =
            marks_move(marks, noisy(moved(marks, 2e-4, -1e-4, turn, 0.003), 2e-5, random), 2e-5);
        double const mean_x = 0.014, mean_y = 0.006;
        double const c = 1.003 * std::cos(turn), s = 1.003 * std::sin(turn);
        double const x = 2e-4 + c * mean_x - s * mean_y - mean_x,
                     y = -1e-4 + s * mean_x + c * mean_y - mean_y;
        covered[0] += move.shift_x.bounds().contains(x) ? 1U : 0U;
        covered[1] += move.shift_y.bounds().contains(y) ? 1U : 0U;
        covered[2] += move.turn.bounds().contains(turn) ? 1U : 0U;
        covered[3] += move.scale.bounds().contains(0.003) ? 1U : 0U;
        covered[4] += move.chi_squared < chi_squared_quantile(0.95, move.degrees_of_freedom) ? 1U : 0U;
        few += sqr(move.shift_x.value - x);
        auto nine = marks;
        for (int k = 1; k < 9; ++k)
            nine.insert(nine.end(), marks.begin(), marks.end());
        if (i < 1000)
            many += sqr(marks_move(nine, noisy(moved(nine, 2e-4, -1e-4, turn, 0.003), 2e-5, random), 2e-5)
                            .shift_x.value -
                        x);
    }
    for (auto const count : covered) {
        CHECK(static_cast<double>(count) / static_cast<double>(trials) > 0.93);
        CHECK(static_cast<double>(count) / static_cast<double>(trials) < 0.97);
    }
    double const ratio =
        std::sqrt(few / static_cast<double>(trials) / (many / std::min(1000.0, static_cast<double>(trials))));
    CHECK(ratio > 2.7);
    CHECK(ratio < 3.3);
}

TEST_CASE("an odd mark is named and bends nothing") {
    Random random(853);
    for (std::size_t i = 0; i < runs(500); ++i) {
        auto after = noisy(moved(five, 3e-4, -1e-4, 1e-3, 0.001), 1e-5, random);
        auto const odd = random.index(5);
        double const way = random.uniform(0, 6.28);
        after[odd].x += 4e-4 * std::cos(way);
        after[odd].y += 4e-4 * std::sin(way);
        auto const move = marks_move(five, after, 1e-5);
        REQUIRE(move.odd);
        CHECK(*move.odd == odd);
        CHECK(std::abs(move.shift_x.value - 3e-4) < 4.5 * move.shift_x.deviation);
        CHECK(std::abs(move.shift_y.value + 1e-4) < 4.5 * move.shift_y.deviation);
        CHECK(std::abs(move.turn.value - 1e-3) < 4.5 * move.turn.deviation);
        CHECK(std::abs(std::hypot(move.remainder[odd].x, move.remainder[odd].y) - 4e-4) < 1e-4);
        CHECK(move.degrees_of_freedom == 4);
    }
}

TEST_CASE("marks in another unit, mirrored or in another order are named") {
    Random random(854);
    auto const refused = [](std::vector<MarkPlace> const& after) {
        return refusal_of([&] { return marks_move(five, after, 1e-5); });
    };
    auto const after = noisy(moved(five, 3e-4, -1e-4, 1e-3, 0.001), 1e-5, random);
    auto const each = [&](auto const& change) {
        auto all = after;
        for (auto& mark : all)
            mark = change(mark);
        return refused(all);
    };
    CHECK(refused(after).empty());
    CHECK(has(each([](MarkPlace p) {
                  return MarkPlace{1000 * p.x, 1000 * p.y};
              }),
              "millimetres given as metres"));
    CHECK(has(each([](MarkPlace p) {
                  return MarkPlace{p.x / 1000, p.y / 1000};
              }),
              "metres given as millimetres"));
    CHECK(has(each([](MarkPlace p) { return MarkPlace{p.x / 25.4, p.y / 25.4}; }), "inches"));
    CHECK(has(each([](MarkPlace p) { return MarkPlace{-p.x, p.y}; }), "mirrored"));
    CHECK(has(each([](MarkPlace p) { return MarkPlace{p.x, -p.y}; }), "mirrored"));
    CHECK(has(each([](MarkPlace p) { return MarkPlace{p.y, p.x}; }), "mirrored"));
    CHECK(has(each([](MarkPlace p) { return MarkPlace{-p.y, p.x}; }), "turned"));
    CHECK(has(each([](MarkPlace p) { return MarkPlace{-p.x, -p.y}; }), "turned"));
    CHECK(has(each([](MarkPlace p) { return MarkPlace{p.x, std::nan("")}; }), "mark 1 has a place"));
    for (std::size_t i = 0; i < 5; ++i)
        for (std::size_t k = i + 1; k < 5; ++k) {
            auto swapped = after;
            std::swap(swapped[i], swapped[k]);
            // Opposite corners swapped are the field mirrored about the other two.
            bool const opposite = (i == 1 && k == 3) || (i == 2 && k == 4);
            CHECK(has(refused(swapped),
                      opposite ? std::string("opposite corners swapped")
                               : "marks " + std::to_string(i + 1) + " and " + std::to_string(k + 1)));
        }
    CHECK(has(refusal_of([&] {
                  return marks_move(five, {five[0], five[1]}, 1e-5);
              }),
              "5 marks before and 2"));
    CHECK(has(refusal_of([&] { return marks_move({five[0]}, {five[0]}, 1e-5); }), "needs 4"));
    CHECK(has(refusal_of([&] { return marks_move(five, five, 0); }), "above 0"));
    CHECK(has(refusal_of([&] { return marks_move(five, five, 1); }), "too near to each other"));
}

TEST_CASE("an unchanged cell is called changed as seldom as was asked") {
    Random random(855);
    for (double const share : {0.05, 0.01}) {
        std::size_t const trials = runs(6000);
        std::size_t alarms = 0;
        std::array<std::size_t, check_items> by_item{};
        for (std::size_t i = 0; i < trials; ++i) {
            auto then = record;
            then.marks = noisy(five, 1e-5, random);
            then.focus = {found(0.002, 5e-5, random), 1}; // tolerances that hide no change as near
            then.power.tolerance = 1000;
            then.mark_tolerance = 0.01;
            then.power.found = {3680 + 8 * random.normal(), 8};
            DailyCheck const check{130,
                                   noisy(five, 1.5e-5, random),
                                   1.5e-5,
                                   found(0.002, 5e-5, random),
                                   {3680 + 12 * random.normal(), 12}};
            auto const report = held_against(then, check, {share});
            bool alarm = false;
            for (std::size_t k = 0; k < check_items; ++k) {
                bool const told = report.items[k].verdict == CheckVerdict::changed ||
                                  report.items[k].verdict == CheckVerdict::beyond;
                by_item[k] += told ? 1U : 0U;
                alarm = alarm || told;
            }
            alarms += alarm ? 1U : 0U;
        }
        double const n = static_cast<double>(trials);
        double const four = 4 * std::sqrt(share * (1 - share) / n);
        CHECK(static_cast<double>(alarms) / n < share + four);
        CHECK(static_cast<double>(alarms) / n > 0.8 * share - four);
        // Each item carries its part, none of them all.
        for (auto const count : by_item)
            CHECK(static_cast<double>(count) / n < share / 7 + 4 * std::sqrt(share / 7 / n));
    }
}

TEST_CASE("what has changed is told, and what is beyond its tolerance") {
    auto const clean = held_against(record, unchanged());
    CHECK(clean.verdict == CheckVerdict::fine);
    CHECK(clean.words.empty());
    CHECK(!clean.expired);

    auto check = unchanged();
    check.marks = moved(five, 6e-5, 0, 0, 0); // ten times its deviation, within 100 µm
    auto report = held_against(record, check);
    CHECK(verdict_of(report, CheckItem::shift_x) == CheckVerdict::changed);
    CHECK(verdict_of(report, CheckItem::shift_y) == CheckVerdict::fine);
    CHECK(report.verdict == CheckVerdict::changed);
    CHECK(has(report.words.at(0), "shift along x is changed"));
    CHECK(std::abs(report.farthest_mark - 6e-5) < 1e-15);

    check.marks = moved(five, 0, 9e-5, 0, 0); // with its uncertainty it may be beyond
    CHECK(verdict_of(held_against(record, check), CheckItem::shift_y) == CheckVerdict::near_tolerance);
    check.marks = moved(five, 0, -3e-4, 0, 0);
    report = held_against(record, check);
    CHECK(verdict_of(report, CheckItem::shift_y) == CheckVerdict::beyond);
    CHECK(has(report.words.at(0), "a mark lies 0.0003 m"));

    check.marks = moved(five, 0, 0, 6e-4, 0); // 85 µm at the corners
    CHECK(verdict_of(held_against(record, check), CheckItem::turn) == CheckVerdict::near_tolerance);
    check.marks = moved(five, 0, 0, 0, -2e-3);
    CHECK(verdict_of(held_against(record, check), CheckItem::scale) == CheckVerdict::beyond);

    // Each of shift and scale within its tolerance, and yet a corner is beyond.
    check.marks = moved(five, 5e-5, 5e-5, 0, 4e-4);
    report = held_against(record, check);
    CHECK(verdict_of(report, CheckItem::shift_x) != CheckVerdict::beyond);
    CHECK(verdict_of(report, CheckItem::scale) != CheckVerdict::beyond);
    CHECK(report.verdict == CheckVerdict::beyond);

    check = unchanged();
    check.marks[3].x += 4e-4;
    report = held_against(record, check);
    CHECK(report.marks.odd == 3U);
    CHECK(verdict_of(report, CheckItem::remainder) == CheckVerdict::beyond);
    CHECK(verdict_of(report, CheckItem::shift_x) == CheckVerdict::fine);
    CHECK(has(report.words.at(0), "mark 4 did not move with the others"));

    check = unchanged(); // a field bent like a saddle: no single mark is odd
    for (auto& mark : check.marks)
        mark = {mark.x + 0.006 * mark.x * mark.y, mark.y};
    CHECK(verdict_of(held_against(record, check), CheckItem::remainder) >= CheckVerdict::changed);

    check = unchanged();
    check.power.value = 3630;
    CHECK(verdict_of(held_against(record, check), CheckItem::power) == CheckVerdict::near_tolerance);
    check.power.value = 3580;
    CHECK(verdict_of(held_against(record, check), CheckItem::power) == CheckVerdict::beyond);
    check = unchanged();
    check.focus.value = 0.0026;
    CHECK(verdict_of(held_against(record, check), CheckItem::focus) == CheckVerdict::beyond);
    check.focus = {0.002, 5e-4, 8}; // too unsure for the tolerance
    CHECK(verdict_of(held_against(record, check), CheckItem::focus) == CheckVerdict::near_tolerance);

    check = unchanged();
    check.date = 465.5;
    report = held_against(record, check);
    CHECK(report.expired);
    CHECK(has(report.words.at(0), "expired: it was valid until 465"));
}

TEST_CASE("records and checks that cannot be are refused") {
    auto const refused = [](auto const& change) {
        auto changed = record;
        auto check = unchanged();
        change(changed, check);
        return refusal_of([&] { return held_against(changed, check); });
    };
    CHECK(refused([](auto&, auto&) {}).empty());
    CHECK(has(refused([](auto&, auto& c) { c.date = 99; }), "before the record's"));
    CHECK(has(refused([](auto&, auto& c) { c.power.value = 3.68; }), "kilowatts"));
    CHECK(has(refused([](auto& r, auto&) { r.power.found.value = 3.68; }), "kilowatts"));
    CHECK(has(refused([](auto&, auto& c) { c.power.value = 0; }), "not above 0"));
    CHECK(has(refused([](auto&, auto& c) { c.focus.value = 2; }), "millimetres given as metres"));
    CHECK(has(refused([](auto&, auto& c) { c.focus.value = std::nan(""); }), "not finite"));
    CHECK(has(refused([](auto&, auto& c) { c.mark_deviation = 0; }), "above 0"));
    CHECK(has(refused([](auto&, auto& c) { c.marks.pop_back(); }), "5 marks before and 4 after"));
    CHECK(has(refused([](auto& r, auto&) { r.valid_for = 0; }), "time of validity"));
    CHECK(has(refused([](auto& r, auto&) { r.focus.tolerance = -1; }), "focus's tolerance"));
    CHECK(has(refused([](auto& r, auto&) { r.power.tolerance = 0; }), "power's tolerance"));
    CHECK(has(refused([](auto& r, auto&) { r.mark_tolerance = std::nan(""); }), "marks' tolerance"));
    CHECK(has(refused([](auto& r, auto&) { r.marks.resize(3); }), "needs 4 marks"));
    CHECK(has(refused([](auto& r, auto&) { r.power.found.deviation = -1; }), "standard deviation"));
    CHECK(has(refusal_of([] { return held_against(record, unchanged(), {0.7}); }), "false alarms"));
}

TEST_CASE("the trend over checks says until when a record is good") {
    Random random(856);
    std::vector<DailyCheck> checks;
    for (int day = 0; day < 20; ++day) {
        auto check = unchanged();
        check.date = 101 + day;
        check.marks = noisy(moved(five, 0, 0, 0, 5e-6 * day), 3e-6, random);
        check.power.value = 3680 - 1.5 * day + 1.5 * random.normal();
        check.focus.value = 0.002 + 1e-6 * random.normal();
        checks.push_back(check);
    }
    auto const trend = trend_over(record, checks, 121);
    CHECK(trend.valid_until == 465);
    // Power falls 80 W in 53 days: on day 154.3. The scale reaches 100 µm / 141 mm in 141 days, on day 242.
    CHECK(trend.good_until > 140);
    CHECK(trend.good_until < 155);
    CHECK(has(trend.words, "good until"));
    CHECK(has(trend.words, "power"));
    for (auto const& item : trend.items) {
        if (item.item == CheckItem::power)
            CHECK(std::abs(*item.leaving.date - 154.3) < 8);
        if (item.item == CheckItem::scale)
            CHECK(std::abs(*item.leaving.date - (101 + 1e-4 / std::hypot(0.1, 0.1) / 5e-6)) < 25);
    }
    for (auto& check : checks)
        check.power.value = 3680 + 1.5 * random.normal(), check.marks = noisy(five, 3e-6, random);
    auto const still = trend_over(record, checks, 121, 0.999);
    CHECK(still.good_until == 465);
    CHECK(has(still.words, "by its age"));
}
