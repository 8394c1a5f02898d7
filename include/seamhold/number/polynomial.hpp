#ifndef SEAMHOLD_NUMBER_POLYNOMIAL_HPP
#define SEAMHOLD_NUMBER_POLYNOMIAL_HPP

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/taylor.hpp"

#include <array>
#include <cstddef>

/// Polynomials with plain coefficients, lowest first, at any number.
namespace seamhold {

namespace detail {
/// A number without derivatives, in which a polynomial is expanded: a double, an interval.
template <class S> inline constexpr bool is_plain = std::is_same_v<S, double> || std::is_same_v<S, Interval>;

/// p(z), p′(z), p″(z)/2 … up to order K: the coefficients of p about z, by repeated Horner division.
template <int K, class S, std::size_t N>
constexpr std::array<S, K + 1> expanded(std::array<double, N> const& coefficient, S const& z) {
    std::array<S, N> p;
    for (std::size_t i = 0; i < N; ++i)
        p[i] = S(coefficient[i]);
    std::array<S, K + 1> r{};
    unroll<0, K + 1>([&](auto k) {
        if constexpr (k < static_cast<int>(N)) {
            for (std::size_t i = N - 1; i-- > static_cast<std::size_t>(k);)
                p[i] = p[i] + z * p[i + 1];
            r[k] = p[k];
        }
    });
    return r;
}
} // namespace detail

/// coefficient[0] + coefficient[1]·z + … by Horner's rule, a few units in the last place of the largest term.
template <class T, std::size_t N>
[[gnu::always_inline]] constexpr T polynomial_at(std::array<double, N> const& coefficient, T const& z) {
    static_assert(N >= 2);
    T r = z * detail::factor<T>(coefficient[N - 1]) + detail::factor<T>(coefficient[N - 2]);
    for (std::size_t i = N - 2; i-- > 0;)
        r = r * z + detail::factor<T>(coefficient[i]);
    return r;
}

/// The same with time derivatives: the polynomial is expanded about the value of z in plain numbers and the
/// expansion composed with z's own derivatives, which saves most of the Taylor products of Horner's rule.
template <class S, int K, std::size_t N>
requires(K >= 1 && detail::is_plain<S>)
    [[gnu::always_inline]] constexpr Taylor<S, K> polynomial_at(std::array<double, N> const& coefficient,
                                                                Taylor<S, K> const& z) {
    auto const about = detail::expanded<K>(coefficient, z.coefficient[0]);
    Taylor<S, K> step = z;
    step.coefficient[0] = S(0);
    Taylor<S, K> r = detail::scaled(step, about[1]);
    r.coefficient[0] = about[0];
    Taylor<S, K> power = step;
    detail::unroll<2, K + 1>([&](auto k) {
        power = power * step;
        r = r + detail::scaled(power, about[k]);
    });
    return r;
}

/// The same with derivatives by parameters.
template <int M, std::size_t N>
[[gnu::always_inline]] constexpr Gradient<double, M> polynomial_at(std::array<double, N> const& coefficient,
                                                                   Gradient<double, M> const& z) {
    auto const about = detail::expanded<1>(coefficient, z.value);
    return detail::chain_rule<double, M>(about[0], about[1], z);
}

} // namespace seamhold

#endif
