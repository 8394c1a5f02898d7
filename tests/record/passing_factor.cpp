#include "seamhold/record/passing_factor.hpp"

#include "naive_judge.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;

namespace {

constexpr double unknown = std::numeric_limits<double>::quiet_NaN();

double factor_above(std::vector<double> const& deviations, JudgeRules const& rules, double at_least = 0) {
    std::vector<double> work;
    Cells const cells{1e-3 * static_cast<double>(deviations.size()), deviations.size()}; // of 1 mm
    return passing_factor(deviations, BandSide::above, cell_rules(rules, cells), work, at_least);
}

JudgeRules only_run(double length) { return {length, {}, {}, 0.5, 0}; }
JudgeRules only_share(double share) { return {{}, share, {}, 0.5, 0}; }
JudgeRules only_area(double area) { return {{}, {}, area, 0.5, 0}; }

} // namespace

TEST_CASE("a reading in its band is counted in half widths of the side on which it lies") {
    CHECK(deviation_in_band(5, 4, 2, 6) == 0.5);
    CHECK(deviation_in_band(3.5, 4, 2, 6) == -0.25);
    CHECK(deviation_in_band(7, 4, 3, 6) == 1.5);
    CHECK(deviation_in_band(1, 4, 3, 6) == -3);
    CHECK(deviation_in_band(4, 4, 3, 6) == 0);
    CHECK(deviation_in_band(1e308, 0, -1e-300, 1e-300) == 1e300);
    CHECK(!is_finite(deviation_in_band(unknown, 4, 3, 6)));
    CHECK(!is_finite(deviation_in_band(std::numeric_limits<double>::infinity(), 4, 3, 6)));
    CHECK(towards(BandSide::above, -2) == -2);
    CHECK(towards(BandSide::below, -2) == 2);
}

TEST_CASE("rules are counted in cells, a whole number of cells up to its last bits") {
    Cells const cells{0.03, 300}; // of 0.1 mm
    CellRules const rules = cell_rules({0.0003, 0.07, 0.0005, 0.5, 0.0007}, cells);
    CHECK(rules.run == 3);
    CHECK(rules.many == 21); // 0.07 · 300 is 21.000000000000004 or 20.999999999999996, as it is computed
    CHECK(rules.area == doctest::Approx(5).epsilon(1e-12));
    CHECK(rules.unseen == 7);
    CHECK(cell_rules({0.00039, {}, {}, 0.5, 0}, cells).run == 3);
    CHECK(cell_rules({1.0, {}, {}, 0.5, 0}, cells).run == 300); // longer than the seam: never broken
    CHECK(cell_rules(only_share(0.1), cells).run == 300);
    CHECK(cell_rules(only_run(0), cells).many == 300);
    CHECK(!is_finite(cell_rules(only_run(0), cells).area));
    CHECK(cell_rules({}, cells).run == 0);
}

TEST_CASE("rules that cannot be meant are refused") {
    Cells const cells{0.03, 300};
    auto const refused = [&](JudgeRules const& rules) {
        return refusal_of([&] { return cell_rules(rules, cells); });
    };
    CHECK(has(refused(only_run(-0.001)), "longest run outside, in m, must be 0 or more; given was -0.001"));
    CHECK(has(refused(only_run(unknown)), "longest run"));
    CHECK(has(refused(only_run(std::numeric_limits<double>::infinity())), "longest run"));
    CHECK(has(refused(only_share(1.5)), "share of the length outside must be 0 or more and at most 1"));
    CHECK(has(refused(only_area(-1)), "area outside"));
    CHECK(has(refused({0.0, {}, {}, 0, 0}), "least covered share"));
    CHECK(has(refused({0.0, {}, {}, 1.1, 0}), "least covered share"));
    CHECK(has(refused({0.0, {}, {}, unknown, 0}), "least covered share"));
    CHECK(has(refused({0.0, {}, {}, 0.5, -1}), "longest stretch unseen"));
    CHECK(has(refused({{}, {}, {}, 0.5, 0}), "no rule"));
}

TEST_CASE("runs: no run at all is the greatest, a longer one the greatest of the least along it") {
    std::vector<double> const out{0.5, 3, 2, 4, 3.5, 0.1, 5, -7, 2.5};
    CHECK(factor_above(out, only_run(0)) == 5);
    CHECK(factor_above(out, only_run(0.001)) == 3.5); // two in a row: 4 3.5
    CHECK(factor_above(out, only_run(0.002)) == 2);   // three in a row: 3 2 4, and 2 4 3.5
    CHECK(factor_above(out, only_run(0.004)) == 0.5); // five in a row: 0.5 3 2 4 3.5
    CHECK(factor_above(out, only_run(0.008)) == 0);
    CHECK(factor_above(out, only_run(0.008), 1.25) == 1.25);
    CHECK(factor_above(out, only_run(0.002), 1.25) == 2);
    CHECK(factor_above(out, only_run(0.002), 2.5) == 2.5);
}

