#ifndef SEAMHOLD_FILE_JOB_TAUGHT_HPP
#define SEAMHOLD_FILE_JOB_TAUGHT_HPP

#include "seamhold/file/job_pose.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/follow/teach.hpp"
#include "seamhold/head/any_head.hpp"
#include "seamhold/motion/any_motion.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/seam/any_face.hpp"
#include "seamhold/seam/taught.hpp"

#include <algorithm>
#include <string>
#include <utility>
#include <variant>
#include <vector>

/// Seams through points taught on the part: touched, or shown with the pilot beam.
namespace seamhold::detail {

/// What is known of the cell where points are shown with the pilot beam.
struct PilotCell {
    AnyHead head;
    Pose<Flange, Head> flange_from_head;
    AnyPartMotion cell_from_part;
};

/// Taught points with a normal at each, where it is known.
struct TaughtLine {
    std::vector<Point<Part>> points;
    std::vector<Direction<Part>> normals;
};

/// Points shown with the pilot beam, from the robot's poses and the head's commands: where the beam meets the
/// face, with the face's normal there; or, without a face, where it was focused.
inline TaughtLine read_shown(TomlTable& table, AnyFace const* face, PilotCell const& cell) {
    auto const* rest = std::get_if<Rest<Cell, Part>>(&cell.cell_from_part.choice());
    if (rest == nullptr)
        table.fail("shown", "points are shown on a part at rest; this one moves");
    TaughtLine line;
    double x = 0, y = 0; // where the last one was met
    for (auto& shown : table.tables("shown")) {
        auto const cell_from_flange = read_pose<Cell, Flange>(shown);
        Command<> const command{degrees(shown.number("x_mirror_deg", any_number)),
                                degrees(shown.number("y_mirror_deg", any_number)),
                                millimetres(face == nullptr ? shown.number("focus_mm", any_number)
                                                            : shown.number_or("focus_mm", 0, any_number))};
        shown.finish();
        shown.told_where("position_mm", [&] {
            auto const ray =
                pilot_ray(inverse(rest->pose) * cell_from_flange * cell.flange_from_head, cell.head, command);
            if (face == nullptr) {
                line.points.push_back(focus_of(ray));
                return;
            }
            auto const met = std::visit([&](auto const& f) { return meet(ray, f, x, y); }, *face);
            x = met.x;
            y = met.y;
            line.points.push_back(met.position);
            line.normals.push_back(met.normal);
        });
    }
    return line;
}

/// A path through points taught on the part. They stand in the part's frame, or were shown with the pilot
/// beam; a face is needed only where they were shown on it.
inline AnyPath read_taught(TomlTable& table, AnyFace const* face, PilotCell const& cell, double overrun) {
    std::string const way = table.one_of({"points_mm", "shown"});
    TaughtLine line;
    if (way == "shown")
        line = read_shown(table, face, cell);
    else
        for (auto const& p : table.lists<3>("points_mm"))
            line.points.push_back({millimetres(p[0]), millimetres(p[1]), millimetres(p[2])});
    table.told_where(way, [&] { check_taught(line.points); });
    std::string blamed = way;
    if (line.normals.empty()) {
        blamed = table.one_of({"normals", "towards"});
        if (blamed == "normals")
            for (auto const& n : table.lists<3>("normals"))
                line.normals.push_back({n[0], n[1], n[2]});
        else
            line.normals.assign(line.points.size(), read_direction<Part>(table, "towards"));
    }
    bool const reversed = table.truth_or("reversed", false);
    return table.told_where(blamed, [&] {
        if (reversed && line.points.size() == line.normals.size()) {
            std::reverse(line.points.begin(), line.points.end());
            std::reverse(line.normals.begin(), line.normals.end());
        }
        return path_through(line.points, line.normals, overrun);
    });
}

} // namespace seamhold::detail

#endif
