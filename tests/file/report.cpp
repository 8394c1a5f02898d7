#include "seamhold/file/report.hpp"

#include "jobs.hpp"
#include "seamhold/file/csv.hpp"
#include "seamhold/file/job.hpp"
#include "seamhold/file/report_csv.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <regex>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::small_job;
using seamhold::test::TemporaryFolder;
using seamhold::test::with;

namespace {

bool has(std::string const& text, std::string const& part) { return text.find(part) != std::string::npos; }

/// A wrapped text in one line.
std::string in_one_line(std::string const& text) { return std::regex_replace(text, std::regex("\n +"), " "); }

/// Reports made by hand: one seam within, one that exceeds, one partly without data, one wholly.
std::vector<SeamReport> by_hand() {
    SeamReport within{};
    within.name = "A1";
    within.start = 0.5;
    within.duration = 0.25;
    within.length = 0.1;
    within.samples = 101;
    within.peaks[static_cast<std::size_t>(Limit::x_angle)] = {0.5, -0.0872664625997165, -0.174532925199433,
                                                              0.6, 0.04};
    within.peaks[static_cast<std::size_t>(Limit::focus_velocity)] = {0.75, 0.075, 0.1, 0.75, 0.1};
    within.peaks[static_cast<std::size_t>(Limit::x_rms_acceleration)] = {0.25, 1000, 4000, 0.5, 0};
    SeamReport exceeds = within;
    exceeds.name = "A2";
    exceeds.status = Status::out_of_reach;
    exceeds.peaks[static_cast<std::size_t>(Limit::x_angle)] = {1.5, 0.2617993877991494, 0.174532925199433,
                                                               0.61, 0.044};
    exceeds.peaks[static_cast<std::size_t>(Limit::air_move)] = {1.25, 0.005, 0.004, 0.5, 0};
    SeamReport partly = within;
    partly.name = "A3";
    partly.status = Status::no_data;
    partly.status_time = 0.7;
    partly.unusable = 20;
    SeamReport wholly = partly;
    wholly.name = "A4";
    wholly.unusable = 101;
    return {within, exceeds, partly, wholly};
}

LogReport a_log() {
    LogReport log{};
    log.file = "joints.csv";
    log.declared.max_gap = 0.02;
    log.joints = 6;
    log.columns = {"time_s"};
    log.rows = log.kept = 100;
    log.period = 0.004;
    return log;
}

} // namespace

TEST_CASE("the report names verdict, margin, binding limit, when and where, in units of the shop floor") {
    std::string const text = report_text("A plate", a_log(), by_hand(), 1e-5);
    CHECK(text.find("A plate\n\n") == 0);
    CHECK(has(text,
              "\n  seam  verdict   margin  binding limit              peak of limit         at  at mm\n"
              "  A1    within    25.0 %  focus velocity      75.00 of 100.00 mm/s  0.75000 s  100.0\n"
              "  A2    exceeds  -50.0 %  x mirror angle          15.00 of 10.00 °  0.61000 s   44.0\n"
              "  A3    no data        -  20 of 101 samples                      -  0.70000 s      -\n"
              "  A4    no data        -  101 of 101 samples                     -  0.70000 s      -\n"));
    CHECK(has(text,
              "A1: within; 0.5000 s to 0.7500 s, 100.0 mm at 24.00 m/min, 101 samples\n"
              "  limit                        used   peak   limit  unit           at  at mm\n"
              "  x mirror angle             50.0 %  -5.00  -10.00  °       0.60000 s   40.0\n"
              "  x mirror RMS acceleration  25.0 %   1000    4000  rad/s²  all of it\n"
              "  focus velocity             75.0 %  75.00  100.00  mm/s    0.75000 s  100.0  binding\n"));
    CHECK(
        has(text, "x mirror angle             150.0 %  15.00   10.00  °       0.61000 s   44.0  exceeds\n"));
    CHECK(
        has(text, "air move                   125.0 %   5.00    4.00  ms      before it         exceeds\n"));
    CHECK(has(text, "\n  20 of 101 samples cannot be used; at worst: no data, first at 0.70000 s\n"
                    "  The peaks below are of the other samples\n"));
    CHECK(has(text, "A4: no data; 0.5000 s to 0.7500 s, 100.0 mm at 24.00 m/min, 101 samples\n"
                    "  101 of 101 samples cannot be used; at worst: no data, first at 0.70000 s\n\n"));
    CHECK(has(text,
              "\nSUMMARY\n  1 of 4 seams are within every limit at every sample. Not within: A2 (x mirror "
              "angle), A3 (no\n  data), A4 (no data). Tightest of those within: A1, focus velocity, 25.0 % "
              "left.\n"));
    // What a reader must not miss.
    CHECK(has(text, "Sampled every 10 µs or closer"));
    CHECK(has(text, "proves\n  nothing between samples"));
    CHECK(has(text, "LOG joints.csv\n"));
    CHECK(has(text.substr(text.find("\nCAUTION\n")), "no safety function"));
    CHECK(text.back() == '\n');
}

