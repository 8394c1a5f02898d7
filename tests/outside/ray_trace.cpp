#include "seamhold/head/mirror_pair.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/units.hpp"
#include "support/mirror_trace.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

// The closed form of the mirror pair against a beam traced by vectors through two turning planes
// (tests/support/mirror_trace.hpp, which shares nothing with the library), and against worked numbers.
// Law of reflection as a vector formula: r = d − 2 (d·n) n, a Householder reflection.

using namespace seamhold;
using seamhold::test::distance;
using seamhold::test::length;
using seamhold::test::Line;
using seamhold::test::Random;
using seamhold::test::reflected;
using seamhold::test::runs;
using seamhold::test::times;
using seamhold::test::traced;
using seamhold::test::Vector;

namespace {

double const epsilon = std::numeric_limits<double>::epsilon();

MirrorPair<> pair_of(double separation, double working_distance) {
    return {separation,
            separation + working_distance,
            10,
            {degrees(-12.5), degrees(12.5)},
            {degrees(-12.5), degrees(12.5)},
            {-0.1, 0.1},
            std::numeric_limits<double>::infinity()};
}

Vector<> vector_of(Point<Head> const& p) { return {p.x, p.y, p.z}; }
Vector<> vector_of(Direction<Head> const& d) { return {d.x, d.y, d.z}; }

} // namespace

TEST_CASE("the traced beam itself obeys known reflections") {
    // Worked by hand: d·n = −4/9, so r = d + 8/9 n = (25, 10, −2)/27, and r·n = +4/9.
    Vector<> const d{1.0 / 3, 2.0 / 3, -2.0 / 3}, n{2.0 / 3, -1.0 / 3, 2.0 / 3};
    auto const r = reflected(d, n);
    // Three products and a sum of numbers below one.
    CHECK(length(r - Vector<>{25.0 / 27, 10.0 / 27, -2.0 / 27}) <= 4 * epsilon);
    // A mirror that turns by an angle turns the beam by twice that, in the plane of the turn.
    for (double const angle : {1.0, 5.0, 12.5}) {
        auto const by_last = traced(0.02, 0.0, degrees(angle)).line.direction;
        CHECK(std::atan2(by_last.y, by_last.z) == doctest::Approx(degrees(2 * angle)).epsilon(8 * epsilon));
        auto const by_first = traced(0.02, degrees(angle), 0.0).line.direction;
        CHECK(std::atan2(by_first.x, by_first.z) == doctest::Approx(degrees(2 * angle)).epsilon(8 * epsilon));
    }
}

TEST_CASE("a million commands: ray(aim(p)) passes within 1e-12 m of p, traced by vectors") {
    Random random(7001);
    double const promised = 1e-12; // the header's and the tick's promise
    // What rounding leaves: some twenty operations, each half a unit in the last place, on coordinates up
    // to 1.5 m.
    double const rounding = 40 * epsilon;
    double worst_passing = 0, worst_closed_form = 0, worst_command = 0, worst_path = 0, worst_focus = 0;
    bool all_ok = true;
    auto const count = runs(1'000'000);
    for (std::size_t i = 0; i < count; ++i) {
        double const separation = random.uniform(0, 0.06);
        double const distance_to_work = random.uniform(0.2, 1);
        auto const head = pair_of(separation, distance_to_work);
        double const x_mirror = random.uniform(degrees(-12.4), degrees(12.4));
        double const y_mirror = random.uniform(degrees(-12.4), degrees(12.4));

        // A point on the traced beam, some way beyond the last mirror.
        auto const beam = traced(separation, x_mirror, y_mirror);
        double const way = random.uniform(0.7, 1.3) * distance_to_work;
        auto const place = beam.line.point + times(way, beam.line.direction);
        Point<Head> const p{place.x, place.y, place.z};
        double const offset = random.uniform(-0.01, 0.01);
        auto const aim = head.aim(p, offset);
        auto const& command = aim.command;
        worst_command = std::max(
            {worst_command, std::abs(command.x_mirror - x_mirror), std::abs(command.y_mirror - y_mirror)});

        // The command traced again passes through the point, and so does the library's own beam.
        worst_passing = std::max(
            worst_passing, distance(place, traced(separation, command.x_mirror, command.y_mirror).line));
        auto const ray = head.ray(command);
        Line<> const closed_form{vector_of(ray.origin), vector_of(ray.direction)};
        worst_passing = std::max(worst_passing, distance(place, closed_form));
        worst_closed_form = std::max({worst_closed_form, length(closed_form.point - beam.line.point),
                                      length(closed_form.direction - beam.line.direction)});

        // The optical path: mirror to mirror, and on to the focus, which lies `offset` beyond the point.
        worst_path = std::max(worst_path, std::abs(ray.path - beam.path));
        worst_focus = std::max(worst_focus, std::abs(ray.focus_path - (beam.path + way + offset)));
        double const lens = (beam.path + way + offset - (separation + distance_to_work)) / 10;
        worst_focus = std::max(worst_focus, std::abs(command.focus - lens));
        // The path ranges over 0.7 … 1.3 of the distance and the lens over ±0.1 m, a tenth: always in reach.
        all_ok = all_ok && status_of(aim) == Status::ok;
    }
    CHECK(all_ok);
    CHECK(worst_passing <= promised);
    CHECK(worst_passing <= rounding);
    CHECK(worst_closed_form <= rounding);
    CHECK(worst_command <=
          rounding); // the derivative of an angle by a coordinate is below 1/(2·0.14 m) = 3.6 …
    CHECK(worst_path <= rounding);
    CHECK(worst_focus <= rounding);
}

