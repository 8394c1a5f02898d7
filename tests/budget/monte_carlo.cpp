#include "seamhold/budget/monte_carlo.hpp"

#include <doctest/doctest.h>

#include "budget/cells.hpp"
#include "seamhold/budget/sources.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

// Budget against Monte Carlo within 3 %: every source alone and all together, in random cells with moving
// robots and parts, three kinds of heads, and faces that lean by up to 45°. And what only Monte Carlo can
// tell.

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

// The figures of a budget's point against those of draws: deviations within 3 %; what is smaller than 20 nm
// is second order of errors of 0.1 mrad and 0.1 mm.
void compare(BudgetPoint const& budget, MonteCarloPoint const& drawn, std::size_t draws) {
    auto const near = [](double expected, double got) {
        return std::abs(got - expected) <= 0.03 * expected + 20e-9;
    };
    CHECK(near(budget.covariance.along_deviation(), drawn.covariance.along_deviation()));
    CHECK(near(budget.covariance.across_deviation(), drawn.covariance.across_deviation()));
    CHECK(near(budget.defocus_deviation(), drawn.defocus_deviation));
    auto const ours = budget.covariance.ellipse(0.5), theirs = drawn.covariance.ellipse(0.5);
    CHECK(near(ours.semi_major, theirs.semi_major));
    // A source of one number makes a line; what makes it an ellipse is its second order, such as the
    // acceleration of 1 m/s² that a clock error of 0.4 ms meets: a δ² / 2, up to 0.2 µm.
    CHECK(std::abs(ours.semi_minor - theirs.semi_minor) <= 0.03 * ours.semi_minor + 200e-9);
    // Correlations from n draws scatter by 1/√n.
    double const size = budget.covariance.along_deviation() * budget.covariance.across_deviation();
    CHECK(std::abs(budget.covariance.mixed - drawn.covariance.mixed) <=
          5 / std::sqrt(static_cast<double>(draws)) * size + 1e-14 + 20e-9 * std::sqrt(size));
    double const scatter = 5 / std::sqrt(static_cast<double>(draws));
    CHECK(std::abs(budget.along_shift - drawn.along_shift) <=
          scatter * budget.covariance.along_deviation() + 20e-9);
    CHECK(std::abs(budget.across_shift - drawn.across_shift) <=
          scatter * budget.covariance.across_deviation() + 20e-9);
}

} // namespace

TEST_CASE("all sources together: budget and Monte Carlo agree within 3 %") {
    Random random(88701);
    for (std::size_t run = 0; run < runs(12); ++run) {
        auto const cell = random_cell(random, run % 3);
        auto sources = every_source(random);
        Eigen::VectorXd mean = Eigen::VectorXd::Constant(6, 30e-6);
        sources[1] = with_mean(sources[1], mean);
        BudgetOptions options;
        options.points = 3;
        options.tolerance = SeamTolerance{0.3e-3, 0.35e-3};
        MonteCarloOptions trial;
        trial.draws = 100'000;
        trial.seed = 88701 + run;
        auto const budget = budget_of(cell.chain, cell.seam, cell.start, sources, options);
        auto const drawn = monte_carlo(cell.chain, cell.seam, cell.start, sources, options, trial);
        REQUIRE(drawn.points.size() == 3);
        for (std::size_t i = 0; i < 3; ++i) {
            auto const& b = budget.points[i];
            auto const& m = drawn.points[i];
            CHECK(m.arc_length == b.arc_length);
            compare(b, m, trial.draws);
            // The draws outside: across, or along at an end; between the larger of both and their sum. Evenly
            // spread parts are small here. Counts scatter by their roots; 0.003 for the 3 % of the
            // deviation's effect.
            double const across = b.outside_across(options.tolerance->across);
            double const along = b.is_end ? b.outside_along(options.tolerance->along_at_ends) : 0;
            CHECK(m.outside->share > std::max(across, along) - 0.006);
            CHECK(m.outside->share < across + along + 0.006);
            // The middle 95 % of the draws: 1.96 deviations about the mean.
            CHECK(m.across.low ==
                  doctest::Approx(b.across_shift - 1.96 * b.covariance.across_deviation()).epsilon(0.03));
            CHECK(m.across.high ==
                  doctest::Approx(b.across_shift + 1.96 * b.covariance.across_deviation()).epsilon(0.03));
            CHECK(m.along.high ==
                  doctest::Approx(b.along_shift + 1.96 * b.covariance.along_deviation()).epsilon(0.03));
        }
    }
}

