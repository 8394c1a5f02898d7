#include "seamhold/head/real_head.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <iterator>
#include <limits>
#include <vector>

// Real heads on doubles, held against the ideal pair and a trace by plain vectors
// (tests/support/real_heads.hpp). Many random heads: tests/outside/real_heads.cpp. Rates:
// real_head_rates.cpp. Set-up: real_head_parts.cpp.

using namespace seamhold;
using namespace seamhold::test;

namespace {

// A measured focus axis, invented: the lens moves less and less for a metre of the focus.
FocusTable focus_table() {
    std::vector<double> paths, lenses;
    for (double path = 0.3; path < 1.21; path += 0.05) {
        paths.push_back(path);
        lenses.push_back(0.05 * (1 / 0.6 - 1 / path));
    }
    return {paths, lenses};
}

// A head out of true with everything: field map and focus table.
struct Everything {
    PlainHead plain;
    RealHead<OpenBeam> head;

    explicit Everything(Random& random) : plain(random_open_head(random)), head(made(plain, random)) {}

    static RealHead<OpenBeam> made(PlainHead& plain, Random& random) {
        plain.map = random_map(random);
        plain.zero_setting = 0.6;
        auto parts = parts_of(plain, OpenBeam{});
        parts.focus = focus_table();
        parts.ranges.focus = {-0.08, 0.04};
        return real_head(parts);
    }
};

bool is_finite_command(Command<> const& c) {
    return is_finite(c.x_mirror) && is_finite(c.y_mirror) && is_finite(c.focus);
}

} // namespace

TEST_CASE("a real head without errors is the ideal pair: commands, beams and statuses") {
    Random random(8201);
    double worst_command = 0, worst_ray = 0;
    std::size_t different = 0;
    std::array<std::size_t, 6> seen{};
    for (int h = 0; h < 10; ++h) {
        double const separation = random.uniform(0.01, 0.06), work = random.uniform(0.3, 0.8);
        MirrorPair<> const pair{separation,    separation + work, 10,      {-0.17, 0.15},
                                {-0.16, 0.17}, {-0.02, 0.02},     infinity};
        auto const head = real_head(HeadParts<OpenBeam>{
            ideal_mirrors(separation), {}, LinearFocus<>{pair.focus_path, pair.focus_ratio}, pair.ranges()});
        CHECK(std::abs(head.working_distance() - work) <= 2 * epsilon);
        for (int i = 0; i < 2000; ++i) {
            // Some two in three in reach; none beyond 0.7 rad of a mirror, where the real head gives up.
            double const z = random.uniform(0.6, 1.4) * work;
            Point<Head> p{z * random.uniform(-0.5, 0.5), z * random.uniform(-0.5, 0.5), z};
            if (i % 50 == 0)
                p.z = -z;
            double const offset = random.uniform(-0.01, 0.01);
            auto const expected = pair.aim(p, offset);
            auto const got = head.aim(p, offset);
            different += status_of(got) != status_of(expected);
            ++seen[static_cast<std::size_t>(status_of(got))];
            if (status_of(got) == Status::behind_head)
                continue;
            auto const &a = expected.command, &b = got.command;
            worst_command = std::max({worst_command, std::abs(a.x_mirror - b.x_mirror),
                                      std::abs(a.y_mirror - b.y_mirror), std::abs(a.focus - b.focus)});
            auto const by_pair = pair.ray(a), by_head = head.ray(a);
            worst_ray = std::max({worst_ray, length(vector_of(by_pair.origin) - vector_of(by_head.origin)),
                                  length(vector_of(by_pair.direction) - vector_of(by_head.direction)),
                                  std::abs(by_pair.path - by_head.path),
                                  std::abs(by_pair.focus_path - by_head.focus_path)});
        }
    }
    MESSAGE("worst command ", worst_command, ", worst beam ", worst_ray);
    CHECK(different == 0);
    for (auto const status : {Status::ok, Status::out_of_reach, Status::behind_head})
        CHECK(seen[static_cast<std::size_t>(status)] > 100);
    // The promise; the fitted start is the closed form itself, so that Newton moves it by rounding only.
    CHECK(worst_command <= 1e-14);
    CHECK(worst_ray <= 1e-14);
}

