#ifndef SEAMHOLD_SEAM_CURVES_HPP
#define SEAMHOLD_SEAM_CURVES_HPP

#include "seamhold/curve/arc_length.hpp"
#include "seamhold/curve/spline.hpp"
#include "seamhold/seam/stitches.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <functional>
#include <initializer_list>
#include <numbers>
#include <span>
#include <string>
#include <utility>
#include <vector>

/// Shapes whose length has no simple form (or one that cannot be turned round): worked out at set-up, stored
/// by arc length. Dimensions as in `stitches.hpp`.
namespace seamhold {

namespace detail {

/// A curve's parameter with its own derivatives.
using CurveParameter = Taylor<double, 3>;

/// A curve in the plane by its stretch and the parameter there. One type for all, so that what is made of it
/// is compiled once.
using PlaneCurve = std::function<CurveExpansion<2>(std::size_t, double)>;

/// The shape of a curve in the plane, of stretches (see `by_arc_length`).
inline DrawnShape shape_of(PlaneCurve const& curve, std::vector<double> const& widths) {
    auto const made = by_arc_length<2, 2>(curve, widths);
    std::vector<DrawnShape::Piece> pieces;
    pieces.reserve(made.piece.size());
    for (std::size_t i = 0; i < made.piece.size(); ++i)
        pieces.emplace_back(CurvePiece{made.piece[i], made.start[i + 1] - made.start[i]});
    return DrawnShape(std::move(pieces));
}

/// A whole cut into stretches of one width; the last may be narrower.
inline std::vector<double> equal_widths(double whole, double width) {
    auto const full = static_cast<std::size_t>(whole / width * (1 + 1e-12));
    std::vector<double> widths(full, width);
    double const rest = whole - static_cast<double>(full) * width;
    if (rest > 1e-9 * width)
        widths.push_back(rest);
    return widths;
}

/// The cubic spline through points, piece i from point i to the next, with the distances of neighbours as its
/// parameter.
struct TaughtSpline {
    std::vector<CubicPiece<2>> pieces;
    std::vector<double> widths;

    TaughtSpline(char const* shape, std::span<FacePoint const> points, std::size_t first_number = 0,
                 std::size_t modulus = 0) {
        auto const number = [&](std::size_t i) {
            std::size_t const n = i + first_number;
            return "point " + std::to_string(modulus ? n % modulus : n);
        };
        std::vector<double> places{0};
        std::vector<std::array<double, 2>> values;
        for (std::size_t i = 0; i < points.size(); ++i) {
            if (!is_finite(points[i].x) || !is_finite(points[i].y))
                throw BadInput(std::string(shape) + ": " + number(i) + " is not finite");
            values.push_back({points[i].x, points[i].y});
            if (i == 0)
                continue;
            widths.push_back(std::hypot(points[i].x - points[i - 1].x, points[i].y - points[i - 1].y));
            places.push_back(places.back() + widths.back());
        }
        for (std::size_t i = 0; i < widths.size(); ++i)
            if (!(widths[i] * static_cast<double>(widths.size()) > 1e-6 * places.back()))
                throw BadInput(std::string(shape) + ": " + number(i) + " and " + number(i + 1) + " at " +
                               text_of_mm({points[i].x, points[i].y}) + " are one place, taught twice");
        pieces = fit_spline<2>(places, values);
        for (auto& piece : pieces)
            piece.start = 0; // each by its own parameter: a long way would take digits from a short piece
    }

