#ifndef SEAMHOLD_LIVE_STEERING_HPP
#define SEAMHOLD_LIVE_STEERING_HPP

#include "seamhold/live/block_commands.hpp"
#include "seamhold/live/gate.hpp"
#include "seamhold/live/live_link.hpp"
#include "seamhold/live/live_view.hpp"
#include "seamhold/live/steering_settings.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <utility>

namespace seamhold {

/// What is handed to scanner and laser at one tick.
struct LiveTick {
    ScannerTime time;
    Command<> command;  ///< to the scanner; the axes answer late, which is counted in; within their ranges
    bool gate;          ///< light may be on from now until the next tick
    bool pilot;         ///< pilot light may be on: the spot is where it belongs, though the gate may be shut
    double power;       ///< of the laser at the work, W; 0 with the gate shut
    GateCause cause;    ///< why the gate is shut
    Status status;      ///< of what is commanded
    std::uint32_t seam; ///< that the light is in or waits for
    double seam_time;   ///< where the light is or would be, s after the seam's start
    double arc_length;  ///< the same along the seam, m
    Deviations stated;  ///< error that is stated for the spot, m
    double horizon;     ///< from the newest sample to the moment that is predicted, s
};

/// The ticking thread's side: from the newest forecast to commands and gate. A change of the forecast, and
/// the change to another seam, never make the command jump: the difference goes to 0 within bounds on what it
/// adds. A tick neither throws, allocates, locks nor calls the system, and its work is bounded.
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
        : chain_(std::move(chain)), schedule_(std::move(seams), checked(settings).run_up),
          settings_(settings), inputs_(std::move(inputs)), gate_(settings.gate, schedule_.seams().size()) {
        axes_[0] = {settings.x_response, {}, settings.mirror_correction, settings.mirror_move, {}, {}};
        axes_[1] = {settings.y_response, {}, settings.mirror_correction, settings.mirror_move, {}, {}};
        axes_[2] = {settings.focus_response, {}, settings.focus_correction, settings.focus_move, {}, {}};
        handed_ = {0, 0, 0};
        cosine_of_largest_incidence_ = std::cos(settings.largest_incidence);
    }

    /// From now on ticks are taken in blocks where they can be: within a seam, with the gate open, up to the
    /// next news or break. `bounds` has one for each seam, proven for its chain and for forecasts in a box; a
    /// tick in a block is right to `BlockOptions::mirror_tolerance` and costs a tenth. Throws BadInput for
    /// another number of bounds, or blocks that last longer than half of what the gate lets pass between two
    /// ticks.
    void use_blocks(std::vector<BlockBounds<block_order>> bounds) {
        if (bounds.size() != schedule_.seams().size())
            throw BadInput("for " + std::to_string(schedule_.seams().size()) +
                           " seams there are bounds for " + std::to_string(bounds.size()));
        bounds_ = std::move(bounds);
    }

    /// What to hand over now. `link` is read: forecasts, inputs, the stop, and the sign of life.
    template <int D> [[nodiscard]] LiveTick tick(ScannerTime now, LiveLink<D>& link) noexcept {
        bool news = false;
        while (auto const state = link.inputs.pop()) {
            inputs_.take(*state, now);
            news = true;
        }
        auto const next = link.forecasts.newest();
        bool const stop = link.stopped();
        if (!next && !news && !stop && in_block(now))
            return block_.tick_at(now);
        return tick(now, next ? &*next : nullptr, link.heartbeat(), stop);
    }

    /// The same without a link: `next` is the newest forecast where one has come since the last tick.
    [[nodiscard]] LiveTick tick(ScannerTime now, Forecasts const* next, ScannerTime heartbeat,
                                bool stop) noexcept {
        if (next == nullptr && !stop && in_block(now))
            return block_.tick_at(now);
        leave_block();
        Wanted wanted;
        look(now, next, wanted);
        GateFacts facts;
        auto const tick = answer(now, wanted, heartbeat, stop, facts);
        if constexpr (std::is_same_v<Flange, ForecastFlange>)
            if (open_ && !bounds_.empty())
                begin_block(tick, facts);
        return tick;
    }

