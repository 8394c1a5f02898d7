#include "seamhold/statistics/robust_fit.hpp"

#include "seamhold/statistics/robust_line.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

using namespace seamhold;
using test::Random;

namespace {

// A bent model with random columns: y = v + v² / 20, v = A x.
struct Cell {
    Eigen::Index count, k;
    Eigen::MatrixXd columns;
    Eigen::VectorXd truth, start, y;

    Cell(Random& random, Eigen::Index observations, Eigen::Index rows, Eigen::Index unknowns, double noise)
        : count(observations), k(rows), columns(observations * rows, unknowns), truth(unknowns),
          start(unknowns) {
        for (double& value : columns.reshaped())
            value = random.normal();
        for (double& value : truth)
            value = random.normal();
        for (Eigen::Index i = 0; i < unknowns; ++i)
            start(i) = truth(i) + 0.05 * random.normal();
        y = value_of(columns * truth);
        for (double& value : y)
            value += noise * random.normal();
    }
    static Eigen::VectorXd value_of(Eigen::VectorXd const& v) { return v + 0.05 * v.cwiseAbs2(); }
    Linearised rows(Eigen::VectorXd const& x) const {
        Eigen::VectorXd const v = columns * x;
        Eigen::VectorXd const slope = -(1 + 0.1 * v.array());
        return {y - value_of(v), slope.asDiagonal() * columns};
    }
    RobustFit<Eigen::VectorXd> robust(RobustOptions const& options = {}) const {
        return robust_least_squares(
            start, [this](Eigen::VectorXd const& x) { return rows(x); }, moved, static_cast<int>(k), options);
    }
    LeastSquaresFit<Eigen::VectorXd> without(std::vector<std::size_t> const& left_out) const {
        Eigen::VectorXd weights = Eigen::VectorXd::Ones(y.size());
        for (std::size_t const i : left_out)
            weights.segment(static_cast<Eigen::Index>(i) * k, k).setZero();
        return least_squares(
            start, [this](Eigen::VectorXd const& x) { return rows(x); }, moved, {}, weights);
    }
    static Eigen::VectorXd moved(Eigen::VectorXd const& x, Eigen::VectorXd const& step) { return x + step; }
};

// Moves some observations by a length in a random direction each, or all in the same; says which.
std::vector<std::size_t> spoil(Cell& cell, Random& random, std::size_t how_many, double length, bool alike) {
    std::vector<std::size_t> which;
    Eigen::VectorXd by(cell.k);
    while (which.size() < how_many) {
        std::size_t const i = random.index(static_cast<std::size_t>(cell.count));
        if (std::find(which.begin(), which.end(), i) != which.end())
            continue;
        if (which.empty() || !alike) {
            for (double& value : by)
                value = random.normal();
            by *= length / by.norm();
        }
        cell.y.segment(static_cast<Eigen::Index>(i) * cell.k, cell.k) += by;
        which.push_back(i);
    }
    std::sort(which.begin(), which.end());
    return which;
}

struct Size {
    Eigen::Index observations, rows, unknowns;
};

} // namespace

