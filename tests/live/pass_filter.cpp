#include "seamhold/live/pass_filter.hpp"

#include <doctest/doctest.h>

#include "support/numbers.hpp"
#include "support/random.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

using namespace seamhold::detail;
using seamhold::test::near;
using seamhold::test::Random;
using seamhold::test::runs;

namespace {

PassModel const model{40e-6, 0.25, 0, 1e-4, 0};

struct Line {
    PassComponents value, slope;
};
// A course that bends: an ellipse in two of the seven components, once round in 2 s.
Line course(double t) {
    double const w = 3.14159;
    return {{0.1 * std::cos(w * t), 0.07 * std::sin(w * t), 0, 0, 0, 0, 0},
            {-0.1 * w * std::sin(w * t), 0.07 * w * std::cos(w * t), 0, 0, 0, 0, 0}};
}

} // namespace

TEST_CASE("two steps of a deviation are one, and a stationary one stays as it is") {
    Random random(720);
    for (std::size_t i = 0; i < runs(1000); ++i) {
        double const a = random.uniform(0, 0.3), b = random.uniform(0, 0.3), v = 40e-6 * 40e-6;
        PassFilter::Step const first(a, model), second(b, model), both(a + b, model);
        auto const same = [](double x, double want, double size) {
            CHECK(std::abs(x - want) <= 1e-12 * size);
        };
        same(second.value * first.value + second.value_by_slope * first.slope_by_value, both.value, 1);
        same(second.value * first.value_by_slope + second.value_by_slope * first.slope, both.value_by_slope,
             1);
        same(second.slope_by_value * first.value + second.slope * first.slope_by_value, both.slope_by_value,
             4);
        same(second.slope_by_value * first.value_by_slope + second.slope * first.slope, both.slope, 1);
        // What chance added in the first step goes through the second.
        double const f = second.value, g = second.value_by_slope, h = second.slope_by_value, k = second.slope;
        same(f * f * first.q_value + 2 * f * g * first.q_both + g * g * first.q_slope + second.q_value,
             both.q_value, v);
        same(f * h * first.q_value + (f * k + g * h) * first.q_both + g * k * first.q_slope + second.q_both,
             both.q_both, 4 * v);
        same(h * h * first.q_value + 2 * h * k * first.q_both + k * k * first.q_slope + second.q_slope,
             both.q_slope, 16 * v);
        // Long after, it is as if nothing had been known: (1 + |Δ|/τ) e^(−|Δ|/τ) is what is left.
        same(both.value, (1 + (a + b) / 0.25) * std::exp(-(a + b) / 0.25), 1);
    }
    PassFilter::Step const long_after(100, model);
    CHECK(near(long_after.q_value, 40e-6 * 40e-6, 1e-12));
    CHECK(near(long_after.q_slope, 160e-6 * 160e-6, 1e-12));
}

TEST_CASE(
    "program time and deviation are told apart once the course bends, and errors are as large as stated") {
    Random random(721);
    double squares = 0, far = 0;
    std::size_t const count = runs(300);
    for (std::size_t n = 0; n < count; ++n) {
        PassFilter filter;
        filter.start(0.3, 5e-3, 1, 0, model);
        // The truth: off by as much as the filter allows for, a deviation that is a wave of its kind.
        double const shift = 5e-3 * random.normal();
        double const size[2] = {40e-6 * random.normal(), 40e-6 * random.normal()};
        double t = 0;
        for (int i = 0; i < 500; ++i, t += 0.004) {
            if (i > 0)
                filter.go_on(0.004, model);
            auto sample = course(0.3 + shift + t).value;
            for (std::size_t d = 0; d < 2; ++d)
                sample[d] += size[d] * std::cos(2 * t);
            for (double& c : sample)
                c += 1e-5 * random.normal();
            filter.take_in(sample, course, model, 1e-10);
        }
        double const off = filter.program_time() - (0.3 + shift + t - 0.004);
        squares +=
            off * off / (filter.time_uncertainty() * filter.time_uncertainty()) / static_cast<double>(count);
        far += std::abs(off) / static_cast<double>(count);
    }
    MESSAGE("program's time off by " << far << " s in the mean; mean square over what is stated " << squares);
    CHECK(far <= 0.1e-3); // 5 ms before
    CHECK(squares <= 1.5);
}

