#ifndef SEAMHOLD_FILE_LOG_HPP
#define SEAMHOLD_FILE_LOG_HPP

#include "seamhold/file/log_rows.hpp"
#include "seamhold/motion/any_motion.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// A log that was read: the flange's motion, and what was found on the way.
struct FlangeLog {
    AnyFlangeMotion motion;
    LogReport report;
};

namespace detail {

/// Throws BadInput about a quaternion that is no rotation, or a turn that cannot be interpolated.
inline void check_pose(CsvReader const& reader, std::array<LogColumn, 7> const& columns,
                       std::array<double, 7> const* before, std::array<double, 7> const& row) {
    auto const norm = [](std::array<double, 7> const& r) {
        return std::sqrt(r[3] * r[3] + r[4] * r[4] + r[5] * r[5] + r[6] * r[6]);
    };
    if (!(std::abs(norm(row) - 1) <= 1e-6))
        reader.fail(columns[3].place, "a quaternion (qw, qx, qy, qz) of norm " + shortest(norm(row)) +
                                          " is not a rotation: the norm must be 1 within 0.000001");
    if (before == nullptr)
        return;
    auto const& b = *before;
    double const cosine =
        std::abs(b[3] * row[3] + b[4] * row[4] + b[5] * row[5] + b[6] * row[6]) / (norm(b) * norm(row));
    if (cosine < std::cos(PoseLog<Cell, Flange>::largest_turn / 2))
        reader.fail(columns[3].place, "a turn of " + fixed(in_degrees(2 * std::acos(cosine)), 1) +
                                          " degrees since the row before is more than the 45 that can be "
                                          "interpolated");
}

/// What `make` returns; a BadInput that it throws is told with the file.
template <class Make> AnyFlangeMotion told_with_file(CsvReader const& reader, Make&& make) {
    try {
        return make();
    } catch (BadInput const& error) {
        throw BadInput(reader.path() + ": " + error.what());
    }
}

inline AnyFlangeMotion read_poses(CsvReader& reader, LogColumns& columns, LogReport& report) {
    auto const time = columns.find_time();
    auto const pose = columns.find_pose();
    std::vector<PoseRow<Cell>> rows;
    {
        LogRows<7> raw;
        raw.read(reader, time, pose, report,
                 [&](auto const* before, auto const& row) { check_pose(reader, pose, before, row); });
        rows.reserve(raw.rows.size());
        for (std::size_t i = 0; i < raw.rows.size(); ++i) {
            auto const& r = raw.rows[i];
            rows.push_back({raw.times[i], {r[0], r[1], r[2]}, {r[3], r[4], r[5], r[6]}});
        }
    }
    return told_with_file(reader, [&] { return PoseLog<Cell, Flange>(rows, report.declared.max_gap); });
}

template <int N>
AnyFlangeMotion read_joints(CsvReader& reader, LogColumns& columns, LogReport& report, LoggedArm const& arm,
                            SerialArm<N> const& kinematics) {
    report.joints = N;
    auto const time = columns.find_time();
    auto const joints = columns.template find_joints<N>(arm.kinds);
    LogRows<N> raw;
    raw.read(reader, time, joints, report, [](auto const*, auto const&) {});
    return told_with_file(reader, [&] {
        return JointLog<N>(arm.cell_from_base, kinematics, std::move(raw.times), raw.rows,
                           report.declared.max_gap);
    });
}

} // namespace detail

/// Reads a recorded log: with an arm, its joint positions; without one, poses of the flange in the cell.
///
/// Columns are found by name, in any order, from the file's first row or, for a file without one, from the
/// declaration. Exactly one of each must be there: time_s, time_ms, time_us or time_ns; for poses x, y and z,
/// each ending in _m or _mm, and qw, qx, qy, qz; for joints j1 … jN, each ending in _rad or _deg, for
/// prismatic ones in _m or _mm. Other columns are left alone and listed in the report.
///
/// Stamps are read digit by digit and rebased as integers, so that 19-digit nanoseconds lose nothing. The
/// motion's times are seconds since what the declaration's `times_from` says.
///
/// Throws BadInput, with file, row and column, for everything `CsvReader` refuses, for a missing or doubled
/// column, time that stands still or runs backwards (naming both rows), a time more than 1e6 s from time 0, a
/// quaternion whose norm is not 1 within 1e-6, a turn of more than 45° from one row to the next, fewer than
/// two rows left, rows that all stand alone between gaps, and re-timing that does not fit.
inline FlangeLog read_log(std::filesystem::path const& path, LogDeclaration const& declared,
                          std::optional<LoggedArm> const& arm = std::nullopt) {
    CsvReader reader = declared.columns.empty() ? CsvReader(path) : CsvReader(path, declared.columns);
    detail::LogColumns columns(reader);
    LogReport report;
    report.file = reader.path();
    report.declared = declared;
    if (declared.keep_rows) {
        reader.keep_rows(reader.column(declared.keep_rows->column), declared.keep_rows->equals);
        columns.use(declared.keep_rows->column);
    }
    auto const read = [&]() -> AnyFlangeMotion {
        if (!arm)
            return detail::read_poses(reader, columns, report);
        return std::visit(
            [&](auto const& kinematics) {
                return detail::read_joints(reader, columns, report, *arm, kinematics);
            },
            arm->arm);
    };
    AnyFlangeMotion motion = read();
    report.columns = columns.used();
    report.unused = columns.unused();
    return {std::move(motion), std::move(report)};
}

} // namespace seamhold

#endif
