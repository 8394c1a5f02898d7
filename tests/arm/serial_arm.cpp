#include "seamhold/arm/serial_arm.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/allocation_guard.hpp"
#include "support/arms.hpp"
#include "support/numbers.hpp"
#include "support/poses.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

// Against printed values of known arms: tests/outside/robot_textbooks.cpp; against another library:
// tests/outside/kdl.cpp.

namespace {

double const pi = std::numbers::pi;
// A chain of up to seven links of lengths up to 1 m: about 20 roundings a link of numbers up to 7.
double const chain_rounding = 7 * 20 * 7 * epsilon / 4;

struct A;

// One link by the words of its convention, built from whole transforms: no code shared with the arm.
Pose<Flange, Flange> link_transform(DhRow const& row, double q, bool modified) {
    bool const turns = row.kind == JointKind::revolute;
    double const theta = row.theta + (turns ? q : 0);
    double const d = row.d + (turns ? 0 : q);
    Direction<Flange> const x{1, 0, 0}, z{0, 0, 1};
    Point<Flange> const here{0, 0, 0};
    auto const none = Rotation<Flange, Flange>::identity();
    Pose<Flange, Flange> const rz{about_axis<Flange, Flange>(z, theta), here};
    Pose<Flange, Flange> const tz{none, {0, 0, d}};
    Pose<Flange, Flange> const tx{none, {row.a, 0, 0}};
    Pose<Flange, Flange> const rx{about_axis<Flange, Flange>(x, row.alpha), here};
    return modified ? rx * tx * rz * tz : rz * tz * tx * rx;
}

template <std::size_t N>
Pose<Base, Flange> chain_of_transforms(std::array<DhRow, N> const& rows, std::array<double, N> const& q,
                                       bool modified, Pose<Flange, Flange> const& last_from_flange) {
    auto pose = Pose<Base, Flange>::identity();
    for (std::size_t i = 0; i < N; ++i)
        pose = pose * link_transform(rows[i], q[i], modified);
    return pose * last_from_flange;
}

template <std::size_t N>
SerialArm<static_cast<int>(N)> arm_of(std::array<DhRow, N> const& rows, bool modified,
                                      Pose<Flange, Flange> const& last = Pose<Flange, Flange>::identity()) {
    return modified ? SerialArm<static_cast<int>(N)>::modified_dh(rows, last)
                    : SerialArm<static_cast<int>(N)>::standard_dh(rows, last);
}

template <class T, std::size_t N>
std::array<T, N> moving(std::array<double, N> const& q, std::array<double, N> const& rate) {
    std::array<T, N> t{};
    for (std::size_t i = 0; i < N; ++i) {
        t[i].coefficient[0] = q[i];
        t[i].coefficient[1] = rate[i];
    }
    return t;
}

} // namespace

TEST_CASE("a planar arm by hand") {
    // Two links of 1 m and 0.5 m in the plane, at 90° and −90°: elbow at (0, 1), flange at (0.5, 1), not
    // turned.
    std::array<DhRow, 2> const rows{DhRow{0, 1, 0}, DhRow{0, 0.5, 0}};
    auto const arm = SerialArm<2>::standard_dh(rows);
    auto const pose = arm.forward(std::array{pi / 2, -pi / 2});
    CHECK(difference(pose, Pose<Base, Flange>{Rotation<Base, Flange>::identity(), {0.5, 1, 0}}) <=
          4 * epsilon);
    // The flange goes round the base with (−1, 0.5), round the elbow with (0, 0.5).
    auto const columns = arm.jacobian(std::array{pi / 2, -pi / 2});
    CHECK(difference(columns[0].linear, Direction<Base>{-1, 0.5, 0}) <= 4 * epsilon);
    CHECK(difference(columns[1].linear, Direction<Base>{0, 0.5, 0}) <= 4 * epsilon);
    CHECK(difference(columns[0].angular, Direction<Base>{0, 0, 1}) == 0);
    CHECK(difference(columns[1].angular, Direction<Base>{0, 0, 1}) == 0);
}

