#include "seamhold/calibrate/path_accuracy.hpp"

#include "support/motions.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::random_pose;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

using FlangePose = Pose<Cell, Flange>;

FlangePose at_mm(double x, double y, double z) {
    return {Rotation<Cell, Flange>::identity(), {x / 1000, y / 1000, z / 1000}};
}

/// A pose turned about the cell's axes by small angles, rad.
FlangePose turned(FlangePose const& pose, double a, double b, double c) {
    double const angle = std::sqrt(a * a + b * b + c * c);
    if (!(angle > 0))
        return pose;
    return {about_axis<Cell, Cell>({a / angle, b / angle, c / angle}, angle) * pose.rotation, pose.origin};
}

/// How far two numbers are apart.
double apart(double a, double b) { return std::abs(a - b); }

} // namespace

TEST_CASE("pose accuracy: a worked example, and one by hand") {
    // Made up, in mm; its figures were worked out apart in 12 digits.
    auto const first =
        pose_accuracy(at_mm(100, 200, 50), {at_mm(100.02, 200.01, 50.00), at_mm(99.98, 200.03, 50.02),
                                            at_mm(100.01, 199.99, 49.98), at_mm(100.03, 200.02, 50.01),
                                            at_mm(99.96, 200.00, 49.99)});
    CHECK(apart(first.position_accuracy, 0.01e-3) < 1e-13);
    CHECK(apart(first.mean_distance, 0.0320467342e-3) < 1e-13);
    CHECK(apart(first.distance_deviation, 0.0081399346e-3) < 1e-13);
    CHECK(apart(first.position_repeatability, 0.0564665379e-3) < 1e-13);

    // By hand: four places about (1, 2, 2) mm, 3, 3, 4 and 4 mm from it: AP = 3 mm, l̄ = 3.5 mm, S = √(4 ·
    // 0.25 / 3) mm. Turned about z by 2, 0, 2, 0 mrad: AP_c = 1 mrad, its deviation √(4/3) mrad.
    auto const origin = at_mm(0, 0, 0);
    auto const hand = pose_accuracy(origin, {turned(at_mm(4, 2, 2), 0, 0, 2e-3), at_mm(-2, 2, 2),
                                             turned(at_mm(1, 6, 2), 0, 0, 2e-3), at_mm(1, -2, 2)});
    CHECK(hand.count == 4);
    CHECK(apart(hand.position_accuracy, 3e-3) < 1e-17);
    CHECK(apart(hand.deviation[0], 1e-3) < 1e-17);
    CHECK(apart(hand.deviation[1], 2e-3) < 1e-17);
    CHECK(apart(hand.mean_distance, 3.5e-3) < 1e-17);
    CHECK(apart(hand.distance_deviation, 1e-3 / std::sqrt(3.0)) < 1e-17);
    CHECK(apart(hand.position_repeatability, (3.5 + std::sqrt(3.0)) * 1e-3) < 1e-16);
    CHECK(apart(hand.turn[2], 1e-3) < 1e-15);
    CHECK(hand.turn[0] == 0);
    CHECK(apart(hand.turn_repeatability[2], 3 * std::sqrt(4.0 / 3) * 1e-3) < 1e-15);
    // For the budget: x is 4, −2, 1, 1 mm, variance (9 + 9) / 3 = 6 mm².
    CHECK(apart(hand.scatter.mean[3], 1e-3) < 1e-17);
    CHECK(apart(hand.scatter.covariance(3, 3), 6e-6) < 1e-17);
    CHECK(apart(hand.scatter.summary(3).deviation, std::sqrt(6.0) * 1e-3) < 1e-15);
}

