#ifndef SEAMHOLD_PLAN_SEQUENCE_CONFLICT_HPP
#define SEAMHOLD_PLAN_SEQUENCE_CONFLICT_HPP

#include "seamhold/plan/sequence_exact.hpp"
#include "seamhold/plan/sequence_large.hpp"
#include "seamhold/plan/sequence_problem.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

/// What stands in the way where no order keeps all windows.
namespace seamhold {

/// The order that misses its windows least.
struct LeastLateness {
    std::vector<WayRef> order;
    std::vector<double> starts; ///< s, of each of `order`, each as soon as can be
    double lateness; ///< the largest start less its latest, s; with all latest starts that much later this
                     ///< order is possible. 0 where it keeps its windows; infinite where it has a gap that
                     ///< is infinite
    bool proven;     ///< whether no order has a smaller one
    std::vector<std::size_t> chain; ///< places in `order`: what the latest of all waits for, and it last
};

namespace detail {

/// Tasks that may start as late as they like.
inline std::vector<Task> without_latest(std::vector<Task> tasks) {
    for (Task& task : tasks)
        for (TaskWay& way : task.ways)
            way.latest = std::numeric_limits<double>::infinity();
    return tasks;
}

/// Starts of an order, each as soon as can be, and what they wait for.
template <class Table> class SoonestStarts {
public:
    SoonestStarts(Table& table, std::vector<std::uint32_t> const& order) : table_(table), order_(order) {
        for (std::size_t k = 0; k < order.size(); ++k) {
            SequenceNode const& node = table.node(order[k]);
            double start = k == 0 ? node.earliest : std::max(node.earliest, starts_[0]);
            std::size_t cause = k;
            for (std::size_t p = 0; p < k; ++p) {
                double const soonest = ends_[p] + gap(p, k);
                if (soonest > start) {
                    start = soonest;
                    cause = p;
                }
            }
            starts_.push_back(start);
            ends_.push_back(start + node.duration);
            causes_.push_back(cause);
        }
    }

    std::vector<double> const& starts() const { return starts_; }

    /// The places that lead to the start at a place, and it.
    std::vector<std::size_t> chain_to(std::size_t place) const {
        std::vector<std::size_t> chain{place};
        while (causes_[chain.back()] != chain.back())
            chain.push_back(causes_[chain.back()]);
        std::reverse(chain.begin(), chain.end());
        return chain;
    }

private:
    /// The time that must lie between the end at place p and the start at place k.
    double gap(std::size_t p, std::size_t k) {
        SequenceNode const& a = table_.node(order_[p]);
        SequenceNode const& b = table_.node(order_[k]);
        double least = -std::numeric_limits<double>::infinity();
        bool next_on_head = a.head == b.head;
        for (std::size_t m = p + 1; m < k && next_on_head; ++m)
            next_on_head = table_.node(order_[m]).head != b.head;
        if (next_on_head || (table_.chain() && p + 1 == k))
            least = table_.gap(order_[p], order_[k]);
        for (RuleEnd const& rule : table_.rules_of(b.task))
            if (rule.partner == a.task)
                least = std::max(least, rule.gap);
        return least;
    }

    Table& table_;
    std::vector<std::uint32_t> const& order_;
    std::vector<double> starts_, ends_;
    std::vector<std::size_t> causes_;
};

template <class Table> LeastLateness lateness_of(Table& table, std::vector<std::uint32_t> const& order) {
    SoonestStarts<Table> const soonest(table, order);
    LeastLateness result{{}, soonest.starts(), 0, false, {}};
    for (std::size_t k = 0; k < order.size(); ++k) {
        result.order.push_back(table.ref_of(order[k]));
        bool const never = !(result.starts[k] <= std::numeric_limits<double>::max());
        double const late = never ? result.starts[k] : result.starts[k] - table.node(order[k]).latest;
        if (late > result.lateness + table.tolerance()) {
            result.lateness = late;
            result.chain = soonest.chain_to(k);
        }
    }
    return result;
}

/// A good order where all latest starts are later by some time; its lateness is counted against those given.
template <class Between>
LeastLateness lateness_with(SequenceTable<Between>& table, Between const& between, double later,
                            std::size_t kicks) {
    std::vector<Task> tasks = table.given();
    for (Task& task : tasks)
        for (TaskWay& way : task.ways)
            way.latest += later;
    SequenceTable<Between> extended(tasks, table.rules(), between);
    LocalSearch search(extended, std::numeric_limits<double>::infinity());
    search.run(kicks, [](std::size_t, double) { return true; });
    return lateness_of(table, search.order());
}

/// Tasks' names as a message shows them: the last few of a chain.
template <class Table> std::string chain_text(Table const& table, LeastLateness const& found) {
    std::string text;
    std::size_t const shown = 6, size = found.chain.size();
    for (std::size_t k = size > shown ? size - shown : 0; k < size; ++k)
        text += (text.empty() ? "" : ", then ") + table.named(table.node_of(found.order[found.chain[k]]));
    return size > shown ? "… " + text : text;
}

/// What to say where no order was found.
template <class Table> std::string conflict_text(Table& table, LeastLateness const& found) {
    std::string text = "sequence: no order keeps all windows and rules";
    if (!(found.lateness <= std::numeric_limits<double>::max())) {
        std::size_t const then = found.chain.back(), before = found.chain[found.chain.size() - 2];
        return text +
               ": every one that was found needs a time between two tasks that is infinite, such as from " +
               table.named(table.node_of(found.order[before])) + " to " +
               table.named(table.node_of(found.order[then])) + "; it must be finite";
    }
    text += ". The one that misses them least:";
    std::size_t late = 0;
    for (std::size_t k = 0; k < found.order.size(); ++k) {
        std::uint32_t const i = table.node_of(found.order[k]);
        double const latest = table.node(i).latest;
        if (found.starts[k] <= latest + table.tolerance())
            continue;
        if (++late <= 4)
            text += (late > 1 ? "; " : " ") + table.named(i) + " can start at " + text_of(found.starts[k]) +
                    " s, its latest start is " + text_of(latest) + " s";
    }
    if (late > 4)
        text += "; and " + std::to_string(late - 4) + " more";
    text += ". What leads there: " + chain_text(table, found) + ". With these latest starts " +
            text_of(found.lateness) + " s later it is possible; ";
    return text +
           (found.proven ? "no smaller extension is enough" : "no smaller extension was found to be enough");
}

} // namespace detail

/// The order that misses its windows least: the smallest time by which all latest starts would have to be
/// later. Proven for up to `exact_up_to` tasks within the budget; otherwise the least that a search found.
/// Throws `BadInput` as `sequence` does for what no order can make good.
template <class Between>
LeastLateness least_lateness(std::vector<Task> const& tasks, SequenceRules const& rules,
                             Between const& between, std::size_t exact_up_to = 20,
                             std::size_t budget = 500000) {
    detail::check_sequence(tasks, rules);
    detail::SequenceTable<Between> table(tasks, rules, between);
    std::size_t const kicks = 20;
    LeastLateness best = detail::lateness_with(table, between, 0, kicks);
    double possible = best.lateness, impossible = 0;
    for (int step = 0; step < 12 && possible <= std::numeric_limits<double>::max(); ++step) {
        if (!(possible - impossible > 1e-3 * possible))
            break;
        double const later = impossible + (possible - impossible) / 2;
        LeastLateness const found = detail::lateness_with(table, between, later, kicks);
        if (found.lateness < best.lateness)
            best = found;
        possible = std::min(possible, best.lateness);
        if (found.lateness > later)
            impossible = later;
    }
    best.proven = best.lateness <= 0;
    if (!best.proven && tasks.size() <= std::min<std::size_t>(exact_up_to, 64)) {
        detail::ExactSearch<detail::Least::lateness, detail::SequenceTable<Between>> exact(
            table, 0, {best.lateness, 0, 0});
        auto const result = exact.run(budget, [](std::size_t, double, double) { return true; });
        if (!result.order.empty())
            best = detail::lateness_of(table, result.order);
        best.proven = result.complete;
    }
    return best;
}

} // namespace seamhold

#endif
