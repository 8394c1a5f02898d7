#include "seamhold/limit/heating.hpp"

#include "seamhold/number/taylor.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

namespace {

using namespace seamhold;
using namespace seamhold::test;

/// Where the squared acceleration of one step really came in.
enum class Came { evenly, at_once };

/// Steps of random lengths and sizes, from a random time, with bounds about what really came in.
struct Steps {
    std::vector<SquareStep> bounds;
    std::vector<double> real; ///< rad²/s³
    std::vector<double> when; ///< for what came in at once, s
    Came came;

    Steps(Random& random, Came how) : came(how) {
        double t = random.uniform(-2, 5);
        std::size_t const count = 1 + random.index(60);
        for (std::size_t i = 0; i < count; ++i) {
            double const length = 1e-3 * std::pow(10, random.uniform(-1, 1));
            double const size = random.unit() < 0.3 ? 0 : std::pow(10, random.uniform(-2, 2));
            double const off = random.unit() < 0.5 ? 0 : 0.01 * size;
            bounds.push_back({t, t + length, {size - off * random.unit(), size + off * random.unit()}});
            real.push_back(size);
            when.push_back(random.uniform(t, t + length));
            t += length;
        }
    }

    double start() const { return bounds.front().from; }
    double end() const { return bounds.back().to; }

    /// What came in until t.
    double until(double t) const {
        double sum = 0;
        for (std::size_t i = 0; i < real.size(); ++i) {
            auto const& b = bounds[i];
            if (came == Came::at_once)
                sum += when[i] <= t ? real[i] : 0;
            else
                sum += real[i] * std::clamp((t - b.from) / (b.to - b.from), 0.0, 1.0);
        }
        return sum;
    }

    /// The largest mean over a window by looking at every window that may have it: such a window starts or
    /// ends where the rate changes.
    double largest(double window) const {
        std::vector<double> places = when;
        for (auto const& b : bounds) {
            places.push_back(b.from);
            places.push_back(b.to);
        }
        double most = 0;
        for (double const p : places)
            for (double from : {p - 1e-13, p - window}) {
                from = std::clamp(from, start(), std::max(start(), end() - window));
                most = std::max(most, until(from + window) - until(from));
            }
        return most / window;
    }
};

std::vector<SquareStep> constant_steps(double acceleration, double from, double to, int count) {
    std::vector<SquareStep> steps;
    for (int i = 0; i < count; ++i) {
        double const a = from + (to - from) * i / count, b = from + (to - from) * (i + 1) / count;
        steps.push_back({a, b, acceleration * acceleration * (b - a)});
    }
    return steps;
}

/// After the steps of another, or with a pause of nothing before.
void then(std::vector<SquareStep>& steps, double acceleration, double lasts, int count) {
    double const from = steps.empty() ? 0 : steps.back().to;
    for (auto const& s : constant_steps(acceleration, from, from + lasts, count))
        steps.push_back(s);
}

} // namespace

TEST_CASE("the largest mean lies between its bounds, however it comes in within a step") {
    Random random(0x4ea7);
    std::size_t above = 0, below = 0;
    for (std::size_t run = 0; run < runs(2000); ++run) {
        Steps const steps(random, random.unit() < 0.5 ? Came::evenly : Came::at_once);
        double const all = steps.end() - steps.start();
        double const asked = random.unit() < 0.2 ? 0 : all * std::pow(10, random.uniform(-2, 0.3));
        auto const found = largest_mean(steps.bounds, asked);
        double const window = asked > 0 && asked < all ? asked : all;
        double const root = std::sqrt(steps.largest(window));
        above += root > found.root.high * (1 + 1e-12);
        below += root < found.root.low * (1 - 1e-12);
        if (found.root.low > 0) { // the window that is named has it
            double const mean =
                (steps.until(found.end_time + 1e-13) - steps.until(found.end_time - window - 1e-13)) / window;
            below += std::sqrt(mean) < found.root.low * (1 - 1e-9);
        }
    }
    CHECK(above == 0);
    CHECK(below == 0);
}

