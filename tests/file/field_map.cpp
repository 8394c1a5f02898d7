#include "seamhold/file/field_map.hpp"

#include "seamhold/head/field_map.hpp"
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

TEST_CASE("marks are read from columns in any order and in any unit that is named") {
    TemporaryFolder const folder;
    for (std::string const text : {
             "x_command_mm,y_command_mm,x_found_mm,y_found_mm\n10,-20,10.5,-20.25\n30,40,31,42\n",
             "y_found_mm,note,x_found_mm,y_command_m,x_command_m\n-20.25,a,10.5,-0.02,0.01\n42,,31,0.04,0."
             "03\n",
             "# "
             "invented\nx_found_m,y_found_m,x_command_mm,y_command_mm\n0.0105,-0.02025,10,-20\n0.031,0.042,"
             "30,40\n",
         }) {
        CAPTURE(text);
        auto const rows = read_field_marks(folder.file("marks.csv", text));
        REQUIRE(rows.size() == 2);
        CHECK(rows[0].row == (text[0] == '#' ? 3 : 2));
        CHECK_FALSE(rows[0].commanded_are_angles);
        // Last bits of the unit's factor.
        CHECK(rows[0].commanded[0] == doctest::Approx(0.01).epsilon(1e-15));
        CHECK(rows[0].commanded[1] == doctest::Approx(-0.02).epsilon(1e-15));
        CHECK(rows[0].found[0] == doctest::Approx(0.0105).epsilon(1e-15));
        CHECK(rows[0].found[1] == doctest::Approx(-0.02025).epsilon(1e-15));
        CHECK(rows[1].found[1] == doctest::Approx(0.042).epsilon(1e-15));
    }
}

TEST_CASE("commands may be mirror angles") {
    TemporaryFolder const folder;
    for (std::string const text : {"x_mirror_deg,y_mirror_deg,x_found_mm,y_found_mm\n6,-3,50,-25\n",
                                   "x_mirror_rad,y_mirror_rad,x_found_m,y_found_m\n"
                                   "0.10471975511965978,-0.05235987755982989,0.05,-0.025\n"}) {
        auto const rows = read_field_marks(folder.file("angles.csv", text));
        REQUIRE(rows.size() == 1);
        CHECK(rows[0].commanded_are_angles);
        CHECK(rows[0].commanded[0] == doctest::Approx(3.14159265358979 / 30).epsilon(1e-14));
        CHECK(rows[0].commanded[1] == doctest::Approx(-3.14159265358979 / 60).epsilon(1e-14));
        CHECK(rows[0].found[0] == doctest::Approx(0.05).epsilon(1e-15));
    }
}

TEST_CASE("a mark that was not found has an empty pair or no row") {
    TemporaryFolder const folder;
    auto const rows = read_field_marks(folder.file(
        "marks.csv",
        "x_command_mm,y_command_mm,x_found_mm,y_found_mm\n0,0,0.1,0.2\n10,0,,\n20,0, ,\n30,0,30,0\n"));
    REQUIRE(rows.size() == 2);
    CHECK(rows[0].row == 2);
    CHECK(rows[1].row == 5);
}

TEST_CASE("what is wrong with a file of marks is told with row and column") {
    TemporaryFolder const folder;
    auto const refusal = [&](std::string const& text) {
        return message_of([&] { read_field_marks(folder.file("marks.csv", text)); });
    };
    std::string const header = "x_command_mm,y_command_mm,x_found_mm,y_found_mm\n";
    CHECK(refusal(header + "0,0,1,1\n1,0,2,\n") == "marks.csv:3:y_found_mm: empty, while the other half of "
                                                   "the found place is given; a mark that was not found "
                                                   "has both empty");
    CHECK(refusal(header + "0,0,,1\n") == "marks.csv:2:x_found_mm: empty, while the other half of the found "
                                          "place is given; a mark that was not found "
                                          "has both empty");
    CHECK(refusal(header + "0,,1,1\n") == "marks.csv:2:y_command_mm: an empty field where a number belongs");
    CHECK(refusal(header + "0,0,1,one\n") == "marks.csv:2:y_found_mm: \"one\" is not a number");
    CHECK(refusal(header + "0,0,1,nan\n") == "marks.csv:2:y_found_mm: \"nan\" is not a finite number");
    CHECK(refusal(header) == "marks.csv: there is no row with a mark that was found");
    CHECK(refusal(header + "0,0,,\n") == "marks.csv: there is no row with a mark that was found");
    CHECK(
        refusal("x_command_mm,y_command_mm,x_found_mm\n0,0,0\n") ==
        "marks.csv: there is no column y_found_m or y_found_mm; the columns are x_command_mm, y_command_mm, "
        "x_found_mm");
    CHECK(refusal("x_command_mm,x_command_m,y_command_mm,x_found_mm,y_found_mm\n0,0,0,0,0\n") ==
          "marks.csv: the columns x_command_m and x_command_mm say the same thing; name one of them");
    CHECK(
        refusal("x_command_mm,y_command_mm,x_mirror_deg,y_mirror_deg,x_found_mm,y_found_mm\n0,0,0,0,0,0\n") ==
        "marks.csv: there are columns x_command_… and columns x_mirror_…; name the commanded marks once");
    CHECK(refusal("x_mirror_rad,y_mirror_rad,x_found_mm,y_found_mm\n0,0,0,0\n0.1,6,0,0\n") ==
          "marks.csv:3:y_mirror_rad: \"6\" is no mirror angle: it must be within 45 degrees");
}

TEST_CASE("from a file to a map: a plate that was found 1 mm to the right and a little turned") {
    // Invented: marks every 30 mm on a plate 0.5 m below, commanded in millimetres; small angles, so that the
    // mirror angle is half of place / distance.
    std::string text = "x_command_mm,y_command_mm,x_found_mm,y_found_mm\n";
    for (int i = -3; i <= 3; ++i)
        for (int j = -3; j <= 3; ++j) {
            char line[120];
            double const x = 30.0 * i, y = 30.0 * j;
            if (i == 1 && j == 1)
                std::snprintf(line, sizeof line, "%g,%g,,\n", x, y);
            else
                std::snprintf(line, sizeof line, "%g,%g,%.9f,%.9f\n", x, y, x + 1 + 0.01 * y, y - 0.01 * x);
            text += line;
        }
    TemporaryFolder const folder;
    auto const angles_of = [](double x, double y) { return std::array<double, 2>{x / 0.5 / 2, y / 0.5 / 2}; };
    auto const map =
        fit_field_map(marks_from(read_field_marks(folder.file("plate.csv", text)), angles_of, angles_of));
    CHECK(map.report().marks == 48);
    CHECK(map.report().missing == 1);
    // The file has picometres, a straight map is met to rounding, and a picometre at 0.5 m is 1e-12 rad.
    CHECK(map.report().worst < 2e-12);
    auto const there = map.forward(0.03, -0.02);
    CHECK(there[0] == doctest::Approx(0.03 + 0.001 - 0.0002).epsilon(1e-10));
    CHECK(there[1] == doctest::Approx(-0.02 - 0.0003).epsilon(1e-10));
}
