#ifndef SEAMHOLD_LIMIT_BEAM_CONE_HPP
#define SEAMHOLD_LIMIT_BEAM_CONE_HPP

#include "seamhold/beam/caustic.hpp"
#include "seamhold/number/lift.hpp"
#include "seamhold/surface/closest_point.hpp"

#include <algorithm>
#include <cmath>
#include <span>
#include <string>

namespace seamhold {

/// The axis of the beam between the head and the work, in frame F.
template <class F, class T = double> struct BeamEnds {
    Point<F, T> head; ///< where it leaves the head (`Ray::origin`), m
    Point<F, T> spot; ///< where it ends on the seam, m
};

/// The same axis over another type of number.
template <class T, class F, class S> BeamEnds<F, T> number_cast(BeamEnds<F, S> const& ends) {
    return {number_cast<T>(ends.head), number_cast<T>(ends.spot)};
}

/// How wide the beam is between the head and the spot, and what must stay free around it. What is kept free
/// is the hull of two balls about the ends of the axis, each as large as the beam there and the clearance. It
/// contains the cone between the two discs that the beam fills at its ends, grown by the clearance; and any
/// envelope between whose radius along the axis is convex, as that of a caustic is.
struct BeamCone {
    double radius_at_head; ///< of all light that counts, where it leaves the head, m
    double radius_at_spot; ///< the same at the spot, m
    double clearance;      ///< what must stay free around the light, m

