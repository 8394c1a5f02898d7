#ifndef SEAMHOLD_PLAN_PLAN_DRAFT_HPP
#define SEAMHOLD_PLAN_PLAN_DRAFT_HPP

#include "seamhold/follow/air_way.hpp"
#include "seamhold/plan/clamp_times.hpp"
#include "seamhold/plan/plan_ways.hpp"
#include "seamhold/plan/sequence.hpp"
#include "seamhold/plan/times_between.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <type_traits>
#include <utility>
#include <vector>

namespace seamhold::detail {

/// The motions of all heads at one pace: what runs, and when each place of a path is passed.
struct PlanPace {
    std::vector<AnyChain> chains;                       ///< one a head
    std::vector<std::function<double(double)>> time_of; ///< of a path parameter, s of the clock

    /// The chains of jobs as they are given.
    static PlanPace as_given(std::vector<Job const*> const& heads) {
        PlanPace pace;
        for (auto const* job : heads) {
            pace.chains.push_back(job->chain); // with the law that it may have
            if (auto const* law = job->chain.cell_from_flange.law())
                pace.time_of.push_back([law = *law](double u) { return law.time_at(u); });
            else
                pace.time_of.push_back([](double u) { return u; });
        }
        return pace;
    }

    /// The same, run through as a law says.
    static PlanPace by(std::vector<Job const*> const& heads, TimeLaw const& law) {
        PlanPace pace = as_given(heads);
        for (std::size_t h = 0; h < heads.size(); ++h) {
            pace.chains[h].cell_from_flange = paced(heads[h]->chain.cell_from_flange, law);
            pace.time_of[h] = [law](double u) { return law.time_at(u); };
        }
        return pace;
    }
};

/// An order with start times and a pace, each air move of which was found.
struct PlanDraft {
    std::vector<WayRef> order;        ///< of `PlanWays`
    std::vector<double> starts;       ///< s
    std::vector<double> air;          ///< least time of the air move before each, s; 0 before a head's first
    std::vector<StartWindow> windows; ///< on this pace
    PlanPace pace;
    double takt = no_limit; ///< s
    bool optimal = false;
    bool stopped = false;
};

/// Tasks for the search of an order, at one pace: ways without a window are left out.
struct PlanTasks {
    std::vector<Task> tasks;
    std::vector<std::vector<std::uint32_t>> full; ///< the index of each task's ways in `PlanWays`
    std::optional<std::size_t> without;           ///< a seam that has no window at this pace

    /// A way as `PlanWays` counts it.
    WayRef full_of(WayRef const& ref) const { return {ref.task, full[ref.task][ref.way]}; }

    /// A way of `PlanWays` as these tasks count it; nothing where it has no window.
    std::optional<WayRef> compact_of(WayRef const& ref) const {
        auto const& list = full[ref.task];
        auto const found = std::find(list.begin(), list.end(), ref.way);
        if (found == list.end())
            return std::nullopt;
        return WayRef{ref.task, static_cast<std::uint32_t>(found - list.begin())};
    }
};

/// Orders and start times of a job's seams, whose air moves are worked out where and when they happen.
class PlanDrafter {
    /// Of tasks as they are numbered there.
    static auto times_between(PlanTasks const& t, TimesBetween const& between) {
        return [&](WayRef a, WayRef b) { return between(t.full_of(a), t.full_of(b)); };
    }

public:
    PlanDrafter(std::vector<Job const*> heads, PlanWays const& ways, SequenceRules rules,
                std::vector<Range> clamped, double air_share, SequenceOptions options)
        : heads_(std::move(heads)), ways_(&ways), rules_(std::move(rules)), clamped_(std::move(clamped)),
          options_(std::move(options)) {
        for (auto const* job : heads_)
            limits_.push_back(air_limits(job->dynamics, air_share));
    }

    PlanWays const& ways() const { return *ways_; }
    std::vector<Job const*> const& heads() const { return heads_; }
    SequenceRules const& rules() const { return rules_; }
    AirLimits const& limits(std::size_t head) const { return limits_[head]; }

    /// Whether any seam has a time of the clock that it must keep.
    bool knows_times() const {
        return std::any_of(clamped_.begin(), clamped_.end(),
                           [](Range const& r) { return is_finite(r.low) || is_finite(r.high); });
    }

    /// Starts of a seam that clamps and others' times allow, s.
    Range const& allowed(std::size_t seam) const { return clamped_[seam]; }

    /// From here on as if no seam had such times.
    void forget_times() { std::fill(clamped_.begin(), clamped_.end(), Range{-no_limit, no_limit}); }

    /// The window of a way, clamps and all.
    StartWindow window(WayRef const& ref, PlanPace const& pace) const {
        auto const& way = ways_->at(ref);
        auto w = PlanWays::window(way, pace.time_of[way.head]);
        auto const& clamped = clamped_[ref.task];
        w.earliest = std::max(w.earliest, clamped.low);
        w.latest = std::min(w.latest, clamped.high);
        return w;
    }

