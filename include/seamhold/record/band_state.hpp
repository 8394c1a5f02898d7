#ifndef SEAMHOLD_RECORD_BAND_STATE_HPP
#define SEAMHOLD_RECORD_BAND_STATE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/cells.hpp"
#include "seamhold/record/residual_spectrum.hpp"
#include "seamhold/record/seam_key.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

namespace seamhold {

/// How a band is learnt from good parts.
struct LearnOptions {
    /// Over which length along the seam the scatter from part to part is averaged, m: the resolution of the
    /// deviations, not of the centre, which is of each cell alone. Where the scatter changes over a shorter
    /// length, its average stands for it. 0, and less than three cells: each cell alone.
    double smoothing = 2e-3;
    /// So many of the least and of the greatest readings of each cell are kept for distribution-free limits.
    std::size_t kept_extremes = 4;
    /// A cell counts as seen from this share of its length on, above 0 and up to 1.
    double least_covered = 0.8;
    /// The rate, from 1e-5 and below 0.5, at which a part that is like the others is refused all the same as
    /// unlike them.
    double false_refusal = 0.001;
    /// One number a channel in the sensor's unit, or none at all: deviations are never taken as less, such as
    /// the least step of a coarse sensor.
    std::vector<double> least_deviation = {};
};

/// What is known of one channel: one number a cell, unless said otherwise, in the sensor's unit.
struct ChannelState {
    std::string name;
    std::vector<double> mean;
    std::vector<double> squares; ///< Σ (reading − mean)² over the parts, the unit squared
    std::vector<double> least; ///< of cell i the `kept_extremes` from i · kept_extremes on, rising; +∞ where
                               ///< there is none yet
    std::vector<double> greatest; ///< the same, falling; −∞ where there is none yet
    double seam_mean;             ///< of the readings' means over the whole seam
    double seam_squares;          ///< Σ (mean of a part over the seam − seam_mean)² over the parts
};

/// All that a learnt band stands on: plain numbers, so that it can be kept in a file and learnt further
/// without rereading a part. Its size depends on channels and cells, not on the number of parts.
struct BandState {
    SeamKey key;
    Cells cells;
    LearnOptions options;
    std::uint64_t parts;   ///< learnt
    std::string last_part; ///< the part learnt last; "" before the first
    double last_date;      ///< of its weld, days; 0 before the first
    std::vector<ChannelState> channels;
    ResidualSums residuals; ///< how good parts scatter along the seam and between channels
};

namespace detail {

/// Throws BadInput for options that make no sense for this number of channels.
inline void check_learn_options(LearnOptions const& options, std::size_t channels) {
    if (!(options.smoothing >= 0) || !is_finite(options.smoothing))
        throw BadInput("the length over which deviations are smoothed must be 0 or more; given was " +
                       text_of(options.smoothing) + " m");
    if (!(options.least_covered > 0 && options.least_covered <= 1))
        throw BadInput("a cell must be covered by a share above 0 and up to 1 to count as seen; given was " +
                       text_of(options.least_covered));
    if (!(options.false_refusal >= 1e-5 && options.false_refusal < 0.5))
        throw BadInput(
            "the rate at which good parts are refused must lie between 0.00001 and 0.5; given was " +
            text_of(options.false_refusal));
    if (options.kept_extremes > 1000)
        throw BadInput("at most 1000 extremes a cell can be kept; given was " +
                       std::to_string(options.kept_extremes));
    if (!options.least_deviation.empty() && options.least_deviation.size() != channels)
        throw BadInput("least deviations must be given for each of " + std::to_string(channels) +
                       " channels or for none; given were " + std::to_string(options.least_deviation.size()));
    for (double const least : options.least_deviation)
        if (!(least >= 0) || !is_finite(least))
            throw BadInput("a least deviation must be 0 or more; given was " + text_of(least));
}

/// Whether numbers are so many, finite, and, where wished, not negative.
inline bool sound(std::vector<double> const& numbers, std::size_t count, double least) {
    return numbers.size() == count && std::all_of(numbers.begin(), numbers.end(),
                                                  [least](double x) { return is_finite(x) && x >= least; });
}

/// Whether kept extremes are so many, in order and, once there are parts, finite as far as parts go.
inline bool sound_extremes(std::vector<double> const& kept, std::size_t cells, std::size_t each,
                           std::uint64_t parts, double sign) {
    if (kept.size() != cells * each)
        return false;
    for (std::size_t i = 0; i < kept.size(); ++i) {
        std::size_t const rank = i % each;
        if (rank < parts ? !is_finite(kept[i]) : kept[i] != sign * std::numeric_limits<double>::infinity())
            return false;
        if (rank > 0 && sign * kept[i] < sign * kept[i - 1])
            return false;
    }
    return true;
}

} // namespace detail

/// Nothing learnt yet. Throws BadInput for options that make no sense, no channels, a channel without a name
/// or with one that stands twice, and cells that are none.
inline BandState empty_band_state(SeamKey const& key, Cells const& cells,
                                  std::vector<std::string> const& channels,
                                  LearnOptions const& options = {}) {
    detail::check_learn_options(options, channels.size());
    if (channels.empty())
        throw BadInput("a band needs one channel or more");
    if (cells.count == 0 || !(cells.length > 0) || !is_finite(cells.length))
        throw BadInput("a band of seam " + key.seam + " needs one cell or more and a length above 0");
    double const infinity = std::numeric_limits<double>::infinity();
    BandState state{key, cells, options, 0, "", 0, {}, {}};
    state.residuals = ResidualSpectrum(channels.size(), cells.count).sums();
    for (auto const& name : channels) {
        if (name.empty() || std::count(channels.begin(), channels.end(), name) > 1)
            throw BadInput("channels of a band need names that differ; given was \"" + name + "\"");
        std::vector<double> const none(cells.count, 0.0);
        state.channels.push_back({name, none, none,
                                  std::vector<double>(cells.count * options.kept_extremes, infinity),
                                  std::vector<double>(cells.count * options.kept_extremes, -infinity), 0, 0});
    }
    return state;
}

/// Throws BadInput, saying what is wrong and with which channel, for a state that no learning can have left:
/// one read from a damaged file.
inline void check_band_state(BandState const& state) {
    std::vector<std::string> names;
    for (auto const& channel : state.channels)
        names.push_back(channel.name);
    (void)empty_band_state(state.key, {state.cells.length, std::min<std::size_t>(state.cells.count, 1)},
                           names, state.options);
    std::size_t const cells = state.cells.count, each = state.options.kept_extremes;
    if (state.residuals.channels != names.size() || state.residuals.cells != cells)
        throw BadInput("the state of a band of seam " + state.key.seam +
                       ": its residuals are of other channels or cells");
    (void)ResidualSpectrum(state.residuals); // looks at the rest of them
    double const lowest = std::numeric_limits<double>::lowest();
    for (auto const& c : state.channels) {
        if (!detail::sound(c.mean, cells, lowest) || !detail::sound(c.squares, cells, 0) ||
            !is_finite(c.seam_mean) || !is_finite(c.seam_squares) || c.seam_squares < 0)
            throw BadInput("the state of a band of seam " + state.key.seam +
                           ": means or squares of channel " + c.name + " are not one sound number a cell");
        if (!detail::sound_extremes(c.least, cells, each, state.parts, 1) ||
            !detail::sound_extremes(c.greatest, cells, each, state.parts, -1))
            throw BadInput("the state of a band of seam " + state.key.seam + ": extremes of channel " +
                           c.name + " are not " + std::to_string(each) + " ordered numbers a cell");
    }
    if (state.residuals.parts > state.parts || !is_finite(state.last_date))
        throw BadInput("the state of a band of seam " + state.key.seam +
                       ": residuals of more parts than were learnt, or a last date that is not finite");
}

} // namespace seamhold

#endif
