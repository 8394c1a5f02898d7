// Seams as the shop needs them: a staple laid on a tube by a speed law, woven, with its power following the
// feed; a seam through taught points. Every number is invented. Returns 1 if lengths and speeds worked out by
// hand are missed.
#include "seamhold/number.hpp"
#include "seamhold/seam.hpp"
#include "seamhold/surface.hpp"

#include <cmath>
#include <cstdio>

using namespace seamhold;

int main() {
    // [path]
    // A tube of 60 mm along the part's x; the face's origin is its top. Laid once; what is kept is a path.
    AnyFace const tube = cylinder_around({0, 0, 0}, {1, 0, 0}, {0.1, 0, 0.03});
    DrawnShape const drawn = staple(0.024, 0.01, 0.002).moved(0, 0, degrees(90));
    PlacedPath const placed = path_on(drawn, tube);
    PathFrame const middle =
        frame_at(placed.path, placed.path.length() / 2); // place, tangent, normal, across
    // [path] end
    // [law]
    // From rest, 15 m/min where the bends let it: 6 m/s² to the side there, 5 m/s² along, 500 m/s³.
    SpeedLaw const law{.speed = metres_per_minute(15),
                       .start_speed = 0,
                       .end_speed = 0,
                       .acceleration = 5,
                       .jerk = 500,
                       .lateral_acceleration = 6};
    // 1.2 kW when it stands, 3.2 kW at 15 m/min, never below 1.5 kW but in the ramps of 10 ms at both ends.
    PowerLaw const power({{0, 1200}, {metres_per_minute(15), 3200}}, 1500, {0.01, 0.01, 0.2, 0.2});
    Weave const eight{.frequency = 250, .amplitude = millimetres(0.4), .form = WeaveForm::figure_eight};
    AnySeam const seam = by_law(placed.path, law, {eight, millimetres(-1), power});
    // [law] end
    // [taught]
    // Five points touched on the part, in its frame, and one direction towards the head.
    LaidPath const taught = path_through(
        {{0, 0, 0}, {0.01, 0.004, 0}, {0.02, 0.005, 0.001}, {0.03, 0.003, 0.003}, {0.04, -0.002, 0.004}},
        Direction<Part>{0, 0, 1});
    // [taught] end
    double const bend_feed = seam.feed(seam.travel.time_at(0.008 + 0.001 * 1.5707963));
    std::printf("staple on the tube: %.3f mm in %.1f ms, bends at %.1f mm/s, %.0f W in the middle\n",
                in_millimetres(seam.length()), in_milliseconds(seam.duration()), in_millimetres(bend_feed),
                seam.power_at(seam.duration() / 2, 0));
    std::printf(
        "its middle: (%.2f, %.2f, %.2f) mm, normal (%.3f, %.3f, %.3f), bent by %.1f/m; stretch %.6f\n",
        in_millimetres(middle.position.x), in_millimetres(middle.position.y),
        in_millimetres(middle.position.z), middle.normal.x, middle.normal.y, middle.normal.z,
        middle.curvature, placed.stretch.most);
    std::printf("taught: %.3f mm, bent by %.2f/m in the middle\n", in_millimetres(taught.length()),
                frame_at(taught, taught.length() / 2).curvature);

    // By hand: two legs and a back less two corners of 2 mm each, plus two quarter turns. The middle of the
    // back lies around the tube, so it is bent as the tube is. In a bend √(6 · 0.002), a little less since
    // the tube bends it too.
    double const length = 2 * 0.008 + 0.02 + 0.002 * 3.14159265358979;
    double const off = std::abs(seam.length() / length - 1) + std::abs(placed.stretch.most - 1) +
                       std::abs(middle.curvature * 0.03 - 1);
    double const slower = bend_feed / std::sqrt(0.012);
    return off < 1e-8 && slower < 1 && slower > 0.998 ? 0
                                                      : 1; // 1e-8: the curvature's rounding over short pieces
}
