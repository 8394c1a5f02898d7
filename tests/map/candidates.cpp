#include "map/scenes.hpp"
#include "support/refusal.hpp"

#include "seamhold/map/sample.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <numbers>
#include <set>

using namespace seamhold;
using namespace seamhold::test;

TEST_CASE("an axis runs from its low to its high end, in the unit that a person reads") {
    auto const a = axis("standoff", "mm", 1e-3, 450, 550, 5);
    CHECK(a.place(0) == 450);
    CHECK(a.place(1) == 475);
    CHECK(a.place(4) == 550);
    CHECK(a.in_si(475) == doctest::Approx(0.475).epsilon(1e-15));
    auto const heads = choice("head", {"wide", "narrow"});
    CHECK(heads.is_choice());
    CHECK(heads.places() == 2);
    CHECK(heads.place(1) == 1);
}

TEST_CASE("an axis with one value or none, or that cannot be, is refused by name") {
    auto const refused = [](auto const& make) { return refusal_of(make); };
    CHECK(has(refused([] { axis("tilt", "deg", 1, 5, 5, 3); }), "axis tilt runs from 5 to 5 deg"));
    CHECK(has(refused([] { axis("tilt", "deg", 1, 5, 5, 3); }), "is no axis, but a part of the question"));
    CHECK(has(refused([] { axis("tilt", "deg", 1, 0, 5, 1); }), "axis tilt has 1 places: 2 or more"));
    CHECK(has(refused([] { axis("tilt", "deg", 1, 0, 5, 0); }), "axis tilt has 0 places"));
    CHECK(has(refused([] { axis("tilt", "deg", 1, 5, 0, 3); }), "from 5 to 0"));
    CHECK(has(refused([] { axis("tilt", "deg", 1, 0, INFINITY, 3); }), "finite"));
    CHECK(has(refused([] { axis("tilt", "deg", 1, std::nan(""), 1, 3); }), "finite"));
    CHECK(has(refused([] { axis("tilt", "deg", 0, 0, 1, 3); }), "one deg cannot be 0 SI units"));
    CHECK(has(refused([] { axis("", "deg", 1, 0, 1, 3); }), "no name"));
    CHECK(has(refused([] { choice("head", {}); }), "axis head has 0 choices: 2 or more"));
    CHECK(has(refused([] { choice("head", {"wide"}); }), "axis head has 1 choices"));
    CHECK(has(refused([] { choice("head", {"wide", "wide"}); }), "choice wide twice"));
    CHECK(has(refused([] { choice("head", {"wide", ""}); }), "choice number 2 has no name"));
    CHECK(has(refused([] { checked(DesignSpace{}); }), "needs an axis"));
    CHECK(has(refused([] {
                  Candidates(DesignSpace{{axis("a", "", 1, 0, 1, 2), axis("a", "", 1, 0, 1, 2)}});
              }),
              "two axes of a design space are named a"));
    CHECK(has(refused([] {
                  DesignSpace space;
                  for (auto const* name : {"a", "b", "c", "d"})
                      space.axes.push_back(axis(name, "", 1, 0, 1, 100000));
                  Candidates(std::move(space));
              }),
              "cannot be counted"));
}

TEST_CASE("a grid has each place once, choices slowest, in packs of one choice whose last lanes repeat") {
    auto const space = small_space(3); // 3 speeds, 7 tilts, 3 heads
    Candidates const grid(space);
    CHECK(grid.size() == 63);
    CHECK(grid.packs() == 9); // 21 a head: 3 packs of 8, 8, 5
    std::set<std::vector<double>> rows;
    for (std::size_t r = 0; r < grid.size(); ++r) {
        auto const row = grid.row(r);
        rows.insert(row);
        CHECK(row[1] == static_cast<double>(r / 21));
        CHECK(row[0] == 100 + 100 * static_cast<double>(r % 21 / 7));
        CHECK(row[2] == doctest::Approx(-10 + 20.0 / 6 * static_cast<double>(r % 7)).epsilon(1e-14));
    }
    CHECK(rows.size() == 63);
    std::size_t next = 0;
    for (std::size_t p = 0; p < grid.packs(); ++p) {
        auto const pack = grid.pack(p);
        CHECK(pack.first == next);
        CHECK(pack.first == grid.first_row(p));
        CHECK(pack.count == (p % 3 == 2 ? 5 : 8));
        CHECK(pack.choices == std::vector<std::size_t>{0, p / 3, 0});
        for (int lane = 0; lane < map_lanes; ++lane) {
            auto const row =
                grid.row(next + std::min<std::size_t>(static_cast<std::size_t>(lane), pack.count - 1));
            CHECK(pack.values[0].lane(lane) == row[0] * 1e-3);
            CHECK(pack.values[2].lane(lane) == row[2] * 0.017453292519943295);
        }
        next += pack.count;
    }
    CHECK(next == 63);
    CHECK(grid.first_row(9) == 63);
}

