// The same residuals, written once more, made small by Ceres: it must end in the same place.

#include "../../bench/calibrate_mount.hpp"
#include "calibrate/mount_cells.hpp"
#include "seamhold/calibrate/mount.hpp"
#include "seamhold/calibrate/pose_pairs.hpp"

#include <doctest/doctest.h>

#include <ceres/ceres.h>
#include <ceres/rotation.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

/// A quaternion and an origin as Ceres moves them.
struct Blocks {
    double turn[4];
    double shift[3];

    template <class To, class From> explicit Blocks(Pose<To, From> const& pose) {
        auto const q = quaternion_of(pose.rotation);
        double const from[4] = {q.w, q.x, q.y, q.z};
        std::copy(from, from + 4, turn);
        shift[0] = pose.origin.x;
        shift[1] = pose.origin.y;
        shift[2] = pose.origin.z;
    }
    template <class To, class From> Pose<To, From> pose() const {
        return {rotation_of<To, From>(Quaternion<double>{turn[0], turn[1], turn[2], turn[3]}),
                {shift[0], shift[1], shift[2]}};
    }
};

/// Where a beam meets a plate less where its mark was found, m.
struct MarkMiss {
    double flange_turn[4], flange_shift[3];
    double origin[3], direction[3];
    double x, y;

    template <class T>
    bool operator()(T const* mount_turn, T const* mount_shift, T const* plate_turn, T const* plate_shift,
                    T* miss) const {
        T at[3], along[3], place[3], way[3];
        T const o[3] = {T(origin[0]), T(origin[1]), T(origin[2])};
        T const d[3] = {T(direction[0]), T(direction[1]), T(direction[2])};
        T const f[4] = {T(flange_turn[0]), T(flange_turn[1]), T(flange_turn[2]), T(flange_turn[3])};
        ceres::UnitQuaternionRotatePoint(mount_turn, o, at);
        ceres::UnitQuaternionRotatePoint(mount_turn, d, along);
        for (int k = 0; k < 3; ++k)
            at[k] += mount_shift[k];
        ceres::UnitQuaternionRotatePoint(f, at, place);
        ceres::UnitQuaternionRotatePoint(f, along, way);
        for (int k = 0; k < 3; ++k)
            place[k] += T(flange_shift[k]) - plate_shift[k];
        T const back[4] = {plate_turn[0], -plate_turn[1], -plate_turn[2], -plate_turn[3]};
        ceres::UnitQuaternionRotatePoint(back, place, at);
        ceres::UnitQuaternionRotatePoint(back, way, along);
        T const distance = -at[2] / along[2];
        miss[0] = at[0] + distance * along[0] - x;
        miss[1] = at[1] + distance * along[1] - y;
        return true;
    }
};

ceres::Solver::Summary solved(ceres::Problem& problem) {
    ceres::Solver::Options options;
    options.linear_solver_type = ceres::DENSE_QR;
    options.num_threads = 1;
    options.logging_type = ceres::SILENT;
    options.max_num_iterations = 200;
    options.function_tolerance = 1e-16;
    options.gradient_tolerance = 1e-16;
    options.parameter_tolerance = 1e-15;
    ceres::Solver::Summary summary;
    ceres::Solve(options, &problem, &summary);
    return summary;
}

/// Half the sum of squares of a fit's residuals, as Ceres counts.
double cost_of(MountFit const& fit) {
    double sum = 0;
    for (auto const& one : fit.residuals)
        sum += one.norm * one.norm / 2;
    return sum;
}

} // namespace

