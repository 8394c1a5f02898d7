// Maps: what packs of candidates gain over one candidate at a time, what a second core gains, how few
// candidates the edge of feasibility needs, and how long a million set-ups take. The set-ups are those of the
// tests: a row of 20 stitches, asked at 50 points each. Prints one figure a line, `name value unit`.

#include "measure.hpp"

#include "../tests/map/sweep.hpp"

#include "seamhold/map/margin_question.hpp"
#include "seamhold/map/on_all_cores.hpp"

#include <benchmark/benchmark.h>

#include <cstddef>
#include <string>
#include <vector>

namespace {

using namespace seamhold;
using namespace seamhold::bench;

DesignSpace space(std::size_t sweeps, std::size_t standoffs, std::size_t tilts) {
    return {{axis("sweep", "m/s", 1, 0.05, 0.5, sweeps), axis("standoff", "mm", 1e-3, 420, 500, standoffs),
             axis("tilt", "deg", degrees(1), -12, 12, tilts), choice("head", {"wide", "narrow"}),
             choice("order", {"in a row", "pairs swapped"})}};
}

/// The largest rates that the chain commands over all seams of a set-up, nothing else: what packs are for.
template <class S> S largest_rates(test::SweepMaker const& maker, SetUpValues<S> const& values) {
    using std::abs;
    using T = Taylor<S, 2>;
    auto const set_up = maker(values);
    S largest = number_cast<S>(0);
    for (auto const& seam : set_up.seams)
        for (int k = 0; k < 50; ++k) {
            S const time = number_cast<S>(seam.seam.duration() * k / 49);
            auto const& command =
                set_up.chain.follow(seam.seam, T::variable(time), T::variable(S(seam.start + time)))
                    .aim.command;
            for (T const* axis : {&command.x_mirror, &command.y_mirror})
                for (S const& x :
                     {S(axis->coefficient[1] * (1 / 40.0)), S(axis->coefficient[2] * (1 / 6000.0))})
                    largest = select(abs(x) > largest, S(abs(x)), largest);
        }
    return largest;
}

/// One way of asking a block of candidates, eight at once against one after the other.
template <class Ask> void duel_of_packs(char const* ratio, char const* name, Ask const& ask) {
    Candidates const candidates(space(8, 5, 10));
    auto const ours = [&](std::size_t block) {
        auto const pack = candidates.pack(block);
        auto result = ask(SetUpValues<MapPack>{pack.values, pack.choices});
        benchmark::DoNotOptimize(result);
    };
    auto const baseline = [&](std::size_t block) {
        auto const pack = candidates.pack(block);
        for (int lane = 0; lane < map_lanes; ++lane) {
            SetUpValues<double> one{{}, pack.choices};
            for (auto const& v : pack.values)
                one.value.push_back(v.lane(lane));
            auto result = ask(one);
            benchmark::DoNotOptimize(result);
        }
    };
    auto const times = duel(6, candidates.packs(), map_lanes * 20 * 50, baseline, ours);
    print(ratio, times.ratio(), "ratio");
    print(std::string(name) + "_double_ns", median(times.baseline), "ns");
    print(std::string(name) + "_pack_ns", median(times.ours), "ns");
}

void packs() {
    test::SweepMaker const maker;
    MarginQuestion const question("the sweep of the tests", maker, 50);
    // The whole question: all limits of a report at every point.
    duel_of_packs("pack_vs_double", "map_point", [&](auto const& values) { return question.of(values); });
    // The chain with its rates alone, of which the compiler leaves little for doubles.
    duel_of_packs("pack_chain_vs_double", "chain_point",
                  [&](auto const& values) { return largest_rates(maker, values); });
}

void cores() {
    MarginQuestion const question("the sweep of the tests", test::SweepMaker(), 50);
    Candidates const some(space(20, 10, 10));
    std::vector<double> ratios;
    for (int round = 0; round < 5; ++round) {
        double const one = wall_nanoseconds([&] { run_map_on_all_cores(some, question, {}, 1); });
        double const two = wall_nanoseconds([&] { run_map_on_all_cores(some, question, {}, 2); });
        ratios.push_back(one / two);
    }
    print("two_cores_vs_one", median(ratios), "ratio");

    Candidates const million(space(50, 50, 100));
    double const all = wall_nanoseconds([&] { run_map_on_all_cores(million, question, {}, 2); });
    print("map_million_s", all / 1e9 * 1e6 / static_cast<double>(million.size()), "s");
}

void edge() {
    MarginQuestion const question("the sweep of the tests", test::SweepMaker(), 20);
    DesignSpace const fine{{axis("sweep", "m/s", 1, 0.05, 0.5, 257),
                            axis("standoff", "mm", 1e-3, 420, 500, 257), choice("head", {"wide", "narrow"}),
                            choice("order", {"in a row", "pairs swapped"})}};
    auto const untilted = OneByOne("", question.columns(), [&](Candidate const& c) {
        return question.of(SetUpValues<double>{{c.values[0], c.values[1], 0, c.values[2], c.values[3]},
                                               {0, 0, 0, c.choices[2], c.choices[3]}});
    });
    auto const found = refine_edge_on_all_cores(fine, untilted, {5, {}}, 2);
    print("edge_evaluations", found.whole_grid / static_cast<double>(found.evaluations), "ratio");
    print("edge_cells", static_cast<double>(found.cells.size()), "cells");
}

} // namespace

int main() {
    packs();
    cores();
    edge();
}
