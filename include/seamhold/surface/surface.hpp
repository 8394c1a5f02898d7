#ifndef SEAMHOLD_SURFACE_SURFACE_HPP
#define SEAMHOLD_SURFACE_SURFACE_HPP

#include "seamhold/frame/pose.hpp"

#include <cmath>
#include <concepts>
#include <string>

namespace seamhold {

/// A face of the part, flattened: x and y run along the face, z is its normal and points out of the material,
/// towards the head.
struct Face;

/// A point of a surface with the surface's normal there (unit, towards the head), in the part frame.
template <class T> struct SurfacePoint {
    Point<Part, T> position;
    Direction<Part, T> normal;
};

/// What every surface offers: `at(x, y)` at any number, x and y being coordinates of the flattened face, m;
/// and `isometric`, true where the flattened face is laid without stretching, so that a length in the drawing
/// is that length on the face.
template <class F>
concept Surface = requires(F const& face, double x) {
    { F::isometric } -> std::convertible_to<bool>;
    { face.at(x, x) } -> std::same_as<SurfacePoint<double>>;
};

/// From which side a round face is seen by the head.
enum class Side : unsigned char {
    outside, ///< convex: the outside of a tube
    inside   ///< concave: the inside of a tube
};

namespace detail {

inline std::string text_in_millimetres(double x) { return text_of(1000 * x) + " mm"; }

template <class F> std::string text_in_millimetres(Point<F> const& p) { return text_of_mm({p.x, p.y, p.z}); }

/// The unit vector along d. Throws BadInput, naming it by `what`, where d is zero or not finite.
inline Direction<Part> unit_or_refused(Direction<Part> const& d, char const* what) {
    double const length = norm(d);
    if (!(length > 1e-100) || !is_finite(length))
        throw BadInput(std::string(what) + " (" + text_of(d.x) + ", " + text_of(d.y) + ", " + text_of(d.z) +
                       ") has no direction");
    return unit(d);
}

inline void check_place(Point<Part> const& p, char const* what) {
    if (!is_finite(p))
        throw BadInput(std::string(what) + " is not finite");
}

/// Throws BadInput unless x is finite and not 0.
inline void check_signed_radius(double x, char const* what) {
    if (!is_finite(x) || x == 0)
        throw BadInput(std::string(what) + " must be finite and not 0 (above 0 convex, below 0 concave); " +
                       "given was " + text_in_millimetres(x));
}

/// Throws BadInput where a face's pose holds a number that is not finite.
inline void check_face_pose(Pose<Part, Face> const& pose) {
    check_place(pose.origin, "the face's origin");
    for (auto const& row : pose.rotation.m)
        for (double const x : row)
            if (!is_finite(x))
                throw BadInput("the face's rotation is not finite");
}

} // namespace detail

/// Where a face stands: its origin, its normal (out of the material, any length), and the direction in which
/// its x axis runs (any length; what it has along the normal is left away). Throws BadInput where a number is
/// not finite, a direction is zero, or x runs along the normal within 1e-6 rad.
inline Pose<Part, Face> face_at(Point<Part> const& origin, Direction<Part> const& normal,
                                Direction<Part> const& along_x) {
    detail::check_place(origin, "the face's origin");
    auto const z = detail::unit_or_refused(normal, "the face's normal");
    auto const wanted = detail::unit_or_refused(along_x, "the face's x direction");
    auto const sideways = cross(z, wanted);
    if (!(norm(sideways) > 1e-6))
        throw BadInput("the face's x direction runs along its normal");
    auto const y = unit(sideways);
    auto const x = cross(y, z);
    return {{{{x.x, y.x, z.x}, {x.y, y.y, z.y}, {x.z, y.z, z.z}}}, origin};
}

} // namespace seamhold

#endif
