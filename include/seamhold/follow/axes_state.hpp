#ifndef SEAMHOLD_FOLLOW_AXES_STATE_HPP
#define SEAMHOLD_FOLLOW_AXES_STATE_HPP

#include "seamhold/curve/axis_move.hpp"
#include "seamhold/follow/job.hpp"

#include <limits>

namespace seamhold {

/// Where a head's axes are and how they move: mirrors in rad, the lens in m.
struct AxesState {
    AxisState x_mirror;
    AxisState y_mirror;
    AxisState focus;
};

/// What the axes may do in a move with the beam off.
struct AirLimits {
    RateLimits mirror; ///< of each mirror, rad
    RateLimits focus;  ///< of the lens, m
    double settling;   ///< of the mirrors after a move, s: the caller arrives that much before the light
};

/// The limits of a head for air moves: a share of its velocities, accelerations and jerks. A limit that is
/// not there (`no_limit`) is spread over one `tick`, s: a jerk is the acceleration over a tick, the lens's
/// acceleration its velocity over a tick. Throws BadInput for a share or a tick that is not above 0 and
/// finite, and for limits that are not above 0.
inline AirLimits air_limits(HeadDynamics const& dynamics, double share = 1, double tick = 1e-5) {
    if (!(share > 0) || !is_finite(share) || !(tick > 0) || !is_finite(tick))
        throw BadInput("the share of a head's limits and the tick must be above 0 and finite; given were " +
                       detail::text_of(share) + ", " + detail::text_of(tick) + " s");
    auto const spread = [&](double velocity, double acceleration, double jerk) {
        double const a = acceleration == no_limit ? velocity / tick : acceleration;
        RateLimits const limits{share * velocity, share * a, share * (jerk == no_limit ? a / tick : jerk)};
        detail::check(limits);
        return limits;
    };
    return {spread(dynamics.mirror_velocity, dynamics.mirror_acceleration, dynamics.mirror_jerk),
            spread(dynamics.focus_velocity, dynamics.focus_acceleration, no_limit), dynamics.settling};
}

/// What the axes do where the chain follows a seam at `seam_time` s since its start, at the moment t, s: the
/// seam runs on beyond its ends. Not finite where the chain has no command; whether it is in reach is not
/// asked.
template <class AnyChainOf, class AnyOrSeam>
AxesState axes_at(AnyChainOf const& chain, AnyOrSeam const& seam, double seam_time, double t) {
    using Rates = Taylor<double, 2>;
    auto const followed = chain.follow(seam, Rates::variable(seam_time), Rates::variable(t));
    bool const none = followed.status != Status::ok && followed.status != Status::out_of_reach;
    auto const state = [&](Rates const& x) {
        double const nan = std::numeric_limits<double>::quiet_NaN();
        return none ? AxisState{nan, nan, nan} : AxisState{value_of(x), x.derivative(1), x.derivative(2)};
    };
    auto const& command = followed.aim.command;
    return {state(command.x_mirror), state(command.y_mirror), state(command.focus)};
}

} // namespace seamhold

#endif
