#include "seamhold/record/cells.hpp"

#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <limits>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::refusal_of;

TEST_CASE("cells are as wide as the resolution at most, and cover the seam") {
    auto const cells = cells_of(0.03, 0.5e-3);
    CHECK(cells.count == 60); // a whole number but for rounding
    CHECK(cells_of(0.0301, 0.5e-3).count == 61);
    CHECK(cells_of(0.1e-3, 0.5e-3).count == 1);
    CHECK(cells.from(0) == 0);
    CHECK(cells.from(60) == 0.03);
    CHECK(cells.at(-1) == 0);
    CHECK(cells.at(0.25e-3) == 0);
    CHECK(cells.at(0.75e-3) == 1);
    CHECK(cells.at(0.03) == 59);
    CHECK(cells.at(1e30) == 59);
    CHECK(cells.at(std::numeric_limits<double>::infinity()) == 59); // 27 November 2026: it was cell 0
    CHECK(has(refusal_of([] { return cells_of(0, 1e-3); }), "longer than 0"));
    CHECK(has(refusal_of([] { return cells_of(0.1, 0); }), "above 0"));
    CHECK(has(refusal_of([] { return cells_of(10, 1e-6); }), "more than a million"));
}
