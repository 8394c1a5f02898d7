#include "seamhold/plan/stop_and_weld.hpp"

#include <doctest/doctest.h>

#include "plan/plan_scenes.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// Takts of small jobs worked out by hand, and larger plans gone through step by step with move times of their
// own.

using namespace seamhold;
using seamhold::test::flat_face;
using seamhold::test::has;
using seamhold::test::plan_dynamics;
using seamhold::test::plan_job;
using seamhold::test::reached_at_rest;
using seamhold::test::refusal_of;
using seamhold::test::stitch;
using seamhold::test::thirty_stitches;

namespace {

double const radius = 0.17;                        // of the field, m
double const weld = 0.025 / metres_per_minute(16); // of one stitch, s
double const settling = 0.2, handshake = 0.05, speed = 1, acceleration = 3;

// Rest to rest, written by cases.
double trapezoid(double way, double v, double a) {
    double const ramp = v * v / a; // both ramps together
    return way <= ramp ? 2 * std::sqrt(way / a) : 2 * v / a + (way - ramp) / v;
}

double straight_way(Pose<Cell, Flange> const& a, Pose<Cell, Flange> const& b) {
    return std::sqrt(std::pow(a.origin.x - b.origin.x, 2) + std::pow(a.origin.y - b.origin.y, 2) +
                     std::pow(a.origin.z - b.origin.z, 2));
}

// Every seam once, one after the other, each reached from its stop; between stops no less than the robot
// needs, and no more than it or an air move of 20 ms does.
void check_plan(Job const& job, StopPlan const& plan, bool single) {
    std::vector<int> count(job.seams.size());
    double beam_on = 0, way = 0;
    std::size_t changes = 0;
    for (std::size_t i = 0; i < plan.seams.size(); ++i) {
        auto const& s = plan.seams[i];
        ++count[s.seam];
        CHECK(s.end - s.start == doctest::Approx(job.seams[s.seam].seam.duration()));
        beam_on += s.end - s.start;
        CHECK(reached_at_rest(job, job.seams[s.seam].seam, plan.stops[s.stop]));
        if (i == 0) {
            CHECK(s.start == 0);
            continue;
        }
        auto const& last = plan.seams[i - 1];
        double const gap = s.start - last.end;
        if (last.stop == s.stop) {
            CHECK(!single);
            CHECK(gap >= plan_dynamics().settling);
            CHECK(gap < 0.05);
            continue;
        }
        double const d = straight_way(plan.stops[last.stop], plan.stops[s.stop]);
        double const robot = trapezoid(d, speed, acceleration) + settling + handshake;
        CHECK(gap == doctest::Approx(robot).epsilon(1e-6)); // heads here do not turn, and aiming is faster
        way += d;
        ++changes;
    }
    CHECK(std::all_of(count.begin(), count.end(), [](int c) { return c == 1; }));
    CHECK(plan.takt == doctest::Approx(plan.seams.back().end));
    CHECK(plan.beam_on == doctest::Approx(beam_on));
    CHECK(plan.beam_on_share() == doctest::Approx(beam_on / plan.takt));
    CHECK(plan.way == doctest::Approx(way));
    CHECK(plan.changes == changes);
    CHECK(plan.lower_bound <= plan.takt + 1e-9);
    CHECK(plan.takt == doctest::Approx(plan.beam_on + plan.air + plan.moving +
                                       static_cast<double>(plan.changes) * (settling + handshake)));
}

StopSensitivity const& sensitivity(StopPlan const& plan, std::string const& input) {
    return *std::find_if(plan.sensitivity.begin(), plan.sensitivity.end(),
                         [&](StopSensitivity const& s) { return s.input == input; });
}

} // namespace

TEST_CASE("a robot's move from rest to rest") {
    RobotStops const robot;
    // 1 m: up to 1 m/s in 1/3 s over 1/6 m and down again, 2/3 m at 1 m/s.
    CHECK(move_time({1, 0}, robot) == doctest::Approx(4.0 / 3));
    // 0.12 m: half of it at 3 m/s² in √(2 · 0.06 / 3) = 0.2 s.
    CHECK(move_time({0.12, 0}, robot) == doctest::Approx(0.4));
    CHECK(move_time({0, 0}, robot) == 0);
    // 90° at 900°/s² and 180°/s: 0.2 s and 18° for each ramp, 54° in 0.3 s.
    CHECK(move_time({0.01, degrees(90)}, robot) == doctest::Approx(0.7));
    Pose<Cell, Flange> const a{about_axis<Cell, Flange>(Direction<Cell>{1, 0, 0}, 0.4), {1, 2, 3}};
    Pose<Cell, Flange> const b{about_axis<Cell, Flange>(Direction<Cell>{1, 0, 0}, 1.6), {1, 5, 7}};
    CHECK(distance_between(a, b).way == doctest::Approx(5));
    CHECK(distance_between(a, b).turn == doctest::Approx(1.2));
    CHECK(distance_between(a, a).turn < 1e-7);
}

