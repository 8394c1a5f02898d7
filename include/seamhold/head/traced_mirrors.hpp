#ifndef SEAMHOLD_HEAD_TRACED_MIRRORS_HPP
#define SEAMHOLD_HEAD_TRACED_MIRRORS_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/gradient.hpp"

#include <cmath>
#include <string>

namespace seamhold {

/// A flat mirror on an axis, in the head frame.
template <class S = double> struct TurningMirror {
    Point<Head, S> pivot;      ///< a point of the axis, the middle of the mirror above or below it, m
    Direction<Head, S> axis;   ///< unit
    Direction<Head, S> normal; ///< of the surface at command 0, unit, to the side of the light
    S offset;                  ///< of the surface from the pivot along its normal, m; turns with the mirror
    S turn; ///< radians it turns about the axis, by the right-hand rule, for a radian of command: −1 or 1,
            ///< or a little off where the angle is not true
};

/// A beam on its way through two mirrors.
template <class T> struct MirrorTrace {
    Point<Head, T> on_first;    ///< where it meets the first mirror, m
    Direction<Head, T> between; ///< from the first mirror on, unit
    Point<Head, T> on_last;     ///< where it meets the last mirror, m
    Direction<Head, T> leaving; ///< from the last mirror on, unit
    T path;                     ///< optical path from `entry` to the last mirror, m
    T between_length;           ///< from mirror to mirror, m
    Direction<Head, T> first;   ///< the first mirror's normal
    Direction<Head, T> last;    ///< the last mirror's normal
    T first_cosine;             ///< of the incidence on the first mirror; above 0 where its front is met
    T last_cosine;              ///< of the incidence on the last mirror
};

/// The values of a trace without their derivatives.
template <class T> constexpr MirrorTrace<ValueOf<T>> value_of(MirrorTrace<T> const& way) {
    return {value_of(way.on_first),   value_of(way.between), value_of(way.on_last),
            value_of(way.leaving),    value_of(way.path),    value_of(way.between_length),
            value_of(way.first),      value_of(way.last),    value_of(way.first_cosine),
            value_of(way.last_cosine)};
}

/// Two mirrors as they are: any axes, surfaces beside their axes, a tilted beam, either direction of turning.
/// The beam is traced: a line meets a plane, r = d − 2 (d·n) n, twice, the normals turned about their axes by
/// Rodrigues' formula. Exact for flat mirrors.
template <class S = double> class TracedMirrors {
public:
    /// From a beam that enters at `entry`, where the optical path counts from, along the unit vector
    /// `incoming`, and the two mirrors in the order of the light. Not checked: see `traced_mirrors`.
    TracedMirrors(Point<Head, S> const& entry, Direction<Head, S> const& incoming,
                  TurningMirror<S> const& first, TurningMirror<S> const& last)
        : entry_(entry), incoming_(incoming), first_(first), last_(last) {}

    /// Where the optical path counts from, m.
    Point<Head, S> const& entry() const { return entry_; }
    /// The direction of the entering beam, unit.
    Direction<Head, S> const& incoming() const { return incoming_; }
    /// The first mirror in the order of the light.
    TurningMirror<S> const& first() const { return first_.mirror; }
    /// The last mirror.
    TurningMirror<S> const& last() const { return last_.mirror; }

    /// The way of the beam at mechanical mirror angles, rad. A beam that meets a mirror's back or runs along
    /// it gives finite numbers that mean nothing, and a cosine that is not above 0.
    template <class C>
    [[gnu::always_inline]] MirrorTrace<Common<S, C>> trace(C const& x_mirror, C const& y_mirror) const {
        using T = Common<S, C>;
        MirrorTrace<T> way;
        way.first = first_.normal_at(number_cast<T>(x_mirror));
        way.first_cosine = -dot(way.first, incoming_);
        T const before = first_.way_to(way.first, way.first_cosine, entry_);
        way.on_first = entry_ + before * incoming_;
        way.between = reflected(incoming_, way.first, way.first_cosine);
        way.last = last_.normal_at(number_cast<T>(y_mirror));
        way.last_cosine = -dot(way.last, way.between);
        way.between_length = last_.way_to(way.last, way.last_cosine, way.on_first);
        way.on_last = way.on_first + way.between_length * way.between;
        way.leaving = reflected(way.between, way.last, way.last_cosine);
        way.path = before + way.between_length;
        return way;
    }

    /// The distance between the mirrors along the beam at command 0, m.
    S separation() const { return trace(S(0), S(0)).between_length; }

private:
    /// A mirror and its normal as a function of the angle: along + cos · across + sin · turned.
    struct Prepared {
        TurningMirror<S> mirror;
        Direction<Head, S> along, across, turned;

        Prepared(TurningMirror<S> const& m)
            : mirror(m), along(dot(m.normal, m.axis) * m.axis), across(m.normal - along),
              turned(cross(m.axis, m.normal)) {}

        template <class T> [[gnu::always_inline]] Direction<Head, T> normal_at(T const& command) const {
            auto const by = sin_cos(command * operand<T>(mirror.turn));
            return {by.cos * operand<T>(across.x) + by.sin * operand<T>(turned.x) + operand<T>(along.x),
                    by.cos * operand<T>(across.y) + by.sin * operand<T>(turned.y) + operand<T>(along.y),
                    by.cos * operand<T>(across.z) + by.sin * operand<T>(turned.z) + operand<T>(along.z)};
        }

        /// From a point along a line that meets the mirror's plane under this cosine.
        template <class T, class P>
        [[gnu::always_inline]] T way_to(Direction<Head, T> const& normal, T const& cosine,
                                        P const& from) const {
            T const safe = select(cosine > least_cosine, cosine, number_cast<T>(least_cosine));
            return (dot(normal, from - mirror.pivot) - operand<T>(mirror.offset)) / safe;
        }
    };

    /// A more grazing beam counts as one that misses the mirror.
    static constexpr double least_cosine = 1e-6;

    template <class T, class D>
    [[gnu::always_inline]] static Direction<Head, T>
    reflected(Direction<Head, D> const& d, Direction<Head, T> const& normal, T const& cosine) {
        return d + (cosine * detail::factor<T>(2)) * normal;
    }

    Point<Head, S> entry_;
    Direction<Head, S> incoming_;
    Prepared first_;
    Prepared last_;
};

/// The mirrors of the ideal pair (see `MirrorPair`) a distance apart, m, to be put out of true from there.
template <class S = double> TracedMirrors<S> ideal_mirrors(S const& separation) {
    using std::sqrt;
    S const zero = number_cast<S>(0);
    S const one = number_cast<S>(1);
    S const half = number_cast<S>(std::sqrt(0.5));
    Point<Head, S> const first_place{zero, -separation, zero};
    return {first_place,
            {one, zero, zero},
            {first_place, {zero, zero, one}, {-half, half, zero}, zero, -one},
            {{zero, zero, zero}, {one, zero, zero}, {zero, -half, half}, zero, -one}};
}

namespace detail {
/// A vector brought to length one. Throws BadInput naming it where its length is not one to 1e-6.
inline Direction<Head> checked_unit(Direction<Head> const& d, std::string const& name) {
    double const length = norm(d);
    if (!(std::abs(length - 1) <= 1e-6)) // also for a NaN
        throw BadInput("mirrors: " + name + " has length " + std::to_string(length) + "; it must be 1");
    return unit(d);
}

inline TurningMirror<> checked_mirror(TurningMirror<> mirror, std::string const& name) {
    mirror.axis = checked_unit(mirror.axis, "the axis of the " + name + " mirror");
    mirror.normal = checked_unit(mirror.normal, "the normal of the " + name + " mirror");
    if (!is_finite(mirror.pivot) || !is_finite(mirror.offset))
        throw BadInput("mirrors: the pivot or offset of the " + name + " mirror is not finite");
    if (!(std::abs(mirror.turn) >= 0.5 && std::abs(mirror.turn) <= 2))
        throw BadInput("mirrors: the " + name + " mirror turns " + std::to_string(mirror.turn) +
                       " rad for a radian of command; it must be about −1 or 1");
    if (norm(cross(mirror.axis, mirror.normal)) < 0.5)
        throw BadInput("mirrors: the " + name +
                       " mirror faces along its own axis, so that turning it does not steer the beam");
    return mirror;
}
} // namespace detail

/// Mirrors as given, checked at command 0. Throws BadInput, naming what is wrong, for a vector whose length
/// is not one, a turn that is not about −1 or 1, a mirror that faces along its axis, a beam that misses a
/// mirror (meets its back, runs along it, or leaves away from the next), axes that coincide or are so nearly
/// parallel, seen through the mirrors, that both steer the beam the same way, and a beam that does not leave
/// towards the work (+z).
inline TracedMirrors<> traced_mirrors(Point<Head> const& entry, Direction<Head> const& incoming,
                                      TurningMirror<> const& first, TurningMirror<> const& last) {
    if (!is_finite(entry))
        throw BadInput("mirrors: the entry point is not finite");
    TracedMirrors<> const mirrors(entry, detail::checked_unit(incoming, "the incoming direction"),
                                  detail::checked_mirror(first, "first"),
                                  detail::checked_mirror(last, "last"));
    using G = Gradient<double, 2>;
    auto const way = mirrors.trace(G::variable(0, 0), G::variable(0, 1));
    if (!(way.first_cosine.value > 0.05))
        throw BadInput("mirrors: the beam misses the first mirror: it meets its plane under a cosine of " +
                       std::to_string(way.first_cosine.value) + " to its normal; it must be above 0.05");
    if (!(way.last_cosine.value > 0.05))
        throw BadInput("mirrors: the beam misses the last mirror: it meets its plane under a cosine of " +
                       std::to_string(way.last_cosine.value) + " to its normal; it must be above 0.05");
    // Touching the mirrors' common edge, as at a separation of 0, is allowed.
    if (!(way.between_length.value >= -1e-9))
        throw BadInput("mirrors: the beam misses the last mirror: it leaves the first mirror away from it (" +
                       std::to_string(way.between_length.value) + " m)");
    auto const& d = way.leaving;
    if (!(d.z.value > 0.5))
        throw BadInput("mirrors: the beam leaves towards (" + std::to_string(d.x.value) + ", " +
                       std::to_string(d.y.value) + ", " + std::to_string(d.z.value) +
                       ") at command 0; it must leave along +z, to the work");
    double const turning = d.x.partial[0] * d.y.partial[1] - d.x.partial[1] * d.y.partial[0];
    double const first_rate = std::hypot(d.x.partial[0], d.y.partial[0]);
    double const last_rate = std::hypot(d.x.partial[1], d.y.partial[1]);
    if (!(std::abs(turning) >= 0.1 * first_rate * last_rate) || !(first_rate > 0.1) || !(last_rate > 0.1))
        throw BadInput(
            "mirrors: both mirrors steer the beam the same way: their axes coincide or are parallel "
            "as the light sees them");
    return mirrors;
}

} // namespace seamhold

#endif
