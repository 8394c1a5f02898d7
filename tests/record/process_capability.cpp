#include "seamhold/record/process_capability.hpp"

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;

namespace {

double const infinity = std::numeric_limits<double>::infinity();

SeamSummary row_of(int number, double heat, double farthest, double light = 5) {
    return {{{}, "tray front", 7},
            "P" + std::to_string(number),
            20000 + number / 100.0,
            Judgement::good,
            false,
            30,
            5,
            {{"heat", 1, heat, heat - 1, heat + 1, 0, farthest}, {"light", 1, light, 4, 6, 0, 0.5}}};
}

/// Invented rows: heat about 100 with a deviation of 2.
std::vector<SeamSummary> rows_of(int parts, std::uint64_t seed) {
    Random random(seed);
    std::vector<SeamSummary> rows;
    rows.reserve(static_cast<std::size_t>(parts));
    for (int i = 0; i < parts; ++i) {
        double const heat = 100 + 2 * random.normal();
        double const light = 5 + 0.1 * random.normal();
        rows.push_back(row_of(i, heat, 1.2 * random.unit(), light));
    }
    return rows;
}

ChannelRequirement const heat{"heat", {92, 110}, std::nullopt, "invented"};

} // namespace

TEST_CASE("the capability of a channel is that of its means, and cells are counted") {
    // By hand: means 98, 100, 102, 104 have the mean 101 and the deviation √(20/3).
    std::vector<SeamSummary> const rows{row_of(0, 98, 0.9), row_of(1, 100, 0.9), row_of(2, 102, -1.5),
                                        row_of(3, 104, 0.9)};
    auto const all = process_capability(rows, {{"heat", {92, 110.5}, 1.0, "invented"}});
    REQUIRE(all.size() == 1);
    auto const& c = all[0];
    double const deviation = std::sqrt(20.0 / 3);
    CHECK(c.parts == 4);
    CHECK(std::abs(c.mean.cpk - 9 / (3 * deviation)) < 1e-14);
    CHECK(std::abs(c.mean.cp.value_or(0) - 18.5 / (6 * deviation)) < 1e-14);
    CHECK(!c.mean.upper_nearer);
    REQUIRE(c.farthest);
    CHECK(c.farthest->beyond.seen == 1); // −1.5, on the lower side
    CHECK(c.farthest->beyond.of == 4);
    // One of 4 at 95 %: 0.006309 to 0.805880 (Clopper and Pearson; 1 − 0.975^¼, and the root of
    // (1 − p)⁴ + 4 p (1 − p)³ = 0.025, by hand).
    CHECK(std::abs(c.farthest->share_bounds.low - 0.006309) < 1e-6);
    CHECK(std::abs(c.farthest->share_bounds.high - 0.805880) < 1e-6);
    // The share beyond a limit that lies 3 Cpk deviations off.
    auto const beyond = [](double cpk) { return 0.5 * std::erfc(3 * cpk / std::sqrt(2.0)); };
    CHECK(std::abs(beyond(c.farthest->index_bounds.low) - c.farthest->share_bounds.high) < 1e-12);
    CHECK(std::abs(beyond(c.farthest->index_bounds.high) - c.farthest->share_bounds.low) < 1e-12);
    CHECK(c.cautions.empty());
    // None beyond, and all.
    auto const none = process_capability(rows, {{"heat", {92, 110.5}, 2.0, "invented"}})[0].farthest;
    CHECK(none.value().index_bounds.high == infinity);
    CHECK(is_finite(none.value().index_bounds.low));
    auto const every = process_capability(rows, {{"heat", {92, 110.5}, 0.1, "invented"}})[0].farthest;
    CHECK(every.value().index_bounds.low == -infinity);
    CHECK(is_finite(every.value().index_bounds.high));
    // Only what is required is looked at, one limit may be enough, and the level is asked for.
    auto const light =
        process_capability(rows_of(30, 1), {heat, {"light", {-infinity, 6}, {}, "invented"}}, {0.5, 0.95});
    REQUIRE(light.size() == 2);
    CHECK(light[1].mean.upper_nearer);
    CHECK(!light[1].mean.cp);
    CHECK(!light[1].farthest);
    CHECK(light[1].mean.level == 0.5);
}

TEST_CASE("parts that were hardly seen are left out, and it is said") {
    auto rows = rows_of(20, 2);
    rows[3].channels[0].seen = 0.5;
    rows[3].channels[0].mean = 1e6;
    auto const c = process_capability(rows, {heat})[0];
    CHECK(c.parts == 19);
    CHECK(c.mean.sample.mean < 110);
    REQUIRE(c.cautions.size() == 1);
    CHECK(has(c.cautions[0], "1 of 20 parts"));
}

