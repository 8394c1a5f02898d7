#include "seamhold/limit/job_proof.hpp"

#include "seamhold/motion/rest.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

// A job of two seams under a still head, its cycle and its motors' heat, against dense sampling and a
// simulation of two hundred repetitions by doubles.

namespace {

using namespace seamhold;
using namespace seamhold::test;

using FlatSeam = OnFace<DrawnShape, Plane<>>;
using StillChain = Chain<Rest<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>>;

struct PlainSeam {
    std::string name;
    double start;
    Seam<FlatSeam> seam;
    double end() const { return start + seam.duration(); }
};
struct PlainJob {
    StillChain chain;
    HeadDynamics dynamics;
    double largest_incidence;
    std::vector<PlainSeam> seams;
    std::optional<Process> process = {};
    SeamLimits limits = {};
};

/// A circle of 30 mm in 0.47 s from 3 s on, and a woven line of 0.2 s from 4 s on.
PlainJob two_seams() {
    auto const face = Plane<>{Pose<Part, Face>::identity()};
    auto const down = about_axis<Cell, Flange>({1, 0, 0}, std::numbers::pi);
    SeamOptions woven;
    woven.weave = {120, 5e-4};
    return {{{{down, {0, 0, 0.5}}},
             {Pose<Cell, Part>::identity()},
             Pose<Flange, Head>::identity(),
             {0.04, 0.54, 8, {-0.17, 0.17}, {-0.17, 0.17}, {-0.01, 0.02}, 0.17}},
            {20, 15000, 60, 0, 0, 1, 0},
            0.6,
            {{"circle", 3, at_speed(FlatSeam{circle_around({0.06, 0}, 0.03), face}, 0.2)},
             {"woven", 4,
              at_speed(FlatSeam{straight_between({-0.06, -0.02}, {-0.06, 0.02}), face}, 0.2, woven)}}};
}

/// Squared accelerations of a seam, one mirror, in the middles of so many even steps.
std::vector<double> squares(PlainJob const& job, PlainSeam const& s, bool x, std::size_t count) {
    std::vector<double> all;
    for (std::size_t i = 0; i < count; ++i) {
        auto const t = Taylor<double, 2>::variable(s.seam.duration() * (static_cast<double>(i) + 0.5) /
                                                   static_cast<double>(count));
        auto const command = job.chain.follow(s.seam, t, Taylor<double, 2>(t + s.start)).aim.command;
        double const a = (x ? command.x_mirror : command.y_mirror).derivative(2);
        all.push_back(a * a);
    }
    return all;
}
double mean(std::vector<double> const& all) {
    double sum = 0;
    for (double const x : all)
        sum += x;
    return sum / static_cast<double>(all.size());
}

/// ∫ θ″² of full acceleration and full braking through the angle between the end of one seam and the start of
/// the next: a² for peak speed / a, twice. x goes so far that the mirror's speed cuts the peak, y does not.
double turn_square(PlainJob const& job, PlainSeam const& from, PlainSeam const& to, bool x) {
    auto const at = [&](PlainSeam const& s, double time) {
        auto const command = job.chain.follow(s.seam, time, s.start + time).aim.command;
        return x ? command.x_mirror : command.y_mirror;
    };
    double const angle = std::abs(at(to, 0) - at(from, from.seam.duration()));
    double const a = job.dynamics.mirror_acceleration;
    return 2 * a * std::min(std::sqrt(angle * a), job.dynamics.mirror_velocity);
}

double const cycle_time = 1.7;

/// The largest excess in each seam of the last of two hundred cycles.
std::array<double, 2> simulated(PlainJob const& job, bool x, bool early) {
    std::size_t const count = 4000;
    double const time_constant = job.dynamics.thermal_time;
    std::array<std::vector<double>, 2> const input{squares(job, job.seams[0], x, count),
                                                   squares(job, job.seams[1], x, count)};
    std::array<double, 2> const turn{turn_square(job, job.seams[0], job.seams[1], x),
                                     turn_square(job, job.seams[1], job.seams[0], x)};
    std::array<double, 2> const gap{job.seams[1].start - job.seams[0].end(),
                                    job.seams[0].start + cycle_time - job.seams[1].end()};
    std::array<double, 2> most{};
    double excess = 0;
    for (int cycle = 0; cycle < 200; ++cycle)
        for (std::size_t i = 0; i < 2; ++i) {
            double const left =
                std::exp(-job.seams[i].seam.duration() / static_cast<double>(count) / time_constant);
            most[i] = excess;
            for (double const square : input[i]) {
                excess = excess * left + square * (1 - left);
                most[i] = std::max(most[i], excess);
            }
            double const waits = std::exp(-gap[i] / time_constant);
            excess =
                early ? (excess + turn[i] / time_constant) * waits : excess * waits + turn[i] / time_constant;
        }
    return most;
}

LimitProof const& of(SeamProof const& proof, Limit limit) {
    auto const* found = proof.of(limit);
    REQUIRE(found != nullptr);
    return *found;
}

} // namespace

