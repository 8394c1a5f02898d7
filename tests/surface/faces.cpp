#include "faces.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/boost_autodiff.hpp"

#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const epsilon = std::numeric_limits<double>::epsilon();
using Both = Gradient<double, 2>;

SurfacePoint<Both> with_slopes(auto const& face, double x, double y) {
    return face.at(Both::variable(x, 0), Both::variable(y, 1));
}
Direction<Part> slope(Point<Part, Both> const& p, int by) {
    return {p.x.partial[by], p.y.partial[by], p.z.partial[by]};
}
Direction<Part> slope(Direction<Part, Both> const& d, int by) {
    return {d.x.partial[by], d.y.partial[by], d.z.partial[by]};
}
Direction<Part> axis_of(auto const& face, int k) {
    auto const& m = face.part_from_face.rotation.m;
    return {m[0][k], m[1][k], m[2][k]};
}

// Value and three derivatives of three coordinates along a way.
using Rates = std::array<std::array<double, 4>, 3>;

template <class V> Rates rates_of(V const& v) {
    Rates r{};
    for (int k = 0; k < 4; ++k) {
        auto const i = static_cast<std::size_t>(k);
        r[0][i] = v.x.derivative(k);
        r[1][i] = v.y.derivative(k);
        r[2][i] = v.z.derivative(k);
    }
    return r;
}

// The same in a hundred digits by central differences of step 1e-12: off by 1e-24 times the derivative two
// orders up; cancellation leaves 1e-75 / 1e-36.
template <class At> Rates rates_by_differences(At const& at) {
    Real const h("1e-12");
    Real3 const far_back = at(-2 * h), back = at(-h), here = at(Real(0)), ahead = at(h),
                far_ahead = at(2 * h);
    Rates r{};
    for (std::size_t i = 0; i < 3; ++i) {
        r[i][0] = here[i].convert_to<double>();
        r[i][1] = Real((ahead[i] - back[i]) / (2 * h)).convert_to<double>();
        r[i][2] = Real((ahead[i] - 2 * here[i] + back[i]) / (h * h)).convert_to<double>();
        r[i][3] = Real((far_ahead[i] - 2 * ahead[i] + 2 * back[i] - far_back[i]) / (2 * h * h * h))
                      .convert_to<double>();
    }
    return r;
}

// The unit normal by central differences of the plain points, good to 1e-50.
template <class Plain> Real3 normal_of(Plain const& plain, Real const& x, Real const& y) {
    Real const h("1e-25");
    auto const by_x = sum3(plain.at(x + h, y), Real(-1), plain.at(x - h, y));
    auto const by_y = sum3(plain.at(x, y + h), Real(-1), plain.at(x, y - h));
    auto const n = cross3(by_x, by_y);
    return sum3({Real(0), Real(0), Real(0)}, Real(1 / sqrt(dot3(n, n))), n);
}

Real3 in_part(Pose<Part, Face> const& pose, Real3 const& p, bool moved) {
    auto const& m = pose.rotation.m;
    Real3 const o{Real(pose.origin.x), Real(pose.origin.y), Real(pose.origin.z)};
    Real3 r{Real(0), Real(0), Real(0)};
    for (std::size_t i = 0; i < 3; ++i)
        r[i] = m[i][0] * p[0] + m[i][1] * p[1] + m[i][2] * p[2] + (moved ? o[i] : Real(0));
    return r;
}

} // namespace

