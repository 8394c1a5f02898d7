#ifndef SEAMHOLD_FILE_JOB_SHAPE_HPP
#define SEAMHOLD_FILE_JOB_SHAPE_HPP

#include "seamhold/file/toml.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/curves.hpp"
#include "seamhold/seam/stitches.hpp"

#include <numbers>
#include <string>
#include <string_view>
#include <vector>

/// The shapes of a job's seams, each from the dimensions that a drawing gives. Every key that a shape needs
/// is checked here, all others are left to `finish`.
namespace seamhold::detail {

enum class ShapeKind {
    straight,
    arc,
    circle,
    point,
    ring,
    c,
    staple,
    s,
    slot,
    ellipse,
    wave,
    spiral,
    polyline,
    curve,
    taught,
    lettering
};

inline ShapeKind read_kind(TomlTable& table) {
    return table.choice<ShapeKind>("shape", {{"straight", ShapeKind::straight},
                                             {"arc", ShapeKind::arc},
                                             {"circle", ShapeKind::circle},
                                             {"point", ShapeKind::point},
                                             {"ring", ShapeKind::ring},
                                             {"c", ShapeKind::c},
                                             {"staple", ShapeKind::staple},
                                             {"s", ShapeKind::s},
                                             {"slot", ShapeKind::slot},
                                             {"ellipse", ShapeKind::ellipse},
                                             {"wave", ShapeKind::wave},
                                             {"spiral", ShapeKind::spiral},
                                             {"polyline", ShapeKind::polyline},
                                             {"curve", ShapeKind::curve},
                                             {"taught", ShapeKind::taught},
                                             {"lettering", ShapeKind::lettering}});
}

inline FacePoint read_face_point_mm(TomlTable& table, std::string_view key) {
    auto const p = table.numbers<2>(key);
    return {millimetres(p[0]), millimetres(p[1])};
}

inline std::vector<FacePoint> read_face_points_mm(TomlTable& table, std::string_view key) {
    std::vector<FacePoint> points;
    for (auto const& p : table.lists<2>(key))
        points.push_back({millimetres(p[0]), millimetres(p[1])});
    return points;
}

/// A dimension that must be above 0, m.
inline double read_dimension_mm(TomlTable& table, std::string_view key) {
    return millimetres(table.number(key, above_zero));
}

/// What `make` makes, first without the part that `key` asks for, so that a fault lies where it is told:
/// at `rest_key` where it is there without that part too.
template <class Make>
DrawnShape made_with(TomlTable& table, std::string_view key, std::string_view rest_key, Make const& make) {
    double const extra = millimetres(table.number_or(key, 0, zero_or_more));
    auto const plain = table.told_where(rest_key, [&] { return make(0.0); });
    return extra > 0 ? table.told_where(key, [&] { return make(extra); }) : plain;
}

/// Shapes that stand on the face with places of their own.
inline DrawnShape read_straight(TomlTable& table) {
    auto const from = read_face_point_mm(table, "from_mm");
    auto const to = read_face_point_mm(table, "to_mm");
    return table.told_where("to_mm", [&] { return straight_between(from, to); });
}

inline DrawnShape read_circle(TomlTable& table) {
    auto const center = read_face_point_mm(table, "center_mm");
    double const diameter = read_dimension_mm(table, "diameter_mm");
    double const start = degrees(table.number_or("start_deg", 0, any_number));
    return circle_around(center, diameter, start, table.truth_or("clockwise", false));
}

inline DrawnShape read_arc(TomlTable& table) {
    auto const center = read_face_point_mm(table, "center_mm");
    double const radius = read_dimension_mm(table, "radius_mm");
    double const start = degrees(table.number("start_deg", any_number));
    double const turn = degrees(table.number("turn_deg", any_number));
    return table.told_where("turn_deg", [&] { return arc_around(center, radius, start, turn); });
}

/// Lines and curves through points of the face.
inline DrawnShape read_polyline(TomlTable& table) {
    auto const points = read_face_points_mm(table, "points_mm");
    if (!table.truth_or("closed", false))
        return made_with(table, "corner_radius_mm", "points_mm",
                         [&](double radius) { return polyline(points, radius); });
    double const radius = millimetres(table.number_or("corner_radius_mm", 0, zero_or_more));
    table.told_where("points_mm", [&] { return closed_polyline(points); });
    return made_with(table, "overlap_mm", "corner_radius_mm",
                     [&](double overlap) { return closed_polyline(points, radius, overlap); });
}

inline DrawnShape read_curve(TomlTable& table) {
    auto const points = read_face_points_mm(table, "points_mm");
    if (!table.truth_or("closed", false))
        return table.told_where("points_mm", [&] { return smooth_curve(points); });
    return made_with(table, "overlap_mm", "points_mm",
                     [&](double overlap) { return smooth_loop(points, overlap); });
}

inline DrawnShape read_wave(TomlTable& table) {
    double const pitch = read_dimension_mm(table, "pitch_mm");
    double const amplitude = read_dimension_mm(table, "amplitude_mm");
    double const length = table.one_of({"length_mm", "pitches"}) == "pitches"
                              ? table.number("pitches", above_zero) * pitch
                              : read_dimension_mm(table, "length_mm");
    double const least = millimetres(table.number_or("least_radius_mm", 0.1, above_zero));
    return table.told_where("amplitude_mm", [&] { return wave(pitch, amplitude, length, least); });
}

inline DrawnShape read_spiral(TomlTable& table) {
    double const inner = millimetres(table.number("inner_radius_mm", zero_or_more));
    double const outer = read_dimension_mm(table, "outer_radius_mm");
    double const pitch = read_dimension_mm(table, "pitch_mm");
    double const start = degrees(table.number_or("start_deg", 0, any_number));
    constexpr double most = 1000;
    if (outer - inner > most * pitch)
        table.fail("pitch_mm", "a spiral of more than 1000 turns is not allowed; this has " +
                                   fixed((outer - inner) / pitch, 0));
    bool const inwards = table.truth_or("inwards", false);
    return table.told_where("inner_radius_mm",
                            [&] { return (inwards ? spiral_in : spiral_out)(inner, outer, pitch, start); });
}

/// Stitches that are drawn about the face's origin.
inline DrawnShape read_stitch(TomlTable& table, ShapeKind kind) {
    switch (kind) {
    case ShapeKind::ring: {
        double const diameter = read_dimension_mm(table, "diameter_mm");
        double const start = degrees(table.number_or("start_deg", 0, any_number));
        return made_with(table, "overlap_mm", "diameter_mm",
                         [&](double overlap) { return ring(diameter, overlap, start); });
    }
    case ShapeKind::c: {
        double const diameter = read_dimension_mm(table, "diameter_mm");
        double const opening = read_dimension_mm(table, "opening_mm");
        return table.told_where("opening_mm", [&] { return c_stitch(diameter, opening); });
    }
    case ShapeKind::staple: {
        double const back = read_dimension_mm(table, "back_mm");
        double const leg = read_dimension_mm(table, "leg_mm");
        double const radius = millimetres(table.number("corner_radius_mm", zero_or_more));
        return table.told_where("corner_radius_mm", [&] { return staple(back, leg, radius); });
    }
    case ShapeKind::s: {
        double const diameter = read_dimension_mm(table, "diameter_mm");
        double const bow = degrees(table.number_or("bow_deg", 180, any_number));
        return table.told_where("bow_deg", [&] { return s_stitch(diameter, bow); });
    }
    case ShapeKind::slot:
    case ShapeKind::ellipse: {
        double const length = read_dimension_mm(table, "length_mm");
        double const width = read_dimension_mm(table, "width_mm");
        auto const make = kind == ShapeKind::slot ? slot : ellipse;
        return made_with(table, "overlap_mm", "width_mm",
                         [&](double overlap) { return make(length, width, overlap); });
    }
    case ShapeKind::wave:
        return read_wave(table);
    case ShapeKind::spiral:
        return read_spiral(table);
    default:
        throw BadInput("a shape that is no stitch");
    }
}

/// A shape as it is drawn, before it is put in its place: not a point, and neither taught nor lettering.
inline DrawnShape read_drawing(TomlTable& table, ShapeKind kind) {
    switch (kind) {
    case ShapeKind::straight:
        return read_straight(table);
    case ShapeKind::arc:
        return read_arc(table);
    case ShapeKind::circle:
        return read_circle(table);
    case ShapeKind::polyline:
        return read_polyline(table);
    case ShapeKind::curve:
        return read_curve(table);
    default:
        return read_stitch(table, kind);
    }
}

} // namespace seamhold::detail

#endif
