#ifndef SEAMHOLD_FILE_LIMIT_MEANINGS_HPP
#define SEAMHOLD_FILE_LIMIT_MEANINGS_HPP

#include "seamhold/limit/limit.hpp"

#include <string>

/// What the names of the limits mean, for the legend of a report.
namespace seamhold::detail {

/// The legend for the limits that were looked at: `any(limit)` says whether one was.
template <class Any> std::string meanings_of_limits(Any const& any) {
    std::string text = "Mirror angles are mechanical. Field: 0 % in its middle, 100 % on its edge. ";
    auto const say = [&](Limit limit, char const* meaning) {
        if (any(limit))
            text += meaning;
    };
    say(Limit::mirror_aperture,
        "Mirror aperture: of the tighter mirror, 100 % where the beam's footprint touches its edge. ");
    text += "Focus: of the lens. ";
    say(Limit::focus_reach,
        "Focus reach: what is left of the focus table, the lens's range and the depth of the "
        "lens behind the mirrors; its limit is 0. ");
    say(Limit::incidence_along,
        "Incidence along: its part along the travel, positive where the beam comes from "
        "ahead of the spot. ");
    say(Limit::incidence_across, "Incidence across: its part across the travel, positive from the left. ");
    say(Limit::spot_size, "Spot size: the long axis of the spot on the face. Defocus: of the face from the "
                          "waist, in Rayleigh lengths (zR), positive beyond it. ");
    say(Limit::power_density, "Power density: over the spot's area; its limit is the least. It and the line "
                              "energy are not held against a ramp of the power. ");
    say(Limit::line_energy, "Line energy: power over the feed along the seam, the weave left out. ");
    say(Limit::spot_speed, "Spot speed: on the face, weave and all. ");
    say(Limit::head_turning,
        "Share from the head's turning: how fast the spot would move if the mirrors stood "
        "still and the head only turned, against a share of the seam's speed. ");
    say(Limit::joint_range, "Joints are numbered from 1; of six a table of a proof has the one that is used "
                            "most, and any that is not within. ");
    say(Limit::wrist_singularity, "Singularities: the wrist centre's distance from axis 1, and the sines of "
                                  "the angles between upper arm "
                                  "and forearm and between axes 4 and 6; their limits are the least. ");
    return text;
}

} // namespace seamhold::detail

#endif
