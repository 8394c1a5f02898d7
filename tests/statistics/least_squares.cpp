#include "seamhold/statistics/least_squares.hpp"

#include "support/random.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>

using seamhold::BadInput;
using seamhold::least_squares;
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

namespace {

// A curve that bends: a (1 − exp(−b x)) at 20 places, with given disturbances.
struct Curve {
    Eigen::VectorXd x = Eigen::VectorXd::LinSpaced(20, 0.1, 4);
    Eigen::VectorXd y;

    explicit Curve(double noise) : y(20) {
        seamhold::test::Random random(77);
        for (Eigen::Index i = 0; i < 20; ++i)
            y(i) = 3 * (1 - std::exp(-0.7 * x(i))) + noise * random.normal();
    }
    Linearised operator()(Eigen::Vector2d const& state) const {
        Eigen::ArrayXd const decay = (-state(1) * x.array()).exp();
        Linearised rows{state(0) * (1 - decay).matrix() - y, Eigen::MatrixXd(20, 2)};
        rows.jacobian.col(0) = (1 - decay).matrix();
        rows.jacobian.col(1) = (state(0) * x.array() * decay).matrix();
        return rows;
    }
};

Eigen::Vector2d moved(Eigen::Vector2d const& state, Eigen::VectorXd const& step) { return state + step; }

} // namespace

TEST_CASE("without residuals the truth comes out to rounding, in few steps") {
    Curve const curve(0);
    auto const fit = least_squares(Eigen::Vector2d(1, 0.2), curve, moved);
    CHECK(fit.converged);
    CHECK(fit.steps < 20);
    // Values of 3 are rounded to 2e-16; the weaker direction of the scaled Jacobian is 0.2.
    CHECK((fit.state - Eigen::Vector2d(3, 0.7)).norm() < 1e-14);
    CHECK(fit.sum_of_squares < 20 * 1e-31);
}

TEST_CASE("at the solution the residuals stand square to what can change them") {
    Curve const curve(0.05);
    auto const fit = least_squares(Eigen::Vector2d(1, 0.2), curve, moved);
    Eigen::VectorXd const slopes = fit.jacobian.transpose() * fit.residuals;
    for (Eigen::Index k = 0; k < 2; ++k)
        CHECK(std::abs(slopes(k)) < 1e-9 * fit.jacobian.col(k).norm() * fit.residuals.norm());
    CHECK(fit.determined);
    CHECK(fit.degrees_of_freedom == 18);
    // The inverse of the normal matrix, by itself.
    Eigen::Matrix2d const normal = fit.jacobian.transpose() * fit.jacobian;
    CHECK((fit.unit_covariance * normal - Eigen::Matrix2d::Identity()).norm() < 1e-12);
}

TEST_CASE("units do not matter, step by step") {
    Curve const curve(0.05);
    auto const fit = least_squares(Eigen::Vector2d(1, 0.2), curve, moved);
    double const a = 0x1p20, b = 0x1p-13; // numbers in other units; exact factors, so that rounding agrees
    auto const other = least_squares(
        Eigen::Vector2d(1 * a, 0.2 * b),
        [&](Eigen::Vector2d const& state) {
            auto rows = curve(Eigen::Vector2d(state(0) / a, state(1) / b));
            rows.residuals *= 1024;
            rows.jacobian.col(0) *= 1024 / a;
            rows.jacobian.col(1) *= 1024 / b;
            return rows;
        },
        moved);
    CHECK(other.steps == fit.steps);
    CHECK(std::abs(other.state(0) / a - fit.state(0)) < 1e-13);
    CHECK(std::abs(other.state(1) / b - fit.state(1)) < 1e-13);
    CHECK(std::abs(other.deviation() / 1024 - fit.deviation()) < 1e-14);
    CHECK((other.singular_values - fit.singular_values).norm() < 1e-13);
}

TEST_CASE("a weight counts as so many rows, and 0 leaves a row out") {
    Curve curve(0.05);
    Eigen::VectorXd weights = Eigen::VectorXd::Ones(20);
    weights(3) = 2;
    weights(7) = 0;
    curve.y(7) += 1e6;
    auto const weighted = least_squares(Eigen::Vector2d(1, 0.2), curve, moved, {}, weights);
    auto const repeated = least_squares(
        Eigen::Vector2d(1, 0.2),
        [&](Eigen::Vector2d const& state) {
            auto rows = curve(state);
            rows.residuals(7) = rows.residuals(3);
            rows.jacobian.row(7) = rows.jacobian.row(3);
            return rows;
        },
        moved);
    CHECK((weighted.state - repeated.state).norm() < 1e-10);
    CHECK(std::abs(weighted.sum_of_squares - repeated.sum_of_squares) < 1e-12);
    CHECK((weighted.unit_covariance - repeated.unit_covariance).norm() < 1e-10);
    CHECK(weighted.residuals(7) < -1e5); // said, though it does not count
}

