#ifndef SEAMHOLD_TESTS_SUPPORT_SEAM_PATHS_HPP
#define SEAMHOLD_TESTS_SUPPORT_SEAM_PATHS_HPP

#include "seamhold/number/units.hpp"
#include "seamhold/seam/curves.hpp"
#include "seamhold/seam/lay.hpp"
#include "seamhold/seam/path.hpp"
#include "seamhold/seam/stitches.hpp"
#include "seamhold/seam/taught.hpp"
#include "seamhold/surface/cylinder.hpp"
#include "seamhold/surface/torus.hpp"
#include "support/poses.hpp"

#include <cmath>
#include <string>
#include <vector>

// One path of every kind, for laws of seams.

namespace seamhold::test {

/// A path, and what a message calls it.
struct NamedPath {
    std::string name;
    AnyPath path;
};

/// Where the faces of the paths stand.
inline Pose<Part, Face> face_somewhere() {
    return {about_axis<Part, Face>({2.0 / 3, -1.0 / 3, 2.0 / 3}, degrees(35)), {0.1, -0.2, 0.3}};
}

/// Paths with a length: of every choice of AnyPath, with and without corners.
inline std::vector<NamedPath> paths_of_every_kind() {
    Plane<> const plane{face_somewhere()};
    auto const cylinder = cylinder_at(face_somewhere(), 0.02);
    auto const torus = torus_at(face_somewhere(), 0.05, 0.02);
    auto const cornered = polyline({{0, 0}, {0.012, 0}, {0.015, 0.008}, {0.03, 0.009}});
    auto const lap = staple(0.02, 0.008, 0.003);
    std::vector<Point<Part>> points;
    std::vector<Direction<Part>> normals;
    for (int i = 0; i < 9; ++i) {
        double const x = 0.006 * i;
        points.push_back({x, 0.004 * std::sin(90 * x), 0.01 * std::cos(40 * x)});
        normals.push_back({0.2 * std::sin(60 * x), 0.1, 1});
    }
    return {{"straight", OnFace<Straight<>, Plane<>>{straight_between({0.01, 0.02}, {0.03, -0.01}), plane}},
            {"arc", OnFace<Arc<>, Plane<>>{arc_around({0.1, 0.1}, 0.02, 1, 2), plane}},
            {"clockwise arc", OnFace<Arc<>, Plane<>>{arc_around({0.1, 0.1}, 0.02, 1, -8), plane}},
            {"staple", OnFace<DrawnShape, Plane<>>{lap, plane}},
            {"wave", OnFace<DrawnShape, Plane<>>{wave(0.008, 0.002, 0.03), plane}},
            {"cornered", OnFace<DrawnShape, Plane<>>{cornered, plane}},
            {"staple on a cylinder", lay(lap, cylinder).path},
            {"wave on a torus", lay(wave(0.008, 0.002, 0.03), torus).path},
            {"cornered on a torus", lay(cornered, torus).path},
            {"taught", path_through(points, normals)}};
}

} // namespace seamhold::test

#endif
