#ifndef SEAMHOLD_PLAN_PACE_SEARCH_HPP
#define SEAMHOLD_PLAN_PACE_SEARCH_HPP

#include "seamhold/plan/pace_ground.hpp"
#include "seamhold/plan/pace_law.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <utility>
#include <variant>
#include <vector>

namespace seamhold {

namespace detail {

/// Carries the sets of states from task to task; see `fit_pace`.
class PaceSearch : private PaceGround {
public:
    using PaceGround::PaceGround;

    std::variant<PacedPlan, PaceConflict> best() {
        if (auto const conflict = plain_conflict())
            return *conflict;
        auto steady = fit_steady_pace(tasks_, limits_);
        double const equal = 1e-9 * packed_;
        if (steady && steady->waiting <= equal && meets_all(*steady))
            return *std::move(steady);
        std::optional<PacedPlan> found;
        std::optional<PaceConflict> conflict;
        for (double const share : {1.0, 0.1, 0.01}) {
            set_scale(share * options_.least_share);
            conflict = search();
            if (!conflict) {
                found = smoothed();
                if (found)
                    break;
            }
        }
        if (steady && meets_all(*steady) && (!found || steady->total <= found->total + equal))
            return *std::move(steady);
        if (found)
            return *std::move(found);
        if (!conflict)
            conflict =
                PaceConflict{PaceObstacle::between_tasks, tasks_.size() - 1, tasks_.size() - 1, unknown};
        if (conflict->obstacle == PaceObstacle::between_tasks)
            conflict->by = widening_between(conflict->task);
        return *conflict;
    }

private:
    /// By how much all stations of a task must be widened for the whole order to be done.
    double widening_between(std::size_t k) const {
        auto const does = [&](double wider) {
            std::vector<PacedTask> tasks(tasks_.begin(), tasks_.end());
            for (auto& s : tasks[k].stations) {
                s.low -= wider;
                s.high += wider;
            }
            PaceSearch other(tasks, limits_, options_);
            other.set_scale(0.01 * options_.least_share);
            return !other.search();
        };
        double low = 0, high = 1e-4;
        for (; !does(high); high *= 2) {
            if (high > limits_.high() - limits_.low())
                return unknown;
            low = high;
        }
        for (int i = 0; i < 8; ++i)
            (does((low + high) / 2) ? high : low) = (low + high) / 2;
        return high;
    }

    /// Carries sets back and forth; afterwards `chain_` holds the forward sets of all nodes in order. Where a
    /// wait leads nowhere, again with more care before it.
    std::optional<PaceConflict> search() {
        std::size_t const n = tasks_.size();
        careful_.assign(n, false);
        forced_.assign(n, false);
        auto conflict = search_once();
        for (int i = 0; i < 8 && conflict && conflict->obstacle == PaceObstacle::between_tasks; ++i) {
            std::size_t const next = next_without_wait(conflict->task + 1);
            if (next < n)
                forced_[next] = true;
            if (i == 7 || careful_[conflict->task])
                careful_.assign(n, true);
            careful_[conflict->task] = true;
            conflict = search_once();
        }
        return conflict;
    }

    /// The first task from k on before which there is no wait.
    std::size_t next_without_wait(std::size_t k) const {
        while (k < tasks_.size() && waits_[k])
            ++k;
        return k;
    }

    std::optional<PaceConflict> search_once() {
        if (auto const conflict = search_back())
            return conflict;
        chain_.clear();
        nodes_[0].front().forward = nodes_[0].front().backward;
        chain_.push_back(nodes_[0].front());
        std::vector<double> waits(tasks_.size(), 0.0);
        std::size_t last = 0, size = 0; // the last wait, and the chain before it
        PaceSet from;
        double more = 2e-4; // s
        for (std::size_t k = 0; k < tasks_.size(); ++k) {
            bool goes = true;
            if (k > 0 && waits_[k]) {
                auto const found = best_wait(k);
                goes = found.has_value();
                if (goes) {
                    waits[k] = *found;
                    last = k;
                    size = chain_.size();
                    from = chain_.back().forward;
                    more = 2e-4;
                }
            }
            if (goes && (k == 0 || enter(k, waits[k])) && run(k))
                continue;
            // The shortest wait leaves a set as thin as a point, which rounding may lose: a little more.
            if (last == 0 || more > 1)
                return PaceConflict{PaceObstacle::between_tasks, k, k > 0 ? k - 1 : k, unknown};
            do {
                chain_.resize(size);
                chain_.back().forward = from;
                waits[last] += more;
                more *= 2;
            } while (more < 1 && !(enter(last, waits[last]) && run(last)));
            if (more >= 1)
                return PaceConflict{PaceObstacle::between_tasks, k, k > 0 ? k - 1 : k, unknown};
            k = last;
        }
        starts_.assign(1, 0);
        waited_ = 0;
        for (std::size_t k = 1; k < tasks_.size(); ++k) {
            waited_ += waits[k];
            starts_.push_back(starts_.back() + tasks_[k - 1].duration + tasks_[k].gap_before + waits[k]);
        }
        return std::nullopt;
    }

