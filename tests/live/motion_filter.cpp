#include "seamhold/live/motion_filter.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {
double const period = 0.004;

MotionFilterSettings settings(int order, double memory = 0.02) { return {order, memory, period}; }
} // namespace

TEST_CASE("a polynomial of its order is followed exactly, at uneven times and over lost samples") {
    Random random(11);
    for (int order = 0; order <= 3; ++order) {
        CAPTURE(order);
        MotionFilter<2> filter(settings(order));
        double const a[4] = {0.8, 0.2, 1.5, 10};
        auto const truth = [&](double t, int derivative) {
            double sum = 0;
            for (int k = order; k >= derivative; --k) {
                double f = a[k];
                for (int i = 0; i < derivative; ++i)
                    f *= k - i;
                sum = sum * t + f;
            }
            return sum;
        };
        double t = 0;
        for (int i = 0; i < 200; ++i) {
            double const value[2] = {truth(t, 0), -truth(t, 0)};
            REQUIRE(filter.add(t, value));
            t += period * (i % 17 == 5 ? 11 : random.uniform(0.5, 1.5));
        }
        double const now = filter.time() + 0.01;
        for (int n = 0; n <= order; ++n) {
            CAPTURE(n);
            // the error of the start, where nothing was known of derivatives, has died away but for 1e-9 of
            // it; the rest is rounding over the memory to the power n
            double const tolerance = 1e-9 * std::pow(1 / 0.02, n);
            CHECK(std::abs(filter.value(0, now, n) - truth(now, n)) < tolerance);
            CHECK(std::abs(filter.value(1, now, n) + truth(now, n)) < tolerance);
        }
        double sum = 0;
        for (int k = 3; k >= 0; --k)
            sum = sum * 0.01 + filter.coefficient(0, k);
        CHECK(near(sum, filter.value(0, now), 1e-12));
    }
}

TEST_CASE("with a long memory it is the least-squares polynomial, and varies as that does") {
    for (int order = 0; order <= 3; ++order) {
        CAPTURE(order);
        Random random(static_cast<std::uint64_t>(15 + order));
        int const count = 40;
        // long enough that over 0.16 s of samples nothing is left to chance: (0.16 s/memory)^(2·order + 2) of
        // the variance at most, 1e-4
        double const memories[] = {40, 4, 1, 0.5};
        MotionFilter<1> filter(settings(order, memories[order]), {1e-3});
        Eigen::MatrixXd powers(count, order + 1);
        Eigen::VectorXd values(count);
        double t = 0;
        std::vector<double> times;
        for (int i = 0; i < count; ++i) {
            values(i) = std::sin(20 * t) + 1e-3 * random.normal();
            REQUIRE(filter.add(t, {values(i)}));
            times.push_back(t);
            t += period * random.uniform(0.5, 1.5);
        }
        for (int i = 0; i < count; ++i)
            for (int k = 0; k <= order; ++k)
                powers(i, k) = std::pow((times[static_cast<std::size_t>(i)] - times.back()) / 0.1, k);
        Eigen::MatrixXd const inverse = (powers.transpose() * powers).inverse();
        Eigen::VectorXd const fit = inverse * (powers.transpose() * values);
        double factorial = 1;
        for (int n = 0; n <= order; ++n) {
            CAPTURE(n);
            factorial *= std::max(n, 1);
            double const scale = factorial / std::pow(0.1, n);
            double const now = filter.time();
            double const deviation = 1e-3 * scale * std::sqrt(inverse(n, n));
            // and what is known at the start counts as 1e-6 of a sample, of which the highest derivatives
            // feel more
            CHECK(std::abs(filter.value(0, now, n) - scale * fit(n)) < 0.02 * deviation);
            CHECK(near(std::sqrt(filter.variance(0, now, n)), deviation, 1e-3));
        }
    }
}

