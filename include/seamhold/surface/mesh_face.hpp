#ifndef SEAMHOLD_SURFACE_MESH_FACE_HPP
#define SEAMHOLD_SURFACE_MESH_FACE_HPP

#include "seamhold/surface/mesh_walk.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <utility>

namespace seamhold {

/// A point of a face that is a mesh.
struct MeshPoint {
    Point<Part> position;   ///< on the curved patch over the triangle, m
    Direction<Part> normal; ///< unit, towards the head
    Direction<Part>
        outward; ///< unit, along the face: in which the straight line from the face's origin arrives
    MeshPlace place;
};

/// A mesh as a face: geodesic polar coordinates about an origin on it. The point at (x, y) is reached from
/// the origin by going √(x² + y²) straight on in the direction of (x, y). On what can be unrolled, lengths
/// and angles are those of the drawing, as far as the triangles are; elsewhere what runs around the origin is
/// stretched. For set-up, on doubles: a seam is laid on it once and stored.
class MeshFace {
public:
    /// With its origin where the z axis of `near` meets the triangles that face it, nearest to its origin; x
    /// runs as that of `near` does, as far as the mesh lets it. Throws BadInput where the axis misses the
    /// mesh or x runs along the normal there.
    MeshFace(Mesh mesh, Pose<Part, Face> const& near) : mesh_(std::move(mesh)) {
        detail::check_face_pose(near);
        auto const z = near * Direction<Face>{0, 0, 1};
        auto const met = mesh_.on_line(near.origin, z);
        if (!met)
            throw BadInput("the z axis of the face at " + detail::text_in_millimetres(near.origin) +
                           " meets no triangle of the mesh that faces it" +
                           (mesh_.on_line(near.origin, -z)
                                ? "; it meets the back of the mesh: is its z axis reversed?"
                                : ""));
        origin_ = *met;
        double sum = 0;
        for (double& share : origin_.share)
            sum += share = std::max(share, 1e-9); // a little off edges and corners, where walks end
        for (double& share : origin_.share)
            share /= sum;
        detail::MeshPatch const patch(mesh_, origin_.triangle);
        part_from_face_ = face_at(patch.position(origin_.share), patch.normal_sum(origin_.share),
                                  near * Direction<Face>{1, 0, 0});
    }

    /// Where the face's origin and axes are on the mesh.
    Pose<Part, Face> const& part_from_face() const { return part_from_face_; }

    /// The mesh.
    Mesh const& mesh() const { return mesh_; }

    /// The point at (x, y), m. Throws BadInput, naming the place and the triangle (as `Mesh` was given them,
    /// counted from 1), where the straight line from the origin meets a hole or the border, a flipped
    /// triangle, an edge of more than two triangles, a crease, or a triangle without area.
    MeshPoint at(double x, double y) const {
        double const way = std::hypot(x, y);
        if (!is_finite(way))
            throw BadInput("a point of a face that is not finite");
        auto const direction = way > 0 ? Direction<Face>{x / way, y / way, 0} : Direction<Face>{1, 0, 0};
        auto const walked = detail::walk(mesh_, origin_, part_from_face_ * direction, way);
        if (walked.end != detail::Walk::End::arrived)
            fail(walked, way);
        detail::MeshPatch const patch(mesh_, walked.place.triangle);
        return {patch.position(walked.place.share), unit(patch.normal_sum(walked.place.share)), walked.along,
                walked.place};
    }

    /// How the face bends at a point in a direction along it, 1/m, positive where it is convex: by how much
    /// the normal turns over about the length of an edge. Over less, or to one side only, where the mesh
    /// ends close by.
    double bend(MeshPoint const& point, Direction<Part> const& direction) const {
        auto const across = direction - dot(direction, point.normal) * point.normal;
        auto const along = detail::unit_or_refused(across, "a direction along the face");
        double const size =
            norm(cross(mesh_.corner(point.place.triangle, 1) - mesh_.corner(point.place.triangle, 0),
                       mesh_.corner(point.place.triangle, 2) - mesh_.corner(point.place.triangle, 0)));
        for (double half_way = 0.5 * std::sqrt(size); half_way > 1e-3 * std::sqrt(size); half_way /= 8) {
            double turned = 0, way = 0;
            for (double const sign : {1.0, -1.0}) {
                auto const walked = detail::walk(mesh_, point.place, sign * along, half_way);
                if (walked.end != detail::Walk::End::arrived)
                    continue;
                detail::MeshPatch const patch(mesh_, walked.place.triangle);
                turned += sign * dot(unit(patch.normal_sum(walked.place.share)) - point.normal, along);
                way += half_way;
            }
            if (way > 0)
                return turned / way;
        }
        return 0; // on the very tip of a corner
    }

private:
    std::string named(std::uint32_t t) const {
        return "triangle " + std::to_string(mesh_.triangle(t).number + 1);
    }

    [[noreturn]] void fail(detail::Walk const& walked, double way) const {
        auto const t = walked.place.triangle;
        auto const place =
            detail::text_in_millimetres(detail::MeshPatch(mesh_, t).position(walked.place.share));
        std::string const where = "a line straight on over the mesh for " + detail::text_in_millimetres(way) +
                                  " from " + detail::text_in_millimetres(part_from_face_.origin);
        if (walked.end == detail::Walk::End::lost)
            throw BadInput(where + " does not arrive");
        auto const& triangle = mesh_.triangle(t);
        std::string const other = named(triangle.neighbour[walked.edge]);
        std::string const stops = where + " stops at " + place + " on the edge of " + named(t) + ": ";
        if (walked.end == detail::Walk::End::no_area)
            throw BadInput(stops + other + " behind it has no area");
        switch (triangle.edge[walked.edge]) {
        case MeshEdge::flipped:
            throw BadInput(stops + other + " behind it is flipped: its corners run the other way round");
        case MeshEdge::crowded:
            throw BadInput(stops + "three triangles or more share it");
        case MeshEdge::crease:
            throw BadInput(stops + "the mesh has a crease there, to " + other + ", of more than " +
                           detail::text_of(in_degrees(mesh_.options().crease)) + "°");
        default:
            throw BadInput(stops + "there is a hole, or the mesh ends");
        }
    }

    Mesh mesh_;
    MeshPlace origin_{};
    Pose<Part, Face> part_from_face_{};
};

} // namespace seamhold

#endif
