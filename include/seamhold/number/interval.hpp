#ifndef SEAMHOLD_NUMBER_INTERVAL_HPP
#define SEAMHOLD_NUMBER_INTERVAL_HPP

#include "seamhold/number/taylor.hpp"

#include <array>
#include <cfloat>
#include <cmath>
#include <cstddef>
#include <limits>
#include <type_traits>

/// Intervals that hold what they say: whatever is computed from intervals contains the exact result for all
/// exact numbers in them. Rounding goes outward by widening each rounded end by a little more than half a
/// unit in the last place, in the processor's usual mode (to nearest); no mode is switched. Source of the
/// widening: S. Rump, P. Zimmermann, S. Boldo, G. Melquiond, "Computing predecessor and successor in rounding
/// to nearest", BIT 49, 2009, algorithm 1 (from memory), which also holds where the compiler fuses a product
/// with a sum. What is rounded in another way (-ffast-math, x87 registers) gives whole lines: nothing is
/// proven there, and nothing wrong is.
namespace seamhold {

template <class S, int M> struct Gradient;

/// What is known of a comparison of intervals: some numbers in them may make it true, some may make it false.
struct Truth {
    bool can_be_true;
    bool can_be_false;

    /// Logic of what may be; both sides are always looked at.
    friend constexpr Truth operator!(Truth a) { return {a.can_be_false, a.can_be_true}; }
    friend constexpr Truth operator&&(Truth a, Truth b) {
        return {a.can_be_true && b.can_be_true, a.can_be_false || b.can_be_false};
    }
    friend constexpr Truth operator||(Truth a, Truth b) {
        return {a.can_be_true || b.can_be_true, a.can_be_false && b.can_be_false};
    }
};

/// All real numbers from `low` to `high`, both included, or the whole line from −∞ to ∞. Never empty, never
/// a NaN, never a half line (∞ · 0 would hide what it reaches): an operation that is undefined somewhere in
/// its arguments, or passes the largest double, gives the whole line.
struct Interval {
    double low = 0;
    double high = 0;

    constexpr Interval() = default;

    /// One number, exactly (a whole number up to 2⁵³); the whole line for an infinity or a NaN.
    template <BuiltIn A> constexpr Interval(A x) : low(static_cast<double>(x)), high(static_cast<double>(x)) {
        if (!is_finite(low)) [[unlikely]]
            *this = whole();
    }

    /// From `from` to `to`, both finite, from ≤ to; the whole line for anything else.
    constexpr Interval(double from, double to) : low(from), high(to) {
        if (!(from <= to && is_finite(to - from))) [[unlikely]]
            *this = whole();
    }

    /// All real numbers.
    static constexpr Interval whole() {
        Interval x;
        x.low = -std::numeric_limits<double>::infinity();
        x.high = std::numeric_limits<double>::infinity();
        return x;
    }

    /// All numbers whose distance to `middle` is at most `radius` ≥ 0; the whole line for anything else.
    static Interval about(double middle, double radius);

    /// A number of the interval, near its middle; 0 for the whole line.
    constexpr double middle() const { return is_finite(high - low) ? low + (high - low) / 2 : 0; }

    /// At least the largest distance of its numbers from `middle()`.
    double radius() const;

    /// Whether x, or all of another interval, lies in this one.
    constexpr bool contains(double x) const { return low <= x && x <= high; }
    constexpr bool contains(Interval const& x) const { return low <= x.low && x.high <= high; }

    /// The largest distance of its numbers from 0.
    constexpr double magnitude() const { return -low > high ? -low : high; }

