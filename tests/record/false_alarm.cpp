#include "seamhold/record/false_alarm.hpp"

#include "record/slow_noise.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// The mean over `reach` cells to each side, as far as there are any.
void smooth_over(std::span<double> values, std::size_t reach) {
    std::vector<double> const before(values.begin(), values.end());
    for (std::size_t i = 0; i < before.size(); ++i) {
        std::size_t const from = i > reach ? i - reach : 0, to = std::min(before.size(), i + reach + 1);
        double sum = 0;
        for (std::size_t k = from; k < to; ++k)
            sum += before[k];
        values[i] = sum / static_cast<double>(to - from);
    }
}

// What is learnt of parts: means and deviations from sums, smoothed or not.
struct Learnt {
    SlowNoise law;
    std::size_t reach;
    ResidualSpectrum spectrum;
    std::vector<double> sum, squares, mean, deviation;
    std::uint64_t parts = 0;

    Learnt(SlowNoise const& of, std::size_t smoothed)
        : law(of), reach(smoothed), spectrum(of.channels, of.cells), sum(of.channels * of.cells),
          squares(sum), mean(sum), deviation(sum) {}

    // About the true mean, so that nothing is lost.
    void learn(std::vector<double> const& readings) {
        double const n = static_cast<double>(++parts);
        std::vector<double> departures, deviations;
        for (std::size_t k = 0; k < readings.size(); ++k) {
            double const middle = SlowNoise::mean(k % law.cells), x = readings[k] - middle;
            departures.push_back(n > 1 ? x - sum[k] / (n - 1) : x);
            sum[k] += x;
            squares[k] += x * x;
            double const variance = n > 1 ? (squares[k] - sum[k] * sum[k] / n) / (n - 1) : 0;
            deviations.push_back(std::sqrt(variance));
            mean[k] = middle + sum[k] / n;
            deviation[k] = variance;
        }
        spectrum.add(departures, deviations, parts);
        for (std::size_t c = 0; c < law.channels; ++c)
            smooth_over({deviation.data() + c * law.cells, law.cells}, reach);
        for (double& d : deviation)
            d = std::sqrt(d);
    }

    BandBasis basis() const {
        return {mean, deviation, parts,
                [r = reach](std::span<double> variances) { smooth_over(variances, r); }};
    }
};

Learnt learnt_from(SlowNoise const& law, std::size_t reach, std::size_t parts, Random& random) {
    Learnt learnt(law, reach);
    for (std::size_t j = 0; j < parts; ++j)
        learnt.learn(law.readings(law.residuals(random)));
    return learnt;
}

Cells cells_for(SlowNoise const& law) { return {1e-4 * static_cast<double>(law.cells), law.cells}; }

SignalBand band_of(Learnt const& learnt, double factor) {
    SignalBand band{{}, cells_for(learnt.law), {}, {}, factor, learnt.parts};
    for (std::size_t c = 0; c < learnt.law.channels; ++c) {
        ChannelBand channel{"light " + std::to_string(c + 1), {}, {}, {}};
        for (std::size_t i = 0; i < learnt.law.cells; ++i) {
            std::size_t const k = c * learnt.law.cells + i;
            channel.centre.push_back(learnt.mean[k]);
            channel.low.push_back(learnt.mean[k] - factor * learnt.deviation[k]);
            channel.high.push_back(learnt.mean[k] + factor * learnt.deviation[k]);
        }
        band.channels.push_back(channel);
    }
    return band;
}

// Whether a part fails, said plainly: more than `most` cells one after the other above, or below.
bool fails(SignalBand const& band, std::vector<double> const& readings, std::size_t most) {
    std::size_t k = 0;
    for (auto const& channel : band.channels) {
        std::size_t above = 0, below = 0;
        for (std::size_t i = 0; i < channel.centre.size(); ++i, ++k) {
            above = readings[k] > channel.high[i] ? above + 1 : 0;
            below = readings[k] < channel.low[i] ? below + 1 : 0;
            if (above > most || below > most)
                return true;
        }
    }
    return false;
}

