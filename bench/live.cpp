// Times of the live loop: one command with gate and everything every 10 µs over whole sweeps with a new
// forecast every 4 ms, the exact way and in blocks of 90 ticks, side by side; and of a message in the
// receiving thread, early and late in a long stream. Prints one figure a line, `name value unit`. The longest
// time that was seen is no bound of the worst case: on a shared machine it says what else ran.
//
// `bench_live ticks N exact|blocks` makes the first N ticks and prints nothing: for counting instructions.
#include "measure.hpp"
#include "scene.hpp"

#include "seamhold/live/receiver.hpp"
#include "seamhold/live/steering.hpp"

#include <benchmark/benchmark.h>

#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <random>
#include <stdexcept>
#include <string>
#include <variant>
#include <vector>

namespace {

using namespace seamhold;
using namespace seamhold::bench;

using Loop = Steering<ForecastFlange, AnyPartMotion, AnyHead>;

/// What a perfect receiving thread would send every 4 ms: the recorded motion's own cubic 8 ms ahead.
std::vector<Forecast<7>> forecasts(PoseLog<Cell, Flange> const& log) {
    std::vector<Forecast<7>> all;
    for (int i = 0; i < 1500; ++i) {
        double const time = 0.004 * i;
        auto const r = log.components(Taylor<double, 3>::variable(time + 0.01));
        Forecast<7> f{};
        f.number = all.size() + 1;
        f.made = {time};
        f.newest = {time - 0.008};
        f.clock = {{time}, {time}, 1};
        f.clock_uncertainty = 1e-6;
        f.about = {time + 0.01};
        for (std::size_t d = 0; d < 7; ++d)
            for (int k = 0; k <= 3; ++k)
                f.coefficient[k][d] = r[d].coefficient[k];
        f.program_time = time + 0.01;
        f.program_rate = 1;
        f.measured_rate = 1;
        f.speed = 0.2;
        f.error = {0.004, {}, 3};
        for (auto& moment : f.error.moment)
            for (int k = 0; k < 3; ++k)
                moment[k] = 1e-11;
        all.push_back(f);
    }
    return all;
}

SteeringSettings settings() {
    HeadDynamics const dynamics{50, 5e4, 2e4, 250e-6, 500e-6, 5, 1e-3, no_limit, 5000};
    Job const job{Scene().chain(), dynamics, degrees(60), {}, {}, {}, {}};
    auto s = steering_settings(job, {100e-6, 200e-6, 1e-3});
    s.x_response = s.y_response = AxisResponse::second_order(1500, 0.8, 60e-6);
    s.focus_response = AxisResponse::second_order(200, 0.8, 200e-6);
    s.laser = {30e-6, 20e-6};
    s.power = 3000;
    return s;
}

/// The loop over the whole job, ticks in order of time, again and again.
class Run {
public:
    explicit Run(bool blocks)
        : log_(std::get<PoseLog<Cell, Flange>>(scene_.chain().cell_from_flange.choice())) {
        forecasts_ = forecasts(log_);
        auto const& chain = scene_.chain();
        for (int i = 0; i < 2; ++i)
            loops_.emplace_back(
                Loop::Moves{{{}, {}}, chain.cell_from_part, chain.flange_from_head, chain.head},
                scene_.seams(), settings());
        if (blocks) {
            std::vector<BlockBounds<Loop::block_order>> bounds;
            for (auto const& s : scene_.seams())
                bounds.emplace_back(loops_[0].chain(), s.seam, log_, box(s.start), options());
            loops_[0].use_blocks(bounds);
        }
        restart();
    }

    /// The next tick.
    LiveTick step() {
        std::size_t const i = tick_++ % ticks;
        if (i == 0)
            restart();
        double const now = 10e-6 * static_cast<double>(i);
        return loops_[1].tick({now}, i % 400 == 0 ? &forecasts_[i / 400] : nullptr, {now}, false);
    }

    Loop const& loop() const { return loops_[1]; }

    /// The ticks of one sweep, and those of them in seams.
    static constexpr std::size_t ticks = 599600;

private:
    static ForecastBox box(double start) {
        return {{2e-3, 0.02, 1, 100}, {2e-3, 0.02, 1, 100}, start, {0.98, 1.02}, {0.999, 1.001},
                {0.999, 1.001},       Interval::whole()};
    }
    static BlockOptions options() {
        BlockOptions o;
        o.longest = 0.9e-3;
        return o;
    }

    void restart() {
        loops_.pop_back();
        loops_.push_back(loops_[0]);
    }

