#include "seamhold/limit/report.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"

#include <algorithm>
#include <cmath>
#include <string>

// The limits of the beam and of the mirrors' apertures, for a head at rest half a metre above a flat face,
// worked by hand. The textbook's formulas, from memory: a beam of beam parameter product BPP that leaves the
// last optic with radius a and is focused b behind it has w0 = BPP·b/a and zR = w0²/BPP, and is
// w = w0·√(1 + (z/zR)²) wide at z beyond the waist; a face under the angle β sees the long axis as 1/cos β.
// Definitions after ISO 11146-1 (from memory). All numbers are invented.

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;
double const bpp = 4e-6;                     // BPP, m rad
double const radius = 0.009;                 // a, m
double const ahead = 0.06;                   // of the last optic before the first mirror, m
double const power = 4000;                   // W
double const separation = 0.04, plate = 0.5; // m

Process process() {
    return {DeliveredBeam<>{BeamQuality<>::from_beam_parameter_product(1.07e-6, bpp), radius, ahead},
            power,
            0.0008,      // largest spot, m
            0.5,         // largest defocus
            1e10,        // least power density, W/m²
            {1e4, 3e4}}; // J/m
}

Job resting(AnySeam const& seam, Process const& beam, AnyHead const& scan_head) {
    Pose<Cell, Flange> const above{{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {0, 0, plate}};
    AnyChain const chain{AnyFlangeMotion(Rest<Cell, Flange>{above}),
                         AnyPartMotion(Rest<Cell, Part>{Pose<Cell, Part>::identity()}),
                         Pose<Flange, Head>::identity(), scan_head};
    return {chain, {20, 1.5e4, 4e3, 5e-4, 2e-3, 0.5, 5e-3}, degrees(25), {{"seam", 1, seam}}, beam};
}

AnyHead ideal_head() {
    auto h = head();
    h.focus_path = separation + plate;
    return h;
}

Plane<> flat() { return {Pose<Part, Face>::identity()}; }

SeamReport reported(AnySeam const& seam, Process const& beam = process(), int samples = 1000) {
    auto const job = resting(seam, beam, ideal_head());
    return report(job, seam.duration() / samples).front();
}

/// The waist with the focus b behind the last optic, and the beam elsewhere.
double waist(double b) { return bpp * b / radius; }
double rayleigh(double b) { return waist(b) * waist(b) / bpp; }

/// The beam of the ideal pair to (x, y) of the face, x along the head's x: path from the first mirror, and
/// the cosine of its angle to the axis.
struct Beam {
    double path, cosine;
};
Beam beam_to(double x, double y) {
    double const to_axis = std::hypot(plate, y);
    double const path = std::hypot(x, separation + to_axis);
    // cos 2θx · cos 2θy
    return {path, (separation + to_axis) / path * (plate / to_axis)};
}

void check(SeamReport const& seam, Limit limit, double value, double allowed, double relative) {
    CAPTURE(std::string(to_string(limit)));
    auto const& peak = seam.peak(limit);
    CHECK(peak.value == doctest::Approx(value).epsilon(relative));
    CHECK(peak.allowed == doctest::Approx(allowed).epsilon(1e-15));
}

double const rounding = 1e-13; // some hundred operations, with a tenth lost in a path's difference

} // namespace

TEST_CASE("a beam straight down: spot, power density, and no defocus") {
    auto const seam = reported(held({0, 0}, flat(), 0.1));
    double const w0 = waist(ahead + separation + plate); // 4e-6 · 0.6 / 0.009 = 0.267 mm
    check(seam, Limit::spot_size, 2 * w0, 0.0008, rounding);
    CHECK(seam.peak(Limit::spot_size).utilisation == doctest::Approx(2 * w0 / 0.0008).epsilon(rounding));
    CHECK(std::abs(seam.peak(Limit::defocus).value) <= 1e-13); // rounding of 0.54 m over 18 mm
    CHECK(seam.peak(Limit::defocus).allowed == 0.5);
    double const density = power / (pi * w0 * w0);
    check(seam, Limit::power_density, density, 1e10, rounding);
    // A least limit: used up when the density has fallen to it.
    CHECK(seam.peak(Limit::power_density).utilisation == doctest::Approx(1e10 / density).epsilon(rounding));
    // A held point has no line energy, and this head no aperture.
    CHECK(seam.peak(Limit::line_energy).allowed == 0);
    CHECK(seam.peak(Limit::mirror_aperture).allowed == 0);
    CHECK(seam.within());
}

TEST_CASE("aside, the path is longer and the face leans") {
    auto const seam = reported(held({0.08, 0.1}, flat(), 0.1));
    auto const [path, cosine] = beam_to(0.08, 0.1);
    double const w0 = waist(ahead + path);
    check(seam, Limit::spot_size, 2 * w0 / cosine, 0.0008, rounding);
    check(seam, Limit::power_density, power * cosine / (pi * w0 * w0), 1e10, rounding);
}