TEST_CASE("two stitches a metre apart: the robot stops as near as the field lets it") {
    auto const job =
        plan_job({stitch("A", flat_face(), 0, 0, 0.025, 0), stitch("B", flat_face(), 1, 0, 0.025, 0)});
    auto const found = stop_and_weld(job);
    for (auto const* plan : {&found.above, &found.single, &found.field})
        check_plan(job, *plan, true);
    // Above the middles: 1 m.
    CHECK(std::abs(found.above.way - 1) < 0.01);
    // A is reached from up to 0.17 m after its start, B from 0.17 m before its end: 1.025 − 0.34 m between.
    double const nearest = 1.025 - 2 * radius;
    for (auto const* plan : {&found.single, &found.field}) {
        CHECK(plan->way >= nearest - 1e-6);
        CHECK(plan->way < nearest + 0.003); // steps of 1 mm at both stops, and 0.1 mm of reach
        CHECK(std::abs(plan->takt - (2 * weld + trapezoid(nearest, 1, 3) + 0.25)) < 0.004);
    }
    CHECK(found.positions.positions.size() == 2);
    CHECK(found.positions.apart.size() == 2);

    // Sensitivity by hand, at the way that was found.
    double const way = found.field.way, base = 2 * weld + 0.25;
    struct Case {
        char const* input;
        double half, twice;
    };
    for (auto const& c :
         {Case{"speed", base + trapezoid(way, 0.5, 3), base + trapezoid(way, 2, 3)},
          Case{"acceleration", base + trapezoid(way, 1, 1.5), base + trapezoid(way, 1, 6)},
          Case{"settling", base - 0.1 + trapezoid(way, 1, 3), base + 0.2 + trapezoid(way, 1, 3)},
          Case{"handshake", base - 0.025 + trapezoid(way, 1, 3), base + 0.05 + trapezoid(way, 1, 3)},
          Case{"turn speed", found.field.takt, found.field.takt},
          Case{"turn acceleration", found.field.takt, found.field.takt}}) {
        CAPTURE(c.input);
        CHECK(sensitivity(found.field, c.input).half == doctest::Approx(c.half));
        CHECK(sensitivity(found.field, c.input).twice == doctest::Approx(c.twice));
    }
}

TEST_CASE("two stitches side by side: one stop, or two that need not move") {
    auto const job =
        plan_job({stitch("A", flat_face(), 0, 0, 0.025, 0), stitch("B", flat_face(), 0, 0.05, 0.025, 0)});
    auto const found = stop_and_weld(job);
    check_plan(job, found.above, true);
    check_plan(job, found.single, true);
    check_plan(job, found.field, false);
    CHECK(found.field.stops.size() == 1);
    CHECK(found.single.way == 0);
    CHECK(found.single.takt == doctest::Approx(2 * weld + settling + handshake));
    CHECK(found.least_single == doctest::Approx(found.single.takt)); // no places do better
    CHECK(std::abs(found.above.takt - (2 * weld + trapezoid(0.05, 1, 3) + 0.25)) < 0.01);
    // At one stop: the mirrors settle 2 ms after a move of some 50 mrad optical, which takes some ms.
    CHECK(found.field.takt > 2 * weld + plan_dynamics().settling);
    CHECK(found.field.takt < 2 * weld + plan_dynamics().settling + 0.015);
    CHECK(sensitivity(found.field, "settling").half == doctest::Approx(found.field.takt));
}

TEST_CASE("a slow head counts: it is aimed while the robot moves, and the longer of both is waited for") {
    auto job = plan_job({stitch("A", flat_face(), 0, 0, 0.025, 0), stitch("B", flat_face(), 1, 0, 0.025, 0)});
    job.dynamics.settling = 5; // longer than any move
    auto const found = stop_and_weld(job);
    CHECK(found.field.takt > 2 * weld + 5);
    CHECK(found.field.takt < 2 * weld + 5.1);
    CHECK(sensitivity(found.field, "settling").twice == doctest::Approx(found.field.takt));
}

TEST_CASE("30 stitches on 1 m by 0.25 m: three ways at rest, each better than the one before") {
    auto const job = plan_job(thirty_stitches());
    auto const found = stop_and_weld(job);
    check_plan(job, found.above, true);
    check_plan(job, found.single, true);
    check_plan(job, found.field, false);
    CHECK(found.positions.positions.size() == 5);
    CHECK(found.field.changes == 4);
    CHECK(found.field.takt < found.single.takt);
    CHECK(found.single.takt < found.above.takt);
    CHECK(found.single.takt >= found.least_single);
    CHECK(found.field.takt >= found.least_field);
    CHECK(found.least_single == doctest::Approx(30 * weld + 29 * 0.25));
    CHECK(found.least_field == doctest::Approx(30 * weld + 3 * 0.25 + 26 * 0.002)); // 4 are apart
    // 29 times settling and handshake, whatever the order.
    CHECK(sensitivity(found.single, "settling").half == doctest::Approx(found.single.takt - 29 * 0.1));
    CHECK(sensitivity(found.single, "handshake").twice == doctest::Approx(found.single.takt + 29 * 0.05));
    CHECK(sensitivity(found.field, "settling").twice == doctest::Approx(found.field.takt + 4 * 0.2));
    MESSAGE("30 stitches at rest: above each ", found.above.takt, " s, at each ", found.single.takt,
            " s (at least ", found.least_single, "), at ", found.field.stops.size(), " positions ",
            found.field.takt, " s (at least ", found.least_field, "); beam on ", found.above.beam_on_share(),
            ", ", found.single.beam_on_share(), ", ", found.field.beam_on_share());
}

