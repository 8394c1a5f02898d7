#include "seamhold/seam/taught.hpp"

#include <doctest/doctest.h>

#include "support/frames.hpp"
#include "support/poses.hpp"

#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const radius = 0.08, rise = 0.01;

/// Points of a helix about the part's z axis, with outward normals.
struct Taught {
    std::vector<Point<Part>> points;
    std::vector<Direction<Part>> normals;
};
Taught helix(int count) {
    Taught taught;
    for (int i = 0; i < count; ++i) {
        double const a = 2.0 * i / (count - 1);
        taught.points.push_back({radius * std::cos(a), radius * std::sin(a), rise * a});
        taught.normals.push_back({5 * std::cos(a), 5 * std::sin(a), 0}); // of any length
    }
    return taught;
}
double const helix_length = 2 * std::hypot(radius, rise);

double worst_off(LaidPath const& path) {
    double worst = 0;
    for (int i = 0; i <= 1000; ++i) {
        auto const p = path.at(path.length() * i / 1000).position;
        worst = std::max(worst, std::abs(std::hypot(p.x, p.y) - radius));
    }
    return worst;
}

} // namespace

TEST_CASE("a path through taught points has unit speed, an orthonormal frame, and meets every point") {
    for (int const count : {2, 3, 4, 7, 30, 300}) {
        CAPTURE(count);
        auto const taught = helix(count);
        // Two points two radians apart would have normals along the chord; take their mean direction.
        auto const path =
            count == 2 ? path_through(taught.points, {0, 0, 1}) : path_through(taught.points, taught.normals);
        check_frames(path);
        CHECK(difference(path.at(0.0).position, taught.points.front()) <= 1e-15);
        CHECK(difference(path.at(path.length()).position, taught.points.back()) <= 1e-13);
        CHECK(path.corners().empty());
    }
}

TEST_CASE("taught more densely, the path nears the true one with the fourth power") {
    double const coarse = worst_off(path_through(helix(21).points, helix(21).normals));
    double const fine = worst_off(path_through(helix(41).points, helix(41).normals));
    double const finest = worst_off(path_through(helix(81).points, helix(81).normals));
    CHECK(coarse / fine > 12);
    CHECK(fine / finest > 12);
    CHECK(finest < 1e-8);
    auto const path = path_through(helix(81).points, helix(81).normals);
    CHECK(path.length() == doctest::Approx(helix_length).epsilon(1e-8));
    for (double const share : {0.1, 0.5, 0.83}) {
        auto const p = path.at(share * path.length());
        double const a = 2 * share;
        CHECK(difference(p.normal, Direction<Part>{std::cos(a), std::sin(a), 0}) <= 1e-6);
    }
}

TEST_CASE("two points give a straight line; one direction serves for all normals") {
    auto const path = path_through({{0, 0, 0}, {0.03, 0, 0.04}}, Direction<Part>{0, 0, 2});
    CHECK(path.length() == doctest::Approx(0.05).epsilon(1e-14));
    auto const f = frame_at(path, 0.02);
    CHECK(difference(f.position, Point<Part>{0.012, 0, 0.016}) <= 1e-16);
    CHECK(difference(f.normal, Direction<Part>{-0.8, 0, 0.6}) <= 1e-14); // square to the line, as near to z
    CHECK(f.curvature <= 1e-9);
}

TEST_CASE("the path is C²: the curvature does not jump at the points") {
    auto const path = path_through(helix(9).points, helix(9).normals);
    for (double const s : path.breaks()) {
        double const h = 1e-9;
        CHECK(std::abs(frame_at(path, s + h).curvature - frame_at(path, s - h).curvature) <= 1e-4);
    }
}

TEST_CASE("points and normals that cannot be are refused, naming them") {
    auto const refused = [](std::vector<Point<Part>> const& points,
                            std::vector<Direction<Part>> const& normals) {
        try {
            (void)path_through(points, normals);
        } catch (BadInput const& error) {
            return std::string(error.what());
        }
        return std::string();
    };
    auto const has = [](std::string const& text, char const* part) {
        return text.find(part) != std::string::npos;
    };
    Direction<Part> const up{0, 0, 1}, down{0, 0.1, -1}, ahead{1, 0, 0.01};
    Point<Part> const a{0, 0, 0}, b{0.01, 0, 0}, c{0.02, 0, 0};
    double const not_a_number = std::numeric_limits<double>::quiet_NaN();
    CHECK(refused({a, b, c}, {up, up, up}).empty());
    CHECK(has(refused({a}, {up}), "two points"));
    CHECK(has(refused({a, b, b}, {up, up, up}), "points 2 and 3 are one place, (10, 0, 0) mm"));
    CHECK(has(refused({a, {not_a_number, 0, 0}}, {up, up}), "point 2 is not finite"));
    CHECK(has(refused({a, b, c}, {up, up}), "3 taught points"));
    CHECK(has(refused({a, b, c}, {up, {0, 0, 0}, up}), "point 2 at (10, 0, 0) mm has no direction"));
    CHECK(has(refused({a, b, c}, {up, up, down}), "contradict each other: from taught point 2 to"));
    CHECK(has(refused({a, b, c}, {up, ahead, up}), "point 2 at (10, 0, 0) mm lies along the path"));
}
