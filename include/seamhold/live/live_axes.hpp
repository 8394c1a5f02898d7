#ifndef SEAMHOLD_LIVE_LIVE_AXES_HPP
#define SEAMHOLD_LIVE_LIVE_AXES_HPP

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
/// forecast nor the change to another seam makes an axis jump: the difference goes to 0 in a blend.
template <class Moves> class LiveAxes {
public:
    using Time = Taylor<double, 2>; ///< a value with its velocity and acceleration
    using View = LiveView<Time>;    ///< of the chain
    using Forecasts = decltype(Moves::cell_from_flange.forecast); ///< what is looked at

    /// One axis.
    struct Axis {
        AxisResponse response;
        LiveTarget target;
        BlendBounds correction_bounds;
        BlendBounds move_bounds;
        Blend correction;           ///< of forecasts: how it is told less how it was told
        Blend move;                 ///< from another target: what is still to go
        double correction_from = 0; ///< when they began, s
        double move_from = 0;

        /// What the blends have still to go.
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
        axes_[0] = {settings.x_response, {}, settings.mirror_correction, settings.mirror_move, {}, {}, 0, 0};
        axes_[1] = {settings.y_response, {}, settings.mirror_correction, settings.mirror_move, {}, {}, 0, 0};
        axes_[2] = {
            settings.focus_response, {}, settings.focus_correction, settings.focus_move, {}, {}, 0, 0};
    }

    /// How the axes shall answer with the newest forecast. Where that or the target changes, what was wanted
    /// a moment ago is taken over by blends.
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
            targets[i] = schedule_.at(program_at(wanted.answer[i]), before[i]);
        bool const moves = first || targets != before;
        view_at<Time>(chain_, schedule_, targets[0], wanted.answer[0], wanted.view);
        wanted.command = commands_beside(wanted.view.command, targets, wanted.answer);
        wanted.changed = next != nullptr || moves;
        if (wanted.changed)
            blend(wanted, old, before, targets, next != nullptr, first);
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

    void blend(Wanted const& wanted, std::array<Time, 3> old, std::array<LiveTarget, 3> const& before,
               std::array<LiveTarget, 3> const& targets, bool renewed, bool first) noexcept {
        if (!renewed)
            old = commands_for(before, wanted.answer);
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
                axis.move = begun(Time(handed(i)) - wanted.command[i], axis.move_bounds);
                axis.move_from = start;
                axis.correction = Blend();
            } else if (!(targets[i] == before[i])) {
                axis.move = begun(old[i] + axis.left(wanted.answer[i]) - wanted.command[i], axis.move_bounds);
                axis.correction = Blend();
                axis.move_from = start;
            } else if (renewed) {
                axis.correction_from = start;
                axis.correction =
                    begun(old[i] + axis.correction.at(Time::variable(start)) - wanted.command[i],
                          axis.correction_bounds);
            }
            axis.target = targets[i];
        }
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
