#ifndef SEAMHOLD_PLAN_PLAN_RULES_HPP
#define SEAMHOLD_PLAN_PLAN_RULES_HPP

#include "seamhold/plan/clamp_times.hpp"
#include "seamhold/plan/fume_order.hpp"
#include "seamhold/plan/plume.hpp"

#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// A tie of two seams to an order.
struct SeamTie {
    std::string first;
    std::string then; ///< starts not before `first` has ended and the gap is over
    double gap = 0;   ///< s
};

/// A seam that may not start before a time.
struct EarliestStart {
    std::string seam;
    double time; ///< s of the robot's clock
};

/// Two seams that stay apart in time, whichever is first.
struct SeamCooling {
    std::string one;
    std::string other;
    double time; ///< from the end of the earlier one to the start of the later one, s
};

/// What the order of a job's seams must obey. Which of it applies, and with what numbers, is the welding
/// engineer's to say; nothing here replaces a qualified welding procedure.
struct PlanRules {
    bool reversing = true;                          ///< seams may be welded from their end to their start
    std::vector<std::string> as_drawn;              ///< but not these
    std::vector<std::string> tacks;                 ///< before all others
    std::vector<std::vector<std::string>> in_order; ///< of each list one after the other: against distortion
    std::vector<SeamTie> ties;
    std::vector<SeamCooling> cooling;
    double heat_reach = 0;   ///< seams whose paths come nearer than this, m, are kept apart by
    double cooling_time = 0; ///< this time, s
    std::vector<ClampTime> clamps;
    std::vector<EarliestStart> earliest; ///< seams that must wait for something else
    std::optional<Plume> plume;          ///< above a fresh seam: no beam goes through it while it stands
    std::optional<FumeFlow> fume;        ///< how fume is drawn off: downstream seams first
    bool shared_laser = true;            ///< of several heads: one laser, so one seam at a time
    double laser_switch = 0; ///< from the end on one head to the start on another, s, of a shared laser
    double sight = 0; ///< of several lasers: two heads that weld at once keep their seams this far apart, m
};

} // namespace seamhold

#endif
