#ifndef SEAMHOLD_PLAN_SEQUENCE_SCHEDULE_HPP
#define SEAMHOLD_PLAN_SEQUENCE_SCHEDULE_HPP

#include "seamhold/plan/sequence_problem.hpp"

#include <optional>
#include <vector>

/// The start times of a given order: a forward pass.
namespace seamhold {

/// The start times of an order.
struct Schedule {
    std::vector<double> starts; ///< s, of each task of the order
    double takt;                ///< from the first start to the last end, s; the least for this order
    double end;                 ///< the last end, s; the least for this order, with this takt
};

/// The start times of the tasks in a given order and in given ways: those of least takt, and of these the
/// earliest end; nothing where a window or a rule cannot be kept. `order` holds every task at most once;
/// rules of tasks that are not in it are left out. `between(WayRef from, WayRef to)` is the least time from
/// the end of one to the start of the other, in s, asked for tasks that follow each other on one head.
///
/// With separate lasers the order says who comes first on each head and in each pair of a rule, and which
/// task starts first of all; the others need not start in the order they stand in.
///
/// All that holds is of the form: this start is not before that start plus a number. So each start is max(E,
/// x + W), with x the first start, E from the windows' earliest times, and W the work since the first start,
/// and x is at most the least of latest - W. The takt is the last end less x, and falls with x until x + W is
/// the last end.
template <class Between>
std::optional<Schedule> schedule(std::vector<Task> const& tasks, SequenceRules const& rules,
                                 Between const& between, std::vector<WayRef> const& order);

} // namespace seamhold

#endif
