#include "seamhold/limit/check.hpp"

#include "seamhold/motion/joint_move.hpp"
#include "seamhold/motion/pose_log.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/motion/turntable.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/curves.hpp"
#include "seamhold/seam/lay.hpp"
#include "seamhold/seam/travel_by.hpp"
#include "seamhold/surface/cylinder.hpp"
#include "support/arms.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

// What a seam demands at an instant, against plane geometry; and the same kernel over intervals against
// itself over doubles.

namespace {

using namespace seamhold;
using namespace seamhold::test;

double const pi = std::numbers::pi;
double const separation = 0.04, height = 0.5, ratio = 8;

/// A job whose types are known, so that it compiles fast.
template <class Motions> struct PlainJob {
    Motions chain;
    HeadDynamics dynamics;
    double largest_incidence;
    std::optional<Process> process = {};
    SeamLimits limits = {};
    std::optional<JobArm> arm = {};
};

HeadDynamics const dynamics_of_the_head{20, 15000, 4000, 0, 0, 0.1, 0, 3e7, 50};
MirrorPair<> const head_of_all{separation,    separation + height, ratio, {-0.17, 0.15},
                               {-0.17, 0.17}, {-0.01, 0.02},       0.17};
DeliveredBeam<> const delivered{BeamQuality<>::from_m2(1.07e-6, 6), 0.01, 0.1};
double const beam_product = 6 * 1.07e-6 / pi; // M² λ/π

/// Looks down from above the cell's origin: x as the cell's, y and z against it.
Pose<Cell, Flange> above(double z) { return {about_axis<Cell, Flange>({1, 0, 0}, pi), {0, 0, z}}; }

using StillChain = Chain<Rest<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>>;
using FlatSeam = OnFace<DrawnShape, Plane<>>;

template <class Path> struct Scheduled {
    std::string name;
    double start;
    Seam<Path> seam;
};

PlainJob<StillChain> job_under_a_still_head() {
    return {{{above(height)}, {Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), head_of_all},
            dynamics_of_the_head,
            degrees(30)};
}

FlatSeam flat(DrawnShape const& shape) { return {shape, Plane<>{Pose<Part, Face>::identity()}}; }

/// At 0.25 m/s from x = −0.1 to 0.1 at y = −0.03.
Scheduled<FlatSeam> straight_seam(SeamOptions const& options = {}) {
    return {"straight", 2, at_speed(flat(straight_between({-0.1, -0.03}, {0.1, -0.03})), 0.25, options)};
}

Wanted all_measures() {
    Wanted wanted;
    wanted.choice.fill(true);
    return wanted;
}

using D3 = Taylor<double, 3>;

/// All measures of a seam, with their first three derivatives.
template <class J, class S> Demand<D3> measured(J const& job, S const& seam, double time) {
    return demand_of(job, seam, D3::variable(time), all_measures());
}

/// The check of a limit; a failed test where it is not asked, or more than once.
Check check_of(std::vector<Check> const& checks, Limit limit) {
    std::vector<Check> found;
    for (auto const& c : checks)
        if (c.limit == limit)
            found.push_back(c);
    REQUIRE(found.size() == 1);
    return found.front();
}

bool asks(std::vector<Check> const& checks, Limit limit) {
    return std::any_of(checks.begin(), checks.end(), [&](Check const& c) { return c.limit == limit; });
}

/// What a limit reads at an instant, and how much of it that uses.
struct Used {
    double value, share;
};
template <class J, class S> Used used(J const& job, S const& seam, Limit limit, double time) {
    auto const check = check_of(checks_of(job, seam), limit);
    double const value = check.read(measured(job, seam, time)[check.measure].derivative(check.derivative));
    return {value, check.utilisation(value)};
}

void check_near(double number, double expected, double share = 1e-12) {
    CHECK(number == doctest::Approx(expected).epsilon(share));
}

/// The same motion, of which only the flange is known.
struct ByArm {
    JointMove<6> move;
    template <class T> auto at(T const& t) const { return move.at(t); }
    std::vector<double> breaks() const { return move.breaks(); }
};

} // namespace

