#ifndef SEAMHOLD_BEAM_SPOT_HPP
#define SEAMHOLD_BEAM_SPOT_HPP

#include "seamhold/beam/caustic.hpp"
#include "seamhold/frame/point.hpp"
#include "seamhold/head/command.hpp"

#include <cmath>
#include <numbers>

namespace seamhold {

/// The spot that a beam makes on a face: an ellipse, in the head's frame. Everything here is smooth in beam
/// and face, at perpendicular incidence too, but for `long_way`.
template <class T = double> struct Spot {
    Point<Head, T> axis;     ///< where the beam's axis meets the face, m
    Point<Head, T> centre;   ///< of the ellipse, m; off `axis` where the beam widens or narrows
    Direction<Head, T> lean; ///< the beam's direction less its part along the normal; length sin(incidence)
    T beam_radius;           ///< of the beam across its axis, where the axis meets the face, m
    T semi_minor;            ///< half the ellipse's short axis, across `lean`, m
    T semi_major;            ///< half its long axis, along `lean`, m
    T stretch;               ///< (semi_major² / semi_minor² − 1) / sin²(incidence), without the division
    T defocus;               ///< how far the face lies beyond the waist, in Rayleigh lengths
    T cos_incidence;         ///< 1 perpendicular; 0 or less where the light does not fall on the face's front
    T closed;                ///< above 0 where every ray meets the face, so that the section is an ellipse

    /// Whether the light falls on the front and makes an ellipse. Where not, the numbers are finite and mean
    /// nothing.
    bool usable() const { return value_of(cos_incidence) > 0 && value_of(closed) > 0; }

    /// The direction of the long axis on the face with this unit normal: unit, in the face, the way the light
    /// goes on. Right to about 2e-16 / sin(incidence), in float 1e-7 / sin(incidence). Below a sine of 1e-12
    /// the ellipse is a circle and has no long axis; then it is any direction in the face, and its
    /// derivatives are those of the normal only.
    template <class N> Direction<Head, T> long_way(Direction<Head, N> const& face_normal) const {
        using std::sqrt;
        auto const normal = number_cast<T>(face_normal);
        T const square = squared_norm(lean);
        auto const leans = square > 1e-24;
        T const zero = number_cast<T>(0), one = number_cast<T>(1);
        auto const aside = sqr(normal.x) < 0.5;
        Direction<Head, T> const any =
            unit(cross(normal, Direction<Head, T>{select(aside, one, zero), select(aside, zero, one), zero}));
        T const inverse = one / sqrt(select(leans, square, one));
        return {select(leans, inverse * lean.x, any.x), select(leans, inverse * lean.y, any.y),
                select(leans, inverse * lean.z, any.z)};
    }

    /// From the centre to the ellipse's edge along a unit direction in the face, m.
    template <class U> Common<T, U> radius_towards(Direction<Head, U> const& towards) const {
        using std::sqrt;
        using R = Common<T, U>;
        // 1/r² = cos²φ/major² + sin²φ/minor²
        R const part = sqr(R(dot(lean, towards)) * operand<R>(semi_minor) / operand<R>(semi_major));
        return number_cast<R>(semi_minor) / sqrt(number_cast<R>(1) - part * operand<R>(stretch));
    }

    /// Half the width of the ellipse as measured along a unit direction in the face, m: with `along` across
    /// the seam, half the width of the track.
    template <class U> Common<T, U> half_width(Direction<Head, U> const& along) const {
        using std::sqrt;
        using R = Common<T, U>;
        return sqrt(sqr(R(dot(lean, along))) * operand<R>(stretch) + detail::factor<R>(1)) *
               operand<R>(semi_minor);
    }

    /// π · semi_minor · semi_major, m².
    T area() const { return semi_minor * semi_major * detail::factor<T>(std::numbers::pi); }

    /// Power, W, over the ellipse's area, W/m²: that of a beam of even power density (a top hat) all over its
    /// spot.
    template <class P> Common<T, P> mean_power_density(P const& power) const {
        using R = Common<T, P>;
        return number_cast<R>(power) / operand<R>(area());
    }

    /// Power density in the middle of a Gaussian beam's spot, W/m²: 2P/(π a b).
    template <class P> Common<T, P> gaussian_peak_power_density(P const& power) const {
        return mean_power_density(power) * detail::factor<Common<T, P>>(2);
    }
};

/// The share of a Gaussian beam's power inside a circle of this radius about its axis, both in m:
/// 1 − exp(−2r²/w²). Right to 2e-16 of the whole power. Source: the integral of 2P/(πw²) exp(−2r²/w²).
template <class A, class B> Common<A, B> gaussian_share_inside(A const& radius, B const& beam_radius) {
    using std::exp;
    using T = Common<A, B>;
    T const ratio = number_cast<T>(radius) / operand<T>(beam_radius);
    return number_cast<T>(1) - exp(sqr(ratio) * detail::factor<T>(-2));
}

namespace detail {

/// What both kinds of spot share. `bend` is 1 for the exact section and 0 for the first order in the slope.
template <class T, class R, class S, class P, class N>
Spot<T> spot_of(Ray<R> const& ray, Caustic<S> const& caustic, Point<Head, P> const& point,
                Direction<Head, N> const& normal, double bend) {
    using std::sqrt;
    Direction<Head, T> const beam = number_cast<T>(ray.direction);
    Direction<Head, T> const n = number_cast<T>(normal);
    Point<Head, T> const origin = number_cast<T>(ray.origin);
    Spot<T> spot;
    spot.cos_incidence = -dot(beam, n);
    spot.lean = beam + spot.cos_incidence * n;
    T const least = number_cast<T>(1e-6); // the least cosine that a division is asked for
    T const cosine = select(spot.cos_incidence > least, spot.cos_incidence, least);
    T const way = -dot(number_cast<T>(point) - origin, n) / cosine;
    spot.axis = origin + way * beam;
    T const place = way + operand<T>(ray.path);
    spot.defocus = caustic.defocus_in_rayleigh_lengths(place);
    spot.beam_radius = caustic.radius(place);

    // In the face, v along `lean` and u across it: v² cos² + u² = w0² + τ²(ζ + v sin)², with the slope
    // τ = w0/zR and ζ beyond the waist. With k = cos² − τ² sin² that is u² + k (v − v_c)² = w² + (τ²ζ)²
    // sin²/k, v_c = τ²ζ sin/k.
    T const slope_squared = number_cast<T>(sqr(caustic.half_divergence()));
    T const growth = spot.defocus * operand<T>(caustic.beam_parameter_product()); // τ²ζ = w dw/dz
    T const sine_squared = squared_norm(spot.lean);
    T const bent = slope_squared * factor<T>(bend);
    spot.closed = sqr(spot.cos_incidence) - bent * sine_squared;
    T const k = select(spot.closed > sqr(least), spot.closed, sqr(least));
    T const shift = growth / k;
    spot.centre = spot.axis + shift * spot.lean;
    spot.semi_minor = sqrt(sqr(spot.beam_radius) + growth * shift * sine_squared * factor<T>(bend));
    spot.semi_major = spot.semi_minor / sqrt(k);
    spot.stretch = (bent + factor<T>(1)) / k;
    return spot;
}

} // namespace detail

/// The spot of a beam on the face through `point` (m, any point of the face) with this unit normal, to first
/// order in the slope of the beam's envelope: semi-axes w and w/cos(incidence), centre off the axis by
/// w w′ sin/cos² along the lean. The semi-axes are off by about (slope · tan(incidence))² of themselves, 1e-4
/// for 10 mrad at 45°. The caustic's places are counted like the ray's path. Light that does not fall on the
/// front of the face gives finite numbers that mean nothing: see `usable`.
template <class R, class S, class P, class N>
Spot<Common<Common<R, S>, Common<P, N>>> spot_on(Ray<R> const& ray, Caustic<S> const& caustic,
                                                 Point<Head, P> const& point,
                                                 Direction<Head, N> const& normal) {
    return detail::spot_of<Common<Common<R, S>, Common<P, N>>>(ray, caustic, point, normal, 0);
}

/// The exact section of the beam's envelope, the surface of radius w(z) about the axis, with the face; a cone
/// is the case of a waist that is small against the spot. Arguments as `spot_on`. Exact to rounding.
template <class R, class S, class P, class N>
Spot<Common<Common<R, S>, Common<P, N>>> section_on(Ray<R> const& ray, Caustic<S> const& caustic,
                                                    Point<Head, P> const& point,
                                                    Direction<Head, N> const& normal) {
    return detail::spot_of<Common<Common<R, S>, Common<P, N>>>(ray, caustic, point, normal, 1);
}

} // namespace seamhold

#endif