    /// All tasks at a pace.
    PlanTasks tasks(PlanPace const& pace) const {
        PlanTasks t;
        t.full.resize(ways_->size());
        for (std::uint32_t i = 0; i < ways_->size(); ++i) {
            t.tasks.push_back({heads_.front()->seams[i].name, {}});
            for (std::uint32_t w = 0; w < ways_->of(i).size(); ++w) {
                auto const& way = ways_->of(i)[w];
                auto const span = window({i, w}, pace);
                if (!span.any())
                    continue;
                t.tasks.back().ways.push_back({span.earliest, span.latest, way.seam->duration(), way.head});
                t.full[i].push_back(w);
            }
            if (t.full[i].empty() && !t.without)
                t.without = i;
        }
        return t;
    }

    /// The best order that is found at a pace; nothing where none is, or where its air moves, worked out one
    /// by one, do not fit.
    std::optional<PlanDraft> find(PlanPace const& pace) const {
        auto const t = tasks(pace);
        if (t.without)
            return std::nullopt;
        auto const between = times_at(pace);
        auto const found = find_sequence(t.tasks, rules_, times_between(t, between), options_);
        if (!found)
            return std::nullopt;
        std::vector<WayRef> order;
        order.reserve(found->order.size());
        for (auto const& ref : found->order)
            order.push_back(t.full_of(ref));
        auto draft = timed(order, pace);
        if (draft) {
            draft->optimal = found->optimal;
            draft->stopped = found->stopped;
        }
        return draft;
    }

    /// Throws BadInput with the reason why no order was found at a pace: seams, rule, and the smallest change
    /// that would do.
    [[noreturn]] void explain(PlanPace const& pace) const {
        auto const t = tasks(pace);
        if (t.without)
            throw BadInput("seam " + t.tasks[*t.without].name +
                           " has no window of start times: " + why_no_window(*t.without, pace));
        auto const between = times_at(pace);
        sequence(t.tasks, rules_, times_between(t, between), options_); // throws
        throw BadInput("an order was found whose air moves, worked out one by one, do not fit its windows; a "
                       "slower sweep or a smaller least margin leaves more room");
    }

    /// The start times of an order at a pace, each air move worked out at its time; nothing where they do not
    /// fit.
    std::optional<PlanDraft> timed(std::vector<WayRef> const& order, PlanPace const& pace) const {
        auto const t = tasks(pace);
        std::vector<WayRef> compact;
        for (auto const& ref : order) {
            auto const found = t.compact_of(ref);
            if (!found)
                return std::nullopt;
            compact.push_back(*found);
        }
        auto const between = times_at(pace);
        std::vector<double> gap(ways_->size(), 0); // after each task on its head
        auto last = last_on_heads();
        for (auto const& ref : order) {
            auto& before = last[ways_->at(ref).head];
            if (before)
                gap[before->task] = between(*before, ref);
            before = ref;
        }
        for (int round = 0; round < 12; ++round) {
            auto const found = schedule(
                t.tasks, rules_, [&](WayRef a, WayRef) { return gap[a.task]; }, compact);
            if (!found)
                return std::nullopt;
            PlanDraft draft{order, found->starts, {}, {}, pace};
            if (moves_fit(draft, gap, round == 0)) {
                finish(draft);
                return draft;
            }
        }
        return std::nullopt;
    }

    /// Works out the air moves of a draft with start times. Where one does not fit, the gap after its seam
    /// is set to what it needs, and the answer is no; on the `first` round gaps may shrink too.
    bool moves_fit(PlanDraft& draft, std::vector<double>& gap, bool first) const {
        bool all = true;
        draft.air.assign(draft.order.size(), 0);
        auto last = last_on_heads();
        std::vector<double> ended(heads_.size(), 0);
        for (std::size_t k = 0; k < draft.order.size(); ++k) {
            auto const& ref = draft.order[k];
            auto const& way = ways_->at(ref);
            auto& before = last[way.head];
            if (before) {
                double const room = draft.starts[k] - ended[way.head];
                double& wanted = gap[before->task];
                auto const need = needed(*before, ref, ended[way.head], draft.starts[k], draft.pace);
                draft.air[k] = need.least;
                if (first)
                    wanted = std::max(need.gap, 0.0) + rounding;
                else
                    wanted = std::max(wanted, need.gap > room ? need.gap + rounding : 0);
                all = all && need.gap <= room;
            }
            before = ref;
            ended[way.head] = draft.starts[k] + way.seam->duration();
        }
        return all;
    }

