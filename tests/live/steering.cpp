#include "seamhold/live/steering.hpp"

#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include "support/refusal.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr std::size_t seam_of_weave = 2;

std::string told(SeamRecord const& record) {
    return std::string(to_string(record.outcome)) + ", " + to_string(record.cause.reason) + " " +
           detail_of(record.cause) + " " + std::to_string(record.cause.value * 1e6) + "e-6 of " +
           std::to_string(record.cause.allowed * 1e6) + "e-6";
}

// Links from the best to a bad one.
struct NamedLink {
    std::string name;
    LinkSettings link;
    Deviations expected; // of the true spot at most; measured, with some room
};

std::vector<NamedLink> links() {
    LinkSettings best;
    best.offset = 40;
    auto noisy = with_noise(best, 1e-6);
    auto uneven = noisy;
    uneven.jitter = 1e-3;
    uneven.latency = 9e-3;
    uneven.drift = 100e-6;
    auto bad = uneven;
    bad.loss = 0.02;
    bad.duplicated = 0.05;
    bad.late = 0.02;
    bad.lateness = 6e-3;
    auto rates = uneven;
    rates.has_rates = true;
    rates.rate_noise = 1e-3;
    auto fast = with_noise(best, 1e-6);
    fast.period = 1e-3;
    fast.latency = 3e-3;
    return {{"best", best, {1e-6, 1e-6, 1e-6}},
            {"1 um of noise", noisy, {20e-6, 20e-6, 20e-6}},
            {"and jitter of 1 ms, drift of 100 ppm", uneven, {40e-6, 40e-6, 40e-6}},
            {"and 2 % lost, 5 % twice, 2 % overtaken", bad, {60e-6, 60e-6, 60e-6}},
            {"with rates", rates, {60e-6, 60e-6, 60e-6}},
            {"1 ms samples", fast, {60e-6, 60e-6, 60e-6}}};
}

} // namespace

TEST_CASE("a cell without faults welds all seams, from end to end, with the light where it belongs") {
    for (auto const& one : links()) {
        CellMake cell;
        cell.link = one.link;
        auto const run = run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 1));
        MESSAGE(one.name << ": across " << run.worst.across * 1e6 << ", along " << run.worst.along * 1e6
                         << ", focus " << run.worst.focus * 1e6 << " um at most; stated "
                         << run.worst_stated.across * 1e6 << ", " << run.worst_stated.along * 1e6 << ", "
                         << run.worst_stated.focus * 1e6);
        CHECK(run.within(cell.tolerances));
        CHECK(run.within(one.expected));
        for (std::size_t i = 0; i < cell.seams.size(); ++i) {
            INFO(one.name << ", " << cell.seams[i].name << ": " << told(run.records[i]));
            CHECK(run.records[i].outcome == SeamOutcome::complete);
            CHECK(run.opened(i) == 1);
            auto const lit = [&](Lit const& l) { return l.seam == i; };
            auto const first = std::find_if(run.lit.begin(), run.lit.end(), lit);
            auto const last = std::find_if(run.lit.rbegin(), run.lit.rend(), lit);
            REQUIRE(first != run.lit.end());
            // Within a tick's way, and what the clocks are off by.
            double const clock = one.link.jitter > 0 ? 25e-6 : 1e-6;
            CHECK(std::abs(first->seam_time) <= cell.period + clock);
            double const beyond = last->seam_time + cell.period - cell.seams[i].duration();
            CHECK(beyond <= clock);
            CHECK(beyond >= -1.001 * cell.period - clock);
            CHECK(std::abs(run.records[i].begun_at) <= cell.seams[i].feed * cell.period);
        }
        CHECK(run.broken == std::vector<std::string>{});
    }
}

