#ifndef SEAMHOLD_MAP_SET_UP_HPP
#define SEAMHOLD_MAP_SET_UP_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/map/question.hpp"

#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// The values of a candidate, or of many at once, over numbers of type S: what a set-up is made from.
template <class S> struct SetUpValues {
    std::vector<S> value;             ///< by axis, in SI units; of a choice its number
    std::vector<std::size_t> choices; ///< by axis, the number of the choice; 0 for an axis of numbers
};

/// One seam of a set-up: as a scheduled seam, with a start that may be any number.
template <class SeamType, class S> struct SetUpSeam {
    std::string name;
    S start; ///< s of the robot's clock
    SeamType seam;

    /// When the seam ends, s.
    S end() const { return start + seam.duration(); }
};

/// A whole set-up: what a job has, with a chain whose stored numbers may be of any type. Seams stand in the
/// order in which they are welded; a seam that starts before the one before it ends is out of the air move's
/// reach, no error.
template <class ChainType, class SeamType, class S> struct SetUp {
    ChainType chain;
    HeadDynamics dynamics;
    std::vector<SetUpSeam<SeamType, S>> seams;
    S takt;                                  ///< s, with whatever run-up and run-out belong to it
    double largest_incidence = quarter_turn; ///< rad
    SeamLimits limits = {};                  ///< of every seam
    std::optional<Process> process = {};     ///< where the beam is to be looked at too
    std::vector<S> figures = {};             ///< more of what the question is to tell, as many as it names
};

/// What makes a set-up from a candidate's values, whichever numbers they are: a function object with
/// `template <class S> auto operator()(SetUpValues<S> const& x) const` that gives a `SetUp` (or anything with
/// its members) over S. It must not branch on numbers, only on choices.
template <class F>
concept SetUpMaker = requires(F const& f, SetUpValues<double> const& x) {
    f(x).chain;
    f(x).dynamics;
    f(x).seams.front().start;
    f(x).takt;
};

} // namespace seamhold

#endif
