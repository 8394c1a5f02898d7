#include "seamhold/limit/line_of_sight.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <vector>

// The converging beam against clamps: distances by hand and by a search of its own, and proofs over stretches
// of time re-checked by dense samples.

using namespace seamhold;
using namespace seamhold::test;

namespace {

struct Own; // a box's own frame

using Ends = BeamEnds<Cell>;
using Ranges = BeamEnds<Cell, Interval>;

// A clamp whose distance from a point is known without the code under test: a ball or a bar by the segment
// between its ends, a box by its sides in its own frame.
struct KnownClamp {
    ConvexShape<Cell> shape;
    Pose<Cell, Own> pose;
    Direction<Own> size; // zeros: no box

    double distance(Point<Cell> const& p) const {
        if (size.x > 0) {
            auto const own = inverse_times(pose, p);
            double const x = std::max({0.0, -own.x, own.x - size.x});
            double const y = std::max({0.0, -own.y, own.y - size.y});
            double const z = std::max({0.0, -own.z, own.z - size.z});
            return std::hypot(x, y, z) - shape.radius;
        }
        auto const &a = shape.points.front(), &b = shape.points.back();
        double const squared = squared_norm(b - a);
        double const share = squared > 0 ? std::clamp(dot(p - a, b - a) / squared, 0.0, 1.0) : 0;
        return norm(a + share * (b - a) - p) - shape.radius;
    }

    // The gap to the beam: the least over the axis by ternary search, which a convex function allows.
    double gap(Ends const& ends, BeamCone const& cone) const {
        auto const at = [&](double share) {
            return distance(ends.head + share * (ends.spot - ends.head)) -
                   ((1 - share) * (cone.radius_at_head + cone.clearance) +
                    share * (cone.radius_at_spot + cone.clearance));
        };
        double from = 0, to = 1;
        for (int step = 0; step < 60; ++step) {
            double const a = from + (to - from) / 3, b = to - (to - from) / 3;
            bool const left = at(a) < at(b);
            (left ? to : from) = left ? b : a;
        }
        return std::min({at(0), at(1), at(0.5 * (from + to))});
    }
};

Point<Cell> somewhere(Random& random, double reach, Point<Cell> const& about) {
    double const x = random.uniform(-reach, reach), y = random.uniform(-reach, reach);
    return {about.x + x, about.y + y, about.z + random.uniform(-reach, reach)};
}

KnownClamp some_clamp(Random& random, Point<Cell> const& about) {
    double const radius = random.uniform(0.002, 0.02);
    auto const a = somewhere(random, 0.15, about), b = somewhere(random, 0.15, about);
    switch (random.index(3)) {
    case 0:
        return {ball_at(a, radius), {}, {0, 0, 0}};
    case 1:
        return {bar_between(a, b, radius), {}, {0, 0, 0}};
    default:
        Pose<Cell, Own> const pose{random_rotation<Cell, Own>(random), a};
        double const x = random.uniform(0.005, 0.1), y = random.uniform(0.005, 0.1);
        Direction<Own> const size{x, y, random.uniform(0.005, 0.1)};
        double const rounding = random.index(2) == 0 ? 0 : radius / 4;
        return {box_at(pose, size, rounding), pose, size};
    }
}

// How far p is from the hull of the two balls, in the plane of p and the axis: the side touches both balls,
// its normal leans by sin a = (r0 − r1)/length towards the narrower end.
double outside_of_cone(Ends const& ends, BeamCone const& cone, Point<Cell> const& p) {
    double const r0 = cone.radius_at_head + cone.clearance, r1 = cone.radius_at_spot + cone.clearance;
    double const length = norm(ends.spot - ends.head);
    double const sine = (r0 - r1) / length, cosine = std::sqrt(1 - sine * sine);
    double const x = dot(p - ends.head, ends.spot - ends.head) / length;
    double const y = std::sqrt(std::max(0.0, squared_norm(p - ends.head) - x * x));
    double const foot = x - y * sine / cosine;
    return foot < 0        ? std::hypot(x, y) - r0
           : foot > length ? std::hypot(x - length, y) - r1
                           : x * sine + y * cosine - r0;
}

} // namespace

