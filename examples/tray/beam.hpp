// The ray trace of the independent cell: over two turning mirrors by d - 2 (d.n) n, onto a plane.
#ifndef TRAY_BEAM_HPP
#define TRAY_BEAM_HPP

#include "drawing.hpp"

#include <cmath>
#include <stdexcept>

namespace tray {

struct Ray {
    Vector origin, direction;
};

/// Where a ray meets the plane through `point`, as a distance along the ray.
inline double distance_to_plane(Ray const& ray, Vector point, Vector normal) {
    return dot(point - ray.origin, normal) / dot(ray.direction, normal);
}

/// A mirror: the ray leaves from where it meets the plane, d - 2 (d.n) n.
inline Ray reflected(Ray const& ray, Vector point, Vector normal) {
    double const away = distance_to_plane(ray, point, normal);
    return {ray.origin + away * ray.direction, ray.direction - (2 * dot(ray.direction, normal)) * normal};
}

struct Landing {
    Vector spot; // in the part
    double path; // from the first mirror to the spot
};

/// Traces the beam: in along +x, over the first mirror (axis z, e beside the last mirror) and the last mirror
/// (axis x, at the head's origin), down to a face. Both mirrors turn by the negative of their commanded
/// angle.
inline Landing land(double x_mirror, double y_mirror, Matrix const& part_from_head,
                    Matrix const& part_from_face) {
    double const half = std::sqrt(0.5);
    Vector const first_mirror{0, -mirror_separation, 0};
    Vector const last_mirror{0, 0, 0};
    Vector const first_normal = turn_direction(turn_z(-x_mirror), {-half, half, 0});
    Vector const last_normal = turn_direction(turn_x(-y_mirror), {0, -half, half});
    Ray const in{{-1, -mirror_separation, 0}, {1, 0, 0}};
    Ray const between = reflected(in, first_mirror, first_normal);
    Ray const out = reflected(between, last_mirror, last_normal);
    Ray const in_part{move_point(part_from_head, out.origin), turn_direction(part_from_head, out.direction)};
    Vector const face_origin = move_point(part_from_face, {0, 0, 0});
    Vector const face_normal = turn_direction(part_from_face, {0, 0, 1});
    double const down = distance_to_plane(in_part, face_origin, face_normal);
    if (!(down > 0) || !(dot(in_part.direction, face_normal) < 0))
        throw std::runtime_error("the beam does not meet the face");
    return {in_part.origin + down * in_part.direction, length(out.origin - between.origin) + down};
}

} // namespace tray

#endif
