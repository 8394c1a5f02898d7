#include "seamhold/file/job.hpp"

#include "jobs.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::message_of;
using seamhold::test::place_of;
using seamhold::test::small_job;
using seamhold::test::TemporaryFolder;
using seamhold::test::with;

namespace {

constexpr double pi = 3.14159265358979323846;

std::string const arm_table = R"([arm]
convention = "modified_dh"
joints = [
    { d_mm = 100, a_mm = 0, alpha_deg = 0 },
    { d_mm = 0, a_mm = 10, alpha_deg = -90, offset_deg = -90 },
    { d_mm = 0, a_mm = 300, alpha_deg = 0 },
    { d_mm = 310, a_mm = 15, alpha_deg = -90, kind = "prismatic" },
    { d_mm = 0, a_mm = 0, alpha_deg = 90, kind = "revolute" },
    { d_mm = 0, a_mm = 0, alpha_deg = -90 },
]
cell_from_base = { position_mm = [1, 2, 3], rotation_xyz_deg = [0, 0, 90] }
last_from_flange = { position_mm = [0, 0, 50], quaternion_wxyz = [1, 0, 0, 0] }
)";

} // namespace

TEST_CASE("a job file is read in SI units") {
    TemporaryFolder const folder;
    JobFile const job = seamhold::test::job_from(folder.file("job.toml", small_job));
    CHECK(job.title == "A plate");
    CHECK(job.log.poses == PosesAre::measured);
    CHECK(job.log.stamps == StampsAre::sampling);
    CHECK(job.log.max_gap == 0.02);
    CHECK(job.log.repeated_rows == RepeatedRows::keep);
    CHECK(job.log.times_from == TimesFrom::clock);
    CHECK_FALSE(job.arm.has_value());
    auto const& head = std::get<MirrorPair<>>(job.head.choice());
    CHECK(head.separation == 0.04);
    CHECK(head.x_range.high == doctest::Approx(10 * pi / 180).epsilon(1e-15));
    CHECK(head.y_range.low == -head.x_range.high);
    CHECK(head.focus_path == 0.54);
    CHECK(head.focus_ratio == 8);
    CHECK(head.focus_range.low == -0.01);
    CHECK(head.field_radius == 0.17);
    CHECK(job.dynamics.mirror_velocity == 20);
    CHECK(job.dynamics.mirror_acceleration == 15000);
    CHECK(job.dynamics.mirror_rms_acceleration == 4000);
    CHECK(job.dynamics.mirror_lag == 0.0005);
    CHECK(job.dynamics.settling == 0.002);
    CHECK(job.dynamics.focus_velocity == 0.1);
    CHECK(job.dynamics.focus_lag == 0.005);
    CHECK(job.largest_incidence == doctest::Approx(pi / 6).epsilon(1e-15));
    CHECK(job.flange_from_head.rotation.m[2][2] == -1);
    REQUIRE(job.seams.size() == 2);
    CHECK(job.seams[0].name == "A1");
    CHECK(job.seams[0].start == 0.1);
    CHECK(job.seams[0].seam.duration() == doctest::Approx(0.5).epsilon(1e-15)); // 100 mm at 12 m/min
    auto const middle = job.seams[0].seam.at(0.25).position;
    CHECK(std::abs(middle.x) < 1e-15);
    CHECK(middle.y == doctest::Approx(0.02));
    CHECK(job.seams[1].seam.duration() == 0.05);

    std::string const no_field = with(small_job, "field_diameter_mm = 340\n", "");
    auto const wide = seamhold::test::job_from(folder.file("wide.toml", no_field)).head;
    CHECK(std::isinf(std::get<MirrorPair<>>(wide.choice()).field_radius));
    CHECK(seamhold::test::job_from(folder.file("crlf.toml", "\xef\xbb\xbf" + with(small_job, "\n", "\r\n")))
              .title == "A plate");
}

