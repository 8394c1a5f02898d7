#ifndef SEAMHOLD_STATISTICS_CROSSING_HPP
#define SEAMHOLD_STATISTICS_CROSSING_HPP

#include "seamhold/number/number.hpp"
#include "seamhold/statistics/bounds.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <utility>

namespace seamhold {

/// What the set of places looks like at which a line may reach a value.
enum class CrossingSet {
    between, ///< from bounds.low to bounds.high, of which one may be infinite: the slope is clearly not 0
    outside, ///< up to bounds.low and from bounds.high on: the slope may be 0, but the value is not met there
    anywhere, ///< every x: neither slope nor height rule any place out
    nowhere   ///< no x: a line that is certainly level and certainly elsewhere (residuals all 0)
};

/// Where a line reaches a value.
struct LineCrossing {
    double place;    ///< where the fitted line does; infinite for a level line
    CrossingSet set; ///< the shape of the confidence set
    Bounds bounds;   ///< its ends; for `anywhere` −∞ and ∞, for `nowhere` NaN

    /// Whether an x belongs to the confidence set.
    bool contains(double x) const {
        switch (set) {
        case CrossingSet::between:
            return bounds.contains(x);
        case CrossingSet::outside:
            return x <= bounds.low || bounds.high <= x;
        case CrossingSet::anywhere:
            return true;
        default:
            return false;
        }
    }

    /// The first and the last place of the set at or after x, such as the days from today on at which a trend
    /// may leave its tolerance; the last is infinite where nothing bounds it. Nothing where the set ends
    /// before x.
    std::optional<Bounds> from(double x) const {
        double const infinity = std::numeric_limits<double>::infinity();
        if (set == CrossingSet::between)
            return bounds.high < x ? std::nullopt
                                   : std::optional(Bounds{std::max(x, bounds.low), bounds.high});
        if (set == CrossingSet::nowhere)
            return std::nullopt;
        return Bounds{contains(x) ? x : bounds.high, infinity};
    }
};

namespace detail {

/// The u + centre for which (height + slope u)² ≤ a + b u², by E. C. Fieller, J. Royal Statistical Society B
/// 16 (1954), 175–185 (from memory).
inline LineCrossing fieller(double centre, double height, double slope, double a, double b) {
    double const infinity = std::numeric_limits<double>::infinity();
    LineCrossing crossing{centre - height / slope, CrossingSet::anywhere, {-infinity, infinity}};
    if (slope == 0)
        crossing.place = infinity;
    // (slope² − b) u² + 2 slope height u + height² − a ≤ 0.
    double const square = sqr(slope) - b;
    double const half = slope * height;
    double const rest = sqr(height) - a;
    // half² − square · rest, without the cancellation.
    double const inside = sqr(slope) * a + b * rest;
    if (square == 0 && half == 0) { // a level line without scatter
        if (rest > 0)
            crossing = {infinity,
                        CrossingSet::nowhere,
                        {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::quiet_NaN()}};
        return crossing;
    }
    if (inside < 0)
        return crossing;
    // The two roots, each without cancellation.
    double const sum = -(half + std::copysign(std::sqrt(inside), half));
    double const one = sum / square; // infinite where square is 0
    double const other = sum != 0 ? rest / sum : 0.0;
    double const low = std::min(one, other), high = std::max(one, other);
    crossing.bounds = {centre + low, centre + high};
    crossing.set = square >= 0 ? CrossingSet::between : CrossingSet::outside;
    return crossing;
}

} // namespace detail

} // namespace seamhold

#endif
