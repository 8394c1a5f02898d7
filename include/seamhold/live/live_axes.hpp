#ifndef SEAMHOLD_LIVE_LIVE_AXES_HPP
#define SEAMHOLD_LIVE_LIVE_AXES_HPP

#include "seamhold/live/live_move.hpp"
#include "seamhold/live/live_view.hpp"
#include "seamhold/live/steering_settings.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <utility>

namespace seamhold {

/// How x mirror, y mirror and focus shall answer, from the newest forecast, each at the moment that it
/// answers, and the commands that make them. `Moves` is a Chain whose flange is a forecast. Neither a new
/// forecast nor the change to another seam makes an axis jump. The difference that a forecast makes goes to 0
/// in a blend; the way to another seam is the quickest move of the difference to 0 that the head's limits
/// allow, less what the new seam's own motion uses of them. The limits of the whole are held where that uses
/// no more than three quarters of them. Axes that leave in the same tick take the same time.
template <class Moves> class LiveAxes {
public:
    using Time = Taylor<double, 2>; ///< a value with its velocity and acceleration
    using View = LiveView<Time>;    ///< of the chain
    using Forecasts = decltype(Moves::cell_from_flange.forecast); ///< what is looked at

    /// One axis.
    struct Axis {
        AxisResponse response;
        LiveTarget target = {};
        BlendBounds correction_bounds;
        BlendBounds move_bounds;
        RateLimits limits;          ///< of the head
        Blend correction = {};      ///< of forecasts: how it is told less how it was told
        double correction_from = 0; ///< when it began, s
        double move_from = 0;       ///< when the move began, s
        LiveMove move = {};         ///< from another target: what is still to go

        /// What move and correction have still to go.
        Time left(ScannerTime answer) const {
            auto const t = Time::variable(answer.seconds);
            return correction.at(t) + move.at(t);
        }

        /// The same at a moment that may be before they began: then what there was to go at the beginning.
        double left_at(double t) const {
            return correction.at(std::max(t, correction_from)) + move.at(std::max(t, move_from));
        }
    };

    /// How the axes shall answer, and when.
    struct Wanted {
        View view;                   ///< of the chain where the first axis answers
        std::array<Time, 3> command; ///< of the chain, each axis where it answers
        std::array<Time, 3> axis;    ///< the same with what blends have still to go
        std::array<double, 3> told;  ///< the commands that make them answer so; beyond their ranges they are
                                     ///< not handed over
        std::array<ScannerTime, 3> answer;
        bool changed = false; ///< whether a blend began
    };

    /// Of a chain and its seams.
    LiveAxes(Moves chain, LiveSchedule schedule, SteeringSettings const& settings)
        : chain_(std::move(chain)), schedule_(std::move(schedule)) {
        auto const& d = settings.dynamics;
        auto const limits = [&](AxisResponse const& response, double velocity, double acceleration,
                                double jerk) {
            return live_move_limits(velocity, acceleration, jerk, settings.move_share, response,
                                    settings.period);
        };
        auto const mirror = [&](AxisResponse const& response) {
            return Axis{.response = response,
                        .correction_bounds = settings.mirror_correction,
                        .move_bounds = settings.mirror_move,
                        .limits = limits(response, d.mirror_velocity, d.mirror_acceleration, d.mirror_jerk)};
        };
        auto const& lens = settings.focus_response;
        axes_ = {mirror(settings.x_response), mirror(settings.y_response),
                 Axis{.response = lens,
                      .correction_bounds = settings.focus_correction,
                      .move_bounds = settings.focus_move,
                      .limits = limits(lens, d.focus_velocity, d.focus_acceleration, no_limit)}};
    }

    /// How the axes shall answer with the newest forecast. Where that or the target changes, what was wanted
    /// a moment ago is taken over by blends and moves. A seam that would have to be left for its path before
    /// the axis is where it is waited for is not waited for: the move leads to its path at once.
    /// After a time without ticks, `stood`, the axes stand where they were told to be last and begin there.
    void look(ScannerTime now, Forecasts const* next, bool stood, Wanted& wanted) noexcept {
        std::array<LiveTarget, 3> before;
        for (std::size_t i = 0; i < 3; ++i) {
            wanted.answer[i] = now + axes_[i].response.delay;
            before[i] = axes_[i].target;
        }
        std::array<Time, 3> old;
        bool first = next != nullptr && !has_forecast_;
        if (next != nullptr) {
            if (has_forecast_)
                old = commands_for(before, wanted.answer);
            take(*next);
            has_forecast_ = true;
        }
        if (!has_forecast_) {
            for (std::size_t i = 0; i < 3; ++i) {
                wanted.axis[i] = Time(handed(i));
                wanted.told[i] = handed(i);
            }
            return;
        }
        first = first || stood || holds_;
        std::array<LiveTarget, 3> targets;
        for (std::size_t i = 0; i < 3; ++i)
            targets[i] = target_at(program_at(wanted.answer[i]), before[i]);
        bool const moves = first || targets != before;
        if (moves && next == nullptr && !first)
            old = commands_for(before, wanted.answer);
        wanted.changed = next != nullptr || moves;
        for (bool again = false;; again = true) {
            view_at<Time>(chain_, schedule_, targets[0], wanted.answer[0], wanted.view);
            wanted.command = commands_beside(wanted.view.command, targets, wanted.answer);
            if (!moves || !leave(wanted, old, before, targets, first, again))
                break;
        }
        if (next != nullptr)
            correct(wanted, old);
        for (std::size_t i = 0; i < 3; ++i) {
            wanted.axis[i] = wanted.command[i] + axes_[i].left(wanted.answer[i]);
            wanted.told[i] = axes_[i].response.commanded(wanted.axis[i]);
        }
        holds_ = wanted.view.status == Status::not_finite ||
                 !is_finite(wanted.told[0] + wanted.told[1] + wanted.told[2]);
    }

    /// The commands that make the axes answer as they shall, within their ranges; where one is not finite
    /// all stay as they were handed over last.
    Command<> hand_over(Wanted const& wanted) noexcept {
        auto const ranges = chain_.head.ranges();
        if (!holds_)
            handed_ = {ranges.x_mirror.nearest(wanted.told[0]), ranges.y_mirror.nearest(wanted.told[1]),
                       ranges.focus.nearest(wanted.told[2])};
        return handed_;
    }

    /// What was handed over otherwise, in a block.
    void handed_over(Command<> const& command) noexcept { handed_ = command; }

    /// Axis number i: x mirror, y mirror, focus.
    Axis const& operator[](std::size_t i) const { return axes_[i]; }

    /// Whether a forecast was ever taken.
    bool has_forecast() const { return has_forecast_; }

    /// The chain with the forecast in use.
    Moves const& chain() const { return chain_; }

    /// The forecast in use.
    Forecasts const& forecast() const { return chain_.cell_from_flange.forecast; }

    /// The seams.
    LiveSchedule const& schedule() const { return schedule_; }

    /// How far the robot's program will be at a moment, s.
    double program_at(ScannerTime t) const {
        return forecast().program_at(forecast().clock.robot_at(t).seconds);
    }

private:
    /// Denormal numbers, of a robot at rest, would slow the processor down at every tick.
    void take(Forecasts const& next) noexcept {
        auto& f = chain_.cell_from_flange.forecast;
        f = next;
        auto const flush = [](double& x) { x = std::abs(x) < 1e-200 ? 0 : x; };
        for (auto& row : f.coefficient)
            for (double& c : row)
                flush(c);
        for (auto& row : f.error.moment)
            for (double& m : row)
                flush(m);
    }

    /// The commands of axes that answer at moments and belong to targets, where the first one's is known.
    std::array<Time, 3> commands_beside(Command<Time> const& near, std::array<LiveTarget, 3> const& targets,
                                        std::array<ScannerTime, 3> const& answers) const {
        auto const is_same = [&](std::size_t i) {
            return answers[i] == answers[0] && targets[i] == targets[0];
        };
        return {near.x_mirror,
                is_same(1) ? near.y_mirror
                           : command_at<Time>(chain_, schedule_, targets[1], answers[1]).y_mirror,
                is_same(2) ? near.focus : command_at<Time>(chain_, schedule_, targets[2], answers[2]).focus};
    }
    std::array<Time, 3> commands_for(std::array<LiveTarget, 3> const& targets,
                                     std::array<ScannerTime, 3> const& answers) const {
        return commands_beside(command_at<Time>(chain_, schedule_, targets[0], answers[0]), targets, answers);
    }

    /// Where an axis belongs at a time of the program, s. A path that it runs along early is gone on with.
    LiveTarget target_at(double program_time, LiveTarget const& before) const {
        auto const target = schedule_.at(program_time, before);
        bool const runs = before.runs && before.seam == target.seam;
        return runs && !target.runs ? schedule_.at_once(target, program_time) : target;
    }

    /// Sends the axes whose target is another than before on their way, all of them where they are `first`
    /// told or stood. `old` is what their old targets say. Unless it is asked `again`: where one would come
    /// too late to wait for its seam, it has that seam run along at once instead, and sends none; whether.
    [[gnu::noinline]] bool leave(Wanted const& wanted, std::array<Time, 3> const& old,
                                 std::array<LiveTarget, 3> const& before, std::array<LiveTarget, 3>& targets,
                                 bool first, bool again) noexcept {
        std::array<bool, 3> leaves{};
        std::array<Time, 3> from;
        for (std::size_t i = 0; i < 3; ++i) {
            leaves[i] = first || !(targets[i] == before[i]);
            from[i] = first ? Time(handed(i)) : old[i] + axes_[i].left(wanted.answer[i]);
        }
        auto const moves = moves_from(from, leaves, targets, wanted);
        if (!again && hurries(moves, leaves, targets, wanted))
            return true;
        for (std::size_t i = 0; i < 3; ++i) {
            if (!leaves[i])
                continue;
            axes_[i].move = moves[i];
            axes_[i].move_from = wanted.answer[i].seconds;
            axes_[i].correction = Blend();
            axes_[i].target = targets[i];
        }
        return false;
    }

    /// Lets the seams be run along at once to which moves would come after they are left for their path;
    /// whether there are any.
    bool hurries(std::array<LiveMove, 3> const& moves, std::array<bool, 3> const& leaves,
                 std::array<LiveTarget, 3>& targets, Wanted const& wanted) const noexcept {
        bool any = false;
        double const rate = forecast().clock.rate * forecast().program_rate;
        for (std::size_t i = 0; i < 3; ++i) {
            double const program = program_at(wanted.answer[i]);
            double const arrives = program + rate * (moves[i].end() - wanted.answer[i].seconds);
            if (!leaves[i] || !(arrives > schedule_.runs_from(targets[i].seam)))
                continue;
            auto const running = schedule_.at_once(targets[i], program);
            any = any || !(running == targets[i]);
            targets[i] = running;
        }
        return any;
    }

    /// Takes over what a new forecast changed for axes that stay on their target.
    void correct(Wanted const& wanted, std::array<Time, 3> const& old) noexcept {
        for (std::size_t i = 0; i < 3; ++i) {
            auto& axis = axes_[i];
            double const start = wanted.answer[i].seconds;
            if (axis.move_from == start)
                continue; // a move has taken it over
            axis.correction_from = start;
            axis.correction = blend_of(old[i] + axis.correction.at(Time::variable(start)) - wanted.command[i],
                                       axis.correction_bounds, start);
        }
    }

    static bool is_good(Time const& x) {
        return is_finite(x.coefficient[0] + x.coefficient[1] + x.coefficient[2]);
    }

    /// A blend of a difference; none where it is not finite.
    static Blend blend_of(Time const& difference, BlendBounds const& bounds, double start) {
        if (!is_good(difference))
            return Blend();
        return Blend::from(start, difference, bounds, Blend::duration_for(difference, bounds));
    }

    /// The moves of the axes that leave, from states to what the chain wants: each as quick as the slowest of
    /// them can.
    std::array<LiveMove, 3> moves_from(std::array<Time, 3> const& from, std::array<bool, 3> const& leaves,
                                       std::array<LiveTarget, 3> const& targets,
                                       Wanted const& wanted) const noexcept {
        auto const used = used_by(targets, wanted);
        std::array<RateLimits, 3> limits;
        std::array<double, 3> least{};
        double duration = 0;
        for (std::size_t i = 0; i < 3; ++i) {
            if (!leaves[i])
                continue;
            limits[i] = detail::left_beside(axes_[i].limits, used[i]);
            least[i] = least_duration(detail::state_of(from[i] - wanted.command[i]), detail::no_difference,
                                      limits[i]);
            if (is_finite(least[i]))
                duration = std::max(duration, least[i]);
        }
        std::array<LiveMove, 3> moves;
        for (std::size_t i = 0; i < 3; ++i) {
            if (!leaves[i])
                continue;
            double const start = wanted.answer[i].seconds;
            auto const difference = from[i] - wanted.command[i];
            if (is_finite(least[i]))
                if (auto const quickest = axis_move(detail::state_of(difference), detail::no_difference,
                                                    limits[i], duration, start)) {
                    moves[i] = LiveMove(*quickest);
                    continue;
                }
            moves[i] = LiveMove(blend_of(difference, axes_[i].move_bounds, start));
        }
        return moves;
    }

    /// About the most that targets use of the axes' rates while they are approached: looked at now and at the
    /// seam's start, or, where it weaves, at eight moments of a swing; and a tenth more.
    std::array<RateLimits, 3> used_by(std::array<LiveTarget, 3> const& targets,
                                      Wanted const& wanted) const noexcept {
        auto const& target = targets[0];
        auto const& seam = schedule_.seams()[target.seam];
        double const rate = forecast().clock.rate * forecast().program_rate;
        double const ahead = (seam.start - program_at(wanted.answer[0])) / rate;
        bool const weaves = target.runs && seam.seam.weave.moves() && seam.seam.weave.frequency > 0;
        double const step = weaves ? 1 / (8 * rate * seam.seam.weave.frequency) : ahead;
        int const count = !(step > 0 && step < LiveSchedule::longest_early * 2) ? 0 : weaves ? 7 : 1;
        std::array<RateLimits, 3> most{};
        auto last = wanted.command;
        for (int k = 0; k <= count; ++k) {
            auto answer = wanted.answer;
            for (auto& t : answer)
                t = t + k * step;
            auto const now = k == 0 ? wanted.command : commands_for(targets, answer);
            for (std::size_t i = 0; i < 3; ++i) {
                double const velocity = now[i].coefficient[1], acceleration = 2 * now[i].coefficient[2];
                double const change = acceleration - 2 * last[i].coefficient[2];
                auto const more = [](double& x, double y) { x = std::max(x, 1.1 * std::abs(y)); };
                more(most[i].velocity, velocity);
                more(most[i].acceleration, acceleration);
                more(most[i].jerk, k == 0 ? 0 : change / step);
            }
            last = now;
        }
        return most;
    }

    double handed(std::size_t i) const {
        return i == 0 ? handed_.x_mirror : i == 1 ? handed_.y_mirror : handed_.focus;
    }

    Moves chain_;
    LiveSchedule schedule_;
    std::array<Axis, 3> axes_;
    Command<> handed_ = {0, 0, 0};
    bool has_forecast_ = false;
    bool holds_ = false; ///< whether the axes stand, since there was nothing to tell them
};

} // namespace seamhold

#endif
