#include "seamhold/file/proof_report.hpp"

#include "seamhold/file/csv.hpp"
#include "seamhold/file/proof_csv.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <regex>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::TemporaryFolder;

namespace {

bool has(std::string const& text, std::string const& part) { return text.find(part) != std::string::npos; }

/// A wrapped text in one line.
std::string in_one_line(std::string const& text) { return std::regex_replace(text, std::regex("\n +"), " "); }

/// Proofs made by hand: one seam within, one that exceeds, one undecided, one without data.
JobProof by_hand() {
    SeamProof within{};
    within.name = "A1";
    within.start = 0.5;
    within.duration = 0.25;
    within.length = 0.1;
    within.looked_at = 12;
    within.limits = {{Limit::x_angle,
                      Verdict::within,
                      {0.49951, 0.50049},
                      -0.0872664625997165,
                      -0.174532925199433,
                      0.6,
                      0.04},
                     {Limit::field, Verdict::within, {0, 0}, 0, 1, 0.5, 0},
                     {Limit::joint_velocity, Verdict::within, {0.75, 0.75}, 0.75, 1, 0.75, 0.1, 4},
                     {Limit::x_rms_acceleration, Verdict::within, {0.25, 0.2501}, 1000, 4000, 0.75, 0.1},
                     {Limit::x_heating, Verdict::within, {0.1, 0.1001}, 400, 4000, 0.75, 0.1}};
    within.checks = {{Limit::x_angle, Measure::x, 0, Reading::itself, Bound::range, {-0.1745, 0.1745}},
                     {Limit::joint_velocity, Measure::joint_4, 1, Reading::itself, Bound::magnitude, {0, 1}}};
    within.stretches = {{{0, 0.125}, {{0.25, 0.5}, {0, 0.5}}, {}, {}},
                        {{0.125, 0.25}, {{0, 0.25}, {0.5, 0.75}}, {}, {}}};
    SeamProof exceeds = within;
    exceeds.name = "A2";
    exceeds.limits[0] = {
        Limit::x_angle, Verdict::exceeds, {1.5, 1.50501}, 0.2617993877991494, 0.174532925199433, 0.61, 0.044};
    exceeds.limits[2].verdict = Verdict::undecided;
    exceeds.limits[2].utilisation = Interval::whole();
    SeamProof undecided = within;
    undecided.name = "A3";
    undecided.limits[2].verdict = Verdict::undecided;
    undecided.limits[2].utilisation = {0.99951, 1.00249};
    SeamProof missing = within;
    missing.name = "A4";
    missing.limits.insert(missing.limits.begin(),
                          {Limit::reach, Verdict::exceeds, Interval::whole(), 0, 0, 0.55, 0.02});
    JobProof proof;
    proof.seams = {within, exceeds, undecided, missing};
    proof.cycle = 8;
    proof.x_cycle_rms = {399.2, 400.4};
    proof.y_cycle_rms = {100, 100};
    proof.allowed_rms = 4000;
    return proof;
}

LogReport a_log() {
    LogReport log{};
    log.file = "joints.csv";
    log.joints = 6;
    return log;
}

HeadDynamics a_head() { return {20, 15000, 4000, 0.5e-3, 2e-3, 0.1, 5e-3}; }

std::string text_for(JobProof const& proof) { return proof_text("A plate", a_log(), a_head(), proof); }

/// Surroundings with one clamp each, and a guard.
std::optional<Surroundings> around_it() {
    Surroundings around{BeamCone{0.012, 0.0005, 0.003}};
    around.on_part.emplace_back("toggle", std::vector{ball_at(Point<Part>{0, 0, 0}, 0.01)});
    around.in_cell.emplace_back("post", std::vector{ball_at(Point<Cell>{0, 0, 0}, 0.01)});
    around.guarded = GuardedDirections({{"pan", {0, 0, -1}, degrees(40)}});
    return around;
}

/// What is found of a seam that passes everything.
SightProof clear() {
    Guarded const guarded{Verdict::within, 0.5, {0, 0, 0}, {0, 0, -1}, 0, -0.5, 3};
    return {{Verdict::within, 1, "", 0.5, 0, {0, 0, 0}, 2},
            {Verdict::within, 1, "", 0.5, 0, {0, 0, 0}, 2},
            guarded,
            guarded};
}

} // namespace

