#ifndef SEAMHOLD_FILE_PART_DATA_HPP
#define SEAMHOLD_FILE_PART_DATA_HPP

#include "seamhold/calibrate/part_touch.hpp"
#include "seamhold/file/measured_columns.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

namespace detail {

/// Three columns of one quantity: a point, or a direction.
class TripleColumns {
public:
    TripleColumns(LogColumns& columns, std::string const& prefix, std::span<ColumnUnit const> units) {
        for (std::size_t k = 0; k < 3; ++k)
            columns_[k] = columns.find(prefix + "xyz"[k], units);
    }

    std::array<double, 3> numbers(CsvReader const& reader) const {
        return {number_of(reader, columns_[0]), number_of(reader, columns_[1]),
                number_of(reader, columns_[2])};
    }

    /// Throws BadInput about the first of the columns.
    [[noreturn]] void fail(CsvReader const& reader, std::string const& what) const {
        reader.fail(columns_[0].place, what);
    }

private:
    std::array<LogColumn, 3> columns_{};
};

/// The columns of touches, those that only some features need among them.
struct TouchColumns {
    std::size_t feature;
    TripleColumns known, touched;
    std::optional<TripleColumns> direction;
    std::optional<LogColumn> radius, tip_radius;

    TouchColumns(CsvReader const& reader, LogColumns& columns)
        : feature(reader.column("feature")), known(columns, "known_", length_units),
          touched(columns, "touched_", length_units) {
        if (reader.find("direction_x"))
            direction.emplace(columns, "direction_", no_unit);
        if (reader.find("radius_mm") || reader.find("radius_m"))
            radius = columns.find("radius", length_units);
        if (reader.find("tip_radius_mm") || reader.find("tip_radius_m"))
            tip_radius = columns.find("tip_radius", length_units);
    }

    Direction<Part> unit_direction(CsvReader const& reader) const {
        if (!direction)
            reader.fail(feature, "a feature with a direction needs the columns direction_x, direction_y and "
                                 "direction_z");
        auto const d = direction->numbers(reader);
        Direction<Part> const given{d[0], d[1], d[2]};
        if (!(norm(given) > 0))
            direction->fail(reader, "a direction is needed: not all three may be 0");
        return unit(given);
    }

    double radius_of(CsvReader const& reader) const {
        if (!radius)
            reader.fail(feature, "a round feature needs a column radius_mm");
        double const given = number_of(reader, *radius);
        if (!(given > 0))
            reader.fail(radius->place, "a radius must be above 0");
        return given;
    }

    double tip_of(CsvReader const& reader) const {
        if (!tip_radius || reader.text(tip_radius->place).empty())
            return 0;
        double const given = number_of(reader, *tip_radius);
        if (!(given >= 0))
            reader.fail(tip_radius->place, "a tip's radius must be 0 or more");
        return given;
    }

    PartTouch touch(CsvReader const& reader) const {
        auto const p = known.numbers(reader), q = touched.numbers(reader);
        Point<Part> const on{p[0], p[1], p[2]};
        Point<Cell> const at{q[0], q[1], q[2]};
        auto const kind = reader.text(feature);
        double const tip = tip_of(reader);
        if (kind == "point") {
            if (tip != 0)
                reader.fail(tip_radius->place, "a point is met by a pointed tip: its radius must be 0");
            return PointTouch{on, at};
        }
        if (kind == "face")
            return FaceTouch{on, unit_direction(reader), at, tip};
        if (kind == "edge")
            return EdgeTouch{on, unit_direction(reader), at, tip};
        if (kind == "bore" || kind == "pin")
            return CylinderTouch{on, unit_direction(reader), radius_of(reader), kind == "bore", at, tip};
        if (kind == "ball")
            return BallTouch{on, radius_of(reader), at, tip};
        reader.fail(feature, shown(kind) + " is not known; features are point, face, edge, bore, pin, ball");
    }
};

} // namespace detail

/// Touches of a part from a file of comma-separated values, one a row. Columns: `feature` (point, face, edge,
/// bore, pin or ball); `known_x_mm`, `known_y_mm`, `known_z_mm` (or `_m`): the point, or a point of the face,
/// the edge or the axis, or the ball's middle, from the drawing, in the part's frame; `touched_x_mm`,
/// `touched_y_mm`, `touched_z_mm`: the middle of the tip, in the cell. Where a feature needs them:
/// `direction_x`, `direction_y`, `direction_z` (out of the face, along the edge or the axis, of any length),
/// `radius_mm` (of bore, pin or ball), `tip_radius_mm` (0 without). Others are passed over. Throws BadInput
/// that starts with `file:row:column: `.
inline std::vector<PartTouch> read_part_touches(std::filesystem::path const& path) {
    CsvReader reader(path);
    detail::LogColumns columns(reader);
    detail::TouchColumns const touches(reader, columns);
    return detail::rows_of<PartTouch>(reader, [&] { return touches.touch(reader); });
}

} // namespace seamhold

#endif
