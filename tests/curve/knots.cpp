#include "seamhold/curve/knots.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
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

TEST_CASE("asking does not touch the heap") {
    Knots const knots({0, 1, 3, 4});
    AllocationGuard guard;
    auto const piece = knots.locate(3.5);
    CHECK(guard.count() == 0);
    CHECK(piece == 2);
}
