#ifndef SEAMHOLD_HEAD_FOCUS_SURFACE_HPP
#define SEAMHOLD_HEAD_FOCUS_SURFACE_HPP

#include "seamhold/curve/spline_field.hpp"
#include "seamhold/head/command.hpp"
#include "seamhold/number/bad_input.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <span>
#include <string>
#include <tuple>
#include <vector>

namespace seamhold {

/// One row of a table over both mirror angles: which displacement of the lens gave the sharpest spot on a
/// flat plane.
struct FocusSurfaceRow {
    double x_mirror; ///< commanded angle of the first mirror, mechanical, rad
    double y_mirror; ///< commanded angle of the last mirror, mechanical, rad
    double lens;     ///< displacement of the focusing lens, m
};

/// A correction of the focus over both mirror angles: the path that a focus law must be asked for, less the
/// path to the point. Measured on one plane, it is taken to be the same all along a beam.
class FocusSurface {
public:
    /// From a field of path corrections, m, over mirror angles, rad, and how far its fit is off. Made by
    /// `fit_focus_surface`.
    FocusSurface(SplineField<1> shift, double worst, std::size_t worst_row)
        : shift_(std::move(shift)), worst_(worst), worst_row_(worst_row) {}

    /// What to add to the optical path to a point before the focus law is asked for the lens, m, at mirror
    /// angles, rad; with derivatives, without a jump up to the third. Outside of the measured rectangle it
    /// levels off: see `clearance`.
    template <class A, class B> Common<A, B> shift(A const& x_mirror, B const& y_mirror) const {
        return shift_.at(x_mirror, y_mirror)[0];
    }

    /// How far inside of the measured rectangle a pair of mirror angles is, rad; negative outside.
    template <class A, class B> Common<A, B> clearance(A const& x_mirror, B const& y_mirror) const {
        using T = Common<A, B>;
        auto const& grid = shift_.grid();
        T const x = Range{grid.low_u, grid.high_u}.clearance(number_cast<T>(x_mirror));
        T const y = Range{grid.low_v, grid.high_v}.clearance(number_cast<T>(y_mirror));
        return select(x < y, x, y);
    }

    /// The same as a share: 1 in the middle of the rectangle, 0 on its edge, negative outside: the lesser of
    /// 1 − (way from the middle / half side)² of both angles.
    template <class A, class B> Common<A, B> share(A const& x_mirror, B const& y_mirror) const {
        using T = Common<A, B>;
        auto const& grid = shift_.grid();
        auto const along = [](T const& at, double low, double high) {
            return T(detail::factor<T>(1) -
                     sqr((at - detail::factor<T>((low + high) / 2)) * detail::factor<T>(2 / (high - low))));
        };
        T const x = along(number_cast<T>(x_mirror), grid.low_u, grid.high_u);
        T const y = along(number_cast<T>(y_mirror), grid.low_v, grid.high_v);
        return select(x < y, x, y);
    }

    /// The largest miss of the fit at a row, m of path.
    double worst_residual() const { return worst_; }

    /// The row of that miss, counted from 0.
    std::size_t worst_row() const { return worst_row_; }

