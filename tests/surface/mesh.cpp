#include "seamhold/surface.hpp"

#include <doctest/doctest.h>

#include "support/meshes.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

// The largest distances from the face along a circle of radius 20 mm that has the origin inside, off the
// middle; for faces whose polar coordinates are known.
struct Off {
    double position = 0, normal = 0, bend = 0;
};
template <class Analytic> Off off_face(MeshFace const& face, Analytic const& exact) {
    Off most;
    auto const across = exact.part_from_face * Direction<Face>{0, 1, 0};
    for (int i = 0; i < 200; ++i) {
        auto const turn = sin_cos(2 * std::numbers::pi * i / 200);
        double const x = 0.008 + 0.02 * turn.cos, y = 0.02 * turn.sin;
        auto const p = face.at(x, y);
        auto const e = exact.at(x, y);
        most.position = std::max(most.position, norm(p.position - e.position));
        most.normal = std::max(most.normal, norm(p.normal - e.normal));
        most.bend = std::max(most.bend, std::abs(face.bend(p, across) - 1 / exact.radius));
    }
    return most;
}

template <class Analytic> void converges(std::string const& called, Analytic const& exact, double uneven) {
    CAPTURE(called);
    CAPTURE(uneven);
    Random random(4301);
    std::vector<Off> off;
    int const counts[] = {10, 20, 40, 80}; // edges of 7, 3.5, 1.75 and 0.875 mm on a radius of 50 mm
    for (int const n : counts) {
        MeshFace const face(Mesh(triangles_of(exact, n, 0.035, uneven, random)), exact.part_from_face);
        CHECK(difference(face.part_from_face().origin, exact.part_from_face.origin) < 1e-5);
        off.push_back(off_face(face, exact));
    }
    // Halving the edges takes a factor of 2^order; over all three halvings. Promised is the second order;
    // what is measured is the fourth for places and the third for normals. Uneven ones
    // scatter with their random corners.
    auto const order = [&](double Off::*what) { return std::log2(off[0].*what / (off[3].*what)) / 3; };
    MESSAGE(called << std::string(uneven > 0 ? " uneven" : " even") << ": orders of place "
                   << order(&Off::position) << ", normal " << order(&Off::normal) << ", bend "
                   << order(&Off::bend) << "; at the finest off by " << off[3].position * 1e9 << " nm, "
                   << off[3].normal * 1e6 << " urad");
    bool const even = uneven == 0;
    CHECK(order(&Off::position) > (even ? 3.8 : 2.7));
    CHECK(order(&Off::normal) > (even ? 2.8 : 2.3));
    CHECK(order(&Off::bend) > (even ? 1.9 : 1.5));
    CHECK(off[3].position < 3e-9);
    CHECK(off[3].normal < 3e-6);
    for (std::size_t i = 1; even && i < off.size(); ++i) {
        CHECK(off[i].position < off[i - 1].position / 4); // never worse than the second order
        CHECK(off[i].normal < off[i - 1].normal / 4);
    }
}

Pose<Part, Face> const flat = Pose<Part, Face>::identity();

// A plate of 100 mm × 100 mm in 10 × 10 squares, triangles 1 to 200 from (−50, −50) mm on, y before x.
std::vector<Facet> plate() {
    Random random(1);
    return triangles_of(Plane<>{flat}, 10, 0.05, 0, random);
}

} // namespace

TEST_CASE("a face laid on a mesh comes to the tube and the ball it stands for") {
    Random random(4302);
    auto const pose = random_pose<Part, Face>(random, 0.3);
    for (double const uneven : {0.0, 0.2}) {
        converges("tube from outside", cylinder_at(pose, 0.05), uneven);
        converges("tube from inside", cylinder_at(pose, -0.05), uneven);
        converges("ball from outside", sphere_at(pose, 0.05), uneven);
        converges("ball from inside", sphere_at(pose, -0.05), uneven);
    }
}

