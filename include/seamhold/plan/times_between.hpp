#ifndef SEAMHOLD_PLAN_TIMES_BETWEEN_HPP
#define SEAMHOLD_PLAN_TIMES_BETWEEN_HPP

#include "seamhold/follow/air_move.hpp"
#include "seamhold/plan/plan_ways.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <functional>
#include <vector>

namespace seamhold::detail {

/// How long it takes from the end of one way to the start of another on one head, settling and all, for the
/// search of an order, which asks millions of times. The air move is taken from where the robot is in the
/// middle of what reaches both (so it is right to some per cent, and worked out anew where it happens), and
/// the states of the axes there from a table along each way's reach, linear between its entries: off by some
/// hundredths of a milliradian.
class TimesBetween {
public:
    /// At a pace: the chains of the heads with it, and when they pass a place of their paths.
    TimesBetween(PlanWays const& ways, std::vector<AnyChain> const& chains,
                 std::vector<std::function<double(double)>> const& time_of,
                 std::vector<AirLimits> const& limits)
        : limits_(&limits), tables_(ways.size()) {
        for (std::size_t i = 0; i < ways.size(); ++i)
            for (auto const& way : ways.of(i)) {
                auto const& seam = *way.seam;
                auto const side = [&](ReachStation const& reach, double seam_time) {
                    Side s{reach.low, reach.high, {}};
                    for (std::size_t k = 0; k < entries; ++k) {
                        double const u = reach.low + (reach.high - reach.low) * static_cast<double>(k) /
                                                         static_cast<double>(entries - 1);
                        s.states[k] = axes_at(chains[way.head], seam, seam_time, time_of[way.head](u));
                    }
                    return s;
                };
                auto const& places = way.reach.places;
                tables_[i].push_back({way.head, side(places.front(), -limits[way.head].settling),
                                      side(places.back(), seam.duration())});
            }
    }

    /// The time, s, between two ways of one head.
    double operator()(WayRef const& from, WayRef const& to) const {
        auto const &a = tables_[from.task][from.way], &b = tables_[to.task][to.way];
        auto const& limits = (*limits_)[a.head];
        double const u = (std::max(a.end.low, b.start.low) + std::min(a.end.high, b.start.high)) / 2;
        return air_time(a.end.at(u), b.start.at(u), limits) + limits.settling;
    }

private:
    static constexpr std::size_t entries = 9;

    struct Side {
        double low, high;
        std::array<AxesState, entries> states;

        AxesState at(double u) const {
            double const place =
                high > low ? std::clamp((u - low) / (high - low), 0.0, 1.0) * (entries - 1) : 0;
            auto const i = std::min(static_cast<std::size_t>(place), entries - 2);
            double const share = place - static_cast<double>(i);
            auto const axis = [share](AxisState const& a, AxisState const& b) {
                return AxisState{a.position + share * (b.position - a.position),
                                 a.velocity + share * (b.velocity - a.velocity),
                                 a.acceleration + share * (b.acceleration - a.acceleration)};
            };
            auto const &a = states[i], &b = states[i + 1];
            return {axis(a.x_mirror, b.x_mirror), axis(a.y_mirror, b.y_mirror), axis(a.focus, b.focus)};
        }
    };
    struct Table {
        std::size_t head;
        Side start, end;
    };

    std::vector<AirLimits> const* limits_;
    std::vector<std::vector<Table>> tables_; ///< of each way of each seam
};

} // namespace seamhold::detail

#endif
