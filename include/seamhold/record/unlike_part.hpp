#ifndef SEAMHOLD_RECORD_UNLIKE_PART_HPP
#define SEAMHOLD_RECORD_UNLIKE_PART_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/cells.hpp"
#include "seamhold/record/scatter.hpp"
#include "seamhold/record/verdict.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>

namespace seamhold {

/// Why a part was not learnt.
enum class NotLearnt : std::uint8_t {
    other_weld,     ///< its trace is of another seam or another plan
    other_channels, ///< its trace has other channels or other cells
    faulty,         ///< a sensor was unwell, the beam was off, or the clock stepped
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
    BandSide side;       ///< of their mean
    double from, to;   ///< the stretch over which it is more than half as far from it as at the worst cell, m
    double worst_at;   ///< the middle of that cell, m
    double deviations; ///< how far off there, in deviations from part to part; infinite where the others are
                       ///< all the same
    bool on_average;   ///< it is the mean over the whole seam that is off, more than any place
};

/// What became of a part that was to be learnt.
struct Learned {
    bool taken;                      ///< whether it was
    std::optional<NotLearnt> reason; ///< why it was not, or what was found and taken on purpose
    std::string words;               ///< the same for a reader, with channel and place; "" where all is well
    std::optional<UnlikePlace> unlike; ///< of a part that is unlike the others
    double bound; ///< a part this many deviations off is unlike for certain; infinite with too few others to
                  ///< tell by
};

namespace detail {

/// How many deviations of `degrees` degrees of freedom a good part is off, anywhere among so many places, at
/// the given rate at most: Student's t, by Bonferroni's inequality, whatever the correlation between places.
inline double unlike_bound(double false_refusal, std::size_t places, double degrees) {
    return -student_quantile(false_refusal / (2 * static_cast<double>(places)), degrees);
}

/// The stretch around the farthest place, from one channel's departures of its cells and of the mean over the
/// seam.
inline UnlikePlace unlike_place(Farthest const& found, std::span<double const> departures,
                                Cells const& cells) {
    double const worst = departures[found.place];
    UnlikePlace place{found.channel,
                      worst < 0 ? BandSide::below : BandSide::above,
                      0,
                      cells.length,
                      cells.length / 2,
                      std::sqrt(found.square),
                      found.place == cells.count};
    if (place.on_average)
        return place;
    auto const far = [&](std::size_t i) { return departures[i] * worst > sqr(worst) / 2; };
    std::size_t from = found.place, to = found.place + 1;
    while (from > 0 && far(from - 1))
        --from;
    while (to < cells.count && far(to))
        ++to;
    place.from = cells.from(from);
    place.to = cells.from(to);
    place.worst_at = cells.middle(found.place);
    return place;
}

/// The same for a reader.
inline std::string unlike_words(UnlikePlace const& place, std::string const& part, std::string const& seam,
                                std::string const& channel, std::string const& others) {
    auto const mm = [](double x) { return text_of(std::round(1e6 * x) / 1e3); };
    std::string const side = to_string(place.side);
    std::string const how_far = is_finite(place.deviations)
                                    ? text_of(std::round(10 * place.deviations) / 10) + " deviations " + side
                                    : side;
    std::string const where = place.on_average ? "over the whole seam on average"
                                               : "from " + mm(place.from) + " to " + mm(place.to) +
                                                     " mm, most at " + mm(place.worst_at) + " mm";
    return "part " + part + " is unlike the " + others + " other good parts of seam " + seam + ": channel " +
           channel + " is " + how_far + " their mean " + where +
           (is_finite(place.deviations)
                ? ""
                : "; the others are all the same there (a coarse sensor needs a least deviation)");
}

} // namespace detail

} // namespace seamhold

#endif
