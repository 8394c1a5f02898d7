#ifndef SEAMHOLD_HEAD_POLYGON_HPP
#define SEAMHOLD_HEAD_POLYGON_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/lift.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <utility>
#include <vector>

/// Closed polygons in the plane, convex or not: what an outline needs of them.
namespace seamhold::detail {

using PlanePoint = std::array<double, 2>;

/// Twice the signed area of the triangle a, b, c: positive where it turns to the left.
inline double turn(PlanePoint const& a, PlanePoint const& b, PlanePoint const& c) {
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
}

/// The square of the distance of (u, v) from the line from a to b.
template <class T>
T squared_distance_from_segment(T const& u, T const& v, PlanePoint const& a, PlanePoint const& b) {
    double const along[] = {b[0] - a[0], b[1] - a[1]};
    double const length_squared = sqr(along[0]) + sqr(along[1]);
    double const per_square = length_squared > 0 ? 1 / length_squared : 0.0;
    T const x = u - factor<T>(a[0]), y = v - factor<T>(a[1]);
    T const way = T(x * factor<T>(along[0]) + y * factor<T>(along[1])) * factor<T>(per_square);
    T const zero = number_cast<T>(0), one = number_cast<T>(1);
    T const part = select(way < zero, zero, select(way < one, way, one));
    return sqr(T(x - part * factor<T>(along[0]))) + sqr(T(y - part * factor<T>(along[1])));
}

/// The distance of p from the line from a to b.
inline double distance_from_segment(PlanePoint const& p, PlanePoint const& a, PlanePoint const& b) {
    return std::sqrt(squared_distance_from_segment(p[0], p[1], a, b));
}

/// A simple polygon and a smooth signed distance from it.
class Polygon {
public:
    /// From the corners, in either orientation. Throws BadInput, counting points from 1, for fewer than three
    /// points, a number that is not finite, two points that coincide, points on one line, and edges that
    /// cross or touch.
    explicit Polygon(std::vector<PlanePoint> points) : points_(std::move(points)) {
        check_points();
        check_edges();
        double area = 0;
        for (std::size_t i = 0; i < points_.size(); ++i)
            area += turn(points_[0], points_[i], points_[next(i)]);
        if (area < 0)
            std::reverse(points_.begin(), points_.end());
        find_depth();
    }

    /// The corners, to the left around the polygon.
    std::vector<PlanePoint> const& points() const { return points_; }

    /// The largest value that `at` takes inside.
    double depth() const { return depth_; }

    /// Positive inside, negative outside, 0 on the edge; with slope 1 across every edge, smooth but at the
    /// corners. φ = 2 / Σ W, with W = L·d·(1/r₁ + 1/r₂) / (r₁·r₂ + r₁·r₂·cos α) for each edge of length L
    /// that is seen from the point under the angle α, at the distance d, with its ends at r₁ and r₂. Near
    /// the edge, where the last bracket vanishes, it is (L·d)² / (r₁·r₂ − r₁·r₂·cos α). The greatest W comes
    /// apart, so that nothing is divided by d.
    template <class T> T at(T const& u, T const& v) const {
        using std::sqrt;
        Lead const lead = lead_at({value_of(u), value_of(v)});
        if (lead.at_corner) {
            if constexpr (is_of_intervals<T>)
                return anything<T>();
            else
                return at_corner(u, v, lead.edge);
        }
        T sum = number_cast<T>(0);
        T lead_up = sum;
        T lead_down = sum;
        Corner<T> a = seen(points_.size() - 1, u, v);
        for (std::size_t i = 0; i < points_.size(); ++i) {
            Corner<T> const b = seen(i, u, v);
            if constexpr (is_of_intervals<T>)
                if (values_of(b.radius).low < tiny_)
                    return anything<T>();
            std::size_t const edge = i == 0 ? points_.size() - 1 : i - 1;
            T const along = a.x * b.x + a.y * b.y;
            T const across = a.x * b.y - a.y * b.x;
            T const both = T(a.inverse + b.inverse);
            T const radii = a.radius * b.radius;
            bool const beside = value_of(along) < 0;
            T const up = both * (beside ? T(radii - along) : across);
            T const down = beside ? across : T(radii + along);
            if (edge == lead.edge) {
                lead_up = up;
                lead_down = down;
            } else {
                sum = sum + up / down;
            }
            a = b;
        }
        return lead_down * factor<T>(2) / (lead_up + lead_down * sum);
    }