TEST_CASE("the report says for which motion it speaks") {
    LogReport log = a_log();
    auto const text = [&log] { return report_text("A plate", log, by_hand(), 1e-6); };
    CHECK(has(text(), "speaks for the measured joint"));
    CHECK(has(text(), "flex of the arm"));
    CHECK_FALSE(has(text(), "arrival"));
    log.declared.poses = PosesAre::commanded;
    log.joints = 0;
    CHECK(has(text(), "speaks for the commanded flange"));
    CHECK(has(text(), "told, not what it did"));
    log.declared.stamps = StampsAre::arrival;
    CHECK(has(text(), "stamps are of arrival"));
}

TEST_CASE("lines stay within a page, and there is no NaN to read") {
    auto seams = by_hand();
    seams[0].peaks[0].value = std::nan("");
    seams[1].peaks[static_cast<std::size_t>(Limit::air_move)] = {std::numeric_limits<double>::max(), 0.004, 0,
                                                                 0.5, 0};
    std::string const text = report_text("A plate", a_log(), seams, 1e-5);
    CHECK_FALSE(has(text, "nan"));
    CHECK_FALSE(has(text, "inf"));
    CHECK(has(text, "A2    exceeds  <-9999 %  air move"));
    std::size_t begin = 0;
    for (std::size_t end; (end = text.find('\n', begin)) != std::string::npos; begin = end + 1) {
        CHECK(detail::width_of(text.substr(begin, end - begin)) <= 100);
        CHECK((end == begin || text[end - 1] != ' '));
    }
}

TEST_CASE("the limits of the beam and of a mirror's aperture, in units of the shop floor and in SI") {
    SeamReport seam{};
    seam.name = "B1";
    seam.start = 0.5;
    seam.duration = 0.25;
    seam.length = 0.1;
    seam.samples = 101;
    auto const set = [&](Limit limit, Peak const& peak) {
        seam.peaks[static_cast<std::size_t>(limit)] = peak;
    };
    set(Limit::field, {0.36, 0.36, 1, 0.5, 0});
    set(Limit::mirror_aperture, {0.8, 0.8, 1, 0.6, 0.04});
    set(Limit::spot_size, {0.75, 0.0003, 0.0004, 0.75, 0.1});
    set(Limit::defocus, {0.5, -0.25, 0.5, 0.75, 0.1});
    set(Limit::power_density, {0.4, 2.5e10, 1e10, 0.75, 0.1});
    set(Limit::line_energy, {0.9, 2.9e4, 3e4, 0.55, 0.02});
    std::string const text = report_text("A plate", a_log(), {seam}, 1e-5);
    CHECK(has(text, "\n  seam  verdict  margin  binding limit      peak of limit         at  at mm\n"
                    "  B1    within   10.0 %  line energy    29.0 of 30.0 J/mm  0.55000 s   20.0\n"));
    CHECK(has(text, "  limit              used   peak  limit  unit           at  at mm\n"
                    "  field            36.0 %   36.0  100.0  %       0.50000 s    0.0\n"
                    "  mirror aperture  80.0 %   80.0  100.0  %       0.60000 s   40.0\n"
                    "  spot size        75.0 %  0.300  0.400  mm      0.75000 s  100.0\n"
                    "  defocus          50.0 %  -0.25   0.50  zR      0.75000 s  100.0\n"
                    "  power density    40.0 %  25.00  10.00  kW/mm²  0.75000 s  100.0\n"
                    "  line energy      90.0 %   29.0   30.0  J/mm    0.55000 s   20.0  binding\n"));
    for (char const* const word : {"Mirror aperture: of the", "Spot size: the", "Defocus: of the",
                                   "Power density: over", "Line energy: power over"}) {
        CHECK(has(in_one_line(text), word));
        // Not where no seam has that limit.
        CHECK_FALSE(has(in_one_line(report_text("A plate", a_log(), by_hand(), 1e-5)), word));
    }
    std::string const csv = report_csv({seam});
    std::string const front = "\nB1,0.5,0.25,0.1,within,101,0,";
    CHECK(has(csv, front + "mirror aperture,0.8,0.8,1,1,0.6,0.04\n"));
    CHECK(has(csv, front + "spot size,0.75,3e-04,4e-04,m,0.75,0.1\n"));
    CHECK(has(csv, front + "defocus,0.5,-0.25,0.5,1,0.75,0.1\n"));
    CHECK(has(csv, front + "power density,0.4,2.5e+10,1e+10,W/m²,0.75,0.1\n"));
    CHECK(has(csv, front + "line energy,0.9,29000,30000,J/m,0.55,0.02\n"));
}

