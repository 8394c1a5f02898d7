#include "jobs.hpp"
#include "seamhold/file/commands.hpp"
#include "seamhold/file/csv.hpp"
#include "seamhold/file/job.hpp"
#include "seamhold/file/report.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <vector>

// The seams of a job file: the same shapes composed in code, and their places worked out by hand. All
// numbers are invented.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double pi = 3.14159265358979323846;
constexpr double mm = 1e-3;

/// The small job with these seams (and other tables) for its own.
std::string job_with(std::string const& seams) {
    return small_job.substr(0, small_job.find("[[seam]]")) + seams;
}

/// The same with one seam on the lid at 6 m/min (100 mm/s) from 0.5 s on.
std::string job_of(std::string const& keys) {
    return job_with("[[seam]]\nname = \"A\"\nface = \"lid\"\nstart_s = 0.5\nspeed_m_per_min = 6\n" + keys);
}

JobFile read(std::string const& job) {
    TemporaryFolder const folder;
    return job_from(folder.file("job.toml", job));
}

double distance(Point<Part> const& p, double x, double y, double z = 0) {
    return std::sqrt((p.x - x) * (p.x - x) + (p.y - y) * (p.y - y) + (p.z - z) * (p.z - z));
}

} // namespace

TEST_CASE("every shape, as composed in code and with ends and lengths by hand") {
    struct Case {
        std::string keys;
        DrawnShape shape;
        std::array<double, 2> start, end; // mm
        double length;                    // mm; below 0: none by hand
    };
    double const arc_30 = 30 * pi / 180, root_3 = std::sqrt(3.0);
    std::vector<Case> const cases{
        {"shape = \"ring\"\nat_mm = [10, 20]\ndiameter_mm = 8\noverlap_mm = 2\nstart_deg = 90",
         ring(8 * mm, 2 * mm, pi / 2).moved(10 * mm, 20 * mm),
         {10, 24},
         {10 - 4 * std::sin(0.5), 20 + 4 * std::cos(0.5)}, // 2 mm on a radius of 4
         8 * pi + 2},
        // The opening of half the diameter is seen from the middle under ±30°.
        {"shape = \"c\"\nat_mm = [0, 0]\ndiameter_mm = 8\nopening_mm = 4",
         c_stitch(8 * mm, 4 * mm),
         {2 * root_3, 2},
         {2 * root_3, -2},
         4 * (2 * pi - 2 * arc_30)},
        // Turned by 90°, its legs point to −x.
        {"shape = \"staple\"\nat_mm = [10, 20]\nturn_deg = 90\nback_mm = 12\nleg_mm = 5\n"
         "corner_radius_mm = 2",
         staple(12 * mm, 5 * mm, 2 * mm).moved(10 * mm, 20 * mm, pi / 2),
         {5, 14},
         {5, 26},
         12 + 2 * 5 - 2 * (2 * 2 - pi)},
        {"shape = \"s\"\nat_mm = [0, 1]\ndiameter_mm = 6",
         s_stitch(6 * mm).moved(0, 1 * mm),
         {-6, 1},
         {6, 1},
         6 * pi},
        {"shape = \"slot\"\nat_mm = [0, 0]\nlength_mm = 10\nwidth_mm = 4\noverlap_mm = 1",
         slot(10 * mm, 4 * mm, 1 * mm),
         {0, -2},
         {1, -2},
         2 * 6 + 4 * pi + 1},
        // Abramowitz and Stegun, table 17.1: E(m = 0.75) = 1.2110560275684594; circumference 4 a E.
        {"shape = \"ellipse\"\nat_mm = [0, 0]\nlength_mm = 20\nwidth_mm = 10",
         ellipse(20 * mm, 10 * mm),
         {10, 0},
         {10, 0},
         40 * 1.2110560275684594},
        {"shape = \"wave\"\nat_mm = [0, 0]\npitch_mm = 4\namplitude_mm = 1\npitches = 2.25",
         wave(4 * mm, 1 * mm, 9 * mm),
         {0, 0},
         {9, 1},
         -1},
        {"shape = \"wave\"\nat_mm = [0, 0]\nmirrored = true\npitch_mm = 4\namplitude_mm = 1\nlength_mm = 9",
         wave(4 * mm, 1 * mm, 9 * mm).mirrored({0, 0}, 0),
         {0, 0},
         {9, -1},
         -1},
        {"shape = \"spiral\"\nat_mm = [0, 0]\ninner_radius_mm = 1\nouter_radius_mm = 3\npitch_mm = 1\n"
         "start_deg = 90",
         spiral_out(1 * mm, 3 * mm, 1 * mm, pi / 2),
         {0, 1},
         {0, 3},
         -1},
        {"shape = \"spiral\"\nat_mm = [0, 0]\ninner_radius_mm = 1\nouter_radius_mm = 3\npitch_mm = 1\n"
         "inwards = true",
         spiral_in(1 * mm, 3 * mm, 1 * mm),
         {3, 0},
         {1, 0},
         -1},
        {"shape = \"polyline\"\npoints_mm = [[0, 0], [10, 0], [10, 10]]\ncorner_radius_mm = 4",
         polyline({{0, 0}, {10 * mm, 0}, {10 * mm, 10 * mm}}, 4 * mm),
         {0, 0},
         {10, 10},
         20 - 8 + 2 * pi},
        {"shape = \"polyline\"\nat_mm = [5, 0]\npoints_mm = [[0, 0], [10, 0], [10, 10], [0, 10]]\n"
         "corner_radius_mm = 2\nclosed = true\noverlap_mm = 1",
         closed_polyline({{0, 0}, {10 * mm, 0}, {10 * mm, 10 * mm}, {0, 10 * mm}}, 2 * mm, 1 * mm)
             .moved(5 * mm, 0),
         {10, 0},
         {11, 0},
         4 * 6 + 4 * pi + 1},
        {"shape = \"curve\"\npoints_mm = [[0, 0], [5, 4], [10, 0], [15, -4]]\nreversed = true",
         smooth_curve({{0, 0}, {5 * mm, 4 * mm}, {10 * mm, 0}, {15 * mm, -4 * mm}}).reversed(),
         {15, -4},
         {0, 0},
         -1},
        {"shape = \"curve\"\npoints_mm = [[5, 0], [0, 5], [-5, 0], [0, -5]]\nclosed = true",
         smooth_loop({{5 * mm, 0}, {0, 5 * mm}, {-5 * mm, 0}, {0, -5 * mm}}),
         {5, 0},
         {5, 0},
         -1},
        {"shape = \"straight\"\nfrom_mm = [0, 0]\nto_mm = [30, 40]\nreversed = true",
         straight_between({30 * mm, 40 * mm}, {0, 0}),
         {30, 40},
         {0, 0},
         50},
        {"shape = \"arc\"\ncenter_mm = [0, 0]\nradius_mm = 10\nstart_deg = 0\nturn_deg = 90\nreversed = true",
         arc_around({0, 0}, 10 * mm, pi / 2, -pi / 2),
         {0, 10},
         {10, 0},
         5 * pi},
    };
    for (auto const& c : cases) {
        CAPTURE(c.keys);
        auto const job = read(job_of(c.keys));
        REQUIRE(job.seams.size() == 1);
        auto const& seam = job.seams[0].seam;
        CHECK(job.seams[0].name == "A");
        double const length = c.shape.length();
        // Places below 50 mm: a micron's billionth is a hundred roundings.
        CHECK(distance(seam.at(0.0).position, c.start[0] * mm, c.start[1] * mm) < 1e-15);
        CHECK(distance(seam.at(seam.duration()).position, c.end[0] * mm, c.end[1] * mm) < 1e-15);
        CHECK(std::abs(seam.length() - length) < 1e-17 + 1e-15 * length);
        if (c.length > 0)
            CHECK(std::abs(seam.length() - c.length * mm) < 1e-14 * length);
        CHECK(std::abs(seam.duration() - length / 0.1) < 1e-15);
        for (double const share : {0.13, 0.5, 0.77}) {
            auto const p = c.shape.at(share * length);
            CHECK(distance(seam.at(share * seam.duration()).position, p.x, p.y) < 1e-15);
        }
        CHECK(seams_text(job.placing).empty()); // a plane stretches nothing, and no corner is left
    }
}