    /// The backward sets of all tasks, and before which of them there must be a wait (or may be: those that
    /// were forced).
    std::optional<PaceConflict> search_back() {
        std::size_t const n = tasks_.size();
        nodes_.assign(n, {});
        ways_.assign(n, {});
        waits_.assign(n, false);
        for (std::size_t k = n; k-- > 0;) {
            auto& nodes = nodes_[k];
            nodes = nodes_of(k);
            auto& last = nodes.back();
            if (k + 1 < n) {
                auto& way = ways_[k + 1];
                way = way_of(tasks_[k + 1].gap_before);
                way.back().backward = nodes_[k + 1].front().backward;
                if (!forced_[k + 1] && carry_back(way)) {
                    last.backward =
                        before(way.front().backward, way.front().time_to).within(last.low, last.high);
                    waits_[k + 1] = last.backward.empty() || !carry_back(nodes);
                    if (!waits_[k + 1])
                        continue;
                }
                waits_[k + 1] = true;
                last.backward = can_wait_for(nodes_[k + 1].front().backward, last, careful_[k + 1]);
            } else {
                last.backward = all_of(last);
            }
            if (last.backward.empty() || !carry_back(nodes)) {
                // What comes later may have left too little: one wait more there, and once again from it on.
                std::size_t const next = next_without_wait(k + 2);
                if (next < n) {
                    forced_[next] = true;
                    k = next;
                    continue;
                }
                double const by = widening(k);
                if (by > 1e-9)
                    return PaceConflict{PaceObstacle::within_task, k, k, by};
                return PaceConflict{PaceObstacle::between_tasks, std::min(k + 1, n - 1), k, unknown};
            }
        }
        return std::nullopt;
    }

    /// Carries the chain on to the first node of task k, after a wait beyond the gap; false where it does not
    /// come there. After a wait the way has no backward sets of its own.
    bool enter(std::size_t k, double wait) {
        auto const& first = nodes_[k].front();
        bool const waited = waits_[k];
        auto way = waited ? way_of(tasks_[k].gap_before + wait) : ways_[k];
        for (std::size_t i = 0; i < way.size(); ++i) {
            auto& here = way[i];
            bool const last = i + 1 == way.size();
            auto const& wanted = last ? first.backward : here.backward;
            double const high = waited ? first.backward.high() : wanted.high();
            here.forward = behind(chain_.back().forward, here.time_to, high, here.acceleration_to);
            here.forward =
                waited && !last ? here.forward.within(limits_.low(), high) : here.forward.common(wanted);
            if (here.forward.empty())
                return false;
            chain_.push_back(std::move(here));
        }
        return true;
    }

    /// Carries the chain on through task k.
    bool run(std::size_t k) {
        for (std::size_t i = 1; i < nodes_[k].size(); ++i) {
            auto const& node = nodes_[k][i];
            Node here{node.low, node.high, node.time_to, {}, {}};
            here.forward =
                behind(chain_.back().forward, here.time_to, node.backward.high(), here.acceleration_to)
                    .common(node.backward);
            if (here.forward.empty())
                return false;
            chain_.push_back(std::move(here));
        }
        return true;
    }

    /// What use() gives; the chain is afterwards as it was.
    template <class Use> auto on_trial(Use const& use) {
        std::size_t const size = chain_.size();
        auto const from = chain_.back().forward; // going on cuts it
        auto const result = use();
        chain_.resize(size);
        chain_.back().forward = from;
        return result;
    }

