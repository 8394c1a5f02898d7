#ifndef SEAMHOLD_CURVE_SPLINE_FIELD_HPP
#define SEAMHOLD_CURVE_SPLINE_FIELD_HPP

#include "seamhold/curve/banded.hpp"
#include "seamhold/curve/quartic.hpp"
#include "seamhold/number/bad_input.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <memory>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// The rectangle over which a spline field is laid, and its cells: equal ones, side by side.
struct SplineGrid {
    double low_u;
    double high_u;
    double low_v;
    double high_v;
    std::size_t cells_u;
    std::size_t cells_v;
};

/// How many cells suit a side with this many points: three for five steps between points, so that the fit
/// evens out noise and a missing point does no harm, and never more than points − 4, so that there are no
/// more unknowns than points. At least 1.
constexpr std::size_t proposed_cells(std::size_t points_on_a_side) {
    if (points_on_a_side < 6)
        return 1;
    return std::min(3 * (points_on_a_side - 1) / 5, points_on_a_side - 4);
}

/// A smooth function of two variables with D components: in every cell of a rectangle one polynomial of
/// degree 4 in each variable, joined so that no derivative up to the third jumps, not across an edge of a
/// cell and not at the edge of the rectangle. Outside of the rectangle it goes on and levels off within half
/// a cell. Made by `fit_spline_field`; copies share their cells, which never change.
template <int D> class SplineField {
public:
    /// Derivatives up to this order have no jump; the fourth jumps at the knots.
    static constexpr int continuity = 3;

    /// One cell: coefficient[i][j][d] belongs to the i-th power of u and the j-th of v, both from the middle
    /// of the cell and in units of its sides.
    struct Patch {
        double coefficient[5][5][D];
    };

    /// From cells row after row, v running first. `fit_spline_field` makes fields that are smooth; here the
    /// cells are taken as they are.
    SplineField(SplineGrid const& grid, std::shared_ptr<Patch const[]> cells)
        : grid_(grid), u_(grid.low_u, grid.high_u, grid.cells_u), v_(grid.low_v, grid.high_v, grid.cells_v),
          cells_(std::move(cells)) {}

    /// All components at (u, v), with the derivatives that u and v carry: the cell is expanded about the
    /// values in plain numbers, and the expansion composed with the derivatives. Finite for finite u and v.
    template <class A, class B>
    [[gnu::always_inline]] std::array<Common<A, B>, D> at(A const& u, B const& v) const {
        using T = Common<A, B>;
        return u_.with_place(
            number_cast<T>(u), [&](auto const& place_u) __attribute__((always_inline)) {
                return v_.with_place(
                    number_cast<T>(v), [&](auto const& place_v) __attribute__((always_inline)) {
                        return detail::quartic_at<D>(
                            cells_.get()[place_u.cell * grid_.cells_v + place_v.cell].coefficient,
                            place_u.local, place_v.local);
                    });
            });
    }

    /// All components along a curve (u, v) and their derivatives by u and by v there.
    template <int N> struct Along {
        std::array<Taylor<double, N>, D> value;
        std::array<Taylor<double, N>, D> by_u; ///< the N-th order is that of a polynomial of degree 4
        std::array<Taylor<double, N>, D> by_v; ///< likewise
    };

    /// The field along a curve inside the rectangle. A long piece of work for set-up, in loops.
    template <int N>
    [[gnu::noinline]] Along<N> along(Taylor<double, N> const& u, Taylor<double, N> const& v) const {
        auto const place_u = u_.locate(u);
        auto const place_v = v_.locate(v);
        auto const& c = cells_.get()[place_u.cell * grid_.cells_v + place_v.cell].coefficient;
        auto const e = detail::expand_quartic<4>(c, place_u.local.value(), place_v.local.value());
        Taylor<double, N> power_u[5], power_v[5];
        power_u[0] = power_v[0] = 1.0;
        power_u[1] = place_u.local - place_u.local.value();
        power_v[1] = place_v.local - place_v.local.value();
        for (int k = 2; k <= 4; ++k) {
            power_u[k] = power_u[k - 1] * power_u[1];
            power_v[k] = power_v[k - 1] * power_v[1];
        }
        double const per_u = static_cast<double>(grid_.cells_u) / (grid_.high_u - grid_.low_u);
        double const per_v = static_cast<double>(grid_.cells_v) / (grid_.high_v - grid_.low_v);
        Along<N> r{};
        for (int a = 0; a <= 4; ++a)
            for (int b = 0; a + b <= 4; ++b) {
                auto const monomial = power_u[a] * power_v[b];
                for (std::size_t d = 0; d < D; ++d) {
                    r.value[d] += monomial * e.value[a][b][d];
                    if (a + b < 4) {
                        r.by_u[d] += monomial * (per_u * (a + 1) * e.value[a + 1][b][d]);
                        r.by_v[d] += monomial * (per_v * (b + 1) * e.value[a][b + 1][d]);
                    }
                }
            }
        return r;
    }

    /// The rectangle and its cells.
    SplineGrid const& grid() const { return grid_; }

    /// The borders of the cells along u, both ends included, increasing: what a proof splits at.
    std::vector<double> knots_u() const { return u_.knots(); }

    /// The borders of the cells along v, both ends included, increasing.
    std::vector<double> knots_v() const { return v_.knots(); }

private:
    SplineGrid grid_;
    detail::EqualCells u_;
    detail::EqualCells v_;
    std::shared_ptr<Patch const[]> cells_;
};

