#include "seamhold/seam/drawn_shape.hpp"

#include <doctest/doctest.h>

#include "seamhold/seam/curves.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"
#include "support/shape_laws.hpp"

#include <cmath>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;

// Straight pieces and arcs, one after the other; each turns away from the one before by `corner` at most.
DrawnShape random_chain(Random& random, std::size_t count, double scale, double corner) {
    std::vector<DrawnShape::Piece> pieces;
    double x = random.uniform(-1, 1) * scale, y = random.uniform(-1, 1) * scale;
    double heading = random.uniform(-pi, pi);
    for (std::size_t i = 0; i < count; ++i) {
        heading += random.uniform(-corner, corner);
        double const length = random.uniform(0.1, 1) * scale;
        double const c = std::cos(heading), s = std::sin(heading);
        if (random.unit() < 0.4) {
            pieces.emplace_back(Straight<>{x, y, c, s, length});
            x += length * c;
            y += length * s;
        } else {
            double const radius = random.uniform(0.2, 2) * scale;
            double const side = random.unit() < 0.5 ? -1 : 1;
            double const turn = side * length / radius;
            double const center_x = x - side * radius * s, center_y = y + side * radius * c;
            pieces.emplace_back(Arc<>{center_x, center_y, radius, heading - side * pi / 2, turn});
            heading += turn;
            x = center_x + radius * std::cos(heading - side * pi / 2);
            y = center_y + radius * std::sin(heading - side * pi / 2);
        }
    }
    return DrawnShape(std::move(pieces));
}

} // namespace

TEST_CASE("laws of drawn shapes: one piece, many, with corners and without, small and large") {
    Random random(9301);
    for (double const scale : {1e-4, 0.05, 100.0})
        for (int i = 0; i < 6; ++i) {
            CAPTURE(scale);
            CAPTURE(i);
            check_shape_laws(straight_between({random.uniform(-1, 1) * scale, random.unit() * scale},
                                              {2 * scale, random.unit() * scale}));
            check_shape_laws(arc_around({random.uniform(-1, 1) * scale, random.unit() * scale},
                                        random.uniform(0.1, 1) * scale, random.uniform(-4, 4),
                                        random.uniform(0.1, 9)));
            check_shape_laws(random_chain(random, 2 + random.index(12), scale, 0));
            check_shape_laws(random_chain(random, 2 + random.index(12), scale, 1.2));
        }
    check_shape_laws(ellipse(0.03, 0.01));
    check_shape_laws(ellipse(0.03, 0.01).joined(straight_between({0.015, 0}, {0.015, 0.02})));
}

TEST_CASE("corners are found with their place and their angle, left of travel positive") {
    DrawnShape const square({Straight<>{0, 0, 1, 0, 0.03}, Straight<>{0.03, 0, 0, 1, 0.02},
                             Straight<>{0.03, 0.02, 1, 0, 0.01}, Straight<>{0.04, 0.02, 1, 0, 0.01},
                             Straight<>{0.05, 0.02, -1, 0, 0.01}});
    auto const corners = square.corners();
    REQUIRE(corners.size() == 3); // where the third goes straight on there is none
    CHECK(corners[0].arc_length == 0.03);
    CHECK(corners[0].angle == doctest::Approx(pi / 2).epsilon(2 * epsilon));
    CHECK(corners[1].arc_length == doctest::Approx(0.05).epsilon(2 * epsilon));
    CHECK(corners[1].angle == doctest::Approx(-pi / 2).epsilon(2 * epsilon));
    CHECK(std::abs(corners[2].angle) == doctest::Approx(pi).epsilon(2 * epsilon)); // back on itself
    CHECK(square.breaks().size() == 4);
    CHECK(square.continuity() == 0);
    // A mirror turns left to right; travel the other way does too, and goes through them in turn.
    CHECK(square.mirrored({0, 0}, 0.3).corners()[0].angle == doctest::Approx(-pi / 2).epsilon(4 * epsilon));
    auto const back = square.reversed().corners();
    CHECK(back[2].arc_length == doctest::Approx(square.length() - 0.03).epsilon(4 * epsilon));
    CHECK(back[2].angle == doctest::Approx(-pi / 2).epsilon(2 * epsilon));
    // The least angle is the caller's.
    double const slight = 1e-4;
    DrawnShape const nearly(
        {Straight<>{0, 0, 1, 0, 0.01}, Straight<>{0.01, 0, std::cos(slight), std::sin(slight), 0.01}});
    CHECK(nearly.corners().size() == 1);
    CHECK(nearly.corners()[0].angle == doctest::Approx(slight).epsilon(1e-11));
    CHECK(nearly.corners(1e-3).empty());
}

TEST_CASE("continuity: how many derivatives have no jump") {
    Straight<> const straight{0, 0, 1, 0, 0.02};
    Arc<> const arc{0.02, 0.01, 0.01, -pi / 2, 1};
    CHECK(DrawnShape(straight).continuity() == 3);
    CHECK(DrawnShape(arc).continuity() == 3);
    CHECK(DrawnShape({straight, arc}).continuity() == 1); // the curvature jumps from 0 to 100 / m
    CHECK(DrawnShape({straight, Straight<>{0.02, 0, 1, 0, 0.01}}).continuity() == 2);
    CHECK(DrawnShape({straight, Straight<>{0.02, 0, 0.6, 0.8, 0.01}}).continuity() == 0);
    // A bend of 100 m is a jump, and so is a change of the radius by a thousandth.
    CHECK(DrawnShape({straight, Arc<>{0.02, 100, 100, -pi / 2, 0.001}}).continuity() == 1);
    CHECK(DrawnShape({Arc<>{0, 0, 0.01, -1, 1}, Arc<>{-0.00001, 0, 0.01001, 0, 1}}).continuity() == 1);
    // 2026-11-25: rounding where a wave crosses its axis without curvature was taken for a jump.
    CHECK(wave(0.003, 0.001, 0.3).continuity() == 2);
}

