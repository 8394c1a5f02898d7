#include "seamhold/beam.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/boost_autodiff.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

// The beam against what stands outside the project: formulas of ISO 11146-1 as printed in the documentation
// of github.com/scottprahl/laserbeamsize (docs/11-M2-Parameters.ipynb), with numbers worked out from them
// apart from this project by mpmath; rays traced by plain vectors; an integral; derivatives by Boost.Math.

using namespace seamhold;
using seamhold::test::Random;

namespace {

double const epsilon = std::numeric_limits<double>::epsilon();

bool near(double a, double b, double relative) { return std::abs(a - b) <= relative * std::abs(b); }

// Vectors of this test, apart from the library's.
struct V {
    double x, y, z;
};
V operator+(V a, V b) { return {a.x + b.x, a.y + b.y, a.z + b.z}; }
V operator-(V a, V b) { return {a.x - b.x, a.y - b.y, a.z - b.z}; }
V times(double k, V a) { return {k * a.x, k * a.y, k * a.z}; }
double product(V a, V b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
V crossed(V a, V b) { return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x}; }
double length(V a) { return std::sqrt(product(a, a)); }

// Where a line through p along d meets the plane through q with normal n.
V met(V p, V d, V q, V n) { return p + times(product(q - p, n) / product(d, n), d); }

// A beam along some axis, its waist (or tip) at `waist`, and a face that the axis meets at `place`.
struct Scene {
    V axis, e, f, waist, place, normal;
};

Scene scene_of(Random& random, double away, double incidence) {
    auto const a = random.on_sphere<3>(), b = random.on_sphere<3>();
    V const axis{a[0], a[1], a[2]};
    V e = crossed(axis, {b[0], b[1], b[2]});
    e = times(1 / length(e), e);
    V const f = crossed(axis, e);
    V const waist{0.01, -0.02, 0.03};
    return {axis,
            e,
            f,
            waist,
            waist + times(away, axis),
            times(std::sin(incidence), e) - times(std::cos(incidence), axis)};
}

Direction<Head> direction(V v) { return {v.x, v.y, v.z}; }
Point<Head> point(V v) { return {v.x, v.y, v.z}; }
V vector(Point<Head> const& p) { return {p.x, p.y, p.z}; }

Ray<double> ray_of(Scene const& scene, double waist_place) {
    // It leaves its origin 0.3 m before the waist.
    return {point(scene.waist - times(0.3, scene.axis)), direction(scene.axis), waist_place - 0.3,
            waist_place};
}

} // namespace

TEST_CASE("worked numbers of waist, Rayleigh length and M2") {
    // w² = w0² (1 + ((z − z0)/zR)²), zR = π w0²/(λM²), after the page named above. Each number is right to
    // half a unit of its last printed digit: ten digits, 5e-11 and a little.
    double const printed = 1e-10, wavelength = 1070e-9;
    auto const two = BeamQuality<>::from_beam_parameter_product(wavelength, 2e-6);
    CHECK(near(two.m_squared, 5.8721358011, printed));
    auto const a = caustic_from_waist(two, 100e-6, 0.0);
    CHECK(near(a.rayleigh_length, 5e-3, 8 * epsilon));
    CHECK(near(a.half_divergence(), 20e-3, 8 * epsilon));
    CHECK(near(a.radius(10e-3), 223.6067977e-6, 3e-10)); // ten digits
    auto const four = BeamQuality<>::from_beam_parameter_product(wavelength, 4e-6);
    CHECK(near(four.m_squared, 11.7442716022, printed));
    CHECK(near(caustic_from_waist(four, 200e-6, 0.0).rayleigh_length, 10e-3, 8 * epsilon));
    auto const fine = BeamQuality<>::from_m2(wavelength, 1.1);
    auto const b = caustic_from_waist(fine, 25e-6, 0.0);
    CHECK(near(b.rayleigh_length, 1.6682203980e-3, printed));
    CHECK(near(fine.beam_parameter_product(), 0.3746507360e-6, 2 * printed));
    CHECK(near(b.radius(5e-3), 78.9906764e-6, 1e-9)); // nine digits
    // Focused by 500 mm from a diameter of 20 mm: 4λfM²/(πD), any text on laser optics (from memory).
    CHECK(near(2 * FlatFieldBeam<>{fine, 10e-3, 0.5}.caustic(0.5).waist_radius, 37.4650736e-6, 2e-9));
    CHECK(near(2 * DeliveredBeam<>{fine, 10e-3, 0.1}.caustic(0.4).waist_radius, 37.4650736e-6, 2e-9));
}

