#include "seamhold/frame/pose.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/poses.hpp"

#include <cmath>
#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

struct A;
struct B;
struct C;
struct D;

TEST_CASE("poses are plain data") {
    static_assert(std::is_trivially_copyable_v<Pose<A, B>> && sizeof(Pose<A, B>) == 12 * sizeof(double));
    static_assert(std::is_trivially_copyable_v<Pose<A, B, float>>);
    static_assert(std::is_trivially_copyable_v<Pose<A, B, Taylor<Gradient<double, 3>, 2>>>);
    static_assert(alignof(Pose<A, B>) == alignof(double));
    static_assert(std::is_aggregate_v<Pose<A, B>>);
}

TEST_CASE("laws of poses, at identity, at 1e-8, at random and near half a turn, near and far") {
    Random random(51);
    for (double const reach : {1e-4, 1.0, 100.0}) { // a 0.1 mm seam, an arm, a long cell
        for (auto const& asked : rotations_to_ask<A, B>(random)) {
            CAPTURE(asked.name);
            auto const& rotation = asked.rotation;
            CAPTURE(reach);
            Pose<A, B> const a_from_b{rotation, random_pose<A, B>(random, reach).origin};
            auto const b_from_c = random_pose<B, C>(random, reach);
            auto const c_from_d = random_pose<C, D>(random, reach);
            Point<D> const p{0.3 * reach, -0.2 * reach, 0.7 * reach};
            Direction<D> const d{0.3, -0.2, 0.7};
            // Coordinates grow to 4·√3 reach; a handful of sums of four products each.
            double const bound = 10 * 3 * epsilon * std::max(1.0, 7 * reach);

            CHECK(difference((a_from_b * b_from_c) * c_from_d, a_from_b * (b_from_c * c_from_d)) <= bound);
            CHECK(difference((a_from_b * b_from_c * c_from_d) * p, a_from_b * (b_from_c * (c_from_d * p))) <=
                  bound);
            CHECK(difference((a_from_b * b_from_c * c_from_d) * d, a_from_b * (b_from_c * (c_from_d * d))) <=
                  bound);
            CHECK(difference(a_from_b * inverse(a_from_b), Pose<A, A>::identity()) <= bound);
            CHECK(difference(inverse(a_from_b) * a_from_b, Pose<B, B>::identity()) <= bound);
            CHECK(difference(inverse(inverse(a_from_b)), a_from_b) <= bound);
            CHECK(difference(inverse(a_from_b * b_from_c), inverse(b_from_c) * inverse(a_from_b)) <= bound);
            CHECK(difference(a_from_b * Pose<B, B>::identity(), a_from_b) == 0);
            CHECK(difference(Pose<A, A>::identity() * a_from_b, a_from_b) == 0);

            auto const b = b_from_c * (c_from_d * p);
            CHECK(difference(inverse_times(a_from_b, a_from_b * b), b) <= bound);
            CHECK(difference(inverse_times(a_from_b, a_from_b * b), inverse(a_from_b) * (a_from_b * b)) <=
                  bound);
            CHECK(difference(inverse_times(a_from_b, a_from_b * Direction<B>{1, 2, 3}),
                             Direction<B>{1, 2, 3}) <= 10 * 3 * epsilon * 4);
        }
    }
}

TEST_CASE("a pose moves points and only turns directions") {
    Pose<A, B> const quarter_turn{{{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}}, {10, 20, 30}}; // 90° about z
    CHECK(difference(quarter_turn * Point<B>{1, 2, 3}, Point<A>{8, 21, 33}) == 0);
    CHECK(difference(quarter_turn * Direction<B>{1, 2, 3}, Direction<A>{-2, 1, 3}) == 0);
    CHECK(difference(inverse_times(quarter_turn, Point<A>{8, 21, 33}), Point<B>{1, 2, 3}) == 0);
    CHECK(difference(inverse_times(quarter_turn, Direction<A>{-2, 1, 3}), Direction<B>{1, 2, 3}) == 0);
    // The difference of two moved points is the moved difference.
    CHECK(difference(quarter_turn * Point<B>{1, 2, 3} - quarter_turn * Point<B>{4, 4, 4},
                     quarter_turn * (Point<B>{1, 2, 3} - Point<B>{4, 4, 4})) == 0);
}

