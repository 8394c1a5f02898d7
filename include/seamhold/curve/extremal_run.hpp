#ifndef SEAMHOLD_CURVE_EXTREMAL_RUN_HPP
#define SEAMHOLD_CURVE_EXTREMAL_RUN_HPP

#include "seamhold/curve/axis_move.hpp"
#include "seamhold/curve/profile.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace seamhold::detail {

/// How a run of given duration goes: the acceleration rises to `top`, stays there, falls (with a stretch at
/// zero and the highest speed in between), stays at `bottom`, and rises to the end's.
struct RunShape {
    double top;
    double bottom;
    double top_hold;
    double bottom_hold;
    double cruise;
    double way;    ///< displacement
    double slope;  ///< of `way` by the duration
    double bend;   ///< second derivative of `way` by the duration
    bool passes_0; ///< whether the acceleration passes zero as it falls
};

/// One stretch of constant jerk.
struct JerkStretch {
    double length; ///< s
    double jerk;
};

/// Of all moves of one axis between two speeds and accelerations that last equally long, the one that gets
/// farthest.
///
/// Its acceleration is as large as it may be early and as small as it may be late:
///   a(t) = max(min(a0 + j t, a_max, c − j t), −a_max, a1 − j (T − t)),
/// with c so that ∫a = v1 − v0. Proof: the difference of any other acceleration to it is not above 0 before
/// the falling line, does not fall along it, and is not below 0 behind it; so it changes its sign once, from
/// below to above, and ∫(T − t)·difference ≤ 0. Where its speed would pass the highest, the run is instead
/// the fastest ramp to the highest speed, a cruise there, and the fastest ramp down: at every moment the
/// fastest that both ends allow. A speed below −v_max cannot come up where both end states are viable
/// (`viable`).
///
/// With A = v0 − a0²/2j and B = v1 − a1²/2j, the speeds where the first and the last line of the acceleration
/// pass zero, the run is two ramps A to peak to B that are symmetric in time; all formulas below follow.
class ExtremalRun {
public:
    /// Between the rates of two states; `sign` −1 mirrors all, so that the run is the one that gets least
    /// far.
    ExtremalRun(double sign, AxisState const& from, AxisState const& to, RateLimits const& limits)
        : v_(limits.velocity), a_(limits.acceleration), j_(limits.jerk), per_j_(1 / limits.jerk),
          a0_(sign * from.acceleration), a1_(sign * to.acceleration),
          first_(sign * from.velocity - a0_ * a0_ * per_j_ / 2),
          last_(sign * to.velocity - a1_ * a1_ * per_j_ / 2), sign_(sign) {
        double const before = a0_ * per_j_, after = a1_ * per_j_;
        base_ = after * (last_ + a1_ * after / 6) - before * (first_ + a0_ * before / 6);
    }

    /// The run that lasts `duration` s; one such must exist (`RampTimes`).
    RunShape of(double duration) const {
        // How far the line would fall without a hold, and (top² − bottom²) = gain where nothing holds.
        double const fall = std::max((j_ * duration + a0_ - a1_) / 2, 0.0);
        double const gain = j_ * (last_ - first_);
        RunShape r{};
        r.top = std::clamp((fall + (fall > 0 ? gain / fall : 0)) / 2, a0_, std::max(a1_ + fall, a0_));
        r.bottom = r.top - fall;
        double const both_hold = fall - 2 * a_ - std::abs(gain) / (2 * a_);
        if (both_hold >= 0)
            hold_both(r, fall, gain);
        else if (gain > 0 && r.top > a_)
            hold_top(r, fall, gain);
        else if (gain <= 0 && r.bottom < -a_)
            hold_bottom(r, fall, gain);
        else
            r.bend = fall > 0 ? (3 * fall - (r.top + r.bottom) * (r.top + r.bottom) / fall) / 8 : 0;
        double peak = first_ + r.top * r.top * per_j_ + a_ * r.top_hold;
        r.passes_0 = r.top >= 0 && r.bottom <= 0;
        r.slope = peak - r.top * r.bottom * per_j_ / 2;
        if (r.passes_0 && peak > v_) {
            peak = v_;
            hold_speed(r, duration);
        }
        r.way = base_ +
                ((first_ + peak) * (2 * r.top * per_j_ + r.top_hold) +
                 (peak + last_) * (r.bottom_hold - 2 * r.bottom * per_j_)) /
                    2 +
                peak * r.cruise;
        return r;
    }

    /// The stretches of a run of that shape, mirrored back; some have no length. The last one is rest without
    /// end.
    std::array<JerkStretch, 8> stretches(RunShape const& r) const {
        double const j = sign_ * j_;
        double const rise = std::max(r.top - a0_, 0.0), end = std::max(a1_ - r.bottom, 0.0);
        double const fall = r.cruise > 0 ? r.top : r.top - r.bottom;
        return {{{rise * per_j_, j},
                 {r.top_hold, 0},
                 {fall * per_j_, -j},
                 {r.cruise, 0},
                 {r.cruise > 0 ? -r.bottom * per_j_ : 0, -j},
                 {r.bottom_hold, 0},
                 {end * per_j_, j},
                 {std::numeric_limits<double>::infinity(), 0}}};
    }

