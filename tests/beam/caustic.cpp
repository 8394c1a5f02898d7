#include "seamhold/beam/caustic.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <numbers>
#include <type_traits>

// The laws of a beam's envelope for every type of number, and what its makers refuse. Worked numbers from
// outside stand in tests/outside/beam.cpp. The beam is invented.

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::infinity;
using seamhold::test::near;
using seamhold::test::not_a_number;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::unit_of;

namespace {

// 2 mm·mrad with a waist of 0.1 mm radius: 5 mm Rayleigh length, waist half a metre down the path.
Caustic<> const caustic{1e-4, 5e-3, 0.5};

} // namespace

TEST_CASE("a caustic is plain data") {
    static_assert(std::is_trivially_copyable_v<Caustic<>> && std::is_aggregate_v<Caustic<>>);
    static_assert(std::is_trivially_copyable_v<BeamQuality<>> && std::is_aggregate_v<BeamQuality<>>);
    static_assert(std::is_trivially_copyable_v<Caustic<Taylor<Gradient<double, 2>, 2>>>);
    static_assert(std::is_same_v<decltype(caustic.radius(Taylor<double, 2>{})), Taylor<double, 2>>);
    static_assert(std::is_same_v<decltype(Caustic<Gradient<double, 1>>{}.radius(Taylor<double, 2>{})),
                                 Taylor<Gradient<double, 1>, 2>>);
}

TEST_CASE_TEMPLATE("law: the envelope", T, double, float, Taylor<double, 2>, Taylor<float, 3>,
                   Gradient<double, 2>, Taylor<Gradient<double, 2>, 2>) {
    using S =
        std::conditional_t<std::is_same_v<T, float> || std::is_same_v<T, Taylor<float, 3>>, float, double>;
    // The place is known to a unit in the last place of 0.5 m, which is 100 units of a Rayleigh length; the
    // radius is no more wrong than that, and by half a dozen roundings.
    double const bound = 110 * unit_of<T>();
    Caustic<S> const c{static_cast<S>(1e-4), static_cast<S>(5e-3), static_cast<S>(0.5)};
    Random random(9001);
    for (int i = 0; i < 200; ++i) {
        double const u = i == 0 ? 0.0 : i == 1 ? 1e-8 : i == 2 ? 100.0 : random.uniform(-5, 5);
        T const place = number_cast<T>(static_cast<S>(0.5 + 5e-3 * u));
        double const exact_u = (value_of(place) - value_of(c.waist_place)) / value_of(c.rayleigh_length);
        auto const radius = c.radius(place);
        static_assert(std::is_same_v<std::decay_t<decltype(radius)>, T>);
        CHECK(near(value_of(radius), 1e-4 * std::sqrt(1 + exact_u * exact_u), bound));
        CHECK(std::abs(value_of(c.defocus_in_rayleigh_lengths(place)) - exact_u) <=
              bound * (1 + std::abs(exact_u)));
        CHECK(is_finite(radius));
    }
    CHECK(near(c.half_divergence(), 0.02, 4 * unit_of<T>()));
    CHECK(near(c.beam_parameter_product(), 2e-6, 4 * unit_of<T>()));
}

TEST_CASE("rates and sensitivities of the radius, by hand") {
    // w² = w0² + τ²ζ², so w w′ = τ²ζ and w w″ = τ² − w′²; a place that runs at 3 m/s.
    using T = Taylor<double, 2>;
    double const zeta = 7.5e-3, slope_squared = 4e-4;
    T place = T::variable(0);
    place = place * 3.0 + (0.5 + zeta);
    auto const w = caustic.radius(place);
    double const radius = std::sqrt(1e-8 + slope_squared * zeta * zeta);
    double const first = slope_squared * zeta / radius;
    // 7.5 mm at 0.5 m: 67 units of the place's last, and a dozen roundings.
    double const bound = 80 * epsilon;
    CHECK(near(w.value(), radius, bound));
    CHECK(near(w.derivative(1), 3 * first, bound));
    CHECK(near(w.derivative(2), 9 * (slope_squared - first * first) / radius, 2 * bound));
    // By an unknown waist place, the opposite; by an unknown waist radius at a fixed Rayleigh length, w/w0.
    using G = Gradient<double, 2>;
    Caustic<G> const unknown{G::variable(1e-4, 0), 5e-3, G::variable(0.5, 1)};
    auto const g = unknown.radius(0.5 + zeta);
    CHECK(near(g.partial[0], radius / 1e-4, bound));
    CHECK(near(g.partial[1], -first, bound));
    // In the waist: stationary, with the true curvature τ²/w0, at rest and in motion.
    auto const waist = caustic.radius(T::variable(0.5));
    CHECK(waist.value() == 1e-4);
    CHECK(waist.derivative(1) == 0);
    CHECK(near(waist.derivative(2), slope_squared / 1e-4, 8 * epsilon));
}

TEST_CASE("Rayleigh length: the area doubles; the depth of a factor meets the factor") {
    CHECK(near(caustic.radius(0.505) / 1e-4, std::numbers::sqrt2, 110 * epsilon));
    for (double const factor : {1.05, std::numbers::sqrt2, 3.0})
        CHECK(near(caustic.radius(0.5 + caustic.depth(factor)) / 1e-4, factor, 110 * epsilon));
    CHECK(near(caustic.depth(std::numbers::sqrt2), 5e-3, 8 * epsilon));
    CHECK(caustic.depth(1.0) == 0);
    CHECK(caustic.depth(0.5) == 0);
    CHECK(caustic.depth(not_a_number) == 0);
}