TEST_CASE("a sliding joint goes along its own z") {
    // z of joint 1 turned by −90° about x is the base's y: the slide goes along y.
    std::array<DhRow, 2> const rows{DhRow{0.3, 0, -pi / 2}, DhRow{0.1, 0, 0, 0, JointKind::prismatic}};
    auto const arm = SerialArm<2>::standard_dh(rows);
    auto const pose = arm.forward(std::array{0.0, 0.25});
    CHECK(difference(pose.origin, Point<Base>{0, 0.35, 0.3}) <= 4 * epsilon);
    auto const columns = arm.jacobian(std::array{0.0, 0.25});
    CHECK(difference(columns[1].linear, Direction<Base>{0, 1, 0}) <= 4 * epsilon);
    CHECK(difference(columns[1].angular, Direction<Base>{0, 0, 0}) == 0);
    CHECK(difference(columns[0].linear, Direction<Base>{-0.35, 0, 0}) <= 4 * epsilon);
}

TEST_CASE(
    "random arms are the product of their links, in both conventions, with and without a last transform") {
    Random random(301);
    for (std::size_t n = 0; n < runs(100); ++n) {
        bool const modified = n % 2 == 0;
        auto const rows = random_rows<6>(random, n % 4 >= 2);
        auto const q = random_joints(random, rows);
        auto const last =
            n % 3 == 0 ? Pose<Flange, Flange>::identity() : random_pose<Flange, Flange>(random, 0.3);
        auto const pose = arm_of(rows, modified, last).forward(q);
        CHECK(difference(pose, chain_of_transforms(rows, q, modified, last)) <= chain_rounding);
        CHECK(distance_from_rotation(pose.rotation) <= chain_rounding);
    }
}

TEST_CASE("the two conventions are one arm when the rows are shifted by one") {
    // Rz Tz Tx Rx … Rz Tz Tx Rx: the modified table takes a and α of the row before; the last a, α stay for
    // the flange.
    Random random(302);
    for (int n = 0; n < 50; ++n) {
        auto const standard = random_rows<6>(random, true);
        auto modified = standard;
        for (std::size_t i = 0; i < 6; ++i) {
            modified[i].a = i == 0 ? 0 : standard[i - 1].a;
            modified[i].alpha = i == 0 ? 0 : standard[i - 1].alpha;
        }
        Pose<Flange, Flange> const last{
            about_axis<Flange, Flange>(Direction<Flange>{1, 0, 0}, standard[5].alpha), {standard[5].a, 0, 0}};
        auto const q = random_joints(random, standard);
        CHECK(difference(SerialArm<6>::standard_dh(standard).forward(q),
                         SerialArm<6>::modified_dh(modified, last).forward(q)) <= chain_rounding);
    }
}

TEST_CASE("the Jacobian is the twist of the flange when one joint moves") {
    Random random(303);
    for (std::size_t n = 0; n < runs(100); ++n) {
        bool const modified = n % 2 == 0;
        auto const rows = random_rows<7>(random, n % 4 >= 2);
        auto const q = random_joints(random, rows);
        auto const last =
            n % 3 == 0 ? Pose<Flange, Flange>::identity() : random_pose<Flange, Flange>(random, 0.3);
        auto const arm = arm_of(rows, modified, last);
        auto const columns = arm.jacobian(q);
        std::array<double, 7> rate{};
        Direction<Base> angular{0, 0, 0}, linear{0, 0, 0};
        for (std::size_t i = 0; i < 7; ++i) {
            std::array<double, 7> one{};
            one[i] = 1;
            auto const twist = twist_of(arm.forward(moving<Taylor<double, 1>>(q, one)));
            CHECK(difference(twist.angular, columns[i].angular) <= chain_rounding);
            CHECK(difference(twist.linear, columns[i].linear) <= chain_rounding);
            rate[i] = random.uniform(-1, 1);
            angular = angular + rate[i] * columns[i].angular;
            linear = linear + rate[i] * columns[i].linear;
        }
        // And all joints together: J q̇.
        auto const twist = twist_of(arm.forward(moving<Taylor<double, 1>>(q, rate)));
        CHECK(difference(twist.angular, angular) <= 7 * chain_rounding);
        CHECK(difference(twist.linear, linear) <= 7 * chain_rounding);
    }
}

