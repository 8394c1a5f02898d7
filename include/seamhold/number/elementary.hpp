#ifndef SEAMHOLD_NUMBER_ELEMENTARY_HPP
#define SEAMHOLD_NUMBER_ELEMENTARY_HPP

#include <cmath>
#include <cstdint>

/// Sine with cosine, and the arc tangent of a ratio, as a tick needs them: without branches on the number and
/// without calls. The C library's are a little more exact, but they branch on ranges, which ever new angles
/// mispredict, and a call pushes the numbers of a whole evaluation out of the registers.
namespace seamhold {

/// Sine and cosine of one angle.
template <class T> struct SinCos {
    T sin; ///< sine
    T cos; ///< cosine
};

namespace detail {

/// sin r = r + r³ · sine_part(r²), cos r = 1 − r²/2 + r⁴ · cosine_part(r²) for |r| ≤ π/4, and
/// atan r = r + r³ · arc_tangent_part(r²) for |r| ≤ tan(π/8), each off by less than 1e-17 of the result. The
/// coefficients, lowest first, interpolate at Chebyshev nodes and are worked out anew in 100 digits by
/// tests/outside/elementary.cpp.
inline constexpr double sine_part[] = {-0.16666666666666666,    0.008333333333330948,
                                       -0.00019841269836758538, 2.7557316102533749e-06,
                                       -2.5051131841108444e-08, 1.5918129014234338e-10};
inline constexpr double cosine_part[] = {0.041666666666666664,   -0.0013888888888887398,
                                         2.4801587298765665e-05, -2.7557317271718099e-07,
                                         2.0876146265966424e-09, -1.1382632249960623e-11};
inline constexpr double arc_tangent_part[] = {
    -0.33333333333333331,  0.19999999999999804,  -0.14285714285659826,  0.1111111110515535,
    -0.090909087534960437, 0.076922963748923795, -0.066664248832279976, 0.058789289689718562,
    -0.052304540580722106, 0.045515922509436986, -0.034570537043107835, 0.016285729217807816};

/// π/2 as the sum of three doubles; the first two have 33 bits, so that small multiples of them are exact.
inline constexpr double half_turn_parts[] = {1.5707963267341256, 6.077100506303966e-11,
                                             2.0222662487959506e-21};

/// Six coefficients from `c` on, as a polynomial in z: three pairs side by side (Estrin's scheme), for short
/// chains.
template <class T> [[gnu::always_inline]] constexpr T six_terms(double const* c, T const& z, T const& z2) {
    return (c[0] + z * c[1]) + z2 * ((c[2] + z * c[3]) + z2 * (c[4] + z * c[5]));
}

/// The whole number of quarter turns nearest to an angle, and what it does to sine and cosine.
template <class T, class Mask> struct Quarters {
    T count;
    Mask swapped; ///< sine and cosine change places
    Mask sine_negative;
    Mask cosine_negative;
};

/// Of a plain double, |turns| < 2⁵³, by whole numbers.
[[gnu::always_inline]] inline Quarters<double, bool> quarters_of(double turns) {
    auto const quarter = static_cast<std::int64_t>(turns + std::copysign(0.5, turns));
    return {static_cast<double>(quarter), (quarter & 1) != 0, (quarter & 2) != 0, ((quarter + 1) & 2) != 0};
}

/// What a formula over doubles and packs alike asks of doubles.
[[gnu::always_inline]] inline double magnitude(double x) { return std::abs(x); }
[[gnu::always_inline]] inline double signed_as(double x, double sign) { return std::copysign(x, sign); }
[[gnu::always_inline]] constexpr double pick(bool mask, double a, double b) { return mask ? a : b; }

/// Sine and cosine of |angle| < 1e5, see `sin_cos`.
template <class T> [[gnu::always_inline]] inline SinCos<T> sin_cos_within(T const& angle) {
    constexpr double quarters_per_radian = 0.63661977236758134;
    auto const quarters = quarters_of(angle * quarters_per_radian);
    T const n = quarters.count;
    T const coarse = angle - n * half_turn_parts[0];
    T const fine = n * half_turn_parts[1];
    T const r = coarse - fine;
    T const rest = ((coarse - r) - fine) - n * half_turn_parts[2];

    T const z = r * r;
    T const z2 = z * z;
    T const sine = r + (rest + r * (z * six_terms(sine_part, z, z2)));
    T const half = 0.5 * z;
    T const most = 1.0 - half;
    T const cosine = most + (((1.0 - most) - half) + (z2 * six_terms(cosine_part, z, z2) - r * rest));

    T const s = pick(quarters.swapped, cosine, sine);
    T const c = pick(quarters.swapped, sine, cosine);
    return {pick(quarters.sine_negative, T(-s), s), pick(quarters.cosine_negative, T(-c), c)};
}

/// The arc tangent of y / x for x > 0, see `atan_ratio`.
template <class T> [[gnu::always_inline]] inline T angle_of_ratio(T const& y, T const& x) {
    constexpr double eighth = 0.41421356237309503; // tan(π/8)
    T const way = magnitude(y);
    auto const beyond_quarter = way * eighth > x;
    auto const beyond_eighth = way > eighth * x;
    auto const by_angle = [&](T const& quarter, T const& middle, T const& small) {
        return pick(beyond_quarter, quarter, pick(beyond_eighth, middle, small));
    };
    T const numerator = by_angle(T(-x), T(way - x), way);
    T const denominator = by_angle(way, T(way + x), x);
    T const base = by_angle(T(1.5707963267948966), T(0.78539816339744828), T(0.0));
    T const base_rest = by_angle(T(6.123233995736766e-17), T(3.061616997868383e-17), T(0.0));
    T const r = numerator / denominator;
    T const z = r * r;
    T const z2 = z * z;
    T const part = six_terms(arc_tangent_part, z, z2) + z2 * z2 * z2 * six_terms(arc_tangent_part + 6, z, z2);
    return signed_as(T(base + (r + (base_rest + r * (z * part)))), y);
}

} // namespace detail

/// Sine and cosine of an angle in rad, within 1.5 units in the last place of each up to 1e5 rad; beyond that,
/// and for what is not finite, the C library's. Source: reduction by parts of π/2, W. Cody, W. Waite,
/// "Software Manual for the Elementary Functions", Prentice-Hall 1980 (from memory).
[[gnu::always_inline]] inline SinCos<double> sin_cos(double angle) {
    if (!(std::abs(angle) < 1e5)) [[unlikely]]
        return {std::sin(angle), std::cos(angle)};
    return detail::sin_cos_within(angle);
}

/// The arc tangent of y / x for x > 0, in rad, from −π/2 to π/2, within 2 units in the last place; with one
/// division. For angles beyond π/8 the ratio is turned by a quarter or an eighth of a turn first. A NaN gives
/// a NaN.
inline double atan_ratio(double y, double x) { return detail::angle_of_ratio(y, x); }

} // namespace seamhold

#endif
