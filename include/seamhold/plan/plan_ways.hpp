#ifndef SEAMHOLD_PLAN_PLAN_WAYS_HPP
#define SEAMHOLD_PLAN_PLAN_WAYS_HPP

#include "seamhold/plan/path_reach.hpp"
#include "seamhold/plan/plan.hpp"
#include "seamhold/seam/reversed.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold::detail {

/// One way of welding a seam: forward or reversed, from one stretch of the path.
struct PlanWay {
    AnySeam const* seam; ///< as it is welded
    bool reversed;
    std::size_t head; ///< that welds it
    std::size_t pass;
    SeamReach reach;
};

/// A seam's start times on a time law.
struct StartWindow {
    double earliest, latest; ///< s; nothing where earliest is above latest

    /// Whether there is any.
    bool any() const { return earliest <= latest; }
};

/// All ways of welding a job's seams: by each of the heads, each from its own path. Keeps references to the
/// jobs, one a head with the same seams, and to the seams of the first.
class PlanWays {
public:
    /// Looks from where each seam is reached. Throws BadInput naming a seam that no head reaches, what stands
    /// in the way, and by how much the path would have to be moved.
    PlanWays(std::vector<Job const*> const& heads, PlanRules const& rules, std::vector<Range> const& paths,
             double least_margin)
        : ways_(heads.front()->seams.size()), turned_(ways_.size()) {
        for (std::size_t h = 0; h < heads.size(); ++h) {
            reach_.emplace_back(*heads[h], paths[h], least_margin);
            run_ups_.push_back(heads[h]->dynamics.settling);
        }
        for (std::size_t i = 0; i < ways_.size(); ++i) {
            auto const& seam = heads.front()->seams[i];
            add(i, seam.seam, false);
            auto const& drawn = rules.as_drawn;
            bool const turns = rules.reversing && seam.seam.length() > 0 &&
                               std::find(drawn.begin(), drawn.end(), seam.name) == drawn.end();
            if (turns) {
                turned_[i] = seamhold::reversed(seam.seam);
                add(i, *turned_[i], true);
            }
            if (ways_[i].empty())
                refuse(seam);
        }
    }

    PlanWays(PlanWays const&) = delete;
    PlanWays& operator=(PlanWays const&) = delete;

    /// Of one seam.
    std::vector<PlanWay> const& of(std::size_t seam) const { return ways_[seam]; }

    /// The way of a reference.
    PlanWay const& at(WayRef const& ref) const { return ways_[ref.task][ref.way]; }

    /// The number of seams.
    std::size_t size() const { return ways_.size(); }

    /// The start times of a way where the path's place u is passed at time_of(u), never decreasing.
    template <class TimeOf> static StartWindow window(PlanWay const& way, TimeOf const& time_of) {
        StartWindow w{-no_limit, no_limit};
        for (auto const& place : way.reach.places) {
            w.earliest = std::max(w.earliest, time_of(place.low) - place.offset);
            w.latest = std::min(w.latest, time_of(place.high) - place.offset);
        }
        return w;
    }

private:
    void add(std::size_t i, AnySeam const& seam, bool reversed) {
        for (std::size_t h = 0; h < reach_.size(); ++h) {
            auto found = reach_[h].of(seam, run_ups_[h]);
            for (std::size_t pass = 0; pass < found.size(); ++pass)
                ways_[i].push_back({&seam, reversed, h, pass, std::move(found[pass])});
        }
    }

    [[noreturn]] void refuse(ScheduledSeam const& seam) {
        NearestReach nearest = reach_.front().nearest(seam.seam);
        for (std::size_t h = 1; h < reach_.size(); ++h) {
            auto const other = reach_[h].nearest(seam.seam);
            if (other.shift < nearest.shift)
                nearest = other;
        }
        std::string text = "seam " + seam.name + " is not reached from the sweep";
        if (is_finite(nearest.used))
            text += ": where it comes nearest, at " + text_of(nearest.path) + " s of the path, " +
                    to_string(nearest.limit) + " is used to " + text_of(100 * nearest.used) + " %";
        else
            text += ": the head is never above it";
        if (is_finite(nearest.shift)) {
            auto const& d = nearest.towards;
            text += std::string("; it would be if the path were moved by ") + text_of(1e3 * nearest.shift) +
                    " mm along " + (d.x + d.y + d.z < 0 ? "-" : "+") +
                    (d.x != 0   ? "x"
                     : d.y != 0 ? "y"
                                : "z") +
                    " of the cell, or by another sweep";
        }
        throw BadInput(text);
    }

    std::vector<PathReach> reach_;
    std::vector<double> run_ups_; ///< of the heads, s: while they settle they follow the seam run on before
    std::vector<std::vector<PlanWay>> ways_;
    std::vector<std::optional<AnySeam>> turned_;
};

} // namespace seamhold::detail

#endif
