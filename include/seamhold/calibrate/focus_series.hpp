#ifndef SEAMHOLD_CALIBRATE_FOCUS_SERIES_HPP
#define SEAMHOLD_CALIBRATE_FOCUS_SERIES_HPP

#include "seamhold/beam/caustic_fit.hpp"
#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/calibrate/fit_kept.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace seamhold {

/// One mark, or one look at the spot, of a defocus series: the width found at a setting of the focus.
struct FocusRow {
    double setting; ///< focus command, lens displacement or height of the plate, m
    double width;   ///< of the mark or the spot, m
};

/// How widths scatter from one mark to the next.
enum class WidthScatter {
    share, ///< by a share of themselves: what the process does
    length ///< by the same length at all settings: what reading off does
};

/// How a defocus series is read.
struct FocusSeriesOptions {
    WidthScatter scatter = WidthScatter::share; ///< see there
    bool find_outliers = true;                  ///< from 8 rows on
    double level = 0.95; ///< confidence with which there must be a minimum, or the series is refused
};

/// What a defocus series says of its place in the field.
struct FocusSeriesFit {
    Estimate vertex;               ///< the setting at which the width is least, m
    double least_width;            ///< there, m
    double opening;                ///< growth of the width far from the vertex, m for a m of the setting
    std::vector<double> residuals; ///< width less fitted width, row by row, m
    std::vector<bool> outlier;     ///< rows that were left out
    double deviation;              ///< of a row: a share of its width, or a length in m
    double vertex_per_deviation;   ///< deviation of the vertex for a row's deviation of 1
    double skew;                   ///< Student's t of a term of the third power
    Eigen::Vector3d parabola;      ///< of width² over the setting less `middle`, m², m and 1
    Eigen::Matrix3d covariance;    ///< of these three
    double middle;                 ///< of the settings, m
    double reach;                  ///< half of what they span, m
    std::size_t rows_below;        ///< how many kept rows lie below the vertex
    std::size_t rows_above;        ///< and above

    /// The bounds of the vertex at a confidence level: Fieller's, exact for the ratio −b/(2c) as far as b and
    /// c are normal. They are a little uneven about the vertex where the series is short.
    Bounds vertex_bounds(double level = 0.95) const {
        auto const ratio = ratio_bounds(-parabola(1), 2 * parabola(2), covariance(1, 1), 4 * covariance(2, 2),
                                        -2 * covariance(1, 2), vertex.degrees_of_freedom, level);
        return {middle + ratio.low, middle + ratio.high};
    }

    /// In words, what makes the series weak or was left out; empty where nothing does.
    std::vector<std::string> warnings() const {
        std::vector<std::string> all;
        for (std::size_t i = 0; i < outlier.size(); ++i)
            if (outlier[i])
                all.push_back("row " + std::to_string(i + 1) + " of the focus series is off by " +
                              detail::text_of(residuals[i]) + " m of width and was left out");
        if (rows_below < 2 || rows_above < 2)
            all.push_back("only " + std::to_string(std::min(rows_below, rows_above)) +
                          " row lies on one side of the focus: mark further out there");
        if (std::abs(vertex.value - middle) > 0.25 * reach)
            all.push_back("the settings lie off the focus by " + detail::text_of(middle - vertex.value) +
                          " m: if these are marks, repeat the series about " + detail::text_of(vertex.value) +
                          " m");
        if (vertex.degrees_of_freedom > 1 &&
            std::abs(skew) > student_quantile(0.995, vertex.degrees_of_freedom - 1))
            all.push_back("the widths grow differently on the two sides of the focus (Student's t " +
                          detail::text_of(skew) +
                          "): centre the series about the focus, and look at the optic and its window");
        return all;
    }
};

