#include "seamhold/follow/teach.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "seamhold/head/any_head.hpp"
#include "support/poses.hpp"
#include "support/real_heads.hpp"
#include "support/refusal.hpp"

#include <array>
#include <cmath>
#include <utility>
#include <vector>

// Points taught with the pilot beam, against beams traced through the mirrors by vectors alone and carried
// into the part by hand, and against meeting points worked out by hand.

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Where a robot holds its flange when it teaches, and where the part lies.
struct Place {
    Pose<Cell, Flange> cell_from_flange;
    Pose<Cell, Part> cell_from_part;

    Pose<Part, Head> part_from_head() const { return inverse(cell_from_part) * cell_from_flange * mount(); }
};
Place random_place(Random& random) {
    return {random_flange(random).at(random.uniform(0, 5)), random_part(random).at(random.uniform(0, 5))};
}

// Mirrors to ±10°, lens to ±4 mm: within the reach of every head below.
Command<> random_command(Random& random) {
    return {degrees(random.uniform(-9.9, 9.9)), degrees(random.uniform(-9.9, 9.9)),
            random.uniform(-4e-3, 4e-3)};
}

// A line of the head carried over flange and cell to the part, by hand.
Line<> in_part(Line<> const& line, Place const& place) {
    auto const carry = [&](Vector<> const& v) {
        return carried_back(place.cell_from_part, carried(place.cell_from_flange, carried(mount(), v)));
    };
    auto const start = carry(line.point);
    return {start, carry(line.point + line.direction) - start};
}

template <class F> Vector<> plain(Point<F> const& p) { return {p.x, p.y, p.z}; }
template <class F> Vector<> plain(Direction<F> const& d) { return {d.x, d.y, d.z}; }

template <class F> double apart(PilotRay<F> const& ray, Line<> const& line) {
    return length(plain(ray.origin) - line.point) + length(plain(ray.direction) - line.direction);
}

double const rounding = 60 * epsilon; // four changes of frame and two mirrors at about 1 m

// A ball whose top is the part's origin, over its shadow in the xy plane; doubles only, as a mesh is.
struct Ball {
    double radius;

    SurfacePoint<double> at(double x, double y) const {
        double const z = std::sqrt(radius * radius - x * x - y * y);
        return {{x, y, z - radius}, {x / radius, y / radius, z / radius}};
    }
};

// A plane whose coordinates are stretched and askew, as a user's own surface may have them.
struct Stretched {
    SurfacePoint<double> at(double u, double v) const {
        return {{0.2 * u + 0.1 * v, 3 * v, 0.05}, {0, 0, 1}};
    }
};

PilotRay<Part> downwards(double x, double y) { return {{x, y, 0.5}, {0, 0, -1}, 0.5}; }

} // namespace

TEST_CASE("the pilot beam in the part is the beam traced by vectors") {
    Random random(9001);
    auto const ideal_head = head();
    for (int i = 0; i < 100; ++i) {
        auto const place = random_place(random);
        auto const command = random_command(random);
        auto const beam = traced(ideal_head.separation, command.x_mirror, command.y_mirror);
        auto const expected = in_part(beam.line, place);
        auto const ray = pilot_ray(place.part_from_head(), ideal_head, command);
        CHECK(apart(ray, expected) <= rounding);
        double const way = ideal_head.focus_path + ideal_head.focus_ratio * command.focus - beam.path;
        CHECK(length(plain(focus_of(ray)) - (expected.point + times(way, expected.direction))) <= rounding);
        CHECK(apart(pilot_ray(place.part_from_head(), AnyHead{ideal_head}, command), expected) <= rounding);
    }
}

TEST_CASE("real heads teach as well") {
    Random random(9002);
    for (int i = 0; i < 20; ++i) {
        auto const check = [&](PlainHead const& as_numbers, auto const& real) {
            auto const place = random_place(random);
            auto const command = random_command(random);
            auto const beam = beam_of(as_numbers, command.x_mirror, command.y_mirror);
            auto const expected = in_part(beam.line, place);
            auto const ray = pilot_ray(place.part_from_head(), real, command);
            CHECK(apart(ray, expected) <= 4 * rounding); // the longer formulas of the lens
            auto const focus =
                expected.point + times(way_to_focus(as_numbers, beam, command.focus), expected.direction);
            CHECK(length(plain(focus_of(ray)) - focus) <= 4 * rounding);
        };
        auto const open = random_open_head(random);
        check(open, open_head_of(open));
        auto const lens = random_lens_head(random);
        check(lens, lens_head_of(lens));
    }
}

