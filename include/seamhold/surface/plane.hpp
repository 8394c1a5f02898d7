#ifndef SEAMHOLD_SURFACE_PLANE_HPP
#define SEAMHOLD_SURFACE_PLANE_HPP

#include "seamhold/frame/pose.hpp"

namespace seamhold {

/// A face of the part, flattened: x and y run along the face, z is its normal and points out of the material,
/// towards the head.
struct Face;

/// A point of a surface with the surface's normal there (unit, towards the head), in the part frame.
template <class T> struct SurfacePoint {
    Point<Part, T> position;
    Direction<Part, T> normal;
};

/// A flat face of any inclination: the plane z = 0 of its face frame.
template <class S = double> struct Plane {
    /// What is laid on it keeps all its lengths.
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

} // namespace seamhold

#endif
