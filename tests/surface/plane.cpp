#include "seamhold/surface/plane.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"

#include <cmath>
#include <limits>
#include <string>
#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const epsilon = std::numeric_limits<double>::epsilon();

} // namespace

TEST_CASE("a plane is plain data, and its points take the wider of two numbers") {
    static_assert(std::is_trivially_copyable_v<Plane<>> && std::is_aggregate_v<Plane<>>);
    static_assert(std::is_trivially_copyable_v<SurfacePoint<Taylor<double, 2>>>);
    Plane<> const plane{Pose<Part, Face>::identity()};
    static_assert(std::is_same_v<decltype(plane.at(0.0F, 0.0F)), SurfacePoint<double>>);
    static_assert(std::is_same_v<decltype(Plane<float>{}.at(0.0F, 0.0F)), SurfacePoint<float>>);
    static_assert(
        std::is_same_v<decltype(Plane<Gradient<double, 2>>{}.at(Taylor<double, 1>{}, Taylor<double, 1>{})),
                       SurfacePoint<Taylor<Gradient<double, 2>, 1>>>);
}

TEST_CASE("law: every point of a plane is in it, at its distances, under one unit normal") {
    Random random(9001);
    for (auto const& [called, rotation] : rotations_to_ask<Part, Face>(random))
        for (double const reach : {1e-4, 1.0, 100.0}) {
            std::string const name = called; // a binding cannot be captured
            CAPTURE(name);
            CAPTURE(reach);
            Pose<Part, Face> const pose{rotation, random_pose<Part, Face>(random, reach).origin};
            Plane<> const plane{pose};
            auto const origin = plane.at(0.0, 0.0);
            CHECK(difference(origin.position, pose.origin) == 0);
            double const x = random.uniform(-reach, reach), y = random.uniform(-reach, reach);
            auto const p = plane.at(x, y);
            // A coordinate is a sum of three numbers up to `reach`; the axes are orthogonal to a few bits.
            double const bound = 8 * epsilon * 3 * reach;
            CHECK(difference(p.position, pose * Point<Face>{x, y, 0}) <= bound);
            CHECK(std::abs(dot(p.position - pose.origin, p.normal)) <= bound);
            CHECK(std::abs(norm(p.position - pose.origin) - std::hypot(x, y)) <= bound);
            CHECK(std::abs(norm(p.normal) - 1) <= 8 * epsilon);
            CHECK(difference(p.normal, pose * Direction<Face>{0, 0, 1}) <= 2 * epsilon);
            CHECK(difference(p.normal, origin.normal) == 0);
            // x, y and the normal are right-handed.
            auto const along_x = plane.at(1.0, 0.0).position - pose.origin;
            auto const along_y = plane.at(0.0, 1.0).position - pose.origin;
            CHECK(difference(cross(along_x, along_y), p.normal) <= 8 * epsilon * (1 + 3 * reach));
        }
}

TEST_CASE("a face inclined by 35 degrees, worked by hand") {
    // Turned about the part's y axis: the face's x axis falls by sin 35°, its normal leans towards +x.
    Plane<> const plane{{about_axis<Part, Face>({0, 1, 0}, degrees(35)), {0.1, 0.2, 0.3}}};
    auto const p = plane.at(0.04, 0.05);
    double const sine = 0.573576436351046, cosine = 0.819152044288992; // of 35°, to 15 digits
    CHECK(p.position.x == doctest::Approx(0.1 + 0.04 * cosine).epsilon(1e-14));
    CHECK(p.position.y == doctest::Approx(0.25).epsilon(1e-14));
    CHECK(p.position.z == doctest::Approx(0.3 - 0.04 * sine).epsilon(1e-14));
    CHECK(p.normal.x == doctest::Approx(sine).epsilon(1e-14));
    CHECK(std::abs(p.normal.y) <= epsilon);
    CHECK(p.normal.z == doctest::Approx(cosine).epsilon(1e-14));
}

TEST_CASE("rates and derivatives pass through a plane") {
    Plane<> const plane{{about_axis<Part, Face>({0, 1, 0}, degrees(35)), {0.1, 0.2, 0.3}}};
    using T = Taylor<double, 2>;
    T const t = T::variable(0.5);
    auto const p = plane.at(T(t * t), T(t * 2.0));
    double const sine = std::sin(degrees(35)), cosine = std::cos(degrees(35));
    CHECK(p.position.x.derivative(1) == doctest::Approx(cosine).epsilon(4 * epsilon)); // 2t = 1
    CHECK(p.position.x.derivative(2) == doctest::Approx(2 * cosine).epsilon(4 * epsilon));
    CHECK(p.position.y.derivative(1) == doctest::Approx(2).epsilon(4 * epsilon));
    CHECK(p.position.z.derivative(2) == doctest::Approx(-2 * sine).epsilon(4 * epsilon));
    CHECK(p.normal.x.derivative(1) == 0);
    // By where the plane stands.
    using G = Gradient<double, 2>;
    auto pose = number_cast<G>(plane.part_from_face);
    pose.origin.z = G::variable(0.3, 1);
    auto const moved = Plane<G>{pose}.at(G::variable(0.04, 0), G(0.05));
    CHECK(moved.position.z.partial[1] == 1);
    CHECK(moved.position.z.partial[0] == doctest::Approx(-sine).epsilon(4 * epsilon));
    CHECK(moved.normal.z.partial[1] == 0);
}
