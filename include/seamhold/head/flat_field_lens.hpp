#ifndef SEAMHOLD_HEAD_FLAT_FIELD_LENS_HPP
#define SEAMHOLD_HEAD_FLAT_FIELD_LENS_HPP

#include "seamhold/head/chief_ray_slope.hpp"
#include "seamhold/head/traced_mirrors.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/elementary.hpp"
#include "seamhold/number/gradient.hpp"
#include "seamhold/number/interval.hpp"
#include "seamhold/number/polynomial.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <utility>

namespace seamhold {

namespace detail {

/// tan²(π/8): where the polynomial of θ / sin θ ends, θ = 45°.
inline constexpr double flat_field_end = 0.17157287525380990;

/// θ / sin θ for the angle θ between a unit vector d and +z, smooth at the middle: with r = tan(θ/2) =
/// √(dx² + dy²)/(1 + dz), θ = 2·atan r and sin θ = r·(1 + dz), where atan r = r + r³·P(r²). `r2` is r².
template <class T> struct AngleOverSine {
    T r2;
    T ratio;

    explicit AngleOverSine(Direction<Head, T> const& d) {
        static constexpr std::array<double, 13> part = [] {
            std::array<double, 13> p{1};
            for (std::size_t i = 0; i < 12; ++i)
                p[i + 1] = arc_tangent_part[i];
            return p;
        }();
        T const zero = number_cast<T>(0.0);
        T const inverse = number_cast<T>(1.0) / (select(d.z > 0.0, d.z, zero) + factor<T>(1.0));
        r2 = (sqr(d.x) + sqr(d.y)) * sqr(inverse);
        ratio = inverse * factor<T>(2.0) * polynomial_at(part, r2);
    }
};

} // namespace detail

/// A beam behind a flat-field lens, and where it meets the focal plane.
template <class T> struct FlatFieldRay {
    Ray<T> ray; ///< starts in the lens's exit plane with path 0; focus_path 0 is the caller's to fill
    Point<Head, T> focus; ///< where the chief ray meets the focal plane, m
};

/// A lens behind the mirrors that focuses on a plane, its axis parallel to the head's z. A beam that comes in
/// at the angle θ to the axis is focused f·θ away from the axis, to the side to which it points, wherever it
/// enters. The chief ray leaves at angles of its own in x and in y, since two mirrors apart have no single
/// pupil, so that off the focal plane the spot moves along it. f·θ holds for θ up to 45°. Source: f-θ law and
/// telecentricity: G. Marshall, G. Stutz (eds.), "Handbook of Optical and Laser Scanning" (from memory).
template <class S = double> struct FlatFieldLens {
    S focal_length;     ///< f, m
    S exit_z;           ///< of the lens's exit plane in the head frame, m
    S working_distance; ///< from the exit plane to the focal plane, m
    double depth; ///< usable distance to both sides of the focal plane without a focus axis, m; may be ∞
    ChiefRaySlope<S> x_slope =
        ChiefRaySlope<S>::proportional(number_cast<S>(0.0)); ///< in the plane of x and z
    ChiefRaySlope<S> y_slope =
        ChiefRaySlope<S>::proportional(number_cast<S>(0.0)); ///< in the plane of y and z
    S axis_x = number_cast<S>(0.0); ///< where the lens's axis is in the head frame, m
    S axis_y = number_cast<S>(0.0);

    /// z of the focal plane in the head frame, m.
    S focal_z() const { return exit_z + working_distance; }

    /// The beam behind the lens for a beam that comes in along the unit vector d. Smooth everywhere, the
    /// middle included, with all derivatives. A d that does not point to +z gives a finite beam that means
    /// nothing: see `angle_clearance`. The value of θ holds to two units in the last place.
    template <class D>
    [[gnu::always_inline]] FlatFieldRay<Common<S, D>> ray(Direction<Head, D> const& d) const {
        using std::sqrt;
        using T = Common<S, D>;
        auto const in = number_cast<T>(d);
        detail::AngleOverSine<T> const angle(in);
        T const in_x = in.x * angle.ratio;
        T const in_y = in.y * angle.ratio;
        auto const out_x = sin_cos(x_slope.angle(in_x));
        auto const out_y = sin_cos(y_slope.angle(in_y));
        T const tan_x = out_x.sin / out_x.cos;
        T const tan_y = out_y.sin / out_y.cos;
        T const one = number_cast<T>(1.0);
        T const zero = number_cast<T>(0.0);
        T const along_z = one / sqrt(sqr(tan_x) + sqr(tan_y) + one);
        Point<Head, T> const focus{in_x * operand<T>(focal_length) + operand<T>(axis_x),
                                   in_y * operand<T>(focal_length) + operand<T>(axis_y),
                                   number_cast<T>(focal_z())};
        auto const way = operand<T>(working_distance);
        return {{{focus.x - tan_x * way, focus.y - tan_y * way, number_cast<T>(exit_z)},
                 {tan_x * along_z, tan_y * along_z, along_z},
                 zero,
                 zero},
                focus};
    }

    /// As an objective, see `OpenBeam`: the beam at the work, from the exit plane on, with path 0 there.
    template <class T> [[gnu::always_inline]] auto beam(MirrorTrace<T> const& way) const {
        return ray(way.leaving).ray;
    }

    /// What the focus axis must be told, from the path to the focus behind the exit plane, m: that path along
    /// the axis, since the focus lies in one plane for all directions.
    template <class B, class T> auto focus_setting(Ray<B> const& beam, T const& path) const {
        return path * beam.direction.z;
    }

    /// The path behind the exit plane to the focus, m, from what the focus axis was told.
    template <class B, class T> auto focus_path(Ray<B> const& beam, T const& setting) const {
        return setting / beam.direction.z;
    }

    /// How far p is behind the exit plane, m; negative inside of the head.
    template <class P> Common<S, P> in_front(Point<Head, P> const& p) const {
        using T = Common<S, P>;
        return number_cast<T>(p.z) - operand<T>(exit_z);
    }

    /// z of the plane in which the focus lies at this focus setting, m.
    double focal_plane(double setting, double /*separation*/) const { return value_of(exit_z) + setting; }

    /// What the start of an aim is fitted in: mirror angles of the undistorted image, rad, and z, m.
    std::array<double, 3> start_numbers(Point<Head> const& p, double /*separation*/) const {
        // To first order in how the chief ray of the undistorted image leans.
        double const per_metre = 1 / value_of(focal_length);
        double const beyond = p.z - value_of(focal_z());
        auto const angle = [&](double height, auto const& slope) {
            auto const out = sin_cos(value_of(slope.angle(height * per_metre)));
            return 0.5 * per_metre * (height - beyond * out.sin / out.cos);
        };
        return {angle(p.x - value_of(axis_x), x_slope), angle(p.y - value_of(axis_y), y_slope), p.z};
    }

    /// The same lens without what its numbers carry beside their values.
    auto on_doubles() const {
        return FlatFieldLens<double>{
            value_of(focal_length), value_of(exit_z),     value_of(working_distance), depth,
            x_slope.on_doubles(),   y_slope.on_doubles(), value_of(axis_x),           value_of(axis_y)};
    }

    /// How far inside of what the lens takes a beam along the unit vector d is: 1 on the axis, 0 at 45° or at
    /// the end of a table of chief-ray angles, negative beyond and for a beam that does not point to +z.
    template <class D> Common<S, D> angle_clearance(Direction<Head, D> const& d) const {
        using T = Common<S, D>;
        auto const in = number_cast<T>(d);
        detail::AngleOverSine<T> const angle(in);
        T const one = number_cast<T>(1.0);
        T result = one - angle.r2 * detail::factor<T>(1 / detail::flat_field_end);
        result = select(in.z > 0.0, result, number_cast<T>(-1.0));
        for (T const& other : {x_slope.clearance(in.x * angle.ratio), y_slope.clearance(in.y * angle.ratio)})
            result = select(other < result, other, result);
        return result;
    }

    /// How far a point is inside of the depth around the focal plane, m; negative outside.
    template <class P> Common<S, P> depth_clearance(Point<Head, P> const& p) const {
        using T = Common<S, P>;
        if (!is_finite(depth))
            return detail::without_end<T>();
        T const beyond = number_cast<T>(p.z) - operand<T>(focal_z());
        T const near = beyond + detail::factor<T>(depth);
        T const far = number_cast<T>(depth) - beyond;
        return select(near < far, near, far);
    }

    /// The direction in which a beam must come in for its chief ray to pass p, on doubles: in each plane
    /// f·θ + (z − focal z)·tan(angle out at θ) = p − axis, by bracketed Newton steps within the slope's
    /// range, at most 64 and usually three; in the focal plane at once. Within 1e-15 rad or so where chief
    /// rays do not cross on the way (see `checked`); the nearest angle of the range where p is out of reach.
    Direction<Head> input_direction(Point<Head> const& p) const {
        double const beyond = value_of(p.z) - value_of(focal_z());
        double const in_x = angle_in(p.x - value_of(axis_x), beyond, x_slope.on_doubles());
        double const in_y = angle_in(p.y - value_of(axis_y), beyond, y_slope.on_doubles());
        double const squared = sqr(in_x) + sqr(in_y);
        double const angle = std::sqrt(squared);
        // Below 1e-4 rad the series' next term, θ⁴/120, is below 1e-18.
        double const sine_over = squared < 1e-8 ? 1 - squared / 6 : std::sin(angle) / angle;
        return {in_x * sine_over, in_y * sine_over, std::cos(angle)};
    }

private:
    double angle_in(double height, double beyond, ChiefRaySlope<double> const& slope) const {
        double const f = value_of(focal_length);
        auto const range = slope.range();
        double low = range.low, high = range.high, last_step = high - low;
        double angle = range.nearest(height / f);
        if (beyond == 0)
            return angle;
        for (int i = 0; i < 64; ++i) {
            auto const out = slope.angle(Gradient<double, 1>::variable(angle, 0));
            auto const turned = sin_cos(out.value);
            double const tangent = turned.sin / turned.cos;
            double const miss = f * angle + beyond * tangent - height;
            (miss > 0 ? high : low) = angle;
            double const newton = angle - miss / (f + beyond * (1 + sqr(tangent)) * out.partial[0]);
            double const step = std::abs(newton - angle);
            // As for a table's inverse: small enough, out of the bracket, not half of the last.
            if (step <= 1e-10)
                return range.nearest(newton);
            bool const inside = newton >= low && newton <= high;
            double const next = inside && step <= 0.5 * last_step ? newton : low + 0.5 * (high - low);
            last_step = std::abs(next - angle);
            angle = next;
        }
        return angle;
    }
};

/// A lens as given, checked. Throws BadInput, naming the field, for a focal length, working distance or depth
/// that is not above 0, an exit plane that is not in front of the last mirror, an axis that is not finite, an
/// angle out of 90° or more within 45° of angle in, and for chief rays that cross within the depth (where it
/// is finite), so that a point there has no single angle: then the depth must be smaller.
inline FlatFieldLens<> checked(FlatFieldLens<> const& lens) {
    auto const refuse = [](std::string const& field, double given, std::string const& allowed) {
        throw BadInput("a flat-field lens's " + field + " of " + detail::text_of(given) +
                       " is not possible: it must be " + allowed);
    };
    for (auto const& [name, given] :
         {std::pair{"focal length (m)", lens.focal_length}, std::pair{"exit plane's z (m)", lens.exit_z},
          std::pair{"working distance (m)", lens.working_distance}})
        if (!(given > 0) || !is_finite(given))
            refuse(name, given, "above 0 and finite");
    if (!(lens.depth > 0))
        refuse("depth (m)", lens.depth, "above 0");
    for (double const axis : {lens.axis_x, lens.axis_y})
        if (!is_finite(axis))
            refuse("axis (m)", axis, "finite");
    for (auto const& [name, slope] : {std::pair{"x", &lens.x_slope}, std::pair{"y", &lens.y_slope}}) {
        auto const range = slope->range();
        constexpr int steps = 500;
        for (int i = 0; i <= steps; ++i) {
            double const angle = range.low + (range.high - range.low) * i / steps;
            auto const out = slope->angle(Gradient<double, 1>::variable(angle, 0));
            if (!(std::abs(out.value) < 1.5))
                refuse(std::string("chief ray's angle in ") + name + " (rad)", out.value,
                       "less than a right angle at " + detail::text_of(angle) + " rad in");
            double const shear = (1 + sqr(std::tan(out.value))) * std::abs(out.partial[0]);
            if (is_finite(lens.depth) && !(lens.depth * shear < lens.focal_length))
                refuse("depth (m)", lens.depth,
                       "below " + detail::text_of(lens.focal_length / shear) +
                           ", where chief rays cross in the plane of " + name + " and z");
        }
    }
    return lens;
}

} // namespace seamhold

#endif
