#include "seamhold/file/log.hpp"

#include "seamhold/frame/angles.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::message_of;
using seamhold::test::TemporaryFolder;

namespace {

LogDeclaration declared(double max_gap = 0.02) {
    LogDeclaration log{};
    log.max_gap = max_gap;
    return log;
}

/// A log of poses of the flange, which glides along x at 1 m/s and rests otherwise, every 10 ms.
std::string const gliding = "time_s,x_m,y_m,z_m,qw,qx,qy,qz\n"
                            "0.00,0.00,0.5,1,1,0,0,0\n"
                            "0.01,0.01,0.5,1,1,0,0,0\n"
                            "0.02,0.02,0.5,1,1,0,0,0\n"
                            "0.03,0.03,0.5,1,1,0,0,0\n";

std::string replaced(std::string text, std::string const& old, std::string const& by) {
    auto const found = text.find(old);
    REQUIRE(found != std::string::npos);
    return text.replace(found, old.size(), by);
}

/// An arm of six joints; the third slides.
LoggedArm arm() {
    std::array<DhRow, 6> rows{};
    for (std::size_t i = 0; i < 6; ++i)
        rows[i] = {0.1 * static_cast<double>(i), 0.2, degrees(i % 2 == 0 ? 90 : -90)};
    rows[2].kind = JointKind::prismatic;
    std::vector<JointKind> kinds;
    for (auto const& row : rows)
        kinds.push_back(row.kind);
    return {{from_zyx_angles<Cell, Base>(0.3, 0, 0), {1, 2, 3}}, SerialArm<6>::standard_dh(rows), kinds};
}

/// The largest difference of two poses in any entry.
double difference(Pose<Cell, Flange> const& a, Pose<Cell, Flange> const& b) {
    double largest = std::max({std::abs(a.origin.x - b.origin.x), std::abs(a.origin.y - b.origin.y),
                               std::abs(a.origin.z - b.origin.z)});
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            largest = std::max(largest, std::abs(a.rotation.m[i][k] - b.rotation.m[i][k]));
    return largest;
}

} // namespace

TEST_CASE("a log of poses says where the flange was") {
    TemporaryFolder const folder;
    auto const log = read_log(folder.file("log.csv", gliding), declared());
    auto const pose = log.motion.at(0.015);
    // A straight line at constant speed is its own spline; 1e-15 m is a few units in the last place.
    CHECK(std::abs(pose.origin.x - 0.015) < 1e-15);
    CHECK(std::abs(pose.origin.y - 0.5) < 1e-15);
    CHECK(pose.rotation.m[0][0] == 1);
    CHECK(log.motion.covers(0.03));
    CHECK_FALSE(log.motion.covers(0.031));
    auto const& report = log.report;
    CHECK(report.rows == 4);
    CHECK(report.kept == 4);
    CHECK(report.period == doctest::Approx(0.01));
    CHECK(report.rate() == doctest::Approx(100));
    CHECK(report.repeats == 0);
    CHECK(report.gaps.empty());
    CHECK(report.jitter_worst < 1e-15);
}

TEST_CASE("columns in any order and any unit give the same motion") {
    TemporaryFolder const folder;
    auto const plain = read_log(folder.file("log.csv", gliding), declared());
    for (std::string const text : {
             // quaternion last-first, units of mm and ms, columns that nobody asked for
             "qx,qy,qz,qw,note,time_ms,z_mm,y_mm,x_mm\n0,0,0,1,a,0,1000,500,0\n0,0,0,1,b,10,1000,500,10\n"
             "0,0,0,1,c,20,1000,500,20\n0,0,0,1,d,30,1000,500,30\n",
             "time_us,x_m,y_mm,z_m,qw,qx,qy,qz\n0,0,500,1,1,0,0,0\n10000,.01,500,1,1,0,0,0\n"
             "20000,.02,500,1,1,0,0,0\n3e4,.03,500,1,1,0,0,0\n",
             "time_ns,x_m,y_m,z_m,qw,qx,qy,qz\n0,0,.5,1,-1,0,0,0\n10000000,.01,.5,1,1,0,0,0\n"
             "20000000,.02,.5,1,-1,0,0,0\n30000000,.03,.5,1,1,0,0,0\n", // q and -q are one rotation
         }) {
        CAPTURE(text);
        auto const log = read_log(folder.file("other.csv", text), declared());
        for (double const t : {0.0, 0.007, 0.0222, 0.03})
            CHECK(difference(log.motion.at(t), plain.motion.at(t)) < 1e-15); // last places of 1 m
    }
    auto const log =
        read_log(folder.file("more.csv",
                             "time_s,note,x_m,y_m,z_m,qw,qx,qy,qz\n0,a,0,0,0,1,0,0,0\n1,b,0,0,0,1,0,0,0\n"),
                 declared(2));
    CHECK(log.report.unused == std::vector<std::string>{"note"});
}

