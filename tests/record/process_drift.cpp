#include "seamhold/record/process_drift.hpp"

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

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

double const first_day = 20000;

/// A part with so many channels at the levels given.
SeamSummary row_of(double date, std::vector<double> const& levels) {
    SeamSummary row{
        {{}, "tray front", 7}, "P" + std::to_string(date), date, Judgement::good, true, 30, 5, {}};
    std::vector<std::string> const names{"plume light", "heat", "returned light"};
    for (std::size_t c = 0; c < levels.size(); ++c)
        row.channels.push_back({names[c], 1, 0, 0, 0, levels[c], 0});
    return row;
}

/// Invented rows: four parts a day for 20 days, levels at so much a day, with the scatter of the parts and of
/// the days; what days add is the same in all channels where `shared`.
std::vector<SeamSummary> rows_of(std::vector<double> const& slopes, double part, double day, Random& random,
                                 bool shared = false, std::vector<double>* of_days = nullptr) {
    std::vector<SeamSummary> rows;
    for (int d = 0; d < 20; ++d) {
        std::vector<double> add;
        double const common = day * random.normal();
        for (std::size_t c = 0; c < slopes.size(); ++c)
            add.push_back(shared ? common : day * random.normal());
        if (of_days != nullptr)
            of_days->push_back(common);
        for (int i = 0; i < 4; ++i) {
            double const date = d + 0.3 + 0.1 * i;
            std::vector<double> levels;
            for (std::size_t c = 0; c < slopes.size(); ++c)
                levels.push_back(slopes[c] * date + add[c] + part * random.normal());
            rows.push_back(row_of(first_day + date, levels));
        }
    }
    return rows;
}

/// One reading a day of a power at 4000 W.
PowerWatch power_of(double slope, double scatter, Random& random) {
    PowerWatch power{{}, {3800, 4200}};
    for (int d = 0; d < 20; ++d)
        power.readings.push_back(
            {first_day + d + 0.25, 4000 + slope * (d + 0.25) + scatter * random.normal()});
    return power;
}

} // namespace

TEST_CASE("drifts without scatter are told exactly, and who leaves first") {
    Random random(1);
    // Down by 0.02 a day it leaves −0.5 on day 25; up by 0.01, 0.5 on day 50; the power leaves on day 40.
    auto const rows = rows_of({-0.02, 0.01, 0}, 0, 0, random);
    auto const power = power_of(-5, 0, random);
    double const today = first_day + 20;
    auto const drift = process_drift(rows, today, power);
    REQUIRE(drift.channels.size() == 3);
    auto const& light = drift.channels[0].drift;
    CHECK(light.name == "plume light");
    CHECK(light.told);
    CHECK(light.parts == 80);
    CHECK(light.left_out == 0);
    CHECK(light.points.size() == 20);
    CHECK(std::abs(light.slope.low + 0.02) < 1e-10); // days about 20000 keep 12 digits, over 20
    CHECK(std::abs(light.slope.high + 0.02) < 1e-10);
    CHECK(std::abs(light.leaving.date.value_or(0) - first_day - 25) < 1e-6);
    CHECK(std::abs(drift.channels[1].drift.leaving.date.value_or(0) - first_day - 50) < 1e-6);
    CHECK(drift.channels[0].with_power);
    CHECK(drift.channels[1].with_power);
    CHECK(!drift.channels[2].drift.told);
    CHECK(!drift.channels[2].with_power);
    REQUIRE(drift.power);
    CHECK(std::abs(drift.power->leaving.date.value_or(0) - first_day - 40) < 1e-6);
    CHECK(drift.first.value_or("") == "plume light");
    REQUIRE(drift.words.size() == 5);
    CHECK(has(drift.words[0], "plume light falls by 0.02 half widths a day"));
    CHECK(has(drift.words[0], "leaves through -0.5 half widths in 5.0 days"));
    CHECK(has(drift.words[1], "power falls by 5 W a day"));
    CHECK(has(drift.words[1], "through 3800 W in 20 days"));
    CHECK(has(drift.words[2], "heat rises by 0.01"));
    CHECK(has(drift.words[3], "returned light: no drift is told"));
    CHECK(has(drift.words[4], "hint: together with the power: plume light, heat;"));
    // Other limits, another order; and what is outside now comes first, drift or not.
    DriftOptions options;
    options.allowed = {-5, 0.2};
    CHECK(process_drift(rows, today, power, options).first.value_or("") == "heat");
    options.allowed = {0.1, 0.9};
    auto const outside = process_drift(rows, today, power, options);
    CHECK(has(outside.words[0], "plume light"));
    CHECK(has(outside.words[0], "beyond 0.1 half widths now"));
    CHECK(has(outside.words[1], "returned light: no drift is told from none; it lies beyond 0.1"));
}

