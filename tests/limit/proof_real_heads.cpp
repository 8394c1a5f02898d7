#include "seamhold/limit/proof.hpp"

#include "seamhold/number/units.hpp"
#include "support/arms.hpp"
#include "support/real_heads.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <vector>

// Proofs of whole jobs as files give them: heads that are out of true, with field map, focus table, outline
// and apertures; an arm.

namespace {

using namespace seamhold;
using namespace seamhold::test;

double const quarter = std::numbers::pi / 2;
double const start = 0.3;

/// A sweep of some 0.2 m/s across, leaning by up to 0.03 rad, recorded every 12 ms; `work` m above the part.
PoseLog<Cell, Flange> recorded_sweep(double work) {
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i < 70; ++i) {
        double const t = 0.012 * i;
        auto const r = about_axis<Cell, Cell>({0, 1, 0}, 0.03 * std::sin(4 * t)) *
                       about_axis<Cell, Flange>({1, 0, 0}, 2 * quarter);
        rows.push_back({t, {0.2 * (t - 0.4), 0.01 * std::sin(3 * t), work}, quaternion_of(r)});
    }
    return PoseLog<Cell, Flange>(rows);
}

AnySeam woven_line() {
    Plane<> const face{Pose<Part, Face>::identity()};
    SeamOptions options;
    options.weave = {150, 4e-4, WeaveForm::circle};
    return at_speed(OnFace<Straight<>, Plane<>>{straight_between({-0.02, 0.01}, {0.02, 0.015}), face}, 0.2,
                    options);
}

/// Every limit is asked; each is far.
Job job_with(AnyHead head, double work, Process const& process) {
    Job job{{recorded_sweep(work), Rest<Cell, Part>{Pose<Cell, Part>::identity()},
             Pose<Flange, Head>::identity(), std::move(head)},
            {200, 1e5, 4e4, 0, 0, 1, 0, 1e8, 500},
            degrees(45),
            {{"woven", start, woven_line()}},
            process};
    job.limits.along = {-1, 1};
    job.limits.across = {-1, 1};
    job.limits.spot_speed = 10;
    job.limits.turning_share = 10;
    return job;
}

using D3 = Taylor<double, 3>;
Demand<D3> measured(Job const& job, ScheduledSeam const& seam, double time, Wanted const& wanted) {
    return demand_of(job, seam, D3::variable(time), wanted, Change{});
}

/// The largest share of each check at some thousand times.
std::vector<double> sampled_peaks(Job const& job, ScheduledSeam const& seam, std::vector<Check> const& checks,
                                  int count) {
    std::vector<double> peaks(checks.size(), 0);
    auto const wanted = wanted_by(checks);
    for (int i = 0; i <= count; ++i) {
        auto const d = measured(job, seam, seam.seam.duration() * i / count, wanted);
        CHECK(d.status == Status::ok);
        for (std::size_t c = 0; c < checks.size(); ++c) {
            auto const& check = checks[c];
            double const x = d[check.measure].derivative(check.derivative);
            peaks[c] = std::max(peaks[c], check.utilisation(check.read(x)));
        }
    }
    return peaks;
}

