#ifndef SEAMHOLD_BENCH_CALIBRATE_MOUNT_HPP
#define SEAMHOLD_BENCH_CALIBRATE_MOUNT_HPP

#include "seamhold/calibrate/observation.hpp"
#include "seamhold/head/mirror_pair.hpp"

#include <ceres/ceres.h>
#include <ceres/rotation.h>

#include <cmath>
#include <stdexcept>
#include <vector>

// The baseline: what an engineer writes who has a solver. Each hit is one block of two residuals with
// derivatives by Ceres; the mount is a quaternion on its manifold and an origin, the target three numbers.
// The head's beam is traced once, as ours is.
namespace seamhold::bench {

/// What a hit misses: the target in the head, across the beam in two directions.
struct HitMiss {
    double flange[9]; ///< cell_from_flange's rotation, row by row
    double place[3];  ///< its origin, m
    double origin[3]; ///< of the beam, in the head, m
    double across[2][3];

    template <class T> bool operator()(T const* turn, T const* shift, T const* target, T* miss) const {
        T in_flange[3];
        for (int k = 0; k < 3; ++k)
            in_flange[k] = (target[0] - place[0]) * flange[k] + (target[1] - place[1]) * flange[3 + k] +
                           (target[2] - place[2]) * flange[6 + k] - shift[k];
        T const back[4] = {turn[0], -turn[1], -turn[2], -turn[3]};
        T in_head[3];
        ceres::UnitQuaternionRotatePoint(back, in_flange, in_head);
        for (int i = 0; i < 2; ++i)
            miss[i] = (in_head[0] - origin[0]) * across[i][0] + (in_head[1] - origin[1]) * across[i][1] +
                      (in_head[2] - origin[2]) * across[i][2];
        return true;
    }
};

/// What Ceres answers.
struct CeresMount {
    Pose<Flange, Head> flange_from_head;
    Point<Cell> target;
    double turn_deviation;  ///< root of the sum of the three turns' variances, rad
    double shift_deviation; ///< of the three shifts', m
    double cost;            ///< half the sum of squares, m²
};

/// The mount from hits by Ceres, from a drawn mount and target, with its covariance.
inline CeresMount ceres_mount(MirrorPair<> const& head, std::vector<BeamOnTarget> const& hits,
                              Pose<Flange, Head> const& drawn, Point<Cell> const& about) {
    auto const q = quaternion_of(drawn.rotation);
    double turn[4] = {q.w, q.x, q.y, q.z};
    double shift[3] = {drawn.origin.x, drawn.origin.y, drawn.origin.z};
    double target[3] = {about.x, about.y, about.z};
    ceres::Problem problem;
    for (BeamOnTarget const& hit : hits) {
        auto const ray = head.ray(hit.command);
        auto const& d = ray.direction;
        auto const first = unit(Direction<Head>{d.z, 0, -d.x});
        auto const second = cross(d, first);
        auto* miss = new HitMiss{
            {},
            {hit.cell_from_flange.origin.x, hit.cell_from_flange.origin.y, hit.cell_from_flange.origin.z},
            {ray.origin.x, ray.origin.y, ray.origin.z},
            {{first.x, first.y, first.z}, {second.x, second.y, second.z}}};
        for (int i = 0; i < 3; ++i)
            for (int k = 0; k < 3; ++k)
                miss->flange[3 * i + k] = hit.cell_from_flange.rotation.m[i][k];
        problem.AddResidualBlock(new ceres::AutoDiffCostFunction<HitMiss, 2, 4, 3, 3>(miss), nullptr, turn,
                                 shift, target);
    }
    problem.SetManifold(turn, new ceres::QuaternionManifold);
    ceres::Solver::Options options;
    options.linear_solver_type = ceres::DENSE_QR;
    options.num_threads = 1;
    options.logging_type = ceres::SILENT;
    options.function_tolerance = 1e-15;
    options.gradient_tolerance = 1e-15;
    options.parameter_tolerance = 1e-14;
    ceres::Solver::Summary summary;
    ceres::Solve(options, &problem, &summary);
    CeresMount fit{{rotation_of<Flange, Head>(Quaternion<double>{turn[0], turn[1], turn[2], turn[3]}),
                    {shift[0], shift[1], shift[2]}},
                   {target[0], target[1], target[2]},
                   0,
                   0,
                   summary.final_cost};
    ceres::Covariance::Options covariance_options;
    covariance_options.num_threads = 1;
    ceres::Covariance covariance(covariance_options);
    if (!covariance.Compute({{turn, turn}, {shift, shift}, {turn, shift}, {target, target}}, &problem))
        throw std::runtime_error("Ceres finds no covariance");
    double turns[9], shifts[9];
    covariance.GetCovarianceBlockInTangentSpace(turn, turn, turns);
    covariance.GetCovarianceBlock(shift, shift, shifts);
    double const s = std::sqrt(2 * summary.final_cost / (2 * static_cast<double>(hits.size()) - 9));
    // A step of Ceres's manifold turns twice as far. Sums over three axes do not depend on whose they are.
    fit.turn_deviation = 2 * s * std::sqrt(turns[0] + turns[4] + turns[8]);
    fit.shift_deviation = s * std::sqrt(shifts[0] + shifts[4] + shifts[8]);
    return fit;
}

} // namespace seamhold::bench

#endif
