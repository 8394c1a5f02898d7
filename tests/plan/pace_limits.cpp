#include "seamhold/plan/pace_limits.hpp"

#include <doctest/doctest.h>

#include "support/arms.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

/// What `pace_limits` needs of a job.
template <class M> struct PathJob {
    struct {
        M cell_from_flange;
    } chain;
    std::optional<JobArm> arm = {};
};
template <class M> PathJob<M> job_on(M const& motion) { return {{motion}, {}}; }

/// Joint 5 passes 0 at 1 s.
struct ThroughStraightWrist {
    SerialArm<6> arm;

    template <class T> Pose<Cell, Flange, T> at(T const& t) const {
        auto const f = [](double x) { return number_cast<T>(x); };
        return Pose<Cell, Base>::identity() *
               arm.forward(std::array<T, 6>{T(t * 0.3), f(-0.7), f(2.0), f(0.4), T(t * 0.1 - 0.1), f(1.2)});
    }
};

template <class Use> std::string message_of(Use const& use) {
    try {
        use();
    } catch (BadInput const& e) {
        return e.what();
    }
    return "";
}

/// The largest share of the robot's rates that a law uses which is at some speed and acceleration where the
/// path is at u, by Taylor numbers of doubles.
template <class M>
double used(M const& motion, PathRates const& rates, double u, double speed, double acceleration) {
    // A law with this speed and acceleration at u.
    Taylor<double, 2> t;
    t.coefficient[0] = u;
    t.coefficient[1] = speed;
    t.coefficient[2] = acceleration / 2;
    auto const pose = motion.at(t);
    auto const& o = pose.origin;
    auto const length = [](double x, double y, double z) { return std::sqrt(x * x + y * y + z * z); };
    double most = length(o.x.derivative(1), o.y.derivative(1), o.z.derivative(1)) / rates.speed;
    most =
        std::max(most, length(o.x.derivative(2), o.y.derivative(2), o.z.derivative(2)) / rates.acceleration);
    // With the turn's velocity ω and acceleration α, R″Rᵀ is α× + ω×ω×: of the sums of squares of all numbers
    // half is |ω|² in R′ and |α|² + |ω|⁴ in R″.
    double first = 0, second = 0;
    for (auto const& row : pose.rotation.m)
        for (auto const& x : row) {
            first += x.derivative(1) * x.derivative(1) / 2;
            second += x.derivative(2) * x.derivative(2) / 2;
        }
    auto const turned = [&](int k) {
        return std::sqrt(k == 1 ? first : std::max(0.0, second - first * first));
    };
    most = std::max(most, turned(1) / rates.turn_speed);
    return std::max(most, turned(2) / rates.turn_acceleration);
}

} // namespace

TEST_CASE("a straight path: speed and acceleration over its own speed") {
    Direction<Cell> const v{0.12, 0, 0.16}; // 0.2 m/s
    Steady<Cell, Flange> const steady{Pose<Cell, Flange>::identity(), v, 0};
    auto const limits = pace_limits(job_on(AnyFlangeMotion(steady)), 0, 10, {1, 3, no_limit, no_limit});
    for (double const u : {-1.0, 0.0, 3.3, 10.0, 11.0}) {
        CHECK(limits.at(u).speed == doctest::Approx(5).epsilon(1e-12));
        CHECK(limits.at(u).acceleration == doctest::Approx(15).epsilon(1e-12));
    }
    CHECK(limits.over(0, 10).speed <= 5);
    CHECK(limits.over(0, 10).speed >= 5 - 1e-11);
    auto const free = pace_limits(job_on(AnyFlangeMotion(steady)), 0, 10);
    CHECK(free.over(0, 10).speed == infinity);
    CHECK(free.over(0, 10).acceleration == infinity);
    // A law that the job has is left aside.
    auto const driven = paced(AnyFlangeMotion(steady), TimeLaw::steady(7));
    CHECK(pace_limits(job_on(driven), 0, 10, {1, 3, no_limit, no_limit}).at(5).speed ==
          doctest::Approx(5).epsilon(1e-12));
}