JudgeRules run_of(std::size_t cells) {
    JudgeRules rules;
    rules.longest_run = 1e-4 * static_cast<double>(cells);
    return rules;
}

std::size_t failures(SignalBand const& band, SlowNoise const& law, std::size_t most, std::size_t count,
                     Random& random) {
    std::size_t failed = 0;
    for (std::size_t p = 0; p < count; ++p)
        failed += fails(band, law.readings(law.residuals(random)), most) ? 1U : 0U;
    return failed;
}

} // namespace

TEST_CASE("the rate that is seen lies in the predicted interval as often as it says: 100 000 good parts") {
    // 100 bands, each learnt from parts of its own and then held against 1000 new ones. Slow noise smoothed
    // over the melt, channels that have half of it in common, offsets of whole parts; with and without
    // smoothing.
    std::size_t const each = 1000, bands = runs(20);
    std::size_t inside = 0, total = 0;
    for (std::size_t const learn : {20U, 40U, 80U, 150U, 300U}) {
        double seen_sum = 0, predicted_sum = 0, width = 0;
        for (std::size_t b = 0; b < bands; ++b) {
            Random random(9210 + 1000 * learn + b);
            SlowNoise const law{2, 48, b % 2 == 0 ? 6U : 3U, b % 3 == 0 ? 0.0 : 0.3, 0.5};
            auto const learnt = learnt_from(law, b % 4 == 0 ? 0 : 3, learn, random);
            std::size_t const most = b % 5 == 0 ? 2 : 0;
            auto const band = band_of(learnt, most > 0 ? 2.8 : 3.2);
            AlarmOptions const options{0.9, 1920, b + 1};
            auto const alarms =
                predict_false_alarms(band, learnt.basis(), learnt.spectrum, run_of(most), options);
            double const seen = static_cast<double>(failures(band, law, most, each, random)) / each;
            inside += seen >= alarms.range.low && seen <= alarms.range.high ? 1U : 0U;
            ++total;
            seen_sum += seen;
            predicted_sum += alarms.rate;
            width += std::log(alarms.range.high / alarms.range.low) / static_cast<double>(bands);
            CHECK(alarms.range.low < alarms.rate);
            CHECK(alarms.rate < alarms.range.high);
        }
        CAPTURE(learn);
        MESSAGE("learnt from ", learn, ": seen ", seen_sum / static_cast<double>(bands), ", predicted ",
                predicted_sum / static_cast<double>(bands), ", interval × or ÷ ", std::exp(width / 2));
        // Twenty bands' mean rates: they scatter by a tenth to a fifth of themselves, few parts more.
        CHECK(predicted_sum / seen_sum == doctest::Approx(1).epsilon(learn < 40 ? 0.45 : 0.25));
        // The interval must tell something: with more parts it closes, roughly as 1/√parts.
        CHECK(std::exp(width / 2) < 1.15 + 13 / std::sqrt(static_cast<double>(learn)));
    }
    MESSAGE("inside ", inside, " of ", total, " at level 0.9");
    // 4 deviations of a count of 90 in 100. It may be more: with few parts intervals are on the wide side.
    double const n = static_cast<double>(total);
    CHECK(static_cast<double>(inside) > 0.9 * n - 4 * std::sqrt(0.09 * n));
}

