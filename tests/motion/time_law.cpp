#include "seamhold/motion/time_law.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/boost_autodiff.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"

#include <boost/multiprecision/cpp_bin_float.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

/// What a law is made of.
struct Given {
    std::vector<double> times, accelerations;
    double path_time, speed;

    TimeLaw law() const { return TimeLaw(times, accelerations, path_time, speed); }

    double least_speed() const {
        double least = speed, v = speed;
        for (std::size_t i = 0; i + 1 < times.size(); ++i) {
            double const h = times[i + 1] - times[i];
            for (int k = 1; k <= 1000; ++k) {
                double const x = k / 1000.0;
                least = std::min(
                    least,
                    v + h * x * (accelerations[i] + x * (accelerations[i + 1] - accelerations[i]) / 2));
            }
            v += h * (accelerations[i] + accelerations[i + 1]) / 2;
        }
        return least;
    }
};

/// A random law that runs on everywhere, of 2 to 12 knots.
Given random_given(Random& random) {
    Given g{{random.uniform(-5, 5)}, {0}, random.uniform(-10, 10), random.uniform(0.5, 3)};
    std::size_t const n = 1 + random.index(11);
    for (std::size_t i = 0; i < n; ++i) {
        g.times.push_back(g.times.back() + random.uniform(0.01, 0.5));
        g.accelerations.push_back(i + 1 < n ? random.uniform(-4, 4) : 0);
    }
    double const least = g.least_speed();
    if (least < 0.1)
        g.speed += 0.1 - least;
    return g;
}

using Real =
    boost::multiprecision::number<boost::multiprecision::cpp_bin_float<50>, boost::multiprecision::et_off>;

/// u and u′ in fifty digits: u₀ + v₀ (t − t₀) + ∫ a(s) (t − s) ds and v₀ + ∫ a(s) ds, piece by piece; the
/// integrands are of second degree at most, for which Simpson's rule is exact.
struct Truth50 {
    Real u, speed;
};
Truth50 truth(Given const& g, double t) {
    Truth50 r{Real(g.path_time) + Real(g.speed) * (Real(t) - g.times[0]), g.speed};
    for (std::size_t i = 0; i + 1 < g.times.size() && g.times[i] < t; ++i) {
        Real const from = g.times[i], to = std::min(t, g.times[i + 1]);
        auto const a = [&](Real const& s) {
            return Real(g.accelerations[i]) + (Real(g.accelerations[i + 1]) - g.accelerations[i]) *
                                                  (s - from) / (Real(g.times[i + 1]) - from);
        };
        Real const middle = (from + to) / 2;
        r.u +=
            (to - from) / 6 * (a(from) * (t - from) + 4 * a(middle) * (t - middle) + a(to) * (Real(t) - to));
        r.speed += (to - from) / 6 * (a(from) + 4 * a(middle) + a(to));
    }
    return r;
}

std::string message_of(std::vector<double> const& times, std::vector<double> const& accelerations,
                       double path_time, double speed) {
    try {
        TimeLaw const law(times, accelerations, path_time, speed);
    } catch (BadInput const& e) {
        return e.what();
    }
    return "";
}

} // namespace

TEST_CASE("a law against fifty digits, and its derivatives against Boost's") {
    Random random(71101);
    for (std::size_t n = 0; n < runs(200); ++n) {
        auto const given = random_given(random);
        auto const law = given.law();
        for (int k = 0; k < 10; ++k) {
            double const t = random.uniform(given.times.front() - 1, given.times.back() + 1);
            auto const true_ = truth(given, t);
            // Some dozen sums of numbers up to 30.
            CHECK(std::abs(static_cast<double>(Real(law.at(t)) - true_.u)) <= 200 * epsilon * 10);
            CHECK(std::abs(static_cast<double>(Real(law.speed(t)) - true_.speed)) <= 200 * epsilon);
            auto const by_boost = law.at(boost::math::differentiation::make_fvar<double, 3>(t));
            auto const by_taylor = law.at(Taylor<double, 3>::variable(t));
            for (int order = 0; order <= 3; ++order)
                CHECK(std::abs(by_taylor.derivative(order) - by_boost.derivative(static_cast<std::size_t>(
                                                                 order))) <= 1e-11); // of sums up to 1e3
            CHECK(law.acceleration(t) == by_taylor.derivative(2));
            CHECK(std::abs(law.at(static_cast<float>(t)) - static_cast<float>(law.at(t))) <= 1e-5F);
        }
    }
}

