#include "map/scenes.hpp"
#include "support/refusal.hpp"

#include "seamhold/map/on_all_cores.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>

using namespace seamhold;
using namespace seamhold::test;

namespace {

DesignSpace square(std::size_t steps) {
    return {{axis("x", "", 1, 0, 1, steps), axis("y", "", 1, 0, 1, steps)}};
}

template <class F> auto of_place(F f) {
    return OneByOne("place", {{"margin", "", {}}},
                    [f](Candidate const& c) { return std::vector<double>{f(c.values[0], c.values[1])}; });
}

/// All cells of a whole grid in two dimensions whose corners differ, by plain loops.
template <class F> std::vector<std::vector<double>> edge_of_grid(DesignSpace const& space, F f) {
    std::vector<std::vector<double>> cells;
    auto const &x = space.axes[0], &y = space.axes[1];
    for (std::size_t i = 0; i + 1 < x.steps; ++i)
        for (std::size_t k = 0; k + 1 < y.steps; ++k) {
            int inside = 0;
            for (std::size_t a : {i, i + 1})
                for (std::size_t b : {k, k + 1})
                    inside += f(x.place(a), y.place(b)) >= 0;
            if (inside != 0 && inside != 4)
                cells.push_back({x.place(i), y.place(k)});
        }
    return cells;
}

template <class F> void check_edge(F f, std::size_t coarse, int levels) {
    auto const space = square((coarse << static_cast<unsigned>(levels)) + 1);
    auto const edge = refine_edge(space, of_place(f), {levels, {}});
    std::vector<std::vector<double>> found;
    for (auto const& cell : edge.cells)
        found.push_back(cell.low);
    CHECK(found == edge_of_grid(space, f));
    CHECK(edge.complete);
    CHECK(edge.evaluations == edge.table.candidates.size());
    for (std::size_t r = 0; r < edge.table.candidates.size(); ++r) {
        auto const row = edge.table.candidates.row(r);
        CHECK(edge.table.at(r, 0) == f(row[0], row[1]));
    }
}

auto disc(double x0, double y0, double radius) {
    return [=](double x, double y) { return radius - std::hypot(x - x0, y - y0); };
}

} // namespace

TEST_CASE("the refined edge is that of the whole grid: a half plane, a disc, a ring, two islands, a wave") {
    check_edge([](double x, double y) { return 0.3 + 0.2 * x - y; }, 4, 5);
    check_edge(disc(0.4, 0.55, 0.27), 4, 5);
    check_edge([](double x, double y) { return 0.1 - std::abs(std::hypot(x - 0.5, y - 0.5) - 0.3); }, 8, 4);
    check_edge(
        [](double x, double y) { return std::max(disc(0.25, 0.25, 0.15)(x, y), disc(0.8, 0.7, 0.16)(x, y)); },
        8, 4);
    check_edge([](double x, double y) { return y - 0.5 - 0.3 * std::sin(12 * x); }, 4, 6);
    // A tongue thinner than the coarse cells is followed from where it hangs on.
    check_edge(
        [](double x, double y) { return std::max(0.3 - y, std::min(0.02 - std::abs(x - 0.37), 0.85 - y)); },
        4, 6);
}

TEST_CASE("an island that hides between the corners of the coarse grid is missed, as it says") {
    auto const island = disc(0.374, 0.63, 0.05);
    auto const space = square(129);
    CHECK(!edge_of_grid(space, island).empty());
    CHECK(refine_edge(space, of_place(island), {5, {}}).cells.empty());
    CHECK(refine_edge(space, of_place(island), {2, {}}).cells.size() == edge_of_grid(space, island).size());
}

TEST_CASE("evaluations grow with the edge, not with the grid: a tenth of it or less") {
    for (std::size_t const steps : {257U, 513U, 1025U}) {
        int const levels = static_cast<int>(std::log2(static_cast<double>(steps - 1) / 8) + 0.5);
        auto const edge = refine_edge(square(steps), of_place(disc(0.45, 0.5, 0.3)), {levels, {}});
        CHECK(edge.whole_grid == static_cast<double>(steps) * static_cast<double>(steps));
        CHECK(edge.whole_grid / static_cast<double>(edge.evaluations) >
              10 * static_cast<double>(steps) / 257);
    }
}

