#ifndef SEAMHOLD_HEAD_OPEN_BEAM_HPP
#define SEAMHOLD_HEAD_OPEN_BEAM_HPP

#include "seamhold/head/traced_mirrors.hpp"

#include <array>
#include <cmath>

namespace seamhold {

/// The objective of a head whose beam goes from the last mirror straight to the work: the focusing optics all
/// stand before the mirrors. An objective says what becomes of the beam behind the mirrors, and along what
/// the focus is counted.
struct OpenBeam {
    /// The beam at the work; `focus_path` is left 0.
    template <class T> [[gnu::always_inline]] Ray<T> beam(MirrorTrace<T> const& way) const {
        return {way.on_last, way.leaving, way.path, number_cast<T>(0)};
    }

    /// What the focus axis must be told, from the optical path to the focus: the path itself.
    template <class B, class T> T focus_setting(Ray<B> const& /*beam*/, T const& path) const { return path; }

    /// The optical path to the focus from what the focus axis was told.
    template <class T> T focus_path(Ray<T> const& /*beam*/, T const& setting) const { return setting; }

    /// How far p is in front of the head, m.
    template <class T> T in_front(Point<Head, T> const& p) const { return p.z; }

    /// Which part of what the objective takes a beam along a direction leaves, 0 at its limit: all.
    template <class T> T angle_clearance(Direction<Head, T> const& /*d*/) const { return number_cast<T>(1); }

    /// The same objective without what its numbers carry beside their values.
    OpenBeam on_doubles() const { return {}; }

    /// From p to the end of the objective's own usable depth: it has none.
    template <class T> T depth_clearance(Point<Head, T> const& /*p*/) const { return number_cast<T>(1); }

    /// z of the plane in which the focus lies without deflection at this focus setting, m, for mirrors a
    /// distance apart.
    double focal_plane(double setting, double separation) const { return setting - separation; }

    /// What the start is fitted in: the angles of an ideal pair this far apart, and the reciprocal distance.
    std::array<double, 3> start_numbers(Point<Head> const& p, double separation) const {
        double const z = p.z > 1e-9 ? p.z : 1e-9;
        return {atan_ratio(p.x, separation + std::sqrt(sqr(p.y) + sqr(z))) / 2, atan_ratio(p.y, z) / 2,
                1 / z};
    }
};

} // namespace seamhold

#endif
