#ifndef SEAMHOLD_LIMIT_JOB_PROOF_HPP
#define SEAMHOLD_LIMIT_JOB_PROOF_HPP

#include "seamhold/limit/proof.hpp"

#include <cmath>
#include <cstddef>
#include <vector>

namespace seamhold {

/// What is proven of a whole job, and of its repetition.
struct JobProof {
    std::vector<SeamProof> seams; ///< in order of time; with a thermal time each has the heating too
    double cycle = 0;             ///< from one start of the job to the next, s
    Interval x_cycle_rms;         ///< RMS acceleration over the cycle, x mirror, rad/s²
    Interval y_cycle_rms;         ///< the same of the y mirror
    double allowed_rms = 0;       ///< what both are held against, rad/s²

    /// What is said of the RMS over the cycle.
    Verdict cycle_verdict() const {
        double const high = std::max(x_cycle_rms.high, y_cycle_rms.high);
        double const low = std::max(x_cycle_rms.low, y_cycle_rms.low);
        return high <= allowed_rms * (1 + equal_share) ? Verdict::within
               : low > allowed_rms * (1 + equal_share) ? Verdict::exceeds
                                                       : Verdict::undecided;
    }

    /// The worst verdict of all.
    Verdict verdict() const {
        auto worst = cycle_verdict();
        for (auto const& seam : seams)
            worst = worse(worst, seam.verdict());
        return worst;
    }
};

namespace detail {

/// One mirror's part in a cycle: seams with the quickest turns between them.
template <class AnyJob> struct MirrorCycle {
    AnyJob const& job;
    std::vector<SeamProof> const& seams;
    double cycle;
    Enclosure<4> ProvenStretch::*acceleration;
    double Command<>::*angle;

    /// Calls air(length, square) and seam(index, step) in the order of time.
    template <class Air, class OnSeam> void each(Air const& air, OnSeam const& on_seam) const {
        std::size_t const n = seams.size();
        for (std::size_t i = 0; i < n; ++i) {
            for (auto const& stretch : seams[i].stretches) {
                std::vector<SquareStep> steps;
                add_square_steps(steps, stretch.*acceleration, stretch.time, seams[i].duration);
                for (auto const& step : steps)
                    on_seam(i, step);
            }
            auto const& here = job.seams[i];
            auto const& next = job.seams[(i + 1) % n];
            double const gap = (i + 1 < n ? next.start : job.seams.front().start + cycle) - here.end();
            double const from =
                job.chain.follow(here.seam, here.seam.duration(), here.end()).aim.command.*angle;
            double const to = job.chain.follow(next.seam, 0.0, next.start).aim.command.*angle;
            auto const& d = job.dynamics;
            air(gap, quickest_turn_square(to - from, d.mirror_velocity, d.mirror_acceleration, gap));
        }
    }

    Interval rms() const {
        Interval sum = 0;
        each([&](double, double square) { sum = sum + Interval(square); },
             [&](std::size_t, SquareStep const& step) { sum = sum + step.square; });
        return sqrt(sum / Interval(cycle));
    }

    /// The largest excess of the motor's heat in each seam when the cycle has been repeated for long: the
    /// excess at the cycle's start is what comes back to itself.
    std::vector<Interval> heat(double time_constant) const {
        auto const run = [&](Interval const& start, std::vector<Interval>* peaks) {
            MotorHeat heat(time_constant, start);
            std::size_t now = seams.size();
            auto const note = [&] {
                if (peaks == nullptr || now >= seams.size())
                    return;
                Interval& most = (*peaks)[now]; // a seam comes once a cycle
                most = heat.peak();
            };
            each(
                [&](double length, double square) {
                    note();
                    now = seams.size();
                    heat.add(Interval(length), Interval(square));
                },
                [&](std::size_t i, SquareStep const& step) {
                    if (now != i)
                        heat.forget_peak();
                    now = i;
                    heat.add(step);
                });
            note();
            return heat.excess();
        };
        // After a cycle from nothing: what has come in. From any start that start's rest is added to it.
        Interval const in = run(Interval(0), nullptr);
        Interval const left = exp(Interval(-cycle) / Interval(time_constant));
        Interval const start = in / (Interval(1) - left);
        std::vector<Interval> peaks(seams.size(), Interval(0));
        run(start, &peaks);
        return peaks;
    }
};

} // namespace detail

/// Proves every seam of a job, see `prove` of one seam, and what its repetition makes the mirrors' motors
/// take on. `cycle` is the time from one start of the job to the next, s; 0: no pause between the last seam's
/// end and the first one's next start. Between seams each mirror is taken to turn over as quickly as it can
/// (`quickest_turn_square`), then to rest: what it does while it waits on the moving robot is thousands of
/// times less. Throws BadInput for a cycle that is shorter than the job.
template <class AnyJob>
JobProof prove_job(AnyJob const& job, ProofOptions const& options = {}, double cycle = 0) {
    JobProof proof;
    proof.seams.reserve(job.seams.size());
    for (auto const& seam : job.seams)
        proof.seams.push_back(prove(job, seam, options));
    double const lasts = job.seams.empty() ? 0 : job.seams.back().end() - job.seams.front().start;
    if (cycle != 0 && !(cycle >= lasts && is_finite(cycle)))
        throw BadInput("a cycle of " + detail::text_of(cycle) + " s is shorter than the job, which takes " +
                       detail::text_of(lasts) + " s");
    proof.cycle = cycle != 0 ? cycle : lasts;
    proof.allowed_rms = job.dynamics.mirror_rms_acceleration;
    if (job.seams.empty())
        return proof;
    for (int mirror = 0; mirror < 2; ++mirror) {
        bool const x = mirror == 0;
        detail::MirrorCycle<AnyJob> const part{job, proof.seams, proof.cycle,
                                               x ? &ProvenStretch::x_acceleration
                                                 : &ProvenStretch::y_acceleration,
                                               x ? &Command<>::x_mirror : &Command<>::y_mirror};
        (x ? proof.x_cycle_rms : proof.y_cycle_rms) = part.rms();
        double const time_constant = job.dynamics.thermal_time;
        if (!(time_constant > 0) || !is_finite(proof.allowed_rms))
            continue;
        auto const peaks = part.heat(time_constant);
        for (std::size_t i = 0; i < peaks.size(); ++i) {
            auto& seam = proof.seams[i];
            Interval const root = sqrt(peaks[i]);
            Interval const use = root / Interval(proof.allowed_rms);
            Verdict const verdict = use.high <= 1 + equal_share ? Verdict::within
                                    : use.low > 1 + equal_share ? Verdict::exceeds
                                                                : Verdict::undecided;
            seam.limits.push_back({x ? Limit::x_heating : Limit::y_heating, verdict, use, root.middle(),
                                   proof.allowed_rms, seam.start + seam.duration, seam.length});
        }
    }
    return proof;
}

} // namespace seamhold

#endif
