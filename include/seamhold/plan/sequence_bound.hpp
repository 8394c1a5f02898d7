#ifndef SEAMHOLD_PLAN_SEQUENCE_BOUND_HPP
#define SEAMHOLD_PLAN_SEQUENCE_BOUND_HPP

#include "seamhold/plan/sequence_table.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

/// What no order can undercut.
namespace seamhold::detail {

/// Least times without work, before and after each way: a share `before` of the way that follows and a share
/// `after` of the way that is left, so that after[i] + before[j] is at most the time from the end of i to the
/// start of j, for every i and j that may follow each other directly. All are at least 0.
struct IdleShares {
    std::vector<double> before;
    std::vector<double> after;
};

/// Bounds of the time between two ways that follow each other directly, from the end of the one to the start
/// of the other: the least time there is, the rules between the two, and what lies between the latest end of
/// the one and the earliest start of the other.
template <class Table> class DirectTimes {
public:
    /// With `windows` false, as if there were none.
    DirectTimes(Table& table, bool windows) : table_(table), windows_(windows) {}

    double earliest(std::uint32_t i) const { return windows_ ? table_.node(i).earliest : 0; }
    double latest_end(std::uint32_t i) const {
        return windows_ ? table_.node(i).latest + table_.node(i).duration : 0;
    }

    /// The latest start, and the earliest end; both with some room for rounding.
    double latest(std::uint32_t i) const {
        return windows_ ? table_.node(i).latest + table_.tolerance()
                        : std::numeric_limits<double>::infinity();
    }
    double earliest_end(std::uint32_t i) const {
        return windows_ ? table_.node(i).earliest + table_.node(i).duration : 0;
    }

    /// Whether `j` may follow `i` directly, as far as is known without the time between.
    bool may_follow(std::uint32_t i, std::uint32_t j) const {
        SequenceNode const& a = table_.node(i);
        SequenceNode const& b = table_.node(j);
        return a.task != b.task && (table_.chain() || a.head == b.head) && earliest_end(i) <= latest(j);
    }

    /// A bound of the time from the end of `i` to the start of `j`; infinity where j cannot follow.
    double time(std::uint32_t i, std::uint32_t j) {
        SequenceNode const& a = table_.node(i);
        SequenceNode const& b = table_.node(j);
        double least = table_.gap(i, j);
        for (RuleEnd const& rule : table_.rules_of(b.task))
            if (rule.partner == a.task)
                least = std::max(least, rule.gap);
        if (!(earliest_end(i) + least <= latest(j)))
            return std::numeric_limits<double>::infinity();
        return std::max(least, earliest(j) - latest_end(i));
    }

private:
    Table& table_;
    bool windows_;
};

/// Finds shares of idle time: the reductions of columns and rows of the matrix of times between (Little,
/// Murty, Sweeney and Karel 1963, An algorithm for the travelling salesman problem), which are feasible
/// prices of its assignment problem.
template <class Table> class IdleSearch {
public:
    /// With `windows` false, as if there were none. At most `asks` pairs of ways are looked at; shares beyond
    /// are 0.
    IdleSearch(Table& table, bool windows, std::size_t asks)
        : table_(table), times_(table, windows), asks_(asks) {
        for (std::uint32_t i = 0; i < table.nodes().size(); ++i)
            by_start_.push_back(i);
        by_end_ = by_start_;
        auto const starts = [&](std::uint32_t a, std::uint32_t b) {
            return times_.earliest(a) < times_.earliest(b);
        };
        auto const ends = [&](std::uint32_t a, std::uint32_t b) {
            return times_.latest_end(a) > times_.latest_end(b);
        };
        std::stable_sort(by_start_.begin(), by_start_.end(), starts);
        std::stable_sort(by_end_.begin(), by_end_.end(), ends);
        double soonest = std::numeric_limits<double>::infinity(), latest = -soonest;
        for (std::uint32_t const i : by_end_)
            soonest_end_.push_back(soonest = std::min(soonest, times_.earliest_end(i)));
        for (std::uint32_t const j : by_start_)
            latest_start_.push_back(latest = std::max(latest, times_.latest(j)));
    }

    /// Shares of which the first to be set has `share` of all it can have.
    IdleShares shares(double share) {
        if (all_before_.empty()) {
            std::vector<double> const nothing(table_.nodes().size());
            all_before_ = least_before(nothing, nothing);
        }
        IdleShares s{all_before_, {}};
        for (double& x : s.before)
            x *= share;
        s.after = least_after(s.before);
        if (share < 1)
            s.before = least_before(s.after, s.before);
        return s;
    }

private:
    /// The least time before each way, less what is given to the ways it may follow; `had` where the search
    /// ends early or nothing can come before.
    std::vector<double> least_before(std::vector<double> const& after, std::vector<double> had) {
        double const most = *std::max_element(after.begin(), after.end());
        for (std::uint32_t j = 0; j < had.size(); ++j) {
            double least = std::numeric_limits<double>::infinity();
            // None of those before `k` ends early enough.
            auto const k = std::partition_point(soonest_end_.begin(), soonest_end_.end(),
                                                [&](double end) { return end > times_.latest(j); });
            for (auto at = by_end_.begin() + (k - soonest_end_.begin()); at != by_end_.end(); ++at) {
                std::uint32_t const i = *at;
                if (times_.earliest(j) - times_.latest_end(i) - most >= least)
                    break;
                if (!times_.may_follow(i, j))
                    continue;
                if (asks_ == 0)
                    return had;
                --asks_;
                least = std::min(least, times_.time(i, j) - after[i]);
            }
            if (least <= std::numeric_limits<double>::max())
                had[j] = std::max(had[j], least);
        }
        return had;
    }

    /// Likewise the least time after each way.
    std::vector<double> least_after(std::vector<double> const& before) {
        std::vector<double> after(before.size());
        double const most = *std::max_element(before.begin(), before.end());
        for (std::uint32_t i = 0; i < after.size(); ++i) {
            double least = std::numeric_limits<double>::infinity();
            // None of those before `k` may start late enough.
            auto const k = std::partition_point(latest_start_.begin(), latest_start_.end(),
                                                [&](double start) { return start < times_.earliest_end(i); });
            for (auto at = by_start_.begin() + (k - latest_start_.begin()); at != by_start_.end(); ++at) {
                std::uint32_t const j = *at;
                if (times_.earliest(j) - times_.latest_end(i) - most >= least)
                    break;
                if (!times_.may_follow(i, j))
                    continue;
                if (asks_ == 0)
                    return after;
                --asks_;
                least = std::min(least, times_.time(i, j) - before[j]);
            }
            if (least <= std::numeric_limits<double>::max())
                after[i] = std::max(0.0, least);
        }
        return after;
    }

    Table& table_;
    DirectTimes<Table> times_;
    std::size_t asks_;
    std::vector<std::uint32_t> by_start_;
    std::vector<std::uint32_t> by_end_;
    std::vector<double> all_before_;   // all that can be given to the time before each way
    std::vector<double> soonest_end_;  // of those up to a place of by_end_
    std::vector<double> latest_start_; // of those up to a place of by_start_
};

/// A bound of the takt from given shares of idle time. It is the larger of work and windows. Work: on each
/// head the durations with their shares, of all but the first and last task, shared by the heads that may
/// work side by side. Windows: the last end is not before r + the work of the tasks that open at r or later;
/// the first start is not after D - the work of the tasks that must end by D; heads and tails of a
/// one-machine problem (Carlier 1982, The one-machine sequencing problem).
template <class Table> class TaktBound {
public:
    TaktBound(Table const& table, IdleShares const& idle) : table_(table), idle_(idle) {}

    double takt() const {
        std::vector<std::uint32_t> all, some;
        for (std::uint32_t t = 0; t < table_.tasks(); ++t)
            all.push_back(t);
        if (table_.chain())
            return of(all, 1);
        double bound = of(all, table_.heads());
        for (std::uint32_t head = 0; head < table_.heads(); ++head) {
            some.clear();
            for (std::uint32_t const t : all)
                if (least(t, [&](SequenceNode const& n, std::size_t) { return n.head == head ? 1.0 : 0.0; }) >
                    0)
                    some.push_back(t);
            if (!some.empty())
                bound = std::max(bound, of(some, 1));
        }
        return bound;
    }

private:
    /// The least of a function over the ways of a task.
    template <class Function> double least(std::uint32_t task, Function const& function) const {
        double value = std::numeric_limits<double>::infinity();
        for (std::uint32_t i = table_.first_node(task); i < table_.end_node(task); ++i)
            value = std::min(value, function(table_.node(i), i));
        return value;
    }

    /// Work of tasks, added one by one.
    struct Work {
        TaktBound const& bound;
        double machines;
        double sum = 0, before = 0, after = 0;

        /// The least time in which all that was added can be done.
        double add(std::uint32_t task) {
            IdleShares const& idle = bound.idle_;
            sum += bound.least(task, [&](SequenceNode const& n, std::size_t i) {
                before = std::max(before, idle.before[i]);
                after = std::max(after, idle.after[i]);
                return n.duration + idle.before[i] + idle.after[i];
            });
            return sum / machines - before - after;
        }
    };

    double of(std::vector<std::uint32_t> const& tasks, std::size_t machines) const {
        struct Ends {
            std::uint32_t task;
            double opens, closes, end_by;
        };
        std::vector<Ends> ends;
        ends.reserve(tasks.size());
        for (std::uint32_t const t : tasks)
            ends.push_back(
                {t, least(t, [](SequenceNode const& n, std::size_t) { return n.earliest; }),
                 -least(t, [](SequenceNode const& n, std::size_t) { return -n.latest; }),
                 -least(t, [](SequenceNode const& n, std::size_t) { return -n.latest - n.duration; })});
        auto const count = static_cast<double>(machines);
        double last_end = -std::numeric_limits<double>::infinity();
        double first_start = std::numeric_limits<double>::infinity();
        double work = 0;
        for (Ends const& e : ends) {
            first_start = std::min(first_start, e.closes);
            double const duration =
                least(e.task, [](SequenceNode const& n, std::size_t) { return n.duration; });
            work = std::max(work, duration);
            last_end = std::max(last_end, e.opens + duration);
        }
        Work opening{*this, count};
        std::stable_sort(ends.begin(), ends.end(),
                         [](Ends const& a, Ends const& b) { return a.opens > b.opens; });
        for (Ends const& e : ends) {
            double const since = opening.add(e.task);
            last_end = std::max(last_end, e.opens + since);
            work = std::max(work, since);
        }
        Work closing{*this, count};
        std::stable_sort(ends.begin(), ends.end(),
                         [](Ends const& a, Ends const& b) { return a.end_by < b.end_by; });
        for (Ends const& e : ends)
            first_start = std::min(first_start, e.end_by - closing.add(e.task));
        return std::max(work, last_end - first_start);
    }

    Table const& table_;
    IdleShares const& idle_;
};

/// A bound of the takt, and the shares of idle time it comes from.
struct SequenceBound {
    double takt;
    IdleShares idle;
};

/// The best bound of several shares.
template <class Table> SequenceBound sequence_bound(Table& table, std::size_t asks = 2000000) {
    IdleSearch<Table> search(table, true, asks);
    SequenceBound best{-1, {}};
    for (double const share : {1.0, 0.5}) {
        SequenceBound found{0, search.shares(share)};
        found.takt = TaktBound<Table>(table, found.idle).takt();
        if (found.takt > best.takt)
            best = found;
    }
    return best;
}

} // namespace seamhold::detail

#endif
