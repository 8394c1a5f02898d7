#include "seamhold/calibrate/focus_zero.hpp"

#include "seamhold/calibrate/thermal_fit.hpp"
#include "seamhold/head/focus.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <array>
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

/// An invented field: where the focus lies at mirror angles, m.
struct Field {
    double zero, x, y, xx, xy, yy;

    double at(double u, double v) const {
        return zero + x * u + y * v + xx * u * u + xy * u * v + yy * v * v;
    }
};

Field random_field(Random& random) {
    return {random.uniform(-0.01, 0.01), random.uniform(-0.01, 0.01), random.uniform(-0.01, 0.01),
            random.uniform(-0.1, 0.1),   random.uniform(-0.1, 0.1),   random.uniform(-0.1, 0.1)};
}

/// Series at places of a grid, `side` by `side`, ±0.15 rad; widths scatter by a share of themselves.
std::vector<FocusFieldSeries> series_over(Field const& field, int side, int rows, double deviation,
                                          Random& random) {
    std::vector<FocusFieldSeries> all;
    for (int i = 0; i < side; ++i)
        for (int k = 0; k < side; ++k) {
            double const x = side > 1 ? -0.15 + 0.3 * i / (side - 1) : 0;
            double const y = side > 1 ? -0.15 + 0.3 * k / (side - 1) : 0;
            FocusFieldSeries one{x, y, {}};
            double const at = field.at(x, y);
            for (int j = 0; j < rows; ++j) {
                double const setting = at + 0.001 + 0.008 * (2.0 * j / (rows - 1) - 1);
                double const noise = deviation > 0 ? std::exp(deviation * random.normal()) : 1;
                one.rows.push_back({setting, noise * std::hypot(3e-4, 0.1 * (setting - at))});
            }
            all.push_back(one);
        }
    return all;
}

} // namespace

TEST_CASE("the focus over the field without errors is the truth of 1000 random fields") {
    Random random(831);
    for (std::size_t i = 0; i < runs(1000); ++i) {
        auto truth = random_field(random);
        auto const kind = random.index(3);
        if (kind < 2)
            truth.xx = truth.xy = truth.yy = 0;
        if (kind < 1)
            truth.x = truth.y = 0;
        auto const places = series_over(truth, 3, 7, 0, random);
        auto const zero = fit_focus_zero(
            places, std::array{FocusField::level, FocusField::tilted, FocusField::bowed}[kind]);
        double const x = random.uniform(-0.15, 0.15), y = random.uniform(-0.15, 0.15);
        CHECK(std::abs(zero.at(x, y).value - truth.at(x, y)) < 1e-12); // 1e-10 of the settings' span
        CHECK(std::abs(zero.zero().value - truth.zero) < 1e-12);
        if (kind == 2) {
            double const terms[] = {truth.zero, truth.x, truth.y, truth.xx, truth.xy, truth.yy};
            for (int k = 0; k < 6; ++k)
                CHECK(std::abs(zero.terms(k) - terms[k]) < 1e-10);
        }
        CHECK(!zero.odd);
    }
}

TEST_CASE("the focus over the field covers the truth as often as it says") {
    Random random(832);
    std::size_t const trials = runs(1000);
    std::size_t middle = 0, corner = 0, joint = 0, alarms = 0;
    for (std::size_t i = 0; i < trials; ++i) {
        auto const truth = random_field(random);
        auto const zero = fit_focus_zero(series_over(truth, 3, 7, 0.03, random), FocusField::bowed);
        middle += zero.zero().bounds().contains(truth.zero) ? 1U : 0U;
        corner += zero.at(0.15, -0.15).bounds().contains(truth.at(0.15, -0.15)) ? 1U : 0U;
        Eigen::VectorXd off(6);
        off << truth.zero, truth.x, truth.y, truth.xx, truth.xy, truth.yy;
        off -= zero.terms;
        double const f = off.dot(zero.covariance.ldlt().solve(off)) / 6;
        joint += f < f_quantile(0.95, 6, zero.degrees_of_freedom) ? 1U : 0U;
        alarms += zero.misfit < 0.05 ? 1U : 0U;
    }
    auto const share = [trials](std::size_t count) {
        return static_cast<double>(count) / static_cast<double>(trials);
    };
    for (auto const count : {middle, corner, joint}) {
        CHECK(share(count) > 0.93);
        CHECK(share(count) < 0.97);
    }
    CHECK(share(alarms) < 0.08);
    CHECK(share(alarms) > 0.02);
}

TEST_CASE("errors of the focus zero fall as one over the root of the number of places") {
    Random random(833);
    auto const error = [&random](int side) {
        double sum = 0;
        std::size_t const trials = runs(200);
        for (std::size_t i = 0; i < trials; ++i)
            sum +=
                sqr(fit_focus_zero(series_over({}, side, 7, 0.03, random), FocusField::level).zero().value);
        return std::sqrt(sum / static_cast<double>(trials));
    };
    double const ratio = error(2) / error(6);
    CHECK(ratio > 2.4); // of 3; 200 trials tell each to 5 %
    CHECK(ratio < 3.7);
}

TEST_CASE("an odd place is named") {
    Random random(834);
    for (int i = 0; i < 50; ++i) {
        auto places = series_over(random_field(random), 4, 9, 0.01, random);
        auto const odd = random.index(16);
        for (auto& row : places[odd].rows)
            row.setting += 0.002;
        auto const zero = fit_focus_zero(places, FocusField::bowed);
        REQUIRE(zero.odd);
        CHECK(*zero.odd == odd);
        CHECK(zero.misfit < 1e-3);
    }
}

