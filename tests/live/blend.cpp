#include "seamhold/live/blend.hpp"

#include <doctest/doctest.h>

#include "support/allocation_guard.hpp"
#include "support/numbers.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

using namespace seamhold;
using namespace seamhold::test;

namespace {

using T2 = Taylor<double, 2>;

BlendBounds const mirror{5, 5000, 0.0005, 1};

T2 difference(double value, double rate, double second_rate) {
    T2 d(value);
    d.coefficient[1] = rate;
    d.coefficient[2] = second_rate / 2;
    return d;
}

Blend alone(double start, T2 const& d, BlendBounds const& bounds) {
    return Blend::from(start, d, bounds, Blend::duration_for(d, bounds));
}

T2 at(Blend const& blend, double t) { return blend.at(T2::variable(t)); }

// Uniform or, every third time, many sizes below that.
double start_within(Random& random, double bound) {
    double const x = random.uniform(-bound, bound);
    return random.index(3) == 0 ? x * std::pow(10.0, random.uniform(-6, 0)) : x;
}

} // namespace

TEST_CASE("a blend starts with the difference and its rates, and ends with none") {
    Random random(611);
    double start = 0, end = 0;
    for (std::size_t i = 0; i < runs(20000); ++i) {
        double const t = random.uniform(0, 100);
        auto const d =
            difference(start_within(random, 0.01), start_within(random, 5), start_within(random, 5000));
        auto const blend = alone(t, d, mirror);
        double const sizes[] = {0.01, 5, 5000};
        auto const first = at(blend, t);
        // Short of its end by so little that only the third derivative is left, up to 60 sizes / duration³.
        double const T = blend.end() - t, short_of = 1e-9;
        auto const last = at(blend, blend.end() - short_of);
        for (int k = 0; k < 3; ++k) {
            start = std::max(start, std::abs(first.derivative(k) - d.derivative(k)) / sizes[k]);
            double const jerk = 60 * (std::abs(d.derivative(0)) / (T * T * T) +
                                      std::abs(d.derivative(1)) / (T * T) + std::abs(d.derivative(2)) / T);
            end = std::max(end, std::abs(last.derivative(k)) /
                                    (jerk * std::pow(short_of, 3 - k) + 1e-9 * sizes[k]));
        }
        for (double const after : {blend.end(), blend.end() + 1e-12, blend.end() + 1e6}) {
            CHECK(blend.at(after) == 0);
            for (double const c : at(blend, after).coefficient)
                CHECK(c == 0);
        }
    }
    CHECK(start <= 1e-10); // the second derivative is summed from terms of 20 · 0.01 / 0.0005²
    CHECK(end <= 1);
}

TEST_CASE("between, it has no jump in value, rate and second rate, also where its brief part ends") {
    // A large acceleration with much to blend: the velocity it may add asks for a brief part of its own.
    auto const blend = alone(0, difference(0.05, 0, 4000), mirror);
    CHECK(blend.end() > 0.03);
    double const step = blend.end() / 20000;
    T2 last = at(blend, 0);
    double worst = 0;
    for (int i = 1; i <= 20000; ++i) {
        auto const now = at(blend, step * i);
        // Taylor's remainders: the third derivative is below 60 · 0.05 / duration³ + 9 · 4000 / the brief
        // part's duration, which is (5/2) / (0.068 · 4000).
        double const third = 3 / std::pow(blend.end(), 3) + 36000 / (2.5 / (0.068 * 4000));
        for (int k = 0; k < 3; ++k) {
            double predicted = 0, power = 1;
            for (int j = k; j < 3; ++j) {
                predicted += last.derivative(j) * power;
                power *= step / (j - k + 1);
            }
            worst =
                std::max(worst, std::abs(now.derivative(k) - predicted) /
                                    (third * std::pow(step, 3 - k) + 1e-12 * std::abs(predicted) + 1e-13));
        }
        last = now;
    }
    CHECK(worst <= 1);
}

