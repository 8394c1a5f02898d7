// The ray trace of the independent cell: over two turning mirrors by d - 2 (d.n) n, onto a face.
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

/// Where a ray meets a tube from outside, in the frame of its face: x along the tube, which lies below z = 0.
inline double distance_to_tube(Ray const& ray, double radius) {
    // (oy + t dy)^2 + (oz + radius + t dz)^2 = radius^2: of both t the smaller.
    double const up = ray.origin.z + radius;
    double const a = ray.direction.y * ray.direction.y + ray.direction.z * ray.direction.z;
    double const half_b = ray.origin.y * ray.direction.y + up * ray.direction.z;
    double const c = ray.origin.y * ray.origin.y + up * up - radius * radius;
    return (-half_b - std::sqrt(half_b * half_b - a * c)) / a;
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
inline Landing land(double x_mirror, double y_mirror, Matrix const& part_from_head, Face const& face) {
    double const half = std::sqrt(0.5);
    Vector const first_mirror{0, -mirror_separation, 0};
    Vector const last_mirror{0, 0, 0};
    Vector const first_normal = turn_direction(turn_z(-x_mirror), {-half, half, 0});
    Vector const last_normal = turn_direction(turn_x(-y_mirror), {0, -half, half});
    Ray const in{{-1, -mirror_separation, 0}, {1, 0, 0}};
    Ray const between = reflected(in, first_mirror, first_normal);
    Ray const out = reflected(between, last_mirror, last_normal);
    Matrix const face_from_head = inverse(face.part_from_face) * part_from_head;
    Ray const ray{move_point(face_from_head, out.origin), turn_direction(face_from_head, out.direction)};
    double const down = face.tube_radius_mm == 0 ? distance_to_plane(ray, {0, 0, 0}, {0, 0, 1})
                                                 : distance_to_tube(ray, 0.001 * face.tube_radius_mm);
    if (!(down > 0) || !(ray.direction.z < 0))
        throw std::runtime_error("the beam does not meet the face");
    return {move_point(face.part_from_face, ray.origin + down * ray.direction),
            length(out.origin - between.origin) + down};
}

} // namespace tray

#endif
