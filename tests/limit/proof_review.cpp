#include "seamhold/limit/proof.hpp"

#include "limit/scenarios.hpp"
#include "seamhold/limit/surroundings.hpp"
#include "seamhold/limit/window.hpp"
#include "support/arms.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cfenv>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

// Holes in proofs that a review found on 2026-11-26, each with its cause: something was proven within that is
// not, or an enclosure left out numbers that plain doubles give. Expected values are worked by hand, or are
// doubles through the arm's inverse and the shapes themselves.

namespace {

using namespace seamhold;
using namespace seamhold::test;

double const pi = std::numbers::pi;
double const infinite = std::numeric_limits<double>::infinity();

struct ReviewSeam {
    std::string name;
    double start;
    Seam<FlatPath> seam;
    double end() const { return start + seam.duration(); }
};
struct ReviewJob {
    LogChain chain;
    HeadDynamics dynamics{20, 15000, 4000, 0, 0, 1, 0};
    double largest_incidence = degrees(80);
    std::vector<ReviewSeam> seams = {};
    std::optional<Process> process = {};
    SeamLimits limits = {};
    std::optional<JobArm> arm = {};
};

/// 20 mm along x of the part, through its origin.
ReviewSeam line(std::string const& name, double start, double speed) {
    return {name, start,
            at_speed(FlatPath{DrawnShape(straight_between({-0.01, 0}, {0.01, 0})),
                              Plane<>{Pose<Part, Face>::identity()}},
                     speed)};
}

MirrorPair<> head_of(double range) {
    return {0.04, 0.54, 8, {-range, range}, {-range, range}, {-0.1, 0.1}, 0.5};
}

/// A head at rest, `height` m above the part, that looks straight down: recorded from 0 s to 0.5 s and from
/// 3 s to 3.5 s, with a hole between where steps of time may not be longer than `max_gap` s.
ReviewJob resting_job(double max_gap = infinite, double height = 0.5) {
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i <= 50; ++i)
        rows.push_back({i * 0.01, {0, 0, height}, {0, 1, 0, 0}});
    for (int i = 0; i <= 50; ++i)
        rows.push_back({3 + i * 0.01, {0, 0, height}, {0, 1, 0, 0}});
    return {{PoseLog<Cell, Flange>(rows, max_gap),
             {Pose<Cell, Part>::identity()},
             Pose<Flange, Head>::identity(),
             head_of(0.1)}};
}

// ---- an arm that carries the head -------------------------------------------------------------------------

using Joints = std::array<double, 6>;
Joints const first_joints{0.2, -0.7, 0.4, 0.3, 0.9, -0.5};
Pose<Flange, Head> const mount{about_axis<Flange, Head>({0, 0, 1}, 0.3), {0.02, -0.01, 0.1}};

/// The arm's joints turn evenly, joint 6 by 0.1 rad, the others by 0.01 rad, in 1 s; recorded as poses of the
/// flange every 10 ms. The seam lasts 0.9 s and lies 0.5 m before the head.
ReviewJob arm_job() {
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    auto const pose_at = [&](double t) {
        Joints q = first_joints;
        for (std::size_t i = 0; i < 6; ++i)
            q[i] += (i == 5 ? 0.1 : 0.01) * t;
        auto const p = arm.forward(q);
        return Pose<Cell, Flange>{Pose<Cell, Base>::identity() * p};
    };
    std::vector<PoseRow<Cell>> rows;
    for (int i = -10; i <= 110; ++i) {
        auto const p = pose_at(i * 0.01);
        rows.push_back({i * 0.01, p.origin, quaternion_of(p.rotation)});
    }
    Pose<Head, Part> const work{about_axis<Head, Part>({1, 0, 0}, pi), {0, 0, 0.5}};
    ReviewJob job{{PoseLog<Cell, Flange>(rows), {pose_at(0.45) * mount * work}, mount, head_of(0.3)},
                  {100, 1e6, 1e6, 0, 0, 10, 0}};
    WristInverse const inverse_of_arm(arm);
    JobArm carrier{inverse_of_arm, Pose<Cell, Base>::identity(), inverse_of_arm.branch_of(first_joints),
                   first_joints};
    carrier.limits.fill({{-100, 100}, 100, 1e5});
    carrier.least_wrist_sine = carrier.least_elbow_sine = carrier.least_from_axis_1 = 0;
    job.arm = carrier;
    job.seams.push_back(line("seam", 0, 0.02 / 0.9));
    return job;
}

