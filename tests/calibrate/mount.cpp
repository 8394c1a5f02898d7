#include "seamhold/calibrate/mount.hpp"

#include "calibrate/mount_cells.hpp"
#include "seamhold/head/any_head.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

/// A head as the library and as plain numbers have it.
struct BothHeads {
    AnyHead library;
    PlainHead plain;
};

/// Heads of every kind: ideal, misaligned without and with a lens.
std::vector<BothHeads> heads_of_every_kind(Random& random) {
    std::vector<BothHeads> all;
    for (double const separation : {0.0, 0.02, 0.06})
        all.push_back({ideal_head(separation), plain_ideal_head(separation)});
    for (int i = 0; i < 5; ++i) {
        auto const open = random_open_head(random);
        all.push_back({open_head_of(open), open});
        auto const lens = random_lens_head(random);
        all.push_back({lens_head_of(lens), lens});
    }
    return all;
}

/// A drawn place of the mount: up to 15° and 80 mm off.
Pose<Flange, Head> near(MountCell const& cell, Random& random) {
    auto const axis = random.on_sphere<3>();
    auto const way = random.on_sphere<3>();
    Eigen::Isometry3d off = Eigen::Isometry3d::Identity();
    off.linear() =
        Eigen::AngleAxisd(random.uniform(0, degrees(15)), Eigen::Vector3d(axis[0], axis[1], axis[2]))
            .toRotationMatrix();
    off.translation() = random.uniform(0, 0.08) * Eigen::Vector3d(way[0], way[1], way[2]);
    return pose_of<Flange, Head>(cell.flange_from_head * off);
}

double error_of(MountFit const& fit, MountCell const& cell) {
    return largest(difference_of(cell.flange_from_head, plain(fit.flange_from_head)));
}

/// The squared length of six numbers in a covariance's own measure, by an inverse taken here.
double squared_distance(std::array<double, 6> const& step, PoseCovariance const& covariance) {
    Eigen::Matrix<double, 6, 1> d;
    for (int k = 0; k < 6; ++k)
        d(k) = step[static_cast<std::size_t>(k)];
    return d.dot(covariance.fullPivLu().inverse() * d);
}

} // namespace

// Poses, marks and beams carry rounding of some 1e-16 of a metre; the fit divides it by what a tilt does to
// the residuals, a few tenths of a metre a radian at worst.
TEST_CASE("without noise the truth comes out, for 1000 random cells and heads of every kind") {
    Random random(20261127);
    auto const heads = heads_of_every_kind(random);
    std::size_t const count = runs(1000);
    double worst = 0;
    for (std::size_t i = 0; i < count; ++i) {
        auto const& head = heads[i % heads.size()];
        auto const cell = random_cell(random, head.plain);
        MountOptions options;
        if (i % 5 != 0) // one in five without a guess
            options.start = near(cell, random);
        CAPTURE(i);
        auto const hits = random_hits(cell, random, 12);
        auto const by_target = calibrate_mount(head.library, hits, options);
        CHECK(error_of(by_target.mount, cell) < 1e-9);
        Eigen::Vector3d const target(by_target.target.x, by_target.target.y, by_target.target.z);
        CHECK((target - cell.cell_from_plate.translation()).norm() < 1e-9);
        auto const marks = random_marks(cell, random, 14);
        auto const known =
            calibrate_mount(head.library, marks, pose_of<Cell, Plate>(cell.cell_from_plate), options);
        CHECK(error_of(known.mount, cell) < 1e-9);
        auto const unknown = calibrate_mount(head.library, marks, options);
        CHECK(error_of(unknown.mount, cell) < 1e-9);
        CHECK(largest(difference_of(cell.cell_from_plate, plain(unknown.cell_from_plate))) < 1e-9);
        for (auto const* mount : {&by_target.mount, &known.mount, &unknown.mount}) {
            CHECK(mount->plausible);
            CHECK(mount->outliers.empty());
            CHECK(mount->deviation < 1e-12);
            worst = std::max(worst, error_of(*mount, cell));
        }
    }
    MESSAGE("largest error: ", worst);
}