TEST_CASE("angles, their rates and jerk under a still head") {
    auto const job = job_under_a_still_head();
    auto const seam = straight_seam();
    double const v = 0.25, t = 0.15, x = -0.1 + v * t, y = 0.03; // in the head frame y is reversed
    // The beam leaves the first mirror u before the plane of the seam, seen along y.
    double const u = separation + std::hypot(height, y), square = u * u + x * x;
    check_near(used(job, seam, Limit::x_angle, t).value, 0.5 * std::atan(x / u));
    check_near(used(job, seam, Limit::y_angle, t).value, 0.5 * std::atan(y / height));
    // Of a range the share is counted from its middle: −0.17 to 0.15 here.
    check_near(used(job, seam, Limit::x_angle, t).share, std::abs(0.5 * std::atan(x / u) + 0.01) / 0.16);
    check_near(used(job, seam, Limit::y_angle, t).share, 0.5 * std::atan(y / height) / 0.17);
    // θ = atan(x / u) / 2 with x growing evenly.
    double const rate = 0.5 * u * v / square, second = -u * v * v * x / (square * square);
    double const third = u * v * v * v * (3 * x * x - u * u) / (square * square * square);
    check_near(used(job, seam, Limit::x_velocity, t).value, rate);
    check_near(used(job, seam, Limit::x_velocity, t).share, rate / 20);
    check_near(used(job, seam, Limit::x_acceleration, t).value, second, 1e-11);
    check_near(used(job, seam, Limit::x_acceleration, t).share, second / 15000, 1e-11); // x < 0
    check_near(used(job, seam, Limit::x_jerk, t).value, third, 1e-10);
    check_near(used(job, seam, Limit::x_jerk, t).share, std::abs(third) / 3e7, 1e-10);
    CHECK(used(job, seam, Limit::y_velocity, t).value == 0);

    // The lens follows the optical path √(x² + u²).
    double const path = std::sqrt(square);
    check_near(used(job, seam, Limit::focus_range, t).value, (path - separation - height) / ratio, 1e-10);
    check_near(used(job, seam, Limit::focus_range, t).share,
               std::abs((path - separation - height) / ratio - 0.005) / 0.015);
    check_near(used(job, seam, Limit::focus_velocity, t).value, x * v / path / ratio);
    check_near(used(job, seam, Limit::focus_velocity, t).share, -x * v / path / ratio / 0.1);
    check_near(used(job, seam, Limit::focus_acceleration, t).value, v * v * u * u / (path * square) / ratio,
               1e-11);
    check_near(used(job, seam, Limit::focus_acceleration, t).share,
               v * v * u * u / (path * square) / ratio / 50, 1e-11);
    // The field is crossed in the seam's plane: at the spot.
    check_near(used(job, seam, Limit::field, t).value, std::hypot(x, y) / 0.17);
}

TEST_CASE("jerk on a circle under a still head, where it crosses the middle") {
    auto const job = job_under_a_still_head();
    double const r = 0.05, v = 0.2, w = v / r;
    // Starts at (r, 0) and turns left: y = r sin wt in the cell, −r sin wt in the head.
    Scheduled<FlatSeam> const seam{"circle", 0, at_speed(flat(circle_around({0, 0}, 2 * r)), v)};
    // θ = atan(y/h)/2 at y = 0: θ''' = (y'''/h − 2 y'³/h³)/2.
    double const slope = -r * w / height, third = r * w * w * w / height;
    check_near(used(job, seam, Limit::y_jerk, 0).value, (third - 2 * slope * slope * slope) / 2, 1e-10);
    check_near(used(job, seam, Limit::y_velocity, 0).value, slope / 2, 1e-11);
    double const quarter = pi / 2 / w; // where x crosses the middle, u is longest
    double const u = separation + std::hypot(height, r);
    check_near(used(job, seam, Limit::x_velocity, quarter).value, -v / u / 2, 1e-9);
}