namespace detail {

/// The least-squares fit of a spline field, set up for one set of places.
class SplineFieldFit {
public:
    SplineFieldFit(SplineGrid const& grid, std::span<std::array<double, 2> const> places, double penalty)
        : grid_(grid), pieces_u_(quartic_pieces(grid.cells_u)), pieces_v_(quartic_pieces(grid.cells_v)),
          width_(grid.cells_v + 4), unknowns_((grid.cells_u + 4) * width_), solver_(unknowns_, 5 * width_) {
        EqualCells const along_u(grid.low_u, grid.high_u, grid.cells_u);
        EqualCells const along_v(grid.low_v, grid.high_v, grid.cells_v);
        weights_.reserve(places.size());
        for (auto const& place : places) {
            auto const u = along_u.locate(place[0]);
            auto const v = along_v.locate(place[1]);
            weights_.push_back({u.cell * width_ + v.cell, quartic_weights(pieces_u_[u.cell], u.local),
                                quartic_weights(pieces_v_[v.cell], v.local)});
        }
        factorise(penalty);
    }

    /// The field for values at the places: solved, then twice refined, so that rounding does not grow where
    /// nothing but the penalty speaks.
    template <int D> SplineField<D> field(std::span<std::array<double, D> const> values) const {
        constexpr auto components = static_cast<std::size_t>(D);
        using Row = std::array<double, components>;
        std::vector<Row> sum(unknowns_, Row{});
        for (int round = 0; round < 3; ++round) {
            std::vector<Row> right(unknowns_, Row{});
            for (auto const& e : penalty_)
                for (std::size_t d = 0; d < components; ++d) {
                    right[e.row][d] -= e.value * sum[e.column][d];
                    if (e.row != e.column)
                        right[e.column][d] -= e.value * sum[e.row][d];
                }
            for (std::size_t p = 0; p < weights_.size(); ++p) {
                Row rest = values[p];
                auto const each_component = [&](auto const& use) {
                    for (std::size_t d = 0; d < components; ++d)
                        use(d);
                };
                weights_[p].each(width_, [&](std::size_t k, double w) {
                    each_component([&](std::size_t d) { rest[d] -= w * sum[k][d]; });
                });
                weights_[p].each(width_, [&](std::size_t k, double w) {
                    each_component([&](std::size_t d) { right[k][d] += w * rest[d]; });
                });
            }
            auto const step = solver_.solve(std::move(right));
            for (std::size_t n = 0; n < unknowns_; ++n)
                for (std::size_t d = 0; d < components; ++d)
                    sum[n][d] += step[n][d];
        }
        using Patch = typename SplineField<D>::Patch;
        std::shared_ptr<Patch[]> patches(new Patch[grid_.cells_u * grid_.cells_v]());
        for (std::size_t u = 0; u < grid_.cells_u; ++u)
            for (std::size_t v = 0; v < grid_.cells_v; ++v)
                for (std::size_t k = 0; k < 5; ++k)
                    for (std::size_t l = 0; l < 5; ++l)
                        for (std::size_t i = 0; i < 5; ++i)
                            for (std::size_t j = 0; j < 5; ++j)
                                for (std::size_t d = 0; d < D; ++d)
                                    patches.get()[u * grid_.cells_v + v].coefficient[i][j][d] +=
                                        pieces_u_[u][k][i] * pieces_v_[v][l][j] *
                                        sum[(u + k) * width_ + v + l][d];
        return {grid_, std::move(patches)};
    }

private:
    /// An entry of the lower half of a symmetric matrix.
    struct Entry {
        std::size_t row;
        std::size_t column;
        double value;
    };