namespace detail {

/// What makes rows a series that can be fitted; throws BadInput and names what was probably confused.
inline void check_focus_rows(std::vector<FocusRow> const& rows, std::string const& name) {
    std::vector<double> settings;
    double widest = 0, narrowest_setting = 0;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        std::string const where = " in row " + std::to_string(i + 1) + " of " + name;
        if (!is_finite(rows[i].setting) || !is_finite(rows[i].width))
            throw BadInput("a number" + where + " is not finite");
        if (!(rows[i].width > 0))
            throw BadInput("a width of " + text_of(rows[i].width) + " m" + where +
                           " is not above 0; were setting and width swapped?");
        settings.push_back(rows[i].setting);
        widest = std::max(widest, rows[i].width);
    }
    std::sort(settings.begin(), settings.end());
    double const span = settings.empty() ? 0 : settings.back() - settings.front();
    narrowest_setting = settings.empty() ? 0 : settings.front();
    settings.erase(std::unique(settings.begin(), settings.end()), settings.end());
    if (rows.size() < 5 || settings.size() < 4)
        throw BadInput(name +
                       " needs 5 rows or more at 4 different settings or more, better 9 to 11; given " +
                       std::to_string(rows.size()) + " at " + std::to_string(settings.size()));
    // No spot of a welding head is 20 mm wide, and no focus axis moves by a metre.
    if (widest > 0.02 && narrowest_setting > 0 && span < 0.005)
        throw BadInput(name + " has widths up to " + text_of(widest) + " m over settings that differ by " +
                       text_of(span) + " m: setting and width look swapped");
    if (widest > 0.02)
        throw BadInput(name + " has widths up to " + text_of(widest) +
                       " m: they look like millimetres given as metres");
    if (span > 1)
        throw BadInput(name + " has settings that spread over " + text_of(span) +
                       " m: they look like millimetres given as metres");
}

/// A series in numbers of the size of 1.
struct ScaledSeries {
    std::vector<double> u; ///< (setting − middle) / reach
    std::vector<double> v; ///< width / widest
    WidthScatter scatter;

    /// The fitted square of a width; at or below 0 there is no width.
    double square(Eigen::Vector3d const& abc, std::size_t i) const {
        return abc(0) + u[i] * (abc(1) + u[i] * abc(2));
    }

    /// Measured less fitted, in what scatters evenly: the width's logarithm or the width.
    double residual(Eigen::Vector3d const& abc, std::size_t i) const {
        double const y = square(abc, i);
        return scatter == WidthScatter::share ? std::log(v[i]) - std::log(y) / 2 : v[i] - std::sqrt(y);
    }

    /// How the residual changes with the square.
    double slope(double y) const { return scatter == WidthScatter::share ? -0.5 / y : -0.5 / std::sqrt(y); }

    Linearised rows(Eigen::Vector3d const& abc) const {
        auto const n = static_cast<Eigen::Index>(u.size());
        Linearised all{Eigen::VectorXd(n), Eigen::MatrixXd(n, 3)};
        for (std::size_t i = 0; i < u.size(); ++i) {
            auto const k = static_cast<Eigen::Index>(i);
            all.residuals(k) = residual(abc, i);
            all.jacobian.row(k) = slope(square(abc, i)) * Eigen::RowVector3d(1, u[i], u[i] * u[i]);
        }
        return all;
    }
};

/// The parabola through three rows that leaves the middle residual least: it stands as long as half of the
/// rows are sound. P. Rousseeuw, J. Amer. Stat. Assoc. 79 (1984) 871–880 (from memory). Of many rows only
/// some triples are tried. False where no triple has widths everywhere.
struct MedianParabola {
    bool found;
    Eigen::Vector3d abc;
};

