#include "seamhold/seam/curves.hpp"

#include <doctest/doctest.h>

#include "seamhold/seam/extent.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"
#include "support/shape_laws.hpp"

#include <array>
#include <cmath>
#include <numbers>
#include <vector>

// Lengths and curvatures against closed forms and published values: tests/outside/shape_lengths.cpp.

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;

// Whether a smooth shape goes through a place within 1e-9 of its length, found by halving around the nearest
// of many points.
bool goes_through(DrawnShape const& shape, FacePoint place) {
    auto const off = [&](double s) {
        auto const p = shape.at(s);
        return std::hypot(p.x - place.x, p.y - place.y);
    };
    double const length = shape.length();
    double best = 0, step = length / 2000;
    for (int i = 0; i <= 2000; ++i)
        if (off(length * i / 2000) < off(best))
            best = length * i / 2000;
    for (; step > 1e-12 * length; step /= 2)
        for (double const s : {best - step, best + step})
            if (s >= 0 && s <= length && off(s) < off(best))
                best = s;
    return off(best) <= 1e-9 * length;
}

} // namespace

TEST_CASE("laws of waves, spirals, ellipses and curves of the user's own, small and large") {
    for (double const scale : {1e-3, 1.0, 1000.0}) { // 10 µm to 10 m
        CAPTURE(scale);
        check_shape_laws(wave(0.008 * scale, 0.003 * scale, 0.02 * scale, 0));
        check_shape_laws(spiral_out(0, 0.01 * scale, 0.004 * scale, 0.3));
        check_shape_laws(spiral_in(0.002 * scale, 0.01 * scale, 0.003 * scale));
        check_shape_laws(ellipse(0.03 * scale, 0.01 * scale, 0.004 * scale));
        auto const clover = [=](auto const& u) {
            auto const radius = sin_cos(u * 3.0).cos * (0.003 * scale) + 0.009 * scale;
            auto const both = sin_cos(u);
            return std::array{radius * both.cos, radius * both.sin};
        };
        check_shape_laws(curve_shape(clover, 0, 2 * pi));
    }
}

TEST_CASE("a wave starts on its axis, to the left, and ends where it is told") {
    auto const shape = wave(0.008, 0.003, 0.032);
    CHECK(shape.continuity() == 2);
    CHECK(shape.at(0.0).x == 0);
    CHECK(shape.at(0.0).y == 0);
    CHECK(shape.at(0.0).tangent_y > 0);
    auto const end = shape.at(shape.length());
    CHECK(end.x == doctest::Approx(0.032).epsilon(1e-14));
    CHECK(std::abs(end.y) <= 1e-15);
    auto const box = extent_of(shape);
    CHECK(box.high_y == doctest::Approx(0.003).epsilon(1e-13));
    CHECK(box.low_y == doctest::Approx(-0.003).epsilon(1e-13));
    CHECK(box.width() == doctest::Approx(0.032).epsilon(1e-14));
    // Part of a pitch is enough.
    CHECK(wave(0.008, 0.003, 0.001).at(0.0005).x > 0);
    CHECK(wave(0.008, 0.003, 0.0053).length() < shape.length());
}

TEST_CASE("a wave too tight for its amplitude is refused with what is allowed") {
    // The least radius of a sine is pitch² / (4π² A): of 2 mm and 1 mm, 0.1013 mm.
    CHECK_NOTHROW(wave(0.002, 0.001, 0.01));
    auto const message = refusal_of([] { return wave(0.002, 0.0011, 0.01); });
    CHECK(has(message, "too tight"));
    CHECK(has(message, "0.0921")); // 4 / (4π² · 1.1) mm
    CHECK(has(message, "0.1 mm or more"));
    CHECK(has(message, "amplitude of 1.0132")); // 4 / (4π² · 0.1) mm
    CHECK(has(message, "first at 0.5 mm"));
    CHECK_NOTHROW(wave(0.002, 0.0011, 0.01, 5e-5)); // the limit is the caller's
    CHECK(has(refusal_of([] { return wave(0.02, 0.001, 0.1, 0.011); }), "too tight"));
    CHECK(has(refusal_of([] { return wave(0, 0.001, 0.1); }), "pitch"));
    CHECK(has(refusal_of([] { return wave(0.01, 0, 0.1); }), "amplitude"));
    CHECK(has(refusal_of([] { return wave(0.01, 0.001, -0.1); }), "length"));
    CHECK(has(refusal_of([] { return wave(0.01, not_a_number, 0.1); }), "amplitude"));
    CHECK(has(refusal_of([] { return wave(0.01, 0.001, 0.1, not_a_number); }), "too tight"));
}

