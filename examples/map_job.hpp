#ifndef SEAMHOLD_EXAMPLES_MAP_JOB_HPP
#define SEAMHOLD_EXAMPLES_MAP_JOB_HPP

#include "data_row.hpp"

#include "seamhold/file/map_csv.hpp"
#include "seamhold/file/map_store.hpp"
#include "seamhold/file/write.hpp"
#include "seamhold/map.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

// A small question for a map, with formulas that stand on one page: a robot passes a row of stitches, and the
// head welds each as it goes by. Every number is invented. And the picture of its map, drawn with gnuplot.
namespace seamhold::examples {

/// How fast the robot passes, how far above the part, how tilted, with which head.
inline DesignSpace stitch_space() {
    return {{axis("sweep speed", "mm/s", 1e-3, 50, 450, 41), axis("standoff", "mm", 1e-3, 150, 650, 26),
             axis("tilt", "deg", degrees(1), -12, 12, 9), choice("head", {"wide", "fast"})}};
}

/// Twenty stitches in a row along the sweep, 40 mm long, one every 90 mm, each welded at 120 mm/s while it
/// passes under the head, with 25 ms from one to the next. The margin is the least of four, each what is left
/// of what is allowed: of the mirror's range and speed, of the time until the next stitch comes, of 20°
/// between beam and normal.
inline auto stitch_question() {
    return OneByOne(
        "twenty stitches of 40 mm, one every 90 mm, welded at 120 mm/s by heads of 2026-11-27",
        {{"margin", "", {}},
         {"limit", "", {"mirror range", "mirror speed", "time", "incidence"}},
         {"takt", "s", {}},
         {"beam on", "", {}}},
        [](Candidate const& candidate) {
            double const sweep = candidate.values[0], standoff = candidate.values[1];
            double const tilt = candidate.values[2];
            bool const wide = candidate.choices[3] == 0;
            double const range = degrees(wide ? 10 : 5), speed = wide ? 0.2 : 0.6; // rad, rad/s
            double const length = millimetres(40), weld = 0.12, pitch = millimetres(90);
            double const on = length / weld, next = pitch / sweep; // s
            double angle = 0, rate = 0, incidence = 0;
            for (int i = -2500; i <= 2500; ++i) { // the spot goes from one side of the middle to the other
                double const x = (weld - sweep) * on * i / 5000;
                double const aim = std::atan2(x, standoff);
                angle = std::max(angle, std::abs(aim) / 2); // a mirror turns half of what the beam turns
                rate = std::max(rate, std::abs(weld - sweep) * standoff / (x * x + standoff * standoff) / 2);
                incidence = std::max(incidence, std::abs(aim + tilt));
            }
            std::vector<double> const left{1 - angle / range, 1 - rate / speed,
                                           1 - (on + milliseconds(25)) / next, 1 - incidence / degrees(20)};
            auto const least = std::min_element(left.begin(), left.end());
            return std::vector<double>{*least, static_cast<double>(least - left.begin()), 20 * next,
                                       on / next};
        });
}

/// Where the shards of this map are kept: in stitch.map in a folder, or in memory where none is given. Tells
/// of each that it has kept.
template <MapQuestion Question>
MapKeeper stitch_keeper(std::filesystem::path const& folder, MapShards const& shards,
                        Question const& question) {
    auto const memory = std::make_shared<std::map<std::size_t, std::vector<double>>>();
    MapKeeper keeper{[memory](std::size_t shard) -> std::optional<std::vector<double>> {
                         auto const found = memory->find(shard);
                         return found == memory->end() ? std::nullopt : std::optional(found->second);
                     },
                     [memory](std::size_t shard, std::span<double const> answers) {
                         (*memory)[shard] = {answers.begin(), answers.end()};
                     }};
    if (!folder.empty())
        keeper =
            open_map_store(folder / "stitch.map", shards.candidates, question, shards.packs_each).keeper();
    keeper.keep = [keep = keeper.keep, of = shards.count()](std::size_t shard,
                                                            std::span<double const> answers) {
        keep(shard, answers);
        std::fprintf(stderr, "shard %zu of %zu kept\n", shard + 1, of);
    };
    return keeper;
}

/// Draws stitch_map.png into a folder: the best margin over all tilts by sweep speed and standoff, a field a
/// head, with the edge of what is feasible.
inline void draw_stitch_map(std::filesystem::path const& folder, AnswerTable const& table) {
    auto const& axes = table.candidates.space().axes;
    std::map<double, std::map<double, std::map<double, double>>> best; // by head, speed, standoff
    for (std::size_t r = 0; r < table.candidates.size(); ++r) {
        auto const row = table.candidates.row(r);
        auto const [place, is_first] = best[row[3]][row[0]].try_emplace(row[1], table.at(r, 0));
        if (!is_first)
            place->second = std::max(place->second, table.at(r, 0));
    }
    std::string script = R"gp(set terminal pngcairo size 1500,680 font "DejaVu Sans,14"
set output "stitch_map.png"
set multiplot layout 1,2 title "Twenty stitches: what is left of the limits at the best tilt; black: the edge"
set view map
set contour base
set cntrparam levels discrete 0
set cntrlabel onecolor
set palette defined (-1 "#d55e00", 0 "#ffffff", 1 "#0072b2")
set cbrange [-1:1]
set cblabel "margin (1)"
set xlabel "sweep speed (mm/s)"
set ylabel "standoff (mm)"
set autoscale yfix
unset key
)gp";
    for (auto const& [head, speeds] : best) {
        std::string rows;
        for (auto const& [speed, margins] : speeds) {
            for (auto const& [standoff, margin] : margins)
                rows += data_row({speed, standoff, margin});
            rows += "\n";
        }
        auto const& name = axes[3].choices[static_cast<std::size_t>(head)];
        write_text(folder / ("stitch_map_" + name + ".dat"), rows);
        for (char const* const part :
             {"set title \"head: ", name.c_str(), "\"\nsplot \"stitch_map_", name.c_str(),
              ".dat\" with pm3d, \"\" with lines nosurface linecolor rgb \"black\" linewidth 3\n"})
            script += part;
    }
    write_text(folder / "stitch_map.gp", script + "unset multiplot\n");
    std::string const call = "cd '" + folder.string() + "' && gnuplot stitch_map.gp >/dev/null 2>&1";
    if (std::system(call.c_str()) != 0)
        std::puts("no picture: gnuplot did not run; the script is stitch_map.gp");
}

/// Says what came out; where a folder is given, it writes stitch_map.csv there and draws the picture.
inline void tell_stitch_map(AnswerTable const& table, std::filesystem::path const& folder) {
    std::size_t feasible = 0;
    std::map<std::size_t, std::size_t> binding; // candidates that are not, by their limit
    for (std::size_t r = 0; r < table.candidates.size(); ++r)
        ++(table.feasible(r) ? feasible : binding[static_cast<std::size_t>(table.at(r, 1))]);
    std::printf("%zu of %zu candidates are feasible\n", feasible, table.candidates.size());
    for (auto const& [limit, count] : binding)
        std::printf("%zu fail by %s\n", count, table.columns[1].words[limit].c_str());
    std::puts("trade-off of takt (s) and margin:");
    auto const curve = trade_off(table, 2, Better::less, 0, Better::more);
    for (std::size_t i = 0; i < curve.size(); i += 5)
        std::printf("  %.3f  %.4f\n", table.at(curve[i], 2), table.at(curve[i], 0));
    if (folder.empty())
        return;
    write_map(folder / "stitch_map.csv", table);
    draw_stitch_map(folder, table);
}

} // namespace seamhold::examples

#endif
