#include "seamhold/motion/joint_move.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/arms.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Move = JointMove<6>;
SerialArm<6> arm() { return SerialArm<6>::standard_dh(puma_560()); }
Pose<Cell, Base> const cell_from_base{about_axis<Cell, Base>(Direction<Cell>{0, 0, 1}, 0.4),
                                      {0.2, -0.1, 0.8}};
std::array<double, 6> const start{0.1, -0.7, 2.0, 0.4, -0.5, 1.2};
std::array<double, 6> const end{-0.6, -0.3, 1.5, 0.4, 0.5, 2.0};
std::array<RateLimits, 6> const limits{RateLimits{1, 3, 30}, {0.8, 2, 20}, {1.2, 3, 30},
                                       {2, 6, 60},           {1.8, 5, 70}, {2.5, 8, 90}};

} // namespace

TEST_CASE("all joints start and arrive together, at rest") {
    Move const move(cell_from_base, arm(), start, end, limits, 2.0);
    for (double const t : {-10.0, 0.0, 2.0})
        CHECK(move.joints_at(t) == start);
    for (double const t : {move.end_time(), 100.0})
        for (std::size_t i = 0; i < 6; ++i)
            CHECK(std::abs(move.joints_at(t)[i] - end[i]) <= 2 * epsilon);
    for (double const t : {0.0, 2.0, move.end_time(), 100.0}) {
        auto const twist = twist_of(move.at(Taylor<double, 1>::variable(t)));
        CHECK(norm(twist.linear) == 0);
        CHECK(norm(twist.angular) == 0);
    }
    // Joints share one profile: at any time the same part of each way is done.
    for (int i = 0; i <= 20; ++i) {
        auto const q = move.joints_at(2.0 + (move.end_time() - 2.0) * i / 20);
        double const part = (q[0] - start[0]) / (end[0] - start[0]);
        for (std::size_t k = 0; k < 6; ++k)
            CHECK(std::abs(q[k] - start[k] - part * (end[k] - start[k])) <= 20 * epsilon);
    }
}

TEST_CASE("the pose is that of the arm at the joints") {
    Move const move(cell_from_base, arm(), start, end, limits);
    for (int i = 0; i <= 20; ++i) {
        double const t = move.end_time() * i / 20;
        CHECK(difference(move.at(t), cell_from_base * arm().forward(move.joints_at(t))) == 0);
    }
}

TEST_CASE("every joint keeps its limits, and one of them is used up") {
    Move const move(cell_from_base, arm(), start, end, limits);
    double used = 0;
    for (int n = 0; n <= 2000; ++n) {
        auto const q = move.joints_at(Taylor<double, 3>::variable(move.end_time() * n / 2000));
        for (std::size_t i = 0; i < 6; ++i) {
            double const shares[3] = {std::abs(q[i].derivative(1)) / limits[i].velocity,
                                      std::abs(q[i].derivative(2)) / limits[i].acceleration,
                                      std::abs(q[i].derivative(3)) / limits[i].jerk};
            for (double const share : shares) {
                CHECK(share <= 1 + 50 * epsilon);
                used = std::max(used, share);
            }
        }
    }
    CHECK(used >= 1 - 50 * epsilon);
}

TEST_CASE("each joint alone takes its own least time") {
    for (std::size_t i = 0; i < 6; ++i) {
        CAPTURE(i);
        auto only = start;
        only[i] += 0.9;
        Move const move(cell_from_base, arm(), start, only, limits);
        CHECK(std::abs(move.end_time() - Profile(0.9, limits[i]).duration()) <= 50 * epsilon);
    }
}

TEST_CASE("laws of a motion") {
    Move const move(cell_from_base, arm(), start, end, limits, 0.1);
    std::vector<double> times;
    for (int i = 0; i < 200; ++i)
        times.push_back(0.1 + (move.end_time() - 0.1) * (i + 0.37) / 200);
    MotionLaws<Cell, Flange, Move> const laws(move, times, 1e-5);
    CHECK(laws.finite);
    CHECK(laws.not_rotation <= 60 * epsilon); // six links
    CHECK(laws.value_apart <= 60 * epsilon);
    // step²/6 times the third derivative: a jerk of up to 70 rad/s³ on levers up to 1 m, and products of
    // rates.
    CHECK(laws.slope_apart <= 100);
    CHECK(laws.jump[0] <= 60 * epsilon);
    CHECK(laws.jump[1] <= 300 * epsilon);
    CHECK(laws.jump[2] <= 3000 * epsilon); // jerk times time rounded to one unit in the last place of seconds
    static_assert(Motion<Move, Cell, Flange> && Move::continuity == 2);
    CHECK(breaks_of(move).front() == 0.1);
    CHECK(breaks_of(move).back() == move.end_time());
}

TEST_CASE("no move, and limits that cannot be driven") {
    Move const nothing(cell_from_base, arm(), start, start, limits, 5.0);
    CHECK(nothing.end_time() == 5.0);
    CHECK(nothing.joints_at(7.0) == start);
    auto bad = limits;
    bad[3].acceleration = 0;
    CHECK_THROWS_AS(Move(cell_from_base, arm(), start, end, bad), BadInput);
    bad[3].acceleration = std::numeric_limits<double>::infinity();
    CHECK_THROWS_AS(Move(cell_from_base, arm(), start, end, bad), BadInput);
}

TEST_CASE("at float, and without the heap") {
    Move const move(cell_from_base, arm(), start, end, limits);
    CHECK(difference(value_of(move.at(0.5F)), move.at(0.5)) <=
          40 * 1.2e-7); // six angles up to 2 rad on levers up to 1 m
    AllocationGuard guard;
    auto const pose = move.at(Taylor<double, 2>::variable(0.5));
    CHECK(guard.count() == 0);
    CHECK(is_finite(pose.origin));
}
