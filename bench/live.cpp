// Times of the live loop: one command with gate and everything every 10 µs, the exact way, over whole sweeps
// with a new forecast every 4 ms. Prints one figure a line, `name value unit`.
#include "measure.hpp"
#include "scene.hpp"

#include "seamhold/live/steering.hpp"

#include <benchmark/benchmark.h>

#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <exception>
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
    Run() : forecasts_(forecasts(std::get<PoseLog<Cell, Flange>>(scene_.chain().cell_from_flange.choice()))) {
        restart();
    }

    /// The next tick.
    LiveTick step() {
        double const now = 10e-6 * static_cast<double>(tick_ % ticks);
        if (tick_ % ticks == 0)
            restart();
        Forecast<7> const* next = nullptr;
        if (tick_ % 400 == 0)
            next = &forecasts_[(tick_ % ticks) / 400];
        ++tick_;
        return loop_[0].tick({now}, next, {now}, false);
    }

    Loop const& loop() const { return loop_[0]; }

private:
    static constexpr std::size_t ticks = 600000 - 400;

    void restart() {
        loop_.clear();
        auto const& chain = scene_.chain();
        loop_.emplace_back(Loop::Moves{{{}, {}}, chain.cell_from_part, chain.flange_from_head, chain.head},
                           scene_.seams(), settings());
    }

    Scene scene_;
    std::vector<Forecast<7>> forecasts_;
    std::vector<Loop> loop_;
    std::size_t tick_ = 0;
};

void print_figures() {
    Run run;
    std::size_t open = 0, within = 0;
    std::array<std::size_t, gate_reason_count> why{};
    for (int i = 0; i < 599600; ++i) {
        auto const tick = run.step();
        open += tick.gate;
        ++why[static_cast<std::size_t>(tick.cause.reason)];
        within += tick.status == Status::ok;
    }
    for (std::size_t i = 0; i < why.size(); ++i)
        if (why[i])
            std::printf("# %s %zu\n", to_string(static_cast<GateReason>(i)), why[i]);
    std::printf("# open %zu within %zu\n", open, within);
    for (auto const& s : run.loop().gate().seams())
        std::printf("# %s %s\n", to_string(s.outcome), to_string(s.cause.reason));
    double x = 0;
    std::vector<double> blocks;
    for (int b = 0; b < 1000; ++b)
        blocks.push_back(processor_nanoseconds([&] {
                             for (int i = 0; i < 1000; ++i)
                                 x += run.step().command.x_mirror;
                         }) /
                         1000);
    benchmark::DoNotOptimize(x);
    print("live_tick_ns", median(blocks), "ns");
    auto const times = one_by_one(1500000, [&](std::size_t) { benchmark::DoNotOptimize(run.step()); });
    print("live_tick_p50_ns", quantile(times, 0.5), "ns");
    print("live_tick_p99_ns", quantile(times, 0.99), "ns");
    print("live_tick_p999_ns", quantile(times, 0.999), "ns");
    print("live_tick_p9999_ns", quantile(times, 0.9999), "ns");
    print("live_tick_longest_seen_ns", *std::max_element(times.begin(), times.end()), "ns");
    print("live_tick_p999_vs_p50", quantile(times, 0.999) / quantile(times, 0.5), "ratio");
}

} // namespace

int main() {
    try {
        print_figures();
    } catch (std::exception const& e) {
        std::fprintf(stderr, "%s\n", e.what());
        return 1;
    }
    return 0;
}
