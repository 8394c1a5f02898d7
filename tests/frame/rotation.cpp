#include "seamhold/frame/rotation.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/poses.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

struct A;
struct B;
struct C;
struct D;

namespace {

// An entry of a product of two rotations is a sum of three products below one: 5 roundings of half an epsilon
// each. Laws of a few products stay below ten such entries.
double const few_products = 10 * 2.5 * epsilon;

double difference_of(Quaternion<double> const& a, Quaternion<double> const& b) {
    return std::max({std::abs(a.w - b.w), std::abs(a.x - b.x), std::abs(a.y - b.y), std::abs(a.z - b.z)});
}

std::string message_of(double w, double x, double y, double z) {
    return refusal_of([&] { return from_wxyz<A, B>(w, x, y, z); });
}

} // namespace

TEST_CASE("rotations and quaternions are plain data") {
    static_assert(std::is_trivially_copyable_v<Rotation<A, B>> &&
                  sizeof(Rotation<A, B>) == 9 * sizeof(double));
    static_assert(std::is_trivially_copyable_v<Rotation<A, B, Taylor<Gradient<double, 3>, 2>>>);
    static_assert(std::is_trivially_copyable_v<Quaternion<>> && sizeof(Quaternion<>) == 4 * sizeof(double));
    static_assert(alignof(Rotation<A, B>) == alignof(double));
}

TEST_CASE("laws of rotations, at identity, at 1e-8, at random and near half a turn") {
    Random random(41);
    auto const all = rotations_to_ask<A, B>(random);
    for (auto const& asked : all) {
        CAPTURE(asked.name);
        auto const& a_from_b = asked.rotation;
        CHECK(distance_from_rotation(a_from_b) <= few_products);
        auto const b_from_c = random_rotation<B, C>(random);
        auto const c_from_d = random_rotation<C, D>(random);
        CHECK(difference((a_from_b * b_from_c) * c_from_d, a_from_b * (b_from_c * c_from_d)) <= few_products);
        CHECK(difference(a_from_b * inverse(a_from_b), Rotation<A, A>::identity()) <= few_products);
        CHECK(difference(inverse(a_from_b) * a_from_b, Rotation<B, B>::identity()) <= few_products);
        CHECK(difference(a_from_b * Rotation<B, B>::identity(), a_from_b) == 0);
        CHECK(difference(Rotation<A, A>::identity() * a_from_b, a_from_b) == 0);
        CHECK(difference(inverse(a_from_b * b_from_c), inverse(b_from_c) * inverse(a_from_b)) == 0);
        Direction<B> const d{0.3, -0.7, 0.5};
        CHECK(difference(inverse_times(a_from_b, a_from_b * d), d) <= few_products);
        CHECK(difference(inverse_times(a_from_b, a_from_b * d), inverse(a_from_b) * (a_from_b * d)) == 0);
        // Lengths, and right-handedness, are kept.
        CHECK(std::abs(norm(a_from_b * d) - norm(d)) <= few_products);
        Direction<B> const e{-0.2, 0.4, 0.9};
        CHECK(difference(cross(a_from_b * d, a_from_b * e), a_from_b * cross(d, e)) <= few_products);
    }
}

TEST_CASE("columns are From's axes in To") {
    Rotation<A, B> const r{{{1, 2, 3}, {4, 5, 6}, {7, 8, 9}}}; // no rotation; the product does not mind
    CHECK(difference(r * Direction<B>{0, 1, 0}, Direction<A>{2, 5, 8}) == 0);
    CHECK(difference(inverse_times(r, Direction<A>{0, 1, 0}), Direction<B>{4, 5, 6}) == 0);
}

TEST_CASE("quaternions multiply as Hamilton wrote") {
    // i² = j² = k² = ijk = −1 (W. R. Hamilton, 1843; from memory).
    Quaternion<> const i{0, 1, 0, 0}, j{0, 0, 1, 0}, k{0, 0, 0, 1}, minus_one{-1, 0, 0, 0};
    CHECK(difference_of(i * i, minus_one) == 0);
    CHECK(difference_of(j * j, minus_one) == 0);
    CHECK(difference_of(k * k, minus_one) == 0);
    CHECK(difference_of(i * j * k, minus_one) == 0);
    CHECK(difference_of(i * j, k) == 0);
    CHECK(difference_of(j * k, i) == 0);
    CHECK(difference_of(k * i, j) == 0);
    CHECK(squared_norm(Quaternion<>{1, 2, 3, 4}) == 30);
}

TEST_CASE("the product of quaternions is the product of rotations") {
    Random random(43);
    for (int n = 0; n < 200; ++n) {
        auto const a = random.on_sphere<4>();
        auto const b = random.on_sphere<4>();
        Quaternion<> const p{a[0], a[1], a[2], a[3]}, q{b[0], b[1], b[2], b[3]};
        CHECK(difference(rotation_of<A, C>(p * q), rotation_of<A, B>(p) * rotation_of<B, C>(q)) <=
              few_products);
    }
}

