#include "seamhold/calibrate/pose_pairs.hpp"

#include "calibrate/mount_cells.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

/// A cell with a sensor in the head.
struct PairCell {
    Eigen::Isometry3d flange_from_head, cell_from_target;
};

PairCell random_pair_cell(Random& random) {
    auto const mount = random_isometry(random, 0.3);
    return {mount, random_isometry(random, 1.5)};
}

/// A rotation by three small normal numbers.
Eigen::Matrix3d noise_turn(Random& random, double deviation) {
    double const x = deviation * random.normal(), y = deviation * random.normal();
    Eigen::Vector3d const v(x, y, deviation * random.normal());
    return v.norm() > 0 ? Eigen::AngleAxisd(v.norm(), v.normalized()).toRotationMatrix()
                        : Eigen::Matrix3d(Eigen::Matrix3d::Identity());
}

/// A pair in which the head stands in the target's frame as told, seen with noise.
PosePair pair_of(PairCell const& cell, Eigen::Isometry3d const& target_from_head, Random& random,
                 double turn = 0, double shift = 0) {
    Eigen::Isometry3d const flange =
        cell.cell_from_target * target_from_head * cell.flange_from_head.inverse();
    Eigen::Isometry3d seen = target_from_head.inverse();
    seen.linear() = seen.linear() * noise_turn(random, turn);
    double const x = shift * random.normal(), y = shift * random.normal();
    seen.translation() += Eigen::Vector3d(x, y, shift * random.normal());
    return {pose_of<Cell, Flange>(flange), pose_of<Head, Target>(seen)};
}

/// The head half a metre in front of the target, turned about its axes by up to half a radian or so.
Eigen::Isometry3d stand(Random& random, double spread = 0.4) {
    Eigen::Isometry3d pose = Eigen::Isometry3d::Identity();
    auto const axis = random.on_sphere<3>();
    pose.linear() =
        Eigen::AngleAxisd(std::abs(spread * random.normal()), Eigen::Vector3d(axis[0], axis[1], axis[2]))
            .toRotationMatrix() *
        Eigen::AngleAxisd(std::numbers::pi, Eigen::Vector3d::UnitX()).toRotationMatrix();
    double const x = random.uniform(-0.1, 0.1), y = random.uniform(-0.1, 0.1);
    pose.translation() = Eigen::Vector3d(x, y, random.uniform(0.4, 0.6));
    return pose;
}

std::vector<PosePair> random_pairs(PairCell const& cell, Random& random, std::size_t count, double turn = 0,
                                   double shift = 0, double spread = 0.4) {
    std::vector<PosePair> pairs;
    for (std::size_t i = 0; i < count; ++i)
        pairs.push_back(pair_of(cell, stand(random, spread), random, turn, shift));
    return pairs;
}

std::string said(std::vector<PosePair> const& pairs) {
    return refusal_of([&] { return calibrate_mount(pairs); });
}

double error_of(MountFromPairs const& fit, PairCell const& cell) {
    return largest(difference_of(cell.flange_from_head, plain(fit.flange_from_head)));
}

double squared_distance(std::array<double, 6> const& step, PoseCovariance const& covariance) {
    Eigen::Matrix<double, 6, 1> d;
    for (int k = 0; k < 6; ++k)
        d(k) = step[static_cast<std::size_t>(k)];
    return d.dot(covariance.fullPivLu().inverse() * d);
}

} // namespace

TEST_CASE("pairs without noise give the truth, for 1000 random cells") {
    Random random(11);
    double worst = 0;
    for (std::size_t i = 0; i < runs(1000); ++i) {
        auto const cell = random_pair_cell(random);
        auto const fit = calibrate_mount(random_pairs(cell, random, 3 + i % 10));
        CAPTURE(i);
        CHECK(error_of(fit, cell) < 1e-9);
        CHECK(largest(difference_of(cell.cell_from_target, plain(fit.cell_from_target))) < 1e-9);
        CHECK(fit.plausible);
        CHECK(fit.outliers.empty());
        worst = std::max(worst, error_of(fit, cell));
    }
    MESSAGE("largest error: ", worst);
}

