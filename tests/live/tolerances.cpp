#include "seamhold/live/tolerances.hpp"

#include "support/random.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>

// Tolerances and the longest blind time.

using namespace seamhold;
using namespace seamhold::test;

namespace {

SpotDirections const axes{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
Tolerances const tolerances{30e-6, 200e-6, 900e-6};

/// Errors that grow with the horizon in steps of 2 ms: standard deviation `at_one` · k^power in x, y and z.
SpotError growing(double x, double y, double z, double power) {
    SpotError error{0.002, {}, 3};
    for (std::size_t i = 0; i < SpotError::count; ++i) {
        double const growth = std::pow(static_cast<double>(i + 1), 2 * power);
        error.moment[i][0] = x * x * growth;
        error.moment[i][1] = y * y * growth;
        error.moment[i][2] = z * z * growth;
    }
    return error;
}

} // namespace

TEST_CASE("default tolerances") {
    auto const t = default_tolerances(300e-6, 3e-3);
    CHECK(t.across == doctest::Approx(30e-6).epsilon(1e-15));
    CHECK(t.along == 0.2e-3);
    CHECK(t.focus == doctest::Approx(0.9e-3).epsilon(1e-15));
    for (double const bad : {0.0, -1e-3, double(NAN), double(INFINITY)}) {
        CHECK_THROWS_WITH_AS(static_cast<void>(default_tolerances(bad, 3e-3)),
                             doctest::Contains("spot's diameter must be above 0"), BadInput);
        CHECK_THROWS_WITH_AS(static_cast<void>(default_tolerances(300e-6, bad)),
                             doctest::Contains("Rayleigh length must be above 0"), BadInput);
    }
}

TEST_CASE("the stated error is told apart along the seam's directions") {
    auto const error = growing(1e-6, 2e-6, 3e-6, 1);
    auto const stated = stated_error(error, axes, 0.008); // entry 4: four times the first, times the factor
    CHECK(stated.across == doctest::Approx(12e-6).epsilon(1e-12));
    CHECK(stated.along == doctest::Approx(24e-6).epsilon(1e-12));
    CHECK(stated.focus == doctest::Approx(36e-6).epsilon(1e-12));
    CHECK(Deviations::same(2).focus == 2);
}

TEST_CASE("the longest blind time by hand") {
    // 3 · 2.5 µm · k reaches 30 µm across at k = 4, on an entry: 8 ms.
    CHECK(longest_blind_time(growing(2.5e-6, 1e-6, 1e-6, 1), axes, tolerances) ==
          doctest::Approx(0.008).epsilon(1e-10));
    // Along: 3 · 20 µm · √k reaches 200 µm at k = 100/9, beyond the last entry of 3 · 20 µm · √8: from there
    // with the cube of the horizon, 16 ms · (200 / (60 √8))^(1/3).
    CHECK(longest_blind_time(growing(1e-9, 20e-6, 1e-6, 0.5), axes, tolerances) ==
          doctest::Approx(0.016 * std::cbrt(200 / (60 * std::sqrt(8.0)))).epsilon(1e-10));
    // Focus: between entries 5 and 6 the square is linear: 3 · 50 µm · k, 900 µm at k = 6; with 100 µm used
    // up 800 µm: 25 + share · 11 = (800 / 150)².
    CHECK(longest_blind_time(growing(1e-9, 1e-9, 50e-6, 1), axes, tolerances, {0, 0, 100e-6}) ==
          doctest::Approx(0.002 * (5 + (sqr(800.0 / 150) - 25) / 11)).epsilon(1e-10));
    // What is used up across and along.
    CHECK(longest_blind_time(growing(2.5e-6, 1e-6, 1e-6, 1), axes, tolerances, {7.5e-6, 0, 0}) ==
          doctest::Approx(0.006).epsilon(1e-10));
    CHECK(longest_blind_time(growing(1e-9, 25e-6, 1e-6, 1), axes, tolerances, {0, 50e-6, 0}) ==
          doctest::Approx(0.004).epsilon(1e-10));
    // Never, and too much from the start.
    CHECK(longest_blind_time(growing(0, 0, 0, 1), axes, tolerances, {0, 0, 0}, 0.25) ==
          doctest::Approx(0.25).epsilon(1e-10));
    CHECK(longest_blind_time(growing(1e-10, 1e-10, 1e-10, 1), axes, tolerances, {0, 0, 0}, 0.25) ==
          doctest::Approx(0.25).epsilon(1e-10));
    CHECK(longest_blind_time(growing(10.01e-6, 0, 0, 1), axes, tolerances) == 0);
    CHECK(longest_blind_time(growing(2.5e-6, 0, 0, 1), axes, tolerances, {31e-6, 0, 0}) == 0);
}

TEST_CASE("no blind time where something is not finite") {
    auto const good = growing(2.5e-6, 1e-6, 1e-6, 1);
    for (double const bad : {double(NAN), double(INFINITY), double(-INFINITY)}) {
        for (std::size_t k = 0; k < 3; ++k) {
            auto error = good;
            error.moment[0][k] = bad;
            CHECK(longest_blind_time(error, axes, tolerances) == 0);
            error = good;
            error.moment[2][k] = bad;
            double const time = longest_blind_time(error, axes, tolerances);
            CHECK(is_finite(time));
            CHECK(time <= 0.004); // entry 2 is the last that is known
        }
        auto error = good;
        error.factor = bad;
        CHECK(longest_blind_time(error, axes, tolerances) == 0);
        error = good;
        error.step = bad;
        CHECK(longest_blind_time(error, axes, tolerances) == 0);
        CHECK(longest_blind_time(good, axes, {bad, 1, 1}) == 0);
        CHECK(longest_blind_time(good, axes, {1, bad, 1}) == 0);
        CHECK(longest_blind_time(good, axes, {1, 1, bad}) == 0);
        CHECK(longest_blind_time(good, axes, tolerances, {bad, 0, 0}) == 0);
        CHECK(longest_blind_time(good, axes, tolerances, {0, 0, 0}, bad) == 0);
        auto turned = axes;
        turned.across.y = bad;
        CHECK(longest_blind_time(good, turned, tolerances) == 0);
    }
    auto error = good;
    error.step = 0;
    CHECK(longest_blind_time(error, axes, tolerances) == 0);
}

TEST_CASE("up to the longest blind time all is within tolerance, right after it something is not") {
    Random random(611);
    std::size_t wrong = 0, inside = 0, beyond_last = 0;
    for (std::size_t run = 0; run < runs(2000); ++run) {
        SpotError error{random.uniform(0.5e-3, 4e-3), {}, random.uniform(1, 4)};
        double const size = std::pow(10, random.uniform(-7, -5));
        // Sums of squares, so that M grows in every direction.
        for (std::size_t i = 0; i < SpotError::count; ++i) {
            if (i > 0)
                for (std::size_t k = 0; k < 6; ++k)
                    error.moment[i][k] = error.moment[i - 1][k];
            double const grown = size * std::pow(1.4, static_cast<double>(i));
            double const v[] = {grown * random.normal(), grown * random.normal(), grown * random.normal()};
            double const add[] = {v[0] * v[0], v[1] * v[1], v[2] * v[2],
                                  v[0] * v[1], v[0] * v[2], v[1] * v[2]};
            for (std::size_t k = 0; k < 6; ++k)
                error.moment[i][k] += add[k];
        }
        auto const direction = [&] {
            auto const u = random.on_sphere<3>();
            return Direction<Cell>{u[0], u[1], u[2]};
        };
        SpotDirections const directions{direction(), direction(), direction()};
        Tolerances const allowed{random.uniform(10e-6, 100e-6), random.uniform(50e-6, 300e-6),
                                 random.uniform(100e-6, 900e-6)};
        auto const within = [&](double horizon) {
            auto const e = stated_error(error, directions, horizon);
            return e.across <= allowed.across && e.along <= allowed.along && e.focus <= allowed.focus;
        };
        double const longest = 0.2;
        double const time = longest_blind_time(error, directions, allowed, {0, 0, 0}, longest);
        if (time == 0) {
            wrong += within(1e-9);
            continue;
        }
        ++inside;
        beyond_last += time > error.step * SpotError::count;
        for (int i = 0; i <= 50; ++i)
            wrong += !within(time * i / 50);
        // A step that is larger than the rounding of two squares' difference.
        wrong += time < longest * (1 - 1e-9) && within(time * (1 + 1e-9) + 1e-12);
    }
    CHECK(wrong == 0);
    CHECK(inside > runs(1000));
    CHECK(beyond_last > runs(100));
}
