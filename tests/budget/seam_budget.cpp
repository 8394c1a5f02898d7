#include "seamhold/budget/seam_budget.hpp"

#include <doctest/doctest.h>

#include "budget/cells.hpp"
#include "seamhold/budget/sources.hpp"
#include "seamhold/motion/steady.hpp"
#include "seamhold/motion/turntable.hpp"
#include "support/refusal.hpp"

#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

// Budgets against closed forms worked by hand, and against covariances carried by differences of plain
// vectors.

using namespace seamhold;
using namespace seamhold::test;

namespace {

constexpr double reach = 0.5;       // from the flange down to the seam's middle, m
constexpr double separation = 0.04; // of the mirrors, m

// A flange that looks straight down on the cell's origin: its x along the cell's x, its y along −y.
Pose<Cell, Flange> down() { return {about_axis<Cell, Flange>({1, 0, 0}, std::numbers::pi), {0, 0, reach}}; }

// A head that is the flange's frame itself.
Pose<Flange, Head> plain_mount() { return Pose<Flange, Head>::identity(); }

template <class F, class P> auto chain_of(F const& flange, P const& part) {
    return Chain<F, P, MirrorPair<>>{flange, part, plain_mount(), head()};
}

auto resting() {
    return chain_of(Rest<Cell, Flange>{down()}, Rest<Cell, Part>{Pose<Cell, Part>::identity()});
}

// A seam of 20 mm along x whose middle is the part's origin, on a face that leans by `tilt` about it.
auto seam_along_x(double tilt = 0) {
    return at_speed(straight_between({-0.01, 0}, {0.01, 0}),
                    Plane<>{{about_axis<Part, Face>({1, 0, 0}, tilt), {0, 0, 0}}}, 0.1);
}

BudgetOptions three_points() {
    BudgetOptions options;
    options.points = 3;
    return options;
}

// The middle of the seam with one source.
template <class C, class S> BudgetPoint middle_of(C const& chain, S const& seam, ErrorSource const& source) {
    return budget_of(chain, seam, 0, {source}, three_points()).points[1];
}

ErrorSource one_number(ErrorPlace const& place, std::size_t number, double deviation) {
    Eigen::MatrixXd c =
        Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(place.count), static_cast<Eigen::Index>(place.count));
    c(static_cast<Eigen::Index>(number), static_cast<Eigen::Index>(number)) = sqr(deviation);
    return source_at("one", place, c);
}

void check_point(BudgetPoint const& point, double along, double across, double defocus) {
    // Closed forms to rounding; a deviation that is 0 is a root of rounding squared.
    CHECK(std::abs(point.covariance.along_deviation() - along) < 1e-12);
    CHECK(std::abs(point.covariance.across_deviation() - across) < 1e-12);
    CHECK(std::abs(point.defocus_deviation() - defocus) < 1e-12);
}

} // namespace

TEST_CASE("straight down at rest: a turn of the flange acts by the lever, a shift by itself") {
    double const s = 1e-4;
    auto const at = [&](ErrorPlace const& place, std::size_t number) {
        return middle_of(resting(), seam_along_x(), one_number(place, number, s));
    };
    for (auto const& place : {error_on_flange, error_on_head}) {
        check_point(at(place, 0), 0, reach * s, 0);
        check_point(at(place, 1), reach * s, 0, 0);
        check_point(at(place, 2), 0, 0, 0);
        check_point(at(place, 3), s, 0, 0);
        check_point(at(place, 4), 0, s, 0);
        check_point(at(place, 5), 0, 0, s);
    }
    // The part turns about its own origin, where the spot is: no lever.
    for (std::size_t turn = 0; turn < 3; ++turn)
        check_point(at(error_on_part, turn), 0, 0, 0);
    check_point(at(error_on_part, 3), s, 0, 0);
    check_point(at(error_on_part, 4), 0, s, 0);
    check_point(at(error_on_part, 5), 0, 0, s);
    check_point(at(error_in_beam, 0), s, 0, 0);
    check_point(at(error_in_beam, 1), 0, s, 0);
    check_point(at(error_in_focus, 0), 0, 0, s);
    check_point(at(error_in_lens, 0), 0, 0, 10 * s); // the head's focus ratio
    check_point(at(error_on_face, 0), s, 0, 0);
    check_point(at(error_on_face, 1), 0, s, 0);
    // A flange error of all six numbers: the squares add.
    check_point(middle_of(resting(), seam_along_x(), pose_repeatability({2 * s, 3 * s})),
                std::hypot(2 * reach * s, 3 * s), std::hypot(2 * reach * s, 3 * s), 3 * s);
}

