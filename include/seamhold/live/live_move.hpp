#ifndef SEAMHOLD_LIVE_LIVE_MOVE_HPP
#define SEAMHOLD_LIVE_LIVE_MOVE_HPP

#include "seamhold/curve/minimum_time.hpp"
#include "seamhold/head/axis_response.hpp"
#include "seamhold/live/blend.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <type_traits>
#include <variant>

namespace seamhold {

/// What an axis has still to go to another seam, to be added to the command there: the quickest move of the
/// difference to zero, or a blend where there is none. C² in time, exactly 0 from its end on. Trivially
/// copyable; never throws.
class LiveMove {
public:
    /// Nothing to go: 0 at all times.
    LiveMove() = default;

    /// The move of a difference to zero.
    explicit LiveMove(AxisMove const& quickest)
        : end_(quickest.begin() + quickest.duration()), how_(quickest) {}

    /// The same as a blend.
    explicit LiveMove(Blend const& blend) : end_(blend.end()), how_(blend) {}

    /// What is to be added to the new command at time t, s, with t's derivatives. Not before its begin.
    template <class T> [[gnu::always_inline]] T at(T const& t) const {
        if (value_of(t) >= end_)
            return number_cast<T>(0);
        return under_way(t);
    }

    /// Up to when it stays one polynomial that does so at time t, s: there its third derivative jumps; +∞
    /// once it has ended.
    double whole_until(double t) const {
        if (!(t < end_))
            return std::numeric_limits<double>::infinity();
        auto const* const quickest = std::get_if<AxisMove>(&how_);
        return quickest ? quickest->next_break(t) : std::get_if<Blend>(&how_)->whole_until(t);
    }

    /// When it ends, s; −∞ where there is nothing to go.
    double end() const { return end_; }

private:
    template <class T> [[gnu::noinline]] T under_way(T const& t) const {
        auto const* const quickest = std::get_if<AxisMove>(&how_);
        return quickest ? quickest->at(t) : std::get_if<Blend>(&how_)->at(t);
    }

    double end_ = -std::numeric_limits<double>::infinity();
    std::variant<Blend, AxisMove> how_;
};

static_assert(std::is_trivially_copyable_v<LiveMove>);

/// The limits of one axis for its way to another seam, in its unit (rad, m): a share of what the head can do.
/// An acceleration or a jerk that is not limited is the velocity, or the acceleration, over a tick of
/// `period` s or, where that is longer, over the time √second in which the axis answers: quicker its commands
/// would jump and leave their range, and the axis would not follow. With an infinite velocity there is no
/// quickest move.
inline RateLimits live_move_limits(double velocity, double acceleration, double jerk, double share,
                                   AxisResponse const& response, double period) {
    double const quick = std::max(period, std::sqrt(std::max(response.second, 0.0)));
    double const a = is_finite(acceleration) ? acceleration : velocity / quick;
    return {share * velocity, share * a, share * (is_finite(jerk) ? jerk : a / quick)};
}

namespace detail {
/// What of limits is left beside a motion that uses some of them; at least a quarter, as with a blend.
inline RateLimits left_beside(RateLimits const& limits, RateLimits const& used) {
    return {left_of(limits.velocity, used.velocity), left_of(limits.acceleration, used.acceleration),
            left_of(limits.jerk, used.jerk)};
}

/// A difference with its rates as the state of an axis.
inline AxisState state_of(Taylor<double, 2> const& difference) {
    return {difference.coefficient[0], difference.coefficient[1], 2 * difference.coefficient[2]};
}

/// Where a difference shall go.
inline constexpr AxisState no_difference{0, 0, 0};
} // namespace detail

} // namespace seamhold

#endif
