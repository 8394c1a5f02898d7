#include "seamhold/motion/steady.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"

#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

TEST_CASE("a steady glide by hand") {
    Pose<Cell, Flange> const start{about_axis<Cell, Flange>(Direction<Cell>{0, 0.6, 0.8}, 0.7), {1, 2, 3}};
    Steady<Cell, Flange> const glide{start, {0.2, 0, -0.1}, 10.0};
    CHECK(difference(glide.at(10.0), start) == 0);
    CHECK(difference(glide.at(15.0).origin, Point<Cell>{2, 2, 2.5}) <= 4 * epsilon);
    CHECK(difference(glide.at(5.0).origin, Point<Cell>{0, 2, 3.5}) <= 4 * epsilon);
    CHECK(difference(glide.at(15.0).rotation, start.rotation) == 0);
    auto const twist = twist_of(glide.at(Taylor<double, 2>::variable(12.0)));
    CHECK(difference(twist.linear, Direction<Cell>{0.2, 0, -0.1}) == 0);
    CHECK(norm(twist.angular) == 0);
    CHECK(glide.at(Taylor<double, 2>::variable(12.0)).origin.x.derivative(2) == 0);
    CHECK(difference(value_of(glide.at(15.0F)), glide.at(15.0)) <= 10 * 1.2e-7); // places up to 3 m as float
    static_assert(Motion<Steady<Cell, Flange>, Cell, Flange>);
    static_assert(std::is_trivially_copyable_v<Steady<Cell, Flange>>);
    CHECK(has_data(glide, 1e9));
    CHECK(breaks_of(glide).empty());
}

TEST_CASE("an unknown speed: what the pose does with it") {
    // x = 1 + v (t − 10): ∂x/∂v = t − 10, and ∂ẋ/∂v = 1.
    using G = Gradient<double, 1>;
    Steady<Cell, Flange, G> const glide{
        number_cast<G>(Pose<Cell, Flange>::identity()), {G::variable(0.2, 0), 0.0, 0.0}, 10.0};
    CHECK(std::abs(glide.at(15.0).origin.x.value - 1.0) <= 2 * epsilon);
    CHECK(glide.at(15.0).origin.x.partial[0] == 5);
    auto const pose = glide.at(Taylor<double, 1>::variable(15.0));
    static_assert(std::is_same_v<decltype(pose.origin.x), Taylor<G, 1>>);
    CHECK(pose.origin.x.coefficient[1].value == 0.2);
    CHECK(pose.origin.x.coefficient[1].partial[0] == 1);
}
