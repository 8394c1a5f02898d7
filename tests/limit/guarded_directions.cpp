#include "seamhold/limit/guarded_directions.hpp"
#include "seamhold/limit/guarded_between_seams.hpp"

#include <doctest/doctest.h>

#include "seamhold/head/mirror_pair.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <vector>

// Directions of the beam in the cell against cones: by hand, and proofs re-checked by dense samples.

using namespace seamhold;
using namespace seamhold::test;

namespace {

Direction<Cell> const down{0, 0, -1};

// A direction that turns about the cell's y axis from straight down towards +x, by rate · t.
struct Turn {
    double rate;

    template <class T> Direction<Cell, T> at(T const& t) const {
        auto const turn = sin_cos(t * rate);
        return {turn.sin, T(0.0), -turn.cos};
    }
};

// The same to and fro: half a radian after 5 s, back after 10 s.
struct Swing {
    template <class T> Direction<Cell, T> at(T const& t) const {
        auto const turn = sin_cos(sin_cos(t * (std::numbers::pi / 10)).sin * 0.5);
        return {turn.sin, T(0.0), -turn.cos};
    }
};

// A direction that nods and turns about the cell's z axis.
struct Wobble {
    double a, b, c, d, e;
    template <class T> Direction<Cell, T> at(T const& t) const {
        auto const lean = sin_cos(sin_cos(t * c).sin * a + T(b));
        auto const turn = sin_cos(t * d + T(e));
        return {lean.sin * turn.cos, lean.sin * turn.sin, -lean.cos};
    }
};

template <class Motion>
Guarded looked(GuardedDirections const& directions, double first, double last, Motion const& motion,
               HalvingBudget const& budget = {}) {
    auto const at = [&](auto const& t) { return motion.at(t); };
    return guarded_while(directions, first, last, at, at, budget);
}
template <int N, class Motion>
Guarded looked_expanded(GuardedDirections const& directions, double first, double last,
                        Motion const& motion) {
    auto const at = [&](auto const& t) { return motion.at(t); };
    return guarded_while(directions, first, last, at, [&](Interval t) { return expanded<N>(t, at); });
}

GuardedDirections floor_of(double half_angle) { return GuardedDirections({{"floor", down, half_angle}}); }

} // namespace

TEST_CASE("the clearance of a cone, by hand") {
    GuardedCone const cone{"floor", {0, 0, -2}, degrees(60)};
    // 30° off the axis: 2 (cos 30° − cos 60°)
    Direction<Cell> const inside{0.5, 0, -std::sqrt(0.75)};
    CHECK(guarded_clearance(cone, inside) == doctest::Approx(std::sqrt(3.0) - 1).epsilon(4 * epsilon));
    CHECK(guarded_clearance(cone, Direction<Cell>{0, 1, 0}) == doctest::Approx(-1).epsilon(4 * epsilon));
    auto const at = [](auto const& t) { return Turn{1}.at(t); };
    // d/dt of 2 cos t is −2 sin t.
    auto const rates = guarded_clearance(cone, at(Taylor<double, 2>::variable(0.3)));
    CHECK(rates.derivative(1) == doctest::Approx(-2 * std::sin(0.3)).epsilon(4 * epsilon));
    CHECK(rates.derivative(2) == doctest::Approx(-2 * std::cos(0.3)).epsilon(4 * epsilon));
    auto const range = guarded_clearance(cone, at(Taylor<Interval, 2>::variable(Interval(0.2, 0.4))));
    CHECK(range.coefficient[0].contains(2 * std::cos(0.3) - 1));
    CHECK(range.coefficient[1].contains(-2 * std::sin(0.4)));
    CHECK(range.coefficient[1].high <= -2 * std::sin(0.2) + 1e-12);

    GuardedDirections const two({{"floor", down, degrees(60)}, {"wall", {1, 0, 0}, degrees(10)}});
    auto const nearest = two.nearest({std::sin(degrees(70)), 0, -std::cos(degrees(70))});
    CHECK(nearest.cone == 0);
    CHECK(nearest.outside == doctest::Approx(degrees(10)).epsilon(1e-12));
    CHECK(two.nearest({1, 0, 0}).cone == 1);
    CHECK(two.nearest({1, 0, 0}).outside == doctest::Approx(-degrees(10)).epsilon(1e-12));
    CHECK(two.nearest({not_a_number, 0, 0}).outside == infinity);
    CHECK(norm(GuardedDirections({cone}).cones()[0].axis) == 1);
}

