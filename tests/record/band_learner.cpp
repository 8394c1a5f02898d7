#include "seamhold/record/band_learner.hpp"

#include "record/good_parts.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
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
using test::shift;

namespace {

// 20 mm in cells of 0.5 mm; two channels.
GoodParts two_signals() {
    GoodSignal first, second;
    second.mean = 40;
    second.slope = -6;
    second.deviation = 0.5;
    return {{0.02, 40}, {first, second}};
}

BandLearner fresh(GoodParts const& seam, LearnOptions const& options = {}) {
    return {seam.key, seam.cells, seam.names(), options};
}

// Whether two states are the same to the last bit.
bool same(BandState const& a, BandState const& b) {
    bool all = a.parts == b.parts && a.last_part == b.last_part && a.last_date == b.last_date &&
               a.residuals.power == b.residuals.power && a.residuals.cross == b.residuals.cross &&
               a.channels.size() == b.channels.size();
    for (std::size_t c = 0; all && c < a.channels.size(); ++c) {
        auto const &x = a.channels[c], &y = b.channels[c];
        all = x.mean == y.mean && x.squares == y.squares && x.least == y.least && x.greatest == y.greatest &&
              x.seam_mean == y.seam_mean && x.seam_squares == y.seam_squares;
    }
    return all;
}

} // namespace

TEST_CASE("mean, scatter and extremes of a thousand parts are those of a second reading of all") {
    GoodParts const seam = two_signals();
    Random random(911);
    auto const parts = seam.parts(random, 1000);
    LearnOptions options;
    options.kept_extremes = 3;
    auto const state = learnt(seam, parts, options).state();
    CHECK(state.parts == 1000);
    for (std::size_t c = 0; c < 2; ++c)
        for (std::size_t i = 0; i < 40; ++i) {
            std::vector<double> readings;
            for (auto const& part : parts)
                readings.push_back(part.traces[c].value[i]);
            long double mean = 0, squares = 0;
            for (double const x : readings)
                mean += static_cast<long double>(x) / 1000;
            for (double const x : readings)
                squares += (static_cast<long double>(x) - mean) * (static_cast<long double>(x) - mean);
            // A thousand roundings of readings that are some hundred times as large as their scatter.
            CHECK(state.channels[c].mean[i] == doctest::Approx(static_cast<double>(mean)).epsilon(1e-13));
            CHECK(state.channels[c].squares[i] ==
                  doctest::Approx(static_cast<double>(squares)).epsilon(1e-12));
            std::sort(readings.begin(), readings.end());
            for (std::size_t k = 0; k < 3; ++k) {
                CHECK(state.channels[c].least[3 * i + k] == readings[k]);
                CHECK(state.channels[c].greatest[3 * i + k] == readings[999 - k]);
            }
        }
}

TEST_CASE("one more part is learnt without the others, from what was kept, in the same memory") {
    GoodParts const seam = two_signals();
    Random random(912);
    auto const parts = seam.parts(random, 1000);
    BandLearner whole = fresh(seam);
    std::size_t after_ten = 0;
    for (std::size_t i = 0; i < parts.size(); ++i) {
        if (i == 10)
            after_ten = whole.memory();
        (void)whole.learn(parts[i], IfUnlike::take);
    }
    CHECK(static_cast<double>(whole.memory()) / static_cast<double>(after_ten) <= 1.01);
    // Two channels of forty cells: mean, squares and eight extremes a cell, and the spectrum.
    CHECK(after_ten > 2 * 40 * 10 * sizeof(double));

    BandLearner halves = fresh(seam);
    for (std::size_t i = 0; i < parts.size(); ++i) {
        if (i == 500)
            halves = BandLearner(halves.state()); // kept and read back
        (void)halves.learn(parts[i], IfUnlike::take);
    }
    CHECK(same(halves.state(), whole.state()));
}

