#include "seamhold/record/hint.hpp"

#include "seamhold/record/judge.hpp"
#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::refusal_of;

namespace {

// Common practice, no source: light from the plume, heat radiation of the melt, returned laser light.
constexpr std::size_t plume = 0, heat = 1, returned = 2;

/// A verdict on a seam of 60 mm with nothing in it.
SeamVerdict empty_verdict() {
    return {{{}, "lid", 1},  "17-0042", 20780, 0.060, {"plume light", "heat", "returned light"},
            Judgement::good, {},        {},    {}};
}

Finding run(std::size_t channel, BandSide side, double from_mm, double to_mm) {
    return {channel, side, FindingRule::run,        from_mm / 1000, to_mm / 1000, (to_mm - from_mm) / 1000,
            1e-3,    1,    (from_mm + to_mm) / 2000};
}

SeamVerdict verdict_of(std::vector<Finding> const& findings) {
    auto verdict = empty_verdict();
    verdict.judgement = findings.empty() ? Judgement::good : Judgement::not_good;
    verdict.findings = findings;
    return verdict;
}

// Patterns of the trade, common practice, no source: a gap of about 0.3 mm between the sheets lowers plume
// light and heat below the band; on coated sheet no gap at all is a fault too (here with more plume light, an
// invention of this test); contamination pushes returned light out of its band, on either side; with a sixth
// less power (3 kW to 2.5 kW) all channels leave.
std::vector<HintRule> patterns() {
    return {{"gap between the sheets",
             {{"plume light", SignalState::below}, {"heat", SignalState::below}},
             SignalState::inside,
             0.001,
             {}},
            {"no gap between coated sheets", {{"plume light", SignalState::above}}, {}, 0, "coated"},
            {"contamination", {{"returned light", SignalState::outside}}, SignalState::inside, 0, {}},
            {"too little power", {}, SignalState::outside, 0.010, {}}};
}

std::vector<std::string> causes(SeamVerdict const& verdict, std::vector<std::string> const& materials = {}) {
    std::vector<std::string> all;
    for (auto const& hint : hints(verdict, patterns(), materials))
        all.push_back(hint.cause);
    return all;
}

using Causes = std::vector<std::string>;

} // namespace

TEST_CASE("each of the trade's patterns gives its hint and no other") {
    CHECK(causes(empty_verdict()).empty());
    // A gap of about 0.3 mm.
    auto const gap = verdict_of({run(plume, BandSide::below, 20, 31), run(heat, BandSide::below, 21, 32.5)});
    CHECK(causes(gap) == Causes{"gap between the sheets"});
    auto const found = hints(gap, patterns());
    REQUIRE(found.size() == 1);
    CHECK(found[0].from == 0.021); // where both are below
    CHECK(found[0].to == 0.031);
    CHECK(found[0].words == "hint: gap between the sheets, at 21 to 31 mm (plume light below, heat below, "
                            "returned light inside)");
    // No gap on coated sheet; on sheet of which nobody said that it is coated the rule is silent.
    auto const no_gap = verdict_of({run(plume, BandSide::above, 5, 9)});
    CHECK(causes(no_gap, {"coated"}) == Causes{"no gap between coated sheets"});
    CHECK(causes(no_gap, {"stainless", "coated"}) == Causes{"no gap between coated sheets"});
    CHECK(causes(no_gap).empty());
    CHECK(causes(no_gap, {"coat"}).empty());
    // Contamination, either way.
    CHECK(causes(verdict_of({run(returned, BandSide::above, 40, 41)})) == Causes{"contamination"});
    CHECK(causes(verdict_of({run(returned, BandSide::below, 40, 41)})) == Causes{"contamination"});
    // 3 kW to 2.5 kW: all channels leave, over the whole seam.
    CHECK(causes(verdict_of({run(plume, BandSide::below, 0, 60), run(heat, BandSide::below, 0, 60),
                             run(returned, BandSide::above, 0, 60)})) == Causes{"too little power"});
}

// Signals are invented: each is 10 at full power and goes with the power; the band is ± 10 %. How far a gap
// or dirt moves a signal is invented too; on which side it moves is the trade's.
TEST_CASE("from a trace over its verdict to the hint") {
    Cells const cells{0.060, 120};
    SignalBand band{{{}, "lid", 1}, cells, {}, {LimitRule::normal, 0.99, 0.95}, 3, 30};
    SeamTrace good{band.key, "17-0042", 20780, cells, {}, {}, {}};
    for (auto const& name : empty_verdict().channels) {
        band.channels.push_back(
            {name, std::vector<double>(120, 10), std::vector<double>(120, 9), std::vector<double>(120, 11)});
        good.channels.push_back(name);
        good.traces.push_back({std::vector<double>(120, 10), std::vector<float>(120, 1.0F)});
    }
    auto const scaled = [&](std::vector<std::size_t> const& channels, std::size_t from, std::size_t to,
                            double factor) {
        auto trace = good;
        for (std::size_t const c : channels)
            for (std::size_t i = from; i < to; ++i)
                trace.traces[c].value[i] *= factor;
        auto const verdict = judge(band, trace, {0.001, {}, {}, 0.5, 0});
        CHECK(verdict.judgement == Judgement::not_good);
        return causes(verdict, {"coated"});
    };
    CHECK(judge(band, good).judgement == Judgement::good);
    CHECK(scaled({plume, heat}, 40, 62, 0.8) == Causes{"gap between the sheets"});
    CHECK(scaled({plume}, 10, 18, 1.3) == Causes{"no gap between coated sheets"});
    CHECK(scaled({returned}, 80, 84, 1.5) == Causes{"contamination"});
    CHECK(scaled({returned}, 80, 84, 0.5) == Causes{"contamination"});
    CHECK(scaled({plume, heat, returned}, 0, 120, 2.5 / 3) == Causes{"too little power"}); // 3 kW to 2.5 kW
}

