#ifndef SEAMHOLD_PLAN_SEQUENCE_NEIGHBOURS_HPP
#define SEAMHOLD_PLAN_SEQUENCE_NEIGHBOURS_HPP

#include "seamhold/plan/sequence_table.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

/// Which ways may well follow which, and a first order built from them.
namespace seamhold::detail {

/// For each way the ways that may follow it with the least time lost.
template <class Table> class Neighbours {
public:
    /// Up to `count` for each way, from those up to `looked_at` that are nearest in time.
    Neighbours(Table& table, std::size_t count, std::size_t looked_at)
        : table_(table), lists_(table.nodes().size()) {
        std::vector<std::uint32_t> by_middle;
        for (std::uint32_t i = 0; i < lists_.size(); ++i)
            by_middle.push_back(i);
        std::stable_sort(by_middle.begin(), by_middle.end(),
                         [&](std::uint32_t a, std::uint32_t b) { return middle(a) < middle(b); });
        for (std::size_t k = 0; k < by_middle.size(); ++k)
            fill(by_middle, k, count, looked_at);
    }

    /// The ways that may follow a way, best first.
    std::vector<std::uint32_t> const& of(std::uint32_t i) const { return lists_[i]; }

    /// The middle of a way's window; its start where the window never closes.
    double middle(std::uint32_t i) const {
        SequenceNode const& node = table_.node(i);
        bool const closes = node.latest <= std::numeric_limits<double>::max();
        return closes ? node.earliest + (node.latest - node.earliest) / 2 : node.earliest;
    }

private:
    struct Candidate {
        double lost;
        std::uint32_t node;
    };

    void fill(std::vector<std::uint32_t> const& by_middle, std::size_t k, std::size_t count,
              std::size_t looked_at) {
        std::vector<Candidate> best;
        std::uint32_t const i = by_middle[k];
        SequenceNode const& a = table_.node(i);
        auto const look = [&](std::uint32_t j) {
            SequenceNode const& b = table_.node(j);
            if (a.task == b.task || (!table_.chain() && a.head != b.head) ||
                !(a.earliest + a.duration <= b.latest))
                return;
            // Among ways that lose as much, the one that is nearer in time: a hundredth of the distance
            // counts.
            double const far = std::abs(middle(j) - middle(i)) / 100;
            double const idle = b.earliest - a.latest - a.duration;
            if (best.size() == count && std::max(idle, 0.0) + far >= best.back().lost)
                return;
            double const gap = table_.gap(i, j);
            if (!(a.earliest + a.duration + gap <= b.latest))
                return;
            Candidate const c{std::max(idle, gap) + far, j};
            if (best.size() == count) {
                if (c.lost >= best.back().lost)
                    return;
                best.pop_back();
            }
            best.insert(
                std::upper_bound(best.begin(), best.end(), c,
                                 [](Candidate const& x, Candidate const& y) { return x.lost < y.lost; }),
                c);
        };
        for (std::size_t step = 1; step <= looked_at / 2; ++step) {
            if (k >= step)
                look(by_middle[k - step]);
            if (k + step < by_middle.size())
                look(by_middle[k + step]);
            if (k < step && k + step >= by_middle.size())
                break;
        }
        for (Candidate const& c : best)
            lists_[i].push_back(c.node);
    }

    Table& table_;
    std::vector<std::vector<std::uint32_t>> lists_;
};

/// Builds an order from its start: always the way next that starts soonest, where slack until its latest
/// start counts with a weight.
template <class Table> class OrderBuilder {
public:
    OrderBuilder(Table& table, Neighbours<Table> const& neighbours) : table_(table), neighbours_(neighbours) {
        for (std::uint32_t t = 0; t < table.tasks(); ++t)
            by_middle_.push_back(t);
        for (std::uint32_t t : by_middle_)
            horizon_ += table.node(table.first_node(t)).duration;
        std::vector<double> middle(table.tasks());
        for (std::uint32_t t : by_middle_) {
            middle[t] = std::numeric_limits<double>::infinity();
            for (std::uint32_t i = table.first_node(t); i < table.end_node(t); ++i)
                middle[t] = std::min(middle[t], neighbours.middle(i));
        }
        std::stable_sort(by_middle_.begin(), by_middle_.end(),
                         [&](std::uint32_t a, std::uint32_t b) { return middle[a] < middle[b]; });
    }

    std::vector<std::uint32_t> build(double slack_weight) {
        std::size_t const n = table_.tasks();
        ends_.assign(n, 0);
        placed_.assign(n, 0);
        waits_for_.assign(n, 0);
        last_.assign(table_.heads(), none);
        for (std::uint32_t t = 0; t < n; ++t)
            for (RuleEnd const& rule : table_.rules_of(t))
                if (!(rule.gap <= std::numeric_limits<double>::max()))
                    ++waits_for_[rule.partner];
        std::vector<std::uint32_t> order;
        std::size_t open = 0; // the first in by_middle_ that is not placed
        while (order.size() < n) {
            best_ = none;
            best_value_ = std::numeric_limits<double>::infinity();
            for (std::uint32_t const last : last_)
                if (last != none)
                    for (std::uint32_t const j : neighbours_.of(last))
                        look(order, j, slack_weight);
            while (placed_[by_middle_[open]] != 0)
                ++open;
            std::size_t seen = 0;
            for (std::size_t k = open; k < n && (seen < 8 || best_ == none); ++k) {
                std::uint32_t const t = by_middle_[k];
                if (placed_[t] != 0)
                    continue;
                ++seen;
                for (std::uint32_t i = table_.first_node(t); i < table_.end_node(t); ++i)
                    look(order, i, slack_weight);
            }
            place(order, best_);
        }
        return order;
    }

private:
    static constexpr std::uint32_t none = 0xffffffffU;

    double start_of(std::vector<std::uint32_t> const& order, std::uint32_t i) {
        SequenceNode const& node = table_.node(i);
        double start = node.earliest;
        if (!order.empty() && table_.chain())
            start = std::max(start, ends_[table_.node(order.back()).task] + table_.gap(order.back(), i));
        if (std::uint32_t const last = last_[node.head]; last != none)
            start = std::max(start, ends_[table_.node(last).task] + table_.gap(last, i));
        for (RuleEnd const& rule : table_.rules_of(node.task))
            if (placed_[rule.partner] != 0)
                start = std::max(start, ends_[rule.partner] + rule.gap);
        return start;
    }

    void look(std::vector<std::uint32_t> const& order, std::uint32_t i, double slack_weight) {
        SequenceNode const& node = table_.node(i);
        if (placed_[node.task] != 0 || waits_for_[node.task] != 0)
            return;
        double const start = std::min(start_of(order, i), std::numeric_limits<double>::max());
        double const slack = std::max(0.0, std::min(node.latest - start, horizon_));
        double const value = start + slack_weight * slack;
        if (best_ == none || value < best_value_) {
            best_ = i;
            best_value_ = value;
        }
    }

    void place(std::vector<std::uint32_t>& order, std::uint32_t i) {
        SequenceNode const& node = table_.node(i);
        double const start = start_of(order, i);
        ends_[node.task] = std::min({start, std::max(node.latest, node.earliest)}) + node.duration;
        placed_[node.task] = 1;
        last_[node.head] = i;
        order.push_back(i);
        for (RuleEnd const& rule : table_.rules_of(node.task))
            if (!(rule.gap <= std::numeric_limits<double>::max()))
                --waits_for_[rule.partner];
    }

    Table& table_;
    Neighbours<Table> const& neighbours_;
    std::vector<std::uint32_t> by_middle_;
    double horizon_ = 0; // slack beyond this, all work, is as good as this
    std::vector<double> ends_;
    std::vector<char> placed_;
    std::vector<std::size_t> waits_for_;
    std::vector<std::uint32_t> last_;
    std::uint32_t best_ = none;
    double best_value_ = 0;
};

} // namespace seamhold::detail

#endif
