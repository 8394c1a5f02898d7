#ifndef SEAMHOLD_EXAMPLES_MAP_SWEEP_HPP
#define SEAMHOLD_EXAMPLES_MAP_SWEEP_HPP

#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/map/set_up.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/motion/steady.hpp"
#include "seamhold/number/units.hpp"

#include <cstddef>
#include <numbers>
#include <string>
#include <utility>

// A set-up for maps: a robot sweeps a head over the rungs of a ladder at constant speed and welds each rung
// as it goes by. Every number is invented.
namespace seamhold::examples {

/// Axes: sweep speed, standoff, head. The same lines serve doubles, packs of eight candidates and intervals.
struct LadderSweep {
    static constexpr std::size_t rungs = 20;
    static constexpr double pitch = 0.11, length = 0.09, feed = 0.6; // m, m, m/s

    // [set_up]
    template <class S> auto operator()(SetUpValues<S> const& x) const {
        S const &sweep = x.value[0], &standoff = x.value[1];
        S const zero = number_cast<S>(0);
        auto const down =
            number_cast<S>(about_axis<Cell, Flange>(Direction<Cell>{1, 0, 0}, std::numbers::pi));
        Steady<Cell, Flange, S> const robot{{down, {zero, zero, standoff}}, {sweep, zero, zero}, 0};
        Rest<Cell, Part> const table{Pose<Cell, Part>::identity()};
        auto const mount = number_cast<S>(Pose<Flange, Head>::identity());
        HeadDynamics const dynamics = x.choices[2] == 0 ? HeadDynamics{30, 9000, no_limit, 0, 0.0012, 1, 0}
                                                        : HeadDynamics{45, 20000, no_limit, 0, 0.0008, 1, 0};
        using Rung = Seam<OnFace<Straight<>, Plane<>>>;
        SetUp<Chain<Steady<Cell, Flange, S>, Rest<Cell, Part>, MirrorPair<>, S>, Rung, S> set_up{
            {robot, table, mount, head(x.choices[2])}, dynamics, {}, zero, degrees(12)};
        for (std::size_t i = 0; i < rungs; ++i) {
            double const place = pitch * static_cast<double>(i + 1);
            auto const rung = at_speed(straight_between({place, -length / 2}, {place, length / 2}),
                                       Plane<>{Pose<Part, Face>::identity()}, feed);
            // Each is welded while the head passes right above it.
            set_up.seams.push_back(
                {"rung " + std::to_string(i + 1), S(place / sweep - rung.duration() / 2), rung});
        }
        set_up.takt = S(pitch * static_cast<double>(rungs - 1) / sweep + length / feed);
        return set_up;
    }
    // [set_up] end

    /// Two heads: one with a wide field, one quicker with a small field.
    static MirrorPair<> head(std::size_t which) {
        Range const mirror = which == 0 ? Range{-0.18, 0.18} : Range{-0.12, 0.12};
        return {0.036, 0.486, 9, mirror, mirror, {-0.011, 0.011}, which == 0 ? 0.1 : 0.062};
    }
};

/// The space that is asked about.
inline DesignSpace ladder_space(std::size_t steps) {
    return {{axis("sweep speed", "mm/s", 1e-3, 60, 700, steps), axis("standoff", "mm", 1e-3, 340, 560, steps),
             choice("head", {"wide", "quick"})}};
}

} // namespace seamhold::examples

#endif