    /// The distance of the nearest point of the edge.
    template <class T> T distance(T const& u, T const& v) const {
        using std::sqrt;
        T least = squared_distance_from_segment(u, v, points_[0], points_[1]);
        for (std::size_t i = 1; i < points_.size(); ++i) {
            T const other = squared_distance_from_segment(u, v, points_[i], points_[next(i)]);
            least = select(other < least, other, least);
        }
        return sqrt(least);
    }

private:
    /// A corner as seen from a point.
    template <class T> struct Corner {
        T x;
        T y;
        T radius;
        T inverse;
    };

    struct Lead {
        std::size_t edge;
        bool at_corner;
    };

    std::size_t next(std::size_t i) const { return i + 1 == points_.size() ? 0 : i + 1; }

    template <class T> Corner<T> seen(std::size_t i, T const& u, T const& v) const {
        using std::sqrt;
        T const x = factor<T>(points_[i][0]) - u;
        T const y = factor<T>(points_[i][1]) - v;
        T const radius = sqrt(T(sqr(x) + sqr(y)));
        return {x, y, radius, number_cast<T>(1) / radius};
    }

    /// The edge with the greatest |W|, or the edge that ends in a corner at which p lies.
    Lead lead_at(PlanePoint const& p) const {
        Lead lead{0, false};
        double greatest = -1;
        Corner<double> a = seen(points_.size() - 1, p[0], p[1]);
        for (std::size_t i = 0; i < points_.size(); ++i) {
            Corner<double> const b = seen(i, p[0], p[1]);
            std::size_t const edge = i == 0 ? points_.size() - 1 : i - 1;
            if (b.radius < tiny_)
                return {edge, true};
            double const along = a.x * b.x + a.y * b.y;
            double const across = std::abs(a.x * b.y - a.y * b.x);
            double const both = a.inverse + b.inverse;
            double const radii = a.radius * b.radius;
            double const w = along < 0 ? both * (radii - along) / across : both * across / (radii + along);
            if (w > greatest) {
                greatest = w;
                lead.edge = edge;
            }
            a = b;
        }
        return lead;
    }

    /// At a corner, where the distance has a kink: that from one of the two edges.
    template <class T> T at_corner(T const& u, T const& v, std::size_t edge) const {
        std::size_t const corner = next(edge);
        auto const from_line = [&](std::size_t i) {
            PlanePoint const& a = points_[i];
            PlanePoint const& b = points_[next(i)];
            double const length = std::hypot(b[0] - a[0], b[1] - a[1]);
            return T((v - factor<T>(points_[corner][1])) * factor<T>((b[0] - a[0]) / length) -
                     (u - factor<T>(points_[corner][0])) * factor<T>((b[1] - a[1]) / length));
        };
        T const before = from_line(edge);
        T const after = from_line(corner);
        bool const convex = turn(points_[edge], points_[corner], points_[next(corner)]) > 0;
        return (value_of(before) < value_of(after)) == convex ? before : after;
    }

    static std::string shown(PlanePoint const& p) {
        return std::string("(") + text_of(p[0]) + ", " + text_of(p[1]) + ")";
    }

    void check_points() {
        if (points_.size() < 3)
            throw BadInput("an outline needs three points or more; given were " +
                           std::to_string(points_.size()));
        for (std::size_t i = 0; i < points_.size(); ++i)
            if (!is_finite(points_[i][0]) || !is_finite(points_[i][1]))
                throw BadInput("point " + std::to_string(i + 1) + " of an outline, " + shown(points_[i]) +
                               ", is not finite");
        double widest = 0;
        PlanePoint ends[2] = {points_[0], points_[0]};
        for (auto const& a : points_)
            for (auto const& b : points_)
                if (double const apart = std::hypot(a[0] - b[0], a[1] - b[1]); apart > widest) {
                    widest = apart;
                    ends[0] = a;
                    ends[1] = b;
                }
        tiny_ = 1e-9 * widest;
        for (std::size_t i = 0; i < points_.size(); ++i)
            for (std::size_t j = 0; j < i; ++j)
                if (std::hypot(points_[i][0] - points_[j][0], points_[i][1] - points_[j][1]) <= tiny_)
                    throw BadInput("points " + std::to_string(j + 1) + " and " + std::to_string(i + 1) +
                                   " of an outline coincide, at " + shown(points_[i]) +
                                   "; an outline closes by itself and visits each point once");
        double highest = 0;
        for (auto const& p : points_)
            highest = std::max(highest, std::abs(turn(ends[0], ends[1], p)) / widest);
        if (highest <= tiny_)
            throw BadInput("the " + std::to_string(points_.size()) + " points of an outline, from " +
                           shown(ends[0]) + " to " + shown(ends[1]) +
                           ", lie on one line: it encloses no area");
    }

