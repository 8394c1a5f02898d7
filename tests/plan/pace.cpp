#include "seamhold/plan/pace.hpp"

#include <doctest/doctest.h>

#include "support/numbers.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <variant>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using Tasks = std::vector<PacedTask>;

PacedPlan const& plan_of(std::variant<PacedPlan, PaceConflict> const& answer) {
    if (auto const* conflict = std::get_if<PaceConflict>(&answer))
        FAIL(to_string(*conflict));
    return std::get<PacedPlan>(answer);
}

/// All that a plan owes, looked at by samples: order, gaps, stations, limits, that it moves on, its total.
void check_plan(Tasks const& tasks, PaceLimits const& limits, PacedPlan const& plan) {
    REQUIRE(plan.starts.size() == tasks.size());
    CHECK(plan.starts[0] == 0);
    double packed = 0;
    std::size_t misses = 0;
    for (std::size_t k = 0; k < tasks.size(); ++k) {
        packed += tasks[k].duration + (k > 0 ? tasks[k].gap_before : 0);
        if (k > 0 && plan.starts[k] < plan.starts[k - 1] + tasks[k - 1].duration + tasks[k].gap_before - 1e-9)
            ++misses;
        for (auto const& s : tasks[k].stations) {
            double const u = plan.law.at(plan.starts[k] + s.offset);
            if (!(u >= s.low - 1.1e-9 && u <= s.high + 1.1e-9))
                ++misses;
        }
    }
    CHECK(misses == 0);
    double const end = plan.starts.back() + tasks.back().duration;
    CHECK(plan.total == doctest::Approx(end).epsilon(1e-12));
    CHECK(plan.waiting == doctest::Approx(end - packed).epsilon(1e-9));
    std::size_t stands = 0, too_fast = 0, too_hard = 0;
    double const mean = (plan.law.at(end) - plan.law.at(0.0)) / end;
    for (int i = 0; i <= 4000; ++i) {
        double const t = end * i / 4000;
        auto const held = limits.at(plan.law.at(t));
        stands += plan.law.speed(t) > 1e-4 * mean ? 0 : 1;
        too_fast += plan.law.speed(t) <= held.speed * (1 + 2e-9) ? 0 : 1;
        too_hard += std::abs(plan.law.acceleration(t)) <= held.acceleration * (1 + 2e-9) + 2e-9 ? 0 : 1;
    }
    CHECK(stands == 0);
    CHECK(too_fast == 0);
    CHECK(too_hard == 0);
    CHECK(plan.law.acceleration(-1) == 0);
    CHECK(plan.law.acceleration(end + 1) == 0);
}

/// The least total at constant speeds of a fine grid, by plain trial: for each speed and each place on the
/// first task's stations.
double best_on_grid(Tasks const& tasks, double fastest) {
    double best = infinity;
    for (int i = 1; i <= 200; ++i) {
        double const v = fastest * i / 200;
        for (int j = 0; j <= 60; ++j) {
            auto const& s0 = tasks[0].stations[0];
            double const u0 = s0.low + (s0.high - s0.low) * j / 60 - v * s0.offset;
            double t = 0;
            bool fits = true;
            for (std::size_t k = 0; k < tasks.size() && fits; ++k) {
                if (k > 0)
                    t += tasks[k].gap_before;
                double const from = t;
                for (auto const& s : tasks[k].stations)
                    if (k > 0)
                        t = std::max(t, (s.low - u0) / v - s.offset);
                if (k == 0)
                    t = from;
                for (auto const& s : tasks[k].stations) {
                    double const u = u0 + v * (t + s.offset);
                    fits = fits && u <= s.high + 1e-12 && u >= s.low - 1e-12;
                }
                t += tasks[k].duration;
            }
            if (fits)
                best = std::min(best, t);
        }
    }
    return best;
}

/// The least total without a limit of acceleration: at each instant the places that may be reached, and how
/// much must have been waited to be there, for limits that are the same everywhere. A lower bound of all.
double bound_by_speed(Tasks const& tasks, double speed) {
    double waited = 0, reach = infinity; // with that wait as far as `reach`, further for as much more
    double total = 0;
    for (std::size_t k = 0; k < tasks.size(); ++k) {
        if (k > 0) {
            total += tasks[k].gap_before;
            reach += speed * tasks[k].gap_before;
        }
        double last = 0;
        for (auto const& s : tasks[k].stations) { // in order of offsets
            reach += speed * (s.offset - last);
            last = s.offset;
            if (s.low > reach) {
                waited += (s.low - reach) / speed;
                reach = s.low;
            }
            reach = std::min(reach, s.high);
        }
        reach += speed * (tasks[k].duration - last);
        total += tasks[k].duration;
    }
    return total + waited;
}

