#include "seamhold/file/job.hpp"

#include "jobs.hpp"
#include "seamhold/file/report.hpp"
#include "support/mirror_trace.hpp"
#include "support/random.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <functional>
#include <string>
#include <utility>
#include <vector>

// The head and the beam of a job file. Expected values are worked out here: the mirrors by vectors or by the
// closed form tan 2θy = y / z, tan 2θx = x / (e + √(y² + z²)), the lens by f·θ. All numbers are invented.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double pi = 3.14159265358979323846;
constexpr double deg = pi / 180;
constexpr double e = 0.04;    // between the mirrors of the small job, m
constexpr double plate = 0.5; // from the last mirror to where its focus lies, m

using Pair = std::array<double, 2>;

AnyHead head_of(TemporaryFolder const& folder, std::string const& job) {
    return job_from(folder.file("job.toml", job)).head;
}

/// Where the beam of the ideal mirrors at these angles meets a plane across z, and how long it is.
struct Met {
    double x, y, path;
};
Met met(Pair const& angles, double z) {
    double const y = z * std::tan(2 * angles[1]);
    double const to_axis = std::hypot(y, z);
    double const x = std::tan(2 * angles[0]) * (e + to_axis);
    return {x, y, std::hypot(x, e + to_axis)};
}
Pair ideal_angles(double x, double y, double z) {
    return {std::atan(x / (e + std::hypot(y, z))) / 2, std::atan(y / z) / 2};
}

/// Points of the work, all over the field and at several depths.
std::vector<Point<Head>> points() {
    std::vector<Point<Head>> all;
    for (double const x : {-0.11, 0.0, 0.07})
        for (double const y : {-0.09, 0.0, 0.12})
            for (double const z : {0.45, 0.5, 0.54})
                all.push_back({x, y, z});
    return all;
}

std::string number(double x, int decimals = 12) {
    char text[64];
    std::snprintf(text, sizeof text, "%.*f", decimals, x);
    return text;
}

void same(Command<> const& a, Command<> const& b, double tolerance) {
    CHECK(std::abs(a.x_mirror - b.x_mirror) <= tolerance);
    CHECK(std::abs(a.y_mirror - b.y_mirror) <= tolerance);
    CHECK(std::abs(a.focus - b.focus) <= tolerance);
}

} // namespace

TEST_CASE("with the ideal keys alone the head stays the ideal pair, with a range for each mirror too") {
    TemporaryFolder const folder;
    CHECK(std::holds_alternative<MirrorPair<>>(head_of(folder, small_job).choice()));
    auto const any = head_of(folder, with(small_job, "mirror_range_deg = 10\n",
                                          "x_range_deg = [-9, 10]\ny_range_deg = [-8, 11]\n"));
    auto const& pair = std::get<MirrorPair<>>(any.choice());
    CHECK(pair.x_range.low == doctest::Approx(-9 * deg).epsilon(1e-15)); // a last bit of the unit
    CHECK(pair.x_range.high == doctest::Approx(10 * deg).epsilon(1e-15));
    CHECK(pair.y_range.low == doctest::Approx(-8 * deg).epsilon(1e-15));
    CHECK(pair.y_range.high == doctest::Approx(11 * deg).epsilon(1e-15));
}

TEST_CASE("traced mirrors with nothing off are the ideal pair") {
    TemporaryFolder const folder;
    auto const ideal = head_of(folder, small_job);
    auto const traced_head =
        head_of(folder, small_job.substr(0, small_job.find("[mount]")) + "[head.mirrors]\n" +
                            small_job.substr(small_job.find("[mount]")));
    REQUIRE(std::holds_alternative<RealHead<OpenBeam>>(traced_head.choice()));
    CHECK(traced_head.working_distance() == doctest::Approx(plate).epsilon(1e-15));
    for (auto const& p : points()) // a Newton step that ends at rounding
        same(traced_head.command(p), ideal.command(p), 1e-14);
}

