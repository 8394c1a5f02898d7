#ifndef SEAMHOLD_CURVE_MINIMUM_TIME_HPP
#define SEAMHOLD_CURVE_MINIMUM_TIME_HPP

#include "seamhold/curve/axis_move.hpp"
#include "seamhold/curve/extremal_run.hpp"
#include "seamhold/curve/profile.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>

namespace seamhold {

namespace detail {
/// Whether the limits are above 0 and finite, hold at a state, and can be kept before or after it: `time` is
/// 1 for what comes after, −1 for what came before. Last bits of a limit are allowed.
inline bool viable(AxisState const& state, RateLimits const& limits, double time) {
    double const v = limits.velocity, a = limits.acceleration, j = limits.jerk;
    if (!(v > 0 && a > 0 && j > 0) || !is_finite(v) || !is_finite(a) || !is_finite(j))
        return false;
    if (!is_finite(state.position) || !is_finite(state.velocity) || !is_finite(state.acceleration))
        return false;
    double const later = state.velocity + time * state.acceleration * std::abs(state.acceleration) / (2 * j);
    double const bits = 1 + 1e-12;
    return std::abs(state.acceleration) <= bits * a && std::abs(state.velocity) <= bits * v &&
           std::abs(later) <= bits * v;
}

/// Which of two runs decides the least duration: the farthest does not get far enough sooner, or the nearest
/// gets too far. None: speed and acceleration cannot be changed sooner.
enum class Binding : std::uint8_t { none, far, near };

/// A duration, s, and what decides it.
struct Soonest {
    double duration;
    Binding binding;
};

/// For which durations one axis gets from a state to a state: those for which what is wanted lies between the
/// displacements of the run that gets farthest and the one that gets least far. Any displacement in between
/// is that of a mean of both runs, and a mean keeps every limit and both end states.
class AxisReach {
public:
    /// Between two viable states.
    AxisReach(AxisState const& from, AxisState const& to, RateLimits const& limits)
        : far_(1, from, to, limits), near_(-1, from, to, limits), ramps_(from, to, limits),
          way_(to.position - from.position), velocity_(limits.velocity),
          bits_(4e-16 * (std::abs(way_) + velocity_ / limits.jerk *
                                              (std::abs(from.acceleration) + std::abs(to.acceleration)))) {}

    /// The smallest possible duration from `duration` on, to some units in the last place, and which run it
    /// is that had to be waited for.
    Soonest next(double duration) const {
        double t = ramps_.next(duration);
        Binding binding = Binding::none;
        // Each of the two ways to fail holds over one stretch of durations, or over few where both
        // accelerations have the same sign; so this turns a few times at most.
        int met = 0;
        for (int turn = 0; turn < 40 && met < 2; ++turn) {
            double const before = t;
            t = turn % 2 == 0 ? caught_up(far_, way_, t) : caught_up(near_, -way_, t);
            double const past_gap = ramps_.next(t);
            if (t != before)
                binding = past_gap != t ? Binding::none : turn % 2 == 0 ? Binding::far : Binding::near;
            met = past_gap != t ? 0 : t != before ? 1 : met + 1;
            t = past_gap;
        }
        return {t, binding};
    }

    /// The move that lasts `duration` s and starts at `begin`, s, in the state `from` that this was made
    /// with.
    std::optional<AxisMove> move(AxisState const& from, double duration, double begin) const {
        double const bits = 1e-15 * (std::abs(begin) + duration);
        if (duration < ramps_.least - bits ||
            (duration > ramps_.gap_from + bits && duration < ramps_.gap_to - bits))
            return std::nullopt;
        RunShape const far = far_.of(duration), near = near_.of(duration);
        double const beyond = far.way - way_, within = way_ + near.way;
        double const slack = 2 * this->bits(duration) + velocity_ * bits;
        if (!(beyond >= -slack) || !(within >= -slack))
            return std::nullopt;
        double const share = within <= slack ? 0 : beyond <= slack ? 1 : within / (beyond + within);
        // Lengths are cut, not times compared: a ramp of a large jerk is shorter than the last bit of a time.
        auto a = far_.stretches(far), b = near_.stretches(near);
        std::size_t i = share == 0 ? 7 : 0, k = share == 1 ? 7 : 0;
        AxisMove move(begin, duration, from);
        while (i < 7 || k < 7) {
            double const length = std::min(a[i].length, b[k].length);
            move.go_on(length, share * a[i].jerk + (1 - share) * b[k].jerk);
            a[i].length -= length;
            b[k].length -= length;
            i += !(a[i].length > 0);
            k += !(b[k].length > 0);
        }
        return move;
    }

private:
    /// What rounding may make of a displacement in a run of that duration.
    double bits(double duration) const { return bits_ + 4e-16 * velocity_ * duration; }

