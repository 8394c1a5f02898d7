// Writes a piece of the tray's formed bend as triangles, in STL, the open format: what a drawing office would
// hand over. The numbers are invented, like all of the tray. Nothing here is taken from seamhold.
//
//   make_bend FILE    writes FILE; bend.stl beside this program's source was written by it
#include "space.hpp"

#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>

namespace {

using namespace tray;

// The bend: a tube of 60 mm radius that touches the lid and, 35 degrees on, the shoulder. Its axis runs
// across the sweep below the line at which the lid ends.
constexpr double radius = 60, turn_degrees = 35;      // mm
constexpr double across_from = -122, across_to = -62; // mm, the piece's extent along the axis
constexpr int around = 10, across = 12;               // cells, two triangles each

/// A corner of the triangles, mm: on the tube.
Vector corner(int i, int k) {
    double const angle = radians(turn_degrees * i / around);
    double const lid_ends = 700 - radius * std::tan(radians(turn_degrees / 2));
    return {lid_ends + radius * std::sin(angle), across_from + (across_to - across_from) * k / across,
            radius * (std::cos(angle) - 1)};
}

/// A triangle of the flat strip between two lines along the tube, its corners counter-clockwise seen from the
/// head.
void write_triangle(std::FILE* file, int strip, std::array<Vector, 3> const& corners) {
    double const middle = radians(turn_degrees * (strip + 0.5) / around);
    std::fprintf(file, "facet normal %.6f 0 %.6f\nouter loop\n", std::sin(middle), std::cos(middle));
    for (Vector const p : corners)
        std::fprintf(file, "vertex %.6f %.6f %.6f\n", p.x, p.y, p.z);
    std::fprintf(file, "endloop\nendfacet\n");
}

} // namespace

int main(int argc, char** argv) {
    std::FILE* const file = argc == 2 ? std::fopen(argv[1], "w") : nullptr;
    if (file == nullptr) {
        std::fprintf(stderr, argc == 2 ? "make_bend: cannot write the file\n" : "usage: make_bend FILE\n");
        return EXIT_FAILURE;
    }
    std::fprintf(file, "solid bend\n");
    for (int i = 0; i < around; ++i) {
        for (int k = 0; k < across; ++k) {
            write_triangle(file, i, {corner(i, k), corner(i + 1, k), corner(i + 1, k + 1)});
            write_triangle(file, i, {corner(i, k), corner(i + 1, k + 1), corner(i, k + 1)});
        }
    }
    std::fprintf(file, "endsolid bend\n");
    bool const bad = std::ferror(file) != 0;
    return std::fclose(file) != 0 || bad ? EXIT_FAILURE : EXIT_SUCCESS;
}