TEST_CASE("a seam for which the head has no command says so") {
    auto seams = by_hand();
    seams[2].status = Status::no_solution;
    std::string const text = report_text("A plate", a_log(), seams, 1e-5);
    CHECK(has(text, "  A3    no solution        -  20 of 101 samples "));
    CHECK(has(text, "A3: no solution; 0.5000 s to 0.7500 s, 100.0 mm at 24.00 m/min, 101 samples\n"
                    "  20 of 101 samples cannot be used; at worst: no solution, first at 0.70000 s\n"));
    CHECK(has(in_one_line(text), "A3 (no solution)"));
    CHECK(has(report_csv(seams), "\nA3,0.5,0.25,0.1,no solution,101,20,x mirror angle,"));
}

TEST_CASE("as CSV the report has one row a seam and limit, in SI units") {
    TemporaryFolder const folder;
    auto seams = by_hand();
    seams[0].name = "A \"1\", top";
    std::string const text = report_csv(seams);
    CHECK(has(text, "\n\"A \"\"1\"\", top\",0.5,0.25,0.1,within,101,0,x mirror angle,0.5,-0.0872664625997165,"
                    "-0.174532925199433,rad,0.6,0.04\n"));
    CHECK(has(text, "\nA4,0.5,0.25,0.1,no data,101,101,,,,,,,\n"));
    seams[0].name = "A1";
    CsvReader reader(folder.file("report.csv", report_csv(seams)));
    std::size_t rows = 0;
    while (reader.next()) {
        ++rows;
        if (reader.text(reader.column("limit")) == "air move") {
            CHECK(reader.text(reader.column("seam")) == "A2");
            CHECK(reader.text(reader.column("unit")) == "s");
            CHECK(reader.number(reader.column("value")) == 0.005);
            CHECK(reader.text(reader.column("time_s")).empty());
        }
    }
    CHECK(rows == 3 + 4 + 3 + 1);
}

TEST_CASE("from a job on disk to its report") {
    TemporaryFolder const folder;
    auto const loaded = seamhold::test::loaded_from(
        folder.file("job.toml", with(small_job, "name = \"A1\"", "name = \"Ä1\"")),
        folder.file("log.csv", seamhold::test::resting_log()));
    auto const text = report_text(loaded.title, loaded.log, report(loaded.job, 1e-4), 1e-4);
    // The plate's seam lies flat below a resting head: the largest incidence is that of its ends.
    // Beam from (0, −e) unfolded: the direction at (50, −20, 500) mm leaves the last mirror's axis at
    // x = e tan 2θx = 40 · 50 / (40 + √(20² + 500²)) mm, so incidence = atan(√((50 − x)² + 20²) / 500).
    double const x = 40 * 50.0 / (40 + std::sqrt(20.0 * 20 + 500.0 * 500));
    double const incidence = std::atan(std::hypot(50 - x, 20.0) / 500) * 180 / 3.14159265358979323846;
    std::smatch line;
    REQUIRE(std::regex_search(text, line, std::regex("incidence +[0-9.]+ % +([0-9.]+) +30.00  °")));
    CHECK(std::abs(std::stod(line[1]) - incidence) < 0.0051); // two decimals
    CHECK(has(text, "Ä1    within"));
    CHECK(has(text, "held on one point for 50.00 ms"));
    CHECK_FALSE(has(text, "spot size"));
}

TEST_CASE("from a job with a beam on disk to its report") {
    TemporaryFolder const folder;
    auto const loaded = seamhold::test::loaded_from(folder.file("job.toml", seamhold::test::welding_job),
                                                    folder.file("log.csv", seamhold::test::resting_log()));
    auto const text = report_text(loaded.title, loaded.log, report(loaded.job, 1e-4), 1e-4, loaded.head);
    // 4 mm mrad, 9 mm in an optic 60 mm before the first mirror; the longest way to A1 is to its ends, 50 mm
    // and 20 mm aside: w0 = BPP·b/a. The spot lies on a flat face under the cosine of the beam's angle to it.
    double const to_axis = std::hypot(20.0, 500.0), path = std::hypot(50.0, 40 + to_axis);
    double const waist = 4e-3 * (60 + path) / 9;
    double const cosine = (40 + to_axis) / path * 500 / to_axis;
    std::smatch line;
    REQUIRE(std::regex_search(text, line, std::regex("spot size +[0-9.]+ % +([0-9.]+) +0.600  mm")));
    CHECK(std::abs(std::stod(line[1]) - 2 * waist / cosine) < 0.00051); // three decimals
    // 4000 W at 12 m/min, 200 mm/s: 20 J/mm, in the middle of 10 to 30.
    REQUIRE(std::regex_search(text, line, std::regex("line energy +([0-9.]+) % +([0-9.]+) +[0-9.]+  J/mm")));
    CHECK(std::stod(line[1]) == 0);
    CHECK(std::stod(line[2]) == 20);
    double const density = 4 * cosine / (3.14159265358979323846 * waist * waist); // kW/mm²
    REQUIRE(std::regex_search(text, line, std::regex("power density +[0-9.]+ % +([0-9.]+) +10.00  kW/mm²")));
    CHECK(std::abs(std::stod(line[1]) - density) < 0.0051);
}