TEST_CASE("the gap to a ball, by hand") {
    // A beam straight down from 400 mm, 12 mm wide at the head and 0.3 mm at the spot, 2 mm around it free.
    BeamCone const cone{0.012, 0.0003, 0.002};
    Ends const ends{{0, 0, 0.4}, {0, 0, 0}};
    // The side leans by sin a = 11.7/400 towards the spot: the distance of a place at (x, z) from the axis's
    // side is x cos a + (0.4 − z) sin a − 14 mm.
    double const sine = 0.0117 / 0.4, cosine = std::sqrt(1 - sine * sine);
    auto const ball = ball_at(Point<Cell>{0.03, 0, 0.1}, 0.01);
    auto const sight = sight_gap(ends, cone, ConvexView<Cell>(ball));
    CHECK(sight.gap == doctest::Approx(0.03 * cosine + 0.3 * sine - 0.014 - 0.01).epsilon(1e-12));
    CHECK(difference(sight.normal, Direction<Cell>{cosine, 0, -sine}) <= 1e-7); // root of a flat minimum
    CHECK(difference(sight.place, Point<Cell>{0.03 - 0.01 * cosine, 0, 0.1 + 0.01 * sine}) <= 1e-9);
    // Over the head: from the ball at its end. Beyond the spot likewise.
    auto const above = ball_at(Point<Cell>{0.03, 0, 0.44}, 0.01);
    CHECK(sight_gap(ends, cone, ConvexView<Cell>(above)).gap == doctest::Approx(0.05 - 0.014 - 0.01));
    auto const below = ball_at(Point<Cell>{0.03, 0, -0.04}, 0.01);
    CHECK(sight_gap(ends, cone, ConvexView<Cell>(below)).gap == doctest::Approx(0.05 - 0.0023 - 0.01));
    // Reaching in from the side by 1 mm, and with the axis through it: where it goes in.
    auto const side = ball_at(Point<Cell>{0.03 - sight.gap - 0.001 / cosine, 0, 0.1}, 0.01);
    auto const reached = sight_gap(ends, cone, ConvexView<Cell>(side));
    CHECK(reached.gap < 0);
    CHECK(reached.gap > -0.0011);
    auto const through = ball_at(Point<Cell>{0.006, 0, 0.1}, 0.01);
    auto const hit = sight_gap(ends, cone, ConvexView<Cell>(through));
    CHECK(hit.gap < 0);
    CHECK(difference(hit.place, Point<Cell>{0, 0, 0.108}) <= 1e-12); // √(10² − 6²) = 8
    CHECK(hit.share == doctest::Approx(0.292 / 0.4));
    CHECK(norm(hit.normal) == doctest::Approx(1));
}

TEST_CASE("the gap to a box, by hand") {
    BeamCone const cone{0.005, 0.005, 0.001}; // as wide everywhere
    // Past an edge: the axis runs along (1, 1, 0) through the origin, the box's vertical edge is at (20, 0).
    auto const box =
        box_at(Pose<Cell, Own>{Rotation<Cell, Own>::identity(), {0.02, -0.1, -0.05}}, {0.1, 0.1, 0.1});
    Ends const ends{{-0.2, -0.2, 0.01}, {0.2, 0.2, 0.01}};
    auto const sight = sight_gap(ends, cone, ConvexView<Cell>(box));
    CHECK(sight.gap == doctest::Approx(0.02 / std::sqrt(2.0) - 0.006).epsilon(1e-12));
    CHECK(difference(sight.place, Point<Cell>{0.02, 0, 0.01}) <= 1e-9);
    CHECK(difference(sight.normal, Direction<Cell>{std::sqrt(0.5), -std::sqrt(0.5), 0}) <= 1e-7);
    // Straight into a face from above: the axis goes in at the top, z = 50.
    Ends const down{{0.05, -0.03, 0.4}, {0.05, -0.03, 0}};
    auto const hit = sight_gap(down, cone, ConvexView<Cell>(box));
    CHECK(hit.gap <= -0.006);
    CHECK(difference(hit.place, Point<Cell>{0.05, -0.03, 0.05}) <= 1e-12);
    CHECK(std::abs(dot(hit.normal, down.spot - down.head)) <= 1e-12);
    // Through a thin triangle, as of a mesh.
    auto const sheet = hull_of<Cell>({{-1, -1, 0.1}, {1, -1, 0.1}, {0, 1, 0.1}});
    auto const cut = sight_gap(down, cone, ConvexView<Cell>(sheet));
    CHECK(cut.gap <= -0.0059);
    CHECK(difference(cut.place, Point<Cell>{0.05, -0.03, 0.1}) <= 1e-6);
    // A beam without length is a ball.
    Ends const still{{0, -0.05, 0}, {0, -0.05, 0}};
    CHECK(sight_gap(still, cone, ConvexView<Cell>(box)).gap == doctest::Approx(0.014));
}

