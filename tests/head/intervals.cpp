#include "seamhold/head/any_head.hpp"
#include "seamhold/number/interval.hpp"

#include <doctest/doctest.h>

#include "support/interval_laws.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// What heads say over intervals holds what they say at doubles inside.

using namespace seamhold;
using namespace seamhold::test;

namespace {

MirrorPair<> pair() {
    Range const mirror{degrees(-10), degrees(10)};
    return checked(MirrorPair<>{0.04, 0.54, 8, mirror, mirror, {-0.01, 0.01}, 0.15});
}

Point<Head> in_field(Random& random) {
    return {random.uniform(-0.14, 0.14), random.uniform(-0.14, 0.14), random.uniform(0.4, 0.6)};
}

} // namespace

TEST_CASE("the ideal pair over boxes") {
    Random random(5101);
    for (double const size : {0.0, 1e-9, 1e-4, 0.01, 0.3}) {
        auto const went = check_boxes(pair(), random, in_field, size, runs(200), 1e-14);
        CAPTURE(size);
        CAPTURE(went.widest);
        CHECK(went.wrong == 0);
        CHECK(went.unsound == 0);
        CHECK(went.proven == went.boxes);
        CHECK(went.unsolved == 0);
        // A metre of the point is at most 1.3 rad of a mirror and 0.3 m of the lens at 0.4 m.
        CHECK(went.widest <= 4 * size + 1e-14);
    }
}

TEST_CASE("the ideal pair over stretches of time") {
    Random random(5102);
    for (double const duration : {0.0, 1e-4, 0.01}) {
        auto const went = check_stretches<6>(pair(), random, in_field, duration, runs(100), 1e-12);
        CAPTURE(duration);
        CHECK(went.wrong == 0);
        CHECK(went.unsound == 0);
        CHECK(went.proven == went.boxes);
    }
}

TEST_CASE("the ideal pair behind the head and across its plane") {
    Random random(5103);
    auto const behind = [](Random& r) {
        return Point<Head>{r.uniform(-0.2, 0.2), r.uniform(-0.2, 0.2), r.uniform(-0.3, 0.05)};
    };
    for (double const size : {1e-9, 0.02, 1.0}) {
        auto const went = check_boxes(pair(), random, behind, size, runs(200), 1e-12);
        CHECK(went.wrong == 0);
        CHECK(went.unsound == 0);
        auto const ways = check_stretches<6>(pair(), random, behind, 0.01, runs(100), 1e-9);
        CHECK(ways.wrong == 0);
        CHECK(ways.unsound == 0);
    }
}