TEST_CASE("a law is C² and never runs back") {
    Random random(71102);
    for (std::size_t n = 0; n < runs(100); ++n) {
        auto const given = random_given(random);
        auto const law = given.law();
        for (double const t : given.times) {
            auto const before = law.at(Taylor<double, 2>::variable(t - 1e-12));
            auto const behind = law.at(Taylor<double, 2>::variable(t + 1e-12));
            for (int k = 0; k <= 2; ++k) // 2e-12 s at up to 10, 100 and, at 8 in 0.01 s, 1000
                CHECK(std::abs(before.derivative(k) - behind.derivative(k)) <= 1e-8);
        }
        double last = law.at(given.times.front() - 1);
        for (int i = 1; i <= 1000; ++i) {
            double const u =
                law.at(given.times.front() - 1 + (given.times.back() - given.times.front() + 2) * i / 1000);
            CHECK(u > last);
            last = u;
        }
        CHECK(law.acceleration(given.times.front() - 0.5) == 0);
        CHECK(law.acceleration(given.times.back() + 0.5) == 0);
        CHECK(law.speed(given.times.back() + 100) == law.speed(given.times.back() + 0.5));
        auto const breaks = law.breaks();
        CHECK(breaks.size() <= given.times.size());
        for (double const t : breaks)
            CHECK(std::find(given.times.begin(), given.times.end(), t) != given.times.end());
    }
}

TEST_CASE("a constant speed") {
    auto const law = TimeLaw::steady(2.5, 4, -1);
    CHECK(law.breaks().empty());
    for (double const t : {-1e3, 0.0, 4.0, 4.5, 5.0, 1e3}) {
        CHECK(law.at(t) == doctest::Approx(-1 + 2.5 * (t - 4)).epsilon(1e-15));
        CHECK(law.time_at(law.at(t)) == doctest::Approx(t).epsilon(4e-15));
        CHECK(law.speed(t) == 2.5);
    }
    CHECK(law.at(4.0) == -1);
    CHECK_THROWS_WITH_AS(TimeLaw::steady(0), "a constant speed through a motion must be above 0; given was 0",
                         BadInput);
    CHECK_THROWS_AS(TimeLaw::steady(-1), BadInput);
    CHECK_THROWS_AS(TimeLaw::steady(infinity), BadInput);
    CHECK_THROWS_AS(TimeLaw::steady(not_a_number), BadInput);
    CHECK_THROWS_AS(TimeLaw::steady(1, 0, not_a_number), BadInput);
}

TEST_CASE("when a law comes to a place") {
    Random random(71103);
    for (std::size_t n = 0; n < runs(200); ++n) {
        auto const given = random_given(random);
        auto const law = given.law();
        for (int k = 0; k < 10; ++k) {
            double const t = random.uniform(given.times.front() - 1, given.times.back() + 1);
            double const u = law.at(t);
            // Back to the last bits of u (up to 30) over the speed, 0.1 or more; and u to its last bits.
            CHECK(std::abs(law.time_at(u) - t) <= 20 * epsilon * 30 / 0.1);
            CHECK(std::abs(law.at(law.time_at(u)) - u) <= 10 * epsilon * 30);
        }
    }
}

TEST_CASE("a law that stands still: first it slows down, then it goes on") {
    // Speed 1, down by 1/s² on the average over 1 s (the middle acceleration is −2), a second at rest, and
    // back.
    TimeLaw const law({0, 0.5, 1, 2, 2.5, 3}, {0, -2, 0, 0, 2, 0}, 0, 1);
    double const stop = 0.5; // by the symmetry of the speed about the middle: half of 1 · 1
    CHECK(law.at(1.0) == doctest::Approx(stop).epsilon(1e-15));
    CHECK(law.at(2.0) == law.at(1.0));
    CHECK(law.speed(1.5) == 0);
    CHECK(law.at(3.0) == doctest::Approx(1).epsilon(1e-15));
    // Where it stands the first time counts. The last stretch before is a cubic of slope 0: the third root
    // of the last bits of u over its coefficient, 2/3.
    CHECK(law.time_at(law.at(1.0)) == 1.0);
    CHECK(law.time_at(0.75) > 2);
    CHECK(std::abs(law.at(law.time_at(stop - 1e-9)) - (stop - 1e-9)) <= 4 * epsilon);

    TimeLaw const ends({0, 0.5, 1}, {0, -2, 0}, 0, 1);
    CHECK(ends.speed(7) == 0);
    CHECK(ends.at(7.0) == ends.at(1.0));
    CHECK(ends.time_at(0.7) == infinity);
    TimeLaw const begins({0, 0.5, 1}, {0, 2, 0}, 0, 0);
    CHECK(begins.at(-7.0) == 0);
    CHECK(begins.time_at(-0.1) == -infinity);
    CHECK(begins.time_at(0) == 0);
}

