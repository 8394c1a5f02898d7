#include "seamhold/file/job.hpp"

#include "jobs.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

// What is wrong with the head or the beam of a job file is said with its place.

using namespace seamhold;
using namespace seamhold::test;

namespace {

std::string const lens_keys = "lens = { focal_length_mm = 254, exit_z_mm = 60, working_distance_mm = 300, "
                              "x_slope = 0.25, axis_mm = [1, -2] }\n";
std::string const lens_job = with(head_with(lens_keys), "focus_path_mm = 540\n", "");

/// A head with every part that goes with a focus ahead of the mirrors.
std::string const whole_head = R"(field = { circle_mm = 300 }
heat = { shift_mm_per_kW = -1, time_constant_s = 60, power_W = 4000, on_for_s = 20 }
[head.mirrors]
incoming = [1, 0, 0]
first = { pivot_mm = [0, -40, 0], axis = [0, 0, 1], turn = -1 }
last = { normal = [0, -1, 1], offset_mm = 0.1 }
[head.apertures]
first = { along_mm = 40, across_mm = 50, round = true }
last = { along_mm = 60, across_mm = 70 }
beam_radius_mm = 9
ahead_mm = 60
)";

struct Case {
    std::string old, by;
    std::string at; ///< the text at whose first character the fault is
    std::string message;
};

void check(std::string const& job, std::vector<Case> const& cases) {
    TemporaryFolder const folder;
    REQUIRE(message_of([&] { job_from(folder.file("job.toml", job)); }) == "no error");
    for (Case const& c : cases) {
        CAPTURE(c.by);
        std::string const text = with(job, c.old, c.by);
        REQUIRE_FALSE(text.empty());
        std::string const found = message_of([&] { job_from(folder.file("job.toml", text)); });
        std::string const message = "job.toml:" + place_of(c.at, text) + ": " + c.message;
        CHECK(found.substr(0, message.size()) == message);
    }
}

} // namespace

TEST_CASE("a fault in a head's ranges, focus or field is refused with its place") {
    check(small_job,
          {{"mirror_range_deg = 10", "mirror_range_deg = 10\nx_range_deg = [-9, 9]", "10\nx_range",
            "head.mirror_range_deg: not beside x_range_deg and y_range_deg: say each range once"},
           {"mirror_range_deg = 10", "x_range_deg = [-9, 9]", "[head]",
            "head.y_range_deg: this key is missing"},
           {"mirror_range_deg = 10", "x_range_deg = [-9, 45]\ny_range_deg = [-9, 9]", "[-9, 45]",
            "head.x_range_deg: 45 is not allowed: it must be above -45 and below 45"},
           {"mirror_range_deg = 10", "x_range_deg = [-9, 9]\ny_range_deg = [9, -9]", "[9, -9]",
            "head.y_range_deg: the first must be below the second"},
           {"focus_ratio = 8", "focus_ratio = 8\nfocus_table = \"f.csv\"", "\"f.csv\"",
            "head.focus_table: exactly one of focus_ratio, focus_lens and focus_table is needed"},
           {"focus_ratio = 8\n", "focus_shift_mm = 1\n", "[head]",
            "head.focus_ratio: exactly one of focus_ratio, focus_lens and focus_table is needed"},
           {"focus_ratio = 8\n", "focus_ratio = -8\nfocus_shift_mm = 1\n", "-8",
            "head.focus_ratio: -8 is not allowed: it must be above 0"},
           {"focus_ratio = 8\n", "focus_lens = { focal_length_mm = 700, ahead_mm = 60 }\n", "{ focal",
            "head.focus_lens: a focus axis's focal length (m) of 0.7 is not possible: it must be less than "
            "the way from the focusing lens to the focus at lens 0, 0.6"},
           {"focus_path_mm = 540", "focus_path_mm = 30\nfocus_shift_mm = 1", "30\nfocus_shift",
            "head.focus_path_mm: must be more than mirror_separation_mm"},
           {"focus_ratio = 8",
            "focus_ratio = 8\nfocus_shift_mm = 1\nheat = { shift_mm_per_kW = 1, "
            "time_constant_s = 1, power_W = 1, on_for_s = 1 }",
            "1\nheat", "head.focus_shift_mm: not beside head.heat: say the shift once"},
           {"field_diameter_mm = 340", "field_diameter_mm = 340\nfield = { circle_mm = 3 }", "340\nfield",
            "head.field_diameter_mm: not beside head.field: say the field once"},
           {"field_diameter_mm = 340", "field = { circle_mm = 3, ellipse_deg = [3, 4] }", "[3, 4]",
            "head.field.ellipse_deg: exactly one of circle_mm, rectangle_mm, ellipse_mm, polygon_mm, "
            "circle_deg, rectangle_deg, ellipse_deg and polygon_deg is needed"},
           {"field_diameter_mm = 340", "field = { rectangle_mm = [3, -4] }", "[3, -4]",
            "head.field.rectangle_mm: the sides of a rectangular field outline must be above 0; given was "
            "-0.004"},
           {"field_diameter_mm = 340", "field = { polygon_mm = [[0, 0], [1, 0]] }", "[[0, 0]",
            "head.field.polygon_mm: "},
           {"field_diameter_mm = 340", "field = { polygon_mm = [[0, 0], [1, 0, 2], [0, 1]] }", "[1, 0, 2]",
            "head.field.polygon_mm: a list of [number, number] is needed, given is a list of 3"},
           {"field_diameter_mm = 340", "field = { polygon_mm = [[0, 0], [1, \"a\"], [0, 1]] }", "\"a\"",
            "head.field.polygon_mm: a list of [number, number] is needed, given is the text \"a\""}});
}