TEST_CASE("mirrors: 2(e + d) for the first, 2 d for the last, in the middle; a gain acts by the deflection") {
    double const s = 1e-5;
    auto const chain = resting();
    auto const at = [&](std::size_t number) {
        return middle_of(chain, seam_along_x(), one_number(error_in_mirrors, number, s));
    };
    check_point(at(0), 2 * (separation + reach) * s, 0, 0);
    check_point(at(1), 0, 2 * reach * s, 0);
    check_point(at(2), 0, 0, 0); // no deflection in the middle
    check_point(at(3), 0, 0, 0);
    // At the end x = 10 mm of the seam: x = (e + d) tan 2θ, dx/dθ = 2 (e + d)(1 + tan²), the gain acts by θ
    // of it.
    auto const end =
        budget_of(chain, seam_along_x(), 0, {one_number(error_in_mirrors, 2, s)}, three_points()).points[2];
    double const slope = 0.01 / (separation + reach), theta = std::atan(slope) / 2;
    CHECK(end.covariance.along_deviation() ==
          doctest::Approx(2 * (separation + reach) * (1 + slope * slope) * theta * s).epsilon(1e-10));
    CHECK(end.arc_length == doctest::Approx(0.02));
    // Resolution: evenly within ± half a step.
    auto const step = middle_of(chain, seam_along_x(), mirror_resolution(12e-6));
    check_point(step, 2 * (separation + reach) * 12e-6 / std::sqrt(12), 2 * reach * 12e-6 / std::sqrt(12), 0);
    // Drift: zero by temperature.
    auto const drift = middle_of(chain, seam_along_x(), mirror_drift(2e-6, 0, 5));
    check_point(drift, 2 * (separation + reach) * 1e-5, 2 * reach * 1e-5, 0);
}

TEST_CASE("a face that leans by 45 degrees stretches across by its cosine") {
    double const s = 1e-4, stretch = std::numbers::sqrt2;
    auto const chain = resting();
    auto const seam = seam_along_x(degrees(45));
    auto const at = [&](ErrorPlace const& place, std::size_t number) {
        return middle_of(chain, seam, one_number(place, number, s));
    };
    CHECK(at(error_on_flange, 0).incidence == doctest::Approx(std::numbers::pi / 4));
    // Across the spot runs up or down the slope, so the face comes nearer to the focus or goes from it by as
    // much.
    check_point(at(error_on_flange, 0), 0, stretch * reach * s, reach * s);
    check_point(at(error_on_flange, 1), reach * s, 0, 0);
    check_point(at(error_on_flange, 4), 0, stretch * s, s);
    check_point(at(error_on_flange, 5), 0, 0, s);
    check_point(at(error_in_mirrors, 1), 0, stretch * 2 * reach * s, 2 * reach * s);
    check_point(at(error_in_mirrors, 0), 2 * (separation + reach) * s, 0, 0);
    // A part that lies higher moves under a vertical beam: the same spot, nearer to the head.
    check_point(at(error_on_part, 5), 0, 0, s);
    check_point(at(error_on_part, 4), 0, stretch * s, s);
    check_point(at(error_in_focus, 0), 0, 0, s); // no shift on an inclined face either
    // On the face nothing is stretched.
    check_point(at(error_on_face, 1), 0, s, 0);
    // The ellipse of a round error is √2 as long across: the major axis across.
    auto const round = middle_of(chain, seam, field_residual(s, s)).covariance.ellipse(0.5);
    CHECK(round.semi_major == doctest::Approx(stretch * round.semi_minor));
    CHECK(std::abs(round.angle) == doctest::Approx(std::numbers::pi / 2));
    // Leaning along the seam instead.
    auto const leaning = at_speed(straight_between({-0.01, 0}, {0.01, 0}),
                                  Plane<>{{about_axis<Part, Face>({0, 1, 0}, degrees(45)), {0, 0, 0}}}, 0.1);
    check_point(middle_of(chain, leaning, one_number(error_on_flange, 3, s)), stretch * s, 0, s);
}

