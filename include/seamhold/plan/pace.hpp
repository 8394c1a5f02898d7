#ifndef SEAMHOLD_PLAN_PACE_HPP
#define SEAMHOLD_PLAN_PACE_HPP

#include "seamhold/plan/pace_search.hpp"

#include <span>
#include <variant>

namespace seamhold {

/// The law that gets an order of tasks done in the least time, and their starts. Robot and welds go on
/// together: each task begins its least gap after the one before, and waits only where the robot's limits, or
/// a station, force it. The law is C², everywhere within `limits`, meets every station to 1e-9 s, and never
/// stands still. Where a constant speed is as good (to a billionth of the time), it is that.
///
/// How: between two waits the starts are fixed, and the states (u, u′) from which the rest can be done are a
/// convex set; it is carried back from task to task, then forth from the first task, waits being the
/// shortest that lead from one set into the next (see docs/plan.md). In steps of `options.step` the
/// acceleration is constant, so a wait is longer than it must be by what a ramp loses to that: under a
/// hundredth of the ramp. With one wait this is the least time; with several the waits are each the least
/// for what comes before, which need not make the least sum. Never worse than `fit_steady_pace`. Where limits
/// change along the path, those of all that the robot could have reached at that moment are kept: safe, and
/// slower than must be. A law that may be infinitely fast is held to some hundred times the mean.
///
/// A conflict is returned where no law fits, `between_tasks` also where only waits elsewhere would help.
/// Throws BadInput, naming the task, for numbers that are not finite, gaps or durations below 0, stations
/// outside their task, no tasks at all, and options that are not above 0.
inline std::variant<PacedPlan, PaceConflict>
fit_pace(std::span<PacedTask const> tasks, PaceLimits const& limits, PaceOptions const& options = {}) {
    return detail::PaceSearch(tasks, limits, options).best();
}

} // namespace seamhold

#endif