TEST_CASE(
    "on a face that bends differently in each direction the mesh's places and normals come to its own") {
    // Geodesics of a ring are not known in closed form; that places lie on it and have its normal is.
    auto const ring = torus_at(flat, 0.06, -0.04); // axis along y at z = −20 mm, tube's middle 60 mm from it
    Random random(4303);
    double place_before = 1, normal_before = 1;
    for (int const n : {10, 20, 40, 80}) {
        MeshFace const face(Mesh(triangles_of(ring, n, 0.012, 0.15, random)), flat);
        double place = 0, normal = 0;
        for (int i = 0; i < 100; ++i) {
            auto const turn = sin_cos(2 * std::numbers::pi * i / 100);
            auto const p = face.at(0.008 * turn.cos, 0.008 * turn.sin);
            Direction<Part> const from_axis{p.position.x, 0, p.position.z + 0.02};
            auto const middle = Point<Part>{0, 0, -0.02} + 0.06 * unit(from_axis);
            place = std::max(place, std::abs(norm(p.position - middle) - 0.04));
            normal = std::max(normal, norm(p.normal + unit(p.position - middle))); // seen from inside
        }
        CHECK(place < place_before / 4);
        CHECK(normal < normal_before / 3); // the second order would be 4; random corners scatter
        place_before = place;
        normal_before = normal;
    }
    CHECK(place_before < 1e-9);
    CHECK(normal_before < 5e-5);
}

TEST_CASE("the mesh of a tube is laid without stretching, and what is near stays near") {
    auto const tube = cylinder_at(flat, 0.05);
    Random random(4304);
    MeshFace const face(Mesh(triangles_of(tube, 70, 0.035, 0.2, random)), flat); // edges of 1 mm
    // A grid of places: neighbours 0.1 mm apart in the drawing are 0.1 mm apart on the mesh in either
    // direction, and no jump stands between them: edges of 1 mm on 50 mm are off by some nm.
    double const step = 1e-4, chord = 2 * 0.05 * std::sin(step / 0.1); // of 0.1 mm around
    for (int i = 0; i < 60; ++i) {
        double const x = -0.02 + 7e-4 * i, y = 0.011;
        auto const p = face.at(x, y).position;
        CHECK(norm(face.at(x + step, y).position - p) == doctest::Approx(step).epsilon(1e-4));
        CHECK(norm(face.at(x, y + step).position - p) == doctest::Approx(chord).epsilon(1e-4));
    }
}

TEST_CASE("long strips of a tube and a flat beside a narrow fillet, as a drawing office cuts them") {
    std::vector<Facet> strips;
    int const count = 64;
    auto const on_tube = [&](int i, double x) {
        double const turn = 2 * std::numbers::pi * (i + 0.3) / count;
        return Point<Part>{x, 0.05 * std::sin(turn), 0.05 * std::cos(turn)};
    };
    for (int i = 0; i < count; ++i) {
        strips.push_back({{on_tube(i, -0.05), on_tube(i, 0.05), on_tube(i + 1, 0.05)}});
        strips.push_back({{on_tube(i, -0.05), on_tube(i + 1, 0.05), on_tube(i + 1, -0.05)}});
    }
    MeshFace const face(Mesh(strips), {flat.rotation, {0, 0, 0.06}});
    auto const tube = cylinder_at({flat.rotation, {0, 0, 0.05}}, 0.05);
    auto const e = tube.at(0.02, 0.06), p0 = SurfacePoint<double>{face.at(0.02, 0.06).position, {}};
    CHECK(norm(p0.position - e.position) < 1e-6);
    CHECK(norm(face.at(0.02, 0.06).normal - e.normal) < 1e-4);

    // A flat of 100 mm in two triangles, then a quarter of a rounding of 5 mm in eight strips.
    std::vector<Facet> edge;
    auto const add = [&](double x0, double z0, double x1, double z1) {
        edge.push_back({{{{x0, -0.05, z0}, {x1, -0.05, z1}, {x1, 0.05, z1}}}});
        edge.push_back({{{{x0, -0.05, z0}, {x1, 0.05, z1}, {x0, 0.05, z0}}}});
    };
    add(-0.1, 0, 0, 0);
    for (int i = 0; i < 8; ++i) {
        double const a = std::numbers::pi / 16 * i, b = a + std::numbers::pi / 16;
        add(0.005 * std::sin(a), 0.005 * (std::cos(a) - 1), 0.005 * std::sin(b), 0.005 * (std::cos(b) - 1));
    }
    MeshFace const rounded(Mesh(edge), {flat.rotation, {-0.05, 0, 0.01}});
    for (int i = 0; i < 50; ++i) {
        auto const p = rounded.at(0.001 * i, 0.01);
        CHECK(std::abs(p.position.z) < 2e-5); // the flat bulges by less than 20 µm towards the rounding
        CHECK(std::abs(p.normal.x) < 1e-3);
    }
    auto const middle = rounded.at(0.05 + 0.005 * std::numbers::pi / 4, 0);
    CHECK(middle.position.x == doctest::Approx(0.005 * std::sqrt(0.5)).epsilon(0.01));
    CHECK(middle.normal.x == doctest::Approx(std::sqrt(0.5)).epsilon(1e-3));
}