TEST_CASE("a job and its log make a chain that aims where the geometry says") {
    TemporaryFolder const folder;
    auto const loaded = seamhold::test::loaded_from(folder.file("job.toml", small_job),
                                                    folder.file("log.csv", seamhold::test::resting_log()));
    CHECK(loaded.log.rows == 101);
    // At 0.475 s the spot belongs at (25, 20, 0) mm; the head looks down from 500 mm, its y against the
    // cell's: (25, −20, 500) mm in the head. tan 2θy = y / z, tan 2θx = x / (e + √(y² + z²)), written out
    // here.
    auto const followed = loaded.job.chain.follow(loaded.job.seams[0].seam, 0.375, 0.475);
    double const to_axis = std::sqrt(20.0 * 20 + 500.0 * 500);
    // The angles are below 0.05 and the lengths below 1 m: a few units in the last place.
    CHECK(std::abs(followed.aim.command.y_mirror - std::atan(-20.0 / 500) / 2) < 1e-16);
    CHECK(std::abs(followed.aim.command.x_mirror - std::atan(25 / (40 + to_axis)) / 2) < 1e-16);
    double const path = std::sqrt(25.0 * 25 + (40 + to_axis) * (40 + to_axis)) / 1000;
    CHECK(std::abs(followed.aim.command.focus - (path - 0.54) / 8) < 1e-16);
    CHECK(followed.status == Status::ok);
}

TEST_CASE("every shape, a weave, a focus offset, and each way to say a rotation") {
    TemporaryFolder const folder;
    std::string const seams = R"([[seam]]
name = "arc"
face = "lid"
start_s = 2
speed_m_per_min = 16
shape = "arc"
center_mm = [10, 20]
radius_mm = 5
start_deg = 90
turn_deg = -90
focus_offset_mm = 2
[[seam]]
name = "circle"
face = "side"
start_s = 1
speed_m_per_min = 16
shape = "circle"
center_mm = [0, 0]
diameter_mm = 20
start_deg = 0
clockwise = true
weave = { frequency_Hz = 300, amplitude_mm = 0.5 }
[[face]]
name = "side"
position_mm = [0, 0, 100]
quaternion_wxyz = [0.7071067811865476, 0, 0.7071067811865476, 0]
)";
    JobFile const job = seamhold::test::job_from(folder.file("job.toml", small_job + seams));
    REQUIRE(job.seams.size() == 4);
    auto const& circle = job.seams[2]; // in order of time, not of the file
    auto const& arc = job.seams[3];
    CHECK(circle.name == "circle");
    CHECK(arc.name == "arc");
    CHECK(arc.seam.focus_offset == 0.002);
    auto const end = arc.seam.at(arc.seam.duration()).position;
    CHECK(std::abs(end.x - 0.015) < 1e-15); // (10 + 5, 20) mm after a quarter clockwise from the top
    CHECK(std::abs(end.y - 0.02) < 1e-15);
    CHECK(circle.seam.length() == doctest::Approx(0.02 * pi).epsilon(1e-15));
    // The side's face is turned by +90° about y: its x runs along the part's −z, its z along +x.
    auto const start = circle.seam.at(0.0);
    CHECK(std::abs(start.position.z - (0.1 - 0.01)) < 1e-15);
    CHECK(std::abs(start.normal.x - 1) < 1e-15);
    // A quarter of a weave's period, 1/1200 s: half a millimetre aside, clockwise travel to −y, so aside is
    // +x of the face, radially in or out by 0.5 mm beside the way of the circle itself.
    auto const aside = circle.seam.at(1.0 / 1200).position;
    CHECK(std::abs(std::hypot(aside.y, aside.z - 0.1) - 0.0105) < 1e-12);

    std::string const turning = with(
        small_job, "[part]\n",
        "[part]\nturn = { axis_point_mm = [100, 0, 0], axis = [0, 0, 2], velocity_deg_s = 90, at_s = 1 }\n");
    JobFile const turned = seamhold::test::job_from(folder.file("turn.toml", turning));
    auto const at_two =
        turned.cell_from_part.at(2.0); // a quarter turn about (100, 0) mm: zero goes to (100, −100)
    CHECK(std::abs(at_two.origin.x - 0.1) < 1e-15);
    CHECK(std::abs(at_two.origin.y + 0.1) < 1e-15);
    CHECK(std::abs(turned.cell_from_part.at(1.0).origin.x) < 1e-15);

    // x-y-z: R = Rx(90°) Ry(0) Rz(90°) takes x to z; z-y-x with the same numbers takes x to y.
    std::string const part = "[part]\nposition_mm = [0, 0, 0]\nrotation_zyx_deg = [0, 0, 0]";
    JobFile const xyz = seamhold::test::job_from(
        folder.file("xyz.toml", with(small_job, part,
                                     "[part]\nposition_mm = [0, 0, 0]\nrotation_xyz_deg = [90, 0, 90]")));
    CHECK(std::abs(xyz.cell_from_part.at(0.0).rotation.m[2][0] - 1) < 1e-15);
    JobFile const zyx = seamhold::test::job_from(
        folder.file("zyx.toml", with(small_job, part,
                                     "[part]\nposition_mm = [0, 0, 0]\nrotation_zyx_deg = [90, 0, 90]")));
    CHECK(std::abs(zyx.cell_from_part.at(0.0).rotation.m[1][0] - 1) < 1e-15);
}

