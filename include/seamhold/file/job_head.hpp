#ifndef SEAMHOLD_FILE_JOB_HEAD_HPP
#define SEAMHOLD_FILE_JOB_HEAD_HPP

#include "seamhold/file/field_map.hpp"
#include "seamhold/file/focus_table.hpp"
#include "seamhold/file/head_report.hpp"
#include "seamhold/file/job_head_parts.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/number/units.hpp"

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <limits>
#include <string>
#include <utility>

/// The head of a job file: the ideal pair where only its keys are used, else a real head from its parts.
namespace seamhold::detail {

/// A head, what it can do, and how well its measurements are met.
struct JobHead {
    AnyHead head;
    HeadDynamics dynamics;
    HeadReport report;
};

/// What a measured table over both mirror angles adds to the focus of a head that has none yet.
template <class Objective>
FocusSurface focus_surface_for(RealHead<Objective> const& head, PlacedSurfaceRows const& placed,
                               std::string const& path) {
    auto const& [rows, lines] = placed;
    auto const& law = head.parts().focus;
    for (std::size_t i = 0; i < rows.size(); ++i)
        if (!(law.lens_clearance(rows[i].lens) >= -1e-12)) // a picometre, for a table's own last row
            throw BadInput(path + ":" + std::to_string(lines[i]) + ": the lens displacement of " +
                           shortest(in_millimetres(rows[i].lens)) +
                           " mm is beyond what the focus axis knows");
    double const plane = head.working_distance();
    return made_from(path, [&, &rows = rows] {
        return fit_focus_surface(law, rows, [&](double x, double y) {
            auto const ray = head.ray(Command<>{x, y, 0});
            double const way = (plane - ray.origin.z) / ray.direction.z;
            return head.parts().objective.focus_setting(ray, ray.path + way);
        });
    });
}

/// Roughly how far the spot moves at the work for a radian of a mirror, m: twice the path, or twice the focal
/// length of a lens.
inline double metres_per_radian(OpenBeam const& /*objective*/, AnyFocus const& focus) {
    return 2 * focus.path(0.0);
}
inline double metres_per_radian(FlatFieldLens<> const& lens, AnyFocus const& /*focus*/) {
    return 2 * lens.focal_length;
}

/// The head from its parts so far and what else its table says; each part is added where the message about
/// what is wrong with it belongs.
template <class Objective>
AnyHead read_real_head(TomlTable& table, HeadParts<Objective> parts, double separation,
                       std::filesystem::path const& folder, HeadReport& report) {
    parts.outline = read_outline(table);
    auto const bare = table.told_where(table.has("mirrors") ? "mirrors" : "mirror_separation_mm",
                                       [&] { return real_head(parts); });
    if (table.has("focus_surface")) {
        std::string const file = table.text("focus_surface");
        auto const path = folder / file;
        auto const placed = read_placed_surface_rows(path);
        auto const surface = focus_surface_for(bare, placed, path.string());
        report.surface = {file, placed.rows.size(), surface.worst_residual(),
                          placed.lines[surface.worst_row()]};
        parts.focus_surface = surface;
    }
    if (table.has("field_map")) {
        std::string const file = table.text("field_map");
        parts.map = read_field_map_for(bare, separation, folder / file);
        report.map = {file, parts.map->report(), metres_per_radian(parts.objective, parts.focus)};
    }
    bool const collimated = !std::is_same_v<Objective, OpenBeam>;
    parts.apertures =
        read_apertures(table, collimated ? std::numeric_limits<double>::infinity() : parts.focus.path(0.0));
    parts.focus_shift = read_focus_shift(table);
    table.finish();
    return table.told_where(parts.apertures ? "apertures" : "mirror_separation_mm",
                            [&] { return real_head(std::move(parts)); });
}

/// What every head has, whatever it is made of.
inline HeadDynamics read_dynamics(TomlTable& table) {
    HeadDynamics dynamics{};
    dynamics.mirror_velocity = table.number("mirror_velocity_rad_s", above_zero);
    dynamics.mirror_acceleration = table.number("mirror_acceleration_rad_s2", above_zero);
    dynamics.mirror_rms_acceleration = table.number("mirror_rms_acceleration_rad_s2", above_zero);
    dynamics.mirror_lag = milliseconds(table.number("mirror_lag_ms", zero_or_more));
    dynamics.settling = milliseconds(table.number("settling_ms", zero_or_more));
    dynamics.focus_velocity = millimetres_per_second(table.number("focus_velocity_mm_s", above_zero));
    dynamics.focus_lag = milliseconds(table.number("focus_lag_ms", zero_or_more));
    dynamics.mirror_jerk = table.number_or("mirror_jerk_rad_s3", no_limit, above_zero);
    if (table.has("focus_acceleration_mm_s2"))
        dynamics.focus_acceleration = millimetres(table.number("focus_acceleration_mm_s2", above_zero));
    if (table.has("rms_window_ms"))
        dynamics.rms_window = milliseconds(table.number("rms_window_ms", above_zero));
    if (table.has("thermal_time_s"))
        dynamics.thermal_time = table.number("thermal_time_s", above_zero);
    return dynamics;
}

/// Both mirrors' ranges from one key for both, or one each.
inline AxisRanges read_ranges(TomlTable& table) {
    constexpr Allowed within{-45, 45, false, false};
    AxisRanges ranges{};
    bool const each = table.has("x_range_deg") || table.has("y_range_deg");
    if (each && table.has("mirror_range_deg"))
        table.fail("mirror_range_deg", "not beside x_range_deg and y_range_deg: say each range once");
    if (each) {
        auto const x = table.range("x_range_deg", within);
        auto const y = table.range("y_range_deg", within);
        ranges.x_mirror = {degrees(x[0]), degrees(x[1])};
        ranges.y_mirror = {degrees(y[0]), degrees(y[1])};
    } else {
        double const range = degrees(table.number("mirror_range_deg", {0, 45, false, false}));
        ranges.x_mirror = ranges.y_mirror = {-range, range};
    }
    auto const focus = table.range("focus_range_mm", any_number);
    ranges.focus = {millimetres(focus[0]), millimetres(focus[1])};
    return ranges;
}

/// The ideal pair: all that is left of its table.
inline AnyHead read_ideal_head(TomlTable& table, double separation, AxisRanges const& ranges) {
    MirrorPair<> head{};
    head.separation = separation;
    head.x_range = ranges.x_mirror;
    head.y_range = ranges.y_mirror;
    head.focus_range = ranges.focus;
    head.focus_path = millimetres(table.number("focus_path_mm", above_zero));
    head.focus_ratio = table.number("focus_ratio", any_number);
    head.field_radius = table.has("field_diameter_mm")
                            ? millimetres(table.number("field_diameter_mm", above_zero)) / 2
                            : std::numeric_limits<double>::infinity();
    if (head.focus_path <= separation)
        table.fail("focus_path_mm",
                   "must be more than mirror_separation_mm: the path starts at the first mirror");
    if (head.focus_ratio == 0)
        table.fail("focus_ratio", "0 is not allowed: it must be other than 0");
    table.finish();
    return checked(head);
}

/// The head of a job file whose other files stand relative to `folder`.
inline JobHead read_head(TomlTable table, std::filesystem::path const& folder) {
    double const separation = millimetres(table.number("mirror_separation_mm", zero_or_more));
    auto const ranges = read_ranges(table);
    auto const dynamics = read_dynamics(table);
    bool ideal = true;
    for (char const* const key : {"mirrors", "lens", "focus_lens", "focus_table", "focus_surface",
                                  "focus_shift_mm", "heat", "field", "field_map", "apertures"})
        ideal = !table.has(key) && ideal;
    HeadReport report;
    if (ideal) {
        auto head = read_ideal_head(table, separation, ranges);
        return {std::move(head), dynamics, report};
    }
    auto const mirrors = read_mirrors(table, separation);
    if (table.has("lens")) {
        auto const lens = read_lens(table.table("lens"), table, folder);
        auto const focus = read_focus_before_lens(table, folder, lens.working_distance);
        auto head = read_real_head(table, HeadParts<FlatFieldLens<>>{mirrors, lens, focus, ranges},
                                   separation, folder, report);
        return {std::move(head), dynamics, report};
    }
    auto const focus = read_focus(table, folder, separation);
    auto head =
        read_real_head(table, HeadParts<OpenBeam>{mirrors, {}, focus, ranges}, separation, folder, report);
    return {std::move(head), dynamics, report};
}

} // namespace seamhold::detail

#endif