TEST_CASE("mirrors that are off: only what is off is written, and the beam hits by vectors") {
    TemporaryFolder const folder;
    std::string const keys = R"([head.mirrors]
entry_mm = [-60, -40.5, 0.3]
incoming = [2, 0.01, -0.006]
first = { pivot_mm = [0.2, -40.1, 0.1], axis = [0.004, -0.002, 3], offset_mm = 0.15, turn = -1.001 }
last = { normal = [0.003, -1, 1.002], offset_mm = -0.1 }
)";
    auto const head = head_of(folder, head_with(keys));
    auto const& mirrors = std::get<RealHead<OpenBeam>>(head.choice()).parts().mirrors;
    // The same composed in code.
    auto const unit_of = [](double x, double y, double z) {
        double const length = std::sqrt(x * x + y * y + z * z);
        return Direction<Head>{x / length, y / length, z / length};
    };
    double const half = std::sqrt(0.5);
    auto const composed = traced_mirrors(
        {-0.06, -0.0405, 0.0003}, unit_of(2, 0.01, -0.006),
        {{0.0002, -0.0401, 0.0001}, unit_of(0.004, -0.002, 3), {-half, half, 0}, 0.00015, -1.001},
        {{0, 0, 0}, {1, 0, 0}, unit_of(0.003, -1, 1.002), -0.0001, -1});
    for (double const x : {-0.15, 0.0, 0.1})
        for (double const y : {-0.1, 0.0, 0.17}) {
            auto const a = mirrors.trace(x, y);
            auto const b = composed.trace(x, y);
            CHECK(norm(a.on_last - b.on_last) <= 1e-16); // last bits of 60 mm
            CHECK(norm(a.leaving - b.leaving) <= 1e-15);
            CHECK(std::abs(a.path - b.path) <= 1e-16);
        }
    // And by vectors alone: a normal turned about an axis by Rodrigues' formula, two reflections.
    auto const turned = [](Vector<> const& n, Vector<> const& k, double by) {
        Vector<> const across{k.y * n.z - k.z * n.y, k.z * n.x - k.x * n.z, k.x * n.y - k.y * n.x};
        return times(std::cos(by), n) + times(std::sin(by), across) +
               times((1 - std::cos(by)) * product(k, n), k);
    };
    auto const vector = [](Direction<Head> const& d) { return Vector<>{d.x, d.y, d.z}; };
    for (auto const& p : points()) {
        auto const c = head.command(p);
        auto const n1 = turned({-half, half, 0}, vector(unit_of(0.004, -0.002, 3)), -1.001 * c.x_mirror);
        auto const n2 = turned(vector(unit_of(0.003, -1, 1.002)), {1, 0, 0}, -c.y_mirror);
        Line<> const in{{-0.06, -0.0405, 0.0003}, vector(unit_of(2, 0.01, -0.006))};
        Line<> const between = reflected(in, Vector<>{0.0002, -0.0401, 0.0001} + times(0.00015, n1), n1);
        Line<> const out = reflected(between, times(-0.0001, n2), n2);
        CHECK(distance(Vector<>{p.x, p.y, p.z}, out) <=
              1e-12); // what a last Newton step leaves, and rounding
        // The focus: path from the entry on, (path − 540) / 8.
        double const path = length(between.point - in.point) + length(out.point - between.point) +
                            length(Vector<>{p.x, p.y, p.z} - out.point);
        CHECK(std::abs(c.focus - (path - 0.54) / 8) <= 1e-14);
    }
}

TEST_CASE("a focus axis by a ratio, a thin lens or a table") {
    TemporaryFolder const folder;
    // Points on the axis: the path is e + z.
    auto const focus_at = [](AnyHead const& head, double z) {
        return head.command(Point<Head>{0, 0, z}).focus;
    };
    auto const linear = head_of(folder, head_with("focus_shift_mm = 0\n"));
    REQUIRE(std::holds_alternative<RealHead<OpenBeam>>(linear.choice()));
    CHECK(std::abs(focus_at(linear, 0.46) - (0.5 - 0.54) / 8) <= 1e-16);

    // Newton's equation: the object stands f²/B before the lens's focal point, B = ahead + path − f.
    auto const lens =
        head_of(folder, with(head_with("focus_lens = { focal_length_mm = 200, ahead_mm = 60 }\n"),
                             "focus_ratio = 8\n", ""));
    double const b0 = 0.06 + 0.54 - 0.2, b = 0.06 + 0.5 - 0.2;
    CHECK(std::abs(focus_at(lens, 0.46) - (0.04 / b0 - 0.04 / b)) <= 1e-16);
    CHECK(std::abs(focus_at(lens, 0.5)) <= 1e-16);

    // Rows on a straight line, 8 mm of path for a mm of the lens: what runs through them is that line.
    folder.file("focus.csv", "lens_mm,path_mm\n-10,460\n-4,508\n0,540\n3,564\n11,628\n");
    auto const table = head_of(folder, head_without_focus("focus_table = \"focus.csv\"\n"));
    CHECK(std::abs(focus_at(table, 0.46) - (0.5 - 0.54) / 8) <= 1e-14); // slopes from differences
    CHECK(table.working_distance() == doctest::Approx(0.5).epsilon(1e-14));
    CHECK(std::holds_alternative<FocusTable>(
        std::get<RealHead<OpenBeam>>(table.choice()).parts().focus.choice()));
}