TEST_CASE("RMS over the cycle: both seams and the quickest turns between them") {
    auto job = two_seams();
    auto const proof = prove_job(job, {}, cycle_time);
    CHECK(proof.cycle == cycle_time);
    CHECK(proof.allowed_rms == 60);
    REQUIRE(proof.seams.size() == 2);
    CHECK(proof.seams[0].name == "circle");
    CHECK(proof.seams[1].name == "woven");
    for (bool const x : {true, false}) {
        double sum =
            turn_square(job, job.seams[0], job.seams[1], x) + turn_square(job, job.seams[1], job.seams[0], x);
        for (std::size_t i = 0; i < 2; ++i) {
            auto const& s = job.seams[i];
            double const square = mean(squares(job, s, x, 20000));
            sum += square * s.seam.duration();
            // And over each seam alone.
            auto const& rms = of(proof.seams[i], x ? Limit::x_rms_acceleration : Limit::y_rms_acceleration);
            CHECK(rms.utilisation.low * 60 <= std::sqrt(square) * (1 + 1e-6));
            CHECK(rms.utilisation.high * 60 >= std::sqrt(square) * (1 - 1e-6));
            CHECK(rms.value == doctest::Approx(std::sqrt(square)).epsilon(0.02));
        }
        double const root = std::sqrt(sum / cycle_time);
        CAPTURE(root);
        auto const& found = x ? proof.x_cycle_rms : proof.y_cycle_rms;
        CHECK(found.low <= root * (1 + 1e-6)); // twenty thousand middles
        CHECK(found.high >= root * (1 - 1e-6));
        CHECK(found.high - found.low < 0.02 * root);
    }
    // Without a pause the mirrors have no time to turn back before the first seam starts again.
    auto const tight = prove_job(job);
    CHECK(tight.cycle == doctest::Approx(job.seams[1].end() - 3));
    double sum = turn_square(job, job.seams[0], job.seams[1], true);
    for (auto const& s : job.seams)
        sum += mean(squares(job, s, true, 20000)) * s.seam.duration();
    double const root = std::sqrt(sum / tight.cycle);
    CHECK(tight.x_cycle_rms.low <= root * (1 + 1e-6));
    CHECK(tight.x_cycle_rms.high >= root * (1 - 1e-6));
    CHECK(tight.x_cycle_rms.high - tight.x_cycle_rms.low < 0.02 * root);
}

TEST_CASE("verdicts of the cycle, and of all together") {
    auto job = two_seams();
    auto const proof = prove_job(job, {}, cycle_time);
    double const most = std::max(proof.x_cycle_rms.high, proof.y_cycle_rms.high);
    double const least = std::max(proof.x_cycle_rms.low, proof.y_cycle_rms.low);
    job.dynamics.mirror_rms_acceleration = 1.001 * most;
    auto const within = prove_job(job, {}, cycle_time);
    CHECK(within.cycle_verdict() == Verdict::within);
    job.dynamics.mirror_rms_acceleration = 0.9 * least;
    auto const exceeds = prove_job(job, {}, cycle_time);
    CHECK(exceeds.cycle_verdict() == Verdict::exceeds);
    CHECK(exceeds.verdict() == Verdict::exceeds);

    // By hand: y alone may decide, and an open bracket decides nothing.
    JobProof all;
    all.allowed_rms = 10;
    all.x_cycle_rms = Interval(2, 3);
    all.y_cycle_rms = Interval(4, 10);
    CHECK(all.cycle_verdict() == Verdict::within);
    CHECK(all.verdict() == Verdict::within);
    all.y_cycle_rms = Interval(4, 10.1);
    CHECK(all.cycle_verdict() == Verdict::undecided);
    all.x_cycle_rms = Interval(10.05, 11);
    CHECK(all.cycle_verdict() == Verdict::exceeds);

    Verdict const v[] = {Verdict::within, Verdict::undecided, Verdict::exceeds}; // from best to worst
    for (int a = 0; a < 3; ++a)
        for (int b = 0; b < 3; ++b) {
            CHECK(worse(v[a], v[b]) == v[std::max(a, b)]);
            // A seam with this limit, in a job with this cycle.
            JobProof job_of;
            job_of.allowed_rms = 1;
            job_of.x_cycle_rms = a == 0 ? Interval(0, 1) : a == 1 ? Interval(0, 2) : Interval(2, 3);
            SeamProof seam{};
            seam.limits.push_back({Limit::field, v[b], {0, 1}, 0, 1, 0, 0});
            job_of.seams = {SeamProof{}, seam, SeamProof{}};
            CHECK(job_of.verdict() == v[std::max(a, b)]);
        }
    CHECK(std::string(to_string(Verdict::within)) == "within");
    CHECK(std::string(to_string(Verdict::exceeds)) == "exceeds");
    CHECK(std::string(to_string(Verdict::undecided)) == "undecided");
}

