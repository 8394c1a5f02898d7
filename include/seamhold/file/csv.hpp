#ifndef SEAMHOLD_FILE_CSV_HPP
#define SEAMHOLD_FILE_CSV_HPP

#include "seamhold/file/digits.hpp"
#include "seamhold/file/read.hpp"
#include "seamhold/file/text.hpp"
#include "seamhold/number/bad_input.hpp"

#include <cstddef>
#include <cstring>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace seamhold {

/// Reads a file of comma-separated values row by row, strictly, in constant memory: it holds one row and a
/// buffer, and touches the heap for neither. Allowed are a UTF-8 byte order mark, line ends LF or CRLF, a
/// last row without one, empty rows at the end, rows that start with `#` (comments, skipped), spaces and tabs
/// around fields, and double quotes around a whole field (no quote inside). Everything else is an error.
///
/// Errors are BadInput that start with `file:row:column: `, row being the line of the file counted from 1 and
/// column the column's name, and show the text that is wrong.
class CsvReader {
public:
    /// Opens a file whose first row names the columns. Throws BadInput when it cannot be read, is empty or is
    /// not UTF-8, or when a name of a column is a number (then the row is not a header).
    explicit CsvReader(std::filesystem::path const& path) : CsvReader(Opened{}, path.string()) {
        if (!read_row())
            fail("the file has no rows, not even one that names the columns");
        if (fields_.size() == 1 && fields_[0].find_first_of(";\t") != std::string_view::npos)
            fail("columns must be separated by commas; this row reads " + detail::shown(fields_[0]));
        for (auto const field : fields_) {
            if (double_from_digits(field).fault != DigitsFault::not_a_number)
                fail("this row should name the columns, but it holds the number " + detail::shown(field));
            names_.emplace_back(field);
        }
    }

    /// Opens a file without a header, whose columns are named here, in order. Throws BadInput as above.
    CsvReader(std::filesystem::path const& path, std::vector<std::string> names)
        : CsvReader(Opened{}, path.string()) {
        names_ = std::move(names);
    }

    /// The names of the columns, in the file's order.
    std::vector<std::string> const& names() const { return names_; }

    /// The file's path, as it stands in messages.
    std::string const& path() const { return file_.path(); }

    /// The place of the column of this name; nothing where there is none. Throws BadInput where two columns
    /// have it.
    std::optional<std::size_t> find(std::string_view name) const {
        std::optional<std::size_t> found;
        for (std::size_t i = 0; i < names_.size(); ++i) {
            if (names_[i] != name)
                continue;
            if (found)
                throw BadInput(path() + ": two columns are named " + names_[i]);
            found = i;
        }
        return found;
    }

    /// The place of the column of this name. Throws BadInput, listing the columns there are, where there is
    /// none.
    std::size_t column(std::string_view name) const {
        auto const found = find(name);
        if (!found)
            throw BadInput(path() + ": there is no column " + std::string(name) + "; the columns are " +
                           detail::joined(names_));
        return *found;
    }

    /// From here on `next` passes over rows whose field in this column is not `text`. Rows passed over may
    /// have any number of fields and anything in them.
    void keep_rows(std::size_t column, std::string text) { filter_ = Filter{column, std::move(text)}; }

    /// Goes on to the next row; false after the last. Throws BadInput where a row does not have as many
    /// fields as there are columns, or an empty row stands between others.
    bool next() {
        while (read_row()) {
            if (filter_ && filter_->column < fields_.size() && fields_[filter_->column] != filter_->text) {
                ++passed_over_;
                continue;
            }
            if (fields_.size() != names_.size())
                fail(detail::counted(fields_.size(), "field", "fields") + " where there are " +
                     detail::counted(names_.size(), "column", "columns") + ": " + detail::joined(names_));
            return true;
        }
        return false;
    }

    /// The row's line in the file, counted from 1.
    std::size_t row() const { return line_; }

    /// How many rows `keep_rows` has passed over so far.
    std::size_t passed_over() const { return passed_over_; }

    /// A field of this row, without the spaces and quotes around it; valid until `next`.
    std::string_view text(std::size_t column) const { return fields_[column]; }

    /// A field of this row as a finite number. Throws BadInput where it is not one.
    double number(std::size_t column) const {
        auto const read = double_from_digits(fields_[column]);
        if (read.fault != DigitsFault::none)
            fail_number(column, read.fault);
        return read.value;
    }

    /// A field of this row as a time stamp, exactly; `decimal_shift` as for `stamp_from_digits`. Throws
    /// BadInput where it is not one.
    Stamp stamp(std::size_t column, int decimal_shift) const {
        auto const read = stamp_from_digits(fields_[column], decimal_shift);
        if (read.fault != DigitsFault::none)
            fail_number(column, read.fault);
        return read.value;
    }

    /// Throws BadInput about this row.
    [[noreturn]] void fail(std::string const& what) const {
        throw BadInput(path() + ":" + std::to_string(line_) + ": " + what);
    }

