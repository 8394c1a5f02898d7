// What a plan costs and what it gains: thirty and a thousand stitches planned and proven, an air move, and
// the tray's takt beside the same job at rest (robot 1 m/s, 3 m/s², 0.2 s to settle, 0.05 s of handshake).
// Prints one figure a line, `name value unit`.
#include "../examples/plan_job.hpp"
#include "measure.hpp"
#include "plan_air.hpp"
#include "plan_variation.hpp"

#include "seamhold/plan/planner.hpp"
#include "seamhold/plan/stop_and_weld.hpp"

#include <benchmark/benchmark.h>

#include <algorithm>
#include <chrono>
#include <cstddef>
#include <cstdio>
#include <exception>
#include <vector>

namespace {

using namespace seamhold;
using namespace seamhold::bench;

/// A plan and how long it took, s: the median of some runs.
struct Timed {
    Plan plan;
    double seconds;
};

Timed planned(std::size_t stitches, std::size_t runs) {
    auto const job = examples::tray_to_plan(stitches);
    auto const settings = examples::tray_settings(stitches);
    std::vector<double> times;
    for (std::size_t i = 0; i < runs; ++i) {
        auto const start = std::chrono::steady_clock::now();
        auto const made = plan(job, {}, settings);
        times.push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
        benchmark::DoNotOptimize(made);
    }
    return {plan(job, {}, settings), median(times)};
}

void run() {
    auto const tray = planned(30, 9);
    auto const hundred = planned(100, 5), thousand = planned(1000, 3);
    print("plan_30_ms", 1e3 * tray.seconds, "ms");
    print("plan_100_ms", 1e3 * hundred.seconds, "ms");
    print("plan_1000_s", thousand.seconds, "s");
    print("plan_1000_gap_percent", 100 * thousand.plan.gap(), "%");
    print("plan_growth", thousand.seconds / hundred.seconds, "ratio");
    measure_air_moves();
    measure_variation();

    auto const stops = stop_and_weld(examples::tray_to_plan());
    print("takt_s", tray.plan.takt(), "s");
    print("travel_m", tray.plan.travel(), "m");
    print("takt_vs_field_positions", stops.field.takt / tray.plan.takt(), "ratio");
    print("takt_vs_single_stops", stops.single.takt / tray.plan.takt(), "ratio");
    print("beam_on_percent", 100 * tray.plan.beam_on_share(), "%");
}

} // namespace

int main() {
    try {
        run();
    } catch (std::exception const& error) {
        std::fprintf(stderr, "%s\n", error.what());
        return 1;
    }
    return 0;
}
