#ifndef SEAMHOLD_FILE_MEASURED_COLUMNS_HPP
#define SEAMHOLD_FILE_MEASURED_COLUMNS_HPP

#include "seamhold/file/csv.hpp"
#include "seamhold/file/log_columns.hpp"
#include "seamhold/frame/angles.hpp"
#include "seamhold/frame/pose.hpp"
#include "seamhold/head/command.hpp"
#include "seamhold/number/units.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

/// The columns of a notebook of measurements: numbers with their units, poses and commands.
namespace seamhold::detail {

inline double from_metres_per_minute(double x) { return metres_per_minute(x); }
inline double from_kilowatts(double x) { return 1e3 * x; }
inline double from_milliseconds(double x) { return 1e-3 * x; }
inline double from_hours(double x) { return 3600 * x; }
inline double from_micrometres(double x) { return 1e-6 * x; }

inline constexpr ColumnUnit small_length_units[] = {
    {"_m", as_it_is}, {"_mm", from_millimetres}, {"_um", from_micrometres}};
inline constexpr ColumnUnit speed_units[] = {
    {"_m_per_s", as_it_is}, {"_mm_per_s", from_millimetres}, {"_m_per_min", from_metres_per_minute}};
inline constexpr ColumnUnit power_units[] = {{"_W", as_it_is}, {"_kW", from_kilowatts}};

/// A number of a row in SI units.
inline double number_of(CsvReader const& reader, LogColumn const& column) {
    return column.to_si(reader.number(column.place));
}

/// The columns of a pose: `x_mm`, `y_mm`, `z_mm` (or `_m`) and its rotation in one of three ways: as a unit
/// quaternion `qw`, `qx`, `qy`, `qz`; as angles `z1_deg`, `y2_deg`, `x3_deg` (or `_rad`): turn about z, then
/// about the new y, then about the newest x; or `x1_deg`, `y2_deg`, `z3_deg`. Before each name a prefix.
class PoseColumns {
public:
    /// Looks for the columns. Throws BadInput where some are missing, or the rotation is given twice.
    PoseColumns(CsvReader const& reader, LogColumns& columns, std::string const& prefix) {
        for (std::size_t k = 0; k < 3; ++k)
            origin_[k] = columns.find(prefix + "xyz"[k], length_units);
        auto const there = [&](std::string const& name) {
            return reader.find(prefix + name + "_deg") || reader.find(prefix + name + "_rad");
        };
        bool const quaternion = reader.find(prefix + "qw").has_value();
        bool const zyx = there("z1");
        bool const xyz = there("x1");
        if (int(quaternion) + int(zyx) + int(xyz) != 1)
            throw BadInput(reader.path() + ": of a pose's rotation exactly one is needed: " + prefix +
                           "qw, " + prefix + "qx, " + prefix + "qy, " + prefix + "qz; or " + prefix +
                           "z1_deg, " + prefix + "y2_deg, " + prefix + "x3_deg; or " + prefix + "x1_deg, " +
                           prefix + "y2_deg, " + prefix + "z3_deg. The columns are " +
                           joined(reader.names()));
        kind_ = quaternion ? Kind::quaternion : zyx ? Kind::zyx : Kind::xyz;
        if (quaternion)
            for (std::size_t k = 0; k < 4; ++k)
                rotation_[k] = columns.find(prefix + "q" + "wxyz"[k], no_unit);
        else
            for (std::size_t k = 0; k < 3; ++k)
                rotation_[k] = columns.find(prefix + (zyx ? "zyx" : "xyz")[k] + "123"[k], angle_units);
    }

    /// The pose of this row. Throws BadInput with file and row for a quaternion that is none.
    template <class To, class From> Pose<To, From> pose(CsvReader const& reader) const {
        double r[4] = {};
        for (std::size_t k = 0; k < (kind_ == Kind::quaternion ? 4U : 3U); ++k)
            r[k] = number_of(reader, rotation_[k]);
        auto const turn = [&]() -> Rotation<To, From> {
            switch (kind_) {
            case Kind::zyx:
                return from_zyx_angles<To, From>(r[0], r[1], r[2]);
            case Kind::xyz:
                return from_xyz_angles<To, From>(r[0], r[1], r[2]);
            default:
                break;
            }
            try {
                return from_wxyz<To, From>(r[0], r[1], r[2], r[3], 1e-4); // notebooks have five digits
            } catch (BadInput const& error) {
                reader.fail(rotation_[0].place, error.what());
            }
        };
        return {
            turn(),
            {number_of(reader, origin_[0]), number_of(reader, origin_[1]), number_of(reader, origin_[2])}};
    }

private:
    enum class Kind : unsigned char { quaternion, zyx, xyz };
    std::array<LogColumn, 3> origin_{};
    std::array<LogColumn, 4> rotation_{};
    Kind kind_;
};

/// The columns of a command: `x_mirror_deg`, `y_mirror_deg` (or `_rad`), mechanical, and `focus_mm` (or
/// `_m`), the displacement of the lens; without it the lens stands at 0.
class CommandColumns {
public:
    /// Looks for the columns. Throws BadInput where a mirror's is missing or there twice.
    CommandColumns(CsvReader const& reader, LogColumns& columns)
        : mirrors_{columns.find("x_mirror", angle_units), columns.find("y_mirror", angle_units)} {
        if (reader.find("focus_mm") || reader.find("focus_m"))
            focus_ = columns.find("focus", length_units);
    }

    /// The command of this row. Throws BadInput with the row for a mirror angle of 45° or more.
    Command<> command(CsvReader const& reader) const {
        Command<> told{number_of(reader, mirrors_[0]), number_of(reader, mirrors_[1]), 0};
        for (std::size_t k = 0; k < 2; ++k)
            if (!(std::abs(k == 0 ? told.x_mirror : told.y_mirror) < degrees(45)))
                reader.fail(mirrors_[k].place, shown(reader.text(mirrors_[k].place)) +
                                                   " is no mirror angle: it must be within 45 degrees");
        if (focus_)
            told.focus = number_of(reader, *focus_);
        return told;
    }

private:
    std::array<LogColumn, 2> mirrors_;
    std::optional<LogColumn> focus_;
};

/// All rows of a file as `make(reader)` makes them. Throws BadInput for a file without rows.
template <class Row, class Make> std::vector<Row> rows_of(CsvReader& reader, Make const& make) {
    std::vector<Row> rows;
    while (reader.next())
        rows.push_back(make());
    if (rows.empty())
        throw BadInput(reader.path() + ": there is no row below the names of the columns");
    return rows;
}

} // namespace seamhold::detail

#endif
