#ifndef SEAMHOLD_PLAN_SEQUENCE_RULES_OF_HPP
#define SEAMHOLD_PLAN_SEQUENCE_RULES_OF_HPP

#include "seamhold/plan/clamp_times.hpp"
#include "seamhold/plan/fume_order.hpp"
#include "seamhold/plan/near_pairs.hpp"
#include "seamhold/plan/plan_rules.hpp"
#include "seamhold/plan/plan_ways.hpp"
#include "seamhold/plan/plume.hpp"
#include "seamhold/plan/sequence_problem.hpp"

#include <algorithm>
#include <cstddef>
#include <string>
#include <unordered_map>
#include <utility>
#include <vector>

namespace seamhold::detail {

/// The seams of a job by their names. Throws BadInput where a name is empty or stands twice.
class SeamNames {
public:
    explicit SeamNames(std::vector<ScheduledSeam> const& seams) {
        for (std::size_t i = 0; i < seams.size(); ++i) {
            if (seams[i].name.empty())
                throw BadInput("seam number " + std::to_string(i + 1) + " of the job has no name");
            if (!index_.emplace(seams[i].name, i).second)
                throw BadInput("two seams are named " + seams[i].name);
        }
    }

    /// The place of a seam that a rule names. Throws BadInput where the job has none.
    std::size_t at(std::string const& name, char const* rule) const {
        auto const found = index_.find(name);
        if (found == index_.end())
            throw BadInput(std::string("a rule (") + rule + ") names a seam " + name +
                           ", which the job does not have");
        return found->second;
    }

private:
    std::unordered_map<std::string, std::size_t> index_;
};

/// Where light leaves the head, in the part frame, from a few places of the path that reach a way.
inline std::vector<Point<Part>> exits_of(Job const& job, PlanWay const& way) {
    auto chain = job.chain;
    chain.cell_from_flange = job.chain.cell_from_flange.motion(); // the path, not the clock
    double const low = way.reach.places.front().low, high = way.reach.places.back().high;
    std::vector<Point<Part>> exits;
    constexpr int count = 5;
    for (int k = 0; k < count; ++k) {
        double const u = low + (high - low) * k / (count - 1);
        auto const command = chain.follow(*way.seam, way.seam->duration() / 2, u).aim.command;
        auto const exit = chain.head_in_cell(chain.head.ray(command).origin, chain.cell_from_flange.at(u));
        exits.push_back(chain.cell_in_part(exit, u));
    }
    return exits;
}

/// Adds the pairs of seams of which the later one's beam may go through the plume of the earlier one.
inline void add_plume_pairs(SequenceRules& rules, std::vector<Job const*> const& heads, PlanWays const& ways,
                            std::vector<PathChords> const& chords, Plume const& plume) {
    checked(plume);
    std::vector<std::vector<std::vector<Point<Part>>>> exits(ways.size()); // of each way of each seam
    for (std::size_t i = 0; i < ways.size(); ++i)
        for (auto const& way : ways.of(i))
            if (way.reach.places.front().low <= way.reach.places.back().high) // else no time law can use it
                exits[i].push_back(exits_of(*heads[way.head], way));
    auto const crosses = [&](std::size_t fresh, std::size_t later) {
        for (auto const& from : exits[later])
            if (plume_crosses(chords[fresh], plume, from, chords[later]))
                return true;
        return false;
    };
    // A beam that leans by up to 60° is as high as the plume's top two lengths of the plume from its spot.
    for (auto const& pair : near_pairs(chords, 3 * plume.length + plume.radius)) {
        double const one_first = crosses(pair.one, pair.other) ? plume.time : 0;
        double const other_first = crosses(pair.other, pair.one) ? plume.time : 0;
        if (one_first > 0 || other_first > 0)
            rules.aparts.push_back({pair.one, pair.other, one_first, other_first});
    }
}

/// A plan's rules in terms of tasks: the seams of the job in their order. Throws BadInput for a name that the
/// job does not have, and for numbers that are not possible.
inline SequenceRules sequence_rules_of(std::vector<Job const*> const& heads, PlanWays const& ways,
                                       PlanRules const& rules) {
    auto const& seams = heads.front()->seams;
    SeamNames const names(seams);
    SequenceRules all;
    all.shared_laser = rules.shared_laser;
    all.laser_switch = rules.laser_switch;
    auto const check_time = [](double time, char const* what) {
        if (!(time >= 0) || !is_finite(time))
            throw BadInput(std::string(what) + " must be 0 s or more; given was " + text_of(time) + " s");
    };
    auto const check_length = [](double length, char const* what) {
        if (!(length >= 0) || !is_finite(length))
            throw BadInput(std::string(what) + " must be 0 mm or more; given was " + text_of(1e3 * length) +
                           " mm");
    };
    check_time(rules.cooling_time, "the cooling time");
    check_time(rules.laser_switch, "the time in which a laser is switched over");
    check_length(rules.heat_reach, "the reach of heat");
    check_length(rules.sight, "the distance of sight between heads");
    for (auto const& name : rules.as_drawn)
        names.at(name, "as drawn");
    std::vector<bool> is_tack(seams.size(), false);
    for (auto const& name : rules.tacks)
        is_tack[names.at(name, "tacks")] = true;
    for (auto const& name : rules.tacks)
        for (std::size_t i = 0; i < seams.size(); ++i)
            if (!is_tack[i])
                all.afters.push_back({names.at(name, "tacks"), i, 0});
    for (auto const& list : rules.in_order)
        for (std::size_t k = 0; k < list.size(); ++k) {
            std::size_t const then = names.at(list[k], "in order");
            if (k > 0)
                all.afters.push_back({names.at(list[k - 1], "in order"), then, 0});
        }
    for (auto const& tie : rules.ties) {
        check_time(tie.gap, "the gap of a tie");
        all.afters.push_back({names.at(tie.first, "tie"), names.at(tie.then, "tie"), tie.gap});
    }
    for (auto const& pair : rules.cooling) {
        check_time(pair.time, "a cooling time");
        all.aparts.push_back(
            {names.at(pair.one, "cooling"), names.at(pair.other, "cooling"), pair.time, pair.time});
    }
    bool const needs_chords =
        (rules.heat_reach > 0 && rules.cooling_time > 0) || rules.sight > 0 || rules.plume || rules.fume;
    if (!needs_chords)
        return all;
    std::vector<PathChords> chords;
    chords.reserve(seams.size());
    for (auto const& seam : seams)
        chords.push_back(chords_of(seam.seam.path));
    if (rules.heat_reach > 0 && rules.cooling_time > 0)
        for (auto const& pair : near_pairs(chords, rules.heat_reach))
            all.aparts.push_back({pair.one, pair.other, rules.cooling_time, rules.cooling_time});
    if (rules.sight > 0 && heads.size() > 1 && !rules.shared_laser)
        for (auto const& pair : near_pairs(chords, rules.sight))
            all.aparts.push_back({pair.one, pair.other, 0, 0});
    if (rules.plume)
        add_plume_pairs(all, heads, ways, chords, *rules.plume);
    if (rules.fume)
        for (auto const& pair : fume_order(chords, *rules.fume))
            if (!pair.mutual) // of those no order is free of fume
                all.afters.push_back({pair.first, pair.then, 0});
    return all;
}

/// The start times of each seam that a plan's clamps and earliest starts allow, s. Throws BadInput naming
/// seam and clamp where there are none, and for what `checked` refuses.
inline std::vector<Range> allowed_starts(std::vector<ScheduledSeam> const& seams, PlanRules const& rules) {
    std::vector<std::string> names;
    names.reserve(seams.size());
    for (auto const& seam : seams)
        names.push_back(seam.name);
    checked(rules.clamps, names);
    std::vector<Range> allowed;
    for (auto const& seam : seams) {
        auto const starts =
            within_clamps(seam.name, seam.seam.duration(), {{-no_limit, no_limit}}, rules.clamps);
        if (starts.windows.empty())
            throw BadInput(why_not_within(seam.name, starts));
        allowed.push_back(starts.windows.front());
    }
    SeamNames const index(seams);
    for (auto const& rule : rules.earliest) {
        auto& range = allowed[index.at(rule.seam, "earliest start")];
        if (!is_finite(rule.time))
            throw BadInput("the earliest start of seam " + rule.seam + " is not finite");
        range.low = std::max(range.low, rule.time);
        if (!(range.low <= range.high))
            throw BadInput("seam " + rule.seam + " may not start before " + text_of(rule.time) +
                           " s, and its clamps open too soon after: " +
                           text_of(1e3 * (range.low - range.high)) + " ms more would make it possible");
    }
    return allowed;
}

} // namespace seamhold::detail

#endif
