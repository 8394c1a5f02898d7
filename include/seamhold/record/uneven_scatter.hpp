#ifndef SEAMHOLD_RECORD_UNEVEN_SCATTER_HPP
#define SEAMHOLD_RECORD_UNEVEN_SCATTER_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/record/band_limits.hpp"
#include "seamhold/record/band_state.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

namespace seamhold {

/// A stretch where a channel scatters more from part to part than the cells around it: there the smoothed
/// deviation is too small, and a band drawn with it too narrow.
struct UnevenScatter {
    std::size_t channel; ///< from 0
    double from, to;     ///< m
    double ratio;        ///< the deviation of the worst cell over the smoothed one there
};

/// Where the smoothing along the seam hides scatter: where the variance of a cell is above the mean of the
/// others within the length of smoothing by more than chance makes, with a probability of `false_alarm` at
/// most for all cells and channels together where the scatter is even (Fisher's F with the parts' degrees of
/// freedom on both sides, and Bonferroni's inequality; the others together are surer than that). From few
/// parts only gross places are found: from ten, some six times the deviation. Empty where nothing is
/// smoothed. If a place matters, learn with a shorter smoothing. Throws BadInput for fewer than two parts,
/// and a false alarm outside of (0, 1).
inline std::vector<UnevenScatter> uneven_scatter(BandState const& state, double false_alarm = 0.01) {
    detail::need_parts(state, 2, "deviations from part to part");
    if (!(false_alarm > 0 && false_alarm < 1))
        throw BadInput("a probability must lie between 0 and 1; given " + detail::text_of(false_alarm));
    std::vector<UnevenScatter> found;
    std::size_t const reach = detail::reach_of(state), cells = state.cells.count;
    if (reach == 0 || cells < 2)
        return found;
    double const degrees = static_cast<double>(state.parts - 1);
    double const level = false_alarm / static_cast<double>(state.channels.size() * cells);
    for (std::size_t c = 0; c < state.channels.size(); ++c) {
        auto const own = detail::own_variances(state, c);
        std::vector<double> smoothed = own, work;
        detail::smooth_along(smoothed, reach, work);
        std::size_t last = cells; // the cell that was found before
        for (std::size_t i = 0; i < cells; ++i) {
            std::size_t const window = std::min(i + reach, cells - 1) - (i - std::min(i, reach)) + 1;
            double const count = static_cast<double>(window);
            double const others = std::max(0.0, count * smoothed[i] - own[i]) / (count - 1);
            if (!(own[i] > others) || (others > 0 && f_tail(own[i] / others, degrees, degrees) > level))
                continue;
            double const ratio = std::sqrt(own[i] / smoothed[i]);
            if (last + 1 == i && !found.empty()) {
                found.back().to = state.cells.from(i + 1);
                found.back().ratio = std::max(found.back().ratio, ratio);
            } else {
                found.push_back({c, state.cells.from(i), state.cells.from(i + 1), ratio});
            }
            last = i;
        }
    }
    return found;
}

} // namespace seamhold

#endif
