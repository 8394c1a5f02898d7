// Every function of Taylor and Gradient numbers against Boost.Math's automatic differentiation (M. Pulver and
// others, boost/math/differentiation/autodiff.hpp), which multiplies polynomials where Taylor solves
// recurrences. Boost runs on long double (64 bits of fraction on x86-64), so its own rounding does not count.

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"

#include <doctest/doctest.h>

#include "support/random.hpp"

#include <boost/math/differentiation/autodiff.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <tuple>

using namespace seamhold;
using seamhold::test::Random;
using seamhold::test::runs;
namespace autodiff = boost::math::differentiation;

namespace {

// Relative to the derivative itself. Where a derivative passes through zero nothing is known relative to it;
// then the bound is relative to a twentieth of the largest coefficient beside it.
double const relative = 1e-12;
double const beside = 0.05;

// sqr has no counterpart in Boost: there it is the product.
template <class T> T square(T const& x) { return x * x; }
template <class S, int N> Taylor<S, N> square(Taylor<S, N> const& x) { return sqr(x); }
template <class S, int M> Gradient<S, M> square(Gradient<S, M> const& x) { return sqr(x); }

// atan_ratio likewise: there it is the arc tangent of the quotient.
template <class T> T angle_of_ratio(T const& y, T const& x) {
    using std::atan;
    return atan(y / x);
}
template <class S, int N> Taylor<S, N> angle_of_ratio(Taylor<S, N> const& y, Taylor<S, N> const& x) {
    return atan_ratio(y, x);
}
template <class S, int M> Gradient<S, M> angle_of_ratio(Gradient<S, M> const& y, Gradient<S, M> const& x) {
    return atan_ratio(y, x);
}

// The functions under test, each of x and y (doctest names the one that fails), written once for all numbers.
struct Sum {
    template <class T> T operator()(T const& x, T const& y) const { return x + y; }
};
struct Difference {
    template <class T> T operator()(T const& x, T const& y) const { return 2.0 - x - y - 0.5; }
};
struct Product {
    template <class T> T operator()(T const& x, T const& y) const { return 3.0 * x * y; }
};
struct Quotient {
    template <class T> T operator()(T const& x, T const& y) const { return x / y; }
};
struct Inverse {
    template <class T> T operator()(T const& x, T const&) const { return 1.0 / x / 7.0; }
};
struct Square {
    template <class T> T operator()(T const& x, T const&) const { return square(x); }
};
struct Root {
    template <class T> T operator()(T const& x, T const&) const {
        using std::sqrt;
        return sqrt(x);
    }
};
struct Sine {
    template <class T> T operator()(T const& x, T const&) const {
        using std::sin;
        return sin(x);
    }
};
struct Cosine {
    template <class T> T operator()(T const& x, T const&) const {
        using std::cos;
        return cos(x);
    }
};
struct Tangent {
    template <class T> T operator()(T const& x, T const&) const {
        using std::tan;
        return tan(0.5 * x);
    }
};
struct ArcTangent {
    template <class T> T operator()(T const& x, T const&) const {
        using std::atan;
        return atan(x);
    }
};
struct ArcTangent2 {
    template <class T> T operator()(T const& x, T const& y) const {
        using std::atan2;
        return atan2(x, y - 1.5);
    }
};
struct ArcTangentOfRatio {
    template <class T> T operator()(T const& x, T const& y) const { return angle_of_ratio(T(x - 1.5), y); }
};
struct ArcSine {
    template <class T> T operator()(T const& x, T const&) const {
        using std::asin;
        return asin(0.3 * x);
    }
};
struct Exponential {
    template <class T> T operator()(T const& x, T const&) const {
        using std::exp;
        return exp(x);
    }
};
struct Logarithm {
    template <class T> T operator()(T const& x, T const&) const {
        using std::log;
        return log(2.5 + x);
    }
};
struct WholePower {
    template <class T> T operator()(T const& x, T const& y) const {
        using std::pow;
        return pow(x, 3) * pow(y, -2);
    }
};
struct ConstantPower {
    template <class T> T operator()(T const& x, T const&) const {
        using std::pow;
        return pow(x, 2.3);
    }
};
struct VaryingPower {
    template <class T> T operator()(T const& x, T const& y) const {
        using std::pow;
        return pow(x, y);
    }
};
// The arithmetic of a pair of mirrors: the kind of kernel the numbers are there for.
struct Mirrors {
    template <class T> T operator()(T const& x, T const& y) const {
        using std::atan;
        using std::sqrt;
        return atan(x / (0.04 + sqrt(square(y) + 0.25)));
    }
};

// Checks the coefficients got[k] against truth[k].
template <std::size_t Count>
void check_all(std::array<double, Count> const& got, std::array<long double, Count> const& truth,
               double tolerance) {
    long double largest = 0;
    for (auto const c : truth)
        largest = std::max(largest, std::abs(c));
    for (std::size_t k = 0; k < Count; ++k) {
        CAPTURE(k);
        long double const scale = std::max(std::abs(truth[k]), beside * largest);
        CHECK(static_cast<double>(std::abs(static_cast<long double>(got[k]) - truth[k])) <=
              tolerance * static_cast<double>(scale));
    }
}

// A random x(t) between 0.4 and 2.6 at t = 0 with coefficients of size one; order 0 … N.
template <int N> std::array<double, N + 1> random_series(Random& random) {
    std::array<double, N + 1> c{};
    c[0] = random.uniform(0.4, 2.6);
    for (std::size_t k = 1; k < c.size(); ++k)
        c[k] = random.uniform(-1, 1);
    return c;
}

template <int N, class T> T polynomial(std::array<double, N + 1> const& c, T const& t) {
    T sum = t * 0.0 + c[N];
    for (std::size_t k = N; k-- > 0;)
        sum = sum * t + c[k];
    return sum;
}

template <class F, class S, int N> void against_boost(double tolerance, std::uint64_t seed) {
    CAPTURE(N);
    Random random(seed);
    F const f;
    for (std::size_t i = 0; i < runs(100); ++i) {
        auto a = random_series<N>(random);
        auto b = random_series<N>(random);
        Taylor<S, N> x, y;
        for (std::size_t k = 0; k <= N; ++k) {
            a[k] = static_cast<double>(static_cast<S>(a[k])); // both sides start from the same numbers
            b[k] = static_cast<double>(static_cast<S>(b[k]));
            x.coefficient[k] = static_cast<S>(a[k]);
            y.coefficient[k] = static_cast<S>(b[k]);
        }
        auto const t = autodiff::make_fvar<long double, N>(0.0L);
        auto const truth = f(polynomial<N>(a, t), polynomial<N>(b, t));
        auto const ours = f(x, y);
        std::array<double, N + 1> got{};
        std::array<long double, N + 1> want{};
        for (int k = 0; k <= N; ++k) {
            got[static_cast<std::size_t>(k)] = static_cast<double>(ours.derivative(k));
            want[static_cast<std::size_t>(k)] =
                static_cast<long double>(truth.derivative(static_cast<std::size_t>(k)));
        }
        check_all(got, want, tolerance);
    }
}

template <class F> void orders_one_to_four() {
    against_boost<F, double, 1>(relative, 101);
    against_boost<F, double, 2>(relative, 102);
    against_boost<F, double, 3>(relative, 103);
    against_boost<F, double, 4>(relative, 104);
    // The same in float: its epsilon is 2^29 times that of double, and 2000 of it are allowed, while 1e-12
    // allows 4500 of double's.
    against_boost<F, float, 3>(2000 * static_cast<double>(std::numeric_limits<float>::epsilon()), 105);
}

// The partial derivatives by three parameters p, q, r of f(x(p, q, r), y(p, q, r)).
template <class F> void gradient_against_boost() {
    Random random(201);
    F const f;
    for (std::size_t i = 0; i < runs(100); ++i) {
        double const p = random.uniform(0.7, 1.3), q = random.uniform(0.7, 1.3), r = random.uniform(0.7, 1.3);
        auto const ours = [&] {
            using G = Gradient<double, 3>;
            auto const a = G::variable(p, 0), b = G::variable(q, 1), c = G::variable(r, 2);
            return f(a * b * c, a / b + c * 0.5);
        }();
        auto const variables = autodiff::make_ftuple<long double, 1, 1, 1>(
            static_cast<long double>(p), static_cast<long double>(q), static_cast<long double>(r));
        auto const& a = std::get<0>(variables);
        auto const& b = std::get<1>(variables);
        auto const& c = std::get<2>(variables);
        using T = decltype(a * b * c);
        auto const truth = f(T(a * b * c), T(a / b + c * 0.5));
        check_all<4>({ours.value, ours.partial[0], ours.partial[1], ours.partial[2]},
                     {truth.derivative(0, 0, 0), truth.derivative(1, 0, 0), truth.derivative(0, 1, 0),
                      truth.derivative(0, 0, 1)},
                     relative);
    }
}

// Second order in time t of numbers that carry a first derivative by u.
template <class F> void nested_against_boost() {
    Random random(301);
    F const f;
    for (std::size_t i = 0; i < runs(100); ++i) {
        double const t0 = random.uniform(0.7, 1.3), u0 = random.uniform(0.7, 1.3);
        using Inner = Taylor<double, 1>;
        using T = Taylor<Inner, 2>;
        T const t = T::variable(Inner(t0));
        T const u(Inner::variable(u0));
        auto const ours = f(t * u, T(t / u + u * 0.5));
        auto const variables = autodiff::make_ftuple<long double, 2, 1>(static_cast<long double>(t0),
                                                                        static_cast<long double>(u0));
        auto const& bt = std::get<0>(variables);
        auto const& bu = std::get<1>(variables);
        using B = decltype(bt * bu);
        auto const truth = f(B(bt * bu), B(bt / bu + bu * 0.5));
        std::array<double, 6> got{};
        std::array<long double, 6> want{};
        for (std::size_t k = 0; k <= 2; ++k)
            for (std::size_t j = 0; j <= 1; ++j) {
                got[2 * k + j] = ours.derivative(static_cast<int>(k)).derivative(static_cast<int>(j));
                want[2 * k + j] = truth.derivative(k, j);
            }
        check_all(got, want, relative);
    }
}

// Second order in time of numbers that carry a gradient by three parameters.
template <class F> void gradient_of_rates_against_boost() {
    Random random(401);
    F const f;
    for (std::size_t i = 0; i < runs(50); ++i) {
        double const t0 = random.uniform(0.7, 1.3);
        double const p = random.uniform(0.7, 1.3), q = random.uniform(0.7, 1.3), r = random.uniform(0.7, 1.3);
        using G = Gradient<double, 3>;
        using T = Taylor<G, 2>;
        T const t = T::variable(G(t0));
        T const a(G::variable(p, 0)), b(G::variable(q, 1)), c(G::variable(r, 2));
        auto const ours = f(T(t * a * b), T(t / b + c * 0.5));
        auto const variables = autodiff::make_ftuple<long double, 2, 1, 1, 1>(
            static_cast<long double>(t0), static_cast<long double>(p), static_cast<long double>(q),
            static_cast<long double>(r));
        auto const& bt = std::get<0>(variables);
        auto const& ba = std::get<1>(variables);
        auto const& bb = std::get<2>(variables);
        auto const& bc = std::get<3>(variables);
        using B = decltype(bt * ba * bb * bc);
        auto const truth = f(B(bt * ba * bb), B(bt / bb + bc * 0.5));
        std::array<double, 12> got{};
        std::array<long double, 12> want{};
        for (std::size_t k = 0; k <= 2; ++k) {
            auto const rate = ours.derivative(static_cast<int>(k));
            got[4 * k] = rate.value;
            want[4 * k] = truth.derivative(k, 0, 0, 0);
            for (std::size_t j = 0; j < 3; ++j)
                got[4 * k + 1 + j] = rate.partial[j];
            want[4 * k + 1] = truth.derivative(k, 1, 0, 0);
            want[4 * k + 2] = truth.derivative(k, 0, 1, 0);
            want[4 * k + 3] = truth.derivative(k, 0, 0, 1);
        }
        check_all(got, want, relative);
    }
}

} // namespace

