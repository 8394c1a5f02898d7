#include "seamhold/file/weld_papers.hpp"

#include <doctest/doctest.h>

#include <limits>
#include <string>
#include <vector>

using namespace seamhold;

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
