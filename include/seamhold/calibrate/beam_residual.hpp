#ifndef SEAMHOLD_CALIBRATE_BEAM_RESIDUAL_HPP
#define SEAMHOLD_CALIBRATE_BEAM_RESIDUAL_HPP

#include "seamhold/calibrate/observation.hpp"

#include <array>

/// What a beam misses, over any numbers: the formulas that every calibration with beams makes small.
namespace seamhold {

/// A point less the beam's line, in two directions across the beam, m: the squares add up to the squared
/// distance. The directions are the unit vector along d_z e_x − d_x e_z and d times it, so the beam must not
/// leave along the head's y axis. Over any numbers in the beam and in the point.
template <class R, class P>
std::array<Common<R, P>, 2> across_beam(Ray<R> const& ray, Point<Head, P> const& point) {
    using std::sqrt;
    using T = Common<R, P>;
    auto const off = point - ray.origin;
    auto const& d = ray.direction;
    R const inverse = number_cast<R>(1) / sqrt(sqr(d.x) + sqr(d.z));
    R const x = d.z * inverse; // the first direction is (x, 0, z)
    R const z = -d.x * inverse;
    return {T(x * off.x + z * off.z), T(d.y * z * off.x + (d.z * x - d.x * z) * off.y - d.y * x * off.z)};
}

/// How far a target is beside a beam, two numbers across it, m; see `across_beam`. The mount, the target and
/// the beam may each be of numbers with derivatives.
template <class M, class P, class R>
auto target_beside_beam(Pose<Cell, Flange> const& cell_from_flange,
                        Pose<Flange, Head, M> const& flange_from_head, Point<Cell, P> const& target,
                        Ray<R> const& ray) {
    return across_beam(ray, inverse_times(flange_from_head, inverse_times(cell_from_flange, target)));
}

/// Where a beam meets a plate's plane.
template <class T> struct PlaceOnPlate {
    T x;        ///< in the plate's plane, m
    T y;        ///< likewise
    T distance; ///< along the beam from where it leaves the head, m; below 0: the plate is behind
    T toward;   ///< of the beam's direction along the plate's z: below 0 it comes from the head's side
};

/// Where a beam meets the plane z = 0 of a plate. Not finite for a beam along the plate. The plate, the mount
/// and the beam may each be of numbers with derivatives.
template <class P, class M, class R>
auto place_on_plate(Pose<Cell, Plate, P> const& cell_from_plate, Pose<Cell, Flange> const& cell_from_flange,
                    Pose<Flange, Head, M> const& flange_from_head, Ray<R> const& ray) {
    auto const origin = inverse_times(cell_from_plate, cell_from_flange * (flange_from_head * ray.origin));
    auto const direction =
        inverse_times(cell_from_plate, cell_from_flange * (flange_from_head * ray.direction));
    using T = Common<P, Common<M, R>>;
    T const distance = -origin.z / direction.z;
    return PlaceOnPlate<T>{origin.x + distance * direction.x, origin.y + distance * direction.y, distance,
                           direction.z};
}

} // namespace seamhold

#endif