TEST_CASE("a focus offset is defocus, and widens the spot") {
    // 5 mm beyond the surface: the face lies 5 mm before the waist, which is further from the optic.
    auto const seam = reported(held({0, 0}, flat(), 0.1, Weave{}, 0.005));
    double const b = ahead + separation + plate + 0.005;
    double const turns = -0.005 / rayleigh(b);
    double const w = waist(b) * std::sqrt(1 + turns * turns);
    check(seam, Limit::defocus, turns, 0.5, 1e-12); // 5 mm as a difference of paths of half a metre
    CHECK(seam.peak(Limit::defocus).utilisation == doctest::Approx(-turns / 0.5).epsilon(1e-12));
    check(seam, Limit::spot_size, 2 * w, 0.0008, rounding);
    check(seam, Limit::power_density, power / (pi * w * w), 1e10, rounding);
    // A Rayleigh length off, the spot is √2 as wide and has half the density.
    double const far = rayleigh(ahead + separation + plate);
    auto const one = reported(held({0, 0}, flat(), 0.1, Weave{}, -far));
    double const near_b = ahead + separation + plate - far;
    check(one, Limit::defocus, far / rayleigh(near_b), 0.5, 1e-12);
    CHECK_FALSE(one.within());
    CHECK(one.peak(Limit::defocus).utilisation > 2);
}

TEST_CASE("line energy: power over the feed along the seam, the weave left out") {
    double const v = 0.2; // 4000 W / 0.2 m/s = 20 J/mm
    auto const straight = [&](Weave const& weave, double speed = 0.2) {
        return AnySeam(at_speed(straight_between({-0.02, 0}, {0.02, 0}), flat(), speed, weave, 0));
    };
    auto const plain = reported(straight({}));
    CHECK(plain.peak(Limit::line_energy).value == doctest::Approx(power / v).epsilon(rounding));
    // In the middle of 10 to 30 J/mm.
    CHECK(plain.peak(Limit::line_energy).utilisation <= 1e-12);
    // At 0.16 m/s it is 25 J/mm: half way from the middle to the upper end.
    auto const slow = reported(straight({}, 0.16));
    check(slow, Limit::line_energy, 2.5e4, 3e4, rounding);
    CHECK(slow.peak(Limit::line_energy).utilisation == doctest::Approx(0.5).epsilon(1e-12));
    CHECK(slow.within());
    // Too fast: below the lower end.
    auto const fast = reported(straight({}, 0.8));
    check(fast, Limit::line_energy, 5e3, 1e4, rounding);
    CHECK(fast.peak(Limit::line_energy).utilisation == doctest::Approx(1.5).epsilon(1e-12));
    CHECK(fast.binding() == Limit::line_energy);

    // A weave moves the spot faster, but what a metre of seam gets is the same.
    auto const woven = reported(straight(Weave{200, 0.0003}), process(), 4000);
    check(woven, Limit::line_energy, power / v, woven.peak(Limit::line_energy).allowed, rounding);
    CHECK(woven.peak(Limit::line_energy).utilisation <= 1e-12);
}

TEST_CASE("a seam's own power: by its feed, with a floor, and ramps that the limits leave out") {
    auto const flown = [&](double speed, PowerLaw const& law) {
        return at_speed(OnFace<Straight<>, Plane<>>{straight_between({-0.02, 0}, {0.02, 0}), flat()}, speed,
                        {{}, 0, law});
    };
    // 1000 W at rest to 5000 W at 0.4 m/s, not below 2500 W.
    PowerLaw const law({{0, 1000}, {0.4, 5000}}, 2500);
    // At 0.2 m/s 3000 W: 15 J/mm. At 0.1 m/s the table says 2000 W, the floor 2500 W: 25 J/mm.
    CHECK(reported(AnySeam(flown(0.2, law))).peak(Limit::line_energy).value ==
          doctest::Approx(1.5e4).epsilon(rounding));
    CHECK(reported(AnySeam(flown(0.1, law))).peak(Limit::line_energy).value ==
          doctest::Approx(2.5e4).epsilon(rounding));
    // Ramps from 0 would be below every limit; judged is what lies between them.
    PowerLaw const ramped({{0, 1000}, {0.4, 5000}}, 2500, {0.05, 0.05, 0, 0});
    auto const seam = flown(0.2, ramped);
    CHECK(reported(AnySeam(seam)).peak(Limit::line_energy).value == doctest::Approx(1.5e4).epsilon(rounding));
    CHECK(seam.power_at(0, 0) == 0);
    CHECK(seam.power_at(0.025, 0) == doctest::Approx(1500).epsilon(rounding));
    CHECK(seam.power_at(0.1, 0) == doctest::Approx(3000).epsilon(rounding));
    CHECK(seam.power_at(0.2, 0) == doctest::Approx(0).epsilon(1e-9));
}