    /// The smallest duration from t on for which the run gets as far as `way`. Where the acceleration passes
    /// zero, the displacement first falls and then rises with the duration: one root to find. Before that,
    /// no step is larger than what the largest bend allows, so that no root is passed.
    double caught_up(ExtremalRun const& run, double way, double t) const {
        RunShape r = run.of(t);
        double short_of = way - r.way;
        double const ever = std::numeric_limits<double>::infinity();
        for (int i = 0; !r.passes_0 && short_of > bits(t) && i < 200; ++i) {
            double const slope = r.slope, bend = run.largest_bend();
            double const step = 2 * short_of / (slope + std::sqrt(slope * slope + 2 * bend * short_of));
            t = std::max(t + step, std::nextafter(t, ever));
            if (t > ramps_.gap_from && t < ramps_.gap_to)
                t = ramps_.gap_to;
            r = run.of(t);
            short_of = way - r.way;
        }
        if (!(short_of > bits(t)))
            return t;
        double low = t, high = ever;
        double step = first_step(run, r, short_of);
        for (int i = 0; i < 100; ++i) {
            t += step;
            if (!(t > low && t < high))
                t = is_finite(high) ? low + (high - low) / 2 : 2 * low + std::abs(step);
            r = run.of(t);
            short_of = way - r.way;
            (short_of > 0 ? low : high) = t;
            if (std::abs(short_of) <= bits(t))
                break;
            double const root = r.slope * r.slope + 2 * r.bend * short_of;
            step = root > 0 && r.slope > 0 ? 2 * short_of / (r.slope + std::sqrt(root)) : short_of / r.slope;
            if (!(std::abs(step) > 2e-16 * t))
                break;
        }
        return t;
    }

    /// A step to about where the run gets so much farther: by the terms of the displacement's series where
    /// nothing holds, but not shorter than what the acceleration and the speed allow.
    static double first_step(ExtremalRun const& run, RunShape const& r, double short_of) {
        double const third = run.least_third();
        if (r.slope < 0)
            return std::max(std::cbrt(12 * short_of / third), std::sqrt(-12 * r.slope / third));
        double step = std::cbrt(6 * short_of / third);
        if (r.slope * step > short_of)
            step = short_of / r.slope;
        if (r.bend * step * step > 2 * short_of)
            step = std::sqrt(2 * short_of / r.bend);
        double const held = r.slope + std::sqrt(r.slope * r.slope + run.held_bend() * 2 * short_of);
        return std::max({step, 2 * short_of / held, short_of / run.highest_speed()});
    }

    ExtremalRun far_;
    ExtremalRun near_;
    RampTimes ramps_;
    double way_;
    double velocity_;
    double bits_; ///< what rounding may make of a displacement, beside what the duration adds
};
} // namespace detail

/// The least duration, s, in which one axis gets from a state to a state within limits on velocity,
/// acceleration and jerk. To some units in the last place. Infinite where a state breaks a limit by itself,
/// where one would be broken before or after it whatever is done
/// (|velocity + acceleration·|acceleration|/2 jerk| after the first, with − before the last, beyond the
/// limit), or where a number is not finite or a limit not above 0.
inline double least_duration(AxisState const& from, AxisState const& to, RateLimits const& limits) {
    if (!detail::viable(from, limits, 1) || !detail::viable(to, limits, -1))
        return std::numeric_limits<double>::infinity();
    return detail::AxisReach(from, to, limits).next(0).duration;
}

/// The move of one axis from a state to a state in exactly `duration` s, starting at time `begin`, s; nothing
/// where no move of that duration keeps the limits, and where `least_duration` is infinite. A longer duration
/// is not always possible where a shorter one is. A duration that is too short by no more than the rounding
/// of the times is taken, and the end is missed by what the axis makes in that.
inline std::optional<AxisMove> axis_move(AxisState const& from, AxisState const& to, RateLimits const& limits,
                                         double duration, double begin = 0) {
    if (!(duration >= 0) || !is_finite(duration) || !is_finite(begin) || !detail::viable(from, limits, 1) ||
        !detail::viable(to, limits, -1))
        return std::nullopt;
    return detail::AxisReach(from, to, limits).move(from, duration, begin);
}

} // namespace seamhold

#endif
