#include "seamhold/plan/sweep_proposal.hpp"

#include <doctest/doctest.h>

#include "plan/plan_scenes.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// Reach is asked once more of the chain itself, from places on the path as a motion; how many passes are
// needed, where they run and how the head is held is worked out by hand.

using namespace seamhold;
using seamhold::test::flat_face;
using seamhold::test::has;
using seamhold::test::head_on_part;
using seamhold::test::plan_head;
using seamhold::test::plan_height;
using seamhold::test::plan_job;
using seamhold::test::reached_at_rest;
using seamhold::test::refusal_of;
using seamhold::test::stitch;
using seamhold::test::thirty_stitches;

namespace {

// Every seam that is said to be reached from one place of a pass is reached from some place of it.
void check_reached(Job const& job, SweepProposal const& sweep) {
    auto const motion = sweep.motion();
    std::vector<bool> reached(job.seams.size());
    for (auto const& pass : sweep.passes)
        for (auto const s : pass.reached) {
            reached[s] = true;
            if (std::find(pass.moving.begin(), pass.moving.end(), s) != pass.moving.end())
                continue;
            bool any = false;
            for (int k = 0; k <= 100 && !any; ++k)
                any = reached_at_rest(job, job.seams[s].seam,
                                      motion.at(pass.path.low + (pass.path.high - pass.path.low) * k / 100));
            CAPTURE(job.seams[s].name);
            CHECK(any);
        }
    for (auto const& n : sweep.not_reached) {
        CHECK(!reached[n.seam]);
        reached[n.seam] = true;
    }
    CHECK(std::all_of(reached.begin(), reached.end(), [](bool r) { return r; }));
}

// The head's place and its rates on the part; its z axis.
struct HeadMoves {
    double x, y, z, speed, acceleration;
    Direction<Part> axis;
};
HeadMoves head_at(Job const& job, PoseLog<Cell, Flange> const& motion, double u) {
    using T = Taylor<double, 2>;
    auto const part_from_cell = inverse(job.chain.cell_from_part.at(0.0));
    auto const head = part_from_cell * motion.at(T::variable(u)) * job.chain.flange_from_head;
    auto const& o = head.origin;
    return {
        value_of(o.x),
        value_of(o.y),
        value_of(o.z),
        std::hypot(o.x.derivative(1), o.y.derivative(1)),
        std::hypot(o.x.derivative(2), o.y.derivative(2)),
        {value_of(head.rotation.m[0][2]), value_of(head.rotation.m[1][2]), value_of(head.rotation.m[2][2])}};
}

} // namespace

TEST_CASE("as many passes as the field's width needs") {
    // Three rows 0.125 m apart of stitches 0.025 m long: one pass over the middle row reaches the outer ones
    // from √(0.125² + 0.0125²) = 0.1256 m on; two passes between rows from 0.0625 m; below, one a row.
    struct Case {
        double radius;
        std::size_t passes;
    };
    for (auto const& c :
         {Case{0.17, 1}, Case{0.14, 1}, Case{0.12, 2}, Case{0.08, 2}, Case{0.06, 3}, Case{0.03, 3}}) {
        CAPTURE(c.radius);
        auto seams = thirty_stitches();
        for (auto& s : seams) // the middle row straight too
            s = stitch(s.name, flat_face(), s.seam.at(0.0).position.x,
                       0.125 * std::round(s.seam.at(0.0).position.y / 0.125), 0.025, 0);
        auto const job = plan_job(seams, plan_head(c.radius));
        auto const sweep = sweep_proposal(job);
        CHECK(sweep.passes.size() == c.passes);
        CHECK(sweep.proven);
        CHECK(sweep.lower_bound == c.passes);
        CHECK(sweep.not_reached.empty());
        check_reached(job, sweep);
        CHECK(std::abs(sweep.direction.x) > 1 - 1e-9);
    }
}

