#ifndef SEAMHOLD_SURFACE_PARAMETRIC_HPP
#define SEAMHOLD_SURFACE_PARAMETRIC_HPP

#include "seamhold/number/taylor.hpp"
#include "seamhold/surface/surface.hpp"

#include <utility>

namespace seamhold {

/// A face given as a function: `f(x, y)` returns a Point<Part, T> at x and y of any type of number T. The
/// normal is ∂f/∂x × ∂f/∂y, exact, so x, y and the direction towards the head must be right-handed. x and y
/// need not be lengths on the face; how much a drawing is stretched is for whoever lays it to find. S is the
/// type of the numbers that the function holds.
template <class F, class S = double> struct Parametric {
    static constexpr bool isometric = false;

    F f;

    /// The point at (x, y) and the normal. Where the derivatives are parallel or zero the normal is not
    /// finite.
    template <class T> SurfacePoint<Common<S, T>> at(T const& x, T const& y) const {
        using R = Common<S, T>;
        using Along = Taylor<R, 1>;
        R const u = number_cast<R>(x), v = number_cast<R>(y);
        Point<Part, Along> const by_x = f(Along::variable(u), Along(v));
        Point<Part, Along> const by_y = f(Along(u), Along::variable(v));
        auto const slope = [](Point<Part, Along> const& p) {
            return Direction<Part, R>{p.x.coefficient[1], p.y.coefficient[1], p.z.coefficient[1]};
        };
        return {{by_x.x.coefficient[0], by_x.y.coefficient[0], by_x.z.coefficient[0]},
                unit(cross(slope(by_x), slope(by_y)))};
    }
};

/// A face given as a function, tried at one place (x, y). Throws BadInput where it has no point or no normal
/// there, because a number is not finite or its derivatives are parallel or zero.
template <class F> Parametric<F> parametric(F f, double x = 0, double y = 0) {
    Parametric<F> face{std::move(f)};
    auto const p = face.at(x, y);
    auto const place = "(" + detail::text_of(x) + ", " + detail::text_of(y) + ")";
    if (!is_finite(p.position))
        throw BadInput("the face's function has no finite point at " + place);
    if (!(norm(p.normal) > 0.5)) // not a number where the derivatives are parallel
        throw BadInput("the face's function has no normal at " + place +
                       ": its derivatives by x and by y are parallel, zero or not finite there");
    return face;
}

} // namespace seamhold

#endif
