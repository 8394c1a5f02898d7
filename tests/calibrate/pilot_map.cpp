#include "seamhold/calibrate/pilot_map.hpp"

#include "seamhold/calibrate/field_scale.hpp"
#include "seamhold/head/mirror_pair.hpp"
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

/// An invented pair of lights, in plain coordinates: process = shift + height · tilt + turned and scaled
/// pilot place, a little larger higher up; and terms of higher powers.
struct Lights {
    double shift_x, shift_y, tilt_x, tilt_y, scale, turn, growth;
    double stretch = 0; ///< of x against y
    double bow = 0;     ///< x grows by bow · x³, 1/m²

    MarkPlace process(MarkPlace const& p, double height) const {
        double const k = 1 + scale + growth * height;
        double const c = std::cos(turn), s = std::sin(turn);
        // The growth with height is in the axes of the turned field.
        double const x = p.x * (1 + stretch) + bow * p.x * p.x * p.x, y = p.y * (1 - stretch);
        return {shift_x + height * tilt_x + k * (c * x - s * y),
                shift_y + height * tilt_y + k * (s * x + c * y)};
    }
};

Lights random_lights(Random& random) {
    return {random.uniform(-5e-4, 5e-4), random.uniform(-5e-4, 5e-4), random.uniform(-0.01, 0.01),
            random.uniform(-0.01, 0.01), random.uniform(-0.02, 0.02), random.uniform(-0.02, 0.02),
            random.uniform(-0.1, 0.1)};
}

std::vector<PilotRow> pairs(Lights const& lights, int side, std::vector<double> const& heights,
                            double deviation, Random& random) {
    std::vector<PilotRow> rows;
    auto const noise = [&] { return deviation > 0 ? deviation * random.normal() : 0.0; };
    for (double const height : heights)
        for (int i = 0; i < side; ++i)
            for (int k = 0; k < side; ++k) {
                MarkPlace const pilot{-0.1 + 0.2 * i / (side - 1), -0.1 + 0.2 * k / (side - 1)};
                auto const process = lights.process(pilot, height);
                rows.push_back({height, pilot, {process.x + noise(), process.y + noise()}});
            }
    return rows;
}

double distance(MarkPlace const& a, MarkPlace const& b) { return std::hypot(a.x - b.x, a.y - b.y); }

} // namespace

TEST_CASE("a pilot map without errors is the truth of 1000 random heads, and its inverse is exact") {
    Random random(841);
    double worst = 0, back = 0;
    for (std::size_t i = 0; i < runs(1000); ++i) {
        auto lights = random_lights(random);
        PilotOptions options;
        options.terms = std::array{PilotTerms::similar, PilotTerms::affine, PilotTerms::cubic}[i % 3];
        if (i % 3 >= 1)
            lights.stretch = random.uniform(-0.01, 0.01);
        if (i % 3 == 2) {
            lights.bow = random.uniform(-1, 1);
            lights.growth = 0; // else its product with the bow is of the fourth power
        }
        auto const map = fit_pilot_map(pairs(lights, 5, {-0.01, 0.02}, 0, random), options);
        MarkPlace const pilot{random.uniform(-0.1, 0.1), random.uniform(-0.1, 0.1)};
        double const height = random.uniform(-0.02, 0.03);
        auto const process = map.process_place(pilot, height);
        worst = std::max(worst, distance(process, lights.process(pilot, height)));
        back = std::max(back, distance(map.pilot_place(process, height), pilot));
        CHECK(std::abs(map.shift_x().value - lights.shift_x) < 1e-13);
        CHECK(std::abs(map.shift_y().value - lights.shift_y) < 1e-13);
        CHECK(std::abs(map.pointing_x().value - lights.tilt_x) < 1e-11);
        CHECK(std::abs(map.pointing_y().value - lights.tilt_y) < 1e-11);
        if (i % 3 == 0) {
            CHECK(std::abs(map.scale().value - lights.scale) < 1e-12);
            CHECK(std::abs(map.turn().value - lights.turn) < 1e-12);
            CHECK(std::abs(map.growth().value - lights.growth * std::cos(lights.turn)) < 1e-10);
        }
    }
    CHECK(worst < 1e-13);
    CHECK(back < 1e-13);
}

