#ifndef SEAMHOLD_CURVE_SPLINE_HPP
#define SEAMHOLD_CURVE_SPLINE_HPP

#include "seamhold/number/polynomial.hpp"

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace seamhold {

/// One cubic for D components in the local variable u − start: Σ coefficient[k]·(u − start)ᵏ.
template <int D> struct CubicPiece {
    double start;
    double coefficient[4][D];

    /// All components at u, by Horner's rule; no clipping outside the piece.
    template <class T> [[gnu::always_inline]] std::array<T, D> at(T const& u) const {
        T const local = number_cast<T>(u - start);
        auto const c = [this](std::size_t k, std::size_t d) { return detail::factor<T>(coefficient[k][d]); };
        std::array<T, D> r;
        for (std::size_t d = 0; d < D; ++d)
            r[d] = ((local * c(3, d) + c(2, d)) * local + c(1, d)) * local + c(0, d);
        return r;
    }

    /// All components with their derivatives: the cubic is expanded about the value of u in plain numbers and
    /// the expansion composed with u's own derivatives, which saves most of the Taylor products of Horner's
    /// rule.
    template <class S, int N>
    requires(N >= 1 && detail::is_plain<S>)
        [[gnu::always_inline]] std::array<Taylor<S, N>, D> at(Taylor<S, N> const& u) const {
        S const h = u.coefficient[0] - start;
        Taylor<S, N> step = u;
        step.coefficient[0] = S(0);
        Taylor<S, N> const step2 = sqr(step);
        Taylor<S, N> const step3 = step2 * step;
        std::array<Taylor<S, N>, D> r;
        for (std::size_t d = 0; d < D; ++d) {
            double const a = coefficient[3][d];
            S const b = coefficient[2][d] + a * h;
            S const c = coefficient[1][d] + b * h;
            r[d].coefficient[0] = coefficient[0][d] + c * h;
            S const b2 = b + a * h;
            S const first = c + b2 * h;
            S const second = b2 + a * h;
            for (int k = 1; k <= N; ++k)
                r[d].coefficient[k] =
                    first * step.coefficient[k] + second * step2.coefficient[k] + a * step3.coefficient[k];
        }
        return r;
    }
};

/// The C² cubic spline through values at strictly increasing, possibly uneven places, with not-a-knot ends:
/// the first two and the last two pieces are one cubic each, so that the error falls as h⁴ up to the ends.
/// Three places give one parabola, two a straight line. Piece i runs from place i to place i + 1. One banded
/// solve, no iteration. Source: C. de Boor, "A Practical Guide to Splines", revised ed., Springer 2001,
/// chapter IV.
template <int D>
std::vector<CubicPiece<D>> fit_spline(std::span<double const> places,
                                      std::span<std::array<double, D> const> values) {
    std::size_t const n = places.size();
    std::size_t const last = n - 1;
    auto const h = [&](std::size_t i) { return places[i + 1] - places[i]; };
    auto const slope = [&](std::size_t i, std::size_t d) { return (values[i + 1][d] - values[i][d]) / h(i); };

    // bend[i] is half the second derivative at place i, kept in coefficient[2] of the piece that starts
    // there.
    std::vector<CubicPiece<D>> pieces(n);
    for (std::size_t d = 0; d < D; ++d) {
        if (n == 3) {
            double const bend = (slope(1, d) - slope(0, d)) / (places[2] - places[0]);
            for (auto& piece : pieces)
                piece.coefficient[2][d] = bend;
        } else {
            for (auto& piece : pieces)
                piece.coefficient[2][d] = 0;
        }
    }
    if (n > 3) {
        std::vector<double> upper(n);
        for (std::size_t i = 1; i < last; ++i) {
            // Row i: lower·bend[i−1] + diagonal·bend[i] + above·bend[i+1] = 3 (slope[i] − slope[i−1]),
            // at both ends with bend[0] or bend[last] replaced by the not-a-knot condition.
            double lower = h(i - 1);
            double diagonal = 2 * (h(i - 1) + h(i));
            double above = h(i);
            double scale = 3;
            if (i == 1) {
                lower = 0;
                diagonal = h(0) + 2 * h(1);
                above = h(1) - h(0);
                scale = 3 * h(1) / (h(0) + h(1));
            }
            if (i == last - 1) {
                above = 0;
                lower = h(i - 1) - h(i);
                diagonal = h(i) + 2 * h(i - 1);
                scale = 3 * h(i - 1) / (h(i - 1) + h(i));
            }
            double const pivot = diagonal - lower * upper[i - 1];
            upper[i] = above / pivot;
            for (std::size_t d = 0; d < D; ++d) {
                double const right = scale * (slope(i, d) - slope(i - 1, d));
                pieces[i].coefficient[2][d] = (right - lower * pieces[i - 1].coefficient[2][d]) / pivot;
            }
        }
        for (std::size_t i = last - 1; i-- > 1;)
            for (std::size_t d = 0; d < D; ++d)
                pieces[i].coefficient[2][d] -= upper[i] * pieces[i + 1].coefficient[2][d];
        for (std::size_t d = 0; d < D; ++d) {
            auto const bend = [&](std::size_t i) -> double& { return pieces[i].coefficient[2][d]; };
            bend(0) = bend(1) - (h(0) / h(1)) * (bend(2) - bend(1));
            bend(last) = bend(last - 1) + (h(last - 1) / h(last - 2)) * (bend(last - 1) - bend(last - 2));
        }
    }
    for (std::size_t i = 0; i < last; ++i) {
        pieces[i].start = places[i];
        for (std::size_t d = 0; d < D; ++d) {
            double const bend = pieces[i].coefficient[2][d];
            double const next = pieces[i + 1].coefficient[2][d];
            pieces[i].coefficient[0][d] = values[i][d];
            pieces[i].coefficient[1][d] = slope(i, d) - h(i) * (2 * bend + next) / 3;
            pieces[i].coefficient[3][d] = (next - bend) / (3 * h(i));
        }
    }
    pieces.pop_back();
    return pieces;
}

} // namespace seamhold

#endif