TEST_CASE("the factor for whole parts covers what was asked with the confidence that was asked") {
    std::size_t const bands = runs(30), each = 1000;
    for (std::size_t const learn : {15U, 60U}) {
        std::size_t covered = 0, tighter = 0;
        for (std::size_t b = 0; b < bands; ++b) {
            Random random(9310 + 1000 * learn + b);
            SlowNoise const law{2, 48, 4, 0.3, 0.5};
            auto const learnt = learnt_from(law, 3, learn, random);
            std::size_t const most = b % 2 == 0 ? 0 : 2;
            BandWish const wish{LimitRule::whole_part, 0.95, 0.9};
            double const factor = whole_part_factor(wish, learnt.basis(), learnt.spectrum, cells_for(law),
                                                    run_of(most), {0.95, 1920, b + 1});
            auto const wide = band_of(learnt, factor), narrow = band_of(learnt, factor * 0.8);
            std::size_t failed = 0, failed_narrow = 0;
            for (std::size_t p = 0; p < each; ++p) {
                auto const part = law.readings(law.residuals(random));
                failed += fails(wide, part, most) ? 1U : 0U;
                failed_narrow += fails(narrow, part, most) ? 1U : 0U;
            }
            covered += failed <= each / 20 ? 1U : 0U;
            tighter += failed_narrow <= each / 20 ? 1U : 0U;
        }
        MESSAGE("learnt from ", learn, ": covered ", covered, " of ", bands, ", with 0.8 of the factor ",
                tighter);
        double const n = static_cast<double>(bands);
        CHECK(static_cast<double>(covered) > 0.9 * n - 4 * std::sqrt(0.09 * n));
        // A factor that is just wide enough: a fifth less no longer covers as often as asked.
        CHECK(static_cast<double>(tighter) < 0.75 * n);
    }
}

TEST_CASE("deviations that are smoothed along the seam are known better, and the prediction knows") {
    double seen = 0, predicted = 0, unsmoothed = 0;
    std::size_t const bands = 12, each = 500;
    for (std::size_t b = 0; b < bands; ++b) {
        Random random(9390 + b);
        SlowNoise const law{1, 60, 1, 0, 0};
        auto const learnt = learnt_from(law, 12, 12, random);
        auto const band = band_of(learnt, 3.4);
        auto basis = learnt.basis();
        AlarmOptions const options{0.9, 960, b + 1};
        predicted += predict_false_alarms(band, basis, learnt.spectrum, run_of(0), options).rate;
        basis.smooth = {};
        unsmoothed += predict_false_alarms(band, basis, learnt.spectrum, run_of(0), options).rate;
        seen += static_cast<double>(failures(band, law, 0, each, random)) / each;
    }
    MESSAGE("seen ", seen / bands, ", predicted ", predicted / bands, ", as if not smoothed ",
            unsmoothed / bands);
    // Twelve bands' mean rates scatter by some seventh of themselves.
    CHECK(predicted / seen == doctest::Approx(1).epsilon(0.4));
    CHECK(unsmoothed / seen > 1.6);
}

TEST_CASE("a 99 % band of each cell rejects nearly every good part of 1000 cells, which is predicted") {
    Random random(941);
    SlowNoise const law{1, 1000, 1, 0, 0};
    auto const learnt = learnt_from(law, 10, 100, random);
    auto const band = band_of(learnt, 2.576); // normal, two-sided 99 %: any table
    std::size_t const failed = failures(band, law, 0, 300, random);
    CHECK(failed > 285);
    auto const alarms =
        predict_false_alarms(band, learnt.basis(), learnt.spectrum, run_of(0), {0.95, 480, 1});
    CHECK(alarms.rate > 0.95);
    CHECK(alarms.rate == doctest::Approx(static_cast<double>(failed) / 300).epsilon(0.05));
    // Under limits for the whole part nearly all pass.
    double const factor =
        whole_part_factor({}, learnt.basis(), learnt.spectrum, cells_for(law), run_of(0), {0.95, 480, 1});
    CHECK(failures(band_of(learnt, factor), law, 0, 300, random) <= 10); // 3 of 300 expected at the most
    CHECK(factor > 3.5);
}

