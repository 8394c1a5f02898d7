#ifndef SEAMHOLD_PLAN_SEQUENCE_TABLE_HPP
#define SEAMHOLD_PLAN_SEQUENCE_TABLE_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/plan/sequence_problem.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

/// Tasks and rules as a search looks at them.
namespace seamhold::detail {

/// A way of a task. Searches know it by its index among all ways of all tasks.
struct SequenceNode {
    double earliest;
    double latest;
    double duration;
    std::uint32_t task;
    std::uint32_t way;
    std::uint32_t head; // among the heads that occur, from 0
};

/// A rule, seen from the task that starts later: not before the end of `partner` and the gap. An infinite
/// gap: not after `partner` at all.
struct RuleEnd {
    std::uint32_t partner;
    double gap;
};

/// Times between ways that were asked for once.
class RememberedTimes {
public:
    explicit RememberedTimes(std::size_t nodes) : nodes_(nodes) {
        dense_ = nodes * nodes <= dense_up_to;
        slots_.resize(dense_ ? nodes * nodes : 4096);
    }

    /// The time between two ways; `ask()` gives it the first time.
    template <class Ask> double at(std::uint32_t from, std::uint32_t to, Ask const& ask) {
        std::uint64_t const key = from * static_cast<std::uint64_t>(nodes_) + to;
        Slot* slot = find(key);
        if (slot->key != key + 1) {
            double const time = ask();
            if (!dense_ && 2 * ++count_ > slots_.size())
                grow();
            slot = find(key);
            *slot = {key + 1, time};
        }
        return slot->time;
    }

private:
    struct Slot {
        std::uint64_t key = 0; // plus 1
        double time = 0;
    };

    static constexpr std::size_t dense_up_to = 1U << 18U;

    Slot* find(std::uint64_t key) {
        if (dense_)
            return &slots_[key];
        std::uint64_t const mask = slots_.size() - 1;
        // Multiplicative hashing by 2^64 over the golden ratio: Knuth, The Art of Computer Programming
        // 3, 6.4.
        std::uint64_t i =
            (key * 0x9e3779b97f4a7c15U) >> (64U - static_cast<unsigned>(std::countr_zero(mask + 1)));
        while (slots_[i].key != 0 && slots_[i].key != key + 1)
            i = (i + 1) & mask;
        return &slots_[i];
    }

    void grow() {
        std::vector<Slot> old(2 * slots_.size());
        old.swap(slots_);
        for (Slot const& slot : old)
            if (slot.key != 0)
                *find(slot.key - 1) = slot;
    }