TEST_CASE("the gap against a search of its own, and against dense points") {
    Random random(6201);
    double worst = 0, worst_plane = 0;
    for (std::size_t i = 0; i < runs(3000); ++i) {
        auto const clamp = some_clamp(random, {0, 0, 0.1});
        double const r0 = random.uniform(0, 0.02), r1 = random.uniform(0, i % 2 == 0 ? 0.002 : 0.03);
        BeamCone const cone{r0, r1, random.uniform(1e-4, 0.003)};
        Ends const ends{somewhere(random, 0.05, {0, 0, 0.4}), somewhere(random, 0.2, {0, 0, 0})};
        double const expected = clamp.gap(ends, cone);
        auto const sight = sight_gap(ends, cone, ConvexView<Cell>(clamp.shape));
        if (expected < 0) {
            CHECK(sight.gap < 0);
            continue;
        }
        worst = std::max(worst, std::abs(sight.gap - expected));
        // The plane it names separates by as much; no direction does by more.
        auto const plane = gap_along(sight.normal, ConvexView<Cell>(clamp.shape), ends, cone);
        worst_plane = std::max(worst_plane, std::abs(std::min(plane.at_head, plane.at_spot) - sight.gap));
        CHECK(std::abs(norm(sight.normal) - 1) <= 8 * epsilon);
        CHECK(std::abs(clamp.distance(sight.place)) <= 1e-13);
        CHECK(std::abs(outside_of_cone(ends, cone, sight.place) - sight.gap) <= 1e-12);
    }
    MESSAGE("gap off by " << worst << " m, that of the plane by " << worst_plane << " m");
    CHECK(worst <= 1e-12);
    CHECK(worst_plane <= 1e-12);
}

TEST_CASE("the gap against dense points on both") {
    Random random(6202);
    for (std::size_t i = 0; i < runs(60); ++i) {
        Pose<Cell, Own> const pose{random_rotation<Cell, Own>(random), somewhere(random, 0.1, {0, 0, 0.15})};
        Direction<Own> const size{0.05, 0.03, 0.02};
        auto const box = box_at(pose, size);
        BeamCone const cone{0.012, 0.001, 0.001};
        Ends const ends{{0, 0, 0.4}, {0, 0, 0}};
        auto const sight = sight_gap(ends, cone, ConvexView<Cell>(box));
        // Points on the box's six sides, 1 mm apart at most.
        double least = infinity;
        for (int a = 0; a <= 50; ++a)
            for (int b = 0; b <= 50; ++b)
                for (double const side : {0.0, 1.0})
                    for (auto const& s : {Direction<Own>{a / 50.0, b / 50.0, side},
                                          {a / 50.0, side, b / 50.0},
                                          {side, a / 50.0, b / 50.0}})
                        least = std::min(least, outside_of_cone(ends, cone,
                                                                pose * Point<Own>{s.x * size.x, s.y * size.y,
                                                                                  s.z * size.z}));
        if (sight.gap < 0)
            continue; // the points may all lie outside
        CHECK(sight.gap <= least + 1e-12);
        CHECK(sight.gap >= least - 0.0005 * std::sqrt(2.0));
    }
}

TEST_CASE("the kernel holds for any direction, at every type of number") {
    Random random(6203);
    int proven = 0;
    for (std::size_t i = 0; i < runs(2000); ++i) {
        auto const clamp = some_clamp(random, {0, 0, 0.1});
        BeamCone const cone{random.uniform(0, 0.02), 0.0003, 0.001};
        Ends const ends{somewhere(random, 0.05, {0, 0, 0.4}), somewhere(random, 0.2, {0, 0, 0})};
        double const truth = clamp.gap(ends, cone);
        auto const best = sight_gap(ends, cone, ConvexView<Cell>(clamp.shape)).normal;
        auto const v = random.on_sphere<3>();
        double const lean = random.uniform(0, 0.1), length = std::pow(10.0, random.uniform(-3, 3));
        auto const n = length * (best + lean * Direction<Cell>{v[0], v[1], v[2]});
        auto const gap = gap_along(n, ConvexView<Cell>(clamp.shape), number_cast<Interval>(ends), cone);
        double const least = std::min(gap.at_head.low, gap.at_spot.low) / norm(n);
        proven += least > 0 ? 1 : 0;
        if (truth > 0)
            CHECK(least <= truth + 1e-15); // the search's own error
        else
            CHECK(least <= 0);
        // The box around the body is farther out.
        auto const box = bounding_box(ConvexView<Cell>(clamp.shape));
        auto const rough = gap_along(n, box, number_cast<Interval>(ends), cone);
        CHECK(rough.at_head.low <= gap.at_head.high);
        CHECK(rough.at_spot.low <= gap.at_spot.high);
    }
    CHECK(proven > 200);
    Ends const ends{{0, 0, 0.4}, {0, 0, 0}};
    auto const ball = ball_at(Point<Cell>{0.1, 0, 0.1}, 0.01);
    for (double const wild : {0.0, 1e-200, not_a_number, infinity, 1e308}) {
        CAPTURE(wild);
        auto const gap = gap_along(Direction<Cell>{wild, 0, -wild}, ConvexView<Cell>(ball),
                                   number_cast<Interval>(ends), BeamCone{0.2, 0.2, 0}); // reaches
        CHECK_FALSE((gap.at_head.low > 0 && gap.at_spot.low > 0));
    }
}