TEST_CASE("incidence: ahead of the spot, and from the left of travel, are positive") {
    auto job = job_under_a_still_head();
    auto const seam = straight_seam();
    for (double const t : {0.1, 0.55}) {
        double const x = -0.1 + 0.25 * t, y = 0.03;
        // The last mirror stands at the head's origin; seen in x the beam comes from there too, shifted.
        double const from = separation * x / (separation + std::hypot(height, y));
        double const leaning = std::hypot(from - x, y);
        check_near(used(job, seam, Limit::incidence, t).value, std::atan(leaning / height));
        check_near(used(job, seam, Limit::incidence, t).share, std::atan(leaning / height) / degrees(30));
        job.limits.along = {-0.3, 0.2};
        job.limits.across = {-0.1, 0.5};
        // The head is ahead of a spot at x < 0 that runs towards +x, and left of one at y < 0.
        double const along = std::atan((from - x) / height), across = std::atan(0.03 / height);
        CHECK((along > 0) == (t < 0.4));
        check_near(used(job, seam, Limit::incidence_along, t).value, along, 1e-11);
        check_near(used(job, seam, Limit::incidence_along, t).share, std::abs(along + 0.05) / 0.25, 1e-11);
        check_near(used(job, seam, Limit::incidence_across, t).value, across);
        check_near(used(job, seam, Limit::incidence_across, t).share, std::abs(across - 0.2) / 0.3, 1e-11);
    }
    // The other way along the same line both change their sign.
    Scheduled<FlatSeam> const back{"back", 2,
                                   at_speed(flat(straight_between({0.1, -0.03}, {-0.1, -0.03})), 0.25)};
    CHECK(used(job, back, Limit::incidence_along, 0.55).value < 0); // at x = −0.0375: the head is behind
    check_near(used(job, back, Limit::incidence_across, 0.55).value, -std::atan(0.03 / height));

    // With a least incidence, both ends of the range are held.
    job.limits.least_incidence = degrees(5);
    double const leaning =
        std::hypot(0.03, 0.0625 * (1 - separation / (separation + std::hypot(height, 0.03))));
    check_near(used(job, seam, Limit::incidence, 0.15).share,
               std::abs(std::atan(leaning / height) - degrees(17.5)) / degrees(12.5), 1e-11);
    // A face that tilts about the seam adds its angle to that across.
    Plane<> const tilted{{about_axis<Part, Face>({1, 0, 0}, degrees(7)), {0, -0.03, 0}}};
    Scheduled<FlatSeam> const on_tilted{
        "tilted", 2, at_speed(FlatSeam{straight_between({-0.1, 0}, {0.1, 0}), tilted}, 0.25)};
    check_near(used(job, on_tilted, Limit::incidence_across, 0.4).value,
               std::atan(0.03 / height) + degrees(7), 1e-11);
}

TEST_CASE("spot speed with a weave; what only turns") {
    auto job = job_under_a_still_head();
    job.limits.spot_speed = 2;
    double const f = 300, a = 4e-4, v = 0.25, t = 0.0107;
    auto const woven = straight_seam({{f, a}, 0, {}});
    double const across = a * 2 * pi * f * std::cos(2 * pi * f * t);
    check_near(used(job, woven, Limit::spot_speed, t).value, std::hypot(v, across));
    check_near(used(job, woven, Limit::spot_speed, t).share, std::hypot(v, across) / 2);
    job.limits.turning_share = 3;
    CHECK(used(job, woven, Limit::head_turning, t).value == 0); // at rest nothing turns

    // A flange that turns at w about an axis through its own origin, the head 0.1 m below it.
    double const w = 0.7;
    Direction<Cell> const axis{0.6, 0, 0.8};
    using TurningChain = Chain<Turntable<Cell, Flange>, Turntable<Cell, Part>, MirrorPair<>>;
    Point<Cell> const pivot{0, 0, 0.6};
    TurningChain const turning{{above(0.6), pivot, axis, w, 2.0107},
                               {Pose<Cell, Part>::identity(), pivot, axis, 0, 2},
                               {Rotation<Flange, Head>::identity(), {0, 0, 0.1}},
                               head_of_all};
    PlainJob<TurningChain> turns{turning, dynamics_of_the_head, degrees(30), {}, job.limits};
    auto const place = woven.seam.at(t).position;
    Direction<Cell> const lever{place.x, place.y, place.z - 0.5}; // from the head, as it stands at t
    double const swept = w * norm(cross(axis, lever));
    check_near(used(turns, woven, Limit::head_turning, t).value, swept, 1e-11);
    check_near(used(turns, woven, Limit::head_turning, t).share, swept / (3 * v), 1e-11);
    // Against a part that turns along with it nothing turns; against one that turns back, twice.
    turns.chain.cell_from_part.velocity = w;
    CHECK(used(turns, woven, Limit::head_turning, t).value < 1e-12);
    turns.chain.cell_from_part = {Pose<Cell, Part>::identity(), pivot, axis, -w, 2.0107};
    check_near(used(turns, woven, Limit::head_turning, t).value, 2 * swept, 1e-11);
}

