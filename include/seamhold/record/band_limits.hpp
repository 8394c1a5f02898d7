#ifndef SEAMHOLD_RECORD_BAND_LIMITS_HPP
#define SEAMHOLD_RECORD_BAND_LIMITS_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/record/band_state.hpp"
#include "seamhold/record/false_alarm.hpp"
#include "seamhold/record/passing_factor.hpp"
#include "seamhold/record/scatter.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/verdict.hpp"
#include "seamhold/statistics/distribution_free.hpp"
#include "seamhold/statistics/tolerance_factor.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace seamhold {

/// From so many good parts on a band can be drawn for the whole part: from fewer nobody can tell how the
/// signals scatter along the seam. Our choice.
inline constexpr std::uint64_t least_whole_parts = 10;

/// The least number of good parts from which limits can be drawn as wished: those of
/// `distribution_free_parts` for the distribution-free rule, two for the normal rule at each cell,
/// `least_whole_parts` for the whole part. With few parts the normal rules make a wide band;
/// `parts_for_factor` says how many make it no wider than wished. Throws BadInput for shares outside of (0,
/// 1), and for the whole part for a confidence above 0.9948: see `BandWish`.
inline std::uint64_t good_parts_needed(BandWish const& wish) {
    detail::check_tolerance_share(wish.coverage, "coverage");
    detail::check_tolerance_share(wish.confidence, "confidence");
    switch (wish.rule) {
    case LimitRule::normal:
        return 2;
    case LimitRule::distribution_free:
        return distribution_free_parts(wish.coverage, wish.confidence);
    default:
        detail::check_whole_part_confidence(wish.confidence);
        return least_whole_parts;
    }
}

namespace detail {

/// Throws BadInput where fewer parts were learnt, saying how many are missing.
inline void need_parts(BandState const& state, std::uint64_t parts, std::string const& what) {
    if (state.parts < parts)
        throw BadInput(what + " of seam " + state.key.seam + " need " + std::to_string(parts) +
                       " good parts; " + std::to_string(state.parts) + (state.parts == 1 ? " was" : " were") +
                       " learnt, " + std::to_string(parts - state.parts) +
                       (parts - state.parts == 1 ? " is missing" : " are missing"));
}

/// Cells on either side that share their variance with one.
inline std::size_t reach_of(BandState const& state) {
    return smoothing_reach(state.options.smoothing, state.cells);
}

inline double least_deviation_of(BandState const& state, std::size_t channel) {
    auto const& least = state.options.least_deviation;
    return least.empty() ? 0.0 : least[channel];
}

/// The variances of one channel's cells, not smoothed. For two parts or more.
inline std::vector<double> own_variances(BandState const& state, std::size_t channel) {
    std::vector<double> variances = state.channels[channel].squares;
    for (double& variance : variances)
        variance /= static_cast<double>(state.parts - 1);
    return variances;
}

} // namespace detail

/// The deviations of one channel from part to part, one a cell, smoothed along the seam, in the sensor's
/// unit. Throws BadInput for a channel that is not there, and for fewer than two parts.
inline std::vector<double> deviations_of(BandState const& state, std::size_t channel) {
    if (channel >= state.channels.size())
        throw BadInput("the band of seam " + state.key.seam + " has " +
                       std::to_string(state.channels.size()) + " channels; asked for was number " +
                       std::to_string(channel + 1));
    detail::need_parts(state, 2, "deviations from part to part");
    std::vector<double> deviations = detail::own_variances(state, channel), work;
    detail::smooth_along(deviations, detail::reach_of(state), work);
    for (double& deviation : deviations)
        deviation = std::max(std::sqrt(deviation), detail::least_deviation_of(state, channel));
    return deviations;
}

namespace detail {

/// Means and deviations of all channels one after the other.
struct AllCells {
    std::vector<double> mean, deviation;

    explicit AllCells(BandState const& state) {
        for (std::size_t c = 0; c < state.channels.size(); ++c) {
            auto const scatter = deviations_of(state, c);
            mean.insert(mean.end(), state.channels[c].mean.begin(), state.channels[c].mean.end());
            deviation.insert(deviation.end(), scatter.begin(), scatter.end());
        }
    }

