#ifndef SEAMHOLD_FILE_JOB_LIMITS_HPP
#define SEAMHOLD_FILE_JOB_LIMITS_HPP

#include "seamhold/file/toml.hpp"
#include "seamhold/follow/change.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/limit/proof.hpp"
#include "seamhold/number/units.hpp"

#include <vector>

namespace seamhold {

/// How a job file wants its limits proven.
struct ProofSettings {
    ProofOptions options = {}; ///< the tolerance, and the box in `change`
    double cycle = 0;          ///< from one start of the job to the next, s; 0: without a pause
};

namespace detail {

/// What `[limits]` says.
struct ReadLimits {
    double largest_incidence; ///< rad
    SeamLimits seam;
    ProofSettings proof;
};

/// Tolerances of part, path and delay.
inline PoseBox read_box(TomlTable table) {
    constexpr Allowed turns{0, 5}; // a box of turns is enclosed for small ones
    PoseBox box;
    box.part_shift = millimetres(table.number_or("part_shift_mm", 0, zero_or_more));
    box.part_turn = degrees(table.number_or("part_turn_deg", 0, turns));
    box.path_shift = millimetres(table.number_or("path_shift_mm", 0, zero_or_more));
    box.path_turn = degrees(table.number_or("path_turn_deg", 0, turns));
    box.delay = milliseconds(table.number_or("delay_ms", 0, zero_or_more));
    table.finish();
    return box;
}

inline ReadLimits read_limits(TomlTable& table) {
    ReadLimits read{};
    double const largest = table.number("incidence_deg", {0, 90, false, true});
    read.largest_incidence = degrees(largest);
    if (table.has("least_incidence_deg"))
        read.seam.least_incidence = degrees(table.number("least_incidence_deg", {0, largest, false, false}));
    auto const angles = [&](char const* key, Range& part) {
        if (!table.has(key))
            return;
        auto const range = table.range(key, {-90, 90});
        part = {degrees(range[0]), degrees(range[1])};
    };
    angles("along_deg", read.seam.along);
    angles("across_deg", read.seam.across);
    if (table.has("spot_speed_m_per_min"))
        read.seam.spot_speed = metres_per_minute(table.number("spot_speed_m_per_min", above_zero));
    if (table.has("turning_share"))
        read.seam.turning_share = table.number("turning_share", above_zero);
    if (table.has("box"))
        read.proof.options.change.box = read_box(table.table("box"));
    if (table.has("cycle_s"))
        read.proof.cycle = table.number("cycle_s", above_zero);
    if (table.has("tolerance_percent"))
        read.proof.options.tolerance = table.number("tolerance_percent", {0.01, 10}) / 100;
    return read;
}

/// Fails where a cycle is shorter than the seams that it repeats.
inline void check_cycle(TomlTable& table, ProofSettings const& proof,
                        std::vector<ScheduledSeam> const& seams) {
    if (proof.cycle == 0 || seams.empty())
        return;
    double const lasts = seams.back().end() - seams.front().start;
    if (proof.cycle < lasts)
        table.fail("cycle_s", shortest(proof.cycle) +
                                  " is not allowed: from the first seam's start to the "
                                  "last one's end it is " +
                                  fixed(lasts, 4) + " s");
}

} // namespace detail

} // namespace seamhold

#endif