TEST_CASE("candidates of one's own are put in order by their choices and otherwise kept") {
    auto const space = small_space(3);
    Candidates const own(space, {1, 2, 3, 4, 0, 5, 6, 2, 7, 8, 0, 9});
    CHECK(own.size() == 4);
    CHECK(own.packs() == 2);
    CHECK(own.row(0) == std::vector<double>{4, 0, 5});
    CHECK(own.row(1) == std::vector<double>{8, 0, 9});
    CHECK(own.row(2) == std::vector<double>{1, 2, 3});
    CHECK(own.pack(1).choices[1] == 2);
    CHECK(has(refusal_of([&] { Candidates(space, {1, 3, 1}); }), "axis head: 3 is not one of its values"));
    CHECK(has(refusal_of([&] { Candidates(space, {1, -1, 1}); }), "axis head: -1"));
    CHECK(has(refusal_of([&] { Candidates(space, {1, 0.5, 1}); }), "axis head: 0.5"));
    CHECK(has(refusal_of([&] { Candidates(space, {std::nan(""), 1, 1}); }), "axis speed"));
    CHECK(has(refusal_of([&] { Candidates(space, {1, 1}); }), "cannot be made of 2 numbers"));
}

TEST_CASE("a Latin hypercube has one candidate in each slice of each axis, and is the same for one seed") {
    auto const space = small_space();
    std::size_t const count = 300;
    auto const sample = latin_hypercube(space, count, 17);
    CHECK(sample.size() == count);
    std::set<std::size_t> speeds, tilts;
    std::array<std::size_t, 3> heads{};
    for (std::size_t r = 0; r < count; ++r) {
        auto const row = sample.row(r);
        speeds.insert(static_cast<std::size_t>((row[0] - 100) / 200 * static_cast<double>(count)));
        tilts.insert(static_cast<std::size_t>((row[2] + 10) / 20 * static_cast<double>(count)));
        ++heads[static_cast<std::size_t>(row[1])];
    }
    CHECK(speeds.size() == count);
    CHECK(tilts.size() == count);
    CHECK(heads == std::array<std::size_t, 3>{100, 100, 100});
    auto const again = latin_hypercube(space, count, 17), other = latin_hypercube(space, count, 18);
    CHECK(sample.row(7) == again.row(7));
    CHECK(sample.row(7) != other.row(7));
    CHECK(has(refusal_of([&] { latin_hypercube(space, 0, 1); }), "of 0 candidates"));
}

TEST_CASE("the Sobol sequence is the published one, and fills a square evenly") {
    DesignSpace const square{
        {axis("x", "", 1, 0, 1, 2), axis("y", "", 1, 0, 1, 2), axis("z", "", 1, 0, 1, 2)}};
    // The first points of Joe and Kuo's sequence in three dimensions, without the origin (from memory).
    auto const first = sobol(square, 3, 1);
    auto const from_origin = sobol(square, 4);
    double const published[3][3] = {{0.5, 0.5, 0.5}, {0.75, 0.25, 0.25}, {0.25, 0.75, 0.75}};
    bool const starts_at_origin = from_origin.row(0) == std::vector<double>{0, 0, 0};
    for (std::size_t r = 0; r < 3; ++r)
        for (std::size_t a = 0; a < 3; ++a)
            CHECK((starts_at_origin ? first : from_origin).row(r)[a] == published[r][a]);
    // A known integral: the mean of x·y²·cos(πz/2) over the cube is 1/2 · 1/3 · 2/π. With 4096 points the
    // error of random ones would be some 3e-3.
    auto const many = sobol(square, 4096);
    double sum = 0;
    std::array<std::array<int, 16>, 16> boxes{};
    for (std::size_t r = 0; r < many.size(); ++r) {
        auto const p = many.row(r);
        sum += p[0] * p[1] * p[1] * std::cos(std::numbers::pi / 2 * p[2]);
        ++boxes[static_cast<std::size_t>(p[0] * 16)][static_cast<std::size_t>(p[1] * 16)];
    }
    CHECK(std::abs(sum / 4096 - 1 / (3 * std::numbers::pi)) < 3e-4);
    for (auto const& column : boxes)
        for (int const n : column)
            CHECK(std::abs(n - 16) <= 1);
}
