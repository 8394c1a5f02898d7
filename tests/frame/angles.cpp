#include "seamhold/frame/angles.hpp"

#include <doctest/doctest.h>

#include "support/numbers.hpp"
#include "support/poses.hpp"

#include <cmath>
#include <numbers>

using namespace seamhold;
using namespace seamhold::test;

struct A;
struct B;

namespace {

double const pi = std::numbers::pi;
double const rounding = 20 * epsilon; // two matrix products and an arc tangent

} // namespace

TEST_CASE("one angle alone turns about its own axis") {
    CHECK(difference(from_zyx_angles<A, B>(pi / 2, 0, 0) * Direction<B>{1, 0, 0}, Direction<A>{0, 1, 0}) <=
          rounding);
    CHECK(difference(from_zyx_angles<A, B>(0, pi / 2, 0) * Direction<B>{0, 0, 1}, Direction<A>{1, 0, 0}) <=
          rounding);
    CHECK(difference(from_zyx_angles<A, B>(0, 0, pi / 2) * Direction<B>{0, 1, 0}, Direction<A>{0, 0, 1}) <=
          rounding);
    CHECK(difference(from_xyz_angles<A, B>(pi / 2, 0, 0) * Direction<B>{0, 1, 0}, Direction<A>{0, 0, 1}) <=
          rounding);
    CHECK(difference(from_xyz_angles<A, B>(0, pi / 2, 0) * Direction<B>{0, 0, 1}, Direction<A>{1, 0, 0}) <=
          rounding);
    CHECK(difference(from_xyz_angles<A, B>(0, 0, pi / 2) * Direction<B>{1, 0, 0}, Direction<A>{0, 1, 0}) <=
          rounding);
}

TEST_CASE("the order of the turns is the one in the name") {
    // About z first, then about the new y: the old x goes to y and stays there. Written by hand:
    // Rz(90°) Ry(90°) takes z to Rz(x) = y, and x to Rz(−z) = −z.
    auto const zyx = from_zyx_angles<A, B>(pi / 2, pi / 2, 0);
    CHECK(difference(zyx * Direction<B>{0, 0, 1}, Direction<A>{0, 1, 0}) <= rounding);
    CHECK(difference(zyx * Direction<B>{1, 0, 0}, Direction<A>{0, 0, -1}) <= rounding);
    // Rx(90°) Ry(90°) takes z to Rx(x) = x, and x to Rx(−z) = y.
    auto const xyz = from_xyz_angles<A, B>(pi / 2, pi / 2, 0);
    CHECK(difference(xyz * Direction<B>{0, 0, 1}, Direction<A>{1, 0, 0}) <= rounding);
    CHECK(difference(xyz * Direction<B>{1, 0, 0}, Direction<A>{0, 1, 0}) <= rounding);
}

TEST_CASE("the two orders are each other's inverse") {
    Random random(61);
    for (int i = 0; i < 100; ++i) {
        double const a = random.uniform(-pi, pi), b = random.uniform(-pi, pi), c = random.uniform(-pi, pi);
        CHECK(difference(inverse(from_zyx_angles<B, A>(a, b, c)), from_xyz_angles<A, B>(-c, -b, -a)) <=
              rounding);
    }
}

TEST_CASE("angles come back where the second is within a quarter turn") {
    Random random(62);
    for (int i = 0; i < 300; ++i) {
        double const a = random.uniform(-pi, pi);
        double const b = random.uniform(-1.5, 1.5);
        double const c = random.uniform(-pi, pi);
        double const bound = rounding / std::cos(b); // first and third are quotients by cos(second)
        auto const zyx = zyx_angles(from_zyx_angles<A, B>(a, b, c));
        CHECK(std::abs(zyx.first - a) <= bound);
        CHECK(std::abs(zyx.second - b) <= bound);
        CHECK(std::abs(zyx.third - c) <= bound);
        auto const xyz = xyz_angles(from_xyz_angles<A, B>(a, b, c));
        CHECK(std::abs(xyz.first - a) <= bound);
        CHECK(std::abs(xyz.second - b) <= bound);
        CHECK(std::abs(xyz.third - c) <= bound);
    }
}

TEST_CASE("rotation to angles and back, everywhere") {
    Random random(63);
    for (auto const& asked : rotations_to_ask<A, B>(random)) {
        CAPTURE(asked.name);
        auto const& r = asked.rotation;
        auto const zyx = zyx_angles(r);
        CHECK(std::abs(zyx.second) <= pi / 2);
        // Within 1e-12 of a quarter turn the third angle is taken as 0, which moves the rotation by that
        // much.
        CHECK(difference(from_zyx_angles<A, B>(zyx.first, zyx.second, zyx.third), r) <= rounding + 1e-12);
        auto const xyz = xyz_angles(r);
        CHECK(std::abs(xyz.second) <= pi / 2);
        CHECK(difference(from_xyz_angles<A, B>(xyz.first, xyz.second, xyz.third), r) <= rounding + 1e-12);
    }
}

TEST_CASE("near the quarter turn of the second angle the rotation comes back all the same") {
    // 2026-11-25: first and third came from two rounded quotients of numbers as small as 1e-12, each with its
    // own error, and the rotation came back wrong by up to 1e-4.
    Random random(64);
    for (double const sign : {-1.0, 1.0}) {
        for (double const short_of : {0.0, 1e-15, 1e-13, 2e-12, 1e-10, 1e-8, 1e-5}) {
            for (int i = 0; i < 50; ++i) {
                CAPTURE(short_of);
                double const b = sign * (pi / 2 - short_of);
                double const a = random.uniform(-pi, pi), c = random.uniform(-pi, pi);
                // Turned away and back, so that small entries carry the rounding of large ones, as in use.
                auto const away = random_rotation<A, A>(random);
                auto const r = inverse(away) * (away * from_zyx_angles<A, B>(a, b, c));
                auto const zyx = zyx_angles(r);
                CHECK(difference(from_zyx_angles<A, B>(zyx.first, zyx.second, zyx.third), r) <=
                      rounding + 1e-12);
                auto const s = inverse(away) * (away * from_xyz_angles<A, B>(a, b, c));
                auto const xyz = xyz_angles(s);
                CHECK(difference(from_xyz_angles<A, B>(xyz.first, xyz.second, xyz.third), s) <=
                      rounding + 1e-12);
                if (short_of <= 1e-13) {
                    CHECK(zyx.third == 0.0);
                    CHECK(xyz.third == 0.0);
                }
            }
        }
    }
}
