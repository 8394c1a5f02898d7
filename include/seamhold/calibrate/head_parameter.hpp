#ifndef SEAMHOLD_CALIBRATE_HEAD_PARAMETER_HPP
#define SEAMHOLD_CALIBRATE_HEAD_PARAMETER_HPP

#include "seamhold/frame/rotation.hpp"
#include "seamhold/head/flat_field_lens.hpp"
#include "seamhold/head/open_beam.hpp"
#include "seamhold/head/traced_mirrors.hpp"
#include "seamhold/number/bad_input.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <type_traits>

/// What can be off in a head, name by name, and the head that is off by it.
namespace seamhold {

/// A number of a head that marks can tell. Directions are those of the head as drawn, at command 0: the
/// first mirror's axis, the incoming beam, and the beam between the mirrors. What moves or turns the head as
/// a whole is the mount's and not listed.
enum class HeadParameter : std::uint8_t {
    separation,           ///< between the mirrors, along the beam between them, m; the entry moves along
    x_zero_angle,         ///< true angle of the first mirror at command 0, as a command, rad
    y_zero_angle,         ///< of the last mirror
    x_angle_scale,        ///< true angle for a radian of command of the first mirror, as a share of the drawn
    y_angle_scale,        ///< of the last mirror
    axes_out_of_square,   ///< turn of the first mirror with its axis about the beam between the mirrors, rad
    x_surface_offset,     ///< of the first mirror's surface from its axis, m
    y_surface_offset,     ///< of the last mirror's
    x_surface_tilt,       ///< of the first mirror's normal towards its axis, rad
    y_surface_tilt,       ///< of the last mirror's
    beam_offset_sideways, ///< of the incoming beam in the plane in which the first mirror steers, m
    beam_offset_upright,  ///< of the incoming beam along the first mirror's axis, m
    beam_tilt_sideways,   ///< of the incoming beam, about the first mirror's axis, rad
    beam_tilt_upright,    ///< of the incoming beam towards the first mirror's axis, rad
    focal_length,         ///< of a flat-field lens, m
    x_chief_ray_slope,    ///< angle out by angle in of a flat-field lens in the plane of x and z
    y_chief_ray_slope,    ///< in the plane of y and z
    lens_axis_x,          ///< where a flat-field lens's axis is in the head frame, m
    lens_axis_y,          ///< likewise
    focal_plane_z         ///< of a flat-field lens, with its exit plane, in the head frame, m
};

/// How many there are.
inline constexpr std::size_t head_parameters = 20;

/// The name as reports and messages show it.
inline std::string to_string(HeadParameter parameter) {
    switch (parameter) {
    case HeadParameter::separation:
        return "mirror separation";
    case HeadParameter::x_zero_angle:
        return "x mirror's zero angle";
    case HeadParameter::y_zero_angle:
        return "y mirror's zero angle";
    case HeadParameter::x_angle_scale:
        return "x mirror's angle scale";
    case HeadParameter::y_angle_scale:
        return "y mirror's angle scale";
    case HeadParameter::axes_out_of_square:
        return "mirror axes out of square";
    case HeadParameter::x_surface_offset:
        return "x mirror's surface offset";
    case HeadParameter::y_surface_offset:
        return "y mirror's surface offset";
    case HeadParameter::x_surface_tilt:
        return "x mirror's surface tilt";
    case HeadParameter::y_surface_tilt:
        return "y mirror's surface tilt";
    case HeadParameter::beam_offset_sideways:
        return "incoming beam's sideways offset";
    case HeadParameter::beam_offset_upright:
        return "incoming beam's upright offset";
    case HeadParameter::beam_tilt_sideways:
        return "incoming beam's sideways tilt";
    case HeadParameter::beam_tilt_upright:
        return "incoming beam's upright tilt";
    case HeadParameter::focal_length:
        return "focal length";
    case HeadParameter::x_chief_ray_slope:
        return "chief ray's slope in x";
    case HeadParameter::y_chief_ray_slope:
        return "chief ray's slope in y";
    case HeadParameter::lens_axis_x:
        return "lens axis's x";
    case HeadParameter::lens_axis_y:
        return "lens axis's y";
    case HeadParameter::focal_plane_z:
        return "focal plane's z";
    }
    return "";
}

/// Its unit: "m", "rad" or "1".
constexpr char const* unit_of(HeadParameter parameter) {
    switch (parameter) {
    case HeadParameter::separation:
    case HeadParameter::x_surface_offset:
    case HeadParameter::y_surface_offset:
    case HeadParameter::beam_offset_sideways:
    case HeadParameter::beam_offset_upright:
    case HeadParameter::focal_length:
    case HeadParameter::lens_axis_x:
    case HeadParameter::lens_axis_y:
    case HeadParameter::focal_plane_z:
        return "m";
    case HeadParameter::x_angle_scale:
    case HeadParameter::y_angle_scale:
    case HeadParameter::x_chief_ray_slope:
    case HeadParameter::y_chief_ray_slope:
        return "1";
    default:
        return "rad";
    }
}

/// How far a head is from its drawing: for each parameter what is added to its drawn number, in its unit.
template <class S = double> struct HeadCorrection {
    std::array<S, head_parameters> by = {};

    /// One of them.
    S& operator[](HeadParameter parameter) { return by[static_cast<std::size_t>(parameter)]; }
    S const& operator[](HeadParameter parameter) const { return by[static_cast<std::size_t>(parameter)]; }
};

/// Mirrors put out of true by a correction, over any numbers. Exact: unit vectors stay so, whatever the size.
template <class S>
TracedMirrors<S> corrected(TracedMirrors<> const& drawn, HeadCorrection<S> const& correction) {
    using P = HeadParameter;
    auto const rest = drawn.trace(0.0, 0.0);
    auto const& first = drawn.first();
    auto const& last = drawn.last();
    auto const along = unit(drawn.incoming());
    auto const between = unit(rest.between);
    // Across the incoming beam: upright is as near to the first axis as can be.
    auto const sideways = unit(cross(first.axis, along));
    auto const upright = cross(along, sideways);

    S const apart = -correction[P::separation];
    auto const tilted = about_axis<Head, Head>(first.axis, correction[P::beam_tilt_sideways]) *
                        about_axis<Head, Head>(-sideways, correction[P::beam_tilt_upright]);
    auto const entry = drawn.entry() + apart * between + correction[P::beam_offset_sideways] * sideways +
                       correction[P::beam_offset_upright] * upright;

    auto const mirror = [](TurningMirror<> const& as, S const& zero, S const& tilt, S const& offset,
                           S const& scale) {
        auto const towards_axis = about_axis<Head, Head>(unit(cross(as.normal, as.axis)), tilt);
        auto const turned = about_axis<Head, Head>(as.axis, S(zero * as.turn));
        return TurningMirror<S>{number_cast<S>(as.pivot), number_cast<S>(as.axis),
                                turned * (towards_axis * as.normal), as.offset + offset,
                                as.turn * (1.0 + scale)};
    };
    auto x = mirror(first, correction[P::x_zero_angle], correction[P::x_surface_tilt],
                    correction[P::x_surface_offset], correction[P::x_angle_scale]);
    auto const y = mirror(last, correction[P::y_zero_angle], correction[P::y_surface_tilt],
                          correction[P::y_surface_offset], correction[P::y_angle_scale]);
    auto const out_of_square = about_axis<Head, Head>(between, correction[P::axes_out_of_square]);
    x.pivot = x.pivot + apart * between;
    x.axis = out_of_square * x.axis;
    x.normal = out_of_square * x.normal;
    return {entry, tilted * along, x, y};
}

/// An open beam has nothing that could be off.
template <class S> OpenBeam corrected(OpenBeam const& drawn, HeadCorrection<S> const& /*correction*/) {
    return drawn;
}

namespace detail {
/// Whether a slope is a table: only a table has an end.
inline bool is_table(ChiefRaySlope<> const& slope) { return slope.clearance(10.0) < 1; }
} // namespace detail

/// A flat-field lens that is off by a correction. A lens whose chief rays are given by a table can only be
/// off over double, and its slopes stay.
template <class S>
FlatFieldLens<S> corrected(FlatFieldLens<> const& drawn, HeadCorrection<S> const& correction) {
    using P = HeadParameter;
    auto const slope = [](ChiefRaySlope<> const& as, S const& by) {
        if constexpr (std::is_same_v<S, double>)
            if (detail::is_table(as))
                return as;
        return ChiefRaySlope<S>::proportional(as.angle(1.0) + by);
    };
    return {drawn.focal_length + correction[P::focal_length],
            drawn.exit_z + correction[P::focal_plane_z],
            number_cast<S>(drawn.working_distance),
            drawn.depth,
            slope(drawn.x_slope, correction[P::x_chief_ray_slope]),
            slope(drawn.y_slope, correction[P::y_chief_ray_slope]),
            drawn.axis_x + correction[P::lens_axis_x],
            drawn.axis_y + correction[P::lens_axis_y]};
}

namespace detail {
/// Throws BadInput for a parameter that the objective does not have.
inline void check_has(OpenBeam const& /*objective*/, HeadParameter parameter) {
    if (parameter >= HeadParameter::focal_length)
        throw BadInput("the " + to_string(parameter) +
                       " is a flat-field lens's; the beam of this head goes from the mirrors straight to the "
                       "work");
}
inline void check_has(FlatFieldLens<> const& lens, HeadParameter parameter) {
    using P = HeadParameter;
    for (P const without : {P::separation, P::x_surface_offset, P::y_surface_offset, P::beam_offset_sideways,
                            P::beam_offset_upright})
        if (parameter == without)
            throw BadInput("marks say nothing about the " + to_string(parameter) +
                           ": behind a flat-field lens only the beam's direction counts, not where it runs");
    if (parameter >= P::focal_length && (is_table(lens.x_slope) || is_table(lens.y_slope)))
        throw BadInput("the " + to_string(parameter) +
                       " cannot be freed: this lens's chief rays are given by a table; only the mirrors of "
                       "such a head can be fitted");
}

/// The drawn number of a parameter.
inline double drawn_number(FlatFieldLens<> const& lens, HeadParameter parameter) {
    switch (parameter) {
    case HeadParameter::focal_length:
        return lens.focal_length;
    case HeadParameter::x_chief_ray_slope:
        return lens.x_slope.angle(1.0);
    case HeadParameter::y_chief_ray_slope:
        return lens.y_slope.angle(1.0);
    case HeadParameter::lens_axis_x:
        return lens.axis_x;
    case HeadParameter::lens_axis_y:
        return lens.axis_y;
    case HeadParameter::focal_plane_z:
        return lens.focal_z();
    default:
        return 0;
    }
}
inline double drawn_number(OpenBeam const& /*objective*/, HeadParameter /*parameter*/) { return 0; }
template <class Objective>
double drawn_number(TracedMirrors<> const& mirrors, Objective const& objective, HeadParameter parameter) {
    switch (parameter) {
    case HeadParameter::separation:
        return mirrors.separation();
    case HeadParameter::x_surface_offset:
        return mirrors.first().offset;
    case HeadParameter::y_surface_offset:
        return mirrors.last().offset;
    case HeadParameter::x_angle_scale:
    case HeadParameter::y_angle_scale:
        return 1;
    default:
        return drawn_number(objective, parameter);
    }
}

/// What a parameter can be off by at most in a head that works, in its unit: known no better than this, it
/// counts as not determined. Common practice, no source.
inline double most_off(HeadParameter parameter) {
    bool const slope =
        parameter == HeadParameter::x_chief_ray_slope || parameter == HeadParameter::y_chief_ray_slope;
    return slope ? 0.3 : 0.03;
}
} // namespace detail

} // namespace seamhold

#endif
