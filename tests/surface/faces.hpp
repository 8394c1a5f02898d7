#ifndef SEAMHOLD_TESTS_SURFACE_FACES_HPP
#define SEAMHOLD_TESTS_SURFACE_FACES_HPP

#include "seamhold/surface.hpp"
#include "support/poses.hpp"
#include "support/random.hpp"

#include <boost/multiprecision/cpp_bin_float.hpp>

#include <array>
#include <string>

// Every face, convex and concave, beside plain geometry in a hundred digits: points turned about axes.

namespace seamhold::test {

using Real =
    boost::multiprecision::number<boost::multiprecision::cpp_bin_float<100>, boost::multiprecision::et_off>;
using Real3 = std::array<Real, 3>;

inline Real dot3(Real3 const& a, Real3 const& b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }
inline Real3 cross3(Real3 const& a, Real3 const& b) {
    return {a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]};
}
inline Real3 sum3(Real3 const& a, Real const& factor, Real3 const& b) {
    return {a[0] + factor * b[0], a[1] + factor * b[1], a[2] + factor * b[2]};
}
// p turned about the line through c along the unit vector k.
inline Real3 turned(Real3 const& p, Real3 const& c, Real3 const& k, Real const& angle) {
    Real3 const v = sum3(p, Real(-1), c);
    Real const cosine = cos(angle), sine = sin(angle);
    Real3 r = sum3(c, cosine, v);
    r = sum3(r, sine, cross3(k, v));
    return sum3(r, Real(dot3(k, v) * (1 - cosine)), k);
}

// The point at (x, y) in the face's own frame.
struct PlainPlane {
    Real3 at(Real const& x, Real const& y) const { return {x, y, Real(0)}; }
};
struct PlainCylinder {
    double radius;
    Real3 at(Real const& x, Real const& y) const {
        return turned({x, Real(0), Real(0)}, {Real(0), Real(0), Real(-radius)}, {Real(-1), Real(0), Real(0)},
                      y / radius);
    }
};
struct PlainCone {
    double half_angle, from_apex;
    Real3 at(Real const& x, Real const& y) const {
        Real const sine = sin(Real(half_angle)), cosine = cos(Real(half_angle)), ahead = x + from_apex;
        Real3 const apex{Real(-from_apex), Real(0), Real(0)};
        Real const reach = sqrt(ahead * ahead + y * y);
        return turned({reach - from_apex, Real(0), Real(0)}, apex, {-cosine, Real(0), sine},
                      atan2(y, ahead) / sine);
    }
};
struct PlainSphere {
    double radius;
    Real3 at(Real const& x, Real const& y) const {
        Real const way = sqrt(x * x + y * y);
        if (way == 0)
            return {Real(0), Real(0), Real(0)};
        return turned({Real(0), Real(0), Real(0)}, {Real(0), Real(0), Real(-radius)},
                      {-y / way, x / way, Real(0)}, way / radius);
    }
};
struct PlainTorus {
    double ring, tube;
    Real3 at(Real const& x, Real const& y) const {
        Real3 const zero{Real(0), Real(0), Real(0)};
        auto const on_tube =
            turned(zero, {Real(0), Real(0), Real(-tube)}, {Real(-1), Real(0), Real(0)}, y / tube);
        Real const round = Real(ring) + tube;
        return turned(on_tube, {Real(0), Real(0), -round}, {Real(0), Real(1), Real(0)}, x / round);
    }
};

// The same as a user would write it, for Parametric: a bump.
struct Bump {
    template <class T> Point<Part, T> operator()(T const& x, T const& y) const {
        return {x, y, (sqr(x) * 2.0 + sqr(y) * 0.5) * x - sqr(x) + x * y * 0.25};
    }
};

// What is asked of every face: `use(name, face, plain, reach)`, reach being how far x and y may go.
template <class Use> void each_face(Random& random, Use const& use) {
    auto const pose = [&] { return random_pose<Part, Face>(random, 0.5); };
    use("plane", Plane<>{pose()}, PlainPlane{}, 0.3);
    for (double const sign : {1.0, -1.0}) {
        std::string const seen = sign > 0 ? " from outside" : " from inside";
        for (double const radius : {0.01, 0.25, 40.0})
            use("cylinder" + seen, cylinder_at(pose(), sign * radius), PlainCylinder{sign * radius},
                radius < 1 ? 3 * radius : 0.5);
        for (double const half : {0.02, 0.5, 1.2}) // also where more than half of the plane is used
            use("cone" + seen, cone_at(pose(), sign * half, 0.1), PlainCone{sign * half, 0.1},
                half < 0.1 ? 0.006 : 0.06);
        use("flat end of a cone" + seen, cone_at(pose(), sign * 0.003, 30), PlainCone{sign * 0.003, 30}, 0.2);
        for (double const radius : {0.01, 0.25})
            use("sphere" + seen, sphere_at(pose(), sign * radius), PlainSphere{sign * radius}, 1.5 * radius);
        for (double const ring : {0.09, -0.09, -0.02})
            use("torus" + seen, torus_at(pose(), ring, sign * 0.03), PlainTorus{ring, sign * 0.03}, 0.03);
    }
}

} // namespace seamhold::test

#endif
