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
constexpr double six_terms(double const* c, double z, double z2) {
    return (c[0] + z * c[1]) + z2 * ((c[2] + z * c[3]) + z2 * (c[4] + z * c[5]));
}

} // namespace detail

/// Sine and cosine of an angle in rad, within 1.5 units in the last place of each up to 1e5 rad; beyond that,
/// and for what is not finite, the C library's. Source: reduction by parts of π/2, W. Cody, W. Waite,
/// "Software Manual for the Elementary Functions", Prentice-Hall 1980 (from memory).
[[gnu::always_inline]] inline SinCos<double> sin_cos(double angle) {
    if (!(std::abs(angle) < 1e5)) [[unlikely]]
        return {std::sin(angle), std::cos(angle)};
    constexpr double quarters_per_radian = 0.63661977236758134;
    double const turns = angle * quarters_per_radian;
    auto const quarter = static_cast<std::int64_t>(turns + std::copysign(0.5, turns));
    auto const n = static_cast<double>(quarter);
    double const coarse = angle - n * detail::half_turn_parts[0];
    double const fine = n * detail::half_turn_parts[1];
    double const r = coarse - fine;
    double const rest = ((coarse - r) - fine) - n * detail::half_turn_parts[2];

    double const z = r * r;
    double const z2 = z * z;
    double const sine = r + (rest + r * (z * detail::six_terms(detail::sine_part, z, z2)));
    double const half = 0.5 * z;
    double const most = 1 - half;
    double const cosine =
        most + (((1 - most) - half) + (z2 * detail::six_terms(detail::cosine_part, z, z2) - r * rest));

    bool const swapped = (quarter & 1) != 0;
    double const s = swapped ? cosine : sine;
    double const c = swapped ? sine : cosine;
    return {(quarter & 2) != 0 ? -s : s, ((quarter + 1) & 2) != 0 ? -c : c};
}

/// The arc tangent of y / x for x > 0, in rad, from −π/2 to π/2, within 2 units in the last place; with one
/// division. For angles beyond π/8 the ratio is turned by a quarter or an eighth of a turn first. A NaN gives
/// a NaN.
inline double atan_ratio(double y, double x) {
    constexpr double eighth = 0.41421356237309503; // tan(π/8)
    double const way = std::abs(y);
    bool const beyond_quarter = way * eighth > x;
    bool const beyond_eighth = way > eighth * x;
    double const numerator = beyond_quarter ? -x : beyond_eighth ? way - x : way;
    double const denominator = beyond_quarter ? way : beyond_eighth ? way + x : x;
    double const base = beyond_quarter ? 1.5707963267948966 : beyond_eighth ? 0.78539816339744828 : 0;
    double const base_rest = beyond_quarter  ? 6.123233995736766e-17
                             : beyond_eighth ? 3.061616997868383e-17
                                             : 0;
    double const r = numerator / denominator;
    double const z = r * r;
    double const z2 = z * z;
    double const part = detail::six_terms(detail::arc_tangent_part, z, z2) +
                        z2 * z2 * z2 * detail::six_terms(detail::arc_tangent_part + 6, z, z2);
    return std::copysign(base + (r + (base_rest + r * (z * part))), y);
}

} // namespace seamhold

#endif
