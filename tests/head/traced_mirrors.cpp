#include "seamhold/head/traced_mirrors.hpp"

#include <doctest/doctest.h>

#include "seamhold/head/mirror_pair.hpp"
#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/real_mirrors.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <string>

// Traced mirrors on doubles: against the closed form of the ideal pair, against a trace by plain vectors, and
// what set-up refuses. Other numbers: traced_mirrors_numbers.cpp.

using namespace seamhold;
using namespace seamhold::test;

namespace {

MirrorPair<> pair_of(double separation) {
    return {separation, separation + 0.5, 10, {-0.2, 0.2}, {-0.2, 0.2}, {-0.02, 0.02}, infinity};
}

double largest_difference(Vector<> const& a, Vector<> const& b) {
    return std::max({std::abs(a.x - b.x), std::abs(a.y - b.y), std::abs(a.z - b.z)});
}

// The message with which these mirrors are refused; "" where they are taken.
std::string refused(std::function<void(PlainMirrors&)> const& spoil) {
    auto mirrors = plain_pair(0.04);
    spoil(mirrors);
    return refusal_of([&] { return mirrors_of(mirrors); });
}

} // namespace

TEST_CASE("mirrors without errors are the closed form of the pair") {
    Random random(8101);
    double worst = 0;
    for (std::size_t i = 0; i < runs(20'000); ++i) {
        double const separation = i % 10 == 0 ? 0 : random.uniform(0, 0.06);
        double const x = random.uniform(-0.25, 0.25), y = random.uniform(-0.25, 0.25);
        auto const mirrors = ideal_mirrors(separation);
        auto const way = mirrors.trace(x, y);
        auto const ray = pair_of(separation).ray(Command<>{x, y, 0});
        worst = std::max({worst, largest_difference(vector_of(way.on_last), vector_of(ray.origin)),
                          largest_difference(vector_of(way.leaving), vector_of(ray.direction)),
                          std::abs(way.path - ray.path), std::abs(way.between_length - ray.path)});
        worst = std::max(worst, std::abs(mirrors.separation() - separation));
    }
    MESSAGE("worst difference ", worst);
    // The promise. Rounding leaves a dozen halves of a unit in the last place of numbers up to 1: 1.3e-15.
    CHECK(worst <= 1e-14);
    CHECK(worst <= 12 * epsilon);
    // Set-up takes the ideal pair and changes nothing but the last bit of a unit vector.
    auto const checked_way = mirrors_of(plain_pair(0.04)).trace(0.1, -0.07);
    auto const way = ideal_mirrors(0.04).trace(0.1, -0.07);
    CHECK(largest_difference(vector_of(checked_way.leaving), vector_of(way.leaving)) <= 4 * epsilon);
}

TEST_CASE("mirrors out of true: the beam of a trace by plain vectors") {
    Random random(8102);
    double worst = 0;
    auto const count = runs(20'000);
    for (std::size_t i = 0; i < count; ++i) {
        auto const plain = random_mirrors(random, random.uniform(0.02, 0.06), 0.05, 0.004, 0.02);
        auto const mirrors = mirrors_of(plain);
        double const x = random.uniform(-0.2, 0.2), y = random.uniform(-0.2, 0.2);
        auto const way = mirrors.trace(x, y);
        auto const truth = traced(plain, x, y);
        worst = std::max({worst, largest_difference(vector_of(way.on_first), truth.between.point),
                          largest_difference(vector_of(way.between), truth.between.direction),
                          largest_difference(vector_of(way.on_last), truth.leaving.point),
                          largest_difference(vector_of(way.leaving), truth.leaving.direction),
                          largest_difference(vector_of(way.first), truth.first),
                          largest_difference(vector_of(way.last), truth.last),
                          std::abs(way.path - (truth.before + truth.apart)),
                          std::abs(way.between_length - truth.apart),
                          std::abs(way.first_cosine + product(truth.first, vector_of(mirrors.incoming()))),
                          std::abs(way.last_cosine + product(truth.last, truth.between.direction))});
    }
    MESSAGE("worst difference ", worst);
    // Two traces of some twenty operations each on numbers up to 1, divided twice by a cosine above 0.4.
    CHECK(worst <= 40 * epsilon);
}

TEST_CASE("a mirror that turns the other way, and one that turns by too much") {
    auto plain = plain_pair(0.04);
    auto const ideal = mirrors_of(plain).trace(0.1, 0.05);
    plain.first.turn = 1;
    auto const other = mirrors_of(plain).trace(-0.1, 0.05);
    CHECK(largest_difference(vector_of(other.leaving), vector_of(ideal.leaving)) <= 4 * epsilon);
    plain.first.turn = -1.25;
    auto const strong = mirrors_of(plain).trace(0.08, 0.05); // 1.25 · 0.08 = 0.1
    CHECK(largest_difference(vector_of(strong.leaving), vector_of(ideal.leaving)) <= 4 * epsilon);
}

TEST_CASE("a surface in front of its axis: worked by hand") {
    // The last mirror's surface 2 mm in front of its pivot, towards (0, −1, 1)/√2: at command 0 the beam
    // along +y meets it at y = −2 mm · √2, since (0, y, 0)·(0, −1, 1)/√2 = 2 mm.
    auto plain = plain_pair(0.04);
    plain.last.offset = 0.002;
    auto const way = mirrors_of(plain).trace(0.0, 0.0);
    CHECK(std::abs(way.on_last.y + 0.002 * std::sqrt(2.0)) <= epsilon);
    CHECK(std::abs(way.path - (0.04 - 0.002 * std::sqrt(2.0))) <= epsilon);
    CHECK(std::abs(way.leaving.z - 1) <= 2 * epsilon);
    // The path counts from the entry, wherever that is.
    plain.entry = {-0.1, -0.04, 0};
    CHECK(std::abs(mirrors_of(plain).trace(0.0, 0.0).path - (0.14 - 0.002 * std::sqrt(2.0))) <= epsilon);
}

TEST_CASE("what set-up refuses") {
    CHECK(refused([](PlainMirrors&) {}).empty());
    CHECK(refused([](PlainMirrors& m) { // mirrors that touch
              m = plain_pair(0);
          })
              .empty());
    CHECK(has(refused([](PlainMirrors& m) { m.entry.x = not_a_number; }), "entry point is not finite"));
    for (auto const& v : {Vector<>{2, 0, 0}, Vector<>{0.999, 0, 0}, Vector<>{0, 0, 0},
                          Vector<>{not_a_number, 0, 0}, Vector<>{infinity, 0, 0}}) {
        CAPTURE(v.x);
        CHECK(has(refused([&](PlainMirrors& m) { m.incoming = v; }), "the incoming direction has length"));
        CHECK(has(refused([&](PlainMirrors& m) { m.first.axis = v; }),
                  "the axis of the first mirror has length"));
        CHECK(has(refused([&](PlainMirrors& m) { m.last.axis = v; }),
                  "the axis of the last mirror has length"));
        CHECK(has(refused([&](PlainMirrors& m) { m.first.normal = v; }),
                  "the normal of the first mirror has length"));
        CHECK(has(refused([&](PlainMirrors& m) { m.last.normal = v; }),
                  "the normal of the last mirror has length"));
    }
    CHECK(has(refused([](PlainMirrors& m) { m.first.pivot.y = infinity; }),
              "pivot or offset of the first mirror is not finite"));
    CHECK(has(refused([](PlainMirrors& m) { m.last.offset = not_a_number; }),
              "pivot or offset of the last mirror is not finite"));
    for (double const turn : {0.0, 0.3, -0.3, 2.5, -57.3, not_a_number, infinity}) {
        CAPTURE(turn);
        CHECK(has(refused([&](PlainMirrors& m) { m.first.turn = turn; }), "the first mirror turns"));
        CHECK(has(refused([&](PlainMirrors& m) { m.last.turn = turn; }), "the last mirror turns"));
    }
    CHECK(has(refused([](PlainMirrors& m) { m.first.axis = m.first.normal; }),
              "the first mirror faces along its own axis"));
    CHECK(has(refused([](PlainMirrors& m) { m.last.axis = times(-1.0, m.last.normal); }),
              "the last mirror faces along its own axis"));
    // Backs, and beams along a surface.
    CHECK(has(refused([](PlainMirrors& m) { m.first.normal = times(-1.0, m.first.normal); }),
              "misses the first mirror"));
    CHECK(has(refused([](PlainMirrors& m) {
                  m.incoming = {std::sqrt(0.5), std::sqrt(0.5), 0};
              }),
              "misses the first mirror"));
    CHECK(has(refused([](PlainMirrors& m) { m.last.normal = times(-1.0, m.last.normal); }),
              "misses the last mirror"));
    CHECK(has(refused([](PlainMirrors& m) { m.last.normal = {0, 0, 1}; }), "misses the last mirror"));
    // The beam from the first mirror runs to +y; a last mirror behind it is never met.
    CHECK(
        has(refused([](PlainMirrors& m) { m.last.pivot.y = -0.1; }), "leaves the first mirror away from it"));
    // The last mirror sends the beam to −z.
    CHECK(has(refused([](PlainMirrors& m) {
                  m.last.normal = {0, -std::sqrt(0.5), -std::sqrt(0.5)};
              }),
              "it must leave along +z"));
    // Axes that steer alike. Light along +z, turned to +y by the first mirror and back to +z by the last:
    // with both axes along x, the beam only ever swings in y. Parallel, and then one axis for both, through
    // the last pivot, with the first surface beside it.
    double const h = std::sqrt(0.5);
    auto const periscope = [h](PlainMirrors& m) {
        m.entry = {0, -0.04, -0.1};
        m.incoming = {0, 0, 1};
        m.first = {{0, -0.04, 0}, {1, 0, 0}, {0, h, -h}, 0, -1};
    };
    CHECK(has(refused(periscope), "both mirrors steer the beam the same way"));
    CHECK(has(refused([&](PlainMirrors& m) {
                  periscope(m);
                  m.first.pivot = {0, 0, 0};
                  m.first.offset = -0.04 * h; // (0, −0.04, 0)·(0, h, −h)
              }),
              "both mirrors steer the beam the same way"));
    // An axis at 45° to the other in space and parallel to it as the light sees it: turning about (h, h, 0)
    // moves the normal (−h, h, 0), and with it the beam between, along z; the last mirror makes y of that, as
    // by its own turn.
    CHECK(has(refused([h](PlainMirrors& m) {
                  m.first.axis = {h, h, 0};
              }),
              "both mirrors steer the beam the same way"));
    // Nearly so counts as well, and 10° off does not: the light sees √2 times the angle, and 0.1 is the sine
    // of 5.7°.
    auto const turned_axis = [h](double angle) {
        return [h, angle](PlainMirrors& m) {
            m.first.axis = turned_about(Vector<>{-h, h, 0}, Vector<>{h, h, 0}, angle);
        };
    };
    CHECK(has(refused(turned_axis(degrees(3))), "both mirrors steer the beam the same way"));
    CHECK(refused(turned_axis(degrees(10))).empty());
}

TEST_CASE("tracing touches no heap") {
    auto const mirrors = ideal_mirrors(0.04);
    AllocationGuard const guard;
    auto const way = mirrors.trace(0.1, 0.05);
    CHECK(guard.count() == 0);
    CHECK(way.path > 0);
}
