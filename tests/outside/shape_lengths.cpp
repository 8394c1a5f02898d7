#include "seamhold/seam/curves.hpp"

#include <doctest/doctest.h>

#include "support/numbers.hpp"

#include <boost/math/special_functions/ellint_2.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

// Waves, ellipses and spirals against elliptic integrals, closed forms and published lengths: not the whole
// length only, but the length up to every place, and the curvature there.

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;

// Arc lengths from end to end of a shape, uneven.
std::vector<double> arc_lengths(DrawnShape const& shape) {
    std::vector<double> all;
    for (int i = 0; i <= 400; ++i)
        all.push_back(shape.length() * (i + 0.3 * std::sin(i)) / 400);
    all.front() = 0;
    all.back() = shape.length();
    return all;
}

// Checks that the tangent has length one, to 1e-12.
void check_unit(ShapePoint<double> const& p) {
    CHECK(std::abs(std::hypot(p.tangent_x, p.tangent_y) - 1) <= 1e-12);
}

} // namespace

TEST_CASE("one period of y = sin x is as long as published") {
    // 7.640395578055424036: 4√2·E(m = ½); published with Chebfun's examples.
    auto const shape = wave(2 * pi, 1, 2 * pi);
    CHECK(shape.length() == doctest::Approx(7.640395578055424036).epsilon(1e-14));
    // Lengths of one period by quadrature apart from this project, ten decimals, mm.
    struct Row {
        double amplitude, pitch, length;
    };
    for (auto const& row : {Row{2, 10, 13.2065822669}, Row{5, 50, 54.6191773666}, Row{0.5, 1, 2.3048926614}})
        CHECK(std::abs(wave(row.pitch / 1e3, row.amplitude / 1e3, row.pitch / 1e3, 1e-5).length() * 1e3 -
                       row.length) <= 0.51e-10);
}

TEST_CASE("a wave: length up to every place by the elliptic integral, place and curvature by its sine") {
    struct Row {
        double pitch, amplitude, pitches;
    };
    for (auto const& row :
         {Row{0.008, 0.003, 5}, Row{0.003, 0.0002, 40}, Row{0.05, 0.02, 1.37}, Row{2, 0.9, 2.5}}) {
        CAPTURE(row.pitch);
        auto const shape = wave(row.pitch, row.amplitude, row.pitches * row.pitch);
        double const rate = 2 * pi / row.pitch, c = rate * row.amplitude;
        double const k = c / std::sqrt(1 + c * c);
        // ∫ √(1 + c² cos² t) dt = √(1 + c²) E(t | k), t = rate · x. Boost takes the modulus k.
        auto const length_to = [&](double x) {
            return std::sqrt(1 + c * c) * boost::math::ellint_2(k, rate * x) / rate;
        };
        double const period = 4 * std::sqrt(1 + c * c) * boost::math::ellint_2(k) / rate;
        CHECK(length_to(row.pitch) == doctest::Approx(period).epsilon(1e-14));
        CHECK(shape.length() == doctest::Approx(length_to(row.pitches * row.pitch)).epsilon(1e-12));
        for (double const s : arc_lengths(shape)) {
            auto const p = shape.at(s);
            check_unit(p);
            CHECK(std::abs(length_to(p.x) - s) <= 1e-12 * shape.length());
            CHECK(std::abs(p.y - row.amplitude * std::sin(rate * p.x)) <= 1e-12 * shape.length());
            double const slope = c * std::cos(rate * p.x);
            double const bend = -c * rate * std::sin(rate * p.x) / std::pow(1 + slope * slope, 1.5);
            // The second derivative of polynomials that hold the slope to 3e-13 of a piece's turn.
            CHECK(std::abs(shape.curvature(s) - bend) <= 1e-9 * c * rate);
        }
    }
}

TEST_CASE("an ellipse: published perimeter and arc, and the length up to every place") {
    // Half axes 10 and 5: 48.442241102738385905, and between the parameters π/10 and π/2
    // 9.0073890635296310688 (given as a test of an arc length program, worked out with Mathematica).
    CHECK(ellipse(20, 10).length() == doctest::Approx(48.442241102738385905).epsilon(4e-15));
    CHECK(ellipse(10, 20).length() == doctest::Approx(48.442241102738385905).epsilon(4e-15));
    auto const arc = [](auto const& u) {
        auto const both = sin_cos(u);
        return std::array{both.sin * 10.0, both.cos * 5.0}; // counted from the short axis
    };
    CHECK(curve_shape(arc, pi / 10, pi / 2).length() ==
          doctest::Approx(9.0073890635296310688).epsilon(4e-15));

    struct Row {
        double length, width;
    };
    for (auto const& row : {Row{0.02, 0.01}, Row{0.03, 0.029}, Row{0.05, 0.004}, Row{0.02, 0.02}}) {
        CAPTURE(row.width);
        auto const shape = ellipse(row.length, row.width);
        double const a = row.length / 2, b = row.width / 2, k = std::sqrt(1 - b * b / (a * a));
        CHECK(shape.length() == doctest::Approx(4 * a * boost::math::ellint_2(k)).epsilon(1e-12));
        for (double const s : arc_lengths(shape)) {
            auto const p = shape.at(s);
            check_unit(p);
            CHECK(std::abs(std::hypot(p.x / a, p.y / b) - 1) <= 1e-12 * a / b);
            // From the end on +x: a (E(k) − E(π/2 − t | k)), t the parameter, which runs through all
            // quarters.
            double t = std::atan2(p.y / b, p.x / a);
            if (t < -1e-9 || s > 0.9 * shape.length())
                t += 2 * pi;
            double const expected = a * (boost::math::ellint_2(k) - boost::math::ellint_2(k, pi / 2 - t));
            CHECK(std::abs(expected - s) <= 1e-12 * shape.length());
            double const denominator = std::hypot(a * std::sin(t), b * std::cos(t));
            CHECK(shape.curvature(s) ==
                  doctest::Approx(a * b / (denominator * denominator * denominator)).epsilon(1e-9));
        }
    }
}

