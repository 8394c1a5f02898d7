#ifndef SEAMHOLD_PLAN_SEQUENCE_EXACT_HPP
#define SEAMHOLD_PLAN_SEQUENCE_EXACT_HPP

#include "seamhold/plan/sequence_bound.hpp"
#include "seamhold/plan/sequence_paths.hpp"
#include "seamhold/plan/sequence_schedule.hpp"
#include "seamhold/plan/sequence_table.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <vector>

/// The best order, proven: dynamic programming over sets of tasks with bounds (Held and Karp 1962, A dynamic
/// programming approach to sequencing problems).
namespace seamhold::detail {

/// What an exact search makes least.
enum class Least {
    takt,    ///< the takt, then the end
    lateness ///< the largest lateness of a start, as if it did not matter that it is late; windows are never
             ///< missed
};

/// What an exact search found.
struct ExactResult {
    std::vector<std::uint32_t>
        order;     ///< the best order found; empty where none is better than what was known
    double bound;  ///< no order has a smaller takt, or lateness
    bool complete; ///< whether all orders were looked at
    bool stopped;  ///< whether the caller ended it
};

/// Partial orders of k tasks, for k = 1, 2, …: of those that did the same tasks, with the same last way on
/// each head, only those stay that no other one dominates. What is left of a partial order is a clock for
/// each head, which is a time `Reached`, a release for each task that a rule binds, and the latest first
/// start. One dominates another where, for every first start that the other allows, none of its times is
/// later.
///
/// A partial order is dropped where its bound is not below the best known. The bound adds the work that is
/// left, and for a chain also looks at it as a one-machine problem with heads and tails.
template <Least goal, class Table> class ExactSearch {
public:
    /// `bound` as far as known before; at most 64 tasks.
    ExactSearch(Table& table, double bound, SequenceScore const& known)
        : table_(table), best_(known), start_bound_(bound), clocks_(table.heads()), releases_(table.tasks()) {
        collect_tasks();
        if (goal == Least::takt && table.chain() && table.tasks() > 2) {
            paths_.emplace(table, known.takt, path_steps);
            start_bound_ = std::max(start_bound_, std::min(paths_->takt(), known.takt));
        }
        stride_ = 1 + 2 * (clocks_ + bound_tasks_);
        key_size_ = 3 + clocks_;
    }

    /// Searches until `budget` partial orders were looked at or `go_on(looked at, best, bound)` says no.
    template <class GoOn> ExactResult run(std::size_t budget, GoOn const& go_on) {
        budget_ = budget;
        ExactResult result{{}, start_bound_, true, false};
        Layer now, next;
        now.reset(key_size_, stride_);
        root(now);
        for (std::size_t k = 1; k < table_.tasks(); ++k) {
            next.reset(key_size_, stride_);
            double layer_bound = best_.*takt();
            for (std::size_t i = 0; i < now.size(); ++i)
                if (now.alive[i] != 0)
                    layer_bound = std::min(layer_bound, now.bounds[i]);
            result.bound = std::max(result.bound, layer_bound);
            for (std::size_t i = 0; i < now.size(); ++i) {
                if (i % poll_every == 0 && !go_on(looked_at_, best_.*takt(), result.bound))
                    result.stopped = true;
                if (result.stopped || looked_at_ > budget_) {
                    result.complete = false;
                    return result;
                }
                if (now.alive[i] != 0 && promising(now.bounds[i], now.end_bounds[i]))
                    extend(now, i, next);
            }
            std::swap(now, next);
        }
        finish(now, result);
        return result;
    }

private:
    static constexpr std::uint32_t none = 0xffffffffU;
    static constexpr std::size_t poll_every = 256;

    static constexpr double SequenceScore::*takt() {
        return goal == Least::takt ? &SequenceScore::takt : &SequenceScore::warp;
    }

    /// How a partial order came about.
    struct Trace {
        std::uint32_t parent;
        std::uint32_t node;
    };

    /// The partial orders of one length. A key is the set of tasks in two words, the last head, and the last
    /// way of each head; a state is the latest first start, clocks and releases.
    struct Layer {
        std::size_t key_size = 0, stride = 0;
        std::vector<std::uint32_t> keys, traces, next, slots;
        std::vector<double> states, bounds, end_bounds;
        std::vector<char> alive;

        std::size_t size() const { return alive.size(); }
        std::uint32_t const* key(std::size_t i) const { return &keys[i * key_size]; }
        double const* state(std::size_t i) const { return &states[i * stride]; }

        void reset(std::size_t new_key_size, std::size_t new_stride) {
            key_size = new_key_size;
            stride = new_stride;
            for (auto* v : {&keys, &traces, &next})
                v->clear();
            for (auto* v : {&states, &bounds, &end_bounds})
                v->clear();
            alive.clear();
            slots.assign(1024, none);
        }

        std::size_t hash(std::uint32_t const* k) const {
            std::uint64_t h = 0;
            for (std::size_t w = 0; w < key_size; ++w)
                h = (h ^ k[w]) * 0x9e3779b97f4a7c15U;
            return static_cast<std::size_t>(h >> 32U) & (slots.size() - 1);
        }

        /// The place where a key's list of partial orders starts.
        std::uint32_t& list_of(std::uint32_t const* k) {
            std::size_t i = hash(k);
            while (slots[i] != none && !std::equal(k, k + key_size, key(slots[i])))
                i = (i + 1) & (slots.size() - 1);
            return slots[i];
        }

        void add(std::vector<std::uint32_t> const& k, std::vector<double> const& state, std::uint32_t trace,
                 double bound, double end_bound) {
            if (2 * size() > slots.size()) {
                slots.assign(4 * slots.size(), none);
                for (std::uint32_t i = 0; i < size(); ++i)
                    enter(i);
            }
            keys.insert(keys.end(), k.begin(), k.end());
            states.insert(states.end(), state.begin(), state.end());
            traces.push_back(trace);
            bounds.push_back(bound);
            end_bounds.push_back(end_bound);
            alive.push_back(1);
            next.push_back(none);
            enter(static_cast<std::uint32_t>(size() - 1));
        }

        void enter(std::uint32_t i) {
            std::uint32_t& list = list_of(key(i));
            next[i] = list;
            list = i;
        }
    };

    /// What a bound needs to know of each task and way.
    void collect_tasks() {
        IdleSearch<Table> idle(table_, goal == Least::takt, all_pairs);
        before_ = idle.shares(1.0).before;
        std::fill(releases_.begin(), releases_.end(), none);
        must_precede_.assign(table_.tasks(), 0);
        work_.assign(table_.tasks(), std::numeric_limits<double>::infinity());
        std::vector<double> opens = work_, end_by(table_.tasks(), -work_[0]);
        for (std::uint32_t t = 0; t < table_.tasks(); ++t) {
            for (std::uint32_t i = table_.first_node(t); i < table_.end_node(t); ++i) {
                SequenceNode const& node = table_.node(i);
                work_[t] = std::min(work_[t], node.duration + before_[i]);
                opens[t] = std::min(opens[t], node.earliest);
                end_by[t] = std::max(end_by[t], node.latest + node.duration);
                most_before_ = std::max(most_before_, before_[i]);
            }
            for (RuleEnd const& rule : table_.rules_of(t)) {
                if (rule.gap <= std::numeric_limits<double>::max()) {
                    if (releases_[t] == none)
                        releases_[t] = static_cast<std::uint32_t>(bound_tasks_++);
                }
            }
            by_opening_.push_back(t);
        }
        for (std::uint32_t t = 0; t < table_.tasks(); ++t)
            for (RuleEnd const& rule : table_.rules_of(t))
                if (!(rule.gap <= std::numeric_limits<double>::max()))
                    must_precede_[rule.partner] |= bit(t);
        by_end_ = by_opening_;
        std::stable_sort(by_opening_.begin(), by_opening_.end(),
                         [&](std::uint32_t a, std::uint32_t b) { return opens[a] > opens[b]; });
        std::stable_sort(by_end_.begin(), by_end_.end(),
                         [&](std::uint32_t a, std::uint32_t b) { return end_by[a] < end_by[b]; });
        opens_ = opens;
        end_by_ = end_by;
    }

    static std::uint64_t bit(std::uint32_t task) { return std::uint64_t{1} << task; }

    static std::uint64_t done(std::uint32_t const* key) {
        return key[0] | static_cast<std::uint64_t>(key[1]) << 32U;
    }

    Reached clock(double const* state, std::size_t head) const {
        return {state[1 + 2 * head], state[2 + 2 * head]};
    }

    Reached release(double const* state, std::uint32_t task) const {
        return clock(state, clocks_ + releases_[task]);
    }

    void set(std::size_t clock, Reached const& r) {
        state_[1 + 2 * clock] = r.earliest;
        state_[2 + 2 * clock] = r.since_first;
    }

    void root(Layer& layer) {
        for (std::uint32_t i = 0; i < table_.nodes().size(); ++i) {
            SequenceNode const& node = table_.node(i);
            if (must_precede_[node.task] != 0)
                continue;
            key_.assign(key_size_, none);
            key_[0] = key_[1] = 0;
            state_.assign(stride_, 0);
            Reached const start{node.earliest, 0};
            state_[0] = goal == Least::takt ? node.latest : 0;
            for (std::size_t c = 0; c < clocks_ + bound_tasks_; ++c)
                set(c, table_.chain() ? Reached{no_time, no_time} : start);
            place(layer, none, i, start);
        }
    }

    void extend(Layer const& layer, std::size_t from, Layer& next) {
        std::uint32_t const* const key = layer.key(from);
        double const* const state = layer.state(from);
        std::uint64_t const set_done = done(key);
        for (std::uint32_t t = 0; t < table_.tasks(); ++t) {
            if ((set_done & bit(t)) != 0 || (must_precede_[t] & ~set_done) != 0)
                continue;
            for (std::uint32_t i = table_.first_node(t); i < table_.end_node(t); ++i) {
                SequenceNode const& node = table_.node(i);
                Reached start = later({node.earliest, 0}, clock(state, node.head));
                if (std::uint32_t const last = key[3 + node.head]; last != none)
                    start = later(start, clock(state, node.head) + table_.gap(last, i));
                if (table_.chain() && key[2] != node.head)
                    start = later(start, clock(state, key[2]) + table_.laser_switch());
                if (releases_[t] != none)
                    start = later(start, release(state, t));
                if (!(start.earliest <= std::numeric_limits<double>::max()))
                    continue;
                if (goal == Least::takt && start.earliest > node.latest + table_.tolerance())
                    continue;
                key_.assign(key, key + key_size_);
                state_.assign(state, state + stride_);
                place(next, layer.traces[from], i, start);
            }
        }
    }

    /// Puts a way behind the partial order in `key_` and `state_`, and that into a layer unless it is of no
    /// use.
    void place(Layer& layer, std::uint32_t parent, std::uint32_t i, Reached const& start) {
        ++looked_at_;
        SequenceNode const& node = table_.node(i);
        Reached const end =
            goal == Least::takt ? start + node.duration : Reached{start.earliest + node.duration, 0};
        if (goal == Least::takt)
            state_[0] = std::min(state_[0], node.latest - start.since_first);
        else
            state_[0] = std::min(state_[0], node.latest - start.earliest);
        (node.task < 32 ? key_[0] : key_[1]) |= 1U << (node.task % 32);
        key_[2] = node.head;
        key_[3 + node.head] = i;
        set(node.head, end);
        std::uint64_t const set_done = done(key_.data());
        if (releases_[node.task] != none)
            set(clocks_ + releases_[node.task], {no_time, no_time}); // no longer of interest
        for (RuleEnd const& rule : table_.rules_of(node.task)) {
            std::uint32_t const other = rule.partner;
            if ((set_done & bit(other)) != 0 || releases_[other] == none)
                continue;
            for (RuleEnd const& back : table_.rules_of(other))
                if (back.partner == node.task && back.gap <= std::numeric_limits<double>::max())
                    set(clocks_ + releases_[other], later(release(state_.data(), other), end + back.gap));
        }
        if (table_.chain())
            settle(set_done, end);
        Bounds const bounds = bound(set_done);
        if (!promising(bounds.takt, bounds.end) || dominated(layer))
            return;
        traces_.push_back({parent, i});
        layer.add(key_, state_, static_cast<std::uint32_t>(traces_.size() - 1), bounds.takt, bounds.end);
    }

    /// In a chain nothing starts before the last end: other clocks that lie before it are as good as it.
    void settle(std::uint64_t set_done, Reached const& end) {
        for (std::uint32_t t = 0; t < table_.tasks(); ++t)
            if (releases_[t] != none && (set_done & bit(t)) == 0)
                set(clocks_ + releases_[t], later(release(state_.data(), t), end));
    }

    struct Bounds {
        double takt;
        double end;
    };

    /// What no completion of `key_`, `state_` can undercut; infinite where it cannot be completed.
    Bounds bound(std::uint64_t set_done) const {
        Reached last{no_time, no_time}, clocks{0, 0}, ends = last;
        double started = 0;
        for (std::size_t h = 0; h < clocks_; ++h) {
            last = later(last, clock(state_.data(), h));
            Reached const now = clock(state_.data(), h);
            clocks = {clocks.earliest + now.earliest, clocks.since_first + now.since_first};
            started += key_[3 + h] == none ? most_before_ : 0.0;
        }
        double latest_first = state_[0];
        double late = goal == Least::lateness ? -state_[0] : 0;
        double work = 0;
        for (std::uint32_t const t : by_end_) { // those that must end first come first
            if ((set_done & bit(t)) != 0)
                continue;
            double fits = -std::numeric_limits<double>::infinity(), lateness = -fits;
            Reached soonest{lateness, lateness};
            for (std::uint32_t i = table_.first_node(t); i < table_.end_node(t); ++i) {
                SequenceNode const& node = table_.node(i);
                bool const chain = table_.chain();
                bool const follows = chain || key_[3 + node.head] != none;
                Reached start =
                    (chain ? last : clock(state_.data(), node.head)) + (follows ? before_[i] : 0.0);
                if (releases_[t] != none)
                    start = later(start, release(state_.data(), t));
                start.earliest = std::max(start.earliest, node.earliest);
                soonest.earliest = std::min(soonest.earliest, start.earliest + node.duration);
                soonest.since_first = std::min(soonest.since_first, start.since_first + node.duration);
                lateness = std::min(lateness, start.earliest - node.latest);
                if (start.earliest <= node.latest + table_.tolerance())
                    fits = std::max(fits, node.latest - start.since_first);
            }
            work += work_[t];
            ends = later(ends, soonest);
            if (table_.chain()) {
                lateness = std::max(lateness, last.earliest + work - end_by_[t]);
                latest_first = std::min(latest_first, end_by_[t] - work - last.since_first);
            }
            latest_first = std::min(latest_first, fits);
            late = std::max(late, lateness);
        }
        if constexpr (goal == Least::lateness)
            return {late, 0};
        if (late > table_.tolerance() || !(latest_first > no_time))
            return {std::numeric_limits<double>::infinity(), 0};
        if (paths_)
            work = std::max(work, left_on_paths(set_done));
        return takt_bound(set_done, table_.chain() ? last : later(last, ends), latest_first, work,
                          clocks + (work - started));
    }

    /// The least work that is left after the last way of `key_`.
    double left_on_paths(std::uint64_t set_done) const {
        double prices = 0;
        std::size_t left = 0;
        for (std::uint32_t t = 0; t < table_.tasks(); ++t)
            if ((set_done & bit(t)) == 0) {
                prices += paths_->price(t);
                ++left;
            }
        return prices + paths_->after(key_[3 + key_[2]], left,
                                      [&](std::uint32_t t) { return (set_done & bit(t)) != 0; });
    }

    Bounds takt_bound(std::uint64_t set_done, Reached last, double latest_first, double work,
                      Reached const& all) const {
        if (table_.chain()) {
            last = last + work;
            double since = 0, before = 0;
            for (std::uint32_t const t : by_opening_) { // those that open last come first
                if ((set_done & bit(t)) != 0)
                    continue;
                since += work_[t];
                for (std::uint32_t i = table_.first_node(t); i < table_.end_node(t); ++i)
                    before = std::max(before, before_[i]);
                last.earliest = std::max(last.earliest, opens_[t] + since - before);
            }
        } else {
            auto const heads = static_cast<double>(clocks_);
            last = later(last, {all.earliest / heads, all.since_first / heads});
        }
        return {std::max({last.since_first, last.earliest - latest_first, start_bound_}), last.earliest};
    }

    /// Whether a bound leaves room for something better than the best known.
    bool promising(double takt_bound, double end_bound) const {
        double const known = best_.*takt(), tolerance = table_.tolerance();
        if (!(takt_bound <= std::numeric_limits<double>::max()))
            return false;
        if (goal == Least::lateness)
            return takt_bound < known - tolerance;
        return takt_bound < known - tolerance ||
               (takt_bound <= known + tolerance && end_bound < best_.end - tolerance);
    }

    /// Whether a partial order of the layer is no worse than that in `key_` and `state_`; those it makes
    /// useless go.
    bool dominated(Layer& layer) {
        for (std::uint32_t i = layer.list_of(key_.data()); i != none; i = layer.next[i]) {
            if (layer.alive[i] == 0)
                continue;
            if (dominates(layer.state(i), state_.data()))
                return true;
            if (dominates(state_.data(), layer.state(i)))
                layer.alive[i] = 0;
        }
        return false;
    }

    bool dominates(double const* a, double const* b) const {
        if (a[0] < b[0])
            return false;
        for (std::size_t c = 1; c < stride_; c += 2) {
            if (a[c] > b[c] || (a[c + 1] > b[c + 1] && !(b[0] + a[c + 1] <= b[c])))
                return false;
        }
        return true;
    }

    void finish(Layer const& layer, ExactResult& result) {
        std::uint32_t best = none;
        for (std::size_t i = 0; i < layer.size(); ++i)
            if (layer.alive[i] != 0 && promising(layer.bounds[i], layer.end_bounds[i])) {
                (best_.*takt()) = layer.bounds[i];
                best_.end = layer.end_bounds[i];
                best = layer.traces[i];
            }
        result.bound = std::max(result.bound, best_.*takt());
        for (; best != none; best = traces_[best].parent)
            result.order.push_back(traces_[best].node);
        std::reverse(result.order.begin(), result.order.end());
    }

    static constexpr double no_time = -std::numeric_limits<double>::max();
    static constexpr std::size_t path_steps = 100;
    static constexpr std::size_t all_pairs = 1U << 30U;

    Table& table_;
    SequenceScore best_;
    double start_bound_;
    std::size_t clocks_;
    std::size_t bound_tasks_ = 0;
    std::size_t stride_ = 0, key_size_ = 0;
    std::size_t budget_ = 0, looked_at_ = 0;
    double most_before_ = 0;
    std::optional<PathBound<Table>> paths_; // of a chain
    std::vector<std::uint32_t> releases_, by_opening_, by_end_;
    std::vector<std::uint64_t> must_precede_;
    std::vector<double> before_, work_, opens_, end_by_;
    std::vector<Trace> traces_;
    std::vector<std::uint32_t> key_;
    std::vector<double> state_;
};

} // namespace seamhold::detail

#endif
