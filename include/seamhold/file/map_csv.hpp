#ifndef SEAMHOLD_FILE_MAP_CSV_HPP
#define SEAMHOLD_FILE_MAP_CSV_HPP

#include "seamhold/file/text.hpp"
#include "seamhold/file/write.hpp"
#include "seamhold/map/answer_table.hpp"
#include "seamhold/map/refine_edge.hpp"

#include <cstddef>
#include <filesystem>
#include <numeric>
#include <string>
#include <string_view>
#include <vector>

/// Maps as CSV for other programs: files appear whole or not at all, with a first row of names, each with its
/// unit in square brackets where it has one. Numbers have the fewest digits that read back the same, and are
/// `nan` where nothing was answered; a choice and an answer in words stand as such. However many threads or
/// machines have answered, and in whatever order, the bytes are the same.
namespace seamhold {

namespace detail {

/// Fields of a row, put together.
class MapRow {
public:
    MapRow& name(std::string const& what, std::string const& unit) {
        return field(csv_field(unit.empty() ? what : what + " [" + unit + "]"));
    }
    /// A number, or the word that it stands for.
    MapRow& value(double x, std::vector<std::string> const& words) {
        return x >= 0 && x < static_cast<double>(words.size())
                   ? field(csv_field(words[static_cast<std::size_t>(x)]))
                   : field(shortest(x));
    }
    /// The row with its line end; begins the next.
    std::string taken() {
        std::string row = row_ + "\n";
        row_.clear();
        first_ = true;
        return row;
    }

private:
    MapRow& field(std::string_view text) {
        if (!first_)
            row_ += ',';
        first_ = false;
        row_ += text;
        return *this;
    }
    std::string row_;
    bool first_ = true;
};

} // namespace detail

/// Some rows of a table, one line each, for one those of a `trade_off`: the axes, then the answers. Throws
/// BadInput where the file cannot be written.
inline void write_map(std::filesystem::path const& path, AnswerTable const& table,
                      std::vector<std::size_t> const& rows) {
    WholeFile file(path);
    detail::MapRow line;
    auto const& axes = table.candidates.space().axes;
    for (auto const& axis : axes)
        line.name(axis.name, axis.unit);
    for (auto const& column : table.columns)
        line.name(column.name, column.unit);
    file.write(line.taken());
    for (std::size_t const r : rows) {
        auto const numbers = table.candidates.row(r);
        for (std::size_t a = 0; a < axes.size(); ++a)
            line.value(numbers[a], axes[a].choices);
        for (std::size_t c = 0; c < table.columns.size(); ++c)
            line.value(table.at(r, c), table.columns[c].words);
        file.write(line.taken());
    }
    file.commit();
}

/// A whole table, in its order. Throws BadInput where the file cannot be written.
inline void write_map(std::filesystem::path const& path, AnswerTable const& table) {
    std::vector<std::size_t> rows(table.candidates.size());
    std::iota(rows.begin(), rows.end(), std::size_t(0));
    write_map(path, table, rows);
}

/// The cells that the edge of what is feasible runs through, one line each: of each axis of numbers from
/// where to where (`speed from [m/s]`, `speed to [m/s]`), of each choice which. Throws BadInput where the
/// file cannot be written.
inline void write_edge(std::filesystem::path const& path, RefinedEdge const& edge) {
    WholeFile file(path);
    detail::MapRow line;
    auto const& axes = edge.table.candidates.space().axes;
    for (auto const& axis : axes) {
        if (axis.is_choice())
            line.name(axis.name, "");
        else
            line.name(axis.name + " from", axis.unit).name(axis.name + " to", axis.unit);
    }
    file.write(line.taken());
    for (auto const& cell : edge.cells) {
        for (std::size_t a = 0; a < axes.size(); ++a) {
            line.value(cell.low[a], axes[a].choices);
            if (!axes[a].is_choice())
                line.value(cell.high[a], {});
        }
        file.write(line.taken());
    }
    file.commit();
}

} // namespace seamhold

#endif
