#include "seamhold/seam/pattern.hpp"

#include <doctest/doctest.h>

#include "seamhold/seam/stitches.hpp"
#include "support/numbers.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <numbers>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;

// A stitch that tells where it is, how it lies and which way it runs: from (x, y), 6 mm at an angle.
DrawnShape dash(double x, double y, double angle = 0) {
    return straight_between({x, y}, {x + 0.006 * std::cos(angle), y + 0.006 * std::sin(angle)});
}
void check_dash(DrawnShape const& shape, double x, double y, double angle) {
    auto const p = shape.at(0.0);
    CHECK(std::abs(p.x - x) <= 4 * epsilon * 0.1);
    CHECK(std::abs(p.y - y) <= 4 * epsilon * 0.1);
    CHECK(std::abs(p.tangent_x - std::cos(angle)) <= 8 * epsilon);
    CHECK(std::abs(p.tangent_y - std::sin(angle)) <= 8 * epsilon);
    CHECK(shape.length() == doctest::Approx(0.006).epsilon(8 * epsilon));
}

} // namespace

TEST_CASE("a row along a step") {
    auto const row = row_of(dash(0.01, 0.02, 0.5), 4, {0.01, -0.002});
    REQUIRE(row.size() == 4);
    for (std::size_t i = 0; i < 4; ++i)
        check_dash(row[i], 0.01 + 0.01 * static_cast<double>(i), 0.02 - 0.002 * static_cast<double>(i), 0.5);
    CHECK(row_of(dash(0, 0), 1, {0, 0}).size() == 1); // one needs no step
    CHECK(has(refusal_of([] { return row_of(dash(0, 0), 0, {0.01, 0}); }), "one stitch"));
    CHECK(has(refusal_of([] { return row_of(dash(0, 0), 2, {0, 0}); }), "step"));
    CHECK(has(refusal_of([] { return row_of(dash(0, 0), 2, {0, not_a_number}); }), "step"));
}

TEST_CASE("a grid, row after row, the same way or there and back") {
    FacePoint const column{0.01, 0.001}, up{-0.002, 0.02};
    auto const same = grid_of(dash(0.03, 0), 3, 2, column, up, GridOrder::same_way);
    REQUIRE(same.size() == 6);
    for (std::size_t row = 0; row < 2; ++row)
        for (std::size_t i = 0; i < 3; ++i) {
            auto const c = static_cast<double>(i), r = static_cast<double>(row);
            check_dash(same[3 * row + i], 0.03 + 0.01 * c - 0.002 * r, 0.001 * c + 0.02 * r, 0);
        }
    // There and back: the second row from its end, and each stitch from its end.
    auto const back = grid_of(dash(0.03, 0), 3, 2, column, up);
    check_dash(back[2], 0.05, 0.002, 0);
    check_dash(back[3], 0.03 + 0.02 - 0.002 + 0.006, 0.022, pi);
    check_dash(back[5], 0.028 + 0.006, 0.02, pi);
    CHECK(grid_of(dash(0, 0), 1, 3, {0, 0}, up).size() == 3);
    CHECK(has(refusal_of([&] { return grid_of(dash(0, 0), 0, 3, column, up); }), "one stitch"));
    CHECK(has(refusal_of([&] { return grid_of(dash(0, 0), 3, 0, column, up); }), "one stitch"));
    CHECK(has(refusal_of([&] { return grid_of(dash(0, 0), 3, 3, {0, 0}, up); }), "columns"));
    CHECK(has(refusal_of([&] { return grid_of(dash(0, 0), 3, 3, column, {infinity, 0}); }), "rows"));
}

TEST_CASE("a ring of stitches, turning or upright") {
    for (bool const turning : {true, false}) {
        auto const ring =
            ring_of(dash(0, 0), 5, {0.1, -0.05}, 0.04, 0.3, turning ? OnRing::turning : OnRing::upright);
        REQUIRE(ring.size() == 5);
        for (std::size_t i = 0; i < 5; ++i) {
            double const angle = 0.3 + 2 * pi * static_cast<double>(i) / 5;
            check_dash(ring[i], 0.1 + 0.02 * std::cos(angle), -0.05 + 0.02 * std::sin(angle),
                       turning ? angle : 0);
        }
    }
    CHECK(has(refusal_of([] { return ring_of(dash(0, 0), 0, {0, 0}, 0.04); }), "one stitch"));
    CHECK(has(refusal_of([] { return ring_of(dash(0, 0), 3, {0, 0}, 0); }), "diameter"));
    CHECK(has(refusal_of([] { return ring_of(dash(0, 0), 3, {0, infinity}, 0.1); }), "finite center"));
    CHECK(has(refusal_of([] { return ring_of(dash(0, 0), 3, {0, 0}, 0.1, not_a_number); }), "first angle"));
}

TEST_CASE("a pattern moved, mirrored and reversed as a whole") {
    auto const row = row_of(dash(0, 0), 3, {0.01, 0});
    auto const away = moved(row, 0.05, 0.01, pi / 2);
    check_dash(away[2], 0.05, 0.03, pi / 2);
    auto const mirror = mirrored(row, {0.02, 0}, pi / 2); // in the line x = 20 mm
    check_dash(mirror[0], 0.04, 0, pi);
    auto const back = reversed(row);
    check_dash(back[0], 0.026, 0, pi);
    check_dash(back[2], 0.006, 0, pi);
    // A pattern of patterns: rows on a ring.
    std::vector<DrawnShape> all;
    for (auto const& stitch : row)
        for (auto const& copy : ring_of(stitch, 4, {0, 0}, 0.1))
            all.push_back(copy);
    CHECK(all.size() == 12);
}
