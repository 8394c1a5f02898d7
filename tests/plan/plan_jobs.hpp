#ifndef SEAMHOLD_TESTS_PLAN_JOBS_HPP
#define SEAMHOLD_TESTS_PLAN_JOBS_HPP

#include "plan/plan_scenes.hpp"
#include "seamhold/follow/ticks.hpp"
#include "seamhold/frame/angles.hpp"
#include "seamhold/plan/plan.hpp"

#include <cmath>
#include <cstddef>
#include <numbers>
#include <optional>
#include <string>
#include <utility>
#include <vector>

// Small invented jobs for the planner, and what the tests ask of it. The planner takes a minute to compile:
// it is compiled once, in plan_jobs.cpp, and the tests call it through these functions.

namespace seamhold::test {

// `plan`, `plan_heads`, and what proves or runs a job.
Plan planned(Job const& job, PlanRules const& rules, PlanSettings const& settings);
std::vector<SeamProof> proofs_of(Job const& job, ProofOptions const& options);
std::vector<Tick> ticks_of(Job const& job, double period);
Followed<double> followed(Job const& job, AnySeam const& seam, double seam_time, double time);
AirRoom room_between(Job const& job, AnySeam const& from, double ended, AnySeam const& to, double start);

struct HeadsMade {
    std::vector<Plan> heads;
    double takt, beam_on;
};
HeadsMade planned_heads(std::vector<Job> const& jobs, PlanRules const& rules, PlanSettings const& settings);

// What `plan` refuses with; empty where it does not.
std::string refusal(Job const& job, PlanRules const& rules, PlanSettings const& settings);

// The head 0.5 m above the part, looking down, gliding along x from above x = `from` at time 0.
inline Job gliding(double speed, double from = 0, Range const& x_range = {-0.175, 0.175}) {
    MirrorPair<> const head{millimetres(40), millimetres(540), 20,      x_range,
                            {-0.175, 0.175}, {-0.005, 0.005},  no_limit};
    auto const down = from_zyx_angles<Cell, Flange>(0, 0, std::numbers::pi);
    HeadDynamics const dynamics{40, 20000, 6000, 0.4e-3, 1.5e-3, 0.15, 2e-3, 4e7, 80};
    return {{Steady<Cell, Flange>{{down, {from, 0, 0.5}}, {speed, 0, 0}, 0},
             Rest<Cell, Part>{Pose<Cell, Part>::identity()}, Pose<Flange, Head>::identity(), head},
            dynamics,
            degrees(25),
            {}};
}

// A stitch of 25 mm at 16 m/min about (x, y) of the flat face.
inline ScheduledSeam stitch_about(std::string name, double x, double y, double angle,
                                  double length = millimetres(25)) {
    return stitch(std::move(name), flat_face(), x - length / 2 * std::cos(angle),
                  y - length / 2 * std::sin(angle), length, angle);
}

// Nine stitches in three columns, each turned in its own way.
inline Job nine_stitches(double apart, double speed = 0.25) {
    Job job = gliding(speed);
    for (int i = 0; i < 9; ++i)
        job.seams.push_back(stitch_about("S" + std::to_string(i + 1), 0.1 + apart * (i / 3) + 0.012 * (i % 3),
                                         0.06 * (i % 3 - 1), 0.7 * i));
    return job;
}

// Settings for a stretch of the motion's own time.
inline PlanSettings settings_of(double from, double to, SweepPace pace = SweepPace::as_given,
                                PathRates const& rates = {1.0, 3.0, 3.0, 6.0}) {
    PlanSettings s;
    s.path = Range{from, to};
    s.pace = pace;
    s.rates = rates;
    return s;
}

// The place of a seam of a plan by its name.
inline std::size_t place_of(Plan const& plan, std::string const& name) {
    for (std::size_t k = 0; k < plan.seams.size(); ++k)
        if (plan.seams[k].name == name)
            return k;
    return plan.seams.size();
}

inline PlannedSeam const& seam_of(Plan const& plan, std::string const& name) {
    return plan.seams.at(place_of(plan, name));
}

// From the end of one seam to the start of another, s.
inline double pause(Plan const& plan, std::string const& first, std::string const& then) {
    return seam_of(plan, then).start - seam_of(plan, first).end;
}

inline double distance(Point<Part> const& a, Point<Part> const& b) {
    return std::hypot(a.x - b.x, a.y - b.y, a.z - b.z);
}

inline Point<Part> spot(AnySeam const& seam, double seam_time) {
    return value_of(seam.at(seam_time).position);
}

// The least distance of two seams' paths, m, over points half a millimetre apart or so: at most that above
// the truth.
inline double path_distance(AnySeam const& a, AnySeam const& b) {
    double least = no_limit;
    constexpr int count = 50;
    for (int i = 0; i <= count; ++i)
        for (int k = 0; k <= count; ++k)
            least = std::min(least,
                             distance(spot(a, a.duration() * i / count), spot(b, b.duration() * k / count)));
    return least;
}

// Everything that must hold of any plan of a job: said by name where it does not.
struct PlanFaults {
    std::vector<std::string> all;
    double velocity = 0, acceleration = 0, jerk = 0; // largest shares of the limits between the ticks
    double focus_velocity = 0, focus_acceleration = 0;
    double robot_speed = 0, robot_acceleration = 0; // m/s, m/s², of the flange's origin
};
// `all`: the plan has every seam of the job, and not only those of one of several heads.
PlanFaults faults_of(Job const& given, Plan const& plan, bool all = true);

} // namespace seamhold::test

#endif