TEST_CASE("the spot's light: size, defocus, density, energy") {
    auto job = job_under_a_still_head();
    job.process = Process{delivered, 4000, 1e-3, 20, 1e8, {1e3, 4e4}};
    double const t = 0.15, x = -0.0625, y = 0.03;
    double const u = separation + std::hypot(height, y), path = std::hypot(x, u);
    double const from = separation * x / u, cosine = height / std::hypot(height, std::hypot(from - x, y));
    for (double const offset : {0.0, -2e-3}) {
        auto const seam = straight_seam({{}, offset, {}});
        // A focus b behind an optic where the beam has a radius of 10 mm.
        double const b = path + offset + 0.1, waist = beam_product * b / 0.01, rayleigh = waist * b / 0.01;
        double const wide = waist * std::hypot(1, offset / rayleigh);
        check_near(used(job, seam, Limit::spot_size, t).value, 2 * wide / cosine);
        check_near(used(job, seam, Limit::spot_size, t).share, 2 * wide / cosine / 1e-3);
        CHECK(used(job, seam, Limit::defocus, t).value == doctest::Approx(-offset / rayleigh).epsilon(1e-10));
        check_near(used(job, seam, Limit::defocus, t).share, std::abs(offset / rayleigh) / 20, 1e-10);
        double const density = 4000 / (pi * wide * wide / cosine);
        check_near(used(job, seam, Limit::power_density, t).value, density, 1e-11);
        check_near(used(job, seam, Limit::power_density, t).share, 1e8 / density, 1e-11);
        check_near(used(job, seam, Limit::line_energy, t).value, 4000 / 0.25);
        check_near(used(job, seam, Limit::line_energy, t).share, std::abs(16000 - 20500) / 19500.0);
    }
    // Power by the feed, with ramps: what is held is the power without them, where they leave all of it.
    PowerLaw const by_feed({{0.1, 1000}, {0.3, 3000}}, 500, {0.02, 0.03, 0.1, 0.2});
    auto const seam = straight_seam({{}, 0, by_feed});
    check_near(used(job, seam, Limit::line_energy, t).value, 2500 / 0.25);
    double const waist = beam_product * (path + 0.1) / 0.01;
    check_near(used(job, seam, Limit::power_density, t).value, 2500 / (pi * waist * waist / cosine), 1e-11);
    auto const checks = checks_of(job, seam);
    for (auto const& c : checks)
        CHECK(c.welds == (c.limit == Limit::line_energy || c.limit == Limit::power_density));

    // By a law: from 0.05 m/s at 2 m/s², so that at t the feed is 0.05 + 2 t and at 0.05 s 0.15 m/s.
    SpeedLaw law{0.25, 0.05, 0.05};
    law.acceleration = 2;
    Scheduled<FlatSeam> const rising{
        "rising", 2, by_law(flat(straight_between({-0.1, -0.03}, {0.1, -0.03})), law, {{}, 0, by_feed})};
    check_near(used(job, rising, Limit::line_energy, 0.05).value, 1500 / 0.15, 1e-9);
    check_near(used(job, rising, Limit::line_energy, 0.01).value, 1000 / 0.07, 1e-9); // below the table
    job.limits.spot_speed = 1;
    check_near(used(job, rising, Limit::spot_speed, 0.05).value, 0.15, 1e-9);
}

TEST_CASE("questions: what has no limit is not asked") {
    using L = Limit;
    auto job = job_under_a_still_head();
    auto const seam = straight_seam();
    auto checks = checks_of(job, seam);
    for (auto const limit : {L::x_angle, L::y_angle, L::field, L::x_velocity, L::y_velocity,
                             L::x_acceleration, L::y_acceleration, L::x_jerk, L::y_jerk, L::mirror_aperture,
                             L::focus_range, L::focus_velocity, L::focus_acceleration, L::incidence}) {
        CAPTURE(std::string(to_string(limit)));
        CHECK(asks(checks, limit));
    }
    CHECK(checks.size() == 14);
    job.dynamics.mirror_jerk = no_limit;
    job.dynamics.focus_acceleration = no_limit;
    job.process = Process{delivered, 4000, no_limit, no_limit, 0, {0, no_limit}};
    checks = checks_of(job, seam);
    CHECK(checks.size() == 11);
    for (auto const limit : {L::x_jerk, L::y_jerk, L::focus_acceleration, L::spot_size, L::defocus,
                             L::power_density, L::line_energy, L::spot_speed, L::head_turning}) {
        CAPTURE(std::string(to_string(limit)));
        CHECK(!asks(checks, limit));
    }
    // What is not asked is not worked out.
    auto const wanted = wanted_by(checks);
    CHECK(wanted[Measure::incidence]);
    CHECK(!wanted[Measure::spot]);
    CHECK(wanted.any(Measure::spot, Measure::x));
    auto const d = demand_of(job, seam, D3::variable(0.1), wanted);
    CHECK(d[Measure::area].value() == 0);
    CHECK(d[Measure::incidence].value() > 0);
    // A range that is open on one side only still is a range.
    job.limits.along.high = 0.2;
    CHECK(asks(checks_of(job, seam), L::incidence_along));
    CHECK(!asks(checks_of(job, seam), L::incidence_across));
    // A point that is held has no line energy and no share of its speed.
    job.process->line_energy = {1e3, 1e5};
    job.limits.turning_share = 2;
    Scheduled<OnFace<Still<>, Plane<>>> const point{
        "point", 0, held(FacePoint{0.01, 0.02}, Plane<>{Pose<Part, Face>::identity()}, 0.1)};
    auto const of_point = checks_of(job, point);
    CHECK(!asks(of_point, L::line_energy));
    CHECK(!asks(of_point, L::head_turning));
    CHECK(asks(checks_of(job, seam), L::line_energy));
    // A range without an upper end is a least.
    job.process->line_energy = {4e3, no_limit};
    check_near(used(job, seam, L::line_energy, 0.1).share, 4e3 / 16e3);
    CHECK(asks(checks_of(job, seam), L::head_turning));
}

