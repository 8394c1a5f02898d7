#ifndef SEAMHOLD_MAP_REFINE_EDGE_HPP
#define SEAMHOLD_MAP_REFINE_EDGE_HPP

#include "seamhold/map/run_map.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// How the edge of what is feasible is looked for.
struct RefineOptions {
    int levels = 5; ///< how often the first grid's cells are halved along each axis of numbers
    MapOptions map; ///< how candidates are answered, round by round: shards are numbered on, progress and
                    ///< `longest` are of each round
};

/// A cell of the finest grid that the edge runs through: some of its corners are feasible, some are not.
struct EdgeCell {
    std::vector<double> low;  ///< by axis, in its unit; of a choice its number
    std::vector<double> high; ///< likewise; of a choice the same
};

/// The edge of what is feasible, found without answering the whole grid.
struct RefinedEdge {
    AnswerTable table;           ///< all candidates that were answered, in the order of the whole grid
    std::vector<EdgeCell> cells; ///< of the finest grid, in its order
    std::size_t evaluations;     ///< candidates answered
    double whole_grid;           ///< candidates of the whole grid at this resolution
    bool complete;               ///< false where it was stopped
};

namespace detail {

/// Finds the edge on grids that halve from round to round. Cells are known by their lower corner; corners by
/// their place on the finest grid.
class EdgeSearch {
public:
    using Run = std::function<MapRun(Candidates const&, MapOptions const&)>;

    EdgeSearch(DesignSpace const& space, std::vector<Column> columns, RefineOptions const& options, Run run)
        : space_(checked(space)), columns_(std::move(columns)), options_(options), run_(std::move(run)) {
        if (options.levels < 0 || options.levels > 20)
            throw BadInput("an edge cannot be refined " + std::to_string(options.levels) +
                           " times: from 0 to 20 are possible");
        std::size_t const halves = std::size_t(1) << static_cast<unsigned>(options.levels);
        for (auto const& a : space_.axes) {
            if (!a.is_choice() && (a.steps - 1) % halves != 0)
                throw BadInput("the axis " + a.name + " has " + std::to_string(a.steps) +
                               " places: to halve " + std::to_string(options.levels) +
                               " times, it needs a multiple of " + std::to_string(halves) + " and one more");
        }
    }

    RefinedEdge find() {
        std::size_t stride = std::size_t(1) << static_cast<unsigned>(options_.levels);
        std::vector<Place> cells = first_cells(stride);
        for (;; stride /= 2) {
            auto const mixed = mixed_cells(std::move(cells), stride);
            if (!complete_)
                return finish({});
            if (stride == 1)
                return finish(mixed);
            cells = halves_of(mixed, stride);
        }
    }

private:
    using Place = std::vector<std::uint32_t>; ///< by axis, on the finest grid

    bool is_number(std::size_t axis) const { return !space_.axes[axis].is_choice(); }

    /// All cells of the coarsest grid, for each choice.
    std::vector<Place> first_cells(std::size_t stride) const {
        std::vector<Place> cells{Place(space_.axes.size(), 0)};
        for (std::size_t a = 0; a < space_.axes.size(); ++a) {
            std::vector<Place> more;
            std::size_t const step = is_number(a) ? stride : 1;
            std::size_t const end = space_.axes[a].places() - (is_number(a) ? 1 : 0);
            for (auto const& cell : cells)
                for (std::size_t k = 0; k < end; k += step) {
                    more.push_back(cell);
                    more.back()[a] = static_cast<std::uint32_t>(k);
                }
            cells = std::move(more);
        }
        return cells;
    }

