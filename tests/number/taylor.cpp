#include "seamhold/number/taylor.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "support/allocation_guard.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <type_traits>

using namespace seamhold;
using seamhold::test::AllocationGuard;
using seamhold::test::Random;

// Derivatives here are checked against closed forms written by hand; tests/outside/boost_autodiff.cpp checks
// every function, at every order, against another library.

namespace {

double const epsilon = std::numeric_limits<double>::epsilon();
double const not_a_number = std::numeric_limits<double>::quiet_NaN();

template <int N> Taylor<double, N> taylor(double const (&coefficients)[N + 1]) {
    Taylor<double, N> x;
    for (int k = 0; k <= N; ++k)
        x.coefficient[k] = coefficients[k];
    return x;
}

template <int N> Taylor<double, N> random_taylor(Random& random, double low, double high) {
    Taylor<double, N> x(random.uniform(low, high));
    for (int k = 1; k <= N; ++k)
        x.coefficient[k] = random.uniform(-1, 1);
    return x;
}

// A mask that is not a bool, as a pack's is; its own select is found by its argument.
struct Mask {
    bool first;
};
double select(Mask mask, double a, double b) { return mask.first ? a : b; }

// Every coefficient of a equals that of b within a bound relative to the largest coefficient of b and 1.
template <class S, int N> void check_near(Taylor<S, N> const& a, Taylor<S, N> const& b, double bound) {
    double scale = 1;
    for (auto const& c : b.coefficient)
        scale = std::max(scale, std::abs(value_of(c)));
    for (int k = 0; k <= N; ++k) {
        CAPTURE(k);
        CHECK(std::abs(value_of(a.coefficient[k]) - value_of(b.coefficient[k])) <= bound * scale);
    }
}

// What every test of a singular place asks: the value is right, and nothing inside is infinite or a NaN.
template <class T> void check_finite(T const& x, double value) {
    CHECK(value_of(x) == value);
    CHECK(is_finite(x));
}

} // namespace

TEST_CASE("Taylor numbers are plain data") {
    static_assert(std::is_trivially_copyable_v<Taylor<double, 3>>);
    static_assert(std::is_trivially_copyable_v<Taylor<Taylor<double, 1>, 2>>);
    static_assert(std::is_trivially_copyable_v<Taylor<Gradient<double, 3>, 2>>);
    static_assert(sizeof(Taylor<double, 3>) == 4 * sizeof(double));
    static_assert(sizeof(Taylor<float, 3>) == 4 * sizeof(float));
}

TEST_CASE("a constant has no rates, time has rate one") {
    Taylor<double, 3> const constant = 2.5;
    CHECK(constant.value() == 2.5);
    for (int k = 1; k <= 3; ++k)
        CHECK(constant.derivative(k) == 0.0);
    auto const time = Taylor<double, 3>::variable(2.5);
    CHECK(time.value() == 2.5);
    CHECK(time.derivative(0) == 2.5);
    CHECK(time.derivative(1) == 1.0);
    CHECK(time.derivative(2) == 0.0);
    CHECK(time.derivative(3) == 0.0);
    CHECK(Taylor<double, 0>::variable(2.5).value() == 2.5);
}

TEST_CASE("derivatives are coefficients times factorials") {
    auto const x = taylor<4>({1, 2, 3, 5, 7});
    CHECK(x.derivative(0) == 1);
    CHECK(x.derivative(1) == 2);
    CHECK(x.derivative(2) == 6);
    CHECK(x.derivative(3) == 30);
    CHECK(x.derivative(4) == 168);
}

TEST_CASE("sums, products and quotients of polynomials are exact in small whole numbers") {
    auto const a = taylor<3>({1, 2, 3, 4});
    auto const b = taylor<3>({2, -1, 0, 5});
    auto const check = [](Taylor<double, 3> const& got, double c0, double c1, double c2, double c3) {
        CHECK(got.coefficient[0] == c0);
        CHECK(got.coefficient[1] == c1);
        CHECK(got.coefficient[2] == c2);
        CHECK(got.coefficient[3] == c3);
    };
    check(a + b, 3, 1, 3, 9);
    check(a - b, -1, 3, 3, -1);
    check(+a, 1, 2, 3, 4);
    check(-a, -1, -2, -3, -4);
    check(a * b, 2, 3, 4, 10); // 4·2 − 3·1 + 0·2 + 1·5
    check(a * b / b, 1, 2, 3, 4);
    check(sqr(a), 1, 4, 10, 20); // 2·(1·4 + 2·3) = 20
    check(a + 2, 3, 2, 3, 4);
    check(2 + a, 3, 2, 3, 4);
    check(a - 2, -1, 2, 3, 4);
    check(2 - a, 1, -2, -3, -4);
    check(a * 2, 2, 4, 6, 8);
    check(2 * a, 2, 4, 6, 8);
    check(a / 2, 0.5, 1, 1.5, 2);
    check(1 / taylor<3>({1, 1, 0, 0}), 1, -1, 1, -1); // the geometric series
    auto c = a;
    check(c += b, 3, 1, 3, 9);
    check(c -= b, 1, 2, 3, 4);
    check(c *= b, 2, 3, 4, 10);
    check(c /= b, 1, 2, 3, 4);
}

