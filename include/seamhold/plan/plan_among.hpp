#ifndef SEAMHOLD_PLAN_PLAN_AMONG_HPP
#define SEAMHOLD_PLAN_PLAN_AMONG_HPP

#include "seamhold/limit/surroundings.hpp"
#include "seamhold/plan/planner.hpp"

#include <concepts>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// A plan among clamps, fixture and guards.
struct PlanAmong {
    Plan plan;
    std::vector<SightProof> sights; ///< of each seam, in order of time: all within
};

/// A plan, see `plan`, of which it is proven too that the beam passes every clamp and stays in the guarded
/// directions (`prove_sight`, with the box of `settings.proof`). The search does not know of clamps that
/// stand in the way: where one does, the plan is refused. Throws BadInput then, naming seam, clamp and time;
/// and as `plan` and `prove_sight` do.
template <std::same_as<Job> AnyJob>
PlanAmong plan_among(AnyJob const& job, Surroundings const& around, PlanRules const& rules = {},
                     PlanSettings const& settings = {}) {
    PlanAmong found{plan(job, rules, settings), {}};
    found.sights = prove_sight(found.plan.job, around, settings.proof);
    for (std::size_t i = 0; i < found.sights.size(); ++i)
        if (found.sights[i].verdict() != Verdict::within) {
            auto const& seam = found.plan.seams[i];
            throw BadInput("seam " + seam.name + " is not proven free: " + found.sights[i].found() +
                           "; it starts at " + detail::text_of(seam.start) + " s and may start from " +
                           detail::text_of(seam.earliest) + " to " + detail::text_of(seam.latest) +
                           " s: a rule on its start, or another tilt of the sweep, may bring it clear");
        }
    return found;
}

} // namespace seamhold

#endif
