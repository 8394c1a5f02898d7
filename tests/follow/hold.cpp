#include "seamhold/follow/chain.hpp"

#include <doctest/doctest.h>

#include "follow/chains.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <string>
#include <tuple>
#include <type_traits>
#include <utility>

// The spot stays on the seam: whatever moves, the command, traced through the mirrors by vectors and carried
// back into the part, lands where the seam is.

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const promised = 1e-9; // m
// What rounding leaves: coordinates up to 1.2 m through four poses, there and back, some thirty operations.
double const rounding = 60 * epsilon;

template <class Thing> struct Named {
    std::string name;
    Thing thing;
};
template <class Thing> Named<Thing> named(std::string name, Thing thing) { return {std::move(name), thing}; }

double const begin = 0, end = 1; // s, of every motion here

// The flange's pose at rest that the others start from or pass: half a metre above the part, looking down.
Pose<Cell, Flange> above(double x, double y, double z, double angle) {
    return {about_axis<Cell, Flange>({1, 0, 0}, std::numbers::pi) *
                about_axis<Flange, Flange>({0.6, 0, 0.8}, angle),
            {x, y, z}};
}

// A six-axis arm (the table of K. Waldron's and others' PUMA 560 exercises, from memory; any arm would do)
// that stands so that its flange is at `place` at the joint angles q.
SerialArm<6> arm() {
    double const half = std::numbers::pi / 2;
    return SerialArm<6>::standard_dh({{{0, 0, half},
                                       {0, 0.4318, 0},
                                       {0.15005, 0.0203, -half},
                                       {0.4318, 0, half},
                                       {0, 0, -half},
                                       {0, 0, 0}}});
}
std::array<double, 6> const home{0.1, 0.8, 2.9, 0.2, 0.9, -0.3};
std::array<double, 6> const away{0.17, 0.83, 2.85, 0.25, 0.93, -0.2};
Pose<Cell, Base> cell_from_base() { return above(0, 0, 0.5, 0) * inverse(arm().forward(home)); }

auto flange_motions(Random& random) {
    auto const sines = random_flange(random);
    auto const rows = rows_of<Cell>(sines, begin - 0.01, end + 0.02, 0.004, random);
    std::vector<double> times;
    std::vector<std::array<double, 6>> joints;
    for (double t = begin; t < end + 0.01; t += 0.004) {
        times.push_back(t);
        auto q = home;
        for (std::size_t i = 0; i < 6; ++i)
            q[i] += 0.04 * std::sin(2 * t + static_cast<double>(i));
        joints.push_back(q);
    }
    std::array<RateLimits, 6> limits;
    limits.fill({1, 10, 100});
    PoseLog<Cell, Flange> const log(rows);
    StraightMove<Cell, Flange> const straight(
        above(-0.03, 0.02, 0.5, 0), above(0.03, -0.02, 0.48, degrees(6)), {0.2, 2, 20}, {1, 10, 100}, 0.1);
    return std::tuple(
        named("at rest", Rest<Cell, Flange>{above(0.01, 0.02, 0.5, degrees(3))}),
        named("steady", Steady<Cell, Flange>{above(-0.05, 0, 0.5, degrees(3)), {0.1, 0.01, -0.02}, 0}),
        named("straight move", straight),
        named("joint move", JointMove<6>(cell_from_base(), arm(), home, away, limits, 0.05)),
        named("pose log", log), named("joint log", JointLog<6>(cell_from_base(), arm(), times, joints)),
        named("sines", sines),
        named("composed",
              compose(Turntable<Cell, Cell>{Pose<Cell, Cell>::identity(), {0, 0, 0}, {0, 0, 1}, 0.1, 0},
                      straight)),
        named("inverted twice", invert(invert(log))));
}

struct Table;

auto part_motions(Random& random) {
    auto const sines = random_part(random);
    auto const rows = rows_of<Cell>(sines, begin - 0.01, end + 0.02, 0.004, random);
    Pose<Cell, Part> const place{about_axis<Cell, Part>({0, 0, 1}, 0.3), {0.005, -0.01, 0.01}};
    Turntable<Cell, Part> const turntable{place, {0.01, 0, 0}, {0.6, 0, 0.8}, 0.2, 0.3};
    return std::tuple(
        named("at rest", Rest<Cell, Part>{place}), named("turntable", turntable),
        named("steady", Steady<Cell, Part>{place, {-0.02, 0.03, 0.01}, 0}),
        named("pose log", PoseLog<Cell, Part>(rows)), named("sines", sines),
        named("on a turntable",
              compose(Turntable<Cell, Table>{Pose<Cell, Table>::identity(), {0, 0, 0}, {0, 0, 1}, -0.2, 0},
                      Rest<Table, Part>{{about_axis<Table, Part>({0, 1, 0}, 0.1), {0.01, 0, 0}}})));
}

