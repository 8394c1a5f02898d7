#include "seamhold/number/elementary.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/interval.hpp"
#include "support/random.hpp"

#include <boost/math/constants/constants.hpp>
#include <boost/multiprecision/cpp_bin_float.hpp>
#include <boost/multiprecision/cpp_dec_float.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

// sin_cos and atan_ratio against Boost.Multiprecision, and the polynomials they stand on, worked out anew in
// 100 digits. Boost's own functions are the truth here, and nothing of ours.

using namespace seamhold;

namespace {

using Exact = boost::multiprecision::cpp_bin_float_50;
using Real = boost::multiprecision::cpp_dec_float_100;

// The polynomial in z through f at the Chebyshev nodes of [0, high], as doubles, lowest coefficient first.
template <class F> std::vector<double> interpolated(F const& f, Real const& high, std::size_t terms) {
    std::vector<std::vector<Real>> rows(terms, std::vector<Real>(terms + 1));
    for (std::size_t i = 0; i < terms; ++i) {
        Real const angle = boost::math::constants::pi<Real>() * static_cast<double>(2 * i + 1) /
                           static_cast<double>(2 * terms);
        Real const z = high / 2 * (1 + cos(angle));
        Real power = 1;
        for (std::size_t k = 0; k < terms; ++k) {
            rows[i][k] = power;
            power *= z;
        }
        rows[i][terms] = f(z);
    }
    for (std::size_t c = 0; c < terms; ++c) { // Gauss–Jordan with pivots; 100 digits leave room
        std::size_t best = c;
        for (std::size_t i = c; i < terms; ++i)
            if (abs(rows[i][c]) > abs(rows[best][c]))
                best = i;
        std::swap(rows[best], rows[c]);
        for (std::size_t i = 0; i < terms; ++i) {
            if (i == c)
                continue;
            Real const factor = rows[i][c] / rows[c][c];
            for (std::size_t k = c; k <= terms; ++k)
                rows[i][k] -= factor * rows[c][k];
        }
    }
    std::vector<double> coefficients;
    for (std::size_t i = 0; i < terms; ++i)
        coefficients.push_back(Real(rows[i][terms] / rows[i][i]).convert_to<double>());
    return coefficients;
}

template <std::size_t N> void check_same(double const (&stored)[N], std::vector<double> const& worked_out) {
    REQUIRE(worked_out.size() == N);
    for (std::size_t i = 0; i < N; ++i)
        CHECK(stored[i] == worked_out[i]);
}

// How far a double is from the exact value, in units in the last place of the exact value as a double.
double units_off(double got, Exact const& exact) {
    auto const nearest = exact.convert_to<double>();
    double const unit =
        std::nextafter(std::abs(nearest), std::numeric_limits<double>::infinity()) - std::abs(nearest);
    return Exact(abs(Exact(got) - exact) / unit).convert_to<double>();
}

} // namespace

TEST_CASE("the polynomials of sine, cosine and arc tangent are those worked out in 100 digits") {
    Real const pi = boost::math::constants::pi<Real>();
    Real const a_little_more("1.000001");
    Real const eighth = pi / 4 * a_little_more;
    Real const tangent = tan(pi / 8) * a_little_more;
    check_same(detail::sine_part, interpolated(
                                      [](Real const& z) -> Real {
                                          Real const r = sqrt(z);
                                          return (sin(r) / r - 1) / z;
                                      },
                                      Real(eighth * eighth), 6));
    check_same(detail::cosine_part,
               interpolated([](Real const& z) -> Real { return (cos(sqrt(z)) - 1 + z / 2) / (z * z); },
                            Real(eighth * eighth), 6));
    check_same(detail::arc_tangent_part, interpolated(
                                             [](Real const& z) -> Real {
                                                 Real const r = sqrt(z);
                                                 return (atan(r) / r - 1) / z;
                                             },
                                             Real(tangent * tangent), 12));
    auto const& parts = detail::half_turn_parts;
    Real const rest = pi / 2 - Real(parts[0]) - Real(parts[1]) - Real(parts[2]);
    CHECK(abs(rest) < Real("1e-36")); // the last part is rounded at 2e-21 · 2⁻⁵³
}

