#include "seamhold/calibrate/mount_checks.hpp"

#include "calibrate/mount_cells.hpp"
#include "seamhold/calibrate/mount.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <utility>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

/// Observations in one cell with noise, and what is said when they are changed.
struct Notes {
    MountCell cell;
    std::vector<BeamOnTarget> hits;
    std::vector<PlateMark> marks;
    Pose<Cell, Plate> plate;

    explicit Notes(std::uint64_t seed) {
        Random random(seed);
        cell = random_cell(random, plain_ideal_head(0.05));
        hits = random_hits(cell, random, 20, 1e-4);
        marks = random_marks(cell, random, 20, 1e-4);
        plate = pose_of<Cell, Plate>(cell.cell_from_plate);
    }

    template <class Change> std::string target(Change const& change) const {
        auto other = hits;
        for (auto& hit : other)
            change(hit);
        return refusal_of([&] { return calibrate_mount(ideal_head(0.05), other); });
    }
    template <class Change> std::string known(Change const& change) const {
        auto other = marks;
        for (auto& mark : other)
            change(mark);
        return refusal_of([&] { return calibrate_mount(ideal_head(0.05), other, plate); });
    }
    template <class Change> std::string unknown(Change const& change) const {
        auto other = marks;
        for (auto& mark : other)
            change(mark);
        return refusal_of([&] { return calibrate_mount(ideal_head(0.05), other); });
    }
};

auto const nothing = [](auto&) {};
auto const angles_by = [](double x, double y) {
    return [x, y](auto& one) {
        one.command.x_mirror *= x;
        one.command.y_mirror *= y;
    };
};
auto const flange_by = [](double by) {
    return [by](auto& one) {
        auto& o = one.cell_from_flange.origin;
        o = {by * o.x, by * o.y, by * o.z};
    };
};
auto const marks_by = [](double by) {
    return [by](PlateMark& mark) {
        mark.x *= by;
        mark.y *= by;
    };
};

} // namespace

TEST_CASE("what was given right is not suspected") {
    for (std::uint64_t seed = 1; seed <= 3; ++seed) {
        Notes const notes(seed);
        CHECK(notes.target(nothing).empty());
        CHECK(notes.known(nothing).empty());
        CHECK(notes.unknown(nothing).empty());
    }
}

TEST_CASE("mirror angles in another unit, optical, swapped or of another sign are named") {
    Notes const notes(4);
    auto const check = [&](auto const& change, std::string const& named) {
        CAPTURE(named);
        for (auto const& text : {notes.target(change), notes.known(change), notes.unknown(change)}) {
            CAPTURE(text);
            CHECK(has(text, named));
            CHECK(has(text, ": so the observations fit, as given they do not"));
        }
    };
    double const degree = 57.29577951308232; // 180 / π, from memory
    check(angles_by(degree, degree), "mirror angles look like degrees given as radians");
    check(angles_by(2, 2), "mirror angles look like optical ones given as mechanical");
    check([](auto& one) { std::swap(one.command.x_mirror, one.command.y_mirror); },
          "x and y mirror angles look swapped");
    check(angles_by(1, -1), "the sign of one mirror's angle looks reversed (y)");
}

TEST_CASE("lengths in another unit are named") {
    Notes const notes(5);
    auto text = notes.target(flange_by(1000));
    CAPTURE(text);
    CHECK(has(text, "flange positions look like millimetres given as metres"));
    CHECK(has(notes.unknown(flange_by(1000)), "flange positions look like millimetres given as metres"));
    CHECK(has(notes.known(flange_by(1000)), "flange positions look like millimetres given as metres"));
    CHECK(has(notes.known(marks_by(1000)), "marks look like millimetres given as metres"));
    CHECK(has(notes.unknown(marks_by(1000)), "marks look like millimetres given as metres"));
    CHECK(has(notes.unknown(marks_by(1e-3)), "marks look like metres taken for millimetres"));
    CHECK(has(notes.unknown(marks_by(1 / 25.4)), "marks look like inches taken for millimetres"));
    CHECK(has(notes.unknown(marks_by(1 / 0.0254)), "marks look like inches given as metres"));
    auto millimetre_plate = notes;
    auto& o = millimetre_plate.plate.origin;
    o = {1000 * o.x, 1000 * o.y, 1000 * o.z};
    CHECK(
        has(millimetre_plate.known(nothing), "the plate's position looks like millimetres given as metres"));
    CHECK(has(millimetre_plate.known(flange_by(1000)),
              "flange and plate positions look like millimetres given as metres"));
}