TEST_CASE("set-up refuses") {
    auto const made = [](std::vector<GuardedCone> const& cones) { return GuardedDirections(cones); };
    CHECK(refusal_of([&] { return made({}); }) == "guarded directions need at least one cone");
    CHECK(refusal_of([&] {
              return made({{"floor", {0, 0, 0}, 1}});
          }) == "guarded cone \"floor\": the axis (0, 0, 0) has no direction");
    for (double const wrong : {0.0, -0.1, degrees(90), 2.0, not_a_number, infinity})
        CHECK(has(refusal_of([&] {
                      return made({{"wall", {1, 0, 0}, wrong}});
                  }),
                  "guarded cone \"wall\": the half angle must lie between 0° and 90°; given was "));
    CHECK(has(refusal_of([&] { return made({{"wall", {1, infinity, 0}, 1}}); }), "has no direction"));
    CHECK(has(refusal_of([&] { return looked(floor_of(1), 2, 1, Turn{1}); }), "2 s to 1 s"));
}

TEST_CASE("a beam that turns leaves its cone when it must") {
    // 0.5 rad/s from straight down: half a radian after a second.
    auto const clear = looked(floor_of(0.5), 0, 0.999, Turn{0.5});
    CHECK(clear.verdict == Verdict::within);
    auto const left = looked(floor_of(0.5), 0, 1.001, Turn{0.5});
    CHECK(left.verdict == Verdict::exceeds);
    CHECK(left.time > 1);
    CHECK(left.outside == doctest::Approx(0.5 * (left.time - 1)).epsilon(1e-9));
    CHECK(left.direction.x == doctest::Approx(std::sin(0.5 * left.time)));
    // In the last fraction of a microsecond only.
    for (double const last : {1.0, 0.9, 0.7, 0.33})
        for (double const over : {3e-8, 7e-8, 1e-7, 1.5e-7, 2e-7, 3e-7, 5e-7, 7e-7, 1e-6}) {
            CAPTURE(last);
            CAPTURE(over);
            auto const late = looked(floor_of(0.5 * last), 0, last + over, Turn{0.5});
            CHECK(late.verdict == Verdict::exceeds);
            CHECK(late.time > last);
        }
    // Back in before the end, and out for 2 ms in the middle of ten seconds only.
    // sin has its top at 5 s; out by 1e-3 s to either side: 0.5 (1 − (π/10 · 1e-3)²/2)
    double const edge = 0.5 * (1 - std::pow(std::numbers::pi * 1e-4, 2) / 2);
    auto const out = looked(floor_of(edge), 0, 10, Swing{});
    CHECK(out.verdict == Verdict::exceeds);
    CHECK(std::abs(out.time - 5) <= 1.001e-3);
    CHECK(looked(floor_of(0.5 + 1e-9), 0, 10, Swing{}).verdict == Verdict::within);
}

TEST_CASE("cones that meet guard together, cones that do not leave a gap") {
    // From straight down to along x, with cones of 46° and 46°, or 44°.
    auto const pair = [](double half_angle) {
        return GuardedDirections({{"floor", down, half_angle}, {"wall", {1, 0, 0}, half_angle}});
    };
    double const end = std::numbers::pi / 2;
    for (auto const& found :
         {looked(pair(degrees(46)), 0, end, Turn{1}), looked_expanded<2>(pair(degrees(46)), 0, end, Turn{1})})
        CHECK(found.verdict == Verdict::within);
    auto const gap = looked(pair(degrees(44)), 0, end, Turn{1});
    CHECK(gap.verdict == Verdict::exceeds);
    CHECK(std::abs(gap.time - degrees(45)) <= degrees(1));
    CHECK(gap.outside == doctest::Approx(degrees(1)).epsilon(1e-12)); // in the middle, found first
    // Cones that only just touch: a direction in the touch is not proven.
    CHECK(looked(pair(degrees(45)), 0, end, Turn{1}).verdict != Verdict::within);
}

