#include "seamhold/beam/optics.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <type_traits>

// The beam that a head delivers, for every type of number. Invented: a fibre of 50 µm with 80 mrad, a
// collimator of 125 mm, so a beam of 10 mm radius; its last optic 100 mm ahead of the first mirror.

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::near;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::unit_of;

namespace {

DeliveredBeam<> const beam = delivered_from_fibre(1070e-9, 50e-6, 0.08, 0.125, 0.1);

} // namespace

TEST_CASE("from fibre to spot, by hand") {
    double const bound = 12 * epsilon;                               // a dozen factors
    CHECK(near(beam.radius, 0.01, bound));                           // 125 mm · 80 mrad
    CHECK(near(beam.quality.beam_parameter_product(), 2e-6, bound)); // 25 µm · 80 mrad
    // The focus 0.9 m after the first mirror, 1 m behind the optic: 10 mrad, so 0.2 mm and 20 mm.
    auto const c = beam.caustic(0.9);
    CHECK(near(c.half_divergence(), 0.01, bound));
    CHECK(near(c.waist_radius, 2e-4, bound));
    CHECK(near(c.rayleigh_length, 0.02, bound));
    CHECK(c.waist_place == 0.9);
    // It is the image of the core: 25 µm times 1000 mm over 125 mm.
    CHECK(core_magnification(1.0, 0.125) == 8);
    CHECK(near(c.waist_radius, 25e-6 * core_magnification(1.0, 0.125), bound));
    // The spot grows with the path, the Rayleigh length with its square.
    auto const far = beam.caustic(1.9);
    CHECK(near(far.waist_radius / c.waist_radius, 2, bound));
    CHECK(near(far.rayleigh_length / c.rayleigh_length, 4, bound));
    // Behind a flat-field lens of 250 mm it is the same all over the field.
    FlatFieldBeam<> const lens = checked(FlatFieldBeam<>{beam.quality, beam.radius, 0.25});
    for (double const path : {0.3, 0.4, 0.5}) {
        auto const flat = lens.caustic(path);
        CHECK(near(flat.waist_radius, 5e-5, bound));
        CHECK(near(flat.rayleigh_length, 1.25e-3, bound));
        CHECK(flat.waist_place == path);
    }
    CHECK(near(lens.caustic(0.3, 0.025).waist_radius, 5.5e-5, bound));
}

TEST_CASE("the beam at the mirrors") {
    // At the optic it has the radius it came with, but for the waist that is left out: √(a² + w0²), (w0/a)²/2
    // = 2e-4 of it; at the first mirror a tenth of the way is gone.
    double const neglected = 0.5 * 0.02 * 0.02;
    CHECK(near(beam.radius_at(-0.1, 0.9), 0.01, 1.01 * neglected));
    CHECK(beam.radius_at(-0.1, 0.9) > 0.01);
    CHECK(near(beam.radius_at(0.0, 0.9), std::hypot(0.009, 2e-4), 12 * epsilon));
    CHECK(near(beam.radius_at(0.02, 0.9), std::hypot(0.0088, 2e-4), 12 * epsilon));
}

TEST_CASE_TEMPLATE("law: the caustic of a delivered beam keeps its beam parameter product", T, double, float,
                   Taylor<double, 2>, Taylor<float, 3>, Gradient<double, 2>, Taylor<Gradient<double, 2>, 2>) {
    using S =
        std::conditional_t<std::is_same_v<T, float> || std::is_same_v<T, Taylor<float, 3>>, float, double>;
    auto const quality = BeamQuality<S>::from_m2(static_cast<S>(1.07e-6), static_cast<S>(5.87));
    DeliveredBeam<S> const b{quality, static_cast<S>(0.01), static_cast<S>(0.1)};
    double const bound = 12 * unit_of<T>(); // a dozen roundings
    Random random(9201);
    for (int i = 0; i < 100; ++i) {
        T const path = number_cast<T>(static_cast<S>(random.uniform(0.2, 1.5)));
        auto const c = b.caustic(path);
        static_assert(std::is_same_v<std::decay_t<decltype(c)>, Caustic<T>>);
        CHECK(near(value_of(c.beam_parameter_product()), value_of(quality.beam_parameter_product()), bound));
        CHECK(near(value_of(c.half_divergence()), value_of(b.radius) / (value_of(path) + value_of(b.ahead)),
                   bound));
        CHECK(is_finite(c.radius(path)));
        CHECK(near(value_of(c.radius(path)), value_of(c.waist_radius), bound));
    }
    // In the optic itself, and ahead of it, where nothing is focused: finite numbers but for the division by
    // a Rayleigh length of 0.
    CHECK(is_finite(b.caustic(number_cast<T>(static_cast<S>(-0.1))).rayleigh_length));
}

