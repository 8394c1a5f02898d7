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
    Eigen::VectorXd lengths(count);
    for (Eigen::Index i = 0; i < count; ++i) {
        double sum = 0;
        for (Eigen::Index row = i * k; row < (i + 1) * k; ++row)
            sum += sqr(residuals(row));
        lengths(i) = std::sqrt(sum);
    }
    return lengths;
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

/// A symmetric matrix of n × n, row by row, becomes its triangle L with L Lᵀ = the matrix, in its lower half.
/// Whether all pivots are above `least`.
inline bool to_triangle(std::vector<double>& a, std::size_t n, double least) {
    for (std::size_t j = 0; j < n; ++j) {
        for (std::size_t k = 0; k < j; ++k)
            a[j * n + j] -= sqr(a[j * n + k]);
        if (!(a[j * n + j] > least))
            return false;
        a[j * n + j] = std::sqrt(a[j * n + j]);
        for (std::size_t i = j + 1; i < n; ++i) {
            for (std::size_t k = 0; k < j; ++k)
                a[i * n + j] -= a[i * n + k] * a[j * n + k];
            a[i * n + j] /= a[j * n + j];
        }
    }
    return true;
}

/// L⁻¹ b in place of b.
inline void solve_forward(std::vector<double> const& triangle, std::size_t n, double* b) {
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t k = 0; k < i; ++k)
            b[i] -= triangle[i * n + k] * b[k];
        b[i] /= triangle[i * n + i];
    }
}

/// Linear least squares of some of the observations, and how far each observation is from what the others
/// say. In plain loops: Eigen's solvers would cost whoever includes this some seconds of compiling.
class Agreement {
public:
    Agreement(Linearised const& rows, Eigen::Index k, Eigen::Index prior_rows)
        : k_(static_cast<std::size_t>(k)), n_(static_cast<std::size_t>(rows.residuals.size())),
          count_((n_ - static_cast<std::size_t>(prior_rows)) / k_),
          residuals_(rows.residuals.data(), rows.residuals.data() + n_), kept_(count_, false) {
        make_base(rows.jacobian);
        gram_.assign(m_ * m_, 0);
        right_.assign(m_, 0);
        for (std::size_t row = count_ * k_; row < n_; ++row)
            add(row, 1);
        rows_ = prior_rows;
    }

    /// Observations, and unknowns that the rows tell apart.
    Eigen::Index count() const { return static_cast<Eigen::Index>(count_); }
    Eigen::Index unknowns() const { return static_cast<Eigen::Index>(m_); }

