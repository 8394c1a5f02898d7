#ifndef SEAMHOLD_SURFACE_MESH_PATCH_HPP
#define SEAMHOLD_SURFACE_MESH_PATCH_HPP

#include "seamhold/surface/mesh.hpp"

#include <array>
#include <cstddef>

namespace seamhold::detail {

/// A curved piece over a triangle: a cubic through its corners, square to their normals there, and a field of
/// normals that is linear between them. Neighbours meet in both without a gap. Source: A. Vlachos et al.,
/// "Curved PN triangles", I3D 2001 (from memory).
class MeshPatch {
public:
    MeshPatch(Mesh const& mesh, std::uint32_t triangle) {
        for (std::size_t i = 0; i < 3; ++i) {
            corner_[i] = mesh.corner(triangle, i);
            normal_[i] = mesh.corner_normal(triangle, i);
        }
        // Control points as displacements from the first corner, so that nothing is lost far from the origin.
        Direction<Part> edges{0, 0, 0}, corners{0, 0, 0};
        for (std::size_t i = 0; i < 3; ++i) {
            place_[i] = corner_[i] - corner_[0];
            corners = corners + place_[i];
            for (std::size_t k = 0; k < 3; ++k) {
                if (k == i)
                    continue;
                auto const way = corner_[k] - corner_[i];
                edge_[i][k] = place_[i] + (1.0 / 3) * (way - dot(way, normal_[i]) * normal_[i]);
                edges = edges + edge_[i][k];
            }
        }
        middle_ = 0.25 * edges - (1.0 / 6) * corners;
    }

    /// The place at shares of the corners.
    Point<Part> position(std::array<double, 3> const& share) const {
        Direction<Part> sum{0, 0, 0};
        for (std::size_t i = 0; i < 3; ++i)
            sum = sum + share[i] * by_share(share, i);
        return corner_[0] + (1.0 / 3) * sum; // Euler's theorem on homogeneous functions
    }

    /// The sum of the normals at the corners by shares, of which the direction is the normal.
    Direction<Part> normal_sum(std::array<double, 3> const& share) const {
        return share[0] * normal_[0] + share[1] * normal_[1] + share[2] * normal_[2];
    }

    /// The derivative of the place by a share as if the shares were independent.
    Direction<Part> by_share(std::array<double, 3> const& share, std::size_t i) const {
        std::size_t const j = (i + 1) % 3, k = (i + 2) % 3;
        double const a = share[i], b = share[j], c = share[k];
        return 3.0 * ((a * a) * place_[i] + (2 * a * b) * edge_[i][j] + (2 * a * c) * edge_[i][k] +
                      (b * b) * edge_[j][i] + (c * c) * edge_[k][i] + (2 * b * c) * middle_);
    }

    /// The corners, m.
    Point<Part> const& corner(std::size_t i) const { return corner_[i]; }

private:
    std::array<Point<Part>, 3> corner_;
    std::array<Direction<Part>, 3> normal_;
    std::array<Direction<Part>, 3> place_;
    std::array<std::array<Direction<Part>, 3>, 3> edge_; ///< near corner i towards corner k
    Direction<Part> middle_;
};

/// A place on a patch and the unit direction of travel there, along the face.
struct OnPatch {
    std::array<double, 3> share;
    Direction<Part> along;
};

/// How both change by the way travelled straight on, 1/m.
inline OnPatch straight_on(MeshPatch const& patch, OnPatch const& at) {
    auto const by_first = patch.by_share(at.share, 0);
    auto const x = patch.by_share(at.share, 1) - by_first, y = patch.by_share(at.share, 2) - by_first;
    double const xx = squared_norm(x), xy = dot(x, y), yy = squared_norm(y);
    double const u = dot(x, at.along), v = dot(y, at.along), scale = 1 / (xx * yy - xy * xy);
    double a = (yy * u - xy * v) * scale, b = (xx * v - xy * u) * scale;
    double const speed = norm(a * x + b * y); // the patch's plane is not quite square to the normal
    a /= speed;
    b /= speed;
    std::array<double, 3> const rate{-a - b, a, b};
    auto const sum = patch.normal_sum(at.share);
    double const size = squared_norm(sum);
    // Straight on means to turn about the way across only: t' = −(t · n') n.
    return {rate, (-dot(at.along, patch.normal_sum(rate)) / size) * sum};
}

/// The state `way` metres straight on, by one step of Runge and Kutta's fourth order.
inline OnPatch stepped(MeshPatch const& patch, OnPatch const& from, double way) {
    auto const moved = [&](OnPatch const& rate, double by) {
        OnPatch to = from;
        for (std::size_t i = 0; i < 3; ++i)
            to.share[i] += by * rate.share[i];
        to.along = to.along + by * rate.along;
        return to;
    };
    auto const k1 = straight_on(patch, from);
    auto const k2 = straight_on(patch, moved(k1, way / 2));
    auto const k3 = straight_on(patch, moved(k2, way / 2));
    auto const k4 = straight_on(patch, moved(k3, way));
    OnPatch mean;
    for (std::size_t i = 0; i < 3; ++i)
        mean.share[i] = (k1.share[i] + 2 * (k2.share[i] + k3.share[i]) + k4.share[i]) / 6;
    mean.along = (1.0 / 6) * (k1.along + 2.0 * (k2.along + k3.along) + k4.along);
    auto to = moved(mean, way);
    auto const n = unit(patch.normal_sum(to.share));
    to.along = unit(to.along - dot(to.along, n) * n);
    return to;
}

} // namespace seamhold::detail

#endif