    /// Which unknowns make the value at one place, and how much of each.
    struct Weights {
        std::size_t first;
        std::array<double, 5> u;
        std::array<double, 5> v;

        template <class F> void each(std::size_t width, F const& f) const {
            for (std::size_t i = 0; i < 5; ++i)
                for (std::size_t j = 0; j < 5; ++j)
                    f(first + i * width + j, u[i] * v[j]);
        }
    };

    void factorise(double penalty) {
        // Neighbours in the matrix lie within 4 columns and 4 rows of the grid of unknowns: the lower half.
        std::vector<std::array<double, 45>> near(unknowns_, std::array<double, 45>{});
        for (auto const& w : weights_)
            for (std::size_t i = 0; i < 5; ++i)
                for (std::size_t j = 0; j < 5; ++j)
                    for (std::size_t k = 0; k <= i; ++k)
                        for (std::size_t l = 0; l < 5; ++l)
                            near[w.first + i * width_ + j][(i - k) * 9 + 4 + l - j] +=
                                w.u[i] * w.v[j] * w.u[k] * w.v[l];
        double diagonal = 0;
        for (std::size_t n = 0; n < unknowns_; ++n) {
            diagonal += near[n][4];
            for (std::size_t up = 0; up < 5; ++up)
                for (std::size_t side = 0; side < 9; ++side)
                    if (near[n][up * 9 + side] != 0 && up * width_ + 4 >= side)
                        solver_.add(n, n - (up * width_ + 4 - side), near[n][up * 9 + side]);
        }
        std::vector<Entry> single;
        double const weight = penalty * diagonal / static_cast<double>(unknowns_);
        auto const of = [&](std::vector<QuarticPiece> const& pieces) {
            return pieces.size() > 1 ? weight : 1e-6 * weight;
        };
        penalise(grid_.cells_u > 1 ? penalty_ : single, quartic_jumps(pieces_u_), of(pieces_u_), width_,
                 width_, 1);
        penalise(grid_.cells_v > 1 ? penalty_ : single, quartic_jumps(pieces_v_), of(pieces_v_), 1,
                 grid_.cells_u + 4, width_);
        for (auto const* entries : {&penalty_, &single})
            for (auto const& e : *entries)
                solver_.add(e.row, e.column, e.value);
        if (!solver_.factorise(1e-15))
            throw BadInput(std::to_string(weights_.size()) + " points leave open what a spline of " +
                           std::to_string(grid_.cells_u) + " x " + std::to_string(grid_.cells_v) +
                           " cells shall be: they are too few or lie too close to a line");
    }

    /// Adds the jumps along one axis: unknowns `step` apart, in `lines` lines `line` apart. A single cell has
    /// no jump, and its fourth derivative stands in, which a polynomial may well have: a millionth of the
    /// weight, left out of the refinement, so that three rounds leave nothing of it where the data speak.
    void penalise(std::vector<Entry>& entries, std::vector<QuarticJump> const& jumps, double weight,
                  std::size_t step, std::size_t lines, std::size_t line) const {
        for (auto const& jump : jumps)
            for (std::size_t i = 0; i < lines; ++i)
                for (std::size_t a = 0; a < 6; ++a)
                    for (std::size_t b = 0; b <= a; ++b)
                        if (jump.weight[a] != 0)
                            entries.push_back({i * line + (jump.first + a) * step,
                                               i * line + (jump.first + b) * step,
                                               weight * jump.weight[a] * jump.weight[b]});
    }