/// Brackets against samples; a limit set closely on either side of a peak; thin and wide stretches against
/// doubles.
void check_proof(Job job) {
    auto const& seam = job.seams.front();
    auto const checks = checks_of(job, seam);
    auto const peaks = sampled_peaks(job, seam, checks, 4000);
    auto const proof = prove(job, seam);
    CHECK(proof.verdict() == Verdict::within);
    CHECK(proof.looked_at < 3000);
    CHECK(!proof.stretches.empty());
    CHECK(proof.stretches.back().time.to == seam.seam.duration());
    REQUIRE(proof.limits.size() == checks.size() + 2); // with both RMS accelerations
    for (std::size_t c = 0; c < checks.size(); ++c) {
        auto const& l = proof.limits[c];
        CAPTURE(std::string(to_string(l.limit)));
        CAPTURE(peaks[c]);
        CHECK(l.limit == checks[c].limit);
        CHECK(l.utilisation.high >= peaks[c] * (1 - 1e-9));
        // A period of the weave has 130 samples: the peak is higher by (π/130)²/2 at most.
        CHECK(l.utilisation.low <= peaks[c] + 1e-3 * (1 + peaks[c]));
        CHECK(l.utilisation.high - l.utilisation.low <= 0.0101);
        CHECK(l.time >= start);
        CHECK(l.time <= start + seam.seam.duration());
    }
    // A limit that is just passed, and one that is just kept.
    auto const peak_of = [&](Limit limit) {
        for (std::size_t c = 0; c < checks.size(); ++c)
            if (checks[c].limit == limit)
                return peaks[c];
        return 0.0;
    };
    double const most = std::max(peak_of(Limit::x_acceleration), peak_of(Limit::y_acceleration)) * 1e5;
    double const jerk = std::max(peak_of(Limit::x_jerk), peak_of(Limit::y_jerk)) * 1e8;
    for (double const factor : {0.995, 1.005}) {
        job.dynamics.mirror_acceleration = factor * most;
        job.dynamics.mirror_jerk = factor * jerk;
        auto const close = prove(job, seam);
        auto const verdict = factor > 1 ? Verdict::within : Verdict::exceeds;
        CHECK(close.verdict() == verdict);
        CHECK(worse(close.of(Limit::x_acceleration)->verdict, close.of(Limit::y_acceleration)->verdict) ==
              verdict);
        CHECK(worse(close.of(Limit::x_jerk)->verdict, close.of(Limit::y_jerk)->verdict) == verdict);
        CHECK(close.looked_at < 3000);
        for (auto const& l : close.limits)
            if (l.verdict == Verdict::exceeds) { // and the witness is one
                auto const check = *std::find_if(close.checks.begin(), close.checks.end(),
                                                 [&](Check const& c) { return c.limit == l.limit; });
                auto const d = measured(job, seam, l.time - start, wanted_by(close.checks));
                CHECK(std::abs(d[check.measure].derivative(check.derivative)) > l.allowed);
            }
    }

    Random random(0x4ead);
    Wanted wanted;
    wanted.choice.fill(true);
    std::size_t missed = 0, asked = 0;
    for (std::size_t i = 0; i < runs(60); ++i) {
        double const width = std::pow(10, random.uniform(-6, -2));
        double const from = random.uniform(0, seam.seam.duration() - width);
        auto const all = demand_of(job, seam, Taylor<Interval, 6>::variable(Interval(from, from + width)),
                                   wanted, Change{});
        for (int n = 0; n < 5; ++n) {
            auto const d = measured(job, seam, n == 0 ? from : random.uniform(from, from + width), wanted);
            for (std::size_t m = 0; m < measure_count; ++m)
                for (int k = 0; k <= 3; ++k) {
                    auto const measure = static_cast<Measure>(m);
                    bool const loses = measure == Measure::energy || measure == Measure::speed ||
                                       measure == Measure::turning || measure == Measure::area;
                    bool const value_only = measure == Measure::field || measure == Measure::aperture ||
                                            measure == Measure::focus_left || measure == Measure::in_front;
                    // What is left of a solver's last step is another number for doubles.
                    if ((k > 0 && value_only) || (k == 3 && loses) || measure == Measure::solved)
                        continue;
                    Interval const x = all[measure].derivative(k);
                    double const number = d[measure].derivative(k);
                    double const slack = 1e-9 * std::max(std::abs(x.low), std::abs(x.high)) + 1e-15;
                    ++asked;
                    bool const holds = number >= x.low - slack && number <= x.high + slack;
                    missed += holds ? 0 : 1;
                    if (!holds && missed == 1) {
                        CAPTURE(m);
                        CAPTURE(k);
                        CAPTURE(width);
                        CHECK(number >= x.low - slack);
                        CHECK(number <= x.high + slack);
                    }
                }
        }
    }
    CHECK(asked > 5000);
    CHECK(missed == 0);
}

} // namespace

TEST_CASE("a head out of true, with field map, focus table, outline and apertures") {
    Random random(0x4ea1);
    auto plain = random_open_head(random);
    plain.map = random_map(random);
    auto parts = parts_of(plain, OpenBeam{});
    double const z = plain.zero_setting;
    // The lens moves the focus by some ten times its way, more where the focus is far.
    parts.focus = FocusTable({z - 0.25, z - 0.15, z - 0.07, z, z + 0.08, z + 0.17, z + 0.25},
                             {-0.03, -0.0165, -0.0073, 0, 0.0078, 0.0158, 0.0224});
    parts.outline = rectangle_outline(0.3, 0.25, OutlineIn::mirror_angles, {0.01, 0});
    parts.apertures = Apertures{{0.03, 0.04, false}, {0.04, 0.03, true}, 0.008, 0.05, z};
    DeliveredBeam<> const beam{BeamQuality<>::from_m2(1.07e-6, 6), 0.01, 0.1};
    check_proof(job_with(real_head(parts), z - 0.04, {beam, 4000, 2e-3, 30, 1e8, {1e3, 1e6}}));
}

TEST_CASE("a flat-field lens after mirrors out of true, with a map and a round field") {
    Random random(0x4ea2);
    auto plain = random_lens_head(random);
    plain.map = random_map(random);
    auto parts = parts_of(plain, lens_of(*plain.lens));
    parts.outline = circle_outline(0.3 * plain.lens->focal_length, OutlineIn::focal_plane);
    FlatFieldBeam<> const beam{BeamQuality<>::from_m2(1.07e-6, 6), 0.01, plain.lens->focal_length};
    check_proof(job_with(real_head(parts), plain.lens->exit_z + plain.lens->working_distance,
                         {beam, 4000, 2e-3, 30, 1e8, {1e3, 1e6}}));
}

