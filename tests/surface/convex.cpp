#include "seamhold/surface/closest_point.hpp"
#include "seamhold/surface/obstacle.hpp"

#include <doctest/doctest.h>

#include "seamhold/number/interval.hpp"
#include "support/meshes.hpp"
#include "support/numbers.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"
#include "support/refusal.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// Convex shapes, the nearest point of a hull, and obstacles with their trees.

using namespace seamhold;
using namespace seamhold::test;

namespace {

struct Own; // a box's own frame

Point<Cell> somewhere(Random& random, double reach) {
    double const x = random.uniform(-reach, reach), y = random.uniform(-reach, reach);
    return {x, y, random.uniform(-reach, reach)};
}

std::vector<Point<Cell>> cloud(Random& random, std::size_t count, double reach) {
    std::vector<Point<Cell>> points;
    for (std::size_t i = 0; i < count; ++i)
        points.push_back(somewhere(random, reach));
    return points;
}

ConvexShape<Cell> some_shape(Random& random) {
    double const radius = random.uniform(0, 0.2);
    return hull_of(cloud(random, 1 + random.index(8), 1), radius);
}

// The distance of q from the hull of points, apart from the code under test: the least over all corners,
// edges, triangles and tetrahedra of the distance from their own plane's nearest point, where that lies
// within, by least squares of Eigen.
double distance_by_all_simplices(std::vector<Point<Cell>> const& points, Point<Cell> const& q) {
    std::size_t const n = points.size();
    double least = infinity;
    for (unsigned chosen = 1; chosen < 1U << n; ++chosen) {
        std::vector<Eigen::Vector3d> corner;
        for (std::size_t i = 0; i < n; ++i)
            if ((chosen >> i & 1U) != 0)
                corner.emplace_back(points[i].x - q.x, points[i].y - q.y, points[i].z - q.z);
        if (corner.size() > 4)
            continue;
        auto const edges = static_cast<Eigen::Index>(corner.size()) - 1;
        Eigen::Vector3d nearest = corner[0];
        if (edges > 0) {
            Eigen::MatrixXd span(3, edges);
            for (Eigen::Index k = 0; k < edges; ++k)
                span.col(k) = corner[static_cast<std::size_t>(k) + 1] - corner[0];
            Eigen::VectorXd const share = span.colPivHouseholderQr().solve(-corner[0]);
            if (share.minCoeff() < 0 || share.sum() > 1)
                continue;
            nearest += span * share;
        }
        least = std::min(least, nearest.norm());
    }
    return least;
}

} // namespace

TEST_CASE("makers of shapes: points and radii by hand") {
    auto const ball = ball_at(Point<Cell>{1, 2, 3}, 0.5);
    CHECK(ball.points.size() == 1);
    CHECK(ball.radius == 0.5);
    auto const bar = bar_between(Point<Cell>{0, 0, 0}, Point<Cell>{0, 0, 2}, 0.01);
    CHECK(bar.points.size() == 2);
    CHECK(bar.points[1].z == 2);
    // A box of 1 × 2 × 3 from (10, 0, 0), turned by a quarter about z: its x runs along y, its y along −x.
    Pose<Cell, Own> const pose{{{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}}, {10, 0, 0}};
    auto const box = box_at(pose, {1, 2, 3}, 0.1);
    CHECK(box.points.size() == 8);
    auto const around = bounding_box(ConvexView<Cell>(box));
    CHECK(difference(around.low, Point<Cell>{8, 0, 0}) == 0);
    CHECK(difference(around.high, Point<Cell>{10, 1, 3}) == 0);
    CHECK(around.radius == 0.1);
    CHECK(difference(around.middle(), Point<Cell>{9, 0.5, 1.5}) == 0);
    CHECK(difference(around.nearest({0, 0.25, 7}), Point<Cell>{8, 0.25, 3}) == 0);
    CHECK(difference(around.nearest({9, 0.5, 1}), Point<Cell>{9, 0.5, 1}) == 0);
}

