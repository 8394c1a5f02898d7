#include "seamhold/beam/spot.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <type_traits>

// The spot on a face, for every type of number. The exact section is held against traced rays in
// tests/outside/beam.cpp.

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::near;
using seamhold::test::Random;
using seamhold::test::unit_of;

namespace {

// 10 mrad with a waist of 0.2 mm radius at 0.5 m along the path.
Caustic<> const caustic{2e-4, 2e-2, 0.5};

Direction<Head> direction_of(Random& random) {
    auto const d = random.on_sphere<3>();
    return {d[0], d[1], d[2]};
}

// A beam along `direction` that leaves its last mirror 20 mm down its path, and a face in it.
struct Meeting {
    Ray<double> ray;
    Point<Head> point;
    Direction<Head> normal;
    double incidence;
};

// The axis meets the face `place` along the path, at a given incidence, leaning some way.
Meeting meeting(Random& random, double place, double incidence) {
    auto const beam = direction_of(random);
    auto const aside = unit(cross(beam, direction_of(random)));
    Point<Head> const origin{random.uniform(-0.05, 0.05), 0.01, 0.02};
    Ray<double> const ray{origin, beam, 0.02, 0.5};
    return {ray, origin + (place - 0.02) * beam, std::sin(incidence) * aside - std::cos(incidence) * beam,
            incidence};
}

template <class S, class T> Spot<T> spot_at(Meeting const& m, bool exact) {
    auto const cast = [](auto const& v) { return number_cast<T>(number_cast<S>(v)); };
    Ray<T> const ray{cast(m.ray.origin), cast(m.ray.direction), cast(m.ray.path), cast(m.ray.focus_path)};
    Caustic<S> const c{static_cast<S>(2e-4), static_cast<S>(2e-2), static_cast<S>(0.5)};
    return exact ? section_on(ray, c, cast(m.point), cast(m.normal))
                 : spot_on(ray, c, cast(m.point), cast(m.normal));
}

} // namespace

TEST_CASE("a spot is plain data") {
    static_assert(std::is_trivially_copyable_v<Spot<>> && std::is_aggregate_v<Spot<>>);
    static_assert(std::is_trivially_copyable_v<Spot<Taylor<Gradient<double, 2>, 2>>>);
    using T = Taylor<double, 2>;
    static_assert(
        std::is_same_v<decltype(spot_on(Ray<T>{}, caustic, Point<Head>{}, Direction<Head>{})), Spot<T>>);
}

TEST_CASE_TEMPLATE("law: a spot on an inclined face", T, double, float, Taylor<double, 2>, Taylor<float, 3>,
                   Gradient<double, 2>, Taylor<Gradient<double, 2>, 2>) {
    using S =
        std::conditional_t<std::is_same_v<T, float> || std::is_same_v<T, Taylor<float, 3>>, float, double>;
    double const unit = unit_of<T>();
    Random random(9301);
    for (int i = 0; i < 200; ++i) {
        double const incidence = i == 0 ? 0.0 : i == 1 ? 1e-8 : i == 2 ? 1.4 : random.uniform(0, 1.3);
        double const place = random.uniform(0.4, 0.6);
        auto const m = meeting(random, place, incidence);
        CAPTURE(incidence);
        auto const spot = spot_at<S, T>(m, false);
        double const cosine = std::cos(incidence), tangent = std::tan(incidence);
        // The place is off by a few units in the last place of 0.5 m, more as the face leans away; that is 25
        // units of a Rayleigh length. A cosine is a sum of three products; its inverse grows with it.
        double const bound = (200 + 20 * tangent * tangent) * (1 + tangent) * unit;
        double const zeta = place - 0.5, radius = std::hypot(2e-4, 0.01 * zeta);
        CHECK(spot.usable());
        CHECK(near(value_of(spot.beam_radius), radius, bound));
        CHECK(near(value_of(spot.semi_minor), radius, bound));
        CHECK(near(value_of(spot.semi_major), radius / cosine, bound));
        CHECK(std::abs(value_of(spot.defocus) - zeta / 0.02) <= 100 * bound);
        CHECK(std::abs(value_of(spot.cos_incidence) - cosine) <= 4 * unit);
        CHECK(norm(value_of(spot.axis) - m.point) <= bound);
        CHECK(near(value_of(spot.area()), std::numbers::pi * radius * radius / cosine, 4 * bound));
        // The ellipse's own measures agree with each other: its ends, its widths, and what lies between.
        auto const normal = number_cast<T>(number_cast<S>(m.normal));
        auto const along = spot.long_way(normal);
        auto const across = cross(normal, along);
        double const loose = bound + (std::is_same_v<S, float> || incidence < 1e-6 ? 1e-3 : 1e-12);
        if (incidence > 1e-2) {
            CHECK(std::abs(value_of(dot(along, normal))) <= 1e3 * unit);
            CHECK(std::abs(value_of(squared_norm(along)) - 1) <= 8 * unit);
            CHECK(std::abs(value_of(dot(along, spot.lean)) - std::sin(incidence)) <= 8 * unit);
            CHECK(
                near(value_of(spot.radius_towards(along)), radius / cosine, loose * (1 + tangent * tangent)));
        }
        CHECK(near(value_of(spot.half_width(along)), radius / cosine, loose));
        CHECK(near(value_of(spot.half_width(across)), radius, loose));
        CHECK(near(value_of(spot.radius_towards(across)), radius, loose));
        CHECK(is_finite(spot.semi_major));
        CHECK(is_finite(spot.centre));
        CHECK(is_finite(along.x));
        // The exact section differs by the square of slope times tangent, and no more.
        auto const section = spot_at<S, T>(m, true);
        double const second = 1e-4 * (1 + tangent * tangent) * 2;
        CHECK(near(value_of(section.semi_minor), radius, bound + second));
        CHECK(near(value_of(section.semi_major), radius / cosine, bound + second));
        CHECK(norm(value_of(section.centre) - value_of(spot.centre)) <=
              bound + second * radius * (1 + tangent));
    }
}