    std::array<CurveParameter, 2> at(std::size_t i, double u) const {
        return pieces[i].at(CurveParameter::variable(u));
    }
};

} // namespace detail

/// A sine wave along x, from the origin: y = amplitude · sin(2πx / pitch), `length` m long as measured along
/// x (a number of pitches times the pitch). To the left of x first; `mirrored` swings to the right first.
/// Throws BadInput where a dimension is not above 0, and where the wave is too tight: its least radius of
/// curvature, pitch² / (4π² amplitude), is below `least_radius`. That limit is 0.1 mm unless given: at about
/// a focused spot's radius a swing melts into a lump (common practice, no source).
inline DrawnShape wave(double pitch, double amplitude, double length, double least_radius = 1e-4) {
    detail::check_dimension("a wave", "pitch", pitch);
    detail::check_dimension("a wave", "amplitude", amplitude);
    detail::check_dimension("a wave", "length", length);
    double const rate = 2 * std::numbers::pi / pitch;
    double const radius = 1 / (rate * rate * amplitude);
    if (!(radius >= least_radius))
        throw BadInput(
            "a wave of " + detail::text_of(pitch * 1e3) + " mm pitch and " +
            detail::text_of(amplitude * 1e3) + " mm amplitude is too tight: at its crests, the first at " +
            detail::text_of(pitch / 4 * 1e3) + " mm, its radius is " + detail::text_of(radius * 1e3) +
            " mm, and " + detail::text_of(least_radius * 1e3) + " mm or more is allowed: an amplitude of " +
            detail::text_of(1e3 / (rate * rate * least_radius)) + " mm at most");
    // Half a pitch a stretch: from one crossing of the axis to the next.
    auto const curve = [=](std::size_t i, double u) {
        auto const along = detail::CurveParameter::variable(u);
        double const side = i % 2 == 0 ? amplitude : -amplitude;
        return std::array<detail::CurveParameter, 2>{along + static_cast<double>(i) * (pitch / 2),
                                                     sin_cos(along * rate).sin * side};
    };
    return detail::shape_of(curve, detail::equal_widths(length, pitch / 2));
}

/// An Archimedean spiral about the origin, outwards and counter-clockwise: from `inner_radius` (0 or above)
/// at `start_angle` (rad, from x) to `outer_radius`, growing by `pitch` m a turn. Throws BadInput unless 0 ≤
/// inner radius < outer radius and the pitch is above 0.
inline DrawnShape spiral_out(double inner_radius, double outer_radius, double pitch, double start_angle = 0) {
    detail::check_dimension("a spiral", "pitch", pitch);
    detail::check_dimension("a spiral", "outer radius", outer_radius);
    detail::check_range("a spiral", "inner radius", inner_radius, 0, outer_radius);
    if (!(inner_radius < outer_radius) || !is_finite(start_angle))
        throw BadInput("a spiral's inner radius must be below its outer radius; both are " +
                       detail::text_of(outer_radius * 1e3) + " mm");
    double const turn = 2 * std::numbers::pi;
    auto const curve = [=](std::size_t i, double u) { // one turn a stretch
        auto const angle = detail::CurveParameter::variable(u);
        auto const radius = angle * (pitch / turn) + (inner_radius + pitch * static_cast<double>(i));
        auto const both = sin_cos(angle + start_angle);
        return std::array<detail::CurveParameter, 2>{radius * both.cos, radius * both.sin};
    };
    double const whole = (outer_radius - inner_radius) / pitch * turn;
    return detail::shape_of(curve, detail::equal_widths(whole, turn));
}

/// The same spiral travelled inwards: it starts where `spiral_out` ends. Throws as that does.
inline DrawnShape spiral_in(double inner_radius, double outer_radius, double pitch, double start_angle = 0) {
    return spiral_out(inner_radius, outer_radius, pitch, start_angle).reversed();
}

/// An ellipse about the origin, `length` over all along x and `width` along y: counter-clockwise from its end
/// on +x, and on over its start by `overlap` m. Throws BadInput unless length and width are above 0 and the
/// overlap is from 0 to one round.
inline DrawnShape ellipse(double length, double width, double overlap = 0) {
    detail::check_dimension("an ellipse", "length", length);
    detail::check_dimension("an ellipse", "width", width);
    auto const curve = [=](std::size_t i, double u) { // a quarter a stretch, so that cos and sin are exact
        auto const both = sin_cos(detail::CurveParameter::variable(u));
        std::array<detail::CurveParameter, 2> p{both.cos, both.sin};
        for (std::size_t k = 0; k < i; ++k)
            p = {-p[1], p[0]};
        return std::array<detail::CurveParameter, 2>{p[0] * (length / 2), p[1] * (width / 2)};
    };
    std::vector<double> const quarters(4, std::numbers::pi / 2);
    return with_overlap(detail::shape_of(curve, quarters), overlap);
}

/// A smooth curve through taught points, in their order: position, tangent and curvature have no jump (a
/// cubic spline by the distances of neighbours, ends not-a-knot, see `fit_spline`). Two points make a
/// straight line. Throws BadInput for fewer than two points, two neighbours in one place (closer than a
/// millionth of the mean distance), by number from 0, and where the curve would turn back on the spot.
inline DrawnShape smooth_curve(std::span<FacePoint const> points) {
    if (points.size() < 2)
        throw BadInput("a smooth curve needs two points or more; given were " +
                       std::to_string(points.size()));
    detail::TaughtSpline const spline("a smooth curve", points);
    if (points.size() == 2)
        return straight_between(points[0], points[1]);
    auto const curve = [&spline](std::size_t i, double u) { return spline.at(i, u); };
    return detail::shape_of(curve, spline.widths);
}

/// The same from points written in braces.
inline DrawnShape smooth_curve(std::initializer_list<FacePoint> points) {
    return smooth_curve(std::span<FacePoint const>(points.begin(), points.size()));
}

/// A closed smooth curve through taught points, from the first through the last back to the first, smooth
/// there too; on over its start by `overlap` m. Throws BadInput for fewer than three points, and as
/// `smooth_curve` does.
inline DrawnShape smooth_loop(std::span<FacePoint const> points, double overlap = 0) {
    std::size_t const n = points.size();
    if (n < 3)
        throw BadInput("a smooth loop needs three points or more; given were " + std::to_string(n));
    // The points are gone round so often before and after that the ends are not felt: the sway of a spline's
    // end falls to less than half from point to point (C. de Boor, chapter IV), 2⁻⁶⁰ here.
    std::size_t const rounds = 60 / n + 1, before = rounds * n;
    std::vector<FacePoint> all;
    for (std::size_t k = 0; k < 2 * rounds + 1; ++k)
        all.insert(all.end(), points.begin(), points.end());
    all.push_back(points[0]);
    detail::TaughtSpline const spline("a smooth loop", all, 0, n);
    auto const curve = [&](std::size_t i, double u) { return spline.at(before + i, u); };
    std::vector<double> const widths(spline.widths.begin() + static_cast<std::ptrdiff_t>(before),
                                     spline.widths.begin() + static_cast<std::ptrdiff_t>(before + n));
    return with_overlap(detail::shape_of(curve, widths), overlap);
}

/// The same from points written in braces.
inline DrawnShape smooth_loop(std::initializer_list<FacePoint> points, double overlap = 0) {
    return smooth_loop(std::span<FacePoint const>(points.begin(), points.size()), overlap);
}

/// A shape from a curve of your own: `curve(u)`, a template over its number, returns {x, y}, m, as an
/// `std::array` of two; u runs from the first of `places` to the last, increasing. It is smooth between
/// neighbours of `places` and may have a corner or a jump of curvature at those in between. Throws BadInput
/// where it stands still, is not finite or has a corner elsewhere, naming the stretch and the parameter from
/// its start.
template <class Curve> DrawnShape curve_shape(Curve const& curve, std::vector<double> const& places) {
    std::vector<double> widths;
    for (std::size_t i = 0; i + 1 < places.size(); ++i) {
        widths.push_back(places[i + 1] - places[i]);
        if (!(widths.back() > 0) || !is_finite(widths.back()))
            throw BadInput("a curve's parameter must increase; given were " + detail::text_of(places[i]) +
                           " and then " + detail::text_of(places[i + 1]));
    }
    // At a place in between, a bit to the side that is asked for: a curve of several formulas has another
    // beyond.
    std::vector<double> first = places, last = places;
    for (std::size_t i = 1; i + 1 < places.size(); ++i) {
        first[i] = std::nextafter(places[i], places[i + 1]);
        last[i] = std::nextafter(places[i], places[i - 1]);
    }
    auto const local = [&](std::size_t i, double u) -> std::array<detail::CurveParameter, 2> {
        return curve(detail::CurveParameter::variable(std::clamp(places[i] + u, first[i], last[i + 1])));
    };
    return detail::shape_of(local, widths);
}

/// The same for a curve that is smooth from one parameter to another.
template <class Curve> DrawnShape curve_shape(Curve const& curve, double from, double to) {
    return curve_shape(curve, std::vector<double>{from, to});
}

} // namespace seamhold

#endif
