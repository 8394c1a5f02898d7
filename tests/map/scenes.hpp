#ifndef SEAMHOLD_TESTS_MAP_SCENES_HPP
#define SEAMHOLD_TESTS_MAP_SCENES_HPP

#include "seamhold/map/run_map.hpp"

#include <cstring>
#include <map>
#include <utility>
#include <vector>

// Small questions whose answers are known, and a keeper held in memory.
namespace seamhold::test {

/// Two axes of numbers and one choice.
inline DesignSpace small_space(std::size_t steps = 9) {
    return {{axis("speed", "mm/s", 1e-3, 100, 300, steps), choice("head", {"wide", "narrow", "long"}),
             axis("tilt", "deg", 0.017453292519943295, -10, 10, steps + 4)}};
}

/// Speed in m/s plus a hundred times the choice, and the tilt's square in rad².
inline auto known_question() {
    return OneByOne("speed and choice, tilt squared", {{"margin", "", {}}, {"square", "rad2", {}}},
                    [](Candidate const& c) {
                        return std::vector<double>{c.values[0] + 100 * static_cast<double>(c.choices[1]),
                                                   c.values[2] * c.values[2]};
                    });
}

/// Whether two lists of answers are the same to the bit.
inline bool same_bytes(std::vector<double> const& a, std::vector<double> const& b) {
    return a.size() == b.size() && std::memcmp(a.data(), b.data(), a.size() * sizeof(double)) == 0;
}

/// Keeps shards in memory.
struct Kept {
    std::map<std::size_t, std::vector<double>> shards;

    MapKeeper keeper() {
        return {[this](std::size_t shard) -> std::optional<std::vector<double>> {
                    auto const found = shards.find(shard);
                    return found == shards.end() ? std::nullopt : std::optional(found->second);
                },
                [this](std::size_t shard, std::span<double const> answers) {
                    shards[shard] = {answers.begin(), answers.end()};
                }};
    }
};

} // namespace seamhold::test

#endif
