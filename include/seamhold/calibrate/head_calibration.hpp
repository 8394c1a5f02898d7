#ifndef SEAMHOLD_CALIBRATE_HEAD_CALIBRATION_HPP
#define SEAMHOLD_CALIBRATE_HEAD_CALIBRATION_HPP

#include "seamhold/calibrate/head_mark_checks.hpp"
#include "seamhold/calibrate/head_model.hpp"
#include "seamhold/calibrate/head_words.hpp"
#include "seamhold/statistics/robust_fit.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

namespace seamhold {

namespace detail {

/// A fit of a head in the making.
template <class Objective> class HeadSearch {
public:
    HeadSearch(HeadParts<Objective> const& drawn, std::vector<PlateMark> const& marks,
               MarkingPlace const& place, HeadFitOptions const& options)
        : model_(drawn, marks, place, options), marks_(marks.size()), options_(options),
          columns_(fitted_columns(place, options)) {}

    HeadModel<Objective> const& model() const { return model_; }
    std::vector<FittedColumn> const& columns() const { return columns_; }

    /// Plain least squares with weights of marks.
    LeastSquaresFit<HeadState> plain(HeadState const& start, std::vector<bool> const& outlier) const {
        Eigen::VectorXd weights = Eigen::VectorXd::Ones(model_.linearised(start).residuals.size());
        for (std::size_t i = 0; i < outlier.size(); ++i)
            if (outlier[i])
                weights.segment(2 * static_cast<Eigen::Index>(i), 2).setZero();
        return least_squares(
            start, [this](HeadState const& s) { return model_.linearised(s); },
            [this](HeadState const& s, Eigen::VectorXd const& by) { return model_.moved(s, by); }, {},
            weights);
    }

    RobustFit<HeadState> robust(HeadState const& start) const {
        if (!options_.find_outliers)
            return {plain(start, {}), std::vector<bool>(marks_, false), 1};
        RobustOptions how;
        if (options_.mark_deviation)
            how.deviation = 1;
        how.prior_rows = static_cast<int>(model_.linearised(start).residuals.size() - model_.mark_rows());
        return robust_least_squares(
            start, [this](HeadState const& s) { return model_.linearised(s); },
            [this](HeadState const& s, Eigen::VectorXd const& by) { return model_.moved(s, by); }, 2, how);
    }

    /// The terms up to a degree that head, mount, plate and the other terms do not already make: of those
    /// whose own share is below `least_new_share` the lowest goes first, until none is.
    std::vector<FieldTerm> own_terms(HeadState state, int degree, std::vector<std::string>& left_out) const {
        state.field.terms = field_terms(degree);
        left_out.clear();
        Eigen::MatrixXd jacobian = model_.linearised(state).jacobian;
        jacobian = (jacobian * column_lengths(jacobian).cwiseInverse().asDiagonal()).eval();
        Eigen::Index const fixed = model_.field_column();
        for (;;) {
            Eigen::Index const m = jacobian.cols();
            Eigen::MatrixXd const triangle = jacobian.householderQr()
                                                 .matrixQR()
                                                 .topRows(std::min(m, jacobian.rows()))
                                                 .template triangularView<Eigen::Upper>();
            Eigen::JacobiSVD<Eigen::MatrixXd> const svd(triangle, Eigen::ComputeFullV);
            Eigen::VectorXd inverse = Eigen::VectorXd::Constant(m, 1e12);
            for (Eigen::Index k = 0; k < svd.singularValues().size(); ++k)
                inverse(k) = 1 / std::max(svd.singularValues()(k), 1e-12);
            Eigen::VectorXd const grown =
                (svd.matrixV() * inverse.asDiagonal()).rowwise().norm(); // 1 / own share
            Eigen::Index drop = -1;
            for (Eigen::Index k = fixed; k < m && drop < 0; ++k)
                if (grown(k) * options_.least_new_share > 1)
                    drop = k;
            if (drop < 0)
                return state.field.terms;
            auto const at = state.field.terms.begin() + (drop - fixed);
            left_out.push_back(to_string(*at));
            state.field.terms.erase(at);
            for (Eigen::Index k = drop; k + 1 < m; ++k)
                jacobian.col(k) = jacobian.col(k + 1).eval();
            jacobian.conservativeResize(Eigen::NoChange, m - 1);
        }
    }

private:
    HeadModel<Objective> model_;
    std::size_t marks_;
    HeadFitOptions const& options_;
    std::vector<FittedColumn> columns_;
};

template <class Objective>
void check_head_options(HeadParts<Objective> const& drawn, std::vector<PlateMark> const& marks,
                        MarkingPlace const& place, HeadFitOptions const& options) {
    if (options.mark_deviation && !(*options.mark_deviation > 0))
        throw BadInput("the marks' deviation must be above 0 m; given " + text_of(*options.mark_deviation));
    for (std::size_t i = 0; i < options.freed.size(); ++i) {
        auto const& f = options.freed[i];
        check_has(drawn.objective, f.parameter);
        if (!(f.drawn_deviation > 0))
            throw BadInput("the drawn deviation of the " + to_string(f.parameter) +
                           " must be above 0, or without end; given " + text_of(f.drawn_deviation));
        if (is_finite(f.drawn_deviation) && !options.mark_deviation)
            throw BadInput("the drawn deviation of the " + to_string(f.parameter) +
                           " can only count against marks whose own deviation is given: set mark_deviation");
        for (std::size_t k = 0; k < i; ++k)
            if (options.freed[k].parameter == f.parameter)
                throw BadInput("the " + to_string(f.parameter) + " is freed twice");
    }
    if (options.freed.empty() && !place.mount_freed && !place.plate_freed && !options.field_degree)
        throw BadInput("nothing of the head is freed: name parameters, free mount or plate, or ask for a "
                       "field");
    if (options.field_degree && *options.field_degree != HeadFitOptions::lowest_that_suffices &&
        !(*options.field_degree >= 0 && *options.field_degree <= 12))
        throw BadInput("a field's degree must be from 0 to 12; given " +
                       std::to_string(*options.field_degree));
    if (options.most_field_degree < 0 || options.most_field_degree > 12)
        throw BadInput("the most field degree must be from 0 to 12; given " +
                       std::to_string(options.most_field_degree));
    std::size_t const unknowns =
        options.freed.size() + (place.mount_freed ? 6U : 0U) + (place.plate_freed ? 6U : 0U);
    if (2 * marks.size() < unknowns + 2)
        throw BadInput(std::to_string(unknowns) + " unknowns need " + std::to_string((unknowns + 3) / 2) +
                       " marks or more, better three times as many; given " + std::to_string(marks.size()));
}

inline Range range_of(std::vector<PlateMark> const& marks, double Command<>::*axis) {
    Range range{marks[0].command.*axis, marks[0].command.*axis};
    for (auto const& mark : marks) {
        range.low = std::min(range.low, mark.command.*axis);
        range.high = std::max(range.high, mark.command.*axis);
    }
    if (!(range.high - range.low > 1e-6))
        throw BadInput("a field cannot be told by marks that were all commanded at one angle of a mirror");
    return range;
}

} // namespace detail

/// The head that marks on a plate tell: the freed parameters, and with them, as far as freed, the mount, the
/// plate's place and a smooth field, all in one least-squares fit of the marks' places, beams traced forward
/// and derived exactly. `drawn` is the head by its drawing; an earlier field map in it stays under the new
/// field. Gross errors are left out and named (`robust_least_squares`). A drawn deviation counts as one more
/// measurement of its parameter, with the drawn number as its result.
///
/// A field's terms that the freed parameters, the mount and the plate make already are left out and listed.
/// The degree `lowest_that_suffices` is the lowest at which neither the next nor the one after it lowers the
/// sum of squares by more than chance does in one of a hundred (F test). The field comes out as the head's
/// map (`fit_field_map`), from marks' lowest to highest command.
///
/// Throws BadInput, in words: for options that clash; for marks that are too few, not finite, or look like
/// another unit, another column or a mirror image; for parameters that these marks do not determine, which
/// are those known no better than 0.03 m, 0.03 rad or 3 % (a slope 0.3, a turn of a pose 0.1 rad); and for a
/// field that folds over.
template <class Objective>
HeadFit<Objective> calibrate_head(HeadParts<Objective> const& drawn, std::vector<PlateMark> const& marks,
                                  MarkingPlace const& place, HeadFitOptions const& options) {
    detail::check_head_options(drawn, marks, place, options);
    detail::HeadSearch<Objective> const search(drawn, marks, place, options);
    auto const& model = search.model();
    detail::HeadState const start{{}, place.flange_from_head, place.cell_from_plate, {{-1, 1}, {-1, 1}, {}}};
    detail::check_marks(model, start, drawn, marks, place, options);

    detail::HeadState state = start;
    std::vector<bool> outlier(marks.size(), false);
    LeastSquaresOptions const tolerances;
    if (model.field_column() > 0) {
        auto const fit = search.plain(start, outlier);
        detail::check_determined(search.columns(), fit.jacobian, {}, tolerances.rank_tolerance);
        state = fit.state;
    }
    std::vector<std::string> left_out;
    int degree = 0;
    if (options.field_degree) {
        state.field.x = detail::range_of(marks, &Command<>::x_mirror);
        state.field.y = detail::range_of(marks, &Command<>::y_mirror);
        bool const lowest = *options.field_degree == HeadFitOptions::lowest_that_suffices;
        auto const highest = [&] {
            int most = lowest ? options.most_field_degree : *options.field_degree;
            // Half of the rows stay free to tell the noise.
            while (lowest && most > 0 &&
                   model.field_column() + (most + 1) * (most + 2) > model.mark_rows() / 2)
                --most;
            return most;
        }();
        auto const with_terms = [&](int of_degree) {
            if (model.mark_rows() < model.field_column() + (of_degree + 1) * (of_degree + 2) + 2)
                throw BadInput(
                    "a field of degree " + std::to_string(of_degree) + " needs " +
                    std::to_string((model.field_column() + (of_degree + 1) * (of_degree + 2)) / 2 + 1) +
                    " marks or more; given " + std::to_string(marks.size()));
            auto s = state;
            s.field.terms = search.own_terms(state, of_degree, left_out);
            return s;
        };
        degree = highest;
        if (lowest) {
            // Which marks are wrong is asked of the richest field, what suffices of the others.
            outlier = search.robust(with_terms(highest)).outlier;
            std::vector<LeastSquaresFit<detail::HeadState>> fits;
            for (int d = 0; d <= highest; ++d)
                fits.push_back(search.plain(with_terms(d), outlier));
            auto const adds = [&](int low, int high) {
                auto const &poor = fits[static_cast<std::size_t>(low)],
                           &rich = fits[static_cast<std::size_t>(high)];
                double const more = poor.degrees_of_freedom - rich.degrees_of_freedom;
                if (!(more > 0) || !(rich.degrees_of_freedom > 0))
                    return false;
                return (poor.sum_of_squares - rich.sum_of_squares) / more >
                       f_quantile(0.99, more, rich.degrees_of_freedom) * rich.sum_of_squares /
                           rich.degrees_of_freedom;
            };
            degree = 0;
            while (degree < highest &&
                   (adds(degree, degree + 1) || (degree + 2 <= highest && adds(degree, degree + 2))))
                ++degree;
        }
        state = with_terms(degree);
    }
    auto const robust = search.robust(state);
    auto const& fit = robust.fit;
    state = fit.state;

    auto const physical = model.field_column();
    bool const contradicted =
        options.mark_deviation && scatter_more_than_stated(fit.sum_of_squares, fit.degrees_of_freedom, 1);
    bool const stated = options.mark_deviation && !contradicted;
    double const known = stated ? 1.0 : fit.deviation();
    HeadFit<Objective> result{drawn,
                              state.correction,
                              {},
                              state.mount,
                              state.plate,
                              {},
                              sqr(known) * fit.unit_covariance.topLeftCorner(physical, physical),
                              {},
                              {},
                              robust.outliers(),
                              0,
                              0,
                              fit.deviation() / model.scale(),
                              fit.degrees_of_freedom,
                              {}};
    Eigen::VectorXd const deviations = result.covariance.diagonal().cwiseMax(0).cwiseSqrt();
    detail::check_determined(search.columns(), fit.jacobian, deviations, tolerances.rank_tolerance);

    // The numbers, each with its deviation.
    double const degrees =
        stated ? std::numeric_limits<double>::infinity() : std::max(fit.degrees_of_freedom, 1.0);
    if (contradicted)
        result.remarks.push_back("the marks scatter by " + detail::text_of(in_millimetres(result.deviation)) +
                                 " mm, more than the " +
                                 detail::text_of(in_millimetres(*options.mark_deviation)) +
                                 " mm stated allow; intervals are by their scatter");
    double const expected = std::max(options.plausible_deviation, 4 * options.mark_deviation.value_or(0));
    if (result.deviation > expected) {
        result.plausible = false;
        result.remarks.push_back(
            "the marks miss by " + detail::text_of(in_millimetres(result.deviation)) +
            " mm in each direction, more than reading explains: look for what moved, or free "
            "more of the head");
    }
    std::array<std::array<double, 6>, 2> const steps{step_between(start.mount, state.mount),
                                                     step_between(start.plate, state.plate)};
    for (Eigen::Index k = 0; k < physical; ++k) {
        auto const& column = search.columns()[static_cast<std::size_t>(k)];
        FittedNumber number{column.name(), column.unit(), 0, 0, deviations(k), degrees};
        if (column.of == detail::FittedColumn::Of::head) {
            number.drawn = detail::drawn_number(drawn.mirrors, drawn.objective, column.parameter);
            number.value = number.drawn + state.correction[column.parameter];
            for (auto const& freed : options.freed)
                if (freed.parameter == column.parameter &&
                    std::abs(state.correction[column.parameter]) > 4 * freed.drawn_deviation)
                    result.remarks.push_back("the " + to_string(column.parameter) + " is found " +
                                             detail::text_of(std::abs(state.correction[column.parameter]) /
                                                             freed.drawn_deviation) +
                                             " of its drawn deviations from its drawn number");
            result.parameters.push_back(number);
        } else {
            number.value = steps[column.of == detail::FittedColumn::Of::mount ? 0 : 1]
                                [static_cast<std::size_t>(column.step)];
            result.poses.push_back(number);
        }
        for (Eigen::Index i = 0; i < k; ++i) {
            double const size = deviations(i) * deviations(k);
            double const correlation = size > 0 ? result.covariance(i, k) / size : 0;
            if (std::abs(correlation) > options.named_correlation)
                result.correlations.push_back(
                    {search.columns()[static_cast<std::size_t>(i)].name(), column.name(), correlation});
        }
    }

    result.head.mirrors = corrected(drawn.mirrors, state.correction);
    result.head.objective = corrected(drawn.objective, state.correction);
    double kept = 0;
    for (std::size_t i = 0; i < marks.size(); ++i) {
        auto const before = model.place(start, marks[i]);
        auto const after = model.place(state, marks[i]);
        result.residuals.push_back({marks[i].x - before.x, marks[i].y - before.y, marks[i].x - after.x,
                                    marks[i].y - after.y, robust.outlier[i]});
        if (!robust.outlier[i]) {
            kept += 1;
            result.rms_before += sqr(result.residuals[i].before());
            result.rms_after += sqr(result.residuals[i].after());
        }
    }
    result.rms_before = std::sqrt(result.rms_before / kept);
    result.rms_after = std::sqrt(result.rms_after / kept);

    if (options.field_degree) {
        std::vector<std::array<double, 2>> commanded;
        commanded.reserve(marks.size());
        for (auto const& mark : marks)
            commanded.push_back({mark.command.x_mirror, mark.command.y_mirror});
        auto sampled = sampled_field(state.field, commanded, drawn.map ? &*drawn.map : nullptr);
        FittedField field{degree, state.field, left_out, sampled.worst, 0, 0};
        result.head.map = std::move(sampled.map);
        for (std::size_t i = 0; i < marks.size(); ++i) {
            if (robust.outlier[i])
                continue;
            auto const angles = result.head.map->forward(commanded[i][0], commanded[i][1]);
            auto const got =
                place_on_plate(state.plate, marks[i].cell_from_flange, state.mount,
                               result.head.objective.beam(result.head.mirrors.trace(angles[0], angles[1])));
            double const off = std::hypot(marks[i].x - got.x, marks[i].y - got.y);
            field.worst = std::max(field.worst, off);
            field.rms += sqr(off) / kept;
        }
        field.rms = std::sqrt(field.rms);
        result.field = std::move(field);
    }
    return result;
}

} // namespace seamhold

#endif