TEST_CASE("a file without a header is read by the names in the job, and only so") {
    TemporaryFolder const folder;
    auto const path = folder.file("log.csv", "1487321563.68, 0, 9, 0.5, 1, 0, 0, 0, 1\n"
                                             "1487321563.69, 0.01, 9, 0.5, 1, 0, 0, 0, 1\n");
    CHECK(message_of([&] { read_log(path, declared()); }) ==
          "log.csv:1: this row should name the columns, but it holds the number \"1487321563.68\"");
    LogDeclaration named = declared();
    named.columns = {"time_s", "x_m", "-", "y_m", "z_m", "qx", "qy", "qz", "qw"};
    // On the clock itself a double would tell 2e-7 s and no less.
    CHECK(
        message_of([&] { read_log(path, named); }) ==
        "log.csv:1:time_s: \"1487321563.68\" lies 1487321563.680 s from time 0, where seconds no longer tell "
        "a nanosecond; count the job's times from the first row: times_from = \"first_row\"");
    named.times_from = TimesFrom::first_row;
    auto const log = read_log(path, named);
    CHECK(log.report.epoch_ns == 1487321563680000000);
    CHECK(std::abs(log.motion.at(0.005).origin.x - 0.005) < 1e-15);
    CHECK(log.motion.at(0.005).rotation.m[2][2] == 1); // qw was found last
    // With a header where the job says there is none, the first row is no row of numbers.
    CHECK(message_of([&] {
              read_log(folder.file("headed.csv", "time_s,x_m,,y_m,z_m,qx,qy,qz,qw\n"), named);
          }) == "headed.csv:1:time_s: \"time_s\" is not a number");
}

TEST_CASE("19-digit nanoseconds are rebased without loss") {
    TemporaryFolder const folder;
    LogDeclaration from_first = declared();
    from_first.times_from = TimesFrom::first_row;
    auto const log = read_log(folder.file("log.csv", "time_ns,x_m,y_m,z_m,qw,qx,qy,qz\n"
                                                     "1487321563680000001,0,0,0,1,0,0,0\n"
                                                     "1487321563684000002,1,0,0,1,0,0,0\n"
                                                     "1487321563688000004,2,0,0,1,0,0,0\n"),
                              from_first);
    CHECK(log.report.epoch_ns == 1487321563680000001);
    CHECK(log.report.smallest_step == 0.004000001);
    // The difference of two doubles near 0.008 s, so its last place is one of 0.008: 2e-18 s.
    CHECK(std::abs(log.report.largest_step - 0.004000002) < 2e-18);
    CHECK(log.report.end == 0.008000003);
}

TEST_CASE("a log of joint positions is taken through the arm, in degrees or radians") {
    TemporaryFolder const folder;
    std::string radians = "time_s,j1_rad,j2_rad,j3_m,j4_rad,j5_rad,j6_rad\n";
    std::string degree = "j6_deg,j5_deg,j4_deg,j3_mm,j2_deg,j1_deg,time_s\n";
    char row[200];
    for (int i = 0; i < 6; ++i) {
        double const t = 0.01 * i;
        double const q[6] = {0.1 * t, -0.2, 0.3 + t, 0.4, 0.5 * t, -0.6};
        std::snprintf(row, sizeof row, "%.17g,%.17g,%.17g,%.17g,%.17g,%.17g,%.17g\n", t, q[0], q[1], q[2],
                      q[3], q[4], q[5]);
        radians += row;
        double const d = 180 / 3.14159265358979323846;
        std::snprintf(row, sizeof row, "%.17g,%.17g,%.17g,%.17g,%.17g,%.17g,%.17g\n", q[5] * d, q[4] * d,
                      q[3] * d, q[2] * 1000, q[1] * d, q[0] * d, t);
        degree += row;
    }
    auto const a = read_log(folder.file("rad.csv", radians), declared(), arm());
    auto const b = read_log(folder.file("deg.csv", degree), declared(), arm());
    CHECK(a.report.joints == 6);
    for (double const t : {0.0, 0.013, 0.05}) {
        std::array<double, 6> const q{0.1 * t, -0.2, 0.3 + t, 0.4, 0.5 * t, -0.6};
        auto const truth = arm().cell_from_base * std::get<SerialArm<6>>(arm().arm).forward(q);
        // Joints that move evenly are their own spline; some last places of 4 m over six joints.
        CHECK(difference(a.motion.at(t), truth) < 1e-14);
        CHECK(difference(b.motion.at(t), truth) < 1e-14);
    }
    CHECK(message_of([&] { read_log(folder.file("pose.csv", gliding), declared(), arm()); }) ==
          "pose.csv: there is no column j1_rad or j1_deg; the columns are time_s, x_m, y_m, z_m, qw, qx, qy, "
          "qz");
    CHECK(message_of([&] { read_log(folder.file("rad.csv", radians), declared()); }) ==
          "rad.csv: there is a column j1_rad: to read joint positions, the job must name the arm in [arm]");
    // The third joint slides, so its column must be a length.
    CHECK(message_of([&] {
              read_log(folder.file("rad.csv", replaced(radians, "j3_m", "j3_rad")), declared(), arm());
          }).find("rad.csv: there is no column j3_m or j3_mm") == 0);
    CHECK(message_of([&] {
              read_log(folder.file("seven.csv", "time_s,j1_rad,j2_rad,j3_m,j4_rad,j5_rad,j6_rad,j7_m\n"),
                       declared(), arm());
          }) == "seven.csv: there is a column j7_m, but the arm has 6 joints");
}

