#ifndef SEAMHOLD_STATISTICS_LEAST_SQUARES_HPP
#define SEAMHOLD_STATISTICS_LEAST_SQUARES_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <type_traits>
#include <utility>

namespace seamhold {

/// What was measured less what a state predicts, or the other way round, and how that changes with the state:
/// row by row, in units of one standard deviation where the rows are of different kinds.
struct Linearised {
    Eigen::VectorXd residuals; ///< n
    Eigen::MatrixXd jacobian;  ///< n × m: of the residuals by the m numbers of a step
};

/// How a search for least squares goes, and when it ends.
struct LeastSquaresOptions {
    int most_steps = 100;          ///< steps tried, the refused ones too
    double first_damping = 1e-3;   ///< once an undamped step was no good; more is more careful, see below
    double least_step = 1e-10;     ///< a scaled step this short ends it, see `least_squares`
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
    bool determined;         ///< whether no direction is left open, see `rank_tolerance`, and no number lost
                             ///< its effect on the way
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

/// The lengths of a Jacobian's columns, 1 where one is 0: a step counts by what it does to the rows.
inline Eigen::VectorXd column_lengths(Eigen::MatrixXd const& jacobian) {
    Eigen::VectorXd lengths = jacobian.colwise().norm().transpose();
    for (Eigen::Index k = 0; k < lengths.size(); ++k)
        if (!(lengths(k) > 0))
            lengths(k) = 1;
    return lengths;
}

/// Weighted rows whose columns were brought to length one, turned into a triangle: all that a step needs.
class StepTriangle {
public:
    /// Takes rows; the roots of the weights are empty where all are 1.
    void take(Linearised const& rows, Eigen::VectorXd const& roots) {
        Eigen::Index const m = rows.jacobian.cols();
        work_.resize(rows.residuals.size(), m + 1);
        work_.leftCols(m) = rows.jacobian;
        work_.col(m) = rows.residuals;
        if (roots.size() != 0)
            work_.array().colwise() *= roots.array();
        lengths_ = column_lengths(work_.leftCols(m));
        for (Eigen::Index k = 0; k < m; ++k)
            work_.col(k) *= 1 / lengths_(k);
        if (first_.size() != m)
            first_ = longest_ = lengths_;
        longest_ = longest_.cwiseMax(lengths_);
        Eigen::HouseholderQR<Eigen::Ref<Eigen::MatrixXd>> const qr(work_);
        triangle_ = work_.topLeftCorner(m, m).template triangularView<Eigen::Upper>();
        turned_ = work_.col(m).head(m);
    }

    /// By how much the sum of squares would fall at most if the rows were straight.
    double open() const { return turned_.squaredNorm(); }

    /// A step in column lengths, and by how much it would lower the sum.
    struct Step {
        Eigen::VectorXd scaled;
        double predicted;
    };

    /// The step damped in each direction by the longest its column has been (J. Moré, Lecture Notes in
    /// Mathematics 630, 1978, 105–116; from memory). Never quite undamped: a direction that is not determined
    /// stays where it is.
    Step step(double damping) const {
        Eigen::Index const m = triangle_.cols();
        Eigen::MatrixXd stacked = Eigen::MatrixXd::Zero(2 * m, m + 1);
        stacked.topLeftCorner(m, m) = triangle_;
        stacked.col(m).head(m) = -turned_;
        stacked.bottomLeftCorner(m, m).diagonal() =
            std::sqrt(damping) * longest_.cwiseQuotient(lengths_).array() + 1e-12;
        Eigen::HouseholderQR<Eigen::Ref<Eigen::MatrixXd>> const qr(stacked);
        Step step{stacked.col(m).head(m), 0};
        stacked.topLeftCorner(m, m).template triangularView<Eigen::Upper>().solveInPlace(step.scaled);
        step.predicted = open() - (turned_ + triangle_ * step.scaled).squaredNorm();
        return step;
    }