TEST_CASE("one line a seam: verdict, margin, what binds and its peak between proven bounds, when and where") {
    auto const text = text_for(by_hand());
    CHECK(text.find("A plate\n\n") == 0);
    auto const row = [&](char const* words) {
        CAPTURE(words);
        CHECK(std::regex_search(text, std::regex(std::string("\n  ") + words + "\n")));
    };
    row("A1 +within +25\\.0 % +joint velocity 4 +75\\.0 % +0\\.75000 s +100\\.0");
    row("A2 +exceeds +-50\\.6 % +x mirror angle +150\\.0 to 150\\.6 % +0\\.61000 s +44\\.0");
    row("A3 +undecided +-0\\.3 % +joint velocity 4 +99\\.9 to 100\\.3 % +0\\.75000 s +100\\.0");
    row("A4 +exceeds +- +reach and data +- +0\\.55000 s +-");
}

TEST_CASE("brackets are rounded outwards and margins down, a billionth counting as nothing") {
    CHECK(detail::bracket_text({0.83149, 0.83351}) == "83.1 to 83.4 %");
    CHECK(detail::bracket_text({0.5, 0.5}) == "50.0 %");
    CHECK(detail::bracket_text({0.99999, 1 + 1e-12}) == "99.9 to 100.0 %");
    CHECK(detail::bracket_text({100, 200}) == ">9999 % or more");
    CHECK(detail::bracket_text(Interval::whole()) == "not bounded");
    CHECK(detail::margin_text({0.83149, 0.83351}) == "16.6 %");
    CHECK(detail::margin_text({0.5, 0.5}) == "50.0 %");
    CHECK(detail::margin_text({1, 1 + 1e-12}) == "0.0 %");
    CHECK(detail::margin_text(Interval::whole()) == "-");
}

TEST_CASE("in short: how many are proven, and which are not and why") {
    auto const text = in_one_line(text_for(by_hand()));
    CHECK(has(text, "1 of 4 seams are proven within every limit."));
    CHECK(has(text, "A limit is exceeded in: A2 (x mirror angle at 0.61000 s), A4 (reach and data)."));
    CHECK(has(text, "Undecided, to be treated as exceeded: A3 (joint velocity 4)."));
    CHECK(has(text, "Tightest of those within: A1, joint velocity 4, 25.0 % left."));
    CHECK(has(text, "No clamps and no guarded directions were given."));
    auto all = by_hand();
    all.seams.resize(1);
    CHECK(has(in_one_line(text_for(all)), "1 of 1 seam is proven within every limit. Tightest: A1, "));
}

TEST_CASE("every limit of a seam, with the witness where one is exceeded") {
    auto const text = text_for(by_hand());
    auto const row = [&](char const* words) {
        CAPTURE(words);
        CHECK(std::regex_search(text, std::regex(std::string("\n  ") + words + "\n")));
    };
    CHECK(has(text, "\nA1: within; 0.5000 s to 0.7500 s, 100.0 mm, 12 stretches looked at\n"));
    row("x mirror angle +within +49\\.9 to 50\\.1 % +-5\\.00 +-10\\.00 +° +0\\.60000 s +40\\.0");
    row("joint velocity 4 +within +75\\.0 % +42\\.97 +57\\.30 +°/s +0\\.75000 s +100\\.0");
    row("x mirror RMS acceleration +within +25\\.0 to 25\\.1 % +1000 +4000 +rad/s² +to its end");
    row("x mirror heating +within +10\\.0 to 10\\.1 % +400 +4000 +rad/s² +all of it");
    row("x mirror angle +exceeds +150\\.0 to 150\\.6 % +15\\.00 +10\\.00 +° +0\\.61000 s +44\\.0");
    row("joint velocity 4 +undecided +not bounded +42\\.97 +57\\.30 +°/s +0\\.75000 s +100\\.0");
    CHECK(std::regex_search(text, std::regex("\n  reach and data +exceeds +- +- +- +0\\.55000 s\n")));
    CHECK_FALSE(std::regex_search(text, std::regex("\n  field "))); // without an end it is no limit
    CHECK(has(text, "(48 stretches of time looked at)"));
}

