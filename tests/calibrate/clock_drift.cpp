#include "seamhold/calibrate/clock_drift.hpp"

#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

/// Offsets over a shift of eight hours, unevenly, as a straight line has them, with normal errors.
std::vector<OffsetReading> shift_of(Random& random, std::size_t count, double offset, double rate,
                                    double noise, double stated = 0) {
    std::vector<OffsetReading> readings;
    for (std::size_t i = 0; i < count; ++i) {
        double const t =
            28800 * (static_cast<double>(i) + random.uniform(-0.3, 0.3)) / static_cast<double>(count);
        readings.push_back({{t}, offset + rate * t + noise * random.normal(), stated});
    }
    return readings;
}

std::size_t named(ClockDrift const& drift) {
    return drift.steps.size() +
           static_cast<std::size_t>(std::count(drift.outlier.begin(), drift.outlier.end(), true));
}

} // namespace

TEST_CASE("clock drift: worked by hand") {
    // 0, 100, 200 µs and 500, 600, 700 µs at 0, 1000, 2000 and 3000, 4000, 5000 s: 0.1 µs a second = 0.1 ppm
    // times a million, 360 ms an hour, and a step of 200 µs after the third.
    std::vector<OffsetReading> readings;
    for (int i = 0; i < 6; ++i)
        readings.push_back({{1000.0 * i}, 1e-4 * i + (i >= 3 ? 2e-4 : 0)});
    auto const drift = clock_drift(readings);
    CHECK(std::abs(drift.parts_per_million() - 0.1) < 1e-9);
    CHECK(std::abs(drift.microseconds_per_hour() - 360) < 1e-6);
    REQUIRE(drift.steps.size() == 1);
    CHECK(drift.steps[0].after == 2);
    CHECK(std::abs(drift.steps[0].size.value - 2e-4) < 1e-15);
    CHECK(drift.steps[0].confirmed);
    CHECK(std::abs(drift.at({6000}) - 8e-4) < 1e-15);
    CHECK(std::abs(drift.map().robot_at({6000}).seconds - 6000.0008) < 1e-9);

    // Two runs with one slope, by hand: x = 0, 1, 2 | 3, 4, 5, y = 0, 1, 1 | 10, 11, 13 (ms, 1 s apart).
    // Within the runs Sxx = 2 + 2, Sxy = 1 + 3, slope 1; the squares about it 2/3 − 1 + 14/3 + ... :
    // residuals (1/3, 1/3, −2/3) and (−1/3, −1/3, 2/3): 4/3, three degrees. Run means 2/3 at 1 and 34/3 at 4:
    // the step is 32/3 − 3 = 23/3, with variance s² (1/3 + 1/3 + 9/4).
    std::vector<OffsetReading> const two{{{0}, 0},     {{1}, 1e-3},  {{2}, 1e-3},
                                         {{3}, 10e-3}, {{4}, 11e-3}, {{5}, 13e-3}};
    ClockDriftOptions loose;
    loose.false_alarm = 0.5;
    auto const by_hand = clock_drift(two, loose);
    double const s = std::sqrt(4.0 / 9) * 1e-3;
    REQUIRE(by_hand.steps.size() == 1);
    CHECK(std::abs(by_hand.rate.value - 1e-3) < 1e-16);
    CHECK(std::abs(by_hand.rate.deviation - s / 2) < 1e-16);
    CHECK(by_hand.rate.degrees_of_freedom == 3);
    CHECK(std::abs(by_hand.steps[0].size.value - 23e-3 / 3) < 1e-16);
    CHECK(std::abs(by_hand.steps[0].size.deviation - s * std::sqrt(2.0 / 3 + 9.0 / 4)) < 1e-16);
    // The line since the step: 34/3 ms at 4 s, so 40/3 at 6 s, known to s √(1/3 + 4/4).
    CHECK(std::abs(by_hand.at({6}) - 40e-3 / 3) < 1e-15);
    CHECK(std::abs(by_hand.line.deviation_at(6) - s * std::sqrt(4.0 / 3)) < 1e-15);
}

