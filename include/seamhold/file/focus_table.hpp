#ifndef SEAMHOLD_FILE_FOCUS_TABLE_HPP
#define SEAMHOLD_FILE_FOCUS_TABLE_HPP

#include "seamhold/file/csv.hpp"
#include "seamhold/file/log_columns.hpp"
#include "seamhold/head/flat_field_lens.hpp"
#include "seamhold/head/focus.hpp"
#include "seamhold/head/focus_surface.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <span>
#include <string>
#include <utility>
#include <vector>

/// Measured tables of a head's optics, from files of comma-separated values. Columns are found by name, in
/// any order; other columns are left alone. Errors are BadInput that start with `file:row:column: ` or name
/// the rows that clash, as lines of the file counted from 1.
namespace seamhold {

namespace detail {

/// Two columns of numbers in SI units, and where each row stands in the file.
struct TwoColumns {
    std::string path;
    std::string first_name, second_name; ///< as in the file
    std::vector<double> first, second;   ///< in SI units
    std::vector<std::string> shown_first, shown_second;
    std::vector<std::size_t> lines;

    TwoColumns(std::filesystem::path const& file, std::string const& first_quantity,
               std::string const& second_quantity, std::span<ColumnUnit const> units) {
        CsvReader reader(file);
        path = reader.path();
        LogColumns columns(reader);
        auto const a = columns.find(first_quantity, units);
        auto const b = columns.find(second_quantity, units);
        first_name = reader.names()[a.place];
        second_name = reader.names()[b.place];
        while (reader.next()) {
            first.push_back(a.to_si(reader.number(a.place)));
            second.push_back(b.to_si(reader.number(b.place)));
            shown_first.emplace_back(reader.text(a.place));
            shown_second.emplace_back(reader.text(b.place));
            lines.push_back(reader.row());
        }
        if (lines.size() < 2)
            throw BadInput(path + ": a table needs two rows or more; there " +
                           (lines.empty() ? "is none" : "is one"));
    }

    /// Throws BadInput about a row, by its line.
    [[noreturn]] void fail(std::size_t row, std::string const& column, std::string const& what) const {
        throw BadInput(path + ":" + std::to_string(lines[row]) + ":" + column + ": " + what);
    }

    /// Throws BadInput where the first column does not increase from row to row.
    void check_order() const {
        for (std::size_t i = 1; i < first.size(); ++i)
            if (!(first[i] > first[i - 1]))
                fail(i, first_name,
                     shown_first[i] + " does not rise above the " + shown_first[i - 1] + " of row " +
                         std::to_string(lines[i - 1]));
    }
};

} // namespace detail

/// A measured focus axis: columns `path_m` or `path_mm`, the optical path from the first mirror to the focus,
/// increasing from row to row, and `lens_m` or `lens_mm`, the displacement of the lens, increasing too
/// (positive moves the focus away from the head) and containing 0. Throws BadInput for a file that is no such
/// table, naming both rows where it turns back.
inline FocusTable read_focus_table(std::filesystem::path const& path) {
    detail::TwoColumns table(path, "path", "lens", detail::length_units);
    table.check_order();
    if (table.second.back() > table.second.front())
        for (std::size_t i = 1; i < table.lines.size(); ++i)
            if (!(table.second[i] > table.second[i - 1]))
                table.fail(i, table.second_name,
                           "the table turns back: " + table.shown_second[i] + " does not rise above the " +
                               table.shown_second[i - 1] + " of row " + std::to_string(table.lines[i - 1]));
    return detail::made_from(table.path,
                             [&] { return FocusTable(std::move(table.first), std::move(table.second)); });
}

namespace detail {
/// Rows of a table over both mirror angles, and the line of the file on which each stands.
struct PlacedSurfaceRows {
    std::vector<FocusSurfaceRow> rows;
    std::vector<std::size_t> lines;
};

inline PlacedSurfaceRows read_placed_surface_rows(std::filesystem::path const& path) {
    CsvReader reader(path);
    LogColumns columns(reader);
    auto const x = columns.find("x_mirror", angle_units);
    auto const y = columns.find("y_mirror", angle_units);
    auto const lens = columns.find("lens", length_units);
    struct Placed {
        double x, y;
        std::size_t line;
        bool operator<(Placed const& other) const {
            return x != other.x ? x < other.x : y != other.y ? y < other.y : line < other.line;
        }
    };
    PlacedSurfaceRows all;
    std::vector<Placed> placed;
    while (reader.next()) {
        all.rows.push_back({x.to_si(reader.number(x.place)), y.to_si(reader.number(y.place)),
                            lens.to_si(reader.number(lens.place))});
        all.lines.push_back(reader.row());
        placed.push_back({all.rows.back().x_mirror, all.rows.back().y_mirror, reader.row()});
    }
    std::sort(placed.begin(), placed.end());
    for (std::size_t i = 1; i < placed.size(); ++i)
        if (placed[i].x == placed[i - 1].x && placed[i].y == placed[i - 1].y)
            throw BadInput(reader.path() + ":" + std::to_string(placed[i].line) +
                           ": the same mirror angles as in row " + std::to_string(placed[i - 1].line));
    if (all.rows.empty())
        throw BadInput(reader.path() + ": a table over both mirror angles needs rows; there are none");
    return all;
}
} // namespace detail

/// A table over both mirror angles: columns `x_mirror_deg` or `x_mirror_rad` and `y_mirror_deg` or
/// `y_mirror_rad`, commanded mechanical angles, and `lens_m` or `lens_mm`, the displacement of the lens that
/// gave the sharpest spot on the plane. Rows in any order. For `fit_focus_surface`, which counts them from 0.
/// Throws BadInput for a file that is no such table, and for two rows for the same angles.
inline std::vector<FocusSurfaceRow> read_focus_surface_rows(std::filesystem::path const& path) {
    return detail::read_placed_surface_rows(path).rows;
}

/// The chief-ray angles of a flat-field lens in one plane: columns `in_deg` or `in_rad`, the angle of the
/// beam to the axis before the lens, increasing from row to row, and `out_deg` or `out_rad`, that behind it.
/// A table that starts at 0 holds for both sides of the axis. Throws BadInput for a file that is no such
/// table.
inline ChiefRaySlope<> read_chief_ray_slope(std::filesystem::path const& path) {
    detail::TwoColumns table(path, "in", "out", detail::angle_units);
    table.check_order();
    for (std::size_t i = 0; i < table.lines.size(); ++i) {
        if (!(std::abs(table.first[i]) <= detail::largest_lens_angle))
            table.fail(i, table.first_name, table.shown_first[i] + " is beyond 45 degrees");
        if (!(std::abs(table.second[i]) <= detail::largest_lens_angle))
            table.fail(i, table.second_name, table.shown_second[i] + " is beyond 45 degrees");
    }
    if (table.first[0] == 0 && table.second[0] != 0)
        table.fail(0, table.second_name,
                   table.shown_second[0] + " is not possible on the axis: a table that starts at 0 holds for "
                                           "both sides, so its angle out must be 0 there");
    return detail::made_from(table.path, [&] {
        return ChiefRaySlope<>::from_table(std::move(table.first), std::move(table.second));
    });
}

} // namespace seamhold

#endif
