#ifndef SEAMHOLD_HEAD_COMMAND_HPP
#define SEAMHOLD_HEAD_COMMAND_HPP

#include "seamhold/frame/point.hpp"
#include "seamhold/number/interval.hpp"

#include <algorithm>
#include <cstdint>

namespace seamhold {

/// What a scan head is told: two mechanical mirror angles, rad, and the displacement of the focusing lens, m,
/// positive moves the focus away from the head.
template <class T = double> struct Command {
    T x_mirror;
    T y_mirror;
    T focus;
};

/// A range of an axis, rad or m.
struct Range {
    double low;
    double high;

    /// How far x is inside, negative outside, in units of the axis.
    template <class T> T clearance(T const& x) const {
        T const below = x - detail::factor<T>(low);
        T const above = detail::factor<T>(high) - x;
        return select(below < above, below, above);
    }

    /// The place of the range that is nearest to x.
    double nearest(double x) const { return std::clamp(x, low, high); }

    /// 1 at both ends, 0 in the middle, above 1 outside.
    double utilisation(double x) const { return std::abs(2 * x - (low + high)) / (high - low); }
};

/// The ranges of a head's axes.
struct AxisRanges {
    Range x_mirror; ///< of the first mirror, mechanical, rad
    Range y_mirror; ///< of the last mirror, mechanical, rad
    Range focus;    ///< of the focusing lens, m
};

/// Signed distances to what a head can reach: positive inside, 0 at the limit.
template <class T> struct Clearance {
    T in_front; ///< how far the point is in front of the head, less a nanometre, m
    T solved;   ///< how much nearer than allowed the command's own beam passes the point, m; not above 0: the
                ///< head has no command for this point, or none was found
    T x_mirror; ///< to the end of the first mirror's range, rad
    T y_mirror; ///< to the end of the last mirror's range, rad
    T focus;    ///< to the end of the focus axis's range, m
    T field;    ///< to the edge of the field, as a smooth share: 1 at its deepest place, 0 at the edge; for a
                ///< circle 1 − (r / radius)²
    T aperture; ///< of the beam's footprint to the edge of the tighter mirror, as a share: 0 where it touches
};

/// The values of a command without their derivatives.
template <class T> constexpr Command<ValueOf<T>> value_of(Command<T> const& command) {
    return {value_of(command.x_mirror), value_of(command.y_mirror), value_of(command.focus)};
}

/// The values of clearances without their derivatives.
template <class T> constexpr Clearance<ValueOf<T>> value_of(Clearance<T> const& c) {
    return {value_of(c.in_front), value_of(c.solved), value_of(c.x_mirror), value_of(c.y_mirror),
            value_of(c.focus),    value_of(c.field),  value_of(c.aperture)};
}

/// How a head answers when asked to aim: the command and how far it is from what the head can do, the latter
/// mostly at plain numbers.
template <class T, class C = T> struct Aim {
    Command<T> command;
    Clearance<C> clearance;
};

/// The beam that a command makes.
template <class T> struct Ray {
    Point<Head, T> origin;        ///< where it leaves the head (the last mirror, or the lens behind it), m
    Direction<Head, T> direction; ///< unit vector
    T path;                       ///< optical path from where the head counts it to `origin`, m
    T focus_path;                 ///< optical path from there to the focus, m
};

/// The values of a beam without their derivatives.
template <class T> constexpr Ray<ValueOf<T>> value_of(Ray<T> const& ray) {
    return {value_of(ray.origin), value_of(ray.direction), value_of(ray.path), value_of(ray.focus_path)};
}

/// One of the commands that a command of packs stands for, from 0; likewise of clearances and aims.
template <class T>
requires is_packed<T>
constexpr auto lane_of(Command<T> const& c, int i) {
    return Command<decltype(lane_of(c.focus, i))>{lane_of(c.x_mirror, i), lane_of(c.y_mirror, i),
                                                  lane_of(c.focus, i)};
}
template <class T>
requires is_packed<T>
constexpr auto lane_of(Clearance<T> const& c, int i) {
    return Clearance<decltype(lane_of(c.field, i))>{
        lane_of(c.in_front, i), lane_of(c.solved, i), lane_of(c.x_mirror, i), lane_of(c.y_mirror, i),
        lane_of(c.focus, i),    lane_of(c.field, i),  lane_of(c.aperture, i)};
}
template <class T, class C>
requires is_packed<T>
constexpr auto lane_of(Aim<T, C> const& aim, int i) {
    return Aim<decltype(lane_of(aim.command.focus, i)), decltype(lane_of(aim.clearance.field, i))>{
        lane_of(aim.command, i), lane_of(aim.clearance, i)};
}

/// Whether a command can be used, and if not, why. The first that applies, from the last to the first named.
enum class Status : std::uint8_t {
    ok,           ///< within what the head can reach
    out_of_reach, ///< a mirror, the focus, the field or a mirror's aperture is beyond its limit; the command
                  ///< is what would be needed
    no_solution,  ///< no command was found whose beam passes the point; the command is finite and means
                  ///< nothing
    behind_head,  ///< the point is not in front of the head; the command is finite and means nothing
    no_data,      ///< a motion has no data at this time; the command is finite and means nothing
    not_finite    ///< a number that went in was not finite; the command is zero
};

/// What is known of each lane.
template <int W> struct LaneStatus {
    Status lane[W]; ///< by lane, from 0

    /// Equal in every lane.
    friend constexpr bool operator==(LaneStatus const&, LaneStatus const&) = default;
};

namespace detail {
template <class T> struct StatusOf { using type = Status; };
template <class T>
requires is_packed<T>
struct StatusOf<T> {
    using type = LaneStatus<lanes_of<T>>;
};
} // namespace detail

/// What says whether a command over numbers of type T can be used: a `Status`, or one a lane.
template <class T> using StatusOf = typename detail::StatusOf<T>::type;

/// The status of an aim without regard to data; a last bit outside a range still is `ok`. Over intervals that
/// of their middles, where the command's values are finite. Over packs one a lane.
template <class T, class C> StatusOf<T> status_of(Aim<T, C> const& aim) {
    if constexpr (is_packed<T>) {
        LaneStatus<lanes_of<T>> status{};
        auto const& c = aim.clearance;
        using V = ValueOf<T>;
        auto const inside = [](C const& clearance) { return value_of(clearance) >= V(-1e-15); };
        if (is_finite(aim.command.x_mirror) && is_finite(aim.command.y_mirror) &&
            is_finite(aim.command.focus) && is_finite(c.in_front) &&
            all(value_of(c.in_front) > V(0.0) && value_of(c.solved) > V(0.0) && inside(c.x_mirror) &&
                inside(c.y_mirror) && inside(c.focus) && inside(c.field) && inside(c.aperture)))
            return status; // all are ok, the usual case
        for (int i = 0; i < lanes_of<T>; ++i)
            status.lane[i] = status_of(lane_of(aim, i));
        return status;
    } else {
        auto const& c = aim.clearance;
        auto const& command = aim.command;
        auto const finite = [](T const& x) {
            if constexpr (detail::is_of_intervals<T>)
                return is_finite(detail::values_of(x));
            else
                return is_finite(x);
        };
        if (!finite(command.x_mirror) || !finite(command.y_mirror) || !finite(command.focus) ||
            !is_finite(c.in_front))
            return Status::not_finite;
        if (!(value_of(c.in_front) > 0))
            return Status::behind_head;
        if (!(value_of(c.solved) > 0))
            return Status::no_solution;
        // 1e-15 of the unit is a few units in the last place of a range of some 0.2 rad or 0.01 m. A NaN is
        // not in reach.
        auto const inside = [](auto const& clearance) { return value_of(clearance) >= -1e-15; };
        return inside(c.x_mirror) && inside(c.y_mirror) && inside(c.focus) && inside(c.field) &&
                       inside(c.aperture)
                   ? Status::ok
                   : Status::out_of_reach;
    }
}

/// A status in words.
constexpr char const* to_string(Status status) {
    switch (status) {
    case Status::ok:
        return "ok";
    case Status::out_of_reach:
        return "out of reach";
    case Status::no_solution:
        return "no solution";
    case Status::behind_head:
        return "behind the head";
    case Status::no_data:
        return "no data";
    case Status::not_finite:
        return "not finite";
    }
    return "";
}

} // namespace seamhold

#endif
