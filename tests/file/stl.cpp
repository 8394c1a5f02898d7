#include "seamhold/file/stl.hpp"

#include <doctest/doctest.h>

#include "seamhold/surface/mesh_face.hpp"
#include "temporary.hpp"

#include <array>
#include <bit>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

bool contains(std::string const& text, std::string const& part) {
    return text.find(part) != std::string::npos;
}

// A tetrahedron of 10 mm along the axes, wound counter-clockwise from outside, written by hand.
std::string const tetrahedron =
    "solid lid corner\n"
    " facet normal 0 0 -1\n  outer loop\n"
    "   vertex 0 0 0\n   vertex 0 10 0\n   vertex 10 0 0\n  endloop\n endfacet\n"
    " facet normal 0 -1 0\n  outer loop\n"
    "   vertex 0 0 0\n   vertex 10 0 0\n   vertex 0 0 1.0e+01\n  endloop\n endfacet\n"
    " facet normal -1 0 0\n  outer loop\n"
    "   vertex 0 0 0\n   vertex 0 0 10\n   vertex 0 10 0\n  endloop\n endfacet\n"
    " facet normal 0 0 0\n  outer loop\n"
    "   vertex 10 0 0\n   vertex 0 10 0\n   vertex 0 0 10\n  endloop\n endfacet\n"
    "endsolid lid corner\n";

std::string replaced(std::string text, std::string const& what, std::string const& by) {
    auto const at = text.find(what);
    REQUIRE(at != std::string::npos);
    return text.replace(at, what.size(), by);
}

void append(std::string& bytes, std::uint32_t value) {
    for (int i = 0; i < 4; ++i)
        bytes += static_cast<char>(value >> (8 * i) & 255U);
}

using Numbers = std::array<float, 12>; // normal and three corners

std::string binary(std::vector<Numbers> const& triangles, std::string head = "made for a test") {
    head.resize(80, ' ');
    append(head, static_cast<std::uint32_t>(triangles.size()));
    for (auto const& triangle : triangles) {
        for (float const x : triangle)
            append(head, std::bit_cast<std::uint32_t>(x));
        head += std::string(2, '\0');
    }
    return head;
}

Numbers const flat{0, 0, 1, 0, 0, 0, 10, 0, 0, 0, 10, 0};

} // namespace

TEST_CASE("a tetrahedron in text is read in the unit that is said") {
    TemporaryFolder const folder;
    auto const path = folder.file("corner.stl", tetrahedron);
    auto const facets = read_stl(path, 0.001);
    REQUIRE(facets.size() == 4);
    CHECK(facets[1].corner[2].z == 0.01);
    CHECK(facets[3].corner[0].x == 0.01);
    CHECK(read_stl(path, 0.0254)[3].corner[0].x == doctest::Approx(0.254).epsilon(1e-15)); // in inches
    auto const mesh = mesh_from_stl(path, 0.001);
    CHECK(mesh.size() == 4);
    CHECK(mesh.vertex_count() == 4);
    CHECK(mesh.fault_count(MeshEdge::border) == 0);
    CHECK(mesh.fault_count(MeshEdge::flipped) == 0);
    CHECK(mesh.fault_count(MeshEdge::crease) == 12);
    // Other line ends, capital letters, and two solids in one file.
    std::string crlf;
    for (char const c : tetrahedron)
        crlf += c == '\n' ? "\r\n" : c == 'v' ? "V" : std::string(1, c);
    CHECK(read_stl(folder.file("crlf.stl", crlf), 0.001).size() == 4);
    CHECK(read_stl(folder.file("two.stl", tetrahedron + tetrahedron), 0.001).size() == 8);
}

TEST_CASE("binary STL is told by its size, also where it begins like a text") {
    TemporaryFolder const folder;
    Numbers other = flat;
    other[3] = 2.5F;
    for (char const* head : {"made for a test", "solid by name only"}) {
        auto const facets = read_stl(folder.file("b.stl", binary({flat, other}, head)), 0.001);
        REQUIRE(facets.size() == 2);
        CHECK(facets[0].corner[1].x == 0.01);
        CHECK(facets[1].corner[0].x == 0.0025);
    }
}