TEST_CASE("the fewest observations that are taken, and one less") {
    Random random(3);
    auto const cell = random_cell(random, plain_ideal_head());
    MountOptions options;
    options.start = near(cell, random);
    CHECK(error_of(calibrate_mount(ideal_head(), random_hits(cell, random, 5), options).mount, cell) < 1e-9);
    auto const marks = random_marks(cell, random, 7);
    CHECK(error_of(calibrate_mount(ideal_head(), marks, options).mount, cell) < 1e-9);
    std::vector<PlateMark> const four(marks.begin(), marks.begin() + 4),
        three(marks.begin(), marks.begin() + 3);
    auto const plate = pose_of<Cell, Plate>(cell.cell_from_plate);
    CHECK(error_of(calibrate_mount(ideal_head(), four, plate, options).mount, cell) < 1e-9);
    CHECK(has(refusal_of([&] { return calibrate_mount(ideal_head(), three, plate, options); }),
              "needs at least 4 observations of two; given 3"));
    CHECK(
        has(refusal_of([&] { return calibrate_mount(ideal_head(), random_hits(cell, random, 4), options); }),
            "needs at least 5 observations of two; given 4"));
    std::vector<PlateMark> const six(marks.begin(), marks.begin() + 6);
    CHECK(has(refusal_of([&] { return calibrate_mount(ideal_head(), six, options); }),
              "needs at least 7 observations of two; given 6"));
}

// The slope of log error over log n by regression; each of 7 sizes is a mean square over 60 cells of six
// numbers, so a point scatters by about 1 / √(2 · 60) = 0.09 in the logarithm, and the slope over a factor of
// 100 (deviation of log n: 1.5) by 0.09 / (1.5 √7) = 0.023; four of these are allowed.
TEST_CASE("errors fall as one over the square root of the number of observations") {
    Random random(44);
    auto const head = ideal_head();
    auto const cell = random_cell(random, plain_ideal_head());
    MountOptions options;
    options.start = near(cell, random);
    std::array<std::size_t, 7> const sizes{20, 43, 93, 200, 431, 928, 2000};
    for (int mode = 0; mode < 3; ++mode) {
        std::vector<double> x, y;
        for (std::size_t const n : sizes) {
            double sum = 0;
            std::size_t const cells = runs(60);
            for (std::size_t i = 0; i < cells; ++i) {
                auto const plate = pose_of<Cell, Plate>(cell.cell_from_plate);
                auto const fit =
                    mode == 0 ? calibrate_mount(head, random_hits(cell, random, n, 1e-4), options).mount
                    : mode == 1
                        ? calibrate_mount(head, random_marks(cell, random, n, 1e-4), plate, options).mount
                        : calibrate_mount(head, random_marks(cell, random, n, 1e-4), options).mount;
                for (double const one : difference_of(cell.flange_from_head, plain(fit.flange_from_head)))
                    sum += one * one;
            }
            x.push_back(std::log(static_cast<double>(n)));
            y.push_back(0.5 * std::log(sum / static_cast<double>(cells)));
        }
        double mean_x = 0, mean_y = 0, xx = 0, xy = 0;
        for (std::size_t i = 0; i < x.size(); ++i) {
            mean_x += x[i] / 7;
            mean_y += y[i] / 7;
        }
        for (std::size_t i = 0; i < x.size(); ++i) {
            xx += (x[i] - mean_x) * (x[i] - mean_x);
            xy += (x[i] - mean_x) * (y[i] - mean_y);
        }
        CAPTURE(mode);
        double const slope = xy / xx;
        CHECK(slope == doctest::Approx(-0.5).epsilon(0.18));
        MESSAGE("mode ", mode, ": slope ", slope);
    }
}

