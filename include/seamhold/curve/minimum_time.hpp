#ifndef SEAMHOLD_CURVE_MINIMUM_TIME_HPP
#define SEAMHOLD_CURVE_MINIMUM_TIME_HPP

#include "seamhold/curve/axis_move.hpp"
#include "seamhold/curve/profile.hpp"

#include <limits>
#include <optional>

namespace seamhold {

/// The least duration, s, in which one axis gets from a state to a state within limits on velocity,
/// acceleration and jerk. Infinite where a state itself breaks a limit or is not finite.
double least_duration(AxisState const& from, AxisState const& to, RateLimits const& limits);

/// The move of one axis from a state to a state in exactly `duration` s, starting at time `begin`, s; nothing
/// where no move of that duration keeps the limits. A longer duration is not always possible where a shorter
/// one is.
std::optional<AxisMove> axis_move(AxisState const& from, AxisState const& to, RateLimits const& limits,
                                  double duration, double begin = 0);

// Stand-ins until the search stands here.
inline double least_duration(AxisState const& from, AxisState const& to, RateLimits const& limits) {
    return Profile(std::abs(to.position - from.position), limits).duration();
}
inline std::optional<AxisMove> axis_move(AxisState const& from, AxisState const&, RateLimits const&,
                                         double duration, double begin) {
    AxisMove move(begin, from);
    move.go_on(duration, 0);
    return move;
}

} // namespace seamhold

#endif
