#ifndef SEAMHOLD_FOLLOW_JOB_HPP
#define SEAMHOLD_FOLLOW_JOB_HPP

#include "seamhold/arm/joint_limits.hpp"
#include "seamhold/arm/wrist_inverse.hpp"
#include "seamhold/beam/optics.hpp"
#include "seamhold/follow/chain.hpp"
#include "seamhold/head/any_head.hpp"
#include "seamhold/motion/any_motion.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <optional>
#include <string>
#include <variant>
#include <vector>

namespace seamhold {

/// A limit that is not there.
inline constexpr double no_limit = std::numeric_limits<double>::infinity();

/// 90°, rad: what no incidence passes.
inline constexpr double quarter_turn = std::numbers::pi / 2;

/// How fast a head can move and answer. Velocities and accelerations are of mechanical mirror angles and of
/// the lens.
struct HeadDynamics {
    double mirror_velocity;               ///< rad/s
    double mirror_acceleration;           ///< rad/s²
    double mirror_rms_acceleration;       ///< root of the mean square over a seam, rad/s²
    double mirror_lag;                    ///< from the command to the mirrors' answer, s
    double settling;                      ///< of the mirrors after a step, s
    double focus_velocity;                ///< of the lens, m/s
    double focus_lag;                     ///< from the command to the lens's answer, s
    double mirror_jerk = no_limit;        ///< rad/s³
    double focus_acceleration = no_limit; ///< of the lens, m/s²
    double rms_window = 0;   ///< over which the RMS acceleration is taken, s; 0: over the whole seam
    double thermal_time = 0; ///< time constant with which a mirror's motor takes on heat, s; 0: not known
};

/// What is asked of a seam beside what the head can do; each is optional.
struct SeamLimits {
    double least_incidence = 0; ///< rad; above 0 where a beam too square to the face would come straight back
    Range along{-quarter_turn, quarter_turn};  ///< of the incidence's part along the travel, rad: positive
                                               ///< where the beam comes from ahead of the spot
    Range across{-quarter_turn, quarter_turn}; ///< of its part across, rad: positive from the left of travel
    double spot_speed = no_limit;              ///< of the spot on the face, weave and all, m/s
    double turning_share = no_limit; ///< of the spot's speed that comes from the turning of the head against
                                     ///< the part, over the seam's speed
};

/// The arm that carries the head, where its joints are to be looked at. For a motion of recorded joints they
/// are what was recorded; for a motion of the flange they come from the arm's inverse, in one branch.
struct JobArm {
    std::optional<WristInverse> inverse; ///< none where the joints are recorded
    Pose<Cell, Base> cell_from_base;
    ArmBranch branch = {};           ///< in which the motion is run
    std::array<double, 6> near = {}; ///< each joint is taken within half a turn of this, rad
    JointLimits<6> limits = {};      ///< of the joints
    double least_wrist_sine = 0.02;  ///< of the angle between axes 4 and 6: some 1° from the singularity
    double least_elbow_sine = 0.02;  ///< of the angle between upper arm and forearm
    double least_from_axis_1 = 0.01; ///< of the wrist centre, beyond the shoulder's offset, m
};

/// One seam of a schedule.
struct ScheduledSeam {
    std::string name;
    double start; ///< s of the robot's clock
    AnySeam seam;

    /// When the seam ends, s.
    double end() const { return start + seam.duration(); }
};

/// The chain of a job that was composed at run time.
using AnyChain = Chain<AnyFlangeMotion, AnyPartMotion, AnyHead>;

/// The beam that a job welds with, and what is asked of its spot.
struct Process {
    std::variant<DeliveredBeam<>, FlatFieldBeam<>> beam; ///< what the head's objective is given
    double power;                                        ///< at the work, W
    double largest_spot;                                 ///< long axis of the spot on the face, m
    double largest_defocus;                              ///< of the face from the waist, Rayleigh lengths
    double least_power_density; ///< of the power over the spot's area, W/m²; 0 for none
    Range line_energy;          ///< J/m

    /// The caustic with the focus at an optical path as in `Ray`, m, and moved by `shift` m from where it
    /// lies at focus command 0.
    template <class T> Caustic<T> caustic(T const& focus_path, T const& shift) const {
        if (auto const* before = std::get_if<DeliveredBeam<>>(&beam))
            return before->caustic(focus_path);
        return std::get<FlatFieldBeam<>>(beam).caustic(focus_path, shift);
    }
};

/// A whole job: the chain, what the head can do, how square the beam must be, and the seams in order of time.
struct Job {
    AnyChain chain;
    HeadDynamics dynamics;
    double largest_incidence; ///< rad
    std::vector<ScheduledSeam> seams;
    std::optional<Process> process = {}; ///< where the beam is to be looked at too
    SeamLimits limits = {};              ///< of every seam
    std::optional<JobArm> arm = {};      ///< where its joints are to be looked at

    /// Whether anything says with how much power a seam is welded.
    bool has_power() const {
        return process || std::any_of(seams.begin(), seams.end(),
                                      [](ScheduledSeam const& s) { return s.seam.power.has_value(); });
    }
};

/// The seams in order of their start times. Throws BadInput naming the seams when two overlap in time, a name
/// stands twice or is empty, or a start time is not finite.
inline std::vector<ScheduledSeam> in_order(std::vector<ScheduledSeam> seams) {
    std::stable_sort(seams.begin(), seams.end(),
                     [](ScheduledSeam const& a, ScheduledSeam const& b) { return a.start < b.start; });
    for (std::size_t i = 0; i < seams.size(); ++i) {
        if (seams[i].name.empty())
            throw BadInput("a seam has no name");
        if (!is_finite(seams[i].start))
            throw BadInput("seam " + seams[i].name + ": the start time is not finite");
        for (std::size_t k = 0; k < i; ++k)
            if (seams[k].name == seams[i].name)
                throw BadInput("two seams are named " + seams[i].name);
        if (i > 0 && seams[i].start < seams[i - 1].end())
            throw BadInput("seam " + seams[i].name + " starts at " + std::to_string(seams[i].start) +
                           " s, before seam " + seams[i - 1].name + " ends at " +
                           std::to_string(seams[i - 1].end()) + " s: one beam welds one seam at a time");
    }
    return seams;
}

} // namespace seamhold

#endif