    /// What is loaded now and what the plan was made for; the gate stays shut while they differ.
    void loaded(Fingerprint const& now, Fingerprint const& plan) noexcept {
        other_fingerprint_ = first_difference(now, plan);
        if (other_fingerprint_)
            block_.to = std::min(block_.to, block_.last); // it ends here
    }

    /// The gate with its records.
    Gate const& gate() const { return gate_; }
    Gate& gate() { return gate_; }

    /// The outside inputs.
    ExternalInputs const& inputs() const { return inputs_; }

    /// The seams in order.
    std::vector<ScheduledSeam> const& seams() const { return schedule_.seams(); }

    /// The chain with the forecast that is in use.
    Moves const& chain() const { return chain_; }

private:
    /// Ticks that are known ahead.
    struct Ahead {
        double to = -no_limit; ///< the last moment, s; −∞: there is no block
        Block<block_order> block;
        LiveTick tick; ///< what they have in common; of the first
        double seam_rate;
        double arc_rate;
        double last = 0; ///< moment handed over last, s

        LiveTick tick_at(ScannerTime now) {
            LiveTick t = tick;
            double const since = now - tick.time;
            last = now.seconds;
            t.time = now;
            t.command = block.at(now);
            t.seam_time += seam_rate * since;
            t.arc_length += arc_rate * since;
            return t;
        }
    };

    static constexpr double shortest_block = 6; ///< ticks: below it a block costs more than it saves
    static constexpr int look_every = 8;        ///< ticks from one look at the spot to the next

    using Time = Taylor<double, 2>;
    using View = LiveView<Time>;

    struct Axis {
        AxisResponse response;
        LiveTarget target;
        BlendBounds correction_bounds;
        BlendBounds move_bounds;
        Blend correction; ///< of forecasts: how it is told less how it was told
        Blend move;       ///< from another target: what is still to go

        Time left(ScannerTime answer) const {
            auto const t = Time::variable(answer.seconds);
            return correction.at(t) + move.at(t);
        }
    };

    /// What the first axis's view says, and the commands of all axes, each at the moment that it answers.
    struct Views {
        View view;
        std::array<Time, 3> command;
    };

    /// How the axes shall answer, and when.
    struct Wanted {
        Views views;
        std::array<Time, 3> axis;
        std::array<ScannerTime, 3> answer;
        bool changed = false; ///< whether a blend began
    };

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
        if (!(s.largest_incidence > 0) || !(s.largest_incidence <= quarter_turn))
            throw BadInput("the largest incidence must be above 0 and at most 90 degrees");
        for (auto const& bounds : {s.mirror_correction, s.focus_correction, s.mirror_move, s.focus_move})
            static_cast<void>(bounds.checked());
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

    LiveTarget target_at(ScannerTime answer, LiveTarget const& hint) const {
        auto const& f = chain_.cell_from_flange.forecast;
        return schedule_.at(f.program_at(f.clock.robot_at(answer).seconds), hint);
    }

    void fill(Views& views, std::array<LiveTarget, 3> const& targets,
              std::array<ScannerTime, 3> const& answers) const {
        view_at<Time>(chain_, schedule_, targets[0], answers[0], views.view);
        auto const& near = views.view.command;
        auto const is_same = [&](std::size_t i) {
            return answers[i] == answers[0] && targets[i] == targets[0];
        };
        views.command[0] = near.x_mirror;
        views.command[1] =
            is_same(1) ? near.y_mirror : command_at<Time>(chain_, schedule_, targets[1], answers[1]).y_mirror;
        views.command[2] =
            is_same(2) ? near.focus : command_at<Time>(chain_, schedule_, targets[2], answers[2]).focus;
    }