TEST_CASE("law: every face, its normal and their rates agree with plain geometry in a hundred digits") {
    Random random(4101);
    each_face(random, [&](std::string const& called, auto const& face, auto const& plain, double reach) {
        CAPTURE(called);
        for (int run = 0; run < 6; ++run) {
            // A cubic way in the drawing; the first starts at the origin, the second a nanometre from it.
            double way[2][4];
            for (auto& axis : way)
                for (double& term : axis)
                    term = random.uniform(-0.4, 0.4) * reach;
            if (run < 2)
                way[0][0] = way[1][0] = run * 1e-9;
            auto const plain_way = [&](int axis, Real const& t) {
                auto const& w = way[axis];
                return Real(w[0] + t * (w[1] + t * (w[2] + t * w[3])));
            };
            Taylor<double, 3> x, y;
            for (int k = 0; k < 4; ++k) {
                x.coefficient[k] = way[0][k];
                y.coefficient[k] = way[1][k];
            }
            auto const ours = face.at(x, y);
            auto const& pose = face.part_from_face;
            auto const position = rates_by_differences([&](Real const& t) {
                return in_part(pose, plain.at(plain_way(0, t), plain_way(1, t)), true);
            });
            auto const normal = rates_by_differences([&](Real const& t) {
                return in_part(pose, normal_of(plain, plain_way(0, t), plain_way(1, t)), false);
            });
            auto const p = rates_of(ours.position), n = rates_of(ours.normal);
            // Each derivative is a sum of some tens of terms; the drawing's turn about the sharpest radius is
            // at most 3 rad a unit of time, so that a term of order k is at most 3^k k! times the size.
            double const factor[] = {1, 6, 40, 400};
            for (std::size_t i = 0; i < 3; ++i)
                for (std::size_t k = 0; k < 4; ++k) {
                    CAPTURE(run);
                    CAPTURE(i);
                    CAPTURE(k);
                    CHECK(std::abs(p[i][k] - position[i][k]) <= 16 * epsilon * factor[k] * (0.5 + reach));
                    CHECK(std::abs(n[i][k] - normal[i][k]) <= 16 * epsilon * factor[k]);
                }
        }
    });
}

TEST_CASE("law: the origin is on the face, its axes are the slopes there, the normal is unit and square") {
    Random random(4102);
    each_face(random, [&](std::string const& called, auto const& face, auto const& /*plain*/, double reach) {
        CAPTURE(called);
        static_assert(std::is_trivially_copyable_v<std::decay_t<decltype(face)>>);
        auto const origin = with_slopes(face, 0, 0);
        CHECK(difference(value_of(origin.position), face.part_from_face.origin) == 0);
        CHECK(difference(value_of(origin.normal), axis_of(face, 2)) <= 4 * epsilon);
        CHECK(difference(slope(origin.position, 0), axis_of(face, 0)) <= 8 * epsilon);
        CHECK(difference(slope(origin.position, 1), axis_of(face, 1)) <= 8 * epsilon);
        for (int run = 0; run < 50; ++run) {
            double const x = random.uniform(-0.7, 0.7) * reach, y = random.uniform(-0.7, 0.7) * reach;
            auto const p = with_slopes(face, x, y);
            auto const n = value_of(p.normal);
            auto const by_x = slope(p.position, 0), by_y = slope(p.position, 1);
            CHECK(std::abs(norm(n) - 1) <= 8 * epsilon);
            CHECK(std::abs(dot(n, by_x)) <= 32 * epsilon);
            CHECK(std::abs(dot(n, by_y)) <= 32 * epsilon);
            CHECK(dot(cross(by_x, by_y), n) > 0.1); // x, y and the normal are right-handed
            if (std::decay_t<decltype(face)>::isometric) {
                // The first fundamental form is the identity: lengths and angles are those of the drawing.
                CHECK(std::abs(squared_norm(by_x) - 1) <= 1e-12);
                CHECK(std::abs(squared_norm(by_y) - 1) <= 1e-12);
                CHECK(std::abs(dot(by_x, by_y)) <= 1e-12);
            }
        }
    });
}