TEST_CASE("the bend of a mesh that is narrower than its triangles are long") {
    // 4 mm around a tube of 50 mm, 2 mm along it, of two triangles
    auto const on_tube = [](double x, double y) { return cylinder_at(flat, 0.05).at(x, y).position; };
    auto const a = on_tube(-0.001, -0.002), b = on_tube(0.001, -0.002), c = on_tube(0.001, 0.002),
               d = on_tube(-0.001, 0.002);
    MeshFace const face(Mesh(std::vector<Facet>{{{a, b, c}}, {{a, c, d}}}), flat);
    auto const middle = face.at(0, 0);
    // A mesh so small has flat normals only; what counts is that it does not fail, at its end either.
    CHECK(std::abs(face.bend(middle, {0, 1, 0})) < 1);
    CHECK(std::abs(face.bend(face.at(0.0009999, 0), {1, 0, 0})) < 1);
}

TEST_CASE("corners within the weld distance are one; triangles without a third corner vanish") {
    auto facets = plate();
    facets[3].corner[0].x += 4e-7; // another corner of the same vertex is 0.4 µm away
    facets.push_back({{facets[0].corner[0], facets[0].corner[1], facets[0].corner[1]}});
    Mesh const mesh(facets);
    CHECK(mesh.size() == 200);
    CHECK(mesh.vertex_count() == 121);
    CHECK(mesh.fault_count(MeshEdge::border) == 40);
    CHECK(mesh.fault_count(MeshEdge::smooth) == 560);
    MeshOptions strict;
    strict.weld = 1e-7;
    CHECK(Mesh(facets, strict).vertex_count() == 122);
    // Corners either side of where the welder's cells meet.
    for (double const shift : {0.0, 1e-6, 5e-7}) {
        auto moved = plate();
        for (auto& f : moved)
            for (auto& p : f.corner)
                p = p +
                    Direction<Part>{shift, -shift, shift + 1e-12 * static_cast<double>(&p - &f.corner[0])};
        CHECK(Mesh(moved).vertex_count() == 121);
    }
}

TEST_CASE("a line runs through corners and along edges") {
    MeshFace const face(Mesh(plate()), flat); // its origin is a corner, (10 k, 10 m) mm are others
    for (int i = 0; i < 16; ++i) {
        double const turn = std::numbers::pi * i / 8;
        double const x = 0.0499 * std::cos(turn), y = 0.0499 * std::sin(turn);
        auto const p = face.at(x, y);
        CHECK(norm(p.position - Point<Part>{x, y, 0}) < 1e-9); // kept a billionth of an edge off corners
        CHECK(difference(p.normal, Direction<Part>{0, 0, 1}) == 0);
        CHECK(face.bend(p, {1, 0, 0}) == 0);
    }
    CHECK(difference(face.at(0, 0).position, Point<Part>{0, 0, 0}) < 1e-9);
    CHECK(has(refusal_of([&] { face.at(std::numeric_limits<double>::quiet_NaN(), 0); }), "not finite"));
}

