#include "seamhold/calibrate/head_calibration.hpp"

#include <doctest/doctest.h>

#include "calibrate/head_marks.hpp"
#include "support/refusal.hpp"

#include <limits>
#include <string>
#include <vector>

// What a calibration of a head refuses, and in which words.

using namespace seamhold;
using namespace seamhold::test;
using P = HeadParameter;

namespace {

HeadFitOptions freeing(std::vector<HeadParameter> const& parameters) {
    HeadFitOptions options;
    for (auto const parameter : parameters)
        options.freed.push_back({parameter});
    return options;
}

struct Bench {
    MarkingCell cell;
    std::vector<PlateMark> marks;
};

Bench bench(Random& random, PlainHead const& head) {
    MarkingCell const cell{head, random_pose<Flange, Head>(random, 0.3), random_pose<Cell, Plate>(random, 1)};
    return {cell, with_noise(marks_in(cell, random), random, 2e-5)};
}

MarkingPlace known(MarkingCell const& cell) { return {cell.flange_from_head, cell.cell_from_plate}; }
MarkingPlace with_mount(MarkingCell const& cell) {
    return {cell.flange_from_head, cell.cell_from_plate, true, false};
}
MarkingPlace with_both(MarkingCell const& cell) {
    return {cell.flange_from_head, cell.cell_from_plate, true, true};
}

} // namespace

TEST_CASE("head: what marks do not tell is refused by name") {
    Random random(841);
    for (std::size_t i = 0; i < runs(10); ++i) {
        // A head in which nothing is off: then these are exactly one.
        auto head = random_open_head(random);
        head.mirrors = plain_pair(random.uniform(0.02, 0.06));
        auto const b = bench(random, head);
        auto const parts = parts_of(b.cell.head, OpenBeam{});
        auto const refused = [&](std::vector<PlateMark> const& marks, MarkingPlace const& place,
                                 std::vector<HeadParameter> const& parameters) {
            return refusal_of([&] { return calibrate_head(parts, marks, place, freeing(parameters)); });
        };
        // The first mirror turned is the incoming beam turned.
        auto const beam = refused(b.marks, known(b.cell), {P::x_zero_angle, P::beam_tilt_sideways});
        CHECK(
            has(beam, "the x mirror's zero angle and the incoming beam's sideways tilt are not told apart"));
        // The last mirror turned is the whole head turned about that mirror's axis.
        auto const tilt = refused(b.marks, with_mount(b.cell), {P::y_zero_angle});
        CHECK(has(tilt, "the y mirror's zero angle and the mount's turn about x are not told apart"));
        CHECK(has(tilt, "one and the same here as a tilt of the mount"));
        CHECK(has(tilt, "fix one"));
        // Seen from one pose, straight down, mount and plate are one.
        std::vector<PlateMark> once;
        add_marks(once, b.cell, looking(b.cell, 0.4, 0, 0, 0), 7, 0.15);
        CHECK(has(refused(once, with_both(b.cell), {}), "Mount and plate move together"));
        // At one height, flat, with small angles: the field's scale and the height.
        std::vector<PlateMark> flat;
        add_marks(flat, b.cell, looking(b.cell, 0.4, 0, 0, 0), 7, 0.04);
        auto const scale =
            refused(with_noise(flat, random, 2e-5), with_mount(b.cell), {P::x_angle_scale, P::y_angle_scale});
        CHECK(has(scale, "Marks at one height only do not tell field scale from mount height: mark a second "
                         "height"));
        add_marks(flat, b.cell, looking(b.cell, 0.6, 0.3, 0, 0), 7, 0.04);
        add_marks(flat, b.cell, looking(b.cell, 0.5, 0, 0.3, 2), 7, 0.04);
        CHECK(refused(with_noise(flat, random, 2e-5), with_mount(b.cell),
                      {P::x_angle_scale, P::y_angle_scale}) == "");
        // Behind a lens that is not telecentric height is scale, too.
        auto lens_head = random_lens_head(random);
        lens_head.lens->kappa_x = lens_head.lens->kappa_y = 0.3;
        auto const l = bench(random, lens_head);
        std::vector<PlateMark> once_more;
        add_marks(once_more, l.cell, looking(l.cell, 0.4, 0, 0, 0), 7, 0.1);
        CHECK(has(refusal_of([&] {
                      return calibrate_head(parts_of(lens_head, lens_of(*lens_head.lens)),
                                            with_noise(once_more, random, 2e-5), with_mount(l.cell),
                                            freeing({P::focal_length}));
                  }),
                  "mark a second height"));
    }
    // Behind a telecentric lens nothing tells the height, wherever it is marked.
    auto lens_head = random_lens_head(random);
    lens_head.lens->kappa_x = lens_head.lens->kappa_y = 0;
    auto const b = bench(random, lens_head);
    auto const parts = parts_of(lens_head, lens_of(*lens_head.lens));
    auto const refused = [&](MarkingPlace const& place, std::vector<HeadParameter> const& parameters) {
        return refusal_of([&] { return calibrate_head(parts, b.marks, place, freeing(parameters)); });
    };
    CHECK(has(refused(known(b.cell), {P::focal_plane_z}), "they say nothing about the focal plane's z"));
    CHECK(has(refused(known(b.cell), {P::separation}), "only the beam's direction counts"));
    CHECK(has(refused(with_mount(b.cell), {P::lens_axis_x}),
              "the lens axis's x and the mount's shift along x are not told apart"));
    CHECK(has(refused(with_mount(b.cell), {P::lens_axis_x}), "A shift of the beam"));
}

