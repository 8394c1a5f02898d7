#include "seamhold/file/mount_data.hpp"

#include "support/numbers.hpp"
#include "support/refusal.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::near;
using seamhold::test::refusal_of;
using seamhold::test::TemporaryFolder;

namespace {

double const root_half = std::sqrt(0.5);

// The rotation by 90° about z, entry by entry (by hand). Five digits are enough for a quaternion.
template <class To, class From> bool quarter_about_z(Rotation<To, From> const& r, double within) {
    double const truth[3][3] = {{0, -1, 0}, {1, 0, 0}, {0, 0, 1}};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            if (!(std::abs(r.m[i][k] - truth[i][k]) <= within))
                return false;
    return true;
}

} // namespace

TEST_CASE("hits of a target are read in any unit and with any rotation that is named") {
    TemporaryFolder const folder;
    for (std::string const text : {
             "x_mm,y_mm,z_mm,qw,qx,qy,qz,x_mirror_deg,y_mirror_deg,focus_mm\n"
             "1200,-300,800,0.70711,0,0,0.70711,3,-6,1.5\n",
             "note,focus_m,y_mirror_rad,x_mirror_rad,z_m,y_m,x_m,x3_deg,y2_deg,z1_deg\n"
             "a,0.0015,-0.10471975511965978,0.05235987755982989,0.8,-0.3,1.2,0,0,90\n",
             "# invented\nx_mm,y_mm,z_mm,x1_rad,y2_rad,z3_rad,x_mirror_deg,y_mirror_deg,focus_mm\n"
             "1200,-300,800,0,0,1.5707963267948966,3,-6,1.5\n",
         }) {
        CAPTURE(text);
        auto const hits = read_target_hits(folder.file("hits.csv", text));
        REQUIRE(hits.size() == 1);
        auto const& hit = hits[0];
        CHECK(quarter_about_z(hit.cell_from_flange.rotation, 1e-15));
        CHECK(near(hit.cell_from_flange.origin.x, 1.2, 1e-15));
        CHECK(near(hit.cell_from_flange.origin.y, -0.3, 1e-15));
        CHECK(near(hit.cell_from_flange.origin.z, 0.8, 1e-15));
        CHECK(near(hit.command.x_mirror, 3.14159265358979 / 60, 1e-14));
        CHECK(near(hit.command.y_mirror, -3.14159265358979 / 30, 1e-14));
        CHECK(near(hit.command.focus, 0.0015, 1e-15));
    }
}

TEST_CASE("angles of a pose are turned in the order of their numbers") {
    TemporaryFolder const folder;
    // 90° about z, then 90° about the new x: the new z axis is the old x axis turned … by hand: R = Rz(90)
    // Rx(90), its columns (0, 1, 0), (0, 0, 1), (1, 0, 0).
    auto const hits = read_target_hits(folder.file(
        "a.csv", "x_mm,y_mm,z_mm,z1_deg,y2_deg,x3_deg,x_mirror_deg,y_mirror_deg\n0,0,0,90,0,90,0,0\n"));
    double const zyx[3][3] = {{0, 0, 1}, {1, 0, 0}, {0, 1, 0}};
    // 90° about x, then 90° about the new z: Rx(90) Rz(90), its columns (0, 0, 1), (−1, 0, 0), (0, −1, 0).
    auto const others = read_target_hits(folder.file(
        "b.csv", "x_mm,y_mm,z_mm,x1_deg,y2_deg,z3_deg,x_mirror_deg,y_mirror_deg\n0,0,0,90,0,90,0,0\n"));
    double const xyz[3][3] = {{0, -1, 0}, {0, 0, -1}, {1, 0, 0}};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k) {
            CHECK(std::abs(hits[0].cell_from_flange.rotation.m[i][k] - zyx[i][k]) < 1e-15);
            CHECK(std::abs(others[0].cell_from_flange.rotation.m[i][k] - xyz[i][k]) < 1e-15);
        }
    CHECK(hits[0].command.focus == 0); // without a focus axis
}

