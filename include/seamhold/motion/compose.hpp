#ifndef SEAMHOLD_MOTION_COMPOSE_HPP
#define SEAMHOLD_MOTION_COMPOSE_HPP

#include "seamhold/motion/motion.hpp"

namespace seamhold {

/// Two motions one behind the other: `a_from_b` and `b_from_c` at the same time. A part on a turning
/// positioner is the turning table times the part at rest on it.
template <class Outer, class Inner> struct Composed {
    Outer outer;
    Inner inner;

    /// outer.at(t) * inner.at(t).
    template <class T> auto at(T const& t) const { return outer.at(t) * inner.at(t); }

    /// Whether both have data.
    bool covers(double t) const { return has_data(outer, t) && has_data(inner, t); }

    /// The breaks of both.
    std::vector<double> breaks() const { return detail::merged(breaks_of(outer), breaks_of(inner)); }
};

/// The motion `outer * inner`; the frames must meet, as for poses.
template <class Outer, class Inner> Composed<Outer, Inner> compose(Outer const& outer, Inner const& inner) {
    return {outer, inner};
}

/// A motion seen from the other side.
template <class M> struct Inverted {
    M motion;

    /// inverse(motion.at(t)).
    template <class T> auto at(T const& t) const { return inverse(motion.at(t)); }

    /// Whether the motion has data.
    bool covers(double t) const { return has_data(motion, t); }

    /// The motion's breaks.
    std::vector<double> breaks() const { return breaks_of(motion); }
};

/// `a_from_b` as `b_from_a`.
template <class M> Inverted<M> invert(M const& motion) { return {motion}; }

} // namespace seamhold

#endif
