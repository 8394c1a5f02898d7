#include "seamhold/seam/reversed.hpp"

#include <doctest/doctest.h>

#include "seamhold/seam/travel_by.hpp"
#include "support/random.hpp"
#include "support/seam_paths.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const epsilon = std::numeric_limits<double>::epsilon();
Plane<> const flat{Pose<Part, Face>::identity()};

double apart(Point<Part> const& a, Point<Part> const& b) { return norm(a - b); }

/// Rounding of coordinates below 0.4 m, of lengths below 0.2 m at the places of polynomials, and of the ways
/// there and back: some ten operations.
double const rounding = 16 * epsilon * 0.4;

/// Times within a seam, away from the breaks of both.
std::vector<double> times_within(AnySeam const& seam, std::size_t count) {
    auto const breaks = seam.breaks();
    Random random(7301);
    std::vector<double> times{0, seam.duration()};
    while (times.size() < count) {
        double const t = random.uniform(0, seam.duration());
        if (std::none_of(breaks.begin(), breaks.end(), [t](double b) { return std::abs(b - t) < 1e-6; }))
            times.push_back(t);
    }
    return times;
}

/// What every seam must hold: the way back is the way there, with its normals, rates, breaks and corners.
void check_reversed(AnySeam const& seam, std::string const& name) {
    CAPTURE(name);
    auto const back = reversed(seam);
    CHECK(back.duration() == seam.duration());
    CHECK(back.length() == doctest::Approx(seam.length()).epsilon(8 * epsilon));
    double const duration = seam.duration();
    for (double const t : times_within(seam, 60)) {
        CAPTURE(t);
        auto const there = seam.at(duration - t);
        auto const here = back.at(t);
        CHECK(apart(here.position, there.position) <= rounding);
        CHECK(norm(here.normal - there.normal) <= 16 * epsilon + 50 * rounding); // faces bend by 50 / m
        CHECK(back.feed(t) == doctest::Approx(seam.feed(duration - t)).epsilon(1e-12));
        if (t == 0 || t == duration)
            continue; // rates belong to one side of an end
        auto const there_rates = seam.at(Taylor<double, 3>::variable(duration - t)).position;
        auto const here_rates = back.at(Taylor<double, 3>::variable(t)).position;
        double sign = 1;
        for (int k = 1; k <= 3; ++k) {
            sign = -sign;
            Direction<Part> const a{sign * there_rates.x.derivative(k), sign * there_rates.y.derivative(k),
                                    sign * there_rates.z.derivative(k)};
            Direction<Part> const b{here_rates.x.derivative(k), here_rates.y.derivative(k),
                                    here_rates.z.derivative(k)};
            // The coefficients of pieces moved by their own length: of order k some 1e-15 times as often as
            // the piece's length goes into the change, k times.
            CAPTURE(k);
            CHECK(norm(a - b) <= 1e-12 * std::pow(50.0, k) * (1 + norm(a)));
        }
    }
    // Breaks of the path and of the travel often fall together, to rounding; near a rest a place is passed at
    // a time that is known to the square root of rounding: √(2 · 1e-17 m / 20 m/s²) = 1e-9 s.
    auto const breaks = seam.breaks(), back_breaks = back.breaks();
    auto const has = [](std::vector<double> const& all, double t) {
        return std::any_of(all.begin(), all.end(), [t](double x) { return std::abs(x - t) <= 4e-9; });
    };
    for (double const t : breaks)
        CHECK(has(back_breaks, duration - t));
    for (double const t : back_breaks)
        CHECK(has(breaks, duration - t));
    auto const corners = seam.path.corners(), back_corners = back.path.corners();
    REQUIRE(corners.size() == back_corners.size());
    for (std::size_t i = 0; i < corners.size(); ++i) {
        auto const& mirrored = back_corners[corners.size() - 1 - i];
        CHECK(std::abs(mirrored.arc_length - (seam.length() - corners[i].arc_length)) <= rounding);
        CHECK(std::abs(mirrored.angle) == doctest::Approx(std::abs(corners[i].angle)).epsilon(1e-9));
    }
    CHECK(back.path.continuity() == seam.path.continuity());
}

} // namespace

TEST_CASE("law: what is reversed passes every place of every path at the mirrored time") {
    for (auto const& named : paths_of_every_kind()) {
        auto const& name = named.name;
        auto const& path = named.path;
        AnySeam const even{path, {0.25, path.length() / 0.25}, 0.001};
        check_reversed(even, name + " at one speed");
        check_reversed(reversed(even), name + " at one speed, twice reversed");
        SpeedLaw law{0.25, 0.05, 0.0, 20, 4000, 10, AtCorner::slow, 0.08};
        check_reversed(by_law(path, law), name + " by a law that slows");
        law.at_corners = AtCorner::stop;
        law.jerk = std::numeric_limits<double>::infinity();
        check_reversed(by_law(path, law), name + " by a law that stops, without a limit of the jerk");
    }
    AnySeam const point(held({0.1, 0.2}, Plane<>{face_somewhere()}, 0.3));
    check_reversed(point, "held");
}

