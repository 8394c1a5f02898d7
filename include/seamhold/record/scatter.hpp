#ifndef SEAMHOLD_RECORD_SCATTER_HPP
#define SEAMHOLD_RECORD_SCATTER_HPP

#include "seamhold/number/number.hpp"
#include "seamhold/record/cells.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

// Scatter from part to part along a seam, averaged, and how far off a part is in its measure.

namespace seamhold::detail {

/// A mean and the sum of squares about it.
struct RunningScatter {
    double mean = 0;
    double squares = 0;
};

/// The same with one more reading; `count` counts it too. Nothing is lost where the scatter is small against
/// the readings. Source: B. Welford, "Note on a method for calculating corrected sums of squares and
/// products", Technometrics 4 (1962) 419–420 (from memory).
inline RunningScatter with_reading(RunningScatter const& before, double reading, double count) {
    double const departure = reading - before.mean;
    return {before.mean + departure / count, before.squares + sqr(departure) * ((count - 1) / count)};
}

/// The mean of a channel's readings over the seam.
inline double mean_over_seam(std::span<double const> readings) {
    RunningScatter scatter;
    for (std::size_t i = 0; i < readings.size(); ++i)
        scatter = with_reading(scatter, readings[i], static_cast<double>(i + 1));
    return scatter.mean;
}

/// How many cells on each side of a cell share their variance with it: the window is an odd number of cells
/// and no longer than `smoothing` (a length that is a whole number of cells up to its last bits is that
/// many).
inline std::size_t smoothing_reach(double smoothing, Cells const& cells) {
    double const window = std::floor(smoothing / cells.width() * (1 + 1e-12));
    return window < 3 ? 0 : (static_cast<std::size_t>(std::min(window, 2e6)) - 1) / 2;
}

/// Each number becomes the mean of those not farther than `reach` from it; near the ends of the seam of those
/// that there are. Sums are made without taking anything away again, so that a quiet stretch beside a wild
/// one keeps its digits. `work` is overwritten.
inline void smooth_along(std::span<double> values, std::size_t reach, std::vector<double>& work) {
    std::size_t const count = values.size();
    if (reach == 0 || count == 0)
        return;
    // Blocks as long as the window, padded with `reach` zeros before and behind: a window is the end of one
    // block and the beginning of the next (M. van Herk, Pattern Recognition Letters 13, 1992, 517–521, for
    // maxima; from memory).
    std::size_t const window = 2 * reach + 1;
    std::size_t const padded = (count + 2 * reach + window - 1) / window * window;
    work.assign(2 * padded, 0.0);
    double* const forward = work.data();
    double* const backward = work.data() + padded;
    std::copy(values.begin(), values.end(), forward + reach);
    std::copy(values.begin(), values.end(), backward + reach);
    for (std::size_t block = 0; block < padded; block += window)
        for (std::size_t k = 1; k < window; ++k) {
            forward[block + k] += forward[block + k - 1];
            backward[block + window - 1 - k] += backward[block + window - k];
        }
    for (std::size_t i = 0; i < count; ++i) {
        double const sum = i % window == 0 ? backward[i] : backward[i] + forward[i + window - 1];
        std::size_t const there = std::min(i + reach, count - 1) - (i - std::min(i, reach)) + 1;
        values[i] = sum / static_cast<double>(there);
    }
}

/// The variances by which a part is told unlike: of each cell the greater of its own and the smoothed one, so
/// that a place with more scatter than its surroundings makes no part unlike; the last is of the mean over
/// the seam. None is less than least². In place; `work` and `smoothed` are overwritten.
inline void widen_variances(std::span<double> variances, std::size_t reach, double least,
                            std::vector<double>& work, std::vector<double>& smoothed) {
    smoothed.assign(variances.begin(), variances.end() - 1);
    smooth_along(smoothed, reach, work);
    for (std::size_t i = 0; i < smoothed.size(); ++i)
        variances[i] = std::max({variances[i], smoothed[i], sqr(least)});
    variances.back() = std::max(variances.back(), sqr(least));
}

/// The place where something is farthest off.
struct Farthest {
    double square = 0;       ///< of the departure, in variances
    std::size_t channel = 0; ///< where
    std::size_t place = 0;   ///< the cell; the number of cells for the mean over the seam
};

/// The square of a departure in variances: 0 for none, infinite where nothing scatters.
inline double square_off(double departure, double variance) {
    if (departure == 0)
        return 0;
    return variance > 0 ? sqr(departure) / variance : std::numeric_limits<double>::infinity();
}

/// Looks through one channel for a place farther off than the one that was found before.
inline void look_farther(Farthest& found, std::size_t channel, std::span<double const> departures,
                         std::span<double const> variances) {
    for (std::size_t i = 0; i < departures.size(); ++i) {
        double const square = square_off(departures[i], variances[i]);
        if (square > found.square)
            found = {square, channel, i};
    }
}

} // namespace seamhold::detail

#endif
