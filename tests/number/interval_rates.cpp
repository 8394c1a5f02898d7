#include "seamhold/number/interval.hpp"

#include <doctest/doctest.h>

#include "support/enclosures.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <boost/math/differentiation/autodiff.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <type_traits>

// Taylor numbers over intervals: each coefficient holds that of Boost.Math's automatic differentiation in
// fifty digits, for all exact numbers in the coefficients put in, and for all times in a stretch.

using namespace seamhold;
using namespace seamhold::test;

namespace {

template <int N> using Rates = Taylor<Interval, N>;
template <int N>
using ExactRates = boost::math::differentiation::autodiff_fvar<Exact, static_cast<std::size_t>(N)>;

template <int N> ExactRates<N> exact_time(Exact const& t) {
    return boost::math::differentiation::make_fvar<Exact, static_cast<std::size_t>(N)>(t);
}

Exact factorial(int k) { return k < 2 ? Exact(1) : k * factorial(k - 1); }

// The functions of two numbers that are tried, under one spelling for both kinds of number.
template <class T> T square(T const& x) {
    if constexpr (Number<T>)
        return sqr(x);
    else
        return x * x;
}
template <class T> T angle(T const& y, T const& x) {
    if constexpr (Number<T>)
        return atan_ratio(y, x);
    else
        return atan(T(y / x));
}
template <class T> T sine(T const& x) {
    if constexpr (Number<T>)
        return sin_cos(x).sin;
    else
        return sin(x);
}
template <class T> T whole_power(T const& x, int n) {
    if constexpr (Number<T>) {
        return pow(x, n);
    } else {
        T r = x;
        for (int i = 1; i < std::abs(n); ++i)
            r = T(r * x);
        return n < 0 ? T(1 / r) : r;
    }
}
// p as the double it is: in fifty digits exp(p log x).
template <class T> T power(T const& x, double p) {
    if constexpr (Number<T>)
        return pow(x, p);
    else
        return exp(T(log(x) * Exact(p)));
}
template <class T> T power(T const& x, T const& y) {
    if constexpr (Number<T>)
        return pow(x, y);
    else
        return exp(T(y * log(x)));
}

// Calls f(name, function of x and y) for each; x is anything, y is well above 0.
template <class F> void for_each_function(F const& f) {
    f("x + y", [](auto const& x, auto const& y) { return std::decay_t<decltype(x)>(x + y); });
    f("x - y", [](auto const& x, auto const& y) { return std::decay_t<decltype(x)>(x - y); });
    f("x * y", [](auto const& x, auto const& y) { return std::decay_t<decltype(x)>(x * y); });
    f("x / y", [](auto const& x, auto const& y) { return std::decay_t<decltype(x)>(x / y); });
    f("-x + 2", [](auto const& x, auto const&) { return std::decay_t<decltype(x)>(-x + 2.0); });
    f("1 - 3 x", [](auto const& x, auto const&) { return std::decay_t<decltype(x)>(1.0 - 3.0 * x); });
    f("x / 3", [](auto const& x, auto const&) { return std::decay_t<decltype(x)>(x / 3.0); });
    f("2 / y", [](auto const&, auto const& y) { return std::decay_t<decltype(y)>(2.0 / y); });
    f("sqr x", [](auto const& x, auto const&) { return square(x); });
    f("sqrt y", [](auto const&, auto const& y) { return std::decay_t<decltype(y)>(sqrt(y)); });
    f("exp x", [](auto const& x, auto const&) { return std::decay_t<decltype(x)>(exp(x)); });
    f("log y", [](auto const&, auto const& y) { return std::decay_t<decltype(y)>(log(y)); });
    f("sin x", [](auto const& x, auto const&) { return std::decay_t<decltype(x)>(sin(x)); });
    f("sin_cos x", [](auto const& x, auto const&) { return sine(x); });
    f("cos x", [](auto const& x, auto const&) { return std::decay_t<decltype(x)>(cos(x)); });
    f("tan x", [](auto const& x, auto const&) { return std::decay_t<decltype(x)>(tan(x)); });
    f("atan x", [](auto const& x, auto const&) { return std::decay_t<decltype(x)>(atan(x)); });
    f("atan_ratio", [](auto const& x, auto const& y) { return angle(x, y); });
    f("y^3", [](auto const&, auto const& y) { return whole_power(y, 3); });
    f("x^5", [](auto const& x, auto const&) { return whole_power(x, 5); });
    f("y^-2", [](auto const&, auto const& y) { return whole_power(y, -2); });
    f("y^2.5", [](auto const&, auto const& y) { return power(y, 2.5); });
    // 0.1 k − n is not a double.
    f("y^0.1", [](auto const&, auto const& y) { return power(y, 0.1); });
    f("y^-1.3", [](auto const&, auto const& y) { return power(y, -1.3); });
    f("y^x", [](auto const& x, auto const& y) { return power(y, x); });
}

// A Taylor number with intervals for coefficients, and exact ones in them. `width` is relative to 1.
template <int N> struct Put {
    Rates<N> rates;
    ExactRates<N> exact;
};
template <int N> Put<N> put(Random& random, double low, double high, double width) {
    Put<N> r;
    auto const t = exact_time<N>(0);
    ExactRates<N> power = t * Exact(0) + Exact(1);
    r.exact = t * Exact(0);
    for (int k = 0; k <= N; ++k) {
        double const from = k == 0 ? random.uniform(low, high) : random.uniform(-1, 1);
        Interval const c(from, from + width * random.unit());
        r.rates.coefficient[k] = c;
        Exact const member = Exact(c.low) + (Exact(c.high) - Exact(c.low)) * Exact(random.index(3)) /
                                                2; // an end or the middle
        r.exact = r.exact + power * member;
        power = power * t;
    }
    return r;
}

template <int N>
void expect_held(Misses& misses, char const* name, Rates<N> const& got, ExactRates<N> const& exact) {
    for (int k = 0; k <= N; ++k) {
        Exact const c = exact.derivative(static_cast<std::size_t>(k)) / factorial(k);
        misses.expect(holds(got.coefficient[k], c), name, "coefficient", k, "is", got.coefficient[k],
                      "without", c);
        misses.expect(holds(got.derivative(k), exact.derivative(static_cast<std::size_t>(k))), name,
                      "derivative", k, "is", got.derivative(k));
    }
}

// A quantity as limits ask for: an angle of a turning, waving motion, over any number.
template <class T> T quantity(T const& t) {
    T const swing = sine(T(t * 2.0 + 0.3));
    T const x = T(0.1 + 0.2 * t + 0.05 * swing);
    T const z = T(0.54 + 0.03 * swing * swing);
    return T(angle(x, z) + sqrt(T(x * x + z * z)) * 0.5);
}

} // namespace

