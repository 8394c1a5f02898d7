#include "seamhold/live/receiver.hpp"

#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include "seamhold/live/forecast_arm.hpp"
#include "support/arms.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// The receiver in the simulated cell, with streams of other kinds than `steering.cpp` has: without stamps,
// set-points ahead, joints, an earlier pass.

using namespace seamhold;
using namespace seamhold::test;

namespace {

void check_all_complete(CellMake const& cell, CellRun const& run) {
    CHECK(run.broken == std::vector<std::string>{});
    CHECK(run.within(cell.tolerances));
    for (std::size_t i = 0; i < cell.seams.size(); ++i) {
        auto const& r = run.records[i];
        INFO(cell.seams[i].name << ": " << std::string(to_string(r.cause.reason)) << " "
                                << std::string(detail_of(r.cause)) << " " << r.cause.value << " of "
                                << r.cause.allowed);
        CHECK(r.outcome == SeamOutcome::complete);
    }
}

} // namespace

TEST_CASE("streams without stamps: by numbers, or by even arrivals alone") {
    for (bool const numbered : {true, false}) {
        CAPTURE(numbered);
        CellMake cell;
        cell.link = with_noise(cell.link, 1e-6);
        cell.link.jitter = 0.2e-3;
        cell.link.loss = 0.01;
        cell.link.has_stamp = false;
        auto messages = arrivals(cell.motion, cell.link, cell.duration, 41);
        for (auto& m : messages) {
            m.message.head.has_number = numbered;
            m.message.head.stamp = static_cast<std::int64_t>(1e9 * m.sampled); // for the cell, not to be read
        }
        auto const run = run_cell(cell, messages);
        MESSAGE("light off by " << run.worst.across * 1e6 << " um across");
        check_all_complete(cell, run);
    }
}

TEST_CASE("set-points ahead, and a robot that is behind them: no error of prediction, however it moves") {
    CellMake cell;
    cell.motion.swing = 6e-3;
    cell.motion.swing_frequency = 3; // 2 m/s2, 40 m/s3
    cell.link = with_noise(cell.link, 0.3e-6);
    cell.link.kind = SampleKind::set_point;
    cell.link.latency = -0.02; // sent 20 ms before their time
    auto messages = arrivals(cell.motion, cell.link, cell.duration, 42);
    cell.motion.late = 0.015;
    cell.belongs = CellMake::Belongs::by_loop;
    auto settings = cell.receiver();
    settings.servo_lag = cell.motion.late;
    settings.sweep_speed = 0; // it swings too much to be measured by
    {
        CellReceiver receiver(settings, {ProgramSweep::point});
        auto steering = cell_steering(cell, cell.steering());
        auto const run = run_cell(cell, messages, receiver, steering);
        MESSAGE("light off by " << run.worst.across * 1e6 << " um across, " << run.worst.along * 1e6
                                << " along; stated " << run.worst_stated.across * 1e6);
        check_all_complete(cell, run);
        CHECK(run.within({5e-6, 5e-6, 5e-6}));
    }
    // Without the lag the light is 15 ms of the sweep beside its place: 3 mm.
    {
        auto untold = settings;
        untold.servo_lag = 0;
        CellReceiver receiver(untold, {ProgramSweep::point});
        auto steering = cell_steering(cell, cell.steering());
        auto const run = run_cell(cell, messages, receiver, steering);
        CHECK(run.worst.across > 1e-3);
    }
    // Lost: what is foretold ends where the last set-points end, and the gate knows.
    for (std::size_t const lost : {2U, 5U, 12U, 30U}) {
        CAPTURE(lost);
        auto less = messages;
        auto const first =
            std::find_if(less.begin(), less.end(), [](Arrival const& m) { return m.time > 40 + 1.0; });
        less.erase(first, first + static_cast<std::ptrdiff_t>(lost));
        CellReceiver receiver(settings, {ProgramSweep::point});
        auto steering = cell_steering(cell, cell.steering());
        auto const run = run_cell(cell, less, receiver, steering);
        auto const& r = run.records[2];
        MESSAGE(lost << " lost: " << std::string(to_string(r.outcome)) << ", "
                     << std::string(to_string(r.cause.reason)) << "; light off by " << run.worst.across * 1e6
                     << " um across");
        CHECK(run.broken == std::vector<std::string>{});
        CHECK(run.within(cell.tolerances));
        CHECK(run.records[3].outcome == SeamOutcome::complete);
    }
}
