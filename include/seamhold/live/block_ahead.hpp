#ifndef SEAMHOLD_LIVE_BLOCK_AHEAD_HPP
#define SEAMHOLD_LIVE_BLOCK_AHEAD_HPP

#include "seamhold/live/block_commands.hpp"
#include "seamhold/live/live_axes.hpp"
#include "seamhold/live/live_limits.hpp"
#include "seamhold/live/live_tick.hpp"

#include <algorithm>
#include <cstddef>
#include <optional>
#include <span>

namespace seamhold {

/// Ticks that are known ahead: up to `to` the gate stays open and the commands are a block's.
template <int N> struct BlockAhead {
    double to = -no_limit; ///< the last moment, s; −∞: there are none
    double last = 0;       ///< the moment that was handed over last, s
    Block<N> block;        ///< of commands
    LiveTick tick;         ///< the one before, and what all have in common
    double seam_rate;      ///< of the seam's time, a second
    double arc_rate;       ///< along the seam, m/s

    /// Whether a moment belongs to it, and comes at most `longest` s after the one before.
    bool holds(ScannerTime now, double longest) const {
        double const gap = now.seconds - last;
        return now.seconds <= to && gap >= 0 && gap <= longest;
    }

    /// The tick of a moment that belongs to it. Along the seam the place is interpolated.
    LiveTick tick_at(ScannerTime now) {
        LiveTick t = tick;
        double const since = now - tick.time;
        last = now.seconds;
        t.time = now;
        t.command = block.at(now);
        t.seam_time += seam_rate * since;
        t.arc_length += arc_rate * since;
        return t;
    }
};

namespace detail {
/// The first row after a time, or the time itself where there is none.
inline double next_row(std::span<double const> rows, double time) {
    auto const next = std::upper_bound(rows.begin(), rows.end(), time);
    return next == rows.end() ? time : *next;
}
} // namespace detail

/// For how long after a moment all that a block in this seam is made of goes on without a break, s; `dark` is
/// when light goes out after its last tick, s. 0 where there is no block: the program stands, the power
/// changes, or an axis is in another seam.
template <class Axes, int N>
double whole_ahead(Axes const& axes, std::size_t seam, BlockBounds<N> const& bounds, ScannerTime now,
                   double dark) {
    auto const& flange = axes.chain().cell_from_flange;
    auto const& f = flange.forecast;
    auto const& scheduled = axes.schedule().seams()[seam];
    double const duration = scheduled.seam.duration();
    double const rate = f.clock.rate * f.program_rate;
    if (!(rate > 0) || scheduled.seam.power)
        return 0;
    double length = bounds.options().longest;
    auto const up_to = [&](double program_time, double later) {
        length = std::min(length, (program_time - axes.program_at(now + later)) / rate);
    };
    up_to(scheduled.start + duration, dark);
    for (std::size_t i = 0; i < 3; ++i) {
        auto const& axis = axes[i];
        if (axis.target.seam != seam || !axis.target.runs)
            return 0;
        double const delay = axis.response.delay, answer = now.seconds + delay;
        length = std::min(length, axis.correction.whole_until(answer) - answer);
        length = std::min(length, axis.move.whole_until(answer) - answer);
        double const program = axes.program_at(now + delay);
        double const seam_time = program - scheduled.start;
        if (!(seam_time >= 0 && seam_time <= duration))
            return 0;
        up_to(scheduled.start + bounds.next_break(seam_time), delay);
        if (f.on_pass && flange.pass)
            up_to(detail::next_row(flange.pass->times(), program), delay);
    }
    return length * (1 - 1e-9);
}

/// How the axes shall answer, blends and all, to commands from `now` on for `length` s: each about the moment
/// that is its own delay after the middle of that.
template <class Axes, int N>
Block<N> answers_of(Axes const& axes, std::size_t seam, BlockBounds<N> const& bounds, ScannerTime now,
                    double length) {
    auto const& scheduled = axes.schedule().seams()[seam];
    double const half = length / 2;
    auto const middle = [&](std::size_t i) { return now + (half + axes[i].response.delay); };
    auto const about = [&](std::size_t i) {
        return block_of(axes.chain(), scheduled.seam, bounds,
                        moment_in(axes.forecast(), scheduled.start, middle(i)), half);
    };
    auto const x = about(0);
    if (x.status != BlockStatus::ok)
        return x;
    auto const same = [&](std::size_t i) { return axes[i].response.delay == axes[0].response.delay; };
    auto answers = joined(x, same(1) ? x : about(1), same(2) ? x : about(2), now + half);
    for (std::size_t i = 0; i < 3; ++i) {
        double const t = middle(i).seconds;
        if (!(axes[i].correction.end() > t - half) && !(axes[i].move.end() > t - half))
            continue;
        auto const time = Taylor<double, N>::variable(t);
        auto const left = axes[i].correction.at(time) + axes[i].move.at(time);
        for (std::size_t k = 0; k <= N; ++k)
            answers.coefficient[k][i] += left.coefficient[k];
    }
    return answers;
}

/// Whether all commands of a block are within the axes' ranges.
template <int N> bool within(Block<N> const& commands, AxisRanges const& ranges) {
    std::array<Range, 3> const range{ranges.x_mirror, ranges.y_mirror, ranges.focus};
    for (std::size_t i = 0; i < 3; ++i) {
        auto const use = AxisUse::over(commands, i);
        if (!(use.low >= range[i].low && use.high <= range[i].high))
            return false;
    }
    return true;
}

} // namespace seamhold

#endif
