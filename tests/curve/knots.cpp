#include "seamhold/curve/knots.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/interval.hpp"
#include "support/allocation_guard.hpp"
#include "support/enclosures.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// The piece by its definition, with a plain search.
std::size_t piece_by_definition(std::vector<double> const& places, double x) {
    std::size_t piece = 0;
    while (piece + 2 < places.size() && places[piece + 1] <= x)
        ++piece;
    return piece;
}

void check_everywhere(std::vector<double> const& places) {
    Knots const knots(places);
    CHECK(knots.pieces() == places.size() - 1);
    std::size_t wrong = 0;
    std::size_t piece = 0; // by walking along, so that many knots can be asked
    for (std::size_t i = 0; i < places.size(); ++i) {
        double const below = std::nextafter(places[i], -std::numeric_limits<double>::infinity());
        double const above = std::nextafter(places[i], std::numeric_limits<double>::infinity());
        double const middle = i + 1 < places.size() ? places[i] + 0.5 * (places[i + 1] - places[i]) : above;
        for (double const x : {below, places[i], above, middle}) {
            while (piece > 0 && x < places[piece])
                --piece;
            while (piece + 2 < places.size() && places[piece + 1] <= x)
                ++piece;
            wrong += knots.locate(x) != piece ? 1 : 0;
        }
    }
    CHECK(wrong == 0);
}

std::string message_of(std::vector<double> places) {
    return refusal_of([&] { return Knots(std::move(places)); });
}

} // namespace

TEST_CASE("the piece of a place, by hand") {
    Knots const knots({0, 1, 3, 4});
    CHECK(knots.pieces() == 3);
    CHECK(knots.locate(-5) == 0);
    CHECK(knots.locate(0) == 0);
    CHECK(knots.locate(0.99) == 0);
    CHECK(knots.locate(1) == 1);
    CHECK(knots.locate(2.99) == 1);
    CHECK(knots.locate(3) == 2);
    CHECK(knots.locate(4) == 2);
    CHECK(knots.locate(1e300) == 2);
    CHECK(knots.locate(std::numeric_limits<double>::infinity()) == 2);
    CHECK(knots.locate(-std::numeric_limits<double>::infinity()) == 0);
    CHECK(knots.locate(std::numeric_limits<double>::quiet_NaN()) == 0);
    CHECK(knots.places().size() == 4);
    CHECK(knots.places()[2] == 3);
}

TEST_CASE("the piece of every place, its neighbours and every middle: even, jittered and clustered knots") {
    Random random(601);
    for (std::size_t const n : {2U, 3U, 4U, 9U, 100U, 1000U}) {
        CAPTURE(n);
        std::vector<double> even, jittered, clustered, growing;
        double jitter = 0, cluster = -3, grow = 1e-9;
        for (std::size_t i = 0; i < n; ++i) {
            even.push_back(0.004 * static_cast<double>(i));
            jittered.push_back(jitter += 0.004 * random.uniform(0.2, 1.8));
            clustered.push_back(cluster += i % 10 == 0 ? 1.0 : 1e-6);
            growing.push_back(grow *= 1.5);
        }
        check_everywhere(even);
        check_everywhere(jittered);
        check_everywhere(clustered);
        if (n <= 100)
            check_everywhere(growing);
    }
}

TEST_CASE("huge holes: all knots in a few buckets") {
    // A hundred thousand rows at 4 ms, then one a year later: all but one share a bucket of the table.
    std::vector<double> places;
    for (int i = 0; i < 100000; ++i)
        places.push_back(0.004 * i);
    places.push_back(3.2e7);
    check_everywhere(places);
    // Holes on both sides and far from zero.
    std::vector<double> far{-1e12};
    for (int i = 0; i < 1000; ++i)
        far.push_back(1e6 + 1e-3 * i);
    far.push_back(1e15);
    check_everywhere(far);
}

