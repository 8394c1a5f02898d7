#include "seamhold/statistics/capability.hpp"

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <boost/math/distributions/non_central_t.hpp>
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

double const infinity = std::numeric_limits<double>::infinity();

/// The capability of so many parts with a mean of 0 and a deviation of 1.
Capability unit(std::size_t parts, double low, double high, double level = 0.95) {
    return capability_of(SampleSummary{parts, 0, 1}, {low, high}, level);
}

} // namespace

TEST_CASE("indices worked out by hand") {
    auto const c = capability_of(summary_of({2, 4, 4, 4, 5, 5, 7, 9}), {-3, 17}); // mean 5, deviation √(32/7)
    double const deviation = std::sqrt(32.0 / 7);
    CHECK(c.cp);
    CHECK(std::abs(c.cp.value_or(0) - 20 / (6 * deviation)) < 1e-15);
    CHECK(std::abs(c.cpk - 8 / (3 * deviation)) < 1e-15);
    CHECK(!c.upper_nearer);
    CHECK(c.cpk_bounds.low < c.cpk);
    CHECK(c.cpk < c.cpk_bounds.high);
    CHECK(unit(9, -infinity, 3).cpk == 1);
    CHECK(unit(9, -infinity, 3).upper_nearer);
    CHECK(unit(9, 1, 3).cpk == -1.0 / 3); // the mean lies outside
    CHECK(unit(9, 1, 3).cpk_bounds.high < 0.01);
}

TEST_CASE("bounds of Cpk leave what they should in the tails of the non-central t distribution") {
    for (std::size_t const parts : {2U, 5U, 30U, 500U})
        for (double const cpk : {-0.5, 0.1, 1.0, 1.67, 3.0}) {
            CAPTURE(parts);
            CAPTURE(cpk);
            auto const bounds = unit(parts, -infinity, 3 * cpk, 0.9).cpk_bounds;
            double const root = std::sqrt(static_cast<double>(parts));
            auto const below = [&](double truth) {
                return boost::math::cdf(
                    boost::math::non_central_t(static_cast<double>(parts - 1), 3 * truth * root),
                    3 * cpk * root);
            };
            // Boost's distribution in doubles is good to some 1e-12 of itself.
            CHECK(std::abs(below(bounds.low) - 0.95) < 1e-10);
            CHECK(std::abs(below(bounds.high) - 0.05) < 1e-10);
        }
}

TEST_CASE("bounds of Cp and Cpk hold as often as they say") {
    std::size_t const trials = runs(40000);
    // Limits at ±3, the process off the middle by so many deviations; a last one with one limit only.
    struct Case {
        double off, low;
        double most_low, most_high; // misses allowed below and above
    };
    int const parts = 10;
    for (auto const& c : {Case{0, -3, 0.025, 0.05}, Case{0.5, -3, 0.025, 0.027}, Case{1, -3, 0.025, 0.025},
                          Case{0.5, -infinity, 0.025, 0.025}}) {
        double const off = c.off, low = c.low;
        Random random(2026112703);
        double const truth = (3 - off) / 3;
        // From which Cpk seen on the lower bound lies above the truth, and up to which the upper one below.
        auto const threshold = [&](bool lower) {
            double from = -2, to = 20;
            for (int i = 0; i < 50; ++i) {
                double const middle = (from + to) / 2;
                auto const bounds = unit(parts, -infinity, 3 * middle).cpk_bounds;
                ((lower ? bounds.low : bounds.high) > truth ? to : from) = middle;
            }
            return from;
        };
        double const too_high = threshold(true), too_low = threshold(false);
        double missed_low = 0, missed_high = 0, cp_held = 0;
        for (std::size_t i = 0; i < trials; ++i) {
            double sum = 0, squares = 0;
            for (int k = 0; k < parts; ++k) {
                double const x = random.normal();
                sum += x;
                squares += x * x;
            }
            double const deviation = std::sqrt((squares - sum * sum / parts) / (parts - 1));
            double const mean = off + sum / parts;
            double const cpk = std::min(3 - mean, mean - low) / (3 * deviation);
            missed_low += cpk > too_high ? 1 : 0;
            missed_high += cpk < too_low ? 1 : 0;
            // χ² of 9 degrees at 0.025 and 0.975: 2.70039 and 19.02277 (tables, from memory).
            double const cp = 1 / deviation; // the truth is 1
            cp_held += cp * std::sqrt(2.70039 / 9) < 1 && 1 < cp * std::sqrt(19.02277 / 9) ? 1 : 0;
        }
        double const n = static_cast<double>(trials);
        CAPTURE(off);
        double const luck = 4 * std::sqrt(0.025 * 0.975 / n);
        CHECK(missed_low / n < c.most_low + luck);
        CHECK(missed_high / n < c.most_high + luck);
        if (low == -infinity) { // exact with one limit
            CHECK(missed_low / n > 0.025 - luck);
            CHECK(missed_high / n > 0.025 - luck);
        }
        CHECK(std::abs(cp_held / n - 0.95) < 4 * std::sqrt(0.95 * 0.05 / n));
    }
    auto const cp = unit(10, -3, 3).cp_bounds.value_or(Bounds{0, 0});
    CHECK(std::abs(cp.low - std::sqrt(2.70039 / 9)) < 1e-6);
    CHECK(std::abs(cp.high - std::sqrt(19.02277 / 9)) < 1e-6);
}

