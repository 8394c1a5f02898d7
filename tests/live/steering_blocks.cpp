#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// Ticks in blocks against ticks one by one, over the same forecasts: the same gate at each tick, whatever
// happens.

using namespace seamhold;
using namespace seamhold::test;

namespace {

struct Difference {
    std::size_t gates = 0, open = 0;
    double mirror = 0;
};

// Both over the same, with something from outside at each tick. Whether only one is open is counted.
template <class Outside>
Difference compared(CellMake const& cell, CellSteering exact, CellSteering blocks,
                    std::vector<Forecast<7>> const& forecasts, std::size_t ticks, Outside const& outside) {
    LoopAlone one(cell, forecasts), other(cell, forecasts);
    Difference d;
    for (std::size_t i = 0; i < ticks; ++i) {
        bool const stop = outside(one.now(), exact, blocks);
        auto const a = one.step(exact, stop);
        auto const b = other.step(blocks, stop);
        d.open += a.gate ? 1 : 0;
        d.gates += a.gate != b.gate || a.seam != b.seam || a.pilot != b.pilot ? 1 : 0;
        d.mirror = std::max({d.mirror, std::abs(a.command.x_mirror - b.command.x_mirror),
                             std::abs(a.command.y_mirror - b.command.y_mirror)});
    }
    for (std::size_t i = 0; i < exact.seams().size(); ++i) {
        auto const &a = exact.gate().seams()[i], &b = blocks.gate().seams()[i];
        CHECK(a.outcome == b.outcome);
        CHECK(a.cause.reason == b.cause.reason);
        // Eight ticks, and at a seam's first tick the place where the light begins, not ends.
        CHECK(std::abs(a.stopped_at - b.stopped_at) <= 20e-6);
        CHECK(std::abs(a.reached - b.reached) <= 20e-6);
    }
    return d;
}

} // namespace

TEST_CASE("ticks in blocks are ticks one by one: the same gate, the same records, whatever happens") {
    CellMake cell;
    cell.link = with_noise(cell.link, 1e-6);
    auto const exact = cell_steering(cell, cell.steering());
    auto blocks = exact;
    blocks.use_blocks(bounds_about_sweep(cell, blocks));
    auto const messages = arrivals(cell.motion, cell.link, cell.duration, 21);
    auto const forecasts = forecasts_of(cell, messages);
    double const struck = 41.0;
    Fingerprint other;
    other[FingerprintPart::head] = 1;

    struct Case {
        std::string name;
        std::function<bool(double now, CellSteering& steering)> happen;
    };
    std::vector<Case> const cases{
        {"nothing", [](double, CellSteering&) { return false; }},
        {"a stop", [&](double now, CellSteering&) { return now > struck && now < struck + 3e-3; }},
        {"another head", [&](double now, CellSteering& s) {
             if (now > struck + 123e-6)
                 s.loaded(other, {});
             return false;
         }}};
    for (auto const& one : cases) {
        CAPTURE(one.name);
        auto const d = compared(cell, exact, blocks, forecasts, 120000,
                                [&](double now, CellSteering& a, CellSteering& b) {
                                    one.happen(now, a);
                                    return one.happen(now, b);
                                });
        MESSAGE(one.name << ": " << d.gates << " ticks differ of " << d.open << " open, mirrors by "
                         << d.mirror << " rad");
        CHECK(d.gates == 0);
        CHECK(d.open > 20000);
        CHECK(d.mirror <= 1e-8);
    }
    // Forecasts that end, by losses and for good; faulty ones; rates out of the window.
    for (int kind = 0; kind < 4; ++kind) {
        CAPTURE(kind);
        auto changed = forecasts;
        auto const at = [&](double t) {
            return std::find_if(changed.begin(), changed.end(),
                                [&](Forecast<7> const& f) { return f.made.seconds > t; });
        };
        if (kind == 0)
            changed.erase(at(struck), changed.end());
        if (kind == 1)
            changed.erase(at(struck), at(struck + 0.016));
        if (kind == 2)
            at(struck)->fault = StreamFault::frozen;
        if (kind == 3)
            for (auto f = at(struck); f != changed.end(); ++f)
                f->measured_rate = 0.9;
        auto const d = compared(cell, exact, blocks, changed, 120000,
                                [](double, CellSteering&, CellSteering&) { return false; });
        MESSAGE(kind << ": " << d.gates << " ticks differ of " << d.open << " open, mirrors by " << d.mirror
                     << " rad");
        // One by one, a growing error is stated for the next eight ticks; a block knows it for each.
        CHECK(d.gates <= (kind == 0 ? 8 : 0));
        CHECK(d.open > 20000);
    }
}

TEST_CASE("forecasts that jump: a blend that grows before it dies out is seen within blocks too") {
    CellMake cell;
    auto const exact = cell_steering(cell, cell.steering());
    auto blocks = exact;
    blocks.use_blocks(bounds_about_sweep(cell, blocks));
    auto const forecasts = forecasts_of(cell, arrivals(cell.motion, cell.link, cell.duration, 23));
    Random random(23);
    std::size_t stopped = 0;
    for (std::size_t i = 0; i < runs(40); ++i) {
        CAPTURE(i);
        auto changed = forecasts;
        double const at = 40 + random.uniform(0.56, 0.66); // in the first seam
        double const place = random.uniform(-80e-6, 80e-6), velocity = random.uniform(-0.025, 0.025);
        auto const axis = random.index(2);
        for (auto& f : changed)
            if (f.made.seconds > at) {
                f.coefficient[0][axis] += place;
                f.coefficient[1][axis] += velocity;
            }
        changed.erase(std::find_if(changed.begin(), changed.end(),
                                   [&](Forecast<7> const& f) { return f.made.seconds > at + 0.007; }),
                      changed.end());
        LoopAlone one(cell, changed), other(cell, changed);
        auto a = exact, b = blocks;
        std::size_t open_too_long = 0;
        for (int k = 0; k < 41000; ++k) {
            auto const x = one.step(a), y = other.step(b);
            open_too_long += !x.gate && y.gate ? 1 : 0;
        }
        stopped += a.gate().seams()[0].cause.reason == GateReason::blending ? 1 : 0;
        CHECK(open_too_long <= 8);
    }
    MESSAGE(stopped << " were shut by a blend");
    CHECK(stopped > 0);
}

TEST_CASE("a whole cell with blocks: the light is where it is without them") {
    CellMake cell;
    cell.link = with_noise(cell.link, 1e-6);
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, cell.steering());
    steering.use_blocks(bounds_about_sweep(cell, steering));
    auto const messages = arrivals(cell.motion, cell.link, cell.duration, 22);
    auto const run = run_cell(cell, messages, receiver, steering);
    auto const without = run_cell(cell, messages);
    CHECK(run.broken == std::vector<std::string>{});
    for (auto const& record : run.records)
        CHECK(record.outcome == SeamOutcome::complete);
    REQUIRE(run.lit.size() == without.lit.size());
    double worst = 0;
    for (std::size_t i = 0; i < run.lit.size(); ++i)
        worst = std::max(worst, std::hypot(run.lit[i].off.across - without.lit[i].off.across,
                                           run.lit[i].off.along - without.lit[i].off.along));
    MESSAGE("light differs by at most " << worst * 1e9 << " nm");
    CHECK(worst <= 5e-9); // 1e-9 rad of each mirror, half a metre away
}
