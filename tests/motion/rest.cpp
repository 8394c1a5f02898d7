#include "seamhold/motion/rest.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/poses.hpp"

#include <type_traits>

using namespace seamhold;
using namespace seamhold::test;

TEST_CASE("what rests, rests") {
    Random random(651);
    Rest<Cell, Part> const fixture{random_pose<Cell, Part>(random)};
    for (double const t : {-1e9, 0.0, 3.7})
        CHECK(difference(fixture.at(t), fixture.pose) == 0);
    auto const moving = number_cast<Taylor<double, 2>>(fixture.at(Taylor<double, 2>::variable(1.0)));
    CHECK(difference(value_of(moving), fixture.pose) == 0);
    CHECK(moving.origin.x.derivative(1) == 0);
    CHECK(has_data(fixture, 1e300));
    CHECK(breaks_of(fixture).empty());
    static_assert(Motion<Rest<Cell, Part>, Cell, Part>);
    static_assert(std::is_trivially_copyable_v<Rest<Cell, Part>>);
}

TEST_CASE("a fixture may be unknown: its place as parameters") {
    using G = Gradient<double, 3>;
    Pose<Cell, Part, G> pose = number_cast<G>(Pose<Cell, Part>::identity());
    pose.origin = {G::variable(1, 0), G::variable(2, 1), G::variable(3, 2)};
    Rest<Cell, Part, G> const fixture{pose};
    auto const p = fixture.at(0.0) * Point<Part>{0.5, 0, 0};
    CHECK(p.x.value == 1.5);
    CHECK(p.x.partial[0] == 1);
    CHECK(p.y.partial[1] == 1);
}
