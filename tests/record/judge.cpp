#include "seamhold/record/judge.hpp"

#include "naive_judge.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::put;
using seamhold::test::Random;
using seamhold::test::refusal_of;

namespace {

struct Invented {
    SignalBand band;
    SeamTrace trace;
};

/// 40 cells of 1 mm, three channels; the trace lies on the centre.
Invented invented() {
    Random random(911);
    auto const band = test::invented_band(random, 40, 3);
    return {band, test::trace_at_centre(band)};
}

} // namespace

TEST_CASE("a part on the band's centre is good, and the verdict says of which weld it speaks") {
    auto [band, trace] = invented();
    trace.faults = {{SampleFault::missing, 1, 0.001, 0.0012, 7}};
    SeamVerdict const verdict = judge(band, trace);
    CHECK(verdict.judgement == Judgement::good);
    CHECK(verdict.findings.empty());
    CHECK(verdict.unseen.empty());
    CHECK(verdict.key == band.key);
    CHECK(verdict.part == "part 17");
    CHECK(verdict.date == 20780.5);
    CHECK(verdict.length == 0.040);
    CHECK(verdict.channels == std::vector<std::string>{"channel A", "channel B", "channel C"});
    REQUIRE(verdict.faults.size() == 1);
    CHECK(verdict.faults[0].samples == 7);
    CHECK(passing_factor(band, trace) < 1e-12);
}

TEST_CASE("the limits themselves are inside, and a hair beyond is outside") {
    auto [band, trace] = invented();
    trace.traces[0].value = band.channels[0].high;
    trace.traces[1].value = band.channels[1].low;
    CHECK(judge(band, trace).judgement == Judgement::good);
    put(trace, band, 1, 12, -1.000001);
    SeamVerdict const verdict = judge(band, trace);
    CHECK(verdict.judgement == Judgement::not_good);
    REQUIRE(verdict.findings.size() == 1);
    CHECK(verdict.findings[0].channel == 1);
    CHECK(verdict.findings[0].side == BandSide::below);
    CHECK(verdict.findings[0].rule == FindingRule::run);
    CHECK(verdict.findings[0].from == doctest::Approx(0.012).epsilon(1e-14));
    CHECK(verdict.findings[0].to == doctest::Approx(0.013).epsilon(1e-14));
}

TEST_CASE("runs are found where they are, each on its side, in order of channels and along the seam") {
    auto [band, trace] = invented();
    for (std::size_t i = 30; i < 34; ++i)
        put(trace, band, 0, i, 2.0);
    for (std::size_t i = 5; i < 8; ++i)
        put(trace, band, 0, i, -1.5);
    put(trace, band, 0, 6, -3.0);
    for (std::size_t i = 8; i < 10; ++i)
        put(trace, band, 0, i, 9.0); // other side, two only
    for (std::size_t i = 37; i < 40; ++i)
        put(trace, band, 2, i, 1.25); // up to the end
    SeamVerdict const verdict = judge(band, trace, {0.002, {}, {}, 0.5, 0});
    REQUIRE(verdict.findings.size() == 3);
    auto const& first = verdict.findings[0];
    CHECK(first.channel == 0);
    CHECK(first.side == BandSide::below);
    CHECK(first.from == doctest::Approx(0.005).epsilon(1e-14));
    CHECK(first.to == doctest::Approx(0.008).epsilon(1e-14));
    CHECK(first.outside == doctest::Approx(0.003).epsilon(1e-14));
    CHECK(first.area == doctest::Approx((0.5 + 2 + 0.5) * 0.001).epsilon(1e-12));
    CHECK(first.worst == doctest::Approx(2).epsilon(1e-12));
    CHECK(first.worst_at == doctest::Approx(0.0065).epsilon(1e-14));
    CHECK(verdict.findings[1].channel == 0);
    CHECK(verdict.findings[1].side == BandSide::above);
    CHECK(verdict.findings[1].from == doctest::Approx(0.030).epsilon(1e-14));
    CHECK(verdict.findings[1].to == doctest::Approx(0.034).epsilon(1e-14));
    CHECK(verdict.findings[2].channel == 2);
    CHECK(verdict.findings[2].to == doctest::Approx(0.040).epsilon(1e-14));
    // Runs of three are allowed: only the one of four is left.
    CHECK(judge(band, trace, {0.003, {}, {}, 0.5, 0}).findings.size() == 1);
    // λ is that of the run of four, 2; with no run allowed the worst of all.
    CHECK(passing_factor(band, trace, {0.003, {}, {}, 0.5, 0}) == doctest::Approx(2).epsilon(1e-12));
    CHECK(passing_factor(band, trace) == doctest::Approx(9).epsilon(1e-12));
}

