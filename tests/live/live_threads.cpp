#include "live/live_cell.hpp"

#include <doctest/doctest.h>

#include <atomic>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <string>
#include <thread>

// The loop as a controller runs it: threads that meet nowhere but in a LiveLink. For ThreadSanitizer above
// all. Times that the threads tell each other here are relaxed atomics, so that they order nothing.

using namespace seamhold;
using namespace seamhold::test;

TEST_CASE("receiving, inputs, ticking and a stop from four threads, by a clock that all follow") {
    CellMake cell;
    cell.link = with_noise(cell.link, 1e-6);
    cell.link.jitter = 0.5e-3;
    cell.inputs = {{"gas", 0.03}};
    cell.duration = 1.3;
    auto const messages = arrivals(cell.motion, cell.link, cell.duration, 31);
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, cell.steering());
    LiveLink<7> link;
    constexpr auto relaxed = std::memory_order_relaxed;
    std::atomic<double> now{cell.link.offset}; // of the ticking thread
    std::atomic<double> delivered{0};          // all messages before this have arrived
    std::atomic<double> stamped{0};            // inputs have been stamped up to this
    std::atomic<bool> done{false}, wants_stop{false};

    std::thread receiving([&] {
        for (auto const& m : messages) {
            delivered.store(m.time, relaxed);
            while (now.load(relaxed) < m.time && !done.load(relaxed))
                std::this_thread::yield();
            receiver.receive(m.message, {m.time}, link);
            if (!receiver.knows_program() && receiver.status() == IntakeStatus::accepted)
                receiver.start(m.sampled, receiver.robot_time(m.message.head.stamp));
        }
        delivered.store(1e9, relaxed);
    });
    std::thread inputs([&] {
        while (!done.load(relaxed)) {
            double const t = now.load(relaxed);
            static_cast<void>(link.inputs.push({0, true, {t}}));
            stamped.store(t, relaxed);
            std::this_thread::yield();
        }
    });
    std::thread stopping([&] {
        while (!wants_stop.load(relaxed) && !done.load(relaxed))
            std::this_thread::yield();
        link.stop();
    });

    std::size_t open = 0, bad = 0;
    auto const count = static_cast<std::size_t>(cell.duration / cell.period);
    for (std::size_t k = 0; k < count; ++k) {
        double const t = cell.link.offset + cell.period * static_cast<double>(k);
        now.store(t, relaxed);
        // The others may be a millisecond behind.
        while (delivered.load(relaxed) < t - 1e-3 || stamped.load(relaxed) < t - 5e-3)
            std::this_thread::yield();
        auto const tick = steering.tick({t}, link);
        open += tick.gate ? 1 : 0;
        bad += is_finite(tick.command.x_mirror + tick.command.y_mirror + tick.command.focus) ? 0 : 1;
        if (t > cell.link.offset + 1.0) { // within the third seam
            wants_stop.store(true, relaxed);
            if (k % 100 == 0)
                std::this_thread::yield();
        }
    }
    done.store(true, relaxed);
    receiving.join();
    inputs.join();
    stopping.join();
    CHECK(bad == 0);
    CHECK(open > 20000);
    auto const& records = steering.gate().seams();
    CHECK(records[0].outcome == SeamOutcome::complete);
    CHECK(records[1].outcome == SeamOutcome::complete);
    CHECK(records[2].outcome == SeamOutcome::stopped);
    CHECK(records[2].cause.reason == GateReason::stopped);
    CHECK(records[3].outcome != SeamOutcome::complete);
    CHECK(link.forecasts.dropped() == 0);
}

TEST_CASE("two threads in real time: nothing is lost, whatever the machine does, and nothing is open late") {
    using Clock = std::chrono::steady_clock;
    CellMake cell;
    cell.link.period = 1e-3;
    cell.link.latency = 2e-3;
    cell.seams = {{"only", 0.1, cell.face_under(0.15, 0.1), {-0.005, 0}, 0.9, 0, 0.012, 0.1}};
    cell.duration = 0.26;
    cell.link.offset = 0.001;
    auto const messages = arrivals(cell.motion, cell.link, cell.duration, 32);
    CellReceiver receiver(cell.receiver(), {ProgramSweep::point});
    auto steering = cell_steering(cell, cell.steering());
    LiveLink<7> link;
    auto const begun = Clock::now();
    auto const now = [&] { return std::chrono::duration<double>(Clock::now() - begun).count(); };
    std::atomic<bool> done{false};
    std::thread receiving([&] {
        for (auto const& m : messages) {
            while (now() < m.time)
                std::this_thread::sleep_for(std::chrono::microseconds(200));
            receiver.receive(m.message, {now()}, link);
            if (!receiver.knows_program() && receiver.status() == IntakeStatus::accepted)
                receiver.start(m.sampled, receiver.robot_time(m.message.head.stamp));
        }
        done.store(true, std::memory_order_release);
    });
    std::uint64_t last_number = 0;
    std::size_t ticks = 0, bad = 0;
    double last = 0;
    bool was_open = false;
    while (!done.load(std::memory_order_acquire)) {
        double const t = now();
        auto const tick = steering.tick({t}, link);
        auto const number = steering.chain().cell_from_flange.forecast.number;
        bad += number < last_number ? 1 : 0;
        bad += tick.gate && !(t - steering.chain().cell_from_flange.forecast.made.seconds <= 0.05) ? 1 : 0;
        bad += tick.gate && was_open && t - last > 0.5e-3 ? 1 : 0;
        was_open = tick.gate;
        last_number = number;
        last = t;
        ++ticks;
        std::this_thread::yield();
    }
    receiving.join();
    MESSAGE(ticks << " ticks, " << last_number << " forecasts, the seam "
                  << std::string(to_string(steering.gate().seams()[0].outcome)));
    CHECK(bad == 0);
    CHECK(last_number > 0);
    CHECK(ticks > 0);
}
