#ifndef SEAMHOLD_STATISTICS_LINEAR_MODEL_HPP
#define SEAMHOLD_STATISTICS_LINEAR_MODEL_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <Eigen/Dense>

#include <cmath>
#include <limits>
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
        if (!(future > 0))
            throw BadInput("a prediction is for the mean of observations; given " + detail::text_of(future));
        return about(row, level, 1 / future);
    }

private:
    Bounds about(Eigen::VectorXd const& row, double level, double own) const {
        double const reach = student_quantile(detail::upper_end(level), degrees_of_freedom) * deviation *
                             std::sqrt(row.dot(unit_covariance * row) + own);
        return {at(row) - reach, at(row) + reach};
    }
};

namespace detail {

/// Rows of a linear problem with their weights' roots, columns scaled by powers of two, and the triangle.
class LinearRows {
public:
    LinearRows(Eigen::MatrixXd const& columns, Eigen::VectorXd const& y, Eigen::VectorXd const& roots)
        : columns_(columns), y_(y), roots_(roots), scale_(columns.cols()) {
        Eigen::MatrixXd scaled = roots.asDiagonal() * columns;
        for (Eigen::Index k = 0; k < columns.cols(); ++k) {
            double const length = scaled.col(k).stableNorm();
            if (!(length > 0))
                throw BadInput("column " + std::to_string(k + 1) + " of a linear fit is 0");
            scale_(k) = std::ldexp(1.0, -std::ilogb(length)); // exact
            scaled.col(k) *= scale_(k);
        }
        qr_.compute(scaled);
        for (Eigen::Index k = 0; k < columns.cols(); ++k)
            if (!(std::abs(qr_.matrixQR()(k, k)) > 1e-13))
                throw BadInput("column " + std::to_string(k + 1) +
                               " of a linear fit depends on those before it, to rounding");
    }

    /// The coefficients; and the residuals times the roots. The orthogonal triangles' answer is put right by
    /// what remains of both the rows and the normal equations, computed in extended precision (Å. Björck, BIT
    /// 7, 1967, 257–278; from memory).
    Eigen::VectorXd solve(Eigen::VectorXd& residuals) const {
        Eigen::Index const n = columns_.rows(), m = columns_.cols();
        Eigen::VectorXd b = Eigen::VectorXd::Zero(m);
        Eigen::VectorXd r = Eigen::VectorXd::Zero(n);
        auto const triangle = qr_.matrixQR().topRows(m).template triangularView<Eigen::Upper>();
        double last = std::numeric_limits<double>::infinity();
        for (int round = 0; round < 8; ++round) {
            Eigen::VectorXd rows(n), normal(m);
            for (Eigen::Index i = 0; i < n; ++i) {
                long double left = y_(i);
                for (Eigen::Index k = 0; k < m; ++k)
                    left -= static_cast<long double>(columns_(i, k)) * scale_(k) * b(k);
                rows(i) = static_cast<double>(left * roots_(i) - r(i));
            }
            for (Eigen::Index k = 0; k < m; ++k) {
                long double left = 0;
                for (Eigen::Index i = 0; i < n; ++i)
                    left -= static_cast<long double>(columns_(i, k)) * scale_(k) * roots_(i) * r(i);
                normal(k) = static_cast<double>(left);
            }
            Eigen::VectorXd turned = qr_.householderQ().adjoint() * rows;
            Eigen::VectorXd const h = triangle.transpose().solve(normal);
            Eigen::VectorXd const step = triangle.solve(turned.head(m) - h);
            turned.head(m) = h;
            if (!(step.norm() < last / 2)) // no better any more
                break;
            last = step.norm();
            b += step;
            r += qr_.householderQ() * turned;
        }
        residuals = r;
        return b.cwiseProduct(scale_);
    }

    /// (XᵀWX)⁻¹.
    Eigen::MatrixXd unit_covariance() const {
        Eigen::Index const m = columns_.cols();
        Eigen::MatrixXd const inverse =
            scale_.asDiagonal() * qr_.matrixQR().topRows(m).template triangularView<Eigen::Upper>().solve(
                                      Eigen::MatrixXd::Identity(m, m));
        return inverse * inverse.transpose();
    }

    /// Whether the columns can make a constant: what they leave of one is rounding.
    bool has_constant() const {
        Eigen::VectorXd const turned = qr_.householderQ().adjoint() * roots_;
        return turned.tail(columns_.rows() - columns_.cols()).norm() < 1e-9 * roots_.norm();
    }

private:
    Eigen::MatrixXd const& columns_;
    Eigen::VectorXd const& y_;
    Eigen::VectorXd const& roots_;
    Eigen::VectorXd scale_;
    Eigen::HouseholderQR<Eigen::MatrixXd> qr_;
};

} // namespace detail