TEST_CASE("neighbours are alike by chance as often as it says, and surely where a process wanders") {
    std::size_t const trials = runs(20000);
    for (int const count : {10, 40}) {
        Random random(2026112704);
        double rare = 0, very_rare = 0, wandering = 0;
        std::vector<double> values(static_cast<std::size_t>(count));
        for (std::size_t i = 0; i < trials; ++i) {
            for (double& v : values)
                v = random.normal();
            double const p = likeness_of_neighbours(values);
            rare += p < 0.05 ? 1 : 0;
            very_rare += p < 0.01 ? 1 : 0;
            double before = 0;
            for (double& v : values)
                v = before = 0.9 * before + random.normal();
            wandering += likeness_of_neighbours(values) < 0.01 ? 1 : 0;
        }
        double const n = static_cast<double>(trials);
        CAPTURE(count);
        CHECK(std::abs(rare / n - 0.05) < 0.006);
        CHECK(std::abs(very_rare / n - 0.01) < 0.006);
        CHECK(wandering / n > (count == 40 ? 0.98 : 0.3));
        MESSAGE("of " << count << " values, told at 0.01: " << very_rare / n << ", wandering "
                      << wandering / n);
    }
    // By hand: 1, 2, 3, 4, 5 has steps of 1 and a variance of 2.5, so half the ratio is 0.2.
    double const z = 0.8 * std::sqrt(24.0 / 3);
    CHECK(std::abs(likeness_of_neighbours({1, 2, 3, 4, 5}) - 0.5 * std::erfc(z / std::sqrt(2.0))) < 1e-15);
    CHECK(likeness_of_neighbours({1, 5, 1, 5, 1, 5}) > 0.9);
    CHECK(likeness_of_neighbours({1, 2, 3}) == 1);
    CHECK(likeness_of_neighbours({2, 2, 2, 2, 2}) == 1);
}

TEST_CASE("what shows no capability is refused") {
    CHECK(has(refusal_of([] {
                  return capability_of({10, 0, 1e-320}, {-1, 1});
              }),
              "too small beside the limits"));
    double const nan = std::numeric_limits<double>::quiet_NaN();
    CHECK(has(refusal_of([] { return unit(9, 3, -3); }), "from low to high"));
    CHECK(has(refusal_of([] { return unit(9, 3, 3); }), "from low to high"));
    CHECK(has(refusal_of([&] { return unit(9, nan, 3); }), "from low to high"));
    CHECK(has(refusal_of([] { return unit(9, -infinity, infinity); }), "must be finite"));
    CHECK(has(refusal_of([] { return unit(1, -3, 3); }), "2 values or more that differ"));
    CHECK(has(refusal_of([] { return capability_of(summary_of({4, 4, 4}), {0, 9}); }), "that differ"));
    CHECK(has(refusal_of([] { return capability_of(summary_of({4}), {0, 9}); }), "2 values or more"));
    CHECK(has(refusal_of([&] { return capability_of(summary_of({4, nan}), {0, 9}); }), "value 2"));
    CHECK(has(refusal_of([] { return unit(9, -3, 3, 1.0); }), "level"));
}
