// Limits to prove, tolerances, joints, clamps and guards of a job file.

#include "jobs.hpp"
#include "seamhold/file/job.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <string>

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double degree = std::numbers::pi / 180;

JobFile read(std::string const& text) {
    TemporaryFolder const folder;
    return job_from(folder.file("job.toml", text));
}

/// What is said about a job file, from its row and column on.
std::string refused(std::string const& text) {
    TemporaryFolder const folder;
    auto const file = folder.file("job.toml", text);
    return message_of([&] { (void)job_from(file); });
}

/// The small job with more keys in [limits], or with more tables at its end.
std::string limits_with(std::string const& keys) {
    return with(small_job, "incidence_deg = 30\n", "incidence_deg = 30\n" + keys);
}

/// An arm whose wrist is spherical: the numbers are those of the textbook arm of the tray, limits invented.
std::string arm(std::string const& first_joint, std::string const& keys) {
    return R"([arm]
convention = "standard_dh"
joints = [
    { d_mm = 0, a_mm = 0, alpha_deg = 90)" +
           first_joint + R"( },
    { d_mm = 0, a_mm = 431.8, alpha_deg = 0 },
    { d_mm = 150.05, a_mm = 20.3, alpha_deg = -90 },
    { d_mm = 431.8, a_mm = 0, alpha_deg = 90 },
    { d_mm = 0, a_mm = 0, alpha_deg = -90 },
    { d_mm = 0, a_mm = 0, alpha_deg = 0, acceleration_deg_s2 = 500 },
]
cell_from_base = { position_mm = [0, 0, 0], rotation_zyx_deg = [0, 0, 0] }
)" + keys;
}

std::string const branch =
    R"(branch = { shoulder = "front", elbow = "low", wrist = "negative", near_deg = [0, 0, 90, 0, 0, -180] }
)";

std::string const clamps = R"([beam_cone]
radius_at_head_mm = 12
radius_at_spot_mm = 0.5
clearance_mm = 3
[[clamp]]
name = "block"
stands_on = "part"
box = { position_mm = [10, 20, 30], rotation_zyx_deg = [90, 0, 0], size_mm = [1, 2, 3] }
[[clamp]]
name = "bar"
stands_on = "cell"
bar = { from_mm = [0, 0, 0], to_mm = [0, 0, 100], radius_mm = 8 }
[[clamp]]
name = "knob"
stands_on = "part"
ball = { at_mm = [1, 2, 3], radius_mm = 4 }
[[clamp]]
name = "wedge"
stands_on = "part"
hull = { points_mm = [[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10]], rounding_mm = 0.5 }
)";

std::string const guards = R"([[guard]]
name = "floor"
axis = [0, 0, -2]
half_angle_deg = 40
)";

} // namespace

TEST_CASE("what a job file does not say about proofs is no limit and no tolerance") {
    auto const job = read(small_job);
    CHECK(job.dynamics.mirror_jerk == no_limit);
    CHECK(job.dynamics.focus_acceleration == no_limit);
    CHECK(job.dynamics.rms_window == 0);
    CHECK(job.dynamics.thermal_time == 0);
    CHECK(job.limits.least_incidence == 0);
    CHECK(job.limits.along.low == -quarter_turn);
    CHECK(job.limits.across.high == quarter_turn);
    CHECK(job.limits.spot_speed == no_limit);
    CHECK(job.limits.turning_share == no_limit);
    CHECK_FALSE(job.proof.options.change.box.any());
    CHECK(job.proof.options.tolerance == ProofOptions{}.tolerance);
    CHECK(job.proof.cycle == 0);
    CHECK_FALSE(job.joints);
    CHECK_FALSE(job.surroundings);
}

TEST_CASE("limits of the head and of seams, in SI") {
    auto const head = read(head_with("mirror_jerk_rad_s3 = 3e7\nfocus_acceleration_mm_s2 = 5000\n"
                                     "rms_window_ms = 100\nthermal_time_s = 12\n"))
                          .dynamics;
    CHECK(head.mirror_jerk == 3e7);
    CHECK(head.focus_acceleration == 5);
    CHECK(head.rms_window == 0.1);
    CHECK(head.thermal_time == 12);
    auto const job =
        read(limits_with("least_incidence_deg = 3\nalong_deg = [-20, 10]\nacross_deg = [-9, 18]\n"
                         "spot_speed_m_per_min = 30\nturning_share = 0.5\ncycle_s = 4\n"
                         "tolerance_percent = 1\nbox = { part_shift_mm = 0.2, part_turn_deg = 0.1, "
                         "path_shift_mm = 0.3, path_turn_deg = 0.05, delay_ms = 2 }\n"));
    CHECK(std::abs(job.limits.least_incidence - 3 * degree) < 1e-17);
    CHECK(std::abs(job.limits.along.low + 20 * degree) < 1e-16);
    CHECK(std::abs(job.limits.along.high - 10 * degree) < 1e-16);
    CHECK(std::abs(job.limits.across.low + 9 * degree) < 1e-16);
    CHECK(std::abs(job.limits.across.high - 18 * degree) < 1e-16);
    CHECK(job.limits.spot_speed == 0.5);
    CHECK(job.limits.turning_share == 0.5);
    CHECK(job.proof.cycle == 4);
    CHECK(job.proof.options.tolerance == 0.01);
    auto const& box = job.proof.options.change.box;
    CHECK(box.part_shift == 2e-4);
    CHECK(std::abs(box.part_turn - 0.1 * degree) < 1e-18);
    CHECK(std::abs(box.path_shift - 3e-4) < 1e-18);
    CHECK(std::abs(box.path_turn - 0.05 * degree) < 1e-18);
    CHECK(box.delay == 0.002);
    // They are the job's when it is put together.
    TemporaryFolder const folder;
    auto const loaded = loaded_from(
        folder.file("job.toml", limits_with("spot_speed_m_per_min = 30\nbox.delay_ms = 1\n") + guards),
        folder.file("log.csv", resting_log()));
    CHECK(loaded.job.limits.spot_speed == 0.5);
    CHECK(loaded.proof.options.change.box.delay == 0.001);
    REQUIRE(loaded.surroundings);
    CHECK(loaded.surroundings->guarded.has_value());
}

