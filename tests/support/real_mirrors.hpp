#ifndef SEAMHOLD_TESTS_SUPPORT_REAL_MIRRORS_HPP
#define SEAMHOLD_TESTS_SUPPORT_REAL_MIRRORS_HPP

#include "seamhold/head/traced_mirrors.hpp"
#include "seamhold/number/units.hpp"
#include "support/mirror_trace.hpp"
#include "support/random.hpp"

#include <cmath>

// Misaligned mirrors as plain numbers, their beam traced by vectors alone (Rodrigues' formula and `reflected`
// of mirror_trace.hpp, nothing of the library), and the same numbers as the library takes them.

namespace seamhold::test {

/// A mirror in plain numbers, as `TurningMirror` means them.
struct PlainMirror {
    Vector<> pivot, axis, normal;
    double offset, turn;
};

/// Two mirrors and the beam that enters.
struct PlainMirrors {
    Vector<> entry, incoming;
    PlainMirror first, last;
};

template <class Real> Vector<Real> vector_cast(Vector<> const& v) {
    return {Real(v.x), Real(v.y), Real(v.z)};
}

template <class Real> Vector<Real> cross_product(Vector<Real> const& a, Vector<Real> const& b) {
    return {Real(a.y * b.z - a.z * b.y), Real(a.z * b.x - a.x * b.z), Real(a.x * b.y - a.y * b.x)};
}

/// A vector turned by an angle about a unit axis by the right-hand rule: Rodrigues' formula.
template <class Real>
Vector<Real> turned_about(Vector<Real> const& axis, Vector<Real> const& v, Real const& angle) {
    using std::cos;
    using std::sin;
    Real const c = cos(angle), s = sin(angle), rest = Real(1) - c;
    return times(c, v) + times(s, cross_product(axis, v)) + times(Real(rest * product(axis, v)), axis);
}

/// A beam traced through two mirrors, with what stands on its way.
template <class Real = double> struct RealTrace {
    Line<Real> between;       ///< from the point on the first mirror
    Line<Real> leaving;       ///< from the point on the last mirror
    Vector<Real> first, last; ///< normals
    Real before, apart; ///< from the entry to the first mirror, from there to the last; negative: backwards
};

/// The beam at two commanded angles.
template <class Real> RealTrace<Real> traced(PlainMirrors const& m, Real const& x, Real const& y) {
    struct Surface {
        Vector<Real> place, normal;
    };
    auto const surface = [](PlainMirror const& mirror, Real const& command) {
        // A unit vector of doubles has length 1 to their last bit; with more digits that bit shows.
        auto const axis = vector_cast<Real>(mirror.axis), normal = vector_cast<Real>(mirror.normal);
        auto const n =
            turned_about(times(Real(1 / length(axis)), axis), times(Real(1 / length(normal)), normal),
                         Real(Real(mirror.turn) * command));
        return Surface{vector_cast<Real>(mirror.pivot) + times(Real(mirror.offset), n), n};
    };
    auto const first = surface(m.first, x), last = surface(m.last, y);
    auto const incoming = vector_cast<Real>(m.incoming);
    Line<Real> const entering{vector_cast<Real>(m.entry), times(Real(1 / length(incoming)), incoming)};
    auto const between = reflected(entering, first.place, first.normal);
    auto const leaving = reflected(between, last.place, last.normal);
    return {between,
            leaving,
            first.normal,
            last.normal,
            product(between.point - entering.point, entering.direction),
            product(leaving.point - between.point, between.direction)};
}

/// The ideal pair, a distance apart.
inline PlainMirrors plain_pair(double separation) {
    double const h = std::sqrt(0.5);
    return {{0, -separation, 0},
            {1, 0, 0},
            {{0, -separation, 0}, {0, 0, 1}, {-h, h, 0}, 0, -1},
            {{0, 0, 0}, {1, 0, 0}, {0, -h, h}, 0, -1}};
}

/// Mirrors out of true: every unit vector tilted by up to `tilt`, rad, every place and surface moved by up to
/// `shift`, m, every turn off by up to the part `gain`, and either direction of turning.
inline PlainMirrors random_mirrors(Random& random, double separation, double tilt, double shift,
                                   double gain) {
    auto m = plain_pair(separation);
    auto const tilted = [&](Vector<>& v) {
        auto const about = random.on_sphere<3>();
        v = turned_about({about[0], about[1], about[2]}, v, random.uniform(0, tilt));
        v = times(1 / length(v), v);
    };
    auto const moved = [&](Vector<>& v) {
        auto const to = random.on_sphere<3>();
        v = v + times(random.uniform(0, shift), Vector<>{to[0], to[1], to[2]});
    };
    moved(m.entry);
    tilted(m.incoming);
    for (auto* mirror : {&m.first, &m.last}) {
        moved(mirror->pivot);
        tilted(mirror->axis);
        tilted(mirror->normal);
        mirror->offset = random.uniform(-shift, shift);
        mirror->turn = (random.unit() < 0.5 ? -1 : 1) * random.uniform(1 - gain, 1 + gain);
    }
    return m;
}

/// As the library takes it.
inline Point<Head> point_of(Vector<> const& v) { return {v.x, v.y, v.z}; }
inline Direction<Head> direction_of(Vector<> const& v) { return {v.x, v.y, v.z}; }
inline Vector<> vector_of(Point<Head> const& p) { return {p.x, p.y, p.z}; }
inline Vector<> vector_of(Direction<Head> const& d) { return {d.x, d.y, d.z}; }
inline TurningMirror<> mirror_of(PlainMirror const& m) {
    return {point_of(m.pivot), direction_of(m.axis), direction_of(m.normal), m.offset, m.turn};
}
inline TracedMirrors<> mirrors_of(PlainMirrors const& m) {
    return traced_mirrors(point_of(m.entry), direction_of(m.incoming), mirror_of(m.first), mirror_of(m.last));
}

} // namespace seamhold::test

#endif
