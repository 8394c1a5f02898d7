#ifndef SEAMHOLD_SEAM_LAY_HPP
#define SEAMHOLD_SEAM_LAY_HPP

#include "seamhold/curve/arc_length.hpp"
#include "seamhold/number/gradient.hpp"
#include "seamhold/number/lift.hpp"
#include "seamhold/seam/path.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <functional>
#include <limits>
#include <string>
#include <utility>
#include <vector>

/// Seams laid on faces of any form: worked out once, and stored by the arc length on the face.
namespace seamhold {

/// How much longer or shorter the face makes what was drawn: the length on the face over that in the drawing,
/// along the seam.
struct Stretch {
    double least = 1;
    double most = 1;
    double least_at = 0; ///< arc length on the face, m
    double most_at = 0;  ///< likewise
};

/// A shape laid on a face.
struct Laid {
    LaidPath path;
    Stretch stretch;
};

namespace detail {

/// A direction of Taylor numbers, two orders shorter where it came from a derivative.
template <int N> using TaylorDirection = Direction<Part, Taylor<double, N>>;

/// The derivative by the parameter.
inline Taylor<double, 3> rate_of(Taylor<double, 4> const& x) {
    Taylor<double, 3> r;
    for (int k = 0; k <= 3; ++k)
        r.coefficient[k] = (k + 1) * x.coefficient[k + 1];
    return r;
}

/// The unit tangent of a place's way.
inline TaylorDirection<3> tangent_of(Point<Part, Taylor<double, 4>> const& place) {
    return unit(TaylorDirection<3>{rate_of(place.x), rate_of(place.y), rate_of(place.z)});
}

/// The components of a `LaidPath` from the place and the normal along a curve, both with their derivatives by
/// the curve's parameter, and the curvature across. The normal is made square to the tangent and unit.
inline CurveExpansion<LaidPath::components> laid_components(Point<Part, Taylor<double, 4>> const& place,
                                                            TaylorDirection<3> const& normal,
                                                            Taylor<double, 3> const& bend) {
    auto const three = [](Taylor<double, 4> const& x) { return to_order<3>(x); };
    auto const tangent = tangent_of(place);
    auto const n = unit(normal - dot(normal, tangent) * tangent);
    return {three(place.x), three(place.y), three(place.z), n.x, n.y, n.z, bend};
}

/// What a face has at one place of the drawing: with the derivatives by the parameter along the seam, and by
/// both coordinates of the drawing.
struct FaceAlong {
    Point<Part, Taylor<double, 4>> place;
    TaylorDirection<3> normal;
    TaylorDirection<3> place_by[2];
    TaylorDirection<3> normal_by[2];