TEST_CASE("a proof says for which motion it holds, and within which box") {
    auto proof = by_hand();
    auto const said = [&] { return in_one_line(text_for(proof)); };
    CHECK(has(said(), "for the motion exactly as given, without any tolerance."));
    CHECK(has(said(), "for the interpolant of the log, not for the arm's true motion."));
    CHECK(has(said(), "measured joint positions"));
    CHECK(has(said(), "no safety function"));
    proof.seams.front().box = {0.0002, degrees(0.1), 0, degrees(0.05), 0.001};
    CHECK(has(said(),
              "in this box around the given one: the part off by up to 0.2 mm along each of its axes and "
              "turned by up to 0.1° about any axis through its origin; the flange's path turned by up to "
              "0.05° about any axis through its origin; the motion early or late by up to 1 ms."));
    CHECK_FALSE(has(said(), "exactly as given"));
}

TEST_CASE("the beam among clamps and guards: what it passes, and what it reaches, when and where") {
    auto proof = by_hand();
    proof.seams.resize(2);
    proof.seams[1] = proof.seams[0];
    proof.seams[1].name = "A2";
    std::vector<SightProof> sights{clear(), clear()};
    auto const said = [&] {
        return in_one_line(proof_text("A plate", a_log(), a_head(), proof, sights, around_it()));
    };
    CHECK(has(said(), "12 mm radius at the head and 0.5 mm at the spot, with 3 mm kept free"));
    CHECK(has(said(), "Clamps on the part: toggle. Clamps in the cell: post."));
    CHECK(has(said(), "pan (within 40° of 0.000, 0.000, -1.000 in the cell)"));
    CHECK(has(said(), "Proven: the beam passes every clamp in every seam, and points into the guarded "
                      "directions; between seams it would, too,"));
    CHECK(has(said(), "2 of 2 seams are proven"));
    CHECK_FALSE(has(said(), "No clamps"));
    sights[1].past_part = {Verdict::exceeds, 0, "toggle", 0.6, -0.0042, {0.01, -0.02, 0.03}, 5};
    CHECK(has(said(), "A2: the beam, with what is kept free around it, reaches toggle at 0.60000 s, at "
                      "(10.0, -20.0, 30.0) mm in the part"));
    CHECK(has(said(),
              "1 of 2 seams are proven within every limit. A limit is exceeded in: A2 (reaches toggle)."));
    CHECK_FALSE(has(said(), "passes every clamp"));
    CHECK(std::regex_search(said(), std::regex(" A2 +exceeds +- +reaches toggle +- +0\\.60000 s +- ?")));
    sights[1] = clear();
    sights[1].past_cell = {Verdict::undecided, 0, "post", 0.7, 0.0001, {1, 2, 3}, 5};
    CHECK(has(said(), "A2: undecided beside post at 0.70000 s, at (1000.0, 2000.0, 3000.0) mm in the cell"));
    CHECK(has(said(), "Undecided, to be treated as exceeded: A2 (beside post)."));
    sights[1] = clear();
    sights[1].while_welding->verdict = Verdict::exceeds;
    sights[1].while_welding->time = 0.65;
    sights[1].while_welding->outside = degrees(2);
    CHECK(has(said(), "A2: the beam leaves the guarded directions at 0.65000 s, by 2.00°"));
    sights[1] = clear();
    sights[1].before->verdict = Verdict::exceeds;
    sights[1].before->time = 0.45;
    sights[1].before->outside = degrees(3);
    CHECK(has(said(),
              "A2: on the way to it, beam off: should it come on, the beam leaves the guarded directions at "
              "0.45000 s, by 3.00°"));
    CHECK(has(said(), "A2 (guards, on the way to it)"));
}

TEST_CASE("the repeated cycle, rounded outwards") {
    auto proof = by_hand();
    auto head = a_head();
    auto const said = [&] { return in_one_line(proof_text("A plate", a_log(), head, proof)); };
    CHECK(has(said(), "x mirror 399 to 401 rad/s², y mirror 100 to 100 rad/s², of 4000 allowed: within."));
    CHECK(has(said(), "next: 8.0000 s."));
    CHECK_FALSE(has(said(), "time constant"));
    CHECK_FALSE(has(said(), "Repeated, the job is not"));
    head.thermal_time = 10;
    head.rms_window = 0.1;
    CHECK(has(said(), "time constant of 10 s"));
    CHECK(has(said(), "RMS: over any 100.00 ms"));
    proof.x_cycle_rms = {4100, 4200};
    CHECK(has(said(), "allowed: exceeds."));
    CHECK(has(said(), "Repeated, the job is not proven within"));
}

