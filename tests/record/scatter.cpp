#include "seamhold/record/scatter.hpp"

#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

using namespace seamhold;
using test::Random;

namespace {

std::vector<double> smoothed(std::vector<double> values, std::size_t reach) {
    std::vector<double> work;
    detail::smooth_along(values, reach, work);
    return values;
}

} // namespace

TEST_CASE("smoothing is the mean of the cells around, as a plain loop has it") {
    Random random(901);
    for (std::size_t count = 1; count < 40; ++count)
        for (std::size_t reach = 0; reach < 25; ++reach) {
            std::vector<double> values(count);
            for (double& x : values)
                x = random.unit();
            auto const result = smoothed(values, reach);
            for (std::size_t i = 0; i < count; ++i) {
                long double sum = 0;
                int there = 0;
                for (std::size_t k = 0; k < count; ++k)
                    if (k + reach >= i && k <= i + reach) {
                        sum += static_cast<long double>(values[k]);
                        ++there;
                    }
                INFO(count, " ", reach, " ", i);
                // One rounding for each of up to 49 terms of at most 1.
                CHECK(std::abs(result[i] - static_cast<double>(sum / there)) < 49 * 2.3e-16);
            }
        }
}

TEST_CASE("a quiet stretch beside a wild one keeps its digits") {
    std::vector<double> values(200, 0.0);
    values[50] = 1e18;
    for (std::size_t i = 120; i < 200; ++i)
        values[i] = 3e-9;
    auto const result = smoothed(values, 5);
    CHECK(result[56] == 0);
    CHECK(result[100] == 0);
    // Eleven equal terms: a few units in the last place.
    CHECK(result[150] == doctest::Approx(3e-9).epsilon(1e-14));
}

TEST_CASE("the window is an odd number of cells and not longer than asked for") {
    Cells const cells{0.1, 1000}; // 0.1 mm
    CHECK(detail::smoothing_reach(0, cells) == 0);
    CHECK(detail::smoothing_reach(0.00029, cells) == 0);
    CHECK(detail::smoothing_reach(0.0003, cells) == 1); // three cells exactly, up to rounding
    CHECK(detail::smoothing_reach(0.00049, cells) == 1);
    CHECK(detail::smoothing_reach(0.0005, cells) == 2);
    CHECK(detail::smoothing_reach(0.002, cells) == 9); // nineteen of twenty
    CHECK(detail::smoothing_reach(1e9, cells) > 1000);
}

TEST_CASE("running mean and squares lose nothing where the scatter is small against the readings") {
    Random random(902);
    for (double const level : {0.0, 1.0, 1e6, 1e9}) {
        detail::RunningScatter running;
        std::vector<double> readings;
        for (int i = 0; i < 5000; ++i) {
            readings.push_back(level + 1e-3 * random.normal());
            running = detail::with_reading(running, readings.back(), static_cast<double>(readings.size()));
        }
        long double mean = 0, squares = 0;
        for (double const x : readings)
            mean += static_cast<long double>(x) / 5000;
        for (double const x : readings)
            squares += (static_cast<long double>(x) - mean) * (static_cast<long double>(x) - mean);
        CAPTURE(level);
        CHECK(std::abs(running.mean - static_cast<double>(mean)) <= 5000 * 2.3e-16 * level + 1e-17);
        // The mean is rounded to the level's last place: 1.2e-7 at 1e9, against a scatter of 1e-3.
        CHECK(running.squares ==
              doctest::Approx(static_cast<double>(squares)).epsilon(level > 1e8 ? 1e-4 : 1e-9));
    }
    // The same reading again and again has no squares at all.
    detail::RunningScatter same;
    for (int i = 1; i < 100; ++i)
        same = detail::with_reading(same, 0.1, i);
    CHECK(same.squares == 0);
    CHECK(same.mean == 0.1);
}

TEST_CASE("what is off by nothing is not off, and what is off where nothing scatters is off without bounds") {
    CHECK(detail::square_off(0, 0) == 0);
    CHECK(detail::square_off(3, 4) == 2.25);
    CHECK(detail::square_off(-1e-30, 0) == std::numeric_limits<double>::infinity());
}