TEST_CASE("pose accuracy: a constant deviation is found in 1000 cells, in the axes of both frames") {
    Random random(821);
    double worst = 0, worst_turn = 0, worst_spread = 0;
    for (std::size_t run = 0; run < runs(1000); ++run) {
        auto const commanded = random_pose<Cell, Flange>(random, 2);
        std::array<double, 3> turn{}, shift{};
        for (std::size_t k = 0; k < 3; ++k) {
            turn[k] = random.uniform(-0.01, 0.01);
            shift[k] = random.uniform(-0.004, 0.004);
        }
        auto attained = turned(commanded, turn[0], turn[1], turn[2]);
        attained.origin = attained.origin + Direction<Cell>{shift[0], shift[1], shift[2]};
        auto const r = pose_accuracy(commanded, std::vector<FlangePose>(5, attained));
        auto const& m = commanded.rotation.m;
        for (std::size_t k = 0; k < 3; ++k) {
            worst = std::max(worst, apart(r.deviation[k], shift[k]));
            worst_turn = std::max(worst_turn, apart(r.turn[k], turn[k]));
            // In the axes of the flange, by the columns of its matrix.
            worst = std::max(worst, apart(r.scatter.mean[3 + k],
                                          m[0][k] * shift[0] + m[1][k] * shift[1] + m[2][k] * shift[2]));
            worst_turn = std::max(worst_turn, apart(r.scatter.mean[k], m[0][k] * turn[0] + m[1][k] * turn[1] +
                                                                           m[2][k] * turn[2]));
        }
        worst_spread = std::max(worst_spread, r.position_repeatability);
    }
    CHECK(worst < 1e-14);      // 2 m to their last places
    CHECK(worst_turn < 1e-14); // entries of a matrix likewise
    CHECK(worst_spread < 1e-14);
}

TEST_CASE("pose accuracy: figures of scatter by another way, errors by 1/√n, intervals that cover") {
    Random random(822);
    std::size_t const trials = runs(2000);
    std::array<std::size_t, 6> mean_in{}, deviation_in{};
    double squares = 0, squares_16 = 0;
    std::size_t alarms = 0;
    std::array<double, 6> const true_mean{1e-4, -2e-4, 5e-5, 3e-4, 1e-4, -2e-4};
    std::array<double, 6> const spread{2e-5, 4e-5, 1e-5, 5e-5, 1e-5, 2e-5};
    auto const repeats = [&](FlangePose const& commanded, std::size_t n) {
        std::vector<FlangePose> all;
        for (std::size_t i = 0; i < n; ++i) {
            std::array<double, 6> step{};
            for (std::size_t k = 0; k < 6; ++k)
                step[k] = true_mean[k] + spread[k] * random.normal();
            all.push_back(moved_by(commanded, step));
        }
        return all;
    };
    double worst = 0;
    for (std::size_t i = 0; i < trials; ++i) {
        auto const commanded = random_pose<Cell, Flange>(random, 1);
        auto const all = repeats(commanded, 10);
        auto const r = pose_accuracy(commanded, all);
        for (std::size_t k = 0; k < 6; ++k) {
            auto const s = r.scatter.summary(k);
            mean_in[k] += s.mean_bounds().contains(true_mean[k]) ? 1 : 0;
            deviation_in[k] += s.deviation_bounds().contains(spread[k]) ? 1 : 0;
        }
        squares += sqr(r.scatter.mean[3] - true_mean[3]);
        alarms += std::count(r.outlier.begin(), r.outlier.end(), true) > 0 ? 1 : 0;
        if (i % 8 == 0)
            squares_16 +=
                8 * sqr(pose_accuracy(commanded, repeats(commanded, 160)).scatter.mean[3] - true_mean[3]);
        // S by sums of squares in long double: Σ l² = n/(n−1) …, apart from the library's two passes.
        long double x = 0, y = 0, z = 0, l = 0, l2 = 0;
        for (auto const& p : all) {
            x += p.origin.x / 10.0L;
            y += p.origin.y / 10.0L;
            z += p.origin.z / 10.0L;
        }
        for (auto const& p : all) {
            long double const d =
                std::sqrt((p.origin.x - x) * (p.origin.x - x) + (p.origin.y - y) * (p.origin.y - y) +
                          (p.origin.z - z) * (p.origin.z - z));
            l += d;
            l2 += d * d;
        }
        auto const s = static_cast<double>(std::sqrt((l2 - l * l / 10) / 9));
        worst = std::max(worst, apart(r.position_repeatability, static_cast<double>(l) / 10 + 3 * s));
    }
    CHECK(worst < 1e-14);
    for (std::size_t k = 0; k < 6; ++k)
        for (std::size_t const count : {mean_in[k], deviation_in[k]}) {
            double const share = static_cast<double>(count) / static_cast<double>(trials);
            CHECK(share > 0.93);
            CHECK(share < 0.97);
        }
    CHECK(std::abs(std::sqrt(squares / squares_16) - 4) <
          4 * 0.1); // four deviations from 250 and 2000 squares
    CHECK(static_cast<double>(alarms) / static_cast<double>(trials) < 0.01);
}

