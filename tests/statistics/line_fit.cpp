#include "seamhold/statistics/line_fit.hpp"

#include "support/random.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <vector>

using namespace seamhold;

namespace {

double const infinity = std::numeric_limits<double>::infinity();

// Stopping distances of cars (ft) at speeds (mph), a data set that comes with R (from memory; the line and
// the intervals below are R's own output and would not come out if a number were wrong).
std::vector<LinePoint> cars() {
    return {{4, 2},   {4, 10},  {7, 4},   {7, 22},   {8, 16},  {9, 10},  {10, 18}, {10, 26}, {10, 34},
            {11, 17}, {11, 28}, {12, 14}, {12, 20},  {12, 24}, {12, 28}, {13, 26}, {13, 34}, {13, 34},
            {13, 46}, {14, 26}, {14, 36}, {14, 60},  {14, 80}, {15, 20}, {15, 26}, {15, 54}, {16, 32},
            {16, 40}, {17, 32}, {17, 40}, {17, 50},  {18, 42}, {18, 56}, {18, 76}, {18, 84}, {19, 36},
            {19, 46}, {19, 68}, {20, 32}, {20, 48},  {20, 52}, {20, 56}, {20, 64}, {22, 66}, {23, 54},
            {24, 70}, {24, 92}, {24, 93}, {24, 120}, {25, 85}};
}

} // namespace

TEST_CASE("a line, its bands and its intervals are those of R") {
    auto const fit = fit_line(cars());
    CHECK(std::abs(fit.intercept + 17.5790948905) < 1e-10);
    CHECK(std::abs(fit.slope - 3.9324087591) < 1e-10);
    CHECK(std::abs(fit.at(10) - 21.74499) < 5e-6);
    auto const confidence = fit.confidence(10);
    CHECK(std::abs(confidence.low - 15.46192) < 5e-6);
    CHECK(std::abs(confidence.high - 28.02807) < 1e-5);
    auto const prediction = fit.prediction(10);
    CHECK(std::abs(prediction.low + 9.809601) < 5e-7);
    CHECK(std::abs(prediction.high - 53.29959) < 5e-6);
    // Many future observations have the mean of the line itself.
    CHECK(std::abs(fit.prediction(10, 0.95, 1e12).low - confidence.low) < 1e-6);
}

TEST_CASE("the numbers of a line are those worked out by hand") {
    // Slope 8/5, intercept 11/10, sum of squares 1/5, Sxx 5, Syy 13; s² 1/10 (by hand).
    auto const fit = fit_line({{0, 1}, {1, 3}, {2, 4}, {3, 6}});
    CHECK(std::abs(fit.slope - 1.6) < 1e-15);
    CHECK(std::abs(fit.intercept - 1.1) < 1e-15);
    CHECK(std::abs(fit.sum_of_squares - 0.2) < 1e-15);
    CHECK(std::abs(fit.slope_deviation - std::sqrt(0.02)) < 1e-15);
    CHECK(std::abs(fit.intercept_deviation - std::sqrt(0.07)) < 1e-15);
    CHECK(std::abs(fit.covariance + 0.03) < 1e-15);
    CHECK(std::abs(fit.r_squared - (1 - 0.2 / 13)) < 1e-15);
    CHECK(std::abs(fit.f - 128) < 1e-11);
    CHECK(std::abs(fit.residuals[1] - 0.3) < 1e-15);
    CHECK(std::abs(fit.deviation_at(1.5) - std::sqrt(0.1 / 4)) < 1e-15);
    CHECK_FALSE(fit.lack_of_fit);
}

TEST_CASE("a weight counts as so many points") {
    auto const weighted = fit_line({{0, 1, 2}, {1, 3, 1}, {2, 4, 3}, {5, 5, 0}, {3, 6, 1}});
    auto const repeated = fit_line({{0, 1}, {0, 1}, {1, 3}, {2, 4}, {2, 4}, {2, 4}, {3, 6}});
    CHECK(std::abs(weighted.slope - repeated.slope) < 1e-14);
    CHECK(std::abs(weighted.intercept - repeated.intercept) < 1e-14);
    CHECK(std::abs(weighted.sum_of_squares - repeated.sum_of_squares) < 1e-14);
    CHECK(std::abs(weighted.spread - repeated.spread) < 1e-14);
    CHECK(weighted.degrees_of_freedom == 2); // four points, however much they weigh
    CHECK(std::abs(weighted.residuals[3] - (5 - weighted.at(5))) < 1e-14);
}

