#ifndef SEAMHOLD_LIVE_GATE_HPP
#define SEAMHOLD_LIVE_GATE_HPP

#include "seamhold/live/gate_record.hpp"
#include "seamhold/live/gate_rules.hpp"
#include "seamhold/number/bad_input.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

/// Whether the light may be on. The gate is part of the process: it keeps a weld from going wrong. It is no
/// protective device and protects nobody. Interlocks, guards, enclosures and the emergency stop remain with a
/// safety-rated system under local codes and licensed practice (see docs/live.md for the standards).
namespace seamhold {

/// What the gate says at a tick.
struct GateAnswer {
    bool open;       ///< the light may be on until the next tick
    bool would_open; ///< the same, or in a dry run: it would be on with light
    GateCause cause; ///< why it is not open
};

/// Decides tick by tick whether the light may be on, and keeps what became of each seam. In doubt it is shut.
/// Once shut within a seam it stays shut in that seam, a seam whose start passed without light is not begun
/// late, and a seam that was welded is not welded again, until `new_part` or `weld_again`, or unless the
/// settings say otherwise. An interrupted seam that may go on does so from where it stopped, not before. A
/// seam that begins as a dry run stays one to its end. One thread ticks it and reads its records. Ticks
/// neither throw nor allocate.
class Gate {
public:
    /// For so many seams; at most `event_capacity` events are kept. Throws BadInput, naming the setting, for
    /// one that is not possible.
    Gate(GateSettings const& settings, std::size_t seam_count, std::size_t event_capacity = 256)
        : settings_(checked(settings)), seams_(seam_count), events_(event_capacity) {
        if (event_capacity == 0)
            throw BadInput("a gate must keep one event or more; given was 0");
    }

    /// Whether the light may be on from now until the next tick. A seam is asked for where light is wanted,
    /// the seam's number is one of those, and its time lies between start and end, with the slack.
    [[nodiscard]] GateAnswer tick(GateFacts const& facts) noexcept {
        using R = GateReason;
        bool const asked = is_asked_for(facts);
        bool const goes_on = asked && within_ && facts.seam == seam_;
        GateCause const lateness = open_ ? cause_of_lateness(facts, goes_on) : none;
        GateCause cause = first_of(cause_in(facts, settings_), lateness);
        if (cause.reason == R::none && goes_on && facts.dry_run && !dry_)
            cause.reason = R::dry_run;

        if (open_ && !goes_on)
            leave(facts, cause, lateness.reason != R::none);
        if (asked && !goes_on)
            enter(facts);
        within_ = asked;
        last_ = facts.now;
        if (!asked)
            return {false, false, cause.reason == R::none ? GateCause{R::no_seam, 0, 0, 0} : cause};

        if (cause.reason == R::none && !open_)
            cause = cause_of_before(facts);
        if (cause.reason == R::none && !open_)
            open(facts);
        else if (cause.reason != R::none && open_)
            close(facts, cause);
        else if (cause.reason != R::none && record().outcome == SeamOutcome::not_begun)
            miss(facts, cause);
        if (!open_)
            return {false, false, cause};
        record().reached = facts.arc_length;
        last_seam_time_ = facts.seam_time;
        seam_duration_ = facts.seam_duration;
        at_end_ = is_at_end();
        return {!dry_, true, dry_ ? GateCause{R::dry_run, 0, 0, 0} : cause};
    }

    /// The ticks since the last one, up to this moment, were taken together, and what that one said held for
    /// all of them: the caller had made sure of it for the whole time. The light is at this place then.
    void held_until(ScannerTime now, double seam_time, double arc_length) noexcept {
        if (!open_ || !is_finite(now.seconds) || !is_finite(seam_time) || !is_finite(arc_length))
            return;
        last_ = now;
        last_seam_time_ = seam_time;
        record().reached = arc_length;
        at_end_ = is_at_end();
    }

    /// What has become of each seam, in the order of their numbers.
    std::vector<SeamRecord> const& seams() const { return seams_; }

    /// What the gate did lately.
    GateEvents const& events() const { return events_; }

    /// What it allows.
    GateSettings const& settings() const { return settings_; }

    /// Another part lies in the cell: no seam has begun. A seam that is being welded is not touched; false
    /// where there is one.
    bool new_part() noexcept {
        if (open_)
            return false;
        for (auto& seam : seams_)
            seam = {};
        within_ = false;
        return true;
    }

    /// The seam may be welded, though it was welded, stopped or missed before: the user has looked at it.
    /// Not while it is asked for; false then, and where there is no such seam.
    bool weld_again(std::uint32_t seam) noexcept {
        if (seam >= seams_.size() || (within_ && seam == seam_))
            return false;
        seams_[seam] = {};
        return true;
    }

private:
    static constexpr GateCause none = {GateReason::none, 0, 0, 0};

    static GateSettings const& checked(GateSettings const& s) {
        auto const check = [](double x, bool possible, char const* what, char const* allowed) {
            if (!is_finite(x) || !possible)
                throw BadInput(std::string("the gate's ") + what + " must be " + allowed + "; given was " +
                               detail::text_of(x));
        };
        auto const above_0 = [&](double x, char const* what) { check(x, x > 0, what, "above 0"); };
        auto const share = [&](double x, char const* what) {
            check(x, x > 0 && x <= 1, what, "above 0, to 1");
        };
        above_0(s.tolerances.across, "tolerance across");
        above_0(s.tolerances.along, "tolerance along");
        above_0(s.tolerances.focus, "tolerance of the focus");
        share(s.clock_share, "clock share");
        share(s.blend_share, "blend share");
        above_0(s.longest_age, "longest age of data");
        above_0(s.longest_horizon, "longest horizon");
        above_0(s.longest_silence, "longest silence");
        above_0(s.longest_tick, "longest tick");
        above_0(s.slack, "slack at a seam's ends");
        check(s.sweep.low, s.sweep.low > 0, "lowest program rate", "above 0");
        check(s.sweep.high, s.sweep.high >= s.sweep.low, "highest program rate", "the lowest or above");
        return s;
    }