TEST_CASE("the Jacobian's own rate: the flange's acceleration is J q̈ + J̇ q̇") {
    Random random(304);
    for (int n = 0; n < 50; ++n) {
        auto const rows = random_rows<6>(random, n % 2 == 0);
        auto const arm = SerialArm<6>::standard_dh(rows);
        auto const q = random_joints(random, rows);
        std::array<double, 6> rate{};
        std::array<Taylor<double, 2>, 6> t{};
        std::array<Taylor<double, 1>, 6> short_of{};
        for (std::size_t i = 0; i < 6; ++i) {
            rate[i] = random.uniform(-1, 1);
            t[i].coefficient[0] = short_of[i].coefficient[0] = q[i];
            t[i].coefficient[1] = short_of[i].coefficient[1] = rate[i];
            t[i].coefficient[2] = random.uniform(-1, 1);
        }
        auto const pose = arm.forward(t);
        auto const columns = arm.jacobian(short_of);
        Direction<Base> expected{0, 0, 0};
        for (std::size_t i = 0; i < 6; ++i) {
            auto const& v = columns[i].linear;
            Direction<Base> const change{v.x.derivative(1), v.y.derivative(1), v.z.derivative(1)};
            expected = expected + t[i].derivative(2) * value_of(v) + rate[i] * change;
        }
        Direction<Base> const acceleration{pose.origin.x.derivative(2), pose.origin.y.derivative(2),
                                           pose.origin.z.derivative(2)};
        // Accelerations reach 6² rad²/s² · 6 m.
        CHECK(difference(acceleration, expected) <= 36 * chain_rounding);
    }
}

TEST_CASE("one arm at every number") {
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    std::array<double, 6> const q{0.1, -0.7, 2.0, 0.4, -0.5, 1.2};
    auto const pose = arm.forward(q);
    std::array<float, 6> single{};
    std::array<Gradient<double, 6>, 6> unknown{};
    for (std::size_t i = 0; i < 6; ++i) {
        single[i] = static_cast<float>(q[i]);
        unknown[i] = Gradient<double, 6>::variable(q[i], static_cast<int>(i));
    }
    // Angles as float are off by half a unit in the last place of 2 rad, 1.2e-7, and there are six.
    CHECK(difference(value_of(arm.forward(single)), pose) <= 12 * 1.2e-7);
    auto const sensitive = arm.forward(unknown);
    CHECK(difference(value_of(sensitive), pose) <= chain_rounding);
    auto const columns = arm.jacobian(q);
    for (std::size_t i = 0; i < 6; ++i)
        CHECK(std::abs(sensitive.origin.z.partial[i] - columns[i].linear.z) <= chain_rounding);
    CHECK(std::abs(value_of(arm.jacobian(single)[2].linear.x) - columns[2].linear.x) <= 12 * 1.2e-7);
    // With a last transform too.
    Random random(305);
    auto const last = random_pose<Flange, Flange>(random, 0.2);
    auto const with_last = SerialArm<6>::modified_dh(puma_560(), last);
    CHECK(difference(value_of(with_last.forward(single)), with_last.forward(q)) <= 12 * 1.2e-7);
    static_assert(std::is_same_v<decltype(with_last.forward(single)), Pose<Base, Flange, float>>);
}

TEST_CASE("quarter turns are exact") {
    // At zero every entry of the flange's rotation is 0 or ±1, with no 6e-17 in it.
    auto const pose = SerialArm<6>::standard_dh(puma_560()).forward(std::array<double, 6>{});
    CHECK(difference(pose.rotation, Rotation<Base, Flange>::identity()) == 0);
}

TEST_CASE("a table that is not finite is refused, and the message names the row") {
    auto rows = puma_560();
    rows[3].alpha = std::numeric_limits<double>::quiet_NaN();
    for (bool const modified : {false, true}) {
        std::string text;
        try {
            (void)arm_of(rows, modified);
        } catch (BadInput const& error) {
            text = error.what();
        }
        CHECK(text.find("row 4") != std::string::npos);
    }
    for (double DhRow::*number : {&DhRow::d, &DhRow::a, &DhRow::theta}) {
        rows = puma_560();
        rows[0].*number = std::numeric_limits<double>::infinity();
        CHECK_THROWS_AS(SerialArm<6>::standard_dh(rows), BadInput);
    }
}

TEST_CASE("kinematics do not touch the heap") {
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    auto const q =
        moving<Taylor<double, 2>>(std::array<double, 6>{}, std::array<double, 6>{1, 1, 1, 1, 1, 1});
    AllocationGuard guard;
    auto const pose = arm.forward(q);
    auto const columns = arm.jacobian(q);
    CHECK(guard.count() == 0);
    CHECK(is_finite(pose.origin));
    CHECK(is_finite(columns[0].linear.x));
}