TEST_CASE("passes are straight and even, turnarounds keep their limits, and nothing is overshot") {
    auto const job = plan_job(thirty_stitches(), plan_head(0.06));
    SweepSettings settings;
    settings.direction = Direction<Part>{1, 0, 0};
    for (bool const serpentine : {true, false}) {
        CAPTURE(serpentine);
        settings.serpentine = serpentine;
        auto const sweep = sweep_proposal(job, settings);
        REQUIRE(sweep.passes.size() == 3);
        check_reached(job, sweep);
        auto const motion = sweep.motion();
        double lowest = 9, highest = -9;
        for (std::size_t p = 0; p < 3; ++p) {
            auto const& pass = sweep.passes[p];
            CHECK(pass.forward == (sweep.passes[0].forward == (!serpentine || p != 1)));
            auto const start = head_at(job, motion, pass.path.low),
                       end = head_at(job, motion, pass.path.high);
            CHECK(end.x - start.x ==
                  doctest::Approx((pass.forward ? 1 : -1) * 0.25 * (pass.path.high - pass.path.low)));
            for (int k = 0; k <= 200; ++k) {
                double const u = pass.path.low + (pass.path.high - pass.path.low) * k / 200;
                auto const h = head_at(job, motion, u);
                // A spline overshoots a jump of the third derivative; 0.1 mm is a hundredth of a field's
                // edge.
                CHECK(std::abs(h.y - (start.y + end.y) / 2) < 1e-4);
                CHECK(std::abs(h.z - plan_height) < 1e-9);
                CHECK(h.axis.z == doctest::Approx(-1));
                if (k > 10 && k < 190) {
                    CHECK(std::abs(h.speed - 0.25) < 1e-3);
                    CHECK(h.acceleration < 0.05);
                }
            }
            lowest = std::min(lowest, start.y);
            highest = std::max(highest, start.y);
        }
        double turning = 0;
        for (std::size_t p = 0; p + 1 < 3; ++p) {
            double const from = sweep.passes[p].path.high, to = sweep.passes[p + 1].path.low;
            turning += to - from;
            double most_speed = 0, most_acceleration = 0;
            for (int k = 0; k <= 400; ++k) {
                auto const h = head_at(job, motion, from + (to - from) * k / 400);
                CHECK(h.y > lowest - 1e-4);
                CHECK(h.y < highest + 1e-4);
                CHECK(std::abs(h.z - plan_height) < 1e-9);
                most_speed = std::max(most_speed, h.speed);
                most_acceleration = std::max(most_acceleration, h.acceleration);
            }
            CHECK(most_speed < 1.01);
            CHECK(most_acceleration < 3.1);
            CHECK((most_speed > 0.97 || most_acceleration > 2.8)); // no longer than needed
        }
        CHECK(sweep.turning == doctest::Approx(turning));
        CHECK(sweep.rows.front().time == 0);
        CHECK(sweep.rows.back().time == doctest::Approx(sweep.passes.back().path.high));
    }
}

TEST_CASE("a pass goes from over its first seam to over its last, and on by the overhang") {
    auto const job = plan_job(thirty_stitches());
    SweepSettings settings;
    for (double const overhang : {0.0, 0.1, -0.08}) {
        settings.overhang = overhang;
        auto const sweep = sweep_proposal(job, settings);
        REQUIRE(sweep.passes.size() == 1);
        auto const motion = sweep.motion();
        // Middles of the outermost stitches lie at 0.0125 and 0.9875 m; places are looked at each 2 cm.
        CHECK(std::abs(head_at(job, motion, 0).x - (0.0125 - overhang)) < 0.025);
        CHECK(std::abs(head_at(job, motion, sweep.rows.back().time).x - (0.9875 + overhang)) < 0.025);
        check_reached(job, sweep);
        CHECK(sweep.not_reached.empty());
    }
}

