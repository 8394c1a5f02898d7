#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

// What a second pair of eyes found in the steering: each stands here as it was shown to be wrong.

using namespace seamhold;
using namespace seamhold::test;

namespace {

std::string told(SeamRecord const& record) {
    return std::string(to_string(record.outcome)) + ", " + to_string(record.cause.reason) + " " +
           detail_of(record.cause) + " " + std::to_string(record.cause.value * 1e6) + "e-6 of " +
           std::to_string(record.cause.allowed * 1e6) + "e-6";
}

} // namespace

TEST_CASE("an input that goes off within a block shuts the gate at that tick") {
    CellMake cell;
    cell.duration = 0.7;
    cell.inputs = {{"clamps", 10.0}};
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, cell.steering());
    steering.use_blocks(bounds_about_sweep(cell, steering));
    double off = 0;
    std::size_t late = 0;
    bool told_ready = false;
    CellHooks hooks;
    hooks.before = [&](double now, LiveLink<7>& link) {
        if (!told_ready)
            told_ready = link.inputs.push({0, true, {now}});
        if (off == 0 && now > 40.6001 && link.inputs.push({0, false, {now}}))
            off = now;
    };
    hooks.after = [&](LiveTick const& tick) { late += off > 0 && tick.gate ? 1 : 0; };
    auto const run =
        run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 5), receiver, steering, hooks);
    INFO(told(run.records[0]));
    CHECK(run.opened(0) == 1);
    CHECK(run.records[0].cause.reason == GateReason::input);
    CHECK(late == 0);
}

TEST_CASE(
    "a weave's across and along are not told apart: a correction in any direction counts against both") {
    CellMake cell;
    cell.tolerances = {40e-6, 400e-6, 3e-3};
    auto settings = cell.steering();
    settings.mirror_correction = {6, 6000, 5e-3, 0.05};
    auto const forecasts = forecasts_of(cell, arrivals(cell.motion, cell.link, 1.2, 5));
    auto const& weave = cell.seams[2];
    double const at = 41.0;
    for (int k = 0; k < 12; ++k) {
        CAPTURE(k);
        double const angle = k * std::numbers::pi / 12;
        auto const shift =
            weave.cell_from_face.rotation * Direction<Face>{std::cos(angle), std::sin(angle), 0.0};
        auto changed = forecasts;
        for (auto& f : changed)
            if (f.made.seconds > at) {
                f.coefficient[0][0] += 120e-6 * shift.x;
                f.coefficient[0][1] += 120e-6 * shift.y;
                f.coefficient[0][2] += 120e-6 * shift.z;
            }
        LoopAlone loop(cell, changed);
        auto steering = cell_steering(cell, settings);
        double last_open = 0;
        while (loop.now() < at + 0.03)
            if (auto const tick = loop.step(steering); tick.gate)
                last_open = tick.time.seconds;
        CHECK(last_open > at - 0.01);
        CHECK(last_open < at + 0.005); // the first forecast after it
        CHECK(steering.gate().seams()[2].cause.reason == GateReason::blending);
    }
}

TEST_CASE("the light begins where the spot is by then: what blends have to go is looked at for first light") {
    // The way to the second seam ends about when it begins; the light comes at once, the axes answer late.
    std::size_t complete = 0, missed = 0;
    for (int k = 0; k < 24; ++k) {
        CellMake cell;
        cell.laser_on = cell.laser_off = 0;
        cell.axes = {{{0, 0, 20}, {0, 0, 20}, {0, 0, 20}}};
        cell.seams.resize(2);
        double const gap = 0.8e-3 + 0.05e-3 * k;
        CAPTURE(gap);
        cell.seams[1].start = cell.seams[0].start + cell.seams[0].duration() + gap;
        cell.seams[1].cell_from_face = cell.face_under(cell.seams[1].start + 0.06, -0.2, 2e-3);
        cell.seams[1].from = {0.02, 0.02};
        cell.from = 0.5;
        cell.duration = 0.69;
        auto const run = run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 9));
        INFO(run.worst.across * 1e6 << " and " << run.worst.along * 1e6 << " um; " << told(run.records[1]));
        CHECK(run.within(cell.tolerances));
        missed += run.records[1].outcome == SeamOutcome::missed ? 1 : 0;
        complete += run.records[1].outcome == SeamOutcome::running ? 1 : 0;
    }
    CHECK(missed > 3);
    CHECK(complete > 3);
}

