#ifndef SEAMHOLD_BENCH_PLAN_VARIATION_HPP
#define SEAMHOLD_BENCH_PLAN_VARIATION_HPP

#include "../examples/plan_job.hpp"
#include "measure.hpp"

#include "seamhold/plan/part_variation.hpp"
#include "seamhold/plan/planner.hpp"

#include <benchmark/benchmark.h>

#include <cmath>
#include <cstddef>
#include <ctime>
#include <vector>

// What it costs to hold the tray's plan against a part that lies a little off.
namespace seamhold::bench {

/// Prints `vary_30_in_box_ms`, a part within the proven box; `reprove_30_ms`, one outside it, all of its
/// thirty seams proven again; `reprove_30_known_to_ms`, the same with a pose that is known to 0.1 mm and
/// 0.2 mrad only; and `reprove_in_5_ms`, how many seams the clock lets through in 5 ms (30 are all).
/// Processor time of a thread, medians over parts that lie in different ways.
inline void measure_variation() {
    auto const job = examples::tray_to_plan();
    auto settings = examples::tray_settings();
    settings.air_share = 0.9;
    settings.proof.tolerance = 0.2; // a box does not let peaks be known better
    settings.proof.change.box = {.part_shift = 3e-4, .part_turn = 5e-4};
    auto const made = plan(job, {}, settings);
    auto const now = [] { // s that this thread has worked: other programs do not count
        timespec time{};
        clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
        return static_cast<double>(time.tv_sec) + 1e-9 * static_cast<double>(time.tv_nsec);
    };
    // Shifted by `size` and turned by `turn` in the plane of the lid, another way each time; all invented.
    auto const part = [](std::size_t i, double size, double turn) {
        double const way = 0.7 * static_cast<double>(i);
        return Pose<Cell, Part>{about_axis<Cell, Part>(Direction<Cell>{0, 0, 1}, turn * std::cos(3 * way)),
                                {size * std::cos(way), size * std::sin(way), 0}};
    };
    auto const median_of = [&](PartVariation variation, double size, double turn, VariationVerdict wanted) {
        std::vector<double> times;
        for (std::size_t i = 0; i < 25; ++i) {
            variation.part = part(i, size, turn);
            double const start = now();
            auto const answer = vary_part(made, variation);
            times.push_back(now() - start);
            if (answer.verdict != wanted)
                throw BadInput("the bench wanted another answer: " + answer.text());
        }
        return 1e3 * median(times);
    };
    print("vary_30_in_box_ms", median_of({}, 2e-4, 4e-4, VariationVerdict::holds), "ms");
    print("reprove_30_ms", median_of({}, 1e-3, 1e-3, VariationVerdict::proven_again), "ms");
    PartVariation rough;
    rough.shift_error = 1e-4;
    rough.turn_error = 2e-4;
    print("reprove_30_known_to_ms", median_of(rough, 1e-3, 1e-3, VariationVerdict::proven_again), "ms");
    std::vector<double> counts;
    for (std::size_t i = 0; i < 25; ++i) {
        PartVariation variation;
        variation.part = part(i, 1e-3, 1e-3);
        VariationOptions options;
        double const end = now() + 5e-3;
        options.time_left = [&] { return now() < end; };
        counts.push_back(static_cast<double>(vary_part(made, variation, options).proofs.size()));
    }
    print("reprove_in_5_ms", median(counts), "seams");
}

} // namespace seamhold::bench

#endif
