#include "seamhold/calibrate/power_line.hpp"

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
using seamhold::test::runs;

namespace {

/// A laser of which a share arrives, less a few watts: ten commands, invented.
std::vector<PowerRow> readings(double offset, double share, int count, double deviation, Random& random,
                               bool in_shares = false) {
    std::vector<PowerRow> rows;
    for (int i = 0; i < count; ++i) {
        double const commanded = 400 + 3600.0 * i / (count - 1);
        double const clean = offset + share * commanded;
        double const noise = deviation > 0 ? deviation * random.normal() : 0.0;
        rows.push_back({commanded, in_shares ? clean + commanded * noise : clean + noise});
    }
    return rows;
}

} // namespace

TEST_CASE("a power line without errors is the truth of 1000 random lasers") {
    Random random(821);
    for (std::size_t i = 0; i < runs(1000); ++i) {
        double const offset = random.uniform(-50, 0), share = random.uniform(0.7, 1);
        auto const scatter = random.unit() < 0.5 ? PowerScatter::watts : PowerScatter::share;
        auto const line = fit_power_line(
            readings(offset, share, 5 + static_cast<int>(random.index(15)), 0, random), scatter);
        CHECK(std::abs(line.line.slope / share - 1) < 1e-9);
        CHECK(std::abs(line.line.intercept - offset) < 1e-9 * 4000);
        double const wanted = offset + share * random.uniform(400, 4000);
        auto const command = line.command_for(wanted);
        CHECK(std::abs(command.command / ((wanted - offset) / share) - 1) < 1e-9);
        CHECK(std::abs(line.delivered(command.command) / wanted - 1) < 1e-12);
        CHECK(line.warnings.empty());
        CHECK(line.lowest == 400);
        CHECK(line.highest == 4000);
    }
}

TEST_CASE("the band is that of a published example") {
    // Stopping distances over speeds, 50 rows, as R's data set `cars` has them (M. Ezekiel, "Methods of
    // Correlation Analysis", Wiley 1930); R's predict.lm at a speed of 10 with a level of 95 %
    // prints 21.74499, confidence 15.46192 to 28.02807, prediction −9.809601 to 53.29959. Made into watts: a
    // hundred times the speed is commanded, and the distance taken off what would arrive, which turns the
    // line's sign.
    double const cars[][2] = {
        {4, 2},   {4, 10},  {7, 4},   {7, 22},  {8, 16},  {9, 10},  {10, 18}, {10, 26}, {10, 34},  {11, 17},
        {11, 28}, {12, 14}, {12, 20}, {12, 24}, {12, 28}, {13, 26}, {13, 34}, {13, 34}, {13, 46},  {14, 26},
        {14, 36}, {14, 60}, {14, 80}, {15, 20}, {15, 26}, {15, 54}, {16, 32}, {16, 40}, {17, 32},  {17, 40},
        {17, 50}, {18, 42}, {18, 56}, {18, 76}, {18, 84}, {19, 36}, {19, 46}, {19, 68}, {20, 32},  {20, 48},
        {20, 52}, {20, 56}, {20, 64}, {22, 66}, {23, 54}, {24, 70}, {24, 92}, {24, 93}, {24, 120}, {25, 85}};
    std::vector<PowerRow> rows;
    for (auto const& [speed, distance] : cars)
        rows.push_back({100 * speed, 100 * speed - distance});
    auto const line = fit_power_line(rows, PowerScatter::watts, false);
    CHECK(std::abs(1000 - line.delivered(1000) - 21.74499) < 1e-5);
    CHECK(std::abs(1000 - line.line.confidence(1000).high - 15.46192) < 1e-5);
    CHECK(std::abs(1000 - line.line.confidence(1000).low - 28.02807) < 1e-5);
    CHECK(std::abs(1000 - line.delivered_bounds(1000).high + 9.809601) < 1e-5);
    CHECK(std::abs(1000 - line.delivered_bounds(1000).low - 53.29959) < 1e-5);
}

TEST_CASE("bands and commands cover as often as they say") {
    for (auto const scatter : {PowerScatter::watts, PowerScatter::share}) {
        Random random(822);
        bool const in_shares = scatter == PowerScatter::share;
        double const deviation = in_shares ? 0.01 : 25;
        std::size_t const trials = runs(3000);
        std::size_t band = 0, mean = 0, command = 0, reading = 0;
        for (std::size_t i = 0; i < trials; ++i) {
            auto const line = fit_power_line(readings(-20, 0.92, 10, deviation, random, in_shares), scatter);
            double const at = random.uniform(500, 3900), truth = -20 + 0.92 * at;
            double const one = truth + (in_shares ? at : 1) * deviation * random.normal();
            double four = 0;
            for (int k = 0; k < 4; ++k)
                four += (truth + (in_shares ? at : 1) * deviation * random.normal()) / 4;
            band += line.delivered_bounds(at).contains(one) ? 1U : 0U;
            mean += line.delivered_bounds(at, 0.95, 4).contains(four) ? 1U : 0U;
            auto const wanted = line.command_for(truth);
            command += wanted.bounds.contains(at) ? 1U : 0U;
            double const next =
                -20 + 0.92 * wanted.command + (in_shares ? wanted.command : 1) * deviation * random.normal();
            reading += wanted.delivered.contains(next) ? 1U : 0U;
        }
        for (auto const count : {band, mean, command, reading}) {
            CHECK(static_cast<double>(count) / static_cast<double>(trials) > 0.93);
            CHECK(static_cast<double>(count) / static_cast<double>(trials) < 0.97);
        }
    }
}

