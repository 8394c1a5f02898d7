// Draws the pictures of those pages of the guide that no other program serves, into a folder that is given:
// number, statistics, frame, curve, arm, motion, beam, follow. All numbers are invented but for the arm's,
// see 04_arm. Returns 1 if the outlier is not found.
#include "data_row.hpp"

#include "seamhold/arm/serial_arm.hpp"
#include "seamhold/beam.hpp"
#include "seamhold/curve.hpp"
#include "seamhold/follow.hpp"
#include "seamhold/motion.hpp"
#include "seamhold/number.hpp"
#include "seamhold/statistics/random_numbers.hpp"
#include "seamhold/statistics/robust_line.hpp"

#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::examples::data_row;

namespace {

// Rows of numbers, to be read by their name in a script.
struct Data {
    char const* name;
    std::string rows;
};

// Writes data and script, and draws. Where gnuplot is missing the script stays, and that is all.
void draw(std::string const& picture, std::vector<Data> const& data, std::string const& size,
          std::string const& script) {
    std::ofstream file(picture + ".gp");
    for (auto const& [name, rows] : data)
        file << "$" << name << " << EOD\n" << rows << "EOD\n";
    file << "set terminal pngcairo size " << size << " font \"DejaVu Sans,13\" linewidth 1.4\nset output \""
         << picture << ".png\"\nset grid linecolor rgb \"#dddddd\" linetype 1\n"
         << script << "\nunset output\n";
    file.close();
    bool const drawn = std::system(("gnuplot " + picture + ".gp").c_str()) == 0;
    std::printf("%s.png %s\n", picture.c_str(), drawn ? "drawn" : "not drawn: gnuplot did not run");
}

// The first mirror's angle, deg, that holds a point while the head glides over it.
template <class T> T held_angle(T const& t) {
    return atan_ratio(T(0.3) - t * 0.6, T(0.25)) * (0.5 * in_degrees(1.0));
}

void number_picture() {
    using Time = Taylor<double, 2>;
    std::string curve, taylor, boxes;
    auto const at = held_angle(Time::variable(0.2));
    for (int i = 0; i <= 100; ++i) {
        double const t = 0.01 * i, d = t - 0.2;
        curve += data_row({t, held_angle(t)});
        if (d < 0.6)
            taylor += data_row({t, at.value() + d * (at.derivative(1) + d * at.derivative(2) / 2)});
    }
    for (int i = 0; i < 10; ++i) {
        Interval const box = held_angle(Interval(0.1 * i, 0.1 * (i + 1)));
        boxes += data_row({0.1 * i + 0.05, box.middle(), 0.1 * i, 0.1 * (i + 1), box.low, box.high});
    }
    draw("number", {{"curve", curve}, {"taylor", taylor}, {"boxes", boxes}}, "1000,560", R"gp(
set title "One formula: the mirror that holds a point while the head glides by"
set xlabel "time (s)"
set ylabel "mirror angle (°)"
set style fill solid 0.25 border
plot $boxes using 1:2:3:4:5:6 with boxxyerror linecolor rgb "#e69f00" title "at Interval: bounds over 0.1 s", \
     $curve with lines linecolor rgb "#000000" linewidth 2 title "at double", \
     $taylor with lines linecolor rgb "#0072b2" linewidth 2 dashtype 2 title "at Taylor<double, 2>, about 0.2 s")gp");
}

bool statistics_picture() {
    // [line]
    // Focus drift against power, kW and mm, fourteen readings; the tenth was written down wrongly.
    RandomNumbers random(7);
    std::vector<LinePoint> points;
    points.reserve(14);
    for (int i = 0; i < 14; ++i)
        points.push_back({0.4 * i, 0.2 + 0.15 * 0.4 * i + 0.03 * random.normal()});
    points[9].y += 0.6;
    RobustLine const robust = fit_line_robust(points);
    Bounds const at_5_kw = robust.line.prediction(5); // where one more reading will lie, 19 times of 20
    LineCrossing const at_limit = robust.line.crossing(0.8); // at which power it reaches 0.8 mm
    // [line] end
    LineFit const plain = fit_line(points);
    std::string good, bad, lines;
    for (std::size_t i = 0; i < points.size(); ++i)
        (robust.outlier[i] ? bad : good) += data_row({points[i].x, points[i].y});
    for (int i = 0; i <= 60; ++i) {
        double const x = 0.1 * i;
        auto const band = robust.line.confidence(x), next = robust.line.prediction(x);
        lines += data_row({x, robust.line.at(x), band.low, band.high, next.low, next.high, plain.at(x)});
    }
    std::printf("one more reading at 5 kW: %.3f to %.3f mm; 0.8 mm at %.2f kW\n", at_5_kw.low, at_5_kw.high,
                at_limit.place);
    draw("statistics", {{"good", good}, {"bad", bad}, {"lines", lines}}, "1000,560", R"gp(
set title "A line with its bands; an outlier is named, not averaged in"
set xlabel "power (kW)"
set ylabel "focus drift (mm)"
set key top left
set style fill transparent solid 0.3 noborder
plot $lines using 1:5:6 with filledcurves linecolor rgb "#56b4e9" title "95 % for one more reading", \
     $lines using 1:3:4 with filledcurves linecolor rgb "#0072b2" title "95 % for the line", \
     $lines using 1:2 with lines linecolor rgb "#000000" linewidth 2 title "line without the outlier", \
     $lines using 1:7 with lines linecolor rgb "#d55e00" dashtype 2 title "line with it", \
     $good with points pointtype 7 pointsize 1.3 linecolor rgb "#000000" title "kept", \
     $bad with points pointtype 2 pointsize 2 linewidth 2 linecolor rgb "#d55e00" title "outlier")gp");
    for (std::size_t i = 0; i < points.size(); ++i)
        if (robust.outlier[i] != (i == 9))
            return false;
    return true;
}

// The frames of 02_frames from the side (x and z of the cell), each as two arrows of 0.08 m.
template <class F> std::string arrows(Pose<Cell, F> const& pose) {
    std::string rows;
    for (Direction<F> const d :
         {Direction<F>{0.08, 0, 0}, Direction<F>{0, 0.08, 0}, Direction<F>{0, 0, 0.08}}) {
        auto const v = pose * d;
        if (std::hypot(v.x, v.z) > 0.01)
            rows += data_row({pose.origin.x, pose.origin.z, v.x, v.z});
    }
    return rows;
}

void frame_picture() {
    Pose<Cell, Flange> const cell_from_flange{about_axis<Cell, Cell>({0, 1, 0}, degrees(10)) *
                                                  from_wxyz<Cell, Flange>(0, 1, 0, 0),
                                              {0.25, 0, 0.75}};
    Pose<Flange, Head> const flange_from_head{Rotation<Flange, Head>::identity(), {0, 0, 0.15}};
    auto const cell_from_head = cell_from_flange * flange_from_head;
    Pose<Cell, Part> const cell_from_part{Rotation<Cell, Part>::identity(), {0.25, 0, 0.15}};
    Pose<Part, Face> const part_from_face{about_axis<Part, Face>({0, 1, 0}, degrees(25)), {0.2, 0, 0.03}};
    auto const cell_from_face = cell_from_part * part_from_face;
    std::string chain, names;
    auto const place = [&](Point<Cell> const& p, char const* name, double right, double up) {
        chain += data_row({p.x, p.z});
        std::string row = data_row({p.x + right, p.z + up});
        row.back() = ' ';
        names += row + name + "\n";
    };
    place(cell_from_flange.origin, "Flange", 0.012, -0.03);
    place(cell_from_head.origin, "Head", 0.035, -0.03);
    std::string const beam = data_row({cell_from_head.origin.x, cell_from_head.origin.z}) +
                             data_row({cell_from_face.origin.x, cell_from_face.origin.z});
    std::string robot = data_row({0, 0}) + chain;
    chain.clear();
    place(cell_from_part.origin, "Part", 0.012, -0.03);
    place(cell_from_face.origin, "Face", -0.06, -0.03);
    std::string const work = data_row({0, 0}) + chain;
    place({0, 0, 0}, "Cell", 0.012, -0.025);
    std::string const axes = arrows(Pose<Cell, Cell>::identity()) + arrows(cell_from_flange) +
                             arrows(cell_from_head) + arrows(cell_from_part) + arrows(cell_from_face);
    draw("frame", {{"robot", robot}, {"work", work}, {"beam", beam}, {"axes", axes}, {"names", names}},
         "900,900", R"gp(
set title "Two ways from the cell to the spot, from the side"
set xlabel "x of the cell (m)"
set ylabel "z of the cell (m)"
set size ratio -1
set xrange [-0.1:0.7]
set yrange [-0.05:0.85]
set key top right noenhanced
plot $robot with lines linecolor rgb "#0072b2" dashtype 2 title "robot's side: cell_from_flange, flange_from_head", \
     $work with lines linecolor rgb "#009e73" dashtype 4 title "work's side: cell_from_part, part_from_face", \
     $beam with lines linecolor rgb "#e69f00" linewidth 2 title "beam", \
     $axes using 1:2:3:4 with vectors linecolor rgb "#000000" linewidth 1.6 title "axes x and z of each frame", \
     $names using 1:2:3 with labels left notitle)gp");
}

void curve_picture() {
    Profile const profile(0.3, RateLimits{.velocity = 0.2, .acceleration = 1, .jerk = 10}); // as in 11_moves
    using Time = Taylor<double, 2>;
    std::string rows;
    for (int i = 0; i <= 600; ++i) {
        double const t = profile.duration() * i / 600;
        auto const s = profile.at(Time::variable(t));
        rows += data_row({t, in_millimetres(s.value()), s.derivative(1), s.derivative(2)});
    }
    draw("curve", {{"rows", rows}}, "1000,760", R"gp(
set multiplot layout 3,1 title "The quickest way over 300 mm at 0.2 m/s, 1 m/s², 10 m/s³"
set lmargin 12
set rmargin 3
unset key
set ylabel "way (mm)"
plot $rows using 1:2 with lines linecolor rgb "#000000" linewidth 2
set yrange [-0.02:0.24]
set ytics 0.1
set ylabel "velocity (m/s)"
plot 0.2 with lines linecolor rgb "#d55e00" dashtype 2, $rows using 1:3 with lines linecolor rgb "#0072b2" linewidth 2
set yrange [-1.3:1.3]
set ytics 1
set ylabel "acceleration (m/s²)"
set xlabel "time (s); dashed: the limit"
plot 1 with lines linecolor rgb "#d55e00" dashtype 2, -1 with lines linecolor rgb "#d55e00" dashtype 2, \
     $rows using 1:4 with lines linecolor rgb "#0072b2" linewidth 2
unset multiplot)gp");
}

// The joints of the arm of 04_arm from the side: the flange of the arm that ends after k links.
void arm_picture() {
    double const quarter = std::numbers::pi / 2;
    std::array<DhRow, 6> const table{{{0, 0, quarter},
                                      {0, 0.4318, 0},
                                      {0.15005, 0.0203, -quarter},
                                      {0.4318, 0, quarter},
                                      {0, 0, -quarter},
                                      {0.12, 0, 0}}}; // the last offset: a flange that can be seen
    std::vector<Data> poses{{"a", {}}, {"b", {}}, {"c", {}}};
    double const bend[] = {0, 0.35, 0.7};
    for (std::size_t k = 0; k < 3; ++k) {
        std::array<double, 6> const q{0, quarter / 2 + bend[k], 2 * quarter - bend[k], 0, quarter / 2, 0};
        poses[k].rows += data_row({0, 0});
        for (std::size_t links = 2; links <= 6; ++links) {
            auto shown = table;
            for (std::size_t i = links; i < 6; ++i)
                shown[i] = {0, 0, 0};
            auto angles = q;
            for (std::size_t i = links; i < 6; ++i)
                angles[i] = 0;
            auto const p = SerialArm<6>::standard_dh(shown).forward(angles).origin;
            poses[k].rows += data_row({p.x, p.z});
        }
    }
    draw("arm", poses, "900,700", R"gp(
set title "One table, three sets of joint angles, from the side"
set xlabel "x of the base (m)"
set ylabel "z of the base (m)"
set size ratio -1
set offsets graph 0.1, graph 0.1, graph 0.1, graph 0.1
set key bottom left
plot $a with linespoints pointtype 7 pointsize 1.4 linewidth 3 linecolor rgb "#000000" title "second joint at 45.0°", \
     $b with linespoints pointtype 5 pointsize 1.4 linewidth 3 linecolor rgb "#0072b2" title "at 65.1°", \
     $c with linespoints pointtype 9 pointsize 1.6 linewidth 3 linecolor rgb "#d55e00" title "at 85.1°")gp");
}

struct Sway { // the sweep of 05_log without its tilt
    template <class T> Pose<Cell, Flange, T> at(T const& t) const {
        auto const sway = sin_cos(t * (2 * std::numbers::pi * 1.5));
        return {number_cast<T>(from_wxyz<Cell, Flange>(0, 1, 0, 0)),
                {t * 0.2, sway.sin * 0.01, sway.cos * 0.01 + 0.5}};
    }
};

void motion_picture() {
    Sway const truth;
    std::string rows;
    for (double const step : {0.001, 0.002, 0.004, 0.008, 0.016, 0.032}) {
        std::vector<PoseRow<Cell>> log_rows;
        for (int i = 0; i * step <= 1.0; ++i) {
            auto const pose = truth.at(i * step);
            log_rows.push_back({i * step, pose.origin, quaternion_of(pose.rotation)});
        }
        PoseLog<Cell, Flange> const log(log_rows);
        double worst = 0;
        for (double t = 0.1; t < 0.9; t += 0.00037)
            worst = std::max(worst, norm(log.at(t).origin - truth.at(t).origin));
        rows += data_row({step * 1e3, worst * 1e6});
    }
    draw("motion", {{"rows", rows}}, "900,600", R"gp(
set title "A recorded sweep that sways by 10 mm, 1.5 times a second: the error between its rows"
set xlabel "step of the log (ms)"
set ylabel "largest error (µm)"
set logscale xy 10
set xrange [0.8:40]
set xtics (1, 2, 4, 8, 16, 32)
set format y "10^{%T}"
set key top left
plot 1e-6 * x**4 with lines linecolor rgb "#d55e00" dashtype 2 title "slope of h⁴", \
     $rows with linespoints pointtype 7 pointsize 1.5 linecolor rgb "#0072b2" title "measured")gp");
}

void beam_picture() {
    DeliveredBeam<> const beam = // as in 13_beam
        delivered_from_fibre(1070e-9, micrometres(50), milliradians(80), millimetres(125), millimetres(100));
    Caustic<> const caustic = beam.caustic(0.9);
    std::string rows, flat, steep;
    for (int i = -120; i <= 120; ++i)
        rows += data_row({0.5 * i, in_micrometres(caustic.radius(0.9 + millimetres(0.5 * i)))});
    Ray<double> const ray{{0, 0, 0}, {0, 0, 1}, millimetres(20), 0.9};
    for (auto [degrees_off, out] : {std::pair{0.0, &flat}, std::pair{60.0, &steep}}) {
        Direction<Head> const normal{std::sin(degrees(degrees_off)), 0, -std::cos(degrees(degrees_off))};
        auto const spot = spot_on(ray, caustic, Point<Head>{0, 0, 0.9}, normal);
        for (int i = 0; i <= 72; ++i) {
            double const a = degrees(5.0 * i);
            *out += data_row({in_micrometres(spot.semi_major) * std::cos(a),
                              in_micrometres(spot.semi_minor) * std::sin(a)});
        }
    }
    draw("beam", {{"rows", rows}, {"flat", flat}, {"steep", steep}}, "1200,520", R"gp(
set multiplot layout 1,2
set title "The caustic: the beam's radius along its way"
set xlabel "beyond the waist (mm)"
set ylabel "across the beam (µm)"
unset key
set style fill solid 0.35 noborder
plot $rows using 1:2:(-$2) with filledcurves linecolor rgb "#e69f00", $rows using 1:2 with lines linecolor rgb "#000000", \
     $rows using 1:(-$2) with lines linecolor rgb "#000000"
set title "The spot one Rayleigh length off the waist"
set xlabel "down the slope, on the face (µm)"
set ylabel "across it (µm)"
set size ratio -1
set key below
set xrange [-700:700]
set yrange [-450:450]
plot $flat with lines linecolor rgb "#0072b2" linewidth 2 title "face at 0°", \
     $steep with lines linecolor rgb "#d55e00" linewidth 2 dashtype 2 title "face at 60° incidence"
unset multiplot)gp");
}

void follow_picture() {
    Pose<Cell, Flange> const start{from_wxyz<Cell, Flange>(0, 1, 0, 0), {0, 0, 0.5}};
    Pose<Flange, Head> const mount{Rotation<Flange, Head>::identity(), {0, 0, millimetres(50)}};
    Range const mirror{degrees(-10), degrees(10)};
    MirrorPair<> const head =
        checked({0.04, 0.49, 10, mirror, mirror, {-0.008, 0.008}, 0.1}); // as in 01_hold_a_seam
    Chain<Steady<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>> const chain{
        {start, {0.2, 0, 0}, 0}, {Pose<Cell, Part>::identity()}, mount, head};
    auto const seam =
        at_speed(circle_around({0.1, 0}, 0.04), Plane<>{Pose<Part, Face>::identity()}, metres_per_minute(16));
    using Time = Taylor<double, 2>;
    std::string rows;
    for (int i = 0; i <= 400; ++i) {
        double const s = seam.duration() * i / 400;
        auto const c = chain.follow(seam, Time::variable(s), Time::variable(0.27 + s)).aim.command;
        rows += data_row({1e3 * s, in_degrees(c.x_mirror.value()), in_degrees(c.y_mirror.value()),
                          c.x_mirror.derivative(1), c.y_mirror.derivative(1), c.x_mirror.derivative(2),
                          c.y_mirror.derivative(2)});
    }
    draw("follow", {{"rows", rows}}, "1000,760", R"gp(
set multiplot layout 3,1 title "A ring of 40 mm at 16 m/min while the head goes on at 0.2 m/s: angle and exact rates"
set lmargin 12
set rmargin 3
set autoscale xfix
set key top right horizontal
set offsets 0, 0, graph 0.25, graph 0.05
set ylabel "angle (°)"
plot $rows using 1:2 with lines linecolor rgb "#0072b2" linewidth 2 title "x mirror", \
     $rows using 1:3 with lines linecolor rgb "#000000" dashtype 2 linewidth 2 title "y mirror"
unset key
set ylabel "velocity (rad/s)"
plot $rows using 1:4 with lines linecolor rgb "#0072b2" linewidth 2, $rows using 1:5 with lines linecolor rgb "#000000" dashtype 2 linewidth 2
set ylabel "acceleration (rad/s²)"
set xlabel "time since the seam's start (ms)"
plot $rows using 1:6 with lines linecolor rgb "#0072b2" linewidth 2, $rows using 1:7 with lines linecolor rgb "#000000" dashtype 2 linewidth 2
unset multiplot)gp");
}

} // namespace

int main(int count, char** words) {
    std::filesystem::path const folder = count > 1 ? words[1] : "out/guide";
    std::filesystem::create_directories(folder);
    std::filesystem::current_path(folder);
    number_picture();
    frame_picture();
    curve_picture();
    arm_picture();
    motion_picture();
    beam_picture();
    follow_picture();
    return statistics_picture() ? 0 : 1;
}
