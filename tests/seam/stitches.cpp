#include "seamhold/seam/stitches.hpp"

#include <doctest/doctest.h>

#include "seamhold/seam/extent.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"
#include "support/shape_laws.hpp"

#include <cmath>
#include <numbers>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;

// Coordinates of a few centimetres and a dozen operations: bits of 0.1 m.
void check_place(ShapePoint<double> const& p, double x, double y, double size = 0.1) {
    CHECK(std::abs(p.x - x) <= 8 * epsilon * size);
    CHECK(std::abs(p.y - y) <= 8 * epsilon * size);
}
void check_box(DrawnShape const& shape, double low_x, double low_y, double high_x, double high_y) {
    auto const box = extent_of(shape);
    CHECK(std::abs(box.low_x - low_x) <= 1e-15);
    CHECK(std::abs(box.low_y - low_y) <= 1e-15);
    CHECK(std::abs(box.high_x - high_x) <= 1e-15);
    CHECK(std::abs(box.high_y - high_y) <= 1e-15);
}

} // namespace

TEST_CASE("a ring goes around and over its own start") {
    auto const once = ring(0.02);
    CHECK(once.length() == doctest::Approx(0.02 * pi).epsilon(2 * epsilon));
    auto const shape = ring(0.02, 0.006, 0.5);
    check_shape_laws(shape);
    CHECK(shape.length() == doctest::Approx(0.02 * pi + 0.006).epsilon(4 * epsilon));
    check_place(shape.at(0.0), 0.01 * std::cos(0.5), 0.01 * std::sin(0.5));
    auto const end = shape.at(shape.length()), same = shape.at(0.006);
    check_place(end, same.x, same.y);
    CHECK(shape.curvature(0.01) == doctest::Approx(100).epsilon(4 * epsilon)); // counter-clockwise
    check_box(shape, -0.01, -0.01, 0.01, 0.01);
    CHECK(has(refusal_of([] { return ring(0); }), "diameter"));
    CHECK(has(refusal_of([] { return ring(-0.02); }), "-20 mm"));
    CHECK(has(refusal_of([] { return ring(0.01, -0.001); }), "overlap"));
    CHECK(has(refusal_of([] { return ring(0.01, 0.04); }), "31.41")); // one turn is allowed
    CHECK(has(refusal_of([] { return ring(not_a_number); }), "diameter"));
    CHECK(has(refusal_of([] { return ring(0.01, 0, infinity); }), "start angle"));
}

TEST_CASE("a C is open towards x by the width asked for") {
    auto const shape = c_stitch(0.02, 0.012); // 6, 8, 10
    check_shape_laws(shape);
    auto const start = shape.at(0.0), end = shape.at(shape.length());
    check_place(start, 0.008, 0.006);
    check_place(end, 0.008, -0.006);
    CHECK(start.tangent_x < 0); // from its upper end to the left
    CHECK(shape.length() == doctest::Approx(0.01 * (2 * pi - 2 * std::asin(0.6))).epsilon(4 * epsilon));
    check_box(shape, -0.01, -0.01, 0.008, 0.01);
    CHECK(c_stitch(0.02, 0.02).length() == doctest::Approx(0.01 * pi).epsilon(4 * epsilon));
    CHECK(has(refusal_of([] { return c_stitch(0.02, 0.021); }), "opening"));
    CHECK(has(refusal_of([] { return c_stitch(0.02, 0); }), "opening"));
    CHECK(has(refusal_of([] { return c_stitch(0, 0.01); }), "diameter"));
}

