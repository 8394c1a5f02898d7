#include "seamhold/arm/wrist_inverse.hpp"

#include <doctest/doctest.h>

#include "arm/wrist_arms.hpp"
#include "seamhold/number/gradient.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/poses.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

// Against printed values and another library: tests/outside/wrist_inverse.cpp; at intervals and in fifty
// digits: tests/arm/wrist_inverse_numbers.cpp.

namespace {

double const pi = std::numbers::pi;
// Six joint values with a rounding each of some ten numbers up to 3, on levers up to 3 m, and the chain's
// own.
double const rounding = 6 * 10 * 3 * 3 * epsilon / 2;

// The least of what a solution keeps to its singularities, lengths as shares of a metre.
double to_singularity(ArmClearance<double> const& c) {
    return std::min({c.shoulder, c.stretched, c.folded, c.elbow, c.wrist});
}

// A pose that turns and moves through `pose` at t = 0, at rates that real sweeps have.
template <class T> Pose<Base, Flange, T> passing(Pose<Base, Flange> const& pose, T const& t) {
    Direction<Flange> const axis{0.48, -0.6, 0.64};
    Direction<Base> const velocity{0.3, -0.2, 0.1}, acceleration{-0.5, 0.4, 0.2};
    return {pose.rotation * about_axis<Flange, Flange>(axis, T(t * 0.7 + sqr(t) * 0.3)),
            pose.origin + t * velocity + sqr(t) * acceleration};
}

SerialArm<6> with_row(std::size_t i, DhRow const& row) {
    auto rows = industrial_rows();
    rows[i] = row;
    return SerialArm<6>::standard_dh(rows);
}

std::string refusal_of_arm(SerialArm<6> const& arm) {
    return refusal_of([&] { return WristInverse(arm); });
}

} // namespace

TEST_CASE("the two tables of the industrial arm are one arm, and it stands as its comment says") {
    auto const standard = SerialArm<6>::standard_dh(industrial_rows());
    auto const modified = SerialArm<6>::modified_dh(industrial_rows_modified());
    // Flange 0.35 + 1.4 + 0.2 m ahead, 0.8 + 1.1 + 0.2 m up, its z ahead.
    Pose<Base, Flange> const at_zero{{{{0, 0, 1}, {0, -1, 0}, {1, 0, 0}}}, {1.95, 0, 2.1}};
    CHECK(difference(standard.forward(std::array<double, 6>{}), at_zero) <= rounding);
    Random random(601);
    for (int i = 0; i < 20; ++i) {
        auto const q = random_turns(random);
        CHECK(difference(standard.forward(q), modified.forward(q)) <= rounding);
    }
}

TEST_CASE("forward of every branch returns the pose, and every branch is its own") {
    Random random(602);
    for (auto const& named : wrist_arms(random)) {
        CAPTURE(named.name);
        auto const& arm = named.arm;
        WristInverse const inverse(arm);
        double worst = 0;
        for (std::size_t n = 0; n < runs(100); ++n) {
            auto const pose = arm.forward(random_turns(random));
            auto const found = inverse.all(pose);
            CHECK((found.size() == 8 || found.size() == 4));
            for (auto const& solution : found) {
                worst = std::max(worst, difference(arm.forward(solution.joints), pose));
                for (double const q : solution.joints)
                    CHECK(std::abs(q) <= pi + 4 * epsilon);
                if (to_singularity(solution.clearance) > 1e-9)
                    CHECK(inverse.branch_of(solution.joints) == solution.branch);
            }
        }
        CHECK(worst <= rounding);
    }
}

