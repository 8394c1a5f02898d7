#ifndef SEAMHOLD_BUDGET_REQUIRED_HPP
#define SEAMHOLD_BUDGET_REQUIRED_HPP

#include "seamhold/budget/seam_budget.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <limits>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// How large a source may be so that the seam is within its tolerance, all others kept as they are.
struct RequiredDeviation {
    std::string name;   ///< of the source
    std::size_t source; ///< which of the budget's sources
    bool possible;      ///< false: even without it the seam would not be within
    double factor; ///< its deviations may be this many times those given; ∞ where it does nothing, 0 where
                   ///< it is not possible
    double arc_length; ///< of the point that decides, m
    bool by_along;     ///< whether the tolerance along decides there

    /// In a sentence, for a report.
    std::string in_words() const {
        if (!possible)
            return name + ": even without it the seam would not be within its tolerance";
        if (!is_finite(factor))
            return name + ": does not matter";
        char text[160];
        std::snprintf(text, sizeof text,
                      ": may be %.3g times what it is; decided %.1f mm along the seam, by the "
                      "tolerance %s it",
                      factor, 1e3 * arc_length, by_along ? "along" : "across");
        return name + text;
    }
};

/// What deviations would bring a seam within its tolerance.
struct Required {
    RequiredDeviation together;             ///< one factor on all sources
    std::vector<RequiredDeviation> sources; ///< one source at a time, in the order of the ranking
    RequiredDeviation fewest; ///< one factor on the first sources of the ranking only, as few as suffice
    std::size_t count_of_fewest =
        0; ///< how many these are; 0 where the seam is within its tolerance as it is
};

namespace detail {

/// What must hold at one point: a variance of at most `allowed`, below 0 where none is small enough.
struct VarianceCondition {
    BudgetPoint const* point;
    bool by_along;
    double allowed;

    double of(SurfaceCovariance const& c) const { return by_along ? c.along : c.across; }
};

/// All that must hold of a budget.
inline std::vector<VarianceCondition> conditions_of(SeamBudget const& budget) {
    auto const& tolerance = *budget.options.tolerance;
    std::vector<VarianceCondition> all;
    auto const add = [&](BudgetPoint const& point, bool by_along, double mean, double allowed_to) {
        double const deviation = largest_deviation(mean, allowed_to, budget.options.probability);
        if (is_finite(deviation))
            all.push_back({&point, by_along, deviation < 0 ? -1 : sqr(deviation)});
    };
    for (auto const& point : budget.points) {
        add(point, false, point.across_shift, tolerance.across);
        if (point.is_end)
            add(point, true, point.along_shift, tolerance.along_at_ends);
    }
    return all;
}

/// The largest factor on the deviations of the first `count` of some sources with which all conditions hold:
/// total − own + own · factor² ≤ allowed.
inline RequiredDeviation required_of(std::string name, std::vector<RankedSource>::const_iterator first,
                                     std::size_t count, std::vector<VarianceCondition> const& conditions) {
    RequiredDeviation answer{std::move(name),
                             count == 1 ? first->source : 0,
                             true,
                             std::numeric_limits<double>::infinity(),
                             0,
                             false};
    for (auto const& condition : conditions) {
        double own = 0;
        for (std::size_t k = 0; k < count; ++k)
            own += condition.of(
                condition.point->contributions[(first + static_cast<std::ptrdiff_t>(k))->source].covariance);
        double const total = condition.of(condition.point->covariance);
        double const left = condition.allowed - (total - own);
        // A rest of rounding where these sources are all there is.
        bool const possible = condition.allowed >= 0 && left >= -1e-12 * total;
        double const factor = !possible ? 0.0
                              : own > 0 ? std::sqrt(std::max(left, 0.0) / own)
                                        : std::numeric_limits<double>::infinity();
        if (answer.possible && (!possible || factor < answer.factor)) {
            answer.possible = possible;
            answer.factor = factor;
            answer.arc_length = condition.point->arc_length;
            answer.by_along = condition.by_along;
        }
    }
    return answer;
}

} // namespace detail

/// For each source the largest factor on its deviations with which the spot is within the tolerance with the
/// probability wanted, at every point across and at the ends along, all other sources kept; one factor for
/// all; and one for the fewest that suffice, as ranked. Means stay as they are: what is known can be
/// corrected. Variances add, so each follows in closed form from the largest deviation that the tolerance
/// allows at a point
/// (`largest_deviation`). Throws BadInput where the budget was asked for without a tolerance.
inline Required required(SeamBudget const& budget) {
    if (!budget.options.tolerance)
        throw BadInput("what is required can only be said against a tolerance; the budget has none");
    auto const conditions = detail::conditions_of(budget);
    auto const& ranked = budget.ranked;
    Required result{detail::required_of("all sources together", ranked.begin(), ranked.size(), conditions),
                    {},
                    detail::required_of("nothing", ranked.begin(), 0, conditions)};
    for (auto one = ranked.begin(); one != ranked.end(); ++one)
        result.sources.push_back(detail::required_of(one->name, one, 1, conditions));
    std::string names;
    while (!result.fewest.possible && result.count_of_fewest < ranked.size()) {
        names += (names.empty() ? "" : " and ") + ranked[result.count_of_fewest].name;
        result.fewest = detail::required_of(names, ranked.begin(), ++result.count_of_fewest, conditions);
    }
    return result;
}

} // namespace seamhold

#endif
