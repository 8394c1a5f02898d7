#ifndef SEAMHOLD_BUDGET_SEAM_BUDGET_HPP
#define SEAMHOLD_BUDGET_SEAM_BUDGET_HPP

#include "seamhold/budget/budget_point.hpp"
#include "seamhold/budget/source_root.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

namespace detail {

/// Throws BadInput for a tolerance or a probability that cannot be meant.
inline void check(BudgetOptions const& options) {
    if (options.points < 2)
        throw BadInput("a budget needs 2 points or more; given " + std::to_string(options.points));
    if (!(options.probability >= 0.5 && options.probability < 1))
        throw BadInput("the probability wanted must be from 0.5 to below 1; given was " +
                       text_of(options.probability));
    if (!options.tolerance)
        return;
    auto const check_one = [](char const* what, double tolerance) {
        if (!(tolerance > 0))
            throw BadInput(std::string("a seam's tolerance ") + what + " must be above 0; given was " +
                           text_of(tolerance) + " m");
        if (tolerance > 0.1 && is_finite(tolerance))
            throw BadInput(std::string("a seam's tolerance ") + what + " of " + text_of(tolerance) +
                           " m is more than 0.1 m: are these millimetres?");
    };
    check_one("across", options.tolerance->across);
    check_one("along at its ends", options.tolerance->along_at_ends);
}

/// The moments of a seam at which a budget is taken: evenly along its arc length; for a point that is held,
/// evenly in time. s after its start.
template <class SeamType> std::vector<double> budget_times(SeamType const& seam, std::size_t points) {
    std::vector<double> times(points);
    for (std::size_t i = 0; i < points; ++i) {
        double const share = static_cast<double>(i) / static_cast<double>(points - 1);
        times[i] = seam.length() > 0 ? seam.travel.time_at(share * seam.length()) : share * seam.duration();
    }
    return times;
}

/// The moments of a seam as believed. Throws BadInput, naming the seam, where the head cannot follow.
template <class ChainType, class SeamType>
std::vector<SpotUnderErrors<ChainType>> believed(ChainType const& chain, SeamType const& seam, double start,
                                                 std::size_t points, std::string const& name) {
    if (!is_finite(start))
        throw BadInput("seam " + name + ": the start time is not finite");
    std::vector<SpotUnderErrors<ChainType>> spots;
    spots.reserve(points);
    try {
        for (double const time : budget_times(seam, points))
            spots.emplace_back(chain, seam, time, start + time);
    } catch (BadInput const& error) {
        throw BadInput("seam " + name + ": " + error.what());
    }
    return spots;
}

/// What one source does by the sensitivities of a point.
inline Contribution contribution_of(RootedSource const& rooted, SpotSensitivities const& by) {
    Contribution c{};
    for (auto const& column : rooted.root) {
        double const along = column.through(by.along), across = column.through(by.across);
        c.covariance = c.covariance + SurfaceCovariance{sqr(along), sqr(across), along * across};
        c.defocus_variance += sqr(column.through(by.defocus));
    }
    auto const& source = rooted.source;
    for (std::size_t i = 0; i < source.place.count && source.mean.size() != 0; ++i) {
        c.along_shift += by.along[source.place.first + i] * source.mean_of(i);
        c.across_shift += by.across[source.place.first + i] * source.mean_of(i);
        c.defocus_shift += by.defocus[source.place.first + i] * source.mean_of(i);
    }
    return c;
}

/// The means of all sources, summed.
inline ErrorNumbers<> mean_of(std::vector<RootedSource> const& sources) {
    ErrorNumbers<> e{};
    for (auto const& [source, root] : sources)
        for (std::size_t i = 0; i < source.place.count; ++i)
            e[source.place.first + i] += source.mean_of(i);
    return e;
}

/// How far the exact spot is from the first order three deviations across, m.
template <class Spot>
double beyond_first_order(Spot const& spot, BudgetPoint const& point,
                          std::vector<RootedSource> const& sources) {
    double const deviation = point.covariance.across_deviation();
    double farthest = 0;
    for (double const side : {-3.0, 3.0}) {
        ErrorNumbers<> e = mean_of(sources);
        for (auto const& rooted : sources)
            for (auto const& column : rooted.root)
                if (deviation > 0)
                    column.add_to(e, side * column.through(point.sensitivities.across) / deviation);
        double const straight = point.across_shift + side * deviation;
        farthest = std::max(farthest, std::abs(spot.at(e).across - straight));
    }
    return farthest;
}

/// The sources of a seam in the order of what they do across it.
inline std::vector<RankedSource> ranked(std::vector<RootedSource> const& sources,
                                        std::vector<BudgetPoint> const& points) {
    std::vector<RankedSource> all;
    double total = 0;
    for (std::size_t k = 0; k < sources.size(); ++k) {
        RankedSource one{sources[k].source.name, k, 0, 0, 0, 0, 0};
        for (auto const& point : points) {
            auto const& c = point.contributions[k];
            double const across = c.covariance.across + sqr(c.across_shift);
            one.across_deviation += across;
            one.along_deviation += c.covariance.along + sqr(c.along_shift);
            if (std::sqrt(across) > one.largest_across) {
                one.largest_across = std::sqrt(across);
                one.largest_at = point.arc_length;
            }
        }
        total += one.across_deviation;
        one.share = one.across_deviation;
        auto const n = static_cast<double>(points.size());
        one.across_deviation = std::sqrt(one.across_deviation / n);
        one.along_deviation = std::sqrt(one.along_deviation / n);
        all.push_back(std::move(one));
    }
    for (auto& one : all)
        one.share = total > 0 ? one.share / total : 0.0;
    std::stable_sort(all.begin(), all.end(),
                     [](RankedSource const& a, RankedSource const& b) { return a.share > b.share; });
    return all;
}

/// How bad a point is: by what is outside, then by what is across.
inline std::pair<double, double> badness(BudgetPoint const& point, BudgetOptions const& options) {
    return {options.tolerance ? point.outside(*options.tolerance) : 0.0,
            point.covariance.across + sqr(point.across_shift)};
}

} // namespace detail