    SplineGrid grid_;
    std::vector<QuarticPiece> pieces_u_;
    std::vector<QuarticPiece> pieces_v_;
    std::size_t width_;
    std::size_t unknowns_;
    std::vector<Weights> weights_;
    std::vector<Entry> penalty_;
    BandedMatrix solver_;
};

/// Throws BadInput for a grid or points that no spline field can be fitted to.
template <std::size_t D>
void check_fit(SplineGrid const& grid, std::span<std::array<double, 2> const> places,
               std::span<std::array<double, D> const> values) {
    auto const good = [](double low, double high) { return is_finite(low) && is_finite(high) && low < high; };
    if (!good(grid.low_u, grid.high_u) || !good(grid.low_v, grid.high_v))
        throw BadInput("a spline field needs a rectangle with an extent; given was " + text_of(grid.low_u) +
                       " to " + text_of(grid.high_u) + " by " + text_of(grid.low_v) + " to " +
                       text_of(grid.high_v));
    if (grid.cells_u < 1 || grid.cells_v < 1 || grid.cells_u > 128 || grid.cells_v > 128)
        throw BadInput("a spline field has 1 to 128 cells on a side; given were " +
                       std::to_string(grid.cells_u) + " x " + std::to_string(grid.cells_v));
    if (places.size() != values.size())
        throw BadInput(std::to_string(places.size()) + " places of a spline field have " +
                       std::to_string(values.size()) + " values");
    double const slack_u = 1e-9 * (grid.high_u - grid.low_u);
    double const slack_v = 1e-9 * (grid.high_v - grid.low_v);
    for (std::size_t i = 0; i < places.size(); ++i) {
        bool finite = is_finite(places[i][0]) && is_finite(places[i][1]);
        for (double x : values[i])
            finite = finite && is_finite(x);
        if (!finite)
            throw BadInput("point " + std::to_string(i) +
                           " of a spline field holds a number that is not finite");
        if (places[i][0] < grid.low_u - slack_u || places[i][0] > grid.high_u + slack_u ||
            places[i][1] < grid.low_v - slack_v || places[i][1] > grid.high_v + slack_v)
            throw BadInput("point " + std::to_string(i) + " of a spline field, (" + text_of(places[i][0]) +
                           ", " + text_of(places[i][1]) + "), lies outside of its rectangle");
    }
}

} // namespace detail

/// The spline field that fits values at scattered places best, in the sense of least squares. What the data
/// leave open (a missing point, a corner without any) is decided by a penalty on the jumps of the fourth
/// derivative at the knots, with `penalty` as its weight beside the data's. Polynomials of degree 4 or less
/// in each variable have no such jumps and are met to rounding. The jumps of the best fit are as small as its
/// error, so the penalty costs no order: the error falls as the fifth power of the cell's side, that of the
/// k-th derivative as the power 5 − k, in holes too. Of noise, a weight of 1e-3 takes out what changes from
/// cell to cell a little more than least squares alone. Banded normal equations, factorised once. The result
/// does not depend on the units of places or values. Throws BadInput for a rectangle without extent, cells
/// below 1 or above 128 on a side, a penalty that is not above 0, a point that is not finite or outside of
/// the rectangle, and points that leave the field open. Sources: C. de Boor, "A Practical Guide to Splines",
/// revised ed., Springer 2001, chapters XIV and XVII; the penalty: P. Eilers, B. Marx, "Flexible Smoothing
/// with B-splines and Penalties", Statistical Science 11, 1996 (both from memory).
template <std::size_t D>
SplineField<static_cast<int>(D)>
fit_spline_field(SplineGrid const& grid, std::vector<std::array<double, 2>> const& places,
                 std::vector<std::array<double, D>> const& values, double penalty = 1e-3) {
    detail::check_fit<D>(grid, places, values);
    if (!(penalty > 0) || !is_finite(penalty))
        throw BadInput("the penalty of a spline field must be above 0; given was " +
                       detail::text_of(penalty));
    return detail::SplineFieldFit(grid, places, penalty).template field<static_cast<int>(D)>(values);
}

} // namespace seamhold

#endif
