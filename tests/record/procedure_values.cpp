#include "seamhold/record/procedure_values.hpp"

#include "seamhold/frame/angles.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/travel_by.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::refusal_of;

namespace {

constexpr double separation = 0.04, height = 0.5; // m

// A beam as a fibre gives it; all numbers are invented.
DeliveredBeam<> beam() {
    return {BeamQuality<>::from_beam_parameter_product(1070e-9, 4e-6), millimetres(12), millimetres(60)};
}

// A head at rest, its axis straight down onto a flat part whose x runs as the head's.
Job resting_job(std::vector<ScheduledSeam> seams) {
    MirrorPair<> const head{separation,
                            separation + height,
                            20,
                            {-0.175, 0.175},
                            {-0.175, 0.175},
                            {-0.005, 0.005},
                            std::numeric_limits<double>::infinity()};
    auto const down = from_zyx_angles<Cell, Flange>(0, 0, std::numbers::pi);
    return {{Rest<Cell, Flange>{{down, {0, 0, height}}}, Rest<Cell, Part>{Pose<Cell, Part>::identity()},
             Pose<Flange, Head>::identity(), head},
            {40, 20000, 6000, 0.4e-3, 1.5e-3, 0.15, 2e-3},
            degrees(25),
            std::move(seams)};
}

Process process() { return {beam(), 3000, 1e-3, 10, 0, {0, no_limit}}; }

ScheduledSeam straight(FacePoint from, FacePoint to, double speed, SeamOptions const& options = {}) {
    Plane<> const face{Pose<Part, Face>::identity()};
    return {"S1", 2, at_speed(OnFace<Straight<>, Plane<>>{straight_between(from, to), face}, speed, options)};
}

ProcedureValue value_of_name(std::vector<ProcedureValue> const& values, std::string const& name) {
    auto const found =
        std::find_if(values.begin(), values.end(), [&](ProcedureValue const& v) { return v.name == name; });
    INFO(name);
    REQUIRE(found != values.end());
    return *found;
}

// Least and greatest to parts in 1e10: all come from closed forms of a few operations.
void check_value(std::vector<ProcedureValue> const& values, std::string const& name, std::string const& unit,
                 double least, double greatest, double within = 1e-10) {
    auto const v = value_of_name(values, name);
    INFO(name << ": " << v.least << " to " << v.greatest << " " << v.unit);
    CHECK(v.unit == unit);
    CHECK(v.origin == ValueOrigin::commanded);
    CHECK(std::abs(v.least - least) <= within * std::max(1.0, std::abs(least)));
    CHECK(std::abs(v.greatest - greatest) <= within * std::max(1.0, std::abs(greatest)));
}

// Where the face is beyond the waist by −offset: diameter of the beam across its axis at (x, 0), mm, and the
// face's distance in Rayleigh lengths. The focus lies `offset` beyond the face, so at the path from the first
// mirror to the face and that; w0 = BPP b/a, zR = BPP b²/a² as in docs/beam.md.
struct BeamAt {
    double diameter, defocus;
};
BeamAt beam_at(double x, double offset) {
    double const b = std::hypot(x, separation + height) + offset + millimetres(60);
    double const waist = 4e-6 * b / millimetres(12), rayleigh = waist * b / millimetres(12);
    return {2e3 * waist * std::hypot(1, offset / rayleigh), -offset / rayleigh};
}

} // namespace

