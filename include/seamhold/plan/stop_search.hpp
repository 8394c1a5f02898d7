#ifndef SEAMHOLD_PLAN_STOP_SEARCH_HPP
#define SEAMHOLD_PLAN_STOP_SEARCH_HPP

#include "seamhold/follow/air_move.hpp"
#include "seamhold/plan/field_positions.hpp"
#include "seamhold/plan/reach_over_cloud.hpp"
#include "seamhold/plan/robot_stops.hpp"
#include "seamhold/plan/sequence.hpp"
#include "seamhold/seam/reversed.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <utility>
#include <vector>

namespace seamhold {

/// One seam welded at rest.
struct StoppedSeam {
    std::size_t seam; ///< index in the job
    bool reversed;    ///< welded from its end to its start
    std::size_t stop; ///< index of the stop
    double start;     ///< s, from the first beam on
    double end;       ///< s
};

/// What a takt would be with one input at half and at double its value, order and stops left as they are.
struct StopSensitivity {
    char const* input; ///< in words
    double half;       ///< s
    double twice;      ///< s
};

/// A job welded at rest.
struct StopPlan {
    std::vector<Pose<Cell, Flange>> stops;
    std::vector<StoppedSeam> seams; ///< in order of time
    double takt;                    ///< from the first beam on to the last beam off, s
    double beam_on;                 ///< of that, s
    double lower_bound;             ///< of the takt at these stops, s
    bool optimal;                   ///< whether no order is better at these stops
    std::size_t changes;            ///< from stop to stop
    double way;                     ///< of the flange's origin in the takt, m
    double moving;                  ///< of the takt the robot moves, s
    double air; ///< of the takt, between seams at one stop, s: air moves and settling of the mirrors
    std::vector<StopSensitivity> sensitivity;

    /// The share of the takt with the beam on.
    double beam_on_share() const { return beam_on / takt; }
};

namespace detail {

/// Where a robot stops.
struct Stop {
    double along, across, standoff; ///< over the cloud, m
    Pose<Cell, Flange> flange;
};

/// Looks for places of stops and the order in which seams are welded from them.
class StopSearch {
public:
    StopSearch(Job const& job, std::optional<Direction<Part>> const& direction, HeadStance const& stance,
               double least_margin, RobotStops const& robot, AirLimits const& air,
               std::vector<bool> const& turns, SequenceRules const& rules, SequenceOptions const& order)
        : job_(job), cloud_(job, direction), reach_(job, cloud_), stance_(stance),
          least_margin_(least_margin), robot_(robot), air_(air), rules_(rules),
          order_(order), chain_{{Pose<Cell, Flange>::identity()},
                                {cloud_.cell_from_part()},
                                job.chain.flange_from_head,
                                job.chain.head} {
        for (std::size_t s = 0; s < job.seams.size(); ++s) {
            turned_.emplace_back();
            if (turns[s])
                turned_.back() = reversed(job.seams[s].seam);
        }
    }
    StopSearch(StopSearch const&) = delete;
    StopSearch& operator=(StopSearch const&) = delete;

    /// A stop for each seam where it is reached with the most margin on the line above its middle; where it
    /// is not reached there, the field position that reaches it best.
    std::vector<Stop> above(FieldPositions const& positions) {
        std::vector<Stop> stops;
        for (std::size_t s = 0; s < job_.seams.size(); ++s) {
            auto const& middle = reach_.middle(s);
            auto const line = reach_.on_line(s, middle.y, stance_, least_margin_);
            if (line.best >= least_margin_) {
                stops.push_back(stop_at(line.along, middle.y, stance_.standoff));
                continue;
            }
            for (auto const& p : positions.positions)
                if (std::find(p.assigned.begin(), p.assigned.end(), s) != p.assigned.end())
                    stops.push_back({p.along, p.across, p.standoff, p.cell_from_flange});
        }
        return stops;
    }

    /// The best order found with these stops: one for each seam, or shared.
    StopPlan plan(std::vector<Stop> const& stops, bool single) { return built(stops, find(stops, single)); }

