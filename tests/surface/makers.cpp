#include "seamhold/surface.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/units.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <limits>
#include <string>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const epsilon = std::numeric_limits<double>::epsilon();
double const not_a_number = std::numeric_limits<double>::quiet_NaN();

struct Folded {
    template <class T> Point<Part, T> operator()(T const& x, T const& y) const {
        return {x + y, T((x + y) * 2.0), T(0.0)};
    }
};

} // namespace

TEST_CASE("a plane by three touched points, worked by hand") {
    // The shoulder's origin, a point 50 mm down its slope of 3 in 4, and one anywhere on the left of it.
    Point<Part> const origin{0.7, 0.1, 0.2}, down{0.74, 0.1, 0.17}, left{0.708, 0.4, 0.194};
    auto const plane = plane_through(origin, down, left);
    auto const p = plane.at(0.05, 0.02);
    CHECK(difference(p.position, Point<Part>{0.74, 0.12, 0.17}) <= 4 * epsilon);
    CHECK(difference(p.normal, Direction<Part>{0.6, 0, 0.8}) <= 4 * epsilon);
    CHECK(difference(plane_through(origin, down, left, {0.7, 0, 1}).at(0.05, 0.02).position, p.position) ==
          0);
    auto const same = plane_at(origin, {6, 0, 8}, {1, 0, 0}); // x as far as the plane lets it
    CHECK(difference(same.at(0.05, 0.02).position, p.position) <= 4 * epsilon);
}

TEST_CASE("touched points that make no plane are named") {
    Point<Part> const a{0.7, 0, 0}, b{0.8, 0, 0}, c{0.7, 0.1, 0};
    CHECK(has(refusal_of([&] { plane_through(a, {0.7, 0, 5e-7}, c); }), "same place: (700, 0, 0) mm"));
    CHECK(has(refusal_of([&] { plane_through(a, b, {1.5, 0, 0}); }), "on one line"));
    CHECK(has(refusal_of([&] { plane_through(a, b, {1.5, 0, 0}); }), "(1500, 0, 0) mm"));
    CHECK(has(refusal_of([&] { plane_through(a, b, {0.7, not_a_number, 0}); }), "not finite"));
    CHECK(refusal_of([&] { plane_through(a, b, c, {0, 0, 1}); }) == "");
    auto const away = refusal_of([&] { plane_through(a, c, b, {0, 0, 1}); });
    CHECK(has(away, "leans away from (0, 0, 1000) mm"));
    CHECK(has(away, "1000 mm behind"));
    CHECK(has(refusal_of([&] { plane_at(a, {0, 0, 0}, {1, 0, 0}); }), "normal (0, 0, 0)"));
    CHECK(has(refusal_of([&] { plane_at(a, {0, 0, 2}, {0, 0, -1}); }), "along its normal"));
    CHECK(has(refusal_of([&] { plane_at({not_a_number, 0, 0}, {0, 0, 2}, {1, 0, 0}); }), "not finite"));
}

