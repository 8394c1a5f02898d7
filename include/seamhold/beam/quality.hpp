#ifndef SEAMHOLD_BEAM_QUALITY_HPP
#define SEAMHOLD_BEAM_QUALITY_HPP

#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/number.hpp"

#include <cmath>
#include <numbers>
#include <string>

namespace seamhold {

namespace detail {
/// Refuses a value of a beam or of its optics.
[[noreturn]] inline void refuse_beam(std::string const& what, double given, std::string const& allowed) {
    throw BadInput(what + " of " + text_of(given) + " is not possible: it must be " + allowed);
}

/// Refuses what is not a finite number above 0.
template <class S> void need_above_zero(std::string const& what, S const& given) {
    if (!(value_of(given) > 0) || !is_finite(given))
        refuse_beam(what, value_of(given), "above 0");
}
} // namespace detail

/// How well a beam can be focused: what no lens without errors changes. Widths are second-moment widths: the
/// diameter is four standard deviations of the power density, which is where a Gaussian beam has fallen to
/// 1/e², and is the full width of an evenly filled disc. Definitions after ISO 11146-1 (from memory).
template <class S = double> struct BeamQuality {
    S wavelength; ///< λ, m
    S m_squared;  ///< M², 1 for the beam that is limited by diffraction alone, above 1 for any other

    /// Waist radius times half divergence, λM²/π, in m·rad (1e-6 m·rad is 1 mm·mrad).
    S beam_parameter_product() const {
        return wavelength * m_squared * detail::factor<S>(1 / std::numbers::pi);
    }

    /// A beam of this wavelength, m, and M². Throws BadInput for a wavelength that is not above 0 and at most
    /// 0.1 mm, or an M² below 1 (a millionth is let pass, for roundings).
    static BeamQuality from_m2(S const& wavelength, S const& m_squared) {
        if (!(value_of(wavelength) > 0) || !(value_of(wavelength) <= 1e-4) || !is_finite(wavelength))
            detail::refuse_beam("a wavelength (m)", value_of(wavelength), "above 0 and at most 1e-4");
        if (!(value_of(m_squared) >= 1 - 1e-6) || !is_finite(m_squared))
            detail::refuse_beam("an M2", value_of(m_squared), "1 or more");
        return {wavelength, m_squared};
    }

    /// A beam of this wavelength, m, and beam parameter product, m·rad: M² = π·BPP/λ. Throws BadInput for a
    /// wavelength as above, or a product below λ/π, which no beam has.
    static BeamQuality from_beam_parameter_product(S const& wavelength, S const& product) {
        (void)from_m2(wavelength, number_cast<S>(1));
        S const m_squared = product * detail::factor<S>(std::numbers::pi) / wavelength;
        if (!(value_of(m_squared) >= 1 - 1e-6) || !is_finite(m_squared))
            detail::refuse_beam("a beam parameter product (m rad)", value_of(product),
                                "the wavelength over pi, " +
                                    detail::text_of(value_of(wavelength) / std::numbers::pi) + ", or more");
        return {wavelength, m_squared};
    }

    /// The beam from a fibre's end: core diameter, m, evenly filled, and half divergence in air, rad (second
    /// moments). BPP = core diameter / 2 · half divergence. Throws BadInput for a diameter that is not above
    /// 0, a half divergence that is not above 0 and at most 0.5 rad, or a product below λ/π.
    static BeamQuality from_fibre_half_divergence(S const& wavelength, S const& core_diameter,
                                                  S const& half_divergence) {
        detail::need_above_zero("a core diameter (m)", core_diameter);
        if (!(value_of(half_divergence) > 0) || !(value_of(half_divergence) <= 0.5) ||
            !is_finite(half_divergence))
            detail::refuse_beam("a half divergence (rad)", value_of(half_divergence),
                                "above 0 and at most 0.5");
        return from_beam_parameter_product(wavelength,
                                           core_diameter * detail::factor<S>(0.5) * half_divergence);
    }

    /// As above, with the numerical aperture that the light fills: half divergence = arcsin NA. The aperture
    /// that a fibre could guide is more than most lasers fill, so that this is a bound; measure the
    /// divergence where it counts. Throws BadInput as above, and for an aperture that is not above 0 and at
    /// most 0.47.
    static BeamQuality from_fibre(S const& wavelength, S const& core_diameter, S const& numerical_aperture) {
        using std::asin;
        if (!(value_of(numerical_aperture) > 0) || !(value_of(numerical_aperture) <= 0.47) ||
            !is_finite(numerical_aperture))
            detail::refuse_beam("a numerical aperture", value_of(numerical_aperture),
                                "above 0 and at most 0.47");
        return from_fibre_half_divergence(wavelength, core_diameter, S(asin(numerical_aperture)));
    }
};

} // namespace seamhold

#endif
