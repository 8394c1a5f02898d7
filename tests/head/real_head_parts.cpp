#include "seamhold/head/real_head.hpp"

#include <doctest/doctest.h>

#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <string>
#include <vector>

// What the parts of a real head do to its answers (heat, focus surface, outline, apertures), and what set-up
// refuses.

using namespace seamhold;
using namespace seamhold::test;

namespace {

HeadParts<OpenBeam> ideal_parts() {
    return {ideal_mirrors(0.04), {}, LinearFocus<>{0.54, 10}, {{-0.2, 0.2}, {-0.2, 0.2}, {-0.03, 0.03}}};
}

std::string refused(std::function<void(HeadParts<OpenBeam>&)> const& spoil) {
    auto parts = ideal_parts();
    spoil(parts);
    return refusal_of([&] { return real_head(parts); });
}

} // namespace

TEST_CASE("what heat does to the focus is commanded away") {
    Random random(8501);
    auto const plain = random_open_head(random), lens_plain = random_lens_head(random);
    double const shift = -0.0015; // towards the head
    auto const check = [&](auto parts, double depth) {
        auto const cold = real_head(parts);
        parts.focus_shift = shift;
        auto const warm = real_head(parts);
        for (double const x : {-0.03, 0.02}) {
            Point<Head> const p{x, 0.025, depth};
            auto const before = cold.aim(p).command, after = warm.aim(p).command;
            // The mirrors stay; the lens, a tenth of a metre for a metre, moves the focus away by as much as
            // heat brought it near.
            CHECK(after.x_mirror == before.x_mirror);
            CHECK(after.y_mirror == before.y_mirror);
            CHECK(std::abs(after.focus - (before.focus + 0.00015)) <= epsilon);
            // The warm head's beam of the warm command ends where the cold one's did.
            auto const cold_ray = cold.ray(before), warm_ray = warm.ray(after);
            CHECK(std::abs(warm_ray.focus_path - cold_ray.focus_path) <= 4 * epsilon);
            CHECK(warm.ray(before).focus_path < cold_ray.focus_path);
        }
    };
    check(parts_of(plain, OpenBeam{}), 0.5);
    check(parts_of(lens_plain, lens_of(*lens_plain.lens)),
          lens_plain.lens->exit_z + lens_plain.lens->working_distance);
}

TEST_CASE("a focus surface: what was measured on a plane is what is commanded there") {
    Random random(8502);
    auto const plain = random_open_head(random);
    auto parts = parts_of(plain, OpenBeam{});
    auto const law = LinearFocus<>{plain.zero_setting, plain.ratio};
    // An invented bend of the field: the sharpest spot lies up to some mm from where the path says.
    auto const bend = [](double x, double y) {
        return 0.002 + 0.01 * x - 0.05 * x * x + 0.03 * x * y - 0.04 * y * y;
    };
    double const plane = plain.zero_setting - 0.04;
    auto const path_to_plane = [&](double x, double y) {
        auto const beam = beam_of(plain, x, y);
        return beam.path + (plane - beam.line.point.z) / beam.line.direction.z;
    };
    std::vector<FocusSurfaceRow> rows;
    for (int i = -4; i <= 4; ++i)
        for (int k = -4; k <= 4; ++k) {
            double const x = 0.0475 * i, y = 0.0475 * k;
            rows.push_back({x, y, (path_to_plane(x, y) + bend(x, y) - plain.zero_setting) / plain.ratio});
        }
    parts.focus_surface = fit_focus_surface(law, rows, path_to_plane);
    auto const head = real_head(parts);
    for (int i = 0; i < 200; ++i) {
        double const x = random.uniform(-0.17, 0.17), y = random.uniform(-0.17, 0.17);
        auto const beam = beam_of(plain, x, y);
        double const way = (plane - beam.line.point.z) / beam.line.direction.z;
        auto const p = point_of(beam.line.point + times(way, beam.line.direction));
        auto const aim = head.aim(p, 0.001);
        REQUIRE(status_of(aim) == Status::ok);
        // The splines hold a parabola to what the fit rounds; a root is off by 1e-12 rad.
        CHECK(std::abs(aim.command.focus - (path_to_plane(x, y) + 0.001 + bend(x, y) - plain.zero_setting) /
                                               plain.ratio) <= 1e-12);
        // And the beam of the command says that its focus is there.
        CHECK(std::abs(head.ray(aim.command).focus_path - (path_to_plane(x, y) + 0.001)) <= 1e-12);
    }
    // Beyond the measured rectangle a point is out of reach, although the mirrors would go there.
    auto wide = parts;
    wide.ranges.x_mirror = {-0.3, 0.3};
    auto const beam = beam_of(plain, 0.2, 0.0);
    auto const beyond = real_head(wide).aim(point_of(beam.line.point + times(0.5, beam.line.direction)));
    CHECK(status_of(beyond) == Status::out_of_reach);
    CHECK(beyond.clearance.field < 0);
    CHECK(beyond.clearance.x_mirror > 0);
}

