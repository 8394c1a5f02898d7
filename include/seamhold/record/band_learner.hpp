#ifndef SEAMHOLD_RECORD_BAND_LEARNER_HPP
#define SEAMHOLD_RECORD_BAND_LEARNER_HPP

#include "seamhold/record/band_state.hpp"
#include "seamhold/record/false_alarm.hpp"
#include "seamhold/record/learnable.hpp"
#include "seamhold/record/scatter.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/unlike_part.hpp"
#include "seamhold/record/verdict.hpp"
#include "seamhold/statistics/distribution_free.hpp"
#include "seamhold/statistics/tolerance_factor.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// What to do with a part that is unlike the others.
enum class IfUnlike : std::uint8_t {
    refuse, ///< it is named and not learnt
    take    ///< it is named and learnt all the same: somebody looked at it
};

/// From so many good parts on a band can be drawn for the whole part.
inline constexpr std::uint64_t least_whole_parts = 10;

/// The least number of good parts from which limits can be drawn as wished, for each cell alone exactly: two
/// for the normal rule (but see `parts_for_factor` for how many make the band no wider than it must be),
/// those of `distribution_free_parts` for the distribution-free one. For the whole part `least_whole_parts`:
/// from fewer nobody can tell how the signals scatter along the seam. Throws BadInput for shares outside of
/// (0, 1).
inline std::uint64_t good_parts_needed(BandWish const& wish) {
    detail::check_tolerance_share(wish.coverage, "coverage");
    detail::check_tolerance_share(wish.confidence, "confidence");
    switch (wish.rule) {
    case LimitRule::normal:
        return 2;
    case LimitRule::distribution_free:
        return distribution_free_parts(wish.coverage, wish.confidence);
    default:
        return least_whole_parts;
    }
}

/// Learns the band of one seam from good parts, one after the other, without keeping them. Per cell and
/// channel it keeps mean and scatter by running sums that lose no digits (B. Welford, Technometrics 4, 1962,
/// 419–420; from memory), and a few extremes; so a band from a thousand parts learns one more as fast as one
/// from ten, in the same memory.
class BandLearner {
public:
    /// One that has learnt nothing yet. Throws BadInput as `empty_band_state`.
    BandLearner(SeamKey const& key, Cells const& cells, std::vector<std::string> const& channels,
                LearnOptions const& options = {})
        : state_(empty_band_state(key, cells, channels, options)) {}

    /// One that goes on from what was kept. Throws BadInput as `check_band_state`.
    explicit BandLearner(BandState state) : state_(std::move(state)) { check_band_state(state_); }

    /// What was learnt so far, to be kept.
    BandState const& state() const { return state_; }

    /// What `learn` would say of a part; learns nothing. A part that is like those learnt is found unlike
    /// them at the rate `false_refusal` at most, if readings of a cell scatter normally from part to part:
    /// everywhere together, whatever their correlation along the seam and between channels, and whether or
    /// not the scatter changes along the seam. Few parts tell little: `bound` says how little. Of the first
    /// two parts nothing can be told, so the first ten or so are better learnt by `learn_band`.
    Learned look_at(SeamTrace const& trace) const {
        if (auto refused = why_not(state_, trace))
            return *refused;
        Learned learned{true, {}, "", {}, std::numeric_limits<double>::infinity()};
        if (state_.parts < 2)
            return learned;
        double const parts = static_cast<double>(state_.parts);
        std::size_t const places = state_.channels.size() * (state_.cells.count + 1);
        learned.bound = detail::unlike_bound(state_.options.false_refusal, places, parts - 1);
        Rows off;
        detail::Farthest farthest;
        for (std::size_t c = 0; c < state_.channels.size(); ++c) {
            off.fill(*this, c, trace.traces[c].value);
            detail::look_farther(farthest, c, off.departures, off.variances);
        }
        if (!(farthest.square > sqr(learned.bound)))
            return learned;
        off.fill(*this, farthest.channel, trace.traces[farthest.channel].value);
        learned.unlike = detail::unlike_place(farthest, off.departures, off.variances, state_.cells);
        learned.taken = false;
        learned.reason = NotLearnt::unlike;
        learned.words =
            detail::unlike_words(*learned.unlike, trace.part, state_.key.seam,
                                 state_.channels[farthest.channel].name, std::to_string(state_.parts));
        return learned;
    }