TEST_CASE("a job without a process has none of the beam's limits, and no least density none of its") {
    auto job = resting(held({0, 0}, flat(), 0.1), process(), ideal_head());
    job.process.reset();
    auto const none = report(job, 0.01).front();
    for (auto const limit : {Limit::spot_size, Limit::defocus, Limit::power_density, Limit::line_energy})
        CHECK(none.peak(limit).allowed == 0);
    auto beam = process();
    beam.least_power_density = 0;
    CHECK(reported(held({0, 0}, flat(), 0.1), beam).peak(Limit::power_density).allowed == 0);
}

TEST_CASE("the beam behind a flat-field lens: the same spot all over, but for the chief ray") {
    // f = 254 mm, collimated 9 mm; the focus axis puts the focus 2 mm beyond the focal plane, so that w0 =
    // BPP (f + 2 mm) / a. A chief ray under 0.3 of the angle in, in x.
    FlatFieldLens<> lens{
        0.254, 0.06, 0.44, infinity, ChiefRaySlope<>::proportional(0.3), ChiefRaySlope<>::proportional(0.0)};
    AxisRanges const ranges{{degrees(-10), degrees(10)}, {degrees(-10), degrees(10)}, {-0.02, 0.02}};
    auto const scan_head = real_head(
        HeadParts<FlatFieldLens<>>{ideal_mirrors(separation), lens, LinearFocus<>{0.44, 2}, ranges});
    auto beam = process();
    beam.beam = FlatFieldBeam<>{BeamQuality<>::from_beam_parameter_product(1.07e-6, bpp), radius, 0.254};
    double const w0 = bpp * 0.256 / radius, reach = w0 * w0 / bpp;
    for (double const x : {0.0, 0.05}) {
        auto const job = resting(held({x, 0}, flat(), 0.1, Weave{}, 0.002), beam, scan_head);
        auto const seam = report(job, 0.01).front();
        CHECK(seam.status == Status::ok);
        double const cosine = std::cos(0.3 * x / 0.254); // θ = x / f
        // 2 mm along the beam before the waist.
        double const w = w0 * std::sqrt(1 + 0.002 * 0.002 / (reach * reach));
        check(seam, Limit::defocus, -0.002 / reach, 0.5, 1e-12);
        check(seam, Limit::spot_size, 2 * w / cosine, 0.0008, 1e-12);
    }
}

TEST_CASE("the mirror's aperture is the tighter mirror's, at its worst along the seam") {
    // The beam is a cone from 9 mm at 60 mm before the first mirror to a point at its focus at command 0.
    Apertures const apertures{{0.015, 0.02, false}, {0.025, 0.014, false}, radius, ahead, separation + plate};
    AxisRanges const ranges{{degrees(-10), degrees(10)}, {degrees(-10), degrees(10)}, {-0.02, 0.02}};
    HeadParts<OpenBeam> parts{ideal_mirrors(separation), {}, LinearFocus<>{separation + plate, 8}, ranges};
    parts.apertures = apertures;
    AnyHead const scan_head = real_head(parts);
    // Straight down both mirrors stand under 45° to the beam, so that the footprint is √2 longer across the
    // axis: 9 · 540/600 · √2 of 20 mm on the first, 9 · 500/600 · √2 of 14 mm on the last.
    double const last = radius * 0.5 / 0.6 * std::sqrt(2.0) / 0.014;
    auto const middle = report(resting(held({0, 0}, flat(), 0.1), process(), scan_head), 0.01).front();
    check(middle, Limit::mirror_aperture, last, 1, rounding);
    // The y mirror turned by θ = atan(y/z)/2: the light comes along y and the normal stands at 45° + θ to it,
    // so that the footprint is 1/cos(45° + θ) longer. y = 60 mm of the part is −60 mm of the head.
    auto const turned = [&](double y) {
        double const theta = std::atan(-y / plate) / 2;
        return radius * 0.5 / 0.6 / std::cos(pi / 4 + theta) / 0.014;
    };
    for (double const y : {0.06, -0.06}) {
        auto const aside = report(resting(held({0, y}, flat(), 0.1), process(), scan_head), 0.01).front();
        check(aside, Limit::mirror_aperture, turned(y), 1, rounding);
    }
    // Along a seam the worst is its end on the side where the mirror lies flatter to the beam.
    auto const seam = at_speed(straight_between({0, 0.06}, {0, -0.06}), flat(), 0.2, Weave{}, 0);
    auto const along = report(resting(seam, process(), scan_head), 0.01).front();
    bool const at_end = turned(-0.06) > turned(0.06);
    check(along, Limit::mirror_aperture, std::max(turned(0.06), turned(-0.06)), 1, rounding);
    CHECK(along.peak(Limit::mirror_aperture).time == doctest::Approx(at_end ? 1.6 : 1.0).epsilon(1e-15));
    CHECK(along.within());
}
