#ifndef SEAMHOLD_MAP_QUESTION_HPP
#define SEAMHOLD_MAP_QUESTION_HPP

#include "seamhold/number/pack.hpp"

#include <concepts>
#include <cstddef>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// How many candidates a map works out at once. It is the same on every machine, so that answers are.
inline constexpr int map_lanes = 8;

/// One number for each of the candidates that are worked out at once.
using MapPack = Pack<map_lanes>;

/// Candidates that are worked out at once. They have the same choices; their numbers differ.
struct CandidatePack {
    std::vector<MapPack> values;      ///< by axis, in SI units; of a choice its number
    std::vector<std::size_t> choices; ///< by axis, the number of the choice; 0 for an axis of numbers
    std::size_t first = 0;            ///< the row of lane 0
    std::size_t count = 0;            ///< lanes that count, from 0; the others repeat the last that does
};

/// A column of answers.
struct Column {
    std::string name;
    std::string unit;               ///< as a person reads it; empty for a bare number
    std::vector<std::string> words; ///< where the number stands for one of these, by number; else empty

    /// Equal in all.
    friend bool operator==(Column const&, Column const&) = default;
};

/// A question that a map asks of every candidate.
///  - `about()`: in words and numbers, everything that makes it this question and no other; a results file
///    keeps it and refuses answers to another;
///  - `columns()`: of its answers; the first is the margin: a candidate is feasible if and only if it is 0 or
///    more (a NaN is not);
///  - `answer(candidates, answers)`: fills one pack a column. What a lane gets depends on that lane's numbers
///    and the choices alone. Any number of threads may ask at once.
template <class Q>
concept MapQuestion = requires(Q const& q, CandidatePack const& candidates, std::span<MapPack> answers) {
    { q.about() } -> std::convertible_to<std::string>;
    { q.columns() } -> std::convertible_to<std::vector<Column>>;
    q.answer(candidates, answers);
};

/// One candidate's numbers as a question that works on doubles sees them.
struct Candidate {
    std::vector<double> values;       ///< by axis, in SI units; of a choice its number
    std::vector<std::size_t> choices; ///< by axis, the number of the choice; 0 for an axis of numbers
};

/// A question that works out one candidate after the other: `f(candidate)` gives one number a column.
template <class F> class OneByOne {
public:
    /// See `MapQuestion` for `about` and the columns.
    OneByOne(std::string about, std::vector<Column> columns, F f)
        : about_(std::move(about)), columns_(std::move(columns)), f_(std::move(f)) {}

    /// Everything that makes it this question.
    std::string const& about() const { return about_; }
    /// Of its answers.
    std::vector<Column> const& columns() const { return columns_; }
    /// The answers for candidates, one after the other.
    void answer(CandidatePack const& candidates, std::span<MapPack> answers) const {
        Candidate one{std::vector<double>(candidates.values.size()), candidates.choices};
        int const last = static_cast<int>(candidates.count) - 1;
        for (int lane = 0; lane < map_lanes; ++lane) {
            if (lane > last) {
                for (auto& answer : answers)
                    answer.set_lane(lane, answer.lane(last));
                continue;
            }
            for (std::size_t a = 0; a < one.values.size(); ++a)
                one.values[a] = candidates.values[a].lane(lane);
            auto const found = f_(std::as_const(one));
            for (std::size_t c = 0; c < answers.size(); ++c)
                answers[c].set_lane(lane, found[c]);
        }
    }

private:
    std::string about_;
    std::vector<Column> columns_;
    F f_;
};

} // namespace seamhold

#endif
