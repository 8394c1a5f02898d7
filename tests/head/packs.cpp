#include "support/random.hpp"
#include "support/real_heads.hpp"

#include "seamhold/head/any_head.hpp"
#include "seamhold/number/pack.hpp"

#include <doctest/doctest.h>

#include <vector>

// Heads over packs against the same heads over doubles. Compiled without fused instructions both round alike.

using namespace seamhold;
using namespace seamhold::test;

namespace {

using P = Pack<8>;

bool equal(Taylor<double, 2> const& a, Taylor<double, 2> const& b) {
    return a.coefficient[0] == b.coefficient[0] && a.coefficient[1] == b.coefficient[1] &&
           a.coefficient[2] == b.coefficient[2];
}

template <class HeadModel> void check_lanes(HeadModel const& head, Random& random, int& ok) {
    using T = Taylor<double, 2>;
    using TP = Taylor<P, 2>;
    Point<seamhold::Head, T> points[8];
    Point<seamhold::Head, TP> all;
    for (int i = 0; i < 8; ++i) {
        auto const moving = [&](double middle, double spread) {
            T x(middle + random.uniform(-spread, spread));
            x.coefficient[1] = random.uniform(-1, 1);
            x.coefficient[2] = random.uniform(-1, 1);
            return x;
        };
        points[i] = {moving(0, 0.05), moving(0, 0.05), moving(head.working_distance(), 0.004)};
        set_lane(all.x, i, points[i].x);
        set_lane(all.y, i, points[i].y);
        set_lane(all.z, i, points[i].z);
    }
    auto const aims = head.aim(all, 0.001);
    auto const clearances = head.clearance(all, aims.command);
    auto const beams = head.ray(aims.command);
    auto const use = head.squared_field_utilisation(all, aims.command);
    auto const status = status_of(aims);
    for (int i = 0; i < 8; ++i) {
        auto const one = head.aim(points[i], 0.001);
        auto const lane = lane_of(aims, i);
        CHECK(equal(lane.command.x_mirror, one.command.x_mirror));
        CHECK(equal(lane.command.y_mirror, one.command.y_mirror));
        CHECK(equal(lane.command.focus, one.command.focus));
        CHECK(status.lane[i] == status_of(one));
        ok += status.lane[i] == Status::ok;
        CHECK(equal(lane_of(clearances, i).field, head.clearance(points[i], one.command).field));
        auto const beam = head.ray(one.command);
        CHECK(equal(lane_of(beams.direction.y, i), beam.direction.y));
        CHECK(equal(lane_of(beams.focus_path, i), beam.focus_path));
        CHECK(equal(lane_of(use, i), T(head.squared_field_utilisation(points[i], one.command))));
    }
}

} // namespace

TEST_CASE("every kind of head gives each lane of a pack what it gives alone") {
    Random random(7401);
    int ok = 0;
    for (std::size_t run = 0; run < runs(6); ++run) {
        Range const mirror{-0.18, 0.18};
        MirrorPair<> const ideal{0.04, 0.49, 8, mirror, mirror, {-0.01, 0.01}, 0.12};
        auto const open = open_head_of(random_open_head(random));
        auto const lens = lens_head_of(random_lens_head(random));
        check_lanes(ideal, random, ok);
        check_lanes(open, random, ok);
        check_lanes(lens, random, ok);
        for (AnyHead const& head : std::vector<AnyHead>{AnyHead(ideal), AnyHead(open), AnyHead(lens)})
            check_lanes(head, random, ok);
    }
    CHECK(ok > 50);
}
