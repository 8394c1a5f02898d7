#ifndef SEAMHOLD_STATISTICS_OUTLIER_TEST_HPP
#define SEAMHOLD_STATISTICS_OUTLIER_TEST_HPP

#include "seamhold/number/number.hpp"
#include "seamhold/statistics/least_squares.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <optional>
#include <vector>

// What `robust_least_squares` asks about rows near the solution, where the problem is linear.

namespace seamhold::detail {

/// The lengths of the observations' residuals, k rows each.
inline Eigen::VectorXd lengths_of_observations(Eigen::VectorXd const& residuals, Eigen::Index count,
                                               Eigen::Index k) {
    return residuals.head(count * k).reshaped(k, count).colwise().norm().transpose();
}

/// The median of positive numbers; the upper one of the two in the middle.
inline double median_of(Eigen::VectorXd values) {
    auto const middle = values.begin() + values.size() / 2;
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// The weights by P. Huber (Annals of Mathematical Statistics 35, 1964, 73–101; from memory): 1 up to the
/// size that 5 % of normal residuals exceed, beyond it that size over the observation's. The scale is taken
/// from the median.
inline Eigen::VectorXd huber_weights(Eigen::VectorXd const& residuals, Eigen::Index count, Eigen::Index k) {
    Eigen::VectorXd const sizes = lengths_of_observations(residuals, count, k);
    double const bound = median_of(sizes) * std::sqrt(chi_squared_quantile(0.95, static_cast<double>(k)) /
                                                      chi_squared_quantile(0.5, static_cast<double>(k)));
    return sizes.unaryExpr([bound](double size) { return size > bound ? bound / size : 1.0; });
}

/// A row's size that is rounding: 64 units in the last place of the numbers times their effect on it.
inline double rounding_of(Eigen::MatrixXd const& jacobian, Eigen::VectorXd const& sizes) {
    return 64 * std::numeric_limits<double>::epsilon() * (jacobian.cwiseAbs() * sizes).maxCoeff();
}

/// How large the mean square of normal observations of k rows is when the share of the smallest was taken, as
/// a part of the variance.
inline double mean_square_of_smallest(double share, double k) {
    if (share >= 1)
        return 1;
    double const bound = chi_squared_quantile(share, k);
    return (1 - chi_squared_tail(bound, k + 2)) / share;
}

/// Linear least squares of some of the observations, and how far each observation is from what the others
/// say.
class Agreement {
public:
    Agreement(Linearised const& rows, Eigen::Index k, Eigen::Index prior_rows)
        : k_(k), count_((rows.residuals.size() - prior_rows) / k) {
        Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(
            rows.jacobian * column_lengths(rows.jacobian).cwiseInverse().asDiagonal());
        qr.setThreshold(1e-12);
        // In an orthonormal base, so that normal equations lose nothing.
        base_ = qr.householderQ() * Eigen::MatrixXd::Identity(rows.residuals.size(), qr.rank());
        residuals_ = rows.residuals;
        prior_ = prior_rows;
    }

    Eigen::Index count() const { return count_; }
    Eigen::Index unknowns() const { return base_.cols(); }

    /// Fits the kept observations. Whether they determine all that the whole does.
    bool fit(std::vector<bool> const& kept) {
        Eigen::MatrixXd gram = base_.bottomRows(prior_).transpose() * base_.bottomRows(prior_);
        Eigen::VectorXd right = base_.bottomRows(prior_).transpose() * residuals_.tail(prior_);
        rows_ = static_cast<double>(prior_);
        for (Eigen::Index i = 0; i < count_; ++i)
            if (kept[static_cast<std::size_t>(i)]) {
                auto const block = base_.middleRows(i * k_, k_);
                gram += block.transpose() * block;
                right += block.transpose() * residuals_.segment(i * k_, k_);
                rows_ += static_cast<double>(k_);
            }
        Eigen::LLT<Eigen::MatrixXd> const root(gram);
        if (root.info() != Eigen::Success || root.rcond() < 1e-10)
            return false;
        whitened_ = root.matrixL().solve(base_.transpose()).transpose();
        left_ = residuals_ - base_ * root.solve(right);
        sum_ = left_.tail(prior_).squaredNorm();
        for (Eigen::Index i = 0; i < count_; ++i)
            if (kept[static_cast<std::size_t>(i)])
                sum_ += left_.segment(i * k_, k_).squaredNorm();
        return true;
    }

    /// The sum of squares of the kept rows.
    double sum() const { return sum_; }
    /// Rows kept less unknowns.
    double degrees() const { return rows_ - static_cast<double>(unknowns()); }

    /// By how much the sum of squares falls if a kept observation goes, or grows if another comes: the square
    /// of its distance from what the others predict, in standard deviations of a row. 0 where a kept one
    /// alone determines something.
    Eigen::VectorXd distances(std::vector<bool> const& kept) const {
        Eigen::VectorXd squares(count_);
        Eigen::MatrixXd spread(k_, k_);
        for (Eigen::Index i = 0; i < count_; ++i) {
            auto const block = whitened_.middleRows(i * k_, k_);
            double const sign = kept[static_cast<std::size_t>(i)] ? -1 : 1;
            spread.noalias() = sign * block * block.transpose();
            spread.diagonal().array() += 1;
            auto const own = left_.segment(i * k_, k_);
            if (k_ == 1) {
                squares(i) = spread(0, 0) > 1e-10 ? sqr(own(0)) / spread(0, 0) : 0.0;
                continue;
            }
            Eigen::LLT<Eigen::MatrixXd> const root(spread);
            squares(i) = root.info() == Eigen::Success && root.rcond() > 1e-10 ? own.dot(root.solve(own)) : 0;
        }
        return squares;
    }

private:
    Eigen::Index k_, count_, prior_ = 0;
    Eigen::MatrixXd base_;
    Eigen::VectorXd residuals_;
    Eigen::MatrixXd whitened_;
    Eigen::VectorXd left_;
    double sum_ = 0, rows_ = 0;
};

/// Whether an observation is no further from the others than chance makes in a set of `count`: Student's or
/// Fisher's test of what the others predict, at the level false_alarm / count (Bonferroni).
struct OutlierTest {
    Eigen::Index k;
    Eigen::Index count;
    double false_alarm;
    std::optional<double> deviation;
    double rounding;

    /// `square` is its squared distance; `sum` and `degrees` are of the `others` that judge it, the smallest
    /// of the whole.
    bool passes(double square, double sum, double degrees, Eigen::Index others) const {
        double const rows = static_cast<double>(k);
        double const level = false_alarm / static_cast<double>(count);
        if (square <= rows * sqr(rounding))
            return true;
        if (deviation)
            return chi_squared_tail(square / std::max(sqr(*deviation), sqr(rounding)), rows) >= level;
        if (degrees < 1)
            return true;
        double const share = static_cast<double>(others + 1) / static_cast<double>(count);
        double const variance = std::max(0.0, sum) / degrees / mean_square_of_smallest(share, rows);
        double const f = square / rows / std::max(variance, sqr(rounding));
        return f <= 1 || f_tail(f, rows, degrees) >= level;
    }
};

/// The numbers of the `most` observations with the smallest values.
inline std::vector<bool> smallest(Eigen::VectorXd const& values, Eigen::Index most) {
    std::vector<Eigen::Index> order(static_cast<std::size_t>(values.size()));
    std::iota(order.begin(), order.end(), Eigen::Index{0});
    std::stable_sort(order.begin(), order.end(),
                     [&](Eigen::Index a, Eigen::Index b) { return values(a) < values(b); });
    std::vector<bool> chosen(order.size(), false);
    for (Eigen::Index i = 0; i < most; ++i)
        chosen[static_cast<std::size_t>(order[static_cast<std::size_t>(i)])] = true;
    return chosen;
}

/// Which observations agree: all that can be reached from the largest agreeing part, three quarters of them,
/// by letting in the nearest as long as it passes the test. Two starts for that part: those of the smallest
/// residuals, and those left when the farthest from the others is taken out again and again; each is improved
/// by keeping the nearest to its own fit (P. Rousseeuw and K. van Driessen, Data Mining and Knowledge
/// Discovery 12, 2006, 29–45); the one with the smaller sum of squares is taken. Outward from a clean part
/// after A. Hadi and J. Simonoff, J. American Statistical Association 88, 1993, 1264–1272 (both from memory).
inline std::vector<bool> agreeing(Linearised const& rows, Eigen::Index k, Eigen::Index prior_rows,
                                  double false_alarm, std::optional<double> deviation, double rounding) {
    Agreement agreement(rows, k, prior_rows);
    Eigen::Index const count = agreement.count();
    OutlierTest const test{k, count, false_alarm, deviation, rounding};
    std::vector<bool> const all(static_cast<std::size_t>(count), true);
    Eigen::Index const least = (agreement.unknowns() + k - prior_rows) / k + 1;
    Eigen::Index const part = std::min(count, std::max(count - count / 4, least));

    std::vector<bool> kept = all;
    double best = std::numeric_limits<double>::infinity();
    auto const improve = [&](std::vector<bool> chosen) {
        for (int round = 0; round < 20 && agreement.fit(chosen); ++round) {
            if (agreement.sum() < best) {
                best = agreement.sum();
                kept = chosen;
            }
            std::vector<bool> const next = smallest(agreement.distances(chosen), part);
            if (next == chosen)
                break;
            chosen = next;
        }
    };
    if (part < count) {
        improve(smallest(lengths_of_observations(rows.residuals, count, k), part));
        std::vector<bool> left = all;
        for (Eigen::Index size = count; size > part && agreement.fit(left); --size) {
            Eigen::Index farthest = 0;
            agreement.distances(left).maxCoeff(&farthest);
            left[static_cast<std::size_t>(farthest)] = false;
        }
        improve(left);
    }

    // Outward: the nearest of the others comes in, a member that the others no longer bear goes.
    for (Eigen::Index step = 0; step < 4 * count && agreement.fit(kept); ++step) {
        Eigen::VectorXd const squares = agreement.distances(kept);
        Eigen::Index nearest = -1, farthest = -1, members = 0;
        for (Eigen::Index i = 0; i < count; ++i) {
            bool const member = kept[static_cast<std::size_t>(i)];
            members += member ? 1 : 0;
            Eigen::Index& extreme = member ? farthest : nearest;
            if (extreme < 0 || (member ? squares(i) > squares(extreme) : squares(i) < squares(extreme)))
                extreme = i;
        }
        if (nearest >= 0 && test.passes(squares(nearest), agreement.sum(), agreement.degrees(), members))
            kept[static_cast<std::size_t>(nearest)] = true;
        else if (farthest >= 0 && members > part &&
                 !test.passes(squares(farthest), agreement.sum() - squares(farthest),
                              agreement.degrees() - static_cast<double>(k), members - 1))
            kept[static_cast<std::size_t>(farthest)] = false;
        else
            break;
    }
    return kept;
}

} // namespace seamhold::detail

#endif