auto seams() {
    double const speed = metres_per_minute(15);
    return std::tuple(
        named("straight", at_speed(straight_between({-0.03, -0.01}, {0.03, 0.02}), face(), speed)),
        named("straight, woven",
              at_speed(straight_between({-0.03, 0}, {0.03, 0}), face(), speed, {300, 0.0005})),
        named("arc", at_speed(arc_around({0, 0}, 0.02, 1, -2), face(), speed)),
        named("circle", at_speed(circle_around({0.005, 0}, 0.03), face(), speed, {120, 0.001})),
        named("held point", held({0.01, 0.02}, face(), 0.3)),
        named("chosen at run time", AnySeam(at_speed(circle_around({0, 0}, 0.003, 2, true), face(), speed))));
}

// Holds a seam at random times over its duration; every command is in reach and lands on the seam.
template <class ChainType, class SeamType>
void check_held(ChainType const& chain, SeamType const& seam, Random& random, int count = 20) {
    double const start = random.uniform(begin, end - seam.duration());
    for (int i = 0; i < count; ++i) {
        double const t = i == 0 ? start : start + random.uniform(0, seam.duration());
        auto const followed = chain.follow(seam, t - start, t);
        CHECK(followed.status == Status::ok);
        auto const spot = spot_of(chain, followed.aim.command, t);
        auto const p = seam.at(t - start).position;
        double const distance = length(spot - Vector<>{p.x, p.y, p.z});
        CHECK(distance <= promised);
        CHECK(distance <= rounding);
        // With rates the command is the same one, to the last bits of two ways through a spline.
        auto const time = Taylor<double, 2>::variable(t);
        auto const moving = chain.follow(seam, Taylor<double, 2>::variable(t - start), time);
        CHECK(moving.status == Status::ok);
        CHECK(std::abs(moving.aim.command.x_mirror.value() - followed.aim.command.x_mirror) <= rounding);
        CHECK(std::abs(moving.aim.command.y_mirror.value() - followed.aim.command.y_mirror) <= rounding);
        CHECK(std::abs(moving.aim.command.focus.value() - followed.aim.command.focus) <= rounding);
        CHECK(difference(value_of(moving.target), followed.target) <= rounding);
    }
}

template <class Tuple, class Body> void for_each(Tuple const& tuple, Body const& body) {
    std::apply([&](auto const&... items) { (body(items), ...); }, tuple);
}

} // namespace

