#ifndef SEAMHOLD_LIMIT_GUARDED_DIRECTIONS_HPP
#define SEAMHOLD_LIMIT_GUARDED_DIRECTIONS_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/limit/halving.hpp"
#include "seamhold/limit/verdict.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/lift.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <utility>
#include <vector>

/// Where the beam may point: if the part is missing, or the light goes past its edge, what stands beyond is
/// to be a guard. Guards are designed and approved by those who are responsible for them, under local rules;
/// IEC 60825-4 is titled "Laser guards". This check does not replace them, is no safety function, and says
/// nothing of reflected light.
namespace seamhold {

/// Directions in the cell that a guard stands behind: all within an angle of an axis.
struct GuardedCone {
    std::string name;
    Direction<Cell> axis; ///< any length but 0; the light goes along it
    double half_angle;    ///< between 0° and 90°, rad
};

/// How far inside of a cone a unit vector points, as a cosine times the length of the cone's axis: direction
/// · axis − |axis| cos(half angle), at or above 0 inside. Smooth where the direction is.
template <class T> T guarded_clearance(GuardedCone const& cone, Direction<Cell, T> const& direction) {
    using std::cos;
    using S = typename detail::BottomOf<T>::type;
    S const border = norm(number_cast<S>(cone.axis)) * cos(number_cast<S>(cone.half_angle));
    return direction.x * cone.axis.x + direction.y * cone.axis.y + direction.z * cone.axis.z -
           number_cast<T>(border);
}

/// The guarded directions of a cell: a direction is guarded if it lies in at least one of the cones.
class GuardedDirections {
public:
    /// From cones, whose axes become unit vectors. Throws BadInput, with the cone's name, where there is no
    /// cone, an axis is zero or not finite, or a half angle is not between 0° and 90°.
    explicit GuardedDirections(std::vector<GuardedCone> cones) : cones_(std::move(cones)) {
        if (cones_.empty())
            throw BadInput("guarded directions need at least one cone");
        for (auto& cone : cones_) {
            double const length = norm(cone.axis);
            if (!(length > 1e-100) || !is_finite(length))
                throw BadInput("guarded cone \"" + cone.name + "\": the axis (" +
                               detail::text_of(cone.axis.x) + ", " + detail::text_of(cone.axis.y) + ", " +
                               detail::text_of(cone.axis.z) + ") has no direction");
            cone.axis = unit(cone.axis);
            if (!(cone.half_angle > 0) || !(cone.half_angle < degrees(90)))
                throw BadInput("guarded cone \"" + cone.name +
                               "\": the half angle must lie between 0° and 90°; given was " +
                               detail::text_of(in_degrees(cone.half_angle)) + "°");
        }
    }

    /// The cones.
    std::vector<GuardedCone> const& cones() const { return cones_; }

