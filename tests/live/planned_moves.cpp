// A plan runs as it is: the thirty stitches of examples/plan_job.hpp, whose gaps leave the air move's least
// time and 1.5 ms to settle, in the simulated cell. The planner gives order and starts; whether the light is
// there is traced apart from the library (live_cell.hpp), and the axes' rates are differences of what they
// are told.
#include "seamhold/live/live_move.hpp"
#include "seamhold/live/steering.hpp"

#include "../../examples/plan_job.hpp"
#include "live/live_cell.hpp"
#include "seamhold/plan/planner.hpp"

#include <doctest/doctest.h>

#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double begins = 0.7; // of the first stitch in the simulation, s

Plan const& tray_plan() {
    static Plan const made = [] {
        auto settings = examples::tray_settings();
        settings.pace = SweepPace::steady;
        return plan(examples::tray_to_plan(), {}, settings);
    }();
    return made;
}

/// The plan's job in the simulated cell, whose robot sweeps along its own line: the part is turned with it.
CellMake cell_of(Plan const& plan) {
    CellMake cell;
    auto const& chain = plan.job.chain;
    double const shift = begins - plan.seams.front().start;
    double const t0 = plan.seams.front().start;
    double const x0 = chain.cell_from_flange.at(t0).origin.x;
    cell.motion.speed = chain.cell_from_flange.at(t0 + 1).origin.x - x0; // at one pace
    cell.motion.swing = cell.motion.turn = 0;
    double const turn = std::atan2(0.6, 0.8); // of the cell's sweep, see ProgramSweep
    cell.flange_from_head = {about_axis<Flange, Head>({0, 0, 1}, turn), {0, 0, 0}};
    auto const flange = cell.motion.flange(begins).origin;
    auto const about_z = about_axis<Cell, Part>({0, 0, 1}, turn);
    cell.cell_from_part = {about_z, flange - about_z * Direction<Part>{x0, 0, 0.5}};
    cell.head = *std::get_if<MirrorPair<>>(&chain.head.choice());
    cell.dynamics = plan.job.dynamics;
    cell.seams.clear();
    auto const face_origin = cell.cell_from_part.origin;
    for (auto const& s : plan.job.seams) {
        auto const from = s.seam.at(0.0).position, to = s.seam.at(s.seam.duration()).position;
        double const dx = to.x - from.x, dy = to.y - from.y, length = std::hypot(dx, dy);
        cell.seams.push_back({s.name,
                              s.start + shift,
                              {about_axis<Cell, Face>({0, 0, 1}, turn), face_origin},
                              {from.x, from.y},
                              std::atan2(dy, dx),
                              0,
                              length,
                              length / s.seam.duration()});
    }
    cell.duration = begins + plan.takt() + 0.05;
    return cell;
}

/// Pure delays, whole ticks: an axis answers as it was told.
void answers_as_told(CellMake& cell) { cell.axes = {{{0, 0, 40}, {0, 0, 40}, {0, 0, 200}}}; }

/// Light from the first to the last moment of each seam, but for the laser's delays and `ticks`.
void check_whole(CellMake const& cell, CellRun const& run, double ticks) {
    CHECK(run.broken == std::vector<std::string>{});
    CHECK(run.within(cell.tolerances));
    double latest = 0, soonest = 0;
    for (std::size_t i = 0; i < cell.seams.size(); ++i) {
        auto const& seam = cell.seams[i];
        auto const& record = run.records[i];
        INFO(seam.name << ": " << to_string(record.outcome) << ", " << to_string(record.cause.reason) << " "
                       << detail_of(record.cause));
        CHECK(record.outcome == SeamOutcome::complete);
        CHECK(run.opened(i) == 1);
        double first = 1e9, last = -1e9;
        for (auto const& l : run.lit)
            if (l.seam == i) {
                first = std::min(first, l.seam_time);
                last = std::max(last, l.seam_time);
            }
        latest = std::max(latest, first);
        soonest = std::max(soonest, seam.duration() - last);
        CHECK(std::abs(first) <= ticks * cell.period);
        CHECK(std::abs(seam.duration() - last) <= ticks * cell.period);
    }
    MESSAGE("light comes up to " << latest * 1e6 << " us after a seam's start and goes up to "
                                 << soonest * 1e6 << " us before its end; off its place by up to "
                                 << run.worst.across * 1e6 << " um across, " << run.worst.along * 1e6
                                 << " um along");
}

