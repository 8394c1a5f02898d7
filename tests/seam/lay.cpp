#include "seamhold/seam/lay.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/units.hpp"
#include "seamhold/seam/seam.hpp"
#include "seamhold/surface/cone.hpp"
#include "seamhold/surface/cylinder.hpp"
#include "seamhold/surface/parametric.hpp"
#include "seamhold/surface/sphere.hpp"
#include "seamhold/surface/torus.hpp"
#include "support/allocation_guard.hpp"
#include "support/frames.hpp"
#include "support/poses.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;
double const epsilon = std::numeric_limits<double>::epsilon();

Pose<Part, Face> somewhere() {
    return {about_axis<Part, Face>({2.0 / 3, -1.0 / 3, 2.0 / 3}, degrees(35)), {0.1, -0.2, 0.3}};
}

/// 12 mm, a quarter turn of 3 mm radius, 9 mm.
DrawnShape bent() {
    return DrawnShape({straight_between({-0.004, 0.001}, {0.008, 0.001}),
                       arc_around({0.008, 0.004}, 0.003, -pi / 2, pi / 2),
                       straight_between({0.011, 0.004}, {0.011, 0.013})});
}

/// What every laid path must hold, and that it runs on beyond both ends.
void check_laid(LaidPath const& path, std::string const& name) {
    CAPTURE(name);
    check_frames(path);
    for (double const s : {-1e-3, path.length() + 1e-3})
        CHECK(std::abs(norm(frame_at(path, s).tangent) - 1) <= 1e-9);
}

} // namespace

TEST_CASE("law: |dp/ds| = 1 and an orthonormal frame on every face") {
    auto const pose = somewhere();
    auto const check = [](auto const& face, std::string const& name) {
        auto const laid = lay(bent(), face);
        check_laid(laid.path, name);
        CHECK(laid.path.corners().empty());
        // The start is where the face has it, whatever was done with arc lengths.
        auto const start = bent().at(0.0);
        CHECK(difference(laid.path.at(0.0).position, face.at(start.x, start.y).position) <= 4 * epsilon);
        auto const end = bent().at(bent().length());
        CHECK(difference(laid.path.at(laid.path.length()).position, face.at(end.x, end.y).position) <= 1e-14);
        CHECK(difference(laid.path.at(laid.path.length()).normal, face.at(end.x, end.y).normal) <= 1e-12);
    };
    for (double const side : {1.0, -1.0}) {
        check(Plane<>{pose}, "plane");
        check(cylinder_at(pose, side * 0.02), "cylinder");
        check(cone_at(pose, side * degrees(25), 0.05), "cone");
        check(sphere_at(pose, side * 0.03), "sphere");
    }
    check(torus_at(pose, 0.05, 0.02), "torus");
}

TEST_CASE("on faces that unroll, the stored path is the closed form, and nothing stretches") {
    auto const pose = somewhere();
    auto const shape = bent();
    auto const check = [&](auto const& face) {
        auto const laid = lay(shape, face);
        CHECK(laid.path.length() == doctest::Approx(shape.length()).epsilon(1e-13));
        CHECK(std::abs(laid.stretch.least - 1) <= 1e-13);
        CHECK(std::abs(laid.stretch.most - 1) <= 1e-13);
        OnFace<DrawnShape, std::decay_t<decltype(face)>> const closed{shape, face};
        using T = Taylor<double, 2>;
        for (int i = 0; i <= 200; ++i) {
            double const s = shape.length() * (i + 0.5) / 201;
            auto const a = closed.at(T::variable(s));
            auto const b = laid.path.at(T::variable(s));
            CHECK(difference(value_of(a.position), value_of(b.position)) <= 1e-14);
            CHECK(difference(value_of(a.normal), value_of(b.normal)) <= 1e-12);
            // Curvature: the tangent's 3e-13 over a piece of a tenth of a millimetre.
            CHECK(std::abs(a.position.x.derivative(2) - b.position.x.derivative(2)) <= 1e-7);
        }
    };
    check(cylinder_at(pose, 0.02));
    check(cone_at(pose, degrees(25), 0.05));
}

