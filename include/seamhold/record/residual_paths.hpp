#ifndef SEAMHOLD_RECORD_RESIDUAL_PATHS_HPP
#define SEAMHOLD_RECORD_RESIDUAL_PATHS_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/record/fourier.hpp"
#include "seamhold/record/residual_spectrum.hpp"
#include "seamhold/statistics/random_numbers.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

namespace seamhold {

/// Two random parts that have nothing to do with each other.
struct PathPair {
    std::vector<double> first;  ///< channels × period, channel by channel
    std::vector<double> second; ///< the same
};

/// Random parts that scatter as good parts did: normal residuals with variance 1, the covariance along the
/// seam and between channels that a `ResidualSpectrum` saw. A residual is an offset of the whole part, one a
/// channel, plus a stationary path along the seam that repeats after a period of twice the seam or more; any
/// stretch of it as long as the seam will do.
///
/// The covariance of a channel k cells apart is the mean of all products so far apart (not the transform of
/// the padded spectrum itself, which weighs them by 1 − k/cells and makes slow noise look rough), put right
/// for the deviations being estimated (a correlation r of ν degrees of freedom is too near 0 by r (1 −
/// r²)/2ν; H. Hotelling, "New light on the correlation coefficient and its transforms", J. R. Stat. Soc. B
/// 15, 1953; from memory). What is left of it beyond half the seam is the variance of the offset. The rest
/// fades out from there to the whole seam, is transformed, and set to 0 where it is negative. How channels go
/// together at each frequency, and in the offsets, is as in the sums over parts, which no noise makes
/// impossible.
class ResidualPaths {
public:
    /// From what was gathered over parts. Throws BadInput where that is nothing.
    explicit ResidualPaths(ResidualSums const& sums)
        : channels_(sums.channels), cells_(sums.cells), transform_(detail::padded(sums.cells)),
          offsets_(sums.channels * sums.channels), factors_(sums.cross.size()) {
        if (sums.parts == 0)
            throw BadInput("no residuals were gathered yet: two good parts or more must be learnt");
        std::size_t const frequencies = period() / 2 + 1;
        std::vector<double> spectra(channels_ * frequencies), offset_variances(channels_);
        for (std::size_t c = 0; c < channels_; ++c) {
            auto const channel = channel_of(sums, c);
            std::copy(channel.spectrum.begin(), channel.spectrum.end(),
                      spectra.begin() + at(c * frequencies));
            offset_variances[c] = channel.offset_variance;
        }
        for (std::size_t f = 0; f < frequencies; ++f) {
            // The padded transform of a path without its mean is 0 at frequency 0, which tells nothing.
            std::size_t const from = std::max<std::size_t>(f, 1) * channels_ * channels_;
            auto const factor = factor_of({sums.cross.data() + from, channels_ * channels_});
            for (std::size_t c = 0; c < channels_; ++c)
                for (std::size_t d = 0; d <= c; ++d)
                    factors_[(f * channels_ + c) * channels_ + d] =
                        factor[c * channels_ + d] *
                        std::sqrt(spectra[c * frequencies + f] / static_cast<double>(period()));
        }
        // The same for offsets: their products are real, so nothing stands above the diagonal.
        auto products = sums.offsets;
        for (std::size_t c = 0; c < channels_; ++c)
            std::fill_n(products.begin() + at(c * channels_ + c + 1), channels_ - c - 1, 0.0);
        auto const factor = factor_of(products);
        for (std::size_t c = 0; c < channels_; ++c)
            for (std::size_t d = 0; d <= c; ++d)
                offsets_[c * channels_ + d] =
                    factor[c * channels_ + d].real() * std::sqrt(offset_variances[c]);
    }

    /// Channels of a part.
    std::size_t channels() const { return channels_; }

    /// Cells of the seam.
    std::size_t cells() const { return cells_; }

    /// Cells after which a path repeats: twice the seam's or more.
    std::size_t period() const { return transform_.size(); }

    /// Two paths, without offsets.
    PathPair draw(RandomNumbers& random) const {
        std::size_t const count = period();
        std::vector<std::complex<double>> drawn(channels_ * count);
        std::vector<std::complex<double>> noise(channels_);
        for (std::size_t f = 0; f < count; ++f) {
            // The transform turns the other way than the one that makes paths of frequencies.
            bool const mirrored = f > count / 2;
            auto const* const factor = factors_.data() + (mirrored ? count - f : f) * channels_ * channels_;
            for (std::size_t c = 0; c < channels_; ++c) {
                double const real = random.normal();
                noise[c] = {real, random.normal()};
                std::complex<double> sum = 0;
                for (std::size_t d = 0; d <= c; ++d) {
                    auto const a = factor[c * channels_ + d];
                    sum += detail::times(mirrored ? a : std::conj(a), noise[d]);
                }
                drawn[c * count + f] = sum;
            }
        }
        PathPair pair{std::vector<double>(channels_ * count), std::vector<double>(channels_ * count)};
        for (std::size_t c = 0; c < channels_; ++c)
            transform_({drawn.data() + c * count, count});
        for (std::size_t i = 0; i < drawn.size(); ++i) {
            pair.first[i] = drawn[i].real();
            pair.second[i] = drawn[i].imag();
        }
        return pair;
    }

