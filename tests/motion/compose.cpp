#include "seamhold/motion/compose.hpp"

#include <doctest/doctest.h>

#include "seamhold/motion/pose_log.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/motion/steady.hpp"
#include "seamhold/motion/straight_move.hpp"
#include "seamhold/motion/turntable.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"

#include <algorithm>
#include <type_traits>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

struct Table;

TEST_CASE("a part on a turning positioner is the table times the part at rest on it") {
    Random random(671);
    Turntable<Cell, Table> const table{
        random_pose<Cell, Table>(random), {0.1, 0.2, 0.3}, {0, 0.6, 0.8}, 0.7, 1.0};
    Rest<Table, Part> const part{random_pose<Table, Part>(random)};
    auto const both = compose(table, part);
    static_assert(Motion<decltype(both), Cell, Part>);
    // The same as a turntable whose start is the part's: the documentation offers both.
    Turntable<Cell, Part> const direct{table.start * part.pose, table.axis_point, table.axis, 0.7, 1.0};
    for (double const t : {-2.0, 0.0, 1.0, 5.5}) {
        CHECK(difference(both.at(t), direct.at(t)) <= 20 * epsilon);
        auto const a = both.at(Taylor<double, 2>::variable(t));
        auto const b = direct.at(Taylor<double, 2>::variable(t));
        CHECK(difference(rate_of(a, 1), rate_of(b, 1)) <= 40 * epsilon);
        CHECK(difference(rate_of(a, 2), rate_of(b, 2)) <= 60 * epsilon);
    }
}

TEST_CASE("a composed motion has data where both have, and the breaks of both") {
    std::vector<double> times;
    for (int i = 0; i <= 20; ++i)
        times.push_back(0.1 * i);
    PoseLog<Cell, Flange> const log(rows_of(Sweep{}, times));
    RateLimits const limits{1, 1, 1};
    StraightMove<Flange, Head> const move(Pose<Flange, Head>::identity(),
                                          {Rotation<Flange, Head>::identity(), {0.1, 0, 0}}, limits, limits,
                                          0.25);
    auto const both = compose(log, move);
    static_assert(Motion<decltype(both), Cell, Head>);
    CHECK(both.covers(1.0));
    CHECK_FALSE(both.covers(2.5));
    CHECK(has_data(compose(move, Rest<Head, Part>{Pose<Head, Part>::identity()}), 1e9));
    auto const breaks = both.breaks();
    CHECK(std::is_sorted(breaks.begin(), breaks.end()));
    CHECK(std::adjacent_find(breaks.begin(), breaks.end()) == breaks.end());
    for (double const b : log.breaks())
        CHECK(std::find(breaks.begin(), breaks.end(), b) != breaks.end());
    for (double const b : move.breaks())
        CHECK(std::find(breaks.begin(), breaks.end(), b) != breaks.end());
}

TEST_CASE("a motion seen from the other side") {
    auto const back = invert(Sweep{});
    static_assert(Motion<decltype(back), Flange, Cell>);
    for (double const t : {0.0, 0.7, 1.9}) {
        CHECK(difference(back.at(t) * Sweep{}.at(t), Pose<Flange, Flange>::identity()) <= 20 * epsilon);
        auto const round = compose(Sweep{}, back).at(Taylor<double, 2>::variable(t));
        CHECK(difference(rate_of(round, 1).origin, Point<Cell>{0, 0, 0}) <= 200 * epsilon);
        CHECK(difference(rate_of(round, 2).origin, Point<Cell>{0, 0, 0}) <= 1000 * epsilon);
    }
    std::vector<double> times{0, 1, 2};
    PoseLog<Cell, Part> const log(
        std::vector<PoseRow<Cell>>{{0, {0, 0, 0}, {1, 0, 0, 0}}, {1, {1, 0, 0}, {1, 0, 0, 0}}});
    CHECK(invert(log).covers(0.5));
    CHECK_FALSE(invert(log).covers(1.5));
    CHECK(invert(log).breaks() == log.breaks());
}

TEST_CASE("motions of a chain: the head over a part that moves too") {
    // The way from part to head, once as a composition of motions and once pose by pose.
    Random random(672);
    Rest<Flange, Head> const mount{random_pose<Flange, Head>(random)};
    Turntable<Cell, Part> const part{random_pose<Cell, Part>(random), {0.1, 0.2, 0.3}, {0, 0, 1}, 0.7};
    auto const head_from_part = compose(invert(compose(Sweep{}, mount)), part);
    static_assert(Motion<decltype(head_from_part), Head, Part>);
    for (double const t : {0.0, 0.7, 1.9}) {
        auto const want = inverse(mount.pose) * inverse(Sweep{}.at(t)) * part.at(t);
        CHECK(difference(head_from_part.at(t), want) <= 40 * epsilon);
    }
}