TEST_CASE("units and offsets do not matter") {
    auto const near = fit_line({{0, 1}, {1, 3}, {2, 4}, {3, 6}, {5, 8}});
    // Days as seconds since an epoch, exact in doubles.
    double const epoch = 1.8e9, day = 86400;
    std::vector<LinePoint> far;
    for (LinePoint const& p : std::vector<LinePoint>{{0, 1}, {1, 3}, {2, 4}, {3, 6}, {5, 8}})
        far.push_back({epoch + day * p.x, 1e6 + p.y});
    auto const fit = fit_line(far);
    CHECK(std::abs(fit.slope * day - near.slope) < 1e-12);
    CHECK(std::abs(fit.deviation - near.deviation) < 1e-12);
    CHECK(std::abs(fit.slope_deviation * day - near.slope_deviation) < 1e-12);
    auto const crossing = fit.crossing(1e6 + 10), there = near.crossing(10);
    // Places near 1.8e9 are rounded to 2.4e-7 s.
    CHECK(std::abs((crossing.place - epoch) / day - there.place) < 1e-10);
    CHECK(std::abs((crossing.bounds.low - epoch) / day - there.bounds.low) < 1e-10);
    CHECK(std::abs((crossing.bounds.high - epoch) / day - there.bounds.high) < 1e-10);
}

TEST_CASE("a crossing's set is where the band has the value") {
    // The second derivation: x belongs to the set where |line − y| ≤ t · deviation at x.
    test::Random random(53);
    int shapes[4] = {0, 0, 0, 0};
    for (int trial = 0; trial < 300; ++trial) {
        std::vector<LinePoint> points;
        double const slope = random.uniform(-1, 1);
        for (int i = 0; i < 6; ++i)
            points.push_back({static_cast<double>(i), slope * i + random.normal(), random.uniform(0.5, 2)});
        auto const fit = fit_line(points);
        double const y = random.uniform(-4, 4);
        for (double const readings : {infinity, 2.0}) {
            auto const crossing = fit.crossing(y, 0.9, readings);
            ++shapes[static_cast<int>(crossing.set)];
            if (std::isfinite(crossing.place)) {
                CHECK(std::abs(fit.at(crossing.place) - y) < 1e-9 * (1 + std::abs(crossing.place)));
                CHECK(crossing.contains(crossing.place));
            }
            double const t = student_quantile(0.95, 4);
            for (double x = -200; x < 200; x += 0.37) {
                double const reach =
                    t * std::hypot(fit.deviation_at(x), readings < 10 ? fit.deviation / std::sqrt(2.0) : 0.0);
                double const over = std::abs(fit.at(x) - y) - reach;
                if (std::abs(over) > 1e-9)
                    CHECK(crossing.contains(x) == (over < 0));
            }
        }
    }
    CHECK(shapes[0] > 50); // between
    CHECK(shapes[1] > 50); // outside
    CHECK(shapes[2] > 50); // anywhere
    CHECK(shapes[3] == 0);
}

TEST_CASE("places from today on") {
    LineCrossing const between{5, CrossingSet::between, {3, 8}};
    CHECK(between.from(0)->low == 3);
    CHECK(between.from(4)->low == 4);
    CHECK(between.from(4)->high == 8);
    CHECK_FALSE(between.from(9));
    LineCrossing const outside{5, CrossingSet::outside, {-2, 4}};
    CHECK(outside.from(0)->low == 4);
    CHECK(outside.from(0)->high == infinity);
    CHECK(outside.from(6)->low == 6);
    CHECK(outside.from(-3)->low == -3);
    LineCrossing const anywhere{5, CrossingSet::anywhere, {-infinity, infinity}};
    CHECK(anywhere.from(1)->low == 1);
    CHECK(anywhere.from(1)->high == infinity);
}