TEST_CASE("with field map and focus table: the beam passes the point and its focus is there") {
    Random random(8202);
    double passes = 0, table = 0, back = 0;
    std::size_t refused = 0, one_step = 0, points = 0;
    int most_steps = 0;
    for (int h = 0; h < 8; ++h) {
        Everything const made(random);
        auto const law = focus_table();
        for (int i = 0; i < 250; ++i) {
            double const x = random.uniform(-0.17, 0.17), y = random.uniform(-0.17, 0.17);
            auto const beam = beam_of(made.plain, x, y);
            double const path = random.uniform(0.35, 1.1), offset = random.uniform(-0.005, 0.005);
            auto const place = beam.line.point + times(path - beam.path, beam.line.direction);
            auto const p = point_of(place);
            auto const aim = made.head.aim(p, offset);
            refused += status_of(aim) != Status::ok;
            auto const& told = aim.command;
            passes =
                std::max(passes, distance(place, beam_of(made.plain, told.x_mirror, told.y_mirror).line));
            table = std::max(table, std::abs(told.focus - law.lens(path + offset)));
            auto const ray = made.head.ray(told);
            back = std::max(back, std::abs(ray.focus_path - (path + offset)));
            back = std::max(back, distance(place, Line<>{vector_of(ray.origin), vector_of(ray.direction)}));
            auto const solved = made.head.solve(p);
            most_steps = std::max(most_steps, solved.steps);
            one_step += solved.steps == 1;
            ++points;
        }
    }
    MESSAGE("passes ", passes, " m, lens ", table, " m, focus ", back, " m; one step in ",
            static_cast<double>(one_step) / static_cast<double>(points), ", most ", most_steps);
    CHECK(refused == 0);
    CHECK(passes <= 1e-10); // the promise; the map holds the cubic distortion to what its fit rounds
    CHECK(back <= 1e-10);
    CHECK(table <= 1e-10); // a metre of path moves the lens by 0.05/0.35² = 0.4 m at most
    CHECK(most_steps <= 8);
    // Measured: all of them.
    CHECK(static_cast<double>(one_step) >= 0.99 * static_cast<double>(points));
}

