#ifndef SEAMHOLD_CURVE_ARC_LENGTH_HPP
#define SEAMHOLD_CURVE_ARC_LENGTH_HPP

#include "seamhold/curve/septic.hpp"
#include "seamhold/number/bad_input.hpp"
#include "seamhold/number/taylor.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>
#include <string>
#include <vector>

/// Curves given by any parameter, stored by arc length.
namespace seamhold {

/// A curve by arc length: polynomials of degree 7, C³ where the curve itself is. Piece i runs from start[i]
/// to start[i + 1], m; stretch i of the curve that was given from stretch_start[i] to stretch_start[i + 1].
template <int D> struct ByArcLength {
    std::vector<double> start;
    std::vector<SepticPiece<D>> piece;
    std::vector<double> stretch_start;

    /// The whole length, m.
    double length() const { return start.back(); }
};

namespace detail {

/// D components of a curve by its parameter, up to the third derivative.
template <int D> using CurveExpansion = std::array<Taylor<double, 3>, D>;

/// A point of a quadrature rule on −1 … 1.
struct RulePoint {
    double place;
    double weight;
};

/// Gauss's rule with ten points, by its five on the right half. As in Boost.Math, whose header would double
/// the time that seamhold's takes to compile; tests/outside/arc_lengths.cpp compares them.
inline constexpr RulePoint gauss_ten[] = {{0.14887433898163122, 0.29552422471475287},
                                          {0.43339539412924721, 0.26926671930999635},
                                          {0.67940956829902444, 0.21908636251598204},
                                          {0.86506336668898454, 0.14945134915058059},
                                          {0.97390652851717174, 0.066671344308688138}};

/// A curve by a parameter with what is needed along it.
template <int D, int P, class Curve> class ArcLengthMaker {
public:
    ArcLengthMaker(Curve const& curve, double tolerance) : curve_(curve), tolerance_(tolerance) {}

    void add(std::size_t stretch, double width) {
        add(stretch, node(stretch, 0), node(stretch, width), 0);
        made_.stretch_start.push_back(made_.start.back());
    }

    ByArcLength<D> made() && { return std::move(made_); }

private:
    using Expansion = CurveExpansion<D>;

    /// A place of the curve, with its Taylor coefficients by arc length.
    struct Node {
        double parameter;
        std::array<std::array<double, 4>, D> by_length;
    };

    Node node(std::size_t stretch, double parameter) const {
        auto const c = curve_(stretch, parameter);
        auto const speed = speed_of(c);
        if (!(speed.coefficient[0] > 0) || !is_finite(speed))
            throw BadInput("a curve stands still or is not finite at " + place(stretch, parameter));
        return {parameter, by_length(c, speed)};
    }

    static std::string place(std::size_t stretch, double parameter) {
        return "parameter " + text_of(parameter) + " of its stretch " + std::to_string(stretch);
    }

    /// The length and the change of every component over a stretch of the parameter.
    struct Step {
        double length = 0;
        std::array<double, D> rise{};
    };

    /// |p′| and its first two derivatives by the parameter (Taylor coefficients).
    static Taylor<double, 2> speed_of(Expansion const& c) {
        Taylor<double, 2> squared = 0;
        for (int d = 0; d < P; ++d) {
            Taylor<double, 2> rate;
            for (int k = 0; k <= 2; ++k)
                rate.coefficient[k] = (k + 1) * c[static_cast<std::size_t>(d)].coefficient[k + 1];
            squared = squared + sqr(rate);
        }
        return sqrt(squared);
    }

    /// Taylor coefficients by arc length from those by the parameter: the series of the length is reverted.
    static std::array<std::array<double, 4>, D> by_length(Expansion const& c,
                                                          Taylor<double, 2> const& speed) {
        double const b1 = speed.coefficient[0];
        double const b2 = speed.coefficient[1] / 2;
        double const b3 = speed.coefficient[2] / 3;
        double const a1 = 1 / b1;
        double const a2 = -b2 * a1 * a1 * a1;
        double const a3 = (2 * b2 * b2 - b1 * b3) * a1 * a1 * a1 * a1 * a1;
        std::array<std::array<double, 4>, D> r;
        for (std::size_t d = 0; d < D; ++d) {
            auto const& k = c[d].coefficient;
            r[d] = {k[0], k[1] * a1, k[1] * a2 + k[2] * a1 * a1,
                    k[1] * a3 + 2 * k[2] * a1 * a2 + k[3] * a1 * a1 * a1};
        }
        return r;
    }

    /// Both by Gauss's rule with ten points.
    Step step(std::size_t stretch, double from, double to) const {
        double const middle = (from + to) / 2;
        double const half = (to - from) / 2;
        Step r;
        for (auto const& point : gauss_ten)
            for (double const side : {-1.0, 1.0}) {
                auto const c = curve_(stretch, middle + side * half * point.place);
                double const weight = point.weight * half;
                r.length += weight * speed_of(c).coefficient[0];
                for (std::size_t d = 0; d < D; ++d)
                    r.rise[d] += weight * c[d].coefficient[1];
            }
        return r;
    }

    static SepticPiece<D> piece(Node const& a, Node const& b, Step const& whole) {
        SepticPiece<D> r;
        for (std::size_t d = 0; d < D; ++d)
            r.coefficient[d] = septic_between(whole.length, a.by_length[d], b.by_length[d], whole.rise[d]);
        return r;
    }

    /// Whether the piece is the curve: compared at three places, where the error of its slope is greatest and
    /// beside, with the arc length and the changes up to there integrated anew.
    bool fits(std::size_t stretch, Node const& a, Node const& b, Step const& whole,
              SepticPiece<D> const& piece) const {
        Step sum;
        double from = a.parameter;
        for (double const share : {0.17, 0.311, 0.689, 1.0}) {
            double const to = share < 1 ? a.parameter + share * (b.parameter - a.parameter) : b.parameter;
            Step const part = step(stretch, from, to);
            sum.length += part.length;
            for (std::size_t d = 0; d < D; ++d)
                sum.rise[d] += part.rise[d];
            from = to;
            if (share == 1)
                break;
            auto const c = curve_(stretch, to);
            double const speed = speed_of(c).coefficient[0];
            auto const made = piece.at(sum.length);
            for (std::size_t d = 0; d < D; ++d) {
                bool const place = d < P;
                double const start = a.by_length[d][0];
                double const off = std::abs(made.value[d] - start - sum.rise[d]);
                double const slope_off = std::abs(made.slope[d] - c[d].coefficient[1] / speed);
                double const scale = place ? whole.length : std::max(1.0, std::abs(start));
                double const rounding = 4e-16 * std::abs(start);
                if (!(off <= tolerance_ * scale + rounding) || (place && !(slope_off <= tolerance_)))
                    return false;
            }
        }
        // A jump of the place leaves no trace in its derivatives.
        for (std::size_t d = 0; d < P; ++d) {
            double const start = a.by_length[d][0], end = b.by_length[d][0];
            double const rounding = 1e-12 * (std::abs(start) + std::abs(end));
            if (!(std::abs(end - start - sum.rise[d]) <= 1e-9 * whole.length + rounding))
                return false;
        }
        return std::abs(sum.length - whole.length) <= tolerance_ * whole.length;
    }

    void add(std::size_t stretch, Node const& a, Node const& b, int depth) {
        Step const whole = step(stretch, a.parameter, b.parameter);
        auto const one = piece(a, b, whole);
        if (fits(stretch, a, b, whole, one)) {
            made_.piece.push_back(one);
            double const last = made_.start.back();
            double const added = whole.length - lost_; // W. Kahan's summation
            made_.start.push_back(last + added);
            lost_ = (made_.start.back() - last) - added;
            return;
        }
        double const middle = (a.parameter + b.parameter) / 2;
        if (depth >= deepest)
            throw BadInput("a curve is not smooth at " + place(stretch, middle) +
                           ": a corner or a jump there must be the end of a stretch");
        Node const half = node(stretch, middle);
        add(stretch, a, half, depth + 1);
        add(stretch, half, b, depth + 1);
    }

    static constexpr int deepest = 30; ///< halvings of a stretch

    Curve const& curve_;
    double tolerance_;
    double lost_ = 0; ///< in the sum of the lengths
    ByArcLength<D> made_{{0}, {}, {0}};
};

} // namespace detail

/// A curve of D components, the first P of them a place in m, by the arc length of that place. The curve is
/// made of stretches; `curve(i, u)` returns the components of stretch i at its own parameter u, 0 …
/// widths[i], as std::array<Taylor<double, 3>, D>, with their derivatives by u up to the third. Within a
/// stretch it must be smooth; stretches must join. The pieces are found by halving until the unit tangent,
/// every place as a share of the piece's length and every other component as a share of 1 are met within
/// `tolerance` where they are checked. Lengths are integrated by Gauss's rule on those pieces: 1e-13 relative
/// and better. Throws BadInput, naming the stretch and the parameter, where the curve stands still, is not
/// finite, or has a corner within a stretch.
template <int D, int P, class Curve>
ByArcLength<D> by_arc_length(Curve const& curve, std::span<double const> widths, double tolerance = 3e-13) {
    if (widths.empty())
        throw BadInput("a curve needs one stretch or more");
    detail::ArcLengthMaker<D, P, Curve> maker(curve, tolerance);
    for (std::size_t i = 0; i < widths.size(); ++i) {
        if (!(widths[i] > 0) || !is_finite(widths[i]))
            throw BadInput("stretch " + std::to_string(i) + " of a curve must be wider than 0");
        maker.add(i, widths[i]);
    }
    return std::move(maker).made();
}

} // namespace seamhold

#endif