TEST_CASE("round faces by their axis or centre and one touched point lie where they should") {
    Random random(4201);
    for (int run = 0; run < 20; ++run)
        for (Side const side : {Side::outside, Side::inside}) {
            double const sign = side == Side::outside ? 1 : -1;
            auto const pose = random_pose<Part, Cell>(random); // a frame whose z is the axis
            double const radius = random.uniform(0.01, 0.1), turn = random.uniform(-3, 3);
            Direction<Cell> const out{std::cos(turn), std::sin(turn), 0};
            auto const axis = pose * Direction<Cell>{0, 0, 1};
            double const x = random.uniform(-0.05, 0.05), y = random.uniform(-0.05, 0.05);

            auto const touched = pose * (Point<Cell>{0, 0, 0.1} + radius * out);
            auto const tube = cylinder_around(pose.origin, 3.0 * axis, touched, side);
            CHECK(std::abs(tube.radius - sign * radius) <= 16 * epsilon);
            CHECK(difference(tube.at(0.0, 0.0).position, touched) == 0);
            auto const on_tube = tube.at(x, y);
            auto const q = inverse_times(pose, on_tube.position);
            CHECK(std::abs(q.z - (0.1 + x)) <= 32 * epsilon);
            CHECK(std::abs(std::hypot(q.x, q.y) - radius) <= 32 * epsilon);
            auto const n = inverse_times(pose, on_tube.normal);
            CHECK(difference(n, sign / radius * Direction<Cell>{q.x, q.y, 0}) <= 64 * epsilon / radius);

            auto const cone = cone_around(pose.origin, axis, touched, side);
            CHECK(std::abs(cone.half_angle - sign * std::atan2(radius, 0.1)) <= 64 * epsilon);
            auto const on_cone = inverse_times(pose, cone.at(x, y).position);
            CHECK(std::abs(std::hypot(on_cone.x, on_cone.y) - on_cone.z * radius / 0.1) <= 64 * epsilon);
            CHECK(std::abs(norm(on_cone - Point<Cell>{0, 0, 0}) -
                           std::hypot(std::hypot(radius, 0.1) + x, y)) <= 64 * epsilon);
            auto const cone_normal = inverse_times(pose, cone.at(0.0, 0.0).normal);
            CHECK(sign * dot(cone_normal, out) > 0);

            auto const ball = sphere_around(pose.origin, touched, axis, side);
            double const large = std::hypot(radius, 0.1);
            CHECK(std::abs(norm(ball.at(x, y).position - pose.origin) - large) <= 32 * epsilon);
            CHECK(dot(ball.at(x, y).normal, ball.at(x, y).position - pose.origin) ==
                  doctest::Approx(sign * large).epsilon(1e-13));
        }
}

TEST_CASE("round faces that cannot be are named") {
    auto const pose = Pose<Part, Face>::identity();
    auto broken = pose;
    broken.rotation.m[1][2] = not_a_number;
    CHECK(has(refusal_of([&] { cylinder_at(pose, 0); }), "radius must be finite and not 0"));
    CHECK(has(refusal_of([&] { cylinder_at(pose, not_a_number); }), "radius"));
    CHECK(has(refusal_of([&] { cylinder_at(broken, 1); }), "rotation is not finite"));
    CHECK(has(refusal_of([&] { sphere_at(pose, 0); }), "sphere's radius"));
    CHECK(has(refusal_of([&] { cone_at(pose, 0, 1); }), "half angle"));
    CHECK(has(refusal_of([&] { cone_at(pose, degrees(90), 1); }), "given was 90°"));
    CHECK(has(refusal_of([&] { cone_at(pose, not_a_number, 1); }), "half angle"));
    CHECK(has(refusal_of([&] { cone_at(pose, 0.5, -0.02); }), "given was -20 mm"));
    CHECK(has(refusal_of([&] { torus_at(pose, 0.1, 0); }), "tube radius"));
    CHECK(has(refusal_of([&] { torus_at(pose, 0.1, -0.1); }), "together"));
    CHECK(has(refusal_of([&] { torus_at(pose, not_a_number, 0.1); }), "ring radius"));
    Point<Part> const o{0, 0, 0};
    Direction<Part> const up{0, 0, 1};
    CHECK(has(refusal_of([&] { cylinder_around(o, up, {0, 0, 0.5}); }), "(0, 0, 500) mm lies on"));
    CHECK(has(refusal_of([&] { cylinder_around(o, {0, 0, 0}, {1, 0, 0}); }), "axis (0, 0, 0)"));
    CHECK(has(refusal_of([&] { sphere_around(o, o, up); }), "centre"));
    CHECK(has(refusal_of([&] { sphere_around(o, {0, 0, 1}, up); }), "along its normal"));
    CHECK(has(refusal_of([&] { cone_around(o, up, {0.1, 0, -0.1}); }), "-100 mm from the apex"));
    CHECK(has(refusal_of([&] { cone_around(o, up, {0, 0, 0.1}); }), "off the axis"));
    CHECK(has(refusal_of([&] { parametric(Folded{}, 1, 2); }), "no normal at (1, 2)"));
}
