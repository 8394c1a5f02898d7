#ifndef SEAMHOLD_PLAN_FIELD_POSITIONS_HPP
#define SEAMHOLD_PLAN_FIELD_POSITIONS_HPP

#include "seamhold/plan/reach_over_cloud.hpp"
#include "seamhold/plan/reach_width.hpp"
#include "seamhold/plan/seam_cloud.hpp"
#include "seamhold/plan/set_cover.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

/// The fewest places at which a robot must stop so that a head at rest reaches every seam as a whole.
namespace seamhold {

/// How field positions are sought.
struct FieldSettings {
    HeadStance stance = {};             ///< of the head over the seams
    std::vector<double> standoffs = {}; ///< m; empty: that of the stance
    double least_margin = 0;            ///< that every limit of a place must leave, a share
    std::size_t lines = 33;             ///< of positions along the cloud, evenly across it, for each standoff
    std::size_t budget = 200000;        ///< of partial choices looked at
};

/// One stop of the robot.
struct FieldPosition {
    Pose<Cell, Flange> cell_from_flange;
    double along;                      ///< of the place under the head, from the cloud's mean place, m
    double across;                     ///< of it, m
    double standoff;                   ///< of the head from it, m; 0: the head's working distance
    std::vector<std::size_t> reached;  ///< seams reached from here as a whole, increasing
    std::vector<std::size_t> assigned; ///< of these the ones that no other position reaches with more margin
    double margin;                     ///< least of the assigned ones
};

/// Field positions, and how few are possible.
struct FieldPositions {
    std::vector<FieldPosition> positions; ///< in the order of the main direction
    std::size_t candidates;         ///< looked at: positions of which none reaches all that another does
    std::size_t lower_bound;        ///< no fewer of the candidates reach all seams
    bool proven;                    ///< whether these are the fewest of the candidates
    double reach_width;             ///< see `reach_width`, m; infinity where it is not to be bounded
    std::vector<std::size_t> apart; ///< seams of which no pose of the head reaches two: as many
                                    ///< positions are needed, wherever they are; proven
    std::vector<SeamNotReached> not_reached; ///< from any candidate; they have no position
};

namespace detail {

/// A position with all that it reaches.
struct Candidate {
    HeadStance stance;
    double along, across; ///< m
    Bits seams;
};

/// Adds the positions of a line that reach all that any position of it does: between the last end of reach
/// that begins and the first that ends, for each stretch that no other has more seams than.
inline void add_candidates(std::vector<Candidate>& candidates, std::vector<LineReach> const& reaches,
                           double across, HeadStance const& stance) {
    struct End {
        double at;
        bool begins;
        std::size_t seam;
    };
    std::vector<End> ends;
    for (std::size_t s = 0; s < reaches.size(); ++s)
        if (reaches[s].low <= reaches[s].high) {
            ends.push_back({reaches[s].low, true, s});
            ends.push_back({reaches[s].high, false, s});
        }
    std::sort(ends.begin(), ends.end(), [](End const& a, End const& b) {
        return a.at < b.at || (a.at == b.at && a.begins && !b.begins);
    });
    Bits now(reaches.size());
    for (std::size_t i = 0; i < ends.size(); ++i) {
        if (ends[i].begins) {
            now.add(ends[i].seam);
            continue;
        }
        if (ends[i - 1].begins) // the first is one that begins
            candidates.push_back({stance, (ends[i - 1].at + ends[i].at) / 2, across, now});
        now.remove(ends[i].seam);
    }
}

/// Leaves out every candidate that reaches no more than another.
inline void keep_best(std::vector<Candidate>& candidates, std::size_t seams) {
    std::stable_sort(candidates.begin(), candidates.end(),
                     [](Candidate const& a, Candidate const& b) { return a.seams.size() > b.seams.size(); });
    std::vector<std::vector<std::size_t>> kept_with(seams);
    std::vector<Candidate> kept;
    for (auto const& c : candidates) {
        std::vector<std::size_t> const* fewest = nullptr;
        c.seams.each([&](std::size_t s) {
            if (fewest == nullptr || kept_with[s].size() < fewest->size())
                fewest = &kept_with[s];
        });
        if (fewest == nullptr || std::any_of(fewest->begin(), fewest->end(),
                                             [&](std::size_t k) { return c.seams.within(kept[k].seams); }))
            continue;
        c.seams.each([&](std::size_t s) { kept_with[s].push_back(kept.size()); });
        kept.push_back(c);
    }
    candidates = std::move(kept);
}

} // namespace detail

/// The fewest stops from which a head at rest reaches every seam of a job as a whole. Candidates are all
/// positions on lines along the cloud of seams, `lines` of them evenly across it for each standoff; on each
/// line only those that touch an end of some seam's reach need to be looked at, since every other reaches no
/// more. So they are the fewest on these lines, not the fewest of all poses: of these only `apart` speaks.
/// Reach is asked in doubles at places of each seam (see StillReach), and the seams of each position are
/// asked once more there. Throws BadInput for a stance that is not possible and as `SeamCloud` does.
inline FieldPositions field_positions(Job const& job, FieldSettings const& settings = {},
                                      std::optional<Direction<Part>> const& direction = {}) {
    SeamCloud::check(settings.stance);
    if (!(settings.least_margin >= 0 && settings.least_margin < 1) || settings.lines == 0)
        throw BadInput(
            "field positions need a least margin from 0 to below 1 and 1 line or more; given were " +
            detail::text_of(settings.least_margin) + " and " + std::to_string(settings.lines));
    SeamCloud const cloud(job, direction);
    detail::ReachOverCloud reach(job, cloud);
    std::size_t const count = reach.seams();
    auto const standoffs =
        settings.standoffs.empty() ? std::vector<double>{settings.stance.standoff} : settings.standoffs;

    std::vector<detail::Candidate> candidates;
    std::vector<SeamNotReached> nearest(count);
    for (std::size_t s = 0; s < count; ++s)
        nearest[s] = {s, -no_limit, Limit::reach};
    for (double const standoff : standoffs) {
        auto stance = settings.stance;
        stance.standoff = standoff;
        SeamCloud::check(stance);
        auto const [low, high] = cloud.range_across();
        bool const thin = high - low < 1e-3;
        std::size_t const lines = thin ? 1 : settings.lines;
        for (std::size_t k = 0; k < lines; ++k) {
            double const across =
                lines == 1 ? (low + high) / 2
                           : low + (high - low) * static_cast<double>(k) / static_cast<double>(lines - 1);
            std::vector<detail::LineReach> on_line;
            for (std::size_t s = 0; s < count; ++s) {
                on_line.push_back(reach.on_line(s, across, stance, settings.least_margin));
                if (on_line.back().best > nearest[s].margin)
                    nearest[s] = {s, on_line.back().best, on_line.back().limit};
            }
            detail::add_candidates(candidates, on_line, across, stance);
        }
    }
    detail::keep_best(candidates, count);

    FieldPositions found{{}, candidates.size(), 0, true, no_limit, {}, {}};
    std::vector<std::size_t> wanted; // seams that are reached
    for (std::size_t s = 0; s < count; ++s)
        if (nearest[s].margin >= settings.least_margin)
            wanted.push_back(s);
        else
            found.not_reached.push_back(nearest[s]);

    std::vector<Bits> sets;
    for (auto const& c : candidates) {
        Bits set(wanted.size());
        for (std::size_t w = 0; w < wanted.size(); ++w)
            if (c.seams.has(wanted[w]))
                set.add(w);
        sets.push_back(std::move(set));
    }
    // A chosen position is asked about every seam. Where reach on a line has a hole, its set was too large.
    for (bool again = true; again && !wanted.empty();) {
        again = false;
        auto const cover = least_cover(sets, wanted.size(), settings.budget);
        found.positions.clear();
        std::vector<std::vector<double>> margins;
        auto chosen = cover.chosen;
        std::sort(chosen.begin(), chosen.end(),
                  [&](std::size_t a, std::size_t b) { return candidates[a].along < candidates[b].along; });
        for (auto const c : chosen) {
            auto const flange =
                cloud.flange_over(candidates[c].along, candidates[c].across, candidates[c].stance);
            found.positions.push_back({flange,
                                       candidates[c].along,
                                       candidates[c].across,
                                       candidates[c].stance.standoff,
                                       {},
                                       {},
                                       1});
            margins.emplace_back();
            for (std::size_t w = 0; w < wanted.size(); ++w) {
                double const margin = reach.over(wanted[w], flange).margin;
                margins.back().push_back(margin);
                if (margin >= settings.least_margin) {
                    found.positions.back().reached.push_back(wanted[w]);
                } else if (sets[c].has(w)) {
                    sets[c].remove(w);
                    again = true;
                }
            }
        }
        found.lower_bound = cover.lower_bound;
        found.proven = cover.proven;
        for (std::size_t w = 0; w < wanted.size(); ++w) {
            std::size_t best = 0;
            for (std::size_t p = 1; p < margins.size(); ++p)
                if (margins[p][w] > margins[best][w])
                    best = p;
            auto& position = found.positions[best];
            position.assigned.push_back(wanted[w]);
            position.margin = std::min(position.margin, margins[best][w]);
        }
    }
    auto offsets = Range{no_limit, -no_limit};
    for (auto const& s : job.seams)
        offsets = {std::min(offsets.low, s.seam.focus_offset), std::max(offsets.high, s.seam.focus_offset)};
    found.reach_width = reach_width(job.chain.head, offsets);
    found.apart = seams_apart(job, found.reach_width);
    return found;
}

} // namespace seamhold

#endif
