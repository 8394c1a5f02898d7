#include "seamhold/live/steering.hpp"

#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

std::string told(SeamRecord const& record) {
    return std::string(to_string(record.outcome)) + ", " + to_string(record.cause.reason) + " " +
           detail_of(record.cause) + " " + std::to_string(record.cause.value * 1e6) + "e-6 of " +
           std::to_string(record.cause.allowed * 1e6) + "e-6";
}

// Links from the best to a bad one.
struct NamedLink {
    std::string name;
    LinkSettings link;
    Deviations expected; // of the true spot at most; measured, with some room
};

std::vector<NamedLink> links() {
    LinkSettings best;
    best.offset = 40;
    auto noisy = with_noise(best, 1e-6);
    auto uneven = noisy;
    uneven.jitter = 1e-3;
    uneven.latency = 9e-3;
    uneven.drift = 100e-6;
    auto bad = uneven;
    bad.loss = 0.02;
    bad.duplicated = 0.05;
    bad.late = 0.02;
    bad.lateness = 6e-3;
    auto rates = uneven;
    rates.has_rates = true;
    rates.rate_noise = 1e-3;
    auto fast = with_noise(best, 1e-6);
    fast.period = 1e-3;
    fast.latency = 3e-3;
    return {{"best", best, {1e-6, 1e-6, 1e-6}},
            {"1 um of noise", noisy, {20e-6, 20e-6, 20e-6}},
            {"and jitter of 1 ms, drift of 100 ppm", uneven, {40e-6, 40e-6, 40e-6}},
            {"and 2 % lost, 5 % twice, 2 % overtaken", bad, {60e-6, 60e-6, 60e-6}},
            {"with rates", rates, {60e-6, 60e-6, 60e-6}},
            {"1 ms samples", fast, {60e-6, 60e-6, 60e-6}}};
}

} // namespace

TEST_CASE("a cell without faults welds all seams, from end to end, with the light where it belongs") {
    for (auto const& one : links()) {
        CellMake cell;
        cell.link = one.link;
        auto const run = run_cell(cell, arrivals(cell.motion, cell.link, cell.duration, 1));
        MESSAGE(one.name << ": across " << run.worst.across * 1e6 << ", along " << run.worst.along * 1e6
                         << ", focus " << run.worst.focus * 1e6 << " um at most; stated "
                         << run.worst_stated.across * 1e6 << ", " << run.worst_stated.along * 1e6 << ", "
                         << run.worst_stated.focus * 1e6);
        CHECK(run.within(cell.tolerances));
        CHECK(run.within(one.expected));
        for (std::size_t i = 0; i < cell.seams.size(); ++i) {
            INFO(one.name << ", " << cell.seams[i].name << ": " << told(run.records[i]));
            CHECK(run.records[i].outcome == SeamOutcome::complete);
            CHECK(run.opened(i) == 1);
            auto const lit = [&](Lit const& l) { return l.seam == i; };
            auto const first = std::find_if(run.lit.begin(), run.lit.end(), lit);
            auto const last = std::find_if(run.lit.rbegin(), run.lit.rend(), lit);
            REQUIRE(first != run.lit.end());
            MESSAGE(cell.seams[i].name << " light from " << first->seam_time * 1e6 << " us to "
                                       << (last->seam_time - cell.seams[i].duration()) * 1e6
                                       << " us of the end");
        }
    }
}
