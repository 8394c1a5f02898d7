#ifndef SEAMHOLD_EXAMPLES_FIELD_PICTURES_HPP
#define SEAMHOLD_EXAMPLES_FIELD_PICTURES_HPP

#include "pictures.hpp"

#include <array>
#include <cstdio>
#include <cstdlib>
#include <string>

// Pictures of a head's field and of the volume that it reaches, drawn with gnuplot.
namespace seamhold::examples {

/// Lines of equal mirror angle as they fall on a plate, mm: rows for gnuplot, an empty line between lines.
/// `found(x, y)` is where the beam of two mirror angles, rad, meets the plate, m.
template <class Found> std::string field_grid(Found const& found, Range const& mirror) {
    std::string rows;
    constexpr int lines = 9, points = 61;
    auto const at = [&](int i, int n) { return mirror.low + (mirror.high - mirror.low) * i / (n - 1); };
    for (bool const turned : {false, true})
        for (int i = 0; i < lines; ++i) {
            for (int k = 0; k < points; ++k) {
                double const fixed = at(i, lines), moving = at(k, points);
                auto const p = turned ? found(moving, fixed) : found(fixed, moving);
                add_row(rows, {in_millimetres(p[0]), in_millimetres(p[1])});
            }
            rows += "\n";
        }
    return rows;
}

/// Runs a gnuplot script that stands in a folder; says where it cannot.
inline void run_gnuplot(std::filesystem::path const& folder, std::string const& name,
                        std::string const& script) {
    write_text(folder / (name + ".gp"), script);
    std::string const call = "cd '" + folder.string() + "' && gnuplot " + name + ".gp >/dev/null 2>&1";
    if (std::system(call.c_str()) != 0)
        std::printf("no picture: gnuplot did not run; the script is %s.gp\n", name.c_str());
}

/// field.png: the same commands by three heads.
inline void draw_field(std::filesystem::path const& folder, std::string const& ideal,
                       std::string const& askew, std::string const& lens) {
    std::filesystem::create_directories(folder);
    write_text(folder / "ideal.dat", ideal);
    write_text(folder / "askew.dat", askew);
    write_text(folder / "lens.dat", lens);
    run_gnuplot(folder, "field", R"gp(set terminal pngcairo size 1000,900 font "DejaVu Sans,13" linewidth 1.4
set output "field.png"
set title "Nine by nine equal steps of both mirrors, to ±10°, on a plate 500 mm below the head"
set xlabel "x (mm)"
set ylabel "y (mm)"
set size ratio -1
set grid linecolor rgb "#dddddd" linetype 1
set key below
plot "ideal.dat" with lines linecolor rgb "#000000" linewidth 1.6 title "ideal mirrors", \
     "askew.dat" with lines linecolor rgb "#d55e00" dashtype 2 linewidth 1.6 title "mirrors out of true", \
     "lens.dat" with lines linecolor rgb "#0072b2" linewidth 1.6 title "ideal mirrors, flat-field lens"
)gp");
}

/// volume.png: where the volume ends, in planes across the beam and in that of x and z.
template <class Volume> void draw_volume(std::filesystem::path const& folder, Volume const& volume) {
    std::filesystem::create_directories(folder);
    // The share on a grid, rows for gnuplot, an empty line after each; its contour 0 is the edge.
    auto const grid = [&](auto const& point) {
        std::string rows;
        for (int i = 0; i <= 120; ++i) {
            for (int k = 0; k <= 120; ++k) {
                double const u = i / 60.0 - 1, v = k / 60.0 - 1;
                Point<Head> const p = point(u, v);
                add_row(rows,
                        {in_millimetres(p.x), in_millimetres(p.y), in_millimetres(p.z), volume.share(p)});
            }
            rows += "\n";
        }
        return rows;
    };
    Range const heights = volume.heights();
    std::string script = R"gp(set terminal pngcairo size 1300,640 font "DejaVu Sans,13" linewidth 1.4
set contour base
set cntrparam levels discrete 0
unset surface
)gp";
    std::string sections = "plot ";
    char line[240];
    for (int i = 0; i < 5; ++i) {
        double const z = heights.low + (heights.high - heights.low) * (0.02 + 0.24 * i);
        std::string const name = "section" + std::to_string(i);
        write_text(folder / (name + ".dat"), grid([&](double u, double v) {
                       return Point<Head>{0.22 * u, 0.22 * v, z};
                   }));
        std::snprintf(line, sizeof line, "set table \"%s.edge\"\nsplot \"%s.dat\" using 1:2:4\nunset table\n",
                      name.c_str(), name.c_str());
        script += line;
        char const* const colours[] = {"#000000", "#0072b2", "#d55e00", "#009e73", "#cc79a7"};
        std::snprintf(
            line, sizeof line,
            "%s\"%s.edge\" with lines linewidth 1.8 dashtype %d linecolor rgb \"%s\" title \"z = %.0f mm\"",
            i == 0 ? "" : ", ", name.c_str(), i + 1, colours[i], in_millimetres(z));
        sections += line;
    }
    write_text(
        folder / "side.dat", grid([&](double u, double v) {
            return Point<Head>{0.22 * u, 0, heights.low + (heights.high - heights.low) * (0.4 + 0.75 * v)};
        }));
    script += R"gp(set table "side.edge"
splot "side.dat" using 1:3:4
unset table
set output "volume.png"
set multiplot layout 1,2 title "What the head reaches: a tenth of every range kept free, beam within 18° of upright"
set size ratio -1
set grid linecolor rgb "#dddddd" linetype 1
set xlabel "x (mm)"
set ylabel "y (mm)"
set title "across the beam, at five heights below the head"
set xrange [-200:200]
set key below
)gp" + sections +
              R"gp(
set title "in the plane of x and z, the head above"
set ylabel "z, down from the head (mm)"
set yrange [*:*] reverse
unset key
plot "side.edge" with lines linewidth 1.8 linecolor rgb "#000000"
unset multiplot
)gp";
    run_gnuplot(folder, "volume", script);
}

} // namespace seamhold::examples

#endif