inline MedianParabola median_parabola(ScaledSeries const& series) {
    std::size_t const n = series.u.size();
    std::size_t const stride = n > 30 ? n / 15 : 1; // then some 450 triples
    std::size_t const half = n / 2 + 2;
    MedianParabola best{false, Eigen::Vector3d::Zero()};
    double least = 0;
    std::vector<double> misses(n);
    for (std::size_t i = 0; i < n; i += stride)
        for (std::size_t j = i + 1; j < n; j += stride)
            for (std::size_t k = j + 1; k < n; k += stride) {
                double const p = series.u[i], q = series.u[j], r = series.u[k];
                double const apart = std::min({std::abs(p - q), std::abs(q - r), std::abs(p - r)});
                if (!(apart > 1e-6))
                    continue;
                // Divided differences of the squared widths.
                double const yp = sqr(series.v[i]), yq = sqr(series.v[j]), yr = sqr(series.v[k]);
                double const first = (yq - yp) / (q - p);
                double const c = ((yr - yq) / (r - q) - first) / (r - p);
                Eigen::Vector3d const abc(yp - first * p + c * p * q, first - c * (p + q), c);
                bool positive = true;
                for (std::size_t m = 0; m < n && positive; ++m) {
                    positive = series.square(abc, m) > 1e-12;
                    misses[m] = positive ? std::abs(series.residual(abc, m)) : 0;
                }
                if (!positive)
                    continue;
                auto const middle = misses.begin() + static_cast<std::ptrdiff_t>(std::min(half, n - 1));
                std::nth_element(misses.begin(), middle, misses.end());
                if (!best.found || *middle < least) {
                    least = *middle;
                    best = {true, abc};
                }
            }
    return best;
}

/// Student's t of one more column, tried beside a Jacobian on the residuals of the kept rows.
inline double added_term(Eigen::MatrixXd const& jacobian, Eigen::VectorXd const& residuals,
                         Eigen::VectorXd const& column) {
    Eigen::VectorXd const beside = column - jacobian * jacobian.householderQr().solve(column);
    double const length = beside.norm();
    auto const freedom = static_cast<double>(jacobian.rows() - jacobian.cols() - 1);
    if (!(length > 1e-9 * column.norm()) || !(freedom > 0))
        return 0;
    double const part = beside.dot(residuals) / length;
    double const rest = residuals.squaredNorm() - sqr(part);
    // What is left of numbers of the size of 1 without errors is rounding and says nothing.
    return rest > 1e-24 ? part / std::sqrt(rest / freedom) : 0.0;
}

} // namespace detail

