#ifndef SEAMHOLD_PLAN_SEQUENCE_HPP
#define SEAMHOLD_PLAN_SEQUENCE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/plan/sequence_bound.hpp"
#include "seamhold/plan/sequence_conflict.hpp"
#include "seamhold/plan/sequence_exact.hpp"
#include "seamhold/plan/sequence_large.hpp"
#include "seamhold/plan/sequence_problem.hpp"
#include "seamhold/plan/sequence_schedule.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <optional>
#include <vector>

/// The order of tasks and their start times: the least takt, and of these the earliest end.
namespace seamhold {

/// An order of tasks, with its start times.
struct Sequence {
    std::vector<WayRef> order;  ///< by start
    std::vector<double> starts; ///< s, of each of `order`
    double takt;                ///< from the first start to the last end, s
    double lower_bound;         ///< no order has a smaller takt, s
    bool optimal;               ///< whether the takt is proven to be the least
    bool stopped;               ///< whether `go_on` ended the search
};

/// How far a search has come.
struct SearchProgress {
    std::size_t looked_at; ///< changes of an order and partial orders
    double best_takt;      ///< s, of the best so far; infinity where there is none yet
    double lower_bound;    ///< s
};

/// How an order is sought.
struct SequenceOptions {
    std::size_t exact_up_to = 20; ///< tasks, at most 64: the best order of so many is sought and proven
    std::size_t budget =
        500000; ///< of partial orders looked at for the proof; past it the best so far is returned
    std::function<bool(SearchProgress const&)> go_on = {}; ///< asked now and then; false ends the search
    std::size_t kicks = 50; ///< attempts to leave a local optimum: each may better the order, and takes time
};

namespace detail {

template <class Table>
Sequence sequence_from(Table& table, std::vector<std::uint32_t> const& order, double bound, bool optimal,
                       bool stopped) {
    Schedule const times = ForwardPass<Table>(table).schedule(order);
    std::vector<std::size_t> by_start;
    for (std::size_t k = 0; k < order.size(); ++k)
        by_start.push_back(k);
    std::stable_sort(by_start.begin(), by_start.end(),
                     [&](std::size_t a, std::size_t b) { return times.starts[a] < times.starts[b]; });
    double const lower_bound = optimal ? times.takt : std::min(bound, times.takt);
    Sequence s{{}, {}, times.takt, lower_bound, optimal, stopped};
    for (std::size_t const k : by_start) {
        s.order.push_back(table.ref_of(order[k]));
        s.starts.push_back(times.starts[k]);
    }
    return s;
}

template <class Table> std::optional<Sequence> find_sequence(Table& table, SequenceOptions const& options) {
    SequenceBound const bound = sequence_bound(table);
    bool const exact = table.tasks() <= std::min<std::size_t>(options.exact_up_to, 64);
    auto const go_on = [&](SearchProgress const& progress) {
        return !options.go_on || options.go_on(progress);
    };
    LocalSearch<Table> local(table, bound.takt);
    local.run(exact ? std::min<std::size_t>(options.kicks, table.tasks()) : options.kicks,
              [&](std::size_t looked_at, double best) {
                  return go_on({looked_at, best, bound.takt});
              });
    bool const found = !(local.score().warp > 0);
    bool const at_bound = found && local.score().takt <= bound.takt + table.tolerance();
    if (exact && !local.stopped()) {
        ExactSearch<Least::takt, Table> search(table, bound.takt,
                                               found ? local.score() : SequenceScore::worst());
        auto const result = search.run(options.budget, [&](std::size_t looked_at, double best, double least) {
            return go_on({local.looked_at() + looked_at, best, least});
        });
        if (!found && result.order.empty())
            return std::nullopt;
        return sequence_from(table, result.order.empty() ? local.order() : result.order, result.bound,
                             result.complete || at_bound, result.stopped);
    }
    if (!found)
        return std::nullopt;
    return sequence_from(table, local.order(), bound.takt, at_bound, local.stopped());
}

} // namespace detail

/// As `sequence`, but nothing where no order was found that keeps all windows and rules: much faster than the
/// reason why. Up to `exact_up_to` tasks and within the budget there is none then; otherwise there may be
/// one.
template <class Between>
std::optional<Sequence> find_sequence(std::vector<Task> const& tasks, SequenceRules const& rules,
                                      Between const& between, SequenceOptions const& options = {}) {
    detail::check_sequence(tasks, rules);
    detail::SequenceTable<Between> table(tasks, rules, between);
    return detail::find_sequence(table, options);
}

/// An order of all tasks, each in one of its ways, and their start times, that keeps all windows and rules:
/// the least takt, and of these the earliest end. `between(WayRef from, WayRef to)` is the least time from
/// the end of one to the start of the other on one head, s, at least 0, infinite where that is impossible; it
/// is asked when first needed, and once for each pair. What is given must not change meanwhile.
///
/// Up to `exact_up_to` tasks the order is proven best within the budget; beyond, it is built and made better
/// by local search, and `lower_bound` says how much better it could be. The result is the same every time. A
/// start passes a gap by rounding at most, 1e-12 of the largest time given.
///
/// Throws `BadInput` with tasks, rule, and the smallest change that would make it possible: no tasks, a
/// window that is empty, ties that contradict each other, an order forbidden both ways, and windows that
/// exclude each other.
template <class Between>
Sequence sequence(std::vector<Task> const& tasks, SequenceRules const& rules, Between const& between,
                  SequenceOptions const& options = {}) {
    detail::check_sequence(tasks, rules);
    detail::SequenceTable<Between> table(tasks, rules, between);
    bool ended = false;
    SequenceOptions watched = options;
    if (options.go_on)
        watched.go_on = [&](SearchProgress const& progress) { return !(ended = !options.go_on(progress)); };
    if (std::optional<Sequence> const found = detail::find_sequence(table, watched))
        return *found;
    if (ended)
        throw BadInput("sequence: the search was ended before an order was found; let it go on");
    LeastLateness const late = least_lateness(tasks, rules, between, options.exact_up_to, options.budget);
    throw BadInput(detail::conflict_text(table, late));
}

} // namespace seamhold

#endif
