#include "seamhold/seam/extent.hpp"

#include <doctest/doctest.h>

#include "seamhold/seam/curves.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;

// The box around many points of a shape: within the true one, and short of it by half a step squared times
// the curvature.
FaceExtent sampled(DrawnShape const& shape) {
    FaceExtent box;
    for (int i = 0; i <= 20000; ++i) {
        auto const p = shape.at(shape.length() * i / 20000);
        box.take(p.x, p.y);
    }
    return box;
}

void check_box(DrawnShape const& shape) {
    auto const box = extent_of(shape), points = sampled(shape);
    double const bits = 1e-14 * (std::abs(box.low_x) + std::abs(box.high_y) + shape.length());
    double const short_of = 1e-7 * shape.length() + bits;
    for (auto const& [outer, inner] :
         {std::array{-box.low_x, -points.low_x}, std::array{-box.low_y, -points.low_y},
          std::array{box.high_x, points.high_x}, std::array{box.high_y, points.high_y}}) {
        CHECK(outer >= inner - bits);
        CHECK(outer <= inner + short_of);
    }
}

} // namespace

TEST_CASE("the box around arcs of any start and turn, straight pieces and curves") {
    Random random(9701);
    for (int i = 0; i < 200; ++i) {
        double const start = random.uniform(-15, 15), turn = random.uniform(-8, 8);
        CAPTURE(start);
        CAPTURE(turn);
        check_box(arc_around({random.uniform(-0.1, 0.1), 0.02}, 0.03, start, turn));
    }
    for (int i = 0; i < 20; ++i) {
        check_box(straight_between({random.unit(), random.unit()}, {random.unit(), random.unit()}));
        check_box(ellipse(0.03, 0.01).moved(0.1, 0.2, random.uniform(-4, 4)));
        check_box(wave(0.01, 0.003, 0.04).moved(-0.1, 0.2, random.uniform(-4, 4)));
    }
}

TEST_CASE("exact where arcs are widest") {
    auto const quarter = extent_of(DrawnShape(arc_around({0.01, 0.02}, 0.03, 0, pi / 2)));
    CHECK(quarter.low_x == doctest::Approx(0.01).epsilon(4 * epsilon));
    CHECK(quarter.high_x == doctest::Approx(0.04).epsilon(2 * epsilon));
    CHECK(quarter.low_y == doctest::Approx(0.02).epsilon(2 * epsilon));
    CHECK(quarter.high_y == doctest::Approx(0.05).epsilon(2 * epsilon));
    // An ellipse turned by φ is as wide as √(a² cos² φ + b² sin² φ) to each side.
    double const phi = 0.6;
    auto const turned = extent_of(ellipse(0.04, 0.02).moved(0, 0, phi));
    CHECK(turned.width() ==
          doctest::Approx(std::hypot(0.04 * std::cos(phi), 0.02 * std::sin(phi))).epsilon(1e-12));
    CHECK(turned.height() ==
          doctest::Approx(std::hypot(0.04 * std::sin(phi), 0.02 * std::cos(phi))).epsilon(1e-12));
}

TEST_CASE("many shapes: the box around all of them, and their length") {
    std::vector<DrawnShape> const two{straight_between({0, 0}, {0.01, 0}),
                                      straight_between({0.02, -0.01}, {0.02, 0.03})};
    auto const box = extent_of(two);
    CHECK(box.low_x == 0);
    CHECK(box.high_x == 0.02);
    CHECK(box.low_y == -0.01);
    CHECK(box.high_y == doctest::Approx(0.03).epsilon(4 * epsilon));
    CHECK(length_of(two) == doctest::Approx(0.05).epsilon(4 * epsilon));
    CHECK(length_of({}) == 0);
    CHECK(extent_of(std::vector<DrawnShape>{}).width() == -infinity);
}
