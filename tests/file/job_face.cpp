#include "jobs.hpp"
#include "seamhold/file/job.hpp"
#include "seamhold/file/report.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <sstream>
#include <string>
#include <vector>

// The faces of a job file and a part that stands where it was touched. Expected places are worked out by hand
// from the solids, not from the flattened faces. All numbers are invented.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double pi = 3.14159265358979323846;
constexpr double mm = 1e-3;

/// The small job with one face named f of these keys, and one seam on it at 6 m/min.
std::string job_on(std::string const& face, std::string const& seam) {
    return small_job.substr(0, small_job.find("[[face]]")) + "[[face]]\nname = \"f\"\n" + face +
           "[[seam]]\nname = \"A\"\nface = \"f\"\nstart_s = 0.5\nspeed_m_per_min = 6\n" + seam;
}

JobFile read(std::string const& job) {
    TemporaryFolder const folder;
    return job_from(folder.file("job.toml", job));
}

SurfacePoint<double> end_of(JobFile const& job) {
    auto const& seam = job.seams.at(0).seam;
    return seam.at(seam.duration());
}

double distance(Point<Part> const& p, double x, double y, double z) {
    return std::sqrt((p.x - x) * (p.x - x) + (p.y - y) * (p.y - y) + (p.z - z) * (p.z - z));
}
double distance(Direction<Part> const& d, double x, double y, double z) {
    return std::sqrt((d.x - x) * (d.x - x) + (d.y - y) * (d.y - y) + (d.z - z) * (d.z - z));
}

std::string digits(double x) {
    std::ostringstream text;
    text.precision(17);
    text << x;
    return text.str();
}

/// A straight seam from the face's origin to a place in mm.
std::string line_to(double x, double y) {
    return "shape = \"straight\"\nfrom_mm = [0, 0]\nto_mm = [" + digits(x) + ", " + digits(y) + "]\n";
}

std::string const flat = "position_mm = [0, 0, 0]\nrotation_zyx_deg = [0, 0, 0]\n";
// Stored by arc length: places (m) and unit normals to 3e-13.
constexpr double stored = 1e-12;

} // namespace

TEST_CASE("a plane stands by a pose, by a place and its normal, or by three touched points") {
    // A slope that falls by 45° along x: (10, 20) mm of the face are (10/√2, 20, −10/√2) mm off its origin.
    double const half = std::sqrt(0.5);
    std::string const seam = line_to(10, 20);
    for (std::string const face :
         {"position_mm = [100, 0, 50]\nrotation_zyx_deg = [0, 45, 0]\n",
          "at_mm = [100, 0, 50]\nnormal = [3, 0, 3]\n",
          "at_mm = [100, 0, 50]\nnormal = [3, 0, 3]\nalong = [1, 0, 0]\n",
          "form = \"plane\"\ntouched_mm = [[100, 0, 50], [130, 0, 20], [110, 5, 40]]\n",
          "touched_mm = [[100, 0, 50], [130, 0, 20], [110, 5, 40]]\ntowards_mm = [110, 0, 500]\n"}) {
        CAPTURE(face);
        auto const p = end_of(read(job_on(face, seam)));
        CHECK(distance(p.position, (100 + 10 * half) * mm, 20 * mm, (50 - 10 * half) * mm) < 1e-15);
        // Touched, the bits of 130 mm count for a point 7 mm aside.
        CHECK(distance(p.normal, half, 0, half) < 1e-14);
    }
    auto const turned =
        end_of(read(job_on("at_mm = [0, 0, 0]\nnormal = [0, 0, 1]\nalong = [0, 2, 0]\n", seam)));
    CHECK(distance(turned.position, -20 * mm, 10 * mm, 0) < 1e-15);
}

