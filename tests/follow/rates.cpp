#include "seamhold/follow/chain.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "support/boost_autodiff.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <vector>

// The rates of a command: against Boost.Math's automatic differentiation through the same chain. That the
// chain's formula itself is right is asked in tests/follow/fifty_digits.cpp.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr int highest = 3;
using Rates = std::array<std::array<double, highest + 1>, 3>; // by axis and order

template <class Command> Rates rates_of_boost(Command const& c) {
    Rates rates{};
    for (int k = 0; k <= highest; ++k) {
        auto const order = static_cast<std::size_t>(k);
        rates[0][order] = static_cast<double>(c.x_mirror.derivative(order));
        rates[1][order] = static_cast<double>(c.y_mirror.derivative(order));
        rates[2][order] = static_cast<double>(c.focus.derivative(order));
    }
    return rates;
}

template <int N>
void check_order(Followed<Taylor<double, N>> const& followed, Rates const& expected, Rates const& scale) {
    Taylor<double, N> const* const axes[3] = {&followed.aim.command.x_mirror, &followed.aim.command.y_mirror,
                                              &followed.aim.command.focus};
    CHECK(followed.status == Status::ok);
    for (std::size_t axis = 0; axis < 3; ++axis)
        for (int k = 0; k <= N; ++k) {
            auto const order = static_cast<std::size_t>(k);
            CAPTURE(axis);
            CAPTURE(k);
            // Two exact ways to one number: rounding only. 1e-12 of the derivative's largest over the
            // stretch, some 5000 units in the last place, is the promise.
            CHECK(std::abs(axes[axis]->derivative(k) - expected[axis][order]) <= 1e-12 * scale[axis][order]);
        }
}

// Compares Taylor numbers of orders 1 to 3 with Boost over a stretch of the seam.
template <class ChainType, class SeamType>
void check_rates(ChainType const& chain, SeamType const& seam, double start, std::string const& name) {
    CAPTURE(name);
    int const count = 60;
    std::vector<double> times;
    std::vector<Rates> expected;
    Rates scale{};
    for (int i = 0; i < count; ++i) {
        double const t = start + seam.duration() * (i + 0.37) / count;
        auto const time = boost::math::differentiation::make_fvar<double, highest>(t);
        auto const followed =
            chain.follow(seam, BoostNumber<highest>(time - start), BoostNumber<highest>(time));
        CHECK(followed.status == Status::ok);
        times.push_back(t);
        expected.push_back(rates_of_boost(followed.aim.command));
        for (std::size_t axis = 0; axis < 3; ++axis)
            for (std::size_t k = 0; k <= highest; ++k)
                scale[axis][k] = std::max(scale[axis][k], std::abs(expected.back()[axis][k]));
    }
    for (std::size_t i = 0; i < times.size(); ++i) {
        double const t = times[i];
        CAPTURE(t);
        using One = Taylor<double, 1>;
        using Two = Taylor<double, 2>;
        using Three = Taylor<double, 3>;
        check_order(chain.follow(seam, One::variable(t - start), One::variable(t)), expected[i], scale);
        check_order(chain.follow(seam, Two::variable(t - start), Two::variable(t)), expected[i], scale);
        check_order(chain.follow(seam, Three::variable(t - start), Three::variable(t)), expected[i], scale);
    }
}

} // namespace