TEST_CASE("choices are never mixed, and each has its own edge") {
    DesignSpace const space{
        {axis("x", "", 1, 0, 1, 33), choice("head", {"wide", "narrow"}), axis("y", "", 1, 0, 1, 17)}};
    auto const f = [](std::vector<double> const& row) { return (row[1] == 0 ? 0.72 : 0.31) - row[0]; };
    auto const question = OneByOne("by head", {{"margin", "", {}}}, [&](Candidate const& c) {
        return std::vector<double>{f({c.values[0], static_cast<double>(c.choices[1]), c.values[2]})};
    });
    auto const edge = refine_edge(space, question, {3, {}});
    CHECK(edge.cells.size() == 32);
    for (auto const& cell : edge.cells) {
        CHECK(cell.low[1] == cell.high[1]);
        CHECK(f(cell.low) >= 0);
        CHECK(f(cell.high) < 0);
    }
    CHECK(edge.table.candidates.size() == edge.evaluations);
    for (std::size_t r = 0; r < edge.evaluations; ++r)
        CHECK(edge.table.at(r, 0) == f(edge.table.candidates.row(r)));
}

TEST_CASE("three axes: the edge is a surface") {
    DesignSpace const cube{
        {axis("x", "", 1, 0, 1, 33), axis("y", "", 1, 0, 1, 33), axis("z", "", 1, 0, 1, 33)}};
    auto const question = OneByOne("ball", {{"margin", "", {}}}, [](Candidate const& c) {
        return std::vector<double>{0.4 - std::hypot(c.values[0] - 0.5, c.values[1] - 0.5, c.values[2] - 0.5)};
    });
    auto const edge = refine_edge(cube, question, {2, {}});
    auto const whole = run_map(Candidates(cube), question).table;
    std::size_t mixed = 0;
    auto const at = [&](std::size_t i, std::size_t k, std::size_t l) {
        return whole.feasible((i * 33 + k) * 33 + l);
    };
    for (std::size_t i = 0; i < 32; ++i)
        for (std::size_t k = 0; k < 32; ++k)
            for (std::size_t l = 0; l < 32; ++l) {
                int inside = 0;
                for (std::size_t c = 0; c < 8; ++c)
                    inside += at(i + (c & 1U), k + (c >> 1U & 1U), l + (c >> 2U));
                mixed += inside != 0 && inside != 8;
            }
    CHECK(edge.cells.size() == mixed);
}

TEST_CASE("an edge is the same for any threads, and after a stop goes on with what was kept") {
    auto const question = of_place(disc(0.4, 0.55, 0.27));
    auto const space = square(129);
    auto const plain = refine_edge(space, question, {4, {}});
    RefineOptions options{4, {}};
    options.map.shard_packs = 2;
    auto const threads = refine_edge_on_all_cores(space, question, options, 3);
    CHECK(same_bytes(threads.table.answers, plain.table.answers));
    Kept kept;
    options.map.keeper = kept.keeper();
    int rounds = 0;
    for (bool complete = false; !complete; ++rounds) {
        std::size_t asked = 0;
        options.map.stop = [&asked] { return ++asked > 20; };
        auto const edge = refine_edge_on_all_cores(space, question, options, 2);
        complete = edge.complete;
        if (complete) {
            CHECK(same_bytes(edge.table.answers, plain.table.answers));
            CHECK(edge.cells.size() == plain.cells.size());
        } else {
            CHECK(edge.cells.empty());
            CHECK(edge.evaluations == edge.table.candidates.size());
            for (double const answer : edge.table.answers)
                CHECK(is_finite(answer)); // of rounds that were answered to their end
        }
    }
    CHECK(rounds > 2);
}

TEST_CASE("a grid that cannot be halved so often is refused with what it needs") {
    auto const question = of_place(disc(0.4, 0.5, 0.2));
    CHECK(has(refusal_of([&] {
                  refine_edge(square(100), question, {3, {}});
              }),
              "axis x has 100 places: to halve 3 times, it needs a multiple of 8 and one more"));
    CHECK(has(refusal_of([&] { refine_edge(square(9), question, {21, {}}); }), "21 times"));
}
