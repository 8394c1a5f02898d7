#ifndef SEAMHOLD_PLAN_ROBOT_STOPS_HPP
#define SEAMHOLD_PLAN_ROBOT_STOPS_HPP

#include "seamhold/limit/report.hpp"

#include <algorithm>
#include <cmath>
#include <string>

namespace seamhold {

/// How a robot goes from stop to stop: what a job costs that is welded standing still. The defaults are
/// common practice, no source; put in what your robot does.
struct RobotStops {
    double speed = 1;                        ///< of the flange's origin, m/s
    double acceleration = 3;                 ///< of it, m/s²
    double settling = 0.2;                   ///< from standing to standing still, s
    double handshake = 0.05;                 ///< between the controls of robot and head, s
    double turn_speed = degrees(180);        ///< of the flange, rad/s
    double turn_acceleration = degrees(900); ///< of it, rad/s²
};

/// How far it is from one pose to another.
struct PoseDistance {
    double way;  ///< of the flange's origin, m
    double turn; ///< of the flange, rad, from 0 to π
};

/// How far it is from one pose of the flange to another; the turn right to 1e-8 rad or better.
inline PoseDistance distance_between(Pose<Cell, Flange> const& from, Pose<Cell, Flange> const& to) {
    auto const q = quaternion_of(inverse(from.rotation) * to.rotation);
    return {norm(to.origin - from.origin), 2 * std::atan2(std::sqrt(sqr(q.x) + sqr(q.y) + sqr(q.z)), q.w)};
}

/// The least time of a straight move from rest to rest, s: the longer of the way's and the turn's, each with
/// as much speed and acceleration as allowed and no limit on jerk. 0 from a pose to itself.
inline double move_time(PoseDistance const& distance, RobotStops const& robot) {
    return std::max(least_turn_time(distance.way, robot.speed, robot.acceleration),
                    least_turn_time(distance.turn, robot.turn_speed, robot.turn_acceleration));
}

/// Throws BadInput, naming the number, unless speeds and accelerations are above 0 and the times are at least
/// 0, all finite.
inline void check(RobotStops const& robot) {
    auto const need = [](char const* what, double given, bool may_be_0) {
        if (!(may_be_0 ? given >= 0 : given > 0) || !is_finite(given))
            throw BadInput("a robot's " + std::string(what) + " must be finite and " +
                           (may_be_0 ? "0 or more" : "above 0") + "; given was " + detail::text_of(given));
    };
    need("speed, m/s,", robot.speed, false);
    need("acceleration, m/s²,", robot.acceleration, false);
    need("settling time, s,", robot.settling, true);
    need("handshake, s,", robot.handshake, true);
    need("turning speed, rad/s,", robot.turn_speed, false);
    need("turning acceleration, rad/s²,", robot.turn_acceleration, false);
}

} // namespace seamhold

#endif
