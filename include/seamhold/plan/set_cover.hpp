#ifndef SEAMHOLD_PLAN_SET_COVER_HPP
#define SEAMHOLD_PLAN_SET_COVER_HPP

#include "seamhold/number/bad_input.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <utility>
#include <vector>

/// The fewest of given sets that together have every element.
namespace seamhold {

/// A choice of sets.
struct SetCover {
    std::vector<std::size_t> chosen; ///< indices of sets, increasing; together they have every element
    std::size_t lower_bound;         ///< no choice has fewer
    bool proven;                     ///< whether no choice has fewer than this one
    std::size_t looked_at;           ///< partial choices
};

/// A set of whole numbers below a fixed count, a bit each.
class Bits {
public:
    /// Empty, for numbers below `count`.
    explicit Bits(std::size_t count) : words_((count + 63) / 64) {}

    /// Whether it has a number.
    bool has(std::size_t i) const { return (words_[i / 64] >> (i % 64) & 1U) != 0; }

    /// Adds a number.
    void add(std::size_t i) { words_[i / 64] |= std::uint64_t{1} << (i % 64); }

    /// Takes a number out.
    void remove(std::size_t i) { words_[i / 64] &= ~(std::uint64_t{1} << (i % 64)); }

    /// Adds all numbers of another set of the same count.
    void add(Bits const& other) {
        for (std::size_t w = 0; w < words_.size(); ++w)
            words_[w] |= other.words_[w];
    }

    /// Takes out all numbers of another set of the same count.
    void remove(Bits const& other) {
        for (std::size_t w = 0; w < words_.size(); ++w)
            words_[w] &= ~other.words_[w];
    }

    /// How many numbers it has.
    std::size_t size() const {
        std::size_t sum = 0;
        for (auto const word : words_)
            sum += static_cast<std::size_t>(std::popcount(word));
        return sum;
    }

    /// How many numbers it has in common with another set of the same count.
    std::size_t common(Bits const& other) const {
        std::size_t sum = 0;
        for (std::size_t w = 0; w < words_.size(); ++w)
            sum += static_cast<std::size_t>(std::popcount(words_[w] & other.words_[w]));
        return sum;
    }

    /// Whether another set of the same count has all its numbers.
    bool within(Bits const& other) const {
        for (std::size_t w = 0; w < words_.size(); ++w)
            if ((words_[w] & ~other.words_[w]) != 0)
                return false;
        return true;
    }

    /// Calls `use` with each number, increasing.
    template <class Use> void each(Use const& use) const {
        for (std::size_t w = 0; w < words_.size(); ++w)
            for (std::uint64_t word = words_[w]; word != 0; word &= word - 1)
                use(w * 64 + static_cast<std::size_t>(std::countr_zero(word)));
    }

    /// Whether both have the same numbers.
    friend bool operator==(Bits const& a, Bits const& b) = default;

private:
    std::vector<std::uint64_t> words_;
};

namespace detail {

/// Branch and bound over one choice of sets. Reduced first: a set within another is left out, an element that
/// is in every set of another one is left out (who covers the other covers it), and a set that alone has an
/// element is chosen.
class CoverSearch {
public:
    CoverSearch(std::vector<Bits> const& sets, std::size_t elements, std::size_t budget)
        : sets_(sets), left_(elements), holders_(elements), budget_(budget) {
        for (std::size_t e = 0; e < elements; ++e)
            left_.add(e);
        for (std::size_t s = 0; s < sets.size(); ++s)
            if (sets[s].size() > 0)
                alive_.push_back(s);
        reduce();
        find_neighbours(elements);
    }

    SetCover run() {
        std::vector<std::size_t> best = completed({});
        std::size_t const forced = chosen_.size();
        std::size_t lower = std::max(independent(left_), by_shares());
        bool proven = false;
        // With one set more at a time: what was refuted stays a lower bound.
        for (; lower < best.size() && !proven && looked_at_ < budget_;) {
            std::vector<std::size_t> picked;
            if (covers(left_, lower, picked)) {
                best = picked;
                proven = true;
            } else if (looked_at_ < budget_) {
                ++lower;
            }
        }
        proven = proven || lower >= best.size();
        if (!proven)
            best = improved(std::move(best));
        proven = proven || lower >= best.size();
        auto all = chosen_;
        all.insert(all.end(), best.begin(), best.end());
        std::sort(all.begin(), all.end());
        return {all, forced + std::min(lower, best.size()), proven, looked_at_};
    }

private:
    void reduce() {
        for (bool again = true; again;) {
            again = false;
            hold();
            again = drop_sets() || again;
            hold();
            again = drop_elements() || again;
            again = force() || again;
        }
    }

