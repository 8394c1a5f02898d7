// Which set-ups work: sweep speed, standoff and head of a robot that welds the twenty rungs of a ladder as it
// goes by, asked of every place of a grid on all cores, with the limit that binds; the edge of what is
// feasible at sixteen times the resolution; and what a shorter takt costs. With the name of a folder it keeps
// the answers there in ladder.map (stopped and started again, it goes on), writes map.csv, edge.csv and
// trade_off.csv, and draws map.png (gnuplot). All numbers are invented. Returns 1 where
// nothing is feasible.
#include "map_picture.hpp"
#include "map_sweep.hpp"

#include "seamhold/file/map_csv.hpp"
#include "seamhold/file/map_store.hpp"
#include "seamhold/map.hpp"
#include "seamhold/map/on_all_cores.hpp"

#include <cstdio>
#include <filesystem>

using namespace seamhold;
using namespace seamhold::examples;

int main(int count, char** words) {
    try {
        std::filesystem::path const folder = count > 1 ? words[1] : "";
        // [map]
        MarginQuestion const question("ladder of 20 rungs, numbers of 2026-11-27", LadderSweep(), 15);
        Candidates const grid(ladder_space(65));
        MapOptions options;
        options.longest = 600; // s: longer is refused, with how long it would take
        if (!folder.empty())
            options.keeper =
                open_map_store(folder / "ladder.map", grid, question, options.shard_packs).keeper();
        AnswerTable const table = run_map_on_all_cores(grid, question, options).table;
        auto const curve = trade_off(table, table.column("takt"), Better::less, 0, Better::more);
        RefinedEdge const edge = refine_edge_on_all_cores(ladder_space(1025), question, {6, {}});
        // [map] end

        std::size_t feasible = 0;
        for (std::size_t r = 0; r < grid.size(); ++r)
            feasible += table.feasible(r) ? 1U : 0U;
        std::printf("%zu of %zu candidates are feasible\n", feasible, grid.size());
        std::printf("the edge: %zu cells of a grid of %.0f, by %zu candidates: a %.0fth\n", edge.cells.size(),
                    edge.whole_grid, edge.evaluations,
                    edge.whole_grid / static_cast<double>(edge.evaluations));
        std::puts("  takt    margin  sweep     standoff  head   binds");
        for (std::size_t i = 0; i < curve.size(); i += curve.size() < 8 ? 1 : curve.size() / 8) {
            auto const row = grid.row(curve[i]);
            std::printf("%6.3f s %6.1f %% %5.0f mm/s %6.1f mm  %-6s %s\n", table.at(curve[i], 3),
                        100 * table.at(curve[i], 0), row[0], row[1],
                        grid.space().axes[2].choices[static_cast<std::size_t>(row[2])].c_str(),
                        to_string(static_cast<Limit>(static_cast<int>(table.at(curve[i], 1)))));
        }
        if (!folder.empty()) {
            write_map(folder / "map.csv", table);
            write_map(folder / "trade_off.csv", table, curve);
            write_edge(folder / "edge.csv", edge);
            draw_map(folder, table, edge, curve);
        }
        return edge.complete && feasible > 0 ? 0 : 1;
    } catch (BadInput const& error) {
        std::fprintf(stderr, "%s\n", error.what());
        return 1;
    }
}