TEST_CASE("a shape is mirrored in its own x axis, then turned, then moved") {
    std::string const keys = "shape = \"staple\"\nat_mm = [10, 20]\nturn_deg = 90\nmirrored = true\n"
                             "reversed = true\nback_mm = 12\nleg_mm = 5\ncorner_radius_mm = 2";
    auto const seam = read(job_of(keys)).seams[0].seam;
    // Drawn from (−6, 5) to (6, 5); mirrored (−6, −5) to (6, −5); by 90° (5, −6) to (5, 6); moved; reversed.
    CHECK(distance(seam.at(0.0).position, 0.015, 0.026) < 1e-15);
    CHECK(distance(seam.at(seam.duration()).position, 0.015, 0.014) < 1e-15);
}

TEST_CASE("patterns are seams of their own, one after the other, with a gap") {
    std::string const stitch = "shape = \"c\"\ndiameter_mm = 8\nopening_mm = 4\ngap_ms = 5\n";
    double const duration = 4 * (2 * pi - pi / 3) * mm / 0.1;
    auto const half = [&](ScheduledSeam const& seam) { return seam.seam.at(duration / 2).position; };
    SUBCASE("a row") {
        auto const job = read(job_of(stitch + "at_mm = [0, 1]\nrow = { count = 3, step_mm = [10, 2] }\n"));
        REQUIRE(job.seams.size() == 3);
        for (std::size_t i = 0; i < 3; ++i) {
            auto const n = static_cast<double>(i);
            CHECK(job.seams[i].name == "A." + std::to_string(i + 1));
            CHECK(std::abs(job.seams[i].start - (0.5 + n * (duration + 0.005))) < 1e-14);
            // Half a C is at the far side from its opening.
            CHECK(distance(half(job.seams[i]), (-4 + 10 * n) * mm, (1 + 2 * n) * mm) < 1e-15);
        }
    }
    SUBCASE("a grid, there and back") {
        auto const job =
            read(job_of(stitch + "at_mm = [0, 0]\ngrid = { columns = 2, rows = 2, column_step_mm = "
                                 "[10, 0], row_step_mm = [0, 20] }\n"));
        REQUIRE(job.seams.size() == 4);
        double const x[] = {-4, 6, 6, -4}, y[] = {0, 0, 20, 20};
        for (std::size_t i = 0; i < 4; ++i)
            CHECK(distance(half(job.seams[i]), x[i] * mm, y[i] * mm) < 1e-15);
        // Back, each stitch is travelled the other way: it starts at the lower end.
        CHECK(job.seams[0].seam.at(0.0).position.y > 0);
        CHECK(job.seams[2].seam.at(0.0).position.y < 20 * mm);
    }
    SUBCASE("a grid, every row the same way") {
        auto const job =
            read(job_of(stitch + "at_mm = [0, 0]\ngrid = { columns = 2, rows = 2, column_step_mm = "
                                 "[10, 0], row_step_mm = [0, 20], there_and_back = false }\n"));
        CHECK(distance(half(job.seams[2]), -4 * mm, 20 * mm) < 1e-15);
        CHECK(job.seams[2].seam.at(0.0).position.y > 20 * mm);
    }
    SUBCASE("around a circle, turning with it or not") {
        std::string const round =
            "round = { count = 4, center_mm = [100, 0], diameter_mm = 60, first_deg = 90";
        auto const turning = read(job_of(stitch + round + " }\n"));
        REQUIRE(turning.seams.size() == 4);
        // The opening (+x) points outwards, so the half-way place lies 4 mm inside of the circle.
        CHECK(distance(half(turning.seams[0]), 100 * mm, 26 * mm) < 1e-15);
        CHECK(distance(half(turning.seams[1]), 74 * mm, 0) < 1e-15);
        auto const upright = read(job_of(stitch + round + ", turning = false }\n"));
        CHECK(distance(half(upright.seams[0]), 96 * mm, 30 * mm) < 1e-15);
        CHECK(distance(half(upright.seams[1]), 66 * mm, 0) < 1e-15);
    }
    SUBCASE("of points") {
        auto const job =
            read(job_with("[[seam]]\nname = \"T\"\nface = \"lid\"\nstart_s = 1\nshape = \"point\"\n"
                          "at_mm = [1, 2]\nhold_s = 0.02\ngap_ms = 10\n"
                          "row = { count = 2, step_mm = [0, 5] }\n"));
        REQUIRE(job.seams.size() == 2);
        CHECK(job.seams[1].name == "T.2");
        CHECK(job.seams[1].start == doctest::Approx(1.03).epsilon(1e-15));
        CHECK(distance(job.seams[1].seam.at(0.01).position, 1 * mm, 7 * mm) < 1e-16);
        CHECK(job.seams[1].seam.length() == 0);
    }
}