TEST_CASE("two kinds of rows in one file: those asked for are read") {
    TemporaryFolder const folder;
    LogDeclaration log = declared();
    log.keep_rows = KeepRows{"kind", "pose"};
    auto const read = read_log(folder.file("log.csv", "kind,time_s,x_m,y_m,z_m,qw,qx,qy,qz\n"
                                                      "pose,0.00,0.00,0,0,1,0,0,0\n"
                                                      "force,0.004,12.5,3\n"
                                                      "pose,0.01,0.01,0,0,1,0,0,0\n"
                                                      "force,0.004,12.5,broken,,,,,\n"),
                               log);
    CHECK(read.report.rows == 2);
    CHECK(read.report.other_rows == 2);
    CHECK(std::abs(read.motion.at(0.005).origin.x - 0.005) < 1e-15);
    log.keep_rows = KeepRows{"kind", "poses"};
    CHECK(message_of([&] { read_log(folder / "log.csv", log); }) ==
          "log.csv: a motion needs two rows or more; 0 rows were read, of which 0 are left, and 4 of other "
          "kinds "
          "passed over");
    log.keep_rows = KeepRows{"type", "pose"};
    CHECK(message_of([&] { read_log(folder / "log.csv", log); }).find("log.csv: there is no column type") ==
          0);
}

TEST_CASE("bad logs are refused with file, row and column") {
    TemporaryFolder const folder;
    struct Case {
        std::string old, by, message;
    };
    for (Case const& c : std::vector<Case>{
             {"x_m", "x",
              "log.csv: there is no column x_m or x_mm; the columns are time_s, x, y_m, z_m, qw, qx, qy, qz"},
             {"time_s", "t",
              "log.csv: there is no column time_s or time_ms or time_us or time_ns; the columns are t, x_m, "
              "y_m, z_m, qw, qx, qy, qz"},
             {"y_m", "x_mm", "log.csv: the columns x_m and x_mm say the same thing; name one of them"},
             {"y_m", "x_m", "log.csv: two columns are named x_m"},
             {"0.02,0.02", "0.02,wide", "log.csv:4:x_m: \"wide\" is not a number"},
             {"0.02,0.02", "noon,0.02", "log.csv:4:time_s: \"noon\" is not a number"},
             {"0.02,0.02", "1e30,0.02", "log.csv:4:time_s: \"1e30\" is out of range"},
             {"0.02,0.02", "0.02,nan", "log.csv:4:x_m: \"nan\" is not a finite number"},
             {"0.02,0.02", "0.01,0.02",
              "log.csv:4:time_s: \"0.01\" is the time of row 3 again: time must increase from row to row"},
             {"0.02,0.02", "0.005,0.02",
              "log.csv:4:time_s: \"0.005\" is 5.00 ms before the time of row 3: time must increase from row "
              "to row"},
             {"0.02,0.02,0.5,1,1,0,0,0", "0.02,0.02,0.5,1,0.5,0.5,0,0",
              "log.csv:4:qw: a quaternion (qw, qx, qy, qz) of norm 0.7071067811865476 is not a rotation: the "
              "norm must be 1 within 0.000001"},
             {"0.02,0.02,0.5,1,1,0,0,0", "0.02,0.02,0.5,1,0,0,0,0",
              "log.csv:4:qw: a quaternion (qw, qx, qy, qz) of norm 0 is not a rotation: the norm must be 1 "
              "within 0.000001"},
             {"0.02,0.02,0.5,1,1,0,0,0", "0.02,0.02,0.5,1,0.6,0.8,0,0",
              "log.csv:4:qw: a turn of 106.3 degrees since the row before is more than the 45 that can be "
              "interpolated"},
             {"0.02,0.02,0.5,1,1,0,0,0\n0.03,0.03,0.5,1,1,0,0,0\n", "0.02,0.02,0.5,1,1,0,0",
              "log.csv:4: 7 fields where there are 8 columns: time_s, x_m, y_m, z_m, qw, qx, qy, qz"},
         }) {
        CAPTURE(c.by);
        auto const path = folder.file("log.csv", replaced(gliding, c.old, c.by));
        CHECK(message_of([&] { read_log(path, declared()); }) == c.message);
    }
    std::string const header = gliding.substr(0, gliding.find('\n') + 1);
    CHECK(message_of([&] { read_log(folder.file("log.csv", header), declared()); }) ==
          "log.csv: a motion needs two rows or more; 0 rows were read, of which 0 are left");
    CHECK(message_of([&] { read_log(folder.file("log.csv", header + "0,0,0,0,1,0,0,0"), declared()); }) ==
          "log.csv: a motion needs two rows or more; 1 row was read, of which 1 is left");
    CHECK(message_of([&] { read_log(folder.file("log.csv", gliding), declared(0.005)); }) ==
          "log.csv: every row stands alone: all steps in time are longer than the longest gap allowed, 5.00 "
          "ms");
    CHECK(message_of([&] { read_log(folder.file("log.csv", ""), declared()); }) ==
          "log.csv: the file is empty");
}

