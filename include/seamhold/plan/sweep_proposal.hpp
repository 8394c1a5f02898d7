#ifndef SEAMHOLD_PLAN_SWEEP_PROPOSAL_HPP
#define SEAMHOLD_PLAN_SWEEP_PROPOSAL_HPP

#include "seamhold/plan/pass_reach.hpp"
#include "seamhold/plan/set_cover.hpp"
#include "seamhold/plan/sweep_path.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// A proposal of the sweep itself: straight passes over the seams of a job, joined to one path.
namespace seamhold {

/// A sweep over the seams of a job.
struct SweepProposal {
    std::vector<PoseRow<Cell>> rows;         ///< of the flange; `time` is the path parameter, s, from 0
    std::vector<SweepPass> passes;           ///< in their order on the path
    std::vector<SeamNotReached> not_reached; ///< by any pass
    std::size_t lower_bound;                 ///< no fewer of the lines looked at reach as many seams
    bool proven;                             ///< whether the passes are the fewest of these lines
    Direction<Part> direction;               ///< of the passes, unit vector
    double turning;                          ///< of the path parameter, what turnarounds take, s

    /// The path as a motion whose time is the path parameter.
    PoseLog<Cell, Flange> motion() const { return PoseLog<Cell, Flange>(rows); }
};

namespace detail {

/// The lines of the fewest passes that reach all that can be reached, and of these passes those that leave
/// the largest margin at the worst seam.
inline SetCover fewest_passes(std::vector<std::vector<PassReach>> const& on_line,
                              std::vector<std::size_t> const& wanted, double least_margin,
                              std::size_t budget) {
    auto const margin = [&](std::size_t line, std::size_t w) {
        auto const& r = on_line[line][wanted[w]];
        return r.forward || r.backward ? std::max(r.margin, least_margin) : -1;
    };
    auto const cover = [&](double least) {
        std::vector<Bits> sets(on_line.size(), Bits(wanted.size()));
        for (std::size_t line = 0; line < on_line.size(); ++line)
            for (std::size_t w = 0; w < wanted.size(); ++w)
                if (margin(line, w) >= least)
                    sets[line].add(w);
        return least_cover(sets, wanted.size(), budget);
    };
    auto best = cover(least_margin);
    double top = 1; // the most that every seam has on some line
    for (std::size_t w = 0; w < wanted.size(); ++w) {
        double most = -1;
        for (std::size_t line = 0; line < on_line.size(); ++line)
            most = std::max(most, margin(line, w));
        top = std::min(top, most);
    }
    double low = least_margin;
    for (int i = 0; i < 12 && best.proven; ++i) {
        double const least = i == 0 ? top : (low + top) / 2;
        auto const tried = cover(least);
        if (tried.chosen.size() <= best.chosen.size()) {
            best.chosen = tried.chosen;
            low = least;
        } else {
            top = least;
        }
    }
    return best;
}

/// Which way passes go: the one that reaches more of the seams that must be followed while moving.
inline bool first_goes_forward(std::vector<std::vector<PassReach>> const& on_line, SetCover const& cover,
                               bool serpentine) {
    std::size_t count[2] = {};
    for (std::size_t s = 0; s < on_line.front().size(); ++s)
        for (int backward = 0; backward < 2; ++backward)
            for (std::size_t p = 0; p < cover.chosen.size(); ++p) {
                auto const& r = on_line[cover.chosen[p]][s];
                bool const ahead = (backward == 0) == (!serpentine || p % 2 == 0);
                if (ahead ? r.forward : r.backward) {
                    ++count[backward];
                    break;
                }
            }
    return count[0] >= count[1];
}

/// From the first to the last place that a pass is needed at, along the cloud, m.
inline Range needed(std::vector<std::vector<PassReach>> const& on_line, std::vector<LinePoses> const& lines,
                    SetCover const& cover, std::size_t pass, SweepSettings const& settings) {
    auto const margin = [&](std::size_t line, std::size_t s) {
        auto const& r = on_line[line][s];
        return r.forward || r.backward ? std::max(r.margin, settings.least_margin) : -1;
    };
    std::size_t const line = cover.chosen[pass];
    Range range{no_limit, -no_limit};
    for (std::size_t s = 0; s < on_line[line].size(); ++s) {
        auto const& r = on_line[line][s];
        bool here = r.forward || r.backward;
        for (std::size_t other = 0; other < cover.chosen.size() && here; ++other) {
            double const there = margin(cover.chosen[other], s);
            here = there < margin(line, s) || (there == margin(line, s) && other >= pass);
        }
        if (!here)
            continue;
        range.low = std::min(range.low, lines[line].along(r.first));
        range.high = std::max(range.high, lines[line].along(r.last));
    }
    constexpr double shortest = 0.02; // m
    if (!(range.low <= range.high))   // every seam has more margin elsewhere
        range = {0, 0};
    double const middle = (range.low + range.high) / 2;
    double const half = std::max((range.high - range.low) / 2 + settings.overhang, shortest / 2);
    return {middle - half, middle + half};
}

} // namespace detail

/// A sweep over the seams of a job, the part at rest: as many straight passes in the main direction as the
/// head's reach across needs, each from over its first seam to over its last, and turnarounds between them,
/// so that the whole is one path, C² in its parameter. The place under the head runs straight in the plan
/// view of the cloud; its height and the head's lean follow the seams beneath, smoothed (see HeadStance).
///
/// Passes lie on `lines` lines evenly across the cloud. They are the fewest of these, by an exact cover; of
/// all such choices that with the largest least margin. A seam counts as reached where one place of the pass
/// reaches all of it, or else where its places are reached one after the other while the pass goes on, as
/// drawn. Whether the robot can be slow enough, and whether the mirrors are fast enough, is not asked here:
/// see `plan`. The same holds for the arm, and for what may stand in the way: look before you let it run.
///
/// Throws BadInput for settings that are not possible, naming them, as `SeamCloud` does, and where no seam
/// is reached at all.
inline SweepProposal sweep_proposal(Job const& job, SweepSettings const& settings = {}) {
    detail::check(settings);
    SeamCloud const cloud(job, settings.direction);
    detail::ReachOverCloud reach(job, cloud);
    std::size_t const count = reach.seams();

    auto const [low, high] = cloud.range_across();
    std::size_t const line_count = high - low < 1e-3 ? 1 : settings.lines;
    std::vector<detail::LinePoses> lines;
    std::vector<double> across;
    std::vector<std::vector<detail::PassReach>> on_line;
    for (std::size_t k = 0; k < line_count; ++k) {
        across.push_back(line_count == 1 ? (low + high) / 2
                                         : low + (high - low) * static_cast<double>(k) /
                                                     static_cast<double>(line_count - 1));
        lines.push_back(detail::poses_between(cloud, cloud.range_along(), across.back(), settings));
        on_line.emplace_back();
        for (std::size_t s = 0; s < count; ++s)
            on_line.back().push_back(detail::reach_on(reach, s, lines.back().poses,
                                                      lines.back().nearest(reach.middle(s).x),
                                                      settings.least_margin));
    }
    std::vector<std::size_t> wanted;
    std::vector<SeamNotReached> nearest;
    for (std::size_t s = 0; s < count; ++s) {
        nearest.push_back({s, -no_limit, Limit::reach});
        bool any = false;
        for (auto const& line : on_line) {
            any = any || line[s].forward || line[s].backward;
            if (line[s].margin > nearest[s].margin)
                nearest[s] = {s, line[s].margin, line[s].limit};
        }
        if (any)
            wanted.push_back(s);
    }
    if (wanted.empty())
        throw BadInput("no pass over the seams reaches any of them: of seam " + job.seams.front().name +
                       ", " + to_string(nearest.front().limit) + " would be used to " +
                       detail::text_of(100 * (1 - nearest.front().margin)) + " % at best");

    auto const cover = detail::fewest_passes(on_line, wanted, settings.least_margin, settings.budget);
    SweepProposal sweep{{}, {}, {}, cover.lower_bound, cover.proven, cloud.along(), 0};
    bool const forward = detail::first_goes_forward(on_line, cover, settings.serpentine);
    std::vector<detail::SweepPiece> pieces;
    double path = 0;
    for (std::size_t p = 0; p < cover.chosen.size(); ++p) {
        SweepPass pass{{}, {}, across[cover.chosen[p]], forward != (settings.serpentine && p % 2 == 1),
                       {}, {}};
        pass.along = detail::needed(on_line, lines, cover, p, settings);
        if (p > 0) {
            pieces.push_back(detail::turnaround(sweep.passes.back(), pass, settings));
            path += pieces.back().duration;
            sweep.turning += pieces.back().duration;
        }
        double const time = (pass.along.high - pass.along.low) / settings.speed;
        pass.path = {path, path + time};
        pieces.push_back({path,
                          time,
                          {pass.forward ? pass.along.low : pass.along.high,
                           pass.forward ? settings.speed : -settings.speed, 0, 0, 0, 0},
                          {pass.across, 0, 0, 0, 0, 0}});
        path += time;
        sweep.passes.push_back(std::move(pass));
    }

    sweep.rows = detail::rows_of(cloud, pieces, settings);

    // What is reached is asked once more, of the path as it is.
    auto const motion = sweep.motion();
    std::vector<bool> is_reached(count);
    for (auto& pass : sweep.passes) {
        double const way = pass.along.high - pass.along.low;
        auto const parts = static_cast<std::size_t>(std::ceil(way / settings.row_distance)) + 1;
        detail::LinePoses line{pass.along.low, way / static_cast<double>(parts), {}};
        for (std::size_t i = 0; i <= parts; ++i) {
            double const share =
                static_cast<double>(pass.forward ? i : parts - i) / static_cast<double>(parts);
            line.poses.push_back(motion.at(
                std::min(pass.path.low + (pass.path.high - pass.path.low) * share, pass.path.high)));
        }
        for (std::size_t s = 0; s < count; ++s) {
            auto const r = detail::reach_on(reach, s, line.poses, line.nearest(reach.middle(s).x),
                                            settings.least_margin);
            if (r.margin > nearest[s].margin)
                nearest[s] = {s, r.margin, r.limit};
            if (!(pass.forward ? r.forward : r.backward))
                continue;
            pass.reached.push_back(s);
            if (!(r.margin >= settings.least_margin))
                pass.moving.push_back(s);
            is_reached[s] = true;
        }
    }
    for (std::size_t s = 0; s < count; ++s)
        if (!is_reached[s])
            sweep.not_reached.push_back(nearest[s]);
    return sweep;
}

} // namespace seamhold

#endif
