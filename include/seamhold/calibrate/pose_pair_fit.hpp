#ifndef SEAMHOLD_CALIBRATE_POSE_PAIR_FIT_HPP
#define SEAMHOLD_CALIBRATE_POSE_PAIR_FIT_HPP

#include "seamhold/calibrate/mount_fit.hpp"
#include "seamhold/frame/eigen.hpp"
#include "seamhold/frame/pose_step.hpp"
#include "seamhold/number/gradient.hpp"
#include "seamhold/statistics/robust_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

/// The fit of a mount to pairs of whole poses.
namespace seamhold {

/// What is known before a calibration from pairs of poses, and what counts as plausible.
struct PosePairOptions {
    std::optional<double> turn_deviation;  ///< of a pair's turn about one axis, rad, where it is known; with
    std::optional<double> shift_deviation; ///< of a pair's shift along one axis, m; both or neither
    /// Residuals beyond these raise the suspicion that a unit or a direction is mixed up, rad and m. Common
    /// practice, no source.
    double plausible_turn = degrees(2);
    double plausible_shift = millimetres(10);
    double most_deviation = 0.1; ///< as in `MountOptions`
};

/// What one pair of poses misses at the fit.
struct PosePairResidual {
    double turn;  ///< 2 sin(angle / 2), rad
    double shift; ///< m
};

/// Where the head sits on the flange and where the target is, and how well that is known.
struct MountFromPairs {
    Pose<Flange, Head> flange_from_head;
    PoseCovariance covariance; ///< of its step of six numbers, in the head's axes
    Pose<Cell, Target> cell_from_target;
    PoseCovariance target_covariance; ///< of its step, in the target's axes
    double turn_deviation;            ///< of a pair's turn about one axis, rad: as given, or of the residuals
    double shift_deviation;           ///< of a pair's shift along one axis, m
    double degrees_of_freedom;        ///< the smaller of those behind the two; ∞ where they were given
    std::vector<PosePairResidual> residuals; ///< pair by pair, the outliers' too
    std::vector<std::size_t> outliers;       ///< which pairs were left out, from 0
    bool plausible;                          ///< the residuals are no larger than the options expect
    MountWeakness weakest;
    bool as_stated = true; ///< false: the pairs scatter more than the deviations given allow, and the
                           ///< residuals tell the covariance instead

    /// The standard deviation of each of the mount's six numbers, rad and m.
    std::array<double, 6> deviations() const { return deviations_of(covariance); }
    /// Half the widths of their intervals at a level; see `half_widths_of`.
    std::array<double, 6> half_widths(double level = 0.95) const {
        return half_widths_of(covariance, degrees_of_freedom, level);
    }
    /// Whether a mount agrees with this one; see `within_region`.
    bool agrees_with(Pose<Flange, Head> const& other, double level = 0.95) const {
        return within_region(flange_from_head, covariance, degrees_of_freedom, other, level);
    }
};

namespace detail {

/// The unknowns.
struct PairState {
    Pose<Flange, Head> flange_from_head;
    Pose<Cell, Target> cell_from_target;
};

/// What a pair misses: the turn from the target as seen to the target as it should be, 2 sin(angle / 2) times
/// its axis, rad, and the shift, m, in the head's axes.
template <class M, class P>
std::array<Common<M, P>, 6> pair_missed(PosePair const& pair, Pose<Flange, Head, M> const& flange_from_head,
                                        Pose<Cell, Target, P> const& cell_from_target) {
    using std::sqrt;
    using T = Common<M, P>;
    auto const turn = inverse(flange_from_head.rotation) *
                      (inverse(pair.cell_from_flange.rotation) * cell_from_target.rotation);
    auto const left = inverse(pair.head_from_target.rotation) * turn;
    auto const& m = left.m;
    // 4 cos²(angle / 2); kept off 0 at half a turn, where the axis is not known.
    T const fourfold = number_cast<T>(1) + m[0][0] + m[1][1] + m[2][2];
    T const inverse_root = number_cast<T>(1) / sqrt(select(fourfold > 1e-9, fourfold, number_cast<T>(1e-9)));
    auto const shift =
        inverse_times(flange_from_head, inverse_times(pair.cell_from_flange, cell_from_target.origin)) -
        pair.head_from_target.origin;
    return {T((m[2][1] - m[1][2]) * inverse_root),
            T((m[0][2] - m[2][0]) * inverse_root),
            T((m[1][0] - m[0][1]) * inverse_root),
            T(shift.x),
            T(shift.y),
            T(shift.z)};
}

/// What `least_squares` asks of pairs: six rows a pair, in deviations.
struct PairProblem {
    std::vector<PosePair> const& pairs;
    double turn_deviation;
    double shift_deviation;

