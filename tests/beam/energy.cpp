#include "seamhold/beam/energy.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <limits>
#include <string>
#include <type_traits>

// Energy along a seam and what is lost on the way to it, by hand. All powers and losses are invented.

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::near;
using seamhold::test::not_a_number;
using seamhold::test::refusal_of;

TEST_CASE_TEMPLATE("law: power, speed and line energy say the same of each other", T, double, float,
                   Taylor<double, 2>, Taylor<float, 3>, Gradient<double, 2>, Taylor<Gradient<double, 2>, 2>) {
    using S =
        std::conditional_t<std::is_same_v<T, float> || std::is_same_v<T, Taylor<float, 3>>, float, double>;
    double const bound = 4 * static_cast<double>(std::numeric_limits<S>::epsilon()); // two quotients
    T const speed = number_cast<T>(static_cast<S>(0.25));
    T const power = number_cast<T>(static_cast<S>(3000));
    auto const energy = line_energy(power, speed);
    static_assert(std::is_same_v<std::decay_t<decltype(energy)>, T>);
    CHECK(near(value_of(energy), 12000, bound));
    CHECK(near(value_of(power_for_line_energy(energy, speed)), 3000, bound));
    CHECK(near(value_of(speed_for_line_energy(power, energy)), 0.25, bound));
    CHECK(near(value_of(interaction_time(number_cast<T>(static_cast<S>(2e-4)), speed)), 8e-4, bound));
    // At rest, and with no power: finite.
    T const rest = number_cast<T>(static_cast<S>(0));
    CHECK(is_finite(line_energy(power, rest)));
    CHECK(is_finite(line_energy(rest, rest)));
    CHECK(value_of(line_energy(rest, rest)) == 0);
    CHECK(near(value_of(line_energy(power, rest)), 3e12, bound));
    CHECK(near(value_of(interaction_time(speed, -speed)), 0.25e9, bound));
}

TEST_CASE("rates and sensitivities, by hand") {
    // E = P/v with a speed that grows by 2 m/s²: E′ = −E v′/v, E″ = 2 E (v′/v)².
    auto const energy = line_energy(4000.0, Taylor<double, 2>::variable(0) * 2.0 + 0.25);
    CHECK(near(energy.derivative(1), -16000.0 * 8, 4 * epsilon));
    CHECK(near(energy.derivative(2), 2 * 16000.0 * 64, 4 * epsilon));
    using G = Gradient<double, 2>;
    auto const g = line_energy(G::variable(4000, 0), G::variable(0.25, 1));
    CHECK(near(g.partial[0], 4, 4 * epsilon));
    CHECK(near(g.partial[1], -64000, 4 * epsilon));
}

TEST_CASE("what is left behind parts in a row") {
    CHECK(transmission({}) == 1);
    CHECK(near(transmission({{"collimator", 0.01}, {"mirrors", 0.02}, {"cover glass", 0.005}}), 0.965349,
               4 * epsilon)); // 0.99 · 0.98 · 0.995 = 0.965349
    CHECK(transmission({{"nothing", 0}}) == 1);
    auto const message_of = [](double share) {
        return refusal_of([&] { return transmission({{"mirrors", 0.02}, {"cover glass", share}}); });
    };
    CHECK(message_of(1) == "a loss in cover glass of 1 is not possible: it must be 0 or more and below 1");
    CHECK(message_of(-0.01) ==
          "a loss in cover glass of -0.01 is not possible: it must be 0 or more and below 1");
    CHECK(message_of(not_a_number).find("a loss in cover glass of") == 0);
    CHECK(message_of(0.99).empty());
}

TEST_CASE("line energy does not touch the heap") {
    AllocationGuard guard;
    double sum = 0;
    for (int i = 0; i < 100; ++i)
        sum += line_energy(4000.0, Taylor<double, 3>::variable(0.01 * i)).derivative(1);
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(is_finite(sum));
}
