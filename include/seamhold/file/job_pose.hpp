#ifndef SEAMHOLD_FILE_JOB_POSE_HPP
#define SEAMHOLD_FILE_JOB_POSE_HPP

#include "seamhold/file/toml.hpp"
#include "seamhold/frame/angles.hpp"
#include "seamhold/frame/pose.hpp"
#include "seamhold/number/units.hpp"

#include <string_view>

/// Points, directions and poses of a job file.
namespace seamhold::detail {

template <class F> Point<F> read_point_mm(TomlTable& table, std::string_view key) {
    auto const p = table.numbers<3>(key);
    return {millimetres(p[0]), millimetres(p[1]), millimetres(p[2])};
}

/// A direction of any length but 0, as it stands.
template <class F> Direction<F> read_direction(TomlTable& table, std::string_view key) {
    auto const d = table.numbers<3>(key);
    if (d[0] == 0 && d[1] == 0 && d[2] == 0)
        table.fail(key, "a direction is needed: not all three may be 0");
    return {d[0], d[1], d[2]};
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

} // namespace seamhold::detail

#endif