TEST_CASE("a straight seam below a head at rest has the values that plain geometry gives") {
    // From x = −50 to 100 mm at 0.1 m/s; the beam turns about the first mirror, separation above the last.
    double const offset = millimetres(1.5);
    auto job = resting_job({straight({-0.05, 0}, {0.1, 0}, 0.1, {{}, offset, {}})});
    job.process = process();
    auto const values = procedure_values(job, 0, {1500}); // so that x = 0 is among them
    check_value(values, "length of the seam", "mm", 150, 150);
    check_value(values, "time of the seam", "s", 1.5, 1.5);
    check_value(values, "power at the work", "W", 3000, 3000);
    check_value(values, "travel speed", "m/min", 6, 6);
    check_value(values, "energy per length of seam, mean", "J/mm", 30, 30);
    check_value(values, "focus offset, positive beyond the face", "mm", 1.5, 1.5);
    check_value(values, "working distance from the last mirror", "mm", 500, 1e3 * std::hypot(0.1, height));
    double const ahead = std::atan(0.05 / (separation + height)); // at the start the beam comes from ahead
    double const behind = std::atan(0.1 / (separation + height));
    // The least of an angle that goes through 0 is as near to it as rounding of x: 1e-16 m.
    check_value(values, "incidence, 0 is perpendicular", "degrees", 0, in_degrees(behind));
    check_value(values, "incidence along, positive from ahead", "degrees", -in_degrees(behind),
                in_degrees(ahead));
    check_value(values, "incidence across, positive from the left", "degrees", 0, 0);
    auto const middle = beam_at(0, offset), end = beam_at(0.1, offset);
    check_value(values, "spot on the face, short axis", "mm", middle.diameter, end.diameter, 1e-9);
    check_value(values, "spot on the face, long axis", "mm", middle.diameter, end.diameter / std::cos(behind),
                1e-9);
    check_value(values, "face beyond the waist", "Rayleigh lengths", middle.defocus, end.defocus, 1e-9);
    CHECK(value_of_name(values, "weave").words == "none");
    // The same seam the other way: the beam comes from ahead where it came from behind.
    job.seams = {straight({0.1, 0}, {-0.05, 0}, 0.1)};
    check_value(procedure_values(job, 0), "incidence along, positive from ahead", "degrees",
                -in_degrees(ahead), in_degrees(behind));
    // Along y at x = 50 mm: across. With x ahead y is to the left, so with y ahead x is to the right, where
    // the spot is; the beam comes from its left.
    job.seams = {straight({0.05, 0}, {0.05, 1e-9}, 1e-9)};
    check_value(procedure_values(job, 0, {1}), "incidence across, positive from the left", "degrees",
                in_degrees(ahead), in_degrees(ahead), 1e-7);
}

TEST_CASE("power by feed, ramps, weave and speed profile stand there as they are") {
    PowerRamps const ramps{0.3, 0.1, 0.2, 0.5};
    Weave weave;
    weave.frequency = 200;
    weave.frequency_growth = 40;
    weave.amplitude = 0.4e-3;
    weave.amplitude_growth = -0.1e-3;
    weave.form = WeaveForm::figure_eight;
    auto const job = resting_job(
        {straight({-0.05, 0}, {0.1, 0}, 0.1, {weave, 0, PowerLaw({{0.05, 1000}, {0.15, 3000}}, 0, ramps)})});
    auto const values = procedure_values(job, 0, {1500});
    check_value(values, "power at the work", "W", 2000, 2000);
    CHECK(value_of_name(values, "power ramp, start").words == "from 20 % over 300 ms");
    CHECK(value_of_name(values, "power ramp, end").words == "to 50 % over 100 ms");
    // A ramp takes half of what it leaves out, for its time: 1.5 s − 0.3 s · 0.8/2 − 0.1 s · 0.5/2.
    check_value(values, "energy per length of seam, mean", "J/mm", 2000 * (1.5 - 0.12 - 0.025) / 150,
                2000 * (1.5 - 0.12 - 0.025) / 150);
    check_value(procedure_values(job, 0, {7}), "energy per length of seam, mean", "J/mm",
                2000 * (1.5 - 0.12 - 0.025) / 150, 2000 * (1.5 - 0.12 - 0.025) / 150);
    CHECK(value_of_name(values, "weave").words == "figure of eight");
    check_value(values, "weave frequency", "Hz", 200, 260);
    check_value(values, "weave amplitude to each side", "mm", 0.25, 0.4);
    // No beam: what it would be is a blank that says why.
    auto const spot = value_of_name(values, "spot on the face, long axis");
    CHECK(spot.origin == ValueOrigin::open);
    CHECK(std::isnan(spot.least));
    CHECK(spot.words == "the job says nothing of the beam");
    CHECK(value_of_name(procedure_values(resting_job({straight({0, 0}, {0.1, 0}, 0.1)}), 0),
                        "power at the work")
              .words == "the job says no power");

    // From rest to rest: the travel is slower at the ends than asked for.
    Plane<> const face{Pose<Part, Face>::identity()};
    SpeedLaw law{0.1};
    law.start_speed = 0.04;
    law.acceleration = 1;
    OnFace<Straight<>, Plane<>> const path{straight_between({0, 0}, {0.1, 0}), face};
    Seam<OnFace<Straight<>, Plane<>>> const slower{path, travel_by(law, path)};
    auto const profile = resting_job({{"S1", 0, slower}});
    check_value(procedure_values(profile, 0), "travel speed", "m/min", 2.4, 6, 1e-9);
}