namespace {

// Heads out of true, with all that a head may be made of. All numbers are invented.

FocusTable focus_table() {
    std::vector<double> paths, lenses;
    for (double path = 0.3; path < 1.21; path += 0.05) {
        paths.push_back(path);
        lenses.push_back(0.05 * (1 / 0.6 - 1 / path));
    }
    return {paths, lenses};
}

std::vector<std::array<double, 2>> notched(double a) {
    return {{-a, -a}, {a, -0.9 * a}, {a, a}, {0.2 * a, 0.8 * a}, {-0.3 * a, a}, {-a, 0.7 * a}};
}

RealHead<OpenBeam> with_map_table_and_apertures(Random& random) {
    auto plain = random_open_head(random);
    plain.map = random_map(random);
    plain.zero_setting = 0.6;
    auto parts = parts_of(plain, OpenBeam{});
    parts.focus = focus_table();
    parts.ranges.focus = {-0.08, 0.04};
    parts.outline = rectangle_outline(0.3, 0.25, OutlineIn::focal_plane);
    parts.apertures = Apertures{{0.03, 0.02, true}, {0.04, 0.03, false}, 0.005, 0.06, 0.6};
    return real_head(parts);
}

RealHead<OpenBeam> with_focus_surface(Random& random) {
    auto const plain = random_open_head(random);
    auto parts = parts_of(plain, OpenBeam{});
    std::vector<FocusSurfaceRow> rows;
    double const plane = plain.zero_setting - 0.04;
    auto const path_to_plane = [&](double x, double y) {
        auto const beam = beam_of(plain, x, y);
        return beam.path + (plane - beam.line.point.z) / beam.line.direction.z;
    };
    for (int i = -4; i <= 4; ++i)
        for (int k = -4; k <= 4; ++k) {
            double const x = 0.0475 * i, y = 0.0475 * k;
            double const bend = 0.002 + 0.01 * x - 0.05 * x * x + 0.03 * x * y;
            rows.push_back({x, y, (path_to_plane(x, y) + bend - plain.zero_setting) / plain.ratio});
        }
    parts.focus_surface =
        fit_focus_surface(LinearFocus<>{plain.zero_setting, plain.ratio}, rows, path_to_plane);
    parts.outline = polygon_outline(notched(0.16), OutlineIn::mirror_angles);
    return real_head(parts);
}

RealHead<OpenBeam> with_thin_lens(Random& random) {
    auto const plain = random_open_head(random);
    auto parts = parts_of(plain, OpenBeam{});
    parts.focus = checked(ThinLensFocus<>{plain.zero_setting, 0.3, 0.1});
    parts.ranges.focus = {-0.02, 0.02};
    parts.outline = ellipse_outline(0.3, 0.2, OutlineIn::mirror_angles);
    return real_head(parts);
}

RealHead<FlatFieldLens<>> with_lens_and_map(Random& random) {
    auto plain = random_lens_head(random);
    plain.map = random_map(random);
    auto parts = parts_of(plain, lens_of(*plain.lens));
    parts.outline = circle_outline(0.1, OutlineIn::focal_plane);
    return real_head(parts);
}

RealHead<FlatFieldLens<>> with_measured_lens(Random& random) {
    auto const plain = random_lens_head(random);
    auto lens = lens_of(*plain.lens);
    lens.depth = 0.02;
    lens.x_slope =
        ChiefRaySlope<>::from_table({0, degrees(5), degrees(10), degrees(15), degrees(20), degrees(25)},
                                    {0, degrees(0.8), degrees(1.2), degrees(1.1), degrees(0.3), degrees(-1)});
    return real_head(parts_of(plain, checked(lens)));
}

struct NamedHead {
    std::string name;
    AnyHead head;
};

std::vector<NamedHead> heads(Random& random) {
    return {{"ideal pair", pair()},
            {"open", open_head_of(random_open_head(random))},
            {"map, table, apertures, rectangle", with_map_table_and_apertures(random)},
            {"focus surface, polygon", with_focus_surface(random)},
            {"thin lens, ellipse", with_thin_lens(random)},
            {"flat field", lens_head_of(random_lens_head(random))},
            {"flat field, map, circle", with_lens_and_map(random)},
            {"flat field, measured", with_measured_lens(random)}};
}

// A point that the head reaches: the focus of a command of its ranges, and a little beyond them.
Point<Head> focus_of(AnyHead const& head, Random& random) {
    auto const r = head.ranges();
    auto const in = [&](Range const& range) {
        return (range.low + range.high) / 2 + random.uniform(-0.52, 0.52) * (range.high - range.low);
    };
    double const x = in(r.x_mirror), y = in(r.y_mirror);
    auto const beam = head.ray(Command<>{x, y, 0.9 * in(r.focus)});
    return beam.origin + (beam.focus_path - beam.path) * beam.direction;
}

// Newton's last step leaves 1e-12 rad (see real_head_rates.cpp), shares divide by 0.1 or so, and rates of
// the third order multiply by up to some ten times themselves.
constexpr double rounding = 1e-10;

} // namespace

