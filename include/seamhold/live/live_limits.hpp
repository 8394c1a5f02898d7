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

/// The limits of three axes (x mirror, y mirror, focus) as factors, so that a tick does not divide. A range
/// that is open to a side limits nothing here; whether the head reaches a place is in its status.
class LiveLimits {
public:
    /// Of a head's ranges and dynamics.
    LiveLimits(AxisRanges const& ranges, HeadDynamics const& d)
        : axes_{AxisLimit::of(ranges.x_mirror, d.mirror_velocity, d.mirror_acceleration),
                AxisLimit::of(ranges.y_mirror, d.mirror_velocity, d.mirror_acceleration),
                AxisLimit::of(ranges.focus, d.focus_velocity, d.focus_acceleration)} {}

    /// The most that the axes use.
    WorstUse worst(std::array<AxisUse, 3> const& use) const {
        WorstUse worst;
        for (std::size_t i = 0; i < 3; ++i) {
            auto const& axis = axes_[i];
            worst.hold(std::max(axis.of_range(use[i].low), axis.of_range(use[i].high)), places[i]);
            worst.hold(use[i].velocity * axis.per_velocity, velocities[i]);
            worst.hold(use[i].acceleration * axis.per_acceleration, accelerations[i]);
        }
        return worst;
    }

    /// Tells the gate what is used now and up to the stopping time later, s; `incidence` is the share of the
    /// largest incidence that is used.
    void tell(GateFacts& facts, std::array<AxisUse, 3> const& use, double incidence,
              double stopping_time) const {
        auto now = worst(use);
        now.hold(incidence, Limit::incidence);
        auto const ahead = worst(
            {use[0].and_for(stopping_time), use[1].and_for(stopping_time), use[2].and_for(stopping_time)});
        facts.utilisation_now = now.most;
        facts.limit_now = now.limit;
        facts.utilisation_ahead = ahead.most;
        facts.limit_ahead = ahead.limit;
    }

    /// Tells it of commands: beyond their ranges they are not handed over, and the axes do not answer as they
    /// shall.
    void tell_commands(GateFacts& facts, std::array<double, 3> const& told) const {
        WorstUse now{facts.utilisation_now, facts.limit_now};
        for (std::size_t i = 0; i < 3; ++i)
            now.hold(axes_[i].of_range(told[i]), places[i]);
        facts.utilisation_now = now.most;
        facts.limit_now = now.limit;
    }

private:
    static constexpr Limit places[] = {Limit::x_angle, Limit::y_angle, Limit::focus_range};
    static constexpr Limit velocities[] = {Limit::x_velocity, Limit::y_velocity, Limit::focus_velocity};
    static constexpr Limit accelerations[] = {Limit::x_acceleration, Limit::y_acceleration,
                                              Limit::focus_acceleration};

    struct AxisLimit {
        double twice_middle;
        double per_width;
        double per_velocity;
        double per_acceleration;

        static AxisLimit of(Range const& range, double velocity, double acceleration) {
            double const width = range.high - range.low;
            bool const open = !is_finite(width);
            return {open ? 0 : range.low + range.high, open ? 0 : 1 / width, 1 / velocity, 1 / acceleration};
        }
        double of_range(double x) const { return std::abs(2 * x - twice_middle) * per_width; }
    };

    std::array<AxisLimit, 3> axes_;
};

} // namespace seamhold

#endif
