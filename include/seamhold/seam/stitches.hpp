#ifndef SEAMHOLD_SEAM_STITCHES_HPP
#define SEAMHOLD_SEAM_STITCHES_HPP

#include "seamhold/seam/drawn_shape.hpp"
#include "seamhold/seam/rounded_corners.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <initializer_list>
#include <numbers>
#include <span>
#include <string>
#include <utility>
#include <variant>
#include <vector>

/// Stitches of straight pieces and arcs, with the dimensions that a drawing gives, m and rad. Each lies about
/// the face's origin, with its length along x; `moved` puts it in its place, `reversed` and `mirrored` turn
/// its travel.
namespace seamhold {

namespace detail {

inline CurvePiece cut(CurvePiece const& piece, double from, double to) {
    CurvePiece r{{}, to - from};
    for (std::size_t d = 0; d < 2; ++d)
        r.polynomial.coefficient[d] = expanded<7>(piece.polynomial.coefficient[d], from);
    return r;
}
inline Straight<> cut(Straight<> const& piece, double from, double to) {
    auto const start = piece.at(from);
    return {start.x, start.y, piece.direction_x, piece.direction_y, to - from};
}
inline Arc<> cut(Arc<> const& piece, double from, double to) {
    double const per_length = piece.turn / piece.length();
    return {piece.center_x, piece.center_y, piece.radius, piece.start_angle + from * per_length,
            (to - from) * per_length};
}

} // namespace detail

/// The part of a shape from one arc length to another, m. Throws BadInput unless 0 ≤ from < to ≤ length.
inline DrawnShape part_of(DrawnShape const& shape, double from, double to) {
    double const slack = 1e-12 * shape.length();
    if (!(from >= -slack && to <= shape.length() + slack && to - from > slack))
        throw BadInput("a part of a shape from " + detail::text_of(from * 1e3) + " to " +
                       detail::text_of(to * 1e3) + " mm: the shape runs from 0 to " +
                       detail::text_of(shape.length() * 1e3) + " mm");
    auto const breaks = shape.breaks();
    std::vector<DrawnShape::Piece> kept;
    for (std::size_t i = 0; i < shape.pieces().size(); ++i) {
        double const start = i == 0 ? 0 : breaks[i - 1];
        std::visit(
            [&](auto const& piece) {
                double const low = std::max(from - start, 0.0);
                double const high = std::min(to - start, piece.length());
                if (high - low > slack)
                    kept.emplace_back(detail::cut(piece, low, high));
            },
            shape.pieces()[i]);
    }
    return DrawnShape(std::move(kept));
}

/// A closed shape that runs on over its own start for `overlap` m, so that the weld's end lies on its start.
/// Throws BadInput for an overlap below 0 or beyond the length, and for a shape whose end is not its start.
inline DrawnShape with_overlap(DrawnShape const& closed, double overlap) {
    detail::check_range("a closed shape", "overlap", overlap, 0, closed.length());
    auto const start = closed.at(0.0);
    auto const end = closed.at(closed.length());
    double const gap = std::hypot(end.x - start.x, end.y - start.y);
    if (!(gap <= 1e-9 * closed.length()))
        throw BadInput("a shape that ends " + detail::text_of(gap * 1e3) +
                       " mm from its start cannot overlap: it is not closed");
    if (overlap <= 1e-12 * closed.length())
        return closed;
    return closed.joined(part_of(closed, 0, std::min(overlap, closed.length())));
}

/// A ring: the circle of a diameter about the origin, counter-clockwise from `start_angle` (rad, from x), and
/// beyond its start by `overlap` m along the circle. Throws BadInput unless the diameter is above 0 and the
/// overlap is from 0 to one turn.
inline DrawnShape ring(double diameter, double overlap = 0, double start_angle = 0) {
    detail::check_dimension("a ring", "diameter", diameter);
    detail::check_range("a ring", "overlap", overlap, 0, std::numbers::pi * diameter);
    return arc_around({0, 0}, diameter / 2, start_angle, 2 * std::numbers::pi + 2 * overlap / diameter);
}

/// A C: the circle of a diameter about the origin without an opening towards +x, that is as wide, m, straight
/// from end to end. Travelled as the letter is written: from the upper end, counter-clockwise. An opening of
/// one diameter leaves half a circle; flatter ones are an `arc_around`. Throws BadInput beyond that.
inline DrawnShape c_stitch(double diameter, double opening) {
    detail::check_dimension("a C", "diameter", diameter);
    detail::check_dimension("a C", "opening", opening);
    detail::check_range("a C", "opening", opening, 0, diameter);
    double const half = std::asin(std::min(opening / diameter, 1.0));
    return arc_around({0, 0}, diameter / 2, half, 2 * (std::numbers::pi - half));
}

/// A staple: a back of a length along x, its middle at the origin, and two legs towards +y, with rounded
/// corners. Both are measured as if the corners were sharp. Travelled down the left leg, along the back and
/// up the right one. A radius of 0 leaves corners. Throws BadInput, naming what is allowed, for a radius
/// above the leg or above half the back.
inline DrawnShape staple(double back, double leg, double corner_radius) {
    detail::check_dimension("a staple", "back", back);
    detail::check_dimension("a staple", "leg", leg);
    detail::check_range("a staple", "corner radius", corner_radius, 0, std::min(leg, back / 2));
    FacePoint const points[] = {{-back / 2, leg}, {-back / 2, 0}, {back / 2, 0}, {back / 2, leg}};
    return DrawnShape(detail::RoundedCorners("a staple", points, corner_radius, false).pieces());
}

/// An S lying along x: two arcs of one diameter, the left one above the x axis at its middle and the right
/// one below, that meet at the origin without a corner; each turns through `turn` rad (half a circle each
/// where it is π). Travelled from left to right. Throws BadInput unless the diameter is above 0 and the turn
/// is above 0 and below 2π, where each bow would close.
inline DrawnShape s_stitch(double diameter, double turn = std::numbers::pi) {
    detail::check_dimension("an S", "diameter", diameter);
    if (!(turn > 0 && turn < 2 * std::numbers::pi))
        throw BadInput("an S: each of its bows must turn by more than 0 and less than 360 degrees; given "
                       "was " +
                       detail::text_of(turn * 180 / std::numbers::pi));
    double const r = diameter / 2;
    return DrawnShape({Arc<>{-r, 0, r, turn, -turn}, Arc<>{r, 0, r, std::numbers::pi, turn}});
}

/// A slot: two straight sides along x, joined by half circles, `length` and `width` over all, its middle at
/// the origin. Counter-clockwise from the middle of its lower side, and on over its start by `overlap` m.
/// Throws BadInput unless 0 < width < length and the overlap is from 0 to one round.
inline DrawnShape slot(double length, double width, double overlap = 0) {
    detail::check_dimension("a slot", "length", length);
    detail::check_dimension("a slot", "width", width);
    double const half = (length - width) / 2, r = width / 2;
    if (!(half > 1e-9 * length))
        throw BadInput("a slot must be longer than wide; given were " + detail::text_of(length * 1e3) +
                       " and " + detail::text_of(width * 1e3) + " mm");
    double const pi = std::numbers::pi;
    DrawnShape const once({Straight<>{0, -r, 1, 0, half}, Arc<>{half, 0, r, -pi / 2, pi},
                           Straight<>{half, r, -1, 0, 2 * half}, Arc<>{-half, 0, r, pi / 2, pi},
                           Straight<>{-half, -r, 1, 0, half}});
    return with_overlap(once, overlap);
}

/// Straight legs from point to point, every corner rounded to one radius, m; 0 leaves corners. Throws
/// BadInput for fewer than two points, two neighbours in one place (by number, from 0), and for a radius
/// that the legs of a corner do not allow, naming the corner and what they do.
inline DrawnShape polyline(std::span<FacePoint const> points, double corner_radius = 0) {
    return DrawnShape(detail::RoundedCorners("a polyline", points, corner_radius, false).pieces());
}

/// The same from points written in braces.
inline DrawnShape polyline(std::initializer_list<FacePoint> points, double corner_radius = 0) {
    return polyline(std::span<FacePoint const>(points.begin(), points.size()), corner_radius);
}

/// A closed line: straight legs from point to point and from the last back to the first, corners rounded as
/// in `polyline`. It starts and ends in the middle of its first leg's straight part and runs on over its
/// start by `overlap` m. Throws BadInput for fewer than three points and as `polyline` does.
inline DrawnShape closed_polyline(std::span<FacePoint const> points, double corner_radius = 0,
                                  double overlap = 0) {
    detail::RoundedCorners const corners("a closed polyline", points, corner_radius, true);
    return with_overlap(DrawnShape(corners.pieces()), overlap);
}

/// The same from points written in braces.
inline DrawnShape closed_polyline(std::initializer_list<FacePoint> points, double corner_radius = 0,
                                  double overlap = 0) {
    return closed_polyline(std::span<FacePoint const>(points.begin(), points.size()), corner_radius, overlap);
}

} // namespace seamhold

#endif
