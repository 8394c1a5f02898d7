// Faces that are not flat: a round pot of the tray, the fillet at its foot, and the same pot as triangles.
// Every number is invented. Returns 1 if what can be worked out by hand is not met. With an argument, an STL
// file in millimetres is read and counted.
#include "seamhold/file/stl.hpp"
#include "seamhold/number.hpp"
#include "seamhold/seam.hpp"
#include "seamhold/surface.hpp"

#include <cmath>
#include <cstdio>
#include <numbers>
#include <vector>

using namespace seamhold;

// The pot's side as a drawing office might cut it: a turn of 90 strips of two triangles, 60 mm high.
std::vector<Facet> strips(double radius) {
    std::vector<Facet> all;
    auto const corner = [&](int i, double z) {
        double const turn = degrees(4 * i);
        return Point<Part>{radius * std::cos(turn), radius * std::sin(turn), z};
    };
    for (int i = 0; i < 90; ++i) {
        all.push_back({{corner(i, 0), corner(i + 1, 0), corner(i + 1, 0.06)}});
        all.push_back({{corner(i, 0), corner(i + 1, 0.06), corner(i, 0.06)}});
    }
    return all;
}

int main(int count, char** arguments) {
    // [faces]
    // Three touched points make a plane: its origin, one on x, one on the side of y; the head is above.
    Plane<> const base = plane_through({0, 0, 0}, {0.2, 0, 0}, {0.05, 0.1, 0}, {0, 0, 0.5});
    // The pot stands on it, its axis along z; touched on its outside, where the face begins.
    Cylinder<> const pot = cylinder_around({0, 0, 0}, {0, 0, 1}, {0.05, 0, 0.03});
    // The fillet of 8 mm at its foot, seen from inside of the rounding: ring radius 58 mm, tube −8 mm. Its
    // face begins where the fillet runs into the pot.
    Torus<> const fillet = torus_at(face_at({0.05, 0, 0.008}, {1, 0, 0}, {0, 1, 0}), 0.058, -0.008);
    // [faces] end
    // [helix]
    // One turn around the pot that climbs by 20 mm: a straight line in the drawing, of the same length.
    double const around = 2 * std::numbers::pi * 0.05;
    auto const helix = at_speed(straight_between({-0.01, 0}, {0.01, around}), pot, metres_per_minute(6));
    // [helix] end
    // [mesh]
    // The pot's side as triangles; its face begins where the z axis of the pot's face meets them.
    Mesh const triangles(strips(0.05));
    MeshFace const side(triangles, pot.part_from_face);
    MeshPoint const place = side.at(0.01, 0.04); // 10 mm up, 40 mm around
    // [mesh] end
    // [stl]
    if (count > 1) {
        Mesh const mesh = mesh_from_stl(arguments[1], millimetres(1)); // the file says no unit
        std::printf("%zu triangles, %zu edges without a neighbour\n", mesh.size(),
                    mesh.fault_count(MeshEdge::border));
    }
    // [stl] end

    auto const on_pot = pot.at(0.01, 0.04);
    auto const foot = fillet.at(0.0, -0.008 * std::numbers::pi / 2); // a quarter around the tube: on the base
    std::printf("helix: %.4f mm on the pot\n", in_millimetres(helix.length()));
    std::printf("fillet's foot: %.3f mm from the pot's axis, its normal %.3f up\n",
                in_millimetres(foot.position.x), foot.normal.z);
    double const off_mesh = norm(place.position - on_pot.position);
    std::printf("triangles: %.3f um and %.4f mrad off the pot they stand for\n", 1e6 * off_mesh,
                1e3 * norm(place.normal - on_pot.normal));

    // By hand: √(20² + (2π 50)²) = 314.795241 mm; the foot stands 58 mm from the axis, looking up.
    double const off = std::abs(in_millimetres(helix.length()) - 314.795241) / 1e7 +
                       std::abs(foot.position.x - 0.058) + std::abs(foot.position.z) +
                       std::abs(foot.normal.z - 1) +
                       norm(base.at(0.0, 0.0).normal - Direction<Part>{0, 0, 1});
    return off < 1e-13 && off_mesh < 1e-6 ? 0 : 1;
}
