#ifndef SEAMHOLD_MAP_ESTIMATE_HPP
#define SEAMHOLD_MAP_ESTIMATE_HPP

#include "seamhold/map/candidates.hpp"

#include <algorithm>
#include <chrono>
#include <cstddef>
#include <cstdio>
#include <string>
#include <vector>

namespace seamhold {

/// How long a map would take in one thread.
struct MapEstimate {
    double seconds;    ///< of all candidates in one thread, by those that were tried
    double per_pack;   ///< s, their mean
    double slowest;    ///< of them, s
    std::size_t packs; ///< tried
};

/// Answers some packs spread evenly over the candidates, at most `packs` and about `at_most` seconds, and
/// says what all would take. A question that takes far longer in a corner of the space is not seen so.
template <MapQuestion Question>
MapEstimate estimate_map(Candidates const& candidates, Question const& question, std::size_t packs = 16,
                         double at_most = 2) {
    using Clock = std::chrono::steady_clock;
    std::vector<MapPack> answers(question.columns().size());
    MapEstimate estimate{0, 0, 0, 0};
    double sum = 0;
    std::size_t const tries = std::min(std::max<std::size_t>(packs, 1), candidates.packs());
    for (std::size_t i = 0; i <= tries && candidates.packs() > 0; ++i) {
        // The first is asked twice: it also reads in what all need.
        std::size_t const p = i == 0 ? 0 : (2 * i - 1) * candidates.packs() / (2 * tries);
        auto const pack = candidates.pack(p);
        auto const begin = Clock::now();
        question.answer(pack, answers);
        double const seconds = std::chrono::duration<double>(Clock::now() - begin).count();
        if (i == 0)
            continue;
        sum += seconds;
        estimate.slowest = std::max(estimate.slowest, seconds);
        ++estimate.packs;
        if (sum > at_most)
            break;
    }
    if (estimate.packs > 0)
        estimate.per_pack = sum / static_cast<double>(estimate.packs);
    estimate.seconds = estimate.per_pack * static_cast<double>(candidates.packs());
    return estimate;
}

namespace detail {
inline std::string text_of_two_digits(double x) {
    char text[32];
    std::snprintf(text, sizeof text, "%.2g", x);
    return text;
}
} // namespace detail

/// A duration as a person reads it: "3.4 days", "12 minutes", "0.5 s".
inline std::string duration_in_words(double seconds) {
    struct Unit {
        double seconds;
        char const* name;
    };
    for (auto const& unit :
         {Unit{31557600, "years"}, Unit{86400, "days"}, Unit{3600, "hours"}, Unit{60, "minutes"}})
        if (seconds >= 2 * unit.seconds)
            return detail::text_of_two_digits(seconds / unit.seconds) + " " + unit.name;
    return detail::text_of_two_digits(seconds) + " s";
}

namespace detail {

/// Throws BadInput, saying how long it would take and what would help, where a map takes longer than allowed.
inline void refuse_if_longer(MapEstimate const& estimate, Candidates const& candidates, double threads,
                             double longest) {
    double const seconds = estimate.seconds / threads;
    if (!(seconds > longest))
        return;
    throw BadInput("the map of " + std::to_string(candidates.size()) + " candidates would take " +
                   duration_in_words(seconds) + " in " + std::to_string(static_cast<int>(threads)) +
                   (threads > 1 ? " threads" : " thread") + ", and " + duration_in_words(longest) +
                   " were allowed: take fewer places along each axis, a sample in their stead, refine only " +
                   "the edge of what is feasible, or allow more time and keep the shards");
}

} // namespace detail

} // namespace seamhold

#endif