TEST_CASE("every source alone: budget and Monte Carlo agree within 3 %") {
    Random random(88702);
    for (std::size_t run = 0; run < runs(6); ++run) {
        auto const cell = random_cell(random, run % 3);
        BudgetOptions options;
        options.points = 2;
        MonteCarloOptions trial;
        trial.draws = 30'000; // a deviation's own scatter is 0.4 %
        trial.quantiles = false;
        for (auto const& source : every_source(random)) {
            CAPTURE(source.name);
            auto const budget = budget_of(cell.chain, cell.seam, cell.start, {source}, options);
            auto const drawn = monte_carlo(cell.chain, cell.seam, cell.start, {source}, options, trial);
            for (std::size_t i = 0; i < 2; ++i)
                compare(budget.points[i], drawn.points[i], trial.draws);
        }
    }
}

TEST_CASE("a seam as a whole: what is systematic leaves it once for all, what is random anywhere") {
    BudgetOptions options;
    options.points = 20;
    options.tolerance = SeamTolerance{100e-6};
    MonteCarloOptions trial;
    trial.draws = 50'000;
    double const deviation = 50e-6; // two deviations: 0.0455 outside (NIST/SEMATECH e-Handbook, 1.3.6.7.1)
    double const outside = 0.0455;
    auto const whole = [&](ErrorSource const& source) {
        return monte_carlo(resting(), seam(), 0, {source}, options, trial);
    };
    auto const same = whole(joint_position(0, deviation));
    CHECK(same.points[7].outside->bounds.low < outside);
    CHECK(same.points[7].outside->bounds.high > outside);
    CHECK(same.seam_outside->share == same.points[7].outside->share);
    auto const anew = whole(joint_position(0, deviation, "anew", ErrorKind::random));
    // 1 − 0.9545^20 = 0.606.
    CHECK(anew.seam_outside->share == doctest::Approx(0.606).epsilon(0.02));
    // A drift lies between; slow against the seam it is as the systematic one.
    auto const drift = whole(drifting(joint_position(0, deviation), 0.05));
    CHECK(drift.seam_outside->share > 1.5 * outside);
    CHECK(drift.seam_outside->share < 0.5);
    auto const slow = whole(drifting(joint_position(0, deviation), 100));
    CHECK(slow.seam_outside->share == doctest::Approx(outside).epsilon(0.15));
    CHECK(drift.points[13].covariance.across_deviation() == doctest::Approx(deviation).epsilon(0.03));
}

TEST_CASE("drifting numbers keep 1/e of their correlation after the correlation time") {
    auto const sources =
        detail::rooted({drifting(joint_position(0, 1e-4), 0.3), joint_position(1e-4, 0, "same")});
    std::size_t const n = 100'000;
    detail::ErrorDraws draws(sources, n, 5);
    std::vector<std::vector<double>> along, across;
    for (int point = 0; point < 4; ++point) {
        draws.go_on(0.1);
        along.emplace_back();
        across.emplace_back();
        for (std::size_t i = 0; i < n; ++i) {
            auto const e = draws.at(i);
            along.back().push_back(e[error_on_face.first] / 1e-4);
            across.back().push_back(e[error_on_face.first + 1] / 1e-4);
        }
    }
    CHECK(along[0] == along[3]);
    auto const together = [&](std::size_t a, std::size_t b) {
        double sum = 0;
        for (std::size_t i = 0; i < n; ++i)
            sum += across[a][i] * across[b][i];
        return sum / static_cast<double>(n);
    };
    // 5/√n.
    CHECK(std::abs(together(0, 0) - 1) < 0.023);
    CHECK(std::abs(together(3, 3) - 1) < 0.023);
    CHECK(std::abs(together(0, 1) - std::exp(-1.0 / 3)) < 0.016);
    CHECK(std::abs(together(0, 3) - std::exp(-1.0)) < 0.016);
}