TEST_CASE("law: all types of number agree on a face") {
    Random random(4103);
    each_face(random, [&](std::string const& called, auto const& face, auto const& plain, double reach) {
        CAPTURE(called);
        double const x = random.uniform(-0.6, 0.6) * reach, y = random.uniform(-0.6, 0.6) * reach;
        auto const p = face.at(x, y);
        // Boost's forward derivatives along a straight line, a second opinion.
        using Boosted = BoostNumber<3>;
        Boosted const t = boost::math::differentiation::make_fvar<double, 3>(0.0);
        auto const boosted = face.at(Boosted(t * reach + x), Boosted(t * (0.5 * reach) + y));
        // Time over gradients, as it is needed to find how the face bends across a seam.
        using Wide = Taylor<Both, 3>;
        Wide u(Both::variable(x, 0)), v(Both::variable(y, 1));
        u.coefficient[1] = Both(reach);
        v.coefficient[1] = Both(0.5 * reach);
        auto const wide = face.at(u, v);
        auto const slopes = with_slopes(face, x, y);
        double const bound = 64 * epsilon * (0.5 + reach);
        CHECK(difference(value_of(wide.position), p.position) <= bound);
        CHECK(difference(value_of(slopes.position), p.position) <= bound);
        CHECK(difference(value_of(slopes.normal), p.normal) <= 64 * epsilon);
        CHECK(std::abs(wide.position.z.coefficient[0].partial[1] - slopes.position.z.partial[1]) <=
              64 * epsilon);
        for (int k = 0; k <= 3; ++k) {
            CAPTURE(k);
            double const factor = k == 0 ? 1 : k == 1 ? 6 : k == 2 ? 40 : 400; // as above
            auto const order = static_cast<std::size_t>(k);
            CHECK(std::abs(static_cast<double>(boosted.position.z.derivative(order)) -
                           wide.position.z.derivative(k).value) <= factor * bound);
            CHECK(std::abs(static_cast<double>(boosted.normal.y.derivative(order)) -
                           wide.normal.y.derivative(k).value) <= factor * 64 * epsilon);
        }
        // A narrow drawing on a face of doubles keeps its own digits.
        auto const narrow = face.at(static_cast<float>(x), static_cast<float>(y));
        CHECK(difference(narrow.position, p.position) <= 4 * reach * std::numeric_limits<float>::epsilon());
        (void)plain;
    });
}

TEST_CASE("a face over unknown numbers has its derivatives by them") {
    // By the radius, at y around a cylinder: z = −r (1 − cos(y/r)); by hand, with y/r = 1.
    Cylinder<Both> tube{number_cast<Both>(Pose<Part, Face>::identity()), Both::variable(0.2, 0)};
    auto const p = tube.at(0.0, 0.2);
    CHECK(p.position.z.partial[0] ==
          doctest::Approx(-(1 - std::cos(1.0)) + std::sin(1.0)).epsilon(16 * epsilon));
    Sphere<Both> ball{tube.part_from_face, Both::variable(0.2, 0)};
    CHECK(ball.at(0.2, 0.0).position.z.partial[0] ==
          doctest::Approx(-(1 - std::cos(1.0)) + std::sin(1.0)).epsilon(16 * epsilon));
}

TEST_CASE("a helix on a tube: three turns of radius 10 mm and pitch 5 mm") {
    // Length by hand: 3 √((20 π)² + 5²) = 189.0914483627 mm, at the inclination asin(15 / 189.09…).
    auto const tube = cylinder_at(Pose<Part, Face>::identity(), 0.01);
    double const around = 3 * 2 * std::numbers::pi * 0.01, along = 0.015;
    auto const end = tube.at(along, around).position;
    CHECK(difference(end, Point<Part>{along, 0, 0}) <= 16 * epsilon * 0.01 * 20); // back above the start
    // The length as that of ever more chords; halving them takes three quarters of the error.
    auto const chords = [&](int count) {
        double sum = 0;
        for (int i = 0; i < count; ++i)
            sum += norm(tube.at(along * (i + 1) / count, around * (i + 1) / count).position -
                        tube.at(along * i / count, around * i / count).position);
        return sum;
    };
    double const coarse = chords(2000), fine = chords(4000);
    CHECK(std::abs(in_millimetres(fine + (fine - coarse) / 3) - 189.0914483627) <= 1e-9);
}

TEST_CASE("a circle about the origin of a sphere is shorter than drawn: 2 π R sin(ρ/R)") {
    for (double const radius : {0.05, -0.05}) {
        auto const ball = sphere_at(Pose<Part, Face>::identity(), radius);
        double const distance = 0.03;
        // The speed along the circle is the same everywhere, so that a mean of 16 is its length by 2π.
        double length = 0;
        using T = Taylor<double, 1>;
        for (int i = 0; i < 16; ++i) {
            auto const turn = sin_cos(T::variable(2 * std::numbers::pi * i / 16));
            auto const p = ball.at(T(turn.cos * distance), T(turn.sin * distance)).position;
            length += 2 * std::numbers::pi / 16 *
                      std::hypot(p.x.derivative(1), p.y.derivative(1), p.z.derivative(1));
        }
        CHECK(length == doctest::Approx(2 * std::numbers::pi * 0.05 * std::sin(0.6)).epsilon(64 * epsilon));
    }
}

