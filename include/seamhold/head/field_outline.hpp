#ifndef SEAMHOLD_HEAD_FIELD_OUTLINE_HPP
#define SEAMHOLD_HEAD_FIELD_OUTLINE_HPP

#include "seamhold/head/polygon.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/lift.hpp"
#include "seamhold/number/number.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <memory>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// Where an outline is drawn.
enum class OutlineIn : std::uint8_t {
    focal_plane,  ///< x and y in the plane of the undeflected focus, m
    mirror_angles ///< the two mechanical mirror angles, rad
};

/// The outline of a head's field: a circle, a rectangle, an ellipse, a polygon, or none. Made by
/// `circle_outline` and its kin. Lengths are metres in the focal plane, radians as mirror angles.
class FieldOutline {
public:
    /// No outline: everything is inside.
    FieldOutline() = default;

    /// Signed distance from the edge at (u, v): positive inside, negative outside, and exactly so; with slope
    /// 1 across the edge, so that it is the distance to first order there. For convex outlines it never
    /// exceeds the true distance inside; a polygon that is not convex may exceed it, and beside its inner
    /// corners does. Every derivative is continuous but at corners; at a corner itself the derivatives are
    /// finite and those of one side. Outside it is no longer a distance, only negative. Without outline 1e9
    /// everywhere.
    ///
    /// Circle: (R² − r²) / (2R). Ellipse, with half axes a ≥ b, f = 1 − x²/a² − y²/b² and
    /// g = 1 − (1 − b²/a²)·x²/a²: f·b / (2·√g); |gradient| is ½|∇f|·b/√g = 1 on the edge and below 1 inside,
    /// hence the bound. Rectangle: p + q − √(p² + q²) with p = (w² − x²)/(2w), q = (h² − y²)/(2h) for half
    /// sides w and h, V. Rvachev's conjunction (V. Shapiro, "Semi-analytic geometry with R-functions", Acta
    /// Numerica 16, 2007, from memory). Polygon: 2 / ∫ dω / ρ(ω) over the directions ω in which the edge is
    /// seen at ρ, A. Belyaev, P.-A. Fayolle, A. Pasko, "Signed Lp-distance fields", Computer-Aided Design 45,
    /// 2013 (from memory); where one edge alone is seen, over half a turn, this is the distance, and every
    /// nearer edge lowers it.
    template <class A, class B> Common<A, B> clearance(A const& u, B const& v) const {
        using T = Common<A, B>;
        if (kind_ == Kind::polygon)
            return polygon_->at(number_cast<T>(u), number_cast<T>(v));
        return share(u, v) * detail::factor<T>(depth_);
    }

    /// The clearance as a share of its largest value: 1 in the deepest place, 0 on the edge, negative
    /// outside. A circle gives 1 − r²/R². Without outline 1 everywhere.
    template <class A, class B> Common<A, B> share(A const& u, B const& v) const {
        using std::sqrt;
        using T = Common<A, B>;
        if (kind_ == Kind::none)
            return number_cast<T>(1);
        if (kind_ == Kind::polygon)
            return polygon_->at(number_cast<T>(u), number_cast<T>(v)) * detail::factor<T>(1 / depth_);
        T const x = (number_cast<T>(u) - detail::factor<T>(middle_[0])) * detail::factor<T>(1 / half_[0]);
        T const y = (number_cast<T>(v) - detail::factor<T>(middle_[1])) * detail::factor<T>(1 / half_[1]);
        if (kind_ == Kind::rectangle)
            return rectangle_share(x, y);
        T const f = T(detail::factor<T>(1) - sqr(x)) - sqr(y);
        if (kind_ == Kind::circle)
            return f;
        double const ratio = sqr(std::min(half_[0], half_[1]) / std::max(half_[0], half_[1]));
        T const& along = half_[0] > half_[1] ? x : y;
        return f /
               sqrt(above(T(detail::factor<T>(1) - sqr(along) * detail::factor<T>(1 - ratio)), ratio / 2));
    }

    /// How much of the field is used: 0 in the deepest place, 1 on the edge, more outside. Circle r / R,
    /// ellipse √(x²/a² + y²/b²), rectangle the greater of |x| / w and |y| / h, polygon 1 − clearance / depth
    /// inside and 1 + distance / depth outside. Without outline 0.
    double utilisation(double u, double v) const { return std::sqrt(squared_utilisation(u, v)); }

    /// The square of it at any number: smooth in the middle of a circle or an ellipse.
    template <class A, class B> Common<A, B> squared_utilisation(A const& u, B const& v) const {
        using T = Common<A, B>;
        T const at_u = number_cast<T>(u), at_v = number_cast<T>(v);
        if (kind_ == Kind::none)
            return number_cast<T>(0);
        if (kind_ == Kind::polygon) {
            T const inside = polygon_->at(at_u, at_v);
            T const way = detail::choose(
                inside > 0.0, [&] { return inside; }, [&] { return T(-polygon_->distance(at_u, at_v)); });
            return sqr(T(detail::factor<T>(1) - way * detail::factor<T>(1 / depth_)));
        }
        T const x = sqr(T((at_u - detail::factor<T>(middle_[0])) * detail::factor<T>(1 / half_[0])));
        T const y = sqr(T((at_v - detail::factor<T>(middle_[1])) * detail::factor<T>(1 / half_[1])));
        return kind_ == Kind::rectangle ? select(x < y, y, x) : T(x + y);
    }

