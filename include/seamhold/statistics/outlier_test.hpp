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
        : k_(k), count_((rows.residuals.size() - prior_rows) / k), residuals_(rows.residuals) {
        Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(
            rows.jacobian * column_lengths(rows.jacobian).cwiseInverse().asDiagonal());
        qr.setThreshold(1e-12);
        // In an orthonormal base normal equations lose nothing.
        base_ = qr.householderQ() * Eigen::MatrixXd::Identity(rows.residuals.size(), qr.rank());
        kept_.assign(static_cast<std::size_t>(count_), false);
        auto const prior = base_.bottomRows(prior_rows);
        gram_ = prior.transpose() * prior;
        right_ = prior.transpose() * residuals_.tail(prior_rows);
        rows_ = prior_rows;
    }

    /// Observations, and unknowns that the rows tell apart.
    Eigen::Index count() const { return count_; }
    Eigen::Index unknowns() const { return base_.cols(); }

    /// Fits the kept observations. Whether they determine all that the whole does.
    bool fit(std::vector<bool> const& kept) {
        for (Eigen::Index i = 0; i < count_; ++i) {
            bool const now = kept[static_cast<std::size_t>(i)];
            if (now == kept_[static_cast<std::size_t>(i)])
                continue;
            auto const block = base_.middleRows(i * k_, k_);
            double const sign = now ? 1 : -1;
            gram_ += sign * block.transpose() * block;
            right_ += sign * block.transpose() * residuals_.segment(i * k_, k_);
            rows_ += now ? k_ : -k_;
        }
        kept_ = kept;
        Eigen::LLT<Eigen::MatrixXd> const root(gram_);
        if (root.info() != Eigen::Success || root.rcond() < 1e-10)
            return false;
        left_ = residuals_ - base_ * root.solve(right_);
        switch (k_) {
        case 1:
            measure<1>(root);
            break;
        case 2:
            measure<2>(root);
            break;
        case 3:
            measure<3>(root);
            break;
        default:
            measure<Eigen::Dynamic>(root);
        }
        sum_ = left_.tail(residuals_.size() - count_ * k_).squaredNorm();
        for (Eigen::Index i = 0; i < count_; ++i)
            if (kept[static_cast<std::size_t>(i)])
                sum_ += left_.segment(i * k_, k_).squaredNorm();
        return true;
    }

    /// The sum of squares of the kept rows.
    double sum() const { return sum_; }
    /// Rows kept less unknowns.
    double degrees() const { return static_cast<double>(rows_ - unknowns()); }
    /// By how much the sum of squares falls if a kept observation goes, or grows if another comes: the square
    /// of its distance from what the others predict, in standard deviations of a row. 0 where a kept one
    /// alone determines something.
    Eigen::VectorXd const& squares() const { return squares_; }

private:
    template <int K> void measure(Eigen::LLT<Eigen::MatrixXd> const& root) {
        Eigen::MatrixXd const whitened = root.matrixL().solve(base_.transpose()); // a column a row
        squares_.resize(count_);
        Eigen::Matrix<double, K, K> spread(k_, k_);
        Eigen::Matrix<double, K, 1> own(k_);
        for (Eigen::Index i = 0; i < count_; ++i) {
            auto const block = whitened.middleCols(i * k_, k_);
            spread.noalias() = block.transpose().lazyProduct(block);
            spread *= kept_[static_cast<std::size_t>(i)] ? -1 : 1;
            spread.diagonal().array() += 1;
            own = left_.segment(i * k_, k_);
            Eigen::LLT<Eigen::Matrix<double, K, K>> const llt(spread);
            bool const told = llt.info() == Eigen::Success && llt.matrixLLT().diagonal().minCoeff() > 1e-5;
            squares_(i) = told ? llt.matrixL().solve(own).squaredNorm() : 0;
        }
    }

    Eigen::Index k_, count_;
    Eigen::VectorXd residuals_;
    Eigen::MatrixXd base_;
    std::vector<bool> kept_;
    Eigen::MatrixXd gram_;
    Eigen::VectorXd right_, left_, squares_;
    Eigen::Index rows_ = 0;
    double sum_ = 0;
};

/// Whether an observation is no further from the others than chance makes in a set of `count`: Fisher's
/// test of what the others predict, at the level false_alarm / count (Bonferroni).
struct OutlierTest {
    Eigen::Index k;
    Eigen::Index count;
    double false_alarm;
    std::optional<double> deviation;
    double rounding;

    /// The probability that chance puts it as far or further. `square` is its squared distance; `sum` and
    /// `degrees` are of the `others` that judge it, the smallest of the whole. 1 where rounding does it, and
    /// where nothing is left to judge by.
    double probability(double square, double sum, double degrees, Eigen::Index others) const {
        double const rows = static_cast<double>(k);
        if (square <= rows * sqr(rounding))
            return 1;
        if (deviation)
            return chi_squared_tail(square / std::max(sqr(*deviation), sqr(rounding)), rows);
        if (degrees < 1)
            return 1;
        double const share = static_cast<double>(others + 1) / static_cast<double>(count);
        double const variance = std::max(0.0, sum) / degrees / mean_square_of_smallest(share, rows);
        return f_tail(square / rows / std::max(variance, sqr(rounding)), rows, degrees);
    }