TEST_CASE("intervals hold a law, and its values no more than they must") {
    Random random(71104);
    for (std::size_t n = 0; n < runs(100); ++n) {
        auto const given = random_given(random);
        auto const law = given.law();
        for (double const width : {0.0, 1e-9, 1e-3, 0.1, 2.0}) {
            double from = random.uniform(given.times.front() - 1, given.times.back() + 1);
            if (random.index(2) == 0)
                from = given.times[random.index(given.times.size())] - width * random.unit();
            double const to = from + width;
            auto const over = law.at(Taylor<Interval, 2>::variable(Interval(from, to)));
            CHECK(law.at(Interval(from, to)).contains(law.at(from)));
            // Both ends to their last bits.
            CHECK(over.coefficient[0].high - over.coefficient[0].low <= law.at(to) - law.at(from) + 1e-12);
            for (int k = 0; k <= 10; ++k) {
                double const t = std::clamp(from + width * k / 10, from, to);
                auto const at = law.at(Taylor<double, 2>::variable(t));
                auto const true_ = truth(given, t);
                // What the law stores at its knots is the definition, off by the last bits of its sums; and
                // doubles are off where they ask.
                CHECK(Real(over.coefficient[0].low) - 200 * epsilon * 10 <= true_.u);
                CHECK(Real(over.coefficient[0].high) + 200 * epsilon * 10 >= true_.u);
                CHECK(over.coefficient[0].low <= at.coefficient[0] + 20 * epsilon * 30);
                CHECK(over.coefficient[0].high >= at.coefficient[0] - 20 * epsilon * 30);
                // Rates are continuous, so a piece that is only touched (by a picosecond) makes 1e-9 of them.
                CHECK(over.coefficient[1].low <= at.coefficient[1] + 1e-9);
                CHECK(over.coefficient[1].high >= at.coefficient[1] - 1e-9);
                CHECK(over.coefficient[2].low <= at.coefficient[2] + 1e-8);
                CHECK(over.coefficient[2].high >= at.coefficient[2] - 1e-8);
            }
        }
    }
}

TEST_CASE("laws that are none are refused by name") {
    CHECK(message_of({0, 1}, {0, 0, 0}, 0, 1) == "a time law of 2 times has 3 accelerations");
    CHECK(message_of({0, 1, 1}, {0, 0, 0}, 0, 1) == "knot 2 does not increase or is not finite");
    CHECK(message_of({0}, {0}, 0, 1) != "");
    CHECK(message_of({0, 1, 2}, {0, not_a_number, 0}, 0, 1) == "an acceleration of a time law is not finite");
    CHECK(message_of({0, 1, 2}, {0, 0, 1}, 0, 1) == "a time law must begin at a finite time and speed, and "
                                                    "begin and end without acceleration");
    CHECK(message_of({0, 1}, {0, 0}, infinity, 1) != "");
    CHECK(message_of({0, 1}, {0, 0}, 0, -1e-3) ==
          "a time law runs backwards: at 0 s its speed is -0.001, it must be 0 or more");
    // Slowest at 1.5 s, between knots: 1 − 1.2/2 − 1.2/4 · 1 … by hand 1 − 0.6 − 0.3 + 0 = 0.1 for 1.2, −0.05
    // for 1.4.
    CHECK(message_of({0, 1, 2, 3}, {0, -1.2, 1.2, 0}, 0, 1) == "");
    CHECK(message_of({0, 1, 2, 3}, {0, -1.4, 1.4, 0}, 0, 1) ==
          "a time law runs backwards: at 1.5 s its speed is -0.05, it must be 0 or more");
    CHECK(message_of({0, 1, 2}, {0, 1e308, 0}, 0, 1e308) != ""); // sums overflow
}

TEST_CASE("asking a law allocates nothing, and a time that is no number gives none") {
    Random random(71105);
    auto const law = random_given(random).law();
    AllocationGuard guard;
    double const a = law.at(0.3);
    auto const b = law.at(Taylor<double, 2>::variable(0.3));
    bool const none = !is_finite(law.at(not_a_number)) && !is_finite(law.at(Interval(-1e308, infinity)));
    CHECK(guard.count() == 0);
    CHECK(a == b.value());
    CHECK(none);
}