TEST_CASE("the kernel's derivatives") {
    using T = Taylor<double, 3>;
    using R = Taylor<Interval, 3>;
    // The head moves with 1 m/s along x and 2 m/s² along z; n = (0.6, 0, 0.8).
    auto const moving = [](auto const& t) {
        using U = std::decay_t<decltype(t)>;
        return BeamEnds<Cell, U>{{t, U(0.0), U(0.4) + t * t}, {U(0.0), U(0.0), t * 0.5}};
    };
    Direction<Cell> const n{0.6, 0, 0.8};
    auto const ball = ball_at(Point<Cell>{1, 0, 1}, 0.1);
    BeamCone const cone{0.01, 0.001, 0.002};
    auto const gap = gap_along(n, ConvexView<Cell>(ball), moving(T::variable(0.5)), cone);
    // 1.4 − 0.1 − 0.012 − (0.3 + 0.8 · 0.65)
    CHECK(gap.at_head.value() == doctest::Approx(1.288 - 0.3 - 0.52).epsilon(4 * epsilon));
    CHECK(gap.at_head.derivative(1) == doctest::Approx(-0.6 - 0.8).epsilon(4 * epsilon));
    CHECK(gap.at_head.derivative(2) == doctest::Approx(-1.6).epsilon(4 * epsilon));
    CHECK(gap.at_spot.value() == doctest::Approx(1.3 - 0.003 - 0.2).epsilon(4 * epsilon));
    CHECK(gap.at_spot.derivative(1) == doctest::Approx(-0.4).epsilon(4 * epsilon));
    auto const range = gap_along(n, ConvexView<Cell>(ball), moving(R::variable(Interval(0.4, 0.6))), cone);
    CHECK(range.at_head.value().contains(gap.at_head.value()));
    CHECK(range.at_head.coefficient[1].contains(gap.at_head.coefficient[1]));
    CHECK(range.at_head.coefficient[1].low >= -0.6 - 0.8 * 1.2 - 1e-12);
    CHECK(range.at_head.coefficient[2].contains(-0.8));
}

namespace {

// A motion of the beam with known enclosures: each coordinate of both ends is a + b t + c sin(ω t + φ).
struct Swing {
    std::array<std::array<double, 5>, 6> c;

    template <class T> T at(std::size_t i, T const& t) const {
        using std::sin;
        return t * c[i][1] + sin(t * c[i][3] + T(c[i][4])) * c[i][2] + T(c[i][0]);
    }
    template <class T> BeamEnds<Cell, T> at(T const& t) const {
        return {{at(0, t), at(1, t), at(2, t)}, {at(3, t), at(4, t), at(5, t)}};
    }
};

Swing some_swing(Random& random) {
    Swing swing{};
    for (std::size_t i = 0; i < 6; ++i)
        swing.c[i] = {random.uniform(-0.1, 0.1) + (i == 2 ? 0.4 : 0), random.uniform(-0.5, 0.5),
                      random.uniform(0, i < 3 ? 1e-3 : 5e-3), random.uniform(50, 800), random.uniform(0, 6)};
    return swing;
}

template <class Obstacles, class Motion>
LineOfSight<Cell> looked(Obstacles const& obstacles, BeamCone const& cone, double first, double last,
                         Motion const& motion, HalvingBudget const& budget = {}) {
    auto const at = [&](auto const& t) { return motion.at(t); };
    return line_of_sight(obstacles, cone, first, last, at, at, budget);
}

// The same with ends expanded to order N.
template <int N, class Obstacles, class Motion>
LineOfSight<Cell> looked_expanded(Obstacles const& obstacles, BeamCone const& cone, double first, double last,
                                  Motion const& motion) {
    auto const at = [&](auto const& t) { return motion.at(t); };
    return line_of_sight(obstacles, cone, first, last, at, [&](Interval t) { return expanded<N>(t, at); });
}

// Along x with 1 m/s, straight down.
struct Glide {
    template <class T> BeamEnds<Cell, T> at(T const& t) const {
        return {{t, T(0.0), T(0.4)}, {t, T(0.0), T(0.0)}};
    }
};

// Straight down, once a second around (x, 0) with a radius.
template <class F> struct CircleIn {
    double x, height, radius;

    template <class T> BeamEnds<F, T> at(T const& t) const {
        auto const turn = sin_cos(t * (2 * std::numbers::pi));
        T const along = turn.cos * radius + T(x), across = turn.sin * radius;
        return {{along, across, T(height + 0.4)}, {along, across, T(height - 0.1)}};
    }
};
using Circle = CircleIn<Cell>;

} // namespace