TEST_CASE("a turning path: by hand") {
    // A frame 0.5 m from an axis, 2 rad/s: v = 1 m/s, bend 2 m/s², turn 2 rad/s.
    Turntable<Cell, Flange> const turning{
        {Rotation<Cell, Flange>::identity(), {0.5, 0, 0}}, {0, 0, 0}, {0, 0, 1}, 2.0};
    auto const by_speed = pace_limits(job_on(turning), 0, 1, {3, no_limit, no_limit, no_limit}).at(0.5);
    CHECK(by_speed.speed == doctest::Approx(3).epsilon(0.01));
    auto const by_turn = pace_limits(job_on(turning), 0, 1, {no_limit, no_limit, 5, 8}).at(0.5);
    CHECK(by_turn.speed == doctest::Approx(2.5).epsilon(0.01));
    CHECK(by_turn.acceleration == doctest::Approx(4).epsilon(0.02));
    // Half of 8 m/s² for 2 u′²: u′ = √2; what is left over 1 m/s.
    auto const by_bend = pace_limits(job_on(turning), 0, 1, {no_limit, 8, no_limit, no_limit}).at(0.5);
    CHECK(by_bend.speed == doctest::Approx(std::sqrt(2.0)).epsilon(0.01));
    CHECK(by_bend.acceleration == doctest::Approx(4).epsilon(0.02));
    for (auto const& limit : {by_speed, by_turn, by_bend})
        CHECK(used(turning, {3, 8, 5, 8}, 0.5, limit.speed, 0) <= 3); // sane; held below
}

TEST_CASE("between the entries of the table too the robot's rates are kept, and not by far") {
    Random random(71401);
    PoseLog<Cell, Flange> const log(rows_of(Sweep{}, uneven_times(60, 3)));
    auto const limits = pace_limits(job_on(AnyFlangeMotion(log)), 0, 3, {1.2, 5, 3, 9});
    for (PathRates const& rates :
         {PathRates{1.2, 5, 3, 9}, PathRates{1.2, no_limit, no_limit, no_limit},
          PathRates{no_limit, 5, no_limit, no_limit}, PathRates{no_limit, no_limit, 3, no_limit},
          PathRates{no_limit, no_limit, no_limit, 9}}) {
        auto const table = pace_limits(job_on(AnyFlangeMotion(log)), 0, 3, rates);
        double most = 0;
        for (std::size_t n = 0; n < runs(5000); ++n) {
            double const u = random.uniform(0, 3);
            auto held = table.at(u);
            held.acceleration = std::min(held.acceleration, 1e6);
            for (double const side : {-1.0, 0.0, 1.0}) {
                double const use = used(log, rates, u, held.speed, side * held.acceleration);
                CHECK(use <= 1 + 1e-9);
                most = std::max(most, use);
            }
            double const slower = random.unit();
            CHECK(used(log, rates, u, slower * held.speed, random.uniform(-1, 1) * held.acceleration) <=
                  1 + 1e-9);
        }
        CHECK(most > 0.85); // two parts at an angle are added
    }
    CHECK(limits.cells().size() == 150);
    // What `over` says is what all cells say.
    for (std::size_t n = 0; n < runs(200); ++n) {
        double const from = random.uniform(-0.5, 3), to = from + random.uniform(0, 2);
        PaceLimit least;
        for (std::size_t i = 0; i < limits.cells().size(); ++i) {
            double const begin = 0.02 * static_cast<double>(i);
            bool const meets = (begin <= to || i == 0) && (begin + 0.02 > from || i == 149);
            if (meets && std::abs(begin - to) > 1e-9 && std::abs(begin + 0.02 - from) > 1e-9) {
                least.speed = std::min(least.speed, limits.cells()[i].speed);
                least.acceleration = std::min(least.acceleration, limits.cells()[i].acceleration);
            }
        }
        CHECK(limits.over(from, to).speed == least.speed);
        CHECK(limits.over(from, to).acceleration == least.acceleration);
    }
}

