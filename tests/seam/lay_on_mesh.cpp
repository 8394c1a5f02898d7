#include "seamhold/seam/any_face.hpp"

#include <doctest/doctest.h>

#include "support/meshes.hpp"
#include "support/poses.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <numbers>
#include <string>
#include <vector>

using namespace seamhold;
using namespace seamhold::test;

namespace {

double const pi = std::numbers::pi;

Pose<Part, Face> somewhere() {
    return {about_axis<Part, Face>({2.0 / 3, -1.0 / 3, 2.0 / 3}, 0.6), {0.1, -0.2, 0.3}};
}

/// 20 mm, a quarter turn of 3 mm radius, 15 mm.
DrawnShape bent() {
    return DrawnShape({straight_between({-0.012, -0.006}, {0.008, -0.006}),
                       arc_around({0.008, -0.003}, 0.003, -pi / 2, pi / 2),
                       straight_between({0.011, -0.003}, {0.011, 0.012})});
}

/// Whether to print the orders that were measured.
bool const verbose = std::getenv("SEAMHOLD_PRINT_ORDERS") != nullptr;

struct Off {
    double place = 0, normal = 0, woven = 0;
};

/// How far a path on a mesh is from the same seam laid on the true face.
Off off(LaidPath const& path, LaidPath const& truth) {
    Off most;
    for (int i = 0; i <= 400; ++i) {
        double const s = path.length() * i / 400, t = truth.length() * i / 400;
        most.place = std::max(most.place, difference(path.at(s).position, truth.at(t).position));
        most.normal = std::max(most.normal, difference(path.at(s).normal, truth.at(t).normal));
        most.woven = std::max(most.woven, difference(path.at(s, 1e-3).position, truth.at(t, 1e-3).position));
    }
    return most;
}

/// Edges of 7, 3.5, 1.75 and 0.875 mm on a radius of 50 mm.
template <class Face> void converges(Face const& exact, double uneven, std::string const& name) {
    CAPTURE(name);
    auto const truth = lay(bent(), exact).path;
    std::vector<Off> all;
    for (int const n : {10, 20, 40, 80}) {
        Random random(4'302);
        MeshFace const face(Mesh(triangles_of(exact, n, 0.035, uneven, random)), exact.part_from_face);
        auto const laid = lay(bent(), face);
        all.push_back(off(laid.path, truth));
        CHECK(laid.path.length() == doctest::Approx(truth.length()).epsilon(2e-5));
    }
    for (std::size_t i = 1; i < all.size(); ++i) {
        if (verbose)
            MESSAGE(name, ": edge halved, place off by ", all[i - 1].place / all[i].place,
                    " times less, now ", all[i].place * 1e6, " µm; normal ",
                    all[i - 1].normal / all[i].normal, " times less, now ", all[i].normal, " rad");
        // The second power is what is promised (4); a step on an uneven mesh may by chance bring less.
        CHECK(all[i - 1].place / all[i].place > 1.5);
        CHECK(all[i - 1].normal / all[i].normal > 3);
    }
    // Three halvings. Measured: the fourth power of the edge on even meshes (8⁴ = 4096), between the second
    // and the third on uneven ones (8² = 64, 8³ = 512).
    CHECK(all.front().place / all.back().place > (uneven > 0 ? 150 : 2000));
    CHECK(all.front().normal / all.back().normal > 150);
    CHECK(all.back().place < 2e-9);
    CHECK(all.back().normal < 2e-6);
    CHECK(all.back().woven < 4e-9);
}

std::string refused(Mesh const& mesh, DrawnShape const& shape) {
    try {
        MeshFace const face(mesh, somewhere());
        (void)lay(shape, face);
    } catch (BadInput const& error) {
        return error.what();
    }
    return {};
}

bool has(std::string const& text, char const* part) { return text.find(part) != std::string::npos; }

} // namespace

TEST_CASE("a seam on a mesh nears the same seam on the true face as the mesh is refined") {
    converges(cylinder_at(somewhere(), 0.05), 0, "tube, even");
    converges(cylinder_at(somewhere(), 0.05), 0.25, "tube, uneven");
    converges(cylinder_at(somewhere(), -0.05), 0.25, "inside of a tube, uneven");
    converges(sphere_at(somewhere(), 0.05), 0.25, "ball, uneven");
}

TEST_CASE("a seam on a mesh has unit speed, an orthonormal frame, and rates without a trace of triangles") {
    Random random(4'303);
    auto const exact = sphere_at(somewhere(), 0.05);
    MeshFace const face(Mesh(triangles_of(exact, 40, 0.035, 0.25, random)), exact.part_from_face);
    auto const path = lay(circle_around({0.002, 0.001}, 0.02), face).path;
    for (int i = 0; i <= 400; ++i) {
        double const s = path.length() * i / 400;
        auto const f = frame_at(path, s);
        CHECK(std::abs(norm(f.tangent) - 1) <= 1e-12);
        CHECK(std::abs(dot(f.tangent, f.normal)) <= 1e-12);
        CHECK(std::abs(norm(f.normal) - 1) <= 1e-12);
        // On a ball of 50 mm a circle drawn with 10 mm is bent by about 100/m; on flat triangles it would be
        // straight, with jumps of 0.035 rad at each edge of 1.75 mm.
        CHECK(f.curvature == doctest::Approx(100).epsilon(0.03));
    }
}

TEST_CASE("faults under the seam are refused with their place; beside it they do no harm") {
    Random random(4'304);
    auto const exact = cylinder_at(somewhere(), 0.05);
    auto const whole = triangles_of(exact, 20, 0.035, 0, random); // two a square, 40 a column
    CHECK(refused(Mesh(whole), bent()).empty());
    // The square 3.5 mm beyond the middle, in x from 0 to 3.5 mm, in y from −7 to −3.5 mm: under the seam.
    std::size_t const square = 2 * (10 * 20 + 8);
    auto holed = whole;
    holed.erase(holed.begin() + static_cast<std::ptrdiff_t>(square),
                holed.begin() + static_cast<std::ptrdiff_t>(square) + 2);
    auto const hole = refused(Mesh(holed), bent());
    CHECK(has(hole, "there is a hole"));
    CHECK(has(hole, "mm on the edge of triangle"));
    auto flipped = whole;
    std::swap(flipped[square].corner[0], flipped[square].corner[1]);
    CHECK(has(refused(Mesh(flipped), bent()), "is flipped"));
    // The same faults 14 mm beside it.
    std::size_t const aside = 2 * (3 * 20 + 14);
    auto harmless = whole;
    std::swap(harmless[aside].corner[0], harmless[aside].corner[1]);
    harmless.erase(harmless.begin() + static_cast<std::ptrdiff_t>(aside) + 4);
    CHECK(refused(Mesh(harmless), bent()).empty());
    // Beyond the border.
    CHECK(
        has(refused(Mesh(whole), straight_between({0, 0}, {0.05, 0})), "there is a hole, or the mesh ends"));
}

TEST_CASE("a mesh among the faces chosen at run time") {
    Random random(4'305);
    auto const exact = cylinder_at(somewhere(), 0.05);
    AnyFace const mesh = MeshFace(Mesh(triangles_of(exact, 40, 0.035, 0.2, random)), exact.part_from_face);
    AnyFace const tube = exact;
    auto const a = path_on(bent(), mesh), b = path_on(bent(), tube);
    CHECK(difference(a.path.at(0.02).position, b.path.at(0.02).position) <= 1e-7);
    auto const p = plane_touching(mesh, {0.01, 0.005}), q = plane_touching(tube, {0.01, 0.005});
    CHECK(difference(p.part_from_face.origin, q.part_from_face.origin) <= 1e-7);
    CHECK(difference(p.at(0.0, 0.0).normal, q.at(0.0, 0.0).normal) <= 1e-3);
    // On a tube x runs along the axis everywhere.
    Direction<Face> const x{1, 0, 0};
    CHECK(difference(q.part_from_face * x, somewhere() * x) <= 1e-12);
    CHECK(difference(p.part_from_face * x, somewhere() * x) <= 1e-3);
    // A plane keeps its closed forms.
    AnyFace const flat = Plane<>{somewhere()};
    CHECK(std::holds_alternative<OnFace<Straight<>, Plane<>>>(
        path_on(straight_between({0, 0}, {0.01, 0}), flat).path.choice()));
    CHECK(std::holds_alternative<OnFace<Arc<>, Plane<>>>(
        path_on(circle_around({0, 0}, 0.01), flat).path.choice()));
    CHECK(std::holds_alternative<OnFace<DrawnShape, Plane<>>>(path_on(bent(), flat).path.choice()));
}
