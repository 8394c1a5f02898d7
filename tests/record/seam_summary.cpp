#include "seamhold/record/seam_summary.hpp"

#include "support/refusal.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <string>
#include <utility>
#include <vector>

using namespace seamhold;
using seamhold::test::has;
using seamhold::test::refusal_of;

namespace {

SeamKey const key{{}, "tray front", 7};

/// An invented band over four cells of 1 mm: a centre that rises, wider above than below.
SignalBand band_of_four() {
    return {key, {0.004, 4}, {{"heat", {10, 11, 12, 13}, {8, 9, 10, 11}, {14, 15, 16, 17}}}, {}, 3, 30};
}

SeamTrace trace_of(std::vector<double> const& values, std::vector<float> const& covered) {
    return {key, "P1", 20000, {0.004, 4}, {"heat"}, {{values, covered}}, {}};
}

} // namespace

TEST_CASE("a row's numbers worked out by hand") {
    auto const band = band_of_four();
    auto const trace = trace_of({11, 11, 8, 14}, {1, 1, 1, 1});
    auto const row = summary_of(band, trace, judge(band, trace), false);
    CHECK(row.part == "P1");
    CHECK(row.date == 20000);
    CHECK(row.judgement == Judgement::not_good); // cell 3 is two half widths below
    CHECK(!row.learnt);
    CHECK(row.band_parts == 30);
    CHECK(row.band_print == band_print_of(band));
    REQUIRE(row.channels.size() == 1);
    auto const& heat = row.channels[0];
    CHECK(heat.name == "heat");
    CHECK(heat.seen == 1);
    CHECK(heat.mean == 11);
    CHECK(heat.least == 8);
    CHECK(heat.greatest == 14);
    CHECK(heat.farthest == -2);
    // Off the centre by 1, 0, −4, 1: −2 in all; half widths below are 2 each, 8 in all.
    CHECK(heat.level == -0.25);
}

TEST_CASE("a band's print tells its limits, and not the last bits of them") {
    auto const band = band_of_four();
    auto const print = [&](auto const& change) {
        auto other = band;
        change(other);
        return band_print_of(other);
    };
    CHECK(print([](auto&) {}) == print([](auto& b) { b.parts = 31; }));
    CHECK(print([](auto&) {}) ==
          print([](auto& b) { b.channels[0].low[1] = std::nextafter(b.channels[0].low[1], 0); }));
    for (auto const limits : {&ChannelBand::centre, &ChannelBand::low, &ChannelBand::high})
        CHECK(print([](auto&) {}) != print([&](auto& b) { (b.channels[0].*limits)[2] *= 1 + 1e-5; }));
    CHECK(print([](auto&) {}) != print([](auto& b) { b.channels[0].name = "plume light"; }));
    CHECK(print([](auto&) {}) != print([](auto& b) { std::swap(b.channels[0].low, b.channels[0].high); }));
}

TEST_CASE("cells that were not seen count for nothing") {
    auto const band = band_of_four();
    double const nan = std::numeric_limits<double>::quiet_NaN();
    auto const trace = trace_of({12, nan, 100, 15}, {1, 0, 0.4F, 1});
    auto const row = summary_of(band, trace, judge(band, trace), true);
    auto const& heat = row.channels[0];
    CHECK(row.judgement == Judgement::not_judged);
    CHECK(row.learnt);
    CHECK(heat.seen == 0.5);
    CHECK(heat.mean == 13.5);
    CHECK(heat.least == 12);
    CHECK(heat.greatest == 15);
    CHECK(heat.farthest == 0.5);
    CHECK(heat.level == 0.5); // 2 and 2 off, half widths above are 4
    auto const nothing = trace_of({nan, nan, nan, nan}, {0, 0, 0, 0});
    auto const unseen = summary_of(band, nothing, judge(band, nothing), false).channels[0];
    CHECK(unseen.seen == 0);
    CHECK(unseen.mean == 0);
    CHECK(unseen.level == 0);
    CHECK(unseen.farthest == 0);
    // A smaller share of a cell is enough where it is said.
    CHECK(summary_of(band, trace, judge(band, trace), true, 0.3).channels[0].seen == 0.75);
}

TEST_CASE("what does not belong together is refused and named") {
    auto const band = band_of_four();
    auto const trace = trace_of({11, 11, 8, 14}, {1, 1, 1, 1});
    auto const verdict = judge(band, trace);
    auto other = verdict;
    other.part = "P2";
    CHECK(has(refusal_of([&] { return summary_of(band, trace, other, false); }), "part P2"));
    other = verdict;
    other.key.seam = "tray back";
    CHECK(has(refusal_of([&] { return summary_of(band, trace, other, false); }), "seam tray back"));
    auto cut = trace;
    cut.cells.count = 3;
    CHECK(has(refusal_of([&] { return summary_of(band, cut, verdict, false); }), "3 cells"));
    auto crossed = band;
    crossed.channels[0].low[2] = 12.5; // above the centre
    CHECK(has(refusal_of([&] { return summary_of(crossed, trace, verdict, false); }), "low, centre, high"));

    auto const row = summary_of(band, trace, verdict, false);
    check_summaries({row, row});
    auto const refused = [&](SeamSummary const& bad) {
        return refusal_of([&] {
            check_summaries({row, bad});
            return 0;
        });
    };
    auto bad = row;
    bad.part = "P3";
    bad.key.pass = 8;
    CHECK(has(refused(bad), "part P3"));
    bad = row;
    bad.date = HUGE_VAL;
    CHECK(has(refused(bad), "date"));
    bad = row;
    bad.channels[0].name = "plume light";
    CHECK(has(refused(bad), "plume light"));
    bad = row;
    bad.channels.push_back(row.channels[0]);
    CHECK(has(refused(bad), "2 channels"));
    bad = row;
    bad.channels.clear();
    CHECK(has(refused(bad), "no channels"));
    for (double ChannelSummary::*const number :
         {&ChannelSummary::seen, &ChannelSummary::mean, &ChannelSummary::least, &ChannelSummary::greatest,
          &ChannelSummary::level, &ChannelSummary::farthest}) {
        bad = row;
        bad.channels[0].*number = std::numeric_limits<double>::quiet_NaN();
        CHECK(has(refused(bad), "channel heat: a number is not finite"));
    }
    CHECK(has(refusal_of([] {
                  check_summaries({});
                  return 0;
              }),
              "none"));
}