TEST_CASE("series at five by five places become a focus surface for the head") {
    // The lens of an invented law whose spot is sharp on a plane half a metre away, bent by the field.
    LinearFocus<> const law{0.5, 8};
    Field const field{0.0002, 0.001, -0.002, 0.01, 0.005, 0.02};
    Random random(835);
    auto const zero = fit_focus_zero(series_over(field, 5, 9, 0, random), FocusField::bowed);
    auto const rows = zero.surface_rows();
    CHECK(rows.size() == 25);
    auto const surface = fit_focus_surface(law, rows, [](double, double) { return 0.5; });
    CHECK(std::abs(surface.shift(0.07, -0.1) - 8 * field.at(0.07, -0.1)) < 1e-9);
}

TEST_CASE("places that do not determine the field are refused") {
    Random random(836);
    auto places = series_over({}, 3, 7, 0.01, random);
    auto const refused = [&](FocusField field) {
        return refusal_of([&] { return fit_focus_zero(places, field); });
    };
    for (auto& place : places)
        place.y = 2 * place.x;
    CHECK(refused(FocusField::level).empty());
    CHECK(has(refused(FocusField::tilted), "lie on a line"));
    CHECK(has(refused(FocusField::bowed), "three by three"));
    places = series_over({}, 3, 7, 0.01, random);
    places.resize(5);
    CHECK(has(refused(FocusField::bowed), "needs series at 6 places"));
    places[3].rows.resize(3);
    CHECK(has(refused(FocusField::tilted), "the focus series at place 4 needs 5 rows"));
    places[3].x = std::numeric_limits<double>::infinity();
    CHECK(has(refused(FocusField::tilted), "place 4 has a place that is not finite"));
    places.clear();
    CHECK(has(refused(FocusField::level), "given 0"));
}

TEST_CASE("the shift for a watt of 1000 random heads, cold and hot") {
    Random random(837);
    for (std::size_t i = 0; i < runs(1000); ++i) {
        double const per_watt = random.uniform(-1e-6, 1e-6), ratio = random.uniform(1, 10);
        std::vector<FocusAtPower> series;
        for (double const power : {0.0, 2000.0, 4000.0, 6000.0}) {
            // The plate's path is met where the command and the shift together are 0.5 mm.
            double const shift = per_watt * power;
            series.push_back({power, {(5e-4 - shift) / ratio, 1e-6, 8}});
        }
        auto const fit = fit_thermal_shift(series, FocusSetting::command, ratio);
        CHECK(std::abs(fit.per_watt.value - per_watt) < 1e-9 * 1e-6);
        CHECK(fit.shift(20).steady(3000) == 3000 * fit.per_watt.value);
        // The plate follows the focus.
        for (auto& one : series)
            one.vertex.value *= -1;
        CHECK(std::abs(fit_thermal_shift(series, FocusSetting::plate_distance, ratio).per_watt.value -
                       per_watt) < 1e-15);
        for (double const residual : fit.residuals)
            CHECK(std::abs(residual) < 1e-15);
    }
}

TEST_CASE("the shift for a watt covers the truth as often as it says") {
    Random random(838);
    std::size_t const trials = runs(2000);
    std::size_t covered = 0;
    for (std::size_t i = 0; i < trials; ++i) {
        std::vector<FocusAtPower> series;
        for (double const power : {50.0, 4000.0}) {
            double const at = 3e-7 * power; // the command that makes up for −0.3 µm/W
            std::vector<FocusRow> rows;
            for (double const setting : {-8., -6., -4., -2., 0., 2., 4., 6., 8.})
                rows.push_back({1e-3 * setting, std::exp(0.03 * random.normal()) *
                                                    std::hypot(3e-4, 0.1 * (1e-3 * setting - at))});
            series.push_back({power, fit_focus_series(rows).vertex});
        }
        covered +=
            fit_thermal_shift(series, FocusSetting::command).per_watt.bounds().contains(-3e-7) ? 1U : 0U;
    }
    CHECK(static_cast<double>(covered) / static_cast<double>(trials) > 0.93);
    CHECK(static_cast<double>(covered) / static_cast<double>(trials) < 0.97);
}

TEST_CASE("cold and hot series that say nothing are refused") {
    auto const refused = [](std::vector<FocusAtPower> const& series, double ratio = 1) {
        return refusal_of([&] { return fit_thermal_shift(series, FocusSetting::command, ratio); });
    };
    CHECK(refused({{0, {0}}, {4000, {1e-3}}}).empty());
    CHECK(has(refused({{4000, {1e-3}}}), "a cold and a hot series"));
    CHECK(has(refused({{4000, {0}}, {4000, {1e-3}}}), "two different powers"));
    CHECK(has(refused({{0, {0}}, {4, {1e-3}}}), "kilowatts"));
    CHECK(has(refused({{0, {0}}, {4000, {1}}}), "millimetres given as metres"));
    CHECK(has(refused({{-1, {0}}, {4000, {1e-3}}}), "series 1"));
    CHECK(has(refused({{0, {0, -1}}, {4000, {1e-3}}}), "standard deviation"));
    CHECK(has(refused({{0, {0}}, {4000, {1e-3}}}, 0), "above 0"));
}

TEST_CASE("a focus zero becomes the head's focus shift") {
    // A lens moved by +0.1 mm brings the focus of a head of ratio 8 back: it lay 0.8 mm too near (by hand).
    auto const shift = focus_shift_of({1e-4, 2e-5, 7}, 8);
    CHECK(shift.value == doctest::Approx(-8e-4));
    CHECK(shift.deviation == doctest::Approx(1.6e-4));
    CHECK(shift.degrees_of_freedom == 7);
    CHECK(focus_shift_of({1e-4, 2e-5, 7}, -8).deviation == doctest::Approx(1.6e-4));
}