using D2 = Taylor<double, 2>;
using I6 = Taylor<Interval, 6>;

/// The joints with their rates for a flange that sits at `moved` in the recorded one.
std::array<D2, 6> joints_of(ReviewJob const& job, double t,
                            Pose<Flange, Flange> const& moved = Pose<Flange, Flange>::identity()) {
    auto const flange = job.chain.cell_from_flange.at(D2::variable(t)) * number_cast<D2>(moved);
    auto const& arm = *job.arm;
    return arm.inverse->at(inverse(arm.cell_from_base) * flange, arm.branch, arm.near).joints;
}

Measure joint(std::size_t i) { return static_cast<Measure>(static_cast<std::size_t>(Measure::joint_1) + i); }

Wanted wanted_joints() {
    Wanted wanted;
    for (auto const m : {Measure::x, Measure::y, Measure::focus, Measure::joint_1})
        wanted[m] = true;
    return wanted;
}

/// Everything over a range of the seam's time.
template <class Changed = AsGiven>
Demand<I6> enclosed(ReviewJob const& job, Interval const& time, Changed const& change = {}) {
    return demand_of(job, job.seams.front(), I6::variable(time), wanted_joints(), change);
}

/// How many of the joints, their velocities and accelerations lie outside of the enclosures by more than
/// `slack` for doubles' own rounding: 1e-9 for numbers of up to some 1, through an inverse that is good to
/// 1e-12 and divided by the 10 ms between rows, twice.
std::size_t left_out(Demand<I6> const& all, std::array<D2, 6> const& joints, double slack) {
    std::size_t count = 0;
    for (std::size_t i = 0; i < 6; ++i)
        for (int k = 0; k <= 2; ++k) {
            Interval const x = all[joint(i)].derivative(k);
            double const exact = joints[i].derivative(k);
            count += exact >= x.low - slack && exact <= x.high + slack ? 0 : 1;
        }
    return count;
}

double widest_joint(Demand<I6> const& all) {
    double most = 0;
    for (std::size_t i = 0; i < 6; ++i)
        most = std::max(most, all[joint(i)].derivative(0).radius() * 2);
    return most;
}

/// Lowest and highest value of a joint over the seam.
Range range_of(ReviewJob const& job, std::size_t i) {
    Range r{infinite, -infinite};
    for (int k = 0; k <= 1000; ++k) {
        double const q = joints_of(job, 0.9 * k / 1000)[i].value();
        r = {std::min(r.low, q), std::max(r.high, q)};
    }
    return r;
}

SeamProof proof_of(ReviewJob const& job, ProofOptions const& options = {}) {
    return prove(job, job.seams.front(), options);
}

/// The worst verdict of a limit, of all joints.
Verdict verdict_of(SeamProof const& proof, Limit limit) {
    auto worst = Verdict::within;
    bool asked = false;
    for (auto const& l : proof.limits)
        if (l.limit == limit) {
            worst = worse(worst, l.verdict);
            asked = true;
        }
    CAPTURE(std::string(to_string(limit)));
    CHECK(asked);
    return asked ? worst : Verdict::undecided;
}

/// A mode of rounding, until the end of the block.
class RoundingMode {
public:
    explicit RoundingMode(int mode) : before_(std::fegetround()) { std::fesetround(mode); }
    ~RoundingMode() { std::fesetround(before_); }
    RoundingMode(RoundingMode const&) = delete;
    RoundingMode& operator=(RoundingMode const&) = delete;

private:
    int before_;
};

} // namespace

