#ifndef SEAMHOLD_MOTION_JOINT_LOG_HPP
#define SEAMHOLD_MOTION_JOINT_LOG_HPP

#include "seamhold/arm/serial_arm.hpp"
#include "seamhold/motion/motion.hpp"
#include "seamhold/motion/recorded.hpp"

namespace seamhold {

/// A recorded stream of joint positions as a Motion of the flange: the joints are interpolated C² in time and
/// taken through the arm's kinematics, which is exact between rows for what the joints do.
template <int N> class JointLog {
public:
    /// Continuity in time, between holes.
    static constexpr int continuity = 2;

    /// From as many rows of joint variables (rad, m) as increasing times, s. `max_gap` as in `Recorded`,
    /// which throws BadInput.
    JointLog(Pose<Cell, Base> const& cell_from_base, SerialArm<N> const& arm, std::vector<double> times,
             std::span<std::array<double, N> const> rows,
             double max_gap = std::numeric_limits<double>::infinity())
        : cell_from_base_(cell_from_base), arm_(arm), recorded_(std::move(times), rows, max_gap) {}

    /// The joint variables at time t, rad or m.
    template <class T> std::array<Common<double, T>, N> joints_at(T const& t) const {
        return recorded_.at(number_cast<Common<double, T>>(t));
    }

    /// The flange's pose in the cell at time t, with t's derivatives. Check `covers`.
    template <class T> Pose<Cell, Flange, Common<double, T>> at(T const& t) const {
        return cell_from_base_ * arm_.forward(joints_at(t));
    }

    /// Whether there are data at time t.
    bool covers(double t) const { return recorded_.covers(t); }

    /// The times of the rows, s.
    std::span<double const> times() const { return recorded_.times(); }

    /// The times of the rows, at which the third derivative jumps.
    std::vector<double> breaks() const { return {times().begin(), times().end()}; }

private:
    Pose<Cell, Base> cell_from_base_;
    SerialArm<N> arm_;
    Recorded<N> recorded_;
};

} // namespace seamhold

#endif
