#ifndef SEAMHOLD_FOLLOW_CHANGE_HPP
#define SEAMHOLD_FOLLOW_CHANGE_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/lift.hpp"

/// By how much the world may differ from what the chain was given: what a proof covers, and in which
/// direction a window is looked for.
namespace seamhold {

/// The motion as it was given.
struct AsGiven {
    /// A point or direction of the part: as it is.
    template <class V> [[gnu::always_inline]] V const& of_part(V const& v) const { return v; }

    /// A point or direction in the flange frame: as it is.
    template <class V> [[gnu::always_inline]] V const& of_flange(V const& v) const { return v; }

    /// A point or direction in the head frame: as it is.
    template <class V> [[gnu::always_inline]] V const& of_head(V const& v) const { return v; }

    /// The way back, of the part.
    template <class V> [[gnu::always_inline]] V const& back_from_part(V const& v) const { return v; }

    /// The way back, of the flange.
    template <class V> [[gnu::always_inline]] V const& back_from_flange(V const& v) const { return v; }

    /// The way back, of the head.
    template <class V> [[gnu::always_inline]] V const& back_from_head(V const& v) const { return v; }

    /// The time of the motions at a time of a seam, both s.
    template <class T, class Start, class Duration>
    auto time(Start const& start, Duration const& /*duration*/, T const& seam_time) const {
        return seam_time + operand<T>(start);
    }
};

/// How far the real poses may be from the given ones. All are unknown but constant while a seam is welded: a
/// part that lies a little off, a robot whose path is displaced, stamps that are late by the same amount.
/// Zero: the motion exactly as given.
struct PoseBox {
    double part_shift = 0; ///< of the part's origin along each of its axes, given or turned, to each side, m
    double part_turn = 0;  ///< of the part about any axis through its origin, rad, at most 0.1
    double path_shift = 0; ///< of the flange along each of its axes, given or turned, to each side, m
    double path_turn = 0;  ///< of the flange about any axis through its origin, rad, at most 0.1
    double delay = 0;      ///< of the motions' time against the seam's, to each side, s

    /// Whether anything may differ.
    bool any() const {
        return part_shift != 0 || part_turn != 0 || path_shift != 0 || path_turn != 0 || delay != 0;
    }
};

/// A box around the given motion, and a sweep that is changed on purpose. Intervals: all values in them at
/// once. Times of motions are then (middle + start) + speed · (time − middle) about the middle of the seam.
/// Asked with numbers that are not made of intervals it is one sweep: the middle of each interval, no box.
struct Change {
    PoseBox box = {};
    Interval start = 0;    ///< by how much later the seam starts in the motion, s
    Interval speed = 1;    ///< of the motion, as a factor, about the middle of the seam
    Interval standoff = 0; ///< by how much farther the head is held, back along its own z axis, m
    Interval tilt_x = 0;   ///< of the head about its x axis through `pivot`, rad
    Interval tilt_y = 0;   ///< of the head about its y axis through `pivot`, rad
    double pivot = 0;      ///< z in the head frame about which it is tilted, m

    /// A point or direction of the part, with its box.
    template <class V> V of_part(V const& v) const {
        return displaced(v, along_any_axes(box.part_shift, box.part_turn), box.part_turn);
    }

    /// A point or direction in the flange frame, with its box.
    template <class V> V of_flange(V const& v) const {
        return displaced(v, along_any_axes(box.path_shift, box.path_turn), box.path_turn);
    }

    /// A point or direction in the frame of the head, as a head sees it that is held in another way.
    template <class T> Point<Head, T> of_head(Point<Head, T> const& p) const {
        auto const turned = of_head(Direction<Head, T>{p.x, p.y, p.z - pivot});
        return {turned.x, turned.y, turned.z + pivot + as<T>(standoff)};
    }
    template <class T> Direction<Head, T> of_head(Direction<Head, T> const& d) const {
        return turned_y(turned_x(d, tilt_x), tilt_y);
    }

    /// The way back: from what they are with the box, or in the head as it is held, to what was given.
    template <class V> V back_from_part(V const& v) const {
        return displaced(v, back(box.part_shift), box.part_turn);
    }

