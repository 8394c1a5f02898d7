#include "seamhold/calibrate/field_polynomial.hpp"
#include "seamhold/calibrate/head_calibration.hpp"

#include <doctest/doctest.h>

#include "calibrate/head_marks.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

// Bent fields found together with head and mount. Bends are sines, which no polynomial is.

using namespace seamhold;
using namespace seamhold::test;
using P = HeadParameter;

namespace {

/// True less commanded angles: a smooth bend of up to some 2 mrad.
std::array<double, 2> bend(double x, double y) {
    return {0.8e-3 * std::sin(9 * x + 1) * std::cos(6 * y) + 1e-3 * std::sin(4 * x),
            1e-3 * std::cos(8 * y + 0.5) * std::cos(3 * x) - 0.5e-3 * std::sin(5 * x)};
}

std::vector<PlateMark> bent(std::vector<PlateMark> marks, MarkingCell const& cell) {
    for (auto& mark : marks) {
        auto const told = mark.command;
        auto const by = bend(told.x_mirror, told.y_mirror);
        mark = mark_of(cell, mark.cell_from_flange, told.x_mirror + by[0], told.y_mirror + by[1]);
        mark.command = told;
    }
    return marks;
}

HeadFitOptions field_options() {
    HeadFitOptions options;
    for (auto const parameter : {P::x_angle_scale, P::y_angle_scale})
        options.freed.push_back({parameter});
    options.field_degree = HeadFitOptions::lowest_that_suffices;
    return options;
}

} // namespace

TEST_CASE("field: Legendre's polynomials by their formulas") {
    // P₂ to P₄ as printed in every table (from memory).
    for (double const u : {-1.0, -0.3, 0.0, 0.7, 1.0}) {
        CHECK(FieldPolynomial::legendre(0, u) == 1);
        CHECK(FieldPolynomial::legendre(1, u) == u);
        CHECK(FieldPolynomial::legendre(2, u) == doctest::Approx((3 * u * u - 1) / 2));
        CHECK(FieldPolynomial::legendre(3, u) == doctest::Approx((5 * u * u * u - 3 * u) / 2));
        CHECK(FieldPolynomial::legendre(4, u) == doctest::Approx((35 * u * u * u * u - 30 * u * u + 3) / 8));
    }
    CHECK(field_terms(3).size() == 20);
    CHECK(to_string(field_terms(1)[4]) == "x mirror: degree 1 in y");
}

TEST_CASE("field: a bent field is found with head and mount, and what is left is noise") {
    Random random(821);
    for (std::size_t i = 0; i < runs(3); ++i) {
        MarkingCell const cell{random_open_head(random), random_pose<Flange, Head>(random, 0.3),
                               random_pose<Cell, Plate>(random, 1)};
        auto const parts = parts_of(cell.head, OpenBeam{});
        double const noise = 2e-5;
        auto const marks = with_noise(bent(marks_in(cell, random, 9), cell), random, noise);
        MarkingPlace const place{nudged(cell.flange_from_head, random, 0.01, 0.003), cell.cell_from_plate,
                                 true, false};
        auto const fit = calibrate_head(parts, marks, place, field_options());
        REQUIRE(fit.field);
        CHECK(fit.rms_before > 1e-3);
        // 486 marks, 972 numbers: their deviation is known to 2.5 %; twice that, and what a polynomial
        // leaves.
        CHECK(fit.deviation == doctest::Approx(noise).epsilon(0.08));
        CHECK(fit.field->rms == doctest::Approx(std::sqrt(2.0) * noise).epsilon(0.08));
        CHECK(fit.field->worst < 5.5 * noise);
        CHECK(fit.field->sampling < 1e-7);
        CHECK(fit.field->degree >= 4);
        CHECK(fit.outliers.size() <= 1);
        CHECK(std::find(fit.field->left_out.begin(), fit.field->left_out.end(), "x mirror: degree 1 in x") !=
              fit.field->left_out.end());
        // The head that came out hits, from a pose it never marked from, where the true one does.
        auto const head = real_head(fit.head);
        double worst = 0;
        auto const flange = looking(cell, 0.42, 0.15, -0.1, 1);
        for (double const x : {-0.14, -0.05, 0.03, 0.14})
            for (double const y : {-0.13, 0.02, 0.12}) {
                auto const by = bend(x, y);
                auto const truth = mark_of(cell, flange, x + by[0], y + by[1]);
                auto const got = place_on_plate(cell.cell_from_plate, flange, fit.flange_from_head,
                                                head.ray(Command<>{x, y, 0}));
                worst = std::max(worst, std::hypot(got.x - truth.x, got.y - truth.y));
            }
        MESSAGE("before " << fit.rms_before << " after " << fit.rms_after << " unseen " << worst);
        CHECK(worst < noise);
    }
}