    /// Learns a part, or says why not: it is of another weld, has other channels or cells, faulty or unseen
    /// cells, was learnt just before, or is unlike the others (see `look_at`). One that is unlike is learnt
    /// all the same with IfUnlike::take, and said to be so. Nothing changes where a part is not taken.
    Learned learn(SeamTrace const& trace, IfUnlike if_unlike = IfUnlike::refuse) {
        Learned learned = look_at(trace);
        learned.taken = learned.taken || (learned.unlike && if_unlike == IfUnlike::take);
        if (learned.taken)
            take(trace);
        return learned;
    }

    /// The deviations of one channel from part to part, one a cell, smoothed along the seam, in the sensor's
    /// unit. Throws BadInput for a channel that is not there, and for fewer than two parts.
    std::vector<double> deviations(std::size_t channel) const {
        if (channel >= state_.channels.size())
            throw BadInput("the band of seam " + state_.key.seam + " has " +
                           std::to_string(state_.channels.size()) + " channels; asked for was number " +
                           std::to_string(channel + 1));
        need(2, "deviations from part to part");
        std::vector<double> variances = own_variances(channel), work;
        detail::smooth_along(variances, reach(), work);
        for (double& variance : variances)
            variance = std::max(std::sqrt(variance), least_deviation(channel));
        return variances;
    }

    /// The limits that are wished for; see `LimitRule`. Rules are needed for the whole part, which passes or
    /// fails by them.
    ///
    /// The normal rules give mean ± factor · deviation. The factor of each cell alone is that of the parts
    /// that were learnt, parts − 1 degrees of freedom, and smoothing does not lower it. A smoothed deviation
    /// is surer than that by an amount that depends on how alike neighbouring cells are, which a few parts do
    /// not tell; so the confidence is at least what it says where the scatter is even over the length of
    /// smoothing. Where it is not, the places with more scatter than their surroundings get less coverage
    /// than was wished, and the others more. Distribution-free limits are readings that were seen, of each
    /// cell alone; they cut off as many as the confidence allows, at most `kept_extremes` a side.
    ///
    /// Throws BadInput for shares outside of (0, 1), for too few parts, saying how many are missing, and,
    /// naming channel and place, where all parts were the same and nothing can be said.
    SignalBand band(BandWish const& wish = {}, JudgeRules const& rules = {}) const {
        need(good_parts_needed(wish), words_of(wish));
        SignalBand band{state_.key, state_.cells, {}, wish, 0, state_.parts};
        if (wish.rule == LimitRule::distribution_free) {
            std::uint64_t const cut =
                distribution_free_ranks(state_.parts, wish.coverage, wish.confidence) / 2;
            for (std::size_t c = 0; c < state_.channels.size(); ++c)
                band.channels.push_back(free_limits(c, cut));
        } else {
            for (std::size_t c = 0; c < state_.channels.size(); ++c)
                check_scatter(c);
            band.factor = wish.rule == LimitRule::normal
                              ? normal_tolerance_factor(static_cast<double>(state_.parts), wish.coverage,
                                                        wish.confidence)
                              : whole_factor(wish, rules);
            for (std::size_t c = 0; c < state_.channels.size(); ++c)
                band.channels.push_back(normal_limits(c, band.factor));
        }
        for (auto const& channel : band.channels)
            check_limits(channel);
        return band;
    }

    /// How many good parts the judge will call not good under a band that was drawn from what was learnt so
    /// far: see `predict_false_alarms`. Throws BadInput as that does, and for a band of another weld.
    FalseAlarms false_alarms(SignalBand const& band, JudgeRules const& rules,
                             AlarmOptions const& options = {}) const {
        check_same_weld(band.key, state_.key, "the band", "what was learnt");
        need(least_whole_parts, "a prediction of false alarms");
        AllCells const all = all_cells();
        return predict_false_alarms(band, basis_of(all), ResidualSpectrum(state_.residuals), rules, options);
    }