// Of 1000 trials 95 % ± 0.7 % (one deviation) would be covered by exact intervals; 93 to 97 % allows three.
TEST_CASE("stated intervals and the joint region cover the truth as often as they say") {
    Random random(5);
    auto const head = ideal_head();
    // Student's t at 0.975 and Fisher's F at 0.95 with 6 degrees above: from memory of printed tables.
    struct Mode {
        std::string name;
        std::size_t count;
        double degrees, t, f;
    };
    std::array<Mode, 3> const modes{Mode{"target", 12, 15, 2.131449546, 2.790464959},
                                    Mode{"known plate", 10, 14, 2.144786688, 2.847725996},
                                    Mode{"plate", 14, 16, 2.119905299, 2.741310828}};
    for (std::size_t mode = 0; mode < modes.size(); ++mode) {
        std::array<int, 6> covered{};
        int jointly = 0, of_target = 0, rejected = 0;
        std::size_t const trials = runs(1500);
        for (std::size_t i = 0; i < trials; ++i) {
            auto const cell = random_cell(random, plain_ideal_head());
            MountOptions options;
            options.start = near(cell, random);
            MountFit fit;
            bool target_in = false;
            if (mode == 0) {
                auto const by =
                    calibrate_mount(head, random_hits(cell, random, modes[mode].count, 1e-4), options);
                fit = by.mount;
                target_in = std::abs(by.target.x - cell.cell_from_plate.translation().x()) <=
                            modes[mode].t * std::sqrt(by.target_covariance(0, 0));
            } else {
                auto const marks = random_marks(cell, random, modes[mode].count, 1e-4);
                auto const plate = pose_of<Cell, Plate>(cell.cell_from_plate);
                auto const by = mode == 1 ? calibrate_mount(head, marks, plate, options)
                                          : calibrate_mount(head, marks, options);
                fit = by.mount;
                auto const off = difference_of(plain(by.cell_from_plate), cell.cell_from_plate);
                target_in =
                    mode == 1 || std::abs(off[4]) <= modes[mode].t * std::sqrt(by.plate_covariance(4, 4));
            }
            // The truth as a step from the fit, as the covariance is of the fit's own axes.
            auto const off = difference_of(plain(fit.flange_from_head), cell.flange_from_head);
            auto const half = fit.half_widths();
            for (std::size_t k = 0; k < 6; ++k) {
                double const own =
                    modes[mode].t * std::sqrt(fit.covariance(static_cast<int>(k), static_cast<int>(k)));
                if (fit.outliers.empty())
                    CHECK(half[k] == doctest::Approx(own).epsilon(1e-8));
                covered[k] += std::abs(off[k]) <= half[k] ? 1 : 0;
            }
            bool const in = squared_distance(off, fit.covariance) <= 6 * modes[mode].f;
            jointly += in ? 1 : 0;
            if (fit.outliers.empty()) {
                CHECK(fit.degrees_of_freedom == modes[mode].degrees);
                CHECK(fit.agrees_with(pose_of<Flange, Head>(cell.flange_from_head)) == in);
            }
            rejected += fit.outliers.empty() ? 0 : 1;
            of_target += target_in ? 1 : 0;
        }
        double const all = static_cast<double>(trials);
        CAPTURE(modes[mode].name);
        for (std::size_t k = 0; k < 6; ++k) {
            CAPTURE(k);
            CHECK(covered[k] / all >= 0.93);
            CHECK(covered[k] / all <= 0.97);
        }
        CHECK(jointly / all >= 0.93);
        CHECK(jointly / all <= 0.97);
        if (mode != 1)
            CHECK(std::abs(of_target / all - 0.95) <= 0.02);
        CHECK(rejected / all <= 0.03);
        MESSAGE(modes[mode].name, ": ", covered[0], " ", covered[1], " ", covered[2], " ", covered[3], " ",
                covered[4], " ", covered[5], ", jointly ", jointly, ", rejected in ", rejected, " of ",
                trials);
    }
}