TEST_CASE("the inverse of forward gives the joints again, whole turns included") {
    Random random(603);
    for (auto const& named : wrist_arms(random)) {
        CAPTURE(named.name);
        auto const& arm = named.arm;
        WristInverse const inverse(arm);
        for (std::size_t n = 0; n < runs(100); ++n) {
            auto q = random_turns(random);
            for (double& angle : q)
                angle += 2 * pi * static_cast<double>(static_cast<int>(random.index(5)) - 2);
            auto const solution = inverse.at(arm.forward(q), inverse.branch_of(q), q);
            CHECK(inverse.reaches(solution.clearance));
            // The rounding of the pose, larger by what the joints move for it: one over each distance.
            double const least = to_singularity(solution.clearance);
            if (least > 1e-3)
                for (std::size_t i = 0; i < 6; ++i)
                    CHECK(std::abs(solution.joints[i] - q[i]) <= 10 * rounding / sqr(least));
        }
    }
}

TEST_CASE("what front, back, high and low mean") {
    // Facing is Rz(joint 1) x of the base for both arms: axis 2 or, where it meets axis 1, the wrist centre
    // at zero stands that way. The flange is 0 and 0.2 m beyond the wrist centre.
    struct Known {
        std::array<DhRow, 6> rows;
        double beyond;
    };
    Random random(604);
    for (auto const& [rows, beyond] : {Known{puma_560(), 0}, Known{industrial_rows(), 0.2}}) {
        auto const arm = SerialArm<6>::standard_dh(rows);
        WristInverse const inverse(arm);
        int literal = 0;
        for (int n = 0; n < 200; ++n) {
            for (auto const& [branch, q, clearance] : inverse.all(arm.forward(random_turns(random)))) {
                auto const pose = arm.forward(q);
                auto const columns = arm.jacobian(q);
                auto const place = [&](std::size_t i) {
                    return pose.origin - cross(columns[i].linear, columns[i].angular);
                };
                auto const& m = pose.rotation.m;
                auto const wrist = pose.origin - beyond * Direction<Base>{m[0][2], m[1][2], m[2][2]};
                Direction<Base> const facing{std::cos(q[0]), std::sin(q[0]), 0};
                Point<Base> const bottom{0, 0, 0};
                CHECK((dot(wrist - bottom, facing) >= 0) == (branch.shoulder == Shoulder::front));
                double const wrist_ahead = dot(wrist - place(1), facing);
                if ((wrist_ahead > 0) != (branch.shoulder == Shoulder::front))
                    continue;
                ++literal;
                double const elbow_ahead = dot(place(2) - place(1), facing);
                double const line = (wrist.z - place(1).z) / wrist_ahead * elbow_ahead;
                CHECK((place(2).z - place(1).z > line) == (branch.elbow == Elbow::high));
            }
        }
        CHECK(literal > 1000);
    }
}

TEST_CASE("the wrist's sign, and the words for a branch") {
    // PUMA 560: axes 4 and 6 in line where joint 5 is zero.
    WristInverse const inverse(SerialArm<6>::standard_dh(puma_560()));
    CHECK(inverse.branch_of({0, 0, 0, 0, 0.5, 0}).wrist == Wrist::positive);
    CHECK(inverse.branch_of({0, 0, 0, 0, -0.5, 0}).wrist == Wrist::negative);
    CHECK(to_string(arm_branches[0]) == "front, elbow high, wrist positive");
    CHECK(to_string(arm_branches[7]) == "back, elbow low, wrist negative");
}