TEST_CASE("an arm is read with its convention, base and flange") {
    TemporaryFolder const folder;
    JobFile const job = seamhold::test::job_from(folder.file("job.toml", small_job + arm_table));
    REQUIRE(job.arm.has_value());
    CHECK(job.arm->kinds[3] == JointKind::prismatic);
    CHECK(job.arm->kinds[4] == JointKind::revolute);
    CHECK(job.arm->cell_from_base.origin.z == 0.003);
    CHECK(job.arm->cell_from_base.rotation.m[1][0] == 1);
    std::array<DhRow, 6> rows{};
    rows[0] = {0.1, 0, 0};
    rows[1] = {0, 0.01, -pi / 2, -pi / 2};
    rows[2] = {0, 0.3, 0};
    rows[3] = {0.31, 0.015, -pi / 2, 0, JointKind::prismatic};
    rows[4] = {0, 0, pi / 2};
    rows[5] = {0, 0, -pi / 2};
    Pose<Flange, Flange> last = Pose<Flange, Flange>::identity();
    last.origin.z = 0.05;
    std::array<double, 6> const q{0.1, 0.2, 0.3, 0.4, 0.5, 0.6};
    auto const truth = SerialArm<6>::modified_dh(rows, last).forward(q);
    auto const read = std::get<SerialArm<6>>(job.arm->arm).forward(q);
    CHECK(std::abs(read.origin.x - truth.origin.x) < 1e-15);
    CHECK(std::abs(read.origin.y - truth.origin.y) < 1e-15);
    CHECK(std::abs(read.origin.z - truth.origin.z) < 1e-15);
    std::string const seven =
        with(arm_table, "joints = [", "joints = [ { d_mm = 1, a_mm = 0, alpha_deg = 0 },");
    CHECK(seamhold::test::job_from(folder.file("job.toml", small_job + seven)).arm->arm.index() == 1);
}

