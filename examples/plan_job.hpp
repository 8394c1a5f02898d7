#ifndef SEAMHOLD_EXAMPLES_PLAN_JOB_HPP
#define SEAMHOLD_EXAMPLES_PLAN_JOB_HPP

#include "seamhold/frame/angles.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/plan/plan.hpp"
#include "seamhold/seam/drawn_shape.hpp"

#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>

// A tray of thirty stitches to be planned, and a longer one of as many as one likes: the lid of a buffer
// tank, three rows of stitches of 25 mm. Every number is invented.
namespace seamhold::examples {

/// The head, half a metre above the part, that glides along x at 0.25 m/s: from above x = 0 at time 0.
inline Job sweep_over_tray() {
    MirrorPair<> const head{millimetres(40), millimetres(540), 20, {-0.175, 0.175}, {-0.175, 0.175},
                            {-0.005, 0.005}, millimetres(150)};
    auto const down = from_zyx_angles<Cell, Flange>(0, 0, std::numbers::pi);
    HeadDynamics const dynamics{.mirror_velocity = 40,
                                .mirror_acceleration = 20000,
                                .mirror_rms_acceleration = 6000,
                                .mirror_lag = 0.4e-3,
                                .settling = 1.5e-3,
                                .focus_velocity = 0.15,
                                .focus_lag = 2e-3,
                                .mirror_jerk = 4e7,
                                .focus_acceleration = 80};
    return {{Steady<Cell, Flange>{{down, {0, 0, 0.5}}, {0.25, 0, 0}, 0},
             Rest<Cell, Part>{Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), checked(head)},
            dynamics,
            degrees(20),
            {}};
}

/// The tray's stitches: columns of three, one column each 82 mm along x, each stitch turned in its own way;
/// 25 mm long, at 16 m/min.
inline Job tray_to_plan(std::size_t stitches = 30) {
    Job job = sweep_over_tray();
    Plane<> const lid{Pose<Part, Face>::identity()};
    double const length = millimetres(25);
    for (std::size_t i = 0; i < stitches; ++i) {
        std::size_t const place = i / 3;
        auto const column = static_cast<double>(place), row = static_cast<double>(i % 3) - 1;
        double const turn =
            degrees(20) * std::sin(2.4 * static_cast<double>(i)) + (i % 3 == 1 ? degrees(90) : 0);
        double const x = 0.05 + 0.082 * column + 0.018 * row,
                     y = 0.075 * row + 0.008 * std::cos(1.7 * column);
        double const dx = length / 2 * std::cos(turn), dy = length / 2 * std::sin(turn);
        auto const number = std::to_string(i + 1);
        job.seams.push_back(
            {"T" + std::string(number.size() < 2 ? 1 : 0, '0') + number, 0,
             at_speed(OnFace<Straight<>, Plane<>>{straight_between({x - dx, y - dy}, {x + dx, y + dy}), lid},
                      metres_per_minute(16))});
    }
    return job;
}

/// What the robot may do along the sweep, and how much of it the job needs.
inline PlanSettings tray_settings(std::size_t stitches = 30) {
    PlanSettings settings;
    std::size_t const columns = (stitches + 2) / 3;
    double const length = 0.05 + 0.082 * static_cast<double>(columns); // m
    settings.path = Range{-0.3 / 0.25, (length + 0.3) / 0.25};
    settings.rates = {.speed = 0.6, .acceleration = 2};
    return settings;
}

} // namespace seamhold::examples

#endif
