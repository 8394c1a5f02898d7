#ifndef SEAMHOLD_LIVE_STEERING_SETTINGS_HPP
#define SEAMHOLD_LIVE_STEERING_SETTINGS_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/head/axis_response.hpp"
#include "seamhold/live/blend.hpp"
#include "seamhold/live/gate_facts.hpp"

namespace seamhold {

/// How late a laser is.
struct LaserDelays {
    double on = 0;  ///< from the gate's opening to light, s
    double off = 0; ///< from its shutting to darkness, s
};

/// What a steering loop needs to know beside the chain and the seams. `steering_settings` fills it from a
/// job.
struct SteeringSettings {
    double period;               ///< of a tick, s
    HeadDynamics dynamics;       ///< of the head: velocities, accelerations and, on the way to another seam,
                                 ///< jerks are held; lags are not read
    double largest_incidence;    ///< rad
    AxisResponse x_response;     ///< how the axes answer
    AxisResponse y_response;     ///< s and s²
    AxisResponse focus_response; ///< of the lens
    BlendBounds mirror_correction; ///< what a correction may add to a mirror, rad
    BlendBounds focus_correction;  ///< to the lens, m
    BlendBounds mirror_move;       ///< of a blend on the way to another seam, rad: where there is no quickest
                                   ///< move, as from a state beyond the head's limits
    BlendBounds focus_move;        ///< the same of the lens, m
    LaserDelays laser = {};        ///< how late the light is
    double power = 0;              ///< of seams that have no law of their own, W
    double run_up = 3e-3;          ///< how long before a seam's start the command runs along its path, s
    double move_share = 0.98;      ///< of the head's limits that seam and way to it use; the rest is for
                                   ///< corrections meanwhile
    double stopping_time = 200e-6; ///< for which the limits must hold after a tick, s
    bool dry_run = false;          ///< pilot light only
    GateSettings gate;             ///< what the gate allows
};

/// Settings for a job: pure delays from its lags, corrections that add a tenth of what the head can do at
/// most (the rest is the seam's), and blends of moves that use four fifths of it, both ours and a start for
/// one's own.
/// Tolerances as the gate's: see `default_tolerances`. Throws BadInput for a period that is not above 0.
inline SteeringSettings steering_settings(Job const& job, Tolerances const& tolerances,
                                          double period = 10e-6) {
    if (!(period > 0) || !is_finite(period))
        throw BadInput("a tick's period must be above 0; given was " + detail::text_of(period) + " s");
    auto const& d = job.dynamics;
    auto const share = [](double velocity, double acceleration, double of) {
        return BlendBounds{of * velocity, of * acceleration, 0.2e-3, 0.05};
    };
    SteeringSettings s{period,
                       d,
                       job.largest_incidence,
                       AxisResponse::pure_delay(d.mirror_lag),
                       AxisResponse::pure_delay(d.mirror_lag),
                       AxisResponse::pure_delay(d.focus_lag),
                       share(d.mirror_velocity, d.mirror_acceleration, 0.1),
                       share(d.focus_velocity, d.focus_acceleration, 0.1),
                       share(d.mirror_velocity, d.mirror_acceleration, 0.8),
                       share(d.focus_velocity, d.focus_acceleration, 0.8),
                       {},
                       job.process ? job.process->power : 0,
                       3e-3,
                       0.98,
                       200e-6,
                       false,
                       {}};
    s.gate.tolerances = tolerances;
    return s;
}

} // namespace seamhold

#endif
