#include "seamhold/curve/spline.hpp"

#include <doctest/doctest.h>

#include "seamhold/curve/knots.hpp"
#include "seamhold/number/gradient.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// Places from 0 to 1 with uneven steps: up to four times as long as the shortest. The pattern repeats, so
// that halving the steps halves each.
std::vector<double> uneven_places(std::size_t pieces) {
    double const pattern[] = {1, 2, 0.5, 1.5};
    std::vector<double> places{0};
    for (std::size_t i = 0; i < pieces; ++i)
        places.push_back(places.back() + pattern[i % 4]);
    double const length = places.back();
    for (double& place : places)
        place /= length;
    return places;
}

template <std::size_t D, class F>
std::vector<std::array<double, D>> values_at(std::vector<double> const& places, F const& f) {
    std::vector<std::array<double, D>> values;
    for (double const place : places)
        values.push_back(f(place));
    return values;
}

// A smooth curve whose derivatives of every order are known: two components.
std::array<double, 2> wave(double u) { return {std::sin(5 * u + 0.3), std::exp(-2 * u)}; }
std::array<double, 2> wave_derivative(double u, int order) {
    double const s = std::pow(5.0, order), e = std::pow(-2.0, order);
    return {s * std::sin(5 * u + 0.3 + order * 1.5707963267948966), e * std::exp(-2 * u)};
}

struct Errors {
    double everywhere = 0; // of the value
    double first_piece = 0;
    double last_piece = 0;
    double rate = 0; // of the first derivative
    double bend = 0; // of the second
};

Errors errors_with(std::size_t pieces_wanted) {
    auto const places = uneven_places(pieces_wanted);
    auto const values = values_at<2>(places, wave);
    auto const pieces = fit_spline<2>(places, values);
    Errors errors;
    for (std::size_t i = 0; i < pieces.size(); ++i)
        for (int k = 0; k <= 20; ++k) {
            double const u = places[i] + (places[i + 1] - places[i]) * k / 20;
            auto const got = pieces[i].at(Taylor<double, 2>::variable(u));
            for (std::size_t d = 0; d < 2; ++d) {
                double const error = std::abs(got[d].value() - wave(u)[d]);
                errors.everywhere = std::max(errors.everywhere, error);
                if (i == 0)
                    errors.first_piece = std::max(errors.first_piece, error);
                if (i + 1 == pieces.size())
                    errors.last_piece = std::max(errors.last_piece, error);
                errors.rate =
                    std::max(errors.rate, std::abs(got[d].derivative(1) - wave_derivative(u, 1)[d]));
                errors.bend =
                    std::max(errors.bend, std::abs(got[d].derivative(2) - wave_derivative(u, 2)[d]));
            }
        }
    return errors;
}

// The power of h with which an error falls when h is halved.
double order_of(double coarse, double fine) { return std::log2(coarse / fine); }

} // namespace

TEST_CASE("a spline goes through its values") {
    Random random(611);
    for (std::size_t const n : {2U, 3U, 4U, 5U, 6U, 50U}) {
        auto const places = uneven_places(n - 1);
        std::vector<std::array<double, 3>> values(n);
        for (auto& row : values)
            for (double& x : row)
                x = random.uniform(-1, 1);
        auto const pieces = fit_spline<3>(places, values);
        REQUIRE(pieces.size() == n - 1);
        for (std::size_t i = 0; i + 1 < n; ++i) {
            CHECK(pieces[i].start == places[i]);
            for (std::size_t d = 0; d < 3; ++d) {
                CHECK(pieces[i].at(places[i])[d] == values[i][d]);
                // At the far end a few roundings of terms of the size of the bends inside a piece, below 20
                // here.
                CHECK(std::abs(pieces[i].at(places[i + 1])[d] - values[i + 1][d]) <= 20 * 8 * epsilon);
            }
        }
    }
}