TEST_CASE("a part that is unlike the others is named with channel and place, and not learnt") {
    GoodParts const seam = two_signals();
    Random random(913);
    BandLearner learner = learnt(seam, seam.parts(random, 30));
    BandState const before = learner.state();

    SeamTrace odd = seam.part(random, 31);
    shift(odd, 1, 0.5, 0.75, -8); // sixteen deviations from 10 to 15 mm
    Learned const refused = learner.learn(odd);
    CHECK_FALSE(refused.taken);
    CHECK(refused.reason == NotLearnt::unlike);
    REQUIRE(refused.unlike);
    CHECK(refused.unlike->channel == 1);
    CHECK(refused.unlike->side == BandSide::below);
    CHECK(refused.unlike->from == doctest::Approx(0.010));
    CHECK(refused.unlike->to == doctest::Approx(0.015));
    CHECK(refused.unlike->worst_at > 0.010);
    CHECK(refused.unlike->worst_at < 0.015);
    CHECK(refused.unlike->deviations > refused.bound);
    CHECK(refused.unlike->deviations == doctest::Approx(16).epsilon(0.3)); // 30 parts, and its own scatter
    CHECK_FALSE(refused.unlike->on_average);
    CHECK(
        has(refused.words, "part P31 is unlike the 30 other good parts of seam lid 3: channel signal 2 is "));
    CHECK(has(refused.words, " deviations below their mean from 10 to 15 mm, most at "));
    CHECK(same(learner.state(), before));

    // Looked at by somebody and taken on purpose: learnt, and still said.
    CHECK_FALSE(learner.look_at(odd).taken);
    Learned const taken = learner.learn(odd, IfUnlike::take);
    CHECK(taken.taken);
    CHECK(taken.reason == NotLearnt::unlike);
    CHECK(taken.words == refused.words);
    CHECK(learner.state().parts == 31);
}

TEST_CASE("a part that is off a little everywhere is unlike the others by its mean over the seam") {
    GoodSignal noisy;
    noisy.shared = 0;
    noisy.likeness = 0;
    GoodParts const seam{{0.04, 400}, {noisy}, 0, {}};
    Random random(914);
    BandLearner learner = learnt(seam, seam.parts(random, 40));
    SeamTrace odd = seam.part(random, 41);
    shift(odd, 0, 0, 1, 1.5); // one and a half deviations of a cell are thirty of the mean over 400
    Learned const refused = learner.learn(odd);
    REQUIRE(refused.unlike);
    CHECK(refused.unlike->on_average);
    CHECK(refused.unlike->side == BandSide::above);
    CHECK(refused.unlike->from == 0);
    CHECK(refused.unlike->to == seam.cells.length);
    CHECK(has(refused.words, "above their mean over the whole seam on average"));
}

TEST_CASE("good parts are refused no more often than stated, from the third part on") {
    // Alike along the seam and between channels or not, and with a place of five times the scatter that the
    // smoothing does not follow.
    for (double const shared : {0.0, 0.3, 1.0}) {
        GoodSignal signal;
        signal.shared = shared;
        signal.likeness = shared > 0 ? 0.8 : 0;
        signal.wild_from = 0.40;
        signal.wild_to = 0.46;
        GoodParts const seam{{0.02, 20}, {signal, signal}, shared};
        LearnOptions options;
        options.smoothing = 5e-3;
        options.false_refusal = 0.05;
        Random random(915);
        std::size_t refused = 0, tried = 0;
        for (std::size_t run = 0; run < runs(400); ++run) {
            BandLearner learner = fresh(seam, options);
            for (std::size_t i = 1; i <= 15; ++i) {
                auto const part = seam.part(random, i);
                tried += i > 2 ? 1 : 0;
                refused += learner.learn(part, IfUnlike::take).reason ? 1 : 0;
            }
        }
        double const rate = static_cast<double>(refused) / static_cast<double>(tried);
        CAPTURE(shared);
        // Four standard errors of a share of 0.05, parts of one band counted as one in three.
        CHECK(rate < 0.05 + 4 * std::sqrt(3 * 0.05 / static_cast<double>(tried)));
        // With all cells alike Bonferroni's bound is far off; else it must not be idle.
        if (shared < 1)
            CHECK(rate > 0.002);
    }
}

TEST_CASE("how far off a part is, by hand") {
    // Of 1, 2, 3 and 4 the mean is 2.5 and the variance 5/3; a fifth part of 100 is 97.5 off, by its own
    // scatter and that of the mean: 97.5 / sqrt(5/3 (1 + 1/4)) = 67.55.
    GoodParts const seam{{0.001, 1}, {{}}};
    Random random(921);
    auto parts = seam.parts(random, 5);
    for (std::size_t i = 0; i < 5; ++i)
        parts[i].traces[0].value[0] = i < 4 ? static_cast<double>(i + 1) : 100;
    BandLearner learner = learnt(seam, {parts.begin(), parts.end() - 1});
    Learned const refused = learner.learn(parts[4]);
    REQUIRE(refused.unlike);
    CHECK(refused.unlike->deviations == doctest::Approx(97.5 / std::sqrt(5.0 / 3 * 1.25)));
}