    /// Whether a draft with start times keeps the rules between seams. Where it does not, `more` of the later
    /// one is set to the gap before it that would.
    bool rules_fit(PlanDraft const& draft, std::vector<double>& more) const {
        std::vector<std::size_t> place(ways_->size());
        for (std::size_t k = 0; k < draft.order.size(); ++k)
            place[draft.order[k].task] = k;
        auto const end = [&](std::size_t k) {
            return draft.starts[k] + ways_->at(draft.order[k]).seam->duration();
        };
        bool all = true;
        auto const keep = [&](std::size_t first, std::size_t then, double gap) {
            std::size_t const a = place[first], b = place[then];
            double const missing = end(a) + gap - draft.starts[b];
            if (!(missing > rounding))
                return;
            all = false;
            if (b > 0)
                more[b] = std::max(more[b], draft.starts[b] - end(b - 1) + missing + rounding);
        };
        for (auto const& tie : rules_.afters)
            keep(tie.first, tie.then, tie.gap);
        for (auto const& pair : rules_.aparts)
            if (place[pair.one] < place[pair.other])
                keep(pair.one, pair.other, pair.gap_one_first);
            else
                keep(pair.other, pair.one, pair.gap_other_first);
        return all;
    }

    /// No order takes less than this at a pace, with air moves as `TimesBetween` has them, s.
    double lower_bound(PlanPace const& pace) const {
        auto const t = tasks(pace);
        auto const times = times_at(pace);
        auto const between = times_between(t, times);
        SequenceTable<std::decay_t<decltype(between)>> table(t.tasks, rules_, between);
        return sequence_bound(table).takt;
    }

    /// The times between ways at a pace.
    TimesBetween times_at(PlanPace const& pace) const { return {*ways_, pace.chains, pace.time_of, limits_}; }

    /// Whether the beam is off longer than air moves need, by a thousandth of the takt or more.
    bool waits(PlanDraft const& draft) const {
        double busy = 0;
        for (std::size_t k = 0; k < draft.order.size(); ++k) {
            auto const& way = ways_->at(draft.order[k]);
            busy += way.seam->duration() + draft.air[k] + (draft.air[k] > 0 ? limits_[way.head].settling : 0);
        }
        return draft.takt > busy * (1 + 1e-3);
    }

    /// Fills in what follows from order and start times.
    void finish(PlanDraft& draft) const {
        draft.windows.clear();
        double first = no_limit, end = -no_limit;
        for (std::size_t k = 0; k < draft.order.size(); ++k) {
            draft.windows.push_back(window(draft.order[k], draft.pace));
            first = std::min(first, draft.starts[k]);
            end = std::max(end, draft.starts[k] + ways_->at(draft.order[k]).seam->duration());
        }
        draft.takt = end - first;
    }

    /// Why a seam has no window at a pace.
    std::string why_no_window(std::size_t seam, PlanPace const& pace) const {
        double best = -no_limit;
        std::string text = "no part of the sweep reaches it";
        for (std::uint32_t w = 0; w < ways_->of(seam).size(); ++w) {
            auto const& way = ways_->of(seam)[w];
            auto const reach = PlanWays::window(way, pace.time_of[way.head]);
            auto const all = window({static_cast<std::uint32_t>(seam), w}, pace);
            if (all.latest - all.earliest <= best)
                continue;
            best = all.latest - all.earliest;
            text = reach.any()
                       ? "the sweep reaches it for starts from " + text_of(reach.earliest) + " to " +
                             text_of(reach.latest) + " s, its rules and clamps allow " +
                             text_of(clamped_[seam].low) + " to " + text_of(clamped_[seam].high) + " s; " +
                             text_of(-1e3 * best) + " ms more would make it possible"
                       : "it lasts " + text_of(-1e3 * best) +
                             " ms too long for the time in which the sweep passes it: weld it faster or "
                             "sweep slower";
        }
        return text;
    }

private:
    static constexpr double rounding = 1e-9; // s: far below a tick
    struct Need {
        double least; ///< of the air move alone, s
        double gap;   ///< between the seams, s
    };

    std::vector<std::optional<WayRef>> last_on_heads() const {
        return std::vector<std::optional<WayRef>>(heads_.size());
    }

    /// What the move between two seams needs where it leaves at `ended` and the next one starts at `start`.
    Need needed(WayRef const& from, WayRef const& to, double ended, double start,
                PlanPace const& pace) const {
        auto const &a = ways_->at(from), &b = ways_->at(to);
        double const settling = limits_[a.head].settling;
        auto const room = air_room(pace.chains[a.head], *a.seam, ended, *b.seam, start, limits_[a.head]);
        if (!is_finite(room.least))
            return {10, 10}; // s: no order can have it
        if (room.way)
            return {room.least, std::min(room.least + settling, start - ended)};
        // Where the quickest would do, one that arrives just then need not exist: later, it will.
        bool const waits = start - settling - ended > room.least;
        return {room.least, waits ? start - ended + 0.1 * room.least : room.least + settling};
    }

    std::vector<Job const*> heads_;
    PlanWays const* ways_;
    SequenceRules rules_;
    std::vector<Range> clamped_; ///< starts of each seam that clamps and others' times allow, s
    SequenceOptions options_;
    std::vector<AirLimits> limits_;
};

} // namespace seamhold::detail

#endif