// Both stop where a step no longer lowers the sum: with residuals of 0.1 mm a step of 1e-9 changes it by some
// 1e-10 of itself.
TEST_CASE("hits of a target: Ceres ends in the same place, with no lower cost") {
    Random random(21);
    int fits = 0;
    for (int i = 0; i < 20; ++i) {
        auto const cell = random_cell(random, plain_ideal_head());
        auto const hits = random_hits(cell, random, 40, 1e-4);
        auto const ours = calibrate_mount(ideal_head(), hits);
        if (!ours.mount.outliers.empty())
            continue; // Ceres leaves nothing out
        ++fits;
        auto const off = Pose<Head, Head>{about_axis<Head, Head>({0.6, 0, 0.8}, 0.1), {0.01, 0.02, -0.01}};
        auto const theirs =
            bench::ceres_mount(ideal_head(), hits, pose_of<Flange, Head>(cell.flange_from_head) * off,
                               pose_of<Cell, Plate>(cell.cell_from_plate).origin);
        CHECK(largest(difference_of(plain(theirs.flange_from_head), plain(ours.mount.flange_from_head))) <
              2e-9);
        CHECK(norm(theirs.target - ours.target) < 2e-9);
        CHECK(cost_of(ours.mount) <= theirs.cost * (1 + 1e-12));
        auto const& c = ours.mount.covariance;
        CHECK(theirs.turn_deviation == doctest::Approx(std::sqrt(c(0, 0) + c(1, 1) + c(2, 2))).epsilon(1e-6));
        CHECK(theirs.shift_deviation ==
              doctest::Approx(std::sqrt(c(3, 3) + c(4, 4) + c(5, 5))).epsilon(1e-6));
    }
    CHECK(fits >= 15);
}

TEST_CASE("marks on a plate, known or not: Ceres ends in the same place, with no lower cost") {
    Random random(22);
    int fits = 0;
    for (int i = 0; i < 20; ++i) {
        auto const cell = random_cell(random, plain_ideal_head());
        auto const marks = random_marks(cell, random, 40, 1e-4);
        bool const known = i % 2 == 0;
        auto const plate = pose_of<Cell, Plate>(cell.cell_from_plate);
        auto const ours =
            known ? calibrate_mount(ideal_head(), marks, plate) : calibrate_mount(ideal_head(), marks);
        if (!ours.mount.outliers.empty())
            continue;
        ++fits;
        auto const off = Pose<Head, Head>{about_axis<Head, Head>({0.6, 0, 0.8}, 0.1), {0.01, 0.02, -0.01}};
        Blocks mount(pose_of<Flange, Head>(cell.flange_from_head) * off), board(plate);
        ceres::Problem problem;
        for (auto const& mark : marks) {
            auto const line = beam_of(cell.head, mark.command.x_mirror, mark.command.y_mirror).line;
            Blocks const flange(mark.cell_from_flange);
            auto* miss = new MarkMiss{{flange.turn[0], flange.turn[1], flange.turn[2], flange.turn[3]},
                                      {flange.shift[0], flange.shift[1], flange.shift[2]},
                                      {line.point.x, line.point.y, line.point.z},
                                      {line.direction.x, line.direction.y, line.direction.z},
                                      mark.x,
                                      mark.y};
            problem.AddResidualBlock(new ceres::AutoDiffCostFunction<MarkMiss, 2, 4, 3, 4, 3>(miss), nullptr,
                                     mount.turn, mount.shift, board.turn, board.shift);
        }
        problem.SetManifold(mount.turn, new ceres::QuaternionManifold);
        if (known) {
            problem.SetParameterBlockConstant(board.turn);
            problem.SetParameterBlockConstant(board.shift);
        } else {
            problem.SetManifold(board.turn, new ceres::QuaternionManifold);
        }
        auto const summary = solved(problem);
        CAPTURE(known);
        CHECK(largest(difference_of(plain(mount.pose<Flange, Head>()), plain(ours.mount.flange_from_head))) <
              2e-9);
        CHECK(largest(difference_of(plain(board.pose<Cell, Plate>()), plain(ours.cell_from_plate))) < 2e-9);
        // Beams traced apart and places 2e-9 apart: 80 rows · (2e-9)² of a cost of 3e-7 are 1e-9 of it.
        CHECK(cost_of(ours.mount) <= summary.final_cost * (1 + 1e-9));
    }
    CHECK(fits >= 15);
}