TEST_CASE("a quaternion's length and sign do not matter to its rotation") {
    Random random(44);
    for (int n = 0; n < 100; ++n) {
        auto const q = random.on_sphere<4>();
        auto const unit_length = rotation_of<A, B>(Quaternion<>{q[0], q[1], q[2], q[3]});
        for (double const f : {-1.0, 0.5, 1e-100, -1e100, 3.7}) {
            Quaternion<> const scaled{f * q[0], f * q[1], f * q[2], f * q[3]};
            CHECK(difference(rotation_of<A, B>(scaled), unit_length) <= few_products);
            CHECK(distance_from_rotation(rotation_of<A, B>(scaled)) <= few_products);
        }
    }
}

TEST_CASE("rotation to quaternion and back") {
    Random random(45);
    for (auto const& asked : rotations_to_ask<A, B>(random)) {
        CAPTURE(asked.name);
        auto const& r = asked.rotation;
        auto const q = quaternion_of(r);
        CHECK(std::abs(squared_norm(q) - 1) <= 4 * epsilon);
        CHECK(q.w >= 0);
        // Each entry passes a root and two products; the largest component is 1/2 at least, so errors at most
        // double.
        CHECK(difference(rotation_of<A, B>(q), r) <= 2 * few_products);
    }
}

TEST_CASE("quaternion to rotation and back, every component largest in turn") {
    Random random(46);
    for (int n = 0; n < 400; ++n) {
        auto q = random.on_sphere<4>();
        q[static_cast<std::size_t>(n % 4)] += n % 8 < 4 ? 3.0 : -3.0;
        if (!scale_to_unit(q.data(), 4))
            continue;
        double const sign = q[0] < 0 ? -1 : 1;
        Quaternion<> const want{sign * q[0], sign * q[1], sign * q[2], sign * q[3]};
        CHECK(difference_of(quaternion_of(rotation_of<A, B>(want)), want) <= 2 * few_products);
    }
}