TEST_CASE("clock drift: clean readings give the truth in 1000 shifts, steps and all") {
    Random random(811);
    double worst = 0, worst_rate = 0, worst_step = 0;
    std::size_t found = 0, wanted = 0, false_ones = 0;
    for (std::size_t run = 0; run < runs(1000); ++run) {
        double const offset = random.uniform(-0.02, 0.02), rate = random.uniform(-50e-6, 50e-6);
        auto readings = shift_of(random, 8 + random.index(8), offset, rate, 0);
        std::size_t const n = readings.size();
        bool const set = run % 2 == 1; // the clock is set once, two readings or more from either end
        std::size_t const after = 1 + random.index(n - 3);
        double const size = (random.unit() < 0.5 ? -1 : 1) * random.uniform(0.001, 0.1);
        for (std::size_t i = after + 1; set && i < n; ++i)
            readings[i].offset += size;
        auto const drift = clock_drift(readings);
        worst_rate = std::max(worst_rate, std::abs(drift.rate.value - rate));
        double const later = 40000;
        worst = std::max(worst, std::abs(drift.at({later}) - (offset + rate * later + (set ? size : 0))));
        wanted += set ? 1 : 0;
        if (set && drift.steps.size() == 1 && drift.steps[0].after == after) {
            ++found;
            worst_step = std::max(worst_step, std::abs(drift.steps[0].size.value - size));
        }
        false_ones += named(drift) - (set ? 1 : 0);
    }
    CHECK(found == wanted);
    CHECK(false_ones == 0);
    CHECK(worst < 1e-13); // offsets of up to 2 s to their last place, 2e-16, ahead by half a shift
    CHECK(worst_rate < 1e-17);
    CHECK(worst_step < 1e-13);
}

TEST_CASE("clock drift: rate, band, prediction and exit cover as often as they say") {
    Random random(812);
    std::size_t const trials = runs(2000);
    std::size_t rate_in = 0, line_in = 0, next_in = 0, exit_in = 0, bent = 0, alarms = 0;
    double const offset = 1e-4, rate = 8e-9, noise = 5e-6;
    Bounds const tolerance{-5e-4, 5e-4};
    double const leaves = (tolerance.high - offset) / rate; // 50 000 s
    for (std::size_t i = 0; i < trials; ++i) {
        auto const drift = clock_drift(shift_of(random, 12, offset, rate, noise));
        rate_in += drift.rate.bounds().contains(rate) ? 1 : 0;
        line_in += drift.confidence({36000}).contains(offset + rate * 36000) ? 1 : 0;
        next_in +=
            drift.prediction({36000}).contains(offset + rate * 36000 + noise * random.normal()) ? 1 : 0;
        exit_in += drift.leaves(tolerance).between.contains(leaves) ? 1 : 0;
        bent += drift.bend < 0.05 ? 1 : 0;
        alarms += named(drift) > 0 ? 1 : 0;
    }
    for (std::size_t const count : {rate_in, line_in, next_in, exit_in}) {
        double const share = static_cast<double>(count) / static_cast<double>(trials);
        CHECK(share > 0.93);
        CHECK(share < 0.97);
    }
    CHECK(static_cast<double>(bent) / static_cast<double>(trials) > 0.03);
    CHECK(static_cast<double>(bent) / static_cast<double>(trials) < 0.07);
    CHECK(static_cast<double>(alarms) / static_cast<double>(trials) < 0.02); // 0.01 was asked for
}

TEST_CASE(
    "clock drift: with the slope known to be steep and a tolerance, the next measurement is early enough") {
    Random random(813);
    Bounds const tolerance{-1e-3, 1e-3};
    std::size_t late = 0;
    std::size_t const trials = runs(1000);
    for (std::size_t i = 0; i < trials; ++i) {
        double const rate = random.uniform(10e-9, 33e-9) * (random.unit() < 0.5 ? -1 : 1);
        auto const drift = clock_drift(shift_of(random, 10, 0, rate, 4e-6));
        double const truth = 1e-3 / std::abs(rate);
        auto const exit = drift.leaves(tolerance);
        REQUIRE(exit.place);
        late += drift.measure_again(tolerance).seconds > truth ? 1 : 0;
        CHECK(drift.measure_again(tolerance).seconds <= exit.place->seconds);
        CHECK(std::abs(exit.place->seconds / truth - 1) < 0.1);
    }
    CHECK(static_cast<double>(late) / static_cast<double>(trials) < 0.04); // half of 5 % on this side
}

TEST_CASE("clock drift: out already, level, and nothing known") {
    // Level readings without scatter never leave.
    auto const level = clock_drift({{{0}, 1e-4}, {{1000}, 1e-4}, {{2000}, 1e-4}, {{3000}, 1e-4}});
    auto const never = level.leaves({-2e-4, 2e-4});
    CHECK(!never.place);
    CHECK(never.between.low == std::numeric_limits<double>::infinity());
    // Already out.
    auto const out = level.leaves({-2e-5, 2e-5});
    REQUIRE(out.place);
    CHECK(out.place->seconds == 3000);
    CHECK(out.between.high == 3000);
    // Scatter that hides the slope: it may leave on either side at some time, and nothing bounds it.
    auto const vague = clock_drift({{{0}, 1e-4}, {{1000}, -1e-4}, {{2000}, 1e-4}, {{3000}, -0.9e-4}});
    auto const some_time = vague.leaves({-2e-3, 2e-3});
    CHECK(some_time.between.low > 3000);
    CHECK(some_time.between.low < 30000);
    CHECK(some_time.between.high == std::numeric_limits<double>::infinity());
    CHECK(has(refusal_of([&] { return vague.leaves({1e-4, -1e-4}); }), "below its high end"));
}

