#ifndef SEAMHOLD_BUDGET_BUDGET_POINT_HPP
#define SEAMHOLD_BUDGET_BUDGET_POINT_HPP

#include "seamhold/budget/error_source.hpp"
#include "seamhold/budget/spot_under_errors.hpp"
#include "seamhold/budget/surface_covariance.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

/// What a budget is asked and answers.
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

    /// The larger of both: across everywhere, along at the ends. Either is missed at an end with at most
    /// their sum; `monte_carlo` counts that.
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

} // namespace seamhold

#endif
