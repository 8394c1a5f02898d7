#include "seamhold/budget/job_budget.hpp"

#include <doctest/doctest.h>

#include "budget/cells.hpp"
#include "seamhold/budget/monte_carlo.hpp"
#include "seamhold/budget/sources.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <vector>

// Whole jobs, with a robot that was recorded.

using namespace seamhold;
using namespace seamhold::test;

namespace {

// A log of a sweep over the cell at 0.1 m/s along x, with seams on a level face and on one that leans.
Job job() {
    std::vector<PoseRow<Cell>> rows;
    for (int i = 0; i <= 200; ++i) {
        double const t = 0.01 * i;
        rows.push_back(
            {t, {-0.1 + 0.1 * t, 0.01 * std::sin(2 * t), 0.5}, {0.02 * std::sin(3 * t), 0.9998, 0, 0}});
        auto& q = rows.back().rotation;
        double const size = std::sqrt(squared_norm(q));
        q = {q.w / size, q.x / size, q.y / size, q.z / size};
    }
    Plane<> const level{Pose<Part, Face>::identity()};
    Plane<> const leaning{{about_axis<Part, Face>({1, 0, 0}, degrees(35)), {0, 0, 0}}};
    AnySeam const first = at_speed(straight_between({-0.06, 0}, {-0.02, 0}), level, 0.1);
    AnySeam const second = at_speed(straight_between({-0.01, 0.01}, {0.03, 0.01}), leaning, 0.1);
    AnySeam const third = at_speed(arc_around({0.06, 0}, 0.01, 0, 3), level, 0.1);
    return {{PoseLog<Cell, Flange>(rows), Rest<Cell, Part>{Pose<Cell, Part>::identity()}, mount(), head()},
            {},
            degrees(60),
            in_order({{"level", 0.3, first}, {"leaning", 0.8, second}, {"round", 1.4, third}})};
}

} // namespace

TEST_CASE("the worst seam of a job comes first") {
    std::vector<ErrorSource> const sources{part_placement({0, 5e-5}), field_residual(1e-5, 1e-5),
                                           clock_error(1e-4)};
    auto const budgets = budget_of(job(), sources);
    REQUIRE(budgets.size() == 3);
    CHECK(budgets[0].seam == "leaning");
    for (auto const& budget : budgets)
        CHECK(budget.points.size() == 51);
    BudgetOptions options;
    options.tolerance = SeamTolerance{150e-6};
    options.points = 5;
    auto const against = budget_of(job(), sources, options);
    CHECK(against[0].seam == "leaning");
    CHECK(against[0].probability_within() <= against[1].probability_within());
    CHECK(against[1].probability_within() <= against[2].probability_within());

    // The clock: 0.1 ms at about 0.1 m/s, along the first seam, which runs along the sweep.
    for (auto const& one : budgets[2].seam == "level" ? budgets[2].ranked : budgets[1].ranked)
        if (one.name == "clock")
            CHECK(one.along_deviation == doctest::Approx(1e-5).epsilon(0.05));

    // Against Monte Carlo with the recorded motion.
    auto const whole = job();
    auto const& seam = whole.seams[1];
    MonteCarloOptions trial;
    trial.draws = 30'000;
    auto const drawn = monte_carlo(whole.chain, seam.seam, seam.start, sources, options, trial, seam.name);
    for (std::size_t i = 0; i < 5; ++i) {
        CHECK(drawn.points[i].covariance.across_deviation() ==
              doctest::Approx(against[0].points[i].covariance.across_deviation()).epsilon(0.03));
        CHECK(drawn.points[i].covariance.along_deviation() ==
              doctest::Approx(against[0].points[i].covariance.along_deviation()).epsilon(0.03));
    }
}

TEST_CASE("what a job is refused for names the seam") {
    auto late = job();
    late.seams[2].start = 5;
    auto const message = refusal_of([&] { return budget_of(late, {mirror_noise(1e-6)}); });
    CHECK(has(message, "seam round"));
    CHECK(has(message, "no data"));
    late.seams.clear();
    CHECK(has(refusal_of([&] { return budget_of(late, {mirror_noise(1e-6)}); }), "without seams"));
}