    /// Which sets have an element that is left.
    void hold() {
        for (auto& h : holders_)
            h.clear();
        for (auto const s : alive_)
            sets_[s].each([&](std::size_t e) { holders_[e].push_back(s); });
    }

    bool drop_sets() {
        std::vector<std::size_t> kept;
        // The largest first: a set within an equal one that comes later is kept.
        std::stable_sort(alive_.begin(), alive_.end(),
                         [&](std::size_t a, std::size_t b) { return sets_[a].size() > sets_[b].size(); });
        std::vector<std::vector<std::size_t>> kept_with(holders_.size());
        for (auto const s : alive_) {
            std::size_t rarest = holders_.size();
            sets_[s].each([&](std::size_t e) {
                if (rarest == holders_.size() || holders_[e].size() < holders_[rarest].size())
                    rarest = e;
            });
            if (rarest == holders_.size())
                continue;
            auto const& others = kept_with[rarest];
            if (std::any_of(others.begin(), others.end(),
                            [&](std::size_t o) { return sets_[s].within(sets_[o]); }))
                continue;
            kept.push_back(s);
            sets_[s].each([&](std::size_t e) { kept_with[e].push_back(s); });
        }
        bool const dropped = kept.size() < alive_.size();
        alive_ = std::move(kept);
        return dropped;
    }

    bool drop_elements() {
        std::vector<Bits> held(holders_.size(), Bits(sets_.size()));
        for (auto const s : alive_)
            sets_[s].each([&](std::size_t e) { held[e].add(s); });
        bool dropped = false;
        left_.each([&](std::size_t e) {
            // Whether another element's sets all have this one too; of two that are alike the first stays.
            bool needless = false;
            left_.each([&](std::size_t f) {
                if (f == e || needless || holders_[f].size() > holders_[e].size() || !left_.has(f))
                    return;
                needless = held[f].within(held[e]) && (holders_[f].size() < holders_[e].size() || f < e);
            });
            if (needless) {
                left_.remove(e);
                dropped = true;
            }
        });
        if (dropped)
            keep_left();
        return dropped;
    }

    bool force() {
        bool forced = false;
        hold();
        for (std::size_t e = 0; e < holders_.size(); ++e)
            if (left_.has(e) && holders_[e].size() == 1) {
                auto const s = holders_[e].front();
                chosen_.push_back(s);
                left_.remove(sets_[s]);
                forced = true;
            }
        if (forced)
            keep_left();
        return forced;
    }

    /// Of all sets only what is left to be covered.
    void keep_left() {
        for (auto const s : alive_) {
            Bits rest = sets_[s];
            rest.remove(left_);
            sets_[s].remove(rest);
        }
        alive_.erase(
            std::remove_if(alive_.begin(), alive_.end(), [&](std::size_t s) { return sets_[s].size() == 0; }),
            alive_.end());
    }

    void find_neighbours(std::size_t elements) {
        hold();
        neighbours_.assign(elements, Bits(elements));
        for (std::size_t e = 0; e < elements; ++e)
            for (auto const s : holders_[e])
                neighbours_[e].add(sets_[s]);
    }

    std::size_t rarest(Bits const& left) const {
        std::size_t best = 0, fewest = std::numeric_limits<std::size_t>::max();
        left.each([&](std::size_t e) {
            if (holders_[e].size() < fewest) {
                fewest = holders_[e].size();
                best = e;
            }
        });
        return best;
    }

    /// Elements of which no set has two: as many sets are needed.
    std::size_t independent(Bits left) const {
        std::size_t count = 0;
        for (; left.size() > 0; ++count)
            left.remove(neighbours_[rarest(left)]);
        return count;
    }

    /// Every element pays 1 / (the size of the largest set that has it). No set is paid more than 1, so the
    /// sum is a lower bound (a solution of the dual).
    std::size_t by_shares() const {
        double sum = 0;
        left_.each([&](std::size_t e) {
            std::size_t largest = 1;
            for (auto const s : holders_[e])
                largest = std::max(largest, sets_[s].size());
            sum += 1 / static_cast<double>(largest);
        });
        return static_cast<std::size_t>(std::ceil(sum - 1e-9));
    }