TEST_CASE("rates pass through a composition: a turntable on a slide") {
    // x(t) = 2t + cos 3t for the point (1, 0, 0) of the table: x′ = 2 − 3 sin 3t, x″ = −9 cos 3t.
    auto const t = Taylor<double, 2>::variable(0.2);
    using T = Taylor<double, 2>;
    Pose<A, B, T> const slide{Rotation<A, B, T>::identity(), {2.0 * t, 0.0, 0.0}};
    Pose<B, C, T> const table{about_axis<B, C>(Direction<B>{0, 0, 1}, 3.0 * t), {0.0, 0.0, 0.0}};
    auto const p = slide * table * Point<C>{1, 0, 0};
    static_assert(std::is_same_v<decltype(p), Point<A, T> const>);
    CHECK(std::abs(p.x.derivative(0) - (0.4 + std::cos(0.6))) <= 4 * epsilon);
    CHECK(std::abs(p.x.derivative(1) - (2 - 3 * std::sin(0.6))) <= 12 * epsilon);
    CHECK(std::abs(p.x.derivative(2) + 9 * std::cos(0.6)) <= 36 * epsilon);
    // Going back with the moving pose leaves the point at rest in its own frame.
    auto const back = inverse_times(slide * table, p);
    for (int k = 1; k <= 2; ++k) {
        CHECK(std::abs(back.x.derivative(k)) <= 100 * epsilon);
        CHECK(std::abs(back.y.derivative(k)) <= 100 * epsilon);
    }
    auto const also_back = inverse(slide * table) * p;
    CHECK(std::abs(also_back.x.derivative(1)) <= 100 * epsilon);
    CHECK(std::abs(also_back.x.value() - 1) <= 4 * epsilon);
}

TEST_CASE("poses over different numbers meet in the wider one") {
    Random random(52);
    auto const fixed = random_pose<A, B>(random);
    auto const single = number_cast<float>(random_pose<B, C>(random));
    static_assert(std::is_same_v<decltype(fixed * single), Pose<A, C, double>>);
    static_assert(
        std::is_same_v<decltype(fixed * Pose<B, C, Taylor<double, 2>>{}), Pose<A, C, Taylor<double, 2>>>);
    static_assert(
        std::is_same_v<decltype(Pose<A, B, Gradient<double, 3>>{} * Pose<B, C, Taylor<double, 2>>{}),
                       Pose<A, C, Taylor<Gradient<double, 3>, 2>>>);
    auto const cast = number_cast<Taylor<double, 2>>(fixed);
    CHECK(cast.origin.y.coefficient[0] == fixed.origin.y);
    CHECK(cast.origin.y.coefficient[1] == 0);
    CHECK(difference(value_of(cast), fixed) == 0);
}

TEST_CASE("new names keep the numbers") {
    Random random(53);
    auto const pose = random_pose<A, B>(random);
    auto const renamed = as<C, D>(pose);
    static_assert(std::is_same_v<decltype(renamed), Pose<C, D> const>);
    CHECK(difference(as<A, B>(renamed), pose) == 0);
    CHECK(renamed.rotation.m[1][2] == pose.rotation.m[1][2]);
    CHECK(renamed.origin.z == pose.origin.z);
}

TEST_CASE("nothing touches the heap") {
    Random random(54);
    auto const a_from_b = number_cast<Taylor<double, 3>>(random_pose<A, B>(random));
    auto const b_from_c = random_pose<B, C>(random);
    AllocationGuard guard;
    auto const p = inverse_times(a_from_b, inverse(inverse(a_from_b)) * b_from_c * Point<C>{1, 2, 3});
    CHECK(guard.count() == 0);
    CHECK(is_finite(p));
}
