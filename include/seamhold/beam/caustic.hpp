#ifndef SEAMHOLD_BEAM_CAUSTIC_HPP
#define SEAMHOLD_BEAM_CAUSTIC_HPP

#include "seamhold/beam/quality.hpp"

#include <cmath>
#include <numbers>

namespace seamhold {

/// The envelope of a focused beam along its path: w(z) = w0 √(1 + ((z − z0)/zR)²), the same as
/// d² = d0² + Θ²(z − z0)² with diameters and the full divergence Θ. Places z are counted along the beam from
/// whatever the maker says; behind a head, along the optical path from the first mirror. Source: ISO 11146-1
/// (from memory). Every function is finite and smooth for finite places, at every type of number, and right
/// to a few units in the last place.
template <class S = double> struct Caustic {
    S waist_radius;    ///< w0, half the second-moment diameter at the narrowest place, m, above 0
    S rayleigh_length; ///< zR, from the waist to where the beam's area has doubled, m, above 0
    S waist_place;     ///< z0, where along the beam the waist lies, m

    /// How far a place, m, lies beyond the waist, in Rayleigh lengths; negative before it.
    template <class T> Common<S, T> defocus_in_rayleigh_lengths(T const& place) const {
        using R = Common<S, T>;
        return (number_cast<R>(place) - operand<R>(waist_place)) / operand<R>(rayleigh_length);
    }

    /// The beam's radius at a place, m.
    template <class T> Common<S, T> radius(T const& place) const {
        using std::sqrt;
        using R = Common<S, T>;
        return sqrt(sqr(defocus_in_rayleigh_lengths(place)) + detail::factor<R>(1)) *
               operand<R>(waist_radius);
    }

    /// Half the divergence far from the waist, w0/zR, rad: the slope of the envelope, in the small-angle
    /// sense of ISO 11146-1.
    S half_divergence() const { return waist_radius / rayleigh_length; }

    /// Waist radius times half divergence, m·rad.
    S beam_parameter_product() const { return sqr(waist_radius) / rayleigh_length; }

    /// M² at a wavelength, m: π w0²/(λ zR).
    template <class T> Common<S, T> m_squared(T const& wavelength) const {
        using R = Common<S, T>;
        return number_cast<R>(beam_parameter_product()) * detail::factor<R>(std::numbers::pi) /
               operand<R>(wavelength);
    }

    /// How far to either side of the waist the radius stays below `factor` times that of the waist, m:
    /// zR √(factor² − 1). For a factor of 1 or less it is 0.
    S depth(double factor) const {
        return rayleigh_length * detail::factor<S>(factor > 1 ? std::sqrt((factor - 1) * (factor + 1)) : 0.0);
    }
};

/// The caustic of a beam with this waist radius, m, at this place, m: zR = π w0²/(λM²) = w0²/BPP. Throws
/// BadInput for a radius that is not above 0 or a place that is not finite.
template <class S>
Caustic<S> caustic_from_waist(BeamQuality<S> const& quality, S const& waist_radius, S const& waist_place) {
    detail::need_above_zero("a waist radius (m)", waist_radius);
    if (!is_finite(waist_place))
        detail::refuse_beam("a waist's place (m)", value_of(waist_place), "finite");
    return {waist_radius, sqr(waist_radius) / quality.beam_parameter_product(), waist_place};
}

/// The caustic of a beam with this half divergence, rad, and its waist at this place, m: w0 = BPP / half
/// divergence. Throws BadInput for a half divergence that is not above 0 or a place that is not finite.
template <class S>
Caustic<S> caustic_from_half_divergence(BeamQuality<S> const& quality, S const& half_divergence,
                                        S const& waist_place) {
    detail::need_above_zero("a half divergence (rad)", half_divergence);
    return caustic_from_waist(quality, S(quality.beam_parameter_product() / half_divergence), waist_place);
}

} // namespace seamhold

#endif
