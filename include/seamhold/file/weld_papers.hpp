#ifndef SEAMHOLD_FILE_WELD_PAPERS_HPP
#define SEAMHOLD_FILE_WELD_PAPERS_HPP

#include "seamhold/file/date.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/record/kept_weld.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

/// Papers of a weld for people: its actual values beside those that a procedure asks for, and the record of a
/// test piece. What nobody has said is a blank. They are no qualification: that is for the standard that
/// applies, the local codes and licensed practice.
namespace seamhold {

/// What stands at the head of papers. What is empty is a blank.
struct PaperHead {
    std::string procedure = {};    ///< number of the welding procedure specification
    std::string manufacturer = {}; ///< who welds, and where
    std::string operator_name = {};
    std::string examiner = {}; ///< a person or a body
};

namespace detail {

inline std::string const blank = "____________________";

/// A text in one line: each line end or other control character is a space, so that no table breaks.
inline std::string in_one_line(std::string text) {
    for (char& c : text)
        if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f)
            c = ' ';
    return text;
}

inline std::string or_blank(std::string const& text) { return text.empty() ? blank : in_one_line(text); }

/// Four digits that count; with an exponent below 1e-6 and from 1e9 on.
inline std::string paper_number(double x) {
    double const size = is_finite(x) && x != 0 ? std::floor(std::log10(std::abs(x))) : 0;
    if (size < -6 || size >= 9) {
        char buffer[32];
        return {buffer,
                std::to_chars(buffer, buffer + sizeof buffer, x, std::chars_format::scientific, 3).ptr};
    }
    return fixed(x, static_cast<int>(std::clamp(3 - size, 0.0, 9.0)));
}

/// "3000 W", "2.950 to 3.050 mm", "none", a blank.
inline std::string paper_value(ProcedureValue const& v) {
    std::string text;
    if (is_finite(v.least) && is_finite(v.greatest)) {
        auto const least = paper_number(v.least), greatest = paper_number(v.greatest);
        text = least == greatest ? least : least + " to " + greatest;
    } else if (v.origin == ValueOrigin::open) {
        text = blank;
    }
    if (!text.empty() && !v.unit.empty())
        text += " " + v.unit;
    if (!v.words.empty())
        text += text.empty() ? v.words : " (" + v.words + ")";
    return in_one_line(text);
}

inline std::string paper_values(std::vector<ProcedureValue> const& values) {
    AlignedText table("lll");
    for (auto const& v : values)
        table.add(
            {in_one_line(v.name), paper_value(v), v.origin == ValueOrigin::open ? "" : to_string(v.origin)});
    return table.text(2);
}

inline std::string paper_head(PaperHead const& head, bool examined) {
    AlignedText table("ll");
    table.add({"procedure specification", or_blank(head.procedure)});
    table.add({"manufacturer, place", or_blank(head.manufacturer)});
    table.add({"operator", or_blank(head.operator_name)});
    if (examined)
        table.add({"examiner or body", or_blank(head.examiner)});
    return table.text(2);
}

/// "17, seam S1, 2026-11-27T07:30:00"
inline std::string paper_weld(SeamVerdict const& verdict) {
    return in_one_line(verdict.part + ", seam " + verdict.key.seam + ", ") + date_text(verdict.date);
}

/// What the sensors' judge says, in one line.
inline std::string judged_in_words(SeamVerdict const& verdict) {
    std::string text = std::string("  by the sensors: ") + to_string(verdict.judgement);
    if (!verdict.findings.empty())
        text += ", " + counted(verdict.findings.size(), "finding", "findings") + " on " +
                paper_number(1e3 * verdict.length) + " mm";
    return text + "\n";
}

inline std::string paper_closing() {
    return wrapped(
        "Commanded values are those of the plan, not of a meter. This page helps to fill in papers "
        "and is no qualification of a procedure, a person or a weld: that is for the standard that "
        "applies, the local codes and licensed practice.",
        100, 2);
}

} // namespace detail

/// The actual values of one weld as a page of text, in the order in which the record has them. Line ends
/// within names and words become spaces. Throws BadInput as `check_kept_weld` does.
inline std::string weld_paper(KeptWeld const& record, PaperHead const& head = {}) {
    check_kept_weld(record);
    auto const& verdict = record.verdict;
    return "Record of a weld: part " + detail::paper_weld(verdict) + "\n" + detail::paper_head(head, false) +
           detail::judged_in_words(verdict) + "\n" + detail::paper_values(record.values) + "\n" +
           detail::paper_closing();
}

/// The record of a test piece: the actual values of its welds, and blanks for the examinations that ISO
/// 15614-11 names for laser welds (from memory), with their results. `number` is the test piece's. Throws
/// BadInput as `check_kept_weld` does.
inline std::string test_piece_paper(std::string const& number, std::vector<KeptWeld> const& welds,
                                    PaperHead const& head = {}) {
    std::string text =
        "Record of a test piece: " + detail::or_blank(number) + "\n" + detail::paper_head(head, true);
    for (auto const& record : welds) {
        check_kept_weld(record);
        auto const& verdict = record.verdict;
        text += "\nPart " + detail::paper_weld(verdict) + "\n" + detail::judged_in_words(verdict) +
                detail::paper_values(record.values);
    }
    text += "\nExaminations, each with its extent, its result and the number of its report\n";
    detail::AlignedText table("llll");
    for (char const* const test : {"visual", "surface cracks", "radiographic or ultrasonic",
                                   "transverse tensile", "bend", "macroscopic section", "hardness", "other"})
        table.add({test, detail::blank, detail::blank, detail::blank});
    text += table.text(2) + "\n  date, name, signature  " + detail::blank + "  " + detail::blank + "\n\n";
    return text + detail::paper_closing();
}

namespace detail {

inline std::string weld_of_row(SeamVerdict const& verdict) {
    return csv_field(verdict.part) + "," + csv_field(verdict.key.seam) + "," + shortest(verdict.date) + ",";
}

/// A value in the columns below, without a line end.
inline std::string value_row(SeamVerdict const& verdict, ProcedureValue const& v) {
    auto const number = [](double x) { return is_finite(x) ? shortest(x) : std::string(); };
    return weld_of_row(verdict) + csv_field(v.name) + "," + number(v.least) + "," + number(v.greatest) + "," +
           csv_field(v.unit) + "," + csv_field(v.words) + "," + to_string(v.origin);
}

inline constexpr char const* value_columns = "part,seam,date_days,name,least,greatest,unit,words,origin\n";

} // namespace detail

/// The values of welds as CSV for a program: one row a value, numbers in the unit that the row names; least
/// and greatest are empty where there are none, origin is `open` for a blank. Throws BadInput as
/// `check_kept_weld` does.
inline std::string weld_values_csv(std::vector<KeptWeld> const& welds) {
    std::string text = detail::value_columns;
    for (auto const& record : welds) {
        check_kept_weld(record);
        for (auto const& value : record.values)
            text += detail::value_row(record.verdict, value) + "\n";
    }
    return text;
}

} // namespace seamhold

#endif
