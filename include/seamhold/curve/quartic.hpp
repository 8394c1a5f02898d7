#ifndef SEAMHOLD_CURVE_QUARTIC_HPP
#define SEAMHOLD_CURVE_QUARTIC_HPP

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/lift.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/number/taylor.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

/// B-splines of degree 4 on equal cells, and the evaluation of one cell of a spline field.
namespace seamhold::detail {

/// The five B-splines that do not vanish in a cell: piece[k][i] belongs to the i-th power of the place, from
/// the middle of the cell and in units of its side.
using QuarticPiece = std::array<std::array<double, 5>, 5>;

/// The pieces of the B-splines of degree 4 on equal cells, with knots of multiplicity five at both ends: the
/// unknowns of a fit then act alike strongly (with equal knots beyond the ends some would hardly act). In
/// cell i the B-splines i to i + 4 do not vanish. Built by the recurrence of Cox and de Boor (C. de Boor, "A
/// Practical Guide to Splines", revised ed., Springer 2001, chapter IX).
inline std::vector<QuarticPiece> quartic_pieces(std::size_t cells) {
    auto const knot = [cells](std::size_t i) {
        return static_cast<double>(std::clamp<std::size_t>(i, 4, cells + 4) - 4);
    };
    std::vector<QuarticPiece> pieces(cells);
    for (std::size_t cell = 0; cell < cells; ++cell) {
        double const middle = static_cast<double>(cell) + 0.5;
        QuarticPiece piece{};
        piece[0][0] = 1;
        for (std::size_t degree = 1; degree <= 4; ++degree) {
            QuarticPiece next{};
            for (std::size_t k = 0; k <= degree; ++k) {
                std::size_t const first = cell + 4 - degree + k;
                auto const add = [&](std::size_t k_before, double from, double to) {
                    for (std::size_t i = 0; i < degree; ++i) {
                        next[k][i] += piece[k_before][i] * (middle - from) / (to - from);
                        next[k][i + 1] += piece[k_before][i] / (to - from);
                    }
                };
                if (k > 0)
                    add(k - 1, knot(first), knot(first + degree));
                if (k < degree)
                    add(k, knot(first + degree + 1), knot(first + 1));
            }
            piece = next;
        }
        pieces[cell] = piece;
    }
    return pieces;
}

/// The values of the five B-splines at a place in a cell.
inline std::array<double, 5> quartic_weights(QuarticPiece const& piece, double local) {
    std::array<double, 5> weights;
    for (std::size_t k = 0; k < 5; ++k) {
        auto const& c = piece[k];
        weights[k] = (((c[4] * local + c[3]) * local + c[2]) * local + c[1]) * local + c[0];
    }
    return weights;
}

/// By how much the fourth derivative jumps at a knot, for the six B-splines from `first` on, scaled to length
/// 1. All of them vanish only for one polynomial of degree 4.
struct QuarticJump {
    std::size_t first;
    std::array<double, 6> weight;
};

/// The jumps at all inner knots; for a single cell, which has none, its fourth derivative.
inline std::vector<QuarticJump> quartic_jumps(std::vector<QuarticPiece> const& pieces) {
    std::vector<QuarticJump> jumps;
    for (std::size_t cell = pieces.size() > 1 ? 1 : 0; cell < pieces.size(); ++cell) {
        QuarticJump jump{cell == 0 ? 0 : cell - 1, {}};
        for (std::size_t k = 0; k < 5; ++k) {
            jump.weight[cell == 0 ? k : k + 1] += pieces[cell][k][4];
            if (cell > 0)
                jump.weight[k] -= pieces[cell - 1][k][4];
        }
        double squares = 0;
        for (double const w : jump.weight)
            squares += w * w;
        for (double& w : jump.weight)
            w /= std::sqrt(squares);
        jumps.push_back(jump);
    }
    return jumps;
}

/// Equal cells side by side.
class EqualCells {
public:
    EqualCells(double low, double high, std::size_t cells)
        : low_(low), high_(high), per_unit_(static_cast<double>(cells) / (high - low)), cells_(cells) {}

    /// A cell and the place from its middle, in units of the cell.
    template <class T> struct Place {
        std::size_t cell;
        T local;
    };

    /// Where x lies. Beyond the ends the place levels off, half a cell further out, without a jump in the
    /// first four derivatives: e / (1 + e⁴)^¼ = e − e⁵/4 + …
    template <class T> [[gnu::always_inline]] Place<T> locate(T const& x) const {
        double const place = (value_of(x) - low_) * per_unit_;
        double const last = static_cast<double>(cells_) - 1;
        double const cell = std::floor(place > 0 ? (place < last ? place : last) : 0); // 0 for a NaN
        T local = local_in(cell, x);
        if (!(value_of(local) >= -0.5)) [[unlikely]]
            local = levelled_before(local);
        else if (value_of(local) > 0.5) [[unlikely]]
            local = levelled_behind(local);
        return {static_cast<std::size_t>(cell), local};
    }

