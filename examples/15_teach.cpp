// Teaching: where the tray stands, from touched marks; and points of its inclined shoulder, taught with the
// pilot beam in three ways. All numbers are invented. Each checked value can be worked out by hand, as the
// comments do. Returns 1 if they are not met.
#include "seamhold/follow/teach.hpp"
#include "seamhold/frame/angles.hpp"
#include "seamhold/frame/fit.hpp"
#include "seamhold/head/mirror_pair.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/surface/plane.hpp"

#include <cmath>
#include <cstdio>
#include <vector>

using namespace seamhold;

int main() {
    // [frame]
    // Four marks of the tray, from its drawing, and where the robot's tip touched them. The tray is turned by
    // 90°: a mark (x, y, z) stands at (0.8 − y, 0.2 + x, 0.1 + z); two corners seem 0.2 mm too high, two too
    // low, as no shift or tilt can mend.
    double const off = millimetres(0.2);
    std::vector<TouchedPoint<Cell, Part>> const marks{{{0, 0, 0}, {0.8, 0.2, 0.1 + off}},
                                                      {{0.3, 0, 0}, {0.8, 0.5, 0.1 - off}},
                                                      {{0.3, 0.2, 0}, {0.6, 0.5, 0.1 + off}},
                                                      {{0, 0.2, 0}, {0.6, 0.2, 0.1 - off}}};
    auto const tray = fit_pose(marks); // a pose, and how well each mark agrees with it
    // [frame] end
    std::printf("tray at (%.1f, %.1f, %.1f) mm, marks %.2f mm off (rms), the worst %.2f mm\n",
                in_millimetres(tray.pose.origin.x), in_millimetres(tray.pose.origin.y),
                in_millimetres(tray.pose.origin.z), in_millimetres(tray.rms), in_millimetres(tray.worst));

    // [beam]
    // The robot looks straight down with the head 100 mm below its flange; someone steered the pilot beam.
    Range const mirror{degrees(-10), degrees(10)};
    Range const lens{millimetres(-10), millimetres(10)};
    MirrorPair<> const head =
        checked({millimetres(40), millimetres(540), 8, mirror, mirror, lens, millimetres(200)});
    auto const taught_from = [&](Point<Cell> const& flange, Command<> const& command) {
        Pose<Cell, Flange> const cell_from_flange{from_wxyz<Cell, Flange>(0, 1, 0, 0), flange};
        Pose<Flange, Head> const flange_from_head{Rotation<Flange, Head>::identity(), {0, 0, 0.1}};
        return pilot_ray(inverse(tray.pose) * cell_from_flange * flange_from_head, head, command);
    };
    auto const ray = taught_from({0.7, 0.35, 0.7}, {0, 0, millimetres(-5)});
    // [beam] end

    // [taught]
    // The shoulder rises by 45° from y = 60 mm, so the beam, which falls at (150, 100) mm, meets it 40 mm up.
    Plane<> const shoulder{{about_axis<Part, Face>({1, 0, 0}, degrees(45)), {0.15, 0.06, 0}}};
    TaughtPoint const on_face = meet(ray, shoulder);

    // The same mark from 100 mm aside, where the mirror turns the beam by atan(100 / 460); the robot's report
    // is 0.3 mm off across both beams, so they miss each other by that and the mark is put halfway.
    auto const second = taught_from({0.7 + millimetres(0.3), 0.45, 0.7}, {0, 0.5 * std::atan(0.1 / 0.46), 0});
    auto const crossed = crossing_of<Part>({ray, second});

    // The spot was focused sharp: lens at −5 mm, so the focus is 8 · 5 mm nearer than 500 mm.
    Point<Part> const sharp = focus_of(ray);

    std::vector<Point<Part>> const taught{on_face.position, crossed.position, sharp};
    // [taught] end
    for (auto const& p : taught)
        std::printf("taught (%.2f, %.2f, %.2f) mm\n", in_millimetres(p.x), in_millimetres(p.y),
                    in_millimetres(p.z));
    std::printf("beams cross at %.1f degrees, each %.2f mm from the mark\n", in_degrees(crossed.angle),
                in_millimetres(crossed.worst));

    auto const near = [](double a, double b) { return std::abs(a - b) < 1e-12; };
    bool const met = near(norm(tray.pose.origin - Point<Cell>{0.8, 0.2, 0.1}), 0) && near(tray.rms, off) &&
                     near(norm(on_face.position - Point<Part>{0.15, 0.1, 0.04}), 0) &&
                     near(on_face.cosine, std::sqrt(0.5)) && near(crossed.worst, millimetres(0.15)) &&
                     near(norm(crossed.position - Point<Part>{0.15, 0.1 - millimetres(0.15), 0.04}), 0) &&
                     near(norm(sharp - Point<Part>{0.15, 0.1, 0.04}), 0);
    return met ? 0 : 1;
}