TEST_CASE("conditions must hold at one place, long enough") {
    // Plume light and heat below, but not together.
    CHECK(causes(verdict_of({run(plume, BandSide::below, 10, 12), run(heat, BandSide::below, 12, 14)}))
              .empty());
    CHECK(causes(verdict_of({run(plume, BandSide::below, 10, 12), run(heat, BandSide::below, 11.5, 14)}))
              .empty());
    CHECK(causes(verdict_of({run(plume, BandSide::below, 10, 12), run(heat, BandSide::below, 11, 14)})) ==
          Causes{"gap between the sheets"}); // 1 mm is enough
    // On the wrong side.
    CHECK(causes(verdict_of({run(plume, BandSide::below, 10, 12), run(heat, BandSide::above, 10, 12)}))
              .empty());
    // All out, but over 9 mm only: no word of power, nor of anything else.
    CHECK(causes(verdict_of({run(plume, BandSide::below, 0, 9), run(heat, BandSide::below, 0, 9),
                             run(returned, BandSide::above, 0, 9)}))
              .empty());
}

TEST_CASE("a stretch in which nothing changes for the rule is one hint, and each place its own") {
    // Heat has two findings that touch; plume light is below throughout.
    auto const touching = verdict_of({run(plume, BandSide::below, 10, 20), run(heat, BandSide::below, 10, 15),
                                      run(heat, BandSide::below, 15, 20)});
    auto const one = hints(touching, patterns());
    REQUIRE(one.size() == 1);
    CHECK(one[0].from == 0.010);
    CHECK(one[0].to == 0.020);
    auto const apart = verdict_of({run(plume, BandSide::below, 10, 20), run(heat, BandSide::below, 10, 13),
                                   run(heat, BandSide::below, 16, 20)});
    auto const two = hints(apart, patterns());
    REQUIRE(two.size() == 2);
    CHECK(two[0].to == 0.013);
    CHECK(two[1].from == 0.016);
    // Returned light leaves in the middle: there it is not a gap alone.
    auto const disturbed =
        verdict_of({run(plume, BandSide::below, 10, 20), run(heat, BandSide::below, 10, 20),
                    run(returned, BandSide::above, 14, 15)});
    auto const parted = hints(disturbed, patterns());
    REQUIRE(parted.size() == 2);
    CHECK(parted[0].from == 0.010);
    CHECK(parted[0].to == 0.014);
    CHECK(parted[1].from == 0.015);
    CHECK(parted[1].to == 0.020);
}

TEST_CASE("a channel that did not see is not inside") {
    auto verdict = verdict_of({run(returned, BandSide::above, 40, 41)});
    verdict.unseen = {{heat, 0.040, 0.0405}};
    auto const found = hints(verdict, patterns());
    REQUIRE(found.size() == 1);
    CHECK(found[0].cause == "contamination");
    CHECK(found[0].from == 0.0405);
    CHECK(found[0].to == 0.041);
}

TEST_CASE("rules that would speak of every part, or never, are refused") {
    auto const verdict = empty_verdict();
    auto const refused = [&](HintRule const& rule) {
        return refusal_of([&] { return hints(verdict, {rule}); });
    };
    CHECK(has(refused({"", {{"heat", SignalState::below}}, {}, 0, {}}), "no cause"));
    CHECK(has(refused({"x", {}, {}, 0, {}}), "the hint \"x\" asks for no channel to be below"));
    CHECK(has(refused({"x", {{"heat", SignalState::inside}}, SignalState::inside, 0, {}}), "asks for no"));
    CHECK(has(refused({"x", // nobody is left who could be below
                       {{"plume light", SignalState::inside},
                        {"heat", SignalState::inside},
                        {"returned light", SignalState::inside}},
                       SignalState::below,
                       0,
                       {}}),
              "asks for no"));
    CHECK(has(refused({"x", {{"hate", SignalState::below}}, {}, 0, {}}),
              "names the channel hate, which is not there; there are plume light, heat, returned light"));
    CHECK(has(refused({"x", {{"heat", SignalState::below}, {"heat", SignalState::above}}, {}, 0, {}}),
              "names the channel heat twice"));
    CHECK(has(refused({"x", {{"heat", SignalState::below}}, {}, -0.001, {}}), "given was -0.001 m"));
    CHECK(
        has(refused({"x", {{"heat", SignalState::below}}, {}, std::numeric_limits<double>::quiet_NaN(), {}}),
            "length"));
    CHECK(has(refused({"x", {{"heat", SignalState::below}}, {}, 0, ""}), "empty material"));
    CHECK(refused({"x", {{"heat", SignalState::below}}, {}, 0, {}}) == "");
}
