#ifndef SEAMHOLD_EXAMPLES_COMMISSION_PICTURE_HPP
#define SEAMHOLD_EXAMPLES_COMMISSION_PICTURE_HPP

#include "commission_check.hpp"
#include "data_row.hpp"

#include "seamhold/budget/seam_budget.hpp"
#include "seamhold/calibrate/head_fit.hpp"
#include "seamhold/file/write.hpp"

#include <cmath>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

// Two pictures of a commissioning: what the marks miss before and after, and a seam's budget with the spots
// that then happened.
namespace seamhold::examples {

/// What is drawn.
struct CommissionPicture {
    std::vector<MarkResidual> residuals;    ///< of the marks
    double rms_before, rms_after;           ///< of them, m
    SeamBudget budget;                      ///< of one seam in this cell
    std::vector<std::vector<SpotOff>> here; ///< spots in this cell, point by point
    std::vector<std::vector<std::array<double, 2>>>
        others; ///< of other cells, in deviations of their own budgets

    /// One spot a point of another cell.
    void add_other(SeamBudget const& said, std::vector<std::vector<SpotOff>> const& spots) {
        others.resize(spots.size());
        for (std::size_t k = 0; k < spots.size(); ++k)
            others[k].push_back(in_deviations(said.points[k], spots[k][0]));
    }

