#ifndef SEAMHOLD_LIVE_TRACE_HPP
#define SEAMHOLD_LIVE_TRACE_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/live/gate_reason.hpp"
#include "seamhold/live/tolerances.hpp"
#include "seamhold/live/trace_ring.hpp"

#include <cstdint>
#include <type_traits>

namespace seamhold {

/// One tick as it is kept: what had been received by then, what was predicted, what was commanded.
struct TraceRow {
    ScannerTime time; ///< of the tick

    std::uint64_t forecast; ///< number of the newest forecast; 0: none yet
    RobotTime stamp;        ///< of what its newest sample speaks
    ScannerTime arrived;    ///< when that sample arrived
    StreamFault fault;      ///< of the stream

    Point<Cell> spot;  ///< where the light is predicted to be, m
    Deviations stated; ///< the stated error of that, m
    double horizon;    ///< from the newest sample to the moment predicted, s

    Command<> command;  ///< as handed to the head
    double power;       ///< of the laser, W
    Status status;      ///< of the command
    bool open;          ///< the gate
    bool dry;           ///< a dry run
    GateCause cause;    ///< why it is not open
    std::uint32_t seam; ///< that is asked for, from 0
    double arc_length;  ///< of the spot along it, m
};

static_assert(std::is_trivially_copyable_v<TraceRow>);

/// The last ticks.
using Trace = TraceRing<TraceRow>;

} // namespace seamhold

#endif
