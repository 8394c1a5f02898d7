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

/// The forward pass over an order, with its work space. An order that was kept serves those that differ from
/// it in a few places: their pass starts where they differ.
template <class Table> class ForwardPass {
public:
    /// What is known before a place of an order.
    struct Mark {
        Reached first{0, 0};
        Reached end{0, 0};
        double warp = 0;
        double latest_first = std::numeric_limits<double>::infinity();
        std::uint32_t before = none; // the way before

        SequenceScore score() const {
            return {warp, std::max(end.since_first, end.earliest - latest_first), end.earliest};
        }
    };

    explicit ForwardPass(Table& table)
        : table_(table), last_(table.heads()), ends_(table.tasks()), new_ends_(table.tasks()),
          places_(table.tasks()), runs_(table.tasks()) {}

    /// How good an order is. A start that would be too late counts as turned back to its latest: its lateness
    /// is added to the warp, and does not delay what follows.
    SequenceScore score(std::vector<std::uint32_t> const& order) {
        return run(order, 0, [](std::size_t, Mark const&) { return false; });
    }

    /// How good an order is that equals the kept one before a place. `hopeless(place, mark)` may end the
    /// pass; the score is the worst then.
    template <class Hopeless>
    SequenceScore score(std::vector<std::uint32_t> const& order, std::size_t first,
                        Hopeless const& hopeless) {
        return run(order, first, hopeless);
    }

    /// Keeps an order that equals the kept one before a place.
    void keep(std::vector<std::uint32_t> const& order, std::size_t first) {
        marks_.resize(order.size() + 1);
        last_marks_.resize(marks_.size() * last_.size());
        run(order, first, [&](std::size_t place, Mark const& mark) {
            marks_[place] = mark;
            std::copy(last_.begin(), last_.end(), last_marks_.begin() + offset(place));
            return false;
        });
        for (std::size_t k = first; k < order.size(); ++k) {
            std::uint32_t const task = table_.node(order[k]).task;
            ends_[task] = new_ends_[task];
            places_[task] = k;
        }
    }

    /// Whether nothing is better than in the kept order, before a place from which on both are the same.
    bool no_better_than_kept(std::size_t place, Mark const& mark) const {
        Mark const& kept = marks_[place];
        double const tolerance = table_.tolerance();
        auto const earlier = [&](Reached const& a, Reached const& b) {
            return a.earliest < b.earliest - tolerance || a.since_first < b.since_first - tolerance;
        };
        if (helps_ || mark.warp < kept.warp - tolerance ||
            mark.latest_first > kept.latest_first + tolerance || earlier(mark.end, kept.end) ||
            mark.first.earliest < kept.first.earliest - tolerance)
            return false;
        for (std::size_t h = 0; h < last_.size(); ++h) {
            std::uint32_t const now = last_[h], then = last_marks_[place * last_.size() + h];
            if (now != then ||
                (now != none && earlier(end_of(table_.node(now).task), ends_[table_.node(then).task])))
                return false;
        }
        return true;
    }

    /// The start times of an order whose warp is 0.
    Schedule schedule(std::vector<std::uint32_t> const& order) {
        starts_.clear();
        score(order);
        SequenceScore const s = now_.score();
        Schedule result{{}, s.takt, s.end};
        double const first =
            std::max(starts_.front().earliest, std::min(now_.latest_first, s.end - now_.end.since_first));
        for (std::size_t k = 0; k < order.size(); ++k) {
            double const start = std::max(starts_[k].earliest, first + starts_[k].since_first);
            result.starts.push_back(std::min(start, table_.node(order[k]).latest)); // of rounding alone
        }
        return result;
    }

private:
    static constexpr std::uint32_t none = 0xffffffffU;

    template <class Hopeless>
    SequenceScore run(std::vector<std::uint32_t> const& order, std::size_t first, Hopeless const& hopeless) {
        ++run_;
        first_ = first;
        helps_ = false;
        starts_.clear();
        now_ = first == 0 ? Mark{} : marks_[first];
        if (first == 0)
            std::fill(last_.begin(), last_.end(), none);
        else
            std::copy_n(last_marks_.begin() + offset(first), last_.size(), last_.begin());
        for (std::size_t k = first; k < order.size(); ++k) {
            if (hopeless(k, now_))
                return SequenceScore::worst();
            place(order[k]);
        }
        return now_.score();
    }

    void place(std::uint32_t i) {
        SequenceNode const& node = table_.node(i);
        Reached start{node.earliest, 0};
        if (now_.before == none)
            now_.first = now_.end = start;
        else if (!table_.chain())
            start = later(start, now_.first);
        if (now_.before != none && table_.chain() && table_.node(now_.before).head != node.head)
            start = later(start, end_of(table_.node(now_.before).task) + table_.laser_switch());
        if (std::uint32_t const last = last_[node.head]; last != none)
            start = waited(start, end_of(table_.node(last).task), table_.gap(last, i));
        for (RuleEnd const& rule : table_.rules_of(node.task))
            if (placed(rule.partner))
                start = waited(start, end_of(rule.partner), rule.gap);
        if (start.earliest > node.latest + table_.tolerance()) {
            now_.warp += start.earliest - node.latest;
            start.earliest = node.latest;
        }
        now_.latest_first = std::min(now_.latest_first, node.latest - start.since_first);
        starts_.push_back(start);
        Reached const end = start + node.duration;
        if (!table_.rules_of(node.task).empty())
            helps_ = helps_ || end.earliest < ends_[node.task].earliest ||
                     end.since_first < ends_[node.task].since_first;
        now_.end = later(now_.end, end);
        new_ends_[node.task] = end;
        runs_[node.task] = run_;
        last_[node.head] = now_.before = i;
    }

    /// Whether a task was placed, in this pass or in the part of the kept order that it shares.
    bool placed(std::uint32_t task) const {
        return runs_[task] == run_ || (first_ > 0 && places_[task] < first_);
    }

    Reached const& end_of(std::uint32_t task) const {
        return runs_[task] == run_ ? new_ends_[task] : ends_[task];
    }

    Reached waited(Reached const& start, Reached const& end, double gap) {
        if (gap <= std::numeric_limits<double>::max())
            return later(start, end + gap);
        now_.warp += table_.forbidden();
        return start;
    }

    std::ptrdiff_t offset(std::size_t place) const {
        return static_cast<std::ptrdiff_t>(place * last_.size());
    }

    Table& table_;
    std::vector<std::uint32_t> last_;
    std::vector<Reached> ends_, new_ends_;   // by task, of the kept order and of this pass
    std::vector<std::size_t> places_, runs_; // by task: in the kept order; the pass that placed it last
    std::vector<Reached> starts_;
    std::vector<Mark> marks_;
    std::vector<std::uint32_t> last_marks_;
    Mark now_;
    std::size_t run_ = 0, first_ = 0;
    bool helps_ = false; // whether a task that a rule binds ends sooner than in the kept order
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
    nodes.reserve(order.size());
    for (WayRef const& ref : order)
        nodes.push_back(table.node_of(ref));
    detail::ForwardPass pass(table);
    if (pass.score(nodes).warp > 0)
        return std::nullopt;
    return pass.schedule(nodes);
}

} // namespace seamhold

#endif