// Cause: the joints came from the flange as it was given, whatever the box of the path.
TEST_CASE("the box of a path reaches the joints") {
    auto job = arm_job();
    Random random(0xb0c5);
    std::size_t missed = 0;
    for (PoseBox const& box : {PoseBox{0, 0, 1e-3, 0, 0}, PoseBox{0, 0, 0, 2e-3, 0},
                               PoseBox{0, 0, 1e-3, 2e-3, 0}, PoseBox{0, 0, 1e-6, 1e-6, 0}}) {
        double const time = random.uniform(0.1, 0.8);
        auto const all = enclosed(job, Interval(time), Change{box});
        // No joint moves by more than some 30 rad/m or 30 times the turn here.
        CHECK(widest_joint(all) < 30 * (2 * 1.8 * box.path_shift + 2 * box.path_turn) + 1e-9);
        auto const over = enclosed(job, Interval(time - 0.005, time + 0.005), Change{box});
        for (std::size_t i = 0; i < runs(200); ++i) {
            auto const by = random_displaced(random, box).path;
            double const then = time + random.uniform(-0.005, 0.005);
            for (auto const& moved : {by, inverse(by)}) {
                missed += left_out(all, joints_of(job, time, moved), 1e-9);
                missed += left_out(over, joints_of(job, then, moved), 1e-9);
            }
        }
    }
    CHECK(missed == 0);

    auto const r = range_of(job, 1);
    job.arm->limits[1].position = {r.low - 0.01, r.high + 0.01};
    CHECK(proof_of(job).verdict() == Verdict::within);
    // 20 mm, 0.43 m from axis 2 and at most as far again from the wrist: more than 0.01 rad of joint 2.
    ProofOptions boxed;
    boxed.change.box.path_shift = 0.02;
    Joints const displaced = [&] {
        Joints most{};
        for (double const side : {-0.02, 0.02}) {
            auto const q = joints_of(job, 0.45, {Rotation<Flange, Flange>::identity(), {side, side, side}});
            for (std::size_t i = 0; i < 6; ++i)
                most[i] = std::max(most[i], q[i].value());
        }
        return most;
    }();
    CHECK(displaced[1] > r.high + 0.01);
    CHECK(verdict_of(proof_of(job, boxed), Limit::joint_range) != Verdict::within);
}

// Cause: as with the box; a head that is held in another way left the arm where it was.
TEST_CASE("a changed standoff and tilt reach the joints") {
    auto const job = arm_job();
    double const pivot = 0.45;
    struct Held {
        double standoff, tilt_x, tilt_y;
    };
    for (Held const& by :
         {Held{0.05, 0, 0}, Held{0, 0.08, 0}, Held{0, 0, -0.06}, Held{0.03, 0.08, 0}, Held{-0.02, 0, 0.1}}) {
        CAPTURE(by.standoff);
        CAPTURE(by.tilt_x);
        CAPTURE(by.tilt_y);
        Change change;
        change.standoff = by.standoff;
        change.tilt_x = by.tilt_x;
        change.tilt_y = by.tilt_y;
        change.pivot = pivot;
        // Where the head now sits in the head as it was: turned about the pivot, then back along its axis.
        auto const turn = turned_by<Head>({by.tilt_x, by.tilt_y, 0}); // one of both is 0
        Point<Head> const pivot_point{0, 0, pivot};
        Pose<Head, Head> const held{turn, pivot_point + turn * Direction<Head>{0, 0, -pivot - by.standoff}};
        auto const moved = mount * held * inverse(mount);
        auto other = job;
        other.chain.flange_from_head = mount * held;
        for (double const time : {0.1, 0.45, 0.8}) {
            auto const all = enclosed(job, Interval(time), change);
            CHECK(left_out(all, joints_of(job, time, moved), 1e-9) == 0);
            CHECK(widest_joint(all) < 1e-9);
            double const far =
                std::abs(joints_of(job, time, moved)[1].value() - joints_of(job, time)[1].value());
            CHECK(far > 1e-3);
            auto const mounted = enclosed(other, Interval(time));
            for (auto const m : {Measure::x, Measure::y, Measure::focus})
                for (int k = 0; k <= 2; ++k) {
                    Interval const off = all[m].derivative(k) - mounted[m].derivative(k);
                    CHECK(off.contains(0.0));
                    CHECK(off.radius() < 1e-6);
                }
        }
    }
}