TEST_CASE("errors of pairs fall as one over the square root of their number") {
    Random random(12);
    auto const cell = random_pair_cell(random);
    std::array<std::size_t, 5> const sizes{20, 63, 200, 632, 2000};
    std::vector<double> x, y;
    for (std::size_t const n : sizes) {
        double sum = 0;
        std::size_t const cells = n > 500 ? 12 : 40;
        for (std::size_t i = 0; i < cells; ++i)
            for (double const one : difference_of(
                     cell.flange_from_head,
                     plain(calibrate_mount(random_pairs(cell, random, n, 2e-3, 1e-3)).flange_from_head)))
                sum += one * one;
        x.push_back(std::log(static_cast<double>(n)));
        y.push_back(0.5 * std::log(sum / static_cast<double>(cells)));
    }
    double mean_x = 0, mean_y = 0, xx = 0, xy = 0;
    for (std::size_t i = 0; i < 5; ++i) {
        mean_x += x[i] / 5;
        mean_y += y[i] / 5;
    }
    for (std::size_t i = 0; i < 5; ++i) {
        xx += (x[i] - mean_x) * (x[i] - mean_x);
        xy += (x[i] - mean_x) * (y[i] - mean_y);
    }
    // A point scatters by at most 1 / √(2 · 12) = 0.2 in the logarithm, the slope by 0.2 / √Σ(Δx)² = 0.055.
    CHECK(xy / xx == doctest::Approx(-0.5).epsilon(0.25));
    MESSAGE("slope ", xy / xx);
}

// As in mount.cpp; the two deviations are estimated together, their degrees of freedom are 3n − 12 + what the
// unknowns take of the other kind: no whole number, so the interval's factor is not checked apart.
TEST_CASE("stated intervals of pairs cover the truth as often as they say") {
    Random random(13);
    std::array<int, 6> covered{};
    int jointly = 0, rejected = 0, given = 0;
    std::size_t const trials = runs(1200);
    double turn_mean = 0, shift_mean = 0;
    for (std::size_t i = 0; i < trials; ++i) {
        auto const cell = random_pair_cell(random);
        auto const pairs = random_pairs(cell, random, 20, 2e-3, 1e-3);
        auto const fit = calibrate_mount(pairs);
        auto const off = difference_of(plain(fit.flange_from_head), cell.flange_from_head);
        auto const half = fit.half_widths();
        for (std::size_t k = 0; k < 6; ++k)
            covered[k] += std::abs(off[k]) <= half[k] ? 1 : 0;
        jointly += fit.agrees_with(pose_of<Flange, Head>(cell.flange_from_head)) ? 1 : 0;
        rejected += fit.outliers.empty() ? 0 : 1;
        turn_mean += fit.turn_deviation * fit.turn_deviation / static_cast<double>(trials);
        shift_mean += fit.shift_deviation * fit.shift_deviation / static_cast<double>(trials);
        PosePairOptions options;
        options.turn_deviation = 2e-3;
        options.shift_deviation = 1e-3;
        auto const told = calibrate_mount(pairs, options);
        // χ² with six degrees of freedom at 0.95: 12.592 (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
        given += squared_distance(difference_of(plain(told.flange_from_head), cell.flange_from_head),
                                  told.covariance) <= 12.592
                     ? 1
                     : 0;
    }
    double const all = static_cast<double>(trials);
    for (std::size_t k = 0; k < 6; ++k) {
        CAPTURE(k);
        CHECK(covered[k] / all >= 0.93);
        CHECK(covered[k] / all <= 0.97);
    }
    CHECK(jointly / all >= 0.93);
    CHECK(jointly / all <= 0.97);
    CHECK(given / all >= 0.93);
    CHECK(given / all <= 0.97);
    CHECK(rejected / all <= 0.03);
    // A mean square over 1200 sets with some 50 degrees of freedom each: 0.6 %.
    CHECK(turn_mean == doctest::Approx(4e-6).epsilon(0.04));
    CHECK(shift_mean == doctest::Approx(1e-6).epsilon(0.04));
    MESSAGE("covered ", covered[0], " ", covered[1], " ", covered[2], " ", covered[3], " ", covered[4], " ",
            covered[5], ", jointly ", jointly, ", with given deviations ", given, ", rejected in ", rejected);
}

