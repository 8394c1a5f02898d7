#ifndef SEAMHOLD_RECORD_BAND_LEARNER_HPP
#define SEAMHOLD_RECORD_BAND_LEARNER_HPP

#include "seamhold/record/band_state.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/unlike_part.hpp"
#include "seamhold/record/verdict.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace seamhold {

/// What to do with a part that is unlike the others.
enum class IfUnlike : std::uint8_t { refuse, take };

/// Learns the band of one seam from good parts, one after the other, without keeping them.
class BandLearner {
public:
    /// One that has learnt nothing yet. Throws BadInput as `empty_band_state`.
    BandLearner(SeamKey const& key, Cells const& cells, std::vector<std::string> const& channels,
                LearnOptions const& options = {});
    /// One that goes on from what was kept. Throws BadInput as `check_band_state`.
    explicit BandLearner(BandState state);
    /// What was learnt so far, to be kept.
    BandState const& state() const { return state_; }
    /// What `learn` would say of a part; learns nothing.
    Learned look_at(SeamTrace const& trace) const;
    /// Learns a part.
    Learned learn(SeamTrace const& trace, IfUnlike if_unlike = IfUnlike::refuse);
    /// The deviations from part to part.
    std::vector<double> deviations(std::size_t channel) const;
    /// The band.
    SignalBand band(BandWish const& wish = {}, JudgeRules const& rules = {}) const;
    /// In bytes.
    std::size_t memory() const;

private:
    BandState state_;
};

} // namespace seamhold

#endif