TEST_CASE("mirrored marks and swapped columns are named, and poses given the wrong way round") {
    Notes const notes(6);
    auto const swapped = [](PlateMark& mark) { std::swap(mark.x, mark.y); };
    auto const mirrored = [](PlateMark& mark) { mark.x = -mark.x; };
    CHECK(has(notes.known(swapped), "x and y of the marks look swapped"));
    CHECK(has(notes.known(mirrored), "marks look mirrored (the sign of x)"));
    // Of an unknown plate both are one: a plate seen from behind.
    CHECK(has(notes.unknown(swapped),
              "x and y of the marks look swapped, marks look mirrored (the sign of x), or "));
    CHECK(has(notes.unknown(mirrored),
              "x and y of the marks look swapped, marks look mirrored (the sign of x), or "));
    auto const inverted = [](auto& one) {
        one.cell_from_flange = as<Cell, Flange>(inverse(one.cell_from_flange));
    };
    CHECK(has(notes.target(inverted), "flange poses look inverted"));
    CHECK(has(notes.unknown(inverted), "flange poses look inverted"));
}

TEST_CASE("numbers that are not finite and axes that are no rotation's are named by their place") {
    Notes const notes(7);
    auto hits = notes.hits;
    hits[3].command.y_mirror = std::nan("");
    CHECK(has(refusal_of([&] { return calibrate_mount(ideal_head(), hits); }),
              "the command of observation 4 is not finite"));
    hits = notes.hits;
    hits[0].cell_from_flange.origin.z = std::numeric_limits<double>::infinity();
    CHECK(has(refusal_of([&] { return calibrate_mount(ideal_head(), hits); }),
              "the flange's pose of observation 1 is not finite"));
    hits = notes.hits;
    hits[19].cell_from_flange.rotation.m[1][1] += 1e-3;
    CHECK(has(refusal_of([&] { return calibrate_mount(ideal_head(), hits); }),
              "the flange's pose of observation 20 has axes that are no rotation's"));
    auto marks = notes.marks;
    marks[8].y = std::nan("");
    CHECK(has(refusal_of([&] { return calibrate_mount(ideal_head(), marks); }),
              "the place of the mark of observation 9 is not finite"));
    MountOptions options;
    options.deviation = 0;
    CHECK(has(refusal_of([&] { return calibrate_mount(ideal_head(), notes.hits, options); }),
              "must be above 0"));
    options.deviation.reset();
    options.start = pose_of<Flange, Head>(notes.cell.flange_from_head);
    options.start->origin.x = std::nan("");
    CHECK(has(refusal_of([&] { return calibrate_mount(ideal_head(), notes.hits, options); }),
              "the mount's start is not finite"));
}

TEST_CASE("residuals that no mix-up explains come back as not plausible") {
    Notes const notes(8);
    Random random(9);
    auto hits = random_hits(notes.cell, random, 30, 4e-3);
    auto const fit = calibrate_mount(ideal_head(0.05), hits).mount;
    CHECK(!fit.plausible);
    CHECK(fit.deviation == doctest::Approx(4e-3).epsilon(0.4));
}

TEST_CASE("a start far off is noticed, and the mount is found without it") {
    Notes const notes(10);
    MountOptions options;
    Eigen::Isometry3d off = Eigen::Isometry3d::Identity();
    off.linear() = Eigen::AngleAxisd(3.0, Eigen::Vector3d(0.6, 0.8, 0)).toRotationMatrix();
    options.start = pose_of<Flange, Head>(notes.cell.flange_from_head * off);
    auto const fit = calibrate_mount(ideal_head(0.05), notes.marks, options).mount;
    CHECK(largest(difference_of(notes.cell.flange_from_head, plain(fit.flange_from_head))) < 5e-3);
    auto const near = calibrate_mount(ideal_head(0.05), notes.marks).mount;
    CHECK(largest(difference_of(plain(near.flange_from_head), plain(fit.flange_from_head))) < 1e-6);
    CHECK(!near.start_left);
    CHECK(fit.start_left);
}
