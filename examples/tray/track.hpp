// Lines on a flat drawing by the way along them: straight pieces and arcs in closed form, other curves by the
// length that a quadrature adds up.
#ifndef TRAY_TRACK_HPP
#define TRAY_TRACK_HPP

#include "space.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <functional>
#include <vector>

namespace tray {

/// A place on a face and the unit direction of travel there; metres.
struct Place {
    double x, y, tx, ty;
};

/// A piece of a line and the place after a way along it; metres.
struct Piece {
    double length;
    std::function<Place(double)> at;
};

/// A line: pieces one after the other. Before its start and after its end the outer pieces run on.
struct Track {
    std::vector<Piece> pieces;

    double length() const {
        double sum = 0;
        for (Piece const& piece : pieces)
            sum += piece.length;
        return sum;
    }
    Place at(double way) const {
        std::size_t i = 0;
        while (i + 1 < pieces.size() && way > pieces[i].length)
            way -= pieces[i++].length;
        return pieces[i].at(way);
    }
};

// ---- Pieces. Arguments as on a drawing: millimetres and degrees. ----

inline Piece straight(double from_x, double from_y, double to_x, double to_y) {
    double const length = 0.001 * std::hypot(to_x - from_x, to_y - from_y);
    double const tx = 0.001 * (to_x - from_x) / length;
    double const ty = 0.001 * (to_y - from_y) / length;
    return {length, [=](double way) {
                return Place{0.001 * from_x + way * tx, 0.001 * from_y + way * ty, tx, ty};
            }};
}

/// An arc; it turns counter-clockwise where `turn_degrees` is positive. A full circle turns by 360.
inline Piece arc(double center_x, double center_y, double radius_mm, double start_degrees,
                 double turn_degrees) {
    double const radius = 0.001 * radius_mm;
    double const hand = turn_degrees < 0 ? -1 : 1;
    return {radius * std::abs(radians(turn_degrees)), [=](double way) {
                double const angle = radians(start_degrees) + hand * way / radius;
                return Place{0.001 * center_x + radius * std::cos(angle),
                             0.001 * center_y + radius * std::sin(angle), -hand * std::sin(angle),
                             hand * std::cos(angle)};
            }};
}

/// A point on which the light is held.
inline Piece still(double x, double y) {
    return {0, [=](double) { return Place{0.001 * x, 0.001 * y, 1, 0}; }};
}

/// A curve's point at its parameter and its rate of change by it, millimetres.
struct CurvePoint {
    double x, y, dx, dy;
};

/// A curve from one parameter to another. Its way is added up by Gauss's rule of five points over 256 equal
/// steps of the parameter; a way is turned back into the parameter by Newton's rule from the step that it
/// ends in.
class Curve {
public:
    using Formula = std::function<CurvePoint(double)>;

    Curve(Formula formula, double from, double to) : formula_(std::move(formula)), from_(from) {
        step_ = (to - from) / static_cast<double>(steps);
        ways_.push_back(0);
        for (std::size_t i = 0; i < steps; ++i)
            ways_.push_back(ways_.back() + way_between(parameter(i), parameter(i + 1)));
    }
    double length() const { return ways_.back(); }
    Place operator()(double way) const {
        auto const after = std::upper_bound(ways_.begin() + 1, ways_.end() - 1, way);
        auto const i = static_cast<std::size_t>(after - ways_.begin()) - 1;
        double u = parameter(i) + step_ * (way - ways_[i]) / (ways_[i + 1] - ways_[i]);
        for (int round = 0; round < 4; ++round) // two are enough; the parts of a step are smooth
            u -= (ways_[i] + way_between(parameter(i), u) - way) / speed(u);
        CurvePoint const p = formula_(u);
        double const rate = std::hypot(p.dx, p.dy);
        return {0.001 * p.x, 0.001 * p.y, p.dx / rate, p.dy / rate};
    }

private:
    static constexpr std::size_t steps = 256;

    double parameter(std::size_t i) const { return from_ + step_ * static_cast<double>(i); }
    double speed(double u) const {
        CurvePoint const p = formula_(u);
        return 0.001 * std::hypot(p.dx, p.dy);
    }
    double way_between(double a, double b) const {
        static double const near = std::sqrt(5 - 2 * std::sqrt(10.0 / 7)) / 3;
        static double const far = std::sqrt(5 + 2 * std::sqrt(10.0 / 7)) / 3;
        static double const weight_near = (322 + 13 * std::sqrt(70.0)) / 900;
        static double const weight_far = (322 - 13 * std::sqrt(70.0)) / 900;
        double const middle = (a + b) / 2;
        double const half = (b - a) / 2;
        return half * (128.0 / 225 * speed(middle) +
                       weight_near * (speed(middle - near * half) + speed(middle + near * half)) +
                       weight_far * (speed(middle - far * half) + speed(middle + far * half)));
    }

    Formula formula_;
    double from_, step_ = 0;
    std::vector<double> ways_;
};

inline Piece curve(Curve::Formula formula, double from, double to) {
    Curve const made(std::move(formula), from, to);
    return {made.length(), made};
}

// ---- Where a line lies. ----

/// The line turned about the drawing's origin, then moved; millimetres and degrees.
inline Track placed(Track const& track, double x, double y, double turn_degrees = 0) {
    double const c = std::cos(radians(turn_degrees));
    double const s = std::sin(radians(turn_degrees));
    Track moved;
    for (Piece const& piece : track.pieces) {
        moved.pieces.push_back({piece.length, [=](double way) {
                                    Place const p = piece.at(way);
                                    return Place{0.001 * x + c * p.x - s * p.y, 0.001 * y + s * p.x + c * p.y,
                                                 c * p.tx - s * p.ty, s * p.tx + c * p.ty};
                                }});
    }
    return moved;
}

/// The line travelled from its end to its start.
inline Track backwards(Track const& track) {
    Track back;
    for (Piece const& piece : track.pieces) {
        back.pieces.push_back({piece.length, [=](double way) {
                                   Place const p = piece.at(piece.length - way);
                                   return Place{p.x, p.y, -p.tx, -p.ty};
                               }});
    }
    std::reverse(back.pieces.begin(), back.pieces.end());
    return back;
}

} // namespace tray

#endif
