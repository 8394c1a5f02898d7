#ifndef SEAMHOLD_FRAME_FIT_HPP
#define SEAMHOLD_FRAME_FIT_HPP

#include "seamhold/frame/eigen.hpp"
#include "seamhold/number/units.hpp"

#include <cmath>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

/// Where a frame stands, from points that were touched.
namespace seamhold {

/// A place that is known in one frame and was touched in the other.
template <class To, class From> struct TouchedPoint {
    Point<From> known; ///< from the drawing, m
    Point<To> touched; ///< with a tip of the robot, or taught with the pilot beam, m
};

/// A pose fitted to touched points, and how well they agree with it.
template <class To, class From> struct FittedPose {
    Pose<To, From> pose;
    std::vector<Direction<To>> residuals; ///< touched − pose · known, point by point, m
    double rms;                           ///< root of the mean squared length of the residuals, m
    double worst;                         ///< length of the longest residual, m
    std::size_t worst_point;              ///< its place in the list, from 0
};

namespace detail {

/// A point as a message shows it.
template <class F> std::string text_of(Point<F> const& p) { return text_of_mm({p.x, p.y, p.z}); }

/// The distance of p from the line through a and b, which must not coincide, m.
template <class F> double distance_from_line(Point<F> const& p, Point<F> const& a, Point<F> const& b) {
    return norm(cross(unit(b - a), p - a));
}

/// Throws BadInput unless the points stand apart and beside a line by `least_width`, naming those that do
/// not. `name_of(i)` says which point number i is.
template <class F, class NameOf>
void check_spread(std::vector<Point<F>> const& points, double least_width, NameOf const& name_of) {
    for (std::size_t i = 0; i < points.size(); ++i)
        if (!is_finite(points[i]))
            throw BadInput(name_of(i) + " " + text_of(points[i]) + " is not finite");
    auto const farthest = [&points](auto const& distance) {
        std::size_t at = 0;
        for (std::size_t i = 1; i < points.size(); ++i)
            if (distance(points[i]) > distance(points[at]))
                at = i;
        return at;
    };
    // The farthest from any point, and the farthest from that: at least half as far apart as any two.
    auto const from = [&points](std::size_t i) {
        return [&points, i](Point<F> const& p) { return norm(p - points[i]); };
    };
    std::size_t const a = farthest(from(0));
    std::size_t const b = farthest(from(a));
    double const length = norm(points[a] - points[b]);
    std::string const needed = "; at least " + text_of(in_millimetres(least_width)) + " mm are needed";
    if (!(length >= least_width))
        throw BadInput("all points coincide: " + name_of(a) + " " + text_of(points[a]) + " and " +
                       name_of(b) + " are only " + text_of(in_millimetres(length)) + " mm apart" + needed);
    auto const aside = [&](Point<F> const& p) { return distance_from_line(p, points[a], points[b]); };
    std::size_t const c = farthest(aside);
    if (!(aside(points[c]) >= least_width))
        throw BadInput("all points lie on one line: of the line through " + name_of(a) + " " +
                       text_of(points[a]) + " and " + name_of(b) + " " + text_of(points[b]) +
                       " the farthest, " + name_of(c) + " " + text_of(points[c]) + ", is only " +
                       text_of(in_millimetres(aside(points[c]))) + " mm off" + needed);
}

} // namespace detail

/// The frame From whose origin, a point of whose x axis (on its positive side) and a point of whose xy plane
/// (where y is positive) were touched in To; exact to rounding. Throws BadInput naming the points that
/// coincide or lie on one line within `least_width`, m. A touch that is off by d tilts the frame about its x
/// axis by about d / (distance of the third point from that axis): touch far apart.
template <class To, class From>
Pose<To, From> pose_through(Point<To> const& origin, Point<To> const& on_x_axis, Point<To> const& on_y_side,
                            double least_width = millimetres(1)) {
    for (auto const& [name, point] :
         {std::pair{"origin", origin}, std::pair{"point on the x axis", on_x_axis},
          std::pair{"point on the y side", on_y_side}})
        if (!is_finite(point))
            throw BadInput("the touched " + std::string(name) + " is not finite");
    auto const needed = "; at least " + detail::text_of(in_millimetres(least_width)) + " mm are needed";
    auto const x_axis = on_x_axis - origin;
    if (!(norm(x_axis) >= least_width))
        throw BadInput("the touched origin " + detail::text_of(origin) + " and the point on the x axis " +
                       detail::text_of(on_x_axis) + " coincide: they are only " +
                       detail::text_of(in_millimetres(norm(x_axis))) + " mm apart" + needed);
    auto const x = unit(x_axis);
    auto const aside = cross(x, on_y_side - origin);
    if (!(norm(aside) >= least_width))
        throw BadInput("the touched origin, the point on the x axis and the point on the y side " +
                       detail::text_of(on_y_side) + " lie on one line: the last is only " +
                       detail::text_of(in_millimetres(norm(aside))) + " mm off the x axis" + needed);
    auto const z = unit(aside);
    auto const y = cross(z, x);
    return {{{{x.x, y.x, z.x}, {x.y, y.y, z.y}, {x.z, y.z, z.z}}}, origin};
}

/// The pose that brings the known points nearest to the touched ones: least squares, no stretching, every
/// point counts alike. With three points rms and worst say little, as nearly every error finds a pose; take
/// four or more. A place may be touched several times; it then counts so often. Throws BadInput for fewer
/// than three points, for one that is not finite, and, naming them, if the known or the touched ones coincide
/// or lie on one line within `least_width`, m.
/// Points whose numbers were mixed up do not throw: they show as large residuals.
/// Source: S. Umeyama, IEEE PAMI 13(4), 1991, with scale 1 (from memory); checked against Eigen's.
template <class To, class From>
FittedPose<To, From> fit_pose(std::vector<TouchedPoint<To, From>> const& points,
                              double least_width = millimetres(1)) {
    if (points.size() < 3)
        throw BadInput("a pose needs at least 3 touched points, " + std::to_string(points.size()) + " given");
    std::vector<Point<From>> known;
    std::vector<Point<To>> touched;
    for (auto const& point : points) {
        known.push_back(point.known);
        touched.push_back(point.touched);
    }
    auto const numbered = [](std::string const& kind) {
        return [kind](std::size_t i) { return kind + " point " + std::to_string(i + 1); };
    };
    detail::check_spread(known, least_width, numbered("known"));
    detail::check_spread(touched, least_width, numbered("touched"));

    auto const middle_of = [](auto const& list) {
        auto sum = list[0] - list[0];
        for (auto const& p : list)
            sum = sum + (p - list[0]); // about the first: a part far off loses no digits
        return list[0] + 1.0 / static_cast<double>(list.size()) * sum;
    };
    auto const known_middle = middle_of(known);
    auto const touched_middle = middle_of(touched);
    Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
    for (auto const& point : points)
        sum += as_vector(point.touched - touched_middle) * as_vector(point.known - known_middle).transpose();
    auto const rotation = fit_to_matrix<To, From>(sum).rotation;
    auto const shift = rotation * Direction<From>{known_middle.x, known_middle.y, known_middle.z};

    FittedPose<To, From> fitted{{rotation, touched_middle - shift}, {}, 0, 0, 0};
    double squares = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        fitted.residuals.push_back(touched[i] - fitted.pose * known[i]);
        double const length = norm(fitted.residuals[i]);
        squares += sqr(length);
        if (length > fitted.worst) {
            fitted.worst = length;
            fitted.worst_point = i;
        }
    }
    fitted.rms = std::sqrt(squares / static_cast<double>(points.size()));
    return fitted;
}

} // namespace seamhold

#endif
