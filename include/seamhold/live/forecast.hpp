#ifndef SEAMHOLD_LIVE_FORECAST_HPP
#define SEAMHOLD_LIVE_FORECAST_HPP

#include "seamhold/arm/serial_arm.hpp"
#include "seamhold/live/clock_map.hpp"
#include "seamhold/motion/pose_log.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <type_traits>

/// What the receiving thread hands to the ticking one after each arrival.
namespace seamhold {

/// What is wrong with the stream that a forecast rests on. Any but `none` shuts the gate.
enum class StreamFault : std::uint8_t {
    none,
    few_samples,     ///< not enough arrived yet, since the start or since something was reset
    not_finite,      ///< a number that came was not finite
    not_a_rotation,  ///< a quaternion's norm was not 1
    frozen,          ///< the stamps move on, the values do not, though they should
    stuck_stamp,     ///< the values move on, the stamp does not
    from_the_future, ///< a stamp lies further ahead than it can
    clock_step,      ///< the robot's clock jumped against the scanner's
    restarted,       ///< the robot's clock or its count began anew
    disagrees        ///< what came is too far from what was predicted
};

/// How wrong a forecast is expected to be at the spot: second moments of the error of the spot's place, in
/// the cell's axes, at `count` horizons, and the factor that turns a standard deviation into a stated bound.
struct SpotError {
    static constexpr std::size_t count = 8;
    double step;             ///< horizon of the first entry, and from one to the next, s
    double moment[count][6]; ///< xx, yy, zz, xy, xz, yz, m²; growing with the horizon
    double factor;           ///< stated bound along a direction u: factor · √(uᵀ M u)

    /// The standard deviation along the unit vector u at a horizon, s, beyond the newest sample, m. Between
    /// entries linear in M; below the first it is the first's; beyond the last M grows with the sixth power
    /// of the horizon, as a jerk's way does.
    double deviation(Direction<Cell> const& u, double horizon) const {
        double const place = horizon / step - 1;
        auto const along = [&u](double const* m) {
            double const square = u.x * u.x * m[0] + u.y * u.y * m[1] + u.z * u.z * m[2] +
                                  2 * (u.x * u.y * m[3] + u.x * u.z * m[4] + u.y * u.z * m[5]);
            return square < 0 ? 0 : square; // rounding of flat moments; a NaN stays
        };
        if (!(place > 0))
            return std::sqrt(along(moment[0]));
        if (place >= static_cast<double>(count - 1)) {
            double const growth = (place + 1) / static_cast<double>(count);
            return std::sqrt(along(moment[count - 1])) * growth * growth * growth;
        }
        auto const i = static_cast<std::size_t>(place);
        double const share = place - static_cast<double>(i);
        return std::sqrt((1 - share) * along(moment[i]) + share * along(moment[i + 1]));
    }

    /// What the error along the unit vector u is stated to be at most, m.
    double bound(Direction<Cell> const& u, double horizon) const { return factor * deviation(u, horizon); }
};

/// D quantities over time, as predicted from what has arrived: a cubic in the robot's time, alone or on top
/// of a recorded earlier pass of the same program. Trivially copyable; it goes through a `Stream`.
template <int D> struct Forecast {
    std::uint64_t number;     ///< counted from 1
    ScannerTime made;         ///< when the newest sample arrived
    RobotTime newest;         ///< of what the newest sample speaks
    ClockMap clock;           ///< as it is known now
    double clock_uncertainty; ///< of `clock`, 1 standard deviation, s
    StreamFault fault;        ///< any but `none`: do not weld on this
    bool on_pass;             ///< whether the cubic is the deviation from the recorded pass
    RobotTime about;          ///< where the cubic has its zero
    double coefficient[4][D]; ///< of (t − about)^k
    double program_time;  ///< how far the robot's program is at `about`, s of the recorded or planned pass
    double program_rate;  ///< and how fast it goes on: 1 at full override, 0 in a pause
    double measured_rate; ///< of the program, measured; the same where the program's rate is tracked
    double speed;         ///< of the spot's point as the flange carries it, measured, m/s
    SpotError error;      ///< at the spot

    /// The cubic at robot time t, with t's derivatives.
    template <class T> [[gnu::always_inline]] std::array<T, D> cubic(T const& t) const {
        T const local = number_cast<T>(t - about.seconds);
        std::array<T, D> r;
        for (std::size_t d = 0; d < D; ++d)
            r[d] = ((local * coefficient[3][d] + coefficient[2][d]) * local + coefficient[1][d]) * local +
                   coefficient[0][d];
        return r;
    }

    /// How far the robot's program is at robot time t, s of the pass.
    template <class T> T program_at(T const& t) const {
        return number_cast<T>((t - about.seconds) * program_rate + program_time);
    }
};

static_assert(std::is_trivially_copyable_v<Forecast<7>>);

/// The flange as it is forecast, a Motion in the robot's time. The ticking thread owns it and puts in each
/// new forecast. Outside of what a forecast is good for it is finite and means little: the gate says so.
struct ForecastFlange {
    std::optional<PoseLog<Cell, Flange>> pass; ///< the recorded earlier pass, where there is one
    Forecast<7> forecast;

    /// The pose at robot time t, s.
    template <class T> [[gnu::always_inline]] Pose<Cell, Flange, T> at(T const& t) const {
        auto r = forecast.cubic(t);
        if (forecast.on_pass && pass) {
            auto const base = pass->components(forecast.program_at(t));
            for (std::size_t d = 0; d < 7; ++d)
                r[d] = r[d] + base[d];
        }
        return {rotation_of<Cell, Flange>(Quaternion<T>{r[3], r[4], r[5], r[6]}), {r[0], r[1], r[2]}};
    }
};

} // namespace seamhold

#endif