    /// A plan with its stops.
    struct Placed {
        StopPlan plan;
        std::vector<Stop> stops;

        /// The stop of each seam.
        std::vector<Stop> by_seam() const {
            std::vector<Stop> each(plan.seams.size());
            for (auto const& s : plan.seams)
                each[s.seam] = stops[s.stop];
            return each;
        }
    };

    /// The same with stops moved so that the robot has less to do, as long as it helps.
    Placed shortened(std::vector<Stop> stops, bool single) {
        auto best = find(stops, single);
        auto best_stops = stops;
        for (int round = 0; round < 4; ++round) {
            stops = moved_together(best_stops, best);
            auto const next = find(stops, single);
            bool const helps = next.order.takt < best.order.takt - 1e-9;
            if (helps || next.order.takt <= best.order.takt) {
                best = next;
                best_stops = stops;
            }
            if (!helps)
                break;
        }
        return {built(best_stops, best), best_stops};
    }

private:
    /// A way of welding a seam.
    struct Way {
        std::size_t stop;
        bool reversed;
        AxesState start, end;
    };
    struct Found {
        std::vector<std::vector<Way>> ways; ///< by seam
        std::vector<Task> tasks;
        Sequence order;

        Way const& at(WayRef const& ref) const { return ways[ref.task][ref.way]; }
    };

    Stop stop_at(double along, double across, double standoff) const {
        auto stance = stance_;
        stance.standoff = standoff;
        return {along, across, standoff, cloud_.flange_over(along, across, stance)};
    }

    bool reaches(Stop const& stop, std::size_t seam) {
        return reach_.over(seam, stop.flange).margin >= least_margin_;
    }

    Way way(std::size_t seam, std::size_t index, Stop const& stop, bool turned) {
        chain_.cell_from_flange.pose = stop.flange;
        auto const& s = turned ? *turned_[seam] : job_.seams[seam].seam;
        return {index, turned, axes_at(chain_, s, 0, 0), axes_at(chain_, s, s.duration(), 0)};
    }

    /// From the end of one seam to the start of the next, s.
    double between(std::vector<Stop> const& stops, Way const& from, Way const& to,
                   RobotStops const& robot) const {
        double const aimed = air_time(from.end, to.start, air_) + air_.settling;
        if (from.stop == to.stop)
            return aimed;
        auto const distance = distance_between(stops[from.stop].flange, stops[to.stop].flange);
        return std::max(move_time(distance, robot) + robot.settling + robot.handshake, aimed);
    }

    Found find(std::vector<Stop> const& stops, bool single) {
        Found found{{}, {}, {{}, {}, 0, 0, false, false}};
        for (std::size_t s = 0; s < job_.seams.size(); ++s) {
            found.ways.emplace_back();
            found.tasks.push_back({job_.seams[s].name, {}});
            for (std::size_t p = single ? s : 0; p < (single ? s + 1 : stops.size()); ++p) {
                if (!single && !reaches(stops[p], s))
                    continue;
                for (bool const turned : {false, true})
                    if (!turned || turned_[s]) {
                        found.ways.back().push_back(way(s, p, stops[p], turned));
                        found.tasks.back().ways.push_back({0, no_limit, job_.seams[s].seam.duration()});
                    }
            }
        }
        found.order = sequence(
            found.tasks, rules_,
            [&](WayRef from, WayRef to) { return between(stops, found.at(from), found.at(to), robot_); },
            order_);
        return found;
    }

