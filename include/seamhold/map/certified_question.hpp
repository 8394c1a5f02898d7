#ifndef SEAMHOLD_MAP_CERTIFIED_QUESTION_HPP
#define SEAMHOLD_MAP_CERTIFIED_QUESTION_HPP

#include "seamhold/map/cell_grid.hpp"
#include "seamhold/map/cell_prover.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// Cells of a design space, proven instead of sampled: a cell is called feasible only if every candidate in
/// it keeps every limit at every moment of every seam. M is how many axes of numbers there are. Its
/// candidates are the middles of cells (`cell_grid`). Answers: a margin that is proven (`within`: every
/// candidate of the cell has at least it; `exceeds`: none has more; below 0 for what is mixed or undecided),
/// the verdict, the limit and the seam that decide, and how many stretches were looked at. Proven is what the
/// doubles of the set-up define; the gap before a seam is held against the same lower bound of an air move
/// as in a report. The maker must work over `Interval` and `Gradient<Interval, M>`, with a head whose aim is
/// a closed form (`MirrorPair`), motions without breaks, and seams without breaks inside.
template <SetUpMaker Maker, std::size_t M> class CertifiedQuestion {
public:
    /// For the cells of a grid. Throws BadInput where its axes of numbers are not M.
    CertifiedQuestion(std::string about, Maker maker, CellGrid const& grid, CellProofOptions options = {})
        : maker_(std::move(maker)), half_widths_(grid.half_widths), options_(options) {
        std::size_t found = 0;
        for (std::size_t a = 0; a < grid.middles.axes.size(); ++a) {
            if (grid.middles.axes[a].is_choice())
                continue;
            if (found < M)
                axis_of_[found] = a;
            ++found;
        }
        if (found != M)
            throw BadInput("the question is of " + std::to_string(M) +
                           " axes of numbers, and the space has " + std::to_string(found));
        about_ = "cells proven, " + std::to_string(options.splits) + " splits of a cell; " + std::move(about);
        auto const shared = set_up_columns();
        columns_ = {shared[0],
                    {"verdict", "", {"within", "exceeds", "mixed", "undecided"}},
                    shared[1],
                    shared[2],
                    {"looked at", "", {}}};
    }

    /// See `MapQuestion`. Throws BadInput for a set-up whose motions or seams have breaks.
    std::string const& about() const { return about_; }
    std::vector<Column> const& columns() const { return columns_; }
    void answer(CandidatePack const& candidates, std::span<MapPack> answers) const {
        detail::need_rounding_to_nearest();
        int const last = static_cast<int>(candidates.count) - 1;
        for (int lane = 0; lane < map_lanes; ++lane) {
            if (lane > last) {
                for (auto& answer : answers)
                    answer.set_lane(lane, answer.lane(last));
                continue;
            }
            SetUpValues<double> x{{}, candidates.choices};
            for (auto const& v : candidates.values)
                x.value.push_back(v.lane(lane));
            auto const proof = of(x);
            double const margin = proof.verdict == CellVerdict::within
                                      ? std::max(0.0, 1 - proof.use)
                                      : std::clamp(1 - proof.use, 1 - detail::hopeless, -1e-9);
            double const numbers[] = {margin, static_cast<double>(proof.verdict),
                                      static_cast<double>(proof.limit), static_cast<double>(proof.seam),
                                      static_cast<double>(proof.looked_at)};
            for (std::size_t c = 0; c < answers.size(); ++c)
                answers[c].set_lane(lane, numbers[c]);
        }
    }

    /// What is proven of the cell about these values.
    detail::CellProof of(SetUpValues<double> const& middle) const {
        auto const set_up = maker_(middle);
        if (!set_up.chain.breaks().empty())
            throw BadInput("a certified map takes motions without breaks: no recording, no move from rest");
        for (auto const& s : set_up.seams)
            if (!s.seam.breaks().empty())
                throw BadInput(
                    "a certified map takes seams without breaks inside (one straight piece, arc or "
                    "curve at one speed); seam " +
                    s.name + " has one at " + detail::text_of(s.seam.breaks().front()) + " s");
        std::array<Interval, M> box;
        for (std::size_t j = 0; j < M; ++j)
            box[j] = Interval::about(middle.value[axis_of_[j]], half_widths_[axis_of_[j]]);
        return detail::CellProver<Maker, static_cast<int>(M)>(maker_, axis_of_, middle, options_)
            .prove(box, options_.splits);
    }

private:
    Maker maker_;
    std::vector<double> half_widths_;
    std::array<std::size_t, M> axis_of_{};
    CellProofOptions options_;
    std::string about_;
    std::vector<Column> columns_;
};

} // namespace seamhold

#endif
