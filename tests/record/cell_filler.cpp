#include "seamhold/record/cell_filler.hpp"

#include "support/allocation_guard.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {
constexpr double no_number = std::numeric_limits<double>::quiet_NaN();
constexpr double infinite = std::numeric_limits<double>::infinity();
} // namespace

TEST_CASE("a sample that spans cells counts in each with the way it has there") {
    CellFiller filler(Cells{0.004, 4}); // 1 mm each
    filler.add(2, 0.0005, 0.0025);      // half of cell 0, all of 1, half of 2
    filler.add(6, 0.0025, 0.00275);     // a quarter of cell 2
    // Every expected number is a sum of halves and quarters; rounding is a few last bits.
    CHECK(filler.value(0) == doctest::Approx(2).epsilon(1e-12));
    CHECK(filler.covered(0) == doctest::Approx(0.5).epsilon(1e-12));
    CHECK(filler.value(1) == doctest::Approx(2).epsilon(1e-12));
    CHECK(filler.covered(1) == doctest::Approx(1).epsilon(1e-12));
    CHECK(filler.value(2) == doctest::Approx((2 * 0.5 + 6 * 0.25) / 0.75).epsilon(1e-12));
    CHECK(filler.covered(2) == doctest::Approx(0.75).epsilon(1e-12));
    CHECK(std::isnan(filler.value(3)));
    CHECK(filler.covered(3) == 0);
    auto const trace = filler.trace();
    REQUIRE(trace.value.size() == 4);
    REQUIRE(trace.covered.size() == 4);
    CHECK(trace.value[2] == filler.value(2));
    CHECK(trace.covered[2] == static_cast<float>(filler.covered(2)));
    filler.clear();
    CHECK(std::isnan(filler.value(1)));
}

TEST_CASE("a hundred samples of a slow stretch count no more than one of a quick one") {
    CellFiller filler(Cells{0.001, 1});
    for (int i = 0; i < 100; ++i)
        filler.add(10, i * 5e-6, (i + 1) * 5e-6); // the first half
    filler.add(20, 0.0005, 0.001);
    CHECK(filler.value(0) == doctest::Approx(15).epsilon(1e-12));
}

TEST_CASE("a way back counts like a way on; ends are left out; standing counts nothing") {
    CellFiller filler(Cells{0.002, 2});
    filler.add(1, 0.0015, -0.5); // back over cell 0 and half of 1, and far beyond the start
    CHECK(filler.covered(0) == doctest::Approx(1).epsilon(1e-12));
    CHECK(filler.covered(1) == doctest::Approx(0.5).epsilon(1e-12));
    filler.add(5, 0.0005, 0.0005);
    CHECK(filler.value(0) == doctest::Approx(1).epsilon(1e-12));
    filler.add(9, 0.002, 7.0); // beyond the end
    filler.add(9, -3.0, 0.0);
    CHECK(filler.value(0) == doctest::Approx(1).epsilon(1e-12));
    CHECK(filler.value(1) == doctest::Approx(1).epsilon(1e-12));
    filler.add(3, 0.0, 0.001); // a second time
    CHECK(filler.value(0) == doctest::Approx(2).epsilon(1e-12));
    CHECK(filler.covered(0) == 1);
}

TEST_CASE("what is not finite poisons nothing") {
    CellFiller filler(Cells{0.002, 2});
    filler.add(1, 0, 0.002);
    for (double const bad : {no_number, infinite, -infinite}) {
        filler.add(bad, 0, 0.002);
        filler.add(7, bad, 0.001);
        filler.add(7, 0, bad);
        filler.add(7, bad, bad);
        filler.forget(bad, 0.001);
        filler.forget(0, bad);
    }
    CHECK(filler.value(0) == 1);
    CHECK(filler.value(1) == 1);
    CHECK(filler.covered(0) == 1);
}

TEST_CASE("what is forgotten leaves whole cells empty") {
    CellFiller filler(Cells{0.005, 5});
    filler.add(1, 0, 0.005);
    filler.forget(0.0031, 0.0012); // cells 1, 2 and 3
    CHECK(filler.covered(0) == 1);
    for (std::size_t i = 1; i <= 3; ++i)
        CHECK(std::isnan(filler.value(i)));
    CHECK(filler.covered(4) == 1);
    filler.forget(0.0005, 0.0005); // no way at all
    CHECK(filler.covered(0) == 1);
    filler.forget(0.0045, 1);
    CHECK(filler.covered(4) == 0);
}

TEST_CASE("random ways: each cell is the mean over its length") {
    Random random(901);
    for (std::size_t run = 0; run < runs(300); ++run) {
        Cells const cells{random.uniform(1e-3, 0.5), 1 + random.index(40)};
        CellFiller filler(cells);
        struct Way {
            double value, from, to;
        };
        std::vector<Way> ways;
        for (std::size_t i = 0; i < 30; ++i) {
            double const at = random.uniform(-0.1, 1.1) * cells.length;
            ways.push_back(
                {random.uniform(-5, 5), at, at + random.uniform(-3, 3) * cells.width() * random.unit()});
        }
        AllocationGuard guard;
        for (auto const& w : ways)
            filler.add(w.value, w.from, w.to);
        auto const allocations = guard.count();
        CHECK(allocations == 0);
        // Against the overlap of every way with every cell, worked out in m.
        for (std::size_t i = 0; i < cells.count; ++i) {
            double sum = 0, all = 0;
            for (auto const& w : ways) {
                double const low = std::max(std::min(w.from, w.to), cells.from(i));
                double const high = std::min(std::max(w.from, w.to), cells.from(i + 1));
                if (high > low) {
                    sum += w.value * (high - low);
                    all += high - low;
                }
            }
            INFO("cell " << i << " of " << cells.count);
            // Ways as short as rounding are not compared.
            if (all > 1e-9 * cells.width()) {
                CHECK(filler.value(i) * all == doctest::Approx(sum).scale(5 * cells.width()).epsilon(1e-11));
                CHECK(filler.covered(i) ==
                      doctest::Approx(std::min(1.0, all / cells.width())).scale(1).epsilon(1e-11));
            }
        }
    }
}
