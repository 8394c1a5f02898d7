#include "seamhold/motion/any_motion.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/motions.hpp"
#include "support/numbers.hpp"

#include <type_traits>
#include <variant>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Flanges = OneOf<PoseLog<Cell, Flange>, Steady<Cell, Flange>, Rest<Cell, Flange>>;

} // namespace

TEST_CASE("a motion chosen at run time is the motion") {
    Random random(681);
    PoseLog<Cell, Flange> const log(rows_of(Sweep{}, uneven_times(50, 2)));
    Steady<Cell, Flange> const steady{random_pose<Cell, Flange>(random), {0.2, 0, 0}, 0.0};
    Rest<Cell, Flange> const rest{random_pose<Cell, Flange>(random)};
    std::vector<Flanges> const all{Flanges(log), Flanges(steady), Flanges(rest)};
    static_assert(Motion<Flanges, Cell, Flange>);
    auto const check = [](Flanges const& any, auto const& motion) {
        for (double const t : {0.1, 0.9, 1.7}) {
            CHECK(difference(any.at(t), value_of(motion.at(t))) == 0);
            auto const time = Taylor<double, 2>::variable(t);
            auto const a = any.at(time);
            static_assert(std::is_same_v<decltype(a), Pose<Cell, Flange, Taylor<double, 2>> const>);
            auto const b = number_cast<Taylor<double, 2>>(motion.at(time));
            CHECK(difference(value_of(a), value_of(b)) == 0);
            CHECK(difference(rate_of(a, 1), rate_of(b, 1)) <= 20 * epsilon);
            CHECK(with_pose(any, time, [](auto const& pose) { return value_of(pose).origin.x; }) ==
                  value_of(b).origin.x);
            CHECK(any.covers(t) == has_data(motion, t));
        }
        CHECK(any.covers(1e6) == has_data(motion, 1e6));
        CHECK(any.breaks() == breaks_of(motion));
    };
    check(all[0], log);
    check(all[1], steady);
    check(all[2], rest);
    CHECK(std::holds_alternative<Steady<Cell, Flange>>(all[1].choice()));
}

TEST_CASE("the lists of a job file") {
    static_assert(Motion<AnyFlangeMotion, Cell, Flange>);
    static_assert(Motion<AnyPartMotion, Cell, Part>);
    AnyPartMotion const part = Rest<Cell, Part>{Pose<Cell, Part>::identity()};
    AllocationGuard guard;
    auto const pose = part.at(Taylor<double, 2>::variable(1.0));
    bool const covered = part.covers(1.0);
    CHECK(guard.count() == 0);
    CHECK(covered);
    CHECK(is_finite(pose.origin));
}