TEST_CASE("one gross outlier in ten is named and does not bend the result") {
    Random random(8);
    double const noise = 1e-5;
    for (Size const size : {Size{10, 2, 4}, Size{20, 2, 6}, Size{30, 3, 12}, Size{50, 1, 3}})
        for (double const length : {20.0, 100.0, 1e4, 1e6})
            for (bool const alike : {false, true}) {
                int missed = 0, more = 0;
                int const trials = 40;
                for (int trial = 0; trial < trials; ++trial) {
                    Cell cell(random, size.observations, size.rows, size.unknowns, noise);
                    auto const spoilt = spoil(cell, random, static_cast<std::size_t>(size.observations / 10),
                                              length * noise, alike);
                    auto const fit = cell.robust();
                    auto const named = fit.outliers();
                    if (!std::includes(named.begin(), named.end(), spoilt.begin(), spoilt.end())) {
                        ++missed;
                        continue;
                    }
                    more += named != spoilt ? 1 : 0;
                    auto const clean = cell.without(named);
                    // Both end within 1e-9 of their deviations.
                    double const deviation = std::sqrt(clean.covariance().diagonal().maxCoeff());
                    CHECK((fit.fit.state - clean.state).norm() < 1e-7 * deviation);
                    CHECK(fit.fit.degrees_of_freedom == clean.degrees_of_freedom);
                    CHECK(std::abs(fit.fit.deviation() / clean.deviation() - 1) < 1e-9);
                }
                CAPTURE(size.observations);
                CAPTURE(length);
                CAPTURE(alike);
                CHECK(missed == 0);
                CHECK(more <= 3); // 1 % of the sets lose a clean one too
            }
}

TEST_CASE("an outlier of 10 deviations is named nearly always") {
    Random random(9);
    int missed = 0;
    int const trials = 400;
    for (int trial = 0; trial < trials; ++trial) {
        Cell cell(random, 20, 2, 6, 1e-5);
        auto const spoilt = spoil(cell, random, 2, 1e-4, trial % 2 == 0);
        auto const named = cell.robust().outliers();
        missed += std::includes(named.begin(), named.end(), spoilt.begin(), spoilt.end()) ? 0 : 1;
    }
    CHECK(missed <= trials / 100);
}

TEST_CASE("clean noise loses next to nothing, and intervals cover as often as they say") {
    Random random(10);
    int const trials = 2000;
    int alarms = 0;
    int covered[4] = {0, 0, 0, 0};
    double squares = 0;
    for (int trial = 0; trial < trials; ++trial) {
        Cell const cell(random, 12, 2, 4, 1e-3);
        auto const fit = cell.robust();
        alarms += fit.outliers().empty() ? 0 : 1;
        Eigen::VectorXd const deviations = fit.fit.covariance().diagonal().cwiseSqrt();
        double const t = student_quantile(0.975, fit.fit.degrees_of_freedom);
        for (Eigen::Index k = 0; k < 4; ++k)
            covered[k] += std::abs(fit.fit.state(k) - cell.truth(k)) < t * deviations(k) ? 1 : 0;
        squares += sqr(fit.fit.deviation() / 1e-3);
    }
    CHECK(alarms / static_cast<double>(trials) < 0.02); // 0.01 and four of its standard deviations
    CHECK(alarms > 0);
    for (int const count : covered) {
        CHECK(count / static_cast<double>(trials) > 0.93);
        CHECK(count / static_cast<double>(trials) < 0.97);
    }
    // A cut of good data would make the deviation small. The mean of 2000 with 20 degrees is good to 0.7 %.
    CHECK(std::abs(squares / trials - 1) < 0.028);
}

TEST_CASE("rounding is no outlier") {
    Random random(11);
    for (Size const size : {Size{10, 2, 6}, Size{40, 2, 9}, Size{20, 1, 3}})
        for (int trial = 0; trial < 200; ++trial) {
            Cell const cell(random, size.observations, size.rows, size.unknowns, 0);
            auto const fit = cell.robust();
            CHECK(fit.outliers().empty());
            CHECK((fit.fit.state - cell.truth).norm() < 1e-11);
        }
}

TEST_CASE("a known deviation judges where few observations cannot") {
    Random random(12);
    RobustOptions options;
    options.deviation = 1e-5;
    int named = 0;
    for (int trial = 0; trial < 100; ++trial) {
        Cell cell(random, 6, 2, 4, 1e-5);
        auto const spoilt = spoil(cell, random, 1, 2e-3, false);
        named += cell.robust(options).outliers() == spoilt ? 1 : 0;
        // Twice the noise that is known is no outlier.
        Cell const clean(random, 6, 2, 4, 1e-5);
        CHECK(clean.robust(options).outliers().size() <= 1);
    }
    CHECK(named >= 90);
}

