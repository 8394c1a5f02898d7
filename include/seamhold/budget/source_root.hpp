#ifndef SEAMHOLD_BUDGET_SOURCE_ROOT_HPP
#define SEAMHOLD_BUDGET_SOURCE_ROOT_HPP

#include "seamhold/budget/error_source.hpp"

#include <Eigen/Dense>

#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

/// Roots of the covariances of sources: how deviations are carried, and how errors are drawn.
namespace seamhold {

namespace detail {

/// One column of a root of a covariance, trimmed to what is not 0: the error numbers from `first` on move by
/// these factors times a number of variance 1.
struct ErrorColumn {
    std::size_t first;
    std::size_t count;
    std::array<double, 6> factors;

    /// What it does by sensitivities to the error numbers.
    double through(std::array<double, error_numbers> const& by) const {
        double sum = 0;
        for (std::size_t i = 0; i < count; ++i)
            sum += by[first + i] * factors[i];
        return sum;
    }

    /// Adds `times` of it to error numbers.
    void add_to(ErrorNumbers<>& e, double times) const {
        for (std::size_t i = 0; i < count; ++i)
            e[first + i] += times * factors[i];
    }
};

/// The root of a checked source's covariance, without columns of zeros. A diagonal covariance keeps its
/// numbers apart; any other goes by the eigenvectors of its correlations.
inline std::vector<ErrorColumn> root_of(ErrorSource const& source) {
    auto const n = static_cast<Eigen::Index>(source.place.count);
    Eigen::VectorXd deviations(n);
    for (Eigen::Index i = 0; i < n; ++i)
        deviations(i) = source.deviation_of(static_cast<std::size_t>(i));
    Eigen::MatrixXd root = deviations.asDiagonal();
    if (!source.covariance.isDiagonal(0)) {
        Eigen::VectorXd const inverse = deviations.unaryExpr([](double s) { return s > 0 ? 1 / s : 0.0; });
        Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> const solver(
            Eigen::MatrixXd(inverse.asDiagonal() * source.covariance * inverse.asDiagonal()));
        Eigen::VectorXd const roots =
            solver.eigenvalues().unaryExpr([](double x) { return x > 1e-12 ? std::sqrt(x) : 0.0; });
        root = deviations.asDiagonal() * (solver.eigenvectors() * roots.asDiagonal());
    }
    std::vector<ErrorColumn> columns;
    for (Eigen::Index k = 0; k < n; ++k) {
        Eigen::Index first = 0, end = n;
        while (first < end && root(first, k) == 0)
            ++first;
        while (end > first && root(end - 1, k) == 0)
            --end;
        if (first == end)
            continue;
        ErrorColumn column{
            source.place.first + static_cast<std::size_t>(first), static_cast<std::size_t>(end - first), {}};
        for (Eigen::Index i = first; i < end; ++i)
            column.factors[static_cast<std::size_t>(i - first)] = root(i, k);
        columns.push_back(column);
    }
    return columns;
}

/// Checked sources with the roots of their covariances.
struct RootedSource {
    ErrorSource source;
    std::vector<ErrorColumn> root; ///< numbers = mean + Σ column · (independent number of variance 1)
};

/// Checks sources and takes roots. Throws BadInput for none, and for a name that stands twice.
inline std::vector<RootedSource> rooted(std::vector<ErrorSource> const& sources) {
    if (sources.empty())
        throw BadInput("a budget needs one error source or more");
    std::vector<RootedSource> result;
    for (auto const& source : sources) {
        for (auto const& other : result)
            if (other.source.name == source.name)
                throw BadInput("two error sources are named " + source.name);
        result.push_back({checked(source), root_of(source)});
    }
    return result;
}

} // namespace detail

} // namespace seamhold

#endif