TEST_CASE("makers of shapes refuse, in mm and with what is allowed") {
    Point<Cell> const o{0, 0, 0};
    auto const identity = Pose<Cell, Own>::identity();
    CHECK(refusal_of([&] { return ball_at(o, 0); }) ==
          "a ball's radius must be above 0 and at most 1e6 mm; given was 0 mm");
    CHECK(has(refusal_of([&] { return bar_between(o, o, -0.002); }), "a bar's radius must be above 0"));
    CHECK(has(refusal_of([&] { return bar_between(o, o, -0.002); }), "given was -2 mm"));
    CHECK(has(refusal_of([&] { return box_at(identity, {1, 0, 1}); }), "a box's size along y"));
    CHECK(has(refusal_of([&] { return box_at(identity, {not_a_number, 1, 1}); }), "a box's size along x"));
    CHECK(has(refusal_of([&] { return box_at(identity, {1, 1, 2000}); }), "given was 2000000 mm"));
    CHECK(has(refusal_of([&] {
                  return box_at(identity, {1, 1, 1}, -0.1);
              }),
              "grown must be 0 to 1e6 mm; given was -100 mm"));
    CHECK(refusal_of([&] { return hull_of<Cell>({}); }) == "a convex shape needs at least one point");
    CHECK(has(refusal_of([&] {
                  return hull_of<Cell>({o, {0, infinity, 0}});
              }),
              "point 2 of a convex shape, (0, inf, 0) mm, must have coordinates between"));
    CHECK(has(refusal_of([&] { return ball_at(Point<Cell>{0, 0, not_a_number}, 1); }), "point 1"));
}

