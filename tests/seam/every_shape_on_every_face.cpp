#include "seamhold/seam/any_face.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/units.hpp"
#include "seamhold/seam/curves.hpp"
#include "seamhold/seam/lettering.hpp"
#include "seamhold/seam/pattern.hpp"
#include "seamhold/seam/stitches.hpp"
#include "seamhold/seam/travel_by.hpp"
#include "support/frames.hpp"
#include "support/meshes.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

// |dp/ds| = 1 and an orthonormal frame along every shape on every face, and the speed asked for along it.

using namespace seamhold;
using namespace seamhold::test;

namespace {

Pose<Part, Face> somewhere() {
    return {about_axis<Part, Face>({2.0 / 3, -1.0 / 3, 2.0 / 3}, 0.6), {0.1, -0.2, 0.3}};
}

struct Shape {
    std::string name;
    DrawnShape shape;
};
std::vector<Shape> shapes() {
    double const mm = 1e-3;
    std::vector<Shape> all{
        {"straight", straight_between({-5 * mm, 1 * mm}, {6 * mm, 4 * mm})},
        {"arc", arc_around({0, 2 * mm}, 6 * mm, 0.3, -2)},
        {"circle", circle_around({1 * mm, 0}, 10 * mm)},
        {"ring", ring(9 * mm, 2 * mm)},
        {"C", c_stitch(10 * mm, 6 * mm)},
        {"staple", staple(12 * mm, 6 * mm, 1.5 * mm)},
        {"S", s_stitch(6 * mm)},
        {"slot", slot(13 * mm, 5 * mm, 1 * mm)},
        {"polyline", polyline({{-6 * mm, 0}, {0, 5 * mm}, {6 * mm, 1 * mm}, {7 * mm, -5 * mm}}, 1.2 * mm)},
        {"wave", wave(4 * mm, 1 * mm, 12 * mm)},
        {"spiral out", spiral_out(1 * mm, 5 * mm, 2 * mm)},
        {"spiral in", spiral_in(1 * mm, 5 * mm, 2 * mm)},
        {"ellipse", ellipse(12 * mm, 7 * mm)},
        {"smooth curve", smooth_curve({{-6 * mm, 0}, {-2 * mm, 3 * mm}, {2 * mm, 2 * mm}, {7 * mm, 5 * mm}})},
        {"smooth loop", smooth_loop({{5 * mm, 0}, {0, 6 * mm}, {-5 * mm, 1 * mm}, {0, -4 * mm}})}};
    for (auto const& stroke : lettering("R7", {6 * mm}, StraightBaseline{{-5 * mm, -3 * mm}}).strokes)
        all.push_back({std::string("letter ") + stroke.letter, stroke.shape});
    return all;
}

struct NamedFace {
    std::string name;
    AnyFace face;
};
std::vector<NamedFace> faces() {
    auto const pose = somewhere();
    Random random(4'501);
    auto const tube = cylinder_at(pose, 0.05);
    return {{"plane", Plane<>{pose}},
            {"tube", cylinder_at(pose, 0.02)},
            {"inside of a tube", cylinder_at(pose, -0.02)},
            {"cone", cone_at(pose, degrees(25), 0.05)},
            {"inside of a cone", cone_at(pose, degrees(-25), 0.05)},
            {"ball", sphere_at(pose, 0.03)},
            {"hollow ball", sphere_at(pose, -0.03)},
            {"torus", torus_at(pose, 0.05, 0.02)},
            {"mesh", MeshFace(Mesh(triangles_of(tube, 24, 0.02, 0.2, random)), pose)}};
}

} // namespace

TEST_CASE("law: every shape on every face has unit speed and an orthonormal frame") {
    for (auto const& on : faces())
        for (auto const& drawn : shapes()) {
            CAPTURE(on.name);
            CAPTURE(drawn.name);
            auto const& face = on.face;
            auto const& shape = drawn.shape;
            auto const placed = path_on(shape, face);
            check_frames(placed.path, 100);
            CHECK(placed.path.corners().empty());
            // What does not stretch keeps its length.
            bool const unrolls = std::holds_alternative<Plane<>>(face) ||
                                 std::holds_alternative<Cylinder<>>(face) ||
                                 std::holds_alternative<Cone<>>(face);
            if (unrolls) {
                CHECK(placed.path.length() == doctest::Approx(shape.length()).epsilon(1e-12));
                CHECK(std::abs(placed.stretch.most - 1) <= 1e-12);
                CHECK(std::abs(placed.stretch.least - 1) <= 1e-12);
            } else {
                CHECK(placed.stretch.least <= placed.stretch.most);
                CHECK(placed.path.length() >= placed.stretch.least * shape.length() * (1 - 1e-9));
                CHECK(placed.path.length() <= placed.stretch.most * shape.length() * (1 + 1e-9));
            }
            // The spot's speed is the one asked for.
            AnySeam const seam = at_speed(placed.path, 0.25);
            for (int i = 0; i <= 20; ++i) {
                auto const p = seam.at(Taylor<double, 1>::variable(seam.duration() * i / 20)).position;
                double const v = std::hypot(p.x.derivative(1), p.y.derivative(1), p.z.derivative(1));
                CHECK(v == doctest::Approx(0.25).epsilon(1e-12));
            }
        }
}

TEST_CASE("on a plane the path is bent as the shape is") {
    AnyFace const plane = Plane<>{somewhere()};
    for (auto const& drawn : shapes()) {
        CAPTURE(drawn.name);
        auto const& shape = drawn.shape;
        auto const path = path_on(shape, plane).path;
        for (int i = 0; i < 40; ++i) {
            double const s = shape.length() * (i + 0.37) / 40;
            CHECK(frame_at(path, s).curvature ==
                  doctest::Approx(std::abs(shape.curvature(s))).epsilon(1e-9).scale(1));
        }
    }
}

TEST_CASE("every shape by a law keeps the lateral acceleration, on flat and round faces") {
    SpeedLaw const law{.speed = 0.25,
                       .start_speed = 0,
                       .end_speed = 0,
                       .acceleration = 5,
                       .jerk = 500,
                       .lateral_acceleration = 12};
    for (auto const& on : faces())
        for (auto const& drawn : shapes()) {
            CAPTURE(on.name);
            CAPTURE(drawn.name);
            auto const& face = on.face;
            auto const& shape = drawn.shape;
            auto const path = path_on(shape, face).path;
            auto const travel = travel_by(law, path);
            double most = 0;
            for (int i = 0; i <= 400; ++i) {
                double const t = travel.duration() * i / 400;
                double const s = std::clamp(travel.arc_length(t), 0.0, path.length());
                double const feed = travel.feed(t);
                most = std::max(most, feed * feed * frame_at(path, s).curvature);
            }
            CHECK(most <= 12 * (1 + 1e-9));
            CHECK(std::abs(travel.arc_length(travel.duration()) - path.length()) <= 1e-13);
        }
}
