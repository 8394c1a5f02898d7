// The closed-form inverse of arms with a spherical wrist against printed values and another library's
// forward.
//
// [P] PUMA 560: table and nominal pose from P. Corke, robotics-toolbox-matlab on github.com, wiki page "Arm
// robot
//     examples"; the joints that its inverse gives for that pose are printed with seven digits by the page
//     "IKine6s" of scilab.ninja, and were refined to ten apart from this project.
// KDL: the Orocos Kinematics and Dynamics Library (H. Bruyninckx, R. Smits and others; Debian package
//     liborocos-kdl-dev), which builds its chains from whole transforms.

#include "seamhold/arm/wrist_inverse.hpp"

#include <doctest/doctest.h>

#include "arm/wrist_arms.hpp"
#include "support/arms.hpp"
#include "support/poses.hpp"
#include "support/refusal.hpp"

#include <kdl/chain.hpp>
#include <kdl/chainfksolverpos_recursive.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;

KDL::Chain chain_of(std::array<DhRow, 6> const& rows) {
    KDL::Chain chain;
    for (auto const& row : rows)
        chain.addSegment(
            KDL::Segment(KDL::Joint(KDL::Joint::RotZ), KDL::Frame::DH(row.a, row.alpha, row.d, row.theta)));
    return chain;
}

KDL::JntArray joints_of(std::array<double, 6> const& q) {
    KDL::JntArray joints(6);
    for (unsigned i = 0; i < 6; ++i)
        joints(i) = q[i];
    return joints;
}

Pose<Base, Flange> pose_of(KDL::Frame const& frame) {
    Pose<Base, Flange> pose{{}, {frame.p.x(), frame.p.y(), frame.p.z()}};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            pose.rotation.m[i][k] = frame.M(i, k);
    return pose;
}

} // namespace

TEST_CASE("PUMA 560 in its nominal pose: the printed joints are one of the eight branches, [P]") {
    WristInverse const inverse(SerialArm<6>::standard_dh(puma_560()));
    // The pose's printed rotation; its origin with ten digits.
    Pose<Base, Flange> const nominal{{{{0, 0, 1}, {0, 1, 0}, {-1, 0, 0}}},
                                     {0.5963031486, -0.15005, -0.0143542677}};
    std::array<double, 6> const printed{2.6485612, -3.9269908, 0.0939558, 2.5325594, 0.9743495, 0.3733996};
    std::array<double, 6> const refined{2.6485612092, -3.9269908170, 0.0939558327,
                                        2.5325594371, 0.9743495849,  0.3733995768};
    // "Arm to the left, elbow up": the arm reaches over, for at zero it stands to the right.
    ArmBranch const branch{Shoulder::back, Elbow::high, Wrist::positive};
    auto const found = inverse.at(nominal, branch, {3, -4, 0, 3, 1, 0});
    CHECK(inverse.reaches(found.clearance));
    for (std::size_t i = 0; i < 6; ++i) {
        CHECK(std::abs(found.joints[i] - printed[i]) <= 1.1e-7);
        // The pose's last digit, 5e-11 m, over the length of the arm of 0.4 m and an elbow of sine 0.9.
        CHECK(std::abs(found.joints[i] - refined[i]) <= 5e-10);
    }
    CHECK(inverse.branch_of(refined) == branch);

    // And the joints that the pose was made from, (0, π/4, π, 0, π/4, 0).
    std::array<double, 6> const made_from{0, pi / 4, pi, 0, pi / 4, 0};
    auto const all = inverse.all(nominal);
    CHECK(all.size() == 8);
    auto const from_these = [&](ArmSolution<> const& s) {
        bool same = true;
        for (std::size_t i = 0; i < 6; ++i)
            same = same && std::abs(std::remainder(s.joints[i] - made_from[i], 2 * pi)) <= 5e-10;
        return same;
    };
    CHECK(std::count_if(all.begin(), all.end(), from_these) == 1);
}

TEST_CASE("the six-axis arm of Modern Robotics, example 4.5, has no spherical wrist and is refused") {
    // Its axes 2, 3 and 4 are parallel; 4 and 5 meet, and 6 passes their place by H2 = 95 mm (from memory).
    double const w1 = 0.109, w2 = 0.082, l1 = 0.425, l2 = 0.392, h1 = 0.089, h2 = 0.095;
    auto const arm =
        SerialArm<6>::standard_dh({DhRow{h1, 0, -pi / 2}, DhRow{0, l1, 0}, DhRow{0, l2, 0},
                                   DhRow{w1, 0, -pi / 2}, DhRow{h2, 0, pi / 2}, DhRow{w2, 0, 0, pi}});
    CHECK(has(refusal_of([&] { return WristInverse(arm); }), "axes 4, 5 and 6 miss each other by 95 mm"));
}

TEST_CASE("KDL's forward of every branch gives the pose") {
    Random random(521);
    for (auto const& rows : {puma_560(), industrial_rows()}) {
        WristInverse const inverse(SerialArm<6>::standard_dh(rows));
        auto const chain = chain_of(rows);
        KDL::ChainFkSolverPos_recursive forward(chain);
        double worst = 0;
        for (std::size_t n = 0; n < runs(200); ++n) {
            KDL::Frame frame;
            REQUIRE(forward.JntToCart(joints_of(random_joints(random, rows)), frame) >= 0);
            auto const pose = pose_of(frame);
            auto const all = inverse.all(pose);
            CHECK(all.size() >= 4);
            for (auto const& solution : all) {
                KDL::Frame again;
                REQUIRE(forward.JntToCart(joints_of(solution.joints), again) >= 0);
                worst = std::max(worst, difference(pose_of(again), pose));
            }
        }
        CHECK(worst <= 1e-13); // some hundred roundings of 3 m
    }
}
