#ifndef SEAMHOLD_LIVE_LIVE_TICK_HPP
#define SEAMHOLD_LIVE_LIVE_TICK_HPP

#include "seamhold/live/gate_reason.hpp"
#include "seamhold/live/tolerances.hpp"

#include <cstdint>
#include <type_traits>

namespace seamhold {

/// What is handed to scanner and laser at one tick.
struct LiveTick {
    ScannerTime time;
    Command<> command; ///< to the scanner; the axes answer late, which is counted in; within their ranges
    bool gate;         ///< light may be on from now until the next tick
    bool pilot; ///< pilot light may be on: nobody said stop, and the head reaches its place (or is on the way
                ///< there); it shows what the mirrors do, whatever the gate says
    double power;       ///< of the laser at the work, W; 0 with the gate shut
    GateCause cause;    ///< why the gate is shut
    Status status;      ///< of what is commanded
    std::uint32_t seam; ///< that the light is in or waits for
    double seam_time;   ///< where the light is or would be, s after the seam's start
    double arc_length;  ///< the same along the seam, m
    Deviations stated;  ///< error that is stated for the spot, m
    double horizon;     ///< from the newest sample to the moment that is predicted, s
};

static_assert(std::is_trivially_copyable_v<LiveTick>);

} // namespace seamhold

#endif
