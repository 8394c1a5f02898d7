#include "seamhold/seam/rest_of.hpp"

#include <doctest/doctest.h>

#include "seamhold/seam/travel_by.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"
#include "support/seam_paths.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <tuple>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;
double const epsilon = std::numeric_limits<double>::epsilon();
Plane<> const flat{Pose<Part, Face>::identity()};

double apart(Point<Part> const& a, Point<Part> const& b) { return norm(a - b); }

/// Rounding of coordinates below 0.4 m and of lengths below 0.2 m, some ten operations.
double const rounding = 16 * epsilon * 0.4;

/// What every rest must hold: it ends as the seam did, and on its way it is where the seam was as long before
/// the end, as fast, with the same normal and rates.
void check_rest(AnySeam const& seam, double from, std::string const& name) {
    CAPTURE(name);
    CAPTURE(from);
    auto const rest = rest_of(seam, from);
    CHECK(
        rest.length() ==
        doctest::Approx(seam.length() - from).epsilon(8 * epsilon * seam.length() / (seam.length() - from)));
    CHECK(apart(rest.at(0.0).position, seam.path.at(from).position) <= rounding);
    CHECK(rest.focus_offset == seam.focus_offset);
    double const later = seam.duration() - rest.duration();
    auto const breaks = seam.breaks();
    Random random(7302);
    for (int i = 0; i < 40; ++i) {
        double const t = random.uniform(0, rest.duration());
        if (std::any_of(breaks.begin(), breaks.end(),
                        [&](double b) { return std::abs(b - t - later) < 1e-6; }))
            continue;
        CAPTURE(t);
        CHECK(rest.feed(t) == doctest::Approx(seam.feed(later + t)).epsilon(1e-11));
        auto const expected = seam.at(Taylor<double, 2>::variable(later + t));
        auto const found = rest.at(Taylor<double, 2>::variable(t));
        CHECK(apart(value_of(found.position), value_of(expected.position)) <= rounding);
        CHECK(norm(value_of(found.normal) - value_of(expected.normal)) <= 16 * epsilon + 50 * rounding);
        for (int k = 1; k <= 2; ++k) {
            auto const rate = [k](Point<Part, Taylor<double, 2>> const& p) {
                return Direction<Part>{p.x.derivative(k), p.y.derivative(k), p.z.derivative(k)};
            };
            // Of order k some 1e-15 times as often as a piece's length goes into the change, k times.
            CHECK(norm(rate(found.position) - rate(expected.position)) <=
                  1e-12 * std::pow(50.0, k) * (1 + norm(rate(expected.position))));
        }
    }
    std::vector<double> corners;
    for (auto const& corner : seam.path.corners())
        if (corner.arc_length > from + 1e-11)
            corners.push_back(corner.arc_length - from);
    auto const found = rest.path.corners();
    REQUIRE(found.size() == corners.size());
    for (std::size_t i = 0; i < corners.size(); ++i)
        CHECK(std::abs(found[i].arc_length - corners[i]) <= rounding);
    for (double const t : rest.breaks())
        CHECK(std::any_of(breaks.begin(), breaks.end(),
                          [&](double b) { return std::abs(b - t - later) <= 4e-9; })); // see reversed.cpp
}

} // namespace

TEST_CASE("law: the rest of every seam is the seam from there on") {
    Random random(7303);
    for (auto const& named : paths_of_every_kind()) {
        auto const& name = named.name;
        auto const& path = named.path;
        double const length = path.length();
        std::vector<double> places{1e-7, 0.3 * length, 0.5 * length, length - 1e-7,
                                   random.uniform(0, length)};
        for (double const s : path.breaks())
            if (random.index(path.breaks().size()) < 2)
                places.push_back(s);
        for (auto const& corner : path.corners())
            for (double const side : {-1e-5, 0.0, 1e-5})
                places.push_back(corner.arc_length + side);
        SpeedLaw law{0.25, 0.05, 0.1, 20, 4000, 10, AtCorner::slow, 0.08};
        AnySeam const by_slowing(by_law(path, law));
        AnySeam const even{path, {0.25, length / 0.25}, 0.001};
        for (double const s : places) {
            check_rest(even, s, name + " at one speed");
            check_rest(by_slowing, s, name + " by a law");
        }
    }
}