    /// Whether that is no less than the level.
    bool passes(double chance) const { return chance >= false_alarm / static_cast<double>(count); }
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
/// by letting in the nearest as long as they pass the test. Two starts for that part: those of the smallest
/// residuals, and those left when the farthest from the others are taken out again and again; each is
/// improved by keeping the nearest to its own fit (P. Rousseeuw and K. van Driessen, Data Mining and
/// Knowledge Discovery 12, 2006, 29–45); the one with the smaller sum of squares is taken. Outward from a
/// clean part after A. Hadi and J. Simonoff, J. American Statistical Association 88, 1993, 1264–1272 (both
/// from memory). The residuals are those of a robust fit: where none stands out there and none is far from
/// the others, all agree.
inline std::vector<bool> agreeing(Linearised const& rows, Eigen::Index k, Eigen::Index prior_rows,
                                  double false_alarm, std::optional<double> deviation, double rounding) {
    Agreement agreement(rows, k, prior_rows);
    Eigen::Index const count = agreement.count();
    OutlierTest const test{k, count, false_alarm, deviation, rounding};
    std::vector<bool> const all(static_cast<std::size_t>(count), true);
    Eigen::VectorXd const sizes = lengths_of_observations(rows.residuals, count, k);

    std::vector<bool> kept = all;
    // The probability of the one that is kept and farthest from the others.
    struct Farthest {
        Eigen::Index number;
        double chance;
    };
    auto const farthest = [&] {
        Eigen::Index number = -1, members = 0;
        for (Eigen::Index i = 0; i < count; ++i)
            if (kept[static_cast<std::size_t>(i)]) {
                ++members;
                if (number < 0 || agreement.squares()(i) > agreement.squares()(number))
                    number = i;
            }
        if (number < 0)
            return Farthest{0, 1};
        double const square = agreement.squares()(number);
        return Farthest{number, test.probability(square, agreement.sum() - square,
                                                 agreement.degrees() - static_cast<double>(k), members - 1)};
    };
    if (agreement.fit(all) && sizes.maxCoeff() <= 4 * median_of(sizes) &&
        farthest().chance * static_cast<double>(count) > 0.3)
        return all;

    Eigen::Index const least = (agreement.unknowns() + k - prior_rows) / k + 1;
    Eigen::Index const part = std::min(count, std::max(count - count / 4, least));
    double best = std::numeric_limits<double>::infinity();
    auto const improve = [&](std::vector<bool> chosen) {
        for (int round = 0; round < 20 && agreement.fit(chosen); ++round) {
            if (agreement.sum() < best) {
                best = agreement.sum();
                kept = chosen;
            }
            std::vector<bool> const next = smallest(agreement.squares(), part);
            if (next == chosen)
                break;
            chosen = next;
        }
    };
    if (part < count) {
        improve(smallest(sizes, part));
        std::vector<bool> left = all;
        for (Eigen::Index size = count; size > part && agreement.fit(left);) {
            Eigen::VectorXd squares = agreement.squares();
            for (Eigen::Index i = 0; i < count; ++i)
                if (!left[static_cast<std::size_t>(i)])
                    squares(i) = -1;
            for (Eigen::Index out = 1 + (size - part) / 8; out > 0; --out, --size) {
                Eigen::Index number = 0;
                squares.maxCoeff(&number);
                squares(number) = -1;
                left[static_cast<std::size_t>(number)] = false;
            }
        }
        improve(left);
    }

    // Outward: whoever is well within chance comes in, else the nearest that passes; then a member that the
    // others no longer bear goes.
    for (Eigen::Index step = 0; step < 4 * count && agreement.fit(kept); ++step) {
        auto const members = static_cast<Eigen::Index>(std::count(kept.begin(), kept.end(), true));
        std::vector<bool> wider = kept;
        Eigen::Index nearest = -1;
        double nearest_chance = 0;
        for (Eigen::Index i = 0; i < count; ++i) {
            auto const at = static_cast<std::size_t>(i);
            if (kept[at])
                continue;
            double const chance =
                test.probability(agreement.squares()(i), agreement.sum(), agreement.degrees(), members);
            wider[at] = chance > 0.05;
            if (nearest < 0 || chance > nearest_chance) {
                nearest = i;
                nearest_chance = chance;
            }
        }
        if (wider == kept && nearest >= 0 && test.passes(nearest_chance))
            wider[static_cast<std::size_t>(nearest)] = true;
        if (wider == kept && members > part) {
            Farthest const out = farthest();
            wider[static_cast<std::size_t>(out.number)] = test.passes(out.chance);
        }
        if (wider == kept)
            break;
        kept = wider;
    }
    return kept;
}

} // namespace seamhold::detail

#endif
