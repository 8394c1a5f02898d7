#include "seamhold/head/mirror_pair.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "support/allocation_guard.hpp"
#include "support/mirror_trace.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <numbers>
#include <string>
#include <type_traits>
#include <vector>

// The laws of the head for every type of number. Its closed form is held against a ray trace and against
// worked numbers in tests/outside/ray_trace.cpp.

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::epsilon;
using seamhold::test::infinity;
using seamhold::test::not_a_number;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;
using seamhold::test::traced;
using seamhold::test::unit_of;
using seamhold::test::wild_numbers;

namespace {

// A head of ordinary size, as an assumption: 40 mm between the mirrors, half a metre to the work, ±10°.
MirrorPair<> head() {
    return checked({millimetres(40),
                    0.54,
                    10,
                    {degrees(-10), degrees(10)},
                    {degrees(-10), degrees(10)},
                    {millimetres(-8), millimetres(8)},
                    infinity});
}

template <class S> MirrorPair<S> head_of() {
    auto const h = head();
    return {number_cast<S>(h.separation),
            number_cast<S>(h.focus_path),
            number_cast<S>(h.focus_ratio),
            h.x_range,
            h.y_range,
            h.focus_range,
            h.field_radius};
}

template <class Text> std::string message_of(MirrorPair<> const& wrong, Text const& name) {
    CAPTURE(name);
    return refusal_of([&] { return checked(wrong); });
}

// Points to ask at: in the middle, a hair beside, at random, near the ends of the mirrors' ranges.
std::vector<Point<Head>> points_to_ask() {
    std::vector<Point<Head>> all{{0, 0, 0.5},      {1e-8, 0, 0.5},   {0, -1e-8, 0.5}, {1e-8, 1e-8, 0.5},
                                 {0.16, 0.1, 0.5}, {0.1, 0.16, 0.5}, {-0.1, 0.1, 0.5}};
    Random random(8001);
    for (int i = 0; i < 100; ++i)
        all.push_back({random.uniform(-0.12, 0.12), random.uniform(-0.12, 0.12), random.uniform(0.45, 0.55)});
    return all;
}

} // namespace

TEST_CASE("a mirror pair is plain data") {
    static_assert(std::is_trivially_copyable_v<MirrorPair<>> && std::is_aggregate_v<MirrorPair<>>);
    static_assert(std::is_trivially_copyable_v<MirrorPair<float>>);
    static_assert(std::is_trivially_copyable_v<MirrorPair<Gradient<double, 3>>>);
    static_assert(std::is_same_v<decltype(head().aim(Point<Head, float>{})), Aim<double, double>>);
    static_assert(
        std::is_same_v<decltype(head_of<float>().aim(Point<Head, float>{}, 0.0F)), Aim<float, double>>);
}

TEST_CASE_TEMPLATE("law: the beam of an aim goes through the point, and aiming at the beam gives the command",
                   T, double, float, Taylor<double, 2>, Taylor<float, 3>, Gradient<double, 3>,
                   Taylor<Gradient<double, 2>, 2>) {
    using S =
        std::conditional_t<std::is_same_v<T, float> || std::is_same_v<T, Taylor<float, 3>>, float, double>;
    auto const h = head_of<S>();
    // A dozen operations on coordinates and angles below 1, each half a unit in the last place.
    double const bound = 12 * unit_of<T>();
    for (auto const& p : points_to_ask()) {
        CAPTURE(p.x);
        CAPTURE(p.y);
        Point<Head, T> const point{number_cast<T>(static_cast<S>(p.x)), number_cast<T>(static_cast<S>(p.y)),
                                   number_cast<T>(static_cast<S>(p.z))};
        auto const aim = h.aim(point, S(0));
        static_assert(std::is_same_v<std::decay_t<decltype(aim.command.x_mirror)>, T>);
        auto const ray = h.ray(aim.command);
        double const way = (value_of(point.z) - value_of(ray.origin.z)) / value_of(ray.direction.z);
        CHECK(std::abs(value_of(ray.origin.x) + way * value_of(ray.direction.x) - value_of(point.x)) <=
              bound);
        CHECK(std::abs(value_of(ray.origin.y) + way * value_of(ray.direction.y) - value_of(point.y)) <=
              bound);
        CHECK(std::abs(value_of(ray.path) + way - value_of(ray.focus_path)) <= bound);
        CHECK(std::abs(value_of(squared_norm(ray.direction)) - 1) <= bound);
        // The way back: any point of the beam needs these mirrors.
        for (double const further : {0.4, 0.8}) {
            T const k = number_cast<T>(static_cast<S>(further));
            Point<Head, T> const on{ray.origin.x + k * ray.direction.x, ray.origin.y + k * ray.direction.y,
                                    ray.origin.z + k * ray.direction.z};
            auto const again = h.aim(on, S(0)).command;
            // An angle is at most 1/(2·0.4 m) as wrong as a coordinate.
            CHECK(std::abs(value_of(again.x_mirror) - value_of(aim.command.x_mirror)) <= 2 * bound);
            CHECK(std::abs(value_of(again.y_mirror) - value_of(aim.command.y_mirror)) <= 2 * bound);
        }
    }
}

