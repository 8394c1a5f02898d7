#include "seamhold/number/number.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/gradient.hpp"
#include "seamhold/number/taylor.hpp"

#include <cmath>
#include <initializer_list>
#include <limits>
#include <type_traits>

using namespace seamhold;

namespace {

double const infinity = std::numeric_limits<double>::infinity();
double const not_a_number = std::numeric_limits<double>::quiet_NaN();

// A scalar from elsewhere, as a pack of lanes would be: all that a foreign number has to say of itself.
struct Foreign {
    double x;
    Foreign(double value) : x(value) {}
    friend Foreign operator*(Foreign a, Foreign b) { return {a.x * b.x}; }
    friend Foreign sin(Foreign a) { return {std::sin(a.x)}; }
    friend Foreign cos(Foreign a) { return {std::cos(a.x)}; }
};

} // namespace

template <> struct seamhold::NumberTraits<Foreign> {
    static constexpr int rank = 1;
    static double value(Foreign x) { return x.x; }
    static bool finite(Foreign x) { return is_finite(x.x); }
};

TEST_CASE("finite is told from infinite by the bits") {
    CHECK(is_finite(0.0));
    CHECK(is_finite(-0.0));
    CHECK(is_finite(std::numeric_limits<double>::max()));
    CHECK(is_finite(std::numeric_limits<double>::lowest()));
    CHECK(is_finite(std::numeric_limits<double>::denorm_min()));
    CHECK(is_finite(1));
    CHECK(is_finite(std::numeric_limits<float>::max()));
    CHECK_FALSE(is_finite(infinity));
    CHECK_FALSE(is_finite(-infinity));
    CHECK_FALSE(is_finite(not_a_number));
    CHECK_FALSE(is_finite(-not_a_number));
    CHECK_FALSE(is_finite(std::numeric_limits<double>::signaling_NaN()));
    CHECK_FALSE(is_finite(std::numeric_limits<float>::infinity()));
    CHECK_FALSE(is_finite(std::numeric_limits<float>::quiet_NaN()));
    static_assert(is_finite(1.0) && !is_finite(std::numeric_limits<double>::infinity()));
}

TEST_CASE("a number is finite when every double inside is") {
    using T = Taylor<Gradient<double, 2>, 2>;
    T x(1.0);
    CHECK(is_finite(x));
    for (int k = 0; k <= 2; ++k) {
        T bad = x;
        bad.coefficient[k].value = not_a_number;
        CHECK_FALSE(is_finite(bad));
        for (int i = 0; i < 2; ++i) {
            bad = x;
            bad.coefficient[k].partial[i] = infinity;
            CHECK_FALSE(is_finite(bad));
        }
    }
}

TEST_CASE("the value at the bottom of a number") {
    CHECK(value_of(2) == 2.0);
    CHECK(value_of(2.5F) == 2.5);
    CHECK(value_of(Taylor<Gradient<double, 2>, 3>::variable(4.25)) == 4.25);
    CHECK(value_of(Taylor<Taylor<float, 1>, 2>::variable(4.25F)) == 4.25);
    static_assert(std::is_same_v<decltype(value_of(Taylor<float, 1>())), double>);
}

TEST_CASE("two numbers meet in the wider one, and time is outside of parameters") {
    static_assert(std::is_same_v<Common<double, double>, double>);
    static_assert(std::is_same_v<Common<float, double>, double>);
    static_assert(std::is_same_v<Common<double, Foreign>, Foreign>);
    static_assert(std::is_same_v<Common<Foreign, double>, Foreign>);
    static_assert(std::is_same_v<Common<double, Taylor<double, 2>>, Taylor<double, 2>>);
    static_assert(std::is_same_v<Common<Taylor<double, 2>, double>, Taylor<double, 2>>);
    static_assert(std::is_same_v<Common<float, Gradient<float, 3>>, Gradient<float, 3>>);
    static_assert(std::is_same_v<Common<double, Gradient<float, 3>>, Gradient<double, 3>>);
    static_assert(
        std::is_same_v<Common<Gradient<double, 3>, Taylor<double, 2>>, Taylor<Gradient<double, 3>, 2>>);
    static_assert(
        std::is_same_v<Common<Taylor<double, 2>, Gradient<double, 3>>, Taylor<Gradient<double, 3>, 2>>);
    static_assert(std::is_same_v<Common<Taylor<Gradient<double, 3>, 2>, Gradient<double, 3>>,
                                 Taylor<Gradient<double, 3>, 2>>);
    static_assert(std::is_same_v<Common<Taylor<float, 2>, Taylor<double, 2>>, Taylor<double, 2>>);
    static_assert(std::is_same_v<Common<Foreign, Taylor<double, 2>>, Taylor<Foreign, 2>>);
}