TEST_CASE("pose accuracy: one gross error in ten is named, and counts or not as asked") {
    Random random(823);
    for (std::size_t run = 0; run < runs(200); ++run) {
        auto const commanded = random_pose<Cell, Flange>(random, 1);
        std::vector<FlangePose> all, rest;
        std::size_t const wrong = random.index(10);
        bool const in_turn = run % 2 == 1;
        for (std::size_t i = 0; i < 10; ++i) {
            double const u = 2e-5 * random.normal(), v = 2e-5 * random.normal(), w = 2e-5 * random.normal();
            auto p = turned(commanded, v, w, u);
            p.origin = p.origin + Direction<Cell>{u, v, w};
            if (i == wrong) {
                p = in_turn ? turned(p, 3e-3, 0, 0) : p;
                p.origin = p.origin + Direction<Cell>{0, in_turn ? 0 : 2e-3, 0};
            } else {
                rest.push_back(p);
            }
            all.push_back(p);
        }
        auto const counted = pose_accuracy(commanded, all);
        auto const left_out = pose_accuracy(commanded, all, Outliers::left_out);
        for (std::size_t i = 0; i < 10; ++i) {
            CHECK(counted.outlier[i] == (i == wrong));
            CHECK(left_out.outlier[i] == (i == wrong));
        }
        CHECK(counted.count == 10);
        CHECK(left_out.count == 9);
        auto const clean = pose_accuracy(commanded, rest);
        CHECK(left_out.position_repeatability == clean.position_repeatability);
        CHECK(left_out.turn_repeatability == clean.turn_repeatability);
        if (!in_turn)
            CHECK(counted.position_repeatability > 10 * clean.position_repeatability);
    }
}

TEST_CASE("pose accuracy: what is refused, and in which words") {
    auto const said = [](FlangePose const& commanded, std::vector<FlangePose> const& attained) {
        return refusal_of([&] { return pose_accuracy(commanded, attained); });
    };
    auto const c = at_mm(800, 300, 500);
    CHECK(has(said(c, {}), "given 0"));
    CHECK(has(said(c, {c}), "given 1"));
    CHECK(has(said(c, {c, {c.rotation, {NAN, 0, 0}}}), "repeat 2"));
    CHECK(has(said(c, std::vector<FlangePose>(3, at_mm(800.2e3, 300.1e3, 500e3))),
              "millimetres given as metres"));
    CHECK(has(said(c, std::vector<FlangePose>(3, at_mm(0.8, 0.3, 0.5))), "metres divided by 1000"));
    CHECK(has(said(c, std::vector<FlangePose>(3, at_mm(800 / 25.4e-3, 300 / 25.4e-3, 500 / 25.4e-3))),
              "inches"));
    CHECK(has(said(c, std::vector<FlangePose>(3, at_mm(300.1, 800.2, 500))), "x and y swapped"));
    CHECK(has(said(c, std::vector<FlangePose>(3, at_mm(500, 300.1, 800.2))), "x and z swapped"));
    CHECK(has(said(c, std::vector<FlangePose>(3, at_mm(800.2, 500, 300.1))), "y and z swapped"));
    CHECK(said(c, std::vector<FlangePose>(3, at_mm(800.2, 300.1, 499))) == "");
}

namespace {

/// A straight path in a frame of its own, through (·, y, z) with slopes, at a constant speed from a start of
/// its own, the flange turned by a constant angle: a spline through its rows is the line itself.
struct Straight {
    FlangePose cell_from_line; ///< the line runs along the flange's x axis there
    double speed, start, y, z, slope, turn;

