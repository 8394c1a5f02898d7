#ifndef SEAMHOLD_RECORD_UNLIKE_PART_HPP
#define SEAMHOLD_RECORD_UNLIKE_PART_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/cells.hpp"
#include "seamhold/record/verdict.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace seamhold {

/// Why a part was not learnt.
enum class NotLearnt : std::uint8_t {
    other_weld,     ///< its trace is of another seam or another plan
    other_channels, ///< its trace has other channels or other cells
    faulty,         ///< some sensor was unwell, or the beam was off, within the seam
    unseen,         ///< a cell was covered too little
    learnt_before,  ///< it is the part that was learnt last
    unlike          ///< it is not like the other good parts
};

/// The same in words.
constexpr char const* to_string(NotLearnt reason) {
    constexpr char const* names[] = {"other weld", "other channels", "faulty samples",
                                     "unseen",     "learnt before",  "unlike the others"};
    return names[static_cast<std::size_t>(reason)];
}

/// Where a part is least like the others.
struct UnlikePlace {
    std::size_t channel; ///< from 0
    Side side;           ///< of their mean
    double from, to;     ///< the stretch over which it is more than half as far off as at the worst cell, m
    double worst_at;     ///< the middle of that cell, m
    double deviations; ///< how far off there, in deviations from part to part; infinite where the others are
                       ///< all the same
    bool on_average;   ///< it is the mean over the whole seam that is off, not a place
};

/// What became of a part that was to be learnt.
struct Learned {
    bool taken;                      ///< whether it was
    std::optional<NotLearnt> reason; ///< why it was not, or what was found and taken on purpose
    std::string words;               ///< the same for a reader, with channel and place; "" where all is well
    std::optional<UnlikePlace> unlike; ///< of a part that is unlike the others
    double bound; ///< so many deviations off would have been enough to be unlike; infinite with too few
                  ///< others to tell by
};

} // namespace seamhold

#endif