TEST_CASE("every way to state a quality states the same one") {
    double const wavelength = 1070e-9;
    auto const quality = BeamQuality<>::from_beam_parameter_product(wavelength, 2e-6);
    double const bound = 8 * epsilon; // half a dozen factors
    CHECK(near(quality.m_squared, std::numbers::pi * 2e-6 / wavelength, bound));
    CHECK(near(BeamQuality<>::from_m2(wavelength, quality.m_squared).beam_parameter_product(), 2e-6, bound));
    CHECK(near(BeamQuality<>::from_fibre_half_divergence(wavelength, 5e-5, 0.08).m_squared, quality.m_squared,
               bound));
    CHECK(near(BeamQuality<>::from_fibre(wavelength, 5e-5, std::sin(0.08)).m_squared, quality.m_squared,
               bound));
    // A product of just λ/π is allowed in double and float.
    CHECK(
        near(BeamQuality<>::from_beam_parameter_product(wavelength, wavelength / std::numbers::pi).m_squared,
             1, bound));
    CHECK(BeamQuality<float>::from_beam_parameter_product(1.07e-6F, 1.07e-6F / std::numbers::pi_v<float>)
              .m_squared == doctest::Approx(1).epsilon(1e-6));

    auto const from_waist = caustic_from_waist(quality, 1e-4, 0.5);
    auto const from_angle = caustic_from_half_divergence(quality, 0.02, 0.5);
    CHECK(near(from_waist.rayleigh_length, 5e-3, bound));
    CHECK(near(from_angle.rayleigh_length, 5e-3, bound));
    CHECK(near(from_angle.waist_radius, 1e-4, bound));
    CHECK(near(from_waist.m_squared(wavelength), quality.m_squared, bound));
    CHECK(from_waist.waist_place == 0.5);

    // By an unknown M²: zR = π w0²/(λM²) falls as 1/M².
    using G = Gradient<double, 1>;
    auto const unknown = BeamQuality<G>::from_m2(wavelength, G::variable(4, 0));
    auto const g = caustic_from_waist(unknown, G(1e-4), G(0.0)).rayleigh_length;
    CHECK(near(g.partial[0], -g.value / 4, bound));
}

TEST_CASE("what no beam can have is refused, by name") {
    using Q = BeamQuality<>;
    CHECK(refusal_of([] { return Q::from_m2(0, 2); }) ==
          "a wavelength (m) of 0 is not possible: it must be above 0 and at most 1e-4");
    CHECK(refusal_of([] { return Q::from_m2(1070, 2); }) ==
          "a wavelength (m) of 1070 is not possible: it must be above 0 and at most 1e-4");
    CHECK(refusal_of([] { return Q::from_m2(not_a_number, 2); }).find("a wavelength (m) of") == 0);
    CHECK(refusal_of([] { return Q::from_m2(1e-6, 0.9); }) ==
          "an M2 of 0.9 is not possible: it must be 1 or more");
    CHECK(refusal_of([] { return Q::from_m2(1e-6, infinity); }) ==
          "an M2 of inf is not possible: it must be 1 or more");
    CHECK(refusal_of([] { return Q::from_beam_parameter_product(1e-6, 1e-7); }) ==
          "a beam parameter product (m rad) of 1e-07 is not possible: it must be the wavelength over pi, "
          "3.18309886e-07, or more");
    CHECK(refusal_of([] { return Q::from_beam_parameter_product(-1e-6, 1e-7); }).find("a wavelength") == 0);
    CHECK(refusal_of([] { return Q::from_fibre(1e-6, 0, 0.1); }) ==
          "a core diameter (m) of 0 is not possible: it must be above 0");
    CHECK(refusal_of([] { return Q::from_fibre(1e-6, 1e-4, 0); }) ==
          "a numerical aperture of 0 is not possible: it must be above 0 and at most 0.47");
    CHECK(refusal_of([] { return Q::from_fibre(1e-6, 1e-4, 1.5); }).find("a numerical aperture of 1.5") == 0);
    CHECK(refusal_of([] { return Q::from_fibre_half_divergence(1e-6, 1e-4, 5.7); }) ==
          "a half divergence (rad) of 5.7 is not possible: it must be above 0 and at most 0.5");
    CHECK(refusal_of([] { return Q::from_fibre(1e-6, 1e-6, 0.1); }).find("a beam parameter product") == 0);
    auto const quality = Q::from_m2(1e-6, 2);
    CHECK(refusal_of([&] { return caustic_from_waist(quality, 0.0, 0.5); }) ==
          "a waist radius (m) of 0 is not possible: it must be above 0");
    CHECK(refusal_of([&] { return caustic_from_waist(quality, 1e-4, infinity); }) ==
          "a waist's place (m) of inf is not possible: it must be finite");
    CHECK(refusal_of([&] { return caustic_from_half_divergence(quality, -0.02, 0.5); }) ==
          "a half divergence (rad) of -0.02 is not possible: it must be above 0");
}

TEST_CASE("an envelope does not touch the heap") {
    AllocationGuard guard;
    double sum = 0;
    for (int i = 0; i < 100; ++i)
        sum += caustic.radius(Taylor<double, 3>::variable(0.5 + 1e-4 * i)).derivative(3) +
               caustic.defocus_in_rayleigh_lengths(0.5);
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(is_finite(sum));
}