TEST_CASE("a beam that glides towards a post reaches it when it must") {
    // As wide everywhere: 5 mm and 1 mm of clearance. The post's near side is at x = 100 mm.
    BeamCone const cone{0.005, 0.005, 0.001};
    std::vector<Obstacle<Cell>> const obstacles{
        {"far", {ball_at(Point<Cell>{0, 5, 0}, 0.1)}},
        {"post",
         {box_at(Pose<Cell, Own>{Rotation<Cell, Own>::identity(), {0.1, -0.01, 0}}, {0.02, 0.02, 0.2})}}};
    auto const clear = looked(obstacles, cone, 0, 0.0939, Glide{});
    CHECK(clear.verdict == Verdict::within);
    CHECK(clear.name.empty());
    CHECK(clear.obstacle == 2);
    auto const reached = looked(obstacles, cone, 0, 0.0941, Glide{});
    CHECK(reached.verdict == Verdict::exceeds);
    CHECK(reached.name == "post");
    CHECK(reached.obstacle == 1);
    CHECK(reached.time > 0.094);
    CHECK(reached.time < 0.0941);
    CHECK(reached.gap == doctest::Approx(0.094 - reached.time).epsilon(1e-6));
    CHECK(reached.place.x == doctest::Approx(0.1).epsilon(1e-9));
    // Up to the touch: neither is proven, and it says where.
    auto const touch = looked(obstacles, cone, 0, 0.094, Glide{});
    CHECK(touch.verdict == Verdict::undecided);
    CHECK(touch.name == "post");
    CHECK(touch.time == doctest::Approx(0.094).epsilon(1e-5));
    CHECK(touch.place.x == doctest::Approx(0.1).epsilon(1e-9));
    // 2026-11-26: reached in the last fraction of a microsecond only it could stay undecided, since the piece
    // in which it is reached first was the end of it, and only its middle was looked at.
    for (double const over : {3e-8, 7e-8, 1e-7, 1.5e-7, 2e-7, 3e-7, 5e-7, 7e-7, 1e-6}) {
        CAPTURE(over);
        auto const late = looked(obstacles, cone, 0, 0.094 + over, Glide{});
        CHECK(late.verdict == Verdict::exceeds);
        CHECK(late.time > 0.094);
    }
    // One moment is a stretch, too.
    CHECK(looked(obstacles, cone, 0.05, 0.05, Glide{}).verdict == Verdict::within);
    CHECK(looked(obstacles, cone, 0.1, 0.1, Glide{}).verdict == Verdict::exceeds);
    // All the way past it: a reach in the middle of a stretch that is free at both ends.
    CHECK(looked(obstacles, cone, 0, 1, Glide{}).verdict == Verdict::exceeds);
    CHECK(looked(std::vector<Obstacle<Cell>>{}, cone, 0, 1, Glide{}).verdict == Verdict::within);
}

TEST_CASE("a thin wire between two samples is not missed") {
    // 20 µm thick, passed at 1 m/s by a beam of 0.1 mm: reached for 0.24 ms of a second.
    BeamCone const cone{5e-5, 5e-5, 5e-5};
    std::vector<Obstacle<Cell>> const obstacles{
        {"wire", {bar_between(Point<Cell>{0.3337, -1, 0.2}, {0.3337, 1, 0.2}, 1e-5)}}};
    auto const wire = looked(obstacles, cone, 0, 1, Glide{});
    CHECK(wire.verdict == Verdict::exceeds);
    CHECK(std::abs(wire.time - 0.3337) <= 1.1e-4);
}