    /// What `use(place)` gives where x lies. For a number made of intervals: what it may give in any cell
    /// that the interval reaches into by more than a picoradian, and beyond the ends; see
    /// `Knots::with_piece`.
    template <class T, class Use> [[gnu::always_inline]] auto with_place(T const& x, Use const& use) const {
        if constexpr (!is_of_intervals<T>) {
            return use(locate(x));
        } else {
            constexpr double slack = 1e-12;
            auto const in_cell = [&](double cell) {
                double const last = static_cast<double>(cells_) - 1;
                double const inner = cell < 0 ? 0 : cell > last ? last : cell;
                T local = local_in(inner, x);
                // Held to the cell and what the slack lets pass.
                double const end = 0.5 + 1e-9 + slack * per_unit_;
                hold_values(local, {cell < 0      ? -INFINITY
                                    : cell > last ? 0.5
                                                  : -end,
                                    cell < 0      ? -0.5
                                    : cell > last ? INFINITY
                                                  : end});
                if (cell < 0)
                    local = levelled_before(local);
                if (cell > last)
                    local = levelled_behind(local);
                return use(Place<T>{static_cast<std::size_t>(inner), local});
            };
            Interval const all = values_of(x);
            auto const index = [&](double at) {
                double const place = std::floor((at - low_) * per_unit_);
                double const behind = static_cast<double>(cells_);
                return !(place > -1) ? -1 : place < behind ? place : at > high_ ? behind : behind - 1;
            };
            double const first = index(all.low + std::min(slack, (all.high - all.low) / 2));
            double const last = is_finite(all) ? std::max(first, index(all.high - slack)) : first;
            auto r = in_cell(first);
            for (double cell = first + 1; cell <= last; ++cell)
                r = either(r, in_cell(cell));
            return r;
        }
    }

    /// The borders of the cells.
    std::vector<double> knots() const {
        std::vector<double> borders;
        for (std::size_t i = 0; i < cells_; ++i)
            borders.push_back(low_ + static_cast<double>(i) / per_unit_);
        borders.push_back(high_);
        return borders;
    }

private:
    template <class T> [[gnu::always_inline]] T local_in(double cell, T const& x) const {
        return (x - factor<T>(low_)) * factor<T>(per_unit_) - factor<T>(cell + 0.5);
    }
    template <class T> static T levelled_before(T const& local) {
        return levelled(T(local + factor<T>(0.5))) - factor<T>(0.5);
    }
    template <class T> static T levelled_behind(T const& local) {
        return levelled(T(local - factor<T>(0.5))) + factor<T>(0.5);
    }

    template <class T> static T levelled(T const& beyond) {
        using std::sqrt;
        T const e = beyond * factor<T>(2);
        // Both forms are the same function; each is used where its powers stay small.
        bool const near = std::abs(value_of(e)) < 1;
        T const one = number_cast<T>(1);
        T const x = near ? e : one / e;
        T const root = one / sqrt(T(sqrt(T(sqr(T(sqr(x))) + factor<T>(1)))));
        T const value = near ? T(e * root) : value_of(e) < 0 ? T(-root) : root;
        return value * factor<T>(0.5);
    }

