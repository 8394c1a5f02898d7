#ifndef SEAMHOLD_FILE_TRACE_CSV_HPP
#define SEAMHOLD_FILE_TRACE_CSV_HPP

#include "seamhold/file/write.hpp"
#include "seamhold/live/trace.hpp"

#include <charconv>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

namespace seamhold {

/// What was written to a file of trace rows.
struct WrittenTrace {
    std::size_t rows;
    std::uint64_t overwritten; ///< older rows that the ring no longer had
};

namespace detail {
/// A row of a CSV file that is put together from numbers and words without commas.
class CsvRow {
public:
    /// A number, with the fewest digits that read back as the same double; `nan` or `inf` where it is so.
    CsvRow& number(double x) {
        char digits[32];
        return word({digits, static_cast<std::size_t>(std::to_chars(digits, digits + sizeof digits, x).ptr -
                                                      digits)});
    }
    CsvRow& whole(std::uint64_t n) {
        char digits[24];
        return word({digits, static_cast<std::size_t>(std::to_chars(digits, digits + sizeof digits, n).ptr -
                                                      digits)});
    }
    CsvRow& word(std::string_view text) {
        if (!row_.empty())
            row_ += ',';
        row_ += text;
        return *this;
    }
    std::string const& line() { return row_ += '\n'; }

private:
    std::string row_;
};
} // namespace detail

/// Writes what a trace holds as CSV, one row a tick, the oldest first:
///
///     row,time_s,forecast,stamp_s,arrived_s,fault,spot_x_m,spot_y_m,spot_z_m,stated_across_m,stated_along_m,
///     stated_focus_m,horizon_s,x_mirror_rad,y_mirror_rad,focus_m,power_W,status,gate,dry,reason,detail,
///     value,allowed,seam,arc_length_m
///
/// (in one line). `row` counts all ticks since the start from 0, so a gap shows; seams count from 0. Before
/// the first forecast the columns from stamp_s to horizon_s mean nothing. Where the gate is open, `reason` is
/// `open`; an input is named in `detail` by its number from 0. A number that was not finite stands there as
/// `nan` or `inf`: it is what was to be found. The trace may be written to meanwhile. The file appears whole
/// or not at all. Throws BadInput where `WholeFile` does.
inline WrittenTrace write_trace(std::filesystem::path const& path, Trace const& trace) {
    auto const read = trace.snapshot();
    WholeFile file(path);
    file.write(
        "row,time_s,forecast,stamp_s,arrived_s,fault,spot_x_m,spot_y_m,spot_z_m,stated_across_m,"
        "stated_along_m,stated_focus_m,horizon_s,x_mirror_rad,y_mirror_rad,focus_m,power_W,status,gate,"
        "dry,reason,detail,value,allowed,seam,arc_length_m\n");
    for (auto const& [number, row] : read.rows) {
        detail::CsvRow line;
        line.whole(number).number(row.time.seconds).whole(row.forecast).number(row.stamp.seconds);
        line.number(row.arrived.seconds).word(to_string(row.fault));
        line.number(row.spot.x).number(row.spot.y).number(row.spot.z);
        line.number(row.stated.across).number(row.stated.along).number(row.stated.focus).number(row.horizon);
        line.number(row.command.x_mirror).number(row.command.y_mirror).number(row.command.focus);
        line.number(row.power).word(to_string(row.status)).whole(row.open ? 1 : 0).whole(row.dry ? 1 : 0);
        line.word(to_string(row.cause.reason));
        if (row.cause.reason == GateReason::input)
            line.whole(row.cause.which);
        else
            line.word(detail_of(row.cause));
        line.number(row.cause.value).number(row.cause.allowed).whole(row.seam).number(row.arc_length);
        file.write(line.line());
    }
    file.commit();
    return {read.rows.size(), read.overwritten};
}

} // namespace seamhold

#endif