TEST_CASE("a focus that heat has moved is asked for further away") {
    TemporaryFolder const folder;
    auto const shifted = head_of(folder, head_with("focus_shift_mm = -1.5\n"));
    // The optics focus 1.5 mm short, so they are told 1.5 mm more than the path of 500 mm.
    CHECK(std::abs(shifted.command(Point<Head>{0, 0, 0.46}).focus - (0.5015 - 0.54) / 8) <= 1e-16);
    auto const heat = head_of(
        folder,
        head_with("heat = { shift_mm_per_kW = -2, time_constant_s = 60, power_W = 4000, on_for_s = 120 }\n"));
    double const shift = -0.008 * (1 - std::exp(-2.0)); // two time constants after the light went on
    CHECK(std::abs(heat.command(Point<Head>{0, 0, 0.46}).focus - (0.5 - shift - 0.54) / 8) <= 1e-16);
}

TEST_CASE("a focus surface makes the lens stand where it was measured, and corrects along the whole beam") {
    TemporaryFolder const folder;
    // On the plate the sharpest spot was found with the lens where the ideal law has it, but for an invented
    // bend of the path of −3 mm + 0.2 m/rad · x + 0.5 m/rad² · (x² + y²).
    auto const bend = [](Pair const& a) { return -0.003 + 0.2 * a[0] + 0.5 * (a[0] * a[0] + a[1] * a[1]); };
    std::string rows = "x_mirror_deg,y_mirror_deg,lens_mm\n";
    for (int i = -5; i <= 5; ++i)
        for (int k = -5; k <= 5; ++k) {
            Pair const angles{2 * i * deg, 2 * k * deg};
            double const lens = (met(angles, plate).path + bend(angles) - 0.54) / 8;
            rows += number(2 * i) + "," + number(2 * k) + "," + number(1000 * lens) + "\n";
        }
    folder.file("surface.csv", rows);
    JobFile const job = job_from(folder.file("job.toml", head_with("focus_surface = \"surface.csv\"\n")));
    for (auto const& p : points()) {
        auto const angles = ideal_angles(p.x, p.y, p.z);
        double const path = met(angles, p.z).path;
        // A quadratic is fitted without error of its own, so that what is left are the digits of the rows,
        // 1e-15 m of the lens, and rounding in the fit.
        CHECK(std::abs(job.head.command(p).focus - (path + bend(angles) - 0.54) / 8) <= 1e-12);
    }
    REQUIRE(job.head_report.surface.has_value());
    CHECK(job.head_report.surface->rows == 121);
    CHECK(job.head_report.surface->worst < 1e-11);
    CHECK(job.head_report.surface->worst_row >= 2);
    CHECK(job.head_report.surface->worst_row <= 122);
    // The middle of the measured angles is the deepest place of the field, whatever the unit.
    CHECK(job.head.aim(Point<Head>{0, 0, plate}).clearance.field == doctest::Approx(1).epsilon(1e-9));

    // One row that is off by 0.05 mm of the lens, 400 µm of the path, stands out by its line.
    auto const line = rows.find("\n", rows.find("4.000000000000,-2.000000000000,"));
    auto const start = rows.rfind(",", line) + 1;
    double const lens = std::stod(rows.substr(start, line - start));
    folder.file("surface.csv", rows.substr(0, start) + number(lens + 0.05) + rows.substr(line));
    auto const off = job_from(folder / "job.toml").head_report;
    std::size_t row = 1;
    for (char const c : rows.substr(0, start))
        row += c == '\n' ? 1U : 0U;
    CHECK(off.surface->worst_row == row);
    CHECK(off.surface->worst < 400e-6);
    CHECK(off.surface->worst > 100e-6); // the fit takes some of it
    CHECK(text_of(off) == "  focus surface  surface.csv: 121 rows\n                 met within " +
                              number(off.surface->worst * 1e6, 2) + " µm of the focus at worst, row " +
                              std::to_string(row) + "\n");
}

