#include "seamhold/statistics/tolerance_factor.hpp"

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/non_central_t.hpp>
#include <boost/math/quadrature/gauss.hpp>
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

double normal_below(double x) { return 0.5 * std::erfc(-x / std::sqrt(2.0)); }

/// How much of a standard normal variable lies between two values.
double content(double low, double high) { return normal_below(high) - normal_below(low); }

/// How far off limits of half width `half` may stand and still hold a share; negative where nowhere.
double farthest_offset(double half, double share) {
    if (content(-half, half) < share)
        return -1;
    double near = 0, far = half + 40;
    for (int i = 0; i < 200; ++i) {
        double const middle = (near + far) / 2;
        (content(middle - half, middle + half) >= share ? near : far) = middle;
    }
    return near;
}

/// The confidence of a two-sided factor, derived apart: integrated over the deviation instead of the mean.
double confidence_by_deviation(double parts, double degrees, double share, double factor) {
    boost::math::chi_squared const square(degrees);
    double const least = -boost::math::quantile(boost::math::normal(), (1 - share) / 2) / factor;
    double const most = std::sqrt(boost::math::quantile(boost::math::complement(square, 1e-17)) / degrees);
    if (least >= most)
        return 0;
    // The offset begins as a root of the ratio less the least: in x², nothing is left of that.
    double sum = 0;
    int const pieces = 96;
    for (int i = 0; i < pieces; ++i)
        sum += boost::math::quadrature::gauss<double, 20>::integrate(
            [&](double x) {
                double const ratio = least + (most - least) * x * x;
                double const offset = std::max(0.0, farthest_offset(factor * ratio, share));
                return boost::math::pdf(square, degrees * ratio * ratio) * 2 * degrees * ratio *
                       content(-std::sqrt(parts) * offset, std::sqrt(parts) * offset) * 2 * x *
                       (most - least);
            },
            static_cast<double>(i) / pieces, static_cast<double>(i + 1) / pieces);
    return sum;
}

} // namespace

TEST_CASE("a two-sided factor has its confidence, by another integral") {
    for (double const parts : {2.0, 5.0, 43.0, 400.0})
        for (double const share : {0.5, 0.95, 0.9999})
            for (double const confidence : {0.1, 0.95, 0.999}) {
                double const factor = normal_tolerance_factor(parts, share, confidence);
                CAPTURE(parts);
                CAPTURE(share);
                CAPTURE(confidence);
                // 1e-10 in the factor is some 1e-9 in the confidence for many parts; the other integral is
                // good to 1e-10.
                CHECK(std::abs(confidence_by_deviation(parts, parts - 1, share, factor) - confidence) < 1e-9);
                CHECK(std::abs(normal_tolerance_confidence(parts, share, factor) - confidence) < 1e-12);
            }
    // Deviations that come from more, or from less, than these parts.
    for (double const degrees : {3.0, 90.0, 3000.0, 1e5}) {
        CAPTURE(degrees);
        double const factor = normal_tolerance_factor(10, 0.99, 0.95, degrees);
        CHECK(std::abs(confidence_by_deviation(10, degrees, 0.99, factor) - 0.95) < 1e-9);
    }
}

TEST_CASE("with a deviation that is known, only the mean's offset is left") {
    // Degrees without end: the mean may be off by z/√n, for which limits must reach so far.
    double const offset = -boost::math::quantile(boost::math::normal(), 0.025) / std::sqrt(10.0);
    double const factor = normal_tolerance_factor(10, 0.99, 0.95, 1e5);
    CHECK(std::abs(content(offset - factor, offset + factor) - 0.99) < 1e-5); // 1/degrees
}

