#include "seamhold/record/place.hpp"
#include "seamhold/record/trace_passes.hpp"

#include "live/live_cell.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

// Passes from the trace of the live loop against where the light was in a simulated cell, whose robot, clocks
// and laser share nothing with the loop (see live/live_cell.hpp).

using namespace seamhold;
using namespace seamhold::test;

namespace {

/// A cell's run with all rows that its loop wrote.
struct Traced {
    CellRun run;
    std::vector<NumberedRow<TraceRow>> rows;
    std::vector<double> opened; ///< moments at which light came on, s

    explicit Traced(CellMake const& cell, std::vector<Arrival> const& messages,
                    std::function<void(double now, LiveLink<7>& link)> before = nullptr,
                    bool in_blocks = false) {
        CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
        auto steering = cell_steering(cell, cell.steering());
        if (in_blocks)
            steering.use_blocks(bounds_about_sweep(cell, steering));
        CellHooks hooks;
        hooks.before = std::move(before);
        hooks.after = [&](LiveTick const& tick) { rows.push_back({rows.size(), steering.trace_row(tick)}); };
        run = run_cell(cell, messages, receiver, steering, hooks);
        for (auto const& edge : run.edges)
            if (edge.open)
                opened.push_back(edge.now + cell.period * static_cast<double>(cell.laser_on));
    }
};

TickTiming timing_of(CellMake const& cell) {
    return {cell.period, cell.period * static_cast<double>(cell.laser_on),
            cell.period * static_cast<double>(cell.laser_off)};
}

std::vector<RecordedSeam> recorded(CellMake const& cell) {
    std::vector<RecordedSeam> all;
    for (auto const& s : cell.seams)
        all.push_back({{{}, s.name, 1}, s.length});
    return all;
}

/// The farthest that a pass says that the light is from where it truly is along the seam, m; and checks that
/// it has light when there is light.
double farthest_off(CellMake const& cell, CellRun const& run, std::vector<SeamPass> const& passes) {
    double worst = 0;
    for (auto const& lit : run.lit) {
        auto const& drawn = cell.seams[lit.seam];
        std::optional<double> place;
        for (auto const& pass : passes)
            if (pass.key.seam == drawn.name)
                if (auto const there = pass.lit_place({lit.now + 1e-9})) // at its first moment, by rounding
                    place = there;
        REQUIRE(place.has_value());
        worst = std::max(worst, std::abs(*place - drawn.feed * lit.seam_time));
    }
    return worst;
}

} // namespace

// 10 µm are asked for. Places that were read as those of the tick's own moment would be off by up to 41 ticks
// of 10 µs at 0.1 m/s, 41 µm. Over an uneven link with a clock that drifts, what is left is mostly what the
// loop does not know of the robot's clock; over an even one a few hundredths of a µm.
TEST_CASE("a trace's ticks say where the light was, however late the laser is") {
    Random random(931);
    for (std::size_t run = 0; run < runs(5); ++run) {
        CellMake cell;
        bool const even = run % 2 == 1;
        cell.laser_on = run == 0 ? 0 : 1 + random.index(40);
        cell.laser_off = run == 1 ? 0 : random.index(41);
        cell.duration = 1.35;
        if (!even) {
            cell.link.latency = 2e-3;
            cell.link.jitter = random.uniform(0, 1e-3);
            cell.link.drift = random.uniform(-50e-6, 50e-6);
        }
        INFO("laser on " << cell.laser_on << ", off " << cell.laser_off << " ticks");
        Traced const traced(cell, arrivals(cell.motion, cell.link, cell.duration, 931 + random.index(1000)));
        REQUIRE(traced.run.opened(0) + traced.run.opened(1) + traced.run.opened(2) + traced.run.opened(3) ==
                4);
        auto const passes = passes_of(traced.rows, timing_of(cell), recorded(cell), even ? 1e-8 : 1e-6);
        REQUIRE(passes.size() == 4);
        CHECK(farthest_off(cell, traced.run, passes) <= (even ? 0.2e-6 : 10e-6));
        for (std::size_t i = 0; i < 4; ++i) {
            CHECK(passes[i].key.seam == cell.seams[i].name);
            CHECK(std::abs(passes[i].knots.front().time.seconds - traced.opened[i]) <= 1e-9);
            CHECK(std::abs(passes[i].knots.back().time.seconds - traced.run.lit_ends[i]) <= 1e-9);
            CHECK(passes[i].knots.size() <= 200); // of some 12000 ticks
        }
    }
}

TEST_CASE("light that was stopped ends the pass where it went out") {
    CellMake cell;
    cell.laser_on = 12;
    cell.laser_off = 31;
    cell.duration = 0.9;
    Random random(932);
    double const stop = cell.link.offset + 0.62;
    Traced const traced(cell, arrivals(cell.motion, cell.link, cell.duration, 931 + random.index(1000)),
                        [&](double now, LiveLink<7>& link) {
                            if (now >= stop)
                                link.stop();
                        });
    auto const passes = passes_of(traced.rows, timing_of(cell), recorded(cell));
    REQUIRE(passes.size() == 1);
    REQUIRE(traced.run.lit_ends.size() == 1);
    CHECK(std::abs(passes[0].knots.back().time.seconds - traced.run.lit_ends[0]) <= 1e-9);
    CHECK(farthest_off(cell, traced.run, passes) <= 10e-6);
    double const reached = passes[0].knots.back().arc_length;
    CHECK(std::abs(reached - (0.07 + 31e-5) * 0.1) <= 20e-6);
    // The rest of the seam is named, with and without samples.
    SamplePlacer const placer(passes, {Channel{"plume light", 1e4}});
    auto const all = placer.placed("x", 1);
    bool named = false;
    for (auto const& f : all.traces[0].faults)
        named = named || (f.fault == SampleFault::no_light && std::abs(f.from - reached) <= 1e-9 &&
                          f.to == cell.seams[0].length);
    CHECK(named);
}

// 27 November 2026: the ticks of a block that began with the opening tick told the place of tick + on instead
// of tick + period + off, here by 41 µm.
TEST_CASE("ticks taken in blocks say the same") {
    for (auto const& [on, off] : {std::pair<std::size_t, std::size_t>{0, 40}, {40, 0}, {5, 8}}) {
        CellMake cell;
        cell.laser_on = on;
        cell.laser_off = off;
        cell.duration = 1.35;
        INFO("laser on " << cell.laser_on << ", off " << cell.laser_off << " ticks");
        Traced const traced(cell, arrivals(cell.motion, cell.link, cell.duration, 933), nullptr, true);
        auto const passes = passes_of(traced.rows, timing_of(cell), recorded(cell), 1e-8);
        REQUIRE(passes.size() == 4);
        CHECK(farthest_off(cell, traced.run, passes) <= 0.2e-6);
    }
}
