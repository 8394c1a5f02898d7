#include "seamhold/statistics/least_squares.hpp"

#include <doctest/doctest.h>

using seamhold::Linearised;

TEST_CASE("least squares of a straight line are those worked out by hand") {
    // Points (0, 1), (1, 3), (2, 4), (3, 6): slope 8/5, intercept 11/10, sum of squares 1/5 (by hand).
    auto const rows = [](Eigen::Vector2d const& line) {
        Eigen::Vector4d const x(0, 1, 2, 3), y(1, 3, 4, 6);
        Eigen::MatrixXd j(4, 2);
        j << Eigen::Vector4d::Ones(), x;
        return Linearised{line(0) * Eigen::Vector4d::Ones() + line(1) * x - y, j};
    };
    auto const moved = [](Eigen::Vector2d const& line, Eigen::VectorXd const& step) {
        return Eigen::Vector2d(line + step);
    };
    auto const fit = seamhold::least_squares(Eigen::Vector2d(0, 0), rows, moved);
    CHECK(std::abs(fit.state(0) - 1.1) < 1e-14);
    CHECK(std::abs(fit.state(1) - 1.6) < 1e-14);
    CHECK(std::abs(fit.sum_of_squares - 0.2) < 1e-14);
    CHECK(fit.degrees_of_freedom == 2);
    CHECK(fit.determined);
    CHECK(fit.converged);
    // s² = 0.1; variance of the slope s²/Sxx = 0.1/5, of the intercept 0.1 (1/4 + 1.5²/5) (by hand).
    CHECK(std::abs(fit.covariance()(1, 1) - 0.02) < 1e-14);
    CHECK(std::abs(fit.covariance()(0, 0) - 0.07) < 1e-14);
}
