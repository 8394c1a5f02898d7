#ifndef SEAMHOLD_FILE_FIELD_MAP_HPP
#define SEAMHOLD_FILE_FIELD_MAP_HPP

#include "seamhold/file/csv.hpp"
#include "seamhold/file/log_columns.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/head/field_marks.hpp"
#include "seamhold/head/real_head.hpp"
#include "seamhold/number/bad_input.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

namespace detail {

/// Which columns hold the two pairs of a mark.
struct MarkColumns {
    std::array<LogColumn, 2> commanded;
    std::array<LogColumn, 2> found;
    bool commanded_are_angles;
};

inline MarkColumns mark_columns(CsvReader const& reader) {
    bool positions = false;
    bool angles = false;
    for (auto const& name : reader.names()) {
        positions = positions || name.starts_with("x_command_") || name.starts_with("y_command_");
        angles = angles || name.starts_with("x_mirror_") || name.starts_with("y_mirror_");
    }
    if (positions && angles)
        throw BadInput(
            reader.path() +
            ": there are columns x_command_… and columns x_mirror_…; name the commanded marks once");
    LogColumns columns(reader);
    MarkColumns found{};
    found.commanded_are_angles = angles;
    if (angles)
        found.commanded = {columns.find("x_mirror", angle_units), columns.find("y_mirror", angle_units)};
    else
        found.commanded = {columns.find("x_command", length_units), columns.find("y_command", length_units)};
    found.found = {columns.find("x_found", length_units), columns.find("y_found", length_units)};
    return found;
}

} // namespace detail

/// The marks of a field from a file of comma-separated values, one mark a row, in any order. Columns, in any
/// order, others are passed over: where the mark was commanded, as a place on the plate, `x_command_mm` and
/// `y_command_mm` (or `_m`), or as mechanical mirror angles, `x_mirror_deg` and `y_mirror_deg` (or `_rad`);
/// and where it was found on the plate, `x_found_mm` and `y_found_mm` (or `_m`). A mark that was not found
/// has both of these empty, or no row. Returns those that were found, in SI units. Throws BadInput that
/// starts with `file:row:column: ` for what is not a number, half a pair, and a mirror angle of 45° or more;
/// and with the file for columns that are missing or there twice, and for a file without marks.
inline std::vector<MarkRow> read_field_marks(std::filesystem::path const& path) {
    CsvReader reader(path);
    auto const columns = detail::mark_columns(reader);
    std::vector<MarkRow> rows;
    while (reader.next()) {
        MarkRow row{reader.row(), {}, {}, columns.commanded_are_angles};
        for (std::size_t k = 0; k < 2; ++k) {
            auto const& column = columns.commanded[k];
            row.commanded[k] = column.to_si(reader.number(column.place));
            if (columns.commanded_are_angles && !(std::abs(row.commanded[k]) < degrees(45)))
                reader.fail(column.place, detail::shown(reader.text(column.place)) +
                                              " is no mirror angle: it must be within 45 degrees");
        }
        bool const empty[] = {reader.text(columns.found[0].place).empty(),
                              reader.text(columns.found[1].place).empty()};
        if (empty[0] && empty[1])
            continue;
        for (std::size_t k = 0; k < 2; ++k) {
            auto const& column = columns.found[k];
            if (empty[k])
                reader.fail(column.place,
                            "empty, while the other half of the found place is given; a mark that "
                            "was not found has both empty");
            row.found[k] = column.to_si(reader.number(column.place));
        }
        rows.push_back(row);
    }
    if (rows.empty())
        throw BadInput(reader.path() + ": there is no row with a mark that was found");
    return rows;
}

namespace detail {
/// The mirror angles with which a head's beam meets a place on the plate at its working distance. Throws
/// BadInput about a row of a file where there are none.
template <class H>
std::array<double, 2> angles_on_plate(H const& head, double plate_z, std::array<double, 2> const& place,
                                      std::string const& file, std::size_t row, char const* what) {
    Point<Head> const p{place[0], place[1], plate_z};
    auto const angles = head.solve(p).angles;
    if (!(head.clearance(p, Command<>{angles[0], angles[1], 0}).solved > 0))
        throw BadInput(file + ":" + std::to_string(row) + ": no mirror angles reach the " + what +
                       " place (" + shortest(in_millimetres(place[0])) + ", " +
                       shortest(in_millimetres(place[1])) + ") mm");
    return angles;
}
} // namespace detail

/// The field map of a head from the marks of a file (see `read_field_marks`), made on a plate across z at the
/// head's working distance, x and y as in the head frame. `head` has no map yet and is described as well as
/// is known: a found place becomes the mirror angles with which it reaches that place. A commanded place
/// becomes the angles of ideal mirrors `mirror_separation` apart, m, in front of the same objective, which is
/// what a controller takes that knows nothing else. Throws BadInput as `read_field_marks`, with file and row
/// for a place that no angles reach, and with the file for what `fit_field_map` refuses.
template <class Objective>
FieldMap read_field_map_for(RealHead<Objective> const& head, double mirror_separation,
                            std::filesystem::path const& path) {
    auto parts = head.parts();
    parts.mirrors = ideal_mirrors(mirror_separation);
    RealHead<Objective> const nominal(std::move(parts));
    double const z = head.working_distance();
    std::string const file = path.string();
    std::vector<FieldMark> marks;
    for (auto const& row : read_field_marks(path))
        marks.push_back({row.row,
                         row.commanded_are_angles
                             ? row.commanded
                             : detail::angles_on_plate(nominal, z, row.commanded, file, row.row, "commanded"),
                         detail::angles_on_plate(head, z, row.found, file, row.row, "found")});
    return detail::made_from(file, [&] { return fit_field_map(marks); });
}

} // namespace seamhold

#endif
