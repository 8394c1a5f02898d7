#ifndef SEAMHOLD_LIMIT_LINE_OF_SIGHT_HPP
#define SEAMHOLD_LIMIT_LINE_OF_SIGHT_HPP

#include "seamhold/limit/beam_cone.hpp"
#include "seamhold/limit/halving.hpp"
#include "seamhold/limit/verdict.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/surface/obstacle.hpp"

#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

/// Whether the beam reaches its seam past clamps and fixture. The part itself is no obstacle, and what lies
/// behind the face that is welded must not be given as one.
namespace seamhold {

namespace detail {

/// Whether the plane across n is proven to separate the beam from a body all the time.
template <class F, class Body>
bool separates(Direction<F> const& n, Body const& body, BeamEnds<F, Interval> const& beam,
               BeamCone const& cone, TimeSpan const& /*stretch*/) {
    auto const gap = gap_along(n, body, beam, cone);
    return gap.at_head.low > 0 && gap.at_spot.low > 0;
}
template <class F, class Body, int N>
bool separates(Direction<F> const& n, Body const& body,
               Expansion<BeamEnds<F, Taylor<Interval, N>>> const& beam, BeamCone const& cone,
               TimeSpan const& stretch) {
    auto const middle = gap_along(n, body, beam.at_middle, cone);
    auto const over = gap_along(n, body, beam.over, cone);
    return enclosed<0>(middle.at_head, over.at_head, stretch).range().low > 0 &&
           enclosed<0>(middle.at_spot, over.at_spot, stretch).range().low > 0;
}

/// A direction from the beam to a box, of unit length or 0: from the axis at its nearest to the middle, to
/// the nearest of the box, and back once; beside the beam it leans as the cone's side does. Any direction is
/// sound; this one is good where the box is small.
template <class F>
Direction<F> towards(BoundingBox<F> const& box, BeamEnds<F> const& ends, BeamCone const& cone) {
    auto const way = ends.spot - ends.head;
    double const squared = squared_norm(way);
    auto const share_at = [&](Point<F> const& p) {
        double const share = squared > 0 ? dot(p - ends.head, way) / squared : 0;
        return share < 0 ? 0.0 : share > 1 ? 1.0 : share;
    };
    auto const in_box = box.nearest(ends.head + share_at(box.middle()) * way);
    double const share = share_at(in_box);
    auto const n = in_box - (ends.head + share * way);
    double const length = norm(n), narrows = cone.kept_at_head() - cone.kept_at_spot();
    if (!(length > 0))
        return {0, 0, 0};
    double const cosine_squared = 1 - narrows * narrows / squared;
    if (!(share > 0) || !(share < 1) || !(cosine_squared > 0))
        return (1 / length) * n;
    return (std::sqrt(cosine_squared) / length) * n + (narrows / squared) * way;
}

/// Calls see(shape's number) for the shapes of an obstacle that may be nearer to the beam than `least`, m,
/// which see may lower; the nearer of two knots first.
template <class F, class See>
void visit_nearest(Obstacle<F> const& obstacle, BeamEnds<F> const& ends, BeamCone const& cone,
                   std::size_t knot, double const& least, See const& see) {
    if (obstacle.is_leaf(knot)) {
        see(obstacle.shape_at(knot));
        return;
    }
    auto const bound = [&](std::size_t below) {
        auto const n = towards(obstacle.box(below), ends, cone);
        auto const gap = gap_along<double>(n, obstacle.box(below), ends, cone);
        double const lesser = gap.at_head < gap.at_spot ? gap.at_head : gap.at_spot;
        return squared_norm(n) > 0 ? lesser : -std::numeric_limits<double>::infinity();
    };
    std::size_t const first = obstacle.first_below(knot), second = obstacle.second_below(knot);
    double const to_first = bound(first), to_second = bound(second);
    bool const in_order = !(to_second < to_first);
    // What is not a number is looked at.
    if (!((in_order ? to_first : to_second) > least))
        visit_nearest(obstacle, ends, cone, in_order ? first : second, least, see);
    if (!((in_order ? to_second : to_first) > least))
        visit_nearest(obstacle, ends, cone, in_order ? second : first, least, see);
}

} // namespace detail

/// The obstacle that the beam passes most closely.
template <class F> struct NearestObstacle {
    std::size_t obstacle; ///< its number in the list, counted from 0; the list's length where that is empty
    SightGap<F> sight;    ///< infinite gap where the list is empty
};

/// Of all obstacles the one that the beam passes most closely at one moment, on plain numbers; see
/// `sight_gap`. Ends that are not finite give the list's length and a gap that is not a number.
template <class F>
NearestObstacle<F> nearest_obstacle(std::vector<Obstacle<F>> const& obstacles, BeamEnds<F> const& ends,
                                    BeamCone const& cone) {
    bool const known = is_finite(ends.head) && is_finite(ends.spot);
    double least = known ? std::numeric_limits<double>::infinity() : std::numeric_limits<double>::quiet_NaN();
    NearestObstacle<F> nearest{obstacles.size(), {least, {0, 0, 0}, ends.spot, 1}};
    for (std::size_t i = 0; i < obstacles.size() && known; ++i)
        detail::visit_nearest(obstacles[i], ends, cone, 0, least, [&](std::size_t shape) {
            auto const sight = sight_gap(ends, cone, obstacles[i].shape(shape));
            if (sight.gap < least) {
                least = sight.gap;
                nearest = {i, sight};
            }
        });
    return nearest;
}

/// What was found of the line of sight over a stretch of time.
template <class F> struct LineOfSight {
    Verdict verdict;
    std::size_t obstacle; ///< which it is that the beam reaches or may reach, counted from 0
    std::string name;     ///< its name; "" where all are passed
    double time;          ///< when, s
    double gap;           ///< at that moment on plain numbers, m; below 0 it is reached
    Point<F> place;       ///< the place of the obstacle that is reached, or is nearest, m
    std::size_t pieces;   ///< of the stretch, that were looked at
};

/// Whether the beam passes all obstacles at every moment from `first` to `last`, s. `at(double)` gives the
/// ends of the beam at a moment as `BeamEnds<F>`; `enclose(Interval)` gives numbers that contain
/// them at every moment of a stretch: plain, as `BeamEnds<F, Interval>`, or, for far fewer pieces,
/// `expanded`. `within` is proven: at each moment a plane separates the beam with its clearance from each
/// shape. `exceeds` names a moment at which it reaches one, on plain numbers; that is a moment, not the
/// first. Where beam and obstacle only touch it stays `undecided`, with the place. Throws BadInput for a cone
/// as `checked` does, and unless first ≤ last.
template <class F, class At, class Enclose>
LineOfSight<F> line_of_sight(std::vector<Obstacle<F>> const& obstacles, BeamCone const& cone, double first,
                             double last, At const& at, Enclose const& enclose,
                             HalvingBudget const& budget = {}) {
    (void)checked(cone);
    detail::check_stretch(first, last);
    struct Knot {
        std::uint32_t obstacle, knot;
    };
    struct Left {
        double first, last;
        std::vector<Knot> left; // not proven yet; the last is looked at first
    };
    Left whole{first, last, {}};
    for (std::size_t i = obstacles.size(); i-- > 0;)
        whole.left.push_back({static_cast<std::uint32_t>(i), 0});
    LineOfSight<F> result{Verdict::within, obstacles.size(), "", first, 0, {0, 0, 0}, 0};
    auto const note = [&](std::size_t obstacle, double time, SightGap<F> const& sight) {
        result.obstacle = obstacle;
        result.time = time;
        result.gap = sight.gap;
        result.place = sight.place;
    };

    auto const prove = [&](Left& stretch) {
        if (stretch.left.empty())
            return detail::Outcome::proven;
        TimeSpan const span{stretch.first, stretch.last};
        double const time = span.middle();
        BeamEnds<F> const ends = at(time);
        auto const nearest = nearest_obstacle(obstacles, ends, cone);
        if (nearest.sight.gap < 0) {
            note(nearest.obstacle, time, nearest.sight);
            return detail::Outcome::refuted;
        }
        auto const all = enclose(Interval(stretch.first, stretch.last));
        while (!stretch.left.empty()) {
            auto const [number, knot] = stretch.left.back();
            auto const& obstacle = obstacles[number];
            auto const& box = obstacle.box(knot);
            // The plane that clears what is nearest mostly clears the rest of it, too, for longest.
            bool proven = detail::separates(nearest.sight.normal, box, all, cone, span) ||
                          detail::separates(detail::towards(box, ends, cone), box, all, cone, span);
            if (!proven && !obstacle.is_leaf(knot)) {
                stretch.left.back().knot = static_cast<std::uint32_t>(obstacle.second_below(knot));
                stretch.left.push_back({number, static_cast<std::uint32_t>(obstacle.first_below(knot))});
                continue;
            }
            if (!proven) {
                auto const shape = obstacle.shape(obstacle.shape_at(knot));
                auto const sight = sight_gap(ends, cone, shape);
                proven = detail::separates(nearest.sight.normal, shape, all, cone, span) ||
                         detail::separates(sight.normal, shape, all, cone, span);
                if (!proven) {
                    note(number, time, sight);
                    return detail::Outcome::open;
                }
            }
            stretch.left.pop_back();
        }
        return detail::Outcome::proven;
    };
    bool reached_beside = false;
    auto const halve = [&](Left& stretch, Left& second) {
        double const middle = TimeSpan{stretch.first, stretch.last}.middle();
        if (!(stretch.last - stretch.first > budget.shortest) || !(middle > stretch.first) ||
            !(middle < stretch.last)) {
            for (double const time : detail::moments_around({stretch.first, stretch.last}, {first, last})) {
                auto const nearest = nearest_obstacle(obstacles, BeamEnds<F>(at(time)), cone);
                if (nearest.sight.gap < 0) {
                    note(nearest.obstacle, time, nearest.sight);
                    reached_beside = true;
                }
            }
            return false;
        }
        stretch.last = middle;
        second.first = middle;
        return true;
    };
    auto const halving = detail::by_halves(std::move(whole), budget.pieces, prove, halve);
    result.pieces = halving.pieces;
    if (halving.outcome == detail::Outcome::proven)
        return {Verdict::within, obstacles.size(), "", first, 0, {0, 0, 0}, halving.pieces};
    bool const reached = reached_beside || halving.outcome == detail::Outcome::refuted;
    result.verdict = reached ? Verdict::exceeds : Verdict::undecided;
    if (result.obstacle < obstacles.size())
        result.name = obstacles[result.obstacle].name();
    return result;
}

} // namespace seamhold

#endif
