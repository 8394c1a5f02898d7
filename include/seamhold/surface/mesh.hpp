#ifndef SEAMHOLD_SURFACE_MESH_HPP
#define SEAMHOLD_SURFACE_MESH_HPP

#include "seamhold/surface/mesh_normals.hpp"
#include "seamhold/surface/mesh_topology.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

namespace seamhold {

/// A place on a mesh: a triangle and the shares of its corners, which add up to one.
struct MeshPlace {
    std::uint32_t triangle;
    std::array<double, 3> share;
};

/// A face of the part as triangles, with a smooth field of normals: at each corner the mean of the triangles
/// around it, as far as no crease, hole or fault lies between them. Faults (see MeshEdge) do no harm where no
/// seam meets them; `fault_count` counts them. Shared between copies; never changes.
class Mesh {
public:
    /// From triangles in any order, each wound counter-clockwise seen from outside of the material. Throws
    /// BadInput where there is none, a corner is not finite, or an option is out of range.
    explicit Mesh(std::vector<Facet> const& facets, MeshOptions const& options = {}) {
        auto topology = detail::mesh_topology(facets, options);
        auto normals = detail::corner_normals(topology);
        data_ = std::make_shared<Data const>(Data{std::move(topology), std::move(normals), options});
    }

    /// How many triangles it has, those left away because two of their corners are one vertex not counted.
    std::size_t size() const { return data_->topology.triangle.size(); }

    /// How many vertices it has after corners closer than the weld distance were made one.
    std::size_t vertex_count() const { return data_->topology.vertex.size(); }

    /// A triangle: its vertices, its neighbours, and what each of its edges is.
    MeshTriangle const& triangle(std::uint32_t t) const { return data_->topology.triangle[t]; }

    /// The corner of a triangle, m.
    Point<Part> const& corner(std::uint32_t t, std::size_t k) const {
        return data_->topology.vertex[triangle(t).vertex[k]];
    }

    /// The unit normal of the smooth field at a corner of a triangle.
    Direction<Part> const& corner_normal(std::uint32_t t, std::size_t k) const {
        return data_->corner_normal[t][k];
    }

    /// The options it was made with.
    MeshOptions const& options() const { return data_->options; }

    /// How many edges of triangles are of this kind; an edge of two triangles counts twice.
    std::size_t fault_count(MeshEdge kind) const {
        std::size_t count = 0;
        for (auto const& t : data_->topology.triangle)
            for (auto const edge : t.edge)
                count += edge == kind ? 1U : 0U;
        return count;
    }

    /// Where a straight line through p along the unit vector `up` meets the flat triangles that face it
    /// (normal towards `up`), nearest to p; nothing where it meets none. Looks at every triangle.
    std::optional<MeshPlace> on_line(Point<Part> const& p, Direction<Part> const& up) const {
        std::optional<MeshPlace> nearest;
        double least = std::numeric_limits<double>::infinity();
        for (std::uint32_t t = 0; t < size(); ++t) {
            auto const hit = met_by(t, p, up);
            if (hit && hit->way < least) {
                least = hit->way;
                nearest = MeshPlace{t, hit->share};
            }
        }
        return nearest;
    }

private:
    struct Data {
        detail::MeshTopology topology;
        std::vector<std::array<Direction<Part>, 3>> corner_normal;
        MeshOptions options;
    };
    struct Hit {
        double way;
        std::array<double, 3> share;
    };

    std::optional<Hit> met_by(std::uint32_t t, Point<Part> const& p, Direction<Part> const& up) const {
        auto const a = corner(t, 0) - p, b = corner(t, 1) - p, c = corner(t, 2) - p;
        // Volumes over the edges: shares of the corners, above 0 where the triangle faces the line.
        std::array<double, 3> share{dot(up, cross(b, c)), dot(up, cross(c, a)), dot(up, cross(a, b))};
        double const whole = share[0] + share[1] + share[2];
        if (!(whole > 0))
            return {};
        for (double& s : share) {
            s /= whole;
            if (!(s >= -1e-9)) // so that nothing falls through between two triangles
                return {};
        }
        double const height = dot(up, share[0] * a + share[1] * b + share[2] * c);
        return Hit{std::abs(height), share};
    }

    std::shared_ptr<Data const> data_;
};

} // namespace seamhold

#endif
