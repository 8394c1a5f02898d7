#ifndef SEAMHOLD_TESTS_SUPPORT_MOTIONS_HPP
#define SEAMHOLD_TESTS_SUPPORT_MOTIONS_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/frame/twist.hpp"
#include "seamhold/motion/motion.hpp"
#include "seamhold/motion/pose_log.hpp"
#include "seamhold/number/taylor.hpp"
#include "support/poses.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

// Motions whose every rate is known, and distances between poses with rates.

namespace seamhold::test {

/// A smooth sweep in closed form: two turns about different axes and a wave of the origin; turns at up to 2.2
/// rad/s.
struct Sweep {
    /// The pose at time t, with t's derivatives.
    template <class T> Pose<Cell, Flange, T> at(T const& t) const {
        auto const turn =
            about_axis<Cell, Cell>(Direction<Cell>{0.6, 0, 0.8}, T(t * 1.2 + 0.3)) *
            about_axis<Cell, Flange>(Direction<Cell>{0, 0.8, -0.6}, T(sin_cos(T(t * 2.0)).sin * 0.5));
        auto const slow = sin_cos(T(t * 1.5));
        auto const quick = sin_cos(T(t * 3.0 + 1.0));
        return {turn, {slow.sin * 0.5, quick.cos * 0.2 + t * 0.2, slow.cos * 0.3 + 1.0}};
    }
};

/// Rows of a recorded stream of a motion at the given times.
template <class M> auto rows_of(M const& motion, std::vector<double> const& times) {
    std::vector<PoseRow<Cell>> rows;
    for (double const time : times) {
        auto const pose = motion.at(time);
        rows.push_back({time, pose.origin, quaternion_of(pose.rotation)});
    }
    return rows;
}

/// Uneven times from 0 to `end`: steps repeat 1 : 2 : 0.5 : 1.5, so that twice as many are everywhere half as
/// long.
inline std::vector<double> uneven_times(std::size_t pieces, double end) {
    double const pattern[] = {1, 2, 0.5, 1.5};
    std::vector<double> times{0};
    for (std::size_t i = 0; i < pieces; ++i)
        times.push_back(times.back() + pattern[i % 4]);
    double const scale = end / times.back();
    for (double& time : times)
        time *= scale;
    return times;
}

/// The k-th derivative by time of every number of a pose, as a pose.
template <class To, class From, int N>
Pose<To, From> rate_of(Pose<To, From, Taylor<double, N>> const& pose, int k) {
    Pose<To, From> rate{};
    for (int i = 0; i < 3; ++i)
        for (int j = 0; j < 3; ++j)
            rate.rotation.m[i][j] = pose.rotation.m[i][j].derivative(k);
    rate.origin = {pose.origin.x.derivative(k), pose.origin.y.derivative(k), pose.origin.z.derivative(k)};
    return rate;
}

/// The angle between two rotations, rad, to full accuracy near zero.
template <class To, class From>
double angle_between(Rotation<To, From> const& a, Rotation<To, From> const& b) {
    auto const q = quaternion_of(inverse(a) * b);
    return 2 * std::atan2(std::hypot(q.x, q.y, q.z), q.w);
}

/// What every motion owes: the pose is a rotation and finite, rates agree with one another across the number
/// types, and derivatives up to `continuity` have no jump at its breaks. `sizes[k]` is the size of the k-th
/// derivative, `times` are where to ask.
template <class To, class From, class M> struct MotionLaws {
    double not_rotation = 0; ///< largest distance from a rotation
    double value_apart = 0;  ///< largest difference of the value at double and at Taylor time
    double slope_apart =
        0; ///< largest difference between the first derivative and a central difference, per step²
    double jump[3] = {}; ///< largest jump of value, first and second derivative at the breaks
    bool finite = true;

    MotionLaws(M const& motion, std::vector<double> const& times, double step) {
        for (double const time : times) {
            Pose<To, From> const now = value_of(motion.at(time));
            auto const series = number_cast<Taylor<double, 2>>(motion.at(Taylor<double, 2>::variable(time)));
            not_rotation = std::max(not_rotation, distance_from_rotation(now.rotation));
            value_apart = std::max(value_apart, difference(now, value_of(series)));
            Pose<To, From> const before = value_of(motion.at(time - step)),
                                 after = value_of(motion.at(time + step));
            auto const rate = rate_of(series, 1);
            for (int i = 0; i < 3; ++i)
                for (int k = 0; k < 3; ++k)
                    note((after.rotation.m[i][k] - before.rotation.m[i][k]) / (2 * step) -
                         rate.rotation.m[i][k]);
            note((after.origin.x - before.origin.x) / (2 * step) - rate.origin.x);
            note((after.origin.y - before.origin.y) / (2 * step) - rate.origin.y);
            note((after.origin.z - before.origin.z) / (2 * step) - rate.origin.z);
            finite = finite && is_finite(series.origin) && is_finite(series.rotation.m[0][0]);
        }
        slope_apart /= step * step;
        for (double const b : breaks_of(motion)) {
            auto const left = at_time(motion, std::nextafter(b, -std::numeric_limits<double>::infinity()));
            auto const right = at_time(motion, b);
            jump[0] = std::max(jump[0], difference(value_of(left), value_of(right)));
            jump[1] = std::max(jump[1], difference(rate_of(left, 1), rate_of(right, 1)));
            jump[2] = std::max(jump[2], difference(rate_of(left, 2), rate_of(right, 2)));
        }
    }

private:
    static Pose<To, From, Taylor<double, 2>> at_time(M const& motion, double time) {
        return number_cast<Taylor<double, 2>>(motion.at(Taylor<double, 2>::variable(time)));
    }
    void note(double difference) { slope_apart = std::max(slope_apart, std::abs(difference)); }
};

} // namespace seamhold::test

#endif