TEST_CASE("what is not known stays undecided, and it ends") {
    auto const blind = [](Interval) {
        Interval const w = Interval::whole();
        return Direction<Cell, Interval>{w, w, w};
    };
    HalvingBudget const budget{200, 1e-7};
    auto const found = guarded_while(
        floor_of(1), 0, 1, [](double) { return down; }, blind, budget);
    CHECK(found.verdict == Verdict::undecided);
    CHECK(found.pieces <= 200);
    auto const lost = guarded_while(
        floor_of(1), 0, 1,
        [](double) {
            return Direction<Cell>{not_a_number, 0, 0};
        },
        blind, budget);
    CHECK(lost.verdict == Verdict::undecided);
}

TEST_CASE("soundness: guarded at every dense sample, and what is guarded is proven") {
    Random random(6301);
    std::size_t of_verdict[3] = {0, 0, 0}, near = 0, open = 0, pieces[2] = {0, 0};
    for (std::size_t i = 0; i < runs(300); ++i) {
        Wobble const motion{random.uniform(0, 0.5), random.uniform(0, 0.7), random.uniform(1, 60),
                            random.uniform(-30, 30), random.uniform(0, 6)};
        std::vector<GuardedCone> cones;
        for (std::size_t k = 0, count = 1 + random.index(3); k < count; ++k) {
            auto const lean = sin_cos(random.uniform(0, 0.8)), turn = sin_cos(random.uniform(0, 6.3));
            cones.push_back({"cone", {lean.sin * turn.cos, lean.sin * turn.sin, -lean.cos}, 0.3});
        }
        // The largest angle from the nearest axis, by the arc sine of half the chord.
        auto const angle_at = [&](double t) {
            auto const d = motion.at(t);
            double least = infinity;
            for (auto const& cone : cones)
                least = std::min(least, 2 * std::asin(std::min(1.0, norm(d - cone.axis) / 2)));
            return least;
        };
        auto const most = [&](int samples) {
            double angle = 0;
            for (int s = 0; s <= samples; ++s)
                angle = std::max(angle, angle_at(0.1 * s / samples));
            return angle;
        };
        // The largest angle: samples, and a ternary search around each that is above its neighbours.
        double largest = most(1);
        for (int k = 1; k < 1000; ++k) {
            double from = 1e-4 * (k - 1), to = 1e-4 * (k + 1);
            double const here = angle_at(1e-4 * k);
            if (here < angle_at(from) || here < angle_at(to))
                continue;
            for (int step = 0; step < 40; ++step) {
                double const one = from + (to - from) / 3, two = to - (to - from) / 3;
                bool const left = angle_at(one) > angle_at(two);
                (left ? to : from) = left ? two : one;
            }
            largest = std::max(largest, angle_at(from));
        }
        double const share = std::pow(10.0, random.uniform(-4, -1));
        bool const wide = i % 2 == 0;
        double const half_angle = largest * (wide ? 1 + share : 1 - share);
        if (half_angle > degrees(89))
            continue;
        for (auto& cone : cones)
            cone.half_angle = half_angle;
        GuardedDirections const directions(cones);
        near += share < 1e-3 ? 1 : 0;
        Guarded const both[] = {looked(directions, 0, 0.1, motion),
                                looked_expanded<3>(directions, 0, 0.1, motion)};
        for (auto const& found : both) {
            pieces[&found - both] += found.pieces;
            ++of_verdict[static_cast<std::size_t>(found.verdict)];
            open += found.verdict == Verdict::undecided && share >= 1e-3 ? 1 : 0;
            if (found.verdict == Verdict::within)
                CHECK(most(10000) <= half_angle + 1e-15);
            if (found.verdict == Verdict::exceeds)
                CHECK(angle_at(found.time) > half_angle - 1e-15);
            if (!wide)
                CHECK(found.verdict != Verdict::within);
        }
    }
    MESSAGE(of_verdict[0] << " within, " << of_verdict[1] << " exceed, " << of_verdict[2] << " undecided ("
                          << near << " nearer than 0.1 %); plain " << pieces[0] << ", expanded " << pieces[1]
                          << " pieces in all");
    CHECK(of_verdict[0] > 100 * (runs(300) / 300));
    CHECK(of_verdict[1] > 100 * (runs(300) / 300));
    CHECK(open == 0); // what is inside, or outside, by 0.1 % is decided
}