TEST_CASE("curvature is that of the piece, left of travel positive") {
    DrawnShape const shape({Straight<>{0, 0, 1, 0, 0.02}, Arc<>{0.02, 0.01, 0.01, -pi / 2, 1}});
    CHECK(shape.curvature(0.01) == 0);
    CHECK(shape.curvature(0.025) == doctest::Approx(100).epsilon(8 * epsilon));
    CHECK(shape.reversed().curvature(0.005) == doctest::Approx(-100).epsilon(8 * epsilon));
    CHECK(shape.mirrored({0, 0}, 0).curvature(0.025) == doctest::Approx(-100).epsilon(8 * epsilon));
    CHECK(shape.moved(1, 2, 3).curvature(0.025) == doctest::Approx(100).epsilon(1e-13)); // bits of 2 m
}

TEST_CASE("a shape runs on: a straight piece and an arc as they are, a curve straight") {
    DrawnShape const bend({Arc<>{0, 0, 0.01, 0, 1}, Straight<>{0.01 * std::cos(1.0), 0.01 * std::sin(1.0),
                                                               -std::sin(1.0), std::cos(1.0), 0.02}});
    auto const before = bend.at(-0.005);
    CHECK(before.x == doctest::Approx(0.01 * std::cos(-0.5)).epsilon(4 * epsilon));
    CHECK(before.y == doctest::Approx(0.01 * std::sin(-0.5)).epsilon(4 * epsilon));
    auto const beyond = bend.at(bend.length() + 0.03), end = bend.at(bend.length());
    CHECK(beyond.x == doctest::Approx(end.x - 0.03 * std::sin(1.0)).epsilon(8 * epsilon));
    CHECK(beyond.tangent_y == end.tangent_y);
    DrawnShape const curve = wave(0.01, 0.002, 0.025);
    auto const first = curve.at(0.0), last = curve.at(curve.length());
    auto const ahead = curve.at(-0.004), after = curve.at(curve.length() + 0.004);
    CHECK(ahead.x == doctest::Approx(first.x - 0.004 * first.tangent_x).epsilon(1e-13));
    CHECK(ahead.y == doctest::Approx(first.y - 0.004 * first.tangent_y).epsilon(1e-13));
    CHECK(after.x == doctest::Approx(last.x + 0.004 * last.tangent_x).epsilon(1e-13));
    CHECK(after.y == doctest::Approx(last.y + 0.004 * last.tangent_y).epsilon(1e-13));
    // The pieces that say so are the same line.
    for (DrawnShape const* shape : {&bend, &curve}) {
        auto const from = std::visit([](auto const& p) { return p.at(-0.004); }, shape->before());
        auto const to = std::visit([](auto const& p) { return p.at(0.004); }, shape->after());
        CHECK(from.x == doctest::Approx(shape->at(-0.004).x).epsilon(1e-14));
        CHECK(to.y == doctest::Approx(shape->at(shape->length() + 0.004).y).epsilon(1e-13));
    }
}

TEST_CASE("shapes join where they meet, and are refused where they do not") {
    DrawnShape const a = straight_between({0, 0}, {0.02, 0});
    DrawnShape const b = arc_around({0.02, 0.01}, 0.01, -pi / 2, 1);
    DrawnShape const both = a.joined(b);
    CHECK(both.pieces().size() == 2);
    CHECK(both.length() == doctest::Approx(0.03).epsilon(2 * epsilon));
    CHECK(a.pieces().size() == 1); // as it was
    check_shape_laws(both);
    // A gap of 0.1 mm, by its number and place.
    auto const gap = refusal_of([&] { return a.joined(straight_between({0.0201, 0}, {0.03, 0})); });
    CHECK(has(gap, "piece 1"));
    CHECK(has(gap, "(20.1, 0) mm"));
    CHECK(has(gap, "0.1 mm"));
    CHECK(has(refusal_of([] { return DrawnShape(std::vector<DrawnShape::Piece>{}); }), "one piece"));
    CHECK(has(refusal_of([] { return DrawnShape({Straight<>{0, 0, 1, 0, 0}}); }), "piece 0"));
    CHECK(has(refusal_of([] {
                  return DrawnShape({Straight<>{0, 0, 1, 0, 1}, Arc<>{1, 1, 1, -pi / 2, 0}});
              }),
              "piece 1"));
    CHECK(has(refusal_of([] { return DrawnShape({Straight<>{0, 0, 1, 0, not_a_number}}); }), "no length"));
    CHECK(has(refusal_of([] {
                  return DrawnShape({Straight<>{0, 0, 1, 0, 1}, Straight<>{not_a_number, 0, 1, 0, 1}});
              }),
              "piece 1"));
}