    /// Points into this.
    BandBasis basis(BandState const& state) const {
        auto const smooth = [half = reach_of(state)](std::span<double> variances) {
            std::vector<double> work;
            smooth_along(variances, half, work);
        };
        return {mean, deviation, state.parts, smooth};
    }
};

[[noreturn]] inline void throw_no_scatter(BandState const& state, std::string const& channel,
                                          std::size_t cell) {
    throw BadInput("no band of seam " + state.key.seam + " can be drawn: channel " + channel + " at " +
                   text_of(1000 * state.cells.middle(cell)) + " mm was the same in all " +
                   std::to_string(state.parts) +
                   " good parts; the sensor may be stuck, or too coarse without a least deviation");
}

/// By how much good parts scatter is what the normal rules stand on.
inline void check_scatter(BandState const& state) {
    for (std::size_t c = 0; c < state.channels.size(); ++c) {
        auto const scatter = deviations_of(state, c);
        for (std::size_t i = 0; i < scatter.size(); ++i)
            if (!(scatter[i] > 0))
                throw_no_scatter(state, state.channels[c].name, i);
    }
}

inline ChannelBand normal_limits(BandState const& state, std::size_t channel, double factor) {
    auto const& of = state.channels[channel];
    auto const scatter = deviations_of(state, channel);
    ChannelBand band{of.name, of.mean, of.mean, of.mean};
    for (std::size_t i = 0; i < scatter.size(); ++i) {
        band.low[i] -= factor * scatter[i];
        band.high[i] += factor * scatter[i];
    }
    return band;
}

/// `cut`: so many readings a side may be cut off, the limits counted in.
inline ChannelBand free_limits(BandState const& state, std::size_t channel, std::uint64_t cut) {
    std::size_t const kept = state.options.kept_extremes;
    if (kept == 0)
        throw BadInput("distribution-free limits of seam " + state.key.seam +
                       " need extremes; by its options none are kept");
    auto const rank = static_cast<std::size_t>(std::min<std::uint64_t>(cut, kept)) - 1;
    auto const& of = state.channels[channel];
    ChannelBand band{of.name, of.mean, of.mean, of.mean};
    for (std::size_t i = 0; i < of.mean.size(); ++i) {
        band.low[i] = of.least[i * kept + rank];
        band.high[i] = of.greatest[i * kept + rank];
        // A few far readings that were cut off may have drawn the mean out of the limits.
        if (!(band.low[i] < of.mean[i] && of.mean[i] < band.high[i]))
            band.centre[i] = band.low[i] + (band.high[i] - band.low[i]) / 2;
    }
    return band;
}

} // namespace detail

/// The limits that are wished for, from what was learnt; see `LimitRule`. The rules are for the whole part,
/// which passes or fails by them; the band keeps them, and `judge` judges by them.
///
/// The normal rules give mean ± factor · deviation. The factor of each cell alone is that of the parts that
/// were learnt, with parts − 1 degrees of freedom, and smoothing does not lower it. A smoothed deviation is
/// surer than that by an amount that depends on how alike neighbouring cells are, which a few parts do not
/// tell; so the confidence is at least what it says where the scatter is even over the length of smoothing.
/// Where it is not, places with more scatter than their surroundings get less coverage than was wished, and
/// the others more: see `uneven_scatter`. Distribution-free limits are readings that were seen, of each cell
/// alone; they cut off as many as the confidence allows, at most `kept_extremes` a side.
///
/// Throws BadInput for shares outside of (0, 1), for rules that `cell_rules` refuses, for too few parts,
/// saying how many are missing, and, naming channel and place, where all parts were the same and nothing can
/// be said.
inline SignalBand draw_band(BandState const& state, BandWish const& wish = {}, JudgeRules const& rules = {}) {
    detail::need_parts(state, good_parts_needed(wish),
                       "limits (" + std::string(to_string(wish.rule)) + ") for a coverage of " +
                           detail::text_of(wish.coverage) + " with a confidence of " +
                           detail::text_of(wish.confidence));
    (void)cell_rules(rules, state.cells);
    SignalBand band{state.key, state.cells, {}, wish, 0, state.parts, rules};
    std::uint64_t cut = 0;
    if (wish.rule == LimitRule::distribution_free) {
        cut = distribution_free_ranks(state.parts, wish.coverage, wish.confidence) / 2;
    } else {
        detail::check_scatter(state);
        detail::AllCells const all(state);
        band.factor =
            wish.rule == LimitRule::normal
                ? normal_tolerance_factor(static_cast<double>(state.parts), wish.coverage, wish.confidence)
                : whole_part_factor(wish, all.basis(state), ResidualSpectrum(state.residuals), state.cells,
                                    rules);
    }
    for (std::size_t c = 0; c < state.channels.size(); ++c) {
        band.channels.push_back(wish.rule == LimitRule::distribution_free
                                    ? detail::free_limits(state, c, cut)
                                    : detail::normal_limits(state, c, band.factor));
        auto const& limits = band.channels.back();
        for (std::size_t i = 0; i < limits.centre.size(); ++i)
            if (!(limits.low[i] < limits.centre[i] && limits.centre[i] < limits.high[i]))
                detail::throw_no_scatter(state, limits.name, i);
    }
    return band;
}

/// How many good parts the judge will call not good under a band that was drawn from what was learnt: see
/// `predict_false_alarms`. Throws BadInput as that does, for a band of another weld, for rules that it was
/// not drawn for (`check_judge_rules`), and for fewer than `least_whole_parts`.
inline FalseAlarms false_alarms_of(BandState const& state, SignalBand const& band, JudgeRules const& rules,
                                   AlarmOptions const& options = {}) {
    check_same_weld(band.key, state.key, "the band", "what was learnt");
    check_judge_rules(band, rules);
    detail::need_parts(state, least_whole_parts, "predicted false alarms");
    detail::AllCells const all(state);
    return predict_false_alarms(band, all.basis(state), ResidualSpectrum(state.residuals), rules, options);
}

/// The same by the band's own rules.
inline FalseAlarms false_alarms_of(BandState const& state, SignalBand const& band,
                                   AlarmOptions const& options = {}) {
    return false_alarms_of(state, band, band.rules, options);
}

} // namespace seamhold

#endif