TEST_CASE("a text is a seam a stroke") {
    std::string const front = "shape = \"lettering\"\nheight_mm = 6\ngap_ms = 5\n";
    // A unit of the alphabet is 1 mm at this height: I is 0 wide, the gap 1.5 mm, the stroke of - 3 mm up.
    auto const straight = read(job_of(front + "text = \"I-\"\nfrom_mm = [10, 20]\nturn_deg = 90\n"));
    REQUIRE(straight.seams.size() == 2);
    CHECK(straight.seams[0].name == "A.1");
    auto const& i = straight.seams[0].seam;
    auto const& dash = straight.seams[1].seam;
    CHECK(distance(i.at(0.0).position, 4 * mm, 20 * mm) < 1e-15); // written from its top, which is at −x
    CHECK(distance(i.at(i.duration()).position, 10 * mm, 20 * mm) < 1e-15);
    CHECK(distance(dash.at(0.0).position, 7 * mm, 21.5 * mm) < 1e-15);
    CHECK(distance(dash.at(dash.duration()).position, 7 * mm, 23.9 * mm) < 1e-15);
    CHECK(straight.seams[1].start == doctest::Approx(0.5 + 0.06 + 0.005).epsilon(1e-14));
    auto const back = read(job_of(front + "text = \"I-\"\nfrom_mm = [10, 20]\nreversed = true\n"));
    CHECK(distance(back.seams[0].seam.at(0.0).position, 13.9 * mm, 23 * mm) < 1e-15);

    std::string const around = "text = \"I\"\naround = { center_mm = [0, 0], radius_mm = 30, middle_deg = ";
    auto const outside = read(job_of(front + around + "0 }\n")).seams[0].seam;
    CHECK(distance(outside.at(0.0).position, 36 * mm, 0) < 1e-15);
    auto const inside = read(job_of(front + around + "90, inside = true }\n")).seams[0].seam;
    CHECK(distance(inside.at(0.0).position, 0, 24 * mm) < 1e-15);

    auto const long_text = read(job_of(front + "spacing = 0.5\ntext = \"A7-B.4/9+Z\"\nfrom_mm = [-60, 0]\n"));
    auto const composed = lettering("A7-B.4/9+Z", {6 * mm, 0.5}, StraightBaseline{{-60 * mm, 0}, 0});
    REQUIRE(long_text.seams.size() == composed.strokes.size());
    for (std::size_t k = 0; k < composed.strokes.size(); ++k) {
        auto const p = composed.strokes[k].shape.at(0.001);
        CHECK(distance(long_text.seams[k].seam.at(0.01).position, p.x, p.y) < 1e-15);
    }
}

