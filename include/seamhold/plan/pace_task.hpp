#ifndef SEAMHOLD_PLAN_PACE_TASK_HPP
#define SEAMHOLD_PLAN_PACE_TASK_HPP

#include "seamhold/motion/time_law.hpp"
#include "seamhold/number/bad_input.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace seamhold {

/// Where the robot must be at one instant of a task: its path's own time u between `low` and `high`, s.
struct ReachStation {
    double offset; ///< since the task's start, s
    double low;    ///< s of the path's own time
    double high;   ///< same
};

/// One task of an order that is fixed: a seam that is welded while the robot moves on.
struct PacedTask {
    double gap_before; ///< least time since the end of the task before, s; of the first: not read
    double duration;   ///< s
    std::vector<ReachStation> stations; ///< offsets from 0 to the duration
};

/// Start times and the law that goes with them. The first task starts at 0 of the law's time.
struct PacedPlan {
    std::vector<double> starts; ///< of the tasks in their order, s
    TimeLaw law;                ///< at constant speed before the first start and after the last end
    double total;               ///< from the first start to the last end, s
    double waiting;             ///< of that beyond tasks and least gaps, s
};

/// Why no law fits.
enum class PaceObstacle : std::uint8_t {
    station_empty, ///< a station's low is above its high, or the path does not come there
    runs_back,     ///< the order needs the robot to go back to where it was before
    within_task,   ///< from one station of a task to the next there is not enough time, or too much
    between_tasks  ///< no way from one task to the next keeps both tasks' stations and the robot's limits
};

/// An order that no law fits.
struct PaceConflict {
    PaceObstacle obstacle;
    std::size_t task; ///< index of the task that cannot be reached
    std::size_t
        other; ///< index of the earlier task that stands in the way; `task` itself where there is none
    double by; ///< the smallest widening of the task's stations, s of u, that would do; ∞: not known
};

/// A conflict in words, tasks counted from 0.
inline std::string to_string(PaceConflict const& c) {
    std::string const task = "task " + std::to_string(c.task);
    std::string const other = "task " + std::to_string(c.other);
    std::string const by = detail::text_of(c.by) + " s of the path";
    switch (c.obstacle) {
    case PaceObstacle::station_empty:
        return task + " has a station that no place of the path meets; it is empty by " + by;
    case PaceObstacle::runs_back:
        return task + " is behind the robot after " + other +
               ": it must be earlier in the order, or its stations reach further by " + by;
    case PaceObstacle::within_task:
        return task +
               " needs the robot faster or slower than it can move from one of its stations to the "
               "next; it would do with stations wider by " +
               by;
    case PaceObstacle::between_tasks:
        break;
    }
    return task + " cannot be reached after " + other +
           " within the robot's limits, however long it waits between them" +
           (c.by < 1e300 ? "; it would do with stations wider by " + by : "");
}

} // namespace seamhold

#endif