TEST_CASE("a new forecast never makes the command jump: velocity and acceleration go on") {
    CellMake cell;
    cell.axes = {{{0, 0, 0}, {0, 0, 0}, {0, 0, 0}}}; // what is commanded is how the axes answer
    cell.link = with_noise(cell.link, 10e-6);
    cell.tolerances = {0.5e-3, 0.5e-3, 3e-3};
    auto settings = cell.steering();
    BlendBounds const bounds{6, 6000, 2e-3, 0.05};
    settings.mirror_correction = bounds;
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, settings);
    std::array<double, 4> x{}, y{};
    std::size_t in_a_row = 0, corrections = 0;
    double most = 0, largest_jump = 0, largest_anywhere = 0;
    std::size_t number = 0;
    CellHooks hooks;
    hooks.after = [&](LiveTick const& tick) {
        std::rotate(x.begin(), x.begin() + 1, x.end());
        std::rotate(y.begin(), y.begin() + 1, y.end());
        x[3] = tick.command.x_mirror;
        y[3] = tick.command.y_mirror;
        if (steering.chain().cell_from_flange.forecast.number != number && tick.gate)
            ++corrections;
        number = steering.chain().cell_from_flange.forecast.number;
        double const h = cell.period;
        auto const second = [&](std::array<double, 4> const& u, std::size_t i) {
            return (u[i] - 2 * u[i - 1] + u[i - 2]) / (h * h);
        };
        if (++in_a_row >= 4)
            for (auto const& u : {x, y})
                largest_anywhere = std::max(largest_anywhere, std::abs(second(u, 3)));
        if (!tick.gate)
            return;
        for (auto const& u : {x, y}) {
            most = std::max(most, std::abs(second(u, 3)));
            largest_jump = std::max(largest_jump, std::abs(second(u, 3) - second(u, 2)));
        }
    };
    auto const run =
        run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 7), receiver, steering, hooks);
    CHECK(run.records[seam_of_weave].outcome == SeamOutcome::complete);
    CHECK(corrections > 100);
    // A weave of 0.2 mm at 300 Hz, half a metre away: 0.2e-3 (2 pi 300)^2 / 2 / 0.45.
    double const own = 0.2e-3 * 3.553e6 / 2 / 0.4;
    MESSAGE("accelerations in seams up to " << most << " rad/s2, between ticks they change by up to "
                                            << largest_jump << "; anywhere up to " << largest_anywhere);
    CHECK(most <= own + 200); // corrections add a little, measured; a jump of 1 urad would add 10 000
    // The weave's own: 800 rad/s2 at 1885 rad/s, 15 a tick.
    CHECK(largest_jump <= 40);
    CHECK(largest_anywhere <= cell.dynamics.mirror_acceleration);
}

TEST_CASE("a laser that is slow to go out, or on: the light is where it belongs all the same") {
    struct Ticks {
        std::size_t on, off;
    };
    for (auto const late : {Ticks{0, 0}, Ticks{0, 90}, Ticks{90, 0}, Ticks{150, 3}}) {
        std::size_t const on = late.on, off = late.off;
        CAPTURE(on);
        CAPTURE(off);
        CellMake cell;
        cell.laser_on = on;
        cell.laser_off = off;
        auto settings = cell.steering();
        settings.gate.slack = 1.6e-3; // where the light begins and where it would end are so far apart
        CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
        auto steering = cell_steering(cell, settings);
        auto const run =
            run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 8), receiver, steering);
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.within({2e-6, 2e-6, 2e-6}));
        for (std::size_t i = 0; i < cell.seams.size(); ++i) {
            INFO(cell.seams[i].name << ": " << told(run.records[i]));
            CHECK(run.records[i].outcome == SeamOutcome::complete);
            double first = 1e9, last = -1e9;
            for (auto const& l : run.lit)
                if (l.seam == i) {
                    first = std::min(first, l.seam_time);
                    last = std::max(last, l.seam_time);
                }
            CHECK(std::abs(first) <= 1.1 * cell.period);
            CHECK(std::abs(last + cell.period - cell.seams[i].duration()) <= 1.2 * cell.period);
        }
    }
}

TEST_CASE("seams that follow each other too fast: the second is missed, not smeared") {
    CellMake cell;
    cell.seams[1].start = cell.seams[0].start + cell.seams[0].duration();
    cell.seams[1].cell_from_face = cell.face_under(cell.seams[1].start + 0.06, -0.2, 2e-3);
    cell.seams[1].from = {0.02, 0.02};
    auto const run = run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 9));
    CHECK(run.broken == std::vector<std::string>{});
    CHECK(run.within(cell.tolerances));
    CHECK(run.records[0].outcome == SeamOutcome::complete);
    CHECK(run.records[1].outcome == SeamOutcome::missed);
    CHECK(run.records[2].outcome == SeamOutcome::complete);
}

TEST_CASE("what the head cannot do keeps the gate shut, and says which") {
    struct Case {
        std::string name;
        std::function<void(CellMake&)> spoil;
        GateReason reason;
    };
    std::vector<Case> const cases{
        {"a seam beside the field", [](CellMake& c) { c.seams[2].from.x += 0.4; }, GateReason::out_of_reach},
        {"a seam too deep", [](CellMake& c) { c.seams[2].cell_from_face.origin.z -= 0.3; },
         GateReason::out_of_reach},
        {"a face that leans too much",
         [](CellMake& c) { c.seams[2].cell_from_face = c.face_under(1.02, 1.2, -3e-3); },
         GateReason::limit_passed},
        {"a weave that is too fast",
         [](CellMake& c) {
             c.seams[2].weave = {2500, 1e-3};
         },
         GateReason::limit_passed}};
    for (auto const& one : cases) {
        CAPTURE(one.name);
        CellMake cell;
        one.spoil(cell);
        auto const run = run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 10));
        INFO(told(run.records[2]));
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.records[2].outcome == SeamOutcome::missed);
        CHECK(run.records[2].cause.reason == one.reason);
        CHECK(run.opened(2) == 0);
        CHECK(run.records[1].outcome == SeamOutcome::complete);
        CHECK(run.records[3].outcome == SeamOutcome::complete);
    }
}