TEST_CASE("comparisons see the values only") {
    auto const a = taylor<1>({1, 5});
    auto const b = taylor<1>({2, -5});
    CHECK(a < b);
    CHECK(a <= b);
    CHECK(b > a);
    CHECK(b >= a);
    CHECK(a <= taylor<1>({1, -5}));
    CHECK(a >= taylor<1>({1, 6}));
    CHECK_FALSE(a < 1.0);
    CHECK(1.5 > a);
}

TEST_CASE("known series at zero") {
    auto const t = Taylor<double, 5>::variable(0.0);
    // Coefficients of the Maclaurin series of calculus; each is one or two roundings away.
    check_near(exp(t), taylor<5>({1, 1, 1.0 / 2, 1.0 / 6, 1.0 / 24, 1.0 / 120}), 2 * epsilon);
    check_near(sin(t), taylor<5>({0, 1, 0, -1.0 / 6, 0, 1.0 / 120}), 2 * epsilon);
    check_near(cos(t), taylor<5>({1, 0, -1.0 / 2, 0, 1.0 / 24, 0}), 2 * epsilon);
    check_near(tan(t), taylor<5>({0, 1, 0, 1.0 / 3, 0, 2.0 / 15}), 2 * epsilon);
    check_near(atan(t), taylor<5>({0, 1, 0, -1.0 / 3, 0, 1.0 / 5}), 2 * epsilon);
    check_near(asin(t), taylor<5>({0, 1, 0, 1.0 / 6, 0, 3.0 / 40}), 2 * epsilon);
    check_near(log(1 + t), taylor<5>({0, 1, -1.0 / 2, 1.0 / 3, -1.0 / 4, 1.0 / 5}), 2 * epsilon);
    check_near(sqrt(1 + t), taylor<5>({1, 1.0 / 2, -1.0 / 8, 1.0 / 16, -5.0 / 128, 7.0 / 256}), 2 * epsilon);
    check_near(pow(1 + t, 2.5), taylor<5>({1, 5.0 / 2, 15.0 / 8, 5.0 / 16, -5.0 / 128, 3.0 / 256}),
               2 * epsilon);
    check_near(atan2(t, 1 + 0 * t), atan(t), 2 * epsilon);
    check_near(atan_ratio(t, 1 + 0 * t), atan(t), 2 * epsilon);
}

TEST_CASE("what undoes a function gives the argument back, at every order") {
    Random random(20240901);
    // Each side is a short chain of recurrences of order 4 with coefficients of size 1 and divisors above
    // 0.3: below 100 roundings of terms up to 0.3^-4 ≈ 120.
    double const bound = 100 * 120 * epsilon;
    for (int i = 0; i < 200; ++i) {
        auto const x = random_taylor<4>(random, 0.4, 3.0);
        auto const y = random_taylor<4>(random, -1.2, 1.2);
        check_near(sqr(sqrt(x)), x, bound);
        check_near(exp(log(x)), x, bound);
        check_near(log(exp(y)), y, bound);
        check_near(tan(atan(y)), y, bound);
        check_near(sin(asin(0.5 * y)), 0.5 * y, bound);
        check_near(pow(pow(x, 2.5), 0.4), x, bound);
        check_near(pow(x, Taylor<double, 4>(2.5)), pow(x, 2.5), bound);
        check_near(pow(x, 3), x * x * x, bound);
        check_near(pow(x, -2), 1 / (x * x), bound);
        check_near(sqr(sin(y)) + sqr(cos(y)), Taylor<double, 4>(1.0), bound);
        check_near(atan2(x * sin(y), x * cos(y)), y, bound);
        check_near(atan_ratio(x * sin(y), x * cos(y)), y, bound);
        check_near(y / x * x, y, bound);
    }
}

TEST_CASE("pow with a whole exponent holds for any base") {
    auto const x = taylor<2>({-2, 1, 0});
    CHECK(pow(x, 3).coefficient[0] == -8);
    CHECK(pow(x, 3).coefficient[1] == 12);
    CHECK(pow(x, 3).coefficient[2] == -6);
    CHECK(pow(x, 0).coefficient[0] == 1);
    CHECK(pow(x, 0).coefficient[1] == 0);
    auto const zero = taylor<2>({0, 1, 0});
    CHECK(pow(zero, 2).coefficient[2] == 1);
    CHECK(pow(zero, 0).coefficient[0] == 1);
    CHECK(is_finite(pow(zero, 0)));
    CHECK(pow(x, -1).coefficient[0] == -0.5);
    CHECK(pow(x, -1).coefficient[1] == -0.25);
}

