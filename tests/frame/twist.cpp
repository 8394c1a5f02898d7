#include "seamhold/frame/twist.hpp"

#include <doctest/doctest.h>

#include "support/numbers.hpp"
#include "support/poses.hpp"

#include <cmath>
#include <numbers>
#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

struct A;
struct B;

namespace {

using T = Taylor<double, 2>;

// The pose of frame B fixed to a body that turns with `rate` rad/s about the axis through `pivot`, at time t.
template <class Time>
Pose<A, B, Time> turning(Direction<A> const& axis, Point<A> const& pivot, double rate,
                         Pose<A, B> const& start, Time const& t) {
    auto const turn = about_axis<A, A>(axis, rate * t);
    auto const arm = start.origin - pivot;
    return {turn * start.rotation, pivot + turn * arm};
}

} // namespace

TEST_CASE("twists are plain data") {
    static_assert(std::is_trivially_copyable_v<Twist<A>> && sizeof(Twist<A>) == 6 * sizeof(double));
}

TEST_CASE("a body that turns about a fixed axis has angular velocity along it and velocity across it") {
    Random random(71);
    for (int i = 0; i < 100; ++i) {
        auto const v = random.on_sphere<3>();
        Direction<A> const axis{v[0], v[1], v[2]};
        auto const start = random_pose<A, B>(random);
        auto const pivot = random_pose<A, B>(random).origin;
        double const rate = random.uniform(-5, 5);
        double const now = random.uniform(-3, 3);
        auto const pose = turning(axis, pivot, rate, start, T::variable(now));
        auto const twist = twist_of(pose);
        // Products of numbers below 5·4, a few dozen roundings.
        double const bound = 50 * 20 * epsilon;
        CHECK(difference(twist.angular, rate * axis) <= bound);
        CHECK(difference(twist.linear, cross(rate * axis, value_of(pose.origin) - pivot)) <= bound);
        // Any other point of the body: v + ω × lever, against its own velocity.
        Point<B> const other{0.4, -0.3, 0.2};
        auto const moving = pose * other;
        auto const there = moved_by(twist, value_of(moving) - value_of(pose.origin));
        CHECK(difference(there.linear, Direction<A>{moving.x.derivative(1), moving.y.derivative(1),
                                                    moving.z.derivative(1)}) <= bound);
        CHECK(difference(there.angular, twist.angular) == 0);
    }
}

TEST_CASE("a body that slides has no angular velocity") {
    auto const t = T::variable(2.0);
    Pose<A, B, T> const pose{number_cast<T>(about_axis<A, B>(Direction<A>{0, 0.6, 0.8}, 1.1)),
                             {3.0 * t, t * t, 1.0}};
    auto const twist = twist_of(pose);
    CHECK(difference(twist.angular, Direction<A>{0, 0, 0}) == 0);
    CHECK(difference(twist.linear, Direction<A>{3, 4, 0}) == 0);
}

TEST_CASE("the twist of an inverse is minus the twist, seen from the other side") {
    // b_from_a·a_from_b = 1, so ω of a seen from b is −Rᵀω.
    Random random(72);
    auto const t = T::variable(0.4);
    auto const pose =
        turning(Direction<A>{0, 0.6, 0.8}, Point<A>{1, 2, 3}, 1.5, random_pose<A, B>(random), t);
    auto const forth = twist_of(pose);
    auto const back = twist_of(inverse(pose));
    CHECK(difference(back.angular, -inverse_times(value_of(pose).rotation, forth.angular)) <= 50 * epsilon);
}

TEST_CASE("a twist over numbers with derivatives is itself differentiable") {
    // A body that spins up: angle = t², so ω = 2t and ω′ = 2; the outer Taylor number carries ω in its first
    // rate.
    using Inner = Taylor<double, 1>;
    using Outer = Taylor<Inner, 1>;
    auto const time = Outer::variable(Inner::variable(0.7));
    Pose<A, B, Outer> const pose{about_axis<A, B>(Direction<A>{0, 0, 1}, time * time), {0.0, 0.0, 0.0}};
    auto const twist = twist_of(pose);
    CHECK(std::abs(twist.angular.z.coefficient[0] - 1.4) <= 10 * epsilon);
    CHECK(std::abs(twist.angular.z.coefficient[1] - 2.0) <= 20 * epsilon);
    CHECK(std::abs(twist.angular.x.coefficient[0]) == 0);
}