TEST_CASE("a flat-field lens: f·θ, chief rays by a number and by a file, and a focus axis in front of it") {
    TemporaryFolder const folder;
    // Out of the lens in y the chief ray stands under 0.1 of the angle in, as a file; in x under 0.25 of it.
    folder.file("slope.csv", "in_deg,out_deg\n0,0\n10,1\n20,2\n40,4\n");
    std::string const lens = "lens = { focal_length_mm = 254, exit_z_mm = 60, working_distance_mm = 300, "
                             "depth_mm = 25, x_slope = 0.25, y_slope = \"slope.csv\", axis_mm = [1, -2] }\n";
    auto const job = with(head_with(lens), "focus_path_mm = 540\n", "");
    auto const any = head_of(folder, job);
    auto const* const head = std::get_if<RealHead<FlatFieldLens<>>>(&any.choice());
    REQUIRE(head != nullptr);
    CHECK(any.working_distance() == doctest::Approx(0.36).epsilon(1e-15));
    for (double const x : {-0.06, 0.0, 0.08})
        for (double const y : {-0.07, 0.0, 0.05})
            for (double const beyond : {-0.02, 0.0, 0.015}) {
                Point<Head> const p{x, y, 0.36 + beyond};
                auto const c = any.command(p);
                // The mirrors' direction, the angle to z, and the image f·θ away from the axis.
                double const sx = std::sin(2 * c.x_mirror), cx = std::cos(2 * c.x_mirror);
                double const dx = sx, dy = cx * std::sin(2 * c.y_mirror);
                double const sine = std::hypot(dx, dy);
                double const angle = std::asin(sine);
                double const in_x = sine > 0 ? dx * angle / sine : 0, in_y = sine > 0 ? dy * angle / sine : 0;
                double const tan_x = std::tan(0.25 * in_x), tan_y = std::tan(0.1 * in_y);
                CHECK(std::abs(0.001 + 0.254 * in_x + beyond * tan_x - x) <= 1e-12); // Newton's last step
                CHECK(std::abs(-0.002 + 0.254 * in_y + beyond * tan_y - y) <= 1e-12);
                CHECK(std::abs(c.focus - beyond / 8) <= 1e-15);
                // Within the depth, 25 mm, and the lens, ±10 mm · 8.
                CHECK(status_of(any.aim(p)) == Status::ok);
            }
    CHECK(status_of(any.aim(Point<Head>{0, 0, 0.386})) == Status::out_of_reach);
    CHECK(status_of(any.aim(Point<Head>{0, 0, 0.05})) == Status::behind_head); // inside of the lens

    folder.file("focus.csv", "lens_mm,path_mm\n-10,220\n0,300\n10,380\n");
    auto const table = head_of(folder, with(job, "focus_ratio = 8\n", "focus_table = \"focus.csv\"\n"));
    CHECK(std::abs(table.command(Point<Head>{0.02, 0.01, 0.34}).focus + 0.02 / 8) <= 1e-14);
}