TEST_CASE("a direction that the rows leave open is named, and the state stays there") {
    // Only the sum of the two numbers is measured.
    auto const rows = [](Eigen::Vector2d const& state) {
        return Linearised{Eigen::Vector3d(state.sum() - 1, state.sum() - 1.1, state.sum() - 0.9),
                          Eigen::MatrixXd::Ones(3, 2)};
    };
    auto const fit = least_squares(Eigen::Vector2d(5, 2), rows, moved);
    CHECK_FALSE(fit.determined);
    CHECK(std::abs(fit.state.sum() - 1) < 1e-12);
    CHECK(std::abs(fit.state(0) - fit.state(1) - 3) < 1e-6);
    // A unit step of columns of length one, in the columns' own units: √½ / √3 each.
    CHECK(std::abs(std::abs(fit.weakest(0)) - std::sqrt(1.0 / 6)) < 1e-9);
    CHECK(std::abs(fit.weakest(0) + fit.weakest(1)) < 1e-9);
    // And one that does nothing at all.
    auto const idle = [](Eigen::Vector2d const& state) {
        Eigen::MatrixXd jacobian = Eigen::MatrixXd::Zero(3, 2);
        jacobian.col(0).setOnes();
        return Linearised{Eigen::Vector3d(state(0) - 1, state(0) - 2, state(0) - 3), jacobian};
    };
    auto const half = least_squares(Eigen::Vector2d(5, 2), idle, moved);
    CHECK_FALSE(half.determined);
    CHECK(half.state(1) == 2);
    CHECK(std::abs(half.state(0) - 2) < 1e-12);
}

// 2026-11-27: with some damping left, residuals that vanish fell by a tenth a step for ever, and it was
// called not converged.
TEST_CASE("steps to where nothing is finite are taken back") {
    // √x of a number that the first step makes negative: x from 4 towards 0.01.
    auto const rows = [](Eigen::Vector2d const& state) {
        double const root = std::sqrt(state(0));
        Eigen::MatrixXd jacobian(3, 2);
        jacobian << 0.5 / root, 0, 0.5 / root, 1, 0, 1;
        return Linearised{Eigen::Vector3d(root - 0.1, root + state(1) - 0.1, state(1)), jacobian};
    };
    auto const fit = least_squares(Eigen::Vector2d(4, 1), rows, moved);
    CHECK(fit.converged);
    CHECK(fit.steps < 40);
    CHECK(std::abs(fit.state(0) - 0.01) < 1e-12);
}

TEST_CASE("as many rows as unknowns are met exactly, with no deviation known") {
    auto const rows = [](Eigen::Vector2d const& state) {
        Eigen::MatrixXd jacobian(2, 2);
        jacobian << 1, 1, 1, -1;
        return Linearised{Eigen::Vector2d(state(0) + state(1) - 3, state(0) - state(1) - 1), jacobian};
    };
    auto const fit = least_squares(Eigen::Vector2d(0, 0), rows, moved);
    CHECK((fit.state - Eigen::Vector2d(2, 1)).norm() < 1e-15);
    CHECK(fit.degrees_of_freedom == 0);
    CHECK(fit.deviation() == 0);
}

TEST_CASE("what cannot be solved is refused") {
    double const nan = std::numeric_limits<double>::quiet_NaN();
    Curve const curve(0.05);
    Eigen::Vector2d const start(1, 0.2);
    Eigen::VectorXd weights = Eigen::VectorXd::Zero(20);
    weights(0) = 1;
    CHECK_THROWS_WITH_AS(least_squares(start, curve, moved, {}, weights),
                         "least squares for 2 unknowns need as many rows or more; given 1", BadInput);
    weights(1) = -1;
    CHECK_THROWS_AS(least_squares(start, curve, moved, {}, weights), BadInput);
    weights(1) = nan;
    CHECK_THROWS_AS(least_squares(start, curve, moved, {}, weights), BadInput);
    CHECK_THROWS_AS(least_squares(start, curve, moved, {}, Eigen::VectorXd::Ones(3)), BadInput);
    CHECK_THROWS_AS(least_squares(Eigen::Vector2d(1, nan), curve, moved), BadInput);
    auto const torn = [](Eigen::Vector2d const&) {
        return Linearised{Eigen::VectorXd::Ones(3), Eigen::MatrixXd::Ones(4, 2)};
    };
    CHECK_THROWS_AS(least_squares(start, torn, moved), BadInput);
}

TEST_CASE("a search that is cut short says so") {
    seamhold::LeastSquaresOptions options;
    options.most_steps = 2;
    auto const fit = least_squares(Eigen::Vector2d(1, 0.2), Curve(0.05), moved, options);
    CHECK_FALSE(fit.converged);
    CHECK(fit.steps == 2);
}