    /// Whether there is no outline.
    bool unlimited() const { return kind_ == Kind::none; }

    /// Where the outline is drawn.
    OutlineIn in() const { return in_; }

    /// The largest clearance, m or rad: half the radius of a circle, half the smaller half axis of an
    /// ellipse.
    double depth() const { return depth_; }

private:
    friend FieldOutline circle_outline(double radius, OutlineIn in, std::array<double, 2> centre);
    friend FieldOutline rectangle_outline(double width, double height, OutlineIn in,
                                          std::array<double, 2> centre);
    friend FieldOutline ellipse_outline(double width, double height, OutlineIn in,
                                        std::array<double, 2> centre);
    friend FieldOutline polygon_outline(std::vector<std::array<double, 2>> points, OutlineIn in);

    enum class Kind : std::uint8_t { none, circle, rectangle, ellipse, polygon };

    FieldOutline(Kind kind, OutlineIn in, std::array<double, 2> middle, std::array<double, 2> half,
                 double depth)
        : kind_(kind), in_(in), middle_(middle), half_(half), depth_(depth) {}

    /// Half sides or half axes, checked.
    static std::array<double, 2> checked_halves(char const* what, double width, double height,
                                                std::array<double, 2> const& centre) {
        for (double const side : {width, height})
            if (!(side > 0) || !is_finite(side))
                throw BadInput("the sides of " + std::string(what) +
                               " field outline must be above 0; given was " + detail::text_of(side));
        if (!is_finite(centre[0]) || !is_finite(centre[1]))
            throw BadInput("the centre of " + std::string(what) + " field outline is not finite");
        return {width / 2, height / 2};
    }

    /// Both axes in half sides. p + q − √(p² + q²), by the form that does not cancel.
    template <class T> T rectangle_share(T const& x, T const& y) const {
        using std::sqrt;
        double const w = half_[0] / (2 * depth_);
        double const h = half_[1] / (2 * depth_);
        T const one = number_cast<T>(1);
        T const p = T(one - x) * T(one + x) * detail::factor<T>(w);
        T const q = T(one - y) * T(one + y) * detail::factor<T>(h);
        T const sum = p + q;
        T const root = sqrt(T(sqr(p) + sqr(q)));
        return value_of(sum) > 0 ? T(p * q * detail::factor<T>(2) / T(sum + root)) : T(sum - root);
    }

    /// g where it is above `least`, else less and less of it but never 0, joined without a jump in the first
    /// three derivatives: least / (1 + w + w² + w³) = least·(1 − w + w⁴ − …) with w = 1 − g / least.
    template <class T> static T above(T const& g, double least) {
        return detail::choose(
            g > least, [&] { return g; },
            [&] {
                T const w = T(detail::factor<T>(1) - g * detail::factor<T>(1 / least));
                T const one = number_cast<T>(1);
                return T(number_cast<T>(least) / T(T(one + w) * T(one + sqr(w))));
            });
    }

    Kind kind_ = Kind::none;
    OutlineIn in_ = OutlineIn::focal_plane;
    std::array<double, 2> middle_ = {0, 0};
    std::array<double, 2> half_ = {1, 1};
    double depth_ = 1e9;
    std::shared_ptr<detail::Polygon const> polygon_;
};

/// No outline: everything is inside.
inline FieldOutline unlimited_outline() { return {}; }

/// A circle. Throws BadInput for a radius that is not above 0 or a number that is not finite.
inline FieldOutline circle_outline(double radius, OutlineIn in, std::array<double, 2> centre = {0, 0}) {
    auto const half = FieldOutline::checked_halves("a round", 2 * radius, 2 * radius, centre);
    return {FieldOutline::Kind::circle, in, centre, half, radius / 2};
}

/// A rectangle with sides along both axes, from its whole width and height. Throws BadInput for sides that
/// are not above 0 or a number that is not finite.
inline FieldOutline rectangle_outline(double width, double height, OutlineIn in,
                                      std::array<double, 2> centre = {0, 0}) {
    auto const half = FieldOutline::checked_halves("a rectangular", width, height, centre);
    double const p = half[0] / 2;
    double const q = half[1] / 2;
    return {FieldOutline::Kind::rectangle, in, centre, half, p + q - std::hypot(p, q)};
}

/// An ellipse with axes along both axes, from its whole width and height. Throws BadInput for sides that are
/// not above 0 or a number that is not finite.
inline FieldOutline ellipse_outline(double width, double height, OutlineIn in,
                                    std::array<double, 2> centre = {0, 0}) {
    auto const half = FieldOutline::checked_halves("an elliptic", width, height, centre);
    auto const kind = width == height ? FieldOutline::Kind::circle : FieldOutline::Kind::ellipse;
    return {kind, in, centre, half, std::min(half[0], half[1]) / 2};
}

/// A polygon from its corners, in either orientation, convex or not; it closes by itself. Throws BadInput for
/// fewer than three points, a point that is not finite, two points that coincide, points on one line, and
/// edges that cross or touch, naming points, counted from 1, and edges.
inline FieldOutline polygon_outline(std::vector<std::array<double, 2>> points, OutlineIn in) {
    auto polygon = std::make_shared<detail::Polygon const>(std::move(points));
    FieldOutline outline(FieldOutline::Kind::polygon, in, {0, 0}, {1, 1}, polygon->depth());
    outline.polygon_ = std::move(polygon);
    return outline;
}

} // namespace seamhold

#endif
