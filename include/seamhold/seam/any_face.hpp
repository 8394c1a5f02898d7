#ifndef SEAMHOLD_SEAM_ANY_FACE_HPP
#define SEAMHOLD_SEAM_ANY_FACE_HPP

#include "seamhold/seam/lay.hpp"
#include "seamhold/seam/lay_on_mesh.hpp"
#include "seamhold/seam/path.hpp"
#include "seamhold/surface/cone.hpp"
#include "seamhold/surface/cylinder.hpp"
#include "seamhold/surface/plane.hpp"
#include "seamhold/surface/sphere.hpp"
#include "seamhold/surface/torus.hpp"

#include <concepts>
#include <type_traits>
#include <utility>
#include <variant>

/// Seams on a face that is chosen at run time.
namespace seamhold {

/// A face chosen at run time from a closed list.
using AnyFace = std::variant<Plane<>, Cylinder<>, Cone<>, Sphere<>, Torus<>, MeshFace>;

/// A shape on a face that was chosen at run time.
struct PlacedPath {
    AnyPath path;
    Stretch stretch;
};

/// A shape on any face: in closed form on a plane, stored by the arc length on the face on others. Throws
/// BadInput as `lay` does.
template <std::convertible_to<AnyFace> Chosen> // a template, so that who lays nothing compiles nothing of it
PlacedPath path_on(DrawnShape const& shape, Chosen const& chosen, double overrun = 2e-3) {
    AnyFace const& face = chosen;
    if (auto const* plane = std::get_if<Plane<>>(&face)) {
        if (shape.pieces().size() == 1) {
            if (auto const* straight = std::get_if<Straight<>>(&shape.pieces().front()))
                return {OnFace<Straight<>, Plane<>>{*straight, *plane}, {}};
            if (auto const* arc = std::get_if<Arc<>>(&shape.pieces().front()))
                return {OnFace<Arc<>, Plane<>>{*arc, *plane}, {}};
        }
        return {OnFace<DrawnShape, Plane<>>{shape, *plane}, {}};
    }
    auto laid = std::visit([&](auto const& surface) { return lay(shape, surface, overrun); }, face);
    return {std::move(laid.path), laid.stretch};
}

/// The plane that touches a face at a place of its flattened form; x runs as the face's does there (on a
/// mesh, as the face's does at its origin).
inline Plane<> plane_touching(AnyFace const& face, FacePoint place) {
    return std::visit(
        [&](auto const& surface) -> Plane<> {
            if constexpr (std::is_same_v<std::decay_t<decltype(surface)>, MeshFace>) {
                auto const p = surface.at(place.x, place.y);
                return {face_at(p.position, p.normal, surface.part_from_face() * Direction<Face>{1, 0, 0})};
            } else {
                using T = Gradient<double, 2>;
                auto const p = surface.at(T::variable(place.x, 0), T::variable(place.y, 1));
                Direction<Part> const along{p.position.x.partial[0], p.position.y.partial[0],
                                            p.position.z.partial[0]};
                return {face_at(value_of(p.position), value_of(p.normal), along)};
            }
        },
        face);
}

} // namespace seamhold

#endif
