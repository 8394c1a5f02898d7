// The independent cell: shares no code with seamhold. It takes the commands that were handed to the head,
// moves a simulated arm, traces the beam over two mirrors, and looks where the spot lands on the drawing of
// the tray.
//
//   cell COMMANDS LOG OUTDIR [STRIDE [DRAWING]]
//
// prints a table and writes OUTDIR/cell.csv; looks at every STRIDE-th tick. COMMANDS is commands.csv, LOG the
// log it was made from (joints.csv or commanded.csv of make_log). DRAWING is lid_and_shoulder (the main job,
// unless said otherwise) or shapes. The spot is judged three times, for three answers to "where was the
// flange?":
//   reported  what the log says, read between its stamps by this program's own natural cubic spline
//   lagging   the arm as it follows its commands, with servo lag, with perfect links and encoders
//   true      the same arm with its flex, which no encoder sees
#include "judge.hpp"
#include "lid_and_shoulder.hpp"
#include "shapes.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <filesystem>
#include <fstream>
#include <limits>
#include <stdexcept>
#include <string>
#include <vector>

namespace {

using namespace tray;

/// A row of the table: a seam, or all of them. What does not apply is negative.
struct Row {
    std::string name;
    SeamResult result;
    double lit_seconds, drawn_seconds, welded_share;
};

/// One line of cell.csv. What does not apply is an empty field, not a zero.
std::string cell_csv_row(Row const& row) {
    std::array<char, 64> number{};
    std::string line = row.name;
    auto const put = [&](double value, int digits, bool applies = true) {
        std::snprintf(number.data(), number.size(), ",%.*f", digits, value);
        line += applies ? number.data() : ",";
    };
    put(row.lit_seconds, 5);
    put(row.drawn_seconds, 5, row.drawn_seconds >= 0);
    put(row.welded_share, 5, row.welded_share >= 0);
    bool const lit = row.result.lit_ticks > 0;
    for (Judged const& j : row.result.arms) {
        bool const timed = j.now.count > 0;
        put(j.now.worst_time, 5, timed);
        put(1e6 * j.now.worst, 6, timed);
        put(1e6 * j.now.rms(), 6, timed);
        put(1e6 * j.line.worst, 6, lit);
        put(1e6 * j.line.rms(), 6, lit);
        put(1e3 * j.focus.worst, 6, lit);
    }
    put(1e6 * row.result.readings_differ, 6, lit);
    return line + "\n";
}

void print_row(Row const& row) {
    std::printf("%-12s %6.1f", row.name.c_str(), 1e3 * row.lit_seconds);
    if (row.drawn_seconds >= 0)
        std::printf(" of %6.1f", 1e3 * row.drawn_seconds);
    else if (row.welded_share >= 0)
        std::printf(" %7.1f %%", 100 * row.welded_share);
    else
        std::printf("%10s", "");
    for (Judged const& j : row.result.arms) {
        if (row.result.lit_ticks == 0)
            std::printf(" | %-36s", "never lit");
        else if (j.now.count == 0)
            std::printf(" | %8s %8s %8.3f %9.3f", "", "", 1e6 * j.line.worst, 1e3 * j.focus.worst);
        else
            std::printf(" | %8.3f %8.3f %8.3f %9.3f", 1e6 * j.now.worst, 1e6 * j.now.rms(),
                        1e6 * j.line.worst, 1e3 * j.focus.worst);
    }
    std::printf("\n");
}

void print_heading() {
    std::printf(
        "The independent cell: own arm, own ray trace, own drawing. Simulated; all numbers are invented.\n"
        "now:   micrometres from the point the drawing wants at that moment, worst and rms; empty where the\n"
        "       job slows down by a law that the drawing does not know: the line is all it can judge there\n"
        "line:  micrometres from the nearest point of the drawn line, worst\n"
        "focus: millimetres along the beam from where the focus should be, worst\n"
        "lit:   milliseconds of light, of how many the drawing wants; or the share of the line that had "
        "light\n"
        "\n%29s",
        "");
    for (std::string const name : arm_names)
        std::printf(" | %-36s", ("against the " + name + " flange").c_str());
    std::printf("\n%-12s %-16s", "seam", "lit");
    for (std::size_t a = 0; a < arm_names.size(); ++a)
        std::printf(" | %8s %8s %8s %9s", "now", "rms", "line", "focus");
    std::printf("\n");
}

std::string csv_heading() {
    std::string csv = "seam,lit_s,drawn_s,welded_share";
    for (char const* name : arm_names) {
        for (char const* column :
             {"_worst_at_s", "_worst_um", "_rms_um", "_line_worst_um", "_line_rms_um", "_focus_worst_mm"})
            csv.append(",").append(name).append(column);
    }
    return csv + ",readings_differ_um\n";
}

void print_summary(SeamResult const& all) {
    std::printf(
        "\nreported: worst %.4f um, if the flange was where the log says. This tests the arithmetic.\n"
        "          (Read between its stamps by a polynomial, not a spline, the log differs by %.3f um.)\n"
        "lagging:  worst %.3f um, for the arm as it follows its commands, without flex. Of a measured\n"
        "          stream only encoder steps are left here; of a commanded one, the whole servo lag.\n"
        "true:     worst %.3f um, for the arm as it really stood. No encoder sees the flex in it.\n",
        1e6 * all.arms[0].now.worst, 1e6 * all.readings_differ, 1e6 * all.arms[1].now.worst,
        1e6 * all.arms[2].now.worst);
}

/// Every lit tick against the drawing, and the light on seams that are not drawn here, in ticks.
struct Looked {
    std::vector<SeamResult> results;
    std::size_t left_out_ticks = 0;
};

Looked look(Drawing const& drawing, Commands const& commands, Log const& log, std::size_t stride) {
    Spline const spline(log);
    std::vector<Line> lines;
    for (Seam const& seam : drawing.seams)
        lines.emplace_back(drawing, seam);
    Looked looked{std::vector<SeamResult>(drawing.seams.size())};
    for (std::size_t i = 0; i < commands.ticks.size(); i += stride) {
        std::size_t const seam = commands.ticks[i].seam;
        if (!commands.ticks[i].lit)
            continue;
        if (seam == left_out_seam)
            ++looked.left_out_ticks;
        else
            judge(commands, i, log, spline, drawing, lines[seam], looked.results[seam]);
    }
    return looked;
}

void run(std::string const& commands_path, std::string const& log_path, std::string const& folder,
         std::size_t stride, Drawing const& drawing) {
    Commands const commands = read_commands(commands_path, drawing);
    Looked const looked = look(drawing, commands, read_log(log_path), stride);
    if (std::all_of(looked.results.begin(), looked.results.end(),
                    [](SeamResult const& r) { return r.lit_ticks == 0; }))
        throw std::runtime_error(commands_path + ": the light is never on");

    print_heading();
    std::string csv = csv_heading();
    double const seconds_a_look = commands.period * static_cast<double>(stride);
    Row all{"all", {}, 0, 0, -1};
    for (std::size_t s = 0; s < looked.results.size(); ++s) {
        SeamResult const& r = looked.results[s];
        Seam const& seam = drawing.seams[s];
        Row const row{seam.name, r, seconds_a_look * static_cast<double>(r.lit_ticks),
                      seam.speed ? duration_of(seam) : -1, seam.speed ? -1 : r.welded_share(seam)};
        print_row(row);
        csv += cell_csv_row(row);
        for (std::size_t a = 0; a < 3; ++a)
            all.result.arms[a].add(r.arms[a]);
        all.result.lit_ticks += r.lit_ticks;
        all.result.readings_differ = std::max(all.result.readings_differ, r.readings_differ);
        all.drawn_seconds =
            row.drawn_seconds < 0 || all.drawn_seconds < 0 ? -1 : all.drawn_seconds + row.drawn_seconds;
    }
    all.lit_seconds = seconds_a_look * static_cast<double>(all.result.lit_ticks);
    print_row(all);
    csv += cell_csv_row(all);
    print_summary(all.result);
    for (std::string const& start : drawing.left_out)
        std::printf("not drawn here, so not judged: the seams \"%s…\", %.1f ms of light\n", start.c_str(),
                    1e3 * seconds_a_look * static_cast<double>(looked.left_out_ticks));

    std::filesystem::create_directories(folder);
    std::string const csv_path = (std::filesystem::path(folder) / "cell.csv").string();
    std::ofstream out(csv_path, std::ios::binary);
    out << csv;
    out.close();
    if (!out)
        throw std::runtime_error("cannot write " + csv_path);
}

} // namespace

int main(int argc, char** argv) {
    int const stride = argc >= 5 ? std::atoi(argv[4]) : 1;
    std::string const drawing = argc == 6 ? argv[5] : "lid_and_shoulder";
    if (argc < 4 || argc > 6 || stride < 1 || (drawing != "lid_and_shoulder" && drawing != "shapes")) {
        std::fprintf(stderr, "usage: cell COMMANDS LOG OUTDIR [STRIDE [DRAWING]]\n"
                             "DRAWING: lid_and_shoulder or shapes\n");
        return EXIT_FAILURE;
    }
    try {
        run(argv[1], argv[2], argv[3], static_cast<std::size_t>(stride),
            drawing == "shapes" ? shapes() : lid_and_shoulder());
    } catch (std::exception const& error) {
        std::fprintf(stderr, "cell: %s\n", error.what());
        return EXIT_FAILURE;
    }
    return EXIT_SUCCESS;
}
