#ifndef SEAMHOLD_SEAM_SHAPES_HPP
#define SEAMHOLD_SEAM_SHAPES_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/interval.hpp"

#include <cmath>
#include <numbers>
#include <string>

/// Shapes of seams in the flattened face, by arc length. A shape is anything with
/// `template <class T> [[gnu::always_inline]] ShapePoint<Common<S, T>> at(T s) const` and `double length()
/// const`.
namespace seamhold {

/// A point of a shape, m, and the unit tangent there, in the direction of travel.
template <class T> struct ShapePoint {
    T x, y;
    T tangent_x, tangent_y;
};

/// What may be either of two, numbers made of intervals; see `detail::either` of numbers.
template <class T> ShapePoint<T> either(ShapePoint<T> const& a, ShapePoint<T> const& b) {
    using detail::either;
    return {either(a.x, b.x), either(a.y, b.y), either(a.tangent_x, b.tangent_x),
            either(a.tangent_y, b.tangent_y)};
}

/// a where the mask of lanes is true, b where it is not.
template <class Mask, class T>
ShapePoint<T> select(Mask const& mask, ShapePoint<T> const& a, ShapePoint<T> const& b) {
    return {select(mask, a.x, b.x), select(mask, a.y, b.y), select(mask, a.tangent_x, b.tangent_x),
            select(mask, a.tangent_y, b.tangent_y)};
}

/// A place in the flattened face, m.
struct FacePoint {
    double x, y;
};

/// A straight seam. Not clipped: outside 0 ≤ s ≤ length it runs on.
template <class S = double> struct Straight {
    S start_x, start_y;         ///< where s = 0, m
    S direction_x, direction_y; ///< unit vector of travel
    double extent;              ///< its length, m

    /// The length, m.
    double length() const { return extent; }

    /// The point at arc length s, m.
    template <class T> [[gnu::always_inline]] ShapePoint<Common<S, T>> at(T const& s) const {
        using R = Common<S, T>;
        return {s * operand<T>(direction_x) + operand<T>(start_x),
                s * operand<T>(direction_y) + operand<T>(start_y), number_cast<R>(direction_x),
                number_cast<R>(direction_y)};
    }
};

/// An arc of a circle or a whole circle (or several turns of it). Not clipped.
template <class S = double> struct Arc {
    S center_x, center_y; ///< m
    S radius;             ///< m, above 0
    S start_angle;        ///< angle of the first point from the face's x axis, rad
    double turn;          ///< angle turned through, rad; positive is counter-clockwise seen from the head

    /// The length, m.
    double length() const { return std::abs(turn) * value_of(radius); }

    /// The point at arc length s, m.
    template <class T> [[gnu::always_inline]] ShapePoint<Common<S, T>> at(T const& s) const {
        using R = Common<S, T>;
        auto const sense = detail::factor<R>(turn < 0 ? -1 : 1);
        R const angle = number_cast<R>(s * sense) / operand<T>(radius) + operand<T>(start_angle);
        auto const both = sin_cos(angle);
        return {both.cos * operand<T>(radius) + operand<T>(center_x),
                both.sin * operand<T>(radius) + operand<T>(center_y), both.sin * -sense, both.cos * sense};
    }
};

/// A single point, for holding the beam on one place; its tangent is the face's x axis.
template <class S = double> struct Still {
    S x, y; ///< m

    /// The length: 0.
    double length() const { return 0; }

    /// The point, whatever s.
    template <class T> [[gnu::always_inline]] ShapePoint<Common<S, T>> at(T const&) const {
        using R = Common<S, T>;
        return {number_cast<R>(x), number_cast<R>(y), number_cast<R>(1), number_cast<R>(0)};
    }
};

/// The straight seam from one place to another. Throws BadInput where they coincide.
inline Straight<> straight_between(FacePoint from, FacePoint to) {
    double const length = std::hypot(to.x - from.x, to.y - from.y);
    if (!(length > 0) || !is_finite(length))
        throw BadInput("a straight seam needs two different ends; both are (" + std::to_string(from.x) +
                       ", " + std::to_string(from.y) + ") m");
    return {from.x, from.y, (to.x - from.x) / length, (to.y - from.y) / length, length};
}

/// The arc of a radius, m, around a center from start_angle through the signed angle `turn`, rad. Throws
/// BadInput unless all are finite, the radius is above 0 and the turn is not 0.
inline Arc<> arc_around(FacePoint center, double radius, double start_angle, double turn) {
    if (!is_finite(center.x) || !is_finite(center.y) || !is_finite(start_angle))
        throw BadInput("an arc's center and start angle must be finite; given were (" +
                       std::to_string(center.x) + ", " + std::to_string(center.y) + ") m and " +
                       std::to_string(start_angle) + " rad");
    if (!(radius > 0) || !is_finite(radius) || !is_finite(turn) || turn == 0)
        throw BadInput("an arc needs a radius above 0 and a turn that is not 0; given were " +
                       std::to_string(radius) + " m and " + std::to_string(turn) + " rad");
    return {center.x, center.y, radius, start_angle, turn};
}

/// The whole circle of a diameter, m, around a center, counter-clockwise from start_angle, rad, unless
/// `clockwise`.
inline Arc<> circle_around(FacePoint center, double diameter, double start_angle = 0,
                           bool clockwise = false) {
    return arc_around(center, diameter / 2, start_angle,
                      clockwise ? -2 * std::numbers::pi : 2 * std::numbers::pi);
}

} // namespace seamhold

#endif
