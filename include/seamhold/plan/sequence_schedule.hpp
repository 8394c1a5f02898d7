#ifndef SEAMHOLD_PLAN_SEQUENCE_SCHEDULE_HPP
#define SEAMHOLD_PLAN_SEQUENCE_SCHEDULE_HPP

#include "seamhold/plan/sequence_check.hpp"
#include "seamhold/plan/sequence_problem.hpp"
#include "seamhold/plan/sequence_table.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
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

namespace detail {

/// A time that depends on the first start x: max(earliest, x + since_first).
struct Reached {
    double earliest;
    double since_first;

    Reached operator+(double time) const { return {earliest + time, since_first + time}; }
};

/// The later of two times.
inline Reached later(Reached const& a, Reached const& b) {
    return {std::max(a.earliest, b.earliest), std::max(a.since_first, b.since_first)};
}

/// How good an order is; less is better, and what stands first counts first.
struct SequenceScore {
    double
        warp; // s by which starts would have to be turned back to keep the windows; infinite: rules not kept
    double takt;
    double end;

    static SequenceScore worst() {
        double const infinity = std::numeric_limits<double>::infinity();
        return {infinity, infinity, infinity};
    }

    /// Whether better than another by more than the tolerance.
    bool better_than(SequenceScore const& other, double tolerance) const {
        for (auto const m : {&SequenceScore::warp, &SequenceScore::takt, &SequenceScore::end}) {
            if (this->*m < other.*m - tolerance)
                return true;
            if (!(this->*m <= other.*m + tolerance))
                return false;
        }
        return false;
    }
};

/// The forward pass over an order, with its work space.
template <class Table> class ForwardPass {
public:
    explicit ForwardPass(Table& table)
        : table_(table), last_(table.heads()), ends_(table.tasks()), placed_(table.tasks()) {}

    /// How good an order is. A start that would be too late counts as turned back to its latest: its lateness
    /// is added to the warp, and does not delay what follows.
    SequenceScore score(std::vector<std::uint32_t> const& order) {
        run<false>(order);
        double const takt = std::max(end_.since_first, end_.earliest - latest_first_);
        return {warp_, takt, end_.earliest};
    }

    /// The start times of an order whose warp is 0.
    Schedule schedule(std::vector<std::uint32_t> const& order) {
        starts_.clear();
        run<true>(order);
        Schedule s{{}, std::max(end_.since_first, end_.earliest - latest_first_), end_.earliest};
        double const first =
            std::max(starts_.front().earliest, std::min(latest_first_, end_.earliest - end_.since_first));
        for (std::size_t k = 0; k < order.size(); ++k) {
            double const start = std::max(starts_[k].earliest, first + starts_[k].since_first);
            s.starts.push_back(std::min(start, table_.node(order[k]).latest)); // of rounding alone
        }
        return s;
    }

    /// What each start of the last schedule is made of.
    std::vector<Reached> const& starts() const { return starts_; }

private:
    template <bool keep_starts> void run(std::vector<std::uint32_t> const& order) {
        std::fill(last_.begin(), last_.end(), none);
        std::fill(placed_.begin(), placed_.end(), false);
        warp_ = 0;
        latest_first_ = std::numeric_limits<double>::infinity();
        Reached first{0, 0};
        std::uint32_t before = none;
        for (std::uint32_t const i : order) {
            SequenceNode const& node = table_.node(i);
            Reached start{node.earliest, 0};
            if (before == none)
                first = end_ = start;
            else
                start = later(start, first);
            if (before != none && table_.chain() && table_.node(before).head != node.head)
                start = later(start, ends_[table_.node(before).task] + table_.laser_switch());
            if (std::uint32_t const last = last_[node.head]; last != none)
                wait(start, ends_[table_.node(last).task], table_.gap(last, i));
            for (RuleEnd const& rule : table_.rules_of(node.task))
                if (placed_[rule.partner])
                    wait(start, ends_[rule.partner], rule.gap);
            if (start.earliest > node.latest + table_.tolerance()) {
                warp_ += start.earliest - node.latest;
                start.earliest = node.latest;
            }
            latest_first_ = std::min(latest_first_, node.latest - start.since_first);
            if constexpr (keep_starts)
                starts_.push_back(start);
            ends_[node.task] = start + node.duration;
            end_ = later(end_, ends_[node.task]);
            placed_[node.task] = true;
            last_[node.head] = before = i;
        }
    }

    void wait(Reached& start, Reached const& end, double gap) {
        if (gap <= std::numeric_limits<double>::max())
            start = later(start, end + gap);
        else
            warp_ += table_.forbidden();
    }

    static constexpr std::uint32_t none = 0xffffffffU;

    Table& table_;
    std::vector<std::uint32_t> last_;
    std::vector<Reached> ends_;
    std::vector<char> placed_;
    std::vector<Reached> starts_;
    Reached end_{0, 0};
    double warp_ = 0;
    double latest_first_ = 0;
};

} // namespace detail

/// The start times of the tasks in a given order and in given ways: those of least takt, and of these the
/// earliest end; nothing where a window or a rule cannot be kept. `order` holds at least one task, and each
/// at most once; rules of tasks that are not in it are left out. `between(WayRef from, WayRef to)` is the
/// least time from the end of one to the start of the other, in s, asked for tasks that follow each other on
/// one head. A start passes a gap or a window's end by rounding at most, 1e-12 of the largest time given.
/// Throws `BadInput` as `sequence` does for tasks and rules, and for an order that is none.
///
/// With separate lasers the order says who comes first on each head and in each pair of a rule, and which
/// task starts first of all; the others need not start in the order they stand in.
///
/// All that holds is of the form: this start is not before that start plus a number. So each start is
/// max(E, x + W), with x the first start, E from the windows' earliest times, and W the work since the first
/// start, and x is at most the least of latest - W. The takt is the last end less x, and falls with x until x
/// + W is the last end.
template <class Between>
std::optional<Schedule> schedule(std::vector<Task> const& tasks, SequenceRules const& rules,
                                 Between const& between, std::vector<WayRef> const& order) {
    detail::check_sequence(tasks, rules);
    detail::check_order(tasks, order);
    detail::SequenceTable<Between> table(tasks, rules, between);
    std::vector<std::uint32_t> nodes;
    for (WayRef const& ref : order)
        nodes.push_back(table.node_of(ref));
    detail::ForwardPass pass(table);
    if (pass.score(nodes).warp > 0)
        return std::nullopt;
    return pass.schedule(nodes);
}

} // namespace seamhold

#endif