    /// How the axes shall answer with the newest forecast. Where that or the target changes, what was wanted
    /// a moment ago is taken over by blends.
    void look(ScannerTime now, Forecasts const* next, Wanted& wanted) noexcept {
        std::array<LiveTarget, 3> before;
        for (std::size_t i = 0; i < 3; ++i) {
            wanted.answer[i] = now + axes_[i].response.delay;
            before[i] = axes_[i].target;
        }
        Views old;
        bool const first = next != nullptr && !has_forecast_;
        if (next != nullptr) {
            if (has_forecast_)
                fill(old, before, wanted.answer);
            chain_.cell_from_flange.forecast = *next;
            has_forecast_ = true;
        }
        if (!has_forecast_) {
            for (std::size_t i = 0; i < 3; ++i)
                wanted.axis[i] = Time(handed(i));
            return;
        }
        std::array<LiveTarget, 3> targets;
        for (std::size_t i = 0; i < 3; ++i)
            targets[i] = target_at(wanted.answer[i], before[i]);
        bool const moves = first || targets != before;
        fill(wanted.views, targets, wanted.answer);
        wanted.changed = next != nullptr || moves;
        if (wanted.changed)
            blend(wanted, old, before, targets, next != nullptr, first);
        for (std::size_t i = 0; i < 3; ++i)
            wanted.axis[i] = wanted.views.command[i] + axes_[i].left(wanted.answer[i]);
    }

    void blend(Wanted const& wanted, Views& old, std::array<LiveTarget, 3> const& before,
               std::array<LiveTarget, 3> const& targets, bool renewed, bool first) noexcept {
        if (!renewed)
            fill(old, before, wanted.answer);
        for (std::size_t i = 0; i < 3; ++i) {
            auto& axis = axes_[i];
            double const start = wanted.answer[i].seconds;
            auto const begun = [&](Time const& difference, BlendBounds const& bounds) {
                if (!is_finite(difference.coefficient[0] + difference.coefficient[1] +
                               difference.coefficient[2]))
                    return Blend();
                return Blend::from(start, difference, bounds, Blend::duration_for(difference, bounds));
            };
            if (first) {
                axis.move = begun(Time(handed(i)) - wanted.views.command[i], axis.move_bounds);
            } else if (!(targets[i] == before[i])) {
                axis.move = begun(old.command[i] + axis.left(wanted.answer[i]) - wanted.views.command[i],
                                  axis.move_bounds);
                axis.correction = Blend();
            } else if (renewed) {
                axis.correction = begun(old.command[i] + axis.correction.at(Time::variable(start)) -
                                            wanted.views.command[i],
                                        axis.correction_bounds);
            }
            axis.target = targets[i];
        }
    }

    double handed(std::size_t i) const {
        return i == 0 ? handed_.x_mirror : i == 1 ? handed_.y_mirror : handed_.focus;
    }

    LiveTick answer(ScannerTime now, Wanted const& wanted, ScannerTime heartbeat, bool stop,
                    GateFacts& facts) noexcept {
        auto const& views = wanted.views;
        LiveTick tick{};
        tick.time = now;
        tick.status = has_forecast_ ? views.view.status : Status::no_data;

        facts.now = now;
        facts.heartbeat = heartbeat;
        facts.stop = stop;
        facts.inputs = inputs_.verdict(now);
        facts.other_fingerprint = other_fingerprint_;
        facts.dry_run = settings_.dry_run;
        facts.has_forecast = has_forecast_;
        if (has_forecast_) {
            lit(now, facts, tick);
            tell_of_data(now, facts);
            tell_of_spot(wanted, wanted.changed, facts);
        }
        auto const decided = gate_.tick(facts);
        open_ = decided.would_open;
        tick.gate = decided.open;
        tick.cause = decided.cause;
        tick.pilot = tick.status == Status::ok && !stop;
        tick.stated = facts.stated;
        tick.horizon = facts.horizon;
        tick.command = command_of(wanted);
        handed_ = tick.command;
        if (tick.gate)
            tick.power = schedule_.seams()[tick.seam].seam.power_at(tick.seam_time, settings_.power);
        return tick;
    }