TEST_CASE("share and area speak from the first place outside to the last") {
    auto [band, trace] = invented();
    put(trace, band, 1, 3, 1.5);
    put(trace, band, 1, 20, 2.5);
    put(trace, band, 1, 36, 1.25);
    put(trace, band, 1, 10, -4.0); // the other side does not count with them
    SeamVerdict const by_share = judge(band, trace, {{}, 0.05, {}, 0.5, 0}); // two cells of 40
    REQUIRE(by_share.findings.size() == 1);
    CHECK(by_share.findings[0].rule == FindingRule::share);
    CHECK(by_share.findings[0].side == BandSide::above);
    CHECK(by_share.findings[0].from == doctest::Approx(0.003).epsilon(1e-14));
    CHECK(by_share.findings[0].to == doctest::Approx(0.037).epsilon(1e-14));
    CHECK(by_share.findings[0].outside == doctest::Approx(0.003).epsilon(1e-14));
    CHECK(by_share.findings[0].worst == doctest::Approx(1.5).epsilon(1e-12));
    CHECK(by_share.findings[0].worst_at == doctest::Approx(0.0205).epsilon(1e-14));
    CHECK(judge(band, trace, {{}, 0.075, {}, 0.5, 0}).judgement == Judgement::good);

    SeamVerdict const by_area = judge(band, trace, {{}, {}, 0.0023, 0.5, 0});
    REQUIRE(by_area.findings.size() == 1); // below: 3 half widths · mm
    CHECK(by_area.findings[0].side == BandSide::below);
    CHECK(by_area.findings[0].rule == FindingRule::area);
    CHECK(by_area.findings[0].area == doctest::Approx(0.003).epsilon(1e-12));
    SeamVerdict const both = judge(band, trace, {{}, {}, 0.0022, 0.5, 0}); // above: 0.5 + 1.5 + 0.25
    REQUIRE(both.findings.size() == 2);
    CHECK(both.findings[0].side == BandSide::above); // it begins first
    CHECK(judge(band, trace, {{}, {}, 0.0031, 0.5, 0}).judgement == Judgement::good);
}

TEST_CASE("what was not seen is neither inside nor outside, and too much of it is not judged") {
    auto [band, trace] = invented();
    double const unknown = std::numeric_limits<double>::quiet_NaN();
    trace.traces[0].value[4] = unknown;
    trace.traces[0].covered[4] = 0;
    trace.traces[0].covered[5] = 0.49F;
    trace.traces[0].value[5] = 1e6; // half a sample of nonsense: not seen
    trace.traces[0].covered[6] = 0.5F;
    trace.traces[2].value[39] = unknown; // covered or not
    SeamVerdict const strict = judge(band, trace);
    CHECK(strict.judgement == Judgement::not_judged);
    REQUIRE(strict.unseen.size() == 2);
    CHECK(strict.unseen[0].channel == 0);
    CHECK(strict.unseen[0].from == doctest::Approx(0.004).epsilon(1e-14));
    CHECK(strict.unseen[0].to == doctest::Approx(0.006).epsilon(1e-14));
    CHECK(strict.unseen[1].channel == 2);
    CHECK(strict.unseen[1].from == doctest::Approx(0.039).epsilon(1e-14));
    CHECK(strict.unseen[1].to == doctest::Approx(0.040).epsilon(1e-14));
    CHECK(judge(band, trace, {0.0, {}, {}, 0.5, 0.001}).judgement == Judgement::not_judged);
    CHECK(judge(band, trace, {0.0, {}, {}, 0.5, 0.002}).judgement == Judgement::good);
    CHECK(judge(band, trace, {0.0, {}, {}, 0.6, 0.002}).judgement == Judgement::not_judged);
    // What is outside is not good, however little was seen.
    put(trace, band, 1, 0, 3);
    CHECK(judge(band, trace).judgement == Judgement::not_good);
    // A run goes on across it, and its outside length does not count what was not seen.
    put(trace, band, 0, 3, 2);
    put(trace, band, 0, 6, 2);
    SeamVerdict const across = judge(band, trace, {0.002, {}, {}, 0.5, 1});
    REQUIRE(across.findings.size() == 1);
    CHECK(across.findings[0].from == doctest::Approx(0.003).epsilon(1e-14));
    CHECK(across.findings[0].to == doctest::Approx(0.007).epsilon(1e-14));
    CHECK(across.findings[0].outside == doctest::Approx(0.002).epsilon(1e-14));
}

