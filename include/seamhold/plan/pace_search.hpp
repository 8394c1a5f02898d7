#ifndef SEAMHOLD_PLAN_PACE_SEARCH_HPP
#define SEAMHOLD_PLAN_PACE_SEARCH_HPP

#include "seamhold/plan/pace_law.hpp"
#include "seamhold/plan/pace_limits.hpp"
#include "seamhold/plan/pace_set.hpp"
#include "seamhold/plan/pace_steady.hpp"
#include "seamhold/plan/pace_task.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace seamhold {

/// How a pace is sought.
struct PaceOptions {
    double step = 0.02;        ///< longest time at one acceleration, s
    double smoothing = 0.02;   ///< time over which an acceleration changes, s; shortened where it must be
    double least_share = 0.05; ///< of the mean speed, below which the law does not fall; less where it must
};

namespace detail {

/// Throws BadInput for what is no list of tasks.
inline void check(std::span<PacedTask const> tasks, PaceOptions const& options) {
    if (tasks.empty())
        throw BadInput("a pace needs one task or more");
    if (!(options.step > 0) || !(options.smoothing > 0) || !(options.least_share > 0) ||
        !(options.least_share < 1))
        throw BadInput("a pace's step, smoothing and least share must be above 0, the share below 1");
    for (std::size_t k = 0; k < tasks.size(); ++k) {
        auto const& task = tasks[k];
        std::string const which = "task " + std::to_string(k) + ": ";
        if ((k > 0 && (!(task.gap_before >= 0) || !is_finite(task.gap_before))) || !(task.duration >= 0) ||
            !is_finite(task.duration))
            throw BadInput(which + "its gap and its duration must be 0 or more and finite; given were " +
                           text_of(task.gap_before) + " and " + text_of(task.duration) + " s");
        for (auto const& station : task.stations)
            if (!(station.offset >= 0) || !(station.offset <= task.duration * (1 + 1e-12)) ||
                !is_finite(station.low) || !is_finite(station.high))
                throw BadInput(which + "a station at " + text_of(station.offset) + " s from " +
                               text_of(station.low) + " to " + text_of(station.high) +
                               " s is not possible: it must lie within the task's " + text_of(task.duration) +
                               " s and be finite");
    }
}

/// Carries the sets of states from task to task; see `fit_pace`.
class PaceSearch {
public:
    PaceSearch(std::span<PacedTask const> tasks, PaceLimits const& limits, PaceOptions const& options)
        : tasks_(tasks), limits_(limits), options_(options) {
        check(tasks, options);
        packed_ = packed_time(tasks);
    }

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
    /// An instant of a task, or of the way to the next.
    struct Node {
        double low, high;           ///< of u
        double time_to;             ///< from the node before, s
        PaceSet backward;           ///< from where the rest can be done, up to the next wait
        PaceSet forward;            ///< of these, where the robot can be
        double acceleration_to = 0; ///< that was allowed since the node before
    };

    /// What can be said without the robot's limits.
    std::optional<PaceConflict> plain_conflict() const {
        double from = limits_.low();
        std::size_t from_task = 0;
        double const empty_by = 1e-12 * std::max(1.0, std::abs(limits_.high()));
        for (std::size_t k = 0; k < tasks_.size(); ++k) {
            auto stations = tasks_[k].stations;
            std::stable_sort(stations.begin(), stations.end(),
                             [](auto const& a, auto const& b) { return a.offset < b.offset; });
            for (auto const& s : stations) {
                double const gap = std::max({s.low - s.high, limits_.low() - s.high, s.low - limits_.high()});
                if (gap > empty_by)
                    return PaceConflict{PaceObstacle::station_empty, k, k, gap};
                if (from - s.high > empty_by)
                    return PaceConflict{from_task == k ? PaceObstacle::within_task : PaceObstacle::runs_back,
                                        k, from_task, from - s.high};
                if (s.low > from) {
                    from = s.low;
                    from_task = k;
                }
            }
        }
        return std::nullopt;
    }

    /// The slowest speed, and ends for limits that have none.
    void set_scale(double share) {
        double from = limits_.high(), to = limits_.low();
        for (auto const& task : tasks_)
            for (auto const& s : task.stations) {
                from = std::min(from, s.low);
                to = std::max(to, s.high);
            }
        double const way = to > from ? to - from : 1e-6 * (limits_.high() - limits_.low());
        double const mean = std::min(way / std::max(packed_, 1e-9), limits_.over(from, to).speed);
        slowest_ = share * mean;
        fastest_ = 100 * way / std::max(packed_, 1e-9);
        hardest_ = fastest_ / (2 * options_.step);
        double const acceleration = std::min(limits_.over(from, to).acceleration, hardest_);
        shrink_ = acceleration * options_.smoothing * options_.smoothing / 24;
    }

    PaceLimit limit(double from, double to) const {
        double const around = 1e-9 + options_.smoothing * std::min(limits_.over(from, to).speed, fastest_);
        auto const held = limits_.over(from - around, to + around);
        return {std::min(held.speed, fastest_), std::min(held.acceleration, hardest_)};
    }