    /// Whether light is wanted, in which seam and where: the laser's delays counted in.
    void lit(ScannerTime now, GateFacts& facts, LiveTick& tick) noexcept {
        auto const& f = chain_.cell_from_flange.forecast;
        auto const program = [&](double later) {
            return f.program_at(f.clock.robot_at(now + later).seconds);
        };
        double const slack = settings_.period / 1000;
        double const on = program(settings_.laser.on);
        double const off = program(settings_.period + settings_.laser.off);
        // A seam that is being welded is left when its light shall be off, not when its mirrors leave it.
        light_ = schedule_.at(open_ ? off - slack : on, light_);
        auto const& seam = schedule_.seams()[light_.seam];
        double const duration = seam.seam.duration();
        facts.welding = on - seam.start >= -slack && off - seam.start <= duration + slack;
        facts.seam = tick.seam = static_cast<std::uint32_t>(light_.seam);
        facts.seam_time = tick.seam_time = std::clamp((open_ ? off : on) - seam.start, 0.0, duration);
        facts.seam_duration = duration;
        facts.arc_length = tick.arc_length = seam.seam.arc_length(tick.seam_time);
    }

    void tell_of_data(ScannerTime now, GateFacts& facts) const {
        auto const& f = chain_.cell_from_flange.forecast;
        double const last_light = std::max(settings_.period + settings_.laser.off, axes_[0].response.delay);
        facts.fault = f.fault;
        facts.data_age = now - f.made;
        facts.horizon = f.clock.robot_at(now + last_light) - f.newest;
        facts.clock = Deviations::same(f.error.factor * f.clock_uncertainty * f.speed);
        facts.program_rate = f.measured_rate;
    }

    /// What is known of the spot. The axes leave a seam before the light does, by their delays: what was
    /// known of the seam's last place holds until then.
    void tell_of_spot(Wanted const& wanted, bool changed, GateFacts& facts) noexcept {
        if (axes_[0].target.seam != light_.seam) {
            until_look_ = 0;
            if (!open_) // light that would begin where the mirrors are not
                return;
            facts.status = last_.status;
            facts.blend = last_.blend;
            facts.stated = last_.stated;
            facts.utilisation_now = last_.utilisation_now;
            facts.limit_now = last_.limit_now;
            facts.utilisation_ahead = last_.utilisation_ahead;
            facts.limit_ahead = last_.limit_ahead;
            return;
        }
        facts.status = wanted.views.view.status;
        if (facts.status == Status::ok) {
            if (changed || --until_look_ <= 0)
                look_at_spot(wanted, facts.horizon);
            facts.blend = spot_.off;
            facts.stated = stated_;
            hold_limits(wanted, facts);
        } else {
            until_look_ = 0;
            facts.blend = facts.stated = Deviations::same(0); // of no matter
        }
        last_ = facts;
    }

    /// How the beam meets the face and what error is stated: looked at every few ticks, the error for the
    /// last moment before it is looked at again, since it grows.
    void look_at_spot(Wanted const& wanted, double horizon) {
        until_look_ = look_every;
        auto const& forecast = chain_.cell_from_flange.forecast;
        auto const& view = wanted.views.view;
        auto const& seam = schedule_.seams()[axes_[0].target.seam].seam;
        // All axes at the moment of the first one's view, with what their blends have still to go. An axis
        // that has left for the next seam already did here what it was told.
        auto const blended = [&](std::size_t i) {
            double const here = value_of(i == 0   ? view.command.x_mirror
                                         : i == 1 ? view.command.y_mirror
                                                  : view.command.focus);
            bool const in_seam = axes_[i].target.seam == light_.seam;
            return in_seam ? here + (wanted.axis[i].value() - wanted.views.command[i].value()) : here;
        };
        Command<> const presented{blended(0), blended(1), blended(2)};
        spot_ = spot_at(chain_, view, presented, seam.weave.moves(), seam.focus_offset,
                        forecast.clock.robot_at(wanted.answer[0]).seconds);
        stated_ = stated_error(forecast.error, spot_.directions, horizon + look_every * settings_.period);
        if (!spot_.has_direction)
            stated_.across = stated_.along = std::sqrt(sqr(stated_.across) + sqr(stated_.along));
    }