TEST_CASE("rules of the order and seams to be welded as drawn hold at rest too") {
    auto const job = plan_job(thirty_stitches());
    StopSettings settings;
    settings.as_drawn.assign(30, true);
    settings.rules.afters = {{29, 0, 0.5}, {15, 2, 0}}; // the last one first, and half a second between
    auto const found = stop_and_weld(job, settings);
    for (auto const* plan : {&found.above, &found.single, &found.field}) {
        std::vector<StoppedSeam> by_seam(30);
        for (auto const& s : plan->seams) {
            CHECK(!s.reversed);
            by_seam[s.seam] = s;
        }
        CHECK(by_seam[0].start >= by_seam[29].end + 0.5 - 1e-9);
        CHECK(by_seam[2].start >= by_seam[15].end - 1e-9);
    }
    auto const free = stop_and_weld(job);
    CHECK(std::any_of(free.field.seams.begin(), free.field.seams.end(),
                      [](auto const& s) { return s.reversed; }));
    CHECK(free.field.takt <= found.field.takt + 1e-9);
    settings.reversing = false;
    settings.as_drawn.clear();
    auto const drawn = stop_and_weld(job, settings);
    CHECK(std::none_of(drawn.field.seams.begin(), drawn.field.seams.end(),
                       [](auto const& s) { return s.reversed; }));
}

TEST_CASE("a lid and a shoulder: stops that lean are turned to, and the longer of way and turn counts") {
    auto const job = plan_job(seamhold::test::lid_and_shoulder(degrees(35)));
    StopSettings settings;
    settings.robot.turn_speed = degrees(20);
    settings.robot.turn_acceleration = degrees(40);
    auto const found = stop_and_weld(job, settings);
    for (auto const& s : found.field.seams)
        CHECK(reached_at_rest(job, job.seams[s.seam].seam, found.field.stops[s.stop]));
    double turned = 0;
    for (std::size_t i = 1; i < found.field.seams.size(); ++i) {
        auto const &last = found.field.seams[i - 1], &s = found.field.seams[i];
        if (last.stop == s.stop)
            continue;
        auto const &a = found.field.stops[last.stop], &b = found.field.stops[s.stop];
        // The cosine of a turn from the trace of the relative rotation.
        double trace = 0;
        for (int r = 0; r < 3; ++r)
            for (int c = 0; c < 3; ++c)
                trace += a.rotation.m[r][c] * b.rotation.m[r][c];
        double const turn = std::acos(std::clamp((trace - 1) / 2, -1.0, 1.0));
        double const robot =
            std::max(trapezoid(straight_way(a, b), 1, 3), trapezoid(turn, degrees(20), degrees(40)));
        CHECK(s.start - last.end == doctest::Approx(robot + 0.25).epsilon(1e-5));
        turned += turn;
    }
    CHECK(turned > degrees(10));
    CHECK(sensitivity(found.field, "turn speed").half > found.field.takt);
}

TEST_CASE("what cannot be is refused with what was given") {
    auto const job = plan_job(thirty_stitches());
    auto const refused = [&](auto const& change) {
        StopSettings settings;
        change(settings);
        return refusal_of([&] { return stop_and_weld(job, settings); });
    };
    CHECK(has(refused([](auto& s) { s.robot.speed = 0; }),
              "speed, m/s, must be finite and above 0; given was 0"));
    CHECK(has(refused([](auto& s) { s.robot.acceleration = -1; }), "acceleration, m/s²,"));
    CHECK(has(refused([](auto& s) { s.robot.settling = -0.1; }),
              "settling time, s, must be finite and 0 or more"));
    CHECK(has(refused([](auto& s) { s.robot.handshake = no_limit; }), "handshake"));
    CHECK(has(refused([](auto& s) { s.robot.turn_speed = 0; }), "turning speed"));
    CHECK(has(refused([](auto& s) { s.as_drawn.assign(3, true); }), "30 seams"));
    auto seams = thirty_stitches();
    seams.push_back(stitch("long", flat_face(), 0.1, 0.06, 0.5, 0));
    auto const text = refusal_of([&] { return stop_and_weld(plan_job(seams)); });
    CHECK(has(text, "seam long is not reached as a whole from any stop"));
    CHECK(has(refusal_of([] { return stop_and_weld(plan_job({})); }), "without seams"));
}
