#ifndef SEAMHOLD_RECORD_LIVE_SEAM_RECORD_HPP
#define SEAMHOLD_RECORD_LIVE_SEAM_RECORD_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/cell_filler.hpp"
#include "seamhold/record/channel.hpp"
#include "seamhold/record/faulty_stretch.hpp"
#include "seamhold/record/judge.hpp"
#include "seamhold/record/live_knots.hpp"
#include "seamhold/record/sample_runs.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// A seam of the plan that the loop runs, as the judge beside the loop needs it.
struct LiveSeam {
    SeamKey key;                    ///< of the plan that is loaded
    double length;                  ///< along its path, m
    std::optional<SignalBand> band; ///< none: not judged
};

/// Throws BadInput, saying what differs, for a band that does not belong to its seam of the loaded plan, to
/// these channels in their order, or that does not hold (`check_band`); and for a seam without length.
inline void check_live_seam(LiveSeam const& seam, std::vector<Channel> const& channels) {
    using detail::text_of;
    if (!(seam.length > 0) || !is_finite(seam.length))
        throw BadInput("seam " + seam.key.seam + " must have a length above 0; given was " +
                       text_of(seam.length) + " m");
    if (!seam.band)
        return;
    auto const& band = *seam.band;
    check_band(band);
    check_same_weld(band.key, seam.key, "the band", "the plan that is loaded");
    std::string const of = "the band of seam " + band.key.seam;
    if (band.cells.length != seam.length)
        throw BadInput(of + " is " + text_of(1000 * band.cells.length) + " mm long, the seam " +
                       text_of(1000 * seam.length) + " mm");
    if (band.channels.size() != channels.size())
        throw BadInput(of + " has " + std::to_string(band.channels.size()) + " channels; declared are " +
                       std::to_string(channels.size()));
    for (std::size_t i = 0; i < channels.size(); ++i)
        if (band.channels[i].name != channels[i].name)
            throw BadInput(of + ": channel number " + std::to_string(i + 1) + " is " + band.channels[i].name +
                           "; declared is " + channels[i].name);
}

/// What has come of the last pass over one seam, in memory that is taken at construction: the cells of each
/// channel, which of them were bad, and faults of the samples. Only construction and `trace` allocate or
/// throw. A seam without a band keeps nothing.
class LiveSeamRecord {
public:
    /// What counts as bad, and how much is kept.
    struct Settings {
        double least_covered;    ///< see `JudgeRules`
        bool unseen_counts;      ///< whether a cell that was not seen is bad
        std::size_t faults_kept; ///< stretches of faulty samples
        double stop_after;       ///< length that may be bad, m
    };

    /// For a seam that `check_live_seam` lets pass, with so many channels.
    LiveSeamRecord(LiveSeam seam, std::size_t channels, Settings const& settings)
        : seam_(std::move(seam)), settings_(settings) {
        if (!seam_.band)
            return;
        Cells const& cells = seam_.band->cells;
        lanes_.assign(channels, Lane{CellFiller(cells), 0});
        bad_.assign(cells.count, 0);
        faults_.resize(settings.faults_kept);
        allowed_ = static_cast<std::size_t>(std::min(
            std::floor(settings.stop_after / cells.width() * (1 + 1e-12)), static_cast<double>(cells.count)));
    }

    /// The seam.
    LiveSeam const& seam() const noexcept { return seam_; }
    /// The last pass over it; 0 before the first.
    std::uint64_t pass() const noexcept { return pass_; }
    /// Length that is bad so far, m.
    double bad() const noexcept {
        return seam_.band ? seam_.band->cells.width() * static_cast<double>(bad_count_) : 0;
    }
    /// Stretches of faulty samples for which there was no room.
    std::uint64_t faults_not_kept() const noexcept { return faults_not_kept_; }

    /// Begins another pass: nothing has come.
    void begin(std::uint64_t pass) noexcept {
        pass_ = pass;
        for (auto& lane : lanes_) {
            lane.filler.clear();
            lane.looked_at = 0;
        }
        std::fill(bad_.begin(), bad_.end(), std::uint8_t(0));
        bad_count_ = fault_count_ = 0;
        faults_not_kept_ = 0;
    }

