#ifndef SEAMHOLD_RECORD_RESIDUAL_SPECTRUM_HPP
#define SEAMHOLD_RECORD_RESIDUAL_SPECTRUM_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace seamhold {

/// What `ResidualSpectrum` keeps: sums over parts. Plain numbers, so that a file can keep them.
struct ResidualSums {
    std::size_t channels = 0; ///< of the record, 1 or more
    std::size_t cells = 0;    ///< of the seam, 1 or more
    std::uint64_t parts = 0;  ///< residuals that were added
    /// Of |Z_c(f)|², Z the transform of a channel's residuals padded with zeros; channels × frequencies.
    std::vector<double> power;
    /// Of W_c(f) W_d(f)*, W the same after each part's mean over the cells was taken off; frequencies ×
    /// channels × channels: on and below the diagonal the real parts, above it the imaginary ones of (d, c).
    std::vector<double> cross;
    std::vector<double> offsets;     ///< of the products of those means; channels × channels
    double fourth_powers = 0;        ///< of the mean fourth power of the residuals
    double fourth_powers_normal = 0; ///< of what it would be if readings scattered normally
};

/// How good parts scatter about a learnt mean, along the seam and between channels: the spectrum of the
/// residuals (reading − mean)/deviation, gathered part by part in memory that does not grow.
class ResidualSpectrum {
public:
    /// Nothing gathered yet. Throws BadInput for no channels or no cells.
    ResidualSpectrum(std::size_t channels, std::size_t cells);

    /// Goes on from what was kept. Throws BadInput where the sums do not belong together.
    explicit ResidualSpectrum(ResidualSums sums);

    /// Takes one part. All are channels × cells, channel by channel: `departures` its readings less the means
    /// of the parts before it, `deviations` those of each cell itself (not smoothed along the seam; divisor
    /// parts − 1) with this part among them; `parts` counts it too. The first part of all has no residual:
    /// with `parts` below 2 nothing is taken. Residuals so made, √((j − 1)/j) · departure/deviation, have
    /// variance 1 exactly at every j, however few the parts. Throws BadInput for other sizes and numbers that
    /// are not finite.
    void add(std::span<double const> departures, std::span<double const> deviations, std::uint64_t parts);

    /// What was gathered, to be kept.
    ResidualSums const& sums() const { return sums_; }

private:
    ResidualSums sums_;
};

} // namespace seamhold

#endif