TEST_CASE("a published beam: diameters to M2") {
    // d0 = 220 µm, Θ = 18 mrad at 1064 nm: the beam of tests/test_m2_fit.py of
    // github.com/scottprahl/laserbeamsize. The input is published there; M² = πd0Θ/(4λ), zR = d0/Θ and BPP =
    // d0Θ/4 were worked out apart from this project by mpmath. The row of diameters is made here by d² = d0²
    // + Θ²(z − z0)².
    double const d_0 = 220e-6, spread = 18e-3;
    std::vector<MeasuredDiameter> row;
    for (int i = -7; i <= 7; ++i)
        row.push_back({0.08 + 6e-3 * i, std::sqrt(d_0 * d_0 + spread * spread * 36e-6 * i * i)});
    auto const fit = fit_caustic(row, 1064e-9);
    CHECK(near(fit.m_squared, 2.9230984277, 1e-10));                   // eleven digits
    CHECK(near(fit.caustic.rayleigh_length, 12.2222222e-3, 1e-8));     // nine digits
    CHECK(near(fit.caustic.beam_parameter_product(), 0.99e-6, 2e-13)); // as exact as the fit
    CHECK(near(fit.waist_diameter, d_0, 2e-13));
    CHECK(near(fit.full_divergence, spread, 2e-13));
    CHECK(std::abs(fit.caustic.waist_place - 0.08) <= 2e-13 * 0.08);
    CHECK(fit.warnings().empty());
    // And forward: the same from waist and quality.
    auto const quality = BeamQuality<>::from_m2(1064e-9, 2.9230984277);
    CHECK(near(caustic_from_waist(quality, d_0 / 2, 0.0).rayleigh_length, 12.2222222e-3, 1e-8));
    CHECK(near(2 * caustic_from_half_divergence(quality, spread / 2, 0.0).waist_radius, d_0, 1e-10));
}

TEST_CASE("one over the cosine, line energy, power inside a circle") {
    // Values of 1/cos to eleven digits.
    struct Row {
        double incidence, value;
    };
    Ray<double> const ray{{0, 0, 0}, {0, 0, 1}, 0, 0.5};
    Caustic<> const caustic{1e-4, 5e-3, 0.5};
    for (auto const& row : {Row{0, 1}, Row{30, 1.1547005384}, Row{45, 1.4142135624}, Row{60, 2}}) {
        Direction<Head> const normal{0, std::sin(degrees(row.incidence)), -std::cos(degrees(row.incidence))};
        auto const spot = spot_on(ray, caustic, Point<Head>{0, 0, 0.5}, normal);
        CHECK(near(spot.semi_major / spot.semi_minor, row.value, 5e-11));
    }
    // 4 kW at 5 m/min is 48 J for each millimetre: 4000 J/s over 83.33 mm/s.
    CHECK(near(line_energy(4000.0, metres_per_minute(5)) / 1000, 48, 4 * epsilon));
    // 1 − e⁻² and 1 − e^(−4.5), from tables of the exponential function.
    CHECK(std::abs(gaussian_share_inside(1e-4, 1e-4) - 0.8646647168) < 5e-11);
    CHECK(std::abs(gaussian_share_inside(1.5e-4, 1e-4) - 0.9888910035) < 5e-11);
}