TEST_CASE("a deviation goes on as a cubic by its own law, slower in a slower program") {
    // Put in exactly: one component, value and slope by two samples without noise.
    auto const still = [](double) { return Line{}; };
    for (double const rate : {1.0, 0.4}) {
        PassFilter filter;
        filter.start(0, 0, rate, 0, model);
        PassComponents sample{};
        sample[2] = 30e-6;
        filter.take_in(sample, still, model, 1e-18);
        filter.go_on(0.004, model);
        sample[2] = 31e-6;
        filter.take_in(sample, still, model, 1e-18);
        // d(Δ) = e^(−wΔ) (d + (d′ + w d) Δ), the critically damped motion, at the program's Δ = rate · time.
        double const w = 4, d = filter.coefficient(2, 0, model),
                     slope = filter.coefficient(2, 1, model) / rate;
        CHECK(near(d, 31e-6, 1e-3));
        CHECK(near(slope, 1e-6 / 0.004 / rate, 0.2));
        for (double const dt : {0.002, 0.01, 0.02}) {
            double const way = rate * dt, want = std::exp(-w * way) * (d + (slope + w * d) * way);
            double got = 0, power = 1;
            for (int k = 0; k < 4; ++k, power *= dt)
                got += power * filter.coefficient(2, k, model);
            CHECK(std::abs(got - want) <=
                  1e-4 * std::pow(way * w, 4) + 1e-12); // the fourth order is left out
        }
    }
}

TEST_CASE("on a straight course it is the best linear estimate, and states how good that is") {
    // All samples at once, by the covariances of a Gaussian process: sample i of component d is
    // slope_d · (time off + rate off · t_i) + deviation_d(t_i) + noise.
    Random random(722);
    PassModel const straight{40e-6, 0.25, 0, 0, 0};
    double const slope[2] = {0.2, -0.05}, time_off = 0.2e-3, rate_off = 0.01, variance = 1e-10;
    auto const line = [&](double t) {
        Line r{};
        for (std::size_t d = 0; d < 2; ++d) {
            r.slope[d] = slope[d];
            r.value[d] = slope[d] * t;
        }
        return r;
    };
    auto const alike = [&](double way) {
        double const x = std::abs(way) / straight.variation;
        return straight.deviation * straight.deviation * (1 + x) * std::exp(-x);
    };
    int const count = 20;
    double const ahead = 0.04;
    Eigen::MatrixXd all(2 * count, 2 * count), there(2 * count, 2);
    Eigen::VectorXd samples(2 * count);
    Eigen::Matrix2d own;
    PassFilter filter;
    filter.start(0, time_off, 1, rate_off, straight);
    std::array<double, 20> t{};
    for (int i = 0; i < count; ++i)
        t[static_cast<std::size_t>(i)] =
            i == 0 ? 0 : t[static_cast<std::size_t>(i) - 1] + random.uniform(0.001, 0.009);
    double const then = t[19] + ahead;
    auto const common = [&](double a, double b) { return time_off * time_off + rate_off * rate_off * a * b; };
    for (int i = 0; i < 2 * count; ++i) {
        auto const d = static_cast<std::size_t>(i / count);
        double const at = t[static_cast<std::size_t>(i % count)];
        samples[i] = 3e-5 * random.normal();
        for (int k = 0; k < 2 * count; ++k) {
            auto const e = static_cast<std::size_t>(k / count);
            double const other = t[static_cast<std::size_t>(k % count)];
            all(i, k) = slope[d] * slope[e] * common(at, other) + (d == e ? alike(at - other) : 0) +
                        (i == k ? variance : 0);
        }
        for (int e = 0; e < 2; ++e)
            there(i, e) =
                slope[d] * slope[e] * common(at, then) + (static_cast<int>(d) == e ? alike(at - then) : 0);
    }
    for (int e = 0; e < 2; ++e)
        for (int f = 0; f < 2; ++f)
            own(e, f) = slope[e] * slope[f] * common(then, then) + (e == f ? alike(0) : 0);
    auto const solver = all.ldlt();
    Eigen::Vector2d const mean = there.transpose() * solver.solve(samples);
    Eigen::Matrix2d const left = own - there.transpose() * solver.solve(there);

    for (int i = 0; i < count; ++i) {
        double const at = t[static_cast<std::size_t>(i)];
        if (i > 0)
            filter.go_on(at - t[static_cast<std::size_t>(i) - 1], straight);
        PassComponents sample{};
        for (int d = 0; d < 2; ++d)
            sample[static_cast<std::size_t>(d)] = slope[d] * at + samples[d * count + i];
        filter.take_in(sample, line, straight, variance);
    }
    PassComponents const slopes = line(0).slope;
    std::array<PassComponents, 3> by{};
    by[0][0] = by[1][1] = by[2][2] = 1;
    auto const m = filter.moments(ahead, by, slopes, straight, 0);
    for (std::size_t d = 0; d < 2; ++d) {
        auto const e = static_cast<Eigen::Index>(d);
        double predicted = slope[d] * (filter.program_time() + filter.rate() * ahead - then), power = 1;
        for (int k = 0; k < 4; ++k, power *= ahead)
            predicted += power * filter.coefficient(d, k, straight);
        // The filter's steps are as long as it believes the program to have gone, here within 1 %.
        CHECK(std::abs(predicted - mean[e]) <= 0.005 * std::sqrt(left(e, e)));
        CHECK(near(m[d], left(e, e), 0.02));
    }
    CHECK(near(m[3], left(0, 1), 0.02));
    // Of the rows of the pass themselves.
    CHECK(near(filter.moments(ahead, by, slopes, straight, 1e-10)[2] - m[2], 1e-10, 1e-9));
}
