#ifndef SEAMHOLD_NUMBER_TAYLOR_HPP
#define SEAMHOLD_NUMBER_TAYLOR_HPP

#include "seamhold/number/number.hpp"

#include <concepts>

namespace seamhold {

/// A value together with its first N derivatives by time, carried exactly (to rounding) through arithmetic
/// and functions: truncated Taylor arithmetic. `coefficient[k]` is the k-th derivative divided by k!, in
/// units of the value per s^k. S is any number below it in rank; `Taylor` nests.
///
/// Recurrences: A. Griewank, A. Walther, "Evaluating Derivatives", 2nd ed., SIAM 2008, chapter 13 (from
/// memory). Accuracy: each coefficient to a few units in the last place of the largest term of its sum. At a
/// removable singularity (square root or arc tangent at zero) the derivatives that do not exist are zero, not
/// NaN. Comparisons compare the values only.
template <class S, int N> struct Taylor {
    static_assert(N >= 0);
    S coefficient[N + 1] = {};

    constexpr Taylor() = default;

    /// A constant: all derivatives zero.
    template <class A>
    requires std::convertible_to<A, S>
    constexpr Taylor(A const& constant) { coefficient[0] = number_cast<S>(constant); }

    /// The same value and derivatives over another scalar. Not for a Taylor number that is itself the scalar
    /// of this one (nested with the same N): that is a constant.
    template <class U>
    requires(!std::is_same_v<U, S> && !std::is_convertible_v<Taylor<U, N>, S> &&
             std::convertible_to<U, S>) constexpr Taylor(Taylor<U, N> const& other) {
        detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
            coefficient[k] = number_cast<S>(other.coefficient[k]);
        });
    }

    /// Time itself at the instant `time`: first derivative one, the others zero. Put it into a kernel to get
    /// rates.
    static constexpr Taylor variable(S const& time) {
        Taylor t(time);
        if constexpr (N >= 1)
            t.coefficient[1] = number_cast<S>(1);
        return t;
    }

    /// The value.
    constexpr S const& value() const { return coefficient[0]; }

    /// The k-th derivative by time, 0 ≤ k ≤ N, in units of the value per s^k.
    constexpr S derivative(int k) const {
        S result = coefficient[k];
        for (int i = 2; i <= k; ++i)
            result = result * detail::factor<S>(i);
        return result;
    }

    /// Arithmetic in place.
    constexpr Taylor& operator+=(Taylor const& b) { return *this = *this + b; }
    constexpr Taylor& operator-=(Taylor const& b) { return *this = *this - b; }
    constexpr Taylor& operator*=(Taylor const& b) { return *this = *this * b; }
    constexpr Taylor& operator/=(Taylor const& b) { return *this = *this / b; }

    /// Arithmetic with both sides varying. A division by a number whose value is 0 gives what the scalar
    /// gives.
    [[gnu::always_inline]] friend constexpr Taylor operator+(Taylor const& a) { return a; }
    [[gnu::always_inline]] friend constexpr Taylor operator-(Taylor a) {
        detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
            a.coefficient[k] = -a.coefficient[k];
        });
        return a;
    }
    [[gnu::always_inline]] friend constexpr Taylor operator+(Taylor a, Taylor const& b) {
        return detail::in_place<S>([&]() __attribute__((always_inline)) {
            detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
                a.coefficient[k] = a.coefficient[k] + b.coefficient[k];
            });
            return a;
        });
    }
    [[gnu::always_inline]] friend constexpr Taylor operator-(Taylor a, Taylor const& b) {
        return detail::in_place<S>([&]() __attribute__((always_inline)) {
            detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
                a.coefficient[k] = a.coefficient[k] - b.coefficient[k];
            });
            return a;
        });
    }
    [[gnu::always_inline]] friend constexpr Taylor operator*(Taylor const& a, Taylor const& b) {
        if constexpr (detail::is_compact<S>) {
            Taylor r;
            sums_of_products(a.coefficient, b.coefficient, r.coefficient);
            return r;
        }
        return detail::in_place<S>([&]() __attribute__((always_inline)) {
            Taylor r;
            detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
                S sum = a.coefficient[0] * b.coefficient[k];
                detail::unroll<1, k + 1>([&](auto i) __attribute__((always_inline)) {
                    sum = sum + a.coefficient[i] * b.coefficient[k - i];
                });
                r.coefficient[k] = sum;
            });
            return r;
        });
    }
    [[gnu::always_inline]] friend constexpr Taylor operator/(Taylor const& a, Taylor const& b) {
        return detail::in_place<S>([&]() __attribute__((always_inline)) {
            S const inverse = number_cast<S>(1) / b.coefficient[0];
            Taylor r;
            detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
                S rest = a.coefficient[k];
                detail::unroll<1, k + 1>([&](auto i) __attribute__((always_inline)) {
                    rest = rest - b.coefficient[i] * r.coefficient[k - i];
                });
                r.coefficient[k] = k == 0 ? a.coefficient[0] / b.coefficient[0] : rest * inverse;
            });
            return r;
        });
    }

    /// Arithmetic with a constant on one side, which costs less than with a Taylor number.
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Taylor operator+(Taylor a, A b) {
        a.coefficient[0] = a.coefficient[0] + number_cast<S>(b);
        return a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Taylor operator+(A a, Taylor const& b) {
        return b + a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Taylor operator-(Taylor a, A b) {
        a.coefficient[0] = a.coefficient[0] - number_cast<S>(b);
        return a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Taylor operator-(A a, Taylor const& b) {
        return -b + a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Taylor operator*(Taylor a, A b) {
        return detail::in_place<S>([&]() __attribute__((always_inline)) {
            detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
                a.coefficient[k] = a.coefficient[k] * number_cast<S>(b);
            });
            return a;
        });
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Taylor operator*(A a, Taylor const& b) {
        return b * a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Taylor operator/(Taylor a, A b) {
        detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
            a.coefficient[k] = a.coefficient[k] / number_cast<S>(b);
        });
        return a;
    }
    template <BuiltIn A> [[gnu::always_inline]] friend constexpr Taylor operator/(A a, Taylor const& b) {
        return Taylor(a) / b;
    }

    /// Comparisons of the values; derivatives do not count.
    friend constexpr auto operator<(Taylor const& a, Taylor const& b) {
        return a.coefficient[0] < b.coefficient[0];
    }
    friend constexpr auto operator>(Taylor const& a, Taylor const& b) { return b < a; }
    friend constexpr auto operator<=(Taylor const& a, Taylor const& b) {
        return a.coefficient[0] <= b.coefficient[0];
    }
    friend constexpr auto operator>=(Taylor const& a, Taylor const& b) { return b <= a; }
};

namespace detail {
/// Each coefficient times a number without derivatives.
template <class S, int N>
[[gnu::always_inline]] constexpr Taylor<S, N> scaled(Taylor<S, N> x, S const& factor) {
    unroll<0, N + 1>([&](auto k)
                         __attribute__((always_inline)) { x.coefficient[k] = x.coefficient[k] * factor; });
    return x;
}
} // namespace detail

template <class S, int N> struct NumberTraits<Taylor<S, N>> {
    static constexpr int rank = 3;
    static constexpr auto value(Taylor<S, N> const& x) { return value_of(x.coefficient[0]); }
    static constexpr bool finite(Taylor<S, N> const& x) {
        bool all = true;
        detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
            all = all && is_finite(x.coefficient[k]);
        });
        return all;
    }
};

