#include "seamhold/curve/profile.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using T = Taylor<double, 3>;

std::string message_of(double distance, RateLimits const& limits) {
    return refusal_of([&] { return Profile(distance, limits); });
}

// The least time from rest to rest, by the three cases of textbooks, apart from the code: limit on jerk alone
// (four equal pieces of 2 j T³ = D), on jerk and acceleration, on all three.
double least_time(double distance, RateLimits const& limits) {
    double const v = limits.velocity, a = limits.acceleration, j = limits.jerk;
    // Speed that is reached without a cruise, with and without a stretch at full acceleration.
    double const short_peak = std::cbrt(distance * distance * j / 4); // 2 pieces up: v = j T², D = 2 j T³
    if (short_peak <= std::min(v, a * a / j))
        return 4 * std::cbrt(distance / (2 * j));
    if (v * j > a * a) {
        // D = v (v/a + a/j): solve for v.
        double const peak = a / 2 * (-a / j + std::sqrt(a * a / (j * j) + 4 * distance / a));
        if (peak <= v)
            return 2 * (peak / a + a / j);
        return distance / v + v / a + a / j;
    }
    return distance / v + 2 * std::sqrt(v / j);
}

// Highest absolute rates over fine samples, and the largest step of value, velocity or acceleration at a
// break.
struct Seen {
    double velocity = 0, acceleration = 0, jerk = 0, jump = 0, lowest = 0;
};

Seen look_at(Profile const& profile, double distance, RateLimits const& limits) {
    Seen seen;
    auto const note = [&](T const& s) {
        seen.velocity = std::max(seen.velocity, std::abs(s.derivative(1)) / limits.velocity);
        seen.acceleration = std::max(seen.acceleration, std::abs(s.derivative(2)) / limits.acceleration);
        seen.jerk = std::max(seen.jerk, std::abs(s.derivative(3)) / limits.jerk);
        seen.lowest = std::min(seen.lowest, s.derivative(1) / limits.velocity);
    };
    int const samples = 400;
    for (int i = 0; i <= samples; ++i)
        note(profile.at(T::variable(profile.duration() * i / samples)));
    // A break is a time rounded to one unit in the last place; what moves on while that time passes is no
    // jump.
    double const ulp = epsilon * profile.duration();
    double const allowed[3] = {epsilon * distance + ulp * limits.velocity,
                               epsilon * limits.velocity + ulp * limits.acceleration,
                               epsilon * limits.acceleration + ulp * limits.jerk};
    for (double const b : profile.breaks()) {
        auto const left = profile.at(T::variable(std::nextafter(b, -1.0)));
        auto const right = profile.at(T::variable(b));
        note(left);
        note(right);
        for (int k = 0; k <= 2; ++k)
            seen.jump = std::max(seen.jump, std::abs(left.derivative(k) - right.derivative(k)) / allowed[k]);
    }
    return seen;
}

} // namespace

TEST_CASE("least times from rest to rest with unit limits") {
    // L. Biagiotti, C. Melchiorri, "Trajectory Planning for Automatic Machines and Robots", Springer 2008,
    // section 3.4 (from memory); D = 1 and D = 0.1 are 4·cbrt(D/2), computed apart with ten digits.
    RateLimits const unit{1, 1, 1};
    CHECK(std::abs(Profile(2, unit).duration() - 4) <= 4 * epsilon);
    CHECK(std::abs(Profile(1, unit).duration() - 3.1748021039) <= 0.6e-10);
    CHECK(std::abs(Profile(0.1, unit).duration() - 1.4736125995) <= 0.6e-10);
    CHECK(std::abs(Profile(5, unit).duration() - 7) <= 8 * epsilon); // 3 m at full speed more
}

TEST_CASE("with a jerk that hardly limits, the least times of the trapezoid") {
    // D/v + v/a with a cruise, 2·sqrt(D/a) without (ordinary textbook formulas; from memory), and a/j = 1e-8
    // s a ramp more.
    double const jerk = 1e9;
    CHECK(std::abs(Profile(30, {10, 10, jerk}).duration() - 4) <= 2e-8);
    CHECK(std::abs(Profile(10, {5, 10, jerk}).duration() - 2.5) <= 2e-8);
    CHECK(std::abs(Profile(1, {5, 10, jerk}).duration() - 0.6324555320) <= 2e-8);
}

