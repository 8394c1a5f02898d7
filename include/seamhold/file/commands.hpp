#ifndef SEAMHOLD_FILE_COMMANDS_HPP
#define SEAMHOLD_FILE_COMMANDS_HPP

#include "seamhold/file/text.hpp"
#include "seamhold/file/write.hpp"
#include "seamhold/follow/ticks.hpp"

#include <charconv>
#include <cstddef>
#include <filesystem>
#include <string>

namespace seamhold {

/// What was written to a file of commands, in ticks.
struct WrittenCommands {
    std::size_t ticks;   ///< rows
    std::size_t open;    ///< with the gate open
    std::size_t refused; ///< within a seam, with the gate shut because a command could not be trusted
};

/// Writes a job's commands as CSV, one row every `period` s:
///
///     time_s,x_mirror_rad,y_mirror_rad,focus_m,gate,seam
///
/// and, where the job says with how much power it welds, `power_W` before the gate: that of the seam while
/// the gate is open, 0 while it is shut.
///
/// Each row is what is handed to the head at time_s of the robot's clock: the mirrors answer the mirrors' lag
/// later, the lens its own, so the columns lead by that much. The gate (1: the light is on) acts at once. The
/// last column names the seam whose time it is, and is empty between seams. Numbers have the fewest digits
/// that read back as the same double. Rows are written as they are made; the file appears whole or not at
/// all. Throws BadInput where `Ticks` or `WholeFile` do, and for a seam whose name holds a comma, a quote or
/// a line end.
inline WrittenCommands write_commands(std::filesystem::path const& path, Job const& job,
                                      double period = 1e-5) {
    for (auto const& seam : job.seams)
        if (seam.name.find_first_of(",\"\r\n") != std::string::npos)
            throw BadInput(path.string() + ": the seam's name " + detail::shown(seam.name) +
                           " cannot stand in a file of comma-separated values");
    Ticks const ticks(job, period);
    WholeFile file(path);
    bool const power = job.has_power();
    file.write(power ? "time_s,x_mirror_rad,y_mirror_rad,focus_m,power_W,gate,seam\n"
                     : "time_s,x_mirror_rad,y_mirror_rad,focus_m,gate,seam\n");
    WrittenCommands written{ticks.size(), 0, 0};
    std::string row;
    auto const add = [&row](double x) {
        char digits[32];
        row.append(digits, std::to_chars(digits, digits + sizeof digits, x).ptr);
        row += ',';
    };
    for (std::size_t i = 0; i < ticks.size(); ++i) {
        Tick const tick = ticks[i];
        auto const& seam = job.seams[tick.seam];
        bool const within = tick.time >= seam.start && tick.time <= seam.end();
        written.open += tick.gate ? 1U : 0U;
        written.refused += within && tick.status != Status::ok ? 1U : 0U;
        // The gate allows for the last bit of a start; where the light is on, the seam is named.
        bool const named = within || tick.gate;
        row.clear();
        add(tick.time);
        add(tick.command.x_mirror);
        add(tick.command.y_mirror);
        add(tick.command.focus);
        if (power)
            add(tick.power);
        row += tick.gate ? "1," : "0,";
        if (named)
            row += seam.name;
        row += '\n';
        file.write(row);
    }
    file.commit();
    return written;
}

} // namespace seamhold

#endif