TEST_CASE("the derivatives are those of the value, to any order") {
    auto const blend = alone(2, difference(0.003, -0.4, 900), mirror);
    double worst = 0;
    for (int i = 1; i < 50; ++i) {
        double const t = 2 + (blend.end() - 2) * i / 50, h = 1e-6;
        auto const series = blend.at(Taylor<double, 4>::variable(t));
        for (int k = 0; k < 4; ++k) {
            auto const after = blend.at(Taylor<double, 4>::variable(t + h)),
                       before = blend.at(Taylor<double, 4>::variable(t - h));
            double const slope = (after.derivative(k) - before.derivative(k)) / (2 * h);
            worst = std::max(worst, std::abs(slope - series.derivative(k + 1)) /
                                        (0.003 * 720 / std::pow(blend.end() - 2, k + 1)));
        }
        CHECK(near(blend.at(t), series.value(), 1e-13));
    }
    CHECK(worst <= 1e-5); // h² against the duration's square, and rounding over h
}

TEST_CASE(
    "the bounds hold for any start that is within three quarters of them, and a quarter above otherwise") {
    Random random(612);
    double velocity = 0, acceleration = 0, closest = 0;
    for (std::size_t i = 0; i < runs(100000); ++i) {
        BlendBounds const bounds{std::pow(10.0, random.uniform(-1, 2)), std::pow(10.0, random.uniform(1, 5)),
                                 1e-4, 1e6};
        double const v = start_within(random, 1.5 * bounds.velocity),
                     a = start_within(random, 1.5 * bounds.acceleration);
        auto const blend = alone(0, difference(start_within(random, 0.1), v, a), bounds);
        double const allowed_v = std::max(bounds.velocity, std::abs(v) + bounds.velocity / 4);
        double const allowed_a = std::max(bounds.acceleration, std::abs(a) + bounds.acceleration / 4);
        for (int k = 0; k <= 40; ++k) {
            // Half the places close to the start, where a brief part is.
            double const share = k / 40.0;
            double const t = blend.end() * (k % 2 == 0 ? share : share * share * share);
            auto const now = at(blend, t);
            velocity = std::max(velocity, std::abs(now.derivative(1)) / allowed_v);
            acceleration = std::max(acceleration, std::abs(now.derivative(2)) / allowed_a);
        }
        closest = std::max(closest, blend.end());
    }
    MESSAGE("1e5 random starts: at most " << velocity << " of the velocity and " << acceleration
                                          << " of the acceleration allowed");
    CHECK(velocity <= 1 + 1e-9);
    CHECK(acceleration <= 1 + 1e-9);
    CHECK(velocity > 0.9); // and they are used
    CHECK(acceleration > 0.9);
}

TEST_CASE("the peaks that the bounds rest on") {
    // Each start alone, in the time it takes: by a fine search, apart from the formulas in the header.
    struct {
        T2 d;
        double velocity, acceleration; ///< expected peaks
    } const cases[] = {{difference(1, 0, 0), 15.0 / 8, 10 / std::sqrt(3.0)},
                       {difference(0, 1, 0), 1, 3.9404},
                       {difference(0, 0, 1), 0.067787, 1}};
    for (auto const& c : cases) {
        auto const blend = Blend::from(0, c.d, {100, 100, 1, 1}, 1);
        double velocity = 0, acceleration = 0;
        for (int i = 0; i <= 100000; ++i) {
            auto const now = at(blend, i * 1e-5);
            velocity = std::max(velocity, std::abs(now.derivative(1)));
            acceleration = std::max(acceleration, std::abs(now.derivative(2)));
        }
        CHECK(near(velocity, c.velocity, 1e-3));
        CHECK(near(acceleration, c.acceleration, 1e-4));
    }
}

TEST_CASE("durations: never below the least; the longest is kept even where a bound is not") {
    BlendBounds const bounds{5, 5000, 0.002, 0.004};
    CHECK(Blend::duration_for(difference(1e-9, 0, 0), bounds) == 0.002);
    CHECK(Blend::duration_for(difference(0.1, 0, 0), bounds) == 0.004);
    // From rest with the velocity as bound, half of which is for this: 15/8 · p / T = 2.5; with the
    // acceleration, all of it: 10/√3 p / T² = 5000.
    CHECK(near(Blend::duration_for(difference(0.004, 0, 0), bounds), 15.0 / 8 * 0.004 / 2.5, 1e-12));
    CHECK(near(Blend::duration_for(difference(0.01, 0, 0), {1000, 5000, 1e-6, 1}),
               std::sqrt(10 / std::sqrt(3.0) * 0.01 / 5000), 1e-4));
}

