#ifndef SEAMHOLD_CALIBRATE_FOCUS_ZERO_HPP
#define SEAMHOLD_CALIBRATE_FOCUS_ZERO_HPP

#include "seamhold/calibrate/focus_series.hpp"
#include "seamhold/head/focus_surface.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// A defocus series at one place of the field: mirror angles, rad, or a place on the plate, m; one kind
/// throughout.
struct FocusFieldSeries {
    double x;                   ///< of the place
    double y;                   ///< of the place
    std::vector<FocusRow> rows; ///< of the series
};

/// How the focus may lie over the field.
enum class FocusField {
    level,  ///< the same setting everywhere; 1 place is enough
    tilted, ///< a plane; 3 places not on a line
    bowed   ///< of the second power; 6 places that determine it, better nine
};

/// The focus over the field: setting = c · (1, x, y, x², xy, y²), as many terms as were asked for.
struct FocusZero {
    std::vector<FocusFieldSeries> places; ///< as given
    std::vector<FocusSeriesFit> series;   ///< what each series says
    Eigen::VectorXd terms;                ///< c: m, then by the places' unit and its square
    Eigen::MatrixXd covariance;           ///< of the terms
    double deviation;              ///< of a row, from all series together, as in `FocusSeriesFit::deviation`
    double degrees_of_freedom;     ///< behind it
    std::vector<double> residuals; ///< vertex of a series less the surface, m
    double misfit; ///< the probability that chance alone makes the vertices lie as far off the surface; 1
                   ///< where no places are to spare. Small means: another surface, or an odd place
    std::optional<std::size_t> odd; ///< the place that is farthest off, where `misfit` is below 0.001

    /// The setting that focuses on the plate at a place of the field, m.
    Estimate at(double x, double y) const {
        Eigen::VectorXd const row = row_of(x, y);
        return {terms.dot(row), std::sqrt(row.dot(covariance * row)), degrees_of_freedom};
    }

    /// The setting that focuses at the field's middle: the focus zero, m.
    Estimate zero() const { return at(0, 0); }

    /// The vertices as rows for `fit_focus_surface`, which takes 25 places or more, mirror angles and lens
    /// displacements.
    std::vector<FocusSurfaceRow> surface_rows() const {
        std::vector<FocusSurfaceRow> rows;
        for (std::size_t i = 0; i < places.size(); ++i)
            rows.push_back({places[i].x, places[i].y, series[i].vertex.value});
        return rows;
    }

    /// The products that the terms stand at, at a place.
    Eigen::VectorXd row_of(double x, double y) const {
        Eigen::VectorXd all(6);
        all << 1, x, y, x * x, x * y, y * y;
        return all.head(terms.size());
    }
};

/// What a focus zero says of the head: by how much the focus lies farther from the head than the head's own
/// numbers have it, m at the work, as `HeadParts::focus_shift` takes it. `zero` is the lens's displacement
/// that focuses on a plate on which displacement 0 should, `focus_ratio` how far the focus moves for a metre
/// of the lens. The lens had to be moved by `zero` to bring the focus back, so the shift is −ratio · zero.
inline Estimate focus_shift_of(Estimate const& zero, double focus_ratio) {
    return {-focus_ratio * zero.value, std::abs(focus_ratio) * zero.deviation, zero.degrees_of_freedom};
}

