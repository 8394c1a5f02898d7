#ifndef SEAMHOLD_PLAN_SEQUENCE_PATHS_HPP
#define SEAMHOLD_PLAN_SEQUENCE_PATHS_HPP

#include "seamhold/plan/sequence_bound.hpp"
#include "seamhold/plan/sequence_table.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

/// What is left to do after a way, at least.
namespace seamhold::detail {

/// Shortest paths through a given number of ways, on which a task may come more than once, but not again with
/// one task between. Each task has a price that is paid each time; prices are set so that the shortest path
/// through all meets each task about once (Christofides, Mingozzi and Toth 1981, State-space relaxation
/// procedures for the computation of bounds to routing problems; prices by subgradients: Held and Karp 1971,
/// The travelling-salesman problem and minimum spanning trees, part II). The length of a path is a bound of
/// any order; only for a chain.
template <class Table> class PathBound {
public:
    /// With prices from some steps towards the takt `known`.
    PathBound(Table& table, double known, std::size_t steps)
        : table_(table), n_(table.tasks()), ways_(table.nodes().size()), prices_(n_, 0.0),
          steps_(n_ * ways_) {
        DirectTimes<Table> times(table, true);
        for (std::uint32_t i = 0; i < ways_; ++i)
            for (std::uint32_t j = 0; j < ways_; ++j)
                times_.push_back(times.may_follow(i, j) ? times.time(i, j) + table.node(j).duration
                                                        : infinity);
        set_prices(known, steps);
    }

    /// The least takt.
    double takt() const { return takt_; }

    /// A task's price, s.
    double price(std::uint32_t task) const { return prices_[task]; }

    /// The least time from the end of way i through `left` more tasks to the end, less the prices of these
    /// tasks; `done` tells which tasks are not among them.
    template <class Done> double after(std::uint32_t i, std::size_t left, Done const& done) const {
        if (left == 0)
            return 0;
        Step const& s = steps_[left * ways_ + i];
        return s.best.next != none && done(table_.node(s.best.next).task) ? s.other.length : s.best.length;
    }

private:
    static constexpr std::uint32_t none = 0xffffffffU;
    static constexpr double infinity = std::numeric_limits<double>::infinity();

    struct Way {
        double length = std::numeric_limits<double>::infinity();
        std::uint32_t next = none;
    };

    /// From one way through some more: the best, and the best of those whose next task is another.
    struct Step {
        Way best, other;
    };

    Way const& without(Step const& s, std::uint32_t task) const {
        return s.best.next != none && table_.node(s.best.next).task == task ? s.other : s.best;
    }

    void set_prices(double known, std::size_t steps) {
        takt_ = -infinity;
        std::vector<double> best = prices_;
        double share = 1;
        for (std::size_t step = 0; step < steps; ++step) {
            std::vector<double> const counts = walk();
            if (!(walked_ <= std::numeric_limits<double>::max()))
                break;
            if (walked_ > takt_) {
                takt_ = walked_;
                best = prices_;
            } else {
                share *= 0.95;
            }
            double squares = 0;
            for (double const count : counts)
                squares += (1 - count) * (1 - count);
            if (squares == 0)
                break;
            double const goal = known <= std::numeric_limits<double>::max() ? known : 1.05 * takt_;
            double const length = share * std::max(goal - walked_, 0.0) / squares;
            for (std::size_t t = 0; t < n_; ++t)
                prices_[t] += length * (1 - counts[t]);
        }
        prices_ = best;
        walk();
        takt_ = walked_;
    }

    /// Finds all paths with the present prices; returns how often the shortest through all meets each task.
    std::vector<double> walk() {
        for (std::uint32_t i = 0; i < ways_; ++i)
            steps_[i] = {{0, none}, {0, none}};
        for (std::size_t left = 1; left < n_; ++left)
            for (std::uint32_t i = 0; i < ways_; ++i)
                steps_[left * ways_ + i] = step(left, i);
        Way first;
        for (std::uint32_t i = 0; i < ways_; ++i) {
            SequenceNode const& node = table_.node(i);
            double const length =
                node.duration - prices_[node.task] + steps_[(n_ - 1) * ways_ + i].best.length;
            if (length < first.length)
                first = {length, i};
        }
        walked_ = first.length;
        for (double const price : prices_)
            walked_ += price;
        std::vector<double> counts(n_, 0.0);
        std::uint32_t before = none;
        for (std::size_t left = n_; left-- > 0 && first.next != none;) {
            std::uint32_t const i = first.next;
            counts[table_.node(i).task] += 1;
            Step const& s = steps_[left * ways_ + i];
            first = before == none ? s.best : without(s, before);
            before = table_.node(i).task;
        }
        return counts;
    }

    Step step(std::size_t left, std::uint32_t i) const {
        Step s;
        std::uint32_t const task = table_.node(i).task;
        for (std::uint32_t j = 0; j < ways_; ++j) {
            double const time = times_[i * ways_ + j];
            if (!(time <= std::numeric_limits<double>::max()))
                continue;
            std::uint32_t const to = table_.node(j).task;
            Way const& rest = without(steps_[(left - 1) * ways_ + j], task);
            Way const w{time - prices_[to] + rest.length, j};
            if (w.length < s.best.length) {
                if (s.best.next != none && table_.node(s.best.next).task != to)
                    s.other = s.best;
                s.best = w;
            } else if (w.length < s.other.length && table_.node(s.best.next).task != to) {
                s.other = w;
            }
        }
        return s;
    }

    Table const& table_;
    std::size_t n_, ways_;
    std::vector<double> prices_, times_;
    std::vector<Step> steps_; // by tasks left and way
    double walked_ = 0, takt_ = 0;
};

} // namespace seamhold::detail

#endif