    void check_edges() const {
        std::size_t const n = points_.size();
        for (std::size_t i = 0; i < n; ++i)
            for (std::size_t j = i + 1; j < n; ++j) {
                auto const &a = points_[i], &b = points_[next(i)], &c = points_[j], &d = points_[next(j)];
                bool meet =
                    (turn(a, b, c) > 0) != (turn(a, b, d) > 0) && (turn(c, d, a) > 0) != (turn(c, d, b) > 0);
                if (next(i) == j)
                    meet = distance_from_segment(d, a, b) <= tiny_ || distance_from_segment(a, c, d) <= tiny_;
                else if (next(j) == i)
                    meet = distance_from_segment(b, c, d) <= tiny_ || distance_from_segment(c, a, b) <= tiny_;
                else
                    meet = meet || distance_from_segment(a, c, d) <= tiny_ ||
                           distance_from_segment(b, c, d) <= tiny_ ||
                           distance_from_segment(c, a, b) <= tiny_ || distance_from_segment(d, a, b) <= tiny_;
                if (meet)
                    throw BadInput("an outline crosses or touches itself: its edge from point " +
                                   std::to_string(i + 1) + " " + shown(a) + " to point " +
                                   std::to_string(next(i) + 1) + " " + shown(b) + " and that from point " +
                                   std::to_string(j + 1) + " " + shown(c) + " to point " +
                                   std::to_string(next(j) + 1) + " " + shown(d));
            }
    }

    /// The largest value inside: the best of a grid, then steps that halve until they no longer count.
    void find_depth() {
        PlanePoint low = points_[0], high = points_[0];
        for (auto const& p : points_)
            for (std::size_t k = 0; k < 2; ++k) {
                low[k] = std::min(low[k], p[k]);
                high[k] = std::max(high[k], p[k]);
            }
        constexpr int steps = 48;
        double step[2] = {(high[0] - low[0]) / steps, (high[1] - low[1]) / steps};
        PlanePoint best = low;
        depth_ = 0;
        auto const keep = [&](PlanePoint const& p) {
            double const value = at(p[0], p[1]);
            bool const better = value > depth_;
            if (better) {
                depth_ = value;
                best = p;
            }
            return better;
        };
        for (int i = 0; i < steps; ++i)
            for (int j = 0; j < steps; ++j)
                keep({low[0] + step[0] * (i + 0.5), low[1] + step[1] * (j + 0.5)});
        // A sliver between the points of the grid: start beside the middles of the edges.
        for (std::size_t i = 0; i < points_.size(); ++i) {
            auto const &a = points_[i], &b = points_[next(i)];
            keep({(a[0] + b[0]) / 2 - 1e-3 * (b[1] - a[1]), (a[1] + b[1]) / 2 + 1e-3 * (b[0] - a[0])});
        }
        for (int halving = 0; halving < 30;) {
            PlanePoint const from = best;
            bool moved = false;
            for (int i = -1; i <= 1; ++i)
                for (int j = -1; j <= 1; ++j)
                    moved = keep({from[0] + i * step[0], from[1] + j * step[1]}) || moved;
            if (!moved) {
                step[0] /= 2;
                step[1] /= 2;
                ++halving;
            }
        }
    }

    std::vector<PlanePoint> points_;
    double tiny_ = 0; ///< nearer than this to a corner is at it
    double depth_ = 0;
};

} // namespace seamhold::detail

#endif
