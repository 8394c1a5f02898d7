#ifndef SEAMHOLD_EXAMPLES_SHEET_PICTURES_HPP
#define SEAMHOLD_EXAMPLES_SHEET_PICTURES_HPP

#include "field_pictures.hpp"

#include <cstdio>
#include <string>
#include <vector>

// A sheet of shapes and one of letters, drawn with gnuplot.
namespace seamhold::examples {

/// What stands in one cell of the sheet.
struct Drawing {
    std::string name;
    std::string dimensions;
    std::vector<DrawnShape> shapes;
};

/// Rows for gnuplot, mm: welds, their first points, bars across their ends, arrows the way that they run, and
/// corners.
struct SheetRows {
    std::string lines, starts, ends, arrows, corners, labels;

    /// Adds a weld, moved by (x, y) m.
    void add(DrawnShape const& shape, double x, double y) {
        int const steps = std::max(2, static_cast<int>(shape.length() / millimetres(0.1)));
        for (int i = 0; i <= steps; ++i)
            add_point(lines, shape, shape.length() * i / steps, x, y);
        lines += "\n";
        add_point(starts, shape, 0, x, y);
        auto const end = shape.at(shape.length());
        double const size = shape.length() < millimetres(15) ? 0.6 : 1;
        add_beside(ends, end, x, y, 0, 0.8 * size);
        add_beside(ends, end, x, y, 0, -0.8 * size);
        ends += "\n";
        auto const p = shape.at(shape.length() * 0.57);
        add_beside(arrows, p, x, y, 1.2 * size, 0);
        add_beside(arrows, p, x, y, -0.9 * size, 0.8 * size);
        add_beside(arrows, p, x, y, -0.9 * size, -0.8 * size);
        arrows += "\n";
        for (auto const& corner : shape.corners())
            add_point(corners, shape, corner.arc_length, x, y);
    }

    /// Adds a text at (x, y) m.
    void add_label(double x, double y, std::string const& text) {
        char place[64];
        std::snprintf(place, sizeof place, "%.6g %.6g ", in_millimetres(x), in_millimetres(y));
        labels += place + ("\"" + text + "\"\n");
    }

    void write(std::filesystem::path const& folder, std::string const& name) const {
        write_text(folder / (name + "_lines.dat"), lines);
        write_text(folder / (name + "_starts.dat"), starts);
        write_text(folder / (name + "_ends.dat"), ends);
        write_text(folder / (name + "_arrows.dat"), arrows);
        write_text(folder / (name + "_corners.dat"), corners);
        write_text(folder / (name + "_labels.dat"), labels);
    }

private:
    /// A point so many mm ahead of a place of a shape and to the left of it.
    static void add_beside(std::string& rows, ShapePoint<double> const& p, double x, double y, double ahead,
                           double aside) {
        add_row(rows, {in_millimetres(p.x + x) + ahead * p.tangent_x - aside * p.tangent_y,
                       in_millimetres(p.y + y) + ahead * p.tangent_y + aside * p.tangent_x});
    }
    static void add_point(std::string& rows, DrawnShape const& shape, double s, double x, double y) {
        auto const p = shape.at(s);
        add_row(rows, {in_millimetres(p.x + x), in_millimetres(p.y + y)});
    }
};

/// shapes.png: every drawing in a cell of its own, all to one scale.
inline void draw_shapes(std::filesystem::path const& folder, std::vector<Drawing> const& drawings) {
    std::filesystem::create_directories(folder);
    constexpr std::size_t columns = 5;
    double const wide = millimetres(42), high = millimetres(41);
    SheetRows rows;
    for (std::size_t i = 0; i < drawings.size(); ++i) {
        double const x = wide * (static_cast<double>(i % columns) + 0.5);
        std::size_t const row = i / columns;
        double const y = -high * (static_cast<double>(row) + 0.44);
        auto const box = extent_of(drawings[i].shapes);
        for (auto const& shape : drawings[i].shapes)
            rows.add(shape, x - (box.low_x + box.high_x) / 2, y - (box.low_y + box.high_y) / 2);
        rows.add_label(x, y - 0.41 * high, "{/:Bold " + drawings[i].name + "}\\n" + drawings[i].dimensions);
    }
    rows.write(folder, "shapes");
    std::size_t const lines = (drawings.size() + columns - 1) / columns;
    char size[400];
    std::snprintf(size, sizeof size,
                  "set xrange [0:%g]\nset yrange [%g:1]\nset arrow 1 from 4,%g to 14,%g "
                  "heads size 0.8,90 linewidth 1.2\nset label 1 \"10 mm\" at 15,%g\n",
                  in_millimetres(wide) * columns, -in_millimetres(high) * static_cast<double>(lines) - 5,
                  -in_millimetres(high) * static_cast<double>(lines) - 2.5,
                  -in_millimetres(high) * static_cast<double>(lines) - 2.5,
                  -in_millimetres(high) * static_cast<double>(lines) - 2.5);
    run_gnuplot(
        folder, "shapes",
        R"gp(set terminal pngcairo enhanced rounded size 1500,1270 font "DejaVu Sans,12"
set output "shapes.png"
unset border
unset tics
unset key
set margins 0,0,0,0
set size ratio -1
)gp" + std::string(size) +
            R"gp(set label 2 "dot: start      bar: end      arrow: way of travel      square: corner, where the tangent jumps      dimensions in mm" at 40,graph 0.012
plot "shapes_lines.dat" with lines linewidth 2.6 linecolor rgb "#0072b2", \
     "shapes_arrows.dat" with filledcurves closed fillstyle solid linecolor rgb "#000000", \
     "shapes_ends.dat" with lines linewidth 2 linecolor rgb "#000000", \
     "shapes_starts.dat" with points pointtype 7 pointsize 1.1 linecolor rgb "#d55e00", \
     "shapes_corners.dat" with points pointtype 4 pointsize 1.5 linewidth 1.5 linecolor rgb "#000000", \
     "shapes_labels.dat" using 1:2:3 with labels center
)gp");
}

