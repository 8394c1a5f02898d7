#ifndef SEAMHOLD_FILE_CELL_DATA_HPP
#define SEAMHOLD_FILE_CELL_DATA_HPP

#include "seamhold/calibrate/clock_line.hpp"
#include "seamhold/calibrate/five_marks.hpp"
#include "seamhold/calibrate/focus_series.hpp"
#include "seamhold/calibrate/power_line.hpp"
#include "seamhold/calibrate/trend.hpp"
#include "seamhold/file/measured_columns.hpp"

#include <filesystem>
#include <vector>

/// Short tables that are measured in a cell, from files of comma-separated values. Units stand in the
/// columns' names, other columns are passed over, and errors are BadInput that start with `file:row:column:
/// `.
namespace seamhold {

namespace detail {

/// Rows of two quantities.
template <class Row>
std::vector<Row> read_pairs(std::filesystem::path const& path, std::string const& first,
                            std::span<ColumnUnit const> first_units, std::string const& second,
                            std::span<ColumnUnit const> second_units) {
    CsvReader reader(path);
    LogColumns columns(reader);
    auto const a = columns.find(first, first_units);
    auto const b = columns.find(second, second_units);
    return rows_of<Row>(reader, [&] { return Row{number_of(reader, a), number_of(reader, b)}; });
}

} // namespace detail

/// Lines marked in both sweep directions: `speed_mm_per_s` (or `_m_per_min`, `_m_per_s`) and `separation_mm`
/// (or `_um`, `_m`), place of the forward mark less that of the backward one along the forward sweep.
inline std::vector<LineSeparation> read_line_separations(std::filesystem::path const& path) {
    return detail::read_pairs<LineSeparation>(path, "speed", detail::speed_units, "separation",
                                              detail::small_length_units);
}

/// A defocus series: `setting_mm` (or `_um`, `_m`), the lens's displacement or the plate's height, and
/// `width_um` (or `_mm`, `_m`) of the mark.
inline std::vector<FocusRow> read_focus_series(std::filesystem::path const& path) {
    return detail::read_pairs<FocusRow>(path, "setting", detail::small_length_units, "width",
                                        detail::small_length_units);
}

/// Power commanded and measured: `commanded_W` and `measured_W` (or `_kW`).
inline std::vector<PowerRow> read_power_rows(std::filesystem::path const& path) {
    return detail::read_pairs<PowerRow>(path, "commanded", detail::power_units, "measured",
                                        detail::power_units);
}

/// Marks as they were found, in the record's order: `x_found_mm` and `y_found_mm` (or `_um`, `_m`).
inline std::vector<MarkPlace> read_mark_places(std::filesystem::path const& path) {
    return detail::read_pairs<MarkPlace>(path, "x_found", detail::small_length_units, "y_found",
                                         detail::small_length_units);
}

} // namespace seamhold

#endif