    Linearised operator()(PairState const& state) const {
        using T = Gradient<double, 6>;
        std::array<T, 6> step;
        for (int k = 0; k < 6; ++k)
            step[static_cast<std::size_t>(k)] = T::variable(0, k);
        // Derivatives by the mount and by the target one after the other: smaller numbers, less work.
        auto const mount = moved_by(state.flange_from_head, step);
        auto const target = moved_by(state.cell_from_target, step);
        auto const n = 6 * static_cast<Eigen::Index>(pairs.size());
        Linearised rows{Eigen::VectorXd(n), Eigen::MatrixXd(n, 12)};
        Eigen::Index row = 0;
        for (PosePair const& pair : pairs) {
            auto const by_mount = pair_missed(pair, mount, state.cell_from_target);
            auto const by_target = pair_missed(pair, state.flange_from_head, target);
            for (std::size_t k = 0; k < 6; ++k, ++row) {
                double const scale = 1 / (k < 3 ? turn_deviation : shift_deviation);
                rows.residuals(row) = scale * by_mount[k].value;
                for (int j = 0; j < 6; ++j) {
                    rows.jacobian(row, j) = scale * by_mount[k].partial[j];
                    rows.jacobian(row, 6 + j) = scale * by_target[k].partial[j];
                }
            }
        }
        // As in `mount_rows`: what is rounding all along is nothing.
        double const bar = 1e-12 / std::min(turn_deviation, shift_deviation);
        for (int k = 0; k < 12; ++k)
            if (rows.jacobian.col(k).cwiseAbs().maxCoeff() < bar)
                rows.jacobian.col(k).setZero();
        return rows;
    }
};

/// How a step moves a state.
struct PairMove {
    PairState operator()(PairState const& state, Eigen::VectorXd const& step) const {
        std::array<double, 6> mount{}, target{};
        for (std::size_t k = 0; k < 6; ++k) {
            mount[k] = step(static_cast<Eigen::Index>(k));
            target[k] = step(static_cast<Eigen::Index>(k + 6));
        }
        return {moved_by(state.flange_from_head, mount), moved_by(state.cell_from_target, target)};
    }
};

/// The middle of poses, coordinate by coordinate and turn by turn: what a few bad ones do not move far.
template <class To, class From> Pose<To, From> middle_pose(std::vector<Pose<To, From>> const& poses) {
    // The one whose summed distance from the others is least; of many, of some two hundred of them.
    std::size_t best = 0;
    double least = -1;
    std::size_t const stride = poses.size() / 200 + 1;
    for (std::size_t i = 0; i < poses.size(); i += stride) {
        double sum = 0;
        for (std::size_t k = 0; k < poses.size(); k += stride) {
            auto const step = step_between(poses[i], poses[k]);
            sum += std::sqrt(sqr(step[0]) + sqr(step[1]) + sqr(step[2])) +
                   std::sqrt(sqr(step[3]) + sqr(step[4]) + sqr(step[5]));
        }
        if (least < 0 || sum < least) {
            least = sum;
            best = i;
        }
    }
    return poses[best];
}

/// The closed form over motions between pairs, with motions whose angles do not agree weighed down (a motion
/// of the flange and that of the head turn by one angle).
inline PairState closed_form(std::vector<PosePair> const& pairs) {
    struct Motion {
        Eigen::Vector3d flange_turn, head_turn;
        Eigen::Matrix3d flange_rotation;
        Eigen::Vector3d flange_shift, head_shift;
    };
    std::vector<Motion> motions;
    std::size_t const span = std::min<std::size_t>(pairs.size() - 1, 30);
    for (std::size_t i = 0; i < pairs.size(); ++i)
        for (std::size_t k = 1; k <= span && i + k < pairs.size(); ++k) {
            // Spread over the list, so that neighbours in time are not all.
            std::size_t const j = i + (k * (pairs.size() - 1 - i) + span - 1) / span;
            if (j <= i || j >= pairs.size())
                continue;
            auto const a = inverse(pairs[i].cell_from_flange) * pairs[j].cell_from_flange;
            auto const b = pairs[i].head_from_target * inverse(pairs[j].head_from_target);
            auto const alpha = rotation_vector(a.rotation), beta = rotation_vector(b.rotation);
            motions.push_back({Eigen::Map<Eigen::Vector3d const>(alpha.data()),
                               Eigen::Map<Eigen::Vector3d const>(beta.data()), as_matrix(a.rotation),
                               as_vector(a.origin), as_vector(b.origin)});
        }
    std::vector<double> mismatch;
    mismatch.reserve(motions.size());
    for (Motion const& m : motions)
        mismatch.push_back(std::abs(m.flange_turn.norm() - m.head_turn.norm()));
    auto sorted = mismatch;
    std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2),
                     sorted.end());
    double const usual = 2 * sorted[sorted.size() / 2] + 1e-12;