    /// The largest second derivative of the way by the duration: 3/8 of a fall by 2 a_max.
    double largest_bend() const { return 0.75 * a_; }

    /// The same where the acceleration is held at the top and at the bottom.
    double held_bend() const { return a_ / 2; }

    /// The third derivative of the way by the duration is at least this where nothing holds and the
    /// acceleration passes zero.
    double least_third() const { return 3 * j_ / 16; }

    /// The highest speed.
    double highest_speed() const { return v_; }

private:
    void hold_both(RunShape& r, double fall, double gain) const {
        double const mean = (fall - 2 * a_) * per_j_, more = gain / (2 * a_) * per_j_;
        r.top = a_;
        r.bottom = -a_;
        r.top_hold = mean + more;
        r.bottom_hold = mean - more;
        r.bend = a_ / 2;
    }

    void hold_top(RunShape& r, double fall, double gain) const {
        r.top = a_;
        r.bottom = std::min(a_ - std::sqrt(std::max(2 * a_ * fall - gain, 0.0)), a1_);
        r.top_hold = std::max(2 * (fall - (r.top - r.bottom)) * per_j_, 0.0);
        r.bend = r.bottom < a_ ? a_ * (a_ - 4 * r.bottom) / (4 * (a_ - r.bottom)) : 0;
    }

    void hold_bottom(RunShape& r, double fall, double gain) const {
        r.bottom = -a_;
        r.top = std::max(std::sqrt(std::max(2 * a_ * fall + gain, 0.0)) - a_, a0_);
        r.bottom_hold = std::max(2 * (fall - (r.top - r.bottom)) * per_j_, 0.0);
        r.bend = r.top > -a_ ? a_ * (a_ + 4 * r.top) / (4 * (a_ + r.top)) : 0;
    }

    void hold_speed(RunShape& r, double duration) const {
        double const most = a_ * a_ * per_j_;
        double const up = std::max(v_ - first_, 0.0), down = std::max(v_ - last_, 0.0);
        r.top = up > most ? a_ : std::max(std::sqrt(j_ * up), a0_);
        r.top_hold = up > most ? (up - most) / a_ : 0;
        r.bottom = down > most ? -a_ : std::min(-std::sqrt(j_ * down), a1_);
        r.bottom_hold = down > most ? (down - most) / a_ : 0;
        double const ramps = (2 * (r.top - r.bottom) + a1_ - a0_) * per_j_ + r.top_hold + r.bottom_hold;
        r.cruise = std::max(duration - ramps, 0.0);
        r.slope = v_;
        r.bend = 0;
    }

    double v_, a_, j_, per_j_;
    double a0_, a1_;
    double first_; ///< A: the speed where the first line of the acceleration passes zero
    double last_;  ///< B: the same of the last line
    double base_ = 0;
    double sign_;
};

/// The durations for which speed and acceleration can be changed from one state's to another's: from `least`
/// on, but for those between `gap_from` and `gap_to` (equal where there is no gap: infinite).
struct RampTimes {
    double least;
    double gap_from;
    double gap_to;

    /// Closed form. The gap: where both accelerations have the same sign the speed must change in between;
    /// more time changes it too much, until there is time enough to come back.
    RampTimes(AxisState const& from, AxisState const& to, RateLimits const& limits) {
        double const a = limits.acceleration, j = limits.jerk;
        double a0 = from.acceleration, a1 = to.acceleration, gain = to.velocity - from.velocity;
        // Straight from one acceleration to the other makes (a0 + a1)·|a1 − a0|/2j of speed. The last bits of
        // the speeds must not send an axis the long way round.
        double const more = 2 * j * gain - (a0 + a1) * std::abs(a1 - a0);
        double const bits =
            8e-16 * (j * (std::abs(from.velocity) + std::abs(to.velocity)) + a0 * a0 + a1 * a1);
        if (std::abs(more) <= bits ? a0 + a1 < 0 : more < 0) {
            a0 = -a0;
            a1 = -a1;
            gain = -gain;
        }
        // Up to top and down again: j·gain = top² − (a0² + a1²)/2 (+ a·hold·j); and the way round, down to
        // bottom and up again, −j·gain = bottom² − (a0² + a1²)/2.
        double const both = (a0 * a0 + a1 * a1) / 2;
        double const top2 = std::max(j * gain + both, 0.0);
        double const top = std::max({std::min(std::sqrt(top2), a), a0, a1});
        least = (2 * top - a0 - a1) / j + std::max(top2 - a * a, 0.0) / (j * a);
        gap_from = gap_to = std::numeric_limits<double>::infinity();
        double const bottom2 = both - j * gain;
        if (std::min(a0, a1) > 0 && bottom2 > 0) {
            double const bottom = std::min(std::sqrt(bottom2), std::min(a0, a1));
            gap_from = (a0 + a1 - 2 * bottom) / j;
            gap_to = (a0 + a1 + 2 * bottom) / j;
        }
    }

    /// The smallest such duration from `duration` on.
    double next(double duration) const {
        duration = std::max(duration, least);
        return duration > gap_from && duration < gap_to ? gap_to : duration;
    }
};

} // namespace seamhold::detail

#endif
