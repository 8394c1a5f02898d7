#ifndef SEAMHOLD_BUDGET_SEAM_BUDGET_HPP
#define SEAMHOLD_BUDGET_SEAM_BUDGET_HPP

#include "seamhold/budget/error_source.hpp"
#include "seamhold/budget/spot_under_errors.hpp"
#include "seamhold/budget/surface_covariance.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// How far the spot may be from the seam, to each side, m.
struct SeamTolerance {
    double across;                                                  ///< everywhere
    double along_at_ends = std::numeric_limits<double>::infinity(); ///< where the seam begins and ends
};

/// How a budget is asked for.
struct BudgetOptions {
    std::size_t points = 51;                     ///< along the seam, both ends among them
    std::optional<SeamTolerance> tolerance = {}; ///< where there is one
    double probability = 0.9973; ///< with which a point is to be within it; three deviations: common
                                 ///< practice, no source
};

/// What one source does to the spot at one point.
struct Contribution {
    SurfaceCovariance covariance; ///< m²
    double along_shift;           ///< by its mean, m
    double across_shift;          ///< m
    double defocus_variance;      ///< m²
    double defocus_shift;         ///< m
};

/// The spot at one point of a seam, to first order of all errors.
struct BudgetPoint {
    double arc_length;             ///< m
    double time;                   ///< of the robot's clock, s
    double incidence;              ///< rad
    bool is_end;                   ///< whether the seam begins or ends here
    SurfaceCovariance covariance;  ///< of all sources, m²
    double along_shift = 0;        ///< of the mean spot, m
    double across_shift = 0;       ///< of the mean spot to the left of travel, m
    double defocus_variance = 0;   ///< m²
    double defocus_shift = 0;      ///< of the focus beyond where it is wanted, along the beam, m
    double beyond_first_order = 0; ///< how far across the exact spot is from what the first order says, at
                                   ///< the likeliest errors that bring it three deviations to a side, m
    SpotSensitivities sensitivities = {};         ///< of the spot to each error number
    std::vector<Contribution> contributions = {}; ///< in the order of the sources

    /// The deviation of the focus along the beam, m.
    double defocus_deviation() const { return std::sqrt(std::max(defocus_variance, 0.0)); }

    /// The probability that the spot is more than `tolerance` m from the seam, normal errors assumed.
    double outside_across(double tolerance) const {
        return probability_outside(across_shift, covariance.across_deviation(), tolerance);
    }

    /// The same along the seam.
    double outside_along(double tolerance) const {
        return probability_outside(along_shift, covariance.along_deviation(), tolerance);
    }

    /// The larger of both: across everywhere, along at the ends.
    double outside(SeamTolerance const& tolerance) const {
        double const across = outside_across(tolerance.across);
        return is_end ? std::max(across, outside_along(tolerance.along_at_ends)) : across;
    }
};

/// A source in the order of what it does across the seam.
struct RankedSource {
    std::string name;
    std::size_t source;      ///< which of the sources
    double across_deviation; ///< root of the mean over the points of variance and squared shift, m
    double along_deviation;  ///< the same along, m
    double share;            ///< of the sum of these squares across of all sources, 0 to 1
    double largest_across;   ///< at the point where it is most: root of variance and squared shift, m
    double largest_at;       ///< where, arc length, m
};

/// What the errors of a seam's sources do to the spot. A prediction for the deviations that were given, not a
/// proof.
struct SeamBudget {
    std::string seam;
    BudgetOptions options;
    std::vector<ErrorSource> sources;
    std::vector<BudgetPoint> points;
    std::vector<RankedSource> ranked; ///< what does most across the seam first
    std::size_t worst =
        0; ///< the point most probably outside the tolerance; without one, that with most across

    /// The worst point.
    BudgetPoint const& worst_point() const { return points[worst]; }

    /// The probability that the spot is within the tolerance at the worst point. 1 without a tolerance.
    double probability_within() const {
        return options.tolerance ? 1 - worst_point().outside(*options.tolerance) : 1.0;
    }

    /// Whether every point is within the tolerance with the probability wanted.
    bool within() const {
        return !options.tolerance || worst_point().outside(*options.tolerance) <= 1 - options.probability;
    }
};

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
