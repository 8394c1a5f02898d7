#ifndef SEAMHOLD_TESTS_CALIBRATE_HEAD_MARKS_HPP
#define SEAMHOLD_TESTS_CALIBRATE_HEAD_MARKS_HPP

#include "seamhold/calibrate/head_fit.hpp"
#include "support/poses.hpp"
#include "support/real_heads.hpp"

#include <vector>

// Heads that are off their drawing, in plain numbers, and the marks that they make on a plate. Beams are
// traced by the formulas of tests/support alone; what a parameter means is written here once more, by
// vectors.

namespace seamhold::test {

/// A parameter and how far a head is off in it.
struct Off {
    HeadParameter parameter;
    double by;
};

/// A head put off by an amount of one parameter; directions are those of `drawn`.
inline PlainHead off_by(PlainHead head, PlainMirrors const& drawn, HeadParameter parameter, double by) {
    using P = HeadParameter;
    auto& m = head.mirrors;
    auto const between = traced(drawn, 0.0, 0.0).between.direction;
    auto const normal_to = [](Vector<> const& v) { return times(1 / length(v), v); };
    auto const sideways = normal_to(cross_product(drawn.first.axis, drawn.incoming));
    auto const upright = cross_product(drawn.incoming, sideways);
    auto const tilt = [&](PlainMirror& mirror) {
        mirror.normal = turned_about(normal_to(cross_product(mirror.normal, mirror.axis)), mirror.normal, by);
    };
    switch (parameter) {
    case P::separation:
        m.entry = m.entry + times(-by, between);
        m.first.pivot = m.first.pivot + times(-by, between);
        break;
    case P::x_zero_angle:
        m.first.normal = turned_about(drawn.first.axis, m.first.normal, drawn.first.turn * by);
        break;
    case P::y_zero_angle:
        m.last.normal = turned_about(drawn.last.axis, m.last.normal, drawn.last.turn * by);
        break;
    case P::x_angle_scale:
        m.first.turn *= 1 + by;
        break;
    case P::y_angle_scale:
        m.last.turn *= 1 + by;
        break;
    case P::axes_out_of_square:
        m.first.axis = turned_about(between, m.first.axis, by);
        m.first.normal = turned_about(between, m.first.normal, by);
        break;
    case P::x_surface_offset:
        m.first.offset += by;
        break;
    case P::y_surface_offset:
        m.last.offset += by;
        break;
    case P::x_surface_tilt:
        tilt(m.first);
        break;
    case P::y_surface_tilt:
        tilt(m.last);
        break;
    case P::beam_offset_sideways:
        m.entry = m.entry + times(by, sideways);
        break;
    case P::beam_offset_upright:
        m.entry = m.entry + times(by, upright);
        break;
    case P::beam_tilt_sideways:
        m.incoming = turned_about(drawn.first.axis, m.incoming, by);
        break;
    case P::beam_tilt_upright:
        m.incoming = turned_about(times(-1.0, sideways), m.incoming, by);
        break;
    case P::focal_length:
        head.lens->focal_length += by;
        break;
    case P::x_chief_ray_slope:
        head.lens->kappa_x += by;
        break;
    case P::y_chief_ray_slope:
        head.lens->kappa_y += by;
        break;
    case P::lens_axis_x:
        head.lens->axis_x += by;
        break;
    case P::lens_axis_y:
        head.lens->axis_y += by;
        break;
    case P::focal_plane_z:
        head.lens->exit_z += by;
        break;
    }
    return head;
}

/// A head put off by all of them, in the order in which the directions of the drawing still hold: a mirror's
/// surface tilts on its axis, then turns with it, then the axis moves; the beam tilts upright, then sideways.
inline PlainHead off_by(PlainHead head, std::vector<Off> const& offs) {
    using P = HeadParameter;
    auto const drawn = head.mirrors;
    auto const apply = [&](auto const& which) {
        for (auto const& off : offs)
            if (which(off.parameter))
                head = off_by(head, drawn, off.parameter, off.by);
    };
    auto const early = [](P p) {
        return p == P::x_surface_tilt || p == P::y_surface_tilt || p == P::beam_tilt_upright;
    };
    auto const late = [](P p) { return p == P::axes_out_of_square || p == P::beam_tilt_sideways; };
    apply(early);
    apply([&](P p) { return !early(p) && !late(p); });
    apply(late);
    return head;
}

/// A cell in which a head marks a plate: what is true of it.
struct MarkingCell {
    PlainHead head;
    Pose<Flange, Head> flange_from_head;
    Pose<Cell, Plate> cell_from_plate;
};

/// The mark of a command, found without error.
inline PlateMark mark_of(MarkingCell const& cell, Pose<Cell, Flange> const& cell_from_flange, double x,
                         double y) {
    auto const line = beam_of(cell.head, x, y).line;
    auto const plate_from_head = inverse(cell.cell_from_plate) * (cell_from_flange * cell.flange_from_head);
    auto const p = plate_from_head * Point<Head>{line.point.x, line.point.y, line.point.z};
    auto const d = plate_from_head * Direction<Head>{line.direction.x, line.direction.y, line.direction.z};
    return {cell_from_flange, {x, y, 0}, p.x - p.z / d.z * d.x, p.y - p.z / d.z * d.y};
}

/// A flange pose from which the head looks at the plate from a height, m, tilted by angles about its x and y
/// axes, rad, and spun about the plate's normal.
inline Pose<Cell, Flange> looking(MarkingCell const& cell, double height, double tilt_x, double tilt_y,
                                  double spin, double x = 0, double y = 0) {
    auto const down = about_axis<Plate, Head>({1, 0, 0}, 3.14159265358979323846);
    auto const turned = about_axis<Plate, Plate>({0, 0, 1}, spin) * down *
                        about_axis<Head, Head>({1, 0, 0}, tilt_x) * about_axis<Head, Head>({0, 1, 0}, tilt_y);
    auto const back = turned * Direction<Head>{0, 0, -height};
    Pose<Plate, Head> const plate_from_head{turned, {x + back.x, y + back.y, back.z}};
    return cell.cell_from_plate * plate_from_head * inverse(cell.flange_from_head);
}

/// Marks of `side` times `side` commands up to ± reach from a flange pose.
inline void add_marks(std::vector<PlateMark>& marks, MarkingCell const& cell,
                      Pose<Cell, Flange> const& cell_from_flange, int side, double reach) {
    for (int i = 0; i < side; ++i)
        for (int k = 0; k < side; ++k)
            marks.push_back(mark_of(cell, cell_from_flange, reach * (2.0 * i / (side - 1) - 1),
                                    reach * (2.0 * k / (side - 1) - 1)));
}

/// Marks from six poses at three heights, tilted both ways and spun, all in a cell.
inline std::vector<PlateMark> marks_in(MarkingCell const& cell, Random& random, int side = 3,
                                       double reach = 0.15) {
    std::vector<PlateMark> marks;
    double const tilts[6][2] = {{0, 0}, {0.4, 0}, {0, 0.4}, {-0.4, 0.2}, {0.2, -0.4}, {-0.2, -0.3}};
    for (int i = 0; i < 6; ++i)
        add_marks(marks, cell,
                  looking(cell, 0.3 + 0.1 * (i % 3) + random.uniform(0, 0.05),
                          tilts[i][0] + random.uniform(-0.05, 0.05),
                          tilts[i][1] + random.uniform(-0.05, 0.05), random.uniform(0, 6.28),
                          random.uniform(-0.05, 0.05), random.uniform(-0.05, 0.05)),
                  side, reach);
    return marks;
}

/// The same marks found with normal errors of a deviation, m, in both directions.
inline std::vector<PlateMark> with_noise(std::vector<PlateMark> marks, Random& random, double deviation) {
    for (auto& mark : marks) {
        mark.x += deviation * random.normal();
        mark.y += deviation * random.normal();
    }
    return marks;
}

/// A pose moved a little: turned by up to `turn`, rad, and shifted by up to `shift`, m.
template <class To, class From>
Pose<To, From> nudged(Pose<To, From> const& pose, Random& random, double turn, double shift) {
    auto const a = random.on_sphere<3>(), b = random.on_sphere<3>();
    double const way = random.uniform(0, shift);
    return {pose.rotation *
                about_axis<From, From>(Direction<From>{a[0], a[1], a[2]}, random.uniform(0, turn)),
            pose.origin + Direction<To>{way * b[0], way * b[1], way * b[2]}};
}

} // namespace seamhold::test

#endif
