#ifndef SEAMHOLD_PLAN_SEQUENCE_STRETCH_HPP
#define SEAMHOLD_PLAN_SEQUENCE_STRETCH_HPP

#include "seamhold/plan/sequence_schedule.hpp"
#include "seamhold/plan/sequence_table.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

/// Pieces of a chain, summed up so that two of them join in constant time.
namespace seamhold::detail {

/// A piece of a chain. With the least warp its start may lie anywhere from `earliest` to `latest` without its
/// duration changing; the duration is the least there is, waiting included.
struct OrderPiece {
    double duration; // from its first start to its last end
    double warp;     // by how much starts must be turned back to keep windows
    double charge;   // for infinite gaps
    double earliest; // of its start
    double latest;

    static OrderPiece of(SequenceNode const& node) {
        return {node.duration, 0, 0, node.earliest, node.latest};
    }

    /// What a forward pass knows of a chain's first places.
    template <class Mark> static OrderPiece of_mark(Mark const& m) {
        double const soonest = m.end.earliest - m.end.since_first;
        return {m.score().takt, m.warp, 0, std::min(m.latest_first, soonest), m.latest_first};
    }

    SequenceScore score() const { return {warp + charge, duration, earliest + duration - warp}; }
};

/// A gap between two pieces; one that is infinite is none, and is charged for instead.
struct Link {
    double gap;
    double charge;

    template <class Table> static Link of(Table& table, std::uint32_t from, std::uint32_t to) {
        double const gap = table.gap(from, to);
        return gap <= std::numeric_limits<double>::max() ? Link{gap, 0} : Link{0, table.forbidden()};
    }
};

/// Two pieces that follow each other after a gap. Vidal, Crainic, Gendreau and Prins 2013, A hybrid genetic
/// algorithm with adaptive diversity management for a large class of vehicle routing problems with
/// time-windows, section 4.3 (from memory; held against the forward pass in the tests).
inline OrderPiece join(OrderPiece const& a, Link const& link, OrderPiece const& b) {
    double const shift = a.duration - a.warp + link.gap;
    double const wait = std::max(b.earliest - shift - a.latest, 0.0);
    double const warp = std::max(a.earliest + shift - b.latest, 0.0);
    return {a.duration + b.duration + link.gap + wait, a.warp + b.warp + warp,
            a.charge + b.charge + link.charge, std::max(b.earliest - shift, a.earliest) - wait,
            std::min(b.latest - shift, a.latest) + warp};
}

/// An order and the sums of its pieces: from the start to each place, from each place to the end, and blocks
/// of places. Rules of pairs, and a head's own last task where another head was in between, are left out:
/// what is found here is a bound of what the forward pass finds.
template <class Table> class StretchedOrder {
public:
    explicit StretchedOrder(Table& table) : table_(table), position_(table.tasks()) {}

    std::size_t size() const { return order_.size(); }
    std::vector<std::uint32_t> const& order() const { return order_; }
    std::uint32_t at(std::size_t place) const { return order_[place]; }
    std::size_t place_of(std::uint32_t task) const { return position_[task]; }

    /// Takes another order, which differs from the last one at most from `first` until before `end`.
    void assign(std::vector<std::uint32_t> const& order, std::size_t first, std::size_t end) {
        std::size_t const n = order.size();
        if (order_.size() != n) {
            first = 0;
            end = n;
            link_.resize(n);
            prefix_.resize(n + 1);
            suffix_.resize(n + 1);
            blocks_.resize(n / block + 1);
        }
        order_ = order;
        for (std::size_t k = first; k < end; ++k)
            position_[table_.node(order_[k]).task] = k;
        for (std::size_t k = std::max<std::size_t>(first, 1); k < std::min(end + 1, n); ++k)
            link_[k] = Link::of(table_, order_[k - 1], order_[k]);
        for (std::size_t k = first; k < n; ++k)
            prefix_[k + 1] = k == 0 ? one(k) : join(prefix_[k], link_[k], one(k));
        for (std::size_t k = end; k-- > 0;)
            suffix_[k] = k + 1 == n ? one(k) : join(one(k), link_[k + 1], suffix_[k + 1]);
        for (std::size_t b = first / block; b < n / block && b * block <= end; ++b) {
            blocks_[b] = one(b * block);
            for (std::size_t k = b * block + 1; k < (b + 1) * block; ++k)
                blocks_[b] = join(blocks_[b], link_[k], one(k));
        }
    }

    /// The piece of places from `from` until before `to`, at least one.
    OrderPiece range(std::size_t from, std::size_t to) const {
        if (from == 0)
            return prefix_[to];
        if (to == size())
            return suffix_[from];
        OrderPiece s = one(from);
        for (std::size_t k = from + 1; k < to;) {
            if (k % block == 0 && k + block <= to) {
                s = join(s, link_[k], blocks_[k / block]);
                k += block;
            } else {
                s = join(s, link_[k], one(k));
                ++k;
            }
        }
        return s;
    }

private:
    static constexpr std::size_t block = 16;

    OrderPiece one(std::size_t place) const { return OrderPiece::of(table_.node(order_[place])); }

    Table& table_;
    std::vector<std::uint32_t> order_;
    std::vector<std::size_t> position_;
    std::vector<Link> link_; // gap before each place
    std::vector<OrderPiece> prefix_, suffix_, blocks_;
};

} // namespace seamhold::detail

#endif
