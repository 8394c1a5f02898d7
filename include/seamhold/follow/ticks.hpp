#ifndef SEAMHOLD_FOLLOW_TICKS_HPP
#define SEAMHOLD_FOLLOW_TICKS_HPP

#include "seamhold/follow/air_way.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// What is handed to the head at one tick.
struct Tick {
    double time; ///< when it is handed over, s of the robot's clock
    Command<>
        command;   ///< the mirrors answer `mirror_lag` later, the lens `focus_lag` later; within their ranges
    bool gate;     ///< whether the light may be on, at once
    double power;  ///< of the laser at the work, W; 0 with the gate shut, and where nothing says what it is
    Status status; ///< of the spot at `time`, welding or waiting: why the gate is shut within a seam
    Status
        handed; ///< of what is handed over, the worse of mirrors and lens; not `ok`: not all that is needed
    std::size_t seam; ///< the seam that is welded now, or, with the gate shut, the one that is waited for
};

/// The commands of a job tick by tick, each handed over early by the head's lags. Between seams the axes run
/// an air way (see `AirWay`) and then on the next seam's own path up to its start; where there is not
/// time enough for one, the command waits, moving with the robot, on the next seam's first point (a step; the
/// beam is off). Before the first seam it waits one settling time back on the seam's path run on, and runs
/// from there; after the last one it waits on its last point. A command beyond the range of a mirror or of
/// the lens is handed over as the nearest end of the range, so that a seam that cannot be reached yet asks
/// nothing impossible while it is waited for. The gate is open while a seam is welded and the spot is `ok`;
/// in doubt it is shut. A command and a gate hold until the next tick, so the gate opens only where the seam
/// lasts until then. Times within a thousandth of a tick count as equal: a seam that ends on a tick must not
/// meet the next seam's mirrors because of a last bit.
class Ticks {
public:
    /// Of a job with one seam or more, one command every `period` s (above 0). Keeps a reference to the job.
    Ticks(Job const& job, double period) : job_(&job), period_(period) {
        if (!(period > 0))
            throw BadInput("a tick's period must be above 0; given was " + std::to_string(period) + " s");
        if (job.seams.empty())
            throw BadInput("a job without seams has no commands");
        ways_.resize(job.seams.size() - 1);
        auto const& d = job.dynamics;
        bool const moves = d.mirror_velocity > 0 && is_finite(d.mirror_velocity) && d.focus_velocity > 0 &&
                           is_finite(d.focus_velocity) && d.mirror_acceleration > 0 &&
                           d.focus_acceleration > 0 && d.mirror_jerk > 0;
        if (moves) // a head of which no more is said steps
            ways_ = air_ways(job);
        lead_ = std::max({job.dynamics.mirror_lag, job.dynamics.focus_lag, 0.0}) + job.dynamics.settling;
        start_ = job.seams.front().start - lead_;
        count_ =
            static_cast<std::size_t>(std::floor((job.seams.back().end() + slack() - start_) / period)) + 1;
    }

    /// The number of ticks, from before the first seam (by the longest lag and the settling time) to the
    /// last's end.
    std::size_t size() const { return count_; }

    /// Tick number i.
    Tick operator[](std::size_t i) const {
        double const now = start_ + static_cast<double>(i) * period_;
        Target const light = target_at(now);
        double const mirror_time = now + job_->dynamics.mirror_lag;
        double const focus_time = now + job_->dynamics.focus_lag;
        auto const mirrors = wanted_at(mirror_time);
        auto const lens = wanted_at(focus_time);
        auto const ranges = job_->chain.head.ranges();
        Tick tick{now,
                  {ranges.x_mirror.nearest(mirrors.command.x_mirror),
                   ranges.y_mirror.nearest(mirrors.command.y_mirror),
                   ranges.focus.nearest(lens.command.focus)},
                  false,
                  0,
                  at(light, now).status,
                  std::max(mirrors.status, lens.status),
                  light.seam};
        tick.gate = light.welding && tick.status == Status::ok;
        if (tick.gate)
            tick.power = job_->seams[light.seam].seam.power_at(light.seam_time,
                                                               job_->process ? job_->process->power : 0);
        return tick;
    }

private:
    struct Target {
        std::size_t seam;
        double seam_time;
        bool welding;
    };

    struct Wanted {
        Command<> command;
        Status status;
    };

    /// What the axes are to answer at a time.
    Wanted wanted_at(double time) const {
        auto const target = target_at(time);
        if (AirWay const* const way = way_to(target, time)) {
            auto const command = way->at(time);
            auto const ranges = job_->chain.head.ranges();
            bool const inside = ranges.x_mirror.clearance(command.x_mirror) >= 0 &&
                                ranges.y_mirror.clearance(command.y_mirror) >= 0 &&
                                ranges.focus.clearance(command.focus) >= 0;
            return {command, inside ? Status::ok : Status::out_of_reach};
        }
        auto const followed = at(target, time);
        return {followed.aim.command, followed.status};
    }

    /// The air way to the seam that is waited for, where there is one and it is under way.
    AirWay const* way_to(Target const& target, double time) const {
        if (target.welding || target.seam == 0)
            return nullptr;
        auto const& way = ways_[target.seam - 1];
        return way && time < way->end() ? &*way : nullptr;
    }

    Target target_at(double time) const {
        auto const& seams = job_->seams;
        auto const next = std::partition_point(
            seams.begin(), seams.end(), [&](ScheduledSeam const& s) { return s.end() + slack() < time; });
        if (next == seams.end())
            return {seams.size() - 1, seams.back().seam.duration(), false};
        auto const i = static_cast<std::size_t>(next - seams.begin());
        // The first seam is waited for where it will be run on from; after a way, its path is.
        double const from = i == 0 ? -job_->dynamics.settling : ways_[i - 1] ? -no_limit : 0;
        return {i, std::clamp(time - next->start, from, next->seam.duration()),
                time >= next->start - slack() && time + period_ <= next->end() + slack()};
    }

    double slack() const { return period_ / 1000; }

    Followed<double> at(Target const& target, double time) const {
        return job_->chain.follow(job_->seams[target.seam].seam, target.seam_time, time);
    }

    Job const* job_;
    double period_;
    double lead_;
    double start_;
    std::size_t count_;
    std::vector<std::optional<AirWay>> ways_; ///< after each seam but the last
};

} // namespace seamhold

#endif