    /// Throws BadInput about a field of this row.
    [[noreturn]] void fail(std::size_t column, std::string const& what) const {
        throw BadInput(path() + ":" + std::to_string(line_) + ":" + names_[column] + ": " + what);
    }

private:
    struct Filter {
        std::size_t column;
        std::string text;
    };
    static constexpr std::size_t chunk = std::size_t(1) << 18U;
    static constexpr std::size_t longest_row = std::size_t(1) << 20U;

    struct Opened {};
    CsvReader(Opened /*tag*/, std::string const& name) : file_(name) {
        refill();
        auto const start = std::string_view(buffer_.data(), end_);
        if (start.empty())
            throw BadInput(path() + ": the file is empty");
        if (start.starts_with("\xff\xfe") || start.starts_with("\xfe\xff"))
            throw BadInput(path() + ": the file is UTF-16; save it as UTF-8");
        if (start.starts_with("\xef\xbb\xbf"))
            begin_ = 3;
    }

    [[noreturn]] void fail_number(std::size_t column, DigitsFault fault) const {
        auto const field = fields_[column];
        if (field.empty())
            fail(column, "an empty field where a number belongs");
        fail(column, detail::shown(field) + (fault == DigitsFault::not_finite     ? " is not a finite number"
                                             : fault == DigitsFault::out_of_range ? " is out of range"
                                                                                  : " is not a number"));
    }

    /// Moves what is left in the buffer to its front and reads on; false when the file has no more.
    bool refill() {
        std::size_t const left = end_ - begin_;
        if (left > longest_row) {
            ++line_;
            fail("a row longer than a megabyte: this is no file of comma-separated values");
        }
        std::memmove(buffer_.data(), buffer_.data() + begin_, left);
        begin_ = 0;
        end_ = left;
        std::size_t const got = file_.read(buffer_.data() + end_, chunk);
        end_ += got;
        return got > 0;
    }

    /// The next line without its end; false after the last.
    bool read_line(std::string_view& line) {
        std::size_t searched = 0;
        for (;;) {
            char const* const start = buffer_.data() + begin_;
            auto const* const found =
                static_cast<char const*>(std::memchr(start + searched, '\n', end_ - begin_ - searched));
            if (found != nullptr) {
                line = {start, static_cast<std::size_t>(found - start)};
                begin_ += line.size() + 1;
                break;
            }
            searched = end_ - begin_;
            if (refill())
                continue;
            if (begin_ == end_)
                return false;
            line = {buffer_.data() + begin_, end_ - begin_};
            begin_ = end_;
            break;
        }
        ++line_;
        if (line.ends_with('\r'))
            line.remove_suffix(1);
        if (line.find('\r') != std::string_view::npos)
            fail("a carriage return inside of a row: lines must end in LF or CRLF");
        return true;
    }

    /// The fields of the next row that is neither empty nor a comment.
    bool read_row() {
        std::size_t empty = 0;
        std::string_view line;
        while (read_line(line)) {
            auto const row = trimmed(line);
            if (row.empty()) {
                empty = empty > 0 ? empty : line_;
                continue;
            }
            if (row.front() == '#')
                continue;
            if (empty > 0) {
                line_ = empty;
                fail("an empty row between others");
            }
            split(line);
            return true;
        }
        return false;
    }

    static std::string_view trimmed(std::string_view text) {
        while (!text.empty() && (text.front() == ' ' || text.front() == '\t'))
            text.remove_prefix(1);
        while (!text.empty() && (text.back() == ' ' || text.back() == '\t'))
            text.remove_suffix(1);
        return text;
    }

    void split(std::string_view line) {
        fields_.clear();
        for (;;) {
            auto comma = line.find(',');
            auto const start = line.find_first_not_of(" \t");
            bool const in_quotes = start != std::string_view::npos && line[start] == '"';
            if (in_quotes) {
                auto const close = line.find('"', start + 1);
                comma = close == std::string_view::npos ? close : line.find(',', close);
                auto const field = trimmed(line.substr(0, comma));
                if (close == std::string_view::npos || field.size() != close + 1 - start)
                    fail("quotes must stand around a whole field: " + detail::shown(field));
                fields_.push_back(field.substr(1, field.size() - 2));
            } else {
                fields_.push_back(trimmed(line.substr(0, comma)));
            }
            if (comma == std::string_view::npos)
                return;
            line.remove_prefix(comma + 1);
        }
    }

    FileToRead file_;
    std::vector<char> buffer_ = std::vector<char>(longest_row + chunk);
    std::size_t begin_ = 0;
    std::size_t end_ = 0;
    std::size_t line_ = 0;
    std::size_t passed_over_ = 0;
    std::vector<std::string> names_;
    std::vector<std::string_view> fields_;
    std::optional<Filter> filter_;
};

namespace detail {

/// Says about a table as a whole what its maker found wrong with it.
template <class Make> auto made_from(std::string const& path, Make const& make) {
    try {
        return make();
    } catch (BadInput const& error) {
        throw BadInput(path + ": " + error.what());
    }
}

} // namespace detail

} // namespace seamhold

#endif
