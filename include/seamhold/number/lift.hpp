#ifndef SEAMHOLD_NUMBER_LIFT_HPP
#define SEAMHOLD_NUMBER_LIFT_HPP

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/number.hpp"
#include "seamhold/number/taylor.hpp"

#include <array>
#include <cstddef>
#include <limits>

/// Inverses are solved on doubles and lifted to other numbers. A number that carries derivatives is a double
/// plus a part of which a high enough power vanishes; one step u ← u − J⁻¹·F(u) with the plain inverse
/// Jacobian at the double root makes u right in one order more, so that as many steps as there are orders are
/// exact to rounding, whatever the number is made of.
namespace seamhold {

namespace detail {

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

/// The solution u of F(u) = 0 at numbers of type T, from the solution on doubles and the inverse of F's
/// Jacobian there. `residual` takes a std::array<T, M> of unknowns and returns F; it may hold data of type T.
/// Exact to rounding where the double solution is; the values stay those of the double solution, bit for bit,
/// unless the scalar at the bottom has more digits than a double. Source: A. Griewank, A. Walther,
/// "Evaluating Derivatives", 2nd ed., SIAM 2008, chapter 15 (from memory).
template <class T, std::size_t M, class Residual>
[[gnu::always_inline]] inline std::array<T, M>
lift(std::array<double, M> const& root, std::array<std::array<double, M>, M> const& inverse_jacobian,
     Residual const& residual) {
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
    if constexpr (detail::LiftSteps<T>::value == 0) {
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