TEST_CASE("joints: recorded ones, and those of the arm's inverse") {
    auto const arm = SerialArm<6>::standard_dh(puma_560());
    std::vector<double> times;
    std::vector<std::array<double, 6>> rows;
    for (int i = 0; i <= 40; ++i) {
        double const t = 0.05 * i;
        times.push_back(t);
        rows.push_back(
            {0.3 * t, -0.7 + 0.1 * std::sin(t), 2 - 0.2 * std::cos(2 * t), 0.4, -0.5 + 0.05 * t * t, t});
    }
    JointLog<6> const log(Pose<Cell, Base>::identity(), arm, times, rows);
    JointLimits<6> joints;
    joints.fill({{-10, 10}, 1.5, 6});
    joints[5].velocity = 3; // joint 6 turns by 1 rad/s: 3; joint 1 by 0.3: 5; joint 3 by up to 0.4: 3.75
    JobArm const recorded{std::nullopt, Pose<Cell, Base>::identity(), {}, {}, joints};
    auto job = job_on(AnyFlangeMotion(log));
    job.arm = recorded;
    auto const limits = pace_limits(job, 0, 2);
    WristInverse const inverse(arm);
    auto const branch = inverse.branch_of(rows[20]);
    auto by_arm =
        job_on(paced(AnyFlangeMotion(PoseLog<Cell, Flange>([&] {
                         std::vector<PoseRow<Cell>> poses;
                         for (double const t : times)
                             poses.push_back({t, log.at(t).origin, quaternion_of(log.at(t).rotation)});
                         return poses;
                     }())),
                     TimeLaw::steady(2)));
    by_arm.arm = JobArm{inverse, Pose<Cell, Base>::identity(), branch, rows[20], joints};
    auto const again = pace_limits(by_arm, 0, 2);
    double tightest = infinity;
    for (int i = 1; i < 200; ++i) {
        double const u = 0.01 * i;
        Taylor<double, 2> t;
        auto const held = limits.at(u);
        t.coefficient[0] = u;
        t.coefficient[1] = held.speed;
        t.coefficient[2] = held.acceleration / 2;
        double most = 0;
        auto const q = log.joints_at(t);
        for (std::size_t k = 0; k < 6; ++k)
            most = std::max({most, std::abs(q[k].derivative(1)) / joints[k].velocity,
                             std::abs(q[k].derivative(2)) / joints[k].acceleration});
        CHECK(most <= 1 + 1e-9);
        tightest = std::min(tightest, 1 - most);
        // The inverse knows the same joints but for the interpolation between rows, and enclosures of its
        // formulas are wider.
        CHECK(again.at(u).speed <= held.speed * 1.05);
        CHECK(again.at(u).speed >= held.speed * 0.7);
    }
    CHECK(tightest < 0.1);
}

TEST_CASE("paths that cannot be driven are refused") {
    PoseLog<Cell, Flange> const log(rows_of(Sweep{}, uneven_times(60, 3)));
    auto const job = job_on(AnyFlangeMotion(log));
    CHECK(message_of([&] { (void)pace_limits(job, 2, 4); }).find("the flange's motion has no data at 3.") ==
          0);
    CHECK(message_of([&] { (void)pace_limits(job, 2, 2); }) ==
          "limits of a pace need a path from a lower to a higher time; given was 2 to 2 s");
    CHECK(message_of([&] { (void)pace_limits(job, 0, 1, {0}); }) ==
          "the robot's speeds and accelerations must be above 0; given was 0");
    CHECK(message_of([&] {
              (void)PaceLimits(0, 1, PaceLimit{1, 0});
          }) == "limits of a pace must be above 0; given were 1 and 0 1/s");
    CHECK(message_of([&] { (void)PaceLimits(0, not_a_number, PaceLimit{1, 1}); }) != "");
    CHECK(message_of([&] { (void)PaceLimits(0, 1, std::vector<PaceLimit>{}); }) != "");
    // Through the singularity of a straight wrist: joint 5 passes 0, and joints 4 and 6 have no rates.
    auto through = job_on(ThroughStraightWrist{SerialArm<6>::standard_dh(puma_560())});
    JointLimits<6> joints;
    joints.fill({{-10, 10}, 1.5, 6});
    WristInverse const inverse(through.chain.cell_from_flange.arm);
    std::array<double, 6> const before{0.15, -0.7, 2.0, 0.4, -0.05, 1.2};
    through.arm = JobArm{inverse, Pose<Cell, Base>::identity(), inverse.branch_of(before), before, joints};
    CHECK(message_of([&] {
              (void)pace_limits(through, 0, 2);
          }).find("the flange's motion cannot be passed at any speed near 0.9") == 0);
    CHECK(pace_limits(through, 0, 0.5).at(0.2).speed > 0.1);
}
