#ifndef SEAMHOLD_LIVE_INTAKE_STATUS_HPP
#define SEAMHOLD_LIVE_INTAKE_STATUS_HPP

#include "seamhold/live/forecast.hpp"

#include <cstdint>

namespace seamhold {

/// What came of a message. Up to `repeated` the link is at fault, if anything: data are missing, no more.
/// From `not_finite` on the sender cannot be trusted.
enum class IntakeStatus : std::uint8_t {
    accepted,
    duplicate,       ///< came before, all of it
    late,            ///< older than the newest: it was overtaken
    repeated,        ///< the values of the one before once more, though it moves: the sender read too early
    not_finite,      ///< a number was not finite, or beyond ±1e6 m, rad or a second's part of them
    not_a_rotation,  ///< the quaternion's norm was not 1 within 1e-3
    frozen,          ///< repeated too often
    stuck_stamp,     ///< other values under the same stamp, or the same message again and again
    from_the_future, ///< the stamp is further ahead of the arrivals than it can be
    clock_step,      ///< the stamps jumped; the next message begins anew
    restarted        ///< the stamps or the count began anew; the next message begins anew
};

/// The fault that goes into a forecast; `none` where only data are missing.
constexpr StreamFault fault_of(IntakeStatus status) {
    switch (status) {
    case IntakeStatus::not_finite:
        return StreamFault::not_finite;
    case IntakeStatus::not_a_rotation:
        return StreamFault::not_a_rotation;
    case IntakeStatus::frozen:
        return StreamFault::frozen;
    case IntakeStatus::stuck_stamp:
        return StreamFault::stuck_stamp;
    case IntakeStatus::from_the_future:
        return StreamFault::from_the_future;
    case IntakeStatus::clock_step:
        return StreamFault::clock_step;
    case IntakeStatus::restarted:
        return StreamFault::restarted;
    case IntakeStatus::accepted:
    case IntakeStatus::duplicate:
    case IntakeStatus::late:
    case IntakeStatus::repeated:
        break;
    }
    return StreamFault::none;
}

} // namespace seamhold

#endif