    template <class T> Pose<Cell, Flange, T> at(T const& t) const {
        T const x = (t - start) * speed;
        auto const base = number_cast<T>(cell_from_line);
        auto const own = about_axis<Flange, Flange>(Direction<Flange>{1, 0, 0}, turn);
        return {base.rotation * number_cast<T>(own),
                base * Point<Flange, T>{x, number_cast<T>(y) + x * slope, number_cast<T>(z)}};
    }
};

/// A flange on a circle about the cell's z axis, turning with it; a radius and a phase.
struct Round {
    double radius, rate, phase;

    template <class T> Pose<Cell, Flange, T> at(T const& t) const {
        T const angle = t * rate + phase;
        auto const both = sin_cos(angle);
        return {about_axis<Cell, Flange>(Direction<Cell>{0, 0, 1}, angle),
                {both.cos * radius, both.sin * radius, number_cast<T>(0.3)}};
    }
};

/// A circle that grows by a tenth of a millimetre a turn.
struct Spiral {
    template <class T> Pose<Cell, Flange, T> at(T const& t) const {
        auto const both = sin_cos(t);
        T const radius = t * (1e-4 / 6.283185307179586) + 0.1;
        return {about_axis<Cell, Flange>(Direction<Cell>{0, 0, 1}, t),
                {both.cos * radius, both.sin * radius, number_cast<T>(0.3)}};
    }
};

std::vector<double> even(double begin, double end, std::size_t rows) {
    std::vector<double> times;
    for (std::size_t i = 0; i < rows; ++i)
        times.push_back(begin + (end - begin) * static_cast<double>(i) / static_cast<double>(rows - 1));
    return times;
}

template <class M> PoseLog<Cell, Flange> log_of(M const& motion, double begin, double end, std::size_t rows) {
    auto const all = seamhold::test::rows_of(motion, even(begin, end, rows));
    return PoseLog<Cell, Flange>(all);
}

} // namespace

TEST_CASE("path accuracy: straight paths by hand in 1000 cells, however their clocks were started") {
    Random random(824);
    double worst = 0, worst_speed = 0;
    for (std::size_t run = 0; run < runs(1000); ++run) {
        auto const place = random_pose<Cell, Flange>(random, 1);
        Straight const command{place, random.uniform(0.05, 0.5), 0, 0, 0, 0, 0};
        double const time = 0.3 / command.speed; // 300 mm
        std::size_t const m = 4, n = 3;
        Point<Flange> const no_tool{0, 0, 0};
        auto const points = calculation_points<Cell, Flange>(command, 0, time, m, no_tool);
        std::vector<Straight> paths;
        std::vector<PoseLog<Cell, Flange>> logs;
        for (std::size_t j = 0; j < n; ++j) {
            Straight const path{place,
                                command.speed * random.uniform(0.8, 1.2),
                                random.uniform(-5, 5),
                                random.uniform(-1e-3, 1e-3),
                                random.uniform(-1e-3, 1e-3),
                                random.uniform(-3e-3, 3e-3),
                                random.uniform(-2e-3, 2e-3)};
            paths.push_back(path);
            logs.push_back(log_of(path, path.start - 0.02 / path.speed, path.start + 0.32 / path.speed, 30));
        }
        auto const r = path_accuracy(points, logs, no_tool);
        // By hand: at x the paths pass (y + slope x, z); at, l, S of three numbers.
        double at_p = 0, rt_p = 0, at_a = 0, rt_a = 0;
        for (std::size_t i = 0; i < m; ++i) {
            double const x = 0.3 * (static_cast<double>(i) + 0.5) / 4;
            double my = 0, mz = 0, ma = 0, l = 0, l2 = 0, a2 = 0;
            for (auto const& p : paths) {
                my += (p.y + p.slope * x) / 3;
                mz += p.z / 3;
                ma += p.turn / 3;
            }
            for (auto const& p : paths) {
                double const d = std::hypot(p.y + p.slope * x - my, p.z - mz);
                l += d / 3;
                l2 += d * d;
                a2 += (p.turn - ma) * (p.turn - ma);
            }
            at_p = std::max(at_p, std::hypot(my, mz));
            rt_p = std::max(rt_p, l + 3 * std::sqrt(std::max(0.0, l2 - 3 * l * l) / 2));
            at_a = std::max(at_a, std::abs(ma));
            rt_a = std::max(rt_a, 3 * std::sqrt(a2 / 2));
            auto const d = inverse_times(place, Point<Cell>{points[i].place.x + r.points[i].deviation[0],
                                                            points[i].place.y + r.points[i].deviation[1],
                                                            points[i].place.z + r.points[i].deviation[2]});
            worst = std::max({worst, apart(d.x, x), apart(d.y, my), apart(d.z, mz)});
            // In the budget's axes, those of the flange, which are the line's.
            worst = std::max(
                {worst, apart(r.points[i].scatter.mean[4], my), apart(r.points[i].scatter.mean[0], ma)});
        }
        worst = std::max({worst, apart(r.position_accuracy, at_p), apart(r.position_repeatability, rt_p)});
        worst = std::max(worst, apart(std::sqrt(sqr(r.turn_accuracy[0]) + sqr(r.turn_accuracy[1]) +
                                                sqr(r.turn_accuracy[2])),
                                      at_a));
        worst = std::max(worst, apart(std::sqrt(sqr(r.turn_repeatability[0]) + sqr(r.turn_repeatability[1]) +
                                                sqr(r.turn_repeatability[2])),
                                      rt_a));
        // Speeds: along a slanted line √(1 + slope²) faster.
        double mean = 0, squares = 0;
        std::vector<double> v;
        for (auto const& p : paths)
            v.push_back(p.speed * std::hypot(1, p.slope));
        for (double const x : v)
            mean += x / 3;
        for (double const x : v)
            squares += sqr(x - mean);
        worst_speed = std::max({worst_speed, apart(r.velocity_accuracy, mean / command.speed - 1),
                                apart(r.velocity_repeatability, 3 * std::sqrt(squares / 2) / command.speed),
                                r.velocity_fluctuation});
    }
    CHECK(worst <
          1e-9); // noise-free truth; the root of a difference of squares of 1 mm loses half the digits
    CHECK(worst_speed < 1e-9);
}