TEST_CASE("the field: outlines in the focal plane and as mirror angles, and a map's own") {
    Random random(8503);
    auto const plain = random_open_head(random);
    auto parts = parts_of(plain, OpenBeam{});
    double const radius = 0.25 * plain.zero_setting;
    parts.outline = circle_outline(radius, OutlineIn::focal_plane);
    auto const in_plane = real_head(parts);
    parts.outline = rectangle_outline(0.2, 0.3, OutlineIn::mirror_angles, {0.01, 0});
    auto const by_angles = real_head(parts);
    double const plane = in_plane.working_distance();
    std::size_t inside = 0;
    for (int i = 0; i < 1000; ++i) {
        double const x = random.uniform(-0.17, 0.17), y = random.uniform(-0.17, 0.17);
        auto const beam = beam_of(plain, x, y);
        auto const at = [&](double z) {
            return beam.line.point +
                   times((z - beam.line.point.z) / beam.line.direction.z, beam.line.direction);
        };
        auto const in_focus = at(plane);
        // Anywhere along the beam.
        auto const p = point_of(at(plane * random.uniform(0.7, 1.2)));
        double const expected = 1 - (in_focus.x * in_focus.x + in_focus.y * in_focus.y) / (radius * radius);
        auto const aim = in_plane.aim(p);
        CHECK(std::abs(aim.clearance.field - expected) <= 1e-10);
        CHECK((status_of(aim) == Status::ok) == (expected >= 0));
        inside += expected >= 0;
        bool const in = std::abs(x - 0.01) < 0.1 && std::abs(y) < 0.15;
        CHECK((by_angles.aim(p).clearance.field > 0) == in);
        CHECK((status_of(by_angles.aim(p)) == Status::ok) == in);
    }
    CHECK(inside > 100);
    CHECK(inside < 900);
    // A map has marks up to 0.19 rad; the mirrors would go on to 0.25.
    auto mapped_plain = plain;
    mapped_plain.map = random_map(random);
    mapped_plain.mirror_range = 0.25;
    auto const mapped = open_head_of(mapped_plain);
    for (double const angle : {0.185, 0.195}) {
        auto const beam = beam_of(mapped_plain, angle, 0.05);
        auto const aim = mapped.aim(point_of(beam.line.point + times(0.5, beam.line.direction)));
        CHECK((status_of(aim) == Status::ok) == (angle < 0.19));
        CHECK((aim.clearance.field > 0) == (angle < 0.19));
    }
}