TEST_CASE("an ellipse by its points: radius and width in any direction of the face") {
    Random random(9302);
    for (int i = 0; i < 100; ++i) {
        auto const m = meeting(random, 0.53, random.uniform(0.1, 1.2));
        for (bool const exact : {false, true}) {
            auto const spot = spot_at<double, double>(m, exact);
            auto const along = spot.long_way(m.normal);
            auto const across = cross(m.normal, along);
            double const turn = random.uniform(-3, 3);
            auto const edge =
                spot.semi_major * std::cos(turn) * along + spot.semi_minor * std::sin(turn) * across;
            // The stretch is a difference of squares over sin² ≥ 0.01, times the square of the axes' ratio.
            double const bound = 4e3 * epsilon;
            CHECK(near(spot.radius_towards(unit(edge)), norm(edge), bound));
            auto const towards = std::cos(turn) * along + std::sin(turn) * across;
            CHECK(near(spot.half_width(towards),
                       std::hypot(spot.semi_major * std::cos(turn), spot.semi_minor * std::sin(turn)),
                       bound));
        }
    }
}

TEST_CASE("where the widening beam leans, the centre lies off the axis") {
    // A cone of 10 mrad, 0.5 m beyond its tip, at 45°: 5 mm wide. The near edge lies at 5/(√½ (1 + 0.01)),
    // the far one at 5/(√½ (1 − 0.01)) mm: the middle between them at 7.0710678 · 0.01/(1 − 1e-4) mm,
    // downwards.
    Caustic<> const cone{1e-9, 1e-7, 0};
    double const root = std::sqrt(0.5);
    Ray<double> const ray{{0, 0, 0}, {0, 0, 1}, 0, 0};
    Direction<Head> const normal{root, 0, -root}; // the face falls away towards +x
    auto const section = section_on(ray, cone, Point<Head>{0, 0, 0.5}, normal);
    double const shift = 5e-3 / root * 0.01 / (1 - 1e-4);
    auto const away = section.centre - section.axis;
    double const bound = 1e-12; // the tip's radius of 1 nm in 5 mm, squared, is 4e-14
    CHECK(away.x > 0);
    CHECK(away.z > 0);
    CHECK(near(norm(away), shift, bound));
    CHECK(near(section.semi_major, 5e-3 / root / (1 - 1e-4), bound));
    CHECK(near(section.semi_minor, 5e-3 / std::sqrt(1 - 1e-4), bound));
    auto const along = section.long_way(normal);
    CHECK(near(along.x, root, 4 * epsilon));
    CHECK(near(along.z, root, 4 * epsilon));
    CHECK(along.y == 0);
    // To first order: the same without the 1e-4.
    auto const spot = spot_on(ray, cone, Point<Head>{0, 0, 0.5}, normal);
    CHECK(near(norm(spot.centre - spot.axis), 5e-3 / root * 0.01, bound));
    CHECK(near(spot.semi_major, 5e-3 / root, bound));
    CHECK(near(spot.semi_minor, 5e-3, bound));
}