TEST_CASE("hints follow from what drifts") {
    Random random(2);
    auto const falls = rows_of({-0.02, -0.01, -0.03}, 0.001, 0.001, random);
    double const today = first_day + 20;
    auto const alone = process_drift(falls, today);
    CHECK(!alone.power);
    CHECK(!alone.channels[0].together);
    CHECK(has(alone.words.back(), "hint: all channels fall: measure the power"));
    auto const steady = process_drift(falls, today, power_of(0, 4, random));
    REQUIRE(!steady.power->told);
    CHECK(has(steady.words.back(), "hint: without the power: plume light, heat, returned light"));
    auto const one = process_drift(rows_of({0, 0.02}, 0.001, 0.001, random), today);
    REQUIRE(one.channels.size() == 2);
    CHECK(!has(one.words.back(), "hint"));
}

TEST_CASE("an unchanged process is called drifting as often as it says, though days differ") {
    Random random(2026112705);
    std::size_t const trials = runs(500);
    double told = 0, told_by_parts = 0, held = 0;
    DriftOptions by_parts;
    by_parts.days_together = 0.01;
    for (std::size_t i = 0; i < trials; ++i) {
        auto const rows = rows_of({0, 0, 0}, 0.1, 0.1, random);
        auto const power = power_of(0, 10, random);
        auto const drift = process_drift(rows, first_day + 20, power);
        bool any = drift.power->told;
        for (auto const& c : drift.channels) {
            any = any || c.drift.told;
            held += c.drift.slope.contains(0) ? 1 : 0;
        }
        told += any ? 1 : 0;
        if (i % 10 == 0) { // each part by itself: days look like knowledge
            bool any_part = false;
            for (auto const& c : process_drift(rows, first_day + 20, power, by_parts).channels)
                any_part = any_part || c.drift.told;
            told_by_parts += any_part ? 10 : 0;
        }
    }
    double const n = static_cast<double>(trials);
    MESSAGE("unchanged, called drifting: " << told / n << "; with each part counted: " << told_by_parts / n);
    // 0.05 for all together; the search for outliers adds a little; four deviations.
    CHECK(told / n < 0.06 + 4 * std::sqrt(0.05 * 0.95 / n));
    CHECK(told / n > 0.05 - 4 * std::sqrt(0.05 * 0.95 / n));
    CHECK(held / (3 * n) > std::pow(0.95, 0.25) - 0.004 - 4 * std::sqrt(0.0127 / (3 * n)));
    CHECK(told_by_parts / n > 0.2);
}

TEST_CASE("what wanders with the power is told from what only drifts beside it") {
    Random random(2026112706);
    std::size_t const trials = runs(300);
    double by_chance = 0, told = 0, right_way = 0, n = 0;
    for (std::size_t i = 0; i < trials; ++i) {
        std::vector<double> days;
        auto const rows = rows_of({-0.01, -0.01}, 0.02, 0.05, random, true, &days);
        auto apart = power_of(-3, 10, random), with = apart;
        for (std::size_t d = 0; d < days.size(); ++d)
            with.readings[d].value += 300 * days[d]; // 15 W beside 10 W of its own
        auto const beside = process_drift(rows, first_day + 20, apart).channels[0];
        auto const same = process_drift(rows, first_day + 20, with).channels[0];
        REQUIRE(beside.together);
        REQUIRE(same.together);
        CHECK(same.together->days >= 18); // a day or two may be outliers
        by_chance += beside.together->probability < 0.05 ? 1 : 0;
        told += same.together->probability < 0.05 ? 1 : 0;
        right_way += same.together->correlation > 0 ? 1 : 0;
        n += 1;
    }
    CHECK(std::abs(by_chance / n - 0.05) < 0.015 + 4 * std::sqrt(0.05 * 0.95 / n));
    CHECK(told / n > 0.9);
    CHECK(right_way / n > 0.98);
}