TEST_CASE("worked numbers of the two-mirror geometry") {
    // y = d tan 2θy, x = (e + √(d² + y²)) tan 2θx: G. Marshall, G. Stutz (eds.), "Handbook of Optical and
    // Laser Scanning" (the formula from memory; the numbers were worked out apart from this project, to 13
    // digits). Lengths in mm, angles in degrees; a length is right to half a unit of its last printed digit.
    struct Row {
        double e, d, x_mirror, y_mirror, x, y;
    };
    Row const rows[] = {
        {20, 500, 5, 7.5, 94.8001011597, 133.9745962156}, {15, 300, 10, 10, 121.6582634587, 109.1910702799},
        {0, 500, 5, 7.5, 91.2735615455, 133.9745962156},  {20, 500, 10, 0, 189.2645218184, 0},
        {20, 500, 10, 5, 192.0719355894, 88.16349035423},   // y = 500 tan 10°
        {20, 500, 10, 10, 200.9439212598, 181.9851171331}}; // y = 500 tan 20°
    for (auto const& row : rows) {
        CAPTURE(row.x);
        auto const head = pair_of(millimetres(row.e), millimetres(row.d));
        auto const ray = head.ray(Command<>{degrees(row.x_mirror), degrees(row.y_mirror), 0});
        double const way = (millimetres(row.d) - ray.origin.z) / ray.direction.z;
        CHECK(std::abs(in_millimetres(ray.origin.x + way * ray.direction.x) - row.x) < 1e-10);
        CHECK(std::abs(in_millimetres(ray.origin.y + way * ray.direction.y) - row.y) < 1e-10);
        auto const back =
            head.aim(Point<Head>{millimetres(row.x), millimetres(row.y), millimetres(row.d)}).command;
        // Half a unit of the tenth digit of a millimetre at 300 mm is 2e-13 rad, in degrees 1e-11.
        CHECK(std::abs(in_degrees(back.x_mirror) - row.x_mirror) < 1e-10);
        CHECK(std::abs(in_degrees(back.y_mirror) - row.y_mirror) < 1e-10);
    }

    // The direction of the first row's beam, to ten printed digits.
    auto const ray = pair_of(0.02, 0.5).ray(Command<>{degrees(5), degrees(7.5), 0});
    CHECK(std::abs(ray.direction.x - 0.1736481777) < 1e-10);
    CHECK(std::abs(ray.direction.y - 0.2548870022) < 1e-10);
    CHECK(std::abs(ray.direction.z - 0.9512512426) < 1e-10);

    // The inverse, to the printed digits.
    auto const aim = pair_of(0.02, 0.5).aim(Point<Head>{0.12, 0.08, 0.5});
    CHECK(std::abs(in_degrees(aim.command.x_mirror) - 6.421425149546) < 1e-12);
    CHECK(std::abs(in_degrees(aim.command.y_mirror) - 4.545138460411) < 1e-12);

    // The gain at the centre: 2 (e + d) to a radian, 1.04 mm to a milliradian for 520 mm.
    double const small = 1e-7; // the gain's own bend adds a relative (2·1e-7)² / 3
    auto const near = pair_of(0.02, 0.5).ray(Command<>{small, 0, 0});
    double const x = near.origin.x + 0.5 / near.direction.z * near.direction.x;
    CHECK(x / small == doctest::Approx(1.04).epsilon(1e-13));
}