TEST_CASE("after a step of a clock nobody can say that a part is good") {
    auto made = invented();
    made.trace.faults.push_back({SampleFault::clock_step, 1, 0, 0, 100});
    CHECK(judge(made.band, made.trace).judgement == Judgement::not_judged);
    made.trace.traces[0].value[7] = made.band.channels[0].high[7] + 1;
    CHECK(judge(made.band, made.trace).judgement == Judgement::not_good);
    made.trace.traces[0].value[7] = made.band.channels[0].centre[7];
    made.trace.faults[0].fault = SampleFault::saturated;
    CHECK(judge(made.band, made.trace).judgement == Judgement::good);
}

TEST_CASE("a part is good if and only if its passing factor is at most 1, and then enough was seen") {
    Random random(912);
    double const unknown = std::numeric_limits<double>::quiet_NaN();
    std::size_t good = 0, not_good = 0, not_judged = 0;
    for (std::size_t run = 0; run < test::runs(3000); ++run) {
        std::size_t const cells = 1 + random.index(60), channels = 1 + random.index(4);
        auto const band = test::invented_band(random, cells, channels);
        auto trace = test::trace_at_centre(band);
        double const width = band.cells.width();
        double const size = random.uniform(0.2, 1.0), unseen = random.index(2) == 0 ? 0.1 : 0.0;
        std::vector<std::vector<double>> out; // on both sides of each channel
        std::size_t most_missing = 0;
        for (std::size_t c = 0; c < band.channels.size(); ++c) {
            std::vector<double> deviations(band.cells.count);
            double slow = 0;
            std::size_t missing = 0;
            for (std::size_t i = 0; i < band.cells.count; ++i) {
                slow = 0.7 * slow + size * random.normal();
                deviations[i] = slow;
                put(trace, band, c, i, slow);
                if (random.unit() < unseen) {
                    trace.traces[c].covered[i] = 0.2F;
                    deviations[i] = unknown;
                    ++missing;
                }
            }
            most_missing = std::max(most_missing, missing);
            out.push_back(deviations);
            for (double& deviation : deviations)
                deviation = -deviation;
            out.push_back(deviations);
        }
        JudgeRules rules{{}, {}, {}, 0.5, width * (static_cast<double>(random.index(6)) + 0.5)};
        std::size_t const which = 1 + random.index(7);
        if ((which & 1U) != 0)
            rules.longest_run = width * (static_cast<double>(random.index(5)) + random.uniform(0, 0.99));
        if ((which & 2U) != 0)
            rules.share_outside = random.uniform(0, 0.5);
        if ((which & 4U) != 0)
            rules.area_outside = width * random.uniform(0, 4);
        SeamVerdict const verdict = judge(band, trace, rules);
        bool naive = true;
        for (auto const& side : out)
            naive = naive && test::passes_naively(side, width, rules, 1);
        bool const enough = static_cast<double>(most_missing) * width <= rules.longest_unseen;
        CHECK(verdict.judgement == (!naive   ? Judgement::not_good
                                    : enough ? Judgement::good
                                             : Judgement::not_judged));
        CHECK((passing_factor(band, trace, rules) <= 1) == naive);
        ++(verdict.judgement == Judgement::good       ? good
           : verdict.judgement == Judgement::not_good ? not_good
                                                      : not_judged);
    }
    CHECK(good > test::runs(300)); // each kind was tried often
    CHECK(not_good > test::runs(300));
    CHECK(not_judged > test::runs(100));
}