namespace {

MirrorPair<> head() { return {0.04, 0.54, 8, {-0.17, 0.17}, {-0.17, 0.17}, {-0.01, 0.01}, 0.17}; }

// A head that looks down, its x along the cell's x, and turns about x by rate · t: its own y angle grows by
// as much.
struct TurningHead {
    double rate;

    template <class T> Pose<Cell, Head, T> at(T const& t) const {
        auto const turn = sin_cos(t * rate);
        T const one = T(1.0), zero = T(0.0);
        return {{{{one, zero, zero}, {zero, -turn.cos, -turn.sin}, {zero, turn.sin, -turn.cos}}},
                {zero, zero, one}};
    }
};

// The same, to and fro by 0.1 rad: most at a quarter and at three quarters of a second.
struct SwingingHead {
    template <class T> Pose<Cell, Head, T> at(T const& t) const {
        return TurningHead{0.1}.at(sin_cos(t * (2 * std::numbers::pi)).sin);
    }
};

template <class Motion>
Guarded between(GuardedDirections const& directions, Command<> const& a, Command<> const& b, double last,
                Motion const& motion, HalvingBudget const& budget = {}) {
    auto const at = [&](auto const& t) { return motion.at(t); };
    return guarded_between_seams(directions, head(), commands_between(a, b), 0, last, at, at, budget);
}

} // namespace

TEST_CASE("between two seams the mirrors may be anywhere: the corner of their box, by hand") {
    // The beam leans by acos(cos 2θx cos 2θy), most at the corner of the box.
    Command<> const from{-0.05, 0.08, -0.002}, to{0.1, -0.02, 0.004};
    double const corner = std::acos(std::cos(0.2) * std::cos(0.16));
    CHECK(between(floor_of(corner + 1e-6), from, to, 1, TurningHead{0}).verdict == Verdict::within);
    auto const out = between(floor_of(corner - 1e-6), from, to, 1, TurningHead{0});
    CHECK(out.verdict == Verdict::exceeds);
    CHECK(out.outside == doctest::Approx(1e-6).epsilon(1e-6));
    CHECK(out.command.x_mirror == 0.1);
    CHECK(out.command.y_mirror == 0.08);
    CHECK(norm(out.direction) == doctest::Approx(1));
    // Both commands, and the straight way between them, stay inside a smaller cone.
    CHECK(floor_of(0.21).nearest({std::sin(0.2), 0, -std::cos(0.2)}).outside < 0);
    // The head turns by 0.1 rad meanwhile: acos(cos 0.2 cos 0.26) at the end.
    double const turned = std::acos(std::cos(0.2) * std::cos(0.26));
    CHECK(between(floor_of(turned + 1e-5), from, to, 1, TurningHead{0.1}).verdict == Verdict::within);
    auto const late = between(floor_of(turned - 1e-5), from, to, 1, TurningHead{0.1});
    CHECK(late.verdict == Verdict::exceeds);
    CHECK(late.time > 0.99);
}

TEST_CASE("a head that leaves the cone between two moments, in either half") {
    // The beam swings in the plane x = 0; the cone's axis leans by 0.05 rad one way, so that it is left the
    // other way only: by 0.15 rad at most.
    Command<> const rest{0, 0, 0};
    for (double const lean : {0.05, -0.05}) {
        CAPTURE(lean);
        Direction<Cell> const axis{0, std::sin(lean), -std::cos(lean)};
        GuardedDirections const narrow({{"floor", axis, 0.149}}), wide({{"floor", axis, 0.1500001}});
        auto const out = between(narrow, rest, rest, 1, SwingingHead{});
        CHECK(out.verdict == Verdict::exceeds);
        CHECK(out.outside <= 0.0010001);
        // Turned by a about x, straight down becomes (0, sin a, −cos a) with the sign of the head's frame.
        auto const y = SwingingHead{}.at(out.time).rotation.m[1][2];
        CHECK(y * lean < 0);
        CHECK(between(wide, rest, rest, 1, SwingingHead{}).verdict == Verdict::within);
    }
}