TEST_CASE("boxes of points: what every head says of one holds what it says in it") {
    Random random(5110);
    for (auto const& each : heads(random)) {
        auto const& name = each.name;
        auto const& head = each.head;
        auto const in_reach = [&head](Random& r) { return focus_of(head, r); };
        for (double const size : {0.0, 1e-9, 1e-6, 1e-4, 1e-3, 0.03}) {
            auto const went = check_boxes(head, random, in_reach, size, runs(60), rounding);
            INFO(name, ", size ", size, ", widest ", went.widest, ", proven ", went.proven);
            CHECK(went.wrong == 0);
            CHECK(went.unsound == 0);
            CHECK(went.unsolved == 0);
            if (size <= 1e-3)
                CHECK(went.proven == went.boxes);
            // Thin boxes give thin commands; ten times the box makes them at most some ten times as wide.
            if (size == 0)
                CHECK(went.widest <= 1e-12);
            if (size <= 1e-3)
                CHECK(went.widest <= 50 * size + 1e-12);
        }
    }
}

TEST_CASE("stretches of time: value and three rates of every head at instants of them") {
    Random random(5111);
    for (auto const& each : heads(random)) {
        auto const& name = each.name;
        auto const& head = each.head;
        auto const in_reach = [&head](Random& r) { return focus_of(head, r); };
        for (double const duration : {0.0, 1e-4, 0.003, 0.03}) {
            auto const went = check_stretches<6>(head, random, in_reach, duration, runs(30), rounding);
            INFO(name, ", duration ", duration, ", widest ", went.widest, ", proven ", went.proven);
            CHECK(went.wrong == 0);
            CHECK(went.unsound == 0);
            if (duration <= 0.003)
                CHECK(went.proven == went.boxes);
        }
    }
}

namespace {

// Whether each number's orders up to the third are finite and those above are finite as well, or whole lines.
bool has_orders(Taylor<Interval, 6> const& x, bool above) {
    bool as_wanted = true;
    for (int k = 0; k <= 6; ++k)
        as_wanted = as_wanted && (k <= 3 || above ? is_finite(x.coefficient[k]) : is_whole(x.coefficient[k]));
    return as_wanted;
}

// What a head commands over a stretch of a way that starts at the focus of a command and goes along x.
template <class HeadModel>
Command<Taylor<Interval, 6>> along_x(HeadModel const& head, Command<> const& start, double from, double to) {
    auto const beam = head.ray(start);
    auto const p = beam.origin + (beam.focus_path - beam.path) * beam.direction;
    auto const t = Taylor<Interval, 6>::variable(Interval(from, to));
    return head.command(Point<Head, Taylor<Interval, 6>>{t * 0.5 + p.x, p.y, p.z}, 0.0);
}

} // namespace

TEST_CASE("a knot of a field map leaves three rates and nothing above them") {
    Random random(5112);
    auto const head = with_map_table_and_apertures(random);
    auto const knots_x = head.parts().map->knots_x(), knots_y = head.parts().map->knots_y();
    REQUIRE(knots_x.size() == 5);
    for (double const knot : {knots_x[1], knots_x[2], knots_x[3]}) {
        Command<> const at{knot, knots_y[1] + 0.03, 0.004};
        // 0.5 m/s, 0.1 ms: some 50 um, 40 urad.
        auto const across = along_x(head, at, -1e-4, 1e-4);
        CHECK(has_orders(across.x_mirror, false));
        CHECK(has_orders(across.y_mirror, false));
        CHECK(has_orders(across.focus, false));
        for (auto const& [from, to] : {std::pair{1e-4, 2e-4}, std::pair{-2e-4, -1e-4}}) {
            auto const beside = along_x(head, at, from, to);
            CHECK(has_orders(beside.x_mirror, true));
            CHECK(has_orders(beside.y_mirror, true));
        }
    }
    // A knot of the other mirror's angle.
    auto const along = along_x(head, {knots_x[1] + 0.03, knots_y[2], 0.004}, -1e-4, 1e-4);
    CHECK(has_orders(along.x_mirror, false));
    auto const in_reach = [&](Random& r) {
        auto const beam = head.ray(Command<>{knots_x[1 + r.index(3)], r.uniform(-0.15, 0.15), 0.004});
        return beam.origin + (beam.focus_path - beam.path) * beam.direction;
    };
    for (double const duration : {1e-5, 1e-3}) {
        auto const went = check_stretches<6>(head, random, in_reach, duration, runs(50), rounding);
        CHECK(went.wrong == 0);
        CHECK(went.unsound == 0);
        CHECK(went.proven == went.boxes);
    }
}

