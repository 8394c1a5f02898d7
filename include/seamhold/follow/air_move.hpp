#ifndef SEAMHOLD_FOLLOW_AIR_MOVE_HPP
#define SEAMHOLD_FOLLOW_AIR_MOVE_HPP

#include "seamhold/curve/minimum_time.hpp"
#include "seamhold/follow/axes_state.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

namespace seamhold {

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

namespace detail {
/// A duration, s, and which axis decides it (0, 1, 2: x mirror, y mirror, focus), in which way.
struct AxesSoonest : Soonest {
    std::size_t axis;
};

/// For which durations all axes get from a state to a state.
class AxesReach {
public:
    AxesReach(AxesState const& from, AxesState const& to, AirLimits const& limits)
        : axes_{{{from.x_mirror, to.x_mirror, limits.mirror},
                 {from.y_mirror, to.y_mirror, limits.mirror},
                 {from.focus, to.focus, limits.focus}}} {}

    /// The smallest such duration from `duration` on, s, and which axis decides it; the states must be
    /// viable.
    AxesSoonest next(double duration) const {
        AxesSoonest soonest{{duration, Binding::none}, 0};
        std::size_t met = 0;
        for (std::size_t turn = 0; met < axes_.size() && turn < 60; ++turn) {
            std::size_t const axis = turn % axes_.size();
            Soonest const own = axes_[axis].next(soonest.duration);
            met = own.duration == soonest.duration ? met + 1 : 1;
            if (own.duration != soonest.duration)
                soonest = {own, axis};
        }
        return soonest;
    }

    /// The move that lasts `duration` s from the state that this was made with, which it leaves at `start`,
    /// s; nothing where none keeps the limits.
    std::optional<AirMove> move(AxesState const& from, double start, double duration) const {
        auto const x = axes_[0].move(from.x_mirror, duration, start);
        auto const y = axes_[1].move(from.y_mirror, duration, start);
        auto const focus = axes_[2].move(from.focus, duration, start);
        if (!x || !y || !focus)
            return std::nullopt;
        return AirMove(*x, *y, *focus);
    }

private:
    std::array<AxisReach, 3> axes_;
};

/// The duration after which the axis that decides meets a moving target, if no other axis is in the way: by
/// Newton's rule from the duration for the resting target on, then by secants. A guess.
template <class Arrival>
double caught(AxesState const& from, double start, Arrival const& arrival, AirLimits const& limits,
              AxesSoonest const& soonest, double longest) {
    AxisState AxesState::*const axes[] = {&AxesState::x_mirror, &AxesState::y_mirror, &AxesState::focus};
    auto const axis = axes[soonest.axis];
    double const sign = soonest.binding == Binding::far ? 1 : -1;
    double t = std::min(soonest.duration, longest), last_t = 0, last_short = 0;
    for (int i = 0; i < 6 && soonest.binding != Binding::none; ++i) {
        AxisState const to = arrival(start + t).*axis;
        RunShape const run =
            ExtremalRun(sign, from.*axis, to, soonest.axis == 2 ? limits.focus : limits.mirror).of(t);
        double const short_of = sign * (to.position - (from.*axis).position) - run.way;
        double const rate = i == 0 ? sign * to.velocity - run.slope : (short_of - last_short) / (t - last_t);
        double const step = -short_of / rate;
        if (!(rate < 0) || !(std::abs(step) < t / 2) || !(t + step <= longest))
            break;
        last_t = t;
        last_short = short_of;
        t += step;
        if (std::abs(step) < 1e-9 * t)
            break; // the next step would be in the last bits
    }
    return t;
}

inline bool viable(AxesState const& state, AirLimits const& limits, double time) {
    return viable(state.x_mirror, limits.mirror, time) && viable(state.y_mirror, limits.mirror, time) &&
           viable(state.focus, limits.focus, time);
}
} // namespace detail

/// The least time, s, from a state of the axes to another, all arriving together (which may take longer than
/// each for itself: where a longer time is no longer possible for one of them). Infinite where a state breaks
/// a limit or is not finite, see `least_duration`.
inline double air_time(AxesState const& from, AxesState const& to, AirLimits const& limits) {
    if (!detail::viable(from, limits, 1) || !detail::viable(to, limits, -1))
        return no_limit;
    return detail::AxesReach(from, to, limits).next(0).duration;
}

/// The move from a state at `start`, s, that is in a state at exactly `end`, s; nothing where none keeps the
/// limits.
inline std::optional<AirMove> air_move_at(AxesState const& from, double start, AxesState const& to,
                                          double end, AirLimits const& limits) {
    if (!(end >= start) || !is_finite(end) || !is_finite(start) || !detail::viable(from, limits, 1) ||
        !detail::viable(to, limits, -1))
        return std::nullopt;
    return detail::AxesReach(from, to, limits).move(from, start, end - start);
}

/// The move from a state at `start`, s, that meets a moving target the soonest: `arrival(time)` is the state
/// wanted at that time, asked for times from `start` to `latest`, s. Nothing where it cannot be met until
/// `latest`, or where a state is not finite or breaks a limit (`least_duration`), also one of a time that the
/// search only passes.
///
/// The end is a root of excess(T) = air_time(from, arrival(start + T)) − T: where it is above 0 the target is
/// out of reach. Where the air time changes by less than a second a second, as it mostly does towards targets
/// slower than the axes, and does not jump, there is one root. Else one is found that is not proven to be the
/// first. Regula falsi between safeguards; the time is met to the last bits of a time.
template <class Arrival>
std::optional<AirMove> air_move(AxesState const& from, double start, Arrival const& arrival,
                                AirLimits const& limits, double latest) {
    double const longest = latest - start;
    if (!(longest >= 0) || !is_finite(start) || !detail::viable(from, limits, 1))
        return std::nullopt;
    double low = 0, high = no_limit; // out of reach; not
    double last_t = 0, last_excess = no_limit;
    double t = 0;
    for (int i = 0; i < 200; ++i) {
        AxesState const to = arrival(start + t);
        if (!detail::viable(to, limits, -1))
            return std::nullopt;
        detail::AxesReach const reach(from, to, limits);
        detail::AxesSoonest const soonest = reach.next(0);
        double const least = soonest.duration, excess = least - t;
        double const bits = 4e-16 * (std::abs(start) + t) + 1e-15 * t;
        if (std::abs(excess) <= bits)
            return reach.move(from, start, least);
        if (excess > 0) {
            if (!(t < longest))
                return std::nullopt;
            low = t;
        } else if (double const next = reach.next(t).duration; high - low <= bits && next <= t + bits) {
            return reach.move(from, start, next); // the air time jumps: between two targets
        } else if (high - low <= bits) {
            low = t;
            high = no_limit;
        } else {
            high = t;
        }
        double const rate = (excess - last_excess) / (t - last_t);
        bool const first = t == 0;
        last_t = t;
        last_excess = excess;
        if (first) {
            t = detail::caught(from, start, arrival, limits, soonest, longest);
            continue;
        }
        t = is_finite(rate) && rate < -0.1 ? t - excess / rate : least;
        if (!(t > low && t < high))
            t = is_finite(high) ? low + (high - low) / 2 : low + 2 * std::abs(excess);
        t = std::min(t, longest);
    }
    return std::nullopt;
}

} // namespace seamhold

#endif