TEST_CASE("fields of every outline, in the focal plane and as mirror angles") {
    TemporaryFolder const folder;
    struct Case {
        std::string keys;
        bool angles;            ///< whether the edge is given in degrees of the mirrors
        std::vector<Pair> edge; ///< places on the edge, mm or degrees
    };
    for (Case const& c : std::vector<Case>{
             {"field_diameter_mm = 200\nfocus_shift_mm = 0\n", false, {{100, 0}, {60, -80}}},
             {"field = { circle_mm = 200 }\n", false, {{100, 0}, {-60, 80}}},
             {"field = { rectangle_mm = [160, 120] }\n", false, {{80, 20}, {-40, 60}, {79.99, -60}}},
             {"field = { ellipse_mm = [200, 100] }\n", false, {{100, 0}, {60, 40}, {-80, -30}}},
             {"field = { polygon_mm = [[-90, -50], [90, -50], [0, 100]] }\n", false, {{0, -50}, {45, 25}}},
             {"field = { circle_deg = 10 }\n", true, {{5, 0}, {3, 4}}},
             {"field = { rectangle_deg = [8, 6] }\n", true, {{4, 1}, {-2, -3}}},
             {"field = { ellipse_deg = [10, 5] }\n", true, {{5, 0}, {3, 2}}},
             {"field = { polygon_deg = [[-4, -4], [4, -4], [4, 4], [-4, 4]] }\n", true, {{4, 1}, {0, -4}}}}) {
        CAPTURE(c.keys);
        auto const head = head_of(folder, head_with(c.keys));
        auto const share = [&](Pair const& at, double scale) {
            if (!c.angles)
                return head.aim(Point<Head>{at[0] * scale / 1000, at[1] * scale / 1000, plate})
                    .clearance.field;
            auto const m = met({at[0] * scale * deg, at[1] * scale * deg}, 0.48); // any depth
            return head.aim(Point<Head>{m.x, m.y, 0.48}).clearance.field;
        };
        for (auto const& at : c.edge) {
            CHECK(std::abs(share(at, 1)) <= 1e-9); // as near as Newton hits the place, of some 0.1 m
            CHECK(share(at, 0.999) > 1e-5);
            CHECK(share(at, 1.001) < -1e-5);
        }
        // A triangle is deepest elsewhere.
        if (c.keys.find("polygon_mm") == std::string::npos)
            CHECK(share({0, 0}, 1) == doctest::Approx(1).epsilon(1e-9));
    }
}

TEST_CASE("apertures: what the footprint leaves of each mirror, by hand") {
    TemporaryFolder const folder;
    auto const left = [&](std::string const& first, std::string const& last) {
        auto const head = head_of(folder, head_with("apertures = { first = " + first + ", last = " + last +
                                                    ", beam_radius_mm = 9, ahead_mm = 60 }\n"));
        return head.aim(Point<Head>{0, 0, plate}).clearance.aperture;
    };
    // The beam is a cone from 9 mm, 60 mm before the first mirror, to a point 540 mm behind it. Both mirrors
    // stand under 45°: across the axis the footprint is √2 longer.
    double const on_first = 9 * 540.0 / 600, on_last = 9 * 500.0 / 600;
    std::string const wide = "{ along_mm = 90, across_mm = 90 }";
    CHECK(std::abs(left("{ along_mm = 20, across_mm = 30 }", wide) - (1 - on_first / 10)) <= 1e-12);
    CHECK(std::abs(left("{ along_mm = 30, across_mm = 28 }", wide) - (1 - on_first * std::sqrt(2.0) / 14)) <=
          1e-12);
    CHECK(std::abs(left(wide, "{ along_mm = 50, across_mm = 26 }") - (1 - on_last * std::sqrt(2.0) / 13)) <=
          1e-12);
    CHECK(std::abs(left(wide, "{ along_mm = 18, across_mm = 50, round = true }") - (1 - on_last / 9)) <=
          1e-12);
}

// ---- the field map
// --------------------------------------------------------------------------------------------

namespace {

/// An invented distortion: the true mirror angles for commanded ones. A cubic, which the map's splines hold.
Pair distorted(Pair const& a) {
    auto const [x, y] = a;
    return {0.0004 + 1.004 * x + 0.002 * y + 0.03 * x * y - 0.25 * x * (x * x + y * y),
            -0.0003 + 0.997 * y - 0.001 * x + 0.02 * x * x + 0.15 * y * y * y};
}

/// Marks of a plate 500 mm below a head: 21 by 21, commanded up to 120 mm from the middle; the true angles
/// are `true_angles(those of the ideal pair)`, and `hit` says where the beam of true angles meets the plate.
std::string marks(std::function<Pair(Pair const&)> const& true_angles,
                  std::function<Pair(Pair const&)> const& hit, bool angles = false) {
    std::string text = angles ? "x_mirror_deg,y_mirror_deg,x_found_mm,y_found_mm\n"
                              : "x_command_mm,y_command_mm,x_found_mm,y_found_mm\n";
    for (int i = -10; i <= 10; ++i)
        for (int k = -10; k <= 10; ++k) {
            Pair const commanded = ideal_angles(0.012 * i, 0.012 * k, plate);
            auto const found = hit(true_angles(commanded));
            text += (angles ? number(commanded[0] / deg) + "," + number(commanded[1] / deg)
                            : number(12 * i, 1) + "," + number(12 * k, 1)) +
                    "," + number(1000 * found[0]) + "," + number(1000 * found[1]) + "\n";
        }
    return text;
}
Pair ideal_hit(Pair const& angles) {
    auto const m = met(angles, plate);
    return {m.x, m.y};
}

} // namespace

