// Serial arms against the Orocos Kinematics and Dynamics Library (H. Bruyninckx, R. Smits and others; Debian
// package liborocos-kdl-dev), which builds its chains from whole transforms.

#include "seamhold/arm/serial_arm.hpp"

#include <doctest/doctest.h>

#include "support/arms.hpp"
#include "support/poses.hpp"

#include <kdl/chain.hpp>
#include <kdl/chainfksolverpos_recursive.hpp>
#include <kdl/chainjnttojacsolver.hpp>

#include <array>
#include <cstddef>
#include <limits>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Two ways through seven links of lengths up to 0.7 m with variables up to 0.5 m: about 20 roundings a link
// of numbers up to 5.
double const rounding = 7 * 20 * 5 * std::numeric_limits<double>::epsilon() / 2;

// KDL's segment of one row. Its DH() and DH_Craig1989() take a turn or a slide only about an axis of a frame,
// so the constant parts go into the segment's frame: standard: joint along z, then the link; modified: Rx Tx
// first.
void add_row(KDL::Chain& chain, DhRow const& row, bool modified) {
    KDL::Joint const joint(row.kind == JointKind::revolute ? KDL::Joint::RotZ : KDL::Joint::TransZ);
    if (modified) {
        auto const to_axis = KDL::Frame::DH_Craig1989(row.a, row.alpha, row.d, row.theta);
        // Rx(α) Tx(a) Rz(θ) Tz(d) brings the joint to its place; the joint's own turn or slide along z
        // commutes with the Rz and Tz before it.
        chain.addSegment(KDL::Segment(KDL::Joint(KDL::Joint::None), to_axis));
        chain.addSegment(KDL::Segment(joint));
    } else {
        chain.addSegment(KDL::Segment(joint, KDL::Frame::DH(row.a, row.alpha, row.d, row.theta)));
    }
}

template <std::size_t N> void compare(bool modified, bool sliding, std::uint64_t seed) {
    Random random(seed);
    for (std::size_t n = 0; n < runs(50); ++n) {
        auto const rows = random_rows<N>(random, sliding);
        KDL::Chain chain;
        for (auto const& row : rows)
            add_row(chain, row, modified);
        KDL::ChainFkSolverPos_recursive forward(chain);
        KDL::ChainJntToJacSolver differential(chain);
        auto const arm = modified ? SerialArm<static_cast<int>(N)>::modified_dh(rows)
                                  : SerialArm<static_cast<int>(N)>::standard_dh(rows);
        auto const q = random_joints(random, rows);
        KDL::JntArray joints(static_cast<unsigned>(N));
        for (unsigned i = 0; i < N; ++i)
            joints(i) = q[i];

        KDL::Frame frame;
        REQUIRE(forward.JntToCart(joints, frame) >= 0);
        Pose<Base, Flange> theirs{};
        for (int i = 0; i < 3; ++i)
            for (int k = 0; k < 3; ++k)
                theirs.rotation.m[i][k] = frame.M(i, k);
        theirs.origin = {frame.p.x(), frame.p.y(), frame.p.z()};
        CHECK(difference(arm.forward(q), theirs) <= rounding);

        KDL::Jacobian jacobian(static_cast<unsigned>(N));
        REQUIRE(differential.JntToJac(joints, jacobian) >= 0);
        auto const columns = arm.jacobian(q);
        for (unsigned i = 0; i < N; ++i) {
            KDL::Twist const twist = jacobian.getColumn(i); // velocity first, taken at the flange's origin
            CHECK(difference(columns[i].linear,
                             Direction<Base>{twist.vel.x(), twist.vel.y(), twist.vel.z()}) <= rounding);
            CHECK(difference(columns[i].angular,
                             Direction<Base>{twist.rot.x(), twist.rot.y(), twist.rot.z()}) <= rounding);
        }
    }
}

} // namespace

TEST_CASE("random arms of six and seven turning joints agree with KDL, standard convention") {
    compare<6>(false, false, 501);
    compare<7>(false, false, 502);
}

TEST_CASE("random arms of six and seven turning joints agree with KDL, modified convention") {
    compare<6>(true, false, 503);
    compare<7>(true, false, 504);
}

TEST_CASE("random arms with sliding joints agree with KDL, both conventions") {
    compare<6>(false, true, 505);
    compare<7>(false, true, 506);
    compare<6>(true, true, 507);
    compare<3>(true, true, 508);
}

TEST_CASE("PUMA 560 agrees with KDL all over its joints") {
    Random random(509);
    KDL::Chain chain;
    for (auto const& row : puma_560())
        add_row(chain, row, false);
    KDL::ChainFkSolverPos_recursive forward(chain);
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    for (std::size_t n = 0; n < runs(200); ++n) {
        auto const q = random_joints(random, puma_560());
        KDL::JntArray joints(6);
        for (unsigned i = 0; i < 6; ++i)
            joints(i) = q[i];
        KDL::Frame frame;
        REQUIRE(forward.JntToCart(joints, frame) >= 0);
        CHECK(difference(arm.forward(q).origin, Point<Base>{frame.p.x(), frame.p.y(), frame.p.z()}) <=
              rounding);
    }
}
