#ifndef SEAMHOLD_BENCH_PLAN_AIR_HPP
#define SEAMHOLD_BENCH_PLAN_AIR_HPP

#include "measure.hpp"

#include "seamhold/follow/air_move.hpp"

#include <benchmark/benchmark.h>

#include <array>
#include <cstddef>
#include <random>
#include <vector>

// What an air move costs: three axes towards a target that moves, and the time alone towards one at rest.
namespace seamhold::bench {

/// A target whose axes move with steady acceleration.
struct AirTarget {
    AxesState state; ///< at time 0

    /// The state at time t, s.
    AxesState operator()(double t) const {
        auto const at = [t](AxisState const& s) {
            return AxisState{s.position + t * (s.velocity + t * s.acceleration / 2),
                             s.velocity + t * s.acceleration, s.acceleration};
        };
        return {at(state.x_mirror), at(state.y_mirror), at(state.focus)};
    }
};

/// States as seams leave and ask for them: all over a field of ±0.2 rad, mirrors at up to 0.5 rad/s and
/// 20 rad/s², the lens over ±2 mm. Invented.
inline std::vector<AxesState> air_states(std::size_t count, unsigned seed) {
    std::mt19937_64 engine(seed);
    auto const axis = [&](double position, double velocity, double acceleration) {
        auto const within = [&](double size) {
            return std::uniform_real_distribution<double>(-size, size)(engine);
        };
        double const p = within(position), v = within(velocity), a = within(acceleration);
        return AxisState{p, v, a};
    };
    std::vector<AxesState> states(count);
    for (AxesState& s : states) {
        s.x_mirror = axis(0.2, 0.5, 20);
        s.y_mirror = axis(0.2, 0.5, 20);
        s.focus = axis(0.002, 0.005, 0.5);
    }
    return states;
}

/// Prints `air_move_ns`, one move of three axes to a moving target, and `air_time_ns`, the least time to a
/// resting one; both in processor time of a thread, as medians over blocks.
inline void measure_air_moves() {
    constexpr std::size_t items = 512, blocks = 16, rounds = 9;
    // Of a head of ordinary size, as an assumption.
    AirLimits const limits{{50, 1e5, 1e9}, {1, 300, 1e7}, 1e-4};
    auto const states = air_states(items * blocks, 7);
    auto const from = [&](std::size_t i) -> AxesState const& { return states[i]; };
    auto const to = [&](std::size_t i) -> AxesState const& { return states[(i * 7 + 3) % states.size()]; };
    Duel const times = duel(
        rounds, blocks, items,
        [&](std::size_t block) {
            for (std::size_t i = block * items; i < (block + 1) * items; ++i)
                benchmark::DoNotOptimize(air_time(from(i), to(i), limits));
        },
        [&](std::size_t block) {
            for (std::size_t i = block * items; i < (block + 1) * items; ++i) {
                auto const move = air_move(from(i), 0, AirTarget{to(i)}, limits, 1);
                benchmark::DoNotOptimize(move);
            }
        });
    print("air_time_ns", median(times.baseline), "ns");
    print("air_move_ns", median(times.ours), "ns");
}

} // namespace seamhold::bench

#endif
