#include "seamhold/frame/fit.hpp"

#include <doctest/doctest.h>

#include "seamhold/frame/angles.hpp"
#include "support/numbers.hpp"
#include "support/poses.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

// Frames from touched points: worked out by hand, against a pose that is known, and against Eigen's umeyama.

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Touched = TouchedPoint<Cell, Part>;

Pose<Cell, Part> through(Point<Cell> const& origin, Point<Cell> const& x, Point<Cell> const& y,
                         double least_width = millimetres(1)) {
    return pose_through<Cell, Part>(origin, x, y, least_width);
}

// `count` places of a part of about 0.4 m, and where they are touched, each off by `noise` at random.
std::vector<Touched> touched(Random& random, Pose<Cell, Part> const& pose, int count, double noise) {
    std::vector<Touched> points;
    for (int i = 0; i < count; ++i) {
        Point<Part> const known{random.uniform(-0.2, 0.2), random.uniform(-0.2, 0.2),
                                random.uniform(-0.05, 0.05)};
        Direction<Cell> const off{noise * random.normal(), noise * random.normal(), noise * random.normal()};
        points.push_back({known, pose * known + off});
    }
    return points;
}

double squares_of(std::vector<Touched> const& points, Pose<Cell, Part> const& pose) {
    double sum = 0;
    for (auto const& point : points)
        sum += squared_norm(point.touched - pose * point.known);
    return sum;
}

} // namespace

TEST_CASE("three touched points by hand") {
    // The part stands upright: its x axis along the cell's y, its y axis up; so z = x × y is the cell's x.
    auto const pose = through({1, 2, 3}, {1, 2.5, 3}, {1, 1.7, 3.2});
    CHECK(difference(pose.origin, Point<Cell>{1, 2, 3}) == 0);
    CHECK(difference(pose * Direction<Part>{1, 0, 0}, Direction<Cell>{0, 1, 0}) <= 2 * epsilon);
    CHECK(difference(pose * Direction<Part>{0, 1, 0}, Direction<Cell>{0, 0, 1}) <= 2 * epsilon);
    CHECK(difference(pose * Direction<Part>{0, 0, 1}, Direction<Cell>{1, 0, 0}) <= 2 * epsilon);
}

TEST_CASE("three points touched on a known frame give it back") {
    Random random(8901);
    for (int i = 0; i < 100; ++i) {
        auto const pose = random_pose<Cell, Part>(random);
        auto const found = through(pose.origin, pose * Point<Part>{random.uniform(0.05, 1), 0, 0},
                                   pose * Point<Part>{random.uniform(-1, 1), random.uniform(0.05, 1), 0});
        // Coordinates of some metres to their last bits, over a base of 0.05 m.
        CHECK(difference(found, pose) <= 400 * epsilon);
        CHECK(distance_from_rotation(found.rotation) <= 10 * epsilon);
    }
}

TEST_CASE("three points that make no frame are refused and named") {
    auto const line = refusal_of([] { return through({0, 0, 0}, {0.1, 0, 0}, {0.3, 0.0005, 0}); });
    CHECK(has(line, "lie on one line"));
    CHECK(has(line, "(300, 0.5, 0) mm"));
    CHECK(has(line, "only 0.5 mm off"));
    auto const same = refusal_of([] { return through({0.1, 0, 0}, {0.1, 0, 0.00025}, {0.3, 0.4, 0}); });
    CHECK(has(same, "coincide"));
    CHECK(has(same, "0.25 mm apart"));
    CHECK(has(refusal_of([] { return through({0, 0, 0}, {0.1, 0, 0}, {0, 0, 0}); }), "point on the y side"));
    CHECK(has(refusal_of([] {
                  return through({0, 0, 0}, {0.1, 0, not_a_number}, {0, 0.1, 0});
              }),
              "point on the x axis is not finite"));
    // The width is the caller's.
    CHECK(refusal_of([] { return through({0, 0, 0}, {0.1, 0, 0}, {0.3, 0.0005, 0}, 1e-4); }).empty());
}