TEST_CASE("a spiral starts and ends at its radii and angles, counter-clockwise") {
    auto const shape = spiral_out(0.002, 0.0115, 0.003, 0.4); // 3 turns and a sixth
    CHECK(shape.continuity() == 2);
    auto const start = shape.at(0.0), end = shape.at(shape.length());
    CHECK(start.x == doctest::Approx(0.002 * std::cos(0.4)).epsilon(4 * epsilon));
    CHECK(start.y == doctest::Approx(0.002 * std::sin(0.4)).epsilon(4 * epsilon));
    double const angle = 0.4 + 9.5 / 3 * 2 * pi;
    CHECK(end.x == doctest::Approx(0.0115 * std::cos(angle)).epsilon(1e-12));
    CHECK(end.y == doctest::Approx(0.0115 * std::sin(angle)).epsilon(1e-12));
    for (double const share : {0.0, 0.4, 1.0})
        CHECK(shape.curvature(share * shape.length()) > 0);
    auto const in = spiral_in(0.002, 0.0115, 0.003, 0.4);
    CHECK(in.at(0.0).x == doctest::Approx(end.x).epsilon(1e-12));
    CHECK(in.at(0.0).tangent_x == doctest::Approx(-end.tangent_x).epsilon(1e-12));
    CHECK(in.curvature(0.001) < 0); // inwards along the same line is clockwise
    CHECK(has(refusal_of([] { return spiral_out(0.01, 0.01, 0.001); }), "below its outer radius"));
    CHECK(has(refusal_of([] { return spiral_out(0.02, 0.01, 0.001); }), "inner radius"));
    CHECK(has(refusal_of([] { return spiral_out(-0.001, 0.01, 0.001); }), "inner radius"));
    CHECK(has(refusal_of([] { return spiral_out(0, 0.01, 0); }), "pitch"));
    CHECK(has(refusal_of([] { return spiral_out(0, 0, 0.001); }), "outer radius"));
    CHECK_THROWS_AS((void)spiral_in(0, 0.01, 0.001, infinity), BadInput);
}

TEST_CASE("an ellipse, over all, and on over its start") {
    auto const shape = ellipse(0.03, 0.01, 0.005);
    CHECK(shape.continuity() == 2);
    CHECK(shape.at(0.0).x == 0.015);
    CHECK(shape.at(0.0).tangent_y == doctest::Approx(1).epsilon(2 * epsilon));
    auto const end = shape.at(shape.length()), same = shape.at(0.005);
    CHECK(end.x == doctest::Approx(same.x).epsilon(1e-12));
    CHECK(end.y == doctest::Approx(same.y).epsilon(1e-12));
    auto const box = extent_of(shape);
    CHECK(box.width() == doctest::Approx(0.03).epsilon(1e-13));
    CHECK(box.height() == doctest::Approx(0.01).epsilon(1e-13));
    CHECK(has(refusal_of([] { return ellipse(0, 0.01); }), "length"));
    CHECK(has(refusal_of([] { return ellipse(0.01, -0.01); }), "width"));
    CHECK(has(refusal_of([] { return ellipse(0.01, 0.01, 0.04); }), "overlap"));
}

TEST_CASE("a smooth curve goes through its points and is C²") {
    Random random(9601);
    for (int i = 0; i < 20; ++i) {
        std::vector<FacePoint> points;
        std::size_t const n = 3 + random.index(12);
        for (std::size_t k = 0; k < n; ++k) // uneven, as taught
            points.push_back(
                {0.01 * (static_cast<double>(k) + random.uniform(-0.3, 0.3)), random.uniform(-0.01, 0.01)});
        auto const shape = smooth_curve(points);
        check_shape_laws(shape);
        CHECK(shape.continuity() >= 2);
        CHECK(shape.at(0.0).x == points.front().x);
        CHECK(shape.at(shape.length()).y == doctest::Approx(points.back().y).epsilon(1e-11));
        for (auto const& point : points)
            CHECK(goes_through(shape, point));
    }
    // Two points are a straight line, and three on a line too.
    CHECK(smooth_curve({{0, 0}, {0.03, 0.04}}).length() == doctest::Approx(0.05).epsilon(2 * epsilon));
    auto const flat = smooth_curve({{0, 0}, {0.01, 0}, {0.05, 0}});
    CHECK(flat.length() == doctest::Approx(0.05).epsilon(4 * epsilon));
    CHECK(std::abs(flat.curvature(0.02)) <= 1e-12);
}

TEST_CASE("a long curve keeps the digits of its short pieces") {
    // 2026-11-25: 30 m through points 1 mm apart was refused as not smooth: a parameter along the whole way
    // has bits of 4e-15 m, too coarse for 1 mm.
    std::vector<FacePoint> points;
    points.reserve(30000);
    for (int i = 0; i < 30000; ++i)
        points.push_back({i * 1e-3, 0.01 * std::sin(i * 0.1)});
    auto const shape = smooth_curve(points);
    CHECK(shape.continuity() == 2);
    for (double const share : {0.1, 0.5, 0.999}) {
        auto const p = shape.at(share * shape.length());
        CHECK(std::abs(std::hypot(p.tangent_x, p.tangent_y) - 1) <= 1e-12);
        // The spline's error: 5 h⁴ / 384 of the fourth derivative, 0.01 · 0.1⁴ per point.
        CHECK(std::abs(p.y - 0.01 * std::sin(p.x * 100)) <= 2e-8);
    }
}

