// Past a clamp: the beam is a cone with a clearance, the clamp a few convex shapes, and what is said holds at
// every moment, not at samples. Then where the beam may point in the cell. Every number is invented. Returns
// 1 if what can be worked out by hand is not met.
#include "seamhold/frame.hpp"
#include "seamhold/head.hpp"
#include "seamhold/limit/guarded_between_seams.hpp"
#include "seamhold/limit/line_of_sight.hpp"
#include "seamhold/number.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <type_traits>
#include <vector>

using namespace seamhold;

struct Pad; // the frame of a clamp's pad

int main() {
    // [clamp]
    // A clamp beside a seam along x: a pad of 30 × 20 × 12 mm on the part, and the round arm that holds it.
    Pose<Part, Pad> const corner{Rotation<Part, Pad>::identity(), {0.1, 0.012, 0}};
    Obstacle<Part> const clamp("clamp 3",
                               {box_at(corner, {0.03, 0.02, 0.012}),
                                bar_between(Point<Part>{0.115, 0.022, 0.012}, {0.115, 0.082, 0.312}, 0.008)});
    std::vector<Obstacle<Part>> const obstacles{clamp};
    // [clamp] end
    // [sight]
    // The head is 450 mm above and 120 mm aside, where it moves with 0.2 m/s; the spot runs with 0.25 m/s.
    auto const beam = [](auto const& t) {
        using T = std::decay_t<decltype(t)>;
        return BeamEnds<Part, T>{{t * 0.2, T(0.12), T(0.45)}, {t * 0.25, T(0.0), T(0.0)}};
    };
    BeamCone const cone{millimetres(12), millimetres(0.3), millimetres(1)}; // with 1 mm of clearance
    auto const sight =
        line_of_sight(obstacles, cone, 0, 1, beam, [&](Interval t) { return expanded<2>(t, beam); });
    if (sight.verdict != Verdict::within)
        std::printf("%s: %s at %.3f s, at (%.1f, %.1f, %.1f) mm\n", to_string(sight.verdict),
                    sight.name.c_str(), sight.time, in_millimetres(sight.place.x),
                    in_millimetres(sight.place.y), in_millimetres(sight.place.z));
    // [sight] end
    // From the other side of the seam there is room.
    auto const other_side = [](auto const& t) {
        using T = std::decay_t<decltype(t)>;
        return BeamEnds<Part, T>{{t * 0.2, T(-0.12), T(0.45)}, {t * 0.25, T(0.0), T(0.0)}};
    };
    auto const clear = line_of_sight(obstacles, cone, 0, 1, other_side,
                                     [&](Interval t) { return expanded<2>(t, other_side); });
    auto const nearest = nearest_obstacle(obstacles, other_side(0.46), cone);
    std::printf("from the other side: %s, proven in %zu pieces; at 0.46 s it passes %s by %.2f mm\n",
                to_string(clear.verdict), clear.pieces, obstacles[nearest.obstacle].name().c_str(),
                in_millimetres(nearest.sight.gap));

    // [guarded]
    // Guards stand under the table, and behind it. The head looks down, its x along the cell's x; between two
    // seams, 20 ms, its mirrors may be anywhere between two commands.
    GuardedDirections const guards(
        {{"floor", {0, 0, -1}, degrees(20)}, {"back wall", {0, 1, -1}, degrees(30)}});
    MirrorPair<> const head{0.04, 0.54, 8, {-0.17, 0.17}, {-0.17, 0.17}, {-0.01, 0.01}, 0.17};
    Pose<Cell, Head> const looks_down{{{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}, {0, 0, 0.5}};
    auto const off = guarded_between_seams(
        guards, head, commands_between({degrees(-5), degrees(-8), 0}, {degrees(5), degrees(8), 0}), 0, 0.02,
        [&](double) { return looks_down; }, [&](Interval) { return number_cast<Interval>(looks_down); });
    std::printf("beam-off move: %s, proven in %zu pieces\n", to_string(off.verdict), off.pieces);
    // [guarded] end

    // By hand: from the other side the beam leans away from the pad, whose side is 12 mm from the spot, and
    // 0.3 mm of light with 1 mm of clearance are kept free around that. Reached is the arm, 8 mm thick.
    Direction<Part> const arm{0, 0.06, 0.3};
    auto const from_foot = sight.place - Point<Part>{0.115, 0.022, 0.012};
    double const share = std::min(dot(from_foot, arm) / squared_norm(arm), 1.0);
    double const off_arm = norm(from_foot - share * arm);
    bool const right = sight.verdict == Verdict::exceeds && clear.verdict == Verdict::within &&
                       off.verdict == Verdict::within && std::abs(off_arm - 0.008) < 1e-12 &&
                       std::abs(nearest.sight.gap - 0.0107) < 1e-12;
    return right ? 0 : 1;
}