/// A dense dynamic program on a lattice that steps keep exactly: time h, accelerations −A, 0 and A, speeds in
/// A·h, places in A·h²/2. Durations, offsets and gaps must be multiples of h, and so are waits. The states
/// are few of those that a law may have, so its least total is one that can be done.
struct Lattice {
    double h, A, top, low, high;

    double place() const { return A * h * h / 2; }

    double least_total(Tasks const& tasks) const {
        auto const speeds = static_cast<std::size_t>(std::floor(top / (A * h) + 1e-9)) + 1;
        auto const places = static_cast<std::size_t>(std::floor((high - low) / place() + 1e-9)) + 1;
        std::vector<double> cost(speeds * places, 0.0); // waits, s
        auto const clip = [&](ReachStation const& s) {
            for (std::size_t i = 0; i < places; ++i) {
                double const u = low + place() * static_cast<double>(i);
                if (u < s.low - 1e-9 || u > s.high + 1e-9)
                    for (std::size_t v = 0; v < speeds; ++v)
                        cost[v * places + i] = infinity;
            }
        };
        auto const step = [&](std::vector<double> const& from) {
            std::vector<double> to(from.size(), infinity);
            for (std::size_t v = 0; v < speeds; ++v)
                for (int d = -1; d <= 1; ++d) {
                    if ((d < 0 && v == 0) || (d > 0 && v + 1 == speeds))
                        continue;
                    auto const next = v + static_cast<std::size_t>(d + 1) - 1;
                    std::size_t const way = v + next; // (v + v′)/2 · h in places of A·h²/2
                    for (std::size_t i = 0; i + way < places; ++i)
                        to[next * places + i + way] =
                            std::min(to[next * places + i + way], from[v * places + i]);
                }
            return to;
        };
        auto const steps = [&](double time) { return static_cast<int>(std::lround(time / h)); };
        double packed = 0;
        for (std::size_t k = 0; k < tasks.size(); ++k) {
            packed += tasks[k].duration + (k > 0 ? tasks[k].gap_before : 0);
            if (k > 0) {
                for (int i = 0; i < steps(tasks[k].gap_before); ++i)
                    cost = step(cost);
                auto longer = cost;
                for (int i = 0; i < steps(6.0); ++i) {
                    longer = step(longer);
                    for (double& c : longer)
                        c += h;
                    for (std::size_t j = 0; j < cost.size(); ++j)
                        cost[j] = longer[j] = std::min(cost[j], longer[j]);
                }
            }
            int now = 0;
            for (auto const& s : tasks[k].stations) {
                for (; now < steps(s.offset); ++now)
                    cost = step(cost);
                clip(s);
            }
            for (; now < steps(tasks[k].duration); ++now)
                cost = step(cost);
        }
        return packed + *std::min_element(cost.begin(), cost.end());
    }
};

/// Tasks of a random order along the path: some on the way, some in clusters with ways between them.
Tasks random_tasks(Random& random, std::size_t count, double unit = 0) {
    auto const rounded = [unit](double x) {
        return unit > 0 ? std::max(unit, std::round(x / unit) * unit) : x;
    };
    Tasks tasks;
    double at = random.uniform(-1, 1);
    for (std::size_t k = 0; k < count; ++k) {
        PacedTask task{rounded(random.uniform(0.005, 0.1)), rounded(random.uniform(0.05, 0.3)), {}};
        double const width = random.uniform(0.1, 0.8);
        double const u = at + random.uniform(-0.15, 0.15);
        for (double const share : {0.0, 0.5, 1.0}) {
            double const offset = share == 0.5 ? rounded(task.duration / 2) : share * task.duration;
            task.stations.push_back({std::min(offset, task.duration), u - width / 2 + 0.6 * offset,
                                     u + width / 2 + 0.6 * offset});
        }
        tasks.push_back(task);
        at += random.index(4) == 0 ? random.uniform(0.5, 3) : random.uniform(0, 0.2);
    }
    return tasks;
}

} // namespace