TEST_CASE("the focus command: zero at the working distance, positive away from the head") {
    auto const h = head();
    CHECK(h.working_distance() == doctest::Approx(0.5).epsilon(epsilon));
    // A path of 0.54 m plus or minus, told to a tenth of a metre a centimetre: bits of 0.54 over the ratio
    // of 10.
    double const bound = 2 * epsilon;
    CHECK(std::abs(h.aim(Point<Head>{0, 0, 0.5}).command.focus) <= bound);
    CHECK(std::abs(h.aim(Point<Head>{0, 0, 0.53}).command.focus - 0.003) <= bound);
    CHECK(std::abs(h.aim(Point<Head>{0, 0, 0.47}).command.focus + 0.003) <= bound);
    // A focus offset is along the beam, positive beyond the surface.
    CHECK(std::abs(h.aim(Point<Head>{0, 0, 0.5}, 0.002).command.focus - 0.0002) <= bound);
    // Aside, the path is longer than z: in the plane of both mirrors it is the hypotenuse.
    CHECK(std::abs(h.aim(Point<Head>{0.405, 0, 0.5}).command.focus - (0.675 - 0.54) / 10) <=
          bound); // 3, 4, 5
    // A ratio of −1: a lens that moves against its focus.
    auto turned = h;
    turned.focus_ratio = -1;
    CHECK(std::abs(turned.aim(Point<Head>{0, 0, 0.53}).command.focus + 0.03) <= 20 * epsilon);
    // The beam's own word for where its focus is.
    CHECK(std::abs(h.ray(Command<>{0, 0, 0.003}).focus_path - 0.57) <= epsilon);
}

TEST_CASE("gains at the centre, by derivatives") {
    // From tan 2θy = y/z and tan 2θx = x/(e + √(y²+z²)): 1/(2d) and 1/(2(e + d)), nothing across.
    using G = Gradient<double, 3>;
    auto const aim = head().aim(Point<Head, G>{G::variable(0, 0), G::variable(0, 1), G::variable(0.5, 2)});
    double const gains[3][3] = {{1 / 1.08, 0, 0}, {0, 1, 0}, {0, 0, 0.1}};
    G const* const rows[3] = {&aim.command.x_mirror, &aim.command.y_mirror, &aim.command.focus};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            CHECK(std::abs(rows[i]->partial[k] - gains[i][k]) <= 4 * epsilon);
    // By a separation that is itself unknown: at x = 0.1 m, θx = ½ atan(x/u), so −½ x/(u² + x²), and the path
    // √(x² + u²) grows by u/path.
    MirrorPair<Gradient<double, 1>> unknown = head_of<Gradient<double, 1>>();
    unknown.separation = Gradient<double, 1>::variable(0.04, 0);
    auto const aside = unknown.aim(Point<Head>{0.1, 0, 0.5}).command;
    double const square = 0.54 * 0.54 + 0.01;
    CHECK(std::abs(aside.x_mirror.partial[0] + 0.05 / square) <= 4 * epsilon);
    CHECK(std::abs(aside.y_mirror.partial[0]) == 0);
    CHECK(std::abs(aside.focus.partial[0] - 0.054 / std::sqrt(square)) <= 4 * epsilon);
}