TEST_CASE("Newton's method on the beam squares its error, and so do the head's own steps") {
    Random random(8203);
    using G = Gradient<double, 2>;
    double worst_ratio = 0, worst_rest = 0;
    int ratios = 0, several = 0, most_steps = 0;
    for (int h = 0; h < 20; ++h) {
        Everything const made(random);
        for (int i = 0; i < 20; ++i) {
            double const x = random.uniform(-0.16, 0.16), y = random.uniform(-0.16, 0.16);
            auto const beam = beam_of(made.plain, x, y);
            auto const place = beam.line.point + times(random.uniform(0.35, 1.0), beam.line.direction);
            // From a start that is 0.1 rad off: by how much the beam misses in the plane through p, by the
            // exact derivatives of `ray`.
            std::array<double, 2> u{x + (x < 0 ? 0.1 : -0.1), y + (y < 0 ? 0.1 : -0.1)};
            double error = 0.1;
            for (int step = 0; step < 6 && error > 1e-7; ++step) {
                auto const ray = made.head.ray(Command<G>{G::variable(u[0], 0), G::variable(u[1], 1), G(0)});
                G const way = (place.z - ray.origin.z) / ray.direction.z;
                G const miss_x = ray.origin.x + way * ray.direction.x - place.x;
                G const miss_y = ray.origin.y + way * ray.direction.y - place.y;
                double const a = miss_x.partial[0], b = miss_x.partial[1];
                double const c = miss_y.partial[0], d = miss_y.partial[1];
                double const determinant = a * d - b * c;
                u[0] -= (d * miss_x.value - b * miss_y.value) / determinant;
                u[1] -= (a * miss_y.value - c * miss_x.value) / determinant;
                double const after = std::max(std::abs(u[0] - x), std::abs(u[1] - y));
                // What the map's fit and rounding leave, 1e-13 rad, is no part of the ratio.
                worst_ratio = std::max(worst_ratio, (after - 1e-13) / (error * error));
                error = after;
                ++ratios;
            }
            worst_rest = std::max(worst_rest, error);
            // The head's own: what its last step leaves. Points above and below its volume make its start
            // poor.
            auto const far = beam.line.point + times(random.uniform(0.05, 8), beam.line.direction);
            auto const solved = made.head.solve(point_of(far));
            most_steps = std::max(most_steps, solved.steps);
            several += solved.steps > 1;
            double const left = std::max(std::abs(solved.angles[0] - x), std::abs(solved.angles[1] - y));
            worst_ratio = std::max(worst_ratio, (left - 1e-13) / (solved.last_step * solved.last_step));
        }
    }
    MESSAGE("largest error ÷ square of the error before ", worst_ratio, " 1/rad; most steps ", most_steps);
    // tan 2θ has half its second derivative ÷ its first at 2 tan 2θ: 1.5 at 0.32 rad, more with both mirrors
    // and the tilts.
    CHECK(worst_ratio <= 4);
    CHECK(worst_rest <= 1e-7);
    CHECK(ratios >= 800);
    CHECK(several >= 20); // the second check was one
    CHECK(most_steps <= 8);
}

TEST_CASE("what Newton cannot reach is never ok, and what is ok is true") {
    Random random(8204);
    auto const count = runs(4000);
    std::size_t untrue = 0, ok = 0, infinite = 0, unsaid = 0;
    std::array<std::size_t, 6> seen{};
    for (int h = 0; h < 4; ++h) {
        auto plain = random_open_head(random);
        plain.lens_range = 100; // no excuse
        plain.mirror_range = 0.3;
        auto const open = open_head_of(plain);
        auto lens_plain = random_lens_head(random);
        lens_plain.lens_range = 100;
        auto const lens = lens_head_of(lens_plain);
        auto const ask = [&](auto const& head, PlainHead const& numbers) {
            auto const number = [&] {
                return random.unit() < 0.25 ? wild_numbers[random.index(std::size(wild_numbers))]
                                            : random.uniform(-2, 2);
            };
            Point<Head> const p{number(), number(), random.unit() < 0.5 ? number() : random.uniform(0, 2)};
            double const offset = random.unit() < 0.1 ? number() : 0;
            auto const aim = head.aim(p, offset);
            auto const status = status_of(aim);
            ++seen[static_cast<std::size_t>(status)];
            bool const given = is_finite(p) && is_finite(offset);
            unsaid += !given && status != Status::not_finite;
            // The square of a length has to be a number as well.
            bool const sane =
                std::max({std::abs(p.x), std::abs(p.y), std::abs(p.z), std::abs(offset)}) < 1e150;
            infinite += given && sane && !is_finite_command(aim.command);
            if (status != Status::ok)
                return;
            ++ok;
            auto const beam = beam_of(numbers, aim.command.x_mirror, aim.command.y_mirror);
            auto const place = vector_of(p);
            untrue += !(distance(place, beam.line) <= 1e-10) || !beam.forwards ||
                      !(product(place - beam.line.point, beam.line.direction) > 0) ||
                      !(std::abs(aim.command.x_mirror) <= numbers.mirror_range + 1e-15) ||
                      !(std::abs(aim.command.y_mirror) <= numbers.mirror_range + 1e-15);
        };
        for (std::size_t i = 0; i < count; ++i) {
            ask(open, plain);
            ask(lens, lens_plain);
        }
    }
    CHECK(untrue == 0);
    CHECK(unsaid == 0);
    CHECK(infinite == 0); // a finite point has a finite command
    CHECK(ok > count / 20);
    for (auto const status :
         {Status::out_of_reach, Status::no_solution, Status::behind_head, Status::not_finite})
        CHECK(seen[static_cast<std::size_t>(status)] > count / 100);
}