TEST_CASE("standoff, tilts and yaw are as asked, mount and part apart") {
    auto const job = plan_job(thirty_stitches());
    SweepSettings settings;
    settings.direction = Direction<Part>{1, 0, 0};
    settings.stance.standoff = 0.48;
    settings.stance.tilt_along = degrees(10);
    settings.stance.tilt_across = degrees(-6);
    settings.stance.yaw = degrees(20);
    auto const sweep = sweep_proposal(job, settings);
    auto const motion = sweep.motion();
    for (int k = 0; k <= 10; ++k) {
        auto const head = head_on_part(job, motion.at(sweep.rows.back().time * k / 10));
        Direction<Part> const axis{head.rotation.m[0][2], head.rotation.m[1][2], head.rotation.m[2][2]};
        // Leaned towards +x by 10° and towards −y by 6°: the axis looks back and to the left.
        CHECK(axis.x / -axis.z == doctest::Approx(-std::tan(degrees(10))));
        CHECK(axis.y / -axis.z == doctest::Approx(std::tan(degrees(6))));
        CHECK(head.origin.z / -axis.z == doctest::Approx(0.48)); // along the axis down to the face
        // x of the head turned about its z, which looks down, by 20° from the main direction.
        Direction<Part> const x{head.rotation.m[0][0], head.rotation.m[1][0], head.rotation.m[2][0]};
        auto const main = unit(Direction<Part>{1, 0, 0} - axis.x * axis);
        CHECK(dot(x, main) == doctest::Approx(std::cos(degrees(20))));
        CHECK(dot(cross(main, x), axis) == doctest::Approx(std::sin(degrees(20))));
    }
}

TEST_CASE("over a lid and a shoulder the head's axis follows the seams beneath, within the largest lean") {
    auto const job = plan_job(seamhold::test::lid_and_shoulder(degrees(35)));
    SweepSettings settings;
    settings.stance.smoothing = 0.05;
    auto const angle_to = [](HeadMoves const& h, Direction<Part> const& normal) {
        return std::acos(std::clamp(-dot(h.axis, normal), -1.0, 1.0));
    };
    Direction<Part> const lid{0, 0, 1}, shoulder{std::sin(degrees(35)), 0, std::cos(degrees(35))};
    auto const free = sweep_proposal(job, settings);
    check_reached(job, free);
    CHECK(free.not_reached.empty());
    auto const motion = free.motion();
    auto const end = free.passes[0].path.high;
    CHECK(angle_to(head_at(job, motion, 0), lid) < degrees(1.5));
    CHECK(angle_to(head_at(job, motion, end), shoulder) < degrees(6));
    // The axis turns without a jump.
    for (int k = 1; k <= 4000; ++k)
        CHECK(angle_to(head_at(job, motion, end * k / 4000),
                       -head_at(job, motion, end * (k - 1) / 4000).axis) < degrees(0.2));

    settings.stance.largest_lean = degrees(5);
    auto const stiff = sweep_proposal(job, settings);
    auto const held = stiff.motion();
    // The mean normal leans by the sum of 18 and 9 equal parts.
    auto const mean = unit(18.0 * lid + 9.0 * shoulder);
    double most = 0;
    for (int k = 0; k <= 100; ++k)
        most = std::max(most, angle_to(head_at(job, held, stiff.rows.back().time * k / 100), mean));
    CHECK(most < degrees(5.01));
    CHECK(most > degrees(4.5));
}

TEST_CASE("a seam that no place reaches as a whole is followed while the pass goes on, in its direction") {
    // 0.5 m long, twice the field: reached only where the sweep goes its way.
    std::vector<ScheduledSeam> seams{stitch("A", flat_face(), 0, 0, 0.025, 0),
                                     stitch("along", flat_face(), 0.2, 0.05, 0.5, 0),
                                     stitch("Z", flat_face(), 0.9, 0, 0.025, 0)};
    auto const job = plan_job(seams);
    auto const sweep = sweep_proposal(job);
    REQUIRE(sweep.passes.size() == 1);
    CHECK(sweep.passes[0].forward);
    CHECK(sweep.not_reached.empty());
    CHECK(sweep.passes[0].moving == std::vector<std::size_t>{1});

    // Against it the sweep goes the other way.
    seams[1] = stitch("against", flat_face(), 0.7, 0.05, 0.5, degrees(180));
    auto const back = sweep_proposal(plan_job(seams));
    REQUIRE(back.passes.size() == 1);
    CHECK(!back.passes[0].forward);
    CHECK(back.not_reached.empty());

    // One pass cannot go both ways: the one against it is named.
    seams.push_back(stitch("along too", flat_face(), 0.2, 0.02, 0.5, 0));
    seams.push_back(stitch("along as well", flat_face(), 0.2, 0.03, 0.5, 0));
    auto const torn = sweep_proposal(plan_job(seams));
    REQUIRE(torn.passes.size() == 1);
    CHECK(torn.passes[0].forward);
    REQUIRE(torn.not_reached.size() == 1);
    CHECK(torn.not_reached[0].seam == 1);
}

