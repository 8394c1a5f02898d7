#ifndef SEAMHOLD_FILE_JOB_HEAD_PARTS_HPP
#define SEAMHOLD_FILE_JOB_HEAD_PARTS_HPP

#include "seamhold/file/focus_table.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/head/flat_field_lens.hpp"
#include "seamhold/head/real_head.hpp"
#include "seamhold/head/thermal_shift.hpp"
#include "seamhold/number/units.hpp"

#include <array>
#include <cmath>
#include <filesystem>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// The parts of a real head, each from its keys in `[head]`.
namespace seamhold::detail {

inline Point<Head> read_head_point_mm(TomlTable& table, std::string_view key, Point<Head> const& otherwise) {
    if (!table.has(key))
        return otherwise;
    auto const p = table.numbers<3>(key);
    return {millimetres(p[0]), millimetres(p[1]), millimetres(p[2])};
}

/// A direction of any length, brought to length one.
inline Direction<Head> read_direction(TomlTable& table, std::string_view key,
                                      Direction<Head> const& otherwise) {
    if (!table.has(key))
        return otherwise;
    auto const d = table.numbers<3>(key);
    double const length = std::hypot(d[0], d[1], d[2]);
    if (!(length > 0))
        table.fail(key, "a direction is needed: not all three may be 0");
    return {d[0] / length, d[1] / length, d[2] / length};
}

inline TurningMirror<> read_mirror(TomlTable table, TurningMirror<> mirror) {
    mirror.pivot = read_head_point_mm(table, "pivot_mm", mirror.pivot);
    mirror.axis = read_direction(table, "axis", mirror.axis);
    mirror.normal = read_direction(table, "normal", mirror.normal);
    mirror.offset = millimetres(table.number_or("offset_mm", in_millimetres(mirror.offset), any_number));
    mirror.turn = table.number_or("turn", mirror.turn, any_number);
    table.finish();
    return mirror;
}

/// `mirrors`: the ideal pair's, but for what is given.
inline TracedMirrors<> read_mirrors(TomlTable& head, double separation) {
    auto const ideal = ideal_mirrors(separation);
    if (!head.has("mirrors"))
        return ideal;
    auto table = head.table("mirrors");
    auto const entry = read_head_point_mm(table, "entry_mm", ideal.entry());
    auto const incoming = read_direction(table, "incoming", ideal.incoming());
    auto const first = table.has("first") ? read_mirror(table.table("first"), ideal.first()) : ideal.first();
    auto const last = table.has("last") ? read_mirror(table.table("last"), ideal.last()) : ideal.last();
    table.finish();
    return head.told_where("mirrors", [&] { return traced_mirrors(entry, incoming, first, last); });
}

/// The law of the focus axis of a head without a lens behind the mirrors.
inline AnyFocus read_focus(TomlTable& head, std::filesystem::path const& folder, double separation) {
    std::string const kind = head.one_of({"focus_ratio", "focus_lens", "focus_table"});
    char const* const too_near =
        "must be more than mirror_separation_mm: the path starts at the first mirror";
    if (kind == "focus_table") {
        auto const table = read_focus_table(folder / head.text("focus_table"));
        if (table.path(0.0) <= separation)
            head.fail("focus_table", "the path at lens 0 " + std::string(too_near));
        if (head.has("focus_path_mm"))
            head.fail("focus_path_mm", "not beside focus_table, which says the path");
        return table;
    }
    double const zero_path = millimetres(head.number("focus_path_mm", above_zero));
    if (zero_path <= separation)
        head.fail("focus_path_mm", too_near);
    if (kind == "focus_ratio")
        return LinearFocus<>{zero_path, head.number("focus_ratio", above_zero)};
    auto lens = head.table("focus_lens");
    ThinLensFocus<> const focus{zero_path, millimetres(lens.number("focal_length_mm", above_zero)),
                                millimetres(lens.number("ahead_mm", zero_or_more))};
    lens.finish();
    return head.told_where("focus_lens", [&] { return checked(focus); });
}

/// The law of a focus axis in front of a flat-field lens: at lens 0 the focus lies in the focal plane, and
/// paths count from the exit plane.
inline AnyFocus read_focus_before_lens(TomlTable& head, std::filesystem::path const& folder,
                                       double working_distance) {
    for (auto const& [key, why] :
         {std::pair{"focus_path_mm", "the focus at lens 0 lies at the lens's working distance"},
          std::pair{"focus_lens", "in front of a lens behind the mirrors the focus axis is told by "
                                  "focus_ratio or focus_table"}})
        if (head.has(key))
            head.fail(key, "not beside head.lens: " + std::string(why));
    if (head.one_of({"focus_ratio", "focus_table"}) == "focus_table")
        return read_focus_table(folder / head.text("focus_table"));
    return LinearFocus<>{working_distance, head.number("focus_ratio", above_zero)};
}

/// κ, or a file of chief-ray angles.
inline ChiefRaySlope<> read_slope(TomlTable& lens, std::string_view key,
                                  std::filesystem::path const& folder) {
    if (lens.is_text(key))
        return read_chief_ray_slope(folder / lens.text(key));
    return ChiefRaySlope<>::proportional(lens.number_or(key, 0, any_number));
}

inline FlatFieldLens<> read_lens(TomlTable table, TomlTable const& head,
                                 std::filesystem::path const& folder) {
    FlatFieldLens<> lens{};
    lens.focal_length = millimetres(table.number("focal_length_mm", above_zero));
    lens.exit_z = millimetres(table.number("exit_z_mm", above_zero));
    lens.working_distance = millimetres(table.number("working_distance_mm", above_zero));
    lens.depth = table.has("depth_mm") ? millimetres(table.number("depth_mm", above_zero))
                                       : std::numeric_limits<double>::infinity();
    lens.x_slope = read_slope(table, "x_slope", folder);
    lens.y_slope = read_slope(table, "y_slope", folder);
    if (table.has("axis_mm")) {
        auto const axis = table.numbers<2>("axis_mm");
        lens.axis_x = millimetres(axis[0]);
        lens.axis_y = millimetres(axis[1]);
    }
    table.finish();
    return head.told_where("lens", [&] { return checked(lens); });
}

/// `field_diameter_mm`, or `field` with one shape, in mm of the focal plane or degrees of the mirrors.
inline FieldOutline read_outline(TomlTable& head) {
    if (!head.has("field")) {
        if (!head.has("field_diameter_mm"))
            return unlimited_outline();
        double const diameter = millimetres(head.number("field_diameter_mm", above_zero));
        return circle_outline(diameter / 2, OutlineIn::focal_plane);
    }
    if (head.has("field_diameter_mm"))
        head.fail("field_diameter_mm", "not beside head.field: say the field once");
    auto table = head.table("field");
    std::string const key = table.one_of({"circle_mm", "rectangle_mm", "ellipse_mm", "polygon_mm",
                                          "circle_deg", "rectangle_deg", "ellipse_deg", "polygon_deg"});
    bool const angles = key.ends_with("_deg");
    auto const in = angles ? OutlineIn::mirror_angles : OutlineIn::focal_plane;
    auto const si = [&](double x) { return angles ? degrees(x) : millimetres(x); };
    std::string const shape = key.substr(0, key.rfind('_'));
    auto outline = [&] {
        if (shape == "circle")
            return circle_outline(si(table.number(key, above_zero)) / 2, in);
        if (shape == "polygon") {
            auto points = table.lists<2>(key);
            for (auto& point : points)
                point = {si(point[0]), si(point[1])};
            return table.told_where(key, [&] { return polygon_outline(std::move(points), in); });
        }
        auto const sides = table.numbers<2>(key);
        return table.told_where(key, [&] {
            return shape == "ellipse" ? ellipse_outline(si(sides[0]), si(sides[1]), in)
                                      : rectangle_outline(si(sides[0]), si(sides[1]), in);
        });
    }();
    table.finish();
    return outline;
}

/// The usable surface of one mirror, told by its whole size.
inline MirrorAperture read_aperture(TomlTable table) {
    MirrorAperture const aperture{millimetres(table.number("along_mm", above_zero)) / 2,
                                  millimetres(table.number("across_mm", above_zero)) / 2,
                                  table.truth_or("round", false)};
    table.finish();
    return aperture;
}

/// `apertures`, for a beam that would be a point `focus_path` from the first mirror, m; ∞ where collimated.
inline std::optional<Apertures> read_apertures(TomlTable& head, double focus_path) {
    if (!head.has("apertures"))
        return {};
    auto table = head.table("apertures");
    Apertures const apertures{read_aperture(table.table("first")), read_aperture(table.table("last")),
                              millimetres(table.number("beam_radius_mm", above_zero)),
                              millimetres(table.number_or("ahead_mm", 0, zero_or_more)), focus_path};
    table.finish();
    return apertures;
}

/// By how much heat has moved the focus, m: a number, or from power and time.
inline double read_focus_shift(TomlTable& head) {
    if (!head.has("heat"))
        return millimetres(head.number_or("focus_shift_mm", 0, any_number));
    if (head.has("focus_shift_mm"))
        head.fail("focus_shift_mm", "not beside head.heat: say the shift once");
    auto table = head.table("heat");
    // A kilowatt is a thousand watts, and a millimetre a thousandth of a metre.
    double const per_watt = millimetres(table.number("shift_mm_per_kW", any_number)) / 1000;
    ThermalShift<> const shift{per_watt, table.number("time_constant_s", above_zero)};
    double const power = table.number("power_W", zero_or_more);
    double const time = table.number("on_for_s", zero_or_more);
    table.finish();
    return checked(shift).at(power, time);
}

} // namespace seamhold::detail

#endif
