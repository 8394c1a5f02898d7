#ifndef SEAMHOLD_CURVE_BANDED_HPP
#define SEAMHOLD_CURVE_BANDED_HPP

#include <algorithm>
#include <array>
#include <cstddef>
#include <vector>

namespace seamhold::detail {

/// A symmetric matrix without entries further than `band` from the diagonal, for least-squares fits at
/// set-up; factorised as L D Lᵀ in place, about size · band² / 2 products. Eigen's sparse solvers do the
/// same, but every program that includes a head would spend seconds on compiling them.
class BandedMatrix {
public:
    BandedMatrix(std::size_t size, std::size_t band)
        : size_(size), band_(std::min(band, size - 1)), entry_(size * (band_ + 1), 0.0) {}

    /// Adds to the entry in a row and a column ≤ row, within the band; and so to its mirror image.
    void add(std::size_t row, std::size_t column, double value) { at(row, column) += value; }

    /// The number of rows.
    std::size_t size() const { return size_; }

    /// L D Lᵀ of a positive definite matrix. Says whether all pivots are above `least` times the largest; the
    /// factors mean nothing where not.
    [[nodiscard]] bool factorise(double least) {
        double smallest = 0, largest = 0;
        std::vector<double> scaled(band_ + 1); // L D of the row in turn
        for (std::size_t i = 0; i < size_; ++i) {
            std::size_t const first = i > band_ ? i - band_ : 0;
            double pivot = at(i, i);
            for (std::size_t k = first; k < i; ++k) {
                std::size_t const from = std::max(first, k > band_ ? k - band_ : 0);
                double sum = at(i, k);
                double const* const row_k = &at(k, from);
                for (std::size_t j = from; j < k; ++j)
                    sum -= scaled[j - first] * row_k[j - from];
                scaled[k - first] = sum;
            }
            for (std::size_t k = first; k < i; ++k) {
                at(i, k) = scaled[k - first] / at(k, k);
                pivot -= scaled[k - first] * at(i, k);
            }
            at(i, i) = pivot;
            smallest = i == 0 ? pivot : std::min(smallest, pivot);
            largest = std::max(largest, pivot);
            if (!(pivot > 0))
                return false;
        }
        return smallest > least * largest;
    }

    /// The solution for right-hand sides side by side, after `factorise`.
    template <std::size_t D>
    std::vector<std::array<double, D>> solve(std::vector<std::array<double, D>> right) const {
        for (std::size_t i = 0; i < size_; ++i)
            for (std::size_t k = i > band_ ? i - band_ : 0; k < i; ++k)
                for (std::size_t d = 0; d < D; ++d)
                    right[i][d] -= at(i, k) * right[k][d];
        for (std::size_t i = 0; i < size_; ++i)
            for (std::size_t d = 0; d < D; ++d)
                right[i][d] /= at(i, i);
        for (std::size_t i = size_; i-- > 0;)
            for (std::size_t k = i > band_ ? i - band_ : 0; k < i; ++k)
                for (std::size_t d = 0; d < D; ++d)
                    right[k][d] -= at(i, k) * right[i][d];
        return right;
    }

private:
    double& at(std::size_t row, std::size_t column) {
        return entry_[row * (band_ + 1) + band_ + column - row];
    }
    double at(std::size_t row, std::size_t column) const {
        return entry_[row * (band_ + 1) + band_ + column - row];
    }

    std::size_t size_;
    std::size_t band_;
    std::vector<double> entry_; ///< row by row, the diagonal last
};

} // namespace seamhold::detail

#endif
