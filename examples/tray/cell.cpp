// The independent cell: shares no code with seamhold. It takes the commands that were handed to the head,
// moves a simulated arm, traces the beam over two mirrors, and looks where the spot lands on the drawing of
// the tray.
//
//   cell COMMANDS LOG OUTDIR [STRIDE]    prints a table and writes OUTDIR/cell.csv; looks at every STRIDE-th
//   tick
//
// COMMANDS is commands.csv, LOG the log it was made from (joints.csv or commanded.csv of make_log). The spot
// is judged three times, for three answers to "where was the flange?":
//   reported  what the log says, read between its stamps by this program's own natural cubic spline
//   lagging   the arm as it follows its commands, with servo lag, with perfect links and encoders
//   true      the same arm with its flex, which no encoder sees
#include "beam.hpp"
#include "drawing.hpp"
#include "files.hpp"
#include "line.hpp"
#include "reported.hpp"
#include "robot.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <filesystem>
#include <fstream>
#include <stdexcept>
#include <string>
#include <vector>

namespace {

using namespace tray;

/// Worst, its time, and root mean square of a distance in metres.
struct Spread {
    double worst = 0, worst_time = 0, squares = 0;
    std::size_t count = 0;
    void add(double distance, double time) {
        if (count == 0 || distance > worst) {
            worst = distance;
            worst_time = time;
        }
        squares += distance * distance;
        ++count;
    }
    void add(Spread const& other) {
        if (other.count > 0 && (count == 0 || other.worst > worst)) {
            worst = other.worst;
            worst_time = other.worst_time;
        }
        squares += other.squares;
        count += other.count;
    }
    double rms() const { return count == 0 ? 0 : std::sqrt(squares / static_cast<double>(count)); }
};

/// What one answer to "where was the flange?" makes of a seam: distance from where the drawing wants the spot
/// at that moment, distance from the drawn line, and distance of the focus from where it is wanted, along the
/// beam.
struct Judged {
    Spread now, line, focus;
    void add(Judged const& other) {
        now.add(other.now);
        line.add(other.line);
        focus.add(other.focus);
    }
};

struct SeamResult {
    std::size_t lit_ticks = 0;
    std::array<Judged, 3> arms; // reported, lagging, true
    double readings_differ = 0; // m at the spot, the two readings of the log
};

constexpr std::array<char const*, 3> arm_names{"reported", "lagging", "true"};

/// Looks at one lit tick.
void judge(Commands const& commands, std::size_t i, Log const& log, Spline const& spline, Line const& line,
           SeamResult& result) {
    auto const delayed = [&](double lag) {
        double const exact = lag / commands.period;
        auto const ticks = static_cast<std::size_t>(std::lround(exact));
        if (std::abs(exact - static_cast<double>(ticks)) > 0.01)
            throw std::runtime_error("the head's lag is not a whole number of ticks");
        if (i < ticks)
            throw std::runtime_error("the light is on before the head can have acted on its first command");
        return i - ticks;
    };
    double const time = commands.time(i);
    Seam const& seam = seams[commands.ticks[i].seam];
    if (time < seam.start_s - commands.period || time > end_of(seam) + commands.period)
        throw std::runtime_error(std::string("seam ") + seam.name + " is lit at " + std::to_string(time) +
                                 " s, which is not its time on the drawing");
    Tick const& mirrors = commands.ticks[delayed(mirror_lag)];
    double const lens = commands.ticks[delayed(focus_lag)].focus;
    double const focus_path = focus_path_at_zero + focus_ratio * lens;
    Vector const wanted = drawn_point(seam, time);
    Matrix const part_from_cell = inverse(cell_from_part);
    auto const landing = [&](Matrix const& cell_from_flange) {
        return land(mirrors.x_mirror, mirrors.y_mirror, part_from_cell * cell_from_flange * flange_from_head,
                    faces[seam.face].part_from_face);
    };
    std::array<Landing, 3> const landings{landing(spline.cell_from_flange(time)),
                                          landing(cell_from_flange(joints_at(time, Arm::with_lag))),
                                          landing(cell_from_flange(joints_at(time, Arm::with_lag_and_flex)))};
    for (std::size_t a = 0; a < landings.size(); ++a) {
        Judged& judged = result.arms[a];
        judged.now.add(length(landings[a].spot - wanted), time);
        judged.line.add(line.distance(time, landings[a].spot), time);
        judged.focus.add(std::abs(focus_path - (landings[a].path + 0.001 * seam.focus_offset_mm)), time);
    }
    Landing const other = landing(second_opinion(log, time));
    result.readings_differ = std::max(result.readings_differ, length(other.spot - landings[0].spot));
    ++result.lit_ticks;
}

/// One line of cell.csv.
std::string cell_csv_row(std::string const& name, SeamResult const& r, double lit_seconds,
                         double drawn_seconds) {
    std::array<char, 64> number{};
    std::string row = name;
    auto const put = [&](char const* format, double value) {
        std::snprintf(number.data(), number.size(), format, value);
        row += number.data();
    };
    put(",%.5f", lit_seconds);
    put(",%.5f", drawn_seconds);
    if (r.lit_ticks == 0)
        return row + std::string(6 * r.arms.size() + 1, ',') +
               "\n"; // no distance: an empty field, not a zero
    for (Judged const& j : r.arms) {
        put(",%.5f", j.now.worst_time);
        for (double const metres : {j.now.worst, j.now.rms(), j.line.worst, j.line.rms()})
            put(",%.6f", 1e6 * metres);
        put(",%.6f", 1e3 * j.focus.worst);
    }
    put(",%.6f", 1e6 * r.readings_differ);
    return row + "\n";
}

void print_row(std::string const& name, SeamResult const& r, double lit_seconds, double drawn_seconds) {
    std::printf("%-4s %6.1f of %6.1f", name.c_str(), 1e3 * lit_seconds, 1e3 * drawn_seconds);
    for (Judged const& j : r.arms) {
        if (r.lit_ticks == 0)
            std::printf(" | %-36s", "never lit");
        else
            std::printf(" | %8.3f %8.3f %8.3f %9.3f", 1e6 * j.now.worst, 1e6 * j.now.rms(),
                        1e6 * j.line.worst, 1e3 * j.focus.worst);
    }
    std::printf("\n");
}

void run(std::string const& commands_path, std::string const& log_path, std::string const& folder,
         std::size_t stride) {
    Commands const commands = read_commands(commands_path);
    Log const log = read_log(log_path);
    Spline const spline(log);
    std::vector<SeamResult> results(seams.size());
    std::vector<Line> const lines(seams.begin(), seams.end());
    for (std::size_t i = 0; i < commands.ticks.size(); i += stride) {
        if (commands.ticks[i].lit)
            judge(commands, i, log, spline, lines[commands.ticks[i].seam], results[commands.ticks[i].seam]);
    }

    if (std::all_of(results.begin(), results.end(), [](SeamResult const& r) { return r.lit_ticks == 0; }))
        throw std::runtime_error(commands_path + ": the light is never on");

    std::printf(
        "The independent cell: own arm, own ray trace, own drawing. Simulated; all numbers are invented.\n"
        "now:   micrometres from the point the drawing wants at that moment, worst and rms\n"
        "line:  micrometres from the nearest point of the drawn line, worst\n"
        "focus: millimetres along the beam from where the focus should be, worst\n\n%22s",
        "");
    for (std::string const name : arm_names)
        std::printf(" | %-36s", ("against the " + name + " flange").c_str());
    std::printf("\nseam        lit, ms   ");
    for (std::size_t a = 0; a < arm_names.size(); ++a)
        std::printf(" | %8s %8s %8s %9s", "now", "rms", "line", "focus");
    std::printf("\n");
    std::string csv = "seam,lit_s,drawn_s";
    for (char const* name : arm_names) {
        for (char const* column :
             {"_worst_at_s", "_worst_um", "_rms_um", "_line_worst_um", "_line_rms_um", "_focus_worst_mm"})
            csv.append(",").append(name).append(column);
    }
    csv += ",readings_differ_um\n";
    SeamResult all;
    double const seconds_a_look = commands.period * static_cast<double>(stride);
    double all_drawn = 0;
    for (std::size_t s = 0; s < results.size(); ++s) {
        SeamResult const& r = results[s];
        double const drawn = length_of(seams[s]) / spot_speed;
        double const lit = seconds_a_look * static_cast<double>(r.lit_ticks);
        print_row(seams[s].name, r, lit, drawn);
        csv += cell_csv_row(seams[s].name, r, lit, drawn);
        for (std::size_t a = 0; a < 3; ++a)
            all.arms[a].add(r.arms[a]);
        all.lit_ticks += r.lit_ticks;
        all.readings_differ = std::max(all.readings_differ, r.readings_differ);
        all_drawn += drawn;
    }
    double const all_lit = seconds_a_look * static_cast<double>(all.lit_ticks);
    print_row("all", all, all_lit, all_drawn);
    csv += cell_csv_row("all", all, all_lit, all_drawn);
    std::printf(
        "\nreported: worst %.4f um, if the flange was where the log says. This tests the arithmetic.\n"
        "          (Read between its stamps by a polynomial, not a spline, the log differs by %.3f um.)\n"
        "lagging:  worst %.3f um, for the arm as it follows its commands, without flex. Of a measured\n"
        "          stream only encoder steps are left here; of a commanded one, the whole servo lag.\n"
        "true:     worst %.3f um, for the arm as it really stood. No encoder sees the flex in it.\n",
        1e6 * all.arms[0].now.worst, 1e6 * all.readings_differ, 1e6 * all.arms[1].now.worst,
        1e6 * all.arms[2].now.worst);

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
    int const stride = argc == 5 ? std::atoi(argv[4]) : 1;
    if (argc < 4 || argc > 5 || stride < 1) {
        std::fprintf(stderr, "usage: cell COMMANDS LOG OUTDIR [STRIDE]\n");
        return EXIT_FAILURE;
    }
    try {
        run(argv[1], argv[2], argv[3], static_cast<std::size_t>(stride));
    } catch (std::exception const& error) {
        std::fprintf(stderr, "cell: %s\n", error.what());
        return EXIT_FAILURE;
    }
    return EXIT_SUCCESS;
}