TEST_CASE("points taught on the part make a seam without a face") {
    std::string const front =
        "[[seam]]\nname = \"A\"\nstart_s = 0.5\nspeed_m_per_min = 6\nshape = \"taught\"\n";
    // On a slope of 45° about y: straight on, 20 √2 mm.
    std::string const points = "points_mm = [[0, 5, 0], [10, 5, -10], [20, 5, -20]]\n";
    auto const seam = read(job_with(front + points + "towards = [0, 0, 2]\n")).seams[0].seam;
    CHECK(std::abs(seam.length() - 20 * mm * std::sqrt(2.0)) < 1e-15);
    auto const middle = seam.at(seam.duration() / 2);
    CHECK(distance(middle.position, 10 * mm, 5 * mm, -10 * mm) < 1e-14); // stored by arc length, to 3e-13
    CHECK(std::abs(middle.normal.x - std::sqrt(0.5)) < 1e-12);
    CHECK(std::abs(middle.normal.z - std::sqrt(0.5)) < 1e-12);
    auto const back =
        read(job_with(front + points + "normals = [[1, 0, 1], [1, 0, 1], [1, 0, 1]]\nreversed = true\n"));
    CHECK(distance(back.seams[0].seam.at(0.0).position, 20 * mm, 5 * mm, -20 * mm) < 1e-14);
    CHECK(std::abs(back.seams[0].seam.at(0.1).normal.x - std::sqrt(0.5)) < 1e-12);

    auto const leaning = read(job_with(front + "points_mm = [[0, 0, 0], [9, 0, 0]]\nreversed = true\n"
                                               "normals = [[0, 0, 1], [0, 3, 4]]\n"));
    CHECK(std::abs(leaning.seams[0].seam.at(0.0).normal.y - 0.6) < 1e-12);

    auto const bent = read(job_with(front + "points_mm = [[0, 0, 0], [10, 5, 1], [20, 0, 0], [30, 8, 2]]\n"
                                            "normals = [[0, 0, 1], [0.1, 0, 1], [0, 0, 1], [0, 0.1, 1]]\n"));
    auto const path = path_through({{0, 0, 0}, {0.01, 0.005, 0.001}, {0.02, 0, 0}, {0.03, 0.008, 0.002}},
                                   {{0, 0, 1}, {0.1, 0, 1}, {0, 0, 1}, {0, 0.1, 1}});
    auto const p = path.at(0.017), q = bent.seams[0].seam.at(0.17);
    CHECK(distance(q.position, p.position.x, p.position.y, p.position.z) < 1e-15);
    CHECK(std::abs(q.normal.x - p.normal.x) < 1e-13);
}

TEST_CASE("a seam begins and ends at other speeds, slows in bends and stops at corners") {
    std::string const line = "shape = \"straight\"\nfrom_mm = [0, 0]\nto_mm = [50, 0]\n";
    auto const ramps =
        read(job_of(line + "travel = { start_m_per_min = 0, end_m_per_min = 3, acceleration_m_s2 = 2 }\n"))
            .seams[0]
            .seam;
    // 0.1 m/s at 2 m/s²: up in 50 ms over 2.5 mm, down to 0.05 m/s in 25 ms over 1.875 mm.
    double const even = (50 - 2.5 - 1.875) * mm / 0.1;
    CHECK(std::abs(ramps.duration() - (0.05 + 0.025 + even)) < 1e-13);
    CHECK(std::abs(ramps.arc_length(0.03) - 2 * 0.03 * 0.03 / 2) < 1e-15);
    CHECK(std::abs(ramps.feed(ramps.duration()) - 0.05) < 1e-12);
    CHECK(std::abs(ramps.feed(0.2) - 0.1) < 1e-12);
    // With the jerk limited, the acceleration takes 2/100 s to come and go, and so much longer is the ramp:
    // each of both, rest to rest, by a / j.
    auto const smooth = read(job_of(line + "travel = { start_m_per_min = 0, end_m_per_min = 0, "
                                           "acceleration_m_s2 = 2, jerk_m_s3 = 100 }\n"))
                            .seams[0]
                            .seam;
    CHECK(std::abs(smooth.duration() - (0.5 + 0.05 + 0.02)) < 1e-12);
    CHECK(smooth.feed(0.035) < 0.1);

    // A circle of 1 mm radius by 5 m/s²: √(5 · 1e-3) m/s = 70.7 mm/s all around.
    auto const bend =
        read(job_of("shape = \"circle\"\ncenter_mm = [0, 0]\ndiameter_mm = 2\n"
                    "travel = { acceleration_m_s2 = 2, lateral_m_s2 = 5, start_m_per_min = 1 }"));
    CHECK(std::abs(bend.seams[0].seam.feed(bend.seams[0].seam.duration() * 0.9) - std::sqrt(5e-3)) < 1e-12);

    std::string const corner = "shape = \"polyline\"\npoints_mm = [[0, 0], [20, 0], [20, 30]]\n";
    auto const stop = read(job_of(corner + "travel = { acceleration_m_s2 = 2, corners = \"stop\" }\n"));
    // From full speed to rest over 2.5 mm in 50 ms before and after the corner: 50 ms more than without.
    auto const& s = stop.seams[0].seam;
    CHECK(std::abs(s.duration() - 0.55) < 1e-13);
    double const at = s.travel.time_at(20 * mm);
    CHECK(s.feed(at) < 1e-6);
    CHECK(distance(s.at(at).position, 20 * mm, 0) < 1e-12);
    REQUIRE(stop.placing.seams.size() == 1);
    CHECK(seams_text(stop.placing) == "  A  corner at 20.0 mm (90.0°): the spot stops there\n");
    auto const slow = read(job_of(corner + "travel = { acceleration_m_s2 = 2, corners = \"slow\", "
                                           "corner_m_per_min = 3 }\n"));
    auto const& w = slow.seams[0].seam;
    CHECK(std::abs(w.feed(w.travel.time_at(20 * mm)) - 0.05) < 1e-9);
    CHECK(seams_text(slow.placing) == "  A  corner at 20.0 mm (90.0°): passed at 3.00 m/min\n");
    auto const many =
        read(job_of("shape = \"polyline\"\npoints_mm = [[0, 0], [9, 0], [9, 9], [0, 9], [0, 18], "
                    "[9, 18], [9, 27]]\ntravel = { acceleration_m_s2 = 2, corners = \"stop\" }\n"));
    CHECK(seams_text(many.placing) == "  A  corners at 9.0 mm (90.0°), 18.0 mm (90.0°), 27.0 mm (90.0°), "
                                      "36.0 mm (90.0°) and 1 more: the spot stops there\n");
}