TEST_CASE("a seam goes around tubes, cones, balls and rings, outside and inside") {
    SUBCASE("a quarter around a tube of 40 mm radius") {
        auto const outside =
            end_of(read(job_on("form = \"cylinder\"\nradius_mm = 40\n" + flat, line_to(0, 40 * pi / 2))));
        CHECK(distance(outside.position, 0, 40 * mm, -40 * mm) < stored);
        CHECK(distance(outside.normal, 0, 1, 0) < stored);
        auto const inside =
            end_of(read(job_on("form = \"cylinder\"\nradius_mm = -40\n" + flat, line_to(7, 40 * pi / 2))));
        CHECK(distance(inside.position, 7 * mm, 40 * mm, 40 * mm) < stored);
        CHECK(distance(inside.normal, 0, -1, 0) < stored);
    }
    SUBCASE("half around a cone") {
        // The apex lies 100 mm behind the face's origin along the generator; the half angle is 30°, so that a
        // turn of the cone is sin 30° of a turn in the drawing. By reflection in the axis, which falls by 30°
        // from the generator, the other side is the apex + 100 mm along (cos 60°, 0, −sin 60°).
        auto const job =
            read(job_on("form = \"cone\"\nhalf_angle_deg = 30\nfrom_apex_mm = 100\n" + flat,
                        "shape = \"arc\"\ncenter_mm = [-100, 0]\nradius_mm = 100\nstart_deg = 0\n"
                        "turn_deg = 90\n"));
        CHECK(distance(end_of(job).position, (-100 + 50) * mm, 0, -100 * std::sqrt(0.75) * mm) < 1e-12);
        CHECK(std::abs(job.seams[0].seam.length() - 50 * pi * mm) < 1e-12); // nothing is stretched
        CHECK(seams_text(job.placing).empty());
    }
    SUBCASE("over a ball") {
        auto const quarter =
            read(job_on("form = \"sphere\"\nradius_mm = 50\n" + flat, line_to(50 * pi / 2, 0)));
        CHECK(distance(end_of(quarter).position, 50 * mm, 0, -50 * mm) < stored);
        CHECK(distance(end_of(quarter).normal, 1, 0, 0) < stored);
        // A circle drawn 50 mm · π/3 about the top is one of latitude, of radius 50 mm sin 60°.
        std::string const around =
            "shape = \"circle\"\ncenter_mm = [0, 0]\ndiameter_mm = 104.71975511965977\n";
        auto const job = read(job_on("form = \"sphere\"\nradius_mm = -50\n" + flat, around));
        CHECK(std::abs(job.seams[0].seam.length() - 2 * pi * 50 * mm * std::sin(pi / 3)) < 1e-11);
        CHECK(distance(job.seams[0].seam.at(0.0).position, 50 * std::sin(pi / 3) * mm, 0, 25 * mm) < 1e-12);
        REQUIRE(job.placing.seams.at(0).stretch.has_value());
        auto const stretch = *job.placing.seams[0].stretch; // sin φ / φ at φ = π/3
        CHECK(std::abs(stretch.least - std::sin(pi / 3) / (pi / 3)) < 1e-12);
        CHECK(std::abs(stretch.most - std::sin(pi / 3) / (pi / 3)) < 1e-12);
        // 0.82699… of what is drawn, all the way.
        CHECK(seams_text(job.placing).find("  A  the face makes it 82.70 % at ") == 0);
        CHECK(seams_text(job.placing).find(" mm to 82.70 % at ") != std::string::npos);
    }
    SUBCASE("around a bent tube: its ring 100 mm, the tube 20 mm") {
        std::string const face = "form = \"torus\"\nring_radius_mm = 100\ntube_radius_mm = 20\n" + flat;
        auto const over = end_of(read(job_on(face, line_to(0, 20 * pi / 2))));
        CHECK(distance(over.position, 0, 20 * mm, -20 * mm) < stored);
        CHECK(distance(over.normal, 0, 1, 0) < stored);
        auto const along = end_of(read(job_on(face, line_to(120 * pi / 2, 0))));
        CHECK(distance(along.position, 120 * mm, 0, -120 * mm) < stored);
    }
    SUBCASE("a point held on a tube") {
        std::string const face = "form = \"cylinder\"\nradius_mm = 40\n" + flat;
        auto const job =
            read(with(job_on(face, "shape = \"point\"\nat_mm = [7, " + digits(20 * pi) + "]\nhold_s = 0.1\n"),
                      "speed_m_per_min = 6\n", ""));
        auto const p = job.seams[0].seam.at(0.05);
        CHECK(distance(p.position, 7 * mm, 40 * mm, -40 * mm) < stored);
        CHECK(distance(p.normal, 0, 1, 0) < stored);
    }
    SUBCASE("a corner on a tube, with a weave that swings along it") {
        auto const job =
            read(job_on("form = \"cylinder\"\nradius_mm = 3\n" + flat,
                        "shape = \"polyline\"\npoints_mm = [[0, 0], [0, 6], [20, 6]]\n"
                        "travel = { acceleration_m_s2 = 5, corners = \"stop\" }\n"
                        "weave = { form = \"circle\", frequency_Hz = 100, amplitude_mm = 4 }\n"));
        // The circle's weave begins 4 mm before the start: 4/3 rad around the tube.
        CHECK(distance(job.seams[0].seam.at(0.0).position, 0, -3 * std::sin(4.0 / 3) * mm,
                       -3 * (1 - std::cos(4.0 / 3)) * mm) < stored);
        CHECK(seams_text(job.placing) == "  A  corner at 6.0 mm (90.0°): the spot stops there\n");
    }
}

