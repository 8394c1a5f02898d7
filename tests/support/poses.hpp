#ifndef SEAMHOLD_TESTS_SUPPORT_POSES_HPP
#define SEAMHOLD_TESTS_SUPPORT_POSES_HPP

#include "seamhold/frame/pose.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

// Poses at which the laws of a frame type are asked, and distances between them.

namespace seamhold::test {

/// A rotation to ask at, and what it is called.
template <class To, class From> struct NamedRotation {
    std::string name;
    Rotation<To, From> rotation;
};

/// A uniform random rotation.
template <class To, class From> Rotation<To, From> random_rotation(Random& random) {
    auto const q = random.on_sphere<4>();
    return rotation_of<To, From>(Quaternion<double>{q[0], q[1], q[2], q[3]});
}

/// A random rotation with an origin inside of a box of ± reach m.
template <class To, class From> Pose<To, From> random_pose(Random& random, double reach = 1) {
    auto const rotation = random_rotation<To, From>(random);
    double const x = random.uniform(-reach, reach);
    double const y = random.uniform(-reach, reach);
    return {rotation, {x, y, random.uniform(-reach, reach)}};
}

/// The rotations every law is asked at: none, 1e-8 rad, random ones, 1e-8 rad short of half a turn, half a
/// turn.
template <class To, class From> std::vector<NamedRotation<To, From>> rotations_to_ask(Random& random) {
    std::vector<NamedRotation<To, From>> all{{"identity", Rotation<To, From>::identity()}};
    Direction<To> const axes[] = {
        {1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {0.6, 0, 0.8}, {-2.0 / 3, 1.0 / 3, 2.0 / 3}};
    for (auto const& axis : axes)
        for (double const angle : {1e-8, std::numbers::pi - 1e-8, std::numbers::pi, -std::numbers::pi / 2})
            all.push_back({"angle " + std::to_string(angle), about_axis<To, From>(axis, angle)});
    for (int i = 0; i < 20; ++i)
        all.push_back({"random " + std::to_string(i), random_rotation<To, From>(random)});
    return all;
}

/// The largest difference between two entries.
template <class To, class From> double difference(Rotation<To, From> const& a, Rotation<To, From> const& b) {
    double largest = 0;
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            largest = std::max(largest, std::abs(a.m[i][k] - b.m[i][k]));
    return largest;
}

/// The largest difference between two coordinates, m.
template <class F> double difference(Point<F> const& a, Point<F> const& b) {
    return std::max({std::abs(a.x - b.x), std::abs(a.y - b.y), std::abs(a.z - b.z)});
}

/// The largest difference between two coordinates.
template <class F> double difference(Direction<F> const& a, Direction<F> const& b) {
    return std::max({std::abs(a.x - b.x), std::abs(a.y - b.y), std::abs(a.z - b.z)});
}

/// The largest difference between two numbers of the poses (entries without unit, coordinates in m).
template <class To, class From> double difference(Pose<To, From> const& a, Pose<To, From> const& b) {
    return std::max(difference(a.rotation, b.rotation), difference(a.origin, b.origin));
}

/// How far a rotation is from orthogonal with determinant one: the largest entry of RᵀR − 1 and of det R − 1.
template <class To, class From> double distance_from_rotation(Rotation<To, From> const& r) {
    auto const& m = r.m;
    double largest = std::abs(m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) -
                              m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0]) +
                              m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0]) - 1);
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k) {
            double const product = m[0][i] * m[0][k] + m[1][i] * m[1][k] + m[2][i] * m[2][k];
            largest = std::max(largest, std::abs(product - (i == k ? 1 : 0)));
        }
    return largest;
}

} // namespace seamhold::test

#endif