TEST_CASE("what is spread evenly stays within its step") {
    BudgetOptions options;
    options.points = 3;
    options.tolerance = SeamTolerance{2 * 0.5 * 6e-6 * 1.0001}; // 2 d times half a step, in the middle
    MonteCarloOptions trial;
    trial.draws = 20'000;
    trial.level = 0.9;
    auto const drawn = monte_carlo(resting(), seam(), 0, {mirror_resolution(12e-6)}, options, trial);
    CHECK(drawn.points[1].outside->share == 0);
    // The middle 90 % of an even spread are 90 % of it.
    CHECK(drawn.points[1].across.high == doctest::Approx(0.9 * 6e-6).epsilon(0.02));
    CHECK(drawn.points[1].across.low == doctest::Approx(-0.9 * 6e-6).epsilon(0.02));
}

TEST_CASE("the same seed, the same trial") {
    BudgetOptions options;
    options.points = 3;
    MonteCarloOptions trial;
    trial.draws = 100;
    auto const run = [&](std::uint64_t seed) {
        trial.seed = seed;
        return monte_carlo(resting(), seam(), 0, {mirror_noise(1e-5), mount_error({1e-4, 1e-5})}, options,
                           trial)
            .points[1]
            .across_shift;
    };
    CHECK(run(3) == run(3));
    CHECK(run(3) != run(4));
}

TEST_CASE("the interval of a share") {
    // 4 of 20 at 90 %: from 0.0905 to 0.3853... by the score's equation: the ends solve
    // (p − share)² = z² p (1 − p) / n.
    auto const share = drawn_share(4, 20, 0.9);
    for (double const p : {share.bounds.low, share.bounds.high})
        CHECK((p - 0.2) * (p - 0.2) ==
              doctest::Approx(1.6448536 * 1.6448536 * p * (1 - p) / 20).epsilon(1e-6));
    CHECK(share.bounds.low < 0.2);
    CHECK(share.bounds.high > 0.2);
    CHECK(drawn_share(0, 1000).bounds.low == 0);
    CHECK(drawn_share(0, 1000).bounds.high > 0.003); // z² / (n + z²)
    CHECK(drawn_share(0, 1000).bounds.high < 0.004);
    CHECK(drawn_share(1000, 1000).bounds.high == 1);
    // It covers: 95 % of 2000 trials of 200 draws; the share's own scatter is 0.5 %.
    RandomNumbers random(88703);
    int covered = 0;
    for (int i = 0; i < 2000; ++i) {
        std::size_t count = 0;
        for (int k = 0; k < 200; ++k)
            count += random.unit() < 0.1 ? 1 : 0;
        auto const bounds = drawn_share(count, 200).bounds;
        covered += bounds.contains(0.1) ? 1 : 0;
    }
    CHECK(covered > 0.93 * 2000);
    CHECK(covered < 0.97 * 2000);
}

TEST_CASE("what a trial is refused for") {
    auto const said = [](MonteCarloOptions const& trial) {
        return refusal_of([&] { return monte_carlo(resting(), seam(), 0, {mirror_noise(1e-6)}, {}, trial); });
    };
    MonteCarloOptions trial;
    trial.draws = 1;
    CHECK(has(said(trial), "2 draws or more"));
    trial.draws = 2;
    trial.level = 1;
    CHECK(has(said(trial), "level"));
    CHECK(has(refusal_of([] { return monte_carlo(resting(), seam(), 0, {}); }), "one error source"));
}