TEST_CASE("a one-sided factor is a quantile of the non-central t distribution") {
    double worst = 0;
    for (double const parts : {2.0, 3.0, 10.0, 43.0, 300.0, 1e4})
        for (double const share : {0.3, 0.9, 0.99, 0.9999})
            for (double const confidence : {0.05, 0.5, 0.95, 0.9999}) {
                double const factor = one_sided_tolerance_factor(parts, share, confidence);
                boost::math::non_central_t const t(
                    parts - 1, boost::math::quantile(boost::math::normal(), share) * std::sqrt(parts));
                CAPTURE(parts);
                CAPTURE(share);
                CAPTURE(confidence);
                // Boost's distribution in doubles is good to some 1e-12 of itself.
                double const reached = boost::math::cdf(t, factor * std::sqrt(parts));
                CHECK(std::abs(reached - confidence) < 1e-11);
                CHECK(std::abs(one_sided_tolerance_confidence(parts, share, factor) - confidence) < 1e-12);
                worst = std::max(worst, std::abs(reached - confidence));
            }
    // Deviations that come from more, or from less, than these parts.
    struct Case {
        double parts, degrees, share;
    };
    for (auto const& c : {Case{10, 3000, 0.9}, Case{1e6, 200, 0.502}, Case{1e6, 200, 0.9},
                          Case{3, 30000, 0.4}, Case{60, 3, 0.994}, Case{60, 1, 0.006}}) {
        CAPTURE(c.parts);
        double const factor = one_sided_tolerance_factor(c.parts, c.share, 0.95, c.degrees);
        boost::math::non_central_t const t(c.degrees, boost::math::quantile(boost::math::normal(), c.share) *
                                                          std::sqrt(c.parts));
        CHECK(std::abs(boost::math::cdf(t, factor * std::sqrt(c.parts)) - 0.95) < 1e-11);
    }
    MESSAGE("confidence of one-sided factors, farthest from Boost's non-central t: " << worst);
}

TEST_CASE("limits of a few normal parts hold the share as often as they say") {
    Random random(2026112701);
    std::size_t const trials = runs(100000);
    for (int const parts : {4, 12}) {
        double const two = normal_tolerance_factor(parts, 0.9, 0.95),
                     one = one_sided_tolerance_factor(parts, 0.9, 0.95),
                     shared = normal_tolerance_factor(parts, 0.9, 0.95, 5.0 * (parts - 1));
        double const z = boost::math::quantile(boost::math::normal(), 0.9);
        double held = 0, held_one = 0, held_shared = 0;
        for (std::size_t i = 0; i < trials; ++i) {
            double sum = 0, squares = 0;
            for (int k = 0; k < parts; ++k) {
                double const x = random.normal();
                sum += x;
                squares += x * x;
            }
            double const mean = sum / parts, rest = squares - sum * mean;
            double const deviation = std::sqrt(rest / (parts - 1));
            held += content(mean - two * deviation, mean + two * deviation) >= 0.9 ? 1 : 0;
            held_one += mean + one * deviation >= z ? 1 : 0;
            double more = rest; // of four other places with deviations of their own
            for (int k = 0; k < 4 * (parts - 1); ++k)
                more += sqr(random.normal());
            double const pooled = std::sqrt(more / (5 * (parts - 1)));
            held_shared += content(mean - shared * pooled, mean + shared * pooled) >= 0.9 ? 1 : 0;
        }
        // Four deviations of a share of 0.95 in so many trials.
        double const luck = 4 * std::sqrt(0.95 * 0.05 / static_cast<double>(trials));
        CAPTURE(parts);
        CHECK(std::abs(held / static_cast<double>(trials) - 0.95) < luck);
        CHECK(std::abs(held_one / static_cast<double>(trials) - 0.95) < luck);
        CHECK(std::abs(held_shared / static_cast<double>(trials) - 0.95) < luck);
    }
}

TEST_CASE("factors fall with more parts to the normal quantile, and say how many parts that takes") {
    double before = std::numeric_limits<double>::infinity();
    double const z = boost::math::quantile(boost::math::normal(), 0.995);
    for (double const parts : {2.0, 3.0, 10.0, 100.0, 1e4, 1e6, 1e8}) {
        double const factor = normal_tolerance_factor(parts, 0.99, 0.95);
        CHECK(factor < before);
        CHECK(factor > z);
        before = factor;
    }
    // 1.645 deviations of a deviation, 1/√(2n) of itself, at 1e8 parts; what is left is some 2/n.
    CHECK(std::abs(before / z - 1 - 1.6449 / std::sqrt(2e8)) < 3e-8);
    for (double const excess : {2.0, 0.3, 0.05}) {
        auto const parts = parts_for_factor(0.99, 0.95, excess);
        CAPTURE(parts);
        CHECK(normal_tolerance_factor(static_cast<double>(parts), 0.99, 0.95) <= (1 + excess) * z);
        CHECK(normal_tolerance_factor(static_cast<double>(parts - 1), 0.99, 0.95) > (1 + excess) * z);
    }
    CHECK(parts_for_factor(0.99, 0.95, 1e6) == 2);
}