TEST_CASE("a weave has a form and may grow") {
    std::string const line = "shape = \"straight\"\nfrom_mm = [0, 0]\nto_mm = [50, 0]\n"; // 0.5 s
    auto const with_weave = [&](std::string const& weave) {
        return read(job_of(line + "weave = { " + weave + " }\n")).seams[0].seam;
    };
    double const t = 1 / 400.0; // a quarter of a swing at 100 Hz
    // Left of the travel along x is +y.
    auto const sine = with_weave("frequency_Hz = 100, amplitude_mm = 0.5, form = \"sine\"");
    CHECK(distance(sine.at(t).position, 0.1 * t, 0.5 * mm) < 1e-15);
    auto const circle = with_weave("frequency_Hz = 100, amplitude_mm = 0.5, form = \"circle\"");
    CHECK(distance(circle.at(0.0).position, -0.5 * mm, 0) < 1e-15);
    CHECK(distance(circle.at(t).position, 0.1 * t, 0.5 * mm) < 1e-15);
    auto const eight = with_weave("frequency_Hz = 100, amplitude_mm = 0.5, form = \"figure_eight\"");
    CHECK(distance(eight.at(t / 2).position, 0.1 * t / 2 + 0.25 * mm, 0.5 * mm * std::sqrt(0.5)) < 1e-15);
    // A straight flank to a rounded tip: a third of the way up where the sine would be half up.
    auto const triangle =
        with_weave("frequency_Hz = 100, amplitude_mm = 0.6, form = \"triangle\", tip = 0.001");
    CHECK(distance(triangle.at(t / 3).position, 0.1 * t / 3, 0.2 * mm) < 3e-7);
    CHECK(distance(triangle.at(t).position, 0.1 * t, 0.6 * mm) < 1e-15);
    // From 100 to 200 Hz over half a second: 75 swings; from nothing to 0.8 mm.
    auto const grows =
        with_weave("frequency_Hz = 100, end_frequency_Hz = 200, amplitude_mm = 0, end_amplitude_mm = 0.8");
    CHECK(std::abs(grows.weave.frequency_growth - 200) < 1e-12);
    CHECK(std::abs(grows.weave.amplitude_growth - 1.6 * mm) < 1e-17);
    // Half-way in time: 100 · 0.25 + 200/2 · 0.25² = 31.25 swings, a quarter past a whole: all of 0.4 mm.
    CHECK(distance(grows.at(0.25).position, 25 * mm, 0.4 * mm) < 1e-14);
    CHECK(grows.at(0.0).position.y == 0);
}

TEST_CASE("a seam has its own power, by its feed, with ramps") {
    std::string const line = "shape = \"straight\"\nfrom_mm = [-25, 0]\nto_mm = [25, 0]\n"; // 0.5 s
    auto const plain = read(job_of(line + "power = { power_W = 3000, rise_ms = 100, fall_ms = 50, "
                                          "start_share = 0.2, end_share = 0.5 }\n"))
                           .seams[0]
                           .seam;
    CHECK(std::abs(plain.power_at(0, 9) - 600) < 1e-9);
    CHECK(std::abs(plain.power_at(0.05, 9) - 1800) < 1e-9);
    CHECK(plain.power_at(0.3, 9) == 3000);
    CHECK(std::abs(plain.power_at(0.475, 9) - 2250) < 1e-9);
    CHECK(std::abs(plain.power_at(0.5, 9) - 1500) < 1e-9);
    // 200 W a m/min from 2 m/min on, and 500 W at least: at 6 m/min 1200 W; at the start, at rest, the floor.
    auto const by_feed = read(job_of(line + "travel = { start_m_per_min = 0, acceleration_m_s2 = 2 }\n"
                                            "power = { by_feed = [[2, 400], [10, 2000]], floor_W = 500 }\n"))
                             .seams[0]
                             .seam;
    CHECK(std::abs(by_feed.power_at(0, 9) - 500) < 1e-9);
    CHECK(std::abs(by_feed.power_at(0.025, 9) - 600) < 1e-9); // 50 mm/s, 3 m/min
    CHECK(std::abs(by_feed.power_at(0.3, 9) - 1200) < 1e-9);
    CHECK_FALSE(read(job_of(line)).seams[0].seam.power.has_value());

    // In the commands: 0 with the gate shut, with the gate open what was asked for.
    TemporaryFolder const folder;
    auto const loaded = loaded_from(
        folder.file("job.toml", job_with("[[seam]]\nname = \"A\"\nface = \"lid\"\nstart_s = 0.3\n"
                                         "speed_m_per_min = 6\npower = { power_W = 3000, rise_ms = 100 }\n" +
                                         line)),
        folder.file("log.csv", resting_log()));
    write_commands(folder / "commands.csv", loaded.job, 1e-4);
    CsvReader reader(folder / "commands.csv");
    CHECK(reader.names() == std::vector<std::string>{"time_s", "x_mirror_rad", "y_mirror_rad", "focus_m",
                                                     "power_W", "gate", "seam"});
    std::size_t wrong = 0, open = 0;
    while (reader.next()) {
        double const t = reader.number(0) - 0.3;
        bool const lit = reader.text(5) == "1";
        double const power = lit ? 3000 * std::min(1.0, std::max(0.0, t) / 0.1) : 0;
        wrong += std::abs(reader.number(4) - power) < 1e-6 ? 0U : 1U;
        open += lit ? 1U : 0U;
    }
    CHECK(wrong == 0);
    CHECK(open >= 4999);
    CHECK(open <= 5000);
}

