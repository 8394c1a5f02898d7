#ifndef SEAMHOLD_CALIBRATE_PART_CALIBRATION_HPP
#define SEAMHOLD_CALIBRATE_PART_CALIBRATION_HPP

#include "seamhold/calibrate/part_checks.hpp"
#include "seamhold/calibrate/part_fit.hpp"
#include "seamhold/calibrate/part_hold.hpp"
#include "seamhold/number/gradient.hpp"
#include "seamhold/statistics/robust_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

namespace seamhold {

namespace detail {

/// The rows of touches, one after the other, each over its own deviation, and their change with a step of the
/// part.
inline Linearised rows_of_touches(std::vector<PartTouch> const& touches, Pose<Cell, Part> const& pose,
                                  double deviation) {
    using G = Gradient<double, 6>;
    std::array<G, 6> step;
    for (int k = 0; k < 6; ++k)
        step[static_cast<std::size_t>(k)] = G::variable(0.0, k);
    auto const moving = moved_by(pose, step);
    Eigen::Index count = 0;
    for (auto const& touch : touches)
        count += static_cast<Eigen::Index>(rows_held(touch));
    Linearised rows{Eigen::VectorXd(count), Eigen::MatrixXd(count, 6)};
    Eigen::Index row = 0;
    for (auto const& touch : touches) {
        double const own =
            1 / (deviation * std::visit([](auto const& t) { return t.relative_deviation; }, touch));
        auto const off = rows_of(touch, moving);
        for (std::size_t k = 0; k < off.count; ++k, ++row) {
            rows.residuals(row) = own * off.rows[k].value;
            for (int c = 0; c < 6; ++c)
                rows.jacobian(row, c) = own * off.rows[k].partial[c];
        }
    }
    return rows;
}

/// What a touch is off by at a pose, in the part's axes.
inline Direction<Part> off_of(PartTouch const& touch, Pose<Cell, Part> const& pose) {
    auto const rows = rows_of(touch, pose).rows;
    return std::visit(
        [&](auto const& t) -> Direction<Part> {
            using Touch = std::decay_t<decltype(t)>;
            if constexpr (std::is_same_v<Touch, PointTouch>) {
                return inverse_times(pose, t.touched - pose * t.known);
            } else if constexpr (std::is_same_v<Touch, BeamTouch>) {
                return inverse_times(pose, across(pose * t.known - t.origin, t.direction));
            } else if constexpr (std::is_same_v<Touch, FaceTouch>) {
                return rows[0] * t.outward;
            } else {
                auto const from = [&] {
                    auto const p = inverse_times(pose, t.touched);
                    if constexpr (std::is_same_v<Touch, BallTouch>)
                        return p - t.centre;
                    else
                        return across(p - t.on, t.along);
                }();
                if constexpr (std::is_same_v<Touch, EdgeTouch>)
                    if (!(t.tip_radius > 0))
                        return from;
                double const length = norm(from);
                return (length > 0 ? rows[0] / length : 0.0) * from;
            }
        },
        touch);
}

/// Where the search starts: as given, or as the points say.
inline Pose<Cell, Part> part_start(std::vector<PartTouch> const& touches, PartOptions const& options) {
    auto const points = points_of(touches);
    bool spread = points.size() >= 3;
    if (spread)
        try {
            (void)fit_pose(points);
        } catch (BadInput const&) {
            if (touches.size() == points.size() && !options.start)
                throw; // says which points coincide or lie on one line
            spread = false;
        }
    if (spread)
        check_points(points, options);
    if (options.start) {
        check_against_start(touches, *options.start);
        // Gross errors may bend the closed fit of points, a drawing may be far off: the nearer of the two.
        if (spread)
            if (auto const pose = fit_of(points).pose;
                median_miss(touches, pose) < median_miss(touches, *options.start))
                return pose;
        return *options.start;
    }
    if (!spread)
        throw BadInput("where the part is about must be given (PartOptions::start): from faces, edges, beams "
                       "and fewer than three points that stand apart it cannot be told");
    return fit_of(points).pose;
}

} // namespace detail

/// Where a part lies in the cell, from touches of any kinds at once: points, faces, edges, round surfaces,
/// balls, beams through points. Least squares of what they miss, on the manifold of poses, with exact
/// derivatives; each touch counts by its relative deviation. The classical three touches on one face, two on
/// the next and one on the third hold a part and leave no residual; what they miss shows only with more.
/// Where there are three directions more than the six that are needed, gross errors are left out and named
/// (`robust_least_squares`; a touch goes with all its rows), unless `find_outliers` says not to.
///
/// Throws BadInput, in words, for touches that are not finite or not possible (`check`); for too few; for a
/// part that is left free in some direction, naming all of them; for points that are a mirror image of the
/// drawing, and for units or columns that look mixed up, naming them; and where no start is given and none
/// can be found.
inline PartFit fit_part(std::vector<PartTouch> const& touches, PartOptions const& options = {}) {
    std::size_t rows = 0;
    for (std::size_t i = 0; i < touches.size(); ++i) {
        check(touches[i], i);
        rows += rows_held(touches[i]);
    }
    if (options.deviation && !(*options.deviation > 0))
        throw BadInput("the deviation of a touch must be above 0 m; given " +
                       detail::text_of(*options.deviation));
    if (touches.empty())
        throw BadInput("no touches of the part were given; three on one face, two on the next and one on the "
                       "third hold it");
    auto const start = detail::part_start(touches, options);
    double const scale = options.deviation.value_or(1);
    auto const linearised = [&](Pose<Cell, Part> const& pose) {
        return detail::rows_of_touches(touches, pose, scale);
    };
    auto const moved = [](Pose<Cell, Part> const& pose, Eigen::VectorXd const& by) {
        return moved_by(pose, std::array<double, 6>{by(0), by(1), by(2), by(3), by(4), by(5)});
    };
    if (rows < 6) {
        detail::check_held(touches, start, linearised(start).jacobian, options.least_hold);
        throw BadInput("the touches hold the part in " + std::to_string(rows) +
                       " directions; six are needed"); // not reached: five rows leave one open
    }
    auto fit = least_squares(start, linearised, moved);
    detail::check_held(touches, fit.state, fit.jacobian, options.least_hold);

    std::vector<bool> outlier(touches.size(), false);
    if (options.find_outliers && rows >= 9) {
        RobustOptions how;
        if (options.deviation)
            how.deviation = 1;
        auto const robust = robust_least_squares(fit.state, linearised, moved, 1, how);
        Eigen::VectorXd weights = Eigen::VectorXd::Ones(static_cast<Eigen::Index>(rows));
        std::size_t row = 0;
        for (std::size_t i = 0; i < touches.size(); ++i) {
            std::size_t const count = rows_held(touches[i]);
            for (std::size_t k = 0; k < count; ++k)
                outlier[i] = outlier[i] || robust.outlier[row + k];
            if (outlier[i])
                weights.segment(static_cast<Eigen::Index>(row), static_cast<Eigen::Index>(count)).setZero();
            row += count;
        }
        if (weights.sum() >= 6)
            fit = least_squares(robust.fit.state, linearised, moved, {}, weights);
        else
            outlier.assign(touches.size(), false);
    }

    PartFit result{fit.state, {}, 0, 0, {}, {}, 0, 0, {}};
    Eigen::MatrixXd const kept = fit.weights.cwiseSqrt().asDiagonal() * fit.jacobian;
    detail::check_held(touches, fit.state, kept, options.least_hold);
    constexpr double infinity = std::numeric_limits<double>::infinity();
    // In rows of `scale` m.
    double const told = scale * fit.deviation();
    bool const contradicted =
        options.deviation && scatter_more_than_stated(fit.sum_of_squares, fit.degrees_of_freedom, 1);
    if (contradicted)
        result.remarks.push_back("the touches scatter by " + detail::text_of(in_millimetres(told)) +
                                 " mm, more than the " + detail::text_of(in_millimetres(*options.deviation)) +
                                 " mm stated allow; intervals are by their scatter");
    double const expected = std::max(options.plausible_deviation, 4 * options.deviation.value_or(0));
    if (told > expected) {
        result.plausible = false;
        result.remarks.push_back(
            "the touches miss by " + detail::text_of(in_millimetres(told)) +
            " mm in each direction, more than touching explains: look for what moved, or for "
            "numbers that were mixed up");
    }
    if (options.deviation && !contradicted) {
        result.covariance = fit.unit_covariance;
        result.deviation = *options.deviation;
        result.degrees_of_freedom = infinity;
    } else if (fit.degrees_of_freedom > 0) {
        result.covariance = fit.covariance();
        result.deviation = told;
        result.degrees_of_freedom = fit.degrees_of_freedom;
    } else {
        result.covariance = PoseCovariance::Zero();
        result.covariance.diagonal().setConstant(infinity);
    }
    double counted = 0, longest = -1;
    for (std::size_t i = 0; i < touches.size(); ++i) {
        auto const off = detail::off_of(touches[i], fit.state);
        result.residuals.push_back({off, norm(off), outlier[i]});
        if (outlier[i]) {
            result.outliers.push_back(i);
            continue;
        }
        counted += 1;
        result.rms += sqr(result.residuals[i].distance);
        if (result.residuals[i].distance > longest) {
            longest = result.residuals[i].distance;
            result.worst_touch = i;
        }
    }
    result.rms = std::sqrt(result.rms / counted);

    // Two points that are both off and that fit once they are exchanged.
    for (std::size_t i : result.outliers)
        for (std::size_t k : result.outliers) {
            auto const* a = std::get_if<PointTouch>(&touches[i]);
            auto const* b = std::get_if<PointTouch>(&touches[k]);
            if (i >= k || !a || !b)
                continue;
            double const given = norm(a->touched - fit.state * a->known);
            double const exchanged =
                std::max(norm(a->touched - fit.state * b->known), norm(b->touched - fit.state * a->known));
            if (5 * exchanged < given)
                result.remarks.push_back("touches " + std::to_string(i + 1) + " and " +
                                         std::to_string(k + 1) + " look as if they had changed places");
        }
    return result;
}

} // namespace seamhold

#endif