    /// The memory that what was learnt takes, in bytes. It does not depend on the number of parts.
    std::size_t memory() const {
        auto const bytes = [](std::vector<double> const& numbers) { return numbers.size() * sizeof(double); };
        std::size_t sum = sizeof *this + state_.key.seam.size() + state_.last_part.size() +
                          bytes(state_.options.least_deviation) + bytes(state_.residuals.power) +
                          bytes(state_.residuals.cross) + bytes(state_.residuals.offsets);
        for (auto const& c : state_.channels)
            sum += sizeof c + c.name.size() + bytes(c.mean) + bytes(c.squares) + bytes(c.least) +
                   bytes(c.greatest);
        return sum;
    }

private:
    /// How far one channel of a part is off, and in which measure: of its cells and of its mean over the
    /// seam.
    struct Rows {
        std::vector<double> departures, variances, work, smoothed;

        void fill(BandLearner const& learner, std::size_t channel, std::vector<double> const& readings) {
            auto const& of = learner.state_.channels[channel];
            double const parts = static_cast<double>(learner.state_.parts);
            // A new part is off the mean of n by its own scatter and by the mean's.
            double const scale = std::sqrt(parts / (parts + 1));
            variances = learner.own_variances(channel);
            variances.push_back(of.seam_squares / (parts - 1));
            departures.clear();
            for (std::size_t i = 0; i < readings.size(); ++i)
                departures.push_back(scale * (readings[i] - of.mean[i]));
            departures.push_back(scale * (detail::mean_over_seam(readings) - of.seam_mean));
            detail::widen_variances(variances, learner.reach(), learner.least_deviation(channel), work,
                                    smoothed);
        }
    };

    std::size_t reach() const { return detail::smoothing_reach(state_.options.smoothing, state_.cells); }

    double least_deviation(std::size_t channel) const {
        auto const& least = state_.options.least_deviation;
        return least.empty() ? 0.0 : least[channel];
    }

    std::vector<double> own_variances(std::size_t channel) const {
        std::vector<double> variances = state_.channels[channel].squares;
        for (double& variance : variances)
            variance /= static_cast<double>(state_.parts - 1);
        return variances;
    }

    void take(SeamTrace const& trace) {
        BandState next = state_; // so that nothing changes if something throws
        next.parts += 1;
        double const parts = static_cast<double>(next.parts);
        std::vector<double> departures, deviations;
        for (std::size_t c = 0; c < next.channels.size(); ++c) {
            auto& of = next.channels[c];
            auto const& readings = trace.traces[c].value;
            for (std::size_t i = 0; i < readings.size(); ++i) {
                departures.push_back(readings[i] - of.mean[i]);
                auto const scatter = detail::with_reading({of.mean[i], of.squares[i]}, readings[i], parts);
                of.mean[i] = scatter.mean;
                of.squares[i] = scatter.squares;
                deviations.push_back(parts > 1 ? std::sqrt(of.squares[i] / (parts - 1)) : 0.0);
            }
            auto const seam = detail::with_reading({of.seam_mean, of.seam_squares},
                                                   detail::mean_over_seam(readings), parts);
            of.seam_mean = seam.mean;
            of.seam_squares = seam.squares;
            keep_extremes(readings, next.options.kept_extremes, of);
        }
        ResidualSpectrum spectrum(std::move(next.residuals));
        spectrum.add(departures, deviations, next.parts);
        next.residuals = spectrum.sums();
        next.last_part = trace.part;
        next.last_date = trace.date;
        state_ = std::move(next);
    }

    /// Puts a reading into its place among ordered ones; what falls off the end is forgotten.
    template <class Before> static void put_in_order(double reading, std::span<double> kept, Before before) {
        for (double& other : kept)
            if (before(reading, other))
                std::swap(reading, other);
    }

