#include "seamhold/limit/proof.hpp"

#include <doctest/doctest.h>

#include "limit/scenarios.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

// Jobs made to deceive a check: what lies between ticks, what only touches a limit, what has no data, and
// what has no derivative. Expected values are worked by hand, or are samples of readings by doubles.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double height = 0.5; // of the last mirror above the face, m
constexpr double infinite = std::numeric_limits<double>::infinity();

/// A head that looks straight down, with its last mirror half a metre above the face z = 0, and both mirrors
/// in one place: with the beam at (x, y) tan 2θx = x / √(z² + y²), tan 2θy = y / z.
MirrorPair<> plain_head() { return {0, height, 8, {-0.3, 0.3}, {-0.3, 0.3}, {-0.02, 0.02}, 0.4}; }

PoseRow<Cell> looking_down(double time, double x = 0, double y = 0, double z = height) {
    return {time, {x, y, z}, {0, 1, 0, 0}};
}

std::vector<PoseRow<Cell>> at_rest(double from = -0.1, double to = 1.1, double step = 0.01) {
    std::vector<PoseRow<Cell>> rows;
    for (double i = 0; from + i * step <= to; ++i)
        rows.push_back(looking_down(from + i * step));
    return rows;
}

constexpr HeadDynamics no_dynamics{infinite, infinite, infinite, 0, 0, infinite, 0, infinite, infinite};

ProofJob<LogChain> job_of(std::vector<PoseRow<Cell>> const& rows, double max_gap = infinite) {
    return {{PoseLog<Cell, Flange>(rows, max_gap),
             {Pose<Cell, Part>::identity()},
             Pose<Flange, Head>::identity(),
             plain_head()},
            no_dynamics};
}

Plane<> flat() { return {Pose<Part, Face>::identity()}; }
FlatPath on_flat(DrawnShape const& shape) { return {shape, flat()}; }
ProofSeam<> seam_of(DrawnShape const& shape, double speed, double start = 0) {
    return {"seam", start, at_speed(on_flat(shape), speed)};
}

using HeldPath = OnFace<Still<>, Plane<>>;
ProofSeam<HeldPath> held_at(double x, double y, double time, Weave const& weave = {}) {
    return {"seam", 0, held(FacePoint{x, y}, flat(), time, weave)};
}

Verdict verdict_of(SeamProof const& proof, Limit limit) {
    auto const* const l = proof.of(limit);
    REQUIRE(l != nullptr);
    return l->verdict;
}

/// The largest reading at the ticks of 10 µs.
template <class S> double at_ticks(ProofJob<LogChain> const& job, S const& seam, Limit limit) {
    double most = 0;
    for (double t = 0; t <= seam.seam.duration(); t += 1e-5) {
        auto r = readings_of(job, seam, t, false);
        most = std::max(most, std::abs(of(r, limit)));
    }
    return most;
}

} // namespace

TEST_CASE("a spike between ticks is found") {
    // One row 0.1 µm off, 5 µs from the nearest ticks, among rows 1 µs apart.
    std::vector<PoseRow<Cell>> rows;
    double const spike = 0.050005;
    for (int i = -8; i < 0; ++i)
        rows.push_back(looking_down(spike + i * 0.01));
    for (int i = -25; i <= 25; ++i)
        rows.push_back(looking_down(spike + i * 1e-6, i == 0 ? 1e-7 : 0));
    for (int i = 1; i < 8; ++i)
        rows.push_back(looking_down(spike + i * 0.01));
    auto job = job_of(rows);
    auto const seam = seam_of(straight_between({0, 0}, {0.01, 0}), 0.1);
    double const at_spike = std::abs([&] {
        auto r = readings_of(job, seam, spike, false);
        return of(r, Limit::x_acceleration);
    }());
    double const seen = at_ticks(job, seam, Limit::x_acceleration);
    CHECK(seen < at_spike / 100);
    job.dynamics.mirror_acceleration = at_spike / 20;
    auto const proof = prove(job, seam);
    CHECK(verdict_of(proof, Limit::x_acceleration) == Verdict::exceeds);
    CHECK(std::abs(proof.of(Limit::x_acceleration)->time - spike) < 3e-6);
    CHECK(proof.of(Limit::x_acceleration)->utilisation.contains(20.0));
    CHECK(proof.of(Limit::x_acceleration)->utilisation.high < 20.2);
    job.dynamics.mirror_acceleration = at_spike * 1.0001;
    CHECK(verdict_of(prove(job, seam), Limit::x_acceleration) == Verdict::within);
}