/// A text on the sheet and a line that explains it.
struct ShownText {
    Lettering lettering;
    std::string words;
    FacePoint words_at; ///< the middle of the words, m
};

/// alphabet.png: strokes, their starts, and the ways between them with the beam off.
inline void draw_alphabet(std::filesystem::path const& folder, std::vector<Lettering> const& alphabet,
                          std::vector<ShownText> const& texts) {
    std::filesystem::create_directories(folder);
    SheetRows letters, numbers;
    std::string air;
    for (auto const& row : alphabet)
        for (auto const& stroke : row.strokes)
            letters.add(stroke.shape, 0, 0);
    for (auto const& [lettering, words, words_at] : texts) {
        numbers.add_label(words_at.x, words_at.y, words);
        for (std::size_t i = 0; i < lettering.strokes.size(); ++i) {
            auto const& shape = lettering.strokes[i].shape;
            numbers.add(shape, 0, 0);
            if (i == 0)
                continue;
            auto const& before = lettering.strokes[i - 1].shape;
            for (auto const& p : {before.at(before.length()), shape.at(0.0)})
                add_row(air, {in_millimetres(p.x), in_millimetres(p.y)});
            air += "\n";
        }
    }
    letters.write(folder, "letters");
    numbers.write(folder, "numbers");
    write_text(folder / "air.dat", air);
    run_gnuplot(folder, "alphabet",
                R"gp(set terminal pngcairo enhanced rounded size 1500,1400 font "DejaVu Sans,12"
set output "alphabet.png"
unset border
unset tics
unset key
set margins 0,0,0,0
set size ratio -1
set xrange [-5:157]
set yrange [-103.2:48]
do for [i = 0:3] {
    set arrow from -2,33-16*i to 154,33-16*i nohead linewidth 0.8 linecolor rgb "#cccccc"
    set arrow from -2,43-16*i to 154,43-16*i nohead linewidth 0.8 linecolor rgb "#cccccc"
}
set object 1 circle at 32,-57 size 20 fillstyle empty border rgb "#cccccc" linewidth 0.8
set object 2 circle at 32,-57 size 27 fillstyle empty border rgb "#cccccc" linewidth 0.8
set arrow 20 from -2,-99 to 8,-99 heads size 0.6,90 linewidth 1.2
set label 20 "10 mm" at 9.5,-99
set label 22 "10 mm high; no corner within a stroke, no arc tighter than a twelfth of the height" at 76,-21 center
set label 21 "dot: start of a stroke      dotted: from stroke to stroke, the beam off" at 24,-99
plot "letters_lines.dat" with lines linewidth 6 linecolor rgb "#0072b2", \
     "letters_starts.dat" with points pointtype 7 pointsize 0.7 linecolor rgb "#000000", \
     "air.dat" with lines dashtype 3 linewidth 1.4 linecolor rgb "#d55e00", \
     "numbers_lines.dat" with lines linewidth 4 linecolor rgb "#0072b2", \
     "numbers_starts.dat" with points pointtype 7 pointsize 0.5 linecolor rgb "#000000", \
     "numbers_labels.dat" using 1:2:3 with labels center
)gp");
}

} // namespace seamhold::examples

#endif