TEST_CASE("a face of triangles from a file beside the job") {
    TemporaryFolder const folder;
    // A plate of 10 mm squares from −50 to 50 mm, 5 mm high.
    std::string solid = "solid plate\n";
    auto const corner = [](int x, int y) {
        return "vertex " + std::to_string(x) + " " + std::to_string(y) + " 5\n";
    };
    auto const facet = [&](std::string const& corners) {
        solid += "facet normal 0 0 1\nouter loop\n" + corners + "endloop\nendfacet\n";
    };
    for (int x = -50; x < 50; x += 10)
        for (int y = -50; y < 50; y += 10) {
            facet(corner(x, y) + corner(x + 10, y) + corner(x + 10, y + 10));
            facet(corner(x, y) + corner(x + 10, y + 10) + corner(x, y + 10));
        }
    folder.file("plate.stl", solid + "endsolid plate\n");
    std::string const face = "form = \"mesh\"\nfile = \"plate.stl\"\nunit = \"mm\"\nat_mm = [3, 4, 80]\n"
                             "normal = [0, 0, 1]\n";
    auto const job = job_from(folder.file("job.toml", job_on(face, line_to(20, 10))));
    CHECK(distance(end_of(job).position, 23 * mm, 14 * mm, 5 * mm) < 1e-9);
    CHECK(distance(end_of(job).normal, 0, 0, 1) < 1e-9);
    // One line: lengths on a plate are those drawn.
    CHECK(seams_text(job.placing).find("  A  the face makes it 100.00 % at ") == 0);
    auto const message = [&](std::string const& some_face, std::string const& seam) {
        return message_of([&] { job_from(folder.file("job.toml", job_on(some_face, seam))); });
    };
    CHECK(message(with(face, "plate.stl", "none.stl"), line_to(9, 0)) ==
          "none.stl: cannot be read: No such file or directory");
    auto const in_metres = message(with(face, "\"mm\"", "\"cm\""), line_to(9, 0));
    CHECK(in_metres.find("face.unit: \"cm\" is not allowed; allowed are \"mm\", \"m\"") != std::string::npos);
    auto const off = message(face, line_to(60, 0));
    CHECK(off.find(": seam.face: ") != std::string::npos);
    CHECK(off.find("there is a hole, or the mesh ends") != std::string::npos);
    auto const missed = message(with(face, "[3, 4, 80]", "[300, 4, 80]"), line_to(9, 0));
    CHECK(missed.find("face.at_mm: the z axis of the face at (300, 4, 80) mm meets no triangle") !=
          std::string::npos);
}