// Cause: an enclosure took the one turn that its middle has; the doubles jump by a whole turn inside of it.
TEST_CASE("a joint passes half a turn from what it is taken near") {
    auto const given = arm_job();
    for (std::size_t const i : {std::size_t{5}, std::size_t{3}}) {
        CAPTURE(i);
        auto job = given;
        double const first = joints_of(job, 0)[i].value();
        double const wrap = 0.9 - 1e-4, last = joints_of(job, wrap)[i].value();
        job.arm->limits[i].position = {first - 1, last + 0.5};
        CHECK(proof_of(job).verdict() == Verdict::within);
        job.arm->near[i] = last - pi;
        CHECK(joints_of(job, wrap - 5e-5)[i].value() > last - 0.01);
        CHECK(joints_of(job, wrap + 5e-5)[i].value() < first - 1);
        auto const proof = proof_of(job);
        CHECK(verdict_of(proof, Limit::joint_range) != Verdict::within);
        Random random(0x3a9);
        std::size_t missed = 0;
        for (std::size_t run = 0; run < runs(300); ++run) {
            double const width = log_uniform(random, 1e-9, 0.02);
            double const from = wrap - width * random.unit(), to = from + width;
            auto const all = enclosed(job, Interval(from, to));
            for (double const t : {from, to, std::clamp(wrap, from, to), from + width * random.unit()})
                missed += left_out(all, joints_of(job, t), 1e-9);
        }
        CHECK(missed == 0);
    }
}

// Cause: out of reach an inverse answers with a stretched arm; only the limits of singularities told.
TEST_CASE("an arm that cannot reach, with no distance from singularities asked") {
    auto job = arm_job();
    for (auto& limit : job.arm->limits)
        limit = {{-infinite, infinite}, infinite, infinite};
    CHECK(proof_of(job).verdict() == Verdict::within);
    for (double const away : {-5.0, 0.9, 5.0}) {
        job.arm->cell_from_base.origin = {0, 0, away};
        auto const solution = job.arm->inverse->at(
            inverse(job.arm->cell_from_base) * job.chain.cell_from_flange.at(0.45), job.arm->branch);
        CHECK(!job.arm->inverse->reaches(solution.clearance));
        CHECK(proof_of(job).verdict() != Verdict::within);
    }
}

// Cause: the joints were worked out only where joint 1 was asked for; the others then read 0.
TEST_CASE("one joint alone, and singularities alone, are asked for") {
    auto const given = arm_job();
    auto bare = given;
    for (auto& limit : bare.arm->limits)
        limit = {{-infinite, infinite}, infinite, infinite};
    auto const r = range_of(given, 4);
    CHECK(r.low > 0.5); // so that 0 is no joint of this job
    for (double const room : {-1e-3, 1e-3}) {
        auto job = bare;
        job.arm->limits[4].position = {-1, r.high + room};
        CHECK(verdict_of(proof_of(job), Limit::joint_range) ==
              (room < 0 ? Verdict::exceeds : Verdict::within));
    }
    auto const sine = [&](double t) { // of joint 5: the wrist's clearance of this arm
        return std::abs(std::sin(joints_of(given, t)[4].value()));
    };
    double const least = std::min(sine(0), sine(0.9));
    for (double const share : {0.99, 1.01}) {
        auto job = bare;
        job.arm->least_wrist_sine = share * least;
        CHECK(verdict_of(proof_of(job), Limit::wrist_singularity) ==
              (share < 1 ? Verdict::within : Verdict::exceeds));
    }
}

