#include "seamhold/calibrate/trend.hpp"

#include "seamhold/calibrate/window_loss.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::Random;
using seamhold::test::refusal_of;
using seamhold::test::runs;

namespace {

/// A value that starts at `start` on day 0 and drifts by `rate` a day, looked at once a day.
std::vector<DatedValue> drift(double start, double rate, int days, double deviation, Random& random,
                              double epoch = 0, double day = 1) {
    std::vector<DatedValue> values;
    for (int i = 0; i < days; ++i)
        values.push_back(
            {epoch + day * i, start + rate * i + (deviation > 0 ? deviation * random.normal() : 0.0)});
    return values;
}

} // namespace

TEST_CASE("a trend without errors leaves on the day that the line does") {
    Random random(811);
    for (std::size_t i = 0; i < runs(1000); ++i) {
        double const rate = random.uniform(0.01, 1) * (random.unit() < 0.5 ? -1 : 1);
        double const start = random.uniform(-1, 1);
        int const days = 3 + static_cast<int>(random.index(20));
        double const limit = std::abs(start) + std::abs(rate) * days + random.uniform(0.1, 5);
        auto const trend = trend_of(drift(start, rate, days, 0, random), {-limit, limit});
        auto const leaving = trend.leaving(days);
        double const day = rate > 0 ? (limit - start) / rate : (-limit - start) / rate;
        CHECK(leaving.date);
        CHECK(std::abs(*leaving.date / day - 1) < 1e-9);
        CHECK(leaving.bounded);
        CHECK(leaving.limit == (rate > 0 ? limit : -limit));
        CHECK(std::abs(leaving.dates->low / day - 1) < 1e-9);
        CHECK(std::abs(leaving.dates->high / day - 1) < 1e-9);
        CHECK(!leaving.outside_now);
    }
}

TEST_CASE("seconds since an epoch lose nothing") {
    Random random(812);
    auto const days = drift(0, 0.02, 30, 0.03, random);
    Random again(812);
    auto const seconds = drift(0, 0.02, 30, 0.03, again, 1.7e9, 86400);
    auto const a = trend_of(days, {-1, 1}).leaving(30),
               b = trend_of(seconds, {-1, 1}).leaving(1.7e9 + 30 * 86400.0);
    // The epoch's own last place is 2.4e-7 s.
    CHECK(std::abs((*b.date - 1.7e9) / 86400 - *a.date) < 1e-9);
    CHECK(std::abs((b.dates->low - 1.7e9) / 86400 - a.dates->low) < 1e-9);
    CHECK(std::abs((b.dates->high - 1.7e9) / 86400 - a.dates->high) < 1e-9);
}

TEST_CASE("the interval of the date covers the truth as often as it says") {
    // A clear trend, and one that is often not told from none: then the interval has no end.
    struct Case {
        double rate, limit;
        bool clear;
    };
    // Also one that leaves half a day after today: often the fitted line is outside already.
    for (auto const& [rate, limit, clear] :
         {Case{0.02, 0.5, true}, Case{0.02, 0.25, true}, Case{0.004, 0.25, false}}) {
        Random random(813);
        std::size_t const trials = runs(4000);
        std::size_t covered = 0, bounded = 0, wide = 0;
        double const truth = limit / rate;
        for (std::size_t i = 0; i < trials; ++i) {
            auto const trend = trend_of(drift(0, rate, 12, 0.03, random), {-limit, limit});
            auto const leaving = trend.leaving(12);
            bounded += leaving.bounded ? 1U : 0U;
            covered += leaving.dates && leaving.dates->contains(truth) ? 1U : 0U;
            auto const half = trend.leaving(12, 0.5);
            wide += half.dates && half.dates->contains(truth) ? 1U : 0U;
        }
        double const n = static_cast<double>(trials);
        CHECK(static_cast<double>(covered) / n > 0.93);
        CHECK(static_cast<double>(covered) / n < 0.97);
        if (clear) {
            CHECK(bounded > trials * 99 / 100);
            CHECK(std::abs(static_cast<double>(wide) / n - 0.5) < 0.035); // four standard deviations
        } else {
            CHECK(bounded > trials / 10);
            CHECK(bounded < trials * 9 / 10);
        }
    }
}

TEST_CASE("errors of the date fall as one over the root of the number of looks") {
    Random random(814);
    auto const error = [&random](std::size_t looks) {
        std::vector<double> all;
        for (std::size_t i = 0; i < runs(500); ++i) {
            std::vector<DatedValue> values;
            for (std::size_t k = 0; k < looks; ++k)
                values.push_back({static_cast<double>(k % 12),
                                  0.02 * static_cast<double>(k % 12) + 0.02 * random.normal()});
            all.push_back(sqr(*trend_of(values, {-1, 0.5}).leaving(12).date - 25));
        }
        double sum = 0;
        for (double const x : all)
            sum += x;
        return std::sqrt(sum / static_cast<double>(all.size()));
    };
    double const ratio = error(24) / error(24 * 4);
    CHECK(ratio > 1.75);
    CHECK(ratio < 2.3);
}

