#ifndef SEAMHOLD_PLAN_SEQUENCE_HPP
#define SEAMHOLD_PLAN_SEQUENCE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/plan/sequence_problem.hpp"
#include "seamhold/plan/sequence_schedule.hpp"

#include <cstddef>
#include <functional>
#include <vector>

/// The order of tasks and their start times: the least takt, and of these the earliest end.
namespace seamhold {

/// An order of tasks, with its start times.
struct Sequence {
    std::vector<WayRef> order;  ///< by start
    std::vector<double> starts; ///< s, of each of `order`
    double takt;                ///< from the first start to the last end, s
    double lower_bound;         ///< no order has a smaller takt, s
    bool optimal;               ///< whether no order is better, proven by a search that looked at all
    bool stopped;               ///< whether `go_on` ended the search
};

/// How far a search has come.
struct SearchProgress {
    std::size_t looked_at; ///< partial orders, or changes of an order
    double best_takt;      ///< s, of the best so far; infinity where there is none yet
    double lower_bound;    ///< s
};

/// How an order is sought.
struct SequenceOptions {
    std::size_t exact_up_to = 16; ///< tasks, for which the best order is sought and proven
    std::size_t budget =
        400000; ///< of partial orders looked at in the proof; past it the best so far is returned
    std::function<bool(SearchProgress const&)> go_on = {}; ///< asked now and then; false ends the search
};

/// An order of all tasks, each in one of its ways, and their start times, that keeps all windows and rules.
template <class Between>
Sequence sequence(std::vector<Task> const& tasks, SequenceRules const& rules, Between const& between,
                  SequenceOptions const& options = {});

} // namespace seamhold

#endif
