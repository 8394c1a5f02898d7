#include "seamhold/frame/point.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <cmath>
#include <limits>
#include <type_traits>

using namespace seamhold;
using seamhold::test::epsilon;
using seamhold::test::Random;

struct Table; // any type, complete or not, is a tag

namespace {

template <class F> bool same(Direction<F> const& a, Direction<F> const& b) {
    return a.x == b.x && a.y == b.y && a.z == b.z;
}
template <class F> bool same(Point<F> const& a, Point<F> const& b) {
    return a.x == b.x && a.y == b.y && a.z == b.z;
}
template <class F> Direction<F> random_direction(Random& random) {
    double const x = random.uniform(-2, 2);
    double const y = random.uniform(-2, 2);
    return {x, y, random.uniform(-2, 2)};
}

} // namespace

TEST_CASE("points and directions are plain data, whatever their frame and number") {
    static_assert(std::is_trivially_copyable_v<Point<Table>> && sizeof(Point<Table>) == 3 * sizeof(double));
    static_assert(std::is_trivially_copyable_v<Direction<Table, float>>);
    static_assert(sizeof(Direction<Table, float>) == 3 * sizeof(float));
    static_assert(std::is_trivially_copyable_v<Point<Table, Taylor<Gradient<double, 3>, 2>>>);
    static_assert(std::is_aggregate_v<Point<Table>> && std::is_aggregate_v<Direction<Table>>);
    static_assert(alignof(Point<Table>) == alignof(double)); // the layout does not depend on -m flags
}

TEST_CASE("points and directions add as they should") {
    Point<Table> const p{1, 2, 3};
    Direction<Table> const d{4, -5, 6};
    CHECK(same(p + d, Point<Table>{5, -3, 9}));
    CHECK(same(p - d, Point<Table>{-3, 7, -3}));
    CHECK(same((p + d) - p, d));
    CHECK(same(d + d, Direction<Table>{8, -10, 12}));
    CHECK(same(d - d, Direction<Table>{0, 0, 0}));
    CHECK(same(-d, Direction<Table>{-4, 5, -6}));
    CHECK(same(2.0 * d, Direction<Table>{8, -10, 12}));
    static_assert(std::is_same_v<decltype(p - p), Direction<Table>>);
    static_assert(std::is_same_v<decltype(p + d), Point<Table>>);
}

TEST_CASE("products by hand") {
    Direction<Table> const a{1, 2, 3};
    Direction<Table> const b{-4, 5, 6};
    CHECK(dot(a, b) == 24);
    CHECK(same(cross(a, b), Direction<Table>{-3, -18, 13}));
    CHECK(same(cross(Direction<Table>{1, 0, 0}, Direction<Table>{0, 1, 0}), Direction<Table>{0, 0, 1}));
    CHECK(squared_norm(a) == 14);
    CHECK(norm(Direction<Table>{2, 3, 6}) == 7);
    CHECK(same(unit(Direction<Table>{0, -3, 0}), Direction<Table>{0, -1, 0}));
}

TEST_CASE("laws of the products at random vectors") {
    Random random(31);
    for (int i = 0; i < 200; ++i) {
        auto const a = random_direction<Table>(random);
        auto const b = random_direction<Table>(random);
        auto const c = random_direction<Table>(random);
        // Sums of six products of numbers up to 2·2·2: below 8 · 8 · 6 roundings of half an epsilon.
        double const bound = 200 * epsilon;
        CHECK(std::abs(dot(a, cross(a, b))) <= bound);
        CHECK(std::abs(dot(a, cross(b, c)) - dot(cross(a, b), c)) <= bound);
        // Lagrange: |a × b|² + (a·b)² = |a|²|b|², numbers up to 144.
        CHECK(std::abs(squared_norm(cross(a, b)) + dot(a, b) * dot(a, b) -
                       squared_norm(a) * squared_norm(b)) <= 144 * 10 * epsilon);
        CHECK(std::abs(norm(unit(a)) - 1) <= 4 * epsilon);
        CHECK(norm(cross(unit(a), a)) <= 4 * epsilon * norm(a));
    }
}

TEST_CASE("rates pass through: speed along a helix") {
    // p = (cos t, sin t, t): |p′| = √2, |p″| = 1 at every t.
    auto const t = Taylor<double, 2>::variable(0.7);
    auto const both = sin_cos(t);
    Point<Table, Taylor<double, 2>> const p{both.cos, both.sin, t};
    Direction<Table> const velocity{p.x.derivative(1), p.y.derivative(1), p.z.derivative(1)};
    Direction<Table> const acceleration{p.x.derivative(2), p.y.derivative(2), p.z.derivative(2)};
    CHECK(std::abs(norm(velocity) - std::sqrt(2.0)) <= 2 * epsilon);
    CHECK(std::abs(norm(acceleration) - 1) <= 2 * epsilon);
}

TEST_CASE("a length at zero has finite derivatives") {
    auto const t = Taylor<double, 3>::variable(0.0);
    Direction<Table, Taylor<double, 3>> const through_zero{t, 2.0 * t, -t};
    CHECK(norm(through_zero).value() == 0);
    CHECK(is_finite(norm(through_zero)));
}

TEST_CASE("points over different numbers meet in the wider one") {
    Point<Table> const p{1, 2, 3};
    Direction<Table, Taylor<double, 1>> const d{Taylor<double, 1>::variable(1), 0.0, 0.0};
    auto const moved = p + d;
    static_assert(std::is_same_v<decltype(moved), Point<Table, Taylor<double, 1>> const>);
    CHECK(moved.x.coefficient[0] == 2);
    CHECK(moved.x.coefficient[1] == 1);
    CHECK(moved.y.coefficient[1] == 0);
    auto const longer = Taylor<double, 1>::variable(3.0) * Direction<Table>{1, 2, 3};
    CHECK(longer.y.coefficient[0] == 6);
    CHECK(longer.y.coefficient[1] == 2);
    auto const single = Direction<Table, float>{1, 2, 3} + Direction<Table>{1, 1, 1};
    static_assert(std::is_same_v<decltype(single), Direction<Table, double> const>);
    CHECK(dot(Direction<Table, float>{1, 2, 3}, Direction<Table>{1, 1, 1}) == 6);
}

TEST_CASE("casts, values and new names") {
    auto const lifted = number_cast<Taylor<double, 1>>(Point<Table>{1, 2, 3});
    CHECK(lifted.z.coefficient[0] == 3);
    CHECK(lifted.z.coefficient[1] == 0);
    CHECK(same(value_of(lifted), Point<Table>{1, 2, 3}));
    CHECK(same(value_of(number_cast<float>(Direction<Table>{1, 2, 3})), Direction<Table>{1, 2, 3}));
    static_assert(std::is_same_v<decltype(as<Part>(Point<Table>{})), Point<Part>>);
    CHECK(same(as<Part>(Point<Table>{1, 2, 3}), Point<Part>{1, 2, 3}));
}

TEST_CASE("a point is finite when its three numbers are") {
    double const bad = std::numeric_limits<double>::quiet_NaN();
    CHECK(is_finite(Point<Table>{1, 2, 3}));
    CHECK_FALSE(is_finite(Point<Table>{bad, 2, 3}));
    CHECK_FALSE(is_finite(Point<Table>{1, bad, 3}));
    CHECK_FALSE(is_finite(Point<Table>{1, 2, bad}));
}