TEST_CASE("a fault in a head's mirrors, apertures or heat is refused with its place") {
    check(head_with(whole_head),
          {{"incoming = [1, 0, 0]", "incoming = [0, 0, 0]", "[0, 0, 0]\nfirst",
            "head.mirrors.incoming: a direction is needed: not all three may be 0"},
           {"incoming = [1, 0, 0]", "incoming = [-1, 0, 0]", "[head.mirrors]",
            "head.mirrors: mirrors: the beam misses the first mirror: "},
           {"axis = [0, 0, 1]", "axis = [1, 0, 0]", "[head.mirrors]",
            "head.mirrors: mirrors: both mirrors steer the beam the same way"},
           {"turn = -1", "turn = 0", "[head.mirrors]", "head.mirrors: mirrors: the first mirror turns 0.000"},
           {"along_mm = 60", "along_mm = 0", "0, across_mm = 70",
            "head.apertures.last.along_mm: 0 is not allowed: it must be above 0"},
           {"along_mm = 60", "along_mm = 10", "[head.apertures]",
            "head.apertures: a head's beam misses a mirror: at command 0 its footprint reaches beyond"},
           {"time_constant_s = 60", "time_constant_s = 0", "0, power_W",
            "head.heat.time_constant_s: 0 is not allowed: it must be above 0"}});
    // Mirrors so far apart and turned so far that the beam meets a mirror's back within their ranges.
    TemporaryFolder const folder;
    std::string const wide = with(head_with("[head.mirrors]\nfirst = { normal = [-1, 2.2, 0] }\n"),
                                  "mirror_range_deg = 10", "mirror_range_deg = 40");
    CHECK(message_of([&] {
              job_from(folder.file("job.toml", wide));
          }).find("job.toml:" + place_of("[head.mirrors]", wide) + ": head.mirrors: a head's beam ") == 0);
}

TEST_CASE("a fault in a flat-field lens is refused with its place") {
    check(lens_job, {{"focus_ratio = 8", "focus_ratio = 8\nfocus_path_mm = 300", "300\nfocus",
                      "head.focus_path_mm: not beside head.lens: the focus at lens 0 lies at the lens's "
                      "working distance"},
                     {"focus_ratio = 8", "focus_lens = { focal_length_mm = 200, ahead_mm = 1 }",
                      "{ focal_length_mm = 200", "head.focus_lens: not beside head.lens: "},
                     {"focal_length_mm = 254", "focal_length_mm = 0", "0, exit_z",
                      "head.lens.focal_length_mm: 0 is not allowed: it must be above 0"},
                     {"x_slope = 0.25", "x_slope = 8", "{ focal",
                      "head.lens: a flat-field lens's chief ray's angle in x (rad) of "},
                     {"x_slope = 0.25", "x_slope = true", "true",
                      "head.lens.x_slope: a number is needed, given is true"},
                     {"axis_mm = [1, -2]", "axis_mm = [1]", "[1]",
                      "head.lens.axis_mm: [number, number] is needed, given is a list of 1"}});
}