TEST_CASE("limits that are no multiple of the deviation, and lie aside, are predicted as well") {
    Random random(951);
    SlowNoise const law{2, 40, 3, 0.2, 0.5};
    auto const learnt = learnt_from(law, 3, 400, random);
    SignalBand band = band_of(learnt, 4);
    for (auto& channel : band.channels)
        for (std::size_t i = 0; i < law.cells; ++i) {
            channel.centre[i] += 1;
            channel.low[i] -= 50; // never left on this side
            channel.high[i] = SlowNoise::mean(i) + 2.6 * SlowNoise::deviation(i);
        }
    auto const alarms =
        predict_false_alarms(band, learnt.basis(), learnt.spectrum, run_of(0), {0.98, 4800, 1});
    double const seen = static_cast<double>(failures(band, law, 0, 4000, random)) / 4000;
    CHECK(seen > 0.05);
    CHECK(seen > alarms.range.low);
    CHECK(seen < alarms.range.high);
    CHECK(alarms.range.high < 2.2 * alarms.range.low);
}

TEST_CASE("rare alarms are predicted beyond what was simulated") {
    // One cell, one channel, thousands of parts: the normal tails, from any table.
    Random random(961);
    SlowNoise const law{1, 1, 1, 0, 0};
    auto const learnt = learnt_from(law, 0, 3000, random);
    for (auto const& [factor, rate] :
         {std::pair(1.0, 0.3173), {2.0, 0.0455}, {3.0, 2.70e-3}, {4.0, 6.33e-5}}) {
        double const k = factor, wanted = rate;
        auto const alarms = predict_false_alarms(band_of(learnt, k), learnt.basis(), learnt.spectrum,
                                                 run_of(0), {0.95, 4800, 1});
        CAPTURE(k);
        CHECK(std::abs(std::log(alarms.rate / wanted)) < 0.05 + 0.04 * k * k);
    }
}

TEST_CASE("what is not known of the band, and of the spectrum, both widen the interval") {
    Random random(965);
    SlowNoise const law{1, 40, 3, 0.3, 0};
    auto const few = learnt_from(law, 3, 12, random), many = learnt_from(law, 3, 1500, random);
    auto const width = [&](Learnt const& spectrum_of, std::uint64_t parts) {
        auto basis = many.basis();
        basis.parts = parts;
        auto const range =
            predict_false_alarms(band_of(many, 3), basis, spectrum_of.spectrum, run_of(0), {0.9, 4800, 1})
                .range;
        return std::log(range.high / range.low);
    };
    double const nothing = width(many, 1'000'000), spectrum = width(few, 1'000'000);
    double const band = width(many, 400), less = width(many, 100);
    MESSAGE("ln(high/low): ", nothing, ", spectrum of 12 parts ", spectrum, ", band of 400 ", band,
            ", of 100 ", less);
    CHECK(nothing < 0.35); // the error of simulating alone
    CHECK(nothing > 0.05);
    CHECK(spectrum > 1.5 * nothing);
    CHECK(band > 1.5 * nothing);
    CHECK(less > 1.5 * band); // errors fall as 1/√parts: 2, less what simulating adds to both
}

TEST_CASE("a channel that never changed fails no part, and takes nothing from the others") {
    Random random(968);
    SlowNoise const law{1, 30, 3, 0.2, 0};
    auto const one = learnt_from(law, 0, 40, random);
    ResidualSpectrum spectrum(2, 30);
    Random again(968);
    Learnt two(law, 0);
    for (int j = 0; j < 40; ++j) {
        auto const before = two;
        auto const readings = law.readings(law.residuals(again));
        two.learn(readings);
        std::vector<double> departures(60), deviations(60);
        for (std::size_t i = 0; i < 30; ++i) {
            departures[i] = readings[i] - before.mean[i];
            deviations[i] = two.deviation[i];
        }
        spectrum.add(departures, deviations, two.parts);
    }
    auto basis = one.basis();
    std::vector<double> mean(one.mean), deviation(one.deviation);
    mean.resize(60, 5.0);
    deviation.resize(60, 0.1);
    basis.mean = mean;
    basis.deviation = deviation;
    auto band = band_of(one, 3);
    auto const alone = predict_false_alarms(band, one.basis(), one.spectrum, run_of(0), {0.9, 1920, 1});
    band.channels.push_back(
        {"still", std::vector<double>(30, 5.0), std::vector<double>(30, 4.9), std::vector<double>(30, 5.1)});
    auto const both = predict_false_alarms(band, basis, spectrum, run_of(0), {0.9, 1920, 1});
    CHECK(both.rate == doctest::Approx(alone.rate).epsilon(0.3)); // other random numbers
    // Outside of its band for good, it fails them all.
    for (double& low : band.channels[1].low)
        low = 5.05;
    for (double& centre : band.channels[1].centre)
        centre = 5.08;
    CHECK(predict_false_alarms(band, basis, spectrum, run_of(0), {0.9, 480, 1}).rate > 0.95);
}