TEST_CASE("a staple: two legs, a back and rounded corners") {
    auto const shape = staple(0.024, 0.012, 0.003);
    check_shape_laws(shape);
    CHECK(shape.pieces().size() == 5);
    CHECK(shape.continuity() == 1);
    check_place(shape.at(0.0), -0.012, 0.012);
    CHECK(shape.at(0.0).tangent_y == -1);
    check_place(shape.at(shape.length()), 0.012, 0.012);
    check_place(shape.at(shape.length() / 2), 0, 0); // the middle of its back
    // Sharp: 48. Each corner of a radius r saves 2r and adds πr/2.
    CHECK(shape.length() == doctest::Approx(0.048 - 0.012 + 0.003 * pi).epsilon(4 * epsilon));
    check_box(shape, -0.012, 0, 0.012, 0.012);
    auto const corner = shape.at(0.009 + 0.003 * pi / 4); // half way through the first corner
    check_place(corner, -0.009 - 0.003 * std::sqrt(0.5), 0.003 - 0.003 * std::sqrt(0.5));

    auto const sharp = staple(0.024, 0.012, 0);
    check_shape_laws(sharp);
    REQUIRE(sharp.corners().size() == 2);
    CHECK(sharp.corners()[0].angle == doctest::Approx(pi / 2).epsilon(2 * epsilon));
    CHECK(sharp.corners()[1].arc_length == doctest::Approx(0.036).epsilon(2 * epsilon));
    // Corners as large as the leg, and as large as half the back, leave nothing straight there.
    CHECK(staple(0.024, 0.006, 0.006).pieces().size() == 3);
    CHECK(staple(0.012, 0.02, 0.006).pieces().size() == 4);
    CHECK(staple(0.012, 0.006, 0.006).length() == doctest::Approx(0.006 * pi).epsilon(8 * epsilon));
    auto const large = refusal_of([] { return staple(0.024, 0.012, 0.0121); });
    CHECK(has(large, "corner radius"));
    CHECK(has(large, "0 to 12 mm"));
    CHECK(has(large, "12.1 mm"));
    CHECK(has(refusal_of([] { return staple(0.01, 0.02, 0.006); }), "0 to 5 mm")); // half the back
    CHECK(has(refusal_of([] { return staple(0, 0.02, 0.006); }), "back"));
    CHECK(has(refusal_of([] { return staple(0.01, -1, 0.006); }), "leg"));
    CHECK(has(refusal_of([] { return staple(0.01, 0.01, -0.001); }), "corner radius"));
    CHECK(has(refusal_of([] { return staple(0.01, 0.01, not_a_number); }), "corner radius"));
}

TEST_CASE("an S: two bows that meet at the origin") {
    for (double const turn : {0.4, pi / 2, pi, 4.5}) {
        auto const shape = s_stitch(0.012, turn);
        check_shape_laws(shape);
        CHECK(shape.length() == doctest::Approx(0.012 * turn).epsilon(4 * epsilon));
        CHECK(shape.continuity() == 1);
        auto const middle = shape.at(shape.length() / 2);
        check_place(middle, 0, 0);
        CHECK(middle.tangent_y == doctest::Approx(-1).epsilon(2 * epsilon));
        // Turned by half a turn it is itself.
        for (double const s : {0.0, 0.1, 0.4}) {
            auto const p = shape.at(s * shape.length()), q = shape.at((1 - s) * shape.length());
            check_place(p, -q.x, -q.y);
        }
    }
    check_place(s_stitch(0.012).at(0.0), -0.012, 0);
    check_box(s_stitch(0.012), -0.012, -0.006, 0.012, 0.006);
    CHECK(has(refusal_of([] { return s_stitch(0); }), "diameter"));
    CHECK(has(refusal_of([] { return s_stitch(0.01, 0); }), "360 degrees"));
    CHECK(has(refusal_of([] { return s_stitch(0.01, 2 * pi); }), "360 degrees"));
    CHECK(has(refusal_of([] { return s_stitch(0.01, not_a_number); }), "360 degrees"));
}

TEST_CASE("a slot, and its overlap") {
    auto const shape = slot(0.026, 0.01, 0.004);
    check_shape_laws(shape);
    CHECK(slot(0.026, 0.01).length() == doctest::Approx(0.032 + 0.01 * pi).epsilon(4 * epsilon));
    CHECK(shape.length() == doctest::Approx(0.036 + 0.01 * pi).epsilon(4 * epsilon));
    check_place(shape.at(0.0), 0, -0.005);
    check_place(shape.at(shape.length()), 0.004, -0.005);
    check_box(shape, -0.013, -0.005, 0.013, 0.005);
    // An overlap around the first end and more.
    auto const far = slot(0.026, 0.01, 0.02);
    auto const end = far.at(far.length()), same = far.at(0.02);
    check_place(end, same.x, same.y);
    CHECK(has(refusal_of([] { return slot(0.01, 0.01); }), "longer than wide"));
    CHECK(has(refusal_of([] { return slot(0.01, 0.02); }), "20 mm"));
    CHECK(has(refusal_of([] { return slot(0, 0.02); }), "length"));
    CHECK(has(refusal_of([] { return slot(0.02, 0); }), "width"));
    CHECK(has(refusal_of([] { return slot(0.02, 0.01, 1); }), "overlap"));
}

