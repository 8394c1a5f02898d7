#ifndef SEAMHOLD_TESTS_PLAN_SCENES_HPP
#define SEAMHOLD_TESTS_PLAN_SCENES_HPP

#include "seamhold/follow/job.hpp"
#include "seamhold/motion/rest.hpp"
#include "seamhold/number/units.hpp"

#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

// Invented jobs for planning: short stitches on flat and inclined faces below a head of ordinary numbers.

namespace seamhold::test {

inline double const plan_height = 0.5; // m, of the head's working distance

// Mirrors, field and lens as an ordinary head has them; all numbers are invented.
inline MirrorPair<> plan_head(double field_radius = 0.17) {
    return {0.04,
            plan_height + 0.04,
            8,
            {-degrees(10), degrees(10)},
            {-degrees(10), degrees(10)},
            {millimetres(-10), millimetres(10)},
            field_radius};
}

inline HeadDynamics plan_dynamics() {
    return {20, 15000, 4000, milliseconds(0.5), milliseconds(2), 0.1, milliseconds(5), 4e6, 100};
}

// A straight stitch of `length` from (x, y) on a face, in the direction `angle`.
inline ScheduledSeam stitch(std::string name, Plane<> const& face, double x, double y, double length,
                            double angle, double speed = metres_per_minute(16)) {
    FacePoint const from{x, y};
    FacePoint const to{x + length * std::cos(angle), y + length * std::sin(angle)};
    return {std::move(name), 0,
            at_speed(OnFace<Straight<>, Plane<>>{straight_between(from, to), face}, speed)};
}

inline Plane<> flat_face() { return {Pose<Part, Face>::identity()}; }

// A job whose seams have no times yet. The flange stands far away; the head sits turned and off-centre on it.
inline Job plan_job(std::vector<ScheduledSeam> seams, MirrorPair<> const& head = plan_head()) {
    Pose<Flange, Head> const mount{about_axis<Flange, Head>(Direction<Flange>{0, 0, 1}, degrees(-89.6)),
                                   {0.015, -0.04, 0.135}};
    Pose<Cell, Part> const part{about_axis<Cell, Part>(Direction<Cell>{0, 0, 1}, 0.3), {0.2, -0.4, 0.3}};
    return {{Rest<Cell, Flange>{Pose<Cell, Flange>::identity()}, Rest<Cell, Part>{part}, mount, head},
            plan_dynamics(),
            degrees(30),
            std::move(seams)};
}

// 30 stitches of 25 mm in three rows on a flat part of 1 m by 0.25 m.
inline std::vector<ScheduledSeam> thirty_stitches() {
    std::vector<ScheduledSeam> seams;
    for (int i = 0; i < 30; ++i) {
        int const column = i / 3, row = i % 3;
        double const x = 0.975 * column / 9.0;
        double const y = 0.125 * row + 0.01 * ((column * 7) % 3 - 1) * (row == 1 ? 1 : 0);
        seams.push_back(stitch("S" + std::to_string(i + 1), flat_face(), x, y, 0.025, 0));
    }
    return seams;
}

// Whether a head at rest reaches a whole seam, asked of the chain itself in many places: status, and the
// angle between the beam and the normal by plain vectors.
inline bool reached_at_rest(Job const& job, AnySeam const& seam, Pose<Cell, Flange> const& flange) {
    auto const part = job.chain.cell_from_part.at(0.0);
    Chain<Rest<Cell, Flange>, Rest<Cell, Part>, AnyHead> const chain{
        {flange}, {part}, job.chain.flange_from_head, job.chain.head};
    for (int k = 0; k <= 40; ++k) {
        double const time = seam.duration() * k / 40;
        auto const followed = chain.follow(seam, time, 0.0);
        if (followed.status != Status::ok)
            return false;
        auto const beam =
            flange * job.chain.flange_from_head * job.chain.head.ray(followed.aim.command).direction;
        auto const normal = part * seam.at(time).normal;
        if (!(-(beam.x * normal.x + beam.y * normal.y + beam.z * normal.z) >=
              std::cos(job.largest_incidence) - 1e-12))
            return false;
    }
    return true;
}

// The head's pose on the part.
inline Pose<Part, Head> head_on_part(Job const& job, Pose<Cell, Flange> const& flange) {
    return inverse(job.chain.cell_from_part.at(0.0)) * flange * job.chain.flange_from_head;
}

// A face that falls away from x = 0.7 on, by an angle, as a shoulder does.
inline Plane<> shoulder_face(double angle) {
    return {{about_axis<Part, Face>(Direction<Part>{0, 1, 0}, angle), {0.7, 0, 0}}};
}

// Three rows of stitches on a lid, and three on a shoulder.
inline std::vector<ScheduledSeam> lid_and_shoulder(double angle) {
    std::vector<ScheduledSeam> seams;
    for (int i = 0; i < 18; ++i)
        seams.push_back(
            stitch("L" + std::to_string(i + 1), flat_face(), 0.11 * (i / 3), 0.06 * (i % 3), 0.025, 1));
    for (int i = 0; i < 9; ++i)
        seams.push_back(stitch("R" + std::to_string(i + 1), shoulder_face(angle), 0.03 + 0.09 * (i / 3),
                               0.06 * (i % 3), 0.025, 1));
    return seams;
}

} // namespace seamhold::test

#endif
