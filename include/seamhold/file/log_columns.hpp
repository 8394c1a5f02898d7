#ifndef SEAMHOLD_FILE_LOG_COLUMNS_HPP
#define SEAMHOLD_FILE_LOG_COLUMNS_HPP

#include "seamhold/file/csv.hpp"
#include "seamhold/file/log_declaration.hpp"
#include "seamhold/number/units.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>
#include <string>
#include <vector>

/// Which column of a log holds what, by the names of the columns and nothing else.
namespace seamhold::detail {

/// A column of numbers and what makes SI units of them.
struct LogColumn {
    std::size_t place;
    double (*to_si)(double);
};

/// The time column and the power of ten that makes nanoseconds of it.
struct TimeColumn {
    std::size_t place;
    int decimal_shift;
};

/// A unit that a column's name may end in.
struct ColumnUnit {
    char const* ending;
    double (*to_si)(double);
};

inline double as_it_is(double x) { return x; }
inline double from_millimetres(double x) { return millimetres(x); }
inline double from_degrees(double x) { return degrees(x); }

inline constexpr ColumnUnit length_units[] = {{"_m", as_it_is}, {"_mm", from_millimetres}};
inline constexpr ColumnUnit angle_units[] = {{"_rad", as_it_is}, {"_deg", from_degrees}};
inline constexpr ColumnUnit no_unit[] = {{"", as_it_is}};

/// Finds the columns of a log and remembers which were used.
class LogColumns {
public:
    explicit LogColumns(CsvReader const& reader) : reader_(reader) {}

    /// The column of a quantity in one of some units. Throws BadInput where there is none or more than one.
    LogColumn find(std::string const& quantity, std::span<ColumnUnit const> units) {
        std::vector<std::string> names, found;
        LogColumn column{};
        for (auto const& unit : units) {
            names.push_back(quantity + unit.ending);
            if (auto const place = reader_.find(names.back())) {
                found.push_back(names.back());
                column = {*place, unit.to_si};
            }
        }
        require_one(names, found);
        used_.push_back(found[0]);
        return column;
    }

    /// The time column.
    TimeColumn find_time() {
        struct TimeUnit {
            char const* name;
            int shift;
        };
        constexpr TimeUnit units[] = {{"time_s", 9}, {"time_ms", 6}, {"time_us", 3}, {"time_ns", 0}};
        std::vector<std::string> names, found;
        TimeColumn column{};
        for (auto const& unit : units) {
            names.emplace_back(unit.name);
            if (auto const place = reader_.find(unit.name)) {
                found.emplace_back(unit.name);
                column = {*place, unit.shift};
            }
        }
        require_one(names, found);
        used_.push_back(found[0]);
        return column;
    }

    /// x, y, z, qw, qx, qy, qz of a log of poses. Throws BadInput also where it is a log of joint positions.
    std::array<LogColumn, 7> find_pose() {
        for (auto const& name : reader_.names())
            if (name == "j1_rad" || name == "j1_deg")
                throw BadInput(reader_.path() + ": there is a column " + name +
                               ": to read joint positions, the job must name the arm in [arm]");
        return {find("x", length_units), find("y", length_units), find("z", length_units),
                find("qw", no_unit),     find("qx", no_unit),     find("qy", no_unit),
                find("qz", no_unit)};
    }

    /// j1 … jN of a log of joint positions. Throws BadInput also where the log has one joint more.
    template <int N> std::array<LogColumn, N> find_joints(std::vector<JointKind> const& kinds) {
        std::array<LogColumn, N> columns;
        for (std::size_t i = 0; i < N; ++i)
            columns[i] = find(joint_name(i + 1), kinds[i] == JointKind::revolute
                                                     ? std::span<ColumnUnit const>(angle_units)
                                                     : std::span<ColumnUnit const>(length_units));
        std::string const surplus = joint_name(N + 1) + "_";
        for (auto const& name : reader_.names())
            if (name.starts_with(surplus))
                throw BadInput(reader_.path() + ": there is a column " + name + ", but the arm has " +
                               std::to_string(N) + " joints");
        return columns;
    }

    /// Marks a column as used.
    void use(std::string const& name) { used_.push_back(name); }

    /// The columns that were used, in the order in which they were asked for.
    std::vector<std::string> const& used() const { return used_; }

    /// The named columns that nobody asked for, in the file's order.
    std::vector<std::string> unused() const {
        std::vector<std::string> names;
        for (auto const& name : reader_.names())
            if (!name.empty() && name != "-" && std::find(used_.begin(), used_.end(), name) == used_.end())
                names.push_back(name);
        return names;
    }

private:
    static std::string joint_name(std::size_t number) {
        std::string name = "j";
        return name.append(std::to_string(number));
    }

    void require_one(std::vector<std::string> const& names, std::vector<std::string> const& found) const {
        if (found.empty())
            throw BadInput(reader_.path() + ": there is no column " + joined(names, " or ") +
                           "; the columns are " + joined(reader_.names()));
        if (found.size() > 1)
            throw BadInput(reader_.path() + ": the columns " + joined(found, " and ") +
                           " say the same thing; name one of them");
    }

    CsvReader const& reader_;
    std::vector<std::string> used_;
};

} // namespace seamhold::detail

#endif