TEST_CASE("a polyline keeps its corners or rounds them") {
    // A right angle with legs of 30 and 40 mm.
    auto const sharp = polyline({{0, 0}, {0.03, 0}, {0.03, 0.04}});
    check_shape_laws(sharp);
    REQUIRE(sharp.corners().size() == 1);
    CHECK(sharp.corners()[0].arc_length == 0.03);
    auto const rounded = polyline({{0, 0}, {0.03, 0}, {0.03, 0.04}}, 0.01);
    check_shape_laws(rounded);
    CHECK(rounded.corners().empty());
    CHECK(rounded.length() == doctest::Approx(0.05 + 0.005 * pi).epsilon(4 * epsilon));
    check_place(rounded.at(0.02), 0.02, 0);
    check_place(rounded.at(0.02 + 0.005 * pi), 0.03, 0.01);
    // Random ones: corners where the points are; rounded ones keep the radius and touch both legs.
    Random random(9501);
    for (int i = 0; i < 40; ++i) {
        std::vector<FacePoint> points;
        std::size_t const n = 2 + random.index(8);
        for (std::size_t k = 0; k < n; ++k) // one after another in x, so that legs are 10 mm and more
            points.push_back({0.01 * static_cast<double>(k), random.uniform(-0.01, 0.01)});
        double legs = 0;
        auto const line = polyline(points);
        REQUIRE(line.corners().size() == n - 2);
        for (std::size_t k = 1; k + 1 < n; ++k) {
            legs += std::hypot(points[k].x - points[k - 1].x, points[k].y - points[k - 1].y);
            CHECK(line.corners()[k - 1].arc_length == doctest::Approx(legs).epsilon(8 * epsilon));
            check_place(line.at(line.corners()[k - 1].arc_length), points[k].x, points[k].y);
        }
        // Corners turn by 127° at most, which takes twice the radius from each leg.
        auto const smooth = polyline(points, 0.002);
        check_shape_laws(smooth);
        CHECK(smooth.corners().empty());
        CHECK(smooth.pieces().size() == 2 * n - 3);
        for (auto const& piece : smooth.pieces())
            if (auto const* arc = std::get_if<Arc<>>(&piece))
                CHECK(arc->radius == 0.002);
        check_place(smooth.at(smooth.length()), points.back().x, points.back().y);
    }
    // Points in one line make no corner; the radius does not matter there.
    auto const flat = polyline({{0, 0}, {0.01, 0}, {0.02, 0}, {0.02, 0.02}}, 0.005);
    CHECK(flat.pieces().size() == 4);
    check_shape_laws(flat);
    check_shape_laws(polyline({{0, 0}, {0.01, 0.01}}, 5)); // no corner at all
}

TEST_CASE("a radius that the legs do not allow is refused, naming the corner and what they do") {
    // The leg of 10 mm lies between two right angles: 5 mm each.
    std::vector<FacePoint> const step{{0, 0}, {0.03, 0}, {0.03, 0.01}, {0.06, 0.01}};
    check_shape_laws(polyline(step, 0.005));
    CHECK(polyline(step, 0.005).pieces().size() == 4);
    auto const message = refusal_of([&] { return polyline(step, 0.0051); });
    CHECK(has(message, "corner 1 at (30, 0) mm"));
    CHECK(has(message, "5.1 mm"));
    CHECK(has(message, "allow 5 mm"));
    // An end's leg is wholly its corner's: 60° turned takes tan 30° of the radius.
    auto const end = refusal_of([] {
        return polyline({{0, 0}, {0.01, 0}, {0.06, 0.05 * std::sqrt(3.0)}}, 0.02);
    });
    CHECK(has(end, "corner 1"));
    CHECK(has(end, "17.3205")); // 10 mm / tan 30°
    // A line that turns back on itself has no rounding; kept, it is a corner.
    CHECK(has(refusal_of([] { return polyline({{0, 0}, {0.01, 0}, {0.002, 0}}, 1e-6); }), "corner 1"));
    CHECK(polyline({{0, 0}, {0.01, 0}, {0.002, 0}}).corners().size() == 1);
    CHECK(has(refusal_of([] { return polyline({{0, 0}}); }), "2 points"));
    CHECK(has(refusal_of([] {
                  return polyline({{0, 0}, {0.01, 0}, {0.01, 0}, {0.02, 0}});
              }),
              "points 1 and 2 at (10, 0) mm are one place"));
    CHECK(has(refusal_of([] { return polyline({{0, 0}, {0.01, not_a_number}}); }), "not finite"));
    CHECK(has(refusal_of([] { return polyline({{0, 0}, {0.01, 0}}, -0.001); }), "corner radius"));
    CHECK(has(refusal_of([] { return polyline({{0, 0}, {0.01, 0}}, infinity); }), "corner radius"));
}