TEST_CASE("a point taught on a plane is where the traced line meets it, and the head aims there again") {
    Random random(9003);
    auto const ideal_head = head();
    auto const leaning = face();
    // The plane by hand: a point of it and its normal.
    auto const through = plain(leaning.part_from_face.origin);
    auto const& m = leaning.part_from_face.rotation.m;
    Vector<> const normal{m[0][2], m[1][2], m[2][2]};
    for (int i = 0; i < 100; ++i) {
        auto const place = random_place(random);
        auto const command = random_command(random);
        auto const line =
            in_part(traced(ideal_head.separation, command.x_mirror, command.y_mirror).line, place);
        double const way = product(through - line.point, normal) / product(line.direction, normal);
        auto const expected = line.point + times(way, line.direction);

        auto const part_from_head = place.part_from_head();
        auto const taught = meet(pilot_ray(part_from_head, ideal_head, command), leaning);
        // Where a beam leans 30° or so the place moves by up to twice the rounding of the ray.
        CHECK(length(plain(taught.position) - expected) <= 4 * rounding);
        CHECK(length(plain(taught.normal) - normal) == 0);
        CHECK(std::abs(taught.distance - way) <= 4 * rounding);
        CHECK(std::abs(taught.cosine + product(line.direction, normal)) <= rounding);
        CHECK(difference(leaning.at(taught.x, taught.y).position, taught.position) == 0);

        auto const again = ideal_head.command(inverse_times(part_from_head, taught.position));
        CHECK(std::abs(again.x_mirror - command.x_mirror) <= 10 * rounding);
        CHECK(std::abs(again.y_mirror - command.y_mirror) <= 10 * rounding);
    }
}

TEST_CASE("a beam and a ball meet where the quadratic equation says") {
    Random random(9004);
    Ball const ball{0.15};
    for (int i = 0; i < 100; ++i) {
        // From 0.4 m above towards a place near the top.
        Vector<> const from{random.uniform(-0.1, 0.1), random.uniform(-0.1, 0.1), 0.4};
        Vector<> const towards{random.uniform(-0.05, 0.05), random.uniform(-0.05, 0.05), -0.02};
        auto const d = times(1 / length(towards - from), towards - from);
        Vector<> const centre{0, 0, -ball.radius};
        double const b = product(d, from - centre);
        double const c = product(from - centre, from - centre) - ball.radius * ball.radius;
        double const way = -b - std::sqrt(b * b - c);

        PilotRay<Part> const ray{{from.x, from.y, from.z}, {d.x, d.y, d.z}, 0.4};
        auto const taught = meet(ray, ball, random.uniform(-0.05, 0.05), random.uniform(-0.05, 0.05));
        CHECK(length(plain(taught.position) - (from + times(way, d))) <= 1e-14); // some bits of 0.4 m
        CHECK(std::abs(taught.distance - way) <= 1e-14);
        CHECK(length(plain(taught.normal) - times(1 / ball.radius, plain(taught.position) - centre)) <=
              10 * epsilon);
    }
    // From the side: the tangent plane of the top is met far beyond the ball, where there is no place; the
    // steps are halved until there is one. (130, ·) mm is on the ball at z = √(150² − 130²) − 150 mm.
    Point<Part> const seen{0.13, 0, std::sqrt(0.15 * 0.15 - 0.13 * 0.13) - 0.15};
    Point<Part> const beside{0.4, 0, 0.01};
    auto const from_beside = meet({beside, unit(seen - beside), 0.3}, ball);
    CHECK(difference(from_beside.position, seen) <= 1e-14);

    auto const askew = meet(downwards(0.3, -0.6), Stretched{});
    CHECK(difference(askew.position, Point<Part>{0.3, -0.6, 0.05}) <= 4 * epsilon);
    CHECK(std::abs(askew.x - 1.6) <= 1e-14); // 0.2 u + 0.1 v = 0.3 with v = −0.2
    CHECK(std::abs(askew.y + 0.2) <= 1e-14);
}

