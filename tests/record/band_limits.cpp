#include "seamhold/record/band_limits.hpp"

#include "record/good_parts.hpp"
#include "seamhold/record/band_learner.hpp"
#include "seamhold/record/judge.hpp"
#include "seamhold/record/uneven_scatter.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using test::GoodParts;
using test::GoodSignal;
using test::has;
using test::learnt;
using test::Random;
using test::refusal_of;
using test::runs;

namespace {

LearnOptions smoothing(double length) {
    LearnOptions options;
    options.smoothing = length;
    return options;
}

// The share of a normal quantity between two limits.
double share_between(double low, double high, double mean, double deviation) {
    auto const below = [&](double x) {
        return 0.5 * std::erfc((mean - x) / deviation / std::numbers::sqrt2);
    };
    return below(high) - below(low);
}

// How often bands learnt from so many parts hold the wished share at a cell, over many bands.
double confidence_seen(GoodParts const& seam, std::size_t parts, LearnOptions const& options,
                       BandWish const& wish, std::size_t cell, std::size_t bands, Random& random) {
    std::size_t held = 0;
    for (std::size_t b = 0; b < bands; ++b) {
        auto const band = learnt(seam, seam.parts(random, parts), options).band(wish);
        auto const& limits = band.channels[0];
        double const share =
            share_between(limits.low[cell], limits.high[cell], seam.mean(0, cell), seam.deviation(0, cell));
        held += share >= wish.coverage ? 1 : 0;
    }
    return static_cast<double>(held) / static_cast<double>(bands);
}

} // namespace

TEST_CASE("normal limits are mean and factor times deviation, by a published factor") {
    GoodParts const seam{{0.01, 20}, {{}}};
    Random random(941);
    auto const parts = seam.parts(random, 10);
    auto const band = learnt(seam, parts, smoothing(0)).band({LimitRule::normal, 0.99, 0.95});
    // Two-sided, n = 10, coverage 0.99, confidence 0.95: 4.437 in ISO 16269-6:2014, table D (from memory),
    // and 4.433 by Howe's formula in NIST/SEMATECH e-Handbook 7.2.6.3.
    CHECK(band.factor == doctest::Approx(4.435).epsilon(0.001));
    CHECK(band.parts == 10);
    CHECK(band.channels[0].name == "signal 1");
    for (std::size_t i = 0; i < 20; ++i) {
        double mean = 0, squares = 0;
        for (auto const& part : parts)
            mean += part.traces[0].value[i] / 10;
        for (auto const& part : parts)
            squares += std::pow(part.traces[0].value[i] - mean, 2);
        double const reach = band.factor * std::sqrt(squares / 9);
        CHECK(band.channels[0].centre[i] == doctest::Approx(mean));
        CHECK(band.channels[0].low[i] == doctest::Approx(mean - reach));
        CHECK(band.channels[0].high[i] == doctest::Approx(mean + reach));
    }
}

TEST_CASE("smoothing along the seam averages the variances over its length and leaves the centre alone") {
    GoodParts const seam{{0.01, 20}, {{}}}; // cells of 0.5 mm
    Random random(942);
    auto const parts = seam.parts(random, 12);
    auto const own = learnt(seam, parts, smoothing(0));
    auto const smooth = learnt(seam, parts, smoothing(2.5e-3)); // five cells
    auto const alone = own.deviations(0), averaged = smooth.deviations(0);
    for (std::size_t i = 2; i < 18; ++i) {
        double sum = 0;
        for (std::size_t k = i - 2; k <= i + 2; ++k)
            sum += alone[k] * alone[k] / 5;
        CHECK(averaged[i] == doctest::Approx(std::sqrt(sum)));
    }
    CHECK(averaged[0] == doctest::Approx(std::sqrt(
                             (std::pow(alone[0], 2) + std::pow(alone[1], 2) + std::pow(alone[2], 2)) / 3)));
    BandWish const wish{LimitRule::normal, 0.95, 0.9};
    CHECK(own.band(wish).channels[0].centre == smooth.band(wish).channels[0].centre);
    CHECK(own.band(wish).factor == smooth.band(wish).factor); // smoothing does not lower it
}