    /// The cone that a direction is deepest in, or least far out of, and by how much it is out, rad; below 0
    /// inside.
    struct Nearest {
        std::size_t cone;
        double outside;
    };
    /// As said; a direction that is not finite gives an infinite angle.
    Nearest nearest(Direction<Cell> const& direction) const {
        Nearest found{0, std::numeric_limits<double>::infinity()};
        for (std::size_t i = 0; i < cones_.size(); ++i) {
            auto const& axis = cones_[i].axis;
            double const outside =
                std::atan2(norm(cross(axis, direction)), dot(axis, direction)) - cones_[i].half_angle;
            if (outside < found.outside)
                found = {i, outside};
        }
        return found;
    }

private:
    std::vector<GuardedCone> cones_;
};

/// What was found of the directions of a beam.
struct Guarded {
    Verdict verdict;
    double time;               ///< when it leaves the cones or may leave them, s
    Command<> command;         ///< the command then, where mirrors were free to move; otherwise zeros
    Direction<Cell> direction; ///< of the beam then, on plain numbers
    std::size_t cone;          ///< the number of the nearest cone, counted from 0
    double outside;            ///< how far outside of it, rad; below 0 inside
    std::size_t pieces;        ///< that were looked at
};

namespace detail {

/// Whether one of the cones is proven to hold every direction, all the time; `likely` is looked at first.
inline bool hold(GuardedCone const& cone, Direction<Cell, Interval> const& direction,
                 TimeSpan const& /*stretch*/) {
    return guarded_clearance(cone, direction).low >= 0;
}
template <int N>
bool hold(GuardedCone const& cone, Expansion<Direction<Cell, Taylor<Interval, N>>> const& direction,
          TimeSpan const& stretch) {
    return enclosed<0>(guarded_clearance(cone, direction.at_middle), guarded_clearance(cone, direction.over),
                       stretch)
               .range()
               .low >= 0;
}
template <class Directions>
bool one_holds(std::vector<GuardedCone> const& cones, std::size_t likely, Directions const& directions,
               TimeSpan const& stretch) {
    for (std::size_t i = 0; i < cones.size(); ++i)
        if (hold(cones[(likely + i) % cones.size()], directions, stretch))
            return true;
    return false;
}

inline Guarded judged(Guarded found, Halving const& halving) {
    found.verdict = halving.outcome == Outcome::proven    ? Verdict::within
                    : halving.outcome == Outcome::refuted ? Verdict::exceeds
                                                          : Verdict::undecided;
    found.pieces = halving.pieces;
    return found;
}
} // namespace detail

/// Whether the beam stays in the guarded directions at every moment from `first` to `last`, s. `at(double)`
/// gives its unit direction in the cell at a moment; `enclose(Interval)` gives numbers that contain
/// it at every moment of a stretch: plain, as `Direction<Cell, Interval>`, or `expanded`. `within` is proven:
/// each moment lies in a stretch all of which one cone holds. Throws BadInput unless first ≤ last.
template <class At, class Enclose>
Guarded guarded_while(GuardedDirections const& directions, double first, double last, At const& at,
                      Enclose const& enclose, HalvingBudget const& budget = {}) {
    detail::check_stretch(first, last);
    Guarded result{Verdict::within, first, {0, 0, 0}, {0, 0, 0}, 0, 0, 0};
    auto const seen = [&](double time) {
        Direction<Cell> const direction = at(time);
        auto const nearest = directions.nearest(direction);
        return Guarded{Verdict::undecided, time, {0, 0, 0}, direction, nearest.cone, nearest.outside, 0};
    };
    auto const leaves = [](Guarded const& there) { return there.outside > 0 && is_finite(there.outside); };
    auto const prove = [&](std::array<double, 2> const& stretch) {
        TimeSpan const span{stretch[0], stretch[1]};
        auto const there = seen(span.middle());
        auto const all = enclose(Interval(stretch[0], stretch[1]));
        if (detail::one_holds(directions.cones(), there.cone, all, span))
            return detail::Outcome::proven;
        result = there;
        return leaves(there) ? detail::Outcome::refuted : detail::Outcome::open;
    };
    bool leaves_beside = false;
    auto const halve = [&](std::array<double, 2>& stretch, std::array<double, 2>& second) {
        double const middle = TimeSpan{stretch[0], stretch[1]}.middle();
        if (!(stretch[1] - stretch[0] > budget.shortest) || !(middle > stretch[0]) ||
            !(middle < stretch[1])) {
            for (double const time : detail::moments_around({stretch[0], stretch[1]}, {first, last}))
                if (auto const there = seen(time); leaves(there)) {
                    result = there;
                    leaves_beside = true;
                }
            return false;
        }
        stretch[1] = second[0] = middle;
        return true;
    };
    auto halving = detail::by_halves(std::array<double, 2>{first, last}, budget.pieces, prove, halve);
    if (leaves_beside)
        halving.outcome = detail::Outcome::refuted;
    return detail::judged(result, halving);
}

} // namespace seamhold

#endif