TEST_CASE("a job file with a fault is refused with row, column, key, what was given and what is allowed") {
    TemporaryFolder const folder;
    struct Case {
        std::string old, by;
        std::string at; ///< the text at whose first character the fault is
        std::string message;
    };
    for (Case const& c : std::vector<Case>{
             {"mirror_range_deg = 10", "mirror_range_deg = 50", "50\nmirror_vel",
              "head.mirror_range_deg: 50 is not allowed: it must be above 0 and below 45"},
             {"mirror_range_deg = 10", "mirror_range_deg = \"10\"", "\"10\"",
              "head.mirror_range_deg: a number is needed, given is the text \"10\""},
             {"mirror_range_deg = 10", "mirror_range_deg = nan", "nan",
              "head.mirror_range_deg: nan is not allowed: it must be above 0 and below 45"},
             {"mirror_range_deg", "mirror_range",
              "mirror_range =", "head.mirror_range_deg: this key is missing"},
             {"settling_ms = 2", "settling_ms = -2.5", "-2.5",
              "head.settling_ms: -2.5 is not allowed: it must be at least 0"},
             {"settling_ms = 2", "settling_ms = 2\nvoltage = 3", "voltage",
              "head.voltage: this key is not known here; known are "},
             {"focus_ratio = 8", "focus_ratio = 0", "0\nfocus_range",
              "head.focus_ratio: 0 is not allowed: it must be other than 0"},
             {"focus_range_mm = [-10, 10]", "focus_range_mm = [10, -10]", "[10, -10]",
              "head.focus_range_mm: the first must be below the second"},
             {"focus_range_mm = [-10, 10]", "focus_range_mm = [-10]", "[-10]",
              "head.focus_range_mm: [number, number] is needed, given is a list of 1"},
             {"focus_range_mm = [-10, 10]", "focus_range_mm = [-10, true]", "true",
              "head.focus_range_mm: [number, number] is needed, given is true"},
             {"focus_path_mm = 540", "focus_path_mm = 40", "40\nfocus_ratio",
              "head.focus_path_mm: must be more than mirror_separation_mm: the path starts at the first "
              "mirror"},
             {"poses = \"measured\"", "poses = \"guessed\"", "\"guessed\"",
              "log.poses: \"guessed\" is not allowed; allowed are \"measured\", \"commanded\""},
             {"stamps = \"sampling\"\n", "", "[log]", "log.stamps: this key is missing"},
             {"max_gap_ms = 20", "max_gap_ms = 20\ncolumns = \"time_s\"", "\"time_s\"",
              "log.columns: a list of texts is needed, given is the text \"time_s\""},
             {"max_gap_ms = 20", "max_gap_ms = 20\nrepeated_rows = \"forget\"", "\"forget\"",
              "log.repeated_rows: \"forget\" is not allowed; allowed are \"keep\", \"drop\", \"retime\""},
             {"max_gap_ms = 20", "max_gap_ms = 20\nkeep_rows = { column = \"kind\" }", "{ column",
              "log.keep_rows.equals: this key is missing"},
             {"[mount]\nposition_mm = [0, 0, 0]", "[mount]\nposition_mm = [0, 0]", "[0, 0]",
              "mount.position_mm: [number, number, number] is needed, given is a list of 2"},
             {"rotation_zyx_deg = [0, 0, 180]\n", "", "[mount]",
              "mount.rotation_zyx_deg: exactly one of rotation_zyx_deg, rotation_xyz_deg and quaternion_wxyz "
              "is needed"},
             {"rotation_zyx_deg = [0, 0, 180]", "quaternion_wxyz = [0.5, 0.5, 0, 0]", "[0.5",
              "mount.quaternion_wxyz: a quaternion of norm 0.707"},
             {"rotation_zyx_deg = [0, 0, 180]",
              "rotation_zyx_deg = [0, 0, 180]\nquaternion_wxyz = [1, 0, 0, 0]", "[0, 0, 180]",
              "mount.rotation_zyx_deg: exactly one of rotation_zyx_deg, rotation_xyz_deg and quaternion_wxyz "
              "is needed"},
             {"[limits]\nincidence_deg = 30\n", "", "title", "limits: this key is missing"},
             {"incidence_deg = 30", "incidence_deg = 91", "91",
              "limits.incidence_deg: 91 is not allowed: it must be above 0 and at most 90"},
             {"face = \"lid\"", "face = \"led\"", "\"led\"",
              "seam.face: \"led\" is no face of this file; there are \"lid\""},
             {"shape = \"straight\"", "shape = \"zigzag\"", "\"zigzag\"",
              "seam.shape: \"zigzag\" is not allowed; allowed are \"straight\", \"arc\", \"circle\", "
              "\"point\", \"ring\", \"c\", \"staple\", \"s\", \"slot\", \"ellipse\", \"wave\", \"spiral\", "
              "\"polyline\", \"curve\", \"taught\", \"lettering\""},
             {"shape = \"straight\"", "shape = \"circle\"", "[[seam]]",
              "seam.center_mm: this key is missing"},
             {"to_mm = [50, 20]", "to_mm = [50, 20]\nradius_mm = 3", "radius_mm",
              "seam.radius_mm: this key is not known here; known are name, shape, face, start_s, "
              "speed_m_per_min, travel, weave, focus_offset_mm, power, from_mm, to_mm, reversed, row, grid, "
              "round"},
             {"to_mm = [50, 20]", "to_mm = [-50, 20]", "[-50, 20]\n[[seam",
              "seam.to_mm: a straight seam needs two different ends; both are (-0.050000, 0.020000) m"},
             {"speed_m_per_min = 12", "speed_m_per_min = 0", "0\nshape",
              "seam.speed_m_per_min: 0 is not allowed: it must be above 0"},
             {"name = \"A1\"", "name = \"A,1\"", "\"A,1\"", "seam.name: \"A,1\" is no name: "},
             {"name = \"A1\"", "name = \"\"", "\"\"", "seam.name: \"\" is no name: "},
             {"name = \"A2\"", "name = \"A1\"", "\"A1\"\nface = \"lid\"\nstart_s = 0.65",
              "seam.name: \"A1\" is the name of another seam before"},
             {"start_s = 0.65", "start_s = 0.55", "0.55",
              "seam.start_s: seam A2 starts at 0.55 s, before seam A1 ends at 0.600000 s: one beam welds one "
              "seam at a time"},
             {"title = \"A plate\"", "title = 3", "3\n", "title: a text in quotes is needed, given is 3"},
             {"hold_s = 0.05", "hold_s = 0.05\nweave = { frequency_Hz = 300, amplitude_mm = -1 }", "-1 }",
              "seam.weave.amplitude_mm: -1 is not allowed: it must be above 0"},
         }) {
        CAPTURE(c.by);
        std::string const text = with(small_job, c.old, c.by);
        REQUIRE_FALSE(text.empty());
        std::string const found =
            message_of([&] { seamhold::test::job_from(folder.file("job.toml", text)); });
        std::string const message =
            "job.toml:" +
            (c.message.find("missing") != std::string::npos && c.at == "mirror_range ="
                 ? place_of("[head]", text)
                 : place_of(c.at, text)) +
            ": " + c.message;
        CHECK(found.substr(0, message.size()) == message);
    }
    CHECK(message_of([&] { seamhold::test::job_from(folder / "none.toml"); }) ==
          "none.toml: cannot be read: No such file or directory");
    CHECK(message_of([&] {
              seamhold::test::job_from(folder.file("job.toml", ""));
          }).find("title: this key is missing") != std::string::npos);
    CHECK(message_of([&] {
              seamhold::test::job_from(folder.file("job.toml", small_job + "broken = = 3\n"));
          }).find("job.toml:" + place_of("= 3\n#", small_job + "broken = = 3\n#") + ": ") == 0);
    std::string const five = with(arm_table, "    { d_mm = 100, a_mm = 0, alpha_deg = 0 },\n", "");
    CHECK(message_of([&] {
              seamhold::test::job_from(folder.file("job.toml", small_job + five));
          }).find("arm.joints: an arm of 5 joints is not allowed; allowed are 6 and 7") != std::string::npos);
    CHECK(message_of([&] {
              seamhold::test::job_from(
                  folder.file("job.toml", with(small_job, "[[face]]\n",
                                               "[[face]]\nname = \"lid\"\nposition_mm = [0, 0, "
                                               "0]\nrotation_zyx_deg = [0, 0, 0]\n[[face]]\n")));
          }).find("face.name: \"lid\" is the name of another face before") != std::string::npos);
}