TEST_CASE(
    "value, slope and bend have no jump at a knot, and not-a-knot ends have no jump in the third either") {
    Random random(612);
    for (std::size_t const n : {4U, 5U, 6U, 7U, 40U}) {
        CAPTURE(n);
        auto const places = uneven_places(n - 1);
        std::vector<std::array<double, 2>> values(n);
        for (auto& row : values)
            for (double& x : row)
                x = random.uniform(-1, 1);
        auto const pieces = fit_spline<2>(places, values);
        double shortest = 1;
        for (std::size_t i = 0; i + 1 < n; ++i)
            shortest = std::min(shortest, places[i + 1] - places[i]);
        for (std::size_t i = 1; i + 1 < n; ++i) {
            auto const u = Taylor<double, 3>::variable(places[i]);
            auto const left = pieces[i - 1].at(u);
            auto const right = pieces[i].at(u);
            for (std::size_t d = 0; d < 2; ++d) {
                // Random values bend as hard as 1/h^k; a few dozen roundings of that size.
                for (int k = 0; k <= 2; ++k)
                    CHECK(std::abs(left[d].derivative(k) - right[d].derivative(k)) <=
                          200 * epsilon * std::pow(shortest, -k));
                if (i == 1 || i + 2 == n)
                    CHECK(std::abs(left[d].derivative(3) - right[d].derivative(3)) <=
                          2000 * epsilon * std::pow(shortest, -3));
            }
        }
    }
}

TEST_CASE("the third derivative does jump inside: the ends are not just smooth everywhere") {
    auto const places = uneven_places(8);
    auto const values = values_at<2>(places, wave);
    auto const pieces = fit_spline<2>(places, values);
    CHECK(std::abs(pieces[3].coefficient[3][0] - pieces[4].coefficient[3][0]) > 1e-3);
}

TEST_CASE("not-a-knot ends give back cubics, three places parabolas, two straight lines") {
    auto const cubic = [](double u) { return std::array{2 - 3 * u + 4 * u * u - 5 * u * u * u, u * u * u}; };
    auto const parabola = [](double u) { return std::array{2 - 3 * u + 4 * u * u, u * u}; };
    auto const line = [](double u) { return std::array{2 - 3 * u, u}; };
    auto const check = [](auto const& f, std::size_t n) {
        CAPTURE(n);
        auto const places = uneven_places(n - 1);
        auto const pieces = fit_spline<2>(places, values_at<2>(places, f));
        for (std::size_t i = 0; i < pieces.size(); ++i)
            for (double const part : {0.0, 0.25, 0.5, 0.75, 1.0}) {
                double const u = places[i] + part * (places[i + 1] - places[i]);
                auto const got = pieces[i].at(u);
                for (std::size_t d = 0; d < 2; ++d)
                    CHECK(std::abs(got[d] - f(u)[d]) <=
                          100 * epsilon); // values up to 4, rounded a few dozen times
            }
    };
    for (std::size_t const n : {4U, 5U, 6U, 20U})
        check(cubic, n);
    for (std::size_t const n : {3U, 4U, 5U})
        check(parabola, n);
    for (std::size_t const n : {2U, 3U, 4U})
        check(line, n);
}

TEST_CASE("the error falls as h⁴ up to both ends, with uneven knots") {
    // C. de Boor, "A Practical Guide to Splines", chapter V: O(h⁴) for the value, O(h³) and O(h²) for the
    // derivatives. The order from halving twice must be within 0.3 of that; where h is small enough for the
    // next power not to count.
    Errors last = errors_with(64);
    MESSAGE("64 pieces: error " << last.everywhere);
    for (std::size_t const pieces : {128U, 256U}) {
        CAPTURE(pieces);
        Errors const now = errors_with(pieces);
        double const everywhere = order_of(last.everywhere, now.everywhere);
        double const first = order_of(last.first_piece, now.first_piece);
        double const end = order_of(last.last_piece, now.last_piece);
        double const rate = order_of(last.rate, now.rate);
        double const bend = order_of(last.bend, now.bend);
        MESSAGE(pieces << " pieces: error " << now.everywhere << ", order everywhere " << everywhere
                       << ", first piece " << first << ", last piece " << end << ", slope " << rate
                       << ", bend " << bend);
        CHECK(everywhere > 3.7);
        CHECK(first > 3.7);
        CHECK(end > 3.7);
        CHECK(rate > 2.7);
        CHECK(bend > 1.7);
        last = now;
    }
}

