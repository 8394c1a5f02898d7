#ifndef SEAMHOLD_TESTS_LIVE_GATE_FACTS_HPP
#define SEAMHOLD_TESTS_LIVE_GATE_FACTS_HPP

#include "seamhold/live/gate.hpp"

#include <cmath>
#include <functional>
#include <limits>
#include <string>
#include <vector>

// Facts with which the gate opens, and ways to spoil them one by one.

namespace seamhold::test {

inline GateSettings gate_settings() {
    GateSettings settings;
    settings.tolerances = {30e-6, 200e-6, 900e-6};
    return settings;
}

/// A seam of 40 mm that takes 0.2 s, at `seam_time`; everything is well.
inline GateFacts good_facts(double seam_time, double now) {
    GateFacts facts;
    facts.now = {now};
    facts.welding = true;
    facts.seam = 0;
    facts.seam_time = seam_time;
    facts.seam_duration = 0.2;
    facts.arc_length = 0.2 * seam_time;
    facts.has_forecast = true;
    facts.fault = StreamFault::none;
    facts.data_age = 0.006;
    facts.horizon = 0.009;
    facts.heartbeat = {now - 0.002};
    facts.stated = {8e-6, 20e-6, 50e-6};
    facts.clock = {3e-6, 10e-6, 5e-6};
    facts.blend = {2e-6, 2e-6, 2e-6};
    facts.program_rate = 1;
    facts.status = Status::ok;
    facts.utilisation_now = 0.7;
    facts.limit_now = Limit::x_velocity;
    facts.utilisation_ahead = 0.8;
    facts.limit_ahead = Limit::y_acceleration;
    facts.inputs = {InputFault::none, 0, 0};
    facts.other_fingerprint = std::nullopt;
    facts.dry_run = false;
    facts.stop = false;
    return facts;
}

/// Every number among the facts.
inline std::vector<std::function<double&(GateFacts&)>> numbers_of_facts() {
    return {[](GateFacts& f) -> double& { return f.now.seconds; },
            [](GateFacts& f) -> double& { return f.seam_time; },
            [](GateFacts& f) -> double& { return f.seam_duration; },
            [](GateFacts& f) -> double& { return f.arc_length; },
            [](GateFacts& f) -> double& { return f.data_age; },
            [](GateFacts& f) -> double& { return f.horizon; },
            [](GateFacts& f) -> double& { return f.heartbeat.seconds; },
            [](GateFacts& f) -> double& { return f.stated.across; },
            [](GateFacts& f) -> double& { return f.stated.along; },
            [](GateFacts& f) -> double& { return f.stated.focus; },
            [](GateFacts& f) -> double& { return f.clock.across; },
            [](GateFacts& f) -> double& { return f.clock.along; },
            [](GateFacts& f) -> double& { return f.clock.focus; },
            [](GateFacts& f) -> double& { return f.blend.across; },
            [](GateFacts& f) -> double& { return f.blend.along; },
            [](GateFacts& f) -> double& { return f.blend.focus; },
            [](GateFacts& f) -> double& { return f.program_rate; },
            [](GateFacts& f) -> double& { return f.utilisation_now; },
            [](GateFacts& f) -> double& { return f.utilisation_ahead; }};
}

/// One fact spoiled, and what the gate must say of it.
struct Spoiled {
    GateReason reason;
    int which;
    double value;
    double allowed;
    std::function<void(GateFacts&)> spoil;
    std::function<void(GateFacts&)> mend; ///< as far as it goes while it is still good
};

/// Facts that are just beyond, beside the same that are just within, worked out by hand from
/// `gate_settings`. Without those that need more than one tick.
inline std::vector<Spoiled> spoiled_facts() {
    using R = GateReason;
    using F = GateFacts&;
    constexpr double up = 1 + 1e-9;
    return {
        {R::not_finite, 0, NAN, 0, [](F f) { f.arc_length = NAN; }, [](F f) { f.arc_length = 1e9; }},
        {R::stopped, 0, 0, 0, [](F f) { f.stop = true; }, [](F f) { f.stop = false; }},
        {R::fingerprint, 3, 0, 0, [](F f) { f.other_fingerprint = FingerprintPart::calibration; }, [](F) {}},
        {R::input, 5, 0.25, 0,
         [](F f) {
             f.inputs = {InputFault::stale, 5, 0.25};
         },
         [](F) {}},
        {R::writer_silent, 0, 0.0501, 0.05, [](F f) { f.heartbeat = f.now + -0.0501; },
         [](F f) { f.heartbeat = f.now + -0.0499; }},
        {R::writer_silent, 0, -0.0011, 0.05, [](F f) { f.heartbeat = f.now + 0.0011; },
         [](F f) { f.heartbeat = f.now + 0.0009; }},
        {R::no_forecast, 0, 0, 0, [](F f) { f.has_forecast = false; }, [](F) {}},
        {R::stream_fault, 7, 0, 0, [](F f) { f.fault = StreamFault::clock_step; }, [](F) {}},
        {R::stream_fault, 1, 0, 0, [](F f) { f.fault = StreamFault::few_samples; }, [](F) {}},
        {R::stale_data, 0, 0.05 * up, 0.05, [](F f) { f.data_age = 0.05 * up; },
         [](F f) { f.data_age = 0.05; }},
        {R::stale_data, 0, -0.0011, 0.05, [](F f) { f.data_age = -0.0011; },
         [](F f) { f.data_age = -0.0009; }},
        {R::stale_data, 0, 0.05 * up, 0.05, [](F f) { f.horizon = 0.05 * up; },
         [](F f) { f.horizon = 0.05; }},
        {R::clocks_uncertain, 0, 15e-6 * up, 15e-6, [](F f) { f.clock.across = 15e-6 * up; },
         [](F f) { f.clock.across = 15e-6 / up; }},
        {R::clocks_uncertain, 0, 100e-6 * up, 100e-6, [](F f) { f.clock.along = 100e-6 * up; },
         [](F f) { f.clock.along = 100e-6 / up; }},
        {R::clocks_uncertain, 0, 450e-6 * up, 450e-6, [](F f) { f.clock.focus = 450e-6 * up; },
         [](F f) { f.clock.focus = 450e-6 / up; }},
        {R::clocks_uncertain, 0, -1e-9, 15e-6, [](F f) { f.clock.across = -1e-9; },
         [](F f) { f.clock.across = 0; }},
        {R::blending, 0, 15e-6 * up, 15e-6, [](F f) { f.blend.across = 15e-6 * up; },
         [](F f) { f.blend.across = 15e-6 / up; }},
        {R::blending, 0, 100e-6 * up, 100e-6, [](F f) { f.blend.along = 100e-6 * up; },
         [](F f) { f.blend.along = 100e-6 / up; }},
        {R::blending, 0, 450e-6 * up, 450e-6, [](F f) { f.blend.focus = 450e-6 * up; },
         [](F f) { f.blend.focus = 450e-6 / up; }},
        {R::blending, 0, -1e-9, 200e-6 / 2, [](F f) { f.blend.along = -1e-9; },
         [](F f) { f.blend.along = 0; }},
        // 8 + 3 + 2 µm across, 20 + 10 + 2 µm along, 50 + 5 + 2 µm of the focus are there.
        {R::error_across, 0, 30.01e-6, 30e-6, [](F f) { f.stated.across = 25.01e-6; },
         [](F f) { f.stated.across = 24.99e-6; }},
        {R::error_across, 0, 30.01e-6, 30e-6,
         [](F f) {
             f.stated.across = 12e-6;
             f.clock.across = 14e-6;
             f.blend.across = 4.01e-6;
         },
         [](F f) {
             f.stated.across = 12e-6;
             f.clock.across = 14e-6;
             f.blend.across = 3.99e-6;
         }},
        {R::error_across, 0, 4e-6, 30e-6, [](F f) { f.stated.across = -1e-6; },
         [](F f) { f.stated.across = 0; }},
        {R::error_along, 0, 200.01e-6, 200e-6, [](F f) { f.stated.along = 188.01e-6; },
         [](F f) { f.stated.along = 187.99e-6; }},
        {R::error_along, 0, 11e-6, 200e-6, [](F f) { f.stated.along = -1e-6; },
         [](F f) { f.stated.along = 0; }},
        {R::error_focus, 0, 900.01e-6, 900e-6, [](F f) { f.stated.focus = 893.01e-6; },
         [](F f) { f.stated.focus = 892.99e-6; }},
        {R::error_focus, 0, 6e-6, 900e-6, [](F f) { f.stated.focus = -1e-6; },
         [](F f) { f.stated.focus = 0; }},
        {R::out_of_reach, 1, 0, 0, [](F f) { f.status = Status::out_of_reach; }, [](F) {}},
        {R::out_of_reach, 4, 0, 0, [](F f) { f.status = Status::no_data; }, [](F) {}},
        {R::limit_passed, 4, 1 + 1e-9, 1, [](F f) { f.utilisation_now = 1 + 1e-9; },
         [](F f) { f.utilisation_now = 1; }},
        {R::limit_ahead, 7, 1 + 1e-9, 1, [](F f) { f.utilisation_ahead = 1 + 1e-9; },
         [](F f) { f.utilisation_ahead = 1; }},
        {R::sweep_speed, 0, 1.02 * up, 1.02, [](F f) { f.program_rate = 1.02 * up; },
         [](F f) { f.program_rate = 1.02; }},
        {R::sweep_speed, 0, 0.98 / up, 0.98, [](F f) { f.program_rate = 0.98 / up; },
         [](F f) { f.program_rate = 0.98; }},
        {R::sweep_speed, 0, 0, 0.98, [](F f) { f.program_rate = 0; }, [](F) {}},
    };
}

} // namespace seamhold::test

#endif