    /// Calls f with every corner of a cell, or of what is `stride` wide from `cell` on.
    template <class F> void each_corner(Place const& cell, std::size_t stride, F const& f) const {
        std::vector<std::size_t> numbers;
        for (std::size_t a = 0; a < cell.size(); ++a)
            if (is_number(a))
                numbers.push_back(a);
        for (std::size_t bits = 0; bits < std::size_t(1) << numbers.size(); ++bits) {
            Place corner = cell;
            for (std::size_t k = 0; k < numbers.size(); ++k)
                if ((bits >> k & 1U) != 0)
                    corner[numbers[k]] += static_cast<std::uint32_t>(stride);
            f(corner);
        }
    }

    /// The cells among these that the edge runs through, and those beside them that it runs on into.
    std::vector<Place> mixed_cells(std::vector<Place> cells, std::size_t stride) {
        std::map<Place, bool> seen; // whether the edge runs through
        while (!cells.empty()) {
            answer_corners(cells, stride);
            if (!complete_)
                return {};
            std::vector<Place> next;
            for (auto const& cell : cells) {
                bool some = false, all = true;
                each_corner(cell, stride, [&](Place const& corner) {
                    bool const feasible = is_feasible(corner);
                    some = some || feasible;
                    all = all && feasible;
                });
                seen[cell] = some && !all;
                if (some && !all)
                    add_neighbours(cell, stride, seen, next);
            }
            std::sort(next.begin(), next.end());
            next.erase(std::unique(next.begin(), next.end()), next.end());
            next.erase(std::remove_if(next.begin(), next.end(),
                                      [&](Place const& cell) { return seen.count(cell) > 0; }),
                       next.end());
            cells = std::move(next);
        }
        std::vector<Place> mixed;
        for (auto const& [cell, runs_through] : seen)
            if (runs_through)
                mixed.push_back(cell);
        return mixed;
    }

    /// The cells that share a side with this one whose corners differ: the edge runs on there.
    void add_neighbours(Place const& cell, std::size_t stride, std::map<Place, bool> const& seen,
                        std::vector<Place>& next) const {
        for (std::size_t a = 0; a < cell.size(); ++a) {
            if (!is_number(a))
                continue;
            for (bool const up : {false, true}) {
                if (up ? cell[a] + 2 * stride >= space_.axes[a].places() : cell[a] < stride)
                    continue;
                bool some = false, all = true;
                each_corner(cell, stride, [&](Place const& corner) {
                    if ((corner[a] != cell[a]) != up)
                        return;
                    bool const feasible = is_feasible(corner);
                    some = some || feasible;
                    all = all && feasible;
                });
                if (!some || all)
                    continue;
                Place beside = cell;
                beside[a] = static_cast<std::uint32_t>(up ? cell[a] + stride : cell[a] - stride);
                if (seen.count(beside) == 0)
                    next.push_back(std::move(beside));
            }
        }
    }

    /// The halves of cells along every axis of numbers.
    std::vector<Place> halves_of(std::vector<Place> const& cells, std::size_t stride) const {
        std::vector<Place> halves;
        for (auto const& cell : cells)
            each_corner(cell, stride / 2, [&](Place const& half) { halves.push_back(half); });
        std::sort(halves.begin(), halves.end());
        return halves;
    }

    bool is_feasible(Place const& corner) const { return answered_.at(corner).front() >= 0; }

