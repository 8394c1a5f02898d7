// A job file and a recorded log, read into a job; what its report says; and what the message of a bad log
// looks like. Both files are written into a temporary folder first. Every number is invented. Returns 1 if
// the job does not load, or the bad log does.
#include "seamhold/file.hpp"

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>

using namespace seamhold;

// [files]
char const* const job_file = R"(
title = "Tray, one seam of the lid"
log = { poses = "measured", stamps = "sampling", max_gap_ms = 20 }
mount = { position_mm = [0, 0, 50], rotation_zyx_deg = [0, 0, 0] }    # the head on the flange
part = { position_mm = [0, 0, 0], rotation_zyx_deg = [0, 0, 0] }      # the tray in the cell
limits = { incidence_deg = 20 }
face = [{ name = "lid", position_mm = [0, 0, 0], rotation_zyx_deg = [0, 0, 0] }]

[head]
mirror_separation_mm = 40
mirror_range_deg = 10
mirror_velocity_rad_s = 20
mirror_acceleration_rad_s2 = 15000
mirror_rms_acceleration_rad_s2 = 4000
mirror_lag_ms = 0.5
settling_ms = 2
focus_path_mm = 490
focus_ratio = 10
focus_range_mm = [-8, 8]
focus_velocity_mm_s = 100
focus_lag_ms = 5

[[seam]]
name = "L1"
face = "lid"
start_s = 0.35
speed_m_per_min = 16
shape = "straight"
from_mm = [100, -40]
to_mm = [100, 40]
)";

std::string log_row(int i) { // a flange that looks down and glides along x at 0.2 m/s, every 4 ms
    return std::to_string(4 * i) + "," + std::to_string(0.8 * i) + ",0,500,0,1,0,0\n";
}
// [files] end

int run(std::filesystem::path const& folder) {
    std::string log = "time_ms,x_mm,y_mm,z_mm,qw,qx,qy,qz\n";
    for (int i = 0; i <= 250; ++i)
        log += log_row(i);
    write_text(folder / "job.toml", job_file);
    write_text(folder / "log.csv", log);

    // [load]
    LoadedJob const loaded = load_job(folder / "job.toml", folder / "log.csv");
    auto const seams = report(loaded.job, microseconds(10));
    std::fputs(text_of(loaded.log).c_str(), stdout); // what the reader found in the log
    std::printf("%s: %.1f %% left, %s binds\n", seams[0].name.c_str(), 100 * seams[0].margin(),
                to_string(seams[0].binding()));
    write_text(folder / "report.csv", report_csv(seams));
    auto const written = write_commands(folder / "commands.csv", loaded.job, microseconds(10));
    std::printf("%zu commands written, light on in %zu\n", written.ticks, written.open);
    // [load] end
    bool const good = seams[0].within() && written.refused == 0;

    // [bad]
    write_text(folder / "bad.csv", log + "1004,0.2008 m,0,500,0,1,0,0\n");
    try {
        load_job(folder / "job.toml", folder / "bad.csv");
    } catch (BadInput const& error) {
        std::printf("refused: %s\n", error.what()); // FOLDER/bad.csv:253:x_mm: "0.2008 m" is not a number
        return good && std::string(error.what()).find("bad.csv:253:x_mm: ") != std::string::npos ? 0 : 1;
    }
    // [bad] end
    return 1;
}

int main() {
    std::string folder = (std::filesystem::temp_directory_path() / "seamhold_XXXXXX").string();
    if (mkdtemp(folder.data()) == nullptr)
        return 1;
    int result = 1;
    try {
        result = run(folder);
    } catch (std::exception const& error) {
        std::fprintf(stderr, "%s\n", error.what());
    }
    std::filesystem::remove_all(folder);
    return result;
}
