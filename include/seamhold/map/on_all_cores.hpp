#ifndef SEAMHOLD_MAP_ON_ALL_CORES_HPP
#define SEAMHOLD_MAP_ON_ALL_CORES_HPP

#include "seamhold/map/refine_edge.hpp"
#include "seamhold/map/run_map.hpp"

#include <oneapi/tbb/blocked_range.h>
#include <oneapi/tbb/global_control.h>
#include <oneapi/tbb/info.h>
#include <oneapi/tbb/parallel_for.h>
#include <oneapi/tbb/partitioner.h>
#include <oneapi/tbb/task_arena.h>

#include <algorithm>
#include <cstddef>

/// Maps on all cores of a machine, by the library oneTBB: the only header that needs it, component
/// `seamhold::threads`.
namespace seamhold {

/// As `run_map`, in as many threads as the machine has cores, or in `threads` of them. The table is the same
/// to the byte. What a thread throws stops the others at their next shard and is passed on.
template <MapQuestion Question>
MapRun run_map_on_all_cores(Candidates const& candidates, Question const& question,
                            MapOptions const& options = {}, int threads = 0) {
    if (threads < 0)
        throw BadInput("a map cannot run in " + std::to_string(threads) + " threads; 0 takes all cores");
    // More threads than cores are had only where the library is told so.
    tbb::global_control const allowed(
        tbb::global_control::max_allowed_parallelism,
        std::max<std::size_t>(static_cast<std::size_t>(threads),
                              static_cast<std::size_t>(tbb::info::default_concurrency())));
    tbb::task_arena arena(threads == 0 ? tbb::task_arena::automatic : threads);
    return detail::run_map(candidates, question, options, arena.max_concurrency(),
                           [&](std::size_t count, auto const& f) {
                               arena.execute([&] {
                                   tbb::parallel_for(
                                       tbb::blocked_range<std::size_t>(0, count, 1),
                                       [&](tbb::blocked_range<std::size_t> const& range) {
                                           for (std::size_t i = range.begin(); i != range.end(); ++i)
                                               f(i);
                                       },
                                       tbb::simple_partitioner());
                               });
                           });
}

/// As `refine_edge`, in as many threads as the machine has cores, or in `threads` of them.
template <MapQuestion Question>
RefinedEdge refine_edge_on_all_cores(DesignSpace const& space, Question const& question,
                                     RefineOptions const& options, int threads = 0) {
    return detail::EdgeSearch(space, question.columns(), options,
                              [&](Candidates const& candidates, MapOptions const& map) {
                                  return run_map_on_all_cores(candidates, question, map, threads);
                              })
        .find();
}

} // namespace seamhold

#endif
