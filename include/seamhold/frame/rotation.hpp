#ifndef SEAMHOLD_FRAME_ROTATION_HPP
#define SEAMHOLD_FRAME_ROTATION_HPP

#include "seamhold/frame/point.hpp"
#include "seamhold/number/bad_input.hpp"

namespace seamhold {

/// A quaternion w + xi + yj + zk; in seamhold always written in this order. As a rotation q and −q are one.
template <class S = double> struct Quaternion { S w, x, y, z; };

/// The quaternion product a·b: first turn by b, then by a.
template <class S, class U>
[[gnu::always_inline]] constexpr auto operator*(Quaternion<S> const& a, Quaternion<U> const& b) {
    return Quaternion<Common<S, U>>{
        a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z, a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y,
        a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x, a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w};
}

/// w² + x² + y² + z².
template <class S> constexpr S squared_norm(Quaternion<S> const& q) {
    return sqr(q.w) + sqr(q.x) + sqr(q.y) + sqr(q.z);
}

/// The rotation from frame From to frame To as its 3 × 3 matrix, row by row; column k is From's k-th axis in
/// To.
template <class To, class From, class S = double> struct Rotation {
    S m[3][3];

    /// No rotation: the axes of both frames are parallel.
    static constexpr Rotation identity() {
        S const one = number_cast<S>(1);
        S const zero = number_cast<S>(0);
        return {{{one, zero, zero}, {zero, one, zero}, {zero, zero, one}}};
    }
};

/// The rotation of a quaternion of any non-zero length, R(q)/|q|²: what a quaternion interpolated component
/// by component means. Rational in the components, without a square root. Source: K. Shoemake, "Animating
/// rotation with quaternion curves", SIGGRAPH 1985 (from memory).
template <class To, class From, class S>
[[gnu::always_inline]] constexpr Rotation<To, From, S> rotation_of(Quaternion<S> const& q) {
    S const scale = number_cast<S>(2) / squared_norm(q);
    S const one = number_cast<S>(1);
    S const sx = scale * q.x;
    S const sy = scale * q.y;
    S const sz = scale * q.z;
    S const xx = sx * q.x, yy = sy * q.y, zz = sz * q.z;
    S const xy = sx * q.y, xz = sx * q.z, yz = sy * q.z;
    S const wx = sx * q.w, wy = sy * q.w, wz = sz * q.w;
    return {{{one - (yy + zz), xy - wz, xz + wy},
             {xy + wz, one - (xx + zz), yz - wx},
             {xz - wy, yz + wx, one - (xx + yy)}}};
}

/// The rotation of a unit quaternion w, x, y, z. Throws BadInput, naming the norm, unless the norm is 1
/// within `tolerance` (default 1e-6: files print six digits or more); within it the quaternion is normalised.
template <class To, class From>
Rotation<To, From> from_wxyz(double w, double x, double y, double z, double tolerance = 1e-6) {
    Quaternion<double> const q{w, x, y, z};
    double const length = std::sqrt(squared_norm(q));
    if (!(std::abs(length - 1) <= tolerance))
        throw BadInput("a quaternion of norm " + detail::text_of(length) +
                       " is not a rotation: the norm must be 1 within " + detail::text_of(tolerance));
    return rotation_of<To, From>(q);
}

/// Rotation by `angle` rad about the unit axis (x, y, z), right-handed.
/// Source: Rodrigues' formula, e.g. K. Lynch, F. Park, "Modern Robotics", 2017, eq. 3.51.
template <class To, class From, class T>
Rotation<To, From, T> about_axis(Direction<To> const& axis, T const& angle) {
    auto const both = sin_cos(angle);
    T const& s = both.sin;
    T const& c = both.cos;
    T const v = number_cast<T>(1) - c;
    auto const x = detail::factor<T>(axis.x), y = detail::factor<T>(axis.y), z = detail::factor<T>(axis.z);
    return {{{c + v * (x * x), v * (x * y) - s * z, v * (x * z) + s * y},
             {v * (x * y) + s * z, c + v * (y * y), v * (y * z) - s * x},
             {v * (x * z) - s * y, v * (y * z) + s * x, c + v * (z * z)}}};
}

/// Rotations compose where the inner frames agree: `a_from_b * b_from_c`.
template <class To, class Mid, class Mid2, class From, class S, class U>
requires SameFrame<Mid, Mid2>
[[gnu::always_inline]] constexpr auto operator*(Rotation<To, Mid, S> const& a,
                                                Rotation<Mid2, From, U> const& b) {
    Rotation<To, From, Common<S, U>> r{};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            r.m[i][k] = a.m[i][0] * b.m[0][k] + a.m[i][1] * b.m[1][k] + a.m[i][2] * b.m[2][k];
    return r;
}

/// A free vector given in From, in the coordinates of To.
template <class To, class From, class F, class S, class U>
requires SameFrame<From, F>
[[gnu::always_inline]] constexpr auto operator*(Rotation<To, From, S> const& r, Direction<F, U> const& d) {
    return Direction<To, Common<S, U>>{r.m[0][0] * d.x + r.m[0][1] * d.y + r.m[0][2] * d.z,
                                       r.m[1][0] * d.x + r.m[1][1] * d.y + r.m[1][2] * d.z,
                                       r.m[2][0] * d.x + r.m[2][1] * d.y + r.m[2][2] * d.z};
}

/// A free vector given in To, in the coordinates of From: the inverse rotation without forming it.
template <class To, class From, class F, class S, class U>
requires SameFrame<To, F>
[[gnu::always_inline]] constexpr auto inverse_times(Rotation<To, From, S> const& r,
                                                    Direction<F, U> const& d) {
    return Direction<From, Common<S, U>>{r.m[0][0] * d.x + r.m[1][0] * d.y + r.m[2][0] * d.z,
                                         r.m[0][1] * d.x + r.m[1][1] * d.y + r.m[2][1] * d.z,
                                         r.m[0][2] * d.x + r.m[1][2] * d.y + r.m[2][2] * d.z};
}

/// The inverse rotation.
template <class To, class From, class S>
constexpr Rotation<From, To, S> inverse(Rotation<To, From, S> const& r) {
    return {{{r.m[0][0], r.m[1][0], r.m[2][0]},
             {r.m[0][1], r.m[1][1], r.m[2][1]},
             {r.m[0][2], r.m[1][2], r.m[2][2]}}};
}

/// The unit quaternion of a rotation, w ≥ 0 where w is not 0 to rounding. Accurate near half a turn, where
/// the largest component is found first. Source: S. Shepperd, J. Guidance and Control 1(3), 1978, 223–224.
template <class To, class From> Quaternion<double> quaternion_of(Rotation<To, From, double> const& r) {
    auto const& m = r.m;
    double const trace = m[0][0] + m[1][1] + m[2][2];
    double const candidates[4] = {trace, m[0][0], m[1][1], m[2][2]};
    int largest = 0;
    for (int i = 1; i < 4; ++i)
        if (candidates[i] > candidates[largest])
            largest = i;
    double const twice = std::sqrt(1 + 2 * candidates[largest] - trace);
    double const s = 0.5 / twice;
    Quaternion<double> q{};
    switch (largest) {
    case 0:
        q = {0.5 * twice, s * (m[2][1] - m[1][2]), s * (m[0][2] - m[2][0]), s * (m[1][0] - m[0][1])};
        break;
    case 1:
        q = {s * (m[2][1] - m[1][2]), 0.5 * twice, s * (m[0][1] + m[1][0]), s * (m[0][2] + m[2][0])};
        break;
    case 2:
        q = {s * (m[0][2] - m[2][0]), s * (m[0][1] + m[1][0]), 0.5 * twice, s * (m[1][2] + m[2][1])};
        break;
    default:
        q = {s * (m[1][0] - m[0][1]), s * (m[0][2] + m[2][0]), s * (m[1][2] + m[2][1]), 0.5 * twice};
        break;
    }
    double const scale = (q.w < 0 ? -1 : 1) / std::sqrt(squared_norm(q));
    return {q.w * scale, q.x * scale, q.y * scale, q.z * scale};
}

/// The same rotation over another type of number.
template <class T, class To, class From, class S>
constexpr Rotation<To, From, T> number_cast(Rotation<To, From, S> const& r) {
    Rotation<To, From, T> cast{};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            cast.m[i][k] = number_cast<T>(r.m[i][k]);
    return cast;
}

} // namespace seamhold

#endif