// Cause: a proof of sight took whatever a motion says outside of its data, and a beam through a spot behind
// the head.
TEST_CASE("sight where nobody knows where the head is, and behind it") {
    Surroundings const around{{0.01, 0.001, 0.001},
                              {Obstacle<Part>("clamp", {ball_at<Part>({0.1, 0, 0.05}, 0.01)})},
                              {},
                              GuardedDirections({{"floor", {0, 0, -1}, degrees(40)}})};
    std::vector<ReviewSeam> const seams{line("a", 0.1, 0.1), line("b", 1.5, 0.1), line("c", 3.1, 0.1)};
    auto job = resting_job();
    job.seams = seams;
    for (auto const& sight : prove_sight(job, around)) // rows 2.5 s apart are no hole here
        CHECK(sight.verdict() == Verdict::within);

    job = resting_job(0.1);
    job.seams = seams;
    auto const holed = prove_sight(job, around);
    REQUIRE(holed.size() == 3);
    CHECK(holed[0].verdict() == Verdict::within);
    CHECK(holed[1].past_part.verdict != Verdict::within);
    CHECK(holed[1].while_welding->verdict != Verdict::within);
    CHECK(holed[1].before->verdict != Verdict::within);
    CHECK(holed[2].past_part.verdict == Verdict::within);
    CHECK(holed[2].while_welding->verdict == Verdict::within);
    CHECK(holed[2].before->verdict != Verdict::within);

    job.seams = {seams[0], seams[2]}; // the hole lies between two seams
    auto const between = prove_sight(job, around);
    REQUIRE(between.size() == 2);
    CHECK(between[0].verdict() == Verdict::within);
    CHECK(between[1].past_part.verdict == Verdict::within);
    CHECK(between[1].before->verdict != Verdict::within);

    // From before the first row on, and beyond the last.
    for (double const start : {-0.1, 3.4}) {
        job = resting_job();
        job.seams = {line("a", start, 0.1)};
        auto const outside = prove_sight(job, around);
        CHECK(outside[0].past_part.verdict != Verdict::within);
        CHECK(outside[0].while_welding->verdict != Verdict::within);
    }

    job = resting_job(infinite, -0.5);
    job.seams = {seams[0]};
    auto const behind = prove_sight(job, around);
    CHECK(behind[0].past_part.verdict != Verdict::within);
    CHECK(behind[0].while_welding->verdict != Verdict::within);
}

// Cause: a range was asked only where its upper end is finite, and one that is open below was no number.
TEST_CASE("ranges that are open to one side") {
    auto job = resting_job();
    job.seams = {line("seam", 0.1, 0.2)};
    // 4 kW at 0.2 m/s are 20 kJ/m.
    auto const process = [](double least) {
        return Process{DeliveredBeam<>{BeamQuality<>::from_m2(1.07e-6, 6), 0.01, 0.1},
                       4000,
                       1e-2,
                       200,
                       0,
                       {least, no_limit}};
    };
    job.process = process(1e6);
    auto const energy = proof_of(job);
    CHECK(verdict_of(energy, Limit::line_energy) == Verdict::exceeds);
    CHECK(energy.verdict() == Verdict::exceeds);
    if (auto const* const found = energy.of(Limit::line_energy))
        CHECK(found->utilisation.contains(50.0));
    job.process = process(1.99e4);
    CHECK(verdict_of(proof_of(job), Limit::line_energy) == Verdict::within);
    job.process = process(0);
    CHECK(proof_of(job).of(Limit::line_energy) == nullptr);
    job.process.reset();

    // The beam is seen from the origin, 0.5 m above a spot up to 10 mm to each side.
    job.chain.head = MirrorPair<>{0, 0.5, 8, {-0.1, 0.1}, {-0.1, 0.1}, {-0.1, 0.1}, 0.5};
    double const steepest = std::atan2(0.01, 0.5);
    for (double const share : {0.999, 1.001}) {
        auto const expected = share < 1 ? Verdict::exceeds : Verdict::within;
        job.limits.along = {-share * steepest, infinite};
        CHECK(verdict_of(proof_of(job), Limit::incidence_along) == expected);
        job.limits.along = {-infinite, share * steepest};
        CHECK(verdict_of(proof_of(job), Limit::incidence_along) == expected);
    }

    auto const carried = arm_job();
    for (std::size_t const i : {std::size_t{1}, std::size_t{5}})
        for (double const room : {-1e-4, 1e-4}) {
            CAPTURE(i);
            CAPTURE(room);
            auto const r = range_of(carried, i);
            auto const expected = room < 0 ? Verdict::exceeds : Verdict::within;
            auto other = carried;
            for (auto& limit : other.arm->limits)
                limit.position = {-infinite, infinite};
            other.arm->limits[i].position = {r.low - room, infinite};
            CHECK(verdict_of(proof_of(other), Limit::joint_range) == expected);
            other.arm->limits[i].position = {-infinite, r.high + room};
            CHECK(verdict_of(proof_of(other), Limit::joint_range) == expected);
        }
}

