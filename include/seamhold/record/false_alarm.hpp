#ifndef SEAMHOLD_RECORD_FALSE_ALARM_HPP
#define SEAMHOLD_RECORD_FALSE_ALARM_HPP

#include "seamhold/record/passing_factor.hpp"
#include "seamhold/record/residual_spectrum.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/verdict.hpp"

#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>

namespace seamhold {

/// What a band was drawn from: means and deviations of good parts, channels × cells, channel by channel.
struct BandBasis {
    std::span<double const> mean;      ///< in the sensor's unit
    std::span<double const> deviation; ///< from part to part, as the band uses it: smoothed along the seam
    std::uint64_t parts;               ///< that were learnt, 2 or more
    /// Turns the variances of one channel's cells into those that the band uses, in place; the smoothing
    /// along the seam. Empty: they stay as they are.
    std::function<void(std::span<double> variances)> smooth;
};

/// How a prediction of false alarms is made.
struct AlarmOptions {
    double level = 0.95;      ///< of the interval, in (0, 1)
    std::size_t paths = 8000; ///< simulated parts; time goes with it, the error with its root
    std::uint64_t seed = 1;   ///< the same seed gives the same answer
};

/// How many good parts a judge will call not good.
struct FalseAlarms {
    double rate;      ///< probability that the next good part fails
    double low, high; ///< between which the rate of this band lies, with probability `level`
    double level;     ///< in (0, 1)
};

/// Predicts which share of good parts fails under a band and the judge's rules: over all cells and channels
/// together, with the scatter along the seam and between channels that `spectrum` saw.
FalseAlarms predict_false_alarms(SignalBand const& band, BandBasis const& basis,
                                 ResidualSpectrum const& spectrum, JudgeRules const& rules,
                                 AlarmOptions const& options = {});

/// The factor k of the deviations for LimitRule::whole_part: mean ± k · deviation is a band under which, with
/// the wanted confidence over what was learnt, the wanted share of good parts passes the judge's rules.
double whole_part_factor(BandWish const& wish, BandBasis const& basis, ResidualSpectrum const& spectrum,
                         Cells const& cells, JudgeRules const& rules, AlarmOptions const& options = {});

} // namespace seamhold

#endif