TEST_CASE("an arm that sweeps straight: joints against differences of its inverse") {
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    WristInverse const inverse_of_arm(arm);
    std::array<double, 6> const q{0.3, -0.5, 0.2, 0.4, 0.9, -0.3};
    Pose<Cell, Base> const foot{about_axis<Cell, Base>({0, 0, 1}, 0.4), {0.1, -0.2, 0.3}};
    auto const first = foot * arm.forward(q);
    auto last = first;
    last.origin = first.origin + Direction<Cell>{0.05, 0.12, -0.03};
    last.rotation = first.rotation * about_axis<Flange, Flange>({0, 0.6, 0.8}, 0.15);
    StraightMove<Cell, Flange> const move(first, last, {0.4, 4, 100}, {1, 10, 300}, start - 0.02);
    // The part 0.5 m before the flange as it stands in the middle.
    Pose<Flange, Part> const before{about_axis<Flange, Part>({1, 0, 0}, 2 * quarter), {0, 0, 0.5}};
    auto const part = move.at(start + 0.1) * before;
    MirrorPair<> const head{0.04, 0.54, 8, {-0.2, 0.2}, {-0.2, 0.2}, {-0.03, 0.03}, 0.3};
    Job job{{move, Rest<Cell, Part>{part}, Pose<Flange, Head>::identity(), head},
            {200, 1e5, 4e4, 0, 0, 1, 0},
            degrees(60),
            {{"swept", start,
              at_speed(OnFace<Straight<>, Plane<>>{straight_between({-0.02, 0}, {0.02, 0}),
                                                   Plane<>{Pose<Part, Face>::identity()}},
                       0.2)}}};
    JobArm on{inverse_of_arm, foot, inverse_of_arm.branch_of(q), q};
    on.limits.fill({{-3, 3}, 2, 60});
    job.arm = on;
    auto const& seam = job.seams.front();
    auto const joints = [&](double t) { return inverse_of_arm.at(inverse(foot) * move.at(t), on.branch, q); };
    double velocity[6] = {}, acceleration[6] = {}, range[6] = {}, elbow = 1, wrist = 1, shoulder = 1;
    double const h = 1e-4, duration = seam.seam.duration();
    for (int i = 1; i < 2000; ++i) {
        double const t = start + std::clamp(duration * i / 2000, h, duration - h);
        auto const a = joints(t - h), b = joints(t), c = joints(t + h);
        for (std::size_t k = 0; k < 6; ++k) {
            velocity[k] = std::max(velocity[k], std::abs(c.joints[k] - a.joints[k]) / (2 * h));
            acceleration[k] =
                std::max(acceleration[k], std::abs(c.joints[k] - 2 * b.joints[k] + a.joints[k]) / (h * h));
            range[k] = std::max(range[k], std::abs(b.joints[k]));
        }
        elbow = std::min(elbow, b.clearance.elbow);
        wrist = std::min(wrist, b.clearance.wrist);
        shoulder = std::min(shoulder, b.clearance.shoulder);
    }
    auto const proof = prove(job, seam);
    CHECK(proof.verdict() == Verdict::within);
    CHECK(proof.looked_at < 3000);
    // Differences are means over 0.2 ms: never more than the peak, and less by little. Those of second order
    // are off by 1e-15 / h² at most.
    auto const holds = [](LimitProof const& l, double use) {
        CHECK(l.utilisation.high >= use - 1e-6);
        CHECK(l.utilisation.low <= use * 1.01 + 1e-6);
    };
    std::size_t of_joints = 0;
    for (auto const& l : proof.limits) {
        CAPTURE(std::string(to_string(l.limit)));
        CAPTURE(l.joint);
        auto const k = static_cast<std::size_t>(std::max(l.joint - 1, 0));
        of_joints += l.joint > 0;
        if (l.limit == Limit::joint_range)
            holds(l, range[k] / 3);
        if (l.limit == Limit::joint_velocity)
            holds(l, velocity[k] / 2);
        if (l.limit == Limit::joint_acceleration)
            holds(l, acceleration[k] / 60);
        if (l.limit == Limit::elbow_singularity)
            holds(l, 0.02 / elbow);
        if (l.limit == Limit::wrist_singularity)
            holds(l, 0.02 / wrist);
        if (l.limit == Limit::shoulder_singularity)
            holds(l, 0.01 / shoulder);
    }
    CHECK(of_joints == 18);
    // One joint that may do less than it must is named.
    job.arm->limits[3].velocity = 0.99 * velocity[3];
    auto const slow = prove(job, seam);
    CHECK(slow.verdict() == Verdict::exceeds);
    for (auto const& l : slow.limits)
        CHECK((l.verdict == Verdict::exceeds) == (l.limit == Limit::joint_velocity && l.joint == 4));
}