/// One of the numbers that a Taylor number of packs stands for, from 0.
template <class S, int N>
requires is_packed<S>
constexpr auto lane_of(Taylor<S, N> const& x, int i) {
    Taylor<decltype(lane_of(x.coefficient[0], i)), N> r;
    for (int k = 0; k <= N; ++k)
        r.coefficient[k] = lane_of(x.coefficient[k], i);
    return r;
}

/// One of the numbers that a Taylor number of packs stands for, from 0, becomes `value`.
template <class S, class U, int N>
requires is_packed<S>
constexpr void set_lane(Taylor<S, N>& x, int i, Taylor<U, N> const& value) {
    for (int k = 0; k <= N; ++k)
        set_lane(x.coefficient[k], i, value.coefficient[k]);
}

namespace detail {

template <class S, int N, class B>
requires(NumberTraits<B>::rank < 3) struct CommonNumber<Taylor<S, N>, B> {
    using type = Taylor<Common<S, B>, N>;
};

template <class A, class S, int N>
requires(NumberTraits<A>::rank < 3) struct CommonNumber<A, Taylor<S, N>> {
    using type = Taylor<Common<A, S>, N>;
};

template <class S, class U, int N>
requires(!std::is_same_v<S, U>) struct CommonNumber<Taylor<S, N>, Taylor<U, N>> {
    using type = Taylor<Common<S, U>, N>;
};

/// 1/x, and 0 where x is 0: a guarded divisor, so that a missing derivative becomes zero and not a NaN.
template <class S> constexpr S reciprocal_or_zero(S const& x) {
    S const zero = number_cast<S>(0);
    S const one = number_cast<S>(1);
    auto const is_zero = !(x < zero) && !(zero < x);
    return select(is_zero, zero, one / select(is_zero, one, x));
}

/// y with the given value and the rate y' = u'/d: the common recurrence of log, atan and asin.
template <class S, int N>
[[gnu::always_inline]] constexpr Taylor<S, N> with_rate_quotient(S const& value, Taylor<S, N> const& u,
                                                                 Taylor<S, N> const& d) {
    return detail::in_place<S>([&]() __attribute__((always_inline)) {
        Taylor<S, N> y(value);
        S const inverse = reciprocal_or_zero(d.coefficient[0]);
        detail::unroll<1, N + 1>([&](auto k) __attribute__((always_inline)) {
            S sum = u.coefficient[k] * detail::factor<S>(k);
            detail::unroll<1, k>([&](auto i) __attribute__((always_inline)) {
                sum = sum - y.coefficient[i] * d.coefficient[k - i] * detail::factor<S>(i);
            });
            y.coefficient[k] = sum * inverse / detail::factor<S>(k);
        });
        return y;
    });
}

} // namespace detail

