#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string>
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

// Bounds about the sweep as it is planned, a row every 4 ms.
std::vector<BlockBounds<CellSteering::block_order>> bounds_of(CellMake const& cell,
                                                              CellSteering const& steering) {
    std::vector<PoseRow<Cell>> rows;
    for (double t = -0.1; t < cell.duration + 0.2; t += 0.004)
        rows.push_back({t, cell.motion.flange(t).origin, cell.motion.rotation(t)});
    PoseLog<Cell, Flange> const log(rows);
    std::vector<BlockBounds<CellSteering::block_order>> bounds;
    for (auto const& s : steering.seams()) {
        BlockOptions options;
        options.longest = 0.45e-3;
        bounds.emplace_back(steering.chain(), s.seam, log,
                            ForecastBox{{2e-3, 0.03, 2, 150}, {2e-3, 0.03, 2, 150}, s.start}, options);
    }
    return bounds;
}

} // namespace

TEST_CASE("an input that goes off within a block shuts the gate at that tick") {
    CellMake cell;
    cell.duration = 0.7;
    cell.inputs = {{"clamps", 10.0}};
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, cell.steering());
    steering.use_blocks(bounds_of(cell, steering));
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