TEST_CASE("sine and cosine are within 1.5 units in the last place") {
    test::Random random(20'611);
    for (double const range : {0.01, 1.0, 10.0, 1e3, 9.9e4}) {
        double worst = 0;
        for (std::size_t i = 0; i < test::runs(20'000); ++i) {
            double const x = random.uniform(-range, range);
            auto const both = sin_cos(x);
            worst = std::max({worst, units_off(both.sin, sin(Exact(x))), units_off(both.cos, cos(Exact(x)))});
        }
        CHECK(worst <= 1.5);
    }
    // Next to multiples of a quarter turn, where the reduction cancels most.
    double worst = 0;
    for (int k = -60'000; k <= 60'000; k += 7) {
        double const x = k * 1.5707963267948966;
        auto const both = sin_cos(x);
        if (k != 0)
            worst = std::max({worst, units_off(both.sin, sin(Exact(x))), units_off(both.cos, cos(Exact(x)))});
    }
    CHECK(worst <= 1.5);
}

TEST_CASE("the arc tangent of a ratio is within 2 units in the last place, on all sides of its seams") {
    test::Random random(20'612);
    for (double const range : {1e-9, 0.1, 0.42, 1.0, 2.5, 10.0, 1e6}) {
        double worst = 0;
        for (std::size_t i = 0; i < test::runs(20'000); ++i) {
            double const x = random.uniform(0.1, 1);
            double const y = x * random.uniform(-range, range);
            worst = std::max(worst, units_off(atan_ratio(y, x), atan(Exact(y) / Exact(x))));
        }
        CHECK(worst <= 2);
    }
    for (double const seam : {0.41421356237309503, 2.4142135623730949})
        for (double y : {std::nextafter(seam, 0), seam, std::nextafter(seam, 9)})
            CHECK(units_off(atan_ratio(y, 1), atan(Exact(y))) <= 2);
}

TEST_CASE("sine, cosine and arc tangent at the ends of their range") {
    double const infinity = std::numeric_limits<double>::infinity();
    double const nan = std::numeric_limits<double>::quiet_NaN();
    CHECK(sin_cos(0.0).sin == 0);
    CHECK(sin_cos(0.0).cos == 1);
    CHECK(std::isnan(sin_cos(nan).sin));
    CHECK(std::isnan(sin_cos(infinity).cos));
    CHECK(sin_cos(1e22).sin == std::sin(1e22)); // the C library's
    CHECK(atan_ratio(0.0, 1) == 0);
    CHECK(atan_ratio(infinity, 1) == 1.5707963267948966);
    CHECK(atan_ratio(-1e300, 1e-300) == -1.5707963267948966);
    CHECK(std::isnan(atan_ratio(nan, 1)));
}

TEST_CASE("what intervals assume of elementary functions holds with room: half of it at most") {
    // Intervals widen the ends of these functions by four units in the last place; √ by half of one.
    double const assumed = seamhold::detail::function_units / 2;
    test::Random random(20'613);
    double exponential = 0, logarithm = 0, root = 0, wave = 0, angle = 0;
    auto const sized = [&](double least, double most) { return std::pow(10, random.uniform(least, most)); };
    auto const sign = [&] { return random.unit() < 0.5 ? -1.0 : 1.0; };
    for (std::size_t i = 0; i < test::runs(15'000); ++i) {
        for (double const x : {random.uniform(-708, 709), random.uniform(-1, 1), sign() * sized(-300, 0)})
            exponential = std::max(exponential, units_off(std::exp(x), exp(Exact(x))));
        for (double const x : {sized(-300, 300), random.uniform(0.5, 2), 1 + sign() * sized(-15, -1)})
            logarithm = std::max(logarithm, units_off(std::log(x), log(Exact(x))));
        for (double const x : {sized(-300, 300), random.uniform(0, 4)})
            root = std::max(root, units_off(std::sqrt(x), sqrt(Exact(x))));
        for (double const x : {sign() * sized(-300, 5), random.uniform(-1e5, 1e5)}) {
            auto const both = sin_cos(x);
            wave = std::max({wave, units_off(both.sin, sin(Exact(x))), units_off(both.cos, cos(Exact(x)))});
        }
        double const x = sized(-300, 300);
        for (double const y : {sign() * x * random.uniform(0.1, 10), sign() * sized(-300, 300)})
            if (Exact const ratio = Exact(y) / Exact(x); abs(ratio) > Exact(1e-300))
                angle = std::max(angle, units_off(atan_ratio(y, x), atan(ratio)));
    }
    // All doubles next to multiples of a quarter turn up to 1e5 rad, where one of the two all but vanishes.
    Exact const quarter = boost::math::constants::half_pi<Exact>();
    for (int k = 1; k <= 63'661; ++k) {
        auto const x = Exact(quarter * k).convert_to<double>();
        auto const both = sin_cos(x);
        wave = std::max(wave,
                        k % 2 == 0 ? units_off(both.sin, sin(Exact(x))) : units_off(both.cos, cos(Exact(x))));
    }
    CHECK(exponential <= assumed / 2);
    CHECK(logarithm <= assumed / 2);
    CHECK(wave <= assumed / 2);
    CHECK(angle <= assumed / 2);
    CHECK(root <= 0.5);
}