TEST_CASE("the section of a cone of rays traced onto an inclined face") {
    // Every ray runs through the tip. Axes are found from the traced points alone: the two points where the
    // plane of incidence cuts the cone are the ends of the long axis; the widest extent across it is the
    // short one.
    Random random(9401);
    for (int run = 0; run < 40; ++run) {
        double const half_angle = random.uniform(0.002, 0.1), away = random.uniform(0.1, 0.6);
        double const incidence = random.uniform(0, 1.3), slope = std::tan(half_angle);
        auto const s = scene_of(random, away, incidence);
        auto const traced = [&](double turn) {
            V const aside = times(std::cos(turn), s.e) + times(std::sin(turn), s.f);
            return met(s.waist, s.axis + times(slope, aside), s.place, s.normal);
        };
        V const one = traced(0), other = traced(std::numbers::pi);
        V const middle = times(0.5, one + other);
        double const major = length(one - other) / 2;
        double minor = 0;
        int const rays = 20000;
        for (int i = 0; i < rays; ++i)
            minor = std::max(minor, product(traced(2 * std::numbers::pi * i / rays) - middle, s.f));
        // A tip of 1 pm radius stands for a point: (1e-12 / 2e-4)² of the radius.
        Caustic<> const cone{1e-12, 1e-12 / slope, 0.5};
        auto const section = section_on(ray_of(s, 0.5), cone, point(s.place), direction(s.normal));
        CAPTURE(half_angle);
        CAPTURE(incidence);
        REQUIRE(section.usable());
        // Coordinates below 1 m, a dozen roundings each, in a spot of 0.2 mm and more; more where the face
        // leans.
        double const bound = 24 * epsilon / std::pow(std::cos(incidence), 2);
        CHECK(std::abs(section.semi_major - major) <= bound);
        CHECK(length(vector(section.centre) - middle) <= bound);
        // The widest of 20000 rays is within half their step of the very widest: (2π/20000)²/8 = 1.2e-8.
        CHECK(section.semi_minor >= minor - bound);
        CHECK(section.semi_minor <= minor * (1 + 2e-8) + bound);
        // Every ray ends on the ellipse.
        double worst = 0;
        for (int i = 0; i < 100; ++i) {
            V const edge = traced(0.0628 * i) - middle;
            worst =
                std::max(worst, std::abs(section.radius_towards(direction(times(1 / length(edge), edge))) -
                                         length(edge)));
        }
        CHECK(worst <= 4 * bound);
        // The first order keeps what it says: (slope tan)² and no more than a few times that.
        auto const spot = spot_on(ray_of(s, 0.5), cone, point(s.place), direction(s.normal));
        double const second = std::pow(slope * std::tan(incidence), 2);
        if (second < 0.05) {
            CHECK(std::abs(spot.semi_minor / minor - 1) <= second + 3e-8);
            CHECK(std::abs(spot.semi_major / major - 1) <= 1.5 * second + slope * slope + 1e-9);
        }
    }
}

TEST_CASE("the section of a beam with a waist, traced by the straight lines of its envelope") {
    // The surface of radius √(w0² + τ²ζ²) is ruled: each straight line that passes the waist's edge askew,
    // at w0 (cos φ, sin φ) along (∓τ sin φ, ±τ cos φ, 1), lies in it (a hyperboloid of one sheet; any text on
    // geometry). Where such lines meet the face is the section.
    Random random(9402);
    for (int run = 0; run < 100; ++run) {
        double const w_0 = random.uniform(2e-5, 3e-4), slope = random.uniform(0.005, 0.1);
        double const away = random.uniform(-5, 5) * w_0 / slope, incidence = random.uniform(0, 1.2);
        auto const s = scene_of(random, away, incidence);
        Caustic<> const caustic{w_0, w_0 / slope, 0.5};
        auto const section = section_on(ray_of(s, 0.5), caustic, point(s.place), direction(s.normal));
        REQUIRE(section.usable());
        double worst = 0, widest = 0;
        int const lines = 4000;
        for (int i = 0; i < lines; ++i) {
            double const turn = 2 * std::numbers::pi * i / lines;
            V const out = times(std::cos(turn), s.e) + times(std::sin(turn), s.f);
            V const round = times(std::cos(turn), s.f) - times(std::sin(turn), s.e);
            V const foot = met(s.waist + times(w_0, out), s.axis + times(i % 2 == 0 ? slope : -slope, round),
                               s.place, s.normal);
            V const edge = foot - vector(section.centre);
            worst =
                std::max(worst, std::abs(section.radius_towards(direction(times(1 / length(edge), edge))) -
                                         length(edge)));
            widest = std::max(widest, length(edge));
        }
        CAPTURE(away);
        CAPTURE(incidence);
        // As for the cone; the slope of the ellipse's edge adds the ratio of its axes.
        CHECK(worst <= 24 * epsilon / std::pow(std::cos(incidence), 3));
        CHECK(near(section.semi_major, widest, 1e-4)); // 4000 lines, unevenly spread over the ellipse
    }
}

