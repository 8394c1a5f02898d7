#ifndef SEAMHOLD_HEAD_APERTURE_HPP
#define SEAMHOLD_HEAD_APERTURE_HPP

#include "seamhold/head/traced_mirrors.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/lift.hpp"

#include <cmath>
#include <string>

namespace seamhold {

namespace detail {
/// |x|, by √x² but over intervals, which keep the derivatives of both sides where they reach over 0.
template <class T> T absolute(T const& x) {
    using std::sqrt;
    if constexpr (is_of_intervals<T>) {
        T r = select(x < 0.0, T(-x), x);
        hold_values(r, abs(values_of(x)));
        return r;
    } else {
        return sqrt(sqr(x));
    }
}
} // namespace detail

/// The usable surface of a mirror: a rectangle or an ellipse around the foot of the pivot on the surface.
struct MirrorAperture {
    double along;  ///< half its size along the axis, m
    double across; ///< half its size across the axis, m
    bool round;    ///< an ellipse with these semi-axes; otherwise a rectangle

    /// How much of the aperture a beam leaves free: 1 for a thin beam in the middle, 0 where the footprint of
    /// a round beam of this radius, m, touches the edge, negative where light is lost. The beam meets the
    /// mirror at `hit` along `direction` under `cosine` (of the incidence, above 0); `normal` is the mirror's
    /// at that moment. The footprint is that of a cylinder: its half width along a direction u of the surface
    /// is r √(1 + (u·d)²/cos²). Exact for the rectangle; for the ellipse exact for a beam in the middle and
    /// on the safe side elsewhere.
    template <class T, class S, class R>
    T share(TurningMirror<S> const& mirror, Point<Head, T> const& hit, Direction<Head, T> const& direction,
            Direction<Head, T> const& normal, T const& cosine, R const& radius) const {
        using std::sqrt;
        T const one = number_cast<T>(1);
        // The axis's part in the surface, and across it; a surface is never square to its axis.
        Direction<Head, T> const axis = number_cast<T>(mirror.axis);
        auto const u = unit(axis - dot(axis, normal) * normal);
        auto const v = cross(normal, u);
        auto const from_middle = hit - number_cast<T>(mirror.pivot);
        T const along_scale = detail::factor<T>(1 / along) * one;
        T const across_scale = detail::factor<T>(1 / across) * one;
        T const at_u = dot(from_middle, u) * along_scale;
        T const at_v = dot(from_middle, v) * across_scale;
        T const inverse = one / select(cosine > 1e-3, cosine, number_cast<T>(1e-3));
        T const lean_u = dot(direction, u) * inverse;
        T const lean_v = dot(direction, v) * inverse;
        T const r = number_cast<T>(radius);
        T const uu = sqr(r * along_scale) * (sqr(lean_u) + one);
        T const vv = sqr(r * across_scale) * (sqr(lean_v) + one);
        if (!round) {
            T const used_u = detail::absolute(at_u) + sqrt(uu);
            T const used_v = detail::absolute(at_v) + sqrt(vv);
            return one - select(used_u < used_v, used_v, used_u);
        }
        // The largest semi-axis of the footprint in coordinates in which the aperture is a unit circle.
        T const uv = sqr(r) * along_scale * across_scale * lean_u * lean_v;
        T const half_sum = (uu + vv) * detail::factor<T>(0.5);
        T const half_difference = (uu - vv) * detail::factor<T>(0.5);
        T const largest = sqrt(half_sum + sqrt(sqr(half_difference) + sqr(uv)));
        return one - sqrt(sqr(at_u) + sqr(at_v)) - largest;
    }
};

/// An aperture as given, checked. Throws BadInput unless both half sizes, m, are above 0.
inline MirrorAperture checked(MirrorAperture const& aperture) {
    if (!(aperture.along > 0) || !(aperture.across > 0) || !is_finite(aperture.along) ||
        !is_finite(aperture.across))
        throw BadInput("a mirror's aperture of half sizes " + std::to_string(aperture.along) + " m and " +
                       std::to_string(aperture.across) + " m is not possible: both must be above 0");
    return aperture;
}

} // namespace seamhold

#endif
