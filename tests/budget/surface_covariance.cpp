#include "seamhold/budget/surface_covariance.hpp"

#include <doctest/doctest.h>

#include "seamhold/statistics/quantiles.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <limits>
#include <numbers>

// Ellipses and probabilities on the face.

using namespace seamhold;
using namespace seamhold::test;

TEST_CASE("the ellipse of a covariance whose axes are known") {
    Random random(88301);
    for (std::size_t run = 0; run < runs(200); ++run) {
        double const a = random.uniform(1e-4, 1e-3), b = random.uniform(1e-6, 0.9e-4);
        double const angle = random.uniform(-1.5, 1.5), c = std::cos(angle), s = std::sin(angle);
        SurfaceCovariance const covariance{a * a * c * c + b * b * s * s, a * a * s * s + b * b * c * c,
                                           (a * a - b * b) * c * s};
        double const coverage = random.uniform(0.1, 0.999);
        // The quantile of two degrees of freedom from Boost.
        double const factor = std::sqrt(chi_squared_quantile(coverage, 2));
        auto const ellipse = covariance.ellipse(coverage);
        CHECK(ellipse.semi_major == doctest::Approx(factor * a).epsilon(1e-10));
        CHECK(std::abs(ellipse.semi_minor - factor * b) < 1e-9 * a); // √ of a difference
        CHECK(std::abs(ellipse.angle - angle) < 1e-9);
    }
    // 95 % of two degrees of freedom: 5.991 (NIST/SEMATECH e-Handbook, table 1.3.6.7.4).
    CHECK(SurfaceCovariance{1, 1, 0}.ellipse().semi_major == doctest::Approx(std::sqrt(5.991)).epsilon(1e-4));
    CHECK(SurfaceCovariance{0, 4, 0}.ellipse().angle == doctest::Approx(std::numbers::pi / 2));
    CHECK(SurfaceCovariance{}.ellipse().semi_major == 0);
    CHECK(has(refusal_of([] { return SurfaceCovariance{1, 1, 0}.ellipse(1); }), "below 1"));
    CHECK(has(refusal_of([] { return SurfaceCovariance{1, 1, 0}.ellipse(0); }), "above 0"));
    CHECK(SurfaceCovariance{4, 9, 0}.along_deviation() == 2);
    CHECK(SurfaceCovariance{4, 9, 0}.across_deviation() == 3);
}

TEST_CASE("the probability within a tolerance, by quantiles of the normal distribution") {
    Random random(88302);
    for (std::size_t run = 0; run < runs(200); ++run) {
        double const low = random.uniform(1e-4, 0.3), high = random.uniform(1e-4, 0.3);
        // Tolerance and mean such that the ends lie at these quantiles.
        double const a = normal_quantile(low), b = normal_quantile(1 - high);
        double const deviation = random.uniform(1e-5, 1e-3);
        double const tolerance = deviation * (b - a) / 2, mean = -deviation * (b + a) / 2;
        CHECK(probability_outside(mean, deviation, tolerance) == doctest::Approx(low + high).epsilon(1e-10));
        CHECK(probability_within(mean, deviation, tolerance) ==
              doctest::Approx(1 - low - high).epsilon(1e-10));
    }
    CHECK(probability_outside(0, 0, 1e-3) == 0);
    CHECK(probability_outside(2e-3, 0, 1e-3) == 1);
    CHECK(probability_outside(1e-3, 0, 1e-3) == 0);
    CHECK(probability_outside(0, 1e-3, std::numeric_limits<double>::infinity()) == 0);
    // Six deviations: 1.973e-9 (from memory), where 1 − p has no digits left.
    CHECK(probability_outside(0, 1, 6) == doctest::Approx(1.973e-9).epsilon(1e-3));
}

TEST_CASE("the largest deviation that a tolerance allows") {
    // Without a mean it is the tolerance by a quantile.
    for (double const p : {0.5, 0.9, 0.95, 0.9973, 0.999999})
        CHECK(largest_deviation(0, 1e-3, p) ==
              doctest::Approx(1e-3 / normal_quantile((1 + p) / 2)).epsilon(1e-12));
    Random random(88303);
    for (std::size_t run = 0; run < runs(200); ++run) {
        double const tolerance = random.uniform(1e-4, 1e-3), mean = tolerance * random.uniform(-1, 1);
        double const p = random.uniform(0.5, 0.9999);
        double const deviation = largest_deviation(mean, tolerance, p);
        CHECK(probability_within(mean, deviation, tolerance) == doctest::Approx(p).epsilon(1e-12));
        CHECK(probability_within(mean, 1.001 * deviation, tolerance) < p);
    }
    CHECK(largest_deviation(1.01e-3, 1e-3, 0.9) == -1);
    CHECK(largest_deviation(-1.01e-3, 1e-3, 0.9) == -1);
    CHECK(largest_deviation(0, std::numeric_limits<double>::infinity(), 0.9) ==
          std::numeric_limits<double>::infinity());
    CHECK(has(refusal_of([] { return largest_deviation(0, 0, 0.9); }), "above 0"));
    CHECK(has(refusal_of([] { return largest_deviation(0, -1, 0.9); }), "above 0"));
    CHECK(has(refusal_of([] { return largest_deviation(0, 1, 1); }), "probability"));
    CHECK(has(refusal_of([] { return largest_deviation(0, 1, 0.4); }), "probability"));
}

TEST_CASE("what curvature adds, against a beam that meets a circle") {
    // A beam at the incidence i meets the top of a circle of radius R; shifted by d across the tangent it
    // meets the circle farther along the tangent by d² tan(i) / 2R, to the third order.
    double const radius = 0.05, d = 1e-3;
    for (double const incidence : {0.0, 0.3, 0.7}) {
        // Beam from above, going along +x while it goes down, through (d, 0): x = d + tan(i) · depth.
        double x = d;
        for (int i = 0; i < 50; ++i)
            x = d + std::tan(incidence) * (radius - std::sqrt(radius * radius - x * x));
        CHECK(x - d == doctest::Approx(curvature_adds(d, incidence, radius)).epsilon(0.05));
    }
}
