#include "seamhold/live/pass_places.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstddef>
#include <vector>

using namespace seamhold;
using seamhold::detail::PassComponents;
using seamhold::detail::PassPlaces;

namespace {

// 1 s along x at 0.2 m/s, 2 s at rest, 1 s back over the same line, on along y and at 5 s back: rows every 4
// ms.
Point<Cell> place(double t) {
    double const x = t < 1 ? 0.2 * t : t < 3 ? 0.2 : t < 4 ? 0.2 - 0.2 * (t - 3) : 0;
    return {x, t > 5 ? 0.1 * (6 - t) : t > 4 ? 0.1 * (t - 4) : 0, 0};
}
PassPlaces places(double rows_per_second = 250, double end = 5.5) {
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i <= static_cast<int>(end * rows_per_second); ++i)
        rows.push_back({i / rows_per_second, place(i / rows_per_second), {1, 0, 0, 0}});
    return PassPlaces(PoseLog<Cell, Flange>(rows), 0.5);
}
PassComponents at(double x, double y) { return {x, y, 0, 1, 0, 0, 0}; }

} // namespace

TEST_CASE("where a pass stands still, and where it turns back") {
    auto const p = places();
    auto const still = p.still_at(2);
    CHECK(std::abs(still.from - 1) <= 0.03);
    CHECK(std::abs(still.to - 3) <= 0.03);
    CHECK(p.still_at(1.5).from == still.from);
    for (double const moving :
         {0.5, 0.95, 3.05, 3.5, 3.99, 4.0, 4.5, 4.99, 5.0, 5.01}) // also at corner and turning point
        CHECK(p.still_at(moving).to < p.still_at(moving).from);
    CHECK(norm(Direction<Cell>{p.at(2).slope[0], p.at(2).slope[1], p.at(2).slope[2]}) == 0);
    CHECK(p.at(0.5).slope[0] == doctest::Approx(0.2));
    CHECK(p.at(3.5).slope[0] == doctest::Approx(-0.2));
    CHECK(p.at(4.5).slope[1] == doctest::Approx(0.1));
    // 0.3 s of moving from 0.9 s on: over the rest, to some 3.2 s.
    CHECK(std::abs(p.ahead(0.9, 0.3).to - 3.2) <= 0.06);
    CHECK(std::abs(p.ahead(4.2, 0.3).to - 4.5) <= 0.01);
    CHECK(p.ahead(4.9, 5).to <= p.all().to);
    CHECK(p.covers(0, 5.5));
    CHECK_FALSE(p.covers(5.4, 5.6));
}

TEST_CASE("a place is found by where it is and where it goes") {
    auto const p = places();
    auto sample = p.scaled(at(0.1, 50e-6));
    PassComponents none{}, there{}, back{};
    there[0] = 0.01;
    back[0] = -0.01;
    auto const both = p.nearest(sample, none, {0, 5}, 1e-3, 1e-4, 3);
    CHECK(both.any);
    CHECK_FALSE(both.alone);
    CHECK(both.time == doctest::Approx(3.5).epsilon(0.01)); // nearer to 3 s than 0.5 s
    auto const first = p.nearest(sample, there, {0, 5}, 1e-3, 1e-4, 3);
    CHECK(first.any);
    CHECK(first.alone);
    CHECK(first.time == doctest::Approx(0.5).epsilon(0.01));
    CHECK(p.nearest(sample, back, {0, 5}, 1e-3, 1e-4, 0).time == doctest::Approx(3.5).epsilon(0.01));
    CHECK_FALSE(p.nearest(sample, back, {0, 2}, 1e-3, 1e-4, 0).any);
    CHECK_FALSE(p.nearest(p.scaled(at(0.1, 3e-3)), none, {0, 5}, 1e-3, 1e-4, 0).any);
    // A quaternion's sign does not matter; a turn by 10 mrad on 0.5 m is 5 mm.
    for (std::size_t d = 3; d < 7; ++d)
        sample[d] = -sample[d];
    CHECK(p.nearest(sample, there, {0, 5}, 1e-3, 1e-4, 3).any);
    PassComponents turned = at(0.1, 0);
    turned[4] = std::sin(0.005);
    turned[3] = std::cos(0.005);
    auto const off = p.nearest(p.scaled(turned), none, {0, 5}, 10e-3, 0, 0);
    CHECK(std::abs(off.distance - 5e-3) <= 0.1e-3);
}

TEST_CASE("a long pass has a coarser table, and misses nothing between its rows") {
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i <= 30000; ++i) {
        double const t = 0.01 * i;
        rows.push_back({t, {0.3 * std::sin(0.5 * t), 0.001 * t, 0}, {1, 0, 0, 0}});
    }
    PassPlaces const p(PoseLog<Cell, Flange>(rows), 0.5);
    CHECK(p.step() > 0.05);
    for (int i = 100; i < 30000; i += 977) {
        double const t = 0.01 * i + 0.003;
        auto const found =
            p.nearest(p.scaled(at(0.3 * std::sin(0.5 * t), 0.001 * t)), {}, {0, 300}, 0.3e-3, 0, 0);
        CHECK(found.any);
        CHECK(std::abs(found.time - t) <= 1e-3); // though rows are 73 ms apart
    }
}
