#include "seamhold/calibrate/mount_advice.hpp"

#include "calibrate/mount_cells.hpp"
#include "seamhold/calibrate/mount.hpp"
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

Eigen::Matrix3d turned(Eigen::Vector3d const& axis, double angle) {
    return Eigen::AngleAxisd(angle, axis.normalized()).toRotationMatrix();
}

/// A cell whose head's axes are the flange's, so that advice about the flange is easy to foresee.
MountCell straight_cell() {
    MountCell cell{plain_ideal_head(), Eigen::Isometry3d::Identity(), Eigen::Isometry3d::Identity()};
    cell.flange_from_head.translation() = Eigen::Vector3d(0.05, -0.02, 0.2);
    cell.cell_from_plate.translation() = Eigen::Vector3d(0.8, 0.1, 0.3);
    return cell;
}

/// Hits with the flange turned by some turns, all with deflected mirrors.
std::vector<BeamOnTarget> hits_with(MountCell const& cell, Random& random,
                                    std::vector<Eigen::Matrix3d> const& turns, double deflection = 0.14) {
    std::vector<BeamOnTarget> hits;
    for (auto const& turn : turns) {
        double const x = random.uniform(-deflection, deflection);
        Command<> const command{x, random.uniform(-deflection, deflection), 0};
        hits.push_back(hit_of(cell.seen(command, turn, random.uniform(0.4, 0.6), 0, 0)));
    }
    return hits;
}

template <class... More> std::string said(std::vector<BeamOnTarget> const& hits, More const&... more) {
    return refusal_of([&] { return calibrate_mount(ideal_head(), hits, more...); });
}

/// A hit as one of the observations, with the flange turned about one of its axes and the target kept.
BeamOnTarget turned_hit(MountCell const& cell, Random& random, int axis, double angle) {
    auto const x = random.uniform(-0.14, 0.14);
    return hit_of(cell.seen({x, random.uniform(-0.14, 0.14), 0}, turned(Eigen::Vector3d::Unit(axis), angle),
                            0.5, 0, 0));
}

} // namespace

TEST_CASE("a flange that is never turned leaves the head's place open, and two turns close it") {
    Random random(1);
    auto const cell = straight_cell();
    auto hits = hits_with(cell, random, std::vector<Eigen::Matrix3d>(12, Eigen::Matrix3d::Identity()));
    auto const text = said(hits);
    CAPTURE(text);
    CHECK(has(
        text,
        "these 12 observations do not determine the mount: open are shifts of the head along its x, y and z "
        "axes (3 of 9 numbers)"));
    CHECK(has(text, "rotate the flange more about its "));
    // One turn leaves the shift along its own axis open; any two axes close all.
    int named = 0;
    for (char const* axis : {"its x axis", "its y axis", "its z axis"})
        named += has(text, std::string("rotate the flange more about ") + axis) ? 1 : 0;
    CHECK(named == 2);
    for (int axis = 0; axis < 2; ++axis)
        for (double const angle : {-0.35, 0.35})
            hits.push_back(turned_hit(cell, random, axis, angle));
    auto const fit = calibrate_mount(ideal_head(), hits);
    CHECK(largest(difference_of(cell.flange_from_head, plain(fit.mount.flange_from_head))) < 1e-9);
}

TEST_CASE("a flange turned about one of its axes only leaves a shift along that axis open") {
    Random random(2);
    auto const cell = straight_cell();
    for (int axis = 0; axis < 3; ++axis) {
        std::vector<Eigen::Matrix3d> turns;
        for (int i = 0; i < 12; ++i)
            turns.push_back(turned(Eigen::Vector3d::Unit(axis), 0.1 * (i - 6)));
        auto hits = hits_with(cell, random, turns);
        auto const text = said(hits);
        CAPTURE(text);
        std::string const own(1, "xyz"[axis]);
        CHECK(has(text, "open is a shift of the head along its " + own + " axis (1 of 9 numbers)"));
        CHECK(has(text, "rotate the flange more about its "));
        CHECK(!has(text, "about its " + own + " axis"));
        for (double const angle : {-0.35, 0.35})
            hits.push_back(turned_hit(
                cell, random,
                (axis + (has(text, "about its " + std::string(1, "xyz"[(axis + 1) % 3])) ? 1 : 2)) % 3,
                angle));
        auto const fit = calibrate_mount(ideal_head(), hits);
        CHECK(largest(difference_of(cell.flange_from_head, plain(fit.mount.flange_from_head))) < 1e-9);
    }
}

TEST_CASE("mirrors that are never deflected leave the turn about the beam and the shift along it open") {
    Random random(3);
    auto cell = straight_cell();
    cell.spread.deflection = 0;
    auto hits = random_hits(cell, random, 12);
    auto const text = said(hits);
    CAPTURE(text);
    CHECK(has(text, "open are turns of the head about its z axis and shifts of the head along its z axis (2 "
                    "of 9 numbers)"));
    CHECK(has(text, "deflect the beam more by the "));
    cell.spread.deflection = 0.14;
    for (auto const& hit : random_hits(cell, random, 3))
        hits.push_back(hit);
    auto const fit = calibrate_mount(ideal_head(), hits);
    CHECK(largest(difference_of(cell.flange_from_head, plain(fit.mount.flange_from_head))) < 1e-9);
}