TEST_CASE("what is refused of them says where") {
    auto const in_limits = [](std::string const& keys, std::string const& key) {
        auto const text = limits_with(keys + "\n");
        auto const row = place_of(keys, text);
        auto const place = "job.toml:" + row.substr(0, row.find(':')) + ":" +
                           std::to_string(keys.find("= ") + 3) + ": limits." + key;
        auto const message = refused(text);
        CAPTURE(message);
        CHECK(message.find(place + ": ") == 0);
        return message;
    };
    CHECK(in_limits("least_incidence_deg = 30", "least_incidence_deg").find("above 0 and below 30") !=
          std::string::npos);
    in_limits("along_deg = [5, 5]", "along_deg");
    in_limits("across_deg = [-91, 5]", "across_deg");
    in_limits("spot_speed_m_per_min = 0", "spot_speed_m_per_min");
    in_limits("tolerance_percent = 50", "tolerance_percent");
    // A2 ends at 0.65 + 0.05 s and A1 starts at 0.1 s.
    CHECK(in_limits("cycle_s = 0.5", "cycle_s").find("0.6000 s") != std::string::npos);
    CHECK(refused(limits_with("box = { part_turn_deg = 6 }\n"))
              .find("limits.box.part_turn_deg: 6 is not allowed") != std::string::npos);
    CHECK(
        refused(limits_with("box = { shift_mm = 6 }\n")).find("limits.box.shift_mm: this key is not known") !=
        std::string::npos);
    CHECK(refused(head_with("rms_window_ms = 0\n")).find("head.rms_window_ms: 0 is not allowed") !=
          std::string::npos);
}

TEST_CASE("an arm's joints: recorded, or from its inverse where the log is of flange poses") {
    auto const recorded = read(small_job + arm(", range_deg = [-160, 150], velocity_deg_s = 80", ""));
    CHECK(recorded.arm);
    REQUIRE(recorded.joints);
    CHECK_FALSE(recorded.joints->inverse);
    auto const& first = recorded.joints->limits[0];
    CHECK(std::abs(first.position.low + 160 * degree) < 1e-15);
    CHECK(std::abs(first.position.high - 150 * degree) < 1e-15);
    CHECK(std::abs(first.velocity - 80 * degree) < 1e-15);
    CHECK(first.acceleration == no_limit);
    CHECK(recorded.joints->limits[1].position.high == no_limit);
    CHECK(std::abs(recorded.joints->limits[5].acceleration - 500 * degree) < 1e-14);

    auto const inverse =
        read(small_job + arm("", branch + "least_wrist_deg = 30\nleast_from_axis_1_mm = 5\n"));
    CHECK_FALSE(inverse.arm); // the log is of flange poses
    REQUIRE(inverse.joints);
    REQUIRE(inverse.joints->inverse);
    CHECK(inverse.joints->branch == ArmBranch{Shoulder::front, Elbow::low, Wrist::negative});
    CHECK(std::abs(inverse.joints->near[2] - 90 * degree) < 1e-15);
    CHECK(std::abs(inverse.joints->near[5] + 180 * degree) < 1e-15);
    CHECK(std::abs(inverse.joints->least_wrist_sine - 0.5) < 1e-15);
    CHECK(inverse.joints->least_from_axis_1 == 0.005);

    CHECK(refused(small_job + arm(", velocity_deg_s = 0", ""))
              .find("arm.joints.velocity_deg_s: 0 is not allowed") != std::string::npos);
    CHECK(refused(small_job + arm(", kind = \"prismatic\"", ""))
              .find("arm.joints: limits of joints and a branch") != std::string::npos);
    CHECK(refused(small_job + arm("", with(branch, "\"low\"", "\"middle\""))).find("arm.branch.elbow: ") !=
          std::string::npos);
    // Axes 1 and 2 not at right angles: no closed form.
    CHECK(
        refused(with(small_job + arm("", branch), "alpha_deg = 90", "alpha_deg = 80")).find("arm.joints: ") !=
        std::string::npos);
    // Without `branch` these belong to nothing.
    CHECK(refused(small_job + arm("", "least_wrist_deg = 3\n"))
              .find("least_wrist_deg: this key is not known") != std::string::npos);
}