TEST_CASE("a key that nobody knows is refused in every table") {
    TemporaryFolder const folder;
    std::string const whole =
        with(with(with(small_job, "[part]\n",
                       "[part]\nturn = { axis_point_mm = [0, 0, 0], axis = [0, 0, 1], velocity_deg_s = 1, "
                       "at_s = 0 }\n"),
                  "max_gap_ms = 20", "max_gap_ms = 20\nkeep_rows = { column = \"kind\", equals = \"pose\" }"),
             "hold_s = 0.05", "hold_s = 0.05\nweave = { frequency_Hz = 300, amplitude_mm = 1 }") +
        arm_table;
    REQUIRE(message_of([&] { seamhold::test::job_from(folder.file("job.toml", whole)); }) == "no error");
    struct Case {
        std::string table, key;
    };
    for (Case const& c : std::vector<Case>{{"title = ", "stray"},
                                           {"poses = ", "log.stray"},
                                           {"equals = ", "log.keep_rows.stray"},
                                           {"focus_ratio = ", "head.stray"},
                                           {"rotation_zyx_deg = [0, 0, 180]", "mount.stray"},
                                           {"turn = ", "part.stray"},
                                           {"at_s = ", "part.turn.stray"},
                                           {"incidence_deg = ", "limits.stray"},
                                           {"name = \"lid\"", "face.stray"},
                                           {"from_mm = ", "seam.stray"},
                                           {"hold_s = ", "seam.stray"},
                                           {"amplitude_mm = ", "seam.weave.stray"},
                                           {"convention = ", "arm.stray"},
                                           {"d_mm = 310", "arm.joints.stray"},
                                           {"position_mm = [1, 2, 3]", "arm.cell_from_base.stray"},
                                           {"position_mm = [0, 0, 50]", "arm.last_from_flange.stray"}}) {
        CAPTURE(c.table);
        // In an inline table a comma parts the keys, elsewhere the end of the line does.
        bool const in_line = c.table.find("equals") == 0 || c.table.find("at_s") == 0 ||
                             c.table.find("amplitude") == 0 || c.table.find("d_mm") == 0 ||
                             c.key.find("_from_") != std::string::npos;
        std::string const text = with(whole, c.table, (in_line ? "stray = 1, " : "stray = 1\n") + c.table);
        CHECK(
            message_of([&] {
                seamhold::test::job_from(folder.file("job.toml", text));
            }).find("job.toml:" + place_of("stray", text) + ": " + c.key + ": this key is not known here") ==
            0);
    }
}
