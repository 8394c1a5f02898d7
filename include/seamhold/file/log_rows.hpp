#ifndef SEAMHOLD_FILE_LOG_ROWS_HPP
#define SEAMHOLD_FILE_LOG_ROWS_HPP

#include "seamhold/file/log_columns.hpp"
#include "seamhold/file/log_report.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

/// From the rows of a log file to the rows of a motion, and what is found on the way.
namespace seamhold::detail {

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

} // namespace seamhold::detail

#endif
