#ifndef SEAMHOLD_ARM_WRIST_GEOMETRY_HPP
#define SEAMHOLD_ARM_WRIST_GEOMETRY_HPP

#include "seamhold/arm/serial_arm.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>

namespace seamhold::detail {

/// The frame that stands on axis 1 at the height of axis 2: z along axis 1, y along or against axis 2, so
/// that axis 2 is ahead, on the side of +x. With joint 1 at zero; it does not turn.
struct Trunk;
/// The forearm, link 3; with all joints at zero its axes are those of the trunk.
struct Forearm;
/// The forearm too, in the wrist's axes: z along axis 4, y along axis 5 with joint 4 at zero.
struct Wristbone;
/// The last link: z along axis 6, y along axis 5 with joint 6 at zero.
struct Hand;

/// A place or direction in a plane as a complex number: turning it by φ multiplies it by e^{iφ}. For turns
/// about z the real part is along x and the imaginary one along y; for turns about y, as in the plane of the
/// arm, along z and x.
template <class T = double> struct Planar {
    T re;
    T im;
};

/// a · b.
template <class T, class S>
[[gnu::always_inline]] constexpr Planar<T> times(Planar<T> const& a, Planar<S> const& b) {
    return {a.re * b.re - a.im * b.im, a.re * b.im + a.im * b.re};
}

/// a · b with the sign of b's angle changed: its angle is that from b to a.
template <class T, class S>
[[gnu::always_inline]] constexpr Planar<T> turn_from(Planar<S> const& b, Planar<T> const& a) {
    return {a.re * b.re + a.im * b.im, a.im * b.re - a.re * b.im};
}

/// The squared length.
template <class T> constexpr T squared_norm(Planar<T> const& a) { return sqr(a.re) + sqr(a.im); }

/// Where the axes of an arm with a spherical wrist stand when all joints are at zero.
struct WristGeometry {
    Pose<Trunk, Base> trunk_from_base;
    Point<Flange> wrist_centre;          ///< m
    double sign_2, sign_3;               ///< ±1: axes 2 and 3 along or against the trunk's y
    double offset;                       ///< of the wrist centre along the trunk's y, m
    double ahead;                        ///< of axis 2 from axis 1, m, 0 or more
    Planar<> upper_arm;                  ///< from axis 2 to axis 3, m
    Planar<> forearm;                    ///< from axis 3 to the wrist centre, m
    double upper_length, forearm_length; ///< their lengths, m
    Rotation<Wristbone, Forearm> from_forearm;
    Rotation<Flange, Hand> flange_from_hand;
    Planar<> bend; ///< cosine and sine of the turn about axis 5 from axis 4 to axis 6
};

/// One axis of turning: a unit vector and a place on it.
struct TurningAxis {
    Direction<Base> along;
    Point<Base> place;
};

/// The axes of an arm with its joints at zero. A column of the Jacobian has z and z × (flange − place); the
/// place nearest to the flange is flange − (z × (flange − place)) × z.
inline std::array<TurningAxis, 6> axes_at_zero(SerialArm<6> const& arm, Pose<Base, Flange> const& at_zero) {
    auto const columns = arm.jacobian(std::array<double, 6>{});
    std::array<TurningAxis, 6> axes{};
    for (std::size_t i = 0; i < 6; ++i) {
        auto const& [along, moment] = columns[i];
        if (squared_norm(along) == 0)
            throw BadInput("an arm whose joint " + std::to_string(i + 1) +
                           " slides has no inverse here: all six joints must turn");
        axes[i] = {along, at_zero.origin - cross(moment, along)};
    }
    return axes;
}

/// The least distance between a place and a line.
inline double distance(Point<Base> const& p, TurningAxis const& line) {
    return norm(cross(p - line.place, line.along));
}

/// Says by how much, rad, two axes are from parallel or perpendicular.
inline void refuse_angle(std::string const& axes, double by, std::string const& wanted) {
    throw BadInput("an arm whose axes " + axes + " are " + text_of(in_degrees(by)) + " degrees from " +
                   wanted + " has no inverse here: they must be " + wanted + " within 1e-9 rad");
}

/// The geometry of an arm; throws BadInput, naming the condition that fails and by how much, for one that has
/// no closed form here.
inline WristGeometry wrist_geometry(SerialArm<6> const& arm) {
    constexpr double allowed = 1e-9; // rad and m
    auto const at_zero = arm.forward(std::array<double, 6>{});
    auto const axes = axes_at_zero(arm, at_zero);
    auto const check_perpendicular = [&axes](std::size_t a, std::size_t b) {
        double const off = std::asin(std::clamp(dot(axes[a].along, axes[b].along), -1.0, 1.0));
        if (!(std::abs(off) <= allowed))
            refuse_angle(std::to_string(a + 1) + " and " + std::to_string(b + 1), std::abs(off),
                         "perpendicular");
    };
    check_perpendicular(0, 1);
    double const slant = std::asin(std::min(1.0, norm(cross(axes[1].along, axes[2].along))));
    if (!(slant <= allowed))
        refuse_angle("2 and 3", slant, "parallel");
    check_perpendicular(3, 4);
    check_perpendicular(4, 5);

    // The wrist centre: in the middle between axes 4 and 5 where they pass each other.
    auto const& [z4, place_4] = axes[3];
    auto const& [z5, place_5] = axes[4];
    auto const between = place_5 - place_4;
    auto const on_4 = place_4 + dot(between, z4) * z4; // axes 4 and 5 are perpendicular
    auto const on_5 = place_5 - dot(between, z5) * z5;
    Point<Base> const centre = on_4 + 0.5 * (on_5 - on_4);
    double const miss = std::max(
        {norm(on_5 - on_4), distance(centre, axes[3]), distance(centre, axes[4]), distance(centre, axes[5])});
    if (!(miss <= allowed))
        throw BadInput("an arm whose axes 4, 5 and 6 miss each other by " + text_of(in_millimetres(miss)) +
                       " mm has no inverse here: they must meet in one point within 1e-6 mm");

    WristGeometry g{};
    // The trunk: z along axis 1, y along axis 2 or against it, so that axis 2 is ahead, or, where it meets
    // axis 1, the wrist centre.
    auto const z = axes[0].along;
    auto y = unit(axes[1].along - dot(axes[1].along, z) * z);
    Point<Base> const height = axes[0].place + dot(axes[1].place - axes[0].place, z) * z;
    g.ahead = dot(axes[1].place - height, cross(y, z));
    double const facing = std::abs(g.ahead) > allowed ? g.ahead : dot(centre - height, cross(y, z));
    if (facing < 0) {
        y = -y;
        g.ahead = -g.ahead;
    }
    auto const x = cross(y, z);
    Pose<Base, Trunk> const base_from_trunk{{{{x.x, y.x, z.x}, {x.y, y.y, z.y}, {x.z, y.z, z.z}}}, height};
    g.trunk_from_base = inverse(base_from_trunk);
    g.sign_2 = dot(axes[1].along, y) < 0 ? -1 : 1;
    g.sign_3 = dot(axes[2].along, y) < 0 ? -1 : 1;

    auto const wrist = g.trunk_from_base * centre;
    auto const elbow = g.trunk_from_base * axes[2].place;
    g.wrist_centre = inverse_times(at_zero, centre);
    g.offset = wrist.y;
    g.upper_arm = {elbow.z, elbow.x - g.ahead};
    g.forearm = {wrist.z - elbow.z, wrist.x - elbow.x};
    g.upper_length = std::sqrt(squared_norm(g.upper_arm));
    g.forearm_length = std::sqrt(squared_norm(g.forearm));
    if (!(g.upper_length > allowed))
        throw BadInput("an arm whose axes 2 and 3 are one line has no inverse here: they must be more than "
                       "1e-6 mm apart");
    if (!(g.forearm_length > allowed))
        throw BadInput("an arm whose axes 4, 5 and 6 meet on axis 3 has no inverse here: they must meet more "
                       "than 1e-6 mm beside it");

    // The wrist: z along axis 4, y along axis 5; axis 6 is turned about y by the bend.
    auto const in_trunk = [&g](Direction<Base> const& d) { return g.trunk_from_base * d; };
    auto const w = in_trunk(z4);
    auto const v = unit(in_trunk(z5) - dot(in_trunk(z5), w) * w);
    auto const u = cross(v, w);
    g.from_forearm = {{{u.x, u.y, u.z}, {v.x, v.y, v.z}, {w.x, w.y, w.z}}};
    auto const z6 = in_trunk(axes[5].along);
    double const length = std::hypot(dot(z6, w), dot(z6, u));
    g.bend = {dot(z6, w) / length, dot(z6, u) / length};
    Rotation<Wristbone, Hand> const bent{{{g.bend.re, 0, g.bend.im}, {0, 1, 0}, {-g.bend.im, 0, g.bend.re}}};
    auto const trunk_from_forearm = Rotation<Trunk, Forearm>::identity(); // at zero
    g.flange_from_hand = inverse(at_zero.rotation) * base_from_trunk.rotation * trunk_from_forearm *
                         inverse(g.from_forearm) * bent;
    return g;
}

} // namespace seamhold::detail

#endif