TEST_CASE("a pilot map covers the truth as often as it says") {
    Random random(842);
    std::size_t const trials = runs(1500);
    std::array<std::size_t, 8> covered{};
    for (std::size_t i = 0; i < trials; ++i) {
        auto const lights = random_lights(random);
        auto const map = fit_pilot_map(pairs(lights, 3, {0, 0.03}, 2e-5, random));
        std::array<bool, 7> const hit{map.shift_x().bounds().contains(lights.shift_x),
                                      map.shift_y().bounds().contains(lights.shift_y),
                                      map.pointing_x().bounds().contains(lights.tilt_x),
                                      map.pointing_y().bounds().contains(lights.tilt_y),
                                      map.scale().bounds().contains(lights.scale),
                                      map.turn().bounds().contains(lights.turn),
                                      map.growth().bounds().contains(lights.growth * std::cos(lights.turn))};
        for (std::size_t k = 0; k < 7; ++k)
            covered[k] += hit[k] ? 1U : 0U;
        MarkPlace const pilot{0.06, -0.09};
        auto const fitted = map.process_place(pilot, 0.02), truth = lights.process(pilot, 0.02);
        Estimate const x{fitted.x, map.place_deviation(pilot, 0.02), map.degrees_of_freedom()};
        covered[7] += x.bounds().contains(truth.x) ? 1U : 0U;
    }
    for (auto const count : covered) {
        CHECK(static_cast<double>(count) / static_cast<double>(trials) > 0.93);
        CHECK(static_cast<double>(count) / static_cast<double>(trials) < 0.97);
    }
}

TEST_CASE("errors of a pilot map fall as one over the root of the number of marks") {
    Random random(843);
    auto const error = [&random](std::size_t repeats) {
        double sum = 0;
        for (std::size_t i = 0; i < runs(300); ++i) {
            std::vector<double> heights;
            for (std::size_t k = 0; k < repeats; ++k)
                heights.insert(heights.end(), {0.0, 0.03});
            auto const map = fit_pilot_map(pairs(Lights{}, 3, heights, 2e-5, random));
            sum += sqr(map.shift_x().value);
        }
        return std::sqrt(sum);
    };
    double const ratio = error(1) / error(9);
    CHECK(ratio > 2.5);
    CHECK(ratio < 3.6);
}

TEST_CASE("an outlier in ten of the pairs is named") {
    Random random(844);
    for (int i = 0; i < 50; ++i) {
        auto const lights = random_lights(random);
        auto rows = pairs(lights, 4, {0, 0.03}, 1e-5, random);
        rows[4].process.x += 1e-3;
        rows[17].process.y -= 2e-3;
        rows[27].process = {rows[27].process.x + 5e-4, rows[27].process.y - 5e-4};
        auto const map = fit_pilot_map(rows);
        CHECK(map.outlier()[4]);
        CHECK(map.outlier()[17]);
        CHECK(map.outlier()[27]);
        CHECK(distance(map.process_place({0.05, 0.05}, 0.01), lights.process({0.05, 0.05}, 0.01)) < 2e-5);
        CHECK(std::abs(map.residuals()[4].x - 1e-3) < 5e-5);
    }
}

TEST_CASE("one height does not make a pilot map, unless it is asked for") {
    Random random(845);
    auto const lights = random_lights(random);
    auto const flat = pairs(lights, 4, {0.01}, 2e-5, random);
    auto const text = refusal_of([&] { return fit_pilot_map(flat); });
    CHECK(has(text, "Mark a second height, at least"));
    CHECK(has(text, "not told from a tilt"));
    // What is said must do: at that distance the pointing is known to 1e-4 rad, about.
    double const step = std::stod(text.substr(text.find("at least ") + 9)) / 1000;
    CHECK(step > 0.004);
    CHECK(step < 0.1);
    auto const map = fit_pilot_map(pairs(lights, 4, {0.01, 0.01 + step}, 2e-5, random));
    CHECK(map.pointing_x().deviation < 1.5e-4);

    PilotOptions options;
    options.one_height = true;
    auto const only = fit_pilot_map(flat, options);
    CHECK(distance(only.process_place({0.05, 0.02}, 0.01), lights.process({0.05, 0.02}, 0.01)) < 5e-5);
    CHECK(has(refusal_of([&] {
                  return only.process_place({0.05, 0.02}, 0.02);
              }),
              "at a height of 0.01 m only"));
    CHECK(only.pointing_x().deviation == 0);
    CHECK(has(refusal_of([&] {
                  return fit_pilot_map(pairs(lights, 4, {0, 0.03}, 2e-5, random), options);
              }),
              "for one height was asked for"));
}

