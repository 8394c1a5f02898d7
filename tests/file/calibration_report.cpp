#include "seamhold/file/calibration_report.hpp"
#include "seamhold/file/budget_report.hpp"

#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <string>

using namespace seamhold;
using seamhold::test::has;

// What people read is held against texts written by hand from the numbers put in.

namespace {

MountFit invented_mount() {
    MountFit fit{};
    fit.flange_from_head = {Rotation<Flange, Head>::identity(), {0.0125, -0.002, 0.31}};
    fit.covariance = PoseCovariance::Zero();
    fit.covariance.diagonal() << 1e-8, 4e-8, 1e-8, 1e-10, 1e-10, 4e-10;
    fit.degrees_of_freedom = 1e12; // Student's t is 1.96
    fit.residuals = {{3e-5, 4e-5, 5e-5}, {0, 0, 0.004}, {0, 0, 1e-5}};
    fit.outliers = {1};
    fit.plausible = true;
    fit.weakest.direction = "a shift of the head along its z axis";
    fit.weakest.advice = MountAdvice::distance;
    return fit;
}

} // namespace

TEST_CASE("a mount's report names what was left out, the intervals, and the lines of a job file") {
    auto fit = invented_mount();
    auto const text = text_of(fit);
    CAPTURE(text);
    CHECK(has(text, "3 observations, left out: 2\n"));
    CHECK(
        has(text, "what is left: 36.1 um rms, at most 50.0 um (observation 1)")); // √((50² + 10²)/2) = 36.06
    // 1.96 · 2e-4 rad = 0.02246°, 1.96 · 2e-5 m.
    CHECK(has(text, "+- 22.46"));
    CHECK(has(text, "+- 39.2"));
    CHECK(has(text, "bring the head nearer and farther along the beam"));
    CHECK(has(text, "[mount]\n    position_mm = [12.5, -2, 310]\n    quaternion_wxyz = [1, 0, 0, 0]\n"));
    CHECK_FALSE(has(text, "CAUTION"));
    fit.plausible = false;
    fit.start_left = true;
    CHECK(has(text_of(fit), "CAUTION: this is more than reading marks explains"));
    CHECK(has(text_of(fit), "CAUTION: the start that was given led astray"));
}

TEST_CASE("a part's report gives no interval where nothing tells it") {
    PartFit fit{
        {Rotation<Cell, Part>::identity(), {1, 2, 3}}, PoseCovariance::Zero(), 0, 0, {}, {}, 2e-5, 3, {}};
    fit.residuals.resize(6);
    fit.remarks = {"touches 2 and 5 look as if they had changed places"};
    auto const text = text_of(fit);
    CAPTURE(text);
    CHECK(has(text, "6 touches, left out: none"));
    CHECK(has(text, "20.0 um rms, most at touch 4"));
    CHECK(has(text, "nothing tells how exact this is"));
    CHECK(has(text, "CAUTION: touches 2 and 5"));
    CHECK(has(text, "[part]\n    position_mm = [1000, 2000, 3000]"));
    CHECK_FALSE(has(text, "intervals"));
}

TEST_CASE("a clock's and a power's report give intervals in the units of the cell") {
    ClockLine clock{};
    clock.offset = {8.2e-3, 1e-5, 1e12};
    clock.reversal = {-4e-5, 1e-5, 1e12};
    clock.outlier = {false, true, false};
    auto const text = text_of(clock);
    CAPTURE(text);
    CHECK(has(text, "3 separations, left out: 2"));
    CHECK(has(text, "late by 8200.0 us, 95 % within 8180.4 to 8219.6")); // ± 1.96 · 10
    CHECK(has(text, "misses on reversal -40.0 um, 95 % within -59.6 to -20.4"));
}

TEST_CASE("a budget's report says what is kept, what does most and what is required") {
    SeamBudget budget{};
    budget.seam = "lap 3";
    budget.options.tolerance = SeamTolerance{3e-4};
    ErrorSource source;
    source.name = "clock, flange";
    source.place = error_in_clocks;
    budget.sources = {source};
    BudgetPoint point{};
    point.arc_length = 0.0125;
    point.covariance = {4e-10, 1e-8, 0}; // 20 um along, 100 um across
    point.contributions.resize(1);
    point.contributions[0].covariance = point.covariance;
    budget.points = {point};
    budget.ranked = {{"clock, flange", 0, 1e-4, 2e-5, 1, 1e-4, 0.0125}};
    auto const text = text_of(budget);
    CAPTURE(text);
    CHECK(has(text, "worst at 12.5 mm: 100.0 um across, 20.0 um along"));
    // √(−2 ln 0.05) = 2.4477: half axes 244.8 and 49.0, the longer one across.
    CHECK(has(text, "half axes 244.8 and 49.0 um, the longer one 90 deg from the seam"));
    CHECK(has(text, "within +- 300 um across: 99.730 % there; wanted are 99.73 %: kept"));
    CHECK(has(text, "clock, flange"));
    CHECK(has(text, "all sources together: may be 1 times"));
    auto const csv = budget_csv({budget});
    CAPTURE(csv);
    CHECK(has(csv, "incidence_deg,clock__flange_across_um\nlap 3,12.5,"));
    CHECK(std::count(csv.begin(), csv.end(), '\n') == 2);
    budget.options.tolerance = SeamTolerance{2e-4};
    CHECK(has(text_of(budget), "NOT KEPT"));
}
