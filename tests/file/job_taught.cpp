#include "jobs.hpp"
#include "seamhold/file/job.hpp"
#include "support/refusal.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>

// Seams shown with the pilot beam, from the robot's poses and the head's commands. All numbers are invented.

using namespace seamhold;
using namespace seamhold::test;

namespace {

JobFile read(std::string const& keys) {
    TemporaryFolder const folder;
    return job_from(folder.file("job.toml", small_job.substr(0, small_job.find("[[seam]]")) +
                                                "[[seam]]\nname = \"A\"\nstart_s = 0.5\nspeed_m_per_min = 6\n"
                                                "shape = \"taught\"\n" +
                                                keys));
}

double distance(Point<Part> const& p, double x, double y, double z) {
    return std::sqrt((p.x - x) * (p.x - x) + (p.y - y) * (p.y - y) + (p.z - z) * (p.z - z));
}

/// Three poses with the flange's axes along the cell's, 500 mm above the lid, and the mirrors at rest or not.
/// The mount turns the head to look down: its y is the cell's −y.
std::string const shown = R"(shown = [
    { position_mm = [10, 20, 500], rotation_zyx_deg = [0, 0, 0], x_mirror_deg = 0, y_mirror_deg = 0 },
    { position_mm = [30, 20, 500], rotation_zyx_deg = [0, 0, 0], x_mirror_deg = 0, y_mirror_deg = 2 },
    { position_mm = [50, 20, 400], rotation_zyx_deg = [0, 0, 0], x_mirror_deg = 1, y_mirror_deg = 0 },
]
)";

} // namespace

TEST_CASE("a seam shown with the pilot beam runs through the places that the beam met, worked out by hand") {
    auto const job = read("face = \"lid\"\n" + shown);
    REQUIRE(job.seams.size() == 1);
    auto const& path = job.seams[0].seam.path;
    // Straight down: below the flange. The last mirror by 2° turns the beam by 4° towards −y: 500 tan 4°. The
    // first by 1° turns it by 2° towards x, 40 mm before the last mirror: (40 + 400) tan 2°.
    double const down = 0.5 * std::tan(4 * 3.14159265358979 / 180);
    double const aside = 0.44 * std::tan(2 * 3.14159265358979 / 180);
    CHECK(distance(path.at(0.0).position, 0.01, 0.02, 0) <= 1e-12);
    CHECK(distance(path.at(path.length()).position, 0.05 + aside, 0.02, 0) <= 1e-9);
    double nearest = 1;
    for (int i = 0; i <= 2000; ++i)
        nearest =
            std::min(nearest, distance(path.at(path.length() * i / 2000).position, 0.03, 0.02 - down, 0));
    CHECK(nearest <= path.length() / 2000); // it is among the places looked at
    CHECK(path.at(0.01).normal.z == doctest::Approx(1).epsilon(1e-12));
    auto const back = read("face = \"lid\"\nreversed = true\n" + shown);
    CHECK(distance(back.seams[0].seam.path.at(0.0).position, 0.05 + aside, 0.02, 0) <= 1e-9);
}

TEST_CASE("without a face the point is where the beam was focused, and a direction to the head is needed") {
    // The focus is 540 mm from the first mirror, 500 from the last, and 8 mm further for 1 mm of the lens.
    std::string const focused = R"(shown = [
    { position_mm = [10, 20, 500], rotation_zyx_deg = [0, 0, 0], x_mirror_deg = 0, y_mirror_deg = 0, focus_mm = 0 },
    { position_mm = [30, 20, 500], rotation_zyx_deg = [0, 0, 0], x_mirror_deg = 0, y_mirror_deg = 0, focus_mm = -1 },
]
)";
    auto const path = read("towards = [0, 0, 1]\n" + focused).seams[0].seam.path;
    CHECK(distance(path.at(0.0).position, 0.01, 0.02, 0) <= 1e-12);
    CHECK(distance(path.at(path.length()).position, 0.03, 0.02, 0.008) <= 1e-12);
    auto const refused = [](std::string const& keys) { return refusal_of([&] { (void)read(keys); }); };
    CHECK(has(refused(focused), "exactly one of normals and towards is needed"));
    CHECK(has(refused("towards = [0, 0, 1]\n" + shown), "focus_mm: this key is missing"));
}

TEST_CASE("what cannot have been shown is refused with its place") {
    auto const refused = [](std::string const& keys) { return refusal_of([&] { (void)read(keys); }); };
    auto const lid = std::string("face = \"lid\"\n");
    CHECK(
        has(refused(lid + with(shown, "x_mirror_deg = 1", "x_mirror_deg = 30")), "beyond the head's range"));
    CHECK(has(refused(lid + with(shown, "[50, 20, 400]", "[50, 20, -400]")), "behind"));
    CHECK(has(refused(lid + with(shown, "[0, 0, 0], x_mirror_deg = 1", "[0, 0, 90], x_mirror_deg = 1")),
              "job.toml:"));
    CHECK(has(refused(lid + with(shown, "position_mm = [30, 20, 500]", "position_mm = [10, 20, 500]") +
                      "points_mm = [[0, 0, 0], [1, 0, 0]]\n"),
              "exactly one of points_mm and shown is needed"));
    // Two of one place.
    auto twice =
        with(shown, "[30, 20, 500], rotation_zyx_deg = [0, 0, 0], x_mirror_deg = 0, y_mirror_deg = 2",
             "[10, 20, 500], rotation_zyx_deg = [0, 0, 0], x_mirror_deg = 0, y_mirror_deg = 0");
    CHECK(has(refused(lid + twice), "taught points 1 and 2 are one place"));
    // A part that turns.
    TemporaryFolder const folder;
    auto turning =
        with(small_job.substr(0, small_job.find("[[seam]]")), "[limits]",
             "turn = { axis_point_mm = [0, 0, 0], axis = [0, 0, 1], velocity_deg_s = 5, at_s = 0 }\n"
             "[limits]");
    CHECK(has(refusal_of([&] {
                  (void)job_from(folder.file("turning.toml",
                                             turning +
                                                 "[[seam]]\nname = \"A\"\nstart_s = 0.5\nspeed_m_per_min = "
                                                 "6\nshape = \"taught\"\n" +
                                                 lid + shown));
              }),
              "points are shown on a part at rest"));
}