    /// The components of a path there. Not inlined: it is the same long piece of code for every caller.
    [[gnu::noinline]] CurveExpansion<LaidPath::components> components() const {
        auto const left = cross(normal, tangent_of(place));
        // left = a · ∂p/∂x + b · ∂p/∂y; the normal turns by that much of both of its derivatives.
        auto const& [px, py] = place_by;
        auto const e = squared_norm(px), f = dot(px, py), g = squared_norm(py);
        auto const u = dot(left, px), v = dot(left, py);
        auto const scale = 1.0 / (e * g - sqr(f));
        auto const a = (g * u - f * v) * scale;
        auto const b = (e * v - f * u) * scale;
        return laid_components(place, normal, dot(a * normal_by[0] + b * normal_by[1], left));
    }
};

/// Of any surface, by numbers that carry both kinds of derivatives.
template <class Face>
[[gnu::noinline]] FaceAlong face_along(Face const& surface, ShapePoint<Taylor<double, 4>> const& p) {
    using Both = Gradient<double, 2>;
    using Number = Taylor<Both, 4>;
    auto const varying = [](Taylor<double, 4> const& x, int index) {
        Number r;
        for (int k = 0; k <= 4; ++k)
            r.coefficient[k] = Both(x.coefficient[k]);
        r.coefficient[0].partial[index] = 1;
        return r;
    };
    SurfacePoint<Number> const at = surface.at(varying(p.x, 0), varying(p.y, 1));
    auto const value = [](Number const& x) {
        Taylor<double, 4> r;
        for (int k = 0; k <= 4; ++k)
            r.coefficient[k] = x.coefficient[k].value;
        return r;
    };
    auto const by = [](auto const& v, int index) {
        auto const one = [index](Number const& x) {
            Taylor<double, 3> r;
            for (int k = 0; k <= 3; ++k)
                r.coefficient[k] = x.coefficient[k].partial[index];
            return r;
        };
        return TaylorDirection<3>{one(v.x), one(v.y), one(v.z)};
    };
    auto const& n = at.normal;
    return {{value(at.position.x), value(at.position.y), value(at.position.z)},
            {to_order<3>(value(n.x)), to_order<3>(value(n.y)), to_order<3>(value(n.z))},
            {by(at.position, 0), by(at.position, 1)},
            {by(n, 0), by(n, 1)}};
}

/// A curve of the components of a path, by its stretch and the parameter there. One type for all, so that
/// what is made of it is compiled once.
using LaidCurve = std::function<CurveExpansion<LaidPath::components>(std::size_t, double)>;

/// Where the tangent of stored pieces jumps by more than 1e-7 rad, with the angle in space.
inline std::vector<Corner> corners_of(ByArcLength<LaidPath::components> const& made, double length) {
    std::vector<Corner> found;
    for (std::size_t i = 1; i < made.piece.size(); ++i) {
        auto const a = made.piece[i - 1].template at<3>(made.start[i] - made.start[i - 1]).slope;
        auto const b = made.piece[i].template at<3>(0.0).slope;
        Direction<Part> const from{a[0], a[1], a[2]}, to{b[0], b[1], b[2]};
        double const angle = std::atan2(norm(cross(from, to)), dot(from, to));
        if (angle > 1e-7 && made.start[i] > 0 && made.start[i] < length)
            found.push_back({made.start[i], angle});
    }
    return found;
}

/// Pieces by arc length as a path, `before` and `after` m of which are overrun.
inline LaidPath path_of(ByArcLength<LaidPath::components> made, double before, double after) {
    double const length = made.length() - before - after;
    for (double& s : made.start)
        s -= before;
    auto corners = corners_of(made, length);
    return LaidPath(std::move(made.start), std::move(made.piece), length, std::move(corners));
}

/// The length on the face over that in the drawing at one place of a piece.
template <class Surface> double stretch_at(Surface const& surface, DrawnShape::Piece const& piece, double s) {
    auto const drawn = std::visit([&](auto const& p) { return p.at(Taylor<double, 1>::variable(s)); }, piece);
    auto const p = surface.at(drawn.x, drawn.y).position;
    return norm(Direction<Part>{p.x.derivative(1), p.y.derivative(1), p.z.derivative(1)});
}

/// The extremes of the stretch over pieces whose arc lengths on the face begin at `starts`.
template <class Surface>
Stretch stretch_of(Surface const& surface, std::vector<DrawnShape::Piece> const& pieces,
                   std::vector<double> const& starts) {
    Stretch all{std::numeric_limits<double>::infinity(), 0, 0, 0};
    for (std::size_t i = 0; i < pieces.size(); ++i) {
        double const length = std::visit([](auto const& p) { return p.length(); }, pieces[i]);
        int const steps = std::holds_alternative<CurvePiece>(pieces[i]) ? 2 : 64;
        for (int k = 0; k <= steps; ++k) {
            double const share = static_cast<double>(k) / steps;
            double const stretch = stretch_at(surface, pieces[i], share * length);
            double const s = starts[i] + share * (starts[i + 1] - starts[i]);
            if (stretch < all.least) {
                all.least = stretch;
                all.least_at = s;
            }
            if (stretch > all.most) {
                all.most = stretch;
                all.most_at = s;
            }
        }
    }
    return all;
}

} // namespace detail

/// A shape laid on any face by the face's own coordinates, stored by the arc length on the face, so that the
/// spot's speed along it is on the face. On a plane, a cylinder or a cone nothing stretches; on others the
/// stretch is reported. The path runs on by `overrun`, m of the drawing, at both ends, for a weave that
/// swings along and for derivatives there. |dp/ds| = 1 and all components are met to 3e-13. Throws BadInput
/// where the face folds the seam to nothing or is not finite.
template <class Surface> Laid lay(DrawnShape const& shape, Surface const& surface, double overrun = 2e-3) {
    if (!(overrun > 0) || !is_finite(overrun))
        throw BadInput("a path's overrun must be above 0; given was " + detail::text_of(overrun) + " m");
    auto const& pieces = shape.pieces();
    auto const before = shape.before();
    auto const after = shape.after();
    std::size_t const n = pieces.size();
    // Stretches: overrun, the pieces, a little more of the last for its derivatives at the end, overrun.
    double const little = std::min(1e-7, overrun / 2);
    std::vector<double> widths{overrun};
    for (auto const& piece : pieces)
        widths.push_back(std::visit([](auto const& p) { return p.length(); }, piece));
    widths.push_back(little);
    widths.push_back(overrun);
    using detail::face_along; // or the face's own
    detail::LaidCurve const curve = [&](std::size_t stretch, double u) {
        auto const& piece = stretch == 0      ? before
                            : stretch <= n    ? pieces[stretch - 1]
                            : stretch > n + 1 ? after
                                              : pieces[n - 1];
        double const local = stretch == 0       ? u - overrun
                             : stretch == n + 1 ? widths[n] + u
                             : stretch == n + 2 ? little + u
                                                : u;
        auto const s = Taylor<double, 4>::variable(local);
        return face_along(surface, std::visit([&](auto const& p) { return p.at(s); }, piece)).components();
    };
    auto made = by_arc_length<LaidPath::components, 3>(curve, widths);
    auto const& at = made.stretch_start;
    double const start = at[1];
    std::vector<double> starts; // of the pieces, on the face
    for (std::size_t i = 1; i <= n + 1; ++i)
        starts.push_back(at[i] - start);
    auto const stretch = detail::stretch_of(surface, pieces, starts);
    double const beyond = made.length() - at[n + 1];
    return {detail::path_of(std::move(made), start, beyond), stretch};
}

} // namespace seamhold

#endif
