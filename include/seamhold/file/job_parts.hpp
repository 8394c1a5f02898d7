#ifndef SEAMHOLD_FILE_JOB_PARTS_HPP
#define SEAMHOLD_FILE_JOB_PARTS_HPP

#include "seamhold/file/log_declaration.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/follow/job.hpp"
#include "seamhold/frame/angles.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <string>
#include <vector>

/// The parts of a job file, each from its table.
namespace seamhold::detail {

template <class F> Point<F> read_point_mm(TomlTable& table, std::string_view key) {
    auto const p = table.numbers<3>(key);
    return {millimetres(p[0]), millimetres(p[1]), millimetres(p[2])};
}

inline FacePoint read_face_point_mm(TomlTable& table, std::string_view key) {
    auto const p = table.numbers<2>(key);
    return {millimetres(p[0]), millimetres(p[1])};
}

/// `position_mm` and exactly one way to say the rotation.
template <class To, class From> Pose<To, From> read_pose(TomlTable& table) {
    auto const origin = read_point_mm<To>(table, "position_mm");
    bool const zyx = table.has("rotation_zyx_deg");
    bool const xyz = table.has("rotation_xyz_deg");
    bool const wxyz = table.has("quaternion_wxyz");
    if (int(zyx) + int(xyz) + int(wxyz) != 1)
        table.fail("rotation_zyx_deg",
                   "exactly one of rotation_zyx_deg, rotation_xyz_deg and quaternion_wxyz "
                   "is needed");
    if (wxyz) {
        auto const q = table.numbers<4>("quaternion_wxyz");
        return table.told_where("quaternion_wxyz", [&] {
            return Pose<To, From>{from_wxyz<To, From>(q[0], q[1], q[2], q[3]), origin};
        });
    }
    auto const a = table.numbers<3>(zyx ? "rotation_zyx_deg" : "rotation_xyz_deg");
    auto const turn = zyx ? from_zyx_angles<To, From> : from_xyz_angles<To, From>;
    return {turn(degrees(a[0]), degrees(a[1]), degrees(a[2])), origin};
}

template <class To, class From> Pose<To, From> read_only_pose(TomlTable table) {
    auto const pose = read_pose<To, From>(table);
    table.finish();
    return pose;
}

inline LogDeclaration read_log_declaration(TomlTable table) {
    LogDeclaration log{};
    log.poses = table.choice<PosesAre>(
        "poses", {{"measured", PosesAre::measured}, {"commanded", PosesAre::commanded}});
    log.stamps = table.choice<StampsAre>(
        "stamps", {{"sampling", StampsAre::sampling}, {"arrival", StampsAre::arrival}});
    log.max_gap = milliseconds(table.number("max_gap_ms", above_zero));
    if (table.has("columns"))
        log.columns = table.texts("columns");
    if (table.has("keep_rows")) {
        auto keep = table.table("keep_rows");
        log.keep_rows = KeepRows{keep.text("column"), keep.text("equals")};
        keep.finish();
    }
    if (table.has("repeated_rows"))
        log.repeated_rows = table.choice<RepeatedRows>(
            "repeated_rows",
            {{"keep", RepeatedRows::keep}, {"drop", RepeatedRows::drop}, {"retime", RepeatedRows::retime}});
    if (table.has("times_from"))
        log.times_from = table.choice<TimesFrom>(
            "times_from", {{"clock", TimesFrom::clock}, {"first_row", TimesFrom::first_row}});
    table.finish();
    return log;
}

template <std::size_t N>
SerialArm<int(N)> arm_from(std::vector<DhRow> const& rows, bool modified,
                           Pose<Flange, Flange> const& last_from_flange) {
    std::array<DhRow, N> all{};
    std::copy(rows.begin(), rows.end(), all.begin());
    return modified ? SerialArm<int(N)>::modified_dh(all, last_from_flange)
                    : SerialArm<int(N)>::standard_dh(all, last_from_flange);
}

inline LoggedArm read_arm(TomlTable table) {
    bool const modified = table.choice<bool>("convention", {{"standard_dh", false}, {"modified_dh", true}});
    std::vector<DhRow> rows;
    std::vector<JointKind> kinds;
    for (auto& joint : table.tables("joints")) {
        DhRow row{};
        row.d = millimetres(joint.number("d_mm", anything));
        row.a = millimetres(joint.number("a_mm", anything));
        row.alpha = degrees(joint.number("alpha_deg", anything));
        if (joint.has("kind"))
            row.kind = joint.choice<JointKind>(
                "kind", {{"revolute", JointKind::revolute}, {"prismatic", JointKind::prismatic}});
        row.theta = degrees(joint.number_or("offset_deg", 0, anything));
        joint.finish();
        rows.push_back(row);
        kinds.push_back(row.kind);
    }
    if (rows.size() != 6 && rows.size() != 7)
        table.fail("joints", "an arm of " + std::to_string(rows.size()) +
                                 " joints is not allowed; allowed are 6 and 7");
    auto const cell_from_base = read_only_pose<Cell, Base>(table.table("cell_from_base"));
    auto last_from_flange = Pose<Flange, Flange>::identity();
    if (table.has("last_from_flange"))
        last_from_flange = read_only_pose<Flange, Flange>(table.table("last_from_flange"));
    table.finish();
    if (rows.size() == 6)
        return {cell_from_base, arm_from<6>(rows, modified, last_from_flange), std::move(kinds)};
    return {cell_from_base, arm_from<7>(rows, modified, last_from_flange), std::move(kinds)};
}

inline AnyPartMotion read_part(TomlTable table) {
    auto const start = read_pose<Cell, Part>(table);
    if (!table.has("turn")) {
        table.finish();
        return Rest<Cell, Part>{start};
    }
    auto turn = table.table("turn");
    auto const point = read_point_mm<Cell>(turn, "axis_point_mm");
    auto const a = turn.numbers<3>("axis");
    double const length = std::hypot(a[0], a[1], a[2]);
    if (!(length > 0))
        turn.fail("axis", "an axis needs a direction: not all three may be 0");
    double const velocity = degrees_per_second(turn.number("velocity_deg_s", anything));
    double const start_time = turn.number("at_s", anything);
    turn.finish();
    table.finish();
    return Turntable<Cell, Part>{
        start, point, {a[0] / length, a[1] / length, a[2] / length}, velocity, start_time};
}

using Faces = std::map<std::string, Plane<>, std::less<>>;

inline Faces read_faces(std::vector<TomlTable> tables) {
    Faces faces;
    for (auto& table : tables) {
        std::string const name = table.name("name");
        Plane<> const plane{read_pose<Part, Face>(table)};
        table.finish();
        if (!faces.emplace(name, plane).second)
            table.fail("name", shown(name) + " is the name of another face before");
    }
    return faces;
}

enum class ShapeKind { straight, arc, circle, point };

/// The shape of a seam on its face; every key that it needs is checked, all others are left to `finish`.
inline AnySeam read_shape(TomlTable& table, Plane<> const& plane, Weave const& weave, double focus_offset) {
    auto const kind = table.choice<ShapeKind>("shape", {{"straight", ShapeKind::straight},
                                                        {"arc", ShapeKind::arc},
                                                        {"circle", ShapeKind::circle},
                                                        {"point", ShapeKind::point}});
    if (kind == ShapeKind::point) {
        auto const at = read_face_point_mm(table, "at_mm");
        return held(at, plane, table.number("hold_s", above_zero), weave, focus_offset);
    }
    double const speed = metres_per_minute(table.number("speed_m_per_min", above_zero));
    if (kind == ShapeKind::straight) {
        auto const from = read_face_point_mm(table, "from_mm");
        auto const to = read_face_point_mm(table, "to_mm");
        return table.told_where(
            "to_mm", [&] { return at_speed(straight_between(from, to), plane, speed, weave, focus_offset); });
    }
    auto const center = read_face_point_mm(table, "center_mm");
    if (kind == ShapeKind::circle) {
        double const diameter = millimetres(table.number("diameter_mm", above_zero));
        double const start = degrees(table.number_or("start_deg", 0, anything));
        bool const clockwise = table.truth_or("clockwise", false);
        return at_speed(circle_around(center, diameter, start, clockwise), plane, speed, weave, focus_offset);
    }
    double const radius = millimetres(table.number("radius_mm", above_zero));
    double const start = degrees(table.number("start_deg", anything));
    double const turn = degrees(table.number("turn_deg", anything));
    return table.told_where("turn_deg", [&] {
        return at_speed(arc_around(center, radius, start, turn), plane, speed, weave, focus_offset);
    });
}

inline ScheduledSeam read_seam(TomlTable& table, Faces const& faces) {
    std::string const name = table.name("name");
    std::string const face = table.text("face");
    auto const found = faces.find(face);
    if (found == faces.end()) {
        std::vector<std::string> names;
        for (auto const& [known, plane] : faces)
            names.push_back(shown(known));
        table.fail("face", shown(face) + " is no face of this file; there are " + joined(names));
    }
    double const start = table.number("start_s", anything);
    Weave weave{};
    if (table.has("weave")) {
        auto swing = table.table("weave");
        weave.frequency = swing.number("frequency_Hz", above_zero);
        weave.amplitude = millimetres(swing.number("amplitude_mm", above_zero));
        swing.finish();
    }
    double const focus_offset = millimetres(table.number_or("focus_offset_mm", 0, anything));
    AnySeam const seam = read_shape(table, found->second, weave, focus_offset);
    table.finish();
    return {name, start, seam};
}

} // namespace seamhold::detail

#endif