TEST_CASE("head: a drawn deviation lets nearly equal parameters be freed together") {
    Random random(842);
    auto const b = bench(random, random_open_head(random));
    auto const parts = parts_of(b.cell.head, OpenBeam{});
    HeadFitOptions options;
    options.mark_deviation = 2e-5;
    for (auto const p : {P::x_zero_angle, P::beam_tilt_sideways})
        options.freed.push_back({p, 1e-3});
    auto const fit = calibrate_head(parts, b.marks, known(b.cell), options);
    // Two equal measurements' worth: each is known to its drawn deviation over √2, against the other.
    for (auto const& number : fit.parameters)
        CHECK(number.deviation == doctest::Approx(1e-3 / std::sqrt(2.0)).epsilon(0.01));
    REQUIRE(fit.correlations.size() == 1);
    CHECK(fit.correlations[0].first == "x mirror's zero angle");
    CHECK(fit.correlations[0].second == "incoming beam's sideways tilt");
    CHECK(fit.correlations[0].value < -0.999);
}

TEST_CASE("head: units, columns and mirror images are recognised and named") {
    Random random(843);
    for (std::size_t i = 0; i < runs(20); ++i) {
        auto head = random_open_head(random);
        auto const b = bench(random, head);
        auto const parts = parts_of(b.cell.head, OpenBeam{});
        for (bool const freed : {false, true}) {
            MarkingPlace place = freed ? with_both(b.cell) : known(b.cell);
            if (freed) {
                place.flange_from_head = nudged(place.flange_from_head, random, 0.05, 0.01);
                place.cell_from_plate = nudged(place.cell_from_plate, random, 0.05, 0.01);
            }
            auto const refused = [&](auto const& change) {
                auto marks = b.marks;
                for (auto& mark : marks)
                    change(mark);
                return refusal_of(
                    [&] { return calibrate_head(parts, marks, place, freeing({P::x_angle_scale})); });
            };
            CHECK(refused([](PlateMark&) {}) == "");
            CHECK(
                has(refused([](PlateMark& m) { m.x *= 1000, m.y *= 1000; }), "millimetres given as metres"));
            CHECK(has(refused([](PlateMark& m) { m.x /= 0.0254, m.y /= 0.0254; }), "inches given as metres"));
            CHECK(
                has(refused([](PlateMark& m) { m.x /= 1000, m.y /= 1000; }), "metres given as millimetres"));
            CHECK(has(refused([](PlateMark& m) { std::swap(m.x, m.y); }), "have changed places"));
            CHECK(has(refused([](PlateMark& m) { m.x = -m.x; }), "mirrored in x"));
            CHECK(has(refused([](PlateMark& m) { m.y = -m.y; }), "mirrored in y"));
            CHECK(has(refused([](PlateMark& m) { std::swap(m.command.x_mirror, m.command.y_mirror); }),
                      "the two mirrors have changed places"));
            CHECK(has(refused([](PlateMark& m) {
                          m.command.x_mirror *= 57.29577951308232;
                          m.command.y_mirror *= 57.29577951308232;
                      }),
                      "degrees given as radians"));
            // One gross error in ten is none of these.
            std::size_t k = 0;
            CHECK(refused([&](PlateMark& m) { m.x += k++ % 10 == 3 ? 0.08 : 0.0; }) == "");
        }
    }
}

