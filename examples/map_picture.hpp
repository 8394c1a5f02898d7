#ifndef SEAMHOLD_EXAMPLES_MAP_PICTURE_HPP
#define SEAMHOLD_EXAMPLES_MAP_PICTURE_HPP

#include "data_row.hpp"

#include "seamhold/file/write.hpp"
#include "seamhold/limit/limit.hpp"
#include "seamhold/map/refine_edge.hpp"

#include <array>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

// Pictures of maps, drawn with gnuplot: what binds where, with the edge of what is feasible, and the
// trade-off of takt and margin. Colours are Okabe and Ito's, told apart by people who do not see red and
// green; what is not feasible is pale, so that it is told in grey print too.
namespace seamhold::examples {

/// A colour for each of the limits that bind somewhere, in the order in which they are met.
class LimitColours {
public:
    /// Its colour, red, green, blue from 0 to 255.
    std::array<int, 3> of(std::size_t limit) {
        constexpr std::array<int, 3> palette[] = {{0, 114, 178},   {230, 159, 0},  {0, 158, 115},
                                                  {204, 121, 167}, {86, 180, 233}, {213, 94, 0},
                                                  {240, 228, 66}};
        for (std::size_t i = 0; i < met_.size(); ++i)
            if (met_[i] == limit)
                return palette[i % std::size(palette)];
        met_.push_back(limit);
        return palette[(met_.size() - 1) % std::size(palette)];
    }

    /// The limits that were met.
    std::vector<std::size_t> const& met() const { return met_; }

private:
    std::vector<std::size_t> met_;
};

/// Rows of x, y, red, green, blue of one choice of the last axis; pale where not feasible. The first two axes
/// are drawn.
inline std::string colour_rows(AnswerTable const& table, double choice, LimitColours& colours) {
    std::string rows;
    for (std::size_t r = 0; r < table.candidates.size(); ++r) {
        auto const place = table.candidates.row(r);
        if (place[2] != choice)
            continue;
        auto const colour = colours.of(static_cast<std::size_t>(table.at(r, table.column("limit"))));
        auto const tint = [&](std::size_t i) {
            return table.feasible(r) ? colour[i] : 255 - (255 - colour[i]) * 3 / 10.0;
        };
        rows += data_row({place[0], place[1], tint(0), tint(1), tint(2)});
    }
    return rows;
}

/// Draws map.png into a folder: a map for each choice of the third axis, the edge in black, and the trade-off
/// of takt and margin (`curve`, rows of the table).
inline void draw_map(std::filesystem::path const& folder, AnswerTable const& table, RefinedEdge const& edge,
                     std::vector<std::size_t> const& curve) {
    auto const& axes = table.candidates.space().axes;
    LimitColours colours;
    std::string script = R"gp(set terminal pngcairo size 1650,640 font "DejaVu Sans,13"
set output "map.png"
set multiplot layout 1,3 margins 0.055,0.985,0.24,0.90 spacing 0.065,0
unset key
set tics out nomirror
)gp";
    auto const label = [](Axis const& a) { return a.name + " (" + a.unit + ")"; };
    script += "set xlabel \"" + label(axes[0]) + "\"\nset ylabel \"" + label(axes[1]) + "\"\n";
    char ranges[160];
    std::snprintf(ranges, sizeof ranges, "set xrange [%.9g:%.9g]\nset yrange [%.9g:%.9g]\n", axes[0].low,
                  axes[0].high, axes[1].low, axes[1].high);
    script += ranges;
    std::string maps;
    for (std::size_t c = 0; c < axes[2].choices.size(); ++c) {
        auto const& name = axes[2].choices[c];
        write_text(folder / ("map_" + name + ".dat"), colour_rows(table, static_cast<double>(c), colours));
        std::string cells;
        for (auto const& cell : edge.cells)
            if (cell.low[2] == static_cast<double>(c))
                cells += data_row({(cell.low[0] + cell.high[0]) / 2, (cell.low[1] + cell.high[1]) / 2});
        write_text(folder / ("edge_" + name + ".dat"), cells);
        maps.append("set title \"").append(axes[2].name).append(": ").append(name);
        maps.append("\"\nplot \"map_").append(name).append(".dat\" using 1:2:3:4:5 with rgbimage, \"edge_");
        maps.append(name).append(
            ".dat\" with points pointtype 7 pointsize 0.35 linecolor rgb \"black\"\nunset label\n");
    }
    // The key, in one line below: a square of each limit's colour and its name.
    double x = 0.055;
    auto const entry = [&](std::string const& colour, std::string const& text) {
        char line[240];
        std::snprintf(line, sizeof line,
                      "set label \"■\" at screen %.4f,0.06 textcolor rgb \"%s\" font \",20\"\n"
                      "set label \"%s\" at screen %.4f,0.06\n",
                      x, colour.c_str(), text.c_str(), x + 0.017);
        script += line;
        x += 0.034 + 0.0062 * static_cast<double>(text.size());
    };
    for (std::size_t const limit : colours.met()) {
        auto const colour = colours.of(limit);
        char text[16];
        std::snprintf(text, sizeof text, "#%02x%02x%02x", static_cast<unsigned>(colour[0]),
                      static_cast<unsigned>(colour[1]), static_cast<unsigned>(colour[2]));
        entry(text, to_string(static_cast<Limit>(limit)) + std::string(" binds"));
    }
    entry("#cccccc", "pale: not feasible");
    entry("#000000", "edge, at sixteen times the resolution");
    std::string all, best;
    auto const takt = table.column("takt");
    for (std::size_t r = 0; r < table.candidates.size(); ++r)
        if (table.feasible(r))
            all += data_row({table.at(r, takt), 100 * table.at(r, 0)});
    for (std::size_t const r : curve)
        best += data_row({table.at(r, takt), 100 * table.at(r, 0)});
    write_text(folder / "feasible.dat", all);
    write_text(folder / "trade_off.dat", best);
    write_text(folder / "map.gp", script + maps + R"gp(unset label
set key at graph 0.97,0.1 right bottom vertical maxrows 2
set autoscale x
set title "what a shorter takt costs"
set xlabel "takt (s)"
set ylabel "margin (%)"
set yrange [0:*]
plot "feasible.dat" with points pointtype 7 pointsize 0.25 linecolor rgb "#bbbbbb" title "feasible", \
     "trade_off.dat" with linespoints pointtype 7 pointsize 0.6 linewidth 2 linecolor rgb "#0072b2" title "trade-off"
unset multiplot
)gp");
    std::string const call = "cd '" + folder.string() + "' && gnuplot map.gp >/dev/null 2>&1";
    if (std::system(call.c_str()) != 0)
        std::puts("no picture: gnuplot did not run; the script is map.gp");
}

} // namespace seamhold::examples

#endif
