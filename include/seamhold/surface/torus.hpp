#ifndef SEAMHOLD_SURFACE_TORUS_HPP
#define SEAMHOLD_SURFACE_TORUS_HPP

#include "seamhold/surface/cylinder.hpp"

namespace seamhold {

/// A ring of round section, or a piece of one: a bent tube, a rounded edge, a fillet. The face's origin lies
/// on an equator, x runs around the ring and y around the tube:
///     p = ((R + r cos θ) sin φ, r sin θ, (R + r cos θ) cos φ − (R + r)),   n = (cos θ sin φ, sin θ, cos θ
///     cos φ), φ = x / (R + r),   θ = y / r,
/// in the face's frame. The radius of the face around the tube is r, that around the ring is R + r at the
/// origin; each is above 0 where the face is convex that way, below 0 where it is concave:
///
///     R > 0, r > 0   outside of a bent tube, its outer equator; a round plate's rounded rim
///     R < 0, r > 0   outside of a bent tube, its inner equator (R + r < 0); a barrel (R + r > 0)
///     R > 0, r < 0   inside of a bent tube, its inner equator; the fillet at the foot of a round boss
///     R < 0, r < 0   inside of a bent tube, its outer equator; the fillet at the bottom of a round pot
///
/// Lengths around the tube are true; those around the ring are (R + r cos θ)/(R + r) of what is drawn. Where
/// that is 0 the face meets the ring's axis; beyond, it means nothing.
template <class S = double> struct Torus {
    static constexpr bool isometric = false;

    Pose<Part, Face, S> part_from_face;
    S ring_radius; ///< R, from the ring's axis to the middle of the tube, m, signed
    S tube_radius; ///< r, m, signed

    /// The point at x around the ring and y around the tube, m, and the normal.
    template <class T> [[gnu::always_inline]] SurfacePoint<Common<S, T>> at(T const& x, T const& y) const {
        using R = Common<S, T>;
        auto const round = ring_radius + tube_radius;
        auto const ring = detail::sine_versine(R(x / operand<T>(round)));
        auto const tube = detail::sine_versine(R(y / operand<T>(tube_radius)));
        R const one = number_cast<R>(1);
        R const down = tube.versine * operand<R>(tube_radius); // towards the middle of the tube
        R const reach = number_cast<R>(round) - down;
        R const cosine = one - tube.versine;
        return {part_from_face * Point<Face, R>{reach * ring.sine, tube.sine * operand<R>(tube_radius),
                                                -(down + reach * ring.versine)},
                part_from_face *
                    Direction<Face, R>{cosine * ring.sine, tube.sine, cosine * (one - ring.versine)}};
    }
};

/// A torus by where its face stands and its signed radii, m (see Torus). Throws BadInput where a number is
/// not finite, the tube's radius is 0, or the radius around the ring at the origin, R + r, is 0.
inline Torus<> torus_at(Pose<Part, Face> const& part_from_face, double ring_radius, double tube_radius) {
    detail::check_face_pose(part_from_face);
    detail::check_signed_radius(tube_radius, "a torus's tube radius");
    if (!is_finite(ring_radius))
        throw BadInput("a torus's ring radius is not finite");
    detail::check_signed_radius(ring_radius + tube_radius, "a torus's ring and tube radius together");
    return {part_from_face, ring_radius, tube_radius};
}

} // namespace seamhold

#endif
