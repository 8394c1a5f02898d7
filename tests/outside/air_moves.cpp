#include "seamhold/curve/minimum_time.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstddef>
#include <vector>

// Moves of one axis in least time against cases that a textbook works out: L. Biagiotti, C. Melchiorri,
// "Trajectory Planning for Automatic Machines and Robots", Springer 2008, section 3.4 (double S). The numbers
// are from memory; each is worked out once more here.

using namespace seamhold;

namespace {

/// From one speed to another with no acceleration at either end: how long it takes.
double ramp_time(double change, double a, double j) {
    double const c = std::abs(change);
    return c * j < a * a ? 2 * std::sqrt(c / j) : c / a + a / j;
}

/// The way from speed v0 up to a peak and down to v1, in both ramps at the mean speed.
double way_over(double peak, double v0, double v1, double a, double j) {
    return (v0 + peak) / 2 * ramp_time(peak - v0, a, j) + (peak + v1) / 2 * ramp_time(peak - v1, a, j);
}

} // namespace

TEST_CASE("the book's example 3.9: from 0 to 10 with a speed of 1 at the start") {
    RateLimits const limits{5, 10, 30};
    AxisState const from{0, 1, 0}, to{10, 0, 0};
    // The book: Tj = 0.3333, Ta = 0.7333, Tv = 1.1433, Td = 0.8333, in all 2.71 s.
    double const up = ramp_time(4, 10, 30), down = ramp_time(5, 10, 30);
    CHECK(up == doctest::Approx(0.7333).epsilon(1e-4));
    CHECK(down == doctest::Approx(0.8333).epsilon(1e-4));
    double const cruise = (10 - way_over(5, 1, 0, 10, 30)) / 5;
    CHECK(cruise == doctest::Approx(1.1433).epsilon(1e-4));
    double const least = least_duration(from, to, limits);
    CHECK(least == doctest::Approx(2.71).epsilon(1e-14));
    auto const move = axis_move(from, to, limits, least);
    REQUIRE(move);
    std::vector<double> const breaks = move->breaks();
    double const expected[] = {0, 1.0 / 3, up - 1.0 / 3, up, up + cruise, 2.71 - 0.5, 2.71 - 1.0 / 3, 2.71};
    REQUIRE(breaks.size() == 8);
    for (std::size_t i = 0; i < 8; ++i)
        CHECK(breaks[i] == doctest::Approx(expected[i]).epsilon(1e-13));
    CHECK(move->extremes().velocity == doctest::Approx(5).epsilon(1e-14));
}

TEST_CASE("the book's example 3.11: from 0 to 10 with a speed of 7 at the start") {
    // The book lowers the acceleration step by step until the ramps have room, and ends with 1.9384 s. The
    // least time has its peak where the way of the two ramps is 10.
    RateLimits const limits{10, 10, 30};
    double low = 7, high = 10;
    for (int i = 0; i < 200; ++i)
        (way_over((low + high) / 2, 7, 0, 10, 30) < 10 ? low : high) = (low + high) / 2;
    double const time = ramp_time(low - 7, 10, 30) + ramp_time(low, 10, 30);
    CHECK(low == doctest::Approx(9.1353149).epsilon(1e-7));
    CHECK(time == doctest::Approx(1.7804458).epsilon(1e-7));
    CHECK(time < 1.9384);
    AxisState const from{0, 7, 0}, to{10, 0, 0};
    double const least = least_duration(from, to, limits);
    CHECK(least == doctest::Approx(time).epsilon(1e-13));
    auto const move = axis_move(from, to, limits, least);
    REQUIRE(move);
    CHECK(move->extremes().velocity == doctest::Approx(low).epsilon(1e-12));
    // The book's own time is possible too.
    CHECK(axis_move(from, to, limits, 1.9384));
}
