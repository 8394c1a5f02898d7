#ifndef SEAMHOLD_SURFACE_CLOSEST_POINT_HPP
#define SEAMHOLD_SURFACE_CLOSEST_POINT_HPP

#include "seamhold/surface/convex.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <span>

namespace seamhold {

/// The point of a body that is nearest to another point, and how far that is.
template <class F> struct ClosestPoint {
    Point<F> point;  ///< m
    double distance; ///< m; 0 inside
};

namespace detail {

/// The shortest vector of the hull of up to four, and which of them it needs.
template <class F> struct ShortestVector {
    Direction<F> vector;
    double squared;
    unsigned corners; ///< a bit for each
};

/// Looks at every corner, edge, face and the inside for the foot of the perpendicular from the origin: those
/// feet that lie in the hull are compared.
template <class F>
ShortestVector<F> shortest_vector(std::array<Direction<F>, 4> const& y, std::size_t count) {
    ShortestVector<F> best{y[0], squared_norm(y[0]), 1};
    auto const offer = [&](Direction<F> const& v, unsigned corners) {
        double const squared = squared_norm(v);
        if (squared < best.squared)
            best = {v, squared, corners};
    };
    for (std::size_t i = 1; i < count; ++i)
        offer(y[i], 1U << i);
    for (std::size_t i = 0; i < count; ++i)
        for (std::size_t k = i + 1; k < count; ++k) {
            auto const edge = y[k] - y[i];
            double const t = -dot(y[i], edge), all = squared_norm(edge);
            if (t > 0 && t < all)
                offer(y[i] + (t / all) * edge, 1U << i | 1U << k);
        }
    // The share of a corner is the volume over the opposite edge and the face's normal n.
    for (std::size_t out = 0; out < 4 && count >= 3; ++out) {
        if (count == 3 && out != 3)
            continue;
        std::size_t const i = out == 0 ? 1 : 0, k = out <= 1 ? 2 : 1, m = out <= 2 ? 3 : 2;
        auto const &a = y[i], &b = y[k], &c = y[m];
        auto const n = cross(b - a, c - a);
        if (dot(n, cross(b, c)) > 0 && dot(n, cross(c, a)) > 0 && dot(n, cross(a, b)) > 0)
            offer((dot(n, a) / squared_norm(n)) * n, 1U << i | 1U << k | 1U << m);
    }
    if (count == 4) {
        double const abc = dot(y[0], cross(y[1], y[2])), abd = dot(y[0], cross(y[1], y[3]));
        double const acd = dot(y[0], cross(y[2], y[3])), bcd = dot(y[1], cross(y[2], y[3]));
        bool const inside =
            (abc > 0 && abd < 0 && acd > 0 && bcd < 0) || (abc < 0 && abd > 0 && acd < 0 && bcd > 0);
        if (inside)
            best = {{0, 0, 0}, 0, 15};
    }
    return best;
}

} // namespace detail

/// The point of the hull of points that is nearest to q: the method of Gilbert, Johnson and Keerthi, which
/// walks over simplices of at most four of the points, each nearer than the one before. Within 1e-14 of the
/// largest distance between q and the points. For points that are not finite the result means nothing.
/// Source: E. Gilbert, D. Johnson, S. Keerthi, "A fast procedure for computing the distance between complex
/// objects in three-dimensional space", IEEE Journal of Robotics and Automation 4(2), 1988 (from memory).
template <class F> ClosestPoint<F> closest_point(std::span<Point<F> const> points, Point<F> const& q) {
    std::array<Direction<F>, 4> simplex{points[0] - q};
    std::size_t count = 1;
    detail::ShortestVector<F> best{simplex[0], squared_norm(simplex[0]), 1};
    double largest = best.squared;
    for (std::size_t step = 0; step < 16 + 4 * points.size() && best.squared > 0; ++step) {
        Direction<F> next = points[0] - q;
        double least = dot(best.vector, next);
        for (auto const& p : points.subspan(1)) {
            auto const y = p - q;
            double const along = dot(best.vector, y);
            if (along < least) {
                least = along;
                next = y;
            }
        }
        largest = std::fmax(largest, squared_norm(next));
        // By convexity the rest is at most this over the length of the vector.
        if (!(best.squared - least > 1e-15 * std::sqrt(best.squared * largest)))
            break;
        std::size_t kept = 0;
        for (std::size_t i = 0; i < count; ++i)
            if ((best.corners >> i & 1U) != 0)
                simplex[kept++] = simplex[i];
        if (kept == 4)
            break;
        simplex[kept++] = next;
        auto const better = detail::shortest_vector(simplex, kept);
        if (!(better.squared < best.squared))
            break;
        best = better;
        count = kept;
    }
    return {q + best.vector, std::sqrt(best.squared)};
}

} // namespace seamhold

#endif