TEST_CASE("a knot of a focus table, of a focus surface and of a lens's table") {
    Random random(5113);
    auto const table = with_map_table_and_apertures(random);
    double const knot = table.parts().focus.path(0.0); // 0.6 m is a row
    auto const straight = [&](double from, double to) {
        auto const beam = table.ray(Command<>{0.05, 0.05, 0.0});
        auto const p = beam.origin + (knot - beam.path) * beam.direction;
        auto const t = Taylor<Interval, 6>::variable(Interval(from, to)) * 0.5;
        using T = Taylor<Interval, 6>;
        return table.command(Point<Head, T>{beam.direction.x * t + p.x, beam.direction.y * t + p.y,
                                            beam.direction.z * t + p.z},
                             0.0);
    };
    auto const across = straight(-1e-4, 1e-4), beside = straight(1e-4, 2e-4);
    CHECK(has_orders(across.focus, false));
    CHECK(has_orders(across.x_mirror, true));
    CHECK(has_orders(beside.focus, true));

    auto const surface = with_focus_surface(random);
    double const at = surface.parts().focus_surface->field().knots_u()[1];
    auto const over = along_x(surface, {at, 0.05, 0.004}, -1e-4, 1e-4);
    CHECK(has_orders(over.focus, false));
    CHECK(has_orders(over.x_mirror, true));
    CHECK(has_orders(along_x(surface, {at, 0.05, 0.004}, 1e-4, 2e-4).focus, true));
}

TEST_CASE("a footprint that runs over the middle of a mirror, where the aperture's rates change sign") {
    Random random(5115);
    HeadParts<OpenBeam> parts{ideal_mirrors(0.04), {}, LinearFocus<>{0.54, 10}, pair().ranges()};
    parts.apertures = Apertures{{0.05, 0.05, false}, {0.015, 0.05, false}, 0.004, 0, INFINITY};
    auto const head = real_head(parts);
    // At x = 0 the beam meets the last mirror in the middle of its axis.
    auto const in_middle = [](Random& r) { return Point<Head>{0, r.uniform(-0.05, 0.05), 0.5}; };
    for (double const duration : {1e-5, 0.003}) {
        auto const went = check_stretches<6>(head, random, in_middle, duration, runs(30), rounding);
        CHECK(went.wrong == 0);
        CHECK(went.unsound == 0);
        CHECK(went.proven == went.boxes);
    }
    using T = Taylor<Interval, 6>;
    T const x = T::variable(Interval(-1e-4, 2e-4));
    Point<Head, T> const p{x, T(0.01), T(0.5)};
    auto const aperture = head.clearance(p, head.command(p)).aperture;
    CHECK(has_orders(aperture, false));
    CHECK(aperture.coefficient[1].contains(0.0));
}

TEST_CASE("a focus table turned round, with rates") {
    Random random(5116);
    FocusTable const table = focus_table();
    using T = Taylor<Interval, 6>;
    using D = Taylor<double, 3>;
    for (std::size_t n = 0; n < runs(200); ++n) {
        // Within the table, over its rows and beyond its ends; the lens at an even speed.
        double const at = random.uniform(-0.1, 0.06), speed = random.uniform(-1, 1);
        for (double const duration : {0.0, 1e-4, 0.02}) {
            auto const lens = [&](auto const& t) { return t * speed + at; };
            T const over = table.path(lens(T::variable(Interval(0, duration))));
            CHECK(sound(over));
            CHECK(is_finite(over.value()));
            for (double const part : {0.0, random.unit(), 1.0})
                CHECK(holds(over, table.path(lens(D::variable(part * duration))), 1e-11));
            // Places are a few units in the last place wide, beside the way of the lens times the slope,
            // which is at most 1.2²/0.05.
            CHECK(over.value().high - over.value().low <= 1e-13 + 30 * duration);
        }
    }
}

