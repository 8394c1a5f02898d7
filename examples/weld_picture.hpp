#ifndef SEAMHOLD_EXAMPLES_WELD_PICTURE_HPP
#define SEAMHOLD_EXAMPLES_WELD_PICTURE_HPP

#include "data_row.hpp"

#include "seamhold/file/write.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/record/seam_trace.hpp"
#include "seamhold/record/signal_band.hpp"
#include "seamhold/record/verdict.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

// Two pictures of weld records: the band of a seam with the traces of parts, and the seams on the part,
// coloured by what was found. Colours are told apart by people who do not see red and green.
namespace seamhold::examples {

/// A trace with the name of its part.
struct NamedTrace {
    std::string part;
    SeamTrace trace;
};

/// The verdicts on a part's seams, in the job's order.
struct PicturedPart {
    std::string part;
    std::vector<SeamVerdict> verdicts;
};

/// What is drawn.
struct RecordPicture {
    Job const& job;
    SignalBand band;                 ///< of one seam
    std::vector<NamedTrace> traces;  ///< of that seam: one part without a fault and one with
    std::vector<PicturedPart> parts; ///< four
};

/// Whether anything was found at a place of a seam.
inline bool bad_at(SeamVerdict const& verdict, double arc_length) {
    return std::any_of(verdict.findings.begin(), verdict.findings.end(), [&](Finding const& found) {
        return found.from <= arc_length && arc_length <= found.to;
    });
}

/// weld_record.png and weld_record_part.png. Data and scripts stand in the folder's `picture`.
inline void draw_record(std::filesystem::path const& folder, RecordPicture const& picture) {
    auto const data = folder / "picture";
    std::filesystem::create_directories(data);
    auto const run = [&](std::string const& name, std::string const& script) {
        write_text(data / name, script);
        if (std::system(("cd '" + data.string() + "' && gnuplot " + name + " >/dev/null 2>&1").c_str()) != 0)
            std::printf("no picture: gnuplot did not run; the script is picture/%s\n", name.c_str());
    };
    auto const& band = picture.band;
    std::string script = R"gp(set terminal pngcairo size 1400,1050 font "DejaVu Sans,13" linewidth 1.3
set output "../weld_record.png"
set multiplot layout 3,1 title "Simulated signals along a seam, the band for the whole part, and three parts" font ",15"
set border 3 linecolor rgb "#555555" linewidth 0.8
set tics out nomirror
set lmargin 11
set rmargin 2
set grid linecolor rgb "#e4e4e4" linetype 1
set style fill solid 1 noborder
set key outside top right horizontal samplen 2 font ",12"
)gp";
    char const* const colours[] = {"#000000", "#d55e00", "#0072b2"};
    for (std::size_t c = 0; c < band.channels.size(); ++c) {
        auto const& limits = band.channels[c];
        std::string rows;
        for (std::size_t i = 0; i < band.cells.count; ++i) {
            rows += data_row(
                {in_millimetres(band.cells.middle(i)), limits.low[i], limits.centre[i], limits.high[i]});
            rows.pop_back();
            for (auto const& one : picture.traces) {
                rows += data_row({one.trace.traces[c].value[i]});
                rows.pop_back();
            }
            rows += '\n';
        }
        auto const file = "channel" + std::to_string(c) + ".dat";
        write_text(data / file, rows);
        script += "set ylabel \"" + limits.name + " (V)\"\n";
        script +=
            c + 1 == band.channels.size() ? "set xlabel \"along seam " + band.key.seam + " (mm)\"\n" : "";
        script += "file = \"";
        script += file;
        script += "\"\nplot file using 1:2:4 with filledcurves linecolor rgb \"#cfe3f1\" title \"band\", "
                  "file using 1:3 with lines linecolor rgb \"#7fb2d6\" linewidth 1 title \"centre\"";
        for (std::size_t k = 0; k < picture.traces.size() && k < 3; ++k)
            script += ", file using 1:" + std::to_string(5 + k) +
                      " with lines linewidth 1.8 linecolor rgb \"" + colours[k] + "\" title \"" +
                      picture.traces[k].part + "\"";
        script += "\n";
    }
    run("record.gp", script + "unset multiplot\n");

    script = R"gp(set terminal pngcairo size 1400,900 font "DejaVu Sans,13" linewidth 1.3
set output "../weld_record_part.png"
set multiplot layout 2,2 title "Four parts from above: where the signals left their bands" font ",15"
set border 31 linecolor rgb "#999999" linewidth 0.8
set tics out nomirror
set size ratio -1
set xlabel "x (mm)"
set ylabel "y (mm)"
set xrange [20:145]
set yrange [-30:30]
set key bottom right samplen 2 font ",12"
)gp";
    for (std::size_t p = 0; p < picture.parts.size(); ++p) {
        std::string good, bad, names;
        for (std::size_t i = 0; i < picture.job.seams.size(); ++i) {
            auto const& seam = picture.job.seams[i].seam;
            auto const& verdict = picture.parts[p].verdicts[i];
            constexpr int steps = 400;
            double least_x = 1e300, most_x = -1e300, least_y = 1e300; // mm
            for (int k = 0; k <= steps; ++k) {
                double const time = seam.duration() * k / steps;
                auto const at = seam.at(time).position;
                least_x = std::min(least_x, in_millimetres(at.x));
                most_x = std::max(most_x, in_millimetres(at.x));
                least_y = std::min(least_y, in_millimetres(at.y));
                bool const is_bad = bad_at(verdict, seam.arc_length(time));
                auto const row = data_row({in_millimetres(at.x), in_millimetres(at.y)});
                good += is_bad ? "\n" : row;
                bad += is_bad ? row : "\n";
            }
            good += '\n';
            bad += '\n';
            auto row = data_row({(least_x + most_x) / 2, least_y - 4});
            row.back() = '"';
            names += row + picture.job.seams[i].name + "\"\n";
        }
        auto const of = std::to_string(p);
        write_text(data / ("good" + of + ".dat"), good);
        write_text(data / ("bad" + of + ".dat"), bad);
        write_text(data / ("names" + of + ".dat"), names);
        script += "part = \"";
        script += picture.parts[p].part;
        script += "\"\nnumber = ";
        script += of;
        script += R"gp(
set title "part: " . part
plot sprintf("good%d.dat", number) with lines linewidth 4 linecolor rgb "#0072b2" title "in the band", \
     sprintf("bad%d.dat", number) with lines linewidth 7 linecolor rgb "#d55e00" title "outside", \
     sprintf("names%d.dat", number) using 1:2:3 with labels font ",12" notitle
)gp";
    }
    run("part.gp", script + "unset multiplot\n");
}

} // namespace seamhold::examples

#endif
