#include "seamhold/plan/set_cover.hpp"

#include <doctest/doctest.h>

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

// Against exhaustive search, and against hitting sets of lines in finite geometries whose least size is
// known.

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

bool covers(std::vector<Bits> const& sets, std::size_t elements, std::vector<std::size_t> const& chosen) {
    for (std::size_t e = 0; e < elements; ++e)
        if (std::none_of(chosen.begin(), chosen.end(), [&](std::size_t s) { return sets[s].has(e); }))
            return false;
    return true;
}

// All choices of sets as the bits of a number.
std::size_t fewest_by_trying_all(std::vector<Bits> const& sets, std::size_t elements) {
    std::vector<std::uint32_t> masks;
    for (auto const& set : sets) {
        std::uint32_t mask = 0;
        for (std::size_t e = 0; e < elements; ++e)
            mask |= set.has(e) ? 1U << e : 0U;
        masks.push_back(mask);
    }
    int best = 99;
    for (std::uint32_t choice = 0; choice < 1U << sets.size(); ++choice) {
        std::uint32_t got = 0;
        for (std::size_t s = 0; s < masks.size(); ++s)
            got |= (choice >> s & 1U) != 0 ? masks[s] : 0U;
        if (got == (1U << elements) - 1)
            best = std::min(best, std::popcount(choice));
    }
    return static_cast<std::size_t>(best);
}

// Points that meet every line of the affine space of `dimensions` over three numbers: as a cover, points are
// the sets and lines the elements. Three points are a line where their coordinates each sum to 0 mod 3.
struct Cover {
    std::vector<Bits> sets;
    std::size_t elements;
};
Cover lines_of_affine_space(int dimensions) {
    auto const points = static_cast<std::size_t>(std::lround(std::pow(3, dimensions)));
    std::vector<std::array<std::size_t, 3>> lines;
    for (std::size_t a = 0; a < points; ++a)
        for (std::size_t b = a + 1; b < points; ++b) {
            std::size_t c = 0;
            for (std::size_t power = 1; power < points; power *= 3)
                c += power * ((6 - a / power % 3 - b / power % 3) % 3);
            if (c > b)
                lines.push_back({a, b, c});
        }
    Cover cover{std::vector<Bits>(points, Bits(lines.size())), lines.size()};
    for (std::size_t l = 0; l < lines.size(); ++l)
        for (auto const p : lines[l])
            cover.sets[p].add(l);
    return cover;
}

} // namespace

TEST_CASE("the fewest sets are as few as by trying all choices") {
    Random random(20261126);
    for (std::size_t run = 0; run < runs(300); ++run) {
        std::size_t const elements = 1 + random.index(12), count = 1 + random.index(12);
        double const density = random.uniform(0.1, 0.6);
        std::vector<Bits> sets(count, Bits(elements));
        for (auto& set : sets)
            for (std::size_t e = 0; e < elements; ++e)
                if (random.unit() < density)
                    set.add(e);
        for (std::size_t e = 0; e < elements; ++e)
            sets[random.index(count)].add(e);
        auto const found = least_cover(sets, elements);
        CHECK(found.proven);
        CHECK(covers(sets, elements, found.chosen));
        CHECK(found.chosen.size() == fewest_by_trying_all(sets, elements));
        CHECK(found.lower_bound == found.chosen.size());
    }
}

// The largest sets of points without a line have 2, 4 and 9 points in 1, 2 and 3 dimensions (caps: OEIS
// A090245; G. Pellegrino 1970 for the next, from memory), so 1, 5 and 18 points are needed to meet all lines.
// The last two are also D. Fulkerson, G. Nemhauser, L. Trotter, "Two computationally difficult set covering
// problems that arise in computing the 1-width of incidence matrices of Steiner triple systems", 1974.
TEST_CASE("points that meet every line of an affine space over three numbers") {
    std::size_t const known[] = {1, 5, 18};
    for (int dimensions = 1; dimensions <= 3; ++dimensions) {
        auto const cover = lines_of_affine_space(dimensions);
        auto const found = least_cover(cover.sets, cover.elements, 300000);
        std::size_t const fewest = known[dimensions - 1];
        CAPTURE(dimensions);
        CAPTURE(found.looked_at);
        CHECK(covers(cover.sets, cover.elements, found.chosen));
        CHECK(found.chosen.size() >= fewest);
        CHECK(found.lower_bound <= fewest);
        if (dimensions < 3) {
            CHECK(found.proven);
            CHECK(found.chosen.size() == fewest);
        } else {
            CHECK(found.chosen.size() <= fewest + 2);
            CHECK(found.proven == (found.lower_bound == found.chosen.size()));
        }
    }
}

TEST_CASE("a spent budget leaves a cover and a lower bound that holds") {
    auto const cover = lines_of_affine_space(3);
    for (std::size_t const budget : {0U, 1U, 10U, 1000U}) {
        auto const found = least_cover(cover.sets, cover.elements, budget);
        CHECK(covers(cover.sets, cover.elements, found.chosen));
        CHECK(!found.proven);
        CHECK(found.looked_at <= budget);
        CHECK(found.lower_bound <= 18);
        CHECK(found.lower_bound >= 9); // 117 lines, 13 through each point
    }
}

TEST_CASE("many alike and dominated sets are left out before the search") {
    // 600 intervals of 40 numbers among 2000, one starting at each third: 50 are needed.
    std::size_t const elements = 2000;
    std::vector<Bits> sets;
    for (std::size_t from = 0; from + 40 <= elements; from += 3) {
        sets.emplace_back(elements);
        for (std::size_t e = from; e < from + 40; ++e)
            sets.back().add(e);
    }
    sets.emplace_back(elements); // the last numbers
    for (std::size_t e = elements - 40; e < elements; ++e)
        sets.back().add(e);
    auto const found = least_cover(sets, elements);
    CHECK(found.proven);
    // By hand: each but the last starts at the largest multiple of three that leaves no hole, 39 further on,
    // so n sets reach 40 + 39 (n - 1) numbers, and the last may reach 1 further: 52.
    CHECK(found.chosen.size() == 52);
    CHECK(covers(sets, elements, found.chosen));
    CHECK(found.looked_at < 1000);
}

TEST_CASE("nothing to cover needs no set, and what no set has is refused") {
    CHECK(least_cover({}, 0).chosen.empty());
    CHECK(least_cover({}, 0).proven);
    Bits set(3);
    set.add(0);
    set.add(2);
    CHECK(has(refusal_of([&] { return least_cover({set}, 3); }), "no set has element 1"));
}
