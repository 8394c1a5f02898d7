#ifndef SEAMHOLD_FOLLOW_AIR_MOVE_HPP
#define SEAMHOLD_FOLLOW_AIR_MOVE_HPP

#include "seamhold/curve/minimum_time.hpp"
#include "seamhold/follow/job.hpp"

#include <algorithm>
#include <limits>
#include <optional>
#include <vector>

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
        double const a = is_finite(acceleration) ? acceleration : velocity / tick;
        RateLimits const limits{share * velocity, share * a, share * (is_finite(jerk) ? jerk : a / tick)};
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

/// The extremes of a move's axes.
struct AirPeaks {
    AxisExtremes x_mirror;
    AxisExtremes y_mirror;
    AxisExtremes focus;
};

/// A move of all axes with the beam off. All of them leave and arrive together.
class AirMove {
public:
    /// Of three axis moves that begin and end together.
    AirMove(AxisMove const& x_mirror, AxisMove const& y_mirror, AxisMove const& focus)
        : x_mirror_(x_mirror), y_mirror_(y_mirror), focus_(focus) {}

    /// When it begins, s.
    double start() const { return x_mirror_.begin(); }

    /// When it arrives, s.
    double end() const { return x_mirror_.begin() + x_mirror_.duration(); }

    /// The command at time t, s, with t's derivatives. Outside of start and end the first and the last cubic
    /// run on.
    template <class T> Command<T> at(T const& t) const {
        return {x_mirror_.at(t), y_mirror_.at(t), focus_.at(t)};
    }

    /// Where the jerk of an axis may jump, s, increasing.
    std::vector<double> breaks() const {
        std::vector<double> all = x_mirror_.breaks();
        for (AxisMove const* axis : {&y_mirror_, &focus_})
            for (double const t : axis->breaks())
                all.push_back(t);
        std::sort(all.begin(), all.end());
        all.erase(std::unique(all.begin(), all.end()), all.end());
        return all;
    }

    /// The extremes of each axis.
    AirPeaks peaks() const { return {x_mirror_.extremes(), y_mirror_.extremes(), focus_.extremes()}; }

private:
    AxisMove x_mirror_;
    AxisMove y_mirror_;
    AxisMove focus_;
};

/// The least time, s, from a state of the axes to another, all arriving together. Infinite where a state
/// breaks a limit or is not finite.
inline double air_time(AxesState const& from, AxesState const& to, AirLimits const& limits) {
    return std::max({least_duration(from.x_mirror, to.x_mirror, limits.mirror),
                     least_duration(from.y_mirror, to.y_mirror, limits.mirror),
                     least_duration(from.focus, to.focus, limits.focus)});
}

/// The move from a state at `start`, s, that is in a state at exactly `end`, s; nothing where none keeps the
/// limits.
inline std::optional<AirMove> air_move_at(AxesState const& from, double start, AxesState const& to,
                                          double end, AirLimits const& limits) {
    auto const x = axis_move(from.x_mirror, to.x_mirror, limits.mirror, end - start, start);
    auto const y = axis_move(from.y_mirror, to.y_mirror, limits.mirror, end - start, start);
    auto const focus = axis_move(from.focus, to.focus, limits.focus, end - start, start);
    if (!x || !y || !focus)
        return std::nullopt;
    return AirMove(*x, *y, *focus);
}

/// The move from a state at `start`, s, that meets a moving target the soonest: `arrival(time)` is the state
/// wanted at that time. Nothing where it cannot be met until `latest`, s.
template <class Arrival>
std::optional<AirMove> air_move(AxesState const& from, double start, Arrival const& arrival,
                                AirLimits const& limits, double latest) {
    double end = start;
    for (int i = 0; i < 30; ++i)
        end = start + air_time(from, arrival(end), limits);
    if (!(end <= latest))
        return std::nullopt;
    return air_move_at(from, start, arrival(end), end, limits);
}

} // namespace seamhold

#endif
