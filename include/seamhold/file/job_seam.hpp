#ifndef SEAMHOLD_FILE_JOB_SEAM_HPP
#define SEAMHOLD_FILE_JOB_SEAM_HPP

#include "seamhold/file/job_face.hpp"
#include "seamhold/file/job_pattern.hpp"
#include "seamhold/file/job_taught.hpp"
#include "seamhold/file/job_travel.hpp"
#include "seamhold/file/placing_report.hpp"
#include "seamhold/follow/job.hpp"

#include <algorithm>
#include <cstddef>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

/// The seams of a job, from `[[seam]]`.
namespace seamhold::detail {

inline AnyFace const& read_face_of(TomlTable& table, Faces const& faces) {
    std::string const face = table.text("face");
    auto const found = faces.find(face);
    if (found != faces.end())
        return found->second;
    std::vector<std::string> names;
    for (auto const& [known, unused] : faces)
        names.push_back(shown(known));
    table.fail("face", shown(face) + " is no face of this file; there are " + joined(names));
}

/// A path of a seam, and how its face stretches it where it does.
struct PathOfSeam {
    AnyPath path;
    std::optional<Stretch> stretch;
};

/// The paths of one seam: one, or those of a pattern or a text.
struct PathsOfSeam {
    std::vector<PathOfSeam> paths;
    bool numbered = false;
};

/// The spot held on a place of a face.
inline AnyPath point_on(AnyFace const& face, FacePoint at) {
    if (auto const* plane = std::get_if<Plane<>>(&face))
        return OnFace<Still<>, Plane<>>{{at.x, at.y}, *plane};
    return OnFace<Still<>, Plane<>>{{0, 0}, plane_touching(face, at)};
}

/// Whether lengths on a face are others than in the drawing.
inline bool stretches(AnyFace const& face) {
    return !std::holds_alternative<Plane<>>(face) && !std::holds_alternative<Cylinder<>>(face) &&
           !std::holds_alternative<Cone<>>(face);
}

inline PathsOfSeam read_paths(TomlTable& table, ShapeKind kind, AnyFace const* face, PilotCell const& cell,
                              double overrun) {
    if (kind == ShapeKind::taught)
        return {{{read_taught(table, face, cell, overrun), {}}}};
    auto const drawing = read_drawings(table, kind);
    PathsOfSeam made{{}, drawing.numbered};
    for (auto const& shape : drawing.shapes) {
        if (kind == ShapeKind::point) {
            auto const at = shape.at(0.0);
            made.paths.push_back({table.told_where("face",
                                                   [&] {
                                                       return point_on(*face, {at.x, at.y});
                                                   }),
                                  {}});
            continue;
        }
        auto laid = table.told_where("face", [&] { return path_on(shape, *face, overrun); });
        std::optional<Stretch> stretch;
        if (stretches(*face))
            stretch = laid.stretch;
        made.paths.push_back({std::move(laid.path), stretch});
    }
    return made;
}

/// A seam and what is told about it.
struct PlacedSeam {
    ScheduledSeam seam;
    PlacingReport::Seam placing;
    TomlTable const* table; ///< that it was read from
};

/// The seams of one `[[seam]]`, one after the other: copies of a pattern and strokes of a text follow each
/// other with a gap in time, the beam off.
inline std::vector<PlacedSeam> read_seam(TomlTable& table, Faces const& faces, PilotCell const& cell) {
    std::string const name = table.name("name");
    auto const kind = read_kind(table);
    bool const on_face = kind != ShapeKind::taught || (table.has("shown") && table.has("face"));
    AnyFace const* const face = on_face ? &read_face_of(table, faces) : nullptr;
    double start = table.number("start_s", any_number);
    bool const held = kind == ShapeKind::point;
    double const hold = held ? table.number("hold_s", above_zero) : 0;
    SpeedLaw const law = held ? SpeedLaw{0} : read_speed(table);
    auto const weave = read_weave(table);
    double const focus_offset = millimetres(table.number_or("focus_offset_mm", 0, any_number));
    auto const power = read_power(table);
    // A weave that swings along the path needs so much more of it at both ends.
    auto const [paths, numbered] = read_paths(table, kind, face, cell, std::max(2e-3, 2 * weave.largest()));
    double const gap = numbered ? milliseconds(table.number("gap_ms", above_zero)) : 0;
    table.finish();

    std::vector<PlacedSeam> seams;
    for (auto const& [path, stretch] : paths) {
        auto const travel = held ? Travel<>(0, hold) : travelled(table, path, law);
        double const duration = travel.duration();
        check_ramps(table, power, duration);
        auto const swing = table.told_where("weave", [&] { return checked(weave.over(duration), duration); });
        std::string const full_name = numbered ? name + "." + std::to_string(seams.size() + 1) : name;
        seams.push_back({{full_name, start, AnySeam(path, travel, focus_offset, swing, power)},
                         {full_name, stretch, path.corners(), law.at_corners, law.corner_speed},
                         &table});
        start += duration + gap;
    }
    return seams;
}

/// All seams of a job and what is told about them, in order of time.
struct PlacedSeams {
    std::vector<ScheduledSeam> seams;
    std::vector<PlacingReport::Seam> placing;
};

/// The seams in order of time. Throws BadInput, with the place in the file, where two have one name or
/// overlap.
inline PlacedSeams read_seams(std::vector<TomlTable> tables, Faces const& faces, PilotCell const& cell) {
    std::vector<PlacedSeam> all;
    std::set<std::string> names;
    for (auto& table : tables) {
        if (std::string const name = table.name("name"); names.count(name) != 0)
            table.fail("name", shown(name) + " is the name of another seam before");
        auto const seams = read_seam(table, faces, cell);
        for (auto const& seam : seams)
            if (!names.insert(seam.seam.name).second)
                table.fail("name", shown(seam.seam.name) + " is the name of another seam before");
        all.insert(all.end(), seams.begin(), seams.end());
    }
    std::stable_sort(all.begin(), all.end(),
                     [](PlacedSeam const& a, PlacedSeam const& b) { return a.seam.start < b.seam.start; });
    PlacedSeams made;
    for (auto const& [seam, placing, table] : all) {
        if (!made.seams.empty() && seam.start < made.seams.back().end())
            table->fail("start_s", "seam " + seam.name + " starts at " + shortest(seam.start) +
                                       " s, before seam " + made.seams.back().name + " ends at " +
                                       fixed(made.seams.back().end(), 6) +
                                       " s: one beam welds one seam at a time");
        made.seams.push_back(seam);
        made.placing.push_back(placing);
    }
    made.seams = in_order(std::move(made.seams));
    return made;
}

} // namespace seamhold::detail

#endif
