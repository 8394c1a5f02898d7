// Times of the weld record: four channels at 200 kHz over a sweep of twenty seams, placed along the seams and
// judged against bands, as a share of the time that the samples took; one look-up a sample beside it, and the
// judge beside the tick loop over the same. And the memory of a band that was learnt from 1 000 parts against
// one from 10. Prints one figure a line, `name value unit`. All numbers are invented.
#include "measure.hpp"

#include "seamhold/record/band_learner.hpp"
#include "seamhold/record/judge.hpp"
#include "seamhold/record/live_judge.hpp"
#include "seamhold/record/place.hpp"

#include <benchmark/benchmark.h>

#include <malloc.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <new>
#include <optional>
#include <random>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

namespace {
double heap_bytes = 0; ///< in use
} // namespace

// Every block of the heap is counted, as long as it lives.
void* operator new(std::size_t size) {
    void* const block = std::malloc(size);
    if (block == nullptr)
        throw std::bad_alloc();
    heap_bytes += static_cast<double>(malloc_usable_size(block));
    return block;
}
void operator delete(void* block) noexcept {
    heap_bytes -= static_cast<double>(malloc_usable_size(block));
    std::free(block);
}
void operator delete(void* block, std::size_t) noexcept { operator delete(block); }

namespace {

using namespace seamhold;
using namespace seamhold::bench;

constexpr std::size_t channel_count = 4;
constexpr double rate = 200e3;              // samples a second and channel
constexpr double length = 0.05;             // of a seam, m
constexpr std::size_t block_samples = 1000; // 5 ms

/// From 0 to 1, the same on every compiler.
double uniform(std::mt19937_64& random) { return static_cast<double>(random() >> 11U) * 0x1p-53; }

std::vector<Channel> channels() {
    std::vector<Channel> all;
    for (std::size_t c = 0; c < channel_count; ++c) {
        Channel channel{"channel " + std::to_string(c + 1), rate};
        channel.delay = 0.3e-3 * static_cast<double>(c);
        channel.readable = {-10, 10};
        channel.longest_same = 1e-3;
        all.push_back(channel);
    }
    return all;
}

/// Twenty seams, 15 ms apart, each welded with a speed that swings, as a live trace tells it: a knot every
/// 100 µs.
std::vector<SeamPass> passes() {
    std::vector<SeamPass> all;
    double time = 1;
    for (int i = 0; i < 20; ++i) {
        SeamPass pass{{{}, "seam " + std::to_string(i + 1), 1}, length, {}};
        double place = 0;
        while (place < length) {
            pass.knots.push_back({{time}, place, true});
            place += 1e-4 * (0.1 + 0.04 * std::sin(40 * time));
            time += 1e-4;
        }
        pass.knots.push_back({{time}, length, false});
        time += 15e-3;
        all.push_back(std::move(pass));
    }
    return all;
}

/// What one channel recorded over all of it: noise with a slow part.
std::vector<float> signal(std::mt19937_64& random, std::size_t count) {
    std::vector<float> all;
    double slow = 0;
    for (std::size_t i = 0; i < count; ++i) {
        slow += 0.002 * (uniform(random) - 0.5 - 0.001 * slow);
        all.push_back(static_cast<float>(3 + slow + 0.4 * (uniform(random) - 0.5)));
    }
    return all;
}

/// A band so wide that judging goes through all cells.
SignalBand wide_band(SeamTrace const& trace) {
    SignalBand band{trace.key, trace.cells, {}, {}, 0, 100};
    for (auto const& name : trace.channels)
        band.channels.push_back({name, std::vector<double>(trace.cells.count, 3.0),
                                 std::vector<double>(trace.cells.count, 1.0),
                                 std::vector<double>(trace.cells.count, 5.0)});
    return band;
}

/// All of it through the judge beside the loop: a tick every 10 µs, and every 5 ms the blocks of the 5 ms
/// before.
void print_live(std::vector<SeamPass> const& all_passes, std::vector<SignalBand> const& bands,
                std::vector<std::vector<float>> const& signals, double start) {
    constexpr double period = 10e-6;
    constexpr std::size_t ticks_per_block = 500;
    struct Told {
        std::uint32_t seam;
        double arc_length;
        bool open;
    };
    std::vector<Told> told;
    std::vector<LiveSeam> seams;
    for (std::size_t i = 0; i < bands.size(); ++i)
        seams.push_back({bands[i].key, length, bands[i]});
    std::size_t const blocks = signals[0].size() / block_samples;
    std::uint32_t seam = 0;
    for (std::size_t k = 0; k < (blocks + 1) * ticks_per_block; ++k) {
        ScannerTime const at{start + period * static_cast<double>(k)};
        if (seam + 1 < all_passes.size() && at > all_passes[seam].knots.back().time)
            ++seam;
        auto const open = all_passes[seam].lit_place(at);
        auto const next = all_passes[seam].lit_place(at + period);
        bool const begins = told.empty() || !told.back().open;
        told.push_back({seam, begins || !next ? open.value_or(0) : *next, open && next});
    }
    LiveJudgeSettings settings;
    settings.timing = {period, 0, 0};
    std::vector<double> times;
    for (int round = 0; round < 5; ++round) {
        LiveJudge live(seams, channels(), settings);
        times.push_back(processor_nanoseconds([&] {
            for (std::size_t b = 0; b <= blocks; ++b) {
                for (std::size_t k = b * ticks_per_block; k < (b + 1) * ticks_per_block; ++k)
                    live.tick({start + period * static_cast<double>(k)}, told[k].seam, told[k].arc_length,
                              told[k].open);
                for (std::size_t c = 0; c < channel_count && b > 0; ++c) {
                    std::size_t const first = (b - 1) * block_samples;
                    if (live.take({c,
                                   first,
                                   {start + static_cast<double>(first) / rate},
                                   std::span(signals[c]).subspan(first, block_samples)}) != BlockTaken::taken)
                        throw std::runtime_error("the judge beside the loop did not take a block");
                }
            }
        }));
        for (std::uint32_t i = 0; i < seams.size(); ++i)
            if (live.verdict(i, "part", 0).judgement != Judgement::good)
                throw std::runtime_error("the judge beside the loop did not find a good part good");
    }
    print("live_judge_vs_real_time",
          static_cast<double>(blocks * block_samples) / rate / (1e-9 * median(times)), "ratio");
}

void print_placing() {
    std::mt19937_64 random(20250301);
    auto const all_passes = passes();
    auto const all_channels = channels();
    double const start = all_passes.front().knots.front().time.seconds - 5e-3;
    double const end = all_passes.back().knots.back().time.seconds + 5e-3;
    auto const count = static_cast<std::size_t>((end - start) * rate);
    std::vector<std::vector<float>> signals;
    for (std::size_t c = 0; c < channel_count; ++c)
        signals.push_back(signal(random, count));
    auto const block = [&](std::size_t c, std::size_t first) {
        auto const& s = signals[c];
        std::size_t const size = std::min(block_samples, s.size() - first);
        return SampleBlock{
            c, first, {start + static_cast<double>(first) / rate}, std::span(s).subspan(first, size)};
    };
    auto const placed = [&] {
        SamplePlacer placer(all_passes, all_channels);
        for (std::size_t first = 0; first < count; first += block_samples)
            for (std::size_t c = 0; c < channel_count; ++c)
                placer.add(block(c, first));
        return placer.placed("part", 0);
    };
    std::vector<SignalBand> bands;
    for (auto const& trace : placed().traces) {
        for (auto const& channel : trace.traces)
            for (std::size_t i = 0; i < trace.cells.count; ++i)
                if (!(channel.covered[i] > 0.99F) || !(std::abs(channel.value[i] - 3) < 2))
                    throw std::runtime_error("the bench's seam " + trace.key.seam + " was not seen whole");
        bands.push_back(wide_band(trace));
    }
    auto const ours = [&](std::size_t) {
        auto const all = placed();
        for (std::size_t i = 0; i < bands.size(); ++i) {
            auto const verdict = judge(bands[i], all.traces[i]);
            if (verdict.judgement != Judgement::good)
                throw std::runtime_error("the bench's part is not good");
            benchmark::DoNotOptimize(verdict.findings.size());
        }
    };
    // The plain way: each sample is looked up by its moment, and added to the cell where it is.
    auto const looked_up = [&](std::size_t) {
        std::vector<double> sums(all_passes.size() * 200, 0.0);
        auto const cells = cells_of(length, PlaceOptions{}.resolution);
        for (std::size_t c = 0; c < channel_count; ++c)
            for (std::size_t i = 0; i < count; ++i) {
                ScannerTime const stamp{start + static_cast<double>(i) / rate};
                for (std::size_t p = 0; p < all_passes.size(); ++p)
                    if (auto const place = place_of(all_passes[p], all_channels[c], stamp)) {
                        sums[p * 200 + cells.at(*place)] += static_cast<double>(signals[c][i]);
                        break;
                    }
            }
        benchmark::DoNotOptimize(sums.data());
    };
    double const samples = static_cast<double>(channel_count * count);
    auto const times = duel(5, 1, channel_count * count, looked_up, ours);
    double const seconds = 1e-9 * median(times.ours) * samples;
    print("record_sample_ns", median(times.ours), "ns");
    print("record_vs_look_up", times.ratio(), "ratio");
    print("record_vs_real_time", static_cast<double>(count) / rate / seconds, "ratio");
    print_live(all_passes, bands, signals, start);
}

/// A good part: correlated along the seam, with an offset of its own.
SeamTrace good_part(std::mt19937_64& random, std::size_t number) {
    SeamTrace trace{{{}, "seam", 1},
                    std::to_string(number),
                    static_cast<double>(number),
                    cells_of(length, 0.5e-3),
                    {},
                    {},
                    {}};
    for (std::size_t c = 0; c < channel_count; ++c) {
        trace.channels.push_back("channel " + std::to_string(c + 1));
        ChannelTrace t{{}, std::vector<float>(trace.cells.count, 1.0F)};
        double slow = uniform(random) - 0.5;
        for (std::size_t i = 0; i < trace.cells.count; ++i) {
            slow += 0.2 * (uniform(random) - 0.5) - 0.05 * slow;
            t.value.push_back(3 + slow + 0.2 * (uniform(random) - 0.5));
        }
        trace.traces.push_back(std::move(t));
    }
    return trace;
}

void print_memory() {
    std::mt19937_64 random(20250302);
    auto const first = good_part(random, 0);
    std::vector<double> times;
    times.reserve(1000); // not to be counted
    auto const empty = heap_bytes;
    std::optional<BandLearner> learner(std::in_place, first.key, first.cells, first.channels);
    double after_10 = 0, early = 0;
    for (std::size_t i = 1; i <= 1000; ++i) {
        {
            auto const part = good_part(random, i);
            times.push_back(processor_nanoseconds([&] { (void)learner->learn(part, IfUnlike::take); }));
        }
        if (i == 10)
            after_10 = heap_bytes - empty;
        if (i == 100) {
            early = median({times.begin() + 10, times.end()});
            times.clear();
        }
    }
    double const after_1000 = heap_bytes - empty;
    if (learner->state().parts != 1000)
        throw std::runtime_error("the bench's parts were not learnt");
    print("band_memory_kB", after_1000 / 1e3, "kB");
    print("band_memory_told_kB", static_cast<double>(learner->memory()) / 1e3, "kB");
    print("band_memory_growth", after_1000 / after_10, "ratio");
    print("band_update_us", 1e-3 * median(times), "us");
    print("band_update_growth", median(times) / early, "ratio");
}

} // namespace

int main() {
    try {
        print_placing();
        print_memory();
    } catch (std::exception const& e) {
        std::fprintf(stderr, "%s\n", e.what());
        return 1;
    }
    return 0;
}