TEST_CASE("a clock error acts by the relative speed") {
    double const s = 1e-3;
    Steady<Cell, Flange> const sweep{
        down(), {0.2, -0.1, 0}, 0.1}; // over the origin in the middle of the seam
    Rest<Cell, Part> const still{Pose<Cell, Part>::identity()};
    auto const seam = seam_along_x();
    check_point(middle_of(chain_of(sweep, still), seam, clock_error(s)), 0.2 * s, 0.1 * s, 0);
    // The part glides along: only the difference counts, and a clock of its own counts by its own speed.
    Steady<Cell, Part> const belt{Pose<Cell, Part>::identity(), {0.15, 0, 0}, 0.1};
    check_point(middle_of(chain_of(sweep, belt), seam, clock_error(s)), 0.05 * s, 0.1 * s, 0);
    check_point(middle_of(chain_of(sweep, belt), seam, part_clock_error(s)), 0.15 * s, 0, 0);
    // A table that turns at 2 rad/s about an axis 0.1 m beside the spot: 0.2 m/s across the line to the axis.
    Turntable<Cell, Part> const table{Pose<Cell, Part>::identity(), {0, 0.1, 0}, {0, 0, 1}, 2, 0.1};
    check_point(middle_of(chain_of(Rest<Cell, Flange>{down()}, table), seam, clock_error(s)), 0.2 * s, 0, 0);
    // A sweep along the beam: out of focus, not off the seam.
    Steady<Cell, Flange> const sinking{down(), {0, 0, -0.3}, 0.1};
    check_point(middle_of(chain_of(sinking, still), seam, clock_error(s)), 0, 0, 0.3 * s);
}

TEST_CASE("full covariances, against differences of plain vectors") {
    Random random(88501);
    for (std::size_t run = 0; run < runs(20); ++run) {
        auto const cell = random_cell(random, run % 3);
        auto const sources = every_source(random);
        auto const budget = budget_of(cell.chain, cell.seam, cell.start, sources, three_points());
        for (std::size_t at = 0; at < 3; ++at) {
            auto const& point = budget.points[at];
            double const share = 0.5 * static_cast<double>(at);
            Eigen::Matrix<double, 3, 30> slopes;
            for (std::size_t i = 0; i < error_numbers; ++i) {
                ErrorNumbers<> e{};
                double const h = 1e-4;
                e[i] = h;
                auto const after = plain_spot(cell, share, e);
                e[i] = -h;
                auto const before = plain_spot(cell, share, e);
                slopes.col(static_cast<Eigen::Index>(i)) =
                    Eigen::Vector3d(after.along - before.along, after.across - before.across,
                                    after.defocus - before.defocus) /
                    (2 * h);
            }
            Eigen::Matrix3d total = Eigen::Matrix3d::Zero();
            for (std::size_t k = 0; k < sources.size(); ++k) {
                auto const by = slopes.middleCols(static_cast<Eigen::Index>(sources[k].place.first),
                                                  static_cast<Eigen::Index>(sources[k].place.count));
                Eigen::Matrix3d const own = by * sources[k].covariance * by.transpose();
                total += own;
                auto const& c = point.contributions[k];
                // A field map's slopes are 2e-4 from its polynomial's; other slopes 1e-6 from differences.
                double const part = 1e-3 * own.trace() + 1e-18;
                CHECK(std::abs(c.covariance.along - own(0, 0)) < part);
                CHECK(std::abs(c.covariance.across - own(1, 1)) < part);
                CHECK(std::abs(c.covariance.mixed - own(0, 1)) < part);
                CHECK(std::abs(c.defocus_variance - own(2, 2)) < part);
            }
            CHECK(std::abs(point.covariance.along - total(0, 0)) < 1e-3 * total(0, 0));
            CHECK(std::abs(point.covariance.across - total(1, 1)) < 1e-3 * total(1, 1));
            CHECK(std::abs(point.covariance.mixed - total(0, 1)) <
                  1e-3 * std::sqrt(total(0, 0) * total(1, 1)));
            CHECK(std::abs(point.defocus_variance - total(2, 2)) < 1e-3 * total(2, 2));
        }
    }
}

