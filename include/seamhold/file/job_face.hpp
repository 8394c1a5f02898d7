#ifndef SEAMHOLD_FILE_JOB_FACE_HPP
#define SEAMHOLD_FILE_JOB_FACE_HPP

#include "seamhold/file/job_pose.hpp"
#include "seamhold/file/stl.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/seam/any_face.hpp"

#include <filesystem>
#include <map>
#include <string>
#include <vector>

/// The faces of a job's part, from `[[face]]`.
namespace seamhold::detail {

using Faces = std::map<std::string, AnyFace, std::less<>>;

enum class FaceForm { plane, cylinder, cone, sphere, torus, mesh };

/// Where a face stands: a pose, a place with its normal, or, for a plane, three touched points.
inline Pose<Part, Face> read_face_pose(TomlTable& table, FaceForm form) {
    auto const way = table.one_of({"position_mm", "at_mm", "touched_mm"});
    if (way == "position_mm")
        return read_pose<Part, Face>(table);
    if (way == "at_mm") {
        auto const at = read_point_mm<Part>(table, "at_mm");
        auto const normal = read_direction<Part>(table, "normal");
        bool const said = table.has("along");
        auto const along = said ? read_direction<Part>(table, "along") : Direction<Part>{1, 0, 0};
        return table.told_where(said ? "along" : "normal", [&] { return face_at(at, normal, along); });
    }
    auto const touched = table.lists<3>("touched_mm");
    if (form != FaceForm::plane)
        table.fail("touched_mm", "three touched points make a plane; other faces stand by position_mm or by "
                                 "at_mm and normal");
    if (touched.size() != 3)
        table.fail("touched_mm", "three points are needed: the origin, one on the x axis, one on the side of "
                                 "y; given are " +
                                     std::to_string(touched.size()));
    std::vector<Point<Part>> p;
    p.reserve(touched.size());
    for (auto const& t : touched)
        p.push_back({millimetres(t[0]), millimetres(t[1]), millimetres(t[2])});
    if (!table.has("towards_mm"))
        return table.told_where("touched_mm", [&] { return plane_through(p[0], p[1], p[2]).part_from_face; });
    auto const towards = read_point_mm<Part>(table, "towards_mm");
    table.told_where("touched_mm", [&] { return plane_through(p[0], p[1], p[2]); });
    return table.told_where("towards_mm",
                            [&] { return plane_through(p[0], p[1], p[2], towards).part_from_face; });
}

/// Triangles of an STL file, with the face's origin where the z axis of a pose meets them.
inline AnyFace read_mesh(TomlTable& table, Pose<Part, Face> const& near,
                         std::filesystem::path const& folder) {
    auto const file = folder / table.text("file");
    double const unit = table.choice<double>("unit", {{"mm", 1e-3}, {"m", 1}});
    auto const mesh = mesh_from_stl(file, unit);
    return table.told_where(table.has("at_mm") ? "at_mm" : "position_mm",
                            [&] { return MeshFace(mesh, near); });
}

inline AnyFace read_face(TomlTable& table, std::filesystem::path const& folder) {
    auto const form = table.has("form") ? table.choice<FaceForm>("form", {{"plane", FaceForm::plane},
                                                                          {"cylinder", FaceForm::cylinder},
                                                                          {"cone", FaceForm::cone},
                                                                          {"sphere", FaceForm::sphere},
                                                                          {"torus", FaceForm::torus},
                                                                          {"mesh", FaceForm::mesh}})
                                        : FaceForm::plane;
    auto const pose = read_face_pose(table, form);
    switch (form) {
    case FaceForm::cylinder: {
        double const radius = millimetres(table.number("radius_mm", any_number));
        return table.told_where("radius_mm", [&] { return cylinder_at(pose, radius); });
    }
    case FaceForm::cone: {
        double const half_angle = degrees(table.number("half_angle_deg", any_number));
        double const from_apex = millimetres(table.number("from_apex_mm", above_zero));
        return table.told_where("half_angle_deg", [&] { return cone_at(pose, half_angle, from_apex); });
    }
    case FaceForm::sphere: {
        double const radius = millimetres(table.number("radius_mm", any_number));
        return table.told_where("radius_mm", [&] { return sphere_at(pose, radius); });
    }
    case FaceForm::torus: {
        double const ring = millimetres(table.number("ring_radius_mm", any_number));
        double const tube = millimetres(table.number("tube_radius_mm", any_number));
        return table.told_where(tube == 0 ? "tube_radius_mm" : "ring_radius_mm",
                                [&] { return torus_at(pose, ring, tube); });
    }
    case FaceForm::mesh:
        return read_mesh(table, pose, folder);
    case FaceForm::plane:
        break;
    }
    return Plane<>{pose};
}

inline Faces read_faces(std::vector<TomlTable> tables, std::filesystem::path const& folder) {
    Faces faces;
    for (auto& table : tables) {
        std::string const name = table.name("name");
        AnyFace const face = read_face(table, folder);
        table.finish();
        if (!faces.emplace(name, face).second)
            table.fail("name", shown(name) + " is the name of another face before");
    }
    return faces;
}

} // namespace seamhold::detail

#endif
