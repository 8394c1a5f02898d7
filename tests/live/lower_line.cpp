#include <doctest/doctest.h>

#include "seamhold/live/lower_line.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

using seamhold::LowerLine;
using seamhold::LowPoint;
using seamhold::test::Random;

namespace {

struct Moments {
    double height, slope, height_variance, slope_variance;
};

// The same distribution by brute force: lines on a grid of slopes, the height integrated in closed form
// (below the highest line it falls as an exponential with mean τ/n). Height at x = 0.
Moments by_grid(std::vector<LowPoint> const& points, double bound, double scatter) {
    double n = 0, middle = 0;
    for (auto const& p : points) {
        n += p.count;
        middle += p.count * p.x;
    }
    middle /= n;
    double const density = n / scatter;
    constexpr int steps = 400000;
    auto const top = [&](double slope) {
        double low = 1e300;
        for (auto const& p : points)
            low = std::min(low, p.y - slope * (p.x - middle));
        return low;
    };
    double best = -1e300;
    for (int i = 0; i < steps; i += 100)
        best = std::max(best, top(-bound + 2 * bound * (i + 0.5) / steps));
    double total = 0, h = 0, hh = 0, b = 0, bb = 0;
    for (int i = 0; i < steps; ++i) {
        double const slope = -bound + 2 * bound * (i + 0.5) / steps;
        double const highest = top(slope);
        double const weight = std::exp(density * (highest - best));
        double const at_zero = highest - slope * middle - best;
        total += weight;
        h += weight * (at_zero - 1 / density);
        hh += weight * (at_zero * at_zero - 2 * at_zero / density + 2 / (density * density));
        b += weight * slope;
        bb += weight * slope * slope;
    }
    h /= total;
    b /= total;
    return {best + h, b, hh / total - h * h, bb / total - b * b};
}

} // namespace

TEST_CASE("moments of an exponential over 0 to 1") {
    // Against Simpson's rule over 2000 steps, which is right to 1e-13 of the value at z ≤ 20.
    for (double const z : {0.0, 1e-9, 0.3, 0.9999999, 1.0, 1.7, 5.0, 20.0}) {
        auto const m = seamhold::detail::exponential_moments(z);
        for (int k = 0; k < 3; ++k) {
            double sum = 0;
            for (int i = 0; i <= 2000; ++i) {
                double const t = i / 2000.0;
                double const weight = i == 0 || i == 2000 ? 1 : i % 2 == 1 ? 4 : 2;
                sum += weight * std::pow(t, k) * std::exp(-z * t) / 6000;
            }
            CHECK(m[static_cast<std::size_t>(k)] == doctest::Approx(sum).epsilon(1e-10));
        }
    }
    // ∫ tᵏ e^(−zt) over 0 … ∞ is k!/z^(k+1): the rest beyond 1 is nothing at z = 1000.
    auto const far = seamhold::detail::exponential_moments(1000);
    CHECK(far[0] == doctest::Approx(1e-3).epsilon(1e-12));
    CHECK(far[1] == doctest::Approx(1e-6).epsilon(1e-12));
    CHECK(far[2] == doctest::Approx(2e-9).epsilon(1e-12));
}

TEST_CASE("the line's moments are those of the distribution summed over a grid") {
    Random random(20261126);
    for (int run = 0; run < 12; ++run) {
        std::size_t const count = 1 + random.index(12);
        double const bound = run % 3 == 0 ? 0.5 : 3;
        std::vector<LowPoint> points;
        double x = random.uniform(-3, 3);
        for (std::size_t i = 0; i < count; ++i) {
            double const thick = 1 + static_cast<double>(random.index(4));
            points.push_back({x, 0.3 * x - std::log(1 - random.unit()) / thick, thick});
            x += random.uniform(0.1, 1);
        }
        LowerLine<12> line;
        line.fit(points, bound, 0.7);
        auto const grid = by_grid(points, bound, line.scatter());
        CAPTURE(run);
        CAPTURE(count);
        // The grid's own error: (2·bound/400000)² times curvature, and 4000 peaks of step 2·bound/4000.
        CHECK(line.at(0) == doctest::Approx(grid.height).epsilon(1e-6));
        CHECK(line.slope() == doctest::Approx(grid.slope).epsilon(1e-6));
        // Up to one factor for the unsureness of τ and of the shape, which is 1 or more, and the same for
        // both.
        double const factor = line.variance(0) / grid.height_variance;
        CHECK(factor > 1 - 1e-5);
        CHECK(line.slope_deviation() * line.slope_deviation() / grid.slope_variance ==
              doctest::Approx(factor).epsilon(1e-5));
    }
}

TEST_CASE("one point: any slope within the bound, the height below the point by the first guess") {
    LowerLine<8> line;
    std::vector<LowPoint> const points{{2, 5, 1}};
    line.fit(points, 1e-4, 0.001);
    CHECK(line.slope() == 0);
    CHECK(line.at(2) == doctest::Approx(5 - 0.001));
    // A uniform distribution's standard deviation is its half width over √3; τ is known from one block: 1
    // + 2.
    CHECK(line.slope_deviation() == doctest::Approx(1e-4 / std::sqrt(3.0) * std::sqrt(3.0)));
    CHECK(line.variance(2) == doctest::Approx(3e-6));
}

TEST_CASE("points on a line give the line, and points above it change nothing") {
    LowerLine<16> line;
    std::vector<LowPoint> points;
    for (int i = 0; i < 16; ++i)
        points.push_back({static_cast<double>(i), 1e-5 * i, 4});
    line.fit(points, 2e-4, 1e-9);
    // The first guess, 1 ns, over 11 blocks and 64 points.
    CHECK(line.at(15) == doctest::Approx(15e-5).epsilon(1e-7));
    CHECK(line.slope() == doctest::Approx(1e-5).epsilon(1e-7));
    for (std::size_t const late : {2U, 7U, 11U})
        points[late].y += 1000;
    line.fit(points, 2e-4, 1e-9);
    CHECK(line.at(15) == doctest::Approx(15e-5).epsilon(1e-7));
    CHECK(line.slope() == doctest::Approx(1e-5).epsilon(1e-7));
}

TEST_CASE("a quarter of the points, however far above, hardly changes what the scatter is taken to be") {
    Random random(21);
    std::vector<LowPoint> points;
    for (int i = 0; i < 64; ++i)
        points.push_back({static_cast<double>(i), -std::log(1 - random.unit()), 1});
    LowerLine<64> line;
    line.fit(points, 1e-3, 0.1);
    CHECK(line.scatter() > 0.7); // 1, from 48 points: 15 %
    CHECK(line.scatter() < 1.4);
    for (std::size_t i = 3; i < 64; i += 4)
        points[i].y += 1e6;
    line.fit(points, 1e-3, 0.1);
    // The quarter now counts as `above the highest of the others`, which is a little more than it was.
    CHECK(line.scatter() > 0.7);
    CHECK(line.scatter() < 3);
}

TEST_CASE("a slope beyond the bound stays at the bound, and the line below all points") {
    LowerLine<16> line;
    std::vector<LowPoint> points;
    for (int i = 0; i < 16; ++i)
        points.push_back({static_cast<double>(i), 1e-3 * i, 1});
    line.fit(points, 2e-4, 1e-6);
    CHECK(line.slope() <= 2e-4);
    CHECK(line.slope() > 1e-4);
    CHECK(line.at(0) < 0);
}