TEST_CASE("rates of every order: forward of the moving joints is the moving pose") {
    Random random(605);
    using Time = Taylor<double, 4>;
    for (auto const& named : wrist_arms(random)) {
        CAPTURE(named.name);
        auto const& arm = named.arm;
        WristInverse const inverse(arm);
        for (std::size_t n = 0; n < runs(20); ++n) {
            auto const start = arm.forward(random_turns(random));
            auto const pose = passing(start, Time::variable(0));
            for (auto const& at_start : inverse.all(start)) {
                double const least = to_singularity(at_start.clearance);
                if (least < 0.05)
                    continue;
                auto const moving = inverse.at(pose, at_start.branch, at_start.joints);
                auto const back = arm.forward(moving.joints);
                // Each order has another factor of one over the distance to the singularity, and adds more
                // terms.
                double allowed = rounding;
                for (int k = 0; k <= 4; ++k, allowed *= 4 / least) {
                    auto const off = [k](Time const& a, Time const& b) {
                        return std::abs(a.coefficient[k] - b.coefficient[k]);
                    };
                    double worst =
                        std::max({off(back.origin.x, pose.origin.x), off(back.origin.y, pose.origin.y),
                                  off(back.origin.z, pose.origin.z)});
                    for (int i = 0; i < 3; ++i)
                        for (int j = 0; j < 3; ++j)
                            worst = std::max(worst, off(back.rotation.m[i][j], pose.rotation.m[i][j]));
                    CHECK(worst <= allowed);
                }
                // And by the Jacobian: J q' is the flange's twist.
                auto const columns = arm.jacobian(at_start.joints);
                Twist<Base> sum{{0, 0, 0}, {0, 0, 0}};
                for (std::size_t i = 0; i < 6; ++i) {
                    double const rate = moving.joints[i].coefficient[1];
                    sum = {sum.angular + rate * columns[i].angular, sum.linear + rate * columns[i].linear};
                }
                auto const twist = twist_of(pose);
                CHECK(difference(sum.angular, twist.angular) <= 10 * rounding / sqr(least));
                CHECK(difference(sum.linear, twist.linear) <= 10 * rounding / sqr(least));
            }
        }
    }
}

TEST_CASE("derivatives by the joints themselves are the identity; floats") {
    Random random(606);
    using Unknown = Gradient<double, 6>;
    for (auto const& named : wrist_arms(random)) {
        CAPTURE(named.name);
        auto const& arm = named.arm;
        WristInverse const inverse(arm);
        auto const q = random_turns(random);
        std::array<Unknown, 6> unknown{};
        std::array<float, 6> single{};
        for (std::size_t i = 0; i < 6; ++i) {
            unknown[i] = Unknown::variable(q[i], static_cast<int>(i));
            single[i] = static_cast<float>(q[i]);
        }
        auto const solution = inverse.at(arm.forward(unknown), inverse.branch_of(q), q);
        double const least = to_singularity(value_of(solution.clearance));
        if (least < 0.01)
            continue;
        for (std::size_t i = 0; i < 6; ++i)
            for (std::size_t k = 0; k < 6; ++k)
                CHECK(std::abs(solution.joints[i].partial[k] - (i == k ? 1 : 0)) <=
                      10 * rounding / sqr(least));
        auto const in_float = inverse.at(arm.forward(single), inverse.branch_of(q), q);
        static_assert(std::is_same_v<decltype(in_float), ArmSolution<float> const>);
        for (std::size_t i = 0; i < 6; ++i)
            CHECK(std::abs(static_cast<double>(in_float.joints[i]) - q[i]) <=
                  10 * rounding / epsilon * 1.2e-7 / sqr(least));
    }
}

TEST_CASE("joints follow a motion across the cut, and the clearances move with it") {
    // Once and a half around axis 1, the flange looking down.
    auto const arm = SerialArm<6>::standard_dh(industrial_rows());
    WristInverse const inverse(arm);
    std::array<double, 6> const start{0.3, 0.2, 0.1, 0.4, 0.9, -0.2};
    auto const branch = inverse.branch_of(start);
    auto const first = arm.forward(start);
    auto near = start;
    for (int n = 1; n <= 900; ++n) {
        double const turned = degrees(n * 0.6);
        Pose<Base, Base> const turn{about_axis<Base, Base>(Direction<Base>{0, 0, 1}, turned), {0, 0, 0}};
        auto const solution = inverse.at(turn * first, branch, near);
        CHECK(std::abs(solution.joints[0] - (start[0] + turned)) <= rounding);
        for (std::size_t i = 1; i < 6; ++i)
            CHECK(std::abs(solution.joints[i] - start[i]) <= 10 * rounding);
        near = solution.joints;
    }
    CHECK(near[0] > 3 * pi);
}

