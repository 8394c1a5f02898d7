#ifndef SEAMHOLD_PLAN_PACE_STEADY_HPP
#define SEAMHOLD_PLAN_PACE_STEADY_HPP

#include "seamhold/plan/pace_limits.hpp"
#include "seamhold/plan/pace_task.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <vector>

namespace seamhold {

namespace detail {

/// The time from the first start to the last end with nothing but tasks and least gaps.
inline double packed_time(std::span<PacedTask const> tasks) {
    double sum = 0;
    for (std::size_t k = 0; k < tasks.size(); ++k)
        sum += tasks[k].duration + (k > 0 ? tasks[k].gap_before : 0);
    return sum;
}

/// Starts at one speed of the path, with u = speed · t; in clock time, not yet moved to 0.
struct SteadyStarts {
    double first_low, first_high; ///< between which the first start gives the least total
    double total;
};

/// The least total at one speed: each start lies between an earliest and a latest time, so that the last
/// start follows from one pass (all starts that must wait, wait for the stations). Nothing where no starts
/// do.
inline std::optional<SteadyStarts> steady_total(std::span<PacedTask const> tasks, PaceLimits const& limits,
                                                double speed) {
    double earliest = -std::numeric_limits<double>::infinity(), packed = 0;
    double first_latest = -earliest, first_earliest = earliest, waits_from = earliest;
    for (std::size_t k = 0; k < tasks.size(); ++k) {
        auto const& task = tasks[k];
        double low = limits.low() / speed, high = limits.high() / speed - task.duration;
        for (auto const& station : task.stations) {
            low = std::max(low, station.low / speed - station.offset);
            high = std::min(high, station.high / speed - station.offset);
        }
        if (k > 0) {
            double const step = tasks[k - 1].duration + task.gap_before;
            packed += step;
            earliest += step;
        }
        earliest = std::max(earliest, low);
        if (earliest > high)
            return std::nullopt;
        if (k == 0)
            first_earliest = low;
        waits_from = earliest - packed;
        first_latest = std::min(first_latest, high - packed);
    }
    // From `waits_from` on the first start moves the last with it.
    if (first_latest < first_earliest)
        return std::nullopt;
    double const first = std::min(first_latest, std::max(first_earliest, waits_from));
    double const last_start = std::max(earliest, first + packed);
    return SteadyStarts{first, first_latest, last_start + tasks.back().duration - first};
}

} // namespace detail

/// The constant speed with the least total time for an order of tasks, and the starts; nothing where no
/// constant speed was found that does. The speed is sought among 96 and then between them, so a narrow range
/// of speeds may be missed; of speeds that do equally well the one in the middle is taken, and so is the
/// start.
inline std::optional<PacedPlan> fit_steady_pace(std::span<PacedTask const> tasks, PaceLimits const& limits) {
    if (tasks.empty())
        return std::nullopt;
    double const packed = detail::packed_time(tasks);
    double from = limits.high(), to = limits.low();
    for (auto const& task : tasks)
        for (auto const& station : task.stations) {
            from = std::min(from, station.low);
            to = std::max(to, station.high);
        }
    double const way = std::max(to - from, 1e-9 * (limits.high() - limits.low()));
    double const fastest = std::min(limits.over(from, to).speed, 10 * way / std::max(packed, 1e-9));
    double const equal = 1e-9 * std::max(packed, 1e-9);
    auto const total = [&](double speed) {
        auto const starts = detail::steady_total(tasks, limits, speed);
        return starts ? starts->total : std::numeric_limits<double>::infinity();
    };
    std::size_t const count = 96;
    auto const nth = [&](double i) {
        return fastest * std::pow(1e-3, 1 - i / static_cast<double>(count - 1));
    };
    double best = std::numeric_limits<double>::infinity();
    std::size_t first = 0, last = 0;
    for (std::size_t i = 0; i < count; ++i) {
        double const t = total(nth(static_cast<double>(i)));
        if (t < best - equal) {
            best = t;
            first = last = i;
        } else if (t <= best + equal && last + 1 == i) {
            last = i;
        }
    }
    if (!is_finite(best))
        return std::nullopt;
    double place = (static_cast<double>(first) + static_cast<double>(last)) / 2;
    if (first == last) { // between its neighbours, by golden sections
        double low = std::max(place - 1, 0.0), high = std::min(place + 1, static_cast<double>(count - 1));
        for (int i = 0; i < 40; ++i) {
            double const a = low + 0.381966 * (high - low), b = low + 0.618034 * (high - low);
            (total(nth(a)) <= total(nth(b)) ? high : low) = total(nth(a)) <= total(nth(b)) ? b : a;
            if (total(nth(low + (high - low) / 2)) < best) {
                place = low + (high - low) / 2;
                best = total(nth(place));
            }
        }
    } else if (total(nth(place)) > best + equal) {
        place = static_cast<double>(first);
    }
    double const speed = nth(place);
    auto const starts = detail::steady_total(tasks, limits, speed);
    double const start = starts->first_low + (starts->first_high - starts->first_low) / 2;
    std::vector<double> times{0};
    for (std::size_t k = 0; k < tasks.size(); ++k) {
        double low = limits.low() / speed;
        for (auto const& station : tasks[k].stations)
            low = std::max(low, station.low / speed - station.offset);
        if (k > 0)
            times.push_back(
                std::max(low - start, times.back() + tasks[k - 1].duration + tasks[k].gap_before));
    }
    double const whole = times.back() + tasks.back().duration;
    return PacedPlan{times, TimeLaw::steady(speed, 0, start * speed), whole, whole - packed};
}

} // namespace seamhold

#endif
