#ifndef SEAMHOLD_LIVE_BLOCK_BOUND_HPP
#define SEAMHOLD_LIVE_BLOCK_BOUND_HPP

#include "seamhold/live/block_prover.hpp"

#include <algorithm>
#include <cstddef>
#include <span>
#include <string>
#include <utility>
#include <vector>

/// How far a block of commands can be from the chain, proven when the seam is set up for every forecast that
/// stays within a box about the planned or recorded pass.
namespace seamhold {

/// What was proven of blocks of order N over a whole seam, as a table over its time. Immutable, and its
/// look-up does not allocate.
template <int N> class BlockBounds {
public:
    /// Proves the bounds: some hundred evaluations of the chain over intervals a second of seam. `nominal`
    /// has `components(t)`, the seven components of the flange's pose over its own time as `PoseLog` has
    /// them. What cannot be proven (out of reach, breaks that a part's motion has) is no error: there are no
    /// blocks there. Throws BadInput for a box or options that are none, and where the processor does not
    /// round to nearest.
    template <class AnyChain, class AnyOrSeam, class Nominal>
    BlockBounds(AnyChain const& chain, AnyOrSeam const& seam, Nominal const& nominal, ForecastBox const& box,
                BlockOptions const& options = {})
        : box_(box), options_(options) {
        check();
        detail::need_rounding_to_nearest();
        double const duration = seam.duration();
        auto breaks = seam.breaks();
        breaks.push_back(0);
        std::sort(breaks.begin(), breaks.end());
        std::vector<double> ends;
        if (options.before > 0) {
            for (double const t : detail::stretch_ends({}, options.before, options.stretch))
                ends.push_back(t - options.before);
            ends.pop_back();
        }
        for (double const t : detail::stretch_ends(breaks, duration, options.stretch))
            ends.push_back(t);
        detail::BlockProver<N, AnyChain, AnyOrSeam, Nominal> const prover(chain, seam, nominal, box, options);
        std::vector<double> places{ends.front()};
        for (std::size_t i = 0; i + 1 < ends.size(); ++i) {
            bool joined = i > 0 && !std::binary_search(breaks.begin(), breaks.end(), ends[i]);
            for (auto& piece : prover.prove({ends[i], ends[i + 1]})) {
                piece.stretch.joined = joined;
                joined = true;
                places.push_back(piece.to);
                stretches_.push_back(piece.stretch);
            }
        }
        whole_to_ = {places.begin() + 1, places.end()};
        for (std::size_t i = stretches_.size(); i-- > 1;)
            if (stretches_[i].joined)
                whole_to_[i - 1] = whole_to_[i];
        places_ = Knots(std::move(places));
    }

    /// The box that was asked for.
    ForecastBox const& box() const { return box_; }

    /// The options.
    BlockOptions const& options() const { return options_; }

    /// The stretches, in order.
    std::span<BlockStretch const> stretches() const { return stretches_; }

    /// Where they begin and end, s of the seam's time: one more than there are stretches.
    std::span<double const> places() const { return places_.places(); }

    /// Stretches [from, to) of the table.
    struct Touched {
        std::size_t from;
        std::size_t to;
    };

    /// Those that the seam's times from `first` to `last` touch; none where not all of these are in the
    /// table.
    Touched touched(double first, double last) const {
        auto const all = places_.places();
        if (!(first >= all.front() && last <= all.back() && first <= last))
            return {0, 0};
        std::size_t const from = places_.locate(first);
        std::size_t to = places_.locate(last);
        if (to > from && all[to] == last)
            --to;
        return {from, to + 1};
    }

    /// The latest of the seam's times to which a block that begins at `first` has no break inside, s.
    double next_break(double first) const { return whole_to_[places_.locate(first)]; }

private:
    void check() const {
        for (std::size_t k = 0; k < 4; ++k)
            for (double const x : {box_.place[k], box_.turn[k]})
                if (!(x >= 0) || !is_finite(x))
                    throw BadInput("a forecast's box must be 0 or more to each side; derivative " +
                                   std::to_string(k) + " was given as " + detail::text_of(x));
        if (!is_finite(box_.program_start))
            throw BadInput("the time of the nominal pass at the seam's start must be finite");
        for (auto const& rate : {box_.program_rate, box_.seam_rate, box_.robot_rate})
            if (!is_finite(rate.high - rate.low))
                throw BadInput("the rates of a forecast's box must be finite intervals");
        if (!(options_.before >= 0) || !is_finite(options_.before))
            throw BadInput("blocks cannot begin " + detail::text_of(options_.before) +
                           " s before the seam: it must be 0 or more");
        for (double const x : {options_.longest, options_.mirror_tolerance, options_.focus_tolerance,
                               options_.stretch, options_.shortest})
            if (!(x > 0) || !is_finite(x))
                throw BadInput("lengths and tolerances of blocks must be above 0; given was " +
                               detail::text_of(x));
    }

    ForecastBox box_;
    BlockOptions options_;
    Knots places_;
    std::vector<BlockStretch> stretches_;
    std::vector<double> whole_to_; ///< the next break after each stretch, s
};

} // namespace seamhold

#endif
