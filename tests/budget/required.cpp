#include "seamhold/budget/required.hpp"

#include <doctest/doctest.h>

#include "budget/cells.hpp"
#include "seamhold/budget/sources.hpp"
#include "seamhold/statistics/quantiles.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

// What is required of sources: by hand, and by making them as large as was said.

using namespace seamhold;
using namespace seamhold::test;

namespace {

auto resting() {
    return Chain<Rest<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>>{
        {{about_axis<Cell, Flange>({1, 0, 0}, std::numbers::pi), {0, 0, 0.5}}},
        {Pose<Cell, Part>::identity()},
        Pose<Flange, Head>::identity(),
        head()};
}

auto seam() {
    return at_speed(straight_between({-0.01, 0}, {0.01, 0}), Plane<>{Pose<Part, Face>::identity()}, 0.1);
}

BudgetOptions against(double across, double probability) {
    BudgetOptions options;
    options.points = 3;
    options.tolerance = SeamTolerance{across};
    options.probability = probability;
    return options;
}

ErrorSource scaled(ErrorSource source, double factor) {
    source.covariance *= factor * factor;
    return source;
}

RequiredDeviation const& of(Required const& required, std::string const& name) {
    return *std::find_if(required.sources.begin(), required.sources.end(),
                         [&](RequiredDeviation const& one) { return one.name == name; });
}

} // namespace

TEST_CASE("two sources by hand") {
    // Both act on the face alike everywhere: variances add.
    double const a = 50e-6, b = 30e-6, tolerance = 100e-6, p = 0.99;
    auto const budget = budget_of(resting(), seam(), 0,
                                  {joint_position(0, a, "a"), joint_position(0, b, "b"), focus_error(1e-3)},
                                  against(tolerance, p));
    auto const answer = required(budget);
    double const allowed = tolerance / normal_quantile((1 + p) / 2);
    CHECK(answer.together.factor == doctest::Approx(allowed / std::hypot(a, b)).epsilon(1e-12));
    CHECK(of(answer, "a").factor == doctest::Approx(std::sqrt(allowed * allowed - b * b) / a).epsilon(1e-12));
    CHECK(of(answer, "a").possible);
    CHECK(!of(answer, "b").possible);
    CHECK(of(answer, "b").factor == 0);
    CHECK(has(of(answer, "b").in_words(), "even without it"));
    CHECK(has(of(answer, "a").in_words(), "may be 0.493 times what it is"));
    CHECK(!of(answer, "focus").possible); // it does nothing, and without it the seam is outside all the same
    CHECK(answer.count_of_fewest == 1);
    CHECK(answer.fewest.name == "a");
    CHECK(answer.fewest.factor == of(answer, "a").factor);
    CHECK(answer.sources.front().name == "a"); // as ranked
}

TEST_CASE("more room than needed") {
    auto const budget = budget_of(resting(), seam(), 0, {joint_position(0, 10e-6, "a"), focus_error(1e-3)},
                                  against(100e-6, 0.99));
    auto const answer = required(budget);
    CHECK(answer.together.factor > 1);
    CHECK(of(answer, "focus").factor == std::numeric_limits<double>::infinity());
    CHECK(has(of(answer, "focus").in_words(), "does not matter"));
    CHECK(answer.count_of_fewest == 0);
    CHECK(answer.fewest.possible);
}

TEST_CASE("a source that is made as large as was said brings the worst point to the probability wanted") {
    Random random(88601);
    std::size_t possible = 0, impossible = 0;
    for (std::size_t run = 0; run < runs(20); ++run) {
        auto const cell = random_cell(random, run % 3);
        auto sources = every_source(random);
        Eigen::VectorXd mean = Eigen::VectorXd::Zero(6);
        mean(3) = random.uniform(-50e-6, 50e-6);
        sources[1] = with_mean(sources[1], mean);
        BudgetOptions options = against(random.uniform(0.2e-3, 0.6e-3), 0.99);
        options.tolerance->along_at_ends = random.uniform(0.2e-3, 0.6e-3);
        options.points = 5;
        auto const of_scaled = [&](auto const& factor_of) {
            auto other = sources;
            for (std::size_t k = 0; k < other.size(); ++k)
                other[k] = scaled(other[k], factor_of(k));
            return budget_of(cell.chain, cell.seam, cell.start, other, options);
        };
        auto const budget = budget_of(cell.chain, cell.seam, cell.start, sources, options);
        auto const answer = required(budget);
        if (answer.together.possible) {
            auto const then = of_scaled([&](std::size_t) { return answer.together.factor; });
            CHECK(then.probability_within() == doctest::Approx(0.99).epsilon(1e-9));
        }
        for (auto const& one : answer.sources) {
            if (!one.possible) {
                ++impossible;
                CHECK(!of_scaled([&](std::size_t k) { return k == one.source ? 0.0 : 1.0; }).within());
                continue;
            }
            if (!is_finite(one.factor) || one.factor > 50) // 50 times may be no small error any more
                continue;
            ++possible;
            auto const then = of_scaled([&](std::size_t k) { return k == one.source ? one.factor : 1.0; });
            CHECK(then.probability_within() == doctest::Approx(0.99).epsilon(1e-9));
            CHECK(then.worst_point().arc_length == doctest::Approx(one.arc_length));
        }
        // The fewest: with them it holds, with one less even removing them does not help.
        if (answer.fewest.possible && answer.count_of_fewest > 0) {
            auto const among = [&](std::size_t k, std::size_t count) {
                for (std::size_t i = 0; i < count; ++i)
                    if (budget.ranked[i].source == k)
                        return true;
                return false;
            };
            auto const then = of_scaled(
                [&](std::size_t k) { return among(k, answer.count_of_fewest) ? answer.fewest.factor : 1.0; });
            CHECK(then.probability_within() == doctest::Approx(0.99).epsilon(1e-9));
            CHECK(!of_scaled([&](std::size_t k) {
                       return among(k, answer.count_of_fewest - 1) ? 0.0 : 1.0;
                   }).within());
        }
    }
    CHECK(possible > 10);
    CHECK(impossible > 20);
}

TEST_CASE("a mean beyond the tolerance cannot be mended by deviations, and no tolerance is no question") {
    auto const off = with_mean(joint_position(0, 1e-6), Eigen::Vector2d(0, 150e-6));
    auto const answer = required(budget_of(resting(), seam(), 0, {off}, against(100e-6, 0.99)));
    CHECK(!answer.together.possible);
    CHECK(!answer.fewest.possible);
    CHECK(answer.count_of_fewest == 1);
    CHECK(has(refusal_of([] { return required(budget_of(resting(), seam(), 0, {mirror_noise(1e-6)})); }),
              "tolerance"));
}