TEST_CASE("a stored number is cast, and left alone where a product with it is cheaper") {
    CHECK(number_cast<float>(0.5) == 0.5F);
    auto const t = number_cast<Taylor<double, 2>>(0.5);
    CHECK(t.coefficient[0] == 0.5);
    CHECK(t.coefficient[1] == 0.0);
    CHECK(t.coefficient[2] == 0.0);
    static_assert(std::is_same_v<decltype(operand<Taylor<double, 2>>(1.0)), double>);
    static_assert(std::is_same_v<decltype(operand<Taylor<double, 2>>(Gradient<double, 1>())),
                                 Taylor<Gradient<double, 1>, 2>>);
}

TEST_CASE("select takes the one that the mask names") {
    CHECK(select(true, 1.0, 2.0) == 1.0);
    CHECK(select(false, 1.0, 2.0) == 2.0);
    using T = Taylor<double, 1>;
    CHECK(select(false, T(1.0), T::variable(2.0)).coefficient[1] == 1.0);
    // The one that is not taken may hold anything.
    CHECK(select(true, 1.0, not_a_number) == 1.0);
}

TEST_CASE_TEMPLATE("sine and cosine together are those of the standard library", T, float, double,
                   long double) {
    for (T const angle : {T(0), T(-0.3), T(1.5707963267948966), T(3), T(-1e3), T(1e-9)}) {
        auto const both = sin_cos(angle);
        // The two ways to the platform's own functions may differ by one unit in the last place.
        T const ulp = std::numeric_limits<T>::epsilon();
        CHECK(std::abs(both.sin - std::sin(angle)) <= ulp * std::abs(std::sin(angle)));
        CHECK(std::abs(both.cos - std::cos(angle)) <= ulp * std::abs(std::cos(angle)));
    }
}

TEST_CASE("the angle of a ratio is that of the quotient") {
    CHECK(atan_ratio(3.0, 4.0) == std::atan(0.75));
    CHECK(atan_ratio(-3.0F, 4.0F) == std::atan(-0.75F));
    CHECK(atan_ratio(0.0, 4.0) == 0.0);
    CHECK(std::abs(atan_ratio(1.0, 1e-300) - std::atan2(1.0, 1e-300)) <=
          2.3e-16); // half a unit in the last place
}

TEST_CASE("a foreign scalar takes part through its own functions") {
    CHECK(sqr(Foreign(3.0)).x == 9.0);
    CHECK(sin_cos(Foreign(0.5)).sin.x == std::sin(0.5));
    CHECK(sin_cos(Foreign(0.5)).cos.x == std::cos(0.5));
    CHECK(value_of(Foreign(0.5)) == 0.5);
    CHECK_FALSE(is_finite(Foreign(infinity)));
}

TEST_CASE("a parameter and a time without it meet in a time with it") {
    // 2026-11-25: a mount held as unknowns could not be multiplied with a pose at Taylor time.
    using G = Gradient<double, 2>;
    using T = Taylor<double, 2>;
    auto const x = G::variable(3.0, 1); // ∂x/∂p1 = 1
    auto const t = T::variable(5.0);    // dt/dt = 1
    static_assert(std::is_same_v<decltype(x * t), Taylor<G, 2>>);
    static_assert(std::is_same_v<decltype(t / x), Taylor<G, 2>>);
    auto const check = [](Taylor<G, 2> const& f, double value, double by_p1, double by_t, double by_both) {
        CHECK(f.coefficient[0].value == value);
        CHECK(f.coefficient[0].partial[0] == 0);
        CHECK(f.coefficient[0].partial[1] == by_p1);
        CHECK(f.coefficient[1].value == by_t);
        CHECK(f.coefficient[1].partial[1] == by_both);
    };
    check(x + t, 8, 1, 1, 0);
    check(t + x, 8, 1, 1, 0);
    check(x - t, -2, 1, -1, 0);
    check(t - x, 2, -1, 1, 0);
    check(x * t, 15, 5, 3, 1);
    check(t * x, 15, 5, 3, 1);
    check(G::variable(8.0, 1) / T::variable(2.0), 4, 0.5, -2, -0.25);
    check(T::variable(8.0) / G::variable(2.0, 1), 4, -2, 0.5, -0.25);
}