TEST_CASE("bands hold what they should as often as they say") {
    // At one cell in the middle; alone, and smoothed over eleven cells of even scatter that are not alike,
    // alike in part, and all the same.
    BandWish const wish{LimitRule::normal, 0.9, 0.8};
    Random random(943);
    std::size_t const bands = runs(500);
    double const error = std::sqrt(0.8 * 0.2 / static_cast<double>(bands));
    for (std::size_t const parts : {3U, 8U, 20U}) {
        CAPTURE(parts);
        for (double const shared : {0.0, 0.5, 1.0}) {
            CAPTURE(shared);
            GoodSignal signal;
            signal.shared = shared;
            signal.likeness = 0.5;
            GoodParts const seam{{0.0055, 11}, {signal}};
            double const alone = confidence_seen(seam, parts, smoothing(0), wish, 5, bands, random);
            CHECK(std::abs(alone - 0.8) < 4 * error);
            double const smoothed = confidence_seen(seam, parts, smoothing(5.5e-3), wish, 5, bands, random);
            CHECK(smoothed > 0.8 - 4 * error);
            if (shared == 1)
                CHECK(smoothed < 0.8 + 4 * error); // nothing is gained where all cells are alike
        }
    }
}

TEST_CASE(
    "where the scatter changes over less than the smoothing, coverage is lost there, and that is found") {
    GoodSignal signal;
    signal.wild_from = 0.45;
    signal.wild_to = 0.55; // one cell of eleven with five times the scatter
    GoodParts const seam{{0.0055, 11}, {signal}};
    BandWish const wish{LimitRule::normal, 0.9, 0.8};
    Random random(944);
    CHECK(confidence_seen(seam, 50, smoothing(0), wish, 5, 200, random) > 0.7);
    CHECK(confidence_seen(seam, 50, smoothing(5.5e-3), wish, 5, 200, random) < 0.05);
    auto const found = uneven_scatter(learnt(seam, seam.parts(random, 50), smoothing(5.5e-3)).state());
    REQUIRE(found.size() == 1);
    CHECK(found[0].channel == 0);
    CHECK(found[0].from == doctest::Approx(0.0025));
    CHECK(found[0].to == doctest::Approx(0.003));
    CHECK(found[0].ratio == doctest::Approx(std::sqrt(25.0 / (35.0 / 11))).epsilon(0.1));
    // Nothing is hidden where nothing is smoothed.
    CHECK(uneven_scatter(learnt(seam, seam.parts(random, 50), smoothing(0)).state()).empty());
}

TEST_CASE("even scatter is seldom called uneven") {
    for (double const shared : {0.0, 0.6}) {
        GoodSignal signal;
        signal.shared = shared;
        signal.likeness = shared;
        GoodParts const seam{{0.01, 40}, {signal, signal}};
        Random random(945);
        std::size_t called = 0;
        std::size_t const tries = runs(400);
        for (std::size_t i = 0; i < tries; ++i)
            called +=
                uneven_scatter(learnt(seam, seam.parts(random, 12), smoothing(2e-3)).state(), 0.05).empty()
                    ? 0
                    : 1;
        CAPTURE(shared);
        CHECK(static_cast<double>(called) / static_cast<double>(tries) <
              0.05 + 4 * std::sqrt(0.05 / static_cast<double>(tries)));
    }
}

TEST_CASE("scatter is uneven from a published quantile of F on") {
    // Two cells, eleven parts: ten degrees of freedom each, and half of 0.05 for each cell. F(10, 10) is
    // above 3.717 with a probability of 0.025 (NIST/SEMATECH e-Handbook 1.3.6.7.3 and its like; from memory).
    GoodParts const seam{{0.001, 2}, {{}}};
    Random random(952);
    auto parts = seam.parts(random, 11);
    auto const found_at = [&](double ratio) {
        for (auto& part : parts)
            part.traces[0].value[1] = std::sqrt(ratio) * part.traces[0].value[0];
        return uneven_scatter(learnt(seam, parts, smoothing(1.5e-3)).state(), 0.05).size();
    };
    CHECK(found_at(3.70) == 0);
    CHECK(found_at(3.73) == 1);
}

