#ifndef SEAMHOLD_EXAMPLES_PLAN_PICTURE_HPP
#define SEAMHOLD_EXAMPLES_PLAN_PICTURE_HPP

#include "data_row.hpp"

#include "seamhold/file/write.hpp"
#include "seamhold/follow/air_way.hpp"
#include "seamhold/plan/plan.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>

// The picture of a plan: seams within their windows, what the axes use of their limits, and the order on the
// part. Times are counted from the first beam on.
namespace seamhold::examples {

/// One row of what the axes use at time t, s, of the plan's clock: time, velocity and acceleration of x
/// mirror, y mirror and lens as shares of their limits.
inline void add_use(std::string& rows, Plan const& plan, double t, AxesState const& axes) {
    auto const& limits = plan.job.dynamics;
    rows += data_row({t - plan.seams.front().start, std::abs(axes.x_mirror.velocity) / limits.mirror_velocity,
                      std::abs(axes.x_mirror.acceleration) / limits.mirror_acceleration,
                      std::abs(axes.y_mirror.velocity) / limits.mirror_velocity,
                      std::abs(axes.y_mirror.acceleration) / limits.mirror_acceleration,
                      std::abs(axes.focus.velocity) / limits.focus_velocity,
                      std::abs(axes.focus.acceleration) / limits.focus_acceleration});
}

/// What the axes do on an air way at time t, s, from its exact derivatives.
inline AxesState axes_on_way(AirWay const& way, double t) {
    auto const command = way.at(Taylor<double, 2>::variable(t));
    auto const state = [](Taylor<double, 2> const& x) {
        return AxisState{value_of(x), x.derivative(1), x.derivative(2)};
    };
    return {state(command.x_mirror), state(command.y_mirror), state(command.focus)};
}

/// Rows of what the axes use over the whole takt: along each seam, on each air way, and while they settle on
/// the next seam's own path. Every `step` s along seams, and forty times as often between them.
inline std::string use_rows(Plan const& plan, double step) {
    auto const& job = plan.job;
    auto const& seams = job.seams;
    auto const ways = air_ways(job, plan.settings.air_share);
    std::string rows;
    auto const sample = [&](double from, double to, double wish, auto const& axes) {
        auto const parts = std::max(1, static_cast<int>(std::ceil((to - from) / wish)));
        for (int k = 0; k <= parts; ++k) {
            double const t = from + (to - from) * k / parts;
            add_use(rows, plan, t, axes(t));
        }
    };
    for (std::size_t i = 0; i < seams.size(); ++i) {
        auto const along = [&](ScheduledSeam const& seam) {
            return [&](double t) { return axes_at(job.chain, seam.seam, t - seam.start, t); };
        };
        sample(seams[i].start, seams[i].end(), step, along(seams[i]));
        if (i == ways.size() || !ways[i])
            continue;
        sample(ways[i]->start(), ways[i]->end(), step / 40,
               [&](double t) { return axes_on_way(*ways[i], t); });
        sample(ways[i]->end(), seams[i + 1].start, step / 40, along(seams[i + 1]));
    }
    return rows;
}

/// One row a seam: its place in the order, the window from the earliest start to the end of the latest, s,
/// start and end, s, 1 where it is reversed, and its name.
inline std::string window_rows(Plan const& plan) {
    std::string rows;
    double const first = plan.seams.front().start;
    for (std::size_t i = 0; i < plan.seams.size(); ++i) {
        auto const& s = plan.seams[i];
        std::string row =
            data_row({static_cast<double>(i + 1), s.earliest - first, s.latest + s.end - s.start - first,
                      s.start - first, s.end - first, s.reversed ? 1.0 : 0.0});
        row.back() = '"';
        rows += row + s.name + "\"\n";
    }
    return rows;
}

/// One row a seam: where the weld begins, the way to where it ends, the way from there to the next seam,
/// all in the part's x and y, mm, 1 where it is reversed, and its place in the order.
inline std::string order_rows(Plan const& plan) {
    std::string rows;
    auto const& seams = plan.job.seams;
    for (std::size_t i = 0; i < seams.size(); ++i) {
        auto const begin = seams[i].seam.at(0.0).position;
        auto const end = seams[i].seam.at(seams[i].seam.duration()).position;
        auto const next = i + 1 < seams.size() ? seams[i + 1].seam.at(0.0).position : end;
        rows += data_row({in_millimetres(begin.x), in_millimetres(begin.y), in_millimetres(end.x - begin.x),
                          in_millimetres(end.y - begin.y), in_millimetres(next.x - end.x),
                          in_millimetres(next.y - end.y), plan.seams[i].reversed ? 1.0 : 0.0,
                          static_cast<double>(i + 1)});
    }
    return rows;
}

/// Where the head is over the part: time, s, and its x, mm, every `step` s and at the takt's end.
inline std::string head_rows(Plan const& plan, double step) {
    std::string rows;
    auto const& chain = plan.job.chain;
    auto const add = [&](double since) {
        double const t = plan.seams.front().start + since;
        auto const cell_from_head = chain.cell_from_flange.at(t) * chain.flange_from_head;
        auto const head = inverse_times(chain.cell_from_part.at(t), cell_from_head.origin);
        rows += data_row({since, in_millimetres(head.x)});
    };
    for (int i = 0; i * step < plan.takt() - step / 2; ++i)
        add(i * step);
    add(plan.takt());
    return rows;
}

/// The most that seams use of an axis's velocity and acceleration, as proven: per cent in words.
inline std::string most_used(Plan const& plan, Limit velocity, Limit acceleration) {
    double most = 0;
    for (auto const& proof : plan.proofs)
        for (auto const limit : {velocity, acceleration})
            if (auto const* of_axis = proof.of(limit))
                most = std::max(most, of_axis->utilisation.high);
    char text[32];
    std::snprintf(text, sizeof text, "%.1f %%", std::ceil(1000 * most) / 10);
    return text;
}

/// plan.png, for a part of the tray's size: seams within their windows, what the axes use of their limits,
/// the longest air move, and the order on the part. Its data and script stand in the folder's `picture`.
inline void draw_plan(std::filesystem::path const& folder, Plan const& plan) {
    auto const data = folder / "picture";
    std::filesystem::create_directories(data);
    write_text(data / "windows.dat", window_rows(plan));
    write_text(data / "use.dat", use_rows(plan, milliseconds(2)));
    write_text(data / "order.dat", order_rows(plan));
    write_text(data / "head.dat", head_rows(plan, 0.2));

    auto const ways = air_ways(plan.job, plan.settings.air_share);
    std::size_t longest = 0; // of the air moves
    for (std::size_t i = 0; i < ways.size(); ++i)
        if (plan.seams[i + 1].air > plan.seams[longest + 1].air)
            longest = i;
    double const first = plan.seams.front().start;
    char values[600];
    std::snprintf(
        values, sizeof values,
        "takt = %.7g; air_low = %.7g; air_high = %.7g; lit = %.7g\n"
        "heading = \"%zu seams in %.3f s, the beam on for %.1f %% of it: each seam within its window\"\n"
        "welding(i) = i == 0 ? \"%s\" : i == 1 ? \"%s\" : \"%s\"\n",
        plan.takt(), ways.at(longest).value().start() - first, ways[longest]->end() - first,
        plan.seams[longest + 1].start - first, plan.seams.size(), plan.takt(), 100 * plan.beam_on_share(),
        most_used(plan, Limit::x_velocity, Limit::x_acceleration).c_str(),
        most_used(plan, Limit::y_velocity, Limit::y_acceleration).c_str(),
        most_used(plan, Limit::focus_velocity, Limit::focus_acceleration).c_str());
    write_text(data / "plan.gp",
               values +
                   std::string(R"gp(set terminal pngcairo size 1400,1665 font "DejaVu Sans,12" linewidth 1.3
set output "../plan.png"
width = 1400.0; height = 1665.0
down(pixel) = 1 - pixel / height
stats "windows.dat" using 2:3 nooutput
t_low = STATS_min_x - 0.08; t_high = STATS_max_y + 0.08
seams = STATS_records
set multiplot
set lmargin at screen 115 / width
set rmargin at screen 1 - 30 / width
set border 31 linecolor rgb "#555555" linewidth 0.8
set grid xtics linecolor rgb "#dddddd" linetype 1 linewidth 0.8
set tics out nomirror
set key font ",11" opaque samplen 3
set style fill solid 1 noborder
set arrow 1 from 0, graph 0 to 0, graph 1 nohead linecolor rgb "#000000" dashtype 3 back
set arrow 2 from takt, graph 0 to takt, graph 1 nohead linecolor rgb "#000000" dashtype 3 back

# seams within their windows
set label 1 heading at screen 115 / width, down(22) font ",14"
set tmargin at screen down(42)
set bmargin at screen down(575)
set xrange [t_low:t_high]
set xtics 0.5 format "%g"
set mxtics 5
set yrange [seams + 0.8:0.2]
set ylabel "seam, and its place in the order" offset screen 0.004, 0
set label 2 "first beam on" at 0.015, seams front font ",11"
set label 3 "last beam off" at takt + 0.015, 1 front font ",11"
set key at takt - 0.15, 1.2 right
plot "windows.dat" using 2:1:2:3:($1-0.13):($1+0.13):yticlabels(sprintf("%s  %2d", stringcolumn(7), $1)) \
       with boxxyerror linecolor rgb "#b5b5b5" title "window, from the earliest start to the end of the latest", \
     "windows.dat" using ($6 == 1 ? NaN : $4):1:4:5:($1-0.38):($1+0.38) with boxxyerror linecolor rgb "#0072b2" title "weld, as drawn", \
     "windows.dat" using ($6 == 1 ? $4 : NaN):1:4:5:($1-0.38):($1+0.38) with boxxyerror linecolor rgb "#d55e00" title "weld, reversed"
unset label

# what the axes use of their limits
set label 1 "Share of their limits that the axes use: all on the air moves (beam off), next to nothing with the beam on" at screen 115 / width, down(627) font ",14"
set yrange [0:1.1]
set ytics 0.5
set format x ""
strong(i) = word("#0072b2 #d55e00 #000000", i + 1)
light(i) = word("#8cc6ea #f3b27f #a6a6a6", i + 1)
set key at graph 0.125, 0.93 right
do for [i=0:2] {
    set tmargin at screen down(645 + 95 * i)
    set bmargin at screen down(645 + 95 * i + 84)
    set ylabel (i == 2 ? "lens" : i == 1 ? "y mirror" : "x mirror")
    set label 2 "beam on: ≤ " . welding(i) at graph 0.01, 0.14 font ",11"
    if (i == 2) { set format x "%g"; set xlabel "time from the first beam on (s)" offset 0, 0.5 }
    plot "use.dat" using 1:2 * i + 3 with lines linecolor rgb light(i) linewidth 1.6 title "acceleration", \
         "use.dat" using 1:2 * i + 2 with lines linecolor rgb strong(i) linewidth 1.6 title "velocity"
    unset label
}
unset arrow

# one air move
# one air move
ms(t) = 1000 * (t - air_low)
set label 1 "The longest of these air moves" at screen 115 / width, down(992) font ",14"
set tmargin at screen down(1010)
set bmargin at screen down(1150)
set rmargin at screen 1 - 330 / width
set xrange [-1.5:ms(lit) + 1.5]
set yrange [0:1.3]
set xtics 1
set mxtics 1
set ylabel "share of limit"
set xlabel sprintf("time from the end of the seam before, at %.4f s (ms)", air_low)
set object 1 rectangle from -1.5, 0 to 0, 1.3 behind fillcolor rgb "#d3efe3" fillstyle solid 1 noborder
set object 2 rectangle from ms(lit), 0 to ms(lit) + 1.5, 1.3 behind fillcolor rgb "#d3efe3" fillstyle solid 1 noborder
set label 2 "beam on" at -0.75, 1.16 center
set label 3 "air move" at ms(air_high) / 2, 1.16 center
set label 4 "settling" at (ms(air_high) + ms(lit)) / 2, 1.16 center
set label 5 "beam on" at ms(lit) + 0.75, 1.16 center
set key at screen 1 - 30 / width, down(1014) right spacing 1.25
plot "use.dat" using (ms($1)):3 with lines linecolor rgb strong(0) dashtype 2 linewidth 1.4 title "x mirror, acceleration", \
     "use.dat" using (ms($1)):5 with lines linecolor rgb strong(1) dashtype 2 linewidth 1.4 title "y mirror, acceleration", \
     "use.dat" using (ms($1)):7 with lines linecolor rgb strong(2) dashtype 2 linewidth 1.4 title "lens, acceleration", \
     "use.dat" using (ms($1)):2 with lines linecolor rgb strong(0) linewidth 2 title "x mirror, velocity", \
     "use.dat" using (ms($1)):4 with lines linecolor rgb strong(1) linewidth 2 title "y mirror, velocity", \
     "use.dat" using (ms($1)):6 with lines linecolor rgb strong(2) linewidth 2 title "lens, velocity"
unset object
unset label
set rmargin at screen 1 - 30 / width

# the head's way, and the order on the part
set xrange [-10:890]
set yrange [0:1]
set label 1 "The order on the part, from above; the head sweeps along y = 0 and is there at the times on the line" at screen 115 / width, down(1228) font ",14"
set label 2 "head at (s)" at screen 108 / width, down(1266) right
set tmargin at screen down(1248)
set bmargin at screen down(1278)
unset border
unset tics
unset xlabel
unset ylabel
unset key
plot "head.dat" using 2:(0.3) with lines linecolor rgb "#000000" linewidth 2, \
     "head.dat" using 2:(0.3) with points pointtype 7 pointsize 0.9 linecolor rgb "#000000", \
     "head.dat" using 2:(0.3):(sprintf("%.4g", $1)) with labels offset 0, 0.9 font ",11"
unset label
set border 31 linecolor rgb "#555555" linewidth 0.8
set tmargin at screen down(1285)
set bmargin at screen down(1285 + 310)
set yrange [-107:107]
set xtics 100 out nomirror
set mxtics 2
set ytics 50 out nomirror
set grid xtics ytics
set xlabel "along the part, x (mm)" offset 0, 0.5
set ylabel "across, y (mm)"
set key at screen 1 - 30 / width, down(1656) right bottom horizontal noopaque
steep(dx, dy) = abs(dy) > abs(dx)
plot "order.dat" using ($1+$3):($2+$4):5:6 with vectors head filled size 6,18 fixed linecolor rgb "#777777" dashtype 2 linewidth 0.9 title "beam off", \
     "order.dat" using ($7 == 1 ? NaN : $1):2:3:4 with vectors head filled size 12,18 fixed linecolor rgb "#0072b2" linewidth 3 title "weld, as drawn", \
     "order.dat" using ($7 == 1 ? $1 : NaN):2:3:4 with vectors head filled size 12,18 fixed linecolor rgb "#d55e00" linewidth 3 title "weld, reversed", \
     "order.dat" using ($1+$3/2+(steep($3,$4)?13:0)):($2+$4/2+(steep($3,$4)?0:12)):8 with labels font ",12" notitle
unset multiplot
)gp"));
    std::string const call = "cd '" + data.string() + "' && gnuplot plan.gp >/dev/null 2>&1";
    if (std::system(call.c_str()) != 0)
        std::puts("no picture: gnuplot did not run; the script is picture/plan.gp");
}

} // namespace seamhold::examples

#endif