    /// Moves one stop after the other, where that shortens the robot's moves before and after it and what is
    /// welded there stays reached: onto its neighbours, or by ever smaller steps.
    std::vector<Stop> moved_together(std::vector<Stop> stops, Found const& found) {
        std::vector<std::size_t> visits;
        std::vector<std::vector<std::size_t>> welded(stops.size());
        for (auto const& ref : found.order.order) {
            auto const stop = found.at(ref).stop;
            if (visits.empty() || visits.back() != stop)
                visits.push_back(stop);
            welded[stop].push_back(ref.task);
        }
        auto const cost = [&](std::size_t k) { // of all moves to and from stop k
            double sum = 0;
            for (std::size_t v = 0; v + 1 < visits.size(); ++v)
                if (visits[v] == k || visits[v + 1] == k)
                    sum += move_time(distance_between(stops[visits[v]].flange, stops[visits[v + 1]].flange),
                                     robot_);
            return sum;
        };
        auto const attempt = [&](std::size_t k, Stop const& place) {
            double const before = cost(k);
            Stop const was = std::exchange(stops[k], place);
            if (cost(k) < before - 1e-9 && std::all_of(welded[k].begin(), welded[k].end(),
                                                       [&](std::size_t s) { return reaches(stops[k], s); }))
                return true;
            stops[k] = was;
            return false;
        };
        constexpr std::array<std::array<double, 2>, 8> sides{
            {{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}}};
        for (double step = 0.064; step > 5e-4; step /= 2)
            for (int round = 0; round < 20; ++round) {
                bool helped = false;
                for (std::size_t v = 0; v < visits.size(); ++v) {
                    std::size_t const k = visits[v];
                    if (v > 0)
                        helped = attempt(k, stops[visits[v - 1]]) || helped;
                    if (v + 1 < visits.size())
                        helped = attempt(k, stops[visits[v + 1]]) || helped;
                    for (auto const& side : sides)
                        helped = attempt(k, stop_at(stops[k].along + step * side[0],
                                                    stops[k].across + step * side[1], stops[k].standoff)) ||
                                 helped;
                }
                if (!helped)
                    break;
            }
        return stops;
    }

    StopPlan built(std::vector<Stop> const& stops, Found const& found) {
        StopPlan plan{};
        for (auto const& stop : stops)
            plan.stops.push_back(stop.flange);
        auto const& order = found.order;
        plan.takt = order.takt;
        plan.lower_bound = order.lower_bound;
        plan.optimal = order.optimal;
        for (std::size_t i = 0; i < order.order.size(); ++i) {
            auto const& ref = order.order[i];
            auto const& way = found.at(ref);
            double const start = order.starts[i] - order.starts.front();
            double const duration = job_.seams[ref.task].seam.duration();
            plan.seams.push_back({ref.task, way.reversed, way.stop, start, start + duration});
            plan.beam_on += duration;
            if (i == 0)
                continue;
            auto const& last = found.at(order.order[i - 1]);
            if (last.stop == way.stop) {
                plan.air += between(stops, last, way, robot_);
            } else {
                auto const distance = distance_between(stops[last.stop].flange, stops[way.stop].flange);
                ++plan.changes;
                plan.way += distance.way;
                plan.moving += move_time(distance, robot_);
            }
        }
        auto const takt_with = [&](RobotStops const& robot) {
            auto const times = schedule(
                found.tasks, rules_,
                [&](WayRef from, WayRef to) { return between(stops, found.at(from), found.at(to), robot); },
                order.order);
            return times ? times->takt : no_limit;
        };
        struct Input {
            char const* name;
            double RobotStops::*number;
        };
        for (auto const& input :
             {Input{"speed", &RobotStops::speed}, Input{"acceleration", &RobotStops::acceleration},
              Input{"settling", &RobotStops::settling}, Input{"handshake", &RobotStops::handshake},
              Input{"turn speed", &RobotStops::turn_speed},
              Input{"turn acceleration", &RobotStops::turn_acceleration}}) {
            auto half = robot_, twice = robot_;
            half.*input.number /= 2;
            twice.*input.number *= 2;
            plan.sensitivity.push_back({input.name, takt_with(half), takt_with(twice)});
        }
        return plan;
    }

    Job const& job_;
    SeamCloud cloud_;
    ReachOverCloud reach_;
    HeadStance stance_;
    double least_margin_;
    RobotStops robot_;
    AirLimits air_;
    SequenceRules rules_;
    SequenceOptions order_;
    Chain<Rest<Cell, Flange>, Rest<Cell, Part>, AnyHead> chain_;
    std::vector<std::optional<AnySeam>> turned_;
};

} // namespace detail

} // namespace seamhold

#endif
