#ifndef SEAMHOLD_MOTION_TURNTABLE_HPP
#define SEAMHOLD_MOTION_TURNTABLE_HPP

#include "seamhold/motion/motion.hpp"

namespace seamhold {

/// A frame that turns at constant speed about a fixed line: a turning positioner, a rotary table. At
/// start_time the frame stands in `start`; a part on it is `compose(turntable, Rest{table_from_part})`, or
/// `start` is the part's.
template <class To, class From, class S = double> struct Turntable {
    Pose<To, From, S> start; ///< the pose at start_time
    Point<To> axis_point;    ///< any point of the axis, m
    Direction<To> axis;      ///< unit vector along the axis, right-handed
    S velocity;              ///< rad/s
    double start_time = 0;   ///< s

    /// The pose at time t.
    template <class T> Pose<To, From, Common<S, T>> at(T const& t) const {
        using R = Common<S, T>;
        R const angle = number_cast<R>(t - start_time) * operand<T>(velocity);
        auto const turned = about_axis<To, To>(axis, angle);
        auto const pivot = number_cast<S>(axis_point);
        return {turned * start.rotation, pivot + turned * (start.origin - pivot)};
    }
};

} // namespace seamhold

#endif
