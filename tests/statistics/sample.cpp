#include "seamhold/statistics/sample.hpp"

#include "support/random.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <vector>

using namespace seamhold;

TEST_CASE("a sample's mean and deviation are those worked out by hand") {
    auto const s = summary_of({2, 4, 4, 4, 5, 5, 7, 9}); // sum 40, squares about the mean 32 (by hand)
    CHECK(s.count == 8);
    CHECK(s.mean == 5);
    CHECK(std::abs(s.deviation - std::sqrt(32.0 / 7)) < 1e-15);
    CHECK(std::abs(s.mean_deviation() - std::sqrt(4.0 / 7)) < 1e-15);
}

TEST_CASE("a small spread on a large value keeps its digits: NIST's NumAcc sets") {
    // NIST StRD univariate sets NumAcc1, 3 and 4, as distributed with the source of GSL 2.7.1
    // (statistics/test_nist.c): mean and deviation certified.
    auto const acc1 = summary_of({10000001, 10000003, 10000002});
    CHECK(acc1.mean == 10000002);
    CHECK(acc1.deviation == 1);
    for (double const base : {1000000.2, 10000000.2}) {
        std::vector<double> values{base};
        for (int i = 0; i < 500; ++i) {
            values.push_back(base - 0.1);
            values.push_back(base + 0.1);
        }
        auto const s = summary_of(values);
        CHECK(std::abs(s.mean - base) <= 1e-15 * base);
        // The values themselves are rounded to 2e-10 and 2e-9.
        CHECK(std::abs(s.deviation - 0.1) < 0.1 * base * 1e-15);
    }
}

TEST_CASE("the intervals of a sample are those of NIST's handbook") {
    // NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2: 195 values ZARR13, mean 9.261460, deviation
    // 0.022789, 95 % interval 9.258242 to 9.264679 (from memory).
    SampleSummary const zarr{195, 9.261460, 0.022789};
    auto const mean = zarr.mean_bounds();
    CHECK(std::abs(mean.low - 9.258242) < 2e-6);
    CHECK(std::abs(mean.high - 9.264679) < 2e-6);
    // χ² of 9 degrees at 0.975 and 0.025: 19.023 and 2.700 (table 1.3.6.7.4, from memory).
    SampleSummary const ten{10, 0, 1};
    auto const deviation = ten.deviation_bounds();
    CHECK(std::abs(deviation.low - std::sqrt(9 / 19.023)) < 1e-4);
    CHECK(std::abs(deviation.high - std::sqrt(9 / 2.700)) < 1e-3);
}

TEST_CASE("the intervals cover the truth as often as they say") {
    test::Random random(20261127);
    int const trials = 4000;
    int mean = 0, deviation = 0;
    for (int i = 0; i < trials; ++i) {
        std::vector<double> values(7);
        for (double& value : values)
            value = 3 + 0.2 * random.normal();
        auto const s = summary_of(values);
        mean += s.mean_bounds(0.9).contains(3) ? 1 : 0;
        deviation += s.deviation_bounds(0.9).contains(0.2) ? 1 : 0;
    }
    // Four standard deviations of a share of 0.9 in 4000: 0.019.
    CHECK(std::abs(mean / static_cast<double>(trials) - 0.9) < 0.019);
    CHECK(std::abs(deviation / static_cast<double>(trials) - 0.9) < 0.019);
}

TEST_CASE("what is no sample is refused") {
    CHECK_THROWS_AS(summary_of({}), BadInput);
    CHECK_THROWS_AS(summary_of({1}), BadInput);
    CHECK_THROWS_WITH_AS(summary_of({1, std::numeric_limits<double>::quiet_NaN()}),
                         "value 2 of a sample is not finite", BadInput);
    CHECK_THROWS_AS(summary_of({1, 2}).mean_bounds(1), BadInput);
    CHECK_THROWS_AS(summary_of({1, 2}).deviation_bounds(0), BadInput);
}
