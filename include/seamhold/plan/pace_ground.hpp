#ifndef SEAMHOLD_PLAN_PACE_GROUND_HPP
#define SEAMHOLD_PLAN_PACE_GROUND_HPP

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

/// Tasks in their order as nodes in time, and one step of sets of states from node to node; see `fit_pace`.
class PaceGround {
public:
    PaceGround(std::span<PacedTask const> tasks, PaceLimits const& limits, PaceOptions const& options)
        : tasks_(tasks), limits_(limits), options_(options), packed_(packed_time(tasks)) {
        check(tasks, options);
    }

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

protected:
    static constexpr double unknown = std::numeric_limits<double>::infinity();

    std::span<PacedTask const> tasks_;
    PaceLimits const& limits_;
    PaceOptions options_;
    double packed_;      ///< the time without waits, s
    double slowest_ = 0; ///< speed of the law
    double fastest_ = 0; ///< where the limits know none
    double hardest_ = 0; ///< the same for the acceleration
    double shrink_ = 0;  ///< by which stations are narrower, s of u
};

} // namespace detail

} // namespace seamhold

#endif
