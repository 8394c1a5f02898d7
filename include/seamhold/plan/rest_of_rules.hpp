#ifndef SEAMHOLD_PLAN_REST_OF_RULES_HPP
#define SEAMHOLD_PLAN_REST_OF_RULES_HPP

#include "seamhold/plan/near_pairs.hpp"
#include "seamhold/plan/path_chords.hpp"
#include "seamhold/plan/weld_record.hpp"

#include <algorithm>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

/// What rules ask of the rest of a part, after what was welded before a stop.
namespace seamhold {

/// A seam that must not start before a time because of what was welded before the stop.
struct RestWait {
    std::string seam;
    double time;         ///< s of the record's clock
    std::string because; ///< of which rule and which seam
};

namespace detail {

/// What is left of rules after a stop, and what they say against the past.
struct RestRules {
    PlanRules rules;
    std::vector<RestWait> waits; ///< one a seam at most
};

/// Rules for the seams that are left: names of seams that are done are gone, ties and tacks whose first part
/// is done are fulfilled, and what must stay apart from what was welded becomes an earliest time.
class RestOfRules {
public:
    RestOfRules(Plan const& plan, HeldRecord const& held, PlanRules rules, double cooling)
        : plan_(plan), held_(held), rest_{std::move(rules), {}} {
        auto& r = rest_.rules;
        if (auto const broken = held.broken()) {
            wait(*broken, held.ended(*broken) + cooling, "cooling before the restart");
            if (r.heat_reach > 0 && r.cooling_time > 0)
                wait(*broken, held.ended(*broken) + r.cooling_time, "cooling after itself");
            r.as_drawn.push_back(plan.job.seams[*broken].name);
        }
        drop_done(r.as_drawn);
        own_times();
        tacks();
        in_order();
        ties();
        cooling_pairs();
        if (r.heat_reach > 0 && r.cooling_time > 0)
            near(r.heat_reach, r.cooling_time, "cooling after");
        if (r.plume)
            near(3 * r.plume->length + r.plume->radius, r.plume->time, "the plume of");
        for (auto& clamp : r.clamps)
            drop_done(clamp.seams);
        r.clamps.erase(std::remove_if(r.clamps.begin(), r.clamps.end(),
                                      [](ClampTime const& c) { return c.seams.empty(); }),
                       r.clamps.end());
    }

    RestRules made() && { return std::move(rest_); }

private:
    std::string const& name(std::size_t i) const { return plan_.job.seams[i].name; }

    void wait(std::size_t seam, double until, std::string because) {
        for (auto& e : rest_.waits)
            if (e.seam == name(seam)) {
                if (until > e.time)
                    e = {name(seam), until, std::move(because)};
                return;
            }
        rest_.waits.push_back({name(seam), until, std::move(because)});
    }

    void drop_done(std::vector<std::string>& names) const {
        names.erase(std::remove_if(names.begin(), names.end(),
                                   [&](std::string const& n) { return held_.is_done(n); }),
                    names.end());
    }

    /// What had to wait for a time of the clock still has to.
    void own_times() {
        std::vector<EarliestStart> unknown; // for the planner to refuse
        for (auto const& e : rest_.rules.earliest) {
            auto const i = held_.find(e.seam);
            if (!i)
                unknown.push_back(e);
            else if (held_.state(*i) != SeamState::done)
                wait(*i, e.time, "its earliest start");
        }
        rest_.rules.earliest = std::move(unknown);
    }

    /// Throws BadInput where `then` was begun although `first`, which must come before it, is not done.
    void check(std::string const& first, std::string const& then, char const* rule) const {
        auto const a = held_.find(first), b = held_.find(then);
        if (!a || !b || a == b || held_.state(*a) == SeamState::done || held_.state(*b) == SeamState::open)
            return;
        throw BadInput("the record says that seam " + then + " was welded although seam " + first +
                       " is not done, which must be before it by a rule (" + rule +
                       "): no run of this plan does so. Where the welding engineer accepts it, plan the "
                       "rest by rules without this one");
    }

    void tacks() {
        auto& tacks = rest_.rules.tacks;
        auto const is_tack = [&](std::string const& n) {
            return std::find(tacks.begin(), tacks.end(), n) != tacks.end();
        };
        for (auto const& tack : tacks)
            for (auto const& seam : plan_.job.seams)
                if (!is_tack(seam.name))
                    check(tack, seam.name, "tacks");
        drop_done(tacks);
    }

    void in_order() {
        auto& lists = rest_.rules.in_order;
        for (auto& list : lists) {
            for (std::size_t k = 0; k < list.size(); ++k)
                for (std::size_t j = k + 1; j < list.size(); ++j)
                    check(list[k], list[j], "in order");
            drop_done(list);
        }
    }

    void ties() {
        std::vector<SeamTie> kept;
        for (auto const& tie : rest_.rules.ties) {
            check(tie.first, tie.then, "tie");
            if (held_.is_done(tie.then))
                continue;
            if (!held_.is_done(tie.first))
                kept.push_back(tie);
            else if (auto const then = held_.find(tie.then))
                wait(*then, held_.ended(*held_.find(tie.first)) + tie.gap, "the tie to " + tie.first);
        }
        rest_.rules.ties = std::move(kept);
    }

    /// What was begun, and what is left: the later one waits.
    void apart(std::size_t before, std::size_t later, double time, char const* what) {
        if (before != later && held_.state(before) != SeamState::open &&
            held_.state(later) != SeamState::done)
            wait(later, held_.ended(before) + time, std::string(what) + " " + name(before));
    }

    void cooling_pairs() {
        std::vector<SeamCooling> kept;
        for (auto const& pair : rest_.rules.cooling) {
            auto const one = held_.find(pair.one), other = held_.find(pair.other);
            if (one && other) {
                apart(*one, *other, pair.time, "cooling after");
                apart(*other, *one, pair.time, "cooling after");
            }
            if (!held_.is_done(pair.one) && !held_.is_done(pair.other))
                kept.push_back(pair);
        }
        rest_.rules.cooling = std::move(kept);
    }

    /// Of a broken seam the whole path counts as hot, and may smoke.
    void near(double reach, double time, char const* what) {
        if (chords_.empty())
            for (auto const& seam : plan_.job.seams)
                chords_.push_back(chords_of(seam.seam.path));
        for (auto const& pair : near_pairs(chords_, reach)) {
            apart(pair.one, pair.other, time, what);
            apart(pair.other, pair.one, time, what);
        }
    }

    Plan const& plan_;
    HeldRecord const& held_;
    RestRules rest_;
    std::vector<PathChords> chords_;
};

} // namespace detail

} // namespace seamhold

#endif
