#include "seamhold/motion/joint_log.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/arms.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Log = JointLog<6>;
SerialArm<6> arm() { return SerialArm<6>::standard_dh(puma_560()); }
Pose<Cell, Base> const cell_from_base{about_axis<Cell, Base>(Direction<Cell>{0, 0, 1}, 0.4),
                                      {0.2, -0.1, 0.8}};

// Joints in closed form.
template <class T> std::array<T, 6> joints(T const& t) {
    auto const wave = [&t](double amplitude, double rate, double mean) {
        return T(sin_cos(T(t * rate)).sin * amplitude + mean);
    };
    return {wave(0.5, 1.1, 0.1), wave(0.3, 0.9, -0.7), wave(0.4, 1.3, 2.0),
            wave(0.6, 1.7, 0.4), wave(0.5, 1.9, -0.5), wave(0.8, 1.5, 1.2)};
}

struct Exact {
    template <class T> Pose<Cell, Flange, T> at(T const& t) const {
        return cell_from_base * arm().forward(joints(t));
    }
};

Log log_of(std::vector<double> const& times, double max_gap = std::numeric_limits<double>::infinity()) {
    std::vector<std::array<double, 6>> rows;
    for (double const time : times)
        rows.push_back(joints(time));
    return Log(cell_from_base, arm(), times, rows, max_gap);
}

} // namespace

TEST_CASE("a joint log goes through its rows, and the pose is that of the arm") {
    auto const times = uneven_times(40, 2);
    auto const log = log_of(times);
    for (double const time : times) {
        auto const q = log.joints_at(time);
        auto const want = joints(time);
        for (std::size_t i = 0; i < 6; ++i)
            CHECK(std::abs(q[i] - want[i]) <= 20 * epsilon);
    }
    for (int i = 0; i <= 100; ++i) {
        double const t = 0.02 * i;
        CHECK(difference(log.at(t), cell_from_base * arm().forward(log.joints_at(t))) == 0);
    }
}

TEST_CASE("the error falls as h⁴, rates as h³, up to both ends") {
    double value = 0, rate = 0;
    for (std::size_t const pieces : {100U, 200U, 400U}) {
        auto const times = uneven_times(pieces, 2);
        auto const log = log_of(times);
        double now = 0, now_rate = 0;
        for (std::size_t i = 0; i + 1 < times.size(); ++i)
            for (int k = 0; k < 8; ++k) {
                auto const t =
                    Taylor<double, 1>::variable(times[i] + (times[i + 1] - times[i]) * (k + 0.5) / 8);
                now = std::max(now, difference(value_of(log.at(t)), value_of(Exact{}.at(t))));
                now_rate = std::max(now_rate, difference(rate_of(log.at(t), 1), rate_of(Exact{}.at(t), 1)));
            }
        if (value > 0) {
            MESSAGE(pieces << " rows over 2 s: error " << now << ", order " << std::log2(value / now)
                           << ", rates " << std::log2(rate / now_rate));
            CHECK(std::log2(value / now) > 3.7);
            CHECK(std::log2(rate / now_rate) > 2.7);
        }
        value = now;
        rate = now_rate;
    }
}

TEST_CASE("laws of a motion") {
    auto const log = log_of(uneven_times(200, 2));
    std::vector<double> times;
    for (int i = 1; i < 100; ++i)
        times.push_back(0.02 * i + 0.0003);
    MotionLaws<Cell, Flange, Log> const laws(log, times, 1e-5);
    CHECK(laws.finite);
    CHECK(laws.not_rotation <= 60 * epsilon); // six links
    CHECK(laws.value_apart <= 60 * epsilon);
    CHECK(laws.slope_apart <=
          10); // step²/6 times the third derivative, below 6 joints · 1 rad/s cubed on 1 m
    CHECK(laws.jump[0] <= 60 * epsilon);
    CHECK(laws.jump[1] <= 300 * epsilon / 0.004); // slopes over the shortest step
    CHECK(laws.jump[2] <= 1200 * epsilon / (0.004 * 0.004));
    static_assert(Motion<Log, Cell, Flange> && Log::continuity == 2);
    CHECK(breaks_of(log).size() == 201);
}

TEST_CASE("holes and ends") {
    std::vector<double> times;
    for (int i = 0; i <= 100; ++i)
        if (i < 40 || i > 60)
            times.push_back(0.02 * i);
    auto const log = log_of(times, 0.1);
    CHECK(log.covers(0.5));
    CHECK_FALSE(log.covers(1.0));
    CHECK_FALSE(log.covers(2.1));
    CHECK(has_data(log, 2.0));
    CHECK_FALSE(has_data(log, -0.1));
    CHECK(log.times().size() == times.size());
}

TEST_CASE("rows that cannot be are refused") {
    std::vector<std::array<double, 6>> rows(3);
    CHECK_THROWS_AS(Log(cell_from_base, arm(), {0, 1}, rows), BadInput);
    CHECK_THROWS_AS(Log(cell_from_base, arm(), {0, 2, 1}, rows), BadInput);
    rows[1][4] = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(Log(cell_from_base, arm(), {0, 1, 2}, rows), BadInput);
}

TEST_CASE("at float, and without the heap") {
    auto const log = log_of(uneven_times(200, 2));
    CHECK(difference(value_of(log.at(0.5F)), log.at(0.5)) <=
          40 * 1.2e-7); // six angles up to 2 rad on levers up to 1 m
    AllocationGuard guard;
    auto const pose = log.at(Taylor<double, 2>::variable(0.5));
    CHECK(guard.count() == 0);
    CHECK(is_finite(pose.origin));
}
