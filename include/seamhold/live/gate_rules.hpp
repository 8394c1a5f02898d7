#ifndef SEAMHOLD_LIVE_GATE_RULES_HPP
#define SEAMHOLD_LIVE_GATE_RULES_HPP

#include "seamhold/live/gate_facts.hpp"

#include <cstdint>

namespace seamhold {

namespace detail {
/// Whether a number is finite and not above what is allowed; also under -ffast-math.
constexpr bool at_most(double x, double allowed) { return is_finite(x) && x <= allowed; }
/// The same, and 0 or more.
constexpr bool from_0_to(double x, double allowed) { return at_most(x, allowed) && x >= 0; }

/// How far a stamp of another thread may lie beyond a `now` that was read a little earlier, s.
inline constexpr double read_later = 1e-3;

/// The reason, with what was seen and what is allowed, for the first of three directions that is beyond
/// these shares of the tolerances; `none` where none is.
constexpr GateCause first_beyond(GateReason reason, Deviations const& seen, Tolerances const& allowed,
                                 double share) {
    if (!from_0_to(seen.across, share * allowed.across))
        return {reason, 0, seen.across, share * allowed.across};
    if (!from_0_to(seen.along, share * allowed.along))
        return {reason, 0, seen.along, share * allowed.along};
    if (!from_0_to(seen.focus, share * allowed.focus))
        return {reason, 0, seen.focus, share * allowed.focus};
    return {GateReason::none, 0, 0, 0};
}
} // namespace detail

/// Why the facts of one tick alone, without regard to what was before, keep the light off: the first reason
/// in the order of GateReason up to `sweep_speed`, or `none`. A fact that is not finite is never within what
/// is allowed. A utilisation may pass 1 by 1e-12, for the last bits.
constexpr GateCause cause_in(GateFacts const& facts, GateSettings const& settings) noexcept {
    using R = GateReason;
    auto const& most = settings.tolerances;
    auto const of = [](auto which) { return static_cast<std::uint8_t>(which); };
    double const silence = facts.now - facts.heartbeat;
    if (!is_finite(facts.now.seconds))
        return {R::not_finite, 0, facts.now.seconds, 0};
    if (facts.welding &&
        !(is_finite(facts.seam_time) && is_finite(facts.seam_duration) && is_finite(facts.arc_length)))
        return {R::not_finite, 0, facts.arc_length, 0};
    if (facts.stop)
        return {R::stopped, 0, 0, 0};
    if (facts.other_fingerprint)
        return {R::fingerprint, of(*facts.other_fingerprint), 0, 0};
    if (!facts.inputs.ready())
        return {R::input, facts.inputs.input, facts.inputs.age, 0};
    if (!detail::at_most(silence, settings.longest_silence) || silence < -detail::read_later)
        return {R::writer_silent, 0, silence, settings.longest_silence};
    if (!facts.has_forecast)
        return {R::no_forecast, 0, 0, 0};
    if (facts.fault != StreamFault::none)
        return {R::stream_fault, of(facts.fault), 0, 0};
    if (!detail::at_most(facts.data_age, settings.longest_age) || facts.data_age < -detail::read_later)
        return {R::stale_data, 0, facts.data_age, settings.longest_age};
    if (!detail::at_most(facts.horizon, settings.longest_horizon))
        return {R::stale_data, 0, facts.horizon, settings.longest_horizon};
    if (auto const cause = detail::first_beyond(R::clocks_uncertain, facts.clock, most, settings.clock_share);
        cause.reason != R::none)
        return cause;
    if (auto const cause = detail::first_beyond(R::blending, facts.blend, most, settings.blend_share);
        cause.reason != R::none)
        return cause;
    // All three may add up. What was seen of clocks and blend is finite and not negative here.
    double const across = facts.stated.across + facts.clock.across + facts.blend.across;
    double const along = facts.stated.along + facts.clock.along + facts.blend.along;
    double const focus = facts.stated.focus + facts.clock.focus + facts.blend.focus;
    if (!detail::at_most(across, most.across) || facts.stated.across < 0)
        return {R::error_across, 0, across, most.across};
    if (!detail::at_most(along, most.along) || facts.stated.along < 0)
        return {R::error_along, 0, along, most.along};
    if (!detail::at_most(focus, most.focus) || facts.stated.focus < 0)
        return {R::error_focus, 0, focus, most.focus};
    if (facts.status != Status::ok)
        return {R::out_of_reach, of(facts.status), 0, 0};
    if (!detail::at_most(facts.utilisation_now, 1 + 1e-12))
        return {R::limit_passed, of(facts.limit_now), facts.utilisation_now, 1};
    if (!detail::at_most(facts.utilisation_ahead, 1 + 1e-12))
        return {R::limit_ahead, of(facts.limit_ahead), facts.utilisation_ahead, 1};
    if (!detail::at_most(facts.program_rate, settings.sweep.high))
        return {R::sweep_speed, 0, facts.program_rate, settings.sweep.high};
    if (facts.program_rate < settings.sweep.low)
        return {R::sweep_speed, 0, facts.program_rate, settings.sweep.low};
    return {R::none, 0, 0, 0};
}

} // namespace seamhold

#endif
