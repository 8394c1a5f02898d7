// The shapes of the tray's third job as a drawing dimensions them, in the cell's own formulas. Each lies
// about the drawing's origin; millimetres and degrees.
#ifndef TRAY_STITCHES_HPP
#define TRAY_STITCHES_HPP

#include "track.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

namespace tray {

/// An open circle; the gap on the right is `opening` wide. From its upper end, counter-clockwise.
inline Track c_shape(double diameter, double opening) {
    double const half_gap = std::asin(opening / diameter) * 180 / pi;
    return {{arc(0, 0, diameter / 2, half_gap, 360 - 2 * half_gap)}};
}

/// A back with two legs up, as if its corners were sharp; they are rounded. Down the left leg, up the right
/// one.
inline Track staple_shape(double back, double leg, double radius) {
    double const side = back / 2;
    return {{straight(-side, leg, -side, radius), arc(-side + radius, radius, radius, 180, 90),
             straight(-side + radius, 0, side - radius, 0), arc(side - radius, radius, radius, -90, 90),
             straight(side, radius, side, leg)}};
}

/// Two arcs that meet at the origin: over the left one, under the right one.
inline Track s_shape(double diameter, double bow_degrees) {
    double const r = diameter / 2;
    return {{arc(-r, 0, r, bow_degrees, -bow_degrees), arc(r, 0, r, 180, bow_degrees)}};
}

/// Two sides and two half circles, counter-clockwise from the middle of the lower side and `overlap` beyond.
inline Track slot_shape(double length, double width, double overlap) {
    double const half = (length - width) / 2;
    double const r = width / 2;
    return {{straight(0, -r, half, -r), arc(half, 0, r, -90, 180), straight(half, r, -half, r),
             arc(-half, 0, r, 90, 180), straight(-half, -r, overlap, -r)}};
}

/// y = amplitude sin(2 pi x / pitch).
inline Track wave_shape(double pitch, double amplitude, double length) {
    double const k = 2 * pi / pitch;
    return {{curve(
        [=](double x) {
            return CurvePoint{x, amplitude * std::sin(k * x), 1, amplitude * k * std::cos(k * x)};
        },
        0, length)}};
}

/// r = inner + pitch angle / (2 pi), counter-clockwise and outwards from the x axis.
inline Track spiral_shape(double inner, double outer, double pitch) {
    double const a = pitch / (2 * pi);
    return {{curve(
        [=](double angle) {
            double const r = inner + a * angle;
            double const c = std::cos(angle);
            double const s = std::sin(angle);
            return CurvePoint{r * c, r * s, a * c - r * s, a * s + r * c};
        },
        0, (outer - inner) / a)}};
}

/// Counter-clockwise from its end on the right, once round and `overlap` beyond along the curve.
inline Track ellipse_shape(double length, double width, double overlap) {
    double const a = length / 2;
    double const b = width / 2;
    Piece round = curve(
        [=](double u) {
            return CurvePoint{a * std::cos(u), b * std::sin(u), -a * std::sin(u), b * std::cos(u)};
        },
        0, 2 * pi);
    Piece more = round;
    more.length = 0.001 * overlap;
    return {{std::move(round), std::move(more)}};
}

using Points = std::vector<std::array<double, 2>>;

/// From point to point, corners rounded by arcs that touch both legs: each takes radius tan(turn/2) from
/// them.
inline Track rounded_shape(Points const& points, double radius) {
    Track track;
    std::array<double, 2> from = points[0];
    for (std::size_t i = 1; i < points.size(); ++i) {
        auto const [x, y] = points[i];
        if (i + 1 == points.size() || radius == 0) {
            track.pieces.push_back(straight(from[0], from[1], x, y));
            from = points[i];
            continue;
        }
        double const in = std::atan2(y - points[i - 1][1], x - points[i - 1][0]);
        double const out = std::atan2(points[i + 1][1] - y, points[i + 1][0] - x);
        double const turn = std::remainder(out - in, 2 * pi);
        double const cut = radius * std::tan(std::abs(turn) / 2);
        double const hand = turn < 0 ? -1 : 1;
        double const x1 = x - cut * std::cos(in);
        double const y1 = y - cut * std::sin(in);
        track.pieces.push_back(straight(from[0], from[1], x1, y1));
        // The center lies a radius to the side that the line turns to.
        double const in_degrees = in * 180 / pi;
        track.pieces.push_back(arc(x1 - hand * radius * std::sin(in), y1 + hand * radius * std::cos(in),
                                   radius, in_degrees - hand * 90, turn * 180 / pi));
        from = {x + cut * std::cos(out), y + cut * std::sin(out)};
    }
    return track;
}

/// Second derivatives of the cubic spline through values at increasing places whose third derivative does not
/// jump at the second place and the last but one ("not a knot"): all its conditions at once, by Gauss's
/// elimination.
inline std::vector<double> second_derivatives(std::vector<double> const& u, std::vector<double> const& y) {
    std::size_t const n = u.size();
    std::vector<std::vector<double>> rows(n, std::vector<double>(n + 1, 0.0));
    auto const h = [&](std::size_t i) { return u[i + 1] - u[i]; };
    for (std::size_t i = 1; i + 1 < n; ++i) {
        rows[i][i - 1] = h(i - 1);
        rows[i][i] = 2 * (h(i - 1) + h(i));
        rows[i][i + 1] = h(i);
        rows[i][n] = 6 * ((y[i + 1] - y[i]) / h(i) - (y[i] - y[i - 1]) / h(i - 1));
    }
    for (auto const& [row, i] : {std::pair<std::size_t, std::size_t>{0, 1}, {n - 1, n - 2}}) {
        rows[row][i - 1] = h(i);
        rows[row][i] = -(h(i - 1) + h(i));
        rows[row][i + 1] = h(i - 1);
    }
    for (std::size_t i = 0; i < n; ++i) {
        std::size_t largest = i;
        for (std::size_t k = i; k < n; ++k)
            largest = std::abs(rows[k][i]) > std::abs(rows[largest][i]) ? k : largest;
        std::swap(rows[i], rows[largest]);
        for (std::size_t k = 0; k < n; ++k) {
            double const share = k == i ? 0 : rows[k][i] / rows[i][i];
            for (std::size_t j = i; j <= n && k != i; ++j)
                rows[k][j] -= share * rows[i][j];
        }
    }
    std::vector<double> second(n);
    for (std::size_t i = 0; i < n; ++i)
        second[i] = rows[i][n] / rows[i][i];
    return second;
}

/// The smooth curve through points, its parameter the sum of the distances from point to point.
inline Track smooth_shape(Points const& points) {
    std::vector<double> u{0}, x, y;
    for (std::size_t i = 0; i < points.size(); ++i) {
        x.push_back(points[i][0]);
        y.push_back(points[i][1]);
        if (i > 0)
            u.push_back(u.back() + std::hypot(x[i] - x[i - 1], y[i] - y[i - 1]));
    }
    auto const x2 = second_derivatives(u, x);
    auto const y2 = second_derivatives(u, y);
    Track track;
    for (std::size_t i = 0; i + 1 < u.size(); ++i) {
        double const h = u[i + 1] - u[i];
        track.pieces.push_back(curve(
            [=](double v) {
                double const b = v / h;
                double const a = 1 - b;
                auto const value = [&](auto const& f, auto const& f2) {
                    return a * f[i] + b * f[i + 1] +
                           ((a * a * a - a) * f2[i] + (b * b * b - b) * f2[i + 1]) * h * h / 6;
                };
                auto const rate = [&](auto const& f, auto const& f2) {
                    return (f[i + 1] - f[i]) / h +
                           ((1 - 3 * a * a) * f2[i] + (3 * b * b - 1) * f2[i + 1]) * h / 6;
                };
                return CurvePoint{value(x, x2), value(y, y2), rate(x, x2), rate(y, y2)};
            },
            0, h));
    }
    return track;
}

} // namespace tray

#endif
