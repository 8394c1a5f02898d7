#ifndef SEAMHOLD_HEAD_FIELD_MAP_HPP
#define SEAMHOLD_HEAD_FIELD_MAP_HPP

#include "seamhold/curve/spline_field.hpp"
#include "seamhold/head/field_hull.hpp"
#include "seamhold/head/field_marks.hpp"
#include "seamhold/head/field_outline.hpp"
#include "seamhold/number/gradient.hpp"
#include "seamhold/number/lift.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

namespace seamhold {

/// How well a field map meets its marks.
struct FieldMapReport {
    std::size_t marks = 0;
    std::size_t missing = 0;             ///< marks that the lattice has room for and that are not there
    double rms = 0;                      ///< of the distances of the marks from the map, rad
    double worst = 0;                    ///< the largest of them, rad
    std::size_t worst_row = 0;           ///< the row of that mark
    std::array<double, 2> worst_at = {}; ///< and its command, x and y mirror, rad
    double largest_displacement = 0;     ///< between commanded and found, rad
    double start_error = 0;              ///< of `start`, the worst of dense samples, rad
    double back_error = 0;               ///< of `forward` after `back`, the worst of dense samples, rad
};

/// Commanded mirror angles that give true ones.
template <class T> struct CommandedAngles {
    std::array<T, 2> angles; ///< x and y mirror, rad
    bool solved; ///< false where the bounded search did not end: the angles are then its last, not the answer
};

/// From commanded to true mirror angles, as measured by marks, and back. The displacement true − commanded is
/// a spline field over the commanded angles: no derivative up to the third jumps. Made by `fit_field_map`.
/// All angles are mechanical, rad. Outside of the marks' hull `share` is negative; the map goes on there
/// smoothly, levels off beyond the marks' rectangle, and means nothing.
class FieldMap {
public:
    /// Derivatives of `forward` and `back` up to this order have no jump.
    static constexpr int continuity = SplineField<2>::continuity;

    /// The true mirror angles, x and y, for commanded ones, at any number type.
    template <class A, class B>
    [[gnu::always_inline]] std::array<Common<A, B>, 2> forward(A const& x, B const& y) const {
        using T = Common<A, B>;
        auto const by = displacement_.at(x, y);
        return {T(number_cast<T>(x) + by[0]), T(number_cast<T>(y) + by[1])};
    }

    /// Commanded angles that give the true ones (x, y) roughly: to `report().start_error` inside the hull. A
    /// start for a search.
    std::array<double, 2> start(double x, double y) const {
        auto const by = inverse_.at(x, y);
        return {x + by[0], y + by[1]};
    }

    /// The commanded angles that give the true ones (x, y), at any number type: Newton steps on doubles from
    /// `start`, at most eight, one or two in the hull of a field that is not wild; then lifted (see
    /// `number/lift.hpp`). `forward` of it is (x, y) within 1e-15 rad or so, see `report().back_error`.
    template <class A, class B> CommandedAngles<Common<A, B>> back(A const& x, B const& y) const {
        using T = Common<A, B>;
        auto const root = solve({value_of(x), value_of(y)}, BuiltIn<T> ? 1e-8 : 1e-13);
        if constexpr (BuiltIn<T>)
            return {{static_cast<T>(root.angles[0]), static_cast<T>(root.angles[1])}, root.solved};
        else {
            std::array<T, 2> const wanted = {number_cast<T>(x), number_cast<T>(y)};
            auto const commanded = lift<T>(root.angles, root.inverse_jacobian, wanted,
                                           [this](auto const& unknowns, auto const& data) {
                                               auto residual = displacement_.at(unknowns[0], unknowns[1]);
                                               residual[0] = residual[0] + (unknowns[0] - data[0]);
                                               residual[1] = residual[1] + (unknowns[1] - data[1]);
                                               return residual;
                                           });
            return {commanded, root.solved};
        }
    }

