#ifndef SEAMHOLD_PLAN_SEQUENCE_LARGE_HPP
#define SEAMHOLD_PLAN_SEQUENCE_LARGE_HPP

#include "seamhold/plan/sequence_neighbours.hpp"
#include "seamhold/plan/sequence_schedule.hpp"
#include "seamhold/plan/sequence_stretch.hpp"
#include "seamhold/plan/sequence_table.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <initializer_list>
#include <vector>

/// A good order of many tasks: built, then changed as long as that makes it better, then kicked and mended.
namespace seamhold::detail {

/// Local search over orders. A change moves up to three tasks elsewhere, swaps two, turns a piece round with
/// the ways that suit it best, or takes another way of a task; only changes that bring two ways together that
/// may well follow each other are looked at. A change is first judged by joining the sums of unchanged
/// pieces, which costs the length of what changed, and taken only if the forward pass over the whole order
/// confirms it. With separate lasers the sums do not hold, and the forward pass alone judges.
///
/// Everything is in a fixed sequence; the random numbers are the same every time.
template <class Table> class LocalSearch {
public:
    /// `bound`: a takt that no order undercuts; the search ends there.
    LocalSearch(Table& table, double bound)
        : table_(table), bound_(bound), neighbours_(table, followers, near_in_time(table)), pass_(table),
          stretched_(table), waits_(table.tasks()) {}

    /// Searches, with `kicks` attempts to leave a local optimum; `go_on(looked at, best takt)` may end it.
    template <class GoOn> void run(std::size_t kicks, GoOn const& go_on) {
        start();
        improve(go_on);
        best_ = stretched_.order();
        best_score_ = score_;
        for (std::size_t k = 0; k < kicks && !stopped_ && !at_bound() && n() > 3; ++k) {
            kick();
            improve(go_on);
            if (score_.better_than(best_score_, table_.tolerance())) {
                best_ = stretched_.order();
                best_score_ = score_;
            } else if (best_score_.better_than(score_, table_.tolerance())) {
                take(best_, {0, n()}, best_score_);
            }
        }
    }

    std::vector<std::uint32_t> const& order() const { return stretched_.order(); }
    SequenceScore const& score() const { return score_; }
    bool stopped() const { return stopped_; }
    std::size_t looked_at() const { return looked_at_; }

private:
    static constexpr std::size_t followers = 10;    // looked at for each way
    static constexpr std::size_t longest_turn = 50; // of a piece that is turned round
    static constexpr std::size_t poll_every = 64;

    /// Places that differ: from `first` until before `end`.
    struct Change {
        std::size_t first;
        std::size_t end;
    };

    /// A part of a changed order: places of the order as it is, or new ways in `given_`.
    struct Part {
        bool given;
        std::size_t from;
        std::size_t to;
    };

    static std::size_t near_in_time(Table const& table) {
        std::size_t const pairs = 500000;
        return std::max<std::size_t>(60, pairs / table.nodes().size());
    }

    bool at_bound() const { return !(score_.warp > 0) && score_.takt <= bound_ + table_.tolerance(); }

    /// The best takt so far; infinite where no order keeps all windows and rules.
    double best_takt() const {
        double takt = SequenceScore::worst().takt;
        for (SequenceScore const& score : {best_score_, score_})
            if (!(score.warp > 0))
                takt = std::min(takt, score.takt);
        return takt;
    }

    /// The best of a few orders that are built.
    void start() {
        OrderBuilder<Table> builder(table_, neighbours_);
        std::vector<std::uint32_t> best;
        SequenceScore best_score = SequenceScore::worst();
        for (double const weight : {0.0, 0.02, 0.1, 0.4, 1.0}) {
            auto const order = builder.build(weight);
            SequenceScore const score = pass_.score(order);
            if (best.empty() || score.better_than(best_score, table_.tolerance())) {
                best = order;
                best_score = score;
            }
        }
        take(best, {0, best.size()}, best_score);
        for (std::uint32_t const i : best)
            wake(table_.node(i).task);
    }

    void wake(std::uint32_t task) {
        if (waits_[task] == 0) {
            waits_[task] = 1;
            queue_.push_back(task);
        }
    }

    /// Takes an order that differs at most in some places.
    void take(std::vector<std::uint32_t> const& order, Change const& change, SequenceScore const& score) {
        stretched_.assign(order, change.first, change.end);
        pass_.keep(order, change.first);
        score_ = score;
    }

    /// Changes the order as long as it gets better.
    template <class GoOn> void improve(GoOn const& go_on) {
        for (std::size_t k = 0; k < queue_.size(); ++k) {
            if (k % poll_every == 0 && !go_on(looked_at_, best_takt()))
                stopped_ = true;
            if (stopped_)
                break;
            std::uint32_t const task = queue_[k];
            waits_[task] = 0;
            while (improve(task) && !at_bound()) {
            }
        }
        for (std::uint32_t const task : queue_)
            waits_[task] = 0;
        queue_.clear();
    }

    /// Whether a change near a task made the order better.
    bool improve(std::uint32_t task) {
        std::size_t const p = stretched_.place_of(task);
        std::uint32_t const here = stretched_.at(p);
        for (std::uint32_t i = table_.first_node(task); i < table_.end_node(task); ++i)
            if (i != here && other_way(p, i))
                return true;
        for (std::uint32_t const j : neighbours_.of(here)) {
            std::size_t const q = stretched_.place_of(table_.node(j).task);
            if (q == p + 1 && stretched_.at(q) == j)
                continue;
            for (std::size_t length = 1; length <= 3; ++length)
                if (bring_here(p, q, j, length) || go_there(p, q, j, length))
                    return true;
            if (turn(p, q, j) || swap(p, q, j))
                return true;
        }
        return false;
    }

    bool other_way(std::size_t p, std::uint32_t way) {
        given_.assign(1, way);
        return attempt({{false, 0, p}, {true, 0, 1}, {false, p + 1, n()}});
    }

    /// Moves the tasks from place q on behind place p, the first of them in the way j.
    bool bring_here(std::size_t p, std::size_t q, std::uint32_t j, std::size_t length) {
        if (q + length > n() || (q <= p && p < q + length))
            return false;
        given_.assign(1, j);
        for (std::size_t k = 1; k < length; ++k)
            given_.push_back(stretched_.at(q + k));
        if (q > p)
            return attempt(
                {{false, 0, p + 1}, {true, 0, length}, {false, p + 1, q}, {false, q + length, n()}});
        return attempt({{false, 0, q}, {false, q + length, p + 1}, {true, 0, length}, {false, p + 1, n()}});
    }

    /// Moves the tasks up to place p before place q, whose task takes the way j.
    bool go_there(std::size_t p, std::size_t q, std::uint32_t j, std::size_t length) {
        if (p + 1 < length || (q <= p && p < q + length))
            return false;
        std::size_t const first = p + 1 - length;
        given_.clear();
        for (std::size_t k = first; k <= p; ++k)
            given_.push_back(stretched_.at(k));
        given_.push_back(j);
        if (q > p)
            return attempt(
                {{false, 0, first}, {false, p + 1, q}, {true, 0, length + 1}, {false, q + 1, n()}});
        return attempt({{false, 0, q}, {true, 0, length + 1}, {false, q + 1, first}, {false, p + 1, n()}});
    }

    /// Turns the piece behind p round, so that j comes next; every task takes the way that ends soonest.
    bool turn(std::size_t p, std::size_t q, std::uint32_t j) {
        if (q < p + 2 || q > p + longest_turn)
            return false;
        given_.assign(1, j);
        OrderPiece sum = join(stretched_.range(0, p + 1), Link::of(table_, stretched_.at(p), j),
                              OrderPiece::of(table_.node(j)));
        for (std::size_t k = q; k-- > p + 1;) {
            std::uint32_t const task = table_.node(stretched_.at(k)).task;
            std::uint32_t best = table_.first_node(task);
            OrderPiece best_sum{};
            for (std::uint32_t i = best; i < table_.end_node(task); ++i) {
                OrderPiece const s =
                    join(sum, Link::of(table_, given_.back(), i), OrderPiece::of(table_.node(i)));
                if (i == table_.first_node(task) ||
                    s.score().better_than(best_sum.score(), table_.tolerance())) {
                    best = i;
                    best_sum = s;
                }
            }
            if (table_.chain() && best_sum.score().warp > score_.warp + table_.tolerance())
                return false;
            given_.push_back(best);
            sum = best_sum;
        }
        return attempt({{false, 0, p + 1}, {true, 0, given_.size()}, {false, q + 1, n()}});
    }

    /// Swaps the task behind p and that at place q, which takes the way j.
    bool swap(std::size_t p, std::size_t q, std::uint32_t j) {
        if (p + 1 == n() || q == p + 1 || q == p)
            return false;
        given_.assign({j, stretched_.at(p + 1)});
        if (q > p)
            return attempt(
                {{false, 0, p + 1}, {true, 0, 1}, {false, p + 2, q}, {true, 1, 2}, {false, q + 1, n()}});
        return attempt(
            {{false, 0, q}, {true, 1, 2}, {false, q + 1, p + 1}, {true, 0, 1}, {false, p + 2, n()}});
    }

    /// Takes the order that is put together from parts if it is better.
    bool attempt(std::initializer_list<Part> parts) {
        ++looked_at_;
        if (table_.chain() && !sum_of(parts).better_than(score_, table_.tolerance()))
            return false;
        candidate_.clear();
        for (Part const& part : parts) {
            auto const& from = part.given ? given_ : stretched_.order();
            candidate_.insert(candidate_.end(), from.begin() + static_cast<std::ptrdiff_t>(part.from),
                              from.begin() + static_cast<std::ptrdiff_t>(part.to));
        }
        std::size_t const first = parts.begin()->to, end = (parts.end() - 1)->from;
        auto const hopeless = [&](std::size_t place, auto const& mark) {
            return is_hopeless(place, end, mark);
        };
        SequenceScore const score = pass_.score(candidate_, first, hopeless);
        if (!score.better_than(score_, table_.tolerance()))
            return false;
        take(candidate_, {first, end}, score);
        wake_around(first, end);
        return true;
    }

    /// Whether a forward pass that is past a change can end, as the rest, which is as it was, cannot make it
    /// better.
    template <class Mark>
    bool is_hopeless(std::size_t place, std::size_t change_end, Mark const& mark) const {
        std::size_t const past = place - std::min(place, change_end);
        if (place < change_end || place == 0 || (past > 8 && past % 16 != 0))
            return false;
        if (!table_.chain())
            return pass_.no_better_than_kept(place, mark);
        OrderPiece const done = OrderPiece::of_mark(mark);
        Link const link = Link::of(table_, mark.before, stretched_.at(place));
        return !join(done, link, stretched_.range(place, n()))
                    .score()
                    .better_than(score_, table_.tolerance());
    }

    /// Wakes the tasks at the ends of a change and around them.
    void wake_around(std::size_t first, std::size_t end) {
        for (std::size_t const k : {first, end}) {
            std::size_t const low = k < 3 ? 0 : k - 3;
            for (std::size_t i = low; i < std::min(k + 3, n()); ++i)
                wake(table_.node(stretched_.at(i)).task);
        }
    }

    SequenceScore sum_of(std::initializer_list<Part> parts) const {
        OrderPiece sum{};
        std::uint32_t last = none;
        auto const add = [&](std::uint32_t front, std::uint32_t back, OrderPiece const& s) {
            sum = last == none ? s : join(sum, Link::of(table_, last, front), s);
            last = back;
        };
        for (Part const& part : parts) {
            if (part.given) {
                for (std::size_t k = part.from; k < part.to; ++k)
                    add(given_[k], given_[k], OrderPiece::of(table_.node(given_[k])));
            } else if (part.from < part.to) {
                add(stretched_.at(part.from), stretched_.at(part.to - 1),
                    stretched_.range(part.from, part.to));
            }
        }
        return sum.score();
    }

    /// Exchanges two neighbouring pieces somewhere.
    void kick() {
        std::size_t const most = std::min<std::size_t>(8, n() / 3);
        std::size_t const left = 1 + random(most), right = 1 + random(most);
        std::size_t const a = random(n() - left - right + 1), b = a + left, c = b + right;
        candidate_ = stretched_.order();
        auto const place = [&](std::size_t k) { return candidate_.begin() + static_cast<std::ptrdiff_t>(k); };
        std::rotate(place(a), place(b), place(c));
        take(candidate_, {a, c}, pass_.score(candidate_));
        wake_around(a, c);
        wake_around(a + right, a + right);
    }

    /// The next of a fixed row of numbers below a limit (Steele, Lea and Flood 2014, Fast splittable
    /// pseudorandom number generators).
    std::size_t random(std::size_t limit) {
        random_ += 0x9e3779b97f4a7c15U;
        std::uint64_t z = random_;
        z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
        z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
        return static_cast<std::size_t>((z ^ (z >> 31U)) % limit);
    }

    std::size_t n() const { return stretched_.size(); }

    static constexpr std::uint32_t none = 0xffffffffU;

    Table& table_;
    double bound_;
    Neighbours<Table> neighbours_;
    ForwardPass<Table> pass_;
    StretchedOrder<Table> stretched_;
    std::vector<char> waits_;
    std::vector<std::uint32_t> queue_, given_, candidate_;
    SequenceScore score_ = SequenceScore::worst();
    std::vector<std::uint32_t> best_;
    SequenceScore best_score_ = SequenceScore::worst();
    std::size_t looked_at_ = 0;
    std::uint64_t random_ = 0;
    bool stopped_ = false;
};

} // namespace seamhold::detail

#endif
