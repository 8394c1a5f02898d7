#include "seamhold/statistics/line_fit.hpp"
#include "seamhold/statistics/linear_model.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <stdexcept>
#include <string>
#include <vector>

// Linear regression against NIST's Statistical Reference Datasets. The certified values have 15 digits.

namespace {

struct Set {
    std::string name;
    Eigen::MatrixXd columns;
    Eigen::VectorXd x; // of polynomials
    Eigen::VectorXd y;
    Eigen::VectorXd certified;
    Eigen::VectorXd deviations;
    std::string sum;
    std::string r_squared;
};

std::vector<Set> nist_sets() {
    std::ifstream file(SEAMHOLD_SOURCE_DIR "/tests/outside/data/nist_linear.txt");
    std::vector<Set> sets;
    std::string word;
    while (file >> word) {
        if (word == "#") {
            std::getline(file, word);
            continue;
        }
        Set set;
        std::string kind;
        Eigen::Index parameters = 0, predictors = 0, observations = 0;
        file >> set.name >> kind >> parameters >> predictors >> observations;
        set.certified.resize(parameters);
        set.deviations.resize(parameters);
        for (Eigen::Index k = 0; k < parameters; ++k)
            file >> word >> set.certified(k) >> set.deviations(k);
        file >> word >> set.sum >> word >> set.r_squared;
        set.columns.resize(observations, parameters);
        set.y.resize(observations);
        set.x.resize(observations);
        for (Eigen::Index i = 0; i < observations; ++i) {
            file >> set.y(i);
            Eigen::VectorXd x(predictors);
            for (Eigen::Index k = 0; k < predictors; ++k)
                file >> x(k);
            set.x(i) = x(0);
            if (kind == "polynomial")
                for (Eigen::Index k = 0; k < parameters; ++k)
                    set.columns(i, k) = std::pow(x(0), static_cast<double>(k));
            else if (kind == "plain")
                set.columns.row(i) = x.transpose();
            else
                set.columns.row(i) << 1, x.transpose();
        }
        if (!file)
            throw std::runtime_error("cannot read the data of " + set.name);
        sets.push_back(set);
    }
    return sets;
}

Set nist_set(std::string const& name) {
    for (Set const& set : nist_sets())
        if (set.name == name)
            return set;
    throw std::runtime_error("no set " + name);
}

double digits(double value, double certified) {
    return value == certified ? 15.5 : -std::log10(std::abs(value - certified) / std::abs(certified));
}

// The fewest digits in which the numbers agree.
double digits(Eigen::VectorXd const& values, Eigen::VectorXd const& certified) {
    double fewest = 15.5;
    for (Eigen::Index k = 0; k < values.size(); ++k)
        fewest = std::min(fewest, digits(values(k), certified(k)));
    return fewest;
}

} // namespace

TEST_CASE("NIST's linear sets are met by fit_linear") {
    auto const sets = nist_sets();
    REQUIRE(sets.size() == 11);
    for (Set const& set : sets) {
        auto const fit = seamhold::fit_linear(set.columns, set.y);
        INFO(set.name << ": digits of coefficients " << digits(fit.coefficients, set.certified));
        // x to the 10th is rounded already as a column: that alone moves Filip's coefficients by 1e-8.
        CHECK(digits(fit.coefficients, set.certified) > (set.name == "Filip" ? 7 : 13));
        CHECK(fit.degrees_of_freedom == static_cast<double>(set.y.size() - set.certified.size()));
        bool const exact = set.sum == "0";
        if (exact) { // Wampler1 and 2: the values lie on the polynomial
            CHECK(fit.deviation < 1e-14 * set.y.cwiseAbs().maxCoeff());
        } else {
            INFO("digits of deviations " << digits(fit.deviations, set.deviations));
            CHECK(digits(fit.deviations, set.deviations) > (set.name == "Filip" ? 7 : 12.5));
            if (set.sum != "-") {
                INFO("digits of the sum " << digits(fit.sum_of_squares, std::stod(set.sum)));
                CHECK(digits(fit.sum_of_squares, std::stod(set.sum)) > (set.name == "Filip" ? 8.5 : 13));
            }
        }
        if (set.r_squared != "-") {
            INFO("digits of R² " << digits(fit.r_squared, std::stod(set.r_squared)));
            CHECK(digits(fit.r_squared, std::stod(set.r_squared)) > 14);
        }
    }
}

TEST_CASE("NIST's straight line, Norris, is met by fit_line to 12 digits and more") {
    Set const set = nist_set("Norris");
    std::vector<seamhold::LinePoint> points;
    for (Eigen::Index i = 0; i < set.y.size(); ++i)
        points.push_back({set.x(i), set.y(i)});
    auto const fit = seamhold::fit_line(points);
    // The intercept is 430 less 430.3 of the means: 3 digits go.
    CHECK(digits(fit.intercept, set.certified(0)) > 12);
    CHECK(digits(fit.slope, set.certified(1)) > 13);
    CHECK(digits(fit.intercept_deviation, set.deviations(0)) > 13);
    CHECK(digits(fit.slope_deviation, set.deviations(1)) > 13);
    CHECK(digits(fit.sum_of_squares, std::stod(set.sum)) > 13);
    CHECK(digits(fit.r_squared, std::stod(set.r_squared)) > 14);
    CHECK(digits(fit.f, 5436385.54079785) > 13); // certified, as quoted by SciPy's tests
    CHECK(fit.degrees_of_freedom == 34);
}

TEST_CASE("NIST's polynomials are met by fit_polynomial, Filip to its last digits") {
    for (std::string const name : {"Norris", "Pontius", "Filip", "Wampler1", "Wampler2", "Wampler3"}) {
        Set const set = nist_set(name);
        auto const fit = seamhold::fit_polynomial(set.x, set.y, static_cast<int>(set.certified.size()) - 1);
        INFO(name << ": digits of coefficients " << digits(fit.coefficients(), set.certified)
                  << ", of the sum " << digits(fit.model.sum_of_squares, std::stod(set.sum)));
        // Wampler's coefficients of t are 1e5 times those of x.
        CHECK(digits(fit.coefficients(), set.certified) > (name.rfind("Wampler", 0) == 0 ? 10 : 12.5));
        if (set.sum != "0")
            CHECK(digits(fit.model.sum_of_squares, std::stod(set.sum)) > 12);
    }
}