TEST_CASE("a seam that is not possible is refused at the key that is to blame") {
    struct Case {
        std::string keys, at, message;
    };
    std::string const line = "shape = \"straight\"\nfrom_mm = [0, 0]\nto_mm = [50, 0]\n";
    std::string const corner = "shape = \"polyline\"\npoints_mm = [[0, 0], [20, 0], [20, 30]]\n";
    std::string const tack = "shape = \"ring\"\nat_mm = [0, 0]\ndiameter_mm = 8\n";
    std::string const text = "shape = \"lettering\"\nheight_mm = 6\ngap_ms = 5\n";
    for (
        Case const& c : std::vector<Case>{
            {"shape = \"ring\"\ndiameter_mm = 8\n", "[[seam]]", "seam.at_mm: this key is missing"},
            {tack + "overlap_mm = 26\n", "26", "seam.overlap_mm: a ring: its overlap must be 0 to 25.13"},
            {tack + "overlap_mm = -1\n", "-1", "seam.overlap_mm: -1 is not allowed: it must be at least 0"},
            {"shape = \"c\"\nat_mm = [0, 0]\ndiameter_mm = 8\nopening_mm = 9\n", "9\n",
             "seam.opening_mm: a C: its opening must be 0 to 8 mm; given was 9 mm"},
            {"shape = \"staple\"\nat_mm = [0, 0]\nback_mm = 12\nleg_mm = 5\ncorner_radius_mm = 6\n", "6\n[",
             "seam.corner_radius_mm: a staple: its corner radius must be 0 to 5 mm; given was 6 mm"},
            {"shape = \"staple\"\nat_mm = [0, 0]\nback_mm = 12\nleg_mm = 0\ncorner_radius_mm = 0\n",
             "0\ncorner", "seam.leg_mm: 0 is not allowed: it must be above 0"},
            {"shape = \"s\"\nat_mm = [0, 0]\ndiameter_mm = 8\nbow_deg = 360\n", "360",
             "seam.bow_deg: an S: each of its bows must turn by more than 0 and less than 360 degrees"},
            {"shape = \"slot\"\nat_mm = [0, 0]\nlength_mm = 4\nwidth_mm = 5\n", "5\n[",
             "seam.width_mm: a slot must be longer than wide; given were 4 and 5 mm"},
            {"shape = \"ellipse\"\nat_mm = [0, 0]\nlength_mm = 4\nwidth_mm = 3\noverlap_mm = 99\n", "99",
             "seam.overlap_mm: a closed shape: its overlap must be 0 to 11.05"},
            {"shape = \"wave\"\nat_mm = [0, 0]\npitch_mm = 1\namplitude_mm = 2\nlength_mm = 9\n", "2\nlength",
             "seam.amplitude_mm: a wave of 1 mm pitch and 2 mm amplitude is too tight: at its "
             "crests, the first at 0.25 mm, its radius is 0.01266"},
            {"shape = \"wave\"\nat_mm = [0, 0]\npitch_mm = 1\namplitude_mm = 2\n", "[[seam]]",
             "seam.length_mm: exactly one of length_mm and pitches is needed"},
            {"shape = \"spiral\"\nat_mm = [0, 0]\ninner_radius_mm = 3\nouter_radius_mm = 3\npitch_mm = 1\n",
             "3\nouter", "seam.inner_radius_mm: a spiral's inner radius must be below its outer radius"},
            {"shape = \"spiral\"\nat_mm = [0, 0]\ninner_radius_mm = 0\nouter_radius_mm = 3\npitch_mm = "
             "0.001\n",
             "0.001", "seam.pitch_mm: a spiral of more than 1000 turns is not allowed; this has 3000"},
            {"shape = \"polyline\"\npoints_mm = [[0, 0], [1, 0], [1, 0]]\n", "[[0, 0], [1",
             "seam.points_mm: a polyline: points 1 and 2 at (1, 0) mm are one place"},
            {"shape = \"polyline\"\npoints_mm = [[0, 0], [1, 0, 3]]\n", "[1, 0, 3]",
             "seam.points_mm: a list of [number, number] is needed, given is a list of 3"},
            {corner + "corner_radius_mm = 25\n", "25\n",
             "seam.corner_radius_mm: a polyline: corner 1 at (20, 0) mm cannot be rounded to 25 mm: its legs "
             "allow 20 mm at most"},
            {"shape = \"polyline\"\npoints_mm = [[0, 0], [1, 0]]\nclosed = true\n", "[[0, 0], [1",
             "seam.points_mm: a closed polyline needs 3 points or more; given were 2"},
            {"shape = \"curve\"\npoints_mm = [[0, 0], [1, 0], [1, 0], [2, 2]]\n", "[[0, 0], [1",
             "seam.points_mm: a smooth curve: point 1 and point 2 at (1, 0) mm are one place, taught twice"},
            {corner, "[[seam]]",
             "seam.travel: the path has corners at 20 mm (90 degrees): round them, or say by a speed law"},
            {corner + "travel = { acceleration_m_s2 = 2 }\n", "{ acc",
             "seam.travel.corners: the path has corners at 20 mm (90 degrees): round them, or say"},
            {corner + "travel = { corners = \"stop\" }\n", "{ corners",
             "seam.travel.acceleration_m_s2: the speed along the path must change, so its acceleration must "
             "be limited"},
            {corner + "travel = { corners = \"fly\" }\n", "\"fly\"",
             "seam.travel.corners: \"fly\" is not allowed; allowed are \"stop\", \"slow\""},
            {corner + "travel = { acceleration_m_s2 = 2, corners = \"slow\" }\n", "{ acc",
             "seam.travel.corner_m_per_min: this key is missing"},
            {corner + "travel = { acceleration_m_s2 = 2, corners = \"slow\", corner_m_per_min = 7 }\n", "7 }",
             "seam.travel.corner_m_per_min: 7 is not allowed: it must be above 0 and at most 6"},
            {line + "travel = { start_m_per_min = 6.5 }\n", "6.5",
             "seam.travel.start_m_per_min: 6.5 is not allowed: it must be at least 0 and at most 6"},
            {line + "travel = { jerk_m_s3 = 6.5 }\n", "6.5",
             "seam.travel.jerk_m_s3: a limit of the jerk needs acceleration_m_s2 too"},
            {line + "travel = { stray = 1 }\n", "stray", "seam.travel.stray: this key is not known here"},
            {line + "weave = { frequency_Hz = 9, amplitude_mm = 0 }\n", "0 }",
             "seam.weave.amplitude_mm: 0 is not allowed: it must be above 0"},
            {line + "weave = { frequency_Hz = 9, amplitude_mm = 1, form = \"star\" }\n", "\"star\"",
             "seam.weave.form: \"star\" is not allowed; allowed are \"sine\", \"circle\", \"figure_eight\", "
             "\"triangle\""},
            {line + "weave = { frequency_Hz = 9, amplitude_mm = 1, form = \"triangle\", tip = 1.5 }\n", "1.5",
             "seam.weave.tip: 1.5 is not allowed: it must be above 0 and at most 1"},
            {line + "weave = { frequency_Hz = 9, amplitude_mm = 1, tip = 0.5 }\n", "tip",
             "seam.weave.tip: this key is not known here"},
            {line + "power = { rise_ms = 1 }\n", "{ rise",
             "seam.power.power_W: exactly one of power_W and by_feed is needed"},
            {line + "power = { power_W = 0 }\n", "0 }", "seam.power.power_W: 0 is not allowed"},
            {line + "power = { by_feed = [[2, 400], [2, 500]] }\n", "[[2,",
             "seam.power.by_feed: row 1 of a table of power by feed does not increase in feed"},
            {line + "power = { power_W = 9, start_share = 1.1 }\n", "1.1",
             "seam.power.start_share: 1.1 is not allowed: it must be at least 0 and at most 1"},
            {line + "power = { power_W = 9, rise_ms = 400, fall_ms = 200 }\n", "{ power",
             "seam.power: its ramps of 400 and 200 ms are longer than the seam's 500.000 ms"},
            {tack + "gap_ms = 5\n", "gap_ms", "seam.gap_ms: this key is not known here"},
            {tack + "row = { count = 2, step_mm = [1, 0] }\n", "[[seam]]",
             "seam.gap_ms: this key is missing"},
            {tack + "gap_ms = 0\nrow = { count = 2, step_mm = [1, 0] }\n", "0\nrow",
             "seam.gap_ms: 0 is not allowed: it must be above 0"},
            {tack + "gap_ms = 5\nrow = { count = 2.0, step_mm = [1, 0] }\n", "2.0",
             "seam.row.count: 2 is not allowed: it must be a whole number from 1 to 10000"},
            {tack + "gap_ms = 5\nrow = { count = 10001, step_mm = [1, 0] }\n", "10001",
             "seam.row.count: 10001 is not allowed: it must be a whole number from 1 to 10000"},
            {tack + "gap_ms = 5\nrow = { count = 2, step_mm = [0, 0] }\n", "[0, 0] }",
             "seam.row.step_mm: a row: the step from stitch to stitch must be finite and not 0"},
            {tack +
                 "gap_ms = 5\ngrid = { columns = 2, rows = 2, column_step_mm = [1, 0], row_step_mm = [0, 0] "
                 "}\n",
             "[0, 0] }", "seam.grid.row_step_mm: a grid's rows: the step"},
            {tack + "gap_ms = 5\nround = { count = 2, center_mm = [0, 0], diameter_mm = 0 }\n", "0 }",
             "seam.round.diameter_mm: 0 is not allowed: it must be above 0"},
            {tack + "gap_ms = 5\nrow = { count = 2, step_mm = [1, 0] }\nround = { count = 2 }\n",
             "{ count = 2 }", "seam.round: exactly one of row, grid and round is needed"},
            {text + "text = \"A_B\"\nfrom_mm = [0, 0]\n", "\"A_B\"",
             "seam.text: the text has '_' at place 2, which is not drawn"},
            {text + "text = \"  \"\nfrom_mm = [0, 0]\n", "\"  \"",
             "seam.text: a text needs one letter or more"},
            {text + "text = \"AB\"\n", "[[seam]]",
             "seam.from_mm: exactly one of from_mm and around is needed"},
            {text + "text = \"ABCDEFG\"\naround = { center_mm = [0, 0], radius_mm = 5, middle_deg = 0 }\n",
             "5, middle", "seam.around.radius_mm: the text is "},
        }) {
        CAPTURE(c.keys);
        TemporaryFolder const folder;
        auto const job = job_of(c.keys + "[[face]]\nname = \"b\"\nposition_mm = [0, 0, 0]\n"
                                         "rotation_zyx_deg = [0, 0, 0]\n");
        auto const seam = job.find("[[seam]]");
        // The text that is to blame may stand earlier in the job: look for it in the seam's own keys first.
        auto const own = job.find(c.keys);
        auto const found = job.find(c.at, c.at == "[[seam]]" ? seam : own);
        std::string const before = job.substr(0, found);
        auto const row = std::to_string(std::count(before.begin(), before.end(), '\n') + 1);
        auto const column = std::to_string(found - before.rfind('\n'));
        std::string const message = "job.toml:" + row + ":" + column + ": " + c.message;
        CHECK(message_of([&] { job_from(folder.file("job.toml", job)); }).substr(0, message.size()) ==
              message);
    }
}

