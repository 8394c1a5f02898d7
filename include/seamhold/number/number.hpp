#ifndef SEAMHOLD_NUMBER_NUMBER_HPP
#define SEAMHOLD_NUMBER_NUMBER_HPP

#include "seamhold/number/elementary.hpp"

#include <bit>
#include <cmath>
#include <cstdint>
#include <type_traits>
#include <utility>

/// What every kernel may ask of a number, whichever type it is. A formula is written once over `T`; a type of
/// number takes part by specialising `NumberTraits` and by offering the arithmetic and the functions of
/// the C library to argument-dependent look-up.
namespace seamhold {

/// Describes a type of number. A specialisation has
///  - `rank`: 0 built in, 1 a foreign or packed scalar, 2 derivatives by parameters, 3 derivatives by time;
///    of two numbers that meet, the one of higher rank is the outer one (`Taylor<Gradient<double, 3>, 2>`),
///  - `value(x)`: the double at the bottom; of packs the pack,
///  - `finite(x)`: whether every double inside is finite,
///  - `lift_steps`, for a foreign scalar that carries derivatives only: up to which order (see `lift.hpp`),
///  - `compact`, true for a scalar whose arithmetic is long: formulas over it are called, not written out in
///    place, and `sums_of_products(a, b, r)` gives r[k] = Σ a[i]·b[k − i] for arrays of one length.
template <class T> struct NumberTraits;

/// Whether every bit pattern but infinities and NaNs; true for finite x. It tests the exponent's bits, so it
/// also holds under -ffast-math, where `std::isfinite` may be folded to true.
constexpr bool is_finite(double x) {
    constexpr std::uint64_t exponent = 0x7ff0000000000000U;
    return (std::bit_cast<std::uint64_t>(x) & exponent) != exponent;
}

template <class T>
requires std::is_arithmetic_v<T>
struct NumberTraits<T> {
    static constexpr int rank = 0;
    static constexpr double value(T x) { return static_cast<double>(x); }
    static constexpr bool finite(T x) { return is_finite(static_cast<double>(x)); }
};

/// A type that the kernels accept as a number.
template <class T>
concept Number = requires(T const& x) {
    NumberTraits<T>::value(x);
};

/// A number built into the language.
template <class T>
concept BuiltIn = std::is_arithmetic_v<T>;

/// The double at the bottom of a number: its value without derivatives. Of packs it is a pack, on which
/// nothing can branch.
template <Number T> constexpr auto value_of(T const& x) { return NumberTraits<T>::value(x); }

/// The type of that value: double, or a pack.
template <Number T> using ValueOf = decltype(value_of(std::declval<T const&>()));

/// Whether a number is made of packs: it stands for many numbers, its lanes (see `pack.hpp`).
template <class T> inline constexpr bool is_packed = false;
template <Number T>
requires(!std::is_same_v<ValueOf<T>, double>) inline constexpr bool is_packed<T> = true;

/// How many numbers it stands for.
template <class T> inline constexpr int lanes_of = 1;
template <class T>
requires is_packed<T>
inline constexpr int lanes_of<T> = ValueOf<T>::width;

/// One number of a pack, from 0.
template <class T>
requires requires(T const& x) { x.lane(0); }
constexpr double lane_of(T const& x, int i) { return x.lane(i); }

/// One number of a pack, from 0, becomes `value`.
template <class T>
requires requires(T& x) { x.set_lane(0, 0.0); }
constexpr void set_lane(T& x, int i, double value) { x.set_lane(i, value); }

/// Whether every double inside a number is finite (see `is_finite(double)`).
template <Number T>
requires(!BuiltIn<T>) constexpr bool is_finite(T const& x) { return NumberTraits<T>::finite(x); }

namespace detail {

template <class A, class B> struct CommonNumber;

template <class A> struct CommonNumber<A, A> { using type = A; };

template <BuiltIn A, BuiltIn B>
requires(!std::is_same_v<A, B>) struct CommonNumber<A, B> {
    using type = std::common_type_t<A, B>;
};

template <BuiltIn A, class B>
requires(NumberTraits<B>::rank == 1) struct CommonNumber<A, B> {
    using type = B;
};

template <class A, BuiltIn B>
requires(NumberTraits<A>::rank == 1) struct CommonNumber<A, B> {
    using type = A;
};

} // namespace detail

/// The type of number in which numbers of the types A and B meet: what a kernel returns that was given time
/// of type A and stored data of type B.
template <class A, class B> using Common = typename detail::CommonNumber<A, B>::type;

/// Satisfied by two numbers that meet in a third type of number: a `Gradient` and a `Taylor` of doubles meet
/// in a `Taylor` of gradients.
template <class A, class B>
concept MeetInAThird = Number<A> && Number<B> && !BuiltIn<A> && !BuiltIn<B> &&
                       !std::is_same_v<Common<A, B>, A> && !std::is_same_v<Common<A, B>, B>;

/// Sum, in the type in which the two meet.
template <class A, class B>
requires MeetInAThird<A, B>
constexpr Common<A, B> operator+(A const& a, B const& b) { return Common<A, B>(a) + Common<A, B>(b); }

/// Difference, in the type in which the two meet.
template <class A, class B>
requires MeetInAThird<A, B>
constexpr Common<A, B> operator-(A const& a, B const& b) { return Common<A, B>(a) - Common<A, B>(b); }

/// Product, in the type in which the two meet.
template <class A, class B>
requires MeetInAThird<A, B>
constexpr Common<A, B> operator*(A const& a, B const& b) { return Common<A, B>(a) * Common<A, B>(b); }

/// Quotient, in the type in which the two meet.
template <class A, class B>
requires MeetInAThird<A, B>
constexpr Common<A, B> operator/(A const& a, B const& b) { return Common<A, B>(a) / Common<A, B>(b); }

/// A stored number as a T; a constant becomes a T with all derivatives zero.
template <class T, class S> constexpr T number_cast(S const& x) {
    if constexpr (BuiltIn<T> && BuiltIn<S>)
        return static_cast<T>(x);
    else
        return T(x);
}

/// A stored number ready to meet a number of type T: left as it is where it is built in (a Taylor number
/// times a double is cheaper than times a Taylor number), otherwise brought to the common type.
template <class T, class S> constexpr auto operand(S const& x) {
    if constexpr (BuiltIn<S>)
        return x;
    else
        return number_cast<Common<S, T>>(x);
}

namespace detail {
/// Calls f(k) for k = Begin … End − 1, each k a constant of its own: written out where a loop over the few
/// coefficients of a number would keep them in memory (g++ 12 takes apart a number's array only where no loop
/// is left).
template <int Begin, int End, class F> [[gnu::always_inline]] constexpr void unroll(F const& f) {
    [&f]<int... K>(std::integer_sequence<int, K...>) __attribute__((always_inline)) {
        (f(std::integral_constant<int, Begin + K>{}), ...);
    }
    (std::make_integer_sequence<int, (End > Begin ? End - Begin : 0)>{});
}

template <class S> inline constexpr bool is_compact = requires { requires NumberTraits<S>::compact; };

template <class F> [[gnu::noinline]] constexpr auto called(F const& f) { return f(); }

/// What f() gives, written out in place or, for a compact scalar S, called.
template <class S, class F> [[gnu::always_inline]] constexpr auto in_place(F const& f) {
    if constexpr (is_compact<S>)
        return called(f);
    else
        return f();
}

/// A constant factor in a loop over coefficients of type S: no wider than S where S is built in.
template <class S, class A> constexpr auto factor(A constant) {
    if constexpr (BuiltIn<S>)
        return static_cast<S>(constant);
    else
        return static_cast<double>(constant);
}
} // namespace detail

/// a where the mask is true, b where it is not. Kernels choose with it instead of branching, so that a type
/// of number with a mask per lane can take part.
template <class T>
requires(NumberTraits<T>::rank <= 1) constexpr T select(bool mask, T const& a, T const& b) {
    return mask ? a : b;
}

/// The square of x. Types of number whose square is narrower than x·x overload it.
template <BuiltIn T> constexpr T sqr(T x) { return x * x; }

/// Sine and cosine of an angle in rad, by the C library; for double see `elementary.hpp`.
template <std::floating_point T>
requires(!std::is_same_v<T, double>) SinCos<T> sin_cos(T angle) { return {std::sin(angle), std::cos(angle)}; }

/// Sine and cosine of an angle for any other scalar, by its own functions.
template <class T>
requires(NumberTraits<T>::rank == 1) SinCos<T> sin_cos(T const& angle) { return {sin(angle), cos(angle)}; }

/// The arc tangent of y / x for x > 0, in rad, from −π/2 to π/2; for double see `elementary.hpp`.
template <class T>
requires(NumberTraits<T>::rank <= 1 && !std::is_same_v<T, double>) T atan_ratio(T const& y, T const& x) {
    using std::atan;
    return atan(y / x);
}

/// The square of a foreign scalar.
template <class T>
requires(NumberTraits<T>::rank == 1) T sqr(T const& x) { return x * x; }

} // namespace seamhold

#endif