TEST_CASE("readings that do not scatter normally are told, and what was seen decides") {
    Random random(971);
    SlowNoise const law{1, 50, 4, 0.2, 0};
    auto const heavy = [&] { // every tenth part scatters thrice as much
        auto part = law.residuals(random);
        double const more = random.index(10) == 0 ? 3 : 1;
        for (double& x : part)
            x *= more;
        return law.readings(part);
    };
    Learnt learnt(law, 3);
    for (int j = 0; j < 200; ++j)
        learnt.learn(heavy());
    double const factor =
        whole_part_factor({}, learnt.basis(), learnt.spectrum, cells_for(law), run_of(0), {0.95, 1920, 1});
    auto const band = band_of(learnt, factor);
    auto const alarms =
        predict_false_alarms(band, learnt.basis(), learnt.spectrum, run_of(0), {0.95, 1920, 1});
    // Fourth moment of the mixture over the square of its second: (0.9 + 0.1·81)/(0.9 + 0.1·9)² = 2.78.
    CHECK(alarms.tail_weight > 2);
    SeenShare seen{0, 0};
    for (; seen.of < 500; ++seen.of)
        seen.seen += fails(band, heavy(), 0) ? 1U : 0U;
    CHECK(alarms.contradicted_by(seen));
    CHECK_FALSE(alarms.contradicted_by({0, 0}));
    CHECK_FALSE(alarms.contradicted_by({static_cast<std::uint64_t>(alarms.rate * 500 + 0.5), 500}));
    CHECK(alarms.contradicted_by({400, 500}));
    CHECK(FalseAlarms{0.2, {0.1, 0.3}, 0.95, 1}.contradicted_by({0, 100})); // 0 to 0.036: Clopper and Pearson
    CHECK_FALSE(FalseAlarms{0.2, {0.1, 0.3}, 0.95, 1}.contradicted_by({0, 30})); // 0 to 0.116
}

TEST_CASE("the same seed gives the same answer, another one the same within its error") {
    Random random(981);
    SlowNoise const law{2, 40, 3, 0.2, 0.5};
    auto const learnt = learnt_from(law, 3, 60, random);
    auto const predict = [&](std::uint64_t seed, std::size_t paths) {
        return predict_false_alarms(band_of(learnt, 3), learnt.basis(), learnt.spectrum, run_of(0),
                                    {0.95, paths, seed});
    };
    auto const a = predict(5, 1920), b = predict(5, 1920);
    CHECK(a.rate == b.rate);
    CHECK(a.range.low == b.range.low);
    CHECK(a.range.high == b.range.high);
    auto const c = predict(6, 1920);
    CHECK(a.rate != c.rate);
    CHECK(a.rate == doctest::Approx(c.rate).epsilon(0.3));
    // The wanted factor answers to coverage and confidence, and a longer run allowed asks for less.
    auto const factor = [&](double coverage, double confidence, std::size_t most) {
        return whole_part_factor({LimitRule::whole_part, coverage, confidence}, learnt.basis(),
                                 learnt.spectrum, cells_for(law), run_of(most), {0.95, 1920, 5});
    };
    CHECK(factor(0.99, 0.9, 0) > factor(0.9, 0.9, 0));
    CHECK(factor(0.9, 0.99, 0) > factor(0.9, 0.5, 0));
    CHECK(factor(0.9, 0.9, 3) < factor(0.9, 0.9, 0));
    CHECK(factor(0.2, 0.9, 0) < factor(0.5, 0.9, 0));
}

