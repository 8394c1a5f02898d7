#ifndef SEAMHOLD_HEAD_MIRROR_PAIR_HPP
#define SEAMHOLD_HEAD_MIRROR_PAIR_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/number/bad_input.hpp"

#include <cmath>
#include <limits>
#include <string>

namespace seamhold {

/// The ideal scan head: two mirrors with perpendicular axes, each in its mirror's surface, a distance apart,
/// and a focus axis in front of them. In the head frame the beam enters along +x, meets the first mirror at
/// (0, −separation, 0) with its axis along z and normal (−1, 1, 0)/√2 at rest, then the last mirror at the
/// origin with its axis along x and normal (0, −1, 1)/√2 at rest. Both turn by the negative of their
/// commanded angle. Source: G. Marshall, G. Stutz (eds.), "Handbook of Optical and Laser Scanning" (from
/// memory). Exact for this geometry; `ray(aim(p))` passes within 1e-12 m of p (checked against a vector ray
/// trace).
template <class S = double> struct MirrorPair {
    S separation;        ///< between the mirror axes, m, 0 or more
    S focus_path;        ///< optical path from the first mirror to the focus at focus command 0, m
    S focus_ratio;       ///< metres the focus moves at the work for a metre of the lens
    Range x_range;       ///< of the first mirror, mechanical, rad
    Range y_range;       ///< of the last mirror, mechanical, rad
    Range focus_range;   ///< of the lens, m
    double field_radius; ///< of the circular field in the plane of the undeflected focus at command 0, m; may
                         ///< be ∞

    /// Where the focus lies at command 0 without deflection: z in the head frame, m.
    S working_distance() const { return focus_path - separation; }

    /// The ranges of the axes.
    AxisRanges ranges() const { return {x_range, y_range, focus_range}; }

    /// The command that puts the beam through p with the focus `focus_offset` metres beyond p along the beam.
    /// tan 2θy = y / z, tan 2θx = x / (e + √(y² + z²)), path √(x² + (e + √(y² + z²))²).
    /// A point that is not in front of the head gives a finite command that means nothing: see `clearance`.
    template <class P, class O = double>
    [[gnu::always_inline]] Command<Common<S, Common<P, O>>> command(Point<Head, P> const& p,
                                                                    O const& focus_offset = 0) const {
        using std::sqrt;
        using T = Common<S, Common<P, O>>;
        T const x = number_cast<T>(p.x);
        T const y = number_cast<T>(p.y);
        T const z = guarded<T>(p.z);
        T const unfolded = sqrt(sqr(z) + sqr(y)) + operand<T>(separation);
        T const path = sqrt(sqr(unfolded) + sqr(x));
        return {atan_ratio(x, unfolded) * detail::factor<T>(0.5), atan_ratio(y, z) * detail::factor<T>(0.5),
                (path + operand<T>(focus_offset) - operand<T>(focus_path)) / operand<T>(focus_ratio)};
    }

    /// How far a point and the command that aims at it are from what the head can reach. The field is crossed
    /// where the beam to p meets the plane at the working distance.
    template <class P, class C>
    [[gnu::always_inline]] Clearance<Common<S, Common<P, C>>> clearance(Point<Head, P> const& p,
                                                                        Command<C> const& command) const {
        using T = Common<S, Common<P, C>>;
        T const one = number_cast<T>(1);
        Clearance<T> result{number_cast<T>(p.z) - detail::factor<T>(nearest),
                            one,
                            x_range.clearance(number_cast<T>(command.x_mirror)),
                            y_range.clearance(number_cast<T>(command.y_mirror)),
                            focus_range.clearance(number_cast<T>(command.focus)),
                            one,
                            one};
        if (is_finite(field_radius))
            result.field = one - squared_field_utilisation(number_cast<T>(p), command);
        return result;
    }

    /// The command for p and its clearances at plain numbers; for their derivatives see `clearance`.
    template <class P, class O = double>
    [[gnu::always_inline]] auto aim(Point<Head, P> const& p, O const& focus_offset = 0) const {
        using T = Common<S, Common<P, O>>;
        auto const commanded = command(p, focus_offset);
        return Aim<T, ValueOf<T>>{commanded, value_of(clearance(value_of(p), value_of(commanded)))};
    }

    /// The square of how much of the field is used by a command that aims at p, (r / radius)²: smooth at any
    /// number, the middle included. 0 without a field.
    template <class P, class C>
    [[gnu::always_inline]] Common<S, P> squared_field_utilisation(Point<Head, P> const& p,
                                                                  Command<C> const& /*command*/) const {
        using std::sqrt;
        using T = Common<S, P>;
        if (!is_finite(field_radius))
            return number_cast<T>(0);
        T const x = number_cast<T>(p.x);
        T const y = number_cast<T>(p.y);
        T const z = guarded<T>(p.z);
        auto const e = operand<T>(separation);
        T const scale = number_cast<T>(working_distance()) / z;
        T const to_last_axis = sqrt(sqr(z) + sqr(y));
        T const field_x = x * (to_last_axis * scale + e) / (to_last_axis + e);
        return (sqr(field_x) + sqr(y * scale)) * detail::factor<T>(1 / sqr(field_radius));
    }

    /// How much of the field is used, as r / radius: 0 in the middle, 1 at the edge.
    double field_utilisation(Point<Head> const& p, Command<> const& command) const {
        return std::sqrt(value_of(squared_field_utilisation(p, command)));
    }

    /// The beam that a command makes. Finite for any command.
    template <class C> Ray<Common<S, C>> ray(Command<C> const& command) const {
        using T = Common<S, C>;
        auto const x = sin_cos(number_cast<T>(command.x_mirror) * detail::factor<T>(2));
        auto const y = sin_cos(number_cast<T>(command.y_mirror) * detail::factor<T>(2));
        auto const e = operand<T>(separation);
        T const zero = number_cast<T>(0);
        T const along = number_cast<T>(1) / x.cos * e;
        return {{along * x.sin, zero, zero},
                {x.sin, x.cos * y.sin, x.cos * y.cos},
                along,
                number_cast<T>(command.focus) * operand<T>(focus_ratio) + operand<T>(focus_path)};
    }

private:
    /// Nearer to the head than this, m, a point counts as not in front of it.
    static constexpr double nearest = 1e-9;

    /// z, or the nearest z that a division can take.
    template <class T, class P> static T guarded(P const& z) {
        return select(z > nearest, number_cast<T>(z), number_cast<T>(nearest));
    }
};

namespace detail {
/// Throws BadInput for a range of an axis that no head has, naming it.
inline void check_ranges(AxisRanges const& ranges) {
    auto const refuse = [](std::string const& name, double given, std::string const& allowed) {
        throw BadInput("a head's " + name + " of " + std::to_string(given) + " is not possible: it must be " +
                       allowed);
    };
    for (auto const& [name, range] :
         {std::pair{"x mirror", ranges.x_mirror}, std::pair{"y mirror", ranges.y_mirror}})
        if (!(range.low < range.high) || !(range.low > -0.785398) || !(range.high < 0.785398))
            refuse(std::string(name) + " range (rad)", range.high,
                   "above its lower end and within 45 degrees");
    if (!(ranges.focus.low < ranges.focus.high))
        refuse("focus range (m)", ranges.focus.high, "above its lower end");
}
} // namespace detail

/// A head as given, checked. Throws BadInput, naming the field, for a negative separation, a focus path that
/// is not beyond the last mirror, a focus ratio of 0, a range without extent, a mirror range of 45° or more
/// to a side, or a field radius that is not above 0.
inline MirrorPair<> checked(MirrorPair<> const& head) {
    auto const refuse = [](std::string const& field, double given, std::string const& allowed) {
        throw BadInput("a head's " + field + " of " + std::to_string(given) +
                       " is not possible: it must be " + allowed);
    };
    if (!(head.separation >= 0) || !is_finite(head.separation))
        refuse("mirror separation (m)", head.separation, "0 or more");
    if (!(head.focus_path > head.separation) || !is_finite(head.focus_path))
        refuse("focus path (m)", head.focus_path, "more than the mirror separation");
    if (head.focus_ratio == 0 || !is_finite(head.focus_ratio))
        refuse("focus ratio", head.focus_ratio, "other than 0");
    detail::check_ranges(head.ranges());
    if (!(head.field_radius > 0))
        refuse("field radius (m)", head.field_radius, "above 0");
    return head;
}

} // namespace seamhold

#endif