/// The budget of a seam that starts at `start`, s of the robot's clock. All sources are carried to the face
/// to first order by exact derivatives; each point has the covariance along and across, the shift of the mean
/// spot, the defocus, and what each source gives. Kinds of sources do not matter here, since a point does not
/// know of its neighbours; see `monte_carlo` for the seam as a whole. Errors of the first order grow with the
/// square of the deviations: see `BudgetPoint::beyond_first_order`. Throws BadInput, naming source or seam,
/// without a source, for a source that `checked` refuses or two of one name, a tolerance that is not above 0
/// or looks like millimetres, and where the head cannot follow the seam or a motion has no data (with the
/// status).
template <class ChainType, class SeamType>
SeamBudget budget_of(ChainType const& chain, SeamType const& seam, double start,
                     std::vector<ErrorSource> const& sources, BudgetOptions const& options = {},
                     std::string const& name = "of the budget") {
    detail::check(options);
    auto const rooted = detail::rooted(sources);
    auto const spots = detail::believed(chain, seam, start, options.points, name);
    SeamBudget budget{name, options, sources, {}, {}, 0};
    budget.points.reserve(spots.size());
    for (std::size_t i = 0; i < spots.size(); ++i) {
        auto const& spot = spots[i];
        BudgetPoint point{
            spot.arc_length(), spot.time(), spot.incidence(), i == 0 || i + 1 == spots.size(), {}};
        point.sensitivities = spot.sensitivities();
        point.contributions.reserve(rooted.size());
        for (auto const& source : rooted) {
            auto const c = detail::contribution_of(source, point.sensitivities);
            point.covariance = point.covariance + c.covariance;
            point.along_shift += c.along_shift;
            point.across_shift += c.across_shift;
            point.defocus_variance += c.defocus_variance;
            point.defocus_shift += c.defocus_shift;
            point.contributions.push_back(c);
        }
        point.beyond_first_order = detail::beyond_first_order(spot, point, rooted);
        budget.points.push_back(std::move(point));
    }
    budget.ranked = detail::ranked(rooted, budget.points);
    for (std::size_t i = 1; i < budget.points.size(); ++i)
        if (detail::badness(budget.points[i], options) >
            detail::badness(budget.points[budget.worst], options))
            budget.worst = i;
    return budget;
}

} // namespace seamhold

#endif