TEST_CASE("steps of very different length keep the spline sound") {
    // A stop and go log: steps from 1 µs to 1 s. A straight line must stay straight.
    std::vector<double> places{0};
    for (double const step : {1.0, 1e-6, 1e-6, 0.5, 1e-3, 1.0, 1e-6, 0.25, 1e-6})
        places.push_back(places.back() + step);
    auto const line = [](double u) { return std::array{3 * u + 1}; };
    auto const pieces = fit_spline<1>(places, values_at<1>(places, line));
    for (std::size_t i = 0; i < pieces.size(); ++i)
        for (double const part : {0.0, 0.5, 1.0}) {
            double const u = places[i] + part * (places[i + 1] - places[i]);
            // A value of 10 rounded to 1e-15 over a step of 1e-6 is a slope wrong by 1e-9, carried over a
            // step of 1 s.
            CHECK(std::abs(pieces[i].at(u)[0] - line(u)[0]) <= 1e-8);
        }
}

TEST_CASE("scale and place of the argument do not matter") {
    auto const places = uneven_places(12);
    auto const pieces = fit_spline<2>(places, values_at<2>(places, wave));
    std::vector<double> scaled;
    for (double const place : places)
        scaled.push_back(place * 0x1p-20 +
                         0x1p10); // exact powers of two; the sum rounds to 2^-42, 2^-22 of a place
    auto const also = fit_spline<2>(scaled, values_at<2>(places, wave));
    for (std::size_t i = 0; i < pieces.size(); ++i) {
        double const u = 0.5 * (places[i] + places[i + 1]);
        CHECK(std::abs(also[i].at(u * 0x1p-20 + 0x1p10)[0] - pieces[i].at(u)[0]) <=
              5 * 20 * 0x1p-22); // slope 5
    }
}

TEST_CASE_TEMPLATE("a piece at other numbers is the same cubic", T, float, Taylor<double, 1>,
                   Taylor<double, 4>, Taylor<float, 3>, Gradient<double, 2>, Taylor<Gradient<double, 2>, 2>) {
    CubicPiece<2> const piece{0.5, {{1, 2}, {-3, 0.5}, {2, -1}, {4, 3}}};
    double const h = 0.25;
    auto const got = piece.at(T(0.75));
    for (std::size_t d = 0; d < 2; ++d) {
        double const expected =
            piece.coefficient[0][d] +
            h * (piece.coefficient[1][d] + h * (piece.coefficient[2][d] + h * piece.coefficient[3][d]));
        CHECK(value_of(got[d]) == expected); // exact in small powers of two
    }
}

TEST_CASE("rates of a piece are those of Horner's rule, for any motion of the argument") {
    CubicPiece<1> const piece{0.5, {{1}, {-3}, {2}, {4}}};
    Random random(613);
    for (int n = 0; n < 100; ++n) {
        Taylor<double, 4> u;
        for (double& c : u.coefficient)
            c = random.uniform(-1, 1);
        auto const fast = piece.at(u)[0];
        auto const x = u - 0.5;
        auto const slow = ((x * 4.0 + 2.0) * x - 3.0) * x + 1.0;
        for (int k = 0; k <= 4; ++k)
            CHECK(std::abs(fast.coefficient[k] - slow.coefficient[k]) <=
                  100 * epsilon); // sums of terms up to 4·1.5³
    }
}
