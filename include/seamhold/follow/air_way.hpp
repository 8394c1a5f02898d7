#ifndef SEAMHOLD_FOLLOW_AIR_WAY_HPP
#define SEAMHOLD_FOLLOW_AIR_WAY_HPP

#include "seamhold/follow/air_move.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

namespace seamhold {

/// The axes' way from the end of a seam to the next one with the beam off: one move, or, where there is more
/// time, the quickest move to a place near where the next seam will be met, rest there, and a move that
/// starts along it. So the axes keep their ranges while the robot brings the next seam into reach. The way
/// ends one settling time before the first light, on the seam's own path run on before its start. Keeps no
/// reference.
class AirWay {
public:
    /// One move.
    explicit AirWay(AirMove const& only) : first_(only) {}

    /// A move to rest, and a move from there.
    AirWay(AirMove const& first, AirMove const& second) : first_(first), second_(second) {}

    /// When it begins, s.
    double start() const { return first_.start(); }

    /// When it arrives, s.
    double end() const { return second_ ? second_->end() : first_.end(); }

    /// The first move it is made of.
    AirMove const& first() const { return first_; }

    /// The move after the rest; nothing where it is one move.
    std::optional<AirMove> const& second() const { return second_; }

    /// The command at time t, s, with t's derivatives. Meant from start to end.
    template <class T> Command<T> at(T const& t) const {
        double const now = value_of(t);
        if (!second_ || now < first_.end())
            return first_.at(t);
        return now < second_->start() ? first_.at(number_cast<T>(first_.end())) : second_->at(t);
    }

private:
    AirMove first_;
    std::optional<AirMove> second_;
};

/// How the axes may get from the end of one seam to the next.
struct AirRoom {
    double least;              ///< of the quickest move, s, without settling; infinite where there is none
    std::optional<AirWay> way; ///< in the time there is; nothing where it does not suffice
};

/// The way of the axes from the end of a seam at time `ended`, s, to one that starts at time `start`. Where
/// there is just time for a move it is one move that takes all of it; where there is time for two, it rests
/// in between, within the ranges of the head's axes.
template <class AnyChainOf, class AnyOrSeam>
AirRoom air_room(AnyChainOf const& chain, AnyOrSeam const& from, double ended, AnyOrSeam const& to,
                 double start, AirLimits const& limits) {
    double const arrives = start - limits.settling, waits_at = -limits.settling;
    constexpr double horizon = 10; // s, longer than any move
    auto const leaves = axes_at(chain, from, from.duration(), ended);
    auto const wanted = [&](double time) { return axes_at(chain, to, waits_at, time); };
    auto const quickest = air_move(leaves, ended, wanted, limits, std::max(ended, arrives) + horizon);
    AirRoom room{no_limit, {}};
    if (!quickest)
        return room;
    room.least = quickest->end() - ended;
    double const spare = arrives - quickest->end();
    if (spare < -1e-9 * (1 + room.least)) // 1 ns: far below a tick
        return room;
    if (spare > 0.5 * room.least) { // a long move swings wide: wait instead
        auto const goal = wanted(arrives);
        auto const ranges = chain.head.ranges();
        // From about where the last move is no more than a run-up, as far as the range allows.
        auto const rest = [](AxisState const& met, RateLimits const& rates, Range const& range) {
            double const run_up =
                std::abs(met.velocity) / rates.acceleration + rates.acceleration / rates.jerk;
            return AxisState{range.nearest(met.position - met.velocity * run_up / 2), 0, 0};
        };
        AxesState const resting{rest(goal.x_mirror, limits.mirror, ranges.x_mirror),
                                rest(goal.y_mirror, limits.mirror, ranges.y_mirror),
                                rest(goal.focus, limits.focus, ranges.focus)};
        double const to_rest = air_time(leaves, resting, limits), off = air_time(resting, goal, limits);
        if (ended + to_rest <= arrives - off) {
            auto const there = air_move_at(leaves, ended, resting, ended + to_rest, limits);
            auto const second = air_move_at(resting, arrives - off, goal, arrives, limits);
            if (there && second) {
                room.way = AirWay(*there, *second);
                return room;
            }
        }
    }
    if (spare <= 0)
        room.way = AirWay(*quickest);
    else if (auto const only = air_move_at(leaves, ended, wanted(arrives), arrives, limits))
        room.way = AirWay(*only);
    return room;
}

/// The ways between the seams of a job, one for each seam but the last; nothing where there is not time
/// enough. Throws BadInput for limits of the head that are not above 0.
inline std::vector<std::optional<AirWay>> air_ways(Job const& job, double share = 1) {
    auto const limits = air_limits(job.dynamics, share);
    std::vector<std::optional<AirWay>> ways;
    for (std::size_t i = 0; i + 1 < job.seams.size(); ++i) {
        auto const &from = job.seams[i], &to = job.seams[i + 1];
        ways.push_back(air_room(job.chain, from.seam, from.end(), to.seam, to.start, limits).way);
    }
    return ways;
}

} // namespace seamhold

#endif