TEST_CASE("from rest to rest, within limits, smooth, and in the least time") {
    Random random(621);
    int cases[4] = {};
    for (std::size_t n = 0; n < runs(2000); ++n) {
        auto const span = [&random] { return std::exp(random.uniform(-4, 4)); };
        double const distance = span();
        RateLimits const limits{span(), span(), span()};
        CAPTURE(distance);
        CAPTURE(limits.velocity);
        CAPTURE(limits.acceleration);
        CAPTURE(limits.jerk);
        Profile const profile(distance, limits);
        auto const seen = look_at(profile, distance, limits);
        double const allowed = 1 + 50 * epsilon; // a root and some dozen sums
        CHECK(seen.velocity <= allowed);
        CHECK(seen.acceleration <= allowed);
        CHECK(seen.jerk <= allowed);
        CHECK(seen.lowest >= -50 * epsilon); // it never goes back
        CHECK(seen.jump <= 20);              // a few roundings a piece, seven pieces
        auto const start = profile.at(T::variable(0.0));
        CHECK(start.value() == 0);
        CHECK(start.derivative(1) == 0);
        CHECK(start.derivative(2) == 0);
        auto const end = profile.at(T::variable(profile.duration()));
        CHECK(end.value() == distance);
        CHECK(end.derivative(1) == 0);
        CHECK(std::abs(profile.duration() - least_time(distance, limits)) <=
              50 * epsilon * profile.duration());
        bool const full_speed = seen.velocity > 1 - 1e-9, full_acceleration = seen.acceleration > 1 - 1e-9;
        ++cases[(full_speed ? 2 : 0) + (full_acceleration ? 1 : 0)];
        // Breaks increase, so that they can be knots.
        auto const breaks = profile.breaks();
        for (std::size_t i = 1; i < breaks.size(); ++i)
            CHECK(breaks[i - 1] < breaks[i]);
    }
    for (int const count : cases)
        CHECK(count > 10); // every combination of limits was met
}

TEST_CASE("limits that are reached exactly make no pieces of rounding") {
    for (double const f : {1.0, 0.1, 3.0, 1e-3, 0.7}) {
        CAPTURE(f);
        for (Profile const& profile :
             {Profile(2 * f, {f, f, f}), Profile(f, {f, f, f}), Profile(0.1 * f, {f, f, f})}) {
            auto const breaks = profile.breaks();
            CHECK(breaks.front() == 0);
            CHECK(breaks.back() == profile.duration());
            for (std::size_t i = 1; i < breaks.size(); ++i)
                CHECK(breaks[i] - breaks[i - 1] > 1e-12 * profile.duration());
        }
    }
}

TEST_CASE("symmetry: the second half is the first half backwards") {
    Profile const profile(0.8, {0.5, 2, 15});
    double const end = profile.duration();
    for (int i = 0; i <= 50; ++i) {
        double const t = end * i / 50;
        CHECK(std::abs(profile.at(t) + profile.at(end - t) - 0.8) <= 20 * epsilon);
    }
}

TEST_CASE("before and after it rests") {
    Profile const profile(0.8, {0.5, 2, 15});
    for (double const t : {-1e9, -1.0, -1e-12}) {
        auto const s = profile.at(T::variable(t));
        for (int k = 0; k <= 3; ++k)
            CHECK(s.derivative(k) == 0);
    }
    for (double const t : {profile.duration() + 1e-12, 100.0, 1e9}) {
        auto const s = profile.at(T::variable(t));
        CHECK(s.value() == 0.8);
        for (int k = 1; k <= 3; ++k)
            CHECK(s.derivative(k) == 0);
    }
}

TEST_CASE("no way takes no time") {
    Profile const profile(0, {1, 1, 1});
    CHECK(profile.duration() == 0);
    CHECK(profile.at(-1.0) == 0);
    CHECK(profile.at(1.0) == 0);
    CHECK(is_finite(profile.at(T::variable(0.0))));
}

TEST_CASE("the same move in other units takes the same time") {
    RateLimits const metres{0.5, 2, 15};
    for (double const f : {1e3, 1e-3, 1e9, 1e-12, 0x1p-60, 0x1p150, 0x1p-300}) {
        CAPTURE(f);
        Profile const in_metres(0.8, metres);
        Profile const scaled(0.8 * f, {0.5 * f, 2 * f, 15 * f});
        CHECK(std::abs(scaled.duration() - in_metres.duration()) <= 20 * epsilon * in_metres.duration());
        CHECK(std::abs(scaled.at(0.7) / f - in_metres.at(0.7)) <= 50 * epsilon);
    }
}

TEST_CASE("what cannot be driven is refused, and the message says what was given") {
    double const bad = std::numeric_limits<double>::quiet_NaN();
    double const infinite = std::numeric_limits<double>::infinity();
    CHECK(message_of(-1, {1, 1, 1}).find("-1") != std::string::npos);
    CHECK_FALSE(message_of(bad, {1, 1, 1}).empty());
    CHECK_FALSE(message_of(infinite, {1, 1, 1}).empty());
    for (double const limit : {0.0, -2.0, bad, infinite}) {
        CAPTURE(limit);
        CHECK_FALSE(message_of(1, {limit, 1, 1}).empty());
        CHECK_FALSE(message_of(1, {1, limit, 1}).empty());
        CHECK_FALSE(message_of(1, {1, 1, limit}).empty());
    }
    CHECK(message_of(1, {1e-9, -2e-9, 1}).find("1e-09") != std::string::npos);
    CHECK(message_of(1, {1, 1, 1}).empty());
}

TEST_CASE("asking does not touch the heap") {
    Profile const profile(0.8, {0.5, 2, 15});
    AllocationGuard guard;
    auto const s = profile.at(T::variable(0.3));
    CHECK(guard.count() == 0);
    CHECK(s.value() > 0);
}
