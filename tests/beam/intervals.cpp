#include "seamhold/beam/energy.hpp"
#include "seamhold/beam/optics.hpp"
#include "seamhold/beam/spot.hpp"
#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/number/interval.hpp"

#include <doctest/doctest.h>

#include "support/interval_laws.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

// What a beam does to a face over intervals holds what it does at doubles inside.

using namespace seamhold;
using namespace seamhold::test;

namespace {

// A plate under the head, its point and the tilt of its normal: all that moves.
using Moving = std::array<double, 6>; // x, y, z of the target, two tilts, power

MirrorPair<> const head =
    checked(MirrorPair<>{0.04, 0.54, 8, {-0.17, 0.17}, {-0.17, 0.17}, {-0.01, 0.01}, 0.15});
DeliveredBeam<> const delivered{{1.07e-6, 9.0}, 0.008, 0.06};
FlatFieldBeam<> const flat{{1.07e-6, 9.0}, 0.008, 0.25};

// All numbers of the spots of both kinds of beams and both sections.
template <class T> std::vector<T> spots(std::array<T, 6> const& m) {
    Point<Head, T> const p{m[0], m[1], m[2]};
    auto const normal = unit(Direction<Head, T>{m[3], m[4], number_cast<T>(-1)});
    auto const ray = head.ray(head.command(p, 0.003));
    std::vector<T> all;
    for (auto const& caustic : {delivered.caustic(ray.focus_path), flat.caustic(ray.focus_path, m[3] * 0.01)})
        for (auto const& spot : {spot_on(ray, caustic, p, normal), section_on(ray, caustic, p, normal)})
            for (T const& number :
                 {spot.axis.x, spot.centre.y, spot.centre.z, spot.lean.x, spot.beam_radius, spot.semi_minor,
                  spot.semi_major, spot.stretch, spot.defocus, spot.cos_incidence, spot.closed, spot.area(),
                  T(spot.mean_power_density(m[5]) * 1e-9), T(spot.gaussian_peak_power_density(m[5]) * 1e-9),
                  spot.radius_towards(unit(Direction<Head, T>{number_cast<T>(1), m[3], m[3]})),
                  spot.half_width(unit(Direction<Head, T>{number_cast<T>(1), m[3], m[3]}))})
                all.push_back(number);
    all.push_back(gaussian_share_inside(m[5] * 1e-6, all[4]));
    all.push_back(line_energy(m[5], m[2]));
    all.push_back(interaction_time(all[5], m[2]));
    return all;
}

// Cubics in time through a plate in front of the head.
struct Course {
    std::array<std::array<double, 4>, 6> c{};
    template <class T> std::array<T, 6> at(T const& t) const {
        std::array<T, 6> r;
        for (std::size_t i = 0; i < 6; ++i)
            r[i] = ((t * c[i][3] + c[i][2]) * t + c[i][1]) * t + c[i][0];
        return r;
    }
};

Course course(Random& random) {
    Course way;
    std::array<double, 6> const start{random.uniform(-0.1, 0.1),  random.uniform(-0.1, 0.1),
                                      random.uniform(0.45, 0.55), random.uniform(-0.3, 0.3),
                                      random.uniform(-0.3, 0.3),  random.uniform(1000, 4000)};
    for (std::size_t i = 0; i < 6; ++i) {
        double const scale = i == 5 ? 1000 : 0.3;
        way.c[i] = {start[i], scale * random.uniform(-1, 1), scale * random.uniform(-5, 5),
                    scale * random.uniform(-50, 50)};
    }
    return way;
}

} // namespace

TEST_CASE("spots, power densities and energies over boxes") {
    Random random(5201);
    for (double const size : {0.0, 1e-9, 1e-5, 1e-3, 0.1}) {
        std::size_t wrong = 0, unsound = 0, thick = 0;
        for (std::size_t n = 0; n < runs(100); ++n) {
            auto const middle = course(random).at(0.0);
            std::array<Interval, 6> box;
            for (std::size_t i = 0; i < 6; ++i)
                box[i] = Interval::about(middle[i], size * (1 + std::abs(middle[i])) * random.unit());
            auto const over = spots(box);
            for (auto const& number : over) {
                unsound += sound(number) ? 0 : 1;
                // Thin boxes: radii and densities follow from some 60 operations; squares of a defocus of a
                // few Rayleigh lengths of 2 mm are right to 1e-16 · 0.5 m / 2 mm.
                thick += size <= 1e-9 && number.high - number.low >
                                             (size == 0 ? 1e-11 : 1e-5) * (1 + number.magnitude())
                             ? 1
                             : 0;
            }
            for (int k = 0; k < 6; ++k) {
                std::array<double, 6> p;
                for (std::size_t i = 0; i < 6; ++i)
                    p[i] = random.uniform(box[i].low, box[i].high);
                auto const at = spots(p);
                for (std::size_t i = 0; i < at.size(); ++i)
                    wrong += holds(over[i], at[i], 1e-12 * (1 + std::abs(at[i]))) ? 0 : 1;
            }
        }
        CAPTURE(size);
        CHECK(wrong == 0);
        CHECK(unsound == 0);
        CHECK(thick == 0);
    }
}

TEST_CASE("spots, power densities and energies over stretches of time") {
    Random random(5202);
    using T = Taylor<Interval, 6>;
    for (double const duration : {0.0, 1e-5, 1e-3}) {
        std::size_t wrong = 0, unsound = 0, infinite = 0;
        for (std::size_t n = 0; n < runs(60); ++n) {
            auto const way = course(random);
            double const from = -random.unit() * duration;
            auto const over = spots(way.at(T::variable(Interval(from, from + duration))));
            for (auto const& number : over) {
                unsound += sound(number) ? 0 : 1;
                infinite += is_finite(number) ? 0 : 1;
            }
            for (int k = 0; k < 5; ++k) {
                double const t = std::min(from + duration, from + duration * random.unit() * 1.2);
                auto const at = spots(way.at(Taylor<double, 3>::variable(t)));
                for (std::size_t i = 0; i < at.size(); ++i)
                    wrong += holds(over[i], at[i], 1e-10) ? 0 : 1;
            }
        }
        CAPTURE(duration);
        CHECK(wrong == 0);
        CHECK(unsound == 0);
        CHECK(infinite == 0);
    }
}

TEST_CASE("a beam along a face, through its back, and everything at once") {
    using T = Taylor<Interval, 6>;
    for (auto const& x : {Interval(-1, 1), Interval::whole(), Interval(0, 1e300), Interval(-1e-12, 1e-12)}) {
        T const t = T::variable(x);
        for (auto const& number : spots(std::array<T, 6>{t, t, t, t, t, t}))
            CHECK(sound(number));
        for (auto const& number : spots(std::array<T, 6>{T(0.0), T(0.0), T(0.5), t, t * 5.0, T(1000.0)}))
            CHECK(sound(number));
    }
}
