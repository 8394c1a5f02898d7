#ifndef SEAMHOLD_RECORD_RESIDUAL_SPECTRUM_HPP
#define SEAMHOLD_RECORD_RESIDUAL_SPECTRUM_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/fourier.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// What `ResidualSpectrum` keeps: sums over parts. Plain numbers, so that a file can keep them. Frequencies
/// run from 0 to half of the least power of two that holds the cells twice, both ends among them.
struct ResidualSums {
    std::size_t channels = 0; ///< of the record, 1 or more
    std::size_t cells = 0;    ///< of the seam, 1 or more
    std::uint64_t parts = 0;  ///< residuals that were added
    /// Of |Z_c(f)|², Z the transform of a channel's residuals padded with zeros; channels × frequencies.
    std::vector<double> power;
    /// Of W_c(f) W_d(f)*, W the same after each part's mean over the cells was taken off; frequencies ×
    /// channels × channels: at (c, d) the real part where d ≤ c, else the imaginary part of (d, c).
    std::vector<double> cross;
    std::vector<double> offsets;     ///< of the products of those means; channels × channels
    double inverse_degrees = 0;      ///< of 1/(parts learnt − 1) at each part
    double fourth_powers = 0;        ///< of the mean fourth power of the residuals
    double fourth_powers_normal = 0; ///< of what it would be if readings scattered normally
};

namespace detail {

/// Sums without a part.
inline ResidualSums no_residuals(std::size_t channels, std::size_t cells) {
    if (channels == 0 || cells == 0)
        throw BadInput("residuals need one channel and one cell or more; given were " +
                       std::to_string(channels) + " and " + std::to_string(cells));
    if (cells > 1'000'000 || channels > 1000)
        throw BadInput("residuals of at most 1000 channels and a million cells can be kept; given were " +
                       std::to_string(channels) + " and " + std::to_string(cells));
    std::size_t const frequencies = padded(cells) / 2 + 1;
    return {channels,
            cells,
            0,
            std::vector<double>(channels * frequencies),
            std::vector<double>(frequencies * channels * channels),
            std::vector<double>(channels * channels),
            0,
            0,
            0};
}

} // namespace detail

/// How good parts scatter about a learnt mean, along the seam and between channels: the spectrum of the
/// residuals (reading − mean)/deviation, gathered part by part in memory that does not grow.
class ResidualSpectrum {
public:
    /// Nothing gathered yet. Throws BadInput for no channels or no cells, and for more than 1000 and a
    /// million.
    ResidualSpectrum(std::size_t channels, std::size_t cells)
        : ResidualSpectrum(detail::no_residuals(channels, cells)) {}

    /// Goes on from what was kept. Throws BadInput where the sums do not belong together, or hold numbers
    /// that no residuals leave.
    explicit ResidualSpectrum(ResidualSums sums)
        : sums_(std::move(sums)), transform_(detail::padded(std::min<std::size_t>(sums_.cells, 1'000'000))) {
        auto const expected = detail::no_residuals(sums_.channels, sums_.cells);
        auto const finite = [](double x) { return is_finite(x); };
        auto const sound = [&](std::vector<double> const& given, std::vector<double> const& wanted) {
            return given.size() == wanted.size() && std::all_of(given.begin(), given.end(), finite);
        };
        if (!sound(sums_.power, expected.power) || !sound(sums_.cross, expected.cross) ||
            !sound(sums_.offsets, expected.offsets) || !is_finite(sums_.inverse_degrees) ||
            !is_finite(sums_.fourth_powers) || !is_finite(sums_.fourth_powers_normal) ||
            *std::min_element(sums_.power.begin(), sums_.power.end()) < 0)
            throw BadInput("sums of residuals do not fit " + std::to_string(sums_.channels) +
                           " channels and " + std::to_string(sums_.cells) + " cells, or are not sound");
        constant_.assign(transform_.size(), 0);
        std::fill_n(constant_.begin(), sums_.cells, 1.0);
        transform_(constant_);
    }