TEST_CASE_TEMPLATE("derivatives are finite at removable singularities", T, Taylor<double, 4>,
                   Taylor<float, 3>, Taylor<Taylor<double, 1>, 2>, Taylor<Gradient<double, 3>, 2>) {
    T const zero(0.0);
    T const time = T::variable(0.0);
    SUBCASE("square root at rest and while it passes zero") {
        check_finite(sqrt(zero), 0.0);
        check_finite(sqrt(time * time), 0.0);
        check_finite(sqrt(sqr(time) + sqr(time * 2.0)), 0.0);
    }
    SUBCASE("arc tangent of two at the origin") {
        check_finite(atan2(zero, zero), 0.0);
        check_finite(atan2(time, zero), 0.0);
        check_finite(atan2(time, time), 0.0);
    }
    SUBCASE("arc sine at its ends") {
        check_finite(asin(T(1.0)), value_of(T(std::numbers::pi / 2)));
        CHECK(is_finite(asin(T(-1.0) + time)));
    }
    SUBCASE("a constant power of zero") {
        check_finite(pow(zero, 0.5), 0.0);
        check_finite(pow(time, 1.5), 0.0);
    }
    SUBCASE("constants at zero keep zero rates where these are known") {
        check_finite(atan(zero), 0.0);
        check_finite(sin(zero), 0.0);
        check_finite(exp(zero), 1.0);
    }
}

TEST_CASE("a NaN that comes in is still seen at the end") {
    auto const bad = taylor<2>({not_a_number, 1, 0});
    CHECK_FALSE(is_finite(sqrt(bad)));
    CHECK_FALSE(is_finite(atan2(bad, Taylor<double, 2>(1.0))));
    CHECK_FALSE(is_finite(sin(bad)));
    CHECK_FALSE(
        is_finite(1 / Taylor<double, 2>(0.0))); // no removable singularity: the caller's guard must see it
}

TEST_CASE("a Taylor number inside a Taylor number of the same order is a constant of the outer one") {
    // 2026-11-25: Taylor<Taylor<S, N>, N> took its scalar for a number to be lifted coefficient by
    // coefficient, so that √ (2 + u + t) had no derivative by u.
    using Inner = Taylor<double, 1>;
    using T = Taylor<Inner, 1>;
    T const constant(Inner::variable(3.0));
    CHECK(constant.coefficient[0].coefficient[0] == 3.0);
    CHECK(constant.coefficient[0].coefficient[1] == 1.0);
    CHECK(constant.coefficient[1].coefficient[0] == 0.0);
    auto const root = sqrt(T::variable(Inner::variable(2.0)));
    double const first = 0.5 / std::numbers::sqrt2; // f′ of √ at 2
    double const second = -first / 4;               // f″ of √ at 2: −1 / (4·2^1.5)
    CHECK(root.coefficient[0].coefficient[0] == doctest::Approx(std::numbers::sqrt2).epsilon(4 * epsilon));
    CHECK(root.coefficient[0].coefficient[1] == doctest::Approx(first).epsilon(4 * epsilon));
    CHECK(root.coefficient[1].coefficient[0] == doctest::Approx(first).epsilon(4 * epsilon));
    CHECK(root.coefficient[1].coefficient[1] == doctest::Approx(second).epsilon(4 * epsilon));
}

TEST_CASE("a number over one scalar becomes the same over another") {
    Taylor<float, 2> single;
    single.coefficient[0] = 1.5F;
    single.coefficient[1] = 0.25F;
    single.coefficient[2] = -2.0F;
    Taylor<double, 2> const wide = single;
    CHECK(wide.coefficient[0] == 1.5);
    CHECK(wide.coefficient[1] == 0.25);
    CHECK(wide.coefficient[2] == -2.0);
    Taylor<Gradient<double, 2>, 2> const lifted = wide;
    CHECK(lifted.coefficient[1].value == 0.25);
    CHECK(lifted.coefficient[1].partial[0] == 0.0);
    // A parameter becomes a constant in time.
    auto const parameter = number_cast<Taylor<Gradient<double, 2>, 2>>(Gradient<double, 2>::variable(3.0, 1));
    CHECK(parameter.coefficient[0].partial[1] == 1.0);
    CHECK(parameter.coefficient[1].value == 0.0);
}

TEST_CASE("select works coefficient by coefficient where the mask is not a bool") {
    auto const a = taylor<1>({1, 2});
    auto const b = taylor<1>({3, 4});
    CHECK(select(Mask{true}, a, b).coefficient[0] == 1);
    CHECK(select(Mask{true}, a, b).coefficient[1] == 2);
    CHECK(select(Mask{false}, a, b).coefficient[0] == 3);
    CHECK(select(Mask{false}, a, b).coefficient[1] == 4);
}

TEST_CASE("arithmetic can be done by the compiler") {
    constexpr auto square = sqr(Taylor<double, 2>::variable(3.0));
    static_assert(square.coefficient[0] == 9 && square.coefficient[1] == 6 && square.coefficient[2] == 1);
    static_assert(pow(Taylor<double, 1>::variable(2.0), 3).coefficient[1] == 12);
}

TEST_CASE("nothing touches the heap") {
    auto const t = Taylor<Gradient<double, 3>, 2>::variable(Gradient<double, 3>::variable(0.3, 0));
    AllocationGuard guard;
    auto const r = atan2(sin(t), cos(t)) + pow(sqrt(exp(t)), 1.5) / (1 + tan(t)) - log(1 + asin(t)) * atan(t);
    CHECK(guard.count() == 0);
    CHECK(is_finite(r));
}