TEST_CASE("beam-off moves: random boxes against dense samples of all that is free") {
    Random random(6302);
    std::size_t of_verdict[3] = {0, 0, 0}, pieces = 0, near = 0;
    for (std::size_t i = 0; i < runs(60); ++i) {
        auto const command = [&] {
            double const x = random.uniform(-0.17, 0.17), y = random.uniform(-0.17, 0.17);
            return Command<>{x, y, random.uniform(-0.01, 0.01)};
        };
        Command<> const from = command(), to = command();
        double const lean = random.uniform(-0.2, 0.2), aside = random.uniform(-0.2, 0.2);
        TurningHead const motion{random.uniform(-1, 1)};
        double const last = random.uniform(0.01, 0.2);
        Direction<Cell> const axis = unit(Direction<Cell>{lean, aside, -1});
        double most = 0;
        for (int t = 0; t <= 20; ++t)
            for (int x = 0; x <= 20; ++x)
                for (int y = 0; y <= 20; ++y) {
                    Command<> const c{from.x_mirror + (to.x_mirror - from.x_mirror) * x / 20,
                                      from.y_mirror + (to.y_mirror - from.y_mirror) * y / 20, 0};
                    // The mirrors' formulas, by hand: see the head's page.
                    Direction<Head> const beam{std::sin(2 * c.x_mirror),
                                               std::cos(2 * c.x_mirror) * std::sin(2 * c.y_mirror),
                                               std::cos(2 * c.x_mirror) * std::cos(2 * c.y_mirror)};
                    auto const d = motion.at(last * t / 20) * beam;
                    most = std::max(most, 2 * std::asin(norm(d - axis) / 2));
                }
        double const share = std::pow(10.0, random.uniform(-3, -1));
        bool const wide = i % 2 == 0;
        double const half_angle = most * (wide ? 1 + share : 1 - share);
        GuardedDirections const directions({{"cone", axis, half_angle}});
        auto const found = between(directions, from, to, last, motion);
        ++of_verdict[static_cast<std::size_t>(found.verdict)];
        pieces += found.pieces;
        near += share < 2e-3 ? 1 : 0;
        if (!wide)
            CHECK(found.verdict != Verdict::within);
        if (found.verdict == Verdict::exceeds) {
            auto const d = motion.at(found.time) * head().ray(found.command).direction;
            CHECK(2 * std::asin(norm(d - axis) / 2) > half_angle - 1e-15);
        }
    }
    MESSAGE(of_verdict[0] << " within, " << of_verdict[1] << " exceed, " << of_verdict[2] << " undecided ("
                          << near << " nearer than 0.2 %); " << pieces << " pieces in all");
    CHECK(of_verdict[0] > 20 * (runs(60) / 60));
    CHECK(of_verdict[1] > 20 * (runs(60) / 60));
    CHECK(of_verdict[2] <= near);
}

TEST_CASE("beam-off moves with a pose that is known by a box, and what cannot be decided") {
    Command<> const rest{0, 0, 0};
    auto const at = [](double) { return TurningHead{0}.at(0.0); };
    // The head's pose known to ±0.01 in every entry of its rotation: some 0.017 rad.
    auto const box = [](Interval) {
        auto pose = number_cast<Interval>(TurningHead{0}.at(0.0));
        for (auto& row : pose.rotation.m)
            for (auto& entry : row)
                entry = entry + Interval(-0.01, 0.01);
        return pose;
    };
    auto const found = [&](double half_angle) {
        return guarded_between_seams(floor_of(half_angle), head(), commands_between(rest, rest), 0, 1, at,
                                     box, {500, 1e-7});
    };
    CHECK(found(0.2).verdict == Verdict::within);
    CHECK(found(0.005).verdict == Verdict::undecided);
    CHECK(found(0.005).pieces <= 500);
    CHECK(has(refusal_of([&] {
                  return guarded_between_seams(floor_of(1), head(), commands_between(rest, {0, infinity, 0}),
                                               0, 1, at, box);
              }),
              "must be finite"));
}
