#include "support/random.hpp"

#include "seamhold/number/pack.hpp"
#include "seamhold/number/taylor.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <type_traits>

// Packs against the doubles in their lanes. Compiled without fused instructions both round alike.

using namespace seamhold;
using namespace seamhold::test;

namespace {

using P = Pack<8>;

template <class F> P made(F const& f) {
    P x;
    for (int i = 0; i < 8; ++i)
        x.set_lane(i, f(i));
    return x;
}

/// Equal to the last bit, or both not numbers.
bool same(double a, double b) {
    return (std::isnan(a) && std::isnan(b)) || (a == b && std::signbit(a) == std::signbit(b));
}

template <class Packed, class Plain>
bool lanes_agree(Packed const& of_packs, Plain const& of_doubles, P const& x, P const& y) {
    P const all = of_packs(x, y);
    for (int i = 0; i < 8; ++i)
        if (!same(all.lane(i), of_doubles(x.lane(i), y.lane(i))))
            return false;
    return true;
}

static_assert(sizeof(P) == 64 && std::is_trivially_copyable_v<P>);
static_assert(alignof(P) == alignof(double)); // whatever the compiler's options are
static_assert(Number<P> && is_packed<P> && is_packed<Taylor<P, 3>> && !is_packed<Taylor<double, 3>>);
static_assert(lanes_of<Taylor<P, 2>> == 8 && lanes_of<double> == 1);
static_assert(std::is_same_v<ValueOf<Taylor<P, 2>>, P> && std::is_same_v<ValueOf<Taylor<double, 2>>, double>);
static_assert(std::is_same_v<Common<P, double>, P> &&
              std::is_same_v<Common<Taylor<double, 2>, P>, Taylor<P, 2>>);

} // namespace

TEST_CASE("each lane is what its double gives, to the last bit") {
    Random random(7201);
    double const odd[] = {0.0, -0.0, 1e-310, -1e308, 1e308, INFINITY, -INFINITY, std::nan("")};
    for (std::size_t run = 0; run < runs(3000); ++run) {
        double const size = std::pow(10.0, random.uniform(-8, 6));
        bool const strange = run % 10 == 0;
        auto const number = [&](int i) {
            return strange && random.uniform(0, 1) < 0.3 ? odd[i] : random.uniform(-size, size);
        };
        P const x = made(number), y = made(number);
        CHECK(lanes_agree([](P a, P b) { return a + b; }, [](double a, double b) { return a + b; }, x, y));
        CHECK(lanes_agree([](P a, P b) { return a - b; }, [](double a, double b) { return a - b; }, x, y));
        CHECK(lanes_agree([](P a, P b) { return a * b; }, [](double a, double b) { return a * b; }, x, y));
        CHECK(lanes_agree([](P a, P b) { return a / b; }, [](double a, double b) { return a / b; }, x, y));
        CHECK(lanes_agree([](P a, P) { return -a; }, [](double a, double) { return -a; }, x, y));
        CHECK(
            lanes_agree([](P a, P) { return sqrt(a); }, [](double a, double) { return std::sqrt(a); }, x, y));
        CHECK(lanes_agree([](P a, P) { return abs(a); }, [](double a, double) { return std::abs(a); }, x, y));
        CHECK(lanes_agree([](P a, P) { return sin_cos(a).sin; },
                          [](double a, double) { return sin_cos(a).sin; }, x, y));
        CHECK(lanes_agree([](P a, P) { return sin_cos(a).cos; },
                          [](double a, double) { return sin_cos(a).cos; }, x, y));
        CHECK(lanes_agree([](P a, P b) { return atan_ratio(a, b); },
                          [](double a, double b) { return atan_ratio(a, b); }, x, abs(y) + 1e-9));
        CHECK(lanes_agree([](P a, P b) { return select(a < b, a, b); },
                          [](double a, double b) { return a < b ? a : b; }, x, y));
        CHECK(lanes_agree([](P a, P b) { return select(a <= b, a, b); },
                          [](double a, double b) { return a <= b ? a : b; }, x, y));
        CHECK(lanes_agree([](P a, P b) { return select(!(a > b) || b >= 1.0, a, b); },
                          [](double a, double b) { return !(a > b) || b >= 1.0 ? a : b; }, x, y));
        CHECK(lanes_agree([](P a, P b) { return select(a > b && b > 0.0, a, b); },
                          [](double a, double b) { return a > b && b > 0 ? a : b; }, x, y));
        CHECK(lanes_agree([](P a, P b) { return atan2(a, b); },
                          [](double a, double b) { return std::atan2(a, b); }, x, y));
        CHECK(lanes_agree([](P a, P) { return exp(a) + tan(a) + atan(a); },
                          [](double a, double) { return std::exp(a) + std::tan(a) + std::atan(a); }, x, y));
    }
}

TEST_CASE("sine, cosine and arc tangent of packs keep the bounds that are stated, against long doubles") {
    // long double is 64 bits wide here: an outside value good to some 2000 times finer.
    Random random(7202);
    double worst_sine = 0, worst_arc = 0;
    auto const units = [](double got, long double truth) {
        double const near = static_cast<double>(truth);
        double const unit = std::nextafter(std::abs(near), INFINITY) - std::abs(near);
        return static_cast<double>(std::abs(static_cast<long double>(got) - truth)) / unit;
    };
    for (std::size_t run = 0; run < runs(4000); ++run) {
        double const size = std::pow(10.0, random.uniform(-6, 5));
        P const x = made([&](int) { return random.uniform(-size, size); });
        P const y = made([&](int) { return random.uniform(1e-3, 1); });
        auto const both = sin_cos(x);
        auto const arc = atan_ratio(x, y);
        for (int i = 0; i < 8; ++i) {
            long double const angle = x.lane(i);
            worst_sine = std::max(
                {worst_sine, units(both.sin.lane(i), sinl(angle)), units(both.cos.lane(i), cosl(angle))});
            worst_arc =
                std::max(worst_arc, units(arc.lane(i), atanl(angle / static_cast<long double>(y.lane(i)))));
        }
    }
    CHECK(worst_sine < 1.5);
    CHECK(worst_arc < 2);
}

TEST_CASE("masks know any and all; finite means every lane") {
    P const x = made([](int i) { return i; });
    CHECK(any(x > P(6.5)));
    CHECK(!any(x > P(7.0)));
    CHECK(all(x < P(8.0)));
    CHECK(!all(x < P(7.0)));
    for (int i = 0; i < 8; ++i) {
        CHECK((x < P(3.0)).lane(i) == (i < 3));
        CHECK((!(x < P(3.0))).lane(i) == (i >= 3));
    }
    CHECK(is_finite(x));
    for (double const bad : {static_cast<double>(INFINITY), std::nan("")})
        for (int i = 0; i < 8; ++i) {
            P y = x;
            y.set_lane(i, bad);
            CHECK(!is_finite(y));
            CHECK(!is_finite(Taylor<P, 2>(y)));
        }
}

TEST_CASE("one of the numbers of a Taylor number of packs is a Taylor number") {
    Taylor<P, 2> x;
    for (int k = 0; k < 3; ++k)
        x.coefficient[k] = made([&](int i) { return 10 * k + i; });
    auto const five = lane_of(x, 5);
    static_assert(std::is_same_v<decltype(five), Taylor<double, 2> const>);
    for (int k = 0; k < 3; ++k)
        CHECK(five.coefficient[k] == 10 * k + 5);
}