TEST_CASE("path accuracy: circles about one middle are apart by their radii, at the tool") {
    // A tool 50 mm further out and 20 mm up describes a circle of its own; the flange turns with the path.
    Point<Flange> const tool{0.05, 0, 0.02};
    Round const command{0.2, 1.5, 0};
    auto const points = calculation_points<Cell, Flange>(command, 0, 3, 12, tool);
    CHECK(apart(points[0].speed, 0.25 * 1.5) < 1e-15);
    // Evenly: 4.5 rad in twelve parts, the first half a part in.
    CHECK(apart(std::atan2(points[3].place.y, points[3].place.x), 4.5 * 3.5 / 12) < 1e-5);
    std::vector<PoseLog<Cell, Flange>> logs;
    std::array<double, 4> const radii{0.2001, 0.2003, 0.2004, 0.2004};
    for (std::size_t j = 0; j < 4; ++j)
        logs.push_back(log_of(Round{radii[j], 1.1 + 0.2 * static_cast<double>(j), -0.4}, 0, 4.9, 1000));
    auto const r = path_accuracy(points, logs, tool);
    // Mean radius 0.3 mm above, distances 0.2, 0, 0.1, 0.1 mm, mean 0.1, S = √(0.02 / 3). Splines of 5 ms
    // rows in a turn at up to 1.7 rad/s: (8.5e-3)⁴ / 384 · 0.25 m = 3e-12 m.
    CHECK(apart(r.position_accuracy, 0.3e-3) < 1e-10);
    CHECK(apart(r.position_repeatability, (0.1 + 3 * std::sqrt(0.02 / 3)) * 1e-3) < 1e-10);
    CHECK(r.turn_accuracy[2] < 1e-9);
    CHECK(r.points.size() == 12);
    // What differs between circles lies across: along x of the flange.
    CHECK(apart(r.points[5].scatter.covariance(3, 3), 2e-8 * 3 / 3 / 1) < 3e-8);
    CHECK(apart(r.points[5].scatter.mean[3], 0.3e-3) < 1e-9);
    CHECK(std::abs(r.points[5].scatter.mean[4]) < 1e-9);
    CHECK(r.scatter.along_path.norm() < 1e-12);
    CHECK(apart(r.scatter.mean[3], 0.3e-3) < 1e-9);
}