TEST_CASE("rates as a face tips through perpendicular: smooth, with the true derivatives") {
    // The face turns by t about y through the waist: the axes are w and w/cos t = w (1 + t²/2 + 5t⁴/24).
    using T = Taylor<double, 4>;
    auto const turn = sin_cos(T::variable(0));
    Direction<Head, T> const normal{turn.sin, T(0.0), -turn.cos};
    Ray<double> const ray{{0, 0, 0}, {0, 0, 1}, 0, 0.5};
    auto const spot = spot_on(ray, caustic, Point<Head>{0, 0, 0.5}, normal);
    double const bound = 16 * epsilon;
    CHECK(spot.semi_major.value() == 2e-4);
    CHECK(spot.semi_major.derivative(1) == 0);
    CHECK(near(spot.semi_major.derivative(2), 2e-4, bound));
    CHECK(spot.semi_major.derivative(3) == 0);
    CHECK(near(spot.semi_major.derivative(4), 5 * 2e-4, bound));
    CHECK(spot.semi_minor.derivative(2) == 0);
    // Measured along the face's own x, which turns with it, the half width is w/cos t too; and so is the
    // radius.
    Direction<Head, T> const x{turn.cos, T(0.0), turn.sin};
    for (auto const& extent : {spot.half_width(x), spot.radius_towards(x)}) {
        CHECK(extent.derivative(1) == 0);
        CHECK(near(extent.derivative(2), 2e-4, bound));
        CHECK(near(extent.derivative(4), 5 * 2e-4, bound));
    }
    // Off the waist the centre moves sideways: τ²ζ t, 1e-4 · 20 mm · t.
    auto const off = spot_on(ray, caustic, Point<Head>{0, 0, 0.52}, normal);
    CHECK(near((off.centre - off.axis).x.derivative(1), 1e-4 * 0.02, 40 * epsilon)); // 0.02 of 0.52
    // A spot that runs along the beam at 1 m/s: w w′ = τ²ζ.
    Point<Head, T> const running{T(0.0), T(0.0), T::variable(0.52)};
    auto const moving = spot_on(ray, caustic, running, Direction<Head>{0, 0, -1});
    CHECK(near(moving.semi_major.derivative(1), 1e-4 * 0.02 / std::hypot(2e-4, 2e-4), 40 * epsilon));
    CHECK(near(moving.defocus.derivative(1), 50, bound));
}

TEST_CASE("light along a face or from behind is finite and not usable") {
    Random random(9303);
    for (double const incidence :
         {std::numbers::pi / 2, std::numbers::pi / 2 + 1e-9, 1.7, 2.5, std::numbers::pi}) {
        auto const m = meeting(random, 0.52, incidence);
        for (bool const exact : {false, true}) {
            auto const spot = spot_at<double, Taylor<Gradient<double, 2>, 2>>(m, exact);
            if (incidence > 1.58)
                CHECK(!spot.usable());
            CHECK(is_finite(spot.axis));
            CHECK(is_finite(spot.centre));
            CHECK(is_finite(spot.semi_minor));
            CHECK(is_finite(spot.semi_major));
            CHECK(is_finite(spot.defocus));
            CHECK(is_finite(spot.stretch));
            CHECK(is_finite(spot.long_way(m.normal).x));
        }
    }
    // At 89.5° a beam of 10 mrad half angle misses the face with a part of it: 8.7 mrad are left.
    auto const m = meeting(random, 0.52, degrees(89.5));
    CHECK(spot_at<double, double>(m, false).usable());
    CHECK(!spot_at<double, double>(m, true).usable());
    CHECK(spot_at<double, double>(meeting(random, 0.52, degrees(89.4)), true).usable());
}

TEST_CASE("power densities and the share inside a circle") {
    Ray<double> const ray{{0, 0, 0}, {0, 0, 1}, 0, 0.5};
    auto const spot = spot_on(ray, caustic, Point<Head>{0, 0, 0.5},
                              Direction<Head>{std::sqrt(0.75), 0, -0.5}); // 60°: 0.2 mm by 0.4 mm
    double const bound = 8 * epsilon;
    CHECK(near(spot.area(), std::numbers::pi * 8e-8, bound));
    CHECK(near(spot.mean_power_density(4000.0), 4000 / (std::numbers::pi * 8e-8), bound));
    CHECK(near(spot.gaussian_peak_power_density(4000.0), 8000 / (std::numbers::pi * 8e-8), bound));
    // Half the power lies inside w √(ln 2 / 2), from the formula read backwards.
    CHECK(std::abs(gaussian_share_inside(2e-4 * std::sqrt(std::numbers::ln2 / 2), 2e-4) - 0.5) <= epsilon);
    CHECK(gaussian_share_inside(0.0, 2e-4) == 0);
    CHECK(gaussian_share_inside(1.0, 2e-4) == 1);
    // Its derivative by r is the ring's power, 4r/w² exp(−2r²/w²); at r = 0 it is 0 and the second is 4/w².
    auto const ring = gaussian_share_inside(Taylor<double, 2>::variable(1e-4), 2e-4);
    CHECK(near(ring.derivative(1), 4 * 1e-4 / 4e-8 * std::exp(-0.5), bound));
    auto const middle = gaussian_share_inside(Taylor<double, 2>::variable(0), 2e-4);
    CHECK(middle.derivative(1) == 0);
    CHECK(near(middle.derivative(2), 4 / 4e-8, bound));
    CHECK(gaussian_share_inside(2e-4F, 2e-4F) == doctest::Approx(1 - std::exp(-2.0)).epsilon(1e-7));
}

TEST_CASE("a spot does not touch the heap") {
    using T = Taylor<double, 3>;
    AllocationGuard guard;
    double sum = 0;
    for (int i = 0; i < 100; ++i) {
        Ray<T> const ray{{T(0.0), T(0.0), T::variable(1e-3 * i)}, {T(0.0), T(0.0), T(1.0)}, T(0.0), T(0.5)};
        auto const spot = section_on(ray, caustic, Point<Head>{0, 0, 0.5}, Direction<Head>{0.6, 0, -0.8});
        sum += spot.semi_major.derivative(3) + spot.long_way(Direction<Head>{0.6, 0, -0.8}).x.value();
    }
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(is_finite(sum));
}