TEST_CASE("runs go on across what was not seen, and end at the ends of what was") {
    // A fault that hides behind a gap in the samples is one fault.
    CHECK(factor_above({3, unknown, unknown, 2}, only_run(0.003)) == 2);
    CHECK(factor_above({3, unknown, 0.5, 2}, only_run(0.002)) == 0.5);
    CHECK(factor_above({unknown, unknown, 3, 2, unknown, unknown}, only_run(0.002)) == 0);
    CHECK(factor_above({unknown, unknown, 3, 2, unknown, unknown}, only_run(0.001)) == 2);
    CHECK(factor_above({unknown, unknown, unknown}, only_run(0)) == 0);
    CHECK(factor_above({}, only_run(0)) == 0);
}

TEST_CASE("the share: the first that may not be outside any more") {
    std::vector<double> const out{5, 1, 4, unknown, 3, -9, 2, 0, 0, 0};
    CHECK(factor_above(out, only_share(0)) == 5);
    CHECK(factor_above(out, only_share(0.1)) == 4);
    CHECK(factor_above(out, only_share(0.25)) == 3);
    CHECK(factor_above(out, only_share(0.4)) == 1);
    CHECK(factor_above(out, only_share(0.5)) == 0);
    CHECK(factor_above(out, only_share(1)) == 0);
}

TEST_CASE("the area, by hand") {
    // One cell of 1 mm, 6 half widths out, may have 2 half widths · mm: (6/f − 1) = 2, f = 2.
    CHECK(factor_above({6, 0, 0}, only_area(0.002)) == doctest::Approx(2).epsilon(1e-14));
    // Two cells, 6 and 4: with both outside (10/f − 2) = 3, f = 2.
    CHECK(factor_above({6, 4, unknown, -8}, only_area(0.003)) == doctest::Approx(2).epsilon(1e-14));
    // 6 and 1: with 6 alone (6/f − 1) = 2, f = 2, and 1 is inside.
    CHECK(factor_above({6, 1}, only_area(0.002)) == doctest::Approx(2).epsilon(1e-14));
    CHECK(factor_above({6, 1}, only_area(0)) == doctest::Approx(6).epsilon(1e-14));
    CHECK(factor_above({-6, 0}, only_area(0)) == 0);
}

TEST_CASE("the passing factor is where the rules begin to pass, for random deviations and rules") {
    Random random(901);
    std::vector<double> work;
    for (std::size_t run = 0; run < test::runs(3000); ++run) {
        std::size_t const count = 1 + random.index(30);
        double const width = random.uniform(0.0001, 0.001);
        Cells const cells{width * static_cast<double>(count), count};
        std::vector<double> deviations(count), above(count), below(count);
        double const unseen = random.index(3) == 0 ? 0.3 : 0.0;
        double slow = 0;
        for (std::size_t i = 0; i < count; ++i) {
            slow = 0.8 * slow + random.normal();
            // Equal deviations happen too.
            deviations[i] = random.unit() < unseen ? unknown : std::round(8 * slow) / 4;
            above[i] = deviations[i];
            below[i] = -deviations[i];
        }
        JudgeRules rules{{}, {}, {}, 0.5, 0};
        std::size_t const which = 1 + random.index(7);
        if ((which & 1U) != 0)
            rules.longest_run = width * (static_cast<double>(random.index(6)) + random.uniform(0, 0.99));
        if ((which & 2U) != 0)
            rules.share_outside = random.uniform(0, 0.6);
        if ((which & 4U) != 0)
            rules.area_outside = width * random.uniform(0, 5);
        CellRules const counted = cell_rules(rules, cells);
        double const expected_above = test::factor_naively(above, width, rules);
        double const expected_below = test::factor_naively(below, width, rules);
        // The halving is good to a relative 1e-12, the sum of 30 numbers to 1e-14.
        CHECK(passing_factor(deviations, BandSide::above, counted, work) ==
              doctest::Approx(expected_above).epsilon(3e-12));
        CHECK(passing_factor(deviations, BandSide::below, counted, work) ==
              doctest::Approx(expected_below).epsilon(3e-12));
        CHECK(passing_factor(deviations, counted, work) ==
              doctest::Approx(std::max(expected_above, expected_below)).epsilon(3e-12));
        CHECK(passing_factor(deviations, BandSide::above, counted, work, 1.25) ==
              doctest::Approx(std::max(expected_above, 1.25)).epsilon(3e-12));
    }
}

TEST_CASE("the passing factor scales with the deviations") {
    Random random(902);
    std::vector<double> work;
    Cells const cells{0.1, 1000};
    for (std::size_t run = 0; run < test::runs(20); ++run) {
        std::vector<double> deviations(cells.count), scaled(cells.count);
        for (std::size_t i = 0; i < cells.count; ++i) {
            deviations[i] = random.normal() + 2 * std::sin(0.05 * static_cast<double>(i));
            scaled[i] = 4 * deviations[i]; // exact, for 4 is a power of 2
        }
        CellRules const runs_only = cell_rules({0.001, 0.05, {}, 0.5, 0}, cells);
        CHECK(passing_factor(scaled, runs_only, work) == 4 * passing_factor(deviations, runs_only, work));
        CHECK(passing_factor(deviations, runs_only, work) > 1); // there is something to scale
    }
}