TEST_CASE("forecasts of any bits: commands stay finite and within their ranges, and the gate shut") {
    CellMake cell;
    auto const messages = arrivals(cell.motion, cell.link, 1.0, 11);
    auto const sound = forecasts_of(cell, messages);
    Random random(11);
    std::size_t const count = runs(300);
    auto steering = cell_steering(cell, cell.steering());
    auto const ranges = cell.head.ranges();
    double now = 40.6; // in the middle of the first seam
    std::size_t begin = 0;
    while (begin + 2 < sound.size() && sound[begin + 1].made.seconds < now)
        ++begin;
    std::size_t bad = 0, open = 0;
    for (std::size_t i = 0; i < count; ++i) {
        auto forecast = sound[begin];
        double const values[] = {NAN, HUGE_VAL, -HUGE_VAL, 1e300, -1e300, 1e-310, 0, 1e9};
        double const value = values[random.index(8)];
        std::size_t const which = random.index(12);
        double* const numbers[] = {&forecast.made.seconds,
                                   &forecast.newest.seconds,
                                   &forecast.clock.scanner.seconds,
                                   &forecast.clock.robot.seconds,
                                   &forecast.clock.rate,
                                   &forecast.clock_uncertainty,
                                   &forecast.about.seconds,
                                   &forecast.coefficient[random.index(4)][random.index(7)],
                                   &forecast.program_time,
                                   &forecast.program_rate,
                                   &forecast.measured_rate,
                                   &forecast.error.moment[random.index(8)][random.index(3)]};
        *numbers[which] = value;
        for (int k = 0; k < 20; ++k) {
            // A sound one now and then, so that the loop must find back.
            auto const* next = k == 0 ? &forecast : k == 10 ? &sound[begin] : nullptr;
            auto const tick = steering.tick({now}, next, {now}, false);
            now += cell.period;
            auto const& c = tick.command;
            bool const good = is_finite(c.x_mirror) && is_finite(c.y_mirror) && is_finite(c.focus) &&
                              c.x_mirror >= ranges.x_mirror.low && c.x_mirror <= ranges.x_mirror.high &&
                              c.y_mirror >= ranges.y_mirror.low && c.y_mirror <= ranges.y_mirror.high &&
                              c.focus >= ranges.focus.low && c.focus <= ranges.focus.high;
            bad += good ? 0 : 1;
            open += tick.gate ? 1 : 0;
        }
        now = 40.6;
    }
    CHECK(bad == 0);
    CHECK(open == 0); // the seam's start has passed
    // And times of any bits.
    for (double const t :
         {static_cast<double>(NAN), static_cast<double>(HUGE_VAL), -1e300, 1e300, 0.0, 1e-310}) {
        auto const tick = steering.tick({t}, nullptr, {t}, false);
        CHECK(!tick.gate);
        CHECK(is_finite(tick.command.x_mirror + tick.command.y_mirror + tick.command.focus));
    }
}

TEST_CASE("settings that are not possible are refused") {
    CellMake const cell;
    auto const refused = [&](auto change) {
        auto settings = cell.steering();
        change(settings);
        CHECK_THROWS_AS(cell_steering(cell, settings), BadInput);
    };
    using S = SteeringSettings&;
    for (double const x : {0.0, -1e-5, static_cast<double>(NAN), static_cast<double>(HUGE_VAL)})
        refused([x](S s) { s.period = x; });
    for (double const x : {-1e-6, static_cast<double>(NAN), static_cast<double>(HUGE_VAL)}) {
        refused([x](S s) { s.laser.on = x; });
        refused([x](S s) { s.laser.off = x; });
        refused([x](S s) { s.stopping_time = x; });
        refused([x](S s) { s.run_up = x; });
        refused([x](S s) { s.largest_incidence = x; });
        refused([x](S s) { s.mirror_correction.least = x; });
        refused([x](S s) { s.focus_move.least = x; });
    }
    refused([](S s) { s.largest_incidence = 2; });
    refused([](S s) { s.gate.slack = 1.9 * s.period; });
    refused([](S s) { s.gate.tolerances.across = 0; });
    refused([](S s) { s.laser.off = s.laser.on + 1.1 * s.gate.slack; }); // the gate could not follow
    auto const no_seams = [&] {
        CellMake empty;
        empty.seams.clear();
        cell_steering(empty, empty.steering());
    };
    CHECK_THROWS_AS(no_seams(), BadInput);
}
