#include "seamhold/number/polynomial.hpp"

#include "support/boost_autodiff.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>

using namespace seamhold;
using seamhold::test::Random;

namespace {

double const epsilon = std::numeric_limits<double>::epsilon();
std::array<double, 6> const quintic{0.7, -1.1, 0.4, 2.3, -0.9, 0.35}; // invented

} // namespace

TEST_CASE("a polynomial at a double and a float is the sum of its terms") {
    // 1 − 2z + 3z² at small whole numbers is exact.
    std::array<double, 3> const p{1, -2, 3};
    CHECK(polynomial_at(p, 2.0) == 9);
    CHECK(polynomial_at(p, -3.0F) == 34);
    CHECK(polynomial_at(std::array<double, 2>{5, 4}, 0.5) == 7);
}

TEST_CASE("time derivatives of a polynomial agree with Boost.Math's automatic differentiation") {
    Random random(2301);
    for (int n = 0; n < 200; ++n) {
        double const place = random.uniform(-1, 1), rate = random.uniform(-2, 2);
        auto const theirs_in = boost::math::differentiation::make_fvar<double, 7>(place) * 1.0;
        auto theirs = theirs_in * 0.0;
        auto const z = (theirs_in - place) * rate + place;
        for (std::size_t i = 6; i-- > 0;)
            theirs = theirs * z + quintic[i];
        Taylor<double, 7> t(place); // order above the degree: the rest is 0
        t.coefficient[1] = rate;
        auto const ours = polynomial_at(quintic, t);
        for (int k = 0; k <= 7; ++k) // some ten terms up to 5!·6·2⁵
            CHECK(std::abs(ours.derivative(k) - theirs.derivative(static_cast<std::size_t>(k))) <=
                  10 * 120 * 6 * 32 * epsilon);
    }
}

TEST_CASE("a moving argument with derivatives of its own: composed as Horner's rule on Taylor numbers") {
    Random random(2302);
    for (int n = 0; n < 200; ++n) {
        Taylor<double, 4> z;
        for (double& c : z.coefficient)
            c = random.uniform(-1, 1);
        Taylor<double, 4> slow(0.0);
        for (std::size_t i = 6; i-- > 0;)
            slow = slow * z + quintic[i];
        auto const fast = polynomial_at(quintic, z);
        for (int k = 0; k <= 4; ++k) // a hundred products of numbers up to 10
            CHECK(std::abs(fast.coefficient[k] - slow.coefficient[k]) <= 1000 * epsilon);
    }
}

TEST_CASE("derivatives by parameters, also those of rates") {
    auto const p = [](double z) { return 0.7 + z * (-1.1 + z * (0.4 + z * (2.3 + z * (-0.9 + z * 0.35)))); };
    auto const slope = [](double z) { return -1.1 + z * (0.8 + z * (6.9 + z * (-3.6 + z * 1.75))); };
    auto const bend = [](double z) { return 0.8 + z * (13.8 + z * (-10.8 + z * 7.0)); };
    double const z = 0.6;
    double const bound = 50 * epsilon; // a dozen roundings of terms up to 10
    auto const g = polynomial_at(quintic, Gradient<double, 2>::variable(z, 1));
    CHECK(std::abs(g.value - p(z)) <= bound);
    CHECK(g.partial[0] == 0);
    CHECK(std::abs(g.partial[1] - slope(z)) <= bound);
    // z(t) = z + v t with the unknown v = 2: the rate is p′ v, the derivative of the rate by v is p′, of the
    // second by v is 2 p″ v.
    Taylor<Gradient<double, 2>, 2> t(z);
    t.coefficient[1] = Gradient<double, 2>::variable(2, 0);
    auto const both = polynomial_at(quintic, t);
    CHECK(std::abs(both.coefficient[1].value - 2 * slope(z)) <= bound);
    CHECK(std::abs(both.coefficient[1].partial[0] - slope(z)) <= bound);
    CHECK(std::abs(both.derivative(2).partial[0] - 4 * bend(z)) <= 4 * bound);
}