TEST_CASE("law: the spot stays on the seam, for every motion of flange and part") {
    Random random(10'001);
    AnySeam const seam(
        at_speed(arc_around({0, 0}, 0.02, 1, 3), face(), metres_per_minute(15), {300, 0.0005}));
    auto const flange = random_flange(random);
    auto const part = random_part(random);
    for_each(flange_motions(random), [&](auto const& one) {
        CAPTURE(one.name);
        Chain<decltype(one.thing), decltype(part), MirrorPair<>> const chain{one.thing, part, mount(),
                                                                             head()};
        check_held(chain, seam, random, 100);
    });
    for_each(part_motions(random), [&](auto const& one) {
        CAPTURE(one.name);
        Chain<decltype(flange), decltype(one.thing), MirrorPair<>> const chain{flange, one.thing, mount(),
                                                                               head()};
        check_held(chain, seam, random, 100);
    });
    // As a job has them.
    for_each(flange_motions(random), [&](auto const& one) {
        if constexpr (std::is_constructible_v<AnyFlangeMotion, decltype(one.thing)>) {
            CAPTURE(one.name);
            Pose<Cell, Part> const place{about_axis<Cell, Part>({0, 0, 1}, 0.3), {0.005, -0.01, 0.01}};
            AnyChain const chain{
                AnyFlangeMotion(one.thing),
                AnyPartMotion(Turntable<Cell, Part>{place, {0.01, 0, 0}, {0.6, 0, 0.8}, 0.2, 0.3}), mount(),
                head()};
            check_held(chain, seam, random, 100);
        }
    });
}

TEST_CASE("law: the spot stays on every seam") {
    Random random(10'002);
    for (int i = 0; i < 5; ++i) {
        Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, MirrorPair<>> const chain{
            random_flange(random), random_part(random), mount(), head()};
        for_each(seams(), [&](auto const& seam) {
            CAPTURE(seam.name);
            check_held(chain, seam.thing, random, 50);
        });
    }
}

TEST_CASE("hold: random smooth motions, many") {
    Random random(10'003);
    auto const seam = at_speed(circle_around({0, 0}, 0.04), face(), metres_per_minute(15));
    double worst = 0;
    std::size_t refused = 0;
    auto const count = runs(2000);
    for (std::size_t i = 0; i < count; ++i) {
        Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, MirrorPair<>> const chain{
            random_flange(random), random_part(random), mount(), head()};
        double const start = random.uniform(-1000, 1000);
        for (int k = 0; k < 20; ++k) {
            double const seam_time = random.uniform(0, seam.duration());
            double const t = start + seam_time;
            auto const followed = chain.follow(seam, seam_time, t);
            refused += followed.status != Status::ok;
            auto const p = seam.at(seam_time).position;
            worst =
                std::max(worst, length(spot_of(chain, followed.aim.command, t) - Vector<>{p.x, p.y, p.z}));
        }
    }
    CHECK(refused == 0);
    CHECK(worst <= promised);
    CHECK(worst <= rounding);
}

TEST_CASE("the focus goes where the seam's focus offset says, along the beam") {
    Random random(10'004);
    Chain<SineMotion<Cell, Flange>, SineMotion<Cell, Part>, MirrorPair<>> const chain{
        random_flange(random), random_part(random), mount(), head()};
    for (double const offset : {0.003, -0.002}) {
        auto const seam = at_speed(straight_between({-0.02, 0}, {0.02, 0}), face(), 0.25, {}, offset);
        for (double const t : {0.0, 0.05, 0.16}) {
            auto const command = chain.follow(seam, t, t).aim.command;
            auto const focus = spot_of(chain, command, t);
            auto const p = seam.at(t).position;
            CHECK(std::abs(length(focus - Vector<>{p.x, p.y, p.z}) - std::abs(offset)) <= rounding);
            // Beyond the surface for a positive one: away from the head, whose origin is carried along.
            auto const origin = carried_back(
                chain.cell_from_part.at(t),
                carried(chain.cell_from_flange.at(t), carried(chain.flange_from_head, Vector<>{0, 0, 0})));
            double const further = length(focus - origin) - length(Vector<>{p.x, p.y, p.z} - origin);
            // The beam leaves a few millimetres beside the origin: a cosine of 1 − 1e-4.
            CHECK(std::abs(further - offset) <= 1e-3 * std::abs(offset));
        }
    }
}

TEST_CASE("a part on a turning positioner is a fixed part and a flange that turns the other way") {
    Random random(10'005);
    for (int i = 0; i < 20; ++i) {
        auto const flange = random_flange(random);
        auto const axis = random.on_sphere<3>();
        Turntable<Cell, Table> const table{random_pose<Cell, Table>(random, 0.02),
                                           {0.01, -0.02, 0.005},
                                           {axis[0], axis[1], axis[2]},
                                           random.uniform(-1, 1) * 0.1,
                                           0.5};
        // The part so on the table that it stands about the cell's origin.
        Rest<Table, Part> const part{inverse(table.at(0.5)) *
                                     Pose<Cell, Part>{about_axis<Cell, Part>({0, 0, 1}, 0.2), {0.01, 0, 0}}};
        auto const turning = compose(table, part);
        Chain<SineMotion<Cell, Flange>, decltype(turning), MirrorPair<>> const one{flange, turning, mount(),
                                                                                   head()};
        // As seen from the table: the part rests, the flange moves oppositely.
        auto const opposite = compose(invert(table), flange);
        Chain<decltype(opposite), Rest<Table, Part>, MirrorPair<>> const other{opposite, part, mount(),
                                                                               head()};
        auto const seam = at_speed(circle_around({0, 0}, 0.03), face(), 0.25);
        using T = Taylor<double, 3>;
        for (int k = 0; k < 10; ++k) {
            double const t = random.uniform(0, seam.duration());
            auto const a = one.follow(seam, T::variable(t), T::variable(t));
            auto const b = other.follow(seam, T::variable(t), T::variable(t));
            CHECK(a.status == Status::ok);
            CHECK(b.status == Status::ok);
            // Rates grow with the motion's and the circle's frequencies, 17 rad/s: bits of that to the power.
            for (int order = 0; order <= 3; ++order) {
                double const bound = rounding * std::pow(17.0, order);
                CHECK(std::abs(a.aim.command.x_mirror.derivative(order) -
                               b.aim.command.x_mirror.derivative(order)) <= bound);
                CHECK(std::abs(a.aim.command.y_mirror.derivative(order) -
                               b.aim.command.y_mirror.derivative(order)) <= bound);
                CHECK(std::abs(a.aim.command.focus.derivative(order) -
                               b.aim.command.focus.derivative(order)) <= bound);
            }
            // And it is held.
            auto const p = seam.at(t).position;
            CHECK(length(spot_of(one,
                                 {a.aim.command.x_mirror.value(), a.aim.command.y_mirror.value(),
                                  a.aim.command.focus.value()},
                                 t) -
                         Vector<>{p.x, p.y, p.z}) <= rounding);
        }
    }
}