    /// The offsets of a part, one a channel.
    std::vector<double> draw_offsets(RandomNumbers& random) const {
        std::vector<double> noise(channels_), drawn(channels_);
        for (std::size_t c = 0; c < channels_; ++c) {
            noise[c] = random.normal();
            for (std::size_t d = 0; d <= c; ++d)
                drawn[c] += offsets_[c * channels_ + d] * noise[d];
        }
        return drawn;
    }

private:
    struct ChannelSpectrum {
        std::vector<double> spectrum; // mean of it over the period: the path's variance
        double offset_variance;
    };

    static std::ptrdiff_t at(std::size_t i) { return static_cast<std::ptrdiff_t>(i); }

    // The transform of real even numbers, of both of which a half stands here: 0 … period/2.
    std::vector<double> transformed(std::vector<double> const& half) const {
        std::vector<std::complex<double>> whole(period());
        for (std::size_t i = 0; i < half.size(); ++i) {
            whole[i] = half[i];
            whole[(period() - i) % period()] = half[i];
        }
        transform_(whole);
        std::vector<double> result(period() / 2 + 1);
        for (std::size_t i = 0; i < result.size(); ++i)
            result[i] = whole[i].real();
        return result;
    }

    ChannelSpectrum channel_of(ResidualSums const& sums, std::size_t c) const {
        std::size_t const frequencies = period() / 2 + 1;
        auto const begin = sums.power.begin() + at(c * frequencies);
        auto covariance = transformed({begin, begin + at(frequencies)});
        covariance.resize(cells_);
        ChannelSpectrum channel{std::vector<double>(frequencies), 0};
        double const first = covariance[0];
        if (!(first > 0)) // never changed
            return channel;
        double const shrinkage = sums.inverse_degrees / static_cast<double>(sums.parts) / 2;
        double far = 0, pairs = 0;
        std::size_t const half = std::max<std::size_t>(cells_ / 2, 1);
        for (std::size_t k = 0; k < cells_; ++k) {
            double const weight = static_cast<double>(cells_ - k);
            double const r = covariance[k] / first * static_cast<double>(cells_) / weight;
            // The mean of products may lie beyond ±1 where few are averaged.
            covariance[k] = r * (1 + shrinkage * std::max(1 - r * r, 0.0));
            if (k >= half) {
                far += weight * covariance[k];
                pairs += weight;
            }
        }
        channel.offset_variance = pairs > 0 ? std::clamp(far / pairs, 0.0, 1.0) : 1.0;
        double const rest = 1 - channel.offset_variance;
        for (std::size_t k = 0; k < cells_; ++k) {
            double const fading =
                k <= half ? 0 : static_cast<double>(k - half) / static_cast<double>(cells_ - half);
            covariance[k] =
                (covariance[k] - channel.offset_variance) * (1 + std::cos(std::numbers::pi * fading)) / 2;
        }
        channel.spectrum = transformed(covariance);
        double total = 0;
        for (std::size_t f = 0; f < frequencies; ++f) {
            channel.spectrum[f] = std::max(channel.spectrum[f], 0.0);
            total += channel.spectrum[f] * (f == 0 || f + 1 == frequencies ? 1 : 2);
        }
        double const scale = total > 0 ? rest * static_cast<double>(period()) / total : 0;
        for (double& x : channel.spectrum)
            x *= scale;
        if (!(total > 0))
            channel.offset_variance = 1;
        return channel;
    }

    // The lower triangular factor A, A A* the matrix with its diagonal scaled to 1. The matrix is stored as
    // ResidualSums says. What depends on channels before it up to rounding has no noise of its own.
    std::vector<std::complex<double>> factor_of(std::span<double const> matrix) const {
        std::vector<std::complex<double>> factor(matrix.size());
        for (std::size_t c = 0; c < channels_; ++c)
            for (std::size_t d = 0; d <= c; ++d) {
                double const scale = std::sqrt(matrix[c * channels_ + c] * matrix[d * channels_ + d]);
                std::complex<double> rest = c == d ? 1 : 0;
                if (c != d && scale > 0)
                    rest = {matrix[c * channels_ + d] / scale, matrix[d * channels_ + c] / scale};
                for (std::size_t k = 0; k < d; ++k)
                    rest -= detail::times(factor[c * channels_ + k], std::conj(factor[d * channels_ + k]));
                auto const& own = factor[d * channels_ + d];
                if (c == d)
                    factor[c * channels_ + c] = std::sqrt(std::max(rest.real(), 0.0));
                else if (own.real() > 1e-6)
                    factor[c * channels_ + d] = rest / own.real();
            }
        return factor;
    }

    std::size_t channels_, cells_;
    detail::FourierTransform transform_;
    std::vector<double> offsets_;               // channels × channels, lower triangular
    std::vector<std::complex<double>> factors_; // frequencies × channels × channels, lower triangular
};

} // namespace seamhold

#endif