TEST_CASE("what the beam does not meet is refused, saying why") {
    Plane<> const flat{Pose<Part, Face>::identity()};
    CHECK(has(refusal_of([&] { return meet({{0, 0, 0.5}, {0, 0, 1}, 0.5}, flat); }), "500 mm behind"));
    CHECK(has(refusal_of([&] { return meet({{0, 0, -0.5}, {0, 0, 1}, 0.5}, flat); }), "back"));
    CHECK(has(refusal_of([&] { return meet({{0, 0, 0.5}, {1, 0, 0}, 0.5}, flat); }), "passes by 500 mm"));
    double const lean = 0.009; // rad from along the face; the limit is a cosine of 0.01
    CHECK(has(refusal_of([&] {
                  return meet({{0, 0, 0.005}, {std::cos(lean), 0, -std::sin(lean)}, 0.5}, flat);
              }),
              "grazes"));
    // Beside the ball: it would have to come 50 mm nearer than it can. The ball's own edge is not a number.
    CHECK(has(refusal_of([] { return meet(downwards(0.2, 0), Ball{0.15}); }), "passes by"));
    // The start is the caller's; a start that is no place is refused and not searched from.
    CHECK(
        has(refusal_of([] { return meet(downwards(0, 0), Ball{0.15}, 0.5, 0); }), "started at (500, 0) mm"));
}

TEST_CASE("commands that the head cannot have had are refused") {
    auto const standing = Pose<Part, Head>::identity();
    CHECK(refusal_of([&] { return pilot_ray(standing, head(), {degrees(12.5), 0, 0}); }).empty());
    // Degrees where radians belong.
    auto const in_degrees_given = refusal_of([&] { return pilot_ray(standing, head(), {5, 0, 0}); });
    CHECK(has(in_degrees_given, "x mirror (rad) of 5"));
    CHECK(has(in_degrees_given, "0.218166"));
    CHECK(has(refusal_of([&] { return pilot_ray(standing, head(), {0, -0.3, 0}); }), "y mirror (rad)"));
    CHECK(has(refusal_of([&] { return pilot_ray(standing, head(), {0, 0, 4}); }), "focus (m) of 4"));
    CHECK(has(refusal_of([&] { return pilot_ray(standing, head(), {0, not_a_number, 0}); }), "y mirror"));
    auto nowhere = standing;
    nowhere.origin.z = infinity;
    CHECK(has(refusal_of([&] { return pilot_ray(nowhere, head(), {0, 0, 0}); }), "not finite"));
    CHECK(has(refusal_of([] { return focus_of(PilotRay<Part>{{0, 0, 0}, {0, 0, 1}, -0.02}); }), "-20 mm"));
}

TEST_CASE("beams crossed by hand") {
    // One beam falls along z through the origin, the other runs along x, 0.4 mm aside in y and 0.1 m high:
    // they are nearest at (0, ·, 0.1), so the mark is halfway, 0.2 mm from either.
    std::vector<PilotRay<Cell>> rays{{{0, 0, 0.6}, {0, 0, -1}, 0.5}, {{-0.7, 0.0004, 0.1}, {1, 0, 0}, 0.5}};
    auto const two = crossing_of(rays);
    CHECK(difference(two.position, Point<Cell>{0, 0.0002, 0.1}) <= 2 * epsilon);
    REQUIRE(two.distance.size() == 2);
    CHECK(std::abs(two.distance[0] - 0.0002) <= 2 * epsilon);
    CHECK(std::abs(two.distance[1] - 0.0002) <= 2 * epsilon);
    CHECK(std::abs(two.rms - 0.0002) <= 2 * epsilon);
    CHECK(std::abs(two.angle - std::numbers::pi / 2) <= 2 * epsilon);

    // A third along y through (0.3 mm, ·, 0.1): the sum of squares is
    // (x² + y²) + ((y − 0.4)² + ζ²) + ((x − 0.3)² + ζ²) in mm, so x = 0.15, y = 0.2, ζ = 0.
    rays.push_back({{0.0003, -0.5, 0.1}, {0, 1, 0}, 0.5});
    auto const three = crossing_of(rays);
    CHECK(difference(three.position, Point<Cell>{0.00015, 0.0002, 0.1}) <= 2 * epsilon);
    CHECK(std::abs(three.distance[0] - 0.00025) <= 2 * epsilon);
    CHECK(std::abs(three.distance[1] - 0.0002) <= 2 * epsilon);
    CHECK(std::abs(three.distance[2] - 0.00015) <= 2 * epsilon);
    CHECK(three.worst_ray == 0);
    CHECK(three.worst == three.distance[0]);
    CHECK(std::abs(three.rms - std::sqrt((0.25 * 0.25 + 0.2 * 0.2 + 0.15 * 0.15) / 3) / 1000) <= 2 * epsilon);
}