TEST_CASE("marks on a plate and a sensor's poses are read") {
    TemporaryFolder const folder;
    std::string const half = std::to_string(root_half);
    auto const marks = read_plate_marks(folder.file(
        "marks.csv", "x_mm,y_mm,z_mm,qw,qx,qy,qz,x_mirror_deg,y_mirror_deg,x_found_mm,y_found_m\n0,0,0," +
                         half + ",0,0," + half + ",0,0,12.5,-0.25\n"));
    REQUIRE(marks.size() == 1);
    CHECK(near(marks[0].x, 0.0125, 1e-15));
    CHECK(near(marks[0].y, -0.25, 1e-15));
    CHECK(quarter_about_z(marks[0].cell_from_flange.rotation, 1e-6));

    auto const pairs = read_pose_pairs(
        folder.file("pairs.csv",
                    "x_m,y_m,z_m,qw,qx,qy,qz,target_x_mm,target_y_mm,target_z_mm,target_z1_deg,target_y2_deg,"
                    "target_x3_deg\n1,2,3,1,0,0,0,10,20,30,90,0,0\n4,5,6,1,0,0,0,40,50,60,0,0,0\n"));
    REQUIRE(pairs.size() == 2);
    CHECK(pairs[0].cell_from_flange.origin.y == 2);
    CHECK(near(pairs[0].head_from_target.origin.z, 0.03, 1e-15));
    CHECK(quarter_about_z(pairs[0].head_from_target.rotation, 1e-15));
    CHECK(near(pairs[1].head_from_target.origin.x, 0.04, 1e-15));
}

TEST_CASE("a notebook that cannot be read is refused with file, row and column") {
    TemporaryFolder const folder;
    auto const refused = [&](std::string const& text) {
        return refusal_of([&] { return read_target_hits(folder.file("hits.csv", text)); });
    };
    std::string const head = "x_mm,y_mm,z_mm,qw,qx,qy,qz,x_mirror_deg,y_mirror_deg\n";
    CHECK(has(refused(head), "there is no row"));
    CHECK(has(refused(head + "0,0,0,1,0,0,0,0,0\n0,0,zero,1,0,0,0,0,0\n"),
              "hits.csv:3:z_mm: \"zero\" is not a number"));
    CHECK(has(refused(head + "0,0,0,0.5,0,0,0.5,0,0\n"), "hits.csv:2:qw: a quaternion of norm 0.707"));
    CHECK(has(refused(head + "0,0,0,1,0,0,0,0,46\n"), "hits.csv:2:y_mirror_deg: \"46\" is no mirror angle"));
    CHECK(has(refused("x_mm,y_mm,z_mm,x_mirror_deg,y_mirror_deg\n0,0,0,0,0\n"), "exactly one is needed"));
    CHECK(has(refused("x_mm,y_mm,z_mm,qw,qx,qy,qz,z1_deg,x_mirror_deg,y_mirror_deg\n0,0,0,1,0,0,0,0,0,0\n"),
              "exactly one is needed"));
    CHECK(has(refused("x_mm,x_m,y_mm,z_mm,qw,qx,qy,qz,x_mirror_deg,y_mirror_deg\n0,0,0,0,1,0,0,0,0,0\n"),
              "x_m and x_mm say the same thing"));
    CHECK(has(refused("y_mm,z_mm,qw,qx,qy,qz,x_mirror_deg,y_mirror_deg\n0,0,1,0,0,0,0,0\n"),
              "there is no column x_m or x_mm"));
    CHECK(has(refused("x_mm,y_mm,z_mm,qw,qx,qy,qz,y_mirror_deg\n0,0,0,1,0,0,0,0\n"),
              "there is no column x_mirror_rad or x_mirror_deg"));
    CHECK(has(
        refusal_of([&] { return read_plate_marks(folder.file("marks.csv", head + "0,0,0,1,0,0,0,0,0\n")); }),
        "there is no column x_found_m or x_found_mm"));
}
