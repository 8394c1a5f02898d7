#include "seamhold/head/thermal_shift.hpp"

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <string>
#include <type_traits>

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::refusal_of;

namespace {

double const bound = 4 * epsilon * 2e-3; // four roundings of shifts up to 2 mm
ThermalShift<> const optics{-2.5e-7, 8}; // invented: a millimetre towards the head at 4 kW, in 8 s

std::string message_of(ThermalShift<> const& wrong) {
    return refusal_of([&] { return checked(wrong); });
}

} // namespace

TEST_CASE("a thermal shift is plain data") {
    static_assert(std::is_trivially_copyable_v<ThermalShift<>> && std::is_aggregate_v<ThermalShift<>>);
    static_assert(std::is_same_v<decltype(optics.at(1.0, Taylor<double, 2>{})), Taylor<double, 2>>);
    static_assert(std::is_same_v<decltype(ThermalShift<float>{}.at(1.0F, 1.0F, 0.0F)), float>);
}

TEST_CASE("the focus creeps to its steady place: 63.2 % after one time constant, halfway after τ·ln 2") {
    CHECK(std::abs(optics.steady(4000.0) + 1e-3) <= bound);
    CHECK(optics.at(4000.0, 0.0) == 0);
    CHECK(std::abs(optics.at(4000.0, 8.0) + 1e-3 * (1 - 0.36787944117144233)) <= bound); // 1/e
    CHECK(std::abs(optics.at(4000.0, 8 * 0.6931471805599453) + 0.5e-3) <= bound);        // ln 2
    CHECK(std::abs(optics.at(4000.0, 800.0) + 1e-3) <= bound);
    // It cools to nothing, and before the power changes it stands where it stood.
    CHECK(std::abs(optics.at(0.0, 8 * 0.6931471805599453, -1e-3) + 0.5e-3) <= bound);
    CHECK(std::abs(optics.at(4000.0, -1e9, -2e-4) + 2e-4) <= bound);
}

TEST_CASE("two stretches of time in a row are one") {
    double const first = optics.at(3000.0, 2.0, -1e-4);
    CHECK(std::abs(optics.at(3000.0, 5.0, first) - optics.at(3000.0, 7.0, -1e-4)) <= bound);
}

TEST_CASE("its rates solve the first-order law: shift' = (steady − shift)/τ, and again for the next") {
    auto const s = optics.at(4000.0, Taylor<double, 3>::variable(3.0));
    CHECK(std::abs(s.derivative(1) - (-1e-3 - s.value()) / 8) <= bound);
    CHECK(std::abs(s.derivative(2) + s.derivative(1) / 8) <= bound);
    CHECK(std::abs(s.derivative(3) + s.derivative(2) / 8) <= bound);
    auto const before = optics.at(4000.0, Taylor<double, 3>::variable(-1.0), -1e-4);
    for (int k = 1; k <= 3; ++k)
        CHECK(before.derivative(k) == 0);
}

TEST_CASE("it may depend on unknowns: power, shift for a watt and time constant") {
    using G = Gradient<double, 2>;
    ThermalShift<G> const unknown{G::variable(-2.5e-7, 0), G::variable(8.0, 1)};
    auto const s = unknown.at(4000.0, 3.0);
    double const left = std::exp(-3.0 / 8);
    CHECK(std::abs(s.partial[0] - 4000 * (1 - left)) <= 8 * epsilon * 4000);
    // d/dτ of steady·(1 − e^(−t/τ)) is −steady·t/τ²·e^(−t/τ).
    CHECK(std::abs(s.partial[1] - 1e-3 * 3 / 64 * left) <= bound);
    auto const by_power = optics.at(G::variable(4000.0, 1), Taylor<double, 2>::variable(3.0));
    static_assert(std::is_same_v<decltype(by_power), Taylor<G, 2> const>);
    CHECK(std::abs(by_power.coefficient[1].partial[1] + 2.5e-7 * left / 8) <= bound);
    CHECK(std::abs(ThermalShift<float>{-2.5e-7F, 8}.at(4000.0F, 3.0F, 0.0F) - optics.at(4000.0, 3.0)) <=
          8e-3F * std::numeric_limits<float>::epsilon());
}

TEST_CASE("asking a thermal shift does not touch the heap") {
    AllocationGuard const guard;
    CHECK(optics.at(4000.0, Taylor<double, 3>::variable(3.0)).value() < 0);
    CHECK(guard.count() == 0);
}

TEST_CASE("a thermal shift that is none is refused") {
    CHECK(message_of(optics).empty());
    CHECK(message_of({std::numeric_limits<double>::infinity(), 8}) ==
          "a thermal shift's shift for a watt (m/W) of inf is not possible: it must be finite");
    CHECK(message_of({-1e-7, 0}) ==
          "a thermal shift's time constant (s) of 0 is not possible: it must be above 0 and finite");
}