TEST_CASE("one bad orientation in a log is found") {
    for (double const degrees_off : {0.01, 0.1, 1.0}) {
        auto rows = at_rest();
        double const half = degrees(degrees_off) / 2;
        rows[15].rotation = {std::sin(half), std::cos(half), 0, 0}; // about the flange's x axis
        auto job = job_of(rows);
        auto const seam = seam_of(straight_between({0, 0}, {0.01, 0}), 0.1, 0.001);
        auto const dense = extremes_of(job, seam, 1e-6, false);
        for (double const factor : {0.999, 1.001}) {
            CAPTURE(degrees_off);
            CAPTURE(factor);
            job.dynamics.mirror_acceleration = dense.size(Limit::y_acceleration) * factor;
            job.largest_incidence = dense.size(Limit::incidence) * factor;
            auto const proof = prove(job, seam);
            auto const expected = factor < 1 ? Verdict::exceeds : Verdict::within;
            CHECK(verdict_of(proof, Limit::y_acceleration) == expected);
            CHECK(verdict_of(proof, Limit::incidence) == expected);
        }
    }
}

TEST_CASE("a seam that touches the edge of the field from inside") {
    // An arc whose farthest point from the middle lies at R (1 + off); to both sides it is nearer.
    double const edge = 0.1, bend = 0.04;
    for (double const angle : {0.0, 0.7, -2.0})
        for (double const off :
             {-1e-3, -1e-5, -1e-7, -1e-8, -2e-9, -1e-10, 0.0, 1e-10, 3e-9, 1e-8, 1e-7, 1e-5, 1e-3}) {
            double const middle = edge * (1 + off) - bend;
            auto job = job_of(at_rest());
            job.chain.head.field_radius = edge;
            auto const seam = seam_of(
                arc_around({middle * std::cos(angle), middle * std::sin(angle)}, bend, angle - 0.311, 0.7),
                0.3);
            auto const proof = prove(job, seam);
            auto const& field = *proof.of(Limit::field);
            CAPTURE(off);
            CAPTURE(field.utilisation.low);
            CAPTURE(field.utilisation.high);
            CHECK(field.utilisation.contains(1 + off));
            if (off < -1e-9)
                CHECK(field.verdict == Verdict::within);
            if (off > 1.1e-9)
                CHECK(field.verdict != Verdict::within);
            if (off > 1e-7)
                CHECK(field.verdict == Verdict::exceeds);
            if (std::abs(off) <= 1e-10)
                CHECK(field.verdict != Verdict::exceeds);
        }
}

TEST_CASE("limits met with equality are kept") {
    // The speed along a straight seam.
    auto job = job_of(at_rest());
    auto const seam = seam_of(straight_between({-0.02, 0.01}, {0.02, 0.03}), 0.2);
    job.limits.spot_speed = 0.2;
    CHECK(verdict_of(prove(job, seam), Limit::spot_speed) == Verdict::within);
    job.limits.spot_speed = 0.2 * (1 - 1e-6);
    CHECK(verdict_of(prove(job, seam), Limit::spot_speed) == Verdict::exceeds);
    // A held spot whose command is the end of a mirror's range.
    for (double const x : {0.05, -0.05, 0.123}) {
        double const command = std::atan2(x, height) / 2;
        job.chain.head.x_range = {std::min(command, -0.1), std::max(command, 0.1)};
        if (std::abs(command) <= 0.1)
            job.chain.head.x_range = x < 0 ? Range{command, 0.2} : Range{-0.2, command};
        auto const held = prove(job, held_at(x, 0, 0.05));
        CAPTURE(x);
        CHECK(verdict_of(held, Limit::x_angle) == Verdict::within);
        CHECK(held.of(Limit::x_angle)->utilisation.contains(1.0));
    }
    // A quarter of the way past it.
    job.chain.head.x_range = {-0.2, std::atan2(0.05, height) / 2 * (1 - 1e-7)};
    CHECK(verdict_of(prove(job, held_at(0.05, 0, 0.05)), Limit::x_angle) == Verdict::exceeds);
}

