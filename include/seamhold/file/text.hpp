#ifndef SEAMHOLD_FILE_TEXT_HPP
#define SEAMHOLD_FILE_TEXT_HPP

#include "seamhold/number/number.hpp"

#include <algorithm>
#include <charconv>
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

/// How numbers and words become text in files and messages: always the same, whatever the locale.
namespace seamhold::detail {

/// The fewest digits that read back as the same double.
inline std::string shortest(double x) {
    char buffer[32];
    return {buffer, std::to_chars(buffer, buffer + sizeof buffer, x).ptr};
}

/// A number with a fixed count of decimals, never "-0.00"; with an exponent from 1e15 on; "-" where it is not
/// finite.
inline std::string fixed(double x, int decimals) {
    if (!is_finite(x))
        return "-";
    char buffer[64];
    auto const format = std::abs(x) < 1e15 ? std::chars_format::fixed : std::chars_format::scientific;
    std::string text(buffer, std::to_chars(buffer, buffer + sizeof buffer, x, format, decimals).ptr);
    if (text.front() == '-' && text.find_first_not_of("-0.") == std::string::npos)
        text.erase(0, 1);
    return text;
}

/// A file's text as a message may show it: in quotes, control characters as `\x0d`, cut after 40 bytes.
inline std::string shown(std::string_view text) {
    constexpr char hex[] = "0123456789abcdef";
    constexpr std::size_t longest = 40;
    auto end = std::min(longest, text.size());
    while (end < text.size() && end > 0 && (text[end] & 0xc0) == 0x80) // not within a character
        --end;
    std::string words = "\"";
    for (char const c : text.substr(0, end)) {
        auto const byte = static_cast<unsigned char>(c);
        if (byte < 0x20 || byte == 0x7f) {
            words += "\\x";
            words += hex[byte >> 4U];
            words += hex[byte & 15U];
        } else {
            words += c;
        }
    }
    return words + (text.size() > end ? "…\"" : "\"");
}

/// A field of a CSV file, in quotes where it must be.
inline std::string csv_field(std::string const& text) {
    if (text.find_first_of(",\"\r\n") == std::string::npos)
        return text;
    std::string field = "\"";
    for (char const c : text)
        field += c == '"' ? std::string("\"\"") : std::string(1, c);
    return field + "\"";
}

/// Words in one line: "a, b, c".
template <class Words> std::string joined(Words const& words, std::string_view between = ", ") {
    std::string line;
    for (auto const& word : words) {
        if (!line.empty())
            line += between;
        line += word;
    }
    return line;
}

/// "1 row", "2 rows".
inline std::string counted(std::size_t count, std::string_view one, std::string_view more) {
    return std::to_string(count) + " " + std::string(count == 1 ? one : more);
}

/// The columns that a UTF-8 text takes on a screen, where each character takes one.
inline std::size_t width_of(std::string_view text) {
    return static_cast<std::size_t>(
        std::count_if(text.begin(), text.end(), [](char c) { return (c & 0xc0) != 0x80; }));
}

/// Rows of cells as aligned columns, for reading in a fixed-width font.
class AlignedText {
public:
    /// One letter a column: 'l' is flush left, 'r' flush right.
    explicit AlignedText(std::string alignment) : alignment_(std::move(alignment)) {}

    /// Adds a row; a row may be shorter than the others.
    void add(std::vector<std::string> cells) { rows_.push_back(std::move(cells)); }

    /// All rows, each behind `indent` spaces, columns two spaces apart, no spaces at the ends of lines.
    std::string text(std::size_t indent) const {
        std::vector<std::size_t> widths(alignment_.size(), 0);
        for (auto const& row : rows_)
            for (std::size_t i = 0; i < row.size(); ++i)
                widths[i] = std::max(widths[i], width_of(row[i]));
        std::string all;
        for (auto const& row : rows_) {
            std::string line(indent, ' ');
            for (std::size_t i = 0; i < row.size(); ++i) {
                std::string const space(widths[i] - width_of(row[i]), ' ');
                line += i > 0 ? "  " : "";
                line += alignment_[i] == 'r' ? space + row[i] : row[i] + space;
            }
            line.erase(line.find_last_not_of(' ') + 1);
            all += line + "\n";
        }
        return all;
    }

private:
    std::string alignment_;
    std::vector<std::vector<std::string>> rows_;
};

/// A text as lines of at most `width` columns, broken at spaces, each line behind `indent` spaces.
inline std::string wrapped(std::string_view text, std::size_t width, std::size_t indent) {
    std::string all, line;
    std::string const space(indent, ' ');
    while (!text.empty()) {
        auto const end = std::min(text.find(' '), text.size());
        auto const word = text.substr(0, end);
        text.remove_prefix(std::min(end + 1, text.size()));
        if (!line.empty() && indent + width_of(line) + 1 + width_of(word) > width) {
            all += space + line + "\n";
            line.clear();
        }
        line += line.empty() ? "" : " ";
        line += word;
    }
    return all + space + line + "\n";
}

} // namespace seamhold::detail

#endif
