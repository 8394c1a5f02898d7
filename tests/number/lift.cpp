#include "seamhold/number/lift.hpp"

#include <doctest/doctest.h>

#include "support/random.hpp"

#include <boost/multiprecision/cpp_bin_float.hpp>

#include <cmath>
#include <limits>
#include <type_traits>

// The solution of a small system by other numbers, against its closed form evaluated with those numbers.

namespace seamhold {
template <> struct NumberTraits<boost::multiprecision::cpp_bin_float_50> {
    static constexpr int rank = 1;
    static double value(boost::multiprecision::cpp_bin_float_50 const& x) { return x.convert_to<double>(); }
    static bool finite(boost::multiprecision::cpp_bin_float_50 const& x) {
        return boost::multiprecision::isfinite(x);
    }
};
} // namespace seamhold

using namespace seamhold;
using seamhold::test::Random;

namespace {

using Fifty = boost::multiprecision::cpp_bin_float_50;

// Polar coordinates: u = {radius, angle} of the place (x, y). The closed form is √(x² + y²), atan(y/x).
template <class T> std::array<T, 2> miss(std::array<T, 2> const& u, std::array<T, 2> const& place) {
    auto const turn = sin_cos(u[1]);
    return {u[0] * turn.cos - place[0], u[0] * turn.sin - place[1]};
}

struct Start {
    std::array<double, 2> root;
    std::array<std::array<double, 2>, 2> inverse_jacobian;
};

Start start_at(double x, double y) {
    double const r = std::hypot(x, y);
    return {{r, std::atan(y / x)}, {{{x / r, y / r}, {-y / (r * r), x / (r * r)}}}};
}

// Every double in a number, for comparison.
double largest(double x) { return std::abs(x); }
template <class S, int M> double largest(Gradient<S, M> const& x) {
    double most = largest(x.value);
    for (auto const& p : x.partial)
        most = std::max(most, largest(p));
    return most;
}
template <class S, int N> double largest(Taylor<S, N> const& x) {
    double most = 0;
    for (auto const& c : x.coefficient)
        most = std::max(most, largest(c));
    return most;
}

// Numbers with everything in them that can vary.
void fill(double& x, Random& random) { x = random.uniform(-1, 1); }
template <class S, int M> void fill(Gradient<S, M>& x, Random& random) {
    fill(x.value, random);
    for (auto& p : x.partial)
        fill(p, random);
}
template <class S, int N> void fill(Taylor<S, N>& x, Random& random) {
    for (auto& c : x.coefficient)
        fill(c, random);
}
void set_value(double& x, double value) { x = value; }
template <class S, int M> void set_value(Gradient<S, M>& x, double value) { set_value(x.value, value); }
template <class S, int N> void set_value(Taylor<S, N>& x, double value) {
    set_value(x.coefficient[0], value);
}

} // namespace

TEST_CASE_TEMPLATE("a lifted root is the closed form at that number", T, double, Taylor<double, 1>,
                   Taylor<double, 2>, Taylor<double, 4>, Gradient<double, 3>, Taylor<Gradient<double, 2>, 2>,
                   Gradient<Gradient<double, 2>, 2>, Taylor<Taylor<double, 2>, 1>) {
    Random random(4101);
    using std::sqrt;
    for (int i = 0; i < 100; ++i) {
        std::array<T, 2> place;
        for (auto& x : place) {
            fill(x, random);
            set_value(x, random.uniform(0.5, 1.5));
        }
        auto const start = start_at(value_of(place[0]), value_of(place[1]));
        auto const& root = start.root;
        auto const& inverse = start.inverse_jacobian;
        T const radius = sqrt(sqr(place[0]) + sqr(place[1]));
        T const angle = atan_ratio(place[1], place[0]);
        // Derivatives of the fourth order reach some 1e2 here; a hundred roundings of that.
        double const bound = 1e4 * std::numeric_limits<double>::epsilon();
        auto const with_data = lift(
            root, inverse, place,
            [&](auto const& at) {
                using U = std::decay_t<decltype(at[0])>;
                return miss(std::array<U, 2>{number_cast<U>(root[0]), number_cast<U>(root[1])}, at);
            },
            [](auto const& u, auto const& at) { return miss(u, at); });
        auto const without =
            lift(root, inverse, place, [](auto const& u, auto const& at) { return miss(u, at); });
        CHECK(largest(without[1] - with_data[1]) <= bound);
        auto const held = lift<T>(root, inverse, [&](std::array<T, 2> const& u) { return miss(u, place); });
        CHECK(largest(with_data[0] - radius) <= bound);
        CHECK(largest(with_data[1] - angle) <= bound);
        CHECK(largest(held[0] - radius) <= bound);
        CHECK(largest(held[1] - angle) <= bound);
        CHECK(value_of(with_data[0]) == root[0]);
        CHECK(value_of(held[1]) == root[1]);
    }
}

TEST_CASE("a step less is right to one order less only") {
    // Why there are as many steps as orders: one step with the plain Jacobian leaves the second order wrong.
    using T = Taylor<double, 2>;
    std::array<T, 2> place{T(1.0), T(0.5)};
    place[0].coefficient[1] = 1;
    place[1].coefficient[1] = -1;
    auto const start = start_at(1, 0.5);
    auto const& root = start.root;
    auto const& inverse = start.inverse_jacobian;
    std::array<T, 2> u{T(root[0]), T(root[1])};
    detail::lift_step(u, inverse, [&](std::array<T, 2> const& v) { return miss(v, place); });
    T const angle = atan_ratio(place[1], place[0]);
    CHECK(std::abs(u[1].coefficient[1] - angle.coefficient[1]) <= 4 * std::numeric_limits<double>::epsilon());
    CHECK(std::abs(u[1].coefficient[2] - angle.coefficient[2]) > 0.1);
    CHECK(detail::LiftSteps<T>::value == 2);
    CHECK(detail::LiftSteps<Taylor<Gradient<double, 2>, 2>>::value == 3);
}

TEST_CASE("a scalar with fifty digits gets all of them") {
    Fifty const x = Fifty(7) / 5, y = Fifty(2) / 3;
    auto const start = start_at(x.convert_to<double>(), y.convert_to<double>());
    auto const& root = start.root;
    auto const& inverse = start.inverse_jacobian;
    auto const u = lift<Fifty>(root, inverse, [&](std::array<Fifty, 2> const& v) {
        return miss<Fifty>(v, {x, y});
    });
    // Truth from Boost.Multiprecision's own functions.
    CHECK(abs(u[0] - sqrt(Fifty(x * x + y * y))) < Fifty("1e-48"));
    CHECK(abs(u[1] - atan(Fifty(y / x))) < Fifty("1e-48"));
}