    /// The shortest wait beyond the gap that leads from the end of the chain to task k.
    std::optional<double> least_wait(std::size_t k) {
        auto const does = [&](double wait) { return on_trial([&] { return enter(k, wait); }); };
        auto const& from = chain_.back().forward;
        auto const& set = nodes_[k].front().backward;
        double const top = limit(from.low(), set.high()).speed;
        double const longest = (set.high() - from.low()) / slowest_ + 1;
        double low = 0, step = 1e-3;
        double high = std::max(0.0, (set.low() - from.high()) / top - tasks_[k].gap_before);
        while (!does(high)) {
            low = high;
            high += step;
            step *= 1.3;
            if (high > longest + step)
                return std::nullopt;
        }
        for (int i = 0; i < 30 && high - low > 1e-6 + 1e-5 * high; ++i) {
            double const middle = low + (high - low) / 2;
            (does(middle) ? high : low) = middle;
        }
        return high;
    }

    /// A wait before task k: the shortest, or, where another wait follows so soon that the robot cannot
    /// change its speed at will until then, the one with the least sum of both.
    std::optional<double> best_wait(std::size_t k) {
        auto const least = least_wait(k);
        std::size_t next = k + 1;
        double time = tasks_[k].duration;
        for (; next < tasks_.size() && !waits_[next]; ++next)
            time += tasks_[next].gap_before + tasks_[next].duration;
        if (!least || next == tasks_.size())
            return least;
        auto const held = limit(nodes_[k].front().backward.low(), nodes_[next].front().backward.high());
        if (time > 2 * held.speed / held.acceleration)
            return least;
        auto const sum = [&](double wait) {
            return on_trial([&] {
                bool goes = enter(k, wait) && run(k);
                for (std::size_t i = k + 1; goes && i < next; ++i)
                    goes = enter(i, 0) && run(i);
                auto const then = goes ? least_wait(next) : std::nullopt;
                return then ? wait + *then : unknown;
            });
        };
        double best = *least, best_sum = sum(best);
        double step = 0.25 * held.speed / held.acceleration;
        for (int i = 0; i < 8; ++i, step /= 2)
            for (double const side : {-1.0, 1.0}) {
                double const there = std::max(*least, best + side * step);
                double const then = there == best ? unknown : sum(there);
                if (then < best_sum - 1e-9) {
                    best = there;
                    best_sum = then;
                    break;
                }
            }
        return best;
    }

    /// The law through the sets, backwards from the middle of the last: at constant speed where that stays
    /// in the sets, else with as little acceleration as will do.
    std::vector<PaceStep> law_steps() const {
        std::vector<PaceStep> steps(chain_.size());
        PaceState state = chain_.back().forward.middle();
        steps.back() = {0, state.u, state.speed, 0};
        for (std::size_t i = chain_.size() - 1; i > 0; --i) {
            double const time = chain_[i].time_to;
            PaceState const coast{state.u - time * state.speed, state.speed};
            double const a = chain_[i - 1].forward.least_acceleration(coast, time, chain_[i].acceleration_to);
            state = {coast.u + a * time * time / 2, coast.speed - a * time};
            steps[i - 1] = {time, state.u, state.speed, a};
        }
        return steps;
    }

    /// The law, smoothed as much as it can be; nothing where it cannot.
    std::optional<PacedPlan> smoothed() const {
        auto const steps = law_steps();
        double const total = starts_.back() + tasks_.back().duration;
        for (double smoothing = options_.smoothing; smoothing > 1e-5; smoothing /= 2) {
            auto law = pace_law(steps, smoothing);
            if (!law)
                continue;
            PacedPlan plan{starts_, *std::move(law), total, waited_};
            if (meets_all(plan))
                return plan;
        }
        return std::nullopt;
    }

    /// Whether a plan's law keeps every station and every limit.
    bool meets_all(PacedPlan const& plan) const {
        for (std::size_t k = 0; k < tasks_.size(); ++k)
            for (auto const& s : tasks_[k].stations) {
                double const u = plan.law.at(plan.starts[k] + s.offset);
                if (!(u >= s.low - 1e-9) || !(u <= s.high + 1e-9))
                    return false;
            }
        return keeps_limits(plan.law, limits_, -1e-9, plan.total + 1e-9);
    }

    std::vector<std::vector<Node>> nodes_, ways_; ///< of each task, and those that lead to it
    std::vector<bool> waits_;                     ///< whether there is a wait before it
    std::vector<bool> careful_;                   ///< see `can_wait_for`
    std::vector<bool> forced_;                    ///< whether a wait is allowed where none is needed
    std::vector<Node> chain_;
    std::vector<double> starts_;
    double waited_ = 0;
};

} // namespace detail

} // namespace seamhold

#endif