TEST_CASE("heat after two hundred repetitions") {
    auto job = two_seams();
    job.dynamics.mirror_rms_acceleration = 400;
    for (double const time_constant : {0.5, 4.0}) {
        job.dynamics.thermal_time = time_constant;
        ProofOptions options;
        options.everywhere = true;
        auto const proof = prove_job(job, options, cycle_time);
        for (bool const x : {true, false})
            for (bool const early : {true, false}) {
                auto const most = simulated(job, x, early);
                for (std::size_t i = 0; i < 2; ++i) {
                    auto const& heat = of(proof.seams[i], x ? Limit::x_heating : Limit::y_heating);
                    double const root = std::sqrt(most[i]);
                    CAPTURE(time_constant);
                    CAPTURE(x);
                    CAPTURE(early);
                    CAPTURE(i);
                    CAPTURE(root);
                    CAPTURE(heat.utilisation.low * 400);
                    CAPTURE(heat.utilisation.high * 400);
                    CHECK(heat.utilisation.low * 400 <= root * (1 + 1e-6));
                    CHECK(heat.utilisation.high * 400 >= root * (1 - 1e-6));
                    CHECK(heat.utilisation.high < 2 * heat.utilisation.low);
                    CHECK(heat.allowed == 400);
                    CHECK(heat.time == doctest::Approx(job.seams[i].end()));
                    // The limit decides.
                    CHECK(heat.verdict == (heat.utilisation.high <= 1 ? Verdict::within
                                           : heat.utilisation.low > 1 ? Verdict::exceeds
                                                                      : Verdict::undecided));
                }
            }
    }
    job.dynamics.mirror_rms_acceleration = 1;
    auto const hot = prove_job(job, {}, cycle_time);
    CHECK(of(hot.seams[1], Limit::x_heating).verdict == Verdict::exceeds);
    job.dynamics.mirror_rms_acceleration = 1e4;
    auto const cool = prove_job(job, {}, cycle_time);
    CHECK(of(cool.seams[0], Limit::y_heating).verdict == Verdict::within);
    // What is not known, or has no limit, is not asked. 2026-11-26: a time constant without a limit was held
    // against an infinite one, an interval that is none, and left undecided.
    job.dynamics.mirror_rms_acceleration = no_limit;
    auto const free = prove_job(job, {}, cycle_time);
    CHECK(free.seams[0].of(Limit::x_heating) == nullptr);
    CHECK(free.cycle_verdict() == Verdict::within);
    job.dynamics.mirror_rms_acceleration = 400;
    job.dynamics.thermal_time = 0;
    CHECK(prove_job(job, {}, cycle_time).seams[0].of(Limit::x_heating) == nullptr);
}

// 2026-11-26: of a changed sweep the brackets were right, but value and witness were those of the given one.
TEST_CASE("a sweep that is changed on purpose is proven as it is changed") {
    auto const job = two_seams();
    ProofOptions options;
    options.change.standoff = 0.1;
    auto const at = [&](double standoff) { // of the lens at the circle's start, x = 0.075
        return (std::hypot(0.54 + standoff, 0.075) - 0.54) / 8;
    };
    auto const proof = prove(job, job.seams[0], options);
    auto const& higher = of(proof, Limit::focus_range);
    CHECK(higher.verdict == Verdict::within);
    CHECK(higher.value == doctest::Approx(at(0.1)).epsilon(1e-2));
    CHECK(higher.utilisation.low <= (at(0.1) - 0.005) / 0.015);
    CHECK(higher.utilisation.high >= (at(0.1) - 0.005) / 0.015);
    options.change.standoff = 0.17;
    auto const too_high = prove(job, job.seams[0], options);
    auto const& beyond = of(too_high, Limit::focus_range);
    CHECK(beyond.verdict == Verdict::exceeds);
    CHECK(beyond.value > 0.02);
}

TEST_CASE("cycles that are not possible, and a job without seams") {
    auto job = two_seams();
    double const lasts = job.seams[1].end() - job.seams[0].start;
    CHECK(has(refusal_of([&] { return prove_job(job, {}, 1.0); }), "a cycle of 1 s is shorter than the job"));
    CHECK(refusal_of([&] { return prove_job(job, {}, lasts * (1 - 1e-9)); }) != "");
    CHECK(refusal_of([&] { return prove_job(job, {}, -2.0); }) != "");
    CHECK(refusal_of([&] { return prove_job(job, {}, std::numeric_limits<double>::quiet_NaN()); }) != "");
    CHECK(refusal_of([&] { return prove_job(job, {}, std::numeric_limits<double>::infinity()); }) != "");
    CHECK(prove_job(job, {}, lasts).cycle == lasts);
    job.seams.clear();
    auto const nothing = prove_job(job, {}, 3);
    CHECK(nothing.seams.empty());
    CHECK(nothing.cycle == 3);
    CHECK(nothing.verdict() == Verdict::within);
}
