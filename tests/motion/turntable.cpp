#include "seamhold/motion/turntable.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"

#include <cmath>
#include <numbers>
#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Table = Turntable<Cell, Part>;

} // namespace

TEST_CASE("a turntable by hand") {
    // A part at (2, 0, 1) on a table about the vertical line through (1, 0): after a quarter turn it stands
    // at (1, 1, 1).
    Table const table{{Rotation<Cell, Part>::identity(), {2, 0, 1}}, {1, 0, 0}, {0, 0, 1}, 0.5, 4.0};
    CHECK(difference(table.at(4.0), table.start) == 0);
    auto const pose = table.at(4.0 + std::numbers::pi);
    CHECK(difference(pose.origin, Point<Cell>{1, 1, 1}) <= 4 * epsilon);
    CHECK(difference(pose * Direction<Part>{1, 0, 0}, Direction<Cell>{0, 1, 0}) <= 4 * epsilon);
    auto const back = table.at(4.0 - std::numbers::pi);
    CHECK(difference(back.origin, Point<Cell>{1, -1, 1}) <= 4 * epsilon);
}

TEST_CASE("its twist is the speed about the axis, for any axis") {
    Random random(661);
    for (int n = 0; n < 50; ++n) {
        auto const v = random.on_sphere<3>();
        Direction<Cell> const axis{v[0], v[1], v[2]};
        Table const table{random_pose<Cell, Part>(random), random_pose<Cell, Part>(random).origin, axis,
                          random.uniform(-2, 2), random.uniform(-1, 1)};
        double const now = random.uniform(-5, 5);
        auto const pose = table.at(Taylor<double, 2>::variable(now));
        auto const twist = twist_of(pose);
        double const bound = 200 * epsilon; // levers up to 3.5 m, speeds up to 2 rad/s, a few dozen roundings
        CHECK(difference(twist.angular, table.velocity * axis) <= bound);
        auto const lever = value_of(pose).origin - table.axis_point;
        CHECK(difference(twist.linear, cross(table.velocity * axis, lever)) <= bound);
        // Towards the axis with ω² r.
        auto const away = lever - dot(lever, axis) * axis;
        CHECK(difference(Direction<Cell>{pose.origin.x.derivative(2), pose.origin.y.derivative(2),
                                         pose.origin.z.derivative(2)},
                         (-table.velocity * table.velocity) * away) <= 4 * bound);
        // Distance from the axis and height along it stay.
        auto const before = table.start.origin - table.axis_point;
        CHECK(std::abs(dot(lever, axis) - dot(before, axis)) <= bound);
        CHECK(std::abs(norm(cross(lever, axis)) - norm(cross(before, axis))) <= bound);
        CHECK(distance_from_rotation(value_of(pose).rotation) <= 30 * epsilon);
    }
    static_assert(Motion<Table, Cell, Part>);
    static_assert(std::is_trivially_copyable_v<Table>);
}

TEST_CASE("a table that stands is a fixture; float; an unknown speed") {
    Random random(662);
    Table table{random_pose<Cell, Part>(random), {0.1, 0.2, 0.3}, {0, 0, 1}, 0.0, 0.0};
    // p + (s − p) rounds twice.
    CHECK(difference(table.at(1e6), table.start) <= 4 * epsilon);
    table.velocity = 0.5;
    Turntable<Cell, Part, float> const single{number_cast<float>(table.start), table.axis_point, table.axis,
                                              0.5F, 0.0};
    CHECK(difference(value_of(single.at(2.0F)), table.at(2.0)) <= 20 * 1.2e-7);
    CHECK(difference(value_of(table.at(2.0F)), table.at(2.0)) <= 20 * 1.2e-7);

    using G = Gradient<double, 1>;
    Turntable<Cell, Part, G> const unknown{number_cast<G>(table.start), table.axis_point, table.axis,
                                           G::variable(0.5, 0), 0.0};
    // ∂/∂ω of a pose at angle ω t is t/ω times its rate.
    auto const rate = rate_of(table.at(Taylor<double, 1>::variable(3.0)), 1);
    auto const sensitive = unknown.at(3.0);
    CHECK(std::abs(sensitive.origin.x.partial[0] - 3.0 / 0.5 * rate.origin.x) <= 40 * epsilon);
    static_assert(std::is_same_v<decltype(unknown.at(Taylor<double, 2>())), Pose<Cell, Part, Taylor<G, 2>>>);
}
