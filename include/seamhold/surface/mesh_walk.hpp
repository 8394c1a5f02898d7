#ifndef SEAMHOLD_SURFACE_MESH_WALK_HPP
#define SEAMHOLD_SURFACE_MESH_WALK_HPP

#include "seamhold/surface/mesh_patch.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

namespace seamhold::detail {

/// Where a walk straight on over a mesh ended, and why.
struct Walk {
    enum class End : std::uint8_t {
        arrived, ///< the whole way was walked
        edge,    ///< at an edge that no seam may run over: `edge` of the triangle
        no_area, ///< before a triangle without area, across `edge`
        lost     ///< after more triangles than the mesh has, many times over
    };

    MeshPlace place;
    Direction<Part> along; ///< unit, the direction of travel at the end
    End end;
    std::size_t edge;
};

/// The walk within one triangle: how far it got, and the edge it reached (3 where it did not).
struct WalkInTriangle {
    OnPatch at;
    double way;
    std::size_t edge;
};

/// How far it is to the edge opposite to a corner, going on as now; without end where it does not come
/// nearer.
inline double way_to_edge(OnPatch const& at, OnPatch const& rate, std::size_t corner) {
    return rate.share[corner] < 0 ? at.share[corner] / -rate.share[corner] : HUGE_VAL;
}

/// One step of at most `way`, not beyond the triangle. `entry` is the corner opposite to the edge it came in
/// by (3: none), by which it does not leave again: a way along an edge belongs to either side.
inline WalkInTriangle walk_in_triangle(MeshPatch const& patch, OnPatch const& from, double way,
                                       std::size_t entry) {
    double step = way;
    std::size_t reached = 3;
    auto const shorten = [&](OnPatch const& at, double so_far) {
        auto const rate = straight_on(patch, at);
        double least = way;
        reached = 3;
        for (std::size_t i = 0; i < 3; ++i) {
            double const to_edge = i == entry ? HUGE_VAL : so_far + way_to_edge(at, rate, i);
            if (to_edge < least) {
                least = to_edge;
                reached = i;
            }
        }
        return std::max(least, 0.0);
    };
    step = shorten(from, 0);
    auto at = stepped(patch, from, step);
    // Newton's steps to the edge; each adds as many digits again. Where none is reached they change nothing.
    for (int i = 0; i < 4; ++i) {
        double const next = shorten(at, step);
        bool const settled = std::abs(next - step) <= 1e-13 * way;
        step = next;
        at = stepped(patch, from, step);
        if (settled)
            break;
    }
    if (reached < 3)
        at.share[reached] = 0;
    return {at, step, reached};
}

/// Walks straight on over the curved patches: from a place in a direction along the face (unit, square to the
/// normal there) for a distance, m. The direction is carried by the field of normals, so that two ways that
/// start close together stay close, also where a corner lies between them.
inline Walk walk(Mesh const& mesh, MeshPlace const& start, Direction<Part> const& along, double distance) {
    constexpr double clear = 1e-9; // kept from corners, as a share of the edge: no way runs through one
    auto triangle = start.triangle;
    OnPatch at{start.share, along};
    std::size_t entry = 3;
    std::size_t const most = 100 * mesh.size() + 1000;
    double left = distance;
    MeshPatch patch(mesh, triangle);
    for (std::size_t count = 0; count < most; ++count) {
        double longest = 0;
        for (std::size_t i = 0; i < 3; ++i)
            longest = std::max(longest, norm(patch.corner((i + 1) % 3) - patch.corner(i)));
        auto const step = walk_in_triangle(patch, at, std::min(left, longest / 2), entry);
        at = step.at;
        left -= step.way;
        if (step.edge == 3) {
            if (!(left > 0))
                return {{triangle, at.share}, at.along, Walk::End::arrived, 3};
            continue;
        }
        auto const& t = mesh.triangle(triangle);
        std::size_t const edge = (step.edge + 1) % 3; // from the next corner to the one after
        if (t.edge[edge] != MeshEdge::smooth)
            return {{triangle, at.share}, at.along, Walk::End::edge, edge};
        auto const next = t.neighbour[edge];
        auto const& v = mesh.triangle(next).vertex;
        if (!mesh.triangle(next).has_area)
            return {{triangle, at.share}, at.along, Walk::End::no_area, edge};
        double const ahead = std::clamp(at.share[(edge + 1) % 3], clear, 1 - clear);
        OnPatch across{{0, 0, 0}, at.along};
        for (std::size_t i = 0; i < 3; ++i) {
            if (v[i] == t.vertex[edge])
                across.share[i] = 1 - ahead;
            else if (v[i] == t.vertex[(edge + 1) % 3])
                across.share[i] = ahead;
            else
                entry = i;
        }
        at = across;
        triangle = next;
        patch = MeshPatch(mesh, triangle);
    }
    return {{triangle, at.share}, at.along, Walk::End::lost, 3};
}

} // namespace seamhold::detail

#endif
