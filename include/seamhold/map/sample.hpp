#ifndef SEAMHOLD_MAP_SAMPLE_HPP
#define SEAMHOLD_MAP_SAMPLE_HPP

#include "seamhold/map/candidates.hpp"
#include "seamhold/statistics/random_numbers.hpp"

#include <boost/random/sobol.hpp>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <numeric>
#include <string>
#include <utility>
#include <vector>

/// Candidates spread over a space of many axes, where a grid would be too large.
namespace seamhold {

namespace detail {

/// What an axis has at a share u from 0 to below 1 of its way.
inline double at_share(Axis const& axis, double u) {
    return axis.is_choice() ? std::floor(u * static_cast<double>(axis.choices.size()))
                            : axis.low + (axis.high - axis.low) * u;
}

inline void check_sample(std::string const& kind, std::size_t count) {
    if (count < 1 || count > 100000000)
        throw BadInput("a " + kind + " sample of " + std::to_string(count) +
                       " candidates is not possible: from 1 to 100 million are");
}

} // namespace detail

/// A Latin hypercube: each axis is cut into `count` equal slices, and each slice holds exactly one candidate
/// (of a choice, each name comes equally often, but for the rounding of count / names). The same on every
/// machine for the same seed. Source: M. McKay, R. Beckman, W. Conover, "A comparison of three methods for
/// selecting values of input variables in the analysis of output from a computer code", Technometrics 21(2),
/// 1979 (from memory). Throws BadInput for a space that `checked` refuses and for a count outside 1 to 1e8.
inline Candidates latin_hypercube(DesignSpace const& space, std::size_t count, std::uint64_t seed) {
    detail::check_sample("Latin hypercube", count);
    RandomNumbers random(seed);
    std::size_t const width = space.axes.size();
    std::vector<double> rows(count * width);
    std::vector<std::size_t> slice(count);
    for (std::size_t a = 0; a < width; ++a) {
        std::iota(slice.begin(), slice.end(), std::size_t(0));
        for (std::size_t i = count; i > 1; --i)
            std::swap(
                slice[i - 1],
                slice[std::min(i - 1, static_cast<std::size_t>(random.unit() * static_cast<double>(i)))]);
        for (std::size_t r = 0; r < count; ++r)
            rows[r * width + a] =
                detail::at_share(space.axes[a], std::min((static_cast<double>(slice[r]) + random.unit()) /
                                                             static_cast<double>(count),
                                                         1 - 0x1p-53));
    }
    return {space, std::move(rows)};
}

/// A Sobol sequence: every power of two of candidates fills the space evenly, and more can follow (`skip`
/// leaves out so many at the beginning). By Boost.Random, whose directions are those of S. Joe, F. Kuo,
/// "Constructing Sobol sequences with better two-dimensional projections", SIAM J. Sci. Comput. 30, 2008.
/// Throws BadInput for a space that `checked` refuses and for a count outside 1 to 1e8.
inline Candidates sobol(DesignSpace const& space, std::size_t count, std::size_t skip = 0) {
    detail::check_sample("Sobol", count);
    std::size_t const width = checked(space).axes.size();
    boost::random::sobol numbers(width);
    numbers.discard(skip * width);
    std::vector<double> rows(count * width);
    for (std::size_t i = 0; i < rows.size(); ++i)
        rows[i] = detail::at_share(space.axes[i % width], static_cast<double>(numbers() >> 11U) * 0x1p-53);
    return {space, std::move(rows)};
}

} // namespace seamhold

#endif