TEST_CASE("distribution-free limits are readings that were seen") {
    GoodParts const seam{{0.01, 10}, {{}}};
    Random random(946);
    auto const parts = seam.parts(random, 300);
    LearnOptions options;
    options.kept_extremes = 2;
    auto const learner = learnt(seam, parts, options);
    // n = 93 parts hold 95 % with 95 % between least and greatest, 473 hold 99 %: published sample sizes, for
    // instance NIST/SEMATECH e-Handbook 7.2.6.4 (from memory). Two readings more may go a side from 181 on
    // (four ranks; the binomial distribution by hand: P(fewer than 4 of 181 outside 5 %) = 0.0496).
    auto const band = learner.band({LimitRule::distribution_free, 0.95, 0.95});
    auto const wide = learner.band({LimitRule::distribution_free, 0.98, 0.95});
    CHECK(band.factor == 0);
    for (std::size_t i = 0; i < 10; ++i) {
        std::vector<double> readings;
        for (auto const& part : parts)
            readings.push_back(part.traces[0].value[i]);
        std::sort(readings.begin(), readings.end());
        CHECK(band.channels[0].low[i] == readings[1]); // more could be cut off, but only two are kept
        CHECK(band.channels[0].high[i] == readings[298]);
        CHECK(wide.channels[0].low[i] == readings[0]);
        CHECK(wide.channels[0].high[i] == readings[299]);
    }
    options.kept_extremes = 0;
    CHECK(has(refusal_of([&] {
                  return learnt(seam, parts, options).band({LimitRule::distribution_free, 0.95, 0.95});
              }),
              "none are kept"));
}

TEST_CASE("distribution-free limits hold what they should for readings that are not normal") {
    // Exponential readings: the share between two limits is known.
    GoodParts const seam{{0.01, 1}, {{}}};
    Random random(947);
    std::size_t held = 0;
    std::size_t const bands = runs(1000);
    for (std::size_t b = 0; b < bands; ++b) {
        auto parts = seam.parts(random, 30);
        for (auto& part : parts)
            part.traces[0].value[0] = -std::log1p(-random.unit());
        auto const band = learnt(seam, parts).band({LimitRule::distribution_free, 0.9, 0.8});
        held += std::exp(-band.channels[0].low[0]) - std::exp(-band.channels[0].high[0]) >= 0.9 ? 1 : 0;
    }
    // Least and greatest of thirty: 1 − 30 · 0.9^29 · 0.1 − 0.9^30 = 0.8163.
    double const share = static_cast<double>(held) / static_cast<double>(bands);
    CHECK(std::abs(share - 0.8163) < 4 * std::sqrt(0.8163 * 0.1837 / static_cast<double>(bands)));
}

TEST_CASE("the mean of readings with a far one cut off does not leave the limits") {
    GoodParts const seam{{0.01, 1}, {{}}};
    Random random(948);
    auto parts = seam.parts(random, 100);
    parts[50].traces[0].value[0] = 1e6;
    auto const band = learnt(seam, parts).band({LimitRule::distribution_free, 0.8, 0.9});
    CHECK(band.channels[0].high[0] < 100);
    CHECK(band.channels[0].low[0] < band.channels[0].centre[0]);
    CHECK(band.channels[0].centre[0] < band.channels[0].high[0]);
}

