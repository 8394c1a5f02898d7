#ifndef SEAMHOLD_CALIBRATE_GLASS_CHANGE_HPP
#define SEAMHOLD_CALIBRATE_GLASS_CHANGE_HPP

#include "seamhold/calibrate/daily_check.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

namespace seamhold {

/// A protective glass in front of the work: a plane plate.
struct ProtectiveGlass {
    double thickness;     ///< m
    double process_index; ///< refractive index for the process light, above 1
    double pilot_index;   ///< the same for the pilot light
    double wedge = 0;     ///< largest angle between its faces, rad
};

/// By how much a plane plate moves a focus behind it away, m: d (1 − 1/n). Paraxial, in air; for a cone of
/// half angle u the outer rays go farther by about d u² (n² − 1) / (2 n³). Source: any text on optics (from
/// memory); checked against a trace by Snell's law.
template <class S> S glass_focus_shift(S const& thickness, S const& index) {
    return thickness * (1.0 - 1.0 / index);
}

/// By how much a plane plate displaces a ray sideways, measured across the ray, m, for an angle of incidence:
/// d sin θ (1 − cos θ / √(n² − sin² θ)). The same sources.
template <class S> S glass_ray_offset(S const& thickness, S const& index, S const& incidence) {
    using std::cos;
    using std::sin;
    using std::sqrt;
    S const s = sin(incidence);
    return thickness * s * (1.0 - cos(incidence) / sqrt(index * index - s * s));
}

/// Something to check again, and why.
struct CheckAgain {
    std::string what;   ///< to be measured
    std::string reason; ///< with the size that is expected
    double expected;    ///< that size: m; 0 where it cannot be foreseen
    bool needed;        ///< whether the expected size is above what was said to matter, or cannot be foreseen
};

/// What matters when a glass is changed.
struct GlassChangeOptions {
    double distance = 0.3;           ///< from the glass to the work, m
    double largest_incidence = 0.35; ///< of a beam on the glass at the field's edge, rad
    double focus_matters = 5e-5;     ///< a focus shift from which on it is needed, m
    double place_matters = 1e-5;     ///< a shift of the spot from which on it is needed, m
};

/// A glass as given, checked. Throws BadInput, naming the field, for a thickness that is not above 0 or looks
/// like millimetres, for indices not above 1 or above 4, and for a wedge that is negative or above 0.1 rad.
inline ProtectiveGlass checked(ProtectiveGlass const& glass) {
    using detail::text_of;
    if (!(glass.thickness > 0) || !is_finite(glass.thickness))
        throw BadInput("a protective glass's thickness of " + text_of(glass.thickness) +
                       " m must be above 0");
    if (glass.thickness > 0.1)
        throw BadInput("a protective glass's thickness of " + text_of(glass.thickness) +
                       " m looks like millimetres given as metres");
    for (double const index : {glass.process_index, glass.pilot_index})
        if (!(index > 1) || !(index < 4))
            throw BadInput("a protective glass's refractive index of " + text_of(index) +
                           " must be above 1 and below 4");
    if (!(glass.wedge >= 0) || !(glass.wedge < 0.1))
        throw BadInput("a protective glass's wedge of " + text_of(glass.wedge) +
                       " rad must be 0 or more and below 0.1; is it in minutes or degrees?");
    return glass;
}

/// What must be checked again after a protective glass was changed, with the reason and the size expected,
/// from the glass `before` and `after`. Power is always needed: what a glass lets through is not foreseen. A
/// glass that sits turned acts by its wedge in any direction, so that both wedges add. Throws BadInput as
/// `checked`, for a distance or an angle that is not above 0, or an angle of 1.5 rad or more.
inline std::vector<CheckAgain> to_check_after(ProtectiveGlass const& before, ProtectiveGlass const& after,
                                              GlassChangeOptions const& options = {}) {
    using detail::text_of;
    (void)checked(before);
    (void)checked(after);
    if (!(options.distance > 0) || !(options.largest_incidence > 0) || !(options.largest_incidence < 1.5))
        throw BadInput(
            "the glass's distance to the work and the largest angle on it must be above 0, the angle "
            "below 1.5 rad; given " +
            text_of(options.distance) + " m and " + text_of(options.largest_incidence) + " rad");
    auto const micrometres_of = [](double x) { return text_of(in_micrometres(x)) + " um"; };
    auto const shift = [](ProtectiveGlass const& glass) {
        return glass_focus_shift(glass.thickness, glass.process_index);
    };
    auto const colour = [&](ProtectiveGlass const& glass) {
        return shift(glass) - glass_focus_shift(glass.thickness, glass.pilot_index);
    };
    // Across the ray; on the plate it is longer by 1 / cos.
    auto const aside = [&](ProtectiveGlass const& glass, double index) {
        return glass_ray_offset(glass.thickness, index, options.largest_incidence) /
               std::cos(options.largest_incidence);
    };
    double const focus = shift(after) - shift(before);
    double const pilot_focus = colour(after) - colour(before);
    double const edge = -(aside(after, after.process_index) - aside(before, before.process_index));
    // A thin wedge bends by (n − 1) times its angle.
    double const bend = options.distance *
                        (before.wedge * (before.process_index - 1) + after.wedge * (after.process_index - 1));
    double const pilot_bend =
        options.distance * (before.wedge * std::abs(before.process_index - before.pilot_index) +
                            after.wedge * std::abs(after.process_index - after.pilot_index));
    double const pilot_edge =
        std::abs((aside(after, after.process_index) - aside(after, after.pilot_index)) -
                 (aside(before, before.process_index) - aside(before, before.pilot_index)));
    return {{"power at the work",
             "what a glass lets through cannot be foreseen: measure it, and start the trend of "
             "the window's loss anew",
             0, true},
            {"focus zero",
             "the glass moves the focus by d (1 - 1/n): " + micrometres_of(focus) + " further than before",
             focus, std::abs(focus) > options.focus_matters},
            {"five marks: shift", "wedges turned by any angle move the spot by up to " + micrometres_of(bend),
             bend, bend > options.place_matters},
            {"five marks: scale",
             "beams aslant through the glass are set aside: the field's edge moves outwards by " +
                 micrometres_of(edge),
             edge, std::abs(edge) > options.place_matters},
            {"pilot map: place",
             "the glass bends pilot and process light differently: by up to " +
                 micrometres_of(pilot_bend + pilot_edge),
             pilot_bend + pilot_edge, pilot_bend + pilot_edge > options.place_matters},
            {"pilot map: focus",
             "its focus shift differs between the lights: by " + micrometres_of(pilot_focus) +
                 " more than before",
             pilot_focus, std::abs(pilot_focus) > options.focus_matters}};
}

/// A check after the glass was changed held against one just before it, with the tolerances of the record:
/// what of all changes came with the glass. `foreseen_focus`, m, is taken off the focus's change (what
/// `to_check_after` expects, in the sense of the focus value). Throws BadInput as `held_against`.
inline CheckReport glass_comparison(CommissioningRecord const& record, DailyCheck const& before,
                                    DailyCheck const& after, double foreseen_focus = 0,
                                    CheckOptions const& options = {}) {
    CommissioningRecord as_before = record;
    as_before.date = before.date;
    as_before.valid_for = std::max(1.0, after.date - before.date);
    as_before.marks = before.marks;
    as_before.mark_deviation = before.mark_deviation;
    as_before.focus.found = before.focus;
    as_before.focus.found.value += foreseen_focus;
    as_before.power.found = before.power;
    return held_against(as_before, after, options);
}

} // namespace seamhold

#endif
