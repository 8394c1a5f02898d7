#ifndef SEAMHOLD_PLAN_SEQUENCE_CHECK_HPP
#define SEAMHOLD_PLAN_SEQUENCE_CHECK_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/plan/sequence_problem.hpp"

#include <cstddef>
#include <limits>
#include <string>
#include <vector>

/// What can be said of tasks and rules before any order is looked at.
namespace seamhold::detail {

inline void check_way(Task const& task, std::size_t w) {
    TaskWay const& way = task.ways[w];
    std::string const where = "sequence: '" + task.name + "', way " + std::to_string(w) + ": ";
    if (!is_finite(way.earliest))
        throw BadInput(where + "its earliest start is " + text_of(way.earliest) + " s, it must be finite");
    if (!(way.latest >= way.earliest) || (!is_finite(way.latest) && !(way.latest > 0))) {
        if (!is_finite(way.latest))
            throw BadInput(where + "its latest start is " + text_of(way.latest) +
                           " s, it must be at least its earliest, " + text_of(way.earliest) + " s");
        throw BadInput(where + "its window is empty: it closes at " + text_of(way.latest) +
                       " s, before it opens at " + text_of(way.earliest) + " s; a latest start " +
                       text_of(way.earliest - way.latest) + " s later is the least that makes it possible");
    }
    if (!is_finite(way.duration) || way.duration < 0)
        throw BadInput(where + "its duration is " + text_of(way.duration) +
                       " s, it must be finite and at least 0");
}

/// A rule's two tasks and its name, for messages.
inline std::string rule_text(std::vector<Task> const& tasks, std::string const& rule, std::size_t a,
                             std::size_t b) {
    for (std::size_t const i : {a, b})
        if (i >= tasks.size())
            throw BadInput("sequence: a rule '" + rule + "' names task " + std::to_string(i) +
                           ", there are " + std::to_string(tasks.size()));
    std::string text = "sequence: '" + tasks[a].name + "' " + rule + " '" + tasks[b].name + "'";
    if (a == b)
        throw BadInput(text + ": a rule is between two tasks");
    return text;
}

/// Refuses ties that go round in a circle, by a depth-first walk along them.
class TieWalk {
public:
    TieWalk(std::vector<Task> const& tasks, SequenceRules const& rules)
        : tasks_(tasks), next_(tasks.size()), state_(tasks.size(), new_task) {
        for (TaskAfter const& r : rules.afters)
            next_[r.first].push_back(r.then);
        double const infinity = std::numeric_limits<double>::infinity();
        for (TaskApart const& r : rules.aparts) {
            if (r.gap_one_first == infinity)
                next_[r.other].push_back(r.one);
            if (r.gap_other_first == infinity)
                next_[r.one].push_back(r.other);
        }
        for (std::size_t t = 0; t < tasks.size(); ++t)
            if (state_[t] == new_task)
                walk(t);
    }

private:
    struct Step {
        std::size_t task;
        std::size_t next;
    };

    void walk(std::size_t start) {
        std::vector<Step> path{{start, 0}};
        state_[start] = on_path;
        while (!path.empty()) {
            Step& step = path.back();
            if (step.next == next_[step.task].size()) {
                state_[step.task] = done;
                path.pop_back();
                continue;
            }
            std::size_t const then = next_[step.task][step.next++];
            if (state_[then] == on_path)
                refuse(path, then);
            if (state_[then] == new_task) {
                state_[then] = on_path;
                path.push_back({then, 0});
            }
        }
    }

    [[noreturn]] void refuse(std::vector<Step> const& path, std::size_t again) const {
        std::string circle;
        bool inside = false;
        for (Step const& step : path) {
            inside = inside || step.task == again;
            if (inside)
                circle += "'" + tasks_[step.task].name + "' before ";
        }
        throw BadInput("sequence: the order contradicts itself: " + circle + "'" + tasks_[again].name +
                       "'; without one of these ties it is possible");
    }

    static constexpr char new_task = 0, on_path = 1, done = 2;

    std::vector<Task> const& tasks_;
    std::vector<std::vector<std::size_t>> next_;
    std::vector<char> state_;
};

/// Throws `BadInput` for what no order can make good.
inline void check_sequence(std::vector<Task> const& tasks, SequenceRules const& rules) {
    if (tasks.empty())
        throw BadInput("sequence: there are no tasks; at least one is needed");
    for (Task const& task : tasks) {
        if (task.ways.empty())
            throw BadInput("sequence: '" + task.name + "' has no way to be done; at least one is needed");
        for (std::size_t w = 0; w < task.ways.size(); ++w)
            check_way(task, w);
    }
    if (!is_finite(rules.laser_switch) || rules.laser_switch < 0)
        throw BadInput("sequence: the switch of the laser takes " + text_of(rules.laser_switch) +
                       " s, it must be finite and at least 0");
    for (TaskAfter const& r : rules.afters) {
        std::string const text = rule_text(tasks, "before", r.first, r.then);
        if (!is_finite(r.gap) || r.gap < 0)
            throw BadInput(text + ": a gap of " + text_of(r.gap) + " s, it must be finite and at least 0");
    }
    for (TaskApart const& r : rules.aparts) {
        std::string const text = rule_text(tasks, "apart from", r.one, r.other);
        for (double const gap : {r.gap_one_first, r.gap_other_first})
            if (!(gap >= 0))
                throw BadInput(text + ": a gap of " + text_of(gap) + " s, it must be at least 0");
        if (!is_finite(r.gap_one_first) && !is_finite(r.gap_other_first))
            throw BadInput(text +
                           ": the order is forbidden both ways; with one of the gaps finite it is possible");
    }
    TieWalk const walk(tasks, rules);
}

/// Throws `BadInput` for an order that names no task, one that is not there, or one twice.
inline void check_order(std::vector<Task> const& tasks, std::vector<WayRef> const& order) {
    if (order.empty())
        throw BadInput("schedule: an order of no tasks; at least one is needed");
    std::vector<char> seen(tasks.size());
    for (WayRef const& ref : order) {
        if (ref.task >= tasks.size() || ref.way >= tasks[ref.task].ways.size())
            throw BadInput("schedule: the order names way " + std::to_string(ref.way) + " of task " +
                           std::to_string(ref.task) + ", which is not there");
        if (seen[ref.task] != 0)
            throw BadInput("schedule: the order names '" + tasks[ref.task].name + "' twice");
        seen[ref.task] = 1;
    }
}

} // namespace seamhold::detail

#endif