TEST_CASE("what is not known stays undecided, and it ends") {
    BeamCone const cone{0.005, 0.0003, 0.001};
    std::vector<Obstacle<Cell>> const obstacles{{"post", {ball_at(Point<Cell>{0.1, 0, 0.1}, 0.01)}}};
    Ends const far{{1, 1, 1}, {1, 1, 0}};
    auto const nothing = [](Interval) {
        Interval const w = Interval::whole();
        return Ranges{{w, w, w}, {w, w, w}};
    };
    HalvingBudget const budget{300, 1e-7};
    auto const blind = line_of_sight(
        obstacles, cone, 0, 1, [&](double) { return far; }, nothing, budget);
    CHECK(blind.verdict == Verdict::undecided);
    CHECK(blind.name == "post");
    CHECK(blind.pieces <= 300);
    for (double const wild : {not_a_number, infinity, 1e300}) {
        auto const lost = line_of_sight(
            obstacles, cone, 0, 1,
            [&](double) {
                return Ends{{wild, 0, 0.4}, {0, wild, 0}};
            },
            nothing, budget);
        CHECK(lost.verdict == Verdict::undecided);
    }
    // Once around the ball, 3 mm free: a matter of some twenty pieces, and a budget that is spent.
    Circle const around{0.1, 0.1, 0.019};
    CHECK(looked(obstacles, cone, 0, 1, around).verdict == Verdict::within);
    auto const spent = looked(obstacles, cone, 0, 1, around, {3, 1e-7});
    CHECK(spent.verdict == Verdict::undecided);
    CHECK(spent.pieces == 3);
    CHECK(spent.name == "post");
    auto const none = looked(obstacles, cone, 0, 0.01, Glide{}, {0, 1e-7});
    CHECK(none.verdict == Verdict::undecided);
}

TEST_CASE("set-up refuses") {
    CHECK(has(refusal_of([] {
                  return checked(BeamCone{-0.001, 0, 0});
              }),
              "the beam's radius at the head must be 0 to 1e6 mm; given was -1 mm"));
    CHECK(has(refusal_of([] { return checked(BeamCone{0, not_a_number, 0}); }), "radius at the spot"));
    CHECK(has(refusal_of([] { return checked(BeamCone{0, 0, infinity}); }), "clearance around the beam"));
    CHECK(has(refusal_of([] { return checked(BeamCone{0, 0, 0}); }), "without radius"));
    std::vector<Obstacle<Cell>> const obstacles{{"post", {ball_at(Point<Cell>{0.1, 0, 0.1}, 0.01)}}};
    BeamCone const cone{0.005, 0.0003, 0.001};
    CHECK(has(refusal_of([&] { return looked(obstacles, cone, 1, 0, Glide{}); }), "1 s to 0 s"));
    CHECK(has(refusal_of([&] { return looked(obstacles, cone, 0, not_a_number, Glide{}); }), "0 s to nan s"));
    CHECK(has(refusal_of([&] {
                  return looked(obstacles, BeamCone{-1, 1, 1}, 0, 1, Glide{});
              }),
              "radius at the head"));
}

TEST_CASE("the cone of a caustic") {
    // Waist radius 0.1 mm, Rayleigh length 5 mm: half a metre before the waist √(1 + 100²) times as wide.
    Caustic<> const caustic{1e-4, 0.005, 0.54};
    auto const cone = beam_cone(caustic, 0.04, 0.545, 0.002, 2);
    CHECK(cone.radius_at_head == doctest::Approx(2e-4 * std::sqrt(10001.0)));
    CHECK(cone.radius_at_spot == doctest::Approx(2e-4 * std::sqrt(2.0)));
    CHECK(cone.clearance == 0.002);
    // Between, the envelope lies inside of the straight cone, with the spot on either side of the waist.
    for (double const spot : {0.53, 0.54, 0.56}) {
        auto const straight = beam_cone(caustic, 0.04, spot, 0, 1);
        for (int i = 0; i <= 100; ++i) {
            double const share = i / 100.0;
            CHECK(caustic.radius(0.04 + share * (spot - 0.04)) <=
                  (1 - share) * straight.radius_at_head + share * straight.radius_at_spot + 1e-17);
        }
    }
    CHECK(has(refusal_of([&] { return beam_cone(caustic, 0, 0.5, 0.001, 0); }), "above 0; given was 0"));
}