TEST_CASE("a fit by hand: a twisted rectangle") {
    // The corners of a plate are touched 0.3 mm too high and too low in turn. That is neither a shift nor a
    // tilt (Σe = Σe·x = Σe·y = 0), so the pose is the true one, and each corner is 0.3 mm off.
    Pose<Cell, Part> const pose{from_zyx_angles<Cell, Part>(degrees(90), 0, 0), {0.5, 0.2, 0.1}};
    std::vector<Touched> points;
    std::array<Point<Part>, 4> const corners{{{0, 0, 0}, {0.3, 0, 0}, {0.3, 0.2, 0}, {0, 0.2, 0}}};
    for (std::size_t i = 0; i < 4; ++i)
        points.push_back({corners[i], pose * corners[i] + Direction<Cell>{0, 0, i % 2 == 0 ? 3e-4 : -3e-4}});
    auto const fitted = fit_pose(points);
    CHECK(difference(fitted.pose, pose) <= 20 * epsilon);
    CHECK(std::abs(fitted.rms - 3e-4) <= 4 * epsilon);
    CHECK(std::abs(fitted.worst - 3e-4) <= 4 * epsilon);
    REQUIRE(fitted.residuals.size() == 4);
    for (std::size_t i = 0; i < 4; ++i)
        CHECK(difference(fitted.residuals[i], Direction<Cell>{0, 0, i % 2 == 0 ? 3e-4 : -3e-4}) <=
              4 * epsilon);
}

TEST_CASE("a known pose comes back from points without noise, also flat ones and a tray far away") {
    Random random(8902);
    for (int i = 0; i < 100; ++i) {
        bool const flat = i % 3 == 0;
        bool const far = i % 5 == 0;
        auto pose = random_pose<Cell, Part>(random);
        if (far)
            pose.origin.x += 100;
        auto points = touched(random, pose, 3 + i % 6, 0);
        for (auto& point : points)
            if (flat) {
                point.known.z = 0;
                point.touched = pose * point.known;
            }
        auto const fitted = fit_pose(points);
        // The touched coordinates are rounded at their size (some m or 100 m); how narrow the points lie
        // makes the rotation worse: three at random may lie within centimetres of a line.
        double const rounding = (far ? 100 : 1) * 2000 * epsilon;
        CHECK(difference(fitted.pose, pose) <= rounding);
        CHECK(fitted.rms <= rounding);
        CHECK(fitted.worst <= rounding);
        CHECK(distance_from_rotation(fitted.pose.rotation) <= 20 * epsilon);
    }
}

TEST_CASE("noisy points are fitted as by Eigen's umeyama, and no pose beside is better") {
    Random random(8903);
    for (int i = 0; i < 60; ++i) {
        auto const pose = random_pose<Cell, Part>(random);
        int const count = 4 + i % 20;
        auto const points = touched(random, pose, count, i % 2 == 0 ? 2e-4 : 0.02);
        auto const fitted = fit_pose(points);
        Eigen::Matrix3Xd from(3, count), to(3, count);
        for (int k = 0; k < count; ++k) {
            from.col(k) = as_vector(points[static_cast<std::size_t>(k)].known);
            to.col(k) = as_vector(points[static_cast<std::size_t>(k)].touched);
        }
        Eigen::Matrix4d const theirs = Eigen::umeyama(from, to, false);
        auto const& r = fitted.pose.rotation;
        // Both round at coordinates of some metres; narrow sets of four make it larger.
        CHECK((theirs.topLeftCorner<3, 3>() - as_matrix(r)).cwiseAbs().maxCoeff() <= 1000 * epsilon);
        CHECK((theirs.topRightCorner<3, 1>() - as_vector(fitted.pose.origin)).cwiseAbs().maxCoeff() <=
              1000 * epsilon);

        double const least = squares_of(points, fitted.pose);
        CHECK(std::abs(std::sqrt(least / count) - fitted.rms) <= 100 * epsilon);
        double worst = 0;
        for (auto const& point : points)
            worst = std::max(worst, norm(point.touched - fitted.pose * point.known));
        CHECK(worst == fitted.worst);
        CHECK(norm(fitted.residuals[fitted.worst_point]) == fitted.worst);
        for (int n = 0; n < 12; ++n) {
            auto beside = fitted.pose;
            double const step = n % 2 == 0 ? 1e-4 : -1e-4;
            if (n < 6)
                (n < 2 ? beside.origin.x : n < 4 ? beside.origin.y : beside.origin.z) += step;
            else
                beside.rotation =
                    beside.rotation *
                    about_axis<Part, Part>(
                        {n < 8 ? 1.0 : 0.0, n == 8 || n == 9 ? 1.0 : 0.0, n > 9 ? 1.0 : 0.0}, step);
            CHECK(squares_of(points, beside) > least);
        }
    }
}