TEST_CASE("prior rows always count") {
    // One unknown measured as 1 by five rows and 100 by one, and said to be 3 beforehand with the weight of a
    // row: (5 · 1 + 3) / 6 without the outlier (by hand).
    Eigen::VectorXd y(7);
    y << 1, 1.01, 0.99, 100, 1.02, 0.98, 3;
    RobustOptions options;
    options.prior_rows = 1;
    options.deviation = 0.5;
    auto const fit = robust_least_squares(
        Eigen::VectorXd(Eigen::VectorXd::Zero(1)),
        [&](Eigen::VectorXd const& x) {
            return Linearised{(y.array() - x(0)).matrix(), Eigen::MatrixXd(-Eigen::VectorXd::Ones(7))};
        },
        Cell::moved, 1, options);
    CHECK(fit.outliers() == std::vector<std::size_t>{3});
    CHECK(std::abs(fit.fit.state(0) - 8.0 / 6) < 1e-14);
    CHECK(fit.outlier.size() == 6);
}

TEST_CASE("the unit of the rows does not matter") {
    Random random(13);
    Cell cell(random, 20, 2, 6, 1e-5);
    auto const spoilt = spoil(cell, random, 2, 1e-3, true);
    auto const metres = cell.robust();
    auto const millimetres = robust_least_squares(
        cell.start,
        [&](Eigen::VectorXd const& x) {
            auto rows = cell.rows(x);
            rows.residuals *= 1000;
            rows.jacobian *= 1000;
            return rows;
        },
        Cell::moved, 2);
    CHECK(metres.outliers() == spoilt);
    CHECK(millimetres.outlier == metres.outlier);
    CHECK((millimetres.fit.state - metres.fit.state).norm() < 1e-13);
}

TEST_CASE("rows that make no observations are refused") {
    Random random(14);
    Cell const cell(random, 10, 2, 3, 1e-5);
    auto const rows = [&](Eigen::VectorXd const& x) { return cell.rows(x); };
    CHECK_THROWS_WITH_AS(robust_least_squares(cell.start, rows, Cell::moved, 3),
                         "observations of 3 rows and 0 prior rows do not make 20", BadInput);
    CHECK_THROWS_AS(robust_least_squares(cell.start, rows, Cell::moved, 0), BadInput);
    Cell const few(random, 1, 2, 3, 1e-5);
    CHECK_THROWS_AS(few.robust(), BadInput);
}

TEST_CASE("a line names its outliers, wherever they stand") {
    Random random(15);
    for (std::size_t const place : {0U, 5U, 9U})
        for (double const size : {30.0, 1e3, 1e6, -1e6})
            for (int trial = 0; trial < 20; ++trial) {
                std::vector<LinePoint> points, clean;
                for (int i = 0; i < 10; ++i)
                    points.push_back({1e6 + i, 3 + 0.2 * i + random.normal(), i % 2 == 0 ? 1.0 : 0.25});
                clean = points;
                points[place].y += size * 2;
                clean[place].weight = 0;
                auto const fit = fit_line_robust(points);
                CHECK(fit.outlier[place]);
                if (std::count(fit.outlier.begin(), fit.outlier.end(), true) == 1) {
                    auto const plain = fit_line(clean);
                    CHECK(fit.line.slope == plain.slope);
                    CHECK(fit.line.deviation == plain.deviation);
                }
            }
    // Exact lines with rounded values have none.
    std::vector<LinePoint> exact;
    for (int i = 0; i < 12; ++i)
        exact.push_back({0.1 * i, 1e6 + 0.7 * (0.1 * i)});
    auto const fit = fit_line_robust(exact);
    CHECK(std::count(fit.outlier.begin(), fit.outlier.end(), true) == 0);
    exact[7].y += 1e-3;
    CHECK(fit_line_robust(exact).outlier[7]);
}