    /// Answers the corners of cells that were not answered before.
    void answer_corners(std::vector<Place> const& cells, std::size_t stride) {
        std::vector<Place> open;
        for (auto const& cell : cells)
            each_corner(cell, stride, [&](Place const& corner) {
                if (answered_.count(corner) == 0)
                    open.push_back(corner);
            });
        std::sort(open.begin(), open.end());
        open.erase(std::unique(open.begin(), open.end()), open.end());
        if (open.empty())
            return;
        std::stable_sort(open.begin(), open.end(), [&](Place const& a, Place const& b) {
            for (std::size_t k = 0; k < a.size(); ++k)
                if (!is_number(k) && a[k] != b[k])
                    return a[k] < b[k];
            return false;
        });
        std::vector<double> rows;
        rows.reserve(open.size() * space_.axes.size());
        for (auto const& corner : open)
            for (std::size_t a = 0; a < corner.size(); ++a)
                rows.push_back(space_.axes[a].place(corner[a]));
        Candidates const candidates(space_, std::move(rows));
        MapOptions map = options_.map;
        std::size_t const begin = next_shard_;
        if (map.keeper.find)
            map.keeper.find = [&](std::size_t s) { return options_.map.keeper.find(begin + s); };
        if (map.keeper.keep)
            map.keeper.keep = [&](std::size_t s, std::span<double const> answers) {
                options_.map.keeper.keep(begin + s, answers);
            };
        auto const run = run_(candidates, map);
        next_shard_ += MapShards{candidates, map.shard_packs}.count();
        complete_ = run.complete;
        if (!complete_)
            return; // a round that was stopped is kept by the keeper only
        for (std::size_t r = 0; r < open.size(); ++r) {
            auto const from = run.table.answers.begin() + static_cast<std::ptrdiff_t>(r * columns_.size());
            answered_[open[r]] = {from, from + static_cast<std::ptrdiff_t>(columns_.size())};
        }
    }

    RefinedEdge finish(std::vector<Place> const& cells) const {
        std::vector<double> rows, answers;
        auto const add = [&](std::map<Place, std::vector<double>> const& all) {
            for (auto const& [corner, answer] : all) {
                for (std::size_t a = 0; a < corner.size(); ++a)
                    rows.push_back(space_.axes[a].place(corner[a]));
                answers.insert(answers.end(), answer.begin(), answer.end());
            }
        };
        // Places with their choices first are in the order of the grid.
        std::map<Place, std::map<Place, std::vector<double>>> by_choice;
        for (auto const& [corner, answer] : answered_) {
            Place choices;
            for (std::size_t a = 0; a < corner.size(); ++a)
                if (!is_number(a))
                    choices.push_back(corner[a]);
            by_choice[choices][corner] = answer;
        }
        for (auto const& [choices, all] : by_choice)
            add(all);
        double grid = 1;
        for (auto const& a : space_.axes)
            grid *= static_cast<double>(a.places());
        RefinedEdge edge{{Candidates(space_, std::move(rows)), columns_, std::move(answers)},
                         {},
                         answered_.size(),
                         grid,
                         complete_};
        for (auto const& cell : cells) {
            EdgeCell found;
            for (std::size_t a = 0; a < cell.size(); ++a) {
                found.low.push_back(space_.axes[a].place(cell[a]));
                found.high.push_back(space_.axes[a].place(cell[a] + (is_number(a) ? 1 : 0)));
            }
            edge.cells.push_back(std::move(found));
        }
        return edge;
    }

    DesignSpace space_;
    std::vector<Column> columns_;
    RefineOptions const& options_;
    Run run_;
    std::map<Place, std::vector<double>> answered_;
    std::size_t next_shard_ = 0;
    bool complete_ = true;
};

} // namespace detail

/// The edge of what is feasible on a space's grid, refined where the verdict changes instead of everywhere:
/// the corners of a coarse grid are answered, cells whose corners differ are halved along each axis, and the
/// edge is followed into the cells beside them, down to the grid itself. Each candidate is answered once, and
/// equals what a whole map says there. A cell counts only by its corners: an island of feasible or infeasible
/// candidates that hides between the corners of the coarse grid, apart from all other edges, is missed. Every
/// axis of numbers needs a multiple of 2^levels places and one more. Throws BadInput otherwise, and as
/// `run_map`.
template <MapQuestion Question>
RefinedEdge refine_edge(DesignSpace const& space, Question const& question, RefineOptions const& options) {
    return detail::EdgeSearch(space, question.columns(), options,
                              [&](Candidates const& candidates, MapOptions const& map) {
                                  return run_map(candidates, question, map);
                              })
        .find();
}

} // namespace seamhold

#endif
