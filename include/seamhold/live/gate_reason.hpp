#ifndef SEAMHOLD_LIVE_GATE_REASON_HPP
#define SEAMHOLD_LIVE_GATE_REASON_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/limit/limit.hpp"
#include "seamhold/live/fingerprint.hpp"
#include "seamhold/live/forecast.hpp"
#include "seamhold/live/inputs.hpp"

#include <cstddef>
#include <cstdint>
#include <type_traits>

namespace seamhold {

/// Why the gate is shut. Where more than one applies, the first in this order is named.
enum class GateReason : std::uint8_t {
    none,          ///< it is open
    not_finite,    ///< the time, or a place on the seam, is not finite
    stopped,       ///< the user says so
    fingerprint,   ///< what is loaded is not what the plan was made for
    input,         ///< an outside input is not ready, or nobody says so in time
    writer_silent, ///< no sign of life from the receiving thread
    no_forecast,   ///< none yet
    stream_fault,  ///< the sender cannot be trusted
    stale_data,    ///< too long since the newest sample
    late_tick,     ///< the ticking thread itself stood still while the light was on, or its clock went back
    place_jumps,   ///< the place on the seam did not go on as time did while the light was on
    clocks_uncertain, ///< the clocks' uncertainty moves the spot by more than its share of a tolerance
    blending,         ///< a correction is under way that is larger than its share of a tolerance
    error_across,     ///< the stated errors add up to more than the tolerance across the seam,
    error_along,      ///< along it,
    error_focus,      ///< or along the beam
    out_of_reach,     ///< the head has no command for this place
    limit_passed,     ///< a limit is passed now
    limit_ahead,      ///< a limit will be passed within the stopping time
    sweep_speed,      ///< the robot's program runs at a speed for which nothing is proven
    dry_run,          ///< pilot light only; in a dry run: all else holds, with light it would be open
    no_seam,          ///< no light is wanted now
    begun_late,       ///< light was first wanted when the seam's start had passed
    shut_before,      ///< the gate was shut in this seam before, and stays shut in it
    welded_before     ///< this seam has been welded, and no new part was announced
};

/// The number of reasons, `none` among them.
inline constexpr std::size_t gate_reason_count = 25;

/// A reason in words.
constexpr char const* to_string(GateReason reason) {
    constexpr char const* names[gate_reason_count] = {"open",
                                                      "not finite",
                                                      "stopped by the user",
                                                      "another fingerprint",
                                                      "input not ready",
                                                      "receiving thread silent",
                                                      "no forecast yet",
                                                      "stream fault",
                                                      "stale data",
                                                      "late tick",
                                                      "place jumps",
                                                      "clocks uncertain",
                                                      "blending a correction",
                                                      "error across",
                                                      "error along",
                                                      "error of the focus",
                                                      "out of reach",
                                                      "limit passed",
                                                      "limit ahead",
                                                      "sweep speed",
                                                      "dry run",
                                                      "no seam",
                                                      "begun late",
                                                      "shut in this seam before",
                                                      "welded before"};
    return names[static_cast<std::size_t>(reason)];
}

/// What is wrong with a stream, in words.
constexpr char const* to_string(StreamFault fault) {
    constexpr char const* names[] = {"none",      "few samples", "not finite",      "not a rotation",
                                     "frozen",    "stuck stamp", "from the future", "clock step",
                                     "restarted", "disagrees"};
    return names[static_cast<std::size_t>(fault)];
}

/// Why the gate is shut, with what was seen and what is allowed.
struct GateCause {
    GateReason reason;
    std::uint8_t which; ///< `input`: the number of the input, from 0; `stream_fault`: a StreamFault;
                        ///< `out_of_reach`: a Status; `limit_passed`, `limit_ahead`: a Limit;
                        ///< `fingerprint`: a FingerprintPart; otherwise 0
    double value;       ///< what was seen: s, m, a share or a utilisation; 0 where nothing was measured
    double allowed;     ///< the end of what is allowed that it passed
};

static_assert(std::is_trivially_copyable_v<GateCause>);

/// What `which` names, in words; empty where it names nothing, and for an input, whose name only
/// `ExternalInputs` knows.
constexpr char const* detail_of(GateCause const& cause) {
    switch (cause.reason) {
    case GateReason::stream_fault:
        return to_string(static_cast<StreamFault>(cause.which));
    case GateReason::out_of_reach:
        return to_string(static_cast<Status>(cause.which));
    case GateReason::limit_passed:
    case GateReason::limit_ahead:
        return to_string(static_cast<Limit>(cause.which));
    case GateReason::fingerprint:
        return to_string(static_cast<FingerprintPart>(cause.which));
    default:
        return "";
    }
}

} // namespace seamhold

#endif