    /// A choice with more sets, each the one that has most of what is still left, until nothing is; sets that
    /// turn out to be needless are left out.
    std::vector<std::size_t> completed(std::vector<std::size_t> picked) const {
        Bits left = left_;
        for (auto const s : picked)
            left.remove(sets_[s]);
        while (left.size() > 0) {
            std::size_t best = alive_.front(), most = 0;
            for (auto const s : alive_)
                if (auto const gain = sets_[s].common(left); gain > most) {
                    best = s;
                    most = gain;
                }
            picked.push_back(best);
            left.remove(sets_[best]);
        }
        for (std::size_t i = 0; i < picked.size();) {
            Bits alone = left_;
            for (std::size_t k = 0; k < picked.size(); ++k)
                if (k != i)
                    alone.remove(sets_[picked[k]]);
            if (alone.size() == 0)
                picked.erase(picked.begin() + static_cast<std::ptrdiff_t>(i));
            else
                ++i;
        }
        return picked;
    }

    /// Takes a few sets out that lie near a place, puts another there, and completes the rest; again and
    /// again, by the same random numbers every time. For where the proof takes too long.
    std::vector<std::size_t> improved(std::vector<std::size_t> best) const {
        if (budget_ == 0 || best.empty())
            return best;
        std::uint64_t state = 1;
        auto const random =
            [&](std::size_t below) { // linear congruential, multiplier from memory: P. L'Ecuyer 1999
                state = state * 2862933555777941757U + 3037000493U;
                return static_cast<std::size_t>((state >> 33U) % below);
            };
        for (int attempt = 0; attempt < 1000; ++attempt) {
            auto const added = alive_[random(alive_.size())];
            Bits near(neighbours_.size());
            sets_[added].each([&](std::size_t e) { near.add(neighbours_[e]); });
            std::vector<std::size_t> kept{added};
            for (auto const s : best)
                if (s != added && (sets_[s].common(near) == 0 || random(4) == 0))
                    kept.push_back(s);
            auto tried = completed(std::move(kept));
            if (tried.size() <= best.size())
                best = std::move(tried);
        }
        return best;
    }

    /// Whether `sets` sets can cover what is left; false too where the budget is spent.
    bool covers(Bits const& left, std::size_t sets, std::vector<std::size_t>& picked) {
        if (left.size() == 0)
            return true;
        if (sets == 0 || looked_at_ >= budget_)
            return false;
        ++looked_at_;
        if (independent(left) > sets)
            return false;
        auto const& holders = holders_[rarest(left)];
        std::vector<std::pair<std::size_t, std::size_t>> ways; // what each covers of the rest
        for (auto const s : holders)
            ways.push_back({sets_[s].common(left), s});
        std::stable_sort(ways.begin(), ways.end(),
                         [](auto const& a, auto const& b) { return a.first > b.first; });
        for (auto const& way : ways) {
            Bits rest = left;
            rest.remove(sets_[way.second]);
            picked.push_back(way.second);
            if (covers(rest, sets - 1, picked))
                return true;
            picked.pop_back();
        }
        return false;
    }

    std::vector<Bits> sets_; ///< of each what is left
    Bits left_;
    std::vector<std::vector<std::size_t>> holders_; ///< of an element, the sets that have it
    std::size_t budget_;
    std::vector<std::size_t> alive_;  ///< sets
    std::vector<std::size_t> chosen_; ///< because they alone have an element
    std::vector<Bits> neighbours_;    ///< of an element, all that share a set with it
    std::size_t looked_at_ = 0;
};

} // namespace detail

/// The fewest of `sets`, each of elements below `elements`, that together have every element: exact, by
/// branch and bound, until `budget` partial choices were looked at; then the best found, with a lower bound.
/// Throws BadInput naming the first element that no set has.
inline SetCover least_cover(std::vector<Bits> const& sets, std::size_t elements,
                            std::size_t budget = 200000) {
    Bits all(elements);
    for (auto const& set : sets)
        all.add(set);
    for (std::size_t e = 0; e < elements; ++e)
        if (!all.has(e))
            throw BadInput("no set has element " + std::to_string(e));
    return detail::CoverSearch(sets, elements, budget).run();
}

} // namespace seamhold

#endif