TEST_CASE(
    "with the deviation given, intervals are of the normal distribution and do not follow the residuals") {
    Random random(6);
    auto const cell = random_cell(random, plain_ideal_head());
    auto const hits = random_hits(cell, random, 12, 1e-4);
    MountOptions options;
    options.start = near(cell, random);
    auto const plain_fit = calibrate_mount(ideal_head(), hits, options).mount;
    options.deviation = 1e-4;
    auto const fit = calibrate_mount(ideal_head(), hits, options).mount;
    double const ratio = 1e-4 / plain_fit.deviation;
    for (int k = 0; k < 6; ++k)
        CHECK(fit.covariance(k, k) ==
              doctest::Approx(ratio * ratio * plain_fit.covariance(k, k)).epsilon(1e-6));
    CHECK(!(fit.degrees_of_freedom < 1e300));
    // 1.959964: the normal quantile at 0.975, NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1.
    CHECK(fit.half_widths()[2] == doctest::Approx(1.959964 * fit.deviations()[2]).epsilon(1e-6));
}

TEST_CASE("one gross outlier in ten is named and does not bend the mount, with a guess and without") {
    Random random(7);
    auto const head = ideal_head();
    int wrong = 0;
    std::size_t const cells = runs(60);
    for (std::size_t i = 0; i < cells; ++i) {
        auto const cell = random_cell(random, plain_ideal_head());
        MountOptions options;
        if (i % 2 == 0)
            options.start = near(cell, random);
        std::size_t const bad_in = i % 3;
        std::size_t const count = 20, first = random.index(20);
        std::vector<std::size_t> const bad{std::min(first, (first + 7) % 20),
                                           std::max(first, (first + 7) % 20)};
        auto hits = random_hits(cell, random, count, 1e-4);
        auto marks = random_marks(cell, random, count, 1e-4);
        for (std::size_t const b : bad) {
            double const off = random.uniform(0.01, 0.3);
            hits[b].cell_from_flange.origin.x += off;
            hits[b].command.y_mirror += 0.05;
            marks[b].x += off;
            marks[b].y -= 0.02;
        }
        auto const fit =
            bad_in == 0 ? calibrate_mount(head, hits, options).mount
            : bad_in == 1
                ? calibrate_mount(head, marks, pose_of<Cell, Plate>(cell.cell_from_plate), options).mount
                : calibrate_mount(head, marks, options).mount;
        CAPTURE(i);
        wrong += fit.outliers == bad ? 0 : 1;
        CHECK(fit.residuals[bad[0]].norm > 0.005);
        // Six deviations: the joint region at all but one in 1e5.
        CHECK(squared_distance(difference_of(plain(fit.flange_from_head), cell.flange_from_head),
                               fit.covariance) < 6 * 12.0);
        CHECK(fit.deviation < 2e-4);
        CHECK(fit.plausible);
    }
    // Clean observations are lost in one set of a hundred.
    CHECK(wrong <= 3);
}

TEST_CASE("residuals are those of the fit, in order") {
    Random random(8);
    auto const cell = random_cell(random, plain_ideal_head());
    auto const marks = random_marks(cell, random, 15, 1e-4);
    auto const by = calibrate_mount(ideal_head(), marks);
    double sum = 0;
    for (std::size_t i = 0; i < marks.size(); ++i) {
        auto const line = beam_of(cell.head, marks[i].command.x_mirror, marks[i].command.y_mirror).line;
        Eigen::Isometry3d const plate_from_head = plain(by.cell_from_plate).inverse() *
                                                  plain(marks[i].cell_from_flange) *
                                                  plain(by.mount.flange_from_head);
        Eigen::Vector3d const o = plate_from_head * Eigen::Vector3d(line.point.x, line.point.y, line.point.z);
        Eigen::Vector3d const d =
            plate_from_head.linear() * Eigen::Vector3d(line.direction.x, line.direction.y, line.direction.z);
        Eigen::Vector3d const p = o - o.z() / d.z() * d;
        auto const& r = by.mount.residuals[i];
        CHECK(r.x == doctest::Approx(p.x() - marks[i].x).epsilon(1e-6));
        CHECK(r.y == doctest::Approx(p.y() - marks[i].y).epsilon(1e-6));
        CHECK(r.norm == doctest::Approx(std::hypot(r.x, r.y)));
        sum += r.norm * r.norm;
    }
    CHECK(by.mount.deviation == doctest::Approx(std::sqrt(sum / (30 - 12))).epsilon(1e-9));
}