    /// Where a spot of other cells lies in this cell's ellipse.
    SpotOff placed(std::size_t point, std::array<double, 2> const& z) const {
        auto const& p = budget.points[point];
        auto const& c = p.covariance;
        double const along = std::sqrt(c.along) * z[0], slope = c.mixed / c.along;
        return {p.along_shift + along,
                p.across_shift + slope * along + std::sqrt(c.across - slope * c.mixed) * z[1]};
    }
};

/// Runs a script in the folder's `picture`.
inline void run_gnuplot(std::filesystem::path const& data, std::string const& name,
                        std::string const& script) {
    write_text(data / name, script);
    if (std::system(("cd '" + data.string() + "' && gnuplot " + name + " >/dev/null 2>&1").c_str()) != 0)
        std::printf("no picture: gnuplot did not run; the script is picture/%s\n", name.c_str());
}

/// commission.png and commission_budget.png. Data and scripts stand in the folder's `picture`.
inline void draw_commission(std::filesystem::path const& folder, CommissionPicture const& picture) {
    auto const data = folder / "picture";
    std::filesystem::create_directories(data);
    // Station after station of 25 marks, laid out by their commands; errors turned into the head's axes.
    std::string marks;
    for (std::size_t i = 0; i < picture.residuals.size(); ++i) {
        auto const& r = picture.residuals[i];
        std::size_t const column = i % 25 / 5;
        double const x = static_cast<double>(column) * 4 - 8, y = static_cast<double>(i % 5) * 4 - 8;
        auto const& station = marking_stations[i / 25];
        auto const down =
            Drawn::down(degrees(station.tilt_x), degrees(station.tilt_y), degrees(station.turn));
        auto const before = inverse_times(down, Direction<Cell>{r.x_before, r.y_before, 0});
        auto const after = inverse_times(down, Direction<Cell>{r.x, r.y, 0});
        marks += data_row({x, y, in_millimetres(before.x), in_millimetres(before.y), in_millimetres(after.x),
                           in_millimetres(after.y), r.outlier ? 1.0 : 0.0});
    }
    write_text(data / "marks.dat", marks);
    std::string ellipses, here, others, sources;
    for (std::size_t k = 0; k < picture.budget.points.size(); k += 2) {
        auto const& p = picture.budget.points[k];
        double const s = in_millimetres(p.arc_length);
        auto const spot = [&](SpotOff const& off) {
            return data_row({s, in_millimetres(off.along), in_millimetres(off.across)});
        };
        double const out = std::sqrt(-2 * std::log(1 - 0.95));
        for (int degree = 0; degree <= 360; degree += 5)
            ellipses +=
                spot(picture.placed(k, {out * std::cos(degrees(degree)), out * std::sin(degrees(degree))}));
        ellipses += '\n';
        for (std::size_t i = 0; i < 30 && i < picture.here[k].size(); ++i)
            here += spot(picture.here[k][i]);
        for (auto const& z : picture.others[k])
            others += spot(picture.placed(k, z));
    }
    write_text(data / "ellipses.dat", ellipses);
    write_text(data / "here.dat", here);
    write_text(data / "others.dat", others);
    for (auto const& one : picture.budget.ranked) {
        auto row = data_row(
            {in_micrometres(one.across_deviation), in_micrometres(one.along_deviation), 100 * one.share});
        row.back() = '"';
        sources += row + one.name + "\"\n";
    }
    write_text(data / "sources.dat", sources);
    char texts[100];
    std::snprintf(texts, sizeof texts, "rms_before = \"%.3f\"\nrms_after = \"%.3f\"\n",
                  in_millimetres(picture.rms_before), in_millimetres(picture.rms_after));
    run_gnuplot(data, "commission.gp",
                texts +
                    std::string(R"gp(set terminal pngcairo size 1400,760 font "DejaVu Sans,13" linewidth 1.3
set output "../commission.png"
set multiplot layout 1,2 title "What 175 marks from seven stations miss, in the head's axes, at their mirror commands" font ",15"
set size ratio -1
set border linecolor rgb "#555555" linewidth 0.8
set tics out nomirror
set grid linecolor rgb "#e4e4e4" linetype 1
set xrange [-12.5:12.5]
set yrange [-12.5:12.5]
set xtics 4
set ytics 4
set xlabel "x mirror (degrees, mechanical)"
set ylabel "y mirror (degrees, mechanical)"
set xtics ("-8" -8, "-4" -4, "0" 0, "4" 4, "8" 8)
set ytics ("-8" -8, "-4" -4, "0" 0, "4" 4, "8" 8)
unset key
long = 3.0 # degrees for 1 mm
set arrow 1 from -11.5,-11.4 to -11.5+long,-11.4 nohead linewidth 3 linecolor rgb "#000000" front
set label 1 "1 mm" at -11.5+long+0.4,-11.4 front
set title "before: the head as drawn, mount and plate fitted; rms " . rms_before . " mm" font ",13"
plot "marks.dat" using 1:2:(long*$3):(long*$4) with vectors head filled size 0.35,20 fixed linewidth 1.2 linecolor rgb "#0072b2", \
     "marks.dat" using ($7 == 1 ? $1 : NaN):2:(long*$3):(long*$4) with vectors head filled size 0.35,20 fixed linewidth 2.4 linecolor rgb "#d55e00"
set title "after: head, field, mount and plate fitted; rms " . rms_after . " mm" font ",13"
set label 2 "the one misread by 2 mm, left out" at -11.5,11.4 textcolor rgb "#d55e00" front
plot "marks.dat" using 1:2:(long*$5):(long*$6) with vectors head filled size 0.35,20 fixed linewidth 1.2 linecolor rgb "#0072b2", \
     "marks.dat" using ($7 == 1 ? $1 : NaN):2:(long*$5):(long*$6) with vectors head filled size 0.35,20 fixed linewidth 2.4 linecolor rgb "#d55e00"
unset multiplot
)gp"));
    char values[300];
    std::snprintf(values, sizeof values, "cells = %zu\ntolerance = %.7g\nseam = \"%s\"\n",
                  picture.others[0].size(), in_millimetres(picture.budget.options.tolerance->across),
                  picture.budget.seam.c_str());
    run_gnuplot(data, "budget.gp",
                values +
                    std::string(R"gp(set terminal pngcairo size 1400,930 font "DejaVu Sans,13" linewidth 1.3
set output "../commission_budget.png"
times = 20 # errors are drawn so many times as large as the seam
tall = 0.365 # mm of error: so that both axes are equally enlarged
set multiplot
set border 31 linecolor rgb "#555555" linewidth 0.8
set tics out nomirror
set lmargin at screen 0.14
set rmargin at screen 0.97
set tmargin at screen 0.94
set bmargin at screen 0.575
set title "Where the spot was said to be, and where it was: errors 20 times as large as the seam" font ",15"
set xrange [-5:45]
set yrange [-tall:tall]
set xtics 8
set ytics 0.1
set xlabel "along seam " . seam . " (mm)" offset 0,0.3
set ylabel "error across (mm)"
set key at screen 0.555, screen 0.59 center bottom horizontal maxrows 1 samplen 2 font ",12"
set arrow 1 from -5,tolerance to 45,tolerance nohead dashtype 3 linecolor rgb "#000000"
set arrow 2 from -5,-tolerance to 45,-tolerance nohead dashtype 3 linecolor rgb "#000000"
set label 1 "tolerance" at 44.7,tolerance+0.022 right font ",12"
plot 0 with lines linecolor rgb "#999999" notitle, \
     "others.dat" using ($1+times*$2):3 with points pointtype 7 pointsize 0.6 linecolor rgb "#8a8a8a" title sprintf("%d other cells, one weld each", cells), \
     "here.dat" using ($1+times*$2):3 with points pointtype 7 pointsize 0.6 linecolor rgb "#d55e00" title "30 welds of this cell", \
     "ellipses.dat" using ($1+times*$2):3 with lines linewidth 2 linecolor rgb "#0072b2" title "95 % ellipse of the budget"
unset arrow
unset label
set tmargin at screen 0.455
set bmargin at screen 0.08
set autoscale
stats "sources.dat" using 1:2 nooutput
n = STATS_records
most = STATS_max_x > STATS_max_y ? STATS_max_x : STATS_max_y
set title "What it comes from: seam " . seam . ", root of the mean square over its length" font ",15"
set xrange [0:1.12*most]
set yrange [n-0.4:-0.6]
set xtics autofreq
set ytics autofreq
set grid xtics linecolor rgb "#dddddd" linetype 1
set xlabel "deviation of the spot (µm)"
unset ylabel
set style fill solid 1 noborder
set key default
set key at graph 0.985, 0.2 right top samplen 2 font ",12"
plot "sources.dat" using (0):0:(0):1:($0-0.34):($0-0.02):ytic(4) with boxxyerror linecolor rgb "#0072b2" title "across, and its share of the whole", \
     "sources.dat" using (0):0:(0):2:($0+0.02):($0+0.34) with boxxyerror linecolor rgb "#e69f00" title "along", \
     "sources.dat" using ($1+0.008*most):($0-0.18):(sprintf("%.0f %%", $3)) with labels left font ",11" notitle
unset multiplot
)gp"));
}

} // namespace seamhold::examples

#endif