    void hold_limits(Wanted const& wanted, GateFacts& facts) const {
        auto const& d = settings_.dynamics;
        double const ahead = settings_.stopping_time;
        Worst now_worst, then_worst;
        auto const axis = [&](Time const& y, double velocity, double acceleration, Limit v, Limit a) {
            double const rate = y.coefficient[1], second = 2 * y.coefficient[2];
            now_worst.hold(std::abs(rate) / velocity, v);
            now_worst.hold(std::abs(second) / acceleration, a);
            then_worst.hold(std::abs(rate + ahead * second) / velocity, v);
        };
        axis(wanted.axis[0], d.mirror_velocity, d.mirror_acceleration, Limit::x_velocity,
             Limit::x_acceleration);
        axis(wanted.axis[1], d.mirror_velocity, d.mirror_acceleration, Limit::y_velocity,
             Limit::y_acceleration);
        axis(wanted.axis[2], d.focus_velocity, d.focus_acceleration, Limit::focus_velocity,
             Limit::focus_acceleration);
        now_worst.hold(cosine_of_largest_incidence_ / std::max(spot_.cosine_of_incidence, 1e-9),
                       Limit::incidence);
        auto const ranges = chain_.head.ranges();
        auto const place = [&](Time const& y, Range const& range, Limit limit) {
            then_worst.hold(
                range.utilisation(y.value() + ahead * (y.coefficient[1] + ahead * y.coefficient[2])), limit);
        };
        place(wanted.axis[0], ranges.x_mirror, Limit::x_angle);
        place(wanted.axis[1], ranges.y_mirror, Limit::y_angle);
        place(wanted.axis[2], ranges.focus, Limit::focus_range);
        facts.utilisation_now = now_worst.most;
        facts.limit_now = now_worst.limit;
        facts.utilisation_ahead = then_worst.most;
        facts.limit_ahead = then_worst.limit;
    }

    bool in_block(ScannerTime now) const {
        double const gap = now.seconds - block_.last;
        return now.seconds <= block_.to && gap >= 0 && gap <= settings_.gate.longest_tick;
    }

    /// After a block the gate is told of its last tick.
    void leave_block() noexcept {
        if (!is_finite(block_.to))
            return;
        double const since = block_.last - block_.tick.time.seconds;
        gate_.held_until({block_.last}, block_.tick.seam_time + block_.seam_rate * since,
                         block_.tick.arc_length + block_.arc_rate * since);
        block_ = Ahead();
    }

    /// Ticks after this one as a block, up to the first moment at which anything may change.
    void begin_block(LiveTick const& tick,
                     GateFacts const& facts) noexcept requires std::same_as<Flange, ForecastFlange> {
        for (auto const& axis : axes_)
            if (axis.target.seam != light_.seam || !axis.target.runs)
                return;
        double const length = whole_ahead(tick.time);
        if (!(length >= shortest_block * settings_.period))
            return;
        auto const& forecast = chain_.cell_from_flange.forecast;
        auto const& scheduled = schedule_.seams()[light_.seam];
        auto const& bounds = bounds_[light_.seam];
        double const half = length / 2;
        auto const middle = [&](std::size_t i) { return tick.time + (half + axes_[i].response.delay); };
        auto const about = [&](std::size_t i) {
            return block_of(chain_, scheduled.seam, bounds, moment_in(forecast, scheduled.start, middle(i)),
                            half);
        };
        auto const x = about(0);
        if (x.status != BlockStatus::ok)
            return;
        auto const same = [&](std::size_t i) { return axes_[i].response.delay == axes_[0].response.delay; };
        auto answers = joined(x, same(1) ? x : about(1), same(2) ? x : about(2), tick.time + half);
        if (answers.status != BlockStatus::ok)
            return;
        for (std::size_t i = 0; i < 3; ++i) {
            double const t = middle(i).seconds;
            if (!(axes_[i].correction.end() > t - half) && !(axes_[i].move.end() > t - half))
                continue;
            auto const time = Taylor<double, block_order>::variable(t);
            auto const left = axes_[i].correction.at(time) + axes_[i].move.at(time);
            for (std::size_t k = 0; k <= block_order; ++k)
                answers.coefficient[k][i] += left.coefficient[k];
        }
        auto last = facts;
        if (!holds_on(answers, length, last))
            return;
        auto const commands = compensated(answers, axes_[0].response, axes_[1].response, axes_[2].response);
        if (!detail::good_enough(commands, bounds.options()) || !in_ranges(commands))
            return;
        block_.last = tick.time.seconds;
        block_.to = tick.time.seconds + length;
        block_.block = commands;
        block_.tick = tick;
        block_.tick.stated = last.stated;
        block_.tick.horizon = last.horizon;
        block_.seam_rate = forecast.clock.rate * forecast.program_rate;
        block_.arc_rate = scheduled.seam.feed(tick.seam_time) * block_.seam_rate;
    }