TEST_CASE("path accuracy: closed and crossing paths are followed in order") {
    Point<Flange> const tool{0, 0, 0};
    // A full turn and a half: the plane of each point is crossed twice, once in each direction, and places of
    // the first half turn are passed again.
    Round const command{0.1, 1, 0};
    auto const points = calculation_points<Cell, Flange>(command, 0.1, 9.3, 40, tool);
    std::vector<PoseLog<Cell, Flange>> logs(2, log_of(Spiral{}, 0, 9.42, 2000));
    auto const r = path_accuracy(points, logs, tool);
    for (std::size_t i = 0; i < 40; ++i) {
        double const angle = 0.1 + 9.2 * (static_cast<double>(i) + 0.5) / 40;
        CHECK(apart(r.points[i].distance, 1e-4 * angle / 6.283185307179586) < 1e-9);
    }
    CHECK(r.position_repeatability < 1e-15); // twice the same log

    // The same path the other way round comes by no point in its direction.
    std::vector<PoseLog<Cell, Flange>> const back(2, log_of(Round{0.1, -1, 9.4}, 0, 9.42, 500));
    CHECK(has(refusal_of([&] { return path_accuracy(points, back, tool); }),
              "log 1 does not come by calculation point 1"));
}

TEST_CASE("path accuracy: one gross log in ten is named; refusals") {
    Random random(825);
    Point<Flange> const tool{0, 0, 0};
    Straight const command{at_mm(500, 0, 400), 0.1, 0, 0, 0, 0, 0};
    auto const points = calculation_points<Cell, Flange>(command, 0, 3, 10, tool);
    std::vector<PoseLog<Cell, Flange>> logs, rest;
    for (std::size_t j = 0; j < 10; ++j) {
        Straight path = command;
        path.y = 3e-5 * random.normal() + (j == 6 ? 3e-3 : 0);
        path.z = 3e-5 * random.normal();
        logs.push_back(log_of(path, -0.5, 3.5, 40));
        if (j != 6)
            rest.push_back(logs.back());
    }
    auto const counted = path_accuracy(points, logs, tool);
    PathAccuracyOptions options;
    options.outliers = Outliers::left_out;
    auto const left_out = path_accuracy(points, logs, tool, options);
    for (std::size_t j = 0; j < 10; ++j)
        CHECK(counted.outlier[j] == (j == 6));
    CHECK(counted.count == 10);
    CHECK(left_out.count == 9);
    CHECK(left_out.position_repeatability == path_accuracy(points, rest, tool).position_repeatability);
    CHECK(counted.position_accuracy > 0.2e-3);
    CHECK(left_out.position_accuracy < 0.05e-3);

    auto const said = [&](auto const& p, auto const& l) {
        return refusal_of([&] { return path_accuracy(p, l, tool); });
    };
    std::vector<PoseLog<Cell, Flange>> const one(1, logs[0]);
    CHECK(has(said(points, one), "given 10 and 1"));
    std::vector<CalculationPoint<Cell, Flange>> const none;
    CHECK(has(said(none, logs), "given 0 and 10"));
    // A log that ends before the last plane.
    std::vector<PoseLog<Cell, Flange>> short_logs{logs[0], log_of(command, -0.5, 2.8, 40)};
    CHECK(has(said(points, short_logs), "log 2 does not come by calculation point 10"));
    // Beside the path by more than the reach.
    Straight beside = command;
    beside.y = 0.03;
    short_logs[1] = log_of(beside, -0.5, 3.5, 40);
    CHECK(has(said(points, short_logs), "within 20 mm"));
    auto const chosen = [&](double begin, double end, std::size_t count, auto const& motion) {
        return refusal_of([&] { return calculation_points<Cell, Flange>(motion, begin, end, count, tool); });
    };
    CHECK(has(chosen(0, 3, 0, command), "asked for 0"));
    CHECK(has(chosen(3, 0, 5, command), "has no data"));
    CHECK(has(chosen(0, 9, 5, logs[0]), "has no data"));
    Straight still = command;
    still.speed = 0;
    CHECK(has(chosen(0, 3, 5, still), "does not move"));
}
