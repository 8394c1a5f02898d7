#ifndef SEAMHOLD_MOTION_STRAIGHT_MOVE_HPP
#define SEAMHOLD_MOTION_STRAIGHT_MOVE_HPP

#include "seamhold/curve/profile.hpp"
#include "seamhold/motion/motion.hpp"

#include <algorithm>
#include <cmath>

namespace seamhold {

namespace detail {
/// The limits for a parameter that runs from 0 to 1 while a quantity covers `range`; no limit where it stands
/// still.
inline RateLimits per_unit(RateLimits const& limits, double range) {
    check(limits);
    double const scale = 1 / std::max(range, 1e-200);
    return {limits.velocity * scale, limits.acceleration * scale, limits.jerk * scale};
}

/// The tighter of two sets of limits.
inline RateLimits tighter(RateLimits const& a, RateLimits const& b) {
    return {std::min(a.velocity, b.velocity), std::min(a.acceleration, b.acceleration),
            std::min(a.jerk, b.jerk)};
}
} // namespace detail

/// A straight move from rest to rest in the least time under limits on both the origin's way (m) and the turn
/// (rad): the origin runs along a line, the frame turns about one fixed axis by the shorter way, and both
/// follow one jerk-limited profile. Before its start and after its end the frame rests. C² in time.
template <class To, class From> class StraightMove {
public:
    /// Continuity in time: derivatives up to this order have no jump.
    static constexpr int continuity = 2;

    /// From pose `start` at start_time to pose `end`. Throws BadInput for limits that are not above 0 and
    /// finite.
    StraightMove(Pose<To, From> const& start, Pose<To, From> const& end, RateLimits const& way,
                 RateLimits const& turn, double start_time = 0)
        : StraightMove(start, end.origin - start.origin,
                       quaternion_of(inverse(start.rotation) * end.rotation), way, turn, start_time) {}

    /// The pose at time t, with t's derivatives.
    template <class T> Pose<To, From, Common<double, T>> at(T const& t) const {
        using R = Common<double, T>;
        R const u = profile_.at(number_cast<R>(t) - start_time_);
        return {start_.rotation * about_axis<From, From>(axis_, u * angle_),
                start_.origin + u * displacement_};
    }

    /// The time at which the move ends, s.
    double end_time() const { return start_time_ + profile_.duration(); }

    /// Where the jerk jumps, s.
    std::vector<double> breaks() const {
        auto times = profile_.breaks();
        for (double& time : times)
            time += start_time_;
        return times;
    }

private:
    StraightMove(Pose<To, From> const& start, Direction<To> const& displacement,
                 Quaternion<double> const& turned, RateLimits const& way, RateLimits const& turn,
                 double start_time)
        : start_(start), displacement_(displacement), start_time_(start_time),
          angle_(2 * std::atan2(std::hypot(turned.x, turned.y, turned.z), turned.w)),
          profile_(
              norm(displacement) > 0 || angle_ > 0 ? 1 : 0,
              detail::tighter(detail::per_unit(way, norm(displacement)), detail::per_unit(turn, angle_))) {
        double const sine = std::hypot(turned.x, turned.y, turned.z);
        if (sine > 0)
            axis_ = {turned.x / sine, turned.y / sine, turned.z / sine};
    }

    Pose<To, From> start_;
    Direction<To> displacement_;
    Direction<From> axis_{0, 0, 1};
    double start_time_;
    double angle_;
    Profile profile_;
};

} // namespace seamhold

#endif