TEST_CASE("random knots and random places agree with the definition") {
    Random random(602);
    for (std::size_t n = 0; n < runs(200); ++n) {
        std::vector<double> places(2 + random.index(60));
        for (double& place : places)
            place = std::exp(random.uniform(-20, 20)) * (random.unit() < 0.5 ? -1 : 1);
        std::sort(places.begin(), places.end());
        places.erase(std::unique(places.begin(), places.end()), places.end());
        if (places.size() < 2)
            continue;
        Knots const knots(places);
        for (int i = 0; i < 50; ++i) {
            double const x = std::exp(random.uniform(-21, 21)) * (random.unit() < 0.5 ? -1 : 1);
            REQUIRE(knots.locate(x) == piece_by_definition(places, x));
        }
    }
}

TEST_CASE("what does not increase is refused, and the message names it") {
    double const bad = std::numeric_limits<double>::quiet_NaN();
    CHECK(message_of({}).find("given were 0") != std::string::npos);
    CHECK(message_of({1}).find("given were 1") != std::string::npos);
    CHECK(message_of({0, 1, 1, 2}).find("knot 2") != std::string::npos);
    CHECK(message_of({0, 1, 0.5}).find("knot 2") != std::string::npos);
    CHECK(message_of({0, bad, 2}).find("knot 1") != std::string::npos);
    CHECK(message_of({bad, 1}).find("knot 0") != std::string::npos);
    CHECK(message_of({0, std::numeric_limits<double>::infinity()}).find("knot 1") != std::string::npos);
    CHECK(message_of({0, 1}).empty());
}

namespace {

// The pieces that are asked for an interval, in order.
std::vector<std::size_t> pieces_asked(Knots const& knots, Interval const& x) {
    std::vector<std::size_t> asked;
    knots.with_piece(x, [&](std::size_t i) {
        asked.push_back(i);
        return Interval(static_cast<double>(i));
    });
    return asked;
}

using Pieces = std::vector<std::size_t>;

} // namespace

TEST_CASE("a number has one piece, an interval all that it reaches into by more than a picosecond") {
    Knots const knots({0, 1, 3, 4});
    CHECK(knots.with_piece(3.5, [](std::size_t i) { return i; }) == 2);
    CHECK(knots.with_piece(Taylor<double, 2>::variable(1.0), [](std::size_t i) { return i; }) == 1);
    double const least = 5e-13, more = 1e-11;
    CHECK(pieces_asked(knots, 0.5) == Pieces{0});
    CHECK(pieces_asked(knots, 1) == Pieces{1});
    CHECK(pieces_asked(knots, 4) == Pieces{2});
    CHECK(pieces_asked(knots, {0.2, 0.8}) == Pieces{0});
    CHECK(pieces_asked(knots, {0, 1}) == Pieces{0});
    CHECK(pieces_asked(knots, {1, 3}) == Pieces{1});
    CHECK(pieces_asked(knots, {3, 4}) == Pieces{2});
    CHECK(pieces_asked(knots, {1 - least, 3 + least}) == Pieces{1});
    CHECK(pieces_asked(knots, {1 - more, 3}) == Pieces{0, 1});
    CHECK(pieces_asked(knots, {1, 3 + more}) == Pieces{1, 2});
    CHECK(pieces_asked(knots, {1 - more, 3 + more}) == Pieces{0, 1, 2});
    CHECK(pieces_asked(knots, {1 - least, 1 + least}).size() == 1);
    CHECK(pieces_asked(knots, {1 - more, 1 + more}) == Pieces{0, 1});
    CHECK(pieces_asked(knots, {-7, -5}) == Pieces{0});
    CHECK(pieces_asked(knots, {-7, 0.5}) == Pieces{0});
    CHECK(pieces_asked(knots, {3.5, 9}) == Pieces{2});
    CHECK(pieces_asked(knots, {5, 9}) == Pieces{2});
    CHECK(pieces_asked(knots, {-7, 9}) == Pieces{0, 1, 2});
    CHECK(pieces_asked(knots, Interval::whole()) == Pieces{0, 1, 2});
    // Far from 0 the last bits of a place are more than a picosecond: 2e-10 at 1e6.
    Knots const late({1e6, 1e6 + 1, 1e6 + 2});
    CHECK(pieces_asked(late, {1e6, 1e6 + 1 + 4e-10}) == Pieces{0});
    CHECK(pieces_asked(late, {1e6, 1e6 + 1 + 1e-7}) == Pieces{0, 1});
}