    /// For how long after a moment all that a block is made of goes on without a break, s.
    double whole_ahead(ScannerTime now) const requires std::same_as<Flange, ForecastFlange> {
        auto const& flange = chain_.cell_from_flange;
        auto const& f = flange.forecast;
        auto const& scheduled = schedule_.seams()[light_.seam];
        auto const& bounds = bounds_[light_.seam];
        double const duration = scheduled.seam.duration();
        double const rate = f.clock.rate * f.program_rate;
        if (!(rate > 0) || scheduled.seam.power)
            return 0;
        auto const program = [&](double later) {
            return f.program_at(f.clock.robot_at(now + later).seconds);
        };
        double length = bounds.options().longest;
        auto const up_to = [&](double program_time, double later) {
            length = std::min(length, (program_time - program(later)) / rate);
        };
        up_to(scheduled.start + duration, settings_.period + settings_.laser.off);
        for (auto const& axis : axes_) {
            double const delay = axis.response.delay, answer = now.seconds + delay;
            length = std::min(length, axis.correction.whole_until(answer) - answer);
            length = std::min(length, axis.move.whole_until(answer) - answer);
            double const seam_time = program(delay) - scheduled.start;
            if (!(seam_time >= 0 && seam_time <= duration))
                return 0;
            up_to(scheduled.start + bounds.next_break(seam_time), delay);
            if (f.on_pass && flange.pass)
                up_to(next_row(flange.pass->times(), program(delay)), delay);
        }
        return length * (1 - 1e-9);
    }

    static double next_row(std::span<double const> rows, double time) {
        auto const next = std::upper_bound(rows.begin(), rows.end(), time);
        return next == rows.end() ? time : *next;
    }

