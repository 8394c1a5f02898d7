#ifndef SEAMHOLD_RECORD_FALSE_ALARM_HPP
#define SEAMHOLD_RECORD_FALSE_ALARM_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/alarm_study.hpp"
#include "seamhold/record/passing_factor.hpp"
#include "seamhold/record/residual_spectrum.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/verdict.hpp"
#include "seamhold/statistics/share_bounds.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace seamhold {

namespace detail {

/// The judge's rules in the cells of a seam, if it has as many as residuals were gathered for.
inline CellRules alarm_rules(JudgeRules const& rules, Cells const& cells, ResidualSpectrum const& spectrum) {
    if (cells.count != spectrum.sums().cells)
        throw BadInput("residuals are of " + std::to_string(spectrum.sums().cells) +
                       " cells a channel; the seam was given with " + std::to_string(cells.count));
    return cell_rules(rules, cells);
}

} // namespace detail

/// How many good parts a judge will call not good.
struct FalseAlarms {
    double rate;  ///< probability that the next good part fails
    Bounds range; ///< between which the rate of this band lies, with probability `level`
    double level; ///< of `range`, in (0, 1)
    /// How heavy the tails of the residuals are: 1 where readings scatter normally, as the prediction takes
    /// for granted; see `ResidualSpectrum::tail_weight`. Well above 1, the rate is higher than predicted.
    double tail_weight;

    /// Whether counted good parts, each judged before it was learnt, speak against the prediction: whether
    /// the interval of their share, at the same level, misses `range`. Where it does, trust what was seen.
    bool contradicted_by(SeenShare const& failed) const {
        auto const seen = failed.bounds(level);
        return seen.high < range.low || seen.low > range.high;
    }
};

/// Predicts which share of good parts fails under a band and the judge's rules: over all cells and channels
/// together, with the scatter along the seam and between channels that `spectrum` saw. `band` may be any
/// limits for the same channels and cells; `basis` says what good parts are. `rate` is the mean, and `range`
/// holds the middle share `level`, over all that the truth may be after so few parts: mean and deviation of
/// each cell, spectrum and offsets. See `detail::AlarmStudy` for how. Readings are taken to scatter normally
/// from part to part; where they do not, deviations and the spectrum still hold, the tails do not: look at
/// `tail_weight` and hold the prediction against what was seen. Throws BadInput for a band that does not fit,
/// fewer than 5 parts, deviations that are not above 0, and options out of range. Not for the tick.
inline FalseAlarms predict_false_alarms(SignalBand const& band, BandBasis const& basis,
                                        ResidualSpectrum const& spectrum, JudgeRules const& rules,
                                        AlarmOptions const& options = {}) {
    detail::AlarmLimits limits;
    for (auto const& c : band.channels)
        for (std::size_t i = 0; i < c.centre.size(); ++i) {
            bool const there = i < c.low.size() && i < c.high.size();
            if (!there || !(c.low[i] < c.centre[i] && c.centre[i] < c.high[i]) || !is_finite(c.low[i]) ||
                !is_finite(c.high[i]))
                throw BadInput("band of channel " + c.name +
                               ": low, centre and high must be finite and rise; "
                               "in cell number " +
                               std::to_string(i + 1) + " they do not");
            limits.centre.push_back(c.centre[i]);
            limits.below.push_back(c.centre[i] - c.low[i]);
            limits.above.push_back(c.high[i] - c.centre[i]);
        }
    detail::AlarmStudy const study(limits, basis, spectrum, detail::alarm_rules(rules, band.cells, spectrum),
                                   options);
    auto const rates = study.failing_rates();
    double sum = 0;
    for (double const rate : rates)
        sum += rate;
    return {sum / static_cast<double>(rates.size()),
            {detail::share_quantile(rates, (1 - options.level) / 2),
             detail::share_quantile(rates, (1 + options.level) / 2)},
            options.level,
            spectrum.tail_weight()};
}

/// The factor k of the deviations for LimitRule::whole_part: under mean ± k · deviation, with probability
/// `wish.confidence` over what the truth may be, a good part passes the judge's rules with probability
/// `wish.coverage` or more. `cells` are the seam's. Of `options` the level is not used. Throws BadInput as
/// above, for shares outside (0, 1), and for rules that any limits satisfy.
inline double whole_part_factor(BandWish const& wish, BandBasis const& basis,
                                ResidualSpectrum const& spectrum, Cells const& cells, JudgeRules const& rules,
                                AlarmOptions const& options = {}) {
    using detail::text_of;
    if (!(wish.coverage > 0 && wish.coverage < 1) || !(wish.confidence > 0 && wish.confidence < 1))
        throw BadInput("coverage and confidence of a band must lie between 0 and 1; given were " +
                       text_of(wish.coverage) + " and " + text_of(wish.confidence));
    detail::check_whole_part_confidence(wish.confidence);
    detail::AlarmLimits limits;
    limits.centre.assign(basis.mean.begin(), basis.mean.end());
    limits.below.assign(basis.deviation.begin(), basis.deviation.end());
    limits.above = limits.below;
    detail::AlarmStudy const study(limits, basis, spectrum, detail::alarm_rules(rules, cells, spectrum),
                                   options);
    double const factor = detail::share_quantile(study.factors(wish.coverage), wish.confidence);
    if (!(factor > 1e-6))
        throw BadInput(
            "the judge's rules let the wanted share of parts pass whatever the limits, or no channel "
            "changed from part to part; limits for the whole part need stricter rules, or parts "
            "that scatter");
    return factor;
}

} // namespace seamhold

#endif
