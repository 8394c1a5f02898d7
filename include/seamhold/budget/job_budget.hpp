#ifndef SEAMHOLD_BUDGET_JOB_BUDGET_HPP
#define SEAMHOLD_BUDGET_JOB_BUDGET_HPP

#include "seamhold/budget/seam_budget.hpp"
#include "seamhold/follow/job.hpp"

#include <algorithm>
#include <vector>

namespace seamhold {

/// The budgets of all seams of a job, the worst first: the one most probably outside the tolerance; without a
/// tolerance, and among equals, the one that scatters most across. Throws as `budget_of` for a seam does, and
/// for a job without seams.
inline std::vector<SeamBudget> budget_of(Job const& job, std::vector<ErrorSource> const& sources,
                                         BudgetOptions const& options = {}) {
    if (job.seams.empty())
        throw BadInput("a job without seams has no budget");
    std::vector<SeamBudget> budgets;
    budgets.reserve(job.seams.size());
    for (auto const& scheduled : job.seams)
        budgets.push_back(
            budget_of(job.chain, scheduled.seam, scheduled.start, sources, options, scheduled.name));
    std::stable_sort(budgets.begin(), budgets.end(), [](SeamBudget const& a, SeamBudget const& b) {
        return detail::badness(a.worst_point(), a.options) > detail::badness(b.worst_point(), b.options);
    });
    return budgets;
}

} // namespace seamhold

#endif
