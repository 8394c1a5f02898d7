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

/// What the baseline answers at a tick. The rates are central differences and so belong to the tick before.
struct SolvedTick {
    std::array<double, 2> angles;       ///< x and y mirror, rad
    double focus;                       ///< m
    std::array<double, 3> velocity;     ///< of x mirror, y mirror, focus one tick earlier
    std::array<double, 3> acceleration; ///< of x mirror, y mirror, focus one tick earlier
};

/// Follows a seam tick by tick by solving.
template <class Solver> class SolvingFollower {
public:
    /// The commands of the two ticks before: where the next solve starts.
    struct Past {
        std::array<double, 3> last;
        std::array<double, 3> before;
    };

    /// Uses the library's chain up to the point in the head frame, in plain doubles.
    explicit SolvingFollower(AnyChain const& chain) : chain_(&chain) {}

    /// The past of the tick `next`, solved from rest position on.
    Past past_of(Question const& next) {
        Past past{};
        past_ = {};
        for (int i = 4; i >= 1; --i) {
            tick({next.seam, next.seam_time - i * Scene::period, next.time - i * Scene::period});
            if (i > 2)
                past_.before =
                    past_.last; // stands still, so that no start is extrapolated from the rest position
            past = past_;
        }
        return past;
    }

    /// Goes on from a past.
    void resume(Past const& past) { past_ = past; }

    /// The next tick, one period after the last.
    SolvedTick tick(Question const& q) {
        auto const& head = std::get<MirrorPair<>>(chain_->head.choice());
        auto const target = chain_->in_head(q.seam->at(q.seam_time).position, q.time);
        // Starts where the last two ticks point to: one step less than from the last tick alone.
        auto const& [last, before] = past_;
        std::array<double, 2> angles{2 * last[0] - before[0], 2 * last[1] - before[1]};
        solver_.solve(BeamMiss{target, head.separation}, angles);
        double const path = std::hypot(target.x, head.separation + target.z / std::cos(2 * angles[1]));
        double const focus = (path + q.seam->focus_offset - head.focus_path) / head.focus_ratio;
        std::array<double, 3> const now{angles[0], angles[1], focus};
        SolvedTick result{angles, focus, {}, {}};
        constexpr double per_period = 1 / Scene::period;
        for (std::size_t i = 0; i < 3; ++i) {
            result.velocity[i] = (now[i] - before[i]) * (per_period / 2);
            result.acceleration[i] = ((now[i] - last[i]) - (last[i] - before[i])) * (per_period * per_period);
        }
        past_ = {now, last};
        return result;
    }

private:
    AnyChain const* chain_;
    Solver solver_;
    Past past_{};
};

/// ceres::Solve on a problem that is built once: two unknowns, two residuals.
template <class Miss = BeamMiss> class CeresSolver {
public:
    CeresSolver() : miss_(new Miss{}) {
        problem_.AddResidualBlock(new ceres::AutoDiffCostFunction<Miss, 2, 2>(miss_), nullptr,
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
    void solve(Miss const& miss, std::array<double, 2>& angles) {
        *miss_ = miss;
        angles_ = angles;
        ceres::Solve(options_, &problem_, &summary_);
        angles = angles_;
    }

private:
    Miss* miss_; ///< owned by the cost function
    std::array<double, 2> angles_{};
    ceres::Problem problem_;
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

private:
    ceres::TinySolver<ceres::TinySolverAutoDiffFunction<BeamMiss, 2, 2>> solver_;
};

} // namespace seamhold::bench

#endif
