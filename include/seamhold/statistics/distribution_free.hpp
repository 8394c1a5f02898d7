#ifndef SEAMHOLD_STATISTICS_DISTRIBUTION_FREE_HPP
#define SEAMHOLD_STATISTICS_DISTRIBUTION_FREE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <cstdint>
#include <string>

/// Tolerance limits whatever the distribution: limits that are readings, the r-th least and the m-th greatest
/// of n. Of the probability that they hold a share of all parts only the sum r + m matters, here the *ranks*:
/// 2 for the least and the greatest, 1 for one of them alone as a one-sided limit. Parts must be independent;
/// readings that are equal, as whole counts are, make the confidence larger than said.
namespace seamhold {

namespace detail {
/// Throws BadInput for what is no share.
inline void check_free_share(double share, char const* what) {
    if (!(share > 0 && share < 1))
        throw BadInput(std::string("a ") + what + " must lie between 0 and 1; given " + text_of(share));
}
} // namespace detail

/// The confidence that limits which cut off `ranks` ranks of `parts` readings hold the share `coverage` of
/// all parts: the probability that of so many readings as many ranks or more lie outside of the share, by the
/// binomial distribution. 0 where the limits would have passed each other (ranks above parts). Accurate to
/// 1e-13. Throws BadInput for no ranks and a coverage outside of (0, 1). Source: S. Wilks, "Determination of
/// sample sizes for setting tolerance limits", Annals of Mathematical Statistics 12 (1941) 91–96 (from
/// memory).
inline double distribution_free_confidence(std::uint64_t parts, std::uint64_t ranks, double coverage) {
    detail::check_free_share(coverage, "coverage");
    if (ranks == 0)
        throw BadInput("distribution-free limits are readings: they cut off 1 rank or more; given 0");
    if (ranks > parts)
        return 0;
    return boost::math::ibetac(static_cast<double>(parts - ranks) + 1, static_cast<double>(ranks), coverage,
                               detail::QuantilePolicy());
}

/// The most ranks that may be cut off so that the confidence stays `confidence` or more; 0 where the parts
/// are too few for any limit. Throws BadInput for shares outside of (0, 1).
inline std::uint64_t distribution_free_ranks(std::uint64_t parts, double coverage, double confidence) {
    detail::check_free_share(coverage, "coverage");
    detail::check_free_share(confidence, "confidence");
    std::uint64_t low = 0, high = parts + 1; // low is allowed, high is not
    while (high - low > 1) {
        std::uint64_t const middle = low + (high - low) / 2;
        (distribution_free_confidence(parts, middle, coverage) >= confidence ? low : high) = middle;
    }
    return low;
}

/// The least number of parts for which limits that cut off `ranks` ranks reach the confidence: 2 for the
/// least and the greatest reading, 1 for a one-sided limit. Throws BadInput for no ranks, shares outside of
/// (0, 1), and where a million million parts are not enough.
inline std::uint64_t distribution_free_parts(double coverage, double confidence, std::uint64_t ranks = 2) {
    detail::check_free_share(confidence, "confidence");
    std::uint64_t low = 0, high = 1; // low is not enough
    while (distribution_free_confidence(high, ranks, coverage) < confidence) {
        low = high;
        high *= 2;
        if (high > 1000000000000U)
            throw BadInput("more than a million million parts are needed to hold a share of " +
                           detail::text_of(coverage) + " with a confidence of " +
                           detail::text_of(confidence));
    }
    while (high - low > 1) {
        std::uint64_t const middle = low + (high - low) / 2;
        (distribution_free_confidence(middle, ranks, coverage) >= confidence ? high : low) = middle;
    }
    return high;
}

} // namespace seamhold

#endif