TEST_CASE("a crossing's set covers the truth as often as it says") {
    test::Random random(11);
    int const trials = 4000;
    int covered = 0;
    for (int trial = 0; trial < trials; ++trial) {
        std::vector<LinePoint> points;
        for (int i = 0; i < 8; ++i)
            points.push_back({static_cast<double>(i), 1 + 0.3 * i + random.normal()});
        covered += fit_line(points).crossing(1 + 0.3 * 12).contains(12) ? 1 : 0;
    }
    // Four standard deviations of a share of 0.95 in 4000: 0.014.
    CHECK(std::abs(covered / static_cast<double>(trials) - 0.95) < 0.014);
}

TEST_CASE("lines without scatter, and level lines") {
    auto const exact = fit_line({{0, 1}, {1, 2}, {2, 3}});
    CHECK(exact.deviation == 0);
    CHECK(exact.r_squared == 1);
    auto const crossing = exact.crossing(5);
    CHECK(crossing.set == CrossingSet::between);
    CHECK(crossing.place == 4);
    CHECK(crossing.bounds.low == 4);
    CHECK(crossing.bounds.high == 4);
    auto const level = fit_line({{0, 2}, {1, 2}, {2, 2}});
    CHECK(level.r_squared == 1);
    CHECK(level.crossing(3).set == CrossingSet::nowhere);
    CHECK_FALSE(level.crossing(3).contains(1));
    CHECK_FALSE(level.crossing(3).from(0));
    CHECK(level.crossing(2).set == CrossingSet::anywhere);
}

TEST_CASE("lack of fit is told from scatter") {
    // Two values at each of x = 0, 1, 2, 3: y = x² ± 0.1. By hand: line 3x − 1, the means are off it by
    // 1, −1, −1, 1, so Σ = 2 · 4 = 8 with 2 degrees; pure 8 · 0.01 with 4 degrees: F = (8 / 2) / (0.08 / 4).
    std::vector<LinePoint> points;
    for (double const x : {0.0, 1.0, 2.0, 3.0}) {
        points.push_back({x, x * x + 0.1});
        points.push_back({x, x * x - 0.1});
    }
    auto const lack = fit_line(points).lack_of_fit;
    REQUIRE(lack);
    CHECK(lack->degrees == 2);
    CHECK(lack->repeated == 4);
    CHECK(std::abs(lack->f - 200) < 1e-9);
    // For 2 degrees above, the tail is (1 + 2 F / below)^(−below / 2) = 101⁻².
    CHECK(std::abs(lack->probability - 1 / (101.0 * 101.0)) < 1e-12);
}

TEST_CASE("what makes no line is refused") {
    double const nan = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(fit_line({}), BadInput);
    CHECK_THROWS_AS(fit_line({{0, 1}, {1, 2}}), BadInput);
    CHECK_THROWS_WITH_AS(fit_line({{0, 1}, {1, 2}, {2, 3, 0}}), "a line needs 3 points or more; given 2",
                         BadInput);
    CHECK_THROWS_WITH_AS(fit_line({{1, 1}, {1, 2}, {1, 3}}), "a line needs 2 different x or more; all are 1",
                         BadInput);
    CHECK_THROWS_AS(fit_line({{0, 1}, {1, nan}, {2, 3}}), BadInput);
    CHECK_THROWS_AS(fit_line({{0, 1}, {infinity, 2}, {2, 3}}), BadInput);
    CHECK_THROWS_AS(fit_line({{0, 1}, {1, 2, -1}, {2, 3}}), BadInput);
    auto const fit = fit_line({{0, 1}, {1, 2}, {2, 2}});
    CHECK_THROWS_AS(fit.confidence(1, 1), BadInput);
    CHECK_THROWS_AS(fit.prediction(1, 0.95, 0), BadInput);
    CHECK_THROWS_AS(fit.crossing(1, 0), BadInput);
}
