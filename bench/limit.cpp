// Times of proving all limits of a seam, beside checking them at 100 kHz with exact rates: one second of
// seam in a recorded sweep, with rows as far apart as robots give them, and with a weave. And of finding and
// proving a window of start times, in proofs. Prints one figure a line, `name value unit`.
#include "measure.hpp"

#include "seamhold/frame/angles.hpp"
#include "seamhold/limit/job_proof.hpp"
#include "seamhold/limit/window.hpp"
#include "seamhold/number/units.hpp"

#include <benchmark/benchmark.h>

#include <cmath>
#include <cstddef>
#include <cstdio>
#include <exception>
#include <numbers>
#include <stdexcept>
#include <string>
#include <vector>

namespace {

using namespace seamhold;
using namespace seamhold::bench;

/// An industrial arm in the standard convention with a shoulder offset. All numbers here are invented.
SerialArm<6> arm() {
    double const quarter = std::numbers::pi / 2;
    return SerialArm<6>::standard_dh({{{0.5, 0.2, -quarter},
                                       {0, 0.9, 0},
                                       {0, 0.1, -quarter},
                                       {0.95, 0, quarter},
                                       {0, 0, -quarter},
                                       {0.12, 0, 0}}});
}

/// A sweep of 0.2 m/s, half a metre above the part, that swings and turns a little; rows `step` s apart.
std::vector<PoseRow<Cell>> sweep(double step) {
    std::vector<PoseRow<Cell>> rows;
    for (double t = 0; t < 3; t += step) {
        auto const swing = [t](double frequency, double phase) {
            return std::sin(2 * std::numbers::pi * frequency * t + phase);
        };
        auto const upright =
            from_zyx_angles<Cell, Cell>(degrees(0.4) * swing(0.9, 0.4), degrees(4) * swing(0.3, 1), 0);
        auto const down = from_zyx_angles<Cell, Flange>(0, 0, std::numbers::pi);
        rows.push_back({t,
                        {0.9 + 0.2 * t, 0.004 * swing(0.7, 1), 0.5 + 0.003 * swing(1.2, 0.5)},
                        quaternion_of(upright * down)});
    }
    return rows;
}

/// A job with every limit that a proof knows.
Job job_with(double step) {
    MirrorPair<> const head{0.04, 0.54, 8, {-0.175, 0.175}, {-0.175, 0.175}, {-0.01, 0.01}, millimetres(170)};
    Job job{
        {PoseLog<Cell, Flange>(sweep(step)), Rest<Cell, Part>{Pose<Cell, Part>::identity()},
         Pose<Flange, Head>::identity(), checked(head)},
        {20, 15000, 4000, 0.5e-3, 2e-3, 0.1, 5e-3, 3e7, 50, 0.1, 8},
        degrees(30),
        {},
        Process{
            DeliveredBeam<>{BeamQuality<>::from_m2(1.07e-6, 6), 0.01, 0.1}, 4000, 1e-3, 20, 1e8, {1e3, 1e5}},
        {degrees(0.1), {degrees(-25), degrees(25)}, {degrees(-25), degrees(25)}, 3, 5}};
    WristInverse const inverse(arm());
    auto const first = job.chain.cell_from_flange.at(1.5);
    JobArm carried{inverse, {about_axis<Cell, Base>({0, 0, 1}, 0.0), {0, 0, 0}}};
    auto const ways = inverse.all(seamhold::inverse(carried.cell_from_base) * first);
    if (ways.size() == 0)
        throw std::runtime_error("the bench's arm does not reach its sweep");
    carried.branch = ways[0].branch;
    carried.near = ways[0].joints;
    for (auto& limit : carried.limits)
        limit = {{-6, 6}, 5, 50};
    job.arm = carried;
    return job;
}

/// A straight seam of one second across the field, and a weaving one.
ScheduledSeam straight(Weave const& weave = {}) {
    DrawnShape const shape(straight_between({1.12, 0.02}, {1.3, 0.05}));
    return {"bench", 1,
            at_speed(OnFace<DrawnShape, Plane<>>{shape, Plane<>{Pose<Part, Face>::identity()}},
                     shape.length(), SeamOptions{weave})};
}

/// Every 10 µs all limits from exact rates, as a report does. The worst of all is what it finds.
double sampled(Job const& job, ScheduledSeam const& seam) {
    auto const checks = checks_of(job, seam);
    auto const wanted = wanted_by(checks);
    double worst = 0;
    int const ticks = 100000;
    for (int i = 0; i <= ticks; ++i) {
        double const time = seam.seam.duration() * i / ticks;
        auto const demand = demand_of(job, seam, Taylor<double, 3>::variable(time), wanted);
        for (auto const& check : checks)
            worst = std::max(
                worst, check.utilisation(check.read(demand[check.measure].derivative(check.derivative))));
    }
    return worst;
}

/// Sampling ÷ proving, and how many stretches a proof looks at.
void compare(std::string const& name, Job const& job, ScheduledSeam const& seam, std::size_t rounds) {
    auto const proof = prove(job, seam);
    double const found = sampled(job, seam);
    // Both must have done the same work: the peak lies within what was proven.
    double const most = proof.binding().utilisation.high;
    if (!(found <= most + 1e-9) || !(found >= most - 0.02) || proof.verdict() != Verdict::within)
        throw std::runtime_error(name + ": sampled " + std::to_string(found) + ", proven at most " +
                                 std::to_string(most) + " (" + to_string(proof.binding().limit) + "), " +
                                 to_string(proof.verdict()));
    auto const times = duel(
        rounds, 1, 1, [&](std::size_t) { benchmark::DoNotOptimize(sampled(job, seam)); },
        [&](std::size_t) { benchmark::DoNotOptimize(prove(job, seam)); });
    print(name + "_checks", static_cast<double>(proof.checks.size()), "checks");
    print(name + "_stretches", static_cast<double>(proof.looked_at), "stretches");
    print(name + "_sampling_ms", median(times.baseline) * 1e-6, "ms");
    print(name + "_proof_ms", median(times.ours) * 1e-6, "ms");
    print(name == "seam_12ms" ? "proof_vs_sampling" : name + "_proof_vs_sampling", times.ratio(), "ratio");
}

void run() {
    Job const job = job_with(0.012);
    auto const seam = straight();
    compare("seam_12ms", job, seam, 7);
    compare("seam_4ms", job_with(0.004), seam, 5);
    compare("seam_2ms", job_with(0.002), seam, 5);
    compare("weave_300Hz", job, straight({300, 0.0004}), 3);
    compare("weave_100Hz", job, straight({100, 0.0004}), 3);

    // All start times from far before to far after the seam lies in the field.
    Range const search{-1, 1};
    auto const found = windows(job, seam, Vary::start, search);
    if (found.size() != 1 || !found[0].proven)
        throw std::runtime_error("the bench's window was not found and proven");
    print("window_s", found[0].high - found[0].low, "s");
    auto const times = duel(
        5, 1, 1, [&](std::size_t) { benchmark::DoNotOptimize(windows(job, seam, Vary::start, search)); },
        [&](std::size_t) { benchmark::DoNotOptimize(prove(job, seam)); });
    print("window_ms", median(times.baseline) * 1e-6, "ms");
    print("window_in_proofs", times.ratio(), "ratio");
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