TEST_CASE("half turns, where w is zero, keep their axis") {
    // Near half a turn an axis from w and off-diagonal differences would be lost: w is 5e-9 here.
    for (double const short_of : {0.0, 1e-8, 1e-4}) {
        double const angle = std::numbers::pi - short_of;
        for (Direction<A> const axis :
             {Direction<A>{1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {0.6, 0, 0.8}, {0.8, -0.6, 0}}) {
            auto const q = quaternion_of(about_axis<A, B>(axis, angle));
            CHECK(std::abs(q.w - std::sin(short_of / 2)) <= few_products);
            double const sign = q.x * axis.x + q.y * axis.y + q.z * axis.z < 0 ? -1 : 1;
            CHECK(difference(Direction<A>{sign * q.x, sign * q.y, sign * q.z},
                             std::cos(short_of / 2) * axis) <= few_products);
        }
    }
}

TEST_CASE("a tiny rotation keeps its angle to rounding of the entries") {
    auto const q = quaternion_of(about_axis<A, B>(Direction<A>{0, 1, 0}, 1e-8));
    CHECK(q.w == 1);
    CHECK(std::abs(q.y - 0.5e-8) <= 4 * epsilon * 1e-8);
}

TEST_CASE("from_wxyz takes unit quaternions, normalises within the tolerance, and names the norm of others") {
    CHECK(difference(from_wxyz<A, B>(1, 0, 0, 0), Rotation<A, B>::identity()) == 0);
    CHECK(difference(from_wxyz<A, B>(-1, 0, 0, 0), Rotation<A, B>::identity()) == 0);
    // 90° about x: y goes to z.
    double const h = std::sqrt(0.5);
    CHECK(difference(from_wxyz<A, B>(h, h, 0, 0) * Direction<B>{0, 1, 0}, Direction<A>{0, 0, 1}) <=
          few_products);
    // Six printed digits: norm 0.99999978 or so; the result is a rotation all the same.
    CHECK(distance_from_rotation(from_wxyz<A, B>(0.707107, 0.707106, 0, 0)) <= few_products);
    CHECK(message_of(0.707, 0, 0, 0).find("norm 0.707") != std::string::npos);
    CHECK(message_of(0.707, 0, 0, 0).find("must be 1") != std::string::npos);
    CHECK(message_of(1, 0, 0, 0).empty());
    CHECK_FALSE(message_of(0, 0, 0, 0).empty());
    CHECK_FALSE(message_of(1, 1, 0, 0).empty());
    double const bad = std::numeric_limits<double>::quiet_NaN();
    CHECK_FALSE(message_of(bad, 0, 0, 1).empty());
    CHECK_FALSE(message_of(std::numeric_limits<double>::infinity(), 0, 0, 0).empty());
    CHECK_THROWS_AS((from_wxyz<A, B>(1.00001, 0, 0, 0)), BadInput);
    CHECK_NOTHROW((from_wxyz<A, B>(1.00001, 0, 0, 0, 1e-4)));
}

TEST_CASE("a refusal says numbers that a person can read") {
    // 2026-11-25: fixed six places printed a norm of 1.0000012 as 1.000001 and a tolerance of 1e-9 as
    // 0.000000.
    std::string text;
    try {
        (void)from_wxyz<A, B>(1 + 1.2e-7, 0, 0, 0, 1e-9);
    } catch (BadInput const& error) {
        text = error.what();
    }
    CHECK(text.find("1.00000012") != std::string::npos);
    CHECK(text.find("1e-09") != std::string::npos);
}

TEST_CASE("turning about an axis is right-handed and keeps the axis") {
    auto const quarter = std::numbers::pi / 2;
    CHECK(difference(about_axis<A, B>(Direction<A>{1, 0, 0}, quarter) * Direction<B>{0, 1, 0},
                     Direction<A>{0, 0, 1}) <= epsilon);
    CHECK(difference(about_axis<A, B>(Direction<A>{0, 1, 0}, quarter) * Direction<B>{0, 0, 1},
                     Direction<A>{1, 0, 0}) <= epsilon);
    CHECK(difference(about_axis<A, B>(Direction<A>{0, 0, 1}, quarter) * Direction<B>{1, 0, 0},
                     Direction<A>{0, 1, 0}) <= epsilon);
    Random random(47);
    for (int n = 0; n < 100; ++n) {
        auto const v = random.on_sphere<3>();
        double const angle = random.uniform(-10, 10);
        auto const r = about_axis<A, B>(Direction<A>{v[0], v[1], v[2]}, angle);
        CHECK(difference(r * Direction<B>{v[0], v[1], v[2]}, Direction<A>{v[0], v[1], v[2]}) <= few_products);
        CHECK(std::abs(r.m[0][0] + r.m[1][1] + r.m[2][2] - 1 - 2 * std::cos(angle)) <= few_products);
        // Two turns about one axis add up.
        CHECK(difference(about_axis<A, C>(Direction<A>{v[0], v[1], v[2]}, angle) *
                             about_axis<C, B>(Direction<C>{v[0], v[1], v[2]}, 0.5),
                         about_axis<A, B>(Direction<A>{v[0], v[1], v[2]}, angle + 0.5)) <=
              few_products + 10 * epsilon);
    }
}

TEST_CASE("a turning rotation has the rate of its angle") {
    // d/dt of Rz(ωt) at t: first row ω(−sin, −cos, 0).
    auto const t = Taylor<double, 2>::variable(0.3);
    auto const r = about_axis<A, B>(Direction<A>{0, 0, 1}, 2.0 * t);
    CHECK(std::abs(r.m[0][0].derivative(1) + 2 * std::sin(0.6)) <= 4 * epsilon);
    CHECK(std::abs(r.m[0][1].derivative(1) + 2 * std::cos(0.6)) <= 4 * epsilon);
    CHECK(std::abs(r.m[0][0].derivative(2) + 4 * std::cos(0.6)) <= 8 * epsilon);
    CHECK(r.m[2][2].derivative(1) == 0);
}

TEST_CASE("rotations over different numbers meet in the wider one") {
    auto const t = Taylor<double, 1>::variable(0.3);
    auto const turning = about_axis<A, B>(Direction<A>{0, 0, 1}, t);
    auto const fixed = about_axis<B, C>(Direction<B>{1, 0, 0}, 0.4);
    static_assert(std::is_same_v<decltype(turning * fixed), Rotation<A, C, Taylor<double, 1>>>);
    CHECK(std::abs((turning * fixed).m[0][0].coefficient[1] + std::sin(0.3)) <= epsilon);
    auto const cast = number_cast<Taylor<double, 1>>(fixed);
    CHECK(cast.m[1][1].coefficient[0] == fixed.m[1][1]);
    CHECK(cast.m[1][1].coefficient[1] == 0);
    CHECK(std::abs(number_cast<float>(fixed).m[1][1] - static_cast<float>(fixed.m[1][1])) == 0);
    auto const single = rotation_of<A, B>(Quaternion<float>{1, 2, 3, 4});
    CHECK(std::abs(static_cast<double>(single.m[0][0]) - (1 + 4 - 9 - 16) / 30.0) <=
          4 * 1.2e-7); // float's epsilon
}

TEST_CASE("nothing touches the heap") {
    Random random(48);
    auto const a = random_rotation<A, B>(random);
    AllocationGuard guard;
    auto const q = quaternion_of(inverse(a * Rotation<B, A>::identity()) * a);
    auto const r = from_wxyz<A, B>(q.w, q.x, q.y, q.z) * Direction<B>{1, 2, 3};
    CHECK(guard.count() == 0);
    CHECK(std::isfinite(r.x));
}