/// The focus over the field from defocus series at several places. Each series is fitted by itself
/// (`fit_focus_series`, which names what it refuses and the series); the scatter of rows is taken from all of
/// them together, so that even short series have honest intervals; each vertex counts by its geometry. Throws
/// BadInput for no series, for a place that is not finite, and for places that do not determine the field
/// that was asked for. Widths without errors give the surface to some 1e-11 of the settings' span.
inline FocusZero fit_focus_zero(std::vector<FocusFieldSeries> const& places, FocusField field,
                                FocusSeriesOptions const& options = {}) {
    Eigen::Index const count = field == FocusField::level ? 1 : field == FocusField::tilted ? 3 : 6;
    auto const n = static_cast<Eigen::Index>(places.size());
    if (n < count)
        throw BadInput("the focus over the field needs series at " + std::to_string(count) +
                       " places or more for this surface; given " + std::to_string(n));
    FocusZero zero{};
    zero.places = places;
    zero.terms = Eigen::VectorXd::Zero(count);
    double reach_x = 0, reach_y = 0, sum = 0;
    for (std::size_t i = 0; i < places.size(); ++i) {
        std::string const name = "the focus series at place " + std::to_string(i + 1);
        if (!is_finite(places[i].x) || !is_finite(places[i].y))
            throw BadInput(name + " has a place that is not finite");
        reach_x = std::max(reach_x, std::abs(places[i].x));
        reach_y = std::max(reach_y, std::abs(places[i].y));
        zero.series.push_back(fit_focus_series(places[i].rows, options, name));
        auto const& fit = zero.series.back();
        sum += fit.vertex.degrees_of_freedom * sqr(fit.deviation);
        zero.degrees_of_freedom += fit.vertex.degrees_of_freedom;
    }
    zero.deviation = std::sqrt(sum / zero.degrees_of_freedom);

    // In shares of the field, so that its unit does not matter.
    auto const unit = [](double reach) { return reach > 0 ? 1 / reach : 1.0; };
    double const ux = unit(reach_x), uy = unit(reach_y);
    Eigen::MatrixXd rows(n, count);
    Eigen::VectorXd right(n), roots(n);
    for (Eigen::Index i = 0; i < n; ++i) {
        auto const k = static_cast<std::size_t>(i);
        roots(i) = 1 / zero.series[k].vertex_per_deviation;
        rows.row(i) = roots(i) * zero.row_of(places[k].x * ux, places[k].y * uy);
        right(i) = roots(i) * zero.series[k].vertex.value;
    }
    Eigen::JacobiSVD<Eigen::MatrixXd> const svd(rows, Eigen::ComputeThinU | Eigen::ComputeThinV);
    auto const& strengths = svd.singularValues();
    if (!(strengths(count - 1) > 1e-6 * strengths(0)))
        throw BadInput(field == FocusField::tilted
                           ? "the places of the focus series lie on a line: a tilt across it is open; add a "
                             "place beside it"
                           : "the places of the focus series do not determine a bowed field: use three by "
                             "three places, corners, edges and middle");
    Eigen::VectorXd scale(6);
    scale << 1, ux, uy, ux * ux, ux * uy, uy * uy;
    Eigen::MatrixXd const to_terms = scale.head(count).asDiagonal();
    Eigen::VectorXd const scaled = svd.solve(right);
    zero.terms = to_terms * scaled;
    Eigen::MatrixXd const root = to_terms * svd.matrixV() * strengths.cwiseInverse().asDiagonal();
    zero.covariance = sqr(zero.deviation) * (root * root.transpose());
    Eigen::VectorXd const left = right - rows * scaled;
    double worst = 0;
    std::size_t worst_place = 0;
    for (Eigen::Index i = 0; i < n; ++i) {
        zero.residuals.push_back(left(i) / roots(i));
        double const held =
            1 - (rows.row(i) * svd.matrixV() * strengths.cwiseInverse().asDiagonal()).squaredNorm();
        double const size = held > 1e-9 ? sqr(left(i)) / held : 0;
        if (size > worst) {
            worst = size;
            worst_place = static_cast<std::size_t>(i);
        }
    }
    auto const spare = static_cast<double>(n - count);
    // Below the rounding of the vertices nothing is off.
    zero.misfit =
        spare > 0 && sqr(zero.deviation) > 1e-24
            ? f_tail(left.squaredNorm() / spare / sqr(zero.deviation), spare, zero.degrees_of_freedom)
            : 1;
    if (zero.misfit < 1e-3)
        zero.odd = worst_place;
    return zero;
}

} // namespace seamhold

#endif