    /// How far commanded angles are inside of what was measured, at any number type: 1 in the deepest place,
    /// 0 on the edge of the marks' hull, negative outside, as `FieldOutline::share`. A missing corner cuts
    /// the corner. Where hulls have many corners that hardly turn, edges are joined, outwards by at most a
    /// twentieth of the spacing between marks.
    template <class A, class B> Common<A, B> share(A const& x, B const& y) const { return hull_.share(x, y); }

    /// The hull of the commanded marks.
    FieldOutline const& hull() const { return hull_; }

    /// How well the marks are met.
    FieldMapReport const& report() const { return report_; }

    /// The commanded angles of the first mirror at which the fourth derivative jumps, both ends included,
    /// increasing.
    std::vector<double> knots_x() const { return displacement_.knots_u(); }

    /// The same of the last mirror.
    std::vector<double> knots_y() const { return displacement_.knots_v(); }

private:
    friend FieldMap fit_field_map(std::vector<FieldMark> const& marks);

    struct Root {
        std::array<double, 2> angles;
        std::array<std::array<double, 2>, 2> inverse_jacobian;
        bool solved;
    };

    FieldMap(SplineField<2> displacement, SplineField<2> inverse, FieldOutline hull)
        : displacement_(std::move(displacement)), inverse_(std::move(inverse)), hull_(std::move(hull)) {}

    /// Ends with a step below `small`, rad. After one of 1e-8 the next would be some ten times its square,
    /// below rounding; the Jacobian belongs to the angles before the last step.
    [[gnu::always_inline]] Root solve(std::array<double, 2> const& wanted, double small) const {
        Root root{start(wanted[0], wanted[1]), {}, false};
        for (int step = 0; step < 8 && !root.solved; ++step) {
            using G = Gradient<double, 2>;
            auto const got = forward(G::variable(root.angles[0], 0), G::variable(root.angles[1], 1));
            auto const &x = got[0], &y = got[1];
            double const inverse = 1 / (x.partial[0] * y.partial[1] - x.partial[1] * y.partial[0]);
            root.inverse_jacobian = {{{y.partial[1] * inverse, -x.partial[1] * inverse},
                                      {-y.partial[0] * inverse, x.partial[0] * inverse}}};
            double const off[] = {x.value - wanted[0], y.value - wanted[1]};
            double longest = 0;
            for (std::size_t i = 0; i < 2; ++i) {
                double const move =
                    root.inverse_jacobian[i][0] * off[0] + root.inverse_jacobian[i][1] * off[1];
                root.angles[i] -= move;
                longest = std::max(longest, std::abs(move));
            }
            root.solved = longest < small;
        }
        return root;
    }