TEST_CASE("lines of a proof stay within a page, and there is no NaN to read") {
    auto proof = by_hand();
    proof.seams[0].limits.push_back({Limit::head_turning, Verdict::exceeds, {150, 151}, 0.3, 0.2, 0.7, 0.05});
    proof.seams[0].limits.push_back(
        {Limit::incidence, Verdict::undecided, Interval::whole(), std::nan(""), 0.2, 0.7, 0.05});
    auto const text =
        proof_text("A plate", a_log(), a_head(), proof, {clear(), clear(), clear(), clear()}, around_it());
    CHECK_FALSE(has(text, "nan"));
    CHECK_FALSE(has(text, "inf"));
    std::size_t begin = 0;
    for (std::size_t end; (end = text.find('\n', begin)) != std::string::npos; begin = end + 1) {
        auto const line = text.substr(begin, end - begin);
        CAPTURE(line);
        CHECK(detail::width_of(line) <= 110);
        CHECK((end == begin || text[end - 1] != ' '));
    }
}

TEST_CASE("as CSV the proof has one row a seam and limit, in SI units, each with its box") {
    TemporaryFolder const folder;
    auto proof = by_hand();
    proof.seams.front().box = {0.0002, 0.001, 0.0003, 0.002, 0.004};
    std::vector<SightProof> sights(4, clear());
    sights[1].past_part = {Verdict::exceeds, 0, "a \"b\"", 0.6, -0.004, {0.01, -0.02, 0.03}, 5};
    auto const text = proof_csv(proof, sights);
    std::string const box = ",2e-04,0.001,3e-04,0.002,0.004\n";
    CHECK(has(text, "\nA1,0.5,0.25,0.1,joint velocity,4,within,0.75,0.75,0.75,1,rad/s,0.75,0.1,,,,," + box));
    CHECK(has(text, "\nA1,0.5,0.25,0.1,x mirror heating,,within,0.1,0.1001,400,4000,rad/s²,,,,,,," + box));
    CHECK(has(
        text,
        "\nA2,0.5,0.25,0.1,line of sight,,exceeds,,,-0.004,0,m,0.6,,\"a \"\"b\"\"\",part,0.01,-0.02,0.03" +
            box));
    sights[1] = clear();
    CsvReader reader(folder.file("proof.csv", proof_csv(proof, sights)));
    std::size_t rows = 0, sight = 0, cycle = 0;
    while (reader.next()) {
        ++rows;
        auto const limit = reader.text(reader.column("limit"));
        sight += limit == "line of sight" || limit == "guarded directions" ? 1U : 0U;
        if (reader.text(reader.column("object")) == "the repeated cycle") {
            ++cycle;
            CHECK(reader.text(reader.column("seam")).empty());
            CHECK(reader.number(reader.column("duration_s")) == 8);
            CHECK(reader.number(reader.column("allowed")) == 4000);
        }
        CHECK(reader.number(reader.column("delay_s")) == 0.004);
    }
    CHECK(sight == 4 * 4);
    CHECK(cycle == 2);
    CHECK(rows == 4 + 4 + 4 + 5 + sight + cycle); // the field without an end is no row
}

TEST_CASE("as CSV each limit's use stands between its bounds, stretch by stretch") {
    auto proof = by_hand();
    proof.seams.resize(1);
    CHECK(proof_stretches_csv(proof) == "seam,from_s,to_s,limit,joint,low,high\n"
                                        "A1,0.5,0.625,x mirror angle,,0.25,0.5\n"
                                        "A1,0.5,0.625,joint velocity,4,0,0.5\n"
                                        "A1,0.625,0.75,x mirror angle,,0,0.25\n"
                                        "A1,0.625,0.75,joint velocity,4,0.5,0.75\n");
}

TEST_CASE("every limit has a unit of its own for people and for programs") {
    for (std::size_t i = 0; i < limit_count; ++i) {
        auto const unit = detail::unit_of(static_cast<Limit>(i));
        CAPTURE(i);
        CHECK(std::string(unit.unit) != "");
        CHECK(std::string(unit.si_unit) != "");
    }
    CHECK(std::string(detail::unit_of(Limit::x_jerk).si_unit) == "rad/s³");
    CHECK(detail::unit_of(Limit::spot_speed).from_si(0.5) == 30);
    CHECK(detail::unit_of(Limit::focus_acceleration).from_si(5) == 5000);
    CHECK(std::string(detail::unit_of(Limit::joint_acceleration).unit) == "°/s²");
}