TEST_CASE(
    "points that no beam of the head can reach have no solution, and those behind it are said to be so") {
    Random random(8205);
    auto const head = open_head_of(random_open_head(random));
    int refused = 0;
    // Beside the head, where a mirror would have to stand beyond 40°.
    for (double const side : {-1.0, 1.0}) {
        CHECK(status_of(head.aim(Point<Head>{side * 5, 0, 0.1})) == Status::no_solution);
        CHECK(status_of(head.aim(Point<Head>{0, side * 5, 0.1})) == Status::no_solution);
        CHECK(status_of(head.aim(Point<Head>{side * 1e200, 1, 0.5})) == Status::no_solution);
    }
    for (double const z : {0.0, -0.0, -1e-300, -1e-9, 1e-9, -0.5, -1e6}) {
        CAPTURE(z);
        auto const aim = head.aim(Point<Head>{0.01, 0.02, z});
        CHECK(status_of(aim) == Status::behind_head);
        CHECK(is_finite_command(aim.command));
    }
    // Behind a lens's exit plane is inside of the head.
    auto const plain = random_lens_head(random);
    auto const lens = lens_head_of(plain);
    CHECK(status_of(lens.aim(Point<Head>{0, 0, plain.lens->exit_z - 1e-6})) == Status::behind_head);
    CHECK(status_of(lens.aim(Point<Head>{0, 0, plain.lens->exit_z + plain.lens->working_distance})) ==
          Status::ok);
    // Not a command of this point: another command's clearance says by how much its beam passes.
    auto const beam = head.ray(Command<>{0.05, -0.02, 0});
    auto const on = beam.origin + 0.5 * beam.direction;
    CHECK(std::abs(head.clearance(on, Command<>{0.05, -0.02, 0}).solved - 1e-10) <= 1e-14);
    auto const beside = head.clearance(on, Command<>{0.051, -0.02, 0}).solved;
    CHECK(beside < -0.5 * 0.001); // a mrad of a mirror moves the beam by 2 mrad, or 1 mm at half a metre
    CHECK(beside > -1.5 * 0.001);
    // A line has two ends: a point that only the beam's extension backwards meets is not solved; and a mirror
    // that turned its back to the beam solves nothing, whatever the line says.
    CHECK(head.clearance(beam.origin - 0.001 * beam.direction, Command<>{0.05, -0.02, 0}).solved <=
          -0.001 + 1e-12);
    for (auto const& back :
         {Command<>{0.85, 0, 0}, Command<>{-0.85, 0, 0}, Command<>{0, 0.85, 0}, Command<>{0, -0.85, 0}}) {
        auto const wrong = head.ray(back);
        auto const solved = head.clearance(wrong.origin + 0.5 * wrong.direction, back).solved;
        refused += !(solved > 0);
    }
    CHECK(refused >= 2); // each mirror, to one side
}

TEST_CASE("aiming, tracing and clearances touch no heap") {
    Random random(8206);
    Everything const made(random);
    auto const plain_lens = random_lens_head(random);
    auto const lens = lens_head_of(plain_lens);
    auto const p = Point<Head>{0.02, -0.03, 0.5};
    AllocationGuard const guard;
    auto const aim = made.head.aim(p, 0.001);
    auto const ray = made.head.ray(aim.command);
    auto const clearance = made.head.clearance(p, aim.command);
    auto const by_lens = lens.ray(lens.command(p));
    CHECK(guard.count() == 0);
    CHECK(is_finite(ray.path));
    CHECK(is_finite(clearance.field));
    CHECK(is_finite(by_lens.focus_path));
}
