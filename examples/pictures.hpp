#ifndef SEAMHOLD_EXAMPLES_PICTURES_HPP
#define SEAMHOLD_EXAMPLES_PICTURES_HPP

#include "proof_picture.hpp"
#include "seams_picture.hpp"

#include "seamhold/file.hpp"
#include "seamhold/seamhold.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <initializer_list>
#include <string>
#include <vector>

// Pictures of a job, drawn with gnuplot: the sweep with the seams and the beam, and the mirrors against their
// limits. Colours are told apart by people who do not see red and green: black, blue and vermilion, and by
// the kind of line.
namespace seamhold::examples {

/// A line of numbers for gnuplot.
inline void add_row(std::string& rows, std::initializer_list<double> numbers) {
    char text[32];
    for (double x : numbers) {
        std::snprintf(text, sizeof text, "%.9g ", x);
        rows += text;
    }
    rows += '\n';
}

/// A box around points, mm.
struct Extent {
    double low[3] = {1e300, 1e300, 1e300};
    double high[3] = {-1e300, -1e300, -1e300};

    void take(double x, double y, double z) {
        double const at[3] = {x, y, z};
        for (int i = 0; i < 3; ++i) {
            low[i] = std::min(low[i], at[i]);
            high[i] = std::max(high[i], at[i]);
        }
    }
};

/// What the pictures show, sampled over every seam; a blank line ends each seam.
struct Traces {
    std::string
        axes; ///< time, mirror angles (deg), velocities, accelerations, lens (mm), lens velocity (mm/s)
    std::string spots; ///< x, y, z of the spot in the part frame, mm
    std::string beams; ///< head and spot, two points a beam, mm
    std::string heads; ///< x, y, z of the head's origin in the part frame, mm
    std::string names; ///< x, y, z where each seam's name stands, mm, and the name
    Extent extent;     ///< of spots and heads
};

/// The head's origin in the part frame at time t, mm.
inline Point<Part> head_in_part(Job const& job, double t) {
    auto const cell_from_head = job.chain.cell_from_flange.at(t) * job.chain.flange_from_head;
    return inverse_times(job.chain.cell_from_part.at(t), cell_from_head.origin);
}

/// Samples a job: the axes every `step` s, and a few beams a seam.
inline Traces traces_of(Job const& job, double step) {
    using T = Taylor<double, 2>;
    Traces traces;
    auto const add_point = [&traces](std::string& rows, Point<Part> const& p) {
        add_row(rows, {in_millimetres(p.x), in_millimetres(p.y), in_millimetres(p.z)});
        traces.extent.take(in_millimetres(p.x), in_millimetres(p.y), in_millimetres(p.z));
    };
    for (auto const& seam : job.seams) {
        auto const steps = static_cast<int>(std::ceil(seam.seam.duration() / step));
        int const beam_every = std::max(1, steps / 8);
        auto name_at = seam.seam.at(seam.seam.duration() / 2).position;
        for (int k = 0; k <= steps; ++k) {
            double const seam_time = seam.seam.duration() * k / steps;
            double const t = seam.start + seam_time;
            auto const followed = job.chain.follow(seam.seam, T::variable(seam_time), T::variable(t));
            if (followed.status > Status::out_of_reach)
                continue;
            auto const& [x, y, focus] = followed.aim.command;
            add_row(traces.axes, {t, in_degrees(x.value()), in_degrees(y.value()), x.derivative(1),
                                  y.derivative(1), x.derivative(2), y.derivative(2),
                                  in_millimetres(focus.value()), in_millimetres(focus.derivative(1))});
            auto const spot = seam.seam.at(seam_time).position;
            auto const head = head_in_part(job, t);
            add_point(traces.spots, spot);
            name_at.y = std::max(name_at.y, spot.y);
            add_point(traces.heads, head);
            if (k % beam_every == 0) {
                add_point(traces.beams, head);
                add_point(traces.beams, spot);
                traces.beams += '\n';
            }
        }
        traces.axes += '\n';
        traces.spots += '\n';
        if (std::string const name = name_in_pictures(seam.name); !name.empty()) {
            add_point(traces.names, name_at);
            traces.names.back() = ' ';
            traces.names += "\"" + name + "\"\n";
        }
    }
    return traces;
}

/// The gnuplot script of sweep.png: along the part's y axis, and from above, both to one scale.
inline std::string sweep_script(Extent const& extent) {
    constexpr double width = 1500, margin = 110, border = 25; // pixels, pixels, mm
    double const low[3] = {extent.low[0] - border, extent.low[1] - border, extent.low[2] - border};
    double const high[3] = {extent.high[0] + border, extent.high[1] + border, extent.high[2] + border};
    double const scale = (width - margin - 30) / (high[0] - low[0]);
    double const side = scale * (high[2] - low[2]);
    double const above = scale * (high[1] - low[1]);
    double const height = side + above + 190;
    char text[800];
    std::snprintf(
        text, sizeof text,
        "set terminal pngcairo size %.0f,%.0f font \"DejaVu Sans,13\" linewidth 1.4\n"
        "left = %.9g; right = %.9g; side_low = %.9g; side_high = %.9g; above_low = %.9g; above_high = %.9g\n"
        "x_low = %.9g; x_high = %.9g; y_low = %.9g; y_high = %.9g; z_low = %.9g; z_high = %.9g\n",
        width, height, margin / width, 1 - 30 / width, 1 - (side + 45) / height, 1 - 45 / height, 70 / height,
        (above + 70) / height, low[0], high[0], low[1], high[1], low[2], high[2]);
    return text + std::string(R"gp(set output "sweep.png"
set multiplot
set grid linecolor rgb "#dddddd" linetype 1
set xrange [x_low:x_high]
set lmargin at screen left
set rmargin at screen right
set bmargin at screen side_low
set tmargin at screen side_high
set title "From the side: the head sweeps, the beam stays on the seams"
set ylabel "height, z (mm)"
set yrange [z_low:z_high]
set key bottom left opaque
plot "beams.dat" using 1:3 with lines linecolor rgb "#e69f00" linewidth 0.5 title "beam", \
     "heads.dat" using 1:3 with lines linecolor rgb "#000000" linewidth 2 title "head", \
     "spots.dat" using 1:3 with lines linecolor rgb "#0072b2" linewidth 4 title "seams"
set bmargin at screen above_low
set tmargin at screen above_high
set title "From above"
set xlabel "along the part, x (mm)"
set ylabel "across, y (mm)"
set yrange [y_low:y_high]
unset key
plot "beams.dat" using 1:2 with lines linecolor rgb "#e69f00" linewidth 0.5, \
     "heads.dat" using 1:2 with lines linecolor rgb "#000000" linewidth 2, \
     "spots.dat" using 1:2 with lines linecolor rgb "#0072b2" linewidth 4, \
     "names.dat" using 1:2:4 with labels offset 2.2,0.8 font "DejaVu Sans,11"
unset multiplot
)gp");
}

/// A pair of lines at the ends of a range, for a gnuplot plot command.
inline std::string limit_lines(double low, double high) {
    char text[200];
    std::snprintf(
        text, sizeof text,
        "%.9g with lines linecolor rgb \"#d55e00\" dashtype 2 notitle, %.9g with lines linecolor rgb "
        "\"#d55e00\" dashtype 2 title \"limit\"",
        low, high);
    return text;
}

/// The gnuplot script of limits.png: angles, velocities, accelerations and the lens over time, with their
/// limits.
inline std::string limits_script(Job const& job) {
    struct Panel {
        char const* label;
        int x, y;
        double low, high;
    };
    auto const& d = job.dynamics;
    AxisRanges const head = job.chain.head.ranges();
    Panel const panels[] = {
        {"mirror angle (°)", 2, 3, in_degrees(head.x_mirror.low), in_degrees(head.x_mirror.high)},
        {"mirror velocity (rad/s)", 4, 5, -d.mirror_velocity, d.mirror_velocity},
        {"mirror acceleration (rad/s²)", 6, 7, -d.mirror_acceleration, d.mirror_acceleration},
        {"lens (mm)", 8, 0, in_millimetres(head.focus.low), in_millimetres(head.focus.high)},
        {"lens velocity (mm/s)", 9, 0, -in_millimetres(d.focus_velocity), in_millimetres(d.focus_velocity)}};
    std::string script = R"gp(set terminal pngcairo size 1500,1500 font "DejaVu Sans,13" linewidth 1.4
set output "limits.png"
set multiplot layout 5,1 title "What the seams ask of the head, against its limits"
set grid linecolor rgb "#dddddd" linetype 1
set lmargin 13
set rmargin 3
set key top right horizontal
set autoscale xfix
set offsets graph 0.01, graph 0.01, 0, 0
)gp";
    int left = 5;
    for (auto const& [label, x, y, low, high] : panels) {
        if (--left == 0)
            script += "set xlabel \"time of the robot's clock (s)\"\n";
        char text[200];
        std::snprintf(text, sizeof text, "set ylabel \"%s\"\nset yrange [%.9g:%.9g]\n", label,
                      low - 0.1 * (high - low), high + 0.3 * (high - low));
        script += text;
        script += "plot " + limit_lines(low, high) + ", \"axes.dat\" using 1:" + std::to_string(x) +
                  " with lines linecolor rgb \"#0072b2\" title \"" + (y != 0 ? "x mirror" : "lens") + "\"";
        if (y != 0)
            script += ", \"axes.dat\" using 1:" + std::to_string(y) +
                      " with lines linecolor rgb \"#000000\" title \"y mirror\"";
        script += "\n";
    }
    return script + "unset multiplot\n";
}

