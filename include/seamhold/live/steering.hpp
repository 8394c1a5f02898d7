#ifndef SEAMHOLD_LIVE_STEERING_HPP
#define SEAMHOLD_LIVE_STEERING_HPP

#include "seamhold/live/block_ahead.hpp"
#include "seamhold/live/gate.hpp"
#include "seamhold/live/live_link.hpp"
#include "seamhold/live/trace.hpp"

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <utility>

namespace seamhold {

/// The ticking thread's side: from the newest forecast to commands and gate. A change of the forecast, and
/// the change to another seam, never make the command jump: the difference goes to 0 within bounds on what it
/// adds, on the way to another seam as quickly as the head can (see `LiveAxes`). A tick neither throws,
/// allocates, locks nor calls the system, and its work is bounded.
///
/// `Flange` is a motion with a member `forecast`: `ForecastFlange`, or `ForecastArm<N>` for streams of
/// joints. Of a seam's limits a tick holds: reach, field and ranges, velocity and acceleration of mirrors and
/// lens, and incidence. Whatever else a job is limited by is proven before (see `prove_job`), for the sweep
/// that the gate's window of program rates lets pass.
template <class Flange, class PartMotion, class HeadModel>
requires ScanHead<HeadModel>
class Steering {
public:
    using Moves = Chain<Flange, PartMotion, HeadModel>; ///< the chain with a forecast in it
    using Forecasts = decltype(Flange::forecast);       ///< what comes through the link
    static constexpr int block_order = 8;               ///< of the polynomials of blocks

    /// For seams whose starts are times of the robot's program, s. Throws BadInput for settings that are not
    /// possible and what `LiveSchedule` and `Gate` refuse.
    Steering(Moves chain, std::vector<ScheduledSeam> seams, SteeringSettings const& settings,
             ExternalInputs inputs = ExternalInputs({}))
        : settings_(checked(settings)),
          axes_(std::move(chain), LiveSchedule(std::move(seams), settings.run_up), settings),
          inputs_(std::move(inputs)), gate_(settings.gate, axes_.schedule().seams().size()),
          limits_(axes_.chain().head.ranges(), settings.dynamics),
          cosine_of_largest_incidence_(std::cos(settings.largest_incidence)) {}

    /// From now on ticks are taken in blocks where they can be: within a seam, with the gate open, up to the
    /// next news or break. `bounds` has one for each of `seams()`, in that order, proven for its chain and
    /// for forecasts in a box; a tick in a block is right to `BlockOptions::mirror_tolerance` and costs a
    /// tenth. Throws BadInput for another number of bounds, or where one is of a seam that lasts another
    /// time.
    void use_blocks(std::vector<BlockBounds<block_order>> bounds) {
        if (bounds.size() != seams().size())
            throw BadInput("for " + std::to_string(seams().size()) + " seams there are bounds for " +
                           std::to_string(bounds.size()));
        for (std::size_t i = 0; i < bounds.size(); ++i) {
            double const proven = bounds[i].places().back(), lasts = seams()[i].seam.duration();
            if (!(std::abs(proven - lasts) <= 1e-9 * lasts))
                throw BadInput("the bounds for seam " + seams()[i].name + " are of a seam of " +
                               detail::text_of(proven) + " s; it lasts " + detail::text_of(lasts) +
                               " s. Bounds stand in the order of the seams' starts");
        }
        bounds_ = std::move(bounds);
    }

    /// What to hand over now. `link` is read: forecasts, inputs, the stop, and the sign of life.
    template <int D> [[nodiscard]] LiveTick tick(ScannerTime now, LiveLink<D>& link) noexcept {
        bool news = false;
        for (std::size_t i = 0; i < decltype(link.inputs)::capacity;
             ++i) { // not more, however fast they come
            auto const state = link.inputs.pop();
            if (!state)
                break;
            inputs_.take(*state, now);
            news = true;
        }
        auto const next = link.forecasts.newest();
        bool const stop = link.stopped();
        if (!next && !news && !stop && block_.holds(now, settings_.gate.longest_tick))
            return block_.tick_at(now);
        return exact_tick(now, next ? &*next : nullptr, link.heartbeat(), stop);
    }