TEST_CASE("what is wrong with a mesh under a seam is named with its place, and elsewhere does no harm") {
    // The line runs from the origin along x at y = 1 mm: through triangles 112 and 111 (0 to 10 mm), 132 and
    // 131 and so on. The squares are cut from their lower left to their upper right corner.
    auto const start = Pose<Part, Face>{flat.rotation, {0, 0.001, 0.02}};
    auto const along = [&](std::vector<Facet> const& facets) {
        return refusal_of([&] { MeshFace(Mesh(facets), start).at(0.04, 0); });
    };
    auto const aside = [&](std::vector<Facet> const& facets) {
        return refusal_of([&] { MeshFace(Mesh(facets), start).at(-0.04, 0); });
    };
    CHECK(along(plate()) == "");

    auto hole = plate();
    hole.erase(hole.begin() + 130); // triangle 131, from (10, 0) to (20, 0) and (20, 10) mm
    CHECK(has(along(hole), "stops at (11, 1, 0) mm on the edge of triangle 131: there is a hole"));
    CHECK(aside(hole) == "");
    CHECK(has(refusal_of([&] { MeshFace(Mesh(plate()), start).at(0.06, 0); }),
              "stops at (50, 1, 0) mm on the edge of triangle 191: there is a hole, or the mesh ends"));

    auto flipped = plate();
    std::swap(flipped[130].corner[0], flipped[130].corner[1]);
    CHECK(
        has(along(flipped), "(11, 1, 0) mm on the edge of triangle 132: triangle 131 behind it is flipped"));
    CHECK(aside(flipped) == "");
    CHECK(Mesh(flipped).fault_count(MeshEdge::flipped) == 6);
    // Beside a flipped triangle the normal is not spoiled.
    CHECK(difference(MeshFace(Mesh(flipped), start).at(0.009, 0).normal, Direction<Part>{0, 0, 1}) == 0);

    auto crowded = plate();
    crowded.push_back({{crowded[130].corner[2], crowded[130].corner[0], Point<Part>{0.015, 0.005, 0.01}}});
    CHECK(has(along(crowded), "(11, 1, 0) mm on the edge of triangle 132: three triangles or more share it"));
    CHECK(aside(crowded) == "");

    // Two triangles for one, the third corner of the second on the first's edge: no area.
    auto narrow = plate();
    auto const a = narrow[130].corner[0], b = narrow[130].corner[1], c = narrow[130].corner[2];
    Point<Part> const on_edge{0.0125, 0.0025, 0}; // between a and c
    narrow[130] = {{a, b, on_edge}};
    narrow.push_back({{on_edge, b, c}});
    narrow.push_back({{a, on_edge, c}});
    auto const message = along(narrow);
    CHECK(has(message, "(11, 1, 0) mm on the edge of triangle 132: triangle 202 behind it has no area"));
    CHECK(aside(narrow) == "");

    auto folded = plate();
    for (auto& f : folded)
        for (auto& p : f.corner)
            if (p.x > 0.015)
                p.z -= p.x - 0.01; // 45° down from x = 10 mm on
    CHECK(has(along(folded), "the mesh has a crease there, to triangle 132, of more than 40°"));
    CHECK(has(along(folded), "stops at (10, 1, 0) mm on the edge of triangle 111: the mesh has a crease"));
    CHECK(aside(folded) == "");
    MeshOptions round;
    round.crease = degrees(60);
    CHECK(refusal_of([&] { MeshFace(Mesh(folded, round), start).at(0.02, 0); }) == "");
}

TEST_CASE("an anchor beside the mesh or behind it, and triangles that make no mesh, are named") {
    Mesh const mesh(plate());
    auto const at = [&](double x, double z) { return Pose<Part, Face>{flat.rotation, {x, 0.003, z}}; };
    CHECK(difference(MeshFace(mesh, at(0.02, 0.05)).part_from_face().origin, Point<Part>{0.02, 0.003, 0}) <
          1e-10);
    CHECK(difference(MeshFace(mesh, at(0.02, -0.05)).part_from_face().origin, Point<Part>{0.02, 0.003, 0}) <
          1e-10);
    CHECK(refusal_of([&] { MeshFace(mesh, at(0.08, 0.05)); }) ==
          "the z axis of the face at (80, 3, 50) mm meets no triangle of the mesh that faces it");
    Pose<Part, Face> const below{about_axis<Part, Face>({1, 0, 0}, std::numbers::pi), {0.02, 0.003, 0.05}};
    CHECK(has(refusal_of([&] { MeshFace(mesh, below); }), "is its z axis reversed?"));
    Pose<Part, Face> const steep{about_axis<Part, Face>({0, 1, 0}, degrees(89)), {0.02, 0.003, 0}};
    CHECK(refusal_of([&] { MeshFace(mesh, steep); }) == ""); // grazing, but it meets it

    CHECK(has(refusal_of([] { Mesh(std::vector<Facet>{}); }), "at least one triangle"));
    auto facets = plate();
    facets[16].corner[1].y = std::numeric_limits<double>::infinity();
    CHECK(has(refusal_of([&] { Mesh{facets}; }), "triangle 17 has a corner"));
    MeshOptions options;
    options.weld = 0;
    CHECK(has(refusal_of([&] { Mesh(plate(), options); }), "weld distance must be above 0"));
    options.weld = 0.5;
    CHECK(has(refusal_of([&] { Mesh(plate(), options); }), "farther apart than the weld distance, 500 mm"));
    options = {};
    options.crease = 4;
    CHECK(has(refusal_of([&] { Mesh(plate(), options); }), "crease angle"));
}
