#include "seamhold/statistics/linear_model.hpp"
#include "seamhold/statistics/line_fit.hpp"

#include "support/random.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <vector>

using namespace seamhold;

TEST_CASE("a linear model with a constant and one column is a line") {
    test::Random random(3);
    Eigen::MatrixXd columns(9, 2);
    Eigen::VectorXd y(9), weights(9);
    std::vector<LinePoint> points;
    for (Eigen::Index i = 0; i < 9; ++i) {
        double const x = random.uniform(2, 5);
        columns.row(i) << 1, x;
        y(i) = 3 - 2 * x + 0.1 * random.normal();
        weights(i) = i == 4 ? 0 : random.uniform(0.5, 2);
        points.push_back({x, y(i), weights(i)});
    }
    auto const model = fit_linear(columns, y, weights);
    auto const line = fit_line(points);
    CHECK(std::abs(model.coefficients(0) - line.intercept) < 1e-13);
    CHECK(std::abs(model.coefficients(1) - line.slope) < 1e-13);
    CHECK(std::abs(model.deviations(0) - line.intercept_deviation) < 1e-13);
    CHECK(std::abs(model.deviations(1) - line.slope_deviation) < 1e-13);
    CHECK(std::abs(model.covariance()(0, 1) - line.covariance) < 1e-13);
    CHECK(std::abs(model.r_squared - line.r_squared) < 1e-13);
    CHECK(std::abs(model.f / line.f - 1) < 1e-12);
    CHECK(std::abs(model.residuals(4) - line.residuals[4]) < 1e-13);
    Eigen::Vector2d const row(1, 3.3);
    CHECK(std::abs(model.confidence(row, 0.9).low - line.confidence(3.3, 0.9).low) < 1e-12);
    CHECK(std::abs(model.prediction(row, 0.9, 3).high - line.prediction(3.3, 0.9, 3).high) < 1e-12);
}

TEST_CASE("a model's coefficients are recovered, and units do not matter") {
    test::Random random(4);
    Eigen::MatrixXd columns(30, 4);
    for (Eigen::Index i = 0; i < 30; ++i)
        for (Eigen::Index k = 0; k < 4; ++k)
            columns(i, k) = random.normal();
    Eigen::Vector4d const truth(1, -2, 0.5, 3);
    Eigen::VectorXd const y = columns * truth;
    CHECK((fit_linear(columns, y).coefficients - truth).norm() < 1e-14);
    Eigen::Vector4d const units(1e-6, 1e6, 1e-3, 1e9);
    auto const scaled = fit_linear(columns * units.asDiagonal(), y);
    CHECK((scaled.coefficients.cwiseProduct(units) - truth).norm() < 1e-13);
}

TEST_CASE("the stated deviations of a model are those of its errors") {
    test::Random random(5);
    Eigen::MatrixXd columns(12, 3);
    for (Eigen::Index i = 0; i < 12; ++i)
        columns.row(i) << 1, static_cast<double>(i), random.normal();
    Eigen::Vector3d const truth(1, 2, 3);
    int covered[3] = {0, 0, 0}, predicted = 0;
    int const trials = 3000;
    double const t = student_quantile(0.975, 9);
    for (int trial = 0; trial < trials; ++trial) {
        Eigen::VectorXd y = columns * truth;
        for (double& value : y)
            value += 0.3 * random.normal();
        auto const fit = fit_linear(columns, y);
        for (int k = 0; k < 3; ++k)
            covered[k] += std::abs(fit.coefficients(k) - truth(k)) < t * fit.deviations(k) ? 1 : 0;
        Eigen::Vector3d const row(1, 14, -1);
        predicted += fit.prediction(row).contains(row.dot(truth) + 0.3 * random.normal()) ? 1 : 0;
    }
    // Four standard deviations of a share of 0.95 in 3000: 0.016.
    for (int const count : covered)
        CHECK(std::abs(count / static_cast<double>(trials) - 0.95) < 0.016);
    CHECK(std::abs(predicted / static_cast<double>(trials) - 0.95) < 0.016);
}

TEST_CASE("a polynomial is met, and says its coefficients in x") {
    // 1 − 2 x + 3 x² − x³ at places far from 0.
    Eigen::VectorXd x(8), y(8);
    for (Eigen::Index i = 0; i < 8; ++i) {
        x(i) = 10 + 0.5 * static_cast<double>(i);
        y(i) = 1 + x(i) * (-2 + x(i) * (3 - x(i)));
    }
    auto const fit = fit_polynomial(x, y, 3);
    Eigen::Vector4d const truth(1, -2, 3, -1);
    // The values are rounded to 1e-13 of 1000; from 10 to 13.5 back to 0 is 8 half widths, to the third
    // power.
    CHECK((fit.coefficients() - truth).norm() < 1e-8);
    CHECK(std::abs(fit.at(11.2) - (1 + 11.2 * (-2 + 11.2 * (3 - 11.2)))) < 1e-11);
    CHECK(fit.confidence(11.2).half_width() < 1e-10);
    auto const constant = fit_polynomial(x, Eigen::VectorXd::Constant(8, 4), 0);
    CHECK(constant.at(3) == 4);
}

TEST_CASE("what determines no model is refused, with the column") {
    Eigen::MatrixXd columns(4, 2);
    columns << 1, 2, 1, 2, 1, 2, 1, 2;
    Eigen::Vector4d y(1, 2, 3, 4);
    CHECK_THROWS_WITH_AS(fit_linear(columns, y),
                         "column 2 of a linear fit depends on those before it, to rounding", BadInput);
    columns.col(1).setZero();
    CHECK_THROWS_WITH_AS(fit_linear(columns, y), "column 2 of a linear fit is 0", BadInput);
    columns.col(1) << 1, 2, 3, 5;
    CHECK_NOTHROW(fit_linear(columns, y));
    CHECK_THROWS_AS(fit_linear(columns.topRows(2), y.head(2)), BadInput);
    CHECK_THROWS_AS(fit_linear(columns, y.head(3)), BadInput);
    CHECK_THROWS_AS(fit_linear(columns, y, Eigen::Vector3d(1, 1, 1)), BadInput);
    CHECK_THROWS_AS(fit_linear(columns, y, Eigen::Vector4d(1, 1, 1, -1)), BadInput);
    CHECK_THROWS_AS(fit_linear(columns, y, Eigen::Vector4d(1, 1, 0, 0)), BadInput);
    columns(2, 1) = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(fit_linear(columns, y), BadInput);
    CHECK_THROWS_AS(fit_polynomial(Eigen::Vector3d(1, 2, 2), Eigen::Vector3d(1, 2, 3), 2), BadInput);
    CHECK_THROWS_AS(fit_polynomial(Eigen::Vector4d(1, 2, 2, 1), y, 2), BadInput);
    CHECK_THROWS_AS(fit_polynomial(y, y, -1), BadInput);
}
