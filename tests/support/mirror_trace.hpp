#ifndef SEAMHOLD_TESTS_SUPPORT_MIRROR_TRACE_HPP
#define SEAMHOLD_TESTS_SUPPORT_MIRROR_TRACE_HPP

#include <cmath>

// A beam through two turning mirrors by vectors alone: a line meets a plane, r = d − 2 (d·n) n, twice. It
// shares nothing with the library: no closed form of the pair, none of its types. Real is any type with + − ×
// ÷ and sin, cos and sqrt found by its argument: double, or fifty digits of Boost.Multiprecision.

namespace seamhold::test {

/// Three coordinates.
template <class Real = double> struct Vector { Real x, y, z; };

template <class Real> Vector<Real> operator+(Vector<Real> const& a, Vector<Real> const& b) {
    return {Real(a.x + b.x), Real(a.y + b.y), Real(a.z + b.z)};
}
template <class Real> Vector<Real> operator-(Vector<Real> const& a, Vector<Real> const& b) {
    return {Real(a.x - b.x), Real(a.y - b.y), Real(a.z - b.z)};
}
template <class Real> Vector<Real> times(Real const& k, Vector<Real> const& a) {
    return {Real(k * a.x), Real(k * a.y), Real(k * a.z)};
}
template <class Real> Real product(Vector<Real> const& a, Vector<Real> const& b) {
    return Real(a.x * b.x + a.y * b.y + a.z * b.z);
}
template <class Real> Real length(Vector<Real> const& a) {
    using std::sqrt;
    return Real(sqrt(product(a, a)));
}

/// A line with a unit direction.
template <class Real = double> struct Line {
    Vector<Real> point;
    Vector<Real> direction;
};

/// r = d − 2 (d·n) n for a unit normal n.
template <class Real> Vector<Real> reflected(Vector<Real> const& d, Vector<Real> const& n) {
    return d - times(Real(2 * product(d, n)), n);
}

/// A line that meets the plane through `place` with the unit normal n and is reflected there.
template <class Real>
Line<Real> reflected(Line<Real> const& line, Vector<Real> const& place, Vector<Real> const& n) {
    Real const way = product(place - line.point, n) / product(line.direction, n);
    return {line.point + times(way, line.direction), reflected(line.direction, n)};
}

/// The distance of a point from a line.
template <class Real> Real distance(Vector<Real> const& p, Line<Real> const& line) {
    auto const d = p - line.point;
    return length(d - times(product(d, line.direction), line.direction));
}

/// What leaves the last mirror, and how far it came from the first.
template <class Real = double> struct TracedBeam {
    Line<Real> line; ///< from the point on the last mirror
    Real path;       ///< from the point on the first mirror to that on the last
};

/// The beam that enters along +x, meets the first mirror at (0, −separation, 0), whose axis is z and whose
/// normal at rest is (−1, 1, 0)/√2, and then the last mirror at the origin, whose axis is x and whose normal
/// at rest is (0, −1, 1)/√2. Both turn by the negative of the angle given.
template <class Real>
TracedBeam<Real> traced(Real const& separation, Real const& x_mirror, Real const& y_mirror) {
    using std::cos;
    using std::sin;
    using std::sqrt;
    Real const zero = 0, half = 1 / sqrt(Real(2));
    Real const cx = cos(x_mirror), sx = sin(x_mirror), cy = cos(y_mirror), sy = sin(y_mirror);
    // Turned by −θ: about z (x, y) → (c x + s y, −s x + c y); about x (y, z) → (c y + s z, −s y + c z).
    Vector<Real> const first{Real(half * (sx - cx)), Real(half * (sx + cx)), zero};
    Vector<Real> const last{zero, Real(half * (sy - cy)), Real(half * (sy + cy))};
    Vector<Real> const first_place{zero, Real(-separation), zero};
    Line<Real> const entering{{Real(-1), Real(-separation), zero}, {Real(1), zero, zero}};
    auto const between = reflected(entering, first_place, first);
    auto const leaving = reflected(between, Vector<Real>{zero, zero, zero}, last);
    return {leaving, length(leaving.point - between.point)};
}

} // namespace seamhold::test

#endif