/// Draws sweep.png, seams.png, limits.png and proof.png into a folder and says so; where gnuplot is missing
/// the data and the scripts stay beside them.
inline std::string draw(std::filesystem::path const& folder, LoadedJob const& loaded, JobProof const& proof) {
    auto const data = folder / "pictures";
    std::filesystem::create_directories(data);
    Traces const traces = traces_of(loaded.job, milliseconds(0.1));
    write_text(data / "axes.dat", traces.axes);
    write_text(data / "spots.dat", traces.spots);
    write_text(data / "beams.dat", traces.beams);
    write_text(data / "heads.dat", traces.heads);
    write_text(data / "names.dat", traces.names);
    write_text(data / "sweep.gp", sweep_script(traces.extent));
    write_text(data / "seams.gp", seams_script());
    write_text(data / "limits.gp", limits_script(loaded.job));
    write_text(data / "proof.gp",
               proof_script(proof.seams, [&](std::string const& name, std::string const& rows) {
                   write_text(data / name, rows);
               }));
    auto const before = std::filesystem::current_path();
    std::filesystem::current_path(data);
    bool const drawn = std::system("(gnuplot sweep.gp && gnuplot seams.gp && gnuplot limits.gp && gnuplot "
                                   "proof.gp) >/dev/null 2>gnuplot.txt") == 0;
    std::filesystem::current_path(before);
    if (!drawn)
        return "no pictures: gnuplot did not run (its words are in pictures/gnuplot.txt)";
    for (auto const* name : {"sweep.png", "seams.png", "limits.png", "proof.png"})
        std::filesystem::rename(data / name, folder / name);
    return "sweep.png, seams.png, limits.png, proof.png (their data and scripts in pictures)";
}

} // namespace seamhold::examples

#endif
