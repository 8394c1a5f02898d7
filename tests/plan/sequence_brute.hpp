#ifndef SEAMHOLD_TESTS_PLAN_SEQUENCE_BRUTE_HPP
#define SEAMHOLD_TESTS_PLAN_SEQUENCE_BRUTE_HPP

#include "seamhold/plan/sequence_problem.hpp"

#include "support/random.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numeric>
#include <optional>
#include <string>
#include <vector>

// Every order and every choice of ways, each by longest paths in the graph of its difference constraints. It
// shares no code with the library.

namespace seamhold::test {

constexpr double infinity = std::numeric_limits<double>::infinity();

// A job, and the time between two ways as a table.
struct SequenceJob {
    std::vector<Task> tasks;
    SequenceRules rules;
    std::vector<std::vector<double>> times; // by task * 4 + way

    double between(WayRef a, WayRef b) const { return times[a.task * 4 + a.way][b.task * 4 + b.way]; }
};

struct BruteBest {
    double takt = infinity;
    double end = infinity;
    double lateness = infinity;
};

// A graph of constraints: value[to] is at least value[from] + weight.
class ConstraintGraph {
public:
    explicit ConstraintGraph(std::size_t nodes) : nodes_(nodes) {}

    void add(std::size_t from, std::size_t to, double weight) { edges_.push_back({from, to, weight}); }

    // Longest paths from a node (Bellman and Ford); nothing where a circle has a positive sum.
    std::optional<std::vector<double>> longest(std::size_t from) const {
        std::vector<double> value(nodes_, -infinity);
        value[from] = 0;
        for (std::size_t round = 0; round <= nodes_; ++round) {
            bool changed = false;
            for (Edge const& e : edges_)
                if (value[e.from] + e.weight > value[e.to] + 1e-11) {
                    value[e.to] = value[e.from] + e.weight;
                    changed = true;
                }
            if (!changed)
                return value;
        }
        return std::nullopt;
    }

private:
    struct Edge {
        std::size_t from, to;
        double weight;
    };
    std::size_t nodes_;
    std::vector<Edge> edges_;
};

class BruteSearch {
public:
    // Every order, or only that of the numbers in the first ways.
    explicit BruteSearch(SequenceJob const& job, bool all = true) : job_(job) {
        std::vector<std::size_t> order(job.tasks.size());
        std::iota(order.begin(), order.end(), std::size_t{0});
        if (!all) {
            look(order, std::vector<std::uint32_t>(order.size(), 0));
            return;
        }
        do {
            std::vector<std::uint32_t> ways(order.size(), 0);
            while (true) {
                look(order, ways);
                std::size_t t = 0;
                while (t < ways.size() && ++ways[t] == job.tasks[t].ways.size())
                    ways[t++] = 0;
                if (t == ways.size())
                    break;
            }
        } while (std::next_permutation(order.begin(), order.end()));
    }

    BruteBest best;

private:
    // Nodes: the tasks, then the origin of time, the first start and the last end.
    void look(std::vector<std::size_t> const& order, std::vector<std::uint32_t> const& ways) {
        std::size_t const n = order.size(), origin = n, first = n + 1, last = n + 2;
        ConstraintGraph open(n + 3);
        auto const ref = [&](std::size_t t) { return WayRef{static_cast<std::uint32_t>(t), ways[t]}; };
        auto const way = [&](std::size_t t) -> TaskWay const& { return job_.tasks[t].ways[ways[t]]; };
        std::vector<std::size_t> place(n);
        for (std::size_t k = 0; k < n; ++k)
            place[order[k]] = k;
        for (std::size_t k = 0; k < n; ++k) {
            std::size_t const b = order[k];
            open.add(origin, b, way(b).earliest);
            open.add(first, b, 0);
            open.add(b, last, way(b).duration);
            for (std::size_t p = k; p-- > 0;) {
                std::size_t const a = order[p];
                if (way(a).head != way(b).head)
                    continue;
                double const gap = job_.between(ref(a), ref(b));
                if (gap == infinity)
                    return;
                open.add(a, b, way(a).duration + gap);
                break;
            }
            if (k > 0 && job_.rules.shared_laser && way(order[k - 1]).head != way(b).head)
                open.add(order[k - 1], b, way(order[k - 1]).duration + job_.rules.laser_switch);
        }
        for (TaskAfter const& r : job_.rules.afters) {
            if (place[r.first] > place[r.then])
                return;
            open.add(r.first, r.then, way(r.first).duration + r.gap);
        }
        for (TaskApart const& r : job_.rules.aparts) {
            bool const one_first = place[r.one] < place[r.other];
            double const gap = one_first ? r.gap_one_first : r.gap_other_first;
            if (gap == infinity)
                return;
            std::size_t const a = one_first ? r.one : r.other, b = one_first ? r.other : r.one;
            open.add(a, b, way(a).duration + gap);
        }
        if (auto const soonest = open.longest(origin)) {
            double late = 0;
            for (std::size_t t = 0; t < n; ++t)
                late = std::max(late, (*soonest)[t] - way(t).latest);
            best.lateness = std::min(best.lateness, late);
        }
        ConstraintGraph closed = open;
        for (std::size_t t = 0; t < n; ++t)
            if (way(t).latest < infinity)
                closed.add(t, origin, -way(t).latest);
        auto const from_first = closed.longest(first);
        if (!from_first || (*from_first)[last] > best.takt + 1e-9)
            return;
        double const takt = (*from_first)[last];
        closed.add(last, first, -takt - 1e-10);
        auto const from_origin = closed.longest(origin);
        double const end = from_origin ? (*from_origin)[last] : infinity;
        if (takt < best.takt - 1e-9) {
            best.takt = takt;
            best.end = end;
        } else {
            best.end = std::min(best.end, end);
        }
    }

