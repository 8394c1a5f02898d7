#ifndef SEAMHOLD_SURFACE_MESH_TOPOLOGY_HPP
#define SEAMHOLD_SURFACE_MESH_TOPOLOGY_HPP

#include "seamhold/number/units.hpp"
#include "seamhold/surface/surface.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <unordered_map>
#include <utility>
#include <vector>

namespace seamhold {

/// A triangle by its corners, m, counter-clockwise seen from outside of the material.
struct Facet {
    std::array<Point<Part>, 3> corner;
};

/// How triangles become a mesh.
struct MeshOptions {
    double weld = micrometres(1); ///< corners this close are one vertex; triangles this flat have no area, m
    double crease = degrees(40);  ///< an edge at which the mesh turns by more is sharp, rad
};

/// What an edge of a triangle is.
enum class MeshEdge : std::uint8_t {
    smooth,  ///< shared with one other triangle, at less than the crease angle
    crease,  ///< shared with one other triangle, at more than the crease angle
    border,  ///< shared with none: the mesh's border, or a hole
    flipped, ///< shared with one that is wound the other way: its normal points into the material
    crowded  ///< shared with two or more others
};

/// A triangle of a mesh. Its edge k runs from its corner k to the next.
struct MeshTriangle {
    std::array<std::uint32_t, 3> vertex;
    std::array<std::uint32_t, 3>
        neighbour; ///< across each edge; meant where the edge is smooth, a crease or flipped
    std::array<MeshEdge, 3> edge;
    std::uint32_t number; ///< which of the triangles given it was, counted from 0
    bool has_area;
};

namespace detail {

struct MeshTopology {
    std::vector<Point<Part>> vertex;
    std::vector<MeshTriangle> triangle;

    /// Twice the triangle's area times its normal, m².
    Direction<Part> area_normal(std::uint32_t t) const {
        auto const& v = triangle[t].vertex;
        return cross(vertex[v[1]] - vertex[v[0]], vertex[v[2]] - vertex[v[0]]);
    }
};

inline double angle_between(Direction<Part> const& a, Direction<Part> const& b) {
    return std::atan2(norm(cross(a, b)), dot(a, b));
}

/// Makes one vertex of corners within the weld distance: cells of twice that size, so that a vertex near a
/// corner lies in one of eight cells.
class Welder {
public:
    explicit Welder(double distance) : distance_(distance) {}

    std::uint32_t vertex_at(Point<Part> const& p) {
        double const cell = 2 * distance_;
        std::array<double, 3> const scaled{p.x / cell, p.y / cell, p.z / cell};
        std::array<std::int64_t, 3> own{}, other{};
        for (std::size_t k = 0; k < 3; ++k) {
            double const floor = std::floor(scaled[k]);
            own[k] = static_cast<std::int64_t>(floor);
            other[k] = own[k] + (scaled[k] - floor < 0.5 ? -1 : 1);
        }
        for (unsigned corner = 0; corner < 8; ++corner) {
            auto const key =
                key_of((corner & 1U) != 0 ? other[0] : own[0], (corner & 2U) != 0 ? other[1] : own[1],
                       (corner & 4U) != 0 ? other[2] : own[2]);
            auto const [first, last] = cells_.equal_range(key);
            for (auto i = first; i != last; ++i)
                if (norm(vertices[i->second] - p) <= distance_)
                    return i->second;
        }
        vertices.push_back(p);
        auto const index = static_cast<std::uint32_t>(vertices.size() - 1);
        cells_.emplace(key_of(own[0], own[1], own[2]), index);
        return index;
    }

    std::vector<Point<Part>> vertices;

private:
    static std::uint64_t key_of(std::int64_t x, std::int64_t y, std::int64_t z) {
        std::uint64_t key = static_cast<std::uint64_t>(x) * 0x9e3779b97f4a7c15U;
        key = (key ^ (key >> 29U) ^ static_cast<std::uint64_t>(y)) * 0xbf58476d1ce4e5b9U;
        return (key ^ (key >> 31U) ^ static_cast<std::uint64_t>(z)) * 0x94d049bb133111ebU;
    }