TEST_CASE("the correlation beside both trends worked out by hand") {
    // Residuals of a line through 1, −1, −1, 1, 0, 0 … at even places: no trend and no mean, kept as they
    // are.
    std::vector<double> const wiggle{1, -1, -1, 1, 1, -1, -1, 1}, other{1, -1, -1, 1, -1, 1, 1, -1};
    std::vector<SeamSummary> rows;
    PowerWatch power{{}, {1, 9000}};
    for (std::size_t d = 0; d < wiggle.size(); ++d) {
        double const day = first_day + static_cast<double>(d) + 0.5;
        rows.push_back(row_of(day, {0.01 * wiggle[d], 0.01 * other[d] + 0.02 * wiggle[d]}));
        power.readings.push_back({day, 4000 + 10 * wiggle[d]});
    }
    DriftOptions options;
    auto const drift = process_drift(rows, first_day + 10, power, options);
    auto const one = drift.channels[0].together.value();
    CHECK(one.days == 8);
    CHECK(std::abs(one.correlation - 1) < 1e-6);
    CHECK(one.probability < 1e-6);
    // 2 parts of the wiggle and 1 of another at right angles: 2/√5; t = 2/√5 · √5 / (1/√5) = 4.47214 of 5
    // degrees, beyond which lie 0.006566 (worked out by hand from the closed form for 5 degrees).
    auto const two = drift.channels[1].together.value();
    CHECK(std::abs(two.correlation - 2 / std::sqrt(5.0)) < 1e-6);
    double const angle = std::atan(2.0); // t/√5 = 2
    double const inside =
        2 / 3.141592653589793 *
        (angle + std::sin(angle) * (std::cos(angle) + 2.0 / 3 * std::pow(std::cos(angle), 3)));
    CHECK(std::abs(two.probability - (1 - inside)) < 1e-6);
}

TEST_CASE("an odd day in both does not bind a channel to the power") {
    std::vector<double> const wiggle{1, -1, -1, 1, 1, -1, -1, 1}, other{1, -1, -1, 1, -1, 1, 1, -1};
    std::vector<SeamSummary> rows;
    PowerWatch power{{}, {1, 9000}};
    for (std::size_t d = 0; d < 17; ++d) {
        double const day = first_day + static_cast<double>(d) + 0.5;
        double const odd = d == 16 ? 50 : 0;
        rows.push_back(row_of(day, {0.01 * (other[d % 8] + odd)}));
        power.readings.push_back({day, 4000 + 10 * (wiggle[d % 8] + odd)});
    }
    auto const found = process_drift(rows, first_day + 17, power).channels[0].together.value();
    CHECK(found.days == 16);
    CHECK(std::abs(found.correlation) < 0.1); // at right angles; with the odd day it is nearly 1
}

