#ifndef SEAMHOLD_PLAN_PACE_LAW_HPP
#define SEAMHOLD_PLAN_PACE_LAW_HPP

#include "seamhold/motion/time_law.hpp"
#include "seamhold/plan/pace_limits.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

namespace seamhold::detail {

/// A stretch of a law at constant acceleration, from a state on.
struct PaceStep {
    double time; ///< how long, s
    double u, speed, acceleration;
};

/// A law of stretches from time 0, the last of no length, smoothed: each u is the mean of those within half
/// of `smoothing` to both sides. Speeds and accelerations stay within what they were, and u moves by at most
/// acceleration · smoothing² / 24. Before and after it runs on at constant speed. Nothing where the speed
/// falls below 0.
inline std::optional<TimeLaw> pace_law(std::vector<PaceStep> const& steps, double smoothing) {
    // Where the acceleration changes, and by how much.
    struct Change {
        double time, by;
    };
    std::vector<Change> changes;
    double time = 0, last = 0, hardest = 0;
    for (auto const& step : steps)
        hardest = std::max(hardest, std::abs(step.acceleration));
    for (auto const& step : steps) {
        if (std::abs(step.acceleration - last) > 1e-9 * hardest) {
            changes.push_back({time, step.acceleration - last});
            last = step.acceleration;
        }
        time += step.time;
    }
    if (changes.empty())
        return steps.front().speed > 0
                   ? std::optional(TimeLaw::steady(steps.front().speed, 0, steps.front().u))
                   : std::nullopt;
    std::vector<double> times;
    for (auto const& change : changes) {
        times.push_back(change.time - smoothing / 2);
        times.push_back(change.time + smoothing / 2);
    }
    std::sort(times.begin(), times.end());
    std::vector<double> apart{times.front()};
    for (double const t : times)
        if (t - apart.back() > 1e-9)
            apart.push_back(t);
    std::vector<double> accelerations;
    double settled = 0; // of the changes that are over
    std::size_t over = 0;
    for (double const t : apart) {
        while (over < changes.size() && changes[over].time + smoothing / 2 <= t + 1e-9)
            settled += changes[over++].by;
        double a = settled;
        for (std::size_t i = over; i < changes.size() && changes[i].time - smoothing / 2 < t; ++i)
            a += changes[i].by * ((t - changes[i].time) / smoothing + 0.5);
        accelerations.push_back(a);
    }
    accelerations.front() = accelerations.back() = 0;
    try {
        double const before = apart.front();
        return TimeLaw(std::move(apart), accelerations, steps.front().u + before * steps.front().speed,
                       steps.front().speed);
    } catch (BadInput const&) {
        return std::nullopt;
    }
}

/// Whether a law keeps limits, to a billionth, wherever it is from one time to another.
inline bool keeps_limits(TimeLaw const& law, PaceLimits const& limits, double from, double to) {
    std::vector<double> times{from};
    for (double const t : law.times())
        if (t > from && t < to)
            times.push_back(t);
    times.push_back(to);
    for (std::size_t i = 0; i + 1 < times.size(); ++i) {
        double const middle = times[i] + (times[i + 1] - times[i]) / 2;
        auto const first = law.at(Taylor<double, 3>::variable(middle)); // of the piece
        double const half = (times[i + 1] - times[i]) / 2;
        double const bend = first.derivative(2), turn = first.derivative(3);
        auto const speed = [&](double x) { return first.coefficient[1] + x * (bend + x * turn / 2); };
        double fastest = std::max(speed(-half), speed(half));
        if (turn < 0 && std::abs(bend) < half * -turn)
            fastest = std::max(fastest, speed(-bend / turn));
        double const hardest = std::abs(bend) + half * std::abs(turn);
        auto const held = limits.over(law.at(times[i]), law.at(times[i + 1]));
        if (!(fastest <= held.speed * (1 + 1e-9)) || !(hardest <= held.acceleration * (1 + 1e-9) + 1e-9))
            return false;
    }
    return true;
}

} // namespace seamhold::detail

#endif