    /// The least distance of its numbers from 0.
    constexpr double mignitude() const { return low > 0 ? low : high < 0 ? -high : 0; }
};

namespace detail {

#if defined(__FAST_MATH__) || (defined(__FINITE_MATH_ONLY__) && __FINITE_MATH_ONLY__) ||                     \
    defined(__ASSOCIATIVE_MATH__) || defined(__RECIPROCAL_MATH__) || FLT_EVAL_METHOD != 0
inline constexpr bool rounds_to_nearest = false;
#else
inline constexpr bool rounds_to_nearest = true;
#endif

/// Half a unit in the last place and a little, relative; and more than any error of an underflow.
inline constexpr double half_unit = 0x1.0000000000001p-53;
inline constexpr double underflow = 0x1p-1000;

/// At least, and at most, what was rounded to the nearest double x; also after `units` roundings of this
/// size.
[[gnu::always_inline]] constexpr double up(double x, double units = 1) {
    return x + ((x < 0 ? -x : x) * (units * half_unit) + underflow);
}
[[gnu::always_inline]] constexpr double down(double x, double units = 1) {
    return x - ((x < 0 ? -x : x) * (units * half_unit) + underflow);
}

/// The interval between two rounded ends, `units` half units in the last place each.
[[gnu::always_inline]] constexpr Interval outward(double low, double high, double units = 1) {
    Interval r;
    r.low = down(low, units);
    r.high = up(high, units);
    // Also where a NaN or an infinity is among them.
    if (!rounds_to_nearest || !(r.high - r.low <= std::numeric_limits<double>::max())) [[unlikely]]
        return Interval::whole();
    return r;
}

/// The lesser and the greater; a NaN stays where it comes first.
[[gnu::always_inline]] constexpr double lesser(double a, double b) { return b < a ? b : a; }
[[gnu::always_inline]] constexpr double greater(double a, double b) { return b > a ? b : a; }

/// The half units in the last place by which sin_cos, atan_ratio, exp and log of doubles may be off: twice
/// what is stated in `elementary.hpp`, and eight times what C libraries state.
inline constexpr double function_units = 8;

} // namespace detail

/// See the class.
inline Interval Interval::about(double middle, double radius) {
    return radius >= 0 ? detail::outward(middle - radius, middle + radius) : whole();
}

/// See the class.
inline double Interval::radius() const {
    double const m = middle();
    return detail::up(detail::greater(high - m, m - low));
}

template <> struct NumberTraits<Interval> {
    static constexpr int rank = 1;
    static constexpr double value(Interval const& x) { return x.middle(); }
    static constexpr bool finite(Interval const& x) { return is_finite(x.low) && is_finite(x.high); }
    /// Its arithmetic is long: functions of Taylor numbers over it are called, not written out in place.
    static constexpr bool compact = true;
};

/// The smallest interval that contains both.
constexpr Interval hull(Interval const& a, Interval const& b) {
    Interval r;
    r.low = detail::lesser(a.low, b.low);
    r.high = detail::greater(a.high, b.high);
    return r;
}

/// Sign and sum, difference. A thin interval is negated exactly.
constexpr Interval operator+(Interval const& a) { return a; }
constexpr Interval operator-(Interval const& a) {
    Interval r;
    r.low = -a.high;
    r.high = -a.low;
    return r;
}
[[gnu::always_inline]] constexpr Interval operator+(Interval const& a, Interval const& b) {
    return detail::outward(a.low + b.low, a.high + b.high);
}
[[gnu::always_inline]] constexpr Interval operator-(Interval const& a, Interval const& b) {
    return detail::outward(a.low - b.high, a.high - b.low);
}

/// Product with an interval, and with a number.
[[gnu::always_inline]] constexpr Interval operator*(Interval const& a, Interval const& b) {
    double const p = a.low * b.low, q = a.low * b.high, r = a.high * b.low, s = a.high * b.high;
    return detail::outward(detail::lesser(detail::lesser(p, q), detail::lesser(r, s)),
                           detail::greater(detail::greater(p, q), detail::greater(r, s)));
}
template <BuiltIn A> [[gnu::always_inline]] constexpr Interval operator*(Interval const& a, A factor) {
    auto const b = static_cast<double>(factor);
    double const p = a.low * b, q = a.high * b;
    return detail::outward(detail::lesser(p, q), detail::greater(p, q));
}
template <BuiltIn A> [[gnu::always_inline]] constexpr Interval operator*(A factor, Interval const& b) {
    return b * factor;
}

/// Quotient; the whole line where the divisor contains 0.
constexpr Interval operator/(Interval const& a, Interval const& b) {
    if (b.low > 0)
        return detail::outward(a.low / (a.low < 0 ? b.low : b.high), a.high / (a.high < 0 ? b.high : b.low));
    if (b.high < 0)
        return detail::outward(a.high / (a.high < 0 ? b.low : b.high), a.low / (a.low < 0 ? b.high : b.low));
    return Interval::whole();
}

/// r[k] = Σ a[i]·b[k − i]: the product of two polynomials, with one rounding outward for each sum. By middles
/// and radii, which is much quicker than end by end, as narrow where one of two factors is thin, and up to
/// half wider where both are wide. Source: S. Rump, "Fast and parallel interval arithmetic", BIT 39, 1999
/// (from memory).
template <std::size_t N>
[[gnu::noinline]] void sums_of_products(Interval const (&a)[N], Interval const (&b)[N], Interval (&r)[N]) {
    // A sum of N rounded products is off by less than (N + 1) half units of the sum of their sizes.
    constexpr double rounding = static_cast<double>(N + 4) * detail::half_unit;
    double middle_a[N], size_a[N], radius_a[N], middle_b[N], size_b[N], radius_b[N];
    for (std::size_t i = 0; i < N; ++i) {
        double const m = 0.5 * a[i].low + 0.5 * a[i].high, n = 0.5 * b[i].low + 0.5 * b[i].high;
        middle_a[i] = m;
        middle_b[i] = n;
        size_a[i] = m < 0 ? -m : m;
        size_b[i] = n < 0 ? -n : n;
        radius_a[i] = detail::greater(a[i].high - m, m - a[i].low) + size_a[i] * (2 * detail::half_unit);
        radius_b[i] = detail::greater(b[i].high - n, n - b[i].low) + size_b[i] * (2 * detail::half_unit);
    }
    double reach_b[N], off_b[N];
    for (std::size_t i = 0; i < N; ++i) {
        reach_b[i] = size_b[i] + radius_b[i];
        off_b[i] = radius_b[i] + (rounding * size_b[i] + detail::underflow);
    }
    for (std::size_t k = 0; k < N; ++k) {
        double sum = 0, off = 0;
        for (std::size_t i = 0; i <= k; ++i) {
            sum += middle_a[i] * middle_b[k - i];
            off += size_a[i] * off_b[k - i] + radius_a[i] * reach_b[k - i];
        }
        off = off * (1 + 64 * detail::half_unit) + detail::underflow;
        r[k] = detail::outward(sum - off, sum + off);
    }
}

/// Arithmetic in place.
constexpr Interval& operator+=(Interval& a, Interval const& b) { return a = a + b; }
constexpr Interval& operator-=(Interval& a, Interval const& b) { return a = a - b; }
constexpr Interval& operator*=(Interval& a, Interval const& b) { return a = a * b; }
constexpr Interval& operator/=(Interval& a, Interval const& b) { return a = a / b; }

/// What may be said of a comparison of any number of one with any number of the other.
constexpr Truth operator<(Interval const& a, Interval const& b) { return {a.low < b.high, a.high >= b.low}; }
constexpr Truth operator>(Interval const& a, Interval const& b) { return b < a; }
constexpr Truth operator<=(Interval const& a, Interval const& b) { return !(b < a); }
constexpr Truth operator>=(Interval const& a, Interval const& b) { return !(a < b); }

/// a where the mask is true, b where it is not, all of both where either may be.
constexpr Interval select(Truth mask, Interval const& a, Interval const& b) {
    return !mask.can_be_false ? a : !mask.can_be_true ? b : hull(a, b);
}

namespace detail {
/// The derivatives that are read point by point: value, velocity, acceleration, jerk.
inline constexpr int orders_read = 3;

/// What may be either of two numbers at each instant. Point by point a derivative of what was chosen is one
/// of either; but the choice may change in between, so no remainder of a Taylor expansion may be read from
/// here: orders beyond those that are read point by point become the whole line.
template <int N> Taylor<Interval, N> either(Taylor<Interval, N> const& a, Taylor<Interval, N> const& b) {
    Taylor<Interval, N> r;
    unroll<0, N + 1>([&](auto k) {
        r.coefficient[k] = k <= orders_read ? hull(a.coefficient[k], b.coefficient[k]) : Interval::whole();
    });
    return r;
}
constexpr Interval either(Interval const& a, Interval const& b) { return hull(a, b); }
template <class S, int N, int M>
Taylor<Taylor<S, N>, M> either(Taylor<Taylor<S, N>, M> const& a, Taylor<Taylor<S, N>, M> const& b) {
    Taylor<Taylor<S, N>, M> r;
    unroll<0, M + 1>([&](auto k) { r.coefficient[k] = either(a.coefficient[k], b.coefficient[k]); });
    return r;
}
// Of gradients: declared here, for whoever takes what may be either of two; see `lift.hpp`.
template <int M>
constexpr Gradient<Interval, M> either(Gradient<Interval, M> const& a, Gradient<Interval, M> const& b);
template <int M, int N>
Taylor<Gradient<Interval, M>, N> either(Taylor<Gradient<Interval, M>, N> const& a,
                                        Taylor<Gradient<Interval, M>, N> const& b);
template <class T, std::size_t D>
std::array<T, D> either(std::array<T, D> const& a, std::array<T, D> const& b) {
    std::array<T, D> r;
    for (std::size_t d = 0; d < D; ++d)
        r[d] = either(a[d], b[d]);
    return r;
}

/// Whether a number is an interval; is made of intervals; and the interval of its values.
template <class T> inline constexpr bool is_interval = std::is_same_v<T, Interval>;
template <class T> inline constexpr bool is_of_intervals = is_interval<T>;
template <class S, int N> inline constexpr bool is_of_intervals<Taylor<S, N>> = is_of_intervals<S>;

/// What is left where there is no end: ∞, or for intervals, which hold no ∞, more than anything.
template <class T> T without_end() {
    return number_cast<T>(is_of_intervals<T> ? 1e30 : std::numeric_limits<double>::infinity());
}

constexpr Interval const& values_of(Interval const& x) { return x; }
template <class S, int M> constexpr Interval const& values_of(Gradient<S, M> const& x) {
    return values_of(x.value);
}
template <class S, int N> constexpr Interval const& values_of(Taylor<S, N> const& x) {
    return values_of(x.coefficient[0]);
}
} // namespace detail

/// As above, with derivatives by time. An undecided choice leaves nothing above the third derivative, so that
/// no Taylor expansion is taken across a kink.
template <int N>
Taylor<Interval, N> select(Truth mask, Taylor<Interval, N> const& a, Taylor<Interval, N> const& b) {
    return !mask.can_be_false ? a : !mask.can_be_true ? b : detail::either(a, b);
}

/// |x|.
constexpr Interval abs(Interval const& x) { return {x.mignitude(), x.magnitude()}; }

/// x²; never below 0 where it is not the whole line.
constexpr Interval sqr(Interval const& x) {
    double const near = x.mignitude(), far = x.magnitude();
    Interval r = detail::outward(near * near, far * far);
    r.low = r.low > 0 ? r.low : is_finite(r.low) ? 0 : r.low;
    return r;
}

/// √x of the part of x that is not below 0; the whole line where there is none.
inline Interval sqrt(Interval const& x) {
    if (!(x.high >= 0))
        return Interval::whole();
    Interval r = detail::outward(std::sqrt(x.low > 0 ? x.low : 0), std::sqrt(x.high));
    r.low = r.low > 0 ? r.low : is_finite(r.low) ? 0 : r.low;
    return r;
}

namespace detail {
/// The interval between two values of a function of doubles, held to where all its values lie.
constexpr Interval function_values(double low, double high, double least, double most) {
    Interval r = outward(low, high, function_units);
    r.low = greater(r.low, least);
    r.high = lesser(r.high, most);
    return r;
}
} // namespace detail

/// Sine and cosine of angles in rad; all of [−1, 1] beyond 1e5 rad.
inline SinCos<Interval> sin_cos(Interval const& angle) {
    if (!detail::rounds_to_nearest || !(angle.magnitude() < 1e5) || !(angle.high - angle.low < 6))
        return {{-1, 1}, {-1, 1}};
    auto const a = sin_cos(angle.low);
    auto const b = angle.high == angle.low ? a : sin_cos(angle.high);
    // In quarter turns, widened beyond all rounding; a quarter turn that may be inside counts as inside.
    constexpr double quarters_per_radian = 0.63661977236758134;
    double const from = angle.low * quarters_per_radian - 1e-9;
    double const to = angle.high * quarters_per_radian + 1e-9;
    double const quarter = std::floor(to);
    bool inside[4] = {false, false, false, false}; // by the quarter's remainder by 4
    for (double q = quarter; q >= from; q -= 1)
        inside[static_cast<int>(q - 4 * std::floor(q / 4))] = true;
    auto const values = [&](double x, double y, bool top, bool bottom) {
        return detail::function_values(bottom ? -1 : detail::lesser(x, y), top ? 1 : detail::greater(x, y),
                                       -1, 1);
    };
    return {values(a.sin, b.sin, inside[1], inside[3]), values(a.cos, b.cos, inside[0], inside[2])};
}

/// Sine.
inline Interval sin(Interval const& angle) { return sin_cos(angle).sin; }

/// Cosine.
inline Interval cos(Interval const& angle) { return sin_cos(angle).cos; }

/// Tangent; the whole line where a pole may be inside.
inline Interval tan(Interval const& angle) {
    auto const all = sin_cos(angle);
    if (all.cos.contains(0.0))
        return Interval::whole();
    auto const from = sin_cos(Interval(angle.low)), to = sin_cos(Interval(angle.high));
    return hull(from.sin / from.cos, to.sin / to.cos);
}

/// The arc tangent of y / x, rad, where all of x is above 0; elsewhere the whole line, and where x may be so
/// near 0 or so large (1e-300, 1e300) that the formula for doubles leaves its range.
inline Interval atan_ratio(Interval const& y, Interval const& x) {
    if (!detail::rounds_to_nearest || !(x.low >= 1e-300) || !(x.high <= 1e300) || !is_finite(y.high - y.low))
        return Interval::whole();
    return detail::outward(atan_ratio(y.low, y.low < 0 ? x.low : x.high),
                           atan_ratio(y.high, y.high < 0 ? x.high : x.low), detail::function_units);
}

/// The arc tangent, rad.
inline Interval atan(Interval const& x) { return atan_ratio(x, Interval(1)); }

/// eˣ; never below 0 where it is not the whole line.
inline Interval exp(Interval const& x) {
    Interval r = detail::outward(std::exp(x.low), std::exp(x.high), detail::function_units);
    r.low = is_finite(r.low) ? detail::greater(r.low, 0) : r.low;
    return r;
}

/// The natural logarithm where all of x is above 0; elsewhere the whole line.
inline Interval log(Interval const& x) {
    if (!(x.low > 0))
        return Interval::whole();
    return detail::outward(std::log(x.low), std::log(x.high), detail::function_units);
}

/// xⁿ for a whole exponent by repeated products, and xᵖ for x above 0.
inline Interval pow(Interval const& x, int n) {
    Interval result = 1;
    Interval base = x;
    for (unsigned left = static_cast<unsigned>(n < 0 ? -n : n); left != 0; left /= 2) {
        if (left % 2 != 0)
            result = result * base;
        base = sqr(base);
    }
    return n < 0 ? Interval(1) / result : result;
}
inline Interval pow(Interval const& x, double p) { return exp(log(x) * p); }

/// xᵖ for x above 0 with derivatives by time, without the factors of its recurrence, which round.
template <int N> Taylor<Interval, N> pow(Taylor<Interval, N> const& x, double p) { return exp(log(x) * p); }

static_assert(std::is_trivially_copyable_v<Interval> && sizeof(Interval) == 16);

} // namespace seamhold

#endif