TEST_CASE("pairs that cannot be a pilot map are refused, and named") {
    Random random(846);
    auto const lights = random_lights(random);
    auto const good = pairs(lights, 3, {0, 0.03}, 2e-5, random);
    auto const changed = [&](auto const& change) {
        auto rows = good;
        for (auto& row : rows)
            change(row);
        return refusal_of([&] { return fit_pilot_map(rows); });
    };
    CHECK(changed([](PilotRow&) {}).empty());
    CHECK(has(changed([](PilotRow& row) {
                  row.process = {1000 * row.process.x, 1000 * row.process.y};
              }),
              "millimetres given as metres"));
    CHECK(has(changed([](PilotRow& row) { row.height *= 1000; }), "millimetres given as metres"));
    CHECK(has(changed([](PilotRow& row) { row.process.x *= -1; }), "mirrored"));
    CHECK(has(changed([](PilotRow& row) { std::swap(row.process.x, row.process.y); }), "mirrored"));
    CHECK(has(changed([](PilotRow& row) { row.process = {-row.process.y, row.process.x}; }), "turned"));
    CHECK(has(changed([](PilotRow& row) { row.pilot = {0.01, 0.01}; }), "are the same"));
    CHECK(
        has(changed([](PilotRow& row) { row.process.x += row.height > 0 ? std::nan("") : 0; }), "row 10 of"));
    auto few = good;
    few.resize(4);
    CHECK(has(refusal_of([&] { return fit_pilot_map(few); }), "needs 5 rows or more"));
    PilotOptions cubic;
    cubic.terms = PilotTerms::cubic;
    CHECK(has(refusal_of([&] { return fit_pilot_map(good, cubic); }), "do not determine it"));
    // Two marks swapped with each other, corners of the field.
    auto swapped = pairs(lights, 3, {0}, 2e-5, random);
    std::swap(swapped[0].process, swapped[8].process);
    CHECK(has(refusal_of([&] { return fit_pilot_map(swapped); }), "marks 1 and 9 look swapped"));
    auto const map = fit_pilot_map(good);
    CHECK(has(refusal_of([&] { return map.process_place({0, 0}, std::nan("")); }), "not finite"));
}

TEST_CASE("the lights' focus shift is the difference of their series") {
    auto const shift = pilot_focus_shift({0.5031, 2e-4, 8}, {0.5018, 1.5e-4, 8});
    CHECK(std::abs(shift.value - 0.0013) < 1e-15);
    CHECK(std::abs(shift.deviation - 2.5e-4) < 1e-15);
    // Satterthwaite by hand: (4 + 2.25)² / ((16 + 5.0625) / 8) = 14.8368.
    CHECK(std::abs(shift.degrees_of_freedom - 39.0625 / (21.0625 / 8)) < 1e-12);
}

