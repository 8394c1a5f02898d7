#ifndef SEAMHOLD_SURFACE_MESH_NORMALS_HPP
#define SEAMHOLD_SURFACE_MESH_NORMALS_HPP

#include "seamhold/surface/mesh_topology.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <vector>

/// The normals of a mesh at the corners of its triangles.
namespace seamhold::detail {

/// A corner of a triangle.
struct MeshCorner {
    std::uint32_t triangle;
    std::uint32_t index;
};

/// The corners around a vertex that no wall (any edge but a smooth one) parts from the given one.
inline void fan_around(MeshTopology const& mesh, MeshCorner const& start, std::vector<MeshCorner>& fan) {
    fan.clear();
    fan.push_back(start);
    auto const vertex = mesh.triangle[start.triangle].vertex[start.index];
    for (std::uint32_t const leaving : {0U, 2U}) { // over the edge from the vertex, over that towards it
        auto corner = start;
        for (;;) {
            auto const& t = mesh.triangle[corner.triangle];
            auto const over = (corner.index + leaving) % 3;
            if (t.edge[over] != MeshEdge::smooth)
                break;
            auto const next = t.neighbour[over];
            if (next == start.triangle)
                return; // all the way round
            auto const& v = mesh.triangle[next].vertex;
            auto const found = std::find(v.begin(), v.end(), vertex) - v.begin();
            corner = {next, static_cast<std::uint32_t>(found)};
            fan.push_back(corner);
        }
    }
}

/// The mean of the normals around a vertex, each by its triangle's angle there and its area: half of two
/// equal parts however they are cut into triangles, and a large flat stays flat beside narrow strips.
inline Direction<Part> mean_normal(MeshTopology const& mesh, std::vector<MeshCorner> const& fan) {
    Direction<Part> sum{0, 0, 0};
    for (auto const& c : fan) {
        auto const& v = mesh.triangle[c.triangle].vertex;
        auto const& p = mesh.vertex[v[c.index]];
        double const angle =
            angle_between(mesh.vertex[v[(c.index + 1) % 3]] - p, mesh.vertex[v[(c.index + 2) % 3]] - p);
        sum = sum + angle * mesh.area_normal(c.triangle);
    }
    double const length = norm(sum);
    return length > 0 ? (1 / length) * sum : Direction<Part>{0, 0, 0};
}

/// The five unknowns of w = e u + f v + a u² + b u v + c v² from weighted least squares.
class QuadricFit {
public:
    void add(double u, double v, double w, double weight) {
        std::array<double, 5> const row{u, v, u * u, u * v, v * v};
        for (std::size_t i = 0; i < 5; ++i) {
            for (std::size_t k = 0; k <= i; ++k)
                normal_[i][k] += weight * row[i] * row[k];
            right_[i] += weight * row[i] * w;
        }
    }

    /// The unknowns by Cholesky's factors; nothing where the points do not settle them.
    std::optional<std::array<double, 5>> solved() const {
        auto l = normal_;
        auto x = right_;
        for (std::size_t i = 0; i < 5; ++i) {
            for (std::size_t k = 0; k <= i; ++k) {
                for (std::size_t j = 0; j < k; ++j)
                    l[i][k] -= l[i][j] * l[k][j];
                if (k < i)
                    l[i][k] /= l[k][k];
            }
            if (!(l[i][i] > 1e-3 * normal_[i][i]))
                return {};
            l[i][i] = std::sqrt(l[i][i]);
        }
        for (std::size_t i = 0; i < 5; ++i) {
            for (std::size_t k = 0; k < i; ++k)
                x[i] -= l[i][k] * x[k];
            x[i] /= l[i][i];
        }
        for (std::size_t i = 5; i-- > 0;) {
            for (std::size_t k = i + 1; k < 5; ++k)
                x[i] -= l[k][i] * x[k];
            x[i] /= l[i][i];
        }
        return x;
    }

private:
    std::array<std::array<double, 5>, 5> normal_{};
    std::array<double, 5> right_{};
};

/// The vertices around a vertex, and those behind the edges opposite to it.
inline void ring_around(MeshTopology const& mesh, std::vector<MeshCorner> const& fan,
                        std::vector<std::uint32_t>& ring) {
    ring.clear();
    for (auto const& c : fan) {
        auto const& t = mesh.triangle[c.triangle];
        ring.push_back(t.vertex[(c.index + 1) % 3]);
        ring.push_back(t.vertex[(c.index + 2) % 3]);
    }
    std::sort(ring.begin(), ring.end());
    ring.erase(std::unique(ring.begin(), ring.end()), ring.end());
    for (auto const& c : fan) {
        auto const& t = mesh.triangle[c.triangle];
        auto const opposite = (c.index + 1) % 3;
        if (t.edge[opposite] != MeshEdge::smooth)
            continue;
        for (auto const v : mesh.triangle[t.neighbour[opposite]].vertex)
            if (v != t.vertex[opposite] && v != t.vertex[(opposite + 1) % 3])
                ring.push_back(v);
    }
}

/// The mean normal made better where triangles are about of one size: that of the quadric through the vertex
/// that fits the vertices around it best. Right to the second order of the edges also where they are
/// irregular. Source: F. Cazals, M. Pouget, "Estimating differential quantities using polynomial fitting of
/// osculating jets", CAGD 22(2), 2005 (from memory).
inline Direction<Part> fitted_normal(MeshTopology const& mesh, Point<Part> const& p,
                                     Direction<Part> const& mean, std::vector<std::uint32_t> const& ring) {
    double shortest = std::numeric_limits<double>::infinity(), longest = 0;
    for (auto const v : ring) {
        double const length = norm(mesh.vertex[v] - p);
        shortest = std::min(shortest, length);
        longest = std::max(longest, length);
    }
    constexpr double alike = 6;
    if (ring.size() < 7 || !(longest < alike * shortest))
        return mean;
    auto const across = std::abs(mean.x) < 0.6 ? Direction<Part>{1, 0, 0} : Direction<Part>{0, 1, 0};
    auto const x = unit(cross(mean, across));
    auto const y = cross(mean, x);
    QuadricFit fit;
    for (auto const v : ring) {
        auto const d = (1 / longest) * (mesh.vertex[v] - p);
        fit.add(dot(d, x), dot(d, y), dot(d, mean), 1 / squared_norm(d));
    }
    auto const form = fit.solved();
    return form ? unit(mean - (*form)[0] * x - (*form)[1] * y) : mean;
}

/// The unit normal at every corner of every triangle; that of a corner whose triangles have no area is zero.
inline std::vector<std::array<Direction<Part>, 3>> corner_normals(MeshTopology const& mesh) {
    std::vector<std::array<Direction<Part>, 3>> all(mesh.triangle.size());
    std::vector<std::array<bool, 3>> done(mesh.triangle.size(), {false, false, false});
    std::vector<MeshCorner> fan;
    std::vector<std::uint32_t> ring;
    for (std::uint32_t t = 0; t < all.size(); ++t)
        for (std::uint32_t k = 0; k < 3; ++k) {
            if (done[t][k])
                continue;
            fan_around(mesh, {t, k}, fan);
            ring_around(mesh, fan, ring);
            auto normal = mean_normal(mesh, fan);
            if (squared_norm(normal) > 0)
                normal = fitted_normal(mesh, mesh.vertex[mesh.triangle[t].vertex[k]], normal, ring);
            for (auto const& c : fan) {
                all[c.triangle][c.index] = normal;
                done[c.triangle][c.index] = true;
            }
        }
    return all;
}

} // namespace seamhold::detail

#endif
