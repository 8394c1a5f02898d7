#include "seamhold/file/weld_papers.hpp"

#include "seamhold/record/procedure_values.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::refusal_of;

namespace {

constexpr double none = std::numeric_limits<double>::quiet_NaN();

KeptWeld invented_weld() {
    KeptWeld weld;
    weld.verdict.part = "P-17, \"left\"";
    weld.verdict.key.seam = "S1";
    weld.verdict.date = 20784.3125; // 2026-11-27 07:30
    weld.verdict.length = 0.15;
    weld.verdict.judgement = Judgement::good;
    weld.values = {{"power at the work", "W", 3000, 3000, "", ValueOrigin::commanded},
                   {"incidence", "degrees", -0.123456, 10.49, "", ValueOrigin::commanded},
                   {"focus offset", "mm", 0, 0, "", ValueOrigin::commanded},
                   {"gas flow", "l/min", 15, 15.00001, "by the meter", ValueOrigin::measured},
                   {"weave", "", none, none, "none", ValueOrigin::commanded},
                   {"shielding gas", "", none, none, "argon", ValueOrigin::stated},
                   {"thickness", "mm", none, none, "", ValueOrigin::open},
                   {"spot", "mm", none, none, "the job says nothing of the beam", ValueOrigin::open}};
    return weld;
}

} // namespace

TEST_CASE("the page of a weld has its values, its blanks, and what it is not") {
    CHECK(weld_paper(invented_weld(), {"W-8", "Works, hall 3", "", ""}) ==
          R"(Record of a weld: part P-17, "left", seam S1, 2026-11-27T07:30:00
  procedure specification  W-8
  manufacturer, place      Works, hall 3
  operator                 ____________________
  by the sensors: good

  power at the work  3000 W                                                      commanded
  incidence          -0.1235 to 10.49 degrees                                    commanded
  focus offset       0.000 mm                                                    commanded
  gas flow           15.00 l/min (by the meter)                                  measured
  weave              none                                                        commanded
  shielding gas      argon                                                       stated
  thickness          ____________________ mm
  spot               ____________________ mm (the job says nothing of the beam)

  Commanded values are those of the plan, not of a meter. This page helps to fill in papers and is
  no qualification of a procedure, a person or a weld: that is for the standard that applies, the
  local codes and licensed practice.
)");
}

TEST_CASE("the record of a test piece has each weld, and blanks for what is examined") {
    auto bad = invented_weld();
    bad.verdict.key.seam = "S2";
    bad.verdict.judgement = Judgement::not_good;
    bad.verdict.channels = {"plume light"};
    bad.verdict.findings = {{}, {}};
    bad.values.resize(1);
    auto const text = test_piece_paper("", {invented_weld(), bad});
    CHECK(text.starts_with("Record of a test piece: ____________________\n"));
    CHECK(text.find("  examiner or body         ____________________\n") != std::string::npos);
    CHECK(text.find("\nPart P-17, \"left\", seam S2, 2026-11-27T07:30:00\n  by the sensors: not good, 2 "
                    "findings on 150.0 mm\n  power at the work  3000 W  commanded\n") != std::string::npos);
    for (char const* const test : {"visual", "radiographic or ultrasonic", "macroscopic section", "hardness"})
        CHECK(text.find("\n  " + std::string(test) + " ") != std::string::npos);
    CHECK(text.ends_with("local codes and licensed practice.\n"));
}

TEST_CASE("values as CSV: quotes where they must be, empty where nothing is known") {
    CHECK(weld_values_csv({invented_weld()}) ==
          R"(part,seam,date_days,name,least,greatest,unit,words,origin
"P-17, ""left""",S1,20784.3125,power at the work,3000,3000,W,,commanded
"P-17, ""left""",S1,20784.3125,incidence,-0.123456,10.49,degrees,,commanded
"P-17, ""left""",S1,20784.3125,focus offset,0,0,mm,,commanded
"P-17, ""left""",S1,20784.3125,gas flow,15,15.00001,l/min,by the meter,measured
"P-17, ""left""",S1,20784.3125,weave,,,,none,commanded
"P-17, ""left""",S1,20784.3125,shielding gas,,,,argon,stated
"P-17, ""left""",S1,20784.3125,thickness,,,mm,,open
"P-17, ""left""",S1,20784.3125,spot,,,mm,the job says nothing of the beam,open
)");
}

