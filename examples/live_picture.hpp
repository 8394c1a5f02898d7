#ifndef SEAMHOLD_EXAMPLES_LIVE_PICTURE_HPP
#define SEAMHOLD_EXAMPLES_LIVE_PICTURE_HPP

#include "live_robot.hpp"

#include "seamhold/file/write.hpp"

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

// The picture of the live loop, drawn with gnuplot.
namespace seamhold::examples {

/// One tick within a seam's time.
struct PictureRow {
    double time;       ///< robot's clock, s
    SpotOff off;       ///< truly
    Deviations stated; ///< by the loop
    bool light;
};

/// Rows for gnuplot of all ticks from a time to another: time, error and stated bound across, µm; every n-th
/// tick, and an empty line between seams.
inline std::string error_rows(std::vector<PictureRow> const& rows, double from, double to, std::size_t n) {
    std::string text;
    char line[100];
    for (std::size_t i = 0; i < rows.size(); i += n) {
        auto const& r = rows[i];
        if (r.time < from || r.time > to)
            continue;
        if (i >= n && r.time - rows[i - n].time > 1e-3)
            text += '\n';
        std::snprintf(line, sizeof line, "%.9g %.6g %.6g\n", r.time, 1e6 * r.off.across,
                      1e6 * r.stated.across);
        text += line;
    }
    return text;
}

/// A gnuplot rectangle `behind` or in `front` of the curves.
inline std::string shade(double from, double to, double low, double high, char const* where,
                         char const* colour) {
    char line[200];
    std::snprintf(line, sizeof line,
                  "set object rectangle from %.9g,%.9g to %.9g,%.9g %s fillcolor rgb \"%s\" fillstyle solid "
                  "1.0 noborder\n",
                  from, low, to, high, where, colour);
    return line;
}

/// live.png: error across the seams, true and stated, over the whole run and about the cut of the link.
inline void draw_live(std::filesystem::path const& folder, LiveCell const& cell,
                      std::vector<PictureRow> const& rows) {
    double const allowed = 1e6 * default_tolerances(cell.spot_diameter, cell.rayleigh_length).across;
    double const cut = cell.link.cut, mended = cell.link.mended;
    std::filesystem::create_directories(folder);
    write_text(folder / "whole.dat", error_rows(rows, 0, 10, 5));
    write_text(folder / "cut.dat", error_rows(rows, cut - 0.03, mended + 0.03, 1));
    std::string light;
    for (std::size_t i = 0, begin = 0; i < rows.size(); ++i) {
        bool const before = i > 0 && rows[i - 1].light, last = i + 1 == rows.size();
        if (rows[i].light && !before)
            begin = i;
        if ((before && !rows[i].light) || (rows[i].light && last))
            light += shade(rows[begin].time, rows[i].time, -150, 150, "behind", "#d3efe3");
    }
    light += shade(cut, mended, -150, -132, "front", "#555555");
    char limits[500];
    std::snprintf(limits, sizeof limits, "tolerance = %.9g\ncut = %.9g\nmended = %.9g\n", allowed, cut,
                  mended);
    std::string const script = std::string(limits) +
                               R"gp(set terminal pngcairo size 1300,1000 font "DejaVu Sans,13" linewidth 1.4
set output "live.png"
set multiplot layout 2,1 title "Spot on the lid against the seam: true error across, and what the loop states of itself" font ",16"
set ylabel "error across the seam (µm)"
set yrange [-150:150]
set ytics 40
set lmargin 9
set rmargin 3
set grid ytics linecolor rgb "#dddddd" linetype 1
set border back
)gp" + light + R"gp(
set key below horizontal width 2
set title "five seams, robot's pose every 4 ms, 8 ms late, 1 % lost"
set xrange [0.45:1.72]
set label 1 "link cut" at (cut + mended) / 2, -118 center front
plot "whole.dat" using 1:(-$3):3 with filledcurves fillcolor rgb "#c9c9c9" title "stated error, ±", \
     "whole.dat" using 1:2 with lines linecolor rgb "#0072b2" linewidth 1.2 title "true error", \
     tolerance with lines linecolor rgb "#d55e00" dashtype 2 linewidth 1.4 title "tolerance", \
     -tolerance with lines linecolor rgb "#d55e00" dashtype 2 linewidth 1.4 notitle, \
     NaN with boxes fillstyle solid 1.0 noborder fillcolor rgb "#d3efe3" title "light on", \
     NaN with boxes fillstyle solid 1.0 noborder fillcolor rgb "#555555" title "link cut"
set title "about the cut: the stated error grows while nothing comes, the gate shuts, and stays shut in that seam"
set xlabel "robot's clock (s)"
set xrange [cut - 0.03:mended + 0.03]
set label 1 "nothing arrives" at (cut + mended) / 2, -118 center front
unset key
plot "cut.dat" using 1:(-$3):3 with filledcurves fillcolor rgb "#c9c9c9", \
     "cut.dat" using 1:2 with lines linecolor rgb "#0072b2" linewidth 1.6, \
     tolerance with lines linecolor rgb "#d55e00" dashtype 2 linewidth 1.4, \
     -tolerance with lines linecolor rgb "#d55e00" dashtype 2 linewidth 1.4
unset multiplot
)gp";
    write_text(folder / "live.gp", script);
    std::string const call = "cd '" + folder.string() + "' && gnuplot live.gp >/dev/null 2>&1";
    if (std::system(call.c_str()) != 0)
        std::puts("no picture: gnuplot did not run; the script is live.gp");
}

} // namespace seamhold::examples

#endif
