#include "seamhold/calibrate/head_calibration.hpp"

#include <doctest/doctest.h>

#include "calibrate/head_marks.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

// Heads off their drawing, found again from marks: the truth, and the marks that it makes, by plain vectors.

using namespace seamhold;
using namespace seamhold::test;
using P = HeadParameter;

namespace {

/// What an ordinary head is off by in a parameter, in its unit.
double ordinary(HeadParameter parameter) {
    std::string const unit = unit_of(parameter);
    return unit == "m" ? millimetres(1) : unit == "rad" ? milliradians(5) : 0.01;
}

std::vector<Off> random_offs(Random& random, std::vector<HeadParameter> const& parameters) {
    std::vector<Off> offs;
    for (auto const parameter : parameters)
        offs.push_back({parameter, ordinary(parameter) * random.uniform(-1, 1)});
    return offs;
}

MarkingCell off_cell(MarkingCell cell, std::vector<Off> const& offs) {
    cell.head = off_by(cell.head, offs);
    return cell;
}

HeadFitOptions freeing(std::vector<HeadParameter> const& parameters) {
    HeadFitOptions options;
    for (auto const parameter : parameters)
        options.freed.push_back({parameter});
    return options;
}

std::vector<HeadParameter> const with_mount{P::separation,         P::x_angle_scale,     P::y_angle_scale,
                                            P::axes_out_of_square, P::beam_tilt_upright, P::x_zero_angle};
std::vector<HeadParameter> const with_known_mount{
    P::separation,   P::x_angle_scale,    P::y_angle_scale,    P::axes_out_of_square,  P::x_zero_angle,
    P::y_zero_angle, P::y_surface_offset, P::x_surface_offset, P::beam_offset_upright, P::y_surface_tilt};

} // namespace

TEST_CASE("head: noise-free marks give the head and the mount back") {
    Random random(801);
    double worst = 0, worst_pose = 0;
    for (std::size_t i = 0; i < runs(1000); ++i) {
        MarkingCell const drawn{random_open_head(random), random_pose<Flange, Head>(random, 0.3),
                                random_pose<Cell, Plate>(random, 1)};
        auto const offs = random_offs(random, with_mount);
        auto const cell = off_cell(drawn, offs);
        auto const marks = marks_in(cell, random);
        MarkingPlace const place{nudged(cell.flange_from_head, random, 0.05, 0.02),
                                 nudged(cell.cell_from_plate, random, 0.05, 0.02), true, i % 2 == 0};
        auto const parts = parts_of(drawn.head, OpenBeam{});
        auto const known_plate = MarkingPlace{place.flange_from_head, cell.cell_from_plate, true, false};
        auto const fit = calibrate_head(parts, marks, i % 2 == 0 ? place : known_plate, freeing(with_mount));
        for (std::size_t k = 0; k < offs.size(); ++k)
            worst = std::max(worst, std::abs(fit.correction[offs[k].parameter] - offs[k].by));
        worst_pose = std::max({worst_pose, difference(fit.flange_from_head, cell.flange_from_head),
                               difference(fit.cell_from_plate, cell.cell_from_plate)});
    }
    CHECK(worst < 1e-9);
    CHECK(worst_pose < 1e-9);
    MESSAGE(worst << " " << worst_pose);
}
