#ifndef SEAMHOLD_BENCH_CERES_FOLLOW_HPP
#define SEAMHOLD_BENCH_CERES_FOLLOW_HPP

#include "scene.hpp"

#include <ceres/ceres.h>
#include <ceres/tiny_solver.h>
#include <ceres/tiny_solver_autodiff_function.h>

#include <array>
#include <cmath>

// The baseline that an engineer writes who knows how a beam leaves two mirrors, has a solver, and does not
// want to invert the geometry or to differentiate it by hand: every tick one solve, started where the last
// ticks point to, and rates by differencing the ticks.
namespace seamhold::bench {

/// By how much the beam of two mirror angles misses a point, in the plane z = target.z of the head frame, m.
/// Written apart from the library's own mirror pair.
struct BeamMiss {
    Point<Head> target;
    double separation; ///< between the mirror axes, m

    /// angles[0] is the first mirror's, angles[1] the last mirror's, rad; two misses, m.
    template <class T> bool operator()(T const* angles, T* miss) const {
        using std::cos;
        using std::tan;
        T const x_optical = 2.0 * angles[0];
        T const y_optical = 2.0 * angles[1];
        miss[0] = tan(x_optical) * (separation + target.z / cos(y_optical)) - target.x;
        miss[1] = tan(y_optical) * target.z - target.y;
        return true;
    }
};

/// What the baseline answers at a tick. The rates are those of the tick before: central differences.
struct SolvedTick {
    std::array<double, 2> angles;       ///< rad
    double focus;                       ///< m
    std::array<double, 3> velocity;     ///< of x mirror, y mirror, focus one tick earlier
    std::array<double, 3> acceleration; ///< of x mirror, y mirror, focus one tick earlier
};

/// Follows by solving. Solve is called with the miss and the start angles and leaves the solution in them.
template <class Solver> class SolvingFollower {
public:
    /// Of the library's chain up to the point in the head frame, in plain doubles.
    explicit SolvingFollower(AnyChain const& chain) : chain_(&chain) {}

    /// Forgets the last ticks and starts at two ticks before `first`, so that the run begins warm.
    void start(Question const& first) {
        ticks_ = 0;
        for (int i = 3; i >= 1; --i)
            tick({first.seam, first.seam_time - i * Scene::period, first.time - i * Scene::period});
    }

    /// The next tick, one period after the last.
    SolvedTick tick(Question const& q) {
        auto const& chain = *chain_;
        auto const in_cell = chain.cell_from_part.at(q.time) * q.seam->at(q.seam_time).position;
        auto const target =
            inverse_times(chain.flange_from_head, inverse_times(chain.cell_from_flange.at(q.time), in_cell));
        // Started where the last two ticks point to, which takes fewer steps than from the last tick alone.
        std::array<double, 2> angles{};
        if (ticks_ == 1)
            angles = {last_[0], last_[1]};
        else if (ticks_ > 1)
            angles = {2 * last_[0] - before_[0], 2 * last_[1] - before_[1]};
        ++ticks_;
        solver_.solve({target, chain.head.separation}, angles);
        double const last_to_target = target.z / std::cos(2 * angles[1]);
        double const path = std::hypot(target.x, chain.head.separation + last_to_target);
        double const focus = (path + q.seam->focus_offset() - chain.head.focus_path) / chain.head.focus_ratio;
        std::array<double, 3> const now{angles[0], angles[1], focus};
        SolvedTick result{angles, focus, {}, {}};
        double const per_period = 1 / Scene::period;
        for (std::size_t i = 0; i < 3; ++i) {
            result.velocity[i] = (now[i] - before_[i]) * (0.5 * per_period);
            result.acceleration[i] =
                ((now[i] - last_[i]) - (last_[i] - before_[i])) * (per_period * per_period);
        }
        before_ = last_;
        last_ = now;
        return result;
    }

    /// The solver, for what it can tell.
    Solver const& solver() const { return solver_; }

private:
    AnyChain const* chain_;
    Solver solver_;
    std::array<double, 3> last_{};
    std::array<double, 3> before_{};
    int ticks_ = 0;
};

/// ceres::Solve on a problem that is built once.
class CeresSolver {
public:
    CeresSolver() : miss_(new BeamMiss{}) {
        ceres::Problem::Options ownership;
        problem_ = std::make_unique<ceres::Problem>(ownership);
        problem_->AddResidualBlock(new ceres::AutoDiffCostFunction<BeamMiss, 2, 2>(miss_), nullptr,
                                   angles_.data());
        options_.linear_solver_type = ceres::DENSE_QR;
        options_.num_threads = 1;
        options_.logging_type = ceres::SILENT;
        options_.minimizer_progress_to_stdout = false;
        options_.max_num_iterations = 10;
        // The misses are in metres and the beam moves by about a metre for a radian, so that these reach
        // 1e-12 rad.
        options_.gradient_tolerance = 1e-12;
        options_.function_tolerance = 1e-30;
        options_.parameter_tolerance = 1e-14;
        // As near to plain Newton steps as the solver goes: nearly no damping, no scaling.
        options_.initial_trust_region_radius = 1e16;
        options_.max_trust_region_radius = 1e32;
        options_.jacobi_scaling = false;
    }

    CeresSolver(CeresSolver const&) = delete;
    CeresSolver& operator=(CeresSolver const&) = delete;

    /// Solves from `angles` on and leaves the solution there.
    void solve(BeamMiss const& miss, std::array<double, 2>& angles) {
        *miss_ = miss;
        angles_ = angles;
        ceres::Solve(options_, problem_.get(), &summary_);
        angles = angles_;
    }

    /// How the last solve went.
    ceres::Solver::Summary const& summary() const { return summary_; }

    /// How to solve; for trying.
    ceres::Solver::Options& options() { return options_; }

private:
    BeamMiss* miss_; ///< owned by the cost function
    std::array<double, 2> angles_{};
    std::unique_ptr<ceres::Problem> problem_;
    ceres::Solver::Options options_;
    ceres::Solver::Summary summary_;
};

/// ceres::TinySolver, Ceres's own small solver of fixed size without a heap, for those who find it.
class TinySolver {
public:
    TinySolver() {
        solver_.options.max_num_iterations = 10;
        solver_.options.gradient_tolerance = 1e-12;
        solver_.options.parameter_tolerance = 1e-14;
        solver_.options.function_tolerance = 1e-30;
        solver_.options.cost_threshold = 1e-30;
        solver_.options.initial_trust_region_radius = 1e16;
    }

    /// Solves from `angles` on and leaves the solution there.
    void solve(BeamMiss const& miss, std::array<double, 2>& angles) {
        using Function = ceres::TinySolverAutoDiffFunction<BeamMiss, 2, 2>;
        Function const function(miss);
        Eigen::Vector2d x(angles[0], angles[1]);
        solver_.Solve(function, &x);
        angles = {x[0], x[1]};
    }

    /// How many steps the last solve took.
    int iterations() const { return solver_.summary.iterations; }

private:
    ceres::TinySolver<ceres::TinySolverAutoDiffFunction<BeamMiss, 2, 2>> solver_;
};

} // namespace seamhold::bench

#endif