    /// The fitted field.
    SplineField<1> const& field() const { return shift_; }

private:
    SplineField<1> shift_;
    double worst_;
    std::size_t worst_row_;
};

namespace detail {
/// How many different values there are, where those closer than a thousandth of the whole are one.
inline std::size_t count_of_levels(std::vector<double> values) {
    std::sort(values.begin(), values.end());
    double const same = 1e-3 * (values.back() - values.front());
    std::size_t count = 1;
    for (std::size_t i = 1; i < values.size(); ++i)
        count += values[i] - values[i - 1] > same ? 1U : 0U;
    return count;
}

/// Throws BadInput, naming rows, for a table over both mirror angles that cannot be fitted.
inline void check_focus_surface(std::span<FocusSurfaceRow const> rows) {
    if (rows.size() < 25)
        throw BadInput("a focus surface needs 25 rows or more, five by five; given were " +
                       std::to_string(rows.size()));
    for (std::size_t i = 0; i < rows.size(); ++i)
        if (!is_finite(rows[i].x_mirror) || !is_finite(rows[i].y_mirror) || !is_finite(rows[i].lens))
            throw BadInput("row " + std::to_string(i) +
                           " of a focus surface holds a number that is not finite");
    std::vector<std::size_t> order(rows.size());
    std::iota(order.begin(), order.end(), std::size_t(0));
    auto const place = [&](std::size_t i) { return std::tuple(rows[i].x_mirror, rows[i].y_mirror, i); };
    std::sort(order.begin(), order.end(), [&](auto a, auto b) { return place(a) < place(b); });
    for (std::size_t i = 1; i < order.size(); ++i) {
        auto const& a = rows[order[i - 1]];
        auto const& b = rows[order[i]];
        if (a.x_mirror == b.x_mirror && a.y_mirror == b.y_mirror)
            throw BadInput("rows " + std::to_string(order[i - 1]) + " and " + std::to_string(order[i]) +
                           " of a focus surface clash: both are for the mirror angles " +
                           text_of(a.x_mirror) + " and " + text_of(a.y_mirror) + " rad");
    }
}
} // namespace detail

/// The correction that makes a focus law say, on the plane of the measurement, what was measured:
/// law.lens(path + shift) is the row's displacement. `path_to_plane(x_mirror, y_mirror)` must say the optical
/// path from the first mirror to the plane along the beam of two commanded angles, m; the law is asked
/// `path(lens)` and `lens_clearance(lens)`. Rows may stand in any order, rows of the grid may be missing. A
/// least-squares spline field: with rows on a regular grid the correction's error falls as h⁵. Throws
/// BadInput, naming rows counted from 0, for fewer than 25 rows, a number that is not finite, two rows for
/// the same angles, angles that do not spread over both mirrors, a displacement the law does not know, and a
/// path that is not finite.
template <class Law, class PathToPlane>
FocusSurface fit_focus_surface(Law const& law, std::span<FocusSurfaceRow const> rows,
                               PathToPlane const& path_to_plane) {
    detail::check_focus_surface(rows);
    std::vector<double> x, y;
    std::vector<std::array<double, 2>> places;
    std::vector<std::array<double, 1>> shifts;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        auto const& row = rows[i];
        if (!(law.lens_clearance(row.lens) >= -1e-12)) // a picometre, for a table's own last row
            throw BadInput("row " + std::to_string(i) + " of a focus surface has a lens displacement of " +
                           detail::text_of(row.lens) + " m, which the focus law does not know");
        double const shift = law.path(row.lens) - path_to_plane(row.x_mirror, row.y_mirror);
        if (!is_finite(shift))
            throw BadInput("row " + std::to_string(i) +
                           " of a focus surface has mirror angles whose beam does not meet the plane");
        x.push_back(row.x_mirror);
        y.push_back(row.y_mirror);
        places.push_back({row.x_mirror, row.y_mirror});
        shifts.push_back({shift});
    }
    auto const [low_x, high_x] = std::minmax_element(x.begin(), x.end());
    auto const [low_y, high_y] = std::minmax_element(y.begin(), y.end());
    if (!(*low_x < *high_x) || !(*low_y < *high_y))
        throw BadInput("the rows of a focus surface must spread over both mirror angles; given were " +
                       detail::text_of(*low_x) + " to " + detail::text_of(*high_x) + " by " +
                       detail::text_of(*low_y) + " to " + detail::text_of(*high_y) + " rad");
    std::size_t levels_x = detail::count_of_levels(x);
    std::size_t levels_y = detail::count_of_levels(y);
    if (levels_x * levels_y > 2 * rows.size()) // scattered, not a grid
        levels_x = levels_y = static_cast<std::size_t>(std::sqrt(static_cast<double>(rows.size())));
    auto field = fit_spline_field(
        SplineGrid{*low_x, *high_x, *low_y, *high_y, proposed_cells(levels_x), proposed_cells(levels_y)},
        places, shifts);
    double worst = 0;
    std::size_t worst_row = 0;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        double const miss = std::abs(field.at(x[i], y[i])[0] - shifts[i][0]);
        if (miss > worst) {
            worst = miss;
            worst_row = i;
        }
    }
    return {std::move(field), worst, worst_row};
}

} // namespace seamhold

#endif
