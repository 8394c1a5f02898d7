#include "seamhold/calibrate/focus_series.hpp"

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

// Invented beams; a caustic as ISO 11146-1 writes it: d² = d0² + Θ² (z − z0)².
struct Beam {
    double vertex, waist, opening;

    double width(double setting) const { return std::hypot(waist, opening * (setting - vertex)); }
};

std::vector<double> steps(double middle, double reach, int count) {
    std::vector<double> all;
    for (int i = 0; i < count; ++i)
        all.push_back(middle + reach * (2.0 * i / (count - 1) - 1));
    return all;
}

std::vector<FocusRow> marked(Beam const& beam, std::vector<double> const& settings) {
    std::vector<FocusRow> rows;
    for (double const setting : settings)
        rows.push_back({setting, beam.width(setting)});
    return rows;
}

Beam random_beam(Random& random) {
    double const waist = random.uniform(1e-4, 6e-4);
    return {random.uniform(-0.01, 0.01), waist, random.uniform(0.02, 0.2)};
}

/// Settings that reach out to some three Rayleigh lengths, not quite about the focus.
std::vector<double> around(Beam const& beam, Random& random, int count) {
    double const rayleigh = beam.waist / beam.opening;
    return steps(beam.vertex + random.uniform(-0.5, 0.5) * rayleigh, random.uniform(2, 3.5) * rayleigh,
                 count);
}

void scatter(std::vector<FocusRow>& rows, WidthScatter kind, double deviation, Random& random) {
    for (auto& row : rows)
        row.width = kind == WidthScatter::share ? row.width * std::exp(deviation * random.normal())
                                                : row.width + deviation * random.normal();
}

std::string joined(std::vector<std::string> const& texts) {
    std::string all;
    for (auto const& text : texts)
        all += text + "\n";
    return all;
}

Beam const beam{0.0007, 3e-4, 0.1};

} // namespace

TEST_CASE("a series without errors gives the focus of 1000 random beams") {
    Random random(801);
    for (std::size_t i = 0; i < runs(1000); ++i) {
        auto const truth = random_beam(random);
        int const count = 5 + static_cast<int>(random.index(12));
        auto const fit = fit_focus_series(marked(truth, around(truth, random, count)));
        double const rayleigh = truth.waist / truth.opening;
        CHECK(std::abs(fit.vertex.value - truth.vertex) < 1e-12 * std::abs(truth.vertex) + 1e-11 * rayleigh);
        CHECK(std::abs(fit.least_width / truth.waist - 1) < 1e-9);
        CHECK(std::abs(fit.opening / truth.opening - 1) < 1e-9);
        CHECK(std::count(fit.outlier.begin(), fit.outlier.end(), true) == 0);
        CHECK(has(joined(fit.warnings()), "one side") == (fit.rows_below < 2 || fit.rows_above < 2));
    }
}

TEST_CASE("the fit is the least of its sum of squares, seen by differences") {
    // A second derivation: the sum as the comments define it, in the test's own numbers (z0, d0, Θ).
    Random random(802);
    for (auto const kind : {WidthScatter::share, WidthScatter::length})
        for (int i = 0; i < 100; ++i) {
            auto const truth = random_beam(random);
            auto rows = marked(truth, around(truth, random, 9));
            scatter(rows, kind, kind == WidthScatter::share ? 0.02 : 0.02 * truth.waist, random);
            FocusSeriesOptions options;
            options.scatter = kind;
            options.find_outliers = false;
            auto const fit = fit_focus_series(rows, options);
            auto const sum = [&](Beam const& at) {
                double total = 0;
                for (auto const& row : rows)
                    total +=
                        sqr(kind == WidthScatter::share ? std::log(row.width / at.width(row.setting))
                                                        : (row.width - at.width(row.setting)) / truth.waist);
                return total;
            };
            Beam const found{fit.vertex.value, fit.least_width, fit.opening};
            double const least = sum(found), rayleigh = truth.waist / truth.opening;
            for (double const h : {-1e-4, 1e-4}) {
                CHECK(sum({found.vertex + h * rayleigh, found.waist, found.opening}) > least);
                CHECK(sum({found.vertex, found.waist * (1 + h), found.opening}) > least);
                CHECK(sum({found.vertex, found.waist, found.opening * (1 + h)}) > least);
            }
            double const freedom = 9 - 3;
            double const unit = kind == WidthScatter::share ? 1 : truth.waist;
            CHECK(std::abs(fit.deviation / (unit * std::sqrt(least / freedom)) - 1) < 1e-9);
        }
}