TEST_CASE("readings and bounds, by hand") {
    Check check{Limit::x_velocity, Measure::x, 1, Reading::itself, Bound::magnitude, {0, 4}};
    CHECK(check.read(-3.0) == -3);
    CHECK(check.utilisation(-3.0) == 0.75);
    CHECK(check.allowed_for(-3) == 4);
    check.reading = Reading::root;
    CHECK(check.read(9.0) == 3);
    check.reading = Reading::angle;
    CHECK(check.read(1.0) == doctest::Approx(pi / 4));
    check.reading = Reading::reciprocal;
    CHECK(check.read(4.0) == 0.25);
    check.reading = Reading::share_used;
    CHECK(check.read(0.25) == 0.75);
    check.reading = Reading::doubled;
    CHECK(check.read(4.0) == 8);
    check.bound = Bound::range;
    check.allowed = {2, 6};
    CHECK(check.utilisation(4.0) == 0);
    CHECK(check.utilisation(6.0) == 1);
    CHECK(check.utilisation(2.0) == 1);
    CHECK(check.utilisation(1.0) == 1.5);
    CHECK(check.allowed_for(5) == 6);
    CHECK(check.allowed_for(3) == 2);
    check.bound = Bound::least;
    check.allowed = {2, no_limit};
    CHECK(check.utilisation(4.0) == 0.5);
    CHECK(check.utilisation(1.0) == 2);
    CHECK(check.utilisation(0.0) > 1e100);
    CHECK(check.utilisation(-1.0) > 1e100);
    CHECK(check.allowed_for(5) == 2);
    auto const all = check.utilisation(Interval(1, 4));
    CHECK(all.low <= 0.5);
    CHECK(all.high >= 2);
    CHECK(all.high - all.low < 1.5 + 1e-12);
    check.bound = Bound::left;
    check.allowed = {0, 4};
    CHECK(check.utilisation(4.0) == 0);
    CHECK(check.utilisation(1.0) == 0.75);
    CHECK(check.utilisation(-1.0) == 1.25);
    CHECK(check.allowed_for(1) == 0);
    CHECK(check.joint() == 0);
    check.measure = Measure::joint_1;
    CHECK(check.joint() == 1);
    check.measure = Measure::joint_6;
    CHECK(check.joint() == 6);
    check.measure = Measure::shoulder;
    CHECK(check.joint() == 0);
    check.measure = Measure::turning;
    CHECK(check.joint() == 0);
}

// ---- the arm ---------------------------------------------------------------------------------------------

namespace {

std::array<double, 6> const first{0.2, -0.7, 0.4, 0.3, 0.9, -0.5}, last{0.6, -0.4, 0.1, 0.9, 0.5, 0.6};
Pose<Cell, Base> const foot{about_axis<Cell, Base>({0, 0, 1}, 0.4), {0.1, -0.2, 0.3}};

JointMove<6> move_of_joints() {
    std::array<RateLimits, 6> limits{};
    limits.fill({1, 20, 1000});
    limits[3] = {0.5, 4, 200}; // joint 4 leads: it goes 0.6 rad
    return {foot, SerialArm<6>::standard_dh(puma_560()), first, last, limits, 1};
}

JobArm arm_of(bool inverse) {
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    JobArm job{{}, foot};
    WristInverse const solver(arm);
    if (inverse)
        job.inverse = solver;
    job.branch = solver.branch_of(first);
    job.near = first;
    job.limits.fill({{-1, 1.5}, 2, 30});
    return job;
}

template <class Motion> auto job_on_an_arm(Motion const& motion, bool inverse) {
    using C = Chain<Motion, Rest<Cell, Part>, MirrorPair<>>;
    return PlainJob<C>{{motion, {Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), head_of_all},
                       dynamics_of_the_head,
                       degrees(30),
                       {},
                       {},
                       arm_of(inverse)};
}

} // namespace