TEST_CASE("principal curvatures at the origin against closed forms") {
    // Of tubes, balls, cones and rings: M. do Carmo, "Differential Geometry of Curves and Surfaces", 1976,
    // chapter 3 (from memory): 1/r; 1/R both ways; 1/(d tan α) around; 1/(R + r) and 1/r.
    auto const bends = [](auto const& face, double along_x, double along_y) {
        auto const p = with_slopes(face, 0, 0);
        CHECK(dot(slope(p.normal, 0), slope(p.position, 0)) == doctest::Approx(along_x).epsilon(1e-13));
        CHECK(dot(slope(p.normal, 1), slope(p.position, 1)) == doctest::Approx(along_y).epsilon(1e-13));
        CHECK(std::abs(dot(slope(p.normal, 1), slope(p.position, 0))) <= 1e-13);
    };
    Random random(4104);
    auto const pose = random_pose<Part, Face>(random);
    bends(cylinder_at(pose, 0.05), 0, 20);
    bends(cylinder_at(pose, -0.05), 0, -20);
    bends(sphere_at(pose, 0.05), 20, 20);
    bends(sphere_at(pose, -0.05), -20, -20);
    bends(cone_at(pose, degrees(30), 0.1), 0, 10 * std::sqrt(3.0));
    bends(cone_at(pose, degrees(-30), 0.1), 0, -10 * std::sqrt(3.0));
    bends(torus_at(pose, 0.06, 0.04), 10, 25);
    bends(torus_at(pose, 0.06, -0.04), 50, -25);
    bends(torus_at(pose, -0.06, 0.04), -50, 25);
    bends(torus_at(pose, -0.06, -0.04), -10, -25);
}

TEST_CASE("a face given as a function has its normal exactly") {
    auto const face = parametric(Bump{});
    static_assert(Surface<decltype(face)>);
    // By hand at (0.3, −0.2): z by x is 6x² + y²/2 − 2x + y/4, z by y is xy + x/4.
    double const by_x = 0.54 + 0.02 - 0.6 - 0.05, by_y = -0.06 + 0.075;
    double const length = std::sqrt(1 + by_x * by_x + by_y * by_y);
    auto const p = face.at(0.3, -0.2);
    CHECK(p.position.z == doctest::Approx((0.18 + 0.02) * 0.3 - 0.09 - 0.015).epsilon(1e-14));
    CHECK(difference(p.normal, Direction<Part>{-by_x / length, -by_y / length, 1 / length}) <= 8 * epsilon);
    // Its rates: the same as those of a normal worked out by formula on Taylor numbers.
    using T = Taylor<double, 3>;
    T const t = T::variable(0.3);
    T const x = t * t + 0.1, y = t * 2.0 - 0.5;
    T const zx = sqr(x) * 6.0 + sqr(y) * 0.5 - x * 2.0 + y * 0.25, zy = x * y + x * 0.25;
    auto const expected = unit(Direction<Part, T>{-zx, -zy, T(1.0)});
    auto const normal = face.at(x, y).normal;
    for (int k = 0; k <= 3; ++k) {
        CHECK(normal.x.derivative(k) == doctest::Approx(expected.x.derivative(k)).epsilon(1e-13));
        CHECK(normal.z.derivative(k) == doctest::Approx(expected.z.derivative(k)).epsilon(1e-13));
    }
    // And over gradients.
    auto const slopes = with_slopes(face, 0.3, -0.2);
    CHECK(std::abs(dot(value_of(slopes.normal), slope(slopes.position, 0))) <= 8 * epsilon);
    CHECK(std::abs(dot(value_of(slopes.normal), slope(slopes.normal, 1))) <= 8 * epsilon);
    Taylor<Both, 3> const wide_x(Both::variable(0.3, 0)), wide_y(Both::variable(-0.2, 1));
    CHECK(std::abs(face.at(wide_x, wide_y).normal.x.coefficient[0].partial[0] - slopes.normal.x.partial[0]) <=
          8 * epsilon);
}
