#include "seamhold/live/spot_course.hpp"

#include <doctest/doctest.h>

#include "support/numbers.hpp"
#include "support/random.hpp"

#include <cmath>

using namespace seamhold;
using namespace seamhold::test;

namespace {
double const period = 0.004;
} // namespace

TEST_CASE("the course of a spot: its place, velocity and moments") {
    FlangeSpot const spot{{0.1, 0, 0.4}};
    Predictor<7> predictor({period});
    Random random(67);
    double const noise = 3e-6;
    for (int i = 0; i < 3000; ++i) {
        double const t = i * period;
        // turning about z at 0.5 rad/s, moving along y
        double const half = 0.25 * t;
        Sample<7> const sample{{t},
                               {1 + noise * random.normal(), 0.1 * t + noise * random.normal(),
                                noise * random.normal(), std::cos(half), 0, 0, std::sin(half)},
                               {},
                               false,
                               SampleKind::measured};
        predictor.add(sample);
    }
    double const t = 2999 * period;
    double const angle = 0.5 * t;
    auto const course = spot_course(predictor, spot, 0.002);
    CHECK(course.newest.seconds == t);
    CHECK(std::abs(course.seen.x - 1 - 0.1 * std::cos(angle)) < 5 * noise);
    CHECK(std::abs(course.seen.z - 0.4) < 5 * noise);
    // a rate from a few samples with noise: noise over the period
    CHECK(std::abs(course.velocity.x + 0.05 * std::sin(angle)) < noise / period);
    CHECK(std::abs(course.velocity.y - 0.1 - 0.05 * std::cos(angle)) < noise / period);
    // rotation is without noise and a point's place follows the origin one to one
    CHECK(near(std::sqrt(course.noise[0]), noise, 0.2));
    CHECK(near(std::sqrt(course.noise[1]), noise, 0.2));
    CHECK(std::abs(course.noise[3]) < 1e-3 * course.noise[0]);
    for (std::size_t k = 0; k < SpotError::count; ++k) {
        double const then = t + 0.002 * static_cast<double>(k + 1);
        CHECK(std::abs(course.place[k].y - 0.1 * then - 0.1 * std::sin(0.5 * then)) <
              5 * std::sqrt(course.moment[k][1]) + 1e-6);
        CHECK((k == 0 || course.moment[k][0] > course.moment[k - 1][0]));
    }
}

TEST_CASE("before a sample came a course is all 0") {
    auto const course = spot_course(Predictor<7>({period}), FlangeSpot{{0.1, 0, 0.4}}, 0.002);
    CHECK(course.newest.seconds == 0);
    CHECK(course.seen.x == 0);
    CHECK(course.place[7].z == 0);
    CHECK(course.moment[7][0] == 0);
}