    double low_;
    double high_;
    double per_unit_;
    std::size_t cells_;
};

/// value[a][b]: the derivative by u a times and by v b times, divided by a! b!, a + b ≤ N; the rest unused.
template <class S, int D, int N> struct QuarticExpansion { std::array<S, D> value[N + 1][N + 1]; };

/// The expansion of a cell about (u, v) up to the total order N ≤ 4, by repeated Horner: first in v for each
/// power of u, then in u.
template <int N, int D, class S>
[[gnu::always_inline]] inline QuarticExpansion<S, D, N> expand_quartic(double const (&c)[5][5][D], S const& u,
                                                                       S const& v) {
    QuarticExpansion<S, D, N> r;
    std::array<S, D> in_v[5][N + 1];
    unroll<0, 5>([&](auto i) __attribute__((always_inline)) {
        std::array<S, D>* const p = in_v[i];
        unroll<0, D>([&](auto d)
                         __attribute__((always_inline)) { p[0][d] = number_cast<S>(factor<S>(c[i][4][d])); });
        unroll<1, 5>([&](auto down) __attribute__((always_inline)) {
            unroll<0, N + 1>([&](auto k) __attribute__((always_inline)) {
                constexpr int b = N - k;
                if constexpr (b > 0 && b < down)
                    unroll<0, D>([&](auto d)
                                     __attribute__((always_inline)) { p[b][d] = p[b][d] * v + p[b - 1][d]; });
                else if constexpr (b > 0 && b == down)
                    p[b] = p[b - 1];
                else if constexpr (b == 0)
                    unroll<0, D>([&](auto d) __attribute__((always_inline)) {
                        p[0][d] = p[0][d] * v + factor<S>(c[i][4 - down][d]);
                    });
            });
        });
    });
    unroll<0, N + 1>([&](auto b) __attribute__((always_inline)) {
        constexpr int most = N - b;
        r.value[0][b] = in_v[4][b];
        unroll<1, 5>([&](auto down) __attribute__((always_inline)) {
            unroll<0, most + 1>([&](auto k) __attribute__((always_inline)) {
                constexpr int a = most - k;
                if constexpr (a > 0 && a < down)
                    unroll<0, D>([&](auto d) __attribute__((always_inline)) {
                        r.value[a][b][d] = r.value[a][b][d] * u + r.value[a - 1][b][d];
                    });
                else if constexpr (a > 0 && a == down)
                    r.value[a][b] = r.value[a - 1][b];
                else if constexpr (a == 0)
                    unroll<0, D>([&](auto d) __attribute__((always_inline)) {
                        r.value[0][b][d] = r.value[0][b][d] * u + in_v[4 - down][b][d];
                    });
            });
        });
    });
    return r;
}

/// A cell at (u, v) in any scalar.
template <int D, class S>
[[gnu::always_inline]] inline std::array<S, D> quartic_at(double const (&c)[5][5][D], S const& u,
                                                          S const& v) {
    return expand_quartic<0>(c, u, v).value[0][0];
}

/// A cell with derivatives by parameters.
template <int D, class S, int M>
[[gnu::always_inline]] inline std::array<Gradient<S, M>, D>
quartic_at(double const (&c)[5][5][D], Gradient<S, M> const& u, Gradient<S, M> const& v) {
    auto const e = expand_quartic<1>(c, u.value, v.value);
    std::array<Gradient<S, M>, D> r;
    unroll<0, D>([&](auto d) __attribute__((always_inline)) {
        r[d].value = e.value[0][0][d];
        unroll<0, M>([&](auto i) __attribute__((always_inline)) {
            r[d].partial[i] = e.value[1][0][d] * u.partial[i] + e.value[0][1][d] * v.partial[i];
        });
    });
    return r;
}

/// The product of two Taylor numbers whose coefficients below A and below B are zero, the rest unset.
template <int A, int B, class S, int N>
[[gnu::always_inline]] inline Taylor<S, N> late_product(Taylor<S, N> const& a, Taylor<S, N> const& b) {
    Taylor<S, N> r;
    unroll<A + B, N + 1>([&](auto k) __attribute__((always_inline)) {
        S sum = a.coefficient[A] * b.coefficient[k - A];
        unroll<A + 1, k - B + 1>([&](auto i) __attribute__((always_inline)) {
            sum = sum + a.coefficient[i] * b.coefficient[k - i];
        });
        r.coefficient[k] = sum;
    });
    return r;
}

/// A cell with derivatives by time: Σ value[a][b]·δuᵃ·δvᵇ, where δ is what follows the value.
template <int D, class S, int N>
requires(N >= 1 && N <= 4)
    [[gnu::always_inline]] inline std::array<Taylor<S, N>, D> quartic_at(double const (&c)[5][5][D],
                                                                         Taylor<S, N> const& u,
                                                                         Taylor<S, N> const& v) {
    auto const e = expand_quartic<N>(c, u.coefficient[0], v.coefficient[0]);
    std::array<Taylor<S, N>, D> r;
    unroll<0, D>([&](auto d) __attribute__((always_inline)) {
        r[d].coefficient[0] = e.value[0][0][d];
        unroll<1, N + 1>([&](auto k) __attribute__((always_inline)) {
            r[d].coefficient[k] = e.value[1][0][d] * u.coefficient[k] + e.value[0][1][d] * v.coefficient[k];
        });
    });
    // monomial[a] is δuᵃ·δvᵇ with a + b the order in turn.
    Taylor<S, N> monomial[N + 1];
    monomial[0] = v;
    monomial[1] = u;
    unroll<2, N + 1>([&](auto order) __attribute__((always_inline)) {
        monomial[order] = late_product<order - 1, 1>(monomial[order - 1], u);
        unroll<0, order>([&](auto a) __attribute__((always_inline)) {
            monomial[a] = late_product<order - 1, 1>(monomial[a], v);
        });
        unroll<0, order + 1>([&](auto a) __attribute__((always_inline)) {
            unroll<order, N + 1>([&](auto k) __attribute__((always_inline)) {
                unroll<0, D>([&](auto d) __attribute__((always_inline)) {
                    r[d].coefficient[k] =
                        r[d].coefficient[k] + e.value[a][order - a][d] * monomial[a].coefficient[k];
                });
            });
        });
    });
    return r;
}

} // namespace seamhold::detail

#endif