TEST_CASE("means shift the spot and scatter does not") {
    Eigen::VectorXd mean = Eigen::VectorXd::Zero(6);
    mean(1) = 2e-4;  // about the flange's y, the cell's −y: the beam's foot goes along −x
    mean(4) = -3e-5; // along the flange's y, which is the cell's −y: +y
    mean(5) = 4e-5;  // towards the work
    auto const budget =
        budget_of(resting(), seam_along_x(), 0,
                  {with_mean(path_accuracy({0, 1e-5}), mean), mirror_noise(1e-6)}, three_points());
    auto const& point = budget.points[1];
    // A turn by φ about −y brings the beam −z to −z − φ x... by Rodrigues: −y × −z = x.
    CHECK(point.along_shift == doctest::Approx(reach * 2e-4));
    CHECK(point.across_shift == doctest::Approx(3e-5));
    CHECK(point.defocus_shift == doctest::Approx(4e-5));
    CHECK(point.contributions[0].across_shift == doctest::Approx(3e-5));
    CHECK(point.contributions[1].across_shift == 0);
    CHECK(point.covariance.across == doctest::Approx(1e-10 + sqr(2 * reach * 1e-6)));
    CHECK(point.outside_across(3e-5) == doctest::Approx(0.5).epsilon(1e-3));
}

TEST_CASE("contributors are ranked, the worst point is named") {
    // Gains act at the ends of the seam, the rest everywhere.
    auto const seam =
        at_speed(straight_between({-0.04, 0.03}, {0.04, 0.06}), Plane<>{Pose<Part, Face>::identity()}, 0.1);
    std::vector<ErrorSource> const sources{mirror_noise(2e-6), mirror_drift(0, 2e-3, 1),
                                           part_placement({0, 2e-5}), focus_error(1e-3)};
    BudgetOptions options;
    options.points = 11;
    auto const budget = budget_of(resting(), seam, 0, sources, options);
    REQUIRE(budget.ranked.size() == 4);
    CHECK(budget.ranked[0].name == "mirror drift");
    CHECK(budget.ranked[0].source == 1);
    CHECK(budget.ranked[1].name == "part placement");
    CHECK(budget.ranked[2].name == "mirror noise");
    CHECK(budget.ranked[3].name == "focus");
    CHECK(budget.ranked[3].share == 0);
    double shares = 0;
    for (auto const& one : budget.ranked)
        shares += one.share;
    CHECK(shares == doctest::Approx(1));
    CHECK(budget.ranked[1].across_deviation == doctest::Approx(2e-5));
    CHECK(budget.ranked[1].along_deviation == doctest::Approx(2e-5));
    CHECK(budget.worst == 10); // farthest from the middle of the field
    CHECK(budget.ranked[0].largest_at == doctest::Approx(seam.length()));
    CHECK(budget.probability_within() == 1);
    CHECK(budget.within());
    CHECK(budget.points.front().is_end);
    CHECK(!budget.points[5].is_end);
    CHECK(budget.points.back().is_end);
    CHECK(budget.points[3].arc_length == doctest::Approx(0.3 * seam.length()));
    CHECK(budget.points[3].time == doctest::Approx(0.3 * seam.duration()));

    // With a tolerance the worst is what is most probably outside; along counts at the ends only.
    options.tolerance = SeamTolerance{1e-3, 2e-5};
    auto const against = budget_of(resting(), seam, 0, {joint_position(2e-5, 2e-5)}, options);
    // One deviation: 0.3173 outside (NIST/SEMATECH e-Handbook, 1.3.6.7.1: 0.84134 below 1).
    CHECK(against.points[0].outside(*options.tolerance) == doctest::Approx(2 * (1 - 0.84134)).epsilon(1e-4));
    CHECK(against.points[5].outside(*options.tolerance) < 1e-12);
    CHECK(against.probability_within() == doctest::Approx(0.68269).epsilon(1e-4));
    CHECK(!against.within());
    options.probability = 0.68;
    CHECK(budget_of(resting(), seam, 0, {joint_position(2e-5, 2e-5)}, options).within());
}