TEST_CASE("means in closed form") {
    // A constant has its own size over any window; bounds lie two steps' share of the window apart.
    auto const steps = constant_steps(3000, 1.5, 2.5, 1000);
    for (double const window : {0.0, 0.03, 0.5, 1.0, 7.0}) {
        auto const mean = largest_mean(steps, window);
        double const share = window > 0 && window < 1 ? 1e-3 / window : 0;
        CHECK(mean.root.contains(3000));
        CHECK(mean.root.high <= 3000 * (1 + share) + 1e-6); // √(1 + 2 share)
        CHECK(mean.root.low >= 3000 * (1 - 1.1 * share) - 1e-6);
    }
    // A pulse of 10 ms in a window of 40 ms, and of 100 ms.
    for (double const lasts : {0.01, 0.1}) {
        std::vector<SquareStep> pulse;
        then(pulse, 0, 0.2, 800);
        then(pulse, 8000, lasts, 400);
        then(pulse, 0, 0.3, 1200);
        auto const mean = largest_mean(pulse, 0.04);
        double const root = lasts < 0.04 ? 8000 * std::sqrt(lasts / 0.04) : 8000;
        CHECK(mean.root.contains(root));
        CHECK(mean.root.high < root * 1.01);
        CHECK(mean.root.low > root * 0.99);
        // The window ends after the pulse has come in, and before it goes out again.
        CHECK(mean.end_time >= 0.2 + std::min(lasts, 0.04) - 1e-3);
        CHECK(mean.end_time <= 0.2 + std::max(lasts, 0.04) + 1e-3);
    }
    // Where the window is 0 it is all: the pulse over its 0.51 s.
    std::vector<SquareStep> pulse;
    then(pulse, 8000, 0.01, 10);
    then(pulse, 0, 0.5, 10);
    CHECK(largest_mean(pulse, 0).root.contains(8000 * std::sqrt(0.01 / 0.51)));
    CHECK(largest_mean(pulse, 0).end_time == doctest::Approx(0.51));
    // Nothing at all, and bounds that are open.
    CHECK(largest_mean({}, 0.1).root.high == 0);
    auto const open = largest_mean({{0, 1, {4, 16}}}, 0);
    CHECK(open.root.low == doctest::Approx(2));
    CHECK(open.root.high == doctest::Approx(4));
}

TEST_CASE("an enclosed acceleration as steps: its integral and its lengths") {
    // x = A sin(w t): ∫ x″² = A² w⁴ (t/2 − sin(2wt)/(4w)).
    double const size = 0.02, w = 2 * std::acos(-1.0) * 30;
    auto const until = [&](double t) {
        return size * size * std::pow(w, 4) * (t / 2 - std::sin(2 * w * t) / (4 * w));
    };
    using T = Taylor<Interval, 6>;
    TimeSpan const span{0.0031, 0.0056};
    auto const motion = [&](Interval const& t) { return T(sin_cos(T(T::variable(t) * w)).sin * size); };
    auto const e = enclosed<2>(motion(Interval(span.middle())), motion(Interval(span.from, span.to)), span);
    for (double const longest : {1.0, 1e-3, 1e-4}) {
        std::vector<SquareStep> steps;
        detail::add_square_steps(steps, e, span, longest);
        CHECK(steps.size() == (longest == 1.0 ? 1 : longest == 1e-3 ? 4 : 32));
        CHECK(steps.front().from == span.from);
        CHECK(steps.back().to == span.to);
        double open = 0;
        for (std::size_t i = 0; i < steps.size(); ++i) {
            auto const& s = steps[i];
            double const exact = until(s.to) - until(s.from);
            CHECK(s.to - s.from <= longest);
            CHECK((i == 0 || steps[i - 1].to == s.from));
            CHECK(s.square.low <= exact * (1 + 1e-11));
            CHECK(s.square.high >= exact * (1 - 1e-11));
            CHECK(s.square.low >= 0);
            open += s.square.high - s.square.low;
        }
        CHECK(open < 0.02 * (until(span.to) - until(span.from)));
    }
    // No more than so many halvings.
    std::vector<SquareStep> steps;
    detail::add_square_steps(steps, e, span, 1e-9, 3);
    CHECK(steps.size() == 8);
}