TEST_CASE("law: every piece that an interval reaches into is asked, and none beyond") {
    Random random(603);
    Misses misses;
    for (std::size_t n = 0; n < runs(300); ++n) {
        std::vector<double> places{random.uniform(-5, 5)};
        for (std::size_t i = 0; i < 1 + random.index(40); ++i)
            places.push_back(places.back() + std::pow(10, random.uniform(-4, 0.5)));
        Knots const knots(places);
        double const slack = 1.1e-12 + 5e-15 * std::max(std::abs(places.front()), std::abs(places.back()));
        auto const anywhere = [&] {
            double const x = random.unit() < 0.5 ? places[random.index(places.size())]
                                                 : random.uniform(places.front() - 1, places.back() + 1);
            return x + (random.unit() < 0.5 ? 0 : sized(random, -14, -9));
        };
        for (int k = 0; k < 30; ++k) {
            Interval const x = random.unit() < 0.2 ? Interval(anywhere()) : between(anywhere(), anywhere());
            auto const asked = pieces_asked(knots, x);
            misses.expect(!asked.empty(), x);
            for (std::size_t i = 0; i < asked.size(); ++i) {
                misses.expect(asked[i] == asked[0] + i, "not in order for", x);
                misses.expect(asked[i] == 0 || places[asked[i]] <= x.high, "piece", asked[i], "is beyond", x);
                misses.expect(asked[i] + 2 == places.size() || places[asked[i] + 1] >= x.low, "piece",
                              asked[i], "is beyond", x);
            }
            for (int j = 0; j < 20; ++j) {
                double const inside = random.uniform(x.low, x.high);
                if (inside > x.low + slack && inside < x.high - slack)
                    misses.expect(
                        std::count(asked.begin(), asked.end(), piece_by_definition(places, inside)) == 1,
                        inside, "in", x);
            }
        }
    }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
}

TEST_CASE("what several pieces give is all of each to the third derivative, and nothing above") {
    Knots const knots({0, 1, 3, 4});
    using T = Taylor<Interval, 5>;
    // Powers of time with factors 1, 3, 5.
    auto const at = [&](T const& t) {
        return knots.with_piece(t, [&](std::size_t i) {
            T const p = t * t * t * t * t;
            return std::array<T, 2>{p * (1.0 + 2.0 * static_cast<double>(i)), t};
        });
    };
    auto const one = at(T::variable(Interval(1, 3)));
    CHECK(is_finite(one[0]));
    CHECK(one[0].coefficient[5].contains(3.0));
    CHECK_FALSE(one[0].coefficient[5].contains(1.0));
    auto const two = at(T::variable(Interval(0.5, 3)));
    CHECK(two[0].coefficient[0].contains(Interval(0.03125, 3 * 243)));
    CHECK(two[0].coefficient[3].contains(Interval(2.5, 3 * 90)));
    CHECK(is_finite(two[0].coefficient[3]));
    for (int k : {4, 5}) {
        CHECK(is_whole(two[0].coefficient[k]));
        CHECK(is_whole(two[1].coefficient[k])); // also where the pieces agree
    }
    CHECK(two[1].coefficient[1].contains(1.0));
    CHECK(two[1].coefficient[1].radius() < 1e-15);
    auto const all = at(T::variable(Interval::whole()));
    for (int k = 0; k <= 5; ++k)
        CHECK(all[0].coefficient[k].contains(5.0));
}

TEST_CASE("asking does not touch the heap") {
    Knots const knots({0, 1, 3, 4});
    AllocationGuard guard;
    auto const piece = knots.locate(3.5);
    auto const pieces =
        knots.with_piece(Interval(0, 5), [](std::size_t i) { return Interval(static_cast<double>(i)); });
    CHECK(guard.count() == 0);
    CHECK(piece == 2);
    CHECK(pieces.high == 2);
}
