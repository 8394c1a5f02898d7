#ifndef SEAMHOLD_FILE_LOG_HPP
#define SEAMHOLD_FILE_LOG_HPP

#include "seamhold/file/log_columns.hpp"
#include "seamhold/file/log_report.hpp"
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

/// The largest time, s, at which a double still tells a tenth of a nanosecond.
inline constexpr double largest_log_time = 1e6;

/// Collects the rows of a log, N numbers each, in SI units.
template <int N> class LogRows {
public:
    using Row = std::array<double, N>;

    std::vector<double> times;
    std::vector<Row> rows;

    /// Reads all rows. `check(before, row)` looks at a row beside the one kept before it, or null; the first
    /// holds where the step between them is no gap.
    template <class Check>
    void read(CsvReader& reader, TimeColumn const& time_column, std::array<LogColumn, N> const& columns,
              LogReport& report, Check&& check) {
        auto const& declared = report.declared;
        while (reader.next()) {
            Stamp const stamp = reader.stamp(time_column.place, time_column.decimal_shift);
            if (report.rows == 0 && declared.times_from == TimesFrom::first_row)
                report.epoch_ns = stamp.nanoseconds;
            double const time = seconds_since(report.epoch_ns, stamp);
            check_time(reader, time_column, report, time);
            Row row;
            for (std::size_t i = 0; i < N; ++i)
                row[i] = columns[i].to_si(reader.number(columns[i].place));
            bool const repeats = report.rows > 0 && row == last_row_;
            if (report.rows == 0)
                report.start = time;
            else
                steps_.push_back(time - last_time_);
            ++report.rows;
            note_repeat(report, repeats, time);
            if (!repeats || declared.repeated_rows == RepeatedRows::keep) {
                bool const gap = !times.empty() && time - times.back() > declared.max_gap;
                if (gap)
                    report.gaps.push_back({times.back(), time - times.back(), reader.row()});
                check(times.empty() || gap ? nullptr : &rows.back(), row);
                if (declared.repeated_rows == RepeatedRows::retime) {
                    lines_.push_back(reader.row());
                    steps_before_.push_back(report.rows == 1 ? 0 : steps_.back());
                }
                times.push_back(time);
                rows.push_back(row);
            }
            last_row_ = row;
            last_time_ = time;
            last_line_ = reader.row();
        }
        finish(reader, report);
    }

private:
    void check_time(CsvReader const& reader, TimeColumn const& column, LogReport const& report,
                    double time) const {
        if (std::abs(time) > largest_log_time)
            reader.fail(column.place,
                        shown(reader.text(column.place)) + " lies " + fixed(time, 3) +
                            " s from time 0, where seconds no longer tell a nanosecond" +
                            (report.declared.times_from == TimesFrom::clock
                                 ? "; count the job's times from the first row: times_from = \"first_row\""
                                 : "; the log must not be longer than 1000000 s"));
        if (report.rows > 0 && !(time > last_time_))
            reader.fail(column.place,
                        shown(reader.text(column.place)) +
                            (time == last_time_
                                 ? " is the time of row " + std::to_string(last_line_) + " again"
                                 : " is " + milliseconds_text(last_time_ - time) +
                                       " before the time of row " + std::to_string(last_line_)) +
                            ": time must increase from row to row");
    }

    void note_repeat(LogReport& report, bool repeats, double time) {
        if (!repeats) {
            fresh_time_ = time;
            return;
        }
        ++report.repeats;
        if (time - fresh_time_ > report.longest_repeat) {
            report.longest_repeat = time - fresh_time_;
            report.longest_repeat_start = fresh_time_;
        }
    }

    void finish(CsvReader const& reader, LogReport& report) {
        report.other_rows = reader.passed_over();
        if (times.size() < 2)
            throw BadInput(reader.path() + ": a motion needs two rows or more; " +
                           counted(report.rows, "row was read", "rows were read") + ", of which " +
                           counted(times.size(), "is", "are") + " left" +
                           (report.other_rows > 0
                                ? ", and " + std::to_string(report.other_rows) + " of other kinds passed over"
                                : ""));
        if (report.gaps.size() + 1 == times.size())
            throw BadInput(reader.path() +
                           ": every row stands alone: all steps in time are longer than the "
                           "longest gap allowed, " +
                           milliseconds_text(report.declared.max_gap));
        report.kept = times.size();
        report.end = last_time_;
        if (report.declared.repeated_rows == RepeatedRows::retime)
            retime(reader, report);
        auto const ends = std::minmax_element(steps_.begin(), steps_.end());
        report.smallest_step = *ends.first;
        report.largest_step = *ends.second;
        auto const middle = steps_.begin() + static_cast<std::ptrdiff_t>(steps_.size() / 2);
        std::nth_element(steps_.begin(), middle, steps_.end());
        report.period = *middle;
        double squares = 0;
        std::size_t count = 0;
        for (double const step : steps_) {
            if (step > report.declared.max_gap)
                continue;
            double const off = std::abs(step - report.period);
            squares += off * off;
            ++count;
            report.jitter_worst = std::max(report.jitter_worst, off);
        }
        report.jitter_rms = count > 0 ? std::sqrt(squares / static_cast<double>(count)) : 0;
    }

    /// See RepeatedRows::retime.
    void retime(CsvReader const& reader, LogReport& report) {
        for (std::size_t first = 0; first < times.size();) {
            std::size_t last = first;
            double longest_step = 0;
            while (last + 1 < times.size() && times[last + 1] - times[last] <= report.declared.max_gap)
                longest_step = std::max(longest_step, steps_before_[++last]);
            double const start = times[first];
            double const way = times[last] - start;
            for (std::size_t i = first + 1; i < last; ++i) {
                double const even =
                    start + way * (static_cast<double>(i - first) / static_cast<double>(last - first));
                double const moved = std::abs(even - times[i]);
                if (moved > longest_step)
                    throw BadInput(reader.path() + ":" + std::to_string(lines_[i]) +
                                   ": to re-time this row by " + milliseconds_text(moved) +
                                   " is more than the longest step between rows, " +
                                   milliseconds_text(longest_step) +
                                   ": the source did not make its poses evenly; allowed then are "
                                   "repeated_rows = \"drop\" or \"keep\"");
                report.largest_retiming = std::max(report.largest_retiming, moved);
                times[i] = even;
            }
            first = last + 1;
        }
    }

    std::vector<double> steps_;
    std::vector<double> steps_before_;
    std::vector<std::size_t> lines_;
    Row last_row_{};
    double last_time_ = 0;
    double fresh_time_ = 0;
    std::size_t last_line_ = 0;
};

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
