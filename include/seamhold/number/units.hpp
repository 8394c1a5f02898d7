#ifndef SEAMHOLD_NUMBER_UNITS_HPP
#define SEAMHOLD_NUMBER_UNITS_HPP

#include <numbers>

/// Everything inside seamhold is SI: m, s, rad. These helpers convert at the border, in both directions.
namespace seamhold {

/// Metres from millimetres.
constexpr double millimetres(double x) { return x / 1000; }
/// Metres from micrometres.
constexpr double micrometres(double x) { return x / 1e6; }
/// Radians from degrees.
constexpr double degrees(double x) { return x * std::numbers::pi / 180; }
/// Radians from milliradians.
constexpr double milliradians(double x) { return x / 1000; }
/// Seconds from milliseconds.
constexpr double milliseconds(double x) { return x / 1000; }
/// Seconds from microseconds.
constexpr double microseconds(double x) { return x / 1e6; }
/// Metres per second from metres per minute.
constexpr double metres_per_minute(double x) { return x / 60; }
/// Metres per second from millimetres per second.
constexpr double millimetres_per_second(double x) { return x / 1000; }
/// Radians per second from degrees per second.
constexpr double degrees_per_second(double x) { return degrees(x); }

/// Millimetres from metres.
constexpr double in_millimetres(double x) { return x * 1000; }
/// Micrometres from metres.
constexpr double in_micrometres(double x) { return x * 1e6; }
/// Degrees from radians.
constexpr double in_degrees(double x) { return x * 180 / std::numbers::pi; }
/// Milliseconds from seconds.
constexpr double in_milliseconds(double x) { return x * 1000; }
/// Metres per minute from metres per second.
constexpr double in_metres_per_minute(double x) { return x * 60; }

} // namespace seamhold

#endif
