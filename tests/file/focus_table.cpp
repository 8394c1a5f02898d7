#include "seamhold/file/focus_table.hpp"

#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::message_of;
using seamhold::test::TemporaryFolder;

namespace {

double const epsilon = std::numeric_limits<double>::epsilon();

struct Case {
    std::string text;
    std::string message;
};

} // namespace

TEST_CASE("a focus table reads the same in millimetres and metres, columns in any order, others left alone") {
    TemporaryFolder const folder;
    for (std::string const text : {
             "path_mm,lens_mm\n500,-4\n540,0\n600,5\n",
             "lens_m,path_m\n-0.004,0.5\n0,0.54\n0.005,0.6\n",
             "# invented\nremark,lens_mm,path_m\nnear,-4,0.5\n,0,0.54\n\"far, too\",5,0.6\n",
         }) {
        CAPTURE(text);
        auto const table = read_focus_table(folder.file("focus.csv", text));
        double const bound = 4 * epsilon; // one division by 1000, few terms below 1
        CHECK(std::abs(table.lens(0.5) + 0.004) <= bound);
        CHECK(std::abs(table.lens(0.6) - 0.005) <= bound);
        CHECK(std::abs(table.path(0.0) - 0.54) <= bound);
        CHECK(std::abs(table.path_clearance(0.61) + 0.01) <= bound);
    }
}

TEST_CASE("focus tables that are none are refused, with file, row and column, or both rows") {
    TemporaryFolder const folder;
    for (Case const& c : std::vector<Case>{
             {"path_mm,lens\n1,2\n",
              "bad.csv: there is no column lens_m or lens_mm; the columns are path_mm, lens"},
             {"path_mm,path_m,lens_mm\n1,2,3\n",
              "bad.csv: the columns path_m and path_mm say the same thing; name one of them"},
             {"path_mm,lens_mm\n500,-4\n540,0\n590,x\n", "bad.csv:4:lens_mm: \"x\" is not a number"},
             {"path_mm,lens_mm\n500,-4\n", "bad.csv: a table needs two rows or more; there is one"},
             {"path_mm,lens_mm\n", "bad.csv: a table needs two rows or more; there is none"},
             {"# far away\npath_mm,lens_mm\n500,-4\n540,0\n\"540\",5\n",
              "bad.csv:5:path_mm: 540 does not rise above the 540 of row 4"},
             {"path_mm,lens_mm\n500,-4\n# the next one is wrong\n540,0\n580,-0.5\n600,5\n",
              "bad.csv:5:lens_mm: the table turns back: -0.5 does not rise above the 0 of row 4"},
             {"path_mm,lens_mm\n500,-4\n540,-4\n600,5\n",
              "bad.csv:3:lens_mm: the table turns back: -4 does not rise above the -4 of row 2"},
             {"path_mm,lens_mm\n500,4\n540,0\n", "bad.csv: the lens must rise with the path: positive moves "
                                                 "the focus away from the head; turn the "
                                                 "sign of the lens's column"},
             {"path_mm,lens_mm\n500,4\n540,5\n",
              "bad.csv: a focus table must contain the lens's 0; its displacements (m) run from 0.004 to "
              "0.005"},
             {"path_mm,lens_mm\n0,-4\n540,5\n",
              "bad.csv: a focus axis's first path (m) of 0 is not possible: it must be above 0"},
         }) {
        CAPTURE(c.text);
        CHECK(message_of([&] { read_focus_table(folder.file("bad.csv", c.text)); }) == c.message);
    }
}

TEST_CASE("a table over both mirror angles reads in the file's order") {
    TemporaryFolder const folder;
    auto const rows = read_focus_surface_rows(
        folder.file("surface.csv", "lens_mm,y_mirror_deg,x_mirror_rad\n1,9,-0.1\n-2,-9,0.1\n"));
    REQUIRE(rows.size() == 2);
    CHECK(rows[0].lens == 0.001);
    CHECK(rows[0].x_mirror == -0.1);
    CHECK(std::abs(rows[0].y_mirror - 0.15707963267948966) <= epsilon); // π/20
    CHECK(rows[1].lens == -0.002);
}

TEST_CASE("tables over both mirror angles that are none are refused") {
    TemporaryFolder const folder;
    for (Case const& c : std::vector<Case>{
             {"x_mirror_deg,y_mirror_deg\n1,2\n",
              "bad.csv: there is no column lens_m or lens_mm; the columns are x_mirror_deg, y_mirror_deg"},
             {"x_mirror_deg,y_mirror_deg,lens_mm\n1,,3\n",
              "bad.csv:2:y_mirror_deg: an empty field where a number belongs"},
             {"x_mirror_deg,y_mirror_deg,lens_mm\n1,2,3\n1,3,3\n1,2,4\n",
              "bad.csv:4: the same mirror angles as in row 2"},
             {"x_mirror_deg,y_mirror_deg,lens_mm\n",
              "bad.csv: a table over both mirror angles needs rows; there are none"},
         }) {
        CAPTURE(c.text);
        CHECK(message_of([&] { read_focus_surface_rows(folder.file("bad.csv", c.text)); }) == c.message);
    }
}

TEST_CASE("chief-ray angles read in degrees and radians, and a table from 0 holds for both sides") {
    TemporaryFolder const folder;
    auto const slope =
        read_chief_ray_slope(folder.file("slopes.csv", "out_deg,in_deg\n0,0\n0.5,10\n0.3,20\n"));
    double const degree = 0.017453292519943295; // π/180
    CHECK(std::abs(slope.angle(10 * degree) - 0.5 * degree) <= epsilon);
    CHECK(std::abs(slope.angle(-20 * degree) + 0.3 * degree) <= epsilon);
    auto const same =
        read_chief_ray_slope(folder.file("slopes.csv", "in_rad,out_rad\n-0.1,0.01\n0.1,0.02\n"));
    CHECK(std::abs(same.angle(0.0) - 0.015) <= epsilon);
}

TEST_CASE("tables of chief-ray angles that are none are refused") {
    TemporaryFolder const folder;
    for (Case const& c : std::vector<Case>{
             {"in_deg,out\n0,0\n",
              "bad.csv: there is no column out_rad or out_deg; the columns are in_deg, out"},
             {"in_deg,out_deg\n0,0\n10,1\n10,2\n",
              "bad.csv:4:in_deg: 10 does not rise above the 10 of row 3"},
             {"in_deg,out_deg\n0,0\n10,inf\n", "bad.csv:3:out_deg: \"inf\" is not a finite number"},
             {"in_rad,out_rad\n0,0.1\n0.2,0.1\n",
              "bad.csv:2:out_rad: 0.1 is not possible on the axis: a table that starts at 0 holds for both "
              "sides, so its angle out must be 0 there"},
             {"in_deg,out_deg\n0,0\n46,3\n", "bad.csv:3:in_deg: 46 is beyond 45 degrees"},
             {"in_deg,out_deg\n0,0\n45,-50\n", "bad.csv:3:out_deg: -50 is beyond 45 degrees"},
             {"in_rad,out_rad\n0.1,0\n0.2,0.1\n", "bad.csv: a table of chief-ray angles must start at 0 or "
                                                  "below and end above; its angles in (rad) "
                                                  "run from 0.1 to 0.2"},
         }) {
        CAPTURE(c.text);
        CHECK(message_of([&] { read_chief_ray_slope(folder.file("bad.csv", c.text)); }) == c.message);
    }
}