TEST_CASE("a closed polyline") {
    auto const frame = closed_polyline({{0, 0}, {0.03, 0}, {0.03, 0.02}, {0, 0.02}}, 0.004, 0.005);
    check_shape_laws(frame);
    CHECK(frame.corners().empty());
    CHECK(frame.length() == doctest::Approx(0.1 - 0.032 + 0.008 * pi + 0.005).epsilon(8 * epsilon));
    check_place(frame.at(0.0), 0.015, 0);
    check_place(frame.at(frame.length()), 0.02, 0);
    check_box(frame, 0, 0, 0.03, 0.02);
    auto const sharp = closed_polyline({{0, 0}, {0.03, 0}, {0.03, 0.02}, {0, 0.02}});
    CHECK(sharp.corners().size() == 4);
    CHECK(sharp.length() == doctest::Approx(0.1).epsilon(4 * epsilon));
    // Rounded as far as the legs allow, a square is a circle.
    auto const round = closed_polyline({{-0.01, -0.01}, {0.01, -0.01}, {0.01, 0.01}, {-0.01, 0.01}}, 0.01);
    check_shape_laws(round);
    CHECK(round.length() == doctest::Approx(0.02 * pi).epsilon(8 * epsilon));
    // The first leg's rounding may be uneven: the start is in the middle of what is straight.
    auto const wedge = closed_polyline({{0, 0}, {0.02, 0}, {0, 0.003}}, 0.0012);
    check_shape_laws(wedge);
    CHECK(has(refusal_of([] { return closed_polyline({{0, 0}, {0.02, 0}, {0, 0.003}}, 0.002); }), "corner"));
    CHECK(has(refusal_of([] { return closed_polyline({{0, 0}, {0.02, 0}}); }), "3 points"));
    CHECK(has(refusal_of([] {
                  return closed_polyline({{0, 0}, {0.02, 0}, {0, 0.01}, {0, 0}});
              }),
              "points 3 and 0"));
}

TEST_CASE("a part of a shape, and the overlap of any closed one") {
    auto const shape = staple(0.024, 0.012, 0.003);
    Random random(9502);
    for (int i = 0; i < 30; ++i) {
        double const from = random.unit() * 0.9 * shape.length();
        double const to = from + (0.01 + 0.99 * random.unit()) * (shape.length() - from);
        auto const part = part_of(shape, from, to);
        CHECK(part.length() == doctest::Approx(to - from).epsilon(1e-13)); // bits of the whole
        for (double const share : {0.0, 0.3, 0.99}) {
            auto const p = part.at(share * part.length()), q = shape.at(from + share * part.length());
            CHECK(std::hypot(p.x - q.x, p.y - q.y) <= 32 * epsilon * 0.1);
            CHECK(std::abs(p.tangent_x - q.tangent_x) <= 1e-11); // a bit of s in an arc of 3 mm
        }
    }
    CHECK(part_of(shape, 0, shape.length()).pieces().size() == 5);
    CHECK(has(refusal_of([&] { return part_of(shape, 0.01, 0.01); }), "part"));
    CHECK(has(refusal_of([&] { return part_of(shape, -0.01, 0.01); }), "from -10 to 10 mm"));
    CHECK(has(refusal_of([&] { return part_of(shape, 0, 1); }), "1000 mm"));
    CHECK(has(refusal_of([&] { return part_of(shape, not_a_number, 0.01); }), "part"));
    CHECK(has(refusal_of([&] { return with_overlap(shape, 0.001); }), "24 mm"));
    auto const triangle = closed_polyline({{0, 0}, {0.02, 0}, {0, 0.02}});
    CHECK(with_overlap(triangle, 0.015).corners().size() == 4);
    check_shape_laws(with_overlap(triangle, 0.015));
}