    static void keep_extremes(std::vector<double> const& readings, std::size_t kept, ChannelState& of) {
        for (std::size_t i = 0; i < readings.size(); ++i) {
            put_in_order(readings[i], std::span(of.least).subspan(i * kept, kept), std::less<>());
            put_in_order(readings[i], std::span(of.greatest).subspan(i * kept, kept), std::greater<>());
        }
    }

    void need(std::uint64_t parts, std::string const& what) const {
        if (state_.parts < parts)
            throw BadInput(what + " of seam " + state_.key.seam + " need " + std::to_string(parts) +
                           " good parts; " + std::to_string(state_.parts) + " were learnt, " +
                           std::to_string(parts - state_.parts) + " are missing");
    }

    static std::string words_of(BandWish const& wish) {
        return "limits (" + std::string(to_string(wish.rule)) + ") for a coverage of " +
               detail::text_of(wish.coverage) + " with a confidence of " + detail::text_of(wish.confidence);
    }

    [[noreturn]] void no_scatter(std::string const& channel, std::size_t cell) const {
        throw BadInput("no band of seam " + state_.key.seam + " can be drawn: channel " + channel + " at " +
                       detail::text_of(1000 * state_.cells.middle(cell)) + " mm was the same in all " +
                       std::to_string(state_.parts) +
                       " good parts; the sensor may be stuck, or too coarse without a least deviation");
    }

    void check_scatter(std::size_t channel) const {
        auto const scatter = deviations(channel);
        for (std::size_t i = 0; i < scatter.size(); ++i)
            if (!(scatter[i] > 0))
                no_scatter(state_.channels[channel].name, i);
    }

    void check_limits(ChannelBand const& channel) const {
        for (std::size_t i = 0; i < channel.centre.size(); ++i)
            if (!(channel.low[i] < channel.centre[i] && channel.centre[i] < channel.high[i]))
                no_scatter(channel.name, i);
    }

    ChannelBand normal_limits(std::size_t channel, double factor) const {
        auto const& of = state_.channels[channel];
        auto const scatter = deviations(channel);
        ChannelBand band{of.name, of.mean, of.mean, of.mean};
        for (std::size_t i = 0; i < scatter.size(); ++i) {
            band.low[i] -= factor * scatter[i];
            band.high[i] += factor * scatter[i];
        }
        return band;
    }

    ChannelBand free_limits(std::size_t channel, std::uint64_t cut) const {
        std::size_t const kept = state_.options.kept_extremes;
        if (kept == 0)
            throw BadInput("distribution-free limits of seam " + state_.key.seam +
                           " need extremes; by its options none are kept");
        auto const rank = static_cast<std::size_t>(std::min<std::uint64_t>(cut, kept)) - 1;
        auto const& of = state_.channels[channel];
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

    /// Of all channels one after the other.
    struct AllCells {
        std::vector<double> mean, deviation;
    };

    AllCells all_cells() const {
        AllCells all;
        for (std::size_t c = 0; c < state_.channels.size(); ++c) {
            auto const& mean = state_.channels[c].mean;
            auto const scatter = deviations(c);
            all.mean.insert(all.mean.end(), mean.begin(), mean.end());
            all.deviation.insert(all.deviation.end(), scatter.begin(), scatter.end());
        }
        return all;
    }

    /// Points into `all`.
    BandBasis basis_of(AllCells const& all) const {
        auto const smooth = [half = reach()](std::span<double> variances) {
            std::vector<double> work;
            detail::smooth_along(variances, half, work);
        };
        return {all.mean, all.deviation, state_.parts, smooth};
    }

    double whole_factor(BandWish const& wish, JudgeRules const& rules) const {
        AllCells const all = all_cells();
        return whole_part_factor(wish, basis_of(all), ResidualSpectrum(state_.residuals), state_.cells,
                                 rules);
    }

    BandState state_;
};

} // namespace seamhold

#endif