TEST_CASE("a half turn is +π, not −π") {
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    WristInverse const inverse(arm);
    // y of exactly ± 0 and a last bit to either side.
    for (double const y : {0.0, -0.0, 5e-17, -5e-17, 1e-300, -1e-300}) {
        double const angle = detail::angle_near(detail::Planar<>{-1, y}, 0, 0);
        CAPTURE(y);
        CHECK((angle > -pi && angle <= pi));
        CHECK(std::abs(std::abs(angle) - pi) <= 5e-16);
    }
    CHECK(detail::angle_near(detail::Planar<>{-1, 0.0}, 0, 0) == pi);
    CHECK(detail::angle_near(detail::Planar<>{0, 2}, 0, 0) == pi / 2);
    CHECK(detail::angle_near(detail::Planar<>{0, -2}, 0, 0) == -pi / 2);
    CHECK(detail::angle_near(detail::Planar<>{3, 0}, 7, 0) == 2 * pi);
    CHECK(detail::angle_near(detail::Planar<>{0, 0}, 0.7, 0) == 0.7);
}

TEST_CASE("out of reach: nothing found, clearances as measured by hand, and an arm that points there") {
    // Without offset: upper arm 1.1 m, forearm √(0.2² + 1.4²) m from axis 2 at (0.35, 0, 0.8).
    auto const arm = SerialArm<6>::standard_dh(industrial_rows());
    WristInverse const inverse(arm);
    Rotation<Base, Flange> const down{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}};
    double const reach = 1.1 + std::sqrt(0.04 + 1.96);
    for (double const beyond : {1e-6, 0.1, 3.0}) {
        Pose<Base, Flange> const pose{down,
                                      {0.35 + (reach + beyond) * 0.6, 0, 0.8 + (reach + beyond) * 0.8 - 0.2}};
        auto const found = inverse.all(pose);
        CHECK(found.size() == 0);
        auto const solution = inverse.at(pose, arm_branches[0], {});
        CHECK(std::abs(solution.clearance.stretched + beyond) <= rounding);
        CHECK(solution.clearance.elbow == 0);
        CHECK(std::abs(solution.clearance.shoulder - (0.35 + (reach + beyond) * 0.6)) <= rounding);
        // The flange as asked, short of the place by what is missing.
        auto const nearest = arm.forward(solution.joints);
        CHECK(difference(nearest.rotation, down) <= rounding);
        CHECK(std::abs(norm(nearest.origin - pose.origin) - beyond) <= rounding);
    }
    // Too near: 0.1 m from axis 2, the folded arm ends 0.3142 m from it.
    Pose<Base, Flange> const near{down, {0.45, 0, 0.6}};
    auto const folded = inverse.at(near, arm_branches[0], {});
    double const missing = std::sqrt(2.0) - 1.1 - 0.1;
    CHECK(std::abs(folded.clearance.folded + missing) <= rounding);
    CHECK(std::abs(norm(arm.forward(folded.joints).origin - near.origin) - missing) <= rounding);
    // Nearer to axis 1 of the PUMA 560 than its offset of 0.15005 m.
    auto const puma = SerialArm<6>::standard_dh(puma_560());
    WristInverse const puma_inverse(puma);
    Pose<Base, Flange> const inside{down, {0.06, 0.08, 0.5}};
    CHECK(puma_inverse.all(inside).size() == 0);
    auto const turned = puma_inverse.at(inside, arm_branches[0], {});
    CHECK(std::abs(turned.clearance.shoulder - (0.1 - 0.15005)) <= rounding);
    CHECK(std::abs(norm(puma.forward(turned.joints).origin - inside.origin) - 0.05005) <= rounding);
    // Where only the front can reach, four are found.
    Pose<Base, Flange> const front_only{down, {0.35 + reach - 0.05, 0, 0.6}};
    CHECK(inverse.all(front_only).size() == 4);
}

