#ifndef SEAMHOLD_LIMIT_HALVING_HPP
#define SEAMHOLD_LIMIT_HALVING_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/enclose.hpp"

#include <array>
#include <cstddef>
#include <type_traits>
#include <utility>
#include <vector>

namespace seamhold {

/// How far a proof by halves may go.
struct HalvingBudget {
    std::size_t pieces = 20000; ///< that are looked at, at most
    double shortest = 1e-7;     ///< shorter than this no stretch of time is halved, s
};

/// A moving thing over a stretch of time by its Taylor expansion: V is made of Taylor numbers of intervals,
/// such as `BeamEnds<Cell, Taylor<Interval, 2>>`. Tighter than plain intervals where parts of the thing move
/// together; no break of the motion may lie inside (see `enclosed`).
template <class V> struct Expansion {
    V at_middle; ///< at the time in the middle, a thin interval
    V over;      ///< at the whole stretch as the time
};

/// The expansion of `thing(t)`, a function of Taylor numbers of order N, over a stretch of time, s.
template <int N, class Thing> auto expanded(Interval const& stretch, Thing const& thing) {
    using T = Taylor<Interval, N>;
    TimeSpan const span{stretch.low, stretch.high};
    return Expansion<std::decay_t<decltype(thing(T()))>>{thing(T::variable(Interval(span.middle()))),
                                                         thing(T::variable(stretch))};
}

namespace detail {

/// Throws BadInput unless a stretch of time, s, is one.
inline void check_stretch(double first, double last) {
    if (!(first <= last) || !is_finite(first) || !is_finite(last))
        throw BadInput("a stretch of time must begin before it ends; given was " + text_of(first) + " s to " +
                       text_of(last) + " s");
}

/// Moments around a piece that is too short to halve, its ends and as far beyond, within the whole: where a
/// limit is passed near the piece, it mostly is at one of these.
inline std::array<double, 4> moments_around(TimeSpan const& piece, TimeSpan const& whole) {
    double const length = piece.to - piece.from;
    return {greater(piece.from - length, whole.from), piece.from, piece.to,
            lesser(piece.to + length, whole.to)};
}

/// What is known of a piece.
enum class Outcome { proven, refuted, open };

/// How a proof by halves ended.
struct Halving {
    Outcome outcome;    ///< open: the budget is spent, or a piece became too small
    std::size_t pieces; ///< that were looked at
};

/// Proves what `prove(state)` says of a whole by proving it of halves where it is open. `halve(first,
/// second)` makes halves of two copies of a whole and says whether it could; `prove` may take from a state
/// what its halves need not look at again. First halves come first. Ends at the first piece that is refuted
/// or cannot be halved.
template <class State, class Prove, class Halve>
Halving by_halves(State whole, std::size_t most, Prove const& prove, Halve const& halve) {
    need_rounding_to_nearest();
    std::vector<State> left;
    left.push_back(std::move(whole));
    std::size_t pieces = 0;
    while (!left.empty()) {
        if (pieces == most)
            return {Outcome::open, pieces};
        ++pieces;
        auto const outcome = prove(left.back());
        if (outcome == Outcome::refuted)
            return {outcome, pieces};
        if (outcome == Outcome::proven) {
            left.pop_back();
            continue;
        }
        State first = left.back();
        if (!halve(first, left.back()))
            return {outcome, pieces};
        left.push_back(std::move(first));
    }
    return {Outcome::proven, pieces};
}

} // namespace detail

} // namespace seamhold

#endif