    std::size_t nodes_;
    std::size_t count_ = 0;
    bool dense_;
    std::vector<Slot> slots_;
};

/// Tasks and rules, laid out flat, and the times between ways, asked for when first needed.
template <class Between> class SequenceTable {
public:
    SequenceTable(std::vector<Task> const& tasks, SequenceRules const& rules, Between const& between)
        : tasks_(tasks), rules_(rules), between_(between), ends_(tasks.size()), times_(lay_out(tasks)) {
        for (TaskAfter const& r : rules.afters) {
            ends_[r.then].push_back({static_cast<std::uint32_t>(r.first), r.gap});
            ends_[r.first].push_back(
                {static_cast<std::uint32_t>(r.then), std::numeric_limits<double>::infinity()});
        }
        for (TaskApart const& r : rules.aparts) {
            ends_[r.other].push_back({static_cast<std::uint32_t>(r.one), r.gap_one_first});
            ends_[r.one].push_back({static_cast<std::uint32_t>(r.other), r.gap_other_first});
        }
        chain_ = rules.shared_laser || heads_.size() == 1;
    }

    std::size_t tasks() const { return tasks_.size(); }
    std::size_t heads() const { return heads_.size(); }
    std::vector<SequenceNode> const& nodes() const { return nodes_; }
    SequenceNode const& node(std::uint32_t i) const { return nodes_[i]; }
    std::uint32_t first_node(std::size_t task) const { return first_[task]; }
    std::uint32_t end_node(std::size_t task) const { return first_[task + 1]; }
    std::uint32_t node_of(WayRef ref) const { return first_[ref.task] + ref.way; }
    WayRef ref_of(std::uint32_t i) const { return {nodes_[i].task, nodes_[i].way}; }

    /// The rules of a task, as it sees those that came before it.
    std::vector<RuleEnd> const& rules_of(std::size_t task) const { return ends_[task]; }

    /// Whether one task follows another, whatever their heads.
    bool chain() const { return chain_; }

    /// Where a sum of times is compared with another, they are equal within this, s: far more than the
    /// rounding of the sum of ten thousand times, far less than anything that counts.
    double tolerance() const { return tolerance_; }

    /// The least time from the end of one way to the start of another: on one head what `between` says, from
    /// one head to another the switch of the laser.
    double gap(std::uint32_t from, std::uint32_t to) {
        if (nodes_[from].head != nodes_[to].head)
            return rules_.laser_switch;
        return times_.at(from, to, [&] {
            double const time = between_(ref_of(from), ref_of(to));
            if (!(time >= 0))
                throw BadInput("sequence: the time between " + named(from) + " and " + named(to) + " is " +
                               text_of(time) + " s, it must be at least 0");
            return time;
        });
    }

    /// What an order is charged for each gap that is infinite, s: more than any lateness.
    double forbidden() const { return 1e15 * tolerance_ * static_cast<double>(tasks_.size()); }

    double laser_switch() const { return rules_.laser_switch; }
    std::vector<Task> const& given() const { return tasks_; }
    SequenceRules const& rules() const { return rules_; }

    /// A way as a message names it.
    std::string named(std::uint32_t i) const {
        Task const& task = tasks_[nodes_[i].task];
        std::string text = "'" + task.name + "'";
        if (task.ways.size() > 1)
            text += " (way " + std::to_string(nodes_[i].way) + ")";
        return text;
    }

private:
    /// Fills what follows from the tasks alone; returns the number of ways.
    std::size_t lay_out(std::vector<Task> const& tasks) {
        double scale = 0, sum = 0;
        for (Task const& task : tasks)
            for (TaskWay const& way : task.ways)
                heads_.push_back(way.head);
        std::sort(heads_.begin(), heads_.end());
        heads_.erase(std::unique(heads_.begin(), heads_.end()), heads_.end());
        for (std::size_t t = 0; t < tasks.size(); ++t) {
            first_.push_back(static_cast<std::uint32_t>(nodes_.size()));
            double longest = 0;
            for (std::size_t w = 0; w < tasks[t].ways.size(); ++w) {
                TaskWay const& way = tasks[t].ways[w];
                auto const head = std::lower_bound(heads_.begin(), heads_.end(), way.head) - heads_.begin();
                nodes_.push_back({way.earliest, way.latest, way.duration, static_cast<std::uint32_t>(t),
                                  static_cast<std::uint32_t>(w), static_cast<std::uint32_t>(head)});
                scale = std::max(scale, std::abs(way.earliest));
                if (way.latest <= std::numeric_limits<double>::max())
                    scale = std::max(scale, std::abs(way.latest));
                longest = std::max(longest, way.duration);
            }
            sum += longest;
        }
        first_.push_back(static_cast<std::uint32_t>(nodes_.size()));
        double const largest = std::max(scale, sum);
        tolerance_ = 1e-12 * (largest > 0 ? largest : 1);
        return nodes_.size();
    }

    std::vector<Task> const& tasks_;
    SequenceRules const& rules_;
    Between const& between_;
    std::vector<SequenceNode> nodes_;
    std::vector<std::uint32_t> first_;
    std::vector<std::size_t> heads_;
    std::vector<std::vector<RuleEnd>> ends_;
    bool chain_ = true;
    double tolerance_ = 0;
    RememberedTimes times_;
};

} // namespace seamhold::detail

#endif
