#ifndef SEAMHOLD_LIVE_LIVE_LIMITS_HPP
#define SEAMHOLD_LIVE_LIVE_LIMITS_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/limit/limit.hpp"
#include "seamhold/live/block.hpp"
#include "seamhold/live/gate_facts.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

namespace seamhold {

/// How an axis moves at a moment, or at most over a while: places from `low` to `high`, rad or m, and the
/// magnitudes of velocity and acceleration.
struct AxisUse {
    double low;
    double high;
    double velocity;
    double acceleration;

    /// At one moment.
    static AxisUse of(Taylor<double, 2> const& y) {
        return {y.coefficient[0], y.coefficient[0], std::abs(y.coefficient[1]),
                2 * std::abs(y.coefficient[2])};
    }

    /// At most over a block, by the triangle inequality.
    template <int N> static AxisUse over(Block<N> const& block, std::size_t axis) {
        double const h = block.half;
        double velocity = 0, acceleration = 0, way = 0, power = 1; // of h
        for (std::size_t k = 1; k <= N; ++k) {
            auto const n = static_cast<double>(k);
            double const c = std::abs(block.coefficient[k][axis]);
            velocity += n * c * power;
            acceleration += n * (n - 1) * c * power;
            power *= h;
            way += c * power;
        }
        double const middle = block.coefficient[0][axis];
        return {middle - way, middle + way, velocity, acceleration / h};
    }

    /// At most up to `time` s later, if the acceleration grows no further.
    AxisUse and_for(double time) const {
        double const way = time * (velocity + time * acceleration / 2);
        return {low - way, high + way, velocity + time * acceleration, acceleration};
    }
};

/// The most that is used of any limit, and of which. One that is not finite stays.
struct WorstUse {
    double most = 0;            ///< 1 is the limit
    Limit limit = Limit::reach; ///< of what

    /// Keeps the larger.
    void hold(double utilisation, Limit of) {
        if (!(utilisation <= most) && is_finite(most)) {
            most = utilisation;
            limit = of;
        }
    }
};

namespace detail {
inline void hold_axis(WorstUse& worst, AxisUse const& use, Range const& range, double velocity,
                      double acceleration, std::array<Limit, 3> const& limits) {
    worst.hold(std::max(range.utilisation(use.low), range.utilisation(use.high)), limits[0]);
    worst.hold(use.velocity / velocity, limits[1]);
    worst.hold(use.acceleration / acceleration, limits[2]);
}
} // namespace detail

/// What three axes (x mirror, y mirror, focus) use of their ranges, velocities and accelerations.
inline WorstUse worst_of(std::array<AxisUse, 3> const& use, AxisRanges const& ranges, HeadDynamics const& d) {
    WorstUse worst;
    detail::hold_axis(worst, use[0], ranges.x_mirror, d.mirror_velocity, d.mirror_acceleration,
                      {Limit::x_angle, Limit::x_velocity, Limit::x_acceleration});
    detail::hold_axis(worst, use[1], ranges.y_mirror, d.mirror_velocity, d.mirror_acceleration,
                      {Limit::y_angle, Limit::y_velocity, Limit::y_acceleration});
    detail::hold_axis(worst, use[2], ranges.focus, d.focus_velocity, d.focus_acceleration,
                      {Limit::focus_range, Limit::focus_velocity, Limit::focus_acceleration});
    return worst;
}

/// Tells the gate what is used now and up to the stopping time later, s; `incidence` is the share of the
/// largest incidence that is used.
inline void tell_limits(GateFacts& facts, std::array<AxisUse, 3> const& use, double incidence,
                        AxisRanges const& ranges, HeadDynamics const& dynamics, double stopping_time) {
    auto now = worst_of(use, ranges, dynamics);
    now.hold(incidence, Limit::incidence);
    auto const ahead = worst_of(
        {use[0].and_for(stopping_time), use[1].and_for(stopping_time), use[2].and_for(stopping_time)}, ranges,
        dynamics);
    facts.utilisation_now = now.most;
    facts.limit_now = now.limit;
    facts.utilisation_ahead = ahead.most;
    facts.limit_ahead = ahead.limit;
}

/// Tells it of commands, x mirror, y mirror and focus: beyond their ranges they are not handed over, and the
/// axes do not answer as they shall.
inline void tell_commands(GateFacts& facts, std::array<double, 3> const& told, AxisRanges const& ranges) {
    WorstUse now{facts.utilisation_now, facts.limit_now};
    now.hold(ranges.x_mirror.utilisation(told[0]), Limit::x_angle);
    now.hold(ranges.y_mirror.utilisation(told[1]), Limit::y_angle);
    now.hold(ranges.focus.utilisation(told[2]), Limit::focus_range);
    facts.utilisation_now = now.most;
    facts.limit_now = now.limit;
}

} // namespace seamhold

#endif