TEST_CASE("light does not begin while an axis that answers sooner is still in the seam before") {
    CellMake cell;
    cell.laser_on = 5;
    cell.laser_off = 12;
    cell.axes = {{{0, 0, 20}, {0, 0, 1}, {0, 0, 20}}};
    cell.seams.resize(2);
    auto const& one = cell.seams[0];
    auto& two = cell.seams[1];
    two = one;
    two.name = "second";
    two.start = one.start + one.duration();
    // Where the x mirror need not move, only the other.
    auto const head_from_face =
        inverse(cell.motion.flange(two.start) * cell.flange_from_head) * one.cell_from_face;
    double const x = one.from.x + one.length * std::cos(one.angle);
    double const y = one.from.y + one.length * std::sin(one.angle);
    auto const x_mirror = [&](double by_x, double by_y) {
        return cell.head.command(head_from_face * Point<Face>{x + by_x, y + by_y, 0.0}, 0.0).x_mirror;
    };
    double by_x = 0;
    double const by_y = 0.004, step = 1e-6;
    for (int i = 0; i < 20; ++i) {
        double const off = x_mirror(by_x, by_y) - x_mirror(0, 0);
        by_x -= off * step / (x_mirror(by_x + step, by_y) - x_mirror(by_x, by_y));
    }
    two.from = {x + by_x, y + by_y};
    cell.from = 0.5;
    cell.duration = 0.7;
    auto const run = run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 9));
    INFO(run.worst.across * 1e6 << " and " << run.worst.along * 1e6 << " um; " << told(run.records[1]));
    CHECK(run.within(cell.tolerances));
    CHECK(run.records[0].outcome == SeamOutcome::complete);
    CHECK(run.opened(1) == 0);
}

TEST_CASE("a block that ends with its seam: the seam is complete, however little slack there is") {
    CellMake cell;
    cell.laser_on = cell.laser_off = 10;
    cell.axes = {{{0, 0, 2}, {0, 0, 2}, {0, 0, 2}}};
    for (auto& seam : cell.seams)
        seam.start += 4e-6; // between ticks
    auto settings = cell.steering();
    settings.gate.slack = 2.5 * settings.period;
    auto steering = cell_steering(cell, settings);
    steering.use_blocks(bounds_about_sweep(cell, steering));
    auto const forecasts = forecasts_of(cell, arrivals(cell.motion, cell.link, cell.duration, 5));
    LoopAlone loop(cell, forecasts);
    while (loop.now() < 41.4)
        static_cast<void>(loop.step(steering));
    for (auto const& record : steering.gate().seams()) {
        INFO(told(record));
        CHECK(record.outcome == SeamOutcome::complete);
    }
}

TEST_CASE("between blocks it is looked where the seam goes: a circle's across turns") {
    CellMake cell;
    cell.tolerances = {60e-6, 300e-6, 3e-3};
    auto forecasts = forecasts_of(cell, arrivals(cell.motion, cell.link, 1.0, 5));
    // The last forecast is sure but for one direction, along the circle: a quarter of a turn later, across.
    auto const end = std::find_if(forecasts.begin(), forecasts.end(),
                                  [](Forecast<7> const& f) { return f.made.seconds > 40.795; });
    REQUIRE(end != forecasts.end());
    forecasts.erase(end, forecasts.end());
    auto const& circle = cell.seams[1];
    double const angle =
        circle.angle + 2 * circle.feed / circle.diameter * (forecasts.back().made.seconds - 40.75);
    auto const u = circle.cell_from_face.rotation * Direction<Face>{-std::sin(angle), std::cos(angle), 0.0};
    auto& error = forecasts.back().error;
    double const most = sqr(80e-6 / error.factor), least = sqr(1e-6 / error.factor);
    for (auto& m : error.moment) {
        double const moments[6] = {most * u.x * u.x + least, most * u.y * u.y + least,
                                   most * u.z * u.z + least, most * u.x * u.y,
                                   most * u.x * u.z,         most * u.y * u.z};
        std::copy(moments, moments + 6, m);
    }
    auto exact = cell_steering(cell, cell.steering());
    auto blocks = exact;
    blocks.use_blocks(bounds_about_sweep(cell, blocks));
    LoopAlone one(cell, forecasts), other(cell, forecasts);
    double shut_exact = 0, shut_blocks = 0;
    while (one.now() < 40.87) {
        if (auto const tick = one.step(exact); tick.gate)
            shut_exact = tick.time.seconds;
        if (auto const tick = other.step(blocks); tick.gate)
            shut_blocks = tick.time.seconds;
    }
    CHECK(exact.gate().seams()[1].cause.reason == GateReason::error_across);
    CHECK(blocks.gate().seams()[1].cause.reason == GateReason::error_across);
    CHECK(shut_exact < 40.83);
    CHECK(shut_blocks - shut_exact <=
          0.46e-3); // by one block at most, for whose time the seam turns by 1.3 degrees
}