    /// The same without a link: `next` is the newest forecast where one has come since the last tick.
    [[nodiscard]] LiveTick tick(ScannerTime now, Forecasts const* next, ScannerTime heartbeat,
                                bool stop) noexcept {
        if (next == nullptr && !stop && block_.holds(now, settings_.gate.longest_tick))
            return block_.tick_at(now);
        return exact_tick(now, next, heartbeat, stop);
    }

    /// A tick of this loop as a `Trace` keeps it, with the forecast that it was made from. Neither throws nor
    /// allocates; for the ticking thread.
    [[nodiscard]] TraceRow trace_row(LiveTick const& tick) const noexcept {
        auto const& f = axes_.forecast();
        auto const spot = chain().in_cell(seams()[tick.seam].seam.at(tick.seam_time).position,
                                          f.clock.robot_at(tick.time).seconds);
        return {tick.time,         f.number,     f.newest,     f.made,         f.fault,     spot,
                tick.stated,       tick.horizon, tick.command, tick.power,     tick.status, tick.gate,
                settings_.dry_run, tick.cause,   tick.seam,    tick.arc_length};
    }

    /// What is loaded now and what the plan was made for; the gate stays shut while they differ.
    void loaded(Fingerprint const& now, Fingerprint const& plan) noexcept {
        other_fingerprint_ = first_difference(now, plan);
        if (other_fingerprint_)
            block_.to = std::min(block_.to, block_.last); // it ends here
    }

    /// How far beyond the newest sample the light may go on in the seam where it is, by the error that the
    /// forecast states, s: the longest blind time, see `longest_blind_time`. 0 before anything is known.
    double blind_time() const {
        if (!axes_.has_forecast() || !(spot_.cosine_of_incidence > 0)) // 0 until it is looked at
            return 0;
        auto allowed = settings_.gate.tolerances;
        if (!spot_.has_direction) // both of them in one direction, at worst
            allowed.across = allowed.along = std::min(allowed.across, allowed.along) / std::sqrt(2.0);
        return longest_blind_time(axes_.forecast().error, spot_.directions, allowed, spot_.off);
    }

    /// The gate with its records.
    Gate const& gate() const { return gate_; }
    Gate& gate() { return gate_; }

    /// The outside inputs.
    ExternalInputs const& inputs() const { return inputs_; }

    /// The seams in order.
    std::vector<ScheduledSeam> const& seams() const { return axes_.schedule().seams(); }

    /// The chain with the forecast that is in use.
    Moves const& chain() const { return axes_.chain(); }

private:
    static constexpr double shortest_block = 6; ///< ticks: below it a block costs more than it saves
    static constexpr int look_every = 8;        ///< ticks from one look at the spot to the next

    using Axes = LiveAxes<Moves>;
    using Wanted = typename Axes::Wanted;

    static SteeringSettings const& checked(SteeringSettings const& s) {
        if (!(s.period > 0) || !is_finite(s.period))
            throw BadInput("a tick's period must be above 0; given was " + detail::text_of(s.period) + " s");
        auto const time = [](double x, char const* what) {
            if (!(x >= 0) || !is_finite(x))
                throw BadInput(std::string(what) + " must be 0 s or above; given was " + detail::text_of(x) +
                               " s");
        };
        time(s.laser.on, "the laser's delay to light");
        time(s.laser.off, "the laser's delay to darkness");
        time(s.stopping_time, "the stopping time");
        if (!(s.move_share > 0) || !(s.move_share <= 1))
            throw BadInput(
                "the share of the head's limits on the way to a seam must be above 0 and 1 at most; "
                "given was " +
                detail::text_of(s.move_share));
        if (!(s.largest_incidence > 0) || !(s.largest_incidence <= quarter_turn))
            throw BadInput("the largest incidence must be above 0 and at most 90 degrees");
        for (auto const& axis : {s.x_response, s.y_response, s.focus_response}) {
            time(axis.delay, "an axis's delay");
            if (!is_finite(axis.first + axis.second))
                throw BadInput("an axis's response must be finite");
        }
        auto const& d = s.dynamics;
        for (double const most :
             {d.mirror_velocity, d.mirror_acceleration, d.focus_velocity, d.focus_acceleration})
            if (!(most > 0)) // infinite is possible
                throw BadInput("velocities and accelerations of the head must be above 0; given was " +
                               detail::text_of(most));
        if (!(s.power >= 0) || !is_finite(s.power))
            throw BadInput("the laser's power must be 0 W or above; given was " + detail::text_of(s.power) +
                           " W");
        for (auto const& bounds : {s.mirror_correction, s.focus_correction, s.mirror_move, s.focus_move})
            static_cast<void>(bounds.checked());
        if (!(s.period <= s.gate.longest_tick))
            throw BadInput("a tick's period of " + detail::text_of(s.period) +
                           " s is longer than the gate's longest tick of " +
                           detail::text_of(s.gate.longest_tick) + " s");
        if (!(s.gate.slack >= 2 * s.period))
            throw BadInput("the gate's slack at a seam's ends must be two ticks or more; given was " +
                           detail::text_of(s.gate.slack) + " s at ticks of " + detail::text_of(s.period) +
                           " s");
        if (!(std::abs(s.laser.off + s.period - s.laser.on) <= s.gate.slack))
            throw BadInput(
                "the laser's delays to light and to darkness may differ by the gate's slack at most; "
                "given were " +
                detail::text_of(s.laser.on) + " s and " + detail::text_of(s.laser.off) +
                " s with a slack of " + detail::text_of(s.gate.slack) + " s");
        return s;
    }

