#include "seamhold/record/band_learner.hpp"
#include "seamhold/record/hint.hpp"
#include "seamhold/record/judge.hpp"

#include "record/good_parts.hpp"
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// How surely faults are found, and where, at a stated ratio of signal to noise: how many deviations of a
// cell, from part to part, the fault moves a reading. Sizes along the seam were fixed before the judge was
// run.

using namespace seamhold;
using namespace seamhold::test;

namespace {

struct Fault {
    std::string name;
    double from, to;             // shares of the seam
    std::vector<double> towards; // of each channel: 1 above, −1 below, 0 as it was
    std::string cause;           // what the rules say of it
};

// The trade's patterns (common practice, no source): a gap lowers plume light and heat, contamination pushes
// the returned light out, too little power lowers all.
std::vector<Fault> const faults = {{"gap of 5 mm", 0.30, 0.425, {-1, -1, 0}, "gap"},
                                   {"contamination over 2 mm", 0.60, 0.65, {0, 0, 1}, "contamination"},
                                   {"too little power", 0, 1, {-1, -1, -1}, "power"}};

std::vector<HintRule> const rules_of_the_shop = {
    {"gap",
     {{"signal 1", SignalState::below}, {"signal 2", SignalState::below}},
     SignalState::inside,
     0.002,
     {}},
    {"contamination", {{"signal 3", SignalState::outside}}, SignalState::inside, 0, {}},
    {"power", {}, SignalState::below, 0.010, {}}};

/// The normal distribution's tail below x, by the C library.
double below(double x) { return 0.5 * std::erfc(-x / std::sqrt(2.0)); }

} // namespace

TEST_CASE("faults are found at a stated ratio of signal to noise, where they are") {
    GoodParts const made{cells_of(0.040, 0.25e-3), {{5, 0, 0.4}, {90, 10, 2}, {0.8, 0, 0.1}}};
    Random random(1001);
    BandLearner learner(made.key, made.cells, made.names());
    for (std::size_t i = 0; i < 100; ++i)
        CHECK(learner.learn(made.part(random, i)).taken);
    JudgeRules rules;
    rules.longest_run = 1e-3; // four cells
    auto const band = learner.band({LimitRule::whole_part, 0.99, 0.95}, rules);
    auto const trials = static_cast<std::size_t>(runs(300));
    for (auto const& fault : faults)
        for (double const ratio : {4.0, 6.0, 8.0, 10.0}) {
            std::size_t found = 0, placed = 0, hinted = 0;
            for (std::size_t i = 0; i < trials; ++i) {
                auto part = made.part(random, 1000 + i);
                for (std::size_t c = 0; c < 3; ++c)
                    shift(part, c, fault.from, fault.to, ratio * fault.towards[c] * made.deviation(c, 0));
                auto const verdict = judge(band, part);
                found += verdict.judgement == Judgement::not_good ? 1U : 0U;
                // On the right channel and side, and none of it beyond the fault but for a run's end.
                bool right = !verdict.findings.empty();
                for (auto const& f : verdict.findings) {
                    double const way = fault.towards[f.channel];
                    right = right && way == (f.side == BandSide::above ? 1 : -1) &&
                            f.from >= 0.040 * fault.from - 1e-3 && f.to <= 0.040 * fault.to + 1e-3;
                }
                placed += right ? 1U : 0U;
                auto const all = hints(verdict, rules_of_the_shop);
                hinted += !all.empty() && std::all_of(all.begin(), all.end(),
                                                      [&](Hint const& h) { return h.cause == fault.cause; })
                              ? 1U
                              : 0U;
            }
            double const share = static_cast<double>(found) / static_cast<double>(trials);
            INFO(fault.name << ", " << ratio << " deviations: found " << found << ", in its place " << placed
                            << ", hinted " << hinted << " of " << trials);
            // Five cells of one channel that all lie outside are enough. Each of them lies inside at most as
            // often as a normal number is above ratio − factor; half a deviation is left for what a band
            // learnt from 100 parts misses, four standard errors for the counting.
            double const surely = 1 - 5 * below(-(ratio - band.factor - 0.5));
            double const error = std::sqrt(0.25 / static_cast<double>(trials));
            CHECK(share >= surely - 4 * error);
            if (ratio >= 8) { // of the rest some are false alarms elsewhere in the part, 1 % or less
                double const few = 4 * std::sqrt(0.03 / static_cast<double>(trials));
                CHECK(share >= 0.99);
                CHECK(static_cast<double>(placed) >= (0.97 - few) * static_cast<double>(trials));
                CHECK(static_cast<double>(hinted) >= (0.97 - few) * static_cast<double>(trials));
            }
        }
}