    /// Takes one part. All are channels × cells, channel by channel: `departures` its readings less the means
    /// of the parts before it, `deviations` those of each cell itself (not smoothed along the seam; divisor
    /// parts − 1) with this part among them; `parts` counts it too. The first part of all has no residual:
    /// with `parts` below 2 nothing is taken. Residuals so made, √((j − 1)/j) · departure/deviation, have
    /// variance 1 at every j, however few the parts: the squares of √((j − 1)/j) · departure over the parts
    /// so far add up to (j − 1) · deviation², and each is as likely to be great as the other. A cell without
    /// any deviation has residual 0. Throws BadInput for other sizes, and numbers that are not finite or
    /// negative deviations.
    void add(std::span<double const> departures, std::span<double const> deviations, std::uint64_t parts) {
        std::size_t const channels = sums_.channels, cells = sums_.cells;
        auto const residuals = residuals_of(departures, deviations, parts);
        if (parts < 2)
            return;
        std::size_t const frequencies = transform_.size() / 2 + 1;
        std::vector<double> offsets(channels);
        std::vector<std::vector<std::complex<double>>> spectra;
        double fourth = 0;
        for (std::size_t c = 0; c < channels; ++c) {
            auto const* const row = residuals.data() + c * cells;
            double sum = 0;
            for (std::size_t i = 0; i < cells; ++i) {
                sum += row[i];
                fourth += sqr(sqr(row[i]));
            }
            offsets[c] = sum / static_cast<double>(cells);
            std::vector<std::complex<double>> spectrum(transform_.size());
            for (std::size_t i = 0; i < cells; ++i)
                spectrum[i] = row[i] - offsets[c];
            transform_(spectrum);
            for (std::size_t f = 0; f < frequencies; ++f)
                sums_.power[c * frequencies + f] += std::norm(spectrum[f] + offsets[c] * constant_[f]);
            spectra.push_back(std::move(spectrum));
        }
        for (std::size_t c = 0; c < channels; ++c)
            for (std::size_t d = 0; d <= c; ++d) {
                sums_.offsets[c * channels + d] += offsets[c] * offsets[d];
                if (d < c)
                    sums_.offsets[d * channels + c] += offsets[c] * offsets[d];
                for (std::size_t f = 0; f < frequencies; ++f) {
                    auto const product = detail::times(spectra[c][f], std::conj(spectra[d][f]));
                    auto* const at = sums_.cross.data() + f * channels * channels;
                    at[c * channels + d] += product.real();
                    if (d < c)
                        at[d * channels + c] += product.imag();
                }
            }
        double const degrees = static_cast<double>(parts - 1);
        sums_.inverse_degrees += 1 / degrees;
        sums_.fourth_powers += fourth / static_cast<double>(channels * cells);
        // residual²/degrees has the beta distribution of ½ and (degrees − 1)/2 if readings are normal.
        sums_.fourth_powers_normal += 3 * degrees / (degrees + 2);
        ++sums_.parts;
    }

    /// The mean fourth power of the residuals, divided by what it would be if readings scattered normally
    /// from part to part: 1 if they do, above for tails that are heavier. 1 before the third part.
    double tail_weight() const {
        return sums_.parts < 2 ? 1 : sums_.fourth_powers / sums_.fourth_powers_normal;
    }

    /// What was gathered, to be kept.
    ResidualSums const& sums() const { return sums_; }

private:
    std::vector<double> residuals_of(std::span<double const> departures, std::span<double const> deviations,
                                     std::uint64_t parts) const {
        std::size_t const all = sums_.channels * sums_.cells;
        if (departures.size() != all || deviations.size() != all)
            throw BadInput("departures and deviations must be " + std::to_string(sums_.channels) +
                           " channels × " + std::to_string(sums_.cells) + " cells; given were " +
                           std::to_string(departures.size()) + " and " + std::to_string(deviations.size()) +
                           " numbers");
        double const count = static_cast<double>(std::max<std::uint64_t>(parts, 1));
        double const most = std::sqrt(count - 1);
        std::vector<double> residuals(all);
        for (std::size_t i = 0; i < all; ++i) {
            if (!is_finite(departures[i]) || !is_finite(deviations[i]) || deviations[i] < 0)
                throw BadInput("departures must be finite, and deviations finite and 0 or more; number " +
                               std::to_string(i + 1) + " is not");
            // Beyond ±most only by rounding, where a channel hardly ever changed.
            if (deviations[i] > 0)
                residuals[i] =
                    std::clamp(std::sqrt((count - 1) / count) * departures[i] / deviations[i], -most, most);
        }
        return residuals;
    }

    ResidualSums sums_;
    detail::FourierTransform transform_;
    std::vector<std::complex<double>> constant_; // transform of a 1 in each cell
};

} // namespace seamhold

#endif