TEST_CASE("what is beyond the first order grows with the square of the deviations") {
    Random random(88502);
    for (std::size_t run = 0; run < runs(20); ++run) {
        auto const cell = random_cell(random, run % 3);
        auto const of = [&](double scale) {
            return budget_of(cell.chain, cell.seam, cell.start,
                             {mount_error({scale * 1e-3, scale * 1e-4}), mirror_noise(scale * 1e-3)},
                             three_points())
                .points[1];
        };
        auto const whole = of(1), half = of(0.5);
        CHECK(half.beyond_first_order / whole.beyond_first_order == doctest::Approx(0.25).epsilon(0.1));
        CHECK(whole.beyond_first_order < 0.05 * whole.covariance.across_deviation());
        CHECK(whole.covariance.across == doctest::Approx(4 * half.covariance.across));
    }
}

TEST_CASE("seams of every kind, points that are held, and a head that is chosen at run time") {
    auto const chain = resting();
    Chain<Rest<Cell, Flange>, Rest<Cell, Part>, AnyHead> const any{
        chain.cell_from_flange, chain.cell_from_part, chain.flange_from_head, AnyHead(head())};
    auto const still = held({0.01, 0.005}, Plane<>{Pose<Part, Face>::identity()}, 0.5);
    auto const budget = budget_of(any, still, 2, {field_residual(1e-5, 1e-5)}, three_points());
    CHECK(budget.points[0].arc_length == 0);
    CHECK(budget.points[1].time == doctest::Approx(2.25));
    check_point(budget.points[1], 1e-5, 1e-5, budget.points[1].defocus_deviation());
    for (double const time : {0.01, 0.07}) {
        auto const seam = seam_along_x(0.4);
        auto const by_pair = SpotUnderErrors(chain, seam, time, time).sensitivities();
        auto const by_any = SpotUnderErrors(any, seam, time, time).sensitivities();
        CHECK(by_pair.across == by_any.across);
    }
}

TEST_CASE("what a budget is refused for") {
    auto const chain = resting();
    auto const seam = seam_along_x();
    std::vector<ErrorSource> const sources{mirror_noise(1e-6)};
    auto const said = [&](BudgetOptions const& options) {
        return refusal_of([&] { return budget_of(chain, seam, 0, sources, options); });
    };
    auto const with = [](double across, double along) {
        BudgetOptions options;
        options.tolerance = SeamTolerance{across, along};
        return options;
    };
    double const none = std::numeric_limits<double>::infinity();
    CHECK(said(with(1e-3, none)).empty());
    CHECK(has(said(with(0, none)), "tolerance across must be above 0; given was 0 m"));
    CHECK(has(said(with(-1e-3, none)), "above 0"));
    CHECK(has(said(with(1e-3, 0)), "along"));
    CHECK(has(said(with(std::numeric_limits<double>::quiet_NaN(), none)), "above 0"));
    CHECK(has(said(with(0.5, none)), "are these millimetres?"));
    BudgetOptions options;
    options.points = 1;
    CHECK(has(said(options), "2 points or more"));
    options.points = 2;
    options.probability = 1;
    CHECK(has(said(options), "probability"));
    CHECK(has(refusal_of([&] { return budget_of(chain, seam, 0, {}); }), "one error source or more"));
    CHECK(has(
        refusal_of([&] { return budget_of(chain, seam, std::numeric_limits<double>::quiet_NaN(), sources); }),
        "start time is not finite"));
    auto const far = at_speed(straight_between({0, 0}, {0.4, 0}), Plane<>{Pose<Part, Face>::identity()}, 0.1);
    auto const message =
        refusal_of([&] { return budget_of(chain, far, 0, sources, BudgetOptions{}, "lid seam 3"); });
    CHECK(has(message, "lid seam 3"));
    CHECK(has(message, "out of reach"));
}