/// The largest rates of one axis, from what it is told at ticks, as differences: means over one, two and
/// three ticks, so never above the true ones.
struct Rates {
    std::array<double, 4> last{};
    std::size_t count = 0;
    double velocity = 0, acceleration = 0, jerk = 0;

    void take(double x, double h) {
        std::rotate(last.begin(), last.begin() + 1, last.end());
        last[3] = x;
        if (++count < 4)
            return;
        auto const& u = last;
        velocity = std::max(velocity, std::abs(u[3] - u[2]) / h);
        acceleration = std::max(acceleration, std::abs(u[3] - 2 * u[2] + u[1]) / (h * h));
        jerk = std::max(jerk, std::abs(u[3] - 3 * u[2] + 3 * u[1] - u[0]) / (h * h * h));
    }
};

} // namespace

TEST_CASE("a plan runs as it is: light in every seam from end to end, and no limit is passed on the way") {
    auto const& plan = tray_plan();
    auto cell = cell_of(plan);
    answers_as_told(cell);
    std::size_t tight = 0; // gaps of the air move's least time and the settling, within 3 %
    double shortest = 1, longest = 0;
    for (std::size_t k = 1; k < plan.seams.size(); ++k) {
        double const gap = plan.seams[k].start - plan.seams[k - 1].end;
        tight += gap < 1.03 * (plan.seams[k].air + plan.job.dynamics.settling) ? 1 : 0;
        shortest = std::min(shortest, gap);
        longest = std::max(longest, gap);
    }
    MESSAGE(tight << " of " << plan.seams.size() - 1 << " gaps are tight; " << shortest * 1e3 << " to "
                  << longest * 1e3 << " ms; sweep at " << cell.motion.speed << " m/s");
    REQUIRE(tight >= 20);
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, cell.steering());
    std::array<Rates, 3> rates;
    CellHooks hooks;
    hooks.after = [&](LiveTick const& tick) {
        if (tick.time.seconds < cell.link.offset + 0.4) // it gets to the first stitch from anywhere
            return;
        rates[0].take(tick.command.x_mirror, cell.period);
        rates[1].take(tick.command.y_mirror, cell.period);
        rates[2].take(tick.command.focus, cell.period);
    };
    auto const run =
        run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 1), receiver, steering, hooks);
    check_whole(cell, run, 3);
    MESSAGE("mirrors up to " << rates[0].velocity << ", " << rates[1].velocity << " rad/s, "
                             << rates[0].acceleration << ", " << rates[1].acceleration << " rad/s2, "
                             << rates[0].jerk << ", " << rates[1].jerk << " rad/s3; lens up to "
                             << rates[2].velocity << " m/s, " << rates[2].acceleration << " m/s2");
    auto const& d = cell.dynamics;
    for (std::size_t i = 0; i < 2; ++i) {
        CHECK(rates[i].velocity <= d.mirror_velocity);
        CHECK(rates[i].acceleration <= d.mirror_acceleration);
        // Rounding: 1e-17 rad of commands, over (10 us)³.
        CHECK(rates[i].jerk <= d.mirror_jerk);
        // It is no slow way either.
        CHECK(rates[i].jerk >= 0.8 * d.mirror_jerk);
    }
    CHECK(rates[2].velocity <= d.focus_velocity);
    CHECK(rates[2].acceleration <= d.focus_acceleration);
}

