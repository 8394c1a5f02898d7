#include "seamhold/seam/moved.hpp"

#include <doctest/doctest.h>

#include "seamhold/seam/reversed.hpp"
#include "support/random.hpp"
#include "support/seam_paths.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const epsilon = std::numeric_limits<double>::epsilon();

/// A displacement by hand: a turn about z by `c`, then about x by `a`, then a shift; plain trigonometry.
struct ByHand {
    double a, c, x, y, z;

    std::array<double, 3> turned(double px, double py, double pz) const {
        double const qx = std::cos(c) * px - std::sin(c) * py, qy = std::sin(c) * px + std::cos(c) * py;
        return {qx, std::cos(a) * qy - std::sin(a) * pz, std::sin(a) * qy + std::cos(a) * pz};
    }

    Pose<Part, Part> pose() const {
        auto p = Pose<Part, Part>::identity();
        for (int k = 0; k < 3; ++k) {
            auto const column = turned(k == 0, k == 1, k == 2);
            for (int i = 0; i < 3; ++i)
                p.rotation.m[i][k] = column[static_cast<std::size_t>(i)];
        }
        p.origin = {x, y, z};
        return p;
    }
};

/// Corners and all; what a maker would refuse there does not matter here.
AnySeam at_even_speed(AnyPath const& path, Weave const& weave = {}) {
    return {path, {0.1, path.length() / 0.1}, 0.001, weave};
}

double off(double x, double y, double z, std::array<double, 3> const& wanted) {
    return std::hypot(x - wanted[0], y - wanted[1], z - wanted[2]);
}

/// Rounding of coordinates below 1 m: a dozen operations.
double const rounding = 16 * epsilon;

void check_moved(AnySeam const& seam, ByHand const& by, std::string const& name) {
    CAPTURE(name);
    auto const there = moved(seam, by.pose());
    CHECK(there.length() == doctest::Approx(seam.length()).epsilon(4 * epsilon));
    CHECK(there.duration() == seam.duration());
    CHECK(there.focus_offset == seam.focus_offset);
    CHECK(there.path.corners().size() == seam.path.corners().size());
    CHECK(there.path.continuity() == seam.path.continuity());
    REQUIRE(there.breaks().size() == seam.breaks().size());
    for (std::size_t i = 0; i < seam.breaks().size(); ++i)
        CHECK(std::abs(there.breaks()[i] - seam.breaks()[i]) < 1e-12);
    Random random(4711);
    double const duration = seam.duration();
    for (int i = 0; i < 40; ++i) {
        // From a millimetre before the start to a millimetre beyond the end; 0 and the end too.
        double const beyond = 1e-3 / seam.travel.speed();
        double const t = i == 0 ? 0 : i == 1 ? duration : random.uniform(-beyond, duration + beyond);
        CAPTURE(t);
        auto const from = seam.at(t);
        auto const to = there.at(t);
        auto place = by.turned(from.position.x, from.position.y, from.position.z);
        place = {place[0] + by.x, place[1] + by.y, place[2] + by.z};
        // Beyond its ends a stored path is kept within 3e-13 m.
        bool const inside = t >= 0 && t <= duration;
        CHECK(off(to.position.x, to.position.y, to.position.z, place) <= (inside ? rounding : 1e-12));
        auto const normal = by.turned(from.normal.x, from.normal.y, from.normal.z);
        CHECK(off(to.normal.x, to.normal.y, to.normal.z, normal) <= (inside ? 4 * rounding : 1e-9));
        if (!inside || i < 2)
            continue;
        auto const rate = seam.at(Taylor<double, 2>::variable(t)).position;
        auto const turned = there.at(Taylor<double, 2>::variable(t)).position;
        for (int k = 1; k <= 2; ++k) {
            auto const wanted = by.turned(rate.x.derivative(k), rate.y.derivative(k), rate.z.derivative(k));
            double const size = std::hypot(wanted[0], wanted[1], wanted[2]);
            // Of the coefficients of pieces, by their length; see reversed.cpp.
            CHECK(off(turned.x.derivative(k), turned.y.derivative(k), turned.z.derivative(k), wanted) <=
                  1e-12 * std::pow(50.0, k) * (1 + size));
        }
    }
}

ByHand const somewhere{0.3, -1.1, 0.07, -0.2, 0.11};

} // namespace

TEST_CASE("a seam of every kind of path is displaced with its normals, rates and breaks") {
    for (auto const& path : paths_of_every_kind()) {
        check_moved(at_even_speed(path.path), somewhere, path.name);
        check_moved(at_even_speed(path.path, {80, 3e-4}), somewhere, path.name + ", woven");
        check_moved(at_even_speed(path.path, {80, 3e-4, WeaveForm::circle}), {0.002, 0.001, 1e-4, 0, -1e-3},
                    path.name + ", in circles");
    }
}

TEST_CASE("a held point is displaced") {
    AnySeam const point = held({0.02, -0.01}, Plane<>{face_somewhere()}, 0.05);
    auto const there = moved(point, somewhere.pose());
    auto const from = point.at(0.01);
    auto place = somewhere.turned(from.position.x, from.position.y, from.position.z);
    auto const to = there.at(0.01);
    CHECK(off(to.position.x - somewhere.x, to.position.y - somewhere.y, to.position.z - somewhere.z, place) <=
          rounding);
    CHECK(there.duration() == point.duration());
    CHECK(there.length() == 0);
}

TEST_CASE("displaced there and back, and reversed before or after, a seam is the same") {
    for (auto const& path : paths_of_every_kind()) {
        auto const& called = path.name;
        CAPTURE(called);
        AnySeam const seam = at_even_speed(path.path);
        auto const back = moved(moved(seam, somewhere.pose()), inverse(somewhere.pose()));
        auto const one = moved(reversed(seam), somewhere.pose());
        auto const other = reversed(moved(seam, somewhere.pose()));
        for (int k = 0; k <= 10; ++k) {
            double const t = seam.duration() * k / 10;
            CHECK(norm(back.at(t).position - seam.at(t).position) <= 2 * rounding);
            CHECK(norm(one.at(t).position - other.at(t).position) <= 4 * rounding);
        }
    }
}

TEST_CASE("what is no rigid displacement is refused") {
    AnySeam const seam = at_even_speed(paths_of_every_kind().front().path);
    auto pose = somewhere.pose();
    pose.origin.y = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS((void)moved(seam, pose), BadInput);
    pose = somewhere.pose();
    pose.rotation.m[1][1] *= 1.000001;
    CHECK_THROWS_AS((void)moved(seam, pose), BadInput);
    pose = Pose<Part, Part>::identity();
    pose.rotation.m[2][2] = -1; // a mirror
    CHECK_THROWS_AS((void)moved(seam, pose), BadInput);
    pose.rotation.m[2][2] = std::numeric_limits<double>::infinity();
    CHECK_THROWS_AS((void)moved(seam, pose), BadInput);
}
