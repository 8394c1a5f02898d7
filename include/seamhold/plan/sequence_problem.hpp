#ifndef SEAMHOLD_PLAN_SEQUENCE_PROBLEM_HPP
#define SEAMHOLD_PLAN_SEQUENCE_PROBLEM_HPP

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

/// What is to be brought into an order: tasks, each in one of its ways, and the rules between them. Nothing
/// here knows of robots or mirrors; a task is a seam, and what lies between two tasks on one head is an air
/// move.
namespace seamhold {

/// One way of doing a task: forward or reversed, in one of several windows, with one of several heads, on one
/// of several passes.
struct TaskWay {
    double earliest;      ///< start, s; finite
    double latest;        ///< start, s; at least `earliest`. May be infinite
    double duration;      ///< s; finite, at least 0
    std::size_t head = 0; ///< that does it
};

/// A task, done once, in exactly one of its ways.
struct Task {
    std::string name;          ///< for messages
    std::vector<TaskWay> ways; ///< at least one
};

/// A tie: `then` starts not before the end of `first` and a gap.
struct TaskAfter {
    std::size_t first; ///< index of a task
    std::size_t then;  ///< index of another task
    double gap = 0;    ///< s; finite, at least 0
};

/// Two tasks that stay apart in time, whichever comes first: the later one starts not before the end of the
/// earlier one and the gap. Heat that spreads, a plume that drifts. An infinite gap forbids that order.
struct TaskApart {
    std::size_t one;        ///< index of a task
    std::size_t other;      ///< index of another task
    double gap_one_first;   ///< s, at least 0; where `one` comes first
    double gap_other_first; ///< s, at least 0; where `other` comes first
};

/// A task in one of its ways.
struct WayRef {
    std::uint32_t task; ///< index of the task
    std::uint32_t way;  ///< index among its ways

    /// Whether both are the same way of the same task.
    friend bool operator==(WayRef const& a, WayRef const& b) = default;
};

/// What holds between tasks, besides the times between two tasks of one head.
struct SequenceRules {
    std::vector<TaskAfter> afters; ///< ties to an order
    std::vector<TaskApart> aparts; ///< pairs that stay apart
    bool shared_laser = true;      ///< one task at a time over all heads; otherwise heads work side by side
    double laser_switch = 0; ///< s, from the end on one head to the start on another; of a shared laser only
};

} // namespace seamhold

#endif
