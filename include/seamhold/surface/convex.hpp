#ifndef SEAMHOLD_SURFACE_CONVEX_HPP
#define SEAMHOLD_SURFACE_CONVEX_HPP

#include "seamhold/surface/surface.hpp"

#include <cstddef>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// A convex body in frame F: the hull of points, grown by a radius. One point is a ball, two are a round bar,
/// eight a box, the corners of a polytope the polytope, three a triangle; with a radius their edges are
/// rounded outwards.
template <class F> struct ConvexShape {
    std::vector<Point<F>> points; ///< whose hull it is, m; at least one
    double radius = 0;            ///< by how much the hull is grown, m, 0 or more
};

/// A convex body that is stored elsewhere.
template <class F> struct ConvexView {
    std::span<Point<F> const> points; ///< whose hull it is, m
    double radius;                    ///< by how much the hull is grown, m

    /// The points and the radius as they are stored.
    ConvexView(std::span<Point<F> const> hull, double grown) : points(hull), radius(grown) {}
    /// Of a shape that must outlive the view.
    ConvexView(ConvexShape<F> const& shape) : points(shape.points), radius(shape.radius) {}
};

/// All points of a box with its edges along the axes of frame F, grown by a radius: a bound of other bodies.
template <class F> struct BoundingBox {
    Point<F> low;  ///< its corner with the least coordinates, m
    Point<F> high; ///< its corner with the greatest coordinates, m
    double radius; ///< by how much it is grown, m

    /// Its middle, m.
    Point<F> middle() const { return low + 0.5 * (high - low); }

    /// The point of the box, not grown, that is nearest to p.
    Point<F> nearest(Point<F> const& p) const {
        auto const within = [](double x, double from, double to) {
            return x < from ? from : x > to ? to : x;
        };
        return {within(p.x, low.x, high.x), within(p.y, low.y, high.y), within(p.z, low.z, high.z)};
    }
};

/// The smallest box around two. Exact.
template <class F> BoundingBox<F> hull(BoundingBox<F> const& a, BoundingBox<F> const& b) {
    auto const least = [](double x, double y) { return y < x ? y : x; };
    auto const most = [](double x, double y) { return y > x ? y : x; };
    return {{least(a.low.x, b.low.x), least(a.low.y, b.low.y), least(a.low.z, b.low.z)},
            {most(a.high.x, b.high.x), most(a.high.y, b.high.y), most(a.high.z, b.high.z)},
            most(a.radius, b.radius)};
}

/// The smallest box around a body. Exact.
template <class F> BoundingBox<F> bounding_box(ConvexView<F> const& shape) {
    auto const& first = shape.points.front();
    BoundingBox<F> box{first, first, shape.radius};
    for (auto const& p : shape.points)
        box = hull(box, {p, p, shape.radius});
    return box;
}

/// The least of n · p over all points p of a body, m times the length |n|, which the caller has worked out: a
/// kernel over S, double or Interval; over intervals it holds for the exact numbers that n and the body are
/// stored as. Of a box it is the least over its corners.
template <class S, class F>
S least_along(Direction<F> const& n, S const& length, ConvexView<F> const& shape) {
    auto const along = [&](Point<F> const& p) {
        return number_cast<S>(p.x) * n.x + number_cast<S>(p.y) * n.y + number_cast<S>(p.z) * n.z;
    };
    S least = along(shape.points.front());
    for (auto const& p : shape.points.subspan(1)) {
        S const there = along(p);
        least = select(there < least, there, least);
    }
    return least - length * shape.radius;
}
template <class S, class F> S least_along(Direction<F> const& n, S const& length, BoundingBox<F> const& box) {
    return number_cast<S>(n.x < 0 ? box.high.x : box.low.x) * n.x +
           number_cast<S>(n.y < 0 ? box.high.y : box.low.y) * n.y +
           number_cast<S>(n.z < 0 ? box.high.z : box.low.z) * n.z - length * box.radius;
}

namespace detail {

/// Farther than this from a frame's origin no clamp stands, m.
inline constexpr double farthest_obstacle = 1000;

inline void check_size(double x, std::string const& what) {
    if (!(x > 0) || !(x <= farthest_obstacle))
        throw BadInput(what + " must be above 0 and at most 1e6 mm; given was " + text_in_millimetres(x));
}

} // namespace detail

/// A shape as given, checked. Throws BadInput where it has no point, a coordinate is not within 1 km of the
/// frame's origin, or the radius is below 0 or above 1 km.
template <class F> ConvexShape<F> checked(ConvexShape<F> shape) {
    if (shape.points.empty())
        throw BadInput("a convex shape needs at least one point");
    auto const within = [](double x) { return std::abs(x) <= detail::farthest_obstacle; };
    for (std::size_t i = 0; i < shape.points.size(); ++i) {
        auto const& p = shape.points[i];
        if (!within(p.x) || !within(p.y) || !within(p.z))
            throw BadInput("point " + std::to_string(i + 1) + " of a convex shape, " +
                           detail::text_in_millimetres(p) +
                           ", must have coordinates between -1e6 and 1e6 mm");
    }
    if (!(shape.radius >= 0) || !within(shape.radius))
        throw BadInput("the radius by which a convex shape is grown must be 0 to 1e6 mm; given was " +
                       detail::text_in_millimetres(shape.radius));
    return shape;
}

/// The hull of points, m, grown by a radius. Throws BadInput as `checked`.
template <class F> ConvexShape<F> hull_of(std::vector<Point<F>> points, double radius = 0) {
    return checked(ConvexShape<F>{std::move(points), radius});
}

/// A ball. Throws BadInput for a radius, m, that is not above 0, and as `checked`.
template <class F> ConvexShape<F> ball_at(Point<F> const& centre, double radius) {
    detail::check_size(radius, "a ball's radius");
    return hull_of<F>({centre}, radius);
}

/// A round bar with rounded ends: all within the radius of the straight line between the centres of its ends.
/// Throws BadInput for a radius, m, that is not above 0, and as `checked`.
template <class F> ConvexShape<F> bar_between(Point<F> const& a, Point<F> const& b, double radius) {
    detail::check_size(radius, "a bar's radius");
    return hull_of<F>({a, b}, radius);
}

/// A box from one of its corners, where the box's own frame B stands, its edges along the axes of B by
/// `size`, m. With a rounding, m, the box is grown by it and its edges are round. Throws BadInput for a size
/// that is not above 0, and as `checked`.
template <class F, class B>
ConvexShape<F> box_at(Pose<F, B> const& frame_from_corner, Direction<B> const& size, double rounding = 0) {
    detail::check_size(size.x, "a box's size along x");
    detail::check_size(size.y, "a box's size along y");
    detail::check_size(size.z, "a box's size along z");
    std::vector<Point<F>> corners;
    corners.reserve(8);
    for (double const x : {0.0, size.x})
        for (double const y : {0.0, size.y})
            for (double const z : {0.0, size.z})
                corners.push_back(frame_from_corner * Point<B>{x, y, z});
    return hull_of(std::move(corners), rounding);
}

} // namespace seamhold

#endif
