#include "seamhold/number/gradient.hpp"
#include "seamhold/statistics/least_squares.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <functional>
#include <map>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

// Least squares against NIST's Statistical Reference Datasets for nonlinear regression: all 27 sets, from
// both starts. The certified values have 11 digits. Derivatives are seamhold's own.

namespace {

using Number = seamhold::Gradient<double, 9>;
using seamhold::sqr;

constexpr double pi = 3.141592653589793238;

struct Parameter {
    double starts[2];
    double certified;
    double deviation;
};

struct Set {
    std::string name;
    std::vector<Parameter> parameters;
    double sum = 0;
    double deviation = 0;
    std::vector<double> y;
    std::vector<std::vector<double>> x;
};

std::vector<Set> nist_sets() {
    std::ifstream file(SEAMHOLD_SOURCE_DIR "/tests/outside/data/nist_nonlinear.txt");
    std::vector<Set> sets;
    std::string word;
    while (file >> word) {
        if (word == "#") {
            std::getline(file, word);
            continue;
        }
        std::size_t parameters = 0, predictors = 0, observations = 0;
        Set set;
        file >> set.name >> parameters >> predictors >> observations;
        for (std::size_t i = 0; i < parameters; ++i) {
            Parameter p{};
            file >> word >> p.starts[0] >> p.starts[1] >> p.certified >> p.deviation;
            set.parameters.push_back(p);
        }
        file >> word >> set.sum >> word >> set.deviation;
        for (std::size_t i = 0; i < observations; ++i) {
            double y = 0;
            std::vector<double> x(predictors);
            file >> y;
            for (double& value : x)
                file >> value;
            set.y.push_back(y);
            set.x.push_back(x);
        }
        if (!file)
            throw std::runtime_error("cannot read the data of " + set.name);
        sets.push_back(set);
    }
    return sets;
}

using Model = std::function<Number(Number const* b, std::vector<double> const& x)>;

// The models as the data sets give them.
Number exponential_rise(Number const* b, std::vector<double> const& x) {
    return b[0] * (1.0 - exp(-(b[1] * x[0])));
}
Number chwirut(Number const* b, std::vector<double> const& x) {
    return exp(-(b[0] * x[0])) / (b[1] + b[2] * x[0]);
}
Number lanczos(Number const* b, std::vector<double> const& x) {
    return b[0] * exp(-(b[1] * x[0])) + b[2] * exp(-(b[3] * x[0])) + b[4] * exp(-(b[5] * x[0]));
}
Number gauss(Number const* b, std::vector<double> const& x) {
    return b[0] * exp(-(b[1] * x[0])) + b[2] * exp(-(sqr(x[0] - b[3]) / sqr(b[4]))) +
           b[5] * exp(-(sqr(x[0] - b[6]) / sqr(b[7])));
}
Number cubic_ratio(Number const* b, std::vector<double> const& v) {
    double const x = v[0];
    return (b[0] + b[1] * x + b[2] * (x * x) + b[3] * (x * x * x)) /
           (1.0 + b[4] * x + b[5] * (x * x) + b[6] * (x * x * x));
}

std::map<std::string, Model> const models = {
    {"Misra1a", exponential_rise},
    {"BoxBOD", exponential_rise},
    {"Misra1b",
     [](Number const* b, std::vector<double> const& x) {
         return b[0] * (1.0 - pow(1.0 + b[1] * (x[0] / 2), -2));
     }},
    {"Misra1c",
     [](Number const* b, std::vector<double> const& x) {
         return b[0] * (1.0 - pow(1.0 + b[1] * (2 * x[0]), -0.5));
     }},
    {"Misra1d",
     [](Number const* b, std::vector<double> const& x) { return b[0] * b[1] * x[0] / (1.0 + b[1] * x[0]); }},
    {"Chwirut1", chwirut},
    {"Chwirut2", chwirut},
    {"Lanczos1", lanczos},
    {"Lanczos2", lanczos},
    {"Lanczos3", lanczos},
    {"Gauss1", gauss},
    {"Gauss2", gauss},
    {"Gauss3", gauss},
    {"Hahn1", cubic_ratio},
    {"Thurber", cubic_ratio},
    {"DanWood",
     [](Number const* b, std::vector<double> const& x) { return b[0] * exp(b[1] * std::log(x[0])); }},
    {"Kirby2",
     [](Number const* b, std::vector<double> const& v) {
         double const x = v[0];
         return (b[0] + b[1] * x + b[2] * (x * x)) / (1.0 + b[3] * x + b[4] * (x * x));
     }},
    {"Nelson", // of the logarithm of y
     [](Number const* b, std::vector<double> const& x) { return b[0] - b[1] * x[0] * exp(-(b[2] * x[1])); }},
    {"MGH17",
     [](Number const* b, std::vector<double> const& x) {
         return b[0] + b[1] * exp(-(b[3] * x[0])) + b[2] * exp(-(b[4] * x[0]));
     }},
    {"Roszman1",
     [](Number const* b, std::vector<double> const& x) {
         return b[0] - b[1] * x[0] - atan(b[2] / (x[0] - b[3])) / pi;
     }},
    {"ENSO",
     [](Number const* b, std::vector<double> const& v) {
         double const x = 2 * pi * v[0];
         return b[0] + b[1] * std::cos(x / 12) + b[2] * std::sin(x / 12) + b[4] * cos(x / b[3]) +
                b[5] * sin(x / b[3]) + b[7] * cos(x / b[6]) + b[8] * sin(x / b[6]);
     }},
    {"MGH09",
     [](Number const* b, std::vector<double> const& v) {
         double const x = v[0];
         return b[0] * (x * x + b[1] * x) / (x * x + b[2] * x + b[3]);
     }},
    {"Rat42",
     [](Number const* b, std::vector<double> const& x) { return b[0] / (1.0 + exp(b[1] - b[2] * x[0])); }},
    {"MGH10",
     [](Number const* b, std::vector<double> const& x) { return b[0] * exp(b[1] / (x[0] + b[2])); }},
    {"Eckerle4",
     [](Number const* b, std::vector<double> const& x) {
         return b[0] / b[1] * exp(-0.5 * sqr((x[0] - b[2]) / b[1]));
     }},
    {"Rat43",
     [](Number const* b, std::vector<double> const& x) {
         return b[0] / pow(1.0 + exp(b[1] - b[2] * x[0]), 1.0 / b[3]);
     }},
    {"Bennett5",
     [](Number const* b, std::vector<double> const& x) { return b[0] * pow(b[1] + x[0], -1.0 / b[2]); }},
};

double digits(double value, double certified) {
    return value == certified ? 15 : -std::log10(std::abs(value - certified) / std::abs(certified));
}

struct Agreement {
    double parameters = 15, deviations = 15, sum = 15, deviation = 15; // fewest digits that agree
    bool converged = false;
    bool determined = false;
    std::string text;
};

Agreement agreement(Set const& set, int start, seamhold::LeastSquaresOptions const& options) {
    Model const& model = models.at(set.name);
    auto const m = static_cast<Eigen::Index>(set.parameters.size());
    auto const n = static_cast<Eigen::Index>(set.y.size());
    auto const rows = [&](Eigen::VectorXd const& b) {
        Number numbers[9];
        for (int k = 0; k < m; ++k)
            numbers[k] = Number::variable(b(k), k);
        seamhold::Linearised of{Eigen::VectorXd(n), Eigen::MatrixXd(n, m)};
        for (Eigen::Index i = 0; i < n; ++i) {
            auto const at = static_cast<std::size_t>(i);
            Number const value = model(numbers, set.x[at]);
            of.residuals(i) = (set.name == "Nelson" ? std::log(set.y[at]) : set.y[at]) - value.value;
            for (int k = 0; k < m; ++k)
                of.jacobian(i, k) = -value.partial[k];
        }
        return of;
    };
    Eigen::VectorXd first(m);
    for (Eigen::Index k = 0; k < m; ++k)
        first(k) = set.parameters[static_cast<std::size_t>(k)].starts[start];
    auto const fit = seamhold::least_squares(
        first, rows,
        [](Eigen::VectorXd const& b, Eigen::VectorXd const& step) { return Eigen::VectorXd(b + step); },
        options);
    Agreement result;
    result.converged = fit.converged;
    result.determined = fit.determined;
    Eigen::VectorXd const deviations = fit.covariance().diagonal().cwiseSqrt();
    for (Eigen::Index k = 0; k < m; ++k) {
        auto const& p = set.parameters[static_cast<std::size_t>(k)];
        result.parameters = std::min(result.parameters, digits(fit.state(k), p.certified));
        result.deviations = std::min(result.deviations, digits(deviations(k), p.deviation));
    }
    result.sum = digits(fit.sum_of_squares, set.sum);
    result.deviation = digits(fit.deviation(), set.deviation);
    std::ostringstream text;
    text << set.name << " from start " << start + 1 << ": " << fit.steps << " steps; digits of parameters "
         << result.parameters << ", deviations " << result.deviations << ", sum " << result.sum;
    result.text = text.str();
    return result;
}

// How the search has to go from this start.
seamhold::LeastSquaresOptions options_for(Set const& set, int start) {
    seamhold::LeastSquaresOptions options;
    options.most_steps = 1000;
    // From far out at b3 the model is 0 over a long bent valley; plain damped steps need 8 000.
    if (set.name == "MGH10" && start == 0)
        options.most_steps = 20000;
    // The first step would go where the exponential is 0 and nothing leads back.
    if (set.name == "BoxBOD" && start == 0)
        options.first_damping = 100;
    return options;
}

} // namespace

TEST_CASE("NIST's 27 nonlinear sets are met from both starts") {
    auto const sets = nist_sets();
    REQUIRE(sets.size() == 27);
    for (Set const& set : sets)
        for (int start = 0; start < 2; ++start) {
            auto const found = agreement(set, start, options_for(set, start));
            INFO(found.text);
            CHECK(found.converged);
            CHECK(found.determined);
            CHECK(found.parameters > 9);
            // The certified residuals of Lanczos1 are 1e-13 of the values: rounding of the data itself.
            double const wanted = set.name == "Lanczos1" ? 2 : 9;
            CHECK(found.deviations > wanted);
            CHECK(found.sum > wanted);
            CHECK(found.deviation > wanted);
        }
}

TEST_CASE("a start that runs away is not called a solution that fits") {
    // BoxBOD from its first start without care ends where the exponential is 0: one direction is open there.
    for (Set const& set : nist_sets())
        if (set.name == "BoxBOD") {
            auto const found = agreement(set, 0, {});
            CHECK(found.parameters < 0);
            CHECK_FALSE(found.determined);
        }
}