TEST_CASE("a mark aimed at from several poses is found; with noise no place beside it is better") {
    Random random(9005);
    auto const ideal_head = head();
    for (int i = 0; i < 60; ++i) {
        Point<Part> const mark{random.uniform(-0.03, 0.03), random.uniform(-0.03, 0.03), 0.01};
        double const noise = i % 2 == 0 ? 0 : 2e-4;
        std::vector<PilotRay<Part>> rays;
        std::vector<Line<>> lines;
        for (int k = 0; k < 2 + i % 4; ++k) {
            // Heads half a metre off, leaning up to 25° about the mark: one to one side, one to the other.
            double const lean = degrees(k % 2 == 0 ? random.uniform(5, 25) : random.uniform(-25, -5));
            auto const turned = about_axis<Part, Head>({0.6, 0.8, 0}, std::numbers::pi + lean);
            Point<Head> const seen{random.uniform(-0.05, 0.05), random.uniform(-0.05, 0.05), 0.5};
            Pose<Part, Head> part_from_head{turned, {0, 0, 0}};
            part_from_head.origin = part_from_head.origin + (mark - part_from_head * seen);
            auto const command = ideal_head.command(seen);
            auto const off = random.on_sphere<3>();
            part_from_head.origin = part_from_head.origin + noise * Direction<Part>{off[0], off[1], off[2]};
            rays.push_back(pilot_ray(part_from_head, ideal_head, command));
            auto const line = traced(ideal_head.separation, command.x_mirror, command.y_mirror).line;
            auto const start = carried(part_from_head, line.point);
            lines.push_back({start, carried(part_from_head, line.point + line.direction) - start});
        }
        auto const crossed = crossing_of(rays);
        if (noise == 0) {
            // Rounding of the beams, over the sine of 5° or more for what lies along them.
            CHECK(difference(crossed.position, mark) <= 12 * rounding);
            CHECK(crossed.worst <= 12 * rounding);
            continue;
        }
        auto const squares_at = [&](Vector<> const& p) {
            double sum = 0;
            for (auto const& line : lines)
                sum += distance(p, line) * distance(p, line);
            return sum;
        };
        auto const found = plain(crossed.position);
        double const least = squares_at(found);
        CHECK(std::abs(crossed.rms - std::sqrt(least / static_cast<double>(lines.size()))) <= rounding);
        for (std::size_t k = 0; k < lines.size(); ++k)
            CHECK(std::abs(crossed.distance[k] - distance(found, lines[k])) <= 4 * rounding);
        for (double const step : {1e-5, -1e-5})
            for (auto const& to : {Vector<>{step, 0, 0}, Vector<>{0, step, 0}, Vector<>{0, 0, step}})
                CHECK(squares_at(found + to) > least);
    }
}

TEST_CASE("beams that fix no place are refused, saying by how much") {
    auto const leaning = [](double angle, double x) {
        return PilotRay<Part>{{x, 0.002, 0.5}, {std::sin(angle), 0, -std::cos(angle)}, 0.5};
    };
    CHECK(has(refusal_of([&] { return crossing_of<Part>({downwards(0, 0)}); }), "1 given"));
    auto const parallel = refusal_of([&] {
        return crossing_of<Part>({downwards(0, 0), leaning(degrees(2), 0.01)});
    });
    CHECK(has(parallel, "nearly parallel: beams 1 and 2 cross at 2 degrees"));
    CHECK(has(parallel, "5 degrees are needed"));
    // Exactly parallel, and the same beam twice.
    CHECK(has(refusal_of([] {
                  return crossing_of<Part>({downwards(0, 0), downwards(0.1, 0)});
              }),
              "cross at 0 degrees, 100 mm apart"));
    CHECK(has(refusal_of([] {
                  return crossing_of<Part>({downwards(0, 0), downwards(0, 0)});
              }),
              "0 mm apart"));
    // Two of three parallel are enough; the angle is the caller's.
    CHECK(refusal_of([&] {
              return crossing_of<Part>({downwards(0, 0), downwards(0, 0), leaning(degrees(20), -0.1)});
          }).empty());
    CHECK(refusal_of([&] {
              return crossing_of<Part>({downwards(0, 0), leaning(degrees(2), -0.01)}, degrees(1));
          }).empty());
    // Beams that spread: they would meet above the heads.
    auto const spread = refusal_of([&] {
        return crossing_of<Part>({downwards(0, 0), leaning(degrees(20), 0.1)});
    });
    CHECK(has(spread, "behind its head"));
    CHECK(has(spread, "beam 1"));
    auto broken = downwards(0, 0);
    broken.direction.x = not_a_number;
    CHECK(has(refusal_of([&] {
                  return crossing_of<Part>({downwards(0, 0), broken});
              }),
              "beam 2 is not finite"));
}