TEST_CASE("joints as they are moved, and as the arm's inverse finds them") {
    auto const move = move_of_joints();
    auto const recorded = job_on_an_arm(move, false);
    auto const by_arm = job_on_an_arm(ByArm{move}, true);
    auto const seam =
        Scheduled<FlatSeam>{"anywhere", 1, at_speed(flat(straight_between({0, 0}, {0.3, 0})), 0.15)};
    // Joint 4 speeds up for 0.02 s at 200 rad/s³, then at 4 rad/s², and runs at 0.5 rad/s in the middle.
    auto const middle = measured(recorded, seam, (move.end_time() - 1) / 2);
    auto const at = [](Demand<D3> const& d, std::size_t i) {
        return d.measures[static_cast<std::size_t>(Measure::joint_1) + i];
    };
    check_near(at(middle, 3).value(), 0.6, 1e-9);
    check_near(at(middle, 3).derivative(1), 0.5, 1e-9);
    check_near(at(middle, 5).derivative(1), 0.5 * 1.1 / 0.6, 1e-9);
    check_near(at(middle, 0).derivative(1), 0.5 * 0.4 / 0.6, 1e-9);
    auto const rising = measured(recorded, seam, 0.05);
    check_near(at(rising, 3).derivative(2), 4, 1e-9);
    check_near(at(rising, 2).derivative(2), -2, 1e-9);
    CHECK(rising[Measure::wrist].value() == 0); // not looked at

    for (double const t : {0.01, 0.05, 0.3, 0.62, 1.0}) {
        auto const a = measured(recorded, seam, t), b = measured(by_arm, seam, t);
        for (std::size_t i = 0; i < 6; ++i)
            for (int k = 0; k < 3; ++k) {
                CAPTURE(t);
                CAPTURE(i);
                CAPTURE(k);
                // The inverse loses some digits: sines of 0.2 and powers of a rate.
                CHECK(std::abs(at(a, i).derivative(k) - at(b, i).derivative(k)) < 1e-11);
            }
        // The table by hand: axis 5 bends the wrist, the wrist centre is the flange's origin, 0.15005 m
        // beside the plane of axis 1, upper arm and forearm are 0.4318 m and √(0.4318² + 0.0203²).
        auto const q = move.joints_at(1 + t);
        check_near(b[Measure::wrist].value(), std::abs(std::sin(q[4])), 1e-11);
        auto const centre = inverse_times(foot, move.at(1 + t).origin);
        double const away = std::hypot(centre.x, centre.y);
        check_near(b[Measure::shoulder].value(), away - 0.15005, 1e-11);
        double const reach = away * away - 0.15005 * 0.15005 + centre.z * centre.z;
        double const l = 0.4318, m = std::hypot(0.4318, 0.0203);
        double const cosine = (reach - l * l - m * m) / (2 * l * m);
        check_near(b[Measure::elbow].value(), std::sqrt(1 - cosine * cosine), 1e-10);
    }
    // The questions: three of each joint, and three of the singularities where the inverse is asked.
    auto const of = [&](auto const& job) {
        std::vector<std::size_t> counts;
        auto const checks = checks_of(job, seam);
        for (auto const limit :
             {Limit::joint_range, Limit::joint_velocity, Limit::joint_acceleration,
              Limit::shoulder_singularity, Limit::elbow_singularity, Limit::wrist_singularity})
            counts.push_back(static_cast<std::size_t>(std::count_if(
                checks.begin(), checks.end(), [&](Check const& c) { return c.limit == limit; })));
        return counts;
    };
    CHECK(of(recorded) == std::vector<std::size_t>{6, 6, 6, 0, 0, 0});
    CHECK(of(by_arm) == std::vector<std::size_t>{6, 6, 6, 1, 1, 1});
    auto without = by_arm;
    without.arm->inverse.reset();
    CHECK(of(without) == std::vector<std::size_t>(6, 0));
    auto open = by_arm;
    open.arm->limits[2] = {{-10, no_limit}, no_limit, no_limit};
    open.arm->least_wrist_sine = 0;
    CHECK(of(open) ==
          std::vector<std::size_t>{6, 5, 5, 1, 1, 0}); // a range that is open above still has an end
    open.arm->limits[2].position.low = -no_limit;
    CHECK(of(open) == std::vector<std::size_t>{5, 5, 5, 1, 1, 0});

    // Shares, of joint 4 in the middle and of the singularities.
    for (auto const& c : checks_of(by_arm, seam)) {
        double const share = c.utilisation(c.read(middle[c.measure].derivative(c.derivative)));
        if (c.joint() == 4 && c.derivative == 0)
            check_near(share, (0.6 - 0.25) / 1.25, 1e-9);
        if (c.joint() == 4 && c.derivative == 1)
            check_near(share, 0.5 / 2, 1e-9);
        auto const d = measured(by_arm, seam, 0.3);
        if (c.limit == Limit::wrist_singularity)
            check_near(c.utilisation(c.read(d[c.measure].value())),
                       0.02 / std::abs(std::sin(move.joints_at(1.3)[4])), 1e-10);
    }
}