TEST_CASE("where only one cell is looked at, good parts are refused exactly as often as stated") {
    // One cell and its mean over the seam are the same number: Bonferroni's two places are one, and the rate
    // is half the stated one.
    GoodParts const seam{{0.001, 1}, {{}}};
    LearnOptions options;
    options.false_refusal = 0.2;
    Random random(922);
    for (std::size_t const before : {2U, 3U, 8U}) {
        std::size_t refused = 0;
        std::size_t const tries = runs(6000);
        for (std::size_t i = 0; i < tries; ++i) {
            auto const learner = learnt(seam, seam.parts(random, before), options);
            refused += learner.look_at(seam.part(random, 99)).taken ? 0 : 1;
        }
        CAPTURE(before);
        CHECK(std::abs(static_cast<double>(refused) / static_cast<double>(tries) - 0.1) <
              4 * std::sqrt(0.1 * 0.9 / static_cast<double>(tries)));
    }
}

TEST_CASE("a wilder stretch than the smoothing follows makes no part unlike") {
    GoodSignal signal;
    signal.wild_from = 0.45;
    signal.wild_to = 0.55;
    GoodParts const seam{{0.02, 40}, {signal}};
    LearnOptions options;
    options.smoothing = 10e-3;
    options.false_refusal = 0.02;
    Random random(923);
    BandLearner const learner = learnt(seam, seam.parts(random, 100), options);
    std::size_t refused = 0;
    std::size_t const tries = runs(500);
    for (std::size_t i = 0; i < tries; ++i)
        refused += learner.look_at(seam.part(random, 200 + i)).taken ? 0 : 1;
    CHECK(static_cast<double>(refused) / static_cast<double>(tries) <
          0.02 + 4 * std::sqrt(0.02 / static_cast<double>(tries)));
}

TEST_CASE("the bound says how little few parts can tell") {
    GoodParts const seam = two_signals();
    Random random(916);
    BandLearner learner = fresh(seam);
    CHECK(learner.learn(seam.part(random, 1)).bound == std::numeric_limits<double>::infinity());
    CHECK(learner.learn(seam.part(random, 2)).bound == std::numeric_limits<double>::infinity());
    double last = std::numeric_limits<double>::infinity();
    for (std::size_t i = 3; i <= 30; ++i) {
        double const bound = learner.learn(seam.part(random, i), IfUnlike::take).bound;
        CHECK(bound < last);
        last = bound;
    }
    // Student's t of 28 degrees of freedom is beyond 5.75 with a probability of 3.5e-6, and 0.001 / 2 / 82
    // places is 6.1e-6. From tables by interpolation, from memory.
    CHECK(last > 5);
    CHECK(last < 6);
}

