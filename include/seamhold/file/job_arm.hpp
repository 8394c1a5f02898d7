#ifndef SEAMHOLD_FILE_JOB_ARM_HPP
#define SEAMHOLD_FILE_JOB_ARM_HPP

#include "seamhold/file/job_pose.hpp"
#include "seamhold/file/log_declaration.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <optional>
#include <utility>
#include <variant>
#include <vector>

/// The arm of a job file: for a log of joint positions, and for what is asked of its joints.
namespace seamhold::detail {

/// What `[arm]` says.
struct ReadArm {
    std::optional<LoggedArm> logged; ///< where the log is of joint positions
    std::optional<JobArm> job;       ///< where something is asked of the joints
};

template <std::size_t N>
SerialArm<int(N)> arm_from(std::vector<DhRow> const& rows, bool modified,
                           Pose<Flange, Flange> const& last_from_flange) {
    std::array<DhRow, N> all{};
    std::copy(rows.begin(), rows.end(), all.begin());
    return modified ? SerialArm<int(N)>::modified_dh(all, last_from_flange)
                    : SerialArm<int(N)>::standard_dh(all, last_from_flange);
}

/// The limits of one joint; what is not said is no limit.
inline JointLimit read_joint_limit(TomlTable& joint) {
    JointLimit limit{{-no_limit, no_limit}, no_limit, no_limit};
    if (joint.has("range_deg")) {
        auto const range = joint.range("range_deg", {-3600, 3600});
        limit.position = {degrees(range[0]), degrees(range[1])};
    }
    if (joint.has("velocity_deg_s"))
        limit.velocity = degrees_per_second(joint.number("velocity_deg_s", above_zero));
    if (joint.has("acceleration_deg_s2"))
        limit.acceleration = degrees_per_second(joint.number("acceleration_deg_s2", above_zero));
    return limit;
}

/// In which of the eight ways the arm works where the log is of flange poses.
inline ArmBranch read_branch(TomlTable table, std::array<double, 6>& near) {
    ArmBranch branch;
    branch.shoulder =
        table.choice<Shoulder>("shoulder", {{"front", Shoulder::front}, {"back", Shoulder::back}});
    branch.elbow = table.choice<Elbow>("elbow", {{"high", Elbow::high}, {"low", Elbow::low}});
    branch.wrist =
        table.choice<Wrist>("wrist", {{"positive", Wrist::positive}, {"negative", Wrist::negative}});
    if (table.has("near_deg")) {
        near = table.numbers<6>("near_deg");
        for (double& joint : near)
            joint = degrees(joint);
    }
    table.finish();
    return branch;
}

/// What is asked of joints: limits of any of them, or with `branch` the way in which a motion of the flange
/// is run.
inline std::optional<JobArm> read_job_arm(TomlTable& table, LoggedArm const& arm,
                                          std::vector<JointLimit> const& limits, bool limited) {
    bool const branch = table.has("branch");
    if (!branch && !limited)
        return std::nullopt;
    auto const* const six = std::get_if<SerialArm<6>>(&arm.arm);
    bool const turning = std::all_of(arm.kinds.begin(), arm.kinds.end(),
                                     [](JointKind kind) { return kind == JointKind::revolute; });
    if (six == nullptr || !turning)
        table.fail(branch ? "branch" : "joints",
                   "limits of joints and a branch are for arms of six turning joints");
    JobArm job{};
    job.cell_from_base = arm.cell_from_base;
    std::copy(limits.begin(), limits.end(), job.limits.begin());
    if (branch) {
        job.branch = read_branch(table.table("branch"), job.near);
        job.inverse = table.told_where("joints", [&] { return WristInverse(*six); });
        using std::sin;
        job.least_wrist_sine = sin(degrees(table.number_or("least_wrist_deg", 1, {0, 90, true, false})));
        job.least_elbow_sine = sin(degrees(table.number_or("least_elbow_deg", 1, {0, 90, true, false})));
        job.least_from_axis_1 = millimetres(table.number_or("least_from_axis_1_mm", 10, zero_or_more));
    }
    return job;
}

/// `[arm]`. With `branch` the log is of flange poses, else of joint positions.
inline ReadArm read_arm(TomlTable table) {
    bool const modified = table.choice<bool>("convention", {{"standard_dh", false}, {"modified_dh", true}});
    std::vector<DhRow> rows;
    std::vector<JointKind> kinds;
    std::vector<JointLimit> limits;
    bool limited = false;
    for (auto& joint : table.tables("joints")) {
        DhRow row{};
        row.d = millimetres(joint.number("d_mm", any_number));
        row.a = millimetres(joint.number("a_mm", any_number));
        row.alpha = degrees(joint.number("alpha_deg", any_number));
        if (joint.has("kind"))
            row.kind = joint.choice<JointKind>(
                "kind", {{"revolute", JointKind::revolute}, {"prismatic", JointKind::prismatic}});
        row.theta = degrees(joint.number_or("offset_deg", 0, any_number));
        for (char const* const key : {"range_deg", "velocity_deg_s", "acceleration_deg_s2"})
            limited = joint.has(key) || limited;
        limits.push_back(read_joint_limit(joint));
        joint.finish();
        rows.push_back(row);
        kinds.push_back(row.kind);
    }
    if (rows.size() != 6 && rows.size() != 7)
        table.fail("joints", "an arm of " + std::to_string(rows.size()) +
                                 " joints is not allowed; allowed are 6 and 7");
    auto const cell_from_base = read_only_pose<Cell, Base>(table.table("cell_from_base"));
    auto last_from_flange = Pose<Flange, Flange>::identity();
    if (table.has("last_from_flange"))
        last_from_flange = read_only_pose<Flange, Flange>(table.table("last_from_flange"));
    LoggedArm arm = [&]() -> LoggedArm {
        if (rows.size() == 6)
            return {cell_from_base, arm_from<6>(rows, modified, last_from_flange), std::move(kinds)};
        return {cell_from_base, arm_from<7>(rows, modified, last_from_flange), std::move(kinds)};
    }();
    ReadArm read;
    read.job = read_job_arm(table, arm, limits, limited);
    if (!read.job || !read.job->inverse)
        read.logged = std::move(arm);
    table.finish();
    return read;
}

} // namespace seamhold::detail

#endif