TEST_CASE("the beam's footprint on the mirrors is a limit") {
    // Worked by hand: the first mirror at θ sends the beam to the last at e·tan 2θ along its axis; the plane
    // of the last mirror at command 0 lengthens a beam of radius r along the axis by √(1 + 2·tan² 2θ), since
    // the beam's part along the axis is sin 2θ and its cosine of incidence cos 2θ/√2.
    auto parts = ideal_parts();
    double const r = 0.004, half = 0.015, e = 0.04;
    parts.apertures = Apertures{{0.05, 0.05, false}, {half, 0.05, false}, r, 0, infinity};
    auto const head = real_head(parts);
    std::size_t ok = 0;
    for (int i = -19; i <= 19; ++i) {
        double const angle = 0.01 * i;
        auto const beam = traced(plain_pair(e), angle, 0.0).leaving;
        auto const aim = head.aim(point_of(beam.point + times(0.5, beam.direction)));
        double const tangent = std::abs(std::tan(2 * angle));
        double const expected = 1 - (e * tangent + r * std::sqrt(1 + 2 * tangent * tangent)) / half;
        CHECK(std::abs(aim.clearance.aperture - expected) <=
              1e-13); // bits of some twenty operations over 15 mm
        CHECK((status_of(aim) == Status::ok) == (expected >= 0));
        ok += expected >= 0;
    }
    CHECK(ok > 10);
    CHECK(ok < 30);
    // A beam that runs together is smaller on the mirrors: from 4 mm, 60 mm ahead, to a point 540 mm behind
    // the first mirror it has 0.9 of its radius on the first mirror, 3.6 mm, and (540 − 40)/600 of it on the
    // last.
    Apertures const cone{{0.05, 0.05, false}, {half, 0.05, false}, r, 0.06, 0.54};
    CHECK(std::abs(cone.radius_at(0.0) - 0.0036) <= epsilon);
    CHECK(std::abs(cone.radius_at(0.04) - 0.004 * 5 / 6) <= epsilon);
    parts.apertures = cone;
    auto const in_middle = real_head(parts).aim(Point<Head>{0, 0, 0.5});
    CHECK(std::abs(in_middle.clearance.aperture - (1 - 0.004 * 5 / 6 / half)) <= 8 * epsilon);
    // Without apertures there is no such limit.
    CHECK(real_head(ideal_parts()).aim(Point<Head>{0, 0, 0.5}).clearance.aperture == 1);
}

TEST_CASE("what set-up of a head refuses") {
    CHECK(refused([](auto&) {}).empty());
    CHECK(has(refused([](auto& p) { p.ranges.x_mirror = {0.1, 0.1}; }), "x mirror range"));
    CHECK(has(refused([](auto& p) { p.ranges.y_mirror = {0.1, -0.1}; }), "y mirror range"));
    CHECK(has(refused([](auto& p) { p.ranges.x_mirror = {-0.1, 0.8}; }), "x mirror range"));
    CHECK(has(refused([](auto& p) { p.ranges.y_mirror = {-0.8, 0.1}; }), "y mirror range"));
    CHECK(has(refused([](auto& p) { p.ranges.y_mirror.high = not_a_number; }), "y mirror range"));
    CHECK(has(refused([](auto& p) { p.ranges.focus = {0.01, -0.01}; }), "focus range"));
    // At 44° of the first mirror the beam meets its surface under 89° to one side.
    CHECK(has(refused([](auto& p) {
                  p.ranges.x_mirror = {-0.1, 0.768};
              }) + refused([](auto& p) {
                  p.ranges.x_mirror = {-0.768, 0.1};
              }),
              "misses the first mirror at"));
    // To one side the last mirror turns away from the beam; to the other it sends it back, nearly along
    // itself.
    CHECK(has(refused([](auto& p) {
                  p.ranges.y_mirror = {-0.1, 0.77};
              }) + refused([](auto& p) {
                  p.ranges.y_mirror = {-0.77, 0.1};
              }),
              "misses the last mirror at"));
    CHECK(has(refused([](auto& p) {
                  p.ranges.y_mirror = {-0.1, 0.74};
              }) + refused([](auto& p) {
                  p.ranges.y_mirror = {-0.74, 0.1};
              }),
              "does not leave towards the work at"));
    auto const with = [](Apertures const& a) { return [a](HeadParts<OpenBeam>& p) { p.apertures = a; }; };
    MirrorAperture const good{0.02, 0.02, true};
    CHECK(refused(with({good, good, 0.004, 0.1, infinity})).empty());
    CHECK(has(refused(with({{0, 0.02, true}, good, 0.004, 0.1, infinity})), "aperture of half sizes 0.0"));
    CHECK(has(refused(with({good, {0.02, -1, true}, 0.004, 0.1, infinity})), "aperture of half sizes 0.02"));
    for (auto const& bad : {Apertures{good, good, 0, 0.1, 1}, Apertures{good, good, not_a_number, 0.1, 1},
                            Apertures{good, good, 0.004, -0.1, 1}, Apertures{good, good, 0.004, 0.1, 0},
                            Apertures{good, good, 0.004, 0.1, not_a_number}})
        CHECK(has(refused(with(bad)), "radius and focus must be above 0"));
    CHECK(has(refused(with({good, good, 0.025, 0, infinity})),
              "footprint reaches beyond the mirror's aperture"));
}