TEST_CASE("a smooth loop closes without a jump and does not care where it starts") {
    Random random(9602);
    for (std::size_t n : {3U, 4U, 7U, 90U}) {
        CAPTURE(n);
        std::vector<FacePoint> points;
        for (std::size_t k = 0; k < n; ++k) {
            double const angle =
                2 * pi * (static_cast<double>(k) + random.uniform(-0.2, 0.2)) / static_cast<double>(n);
            double const radius = random.uniform(0.019, 0.021);
            points.push_back({radius * std::cos(angle), radius * std::sin(angle)});
        }
        auto const loop = smooth_loop(points);
        check_shape_laws(loop);
        CHECK(loop.continuity() >= 2);
        auto const start = loop.at(0.0), end = loop.at(loop.length());
        CHECK(std::hypot(end.x - start.x, end.y - start.y) <= 1e-14);
        CHECK(std::abs(end.tangent_x - start.tangent_x) <= 1e-12);
        CHECK(std::abs(end.tangent_y - start.tangent_y) <= 1e-12);
        CHECK(loop.curvature(0) == doctest::Approx(loop.curvature(loop.length())).epsilon(1e-9));
        for (auto const& point : points)
            CHECK(goes_through(loop, point));
        std::vector<FacePoint> turned(points.begin() + 1, points.end());
        turned.push_back(points.front());
        CHECK(smooth_loop(turned).length() == doctest::Approx(loop.length()).epsilon(1e-12));
        auto const over = smooth_loop(points, 0.003);
        CHECK(over.length() == doctest::Approx(loop.length() + 0.003).epsilon(1e-13));
        CHECK(over.continuity() >= 2); // across its own start too
        CHECK(over.at(over.length()).x == doctest::Approx(over.at(0.003).x).epsilon(1e-12));
    }
    // Evenly on a circle it is nearly one: a cubic spline is off by 5 h⁴ / 384 at most (C. de Boor, chapter
    // V), 3e-4 of the radius for h = π/8.
    std::vector<FacePoint> circle;
    circle.reserve(16);
    for (int k = 0; k < 16; ++k)
        circle.push_back({0.02 * std::cos(pi * k / 8), 0.02 * std::sin(pi * k / 8)});
    CHECK(smooth_loop(circle).length() == doctest::Approx(0.04 * pi).epsilon(3e-4));
}

TEST_CASE("taught points that make no curve are refused by their number") {
    CHECK(has(refusal_of([] {
                  return smooth_curve({{0, 0}, {0.01, 0}, {0.02, 0.01}, {0.02, 0.01}});
              }),
              "point 2 and point 3 at (20, 10) mm"));
    // Twice the same place but for what a robot repeats is twice the same place.
    CHECK(has(refusal_of([] {
                  return smooth_curve({{0, 0}, {1e-10, 0}, {0.02, 0.01}});
              }),
              "point 0 and point 1"));
    CHECK(has(refusal_of([] {
                  return smooth_loop({{0, 0}, {0.01, 0}, {0.01, 0.01}, {0, 0}});
              }),
              "point 3 and point 0"));
    CHECK(has(refusal_of([] {
                  return smooth_curve({{0, 0}, {0.01, not_a_number}, {0.02, 0}});
              }),
              "point 1 is not finite"));
    CHECK(has(refusal_of([] {
                  return smooth_curve({{0, 0}, {0.01, 0}, {infinity, 0}});
              }),
              "point 2 is not finite"));
    CHECK(has(refusal_of([] { return smooth_curve({{0, 0}}); }), "two points"));
    CHECK(has(refusal_of([] { return smooth_loop({{0, 0}, {0.01, 0}}); }), "three points"));
    // There and back along one line: the curve would stand still where it turns.
    CHECK(refusal_of([] { return smooth_curve({{0, 0}, {0.01, 0}, {0, 0}}); }) != "");
}

TEST_CASE("a curve of the user's own may have corners where it says so") {
    // A rounded roof: y = |x| · (1 − x²), with its corner at 0.
    auto const roof = [](auto const& u) {
        using std::abs;
        auto const rise = u * (1.0 - u * u);
        return std::array{u * 0.01, (value_of(u) < 0 ? -rise : rise) * 0.01};
    };
    auto const shape = curve_shape(roof, {-0.5, 0, 0.5});
    check_shape_laws(shape);
    REQUIRE(shape.corners().size() == 1);
    CHECK(shape.corners()[0].angle == doctest::Approx(pi / 2).epsilon(1e-12));
    CHECK(shape.corners()[0].arc_length == doctest::Approx(shape.length() / 2).epsilon(1e-12));
    auto const message = refusal_of([&] { return curve_shape(roof, -0.5, 0.4); });
    CHECK(has(message, "not smooth"));
    CHECK(has(refusal_of([&] { return curve_shape(roof, {0, 1, 0.5}); }), "must increase"));
    CHECK(has(refusal_of([&] { return curve_shape(roof, 1, 1); }), "must increase"));
    CHECK(has(refusal_of([&] { return curve_shape(roof, {0.0}); }), "one stretch"));
    CHECK_THROWS_AS((void)curve_shape(roof, 0, infinity), BadInput);
}