TEST_CASE("by hand: the rest of a straight seam and of an arc") {
    AnySeam const straight(at_speed(straight_between({0, 0}, {0.05, 0}), flat, 0.25));
    auto const rest = rest_of(straight, 0.02);
    CHECK(rest.duration() == doctest::Approx(0.12).epsilon(4 * epsilon));
    CHECK(rest.at(0.06).position.x == doctest::Approx(0.035).epsilon(4 * epsilon));
    CHECK(rest.at(-0.01).position.x == doctest::Approx(0.0175).epsilon(4 * epsilon)); // its run-up
    AnySeam const arc(at_speed(arc_around({0, 0}, 0.02, 0, -pi), flat, 0.25));
    auto const quarter = rest_of(arc, 0.02 * pi / 2);
    CHECK(quarter.length() == doctest::Approx(0.02 * pi / 2).epsilon(4 * epsilon));
    CHECK(apart(quarter.at(0.0).position, {0, -0.02, 0}) <= 4 * epsilon * 0.02);
    CHECK(apart(quarter.at(quarter.duration()).position, {-0.02, 0, 0}) <= 4 * epsilon * 0.02);
}

TEST_CASE("a profile of the speed keeps its part: the rest starts at the speed that the seam had there") {
    AnyPath const path(OnFace<Straight<>, Plane<>>{straight_between({0, 0}, {0.05, 0}), flat});
    // From rest at 2 m/s² without a limit of the jerk: v = √(2 a s), 0.2 m/s at 10 mm after 0.1 s.
    AnySeam const seam(by_law(path, {0.4, 0.0, 0.4, 2}));
    auto const rest = rest_of(seam, 0.01);
    CHECK(rest.feed(0) == doctest::Approx(0.2).epsilon(1e-12));
    CHECK(seam.duration() - rest.duration() == doctest::Approx(0.1).epsilon(1e-12));
    CHECK(rest.at(0.05).position.x == doctest::Approx(0.5 * 2 * 0.15 * 0.15).epsilon(1e-12));
    // Before its start it runs on at that speed.
    CHECK(rest.at(-0.01).position.x == doctest::Approx(0.01 - 0.002).epsilon(1e-12));
}

TEST_CASE("a weave goes on with its width and frequency, and begins on the seam; the power ramps up again") {
    AnyPath const path(OnFace<Straight<>, Plane<>>{straight_between({0, 0}, {0.05, 0}), flat});
    PowerLaw const law(3000, {0.02, 0.05, 0.5, 0.1});
    AnySeam const seam(path, {0.25, 0.2}, 0.001, {100, 0.0005, WeaveForm::sine, -100, 0.002}, law);
    auto const rest = rest_of(seam, 0.025); // after 0.1 s
    CHECK(rest.weave.frequency == doctest::Approx(90).epsilon(1e-14));
    CHECK(rest.weave.frequency_growth == -100);
    CHECK(rest.weave.amplitude == doctest::Approx(0.0007).epsilon(1e-14));
    CHECK(rest.weave.amplitude_growth == 0.002);
    CHECK(std::abs(rest.at(0.0).position.y) <= 1e-18);
    double const t = 0.03;
    CHECK(rest.at(t).position.y ==
          doctest::Approx((0.0007 + 0.002 * t) * std::sin(2 * pi * (90 * t - 50 * t * t))).epsilon(1e-12));
    CHECK(rest.power_at(0, 0) == doctest::Approx(1500).epsilon(1e-14));
    CHECK(rest.power_at(0.03, 0) == doctest::Approx(3000).epsilon(1e-14));
    CHECK(rest.power_at(0.1, 0) == doctest::Approx(300).epsilon(1e-14));
}

