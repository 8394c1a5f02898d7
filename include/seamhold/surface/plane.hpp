#ifndef SEAMHOLD_SURFACE_PLANE_HPP
#define SEAMHOLD_SURFACE_PLANE_HPP

#include "seamhold/surface/surface.hpp"

namespace seamhold {

/// A flat face of any inclination: the plane z = 0 of its face frame.
template <class S = double> struct Plane {
    static constexpr bool isometric = true;

    Pose<Part, Face, S> part_from_face;

    /// The point at (x, y) of the face, m, and the normal.
    template <class T> [[gnu::always_inline]] SurfacePoint<Common<S, T>> at(T const& x, T const& y) const {
        using R = Common<S, T>;
        auto const& m = part_from_face.rotation.m;
        auto const& o = part_from_face.origin;
        auto const coordinate = [&](int i, S const& start) {
            return x * operand<T>(m[i][0]) + y * operand<T>(m[i][1]) + operand<T>(start);
        };
        return {{coordinate(0, o.x), coordinate(1, o.y), coordinate(2, o.z)},
                {number_cast<R>(m[0][2]), number_cast<R>(m[1][2]), number_cast<R>(m[2][2])}};
    }
};

/// The plane through a place with a normal (out of the material); x runs as `along_x` does, as far as the
/// plane lets it. Throws BadInput as `face_at`.
inline Plane<> plane_at(Point<Part> const& place, Direction<Part> const& normal,
                        Direction<Part> const& along_x) {
    return {face_at(place, normal, along_x)};
}

/// The plane through three touched points, m: its origin, a point on its x axis, a point on the side of its y
/// axis. The normal is x × y: seen from the head, the three run counter-clockwise. Throws BadInput where two
/// points are closer than 1 µm, or the third lies within 1 µm of the line through the others.
inline Plane<> plane_through(Point<Part> const& origin, Point<Part> const& on_x_axis,
                             Point<Part> const& on_y_side) {
    constexpr double least = 1e-6;
    detail::check_place(origin, "the face's origin");
    detail::check_place(on_x_axis, "the point on the x axis");
    detail::check_place(on_y_side, "the point on the side of y");
    auto const x = on_x_axis - origin;
    if (!(norm(x) > least))
        throw BadInput("the origin and the point on the x axis are the same place: " +
                       detail::text_in_millimetres(origin));
    auto const normal = cross(unit(x), on_y_side - origin);
    if (!(norm(normal) > least))
        throw BadInput("the three points lie on one line: the one on the side of y, " +
                       detail::text_in_millimetres(on_y_side) + ", is " +
                       detail::text_in_millimetres(norm(normal)) + " from the x axis");
    return {face_at(origin, normal, x)};
}

/// As above, and the normal must lean towards a place known to be outside of the material, such as the head.
/// Throws BadInput where it leans away: then the points run clockwise, and y is on the other side.
inline Plane<> plane_through(Point<Part> const& origin, Point<Part> const& on_x_axis,
                             Point<Part> const& on_y_side, Point<Part> const& towards) {
    auto const plane = plane_through(origin, on_x_axis, on_y_side);
    double const height = inverse_times(plane.part_from_face, towards).z;
    if (!(height > 0))
        throw BadInput("the normal of the three points leans away from " +
                       detail::text_in_millimetres(towards) + ", which is " +
                       detail::text_in_millimetres(-height) +
                       " behind the plane: seen from there they must run counter-clockwise");
    return plane;
}

} // namespace seamhold

#endif