    /// A tick that is in no block.
    LiveTick exact_tick(ScannerTime now, Forecasts const* next, ScannerTime heartbeat, bool stop) noexcept {
        leave_block();
        Wanted wanted;
        double const gap = now - last_tick_;
        axes_.look(now, next, !(gap >= 0 && gap <= settings_.gate.longest_tick), wanted);
        last_tick_ = now;
        GateFacts facts;
        auto const tick = answer(now, wanted, heartbeat, stop, facts);
        if constexpr (std::is_same_v<Flange, ForecastFlange>)
            if (open_ && !bounds_.empty())
                begin_block(tick, facts);
        return tick;
    }

    LiveTick answer(ScannerTime now, Wanted const& wanted, ScannerTime heartbeat, bool stop,
                    GateFacts& facts) noexcept {
        LiveTick tick{};
        tick.time = now;
        tick.status = axes_.has_forecast() ? wanted.view.status : Status::no_data;

        facts.now = now;
        facts.heartbeat = heartbeat;
        facts.stop = stop;
        facts.inputs = inputs_.verdict(now);
        facts.other_fingerprint = other_fingerprint_;
        facts.dry_run = settings_.dry_run;
        facts.has_forecast = axes_.has_forecast();
        if (axes_.has_forecast()) {
            lit(now, facts, tick);
            tell_of_data(now, facts);
            tell_of_spot(wanted, facts);
        }
        auto const decided = gate_.tick(facts);
        open_ = decided.would_open;
        tick.gate = decided.open;
        tick.cause = decided.cause;
        tick.pilot = tick.status == Status::ok && !stop;
        tick.stated = facts.stated;
        tick.horizon = facts.horizon;
        tick.command = axes_.hand_over(wanted);
        if (tick.gate)
            tick.power = seams()[tick.seam].seam.power_at(tick.seam_time, settings_.power);
        return tick;
    }

    /// Whether light is wanted, in which seam and where: the laser's delays counted in.
    void lit(ScannerTime now, GateFacts& facts, LiveTick& tick) noexcept {
        double const slack = settings_.period / 1000;
        double const on = axes_.program_at(now + settings_.laser.on);
        double const off = axes_.program_at(now + (settings_.period + settings_.laser.off));
        // A seam that is being welded is left when its light shall be off, not when its mirrors leave it.
        // Between two seams it is off for a tick at least.
        auto const before = light_.seam;
        light_ = axes_.schedule().at(open_ ? off - slack : on, light_);
        bool const leaves = open_ && light_.seam != before;
        auto const& seam = seams()[light_.seam];
        double const duration = seam.seam.duration();
        facts.welding = !leaves && on - seam.start >= -slack && off - seam.start <= duration + slack;
        facts.seam = tick.seam = static_cast<std::uint32_t>(light_.seam);
        facts.seam_time = tick.seam_time = std::clamp((open_ ? off : on) - seam.start, 0.0, duration);
        facts.seam_duration = duration;
        facts.arc_length = tick.arc_length = seam.seam.arc_length(tick.seam_time);
    }

