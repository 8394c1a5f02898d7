#ifndef SEAMHOLD_RECORD_BAND_LEARNER_HPP
#define SEAMHOLD_RECORD_BAND_LEARNER_HPP

#include "seamhold/record/band_limits.hpp"
#include "seamhold/record/band_state.hpp"
#include "seamhold/record/false_alarm.hpp"
#include "seamhold/record/learnable.hpp"
#include "seamhold/record/scatter.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/unlike_part.hpp"
#include "seamhold/record/verdict.hpp"

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
            off.fill(state_, c, trace.traces[c].value);
            detail::look_farther(farthest, c, off.departures, off.variances);
        }
        if (!(farthest.square > sqr(learned.bound)))
            return learned;
        off.fill(state_, farthest.channel, trace.traces[farthest.channel].value);
        learned.unlike = detail::unlike_place(farthest, off.departures, state_.cells);
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

    /// The deviations of one channel from part to part: see `deviations_of`.
    std::vector<double> deviations(std::size_t channel) const { return deviations_of(state_, channel); }

    /// The limits that are wished for: see `draw_band`.
    SignalBand band(BandWish const& wish = {}, JudgeRules const& rules = {}) const {
        return draw_band(state_, wish, rules);
    }

    /// How many good parts the judge will call not good by the band's own rules: see `false_alarms_of`.
    FalseAlarms false_alarms(SignalBand const& band, AlarmOptions const& options = {}) const {
        return false_alarms_of(state_, band, options);
    }

    /// The same by other rules.
    FalseAlarms false_alarms(SignalBand const& band, JudgeRules const& rules,
                             AlarmOptions const& options = {}) const {
        return false_alarms_of(state_, band, rules, options);
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

        void fill(BandState const& state, std::size_t channel, std::vector<double> const& readings) {
            auto const& of = state.channels[channel];
            double const parts = static_cast<double>(state.parts);
            // A new part is off the mean of n by its own scatter and by the mean's.
            double const scale = std::sqrt(parts / (parts + 1));
            variances = detail::own_variances(state, channel);
            variances.push_back(of.seam_squares / (parts - 1));
            departures.clear();
            for (std::size_t i = 0; i < readings.size(); ++i)
                departures.push_back(scale * (readings[i] - of.mean[i]));
            departures.push_back(scale * (detail::mean_over_seam(readings) - of.seam_mean));
            detail::widen_variances(variances, detail::reach_of(state),
                                    detail::least_deviation_of(state, channel), work, smoothed);
        }
    };

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

    BandState state_;
};

} // namespace seamhold

#endif
