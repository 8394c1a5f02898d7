// The beam that a head delivers: from the fibre to the spot on an inclined face, its power density and line
// energy, and a caustic fitted to measured diameters. All numbers are invented and no setting for a machine.
// Each checked value can be worked out by hand, as the comments beside it do. Returns 1 if they are not met.
#include "seamhold/beam.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"

#include <cmath>
#include <cstdio>
#include <vector>

using namespace seamhold;

int main() {
    // [delivered]
    // Fibre of 50 µm and 80 mrad, so 2 mm·mrad; collimator of 125 mm, so a beam of 10 mm radius; the focusing
    // optic stands 100 mm ahead of the first mirror.
    DeliveredBeam<> const beam =
        delivered_from_fibre(1070e-9, micrometres(50), milliradians(80), millimetres(125), millimetres(100));
    Caustic<> const caustic = beam.caustic(0.9); // the focus lies 0.9 m down the optical path
    double const at_last_mirror = beam.radius_at(millimetres(20), 0.9);
    // [delivered] end
    std::printf("M2 %.3f; waist radius %.1f um, Rayleigh length %.2f mm, %.3f mm wide at the last mirror\n",
                beam.quality.m_squared, in_micrometres(caustic.waist_radius),
                in_millimetres(caustic.rayleigh_length), in_millimetres(2 * at_last_mirror));

    // [spot]
    // Straight down on a face that falls away by 60°, 20 mm beyond the focus: one Rayleigh length.
    Ray<double> const ray{{0, 0, 0}, {0, 0, 1}, millimetres(20), 0.9};
    Direction<Head> const normal{std::sin(degrees(60)), 0, -std::cos(degrees(60))};
    Point<Head> const point{0, 0, 0.9};
    auto const spot = spot_on(ray, caustic, point, normal);
    // The track of a seam that runs down the slope is as wide as the spot is across it.
    double const track = 2 * spot.half_width(Direction<Head>{0, 1, 0});
    double const peak = spot.gaussian_peak_power_density(4000.0);
    double const energy = line_energy(4000.0, metres_per_minute(5));
    // [spot] end
    std::printf("%.1f um by %.1f um half axes, %.2f Rayleigh lengths off; track %.1f um\n",
                in_micrometres(spot.semi_minor), in_micrometres(spot.semi_major), spot.defocus,
                in_micrometres(track));
    std::printf("peak %.3f GW/m2, %.1f J/mm\n", peak / 1e9, energy / 1000);

    // [rate]
    // The same with a focus that runs off at 0.5 m/s: how fast waist and spot change.
    auto const moving = beam.caustic(Taylor<double, 1>::variable(0) * 0.5 + 0.9);
    double const growth = moving.waist_radius.derivative(1);
    double const long_axis_rate = spot_on(ray, moving, point, normal).semi_major.derivative(1);
    // [rate] end
    std::printf("waist %+.1f um/s, long half axis %+.2f mm/s\n", in_micrometres(growth),
                in_millimetres(long_axis_rate));

    // [fit]
    std::vector<MeasuredDiameter> row;
    for (int i = -6; i <= 6; ++i) // diameters of 0.4 mm in the waist at 80 mm, growing by 20 mrad
        row.push_back({millimetres(80 + 10 * i), std::hypot(millimetres(0.4), 0.020 * millimetres(10 * i))});
    CausticFit const fit = fit_caustic(row, 1070e-9);
    // [fit] end
    std::printf("fitted: M2 %.3f, waist at %.1f mm, worst plane %.0e um off, %zu warnings\n", fit.m_squared,
                in_millimetres(fit.caustic.waist_place), in_micrometres(std::abs(fit.worst_residual)),
                fit.warnings().size());

    auto const is = [](double value, double expected) { return std::abs(value / expected - 1) < 1e-12; };
    double const root = std::sqrt(2.0);
    bool right = is(caustic.waist_radius, 25e-6 * 1000 / 125); // the core's image: 25 µm · 1000/125
    right = right && is(caustic.rayleigh_length, 0.02);        // (0.2 mm)² / 2 mm·mrad
    right = right && is(at_last_mirror, std::hypot(200e-6, 0.01 * 0.88)); // 10 mrad, 880 mm before the focus
    right = right && is(spot.defocus, 1) && is(spot.semi_minor, 200e-6 * root);           // at zR: √2
    right = right && is(spot.semi_major, 400e-6 * root) && is(track, 400e-6 * root);      // 1/cos 60° is 2
    right = right && is(peak, 2 * 4000 / (std::acos(-1.0) * 16e-8)) && is(energy, 48000); // 2P/(πab); P/v
    // BPP/a · 0.5 m/s; and w w′ = w0 w0′ + τζ (τζ)′ = 0.2 · (0.1 − 5.1) mm · mm/s
    right = right && is(growth, 1e-4);
    right = right && is(long_axis_rate, -2 * 5e-3 / root);
    right = right && is(fit.m_squared, beam.quality.m_squared) && fit.warnings().empty(); // 0.2 mm · 10 mrad
    return right ? 0 : 1;
}