    SplineField<2> displacement_; ///< over commanded angles: true − commanded
    SplineField<2> inverse_;      ///< over true angles: commanded − true, roughly
    FieldOutline hull_;
    FieldMapReport report_;
};

namespace detail {

/// Refuses a fitted map that folds over, or nearly: where the area of a small square shrinks to less than a
/// tenth. `places` are samples within the hull.
inline void check_folds(SplineField<2> const& displacement, std::vector<std::array<double, 2>> const& places,
                        std::vector<FieldMark> const& marks, MarkLattice const& lattice) {
    using G = Gradient<double, 2>;
    for (auto const& p : places) {
        auto const by = displacement.at(G::variable(p[0], 0), G::variable(p[1], 1));
        double const area =
            (1 + by[0].partial[0]) * (1 + by[1].partial[1]) - by[0].partial[1] * by[1].partial[0];
        if (area >= 0.1)
            continue;
        auto nearest = marks;
        auto const distance = [&](FieldMark const& m) {
            return std::hypot((m.commanded[0] - p[0]) / lattice.spacing[0],
                              (m.commanded[1] - p[1]) / lattice.spacing[1]);
        };
        std::partial_sort(nearest.begin(), nearest.begin() + 2, nearest.end(),
                          [&](auto const& a, auto const& b) { return distance(a) < distance(b); });
        throw BadInput("the found marks of a field fold over between " + rows_text(nearest[0], nearest[1]) +
                       ": near the command " + place_text(p) + " a small square keeps " + text_of(area) +
                       " of its area; it must keep 0.1 or more");
    }
}

/// The inverse of a displacement, fitted to dense samples: places are commanded angles.
inline SplineField<2> fit_inverse(SplineField<2> const& displacement,
                                  std::vector<std::array<double, 2>> const& places) {
    std::vector<std::array<double, 2>> arrived, back;
    SplineGrid grid = displacement.grid();
    for (auto const& p : places) {
        auto const by = displacement.at(p[0], p[1]);
        arrived.push_back({p[0] + by[0], p[1] + by[1]});
        back.push_back({-by[0], -by[1]});
    }
    auto const order = [&](std::size_t k) {
        auto const ends = std::minmax_element(arrived.begin(), arrived.end(),
                                              [k](auto const& a, auto const& b) { return a[k] < b[k]; });
        return std::pair{(*ends.first)[k], (*ends.second)[k]};
    };
    std::tie(grid.low_u, grid.high_u) = order(0);
    std::tie(grid.low_v, grid.high_v) = order(1);
    return fit_spline_field(grid, arrived, back);
}

} // namespace detail

/// The field map that fits the marks best, in the sense of least squares (`fit_spline_field`, with
/// `proposed_cells`). Marks need not stand in exact rows; from about 5 x 5 to 65 x 65, of which some may be
/// missing. The map follows a smooth distortion with the fifth power of the spacing; each mark's distance
/// from it is looked at, and the worst stands in the report. Throws BadInput, naming the row or the two rows,
/// for a mark that is not finite, too few marks, two marks with the same command, a hole of more than 2 x 2
/// missing marks, an axis that runs the other way than commanded, x and y that have changed places, and a
/// field that folds over.
inline FieldMap fit_field_map(std::vector<FieldMark> const& marks) {
    auto const lattice = detail::lattice_of(marks);
    detail::check_directions(marks, lattice);
    auto const hull = detail::hull_of(marks, lattice);
    detail::check_holes(marks, lattice, hull);

    std::vector<std::array<double, 2>> places, displacements;
    for (auto const& m : marks) {
        places.push_back(m.commanded);
        displacements.push_back({m.found[0] - m.commanded[0], m.found[1] - m.commanded[1]});
    }
    auto const displacement =
        fit_spline_field(SplineGrid{lattice.low[0], lattice.high[0], lattice.low[1], lattice.high[1],
                                    proposed_cells(lattice.count[0]), proposed_cells(lattice.count[1])},
                         places, displacements);
    auto const samples = detail::samples_in(hull, lattice, displacement.grid());
    detail::check_folds(displacement, samples, marks, lattice);

    FieldMap map(displacement, detail::fit_inverse(displacement, samples), hull);
    auto& report = map.report_;
    report.marks = marks.size();
    std::size_t const room = lattice.count[0] * lattice.count[1];
    report.missing = room > marks.size() ? room - marks.size() : 0;
    for (std::size_t i = 0; i < marks.size(); ++i) {
        auto const got = displacement.at(places[i][0], places[i][1]);
        double const off = std::hypot(got[0] - displacements[i][0], got[1] - displacements[i][1]);
        report.rms += off * off / static_cast<double>(marks.size());
        if (off > report.worst || i == 0) {
            report.worst = off;
            report.worst_row = marks[i].row;
            report.worst_at = marks[i].commanded;
        }
        report.largest_displacement =
            std::max(report.largest_displacement, std::hypot(displacements[i][0], displacements[i][1]));
    }
    report.rms = std::sqrt(report.rms);
    for (auto const& p : samples) {
        auto const arrived = map.forward(p[0], p[1]);
        auto const start = map.start(arrived[0], arrived[1]);
        auto const back = map.back(arrived[0], arrived[1]);
        report.start_error = std::max(report.start_error, std::hypot(start[0] - p[0], start[1] - p[1]));
        report.back_error =
            std::max(report.back_error, std::hypot(back.angles[0] - p[0], back.angles[1] - p[1]));
        if (!back.solved)
            throw BadInput("a field map cannot be turned round near the command " + detail::place_text(p) +
                           ": the marks are too uneven");
    }
    return map;
}

} // namespace seamhold

#endif