TEST_CASE("law: sums of products hold the exact ones, and little else where one factor is thin") {
    constexpr std::size_t n = 8;
    Random random(53'100);
    Misses misses;
    for (std::size_t run = 0; run < runs(3000); ++run) {
        // Of one size, so that all terms count, or of any; thin, or not.
        double const power_a = random.uniform(-100, 100), power_b = random.uniform(-100, 100);
        bool const any = random.unit() < 0.3, thin_a = random.unit() < 0.5, thin_b = random.unit() < 0.5;
        auto const coefficient = [&](double power, bool thin) -> Interval {
            if (any)
                return any_interval(random);
            double const from = sized(random, power - 1, power);
            return thin ? Interval(from) : between(from, sized(random, power - 1, power));
        };
        Interval a[n], b[n], r[n];
        std::array<std::array<Exact, 5>, n> in_a, in_b;
        for (std::size_t i = 0; i < n; ++i) {
            a[i] = coefficient(power_a, thin_a);
            b[i] = coefficient(power_b, thin_b);
            in_a[i] = numbers_in(a[i], random);
            in_b[i] = numbers_in(b[i], random);
        }
        sums_of_products(a, b, r);
        for (std::size_t k = 0; k < n; ++k) {
            Exact least = 0, most = 0, size = 0; // the exact range, and the largest_double sum of sizes
            for (int choice = 0; choice < 4; ++choice) {
                Exact sum = 0;
                for (std::size_t i = 0; i <= k; ++i)
                    sum += in_a[i][random.index(5)] * in_b[k - i][random.index(5)];
                misses.expect(holds(r[k], sum), "sum", k, "is", r[k], "without", sum);
            }
            for (std::size_t i = 0; i <= k; ++i) {
                std::array<Exact, 4> const ends{in_a[i][0] * in_b[k - i][0], in_a[i][0] * in_b[k - i][1],
                                                in_a[i][1] * in_b[k - i][0], in_a[i][1] * in_b[k - i][1]};
                least += *std::min_element(ends.begin(), ends.end());
                most += *std::max_element(ends.begin(), ends.end());
                Exact of_term = 0;
                for (Exact const& end : ends)
                    of_term = std::max(of_term, Exact(abs(end)));
                size += of_term;
            }
            misses.expect(holds(r[k], least) && holds(r[k], most), "sum", k, "is", r[k], "without", least,
                          most);
            if (any)
                continue;
            // By middles and radii, a range of two wide factors is up to half wider (S. Rump 1999). All
            // roundings of a sum of n, twice over for a sum of sizes, and 64 of what is wide.
            Exact const range = (most - least) * (thin_a || thin_b ? 1 : 1.5);
            Exact const rounded = size * (((thin_a && thin_b ? 0 : 70) + 2 * n + 12) * rounding);
            misses.expect(Exact(r[k].high) - Exact(r[k].low) <= range + 2 * rounded, "sum", k, "is", r[k],
                          "too wide for", least, most);
        }
    }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
}

TEST_CASE("a sum of products with subnormal numbers") {
    // 2026-11-26: the share for rounding was taken of a subnormal number, and was 0. Seven terms of 0.49 of
    // the last digit of the first are lost one by one.
    Interval a[8], b[8], r[8];
    for (int i = 0; i < 8; ++i) {
        a[i] = i == 0 ? 0x1p1000 : 0.49 * 0x1p948;
        b[i] = 0x1p-1030;
    }
    sums_of_products(a, b, r);
    Exact sum = 0;
    for (Interval const& factor : a)
        sum += Exact(factor.low) * Exact(0x1p-1030);
    CHECK(holds(r[7], sum));
}

TEST_CASE_TEMPLATE("law: coefficients hold those of all exact numbers in the coefficients", Order,
                   std::integral_constant<int, 2>, std::integral_constant<int, 5>) {
    constexpr int N = Order::value;
    Random random(53'101);
    Misses misses;
    double widest_thin = 0;
    for (std::size_t n = 0; n < runs(60); ++n)
        for (double const width : {0.0, 1e-15, 1e-6, 0.05}) {
            auto const x = put<N>(random, -1.2, 1.2, width);
            auto const y = put<N>(random, 0.8, 2.5, width);
            for_each_function([&](char const* name, auto const& f) {
                Rates<N> const got = f(x.rates, y.rates);
                expect_held<N>(misses, name, got, ExactRates<N>(f(x.exact, y.exact)));
                for (auto const& c : got.coefficient)
                    if (width == 0)
                        widest_thin = std::max(widest_thin, (c.high - c.low) / std::max(1.0, c.magnitude()));
            });
        }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
    // Chains of recurrences of order 5 with divisors above cos² 1.3 = 0.07: their conditions, times 1e-16.
    CHECK(widest_thin > 0);
    CHECK(widest_thin < 1e-9);
}

TEST_CASE(
    "over a thin time and over a stretch, coefficients up to the seventh hold those at every time in it") {
    constexpr int N = 7;
    Random random(53'102);
    Misses misses;
    auto const f = [](auto const& t) { return quantity(t); };
    for (std::size_t n = 0; n < runs(60); ++n) {
        double const from = random.uniform(-3, 3);
        auto const thin = f(Rates<N>::variable(from));
        expect_held<N>(misses, "thin", thin, f(exact_time<N>(Exact(from))));
        for (auto const& c : thin.coefficient)
            misses.expect(c.high - c.low < 1e-11, "thin", c);
        for (double const width : {1e-9, 1e-3, 0.05, 0.4}) {
            Interval const stretch(from, from + width);
            auto const over = f(Rates<N>::variable(stretch));
            for (Exact const& t : numbers_in(stretch, random))
                expect_held<N>(misses, "stretch", over, f(exact_time<N>(t)));
        }
    }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
}

TEST_CASE("an undecided choice leaves nothing above the third derivative") {
    using T = Rates<7>;
    auto const time = T::variable(Interval(1, 2));
    T const a = time * time * time * time, b = time * 2.0;
    auto const same = [](Interval const& x, Interval const& y) { return x.low == y.low && x.high == y.high; };
    // Decided: one of them, with all its derivatives.
    T const first = select(time < 3.0, a, b), second = select(time < 0.5, a, b);
    for (int k = 0; k <= 7; ++k) {
        CHECK(same(first.coefficient[k], a.coefficient[k]));
        CHECK(same(second.coefficient[k], b.coefficient[k]));
    }
    // Undecided: all of both up to the third.
    for (Truth const mask : {time<1.5, time> 1.0, time <= 1.0, !(time < 1.5), Truth{true, true}}) {
        T const either = select(mask, a, b);
        for (int k = 0; k <= 7; ++k)
            if (k <= 3)
                CHECK(same(either.coefficient[k], hull(a.coefficient[k], b.coefficient[k])));
            else
                CHECK(is_whole(either.coefficient[k]));
    }
    // And what is made of it knows nothing above the third either, however small the share.
    T const made = sqrt(select(time < 1.5, a, b) * 1e-6 + time) / time;
    for (int k = 0; k <= 7; ++k)
        CHECK(is_whole(made.coefficient[k]) == (k > 3));
    // Lower orders have nothing to lose.
    using Low = Rates<3>;
    auto const early = Low::variable(Interval(1, 2));
    CHECK(is_finite(select(early < 1.5, early * early, early)));
    // In arrays, as pieces give them.
    auto const pair = detail::either(std::array<T, 2>{a, b}, std::array<T, 2>{b, b});
    CHECK(same(pair[0].coefficient[2], hull(a.coefficient[2], b.coefficient[2])));
    CHECK(is_whole(pair[0].coefficient[4]));
    CHECK(same(pair[1].coefficient[1], b.coefficient[1]));
    CHECK(is_whole(pair[1].coefficient[7]));
}

TEST_CASE("|t| about its kink: what a remainder across it would have proven is refused") {
    // A Taylor expansion of max(t, −t) about t = −0.5, where it is −t, says that it stays so: −1.5 at 1.5.
    using T = Rates<5>;
    auto const size = [](T const& t) { return select(t < 0.0, -t, t); };
    auto const at_middle = size(T::variable(-0.5));
    auto const over = size(T::variable(Interval(-2, 1.5)));
    CHECK(at_middle.coefficient[1].contains(-1.0));
    CHECK(over.coefficient[0].contains(Interval(0, 2)));
    CHECK(over.coefficient[1].contains(Interval(-1, 1)));
    CHECK(is_whole(over.coefficient[4]));
    CHECK(is_whole(over.coefficient[5]));
}

TEST_CASE("where derivatives do not exist, or may not, coefficients are whole lines and never a NaN") {
    using T = Rates<4>;
    Random random(53'103);
    Misses misses;
    auto const expect_sound = [&](char const* name, T const& got) {
        for (auto const& c : got.coefficient)
            misses.expect(is_sound(c), name, "gives", c);
    };
    for (std::size_t n = 0; n < runs(500); ++n) {
        T x, y;
        for (int k = 0; k <= 4; ++k) {
            x.coefficient[k] = any_interval(random);
            y.coefficient[k] = any_interval(random);
        }
        for_each_function([&](char const* name, auto const& f) { expect_sound(name, f(x, y)); });
        expect_sound("select", select(x < y, x, y));
    }
    CHECK_MESSAGE(misses.count() == 0, misses.first());
    // √t about 0, and the angle of (t, t) there.
    auto const time = T::variable(Interval(-1, 1));
    for (T const& got : {sqrt(time), sqrt(sqr(time)), atan_ratio(time, time), log(time), 1.0 / time,
                         pow(time, -1), pow(time, 0.5)})
        for (int k = 1; k <= 4; ++k)
            CHECK(is_whole(got.coefficient[k]));
    CHECK(sqrt(time).coefficient[0].contains(Interval(0, 1)));
}