TEST_CASE("taught points, names and times that are not possible") {
    struct Case {
        std::string keys, at, message;
    };
    std::string const front =
        "[[seam]]\nname = \"A\"\nstart_s = 0.5\nspeed_m_per_min = 6\nshape = \"taught\"\n";
    std::string const two = "points_mm = [[0, 0, 0], [9, 0, 0]]\n";
    std::string const row =
        "[[seam]]\nname = \"A\"\nface = \"lid\"\nstart_s = 0.5\nspeed_m_per_min = 6\n"
        "shape = \"ring\"\nat_mm = [0, 0]\ndiameter_mm = 8\ngap_ms = 5\nrow = { count = 2, "
        "step_mm = [1, 0] }\n";
    std::string const tack = "face = \"lid\"\nshape = \"point\"\nat_mm = [0, 0]\nhold_s = 0.1\nstart_s = ";
    for (Case const& c : std::vector<Case>{
             {front + "points_mm = [[0, 0, 0], [1, 0, 0], [1, 0, 0]]\ntowards = [0, 0, 1]\n",
              "[[0, 0, 0], [1", "seam.points_mm: taught points 2 and 3 are one place, (1, 0, 0) mm"},
             {front + two, "[[seam]]", "seam.normals: exactly one of normals and towards is needed"},
             {front + two + "normals = [[0, 0, 1]]\n", "[[0, 0, 1]]",
              "seam.normals: 2 taught points need as many normals; given were 1"},
             {front + two + "normals = [[0, 0, 1], [0, 0, -1]]\n", "[[0, 0, 1], [0, 0, -1]]",
              "seam.normals: the normals contradict each other: from taught point 1 to taught point 2 at (9, "
              "0, 0) mm they turn by 180 degrees"},
             {front + two + "towards = [0, 0, 0]\n", "[0, 0, 0]\n",
              "seam.towards: a direction is needed: not all three may be 0"},
             {front + two + "towards = [1, 0, 0]\n", "[1, 0, 0]\n",
              "seam.towards: the normal at taught point 1 at (0, 0, 0) mm lies along the path"},
             {front + two + "towards = [0, 0, 1]\nface = \"lid\"\n", "face = \"lid\"",
              "seam.face: this key is not known here"},
             {row + "[[seam]]\nname = \"A.2\"\n" + tack + "3\n", "\"A.2\"",
              "seam.name: \"A.2\" is the name of another seam before"},
             // The second ring ends 0.5 + 2 · 0.251327 + 0.005 s in; a tack in the gap is fine, one in a ring
             // is not.
             {row + "[[seam]]\nname = \"B\"\n" + tack + "0.8\n", "0.8",
              "seam.start_s: seam B starts at 0.8 s, before seam A.2 ends at 1.007655 s"},
             {row + "[[seam]]\nname = \"B\"\n" + tack + "0.7\n", "0.7",
              "seam.start_s: seam B starts at 0.7 s, before seam A.1 ends at 0.751327 s"},
         }) {
        CAPTURE(c.keys);
        TemporaryFolder const folder;
        auto const job = job_with(c.keys);
        auto const found = job.find(c.at, job.find(c.keys));
        std::string const before = job.substr(0, found);
        auto const line = std::to_string(std::count(before.begin(), before.end(), '\n') + 1);
        auto const column = std::to_string(found - before.rfind('\n'));
        std::string const message = "job.toml:" + line + ":" + column + ": " + c.message;
        CHECK(message_of([&] { job_from(folder.file("job.toml", job)); }).substr(0, message.size()) ==
              message);
    }
}
