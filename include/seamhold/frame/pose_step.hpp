#ifndef SEAMHOLD_FRAME_POSE_STEP_HPP
#define SEAMHOLD_FRAME_POSE_STEP_HPP

#include "seamhold/frame/pose.hpp"

#include <array>
#include <cmath>

/// Small steps from a pose to a neighbouring one: what least squares move, and in what covariances are given.
namespace seamhold {

/// A rotation turned by a small rotation vector (x, y, z), rad, in the axes of From: R · R(1, v/2), the
/// rotation of the quaternion 1 + v/2. For small steps it is the rotation by |v| about v, exactly by
/// 2 atan(|v|/2); smooth at 0 and at any number.
template <class To, class From, class S, class T>
constexpr auto turned_by(Rotation<To, From, S> const& rotation, T const& x, T const& y, T const& z) {
    T const half = detail::factor<T>(0.5);
    return rotation * rotation_of<From, From>(Quaternion<T>{number_cast<T>(1), half * x, half * y, half * z});
}

/// A pose moved by a step of six numbers in the axes of From: turned by (step[0], step[1], step[2]), rad,
/// about its own origin, which moves by (step[3], step[4], step[5]), m. A step of 0 leaves the pose as it is.
template <class To, class From, class S, class T>
constexpr auto moved_by(Pose<To, From, S> const& pose, std::array<T, 6> const& step) {
    using R = Common<S, T>;
    return Pose<To, From, R>{turned_by(pose.rotation, step[0], step[1], step[2]),
                             pose.origin + pose.rotation * Direction<From, T>{step[3], step[4], step[5]}};
}

/// The rotation vector of a rotation, rad: unit axis times an angle from 0 to π. Exact to rounding; at half a
/// turn one of the two axes.
template <class To, class From> std::array<double, 3> rotation_vector(Rotation<To, From> const& rotation) {
    auto const q = quaternion_of(rotation);
    double const sine = std::sqrt(sqr(q.x) + sqr(q.y) + sqr(q.z));
    double const scale = sine > 0 ? 2 * std::atan2(sine, q.w) / sine : 2;
    return {scale * q.x, scale * q.y, scale * q.z};
}

/// The step from one pose to another, in the axes of From: to first order what `moved_by` undoes; the turn is
/// the exact rotation vector of from⁻¹ · to, the way exact.
template <class To, class From>
std::array<double, 6> step_between(Pose<To, From> const& from, Pose<To, From> const& to) {
    auto const turn = rotation_vector(inverse(from.rotation) * to.rotation);
    auto const way = inverse_times(from.rotation, to.origin - from.origin);
    return {turn[0], turn[1], turn[2], way.x, way.y, way.z};
}

} // namespace seamhold

#endif
