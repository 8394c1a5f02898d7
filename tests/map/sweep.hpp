#ifndef SEAMHOLD_TESTS_MAP_SWEEP_HPP
#define SEAMHOLD_TESTS_MAP_SWEEP_HPP

#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/map/set_up.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/motion/steady.hpp"
#include "seamhold/number/units.hpp"

#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

// A sweep over a row of stitches, as a set-up over any number and once more as a job of doubles. All numbers
// are invented.
namespace seamhold::test {

/// The head looks down and glides along x over a row of stitches across its way, 60 mm apart; each is welded
/// when the head is right above it. Axes: sweep speed, standoff, tilt about the sweep, head, order.
struct SweepMaker {
    std::size_t stitches = 20;
    double feed = 0.25;     ///< m/s
    double jerk = no_limit; ///< rad/s³
    double rms = no_limit;  ///< rad/s²
    double incidence = degrees(20);

    using Stitch = Seam<OnFace<Straight<>, Plane<>>>;

    static MirrorPair<> head(std::size_t which) {
        Range const mirror = which == 0 ? Range{-0.19, 0.19} : Range{-0.13, 0.13};
        return {0.04, 0.49, 8, mirror, mirror, {-0.012, 0.012}, which == 0 ? 0.14 : 0.09};
    }

    template <class S> auto operator()(SetUpValues<S> const& x) const {
        S const zero = number_cast<S>(0);
        auto const down =
            number_cast<S>(about_axis<Cell, Flange>(Direction<Cell>{1, 0, 0}, std::numbers::pi));
        using Motion = Steady<Cell, Flange, S>;
        using ChainType = Chain<Motion, Rest<Cell, Part>, MirrorPair<>, S>;
        HeadDynamics dynamics{40, 12000, rms, 0, 0.001, 1, 0};
        dynamics.mirror_jerk = jerk;
        SetUp<ChainType, Stitch, S> set_up{
            {Motion{{down, {zero, zero, x.value[1]}}, {x.value[0], zero, zero}, 0},
             {Pose<Cell, Part>::identity()},
             {about_axis<Flange, Head>(Direction<Flange>{1, 0, 0}, x.value[2]), {zero, zero, zero}},
             head(x.choices[3])},
            dynamics,
            {},
            zero,
            incidence};
        double const length = 0.03;
        for (std::size_t i = 0; i < stitches; ++i) {
            // Pairs change places in the second order, so that each second stitch waits ahead.
            std::size_t const at = x.choices[4] == 0 ? i : i ^ 1U;
            double const place = 0.06 * static_cast<double>(at + 1);
            double const middle = 0.06 * static_cast<double>(i + 1);
            set_up.seams.push_back({"stitch " + std::to_string(at + 1),
                                    S(middle / x.value[0] - length / feed / 2),
                                    at_speed(straight_between({place, -length / 2}, {place, length / 2}),
                                             Plane<>{Pose<Part, Face>::identity()}, feed)});
        }
        set_up.takt = S(0.06 * static_cast<double>(stitches - 1) / x.value[0] + length / feed);
        return set_up;
    }
};

/// The same as a job.
inline Job job_of(SweepMaker const& maker, SetUpValues<double> const& x) {
    auto const set_up = maker(x);
    Job job{{AnyFlangeMotion(set_up.chain.cell_from_flange), AnyPartMotion(set_up.chain.cell_from_part),
             set_up.chain.flange_from_head, AnyHead(set_up.chain.head)},
            set_up.dynamics,
            set_up.largest_incidence,
            {}};
    for (auto const& s : set_up.seams)
        job.seams.push_back({s.name, s.start, s.seam});
    return job;
}

} // namespace seamhold::test

#endif