    void tell_of_data(ScannerTime now, GateFacts& facts) const {
        auto const& f = axes_.forecast();
        double const last_light = std::max({settings_.period + settings_.laser.off, axes_[0].response.delay,
                                            axes_[1].response.delay, axes_[2].response.delay});
        facts.fault = f.fault;
        facts.data_age = now - f.made;
        facts.horizon = f.clock.robot_at(now + last_light) - f.newest;
        facts.clock = Deviations::same(f.error.factor * f.clock_uncertainty * f.speed);
        facts.program_rate = f.measured_rate;
    }

    /// What is known of the spot. The axes leave a seam before the light does, by their delays: what was
    /// known of the seam's last place holds until then.
    void tell_of_spot(Wanted const& wanted, GateFacts& facts) noexcept {
        auto const is_there = [&](std::size_t i) { return axes_[i].target.seam == light_.seam; };
        if (!open_ && !(is_there(0) && is_there(1) && is_there(2))) {
            until_look_ = 0; // light that would begin where the axes are not
            return;
        }
        if (!is_there(0)) {
            until_look_ = 0;
            facts.status = last_.status;
            facts.blend = spot_.off;
            facts.stated = stated_at(facts.horizon);
            facts.utilisation_now = last_.now.most;
            facts.limit_now = last_.now.limit;
            facts.utilisation_ahead = last_.ahead.most;
            facts.limit_ahead = last_.ahead.limit;
            return;
        }
        facts.status = wanted.view.status;
        if (facts.status == Status::ok) {
            if (wanted.changed || --until_look_ <= 0)
                look_at_spot(wanted, facts);
            facts.blend = spot_.off;
            facts.stated = stated_;
            limits_.tell(
                facts,
                {AxisUse::of(wanted.axis[0]), AxisUse::of(wanted.axis[1]), AxisUse::of(wanted.axis[2])},
                incidence_used(), settings_.stopping_time);
            limits_.tell_commands(facts, wanted.told);
        } else {
            until_look_ = 0;
            facts.blend = facts.stated = Deviations::same(0); // of no matter
        }
        last_ = {facts.status,
                 {facts.utilisation_now, facts.limit_now},
                 {facts.utilisation_ahead, facts.limit_ahead}};
    }

    /// How the beam meets the face and what error is stated: looked at every few ticks, the error for the
    /// last moment before it is looked at again, since it grows.
    void look_at_spot(Wanted const& wanted, GateFacts const& facts) {
        until_look_ = look_every;
        auto const& forecast = axes_.forecast();
        auto const& view = wanted.view;
        auto const& seam = seams()[axes_[0].target.seam].seam;
        // All axes at the moment of the first one's view, with what their blends have still to go: to begin,
        // at the moment of first light, where that is before the axis answers. An axis that has left for the
        // next seam already did here what it was told.
        double const first_light = (facts.now + settings_.laser.on).seconds;
        auto const blended = [&](std::size_t i) {
            double const here = value_of(i == 0   ? view.command.x_mirror
                                         : i == 1 ? view.command.y_mirror
                                                  : view.command.focus);
            if (axes_[i].target.seam != light_.seam)
                return here;
            return open_ ? here + (wanted.axis[i].value() - wanted.command[i].value())
                         : here + axes_[i].left_at(std::min(first_light, wanted.answer[i].seconds));
        };
        Command<> const presented{blended(0), blended(1), blended(2)};
        spot_ = spot_at(chain(), view, presented, seam.weave.moves(), seam.focus_offset,
                        forecast.clock.robot_at(wanted.answer[0]).seconds);
        stated_ = stated_at(facts.horizon + look_every * settings_.period);
    }

    /// After a block the gate is told of its last tick.
    void leave_block() noexcept {
        if (!is_finite(block_.to))
            return;
        auto const last = block_.tick_at({block_.last});
        gate_.held_until(last.time, last.seam_time, last.arc_length);
        axes_.handed_over(last.command);
        last_tick_ = last.time;
        block_.to = -no_limit;
        until_look_ = 0; // the spot was not looked at within it
    }

