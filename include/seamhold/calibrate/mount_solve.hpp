#ifndef SEAMHOLD_CALIBRATE_MOUNT_SOLVE_HPP
#define SEAMHOLD_CALIBRATE_MOUNT_SOLVE_HPP

#include "seamhold/calibrate/mount_fit.hpp"
#include "seamhold/calibrate/mount_start.hpp"
#include "seamhold/statistics/robust_fit.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

/// The fit of a mount to beams, from a start or from nothing, with gross outliers left out.
namespace seamhold::detail {

/// A fit, and what was left out of it.
struct SolvedMount {
    LeastSquaresFit<MountState> fit;
    std::vector<bool> outlier;
    bool from_front;         ///< every beam that counts comes to what it meets from the right side
    double distance_by_head; ///< the middle distance along the beams over that at which the head focuses
    bool start_left = false; ///< a search found a much better mount than the start given leads to

    /// Whether the mount is one that a cell can have and the data fit it: see `MountOptions`.
    bool plausible(double plausible_deviation) const {
        return from_front && in_scale() && fit.deviation() <= plausible_deviation;
    }
    /// How many observations were left out.
    std::ptrdiff_t left_out() const { return std::count(outlier.begin(), outlier.end(), true); }
    /// Whether the beams are about as long as the head focuses: ten times longer or shorter they are not.
    bool in_scale() const { return distance_by_head > 0.1 && distance_by_head < 10; }
};

/// The middle one of some numbers.
inline double middle_of_beams(std::vector<double> numbers) {
    auto const middle = numbers.begin() + static_cast<std::ptrdiff_t>(numbers.size() / 2);
    std::nth_element(numbers.begin(), middle, numbers.end());
    return *middle;
}

/// The largest deviation of the residuals that raises no suspicion, m.
inline double plausible_deviation_of(MountOptions const& options) {
    return options.deviation ? 4 * *options.deviation : options.plausible_deviation;
}

/// Whether plain least squares of all observations may stand: none is further from what the others say than
/// chance makes, the sizes of the residuals are spread as normal ones, and the deviation is plausible. Then
/// outliers, if there are any, are of the noise's own size. Two rows an observation.
inline bool plain_fit_stands(LeastSquaresFit<MountState> const& fit, RobustOptions const& options,
                             double plausible_deviation) {
    auto const count = fit.residuals.size() / 2;
    double const freedom = fit.degrees_of_freedom;
    if (!fit.determined || !fit.converged || freedom < 4 || fit.deviation() > plausible_deviation)
        return false;
    Eigen::MatrixXd const spread = fit.jacobian * fit.unit_covariance;
    double farthest = 0;
    std::vector<double> squares;
    for (Eigen::Index i = 0; i < count; ++i) {
        auto const rows = fit.jacobian.middleRows<2>(2 * i);
        Eigen::Matrix2d const left =
            Eigen::Matrix2d::Identity() - spread.middleRows<2>(2 * i) * rows.transpose();
        Eigen::Vector2d const own = fit.residuals.segment<2>(2 * i);
        squares.push_back(own.squaredNorm());
        double const determinant = left.determinant();
        if (!(determinant > 1e-6))
            return false; // it alone determines something: the others cannot judge it
        farthest = std::max(farthest, (left(1, 1) * sqr(own(0)) - 2 * left(0, 1) * own(0) * own(1) +
                                       left(0, 0) * sqr(own(1))) /
                                          determinant);
    }
    // Of normal residuals in two directions the mean square is 1 / ln 2 times the middle one; that ratio
    // scatters by about 1.2 / √count.
    double const mean = fit.sum_of_squares / static_cast<double>(count);
    if (mean > middle_of_beams(squares) / std::log(2.0) * (1 + 3.6 / std::sqrt(static_cast<double>(count))))
        return false;
    // Fisher's test of the farthest by what the others predict, its level shared among all.
    double const rounding = 1e-13; // m: a pose at some metres, in double
    if (farthest <= 2 * sqr(rounding))
        return true;
    double const chance =
        options.deviation
            ? chi_squared_tail(farthest / sqr(*options.deviation), 2)
            : f_tail(farthest / 2 / ((fit.sum_of_squares - farthest) / (freedom - 2)), 2, freedom - 2);
    return chance >= options.false_alarm / static_cast<double>(count);
}

/// The fit from a state. Throws BadInput as `least_squares` does.
inline SolvedMount solved_from(MountProblem const& problem, MountState const& start,
                               MountOptions const& options) {
    auto const& beams = problem.beams;
    MountMove const move{problem.met};
    RobustOptions robust;
    robust.deviation = options.deviation;
    SolvedMount solved{least_squares(start, problem, move), std::vector<bool>(beams.size(), false), true, 0};
    if (solved.fit.determined && !plain_fit_stands(solved.fit, robust, plausible_deviation_of(options))) {
        auto fit = robust_least_squares(refined_start(problem, start).state, problem, move, 2, robust);
        solved.fit = std::move(fit.fit);
        solved.outlier = std::move(fit.outlier);
    }
    std::vector<double> along, focus;
    for (std::size_t i = 0; i < beams.size(); ++i) {
        auto const at = met_at(problem.met, beams[i], solved.fit.state);
        if (!solved.outlier[i])
            solved.from_front = solved.from_front && at.from_front;
        along.push_back(at.distance);
        focus.push_back(beams[i].ray.focus_path - beams[i].ray.path);
    }
    solved.distance_by_head = middle_of_beams(along) / middle_of_beams(focus);
    return solved;
}

/// Which of two fits is the better one: of two with residuals alike the one that leaves out less.
inline bool better(SolvedMount const& a, SolvedMount const& b) {
    if (a.from_front != b.from_front)
        return a.from_front;
    if (a.fit.determined != b.fit.determined)
        return a.fit.determined;
    double const of_a = a.fit.deviation(), of_b = b.fit.deviation();
    if (std::max(of_a, of_b) <= 2 * std::min(of_a, of_b) + 1e-12 && a.left_out() != b.left_out())
        return a.left_out() < b.left_out();
    return of_a < of_b;
}

/// The angle between two mounts, rad.
inline double turn_between(Pose<Flange, Head> const& a, Pose<Flange, Head> const& b) {
    auto const step = step_between(a, b);
    return std::sqrt(sqr(step[0]) + sqr(step[1]) + sqr(step[2]));
}

/// Throws BadInput if another mount, far from the first, fits about as well.
inline void check_only_one(SolvedMount const& best, SolvedMount const& other) {
    if (!best.fit.determined || !other.fit.determined || !best.from_front || !other.from_front ||
        other.left_out() > best.left_out() || other.fit.deviation() > 2 * best.fit.deviation() + 1e-12)
        return;
    double const turn = turn_between(best.fit.state.flange_from_head, other.fit.state.flange_from_head);
    auto const step = step_between(best.fit.state.flange_from_head, other.fit.state.flange_from_head);
    Eigen::VectorXd const between = Eigen::Map<Eigen::VectorXd const>(step.data(), 6);
    Eigen::MatrixXd const covariance = best.fit.covariance().topLeftCorner(6, 6);
    double const apart = Eigen::VectorXd(covariance.llt().matrixL().solve(between)).squaredNorm();
    if (turn > 0.05 && !(apart < 400)) // twenty deviations: not one flat minimum
        throw BadInput("two mounts, " + text_of(std::round(10 * in_degrees(turn)) / 10) +
                       "° apart, fit these observations about equally well (residuals of " +
                       text_of(in_millimetres(best.fit.deviation())) + " and " +
                       text_of(in_millimetres(other.fit.deviation())) +
                       " mm): observe from more poses that differ more, or give the mount's drawn place as "
                       "start");
}

/// The fit from nothing.
inline SolvedMount searched(MountProblem const& problem, Pose<Cell, Plate> const& plate,
                            MountOptions const& options) {
    auto const starts = mount_starts(problem, plate);
    SolvedMount best = solved_from(problem, starts[0].state, options);
    std::optional<SolvedMount> other;
    int more = 0;
    for (auto const& start : starts) {
        if (!(start.miss <= 5 * starts[0].miss + micrometres(1)) || more == 4)
            break;
        if (turn_between(start.state.flange_from_head, best.fit.state.flange_from_head) < 0.05 ||
            (other && turn_between(start.state.flange_from_head, other->fit.state.flange_from_head) < 0.05))
            continue;
        ++more;
        auto next = solved_from(problem, start.state, options);
        if (turn_between(next.fit.state.flange_from_head, best.fit.state.flange_from_head) < 0.05)
            continue;
        if (better(next, best))
            std::swap(next, best);
        if (!other || better(next, *other))
            other = std::move(next);
    }
    if (other)
        check_only_one(best, *other);
    return best;
}

/// Everything besides the mount's rotation, and a few steps from there: what a nominal mount lacks.
inline MountState completed(MountProblem const& problem, Pose<Flange, Head> const& mount,
                            Pose<Cell, Plate> const& plate) {
    if (problem.met != Met::known_plate)
        return {mount,
                GivenRotation(problem.met, problem.beams, plate)(mount.rotation).state.cell_from_plate};
    return {mount, plate};
}

/// The fit from the start of the options, or from nothing where there is none or it leads to no plausible
/// mount.
inline SolvedMount solved_mount(MountProblem const& problem, Pose<Cell, Plate> const& plate,
                                MountOptions const& options) {
    if (!options.start)
        return searched(problem, plate, options);
    auto near = solved_from(problem, completed(problem, *options.start, plate), options);
    if (near.plausible(plausible_deviation_of(options)) || !near.fit.determined)
        return near;
    auto far = searched(problem, plate, options);
    bool const leave = !near.from_front || 5 * far.fit.deviation() < near.fit.deviation();
    if (!leave || !far.from_front)
        return near;
    far.start_left = true;
    return far;
}

} // namespace seamhold::detail

#endif
