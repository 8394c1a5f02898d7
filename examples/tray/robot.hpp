// The simulated robot of the tray cell: a six-axis arm that carries the head over the tray.
//
// Written apart from seamhold on purpose: own kinematics, own inverse, nothing included from the library.
// The arm is the PUMA 560 of the textbooks, because its geometry is published: standard Denavit-Hartenberg
// parameters as in P. Corke, Robotics Toolbox, model "puma560" (petercorke/robotics-toolbox-matlab). That arm
// is far too weak for a real scan head; only its geometry is used. Every other number below is invented.
#ifndef TRAY_ROBOT_HPP
#define TRAY_ROBOT_HPP

#include "space.hpp"

#include <array>

namespace tray {

using Joints = std::array<double, 6>;

// ---- The arm (published geometry, see above): d, a in metres, alpha in radians; all joints revolute. ----
struct Link {
    double d, a, alpha;
};
inline constexpr std::array<Link, 6> links{{{0, 0, pi / 2},
                                            {0, 0.4318, 0},
                                            {0.15005, 0.0203, -pi / 2},
                                            {0.4318, 0, pi / 2},
                                            {0, 0, -pi / 2},
                                            {0, 0, 0}}};

// ---- The cell (invented): the arm stands on a pedestal beside the tray and looks across it. ----
inline Matrix const cell_from_base = placed({780, 440, 900}, -90, 0, 0);
inline Matrix const flange_from_head = placed({15, -40, 135}, -89.6, 0.25, -0.35);
inline Matrix const cell_from_part = placed({150, 0, 290}, 0.6, -0.3, 0.2);

// ---- The sweep of the head (invented), in part coordinates, metres and seconds. ----
inline constexpr double rest_before = 0.3;    // the log starts with the arm at rest
inline constexpr double sweep_velocity = 0.2; // along x, constant between the two ramps
inline constexpr double sweep_ramp = 0.4;     // time from rest to full speed, and back
inline constexpr double sweep_length = 1.12;  // from rest to rest
inline constexpr double rest_after = 0.3;     // and ends with it
inline constexpr double head_start_x = 0.06;  // head over the lid when the sweep starts
inline constexpr double head_y = 0.0;         // above the middle of the tray
inline constexpr double head_start_z = 0.5;   // half a metre above the lid
inline constexpr double head_drop = 0.15;     // how far it sinks to follow the shoulder down
inline constexpr double drop_from = 0.40;     // ... between these two swept distances
inline constexpr double drop_to = 1.10;
inline constexpr double tilt_degrees = 25; // how far the head turns towards the shoulder
inline constexpr double tilt_from = 0.26;  // ... between these two swept distances
inline constexpr double tilt_to = 0.86;
inline constexpr double gentle_share = 0.3; // share of a tilt or drop spent in each of its two soft ends

// ---- What the arm does with its commands (invented). ----
inline constexpr double large_joint_lag = 0.005;  // s, joints 1 to 3 follow their command this much later
inline constexpr double small_joint_lag = 0.0035; // s, joints 4 to 6
inline constexpr double flex_frequency = 10;      // Hz, the arm rings behind its encoders
inline constexpr double flex_damping = 0.03;      // share of critical damping
inline constexpr std::array<double, 3> flex_ripple{5e-5, 3e-5,
                                                   3e-5};         // rad, kept alive by the gears, joints 1-3
inline constexpr std::array<double, 3> flex_phase{0.0, 1.1, 2.3}; // rad
inline constexpr std::array<double, 3> flex_kick{8e-5, 4e-5, 3e-5}; // rad, each time the motion changes

/// How much of the arm's behaviour is switched on.
enum class Arm { commanded, with_lag, with_lag_and_flex };

/// A soft step from 0 to 1 as its argument goes from 0 to 1, three times differentiable at both ends.
constexpr double soft_step(double u) {
    if (u <= 0)
        return 0;
    if (u >= 1)
        return 1;
    return u * u * u * u * (35 + u * (-84 + u * (70 - 20 * u)));
}

/// The integral of `soft_step` from 0.
constexpr double soft_step_integral(double u) {
    if (u <= 0)
        return 0;
    if (u >= 1)
        return u - 0.5;
    return u * u * u * u * u * (7 + u * (-14 + u * (10 - 2.5 * u)));
}

/// Distance from rest to rest over `length`: speed up within `ramp`, hold `velocity`, slow down within
/// `ramp`. Four times differentiable everywhere.
constexpr double travel(double time, double length, double velocity, double ramp) {
    double const braking_starts = length / velocity; // both ramps together cost one ramp time
    return velocity * ramp *
           (soft_step_integral(time / ramp) - soft_step_integral((time - braking_starts) / ramp));
}

/// The share, 0 to 1, of a change that runs between two swept distances, with soft ends.
constexpr double share(double swept, double from, double to) {
    double const ramp = gentle_share;
    return travel((swept - from) / (to - from), 1, 1 / (1 - ramp), ramp);
}

inline constexpr double sweep_duration =
    rest_before + sweep_length / sweep_velocity + sweep_ramp + rest_after;

/// The swept distance at a time.
constexpr double swept_at(double time) {
    return travel(time - rest_before, sweep_length, sweep_velocity, sweep_ramp);
}

/// The taught pose of the head in the part's frame: x of the head across the tray, y along the sweep, z down,
/// turned about the part's y by the tilt, so that it looks back at the shoulder it is passing.
inline Matrix part_from_head_commanded(double time) {
    double const swept = swept_at(time);
    Vector const origin{head_start_x + swept, head_y,
                        head_start_z - head_drop * share(swept, drop_from, drop_to)};
    Matrix const upright{{{0, 1, 0, 0}, {1, 0, 0, 0}, {0, 0, -1, 0}, {0, 0, 0, 1}}};
    return shift(origin) * turn_y(radians(tilt_degrees) * share(swept, tilt_from, tilt_to)) * upright;
}

/// Forward kinematics: rotate by q about z, shift by d along z, shift by a along x, rotate by alpha about x,
/// six times.
inline Matrix base_from_flange(Joints const& q) {
    Matrix pose = identity;
    for (std::size_t i = 0; i < 6; ++i)
        pose = pose * turn_z(q[i]) * shift({links[i].a, 0, links[i].d}) * turn_x(links[i].alpha);
    return pose;
}

/// Inverse kinematics in closed form, on the branch of this sweep: arm to the right, elbow up, wrist not
/// flipped. Valid where the flange (which is also the wrist centre of this arm) is within reach and the wrist
/// is bent.
inline Joints joints_for(Matrix const& pose) {
    double const a2 = links[1].a;
    double const a3 = links[2].a;
    double const d3 = links[2].d;
    double const d4 = links[3].d;
    double const px = pose[0][3];
    double const py = pose[1][3];
    double const pz = pose[2][3];
    Joints q{};
    // Joint 1: the upper arm's plane passes the wrist at the distance d3.
    q[0] = std::atan2(py, px) + std::asin(d3 / std::hypot(px, py));
    // Joints 2 and 3: a triangle in that plane.
    double const reach = std::cos(q[0]) * px + std::sin(q[0]) * py;
    double const forearm = std::hypot(a3, d4);
    double const cosine = (reach * reach + pz * pz - a2 * a2 - forearm * forearm) / (2 * a2 * forearm);
    q[2] = -std::acos(cosine) - std::atan2(d4, a3);
    q[1] = std::atan2(pz, reach) - std::atan2(a3 * std::sin(q[2]) + d4 * std::cos(q[2]),
                                              a2 + a3 * std::cos(q[2]) - d4 * std::sin(q[2]));
    // Joints 4 to 6: what rotation is left, as z, minus y, z angles.
    Joints arm_only = q;
    Matrix const left = inverse(base_from_flange(arm_only)) * pose;
    double const side = std::hypot(left[0][2], left[1][2]);
    q[3] = std::atan2(left[1][2], left[0][2]);
    q[4] = -std::atan2(side, left[2][2]);
    q[5] = std::atan2(left[2][1], -left[2][0]);
    return q;
}

/// Commanded joint angles at a time.
inline Joints commanded_joints(double time) {
    Matrix const cell_from_head = cell_from_part * part_from_head_commanded(time);
    return joints_for(inverse(cell_from_base) * cell_from_head * inverse(flange_from_head));
}

/// The angle by which a link stands beyond its encoder because the arm rings.
inline double flex_angle(std::size_t joint, double time) {
    double const omega = 2 * pi * flex_frequency;
    double const stops = sweep_duration - rest_after - sweep_ramp;
    double const moving =
        soft_step((time - rest_before) / sweep_ramp) - soft_step((time - stops) / sweep_ramp);
    double angle = moving * flex_ripple[joint] * std::sin(omega * time + flex_phase[joint]);
    // The motion changes when the sweep starts and when the tilt starts and ends.
    double const at_speed = rest_before + sweep_ramp / 2;
    for (double const kick :
         {rest_before, at_speed + tilt_from / sweep_velocity, at_speed + tilt_to / sweep_velocity}) {
        double const since = time - kick;
        if (since > 0)
            angle += flex_kick[joint] * std::exp(-flex_damping * omega * since) * std::sin(omega * since);
    }
    return angle;
}

/// Where the joints are at a time. With lag, each follows its command later; with flex, the links of joints 1
/// to 3 also stand beyond their encoders.
inline Joints joints_at(double time, Arm arm) {
    if (arm == Arm::commanded)
        return commanded_joints(time);
    Joints const large = commanded_joints(time - large_joint_lag);
    Joints const small = commanded_joints(time - small_joint_lag);
    Joints q{large[0], large[1], large[2], small[3], small[4], small[5]};
    if (arm == Arm::with_lag_and_flex) {
        for (std::size_t i = 0; i < 3; ++i)
            q[i] += flex_angle(i, time);
    }
    return q;
}

/// Where the flange is in the cell for given joints.
inline Matrix cell_from_flange(Joints const& q) { return cell_from_base * base_from_flange(q); }

} // namespace tray

#endif
