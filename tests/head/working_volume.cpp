#include "seamhold/head/working_volume.hpp"

#include <doctest/doctest.h>

#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/number/units.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <string>

// The volume of the ideal head, whose edges can be written down.

using namespace seamhold;
using seamhold::test::infinity;
using seamhold::test::refusal_of;

namespace {

// 40 mm between the mirrors, 10 degrees to a side and 8 in y, a focus from 0.46 to 0.62 m of path. Invented.
MirrorPair<> head() {
    return checked(MirrorPair<>{0.04, 0.54, 8, {-0.17, 0.17}, {-0.14, 0.14}, {-0.01, 0.01}, infinity});
}

std::string message_of(MirrorPair<> const& mirrors, ReachLimits const& limits) {
    return refusal_of([&] { return WorkingVolume(mirrors, limits); });
}

} // namespace

TEST_CASE("along the axis the volume ends where the focus does") {
    WorkingVolume const volume(head());
    auto const heights = volume.heights();
    // Path 0.54 ± 0.08 m less 0.04 m; found to a micrometre.
    CHECK(std::abs(heights.low - 0.42) <= 2e-6);
    CHECK(std::abs(heights.high - 0.58) <= 2e-6);
    CHECK(std::abs(volume.middle().z - 0.5) <= 1e-15);
    // A quarter of every range kept free: three quarters of 0.08 m.
    auto const kept = WorkingVolume(head(), {.margin = 0.25}).heights();
    CHECK(std::abs(kept.low - 0.44) <= 2e-6);
    CHECK(std::abs(kept.high - 0.56) <= 2e-6);
}

TEST_CASE("the volume reaches as far as the first limit does, in closed form") {
    WorkingVolume const volume(head());
    Point<Head> const middle{0, 0, 0.5};
    auto const along_x = [&](auto const& v) { return v.reach(middle, {1, 0, 0}); };
    auto const along_y = [&](auto const& v) { return v.reach(middle, {0, 1, 0}); };
    // Along x the mirror allows (e + z) tan 2θ, the focus √(0.62² − 0.54²) of way aside; along y z tan 2θ.
    double const by_mirror = 0.54 * std::tan(0.34), by_focus = std::sqrt(0.62 * 0.62 - 0.54 * 0.54);
    CHECK(std::abs(along_x(volume) - std::min(by_mirror, by_focus)) <= 2e-6);
    CHECK(std::abs(volume.reach(middle, {-1, 0, 0}) - std::min(by_mirror, by_focus)) <= 2e-6);
    CHECK(std::abs(along_y(volume) - 0.5 * std::tan(0.28)) <= 2e-6);
    // From outside there is no way.
    CHECK(volume.reach({0, 0, 0.41}, {0, 0, 1}) == 0);
    CHECK(volume.reach({0, 0, -0.5}, {0, 0, 1}) == 0);
    // A field of 60 mm radius; a beam of at most 5 degrees to the axis.
    auto round = head();
    round.field_radius = 0.06;
    CHECK(std::abs(along_x(WorkingVolume(round)) - 0.06) <= 2e-6);
    CHECK(std::abs(along_y(WorkingVolume(round)) - 0.06) <= 2e-6);
    WorkingVolume const upright(head(), {.largest_angle = degrees(5)});
    CHECK(std::abs(along_x(upright) - 0.54 * std::tan(degrees(5))) <= 2e-6);
    CHECK(std::abs(along_y(upright) - 0.5 * std::tan(degrees(5))) <= 2e-6);
}

TEST_CASE("what the volume contains is what the head reaches") {
    test::Random random(8801);
    auto const mirrors = head();
    WorkingVolume const volume(mirrors);
    int inside = 0;
    for (int i = 0; i < 20000; ++i) {
        Point<Head> const p{random.uniform(-0.3, 0.3), random.uniform(-0.3, 0.3), random.uniform(0.3, 0.65)};
        bool const ok = status_of(mirrors.aim(p)) == Status::ok;
        CHECK(volume.contains(p) == ok);
        CHECK((volume.share(p) > 0) == ok);
        inside += ok ? 1 : 0;
    }
    CHECK(inside > 2000); // the check meets both
    CHECK(inside < 18000);
}

TEST_CASE("limits that make no volume are refused by name") {
    CHECK(message_of(head(), {.margin = -0.1}).find("margin") != std::string::npos);
    CHECK(message_of(head(), {.margin = 1}).find("margin") != std::string::npos);
    CHECK(message_of(head(), {.largest_angle = 0}).find("largest angle") != std::string::npos);
    auto wrong = head();
    wrong.field_radius = 1e-9;
    wrong.y_range = {0.05, 0.1}; // the middle of its ranges is beside the field
    CHECK(message_of(wrong, {}).find("middle of its own ranges") != std::string::npos);
}
