#include "seamhold/record/verdict_words.hpp"

#include <doctest/doctest.h>

using namespace seamhold;

TEST_CASE("a verdict in words: channel, from where to where in mm, side, and what was not seen") {
    SeamVerdict const verdict{
        {{}, "lid", 1},
        "17-0042",
        20780,
        0.060,
        {"plume light", "heat"},
        Judgement::not_good,
        {{0, BandSide::below, FindingRule::run, 0.012, 0.0185, 0.0065, 0.004, 1.404, 0.0142},
         {0, BandSide::below, FindingRule::area, 0.010, 0.050, 0.0085, 0.00425, 1.404, 0.0142},
         {1, BandSide::above, FindingRule::share, 0, 0.060, 0.0045, 0.004, 0.25, 1.0 / 3000}},
        {{1, 0.004, 0.0062}},
        {{SampleFault::missing, 1, 0.00401, 0.006, 17}}};
    CHECK(
        verdict_words(verdict) ==
        "17-0042, seam lid: not good\n"
        "  plume light: below the band from 12 to 18.5 mm; worst at 14.2 mm, 1.4 half widths beyond the "
        "limit\n"
        "  plume light: below the band over 8.5 mm in all between 10 and 50 mm, an area of 4.25 half widths "
        "times mm; worst at 14.2 mm, 1.4 half widths beyond the limit\n"
        "  heat: above the band over 4.5 mm in all between 0 and 60 mm, 7.5 % of the seam; worst at 0.33 mm, "
        "0.25 half widths beyond the limit\n"
        "  heat: not seen from 4 to 6.2 mm\n"
        "  heat: missing, 17 samples from 4.01 to 6 mm\n");
}

TEST_CASE("a good verdict is one line") {
    SeamVerdict verdict{{{}, "lid", 1}, "17-0042", 20780, 0.060, {"heat"}, Judgement::good, {}, {}, {}};
    CHECK(verdict_words(verdict) == "17-0042, seam lid: good\n");
    verdict.judgement = Judgement::not_judged;
    verdict.unseen = {{3, 0, 0.001}}; // a channel without a name
    CHECK(verdict_words(verdict) ==
          "17-0042, seam lid: not judged\n  channel number 4: not seen from 0 to 1 mm\n");
}