TEST_CASE("random orders: what is promised holds, and no constant speed is better") {
    Random random(71301);
    std::size_t planned = 0, waits = 0, steady = 0, better = 0;
    double worst_over_bound = 0;
    for (std::size_t n = 0; n < runs(150); ++n) {
        CAPTURE(n);
        double const top = random.uniform(0.8, 4), hard = random.uniform(3, 30);
        auto const tasks = random_tasks(random, 2 + random.index(10));
        PaceLimits const limits(-5, 40, PaceLimit{top, hard});
        auto const answer = fit_pace(tasks, limits);
        double const on_grid = best_on_grid(tasks, top);
        double const bound = bound_by_speed(tasks, top);
        if (auto const* conflict = std::get_if<PaceConflict>(&answer)) {
            CAPTURE(to_string(*conflict));
            CHECK(on_grid == infinity);
            continue;
        }
        auto const& plan = std::get<PacedPlan>(answer);
        ++planned;
        check_plan(tasks, limits, plan);
        CHECK(plan.total <= on_grid + 1e-6);
        CHECK(plan.total >= bound - 1e-9);
        waits += plan.waiting > 1e-6 ? 1 : 0;
        steady += plan.law.breaks().empty() ? 1 : 0;
        better += plan.total < on_grid - 1e-3 ? 1 : 0;
        worst_over_bound = std::max(worst_over_bound, (plan.total - bound) / bound);
    }
    MESSAGE(planned, " planned, ", waits, " with waits, ", steady, " at constant speed, ", better,
            " better than any on the grid; over the bound by speed at most ", worst_over_bound);
    CHECK(planned * 2 > runs(150));
    CHECK(waits > 0);
    CHECK(better > 0);
}

TEST_CASE("random orders against a dense dynamic program") {
    Random random(71302);
    double sum = 0, most = -infinity, least = infinity;
    std::size_t count = 0, only_here = 0, only_there = 0;
    for (std::size_t n = 0; n < runs(60); ++n) {
        CAPTURE(n);
        double const h = 0.05, hard = random.uniform(3, 16);
        Lattice const lattice{h, hard, hard * h * 5, -3, 12};
        auto const tasks = random_tasks(random, 2 + random.index(5), h);
        PaceLimits const limits(-3, 12, PaceLimit{lattice.top, hard});
        double const dense = lattice.least_total(tasks);
        auto const answer = fit_pace(tasks, limits);
        if (auto const* conflict = std::get_if<PaceConflict>(&answer)) {
            CAPTURE(to_string(*conflict));
            only_there += dense < infinity ? 1 : 0;
            continue;
        }
        auto const& plan = std::get<PacedPlan>(answer);
        check_plan(tasks, limits, plan);
        if (dense == infinity) {
            ++only_here;
            continue;
        }
        ++count;
        double const off = plan.total - dense;
        sum += off;
        most = std::max(most, off);
        least = std::min(least, off);
    }
    MESSAGE(count, " orders: longer than the dense program by ", sum / static_cast<double>(count),
            " s on average, ", least, " to ", most, "; only here ", only_here, ", only there ", only_there);
    CHECK(only_there == 0);
    CHECK(most < 0.01);
    CHECK(count > only_here);
}

TEST_CASE("two clusters far apart: work, and the way at top speed with a ramp on each side") {
    // Every task is one place of the path, the clusters' places half a second of path apart, so that the law
    // between them is fixed: at speed 1 through a cluster. A ramp from 1 to the top V at acceleration A takes
    // (V − 1)/A and covers (V² − 1)/(2A).
    double const top = 4, hard = 12;
    PaceLimits const limits(-1, 30, PaceLimit{top, hard});
    double const width = 1e-5;
    // From the end of the first cluster to the begin of the second.
    for (double const way : {3.0, 8.0, 1.0, 1.3, 2.1, 4.4, 5.9, 7.3}) {
        CAPTURE(way);
        Tasks tasks;
        for (int k = 0; k < 6; ++k) {
            double const u = 0.5 * k + (k >= 3 ? way - 0.1 : 0);
            PacedTask task{0.1, 0.4, {}};
            for (int i = 0; i <= 200; ++i)
                task.stations.push_back({0.002 * i, u + 0.002 * i - width, u + 0.002 * i + width});
            tasks.push_back(task);
        }
        double const ramp_way = (top * top - 1) / hard; // both
        double time = 2 * (top - 1) / hard + (way - ramp_way) / top;
        if (way < ramp_way) { // the top is not reached: V² = 1 + A · way
            double const highest = std::sqrt(1 + hard * way);
            time = 2 * (highest - 1) / hard;
        }
        double const optimum = 2 * (3 * 0.4 + 2 * 0.1) + time;
        auto const plan = plan_of(fit_pace(tasks, limits));
        check_plan(tasks, limits, plan);
        // Between stations 2 ms apart and 20 µs wide the speed is free by A · 2 ms / 2 + 1 %, which a ramp of
        // 12/s² makes up for in 2 ms.
        CHECK(plan.total >= optimum - 2 * 0.002);
        CHECK(plan.total <= optimum + 0.002);
    }
}

