#include "seamhold/budget/sources_from.hpp"

#include <doctest/doctest.h>

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

// Results of calibrations as sources.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double without_end = std::numeric_limits<double>::infinity();

PoseCovariance some_covariance() {
    PoseCovariance c = PoseCovariance::Zero();
    for (int i = 0; i < 6; ++i)
        c(i, i) = i < 3 ? 1e-8 : 4e-10;
    c(1, 3) = c(3, 1) = 1e-9;
    return c;
}

} // namespace

TEST_CASE("a mount's and a part's covariance, wider where few rows told the deviation") {
    MountFit fit{};
    fit.covariance = some_covariance();
    fit.degrees_of_freedom = without_end;
    CHECK(has(refusal_of([&] { return mount_source(fit); }), "larger than reading explains"));
    fit.plausible = true;
    CHECK(mount_source(fit).covariance == some_covariance());
    CHECK(mount_source(fit).place.first == error_on_head.first);
    CHECK(mount_source(fit).name == "mount");
    fit.degrees_of_freedom = 12; // Student's t has the variance 12/10
    CHECK(mount_source(fit).covariance(1, 3) == doctest::Approx(1.2e-9));
    CHECK(mount_source(fit).deviation_of(0) == doctest::Approx(std::sqrt(1.2) * 1e-4));
    fit.degrees_of_freedom = 2;
    CHECK(has(refusal_of([&] { return mount_source(fit); }), "more than 2"));

    PartFit part{};
    part.covariance = some_covariance();
    part.degrees_of_freedom = 12;
    CHECK(part_source(part).covariance(1, 3) == doctest::Approx(1.2e-9));
    CHECK(part_source(part).place.first == error_on_part.first);
    part.plausible = false;
    CHECK(has(refusal_of([&] { return part_source(part); }), "more than touching explains"));
    part.plausible = true;
    part.covariance.diagonal().setConstant(without_end); // nothing tells the deviation
    part.degrees_of_freedom = 0;
    CHECK(has(refusal_of([&] { return part_source(part); }), "part placement"));
    part.degrees_of_freedom = without_end;
    CHECK(has(refusal_of([&] { return part_source(part); }), "not finite"));
    CHECK(has(refusal_of([&] { return part_source(some_covariance(), 1); }), "part placement"));
}

TEST_CASE("clocks, focus and field") {
    // 20 numbers from 80 readings of 60 um: 60 √(20/80) = 30 um, the same over the seam (by hand).
    auto const left = fitted_head_source(6e-5, 20, 80);
    CHECK(left.deviation_of(0) == doctest::Approx(3e-5));
    CHECK(left.deviation_of(1) == doctest::Approx(3e-5));
    CHECK(left.kind == ErrorKind::systematic);
    CHECK(has(refusal_of([] { return fitted_head_source(6e-5, 20, 20); }), "20 numbers cannot be fitted"));
    CHECK(clock_source({0.003, 2e-4}).deviation_of(0) == doctest::Approx(2e-4));
    CHECK(clock_source({0.003, 2e-4, 4}).deviation_of(1) == doctest::Approx(2e-4 * std::sqrt(2.0)));
    CHECK(clock_source({0.003, 2e-4}).mean_of(0) == 0); // the offset is applied
    CHECK(has(refusal_of([] { return clock_source({0.003, 2e-4, 1}); }), "clock"));
    CHECK(focus_source({0.5, 3e-4, 6}).deviation_of(0) == doctest::Approx(3e-4 * std::sqrt(1.5)));
    // Distances of two numbers each: x² + y².
    CHECK(field_source(30e-6).deviation_of(0) == doctest::Approx(30e-6 / std::sqrt(2.0)));
    CHECK(has(refusal_of([] { return field_source(-1e-6); }), "negative"));
}

TEST_CASE("a path in two sources") {
    PathScatter scatter{};
    scatter.mean = {1e-4, 0, 0, 2e-5, 0, -3e-5};
    scatter.along_path = some_covariance();
    scatter.repeats = 0.25 * some_covariance();
    auto const sources = path_sources(scatter);
    REQUIRE(sources.size() == 2);
    CHECK(sources[0].kind == ErrorKind::systematic);
    CHECK(sources[0].mean_of(5) == -3e-5);
    CHECK(sources[0].covariance == some_covariance());
    CHECK(sources[1].kind == ErrorKind::random);
    CHECK(sources[1].covariance(1, 3) == doctest::Approx(0.25e-9));
    CHECK(sources[0].name != sources[1].name);
    CHECK(path_sources(scatter, 0.5)[0].kind == ErrorKind::slow);
    CHECK(path_sources(scatter, 0.5)[0].correlation_time == 0.5);
}

TEST_CASE("a deviation from RP of ISO 9283, by drawing") {
    // l̄ + 3 S of distances from the middle of places with deviation 1 along each axis.
    Random random(88801);
    std::size_t const n = 200'000;
    double sum = 0, squares = 0;
    for (std::size_t i = 0; i < n; ++i) {
        double const x = random.normal(), y = random.normal(), z = random.normal();
        double const distance = std::sqrt(x * x + y * y + z * z);
        sum += distance;
        squares += distance * distance;
    }
    double const mean = sum / static_cast<double>(n);
    double const repeatability = mean + 3 * std::sqrt(squares / static_cast<double>(n) - mean * mean);
    CHECK(deviation_of_repeatability(repeatability) == doctest::Approx(1).epsilon(0.005));
    CHECK(has(refusal_of([] { return deviation_of_repeatability(-1e-5); }), "0 or more"));
}