TEST_CASE("without data nothing is within") {
    auto rows = at_rest(-0.1, 0.6);
    rows.erase(rows.begin() + 30, rows.begin() + 40); // no rows between 0.19 and 0.3 s
    auto job = job_of(rows, 0.05);
    job.dynamics.mirror_velocity = 1;
    double const hole = rows[29].time;
    SUBCASE("into the hole") {
        auto const seam = seam_of(straight_between({0, 0}, {0.01, 0}), 0.1, hole - 0.05);
        auto const proof = prove(job, seam);
        CHECK(verdict_of(proof, Limit::reach) == Verdict::exceeds);
        CHECK(proof.of(Limit::reach)->time > hole);
        CHECK(proof.verdict() == Verdict::exceeds);
        for (auto const& l : proof.limits)
            CHECK(l.verdict != Verdict::within);
    }
    SUBCASE("up to the last row before it") {
        auto const seam = seam_of(straight_between({0, 0}, {0.01, 0}), 0.1, hole - 0.1);
        CHECK(prove(job, seam).verdict() == Verdict::within);
    }
    SUBCASE("up to it, with stamps that may be late") {
        // All of the box must have data: 1 ms later the seam's end lies in the hole.
        auto const seam = seam_of(straight_between({0, 0}, {0.01, 0}), 0.1, hole - 0.1);
        ProofOptions options;
        options.change.box.delay = 1e-3;
        CHECK(prove(job, seam, options).verdict() != Verdict::within);
        options.change.box.delay = 0;
        options.change.start = {0, 1e-3};
        CHECK(prove(job, seam, options).verdict() != Verdict::within);
        options.change.start = 0;
        options.change.speed = {1, 1.01};
        CHECK(prove(job, seam, options).verdict() != Verdict::within);
    }
    SUBCASE("beyond the log's ends, with stamps that may be late") {
        auto const last = seam_of(straight_between({0, 0}, {0.01, 0}), 0.1, rows.back().time - 0.1);
        CHECK(prove(job, last).verdict() == Verdict::within);
        auto const first = seam_of(straight_between({0, 0}, {0.01, 0}), 0.1, rows.front().time);
        CHECK(prove(job, first).verdict() == Verdict::within);
        ProofOptions options;
        options.change.box.delay = 1e-3;
        CHECK(prove(job, first, options).verdict() != Verdict::within);
        CHECK(prove(job, last, options).verdict() != Verdict::within);
    }
}

TEST_CASE("a target that passes behind the head") {
    std::vector<PoseRow<Cell>> rows;
    for (int i = -10; i < 60; ++i)
        rows.push_back(looking_down(i * 0.01, 0, 0, 0.05 - 0.2 * i * 0.01)); // through the face after 0.25 s
    auto job = job_of(rows);
    job.dynamics.mirror_velocity = 1e6;
    auto const proof = prove(job, seam_of(straight_between({0.001, 0}, {0.011, 0}), 0.02));
    CHECK(proof.verdict() == Verdict::exceeds);
    for (auto const& l : proof.limits)
        CHECK(l.verdict != Verdict::within);
}