    SeamRecord& record() { return seams_[seam_]; }

    bool is_at_end() const { return last_seam_time_ >= seam_duration_ - settings_.slack; }

    /// The one of two that is named first.
    static GateCause first_of(GateCause const& a, GateCause const& b) {
        bool const second =
            b.reason != GateReason::none && (a.reason == GateReason::none || b.reason < a.reason);
        return second ? b : a;
    }

    bool is_asked_for(GateFacts const& facts) const {
        if (!facts.welding || facts.seam >= seams_.size())
            return false;
        if (!is_finite(facts.seam_time) || !is_finite(facts.seam_duration))
            return true; // and refused for that
        return facts.seam_time >= -settings_.slack &&
               facts.seam_time <= facts.seam_duration + settings_.slack;
    }

    /// With the light on: whether the ticking thread stood still since the last tick, or its clock went back,
    /// or the place on the seam did not go on as time did.
    GateCause cause_of_lateness(GateFacts const& facts, bool goes_on) const {
        double const gap = facts.now - last_;
        if (!detail::from_0_to(gap, settings_.longest_tick))
            return {GateReason::late_tick, 0, gap, settings_.longest_tick};
        double const jump = facts.seam_time - last_seam_time_ - gap;
        if (goes_on && !(detail::at_most(jump, settings_.slack) && jump >= -settings_.slack))
            return {GateReason::place_jumps, 0, jump, settings_.slack};
        return none;
    }

    void enter(GateFacts const& facts) {
        seam_ = facts.seam;
        dry_ = facts.dry_run;
        if (record().dry && !dry_) // what was done without light does not count
            record() = {};
    }

    /// Why, with nothing against it now, the light stays off because of what was before.
    GateCause cause_of_before(GateFacts const& facts) const {
        using R = GateReason;
        SeamRecord const& before = seams_[seam_];
        switch (before.outcome) {
        case SeamOutcome::not_begun:
            if (settings_.begin_late || facts.seam_time <= settings_.slack)
                break;
            return {R::begun_late, 0, facts.seam_time, settings_.slack};
        case SeamOutcome::stopped:
            if (settings_.reopen_in_seam && facts.arc_length >= before.reached)
                break;
            return {R::shut_before, 0, 0, 0};
        case SeamOutcome::missed:
            if (settings_.begin_late)
                break;
            return {R::shut_before, 0, 0, 0};
        default:
            return {R::welded_before, 0, 0, 0};
        }
        return none;
    }

    void open(GateFacts const& facts) {
        SeamRecord& seam = record();
        if (seam.outcome != SeamOutcome::stopped) {
            seam.begun_at = facts.arc_length;
            from_start_ = facts.seam_time <= settings_.slack;
        }
        seam.outcome = SeamOutcome::running;
        seam.dry = dry_;
        open_ = true;
        add(GateAction::opened, none, facts.now, facts.arc_length);
    }

    void close(GateFacts const& facts, GateCause const& cause) {
        SeamRecord& seam = record();
        if (seam.closings++ == 0) {
            seam.stopped_at = seam.reached;
            seam.cause = cause;
        }
        seam.outcome = SeamOutcome::stopped;
        open_ = false;
        add(GateAction::closed, cause, facts.now, seam.reached);
    }

    /// The light is no longer wanted in the seam in which it is on.
    void leave(GateFacts const& facts, GateCause cause, bool late) {
        if (!at_end_ || late) {
            if (cause.reason == GateReason::none)
                cause.reason = GateReason::no_seam;
            close(facts, cause);
            return;
        }
        SeamRecord& seam = record();
        seam.outcome = seam.closings == 0 && from_start_ ? SeamOutcome::complete : SeamOutcome::gaps;
        open_ = false;
        add(GateAction::ended, none, facts.now, seam.reached);
    }

    void miss(GateFacts const& facts, GateCause const& cause) {
        SeamRecord& seam = record();
        seam.outcome = SeamOutcome::missed;
        seam.dry = dry_;
        seam.cause = cause;
        add(GateAction::missed, cause, facts.now, facts.arc_length);
    }

    void add(GateAction action, GateCause const& cause, ScannerTime time, double arc_length) {
        events_.add({action, cause, time, seam_, arc_length, dry_});
    }

    GateSettings settings_;
    std::vector<SeamRecord> seams_;
    GateEvents events_;
    ScannerTime last_ = {0};    ///< tick
    double last_seam_time_ = 0; ///< with light
    double seam_duration_ = 0;  ///< of the seam that it was in
    std::uint32_t seam_ = 0;    ///< asked for now, or last
    bool within_ = false;       ///< whether it is asked for now
    bool open_ = false;         ///< with light, or in a dry run without
    bool dry_ = false;          ///< of the seam that is asked for
    bool from_start_ = false;   ///< whether the light went on at its start
    bool at_end_ = false;       ///< whether the last tick with light was at its end
};

} // namespace seamhold

#endif