TEST_CASE("scale and distance of a field from two heights, of 1000 random heads") {
    Random random(847);
    for (std::size_t i = 0; i < runs(1000); ++i) {
        // An ideal pair of mirrors by its closed form: docs of head, e between the mirrors.
        double const e = random.uniform(0, 0.05), distance = random.uniform(0.2, 0.8);
        double const scale = random.uniform(0.95, 1.05), turn = random.uniform(-0.1, 0.1);
        double const x0 = random.uniform(-0.01, 0.01), y0 = random.uniform(-0.01, 0.01);
        MirrorPair<> const head{e, 0.5 + e, 1, {-0.3, 0.3}, {-0.3, 0.3}, {-0.01, 0.01}, 1};
        std::vector<ScaleRow> rows;
        for (double const height : {0.0, 0.02})
            for (double const a : {-0.1, 0.0, 0.1})
                for (double const b : {-0.1, 0.0, 0.1}) {
                    double const z = distance - height;
                    double const y = z * std::tan(2 * b), x = (e + std::hypot(y, z)) * std::tan(2 * a);
                    double const c = scale * std::cos(turn), s = scale * std::sin(turn);
                    rows.push_back(scale_row(head, Command<>{a, b, 0}, height,
                                             {x0 + c * x - s * y, y0 + s * x + c * y}));
                }
        auto const fit = fit_field_scale(rows);
        CHECK(std::abs(fit.scale.value - scale) < 1e-11);
        CHECK(std::abs(fit.distance.value - distance) < 1e-11);
        CHECK(std::abs(fit.turn.value - turn) < 1e-11);
        CHECK(std::abs(fit.middle_x.value - x0) < 1e-12);
        CHECK(std::abs(fit.middle_y.value - y0) < 1e-12);
    }
}

TEST_CASE("scale and distance cover the truth as often as they say, and one height is refused") {
    Random random(848);
    std::size_t const trials = runs(1500);
    std::array<std::size_t, 3> covered{};
    auto const marks = [&](std::vector<double> const& heights, double deviation) {
        std::vector<ScaleRow> rows;
        for (double const height : heights)
            for (double const a : {-0.2, 0.0, 0.2})
                for (double const b : {-0.2, 0.0, 0.2})
                    rows.push_back({height,
                                    {0, 0},
                                    {a, b},
                                    {1.01 * (0.5 - height) * a + deviation * random.normal(),
                                     1.01 * (0.5 - height) * b + deviation * random.normal()}});
        return rows;
    };
    for (std::size_t i = 0; i < trials; ++i) {
        auto const fit = fit_field_scale(marks({0, 0.05}, 1e-5));
        covered[0] += fit.scale.bounds().contains(1.01) ? 1U : 0U;
        covered[1] += fit.distance.bounds().contains(0.5) ? 1U : 0U;
        covered[2] += fit.middle_x.bounds().contains(0) ? 1U : 0U;
    }
    for (auto const count : covered) {
        CHECK(static_cast<double>(count) / static_cast<double>(trials) > 0.93);
        CHECK(static_cast<double>(count) / static_cast<double>(trials) < 0.97);
    }
    auto const text = refusal_of([&] { return fit_field_scale(marks({0}, 1e-5)); });
    CHECK(has(text, "not told from the distance"));
    double const step = std::stod(text.substr(text.find("at least ") + 9)) / 1000;
    ScaleOptions free;
    free.worst_deviation = 1;
    // What is said must do, within what nine marks tell of their own scatter.
    CHECK(fit_field_scale(marks({0, step}, 1e-5), free).scale.deviation < 2e-3);
    CHECK(fit_field_scale(marks({0, step}, 1e-5), free).scale.deviation > 3e-4);
    CHECK(has(refusal_of([&] { return fit_field_scale(marks({0, 0.002}, 1e-5)); }), "mark heights at least"));

    auto const changed = [&](auto const& change) {
        auto rows = marks({0, 0.05}, 1e-5);
        for (auto& row : rows)
            change(row);
        return refusal_of([&] { return fit_field_scale(rows); });
    };
    CHECK(changed([](ScaleRow&) {}).empty());
    CHECK(has(changed([](ScaleRow& row) {
                  row.found = {1000 * row.found.x, 1000 * row.found.y};
              }),
              "millimetres given as metres"));
    CHECK(has(changed([](ScaleRow& row) { row.height *= 1000; }), "millimetres given as metres"));
    CHECK(has(changed([](ScaleRow& row) { row.found.x *= -1; }), "mirrored"));
    CHECK(has(changed([](ScaleRow& row) { row.height *= -1; }), "towards the head"));
    CHECK(has(changed([](ScaleRow& row) { row.slope = {0.1, 0.1}; }), "same command"));
    CHECK(has(changed([](ScaleRow& row) { row.found.x = std::nan(""); }), "row 1 of the field scale"));
}
