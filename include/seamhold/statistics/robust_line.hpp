#ifndef SEAMHOLD_STATISTICS_ROBUST_LINE_HPP
#define SEAMHOLD_STATISTICS_ROBUST_LINE_HPP

#include "seamhold/statistics/line_fit.hpp"
#include "seamhold/statistics/robust_fit.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace seamhold {

/// The line through the points that agree, and those that do not.
struct RobustLine {
    LineFit line;              ///< of the kept points; the residuals of the others are from it too
    std::vector<bool> outlier; ///< of each point
};

/// The line through points of which up to a quarter may be gross errors, see `robust_least_squares`. Throws
/// BadInput as `fit_line` does.
inline RobustLine fit_line_robust(std::vector<LinePoint> points, RobustOptions options = {}) {
    LineFit const first = fit_line(points); // checks, and centres
    auto const n = static_cast<Eigen::Index>(points.size());
    Eigen::MatrixXd jacobian(n, 2);
    Eigen::VectorXd y(n);
    for (Eigen::Index i = 0; i < n; ++i) {
        LinePoint const& p = points[static_cast<std::size_t>(i)];
        double const root = std::sqrt(p.weight);
        jacobian.row(i) << root, root * (p.x - first.centre);
        y(i) = root * (p.y - first.centre_y);
        // What was rounded in the values themselves.
        double const size = std::max(std::abs(p.y), std::abs(first.slope * p.x));
        options.rounding =
            std::max(options.rounding, 8 * std::numeric_limits<double>::epsilon() * root * size);
    }
    auto const robust = robust_least_squares(
        Eigen::Vector2d(0, first.slope),
        [&](Eigen::Vector2d const& line) {
            return Linearised{jacobian * line - y, jacobian};
        },
        [](Eigen::Vector2d const& line, Eigen::VectorXd const& step) { return Eigen::Vector2d(line + step); },
        1, options);
    for (std::size_t i = 0; i < points.size(); ++i)
        if (robust.outlier[i])
            points[i].weight = 0;
    return {fit_line(points), robust.outlier};
}

} // namespace seamhold

#endif
