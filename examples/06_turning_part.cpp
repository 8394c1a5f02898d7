// A part on a turning positioner works exactly like a fixed one: a ring seam around the tray's drain stub,
// welded while the table turns under a head that rests. When the table turns as fast as the seam runs, the
// other way, the mirrors have nothing left to do. Every number is invented. Returns 1 if they move then.
#include "seamhold/follow.hpp"
#include "seamhold/motion.hpp"
#include "seamhold/number.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>

using namespace seamhold;

struct Table; // the turning plate of the positioner

// The largest velocity of the two mirrors over one turn of a ring of 120 mm, rad/s.
double largest_mirror_velocity(double table_speed) {
    // [positioner]
    // The table's middle stands at (0.8, 0.3) m in the cell; the tray lies on it, 20 mm above its plate.
    Pose<Cell, Table> const at_start{Rotation<Cell, Table>::identity(), {0.8, 0.3, 0.6}};
    Turntable<Cell, Table> const table{at_start, {0.8, 0.3, 0}, {0, 0, 1}, table_speed, 0};
    Rest<Table, Part> const tray{{Rotation<Table, Part>::identity(), {0, 0, 0.02}}};
    auto const cell_from_part = compose(table, tray);

    Rest<Cell, Flange> const robot{{from_wxyz<Cell, Flange>(0, 1, 0, 0), {0.8, 0.3, 1.12}}};
    Range const mirror{degrees(-10), degrees(10)};
    MirrorPair<> const head = checked({0.04, 0.54, 8, mirror, mirror, {-0.01, 0.01}, 0.17});
    Chain<Rest<Cell, Flange>, decltype(cell_from_part), MirrorPair<>> const chain{
        robot, cell_from_part, Pose<Flange, Head>::identity(), head};

    Plane<> const lid{Pose<Part, Face>::identity()};
    auto const ring = at_speed(circle_around({0, 0}, 0.12), lid, metres_per_minute(16));
    using Time = Taylor<double, 1>;
    double largest = 0;
    for (int i = 0; i <= 1000; ++i) {
        Time const t = Time::variable(ring.duration() * i / 1000); // the seam starts at 0 s
        auto const now = chain.follow(ring, t, t);
        auto const& [x, y, focus] = now.aim.command;
        largest = now.status == Status::ok
                      ? std::max({largest, std::abs(x.derivative(1)), std::abs(y.derivative(1))})
                      : std::numeric_limits<double>::infinity();
    }
    // [positioner] end
    return largest;
}

int main() {
    double const seam = metres_per_minute(16) / 0.06; // the spot's way round the stub, rad/s
    double velocity[3];
    for (int i = 0; i < 3; ++i) {
        velocity[i] = largest_mirror_velocity(-0.5 * i * seam);
        std::printf("table at %5.2f rad/s: mirrors at up to %.6f rad/s\n", 0 - 0.5 * i * seam, velocity[i]);
    }
    // By hand, table at rest: v / (2 · 0.5 m) where the seam crosses below the head's x axis.
    return std::abs(velocity[0] - metres_per_minute(16)) < 1e-12 && velocity[2] < 1e-12 ? 0 : 1;
}