TEST_CASE("a process that wanders is told, in the order of dates and not of rows") {
    auto rows = rows_of(60, 3);
    for (int i = 0; i < 60; ++i)
        rows[static_cast<std::size_t>(i)].channels[0].mean += 0.3 * i;
    auto const in_order = rows;
    for (std::size_t i = 0; i < 60; ++i) // as rows come from a file that was sorted by part number
        rows[i] = in_order[23 * i % 60];
    ChannelRequirement const wide{"heat", {50, 170}, {}, "invented"};
    auto const c = process_capability(rows, {wide})[0];
    CHECK(c.likeness < 1e-4);
    REQUIRE(c.cautions.size() == 1);
    CHECK(has(c.cautions[0], "drifts or wanders"));
    CHECK(process_capability(rows_of(60, 3), {wide})[0].cautions.empty());
}

TEST_CASE("limits that were learnt from the parts are refused") {
    auto const rows = rows_of(25, 4);
    double sum = 0, least = infinity, greatest = -infinity;
    for (auto const& row : rows) {
        sum += row.channels[0].mean / 25;
        least = std::min(least, row.channels[0].mean);
        greatest = std::max(greatest, row.channels[0].mean);
    }
    auto const refused = [&](Bounds const& limits) {
        return refusal_of([&] { return process_capability(rows, {{"heat", limits, {}, "habit"}}); });
    };
    CHECK(has(refused({sum - 6, sum + 6}), "learnt from these parts"));
    CHECK(has(refused({least, greatest}), "learnt from these parts"));
    CHECK(refused({least, 110}).empty()); // readings in whole numbers may well reach one limit
    CHECK(has(refused({-infinity, greatest}), "learnt from these parts"));
    CHECK(refused({90, 110}).empty());
    // Readings in whole steps meet a requirement by chance: at one limit, and about their mean.
    auto const in_steps = [](double step, Bounds const& limits) {
        std::vector<SeamSummary> all;
        for (double const x : {97, 99, 100, 102, 101, 98, 101})
            all.push_back(row_of(static_cast<int>(all.size()), step * x, 0.5));
        return refusal_of([&] { return process_capability(all, {{"heat", limits, {}, "invented"}}); });
    };
    std::vector<SeamSummary> const two{row_of(0, 100, 0.5), row_of(1, 101, 0.5), row_of(2, 100, 0.5)};
    CHECK(process_capability(two, {{"heat", {100, infinity}, {}, "invented"}}).size() == 1);
    for (double const step : {1.0, 0.1}) {
        CHECK(in_steps(step, {step * 97, infinity}).empty());
        CHECK(in_steps(step, {-infinity, step * 102}).empty());
        CHECK(in_steps(step, {step * 698 / 7 - step * 8, step * 698 / 7 + step * 8}).empty());
        CHECK(has(in_steps(step, {step * 97, step * 102}), "learnt from these parts"));
    }
    // The band's own limits, and what the band was learnt from.
    SignalBand const band{rows[0].key,
                          {0.002, 2},
                          {{"heat", {100, 102}, {90, 92}, {112, 114}}, {"light", {5, 5}, {4, 4}, {6, 6}}},
                          {},
                          3,
                          30};
    for (auto const& limits : {Bounds{91, 200}, Bounds{0, 113}, Bounds{90, 200}, Bounds{0, 114}})
        CHECK(has(refusal_of([&] {
                      check_not_of_band({{"heat", limits, {}, "habit"}}, band);
                      return 0;
                  }),
                  "those of the band"));
    check_not_of_band({{"heat", {89, 115}, {}, "invented"}}, band);
    auto learnt = rows;
    learnt[7].learnt = true;
    CHECK(has(refusal_of([&] {
                  return process_capability(learnt, {{"heat", {92, 110}, 1.0, "invented"}});
              }),
              "learnt from part P7"));
    CHECK(process_capability(learnt, {heat}).size() == 1); // the means are new all the same
}

TEST_CASE("what shows no capability of a channel is refused") {
    for (double const seen : {0.0, -5.0, 1.1}) {
        CapabilityOptions options;
        options.least_seen = seen;
        CHECK(has(refusal_of([&] { return process_capability(rows_of(25, 4), {heat}, options); }),
                  "must be above 0 and up to 1"));
    }
    auto const rows = rows_of(25, 5);
    auto const refused = [&](std::vector<ChannelRequirement> const& all) {
        return refusal_of([&] { return process_capability(rows, all); });
    };
    CHECK(has(refused({{"heat", {92, 110}, {}, ""}}), "where its required limits come from"));
    CHECK(has(refused({{"sound", {92, 110}, {}, "invented"}}), "sound"));
    CHECK(has(refused({heat, heat}), "twice"));
    for (double const most : {0.0, -1.0, infinity, std::numeric_limits<double>::quiet_NaN()})
        CHECK(has(refused({{"heat", {92, 110}, most, "invented"}}), "half widths"));
    CHECK(has(refused({{"heat", {110, 92}, {}, "invented"}}), "from low to high"));
    CHECK(has(refusal_of([&] { return process_capability({}, {heat}); }), "none"));
    CHECK(has(refusal_of([&] { return process_capability({rows[0]}, {heat}); }), "2 parts or more"));
}
