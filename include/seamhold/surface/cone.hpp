#ifndef SEAMHOLD_SURFACE_CONE_HPP
#define SEAMHOLD_SURFACE_CONE_HPP

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/surface/cylinder.hpp"

namespace seamhold {

/// A cone, seen from outside or inside. The face's origin lies on it, x runs along the generator away from
/// the apex, y around. Unrolled, the cone is the plane in polar coordinates about its apex at (−d, 0):
///     ρ = √((x + d)² + y²),   φ = atan(y / (x + d)) / sin α,
///     p = (ρ − d, 0, 0) + ρ sin α w,   n = (0, 0, 1) + cos α w,
///     w = (−sin α (1 − cos φ), sin φ, −cos α (1 − cos φ)),
/// in the face's frame, α being the signed half angle. Nothing is stretched. The apex and what lies behind it
/// (y = 0, x ≤ −d) is no part of the face; beyond φ = ±π it lies over itself.
template <class S = double> struct Cone {
    static constexpr bool isometric = true;

    Pose<Part, Face, S> part_from_face;
    S half_angle; ///< between axis and generator, rad; above 0 seen from outside (convex), below 0 from
                  ///< inside
    S from_apex;  ///< from the apex to the face's origin along the generator, m, above 0

    /// The point at x along the generator and y around, m, and the normal.
    template <class T> [[gnu::always_inline]] SurfacePoint<Common<S, T>> at(T const& x, T const& y) const {
        using std::sqrt;
        using R = Common<S, T>;
        R const d = number_cast<R>(from_apex), ahead = x + operand<T>(from_apex), across = number_cast<R>(y);
        auto const slope = sin_cos(half_angle);
        R const reach = sqrt(R(sqr(ahead) + sqr(across)));
        // Half the polar angle, which stays below a quarter of a turn; and reach − d without cancellation.
        R const polar = atan_ratio(across, R(reach + ahead)) * detail::factor<R>(2);
        R const farther = (x * (ahead + d) + sqr(across)) / (reach + d);
        auto const turn = detail::sine_versine(R(polar / operand<R>(slope.sin)));
        R const wx = -(turn.versine * operand<R>(slope.sin)), wz = -(turn.versine * operand<R>(slope.cos));
        R const radius = reach * operand<R>(slope.sin);
        return {part_from_face * Point<Face, R>{farther + radius * wx, radius * turn.sine, radius * wz},
                part_from_face * Direction<Face, R>{wx * operand<R>(slope.cos),
                                                    turn.sine * operand<R>(slope.cos),
                                                    wz * operand<R>(slope.cos) + number_cast<R>(1)}};
    }
};

/// A cone by where its face stands, its signed half angle, rad, and the distance of the face's origin from
/// the apex, m. Throws BadInput where a number is not finite, the half angle is 0 or beyond ±π/2, or the
/// distance is not above 0.
inline Cone<> cone_at(Pose<Part, Face> const& part_from_face, double half_angle, double from_apex) {
    detail::check_face_pose(part_from_face);
    double const way = half_angle < 0 ? -half_angle : half_angle;
    if (!(way > 1e-9) || !(way < degrees(90) - 1e-9))
        throw BadInput(
            "a cone's half angle must lie between 0° and 90° (below 0 for the inside); given was " +
            detail::text_of(in_degrees(half_angle)) + "°");
    if (!(from_apex > 0) || !is_finite(from_apex))
        throw BadInput("a cone's face must start at a distance above 0 from the apex; given was " +
                       detail::text_in_millimetres(from_apex));
    return {part_from_face, half_angle, from_apex};
}

/// A cone by its apex, the direction of its axis (from the apex into the cone) and a touched point on it,
/// which becomes the face's origin. Throws BadInput where a number is not finite, the direction is zero, or
/// the touched point lies on the axis or not in front of the apex, within 1 µm.
inline Cone<> cone_around(Point<Part> const& apex, Direction<Part> const& axis, Point<Part> const& touched,
                          Side side = Side::outside) {
    detail::check_place(apex, "the apex");
    detail::check_place(touched, "the touched point");
    auto const inward = detail::unit_or_refused(axis, "a cone's axis");
    auto const generator = touched - apex;
    double const along = dot(generator, inward);
    auto const out = generator - along * inward;
    double const radius = norm(out);
    if (!(radius > 1e-6) || !(along > 1e-6))
        throw BadInput("the touched point " + detail::text_in_millimetres(touched) + " is " +
                       detail::text_in_millimetres(along) + " from the apex along the axis and " +
                       detail::text_in_millimetres(radius) + " off the axis: both must be above 0");
    double const sign = side == Side::outside ? 1 : -1;
    auto const normal = sign * (along * unit(out) - radius * inward);
    return cone_at(face_at(touched, normal, generator), sign * std::atan2(radius, along), norm(generator));
}

} // namespace seamhold

#endif
