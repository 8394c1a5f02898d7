#ifndef SEAMHOLD_PLAN_DISPLACEMENT_HPP
#define SEAMHOLD_PLAN_DISPLACEMENT_HPP

#include "seamhold/follow/change.hpp"
#include "seamhold/frame/pose.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

/// Small rigid displacements of a part, held against a box.
namespace seamhold {

/// The angle of a rotation, rad, from 0 to π; right to the last bits also where it is small. Source: the
/// axial vector of R has the length 2 sin θ, its trace is 1 + 2 cos θ; e.g. K. Lynch, F. Park, "Modern
/// Robotics", 2017, section 3.2.3.
template <class To, class From> double angle_of(Rotation<To, From> const& r) {
    auto const& m = r.m;
    double const x = m[2][1] - m[1][2], y = m[0][2] - m[2][0], z = m[1][0] - m[0][1];
    return std::atan2(std::sqrt(x * x + y * y + z * z), m[0][0] + m[1][1] + m[2][2] - 1);
}

/// A displacement with its turn and the shift of its origin times `scale`, about the same axis.
inline Pose<Part, Part> scaled(Pose<Part, Part> const& by, double scale) {
    auto q = quaternion_of(by.rotation);
    double const sine = std::sqrt(q.x * q.x + q.y * q.y + q.z * q.z);
    double const half = scale * std::atan2(sine, q.w);
    double const along = sine > 0 ? std::sin(half) / sine : 0; // the parts of a unit axis are x / sine
    q = {std::cos(half), along * q.x, along * q.y, along * q.z};
    return {rotation_of<Part, Part>(q), {scale * by.origin.x, scale * by.origin.y, scale * by.origin.z}};
}

/// Which share of a box's part of the part a displacement uses: 1 is its end, infinity where it has none in
/// that direction. `shift_error`, m, and `turn_error`, rad, come on top of it.
inline double share_of_box(Pose<Part, Part> const& by, PoseBox const& box, double shift_error = 0,
                           double turn_error = 0) {
    constexpr double nothing = 1e-12; // m, rad
    auto const share = [](double used, double allowed) {
        return used <= nothing && allowed == 0 ? 0
               : used <= allowed               ? used / allowed
               : used <= allowed + nothing     ? 1
               : allowed > 0                   ? used / allowed
                                               : std::numeric_limits<double>::infinity();
    };
    auto const along_axes = [](Direction<Part> const& d) {
        return std::max({std::abs(d.x), std::abs(d.y), std::abs(d.z)});
    };
    Direction<Part> const d{by.origin.x, by.origin.y, by.origin.z};
    double const shift = std::min(along_axes(d), along_axes(inverse_times(by.rotation, d)));
    return std::max(share(shift + shift_error, box.part_shift),
                    share(angle_of(by.rotation) + turn_error, box.part_turn));
}

namespace detail {
inline constexpr double root_of_three = 1.7320508075688775; // rounded up
}

} // namespace seamhold

#endif