// ---- intervals -------------------------------------------------------------------------------------------

namespace {

/// What was found of an enclosure over a stretch against doubles inside of it.
struct Contained {
    std::size_t asked = 0;
    std::size_t missed = 0;
    std::string first;
};

/// Every measure over random stretches, breaks inside or not, against doubles at random times.
template <class J, class S>
void contain(Contained& found, J const& job, S const& scheduled, Random& random, std::size_t stretches) {
    using T = Taylor<Interval, 6>;
    double const duration = scheduled.seam.duration();
    auto const wanted = all_measures();
    for (std::size_t i = 0; i < stretches; ++i) {
        double const width = std::min(duration, std::pow(10, random.uniform(-6, -1.5)));
        double const from = random.uniform(0, duration - width);
        auto const all = demand_of(job, scheduled, T::variable(Interval(from, from + width)), wanted);
        for (int n = 0; n < 6; ++n) {
            double const t = n == 0 ? from : n == 1 ? from + width : random.uniform(from, from + width);
            auto const one = demand_of(job, scheduled, D3::variable(t), wanted);
            for (std::size_t m = 0; m < measure_count; ++m)
                for (int k = 0; k <= 3; ++k) {
                    auto const measure = static_cast<Measure>(m);
                    // Of doubles the field has no derivatives, and those that lose an order have two.
                    bool const loses = measure == Measure::energy || measure == Measure::speed ||
                                       measure == Measure::turning || measure == Measure::area;
                    if (k > 0 && (measure == Measure::field || measure == Measure::aperture ||
                                  measure == Measure::focus_left || measure == Measure::in_front ||
                                  measure == Measure::solved))
                        continue;
                    if (k == 3 && loses)
                        continue;
                    Interval const x = all[measure].derivative(k);
                    double const number = one[measure].derivative(k);
                    // Doubles are off by rounding, which third derivatives of quick motions show most.
                    double const slack = 1e-10 * std::max(std::abs(x.low), std::abs(x.high));
                    ++found.asked;
                    if (number >= x.low - slack && number <= x.high + slack)
                        continue;
                    if (found.missed++ == 0)
                        found.first = scheduled.name + ": measure " + std::to_string(m) + ", derivative " +
                                      std::to_string(k) + " at " + std::to_string(t) + ": " +
                                      detail::text_of(number) + " not in " + detail::text_of(x.low) + " .. " +
                                      detail::text_of(x.high) + ", width " + detail::text_of(width);
                }
        }
    }
}

/// Seams of every kind: straight and woven in every form, by a law with power by the feed and ramps, drawn,
/// laid on a cylinder, a point that is held.
std::vector<ScheduledSeam> seams_of_every_kind() {
    Plane<> const face{{about_axis<Part, Face>({0, 1, 0}, 0.1), {0.01, 0.02, 0.003}}};
    auto const line = straight_between({-0.05, 0.02}, {0.05, 0.03});
    PowerLaw const by_feed({{0.1, 1000}, {0.15, 2500}, {0.3, 3000}}, 1200, {0.02, 0.03, 0.1, 0.2});
    std::vector<ScheduledSeam> seams;
    auto const add = [&](std::string const& name, AnySeam const& seam) {
        seams.push_back({name, 0.6, seam});
    };
    add("straight", at_speed(OnFace<Straight<>, Plane<>>{line, face}, 0.2, {{}, 1e-3, {}}));
    for (auto const form : {WeaveForm::sine, WeaveForm::circle, WeaveForm::figure_eight, WeaveForm::triangle})
        add("woven", at_speed(OnFace<DrawnShape, Plane<>>{DrawnShape(line), face}, 0.2,
                              {{200, 4e-4, form, 20, 1e-3}, 0, {}}));
    SpeedLaw law{0.2, 0.05, 0.05};
    law.acceleration = 2;
    law.jerk = 60;
    add("by a law",
        by_law(OnFace<DrawnShape, Plane<>>{wave(0.03, 0.003, 0.09, 1e-4), face}, law, {{}, 0, by_feed}));
    law.jerk = no_limit;
    add("by a hard law", by_law(OnFace<Straight<>, Plane<>>{line, face}, law, {{}, 0, by_feed}));
    add("arc", at_speed(OnFace<Arc<>, Plane<>>{arc_around({0, 0}, 0.04, 0.3, 2), face}, 0.2));
    Cylinder<> const tube = cylinder_at({Rotation<Part, Face>::identity(), {0, 0, 0}}, 0.12);
    add("laid", at_speed(lay(wave(0.03, 0.003, 0.09, 1e-4), tube).path, 0.2, {{80, 3e-4}, 0, {}}));
    add("held", held(FacePoint{0.01, 0.02}, face, 0.3, {100, 1e-3, WeaveForm::circle}));
    return seams;
}

std::optional<Process> all_light() { return Process{delivered, 4000, 1e-3, 20, 1e8, {1e3, 1e6}}; }

} // namespace

