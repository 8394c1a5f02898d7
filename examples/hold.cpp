// The main job. Reads a job file and a recorded flange log; writes the mirror commands of every tick, a
// report that says seam by seam whether the limits hold, by how much and where it is worst, and pictures of
// both.
//
//     hold JOB LOG FOLDER
//
// FOLDER then holds commands.csv, report.txt, report.csv, and the pictures sweep.png, seams.png and
// limits.png.

#include "pictures.hpp"

#include "seamhold/file.hpp"
#include "seamhold/seamhold.hpp"

#include <cstdio>
#include <exception>
#include <filesystem>

using namespace seamhold;

int main(int count, char** words) try {
    if (count != 4) {
        std::puts("usage: hold JOB LOG FOLDER");
        return 2;
    }
    std::filesystem::path const folder = words[3];
    std::filesystem::create_directories(folder);

    double const tick = microseconds(10);
    LoadedJob const loaded = load_job(words[1], words[2]);
    std::vector<SeamReport> const seams = report(loaded.job, tick);
    std::string const text = report_text(loaded.title, loaded.log, seams, tick, loaded.head, loaded.placing);
    std::fputs(text.c_str(), stdout);
    write_text(folder / "report.txt", text);
    write_text(folder / "report.csv", report_csv(seams));

    WrittenCommands const written = write_commands(folder / "commands.csv", loaded.job, tick);
    std::printf("\nWRITTEN to %s\n  commands.csv: %zu ticks of 10 µs, light on in %.1f %% of them\n",
                folder.string().c_str(), written.ticks,
                100 * static_cast<double>(written.open) / static_cast<double>(written.ticks));
    if (written.refused > 0)
        std::printf("  the gate stays shut in %zu ticks within seams: see the report\n", written.refused);
    std::puts("  report.txt, report.csv");
    std::printf("  %s\n", examples::draw(folder, loaded).c_str());
    return 0;
} catch (std::exception const& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 1;
}
