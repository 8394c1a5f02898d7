// A limit that holds at every sample and not between them: samples, then a proof. And what else a proof is
// asked: how much is left when the part lies a little off and the stamps are late.

#include "seamhold/limit/proof.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <optional>
#include <vector>

using namespace seamhold;

// A job with its types known at compile time; class Job is one with any motion and head. All numbers are
// invented.
struct SmallJob {
    Chain<PoseLog<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>> chain;
    HeadDynamics dynamics;
    double largest_incidence;
    std::vector<ScheduledSeam> seams;
    std::optional<Process> process = {};
    SeamLimits limits = {};
};

// The most that samples see of one limit, as a share of it.
double sampled(SmallJob const& job, Limit limit, double step) {
    auto const& seam = job.seams[0];
    auto const checks = checks_of(job, seam);
    auto const wanted = wanted_by(checks);
    auto const check =
        *std::find_if(checks.begin(), checks.end(), [&](Check const& c) { return c.limit == limit; });
    double most = 0;
    for (int i = 0; i * step <= seam.seam.duration(); ++i) {
        auto const demand = demand_of(job, seam, Taylor<double, 3>::variable(i * step), wanted);
        most =
            std::max(most, check.utilisation(check.read(demand[check.measure].derivative(check.derivative))));
    }
    return most;
}

int main() {
    std::vector<PoseRow<Cell>> rows; // a head that looks down and glides along x at 0.2 m/s, every 8 ms
    for (int i = 0; i <= 250; ++i)
        rows.push_back({0.008 * i, {-0.2 + 0.0016 * i, 0, 0.5}, {0, 1, 0, 0}});
    MirrorPair<> const head{0.04, 0.54, 8, {-0.17, 0.17}, {-0.17, 0.17}, {-0.01, 0.01}, 0.17};
    SmallJob job{
        {PoseLog<Cell, Flange>(rows), {Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), head},
        {20, 3150, 3000, 0.5e-3, 2e-3, 0.1, 5e-3},
        degrees(30),
        {}};
    DrawnShape const line(straight_between({-0.03, 0.02}, {0.03, 0.02}));
    job.seams.push_back({"L1", 0.95,
                         at_speed(OnFace<DrawnShape, Plane<>>{line, {Pose<Part, Face>::identity()}}, 0.25,
                                  SeamOptions{Weave{400, 0.0005}})});

    // [proof]
    SeamProof const proof = prove(job, job.seams[0]);
    LimitProof const& limit = *proof.of(Limit::y_acceleration);
    std::printf("%s: %s; %s %s, between %.2f %% and %.2f %%, at %.5f s, %.2f mm along\n", proof.name.c_str(),
                to_string(proof.verdict()), to_string(limit.limit), to_string(limit.verdict),
                100 * limit.utilisation.low, 100 * limit.utilisation.high, limit.time,
                in_millimetres(limit.arc_length));
    // [proof] end
    double const seen = sampled(job, Limit::y_acceleration, milliseconds(0.1));
    std::printf("sampled every 0.1 ms: %.2f %%\n", 100 * seen);

    job.dynamics.mirror_acceleration *= 1.1;
    // [box]
    ProofOptions options;
    options.change.box.part_shift = millimetres(0.3); // along each axis of the part, to each side
    options.change.box.delay = milliseconds(1);       // of the motion, early or late
    SeamProof const with_box = prove(job, job.seams[0], options);
    LimitProof const& boxed = *with_box.of(Limit::y_acceleration);
    std::printf("10 %% more acceleration allowed: %s, for every part within 0.3 mm and delay within 1 ms; "
                "most %.2f %%\n",
                to_string(with_box.verdict()), 100 * boxed.utilisation.high);
    // [box] end
    bool const missed = seen < 1 && limit.verdict == Verdict::exceeds;
    return missed && with_box.verdict() == Verdict::within ? 0 : 1;
}
