#include "seamhold/motion/straight_move.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Move = StraightMove<Cell, Flange>;
RateLimits const way{0.5, 2, 20};  // m
RateLimits const turn{1.5, 4, 50}; // rad

struct Peak {
    double velocity = 0, turning = 0;
};

// The highest speed of the origin and of the turn over fine samples.
Peak peak_of(Move const& move, double start, double end) {
    Peak peak;
    for (int i = 0; i <= 500; ++i) {
        auto const twist = twist_of(move.at(Taylor<double, 1>::variable(start + (end - start) * i / 500)));
        peak.velocity = std::max(peak.velocity, norm(twist.linear));
        peak.turning = std::max(peak.turning, norm(twist.angular));
    }
    return peak;
}

} // namespace

TEST_CASE("a straight move starts and ends in the given poses, at rest") {
    Random random(641);
    for (std::size_t n = 0; n < runs(50); ++n) {
        auto const start = random_pose<Cell, Flange>(random);
        auto const end = random_pose<Cell, Flange>(random);
        Move const move(start, end, way, turn, 3.0);
        for (double const t : {-100.0, 0.0, 3.0}) {
            CHECK(difference(move.at(t), start) <= 10 * epsilon); // one product with a unit rotation
            CHECK(norm(twist_of(move.at(Taylor<double, 1>::variable(t))).linear) == 0);
        }
        // The end is a time rounded to one unit in the last place: it may come that much early.
        for (double const t : {move.end_time(), move.end_time() + 1e-9, 1e6}) {
            CHECK(difference(move.at(t), end) <= 30 * epsilon);
            CHECK(norm(twist_of(move.at(Taylor<double, 1>::variable(t))).linear) <= 10 * epsilon);
            CHECK(norm(twist_of(move.at(Taylor<double, 1>::variable(t))).angular) <= 10 * epsilon);
        }
    }
}

TEST_CASE("the origin keeps to the line, the turn to one axis, and both go together") {
    Random random(642);
    for (std::size_t n = 0; n < runs(50); ++n) {
        auto const start = random_pose<Cell, Flange>(random);
        auto const end = random_pose<Cell, Flange>(random);
        Move const move(start, end, way, turn);
        auto const line = end.origin - start.origin;
        double const whole = angle_between(start.rotation, end.rotation);
        CHECK(whole <= std::numbers::pi);
        double last = 0;
        for (int i = 0; i <= 20; ++i) {
            auto const pose = move.at(move.end_time() * i / 20);
            auto const covered = pose.origin - start.origin;
            double const part = norm(covered) / norm(line);
            CHECK(norm(cross(covered, unit(line))) <= 10 * epsilon);
            CHECK(std::abs(angle_between(start.rotation, pose.rotation) - part * whole) <= 40 * epsilon);
            CHECK(std::abs(angle_between(start.rotation, pose.rotation) +
                           angle_between(pose.rotation, end.rotation) - whole) <= 80 * epsilon);
            CHECK(part >= last - 10 * epsilon);
            last = part;
        }
    }
}

TEST_CASE("it takes the least time that way and turn allow") {
    Random random(643);
    int by_way = 0, by_turn = 0;
    for (std::size_t n = 0; n < std::max<std::size_t>(50, runs(50)); ++n) {
        auto const start = random_pose<Cell, Flange>(random, 0.3);
        auto const end = random_pose<Cell, Flange>(random, 0.3);
        Move const move(start, end, way, turn);
        // Neither is faster than its own least time. Where the same quantity is tightest in velocity,
        // acceleration and jerk, the whole is no slower than that either.
        double const way_alone = Profile(norm(end.origin - start.origin), way).duration();
        double const turn_alone = Profile(angle_between(start.rotation, end.rotation), turn).duration();
        double const longer = std::max(way_alone, turn_alone);
        CHECK(move.end_time() >= longer * (1 - 50 * epsilon));
        double const w = norm(end.origin - start.origin), a = angle_between(start.rotation, end.rotation);
        bool const way_tightest = w / way.velocity >= a / turn.velocity &&
                                  w / way.acceleration >= a / turn.acceleration &&
                                  w / way.jerk >= a / turn.jerk;
        bool const turn_tightest = w / way.velocity <= a / turn.velocity &&
                                   w / way.acceleration <= a / turn.acceleration &&
                                   w / way.jerk <= a / turn.jerk;
        if (way_tightest || turn_tightest)
            CHECK(std::abs(move.end_time() - longer) <= 50 * epsilon * longer);
        by_way += way_tightest ? 1 : 0;
        by_turn += turn_tightest ? 1 : 0;
        auto const peak = peak_of(move, 0, move.end_time());
        CHECK(peak.velocity <= way.velocity * (1 + 50 * epsilon));
        CHECK(peak.turning <= turn.velocity * (1 + 50 * epsilon));
    }
    CHECK(by_way > 0);
    CHECK(by_turn > 0);
}

