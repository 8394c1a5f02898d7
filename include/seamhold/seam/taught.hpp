#ifndef SEAMHOLD_SEAM_TAUGHT_HPP
#define SEAMHOLD_SEAM_TAUGHT_HPP

#include "seamhold/curve/spline.hpp"
#include "seamhold/seam/lay.hpp"
#include "seamhold/surface/surface.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

/// Seams through points that were taught on the part.
namespace seamhold {

namespace detail {

/// What is known of a path at one of its points: place, normal, and the curvature of the face across.
using LaidValues = std::array<double, LaidPath::components>;

/// The path of a C² spline through values at increasing parameters. Its normal is what the spline of the
/// normals becomes when it is made square to the tangent and unit. It runs on straight by `overrun`.
inline LaidPath splined_path(std::vector<double> const& parameters, std::vector<LaidValues> const& values,
                             double overrun) {
    using Piece = CubicPiece<LaidPath::components>;
    auto const spline = fit_spline<LaidPath::components>(parameters, values);
    std::size_t const n = spline.size();
    double const last_width = parameters[n] - parameters[n - 1];
    double const little = std::min(1e-7, last_width);
    // Each piece in a parameter of its own that is 0 at its start: overrun, the spline, a little more of its
    // last piece for the derivatives at the end, overrun.
    std::vector<Piece> pieces;
    std::vector<double> widths;
    auto const add = [&](Piece piece, double start, double width) {
        piece.start = start;
        pieces.push_back(piece);
        widths.push_back(width);
    };
    auto const straight_on = [](Piece const& from, double local, double back) {
        auto const p = from.at(Taylor<double, 1>::variable(from.start + local));
        Piece straight{};
        double speed = 0;
        for (std::size_t d = 0; d < 3; ++d)
            speed += sqr(p[d].derivative(1));
        for (std::size_t d = 0; d < p.size(); ++d) {
            double const slope = d < 3 ? p[d].derivative(1) / std::sqrt(speed) : 0;
            straight.coefficient[0][d] = p[d].value() - slope * back;
            straight.coefficient[1][d] = slope;
        }
        return straight;
    };
    add(straight_on(spline.front(), 0, overrun), 0, overrun);
    for (std::size_t i = 0; i < n; ++i)
        add(spline[i], 0, parameters[i + 1] - parameters[i]);
    add(spline.back(), -last_width, little);
    add(straight_on(spline.back(), last_width + little, 0), 0, overrun);

    LaidCurve const curve = [&](std::size_t stretch, double u) {
        auto const v = pieces[stretch].at(Taylor<double, 4>::variable(u));
        Point<Part, Taylor<double, 4>> const place{v[0], v[1], v[2]};
        TaylorDirection<3> const normal{to_order<3>(v[3]), to_order<3>(v[4]), to_order<3>(v[5])};
        return laid_components(place, normal, to_order<3>(v[6]));
    };
    auto made = by_arc_length<LaidPath::components, 3>(curve, widths);
    double const before = made.stretch_start[1];
    double const beyond = made.length() - made.stretch_start[n + 1];
    return path_of(std::move(made), before, beyond);
}

/// Throws BadInput, naming the points (from 1, as a person counts), unless all are finite and differ.
inline void check_taught(std::vector<Point<Part>> const& points) {
    if (points.size() < 2)
        throw BadInput("a seam through taught points needs two points or more; given were " +
                       std::to_string(points.size()));
    for (std::size_t i = 0; i < points.size(); ++i) {
        if (!is_finite(points[i]))
            throw BadInput("taught point " + std::to_string(i + 1) + " is not finite");
        if (i > 0 && !(norm(points[i] - points[i - 1]) > 1e-6))
            throw BadInput("taught points " + std::to_string(i) + " and " + std::to_string(i + 1) +
                           " are one place, " + text_in_millimetres(points[i]) +
                           ": they must be more than 0.001 mm apart");
    }
}

} // namespace detail

/// A smooth path through taught points (in the part frame, m), with a normal taught at each (of any length,
/// towards the head): a C² spline over the sum of chords, the normals likewise, made square to the path. Two
/// points give a straight line. How the face bends across is not known from a line of points: a weave moves
/// straight across. The path runs on straight by `overrun`, m. Throws BadInput, naming the points (from 1),
/// for fewer than two, for neighbours less than 0.001 mm apart, and for normals that are missing, zero, turn
/// by more than 90° from point to point, or lie along the path (within 10°).
inline LaidPath path_through(std::vector<Point<Part>> const& points,
                             std::vector<Direction<Part>> const& normals, double overrun = 2e-3) {
    detail::check_taught(points);
    if (normals.size() != points.size())
        throw BadInput(std::to_string(points.size()) + " taught points need as many normals; given were " +
                       std::to_string(normals.size()));
    std::vector<double> parameters{0};
    std::vector<detail::LaidValues> values;
    for (std::size_t i = 0; i < points.size(); ++i) {
        auto const point = [&](std::size_t k) {
            return "taught point " + std::to_string(k + 1) + " at " + detail::text_in_millimetres(points[k]);
        };
        double const length = norm(normals[i]);
        if (!(length > 0) || !is_finite(length))
            throw BadInput("the normal at " + point(i) + " has no direction");
        auto const n = 1 / length * normals[i];
        if (i > 0) {
            auto const& before = values[i - 1];
            double const along = n.x * before[3] + n.y * before[4] + n.z * before[5];
            if (!(along > 0))
                throw BadInput(
                    "the normals contradict each other: from taught point " + std::to_string(i) + " to " +
                    point(i) + " they turn by " +
                    detail::text_of(std::acos(std::clamp(along, -1.0, 1.0)) * 180 / std::numbers::pi) +
                    " degrees; 90 are allowed");
            parameters.push_back(parameters.back() + norm(points[i] - points[i - 1]));
        }
        auto const& p = points[i];
        std::size_t const from = i == 0 ? 0 : i - 1;
        auto const chord = unit(points[std::min(i + 1, points.size() - 1)] - points[from]);
        if (std::abs(dot(chord, n)) > 0.985)
            throw BadInput("the normal at " + point(i) + " lies along the path; it must stand on the face");
        values.push_back({p.x, p.y, p.z, n.x, n.y, n.z, 0});
    }
    return detail::splined_path(parameters, values, overrun);
}

/// The same with one direction towards the head for all points, which the path's normal comes as near to as
/// it can while it stays square to the path.
inline LaidPath path_through(std::vector<Point<Part>> const& points, Direction<Part> const& towards,
                             double overrun = 2e-3) {
    return path_through(points, std::vector<Direction<Part>>(points.size(), towards), overrun);
}

} // namespace seamhold

#endif