    Scene scene_;
    PoseLog<Cell, Flange> log_;
    std::vector<Forecast<7>> forecasts_;
    std::vector<Loop> loops_; ///< as it begins, and the one that runs
    std::size_t tick_ = 0;
};

/// Times of ticks within seams, in blocks of the clock, ns a tick.
std::vector<double> times_of(Run& run) {
    std::vector<double> times;
    double x = 0;
    for (std::size_t b = 0; b < Run::ticks / 400; ++b) {
        bool open = true;
        double const time = processor_nanoseconds([&] {
            for (int i = 0; i < 400; ++i) {
                auto const tick = run.step();
                open = open && tick.gate;
                x += tick.command.x_mirror;
            }
        });
        if (open)
            times.push_back(time / 400);
    }
    benchmark::DoNotOptimize(x);
    return times;
}

/// A message every 4 ms, for 7 minutes.
void print_messages() {
    Receiver<PoseMessage> receiver(ReceiverSettings::of(0.004), {{0, 0, 0.5}});
    std::mt19937_64 random(20240613);
    std::size_t count = 0;
    auto const step = [&](std::size_t) {
        double const t = 0.004 * static_cast<double>(++count);
        PoseMessage m{};
        m.head.has_stamp = true;
        m.head.stamp = static_cast<std::int64_t>(count) * 4'000'000;
        m.origin = {0.5 + 0.1 * std::sin(2 * t), 1e-6 * uniform(random), 0.7};
        m.rotation = {0, 1, 0, 0};
        benchmark::DoNotOptimize(receiver.take(m, {t + 0.008 + 0.0005 * uniform(random)}));
    };
    one_by_one(1000, step);
    double const early = median(one_by_one(2000, step));
    one_by_one(100000, step);
    double const late = median(one_by_one(2000, step));
    print("message_ns", late, "ns");
    print("message_growth", late / early, "ratio");
}

void print_figures() {
    Run exact(false), blocks(true);
    double off = 0;
    for (std::size_t i = 0; i < Run::ticks; ++i) {
        auto const a = exact.step(), b = blocks.step();
        if (a.gate != b.gate || a.seam != b.seam)
            throw std::runtime_error("in blocks the gate is another at tick " + std::to_string(i));
        off = std::max({off, std::abs(a.command.x_mirror - b.command.x_mirror),
                        std::abs(a.command.y_mirror - b.command.y_mirror)});
    }
    for (auto const& s : exact.loop().gate().seams())
        if (s.outcome != SeamOutcome::complete)
            throw std::runtime_error(std::string("a seam of the bench was not welded: ") +
                                     to_string(s.cause.reason));
    print("block_off_exact_nrad", 1e9 * off, "nrad");
    std::vector<double> exact_times, block_times, ratios;
    for (int round = 0; round < 3; ++round) {
        auto const e = times_of(exact), b = times_of(blocks);
        for (std::size_t i = 0; i < std::min(e.size(), b.size()); ++i)
            ratios.push_back(e[i] / b[i]);
        exact_times.insert(exact_times.end(), e.begin(), e.end());
        block_times.insert(block_times.end(), b.begin(), b.end());
    }
    print("live_tick_ns", median(exact_times), "ns");
    print("block_tick_ns", median(block_times), "ns");
    print("block_vs_exact", median(ratios), "ratio");
    auto const times =
        one_by_one(2 * Run::ticks, [&](std::size_t) { benchmark::DoNotOptimize(exact.step()); });
    print("live_tick_p50_ns", quantile(times, 0.5), "ns");
    print("live_tick_p99_ns", quantile(times, 0.99), "ns");
    print("live_tick_p999_ns", quantile(times, 0.999), "ns");
    print("live_tick_p9999_ns", quantile(times, 0.9999), "ns");
    print("live_tick_longest_seen_ns", *std::max_element(times.begin(), times.end()), "ns");
    print("live_tick_p999_vs_p50", quantile(times, 0.999) / quantile(times, 0.5), "ratio");
    print_messages();
}

} // namespace

int main(int count, char** word) {
    try {
        if (count == 4 && std::string(word[1]) == "ticks") {
            Run run(std::string(word[3]) == "blocks");
            for (long i = std::stol(word[2]); i > 0; --i)
                benchmark::DoNotOptimize(run.step());
            return 0;
        }
        print_figures();
    } catch (std::exception const& e) {
        std::fprintf(stderr, "%s\n", e.what());
        return 1;
    }
    return 0;
}
