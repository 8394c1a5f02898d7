#ifndef SEAMHOLD_RECORD_LEARN_BAND_HPP
#define SEAMHOLD_RECORD_LEARN_BAND_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/record/band_learner.hpp"
#include "seamhold/record/learnable.hpp"
#include "seamhold/record/odd_parts.hpp"
#include "seamhold/record/scatter.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/unlike_part.hpp"

#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// A band learnt from parts that were at hand together.
struct BatchLearned {
    BandLearner learner;        ///< has learnt those that were taken
    std::vector<Learned> parts; ///< what became of each part, in the order given
};

namespace detail {

/// Finds the parts of a batch that are unlike the others among those that may be learnt, and says so in
/// `parts`.
inline void name_odd_parts(std::vector<SeamTrace> const& traces, BandState const& state,
                           std::vector<Learned>& parts) {
    std::vector<std::size_t> sound;
    for (std::size_t i = 0; i < traces.size(); ++i)
        if (parts[i].taken)
            sound.push_back(i);
    PartRows rows(state.channels.size(), state.cells.count);
    for (std::size_t const i : sound) {
        std::vector<std::span<double const>> readings;
        for (auto const& trace : traces[i].traces)
            readings.emplace_back(trace.value);
        rows.add(readings);
    }
    auto const& least = state.options.least_deviation;
    OddParts const odd(std::move(rows), smoothing_reach(state.options.smoothing, state.cells),
                       least.empty() ? std::vector<double>(state.channels.size(), 0.0) : least,
                       state.options.false_refusal);
    for (std::size_t const i : sound)
        parts[i].bound = odd.bound();
    for (OddPart const& found : odd.found()) {
        Learned& part = parts[sound[found.part]];
        part.unlike = unlike_place(found.farthest, found.departures, state.cells);
        part.taken = false;
        part.reason = NotLearnt::unlike;
        part.words = unlike_words(*part.unlike, traces[sound[found.part]].part, state.key.seam,
                                  state.channels[found.farthest.channel].name,
                                  std::to_string(sound.size() - odd.found().size()));
    }
}

} // namespace detail

/// Learns a band from parts that are at hand together, as the first good parts of a job are, and leaves out
/// those that are unlike the others. Each part is held against the others without it, and what chance makes
/// of it is found by turning the parts' readings at random (Ø. Langsrud, "Rotation tests", Statistics and
/// Computing 15, 2005, 53–60; from memory), which asks nothing about correlation along the seam or between
/// channels, only that readings scatter normally from part to part. A good part is refused at the rate
/// `false_refusal` at most.
///
/// Several odd parts hide each other, since each makes the others' scatter large. So the parts are put in
/// order of how far they are from the middle of them all (median and median deviation), and the odd ones are
/// looked for from the inside outwards: those farthest out, up to a third of all, less one, are set aside and
/// each is tested against the rest (after B. Rosner, Technometrics 25, 1983, 165–172; from memory). Of four
/// to six parts one can be found, of seven to nine two. Fewer than four parts, and odd parts that are as many
/// as the others, tell nothing: somebody must look at the first good parts by other means.
///
/// Throws BadInput for no parts, and for options or channels as `empty_band_state` does. The first part says
/// which weld, which cells and which channels; parts that differ from it are not learnt and say so.
inline BatchLearned learn_band(std::vector<SeamTrace> const& traces, LearnOptions const& options = {}) {
    if (traces.empty())
        throw BadInput("a band is learnt from one good part or more; given were none");
    SeamTrace const& first = traces.front();
    BatchLearned result{BandLearner(first.key, first.cells, first.channels, options), {}};
    for (std::size_t i = 0; i < traces.size(); ++i) {
        auto refused = why_not(result.learner.state(), traces[i]);
        for (std::size_t k = 0; k < i && !refused; ++k)
            if (traces[k].part == traces[i].part && traces[k].date == traces[i].date)
                refused = Learned{false,
                                  NotLearnt::learnt_before,
                                  "part " + traces[i].part + ", seam " + first.key.seam +
                                      ", stands twice among the parts to learn",
                                  {},
                                  std::numeric_limits<double>::infinity()};
        result.parts.push_back(
            refused.value_or(Learned{true, {}, "", {}, std::numeric_limits<double>::infinity()}));
    }
    detail::name_odd_parts(traces, result.learner.state(), result.parts);
    for (std::size_t i = 0; i < traces.size(); ++i)
        if (result.parts[i].taken)
            (void)result.learner.learn(traces[i], IfUnlike::take);
    return result;
}

} // namespace seamhold

#endif