TEST_CASE("clamps on the part and in the cell, and guards") {
    auto const job = read(small_job + clamps + guards);
    REQUIRE(job.surroundings);
    auto const& around = *job.surroundings;
    CHECK(around.beam.radius_at_head == 0.012);
    CHECK(around.beam.radius_at_spot == 5e-4);
    CHECK(around.beam.clearance == 0.003);
    REQUIRE(around.on_part.size() == 3);
    REQUIRE(around.in_cell.size() == 1);
    CHECK(around.on_part[0].name() == "block");
    auto const block = around.on_part[0].box(0);
    // Turned by 90° about z, its x runs along y and its y against x: from (10 − 2, 20, 30) on.
    CHECK(std::abs(block.low.x - 0.008) < 1e-15);
    CHECK(std::abs(block.high.x - 0.010) < 1e-15);
    CHECK(std::abs(block.low.y - 0.020) < 1e-15);
    CHECK(std::abs(block.high.y - 0.021) < 1e-15);
    CHECK(std::abs(block.low.z - 0.030) < 1e-15);
    CHECK(std::abs(block.high.z - 0.033) < 1e-15);
    CHECK(around.in_cell[0].name() == "bar");
    CHECK(around.in_cell[0].shape(0).radius == 0.008);
    CHECK(around.in_cell[0].shape(0).points.size() == 2);
    CHECK(around.on_part[1].shape(0).radius == 0.004);
    CHECK(around.on_part[1].shape(0).points[0].y == 0.002);
    CHECK(around.on_part[2].shape(0).points.size() == 4);
    CHECK(around.on_part[2].shape(0).radius == 5e-4);
    REQUIRE(around.guarded);
    CHECK(around.guarded->cones()[0].name == "floor");
    CHECK(around.guarded->cones()[0].axis.z == -1);
    CHECK(std::abs(around.guarded->cones()[0].half_angle - 40 * degree) < 1e-15);
}

TEST_CASE("a clamp from an STL file beside the job file") {
    TemporaryFolder const folder;
    folder.file("clamp.stl",
                "solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 10 0 0\nvertex 0 20 0\n"
                "endloop\nendfacet\nendsolid\n");
    std::string const from_file = small_job + R"([beam_cone]
radius_at_head_mm = 12
radius_at_spot_mm = 0.5
clearance_mm = 3
[[clamp]]
name = "scanned"
stands_on = "cell"
file = "clamp.stl"
unit = "mm"
position_mm = [100, 0, 0]
rotation_zyx_deg = [0, 0, 0]
)";
    auto const job = job_from(folder.file("job.toml", from_file));
    REQUIRE(job.surroundings);
    REQUIRE(job.surroundings->in_cell.size() == 1);
    auto const box = job.surroundings->in_cell[0].box(0);
    CHECK(std::abs(box.low.x - 0.1) < 1e-15);
    CHECK(std::abs(box.high.x - 0.11) < 1e-15);
    CHECK(std::abs(box.high.y - 0.02) < 1e-15);
    auto const missing = folder.file("missing.toml", with(from_file, "clamp.stl", "none.stl"));
    CHECK(message_of([&] { (void)job_from(missing); }).find("none.stl") == 0);
}

TEST_CASE("what is refused of clamps and guards says where") {
    auto const says = [](std::string const& text, std::string const& words) {
        auto const message = refused(text);
        CAPTURE(message);
        CHECK(message.find("job.toml:") == 0);
        CHECK(message.find(words) != std::string::npos);
    };
    says(small_job + clamps.substr(clamps.find("[[clamp]]")), "beam_cone: this key is missing");
    says(with(small_job + clamps, "stands_on = \"part\"", "stands_on = \"floor\""),
         "clamp.stands_on: \"floor\" is not allowed");
    says(with(small_job + clamps, "size_mm = [1, 2, 3]", "size_mm = [1, 0, 3]"), "clamp.box.size_mm: ");
    says(with(small_job + clamps, "radius_mm = 8", "radius_mm = 0"), "clamp.bar.radius_mm: 0 is not allowed");
    says(with(small_job + clamps, "radius_mm = 8", "width_mm = 8"),
         "clamp.bar.radius_mm: this key is missing");
    says(with(small_job + clamps, "ball = {", "balls = {"), "exactly one of box, bar, ball, hull and file");
    says(with(small_job + clamps, "name = \"knob\"", "name = \"a,b\""), "clamp.name: ");
    says(with(small_job + guards, "half_angle_deg = 40", "half_angle_deg = 90"),
         "guard.half_angle_deg: 90 is");
    says(with(small_job + guards, "axis = [0, 0, -2]", "axis = [0, 0, 0]"), "guard.axis: ");
}
