#include "seamhold/head/any_head.hpp"
#include "seamhold/number/interval.hpp"

#include <doctest/doctest.h>

#include "support/interval_laws.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <cmath>
#include <cstddef>

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