TEST_CASE("what may not be learnt is named, and nothing changes") {
    GoodParts const seam = two_signals();
    Random random(917);
    BandLearner learner = learnt(seam, seam.parts(random, 5));
    BandState const before = learner.state();
    auto const refused = [&](auto const& spoil, NotLearnt reason, std::string const& words) {
        SeamTrace trace = seam.part(random, 6);
        spoil(trace);
        Learned const learned = learner.learn(trace, IfUnlike::take);
        INFO(learned.words);
        CHECK_FALSE(learned.taken);
        CHECK(learned.reason == reason);
        CHECK(has(learned.words, words));
        CHECK(same(learner.state(), before));
    };
    refused([](SeamTrace& t) { t.key.seam = "lid 4"; }, NotLearnt::other_weld,
            "the trace of part P6 is of seam lid 4, the band is of seam lid 3");
    refused([](SeamTrace& t) { t.key.plan.part[2] = 9; }, NotLearnt::other_weld, "another part");
    refused([](SeamTrace& t) { t.key.pass = 78; }, NotLearnt::other_weld, "another plan");
    refused([](SeamTrace& t) { t.date = std::nan(""); }, NotLearnt::faulty, "a date that is not finite");
    refused([](SeamTrace& t) { t.cells.count = 41; }, NotLearnt::other_channels, "other cells");
    refused([](SeamTrace& t) { t.channels.pop_back(); }, NotLearnt::other_channels,
            "1 channels, the band has 2");
    refused([](SeamTrace& t) { t.channels[1] = "heat"; }, NotLearnt::other_channels,
            "channel number 2 is heat, in the band it is signal 2");
    refused([](SeamTrace& t) { t.traces[1].value.pop_back(); }, NotLearnt::other_channels,
            "one reading a cell");
    refused([](SeamTrace& t) { t.traces[0].value[7] = std::nan(""); }, NotLearnt::faulty,
            "channel signal 1, from 3.5 to 4 mm: the reading is nan");
    refused([](SeamTrace& t) { t.traces[0].value[7] = std::numeric_limits<double>::infinity(); },
            NotLearnt::faulty, "the reading is inf");
    refused([](SeamTrace& t) { t.traces[0].value[7] = -1e200; }, NotLearnt::faulty, "the reading is -1e+200");
    refused([](SeamTrace& t) { t.traces[1].covered[39] = 0.79F; }, NotLearnt::unseen,
            "channel signal 2, from 19.5 to 20 mm: covered to 79 % only, of which 80 % are needed");
    refused([](SeamTrace& t) { t.traces[1].covered[0] = std::nanf(""); }, NotLearnt::unseen,
            "from 0 to 0.5 mm");
    refused(
        [](SeamTrace& t) {
            t.traces[1].covered[3] = 0.2F;
            t.faults.push_back({SampleFault::saturated, 1, 0.0016, 0.0019, 70});
        },
        NotLearnt::faulty, "(saturated)");
    refused(
        [](SeamTrace& t) {
            t.faults.push_back({SampleFault::clock_step, 0, 0.011, 0.012, 1});
        },
        NotLearnt::faulty, "from 11 to 12 mm: clock step");
    refused(
        [](SeamTrace& t) {
            t.part = "P5";
            t.date = 20005;
        },
        NotLearnt::learnt_before, "was learnt just before");

    // A few lost samples in a cell that is covered well enough are no reason.
    SeamTrace nearly = seam.part(random, 6);
    nearly.traces[1].covered[3] = 0.9F;
    nearly.faults.push_back({SampleFault::missing, 1, 0.0016, 0.0017, 3});
    CHECK(learner.learn(nearly, IfUnlike::take).taken);
}

TEST_CASE("where no scatter was ever seen, a part that differs is unlike without bounds") {
    GoodParts const seam = two_signals();
    Random random(918);
    auto parts = seam.parts(random, 8);
    for (auto& part : parts)
        std::fill(part.traces[1].value.begin(), part.traces[1].value.end(), 3.0);
    LearnOptions options;
    BandLearner learner = learnt(seam, {parts.begin(), parts.end() - 1});
    CHECK(learner.look_at(parts.back()).taken); // the same once more
    parts.back().traces[1].value[10] = 3.001;
    Learned const refused = learner.learn(parts.back());
    REQUIRE(refused.unlike);
    CHECK(refused.unlike->deviations == std::numeric_limits<double>::infinity());
    CHECK(refused.unlike->worst_at == doctest::Approx(0.00525));
    CHECK(has(refused.words, "channel signal 2 is above their mean from 5 to 5.5 mm"));
    CHECK(has(refused.words, "the others are all the same there (a coarse sensor needs a least deviation)"));
    // With the sensor's step stated it is nothing.
    options.least_deviation = {0, 0.001};
    BandLearner coarse = learnt(seam, {parts.begin(), parts.end() - 1}, options);
    CHECK(coarse.learn(parts.back()).taken);
}

TEST_CASE("channels of very different size count alike") {
    GoodParts const seam = two_signals();
    Random random(919);
    auto parts = seam.parts(random, 25);
    shift(parts[20], 0, 0.2, 0.3, 9);
    auto scaled = parts;
    for (auto& part : scaled)
        for (std::size_t i = 0; i < 40; ++i) {
            part.traces[0].value[i] = std::ldexp(part.traces[0].value[i], 60); // exact
            part.traces[1].value[i] = std::ldexp(part.traces[1].value[i], -60);
        }
    BandLearner plain = fresh(seam), far = fresh(seam);
    for (std::size_t i = 0; i < parts.size(); ++i) {
        Learned const a = plain.learn(parts[i]), b = far.learn(scaled[i]);
        CHECK(a.taken == b.taken);
        CHECK(a.words == b.words);
        CHECK(a.taken == (i != 20));
    }
    auto const a = plain.band(), b = far.band();
    CHECK(a.factor == b.factor);
    for (std::size_t i = 0; i < 40; ++i) {
        CHECK(std::ldexp(a.channels[0].low[i], 60) == b.channels[0].low[i]);
        CHECK(std::ldexp(a.channels[1].high[i], -60) == b.channels[1].high[i]);
    }
    // A scatter of a hundred millionth of the reading.
    auto tiny = parts;
    for (auto& part : tiny)
        for (double& x : part.traces[1].value)
            x = 1e9 + 1e-2 * x;
    BandLearner fine = fresh(seam);
    for (std::size_t i = 0; i < tiny.size(); ++i)
        CHECK(fine.learn(tiny[i]).taken == (i != 20));
    // The readings themselves are rounded to 1.2e-7, against deviations of 5e-3.
    for (std::size_t i = 0; i < 40; ++i)
        CHECK(fine.deviations(1)[i] == doctest::Approx(1e-2 * plain.deviations(1)[i]).epsilon(1e-4));
}