    std::vector<double> weights;
    weights.reserve(mismatch.size());
    for (double const off : mismatch)
        weights.push_back(1 / (1 + sqr(off / usual)));
    Eigen::Matrix3d turn = Eigen::Matrix3d::Identity();
    Eigen::Vector3d origin = Eigen::Vector3d::Zero();
    for (int round = 0; round < 4; ++round) {
        Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
        for (std::size_t i = 0; i < motions.size(); ++i)
            sum += weights[i] * motions[i].flange_turn * motions[i].head_turn.transpose();
        // The part of the polar decomposition that is a rotation: M (MᵀM)^(−1/2) where that exists.
        Eigen::JacobiSVD<Eigen::MatrixXd> const svd(sum, Eigen::ComputeFullU | Eigen::ComputeFullV);
        Eigen::Vector3d const sign(1, 1,
                                   (svd.matrixU() * svd.matrixV().transpose()).determinant() < 0 ? -1 : 1);
        turn = svd.matrixU() * sign.asDiagonal() * svd.matrixV().transpose();
        // (A's rotation − 1) · origin = R · (B's shift) − (A's shift), with a faint hold where nothing turns.
        Eigen::MatrixXd normal =
            1e-12 * static_cast<double>(motions.size()) * Eigen::MatrixXd::Identity(3, 3);
        Eigen::VectorXd right = Eigen::VectorXd::Zero(3);
        std::vector<double> off;
        off.reserve(motions.size());
        for (std::size_t i = 0; i < motions.size(); ++i) {
            Motion const& m = motions[i];
            Eigen::Matrix3d const left = m.flange_rotation - Eigen::Matrix3d::Identity();
            normal += weights[i] * left.transpose() * left;
            right += weights[i] * left.transpose() * (turn * m.head_shift - m.flange_shift);
        }
        origin = normal.llt().solve(right);
        for (Motion const& m : motions)
            off.push_back((m.flange_turn - turn * m.head_turn).norm() +
                          ((m.flange_rotation - Eigen::Matrix3d::Identity()) * origin - turn * m.head_shift +
                           m.flange_shift)
                              .norm());
        sorted = off;
        std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2),
                         sorted.end());
        double const middle = 2 * sorted[sorted.size() / 2] + 1e-12;
        for (std::size_t i = 0; i < motions.size(); ++i)
            weights[i] = 1 / (1 + sqr(off[i] / middle));
    }
    PairState state{{{}, point_from<Flange>(origin)}, {}};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            state.flange_from_head.rotation.m[i][k] = turn(i, k);
    std::vector<Pose<Cell, Target>> targets;
    targets.reserve(pairs.size());
    for (PosePair const& pair : pairs)
        targets.push_back(pair.cell_from_flange * state.flange_from_head * pair.head_from_target);
    state.cell_from_target = middle_pose(targets);
    return state;
}

/// A fit, and what was left out of it.
struct SolvedPairs {
    LeastSquaresFit<PairState> fit; ///< rows in deviations
    std::vector<bool> outlier;
    double turn_deviation;  ///< of one of a pair's three turns, rad
    double shift_deviation; ///< of one of its three shifts, m
    double degrees_of_freedom;
    bool told; ///< the deviations were given
    double turns_left;
    double shifts_left;        ///< root mean squares of the residuals by their degrees of freedom, rad and m
    bool contradicted = false; ///< the deviations given were too small for the pairs

    /// Whether the residuals are no larger than expected.
    bool plausible(PosePairOptions const& options) const {
        double const turn = told ? 4 * turn_deviation : options.plausible_turn;
        double const shift = told ? 4 * shift_deviation : options.plausible_shift;
        return turns_left <= turn && shifts_left <= shift;
    }
};

