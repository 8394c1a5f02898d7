#ifndef SEAMHOLD_MOTION_JOINT_MOVE_HPP
#define SEAMHOLD_MOTION_JOINT_MOVE_HPP

#include "seamhold/arm/serial_arm.hpp"
#include "seamhold/motion/straight_move.hpp"

namespace seamhold {

/// A joint move from rest to rest through an arm, in the least time under each joint's limits: all joints
/// start and arrive together on one jerk-limited profile. Before its start and after its end the arm rests.
/// C² in time.
template <int N> class JointMove {
public:
    /// Continuity in time: derivatives up to this order have no jump.
    static constexpr int continuity = 2;

    /// From joint variables `start` at start_time to `end` (rad, m). Throws BadInput for limits that are not
    /// above 0 and finite.
    JointMove(Pose<Cell, Base> const& cell_from_base, SerialArm<N> const& arm,
              std::array<double, N> const& start, std::array<double, N> const& end,
              std::array<RateLimits, N> const& limits, double start_time = 0)
        : cell_from_base_(cell_from_base), arm_(arm), start_(start), end_(end), start_time_(start_time),
          profile_(start == end ? 0 : 1, limits_of(start, end, limits)) {}

    /// The joint variables at time t, rad or m.
    template <class T> std::array<Common<double, T>, N> joints_at(T const& t) const {
        using R = Common<double, T>;
        R const u = profile_.at(number_cast<R>(t) - start_time_);
        std::array<R, N> q;
        for (std::size_t i = 0; i < N; ++i)
            q[i] = u * (end_[i] - start_[i]) + start_[i];
        return q;
    }

    /// The flange's pose in the cell at time t.
    template <class T> Pose<Cell, Flange, Common<double, T>> at(T const& t) const {
        return cell_from_base_ * arm_.forward(joints_at(t));
    }

    /// The time at which the move ends, s.
    double end_time() const { return start_time_ + profile_.duration(); }

    /// Where the jerk jumps, s.
    std::vector<double> breaks() const {
        auto times = profile_.breaks();
        for (double& time : times)
            time += start_time_;
        return times;
    }

private:
    static RateLimits limits_of(std::array<double, N> const& start, std::array<double, N> const& end,
                                std::array<RateLimits, N> const& limits) {
        auto all = detail::per_unit(limits[0], std::abs(end[0] - start[0]));
        for (std::size_t i = 1; i < N; ++i)
            all = detail::tighter(all, detail::per_unit(limits[i], std::abs(end[i] - start[i])));
        return all;
    }

    Pose<Cell, Base> cell_from_base_;
    SerialArm<N> arm_;
    std::array<double, N> start_;
    std::array<double, N> end_;
    double start_time_;
    Profile profile_;
};

} // namespace seamhold

#endif
