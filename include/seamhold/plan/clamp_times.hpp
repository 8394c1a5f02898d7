#ifndef SEAMHOLD_PLAN_CLAMP_TIMES_HPP
#define SEAMHOLD_PLAN_CLAMP_TIMES_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/number/bad_input.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

/// When clamps hold the part: no seam before its clamps have closed or after one opens.
namespace seamhold {

/// A clamp that must be closed while seams are welded. A clamp that closes and opens several times is one
/// entry each for the seams of that time.
struct ClampTime {
    std::string name;               ///< of the clamp, for messages
    std::vector<std::string> seams; ///< that it must hold
    double closed_from;             ///< it holds from here on, s
    double open_from;               ///< it has begun to open, s
};

/// Clamps as given, checked against the names of all seams. Throws BadInput, naming the clamp, what was given
/// and the smallest change, for a clamp that never closes or never opens (times that are not finite), a clamp
/// that opens before it closes, and a seam that there is not.
inline std::vector<ClampTime> checked(std::vector<ClampTime> clamps, std::vector<std::string> const& seams) {
    for (auto const& clamp : clamps) {
        std::string const called = std::string("clamp '").append(clamp.name).append("'");
        if (!is_finite(clamp.closed_from))
            throw BadInput(called + " never closes: give the time from which it holds; given was " +
                           detail::text_of(clamp.closed_from) + " s");
        if (!is_finite(clamp.open_from))
            throw BadInput(called +
                           " never opens: give the time at which it opens, after the last seam if it "
                           "may; given was " +
                           detail::text_of(clamp.open_from) + " s");
        if (!(clamp.open_from > clamp.closed_from))
            throw BadInput(called + " is a clamp that opens before it closes: it closes at " +
                           detail::text_of(clamp.closed_from) + " s and opens at " +
                           detail::text_of(clamp.open_from) +
                           " s; it must open later, or close earlier, by more than " +
                           detail::text_of(clamp.closed_from - clamp.open_from) + " s");
        auto const missing = std::find_if(clamp.seams.begin(), clamp.seams.end(), [&](auto const& seam) {
            return std::find(seams.begin(), seams.end(), seam) == seams.end();
        });
        if (missing != clamp.seams.end())
            throw BadInput(called + " holds a seam '" + *missing + "', which there is not");
    }
    return clamps;
}

/// When a seam may start between its clamps.
struct ClampedStarts {
    std::vector<Range> windows; ///< of start times, s, in the order given; those left empty are left out
    double missing;          ///< where none is left: for so long more, s, its clamps would have to be closed
                             ///< (closing earlier, opening later, or both) for one start; 0 else
    std::string closes_last; ///< the clamp of the seam that closes last; empty where it has none
    std::string opens_first; ///< and the one that opens first
};

/// Windows of start times of a seam that lasts `duration`, s, cut to the time in which all of its clamps are
/// closed from its first light to its last. `missing` is infinite where no window was given. Throws BadInput
/// for a duration below 0 or not finite, and for a window whose low end is above its high end or a NaN.
inline ClampedStarts within_clamps(std::string const& seam, double duration,
                                   std::vector<Range> const& windows, std::vector<ClampTime> const& clamps) {
    double const infinity = std::numeric_limits<double>::infinity();
    if (!(duration >= 0) || !is_finite(duration))
        throw BadInput("seam '" + seam + "' between clamps lasts " + detail::text_of(duration) +
                       " s; a duration must be 0 or more");
    double first = -infinity, last = infinity; // start
    ClampedStarts result{{}, infinity, {}, {}};
    for (auto const& clamp : clamps) {
        if (std::find(clamp.seams.begin(), clamp.seams.end(), seam) == clamp.seams.end())
            continue;
        if (result.closes_last.empty() || clamp.closed_from > first) {
            first = clamp.closed_from;
            result.closes_last = clamp.name;
        }
        if (result.opens_first.empty() || clamp.open_from - duration < last) {
            last = clamp.open_from - duration;
            result.opens_first = clamp.name;
        }
    }
    for (auto const& window : windows) {
        if (!(window.low <= window.high))
            throw BadInput("seam '" + seam + "' has a window of start times from " +
                           detail::text_of(window.low) + " to " + detail::text_of(window.high) +
                           " s, which is none");
        Range const left{std::max(window.low, first), std::min(window.high, last)};
        if (left.low <= left.high)
            result.windows.push_back(left);
        // What a start is too early and too late by together is least as near to `first` as it can be.
        double const start = std::clamp(first, window.low, window.high);
        result.missing = std::min(result.missing, std::max(first - start, 0.0) + std::max(start - last, 0.0));
    }
    if (!result.windows.empty())
        result.missing = 0;
    return result;
}

/// Why a seam has no start left between its clamps, and the smallest change that would give it one; for
/// BadInput.
inline std::string why_not_within(std::string const& seam, ClampedStarts const& starts) {
    return "seam '" + seam + "' has no start while its clamps are closed: clamp '" + starts.closes_last +
           "' closes last and clamp '" + starts.opens_first +
           "' opens first; one must close earlier or the other open later, by " +
           detail::text_of(starts.missing) + " s in all";
}

} // namespace seamhold

#endif