    /// The nodes of a task, its stations made narrower by what smoothing may move the law, and wider by
    /// `wider`.
    std::vector<Node> nodes_of(std::size_t k, double wider = 0) const {
        auto const& task = tasks_[k];
        auto stations = task.stations;
        stations.push_back({0, limits_.low(), limits_.high()});
        stations.push_back({task.duration, limits_.low(), limits_.high()});
        std::stable_sort(stations.begin(), stations.end(),
                         [](auto const& a, auto const& b) { return a.offset < b.offset; });
        std::vector<Node> nodes;
        double last = 0;
        for (auto const& s : stations) {
            double const width = std::max(0.0, s.high - s.low) + 2 * wider;
            double const in = std::min(shrink_, 0.05 * width) - wider;
            double const low = std::max(s.low + in, limits_.low());
            double const high = std::min(std::max(s.high - in, low), limits_.high());
            double const step = s.offset - last;
            if (nodes.empty() || step > 1e-9) {
                auto const parts = std::max(1.0, std::ceil(step / options_.step - 1e-9));
                for (double i = 1; i < parts; ++i)
                    nodes.push_back({limits_.low(), limits_.high(), step / parts, {}, {}});
                nodes.push_back({low, high, nodes.empty() ? 0 : step / parts, {}, {}});
                last = s.offset;
            } else {
                nodes.back().low = std::max(nodes.back().low, low);
                nodes.back().high = std::min(nodes.back().high, high);
            }
        }
        return nodes;
    }

    /// From where a set is reached `time` s later.
    PaceSet before(PaceSet const& set, double time) const {
        double const high = set.high(), low = set.low();
        double const reach = limit(low, high).speed * time;
        auto const held = limit(low - reach, high);
        return set.at_speeds(slowest_, held.speed)
            .after(-time, held.acceleration)
            .at_speeds(slowest_, held.speed);
    }

    /// Where the robot may be a step after a node, not beyond `high`; the node keeps only the states that
    /// its limits allow to begin with.
    PaceSet behind(PaceSet& set, double time, double high, double& acceleration) const {
        if (set.empty())
            return {};
        double const low = set.low();
        double const reach = limit(low, set.high()).speed * time;
        auto const held = limit(low, std::max(low, std::min(set.high() + reach, high)));
        acceleration = held.acceleration;
        set = set.at_speeds(slowest_, held.speed);
        return set.empty() ? PaceSet{} : set.after(time, held.acceleration).at_speeds(slowest_, held.speed);
    }

    /// All states of a node.
    PaceSet all_of(Node const& node) const {
        return PaceSet::box(node.low, node.high, slowest_, limit(node.low, node.high).speed);
    }

    /// Fills in the backward sets of a run of nodes, of which the last has its own; false where one is empty.
    bool carry_back(std::vector<Node>& nodes) const {
        for (std::size_t i = nodes.size() - 1; i > 0; --i) {
            nodes[i - 1].backward =
                before(nodes[i].backward, nodes[i].time_to).within(nodes[i - 1].low, nodes[i - 1].high);
            if (nodes[i - 1].backward.empty())
                return false;
        }
        return true;
    }

    /// The nodes of a way between two tasks, without its ends' sets; the last is the next task's first.
    std::vector<Node> way_of(double time) const {
        auto const parts = std::max(1.0, std::ceil(time / options_.step - 1e-9));
        return std::vector<Node>(static_cast<std::size_t>(parts),
                                 Node{limits_.low(), limits_.high(), time / parts, {}, {}});
    }

    /// The states from which a set may be reached by waiting long enough. Those from which the robot can slow
    /// down before the set's far end; some of them may not do. With `careful` those from which it can slow
    /// down, and from there come to a speed of the set: these do, but not only these.
    PaceSet can_wait_for(PaceSet const& set, Node const& last, bool careful) const {
        auto const held = limit(last.low, set.high());
        auto const way = [&](double speed) {
            return (speed * speed - slowest_ * slowest_) / (2 * held.acceleration);
        };
        double stop = set.high();
        if (careful) {
            stop = -unknown;
            for (auto const& c : set.corners())
                stop = std::max(stop, c.u - way(c.speed));
        }
        PaceSet r = PaceSet::box(last.low, std::min(last.high, stop), slowest_, held.speed);
        std::size_t const parts = 8;
        auto const brake = [&](std::size_t i) {
            double const v =
                slowest_ + (held.speed - slowest_) * static_cast<double>(i) / static_cast<double>(parts);
            return PaceState{stop - way(v), v};
        };
        for (std::size_t i = 0; i < parts && held.speed > slowest_ && !r.empty(); ++i) {
            auto const from = brake(i), to = brake(i + 1);
            double const du = to.u - from.u, dv = to.speed - from.speed, length = std::hypot(du, dv);
            r = r.cut(dv / length, -du / length, (dv * from.u - du * from.speed) / length);
        }
        return r;
    }

    /// By how much all stations of a task must be widened for it to be done, on its own.
    double widening(std::size_t k) const {
        auto const does = [&](double wider) {
            auto nodes = nodes_of(k, wider);
            nodes.back().backward = all_of(nodes.back());
            return !nodes.back().backward.empty() && carry_back(nodes);
        };
        double low = 0, high = limits_.high() - limits_.low();
        if (!does(high))
            return std::numeric_limits<double>::infinity();
        for (int i = 0; i < 40; ++i)
            (does((low + high) / 2) ? high : low) = (low + high) / 2;
        return high;
    }

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

    std::span<PacedTask const> tasks_;
    PaceLimits const& limits_;
    PaceOptions options_;
    static constexpr double unknown = std::numeric_limits<double>::infinity();

    double packed_ = 0;
    std::vector<std::vector<Node>> nodes_, ways_; ///< of each task, and those that lead to it
    std::vector<bool> waits_;                     ///< whether there is a wait before it
    std::vector<bool> careful_;                   ///< see `can_wait_for`
    std::vector<bool> forced_;                    ///< whether a wait is allowed where none is needed
    double slowest_ = 0, fastest_ = 0, hardest_ = 0, shrink_ = 0;
    std::vector<Node> chain_;
    std::vector<double> starts_;
    double waited_ = 0;
};

} // namespace detail

} // namespace seamhold

#endif
