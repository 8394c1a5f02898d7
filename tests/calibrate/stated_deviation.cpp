#include "seamhold/calibrate/mount.hpp"
#include "seamhold/calibrate/part_calibration.hpp"

#include <doctest/doctest.h>

#include "calibrate/mount_cells.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <vector>

// What was stated beforehand and the data contradict, and rows that were entered twice.

using namespace seamhold;
using namespace seamhold::test;

namespace {

/// Twenty corners of a part that lies as it is drawn, touched with noise of a deviation, m.
std::vector<PartTouch> touched_corners(Random& random, double noise) {
    std::vector<PartTouch> touches;
    for (int i = 0; i < 20; ++i) {
        Point<Part> const p{random.uniform(-0.3, 0.3), random.uniform(-0.3, 0.3), random.uniform(0, 0.2)};
        touches.push_back(PointTouch{
            p,
            {p.x + noise * random.normal(), p.y + noise * random.normal(), p.z + noise * random.normal()}});
    }
    return touches;
}

} // namespace

TEST_CASE("touches that scatter more than was stated keep their weight, and their scatter counts") {
    // 2026-11-27: a stated deviation a quarter of the true one left out half of the touches and gave
    // intervals of its own size.
    Random random(850);
    PartOptions options;
    options.deviation = 25e-6;
    std::size_t left_out = 0;
    for (int i = 0; i < 20; ++i) {
        auto const fit = fit_part(touched_corners(random, 1e-4), options);
        left_out += fit.outliers.size();
        CHECK(fit.deviation > 7e-5); // 100 um, of 54 degrees of freedom: within 3 deviations of a tenth
        CHECK(fit.deviation < 1.3e-4);
        CHECK(is_finite(fit.degrees_of_freedom));
        REQUIRE_FALSE(fit.remarks.empty());
        CHECK(has(fit.remarks[0], "more than the 0.025 mm stated allow"));
    }
    CHECK(left_out <= 4); // one set in a hundred loses one by chance
    options.deviation = 1e-4;
    auto const stated = fit_part(touched_corners(random, 1e-4), options);
    CHECK(stated.remarks.empty());
    CHECK(stated.degrees_of_freedom == std::numeric_limits<double>::infinity());
}

TEST_CASE("an implausible part says so") {
    Random random(851);
    auto const fit = fit_part(touched_corners(random, 0.02));
    CHECK_FALSE(fit.plausible);
    CHECK(has(fit.remarks[0], "more than touching explains"));
}

TEST_CASE("a part that is merely held has no deviation anywhere") {
    PartFit held{Pose<Cell, Part>::identity(), PoseCovariance::Zero(), 0, 0, {}, {}, 0, 0, {}};
    held.covariance.diagonal().setConstant(std::numeric_limits<double>::infinity());
    CHECK(held.deviation_at({0.1, 0.2, 0.3}, {0, 0, 1}) == std::numeric_limits<double>::infinity());
    CHECK(has(refusal_of([&] { return held.half_widths(); }), "no more was touched than holds the part"));
    CHECK(has(refusal_of([&] { return held.holds(held.cell_from_part); }), "no more was touched"));
}

TEST_CASE("a mount by a stated deviation that the hits contradict is told by their residuals") {
    Random random(852);
    auto const cell = random_cell(random, plain_ideal_head());
    auto const hits = random_hits(cell, random, 40, 5e-5);
    MountOptions options;
    options.start = pose_of<Flange, Head>(cell.flange_from_head);
    options.deviation = 1.25e-5;
    auto const fit = calibrate_mount(ideal_head(), hits, options).mount;
    CHECK_FALSE(fit.as_stated);
    CHECK(fit.outliers.size() <= 1);
    CHECK(is_finite(fit.degrees_of_freedom));
    CHECK(fit.deviation > 3.5e-5); // 50 um, of 71 degrees of freedom
    CHECK(fit.deviation < 6.5e-5);
    CHECK(fit.agrees_with(pose_of<Flange, Head>(cell.flange_from_head), 0.999));
    options.deviation = 5e-5;
    CHECK(calibrate_mount(ideal_head(), hits, options).mount.as_stated);
}

TEST_CASE("a row that was entered twice is refused by its numbers") {
    Random random(853);
    auto const cell = random_cell(random, plain_ideal_head());
    auto hits = random_hits(cell, random, 20, 5e-5);
    hits.push_back(hits[6]);
    CHECK(has(refusal_of([&] { return calibrate_mount(ideal_head(), hits); }),
              "observations 7 and 21 are the same in every digit"));
}
