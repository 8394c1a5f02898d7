#ifndef SEAMHOLD_FRAME_TWIST_HPP
#define SEAMHOLD_FRAME_TWIST_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/number/taylor.hpp"

namespace seamhold {

/// How a body moves, seen from frame F and written in its axes: angular velocity in rad/s, and the velocity
/// of one point of the body in m/s. Which point is said by whoever returns the twist; here always the moving
/// frame's origin.
template <class F, class S = double> struct Twist {
    Direction<F, S> angular;
    Direction<F, S> linear;
};

/// The twist of From as seen from To: ω from Ṙ·Rᵀ = [ω]×, v the velocity of From's origin. Exact to rounding
/// for any motion evaluated with Taylor time. Source: K. Lynch, F. Park, "Modern Robotics", 2017,
/// section 3.2.2.
template <class To, class From, class S, int N>
requires(N >= 1) constexpr Twist<To, S> twist_of(Pose<To, From, Taylor<S, N>> const& pose) {
    auto const& m = pose.rotation.m;
    auto const product = [&m](int i, int k) {
        S sum = m[i][0].coefficient[1] * m[k][0].coefficient[0];
        for (int j = 1; j < 3; ++j)
            sum = sum + m[i][j].coefficient[1] * m[k][j].coefficient[0];
        return sum;
    };
    auto const& p = pose.origin;
    return {{product(2, 1), product(0, 2), product(1, 0)},
            {p.x.coefficient[1], p.y.coefficient[1], p.z.coefficient[1]}};
}

/// A twist of a body given at one point, for another of its points displaced by `lever`: v + ω × lever.
template <class F, class S>
constexpr Twist<F, S> moved_by(Twist<F, S> const& twist, Direction<F, S> const& lever) {
    return {twist.angular, twist.linear + cross(twist.angular, lever)};
}

} // namespace seamhold

#endif
