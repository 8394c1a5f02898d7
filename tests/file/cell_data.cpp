#include "seamhold/file/cell_data.hpp"
#include "seamhold/file/part_data.hpp"

#include "support/numbers.hpp"
#include "support/refusal.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>
#include <variant>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::near;
using seamhold::test::refusal_of;
using seamhold::test::TemporaryFolder;

namespace {
double const rounding = 4e-16; // a unit's factor and the number itself, each to half a unit in the last place
}

TEST_CASE("short tables are read in the units that their columns name") {
    TemporaryFolder const folder;
    for (std::string const text :
         {"speed_mm_per_s,separation_um\n250,120\n", "separation_mm,speed_m_per_min\n0.12,15\n",
          "note,separation_m,speed_m_per_s\nx,0.00012,0.25\n"}) {
        CAPTURE(text);
        auto const lines = read_line_separations(folder.file("lines.csv", text));
        REQUIRE(lines.size() == 1);
        CHECK(near(lines[0].speed, 0.25, rounding));
        CHECK(near(lines[0].separation, 1.2e-4, rounding));
    }
    auto const series = read_focus_series(folder.file("focus.csv", "setting_mm,width_um\n-1.5,310\n0,250\n"));
    REQUIRE(series.size() == 2);
    CHECK(near(series[0].setting, -1.5e-3, rounding));
    CHECK(near(series[0].width, 3.1e-4, rounding));
    auto const power = read_power_rows(folder.file("power.csv", "commanded_kW,measured_W\n2,1930\n"));
    REQUIRE(power.size() == 1);
    CHECK(power[0].commanded == 2000);
    CHECK(power[0].measured == 1930);
    auto const marks = read_mark_places(folder.file("marks.csv", "x_found_mm,y_found_um\n10,-2500\n"));
    REQUIRE(marks.size() == 1);
    CHECK(near(marks[0].x, 0.01, rounding));
    CHECK(near(marks[0].y, -0.0025, rounding));
}

TEST_CASE("a short table that cannot be read is refused with its place") {
    TemporaryFolder const folder;
    CHECK(has(refusal_of([&] { return read_power_rows(folder.file("p.csv", "commanded_W,power_W\n1,2\n")); }),
              "p.csv: there is no column measured_W or measured_kW"));
    CHECK(has(
        refusal_of([&] { return read_power_rows(folder.file("p.csv", "commanded_W,measured_W\n1,2kW\n")); }),
        "p.csv:2:measured_W: \"2kW\" is not a number"));
    CHECK(has(refusal_of([&] {
                  return read_line_separations(folder.file("l.csv", "speed_mm_per_s,separation_mm\n"));
              }),
              "l.csv: there is no row"));
}

TEST_CASE("touches of a part are read feature by feature") {
    TemporaryFolder const folder;
    auto const touches =
        read_part_touches(folder.file("touches.csv", "feature,known_x_mm,known_y_mm,known_z_mm,touched_x_m,"
                                                     "touched_y_m,touched_z_m,direction_x,direction_y,"
                                                     "direction_z,radius_mm,tip_radius_mm\n"
                                                     "point,10,20,30,1,2,3,,,,,\n"
                                                     "face,0,0,5,1,2,3,0,0,7,,1.5\n"
                                                     "edge,1,2,3,1,2,3,3,4,0,,\n"
                                                     "bore,1,2,3,1,2,3,0,0,1,8,2\n"
                                                     "pin,1,2,3,1,2,3,0,1,0,4,2\n"
                                                     "ball,1,2,3,1,2,3,,,,12,2\n"));
    REQUIRE(touches.size() == 6);
    auto const& point = std::get<PointTouch>(touches[0]);
    CHECK(near(point.known.z, 0.03, rounding));
    CHECK(point.touched.y == 2);
    auto const& face = std::get<FaceTouch>(touches[1]);
    CHECK(face.outward.z == 1); // brought to length one
    CHECK(near(face.on.z, 0.005, rounding));
    CHECK(near(face.tip_radius, 0.0015, rounding));
    auto const& edge = std::get<EdgeTouch>(touches[2]);
    CHECK(near(edge.along.x, 0.6, rounding));
    CHECK(near(edge.along.y, 0.8, rounding));
    CHECK(edge.tip_radius == 0);
    auto const& bore = std::get<CylinderTouch>(touches[3]);
    CHECK(bore.bore);
    CHECK(near(bore.radius, 0.008, rounding));
    CHECK_FALSE(std::get<CylinderTouch>(touches[4]).bore);
    auto const& ball = std::get<BallTouch>(touches[5]);
    CHECK(near(ball.radius, 0.012, rounding));
    CHECK(near(ball.centre.y, 0.002, rounding));
    CHECK(near(ball.tip_radius, 0.002, rounding));
}

TEST_CASE("a touch that lacks what its feature needs is refused") {
    TemporaryFolder const folder;
    auto const refused = [&](std::string const& more, std::string const& row) {
        return refusal_of([&] {
            return read_part_touches(folder.file(
                "t.csv", "feature,known_x_mm,known_y_mm,known_z_mm,touched_x_mm,touched_y_mm,touched_z_mm" +
                             more + "\n" + row + "\n"));
        });
    };
    CHECK(has(refused("", "face,0,0,0,0,0,0"), "t.csv:2:feature: a feature with a direction needs"));
    CHECK(has(refused("", "ball,0,0,0,0,0,0"), "t.csv:2:feature: a round feature needs a column radius_mm"));
    CHECK(has(refused("", "hole,0,0,0,0,0,0"), "\"hole\" is not known; features are point, face"));
    CHECK(has(refused(",direction_x,direction_y,direction_z", "edge,0,0,0,0,0,0,0,0,0"),
              "not all three may be 0"));
    CHECK(has(refused(",direction_x,direction_y", "edge,0,0,0,0,0,0,0,1"), "there is no column direction_z"));
    CHECK(has(refused(",radius_mm", "ball,0,0,0,0,0,0,-3"), "t.csv:2:radius_mm: a radius must be above 0"));
    CHECK(has(refused(",tip_radius_mm", "point,0,0,0,0,0,0,2"), "a point is met by a pointed tip"));
}