TEST_CASE("the same with axes of second order, a laser that is late, noise and uneven delays") {
    auto cell = cell_of(tray_plan());
    cell.link = with_noise(cell.link, 1e-6);
    cell.link.jitter = 1e-3;
    cell.link.latency = 9e-3;
    cell.link.drift = 100e-6;
    auto const run = run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 2));
    check_whole(cell, run, 5); // by what the clocks are off, too
}

TEST_CASE("the way to another seam: C², whole between breaks, and exactly nothing from its end on") {
    Random random(5);
    RateLimits const limits{40, 2e4, 4e7};
    std::size_t made = 0;
    for (std::size_t i = 0; i < runs(2000); ++i) {
        AxisState const from{random.uniform(-0.2, 0.2), random.uniform(-30, 30), random.uniform(-1e4, 1e4)};
        double const begin = random.uniform(0, 100);
        double const least = least_duration(from, detail::no_difference, limits);
        if (!is_finite(least))
            continue;
        auto const quickest = axis_move(from, detail::no_difference, limits, 1.3 * least, begin);
        REQUIRE(quickest);
        ++made;
        LiveMove const move(*quickest);
        using Time = Taylor<double, 3>;
        auto const at = [&](double t) { return move.at(Time::variable(t)); };
        auto const first = at(begin);
        CHECK(first.coefficient[0] == from.position);
        CHECK(first.coefficient[1] == from.velocity);
        double t = begin;
        int pieces = 0;
        for (int turn = 0; turn < 60; ++turn) { // a break may be met again by a last bit
            double const next = move.whole_until(t);
            if (!is_finite(next))
                break;
            REQUIRE(next >= t);
            // Within a piece the third derivative stays; across a break two orders do.
            double const h = next - t;
            if (h > 1e-9) {
                ++pieces;
                auto const jerk = at(t + 0.01 * h).coefficient[3];
                for (double const share : {0.3, 0.5, 0.7, 0.99})
                    CHECK(std::abs(at(t + share * h).coefficient[3] - jerk) <= 1e-9 * limits.jerk);
                auto const left = at(next - 1e-9), right = at(next + 1e-9);
                CHECK(std::abs(left.coefficient[1] - right.coefficient[1]) <= 4e-9 * limits.acceleration);
                CHECK(std::abs(left.coefficient[2] - right.coefficient[2]) <= 4e-9 * limits.jerk);
            }
            t = std::max(next, std::nextafter(t, 1e9));
        }
        CHECK(pieces >= 1);
        CHECK(pieces <= 14);
        CHECK(std::abs(move.end() - begin - 1.3 * least) <= 1e-13);
        for (double const later : {0.0, 1e-9, 1.0}) {
            auto const rest = at(move.end() + later);
            CHECK(rest.coefficient[0] == 0);
            CHECK(rest.coefficient[2] == 0);
        }
        CHECK(!is_finite(move.whole_until(move.end())));
    }
    CHECK(made > runs(2000) / 4);
    CHECK(LiveMove().at(1.0) == 0);
    CHECK(!is_finite(LiveMove().whole_until(0)));
}

TEST_CASE("a way that has begun is gone on with: nothing is planned anew until it has ended") {
    auto cell = cell_of(tray_plan());
    answers_as_told(cell);
    auto const settings = cell.steering();
    auto const forecasts = forecasts_of(cell, arrivals(cell.motion, cell.link, cell.duration, 1));
    using Axes = LiveAxes<CellSteering::Moves>;
    Axes axes({{{}, {}}, {cell.cell_from_part}, cell.flange_from_head, cell.head},
              LiveSchedule(cell.scheduled(), settings.run_up), settings);
    std::size_t next = 0, changes = 0;
    double const last = cell.seams[5].start + cell.seams[5].duration();
    for (double t = cell.from; t < last; t += cell.period) {
        ScannerTime const now{cell.link.offset + t};
        Forecast<7> const* newest = nullptr;
        for (; next < forecasts.size() && forecasts[next].made.seconds <= now.seconds; ++next)
            newest = &forecasts[next];
        Axes::Wanted wanted;
        axes.look(now, newest, false, wanted);
        changes += wanted.changed && newest == nullptr && t > begins + 0.01 ? 1 : 0;
    }
    // Five ways. The lens leaves before the mirrors, and what is soon there waits and sets out anew.
    CHECK(changes <= 20);
    CHECK(changes >= 8); // a forecast may arrive in the same tick
}

