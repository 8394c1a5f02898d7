// A scan head with two mirrors: aim at a point, trace the beam that the command makes, and see the pincushion
// that two mirrors make of a straight row of commands. The head's numbers are invented; the lengths of the
// pincushion were worked out apart from this project, to ten digits. Returns 1 if they are not met.
#include "seamhold/head.hpp"
#include "seamhold/number/units.hpp"

#include <cmath>
#include <cstdio>

using namespace seamhold;

int main() {
    // [head]
    Range const mirror{degrees(-12), degrees(12)}; // mechanical; the beam turns by twice that
    MirrorPair<> const head = checked({.separation = millimetres(20),
                                       .focus_path = millimetres(520), // half a metre below the last mirror
                                       .focus_ratio = 8, // the lens moves 1 mm, the focus moves 8 mm
                                       .x_range = mirror,
                                       .y_range = mirror,
                                       .focus_range = {millimetres(-10), millimetres(10)},
                                       .field_radius = millimetres(170)});
    Point<Head> const p{0.12, 0.08, 0.5};
    auto const aim = head.aim(p);
    auto const ray = head.ray(aim.command);
    Status const status = status_of(aim);
    // [head] end
    std::printf("to reach (120, 80, 500) mm: mirrors at %.6f° and %.6f°, lens at %.3f mm: %s\n",
                in_degrees(aim.command.x_mirror), in_degrees(aim.command.y_mirror),
                in_millimetres(aim.command.focus), to_string(status));
    double const miss = norm(cross(p - ray.origin, ray.direction));
    std::printf("the beam passes it by %.1e m; %.1f mm of the field's radius are left\n", miss,
                in_millimetres(head.field_radius * aim.clearance.field));

    // [pincushion]
    // One angle of the first mirror, three of the last: on a flat face x is not the same.
    double x[3];
    for (int i = 0; i < 3; ++i) {
        auto const beam = head.ray(Command<>{degrees(10), degrees(5 * i), 0});
        x[i] = beam.origin.x + beam.direction.x / beam.direction.z * 0.5;
        std::printf("first mirror 10°, last %2d°: x = %.4f mm, %+.3f %%\n", 5 * i, in_millimetres(x[i]),
                    100 * (x[i] / x[0] - 1));
    }
    // [pincushion] end
    double const off = std::abs(x[0] - 0.1892645218184) + std::abs(x[1] - 0.1920719355894) +
                       std::abs(x[2] - 0.2009439212598) +
                       std::abs(in_degrees(aim.command.x_mirror) - 6.421425149546) +
                       std::abs(in_degrees(aim.command.y_mirror) - 4.545138460411);
    return off < 1e-11 && miss < 1e-12 && status == Status::ok ? 0 : 1; // ten to twelve printed digits
}