TEST_CASE("too few parts: how many are missing") {
    CHECK(good_parts_needed({LimitRule::normal, 0.99, 0.95}) == 2);
    CHECK(good_parts_needed({LimitRule::whole_part, 0.99, 0.95}) == least_whole_parts);
    CHECK(good_parts_needed({LimitRule::distribution_free, 0.95, 0.95}) == 93);
    CHECK(good_parts_needed({LimitRule::distribution_free, 0.99, 0.95}) == 473);
    GoodParts const seam{{0.01, 10}, {{}}};
    Random random(949);
    auto const learner = learnt(seam, seam.parts(random, 9));
    CHECK(refusal_of([&] {
              return learner.band({LimitRule::distribution_free, 0.99, 0.95});
          }) == "limits (distribution-free, each cell) for a coverage of 0.99 with a confidence of 0.95 of "
                "seam lid 3 "
                "need 473 good parts; 9 were learnt, 464 are missing");
    CHECK(has(refusal_of([&] { return learner.band(); }), "need 10 good parts; 9 were learnt, 1 is missing"));
    CHECK(has(refusal_of([&] { return learnt(seam, seam.parts(random, 1)).band({LimitRule::normal}); }),
              "need 2 good parts; 1 was learnt, 1 is missing"));
    CHECK(has(refusal_of([&] { return learnt(seam, {}).deviations(0); }), "2 are missing"));
    CHECK(has(refusal_of([&] { return learner.deviations(1); }), "has 1 channels; asked for was number 2"));
    CHECK(has(refusal_of([&] { return learner.band({LimitRule::normal, 1, 0.95}); }), "coverage"));
    CHECK(has(refusal_of([&] { return learner.band({LimitRule::normal, 0.9, 0}); }), "confidence"));
    CHECK(has(refusal_of([&] {
                  return good_parts_needed({LimitRule::whole_part, 0.99, 0.999});
              }),
              "up to 0.9948"));
    CHECK(good_parts_needed({LimitRule::normal, 0.99, 0.999}) == 2);
    CHECK(has(refusal_of([&] { return learner.false_alarms(learner.band({LimitRule::normal})); }),
              "1 is missing"));
    auto other = learner.band({LimitRule::normal});
    other.key.seam = "lid 4";
    CHECK(has(refusal_of([&] { return learner.false_alarms(other); }), "lid 4"));
}

TEST_CASE("no band is drawn where nothing scatters") {
    GoodParts const seam{{0.01, 10}, {{}, {}}};
    Random random(950);
    auto parts = seam.parts(random, 100);
    for (auto& part : parts)
        std::fill(part.traces[1].value.begin() + 4, part.traces[1].value.end(), 7.0);
    LearnOptions options = smoothing(0);
    auto const learner = learnt(seam, parts, options);
    for (LimitRule const rule : {LimitRule::normal, LimitRule::distribution_free, LimitRule::whole_part})
        CHECK(has(refusal_of([&] {
                      return learner.band({rule, 0.9, 0.9});
                  }),
                  "channel signal 2 at 4.5 mm was the same in all 100 good parts"));
    options.least_deviation = {0, 0.01};
    auto const band = learnt(seam, parts, options).band({LimitRule::normal, 0.9, 0.9});
    CHECK(band.channels[1].high[7] == doctest::Approx(7 + 0.01 * band.factor));
}

TEST_CASE("a band for the whole part gains by smoothing what its deviations gain") {
    // Cells that are not alike: smoothed over eleven of them, deviations from twelve parts are known about as
    // well as from a hundred, and the factor comes down towards that of many parts.
    GoodSignal signal;
    signal.shared = 0;
    signal.likeness = 0;
    GoodParts const seam{{0.02, 60}, {signal}};
    Random random(953);
    auto const parts = seam.parts(random, 12);
    BandWish const wish{LimitRule::whole_part, 0.9, 0.9};
    double const alone = learnt(seam, parts, smoothing(0)).band(wish).factor;
    double const smoothed = learnt(seam, parts, smoothing(11.0 / 3 * 1e-3)).band(wish).factor;
    CHECK(smoothed < 0.8 * alone);
}