TEST_CASE("faults and what was hardly seen are no drift") {
    Random random(3);
    auto rows = rows_of({0.01, 0}, 0.01, 0.01, random);
    for (std::size_t i = 0; i < rows.size(); i += 5) {
        rows[i].judgement = i % 10 == 0 ? Judgement::not_good : Judgement::not_judged;
        rows[i].channels[0].level = -30;
    }
    rows[1].channels[1].seen = 0.9;
    auto const drift = process_drift(rows, first_day + 20);
    CHECK(drift.channels[0].drift.parts == 64);
    CHECK(drift.channels[0].drift.left_out == 16);
    CHECK(drift.channels[1].drift.left_out == 17);
    CHECK(drift.channels[0].drift.told);
    CHECK(std::abs(drift.channels[0].drift.trend.line.slope - 0.01) < 0.002);
    CHECK(has(drift.words[0], "16 of 80 parts were left out"));
    DriftOptions all;
    all.good_only = false;
    all.least_seen = 0.9;
    CHECK(process_drift(rows, first_day + 20, {}, all).channels[1].drift.parts == 80);
    // One odd day does not make a drift, and is named.
    auto odd = rows_of({0}, 0.01, 0.01, random);
    for (std::size_t i = 72; i < 76; ++i)
        odd[i].channels[0].level += 1;
    auto const found = process_drift(odd, first_day + 20).channels[0].drift;
    CHECK(found.trend.outlier[18]);
    CHECK(std::abs(found.trend.line.slope) < 0.002);
}

TEST_CASE("days that wander are said") {
    Random random(4);
    std::vector<SeamSummary> rows;
    double level = 0;
    for (int d = 0; d < 60; ++d) {
        level += 0.02 * random.normal();
        rows.push_back(row_of(first_day + d, {level}));
    }
    auto const drift = process_drift(rows, first_day + 60);
    CHECK(drift.channels[0].drift.likeness < 0.01);
    CHECK(has(drift.words[0], "alike beside the line"));
}

TEST_CASE("rows, dates and powers that make no drift are refused") {
    Random random(5);
    auto const rows = rows_of({0.01, 0}, 0.01, 0.01, random);
    double const today = first_day + 20;
    auto const power = power_of(0, 1, random);
    auto const refused = [&](std::vector<SeamSummary> const& given, double day,
                             std::optional<PowerWatch> const& watch = {}, DriftOptions const& options = {}) {
        return refusal_of([&] { return process_drift(given, day, watch, options); });
    };
    CHECK(refused(rows, today, power).empty());
    auto bad = rows;
    bad[5].band_parts = 31;
    CHECK(has(refused(bad, today), "learnt from 31 parts"));
    bad = rows;
    bad[5].band_print = 6;
    CHECK(has(refused(bad, today), "the row of part " + bad[5].part + " was held against another band than"));
    bad = rows;
    bad[5].key.pass = 8;
    CHECK(has(refused(bad, today), "another plan"));
    bad = rows;
    bad[5].date = 86400 * first_day;
    CHECK(has(refused(bad, today), "are these seconds?"));
    CHECK(has(refused(rows, 86400 * today), "are these seconds?"));
    CHECK(has(refused(rows, std::numeric_limits<double>::quiet_NaN()), "today"));
    CHECK(has(refused(rows, today - 1), "after today"));
    CHECK(has(refused({}, today), "none"));
    CHECK(has(refused({rows.begin(), rows.begin() + 12}, today), "needs 4 groups of 1 days"));
    bad = rows;
    for (auto& row : bad)
        row.judgement = Judgement::not_good;
    CHECK(has(refused(bad, today), "given are 0 from 0 of 80"));
    auto watch = power;
    watch.readings[2].date = 86400 * first_day;
    CHECK(has(refused(rows, today, watch), "are these seconds?"));
    watch = power;
    watch.readings[2].date = today + 1;
    CHECK(has(refused(rows, today, watch), "reading of the power"));
    watch = power;
    watch.readings[2].value = 0;
    CHECK(has(refused(rows, today, watch), "above 0 W"));
    watch = power;
    watch.allowed = {4000, 3000};
    CHECK(has(refused(rows, today, watch), "from low to high"));
    DriftOptions options;
    options.days_together = 0;
    CHECK(has(refused(rows, today, {}, options), "days"));
    options = {};
    options.least_seen = 1.5;
    CHECK(has(refused(rows, today, {}, options), "share"));
    options = {};
    options.level = 1;
    CHECK(has(refused(rows, today, {}, options), "level"));
    options = {};
    options.allowed = {0.5, -0.5};
    CHECK(has(refused(rows, today, {}, options), "from low to high"));
}
