#ifndef SEAMHOLD_STATISTICS_LEAST_SQUARES_HPP
#define SEAMHOLD_STATISTICS_LEAST_SQUARES_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

namespace seamhold {

/// What was measured less what a state predicts, or the other way round, and how that changes with the state:
/// row by row, in units of one standard deviation where the rows are of different kinds.
struct Linearised {
    Eigen::VectorXd residuals; ///< n
    Eigen::MatrixXd jacobian;  ///< n × m: of the residuals by the m numbers of a step
};

/// When a search for least squares ends.
struct LeastSquaresOptions {
    int most_steps = 100;          ///< steps tried, the refused ones too
    double least_step = 1e-14;     ///< a scaled step this short ends it, see `least_squares`
    double least_decrease = 1e-15; ///< a share of the sum by which no step can be expected to lower it
    double rank_tolerance = 1e-9;  ///< a singular value of the scaled Jacobian, as a share of the largest,
                                   ///< from which on a direction counts as not determined
};

/// The state with the least sum of squares, and what is known of it.
template <class State> struct LeastSquaresFit {
    State state;
    Eigen::VectorXd residuals;       ///< at the state, without weights
    Eigen::MatrixXd jacobian;        ///< there, without weights
    Eigen::VectorXd weights;         ///< of the rows, by which their squares counted
    Eigen::MatrixXd unit_covariance; ///< (JᵀWJ)⁻¹: of the step's numbers, for rows of variance 1
    double sum_of_squares;           ///< Σ w r²
    double degrees_of_freedom; ///< Σ w less the number of unknowns; weights are 0 or 1, or count as shares
    Eigen::VectorXd singular_values; ///< of the Jacobian with columns of length 1, decreasing
    Eigen::VectorXd weakest; ///< the unit step, in the columns' own units, that changes the rows least
    bool determined;         ///< whether no direction is left open, see `rank_tolerance`
    bool converged;          ///< whether it ended before `most_steps`
    int steps;               ///< tried

    /// The standard deviation of a row as the residuals tell it, √(sum / degrees of freedom); 0 without any.
    double deviation() const {
        return degrees_of_freedom > 0 ? std::sqrt(sum_of_squares / degrees_of_freedom) : 0.0;
    }
    /// The covariance of the step's numbers with that deviation.
    Eigen::MatrixXd covariance() const { return sqr(deviation()) * unit_covariance; }
};

namespace detail {

/// Rows times the roots of their weights.
inline Linearised weighted(Linearised const& rows, Eigen::VectorXd const& weights) {
    Eigen::VectorXd const roots = weights.cwiseSqrt();
    return {roots.cwiseProduct(rows.residuals), roots.asDiagonal() * rows.jacobian};
}

/// The lengths of a Jacobian's columns, 1 where one is 0: a step counts by what it does to the rows.
inline Eigen::VectorXd column_lengths(Eigen::MatrixXd const& jacobian) {
    Eigen::VectorXd lengths = jacobian.colwise().norm().transpose();
    for (Eigen::Index k = 0; k < lengths.size(); ++k)
        if (!(lengths(k) > 0))
            lengths(k) = 1;
    return lengths;
}

} // namespace detail

/// The state that makes Σ w r² least, by the method of Levenberg and Marquardt. `linearised(state)` gives
/// residuals and Jacobian, `moved(state, step)` the state moved by a step of m numbers, 0 leaving it as it
/// is: states may be poses, steps are in their tangent space. Each step is solved by orthogonal triangles,
/// with the columns brought to length one, so that units do not matter. It ends where a step, measured in
/// column lengths, is below `least_step` of the residuals' length and 1e-15 absolutely, or cannot lower the
/// sum. `weights` count the squares of rows; without, all count 1. Throws BadInput for fewer rows of a weight
/// above 0 than unknowns, and for a start whose residuals are not finite. Whether the data determine all
/// directions is said by `determined`; if not, `unit_covariance` is not to be used and `weakest` says what is
/// open. Sources: D. Marquardt, J. SIAM 11(2), 1963, 431–441; damping by the ratio of gained to predicted
/// decrease after H. Nielsen, IMM-REP-1999-05, Technical University of Denmark, 1999 (both from memory).
template <class State, class Of, class Moved>
LeastSquaresFit<State> least_squares(State const& start, Of const& linearised, Moved const& moved,
                                     LeastSquaresOptions const& options = {},
                                     Eigen::VectorXd const& weights = {}) {
    State state = start;
    Linearised rows = linearised(state);
    Eigen::Index const n = rows.residuals.size();
    Eigen::Index const m = rows.jacobian.cols();
    Eigen::VectorXd const w = weights.size() == 0 ? Eigen::VectorXd::Ones(n) : weights;
    auto const used = static_cast<Eigen::Index>((w.array() > 0).count());
    if (used < m)
        throw BadInput("least squares for " + std::to_string(m) +
                       " unknowns need as many rows or more; given " + std::to_string(used));
    if (!is_finite(rows.residuals.sum()) || !is_finite(rows.jacobian.sum()))
        throw BadInput("least squares cannot start: a residual or a derivative is not finite there");

    Linearised at = detail::weighted(rows, w);
    double sum = at.residuals.squaredNorm();
    double damping = 0; // the first step is Gauss's and Newton's
    double growth = 2;
    int steps = 0;
    bool converged = false;
    Eigen::VectorXd lengths = detail::column_lengths(at.jacobian);
    Eigen::MatrixXd triangle;
    Eigen::VectorXd turned;
    bool fresh = true;
    while (steps < options.most_steps) {
        if (fresh) {
            lengths = detail::column_lengths(at.jacobian);
            Eigen::HouseholderQR<Eigen::MatrixXd> const qr(at.jacobian * lengths.cwiseInverse().asDiagonal());
            triangle = qr.matrixQR().topRows(m).template triangularView<Eigen::Upper>();
            turned = (qr.householderQ().adjoint() * at.residuals).head(m);
            fresh = false;
        }
        Eigen::MatrixXd stacked = Eigen::MatrixXd::Zero(2 * m, m);
        stacked.topRows(m) = triangle;
        // Never quite 0: a direction that is not determined stays where it is.
        stacked.bottomRows(m).diagonal().setConstant(std::sqrt(damping + 1e-24));
        Eigen::VectorXd right = Eigen::VectorXd::Zero(2 * m);
        right.head(m) = -turned;
        Eigen::VectorXd const scaled = stacked.householderQr().solve(right);
        ++steps;
        // By how much the sum falls if the model were straight.
        double const predicted = turned.squaredNorm() - (turned + triangle * scaled).squaredNorm();
        bool const last = scaled.norm() <= options.least_step * std::sqrt(sum) + 1e-300 ||
                          predicted <= options.least_decrease * sum || sum == 0;
        State const next = moved(state, Eigen::VectorXd(scaled.cwiseQuotient(lengths)));
        Linearised next_rows = linearised(next);
        Linearised next_at = detail::weighted(next_rows, w);
        double const next_sum = next_at.residuals.squaredNorm();
        bool const finite = is_finite(next_sum) && is_finite(next_at.jacobian.sum());
        if (finite && next_sum < sum) {
            double const ratio = predicted > 0 ? (sum - next_sum) / predicted : 0;
            state = next;
            rows = std::move(next_rows);
            at = std::move(next_at);
            sum = next_sum;
            double const easing = 1 - std::pow(2 * ratio - 1, 3);
            damping *= std::max(1.0 / 3, easing);
            if (ratio > 0.9)
                damping *= 0.1;
            growth = 2;
            fresh = true;
        } else if (!last) {
            damping = damping > 0 ? damping * growth : 1e-4;
            growth *= 2;
        }
        if (last) {
            converged = true;
            break;
        }
    }

    LeastSquaresFit<State> fit{state, rows.residuals, rows.jacobian, w,    {}, sum, 0, {},
                               {},    false,          converged,     steps};
    fit.degrees_of_freedom = w.sum() - static_cast<double>(m);
    lengths = detail::column_lengths(at.jacobian);
    Eigen::MatrixXd const unit = at.jacobian * lengths.cwiseInverse().asDiagonal();
    // The singular values of the triangle are those of the whole.
    Eigen::MatrixXd const r =
        unit.householderQr().matrixQR().topRows(m).template triangularView<Eigen::Upper>();
    Eigen::JacobiSVD<Eigen::MatrixXd> const svd(r, Eigen::ComputeFullV);
    fit.singular_values = svd.singularValues();
    fit.weakest = svd.matrixV().col(m - 1).cwiseQuotient(lengths);
    fit.determined = fit.singular_values(m - 1) > options.rank_tolerance * fit.singular_values(0);
    Eigen::VectorXd const inverse =
        fit.singular_values.unaryExpr([](double s) { return s > 0 ? 1 / s : 0.0; });
    Eigen::MatrixXd const root = lengths.cwiseInverse().asDiagonal() * (svd.matrixV() * inverse.asDiagonal());
    fit.unit_covariance = root * root.transpose();
    return fit;
}

} // namespace seamhold

#endif