TEST_CASE("clock drift: steps in noise, single readings that stand apart, and a clock that warms up") {
    Random random(814);
    std::size_t right = 0, single = 0, warm = 0, both = 0, last_told = 0;
    std::size_t const trials = runs(100);
    for (std::size_t i = 0; i < trials; ++i) {
        double const rate = random.uniform(-5e-9, 5e-9);
        auto const clean = shift_of(random, 12, 2e-3, rate, 5e-6);
        auto stepped = clean;
        std::size_t const after = 2 + random.index(7);
        for (std::size_t k = after + 1; k < 12; ++k)
            stepped[k].offset += 2e-4;
        auto const drift = clock_drift(stepped);
        right += drift.steps.size() == 1 && drift.steps[0].after == after && drift.steps[0].confirmed ? 1 : 0;

        auto strayed = clean; // one gross error in ten
        std::size_t const wrong = 1 + random.index(10);
        strayed[wrong].offset += 5e-3;
        auto const with = clock_drift(strayed);
        if (with.outlier[wrong] && named(with) == 1) {
            ++single;
            auto rest = strayed;
            rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(wrong));
            CHECK(std::abs(with.rate.value - clock_drift(rest).rate.value) < 1e-18);
        }

        auto last = clean; // at the end it may be a step: said to be not confirmed
        last[11].offset += 5e-3;
        auto const at_end = clock_drift(last);
        last_told +=
            at_end.steps.size() == 1 && at_end.steps[0].after == 10 && !at_end.steps[0].confirmed ? 1 : 0;

        auto twice = clean; // set and set back
        for (std::size_t k = 4; k < 9; ++k)
            twice[k].offset += 3e-4;
        auto const back = clock_drift(twice);
        both += back.steps.size() == 2 && back.steps[0].after == 3 && back.steps[1].after == 8 ? 1 : 0;

        auto bend = clean; // 200 µs within the first hours
        for (auto& r : bend)
            r.offset += 4e-4 * std::exp(-r.time.seconds / 20000);
        auto const warming = clock_drift(bend);
        warm += named(warming) == 0 && warming.bend < 0.01 ? 1 : 0;
    }
    double const n = static_cast<double>(trials);
    CHECK(static_cast<double>(right) > 0.95 * n);
    CHECK(static_cast<double>(single) > 0.95 * n);
    CHECK(static_cast<double>(last_told) > 0.95 * n);
    CHECK(static_cast<double>(both) > 0.95 * n);
    CHECK(static_cast<double>(warm) > 0.9 * n);
}

TEST_CASE("clock drift: stated deviations weigh, and what is refused") {
    // Two sure readings and a vague one: the weights are 1/σ². Slope by hand of weights 1, 1, 1/4 at 0, 1, 2
    // with y = 0, 1, 0 (ms): mean x (1 + 1/2) / 2.25 = 2/3, mean y 4/9; Sxx = 4/9 + 1/9 + (1/4)(16/9) = 1,
    // Sxy = 1 − 2.25 · (2/3)(4/9) = 1/3.
    auto const fit = clock_drift({{{0}, 0, 1e-3}, {{1}, 1e-3, 1e-3}, {{2}, 0, 2e-3}});
    CHECK(std::abs(fit.rate.value - 1e-3 / 3) < 1e-18);

    auto const said = [](std::vector<OffsetReading> const& readings) {
        return refusal_of([&] { return clock_drift(readings); });
    };
    CHECK(has(said({{{0}, 0}, {{1}, 0}}), "given 2"));
    CHECK(has(said({{{0}, 0}, {{2}, 0}, {{1}, 0}}), "reading 3 is not later"));
    CHECK(has(said({{{0}, 0}, {{2}, 0}, {{2}, 0}}), "reading 3 is not later"));
    CHECK(has(said({{{0}, 0}, {{1}, NAN}, {{2}, 0}}), "reading 2"));
    CHECK(has(said({{{0}, 0, 1e-6}, {{1}, 0}, {{2}, 0, 1e-6}}), "for all readings or for none"));
}
