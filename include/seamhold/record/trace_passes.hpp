#ifndef SEAMHOLD_RECORD_TRACE_PASSES_HPP
#define SEAMHOLD_RECORD_TRACE_PASSES_HPP

#include "seamhold/live/trace.hpp"
#include "seamhold/record/seam_pass.hpp"
#include "seamhold/record/tick_places.hpp"

#include <algorithm>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// What a trace does not say of a seam.
struct RecordedSeam {
    SeamKey key;
    double length; ///< along its path, m
};

namespace detail {
/// Puts the places of ticks together to passes.
class PassMaker {
public:
    PassMaker(std::vector<RecordedSeam> const& seams, double largest_error)
        : seams_(seams), largest_error_(largest_error) {}

    void add(TickPlace const& place) {
        if (place.seam >= seams_.size())
            throw BadInput("the trace has light in seam number " + std::to_string(place.seam) +
                           ", counted from 0; known are " + std::to_string(seams_.size()) +
                           ". Were these samples taken without this plan?");
        double const length = seams_[place.seam].length;
        // Extrapolated to the end a place may be a last bit beyond it.
        PassKnot const knot{place.time, std::clamp(place.arc_length, 0.0, length), place.light};
        if (place.begins && !(any_ && place.seam == seam_ && goes_on(knot))) {
            cut(knot.time);
            finish();
            seam_ = place.seam;
            any_ = true;
        }
        if (!knots_.empty() && !(knot.time > knots_.back().time))
            knots_.back().light = knot.light;
        else
            knots_.push_back(knot);
    }

    void finish() {
        // Light that was told to go out before it came on leaves one dark knot.
        if (any_ && knots_.size() >= 2) {
            SeamPass pass{seams_[seam_].key, seams_[seam_].length, thinned(knots_, largest_error_)};
            pass.knots.back().light = false;
            check_pass(pass);
            passes_.push_back(std::move(pass));
        }
        knots_.clear();
        any_ = false;
    }

    std::vector<SeamPass> passes() { return std::move(passes_); }

private:
    /// There is one spot: where another pass begins before the light of this one was to go out, it has left.
    void cut(ScannerTime at) {
        while (knots_.size() >= 2 && knots_[knots_.size() - 2].time >= at)
            knots_.pop_back();
        if (knots_.size() < 2 || !(knots_.back().time > at))
            return;
        auto const& before = knots_[knots_.size() - 2];
        auto& last = knots_.back();
        last.arc_length = place_between(before.time, before.arc_length, last.time, last.arc_length, at);
        last.time = at;
    }

    /// Whether light comes on again in the pass that there is: where it went out or farther on.
    bool goes_on(PassKnot const& knot) const {
        return knots_.empty() || knot.arc_length >= knots_.back().arc_length - 1e-6;
    }

    std::vector<RecordedSeam> const& seams_;
    double largest_error_;
    std::vector<SeamPass> passes_;
    std::vector<PassKnot> knots_;
    std::uint32_t seam_ = 0;
    bool any_ = false;
};
} // namespace detail

/// The passes that were welded, from the trace of the live loop, in order of time: one wherever light came on
/// in another seam, or in the same seam before the place where it last went out (another part). A seam that
/// was interrupted and went on is one pass with a dark stretch; a seam without any light has none. Where the
/// laser is slower to darkness than to light, another pass may begin before the light of the one before was
/// to go out: the spot is there then, and the pass before ends. `seams`
/// stand in the order of the trace's numbers (`Steering::seams`). `TickPlaces` says what ticks mean. Rows
/// that are missing are bridged over up to `timing.longest_gap`; beyond, the pass is dark there. Places are
/// those that the ticks foretold, within `largest_error` m. Throws BadInput for a seam that is not known,
/// settings that are not possible, and what `check_pass` refuses.
inline std::vector<SeamPass> passes_of(std::vector<NumberedRow<TraceRow>> const& rows,
                                       TickTiming const& timing, std::vector<RecordedSeam> const& seams,
                                       double largest_error = 1e-6) {
    if (!(largest_error >= 0) || !is_finite(largest_error))
        throw BadInput("the largest error of a place must be 0 or above; given was " +
                       detail::text_of(largest_error) + " m");
    TickPlaces places(timing);
    detail::PassMaker maker(seams, largest_error);
    for (auto const& [number, row] : rows) {
        auto const added = places.take(row.time, row.seam, row.arc_length, row.open);
        for (std::size_t i = 0; i < added.count; ++i)
            maker.add(added.place[i]);
    }
    maker.finish();
    return maker.passes();
}

} // namespace seamhold

#endif