TEST_CASE("derivatives are finite in the middle, at rest and without a separation") {
    auto h = head();
    for (double const separation : {0.04, 0.0}) {
        h.separation = separation;
        h.field_radius = separation > 0 ? 0.1 : infinity;
        using T = Taylor<Gradient<double, 3>, 3>;
        using G = Gradient<double, 3>;
        Point<Head, T> const p{T(G::variable(0, 0)), T(G::variable(0, 1)), T(G::variable(0.5, 2))};
        auto const aim = h.aim(p);
        CHECK(is_finite(aim.command.x_mirror));
        CHECK(is_finite(aim.command.y_mirror));
        CHECK(is_finite(aim.command.focus));
        CHECK(is_finite(aim.clearance.field));
        auto const ray = h.ray(aim.command);
        CHECK(is_finite(ray.path));
        CHECK(is_finite(ray.direction.z));
    }
}

TEST_CASE("clearances are signed distances to the ends, and the limit itself is in reach") {
    auto h = head();
    h.x_range = {-0.1, 0.15};
    h.y_range = {-0.12, 0.08};
    auto const through = [&](double x_mirror, double y_mirror, double lens) {
        auto const ray = h.ray(Command<>{x_mirror, y_mirror, lens});
        return ray.origin + (ray.focus_path - ray.path) * ray.direction;
    };
    // Angles come back within bits of coordinates over 2 · 0.4 m; the lens within bits of the path over 10.
    double const bound = 4 * epsilon;
    for (double const x : {-0.1, 0.15})
        for (double const y : {-0.12, 0.08})
            for (double const lens : {-0.008, 0.008}) {
                auto const corner = h.aim(through(x, y, lens));
                CHECK(std::abs(corner.clearance.x_mirror) <= bound);
                CHECK(std::abs(corner.clearance.y_mirror) <= bound);
                CHECK(std::abs(corner.clearance.focus) <= bound);
                CHECK(status_of(corner) == Status::ok);
            }
    // One axis at a time, beyond by 1e-9.
    for (double const sign : {-1.0, 1.0}) {
        double const x_end = sign < 0 ? -0.1 : 0.15, y_end = sign < 0 ? -0.12 : 0.08, lens_end = 0.008 * sign;
        auto const x_beyond = h.aim(through(x_end + 1e-9 * sign, 0, 0));
        CHECK(std::abs(x_beyond.clearance.x_mirror + 1e-9) <= bound);
        CHECK(status_of(x_beyond) == Status::out_of_reach);
        auto const y_beyond = h.aim(through(0, y_end + 1e-9 * sign, 0));
        CHECK(std::abs(y_beyond.clearance.y_mirror + 1e-9) <= bound);
        CHECK(status_of(y_beyond) == Status::out_of_reach);
        auto const lens_beyond = h.aim(through(0, 0, lens_end + 1e-9 * sign));
        CHECK(std::abs(lens_beyond.clearance.focus + 1e-9) <= bound);
        CHECK(status_of(lens_beyond) == Status::out_of_reach);
        // A hair inside.
        CHECK(status_of(h.aim(through(x_end - 1e-9 * sign, y_end - 1e-9 * sign, lens_end - 1e-9 * sign))) ==
              Status::ok);
        // What would be needed is still said.
        CHECK(std::abs(lens_beyond.command.focus - (lens_end + 1e-9 * sign)) <= bound);
    }
}

