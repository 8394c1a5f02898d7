#ifndef SEAMHOLD_LIMIT_WINDOW_PROOF_HPP
#define SEAMHOLD_LIMIT_WINDOW_PROOF_HPP

#include "seamhold/limit/sweep_margin.hpp"

#include <algorithm>
#include <bitset>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <utility>
#include <vector>

namespace seamhold::detail {

/// A change of which only the times of the motions in `clip` count.
struct ClippedChange : Change {
    Interval clip = Interval::whole();

    template <class S, int N>
    Taylor<S, N> time(double seam_start, double duration, Taylor<S, N> const& seam_time) const {
        auto t = Change::time(seam_start, duration, seam_time);
        auto& value = t.coefficient[0];
        value = {greater(value.low, clip.low), lesser(value.high, clip.high)};
        return t;
    }
};

/// Proves that every limit of a seam holds for all values in a range at once: boxes of time and values, each
/// enclosed as a whole, are split until all are proven. Boxes are large where there is room.
template <class AnyJob, class Scheduled> class WindowProver {
public:
    /// Values are told apart down to `smallest`; at most `budget` boxes are looked at for each window.
    WindowProver(AnyJob const& job, Scheduled const& scheduled, Vary vary, Change const& change,
                 std::vector<Check> const& checks, std::vector<double> const& motion_breaks,
                 std::size_t budget, double smallest)
        : job_(job), scheduled_(scheduled), vary_(vary), change_(change), checks_(checks),
          motion_breaks_(motion_breaks), budget_(budget), smallest_(smallest) {}

    /// How far it was proven.
    struct Reached {
        double value;
        std::optional<Limit> stopped_by; ///< nothing where all was proven, or the budget was spent
    };

    /// From one value towards another, in either direction: all values in between.
    Reached reach(double from, double to) {
        Reached reached{to, {}};
        if (from == to)
            return reached;
        auto const ends = stretch_ends(seam_breaks(scheduled_), duration(), longest_stretch(scheduled_, 0.1));
        std::vector<Box> waiting;
        for (std::size_t i = 0; i + 1 < ends.size(); ++i)
            waiting.push_back({{ends[i], ends[i + 1]}, from, to, ~Open()});
        std::size_t const end = looked_at_ + budget_;
        while (!waiting.empty()) {
            Box box = waiting.back();
            waiting.pop_back();
            if (std::abs(box.near - from) >= std::abs(reached.value - from))
                continue;
            if (std::abs(box.far - from) > std::abs(reached.value - from))
                box.far = reached.value;
            auto const result = looked_at_ < end ? look_at(box) : Outcome{Next::give_up, 0};
            switch (result.next) {
            case Next::proven:
                break;
            case Next::give_up:
                reached = {box.near, {}};
                break;
            case Next::stop:
                reached = {box.near,
                           result.check < checks_.size() ? checks_[result.check].limit : Limit::reach};
                break;
            case Next::split_values: {
                double const middle = box.near + (box.far - box.near) / 2;
                waiting.push_back({box.span, middle, box.far, box.open});
                waiting.push_back({box.span, box.near, middle, box.open});
                break;
            }
            case Next::split_time:
                double last = box.span.from;
                for (double const t : cuts_) {
                    waiting.push_back({{last, t}, box.near, box.far, box.open});
                    last = t;
                }
                waiting.push_back({{last, box.span.to}, box.near, box.far, box.open});
                break;
            }
            if (reached.value == from)
                break;
        }
        return reached;
    }

    /// How many boxes were looked at.
    std::size_t looked_at() const { return looked_at_; }

private:
    using Open = std::bitset<128>; ///< what is not proven yet: a check each, and whether the seam is reached
    static constexpr std::size_t reach_bit = 127;
    static constexpr double shortest = 1e-9; // s

    struct Box {
        TimeSpan span;
        double near, far; ///< values, `near` on the side from which they are proven
        Open open;
    };
    struct Strip {
        Interval at; ///< s since the seam's start
        double time; ///< of the break, s of the motions
    };
    enum class Next { proven, stop, give_up, split_values, split_time };
    struct Outcome {
        Next next;
        std::size_t check;
    };

    double duration() const { return scheduled_.seam.duration(); }

    template <int N>
    Demand<Taylor<Interval, N>> demand(Interval const& time, Open const& open,
                                       ClippedChange const& change) const {
        Wanted wanted;
        for (std::size_t c = 0; c < checks_.size(); ++c)
            if (open[c])
                want(wanted, checks_[c].measure);
        return demand_of(job_, scheduled_, Taylor<Interval, N>::variable(time), wanted, change);
    }

    /// Whether the motions have data at all of these times.
    bool covers(Interval const& times) const {
        auto const& chain = job_.chain;
        if (!is_finite(times) || !chain.covers(times.low) || !chain.covers(times.high))
            return false;
        double last = times.low;
        for (auto t = std::upper_bound(motion_breaks_.begin(), motion_breaks_.end(), times.low);
             t != motion_breaks_.end() && *t < times.high; ++t) {
            if (!chain.covers(last + (*t - last) / 2))
                return false;
            last = *t;
        }
        return chain.covers(last + (times.high - last) / 2);
    }

    /// When breaks of the motions may lie inside a box, s since the seam's start: one stretch for each.
    void find_strips(Box const& box, Change const& change) {
        strips_.clear();
        auto const times = change.time(scheduled_.start, duration(), Interval(box.span.from, box.span.to));
        auto const half = duration() / 2;
        Interval const late = change.start + Interval(-change.box.delay, change.box.delay);
        for (auto t = std::lower_bound(motion_breaks_.begin(), motion_breaks_.end(), times.low);
             t != motion_breaks_.end() && *t <= times.high; ++t) {
            Interval const at = (Interval(*t) - scheduled_.start - late - half) / change.speed + half;
            if (at.high > box.span.from + 2e-12 && at.low < box.span.to - 2e-12)
                strips_.push_back({at, *t});
        }
    }

    Outcome look_at(Box& box) {
        ++looked_at_;
        Interval const values(std::min(box.near, box.far), std::max(box.near, box.far));
        auto const change = with_value(change_, vary_, values);
        bool const welds = welds_over(scheduled_, box.span);
        for (std::size_t c = 0; c < checks_.size(); ++c)
            if (checks_[c].welds && !welds)
                box.open[c] = false;
        find_strips(box, change);
        return strips_.empty() ? by_expansion(box, {change, Interval::whole()}) : by_range(box, change);
    }

    void note_reach(Box& box, Change const& change, Interval const& in_front, Interval const& solved) const {
        if (box.open[reach_bit] && in_front.low > 0 && solved.low > 0 &&
            covers(change.time(scheduled_.start, duration(), Interval(box.span.from, box.span.to))))
            box.open[reach_bit] = false;
    }

    bool all_proven(Open const& open) const {
        for (std::size_t c = 0; c < checks_.size(); ++c)
            if (open[c])
                return false;
        return !open[reach_bit];
    }

    /// No break inside: an expansion about the middle, with a remainder.
    Outcome by_expansion(Box& box, ClippedChange const& change) {
        auto const& span = box.span;
        auto const over = demand<6>(Interval(span.from, span.to), box.open, change);
        auto const middle = demand<6>(Interval(span.middle()), box.open, change);
        note_reach(box, change, over[Measure::in_front].coefficient[0], over[Measure::solved].coefficient[0]);
        double worst = 0;
        std::size_t which = checks_.size();
        bool by_value = true;
        for (std::size_t c = 0; c < checks_.size(); ++c) {
            if (!box.open[c])
                continue;
            auto const& check = checks_[c];
            Best best;
            auto const& m = middle[check.measure];
            auto const found = checked_over(check, m, over[check.measure], span,
                                            std::numeric_limits<double>::infinity(), best);
            if (found.high <= 1 + equal_share) {
                box.open[c] = false;
                continue;
            }
            if (best.low > 1 + equal_share)
                return {Next::stop, c};
            if (found.high > worst) {
                worst = found.high;
                which = c;
                // What is not known even at one instant comes from the values.
                auto const at_once = check.utilisation(check.read(m.derivative(check.derivative)));
                double const all = found.all.high - found.all.low;
                by_value = !(at_once.high - at_once.low < 0.5 * all);
            }
        }
        if (all_proven(box.open))
            return {Next::proven, 0};
        cuts_.assign(1, span.middle());
        return split(box, by_value, which);
    }

    /// Breaks inside: all that may be, by plain interval arithmetic. Of one break both sides are looked at
    /// apart, for nothing is ever made of the rates of one piece and the rates of the next.
    Outcome by_range(Box& box, Change const& change) {
        auto const& span = box.span;
        Interval const time(span.from, span.to);
        auto const times = change.time(scheduled_.start, duration(), time);
        bool const apart = strips_.size() == 1 && is_finite(times) && times.contains(strips_[0].time);
        auto const first = demand<3>(
            time, box.open, {change, apart ? Interval(times.low, strips_[0].time) : Interval::whole()});
        auto const second =
            apart ? demand<3>(time, box.open, {change, Interval(strips_[0].time, times.high)}) : first;
        auto const all = [&](Measure m, int derivative) {
            return hull(first[m].derivative(derivative), second[m].derivative(derivative));
        };
        note_reach(box, change, all(Measure::in_front, 0), all(Measure::solved, 0));
        double worst = 0;
        std::size_t which = checks_.size();
        for (std::size_t c = 0; c < checks_.size(); ++c) {
            if (!box.open[c])
                continue;
            auto const& check = checks_[c];
            auto const use = check.utilisation(check.read(all(check.measure, check.derivative)));
            if (use.high <= 1 + equal_share) {
                box.open[c] = false;
                continue;
            }
            if (use.low > 1 + equal_share)
                return {Next::stop, c};
            if (use.high > worst) {
                worst = use.high;
                which = c;
            }
        }
        if (all_proven(box.open))
            return {Next::proven, 0};
        // Where a break's place hardly depends on the value, cut around it; otherwise the longer side.
        double const width = span.to - span.from;
        double widest = 0;
        Interval nearest = strips_.front().at;
        for (auto const& strip : strips_) {
            auto const& at = strip.at;
            widest = std::max(widest, std::min(at.high - at.low, 10 * width));
            if (std::abs(at.middle() - span.middle()) < std::abs(nearest.middle() - span.middle()))
                nearest = at;
        }
        double const room = width / static_cast<double>(strips_.size());
        cuts_.clear();
        if (widest < 0.7 * room) {
            for (double const t : {nearest.low, nearest.high})
                if (t > span.from && t < span.to && (cuts_.empty() || t > cuts_.back() + shortest / 4))
                    cuts_.push_back(t);
        }
        if (cuts_.empty())
            cuts_.assign(1, span.middle());
        return split(box, widest >= width, which);
    }

    Outcome split(Box const& box, bool by_value, std::size_t check) const {
        bool const values = std::abs(box.far - box.near) > smallest_;
        bool const time = box.span.to - box.span.from > shortest;
        if (values && (by_value || !time))
            return {Next::split_values, check};
        return {time ? Next::split_time : Next::stop, check};
    }

    AnyJob const& job_;
    Scheduled const& scheduled_;
    Vary vary_;
    Change change_;
    std::vector<Check> const& checks_;
    std::vector<double> const& motion_breaks_;
    std::size_t budget_;
    double smallest_;
    std::size_t looked_at_ = 0;
    std::vector<Strip> strips_; ///< of the box at hand
    std::vector<double> cuts_;  ///< where its time is to be split
};

} // namespace seamhold::detail

#endif