TEST_CASE("a field map from marks holds a seam where it belongs") {
    TemporaryFolder const folder;
    for (bool const as_angles : {false, true}) {
        CAPTURE(as_angles);
        folder.file("marks.csv", marks(distorted, ideal_hit, as_angles));
        auto const loaded = loaded_from(folder.file("job.toml", head_with("field_map = \"marks.csv\"\n")),
                                        folder.file("log.csv", resting_log()));
        auto const& map = loaded.head.map;
        REQUIRE(map.has_value());
        CHECK(map->report.marks == 441);
        CHECK(map->report.missing == 0);
        CHECK(map->report.worst < 1e-10); // rad: the rounding of a fit with some 500 unknowns
        CHECK(map->metres_per_radian == doctest::Approx(2 * 0.54));
        // The seam runs from (−50, 20) to (50, 20) mm; in the head y is −20 mm, z 500 mm.
        for (double const t : {0.0, 0.1, 0.25, 0.375, 0.5}) {
            auto const followed = loaded.job.chain.follow(loaded.job.seams[0].seam, t, 0.1 + t);
            CHECK(followed.status == Status::ok);
            auto const& c = followed.aim.command;
            auto const at = ideal_hit(distorted({c.x_mirror, c.y_mirror}));
            // The fit's rounding, 1e-10 rad over a metre.
            CHECK(std::abs(at[0] - (-0.05 + 0.2 * t)) <= 1e-10);
            CHECK(std::abs(at[1] + 0.02) <= 1e-10);
            // Without the map the spot would be off by a tenth of a millimetre and more.
            auto const plain = ideal_angles(-0.05 + 0.2 * t, -0.02, plate);
            auto const missed = ideal_hit(distorted(plain));
            CHECK(std::hypot(missed[0] - (-0.05 + 0.2 * t), missed[1] + 0.02) > 1e-4);
        }
        // Beside the marks there is no map: 150 mm is beyond 120 mm.
        CHECK(status_of(loaded.job.chain.head.aim(Point<Head>{0.15, 0, plate})) == Status::out_of_reach);
    }
}

TEST_CASE("what is described of a head is not left to its field map") {
    TemporaryFolder const folder;
    // The last mirror's normal leans by 3 mrad towards x; nothing else is wrong. Found places by vectors.
    double const half = std::sqrt(0.5), lean = 0.003;
    auto const leaning_hit = [&](Pair const& a) {
        double const n = std::sqrt(1 + lean * lean);
        Vector<> const first{-std::cos(pi / 4 + a[0]), std::sin(pi / 4 + a[0]), 0};
        // (lean, −½√2, ½√2) turned about x by −θ.
        double const y = -half, z = half, c = std::cos(-a[1]), s = std::sin(-a[1]);
        Vector<> const last{lean / n, (c * y - s * z) / n, (s * y + c * z) / n};
        auto const between = reflected(Line<>{{-0.1, -e, 0}, {1, 0, 0}}, Vector<>{0, -e, 0}, first);
        auto const out = reflected(between, Vector<>{0, 0, 0}, last);
        double const way = (plate - out.point.z) / out.direction.z;
        return Pair{out.point.x + way * out.direction.x, out.point.y + way * out.direction.y};
    };
    // The turn's sign, by the ideal pair: with no lean it is the closed form.
    folder.file("marks.csv", marks([](Pair const& a) { return a; }, leaning_hit));
    std::string const mirrors = "mirrors = { last = { normal = [0.003, -0.70710678118654752, "
                                "0.70710678118654752] } }\n";
    JobFile const described =
        job_from(folder.file("job.toml", head_with("field_map = \"marks.csv\"\n" + mirrors)));
    JobFile const unknown = job_from(folder.file("job.toml", head_with("field_map = \"marks.csv\"\n")));
    // Where the head is described, the map has nothing to do but rounding; else 3 mrad or so.
    CHECK(described.head_report.map->report.largest_displacement < 1e-12);
    CHECK(unknown.head_report.map->report.largest_displacement > 1e-3);
    for (double const x : {-0.1, 0.02, 0.09})
        for (double const y : {-0.08, 0.0, 0.1})
            for (auto const* const job : {&described, &unknown}) {
                auto const c = job->head.command(Point<Head>{x, y, plate});
                auto const at = leaning_hit({c.x_mirror, c.y_mirror});
                // Described: as Newton hits it. Else the map has to fit the lean: smooth, but no cubic.
                double const tolerance = job == &described ? 1e-11 : 2e-8;
                CHECK(std::abs(at[0] - x) <= tolerance);
                CHECK(std::abs(at[1] - y) <= tolerance);
            }
}