TEST_CASE("marks: an unknown plate needs turns of the flange, a known one does not") {
    Random random(4);
    auto const cell = straight_cell();
    std::vector<PlateMark> marks;
    for (int i = 0; i < 16; ++i) {
        double const x = random.uniform(-0.1, 0.1), y = random.uniform(-0.1, 0.1);
        double const a = random.uniform(-0.14, 0.14);
        marks.push_back(mark_of(cell.seen({a, random.uniform(-0.14, 0.14), 0}, Eigen::Matrix3d::Identity(),
                                          random.uniform(0.4, 0.6), x, y)));
    }
    auto const text = refusal_of([&] { return calibrate_mount(ideal_head(), marks); });
    CAPTURE(text);
    CHECK(has(text, "shifts of the head along its x, y and z axes (3 of 12 numbers)"));
    auto const fit = calibrate_mount(ideal_head(), marks, pose_of<Cell, Plate>(cell.cell_from_plate));
    CHECK(largest(difference_of(cell.flange_from_head, plain(fit.mount.flange_from_head))) < 1e-9);
}

TEST_CASE("poses that are all but the same hardly determine the mount: that is refused too") {
    Random random(5);
    auto const cell = straight_cell();
    std::vector<Eigen::Matrix3d> turns;
    for (int i = 0; i < 12; ++i)
        turns.push_back(turned({random.normal(), random.normal(), random.normal()}, 2e-4));
    auto hits = hits_with(cell, random, turns);
    for (auto& hit : hits) {
        hit.cell_from_flange.origin.x += 1e-4 * random.normal();
        hit.cell_from_flange.origin.y += 1e-4 * random.normal();
    }
    auto const text = said(hits);
    CAPTURE(text);
    CHECK(has(text, "hardly determine the mount: "));
    CHECK(has(text, " has a standard deviation of "));
    CHECK(has(text, "rotate the flange more about its "));
}

// Further observations of every kind are made in the cell, and the fit is asked what each has brought: the
// one that was advised is the best or within a quarter of it (the advice looks at some of the poses only).
TEST_CASE("the advice for a weak geometry is the best of all further observations, or nearly so") {
    Random random(6);
    for (std::size_t trial = 0; trial < runs(20); ++trial) {
        auto cell = straight_cell();
        cell.spread.tilt = trial % 2 == 0 ? 0.05 : 0.5;
        cell.spread.spin = trial % 3 == 0 ? 0.05 : 1;
        cell.spread.deflection = trial % 2 == 0 ? 0.14 : 0.01;
        MountOptions options;
        options.start = pose_of<Flange, Head>(cell.flange_from_head);
        options.deviation = 1e-4;
        options.most_deviation = 10;
        auto const hits = random_hits(cell, random, 10);
        auto const fit = calibrate_mount(ideal_head(), hits, options).mount;
        auto const sum_of = [](MountFit const& one) { return one.covariance.trace(); };
        std::array<double, 6> after{};
        for (std::size_t kind = 0; kind < 6; ++kind) {
            double least = 1e300;
            for (std::size_t i : {std::size_t{0}, std::size_t{4}, std::size_t{9}})
                for (double const side : {-1.0, 1.0}) {
                    // The head in the plate's axes, less the look straight down.
                    Eigen::Isometry3d const head_in_plate = cell.cell_from_plate.inverse() *
                                                            plain(hits[i].cell_from_flange) *
                                                            cell.flange_from_head;
                    Eigen::Matrix3d turn =
                        turned(Eigen::Vector3d::UnitX(), -std::numbers::pi) * head_in_plate.linear();
                    auto command = hits[i].command;
                    auto const line = beam_of(cell.head, command.x_mirror, command.y_mirror).line;
                    double distance =
                        (head_in_plate * Eigen::Vector3d(line.point.x, line.point.y, line.point.z)).norm();
                    if (kind < 3)
                        turn =
                            turn * turned(Eigen::Vector3d::Unit(static_cast<int>(kind)), side * degrees(20));
                    if (kind == 3)
                        distance *= 1 + 0.2 * side;
                    if (kind == 4)
                        command.x_mirror = 0.14 * side;
                    if (kind == 5)
                        command.y_mirror = 0.14 * side;
                    auto more = hits;
                    more.push_back(hit_of(cell.seen(command, turn, distance, 0, 0)));
                    least = std::min(least, sum_of(calibrate_mount(ideal_head(), more, options).mount));
                }
            after[kind] = least / sum_of(fit);
        }
        auto const advised = static_cast<std::size_t>(fit.weakest.advice);
        double const best = *std::min_element(after.begin(), after.end());
        CAPTURE(trial);
        CAPTURE(fit.weakest.direction);
        CAPTURE(to_string(fit.weakest.advice));
        CHECK(after[advised] <= 1.25 * best);
        CHECK(fit.weakest.variance_left == doctest::Approx(after[advised]).epsilon(0.05));
    }
}

TEST_CASE("what is known least is one deviation long and lies in the covariance") {
    Random random(7);
    auto cell = straight_cell();
    cell.spread.spin = 0.05;
    cell.spread.tilt = 0.1;
    auto const fit = calibrate_mount(ideal_head(), random_hits(cell, random, 12, 1e-5)).mount;
    Eigen::Matrix<double, 6, 1> step;
    for (int k = 0; k < 6; ++k)
        step(k) = fit.weakest.step[static_cast<std::size_t>(k)];
    // An eigenvector: C s = |s|² s; and no direction of a thousand has more variance.
    CHECK((fit.covariance * step - step.squaredNorm() * step).norm() <
          1e-9 * step.norm() * step.squaredNorm());
    for (int i = 0; i < 1000; ++i) {
        auto const v = random.on_sphere<6>();
        Eigen::Map<Eigen::Matrix<double, 6, 1> const> const other(v.data());
        CHECK(other.dot(fit.covariance * other) <= step.squaredNorm() * (1 + 1e-9));
    }
    CHECK(fit.weakest.share == doctest::Approx(step.norm() / 0.1));
    CHECK(has(fit.weakest.direction, "of the head "));
}
