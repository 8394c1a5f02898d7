#ifndef SEAMHOLD_CURVE_SEPTIC_HPP
#define SEAMHOLD_CURVE_SEPTIC_HPP

#include "seamhold/number/polynomial.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

namespace seamhold {

/// D components and their derivatives by the variable of a curve.
template <class T, int D> struct ValuesAndSlopes {
    std::array<T, D> value;
    std::array<T, D> slope;
};

/// What may be either of two, numbers made of intervals; see `detail::either` of numbers.
template <class T, int D>
ValuesAndSlopes<T, D> either(ValuesAndSlopes<T, D> const& a, ValuesAndSlopes<T, D> const& b) {
    using detail::either;
    return {either(a.value, b.value), either(a.slope, b.slope)};
}

/// a where the mask of lanes is true, b where it is not.
template <class Mask, class T, int D>
ValuesAndSlopes<T, D> select(Mask const& mask, ValuesAndSlopes<T, D> const& a,
                             ValuesAndSlopes<T, D> const& b) {
    ValuesAndSlopes<T, D> r;
    for (std::size_t d = 0; d < D; ++d) {
        r.value[d] = select(mask, a.value[d], b.value[d]);
        r.slope[d] = select(mask, a.slope[d], b.slope[d]);
    }
    return r;
}

/// One polynomial of degree 7 for D components in a local variable that is 0 at its start:
/// Σ coefficient[d][k]·xᵏ. No clipping.
template <int D> struct SepticPiece {
    std::array<double, 8> coefficient[D];

    /// The first C components and their slopes, by Horner's rule.
    template <int C = D, class T> [[gnu::always_inline]] ValuesAndSlopes<T, C> at(T const& x) const {
        ValuesAndSlopes<T, C> r;
        detail::unroll<0, C>([&](auto d) {
            auto const c = [&](std::size_t k) { return detail::factor<T>(coefficient[d][k]); };
            T value = x * c(7) + c(6);
            T slope = x * (7 * c(7)) + 6 * c(6);
            for (std::size_t k = 6; k-- > 1;) {
                value = value * x + c(k);
                slope = slope * x + detail::factor<T>(k) * c(k);
            }
            r.value[d] = value * x + c(0);
            r.slope[d] = slope;
        });
        return r;
    }

    /// The same with time derivatives: expanded about the value of x in plain numbers, then composed with x's
    /// own derivatives.
    template <int C = D, class S, int N>
    requires(N >= 1 && detail::is_plain<S>)
        [[gnu::always_inline]] ValuesAndSlopes<Taylor<S, N>, C> at(Taylor<S, N> const& x) const {
        Taylor<S, N> power[N + 1];
        power[1] = x;
        power[1].coefficient[0] = S(0);
        detail::unroll<2, N + 1>([&](auto k) { power[k] = power[k - 1] * power[1]; });
        ValuesAndSlopes<Taylor<S, N>, C> r;
        detail::unroll<0, C>([&](auto d) {
            auto const about = detail::expanded<N + 1>(coefficient[d], x.coefficient[0]);
            r.value[d] = Taylor<S, N>(about[0]);
            r.slope[d] = Taylor<S, N>(about[1]);
            detail::unroll<1, N + 1>([&](auto k) {
                r.value[d] = r.value[d] + detail::scaled(power[k], about[k]);
                r.slope[d] = r.slope[d] + detail::scaled(power[k], S((k + 1) * about[k + 1]));
            });
        });
        return r;
    }
};

/// The polynomial of degree 7 in 0 … h with given Taylor coefficients (derivative / k!) up to the third at
/// both ends. `rise` is the end's value less the start's, given apart because a difference of large values
/// would lose digits. Source: Hermite interpolation, e.g. C. de Boor, "A Practical Guide to Splines", revised
/// ed., Springer 2001, chapter I; the solution of the four equations is worked out here.
inline std::array<double, 8> septic_between(double h, std::array<double, 4> const& start,
                                            std::array<double, 4> const& end, double rise) {
    // In x / h: what the end's coefficients have beyond those of the start's cubic.
    double const t1 = start[1] * h, t2 = start[2] * h * h, t3 = start[3] * h * h * h;
    double const r0 = rise - (t1 + t2 + t3);
    double const r1 = end[1] * h - (t1 + 2 * t2 + 3 * t3);
    double const r2 = end[2] * h * h - (t2 + 3 * t3);
    double const r3 = end[3] * h * h * h - t3;
    double const h4 = h * h * h * h;
    return {start[0],
            start[1],
            start[2],
            start[3],
            (35 * r0 - 15 * r1 + 5 * r2 - r3) / h4,
            (-84 * r0 + 39 * r1 - 14 * r2 + 3 * r3) / (h4 * h),
            (70 * r0 - 34 * r1 + 13 * r2 - 3 * r3) / (h4 * h * h),
            (-20 * r0 + 10 * r1 - 4 * r2 + r3) / (h4 * h * h * h)};
}

/// A bound of the second derivative's length over 0 … h for the first C components: never below the truth but
/// for rounding, and close to it where the polynomial is one piece of a smooth curve. By the Bernstein
/// coefficients of its square, which bound a polynomial (G. Farin, "Curves and Surfaces for CAGD", 5th ed.,
/// Morgan Kaufmann 2002, chapter 5; from memory).
template <int C, int D> double largest_bend(SepticPiece<D> const& piece, double h) {
    std::array<double, 11> square{}; // of the second derivative in x / h
    for (std::size_t d = 0; d < C; ++d) {
        std::array<double, 6> bend{};
        double power = 1;
        for (std::size_t k = 0; k < 6; ++k, power *= h)
            bend[k] = static_cast<double>((k + 2) * (k + 1)) * piece.coefficient[d][k + 2] * power;
        for (std::size_t i = 0; i < 6; ++i)
            for (std::size_t k = 0; k < 6; ++k)
                square[i + k] += bend[i] * bend[k];
    }
    // Bernstein coefficient i is the sum of C(i, j) / C(10, j) · square[j].
    double most = 0;
    for (std::size_t i = 0; i <= 10; ++i) {
        double b = 0, share = 1; // C(i, j) / C(10, j)
        for (std::size_t j = 0; j <= i; ++j) {
            b += share * square[j];
            share *= static_cast<double>(i - j) / static_cast<double>(10 - std::min<std::size_t>(j, 9));
        }
        most = std::max(most, b);
    }
    return std::sqrt(most);
}

} // namespace seamhold

#endif