TEST_CASE("a helix is as long and as bent as it must be") {
    // R = 10 mm, pitch 5 mm, 3 turns: 189.0914483627 mm = 3 √((2πR)² + pitch²); curvature R / (R² + (p/2π)²).
    double const r = 0.01, pitch = 0.005;
    Cylinder<> const tube = cylinder_at(somewhere(), r);
    auto const line = straight_between({0, 0}, {3 * pitch, 3 * 2 * pi * r});
    auto const laid = lay(line, tube);
    CHECK(laid.path.length() == doctest::Approx(0.1890914483627).epsilon(1e-12));
    double const c = pitch / (2 * pi);
    for (double const s : {0.0, 0.03, 0.12})
        CHECK(frame_at(laid.path, s).curvature == doctest::Approx(r / (r * r + c * c)).epsilon(1e-9));
}

TEST_CASE("on a sphere a circle around the origin shrinks as the sine says, and the stretch is told") {
    double const r = 0.05, rho = 0.02;
    auto const ball = sphere_at(somewhere(), r);
    auto const laid = lay(circle_around({0, 0}, 2 * rho), ball);
    CHECK(laid.path.length() == doctest::Approx(2 * pi * r * std::sin(rho / r)).epsilon(1e-12));
    double const stretch = r / rho * std::sin(rho / r);
    CHECK(laid.stretch.least == doctest::Approx(stretch).epsilon(1e-12));
    CHECK(laid.stretch.most == doctest::Approx(stretch).epsilon(1e-12));
    // A line beside the origin is shortest where it passes it.
    auto const line = lay(straight_between({-0.02, 0.01}, {0.02, 0.01}), ball);
    CHECK(line.stretch.least < 1);
    CHECK(std::abs(line.stretch.least_at - line.path.length() / 2) <= 1e-3);
    CHECK(line.path.length() > line.stretch.least * 0.04);
    CHECK(line.path.length() < 0.04);
}

TEST_CASE("a weave stays on the face: exactly on spheres and tubes, to the third order on others") {
    auto const pose = somewhere();
    auto const inverse = [&](Point<Part> const& p) { return inverse_times(pose, p); };
    double const r = 0.03, w = 0.002;
    auto const ball = lay(bent(), sphere_at(pose, r)).path;
    auto const along = lay(straight_between({-0.01, 0.001}, {0.01, 0.001}), cylinder_at(pose, -r)).path;
    for (int i = 0; i <= 20; ++i)
        for (double const across : {-w, w}) {
            auto const on_ball = ball.at(ball.length() * i / 20, across);
            auto const p = inverse(on_ball.position);
            CHECK(std::abs(norm(Direction<Face>{p.x, p.y, p.z + r}) - r) <= 1e-12);
            auto const n = inverse_times(pose, on_ball.normal);
            CHECK(std::abs(n.x - p.x / r) + std::abs(n.y - p.y / r) <= 1e-10);
            // The inside of a tube, the swing around it; the axis is above the face.
            auto const q = inverse(along.at(along.length() * i / 20, across).position);
            CHECK(std::abs(std::hypot(q.y, q.z - r) - r) <= 1e-12);
        }
    // Across a torus and a slanting line on a tube: halving the swing cuts the error by eight.
    auto const off = [&](auto const& path, auto const& distance, double across) {
        double worst = 0;
        for (int i = 0; i <= 20; ++i)
            worst = std::max(worst,
                             std::abs(distance(inverse(path.at(path.length() * i / 20, across).position))));
        return worst;
    };
    auto const torus = lay(bent(), torus_at(pose, 0.05, 0.02)).path;
    auto const from_torus = [](Point<Face> const& p) {
        // Ring radius 50 mm, tube 20 mm; the origin on the outer equator, the ring's axis along y.
        double const ring = std::hypot(p.x, p.z + 0.07) - 0.05;
        return std::hypot(ring, p.y) - 0.02;
    };
    double const coarse = off(torus, from_torus, 0.002), fine = off(torus, from_torus, 0.001);
    CHECK(coarse <= 2e-6);
    CHECK(coarse / fine >= 6); // 8, less what the fourth order adds
    auto const slanting = lay(straight_between({-0.01, -0.01}, {0.01, 0.01}), cylinder_at(pose, r)).path;
    auto const from_tube = [&](Point<Face> const& p) { return std::hypot(p.y, p.z + r) - r; };
    CHECK(off(slanting, from_tube, 0.002) <= 2e-6);
    CHECK(off(slanting, from_tube, 0.002) / off(slanting, from_tube, 0.001) >= 6);
}

