#ifndef SEAMHOLD_FILE_MAP_IDENTITY_HPP
#define SEAMHOLD_FILE_MAP_IDENTITY_HPP

#include "seamhold/file/text.hpp"
#include "seamhold/live/fingerprint_mixer.hpp"
#include "seamhold/map/refine_edge.hpp"

#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// One of the things by which a map is known again.
struct MapTrait {
    std::string name;  ///< "question", "columns", "space", "candidates", "shards"
    std::string words; ///< one line or more

    friend bool operator==(MapTrait const&, MapTrait const&) = default;
};

/// All by which a map is known again: answers of two maps with the same identity belong together.
using MapIdentity = std::vector<MapTrait>;

namespace detail {

/// The hash of numbers, bit by bit.
inline std::uint64_t hash_of(std::span<double const> numbers, ByteHash hash = {}) {
    for (double const x : numbers) {
        auto const bits = std::bit_cast<std::uint64_t>(x);
        for (unsigned shift = 0; shift < 64; shift += 8)
            hash.add(static_cast<std::uint8_t>(bits >> shift));
    }
    return hash.state;
}

/// One line a column: its name, unit and words.
inline std::string text_of(std::vector<Column> const& columns) {
    std::string text;
    for (auto const& column : columns)
        text += column.name + " [" + column.unit + "] " + joined(column.words, "; ") + "\n";
    return text;
}

template <MapQuestion Question>
MapIdentity identity_of(DesignSpace const& space, std::string candidates, Question const& question,
                        std::size_t shard_packs) {
    return {{"question", question.about()},
            {"columns", text_of(question.columns())},
            {"space", seamhold::text_of(space)},
            {"candidates", std::move(candidates)},
            {"shards", "of " + std::to_string(shard_packs) + " packs of " + std::to_string(map_lanes)}};
}

/// The candidates that the search for an edge answers first, in its order: the corners of the coarsest grid,
/// on the places of the finest.
inline Candidates first_round(DesignSpace const& space, int levels) {
    DesignSpace numbers = space; // of the places, along each axis
    for (auto& axis : numbers.axes)
        if (!axis.is_choice()) {
            axis.low = 0;
            axis.high = static_cast<double>(axis.steps - 1);
            axis.steps = ((axis.steps - 1) >> static_cast<unsigned>(levels)) + 1;
        }
    Candidates const places(std::move(numbers));
    std::vector<double> rows;
    for (std::size_t r = 0; r < places.size(); ++r) {
        auto const row = places.row(r);
        for (std::size_t a = 0; a < row.size(); ++a)
            rows.push_back(space.axes[a].place(static_cast<std::size_t>(row[a])));
    }
    return {space, std::move(rows)};
}

} // namespace detail

/// By what a map of these candidates is known again. All their numbers are in it, so that takes some 0.1 s a
/// million.
template <MapQuestion Question>
MapIdentity identity_of(Candidates const& candidates, Question const& question, std::size_t shard_packs) {
    detail::ByteHash hash;
    for (std::size_t r = 0; r < candidates.size(); ++r)
        hash.state = detail::hash_of(candidates.row(r), hash);
    char digits[20];
    std::snprintf(digits, sizeof digits, "%016llx", static_cast<unsigned long long>(hash.state));
    return detail::identity_of(candidates.space(),
                               std::to_string(candidates.size()) + ", with the hash " + digits, question,
                               shard_packs);
}

/// By what the search for an edge is known again.
template <MapQuestion Question>
MapIdentity identity_of(DesignSpace const& space, Question const& question, RefineOptions const& options) {
    return detail::identity_of(space,
                               "those about the edge, refined " + std::to_string(options.levels) + " times",
                               question, options.map.shard_packs);
}

} // namespace seamhold

#endif