TEST_CASE("over intervals every measure holds what doubles give, for every kind of seam") {
    Random random(0xc4ec);
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i < 120; ++i) {
        double const t = 0.3 + 0.012 * i;
        auto const r = about_axis<Cell, Cell>({0, 1, 0}, 0.1 * std::sin(3 * t)) *
                       about_axis<Cell, Cell>({1, 0, 0}, 0.05 * std::cos(2 * t)) * above(0).rotation;
        rows.push_back({t,
                        {-0.1 + 0.1 * t, 0.01 * std::sin(3 * t), 0.55 + random.uniform(-1e-4, 1e-4)},
                        quaternion_of(r)});
    }
    using LogChain = Chain<PoseLog<Cell, Flange>, Turntable<Cell, Part>, MirrorPair<>>;
    PlainJob<LogChain> const job{{PoseLog<Cell, Flange>(rows),
                                  {Pose<Cell, Part>::identity(), {0, 0, 0.01}, {0, 0, 1}, 0.4, 0.7},
                                  {Rotation<Flange, Head>::identity(), {0.01, 0.02, 0.05}},
                                  head_of_all},
                                 dynamics_of_the_head,
                                 degrees(30),
                                 all_light()};
    Contained found;
    for (auto const& seam : seams_of_every_kind())
        contain(found, job, seam, random, runs(40));
    CHECK(found.asked > 100000);
    CHECK(found.missed == 0);
    CHECK(found.first == "");

    // And they say something: over a microsecond everything is known to a thousandth or so.
    auto const seams = seams_of_every_kind();
    auto const d =
        demand_of(job, seams[1], Taylor<Interval, 6>::variable(Interval(0.2, 0.200001)), all_measures());
    for (auto const m : {Measure::x, Measure::y, Measure::focus, Measure::incidence, Measure::along,
                         Measure::across, Measure::spot, Measure::area, Measure::energy, Measure::speed,
                         Measure::turning, Measure::field, Measure::in_front}) {
        CAPTURE(static_cast<int>(m));
        auto const x = d[m].derivative(0);
        CHECK(x.high - x.low < 1e-2 * std::max(std::abs(x.low), std::abs(x.high)));
        CHECK(x.high - x.low > 0);
    }
}

TEST_CASE("what a rate's highest order may be is not known, so that no remainder is taken from it") {
    auto const job = [] {
        auto j = job_under_a_still_head();
        j.process = all_light();
        return j;
    }();
    auto const d =
        demand_of(job, straight_seam(), Taylor<Interval, 6>::variable(Interval(0.1, 0.11)), all_measures());
    for (auto const m : {Measure::energy, Measure::speed, Measure::turning}) {
        CHECK(d[m].coefficient[6].low == -no_limit);
        CHECK(d[m].coefficient[6].high == no_limit);
        CHECK(is_finite(d[m].coefficient[5]));
    }
}

TEST_CASE("over intervals the joints and singularities hold what doubles give") {
    Random random(0xc4ed);
    auto const move = move_of_joints();
    auto const seam =
        Scheduled<FlatSeam>{"joints", 0.95, at_speed(flat(straight_between({0, 0}, {0.3, 0})), 0.2)};
    Contained found;
    contain(found, job_on_an_arm(move, false), seam, random, runs(100));
    contain(found, job_on_an_arm(ByArm{move}, true), seam, random, runs(100));
    CHECK(found.asked > 50000);
    CHECK(found.missed == 0);
    CHECK(found.first == "");
    auto const d = demand_of(job_on_an_arm(ByArm{move}, true), seam,
                             Taylor<Interval, 6>::variable(Interval(0.5, 0.500001)), all_measures());
    auto const x = d[Measure::joint_4].derivative(2);
    CHECK(x.high - x.low < 0.1);
}
