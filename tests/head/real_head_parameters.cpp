#include "seamhold/head/real_head.hpp"

#include <doctest/doctest.h>

#include "head/fifty_digits.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

// The derivatives of a real head's command by what the head is made of, against plain central differences of
// the command in fifty digits (head/fifty_digits.hpp).

using namespace seamhold;
using namespace seamhold::test;

TEST_CASE(
    "derivatives of a command and its rates by a mirror's tilt, a surface's offset and the focus's shift") {
    using G = Gradient<double, 3>;
    Random random(8404);
    double worst = 0;
    for (int run = 0; run < 6; ++run) {
        auto plain = random_open_head(random);
        plain.lens_range = millimetres(15); // no nearer to the head than 0.15 m
        auto const way = random_way(plain, random);
        auto const about = random.on_sphere<3>();
        Vector<> const k{about[0], about[1], about[2]};

        // The library: the first mirror's axis a + p·(k × a), the last one's offset + q, the focus moved by
        // r.
        auto const base = mirrors_of(plain.mirrors);
        auto const widened = [](TurningMirror<> const& m) {
            return TurningMirror<G>{number_cast<G>(m.pivot), number_cast<G>(m.axis), number_cast<G>(m.normal),
                                    G(m.offset), G(m.turn)};
        };
        auto first = widened(base.first()), last = widened(base.last());
        auto const tilt = cross_product(k, vector_of(base.first().axis));
        first.axis.x.partial[0] = tilt.x;
        first.axis.y.partial[0] = tilt.y;
        first.axis.z.partial[0] = tilt.z;
        last.offset.partial[1] = 1;
        HeadParts<OpenBeam, G> parts{
            {number_cast<G>(base.entry()), number_cast<G>(base.incoming()), first, last},
            {},
            LinearFocus<>{plain.zero_setting, plain.ratio},
            ranges_of(plain)};
        parts.focus_shift = G::variable(0, 2);
        RealHead<OpenBeam, G> const head(parts);
        auto const got = axes_of(head.command(way.point<1>(), way.number<1>(3)));

        // The truth: differences over five heads a hair apart, whose error is h⁴ / 30 of a fifth derivative;
        // their numbers are doubles, rounded to 1e-16 / h.
        double const h = 1e-4;
        auto const plainly = axes_of(open_head_of(plain).command(value_of(way.point<1>())));
        auto const rates = [&](double p, double q, double r) {
            auto other = plain;
            other.mirrors.first.axis = turned_about(k, plain.mirrors.first.axis, p);
            other.mirrors.last.offset += q;
            other.zero_setting += r;
            return rates_of(other, way, {plainly[0], plainly[1]});
        };
        for (std::size_t by = 0; by < 3; ++by) {
            auto const at = [&](double x) {
                return rates(by == 0 ? x : 0, by == 1 ? x : 0, by == 2 ? x : 0);
            };
            auto const far_back = at(-2 * h), back = at(-h), ahead = at(h), far_ahead = at(2 * h);
            for (std::size_t axis = 0; axis < 3; ++axis)
                for (std::size_t order = 0; order <= 1; ++order) {
                    double const wanted = (8 * (ahead[axis][order] - back[axis][order]) -
                                           (far_ahead[axis][order] - far_back[axis][order])) /
                                          (12 * h);
                    double const found = got[axis].derivative(static_cast<int>(order)).partial[by];
                    worst = std::max(worst, std::abs(found - wanted) / (1 + std::abs(wanted)));
                }
        }
        for (std::size_t axis = 0; axis < 2; ++axis) // heat moves no mirror
            CHECK(got[axis].value().partial[2] == 0);
        CHECK(std::abs(got[2].value().partial[2] + 0.1) <=
              1e-15); // a metre of shift is a tenth of a metre of lens
    }
    MESSAGE("worst ", worst);
    // h⁴ / 30 is 3e-18, times a fifth derivative by a place of up to 5! / (0.15 m)⁵ = 2e6 and more for a
    // rate; rounding leaves 1e-12.
    CHECK(worst <= 1e-10);
}
