#include "seamhold/head/real_head.hpp"

#include <doctest/doctest.h>

#include "head/fifty_digits.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

// Commands of real heads with their rates against fifty digits (head/fifty_digits.hpp).

using namespace seamhold;
using namespace seamhold::test;

namespace {

// The worst of value and rates, as a share of 1 + the number, over random ways; and whether values are those
// of doubles, bit for bit.
template <class AnyRealHead>
double worst_rate(PlainHead const& plain, AnyRealHead const& head, Random& random, int ways) {
    double worst = 0;
    for (int i = 0; i < ways; ++i) {
        auto const way = random_way(plain, random);
        auto const third = axes_of(head.command(way.point<3>(), way.number<3>(3)));
        auto const second = axes_of(head.command(way.point<2>(), way.number<2>(3)));
        auto const plainly = axes_of(head.command(value_of(way.point<2>()), way.term[3][0]));
        auto const truth = rates_of(plain, way, {plainly[0], plainly[1]});
        for (std::size_t axis = 0; axis < 3; ++axis) {
            CHECK(third[axis].value() == plainly[axis]);
            CHECK(second[axis].value() == plainly[axis]);
            for (std::size_t k = 0; k <= 3; ++k) {
                int const order = static_cast<int>(k);
                double const wanted = truth[axis][k];
                worst = std::max(worst,
                                 std::abs(third[axis].derivative(order) - wanted) / (1 + std::abs(wanted)));
                if (k < 3)
                    worst = std::max(worst, std::abs(second[axis].derivative(order) - wanted) /
                                                (1 + std::abs(wanted)));
            }
        }
    }
    return worst;
}

} // namespace

// Newton's last step is below 1e-6 rad and leaves its square, times a curvature of about 1 for a radian:
// angles are off by up to 1e-12 rad, and rates by as much times what they change by for a radian, some ten
// times themselves.
double const bound = 1e-11;

TEST_CASE("rates of an open head out of true against fifty digits") {
    Random random(8401);
    double worst = 0;
    for (int h = 0; h < 10; ++h) {
        auto const plain = random_open_head(random);
        worst = std::max(worst, worst_rate(plain, open_head_of(plain), random, 5));
    }
    MESSAGE("worst ", worst);
    CHECK(worst <= bound);
}

TEST_CASE("rates of a head with a flat-field lens against fifty digits") {
    Random random(8402);
    double worst = 0;
    for (int h = 0; h < 10; ++h) {
        auto const plain = random_lens_head(random);
        worst = std::max(worst, worst_rate(plain, lens_head_of(plain), random, 5));
    }
    MESSAGE("worst ", worst);
    CHECK(worst <= bound);
}

TEST_CASE("rates through a field map against fifty digits") {
    // The map's splines hold a cubic exactly, to what their fit rounds.
    Random random(8403);
    double worst = 0;
    for (int h = 0; h < 3; ++h) {
        auto plain = random_open_head(random);
        plain.map = random_map(random);
        worst = std::max(worst, worst_rate(plain, open_head_of(plain), random, 5));
    }
    MESSAGE("worst ", worst);
    CHECK(worst <= bound);
}