    /// The way back of the flange's box.
    template <class V> V back_from_flange(V const& v) const {
        return displaced(v, back(box.path_shift), box.path_turn);
    }

    /// The way back from the head as it is held.
    template <class T> Point<Head, T> back_from_head(Point<Head, T> const& p) const {
        auto const turned = back_from_head(Direction<Head, T>{p.x, p.y, p.z - pivot - as<T>(standoff)});
        return {turned.x, turned.y, turned.z + pivot};
    }
    template <class T> Direction<Head, T> back_from_head(Direction<Head, T> const& d) const {
        return turned_x(turned_y(d, -tilt_y), -tilt_x);
    }

    /// The time of the motions at a time of a seam, both s.
    template <class T> T time(double seam_start, double duration, T const& seam_time) const {
        T t = seam_time;
        if (differs(speed, 1))
            t = (t - duration / 2) * as<T>(speed) + duration / 2;
        Interval const late = start + Interval(-box.delay, box.delay);
        return differs(late, 0) ? t + (as<T>(late) + seam_start) : t + seam_start;
    }

private:
    /// All of an interval, or its middle, as T.
    template <class T> static T as(Interval const& x) {
        if constexpr (detail::is_of_intervals<T>)
            return T(x);
        else
            return number_cast<T>(x.middle());
    }

    static constexpr bool differs(Interval const& x, double from) { return x.low != from || x.high != from; }

    /// A vector as seen from a frame that is turned about x, or about y.
    template <class T>
    static Direction<Head, T> turned_x(Direction<Head, T> const& d, Interval const& angle) {
        if (!differs(angle, 0))
            return d;
        auto const by = sin_cos(as<typename detail::BottomOf<T>::type>(angle));
        return {d.x, d.y * T(by.cos) + d.z * T(by.sin), d.z * T(by.cos) - d.y * T(by.sin)};
    }
    template <class T>
    static Direction<Head, T> turned_y(Direction<Head, T> const& d, Interval const& angle) {
        if (!differs(angle, 0))
            return d;
        auto const by = sin_cos(as<typename detail::BottomOf<T>::type>(angle));
        return {d.x * T(by.cos) - d.z * T(by.sin), d.y, d.z * T(by.cos) + d.x * T(by.sin)};
    }

    /// A shift to each side along the axes as given, or along those that are turned already, which brings
    /// each axis a share of the other two: at most turn + turn² of either.
    static double along_any_axes(double shift, double turn) {
        return turn == 0 ? shift : detail::up(shift * (1 + 2 * (turn + turn * turn)), 6);
    }

    /// A shift after a turn is undone by one before it, which may lie in any direction: √3 times as long.
    static double back(double shift) { return shift * 1.7321; }

    /// Every rotation by a vector of a length up to ε is I + [r]× and a rest of at most ε² in any entry.
    template <class V> static V turned(V const& v, double turn) {
        using T = std::remove_cvref_t<decltype(v.x)>;
        if (turn == 0)
            return v;
        double const second = detail::up(turn * turn);
        T const off = T(Interval(-detail::up(turn + second), detail::up(turn + second)));
        T const same = T(Interval(1 - detail::up(second, 4), 1 + detail::up(second, 4)));
        return {v.x * same + v.y * off + v.z * off, v.x * off + v.y * same + v.z * off,
                v.x * off + v.y * off + v.z * same};
    }
    template <class F, class T>
    static Point<F, T> displaced(Point<F, T> const& p, double shift, double turn) {
        if constexpr (detail::is_of_intervals<T>) {
            auto const r = turned(p, turn);
            if (shift == 0)
                return r;
            T const by = T(Interval(-shift, shift));
            return {r.x + by, r.y + by, r.z + by};
        } else {
            return p;
        }
    }
    template <class F, class T>
    static Direction<F, T> displaced(Direction<F, T> const& d, double /*shift*/, double turn) {
        if constexpr (detail::is_of_intervals<T>)
            return turned(d, turn);
        else
            return d;
    }
};

} // namespace seamhold

#endif