TEST_CASE("one pair in ten grossly wrong is named and does not bend the mount") {
    Random random(14);
    int wrong = 0;
    for (std::size_t i = 0; i < runs(40); ++i) {
        auto const cell = random_pair_cell(random);
        auto pairs = random_pairs(cell, random, 20, 2e-3, 1e-3);
        std::size_t const first = random.index(10), second = 10 + random.index(10);
        for (std::size_t const b : {first, second}) {
            auto const other = random_isometry(random, 0.2);
            pairs[b].head_from_target = pose_of<Head, Target>(plain(pairs[b].head_from_target) * other);
        }
        auto const fit = calibrate_mount(pairs);
        CAPTURE(i);
        wrong += fit.outliers == std::vector<std::size_t>{first, second} ? 0 : 1;
        CHECK(squared_distance(difference_of(plain(fit.flange_from_head), cell.flange_from_head),
                               fit.covariance) < 6 * 8.0);
    }
    CHECK(wrong <= 2);
}

TEST_CASE("parallel axes, no turn at all and too few pairs are refused, and the advice closes what is open") {
    Random random(15);
    PairCell cell{Eigen::Isometry3d::Identity(), Eigen::Isometry3d::Identity()};
    cell.flange_from_head.translation() = Eigen::Vector3d(0.1, 0, 0.2);
    auto const about = [&](int axis, double angle) {
        Eigen::Isometry3d pose = stand(random, 0);
        pose.linear() =
            pose.linear() * Eigen::AngleAxisd(angle, Eigen::Vector3d::Unit(axis)).toRotationMatrix();
        return pair_of(cell, pose, random);
    };
    for (int axis = 0; axis < 3; ++axis) {
        std::vector<PosePair> pairs;
        for (int i = 0; i < 8; ++i)
            pairs.push_back(about(axis, 0.15 * (i - 4)));
        auto text = said(pairs);
        CAPTURE(text);
        std::string const own(1, "xyz"[axis]);
        // Shifts of the flange across the axis tell the turn about it, so only the shift along it is open.
        CHECK(has(text, "these 8 pairs do not determine the mount: open is a shift of the head along its " +
                            own + " axis"));
        CHECK(has(text, "rotate the flange more about its "));
        CHECK(!has(text, "about its " + own + " axis"));
        pairs.push_back(about((axis + 1) % 3, 0.4));
        CHECK(error_of(calibrate_mount(pairs), cell) < 1e-9);
    }
    std::vector<PosePair> still;
    for (int i = 0; i < 8; ++i)
        still.push_back(about(0, 0));
    auto const text = said(still);
    CAPTURE(text);
    CHECK(has(text, "shifts of the head along its x, y and z axes (3 of 12 numbers)"));
    CHECK(
        has(said({still[0], still[1]}), "needs at least 3 pairs: two motions about different axes; given 2"));
}

TEST_CASE("pairs: units, directions and numbers that are not finite are named") {
    Random random(16);
    auto const cell = random_pair_cell(random);
    auto const pairs = random_pairs(cell, random, 15, 2e-3, 1e-3);
    auto const changed = [&](auto const& change) {
        auto other = pairs;
        for (auto& pair : other)
            change(pair);
        return said(other);
    };
    auto const scale = [](auto& p, double by) { p = {by * p.x, by * p.y, by * p.z}; };
    CHECK(said(pairs).empty());
    CHECK(has(changed([&](PosePair& p) { scale(p.head_from_target.origin, 1000); }),
              "the target's positions look like millimetres given as metres"));
    CHECK(has(changed([&](PosePair& p) { scale(p.cell_from_flange.origin, 1000); }),
              "flange positions look like millimetres given as metres"));
    CHECK(has(changed([&](PosePair& p) { scale(p.head_from_target.origin, 1 / 25.4e-3); }),
              "the target's positions look like inches given as metres"));
    CHECK(
        has(changed([](PosePair& p) { p.cell_from_flange = as<Cell, Flange>(inverse(p.cell_from_flange)); }),
            "the flange's poses look inverted"));
    CHECK(
        has(changed([](PosePair& p) { p.head_from_target = as<Head, Target>(inverse(p.head_from_target)); }),
            "the target's poses look inverted"));
    auto broken = pairs;
    broken[4].head_from_target.origin.y = std::nan("");
    CHECK(has(said(broken), "the target's pose of pair 5 is not finite"));
    broken = pairs;
    broken[2].cell_from_flange.rotation.m[0][0] += 0.01;
    CHECK(has(said(broken), "the flange's pose of pair 3 has axes that are no rotation's"));
    PosePairOptions half;
    half.turn_deviation = 1e-3;
    CHECK(has(refusal_of([&] { return calibrate_mount(pairs, half); }), "both are given or neither"));
}