TEST_CASE("corners stay corners, with their angle in space") {
    DrawnShape const corner({straight_between({0, 0}, {0.02, 0}), straight_between({0.02, 0}, {0.02, 0.01})});
    auto const laid = lay(corner, cylinder_at(somewhere(), 0.02));
    REQUIRE(laid.path.corners().size() == 1);
    CHECK(laid.path.corners()[0].arc_length == doctest::Approx(0.02).epsilon(1e-12));
    CHECK(laid.path.corners()[0].angle == doctest::Approx(pi / 2).epsilon(1e-12));
    CHECK_THROWS_AS((void)at_speed(laid.path, 0.2), BadInput);
}

TEST_CASE("a path knows its continuity") {
    auto const tube = cylinder_at(somewhere(), 0.02);
    DrawnShape const straight = straight_between({0, 0}, {0.01, 0.01});
    DrawnShape const corner({straight_between({0, 0}, {0.02, 0}), straight_between({0.02, 0}, {0.02, 0.01})});
    CHECK(lay(straight, tube).path.continuity() == 2);
    CHECK(lay(bent(), tube).path.continuity() == 1); // straight into an arc
    CHECK(lay(corner, tube).path.continuity() == 0);
    CHECK(lay(bent(), sphere_at(somewhere(), 0.03)).path.continuity() == 1);
    CHECK(lay(circle_around({0, 0}, 0.01), sphere_at(somewhere(), 0.03)).path.continuity() == 2);
    Plane<> const flat{somewhere()};
    CHECK(OnFace<Straight<>, Plane<>>{straight_between({0, 0}, {0.01, 0.01}), flat}.continuity() == 3);
    CHECK(AnyPath(OnFace<DrawnShape, Plane<>>{bent(), flat}).continuity() == 1);
    CHECK(AnyPath(OnFace<DrawnShape, Plane<>>{corner, flat}).continuity() == 0);
}

TEST_CASE("a user's own face: a saddle given as a function") {
    auto const pose = somewhere();
    auto const f = [pose](auto const& x, auto const& y) {
        using T = std::decay_t<decltype(x)>;
        return pose * Point<Face, T>{x, y, (sqr(x) - sqr(y)) * detail::factor<T>(4)};
    };
    auto const saddle = Parametric<decltype(f)>{f};
    auto const laid = lay(bent(), saddle);
    check_laid(laid.path, "saddle");
    CHECK(laid.stretch.most > 1);
    for (int i = 0; i <= 20; ++i) {
        auto const p = inverse_times(pose, laid.path.at(laid.path.length() * i / 20).position);
        CHECK(std::abs(p.z - 4 * (p.x * p.x - p.y * p.y)) <= 1e-14);
    }
}

TEST_CASE("a laid seam at every number, without touching the heap") {
    auto const path = lay(bent(), sphere_at(somewhere(), 0.03)).path;
    auto const seam = at_speed(path, 0.25, {.weave = {300, 0.0005}});
    AnySeam const any(seam);
    AllocationGuard const guard;
    auto const p = any.at(0.02);
    auto const rates = any.at(Taylor<double, 3>::variable(0.02));
    auto const by = any.at(Gradient<double, 1>::variable(0.02, 0));
    auto const both = any.at(Taylor<Gradient<double, 1>, 2>(Gradient<double, 1>::variable(0.02, 0)));
    CHECK(guard.count() == 0);
    CHECK(difference(value_of(rates.position), p.position) <= 4 * epsilon);
    CHECK(by.position.x.partial[0] == doctest::Approx(rates.position.x.derivative(1)).epsilon(1e-12));
    CHECK(both.position.y.coefficient[0].partial[0] ==
          doctest::Approx(rates.position.y.derivative(1)).epsilon(1e-12));
    CHECK(is_finite(rates.position));
}

TEST_CASE("what cannot be laid is refused") {
    CHECK_THROWS_AS((void)lay(bent(), Plane<>{somewhere()}, 0), BadInput);
    // A face that folds the seam to nothing.
    auto const f = [](auto const& x, auto const& y) {
        using T = std::decay_t<decltype(x)>;
        return Point<Part, T>{sqr(x), y * 0.0, x * 0.0};
    };
    CHECK_THROWS_AS((void)lay(bent(), Parametric<decltype(f)>{f}), BadInput);
}