TEST_CASE("what a trend says in words") {
    Random random(815);
    auto const clear = trend_of(drift(0, 0.02, 20, 0.01, random), {-1, 1}).leaving(20);
    CHECK(has(clear.words, "leaves through 1 on"));
    CHECK(has(clear.words, "95 % between"));
    auto const none = trend_of(drift(0, 0, 20, 0.01, random), {-1, 1}).leaving(20);
    CHECK(has(none.words, "no trend is told from none"));
    CHECK(has(none.words, "no last date"));
    CHECK(none.dates->high == std::numeric_limits<double>::infinity());
    CHECK(none.dates->low > 20);
    auto const out = trend_of(drift(0, 0.1, 20, 0.01, random), {-1, 1}).leaving(20);
    CHECK(out.outside_now);
    CHECK(!out.date);
    CHECK(has(out.words, "outside now"));
    CHECK(out.limit == 1);
    // Down.
    auto const down = trend_of(drift(0, -0.02, 20, 0.01, random), {-1, 1}).leaving(20);
    CHECK(down.limit == -1);
    CHECK(down.date);
    // Back from outside towards the middle is inside again and leaves on the other side.
    auto const level = trend_of(drift(0.3, 0, 20, 0, random), {-1, 1}).leaving(20);
    CHECK((!level.date || std::abs(*level.date) > 1e9)); // as far as rounding makes a slope

    CHECK(has(refusal_of([&] { return trend_of(drift(0, 1, 20, 0, random), {1, -1}); }), "from low to high"));
    CHECK(has(refusal_of([&] { return trend_of(drift(0, 1, 2, 0, random), {-1, 1}); }), "3 points or more"));
    CHECK(has(refusal_of([&] {
                  return trend_of(drift(0, 1, 20, 0, random), {-1, 1}).leaving(3);
              }),
              "before the last"));
}

TEST_CASE("one odd day in ten does not bend a trend") {
    Random random(816);
    std::size_t named = 0;
    for (int i = 0; i < 200; ++i) {
        auto values = drift(0, 0.02, 20, 0.005, random);
        auto const odd = random.index(20);
        values[odd].value += random.unit() < 0.5 ? 0.2 : -0.2;
        values[(odd + 7) % 20].value -= 0.3;
        auto const trend = trend_of(values, {-1, 1});
        named += trend.outlier[odd] && trend.outlier[(odd + 7) % 20] ? 1U : 0U;
        CHECK(std::abs(*trend.leaving(20).date - 50) < 3.5);
    }
    CHECK(named == 200);
}

TEST_CASE("the share lost, and until when the window will do") {
    // By hand: 3880 of 4000 W; deviations 10 and 8 W: √(10² + (0.97 · 8)²) / 4000 = 0.003165.
    auto const loss = window_loss({3880, 10}, {4000, 8});
    CHECK(std::abs(loss.share.value - 0.03) < 1e-15);
    CHECK(std::abs(loss.share.deviation - std::sqrt(100 + 60.2176) / 4000) < 1e-15);
    CHECK(loss.bounds.low > 0.0237);
    CHECK(loss.bounds.high < 0.0363);
    CHECK(has(loss.words, "lost on the way: 3 %"));
    CHECK(has(window_loss({3995, 10}, {4000, 8}).words, "no loss is told from none"));
    CHECK(has(window_loss({4100, 10}, {4000, 8}).words, "gained: 2.5 %"));
    CHECK(has(refusal_of([] { return window_loss({3.88, 0.01}, {4000, 8}); }), "kilowatts"));
    CHECK(has(refusal_of([] { return window_loss({-3, 0.01}, {4000, 8}); }), "above 0"));

    Random random(817);
    std::size_t const trials = runs(2000);
    std::size_t covered = 0;
    for (std::size_t i = 0; i < trials; ++i) {
        Estimate const now{3880 + 40 * random.normal(), 40}, then{4000 + 30 * random.normal(), 30};
        covered += window_loss(now, then).bounds.contains(0.03) ? 1U : 0U;
    }
    CHECK(static_cast<double>(covered) / static_cast<double>(trials) > 0.93);
    CHECK(static_cast<double>(covered) / static_cast<double>(trials) < 0.97);

    auto const dirty = window_forecast(drift(1, -0.001, 20, 0.0005, random), 0.95, 20);
    CHECK(std::abs(*dirty.leaving.date - 50) < 3);
    CHECK(has(dirty.words, "clean or change the window before"));
    CHECK(has(dirty.words, "no permission"));
    CHECK(has(window_forecast(drift(0.96, -0.001, 20, 0.0005, random), 0.95, 20).words, "window now"));
    CHECK(has(window_forecast(drift(0.99, 0.0005, 20, 0.0005, random), 0.95, 20).words, "does not fall"));
    CHECK(has(window_forecast(drift(0.99, 0, 8, 0.002, random), 0.95, 20).words, "no date can be given"));
    CHECK(has(refusal_of([&] { return window_forecast(drift(99, 0, 8, 0, random), 0.95, 20); }), "per cent"));
    CHECK(has(refusal_of([&] { return window_forecast(drift(1, 0, 8, 0, random), 95, 20); }),
              "between 0 and 1"));
}