TEST_CASE("the way in an open cluster: what the windows allow is used for the ramp") {
    // One task at u ≤ 1 at its end, the next from u ≥ 4 on, with room before and behind: the robot is at top
    // speed at both, and the wait is way over top less the gap.
    PaceLimits const limits(-20, 30, PaceLimit{2, 5});
    Tasks const tasks{{0, 2.0, {{0, -10, 1}, {2.0, -10, 1}}}, {0.3, 2.0, {{0, 4, 20}, {2.0, 4, 20}}}};
    auto const plan = plan_of(fit_pace(tasks, limits));
    check_plan(tasks, limits, plan);
    CHECK(plan.total ==
          doctest::Approx(4 + 3 / 2.0).epsilon(1e-4)); // a step of 20 ms, windows less smoothing
}

TEST_CASE("a constant speed where one does, in the middle of those that do") {
    PaceLimits const limits(-10, 20, PaceLimit{5, 10});
    Tasks tasks;
    for (int k = 0; k < 30; ++k)
        tasks.push_back({0.01, 0.09, {{0, 0.1 * k - 0.3, 0.1 * k + 0.3}}});
    auto const plan = plan_of(fit_pace(tasks, limits));
    check_plan(tasks, limits, plan);
    CHECK(plan.law.breaks().empty());
    CHECK(plan.waiting == doctest::Approx(0).epsilon(1e-12));
    // From one window's low to the last's high and back, 2.9 s apart: speeds 1 ± 0.6/2.9.
    CHECK(plan.law.speed(0) > 0.79);
    CHECK(plan.law.speed(0) < 1.21);

    // One task alone: any.
    Tasks const one{{0, 0.5, {{0, 1, 2}}}};
    auto const alone = plan_of(fit_pace(one, limits));
    check_plan(one, limits, alone);
    CHECK(alone.total == 0.5);
    // None with stations: the robot may be anywhere.
    Tasks const free{{0, 0.5, {}}, {0.1, 0.5, {}}};
    auto const anywhere = plan_of(fit_pace(free, limits));
    check_plan(free, limits, anywhere);
    CHECK(anywhere.total == doctest::Approx(1.1).epsilon(1e-12));
}

TEST_CASE("without limits of the robot there is hardly a wait") {
    PaceLimits const limits(-20, 30, PaceLimit{});
    Tasks const tasks{{0, 1.0, {{0, -10, 1}, {1.0, -10, 1}}}, {0.3, 1.0, {{0, 4, 20}, {1.0, 4, 20}}}};
    auto const plan = plan_of(fit_pace(tasks, limits));
    check_plan(tasks, limits, plan);
    CHECK(plan.waiting <= 1e-6);
}

TEST_CASE("limits that change along the path are kept") {
    Random random(71303);
    std::size_t planned = 0;
    for (std::size_t n = 0; n < runs(40); ++n) {
        CAPTURE(n);
        auto const tasks = random_tasks(random, 2 + random.index(8));
        std::vector<PaceLimit> cells;
        double speed = 2, acceleration = 10;
        for (int i = 0; i < 300; ++i) {
            speed = std::clamp(speed * random.uniform(0.9, 1.12), 0.8, 4.0);
            acceleration = std::clamp(acceleration * random.uniform(0.9, 1.12), 4.0, 30.0);
            cells.push_back({speed, acceleration});
        }
        PaceLimits const limits(-5, 40, cells);
        auto const answer = fit_pace(tasks, limits);
        auto const* plan = std::get_if<PacedPlan>(&answer);
        if (plan == nullptr)
            continue;
        ++planned;
        check_plan(tasks, limits, *plan);
        CHECK(plan->total >= bound_by_speed(tasks, 4.0) - 1e-9);
        if (auto const steady = fit_steady_pace(tasks, limits))
            CHECK(plan->total <= steady->total + 1e-9);
    }
    CHECK(planned * 10 >= runs(40) * 9);
}

