#ifndef SEAMHOLD_CALIBRATE_CORRELATED_ROWS_HPP
#define SEAMHOLD_CALIBRATE_CORRELATED_ROWS_HPP

#include "seamhold/number/number.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <vector>

namespace seamhold {

/// How sure a least squares fit is whose residuals follow each other in time and depend on their neighbours.
struct CorrelatedSpread {
    Eigen::MatrixXd covariance; ///< of the unknowns
    double autocorrelation;     ///< of the residuals one sample apart, −1 to 1
    double inflation;           ///< variance of the first unknown by that of independent residuals as large
    double degrees_of_freedom;  ///< rows by the inflation, less the unknowns, 1 or more
};

/// The covariance of unknowns from the autocovariances C(l) of the residuals: Σ hᵀ(k) C(l) h(k + l) over all
/// pairs of samples, h = J (JᵀJ)⁻¹. `channels` rows belong to a sample; samples are in order of time, evenly
/// or nearly so. Lags count up to the first at which two in a row are not told from 0 (2/√n), and to a
/// quarter of the samples. Residuals are taken as a stationary process; those of a fit are a little smaller
/// than the errors, for which the result is enlarged by rows / (rows − unknowns · inflation). It is never
/// less than half of what independent residuals would give.
inline CorrelatedSpread spread_of_correlated(Eigen::VectorXd const& residuals,
                                             Eigen::MatrixXd const& jacobian,
                                             Eigen::MatrixXd const& unit_covariance, Eigen::Index channels) {
    Eigen::Index const n = residuals.size() / channels, m = jacobian.cols();
    Eigen::MatrixXd const influence = jacobian * unit_covariance;
    auto const r = [&](Eigen::Index k) { return residuals.segment(k * channels, channels); };
    auto const h = [&](Eigen::Index k) { return influence.middleRows(k * channels, channels); };
    auto const covariance_at = [&](Eigen::Index lag) {
        Eigen::MatrixXd c = Eigen::MatrixXd::Zero(channels, channels);
        for (Eigen::Index k = 0; k + lag < n; ++k)
            c += r(k) * r(k + lag).transpose();
        return Eigen::MatrixXd(c / static_cast<double>(n));
    };
    auto const pairs_at = [&](Eigen::Index lag, Eigen::MatrixXd const& c) {
        Eigen::MatrixXd sum = Eigen::MatrixXd::Zero(m, m);
        for (Eigen::Index k = 0; k + lag < n; ++k)
            sum += h(k).transpose() * c * h(k + lag);
        return sum;
    };

    Eigen::MatrixXd const now = covariance_at(0);
    Eigen::MatrixXd const independent = pairs_at(0, now);
    CorrelatedSpread spread{independent, 0, 1, 1};
    double const rows = static_cast<double>(residuals.size());
    if (now.trace() > 0) {
        double const bound = 2 / std::sqrt(static_cast<double>(n));
        int small = 0;
        for (Eigen::Index lag = 1; lag <= n / 4 && small < 2; ++lag) {
            Eigen::MatrixXd const c = covariance_at(lag);
            double const correlation = c.trace() / now.trace();
            if (lag == 1)
                spread.autocorrelation = correlation;
            small = std::abs(correlation) < bound ? small + 1 : 0;
            if (small > 0)
                continue;
            Eigen::MatrixXd const sum = pairs_at(lag, c);
            spread.covariance += sum + sum.transpose();
        }
        // Never less than half of what independent residuals would give, in any direction.
        for (Eigen::Index k = 0; k < m; ++k)
            if (!(spread.covariance(k, k) > 0.5 * independent(k, k))) {
                spread.covariance = 0.5 * independent;
                break;
            }
        spread.inflation = spread.covariance(0, 0) / independent(0, 0);
    }
    double const taken = static_cast<double>(m) * std::max(1.0, spread.inflation);
    spread.degrees_of_freedom = std::max(1.0, rows / spread.inflation - static_cast<double>(m));
    spread.covariance *= rows / std::max(rows - taken, 0.1 * rows);
    return spread;
}

} // namespace seamhold

#endif
