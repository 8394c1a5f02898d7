#ifndef SEAMHOLD_TESTS_RECORD_SLOW_NOISE_HPP
#define SEAMHOLD_TESTS_RECORD_SLOW_NOISE_HPP

#include "support/random.hpp"

#include <cmath>
#include <cstddef>
#include <vector>

// Good parts with slow noise along the seam, made apart from the code under test: no transform stands in it.
// Invented, and not like any real sensor.

namespace seamhold::test {

/// Good parts of channels that are alike.
struct SlowNoise {
    std::size_t channels, cells;
    std::size_t melt; ///< cells over which the melt smooths, at least 1
    double offset;    ///< share of the variance that is one offset a part
    double common;    ///< share of the variance, of offsets and of the rest, that channels have in common
    double late = 0;  ///< cells by which each channel sees what is common later than the one before it

    /// Lengths, in cells, over which the first-order processes forget that make up the noise: one every three
    /// octaves with equal variances, which falls as 1/f between them.
    static constexpr double lengths[] = {1, 8, 64, 512};

    /// Covariance of the noise so many cells apart, before scaling: the mean over both windows of the melt of
    /// Σ exp(−distance/length).
    double covariance(double apart) const {
        double sum = 0;
        for (double const length : lengths)
            for (std::size_t a = 0; a < melt; ++a)
                for (std::size_t b = 0; b < melt; ++b)
                    sum +=
                        std::exp(-std::abs(apart + static_cast<double>(a) - static_cast<double>(b)) / length);
        return sum / static_cast<double>(melt * melt);
    }

    /// One channel's noise, without scaling.
    std::vector<double> noise(Random& random, std::size_t count) const {
        std::vector<double> sum(count + melt - 1);
        for (double const length : lengths) {
            double const keep = std::exp(-1 / length), fresh = std::sqrt(1 - keep * keep);
            double x = random.normal();
            for (double& s : sum) {
                s += x;
                x = keep * x + fresh * random.normal();
            }
        }
        std::vector<double> smooth(count);
        for (std::size_t i = 0; i < count; ++i) {
            for (std::size_t k = 0; k < melt; ++k)
                smooth[i] += sum[i + k];
            smooth[i] /= static_cast<double>(melt);
        }
        return smooth;
    }

    /// A part's residuals: variance 1, channels × cells.
    std::vector<double> residuals(Random& random) const {
        double const scale = 1 / std::sqrt(covariance(0));
        auto const lag = static_cast<std::size_t>(late);
        auto const shared = noise(random, cells + lag * channels);
        double const shared_offset = random.normal();
        std::vector<double> part(channels * cells);
        for (std::size_t c = 0; c < channels; ++c) {
            auto const own = noise(random, cells);
            double const own_offset = random.normal();
            for (std::size_t i = 0; i < cells; ++i) {
                double const rest = scale * (std::sqrt(common) * shared[i + lag * (channels - 1 - c)] +
                                             std::sqrt(1 - common) * own[i]);
                double const all = std::sqrt(common) * shared_offset + std::sqrt(1 - common) * own_offset;
                part[c * cells + i] = std::sqrt(offset) * all + std::sqrt(1 - offset) * rest;
            }
        }
        return part;
    }

    /// Mean and deviation of cell i, which are not the same along the seam.
    static double mean(std::size_t i) { return 100 + 10 * std::sin(0.05 * static_cast<double>(i)); }
    static double deviation(std::size_t i) { return 2 + std::cos(0.03 * static_cast<double>(i)); }

    /// A part's readings, from residuals.
    std::vector<double> readings(std::vector<double> part) const {
        for (std::size_t k = 0; k < part.size(); ++k)
            part[k] = mean(k % cells) + deviation(k % cells) * part[k];
        return part;
    }
};

} // namespace seamhold::test

#endif