TEST_CASE("marks in front of a flat-field lens are commanded by f·θ of the ideal mirrors") {
    TemporaryFolder const folder;
    std::string text = "x_command_mm,y_command_mm,x_found_mm,y_found_mm\n";
    for (int i = -8; i <= 8; ++i)
        for (int k = -8; k <= 8; ++k) // found half a millimetre aside in x
            text += number(8 * i, 1) + "," + number(8 * k, 1) + "," + number(8 * i + 0.5, 1) + "," +
                    number(8 * k, 1) + "\n";
    folder.file("marks.csv", text);
    auto const job =
        with(head_with("lens = { focal_length_mm = 254, exit_z_mm = 60, working_distance_mm = 300 "
                       "}\nfield_map = \"marks.csv\"\n"),
             "focus_path_mm = 540\n", "");
    auto const head = head_of(folder, job);
    auto const plain = head_of(folder, with(job, "field_map = \"marks.csv\"\n", ""));
    // To mark at (x, y) the head is told what the plain one needs for (x − 0.5, y). In angles that is no
    // polynomial, but nearly straight: the map follows it to 1e-9 rad, half a nanometre at the work.
    for (double const x : {-0.05, 0.0, 0.03})
        for (double const y : {-0.04, 0.0, 0.055}) {
            auto const a = head.command(Point<Head>{x, y, 0.36});
            auto const b = plain.command(Point<Head>{x - 0.0005, y, 0.36});
            CHECK(std::abs(a.x_mirror - b.x_mirror) <= 1e-9);
            CHECK(std::abs(a.y_mirror - b.y_mirror) <= 1e-9);
        }
}

TEST_CASE("the report says how well the marks are met") {
    TemporaryFolder const folder;
    std::string text = marks(distorted, ideal_hit);
    // The mark commanded at (24, −36) mm was found 0.1 mm aside; two others were not found.
    std::string const odd = "\n24.0,-36.0,";
    auto const start = text.find(odd) + odd.size();
    auto const end = text.find(',', start);
    double const x = std::stod(text.substr(start, end - start));
    text = text.substr(0, start) + number(x + 0.1) + text.substr(end);
    for (std::string const lost : {"\n-60.0,48.0,", "\n60.0,60.0,"}) {
        auto const at = text.find(lost) + lost.size();
        text = text.substr(0, at) + "," + text.substr(text.find('\n', at));
    }
    std::size_t row = 1;
    for (char const c : text.substr(0, text.find(odd) + 1))
        row += c == '\n' ? 1U : 0U;
    folder.file("marks.csv", text);
    auto const loaded = loaded_from(folder.file("job.toml", head_with("field_map = \"marks.csv\"\n")),
                                    folder.file("log.csv", resting_log()));
    auto const& report = loaded.head.map->report;
    CHECK(report.marks == 439);
    CHECK(report.missing == 2);
    CHECK(report.worst_row == row);
    // 0.1 mm over a path of 0.54 m is 185 µrad of light, 93 µrad of the mirror; the fit takes some of it.
    CHECK(report.worst > 40e-6);
    CHECK(report.worst < 93e-6);
    std::string const lines = "\nHEAD as measured\n  field map  marks.csv: 439 marks, 2 missing\n"
                              "             met within " +
                              number(report.rms * 1e6, 2) + " µrad (" + number(report.rms * 1.08e6, 2) +
                              " µm) rms, " + number(report.worst * 1e6, 2) + " µrad (" +
                              number(report.worst * 1.08e6, 2) + " µm) at worst, row " + std::to_string(row) +
                              "\n\nSEAM BY SEAM";
    auto const seams = seamhold::report(loaded.job, 1e-3);
    CHECK(report_text(loaded.title, loaded.log, seams, 1e-3, loaded.head).find(lines) != std::string::npos);
    CHECK(report_text(loaded.title, loaded.log, seams, 1e-3).find("HEAD as measured") == std::string::npos);
}