TEST_CASE("errors of the command fall as one over the root of the number of readings") {
    Random random(823);
    auto const error = [&random](int count) {
        double sum = 0;
        for (std::size_t i = 0; i < runs(600); ++i)
            sum += sqr(fit_power_line(readings(-20, 0.92, count, 20, random)).command_for(2000).command -
                       2020 / 0.92);
        return std::sqrt(sum);
    };
    double const ratio = error(10) / error(90);
    CHECK(ratio > 2.6);
    CHECK(ratio < 3.5);
}

TEST_CASE("one odd reading in ten is named and does not bend the line") {
    Random random(824);
    for (int i = 0; i < 200; ++i) {
        auto rows = readings(-20, 0.92, 10, 5, random);
        auto const odd = random.index(9); // the last one alone might be a flat top
        rows[odd].measured += random.unit() < 0.5 ? 150 : -150;
        auto const line = fit_power_line(rows);
        CHECK(line.outlier[odd]);
        CHECK(has(line.warnings.at(0), "was left out"));
        CHECK(std::abs(line.delivered(2000) - 1820) < 10);
    }
}

TEST_CASE("a bent line is told by repeated readings") {
    Random random(825);
    auto rows = readings(-20, 0.92, 7, 5, random);
    for (auto const& row : readings(-20, 0.92, 7, 5, random))
        rows.push_back(row);
    CHECK(fit_power_line(rows, PowerScatter::watts, false).warnings.empty());
    for (auto& row : rows)
        row.measured += 60 * std::sin(row.commanded / 4000 * 6.28);
    CHECK(
        has(fit_power_line(rows, PowerScatter::watts, false).warnings.at(0), "straight line is not enough"));
}

TEST_CASE("what cannot be a power line is refused, and named") {
    Random random(826);
    auto const refused = [](std::vector<PowerRow> const& rows) {
        return refusal_of([&] { return fit_power_line(rows); });
    };
    auto const changed = [&](auto const& change) {
        auto rows = readings(-20, 0.92, 10, 8, random);
        for (auto& row : rows)
            row = change(row);
        return refused(rows);
    };
    CHECK(changed([](PowerRow row) { return row; }).empty());
    CHECK(has(changed([](PowerRow row) {
                  return PowerRow{row.commanded, row.measured / 1000};
              }),
              "measured column looks like kilowatts"));
    CHECK(has(changed([](PowerRow row) {
                  return PowerRow{row.commanded / 1000, row.measured};
              }),
              "commanded column looks like kilowatts"));
    CHECK(has(changed([](PowerRow row) { return PowerRow{row.commanded / 40, row.measured}; }), "per cent"));
    CHECK(has(changed([](PowerRow row) { return PowerRow{row.measured, row.commanded}; }), "swapped"));
    CHECK(has(changed([](PowerRow row) {
                  return PowerRow{row.commanded, 2 * row.measured};
              }),
              "more than was"));
    CHECK(has(changed([](PowerRow row) { return PowerRow{row.commanded, 4000 - row.measured}; }), "falls"));
    CHECK(has(changed([](PowerRow row) {
                  return PowerRow{row.commanded, -row.measured};
              }),
              "row 1 of the power"));
    CHECK(has(changed([](PowerRow row) { return PowerRow{0, row.measured}; }), "commanded power of 0"));
    CHECK(has(changed([](PowerRow row) {
                  return PowerRow{row.commanded, row.commanded > 2000 ? std::nan("") : row.measured};
              }),
              "not finite"));
    CHECK(has(changed([](PowerRow row) { return PowerRow{5000, row.measured}; }), "2 different"));
    CHECK(has(refused(readings(-20, 0.92, 4, 8, random)), "5 readings or more"));
    // A flat top, sharp and with scatter, of two rows or more.
    for (double const top : {2500.0, 2900.0}) {
        CHECK(has(changed([top](PowerRow row) {
                      return PowerRow{row.commanded, std::min(top, row.measured)};
                  }),
                  "saturated"));
        for (int i = 0; i < 50; ++i)
            CHECK(has(changed([&](PowerRow row) {
                          return PowerRow{row.commanded,
                                          row.measured < top ? row.measured : top + 3 * random.normal()};
                      }),
                      "saturated"));
    }
    auto const line = fit_power_line(readings(-20, 0.92, 10, 8, random));
    CHECK(has(refusal_of([&] { return line.command_for(4500); }), "lies beyond what was measured"));
    CHECK(has(refusal_of([&] { return line.command_for(100); }), "lies beyond what was measured"));
}

TEST_CASE("clean readings are never taken for a saturated meter") {
    Random random(827);
    for (std::size_t i = 0; i < runs(2000); ++i)
        CHECK(refusal_of([&] {
                  return fit_power_line(readings(-20, 0.92, 10, random.uniform(0, 40), random));
              }).empty());
}