    /// The radius of the ball at the head, m.
    double kept_at_head() const { return radius_at_head + clearance; }
    /// Likewise at the spot.
    double kept_at_spot() const { return radius_at_spot + clearance; }
};

/// A cone as given, checked. Throws BadInput for radii or a clearance below 0, m, or where all are 0.
inline BeamCone checked(BeamCone const& cone) {
    auto const check = [](double x, char const* what) {
        if (!(x >= 0) || !(x <= detail::farthest_obstacle))
            throw BadInput(std::string(what) + " must be 0 to 1e6 mm; given was " +
                           detail::text_in_millimetres(x));
    };
    check(cone.radius_at_head, "the beam's radius at the head");
    check(cone.radius_at_spot, "the beam's radius at the spot");
    check(cone.clearance, "the clearance around the beam");
    if (!(cone.kept_at_head() + cone.kept_at_spot() > 0))
        throw BadInput("a beam without radius and clearance is a line, which nothing is said of: give its "
                       "radii in mm");
    return cone;
}

/// The cone of a caustic between two places along it, m: where it leaves the head, and the spot. `widths`
/// says how many beam radii count; outside of 1.5 is 1.1 % of the power of a Gaussian beam (1 − exp(−2
/// · 1.5²) is inside), outside of 2 it is 0.03 %. Throws BadInput for widths that are not above 0 and as
/// `checked`.
inline BeamCone beam_cone(Caustic<> const& caustic, double head_place, double spot_place, double clearance,
                          double widths = 1.5) {
    if (!(widths > 0) || !is_finite(widths))
        throw BadInput("how many beam radii count must be above 0; given was " + detail::text_of(widths));
    return checked(
        BeamCone{widths * caustic.radius(head_place), widths * caustic.radius(spot_place), clearance});
}

/// What a plane leaves free between a body and the two ends of the beam: both above 0 mean that the plane
/// separates them.
template <class T> struct PlaneGap {
    T at_head; ///< m
    T at_spot; ///< m
};

/// The room between a body and the beam along the direction n (from the beam to the body), times the length
/// of n: the least of n · p over the body less the most of it over each of the beam's two balls. Both above 0
/// prove that nothing of the beam touches the body, whatever n is: what lies on two sides of a plane does not
/// touch. For a unit n the lesser is a lower bound of the distance; the best n makes it the distance. The
/// body stands still in frame F and n is constant, so that it is smooth in time where the ends are. Over
/// intervals, rounding of n's length included, it holds for every exact place inside of the ends.
template <class T, class F, class Body>
PlaneGap<T> gap_along(Direction<F> const& n, Body const& body, BeamEnds<F, T> const& ends,
                      BeamCone const& cone) {
    using S = typename detail::BottomOf<T>::type;
    S const length = norm(number_cast<S>(n));
    S const border = least_along(n, length, body);
    auto const left = [&](Point<F, T> const& end, double radius) {
        S const free = border - length * (number_cast<S>(radius) + number_cast<S>(cone.clearance));
        return number_cast<T>(free) - (end.x * n.x + end.y * n.y + end.z * n.z);
    };
    return {left(ends.head, cone.radius_at_head), left(ends.spot, cone.radius_at_spot)};
}

/// How far the beam passes a body.
template <class F> struct SightGap {
    double gap;          ///< m; below 0 the beam reaches into the body by at least this much
    Direction<F> normal; ///< unit, from the beam to the body: of the plane that separates them best
    Point<F> place;      ///< the point of the body that is nearest to the beam, or where its axis goes in, m
    double share;        ///< where along the axis: 0 at the head, 1 at the spot
};

namespace detail {

/// The beam's ball at one place of its axis against the hull of points.
template <class F> struct AxisGap {
    double share;
    double gap;   ///< without the body's own radius, m
    double slope; ///< of the gap by the share, m
    ClosestPoint<F> closest;
    Point<F> place;
};

template <class F>
AxisGap<F> axis_gap(BeamEnds<F> const& ends, BeamCone const& cone, std::span<Point<F> const> points,
                    double share) {
    auto const way = ends.spot - ends.head;
    double const narrows = cone.kept_at_spot() - cone.kept_at_head();
    auto const place = ends.head + share * way;
    auto const closest = closest_point(points, place);
    double const inverse = closest.distance > 0 ? 1 / closest.distance : 0;
    return {share, closest.distance - (cone.kept_at_head() + share * narrows),
            inverse * dot(place - closest.point, way) - narrows, closest, place};
}

/// The least of the gap along the axis. A distance to a convex body is a convex function of the place, so the
/// slope grows: its root is bracketed and found by the false position with halved ends (Illinois).
template <class F>
AxisGap<F> least_axis_gap(BeamEnds<F> const& ends, BeamCone const& cone, std::span<Point<F> const> points) {
    auto const at = [&](double share) { return axis_gap(ends, cone, points, share); };
    auto low = at(0);
    if (!(low.slope < 0) || low.closest.distance == 0)
        return low;
    auto high = at(1);
    if (!(high.slope > 0) || high.closest.distance == 0)
        return high;
    double low_slope = low.slope, high_slope = high.slope;
    double const tolerance = 1e-14 * (norm(ends.spot - ends.head) + low.closest.distance);
    auto best = low.gap < high.gap ? low : high;
    int kept = 0; // how often in a row the high end (above 0) or the low end (below 0) was kept
    for (int step = 0; step < 100; ++step) {
        double const width = high.share - low.share;
        double const share = step % 4 == 3 ? low.share + 0.5 * width
                                           : low.share + width * (low_slope / (low_slope - high_slope));
        if (!(share > low.share) || !(share < high.share))
            break;
        auto const middle = at(share);
        if (middle.closest.distance == 0 || std::abs(middle.slope) <= tolerance)
            return middle;
        if (middle.gap < best.gap)
            best = middle;
        bool const rises = middle.slope > 0;
        (rises ? high : low) = middle;
        (rises ? high_slope : low_slope) = middle.slope;
        kept = rises ? std::min(kept, 0) - 1 : std::max(kept, 0) + 1;
        if (std::abs(kept) > 1)
            (rises ? low_slope : high_slope) *= 0.5;
    }
    return best;
}

/// A unit vector across another; across x where there is none.
template <class F> Direction<F> across(Direction<F> const& d) {
    bool const along_x = std::abs(d.x) > std::abs(d.y);
    auto const side = cross(d, Direction<F>{along_x ? 0.0 : 1.0, along_x ? 1.0 : 0.0, 0.0});
    return squared_norm(side) > 0 ? unit(side) : Direction<F>{0, 0, 1};
}

} // namespace detail

/// How far the beam passes a body on plain numbers: the distance between them within 1e-12 of their reach
/// where it is above 0. Below 0 the beam reaches the body; how deep is not found exactly where the axis
/// itself goes through, and the normal then is one across the beam. Ends that are not finite give a gap that
/// is neither above nor below 0.
template <class F>
SightGap<F> sight_gap(BeamEnds<F> const& ends, BeamCone const& cone, ConvexView<F> const& body) {
    auto const best = detail::least_axis_gap(ends, cone, body.points);
    auto const to_body = best.closest.point - best.place;
    auto const normal = squared_norm(to_body) > 0 ? unit(to_body) : detail::across(ends.spot - ends.head);
    SightGap<F> result{best.gap - body.radius, normal, best.closest.point - body.radius * normal, best.share};
    if (best.closest.distance <= body.radius) {
        // The axis itself goes in: where, from the head on.
        double outside = 0, inside = best.share;
        for (int step = 0; step < 60; ++step) {
            double const share = outside + 0.5 * (inside - outside);
            auto const there = detail::axis_gap(ends, cone, body.points, share);
            (there.closest.distance <= body.radius ? inside : outside) = share;
        }
        result.place = ends.head + inside * (ends.spot - ends.head);
        result.share = inside;
    }
    return result;
}

} // namespace seamhold

#endif