TEST_CASE("a face that looks away from the head has no incidence that is within") {
    // Turned over by half a turn about x: the beam comes from behind, square to the face.
    Pose<Part, Face> const over{{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {0, 0, 0}};
    auto const job = job_of(at_rest());
    ProofSeam<HeldPath> const held_behind{"seam", 0, held(FacePoint{0, 0}, Plane<>{over}, 0.05)};
    CHECK(verdict_of(prove(job, held_behind), Limit::incidence) != Verdict::within);
    ProofSeam<> const along{"seam", 0,
                            at_speed(FlatPath{straight_between({-0.01, 0}, {0.01, 0}), Plane<>{over}}, 0.1)};
    CHECK(verdict_of(prove(job, along), Limit::incidence) != Verdict::within);
}

TEST_CASE("a corner that is passed slowly: the velocity jumps, so no acceleration is within without a tick") {
    for (double const angle : {0.01, 0.5, std::numbers::pi / 2}) {
        DrawnShape const shape(std::vector<DrawnShape::Piece>{
            Straight<>{-0.005, 0, 1, 0, 0.005}, Straight<>{0, 0, std::cos(angle), std::sin(angle), 0.005}});
        SpeedLaw law{0.1};
        law.acceleration = 5;
        law.jerk = 1000;
        law.at_corners = AtCorner::slow;
        law.corner_speed = 0.02;
        ProofSeam<> const seam{"seam", 0, by_law(on_flat(shape), law)};
        auto job = job_of(at_rest());
        job.dynamics.mirror_velocity = 10;
        job.dynamics.mirror_acceleration = 1000;
        job.dynamics.mirror_jerk = 1e7;
        // By differences of commands: Δv / h.
        double const corner = seam.seam.travel.time_at(0.005), h = 1e-8;
        auto const y = [&](double t) {
            auto r = readings_of(job, seam, t, false);
            return of(r, Limit::y_angle);
        };
        CHECK(std::abs(y(corner + h) - 2 * y(corner) + y(corner - h)) / (h * h) > 2000);
        ProofOptions strict;
        strict.tick = 0;
        auto const proof = prove(job, seam, strict);
        CAPTURE(angle);
        CHECK(verdict_of(proof, Limit::y_acceleration) == Verdict::exceeds);
        CHECK(proof.of(Limit::y_acceleration)->time == doctest::Approx(corner).epsilon(1e-9));
        CHECK(verdict_of(proof, Limit::y_velocity) == Verdict::within);
        // Told every 10 µs, the mirror must turn by the jump within one tick: sin(angle) of the speed across,
        // over twice the height and the tick. At the corner y = 0, so that tan 2θ = 2θ.
        double const asked = 0.02 * std::sin(angle) / (2 * height) / 1e-5;
        auto const by_ticks = prove(job, seam);
        auto const& found = *by_ticks.of(Limit::y_acceleration);
        CHECK(found.verdict == (asked > 1000 ? Verdict::exceeds : Verdict::within));
        CHECK(found.utilisation.low <= asked / 1000 * (1 + 1e-3));
        CHECK(found.utilisation.high >= asked / 1000 * (1 - 1e-3));
    }
}

TEST_CASE("a curvature that jumps: the acceleration jumps, so no jerk is within without a tick") {
    Arc<> const bend = arc_around({0, 0.01}, 0.01, -std::numbers::pi / 2, 0.5);
    DrawnShape const shape(std::vector<DrawnShape::Piece>{Straight<>{-0.005, 0, 1, 0, 0.005}, bend});
    auto const seam = seam_of(shape, 0.1);
    auto job = job_of(at_rest());
    job.dynamics.mirror_acceleration = 1000;
    job.dynamics.mirror_jerk = 1e7;
    // By differences of exact accelerations: 0.1² / 0.01 m/s² over 2 d, within 20 ns.
    auto const acceleration = [&](double t) {
        auto r = readings_of(job, seam, t, false);
        return of(r, Limit::y_acceleration);
    };
    CHECK(std::abs(acceleration(0.05 + 1e-8) - acceleration(0.05 - 1e-8)) / 2e-8 > 1e7);
    ProofOptions strict;
    strict.tick = 0;
    auto const proof = prove(job, seam, strict);
    CHECK(verdict_of(proof, Limit::y_acceleration) == Verdict::within);
    CHECK(verdict_of(proof, Limit::y_jerk) == Verdict::exceeds);
    // v²/r over twice the height and a tick of 10 µs: 0.1² / 0.01 / (2 · height · 1e-5).
    double const asked = 0.1 * 0.1 / 0.01 / (2 * height) / 1e-5;
    auto const by_ticks = prove(job, seam);
    auto const& found = *by_ticks.of(Limit::y_jerk);
    CHECK(found.verdict == (asked > 1e7 ? Verdict::exceeds : Verdict::within));
    CHECK(found.utilisation.high == doctest::Approx(asked / 1e7).epsilon(0.02));
}

TEST_CASE("a weave across a joint of straight piece and arc: the velocity jumps without any corner") {
    // Left of travel by a, the arc of radius r is passed at (1 - a/r) of the feed: the velocity along jumps
    // by v a / r where the weave is at a.
    Arc<> const bend = arc_around({0, 0.002}, 0.002, -std::numbers::pi / 2, 0.8);
    DrawnShape const shape(std::vector<DrawnShape::Piece>{Straight<>{-0.004, 0, 1, 0, 0.004}, bend});
    double const joint = 0.004 / 0.3;
    Weave const weave{0.25 / joint, 0.0005}; // a quarter period: at its full swing
    ProofSeam<> const seam{"seam", 0, at_speed(on_flat(shape), 0.3, SeamOptions{weave})};
    auto job = job_of(at_rest());
    job.dynamics.mirror_acceleration = 2000;
    double const asked = 0.3 * 0.0005 / 0.002 / (2 * height) / 1e-5;
    auto const proof = prove(job, seam);
    auto const& found = *proof.of(Limit::x_acceleration);
    CHECK(asked > 2000);
    CHECK(found.verdict == Verdict::exceeds);
    CHECK(found.utilisation.high == doctest::Approx(asked / 2000).epsilon(0.02));
    CHECK(found.time == doctest::Approx(joint).epsilon(1e-9));
}

TEST_CASE("a seam that only weaves, or lasts no time") {
    auto job = job_of(at_rest());
    // tan 2θy = A sin(2π f t) / z: the velocity is greatest in the middle, 2π f A / 2z.
    Weave const weave{200, 5e-4};
    job.dynamics.mirror_velocity = 2 * std::numbers::pi * 200 * 5e-4 / (2 * height);
    CHECK(verdict_of(prove(job, held_at(0, 0, 0.0531, weave)), Limit::y_velocity) == Verdict::within);
    job.dynamics.mirror_velocity *= 1 - 1e-6;
    CHECK(verdict_of(prove(job, held_at(0, 0, 0.0531, weave)), Limit::y_velocity) == Verdict::exceeds);
    // Held on a place that the mirrors do not reach, however short.
    job.chain.head.x_range = {-0.01, 0.01};
    for (double const time : {1.0, 1e-3, 1e-9, 2e-12, 1e-12, 1e-13, 1e-300}) {
        CAPTURE(time);
        auto const proof = prove(job, held_at(0.1, 0, time));
        CHECK(verdict_of(proof, Limit::x_angle) == Verdict::exceeds);
        CHECK_FALSE(proof.stretches.empty());
    }
}

TEST_CASE("ten seconds are decided within the budget") {
    auto const shape = straight_between({-0.1, 0.05}, {0.1, 0.03});
    for (double const frequency : {0.0, 50.0}) {
        auto const job_with = [&](double velocity) {
            auto job = job_of(at_rest(-0.1, 10.1, 0.012));
            job.dynamics.mirror_velocity = velocity;
            job.dynamics.mirror_acceleration = 1e4;
            job.largest_incidence = degrees(30);
            return job;
        };
        ProofSeam<> const seam{"seam", 0,
                               at_speed(on_flat(shape), shape.extent / 10, {{frequency, 5e-4}, 0, {}})};
        auto const fine = prove(job_with(20), seam);
        CHECK(fine.verdict() == Verdict::within);
        CHECK(fine.looked_at < ProofOptions{}.budget);
        double const peak = extremes_of(job_with(1), seam, 1e-3, false).size(Limit::y_velocity);
        CHECK(verdict_of(prove(job_with(peak / 1.01), seam), Limit::y_velocity) == Verdict::exceeds);
        MESSAGE(fine.looked_at, " stretches for ten seconds");
    }
}

TEST_CASE("a spent budget leaves undecided, never within") {
    Random random(5);
    ProofOptions options;
    options.budget = 1;
    std::size_t undecided = 0;
    for (int i = 0; i < 30; ++i) {
        auto const draw = random_seam(random, 0.01, false);
        auto const seam = draw.seam(0);
        auto const world = random_world(random, 0, seam.seam.duration());
        ProofJob<LogChain> job{world.chain<LogChain>(roomy_head()), {}};
        auto const dense = extremes_of(job, seam, 2e-6, false);
        set_limits(job, seam, dense, random, [&] { return random.uniform(0.999, 1.02); });
        auto const proof = prove(job, seam, options);
        for (auto const limit : plain_limits) {
            auto const& l = *proof.of(limit);
            double const peak = used(job, seam, limit, dense);
            CAPTURE(i);
            CAPTURE(std::string(to_string(limit)));
            if (peak > 1 + 2e-9)
                CHECK(l.verdict != Verdict::within);
            CHECK(peak <= l.utilisation.high * (1 + 1e-9));
            undecided += l.verdict == Verdict::undecided ? 1 : 0;
        }
    }
    CHECK(undecided > 10);
}

TEST_CASE("a remainder hulled across a knot would be wrong") {
    // The third derivative of a cubic spline jumps at 0.5, inside of a stretch whose middle lies before it.
    std::vector<double> const times{-3, -1.5, -0.5, 0.5, 2, 2.5, 4, 5};
    std::vector<std::array<double, 1>> const rows{{0}, {1}, {0.5}, {0.3}, {-1}, {0.7}, {0}, {1}};
    Recorded<1> const recorded(times, rows);
    auto const pieces = fit_spline<1>(times, rows);
    TimeSpan const span{-0.01, 0.99};
    using T = Taylor<Interval, 6>;
    T const thin = T::variable(Interval(span.middle())), wide = T::variable(Interval(span.from, span.to));
    auto const middle = recorded.at(thin)[0], over = recorded.at(wide)[0];
    CHECK(over.coefficient[6].low == -infinite);
    CHECK(over.coefficient[6].high == infinite);
    // As over, but with a remainder: all coefficients of the pieces hulled.
    T naive;
    auto const before = pieces[2].at(wide)[0], behind = pieces[3].at(wide)[0];
    for (std::size_t k = 0; k <= 6; ++k)
        naive.coefficient[k] = hull(before.coefficient[k], behind.coefficient[k]);
    auto const right = enclosed<0>(middle, over, span), wrong = enclosed<0>(middle, naive, span);
    auto const right_bend = enclosed<2>(middle, over, span), wrong_bend = enclosed<2>(middle, naive, span);
    double missed_bend = 0;
    for (int i = 0; i <= 1000; ++i) {
        double const t = std::min(span.from + (span.to - span.from) * i / 1000, span.to);
        auto const x = recorded.at(Taylor<double, 2>::variable(t))[0];
        CHECK(right.range().contains(x.value()));
        CHECK(right_bend.range().contains(x.derivative(2)));
        missed_bend = std::max(missed_bend, wrong_bend.range().low - x.derivative(2));
        missed_bend = std::max(missed_bend, x.derivative(2) - wrong_bend.range().high);
    }
    double const end = recorded.at(span.to)[0];
    CHECK(right.at_end().contains(end));
    CHECK_FALSE(wrong.at_end().contains(end));
    double const missed = std::max(wrong.at_end().low - end, end - wrong.at_end().high);
    double const jump = std::abs(pieces[3].coefficient[3][0] - pieces[2].coefficient[3][0]);
    double const beyond = span.to - 0.5; // the two cubics part by jump · beyond³
    CHECK(missed == doctest::Approx(jump * beyond * beyond * beyond).epsilon(1e-6));
    CHECK(missed > 0.01);
    CHECK(missed_bend > 0.01);
}

TEST_CASE("stretches that cross the knots of a log, because its stamps may be late, prove nothing wrong") {
    // A jerk that jumps from row to row, and a box of delays as long as a step.
    Random random(11);
    std::vector<PoseRow<Cell>> rows;
    for (int i = -12; i <= 24; ++i)
        rows.push_back(looking_down(i * 1e-3, random.uniform(-1e-6, 1e-6), random.uniform(-1e-6, 1e-6)));
    auto const seam = seam_of(straight_between({0, 0}, {1e-3, 0}), 0.1);
    auto job = job_of(rows);
    ProofOptions options;
    options.change.box.delay = 1e-3;
    options.budget = 2000;
    auto const late_by = [&](double late) {
        auto moved = rows;
        for (auto& row : moved)
            row.time -= late;
        auto r = job;
        r.chain.cell_from_flange = PoseLog<Cell, Flange>(moved);
        return r;
    };
    Extremes all;
    for (int i = -20; i <= 20; ++i) {
        auto const e = extremes_of(late_by(i * 5e-5), seam, 2e-6, false);
        all.take(e.low);
        all.take(e.high);
    }
    std::size_t within = 0;
    for (double const factor : {0.9, 0.999, 1.001, 1.1, 1.5, 3.0}) {
        job.dynamics.mirror_acceleration =
            std::max(all.size(Limit::x_acceleration), all.size(Limit::y_acceleration)) * factor;
        job.dynamics.mirror_jerk = std::max(all.size(Limit::x_jerk), all.size(Limit::y_jerk)) * factor;
        job.dynamics.mirror_velocity =
            std::max(all.size(Limit::x_velocity), all.size(Limit::y_velocity)) * factor;
        auto const proof = prove(job, seam, options);
        for (auto const limit : {Limit::x_velocity, Limit::y_velocity, Limit::x_acceleration,
                                 Limit::y_acceleration, Limit::x_jerk, Limit::y_jerk}) {
            CAPTURE(std::string(to_string(limit)));
            CAPTURE(factor);
            double const peak = used(job, seam, limit, all);
            auto const& l = *proof.of(limit);
            CHECK(peak <= l.utilisation.high * (1 + 1e-9));
            if (peak > 1 + 2e-9)
                CHECK(l.verdict != Verdict::within);
            within += l.verdict == Verdict::within ? 1 : 0;
        }
    }
    CHECK(within >= 6);
}