/// x², with symmetric terms taken once.
template <class S, int N> [[gnu::always_inline]] constexpr Taylor<S, N> sqr(Taylor<S, N> const& x) {
    if constexpr (detail::is_compact<S>) {
        Taylor<S, N> r;
        sums_of_products(x.coefficient, x.coefficient, r.coefficient);
        r.coefficient[0] = sqr(x.coefficient[0]); // narrower
        return r;
    }
    return detail::in_place<S>([&]() __attribute__((always_inline)) {
        Taylor<S, N> r;
        detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
            S sum = number_cast<S>(0);
            detail::unroll<0, (k + 1) / 2>([&](auto i) __attribute__((always_inline)) {
                sum = sum + x.coefficient[i] * x.coefficient[k - i];
            });
            sum = sum * detail::factor<S>(2);
            r.coefficient[k] = k % 2 == 0 ? sum + sqr(x.coefficient[k / 2]) : sum;
        });
        return r;
    });
}

/// √x for x ≥ 0; at x = 0 the value is 0 and the derivatives are reported as 0.
template <class S, int N> [[gnu::always_inline]] inline Taylor<S, N> sqrt(Taylor<S, N> const& x) {
    using std::sqrt;
    return detail::in_place<S>([&]() __attribute__((always_inline)) {
        Taylor<S, N> r(sqrt(x.coefficient[0]));
        S const inverse = detail::reciprocal_or_zero(r.coefficient[0] * detail::factor<S>(2));
        detail::unroll<1, N + 1>([&](auto k) __attribute__((always_inline)) {
            S rest = x.coefficient[k];
            detail::unroll<1, k>([&](auto i) __attribute__((always_inline)) {
                rest = rest - r.coefficient[i] * r.coefficient[k - i];
            });
            r.coefficient[k] = rest * inverse;
        });
        return r;
    });
}

/// eˣ.
template <class S, int N> Taylor<S, N> exp(Taylor<S, N> const& x) {
    using std::exp;
    Taylor<S, N> r(exp(x.coefficient[0]));
    detail::unroll<1, N + 1>([&](auto k) __attribute__((always_inline)) {
        S sum = number_cast<S>(0);
        detail::unroll<1, k + 1>([&](auto i) __attribute__((always_inline)) {
            sum = sum + x.coefficient[i] * r.coefficient[k - i] * detail::factor<S>(i);
        });
        r.coefficient[k] = sum / detail::factor<S>(k);
    });
    return r;
}

/// The natural logarithm of x > 0.
template <class S, int N> Taylor<S, N> log(Taylor<S, N> const& x) {
    using std::log;
    return detail::with_rate_quotient(S(log(x.coefficient[0])), x, x);
}

/// Sine and cosine of an angle in rad.
template <class S, int N> [[gnu::always_inline]] inline SinCos<Taylor<S, N>> sin_cos(Taylor<S, N> const& x) {
    return detail::in_place<S>([&]() __attribute__((always_inline)) {
        auto const start = sin_cos(x.coefficient[0]);
        SinCos<Taylor<S, N>> r{Taylor<S, N>(start.sin), Taylor<S, N>(start.cos)};
        detail::unroll<1, N + 1>([&](auto k) __attribute__((always_inline)) {
            S sine = number_cast<S>(0);
            S cosine = number_cast<S>(0);
            detail::unroll<1, k + 1>([&](auto i) __attribute__((always_inline)) {
                S const rate = x.coefficient[i] * detail::factor<S>(i);
                sine = sine + rate * r.cos.coefficient[k - i];
                cosine = cosine - rate * r.sin.coefficient[k - i];
            });
            r.sin.coefficient[k] = sine / detail::factor<S>(k);
            r.cos.coefficient[k] = cosine / detail::factor<S>(k);
        });
        return r;
    });
}

/// The sine of an angle in rad.
template <class S, int N> Taylor<S, N> sin(Taylor<S, N> const& x) { return sin_cos(x).sin; }

/// The cosine of an angle in rad.
template <class S, int N> Taylor<S, N> cos(Taylor<S, N> const& x) { return sin_cos(x).cos; }