TEST_CASE("commands do not jump after a first message that is useless, nor after ticks that were left out") {
    CellMake cell;
    cell.seams[1].start = cell.seams[0].start + cell.seams[0].duration() + 6e-3;
    cell.seams[1].cell_from_face = cell.face_under(cell.seams[1].start + 0.06, -0.2, 2e-3);
    cell.seams[1].from = {0.02, 0.02};
    auto const forecasts = forecasts_of(cell, arrivals(cell.motion, cell.link, 0.8, 5));
    for (int kind = 0; kind < 3; ++kind) {
        CAPTURE(kind);
        auto steering = cell_steering(cell, cell.steering());
        std::size_t next = 0;
        double now = 40.5, most = 0;
        Command<> before = {0, 0, 0};
        Forecast<7> useless{};
        useless.fault = StreamFault::not_finite;
        while (now < 40.7) {
            Forecast<7> const* newest = nullptr;
            while (next < forecasts.size() && forecasts[next].made.seconds <= now)
                newest = &forecasts[next++];
            if ((kind == 0 && now < 40.501) || (kind == 1 && newest != nullptr && next % 7 == 0))
                newest = &useless; // at first, or now and then
            auto const tick = steering.tick({now}, newest, {now}, false);
            most = std::max(most, std::hypot(tick.command.x_mirror - before.x_mirror,
                                             tick.command.y_mirror - before.y_mirror));
            before = tick.command;
            now += cell.period;
            if (kind == 2 && now > 40.6704 && now < 40.676) // in the middle of the way to the next seam
                now = 40.676;
        }
        // 60 rad/s of each mirror on its way.
        CHECK(most <= 1.5 * 60 * cell.period);
        CHECK(most > 0);
    }
}

TEST_CASE("a command beyond its range shuts the gate, though the axis would answer within") {
    // Slow axes must be told more than they do: a weave as fast as they are by nature, twice as much.
    for (bool const high : {true, false}) {
        CAPTURE(high);
        CellMake cell;
        cell.seams = {cell.seams[2]};
        cell.seams[0].weave = {250, 0.5e-3};
        cell.axes = {{{250, 1.0, 6}, {250, 1.0, 6}, {300, 0.9, 20}}};
        cell.from = 0.9;
        cell.duration = 1.1;
        auto settings = cell.steering();
        settings.stopping_time = 0;
        auto const messages = arrivals(cell.motion, cell.link, cell.duration, 5);
        Range answered{1, -1}, commanded{1, -1};
        for (bool const cut : {false, true}) {
            CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
            auto steering = cell_steering(cell, settings);
            SimulatedAxis axis(250, 1.0, 6);
            CellHooks hooks;
            hooks.after = [&](LiveTick const& tick) {
                if (!cut && tick.gate) {
                    answered.low = std::min(answered.low, axis.value());
                    answered.high = std::max(answered.high, axis.value());
                    commanded.low = std::min(commanded.low, tick.command.y_mirror);
                    commanded.high = std::max(commanded.high, tick.command.y_mirror);
                }
                axis.step(tick.command.y_mirror, cell.period);
            };
            auto const run = run_cell(cell, messages, receiver, steering, hooks);
            INFO(run.worst.across * 1e6 << " and " << run.worst.along * 1e6 << " um; "
                                        << told(run.records[0]));
            CHECK(run.within(cell.tolerances));
            if (cut)
                CHECK(run.records[0].cause.reason == GateReason::limit_passed);
            else
                CHECK(run.records[0].outcome == SeamOutcome::complete);
            (high ? cell.head.y_range.high = answered.high + 2e-5
                  : cell.head.y_range.low = answered.low - 2e-5);
        }
        CHECK((high ? commanded.high > answered.high + 1e-4 : commanded.low < answered.low - 1e-4));
    }
}

TEST_CASE("the stated error is that of the axis that answers last") {
    CellMake cell;
    cell.axes = {{{0, 0, 5}, {0, 0, 60}, {0, 0, 5}}};
    auto const forecasts = forecasts_of(cell, arrivals(cell.motion, cell.link, 0.4, 5));
    auto steering = cell_steering(cell, cell.steering());
    LoopAlone loop(cell, forecasts);
    for (int i = 0; i < 1000; ++i)
        static_cast<void>(loop.step(steering));
    auto const tick = loop.step(steering);
    auto const& f = steering.chain().cell_from_flange.forecast;
    CHECK(tick.horizon == doctest::Approx(f.clock.robot_at(tick.time + 60.5e-5) - f.newest).epsilon(1e-9));
}