TEST_CASE("small confidences and shares near their ends keep their digits") {
    // For rare misses a factor of 2 parts grows as 1/miss: P(|t| small) is even near 0.
    double const a = normal_tolerance_factor(2, 0.9, 1 - 1e-6), b = normal_tolerance_factor(2, 0.9, 1 - 1e-7);
    CHECK(std::abs(b / a - 10) < 1e-5);
    double const c = one_sided_tolerance_factor(2, 0.9, 1 - 1e-6),
                 d = one_sided_tolerance_factor(2, 0.9, 1 - 1e-7);
    CHECK(std::abs(d / c - 10) < 1e-5);
    // Limits on one side and on the other are mirrored.
    CHECK(std::abs(one_sided_tolerance_factor(9, 0.2, 0.3) + one_sided_tolerance_factor(9, 0.8, 0.7)) <
          1e-12);
    CHECK(is_finite(normal_tolerance_factor(30, 1 - 1e-12, 0.95)));
    CHECK(is_finite(normal_tolerance_factor(30, 1e-6, 1e-6)));
}

TEST_CASE("what makes no tolerance limits is refused and named") {
    double const nan = std::numeric_limits<double>::quiet_NaN(), infinity = HUGE_VAL;
    for (double const share : {0.0, 1.0, -1.0, nan}) {
        CHECK(has(refusal_of([&] { return normal_tolerance_factor(9, share, 0.9); }), "coverage"));
        CHECK(has(refusal_of([&] { return normal_tolerance_factor(9, 0.9, share); }), "confidence"));
        CHECK(has(refusal_of([&] { return one_sided_tolerance_factor(9, share, 0.9); }), "coverage"));
        CHECK(has(refusal_of([&] { return one_sided_tolerance_factor(9, 0.9, share); }), "confidence"));
        CHECK(has(refusal_of([&] { return normal_tolerance_confidence(9, share, 3); }), "coverage"));
        CHECK(has(refusal_of([&] { return one_sided_tolerance_confidence(9, share, 3); }), "coverage"));
        CHECK(has(refusal_of([&] { return parts_for_factor(share, 0.9, 1); }), "coverage"));
        CHECK(has(refusal_of([&] { return parts_for_factor(0.9, share, 1); }), "confidence"));
    }
    for (double const parts : {1.0, 0.0, -3.0, nan})
        CHECK(has(refusal_of([&] { return normal_tolerance_factor(parts, 0.9, 0.9); }), "2 parts or more"));
    CHECK(has(refusal_of([&] { return normal_tolerance_factor(infinity, 0.9, 0.9); }), "finite"));
    for (double const degrees : {0.0, nan, infinity})
        CHECK(has(refusal_of([&] { return normal_tolerance_factor(9, 0.9, 0.9, degrees); }), "degrees"));
    CHECK(has(refusal_of([] { return normal_tolerance_factor(9, 0.9, 0.9, 1e6); }), "10000 a part"));
    CHECK(has(refusal_of([] { return one_sided_tolerance_factor(1e6, 0.9, 0.9, 9); }), "10000 a part"));
    for (double const factor : {0.0, -1.0, nan, infinity})
        CHECK(has(refusal_of([&] { return normal_tolerance_confidence(9, 0.9, factor); }), "factor"));
    CHECK(has(refusal_of([&] { return one_sided_tolerance_confidence(9, 0.9, infinity); }), "factor"));
    for (double const excess : {0.0, -1.0, nan, 1e-9})
        CHECK(has(refusal_of([&] { return parts_for_factor(0.9, 0.9, excess); }), "excess"));
}