TEST_CASE("the prediction refuses what it cannot tell") {
    Random random(991);
    SlowNoise const law{1, 10, 2, 0.2, 0};
    auto const learnt = learnt_from(law, 1, 12, random);
    auto const refuse = [&](auto const& change) {
        auto band = band_of(learnt, 3);
        auto now = learnt;
        AlarmOptions options{0.95, 480, 1};
        change(band, now, options);
        return refusal_of(
            [&] { return predict_false_alarms(band, now.basis(), now.spectrum, run_of(0), options); });
    };
    CHECK(refuse([](auto&, auto&, auto&) {}).empty());
    CHECK(has(refuse([](auto& band, auto&, auto&) { band.channels[0].low[4] = 1e9; }), "cell number 5"));
    CHECK(has(refuse([](auto& band, auto&, auto&) {
                  band.channels[0].high[2] = std::numeric_limits<double>::infinity();
              }),
              "cell number 3"));
    CHECK(has(refuse([](auto& band, auto&, auto&) { band.channels[0].high.pop_back(); }), "cell number 10"));
    CHECK(has(refuse([](auto& band, auto&, auto&) { band.channels.push_back(band.channels[0]); }),
              "10, 10 and 20"));
    CHECK(has(refuse([](auto& band, auto&, auto&) { band.cells.count = 20; }), "given with 20"));
    CHECK(has(refuse([](auto&, auto& now, auto&) { now.parts = 4; }), "from 5 good parts on; learnt were 4"));
    CHECK(has(refuse([&](auto&, auto& now, auto&) { now.spectrum = ResidualSpectrum(1, 10); }),
              "from 5 good parts on; learnt were 1"));
    CHECK(has(refuse([](auto&, auto& now, auto&) { now.deviation[7] = 0; }), "channel 1, cell 8"));
    CHECK(has(refuse([](auto&, auto&, auto& options) { options.level = 1; }), "level"));
    CHECK(has(refuse([](auto&, auto&, auto& options) { options.paths = 100; }), "480"));
    // The greatest of 192 is their share 192/193, and the ends of an interval hold 191/193 between them.
    CHECK(refuse([](auto&, auto&, auto& options) { options.level = 0.9896; }).empty());
    CHECK(has(refuse([](auto&, auto&, auto& options) { options.level = 0.9897; }),
              "192 simulated truths, which tell one up to 0.9896; given was 0.9897"));
    auto const sure = [&](double confidence) {
        return refusal_of([&] {
            return whole_part_factor({LimitRule::whole_part, 0.9, confidence}, learnt.basis(),
                                     learnt.spectrum, cells_for(law), run_of(0), {0.95, 480, 1});
        });
    };
    CHECK(sure(0.9948).empty());
    CHECK(has(sure(0.9949), "192 simulated truths, which tell one up to 0.9948; given was 0.9949"));
    CHECK(has(sure(0.9949), "ask for less confidence, and for more coverage"));
    for (double const bad : {0.0, 1.0})
        CHECK(has(refusal_of([&] {
                      return whole_part_factor({LimitRule::whole_part, bad, 0.9}, learnt.basis(),
                                               learnt.spectrum, cells_for(law), run_of(0));
                  }),
                  "between 0 and 1"));
    CHECK(has(refusal_of([&] {
                  return whole_part_factor({}, learnt.basis(), learnt.spectrum, cells_for(law), run_of(10));
              }),
              "stricter rules"));
}