TEST_CASE("STL that is cut short, garbage or contradicts itself is named with its place") {
    TemporaryFolder const folder;
    auto const refused = [&](std::string const& text, double unit = 0.001) {
        return message_of([&] { read_stl(folder.file("x.stl", text), unit); });
    };
    CHECK(refused(tetrahedron) == "no error");
    CHECK(contains(refused(tetrahedron, 0), "must be above 0; given was 0"));
    CHECK(contains(refused(tetrahedron, std::numeric_limits<double>::quiet_NaN()), "above 0"));
    CHECK(refused("") == "x.stl: the file is empty");
    CHECK(contains(refused("hello"), "x.stl: 5 bytes are too few"));
    CHECK(contains(refused(std::string(200, 'x')), "neither text that begins with solid nor binary"));
    CHECK(refused("solid nothing\nendsolid nothing\n") == "x.stl:3: the file holds no triangle");
    // Text, cut anywhere: always refused, at its last row or one before. (A missing name at the end is none.)
    auto const end = tetrahedron.find("endsolid") + 7;
    for (std::size_t length = 6; length < end; length += 5)
        CHECK(contains(refused(tetrahedron.substr(0, length)), "x.stl:"));
    CHECK(contains(refused(tetrahedron.substr(0, 60)), "x.stl:4: "));
    CHECK(refused(replaced(tetrahedron, "1.0e+01", "1.0e+01mm")) ==
          "x.stl:13: \"1.0e+01mm\" where a finite number belongs");
    CHECK(contains(refused(replaced(tetrahedron, "1.0e+01", "nan")), "x.stl:13: \"nan\""));
    CHECK(refused(replaced(tetrahedron, "outer loop", "loop")) == "x.stl:3: \"loop\" where outer belongs");
    CHECK(contains(refused(replaced(tetrahedron, "endloop", "vertex 1 1 1")), "x.stl:7: \"vertex\""));
    CHECK(contains(refused(tetrahedron + "more"), "\"more\" where solid or the file's end belongs"));
    CHECK(contains(refused(replaced(tetrahedron, "normal 0 0 -1", "normal 0 0 1")),
                   "x.stl:8: the normal points against the way its corners run"));
    // Binary.
    auto const whole = binary({flat, flat});
    CHECK(refused(whole) == "no error");
    for (std::size_t const length : {std::size_t(84), std::size_t(100), whole.size() - 1})
        CHECK(contains(refused(whole.substr(0, length)),
                       "it should have 184 bytes and has " + std::to_string(length)));
    CHECK(contains(refused(whole + "x"), "has 185"));
    CHECK(contains(refused(binary({})), "0 triangles"));
    Numbers broken = flat;
    broken[7] = std::numeric_limits<float>::infinity();
    CHECK(refused(binary({flat, broken})) == "x.stl: triangle 2: a number that is not finite");
    broken = flat;
    broken[2] = -1;
    CHECK(contains(refused(binary({flat, flat, broken})), "x.stl: triangle 3: the normal points against"));
    CHECK(contains(message_of([&] { read_stl(folder / "none.stl", 1); }), "none.stl: cannot be read"));
    CHECK(contains(message_of([&] { mesh_from_stl(folder.file("m.stl", binary({flat})), 1e-9); }),
                   "m.stl: no triangle of the mesh has three corners"));
}

TEST_CASE("a hundred thousand triangles are read, joined and searched") {
    // A tube of radius 50 mm in strips of squares, cut in two.
    TemporaryFolder const folder;
    int const along = 200, around = 250;
    std::vector<Numbers> triangles;
    auto const corner = [&](int i, int k) {
        double const turn = 2 * 3.14159265358979323846 * (k % around) / around;
        return std::array<float, 3>{static_cast<float>(0.5 * i), static_cast<float>(50 * std::sin(turn)),
                                    static_cast<float>(50 * std::cos(turn))};
    };
    auto const add = [&](std::array<float, 3> a, std::array<float, 3> b, std::array<float, 3> c) {
        triangles.push_back({0, 0, 0, a[0], a[1], a[2], b[0], b[1], b[2], c[0], c[1], c[2]});
    };
    for (int i = 0; i < along; ++i)
        for (int k = 0; k < around; ++k) {
            add(corner(i, k), corner(i + 1, k), corner(i + 1, k + 1));
            add(corner(i, k), corner(i + 1, k + 1), corner(i, k + 1));
        }
    auto const path = folder.file("tube.stl", binary(triangles));
    auto const start = std::chrono::steady_clock::now();
    auto const mesh = mesh_from_stl(path, 0.001);
    MeshFace const face(mesh, {Rotation<Part, Face>::identity(), {0.05, 0, 0.06}});
    double const seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    CHECK(seconds < 30); // some 0.2 s on a desk, more where every access is checked
    CHECK(mesh.size() == 100000);
    CHECK(mesh.vertex_count() == 201 * 250);
    CHECK(mesh.fault_count(MeshEdge::border) == 500);
    auto const p = face.at(0.01, 0.05);          // one radian around
    CHECK(std::abs(p.position.x - 0.06) < 1e-6); // corners are rounded to 4e-9 m by the file
    CHECK(std::abs(p.position.y - 0.05 * std::sin(1.0)) < 1e-6);
    CHECK(std::abs(p.normal.z - std::cos(1.0)) < 1e-4);
    CHECK(contains(message_of([&] { face.at(0.06, 0); }), "there is a hole, or the mesh ends"));
}