TEST_CASE("field: a straight field asks for no terms, a given degree is taken") {
    Random random(822);
    MarkingCell const cell{random_open_head(random), random_pose<Flange, Head>(random, 0.3),
                           random_pose<Cell, Plate>(random, 1)};
    auto const parts = parts_of(cell.head, OpenBeam{});
    auto const marks = with_noise(marks_in(cell, random, 7), random, 2e-5);
    MarkingPlace const place{cell.flange_from_head, cell.cell_from_plate, true, false};
    auto options = field_options();
    auto const fit = calibrate_head(parts, marks, place, options);
    CHECK(fit.field->degree <= 1);
    CHECK(fit.head.map);
    options.field_degree = 3;
    auto const cubic = calibrate_head(parts, marks, place, options);
    CHECK(cubic.field->degree == 3);
    CHECK(cubic.field->polynomial.terms.size() + cubic.field->left_out.size() == 20);
    // On a known mount nothing but the freed scales is explained.
    auto const known = calibrate_head(parts, marks, {cell.flange_from_head, cell.cell_from_plate}, options);
    CHECK(known.field->left_out ==
          std::vector<std::string>{"x mirror: degree 1 in x", "y mirror: degree 1 in y"});
}

TEST_CASE("field: an earlier map stays under the new field") {
    Random random(823);
    MarkingCell cell{random_open_head(random), random_pose<Flange, Head>(random, 0.3),
                     random_pose<Cell, Plate>(random, 1)};
    PlainMap map{};
    map.x = {0.001, 0.01, -0.005, 0.02, 0.01, 0, 0.05, 0, 0.02, 0};
    map.y = {0, 0.004, 0.01, 0, 0.02, -0.01, 0, 0.03, 0, 0.05};
    cell.head.map = map;
    auto const parts = parts_of(cell.head, OpenBeam{}); // measured once, by other marks
    auto const marks = marks_in(cell, random, 7);
    HeadFitOptions options;
    options.field_degree = 2;
    auto const fit = calibrate_head(parts, marks, {cell.flange_from_head, cell.cell_from_plate}, options);
    // The old map meets the cubic to some 1e-7 rad; nothing is left for the new terms.
    for (auto const& term : fit.field->polynomial.terms)
        CHECK(std::abs(term.coefficient) < 1e-6);
    CHECK(fit.rms_after < 1e-6);
    CHECK(fit.field->rms < 1e-6);
}

TEST_CASE("field: what makes no field is refused") {
    Random random(824);
    MarkingCell const cell{random_open_head(random), random_pose<Flange, Head>(random, 0.3),
                           random_pose<Cell, Plate>(random, 1)};
    auto const parts = parts_of(cell.head, OpenBeam{});
    auto const marks = marks_in(cell, random, 3);
    MarkingPlace const place{cell.flange_from_head, cell.cell_from_plate, true, false};
    auto options = field_options();
    options.field_degree = 12;
    CHECK(has(refusal_of([&] { return calibrate_head(parts, marks, place, options); }),
              "a field of degree 12 needs"));
    options.field_degree = 13;
    CHECK(has(refusal_of([&] { return calibrate_head(parts, marks, place, options); }),
              "degree must be from 0 to 12"));
    options.field_degree = 2;
    auto flat = marks;
    double last_digits = 0;
    for (auto& mark : flat) {
        mark = mark_of(cell, mark.cell_from_flange, 0.01, mark.command.y_mirror);
        mark.x += last_digits += 1e-9; // read off one by one: no two rows are the same
    }
    options.freed.clear();
    CHECK(has(refusal_of([&] {
                  return calibrate_head(parts, flat, {cell.flange_from_head, cell.cell_from_plate}, options);
              }),
              "all commanded at one angle"));
}

TEST_CASE("field: a number with a drawn deviation stays near its drawing, and the field takes the rest") {
    Random random(8209);
    MarkingCell const drawn{random_open_head(random), random_pose<Flange, Head>(random, 0.3),
                            random_pose<Cell, Plate>(random, 1)};
    auto cell = drawn;
    cell.head = off_by(cell.head, {Off{HeadParameter::x_angle_scale, 0.004}});
    HeadFitOptions options;
    options.mark_deviation = 1e-3; // the drawing counts beside such marks
    options.field_degree = 3;
    auto const marks = marks_in(cell, random);
    MarkingPlace const known{cell.flange_from_head, cell.cell_from_plate, false, false};
    auto const fitted = [&](double drawn_deviation) {
        options.freed = {{HeadParameter::x_angle_scale, drawn_deviation}};
        return calibrate_head(parts_of(drawn.head, OpenBeam{}), marks, known, options);
    };
    auto const by_marks = fitted(std::numeric_limits<double>::infinity());
    CHECK(std::abs(by_marks.correction[HeadParameter::x_angle_scale] - 0.004) < 1e-9);
    CHECK_FALSE(by_marks.field->left_out.empty());
    auto const by_drawing = fitted(0.002);
    CHECK(by_drawing.parameters[0].bounds().contains(by_drawing.parameters[0].drawn + 0.0035));
    CHECK(by_drawing.parameters[0].deviation > 0.0015);
    // The heads are one and the same at the work.
    for (auto const& fit : {by_marks, by_drawing}) {
        CHECK(fit.rms_after < 1e-9);
        CHECK(fit.field->worst < 1e-6); // the map is sampled from the polynomial
    }
}
