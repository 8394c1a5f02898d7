#ifndef SEAMHOLD_HEAD_FIELD_HULL_HPP
#define SEAMHOLD_HEAD_FIELD_HULL_HPP

#include "seamhold/curve/spline_field.hpp"
#include "seamhold/head/field_marks.hpp"
#include "seamhold/head/field_outline.hpp"
#include "seamhold/head/polygon.hpp"
#include "seamhold/number/bad_input.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

/// How far the marks of a field reach, and whether they leave holes.
namespace seamhold::detail {

/// The convex hull of points, to the left around. Source: A. Andrew, "Another efficient algorithm for convex
/// hulls in two dimensions", Information Processing Letters 9, 1979 (from memory).
inline std::vector<PlanePoint> convex_hull(std::vector<PlanePoint> points) {
    std::sort(points.begin(), points.end());
    std::vector<PlanePoint> hull;
    for (int side = 0; side < 2; ++side) {
        std::size_t const first = hull.size();
        for (auto const& p : points) {
            while (hull.size() >= first + 2 && turn(hull[hull.size() - 2], hull.back(), p) <= 0)
                hull.pop_back();
            hull.push_back(p);
        }
        hull.pop_back();
        std::reverse(points.begin(), points.end());
    }
    return hull;
}

/// A convex polygon around a convex polygon with fewer corners: edges are taken out and their neighbours
/// prolonged until they meet, as long as the new corner is no further than `most` from the polygon given.
inline std::vector<PlanePoint> with_fewer_corners(std::vector<PlanePoint> const& given, double most) {
    auto hull = given;
    while (hull.size() > 4) {
        std::size_t const n = hull.size();
        double least = most;
        std::size_t taken = n;
        PlanePoint corner{};
        for (std::size_t i = 0; i < n; ++i) {
            // The edge from i to j; h before it and k behind.
            std::size_t const j = (i + 1) % n;
            auto const &h = hull[(i + n - 1) % n], &a = hull[i], &b = hull[j], &k = hull[(j + 1) % n];
            // Where the lines from h through a and from k through b meet: a + s·(a − h).
            double const dx = a[0] - h[0], dy = a[1] - h[1];
            double const ex = k[0] - b[0], ey = k[1] - b[1];
            double const parallel = dx * ey - dy * ex;
            if (!(parallel > 0))
                continue;
            double const s = ((b[0] - a[0]) * ey - (b[1] - a[1]) * ex) / parallel;
            PlanePoint const meet = {a[0] + s * dx, a[1] + s * dy};
            double far = std::numeric_limits<double>::infinity();
            for (std::size_t m = 0; m < given.size(); ++m)
                far = std::min(far, distance_from_segment(meet, given[m], given[(m + 1) % given.size()]));
            if (far < least) {
                least = far;
                taken = i;
                corner = meet;
            }
        }
        if (taken == n)
            break;
        hull[taken] = corner;
        hull.erase(hull.begin() + static_cast<std::ptrdiff_t>((taken + 1) % n));
    }
    return hull;
}

/// The outline of the marks, as commanded angles; a rectangle where it is one, which is quicker.
inline FieldOutline hull_of(std::vector<FieldMark> const& marks, MarkLattice const& lattice) {
    std::vector<PlanePoint> points;
    points.reserve(marks.size());
    for (auto const& m : marks)
        points.push_back(m.commanded);
    double const spacing = std::min(lattice.spacing[0], lattice.spacing[1]);
    auto hull = with_fewer_corners(convex_hull(std::move(points)), 0.05 * spacing);
    auto const &low = lattice.low, &high = lattice.high;
    bool rectangle = hull.size() == 4;
    for (auto const& corner : hull)
        for (std::size_t k = 0; k < 2; ++k)
            rectangle = rectangle && std::min(std::abs(corner[k] - low[k]), std::abs(corner[k] - high[k])) <=
                                         1e-12 * spacing;
    return rectangle ? rectangle_outline(high[0] - low[0], high[1] - low[1], OutlineIn::mirror_angles,
                                         {(low[0] + high[0]) / 2, (low[1] + high[1]) / 2})
                     : polygon_outline(std::move(hull), OutlineIn::mirror_angles);
}

/// Samples of the hull, three to a cell's side, and the marks' rectangle's edge.
inline std::vector<std::array<double, 2>> samples_in(FieldOutline const& hull, MarkLattice const& lattice,
                                                     SplineGrid const& grid) {
    std::vector<std::array<double, 2>> samples;
    std::size_t const along[] = {3 * grid.cells_u + 3, 3 * grid.cells_v + 3};
    for (std::size_t i = 0; i <= along[0]; ++i)
        for (std::size_t j = 0; j <= along[1]; ++j) {
            double const u = lattice.low[0] + (lattice.high[0] - lattice.low[0]) * static_cast<double>(i) /
                                                  static_cast<double>(along[0]);
            double const v = lattice.low[1] + (lattice.high[1] - lattice.low[1]) * static_cast<double>(j) /
                                                  static_cast<double>(along[1]);
            if (hull.share(u, v) >= -1e-9)
                samples.push_back({u, v});
        }
    return samples;
}

/// Refuses a hull that holds a place further than 1.75 spacings from every mark: more than 2 x 2 marks in a
/// row are missing there.
inline void check_holes(std::vector<FieldMark> const& marks, MarkLattice const& lattice,
                        FieldOutline const& hull) {
    for (std::size_t i = 0; i < 2 * lattice.count[0]; ++i)
        for (std::size_t j = 0; j < 2 * lattice.count[1]; ++j) {
            PlanePoint const p = {lattice.low[0] + lattice.spacing[0] * static_cast<double>(i) / 2,
                                  lattice.low[1] + lattice.spacing[1] * static_cast<double>(j) / 2};
            if (!(hull.share(p[0], p[1]) > 0))
                continue;
            FieldMark const* nearest = nullptr;
            double least = std::numeric_limits<double>::infinity();
            for (auto const& m : marks) {
                double const far = std::hypot((m.commanded[0] - p[0]) / lattice.spacing[0],
                                              (m.commanded[1] - p[1]) / lattice.spacing[1]);
                if (far < least) {
                    least = far;
                    nearest = &m;
                }
            }
            if (least > 1.75)
                throw BadInput("the marks of a field leave a hole near the command " + place_text(p) +
                               ": the nearest mark, row " + std::to_string(nearest->row) + ", is " +
                               text_of(least) + " spacings away; 1.75 are allowed");
        }
}

} // namespace seamhold::detail

#endif
