// Times of a seam's point with its velocity and acceleration: closed-form shapes, a spline through taught
// points, and a seam laid on a mesh, each beside another way to the same; and how the time grows with the
// number of points and triangles. Prints one figure a line, `name value unit`.
#include "measure.hpp"

#include "seamhold/seam.hpp"
#include "seamhold/surface.hpp"

#include <benchmark/benchmark.h>
#include <boost/math/interpolators/cubic_hermite.hpp>

#include <cmath>
#include <cstddef>
#include <cstdio>
#include <exception>
#include <random>
#include <utility>
#include <vector>

namespace {

using namespace seamhold;
using namespace seamhold::bench;

using Rates = Taylor<double, 2>;

constexpr std::size_t items = 512; // points of a block

/// Times jumping about within a seam, as a planner asks.
std::vector<double> times_of(AnySeam const& seam, std::size_t seed) {
    std::mt19937_64 engine(seed);
    std::uniform_real_distribution<double> share(0, 1);
    std::vector<double> times(items);
    for (double& t : times)
        t = share(engine) * seam.duration();
    return times;
}

/// Ticks of 10 µs from somewhere in a seam on, as a controller asks.
std::vector<double> ticks_of(AnySeam const& seam, std::size_t seed) {
    double const start = times_of(seam, seed).front();
    std::vector<double> times(items);
    for (std::size_t i = 0; i < items; ++i)
        times[i] = std::fmod(start + 1e-5 * static_cast<double>(i), seam.duration());
    return times;
}

void ask_rates(AnySeam const& seam, std::vector<double> const& times) {
    for (double const t : times) {
        auto const p = seam.at(Rates::variable(t));
        benchmark::DoNotOptimize(p);
    }
}

/// Places only, at three times, from which differences would make the rates, less exactly.
void ask_three_places(AnySeam const& seam, std::vector<double> const& times) {
    for (double const t : times)
        for (double const step : {-1e-5, 0.0, 1e-5}) {
            auto const p = seam.at(t + step);
            benchmark::DoNotOptimize(p);
        }
}

Pose<Part, Face> somewhere() {
    return {about_axis<Part, Face>({2.0 / 3, -1.0 / 3, 2.0 / 3}, 0.6), {0.1, -0.2, 0.3}};
}

/// Straight, arc, circle, staple, slot, on an inclined plane, some weaving. All numbers are invented.
std::vector<AnySeam> closed_seams() {
    AnyFace const plane = Plane<>{somewhere()};
    std::vector<DrawnShape> const shapes{straight_between({0, 0}, {0.04, 0.01}),
                                         arc_around({0.01, 0.02}, 0.012, 0.3, -2),
                                         circle_around({0.05, 0.01}, 0.02),
                                         staple(0.02, 0.008, 0.003),
                                         slot(0.03, 0.01),
                                         s_stitch(0.012),
                                         ring(0.014, 0.002)};
    std::vector<AnySeam> seams;
    for (std::size_t i = 0; i < shapes.size(); ++i)
        seams.push_back(at_speed(path_on(shapes[i], plane).path, 0.25,
                                 {i % 3 == 2 ? Weave{280, 0.0005} : Weave{}, 0, {}}));
    return seams;
}

/// A path of a metre through `count` points on a gentle helix.
std::pair<std::vector<Point<Part>>, std::vector<Direction<Part>>> taught(std::size_t count) {
    std::vector<Point<Part>> points;
    std::vector<Direction<Part>> normals;
    for (std::size_t i = 0; i < count; ++i) {
        double const a = 2.0 * static_cast<double>(i) / static_cast<double>(count - 1);
        points.push_back({0.5 * std::cos(a), 0.5 * std::sin(a), 0.05 * a + 0.01 * std::sin(9 * a)});
        normals.push_back({std::cos(a), std::sin(a), 0});
    }
    return {points, normals};
}

AnySeam spline_seam(std::size_t count) {
    auto const [points, normals] = taught(count);
    return at_speed(path_through(points, normals), 0.25);
}

/// A tube as a mesh of about `count` triangles, over a seam of 60 mm.
MeshFace mesh_face(std::size_t count) {
    auto const tube = cylinder_at(somewhere(), 0.2);
    auto const side = static_cast<std::size_t>(std::ceil(std::sqrt(static_cast<double>(count) / 2)));
    double const half = 0.05;
    auto const corner = [&](std::size_t i, std::size_t k) {
        auto const at = [&](std::size_t n) {
            return half * (2 * static_cast<double>(n) / static_cast<double>(side) - 1);
        };
        return tube.at(at(i), at(k)).position;
    };
    std::vector<Facet> facets;
    for (std::size_t i = 0; i < side; ++i)
        for (std::size_t k = 0; k < side; ++k) {
            facets.push_back({{corner(i, k), corner(i + 1, k), corner(i + 1, k + 1)}});
            facets.push_back({{corner(i, k), corner(i + 1, k + 1), corner(i, k + 1)}});
        }
    return MeshFace(Mesh(facets), tube.part_from_face);
}

AnySeam mesh_seam(MeshFace const& face) {
    DrawnShape const shape = polyline({{-0.02, -0.015}, {0.018, -0.015}, {0.018, 0.015}}, 0.006);
    return at_speed(lay(shape, face).path, 0.25);
}

constexpr std::size_t rounds = 60;
constexpr std::size_t blocks = 6;

std::vector<std::vector<double>> blocks_of(AnySeam const& seam) {
    std::vector<std::vector<double>> all;
    for (std::size_t b = 0; b < blocks; ++b)
        all.push_back(times_of(seam, 100 + b));
    return all;
}

void closed() {
    auto const seams = closed_seams();
    std::vector<std::vector<double>> times;
    for (auto const& seam : seams)
        times.push_back(times_of(seam, 7));
    // A block asks one seam after the other, as a schedule does.
    auto const each = [&](auto const& ask) {
        return [&](std::size_t) {
            for (std::size_t i = 0; i < seams.size(); ++i)
                ask(seams[i], times[i]);
        };
    };
    auto const duelled = duel(rounds, blocks, items * seams.size(), each(ask_three_places), each(ask_rates));
    print("closed_three_places_ns", median(duelled.baseline), "ns");
    print("closed_seam_point_ns", median(duelled.ours), "ns");
}

void spline() {
    auto const seam = spline_seam(1000);
    auto const times = blocks_of(seam);
    // Three of Boost's cubic Hermite interpolators by the same parameter, place and velocity of each.
    auto const points = taught(1000).first;
    using Interpolator = boost::math::interpolators::cubic_hermite<std::vector<double>>;
    std::vector<Interpolator> axes;
    for (int axis = 0; axis < 3; ++axis) {
        std::vector<double> u, y, slope;
        for (std::size_t i = 0; i < points.size(); ++i) {
            auto const& p = points[i];
            u.push_back(static_cast<double>(i) * seam.duration() / static_cast<double>(points.size() - 1));
            y.push_back(axis == 0 ? p.x : axis == 1 ? p.y : p.z);
        }
        for (std::size_t i = 0; i < u.size(); ++i) {
            std::size_t const a = i == 0 ? 0 : i - 1, b = std::min(i + 1, u.size() - 1);
            slope.push_back((y[b] - y[a]) / (u[b] - u[a]));
        }
        axes.emplace_back(std::move(u), std::move(y), std::move(slope));
    }
    auto const duelled = duel(
        rounds, blocks, items,
        [&](std::size_t block) {
            for (double const t : times[block])
                for (auto const& axis : axes) {
                    benchmark::DoNotOptimize(axis(t));
                    benchmark::DoNotOptimize(axis.prime(t));
                }
        },
        [&](std::size_t block) { ask_rates(seam, times[block]); });
    print("boost_hermite_place_velocity_ns", median(duelled.baseline), "ns");
    print("spline_seam_point_ns", median(duelled.ours), "ns");
}

void mesh() {
    auto const face = mesh_face(100'000);
    print("mesh_triangles", static_cast<double>(face.mesh().size()), "triangles");
    auto const seam = mesh_seam(face);
    auto const times = blocks_of(seam);
    // The place alone found on the mesh each time.
    auto const duelled = duel(
        rounds / 6, blocks, items,
        [&](std::size_t block) {
            for (double const t : times[block])
                benchmark::DoNotOptimize(face.at(0.07 * t - 0.01, 0.05 * t - 0.008));
        },
        [&](std::size_t block) { ask_rates(seam, times[block]); });
    print("mesh_place_found_anew_ns", median(duelled.baseline), "ns");
    print("mesh_seam_point_ns", median(duelled.ours), "ns");
}

/// From 10 to 100 000 points and triangles: for ticks one after the other, and for times jumping about, where
/// a large path lies in memory that is far away.
void growth() {
    auto const blocks_with = [](AnySeam const& seam, auto const& make) {
        std::vector<std::vector<double>> all;
        for (std::size_t b = 0; b < 40; ++b)
            all.push_back(make(seam, 200 + b));
        return all;
    };
    auto const grown = [&](AnySeam const& small, AnySeam const& large, auto const& make) {
        auto const few = blocks_with(small, make), many = blocks_with(large, make);
        auto const duelled = duel(
            10, few.size(), items, [&](std::size_t b) { ask_rates(small, few[b]); },
            [&](std::size_t b) { ask_rates(large, many[b]); });
        return 1 / duelled.ratio();
    };
    AnySeam const ten_points = spline_seam(10), many_points = spline_seam(100'000);
    AnySeam const ten_triangles = mesh_seam(mesh_face(10)), many_triangles = mesh_seam(mesh_face(100'000));
    print("seam_growth_jumping_points", grown(ten_points, many_points, times_of), "ratio");
    print("seam_growth_jumping_triangles", grown(ten_triangles, many_triangles, times_of), "ratio");
    print("seam_growth",
          std::max(grown(ten_points, many_points, ticks_of), grown(ten_triangles, many_triangles, ticks_of)),
          "ratio");
}

} // namespace

int main() {
    try {
        closed();
        spline();
        mesh();
        growth();
    } catch (std::exception const& error) {
        std::fprintf(stderr, "%s\n", error.what());
        return 1;
    }
    return 0;
}