    /// Ticks after this one as a block, up to the first moment at which anything may change.
    void begin_block(LiveTick const& tick,
                     GateFacts facts) noexcept requires std::same_as<Flange, ForecastFlange> {
        auto const& bounds = bounds_[light_.seam];
        double const length =
            whole_ahead(axes_, light_.seam, bounds, tick.time, settings_.period + settings_.laser.off);
        if (!(length >= shortest_block * settings_.period))
            return;
        auto const answers = answers_of(axes_, light_.seam, bounds, tick.time, length);
        if (answers.status != BlockStatus::ok || !stays_open(answers, length, facts))
            return;
        auto const commands = compensated(answers, axes_[0].response, axes_[1].response, axes_[2].response);
        if (!detail::good_enough(commands, bounds.options()) || !within(commands, chain().head.ranges()))
            return;
        auto const& f = axes_.forecast();
        block_.to = tick.time.seconds + length;
        block_.last = tick.time.seconds;
        block_.block = commands;
        block_.tick = tick;
        // The tick that opens tells where light comes on; those of the block where it would go out, which
        // may lie before the seam's start for as long as light is later to come than to go.
        auto const& scheduled = seams()[light_.seam];
        double const off = axes_.program_at(tick.time + (settings_.period + settings_.laser.off));
        block_.tick.seam_time = std::min(off - scheduled.start, scheduled.seam.duration());
        block_.tick.arc_length = scheduled.seam.arc_length(block_.tick.seam_time);
        block_.tick.stated = facts.stated;
        block_.tick.horizon = facts.horizon;
        block_.seam_rate = f.clock.rate * f.program_rate;
        block_.arc_rate = seams()[light_.seam].seam.feed(tick.seam_time) * block_.seam_rate;
    }

    /// Whether the gate may stay open over a whole block after this tick. `facts` are made those of its end,
    /// the worst of it where they change; the incidence is that of its start.
    bool stays_open(Block<block_order> const& answers, double length, GateFacts& facts) const {
        auto const& f = axes_.forecast();
        facts.now = facts.now + length;
        facts.data_age += length;
        facts.horizon += f.clock.rate * length;
        facts.inputs = inputs_.verdict(facts.now);
        facts.stated = stated_at(facts.horizon);
        if (spot_.turning * length > 0.05)
            facts.stated = in_any_direction(facts.stated);
        limits_.tell(facts, {AxisUse::over(answers, 0), AxisUse::over(answers, 1), AxisUse::over(answers, 2)},
                     incidence_used(), settings_.stopping_time);
        return cause_in(facts, gate_.settings()).reason == GateReason::none;
    }

    /// The stated error at a horizon, s, with the directions last looked at.
    Deviations stated_at(double horizon) const {
        auto const stated = stated_error(axes_.forecast().error, spot_.directions, horizon);
        return spot_.has_direction ? stated : in_any_direction(stated);
    }

    /// Where across and along are not told apart.
    static Deviations in_any_direction(Deviations d) {
        d.across = d.along = std::sqrt(sqr(d.across) + sqr(d.along));
        return d;
    }

    double incidence_used() const {
        return cosine_of_largest_incidence_ / std::max(spot_.cosine_of_incidence, 1e-9);
    }

    SteeringSettings settings_;
    Axes axes_;
    ExternalInputs inputs_;
    Gate gate_;
    LiveLimits limits_;
    struct {
        Status status;
        WorstUse now;
        WorstUse ahead;
    } last_ = {}; ///< of the last tick whose mirrors were in the light's seam
    LiveTarget light_;
    LiveSpot spot_ = {};                           ///< as last looked at
    Deviations stated_ = {};                       ///< with it
    int until_look_ = 0;                           ///< ticks
    std::vector<BlockBounds<block_order>> bounds_; ///< one for each seam, or none
    BlockAhead<block_order> block_;
    double cosine_of_largest_incidence_;
    std::optional<FingerprintPart> other_fingerprint_;
    ScannerTime last_tick_ = {GateFacts::unknown};
    bool open_ = false;
};

} // namespace seamhold

#endif