TEST_CASE("outlines over boxes: inside, outside, over edges and corners") {
    Random random(5117);
    auto const in = OutlineIn::mirror_angles;
    auto const corners = notched(0.16);
    for (auto const& outline : {circle_outline(0.16, in), rectangle_outline(0.3, 0.2, in, {0.01, -0.02}),
                                ellipse_outline(0.3, 0.1, in), polygon_outline(corners, in)}) {
        std::size_t wrong = 0, unsound = 0;
        auto const look = [&](double u, double v, double size) {
            Interval const over_u(u - size * random.unit(), u + size * random.unit());
            Interval const over_v(v - size * random.unit(), v + size * random.unit());
            using T = Taylor<Interval, 6>;
            auto const share = outline.share(over_u, over_v),
                       used = outline.squared_utilisation(over_u, over_v);
            unsound += sound(share) && sound(used) ? 0 : 1;
            Interval const with_rates = outline.share(T(over_u), T(over_v)).value();
            for (int k = 0; k < 5; ++k) {
                double const x = k == 0 ? u : random.uniform(over_u.low, over_u.high);
                double const y = k == 0 ? v : random.uniform(over_v.low, over_v.high);
                double const at = outline.share(x, y), use = outline.squared_utilisation(x, y);
                wrong += holds(share, at, 1e-13 * (1 + std::abs(at))) ? 0 : 1;
                wrong += holds(with_rates, at, 1e-13 * (1 + std::abs(at))) ? 0 : 1;
                wrong += holds(used, use, 1e-13 * (1 + use)) ? 0 : 1;
            }
        };
        for (std::size_t n = 0; n < runs(500); ++n)
            for (double const size : {0.0, 1e-5, 0.01, 0.3})
                look(random.uniform(-0.5, 0.5), random.uniform(-0.3, 0.3), size);
        // Nearer to a corner than a part in 1e9 doubles take it for the corner itself.
        for (auto const& corner : corners)
            for (double const off : {0.0, 1e-12, 1e-10, 3e-10, 5e-10})
                for (double const size : {0.0, 1e-13, 2e-10, 1e-9, 0.01})
                    look(corner[0] + off, corner[1] - 0.3 * off, size);
        CHECK(wrong == 0);
        CHECK(unsound == 0);
    }
}

TEST_CASE("points out of reach, behind the head and everywhere at once") {
    Random random(5114);
    for (auto const& each : heads(random)) {
        auto const& name = each.name;
        auto const& head = each.head;
        INFO(name);
        auto const anywhere = [](Random& r) {
            double const far = std::pow(10, r.uniform(-3, 1));
            return Point<Head>{far * r.uniform(-1, 1), far * r.uniform(-1, 1), far * r.uniform(-1, 1)};
        };
        for (double const size : {0.0, 0.001, 0.3, 1e5}) {
            auto const went = check_boxes(head, random, anywhere, size, runs(50), 1e-7);
            INFO("size ", size, ", proven ", went.proven);
            CHECK(went.unsound == 0);
            CHECK(went.wrong == 0);
        }
        using T = Taylor<Interval, 6>;
        for (auto const& x : {Interval::whole(), Interval(-1e300, 1e300), Interval(-1, 1)}) {
            auto const t = T::variable(x);
            auto const over = said(head, Point<Head, T>{t, t, t}, T(0.0));
            for (auto const& number : over.numbers)
                CHECK(sound(number));
            CHECK(sound(over.solved));
            bool const in_front = over.numbers[3].value().low > 0;
            CHECK_FALSE((in_front && over.solved.value().low > 0));
        }
    }
}