TEST_CASE("a Gaussian spot's power density adds up to the power") {
    // Sum of peak · exp(−2u²/a² − 2v²/b²) over the face by squares: for a bell the sum over a grid of a
    // quarter of its width is exact to rounding (Euler and Maclaurin), cut off at four widths, e⁻³² of the
    // peak.
    Ray<double> const ray{{0, 0, 0}, {0, 0, 1}, 0, 0.5};
    Direction<Head> const normal{std::sin(0.7), 0, -std::cos(0.7)};
    auto const spot = spot_on(ray, Caustic<>{1e-4, 5e-3, 0.5}, Point<Head>{0, 0, 0.503}, normal);
    auto const along = spot.long_way(normal);
    double const peak = spot.gaussian_peak_power_density(4000.0);
    double sum = 0;
    int const half = 16;
    double const u_step = spot.semi_minor / 4, v_step = spot.semi_major / 4;
    for (int i = -half; i <= half; ++i)
        for (int k = -half; k <= half; ++k) {
            // Away from the beam's axis, in the beam: what the face adds along the axis does not count.
            double const u = u_step * i, v = v_step * k * std::hypot(along.x, along.y);
            sum += peak * std::exp(-2 * (u * u + v * v) / (spot.beam_radius * spot.beam_radius)) * u_step *
                   v_step;
        }
    CHECK(near(sum, 4000, 1e-12));
}

TEST_CASE("derivatives against Boost's automatic differentiation") {
    // A spot while the beam swings, the face tips and the focus runs, three derivatives deep.
    auto const kernel = [](auto const& t) {
        using T = std::decay_t<decltype(t)>;
        auto const swing = sin_cos(T(t * 0.7 + 0.1));
        auto const tip = sin_cos(T(t * -0.9 + 0.5));
        T const zero = t * 0.0;
        T const path = t * 0.3 + 0.4;
        Ray<T> const ray{{zero, zero, zero}, {swing.sin, zero, swing.cos}, zero + 0.02, path};
        auto const beam = DeliveredBeam<>{BeamQuality<>{1070e-9, 6}, 0.01, 0.1};
        auto const section = section_on(ray, beam.caustic(path), Point<Head, T>{zero, zero, t * 0.2 + 0.45},
                                        Direction<Head, T>{tip.sin, zero, T(zero - tip.cos)});
        return T(section.semi_major * 1e3 + section.centre.x + section.defocus * 0.1 +
                 line_energy(4000.0, T(t + 0.25)) * 1e-5 + gaussian_share_inside(section.semi_minor, 3e-4));
    };
    for (double const time : {-0.1, 0.0, 0.2}) {
        auto const ours = kernel(Taylor<double, 3>::variable(time));
        auto const theirs = kernel(boost::math::differentiation::make_fvar<double, 3>(time));
        for (int k = 0; k <= 3; ++k) {
            double const expected = theirs.derivative(static_cast<std::size_t>(k));
            CAPTURE(k);
            // Two ways through some two hundred operations, with cancellation in the defocus: a thousand.
            CHECK(std::abs(ours.derivative(k) - expected) <= 1e3 * epsilon * (1 + std::abs(expected)));
        }
    }
}