TEST_CASE("settings that no laser and no axis has are refused, and bounds in another order than the seams") {
    CellMake const cell;
    auto const refused = [&](auto change) {
        auto settings = cell.steering();
        change(settings);
        CHECK_THROWS_AS(cell_steering(cell, settings), BadInput);
    };
    using S = SteeringSettings&;
    for (double const x : {-1.0, static_cast<double>(NAN), static_cast<double>(HUGE_VAL)}) {
        refused([x](S s) { s.power = x; });
        refused([x](S s) { s.x_response.delay = x; });
        refused([x](S s) { s.focus_response.delay = x; });
    }
    for (double const x : {0.0, -1.0, static_cast<double>(NAN)}) {
        refused([x](S s) { s.dynamics.mirror_velocity = x; });
        refused([x](S s) { s.dynamics.focus_acceleration = x; });
    }
    refused([](S s) { s.y_response.second = NAN; });
    refused([](S s) { s.period = 1.01 * s.gate.longest_tick; });
    auto steering = cell_steering(cell, cell.steering());
    auto bounds = bounds_about_sweep(cell, steering);
    CHECK_NOTHROW(steering.use_blocks(bounds));
    std::swap(bounds[0], bounds[1]);
    CHECK_THROWS_AS(steering.use_blocks(bounds), BadInput);
}

TEST_CASE("the next break of a seam is told without a look at all stretches up to it") {
    CellMake const cell;
    auto const steering = cell_steering(cell, cell.steering());
    for (auto const& bounds : bounds_about_sweep(cell, steering)) {
        auto const places = bounds.places();
        auto const stretches = bounds.stretches();
        for (std::size_t i = 0; i < stretches.size(); ++i) {
            std::size_t last = i;
            while (last + 1 < stretches.size() && stretches[last + 1].joined)
                ++last;
            CHECK(bounds.next_break(places[i]) == places[last + 1]);
            CHECK(bounds.next_break((places[i] + places[i + 1]) / 2) == places[last + 1]);
        }
        CHECK(bounds.next_break(places.back()) == places.back());
    }
}

TEST_CASE(
    "seams that touch: the gate shuts in between, also where the laser is slower to begin than to end") {
    struct Case {
        std::size_t on, off, late; // ticks
        double beside;             // m
    };
    for (auto const& one :
         {Case{5, 5, 10, 0}, Case{40, 5, 45, 0}, Case{5, 40, 10, 0}, Case{40, 5, 1, 0.004}}) {
        CAPTURE(one.on);
        CAPTURE(one.off);
        CAPTURE(one.beside);
        CellMake cell;
        cell.axes = {{{0, 0, one.late}, {0, 0, one.late}, {0, 0, one.late}}};
        cell.laser_on = one.on;
        cell.laser_off = one.off;
        cell.seams.resize(2);
        auto const& first = cell.seams[0];
        auto& second = cell.seams[1];
        second = first;
        second.name = "second";
        second.start = first.start + first.duration();
        second.from = {
            first.from.x + first.length * std::cos(first.angle) - one.beside * std::sin(first.angle),
            first.from.y + first.length * std::sin(first.angle) + one.beside * std::cos(first.angle)};
        cell.from = 0.4;
        cell.duration = 0.85;
        auto const run = run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 5));
        INFO(run.worst.across * 1e6 << " and " << run.worst.along * 1e6 << " um; " << told(run.records[1]));
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.within(cell.tolerances));
        CHECK(run.records[0].outcome == SeamOutcome::complete);
        if (one.beside == 0)
            CHECK(run.records[1].outcome == SeamOutcome::complete);
    }
}

TEST_CASE("the blind time is 0 where the spot was never seen, and on a weave that of any direction") {
    CellMake cell;
    auto forecast = forecasts_of(cell, arrivals(cell.motion, cell.link, 1.0, 5)).back();
    auto const blind = [&](double shift) {
        auto steering = cell_steering(cell, cell.steering());
        auto f = forecast;
        f.coefficient[0][2] += shift;
        for (int i = 0; i < 3000; ++i) // until it is there
            static_cast<void>(steering.tick(f.made + cell.period * i, i == 0 ? &f : nullptr, f.made, false));
        return steering.blind_time();
    };
    CHECK(blind(5) == 0); // metres out of reach
    // On the weave: an error that is the same in all directions, 50 um at first, grows by its square root.
    forecast.error.step = 0.004;
    forecast.error.factor = 1;
    for (std::size_t i = 0; i < SpotError::count; ++i)
        for (std::size_t k = 0; k < 6; ++k)
            forecast.error.moment[i][k] = k < 3 ? sqr(50e-6) * static_cast<double>(i + 1) : 0;
    double const time = blind(0);
    CHECK(time > 0);
    // Across and along together, beams that lean a little counted in: 2 m = (120 um)^2, less for the lean.
    CHECK(time <= 0.004 * sqr(120.0 / 50) / 2 * 1.0001);
    CHECK(time >= 0.004 * sqr(120.0 / 50) / 2 * 0.8);
}
