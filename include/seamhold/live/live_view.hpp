#ifndef SEAMHOLD_LIVE_LIVE_VIEW_HPP
#define SEAMHOLD_LIVE_LIVE_VIEW_HPP

#include "seamhold/follow/chain.hpp"
#include "seamhold/live/forecast.hpp"
#include "seamhold/live/live_schedule.hpp"
#include "seamhold/live/tolerances.hpp"

#include <cmath>

namespace seamhold {

/// The chain at one moment of the scanner's clock, with derivatives by it.
template <class T> struct LiveView {
    Pose<Cell, Flange, T> cell_from_flange;
    Point<Head, T> target;  ///< where the spot belongs, m
    Point<Part, T> on_part; ///< the same on the part, m
    Direction<Part> normal; ///< of the face there
    Command<T> command;     ///< that puts the spot there; 0 where the status is `not_finite`
    Status status;
};

namespace detail {
/// The robot's time at a moment of the scanner's clock, with its rate.
template <class T> T robot_time(ClockMap const& clock, ScannerTime t) {
    T r = number_cast<T>(clock.robot_at(t).seconds);
    if constexpr (!std::is_same_v<T, double>)
        r.coefficient[1] = clock.rate;
    return r;
}
} // namespace detail

/// What a chain whose flange is a forecast asks for at the moment `answer` of the scanner's clock.
template <class T, class AnyChain>
[[gnu::flatten]] inline void view_at(AnyChain const& chain, LiveSchedule const& schedule,
                                     LiveTarget const& target, ScannerTime answer, LiveView<T>& view) {
    auto const& forecast = chain.cell_from_flange.forecast;
    T const t = detail::robot_time<T>(forecast.clock, answer);
    auto const& seam = schedule.seams()[target.seam].seam;
    auto const place = seam.at(schedule.seam_time(target, forecast.program_at(t)));
    view.on_part = number_cast<T>(place.position);
    view.normal = value_of(place.normal);
    view.cell_from_flange = chain.cell_from_flange.at(t);
    view.target = chain.in_head(view.on_part, t, view.cell_from_flange, AsGiven{});
    auto const followed = chain.aimed_at(view.target, seam.focus_offset, t);
    view.command = followed.aim.command;
    view.status = followed.status;
}

/// The command alone.
template <class T, class AnyChain>
[[gnu::flatten]] inline Command<T> command_at(AnyChain const& chain, LiveSchedule const& schedule,
                                              LiveTarget const& target, ScannerTime answer) {
    auto const& forecast = chain.cell_from_flange.forecast;
    T const t = detail::robot_time<T>(forecast.clock, answer);
    auto const& seam = schedule.seams()[target.seam].seam;
    auto const place = seam.at(schedule.seam_time(target, forecast.program_at(t)));
    auto const in_head =
        chain.in_head(number_cast<T>(place.position), t, chain.cell_from_flange.at(t), AsGiven{});
    return chain.head.command(in_head, seam.focus_offset);
}

/// How the beam of a command meets the face at the place where the spot belongs.
struct LiveSpot {
    double cosine_of_incidence; ///< between the reversed beam and the normal
    Deviations off; ///< how far the spot is from its place on the face, and the focus from the one asked for;
                    ///< across and along both the whole of it where they are not told apart
    SpotDirections directions; ///< along which an error of the flange's place, given in the cell, shifts the
                               ///< spot and the focus; not unit vectors where the beam is inclined
    double turning;            ///< of the direction of travel, at most, rad/s
    bool has_direction; ///< false where the spot stands still or weaves: `along` is any direction on the face
};

/// The beam of `command`, plain numbers, at the place of a view. An error e of the flange at the spot moves
/// the spot by e − b (e·n)/(b·n) on the face, b the beam and n the normal, and the focus by e·n/(b·n) along
/// the beam.
template <class T, class AnyChain>
LiveSpot spot_at(AnyChain const& chain, LiveView<T> const& view, Command<> const& command, bool weaves,
                 double focus_offset, double t) {
    auto const flange = value_of(view.cell_from_flange);
    auto const p = value_of(view.target);
    auto const n = chain.in_head(view.normal, t, flange, AsGiven{});
    Direction<Part> const pace{view.on_part.x.coefficient[1], view.on_part.y.coefficient[1],
                               view.on_part.z.coefficient[1]};
    Direction<Part> const bend{view.on_part.x.coefficient[2], view.on_part.y.coefficient[2],
                               view.on_part.z.coefficient[2]};
    auto travel = chain.in_head(pace, t, flange, AsGiven{});
    // A millimetre an hour is no travel.
    bool const has_direction = !weaves && squared_norm(travel) > 1e-12;
    if (!has_direction) // any direction on the face
        travel = cross(n, std::abs(n.x) < 0.5 ? Direction<Head>{1, 0, 0} : Direction<Head>{0, 1, 0});
    auto const along = (1 / std::sqrt(squared_norm(travel))) * travel;
    auto const across = cross(n, along);
    auto const ray = chain.head.ray(command);
    auto const& b = ray.direction;
    double const facing = dot(b, n);
    double const way = dot(p - ray.origin, n) / facing;
    auto const off = ray.origin + way * b - p;
    auto const on_face = [&](Direction<Head> const& u) {
        return chain.head_in_cell(u + (-(dot(b, u) / facing)) * n, flange);
    };
    double const off_across = std::abs(dot(off, across)), off_along = std::abs(dot(off, along));
    double const off_anyhow = std::sqrt(sqr(off_across) + sqr(off_along));
    return {-facing,
            {has_direction ? off_across : off_anyhow, has_direction ? off_along : off_anyhow,
             std::abs(ray.focus_path - ray.path - way - focus_offset)},
            {on_face(across), on_face(along), chain.head_in_cell((1 / facing) * n, flange)},
            2 * norm(bend) / std::max(norm(pace), 1e-6),
            has_direction};
}

} // namespace seamhold

#endif