TEST_CASE("soundness: what is said to be within is free at every dense sample, and what is free is proven") {
    Random random(6204);
    std::array<std::size_t, 3> of_verdict{};
    std::size_t near = 0, open = 0, plain = 0, expanded_pieces = 0;
    double const last = 0.1;
    for (std::size_t i = 0; i < runs(400); ++i) {
        auto const swing = some_swing(random);
        std::vector<KnownClamp> clamps;
        std::vector<Obstacle<Cell>> obstacles;
        for (std::size_t k = 0, count = 1 + random.index(3); k < count; ++k) {
            std::vector<ConvexShape<Cell>> shapes;
            for (std::size_t m = 0, parts = 1 + random.index(2); m < parts; ++m) {
                clamps.push_back(some_clamp(random, {0, 0, 0.15}));
                shapes.push_back(clamps.back().shape);
            }
            obstacles.emplace_back("clamp " + std::to_string(k), shapes);
        }
        BeamCone cone{random.uniform(0.002, 0.015), random.uniform(1e-4, 1e-3), 0};
        auto const gap_at = [&](double t) {
            Ends const ends = swing.at(t);
            double least = infinity;
            for (auto const& clamp : clamps)
                least = std::min(least, clamp.gap(ends, cone));
            return least;
        };
        // The least gap: samples, and a ternary search around each that is less than its neighbours.
        std::vector<double> sampled;
        for (int s = 0; s <= 300; ++s)
            sampled.push_back(gap_at(last * s / 300));
        double least = std::min(sampled.front(), sampled.back());
        for (std::size_t s = 1; s + 1 < sampled.size(); ++s) {
            if (sampled[s] > sampled[s - 1] || sampled[s] > sampled[s + 1])
                continue;
            double from = last * static_cast<double>(s - 1) / 300,
                   to = last * static_cast<double>(s + 1) / 300;
            for (int step = 0; step < 40; ++step) {
                double const one = from + (to - from) / 3, two = to - (to - from) / 3;
                bool const left = gap_at(one) < gap_at(two);
                (left ? to : from) = left ? two : one;
            }
            least = std::min(least, gap_at(from));
        }
        if (least < 1e-4)
            continue;
        // Near the edge: the clearance a little less, or a little more, than what is free.
        double const share = std::pow(10.0, random.uniform(-4, -1));
        bool const narrow = i % 2 == 0;
        cone.clearance = least * (narrow ? 1 - share : 1 + share);
        for (auto const& found :
             {looked(obstacles, cone, 0, last, swing), looked_expanded<2>(obstacles, cone, 0, last, swing)}) {
            ++of_verdict[static_cast<std::size_t>(found.verdict)];
            open += found.verdict == Verdict::undecided && share >= 1e-3 ? 1 : 0;
            if (found.verdict == Verdict::within) {
                double free = infinity;
                for (int s = 0; s <= 3000; ++s)
                    free = std::min(free, gap_at(last * s / 3000));
                CHECK(free > -1e-15); // the search's own error
            } else if (found.verdict == Verdict::exceeds) {
                CHECK(gap_at(found.time) < 1e-15);
                REQUIRE(found.obstacle < obstacles.size());
                CHECK(found.name == obstacles[found.obstacle].name());
            }
            if (!narrow)
                CHECK(found.verdict != Verdict::within);
        }
        plain += looked(obstacles, cone, 0, last, swing).pieces;
        expanded_pieces += looked_expanded<2>(obstacles, cone, 0, last, swing).pieces;
        near += share < 1e-3 ? 1 : 0;
    }
    auto const within = of_verdict[0], exceeds = of_verdict[1], undecided = of_verdict[2];
    auto const count = static_cast<double>(within + exceeds + undecided) / 2;
    MESSAGE(within << " within, " << exceeds << " exceed, " << undecided << " undecided (" << near
                   << " nearer than 0.1 %); plain " << static_cast<double>(plain) / count << ", expanded "
                   << static_cast<double>(expanded_pieces) / count << " pieces each");
    CHECK(within > 200 * (runs(400) / 400));
    CHECK(exceeds > 200 * (runs(400) / 400));
    CHECK(open == 0); // what is free, or reached, by 0.1 % of the gap is decided
}

namespace {

// A ball's skin as triangles.
std::vector<Facet> skin(Point<Part> const& middle, double radius, int around) {
    std::vector<Facet> all;
    auto const at = [&](int i, int k) {
        double const turn = 2 * std::numbers::pi * i / around, tilt = std::numbers::pi * k / around;
        return Point<Part>{middle.x + radius * std::sin(tilt) * std::cos(turn),
                           middle.y + radius * std::sin(tilt) * std::sin(turn),
                           middle.z + radius * std::cos(tilt)};
    };
    for (int i = 0; i < around; ++i)
        for (int k = 0; k < around; ++k) {
            all.push_back({{at(i, k), at(i + 1, k + 1), at(i + 1, k)}});
            all.push_back({{at(i, k), at(i, k + 1), at(i + 1, k + 1)}});
        }
    return all;
}

} // namespace

