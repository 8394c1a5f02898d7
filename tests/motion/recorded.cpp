#include "seamhold/motion/recorded.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/taylor.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/refusal.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::refusal_of;

// What a recording does as a motion is asked in pose_log.cpp and joint_log.cpp.

namespace {

std::string message_of(std::vector<double> times, std::vector<std::array<double, 2>> const& rows,
                       double max_gap = std::numeric_limits<double>::infinity()) {
    return refusal_of([&] { return Recorded<2>(std::move(times), rows, max_gap); });
}

} // namespace

TEST_CASE("a recorded cubic comes back whole, with its rates") {
    // Not-a-knot splines give back cubics: 1 + t − t² + t³/4 and −t³.
    auto const cubic = [](double t) { return std::array{1 + t - t * t + t * t * t / 4, -t * t * t}; };
    std::vector<double> times{0, 0.5, 0.7, 1.4, 1.5, 2};
    std::vector<std::array<double, 2>> rows;
    for (double const t : times)
        rows.push_back(cubic(t));
    Recorded<2> const recorded(times, rows);
    for (double const t : {0.0, 0.3, 0.7, 1.1, 2.0}) {
        auto const r = recorded.at(Taylor<double, 3>::variable(t));
        CHECK(std::abs(r[0].derivative(0) - cubic(t)[0]) <= 100 * epsilon);
        CHECK(std::abs(r[1].derivative(0) - cubic(t)[1]) <= 100 * epsilon);
        // Slopes, bends and their slopes are quotients by steps of 0.1.
        CHECK(std::abs(r[0].derivative(1) - (1 - 2 * t + 0.75 * t * t)) <= 100 * epsilon / 0.1);
        CHECK(std::abs(r[0].derivative(2) - (-2 + 1.5 * t)) <= 100 * epsilon / 0.01);
        CHECK(std::abs(r[1].derivative(3) + 6) <= 100 * epsilon / 0.001);
    }
    CHECK(recorded.times().size() == 6);
}

TEST_CASE("many rows after a hole of any length are found") {
    // One hole of 30 years between two recordings at 1 kHz: all rows of each side share a bucket of the
    // look-up table.
    std::vector<double> times;
    std::vector<std::array<double, 2>> rows;
    for (int side = 0; side < 2; ++side)
        for (int i = 0; i < 5000; ++i) {
            times.push_back(side * 1e9 + 0.001 * i);
            rows.push_back({0.001 * i, static_cast<double>(side)});
        }
    Recorded<2> const recorded(times, rows, 1.0);
    for (int side = 0; side < 2; ++side)
        for (int i = 0; i < 4999; ++i) {
            double const t = side * 1e9 + 0.001 * (i + 0.5);
            REQUIRE(recorded.covers(t));
            auto const r = recorded.at(t);
            // A second in 1e9 is known to 1.2e-7 s.
            REQUIRE(std::abs(r[0] - 0.001 * (i + 0.5)) <= (side == 0 ? 1e-14 : 3e-7));
            REQUIRE(std::abs(r[1] - side) <= 1e-14);
        }
    CHECK_FALSE(recorded.covers(5.0));
    CHECK_FALSE(recorded.covers(5e8));
}

TEST_CASE("a step as long as the longest gap is no hole") {
    std::vector<std::array<double, 2>> const rows(3);
    Recorded<2> const recorded({0, 0.5, 1.0}, rows, 0.5);
    CHECK(recorded.covers(0.25));
    CHECK(recorded.covers(0.75));
}

TEST_CASE("what cannot be a recording is refused, and the message says why") {
    double const bad = std::numeric_limits<double>::quiet_NaN();
    std::vector<std::array<double, 2>> rows(3);
    CHECK(message_of({0, 1, 2}, rows).empty());
    CHECK(message_of({0, 1}, rows).find("2 times has 3 rows") != std::string::npos);
    CHECK(message_of({0, 1, 1}, rows).find("2") != std::string::npos);
    CHECK_FALSE(message_of({0, bad, 2}, rows).empty());
    CHECK_FALSE(message_of({}, {}).empty());
    CHECK(message_of({0, 1, 2}, rows, 1e-9).find("1e-09") != std::string::npos);
    CHECK(message_of({0, 1, 2}, rows, -1).find("-1") != std::string::npos);
    rows[2][1] = bad;
    CHECK(message_of({0, 1, 2}, rows).find("row 2") != std::string::npos);
}

TEST_CASE("copies share the rows, and asking does not touch the heap") {
    std::vector<std::array<double, 2>> const rows(3);
    Recorded<2> const recorded({0, 1, 2}, rows);
    AllocationGuard guard;
    auto const copy = recorded;
    auto const r = copy.at(Taylor<double, 2>::variable(0.5));
    CHECK(guard.count() == 0);
    CHECK(r[0].value() == 0);
}
