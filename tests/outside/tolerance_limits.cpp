#include "seamhold/statistics/capability.hpp"
#include "seamhold/statistics/distribution_free.hpp"
#include "seamhold/statistics/share_bounds.hpp"
#include "seamhold/statistics/tolerance_factor.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstdint>

// Tolerance limits, sample sizes and capability against published values.

using namespace seamhold;

TEST_CASE("tolerance limits of the resistivities in NIST's handbook") {
    // NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3: 43 values, mean 97.07, deviation 0.0268,
    // share 0.90, confidence 0.99. The page works with formulas that it calls approximate: two-sided k
    // = 2.2173159 (Howe; z = 1.6448536, χ² = 23.650095), limits 97.010576 and 97.129424; one-sided k
    // = 1.8751896 (a = 0.9355727, b = 1.5165164), limit 97.120255.
    double const howe = 1.6448536 * std::sqrt(42.0 * (1 + 1.0 / 43) / 23.650095);
    CHECK(std::abs(howe - 2.2173159) < 1e-7);
    double const two = normal_tolerance_factor(43, 0.90, 0.99);
    CHECK(std::abs(two / 2.2173159 - 1) < 0.003); // Howe's formula is that good here
    CHECK(two > 2.2173159);
    CHECK(std::abs(97.07 - two * 0.0268 - 97.010576) < 0.003 * 0.06);
    CHECK(std::abs(97.07 + two * 0.0268 - 97.129424) < 0.003 * 0.06);
    double const one = one_sided_tolerance_factor(43, 0.90, 0.99);
    CHECK(std::abs(one / 1.8751896 - 1) < 0.001);
    CHECK(std::abs(97.07 + one * 0.0268 - 97.120255) < 0.001 * 0.05);
    // The exact ones, to eight digits: the one-sided from the non-central t distribution (worked out apart
    // from this project in two libraries), the two-sided by a double integral (likewise).
    CHECK(std::abs(one - 1.8739536) < 6e-8);
    CHECK(std::abs(two - 2.2228252) < 6e-8);
}

TEST_CASE("two-sided factors of a published table") {
    // P. Berthouex, L. Brown, Statistics for Environmental Engineers, Table 21.1: confidence 0.95, to two
    // decimals, shares 0.90, 0.95, 0.99. Howe's formula gives 3.38 for 10 parts and a share of 0.95.
    struct Row {
        double parts, of_90, of_95, of_99;
    };
    for (auto const& row : {Row{5, 4.29, 5.08, 6.60}, Row{10, 2.86, 3.39, 4.44}, Row{15, 2.49, 2.96, 3.89},
                            Row{20, 2.32, 2.76, 3.62}, Row{30, 2.15, 2.55, 3.35}}) {
        CAPTURE(row.parts);
        CHECK(std::abs(normal_tolerance_factor(row.parts, 0.90, 0.95) - row.of_90) < 0.0051);
        CHECK(std::abs(normal_tolerance_factor(row.parts, 0.95, 0.95) - row.of_95) < 0.0051);
        CHECK(std::abs(normal_tolerance_factor(row.parts, 0.99, 0.95) - row.of_99) < 0.0051);
    }
    // R. Odeh, D. Owen, Tables for Normal Tolerance Limits, Sampling Plans, and Screening, 1980, and
    // ISO 16269-6 (both from memory): share 0.95, confidence 0.95.
    struct Exact {
        double parts, factor;
    };
    for (auto const& row :
         {Exact{2, 36.519}, Exact{3, 9.789}, Exact{4, 6.341}, Exact{5, 5.077}, Exact{6, 4.422},
          Exact{7, 4.020}, Exact{8, 3.746}, Exact{9, 3.546}, Exact{10, 3.393}}) {
        CAPTURE(row.parts);
        CHECK(std::abs(normal_tolerance_factor(row.parts, 0.95, 0.95) - row.factor) < 0.00051);
    }
}

TEST_CASE("one-sided factors of published tables") {
    // D. Owen's tables; ISO 16269-6 (from memory): share 0.95, confidence 0.95.
    struct Row {
        double parts, factor;
    };
    for (auto const& row :
         {Row{5, 4.2027}, Row{10, 2.9110}, Row{20, 2.3960}, Row{30, 2.2198}, Row{50, 2.0650}}) {
        CAPTURE(row.parts);
        CHECK(std::abs(one_sided_tolerance_factor(row.parts, 0.95, 0.95) - row.factor) < 5.1e-5);
    }
}