TEST_CASE("a gap has no data, may hide any turn, and is reported with where and how long") {
    TemporaryFolder const folder;
    auto const log = read_log(folder.file("log.csv", "time_s,x_m,y_m,z_m,qw,qx,qy,qz\n"
                                                     "0.00,0,0,0,1,0,0,0\n"
                                                     "0.01,1,0,0,1,0,0,0\n"
                                                     "0.05,2,0,0,0,1,0,0\n"
                                                     "0.06,3,0,0,0,1,0,0\n"),
                              declared());
    REQUIRE(log.report.gaps.size() == 1);
    CHECK(log.report.gaps[0].start == 0.01);
    CHECK(log.report.gaps[0].length == doctest::Approx(0.04));
    CHECK(log.report.gaps[0].row == 4);
    CHECK(log.motion.covers(0.005));
    CHECK_FALSE(log.motion.covers(0.03));
    CHECK(log.motion.covers(0.055));
}

TEST_CASE("the report says what was found") {
    TemporaryFolder const folder;
    LogDeclaration from_first = declared();
    from_first.times_from = TimesFrom::first_row;
    from_first.stamps = StampsAre::arrival;
    auto const log = read_log(folder.file("log.csv", "note,time_s,x_m,y_m,z_m,qw,qx,qy,qz\n"
                                                     "a,100.000,0,0,0,1,0,0,0\n"
                                                     "a,100.004,1,0,0,1,0,0,0\n"
                                                     "a,100.009,2,0,0,1,0,0,0\n"
                                                     "a,100.013,2,0,0,1,0,0,0\n"
                                                     "a,100.016,3,0,0,1,0,0,0\n"
                                                     "a,100.046,4,0,0,1,0,0,0\n"
                                                     "a,100.050,5,0,0,1,0,0,0\n"),
                              from_first);
    // Worked out by hand: steps of 4, 5, 4, 3, 30 and 4 ms; the median is 4 ms, and of the five that are no
    // gap two are off by 1 ms.
    CHECK(log.report.period == doctest::Approx(0.004).epsilon(1e-12));
    CHECK(log.report.jitter_rms == doctest::Approx(0.001 * std::sqrt(2.0 / 5)).epsilon(1e-12));
    CHECK(log.report.jitter_worst == doctest::Approx(0.001).epsilon(1e-12));
    CHECK(log.report.largest_step == doctest::Approx(0.03).epsilon(1e-12));
    std::string const text = text_of(log.report);
    CHECK(
        text.substr(text.find('\n') + 1) ==
        "  holds     measured flange poses, stamps of arrival\n"
        "  columns   time_s, x_m, y_m, z_m, qw, qx, qy, qz\n"
        "  not used  note\n"
        "  rows      7 read, 7 used\n"
        "  time      0.0000 s to 0.0500 s since the first row, stamped 100.000000000 s\n"
        "  step      4.00 ms median (250.0 rows/s), 3.00 ms to 30.00 ms\n"
        "  jitter    0.63 ms rms, 1.00 ms at worst, steps against their median\n"
        "  gaps      1 longer than 20.00 ms, no data in them, 0.030 s in all; longest 0.030 s from 0.0160 s\n"
        "  repeats   1 row repeats the pose before, kept as true; longest 0.004 s from 0.0090 s\n");
}