// Found by a review on 2026-11-27: 1e-12 was printed as 0.000000000, and a line end in words broke the table.
TEST_CASE("small and great values keep their digits, and words stay in their row") {
    auto weld = invented_weld();
    weld.verdict.part = "P\n17";
    weld.values = {{"small", "m", 1e-12, 2.34567e-7, "", ValueOrigin::measured},
                   {"near", "", 1e-6, 1e-6, "", ValueOrigin::measured},
                   {"great", "", -1.23456e15, 999.9e6, "", ValueOrigin::measured},
                   {"gas\tflow", "l\nmin", 15, 15, "first\r\nsecond", ValueOrigin::measured}};
    auto const text = weld_paper(weld, {"W\n8", "", "", ""});
    INFO(text);
    CHECK(has(text, "Record of a weld: part P 17, seam S1, 2026-11-27T07:30:00\n"));
    CHECK(has(text, "  procedure specification  W 8\n"));
    CHECK(has(text, "  small     1.000e-12 to 2.346e-07 m     measured\n"));
    CHECK(has(text, "  near      0.000001000                  measured\n"));
    CHECK(has(text, "  great     -1.235e+15 to 999900000      measured\n"));
    CHECK(has(text, "  gas flow  15.00 l min (first  second)  measured\n"));
    CHECK(has(test_piece_paper("", {weld}), "\nPart P 17, seam S1, "));
}

// Found by a review on 2026-11-27: such values were kept, and printed as nothing at all.
TEST_CASE("a value that says nothing, or half of something, is refused where it is put in, kept or printed") {
    double const most = std::numeric_limits<double>::infinity();
    auto const refused = [](ProcedureValue const& value) {
        auto weld = invented_weld();
        weld.values = {value};
        auto const said = refusal_of([&] { return weld_paper(weld); });
        CHECK(refusal_of([&] { return test_piece_paper("", {weld}); }) == said);
        CHECK(refusal_of([&] { return weld_values_csv({weld}); }) == said);
        if (value.origin != ValueOrigin::open)
            CHECK(refusal_of([&] { return with_values({}, {value}); }) == said);
        return said;
    };
    CHECK(refused({"gas", "", 15, none, "", ValueOrigin::measured}) ==
          "the value \"gas\" of a weld must have two finite numbers, the least first, or none; given were 15 "
          "and nan");
    CHECK(has(refused({"gas", "", none, 15, "argon", ValueOrigin::measured}), "given were nan and 15"));
    CHECK(has(refused({"gas", "", 1, most, "", ValueOrigin::open}), "given were 1 and inf"));
    CHECK(has(refused({"gas", "", 2, 1, "", ValueOrigin::stated}), "given were 2 and 1"));
    CHECK(refused({"gas", "", none, none, "", ValueOrigin::stated}) ==
          "the value \"gas\" of a weld is stated and has neither number nor words");
    CHECK(has(refused({"", "", 1, 1, "", ValueOrigin::stated}), "needs a name"));
    CHECK(has(refused({"gas", "", 1, 1, "", static_cast<ValueOrigin>(4)}), "never set"));
}

TEST_CASE("papers of a weld that could not be kept are refused") {
    auto weld = invented_weld();
    weld.verdict.date = none; // 2026-11-27: undefined behaviour
    CHECK(has(refusal_of([&] { return weld_paper(weld); }), "its date must lie within 1e7 days"));
    CHECK(has(refusal_of([&] { return test_piece_paper("", {weld}); }), "its date must lie within 1e7 days"));
    CHECK(has(refusal_of([&] { return weld_values_csv({weld}); }), "its date must lie within 1e7 days"));
}