TEST_CASE("a face that is not possible is refused at the key that is to blame") {
    struct Case {
        std::string face, at, message;
    };
    std::string const cylinder = "form = \"cylinder\"\n";
    for (Case const& c : std::vector<Case>{
             {"", "[[face]]", "face.position_mm: exactly one of position_mm, at_mm and touched_mm is needed"},
             {flat + "at_mm = [0, 0, 0]\n", "[0, 0, 0]\n[[", "face.at_mm: exactly one of position_mm, at_mm"},
             {flat + "form = \"saddle\"\n", "\"saddle\"",
              "face.form: \"saddle\" is not allowed; allowed are \"plane\", \"cylinder\", \"cone\", "
              "\"sphere\", \"torus\", \"mesh\""},
             {flat + "radius_mm = 5\n", "radius_mm", "face.radius_mm: this key is not known here"},
             {cylinder + flat, "[[face]]", "face.radius_mm: this key is missing"},
             {cylinder + flat + "radius_mm = 0\n", "0\n[[",
              "face.radius_mm: a cylinder's radius must be finite and not 0"},
             {cylinder + "radius_mm = 5\ntouched_mm = [[0, 0, 0], [1, 0, 0], [0, 1, 0]]\n", "[[0, 0, 0]",
              "face.touched_mm: three touched points make a plane"},
             {"touched_mm = [[0, 0, 0], [1, 0, 0]]\n", "[[0, 0, 0]",
              "face.touched_mm: three points are needed: the origin, one on the x axis, one on the side of "
              "y; "
              "given are 2"},
             {"touched_mm = [[0, 0, 0], [1, 0, 0], [2, 0, 0]]\n", "[[0, 0, 0]",
              "face.touched_mm: the three points lie on one line: the one on the side of y, (2, 0, 0) mm"},
             {"touched_mm = [[0, 0, 0], [0, 1, 0], [1, 0, 0]]\ntowards_mm = [0, 0, 9]\n", "[0, 0, 9]",
              "face.towards_mm: the normal of the three points leans away from (0, 0, 9) mm"},
             {"at_mm = [0, 0, 0]\nnormal = [0, 0, 0]\n", "[0, 0, 0]\n[[",
              "face.normal: a direction is needed: not all three may be 0"},
             {"at_mm = [0, 0, 0]\nnormal = [1, 0, 0]\n", "[1, 0, 0]",
              "face.normal: the face's x direction runs along its normal"},
             {"at_mm = [0, 0, 0]\nnormal = [0, 0, 1]\nalong = [0, 0, 3]\n", "[0, 0, 3]",
              "face.along: the face's x direction runs along its normal"},
             {"form = \"cone\"\nfrom_apex_mm = 5\nhalf_angle_deg = 90\n" + flat, "90\n",
              "face.half_angle_deg: a cone's half angle must lie between 0° and 90°"},
             {"form = \"cone\"\nfrom_apex_mm = 0\nhalf_angle_deg = 9\n" + flat, "0\nhalf",
              "face.from_apex_mm: 0 is not allowed: it must be above 0"},
             {"form = \"sphere\"\nradius_mm = 0\n" + flat, "0\npos",
              "face.radius_mm: a sphere's radius must be finite and not 0"},
             {"form = \"torus\"\nring_radius_mm = 9\ntube_radius_mm = 0\n" + flat, "0\npos",
              "face.tube_radius_mm: a torus's tube radius must be finite and not 0"},
             {"form = \"torus\"\nring_radius_mm = 9\ntube_radius_mm = -9\n" + flat, "9\ntube",
              "face.ring_radius_mm: a torus's ring and tube radius together must be finite and not 0"},
         }) {
        CAPTURE(c.face);
        TemporaryFolder const folder;
        auto const job = job_on(c.face, line_to(9, 0));
        auto const found = job.find(c.at, job.find("[[face]]"));
        std::string const before = job.substr(0, found);
        auto const row = std::to_string(std::count(before.begin(), before.end(), '\n') + 1);
        auto const column = std::to_string(found - before.rfind('\n'));
        std::string const message = "job.toml:" + row + ":" + column + ": " + c.message;
        CHECK(message_of([&] { job_from(folder.file("job.toml", job)); }).substr(0, message.size()) ==
              message);
    }
    // A seam over the apex of a cone.
    TemporaryFolder const folder;
    auto const over = message_of([&] {
        job_from(
            folder.file("job.toml", job_on("form = \"cone\"\nfrom_apex_mm = 5\nhalf_angle_deg = 20\n" + flat,
                                           "shape = \"straight\"\nfrom_mm = [0, 0]\nto_mm = [-9, 0]\n")));
    });
    CHECK(over.find(": seam.face: ") != std::string::npos);
}