TEST_CASE("a seam out of reach is named with its limit; where none is reached, that is refused") {
    auto seams = thirty_stitches();
    // 0.4 m below the others, where the lens does not reach: 0.08 m is its range. Others weigh more.
    Plane<> const pit{{Rotation<Part, Face>::identity(), {0, 0, -0.4}}};
    seams.push_back(stitch("pit", pit, 0.5, 0.1, 0.025, 0));
    auto const job = plan_job(seams);
    SweepSettings settings;
    settings.stance.smoothing = 1;
    auto const sweep = sweep_proposal(job, settings);
    check_reached(job, sweep);
    REQUIRE(sweep.not_reached.size() == 1);
    CHECK(sweep.not_reached[0].seam == 30);
    CHECK(sweep.not_reached[0].limit == Limit::focus_range);
    CHECK(sweep.not_reached[0].margin < 0);

    settings.stance.standoff = 1.5;
    auto const text = refusal_of([&] { return sweep_proposal(job, settings); });
    CHECK(has(text, "no pass over the seams reaches any"));
    CHECK(has(text, "seam S1"));
}

TEST_CASE("settings that are not possible are refused with what was given") {
    auto const job = plan_job(thirty_stitches());
    auto const refused = [&](auto const& change) {
        SweepSettings settings;
        change(settings);
        return refusal_of([&] { return sweep_proposal(job, settings); });
    };
    CHECK(has(refused([](auto& s) { s.speed = 0; }), "speed, m/s, of 0"));
    CHECK(has(refused([](auto& s) { s.turn_speed = 0.1; }), "speed of turnarounds"));
    CHECK(has(refused([](auto& s) { s.turn_acceleration = -3; }), "acceleration of turnarounds"));
    CHECK(has(refused([](auto& s) { s.row_distance = 0; }), "distance of rows"));
    CHECK(has(refused([](auto& s) { s.overhang = no_limit; }), "overhang"));
    CHECK(has(refused([](auto& s) { s.lines = 0; }), "1 line or more"));
    CHECK(has(refused([](auto& s) { s.stance.largest_lean = 3; }), "largest lean"));
    CHECK(has(refused([](auto& s) { s.direction = Direction<Part>{0, 0, 2}; }), "square on"));
    std::vector<ScheduledSeam> facing{
        stitch("up", flat_face(), 0, 0, 0.03, 0),
        stitch("down", Plane<>{{about_axis<Part, Face>(Direction<Part>{1, 0, 0}, degrees(180)), {0, 0, 0}}},
               0, 0, 0.03, 0)};
    CHECK(has(refusal_of([&] { return sweep_proposal(plan_job(facing)); }), "cancel"));
}

TEST_CASE("another direction turns the passes") {
    auto const job = plan_job(thirty_stitches());
    SweepSettings settings;
    settings.direction = Direction<Part>{0, 1, 0};
    auto const sweep = sweep_proposal(job, settings);
    check_reached(job, sweep);
    CHECK(sweep.not_reached.empty());
    CHECK(sweep.direction.y == doctest::Approx(1));
    // 1 m across in passes that reach at most 0.34 m: three or more.
    CHECK(sweep.passes.size() >= 3);
}