TEST_CASE("over any number of new starts the sum of command and blend does not jump") {
    // Two axes and a focus follow a course; at uneven times the course is replaced by another one. What is
    // commanded is course + blend.
    Random random(613);
    std::array<BlendBounds, 3> const bounds{mirror, mirror, BlendBounds{0.2, 100, 0.0005, 1}};
    struct Course {
        double about = 0;
        std::array<T2, 3> c;
        T2 at(std::size_t axis, T2 const& t) const {
            T2 const x = t - about;
            return (x * c[axis].coefficient[2] + c[axis].coefficient[1]) * x + c[axis].coefficient[0];
        }
    };
    auto const course = [&random](double about) {
        Course made{about, {}};
        double const sizes[] = {1e-3, 1e-3, 2e-5};
        for (std::size_t axis = 0; axis < 3; ++axis)
            made.c[axis] =
                difference(0.1 + sizes[axis] * random.normal(), sizes[axis] * 200 * random.normal(),
                           sizes[axis] * 40000 * random.normal());
        return made;
    };
    Course now = course(0);
    std::array<Blend, 3> blends{};
    double jump[3] = {};
    std::size_t running = 0;
    for (std::size_t i = 0; i < runs(2000); ++i) {
        double const t = 0.0013 * static_cast<double>(i + 1) + random.uniform(0, 0.001);
        T2 const time = T2::variable(t);
        Course const next = course(t);
        std::array<T2, 3> before, change;
        for (std::size_t axis = 0; axis < 3; ++axis) {
            before[axis] = now.at(axis, time) + blends[axis].at(time);
            change[axis] = before[axis] - next.at(axis, time);
        }
        running += t < blends[0].end() ? 1U : 0U;
        blends = blend_together(t, change, bounds);
        now = next;
        CHECK(blends[0].end() == blends[1].end());
        CHECK(blends[0].end() == blends[2].end());
        for (std::size_t axis = 0; axis < 3; ++axis) {
            auto const after = now.at(axis, time) + blends[axis].at(time);
            for (int k = 0; k < 3; ++k)
                jump[k] = std::max(jump[k], std::abs(after.derivative(k) - before[axis].derivative(k)));
        }
    }
    CHECK(running > runs(1000));
    CHECK(jump[0] <= 1e-15); // last bits of 0.1 and of what makes the rates: 6 · 0.01 / T, 20 · 0.01 / T²
    CHECK(jump[1] <= 1e-12);
    CHECK(jump[2] <= 1e-8);
}

TEST_CASE("nothing to blend, and what is not finite") {
    CHECK(Blend{}.at(3.0) == 0);
    CHECK(Blend{}.end() == -infinity);
    auto const none = alone(1, T2(0.0), mirror);
    CHECK(none.at(1.0001) == 0);
    for (double const bad : {not_a_number, infinity})
        for (int k = 0; k < 3; ++k) {
            T2 d(0.001);
            d.coefficient[k] = bad;
            auto const blend = alone(1, d, mirror);
            CHECK_FALSE(is_finite(blend.at(1.0001)));
            CHECK_FALSE(is_finite(blend.at(T2::variable(9.0))));
        }
    CHECK(has(refusal_of([] { return BlendBounds{0, 1, 1, 1}.checked(); }), "must be above 0"));
    CHECK(has(refusal_of([] { return BlendBounds{1, not_a_number, 1, 1}.checked(); }), "must be above 0"));
    CHECK(has(refusal_of([] { return BlendBounds{1, 1, 0, 1}.checked(); }), "0 < least <= longest"));
    CHECK(has(refusal_of([] { return BlendBounds{1, 1, 2, 1}.checked(); }), "0 < least <= longest"));
    CHECK(mirror.checked().velocity == 5);
}

TEST_CASE("a blend does not touch the heap") {
    AllocationGuard const guard;
    auto const blends = blend_together<3>(0, {T2(1e-3), T2(2e-3), T2(1e-5)}, {mirror, mirror, mirror});
    double const sum = blends[0].at(0.001) + at(blends[2], 0.001).value();
    auto const count = guard.count();
    CHECK(count == 0);
    CHECK(sum > 0);
}
