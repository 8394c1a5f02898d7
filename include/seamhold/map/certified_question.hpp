#ifndef SEAMHOLD_MAP_CERTIFIED_QUESTION_HPP
#define SEAMHOLD_MAP_CERTIFIED_QUESTION_HPP

#include "seamhold/map/cell_grid.hpp"
#include "seamhold/map/cell_prover.hpp"

#include <algorithm>
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// Cells of a design space, proven instead of sampled: a cell is called feasible only if every candidate in
/// it keeps every limit at every moment of every seam. Its
/// candidates are the middles of cells (`cell_grid`). Answers: a margin that is proven (`within`: every
/// candidate of the cell has at least it; `exceeds`: none has more; below 0 for what is mixed or undecided),
/// the verdict, the limit and the seam that decide, and how many stretches were looked at. A cell whose
/// corners differ when sampled is `mixed` without a proof: what a sample shows to exceed does exceed, and the
/// others at least seem within. Proven is what the
/// doubles of the set-up define; the gap before a seam is held against the same lower bound of an air move
/// as in a report. The maker must work over `Interval` and `Gradient<Interval, 1>`, with a head whose aim is
/// a closed form (`MirrorPair`), motions without breaks, and seams without breaks inside.
template <SetUpMaker Maker> class CertifiedQuestion {
public:
    /// For the cells of a grid. Throws BadInput where it has no axis of numbers, or more than 16.
    CertifiedQuestion(std::string about, Maker maker, CellGrid const& grid, CellProofOptions options = {})
        : maker_(maker), corners_("corners", std::move(maker), options.corner_samples),
          half_widths_(grid.half_widths), options_(options) {
        for (std::size_t a = 0; a < grid.middles.axes.size(); ++a)
            if (!grid.middles.axes[a].is_choice())
                axis_of_.push_back(a);
        if (axis_of_.empty() || axis_of_.size() > 16)
            throw BadInput("cells need from 1 to 16 axes of numbers; the space has " +
                           std::to_string(axis_of_.size()));
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
    /// Of its answers.
    std::vector<Column> const& columns() const { return columns_; }
    /// The answers for candidates.
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
        if (auto const mixed = corners_differ(middle))
            return *mixed;
        std::vector<Interval> box;
        for (std::size_t const a : axis_of_)
            box.push_back(Interval::about(middle.value[a], half_widths_[a]));
        return detail::CellProver<Maker>(maker_, axis_of_, middle, options_).prove(box, options_.splits);
    }

private:
    /// Whether some corners are feasible and some are not, as sampled: then by what and where the worst is
    /// not.
    std::optional<detail::CellProof> corners_differ(SetUpValues<double> const& middle) const {
        bool some = false, all = true;
        detail::CellProof proof{CellVerdict::mixed, 0, Limit::reach, 0, 0};
        for (std::size_t first = 0; first < std::size_t(1) << axis_of_.size(); first += map_lanes) {
            SetUpValues<MapPack> x{{}, middle.choices};
            for (double const v : middle.value)
                x.value.emplace_back(v);
            for (int lane = 0; lane < map_lanes; ++lane)
                for (std::size_t j = 0; j < axis_of_.size(); ++j) {
                    double const half = half_widths_[axis_of_[j]];
                    bool const high = ((first + static_cast<std::size_t>(lane)) >> j & 1U) != 0;
                    x.value[axis_of_[j]].set_lane(lane, middle.value[axis_of_[j]] + (high ? half : -half));
                }
            auto const found = corners_.of(x);
            for (int lane = 0; lane < map_lanes; ++lane) {
                double const use = 1 - found[0].lane(lane);
                some = some || use <= 1;
                all = all && use <= 1;
                if (use > proof.use)
                    proof = {CellVerdict::mixed, use,
                             static_cast<Limit>(static_cast<int>(found[1].lane(lane))),
                             static_cast<std::size_t>(found[2].lane(lane)), 0};
            }
        }
        return some && !all ? std::optional(proof) : std::nullopt;
    }

    Maker maker_;
    MarginQuestion<Maker> corners_;
    std::vector<double> half_widths_;
    std::vector<std::size_t> axis_of_; ///< which axis each number of a box belongs to
    CellProofOptions options_;
    std::string about_;
    std::vector<Column> columns_;
};

} // namespace seamhold

#endif
