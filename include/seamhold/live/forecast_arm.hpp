#ifndef SEAMHOLD_LIVE_FORECAST_ARM_HPP
#define SEAMHOLD_LIVE_FORECAST_ARM_HPP

#include "seamhold/live/forecast.hpp"

#include <array>
#include <cstddef>
#include <string>

namespace seamhold {

/// The flange as it is forecast from a stream of joints, a Motion in the robot's time. The ticking thread
/// owns it and puts in each new forecast. Set-points are what the robot was told; each joint is there later
/// by its servo lag. Arm flex and gear play are not seen by it. Outside of what a forecast is good for it is
/// finite and means little: the gate says so.
template <int N> class ForecastArm {
public:
    /// `servo_lag`: how much later than its set-point each joint is, s; 0 for measured joints. Throws
    /// BadInput for a lag that is negative or not finite.
    ForecastArm(Pose<Cell, Base> const& cell_from_base, SerialArm<N> const& arm,
                std::array<double, N> const& servo_lag = {})
        : forecast{}, cell_from_base_(cell_from_base), arm_(arm), servo_lag_(servo_lag) {
        for (std::size_t i = 0; i < N; ++i)
            if (!(servo_lag[i] >= 0) || !is_finite(servo_lag[i]))
                throw BadInput("the servo lag (s) of joint " + std::to_string(i + 1) + " of " +
                               detail::text_of(servo_lag[i]) +
                               " is not possible: it must be 0 or above and finite");
    }

    Forecast<N> forecast; ///< of the joints, rad or m; `on_pass` is not looked at

    /// The joints as they will be at robot time t, s: joint j's cubic at t − servo_lag[j].
    template <class T> [[gnu::always_inline]] std::array<T, N> joints_at(T const& t) const {
        std::array<T, N> q;
        // Of each cubic only one component is used; the compiler leaves out the others.
        detail::unroll<0, N>([&](auto j) __attribute__((always_inline)) {
            q[j] = forecast.cubic(number_cast<T>(t - servo_lag_[j]))[j];
        });
        return q;
    }

    /// The flange's pose in the cell at robot time t, s, with t's derivatives.
    template <class T> [[gnu::always_inline]] Pose<Cell, Flange, T> at(T const& t) const {
        return cell_from_base_ * arm_.forward(joints_at(t));
    }

    /// How much later than its set-point each joint is, s.
    std::array<double, N> const& servo_lag() const { return servo_lag_; }

private:
    Pose<Cell, Base> cell_from_base_;
    SerialArm<N> arm_;
    std::array<double, N> servo_lag_;
};

} // namespace seamhold

#endif