TEST_CASE(
    "the field is a circle in the plane of the undeflected focus, wherever along the beam the point is") {
    auto h = head();
    CHECK(h.aim(Point<Head>{0.3, 0.3, 0.5}).clearance.field == 1); // none
    h.field_radius = 0.1;
    Random random(8002);
    for (int i = 0; i < 1000; ++i) {
        double const x_mirror = random.uniform(-0.15, 0.15), y_mirror = random.uniform(-0.15, 0.15);
        auto const beam = traced(h.separation, x_mirror, y_mirror).line;
        double const to_plane = (h.working_distance() - beam.point.z) / beam.direction.z;
        auto const in_plane = beam.point + test::times(to_plane, beam.direction);
        auto const on = beam.point + test::times(random.uniform(0.3, 0.7), beam.direction);
        double const expected = 1 - (in_plane.x * in_plane.x + in_plane.y * in_plane.y) / 0.01;
        auto const aim = h.aim(Point<Head>{on.x, on.y, on.z});
        // (r/R)² is up to 5 here, of some twenty operations.
        CHECK(std::abs(aim.clearance.field - expected) <= 50 * epsilon);
        // Near the middle a root of a difference of ones.
        CHECK(std::abs(h.field_utilisation(Point<Head>{on.x, on.y, on.z}, aim.command) -
                       std::hypot(in_plane.x, in_plane.y) / 0.1) <= 1e-7);
    }
    // Its edge itself is in the field, all around; a micrometre beyond is not.
    h.focus_range = {-1, 1};
    int refused = 0;
    for (int i = 0; i < 10000; ++i) {
        double const angle = random.uniform(0, 2 * std::numbers::pi);
        double const x = std::cos(angle), y = std::sin(angle);
        refused += status_of(h.aim(Point<Head>{0.1 * x, 0.1 * y, h.working_distance()})) != Status::ok;
        CHECK(status_of(h.aim(Point<Head>{0.100001 * x, 0.100001 * y, h.working_distance()})) ==
              Status::out_of_reach);
        CHECK(status_of(h.aim(Point<Head>{0.099999 * x, 0.099999 * y, h.working_distance()})) == Status::ok);
    }
    CHECK(refused == 0);
}

TEST_CASE("behind the head, beside it, and at its origin") {
    auto h = head();
    h.focus_range = {-10, 10};
    for (double const z : {0.0, -0.0, -1e-300, -1e-9, -0.5, -1e6})
        for (double const x : {0.0, 0.1})
            for (double const y : {0.0, -0.1}) {
                auto const aim = h.aim(Point<Head>{x, y, z});
                CHECK(status_of(aim) == Status::behind_head);
                CHECK(is_finite(aim.command.x_mirror));
                CHECK(is_finite(aim.command.y_mirror));
                CHECK(is_finite(aim.command.focus));
            }
    // With rates, too: nothing divides by the zero.
    using T = Taylor<double, 2>;
    auto const moving = h.aim(Point<Head, T>{T(0), T(0), T::variable(0)});
    CHECK(status_of(moving) == Status::behind_head);
}

TEST_CASE("what is not finite is said to be so, whichever number it is") {
    for (double const wrong : {not_a_number, infinity, -infinity})
        for (int i = 0; i < 4; ++i) {
            CAPTURE(wrong);
            CAPTURE(i);
            double numbers[4] = {0.01, -0.02, 0.5, 0};
            numbers[i] = wrong;
            CHECK(status_of(head().aim(Point<Head>{numbers[0], numbers[1], numbers[2]}, numbers[3])) ==
                  Status::not_finite);
        }
}

