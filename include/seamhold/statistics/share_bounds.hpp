#ifndef SEAMHOLD_STATISTICS_SHARE_BOUNDS_HPP
#define SEAMHOLD_STATISTICS_SHARE_BOUNDS_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <cstdint>
#include <string>

namespace seamhold {

/// Between which a true share lies of which `seen` in `of` independent cases were met, with a confidence
/// level in (0, 1): at least as often as the level says, whatever the share (it is met more often for few
/// cases). None seen gives 0 as the lower end, all seen 1 as the upper; no cases give 0 to 1. Throws BadInput
/// for more seen than cases and for another level. Source: C. Clopper, E. Pearson, "The use of confidence or
/// fiducial limits illustrated in the case of the binomial", Biometrika 26 (1934) 404–413 (from memory).
inline Bounds share_bounds(std::uint64_t seen, std::uint64_t of, double level = 0.95) {
    double const tail = 1 - detail::upper_end(level);
    if (seen > of)
        throw BadInput("of " + std::to_string(of) + " cases " + std::to_string(seen) + " cannot be seen");
    double const k = static_cast<double>(seen), rest = static_cast<double>(of - seen);
    return {seen == 0 ? 0 : boost::math::ibeta_inv(k, rest + 1, tail, detail::QuantilePolicy()),
            seen == of ? 1 : boost::math::ibetac_inv(k + 1, rest, tail, detail::QuantilePolicy())};
}

/// A share that was counted.
struct SeenShare {
    std::uint64_t seen; ///< cases that were met
    std::uint64_t of;   ///< cases in all

    /// seen / of; 0 of no cases.
    double share() const { return of == 0 ? 0 : static_cast<double>(seen) / static_cast<double>(of); }

    /// See `share_bounds`.
    Bounds bounds(double level = 0.95) const { return share_bounds(seen, of, level); }
};

} // namespace seamhold

#endif
