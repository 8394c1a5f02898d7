#ifndef SEAMHOLD_CALIBRATE_CORRELATED_ROWS_HPP
#define SEAMHOLD_CALIBRATE_CORRELATED_ROWS_HPP

#include "seamhold/number/number.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

namespace seamhold {

/// A least squares fit to samples in order of time, whose residuals may depend on those of the samples
/// before.
struct CorrelatedRows {
    Eigen::VectorXd residuals;       ///< `channels` rows a sample, 0 for a sample that did not count
    Eigen::MatrixXd jacobian;        ///< likewise
    Eigen::MatrixXd unit_covariance; ///< (JᵀJ)⁻¹
    Eigen::Index channels;
    std::vector<bool> counts; ///< of each sample
    Eigen::Index difference;  ///< 0; or each sample, of one channel, is the length of what was recorded so
                              ///< many samples later less what was recorded then: errors come back with the
                              ///< other sign
    Eigen::MatrixXd axes;     ///< 3 × samples for such lengths: the unit vectors along which they were taken
};

/// How sure such a fit is.
struct CorrelatedSpread {
    Eigen::MatrixXd covariance; ///< of the unknowns
    double autocorrelation;     ///< of the residuals one sample apart, −1 to 1
    double inflation;           ///< variance of the first unknown by that of independent residuals as large
    double degrees_of_freedom;  ///< rows by the lags that counted to both sides, less the unknowns, 1 or more
};

namespace detail {

/// Sums over pairs of samples a lag apart.
class PairSums {
public:
    explicit PairSums(CorrelatedRows const& rows)
        : rows_(rows), samples_(rows.residuals.size() / rows.channels),
          influence_(rows.jacobian * rows.unit_covariance) {}

    Eigen::Index samples() const { return samples_; }

    /// Mean of r(k) r(k + lag)ᵀ over the pairs that both count.
    Eigen::MatrixXd covariance(Eigen::Index lag) const {
        Eigen::Index const d = rows_.channels;
        Eigen::MatrixXd sum = Eigen::MatrixXd::Zero(d, d);
        double pairs = 0;
        for (Eigen::Index k = 0; k + lag < samples_; ++k)
            if (rows_.counts[static_cast<std::size_t>(k)] &&
                rows_.counts[static_cast<std::size_t>(k + lag)]) {
                sum +=
                    rows_.residuals.segment(k * d, d) * rows_.residuals.segment((k + lag) * d, d).transpose();
                pairs += 1;
            }
        return sum / std::max(1.0, pairs);
    }

    /// Σ hᵀ(k) C h(k + lag), with its mirror image where the lag is not 0; h is what a sample's error does to
    /// the unknowns.
    Eigen::MatrixXd effect(Eigen::MatrixXd const& c, Eigen::Index lag) const {
        Eigen::Index const d = rows_.channels;
        return sum_of(
            samples_, lag, [&](Eigen::Index k) -> Eigen::MatrixXd { return influence_.middleRows(k * d, d); },
            c);
    }

    /// The same for errors, vectors of three with a variance of c each way, of which a sample has the later
    /// less the earlier one along its axis.
    Eigen::MatrixXd effect_of_ends(double c, Eigen::Index lag) const {
        Eigen::Index const by = rows_.difference;
        auto const h = [&](Eigen::Index k) {
            Eigen::MatrixXd own = Eigen::MatrixXd::Zero(3, influence_.cols());
            if (k < samples_)
                own -= rows_.axes.col(k) * influence_.row(k);
            if (k >= by)
                own += rows_.axes.col(k - by) * influence_.row(k - by);
            return own;
        };
        return sum_of(samples_ + by, lag, h, c * Eigen::Matrix3d::Identity());
    }

private:
    template <class Of>
    Eigen::MatrixXd sum_of(Eigen::Index count, Eigen::Index lag, Of const& h,
                           Eigen::MatrixXd const& c) const {
        Eigen::Index const m = influence_.cols();
        Eigen::MatrixXd sum = Eigen::MatrixXd::Zero(m, m);
        for (Eigen::Index k = 0; k + lag < count; ++k)
            sum += h(k).transpose() * c * h(k + lag);
        if (lag > 0)
            sum += sum.transpose().eval();
        return sum;
    }

    CorrelatedRows const& rows_;
    Eigen::Index samples_;
    Eigen::MatrixXd influence_;
};

} // namespace detail

/// The covariance of the unknowns from the autocovariances C(l) of the residuals, taken as a stationary
/// process: Σ hᵀ(k) C(l) h(k + l) over all pairs of samples, h = J (JᵀJ)⁻¹. Lags count up to the first two in
/// a row whose correlation is not told from 0 (2/√n), and to a quarter of the samples; what comes after is
/// taken to fade as it did from the first to the second sample. Of differences it is that of the errors that
/// are subtracted, whose autocovariances are half of the residuals' where they end within half the
/// difference; if not, the differences count as any residuals. Residuals of a fit are smaller than the
/// errors, and most so as slowly as they correlate, for which the result is enlarged by rows / (rows −
/// unknowns · lags).
inline CorrelatedSpread spread_of_correlated(CorrelatedRows const& rows) {
    detail::PairSums const sums(rows);
    Eigen::Index const n = sums.samples(), m = rows.jacobian.cols();
    Eigen::MatrixXd const now = sums.covariance(0);
    Eigen::MatrixXd const independent = sums.effect(now, 0);
    auto const counted = static_cast<double>(std::count(rows.counts.begin(), rows.counts.end(), true));
    CorrelatedSpread spread{independent, 0, 1, 1};
    double const all = counted * static_cast<double>(rows.channels);
    double window = 1; // lags to both sides
    if (now.trace() > 0) {
        double const bound = 2 / std::sqrt(counted);
        std::vector<Eigen::MatrixXd> lags{now};
        for (int small = 0; static_cast<Eigen::Index>(lags.size()) <= n / 4 && small < 2;) {
            lags.push_back(sums.covariance(static_cast<Eigen::Index>(lags.size())));
            small = std::abs(lags.back().trace()) < bound * now.trace() ? small + 1 : 0;
            if (small == 2)
                lags.resize(lags.size() - 2);
        }
        window = 2 * static_cast<double>(lags.size()) - 1;
        double const first = sums.covariance(1).trace() / now.trace();
        spread.autocorrelation = first;
        if (lags.size() > 1 && first > bound)
            for (double fade = first; fade > 1e-3 && static_cast<Eigen::Index>(lags.size()) < n / 2;
                 fade *= first)
                lags.push_back(first * lags.back());
        bool const apart =
            rows.difference > 0 && 2 * static_cast<Eigen::Index>(lags.size()) <= rows.difference + 2;
        spread.covariance.setZero();
        for (std::size_t lag = 0; lag < lags.size(); ++lag)
            spread.covariance +=
                apart ? sums.effect_of_ends(0.5 * lags[lag](0, 0), static_cast<Eigen::Index>(lag))
                      : sums.effect(lags[lag], static_cast<Eigen::Index>(lag));
        for (Eigen::Index k = 0; k < m; ++k) // negative correlations by chance promise nothing
            if (!apart && !(spread.covariance(k, k) > 0.5 * independent(k, k))) {
                spread.covariance = independent;
                break;
            }
        spread.inflation = spread.covariance(0, 0) / independent(0, 0);
    }
    auto const unknowns = static_cast<double>(m);
    spread.degrees_of_freedom = std::max(1.0, all / window - unknowns);
    spread.covariance *= all / std::max(all - unknowns * window, 0.1 * all);
    return spread;
}

} // namespace seamhold

#endif
