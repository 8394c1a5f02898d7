#ifndef SEAMHOLD_FRAME_ANGLES_HPP
#define SEAMHOLD_FRAME_ANGLES_HPP

#include "seamhold/frame/rotation.hpp"

namespace seamhold {

/// Three angles in rad. What they mean is in the name of the function that takes or gives them.
struct Angles {
    double first;  ///< the first angle written, rad
    double second; ///< the second angle written, rad
    double third;  ///< the third angle written, rad
};

/// R = Rz(first) · Ry(second) · Rx(third): turn about z, then about the new y, then about the newest x.
template <class To, class From>
Rotation<To, From> from_zyx_angles(double about_z, double about_y, double about_x) {
    return about_axis<To, To>(Direction<To>{0, 0, 1}, about_z) *
           about_axis<To, To>(Direction<To>{0, 1, 0}, about_y) *
           about_axis<To, From>(Direction<To>{1, 0, 0}, about_x);
}

/// R = Rx(first) · Ry(second) · Rz(third): turn about x, then about the new y, then about the newest z.
template <class To, class From>
Rotation<To, From> from_xyz_angles(double about_x, double about_y, double about_z) {
    return about_axis<To, To>(Direction<To>{1, 0, 0}, about_x) *
           about_axis<To, To>(Direction<To>{0, 1, 0}, about_y) *
           about_axis<To, From>(Direction<To>{0, 0, 1}, about_z);
}

/// The angles of `from_zyx_angles`: second from −π/2 to π/2. Within 1e-12 of ±π/2 only a sum of the others is
/// determined; then third is 0. Third is taken from what is left when first is turned back, so that the three
/// together give the rotation to rounding also where first is ill determined.
template <class To, class From> Angles zyx_angles(Rotation<To, From> const& r) {
    auto const& m = r.m;
    double const cosine = std::hypot(m[0][0], m[1][0]);
    double const second = std::atan2(-m[2][0], cosine);
    if (cosine < 1e-12)
        return {std::atan2(-m[0][1], m[1][1]), second, 0};
    double const first = std::atan2(m[1][0], m[0][0]);
    auto const [s, c] = sin_cos(first);
    return {first, second, std::atan2(s * m[0][2] - c * m[1][2], c * m[1][1] - s * m[0][1])};
}

/// The angles of `from_xyz_angles`: second from −π/2 to π/2. Within 1e-12 of ±π/2 only a sum of the others is
/// determined; then third is 0. Third is taken from what is left when first is turned back, so that the three
/// together give the rotation to rounding also where first is ill determined.
template <class To, class From> Angles xyz_angles(Rotation<To, From> const& r) {
    auto const& m = r.m;
    double const cosine = std::hypot(m[0][0], m[0][1]);
    double const second = std::atan2(m[0][2], cosine);
    if (cosine < 1e-12)
        return {std::atan2(m[2][1], m[1][1]), second, 0};
    double const first = std::atan2(-m[1][2], m[2][2]);
    auto const [s, c] = sin_cos(first);
    return {first, second, std::atan2(c * m[1][0] + s * m[2][0], c * m[1][1] + s * m[2][1])};
}

} // namespace seamhold

#endif