TEST_CASE("at the singularities everything is finite and the pose is met") {
    using Time = Taylor<double, 7>;
    Random random(607);
    auto const check = [](SerialArm<6> const& arm, std::array<double, 6> const& q, auto&& least) {
        WristInverse const inverse(arm);
        auto const pose = arm.forward(q);
        for (auto const& branch : arm_branches) {
            auto const plain = inverse.at(pose, branch, q);
            for (double const angle : plain.joints)
                CHECK(is_finite(angle));
            if (inverse.reaches(plain.clearance)) {
                // Where a root of what rounding left is taken, √ε·ε is lost and regained.
                CHECK(difference(arm.forward(plain.joints), pose) <= rounding);
            }
            auto const moving = inverse.at(passing(pose, Time::variable(0)), branch, q);
            for (auto const& angle : moving.joints)
                CHECK(is_finite(angle));
            for (auto const& x : {moving.clearance.shoulder, moving.clearance.stretched,
                                  moving.clearance.folded, moving.clearance.elbow, moving.clearance.wrist})
                CHECK(is_finite(x));
        }
        auto const here = inverse.at(pose, inverse.branch_of(q), q);
        CHECK(inverse.reaches(here.clearance));
        CHECK(std::abs(least(here.clearance)) <= 3e-8); // a root of rounding, where the sine is one
        return here.joints;
    };
    for (int n = 0; n < 20; ++n) {
        auto q = random_turns(random);
        // Axes 4 and 6 in line: joint 4 as asked, the rest as it was.
        q[4] = n % 2 == 0 ? 0 : pi;
        auto const puma = SerialArm<6>::standard_dh(puma_560());
        auto const wrist = check(puma, q, [](auto const& c) { return c.wrist; });
        if (n % 2 == 0)
            CHECK(wrist[3] == q[3]);
        // A straight arm: at −(angle of the forearm to axis 4's side) of the PUMA 560.
        auto straight = random_turns(random);
        straight[2] = std::atan2(0.0203, 0.4318) - pi / 2 + pi;
        check(puma, straight, [](auto const& c) { return std::min(c.stretched, c.folded); });
        straight[2] += pi;
        check(puma, straight, [](auto const& c) { return std::min(c.stretched, c.folded); });
    }
    // So near to axis 1 that the powers of one over it would overflow; lengths without rounding.
    double const quarter = pi / 2;
    WristInverse const exact(
        SerialArm<6>::standard_dh({DhRow{1, 0.25, -quarter}, DhRow{0, 1, 0}, DhRow{0, 0.25, -quarter},
                                   DhRow{1.5, 0, quarter}, DhRow{0, 0, -quarter}, DhRow{0.25, 0, 0}}));
    Rotation<Base, Flange> const down{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}};
    auto const past =
        exact.at(passing(Pose<Base, Flange>{down, {1e-150, 0, 1.5}}, Time::variable(0)), arm_branches[0], {});
    for (auto const& angle : past.joints)
        CHECK(is_finite(angle));
    CHECK(is_finite(past.clearance.shoulder));
    // The wrist centre on axis 1 of the industrial arm: joint 1 as asked. Joint 3 at the angle that puts it
    // there is found by halving.
    auto const arm = SerialArm<6>::standard_dh(industrial_rows());
    auto const to_axis = [&](double lean) {
        auto const pose = arm.forward(std::array<double, 6>{0, lean, 0, 0, 0, 0});
        return pose.origin.x - 0.2 * pose.rotation.m[0][2];
    };
    double low = -1.5, high = 0;
    for (int i = 0; i < 60; ++i) {
        double const middle = (low + high) / 2;
        (to_axis(middle) < 0 ? low : high) = middle;
    }
    std::array<double, 6> const over{0.6, low, 0, 0.3, 0.7, 0.2};
    auto const joints = check(arm, over, [](auto const& c) { return c.shoulder; });
    CHECK(joints[0] == 0.6);
    CHECK(std::abs(joints[1] - low) <= 1e-12);
}