TEST_CASE("widening the band by the passing factor makes the part pass, by a hair less does not") {
    Random random(913);
    for (std::size_t run = 0; run < test::runs(300); ++run) {
        auto const band = test::invented_band(random, 50, 2);
        auto trace = test::trace_at_centre(band);
        for (std::size_t c = 0; c < 2; ++c)
            for (std::size_t i = 0; i < 50; ++i)
                put(trace, band, c, i, 1.5 * random.normal());
        JudgeRules const rules{0.001, 0.1, 0.002, 0.5, 0};
        double const factor = passing_factor(band, trace, rules);
        auto const widened = [&](double by) {
            auto other = band;
            for (auto& channel : other.channels)
                for (std::size_t i = 0; i < 50; ++i) {
                    channel.low[i] = channel.centre[i] - by * (channel.centre[i] - channel.low[i]);
                    channel.high[i] = channel.centre[i] + by * (channel.high[i] - channel.centre[i]);
                }
            return judge(other, trace, rules).judgement;
        };
        CHECK(widened(factor * (1 + 1e-9)) == Judgement::good);
        CHECK(widened(factor * (1 - 1e-9)) == Judgement::not_good);
    }
}

TEST_CASE("a band is refused for another weld, another plan, other cells or other channels") {
    auto const start = invented();
    auto const refused = [&](auto const& change) {
        auto made = start;
        change(made.band, made.trace);
        CHECK(refusal_of([&] { return judge(made.band, made.trace); }) ==
              refusal_of([&] { return passing_factor(made.band, made.trace); }));
        return refusal_of([&] { return judge(made.band, made.trace); });
    };
    CHECK(refused([](auto&, auto&) {}) == "");
    CHECK(has(refused([](auto&, auto& trace) { trace.date = std::nan(""); }), "a date that is not finite"));
    CHECK(has(refused([](auto&, auto& trace) { trace.key.seam = "floor"; }),
              "the trace is of seam floor, the band is of seam lid"));
    CHECK(has(refused([](auto&, auto& trace) { trace.key.plan[FingerprintPart::mount] ^= 1U; }),
              "another mount than the band"));
    CHECK(has(refused([](auto&, auto& trace) { trace.key.pass = 78; }), "direction"));
    CHECK(
        has(refused([](auto&, auto& trace) { trace.cells.count = 41; }), "41 cells over 40 mm, the band 40"));
    CHECK(has(refused([](auto&, auto& trace) { trace.cells.length = 0.041; }), "over 41 mm"));
    CHECK(has(refused([](auto&, auto& trace) { trace.channels.pop_back(); }), "2 channels, the band 3"));
    CHECK(has(refused([](auto&, auto& trace) { std::swap(trace.channels[0], trace.channels[1]); }),
              "channel number 1 is channel B, in the band it is channel A"));
    CHECK(has(refused([](auto&, auto& trace) { trace.traces[2].value.pop_back(); }),
              "channel C: it has 39 readings for 40 cells"));
    CHECK(has(refused([](auto&, auto& trace) { trace.traces[1].covered.pop_back(); }), "channel B"));
    CHECK(has(refused([](auto& band, auto&) { band.channels[1].low[7] = band.channels[1].centre[7]; }),
              "channel B, at 7.5 mm: limits must be finite and in order"));
    CHECK(has(refused([](auto& band, auto&) {
                  band.channels[0].high[0] = std::numeric_limits<double>::infinity();
              }),
              "finite and in order"));
    CHECK(has(refused([](auto& band, auto&) { band.channels[0].centre.push_back(1); }),
              "channel A: it has 41 limits for 40 cells"));
    CHECK(has(refused([](auto& band, auto&) { band.channels.clear(); }), "no channels"));
    CHECK(has(refused([](auto& band, auto& trace) { band.cells.length = trace.cells.length = 0; }),
              "no length"));
}
