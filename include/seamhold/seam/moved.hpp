#ifndef SEAMHOLD_SEAM_MOVED_HPP
#define SEAMHOLD_SEAM_MOVED_HPP

#include "seamhold/seam/seam.hpp"
#include "seamhold/seam/stored_pieces.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <type_traits>
#include <utility>
#include <variant>
#include <vector>

/// Seams displaced as rigid bodies: a part that lies elsewhere, a seam found beside where it was drawn.
namespace seamhold {

namespace detail {

/// Throws BadInput, saying what it is, unless a pose is finite and its rotation is one within 1e-9.
template <class To, class From> void check_rigid(Pose<To, From> const& pose, std::string const& what) {
    auto const& m = pose.rotation.m;
    double worst = std::max({std::abs(pose.origin.x), std::abs(pose.origin.y), std::abs(pose.origin.z)});
    if (!is_finite(pose.origin.x + pose.origin.y + pose.origin.z) || !is_finite(worst))
        throw BadInput(what + " is not finite");
    worst = 0;
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k) {
            double const product = m[i][0] * m[k][0] + m[i][1] * m[k][1] + m[i][2] * m[k][2];
            worst = std::max(worst, is_finite(product) ? std::abs(product - (i == k)) : 1e9);
        }
    double const volume = m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) -
                          m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0]) +
                          m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0]);
    if (!(worst <= 1e-9) || !(volume > 0))
        throw BadInput(what +
                       " does not turn as a rigid body: its rotation's rows must be unit vectors at "
                       "right angles and right-handed within 1e-9; they are off by " +
                       text_of(volume > 0 ? worst : 2.0));
}

inline LaidPath moved_path(LaidPath const& path, Pose<Part, Part> const& by, double overrun) {
    auto all = pieces_of(path, overrun);
    for (auto& piece : all.pieces) {
        auto& c = piece.coefficient;
        for (std::size_t k = 0; k < 8; ++k) {
            auto const place = by.rotation * Direction<Part>{c[0][k], c[1][k], c[2][k]};
            auto const normal = by.rotation * Direction<Part>{c[3][k], c[4][k], c[5][k]};
            c[0][k] = place.x + (k == 0 ? by.origin.x : 0);
            c[1][k] = place.y + (k == 0 ? by.origin.y : 0);
            c[2][k] = place.z + (k == 0 ? by.origin.z : 0);
            c[3][k] = normal.x;
            c[4][k] = normal.y;
            c[5][k] = normal.z;
        }
    }
    return LaidPath(std::move(all.starts), std::move(all.pieces), path.length(), path.corners());
}

} // namespace detail

/// The path with its face, displaced: what was at p is at `by` · p, and normals turn with it; arc length,
/// breaks, corners and how the face bends stay. Right to the last bits of the coordinates. A stored path
/// keeps `overrun`, m, beyond its ends, as by `reversed`. Throws BadInput for a pose that is not finite or
/// not rigid within 1e-9.
inline AnyPath moved(AnyPath const& path, Pose<Part, Part> const& by, double overrun = 2e-3) {
    detail::check_rigid(by, "the displacement of a path");
    return std::visit(
        [&](auto const& chosen) -> AnyPath {
            using Chosen = std::decay_t<decltype(chosen)>;
            if constexpr (std::is_same_v<Chosen, LaidPath>)
                return detail::moved_path(chosen, by, overrun);
            else
                return Chosen{chosen.shape, {by * chosen.surface.part_from_face}};
        },
        path.choice());
}

/// The same seam elsewhere: its path displaced, see above; travel, weave (which stays to the same side),
/// focus offset and power stay.
inline AnySeam moved(AnySeam const& seam, Pose<Part, Part> const& by, double overrun = 2e-3) {
    return {moved(seam.path, by, overrun), seam.travel, seam.focus_offset, seam.weave, seam.power};
}

} // namespace seamhold

#endif
