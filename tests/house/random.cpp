#include <doctest/doctest.h>

#include "support/random.hpp"

#include <cmath>
#include <cstdlib>
#include <stdexcept>
#include <string>

// The random numbers that the other tests rest on.

using seamhold::test::Random;
using seamhold::test::runs;

namespace {

void set_scale(char const* text) {
    if (text == nullptr) {
        unsetenv("SEAMHOLD_RUNS_SCALE");
    } else {
        setenv("SEAMHOLD_RUNS_SCALE", text, 1);
    }
}

} // namespace

TEST_CASE("a seed gives the same numbers everywhere") {
    // The 10000th number of std::mt19937_64 from its default seed 5489 is given by the C++ standard
    // ([rand.predef]): 9981545732273789042. unit() keeps its upper 53 bits.
    Random random(5489);
    double last = 0.0;
    for (int i = 0; i < 10000; ++i) {
        last = random.unit();
    }
    CHECK(last == static_cast<double>(9981545732273789042U >> 11U) * 0x1p-53);
}

TEST_CASE("mean and variance are those of the distributions") {
    // Standard error of a mean of n numbers: sigma / sqrt(n); bounds are 5 of them (and the seed is fixed).
    int const n = 100000;
    Random random(7);
    double sum = 0.0;
    double squares = 0.0;
    double uniform = 0.0;
    for (int i = 0; i < n; ++i) {
        double const x = random.normal();
        sum += x;
        squares += x * x;
        uniform += random.uniform(2.0, 4.0);
    }
    CHECK(std::abs(sum / n) < 5.0 / std::sqrt(n));
    CHECK(std::abs(squares / n - 1.0) < 5.0 * std::sqrt(2.0 / n)); // variance of x² is 2
    CHECK(std::abs(uniform / n - 3.0) < 5.0 * std::sqrt(4.0 / 12.0 / n));
}

TEST_CASE("points on the sphere have length 1 and no preferred side") {
    int const n = 20000;
    Random random(11);
    std::array<double, 4> sum{};
    for (int i = 0; i < n; ++i) {
        auto const point = random.on_sphere<4>();
        double squares = 0.0;
        for (std::size_t k = 0; k < 4; ++k) {
            sum[k] += point[k];
            squares += point[k] * point[k];
        }
        REQUIRE(std::abs(squares - 1.0) < 1e-15); // four squares, a root and four quotients: a few 1e-16
    }
    for (double const s : sum) {
        CHECK(std::abs(s / n) < 5.0 * std::sqrt(0.25 / n)); // variance of one of four coordinates is 1/4
    }
}

TEST_CASE("the number of runs scales by one environment variable") {
    char const* const before = std::getenv("SEAMHOLD_RUNS_SCALE");
    std::string const kept = before == nullptr ? "" : before;
    set_scale(nullptr);
    CHECK(runs(1000) == 1000);
    set_scale("1000");
    CHECK(runs(1000) == 1000000);
    set_scale("0.1");
    CHECK(runs(1000) == 100);
    CHECK(runs(1) == 1);
    for (char const* const bad : {"many", "0", "-1", "nan", "2x"}) {
        set_scale(bad);
        CHECK_THROWS_AS(runs(1000), std::runtime_error);
    }
    set_scale(before == nullptr ? nullptr : kept.c_str());
}