TEST_CASE("limits of the way to another seam: missing ones are spread") {
    auto const at_once = AxisResponse::pure_delay(1e-3);
    auto const whole = live_move_limits(40, 2e4, 4e7, 0.5, at_once, 1e-5);
    CHECK(whole.velocity == 20);
    CHECK(whole.acceleration == 1e4);
    CHECK(whole.jerk == 2e7);
    auto const no_jerk = live_move_limits(40, 2e4, no_limit, 1, at_once, 1e-5);
    CHECK(no_jerk.jerk == doctest::Approx(2e9));
    // A lens that answers in 1/ω = 1 ms gets to its 0.2 m/s in no less: the command that makes it answer so
    // leads by a/ω² = 0.2 mm; over a tick of 10 us it would be 20 mm.
    AxisResponse const slow{0, 1e-3, 1e-6};
    auto const lens = live_move_limits(0.2, no_limit, no_limit, 1, slow, 1e-5);
    CHECK(lens.acceleration == doctest::Approx(200));
    CHECK(lens.jerk == doctest::Approx(2e5));
    CHECK(!is_finite(live_move_limits(no_limit, 2e4, 4e7, 1, at_once, 1e-5).velocity));
}

TEST_CASE("on the way to a seam that weaves hard, what the weave uses is left to it") {
    CellMake cell;
    cell.axes = {{{0, 0, 0}, {0, 0, 0}, {0, 0, 0}}}; // what is told is how the axes answer
    auto& circle = cell.seams[1];
    auto& weave = cell.seams[2];
    weave.weave = {600, 1e-3}; // 1 mm (2 pi 600)² / 2 / 0.45 m: some 16 000 of 60 000 rad/s²
    double const gap = 3e-3;
    circle.start = weave.start - circle.duration() - gap;
    circle.cell_from_face = cell.face_under(circle.start + 0.06, -0.2, 2e-3);
    auto settings = cell.steering();
    settings.move_share = 1;
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, settings);
    std::array<Rates, 2> rates;
    CellHooks hooks;
    hooks.after = [&](LiveTick const& tick) {
        double const t = tick.time.seconds - cell.link.offset;
        if (t < weave.start - gap || t > weave.start)
            return;
        rates[0].take(tick.command.x_mirror, cell.period);
        rates[1].take(tick.command.y_mirror, cell.period);
    };
    auto const run =
        run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 4), receiver, steering, hooks);
    CHECK(run.records[1].outcome == SeamOutcome::complete);
    CHECK(run.records[2].outcome == SeamOutcome::complete);
    double const most = std::max(rates[0].acceleration, rates[1].acceleration);
    CHECK(most <= cell.dynamics.mirror_acceleration);
    CHECK(most >= 0.7 * cell.dynamics.mirror_acceleration); // it hurries
}

TEST_CASE("a head without a limit of velocity goes in blends, as before, where there is time") {
    CellMake cell;
    auto settings = cell.steering();
    settings.dynamics.mirror_velocity = no_limit;
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, settings);
    auto const run = run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 3), receiver, steering);
    CHECK(run.broken == std::vector<std::string>{});
    for (auto const& record : run.records)
        CHECK(record.outcome == SeamOutcome::complete);
}

TEST_CASE("shares of the head's limits that are not possible are refused") {
    CellMake const cell;
    for (double const share : {0.0, -1.0, 1.01, static_cast<double>(NAN), static_cast<double>(HUGE_VAL)}) {
        auto settings = cell.steering();
        settings.move_share = share;
        CHECK_THROWS_AS(cell_steering(cell, settings), BadInput);
    }
}
