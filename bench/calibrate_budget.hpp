#ifndef SEAMHOLD_BENCH_CALIBRATE_BUDGET_HPP
#define SEAMHOLD_BENCH_CALIBRATE_BUDGET_HPP

#include "measure.hpp"
#include "scene.hpp"

#include "seamhold/budget/monte_carlo.hpp"
#include "seamhold/budget/seam_budget.hpp"
#include "seamhold/budget/sources.hpp"

#include <cstddef>
#include <string>
#include <vector>

// Error budgets by exact derivatives against the same by 10⁴ Monte Carlo draws: the same seams of the
// benches' job, the same 50 points of each, the same sources. The draws run the same formula at plain
// numbers; what the head is believed to be told is worked out once a point, and no quantiles are taken.
namespace seamhold::bench {

/// Sources of ordinary size, one for each place where something can be off.
inline std::vector<ErrorSource> budget_sources() {
    return {pose_repeatability({50e-6, 20e-6}),
            path_accuracy({150e-6, 100e-6}),
            clock_error(0.2e-3),
            mirror_resolution(5e-6),
            mirror_noise(5e-6),
            mirror_drift(5e-6, 20e-6, 5),
            mount_error({100e-6, 50e-6}),
            part_placement({200e-6, 100e-6}),
            field_residual(20e-6, 20e-6),
            lens_error(10e-6),
            focus_error(0.2e-3)};
}

/// Prints `budget_vs_monte_carlo` and the times of both.
inline void budget_bench() {
    Scene const scene;
    auto const sources = budget_sources();
    BudgetOptions options;
    options.points = 50;
    MonteCarloOptions trial;
    trial.draws = 10'000;
    trial.quantiles = false;
    std::size_t const repeats = 20; // of a budget for one trial, so that its time can be read
    auto const& seams = scene.seams();
    double kept = 0, drawn = 0;
    auto const times = duel(
        2, seams.size(), 1,
        [&](std::size_t i) {
            drawn += monte_carlo(scene.chain(), seams[i].seam, seams[i].start, sources, options, trial)
                         .points[0]
                         .covariance.across;
        },
        [&](std::size_t i) {
            for (std::size_t k = 0; k < repeats; ++k)
                kept += budget_of(scene.chain(), seams[i].seam, seams[i].start, sources, options)
                            .points[0]
                            .covariance.across;
        });
    print("budget_vs_monte_carlo", times.ratio() * static_cast<double>(repeats), "ratio");
    print("budget_50_points", median(times.ours) / static_cast<double>(repeats) / 1e3, "us");
    print("monte_carlo_50_points", median(times.baseline) / 1e6, "ms");
    // Both did the same: the mean variance across at the seams' starts.
    print("budget_variance_of_monte_carlo", kept / static_cast<double>(repeats) / drawn, "ratio");
}

} // namespace seamhold::bench

#endif
