#ifndef SEAMHOLD_LIVE_LIVE_SCHEDULE_HPP
#define SEAMHOLD_LIVE_LIVE_SCHEDULE_HPP

#include "seamhold/follow/job.hpp"

#include <algorithm>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// Where the command belongs at a moment of the robot's program.
struct LiveTarget {
    std::size_t seam = 0; ///< on this seam, or on the way to it
    bool runs = false;    ///< whether it moves along the seam; otherwise it waits at a place of the path
    double waits_at = 0;  ///< the seam's time of that place, s: below 0 before the start

    /// The same seam in the same way.
    friend bool operator==(LiveTarget const&, LiveTarget const&) = default;
};

/// The seams of a program in order of time. A seam is waited for `run_up` s of its own travel before its
/// first point (the path runs on there), so that the mirrors are up to speed when the light comes on; after
/// the last seam its end is waited on. Where there is no time to wait, a seam's path is run along as soon as
/// the one before has ended (`at_once`).
class LiveSchedule {
public:
    /// From one seam or more, whose starts are times of the program, s. Throws BadInput without seams, for a
    /// run-up that is negative or not finite, and for what `in_order` refuses.
    LiveSchedule(std::vector<ScheduledSeam> seams, double run_up)
        : seams_(in_order(std::move(seams))), run_up_(run_up) {
        if (seams_.empty())
            throw BadInput("a schedule without seams has no commands");
        if (!(run_up >= 0) || !is_finite(run_up))
            throw BadInput("a seam's run-up must be 0 s or above and finite; given was " +
                           detail::text_of(run_up) + " s");
    }

    /// The seams in order.
    std::vector<ScheduledSeam> const& seams() const { return seams_; }

    /// Where the command belongs at a time of the program, s. `hint` is where it belonged a moment ago: then
    /// the answer takes no search. A time that is not finite is before the first seam.
    LiveTarget at(double program_time, LiveTarget const& hint) const {
        std::size_t i = hint.seam < seams_.size() ? hint.seam : 0;
        if (!belongs(i, program_time)) {
            if (i + 1 < seams_.size() && belongs(i + 1, program_time))
                ++i;
            else
                i = found(program_time);
        }
        double const since = program_time - seams_[i].start;
        double const duration = seams_[i].seam.duration();
        if (since > duration)
            return {i, false, duration};
        if (!(since > -run_up_))
            return {i, false, -run_up_};
        return {i, true, 0};
    }

    /// The same seam run along now instead of waited for, at a time of the program, s; as it was where that
    /// is more than `longest_early` before it would be run along anyhow, and where it does not wait for a
    /// start.
    LiveTarget at_once(LiveTarget const& target, double program_time) const {
        bool const waits = !target.runs && target.waits_at < 0;
        bool const soon = program_time - seams_[target.seam].start > -run_up_ - longest_early;
        return waits && soon ? LiveTarget{target.seam, true, 0} : target;
    }

    /// When a seam is run along, s of the program.
    double runs_from(std::size_t seam) const { return seams_[seam].start - run_up_; }

    /// How much sooner than by `run_up` a seam's path is run along at most, s of the program.
    static constexpr double longest_early = 0.05;

    /// The seam's time of a target at a time of the program, both s.
    template <class T> T seam_time(LiveTarget const& target, T const& program_time) const {
        return target.runs ? number_cast<T>(program_time - seams_[target.seam].start)
                           : number_cast<T>(target.waits_at);
    }

private:
    /// Whether the command belongs to seam i: from the end of the one before to its own; the last has no end.
    bool belongs(std::size_t i, double program_time) const {
        return (i == 0 || program_time > seams_[i - 1].end()) &&
               (i + 1 == seams_.size() || !(program_time > seams_[i].end()));
    }

    std::size_t found(double program_time) const {
        auto const next = std::partition_point(
            seams_.begin(), seams_.end() - 1, [&](ScheduledSeam const& s) { return program_time > s.end(); });
        return static_cast<std::size_t>(next - seams_.begin());
    }

    std::vector<ScheduledSeam> seams_;
    double run_up_;
};

} // namespace seamhold

#endif