    /// Fits the kept observations. Whether they determine all that the whole does.
    bool fit(std::vector<bool> const& kept) {
        for (std::size_t i = 0; i < count_; ++i) {
            if (kept[i] == kept_[i])
                continue;
            for (std::size_t row = i * k_; row < (i + 1) * k_; ++row)
                add(row, kept[i] ? 1 : -1);
            rows_ += static_cast<Eigen::Index>(k_) * (kept[i] ? 1 : -1);
        }
        kept_ = kept;
        std::vector<double> triangle = gram_;
        if (!to_triangle(triangle, m_, 1e-10)) // in an orthonormal base 1 is the most
            return false;
        std::vector<double> answer = right_;
        solve_forward(triangle, m_, answer.data());
        std::vector<double> whitened = base_;
        left_ = residuals_;
        sum_ = 0;
        for (std::size_t row = 0; row < n_; ++row) {
            double* const by = whitened.data() + row * m_;
            solve_forward(triangle, m_, by);
            for (std::size_t k = 0; k < m_; ++k)
                left_[row] -= by[k] * answer[k];
            if (row >= count_ * k_ || kept[row / k_])
                sum_ += sqr(left_[row]);
        }
        measure(whitened);
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
    /// An orthonormal base of the Jacobian's columns, row by row, by Gram's and Schmidt's method, twice, the
    /// longest column first: in it normal equations lose nothing. Columns that the others make are left out.
    void make_base(Eigen::MatrixXd const& jacobian) {
        std::vector<std::vector<double>> columns;
        for (Eigen::Index j = 0; j < jacobian.cols(); ++j) {
            columns.emplace_back(jacobian.col(j).data(), jacobian.col(j).data() + n_);
            scale(columns.back(), length_of(columns.back()));
        }
        std::vector<std::vector<double>> base;
        while (!columns.empty()) {
            auto const longest =
                std::max_element(columns.begin(), columns.end(),
                                 [](auto const& a, auto const& b) { return length_of(a) < length_of(b); });
            if (!(length_of(*longest) > 1e-12))
                break;
            base.push_back(std::move(*longest));
            columns.erase(longest);
            auto& last = base.back();
            for (std::size_t k = 0; k + 1 < base.size(); ++k)
                take_out(base[k], last);
            scale(last, length_of(last));
            for (auto& column : columns)
                take_out(last, column);
        }
        m_ = base.size();
        base_.resize(n_ * m_);
        for (std::size_t k = 0; k < m_; ++k)
            for (std::size_t row = 0; row < n_; ++row)
                base_[row * m_ + k] = base[k][row];
    }
    static double product(std::vector<double> const& a, std::vector<double> const& b) {
        return std::inner_product(a.begin(), a.end(), b.begin(), 0.0);
    }
    static double length_of(std::vector<double> const& a) { return std::sqrt(product(a, a)); }
    static void scale(std::vector<double>& a, double length) {
        for (double& x : a)
            x = length > 0 ? x / length : 0;
    }
    static void take_out(std::vector<double> const& unit, std::vector<double>& of) {
        double const along = product(unit, of);
        for (std::size_t i = 0; i < of.size(); ++i)
            of[i] -= along * unit[i];
    }

    /// Adds a row to the normal equations, or takes it away.
    void add(std::size_t row, double sign) {
        double const* const by = base_.data() + row * m_;
        for (std::size_t i = 0; i < m_; ++i) {
            for (std::size_t k = 0; k < m_; ++k)
                gram_[i * m_ + k] += sign * by[i] * by[k];
            right_[i] += sign * by[i] * residuals_[row];
        }
    }

    void measure(std::vector<double> const& whitened) {
        squares_.resize(count());
        std::vector<double> spread(k_ * k_), own(k_);
        for (std::size_t i = 0; i < count_; ++i) {
            double const* const block = whitened.data() + i * k_ * m_;
            double const sign = kept_[i] ? -1 : 1;
            for (std::size_t a = 0; a < k_; ++a) {
                own[a] = left_[i * k_ + a];
                for (std::size_t b = 0; b <= a; ++b)
                    spread[a * k_ + b] =
                        sign * std::inner_product(block + a * m_, block + (a + 1) * m_, block + b * m_, 0.0) +
                        (a == b ? 1 : 0);
            }
            double square = 0;
            if (to_triangle(spread, k_, 1e-10)) {
                solve_forward(spread, k_, own.data());
                square = product(own, own);
            }
            squares_(static_cast<Eigen::Index>(i)) = square;
        }
    }

    std::size_t k_, n_, count_, m_ = 0;
    std::vector<double> residuals_, base_, gram_, right_, left_;
    std::vector<bool> kept_;
    Eigen::VectorXd squares_;
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
        // A stated deviation that those which agree contradict is no measure of the others.
        if (deviation && (degrees < 1 || !(variance_told(sum, degrees, others) >
                                           sqr(*deviation) / degrees * chi_squared_quantile(0.999, degrees))))
            return chi_squared_tail(square / std::max(sqr(*deviation), sqr(rounding)), rows);
        if (degrees < 1)
            return 1;
        return f_tail(square / rows / std::max(variance_told(sum, degrees, others), sqr(rounding)), rows,
                      degrees);
    }

    /// The variance of a row as the `others` tell it.
    double variance_told(double sum, double degrees, Eigen::Index others) const {
        double const share = static_cast<double>(others + 1) / static_cast<double>(count);
        return std::max(0.0, sum) / degrees / mean_square_of_smallest(share, static_cast<double>(k));
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
    std::vector<bool> all(static_cast<std::size_t>(count), true);
    Eigen::VectorXd const sizes = lengths_of_observations(rows.residuals, count, k);

    std::vector<bool> kept = all;
    // The probability of the one that is kept and farthest from the others.
    struct FarthestBlock {
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
            return FarthestBlock{0, 1};
        double const square = agreement.squares()(number);
        return FarthestBlock{number,
                             test.probability(square, agreement.sum() - square,
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
            FarthestBlock const out = farthest();
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
