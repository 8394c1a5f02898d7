#ifndef SEAMHOLD_BEAM_OPTICS_HPP
#define SEAMHOLD_BEAM_OPTICS_HPP

#include "seamhold/beam/caustic.hpp"

namespace seamhold {

/// The radius of a beam behind a collimator, m: focal length, m, times the half divergence, rad, of the light
/// from the fibre's end in its focus. Small angles: sine, angle and tangent differ by 0.5 % at 0.1 rad.
template <class S> S collimated_radius(S const& half_divergence, S const& focal_length) {
    return half_divergence * focal_length;
}

/// How many times larger than the fibre's core its image in the focus is: focal length of the focusing optic
/// over that of the collimator, both in m. Thin lenses, collimated light between them.
template <class S> S core_magnification(S const& focusing_length, S const& collimator_length) {
    return focusing_length / collimator_length;
}

namespace detail {
/// A caustic whose waist lies `distance` behind an optic where the beam has `radius`: half angle = a/b,
/// w0 = BPP b/a, zR = BPP b²/a². No check.
template <class T, class Q, class A>
Caustic<T> focused(BeamQuality<Q> const& quality, A const& radius, T const& distance, T const& waist_place) {
    T const reach = distance / operand<T>(radius);
    T const waist_radius = reach * operand<T>(quality.beam_parameter_product());
    return {waist_radius, waist_radius * reach, waist_place};
}
} // namespace detail

/// The beam in a head whose focus is set before the mirrors: the last optic stands ahead of the first mirror
/// and the beam has a given radius a in it. The further the focus, b from that optic, the larger the spot:
/// half angle a/b, w0 = BPP b/a, zR = BPP b²/a². Places are counted along the optical path from the first
/// mirror, as in `Ray`. The optic is taken as fixed, of no thickness and without errors, and w0 as small
/// against a: what is neglected is (w0/a)²/2 of the spot, 5e-5 for 0.1 mm against 10 mm. Source: paraxial
/// imaging, any text on laser optics (from memory).
template <class S = double> struct DeliveredBeam {
    BeamQuality<S> quality;
    S radius; ///< of the beam in the last optic before the mirrors, m
    S ahead;  ///< distance of that optic before the first mirror, m

    /// The caustic with the focus at this optical path from the first mirror, m. Finite for any path; the
    /// path must lie beyond the optic (focus_path > −ahead) to mean something.
    template <class T> Caustic<Common<S, T>> caustic(T const& focus_path) const {
        using R = Common<S, T>;
        R const place = number_cast<R>(focus_path);
        return detail::focused<R>(quality, radius, place + operand<R>(ahead), place);
    }

    /// The beam's radius, m, at an optical path from the first mirror, m, with the focus at another: for the
    /// footprint on the mirrors (path 0 is the first mirror, its separation is the last).
    template <class P, class T> Common<S, Common<P, T>> radius_at(P const& path, T const& focus_path) const {
        return caustic(focus_path).radius(path);
    }
};

/// The beam behind a flat-field lens after the mirrors, collimated in front of it: the focus is a focal
/// length behind the lens wherever it lies in the field, so the spot is the same all over. A lens without
/// errors.
template <class S = double> struct FlatFieldBeam {
    BeamQuality<S> quality;
    S radius;       ///< of the collimated beam before the lens, m
    S focal_length; ///< of the lens, m

    /// The caustic with the focus at this optical path from the first mirror, m, which the head knows.
    /// `shift`, m, is how far a focus axis before the mirrors has moved the focus beyond the lens's own focal
    /// plane: then b = focal length + shift.
    template <class T, class D = double>
    Caustic<Common<S, Common<T, D>>> caustic(T const& focus_path, D const& shift = 0) const {
        using R = Common<S, Common<T, D>>;
        return detail::focused<R>(quality, radius, number_cast<R>(shift) + operand<R>(focal_length),
                                  number_cast<R>(focus_path));
    }
};

/// A delivered beam as given, checked. Throws BadInput, naming the field, for a radius that is not above 0, a
/// negative distance ahead of the mirrors, or a quality that is none.
template <class S> DeliveredBeam<S> checked(DeliveredBeam<S> const& beam) {
    (void)BeamQuality<S>::from_m2(beam.quality.wavelength, beam.quality.m_squared);
    detail::need_above_zero("a beam's radius in the last optic (m)", beam.radius);
    if (!(value_of(beam.ahead) >= 0) || !is_finite(beam.ahead))
        detail::refuse_beam("a last optic's distance ahead of the first mirror (m)", value_of(beam.ahead),
                            "0 or more");
    return beam;
}

/// A beam behind a flat-field lens as given, checked. Throws BadInput, naming the field, for a radius or a
/// focal length that is not above 0, or a quality that is none.
template <class S> FlatFieldBeam<S> checked(FlatFieldBeam<S> const& beam) {
    (void)BeamQuality<S>::from_m2(beam.quality.wavelength, beam.quality.m_squared);
    detail::need_above_zero("a beam's radius before the lens (m)", beam.radius);
    detail::need_above_zero("a lens's focal length (m)", beam.focal_length);
    return beam;
}

/// The beam from a fibre through a collimator, and an optic `ahead` of the first mirror that focuses it. Core
/// diameter and collimator's focal length in m, half divergence in rad. Throws BadInput as `BeamQuality` and
/// `checked`, and for a focal length that is not above 0.
template <class S>
DeliveredBeam<S> delivered_from_fibre(S const& wavelength, S const& core_diameter, S const& half_divergence,
                                      S const& collimator_length, S const& ahead) {
    auto const quality =
        BeamQuality<S>::from_fibre_half_divergence(wavelength, core_diameter, half_divergence);
    detail::need_above_zero("a collimator's focal length (m)", collimator_length);
    return checked(DeliveredBeam<S>{quality, collimated_radius(half_divergence, collimator_length), ahead});
}

} // namespace seamhold

#endif
