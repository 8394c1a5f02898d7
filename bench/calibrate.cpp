// Times of calibrations: the mount of a head from hits of a target, against a solver that takes the same
// residuals, and what the budget costs against drawing it. Prints one figure a line, `name value unit`.

// Ceres comes built for any machine: see follow.cpp.
#define EIGEN_MAX_ALIGN_BYTES 16

#include "calibrate_budget.hpp"
#include "calibrate_mount.hpp"
#include "measure.hpp"

#include "seamhold/calibrate/mount.hpp"
#include "seamhold/head/mirror_pair.hpp"

#include <benchmark/benchmark.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <exception>
#include <random>
#include <stdexcept>
#include <vector>

namespace {

using namespace seamhold;
using namespace seamhold::bench;

/// A set of hits with noise, and a drawn mount to start from.
struct HitSet {
    std::vector<BeamOnTarget> hits;
    Pose<Flange, Head> truth;
    Pose<Flange, Head> drawn;
};

// All numbers are invented: a head 0.4 to 0.65 m from the target, tilted up to 0.6 rad, read to 0.1 mm.
HitSet hit_set(MirrorPair<> const& head, std::mt19937_64& random, std::size_t count) {
    std::uniform_real_distribution<double> unit(-1, 1);
    std::normal_distribution<double> normal;
    Pose<Flange, Head> const truth{
        about_axis<Flange, Head>(seamhold::unit(Direction<Flange>{0.3, 1, 0.2}), 1.2), {0.08, -0.03, 0.19}};
    Pose<Flange, Head> const drawn{
        truth.rotation * about_axis<Head, Head>(seamhold::unit(Direction<Head>{1, -1, 2}), 0.05),
        truth.origin + Direction<Flange>{0.01, 0.005, -0.012}};
    Point<Cell> const target{0.9, 0.2, 0.35};
    std::vector<BeamOnTarget> hits;
    for (std::size_t i = 0; i < count; ++i) {
        Command<> const command{0.14 * unit(random), 0.14 * unit(random), 0};
        auto const ray = head.ray(command);
        double const way = 3.1 * unit(random), tilt = 0.6 * std::abs(unit(random));
        auto const turn = about_axis<Cell, Cell>({1, 0, 0}, 3.14159) *
                          about_axis<Cell, Cell>({0, 0, 1}, 3.1 * unit(random)) *
                          about_axis<Cell, Head>({std::cos(way), std::sin(way), 0}, tilt);
        double const distance = 0.525 + 0.125 * unit(random);
        auto const cell_from_flange = turn * inverse(truth.rotation);
        auto const p = truth * (ray.origin + distance * ray.direction);
        auto const noise = 1e-4 * Direction<Cell>{normal(random), normal(random), normal(random)};
        hits.push_back(
            {{cell_from_flange, target - cell_from_flange * Direction<Flange>{p.x, p.y, p.z} + noise},
             command});
    }
    return {hits, truth, drawn};
}

void bench_mount() {
    Range const range{degrees(-10), degrees(10)};
    MirrorPair<> const head{0.04, 0.54, 8, range, range, {-0.02, 0.02}, 1};
    std::mt19937_64 random(20240614);
    std::size_t const blocks = 10;
    std::vector<HitSet> sets;
    for (std::size_t i = 0; i < blocks; ++i)
        sets.push_back(hit_set(head, random, 100));
    double apart = 0, deviation = 0;
    for (auto const& set : sets) {
        MountOptions options;
        options.start = set.drawn;
        auto const ours = calibrate_mount(head, set.hits, options);
        auto const theirs = ceres_mount(head, set.hits, set.drawn, ours.target);
        auto const step = step_between(ours.mount.flange_from_head, theirs.flange_from_head);
        for (double const one : step)
            apart = std::max(apart, std::abs(one));
        auto const& c = ours.mount.covariance;
        deviation = std::max(
            {deviation, std::abs(theirs.turn_deviation / std::sqrt(c.topLeftCorner<3, 3>().trace()) - 1),
             std::abs(theirs.shift_deviation / std::sqrt(c.bottomRightCorner<3, 3>().trace()) - 1)});
        if (!ours.mount.outliers.empty())
            std::fprintf(stderr, "a clean set lost an observation\n");
    }
    auto const theirs = [&](std::size_t block) {
        auto fit = ceres_mount(head, sets[block].hits, sets[block].drawn, {0.9, 0.2, 0.35});
        benchmark::DoNotOptimize(fit);
    };
    Duel const times = duel(20, blocks, 1, theirs, [&](std::size_t block) {
        MountOptions options;
        options.start = sets[block].drawn;
        auto fit = calibrate_mount(head, sets[block].hits, options);
        benchmark::DoNotOptimize(fit);
    });
    print("mount_vs_ceres", times.ratio(), "ratio");
    print("mount_ceres_us", median(times.baseline) / 1000, "us");
    print("mount_us", median(times.ours) / 1000, "us");
    print("mount_ceres_agreement_m_rad", apart, "1");
    print("mount_ceres_deviations_agreement", deviation, "1");
    std::vector<double> without;
    for (auto const& set : sets)
        without.push_back(processor_nanoseconds([&] {
            auto fit = calibrate_mount(head, set.hits);
            benchmark::DoNotOptimize(fit);
        }));
    print("mount_without_guess_us", median(without) / 1000, "us");
}

} // namespace

int main() {
    try {
        bench_mount();
        budget_bench();
    } catch (std::exception const& error) {
        std::fprintf(stderr, "%s\n", error.what());
        return 1;
    }
    return 0;
}
