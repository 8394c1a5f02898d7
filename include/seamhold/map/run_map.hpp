#ifndef SEAMHOLD_MAP_RUN_MAP_HPP
#define SEAMHOLD_MAP_RUN_MAP_HPP

#include "seamhold/map/answer_table.hpp"
#include "seamhold/map/estimate.hpp"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstddef>
#include <functional>
#include <limits>
#include <mutex>
#include <optional>
#include <span>
#include <utility>
#include <vector>

/// Maps: a question asked of every candidate of a design space. The work is cut into shards of whole packs,
/// which may be answered in any order by any number of threads or machines: the table is the same, to the
/// byte.
namespace seamhold {

/// How far a map is.
struct MapProgress {
    std::size_t done; ///< shards answered or found among those that were kept
    std::size_t of;   ///< all shards
    double seconds;   ///< since the start
    double left;      ///< by the shards answered so far, s; infinite before the first
};

/// Where answers are kept while a map runs, so that it can go on where it was stopped. Both are asked by one
/// thread at a time; what they throw stops the map and is passed on.
struct MapKeeper {
    /// The answers of a shard that was kept before, row after row; nothing for others.
    std::function<std::optional<std::vector<double>>(std::size_t shard)> find;
    /// Keeps the answers of a shard.
    std::function<void(std::size_t shard, std::span<double const> answers)> keep;
};

/// How a map is run.
struct MapOptions {
    std::size_t shard_packs = 32;                     ///< packs in a shard
    MapKeeper keeper = {};                            ///< where it has functions
    std::function<void(MapProgress const&)> progress; ///< told after each shard, by one thread at a time
    std::function<bool()> stop;                       ///< asked before each shard; true: no more are begun
    double longest = std::numeric_limits<double>::infinity(); ///< s; a map that would take longer is refused
};

/// What came of running a map.
struct MapRun {
    AnswerTable table;    ///< NaN where nothing was answered
    bool complete;        ///< false where it was stopped
    std::size_t answered; ///< shards answered in this run
    std::size_t found;    ///< shards that had been kept before
};

/// How candidates are cut into shards of whole packs: the same for all that work on one map.
struct MapShards {
    Candidates candidates;
    std::size_t packs_each;

    /// How many there are.
    std::size_t count() const { return (candidates.packs() + packs_each - 1) / packs_each; }

    /// The first row of a shard; of `count()` the number of rows.
    std::size_t first_row(std::size_t shard) const { return candidates.first_row(shard * packs_each); }
};

/// The answers to a question of one shard's candidates, row after row, one number a column.
template <MapQuestion Question>
std::vector<double> answer_shard(MapShards const& shards, Question const& question, std::size_t shard) {
    std::size_t const columns = question.columns().size();
    std::vector<double> answers;
    answers.reserve((shards.first_row(shard + 1) - shards.first_row(shard)) * columns);
    std::vector<MapPack> pack(columns);
    std::size_t const end = std::min(shards.candidates.packs(), (shard + 1) * shards.packs_each);
    for (std::size_t p = shard * shards.packs_each; p < end; ++p) {
        auto const candidates = shards.candidates.pack(p);
        question.answer(candidates, pack);
        for (int lane = 0; lane < static_cast<int>(candidates.count); ++lane)
            for (auto const& column : pack)
                answers.push_back(column.lane(lane));
    }
    return answers;
}

namespace detail {

/// Throws BadInput where the shards that were not kept before would take longer than allowed.
inline void refuse_if_longer(MapEstimate estimate, MapShards const& shards, MapOptions const& options,
                             double threads) {
    double const all = static_cast<double>(shards.count());
    std::size_t open = 0;
    for (std::size_t s = 0; s < shards.count(); ++s) {
        if (options.keeper.find && options.keeper.find(s))
            continue;
        ++open;
        if (estimate.seconds * static_cast<double>(open) / all <= options.longest * threads)
            continue;
        // Too long already; what is said counts all that may still be open.
        estimate.seconds *= (all - static_cast<double>(s + 1 - open)) / all;
        refuse_if_longer(estimate, shards.candidates, threads, options.longest);
        return;
    }
}

/// Runs a map; `for_each(count, f)` calls f(i) for every i below count, by as many threads as it likes, and
/// `threads` is how many that are.
template <MapQuestion Question, class ForEach>
MapRun run_map(Candidates const& candidates, Question const& question, MapOptions const& options,
               double threads, ForEach const& for_each) {
    if (options.shard_packs < 1)
        throw BadInput("a map's shards need a pack or more each");
    MapShards const shards{candidates, options.shard_packs};
    if (is_finite(options.longest))
        refuse_if_longer(estimate_map(candidates, question), shards, options, threads);
    auto const columns = question.columns();
    MapRun run{
        {candidates, columns,
         std::vector<double>(candidates.size() * columns.size(), std::numeric_limits<double>::quiet_NaN())},
        true,
        0,
        0};
    auto const begin = std::chrono::steady_clock::now();
    auto const place = [&](std::size_t shard, std::vector<double> const& answers) {
        std::size_t const from = shards.first_row(shard) * columns.size();
        if (answers.size() != shards.first_row(shard + 1) * columns.size() - from)
            throw BadInput("shard number " + std::to_string(shard + 1) + " was kept with " +
                           std::to_string(answers.size()) + " numbers: it is not of this map");
        std::copy(answers.begin(), answers.end(),
                  run.table.answers.begin() + static_cast<std::ptrdiff_t>(from));
    };
    auto const tell = [&] {
        if (!options.progress)
            return;
        double const seconds =
            std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
        std::size_t const done = run.answered + run.found;
        options.progress({done, shards.count(), seconds,
                          run.answered == 0 ? std::numeric_limits<double>::infinity()
                                            : seconds / static_cast<double>(run.answered) *
                                                  static_cast<double>(shards.count() - done)});
    };
    std::vector<std::size_t> open;
    for (std::size_t s = 0; s < shards.count(); ++s) {
        auto const kept = options.keeper.find ? options.keeper.find(s) : std::nullopt;
        if (!kept) {
            open.push_back(s);
            continue;
        }
        place(s, *kept);
        ++run.found;
    }
    if (run.found > 0)
        tell();
    std::mutex one_at_a_time;
    std::atomic<bool> stopped = false;
    for_each(open.size(), [&](std::size_t i) {
        if (stopped)
            return;
        {
            std::scoped_lock const lock(one_at_a_time);
            if (stopped || (options.stop && options.stop())) {
                stopped = true;
                return;
            }
        }
        std::vector<double> answers;
        try {
            answers = answer_shard(shards, question, open[i]);
            std::scoped_lock const lock(one_at_a_time);
            if (stopped)
                return;
            place(open[i], answers);
            if (options.keeper.keep)
                options.keeper.keep(open[i], answers);
            ++run.answered;
            tell();
        } catch (...) {
            stopped = true;
            throw;
        }
    });
    run.complete = run.answered + run.found == shards.count();
    return run;
}

} // namespace detail

/// Asks a question of every candidate, in one thread. Whether it runs to its end, is stopped, or goes on with
/// shards that were kept: rows that are answered are the same. Throws BadInput where it would take longer
/// than allowed, and whatever question, keeper and progress throw.
template <MapQuestion Question>
MapRun run_map(Candidates const& candidates, Question const& question, MapOptions const& options = {}) {
    return detail::run_map(candidates, question, options, 1, [](std::size_t count, auto const& f) {
        for (std::size_t i = 0; i < count; ++i)
            f(i);
    });
}

} // namespace seamhold

#endif