TEST_CASE("what cannot be is answered with the task, the reason and what would do") {
    PaceLimits const limits(-10, 20, PaceLimit{2, 10});
    auto const conflict = [&](Tasks const& tasks) {
        auto const answer = fit_pace(tasks, limits);
        REQUIRE(std::holds_alternative<PaceConflict>(answer));
        return std::get<PaceConflict>(answer);
    };
    auto const back = conflict({{0, 1, {{0.5, 3, 4}}}, {0, 1, {{0, 0, 9}}}, {0.1, 1, {{0, 1, 2.25}}}});
    CHECK(back.obstacle == PaceObstacle::runs_back);
    CHECK(back.task == 2);
    CHECK(back.other == 0);
    CHECK(back.by == doctest::Approx(0.75).epsilon(1e-12)); // from 2.25 to 3
    CHECK(to_string(back) ==
          "task 2 is behind the robot after task 0: it must be earlier in the order, or its "
          "stations reach further by 0.75 s of the path");
    auto const empty = conflict({{0, 1, {{0, 0, 1}}}, {0, 1, {{0.2, 2, 1.5}}}});
    CHECK(empty.obstacle == PaceObstacle::station_empty);
    CHECK(empty.task == 1);
    CHECK(empty.by == doctest::Approx(0.5).epsilon(1e-12));
    auto const beyond = conflict({{0, 1, {{0, 25, 30}}}});
    CHECK(beyond.obstacle == PaceObstacle::station_empty);
    CHECK(beyond.by == doctest::Approx(5).epsilon(1e-12));
    // 4 s of path in 1 s at 2 at most: 2 s too far, half of it on either side.
    auto const far = conflict({{0, 1, {{0, 0, 1}}}, {0, 1, {{0, 1, 2}, {1, 6, 7}}}});
    CHECK(far.obstacle == PaceObstacle::within_task);
    CHECK(far.task == 1);
    CHECK(far.by == doctest::Approx(1).epsilon(0.01)); // with a little for smoothing
    auto widened =
        Tasks{{0, 1, {{0, 0, 1}}}, {0, 1, {{0, 1 - far.by, 2 + far.by}, {1, 6 - far.by, 7 + far.by}}}};
    check_plan(widened, limits, plan_of(fit_pace(widened, limits)));
    // Fixed at speed 2 up to u = 1, and at speed 0.5 from u = 1.01 on: no wait makes the way between longer
    // than the 0.1875 that it takes to slow down at 10. The stations must be wider by some of the rest.
    Tasks abrupt{{0, 0.5, {}}, {0, 0.5, {}}};
    for (int i = 0; i <= 50; ++i) {
        abrupt[0].stations.push_back({0.01 * i, 0.02 * i - 1e-3, 0.02 * i + 1e-3});
        abrupt[1].stations.push_back({0.01 * i, 1.01 + 0.005 * i - 1e-3, 1.01 + 0.005 * i + 1e-3});
    }
    auto const between = conflict(abrupt);
    CHECK(between.obstacle == PaceObstacle::between_tasks);
    CHECK(between.task == 1);
    CHECK(between.other == 0);
    CHECK(between.by > 0.01);
    CHECK(between.by < 0.1875);
    for (double const share : {1.05, 0.9}) {
        auto wider = abrupt;
        for (auto& s : wider[1].stations) {
            s.low -= share * between.by;
            s.high += share * between.by;
        }
        auto const answer = fit_pace(wider, limits);
        CHECK(std::holds_alternative<PacedPlan>(answer) == (share > 1));
    }
    auto const turns = conflict({{0, 1, {{0, 2, 3}, {1, 0, 1}}}});
    CHECK(turns.obstacle == PaceObstacle::within_task);
    CHECK(turns.by == doctest::Approx(1).epsilon(1e-12));
}

TEST_CASE("bad tasks are refused by number") {
    PaceLimits const limits(-10, 20, PaceLimit{2, 10});
    auto const message = [&](Tasks const& tasks, PaceOptions const& options = {}) {
        try {
            (void)fit_pace(tasks, limits, options);
        } catch (BadInput const& e) {
            return std::string(e.what());
        }
        return std::string();
    };
    CHECK(message({}) == "a pace needs one task or more");
    CHECK(message({{0, 1, {}}, {-1, 1, {}}}) ==
          "task 1: its gap and its duration must be 0 or more and finite; given were -1 and 1 s");
    CHECK(message({{0, -1, {}}}) != "");
    CHECK(message({{0, not_a_number, {}}}) != "");
    CHECK(message({{not_a_number, 1, {}}}) == ""); // the first gap is not read
    CHECK(message({{0, 1, {{1.5, 0, 1}}}}) ==
          "task 0: a station at 1.5 s from 0 to 1 s is not possible: it must "
          "lie within the task's 1 s and be finite");
    CHECK(message({{0, 1, {{0.5, not_a_number, 1}}}}) != "");
    CHECK(message({{0, 1, {{0.5, 0, infinity}}}}) != "");
    CHECK(message({{0, 1, {}}}, {0, 0.02, 0.05}) != "");
    CHECK(message({{0, 1, {}}}, {0.02, 0.02, 1.0}) != "");
}