TEST_CASE("rates of the spot as the focus moves, and by what is unknown") {
    // A focus that runs off at 2 m/s: w0 = BPP b/a, so w0′ = 2 BPP/a; zR = BPP b²/a², zR″ = 8 BPP/a².
    using T = Taylor<double, 2>;
    auto const c = beam.caustic(T::variable(0) * 2.0 + 0.9);
    double const bound = 16 * epsilon; // a dozen factors, and b's place in 1 m
    CHECK(near(c.waist_radius.derivative(1), 4e-4, bound));
    CHECK(c.waist_radius.derivative(2) == 0);
    CHECK(near(c.rayleigh_length.derivative(1), 2 * 2 * 2e-6 / 1e-4, bound));
    CHECK(near(c.rayleigh_length.derivative(2), 8 * 2e-6 / 1e-4, bound));
    CHECK(c.waist_place.derivative(1) == 2);
    // By an unknown radius in the optic: w0 falls as 1/a, zR as 1/a².
    using G = Gradient<double, 1>;
    DeliveredBeam<G> const unknown{BeamQuality<G>{1070e-9, beam.quality.m_squared}, G::variable(0.01, 0),
                                   0.1};
    auto const g = unknown.caustic(0.9);
    CHECK(near(g.waist_radius.partial[0], -2e-4 / 0.01, bound));
    CHECK(near(g.rayleigh_length.partial[0], -2 * 0.02 / 0.01, bound));
}

TEST_CASE("what is no delivered beam is refused, by name") {
    auto const quality = beam.quality;
    CHECK(refusal_of([&] {
              return checked(DeliveredBeam<>{quality, 0, 0.1});
          }) == "a beam's radius in the last optic (m) of 0 is not possible: it must be above 0");
    CHECK(refusal_of([&] {
              return checked(DeliveredBeam<>{quality, 0.01, -0.1});
          }) == "a last optic's distance ahead of the first mirror (m) of -0.1 is not possible: it must be 0 "
                "or more");
    CHECK(refusal_of([&] {
              return checked(DeliveredBeam<>{{1e-6, 0.5}, 0.01, 0.1});
          }) == "an M2 of 0.5 is not possible: it must be 1 or more");
    CHECK(refusal_of([&] {
              return checked(FlatFieldBeam<>{quality, -1, 0.25});
          }) == "a beam's radius before the lens (m) of -1 is not possible: it must be above 0");
    CHECK(refusal_of([&] {
              return checked(FlatFieldBeam<>{quality, 0.01, 0});
          }) == "a lens's focal length (m) of 0 is not possible: it must be above 0");
    CHECK(refusal_of([&] { return checked(FlatFieldBeam<>{{0, 2}, 0.01, 0.25}); }).find("a wavelength") == 0);
    CHECK(refusal_of([] { return delivered_from_fibre(1e-6, 5e-5, 0.08, 0.0, 0.1); }) ==
          "a collimator's focal length (m) of 0 is not possible: it must be above 0");
    CHECK(refusal_of([] { return delivered_from_fibre(1e-6, -5e-5, 0.08, 0.1, 0.1); }).find("a core") == 0);
}

TEST_CASE("a delivered beam does not touch the heap") {
    AllocationGuard guard;
    double sum = 0;
    for (int i = 0; i < 100; ++i)
        sum += beam.radius_at(0.02, Taylor<double, 3>::variable(0.5 + 1e-3 * i)).derivative(3);
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(is_finite(sum));
}