/// The fit from the closed form, with the deviations of turns and shifts told by the residuals or given.
inline SolvedPairs solved_pairs(std::vector<PosePair> const& pairs, PosePairOptions const& options) {
    constexpr double least = 1e-13; // rad and m: below is rounding
    bool const told = options.turn_deviation.has_value();
    PairState state = closed_form(pairs);
    // First from the middle sizes at the closed form.
    auto const sizes = PairProblem{pairs, 1, 1}(state).residuals;
    std::vector<double> turns, shifts;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        auto const row = 6 * static_cast<Eigen::Index>(i);
        turns.push_back(sizes.segment<3>(row).norm());
        shifts.push_back(sizes.segment<3>(row + 3).norm());
    }
    auto const middle = static_cast<std::ptrdiff_t>(pairs.size() / 2);
    std::nth_element(turns.begin(), turns.begin() + middle, turns.end());
    std::nth_element(shifts.begin(), shifts.begin() + middle, shifts.end());
    double const of_three = 1.538; // the middle length of three normal numbers, √(χ² quantile at ½)
    double turn = told ? *options.turn_deviation : std::max(least, turns[pairs.size() / 2] / of_three);
    double shift = told ? *options.shift_deviation : std::max(least, shifts[pairs.size() / 2] / of_three);

    RobustOptions robust;
    auto const scaled_rounding = [&] { return 4e-15 * (1 / turn + 1 / shift); };
    SolvedPairs solved{{state, {}, {}, {}, {}, 0, 0, {}, {}, false, false, 0}, {}, 0, 0, 0, told, 0, 0};
    for (int round = 0; round < 20; ++round) {
        PairProblem const problem{pairs, turn, shift};
        if (told)
            robust.deviation = 1;
        robust.rounding = scaled_rounding();
        auto fit = robust_least_squares(state, problem, PairMove{}, 6, robust);
        solved.fit = std::move(fit.fit);
        solved.outlier = std::move(fit.outlier);
        state = solved.fit.state;
        solved.turn_deviation = turn;
        solved.shift_deviation = shift;
        if (!solved.fit.determined)
            return solved;
        // What the unknowns take of the turns and of the shifts: the traces of the hat matrix's parts.
        double turn_squares = 0, shift_squares = 0, turn_rows = 0, taken = 0;
        Eigen::MatrixXd const spread = solved.fit.jacobian * solved.fit.unit_covariance;
        for (std::size_t i = 0; i < pairs.size(); ++i) {
            if (solved.outlier[i])
                continue;
            auto const row = 6 * static_cast<Eigen::Index>(i);
            turn_squares += solved.fit.residuals.segment<3>(row).squaredNorm();
            shift_squares += solved.fit.residuals.segment<3>(row + 3).squaredNorm();
            turn_rows += 3;
            taken += spread.middleRows<3>(row).cwiseProduct(solved.fit.jacobian.middleRows<3>(row)).sum();
        }
        double const turn_freedom = std::max(1.0, turn_rows - taken);
        double const shift_freedom = std::max(1.0, turn_rows - (12 - taken));
        solved.turns_left = turn * std::sqrt(turn_squares / turn_freedom);
        solved.shifts_left = shift * std::sqrt(shift_squares / shift_freedom);
        solved.degrees_of_freedom = std::min(turn_freedom, shift_freedom);
        if (told)
            break;
        double const next_turn = std::max(least, solved.turns_left);
        double const next_shift = std::max(least, solved.shifts_left);
        bool const stays =
            std::abs(next_turn - turn) <= 1e-4 * turn && std::abs(next_shift - shift) <= 1e-4 * shift;
        turn = next_turn;
        shift = next_shift;
        if (stays)
            break;
    }
    if (told) {
        // Deviations that the pairs contradict count for nothing: their residuals tell them.
        double const freedom = solved.degrees_of_freedom;
        if (scatter_more_than_stated(sqr(solved.turns_left) * freedom, freedom, turn) ||
            scatter_more_than_stated(sqr(solved.shifts_left) * freedom, freedom, shift)) {
            auto without = options;
            without.turn_deviation.reset();
            without.shift_deviation.reset();
            auto by_residuals = solved_pairs(pairs, without);
            by_residuals.contradicted = true;
            return by_residuals;
        }
        solved.degrees_of_freedom = std::numeric_limits<double>::infinity();
    }
    return solved;
}

} // namespace detail

} // namespace seamhold

#endif
