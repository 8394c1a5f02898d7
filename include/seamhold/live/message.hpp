#ifndef SEAMHOLD_LIVE_MESSAGE_HPP
#define SEAMHOLD_LIVE_MESSAGE_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/frame/rotation.hpp"
#include "seamhold/live/clock_map.hpp"

#include <cstdint>
#include <type_traits>

namespace seamhold {

/// Whether a robot tells where it was, or where it is about to be told to be.
enum class SampleKind : std::uint8_t {
    measured, ///< of the past
    set_point ///< commanded; the robot follows it with its servo lag
};

/// What a message says of the moment it speaks of.
struct MessageHead {
    std::int64_t stamp; ///< of the robot's clock, ns since any epoch; read only where `has_stamp`
    std::uint32_t
        number;     ///< counted up by one a message, and over 2³² − 1 to 0; read only where `has_number`
    bool has_stamp; ///< without stamps the receiver needs the period, and numbers or even arrivals
    bool has_number;
    bool has_rates;
    SampleKind kind;
};

/// A pose of the flange as it arrives, unchecked.
struct PoseMessage {
    MessageHead head;
    Point<Cell> origin;          ///< m
    Quaternion<double> rotation; ///< q and −q are one
    Direction<Cell> velocity;    ///< of the flange's origin, m/s; read only where `has_rates`
    Direction<Cell> turning;     ///< angular velocity in the cell's axes, rad/s; read only where `has_rates`
};

/// The joints of an arm as they arrive, unchecked.
template <int N> struct JointMessage {
    MessageHead head;
    double joint[N]; ///< rad or m
    double rate[N];  ///< rad/s or m/s; read only where `has_rates`
};

/// One checked sample of D quantities: x, y, z and w, x, y, z of a unit quaternion that goes on from the one
/// before without a change of sign; or joints.
template <int D> struct Sample {
    RobotTime time;  ///< of what it speaks of
    double value[D]; ///< m, rad, or of the quaternion
    double rate[D];  ///< by time; read only where `has_rates`
    bool has_rates;
    SampleKind kind;
};

static_assert(std::is_trivially_copyable_v<PoseMessage> && std::is_trivially_copyable_v<JointMessage<6>> &&
              std::is_trivially_copyable_v<Sample<7>>);

} // namespace seamhold

#endif
