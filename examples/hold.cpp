// The main job. Reads a job file and a recorded flange log; writes the mirror commands of every tick, a
// report that says seam by seam whether the limits hold at samples, by how much and where it is worst, a
// proof that says it for every instant, and pictures.
//
//     hold JOB LOG FOLDER
//
// FOLDER then holds commands.csv, report.txt, report.csv, proof.txt, proof.csv, stretches.csv, and the
// pictures sweep.png, seams.png, limits.png and proof.png.

#include "pictures.hpp"

#include "seamhold/file.hpp"
#include "seamhold/seamhold.hpp"

#include <cstdio>
#include <exception>
#include <filesystem>
#include <vector>

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

    auto const& [options, cycle] = loaded.proof;
    JobProof const proof = prove_job(loaded.job, options, cycle);
    std::vector<SightProof> sights;
    if (loaded.surroundings)
        sights = prove_sight(loaded.job, *loaded.surroundings, options);
    write_text(folder / "proof.txt",
               proof_text(loaded.title, loaded.log, loaded.job.dynamics, proof, sights, loaded.surroundings));
    write_text(folder / "proof.csv", proof_csv(proof, sights));
    write_text(folder / "stretches.csv", proof_stretches_csv(proof));
    std::fputs(("\n" + proof_summary_text(proof, sights, loaded.surroundings)).c_str(), stdout);

    WrittenCommands const written = write_commands(folder / "commands.csv", loaded.job, tick);
    std::printf("\nWRITTEN to %s\n  commands.csv: %zu ticks of 10 µs, light on in %.1f %% of them\n",
                folder.string().c_str(), written.ticks,
                100 * static_cast<double>(written.open) / static_cast<double>(written.ticks));
    if (written.refused > 0)
        std::printf("  the gate stays shut in %zu ticks within seams: see the report\n", written.refused);
    std::puts("  report.txt, report.csv; proof.txt, proof.csv, stretches.csv");
    std::printf("  %s\n", examples::draw(folder, loaded, proof).c_str());
    return 0;
} catch (std::exception const& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 1;
}
