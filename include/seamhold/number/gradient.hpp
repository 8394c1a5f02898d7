#ifndef SEAMHOLD_NUMBER_GRADIENT_HPP
#define SEAMHOLD_NUMBER_GRADIENT_HPP

#include "seamhold/number/number.hpp"
#include "seamhold/number/taylor.hpp"

#include <concepts>

namespace seamhold {

/// A value together with its first derivatives by M parameters, carried exactly (to rounding): forward
/// differentiation. `partial[i]` is the derivative by parameter i. Used for Newton steps, calibration and
/// error budgets; inside a `Taylor` it gives the derivatives of rates by parameters. At a removable
/// singularity the derivative that does not exist is zero, not NaN. Comparisons compare values only.
template <class S, int M> struct Gradient {
    static_assert(M >= 1);
    S value = {};
    S partial[M] = {};

    constexpr Gradient() = default;

    /// A constant: all derivatives zero.
    template <class A>
    requires std::convertible_to<A, S>
    constexpr Gradient(A const& constant) : value(number_cast<S>(constant)) {}

    /// Parameter number `index` with the given value: its own derivative one, the others zero.
    static constexpr Gradient variable(S const& value, int index) {
        Gradient g(value);
        g.partial[index] = number_cast<S>(1);
        return g;
    }

    /// Arithmetic in place.
    constexpr Gradient& operator+=(Gradient const& b) { return *this = *this + b; }
    constexpr Gradient& operator-=(Gradient const& b) { return *this = *this - b; }
    constexpr Gradient& operator*=(Gradient const& b) { return *this = *this * b; }
    constexpr Gradient& operator/=(Gradient const& b) { return *this = *this / b; }

    /// Arithmetic with both sides varying. A division by a number whose value is 0 gives what the scalar
    /// gives.
    [[gnu::always_inline]] friend constexpr Gradient operator+(Gradient const& a) { return a; }
    [[gnu::always_inline]] friend constexpr Gradient operator-(Gradient a) {
        a.value = -a.value;
        detail::unroll<0, M>([&](auto i) { a.partial[i] = -a.partial[i]; });
        return a;
    }
    [[gnu::always_inline]] friend constexpr Gradient operator+(Gradient a, Gradient const& b) {
        a.value = a.value + b.value;
        detail::unroll<0, M>([&](auto i) { a.partial[i] = a.partial[i] + b.partial[i]; });
        return a;
    }
    [[gnu::always_inline]] friend constexpr Gradient operator-(Gradient a, Gradient const& b) {
        a.value = a.value - b.value;
        detail::unroll<0, M>([&](auto i) { a.partial[i] = a.partial[i] - b.partial[i]; });
        return a;
    }
    [[gnu::always_inline]] friend constexpr Gradient operator*(Gradient const& a, Gradient const& b) {
        Gradient r(a.value * b.value);
        detail::unroll<0, M>([&](auto i) { r.partial[i] = a.partial[i] * b.value + a.value * b.partial[i]; });
        return r;
    }
    [[gnu::always_inline]] friend constexpr Gradient operator/(Gradient const& a, Gradient const& b) {
        Gradient r(a.value / b.value);
        S const inverse = number_cast<S>(1) / b.value;
        detail::unroll<0, M>(
            [&](auto i) { r.partial[i] = (a.partial[i] - r.value * b.partial[i]) * inverse; });
        return r;
    }

    /// Arithmetic with a constant on one side.
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Gradient operator+(Gradient a, A b) {
        a.value = a.value + number_cast<S>(b);
        return a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Gradient operator+(A a, Gradient const& b) {
        return b + a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Gradient operator-(Gradient a, A b) {
        a.value = a.value - number_cast<S>(b);
        return a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Gradient operator-(A a, Gradient const& b) {
        return -b + a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Gradient operator*(Gradient a, A b) {
        a.value = a.value * number_cast<S>(b);
        detail::unroll<0, M>([&](auto i) { a.partial[i] = a.partial[i] * number_cast<S>(b); });
        return a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Gradient operator*(A a, Gradient const& b) {
        return b * a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Gradient operator/(Gradient a, A b) {
        a.value = a.value / number_cast<S>(b);
        detail::unroll<0, M>([&](auto i) { a.partial[i] = a.partial[i] / number_cast<S>(b); });
        return a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Gradient operator/(A a, Gradient const& b) {
        return Gradient(a) / b;
    }

    /// Comparisons of the values; derivatives do not count.
    friend constexpr auto operator<(Gradient const& a, Gradient const& b) { return a.value < b.value; }
    friend constexpr auto operator>(Gradient const& a, Gradient const& b) { return b < a; }
    friend constexpr auto operator<=(Gradient const& a, Gradient const& b) { return a.value <= b.value; }
    friend constexpr auto operator>=(Gradient const& a, Gradient const& b) { return b <= a; }
};

template <class S, int M> struct NumberTraits<Gradient<S, M>> {
    static constexpr int rank = 2;
    static constexpr bool compact = detail::is_compact<S>;
    static constexpr auto value(Gradient<S, M> const& x) { return value_of(x.value); }
    static constexpr bool finite(Gradient<S, M> const& x) {
        bool all = is_finite(x.value);
        for (auto const& p : x.partial)
            all = all && is_finite(p);
        return all;
    }
};

namespace detail {

template <class S, int M, class B>
requires(NumberTraits<B>::rank < 2) struct CommonNumber<Gradient<S, M>, B> {
    using type = Gradient<Common<S, B>, M>;
};

template <class A, class S, int M>
requires(NumberTraits<A>::rank < 2) struct CommonNumber<A, Gradient<S, M>> {
    using type = Gradient<Common<A, S>, M>;
};

template <class S, class U, int M>
requires(!std::is_same_v<S, U>) struct CommonNumber<Gradient<S, M>, Gradient<U, M>> {
    using type = Gradient<Common<S, U>, M>;
};

/// The chain rule for a function of one argument with the given value and derivative at x.
template <class S, int M>
[[gnu::always_inline]] constexpr Gradient<S, M> chain_rule(S const& value, S const& derivative,
                                                           Gradient<S, M> const& x) {
    Gradient<S, M> r(value);
    detail::unroll<0, M>([&](auto i) { r.partial[i] = derivative * x.partial[i]; });
    return r;
}

} // namespace detail

/// x².
template <class S, int M> [[gnu::always_inline]] constexpr Gradient<S, M> sqr(Gradient<S, M> const& x) {
    return detail::chain_rule<S, M>(sqr(x.value), S(x.value * detail::factor<S>(2)), x);
}

/// √x for x ≥ 0; at x = 0 the derivatives are reported as 0.
template <class S, int M> [[gnu::always_inline]] inline Gradient<S, M> sqrt(Gradient<S, M> const& x) {
    using std::sqrt;
    S const root = sqrt(x.value);
    return detail::chain_rule<S, M>(root, detail::reciprocal_or_zero(S(root * detail::factor<S>(2))), x);
}

/// eˣ.
template <class S, int M> Gradient<S, M> exp(Gradient<S, M> const& x) {
    using std::exp;
    S const value = exp(x.value);
    return detail::chain_rule<S, M>(value, value, x);
}

/// The natural logarithm of x > 0.
template <class S, int M> Gradient<S, M> log(Gradient<S, M> const& x) {
    using std::log;
    return detail::chain_rule<S, M>(S(log(x.value)), detail::reciprocal_or_zero(x.value), x);
}

/// Sine and cosine of an angle in rad.
template <class S, int M>
[[gnu::always_inline]] inline SinCos<Gradient<S, M>> sin_cos(Gradient<S, M> const& x) {
    auto const both = sin_cos(x.value);
    return {detail::chain_rule<S, M>(both.sin, both.cos, x),
            detail::chain_rule<S, M>(both.cos, S(-both.sin), x)};
}

/// The sine of an angle in rad.
template <class S, int M> Gradient<S, M> sin(Gradient<S, M> const& x) { return sin_cos(x).sin; }

/// The cosine of an angle in rad.
template <class S, int M> Gradient<S, M> cos(Gradient<S, M> const& x) { return sin_cos(x).cos; }

/// The tangent of an angle in rad.
template <class S, int M> Gradient<S, M> tan(Gradient<S, M> const& x) {
    auto const both = sin_cos(x);
    return both.sin / both.cos;
}

/// The arc tangent of x, in rad, from −π/2 to π/2.
template <class S, int M> Gradient<S, M> atan(Gradient<S, M> const& x) {
    using std::atan;
    return detail::chain_rule<S, M>(S(atan(x.value)), S(number_cast<S>(1) / (sqr(x.value) + 1.0)), x);
}

/// The arc sine of x, |x| ≤ 1, in rad; at |x| = 1 the derivatives are reported as 0.
template <class S, int M> Gradient<S, M> asin(Gradient<S, M> const& x) {
    using std::asin;
    using std::sqrt;
    return detail::chain_rule<S, M>(S(asin(x.value)), detail::reciprocal_or_zero(S(sqrt(1.0 - sqr(x.value)))),
                                    x);
}

namespace detail {
/// The angle of the point (x, y) with the given value; at the origin with zero derivatives.
template <class S, int M>
[[gnu::always_inline]] constexpr Gradient<S, M> angle_with_value(S const& value, Gradient<S, M> const& y,
                                                                 Gradient<S, M> const& x) {
    Gradient<S, M> r(value);
    S const inverse = reciprocal_or_zero(S(sqr(x.value) + sqr(y.value)));
    detail::unroll<0, M>(
        [&](auto i) { r.partial[i] = (x.value * y.partial[i] - y.value * x.partial[i]) * inverse; });
    return r;
}
} // namespace detail

/// The angle of the point (x, y) from the x axis, in rad, from −π to π; at the origin 0 with zero
/// derivatives.
template <class S, int M> Gradient<S, M> atan2(Gradient<S, M> const& y, Gradient<S, M> const& x) {
    using std::atan2;
    return detail::angle_with_value(S(atan2(y.value, x.value)), y, x);
}

/// The arc tangent of y / x for x > 0, in rad, from −π/2 to π/2.
template <class S, int M> Gradient<S, M> atan_ratio(Gradient<S, M> const& y, Gradient<S, M> const& x) {
    return detail::angle_with_value(S(atan_ratio(y.value, x.value)), y, x);
}

/// xⁿ for a whole exponent; any x for n ≥ 0, x ≠ 0 for n < 0.
template <class S, int M> Gradient<S, M> pow(Gradient<S, M> const& x, int n) {
    using std::pow;
    S const derivative = n == 0 ? number_cast<S>(0) : S(pow(x.value, n - 1) * detail::factor<S>(n));
    return detail::chain_rule<S, M>(S(pow(x.value, n)), derivative, x);
}

/// xᵖ for a constant exponent, x > 0; at x = 0 a derivative that does not exist (p < 1) is reported as 0.
template <class S, int M> Gradient<S, M> pow(Gradient<S, M> const& x, double p) {
    using std::pow;
    S const value = S(pow(x.value, p));
    S const by_x = p < 1 ? S(value * detail::reciprocal_or_zero(x.value)) : S(pow(x.value, p - 1));
    return detail::chain_rule<S, M>(value, S(by_x * detail::factor<S>(p)), x);
}

/// xʸ for a varying exponent, x > 0.
template <class S, int M> Gradient<S, M> pow(Gradient<S, M> const& x, Gradient<S, M> const& y) {
    return exp(y * log(x));
}

/// a where the mask is true, b where it is not, number by number.
template <class Mask, class S, int M>
constexpr Gradient<S, M> select(Mask const& mask, Gradient<S, M> const& a, Gradient<S, M> const& b) {
    Gradient<S, M> r(select(mask, a.value, b.value));
    detail::unroll<0, M>([&](auto i) { r.partial[i] = select(mask, a.partial[i], b.partial[i]); });
    return r;
}

} // namespace seamhold

#endif
