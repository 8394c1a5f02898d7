#include "seamhold/live/forecast_arm.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/arms.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <array>
#include <cmath>
#include <cstddef>

using namespace seamhold;
using namespace seamhold::test;

namespace {

SerialArm<6> arm() { return SerialArm<6>::standard_dh(puma_560()); }
Pose<Cell, Base> const cell_from_base{about_axis<Cell, Base>(Direction<Cell>{0, 0, 1}, 0.4),
                                      {0.2, -0.1, 0.8}};
// Invented: the wrist lags less than the base.
std::array<double, 6> const lag{0.021, 0.019, 0.02, 0.008, 0.007, 0.006};

Forecast<6> random_forecast(Random& random) {
    Forecast<6> f{};
    f.about = {random.uniform(0, 1000)};
    double const sizes[] = {2, 1, 5, 50}; // rad, rad/s, …
    for (int k = 0; k < 4; ++k)
        for (double& c : f.coefficient[k])
            c = random.uniform(-sizes[k], sizes[k]);
    return f;
}

// Joints and their rates in powers, apart from the header.
struct Joints {
    std::array<double, 6> q, rate;
};
Joints joints_of(Forecast<6> const& f, double t, std::array<double, 6> const& late) {
    Joints r{};
    for (std::size_t j = 0; j < 6; ++j) {
        double const s = t - f.about.seconds - late[j];
        for (int k = 0; k < 4; ++k) {
            r.q[j] += f.coefficient[k][j] * std::pow(s, k);
            if (k > 0)
                r.rate[j] += k * f.coefficient[k][j] * std::pow(s, k - 1);
        }
    }
    return r;
}

} // namespace

TEST_CASE("the pose is that of the arm with each joint at its own time; rates are the Jacobian's") {
    Random random(631);
    double pose = 0, rate = 0;
    for (std::size_t i = 0; i < runs(500); ++i) {
        bool const measured = random.index(2) == 0;
        auto const late = measured ? std::array<double, 6>{} : lag;
        ForecastArm<6> motion(cell_from_base, arm(), late);
        motion.forecast = random_forecast(random);
        double const t = motion.forecast.about.seconds + random.uniform(-0.01, 0.03);
        auto const want = joints_of(motion.forecast, t, late);
        pose = std::max(pose, difference(motion.at(t), cell_from_base * arm().forward(want.q)));

        auto const jacobian = arm().jacobian(want.q);
        Direction<Base> linear{0, 0, 0}, angular{0, 0, 0};
        for (std::size_t j = 0; j < 6; ++j) {
            linear = linear + want.rate[j] * jacobian[j].linear;
            angular = angular + want.rate[j] * jacobian[j].angular;
        }
        auto const twist = twist_of(motion.at(Taylor<double, 2>::variable(t)));
        rate = std::max({rate, norm(twist.linear - cell_from_base * linear),
                         norm(twist.angular - cell_from_base * angular)});
    }
    CHECK(pose <= 1e-12); // a time of 1000 s has a last bit of 1e-13 s, at some 5 rad/s in all joints
    CHECK(rate <= 1e-11); // the same times some 20 rad/s², and six joints
    static_assert(Motion<ForecastArm<6>, Cell, Flange>);
}

TEST_CASE("laws of a motion") {
    Random random(632);
    ForecastArm<6> motion(cell_from_base, arm(), lag);
    motion.forecast = random_forecast(random);
    motion.forecast.about = {0.1};
    std::vector<double> times;
    for (int i = 0; i < 50; ++i)
        times.push_back(0.1 + 0.001 * i);
    MotionLaws<Cell, Flange, ForecastArm<6>> const laws(motion, times, 1e-5);
    CHECK(laws.finite);
    CHECK(laws.not_rotation <= 60 * epsilon); // six links
    CHECK(laws.value_apart <= 60 * epsilon);
    CHECK(laws.slope_apart <=
          200); // 1/6 of the third derivative: 6 joints, 2 rad/s cubed and 300 rad/s³, on 1 m
    CHECK(laws.jump[0] == 0);
}

TEST_CASE("set-points with their servo lags give where the robot is, and without them it is missed") {
    // A robot whose joints follow their set-points late by `lag` each; the forecast is of the set-points.
    auto const set_point = [](double t) {
        std::array<double, 6> q{};
        for (std::size_t j = 0; j < 6; ++j)
            q[j] =
                0.3 * static_cast<double>(j) - 0.7 + (0.2 + 0.1 * static_cast<double>(j)) * t + 0.3 * t * t;
        return q;
    };
    ForecastArm<6> motion(cell_from_base, arm(), lag), without(cell_from_base, arm());
    for (std::size_t j = 0; j < 6; ++j) {
        motion.forecast.coefficient[0][j] = set_point(0)[j];
        motion.forecast.coefficient[1][j] = 0.2 + 0.1 * static_cast<double>(j);
        motion.forecast.coefficient[2][j] = 0.3;
    }
    without.forecast = motion.forecast;
    double const t = 0.015;
    std::array<double, 6> there{};
    for (std::size_t j = 0; j < 6; ++j)
        there[j] = set_point(t - lag[j])[j];
    auto const robot = cell_from_base * arm().forward(there);
    CHECK(difference(motion.at(t), robot) <= 20 * epsilon);
    CHECK(difference(without.at(t), robot) > 1e-3);
    CHECK(motion.servo_lag() == lag);
}

TEST_CASE("lags that cannot be are refused") {
    for (double const bad : {-1e-3, not_a_number, infinity})
        CHECK(has(refusal_of([&] {
                      return ForecastArm<6>(cell_from_base, arm(), {0, 0, bad, 0, 0, 0});
                  }),
                  "joint 3"));
}

TEST_CASE("it does not touch the heap") {
    Random random(633);
    ForecastArm<6> motion(cell_from_base, arm(), lag);
    AllocationGuard const guard;
    motion.forecast = random_forecast(random);
    auto const pose = motion.at(Taylor<double, 2>::variable(0.5));
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(is_finite(pose.origin));
}