TEST_CASE("a file that the job names is looked for beside it, and a fault in it is told by that file") {
    TemporaryFolder const folder;
    auto const said = [&](std::string const& job) {
        return message_of([&] { job_from(folder.file("job.toml", job)); });
    };
    auto const table = head_without_focus("focus_table = \"focus.csv\"\n");
    CHECK(said(table) == "focus.csv: cannot be read: No such file or directory");
    folder.file("focus.csv", "path_mm,lens_mm\n500,-5\n540,0\n530,3\n");
    CHECK(said(table) == "focus.csv:4:path_mm: 530 does not rise above the 540 of row 3");
    folder.file("focus.csv", "path_mm,lens_mm\n20,-5\n30,0\n50,3\n");
    CHECK(said(table) == "job.toml:" + place_of("\"focus.csv\"", table) +
                             ": head.focus_table: the path at lens 0 must be more than "
                             "mirror_separation_mm: the path starts at the first mirror");
    folder.file("focus.csv", "path_mm,lens_mm\n500,-5\n540,0\n580,5\n");
    auto const both = with(table, "focus_table", "focus_path_mm = 540\nfocus_table");
    CHECK(said(both) == "job.toml:" + place_of("540\nfocus_table", both) +
                            ": head.focus_path_mm: not beside focus_table, which says the path");

    auto const surface = with(table, "focus_table", "focus_surface = \"surface.csv\"\nfocus_table");
    folder.file("surface.csv", "x_mirror_deg,y_mirror_deg,lens_mm\n# invented\n0,0,1\n1,0,1\n1,1,5.1\n");
    CHECK(said(surface) ==
          "surface.csv:5: the lens displacement of 5.1 mm is beyond what the focus axis knows");
    folder.file("surface.csv", "x_mirror_deg,y_mirror_deg,lens_mm\n0,0,1\n1,0,1\n");
    CHECK(said(surface) == "surface.csv: a focus surface needs 25 rows or more, five by five; given were 2");

    auto const map = head_with("field_map = \"marks.csv\"\n");
    std::string rows = "x_command_mm,y_command_mm,x_found_mm,y_found_mm\n";
    for (int i = -2; i <= 2; ++i)
        for (int k = -2; k <= 2; ++k)
            rows += std::to_string(40 * i) + "," + std::to_string(40 * k) + "," + std::to_string(41 * i) +
                    "," + std::to_string(39 * k) + "\n";
    folder.file("marks.csv", rows);
    CHECK(said(map) == "no error");
    folder.file("marks.csv", with(rows, "\n40,0,41,0\n", "\n40,0,9000,0\n"));
    CHECK(said(map) == "marks.csv:19: no mirror angles reach the found place (9000, 0) mm");
    folder.file("marks.csv", with(rows, "\n40,0,41,0\n", "\n40,0,-41,0\n"));
    CHECK(said(map).find("marks.csv: the found marks of a field fold over between rows ") == 0);
    folder.file("marks.csv", with(rows, "\n40,0,41,0\n", "\n40,0,41 mm,0\n"));
    CHECK(said(map) == "marks.csv:19:x_found_mm: \"41 mm\" is not a number");

    auto const slope = with(lens_job, "x_slope = 0.25", "x_slope = \"slope.csv\"");
    folder.file("slope.csv", "in_deg,out_deg\n0,0\n50,1\n");
    CHECK(said(slope) == "slope.csv:3:in_deg: 50 is beyond 45 degrees");
}

TEST_CASE("the beam of a job is read in SI units, however its quality is told") {
    TemporaryFolder const folder;
    auto const process_of = [&](std::string const& job) {
        return job_from(folder.file("job.toml", job)).process.value();
    };
    CHECK_FALSE(job_from(folder.file("job.toml", small_job)).process.has_value());
    auto const process = process_of(welding_job);
    CHECK(process.power == 4000);
    CHECK(process.largest_spot == 0.0006);
    CHECK(process.largest_defocus == 0.5);
    CHECK(process.least_power_density == 1e10); // 10 000 W on a square of 1e-3 m
    CHECK(process.line_energy.low == 1e4);
    CHECK(process.line_energy.high == 3e4);
    auto const& beam = std::get<DeliveredBeam<>>(process.beam);
    CHECK(beam.radius == 0.009);
    CHECK(beam.ahead == 0.06);
    CHECK(beam.quality.wavelength == doctest::Approx(1.07e-6).epsilon(1e-15)); // a last bit of the unit
    CHECK(beam.quality.beam_parameter_product() == doctest::Approx(4e-6).epsilon(1e-15));

    std::string const product = "beam_parameter_product_mm_mrad = 4";
    auto const by_m2 = process_of(with(welding_job, product, "m_squared = 1.3"));
    CHECK(std::get<DeliveredBeam<>>(by_m2.beam).quality.m_squared == 1.3);
    // A core of 100 µm and 90 mrad to each side: 50 µm · 0.09 = 4.5 mm mrad.
    auto const by_fibre =
        process_of(with(welding_job, product, "fibre = { core_um = 100, half_divergence_mrad = 90 }"));
    CHECK(std::get<DeliveredBeam<>>(by_fibre.beam).quality.beam_parameter_product() ==
          doctest::Approx(4.5e-6).epsilon(1e-14));
    CHECK(process_of(with(welding_job, "least_power_density_W_mm2 = 10000\n", "")).least_power_density == 0);

    auto const behind_lens =
        process_of(lens_job + with(welding_job.substr(small_job.size()), "ahead_mm = 60\n", ""));
    auto const& lens_beam = std::get<FlatFieldBeam<>>(behind_lens.beam);
    CHECK(lens_beam.focal_length == 0.254);
    CHECK(lens_beam.radius == 0.009);
}