TEST_CASE("a spiral: the closed form of its length up to every turn") {
    // r = bθ: ½ b (θ √(1 + θ²) + asinh θ); for r = θ, 0 … 2π, 21.2562941482 (by quadrature apart from this
    // project).
    auto const length_to = [](double theta) {
        return (theta * std::sqrt(1 + theta * theta) + std::asinh(theta)) / 2;
    };
    CHECK(spiral_out(0, 2 * pi, 2 * pi).length() == doctest::Approx(21.2562941482).epsilon(1e-11));
    struct Row {
        double inner, outer, pitch, start_angle;
    };
    for (auto const& row : {Row{0, 0.01, 0.001, 0}, Row{0.002, 0.0114, 0.003, 1.3},
                            Row{0.01, 0.0101, 0.002, -2}, Row{0, 1, 0.4, 0.5}}) {
        CAPTURE(row.outer);
        auto const shape = spiral_out(row.inner, row.outer, row.pitch, row.start_angle);
        double const b = row.pitch / (2 * pi), first = row.inner / b;
        CHECK(shape.length() ==
              doctest::Approx(b * (length_to(row.outer / b) - length_to(first))).epsilon(1e-12));
        for (double const s : arc_lengths(shape)) {
            auto const p = shape.at(s);
            check_unit(p);
            double const r = std::hypot(p.x, p.y);
            CHECK(std::abs(b * (length_to(r / b) - length_to(first)) - s) <= 1e-12 * shape.length());
            if (r > 0.01 * b) { // at the very middle a direction has no bits
                double const theta = row.start_angle + (r - row.inner) / b;
                CHECK(std::abs(std::cos(theta) * p.y - std::sin(theta) * p.x) <= 4e-12 * shape.length());
            }
            CHECK(shape.curvature(s) ==
                  doctest::Approx((r * r + 2 * b * b) / std::pow(r * r + b * b, 1.5)).epsilon(1e-9));
        }
        // Inwards is the same line.
        auto const back = spiral_in(row.inner, row.outer, row.pitch, row.start_angle);
        CHECK(back.length() == doctest::Approx(shape.length()).epsilon(1e-14));
        CHECK(std::hypot(back.at(0.0).x, back.at(0.0).y) == doctest::Approx(row.outer).epsilon(1e-12));
        CHECK(std::abs(std::hypot(back.at(back.length()).x, back.at(back.length()).y) - row.inner) <=
              1e-12 * row.outer);
    }
}

TEST_CASE("a curve of the user's own: parabola and cycloid in closed form") {
    // y = x² from 0 to 1: ½√5 + ¼ asinh 2 = 1.4789428575.
    auto const parabola = [](auto const& u) { return std::array{u, u * u}; };
    auto const shape = curve_shape(parabola, 0, 1);
    CHECK(shape.length() == doctest::Approx(1.4789428575).epsilon(1e-10));
    for (double const s : arc_lengths(shape)) {
        auto const p = shape.at(s);
        check_unit(p);
        CHECK(std::abs(p.x * std::sqrt(1 + 4 * p.x * p.x) / 2 + std::asinh(2 * p.x) / 4 - s) <= 1e-12);
        CHECK(shape.curvature(s) == doctest::Approx(2 / std::pow(1 + 4 * p.x * p.x, 1.5)).epsilon(1e-9));
    }
    // A cycloid of radius r between two parameters: 4r (cos(a/2) − cos(b/2)) (elementary calculus). Its cusp
    // at 0 is left out: there it stands still.
    auto const cycloid = [](auto const& u) {
        auto const both = sin_cos(u);
        return std::array{(u - both.sin) * 0.01, (1.0 - both.cos) * 0.01};
    };
    CHECK(curve_shape(cycloid, 0.5, 5.5).length() ==
          doctest::Approx(0.04 * (std::cos(0.25) - std::cos(2.75))).epsilon(1e-13));
}

TEST_CASE(
    "a taught curve finds the curve that its points were taken from, with the order of a cubic spline") {
    // Points on a circle of 20 mm radius: the error falls by 2⁴ for twice the points (C. de Boor, chapter
    // IV).
    double before = 0;
    for (int n : {20, 40, 80, 160}) {
        std::vector<FacePoint> points;
        for (int i = 0; i <= n; ++i)
            points.push_back({0.02 * std::cos(1.5 * pi * i / n), 0.02 * std::sin(1.5 * pi * i / n)});
        auto const shape = smooth_curve(points);
        double worst = 0;
        for (double const s : arc_lengths(shape)) {
            auto const p = shape.at(s);
            check_unit(p);
            worst = std::max(worst, std::abs(std::hypot(p.x, p.y) - 0.02));
        }
        if (before > 0)
            CHECK(before / worst > 13);
        before = worst;
    }
    CHECK(before < 1e-9); // 20 mm, 160 points, 1.5 half turns: a nanometre
}
