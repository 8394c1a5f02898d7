#include "seamhold/statistics/distribution_free.hpp"

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

/// The probability that of `parts` readings `ranks` or more lie outside of a share: the binomial sum.
double binomial_confidence(int parts, int ranks, double share) {
    double fewer = 0, term = std::pow(share, parts); // none outside
    for (int i = 0; i < ranks; ++i) {
        fewer += term;
        term *= (parts - i) / (i + 1.0) * (1 - share) / share;
    }
    return 1 - fewer;
}

} // namespace

TEST_CASE("the confidence is a binomial sum") {
    for (int const parts : {1, 2, 7, 59, 93, 500})
        for (int const ranks : {1, 2, 3, 7})
            for (double const share : {0.1, 0.5, 0.95, 0.99}) {
                CAPTURE(parts);
                CAPTURE(ranks);
                CAPTURE(share);
                double const confidence = distribution_free_confidence(
                    static_cast<std::uint64_t>(parts), static_cast<std::uint64_t>(ranks), share);
                double const sum = ranks > parts ? 0 : binomial_confidence(parts, ranks, share);
                CHECK(std::abs(confidence - sum) < 1e-13); // some rounding of the sum's terms
            }
}

TEST_CASE("ranks and parts are the most and the least that are allowed") {
    for (double const share : {0.5, 0.9, 0.99})
        for (double const confidence : {0.2, 0.9, 0.99}) {
            for (std::uint64_t const ranks : {1U, 2U, 5U}) {
                auto const parts = distribution_free_parts(share, confidence, ranks);
                CHECK(distribution_free_confidence(parts, ranks, share) >= confidence);
                CHECK(distribution_free_confidence(parts - 1, ranks, share) < confidence);
                CHECK(distribution_free_ranks(parts, share, confidence) == ranks);
                CHECK(distribution_free_ranks(parts - 1, share, confidence) == ranks - 1);
            }
            for (std::uint64_t const parts : {1U, 10U, 300U, 100000U}) {
                auto const ranks = distribution_free_ranks(parts, share, confidence);
                CHECK((ranks == 0 || distribution_free_confidence(parts, ranks, share) >= confidence));
                CHECK(distribution_free_confidence(parts, ranks + 1, share) < confidence);
            }
        }
    CHECK(distribution_free_ranks(0, 0.9, 0.9) == 0);
    CHECK(distribution_free_confidence(3, 4, 0.1) == 0);
}

TEST_CASE("limits hold the share as often as they say, whatever the distribution") {
    Random random(2026112702);
    std::size_t const trials = runs(20000);
    // Lopsided readings whose share below x is 1 − exp(−x²); the second least and the greatest of 80.
    double const said = distribution_free_confidence(80, 3, 0.95);
    double held = 0;
    std::vector<double> readings(80);
    for (std::size_t i = 0; i < trials; ++i) {
        for (double& x : readings)
            x = std::sqrt(-std::log(1 - random.unit()));
        std::nth_element(readings.begin(), readings.begin() + 1, readings.end());
        double const low = readings[1], high = *std::max_element(readings.begin(), readings.end());
        held += std::exp(-low * low) - std::exp(-high * high) >= 0.95 ? 1 : 0;
    }
    // Four deviations of the share.
    CHECK(std::abs(held / static_cast<double>(trials) - said) <
          4 * std::sqrt(said * (1 - said) / static_cast<double>(trials)));
}

TEST_CASE("what makes no distribution-free limits is refused") {
    for (double const share : {0.0, 1.0, -1.0, std::numeric_limits<double>::quiet_NaN()}) {
        CHECK(has(refusal_of([&] { return distribution_free_confidence(9, 2, share); }), "coverage"));
        CHECK(has(refusal_of([&] { return distribution_free_ranks(9, share, 0.9); }), "coverage"));
        CHECK(has(refusal_of([&] { return distribution_free_ranks(9, 0.9, share); }), "confidence"));
        CHECK(has(refusal_of([&] { return distribution_free_parts(share, 0.9); }), "coverage"));
        CHECK(has(refusal_of([&] { return distribution_free_parts(0.9, share); }), "confidence"));
    }
    CHECK(has(refusal_of([] { return distribution_free_confidence(9, 0, 0.9); }), "1 rank or more"));
    CHECK(has(refusal_of([] { return distribution_free_parts(0.9, 0.9, 0); }), "1 rank or more"));
    CHECK(has(refusal_of([] { return distribution_free_parts(1 - 1e-15, 0.9); }), "million"));
}