TEST_CASE("a part stands where its points were touched, and the report says how well") {
    TemporaryFolder const folder;
    auto const part_of = [](std::string const& keys) {
        return with(small_job, "[part]\nposition_mm = [0, 0, 0]\nrotation_zyx_deg = [0, 0, 0]\n",
                    "[part]\n" + keys);
    };
    // A square of 200 mm, turned by a quarter and moved by (10, 20, 30) mm: (x, y) lies at (10 − y, 20 + x).
    // One diagonal was touched 0.1 mm high, the other 0.1 mm low: no turn and no shift makes that less.
    std::string const touched = "touched = [\n"
                                "{ part_mm = [-100, -100, 0], cell_mm = [110, -80, 30.1] },\n"
                                "{ part_mm = [100, -100, 0], cell_mm = [110, 120, 29.9] },\n"
                                "{ part_mm = [100, 100, 0], cell_mm = [-90, 120, 30.1] },\n"
                                "{ part_mm = [-100, 100, 0], cell_mm = [-90, -80, 29.9] },\n]\n";
    auto const loaded =
        loaded_from(folder.file("job.toml", part_of(touched)), folder.file("log.csv", resting_log()));
    auto const pose = loaded.job.chain.cell_from_part.at(0.0);
    // Flatly foreshortened by the warp: the square of 0.1 / 141 mm, a few 1e-7 of 141 mm.
    CHECK(std::abs(pose.origin.x - 0.01) < 1e-12);
    CHECK(std::abs(pose.origin.y - 0.02) < 1e-12);
    CHECK(std::abs(pose.origin.z - 0.03) < 1e-12);
    CHECK(std::abs(pose.rotation.m[0][1] + 1) < 1e-12);
    CHECK(std::abs(pose.rotation.m[1][0] - 1) < 1e-12);
    REQUIRE(loaded.placing.part.has_value());
    CHECK(std::abs(loaded.placing.part->rms - 1e-4) < 1e-12);
    auto const text =
        report_text(loaded.title, loaded.log, report(loaded.job, 1e-3), 1e-3, loaded.head, loaded.placing);
    CHECK(text.find(
              "\nPART as touched\n  touched points  4: met within 0.100 mm rms, 0.100 mm at worst, point ") !=
          std::string::npos);
    CHECK(text.find("\n  point 3         0.100 mm off\n") != std::string::npos);
    CHECK(text.find("SEAMS as they lie") == std::string::npos);
    auto const plain =
        loaded_from(folder.file("plain.toml", small_job), folder.file("log.csv", resting_log()));
    CHECK(report_text(plain.title, plain.log, report(plain.job, 1e-3), 1e-3, plain.head, plain.placing)
              .find("PART as touched") == std::string::npos);

    CHECK_NOTHROW(job_from(folder.file("job.toml", part_of(touched + "largest_miss_mm = 0.101\n"))));
    auto const refused = [&](std::string const& keys) {
        auto const job = part_of(keys);
        auto const message = message_of([&] { job_from(folder.file("job.toml", job)); });
        std::string const front = "job.toml:" + place_of("[\n{ part", job) + ": part.touched: ";
        return message.find(front) == 0 ? message.substr(front.size()) : message;
    };
    CHECK(refused(touched + "largest_miss_mm = 0.05\n")
              .find(" is 0.100 mm from where all together say; allowed "
                    "are 0.05 mm") != std::string::npos);
    CHECK(refused("touched = [\n{ part_mm = [0, 0, 0], cell_mm = [1, 2, 3] },\n"
                  "{ part_mm = [9, 0, 0], cell_mm = [10, 2, 3] }]\n") ==
          "a pose needs at least 3 touched points, 2 given");
    CHECK(refused("touched = [\n{ part_mm = [0, 0, 0], cell_mm = [0, 0, 0] },\n"
                  "{ part_mm = [9, 0, 0], cell_mm = [9, 0, 0] },\n"
                  "{ part_mm = [99, 0, 0], cell_mm = [99, 0, 0] }]\n")
              .find("all points lie on one line: of the line through known point ") == 0);
    CHECK(refused("touched = [\n{ part_mm = [0, 0, 0], tip_mm = [0, 0, 0] }]\n")
              .find("part.touched.cell_mm: this key is missing") != std::string::npos);
    CHECK(refused("rotation_zyx_deg = [0, 0, 0]\n")
              .find("part.position_mm: exactly one of position_mm and touched is needed") !=
          std::string::npos);
}