TEST_CASE("bounds of the focus cover the truth as often as they say") {
    for (auto const kind : {WidthScatter::share, WidthScatter::length}) {
        Random random(803);
        std::size_t const trials = runs(2000);
        std::size_t fieller = 0, narrow = 0, half = 0;
        for (std::size_t i = 0; i < trials; ++i) {
            auto const truth = random_beam(random);
            auto rows = marked(truth, around(truth, random, 11));
            scatter(rows, kind, kind == WidthScatter::share ? 0.03 : 0.04 * truth.waist, random);
            FocusSeriesOptions options;
            options.scatter = kind;
            auto const fit = fit_focus_series(rows, options);
            fieller += fit.vertex_bounds().contains(truth.vertex) ? 1U : 0U;
            narrow += fit.vertex.bounds().contains(truth.vertex) ? 1U : 0U;
            half += fit.vertex_bounds(0.5).contains(truth.vertex) ? 1U : 0U;
        }
        auto const share = [trials](std::size_t count) {
            return static_cast<double>(count) / static_cast<double>(trials);
        };
        CHECK(share(fieller) > 0.93);
        CHECK(share(fieller) < 0.97);
        CHECK(share(narrow) > 0.93);
        CHECK(share(narrow) < 0.97);
        CHECK(std::abs(share(half) - 0.5) < 0.045); // four standard deviations of 2000 trials
    }
}

TEST_CASE("errors of the focus fall as one over the root of the number of rows") {
    Random random(804);
    auto const error = [&random](int count) {
        double sum = 0;
        std::size_t const trials = runs(600);
        for (std::size_t i = 0; i < trials; ++i) {
            auto rows = marked(beam, steps(0, 0.008, count));
            scatter(rows, WidthScatter::share, 0.03, random);
            sum += sqr(fit_focus_series(rows).vertex.value - beam.vertex);
        }
        return std::sqrt(sum / static_cast<double>(trials));
    };
    double const few = error(12), many = error(48);
    // 600 trials tell a root mean square to 3 %; the ends weigh a little more in the short series.
    CHECK(few / many > 1.7);
    CHECK(few / many < 2.25);
}

TEST_CASE("one gross outlier in ten is named and does not bend the focus") {
    Random random(805);
    std::size_t const trials = runs(300);
    std::size_t named = 0, others = 0;
    double clean = 0, bent = 0;
    for (std::size_t i = 0; i < trials; ++i) {
        auto const truth = random_beam(random);
        auto rows = marked(truth, around(truth, random, 10));
        scatter(rows, WidthScatter::share, 0.01, random);
        FocusSeriesOptions plain;
        plain.find_outliers = false;
        auto without = rows;
        auto const odd = random.index(10);
        rows[odd].width *= random.unit() < 0.5 ? 1.6 : 0.6;
        without.erase(without.begin() + static_cast<std::ptrdiff_t>(odd));
        auto const fit = fit_focus_series(rows);
        named += fit.outlier[odd] ? 1U : 0U;
        others += static_cast<std::size_t>(std::count(fit.outlier.begin(), fit.outlier.end(), true)) -
                  (fit.outlier[odd] ? 1U : 0U);
        if (fit.outlier[odd])
            CHECK(has(joined(fit.warnings()),
                      "row " + std::to_string(odd + 1) + " of the focus series is off"));
        double const rayleigh = truth.waist / truth.opening;
        clean += sqr((fit_focus_series(without, plain).vertex.value - truth.vertex) / rayleigh);
        bent += sqr((fit.vertex.value - truth.vertex) / rayleigh);
    }
    CHECK(named == trials);
    CHECK(others <= trials / 50);
    CHECK(std::sqrt(bent / clean) < 1.05);
}

TEST_CASE("what marks do to widths does not move the focus") {
    auto const settings = steps(0.0011, 0.009, 11); // not about the focus
    auto const even = steps(beam.vertex, 0.009, 11);
    auto const focus_of = [](std::vector<FocusRow> rows, auto const& changed) {
        for (auto& row : rows)
            row.width = changed(row.width);
        return fit_focus_series(rows);
    };
    auto const larger = [](double w) { return 0.6 * w; };
    auto const blurred = [](double w) { return std::hypot(w, 2e-4); };
    auto const wider = [](double w) { return w + 1e-4; };
    // A Gaussian beam marks where its light is above a threshold: r² = (w²/2) ln(P / (threshold π w² / 2)).
    auto const threshold = [](double w) { return w * std::sqrt(std::log(4e-6 / (w * w)) / 2); };
    CHECK(std::abs(focus_of(marked(beam, settings), larger).vertex.value - beam.vertex) < 1e-13);
    CHECK(std::abs(focus_of(marked(beam, settings), blurred).vertex.value - beam.vertex) < 1e-13);
    CHECK(std::abs(focus_of(marked(beam, even), wider).vertex.value - beam.vertex) < 1e-11);
    CHECK(std::abs(focus_of(marked(beam, even), threshold).vertex.value - beam.vertex) < 1e-11);
    // Off the middle such widths shift the vertex, by a share of what the series is off, within its bounds.
    for (double const share : {0.1, 0.5}) {
        double const off = share * 0.009;
        auto const aside = marked(beam, steps(beam.vertex + off, 0.009, 11));
        auto const by_constant = focus_of(aside, wider), by_threshold = focus_of(aside, threshold);
        CHECK(std::abs(by_constant.vertex.value - beam.vertex) < 0.011 * off);
        CHECK(std::abs(by_constant.vertex.value - beam.vertex) > 0.001 * off);
        CHECK(std::abs(by_threshold.vertex.value - beam.vertex) < 0.14 * off);
        CHECK(by_constant.vertex_bounds().contains(beam.vertex));
        CHECK(by_threshold.vertex_bounds().contains(beam.vertex));
        CHECK(has(joined(by_constant.warnings()), "repeat the series about") == (share > 0.25));
    }
}