TEST_CASE("the noise is measured, and what a value is said to vary by is what it varies by") {
    // motion that is what the filter takes it for: the derivative of order + 1 is white
    for (int order = 0; order <= 3; ++order) {
        CAPTURE(order);
        Random random(static_cast<std::uint64_t>(20 + order));
        double const memory = 0.016;
        double const noise = 2e-6;
        int const fine = 40; // steps of the truth a sample
        double const h = period / fine;
        double const strength = noise * noise * period / std::pow(memory, 2 * order + 2);
        MotionFilter<1> filter(settings(order, memory));
        MotionFilter<1> told(settings(order, memory), {noise});
        double x[4] = {};
        double squares[3] = {};
        double said[3] = {};
        double surprises = 0;
        double measured = 0;
        int count = 0;
        double foretold[3][3]; // the last three forecasts for 1 to 3 samples ahead
        int const samples = static_cast<int>(std::max<std::size_t>(20000, runs(20000)));
        for (int i = 0; i < samples; ++i) {
            if (i > 1000) {
                for (int ahead = 1; ahead <= 3; ++ahead) {
                    double const off = foretold[(i - ahead) % 3][ahead - 1] - x[0];
                    squares[ahead - 1] += off * off;
                    said[ahead - 1] += told.variance(0, told.time() + ahead * period);
                }
                surprises += told.surprise(0) * told.surprise(0);
                measured += filter.noise(0) * filter.noise(0);
                ++count;
            }
            double const value[1] = {x[0] + noise * random.normal()};
            filter.add(i * period, value);
            told.add(i * period, value);
            for (int ahead = 1; ahead <= 3; ++ahead)
                foretold[i % 3][ahead - 1] = told.value(0, (i + ahead) * period);
            for (int k = 0; k < fine; ++k) {
                x[order] += random.normal() * std::sqrt(strength * h);
                for (int n = 0; n < order; ++n)
                    x[n] += h * x[n + 1];
            }
        }
        // means of 20000 squares that are correlated over some five samples: deviation √(2·5/20000) = 2.2 %;
        // the Euler steps of the truth are coarse by 1/40
        for (int ahead = 0; ahead < 3; ++ahead)
            CHECK(near(squares[ahead] / said[ahead], 1, 0.1));
        CHECK(near(surprises / count, noise * noise, 0.1));
        CHECK(near(measured / count, noise * noise, 0.1));
    }
}

TEST_CASE("measured rates make it follow faster and averages better") {
    Random random(31);
    double const noise = 5e-6;
    double squares[2] = {};
    MotionFilter<1> without(settings(2));
    MotionFilter<1> with({2, 0.02, period, 100});
    for (int i = 0; i < 5000; ++i) {
        double const t = i * period;
        double const value[1] = {std::sin(t) + noise * random.normal()};
        double const rate[1] = {std::cos(t) + 100 * noise * random.normal()};
        without.add(t, value);
        with.add(t, value, rate);
        if (i > 100) {
            squares[0] += std::pow(without.value(0, t + 0.012) - std::sin(t + 0.012), 2);
            squares[1] += std::pow(with.value(0, t + 0.012) - std::sin(t + 0.012), 2);
        }
    }
    CHECK(squares[1] < 0.6 * squares[0]);
    CHECK(with.variance(0, with.time() + 0.012) < 0.6 * without.variance(0, without.time() + 0.012));
}

TEST_CASE("what it refuses, and starting anew") {
    MotionFilter<1> filter(settings(1));
    double const nan = std::numeric_limits<double>::quiet_NaN();
    double const infinite = std::numeric_limits<double>::infinity();
    CHECK(filter.count() == 0);
    CHECK_FALSE(filter.ready());
    CHECK_FALSE(filter.add(nan, {1}));
    CHECK_FALSE(filter.add(0, {nan}));
    CHECK_FALSE(filter.add(0, {infinite}));
    CHECK_FALSE(filter.add(0, {1}, {nan}));
    for (int i = 0; i < 6; ++i) {
        CHECK_FALSE(filter.ready());
        CHECK(filter.add(i * period, {2.0 + 0.1 * i * period}));
        CHECK_FALSE(filter.add(i * period, {2}));
    }
    CHECK(filter.ready());
    CHECK(near(filter.value(0, 0.1), 2.01, 1e-6));
    // a gap of more than 50 memories: the past counts no more
    CHECK(filter.add(1.1, {7}));
    CHECK(filter.count() == 1);
    CHECK(filter.value(0, 1.2) == 7);
    filter.restart();
    CHECK(filter.count() == 0);
    CHECK(filter.add(0, {3}));

    CHECK(refusal_of([] {
              return MotionFilter<1>({4, 0.02, 0.004});
          }) == "motion filter: order is 4, but must be 0 to 3");
    CHECK(refusal_of([] {
              return MotionFilter<1>({2, 0.0005, 0.004});
          }) == "motion filter: memory is 0.0005, but must be at least a quarter of the period");
    CHECK(refusal_of([] {
              return MotionFilter<1>({2, 0.02, 0});
          }) == "motion filter: period is 0, but must be above 0");
    CHECK(refusal_of([] {
              return MotionFilter<1>({2, 0.02, 0.004}, {-1});
          }) == "motion filter: noise is -1, but must be 0 or above");
}

TEST_CASE("no heap while it runs") {
    MotionFilter<7> filter(settings(2));
    double const value[7] = {1, 2, 3, 1, 0, 0, 0};
    AllocationGuard const guard;
    for (int i = 0; i < 100; ++i)
        filter.add(i * period, value);
    auto const allocations = guard.count();
    CHECK(allocations == 0);
}