TEST_CASE("sample sizes of distribution-free limits") {
    // S. Wilks, 1941, and the tables of ISO 16269-6 and of W. Conover, Practical Nonparametric Statistics
    // (from memory): share, confidence, parts for one limit, for two.
    struct Row {
        double share, confidence;
        std::uint64_t one, two;
    };
    for (auto const& row : {Row{0.95, 0.95, 59, 93}, Row{0.90, 0.95, 29, 46}, Row{0.99, 0.95, 299, 473},
                            Row{0.95, 0.90, 45, 77}, Row{0.90, 0.90, 22, 38}, Row{0.99, 0.90, 230, 388},
                            Row{0.95, 0.99, 90, 130}, Row{0.90, 0.99, 44, 64}, Row{0.99, 0.99, 459, 662}}) {
        CAPTURE(row.share);
        CAPTURE(row.confidence);
        CHECK(distribution_free_parts(row.share, row.confidence, 1) == row.one);
        CHECK(distribution_free_parts(row.share, row.confidence, 2) == row.two);
    }
    // The same question with more readings cut off (sizes used for safety calculations, from memory).
    std::uint64_t ranks = 0;
    for (std::uint64_t const parts : {59U, 93U, 124U, 153U, 181U, 208U})
        CHECK(distribution_free_parts(0.95, 0.95, ++ranks) == parts);
    // NIST/SEMATECH e-Handbook, 7.2.6.4 (from memory), says about χ²(0.95; 4)/4 · (1 + p)/(1 − p) + ½ parts
    // for two limits; χ² of a table, 9.488.
    for (double const share : {0.9, 0.95, 0.99})
        CHECK(std::abs(static_cast<double>(distribution_free_parts(share, 0.95)) -
                       (9.488 / 4 * (1 + share) / (1 - share) + 0.5)) < 1);
}

TEST_CASE("bounds of a share") {
    // R's page of binom.test: of 925 plants 682 were of one kind; the lower end of the interval at 95 % is
    // 0.7076683 (from memory).
    CHECK(std::abs(share_bounds(682, 925).low - 0.7076683) < 6e-8);
    // None of n, as J. Hanley and A. Lippman-Hand, "If nothing goes wrong, is everything all right?", JAMA
    // 249 (1983) 1743–1745 (from memory) have it: about 3/n at most, one-sided at 95 %.
    CHECK(std::abs(1000 * share_bounds(0, 1000, 0.90).high - 3) < 0.01);
}

TEST_CASE("capability of NIST's handbook") {
    // NIST/SEMATECH e-Handbook, 6.1.6 (from memory): limits 8 and 20, mean 16, deviation 2: Cp = 1.0,
    // Cpk = 0.6667, Cpl = 1.3333.
    auto const both = capability_of(SampleSummary{50, 16, 2}, {8, 20});
    CHECK(both.cp);
    CHECK(std::abs(both.cp.value_or(0) - 1) < 1e-15);
    CHECK(std::abs(both.cpk - 2.0 / 3) < 1e-15);
    CHECK(both.upper_nearer);
    auto const lower = capability_of(SampleSummary{50, 16, 2}, {8, HUGE_VAL});
    CHECK(!lower.cp);
    CHECK(std::abs(lower.cpk - 4.0 / 3) < 1e-15);
    // Its bounds: Cp · √(χ²/ν), with χ² of 49 degrees from tables, 31.555 and 70.222; and about
    // Cpk ± 1.960 √(1/(9n) + Cpk²/(2(n − 1))).
    auto const of_cp = both.cp_bounds.value_or(Bounds{0, 0});
    CHECK(std::abs(of_cp.low - std::sqrt(31.555 / 49)) < 1e-5);
    CHECK(std::abs(of_cp.high - std::sqrt(70.222 / 49)) < 1e-5);
    for (auto const& c : {both, lower}) {
        double const about = 1.960 * std::sqrt(1.0 / 450 + c.cpk * c.cpk / 98);
        CHECK(std::abs(c.cpk_bounds.low - (c.cpk - about)) < 0.05 * about);
        CHECK(std::abs(c.cpk_bounds.high - (c.cpk + about)) < 0.05 * about);
    }
}
