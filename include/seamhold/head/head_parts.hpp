#ifndef SEAMHOLD_HEAD_HEAD_PARTS_HPP
#define SEAMHOLD_HEAD_HEAD_PARTS_HPP

#include "seamhold/head/aperture.hpp"
#include "seamhold/head/field_map.hpp"
#include "seamhold/head/field_outline.hpp"
#include "seamhold/head/focus.hpp"
#include "seamhold/head/focus_surface.hpp"
#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/head/traced_mirrors.hpp"
#include "seamhold/number/bad_input.hpp"

#include <optional>
#include <string>

namespace seamhold {

/// The usable surfaces of the mirrors and the beam that must find room on them.
struct Apertures {
    MirrorAperture first;
    MirrorAperture last;
    double beam_radius; ///< in the last optic before the mirrors, m: all of the beam that must not be cut off
    double ahead;       ///< distance of that optic before the point from where the path counts, m
    double focus_path;  ///< from that point to where the beam would be a point, m; ∞ for a collimated beam

    /// The beam's radius at an optical path, m: a cone.
    template <class T> T radius_at(T const& path) const {
        if (!is_finite(focus_path))
            return number_cast<T>(beam_radius);
        return (detail::factor<T>(focus_path) - path) * detail::factor<T>(beam_radius / (focus_path + ahead));
    }
};

/// What a real head is made of.
template <class Objective, class S = double> struct HeadParts {
    TracedMirrors<S> mirrors;
    Objective objective;                            ///< behind the mirrors: `OpenBeam`, `FlatFieldLens`
    AnyFocus focus;                                 ///< lens displacement against focus setting
    AxisRanges ranges;                              ///< of the commands
    std::optional<FocusSurface> focus_surface = {}; ///< measured correction of the focus over the field
    std::optional<FieldMap> map = {};               ///< measured angles against commanded ones
    FieldOutline outline = unlimited_outline();     ///< of the field
    std::optional<Apertures> apertures = {};        ///< of the mirrors
    S focus_shift = S(0); ///< by how much heat has moved the focus, m at the work, negative towards the head
};

namespace detail {
/// Throws BadInput for parts that make no head, see `real_head`; a mirror's aperture at command 0 apart.
template <class Objective> void check_parts(HeadParts<Objective> const& parts) {
    check_ranges(parts.ranges);
    auto const& r = parts.ranges;
    for (double const x : {0.0, r.x_mirror.low, r.x_mirror.high})
        for (double const y : {0.0, r.y_mirror.low, r.y_mirror.high}) {
            auto const way = parts.mirrors.trace(x, y);
            auto const beam = parts.objective.beam(way);
            std::string const where =
                " at mirror angles of " + std::to_string(x) + " and " + std::to_string(y) + " rad";
            if (!(way.first_cosine > 0.05))
                throw BadInput("a head's beam misses the first mirror" + where);
            if (!(way.last_cosine > 0.05) || !(way.between_length >= -1e-9))
                throw BadInput("a head's beam misses the last mirror" + where);
            if (!(beam.direction.z > 0.1) || !(way.leaving.z > 0.1))
                throw BadInput("a head's beam does not leave towards the work" + where);
        }
    if (parts.apertures) {
        auto const& a = *parts.apertures;
        (void)checked(a.first);
        (void)checked(a.last);
        if (!(a.beam_radius > 0) || !(a.ahead >= 0) || !(a.focus_path > 0))
            throw BadInput("a beam of radius " + std::to_string(a.beam_radius) + " m, " +
                           std::to_string(a.ahead) + " m ahead of the first mirror, to a focus " +
                           std::to_string(a.focus_path) +
                           " m behind it is not possible: radius and focus must be above 0, ahead 0 or more");
    }
}
} // namespace detail

} // namespace seamhold

#endif
