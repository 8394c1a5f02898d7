// Frames are types: where a seam point lies for the scan head, by way of a fixture, the cell and the flange.
// A composition that makes no sense does not compile. Every number is invented. Returns 1 if the point worked
// out by hand is not met.
#include "seamhold/frame.hpp"
#include "seamhold/number/units.hpp"

#include <cmath>
#include <cstdio>
#include <utility>

using namespace seamhold;

// [refused]
struct Fixture; // any type is a frame, complete or not

template <class A, class B>
concept Composes = requires {
    std::declval<A>() * std::declval<B>();
};
static_assert(Composes<Pose<Cell, Flange>, Pose<Flange, Head>>);
static_assert(!Composes<Pose<Flange, Head>, Pose<Cell, Flange>>); // the inner frames do not meet
static_assert(!Composes<Pose<Cell, Flange>, Point<Head>>);        // a point of another frame
static_assert(Composes<Pose<Cell, Fixture>, Pose<Fixture, Part>>);
// [refused] end

int main() {
    // [chain]
    // The robot looks down: half a turn about x. The head hangs 100 mm below the flange.
    Pose<Cell, Flange> const cell_from_flange{from_wxyz<Cell, Flange>(0, 1, 0, 0), {0.2, 0.2, 0.9}};
    Pose<Flange, Head> const flange_from_head{Rotation<Flange, Head>::identity(), {0, 0, 0.1}};
    // The tray stands in a fixture that is turned by 90° about z (angles z, then the new y, then the new x).
    Pose<Cell, Fixture> const cell_from_fixture{from_zyx_angles<Cell, Fixture>(degrees(90), 0, 0),
                                                {0.2, 0.1, 0.3}};
    Pose<Fixture, Part> const fixture_from_part{Rotation<Fixture, Part>::identity(), {0.05, 0, 0}};

    auto const cell_from_part = cell_from_fixture * fixture_from_part;
    auto const head_from_part = inverse(cell_from_flange * flange_from_head) * cell_from_part;
    Point<Head> const seam_point = head_from_part * Point<Part>{0.1, 0.02, 0};
    Direction<Head> const normal = head_from_part * Direction<Part>{0, 0, 1}; // turned, never moved
    // [chain] end
    std::printf("seam point in the head's frame: (%.1f, %.1f, %.1f) mm\n", in_millimetres(seam_point.x),
                in_millimetres(seam_point.y), in_millimetres(seam_point.z));
    std::printf("normal in the head's frame:     (%.1f, %.1f, %.1f), back towards the head\n", normal.x,
                normal.y, normal.z);
    auto const angles = zyx_angles(cell_from_part.rotation);
    std::printf("the part in the cell: %.1f° about z, %.1f° about y, %.1f° about x\n",
                in_degrees(angles.first), in_degrees(angles.second), in_degrees(angles.third));

    // By hand: (150, 20) in the fixture is (180, 250) in the cell, seen from (200, 200), y the other way.
    double const off =
        norm(seam_point - Point<Head>{-0.02, -0.05, 0.5}) + norm(normal - Direction<Head>{0, 0, -1});
    return off < 1e-15 ? 0 : 1; // a few roundings of numbers below one
}
