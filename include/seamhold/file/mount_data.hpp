#ifndef SEAMHOLD_FILE_MOUNT_DATA_HPP
#define SEAMHOLD_FILE_MOUNT_DATA_HPP

#include "seamhold/calibrate/observation.hpp"
#include "seamhold/file/measured_columns.hpp"

#include <filesystem>
#include <string>
#include <vector>

/// What was measured to find the mount of a head, from files of comma-separated values. The flange's pose in
/// the cell stands in `x_mm`, `y_mm`, `z_mm` (or `_m`) and its rotation in `qw`, `qx`, `qy`, `qz`, or in
/// `z1_deg`, `y2_deg`, `x3_deg` (turn about z, then about the new y, then about the newest x), or in
/// `x1_deg`, `y2_deg`, `z3_deg`; degrees may be `_rad`. What the head was told stands in `x_mirror_deg`,
/// `y_mirror_deg` (mechanical) and, where there is a focus axis, `focus_mm`. Other columns are passed over.
/// Errors are BadInput that start with `file:row:column: `, or with the file for columns that are missing.
namespace seamhold {

/// Hits of one target: the columns above.
inline std::vector<BeamOnTarget> read_target_hits(std::filesystem::path const& path) {
    CsvReader reader(path);
    detail::LogColumns columns(reader);
    detail::PoseColumns const flange(reader, columns, "");
    detail::CommandColumns const command(reader, columns);
    return detail::rows_of<BeamOnTarget>(reader, [&] {
        return BeamOnTarget{flange.pose<Cell, Flange>(reader), command.command(reader)};
    });
}

/// Marks on a plate: the columns above, and where each mark was found on the plate, `x_found_mm` and
/// `y_found_mm` (or `_m`).
inline std::vector<PlateMark> read_plate_marks(std::filesystem::path const& path) {
    CsvReader reader(path);
    detail::LogColumns columns(reader);
    detail::PoseColumns const flange(reader, columns, "");
    detail::CommandColumns const command(reader, columns);
    auto const x = columns.find("x_found", detail::length_units);
    auto const y = columns.find("y_found", detail::length_units);
    return detail::rows_of<PlateMark>(reader, [&] {
        return PlateMark{flange.pose<Cell, Flange>(reader), command.command(reader),
                         detail::number_of(reader, x), detail::number_of(reader, y)};
    });
}

/// Poses of a target as a sensor in the head sees it: the flange's columns above, and the target's pose in
/// the head's frame in the same columns with `target_` before each name.
inline std::vector<PosePair> read_pose_pairs(std::filesystem::path const& path) {
    CsvReader reader(path);
    detail::LogColumns columns(reader);
    detail::PoseColumns const flange(reader, columns, "");
    detail::PoseColumns const target(reader, columns, "target_");
    return detail::rows_of<PosePair>(reader, [&] {
        return PosePair{flange.pose<Cell, Flange>(reader), target.pose<Head, Target>(reader)};
    });
}

} // namespace seamhold

#endif