/// The focus from a defocus series: the least of width² = a + bz + cz² over the setting z (the beam's
/// caustic, see `fit_caustic`), at −b/(2c). Rows may stand in any order and settings may be repeated. One
/// gross outlier in ten is found, named and left out. A mark is not as wide as the beam: it ends where the
/// light is too weak to mark. What multiplies all widths, or adds to all their squares, does not move the
/// vertex. What depends
/// on the beam's width in another way (a constant added, a threshold) does not move it either where the
/// settings lie evenly about the focus. Where they do not, it moves by a share of what they are off: by 1 %
/// for a constant of a third of the waist, by an eighth for a threshold that the outer marks hardly reach
/// (measured); the misfit widens the bounds by more. So centre the series and repeat it. Do not take
/// `least_width` from marks for the beam's. Throws BadInput with what to do: for fewer than 5 rows or 4
/// settings, numbers that are not finite, widths not above 0, columns that look swapped, millimetres given as
/// metres, widths without a minimum, and settings that do not have the focus between them. Widths without
/// errors give the vertex to some 1e-12 of the settings' span. `name` is what messages call the series.
inline FocusSeriesFit fit_focus_series(std::vector<FocusRow> const& rows,
                                       FocusSeriesOptions const& options = {},
                                       std::string const& name = "the focus series") {
    detail::check_focus_rows(rows, name);
    auto const [low, high] = std::minmax_element(
        rows.begin(), rows.end(), [](auto const& p, auto const& q) { return p.setting < q.setting; });
    double const middle = (low->setting + high->setting) / 2;
    double const reach = (high->setting - low->setting) / 2;
    double widest = 0;
    for (auto const& row : rows)
        widest = std::max(widest, row.width);
    detail::ScaledSeries series{{}, {}, options.scatter};
    for (auto const& row : rows) {
        series.u.push_back((row.setting - middle) / reach);
        series.v.push_back(row.width / widest);
    }
    auto const start = detail::median_parabola(series);
    auto const settings = " m (settings run from " + detail::text_of(low->setting) + " to " +
                          detail::text_of(high->setting) + " m)";
    auto const no_minimum = [&] {
        auto const narrowest = std::min_element(
            rows.begin(), rows.end(), [](auto const& p, auto const& q) { return p.width < q.width; });
        return BadInput(name + " has no clear minimum: the narrowest row is " +
                        std::to_string(narrowest - rows.begin() + 1) + " at " +
                        detail::text_of(narrowest->setting) + settings +
                        "; go further out on both sides of the narrowest, to twice its width or more");
    };
    if (!start.found)
        throw no_minimum();

    auto const linearised = [&series](Eigen::Vector3d const& abc) { return series.rows(abc); };
    auto const found = detail::fit_kept(start.abc, linearised, 1, options.find_outliers && rows.size() >= 8);
    auto const& fit = found.fit;
    Eigen::Vector3d const abc = fit.state;
    Eigen::Matrix3d const covariance = fit.covariance();
    double const t = student_quantile(detail::upper_end(options.level), fit.degrees_of_freedom);
    if (!fit.determined || !(abc(2) > t * std::sqrt(covariance(2, 2))))
        throw no_minimum();
    double const at = -abc(1) / (2 * abc(2));
    double const vertex = middle + reach * at;
    double const least = abc(0) - sqr(abc(1)) / (4 * abc(2));
    std::size_t below = 0, above = 0;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        below += !found.outlier[i] && series.u[i] < at ? 1U : 0U;
        above += !found.outlier[i] && series.u[i] > at ? 1U : 0U;
    }
    if (below == 0 || above == 0)
        throw BadInput(name + " does not have the focus between its settings: it would be at about " +
                       detail::text_of(vertex) + settings + "; go on " + (below == 0 ? "below " : "above ") +
                       detail::text_of(vertex + (below == 0 ? -reach : reach)) + " m");
    if (!(least > 0))
        throw BadInput(name + " falls to no width at all at " + detail::text_of(vertex) + settings +
                       "; mark more settings near it");

    Eigen::Vector3d const scale(sqr(widest), sqr(widest) / reach, sqr(widest / reach));
    FocusSeriesFit result{};
    result.parabola = scale.cwiseProduct(abc);
    result.covariance = scale.asDiagonal() * covariance * scale.asDiagonal();
    result.middle = middle;
    result.reach = reach;
    Eigen::Vector3d const gradient(0, -1 / (2 * abc(2)), abc(1) / (2 * sqr(abc(2))));
    // Taken out of the sums: inlined, g++ 12 warns of Eigen's own storage.
    Eigen::Vector3d const spread = covariance * gradient, unit_spread = fit.unit_covariance * gradient;
    result.vertex = {vertex, reach * std::sqrt(gradient.dot(spread)), fit.degrees_of_freedom};
    result.vertex_per_deviation =
        reach * std::sqrt(gradient.dot(unit_spread)) / (options.scatter == WidthScatter::share ? 1 : widest);
    result.least_width = widest * std::sqrt(least);
    result.opening = std::sqrt(result.parabola(2));
    result.deviation = fit.deviation() * (options.scatter == WidthScatter::share ? 1 : widest);
    result.outlier = found.outlier;
    result.rows_below = below;
    result.rows_above = above;
    auto const kept =
        static_cast<Eigen::Index>(std::count(found.outlier.begin(), found.outlier.end(), false));
    Eigen::MatrixXd jacobian(kept, 3);
    Eigen::VectorXd residuals(kept), cubic(kept);
    Eigen::Index k = 0;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        double const y = series.square(abc, i);
        result.residuals.push_back(rows[i].width - widest * std::sqrt(y));
        if (found.outlier[i])
            continue;
        jacobian.row(k) = fit.jacobian.row(static_cast<Eigen::Index>(i));
        residuals(k) = fit.residuals(static_cast<Eigen::Index>(i));
        cubic(k++) = -series.slope(y) * std::pow(series.u[i], 3); // widths rise with it
    }
    result.skew = detail::added_term(jacobian, residuals, cubic);
    return result;
}

} // namespace seamhold

#endif
