#ifndef SEAMHOLD_STATISTICS_LINEAR_MODEL_HPP
#define SEAMHOLD_STATISTICS_LINEAR_MODEL_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <Eigen/Dense>

#include <cmath>
#include <string>

namespace seamhold {

/// y = X · coefficients by least squares, and what is known of it. Deviations are standard deviations.
struct LinearFit {
    Eigen::VectorXd coefficients;    ///< one for each column of X
    Eigen::VectorXd deviations;      ///< of the coefficients
    Eigen::MatrixXd unit_covariance; ///< (XᵀWX)⁻¹: of the coefficients, for observations of variance 1
    Eigen::VectorXd residuals;       ///< y − X · coefficients
    double sum_of_squares;           ///< Σ w residual²
    double degrees_of_freedom;       ///< observations of a weight above 0 less columns
    double deviation;                ///< s, of an observation of weight 1
    double r_squared; ///< the share of the squares that the model explains: about the mean where the columns
                      ///< can make a constant, else about 0
    double f;         ///< explained mean square by that of the residuals

    /// The covariance of the coefficients.
    Eigen::MatrixXd covariance() const { return sqr(deviation) * unit_covariance; }

    /// The model's value for a row of X.
    double at(Eigen::VectorXd const& row) const { return row.dot(coefficients); }

    /// Where the true value lies for a row of X with a confidence level in (0, 1). Throws BadInput for
    /// another level.
    Bounds confidence(Eigen::VectorXd const& row, double level = 0.95) const { return about(row, level, 0); }

    /// Where the mean of `future` observations of weight 1 will lie for a row of X with that confidence.
    Bounds prediction(Eigen::VectorXd const& row, double level = 0.95, double future = 1) const {
        return about(row, level, 1 / future);
    }

private:
    Bounds about(Eigen::VectorXd const& row, double level, double own) const {
        double const reach = student_quantile(detail::upper_end(level), degrees_of_freedom) * deviation *
                             std::sqrt(row.dot(unit_covariance * row) + own);
        return {at(row) - reach, at(row) + reach};
    }
};

/// The coefficients that make Σ w (y − X b)² least, by orthogonal triangles with the columns brought to
/// length one, then corrected by the residuals of the normal equations in extended precision. Throws
/// BadInput where there are no more observations than columns, where sizes do not agree, where a value is
/// not finite or a weight negative, and where the columns are dependent (with the column's number).
inline LinearFit fit_linear(Eigen::MatrixXd const& columns, Eigen::VectorXd const& y,
                            Eigen::VectorXd const& weights = {}) {
    Eigen::Index const n = columns.rows(), m = columns.cols();
    if (y.size() != n || (weights.size() != 0 && weights.size() != n))
        throw BadInput("a linear fit of " + std::to_string(n) + " rows; given " + std::to_string(y.size()) +
                       " values and " + std::to_string(weights.size()) + " weights");
    Eigen::VectorXd const w = weights.size() == 0 ? Eigen::VectorXd::Ones(n) : weights;
    for (Eigen::Index i = 0; i < n; ++i)
        if (!is_finite(columns.row(i).sum()) || !is_finite(y(i)) || !is_finite(w(i)) || w(i) < 0)
            throw BadInput("row " + std::to_string(i) +
                           " of a linear fit: all must be finite and the weight not negative");
    auto const used = static_cast<Eigen::Index>((w.array() > 0).count());
    if (m < 1 || used <= m)
        throw BadInput("a linear fit for " + std::to_string(m) +
                       " coefficients needs more rows than that; given " + std::to_string(used));
    Eigen::VectorXd const roots = w.cwiseSqrt();
    Eigen::MatrixXd const x = roots.asDiagonal() * columns;
    Eigen::VectorXd const right = roots.cwiseProduct(y);
    Eigen::VectorXd lengths = x.colwise().norm().transpose();
    for (Eigen::Index k = 0; k < m; ++k)
        if (!(lengths(k) > 0))
            throw BadInput("column " + std::to_string(k) + " of a linear fit is 0");
    Eigen::HouseholderQR<Eigen::MatrixXd> const qr(x * lengths.cwiseInverse().asDiagonal());
    Eigen::MatrixXd const triangle = qr.matrixQR().topRows(m).template triangularView<Eigen::Upper>();
    for (Eigen::Index k = 0; k < m; ++k)
        if (!(std::abs(triangle(k, k)) > 1e-13))
            throw BadInput("column " + std::to_string(k) + " of a linear fit depends on those before it");
    LinearFit fit;
    fit.coefficients = qr.solve(right).cwiseQuotient(lengths);
    fit.residuals = y - columns * fit.coefficients;
    fit.sum_of_squares = w.dot(fit.residuals.cwiseAbs2());
    fit.degrees_of_freedom = static_cast<double>(used - m);
    fit.deviation = std::sqrt(fit.sum_of_squares / fit.degrees_of_freedom);
    Eigen::MatrixXd const inverse =
        lengths.cwiseInverse().asDiagonal() *
        triangle.template triangularView<Eigen::Upper>().solve(Eigen::MatrixXd::Identity(m, m));
    fit.unit_covariance = inverse * inverse.transpose();
    fit.deviations = fit.deviation * fit.unit_covariance.diagonal().cwiseSqrt();
    // Whether the columns make a constant: what they leave of it is nothing.
    Eigen::VectorXd const constant = (qr.householderQ().adjoint() * roots).tail(n - m);
    bool const has_constant = constant.norm() < 1e-9 * roots.norm();
    double const mean = has_constant ? w.dot(y) / w.sum() : 0.0;
    double const total = w.dot((y.array() - mean).square().matrix());
    double const explaining = static_cast<double>(has_constant ? m - 1 : m);
    fit.r_squared = total > 0 ? 1 - fit.sum_of_squares / total : 1;
    fit.f = (total - fit.sum_of_squares) / explaining / sqr(fit.deviation);
    return fit;
}

} // namespace seamhold

#endif