// Cause: an interval all beyond a curve's end was taken for the straight line that follows, which doubles
// take only from 1 nm beyond it.
TEST_CASE("an interval of arc lengths just beyond a curve's end") {
    auto const shape = wave(0.004, 0.001, 0.0079, 1e-5);
    double const length = shape.length();
    Random random(0xe4d);
    std::size_t missed = 0;
    double widest = 0;
    for (std::size_t i = 0; i < runs(400); ++i) {
        double const low = length + random.uniform(0, 1e-9);
        double const high = low + log_uniform(random, 1e-13, 1e-8);
        auto const all = shape.at(I6::variable(Interval(low, high)));
        for (double const s : {low, high, random.uniform(low, high), std::min(high, length + 0.999e-9)}) {
            auto const one = shape.at(D2::variable(s));
            for (int k = 0; k <= 2; ++k) {
                auto const out = [&](I6 const& a, D2 const& x) {
                    // Doubles' own rounding, of numbers of up to some 1000 (1/m).
                    double const slack = 1e-12 * (1 + std::abs(x.derivative(k)));
                    Interval const r = a.derivative(k);
                    return x.derivative(k) >= r.low - slack && x.derivative(k) <= r.high + slack ? 0u : 1u;
                };
                missed += out(all.x, one.x) + out(all.y, one.y);
            }
        }
        widest = std::max(widest, all.y.derivative(0).radius() * 2);
    }
    CHECK(missed == 0);
    CHECK(widest < 1e-7); // some 10 nm of arc length
    auto const just = shape.at(D2::variable(length + 5e-10)), beyond = shape.at(D2::variable(length + 2e-9));
    CHECK(just.y.derivative(2) != 0);
    CHECK(beyond.y.derivative(2) == 0);
}

// Cause: intervals round outwards from what the processor rounds to nearest; only `prove` asked whether it
// does.
TEST_CASE("nothing is proven while the processor does not round to nearest") {
    auto job = resting_job();
    job.seams = {line("seam", 0.1, 0.2)};
    std::vector<Obstacle<Cell>> const clamps{Obstacle<Cell>("clamp", {ball_at<Cell>({0.1, 0, 0.05}, 0.01)})};
    BeamCone const cone{0.01, 0.001, 0.001};
    BeamEnds<Cell> const ends{{0, 0, 0.5}, {0, 0, 0}};
    GuardedDirections const guards({{"floor", {0, 0, -1}, degrees(40)}});
    Surroundings const around{cone, {}, clamps, guards};
    auto const all = [&] {
        return std::vector<std::string>{
            refusal_of([&] { return proof_of(job); }), refusal_of([&] {
                return windows(job, job.seams.front(), Vary::start, {-0.01, 0.01});
            }),
            refusal_of([&] {
                return line_of_sight<Cell>(
                    clamps, cone, 0, 1, [&](double) { return ends; },
                    [&](Interval const&) { return number_cast<Interval>(ends); });
            }),
            refusal_of([&] { return prove_sight(job, around); })};
    };
    for (auto const& refusal : all())
        CHECK(refusal == "");
    for (int const mode : {FE_UPWARD, FE_DOWNWARD, FE_TOWARDZERO}) {
        CAPTURE(mode);
        auto const refusals = [&] {
            RoundingMode const changed(mode);
            return all();
        }();
        for (auto const& refusal : refusals)
            CHECK(has(refusal, "round to nearest"));
    }
    CHECK(std::fegetround() == FE_TONEAREST);
}