TEST_CASE("one touch gone wrong is the worst point") {
    Random random(8904);
    auto const pose = random_pose<Cell, Part>(random);
    auto points = touched(random, pose, 9, 5e-5);
    points[6].touched = points[6].touched + Direction<Cell>{0, 0.004, 0};
    auto const fitted = fit_pose(points);
    CHECK(fitted.worst_point == 6);
    // Of 4 mm a point among nine keeps most and shifts the others; at least 4 mm (1 − 1/9 − its lever).
    CHECK(fitted.worst > 0.002);
}

TEST_CASE("points that fix no pose are refused and named") {
    auto const fit = [](std::vector<Touched> const& points) {
        return refusal_of([&] { return fit_pose(points); });
    };
    Random random(8905);
    auto const pose = random_pose<Cell, Part>(random);
    auto const good = touched(random, pose, 5, 0);
    CHECK(fit(good).empty());
    CHECK(has(fit({}), "0 given"));
    CHECK(has(fit({good[0], good[1]}), "2 given"));

    // Three places, of which two are one.
    auto const twice = fit({good[0], good[1], good[0]});
    CHECK(has(twice, "known point"));
    CHECK(has(twice, "lie on one line"));
    auto const once = fit({good[2], good[2], good[2], good[2]});
    CHECK(has(once, "all points coincide"));
    // The same place touched twice among enough others counts twice.
    CHECK(fit({good[0], good[1], good[2], good[2]}).empty());

    std::vector<Touched> line;
    for (int i = 0; i < 4; ++i) {
        Point<Part> const known{0.1 * i, i == 2 ? 5e-4 : 0, 0.02 * i};
        line.push_back({known, pose * known});
    }
    auto const message = fit(line);
    CHECK(has(message, "known point 4 (300, 0, 60) mm"));
    CHECK(has(message, "known point 1 (0, 0, 0) mm"));
    CHECK(has(message, "known point 3 (200, 0.5, 40) mm"));
    CHECK(has(message, "0.5"));
    CHECK(refusal_of([&] { return fit_pose(line, 1e-4); }).empty());

    // Known places are well spread, but what was touched lies on one line.
    auto wrong = good;
    for (std::size_t i = 0; i < wrong.size(); ++i)
        wrong[i].touched = {0.1 * static_cast<double>(i), 0, 0.5};
    CHECK(has(fit(wrong), "touched point"));
    wrong = good;
    wrong[3].touched.y = not_a_number;
    CHECK(has(fit(wrong), "touched point 4"));
    wrong = good;
    wrong[1].known.x = std::numeric_limits<double>::infinity();
    CHECK(has(fit(wrong), "known point 2"));

    // A mirrored list is no pose: a proper rotation comes out and large residuals say so.
    auto mirrored = good;
    for (auto& point : mirrored)
        point.known.z = 0.2 - 5 * point.known.z;
    auto const flipped = fit_pose(mirrored);
    CHECK(distance_from_rotation(flipped.pose.rotation) <= 20 * epsilon);
    CHECK(flipped.rms > 0.02);
}
