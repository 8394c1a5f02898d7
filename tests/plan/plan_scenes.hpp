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

} // namespace seamhold::test

#endif