TEST_CASE("laws of a motion") {
    Random random(644);
    Move const move(random_pose<Cell, Flange>(random), random_pose<Cell, Flange>(random), way, turn, 0.1);
    std::vector<double> times;
    for (int i = 0; i < 200; ++i)
        times.push_back(0.1 + (move.end_time() - 0.1) * (i + 0.37) / 200);
    MotionLaws<Cell, Flange, Move> const laws(move, times, 1e-5);
    CHECK(laws.finite);
    CHECK(laws.not_rotation <= 20 * epsilon);
    CHECK(laws.value_apart <= 20 * epsilon);
    // step²/6 times the third derivative, below the jerk of 50 rad/s³ plus 3·1.5·4 plus 1.5³; a central
    // difference across a break is wrong by half a step² of the jerk.
    CHECK(laws.slope_apart <= 50);
    CHECK(laws.jump[0] <= 20 * epsilon);
    CHECK(laws.jump[1] <= 100 * epsilon);
    CHECK(laws.jump[2] <=
          1000 * epsilon); // jerk 50 times time rounded to one unit in the last place of seconds
    static_assert(Motion<Move, Cell, Flange> && Move::continuity == 2);
    CHECK(has_data(move, -5.0));
    auto const breaks = breaks_of(move);
    CHECK(breaks.front() == 0.1);
    CHECK(breaks.back() == move.end_time());
}

TEST_CASE("moves that only glide, only turn, turn half round, or do nothing") {
    Pose<Cell, Flange> const start{about_axis<Cell, Flange>(Direction<Cell>{0.6, 0, 0.8}, 0.7), {1, 2, 3}};
    Pose<Cell, Flange> glide = start;
    glide.origin.x += 0.3;
    Move const gliding(start, glide, way, turn);
    CHECK(std::abs(gliding.end_time() - Profile(0.3, way).duration()) <= 50 * epsilon);
    CHECK(difference(gliding.at(0.5 * gliding.end_time()).origin, Point<Cell>{1.15, 2, 3}) <= 10 * epsilon);

    Pose<Cell, Flange> const turned{
        start.rotation * about_axis<Flange, Flange>(Direction<Flange>{0, 1, 0}, 0.5), start.origin};
    Move const turning(start, turned, way, turn);
    // The angle comes from a quaternion that went through two products.
    CHECK(std::abs(turning.end_time() - Profile(0.5, turn).duration()) <= 1e-14);
    CHECK(difference(turning.at(0.3).origin, start.origin) == 0);

    Pose<Cell, Flange> const half{
        start.rotation * about_axis<Flange, Flange>(Direction<Flange>{0, 1, 0}, std::numbers::pi),
        start.origin};
    Move const half_turn(start, half, way, turn);
    CHECK(difference(half_turn.at(half_turn.end_time()), half) <= 30 * epsilon);
    CHECK(std::abs(angle_between(start.rotation, half_turn.at(0.5 * half_turn.end_time()).rotation) -
                   std::numbers::pi / 2) <= 30 * epsilon);

    Move const nothing(start, start, way, turn, 5.0);
    CHECK(std::abs(nothing.end_time() - 5.0) <=
          1e-4); // rounding noise of the rotation may be "turned" in no time
    for (double const t : {0.0, 5.0, 6.0})
        CHECK(difference(nothing.at(t), start) <= 20 * epsilon);
    Move const still(Pose<Cell, Flange>::identity(), Pose<Cell, Flange>::identity(), way, turn, 5.0);
    CHECK(still.end_time() == 5.0);
    CHECK(is_finite(still.at(Taylor<double, 3>::variable(5.0)).origin));
}

TEST_CASE("a tiny move is made as well as a large one") {
    Pose<Cell, Flange> const start = Pose<Cell, Flange>::identity();
    for (double const size : {1e-3, 1e-9, 1e-15, 1e-30, 1e-100}) {
        CAPTURE(size);
        Pose<Cell, Flange> end = start;
        end.origin.x = size;
        Move const move(start, end, way, turn);
        CHECK(std::abs(move.end_time() - Profile(size, way).duration()) <= 50 * epsilon * move.end_time());
        CHECK(std::abs(move.at(0.5 * move.end_time()).origin.x - 0.5 * size) <= 50 * epsilon * size);
        CHECK(move.at(move.end_time()).origin.x == size);
    }
}

TEST_CASE("limits that cannot be driven are refused") {
    auto const pose = Pose<Cell, Flange>::identity();
    for (double const bad :
         {0.0, -1.0, std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
        CHECK_THROWS_AS(Move(pose, pose, (RateLimits{bad, 1, 1}), turn), BadInput);
        CHECK_THROWS_AS(Move(pose, pose, way, (RateLimits{1, bad, 1})), BadInput);
        CHECK_THROWS_AS(Move(pose, pose, way, (RateLimits{1, 1, bad})), BadInput);
    }
}

TEST_CASE("at float, and without the heap") {
    Random random(645);
    Move const move(random_pose<Cell, Flange>(random), random_pose<Cell, Flange>(random), way, turn);
    // The time as float is off by half a unit in its last place; speeds below 1.5 a second.
    CHECK(difference(value_of(move.at(0.75F)), move.at(0.75)) <= 10 * 1.2e-7);
    AllocationGuard guard;
    auto const pose = move.at(Taylor<double, 3>::variable(0.75));
    CHECK(guard.count() == 0);
    CHECK(is_finite(pose.origin));
}
