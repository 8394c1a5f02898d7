#ifndef SEAMHOLD_FILE_JOB_SURROUNDINGS_HPP
#define SEAMHOLD_FILE_JOB_SURROUNDINGS_HPP

#include "seamhold/file/job_pose.hpp"
#include "seamhold/file/stl.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/limit/surroundings.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/surface/convex.hpp"

#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// What stands around the work in a job file: `[beam_cone]`, `[[clamp]]` and `[[guard]]`.
namespace seamhold::detail {

inline BeamCone read_beam_cone(TomlTable table) {
    BeamCone cone{};
    cone.radius_at_head = millimetres(table.number("radius_at_head_mm", above_zero));
    cone.radius_at_spot = millimetres(table.number("radius_at_spot_mm", zero_or_more));
    cone.clearance = millimetres(table.number("clearance_mm", zero_or_more));
    table.finish();
    return cone;
}

/// One body of a clamp, from the table of its kind.
template <class F> ConvexShape<F> read_body(std::string const& kind, TomlTable table) {
    struct Box;
    auto const finished = [&](char const* key, auto const& make) -> ConvexShape<F> {
        table.finish();
        return table.told_where(key, make);
    };
    if (kind == "box") {
        auto const stands = read_pose<F, Box>(table);
        auto const size = read_point_mm<Box>(table, "size_mm");
        double const rounding = millimetres(table.number_or("rounding_mm", 0, zero_or_more));
        return finished("size_mm", [&] {
            return box_at(stands, Direction<Box>{size.x, size.y, size.z}, rounding);
        });
    }
    if (kind == "bar") {
        auto const from = read_point_mm<F>(table, "from_mm"), to = read_point_mm<F>(table, "to_mm");
        double const radius = millimetres(table.number("radius_mm", above_zero));
        return finished("radius_mm", [&] { return bar_between(from, to, radius); });
    }
    if (kind == "ball") {
        auto const centre = read_point_mm<F>(table, "at_mm");
        double const radius = millimetres(table.number("radius_mm", above_zero));
        return finished("radius_mm", [&] { return ball_at(centre, radius); });
    }
    std::vector<Point<F>> points;
    for (auto const& p : table.lists<3>("points_mm"))
        points.push_back({millimetres(p[0]), millimetres(p[1]), millimetres(p[2])});
    double const rounding = millimetres(table.number_or("rounding_mm", 0, zero_or_more));
    return finished("points_mm", [&] { return hull_of(std::move(points), rounding); });
}

/// A clamp: one body, or the triangles of an STL file that stand at a pose.
template <class F>
Obstacle<F> read_clamp(TomlTable& table, std::string const& name, std::filesystem::path const& folder) {
    std::string const kind = table.one_of({"box", "bar", "ball", "hull", "file"});
    if (kind != "file")
        return table.told_where(kind,
                                [&] { return Obstacle<F>(name, {read_body<F>(kind, table.table(kind))}); });
    std::string const file = table.text("file");
    double const unit = table.choice<double>("unit", {{"mm", 0.001}, {"m", 1}});
    auto const stands = read_pose<F, Part>(table);
    double const rounding = millimetres(table.number_or("rounding_mm", 0, zero_or_more));
    auto const facets = read_stl(folder / file, unit);
    return table.told_where("file", [&] { return Obstacle<F>(name, facets, stands, rounding); });
}

inline GuardedCone read_guard(TomlTable table) {
    GuardedCone cone{table.name("name"), read_direction<Cell>(table, "axis"),
                     degrees(table.number("half_angle_deg", {0, 90, false, false}))};
    table.finish();
    return cone;
}

/// What stands around the work, where the job file says anything of it.
inline std::optional<Surroundings> read_surroundings(TomlTable& root, std::filesystem::path const& folder) {
    bool const cone = root.has("beam_cone"), clamps = root.has("clamp"), guards = root.has("guard");
    if (!cone && !clamps && !guards)
        return std::nullopt;
    Surroundings around{};
    if (cone || clamps)
        around.beam = read_beam_cone(root.table("beam_cone"));
    if (clamps)
        for (auto& clamp : root.tables("clamp")) {
            std::string const name = clamp.name("name");
            if (clamp.choice<bool>("stands_on", {{"part", true}, {"cell", false}}))
                around.on_part.push_back(read_clamp<Part>(clamp, name, folder));
            else
                around.in_cell.push_back(read_clamp<Cell>(clamp, name, folder));
            clamp.finish();
        }
    if (guards) {
        std::vector<GuardedCone> cones;
        for (auto& guard : root.tables("guard"))
            cones.push_back(read_guard(std::move(guard)));
        around.guarded = root.told_where("guard", [&] { return GuardedDirections(std::move(cones)); });
    }
    return around;
}

} // namespace seamhold::detail

#endif