TEST_CASE("a spot that is held has no travel") {
    Plane<> const face{Pose<Part, Face>::identity()};
    auto job = resting_job({{"T1", 0, held({0.1, 0}, face, 0.2)}});
    job.process = process();
    auto const values = procedure_values(job, 0);
    check_value(values, "travel speed", "m/min", 0, 0);
    check_value(values, "incidence, 0 is perpendicular", "degrees",
                in_degrees(std::atan(0.1 / (separation + height))),
                in_degrees(std::atan(0.1 / (separation + height))));
    for (auto const& v : values) {
        CHECK_FALSE(has(v.name, "energy per length"));
        CHECK_FALSE(has(v.name, "incidence along"));
    }
}

TEST_CASE("what people must say is blank, and what was said or measured goes where it belongs") {
    auto const values = procedure_values(resting_job({straight({0, 0}, {0.1, 0}, 0.1)}), 0, {1});
    for (char const* const name : {"shielding gas", "gas flow", "parent material", "thickness of the parts",
                                   "filler material", "welding position", "joint type", "preheating"})
        CHECK(value_of_name(values, name).origin == ValueOrigin::open);
    double const none = std::numeric_limits<double>::quiet_NaN();
    auto const filled =
        with_values(values, {{"shielding gas", "", none, none, "argon", ValueOrigin::stated},
                             {"gas flow", "l/min", 14.5, 15.5, "", ValueOrigin::measured},
                             {"travel speed", "m/min", 5.9, 6.1, "by the robot's log", ValueOrigin::measured},
                             {"room temperature", "degrees C", 21, 21, "", ValueOrigin::measured}});
    CHECK(filled.size() == values.size() + 2);
    CHECK(value_of_name(filled, "shielding gas").words == "argon");
    CHECK(value_of_name(filled, "gas flow").least == 14.5);
    auto const speed = std::find_if(filled.begin(), filled.end(),
                                    [](ProcedureValue const& v) { return v.name == "travel speed"; });
    CHECK(speed->origin == ValueOrigin::commanded);
    CHECK((speed + 1)->name == "travel speed");
    CHECK((speed + 1)->origin == ValueOrigin::measured);
    CHECK(filled.back().name == "room temperature");
    CHECK(has(refusal_of([&] {
                  return with_values(values, {{"", "", 0, 0, "", ValueOrigin::stated}});
              }),
              "needs a name"));
    CHECK(has(refusal_of([&] {
                  return with_values(values, {{"gas flow", "", 0, 0, "", ValueOrigin::open}});
              }),
              "cannot be open: gas flow"));
}

TEST_CASE("values of a seam that there is not, or that the head cannot follow, are refused") {
    auto const job = resting_job({straight({0, 0}, {2, 0}, 0.1)}); // 2 m below 0.5 m: far out of reach
    CHECK(has(refusal_of([&] { return procedure_values(job, 0); }), "seam S1 cannot be followed"));
    CHECK(has(refusal_of([&] { return procedure_values(job, 1); }), "there is no seam number 2"));
    CHECK(has(refusal_of([&] { return procedure_values(job, 0, {0}); }), "one sample or more"));
}