TEST_CASE("the nearest point of a hull, by hand") {
    // The unit cube.
    auto const cube = box_at(Pose<Cell, Own>::identity(), {1, 1, 1});
    std::span<Point<Cell> const> const corners = cube.points;
    auto const face = closest_point(corners, {0.3, 0.4, 3});
    CHECK(face.distance == doctest::Approx(2).epsilon(4 * epsilon));
    CHECK(difference(face.point, Point<Cell>{0.3, 0.4, 1}) <= 4 * epsilon);
    auto const edge = closest_point(corners, {-3, -4, 0.25});
    CHECK(edge.distance == doctest::Approx(5).epsilon(4 * epsilon));
    CHECK(difference(edge.point, Point<Cell>{0, 0, 0.25}) <= 4 * epsilon);
    auto const corner = closest_point(corners, {3, 3, 2});
    CHECK(corner.distance == doctest::Approx(3).epsilon(4 * epsilon));
    CHECK(closest_point(corners, {0.5, 0.25, 0.75}).distance == 0);
    CHECK(closest_point(corners, {1, 1, 1}).distance == 0);
    // A triangle across the room's corner: its plane is 1/√3 from the origin.
    std::vector<Point<Cell>> const triangle{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    auto const foot = closest_point<Cell>(triangle, {0, 0, 0});
    CHECK(foot.distance == doctest::Approx(1 / std::sqrt(3.0)).epsilon(4 * epsilon));
    CHECK(difference(foot.point, Point<Cell>{1.0 / 3, 1.0 / 3, 1.0 / 3}) <= 4 * epsilon);
}

TEST_CASE("the nearest point of a hull against all its simplices") {
    Random random(5101);
    double worst = 0;
    for (std::size_t i = 0; i < runs(2000); ++i) {
        auto points = cloud(random, 1 + random.index(8), 1);
        if (i % 4 == 1) // all in one plane
            for (auto& p : points)
                p.z = 0.25;
        if (i % 4 == 2) // twice the same
            points.push_back(points.front());
        if (i % 8 == 3) // on one line
            for (auto& p : points)
                p = {p.x, 2 * p.x, -p.x};
        auto const q = i % 16 == 5 ? points.back() : somewhere(random, i % 2 == 0 ? 3 : 1);
        auto const found = closest_point<Cell>(points, q);
        auto const expected = distance_by_all_simplices(points, q);
        worst = std::max(worst, std::abs(found.distance - expected));
        // What is said of the point itself.
        worst = std::max(worst, std::abs(norm(found.point - q) - found.distance));
    }
    MESSAGE("off by at most " << worst << " m in a hull of 1 m");
    CHECK(worst <= 1e-14); // as stated, of distances of up to 7; measured 1e-15
}

TEST_CASE("the nearest point of a hull is the same in any unit, and of slim shapes") {
    Random random(5102);
    for (double const scale : {1e-9, 1e-3, 1e3}) {
        double worst = 0;
        for (int i = 0; i < 200; ++i) {
            auto points = cloud(random, 3 + random.index(5), 1);
            auto q = somewhere(random, 2);
            for (auto& p : points)
                p.x *= 1e-5; // a sheet
            double const expected = distance_by_all_simplices(points, q);
            for (auto* p : {&q})
                *p = {scale * p->x, scale * p->y, scale * p->z};
            for (auto& p : points)
                p = {scale * p.x, scale * p.y, scale * p.z};
            worst = std::max(worst, std::abs(closest_point<Cell>(points, q).distance / scale - expected));
        }
        CAPTURE(scale);
        CHECK(worst <= 1e-12); // volumes of a sheet of 1e-5: five digits fewer, of distances of up to 4
    }
}

TEST_CASE("the nearest point ends for numbers that are not finite") {
    for (double const wild : {not_a_number, infinity, 1e300}) {
        std::vector<Point<Cell>> const points{{0, 0, 0}, {1, 0, 0}, {0, wild, 0}, {0, 0, 1}, {1, 1, 1}};
        (void)closest_point<Cell>(points, {2, 2, 2});
        (void)closest_point<Cell>(points, {wild, 0, 0});
    }
    CHECK(true); // that it comes here
}

TEST_CASE("the least along a direction: over points by hand, over intervals it holds") {
    auto const box = box_at(Pose<Cell, Own>{Rotation<Cell, Own>::identity(), {1, 2, 3}}, {1, 1, 1}, 0.5);
    Direction<Cell> const n{0, -2, 1};
    // The least is at y = 3, z = 3: −6 + 3; less half of the length √5.
    double const length = std::sqrt(5.0);
    CHECK(least_along(n, length, ConvexView<Cell>(box)) ==
          doctest::Approx(-3 - 0.5 * length).epsilon(4 * epsilon));
    CHECK(least_along(n, length, bounding_box(ConvexView<Cell>(box))) ==
          doctest::Approx(-3 - 0.5 * length).epsilon(4 * epsilon));
    Random random(5103);
    for (int i = 0; i < 500; ++i) {
        auto const shape = some_shape(random);
        auto const v = random.on_sphere<3>();
        Direction<Cell> const d{v[0], v[1], v[2]};
        auto const all = least_along(d, norm(number_cast<Interval>(d)), ConvexView<Cell>(shape));
        long double least = infinity;
        for (auto const& p : shape.points)
            least =
                std::min(least, static_cast<long double>(d.x) * p.x + static_cast<long double>(d.y) * p.y +
                                    static_cast<long double>(d.z) * p.z);
        least -= std::sqrt(static_cast<long double>(d.x) * d.x + static_cast<long double>(d.y) * d.y +
                           static_cast<long double>(d.z) * d.z) *
                 static_cast<long double>(shape.radius);
        CHECK(static_cast<long double>(all.low) <= least);
        CHECK(least <= static_cast<long double>(all.high));
        CHECK(all.high - all.low <= 20 * epsilon);
        auto const bound =
            least_along(d, norm(number_cast<Interval>(d)), bounding_box(ConvexView<Cell>(shape)));
        CHECK(static_cast<long double>(bound.low) <= least);
    }
}

TEST_CASE("an obstacle keeps its shapes, and every knot's box holds what is below it") {
    Random random(5104);
    for (std::size_t const count : {1U, 2U, 3U, 100U}) {
        std::vector<ConvexShape<Cell>> shapes;
        for (std::size_t i = 0; i < count; ++i)
            shapes.push_back(some_shape(random));
        Obstacle<Cell> const obstacle("pile", shapes);
        CHECK(obstacle.name() == "pile");
        REQUIRE(obstacle.size() == count);
        std::vector<int> seen(count, 0);
        std::vector<std::pair<std::size_t, std::vector<std::size_t>>> walk{{0, {}}};
        while (!walk.empty()) {
            auto [knot, above] = walk.back();
            walk.pop_back();
            above.push_back(knot);
            if (!obstacle.is_leaf(knot)) {
                walk.push_back({obstacle.first_below(knot), above});
                walk.push_back({obstacle.second_below(knot), above});
                continue;
            }
            auto const number = obstacle.shape_at(knot);
            ++seen[number];
            auto const shape = obstacle.shape(number);
            REQUIRE(shape.points.size() == shapes[number].points.size());
            for (std::size_t const a : above) {
                CHECK(obstacle.box(a).radius >= shape.radius);
                for (std::size_t i = 0; i < shape.points.size(); ++i) {
                    CHECK(difference(shape.points[i], shapes[number].points[i]) == 0);
                    CHECK(difference(obstacle.box(a).nearest(shape.points[i]), shape.points[i]) == 0);
                }
            }
        }
        CHECK(std::count(seen.begin(), seen.end(), 1) == static_cast<std::ptrdiff_t>(count));
    }
}

TEST_CASE("an obstacle from triangles stands where its pose says") {
    std::vector<Facet> const facets{{{{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}}},
                                    {{{{0, 0, 1}, {1, 0, 1}, {0, 1, 1}}}}};
    Pose<Cell, Part> const pose{{{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}}, {5, 0, 0}};
    Obstacle<Cell> const obstacle("cover", facets, pose, 0.001);
    REQUIRE(obstacle.size() == 2);
    CHECK(difference(obstacle.shape(1).points[1], Point<Cell>{5, 1, 1}) == 0);
    CHECK(difference(obstacle.shape(1).points[2], Point<Cell>{4, 0, 1}) == 0);
    CHECK(obstacle.shape(0).radius == 0.001);
    auto const of_mesh = obstacle_from_mesh("cover", Mesh(facets));
    REQUIRE(of_mesh.size() == 2);
    CHECK(difference(of_mesh.shape(0).points[1], Point<Part>{1, 0, 0}) == 0);
}

TEST_CASE("obstacles refuse, with their name and the shape") {
    std::vector<ConvexShape<Cell>> shapes{ball_at(Point<Cell>{0, 0, 0}, 1), {{}, 0}};
    CHECK(refusal_of([&] { return Obstacle<Cell>("clamp 3", shapes); }) ==
          "obstacle \"clamp 3\", shape 2: a convex shape needs at least one point");
    CHECK(refusal_of([&] { return Obstacle<Cell>("clamp 3", {}); }) == "obstacle \"clamp 3\" has no shape");
    CHECK(has(refusal_of([&] { return Obstacle<Cell>("", shapes); }), "needs a name"));
    std::vector<Facet> const facets{{{{{0, 0, 0}, {1, 0, 0}, {0, not_a_number, 0}}}}};
    CHECK(has(refusal_of([&] { return Obstacle<Part>("cover", facets, Pose<Part, Part>::identity()); }),
              "obstacle \"cover\", shape 1: point 3"));
    CHECK(has(refusal_of([&] { return Obstacle<Part>("cover", facets, Pose<Part, Part>::identity(), -1); }),
              "obstacle \"cover\", shape 1"));
}
