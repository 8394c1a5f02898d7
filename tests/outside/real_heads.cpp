#include "seamhold/head/real_head.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/units.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>

// Heads out of true against a trace by plain vectors that shares nothing with the library
// (tests/support/real_mirrors.hpp, real_heads.hpp), and the ideal pair as a real head against worked numbers.

using namespace seamhold;
using namespace seamhold::test;

namespace {

// What came of aiming at many points.
struct Tally {
    std::size_t points = 0, ok = 0, one_step = 0;
    int most_steps = 0;
    double passes = 0;  // distance of the aimed beam from its point, m
    double command = 0; // of mirror angles from those that the point was made with, rad
    double focus = 0;   // of the focus from the point, m
    bool forwards = true;
};

// Aims at points that were made by tracing random commands.
template <class AnyRealHead>
void aim_at_points(PlainHead const& plain, AnyRealHead const& head, Random& random, int points,
                   Tally& tally) {
    for (int i = 0; i < points; ++i) {
        double const x = random.uniform(-0.99, 0.99) * plain.mirror_range;
        double const y = random.uniform(-0.99, 0.99) * plain.mirror_range;
        auto const beam = beam_of(plain, x, y);
        double const way = way_to_focus(plain, beam, random.uniform(-0.9, 0.9) * plain.lens_range);
        auto const place = beam.line.point + times(way, beam.line.direction);
        auto const aim = head.aim(point_of(place));
        ++tally.points;
        tally.ok += status_of(aim) == Status::ok;
        auto const& told = aim.command;
        auto const again = beam_of(plain, told.x_mirror, told.y_mirror);
        tally.forwards = tally.forwards && again.forwards;
        tally.passes = std::max(tally.passes, distance(place, again.line));
        tally.command = std::max({tally.command, std::abs(told.x_mirror - x), std::abs(told.y_mirror - y)});
        auto const focus =
            again.line.point + times(way_to_focus(plain, again, told.focus), again.line.direction);
        tally.focus = std::max(tally.focus, length(focus - place));
        auto const solved = head.solve(point_of(place));
        tally.most_steps = std::max(tally.most_steps, solved.steps);
        tally.one_step += solved.steps == 1;
    }
}

void check(Tally const& tally) {
    MESSAGE("points ", tally.points, ", worst miss ", tally.passes, " m, of the angles ", tally.command,
            " rad, of the focus ", tally.focus, " m; most steps ", tally.most_steps, ", one step in ",
            static_cast<double>(tally.one_step) / static_cast<double>(tally.points));
    CHECK(tally.ok == tally.points);
    CHECK(tally.forwards);
    CHECK(tally.passes <= 1e-10); // the promise
    CHECK(tally.most_steps <= 8); // the bound
    // Of every one of these points some 2 to 3 m are swept by a radian of a mirror, and no less than 0.2 m.
    CHECK(tally.command <= 1e-10 / 0.2);
    // The focus is as long as the lens says, to the bits of a path of a metre, and as far aside as the beam.
    CHECK(tally.focus <= 2e-10);
}

} // namespace

TEST_CASE("random heads and points: ray(aim(p)) passes within 1e-10 m of p, traced by plain vectors") {
    // 700 heads of 20 points, and 300 with a lens below; a nightly run of a million takes fifty times as
    // many.
    Tally tally;
    Random random(7101);
    for (std::size_t i = 0; i < runs(700); ++i) {
        auto const plain = random_open_head(random);
        aim_at_points(plain, open_head_of(plain), random, 20, tally);
    }
    check(tally);
}

TEST_CASE("random heads with a flat-field lens") {
    Tally tally;
    Random random(7102);
    for (std::size_t i = 0; i < runs(300); ++i) {
        auto const plain = random_lens_head(random);
        aim_at_points(plain, lens_head_of(plain), random, 20, tally);
    }
    check(tally);
}

TEST_CASE("random heads with a field map") {
    // The distortion is a cubic polynomial, which the map's splines hold exactly, to what a fit rounds.
    Tally open, lens;
    Random random(7103);
    for (std::size_t i = 0; i < runs(10); ++i) {
        auto plain = random_open_head(random);
        plain.map = random_map(random);
        aim_at_points(plain, open_head_of(plain), random, 200, open);
        plain = random_lens_head(random);
        plain.map = random_map(random);
        aim_at_points(plain, lens_head_of(plain), random, 200, lens);
    }
    check(open);
    check(lens);
}

TEST_CASE("the pincushion of a mirror pair, as a real head without errors") {
    // y = d tan 2θy, x = (e + √(d² + y²)) tan 2θx: G. Marshall, G. Stutz (eds.), "Handbook of Optical and
    // Laser Scanning" (the formula from memory; the numbers were worked out apart from this project, to 13
    // digits). Lengths in mm, angles in degrees; half a unit of the last printed digit is 5e-11 mm.
    struct Row {
        double e, d, x_mirror, y_mirror, x, y;
    };
    Row const rows[] = {{20, 500, 10, 0, 189.2645218184, 0},
                        {20, 500, 10, 5, 192.0719355894, 88.16349035423},
                        {20, 500, 10, 10, 200.9439212598, 181.9851171331},
                        {20, 500, 5, 7.5, 94.8001011597, 133.9745962156},
                        {15, 300, 10, 10, 121.6582634587, 109.1910702799}};
    for (auto const& row : rows) {
        CAPTURE(row.x);
        double const e = millimetres(row.e), d = millimetres(row.d);
        auto const head = real_head(HeadParts<OpenBeam>{
            ideal_mirrors(e), {}, LinearFocus<>{e + d, 10}, {{-0.2, 0.2}, {-0.2, 0.2}, {-0.02, 0.02}}});
        auto const ray = head.ray(Command<>{degrees(row.x_mirror), degrees(row.y_mirror), 0});
        double const way = (d - ray.origin.z) / ray.direction.z;
        CHECK(std::abs(in_millimetres(ray.origin.x + way * ray.direction.x) - row.x) < 1e-10);
        CHECK(std::abs(in_millimetres(ray.origin.y + way * ray.direction.y) - row.y) < 1e-10);
        auto const back = head.aim(Point<Head>{millimetres(row.x), millimetres(row.y), d}).command;
        CHECK(std::abs(in_degrees(back.x_mirror) - row.x_mirror) < 1e-10);
        CHECK(std::abs(in_degrees(back.y_mirror) - row.y_mirror) < 1e-10);
    }
}
