#ifndef SEAMHOLD_TESTS_FOLLOW_CHAINS_HPP
#define SEAMHOLD_TESTS_FOLLOW_CHAINS_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/motion/compose.hpp"
#include "seamhold/motion/joint_move.hpp"
#include "seamhold/number/units.hpp"
#include "support/mirror_trace.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

// Motions, heads and seams for the tests of the chain, and the way back from a command to the spot, by hand.

namespace seamhold::test {

/// middle + Σ amplitude · sin(frequency · t + phase): as smooth as can be, written for any number.
template <class S = double> struct SineSum {
    S middle;
    std::array<S, 3> amplitude, frequency, phase;

    template <class T> Common<S, T> at(T const& t) const {
        auto sum = number_cast<Common<S, T>>(middle);
        for (std::size_t i = 0; i < 3; ++i)
            sum = sum +
                  sin_cos(t * operand<T>(frequency[i]) + operand<T>(phase[i])).sin * operand<T>(amplitude[i]);
        return sum;
    }
};

/// A user's own Motion: every coordinate of the origin and every component of the quaternion is a sum of
/// sines.
template <class To, class From, class S = double> struct SineMotion {
    std::array<SineSum<S>, 3> origin;     ///< m
    std::array<SineSum<S>, 4> quaternion; ///< w, x, y, z, of any length

    template <class T> Pose<To, From, Common<S, T>> at(T const& t) const {
        using R = Common<S, T>;
        Quaternion<R> const q{quaternion[0].at(t), quaternion[1].at(t), quaternion[2].at(t),
                              quaternion[3].at(t)};
        return {rotation_of<To, From>(q), {origin[0].at(t), origin[1].at(t), origin[2].at(t)}};
    }
};

/// A sum of sines that swings by up to `swing` about the middle, at 0.2 to 2 Hz.
inline SineSum<> random_sines(Random& random, double middle, double swing) {
    SineSum<> sum{middle, {}, {}, {}};
    for (std::size_t i = 0; i < 3; ++i) {
        sum.amplitude[i] = random.uniform(-swing, swing) / 3;
        sum.frequency[i] = 2 * std::numbers::pi * random.uniform(0.2, 2);
        sum.phase[i] = random.uniform(-std::numbers::pi, std::numbers::pi);
    }
    return sum;
}

/// A flange that swings by up to 30 mm and a few degrees, half a metre above the cell's origin, looking down
/// (its z axis along the cell's −z).
inline SineMotion<Cell, Flange> random_flange(Random& random) {
    return {{random_sines(random, 0, 0.03), random_sines(random, 0, 0.03), random_sines(random, 0.5, 0.03)},
            {random_sines(random, 0, 0.03), random_sines(random, 1, 0.03), random_sines(random, 0, 0.03),
             random_sines(random, 0, 0.03)}};
}

/// A part that swings by up to 10 mm and a few degrees about the cell's origin.
inline SineMotion<Cell, Part> random_part(Random& random) {
    return {{random_sines(random, 0, 0.01), random_sines(random, 0, 0.01), random_sines(random, 0, 0.01)},
            {random_sines(random, 1, 0.03), random_sines(random, 0, 0.03), random_sines(random, 0, 0.03),
             random_sines(random, 0, 0.03)}};
}

/// Rows of a log of a motion, `step` apart on the average, with uneven stamps.
template <class To, class M>
std::vector<PoseRow<To>> rows_of(M const& motion, double begin, double end, double step, Random& random) {
    std::vector<PoseRow<To>> rows;
    for (double t = begin; t < end; t += step * random.uniform(0.7, 1.3)) {
        auto const pose = motion.at(t);
        rows.push_back({t, pose.origin, quaternion_of(pose.rotation)});
    }
    return rows;
}

/// Where the head sits on the flange: a little aside and a little turned, as one is mounted.
inline Pose<Flange, Head> mount() {
    return {about_axis<Flange, Head>({0.6, 0, 0.8}, degrees(2)), {0.002, -0.003, 0.01}};
}

/// A head of ordinary size, as an assumption: 40 mm between the mirrors, half a metre to the work; ±12.5°.
inline MirrorPair<> head() {
    return checked({millimetres(40),
                    0.53,
                    10,
                    {degrees(-12.5), degrees(12.5)},
                    {degrees(-12.5), degrees(12.5)},
                    {millimetres(-15), millimetres(15)},
                    infinity});
}

/// A face of the part that leans by 20°, around the part's origin.
inline Plane<> face() {
    return {{about_axis<Part, Face>({0.6, 0.8, 0}, degrees(20)), {0.004, -0.002, 0.003}}};
}

/// The same numbers over another type.
template <class S> MirrorPair<S> number_cast(MirrorPair<> const& h) {
    return {seamhold::number_cast<S>(h.separation),
            seamhold::number_cast<S>(h.focus_path),
            seamhold::number_cast<S>(h.focus_ratio),
            h.x_range,
            h.y_range,
            h.focus_range,
            h.field_radius};
}

/// A pose applied and undone, on plain vectors.
template <class To, class From> Vector<> carried(Pose<To, From> const& pose, Vector<> const& v) {
    auto const& m = pose.rotation.m;
    auto const& o = pose.origin;
    return {o.x + m[0][0] * v.x + m[0][1] * v.y + m[0][2] * v.z,
            o.y + m[1][0] * v.x + m[1][1] * v.y + m[1][2] * v.z,
            o.z + m[2][0] * v.x + m[2][1] * v.y + m[2][2] * v.z};
}
template <class To, class From> Vector<> carried_back(Pose<To, From> const& pose, Vector<> const& v) {
    auto const& m = pose.rotation.m;
    Vector<> const d{v.x - pose.origin.x, v.y - pose.origin.y, v.z - pose.origin.z};
    return {m[0][0] * d.x + m[1][0] * d.y + m[2][0] * d.z, m[0][1] * d.x + m[1][1] * d.y + m[2][1] * d.z,
            m[0][2] * d.x + m[1][2] * d.y + m[2][2] * d.z};
}

/// The ideal head of a chain, however it was composed.
inline MirrorPair<> const& ideal(MirrorPair<> const& head) { return head; }
inline MirrorPair<> const& ideal(AnyHead const& head) { return std::get<MirrorPair<>>(head.choice()); }

/// Where a command puts the focus, in the part frame: the beam is traced through the mirrors by vectors, as
/// long as the focusing lens says, and carried from the head over flange and cell to the part.
template <class ChainType> Vector<> spot_of(ChainType const& chain, Command<> const& command, double t) {
    auto const& h = ideal(chain.head);
    auto const beam = traced(h.separation, command.x_mirror, command.y_mirror);
    double const way = h.focus_path + h.focus_ratio * command.focus - beam.path;
    auto const in_head = beam.line.point + times(way, beam.line.direction);
    auto const in_cell = carried(chain.cell_from_flange.at(t), carried(chain.flange_from_head, in_head));
    return carried_back(chain.cell_from_part.at(t), in_cell);
}

} // namespace seamhold::test

#endif