TEST_CASE("a band for the whole part passes the wished share of good parts") {
    GoodParts const seam{{0.02, 60}, {{}, {}}};
    Random random(951);
    JudgeRules rules;
    rules.longest_run = 1e-3;
    BandWish const wish{LimitRule::whole_part, 0.9, 0.9};
    std::size_t const parts = 500;
    for (std::size_t b = 0; b < runs(3); ++b) {
        auto const learner = learnt(seam, seam.parts(random, 40));
        auto const band = learner.band(wish, rules);
        std::size_t passed = 0;
        for (std::size_t i = 0; i < parts; ++i)
            passed += judge(band, seam.part(random, i)).judgement == Judgement::good ? 1 : 0;
        // Nine in ten bands pass nine in ten parts or more; five in a hundred less is beyond what 40 parts
        // miss. For each cell alone at this coverage two in three parts would fail.
        CHECK(passed > parts * 85 / 100);
        CHECK(passed < parts);
        auto const predicted = learner.false_alarms(band);
        CHECK(predicted.rate < 0.1);
        CHECK(predicted.rate > 0.001);
        std::size_t pointwise = 0;
        auto const narrow = learner.band({LimitRule::normal, 0.9, 0.9}, rules);
        for (std::size_t i = 0; i < parts; ++i)
            pointwise += judge(narrow, seam.part(random, i), rules).judgement == Judgement::good ? 1 : 0;
        CHECK(pointwise + parts / 20 < passed);
    }
}

// Drawn for runs of 1 mm, limits are so narrow that nearly all good parts fail where no cell may lie outside.
TEST_CASE("a band judges by the rules that it was drawn for, and limits for the whole part by no others") {
    GoodParts const seam{{0.02, 60}, {{}}};
    Random random(954);
    auto const learner = learnt(seam, seam.parts(random, 20));
    JudgeRules rules;
    rules.longest_run = 1e-3;
    auto const whole = learner.band({LimitRule::whole_part, 0.9, 0.9}, rules);
    CHECK(whole.rules == rules);
    auto part = seam.part(random, 0);
    part.traces[0].value = whole.channels[0].centre;
    part.traces[0].value[7] = 1e3; // a cell of a third of a millimetre
    CHECK(judge(whole, part).judgement == Judgement::good);
    CHECK(judge(whole, part, rules).judgement == Judgement::good);
    CHECK(passing_factor(whole, part) == passing_factor(whole, part, rules));
    CHECK(passing_factor(whole, part) < 1e-12);

    JudgeRules const other{{}, 0.1, 2e-3, 0.75, 1e-3};
    std::string const words =
        "the limits of seam " + seam.key.seam +
        " are for the whole part and were drawn for other rules of the judge (longest run, m: 0.001 there, "
        "none here, share outside: none there, 0.1 here, area outside, half widths times m: none there, "
        "0.002 here, least covered: 0.5 there, 0.75 here, longest unseen, m: 0 there, 0.001 here); judge by "
        "the band's own rules, or draw it for these";
    CHECK(refusal_of([&] { return judge(whole, part, other); }) == words);
    CHECK(refusal_of([&] { return passing_factor(whole, part, other); }) == words);
    CHECK(refusal_of([&] { return learner.false_alarms(whole, other); }) == words);
    CHECK(has(refusal_of([&] { return judge(whole, part, {}); }),
              "(longest run, m: 0.001 there, 0 here); judge by"));

    auto const cell = learner.band({LimitRule::normal, 0.9, 0.9}, rules);
    CHECK(judge(cell, part).judgement == Judgement::good);
    CHECK(judge(cell, part, {}).judgement == Judgement::not_good);
    CHECK(passing_factor(cell, part) < 1e-12);
    CHECK(passing_factor(cell, part, {}) > 1);
    CHECK(learner.false_alarms(cell).rate < learner.false_alarms(cell, JudgeRules{}).rate);
    CHECK(has(refusal_of([&] {
                  return learner.band({LimitRule::normal}, {{}, {}, {}, 0.5, 0});
              }),
              "no rule"));
}
