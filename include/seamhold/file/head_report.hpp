#ifndef SEAMHOLD_FILE_HEAD_REPORT_HPP
#define SEAMHOLD_FILE_HEAD_REPORT_HPP

#include "seamhold/file/text.hpp"
#include "seamhold/head/field_map.hpp"
#include "seamhold/head/field_marks.hpp"
#include "seamhold/number/units.hpp"

#include <cstddef>
#include <optional>
#include <string>

namespace seamhold {

/// How well the measurements are met that a head was made from.
struct HeadReport {
    /// A field map and its marks.
    struct Map {
        std::string file;
        FieldMapReport report;
        double metres_per_radian; ///< roughly how far the spot moves at the work for a radian of a mirror
    };
    /// A focus surface and its rows.
    struct Surface {
        std::string file;
        std::size_t rows;
        double worst;          ///< the largest miss of the focus at a row, m at the work
        std::size_t worst_row; ///< the line of the file on which it stands
    };
    std::optional<Map> map;
    std::optional<Surface> surface;
};

/// The report as plain text for a person, indented by two spaces; empty for a head without measurements.
inline std::string text_of(HeadReport const& head) {
    using detail::fixed;
    detail::AlignedText table("ll");
    if (head.map) {
        auto const& [file, report, scale] = *head.map;
        auto const both = [&, scale = scale](double angle) {
            return fixed(angle * 1e6, 2) + " µrad (" + fixed(angle * scale * 1e6, 2) + " µm)";
        };
        table.add({"field map", file + ": " + detail::counted(report.marks, "mark", "marks") + ", " +
                                    (report.missing > 0 ? std::to_string(report.missing) : "none") +
                                    " missing"});
        table.add({"", "met within " + both(report.rms) + " rms, " + both(report.worst) + " at worst, row " +
                           std::to_string(report.worst_row)});
    }
    if (head.surface) {
        auto const& s = *head.surface;
        table.add({"focus surface", s.file + ": " + detail::counted(s.rows, "row", "rows")});
        table.add({"", "met within " + fixed(s.worst * 1e6, 2) + " µm of the focus at worst, row " +
                           std::to_string(s.worst_row)});
    }
    return table.text(2);
}

} // namespace seamhold

#endif