TEST_CASE("whatever pose is asked for, the answer is finite or says that it is not in reach") {
    WristInverse const inverse(SerialArm<6>::standard_dh(puma_560()));
    auto const turn = about_axis<Base, Flange>(Direction<Base>{0.6, 0, 0.8}, 0.7);
    for (double const x : wild_numbers)
        for (double const y : wild_numbers) {
            for (auto const& origin :
                 {Point<Base>{x, y, 0.3}, Point<Base>{x, 0.2, y}, Point<Base>{0, x, y}}) {
                bool const in_range = std::abs(x) < 1e50 && std::abs(y) < 1e50;
                for (auto const& branch : {arm_branches[0], arm_branches[7]}) {
                    auto const s = inverse.at(Pose<Base, Flange>{turn, origin}, branch, {});
                    bool finite = true;
                    for (double const angle : s.joints)
                        finite = finite && is_finite(angle);
                    CHECK((finite || !in_range));
                    if (!in_range)
                        CHECK(!inverse.reaches(s.clearance));
                }
            }
        }
    Pose<Base, Flange> const good{turn, {0.3, 0.2, 0.4}};
    CHECK(inverse.all(good).size() == 8);
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k) {
            auto broken = good;
            broken.rotation.m[i][k] = not_a_number;
            CHECK(inverse.all(broken).size() == 0);
        }
}

TEST_CASE("an arm without a closed form is refused, with what is wrong and by how much") {
    double const quarter = pi / 2;
    auto sliding = industrial_rows();
    sliding[2].kind = JointKind::prismatic;
    CHECK(has(refusal_of_arm(SerialArm<6>::standard_dh(sliding)), "joint 3 slides"));
    // Axis 4 leaves the forearm's line by 5 mm before axis 5, axis 6 by 7 mm.
    CHECK(has(refusal_of_arm(with_row(3, {1.4, 0.005, quarter})), "axes 4, 5 and 6 miss each other by 5 mm"));
    CHECK(has(refusal_of_arm(with_row(4, {0, 0.007, -quarter})), "axes 4, 5 and 6 miss each other by 7 mm"));
    CHECK(has(refusal_of_arm(with_row(4, {0.003, 0, -quarter})), "axes 4, 5 and 6 miss each other by 3 mm"));
    CHECK(has(refusal_of_arm(with_row(1, {0, 1.1, degrees(1), -quarter})),
              "axes 2 and 3 are 1 degrees from parallel"));
    CHECK(has(refusal_of_arm(with_row(0, {0.8, 0.35, degrees(-88)})),
              "axes 1 and 2 are 2 degrees from perpendicular"));
    CHECK(has(refusal_of_arm(with_row(3, {1.4, 0, degrees(60)})),
              "axes 4 and 5 are 30 degrees from perpendicular"));
    CHECK(has(refusal_of_arm(with_row(4, {0, 0, degrees(-60)})),
              "axes 5 and 6 are 30 degrees from perpendicular"));
    CHECK(has(refusal_of_arm(with_row(1, {0.1, 0, 0})), "axes 2 and 3 are one line"));
    CHECK(has(refusal_of_arm(with_row(2, {0, 0, 0})), "meet on axis 3"));
    // A table that rounds a quarter turn to five digits is off by 4e-6 rad, and says so.
    CHECK(has(refusal_of_arm(with_row(0, {0.8, 0.35, -1.5708})), "axes 1 and 2 are 0.00021"));
    CHECK(refusal_of_arm(with_row(1, {0.1, 1.1, pi, -quarter})) == "");
}

TEST_CASE("the inverse does not touch the heap") {
    auto const arm = SerialArm<6>::standard_dh(industrial_rows());
    WristInverse const inverse(arm);
    static_assert(std::is_trivially_copyable_v<ArmSolution<>> && std::is_trivially_copyable_v<WristInverse>);
    auto const pose = arm.forward(std::array{0.3, 0.2, 0.1, 0.4, 0.9, -0.2});
    AllocationGuard guard;
    auto const all = inverse.all(pose);
    auto const moving =
        inverse.at(passing(pose, Taylor<double, 3>::variable(0)), all[0].branch, all[0].joints);
    CHECK(guard.count() == 0);
    CHECK(all.size() == 8);
    CHECK(is_finite(moving.joints[5]));
}