    /// A clock step is to be named at a place of the seam, m, though no sample there has that fault.
    void mark_step(std::size_t channel, double place) noexcept {
        if (seam_.band)
            note({SampleFault::clock_step, channel, place, place, 0});
    }

    /// Takes in what a run of samples says of a stretch of the seam.
    void add(std::size_t channel, SampleRun const& run, LiveStretch const& stretch) noexcept {
        if (!seam_.band)
            return;
        auto& filler = lanes_[channel].filler;
        if (!run.fault)
            filler.add(static_cast<double>(run.value), stretch.from, stretch.to);
        else if (*run.fault == SampleFault::clock_step)
            filler.forget(stretch.from, stretch.to);
        if (run.fault)
            note({*run.fault, channel, std::min(stretch.from, stretch.to), std::max(stretch.from, stretch.to),
                  stretch.share * static_cast<double>(run.samples)});
    }

    /// Holds the cells that the spot has left for good against the band, each once; where the light `ends` at
    /// the place, m, the one there too. Returns the end of the cell, m, with which more is bad than allowed.
    std::optional<double> look(std::size_t channel, double place, bool ends) noexcept {
        if (!seam_.band)
            return std::nullopt;
        Cells const& cells = seam_.band->cells;
        // A hair beyond a cell's begin is not in it yet.
        std::size_t const until =
            ends ? std::min(cells.count,
                            static_cast<std::size_t>(std::ceil(std::max(0.0, place / cells.width() - 1e-6))))
                 : cells.at(place);
        auto& lane = lanes_[channel];
        std::optional<double> too_much;
        for (; lane.looked_at < until; ++lane.looked_at) {
            std::size_t const i = lane.looked_at;
            if (bad_[i] != 0 || !is_bad(channel, i))
                continue;
            bad_[i] = 1;
            ++bad_count_;
            if (bad_count_ > allowed_ && !too_much)
                too_much = cells.from(i + 1);
        }
        return too_much;
    }

    /// The trace of what has come, for a part and a date. Throws BadInput without a band or a pass.
    SeamTrace trace(std::string const& part, double date) const {
        if (!seam_.band || pass_ == 0)
            throw BadInput("seam " + seam_.key.seam +
                           (seam_.band ? " has not been welded yet" : " has no band: nothing is kept of it"));
        SeamTrace trace{seam_.key, part, date, seam_.band->cells, {}, {}, {}};
        for (std::size_t c = 0; c < lanes_.size(); ++c) {
            trace.channels.push_back(seam_.band->channels[c].name);
            trace.traces.push_back(lanes_[c].filler.trace());
        }
        trace.faults = detail::fault_spans(
            {faults_.begin(), faults_.begin() + static_cast<std::ptrdiff_t>(fault_count_)},
            seam_.band->cells.width());
        return trace;
    }

private:
    struct Lane {
        CellFiller filler;
        std::size_t looked_at; ///< so many cells were held against the band
    };

    bool is_bad(std::size_t channel, std::size_t cell) const noexcept {
        auto const& filler = lanes_[channel].filler;
        double const deviation =
            deviation_in_band(seam_.band->channels[channel], cell, filler.value(cell),
                              static_cast<float>(filler.covered(cell)), settings_.least_covered);
        return is_finite(deviation) ? std::abs(deviation) > 1 : settings_.unseen_counts;
    }

    /// Keeps a fault, as one with the last of its kind where they are less than a cell apart.
    void note(detail::FaultyStretch const& fault) noexcept {
        for (std::size_t i = fault_count_; i-- > 0;)
            if (faults_[i].fault == fault.fault && faults_[i].channel == fault.channel) {
                if (faults_[i].join(fault, seam_.band->cells.width()))
                    return;
                break;
            }
        if (fault_count_ < faults_.size())
            faults_[fault_count_++] = fault;
        else
            ++faults_not_kept_;
    }

    LiveSeam seam_;
    Settings settings_;
    std::vector<Lane> lanes_;
    std::vector<std::uint8_t> bad_; ///< of each cell
    std::size_t bad_count_ = 0;
    std::size_t allowed_ = 0;                   ///< bad cells
    std::vector<detail::FaultyStretch> faults_; ///< room; the first `fault_count_` are there
    std::size_t fault_count_ = 0;
    std::uint64_t faults_not_kept_ = 0;
    std::uint64_t pass_ = 0;
};

} // namespace seamhold

#endif