TEST_CASE("widths that grow differently on the two sides are told") {
    Random random(808);
    auto rows = marked(beam, steps(beam.vertex, 0.008, 15));
    scatter(rows, WidthScatter::share, 0.01, random);
    CHECK(fit_focus_series(rows).warnings().empty());
    for (double const sign : {1.0, -1.0}) {
        auto bent = rows;
        for (auto& row : bent)
            row.width *= 1 + sign * 0.2 * std::pow((row.setting - beam.vertex) / 0.008, 3);
        FocusSeriesOptions options;
        options.find_outliers = false;
        auto const fit = fit_focus_series(bent, options);
        CHECK(sign * fit.skew > 4);
        CHECK(has(joined(fit.warnings()), "two sides"));
    }
}

TEST_CASE("the focus does not depend on units, order or the settings' zero") {
    Random random(806);
    auto rows = marked(beam, steps(0, 0.008, 11));
    scatter(rows, WidthScatter::share, 0.03, random);
    auto const fit = fit_focus_series(rows);
    auto moved = rows;
    for (auto& row : moved)
        row = {row.setting + 0.3, row.width / 7};
    std::reverse(moved.begin(), moved.end());
    auto const other = fit_focus_series(moved);
    CHECK(std::abs(other.vertex.value - fit.vertex.value - 0.3) < 1e-14);
    CHECK(std::abs(other.vertex.deviation / fit.vertex.deviation - 1) < 1e-8);
    CHECK(std::abs(other.vertex_bounds().high - fit.vertex_bounds().high - 0.3) < 1e-13);
    CHECK(std::abs(other.least_width * 7 / fit.least_width - 1) < 1e-9);
}

TEST_CASE("series that say nothing of the focus are refused, saying what to do") {
    auto const refused = [](std::vector<FocusRow> const& rows) {
        return refusal_of([&] { return fit_focus_series(rows); });
    };
    auto const good = marked(beam, steps(0, 0.008, 11));
    CHECK(refused(good).empty());
    CHECK(has(refused({}), "needs 5 rows or more"));
    CHECK(has(refused({good[0], good[3], good[5], good[9]}), "given 4 at 4"));
    CHECK(has(refused({good[0], good[0], good[5], good[9], good[9]}), "given 5 at 3"));
    auto broken = good;
    broken[4].width = std::numeric_limits<double>::quiet_NaN();
    CHECK(has(refused(broken), "row 5 of the focus series is not finite"));
    broken[4].width = 0;
    CHECK(has(refused(broken), "row 5 of the focus series is not above 0"));

    // All on one side.
    CHECK(has(refused(marked(beam, steps(0.0057, 0.004, 9))), "does not have the focus between"));
    CHECK(has(refused(marked(beam, steps(0.0057, 0.004, 9))), "go on below"));
    CHECK(has(refused(marked(beam, steps(-0.0043, 0.004, 9))), "go on above"));
    // Widest in the middle; no change at all with scatter.
    auto hill = good;
    for (auto& row : hill)
        row.width = std::sqrt(4e-7 - 0.003 * sqr(row.setting));
    CHECK(has(refused(hill), "no clear minimum"));
    Random random(807);
    auto level = good;
    for (auto& row : level)
        row.width = 3e-4 * (1 + 0.03 * random.normal());
    CHECK(has(refused(level), "no clear minimum"));
    CHECK(has(refused(level), "go further out"));

    // Units and columns.
    auto slipped = good;
    for (auto& row : slipped)
        row.width *= 1000;
    CHECK(has(refused(slipped), "widths up to"));
    CHECK(has(refused(slipped), "millimetres given as metres"));
    slipped = good;
    for (auto& row : slipped)
        row.setting *= 1000;
    CHECK(has(refused(slipped), "settings that spread"));
    auto swapped = good;
    for (auto& row : swapped)
        row = {row.width, row.setting};
    CHECK(has(refused(swapped), "swapped"));
    for (auto& row : swapped)
        row.width += 0.5; // heights of the plate
    CHECK(has(refused(swapped), "look swapped"));
    CHECK(has(refusal_of([&] { return fit_focus_series({}, {}, "the hot series"); }), "the hot series"));
}