TEST_CASE("a fault in the beam is refused with its place") {
    check(welding_job,
          {{"power_W = 4000", "power_W = 0", "0\nwave",
            "process.power_W: 0 is not allowed: it must be above 0"},
           {"wavelength_nm = 1070", "wavelength_nm = 1070000", "1070000",
            "process.wavelength_nm: a wavelength (m) of 0.00107 is not possible: it must be above 0 and at "
            "most 1e-4"},
           {"beam_parameter_product_mm_mrad = 4", "m_squared = 0.9", "0.9",
            "process.m_squared: an M2 of 0.9 is not possible: it must be 1 or more"},
           {"beam_parameter_product_mm_mrad = 4", "beam_parameter_product_mm_mrad = 0.3", "0.3",
            "process.beam_parameter_product_mm_mrad: a beam parameter product (m rad) of 3e-07 is not "
            "possible: it must be the wavelength over pi, "},
           {"beam_parameter_product_mm_mrad = 4", "fibre = { core_um = 100, half_divergence_mrad = 900 }",
            "{ core", "process.fibre: a half divergence (rad) of 0.9 is not possible"},
           {"beam_parameter_product_mm_mrad = 4", "beam_parameter_product_mm_mrad = 4\nm_squared = 3",
            "4\nm_squared",
            "process.beam_parameter_product_mm_mrad: exactly one of m_squared, "
            "beam_parameter_product_mm_mrad and fibre is needed"},
           {"ahead_mm = 60\n", "", "[process]", "process.ahead_mm: this key is missing"},
           {"line_energy_J_mm = [10, 30]", "line_energy_J_mm = [30, 10]", "[30, 10]",
            "process.line_energy_J_mm: the first must be below the second"},
           {"line_energy_J_mm = [10, 30]", "line_energy_J_mm = [-1, 10]", "[-1, 10]",
            "process.line_energy_J_mm: -1 is not allowed: it must be at least 0"},
           {"largest_defocus = 0.5", "largest_defocus = \"0.5\"", "\"0.5\"",
            "process.largest_defocus: a number is needed, given is the text \"0.5\""}});
}

TEST_CASE("a key that nobody knows is refused in every table of the head and the beam") {
    TemporaryFolder const folder;
    std::string const beam = with(welding_job.substr(small_job.size()), "beam_parameter_product_mm_mrad = 4",
                                  "fibre = { core_um = 100, half_divergence_mrad = 90 }");
    std::string const with_lens_beam = lens_job + with(beam, "ahead_mm = 60\n", "");
    std::string const whole = head_with(whole_head) + beam;
    REQUIRE(message_of([&] { job_from(folder.file("job.toml", whole)); }) == "no error");
    REQUIRE(message_of([&] { job_from(folder.file("job.toml", with_lens_beam)); }) == "no error");
    struct Stray {
        std::string before, key;
        bool in_line;
        std::string job;
    };
    for (Stray const& c : std::vector<Stray>{{"circle_mm", "head.field.stray", true, whole},
                                             {"shift_mm_per_kW", "head.heat.stray", true, whole},
                                             {"incoming", "head.mirrors.stray", false, whole},
                                             {"pivot_mm", "head.mirrors.first.stray", true, whole},
                                             {"normal", "head.mirrors.last.stray", true, whole},
                                             {"along_mm = 40", "head.apertures.first.stray", true, whole},
                                             {"beam_radius_mm", "head.apertures.stray", false, whole},
                                             {"field = ", "head.stray", false, whole},
                                             {"core_um", "process.fibre.stray", true, whole},
                                             {"power_W = 4000\nwave", "process.stray", false, whole},
                                             {"focal_length_mm", "head.lens.stray", true, lens_job}}) {
        CAPTURE(c.key);
        std::string const text =
            with(c.job, c.before, (c.in_line ? "stray = 1, " : "stray = 1\n") + c.before);
        CHECK(message_of([&] { job_from(folder.file("job.toml", text)); })
                  .find("job.toml:" + place_of("stray", text) + ": " + c.key +
                        ": this key is not known here; known are ") == 0);
    }
    // Behind a lens the beam comes collimated: there is no optic ahead of the mirrors.
    CHECK(message_of([&] {
              job_from(folder.file("job.toml", lens_job + beam));
          }).find(": process.ahead_mm: this key is not known here") != std::string::npos);
}