TEST_CASE("head: bad marks and clashing options are refused") {
    Random random(844);
    auto const b = bench(random, random_open_head(random));
    auto const parts = parts_of(b.cell.head, OpenBeam{});
    auto const refused = [&](std::vector<PlateMark> const& marks, MarkingPlace const& place,
                             HeadFitOptions const& options) {
        return refusal_of([&] { return calibrate_head(parts, marks, place, options); });
    };
    auto marks = b.marks;
    marks[7].x = std::numeric_limits<double>::quiet_NaN();
    CHECK(has(refused(marks, known(b.cell), freeing({P::separation})), "mark 8 holds a number"));
    auto const few = std::vector<PlateMark>(b.marks.begin(), b.marks.begin() + 3);
    CHECK(has(refused(few, with_mount(b.cell), freeing({P::separation})), "7 unknowns need 5 marks"));
    CHECK(has(refused(b.marks, known(b.cell), {}), "nothing of the head is freed"));
    CHECK(has(refused(b.marks, known(b.cell), freeing({P::separation, P::separation})), "freed twice"));
    CHECK(has(refused(b.marks, known(b.cell), freeing({P::focal_length})), "is a flat-field lens's"));
    HeadFitOptions prior;
    prior.freed.push_back({P::separation, 1e-3});
    CHECK(has(refused(b.marks, known(b.cell), prior), "set mark_deviation"));
    prior.mark_deviation = -1;
    CHECK(has(refused(b.marks, known(b.cell), prior), "must be above 0 m"));
    auto behind = known(b.cell);
    behind.cell_from_plate = behind.cell_from_plate *
                             Pose<Plate, Plate>{about_axis<Plate, Plate>({1, 0, 0}, 3.141592653589793), {}};
    CHECK(has(refused(b.marks, behind, freeing({P::separation})), "its z must point to the head"));

    // A lens whose chief rays are a table keeps them; its mirrors can be fitted.
    auto const lens_head = random_lens_head(random);
    auto lens = lens_of(*lens_head.lens);
    lens.x_slope = ChiefRaySlope<>::from_table({0, 0.2, 0.5}, {0, 0.05, 0.12});
    auto const table = parts_of(lens_head, lens);
    CHECK(has(
        refusal_of([&] { return calibrate_head(table, b.marks, known(b.cell), freeing({P::focal_length})); }),
        "given by a table"));
}

TEST_CASE("head: a lens with a table of chief rays, its mirrors fitted") {
    Random random(845);
    auto lens_head = random_lens_head(random);
    auto const b = bench(random, lens_head);
    // A straight table is the proportional slope.
    auto lens = lens_of(*lens_head.lens);
    for (auto* slope : {&lens.x_slope, &lens.y_slope}) {
        double const kappa = slope->angle(1.0);
        *slope = ChiefRaySlope<>::from_table({0, 0.3, 0.7}, {0, 0.3 * kappa, 0.7 * kappa});
    }
    MarkingCell off = b.cell;
    off.head = off_by(b.cell.head, {{P::axes_out_of_square, 0.003}});
    Random again(846);
    auto const fit = calibrate_head(parts_of(lens_head, lens), marks_in(off, again), known(off),
                                    freeing({P::axes_out_of_square}));
    CHECK(fit.correction[P::axes_out_of_square] == doctest::Approx(0.003).epsilon(1e-9));
}