TEST_CASE("a part of a stored path runs on along the path, or straight from a corner") {
    for (auto const& named : paths_of_every_kind()) {
        auto const& name = named.name;
        auto const& any = named.path;
        auto const* const path = std::get_if<LaidPath>(&any.choice());
        if (path == nullptr)
            continue;
        CAPTURE(name);
        double const from = 0.31 * path->length(), to = 0.74 * path->length();
        auto const part = part_of(*path, from, to);
        CHECK(part.length() == to - from);
        double before = 0, after = path->length(); // up to the next corner
        for (auto const& corner : path->corners()) {
            if (corner.arc_length <= from)
                before = corner.arc_length;
            if (corner.arc_length >= to)
                after = std::min(after, corner.arc_length);
        }
        for (double const d : {1e-9, 1e-7, 1e-4, 1e-3}) {
            for (double const s : {from - std::min(d, from - before), to + std::min(d, after - to)})
                CHECK(apart(part.at(s - from).position, path->at(s).position) <= rounding);
        }
        for (double const share : {0.0, 0.2, 0.6, 1.0}) {
            double const s = from + share * (to - from);
            auto const a = path->at(s, 0.001), b = part.at(s - from, 0.001);
            CHECK(apart(a.position, b.position) <= rounding);
        }
        // From a corner on, and up to it: straight on at both ends, as the part begins and ends.
        for (auto const& corner : path->corners()) {
            double const c = corner.arc_length;
            auto const early = part_of(*path, 0, c), late = part_of(*path, c, path->length());
            CHECK(early.corners().size() + late.corners().size() + 1 == path->corners().size());
            for (auto const& [piece, place, outward] :
                 {std::tuple{early, c, 1.0}, std::tuple{late, 0.0, -1.0}}) {
                auto const frame = frame_at(piece, place);
                auto const inside = frame_at(piece, place - outward * 1e-9);
                CHECK(norm(frame.tangent - inside.tangent) <= 1e-6); // the path bends by less than 1000 / m
                CHECK(std::abs(frame.curvature - inside.curvature) <= 1e-3); // of 20 / m, over 1 nm
                auto const far = piece.at(place + outward * 1e-3).position;
                CHECK(apart(far, frame.position + outward * 1e-3 * frame.tangent) <= 1e-9);
            }
        }
    }
}

TEST_CASE("rests that cannot be are refused, with the place and the length") {
    AnySeam const seam(at_speed(straight_between({0, 0}, {0.05, 0}), flat, 0.25));
    double const not_a_number = std::numeric_limits<double>::quiet_NaN();
    for (double const wrong : {-0.001, 0.05, 0.06, 0.05 - 1e-10, not_a_number, -not_a_number,
                               std::numeric_limits<double>::infinity()})
        CHECK_THROWS_AS((void)rest_of(seam, wrong), BadInput);
    auto const message = refusal_of([&] { return rest_of(seam, 0.06); });
    CHECK(has(message, "60 mm"));
    CHECK(has(message, "50 mm"));
    // From 0 it is the seam, also of a held point, which has no other rest.
    CHECK(rest_of(seam, 0).duration() == seam.duration());
    AnySeam const point(held({0.1, 0.2}, flat, 0.3));
    CHECK(rest_of(point, 0).duration() == 0.3);
    CHECK_THROWS_AS((void)rest_of(point, 0.001), BadInput);
    for (auto const& named : paths_of_every_kind()) {
        auto const& name = named.name;
        auto const& path = named.path;
        CAPTURE(name);
        double const length = path.length();
        CHECK_THROWS_AS((void)part_of(path, 0.3 * length, 0.3 * length), BadInput);
        CHECK_THROWS_AS((void)part_of(path, -0.01 * length, 0.3 * length), BadInput);
        CHECK_THROWS_AS((void)part_of(path, 0.3 * length, 1.01 * length), BadInput);
        CHECK_THROWS_AS((void)part_of(path, not_a_number, length), BadInput);
    }
}
