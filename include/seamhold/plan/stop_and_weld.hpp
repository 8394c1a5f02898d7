#ifndef SEAMHOLD_PLAN_STOP_AND_WELD_HPP
#define SEAMHOLD_PLAN_STOP_AND_WELD_HPP

#include "seamhold/plan/field_positions.hpp"
#include "seamhold/plan/robot_stops.hpp"
#include "seamhold/plan/stop_search.hpp"

#include <algorithm>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

/// The same job done without moving while welding: by a stop at each seam, and by the fewest stops from which
/// a head at rest reaches everything.
namespace seamhold {

/// How a job is welded at rest.
struct StopSettings {
    RobotStops robot = {};
    FieldSettings field = {};        ///< of the stops; its `least_margin` holds for single stops too
    double air_share = 1;            ///< of the head's velocities and accelerations that air moves use
    bool reversing = true;           ///< seams may be welded from their end to their start
    std::vector<bool> as_drawn = {}; ///< true for seams that may not; empty: none
    SequenceRules rules = {};        ///< of the order; tasks are the job's seams
    SequenceOptions order = {};      ///< how long the order is sought
};

/// A job welded at rest in three ways. Takts run from the first beam on to the last beam off.
struct StopAndWeld {
    FieldPositions positions; ///< the fewest
    StopPlan above;           ///< a stop above each seam
    StopPlan single; ///< a stop for each seam, placed so that the robot has as little to move as was found
    StopPlan field;  ///< the fewest stops
    double least_single; ///< no places of the stops and no order make `single` shorter, s: the beam-on time,
                         ///< and settling and handshake between seams
    double least_field;  ///< the same for stopping as often as `positions.apart` proves to be needed, s
};

/// The same job by stops. Seams are welded with the robot at rest, all with the same air moves and the same
/// search for an order; windows of time there are none. Between two seams at one stop lies an air move and
/// the settling of the mirrors. Between two stops lie the robot's move, its settling and the handshake; the
/// beam is aimed meanwhile, and only where that takes longer does it count.
///
/// Nothing is slowed: robot moves are straight, at full acceleration, without a limit on jerk, and stops are
/// moved towards each other as far as the seams assigned to them stay reached. A seam that several stops
/// reach is welded from the one that suits the order. With a stop at each seam, settling and handshake count
/// for each, however little the robot moves; that is what such a stop is.
///
/// Throws BadInput for a job without seams, a seam that no stop reaches as a whole (which, by what limit),
/// inputs that are not possible, and as `sequence` does.
inline StopAndWeld stop_and_weld(Job const& job, StopSettings const& settings = {},
                                 std::optional<Direction<Part>> const& direction = {}) {
    check(settings.robot);
    if (!settings.as_drawn.empty() && settings.as_drawn.size() != job.seams.size())
        throw BadInput("of " + std::to_string(job.seams.size()) + " seams, " +
                       std::to_string(settings.as_drawn.size()) + " were said to be welded as drawn or not");
    auto positions = field_positions(job, settings.field, direction);
    if (!positions.not_reached.empty()) {
        auto const& worst = positions.not_reached.front();
        throw BadInput("seam " + job.seams[worst.seam].name +
                       " is not reached as a whole from any stop: of " + to_string(worst.limit) + ", " +
                       detail::text_of(100 * (1 - worst.margin)) + " % would be used at best");
    }
    std::vector<bool> turns;
    for (std::size_t s = 0; s < job.seams.size(); ++s)
        turns.push_back(settings.reversing && job.seams[s].seam.length() > 0 &&
                        (settings.as_drawn.empty() || !settings.as_drawn[s]));
    detail::StopSearch search(job, direction, settings.field.stance, settings.field.least_margin,
                              settings.robot, air_limits(job.dynamics, settings.air_share), turns,
                              settings.rules, settings.order);

    auto const above = search.above(positions);
    std::vector<detail::Stop> fewest;
    for (auto const& p : positions.positions)
        fewest.push_back({p.along, p.across, p.standoff, p.cell_from_flange});
    auto const field = search.shortened(fewest, false);
    // Single stops may draw together from above the seams, or stand where the fewest stops do.
    auto const single = search.shortened(above, true).plan;
    auto const as_fewest = search.shortened(field.by_seam(), true).plan;
    StopAndWeld result{std::move(positions),
                       search.plan(above, true),
                       single.takt < as_fewest.takt ? single : as_fewest,
                       field.plan,
                       0,
                       0};

    auto const count = static_cast<double>(job.seams.size());
    auto const apart = static_cast<double>(result.positions.apart.size());
    double const stop = settings.robot.settling + settings.robot.handshake, air = job.dynamics.settling;
    result.least_single = result.single.beam_on + (count - 1) * std::max(stop, air);
    result.least_field = result.field.beam_on + (apart - 1) * std::max(stop, air) + (count - apart) * air;
    return result;
}

} // namespace seamhold

#endif
