#ifndef SEAMHOLD_CALIBRATE_FIT_KEPT_HPP
#define SEAMHOLD_CALIBRATE_FIT_KEPT_HPP

#include "seamhold/statistics/line_fit.hpp"
#include "seamhold/statistics/robust_fit.hpp"

#include <Eigen/Dense>

#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

// Fits of vectors with or without a search for outliers, as series, maps and trends use them.

namespace seamhold::detail {

/// A state of numbers moves by adding.
inline Eigen::VectorXd added(Eigen::VectorXd const& state, Eigen::VectorXd const& step) {
    return state + step;
}

/// `robust_least_squares` where outliers are looked for, `least_squares` where not.
template <class Of>
RobustFit<Eigen::VectorXd> fit_kept(Eigen::VectorXd const& start, Of const& linearised,
                                    int rows_per_observation, bool find_outliers) {
    if (find_outliers)
        return robust_least_squares(start, linearised, added, rows_per_observation);
    auto fit = least_squares(start, linearised, added);
    auto const count = static_cast<std::size_t>(fit.residuals.size() / rows_per_observation);
    return {std::move(fit), std::vector<bool>(count, false), 1};
}

/// A line, and which points were not used for it.
struct KeptLine {
    LineFit line;
    std::vector<bool> outlier;
};

/// The line through points of which a few may be off, from 8 points of a weight above 0 on.
inline KeptLine line_without_outliers(std::vector<LinePoint> points, bool find_outliers) {
    auto line = fit_line(points); // checks them
    std::vector<bool> outlier(points.size(), false);
    std::vector<std::size_t> used;
    for (std::size_t i = 0; i < points.size(); ++i)
        if (points[i].weight > 0)
            used.push_back(i);
    if (!find_outliers || used.size() < 8)
        return {std::move(line), std::move(outlier)};
    // About the middle and in the spread of x, so that dates since an epoch lose nothing.
    double const reach = std::sqrt(line.spread / line.weight);
    auto const rows = [&](Eigen::VectorXd const& state) {
        auto const n = static_cast<Eigen::Index>(used.size());
        Linearised all{Eigen::VectorXd(n), Eigen::MatrixXd(n, 2)};
        for (Eigen::Index k = 0; k < n; ++k) {
            auto const& p = points[used[static_cast<std::size_t>(k)]];
            double const root = std::sqrt(p.weight), u = (p.x - line.centre) / reach;
            all.residuals(k) = root * (p.y - line.centre_y - state(0) - state(1) * u);
            all.jacobian.row(k) << -root, -root * u;
        }
        return all;
    };
    auto const found = fit_kept(Eigen::Vector2d::Zero(), rows, 1, true);
    for (std::size_t k = 0; k < used.size(); ++k)
        if (found.outlier[k]) {
            outlier[used[k]] = true;
            points[used[k]].weight = 0;
        }
    return {fit_line(points), std::move(outlier)};
}

} // namespace seamhold::detail

#endif