TEST_CASE("a reversed path runs on beyond its ends as the path did") {
    for (auto const& named : paths_of_every_kind()) {
        auto const& name = named.name;
        auto const& path = named.path;
        CAPTURE(name);
        auto const back = reversed(path);
        double const length = path.length();
        // Drawn curves run on straight by either way, stored ones as they are stored: each of the 16 pieces
        // of an overrun as its beginning is, and what the path stores is right to 3e-13.
        for (double const s : {-1.9e-3, -1e-3, -1e-4, -1e-6})
            for (double const place : {s, length - s}) {
                CAPTURE(place);
                CHECK(apart(back.at(place).position, path.at(length - place).position) <= 1e-11);
            }
    }
}

TEST_CASE("left of travel changes its side, the normal stays") {
    for (auto const& named : paths_of_every_kind()) {
        auto const& name = named.name;
        auto const& path = named.path;
        CAPTURE(name);
        auto const back = reversed(path);
        for (double const share : {0.13, 0.48, 0.87}) {
            double const s = share * path.length();
            auto const right = path.at(s, -0.002);
            auto const left = back.at(path.length() - s, 0.002);
            // The bend of a stored path is read back to a few units in the last place.
            CHECK(apart(left.position, right.position) <= rounding);
            CHECK(norm(left.normal - right.normal) <= 64 * epsilon);
        }
    }
    // A held point has no travel: its left stays the face's y axis.
    auto const still = reversed(AnyPath(held({0.1, 0.2}, flat, 0.3).path));
    CHECK(still.at(0.0, 0.002).position.y == doctest::Approx(0.202).epsilon(epsilon));
}

TEST_CASE("a weave keeps its width and frequency at every place, and begins anew") {
    double const duration = 0.2; // of 50 mm
    AnyPath const path(OnFace<Straight<>, Plane<>>{straight_between({0, 0}, {0.05, 0}), flat});
    // 100 Hz falling to 80: 18 periods on the whole, so that the line is the same.
    Weave const growing{100, 0.0005, WeaveForm::sine, -100, 0.002};
    for (WeaveForm const form : {WeaveForm::sine, WeaveForm::triangle, WeaveForm::figure_eight}) {
        Weave weave = growing;
        weave.form = form;
        AnySeam const seam(path, {0.25, duration}, 0, weave);
        auto const back = reversed(seam);
        CHECK(back.weave.frequency == doctest::Approx(80).epsilon(1e-14));
        CHECK(back.weave.frequency_growth == 100);
        CHECK(back.weave.amplitude == doctest::Approx(0.0009).epsilon(1e-14));
        CHECK(back.weave.amplitude_growth == -0.002);
        for (double const t : times_within(seam, 30)) // phases of up to 113 rad, at 1 mm
            CHECK(apart(back.at(t).position, seam.at(duration - t).position) <=
                  200 * epsilon * 0.001 + rounding);
    }
    // Half a period more, and it begins to the new left, which is the other side.
    AnySeam const half(path, {0.25, duration}, 0, {2.5, 0.001});
    auto const back = reversed(half);
    CHECK(half.at(duration - 0.03).position.y > 0.0004);
    CHECK(back.at(0.03).position.y < -0.0004);
    // What dies out to a last bit below 0 does not begin below 0.
    AnySeam const dying(path, {0.25, duration}, 0, {100, 0.001, WeaveForm::sine, 0, -0.005 * (1 + 1e-13)});
    CHECK(reversed(dying).weave.amplitude == 0);
}

TEST_CASE("power ramps stay at the start and at the end, the focus offset stays") {
    AnyPath const path(OnFace<Straight<>, Plane<>>{straight_between({0, 0}, {0.05, 0}), flat});
    PowerLaw const law({{0, 1000}, {0.25, 3000}}, 0, {0.02, 0.05, 0.5, 0.1});
    AnySeam const seam(path, {0.25, 0.2}, 0.003, {}, law);
    auto const back = reversed(seam);
    CHECK(back.focus_offset == 0.003);
    CHECK(back.power_at(0, 0) == doctest::Approx(1500).epsilon(1e-14));
    CHECK(back.power_at(0.1, 0) == doctest::Approx(3000).epsilon(1e-14));
    CHECK(back.power_at(0.2, 0) == doctest::Approx(300).epsilon(1e-14));
}

TEST_CASE("a start from rest becomes an end at rest") {
    AnyPath const path(OnFace<Straight<>, Plane<>>{straight_between({0, 0}, {0.05, 0}), flat});
    AnySeam const seam(by_law(path, {0.25, 0.0, {}, 10, 500}));
    auto const back = reversed(seam);
    CHECK(seam.feed(0) == 0);
    CHECK(back.feed(0) == doctest::Approx(0.25).epsilon(1e-12));
    CHECK(back.feed(back.duration()) == 0);
    // Before the start on at full speed, after the end at rest.
    CHECK(back.at(-0.01).position.x == doctest::Approx(0.0525).epsilon(1e-12));
    CHECK(std::abs(back.at(back.duration() + 0.1).position.x) <= 1e-16);
}