TEST_CASE("a motor's heat under a constant acceleration: 1 − exp(−t / time constant)") {
    double const time_constant = 3, input = 2e7;
    for (double const start : {0.0, 5e7}) {
        MotorHeat heat(time_constant, start);
        heat.forget_peak();
        for (auto const& step : constant_steps(std::sqrt(input), 10, 12, 500)) {
            heat.add(step);
            double const left = std::exp(-(step.to - 10) / time_constant);
            double const exact = input + (start - input) * left;
            CHECK(heat.excess().low <= exact * (1 + 1e-12));
            CHECK(heat.excess().high >= exact * (1 - 1e-12));
            CHECK(heat.peak().low <= std::max(start, exact) * (1 + 1e-12));
            CHECK(heat.peak().high >= std::max(start, exact) * (1 - 1e-12));
        }
        // Steps of 4 ms in 3 s: known to their share, and what comes in within one.
        CHECK(heat.excess().high - heat.excess().low < 2e-3 * input);
        CHECK(heat.peak().high - heat.peak().low < 4e-3 * input);
    }
    // After a long time it is what comes in, whatever it was.
    MotorHeat heat(0.1, Interval(0, 1e9));
    for (auto const& step : constant_steps(2000, 0, 5, 5000))
        heat.add(step);
    CHECK(heat.excess().contains(4e6));
    CHECK(heat.excess().high < 4e6 * 1.011);
    heat.forget_peak();
    CHECK(heat.peak().high == heat.excess().high);
    // By a length that is only known between bounds.
    MotorHeat cools(2, 100.0);
    cools.add(Interval(1, 3), Interval(0));
    CHECK(cools.excess().contains(100 * std::exp(-0.5)));
    CHECK(cools.excess().contains(100 * std::exp(-1.5)));
    CHECK(!cools.excess().contains(100 * std::exp(-0.4)));
}

TEST_CASE("a motor's heat under pulses, repeated until it comes back to itself") {
    // On for 0.2 s, off for 0.3 s, time constant 0.8 s. In the steady state the excess at the end of a pulse
    // is p (1 − exp(−on)) / (1 − exp(−cycle)), at its start that times exp(−off).
    double const p = 9e6, on = 0.2, off = 0.3, time_constant = 0.8;
    double const most = p * (1 - std::exp(-on / time_constant)) / (1 - std::exp(-(on + off) / time_constant));
    std::vector<SquareStep> cycle;
    then(cycle, std::sqrt(p), on, 200);
    then(cycle, 0, off, 1);
    auto const run = [&](Interval const& start) {
        MotorHeat heat(time_constant, start);
        heat.forget_peak();
        for (auto const& step : cycle)
            heat.add(step);
        return std::pair{heat.excess(), heat.peak()};
    };
    // From nothing, so often that what was at first is gone.
    MotorHeat heat(time_constant, 0);
    for (int i = 0; i < 100; ++i) {
        heat.forget_peak();
        for (auto const& step : cycle)
            heat.add(step);
    }
    CHECK(heat.peak().contains(most));
    CHECK(heat.excess().contains(most * std::exp(-off / time_constant)));
    CHECK(heat.peak().high < 1.01 * most);
    CHECK(heat.peak().low > 0.99 * most);
    // The start that comes back to itself: what comes in from nothing, over what is not left.
    Interval const start =
        run(0).first / (Interval(1) - exp(-(Interval(on + off) / Interval(time_constant))));
    CHECK(start.contains(most * std::exp(-off / time_constant)));
    CHECK(run(start).second.contains(most));
    CHECK(run(start).second.high < 1.01 * most);
}

TEST_CASE("the quickest turn, by hand") {
    // 1 rad at 4 rad/s²: half a second up, half a second down, 2 rad/s in between; 16 rad²/s⁴ for 1 s.
    CHECK(quickest_turn_square(1, 100, 4, 10) == doctest::Approx(16));
    CHECK(quickest_turn_square(-1, 100, 4, 10) == doctest::Approx(16));
    CHECK(quickest_turn_square(1, 2.0001, 4, 10) == doctest::Approx(16));
    // At most 1 rad/s: a quarter of a second up and down; the rest of the way costs nothing.
    CHECK(quickest_turn_square(1, 1, 4, 10) == doctest::Approx(8));
    CHECK(quickest_turn_square(5, 1, 4, 10) == doctest::Approx(8));
    CHECK(quickest_turn_square(0.25, 1, 4, 10) == doctest::Approx(8)); // just reached
    // No more than the time there is.
    CHECK(quickest_turn_square(5, 1, 4, 0.25) == doctest::Approx(4));
    CHECK(quickest_turn_square(5, 1, 4, 0) == 0);
    CHECK(quickest_turn_square(5, 1, 4, -1) == 0);
    CHECK(quickest_turn_square(0, 1, 4, 1) == 0);
}
