#ifndef SEAMHOLD_NUMBER_LIFT_HPP
#define SEAMHOLD_NUMBER_LIFT_HPP

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/number/taylor.hpp"

#include <array>
#include <cstddef>
#include <limits>

/// Inverses are solved on doubles and lifted to other numbers. A number that carries derivatives is a double
/// plus a part of which a high enough power vanishes; one step u ← u − J⁻¹·F(u) with the plain inverse
/// Jacobian at the double root makes u right in one order more, so that as many steps as there are orders are
/// exact to rounding, whatever the number is made of. Over intervals the double root is where a proof starts:
/// see `detail::enclose`.
namespace seamhold {

namespace detail {

/// Gradients of intervals, as far as an enclosure asks them for a Jacobian: all derivatives that the function
/// has anywhere in the intervals, and near a kink those of both sides.
template <class S, int M> inline constexpr bool is_of_intervals<Gradient<S, M>> = is_of_intervals<S>;
template <int M>
constexpr Gradient<Interval, M> either(Gradient<Interval, M> const& a, Gradient<Interval, M> const& b) {
    return select(Truth{true, true}, a, b);
}
template <int M, std::size_t D>
std::array<Gradient<Interval, M>, D> either(std::array<Gradient<Interval, M>, D> const& a,
                                            std::array<Gradient<Interval, M>, D> const& b) {
    std::array<Gradient<Interval, M>, D> r;
    for (std::size_t d = 0; d < D; ++d)
        r[d] = either(a[d], b[d]);
    return r;
}

/// x with its values held to a range that they are known to lie in.
template <class T> constexpr void hold_values(T& x, Interval const& range) {
    if constexpr (std::is_same_v<T, Interval>) {
        double const low = greater(x.low, range.low), high = lesser(x.high, range.high);
        if (low <= high)
            x = Interval(low, high);
    } else if constexpr (requires { x.coefficient; }) {
        hold_values(x.coefficient[0], range);
    } else {
        hold_values(x.value, range);
    }
}

/// Nothing known: the whole line, in every order.
template <class T> constexpr T anything() {
    if constexpr (std::is_same_v<T, Interval>) {
        return Interval::whole();
    } else {
        T r;
        if constexpr (requires { r.coefficient; }) {
            for (auto& c : r.coefficient)
                c = anything<std::decay_t<decltype(c)>>();
        } else {
            r.value = anything<std::decay_t<decltype(r.value)>>();
            for (auto& p : r.partial)
                p = anything<std::decay_t<decltype(p)>>();
        }
        return r;
    }
}

template <int M, int N>
Taylor<Gradient<Interval, M>, N> either(Taylor<Gradient<Interval, M>, N> const& a,
                                        Taylor<Gradient<Interval, M>, N> const& b) {
    using G = Gradient<Interval, M>;
    Taylor<G, N> r;
    for (int k = 0; k <= N; ++k)
        r.coefficient[k] = k <= orders_read ? either(a.coefficient[k], b.coefficient[k]) : anything<G>();
    return r;
}

/// What yes() gives where the mask is true, no() where it is not, without asking the other; where the mask of
/// intervals is undecided, either of both.
template <class Yes, class No>
[[gnu::always_inline]] constexpr auto choose(bool mask, Yes const& yes, No const& no) {
    return mask ? yes() : no();
}
template <class Yes, class No> constexpr auto choose(Truth mask, Yes const& yes, No const& no) {
    return !mask.can_be_false ? yes() : !mask.can_be_true ? no() : either(yes(), no());
}

/// How many steps lift a double root to a number of this type. A foreign scalar says so itself, as
/// `lift_steps` in its NumberTraits, where it carries derivatives; where it has more digits each step adds
/// those of a double, less some for the condition.
template <class T> struct LiftSteps {
    static constexpr int value = [] {
        if constexpr (requires { NumberTraits<T>::lift_steps; })
            return NumberTraits<T>::lift_steps;
        else
            return std::numeric_limits<T>::digits10 / 12 + 1;
    }();
};
template <BuiltIn T> struct LiftSteps<T> { static constexpr int value = 0; };
template <class S, int N> struct LiftSteps<Taylor<S, N>> {
    static constexpr int value = N + LiftSteps<S>::value;
};
template <class S, int M> struct LiftSteps<Gradient<S, M>> {
    static constexpr int value = 1 + LiftSteps<S>::value;
};

/// The scalar at the bottom of a number.
template <class T> struct BottomOf { using type = T; };
template <class S, int N> struct BottomOf<Taylor<S, N>> : BottomOf<S> {};
template <class S, int M> struct BottomOf<Gradient<S, M>> : BottomOf<S> {};

template <class T> inline constexpr bool is_taylor_of_built_in = false;
template <BuiltIn S, int N> inline constexpr bool is_taylor_of_built_in<Taylor<S, N>> = true;

template <class T, std::size_t M, class Residual>
[[gnu::always_inline]] inline void lift_step(std::array<T, M>& u,
                                             std::array<std::array<double, M>, M> const& inverse_jacobian,
                                             Residual const& residual) {
    auto r = residual(u);
    for (auto& part : r)
        if constexpr (BuiltIn<typename BottomOf<T>::type>)
            part = part - value_of(part); // the root itself stays as it was solved
    for (std::size_t i = 0; i < M; ++i)
        for (std::size_t k = 0; k < M; ++k)
            u[i] = u[i] - r[k] * factor<T>(inverse_jacobian[i][k]);
}

/// A·x = b for a matrix near the identity, by elimination; the whole line where the matrix is not near
/// enough.
template <std::size_t M>
std::array<Interval, M> solve_near_identity(std::array<std::array<Interval, M>, M> a,
                                            std::array<Interval, M> b) {
    for (std::size_t i = 0; i < M; ++i)
        for (std::size_t j = i + 1; j < M; ++j) {
            Interval const share = a[j][i] / a[i][i];
            for (std::size_t k = i + 1; k < M; ++k)
                a[j][k] -= share * a[i][k];
            b[j] -= share * b[i];
        }
    for (std::size_t i = M; i-- > 0;) {
        for (std::size_t k = i + 1; k < M; ++k)
            b[i] -= a[i][k] * b[k];
        b[i] /= a[i][i];
    }
    return b;
}

/// A box in which a system has one root for all its data, and the Jacobian there times the double inverse.
template <std::size_t M> struct ProvenRoot {
    std::array<Interval, M> box;
    std::array<std::array<Interval, M>, M> near_identity;
    bool proven;
};

/// Krawczyk's test: with Y near the inverse Jacobian and c near the root, if the box
/// K = c − Y·F(c) + (1 − Y·J(X))·(X − c) lies inside of X, then F has one root in X for each of the data, and
/// it lies in K. The box X is a little larger than Newton's step, then than K, a few times.
/// Source: R. Moore, R. Kearfott, M. Cloud, "Introduction to Interval Analysis", SIAM 2009, section 8.2 (from
/// memory). `residual` takes an array of M unknowns and holds the data as intervals.
template <std::size_t M, class Residual>
ProvenRoot<M> prove_root(std::array<double, M> const& root,
                         std::array<std::array<double, M>, M> const& inverse_jacobian,
                         Residual const& residual) {
    using G = Gradient<Interval, static_cast<int>(M)>;
    auto const preconditioned = [&](std::size_t i, auto const& column) {
        Interval sum = column(0) * inverse_jacobian[i][0];
        for (std::size_t k = 1; k < M; ++k)
            sum += column(k) * inverse_jacobian[i][k];
        return sum;
    };
    std::array<Interval, M> centre, step;
    for (std::size_t i = 0; i < M; ++i)
        centre[i] = root[i];
    auto const at_centre = residual(centre);
    ProvenRoot<M> r{};
    for (std::size_t i = 0; i < M; ++i) {
        step[i] = -preconditioned(i, [&](std::size_t k) { return at_centre[k]; });
        r.box[i] = step[i];
    }
    for (int attempt = 0; attempt < 5 && !r.proven; ++attempt) {
        std::array<Interval, M> way; // from the root to all of X
        std::array<G, M> unknowns;
        for (std::size_t i = 0; i < M; ++i) {
            way[i] = hull(Interval(0.0), r.box[i]) * 1.25 +
                     Interval::about(0, 1e-15 * (root[i] < 0 ? -root[i] : root[i]) + 1e-30);
            unknowns[i] = G::variable(centre[i] + way[i], static_cast<int>(i));
        }
        auto const there = residual(unknowns);
        r.proven = true;
        for (std::size_t i = 0; i < M; ++i)
            for (std::size_t j = 0; j < M; ++j)
                r.near_identity[i][j] = preconditioned(i, [&](std::size_t k) { return there[k].partial[j]; });
        for (std::size_t i = 0; i < M; ++i) {
            Interval moved = step[i];
            for (std::size_t j = 0; j < M; ++j)
                moved += (Interval(i == j ? 1.0 : 0.0) - r.near_identity[i][j]) * way[j];
            r.proven = r.proven && way[i].low < moved.low && moved.high < way[i].high;
            r.box[i] = moved;
        }
    }
    for (std::size_t i = 0; i < M; ++i)
        r.box[i] = centre[i] + r.box[i];
    return r;
}

/// The orders above the values of a solution u over intervals, each what it must be for the same order of
/// the residual to vanish: the residual with this order left out, times minus the inverse of the Jacobian
/// over all of the values. The latter comes as the double inverse and its product with the Jacobian.
template <class T, std::size_t M, class Residual>
void enclose_orders(std::array<T, M>& u, std::array<std::array<double, M>, M> const& inverse_jacobian,
                    std::array<std::array<Interval, M>, M> const& near_identity, Residual const& residual) {
    if constexpr (!std::is_same_v<T, Interval>) {
        static_assert(std::is_same_v<std::decay_t<decltype(u[0].coefficient[0])>, Interval>,
                      "solutions over intervals carry one kind of derivatives");
        constexpr std::size_t orders = std::extent_v<decltype(T::coefficient)>;
        for (std::size_t order = 1; order < orders; ++order) {
            auto const r = residual(u);
            std::array<Interval, M> next;
            for (std::size_t i = 0; i < M; ++i) {
                next[i] = r[0].coefficient[order] * inverse_jacobian[i][0];
                for (std::size_t k = 1; k < M; ++k)
                    next[i] += r[k].coefficient[order] * inverse_jacobian[i][k];
            }
            next = solve_near_identity(near_identity, next);
            for (std::size_t i = 0; i < M; ++i)
                u[i].coefficient[order] = -next[i];
        }
    }
}

/// The solution of F(u, data) = 0 over intervals: all of u for all data, proven from the double root near
/// their middle, with derivatives; the whole line where the data are too wide for the proof.
/// `residual(unknowns, data)` takes arrays of one type of number.
template <class T, std::size_t M, std::size_t D, class Residual>
std::array<T, M> enclose(std::array<double, M> const& root,
                         std::array<std::array<double, M>, M> const& inverse_jacobian,
                         std::array<T, D> const& data, Residual const& residual) {
    auto const proof = prove_root(root, inverse_jacobian, [&](auto const& unknowns) {
        using U = std::decay_t<decltype(unknowns[0])>;
        std::array<U, D> known;
        for (std::size_t i = 0; i < D; ++i)
            known[i] = number_cast<U>(values_of(data[i]));
        return residual(unknowns, known);
    });
    std::array<T, M> u;
    if (!proof.proven) {
        u.fill(anything<T>());
        return u;
    }
    for (std::size_t i = 0; i < M; ++i)
        u[i] = T(proof.box[i]);
    enclose_orders(u, inverse_jacobian, proof.near_identity,
                   [&](auto const& unknowns) { return residual(unknowns, data); });
    return u;
}
/// The first K derivatives of a Taylor number.
template <int K, class S, int N>
[[gnu::always_inline]] constexpr Taylor<S, K> to_order(Taylor<S, N> const& x) {
    Taylor<S, K> r;
    unroll<0, K + 1>([&](auto k) {
        if constexpr (k <= N)
            r.coefficient[k] = x.coefficient[k];
    });
    return r;
}

} // namespace detail

/// r[k] = Σ a[i]·b[k − i] of gradients of intervals; called by Taylor numbers of them, see `NumberTraits`.
template <int M, std::size_t N>
[[gnu::noinline]] void sums_of_products(Gradient<Interval, M> const (&a)[N],
                                        Gradient<Interval, M> const (&b)[N], Gradient<Interval, M> (&r)[N]) {
    for (std::size_t k = 0; k < N; ++k) {
        r[k] = a[0] * b[k];
        for (std::size_t i = 1; i <= k; ++i)
            r[k] = r[k] + a[i] * b[k - i];
    }
}

/// As of intervals, with derivatives by time and by parameters: an undecided choice leaves nothing above the
/// third derivative by time.
template <int M, int N>
Taylor<Gradient<Interval, M>, N> select(Truth mask, Taylor<Gradient<Interval, M>, N> const& a,
                                        Taylor<Gradient<Interval, M>, N> const& b) {
    return !mask.can_be_false ? a : !mask.can_be_true ? b : detail::either(a, b);
}

/// The solution u of F(u) = 0 at numbers of type T, from the solution on doubles and the inverse of F's
/// Jacobian there. `residual` takes a std::array<T, M> of unknowns and returns F; it may hold data of type T.
/// Exact to rounding where the double solution is; the values stay those of the double solution, bit for bit,
/// unless the scalar at the bottom has more digits than a double. Source: A. Griewank, A. Walther,
/// "Evaluating Derivatives", 2nd ed., SIAM 2008, chapter 15 (from memory).
template <class T, std::size_t M, class Residual>
[[gnu::always_inline]] inline std::array<T, M>
lift(std::array<double, M> const& root, std::array<std::array<double, M>, M> const& inverse_jacobian,
     Residual const& residual) {
    static_assert(!detail::is_of_intervals<T>, "an enclosure needs the data beside the unknowns");
    std::array<T, M> u;
    for (std::size_t i = 0; i < M; ++i)
        u[i] = number_cast<T>(root[i]);
    for (int step = 0; step < detail::LiftSteps<T>::value; ++step)
        detail::lift_step(u, inverse_jacobian, residual);
    return u;
}

/// As above, for a residual that is given its data beside the unknowns: `residual(unknowns, data)`, both
/// arrays of one type of number. `at_root(data)` is the same with the unknowns at the root itself, which
/// settles the first order without an evaluation of the system at varying unknowns. Taylor numbers carry in
/// each step only the orders that the step settles.
template <class T, std::size_t M, std::size_t D, class AtRoot, class Residual>
[[gnu::always_inline]] inline std::array<T, M>
lift(std::array<double, M> const& root, std::array<std::array<double, M>, M> const& inverse_jacobian,
     std::array<T, D> const& data, [[maybe_unused]] AtRoot const& at_root, Residual const& residual) {
    if constexpr (detail::is_of_intervals<T>) {
        return detail::enclose(root, inverse_jacobian, data, residual);
    } else if constexpr (detail::LiftSteps<T>::value == 0) {
        return lift<T>(root, inverse_jacobian, [](auto const& unknowns) { return unknowns; });
    } else if constexpr (detail::is_taylor_of_built_in<T>) {
        std::array<T, M> u;
        for (std::size_t i = 0; i < M; ++i)
            u[i] = number_cast<T>(root[i]);
        detail::unroll<1, detail::LiftSteps<T>::value + 1>([&](auto k) {
            using Order = decltype(detail::to_order<k>(T{}));
            std::array<Order, D> known;
            for (std::size_t i = 0; i < D; ++i)
                known[i] = detail::to_order<k>(data[i]);
            auto const r = [&] {
                if constexpr (k == 1) {
                    return at_root(known);
                } else {
                    std::array<Order, M> unknowns;
                    for (std::size_t i = 0; i < M; ++i)
                        unknowns[i] = detail::to_order<k>(u[i]);
                    return residual(unknowns, known);
                }
            }();
            for (std::size_t i = 0; i < M; ++i)
                for (std::size_t j = 0; j < M; ++j)
                    u[i].coefficient[k] =
                        u[i].coefficient[k] - detail::factor<T>(inverse_jacobian[i][j]) * r[j].coefficient[k];
        });
        return u;
    } else {
        return lift<T>(root, inverse_jacobian,
                       [&](std::array<T, M> const& unknowns) { return residual(unknowns, data); });
    }
}

/// As above, without a residual at the root of its own.
template <class T, std::size_t M, std::size_t D, class Residual>
[[gnu::always_inline]] inline std::array<T, M>
lift(std::array<double, M> const& root, std::array<std::array<double, M>, M> const& inverse_jacobian,
     std::array<T, D> const& data, Residual const& residual) {
    auto const at_root = [&](auto const& known) {
        using U = std::decay_t<decltype(known[0])>;
        std::array<U, M> unknowns;
        for (std::size_t i = 0; i < M; ++i)
            unknowns[i] = number_cast<U>(root[i]);
        return residual(unknowns, known);
    };
    return lift(root, inverse_jacobian, data, at_root, residual);
}

} // namespace seamhold

#endif
