#ifndef SEAMHOLD_LIVE_CLOCK_MAP_HPP
#define SEAMHOLD_LIVE_CLOCK_MAP_HPP

#include <compare>
#include <type_traits>

namespace seamhold {

/// A moment of the robot's clock, s since an epoch that the receiver chose (its first stamp).
struct RobotTime {
    double seconds;

    /// In order of time.
    friend constexpr auto operator<=>(RobotTime const&, RobotTime const&) = default;
    /// How much later a is than b, s.
    friend constexpr double operator-(RobotTime a, RobotTime b) { return a.seconds - b.seconds; }
    /// A moment `by` s later.
    friend constexpr RobotTime operator+(RobotTime t, double by) { return {t.seconds + by}; }
};

/// A moment of the scanner's clock, which is the controller's: s since the controller was started.
struct ScannerTime {
    double seconds;

    /// In order of time.
    friend constexpr auto operator<=>(ScannerTime const&, ScannerTime const&) = default;
    /// How much later a is than b, s.
    friend constexpr double operator-(ScannerTime a, ScannerTime b) { return a.seconds - b.seconds; }
    /// A moment `by` s later.
    friend constexpr ScannerTime operator+(ScannerTime t, double by) { return {t.seconds + by}; }
};

/// What the robot's clock shows when the scanner's shows something: a straight line about a moment.
struct ClockMap {
    ScannerTime scanner; ///< at this moment of the scanner's clock
    RobotTime robot;     ///< the robot's clock shows this,
    double rate;         ///< and runs at so many of its seconds a second of the scanner's; about 1

    /// What the robot's clock shows.
    constexpr RobotTime robot_at(ScannerTime t) const { return robot + rate * (t - scanner); }

    /// What the scanner's clock shows. The rate must not be 0.
    constexpr ScannerTime scanner_at(RobotTime t) const { return scanner + (t - robot) / rate; }
};

static_assert(std::is_trivially_copyable_v<ClockMap>);

} // namespace seamhold

#endif
