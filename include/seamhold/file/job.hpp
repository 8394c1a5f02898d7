#ifndef SEAMHOLD_FILE_JOB_HPP
#define SEAMHOLD_FILE_JOB_HPP

#include "seamhold/file/head_report.hpp"
#include "seamhold/file/job_arm.hpp"
#include "seamhold/file/job_head.hpp"
#include "seamhold/file/job_limits.hpp"
#include "seamhold/file/job_parts.hpp"
#include "seamhold/file/job_process.hpp"
#include "seamhold/file/job_seam.hpp"
#include "seamhold/file/job_surroundings.hpp"
#include "seamhold/file/log.hpp"
#include "seamhold/file/placing_report.hpp"

#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// A job file as it was read: everything but the recorded motion.
struct JobFile {
    std::string title;
    LogDeclaration log;           ///< what the job says about its log
    std::optional<LoggedArm> arm; ///< where the log is of joint positions
    AnyHead head;                 ///< the ideal pair where nothing else is said
    HeadDynamics dynamics;
    Pose<Flange, Head> flange_from_head;
    AnyPartMotion cell_from_part;
    double largest_incidence;                      ///< rad
    std::vector<ScheduledSeam> seams;              ///< in order of time; start times as the log's, s
    std::optional<Process> process;                ///< where the file has one
    HeadReport head_report;                        ///< how well the head's measurements are met
    PlacingReport placing;                         ///< how the part is met and how the seams lie
    SeamLimits limits = {};                        ///< of every seam
    std::optional<JobArm> joints = {};             ///< where something is asked of the arm's joints
    ProofSettings proof = {};                      ///< how the limits are to be proven
    std::optional<Surroundings> surroundings = {}; ///< clamps and guards, where the file has some
};

/// A job that is ready to be followed, and where it came from.
struct LoadedJob {
    std::string title;
    Job job;
    LogReport log;                                 ///< what was found in the log
    HeadReport head;                               ///< how well the head's measurements are met
    PlacingReport placing;                         ///< how the part is met and how the seams lie
    ProofSettings proof = {};                      ///< how the limits are to be proven
    std::optional<Surroundings> surroundings = {}; ///< clamps and guards, where the file has some
};

/// Reads a job file (TOML; every number has its unit in the key's name). The start times of its seams are
/// seconds of the log's clock from what `log.times_from` says: the clock's own zero, or the log's first row.
/// Files that it names stand relative to its own folder.
/// Throws BadInput, starting with `file:row:column: key: `, for what is not TOML, a key that is missing or
/// not known, a value of the wrong type or out of range, names that stand twice, a face that is not there,
/// shapes, faces, weaves, speeds, powers, joints and clamps that are not possible, corners that nothing says
/// how to pass, a cycle that is shorter than its seams, and seams that overlap in time; for what is wrong in
/// a file that it names, starting with that file.
inline JobFile read_job(std::filesystem::path const& path) {
    std::string const file = path.string();
    toml::table const root = detail::read_toml(path);
    detail::TomlTable table(file, root, "");
    std::string title = table.text("title");
    LogDeclaration log = detail::read_log_declaration(table.table("log"));
    detail::ReadArm arm;
    if (table.has("arm"))
        arm = detail::read_arm(table.table("arm"));
    auto const head = detail::read_head(table.table("head"), path.parent_path());
    std::optional<Process> process;
    if (table.has("process"))
        process = detail::read_process(table.table("process"), head.head);
    auto const flange_from_head = detail::read_only_pose<Flange, Head>(table.table("mount"));
    auto part = detail::read_part(table.table("part"));
    auto limits_table = table.table("limits");
    auto const limits = detail::read_limits(limits_table);
    limits_table.finish();
    auto surroundings = detail::read_surroundings(table, path.parent_path());
    auto const faces = detail::read_faces(table.tables("face"), path.parent_path());
    auto seams = detail::read_seams(table.tables("seam"), faces, {head.head, flange_from_head, part.motion});
    table.finish();
    detail::check_cycle(limits_table, limits.proof, seams.seams);
    return {std::move(title),
            std::move(log),
            std::move(arm.logged),
            head.head,
            head.dynamics,
            flange_from_head,
            std::move(part.motion),
            limits.largest_incidence,
            std::move(seams.seams),
            process,
            head.report,
            {part.touched, std::move(seams.placing)},
            limits.seam,
            arm.job,
            limits.proof,
            std::move(surroundings)};
}

/// A job file and the motion that its log recorded, put together.
inline Job compose(JobFile const& file, AnyFlangeMotion const& cell_from_flange) {
    return {{cell_from_flange, file.cell_from_part, file.flange_from_head, file.head},
            file.dynamics,
            file.largest_incidence,
            file.seams,
            file.process,
            file.limits,
            file.joints};
}

/// Reads a job file, then the log that it declares from the path given, and puts them together. Throws
/// BadInput as `read_job` and `read_log` do.
inline LoadedJob load_job(std::filesystem::path const& job, std::filesystem::path const& log) {
    JobFile file = read_job(job);
    FlangeLog recorded = read_log(log, file.log, file.arm);
    return {file.title,
            compose(file, recorded.motion),
            std::move(recorded.report),
            file.head_report,
            file.placing,
            file.proof,
            file.surroundings};
}

} // namespace seamhold

#endif