TEST_CASE("a mesh: the tree finds what looking at every triangle finds, and the ball it stands for") {
    auto const facets = skin({0.05, 0, 0.15}, 0.03, 100); // 20 000 triangles
    Obstacle<Part> const mesh("ball", facets, Pose<Part, Part>::identity());
    std::vector<Obstacle<Part>> const list{mesh};
    auto const ball = ball_at(Point<Part>{0.05, 0, 0.15}, 0.03);
    BeamCone const cone{0.012, 0.0003, 0.001};
    Random random(6205);
    for (int i = 0; i < 20; ++i) {
        BeamEnds<Part> const ends{{random.uniform(-0.1, 0), random.uniform(-0.1, 0.1), 0.4},
                                  {random.uniform(-0.1, 0), random.uniform(-0.1, 0.1), 0}};
        auto const found = nearest_obstacle(list, ends, cone);
        double least = infinity;
        for (std::size_t s = 0; s < mesh.size(); ++s)
            least = std::min(least, sight_gap(ends, cone, mesh.shape(s)).gap);
        CHECK(found.sight.gap == least);
        CHECK(found.obstacle == 0);
        double const expected = sight_gap(ends, cone, ConvexView<Part>(ball)).gap;
        if (expected > 0) {
            CHECK(least >= expected);
            CHECK(least <= expected + 0.03 * (1 - std::cos(std::numbers::pi / 100)) * 1.5); // chords
        }
    }
    // Once around it, 0.5 mm free; and through its edge.
    auto const around = [&](double radius) {
        auto const at = [&](auto const& t) { return CircleIn<Part>{0.05, 0.15, radius}.at(t); };
        return line_of_sight(list, cone, 0, 1, at, [&](Interval t) { return expanded<2>(t, at); });
    };
    // The cone leans: at the ball's side it is about 4.8 mm wide.
    double const grazing =
        0.03 -
        sight_gap(BeamEnds<Part>(CircleIn<Part>{0.05, 0.15, 0.06}.at(0.0)), cone, ConvexView<Part>(ball))
            .gap +
        0.03;
    auto const start = std::chrono::steady_clock::now();
    auto const clear = around(grazing + 0.0005);
    std::chrono::duration<double> const took = std::chrono::steady_clock::now() - start;
    MESSAGE("20 000 triangles, once around: " << clear.pieces << " pieces, " << 1e3 * took.count() << " ms");
    CHECK(clear.verdict == Verdict::within);
    auto const through = around(grazing - 0.0005);
    CHECK(through.verdict == Verdict::exceeds);
    CHECK(through.name == "ball");
    CHECK(std::abs(norm(through.place - Point<Part>{0.05, 0, 0.15}) - 0.03) < 5e-5); // the chords' sag: 15 um
}

TEST_CASE("the nearest of several, without the heap") {
    std::vector<Obstacle<Cell>> const obstacles{
        {"a", {ball_at(Point<Cell>{0.1, 0, 0.1}, 0.01)}},
        {"b",
         {ball_at(Point<Cell>{0, 0.3, 0.1}, 0.01), ball_at(Point<Cell>{0, -0.08, 0.1}, 0.01),
          ball_at(Point<Cell>{0, 0.3, 0.3}, 0.01)}},
        {"c", {ball_at(Point<Cell>{-0.2, 0, 0.1}, 0.05)}}};
    BeamCone const cone{0.005, 0.005, 0.001};
    Ends const ends{{0, 0, 0.4}, {0, 0, 0}};
    AllocationGuard const guard;
    auto const found = nearest_obstacle(obstacles, ends, cone);
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(found.obstacle == 1);
    CHECK(found.sight.gap == doctest::Approx(0.08 - 0.01 - 0.006));
    CHECK(found.sight.place.y == doctest::Approx(-0.07));
    auto const none = nearest_obstacle(std::vector<Obstacle<Cell>>{}, ends, cone);
    CHECK(none.obstacle == 0);
    CHECK(none.sight.gap == infinity);
    auto const lost = nearest_obstacle(obstacles, Ends{{not_a_number, 0, 0}, {0, 0, 0}}, cone);
    CHECK(lost.obstacle == 3);
    CHECK_FALSE(lost.sight.gap == lost.sight.gap);
}
