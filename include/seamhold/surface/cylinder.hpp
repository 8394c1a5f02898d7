#ifndef SEAMHOLD_SURFACE_CYLINDER_HPP
#define SEAMHOLD_SURFACE_CYLINDER_HPP

#include "seamhold/surface/surface.hpp"

namespace seamhold {

namespace detail {

/// The sine of an angle, and 1 − cosine without cancellation.
template <class T> struct SineVersine {
    T sine;
    T versine;
};

template <class T> [[gnu::always_inline]] inline SineVersine<T> sine_versine(T const& angle) {
    auto const half = sin_cos(T(angle * factor<T>(0.5)));
    return {half.sin * half.cos * factor<T>(2), sqr(half.sin) * factor<T>(2)};
}

} // namespace detail

/// A tube, seen from outside or inside. The face's origin lies on it, x runs along its axis, y around it:
///     p = (x, r sin(y/r), −r (1 − cos(y/r))),   n = (0, sin(y/r), cos(y/r))
/// in the face's frame, r being the signed radius. Nothing is stretched: lengths and angles of the drawing
/// are those on the tube. Every (x, y) has a point; beyond y = ±π r the face lies over itself.
template <class S = double> struct Cylinder {
    static constexpr bool isometric = true;

    Pose<Part, Face, S> part_from_face;
    S radius; ///< m; above 0 seen from outside (convex), below 0 from inside (concave)

    /// The point at x along the axis and y around, m, and the normal.
    template <class T> [[gnu::always_inline]] SurfacePoint<Common<S, T>> at(T const& x, T const& y) const {
        using R = Common<S, T>;
        auto const turn = detail::sine_versine(R(y / operand<T>(radius)));
        R const zero = number_cast<R>(0), one = number_cast<R>(1);
        R const across = turn.sine * operand<R>(radius);
        R const down = turn.versine * operand<R>(radius);
        return {part_from_face * Point<Face, R>{number_cast<R>(x), across, -down},
                part_from_face * Direction<Face, R>{zero, turn.sine, one - turn.versine}};
    }
};

/// A cylinder by where its face stands and its signed radius, m. Throws BadInput where a number is not finite
/// or the radius is 0.
inline Cylinder<> cylinder_at(Pose<Part, Face> const& part_from_face, double radius) {
    detail::check_face_pose(part_from_face);
    detail::check_signed_radius(radius, "a cylinder's radius");
    return {part_from_face, radius};
}

/// A cylinder by a point on its axis, the direction of its axis, which x follows, and a touched point on it,
/// which becomes the face's origin. Throws BadInput where a number is not finite, the direction is zero, or
/// the touched point is closer than 1 µm to the axis.
inline Cylinder<> cylinder_around(Point<Part> const& on_axis, Direction<Part> const& axis,
                                  Point<Part> const& touched, Side side = Side::outside) {
    detail::check_place(on_axis, "the point on the axis");
    detail::check_place(touched, "the touched point");
    auto const x = detail::unit_or_refused(axis, "a cylinder's axis");
    auto const lever = touched - on_axis;
    auto const out = lever - dot(lever, x) * x;
    double const radius = norm(out);
    if (!(radius > 1e-6))
        throw BadInput("the touched point " + detail::text_in_millimetres(touched) +
                       " lies on the cylinder's axis");
    double const sign = side == Side::outside ? 1 : -1;
    return cylinder_at(face_at(touched, sign * out, x), sign * radius);
}

} // namespace seamhold

#endif
