// Holds one seam from a recorded flange log: the mirror angles with their exact rates, at five times along
// the seam. Every number is invented. Returns 1 if the velocity worked out by hand is not met.
#include "seamhold/seamhold.hpp"

#include <cmath>
#include <cstdio>
#include <vector>

using namespace seamhold;

int main() {
    // [hold]
    std::vector<PoseRow<Cell>> rows; // time, place, quaternion w x y z: looking down, 0.2 m/s along x
    for (int i = 0; i <= 250; ++i)
        rows.push_back({0.004 * i, {0.2 * 0.004 * i, 0, 0.5}, {0, 1, 0, 0}});
    PoseLog<Cell, Flange> const log(rows);
    Rest<Cell, Part> const fixture{Pose<Cell, Part>::identity()};
    Pose<Flange, Head> const mount{from_zyx_angles<Flange, Head>(0, 0, 0), {0, 0, millimetres(50)}};
    Range const mirror{degrees(-10), degrees(10)};
    Range const lens{millimetres(-8), millimetres(8)};
    // Mirrors 40 mm apart, focus path 490 mm, the focus moves tenfold the lens, field of 100 mm radius.
    MirrorPair<> const head = checked({0.04, 0.49, 10, mirror, mirror, lens, 0.1});
    Chain<PoseLog<Cell, Flange>, Rest<Cell, Part>, MirrorPair<>> const chain{log, fixture, mount, head};
    Plane<> const lid{Pose<Part, Face>::identity()};
    auto const seam = at_speed(straight_between({0.1, -0.04}, {0.1, 0.04}), lid, metres_per_minute(16));

    using Time = Taylor<double, 2>; // a value and two derivatives
    for (double const s : {0.0, 0.075, 0.15, 0.225, 0.3}) {
        auto const now = chain.follow(seam, Time::variable(s), Time::variable(0.35 + s));
        auto const& y = now.aim.command.y_mirror;
        std::printf("%.3f s  last mirror %7.3f mrad %7.4f rad/s %7.4f rad/s²  %s\n", 0.35 + s,
                    1000 * y.value(), y.derivative(1), y.derivative(2), to_string(now.status));
    }
    // [hold] end
    auto const below = chain.follow(seam, Time::variable(0.15), Time::variable(0.5)).aim.command.y_mirror;
    return std::abs(below.derivative(1) - -metres_per_minute(16) / (2 * 0.45)) < 1e-9 ? 0 : 1; // v / 2z
}