    SequenceJob const& job_;
};

inline BruteBest best_in_order(SequenceJob const& job) { return BruteSearch(job, false).best; }

// What a random job is made of.
struct RandomJobSettings {
    std::size_t tasks = 5, ways = 2, heads = 1;
    double window = 4;   // the largest length of a window, in mean durations times tasks
    double infinite = 0; // share of times between that are infinite
    double whole = 0;    // share of jobs with whole numbers, so that many orders are as good
    std::size_t afters = 0, aparts = 0;
};

inline SequenceJob random_job(Random& random, RandomJobSettings const& s) {
    SequenceJob job;
    bool const whole = random.unit() < s.whole;
    auto const number = [&](double low, double high) {
        double const x = random.uniform(low, high);
        return whole ? std::round(x) : x;
    };
    auto const n = static_cast<double>(s.tasks);
    for (std::size_t t = 0; t < s.tasks; ++t) {
        Task task{"t" + std::to_string(t), {}};
        std::size_t const ways = 1 + random.index(s.ways);
        for (std::size_t w = 0; w < ways; ++w) {
            double const open = number(-1, 1.4 * n);
            double const length = random.unit() < 0.1 ? infinity : number(0, s.window * n);
            task.ways.push_back({open, open + length, number(0.2, 2), random.index(s.heads)});
        }
        job.tasks.push_back(task);
    }
    job.times.assign(4 * s.tasks, std::vector<double>(4 * s.tasks));
    for (auto& row : job.times)
        for (double& x : row)
            x = random.unit() < s.infinite ? infinity : number(0, 1.5);
    job.rules.shared_laser = random.unit() < 0.5;
    job.rules.laser_switch = number(0, 0.6);
    for (std::size_t k = 0; k < s.afters && s.tasks > 1; ++k) {
        std::size_t const a = random.index(s.tasks - 1), b = a + 1 + random.index(s.tasks - 1 - a);
        job.rules.afters.push_back({a, b, number(0, 3)});
    }
    for (std::size_t k = 0; k < s.aparts && s.tasks > 1; ++k) {
        std::size_t const a = random.index(s.tasks - 1), b = a + 1 + random.index(s.tasks - 1 - a);
        TaskApart r{b, a, number(0, 3), number(0, 3)};
        if (random.unit() < 0.3)
            r.gap_one_first = infinity; // only forbids the order against the numbers: no circles
        job.rules.aparts.push_back(r);
    }
    return job;
}

// Says what is wrong with starts; empty where nothing is. Every pair of tasks is looked at by its start times
// alone.
inline std::string fault_of(SequenceJob const& job, std::vector<WayRef> const& order,
                            std::vector<double> const& starts, double takt) {
    double const tolerance = 1e-9;
    std::size_t const n = job.tasks.size();
    if (order.size() != n || starts.size() != n)
        return "wrong number of tasks";
    std::vector<std::size_t> place(n, n);
    double first = infinity, last = -infinity;
    auto const way = [&](std::size_t k) -> TaskWay const& {
        return job.tasks[order[k].task].ways[order[k].way];
    };
    for (std::size_t k = 0; k < n; ++k) {
        if (place[order[k].task] != n)
            return "a task twice";
        place[order[k].task] = k;
        if (!(starts[k] >= way(k).earliest - tolerance) || !(starts[k] <= way(k).latest))
            return "out of its window: " + job.tasks[order[k].task].name;
        if (k > 0 && starts[k] < starts[k - 1])
            return "not by start";
        first = std::min(first, starts[k]);
        last = std::max(last, starts[k] + way(k).duration);
        for (std::size_t p = k; p-- > 0;)
            if (way(p).head == way(k).head) {
                if (starts[k] < starts[p] + way(p).duration + job.between(order[p], order[k]) - tolerance)
                    return "air move too short";
                break;
            }
        if (k > 0 && job.rules.shared_laser && way(k - 1).head != way(k).head &&
            starts[k] < starts[k - 1] + way(k - 1).duration + job.rules.laser_switch - tolerance)
            return "laser switched too fast";
    }
    auto const end = [&](std::size_t task) { return starts[place[task]] + way(place[task]).duration; };
    for (TaskAfter const& r : job.rules.afters)
        if (starts[place[r.then]] < end(r.first) + r.gap - tolerance)
            return "tie broken";
    for (TaskApart const& r : job.rules.aparts) {
        bool const one_first = starts[place[r.other]] >= end(r.one) + r.gap_one_first - tolerance;
        bool const other_first = starts[place[r.one]] >= end(r.other) + r.gap_other_first - tolerance;
        if (!one_first && !other_first)
            return "not apart";
    }
    if (!(std::abs(last - first - takt) <= tolerance))
        return "wrong takt";
    return "";
}

} // namespace seamhold::test

#endif