TEST_CASE("wild numbers never give an ok that is not finite") {
    Random random(8003);
    auto const pick = [&] { return wild_numbers[random.index(std::size(wild_numbers))]; };
    using T = Taylor<double, 2>;
    std::size_t bad = 0, ok = 0;
    auto const count = runs(100'000);
    for (std::size_t i = 0; i < count; ++i) {
        auto h = head();
        h.field_radius = random.unit() < 0.5 ? 0.1 : infinity;
        if (random.unit() < 0.3)
            h.focus_range = {-1e9, 1e9};
        auto const number = [&] { return T(random.unit() < 0.5 ? pick() : random.uniform(-0.1, 0.6)); };
        Point<Head, T> p{number(), number(), number()};
        for (T* x : {&p.x, &p.y, &p.z})
            for (int k = 1; k <= 2; ++k)
                x->coefficient[k] = random.unit() < 0.5 ? pick() : random.uniform(-1, 1);
        auto const aim = h.aim(p, random.unit() < 0.1 ? pick() : 0.0);
        if (status_of(aim) != Status::ok)
            continue;
        ++ok;
        for (auto const& x : {aim.command.x_mirror, aim.command.y_mirror, aim.command.focus})
            bad += !is_finite(x);
        bad += !(std::abs(aim.command.x_mirror.value()) <= degrees(10) + 1e-15);
        bad += !(std::abs(aim.command.y_mirror.value()) <= degrees(10) + 1e-15);
        // An ok is true: the beam goes through the point.
        auto const beam = traced(h.separation, aim.command.x_mirror.value(), aim.command.y_mirror.value());
        double const z = p.z.value();
        bad += !(test::distance({p.x.value(), p.y.value(), z}, beam.line) <= 1e-12 * std::max(1.0, z));
    }
    CHECK(bad == 0);
    CHECK(ok > count / 1000); // the check was one
}

TEST_CASE("the beam of any finite command is finite") {
    Random random(8004);
    for (int i = 0; i < 1000; ++i) {
        auto const ray =
            head().ray(Command<>{random.uniform(-10, 10), random.uniform(-10, 10), random.uniform(-10, 10)});
        CHECK(is_finite(ray.origin));
        CHECK(is_finite(ray.direction.x));
        CHECK(is_finite(ray.focus_path));
    }
}

TEST_CASE("a head is refused by the name of its field") {
    auto const with = [](std::function<void(MirrorPair<>&)> const& change) {
        auto h = head();
        change(h);
        return message_of(h, "changed");
    };
    CHECK(message_of(head(), "as it is").empty());
    auto const has = [](std::string const& text, std::string const& part) {
        CAPTURE(text);
        CAPTURE(part);
        CHECK(text.find(part) != std::string::npos);
    };
    has(with([](auto& h) { h.separation = -0.04; }), "mirror separation");
    has(with([](auto& h) { h.separation = -0.04; }), "-0.04");
    has(with([](auto& h) { h.separation = not_a_number; }), "mirror separation");
    has(with([](auto& h) { h.separation = infinity; }), "mirror separation");
    has(with([](auto& h) { h.focus_path = 0.04; }), "focus path");
    has(with([](auto& h) { h.focus_path = not_a_number; }), "focus path");
    has(with([](auto& h) { h.focus_path = infinity; }), "focus path");
    has(with([](auto& h) { h.focus_ratio = 0; }), "focus ratio");
    has(with([](auto& h) { h.focus_ratio = not_a_number; }), "focus ratio");
    has(with([](auto& h) { h.x_range = {0.1, 0.1}; }), "x mirror range");
    has(with([](auto& h) { h.x_range = {0.1, -0.1}; }), "x mirror range");
    has(with([](auto& h) { h.x_range = {-0.1, 0.8}; }), "x mirror range");
    has(with([](auto& h) { h.x_range = {-0.8, 0.1}; }), "x mirror range");
    has(with([](auto& h) { h.x_range.low = not_a_number; }), "x mirror range");
    has(with([](auto& h) { h.y_range = {0.1, 0.1}; }), "y mirror range");
    has(with([](auto& h) { h.y_range.high = not_a_number; }), "y mirror range");
    has(with([](auto& h) { h.focus_range = {0.01, -0.01}; }), "focus range");
    has(with([](auto& h) { h.focus_range.low = not_a_number; }), "focus range");
    has(with([](auto& h) { h.field_radius = 0; }), "field radius");
    has(with([](auto& h) { h.field_radius = -0.1; }), "field radius");
    has(with([](auto& h) { h.field_radius = not_a_number; }), "field radius");
    // No separation, and any field, are fine.
    CHECK(with([](auto& h) { h.separation = 0; }).empty());
    CHECK(with([](auto& h) { h.field_radius = 0.1; }).empty());
}

TEST_CASE("aiming does not touch the heap") {
    using T = Taylor<double, 2>;
    auto h = head();
    h.field_radius = 0.1;
    AllocationGuard const guard;
    auto const aim = h.aim(Point<Head, T>{T::variable(0.01), T(0.02), T(0.5)});
    auto const ray = h.ray(aim.command);
    auto const status = status_of(aim);
    CHECK(guard.count() == 0);
    CHECK(status == Status::ok);
    CHECK(is_finite(ray.direction.x));
}