    double distance_;
    std::unordered_multimap<std::uint64_t, std::uint32_t> cells_; // cells that share a key only cost time
};

/// One triangle's side of an edge between two vertices.
struct HalfEdge {
    std::uint32_t low, high; ///< the vertices
    std::uint32_t triangle;
    std::uint8_t index;
    bool upwards; ///< whether the triangle runs from low to high
};

inline std::vector<HalfEdge> half_edges(std::vector<MeshTriangle> const& triangles) {
    std::vector<HalfEdge> all;
    all.reserve(3 * triangles.size());
    for (std::uint32_t t = 0; t < triangles.size(); ++t)
        for (std::uint8_t k = 0; k < 3; ++k) {
            auto const from = triangles[t].vertex[k], to = triangles[t].vertex[(k + 1U) % 3];
            all.push_back({std::min(from, to), std::max(from, to), t, k, from < to});
        }
    std::sort(all.begin(), all.end(), [](HalfEdge const& a, HalfEdge const& b) {
        return a.low != b.low ? a.low < b.low : a.high < b.high;
    });
    return all;
}

inline void join_triangles(MeshTopology& mesh, double crease) {
    auto const edges = half_edges(mesh.triangle);
    for (std::size_t i = 0; i < edges.size();) {
        std::size_t j = i + 1;
        while (j < edges.size() && edges[j].low == edges[i].low && edges[j].high == edges[i].high)
            ++j;
        auto kind = j - i == 1 ? MeshEdge::border : j - i > 2 ? MeshEdge::crowded : MeshEdge::smooth;
        if (kind == MeshEdge::smooth) {
            auto const a = edges[i].triangle, b = edges[i + 1].triangle;
            mesh.triangle[a].neighbour[edges[i].index] = b;
            mesh.triangle[b].neighbour[edges[i + 1].index] = a;
            if (edges[i].upwards == edges[i + 1].upwards)
                kind = MeshEdge::flipped;
            else if (mesh.triangle[a].has_area && mesh.triangle[b].has_area &&
                     angle_between(mesh.area_normal(a), mesh.area_normal(b)) > crease)
                kind = MeshEdge::crease;
        }
        for (; i < j; ++i)
            mesh.triangle[edges[i].triangle].edge[edges[i].index] = kind;
    }
}

inline void check_mesh_input(std::vector<Facet> const& facets, MeshOptions const& options) {
    if (!(options.weld > 0) || !is_finite(options.weld))
        throw BadInput("a mesh's weld distance must be above 0; given was " +
                       text_in_millimetres(options.weld));
    if (!(options.crease > 0) || !(options.crease < degrees(180)))
        throw BadInput("a mesh's crease angle must lie between 0° and 180°; given was " +
                       text_of(in_degrees(options.crease)) + "°");
    if (facets.empty())
        throw BadInput("a mesh needs at least one triangle");
    if (facets.size() >= std::numeric_limits<std::uint32_t>::max() / 3)
        throw BadInput("a mesh of " + std::to_string(facets.size()) + " triangles is too large");
    for (std::size_t i = 0; i < facets.size(); ++i)
        for (auto const& p : facets[i].corner)
            if (!(std::max({std::abs(p.x), std::abs(p.y), std::abs(p.z)}) < 1e12 * options.weld))
                throw BadInput("triangle " + std::to_string(i + 1) + " has a corner at " +
                               text_in_millimetres(p) + ", which is not finite or out of reach");
}

/// Vertices, neighbours and kinds of edges of triangles given one by one.
inline MeshTopology mesh_topology(std::vector<Facet> const& facets, MeshOptions const& options) {
    check_mesh_input(facets, options);
    MeshTopology mesh;
    Welder welder(options.weld);
    for (std::uint32_t i = 0; i < facets.size(); ++i) {
        MeshTriangle t{{}, {}, {}, i, true};
        for (std::size_t k = 0; k < 3; ++k)
            t.vertex[k] = welder.vertex_at(facets[i].corner[k]);
        // Without two of its corners a triangle is an edge: its neighbours meet there without it.
        if (t.vertex[0] != t.vertex[1] && t.vertex[1] != t.vertex[2] && t.vertex[2] != t.vertex[0])
            mesh.triangle.push_back(t);
    }
    mesh.vertex = std::move(welder.vertices);
    if (mesh.triangle.empty())
        throw BadInput("no triangle of the mesh has three corners farther apart than the weld distance, " +
                       text_in_millimetres(options.weld));
    for (std::uint32_t i = 0; i < mesh.triangle.size(); ++i) {
        auto const& v = mesh.triangle[i].vertex;
        double longest = 0;
        for (std::size_t k = 0; k < 3; ++k)
            longest = std::max(longest, norm(mesh.vertex[v[(k + 1) % 3]] - mesh.vertex[v[k]]));
        mesh.triangle[i].has_area = norm(mesh.area_normal(i)) > options.weld * longest;
    }
    join_triangles(mesh, options.crease);
    return mesh;
}

} // namespace detail

} // namespace seamhold

#endif