/// The coefficients that make Σ w (y − X b)² least, by orthogonal triangles, refined in extended precision:
/// right to the last digits unless columns depend on each other to 1e-12. Throws BadInput where there are no
/// more observations of a weight above 0 than columns, where sizes do not agree, where a value is not finite
/// or a weight negative, and where a column is 0 or depends on those before it (with its number).
inline LinearFit fit_linear(Eigen::MatrixXd const& columns, Eigen::VectorXd const& y,
                            Eigen::VectorXd const& weights = {}) {
    Eigen::Index const n = columns.rows(), m = columns.cols();
    if (y.size() != n || (weights.size() != 0 && weights.size() != n))
        throw BadInput("a linear fit of " + std::to_string(n) + " rows; given " + std::to_string(y.size()) +
                       " values and " + std::to_string(weights.size()) + " weights");
    Eigen::VectorXd const w = weights.size() == 0 ? Eigen::VectorXd::Ones(n) : weights;
    for (Eigen::Index i = 0; i < n; ++i)
        if (!is_finite(columns.row(i).sum()) || !is_finite(y(i)) || !is_finite(w(i)) || w(i) < 0)
            throw BadInput("row " + std::to_string(i + 1) +
                           " of a linear fit: all must be finite and the weight not negative");
    auto const used = static_cast<Eigen::Index>((w.array() > 0).count());
    if (m < 1 || used <= m)
        throw BadInput("a linear fit for " + std::to_string(m) +
                       " coefficients needs more rows than that; given " + std::to_string(used));
    Eigen::VectorXd const roots = w.cwiseSqrt();
    detail::LinearRows const rows(columns, y, roots);
    LinearFit fit;
    Eigen::VectorXd weighted;
    fit.coefficients = rows.solve(weighted);
    fit.residuals = weighted.cwiseQuotient(roots);
    for (Eigen::Index i = 0; i < n; ++i)
        if (w(i) == 0)
            fit.residuals(i) = y(i) - columns.row(i).dot(fit.coefficients);
    fit.sum_of_squares = weighted.squaredNorm();
    fit.degrees_of_freedom = static_cast<double>(used - m);
    fit.deviation = std::sqrt(fit.sum_of_squares / fit.degrees_of_freedom);
    fit.unit_covariance = rows.unit_covariance();
    fit.deviations = fit.deviation * fit.unit_covariance.diagonal().cwiseSqrt();
    bool const constant = rows.has_constant();
    double const mean = constant ? w.dot(y) / w.sum() : 0.0;
    double const total = w.dot((y.array() - mean).square().matrix());
    double const explaining = static_cast<double>(constant ? m - 1 : m);
    fit.r_squared = total > 0 ? 1 - fit.sum_of_squares / total : 1;
    fit.f = explaining > 0 && total > fit.sum_of_squares
                ? (total - fit.sum_of_squares) / explaining / sqr(fit.deviation)
                : 0;
    return fit;
}

/// A polynomial through points, and what is known of it. It is fitted in t = (x − centre) / half_width, which
/// runs from −1 to 1, so that high degrees keep their digits.
struct PolynomialFit {
    LinearFit model;   ///< its coefficients are of 1, t, t², …
    double centre;     ///< middle of the x
    double half_width; ///< half of their spread

    /// The polynomial's value at x.
    double at(double x) const { return model.at(powers(x)); }
    /// Where its true value lies at x with a confidence level in (0, 1). Throws BadInput for another level.
    Bounds confidence(double x, double level = 0.95) const { return model.confidence(powers(x), level); }
    /// Where the mean of `future` observations of weight 1 at x will lie with that confidence.
    Bounds prediction(double x, double level = 0.95, double future = 1) const {
        return model.prediction(powers(x), level, future);
    }
    /// The coefficients of 1, x, x², …, expanded in extended precision.
    Eigen::VectorXd coefficients() const {
        using Extended = Eigen::Matrix<long double, Eigen::Dynamic, 1>;
        Extended of = Extended::Zero(model.coefficients.size());
        // Horner's rule for polynomials in place of numbers: p ← p · (x − centre) / half_width + c.
        for (Eigen::Index k = of.size(); k-- > 0;) {
            for (Eigen::Index i = of.size(); i-- > 0;)
                of(i) = ((i > 0 ? of(i - 1) : 0.0L) - of(i) * centre) / half_width;
            of(0) += model.coefficients(k);
        }
        return of.cast<double>();
    }
    /// The row of the model at x: 1, t, t², …
    Eigen::VectorXd powers(double x) const {
        Eigen::VectorXd row(model.coefficients.size());
        double power = 1;
        for (Eigen::Index k = 0; k < row.size(); ++k, power *= (x - centre) / half_width)
            row(k) = power;
        return row;
    }
};

/// The polynomial of a degree ≥ 0 that makes Σ w (y − p(x))² least. Throws BadInput as `fit_linear` does, for
/// a negative degree, and for fewer different x than coefficients.
inline PolynomialFit fit_polynomial(Eigen::VectorXd const& x, Eigen::VectorXd const& y, int degree,
                                    Eigen::VectorXd const& weights = {}) {
    if (degree < 0 || x.size() == 0)
        throw BadInput("a polynomial needs a degree of 0 or more and points; given degree " +
                       std::to_string(degree) + " and " + std::to_string(x.size()) + " points");
    double const low = x.minCoeff(), high = x.maxCoeff();
    PolynomialFit fit{{}, low + (high - low) / 2, high > low ? (high - low) / 2 : 1.0};
    fit.model.coefficients = Eigen::VectorXd::Zero(degree + 1);
    Eigen::MatrixXd columns(x.size(), degree + 1);
    for (Eigen::Index i = 0; i < x.size(); ++i)
        columns.row(i) = fit.powers(x(i)).transpose();
    fit.model = fit_linear(columns, y, weights);
    return fit;
}

} // namespace seamhold

#endif
