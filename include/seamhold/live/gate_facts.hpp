#ifndef SEAMHOLD_LIVE_GATE_FACTS_HPP
#define SEAMHOLD_LIVE_GATE_FACTS_HPP

#include "seamhold/live/gate_reason.hpp"
#include "seamhold/live/tolerances.hpp"

#include <cstdint>
#include <limits>
#include <optional>
#include <type_traits>

namespace seamhold {

/// What the gate is told at a tick. What is left as it is here keeps it shut. Trivially copyable.
struct GateFacts {
    /// A fact that nobody knows.
    static constexpr double unknown = std::numeric_limits<double>::quiet_NaN();

    ScannerTime now = {unknown};
    bool welding = false;           ///< light is wanted from this tick on, the laser's own delays counted in
    std::uint32_t seam = 0;         ///< its number, from 0
    double seam_time = unknown;     ///< of the moment that the light reaches, s after the seam's start
    double seam_duration = unknown; ///< s
    double arc_length = unknown;    ///< of the spot along the seam at that moment, m

    bool has_forecast = false;
    StreamFault fault = StreamFault::few_samples;
    double data_age = unknown;         ///< since the newest sample arrived, s
    double horizon = unknown;          ///< from the newest sample to the moment that is predicted, s; below 0
                                       ///< where set-points lie ahead of it
    ScannerTime heartbeat = {unknown}; ///< the last sign of life from the receiving thread
    Deviations stated = Deviations::same(unknown); ///< errors that the forecast states, see `stated_error`
    Deviations clock = Deviations::same(unknown);  ///< uncertainty of the clocks, as the stated bound of it,
                                                   ///< times the flange's part in the spot's speed
    Deviations blend = Deviations::same(unknown);  ///< what a blend has still to go
    double program_rate = unknown;                 ///< of the robot's program, measured: 1 at full override

    Status status = Status::no_data;    ///< of this tick's command
    double utilisation_now = unknown;   ///< the worst, 1 is the limit,
    Limit limit_now = Limit::reach;     ///< and of what
    double utilisation_ahead = unknown; ///< the worst up to the end of the stopping time,
    Limit limit_ahead = Limit::reach;   ///< and of what

    InputVerdict inputs = {InputFault::never_stamped, 0, 0};
    std::optional<FingerprintPart> other_fingerprint = FingerprintPart::head; ///< the first part that differs
    bool dry_run = false;                                                     ///< with pilot light only
    bool stop = true;                                                         ///< the user wants no light
};

static_assert(std::is_trivially_copyable_v<GateFacts>);

/// What the gate allows. The times are ours, for robots that send every 1 to 12 ms and ticks of 10 µs.
struct GateSettings {
    Tolerances tolerances;         ///< see `default_tolerances`
    double clock_share = 0.5;      ///< of each tolerance that the clocks' uncertainty may take up
    double blend_share = 0.5;      ///< of each tolerance that a blend may have still to go
    double longest_age = 0.05;     ///< since the newest sample arrived, s
    double longest_horizon = 0.05; ///< beyond the newest sample, s; mostly the stated error ends it before
    double longest_silence = 0.05; ///< of the receiving thread, s
    double longest_tick = 0.5e-3;  ///< from one tick to the next while the light is on, s
    double slack = 0.5e-3;         ///< how much of a seam may be missing at either end, s; two ticks or more
    Range sweep = {0.98, 1.02};    ///< program rates for which the job was proven
    bool reopen_in_seam = false;   ///< whether a seam that was interrupted goes on, with a gap
    bool begin_late = false;       ///< whether a seam whose start was missed is welded from where it can be
};

} // namespace seamhold

#endif
