#ifndef SEAMHOLD_SURFACE_SPHERE_HPP
#define SEAMHOLD_SURFACE_SPHERE_HPP

#include "seamhold/number/lift.hpp"
#include "seamhold/number/polynomial.hpp"
#include "seamhold/surface/surface.hpp"

#include <array>
#include <cstddef>

namespace seamhold {

namespace detail {

/// 1/b! − q/(b+2)! + q²/(b+4)! − …: sin φ / φ for b = 1 and (1 − cos φ) / φ² for b = 2, both of q = φ², where
/// they are smooth through 0. With doubles 18 terms, to 1e-15 for |φ| ≤ π; with a scalar of more digits 50.
template <int B, class T> [[gnu::always_inline]] inline T even_series(T const& q) {
    if constexpr (BuiltIn<typename BottomOf<T>::type>) {
        constexpr auto terms = [] {
            std::array<double, 18> c{};
            double term = B == 1 ? 1.0 : 0.5;
            for (std::size_t k = 0; k < c.size(); ++k) {
                c[k] = term;
                auto const n = static_cast<double>(2 * k + B);
                term = -term / ((n + 1) * (n + 2));
            }
            return c;
        }();
        return polynomial_at(terms, q);
    } else {
        T const one = number_cast<T>(1);
        T sum = one;
        for (int n = B + 98; n > B; n -= 2)
            sum = one - q * sum / factor<T>(n * (n - 1));
        return sum / factor<T>(B);
    }
}

} // namespace detail

/// A ball, seen from outside or inside. The face's origin lies on it and (x, y) are geodesic polar
/// coordinates: with ρ = √(x² + y²), a straight line through the origin is a great circle, of its own length,
/// in its own direction:
///     p = (x sin φ/φ, y sin φ/φ, −R (1 − cos φ)),   n = (x/R · sin φ/φ, y/R · sin φ/φ, cos φ),   φ = ρ/R,
/// in the face's frame, R being the signed radius. What runs around the origin is shorter than drawn, by the
/// factor sin φ/φ (1 − φ²/6 …). Smooth through the origin; meant for ρ ≤ π|R|, where the face is used up.
template <class S = double> struct Sphere {
    static constexpr bool isometric = false;

    Pose<Part, Face, S> part_from_face;
    S radius; ///< m; above 0 seen from outside (convex), below 0 from inside (concave)

    /// The point at (x, y), m, and the normal.
    template <class T> [[gnu::always_inline]] SurfacePoint<Common<S, T>> at(T const& x, T const& y) const {
        using R = Common<S, T>;
        R const u = x / operand<T>(radius), v = y / operand<T>(radius);
        R const q = sqr(u) + sqr(v);
        R const sine = detail::even_series<1>(q);
        R const versine = detail::even_series<2>(q) * q;
        Direction<Face, R> const normal{u * sine, v * sine, number_cast<R>(1) - versine};
        return {part_from_face * Point<Face, R>{sine * x, sine * y, -(versine * operand<R>(radius))},
                part_from_face * normal};
    }
};

/// A sphere by where its face stands and its signed radius, m. Throws BadInput where a number is not finite
/// or the radius is 0.
inline Sphere<> sphere_at(Pose<Part, Face> const& part_from_face, double radius) {
    detail::check_face_pose(part_from_face);
    detail::check_signed_radius(radius, "a sphere's radius");
    return {part_from_face, radius};
}

/// A sphere by its centre and a touched point, which becomes the face's origin, where x runs as `along_x`
/// does, as far as the face lets it. Throws BadInput where a number is not finite, the point is closer than 1
/// µm to the centre, or x runs along the normal.
inline Sphere<> sphere_around(Point<Part> const& centre, Point<Part> const& touched,
                              Direction<Part> const& along_x, Side side = Side::outside) {
    detail::check_place(centre, "the centre");
    detail::check_place(touched, "the touched point");
    auto const out = touched - centre;
    double const radius = norm(out);
    if (!(radius > 1e-6))
        throw BadInput("the touched point " + detail::text_in_millimetres(touched) +
                       " is the sphere's centre");
    double const sign = side == Side::outside ? 1 : -1;
    return sphere_at(face_at(touched, sign * out, along_x), sign * radius);
}

} // namespace seamhold

#endif