    /// Whether the gate may stay open over a whole block after this tick; `facts` are made those of its end,
    /// the worst of it where they change. By the triangle inequality over the block.
    bool holds_on(Block<block_order> const& answers, double length, GateFacts& facts) const {
        auto const& f = chain_.cell_from_flange.forecast;
        double const h = answers.half;
        facts.now = facts.now + length;
        facts.data_age += length;
        facts.horizon += f.clock.rate * length;
        facts.inputs = inputs_.verdict(facts.now);
        facts.stated = stated_error(f.error, spot_.directions, facts.horizon);
        if (!spot_.has_direction || spot_.turning * length > 0.05)
            facts.stated.across = facts.stated.along =
                std::sqrt(sqr(facts.stated.across) + sqr(facts.stated.along));
        auto const& d = settings_.dynamics;
        Worst now_worst, then_worst;
        now_worst.hold(facts.utilisation_now, facts.limit_now); // the incidence, and this tick
        auto const ranges = chain_.head.ranges();
        auto const axis = [&](std::size_t i, double velocity, double acceleration, Range const& range,
                              Limit v, Limit a, Limit r) {
            double rate = 0, second = 0, way = 0, power = 1; // of h
            for (std::size_t k = 1; k <= block_order; ++k) {
                auto const n = static_cast<double>(k);
                double const c = std::abs(answers.coefficient[k][i]);
                rate += n * c * power;
                if (k >= 2)
                    second += n * (n - 1) * c * power / h;
                power *= h;
                way += c * power;
            }
            double const ahead = settings_.stopping_time;
            now_worst.hold(rate / velocity, v);
            now_worst.hold(second / acceleration, a);
            then_worst.hold((rate + ahead * second) / velocity, v);
            way += ahead * (rate + ahead * second);
            double const middle = answers.coefficient[0][i];
            then_worst.hold(std::max(range.utilisation(middle - way), range.utilisation(middle + way)), r);
        };
        axis(0, d.mirror_velocity, d.mirror_acceleration, ranges.x_mirror, Limit::x_velocity,
             Limit::x_acceleration, Limit::x_angle);
        axis(1, d.mirror_velocity, d.mirror_acceleration, ranges.y_mirror, Limit::y_velocity,
             Limit::y_acceleration, Limit::y_angle);
        axis(2, d.focus_velocity, d.focus_acceleration, ranges.focus, Limit::focus_velocity,
             Limit::focus_acceleration, Limit::focus_range);
        facts.utilisation_now = now_worst.most;
        facts.limit_now = now_worst.limit;
        facts.utilisation_ahead = then_worst.most;
        facts.limit_ahead = then_worst.limit;
        return cause_in(facts, gate_.settings()).reason == GateReason::none;
    }

    /// Whether all commands of a block are within the axes' ranges.
    bool in_ranges(Block<block_order> const& commands) const {
        auto const ranges = chain_.head.ranges();
        std::array<Range, 3> const range{ranges.x_mirror, ranges.y_mirror, ranges.focus};
        for (std::size_t i = 0; i < 3; ++i) {
            double way = 0;
            for (std::size_t k = block_order; k >= 1; --k)
                way = (way + std::abs(commands.coefficient[k][i])) * commands.half;
            if (!(commands.coefficient[0][i] - way >= range[i].low &&
                  commands.coefficient[0][i] + way <= range[i].high))
                return false;
        }
        return true;
    }

    struct Worst {
        double most = 0;
        Limit limit = Limit::reach;

        /// Keeps the larger; one that is not finite stays.
        void hold(double utilisation, Limit of) {
            if (!(utilisation <= most) && is_finite(most)) {
                most = utilisation;
                limit = of;
            }
        }
    };

    /// The commands that make the axes answer as they shall, within their ranges; where one is not finite
    /// what was handed over last.
    Command<> command_of(Wanted const& wanted) const {
        auto const ranges = chain_.head.ranges();
        auto const of = [&](std::size_t i, Range const& range) {
            double const u = axes_[i].response.commanded(wanted.axis[i]);
            return is_finite(u) ? range.nearest(u) : handed(i);
        };
        return {of(0, ranges.x_mirror), of(1, ranges.y_mirror), of(2, ranges.focus)};
    }

    Moves chain_;
    LiveSchedule schedule_;
    SteeringSettings settings_;
    ExternalInputs inputs_;
    Gate gate_;
    std::array<Axis, 3> axes_;
    Command<> handed_;
    GateFacts last_; ///< of the last tick whose mirrors were in the light's seam
    LiveTarget light_;
    LiveSpot spot_ = {};                           ///< as last looked at
    Deviations stated_ = {};                       ///< with it
    int until_look_ = 0;                           ///< ticks
    std::vector<BlockBounds<block_order>> bounds_; ///< one for each seam, or none
    Ahead block_;
    double cosine_of_largest_incidence_;
    std::optional<FingerprintPart> other_fingerprint_;
    bool has_forecast_ = false;
    bool open_ = false;
};

} // namespace seamhold

#endif
