#include "seamhold/curve/septic.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Taylor coefficients of a polynomial at x in long double, by repeated synthetic division (W. G. Horner).
template <std::size_t N> std::array<double, 4> taylor_at(std::array<double, N> const& c, double x) {
    std::array<long double, N> work;
    std::copy(c.begin(), c.end(), work.begin());
    std::array<double, 4> r{};
    for (std::size_t k = 0; k < 4; ++k) {
        for (std::size_t i = N - 1; i-- > k;)
            work[i] += static_cast<long double>(x) * work[i + 1];
        r[k] = static_cast<double>(work[k]);
    }
    return r;
}

std::array<double, 8> random_polynomial(Random& random, double h) {
    std::array<double, 8> c{};
    double scale = 1;
    for (double& one : c) {
        one = random.uniform(-1, 1) * scale;
        scale /= h;
    }
    return c;
}

} // namespace

TEST_CASE("the polynomial between two ends is the one whose ends were given") {
    Random random(9401);
    for (double const h : {1e-6, 0.02, 1.0, 300.0})
        for (int i = 0; i < 50; ++i) {
            auto const c = random_polynomial(random, h);
            auto const start = taylor_at(c, 0), end = taylor_at(c, h);
            long double rise = 0, power = 1; // the sum of the terms, not a difference
            for (std::size_t k = 1; k < 8; ++k)
                rise += static_cast<long double>(c[k]) * (power *= static_cast<long double>(h));
            auto const made = septic_between(h, start, end, static_cast<double>(rise));
            for (std::size_t k = 0; k < 8; ++k)
                // Up to 84 times sums of up to 35 · 8 terms of size 1, each rounded.
                CHECK(std::abs(made[k] - c[k]) * std::pow(h, static_cast<double>(k)) <= 2e-12);
        }
}

TEST_CASE("values and slopes at every number, against long double") {
    Random random(9402);
    for (int i = 0; i < 100; ++i) {
        SepticPiece<2> const piece{{random_polynomial(random, 1), random_polynomial(random, 1)}};
        double const x = random.uniform(0, 1);
        auto const plain = piece.at(x);
        auto const rates = piece.at(Taylor<double, 2>::variable(x));
        auto const partial = piece.at(Gradient<double, 1>::variable(x, 0));
        auto const coarse = piece.at(static_cast<float>(x));
        auto const one = piece.at<1>(x);
        for (std::size_t d = 0; d < 2; ++d) {
            auto const truth = taylor_at(piece.coefficient[d], x);
            double const bits = 64 * epsilon; // eight terms of at most 8 · 7, and their sums
            CHECK(std::abs(plain.value[d] - truth[0]) <= bits);
            CHECK(std::abs(plain.slope[d] - truth[1]) <= 8 * bits);
            CHECK(std::abs(rates.value[d].value() - truth[0]) <= bits);
            CHECK(std::abs(rates.value[d].derivative(1) - truth[1]) <= 8 * bits);
            CHECK(std::abs(rates.value[d].derivative(2) - 2 * truth[2]) <= 64 * bits);
            CHECK(std::abs(rates.slope[d].derivative(1) - 2 * truth[2]) <= 64 * bits);
            CHECK(std::abs(rates.slope[d].derivative(2) - 6 * truth[3]) <= 512 * bits);
            CHECK(std::abs(partial.value[d].partial[0] - truth[1]) <= 8 * bits);
            CHECK(std::abs(partial.slope[d].partial[0] - 2 * truth[2]) <= 64 * bits);
            CHECK(std::abs(static_cast<double>(coarse.value[d]) - truth[0]) <= 64 * 1.2e-7);
        }
        CHECK(one.value[0] == plain.value[0]);
    }
}

TEST_CASE("a Taylor number that is not the variable itself: the chain rule") {
    SepticPiece<1> const piece{{{0, 0, 1, 0, 0, 0, 0, 0}}}; // x²
    Taylor<double, 3> x = 0.5;
    x.coefficient[1] = 2;
    x.coefficient[2] = 3;
    // (½ + 2t + 3t²)² = ¼ + 2t + 7t² + 12t³ + …; its slope is 2x.
    auto const p = piece.at(x);
    CHECK(p.value[0].coefficient[0] == 0.25);
    CHECK(p.value[0].coefficient[1] == 2);
    CHECK(p.value[0].coefficient[2] == 7);
    CHECK(p.value[0].coefficient[3] == 12);
    CHECK(p.slope[0].coefficient[0] == 1);
    CHECK(p.slope[0].coefficient[1] == 4);
    CHECK(p.slope[0].coefficient[2] == 6);
}

TEST_CASE("the bound of the bend is never below it, and close for a smooth curve") {
    Random random(9403);
    for (int i = 0; i < 200; ++i) {
        double const h = random.uniform(0.1, 3);
        SepticPiece<2> const piece{{random_polynomial(random, h), random_polynomial(random, h)}};
        double most = 0;
        for (int k = 0; k <= 400; ++k) {
            double const x = h * k / 400;
            most = std::max(most, std::hypot(2 * taylor_at(piece.coefficient[0], x)[2],
                                             2 * taylor_at(piece.coefficient[1], x)[2]));
        }
        CHECK(largest_bend<2>(piece, h) >= most * (1 - 1e-13));
    }
    // An eighth of a circle of radius ½ as its Taylor series: the bend is 2 everywhere.
    SepticPiece<2> circle{};
    double term = 0.5;
    for (std::size_t k = 0; k < 8; ++k) {
        double const sign = k % 4 < 2 ? 1 : -1;
        (k % 2 == 0 ? circle.coefficient[0] : circle.coefficient[1])[k] = sign * term;
        term *= 2 / static_cast<double>(k + 1);
    }
    double const bound = largest_bend<2>(circle, 0.2);
    CHECK(bound >= 2 * (1 - 1e-9)); // the series' own rest at 0.4 rad is 0.4⁶ / 720 of it at most
    // Each component is bounded apart, in each half: hypot(cos 0.2, sin 0.4) of it.
    CHECK(bound <= 2 * 1.0547);
    CHECK(largest_bend<2>(circle, 0.05) <= 2 * 1.004); // a piece as they come: 0.1 rad
}
