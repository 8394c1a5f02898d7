#ifndef SEAMHOLD_FOLLOW_TEACH_HPP
#define SEAMHOLD_FOLLOW_TEACH_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/head/scan_head.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

/// Points taught with the pilot beam: someone steers its spot onto the work, and from the robot's pose and
/// the head's command follows where it is.
namespace seamhold {

/// The pilot beam in frame F, from a pose and a command.
template <class F> struct PilotRay {
    Point<F> origin;        ///< where it leaves the head, m
    Direction<F> direction; ///< unit
    double focus_distance;  ///< from `origin` to the focus along the beam, m
};

/// Where a pilot beam meets a surface.
struct TaughtPoint {
    Point<Part> position;   ///< m
    Direction<Part> normal; ///< of the surface there, unit, towards the head
    double x;               ///< in the flattened face, m
    double y;               ///< in the flattened face, m
    double distance;        ///< from where the beam leaves the head, m
    double cosine;          ///< of the angle of incidence; 1 is perpendicular
};

/// Where pilot beams that were steered onto one mark meet, and how well they do.
template <class F> struct CrossedPoint {
    Point<F> position;            ///< the place with the least sum of squared distances from the beams, m
    std::vector<double> distance; ///< of each beam from it, m
    double rms;                   ///< root of the mean squared distance, m
    double worst;                 ///< the largest distance, m
    std::size_t worst_ray;        ///< whose it is, from 0
    double angle;                 ///< the largest between two beams, rad, at most a quarter turn
};

/// The pilot beam that a command makes, in frame F, where the head stands as `frame_from_head`: for a robot
/// and a resting part `inverse(cell_from_part) * cell_from_flange * flange_from_head`. Any `ScanHead`. Taken
/// as if the pilot beam ran where the process light runs. Throws BadInput, naming the axis, for a command
/// beyond the head's ranges (by more than a billionth of rad or m), and for a number that is not finite.
template <class F, ScanHead HeadModel>
PilotRay<F> pilot_ray(Pose<F, Head> const& frame_from_head, HeadModel const& head, Command<> const& command) {
    auto const check = [](char const* name, double value, Range const& range) {
        if (!(range.clearance(value) >= -1e-9)) // also for a NaN
            throw BadInput("a taught " + std::string(name) + " of " + detail::text_of(value) +
                           " is beyond the head's range from " + detail::text_of(range.low) + " to " +
                           detail::text_of(range.high));
    };
    auto const ranges = head.ranges();
    check("x mirror (rad)", command.x_mirror, ranges.x_mirror);
    check("y mirror (rad)", command.y_mirror, ranges.y_mirror);
    check("focus (m)", command.focus, ranges.focus);
    auto const ray = value_of(head.ray(command));
    PilotRay<F> const result{frame_from_head * ray.origin, frame_from_head * ray.direction,
                             ray.focus_path - ray.path};
    if (!is_finite(result.origin) || !is_finite(norm(result.direction)) || !is_finite(result.focus_distance))
        throw BadInput("a taught pose or its head gives a beam that is not finite");
    return result;
}

/// Where the focus of a pilot beam is: the taught point if its spot was focused sharp on the work. Across the
/// beam as good as the pose; along it only as good as sharpness can be judged, a good part of a Rayleigh
/// length. Throws BadInput if the focus is not in front of the head.
template <class F> Point<F> focus_of(PilotRay<F> const& ray) {
    if (!(ray.focus_distance > 0))
        throw BadInput("the focus is " + detail::text_of(in_millimetres(ray.focus_distance)) +
                       " mm from where the beam leaves the head; it must be in front of it");
    return ray.origin + ray.focus_distance * ray.direction;
}

/// Where a pilot beam meets a surface: anything whose `at(x, y)` gives position and normal. Newton's method
/// from (start_x, start_y), m in the flattened face, with derivatives by differences over a micrometre and
/// steps halved as long as they lead away; exact to rounding where it ends. On a curved surface that the beam
/// meets several times it is the place that the start leads to: start near. Throws BadInput, saying by how
/// much it missed, if no place was found; and if the beam meets the back, grazes the face (less than about
/// half a degree), or runs away from it. What the surface throws beyond its edge goes through.
template <class Surface>
TaughtPoint meet(PilotRay<Part> const& ray, Surface const& surface, double start_x = 0, double start_y = 0) {
    // Two directions across the beam: the point is met where both parts of the offset vanish.
    auto const& d = ray.direction;
    Direction<Part> const least = std::abs(d.x) < 0.6   ? Direction<Part>{1, 0, 0}
                                  : std::abs(d.y) < 0.6 ? Direction<Part>{0, 1, 0}
                                                        : Direction<Part>{0, 0, 1};
    auto const across = unit(cross(d, least));
    auto const aside = cross(d, across);
    auto const position_at = [&surface](double x, double y) { return surface.at(x, y).position; };

    double x = start_x, y = start_y;
    auto offset = position_at(x, y) - ray.origin;
    double miss = std::hypot(dot(across, offset), dot(aside, offset));
    for (int step = 0; step < 100; ++step) {
        double const h = micrometres(1);
        auto const by_x = 1 / h * (position_at(x + h, y) - ray.origin - offset);
        auto const by_y = 1 / h * (position_at(x, y + h) - ray.origin - offset);
        double const f = dot(across, offset), g = dot(aside, offset);
        double const f_x = dot(across, by_x), f_y = dot(across, by_y);
        double const g_x = dot(aside, by_x), g_y = dot(aside, by_y);
        double const determinant = f_x * g_y - f_y * g_x;
        double dx = (g * f_y - f * g_y) / determinant, dy = (f * g_x - g * f_x) / determinant;
        if (!is_finite(dx) || !is_finite(dy))
            break;
        bool nearer = false;
        for (int halved = 0; !nearer && halved < 30; ++halved, dx *= 0.5, dy *= 0.5) {
            auto const there = position_at(x + dx, y + dy) - ray.origin;
            double const left = std::hypot(dot(across, there), dot(aside, there));
            if (left < miss) {
                nearer = true;
                x += dx;
                y += dy;
                offset = there;
                miss = left;
            }
        }
        if (!nearer)
            break;
    }
    if (!(miss <= 1e-9))
        throw BadInput("the pilot beam does not meet the surface: started at (" +
                       detail::text_of(in_millimetres(start_x)) + ", " +
                       detail::text_of(in_millimetres(start_y)) + ") mm it passes by " +
                       detail::text_of(in_millimetres(miss)) + " mm");
    auto const found = surface.at(x, y);
    TaughtPoint const point{found.position, found.normal, x, y, dot(d, offset), -dot(d, found.normal)};
    if (!(point.distance > 0))
        throw BadInput("the surface lies " + detail::text_of(in_millimetres(-point.distance)) +
                       " mm behind the place where the pilot beam leaves the head");
    if (!(point.cosine >= 0.01))
        throw BadInput(
            "the pilot beam meets the surface's back or grazes it: the cosine of the incidence is " +
            detail::text_of(point.cosine) + "; it must be 0.01 or more");
    return point;
}

namespace detail {

/// The solution of a symmetric system given by its rows, by Cramer's rule.
template <class F>
Direction<F> solved(Direction<F> const& a, Direction<F> const& b, Direction<F> const& c,
                    Direction<F> const& right) {
    auto const bc = cross(b, c), ca = cross(c, a), ab = cross(a, b);
    return 1 / dot(a, bc) * (right.x * bc + right.y * ca + right.z * ab);
}

} // namespace detail

/// Where pilot beams meet that were steered onto one mark from two or more poses: least squares of the
/// distances, every beam alike. An error e across a beam becomes about e / sin(angle) along it: twelvefold at
/// 5°. Two beams show only the part of an error that is perpendicular to both; a third from beside shows the
/// rest. Exact to rounding, which 1 / sin² of the angle makes larger. Throws BadInput for fewer than two
/// beams, for beams of which no two cross at `least_angle`, rad, saying at which angle they do and by how
/// much they miss each other, and, naming it, for a beam that would meet the others behind its head.
template <class F>
CrossedPoint<F> crossing_of(std::vector<PilotRay<F>> const& rays, double least_angle = degrees(5)) {
    if (rays.size() < 2)
        throw BadInput("a mark needs at least 2 beams, " + std::to_string(rays.size()) + " given");
    CrossedPoint<F> crossed{{}, {}, 0, 0, 0, 0};
    std::pair<std::size_t, std::size_t> widest{0, 1};
    for (std::size_t i = 0; i < rays.size(); ++i) {
        if (!is_finite(rays[i].origin) || !is_finite(norm(rays[i].direction)))
            throw BadInput("beam " + std::to_string(i + 1) + " is not finite");
        for (std::size_t k = 0; k < i; ++k) {
            double const angle = std::atan2(norm(cross(rays[i].direction, rays[k].direction)),
                                            std::abs(dot(rays[i].direction, rays[k].direction)));
            if (angle > crossed.angle) {
                crossed.angle = angle;
                widest = {k, i};
            }
        }
    }
    if (!(crossed.angle >= least_angle)) {
        auto const& one = rays[widest.first];
        auto const& other = rays[widest.second];
        auto const between = other.origin - one.origin;
        throw BadInput("the beams are nearly parallel: beams " + std::to_string(widest.first + 1) + " and " +
                       std::to_string(widest.second + 1) + " cross at " +
                       detail::text_of(in_degrees(crossed.angle)) + " degrees, " +
                       detail::text_of(in_millimetres(norm(cross(one.direction, between)))) +
                       " mm apart at the head of the latter; at least " +
                       detail::text_of(in_degrees(least_angle)) + " degrees are needed");
    }

    // Σ (1 − d dᵀ) (position − origin) = 0, counted from the first beam's origin.
    Direction<F> a{0, 0, 0}, b{0, 0, 0}, c{0, 0, 0}, right{0, 0, 0};
    for (auto const& ray : rays) {
        auto const& d = ray.direction;
        a = a + (Direction<F>{1, 0, 0} - d.x * d);
        b = b + (Direction<F>{0, 1, 0} - d.y * d);
        c = c + (Direction<F>{0, 0, 1} - d.z * d);
        auto const to_origin = ray.origin - rays[0].origin;
        right = right + (to_origin - dot(d, to_origin) * d);
    }
    crossed.position = rays[0].origin + detail::solved(a, b, c, right);

    double squares = 0;
    for (std::size_t i = 0; i < rays.size(); ++i) {
        auto const offset = crossed.position - rays[i].origin;
        double const along = dot(offset, rays[i].direction);
        if (!(along > 0))
            throw BadInput("beam " + std::to_string(i + 1) + " would meet the others " +
                           detail::text_of(in_millimetres(-along)) + " mm behind its head");
        double const distance = norm(offset - along * rays[i].direction);
        squares += sqr(distance);
        crossed.distance.push_back(distance);
        if (distance > crossed.worst) {
            crossed.worst = distance;
            crossed.worst_ray = i;
        }
    }
    crossed.rms = std::sqrt(squares / static_cast<double>(rays.size()));
    return crossed;
}

} // namespace seamhold

#endif
