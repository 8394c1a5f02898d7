#ifndef SEAMHOLD_FILE_COMMISSIONING_HPP
#define SEAMHOLD_FILE_COMMISSIONING_HPP

#include "seamhold/calibrate/commissioning.hpp"
#include "seamhold/file/date.hpp"
#include "seamhold/file/toml.hpp"
#include "seamhold/file/write.hpp"
#include "seamhold/number/units.hpp"

#include <filesystem>
#include <string>
#include <vector>

namespace seamhold {

/// A cell's commissioning record and the checks since, as a file keeps them. Dates are days since
/// 1970-01-01, 0 h, of the clock on the wall; nothing is known of time zones.
struct CommissioningFile {
    CommissioningRecord record;
    std::vector<DailyCheck> checks; ///< in the file's order
};

namespace detail {

inline std::vector<MarkPlace> read_marks_mm(TomlTable& table) {
    std::vector<MarkPlace> marks;
    for (auto const& xy : table.lists<2>("marks_mm"))
        marks.push_back({millimetres(xy[0]), millimetres(xy[1])});
    return marks;
}

/// A value with its deviation in a unit of `scale` SI units; `degrees_of_freedom` may be left out.
inline Estimate read_estimate(TomlTable& table, std::string const& unit, double scale) {
    Estimate found{scale * table.number("value_" + unit, any_number),
                   scale * table.number("deviation_" + unit, zero_or_more)};
    if (table.has("degrees_of_freedom"))
        found.degrees_of_freedom = table.number("degrees_of_freedom", above_zero);
    return found;
}

inline Estimate read_only_estimate(TomlTable table, std::string const& unit, double scale) {
    auto const found = read_estimate(table, unit, scale);
    table.finish();
    return found;
}

inline RecordedValue read_recorded(TomlTable table, std::string const& unit, double scale) {
    auto const found = read_estimate(table, unit, scale);
    RecordedValue const recorded{found, scale * table.number("tolerance_" + unit, above_zero)};
    table.finish();
    return recorded;
}

inline CommissioningRecord read_record(TomlTable table) {
    CommissioningRecord record{};
    record.date = table.date("date");
    record.valid_for = table.number("valid_for_days", above_zero);
    record.marks = read_marks_mm(table);
    record.mark_deviation = millimetres(table.number("mark_deviation_mm", above_zero));
    record.mark_tolerance = millimetres(table.number("mark_tolerance_mm", above_zero));
    record.focus = read_recorded(table.table("focus"), "mm", millimetres(1));
    record.power = read_recorded(table.table("power"), "W", 1);
    table.finish();
    return record;
}

inline DailyCheck read_check(TomlTable table) {
    DailyCheck check{};
    check.date = table.date("date");
    check.marks = read_marks_mm(table);
    check.mark_deviation = millimetres(table.number("mark_deviation_mm", above_zero));
    check.focus = read_only_estimate(table.table("focus"), "mm", millimetres(1));
    check.power = read_only_estimate(table.table("power"), "W", 1);
    table.finish();
    return check;
}

inline std::string marks_text(std::vector<MarkPlace> const& marks) {
    std::string text;
    for (auto const& m : marks) {
        text += text.empty() ? "[" : ", [";
        text += shortest(in_millimetres(m.x)) + ", " + shortest(in_millimetres(m.y)) + "]";
    }
    return "marks_mm = [" + text + "]\n";
}

inline std::string estimate_text(Estimate const& e, std::string const& unit, double scale) {
    std::string text = "value_" + unit + " = " + shortest(e.value / scale) + ", deviation_" + unit + " = " +
                       shortest(e.deviation / scale);
    if (is_finite(e.degrees_of_freedom))
        text += ", degrees_of_freedom = " + shortest(e.degrees_of_freedom);
    return text;
}

inline std::string recorded_text(RecordedValue const& r, std::string const& unit, double scale) {
    return "{ " + estimate_text(r.found, unit, scale) + ", tolerance_" + unit + " = " +
           shortest(r.tolerance / scale) + " }\n";
}

} // namespace detail

/// A record and its checks from a TOML file: a table `[record]` with `date` (a date or a date and time),
/// `valid_for_days`, `marks_mm` (pairs of x and y), `mark_deviation_mm`, `mark_tolerance_mm`, and the tables
/// `focus` (`value_mm`, `deviation_mm`, `tolerance_mm`) and `power` (the same with `_W`), each with
/// `degrees_of_freedom` of its deviation where it is finite; and a list of tables `[[check]]` with `date`,
/// `marks_mm`, `mark_deviation_mm`, `focus` and `power`, without tolerances. Throws BadInput with file, row
/// and column for what is missing, unknown or not allowed.
inline CommissioningFile read_commissioning(std::filesystem::path const& path) {
    std::string const name = path.string();
    auto const root = detail::read_toml(path);
    detail::TomlTable table(name, root, "");
    CommissioningFile file{};
    file.record =
        table.told_where("record", [&] { return checked(detail::read_record(table.table("record"))); });
    if (table.has("check"))
        for (auto const& one : table.tables("check"))
            file.checks.push_back(detail::read_check(one));
    table.finish();
    return file;
}

/// The text of that file. Numbers read back as the same to a unit in the last place, dates to the second.
inline std::string text_of(CommissioningFile const& file) {
    auto const& r = file.record;
    using detail::shortest;
    std::string text = "# What a cell was like when it was commissioned, and the checks since.\n[record]\n";
    text += "date = " + date_text(r.date) + "\nvalid_for_days = " + shortest(r.valid_for) + "\n" +
            detail::marks_text(r.marks) +
            "mark_deviation_mm = " + shortest(in_millimetres(r.mark_deviation)) +
            "\nmark_tolerance_mm = " + shortest(in_millimetres(r.mark_tolerance)) +
            "\nfocus = " + detail::recorded_text(r.focus, "mm", millimetres(1)) +
            "power = " + detail::recorded_text(r.power, "W", 1);
    for (auto const& c : file.checks)
        text += "\n[[check]]\ndate = " + date_text(c.date) + "\n" + detail::marks_text(c.marks) +
                "mark_deviation_mm = " + shortest(in_millimetres(c.mark_deviation)) + "\nfocus = { " +
                detail::estimate_text(c.focus, "mm", millimetres(1)) + " }\npower = { " +
                detail::estimate_text(c.power, "W", 1) + " }\n";
    return text;
}

/// Writes that file, whole or not at all (`WholeFile`). Throws BadInput where it cannot be written.
inline void write_commissioning(std::filesystem::path const& path, CommissioningFile const& file) {
    WholeFile out(path);
    out.write(text_of(file));
    out.commit();
}

} // namespace seamhold

#endif
