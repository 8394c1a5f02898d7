#ifndef SEAMHOLD_MAP_ANSWER_TABLE_HPP
#define SEAMHOLD_MAP_ANSWER_TABLE_HPP

#include "seamhold/map/candidates.hpp"

#include <algorithm>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// What a question answered for each candidate, in the candidates' order.
struct AnswerTable {
    Candidates candidates;
    std::vector<Column> columns; ///< of the answers; the first is the margin
    std::vector<double> answers; ///< row after row, one number a column

    /// An answer.
    double at(std::size_t row, std::size_t column) const { return answers[row * columns.size() + column]; }

    /// Whether a candidate is feasible: its margin is 0 or more.
    bool feasible(std::size_t row) const { return at(row, 0) >= 0; }

    /// The number of a column. Throws BadInput with the names there are.
    std::size_t column(std::string const& name) const {
        std::string names;
        for (std::size_t c = 0; c < columns.size(); ++c) {
            if (columns[c].name == name)
                return c;
            names += (c == 0 ? "" : ", ") + columns[c].name;
        }
        throw BadInput("there is no column " + name + "; there are " + names);
    }
};

/// Whether a column is better the more it is, or the less.
enum class Better { more, less };

/// The rows of feasible candidates that no other beats in both columns at once (each is at least as good in
/// one as any that is better in the other), by the first column from its best on: the trade-off curve. Of
/// equal ones the first. What is not finite is left out.
inline std::vector<std::size_t> trade_off(AnswerTable const& table, std::size_t first, Better first_better,
                                          std::size_t second, Better second_better) {
    auto const good = [&](std::size_t row, std::size_t column, Better better) {
        return better == Better::more ? table.at(row, column) : -table.at(row, column);
    };
    std::vector<std::size_t> rows;
    for (std::size_t r = 0; r < table.candidates.size(); ++r)
        if (table.feasible(r) && is_finite(table.at(r, first)) && is_finite(table.at(r, second)))
            rows.push_back(r);
    std::stable_sort(rows.begin(), rows.end(), [&](std::size_t a, std::size_t b) {
        double const x = good(a, first, first_better), y = good(b, first, first_better);
        return x != y ? x > y : good(a, second, second_better) > good(b, second, second_better);
    });
    std::vector<std::size_t> kept;
    for (std::size_t const r : rows)
        if (kept.empty() || good(r, second, second_better) > good(kept.back(), second, second_better))
            kept.push_back(r);
    return kept;
}

} // namespace seamhold

#endif
