#include "seamhold/number/units.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <initializer_list>
#include <numbers>

using namespace seamhold;

TEST_CASE("units become SI by their definitions") {
    // Each is one product or quotient: exact, or off by half a unit in the last place, as the literal is.
    CHECK(millimetres(3) == 0.003);
    CHECK(micrometres(3) == 0.000003);
    CHECK(milliradians(25) == 0.025);
    CHECK(milliseconds(4) == 0.004);
    CHECK(microseconds(10) == 0.00001);
    CHECK(millimetres_per_second(200) == 0.2);
    CHECK(metres_per_minute(15) == 0.25);
    CHECK(degrees(180) == std::numbers::pi);
    CHECK(degrees(-90) == -std::numbers::pi / 2);
    CHECK(degrees_per_second(180) == std::numbers::pi);
    static_assert(metres_per_minute(60) == 1.0);
}

TEST_CASE("and back") {
    CHECK(in_millimetres(0.003) == 3.0);
    CHECK(in_micrometres(0.5) == 500000.0);
    CHECK(in_degrees(std::numbers::pi) == 180.0);
    CHECK(in_milliseconds(0.25) == 250.0);
    CHECK(in_metres_per_minute(0.25) == 15.0);
}

TEST_CASE("there and back changes two units in the last place at most") {
    // Two roundings each way.
    for (double const x : {1e-9, 0.1, 1.0 / 3, 20.0, 123456.789, -7e7}) {
        double const bound = 4 * 1.2e-16 * std::abs(x);
        CHECK(std::abs(in_millimetres(millimetres(x)) - x) <= bound);
        CHECK(std::abs(in_micrometres(micrometres(x)) - x) <= bound);
        CHECK(std::abs(in_degrees(degrees(x)) - x) <= bound);
        CHECK(std::abs(in_milliseconds(milliseconds(x)) - x) <= bound);
        CHECK(std::abs(in_metres_per_minute(metres_per_minute(x)) - x) <= bound);
    }
}