TEST_CASE("options and states that make no sense are refused") {
    GoodParts const seam = two_signals();
    auto const with = [&](auto const& set) {
        LearnOptions options;
        set(options);
        return refusal_of([&] { return fresh(seam, options); });
    };
    CHECK(has(with([](auto& o) { o.smoothing = -1; }), "-1 m"));
    CHECK(has(with([](auto& o) { o.smoothing = std::nan(""); }), "smoothed"));
    CHECK(has(with([](auto& o) { o.least_covered = 0; }), "covered"));
    CHECK(has(with([](auto& o) { o.least_covered = 1.1; }), "covered"));
    CHECK(has(with([](auto& o) { o.false_refusal = 0; }), "good parts are refused"));
    CHECK(has(with([](auto& o) { o.false_refusal = 0.5; }), "good parts are refused"));
    CHECK(has(with([](auto& o) { o.kept_extremes = 1001; }), "1001"));
    CHECK(has(with([](auto& o) { o.least_deviation = {1}; }), "for each of 2 channels or for none"));
    CHECK(has(with([](auto& o) { o.least_deviation = {1, -1}; }), "least deviation"));
    CHECK(has(refusal_of([&] { return BandLearner(seam.key, seam.cells, {}); }), "one channel or more"));
    CHECK(has(refusal_of([&] { return BandLearner(seam.key, seam.cells, {"a", "a"}); }), "differ"));
    CHECK(has(refusal_of([&] { return BandLearner(seam.key, seam.cells, {""}); }), "names"));
    CHECK(has(refusal_of([&] { return BandLearner(seam.key, {0.02, 0}, {"a"}); }), "one cell or more"));
    CHECK(has(refusal_of([&] { return BandLearner(seam.key, {0, 3}, {"a"}); }), "length above 0"));

    Random random(920);
    BandState const sound = learnt(seam, seam.parts(random, 6)).state();
    CHECK(refusal_of([&] { return BandLearner(sound); }).empty());
    auto const damaged = [&](auto const& damage) {
        BandState state = sound;
        damage(state);
        return refusal_of([&] { return BandLearner(state); });
    };
    CHECK(
        has(damaged([](auto& s) { s.channels[1].mean.pop_back(); }), "means or squares of channel signal 2"));
    CHECK(has(damaged([](auto& s) { s.channels[1].mean[3] = std::nan(""); }), "signal 2"));
    CHECK(has(damaged([](auto& s) { s.channels[0].squares[3] = -1; }), "signal 1"));
    CHECK(has(damaged([](auto& s) { s.channels[0].seam_squares = -1; }), "signal 1"));
    CHECK(
        has(damaged([](auto& s) { std::swap(s.channels[0].least[0], s.channels[0].least[1]); }), "extremes"));
    CHECK(has(damaged([](auto& s) { s.channels[0].greatest[2] = std::nan(""); }), "extremes"));
    CHECK(has(damaged([](auto& s) { s.channels[0].greatest.pop_back(); }), "extremes"));
    CHECK(has(damaged([](auto& s) { s.last_date = std::nan(""); }), "last date"));
    CHECK(has(damaged([](auto& s) { s.residuals.parts += 1000; }), "more parts than were learnt"));
    CHECK(has(damaged([](auto& s) { s.parts = 2; }), "extremes"));
    CHECK(has(damaged([](auto& s) { s.cells.count = 39; }), "other channels or cells"));
    CHECK(has(damaged([](auto& s) { s.channels.pop_back(); }), "other channels or cells"));
    CHECK(!damaged([](auto& s) { s.residuals.power.pop_back(); }).empty());
    CHECK(has(damaged([](auto& s) { s.options.smoothing = -1; }), "smoothed"));
}