/// The tangent of an angle in rad.
template <class S, int N> Taylor<S, N> tan(Taylor<S, N> const& x) {
    auto const both = sin_cos(x);
    return both.sin / both.cos;
}

/// The arc tangent of x, in rad, from −π/2 to π/2.
template <class S, int N> [[gnu::always_inline]] inline Taylor<S, N> atan(Taylor<S, N> const& x) {
    using std::atan;
    return detail::with_rate_quotient(S(atan(x.coefficient[0])), x, sqr(x) + 1.0);
}

/// The arc sine of x, |x| ≤ 1, in rad; at |x| = 1 the derivatives are reported as 0.
template <class S, int N> Taylor<S, N> asin(Taylor<S, N> const& x) {
    using std::asin;
    return detail::with_rate_quotient(S(asin(x.coefficient[0])), x, sqrt(1.0 - sqr(x)));
}

namespace detail {
/// The angle of the point (x, y) with the given value at this instant: θ' = (y'·x − x'·y) / (x² + y²). At the
/// origin with zero derivatives.
template <class S, int N>
[[gnu::always_inline]] constexpr Taylor<S, N> angle_with_value(S const& value, Taylor<S, N> const& y,
                                                               Taylor<S, N> const& x) {
    return detail::in_place<S>([&]() __attribute__((always_inline)) {
        Taylor<S, N> const squared = sqr(x) + sqr(y);
        S const inverse = reciprocal_or_zero(squared.coefficient[0]);
        Taylor<S, N> r(value);
        unroll<1, N + 1>([&](auto k) __attribute__((always_inline)) {
            S sum = number_cast<S>(0);
            unroll<1, k + 1>([&](auto i) __attribute__((always_inline)) {
                sum = sum +
                      (y.coefficient[i] * x.coefficient[k - i] - x.coefficient[i] * y.coefficient[k - i]) *
                          factor<S>(i);
            });
            unroll<1, k>([&](auto i) __attribute__((always_inline)) {
                sum = sum - r.coefficient[i] * squared.coefficient[k - i] * factor<S>(i);
            });
            r.coefficient[k] = sum * inverse / factor<S>(k);
        });
        return r;
    });
}
} // namespace detail

/// The angle of the point (x, y) from the x axis, in rad, from −π to π; at the origin 0 with zero
/// derivatives.
template <class S, int N> Taylor<S, N> atan2(Taylor<S, N> const& y, Taylor<S, N> const& x) {
    using std::atan2;
    return detail::angle_with_value(S(atan2(y.coefficient[0], x.coefficient[0])), y, x);
}

/// The arc tangent of y / x for x > 0, in rad, without forming the quotient's derivatives.
template <class S, int N>
[[gnu::always_inline]] inline Taylor<S, N> atan_ratio(Taylor<S, N> const& y, Taylor<S, N> const& x) {
    return detail::angle_with_value(S(atan_ratio(y.coefficient[0], x.coefficient[0])), y, x);
}

/// xⁿ for a whole exponent, by repeated squaring; any x for n ≥ 0, x ≠ 0 for n < 0.
template <class S, int N> constexpr Taylor<S, N> pow(Taylor<S, N> const& x, int n) {
    Taylor<S, N> result(1.0);
    Taylor<S, N> base = x;
    for (unsigned left = static_cast<unsigned>(n < 0 ? -n : n); left != 0; left /= 2) {
        if (left % 2 != 0)
            result = result * base;
        base = sqr(base);
    }
    return n < 0 ? 1.0 / result : result;
}

/// xᵖ for a constant exponent, x > 0.
template <class S, int N> Taylor<S, N> pow(Taylor<S, N> const& x, double p) {
    using std::pow;
    Taylor<S, N> r(S(pow(x.coefficient[0], p)));
    S const inverse = detail::reciprocal_or_zero(x.coefficient[0]);
    detail::unroll<1, N + 1>([&](auto k) __attribute__((always_inline)) {
        S sum = number_cast<S>(0);
        detail::unroll<1, k + 1>([&](auto i) __attribute__((always_inline)) {
            sum = sum + x.coefficient[i] * r.coefficient[k - i] * detail::factor<S>(p * i - (k - i));
        });
        r.coefficient[k] = sum * inverse / detail::factor<S>(k);
    });
    return r;
}

/// xʸ for a varying exponent, x > 0.
template <class S, int N> Taylor<S, N> pow(Taylor<S, N> const& x, Taylor<S, N> const& y) {
    return exp(y * log(x));
}

/// a where the mask is true, b where it is not, coefficient by coefficient.
template <class Mask, class S, int N>
constexpr Taylor<S, N> select(Mask const& mask, Taylor<S, N> const& a, Taylor<S, N> const& b) {
    Taylor<S, N> r;
    detail::unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
        r.coefficient[k] = select(mask, a.coefficient[k], b.coefficient[k]);
    });
    return r;
}

} // namespace seamhold

#endif