TEST_CASE("rates against Boost.Math automatic differentiation: smooth motions") {
    Random random(10'101);
    for (int i = 0; i < 5; ++i) {
        Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, MirrorPair<>> const chain{
            random_flange(random), random_part(random), mount(), head()};
        check_rates(chain, at_speed(straight_between({-0.03, -0.01}, {0.03, 0.02}), face(), 0.25), 0.1,
                    "straight");
        check_rates(chain, at_speed(circle_around({0, 0}, 0.03), face(), 0.25, {300, 0.0005}), 0.1,
                    "woven circle");
        check_rates(chain, held({0.01, 0.02}, face(), 0.3), 0.1, "held point");
    }
}

TEST_CASE("rates against Boost.Math automatic differentiation: a log on a turntable") {
    Random random(10'102);
    auto const rows = rows_of<Cell>(random_flange(random), -0.01, 1.02, 0.004, random);
    PoseLog<Cell, Flange> const log(rows);
    Turntable<Cell, Part> const table{Pose<Cell, Part>::identity(), {0.01, 0, 0}, {0.6, 0, 0.8}, 0.2, 0.3};
    Chain<PoseLog<Cell, Flange>, Turntable<Cell, Part>, MirrorPair<>> const chain{log, table, mount(),
                                                                                  head()};
    check_rates(chain, at_speed(circle_around({0, 0}, 0.03), face(), 0.25, {300, 0.0005}), 0.2, "pose log");
    // And as a job has it.
    AnyChain const any{AnyFlangeMotion(log), AnyPartMotion(table), mount(), head()};
    check_rates(any, at_speed(arc_around({0, 0}, 0.02, 1, -3), face(), 0.25), 0.2, "chosen at run time");
}

TEST_CASE("rates against Boost.Math automatic differentiation: a straight move, gliding part") {
    Pose<Cell, Flange> const from{{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {-0.03, 0, 0.5}};
    Pose<Cell, Flange> const to{about_axis<Cell, Cell>({0, 0, 1}, degrees(5)) * from.rotation,
                                {0.03, 0.02, 0.52}};
    StraightMove<Cell, Flange> const move(from, to, {0.2, 2, 40}, {1, 10, 100});
    Steady<Cell, Part> const part{Pose<Cell, Part>::identity(), {0.01, 0.02, 0}, 0};
    Chain<StraightMove<Cell, Flange>, Steady<Cell, Part>, MirrorPair<>> const chain{move, part, mount(),
                                                                                    head()};
    check_rates(chain, at_speed(straight_between({-0.03, -0.01}, {0.03, 0.02}), face(), 0.2), 0.02,
                "straight move");
}

TEST_CASE("a time that does not run at one second a second has the chain rule's rates") {
    // Both times are given as numbers with their own rates: here the robot is followed at half speed, so that
    // first derivatives halve and second ones quarter.
    Random random(10'103);
    Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, MirrorPair<>> const chain{
        random_flange(random), random_part(random), mount(), head()};
    auto const seam = at_speed(circle_around({0, 0}, 0.03), face(), 0.25);
    using T = Taylor<double, 2>;
    for (double const t : {0.05, 0.1, 0.2}) {
        auto const full = chain.follow(seam, T::variable(t), T::variable(t)).aim.command;
        T half = T::variable(t);
        half.coefficient[1] = 0.5;
        auto const slow = chain.follow(seam, half, half).aim.command;
        // Powers of two are exact: nothing but the same roundings.
        CHECK(slow.x_mirror.derivative(1) ==
              doctest::Approx(full.x_mirror.derivative(1) / 2).epsilon(4 * epsilon));
        CHECK(slow.x_mirror.derivative(2) ==
              doctest::Approx(full.x_mirror.derivative(2) / 4).epsilon(4 * epsilon));
        CHECK(slow.focus.derivative(2) == doctest::Approx(full.focus.derivative(2) / 4).epsilon(4 * epsilon));
        // The beam waits on the seam's first point while the robot moves on: only the robot's rates.
        auto const waiting = chain.follow(seam, T(0), T::variable(t)).aim.command;
        auto const first = held({0, 0}, face(), 1.0);
        auto still = first;
        still.path.shape = {0.015, 0};
        auto const point = chain.follow(still, T::variable(0.5), T::variable(t)).aim.command;
        for (int k = 0; k <= 2; ++k) {
            double const bound = 60 * epsilon * std::pow(2 * std::numbers::pi * 2, k);
            CHECK(std::abs(waiting.x_mirror.derivative(k) - point.x_mirror.derivative(k)) <= bound);
            CHECK(std::abs(waiting.y_mirror.derivative(k) - point.y_mirror.derivative(k)) <= bound);
        }
    }
}

TEST_CASE("at rest all rates are zero, not a NaN") {
    Pose<Cell, Flange> const above{{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {0, 0, 0.5}};
    Chain<Rest<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>> const chain{
        {above}, {Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), head()};
    using T = Taylor<double, 3>;
    Plane<> const flat{Pose<Part, Face>::identity()};
    for (auto const& place : {FacePoint{0, 0}, FacePoint{1e-8, 0}, FacePoint{0.03, -0.02}}) {
        auto const followed = chain.follow(held(place, flat, 1), T::variable(0.5), T::variable(0.5));
        CHECK(followed.status == Status::ok);
        for (int k = 1; k <= 3; ++k) {
            CHECK(followed.aim.command.x_mirror.derivative(k) == 0);
            CHECK(followed.aim.command.y_mirror.derivative(k) == 0);
            CHECK(followed.aim.command.focus.derivative(k) == 0);
        }
    }
}