TEST_CASE_TEMPLATE("Taylor numbers of order 1 to 4 agree with Boost.Math", F, Sum, Difference, Product,
                   Quotient, Inverse, Square, Root, Sine, Cosine, Tangent, ArcTangent, ArcTangent2,
                   ArcTangentOfRatio, ArcSine, Exponential, Logarithm, WholePower, ConstantPower,
                   VaryingPower, Mirrors) {
    orders_one_to_four<F>();
}

TEST_CASE_TEMPLATE("gradients by three parameters agree with Boost.Math", F, Sum, Difference, Product,
                   Quotient, Inverse, Square, Root, Sine, Cosine, Tangent, ArcTangent, ArcTangent2,
                   ArcTangentOfRatio, ArcSine, Exponential, Logarithm, WholePower, ConstantPower,
                   VaryingPower, Mirrors) {
    gradient_against_boost<F>();
}

TEST_CASE_TEMPLATE("nested Taylor numbers agree with Boost.Math in two variables", F, Product, Quotient,
                   Square, Root, Sine, Tangent, ArcTangent, ArcTangent2, ArcTangentOfRatio, ArcSine,
                   Exponential, Logarithm, WholePower, ConstantPower, VaryingPower, Mirrors) {
    nested_against_boost<F>();
}

TEST_CASE_TEMPLATE("gradients of rates agree with Boost.Math in four variables", F, Quotient, Square, Root,
                   Sine, ArcTangent2, ArcTangentOfRatio, ArcSine, ConstantPower, Mirrors) {
    gradient_of_rates_against_boost<F>();
}