    /// Whether a column has become next to nothing compared with what it was at the start: the search ran
    /// away to where a number does nothing any more.
    bool faded() const { return (lengths_.array() < 1e-15 * first_.array()).any(); }

    /// The triangle, of columns of length one, and those lengths.
    Eigen::MatrixXd const& triangle() const { return triangle_; }
    Eigen::VectorXd const& lengths() const { return lengths_; }

private:
    Eigen::MatrixXd work_, triangle_;
    Eigen::VectorXd turned_, lengths_, longest_, first_;
};

/// A row's size that is rounding: one unit in the last place of the state's numbers times what they do to a
/// row. A vector's numbers are known; a pose's and others' are taken as 1 (rad, m).
template <class State> double rounding_of(Eigen::MatrixXd const& jacobian, State const& state) {
    double const unit = std::numeric_limits<double>::epsilon();
    if constexpr (std::is_base_of_v<Eigen::MatrixBase<State>, State>)
        if (state.size() == jacobian.cols())
            return unit * (jacobian.cwiseAbs() * state.cwiseAbs()).maxCoeff();
    return unit * jacobian.cwiseAbs().rowwise().sum().maxCoeff();
}

/// Σ w r² of rows, not finite where anything in them is not.
inline double sum_of_squares(Linearised const& rows, Eigen::VectorXd const& roots) {
    if (!is_finite(rows.jacobian.sum()))
        return std::numeric_limits<double>::infinity();
    return roots.size() == 0 ? rows.residuals.squaredNorm()
                             : roots.cwiseProduct(rows.residuals).squaredNorm();
}

} // namespace detail

/// The state that makes Σ w r² least, by the method of Levenberg and Marquardt. `linearised(state)` gives
/// residuals and Jacobian, `moved(state, step)` the state moved by a step of m numbers, 0 leaving it as it
/// is: states may be poses, steps are in their tangent space. Each step is solved by orthogonal triangles,
/// with the columns brought to length one, so that units do not matter. Steps are undamped as long as they do
/// half of what they promise; damping begins with `first_damping`.
///
/// Near the end, where a step could take away less than 1e-10 of the sum, the sum's own rounding hides what a
/// step gains; undamped steps go on from there as long as they get shorter. It ends where they do not, where
/// a step measured in column lengths is below `least_step` of the residuals' length, where no step is
/// expected to lower the sum, or where the residuals are rounding. The state is then right to some 1e-9 of
/// its standard deviations; without residuals it is right to rounding.
///
/// `weights` count the squares of rows; without, all count 1. Throws BadInput for fewer rows of a weight
/// above 0 than unknowns, sizes that do not agree, weights that are negative or not finite, and a start whose
/// residuals or derivatives are not finite. Whether the data determine all directions is said by
/// `determined`; if not, `unit_covariance` is not to be used and `weakest` says what is open. Where a bad
/// start runs away (a residual that levels off far out), a `first_damping` of 100 goes in small steps.
/// Sources: D. Marquardt, J. SIAM 11(2), 1963, 431–441; damping by the ratio of gained to predicted decrease
/// after H. Nielsen, IMM-REP-1999-05, Technical University of Denmark, 1999 (both from memory).
template <class State, class Of, class Moved>
LeastSquaresFit<State> least_squares(State const& start, Of const& linearised, Moved const& moved,
                                     LeastSquaresOptions const& options = {},
                                     Eigen::VectorXd const& weights = {}) {
    State state = start;
    Linearised rows = linearised(state);
    Eigen::Index const n = rows.residuals.size();
    Eigen::Index const m = rows.jacobian.cols();
    if (rows.jacobian.rows() != n || (weights.size() != 0 && weights.size() != n))
        throw BadInput("least squares of " + std::to_string(n) + " residuals; given " +
                       std::to_string(rows.jacobian.rows()) + " rows of derivatives and " +
                       std::to_string(weights.size()) + " weights");
    for (Eigen::Index i = 0; i < weights.size(); ++i)
        if (!is_finite(weights(i)) || weights(i) < 0)
            throw BadInput("weight " + std::to_string(i + 1) + " of least squares is " +
                           detail::text_of(weights(i)) + "; it must be finite and not negative");
    Eigen::VectorXd const w = weights.size() == 0 ? Eigen::VectorXd::Ones(n) : weights;
    auto const used = static_cast<Eigen::Index>((w.array() > 0).count());
    if (m < 1 || used < m)
        throw BadInput("least squares for " + std::to_string(m) +
                       " unknowns need as many rows or more; given " + std::to_string(used));
    Eigen::VectorXd const roots = weights.cwiseSqrt();
    double sum = detail::sum_of_squares(rows, roots);
    if (!is_finite(sum))
        throw BadInput("least squares cannot start: a residual or a derivative is not finite there");

    detail::StepTriangle triangle;
    triangle.take(rows, roots);
    double damping = 0;
    double growth = 2;
    double shortest = std::numeric_limits<double>::infinity();
    int stalled = 0; // steps near the end that were not shorter
    int steps = 0;
    bool converged = false;
    while (steps < options.most_steps && !converged) {
        bool const close = triangle.open() <= 1e-10 * sum;
        double const rounding = static_cast<double>(n) * sqr(detail::rounding_of(rows.jacobian, state));
        if (sum <= rounding) {
            converged = true;
            break;
        }
        auto const step = triangle.step(close ? 0 : damping);
        ++steps;
        double const length = step.scaled.norm();
        if (close) {
            stalled = length < 0.9 * shortest ? 0 : stalled + 1;
            shortest = std::min(shortest, length);
        }
        if (length <= options.least_step * std::sqrt(sum) || stalled == 3 ||
            (!close && step.predicted <= options.least_decrease * sum)) {
            converged = true;
            break;
        }
        State const next = moved(state, Eigen::VectorXd(step.scaled.cwiseQuotient(triangle.lengths())));
        Linearised next_rows = linearised(next);
        double const next_sum = detail::sum_of_squares(next_rows, roots);
        double const ratio = is_finite(next_sum) ? (sum - next_sum) / step.predicted : -1;
        if (close ? next_sum <= sum * (1 + 1e-8) : ratio > (damping > 0 ? 0.0 : 0.5)) {
            state = next;
            rows = std::move(next_rows);
            sum = next_sum;
            damping *= std::max(1.0 / 3, 1 - std::pow(2 * ratio - 1, 3)) * (ratio > 0.9 ? 0.1 : 1.0);
            growth = 2;
            triangle.take(rows, roots);
        } else if (close || (damping == 0 && sum <= sqr(64.0) * rounding)) {
            converged = true; // what is left is rounding
        } else if (damping > 0) {
            damping *= growth;
            growth *= 2;
        } else {
            damping = options.first_damping;
        }
    }

    LeastSquaresFit<State> fit{state, rows.residuals, rows.jacobian, w,    {}, sum, 0, {},
                               {},    false,          converged,     steps};
    fit.degrees_of_freedom = w.sum() - static_cast<double>(m);
    // The singular values of the triangle are those of the whole.
    Eigen::JacobiSVD<Eigen::MatrixXd> const svd(triangle.triangle(), Eigen::ComputeFullV);
    fit.singular_values = svd.singularValues();
    fit.weakest = svd.matrixV().col(m - 1).cwiseQuotient(triangle.lengths());
    fit.determined =
        fit.singular_values(m - 1) > options.rank_tolerance * fit.singular_values(0) && !triangle.faded();
    Eigen::VectorXd const inverse =
        fit.singular_values.unaryExpr([](double s) { return s > 0 ? 1 / s : 0.0; });
    Eigen::MatrixXd const root =
        triangle.lengths().cwiseInverse().asDiagonal() * (svd.matrixV() * inverse.asDiagonal());
    fit.unit_covariance = root * root.transpose();
    return fit;
}

} // namespace seamhold

#endif
