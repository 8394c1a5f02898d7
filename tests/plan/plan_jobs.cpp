#include "plan/plan_jobs.hpp"

#include "seamhold/limit/job_proof.hpp"
#include "seamhold/plan/planner.hpp"

#include <utility>

namespace seamhold::test {

Plan planned(Job const& job, PlanRules const& rules, PlanSettings const& settings) {
    return plan(job, rules, settings);
}

std::string refusal(Job const& job, PlanRules const& rules, PlanSettings const& settings) {
    try {
        plan(job, rules, settings);
    } catch (BadInput const& e) {
        return e.what();
    }
    return {};
}

HeadsMade planned_heads(std::vector<Job> const& jobs, PlanRules const& rules, PlanSettings const& settings) {
    auto made = plan_heads(jobs, rules, settings);
    return {std::move(made.heads), made.takt, made.beam_on};
}

std::vector<SeamProof> proofs_of(Job const& job, ProofOptions const& options) {
    return prove_job(job, options).seams;
}

} // namespace seamhold::test
