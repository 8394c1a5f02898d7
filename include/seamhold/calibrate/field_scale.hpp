#ifndef SEAMHOLD_CALIBRATE_FIELD_SCALE_HPP
#define SEAMHOLD_CALIBRATE_FIELD_SCALE_HPP

#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/calibrate/fit_kept.hpp"
#include "seamhold/calibrate/five_marks.hpp"
#include "seamhold/head/command.hpp"
#include "seamhold/number/units.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

namespace seamhold {

/// A mark on a plate square to the head's axis, and the beam that the head should have had for it.
struct ScaleRow {
    double height;   ///< of the plate above the lowest one, towards the head, m
    MarkPlace start; ///< where the beam meets the head's plane z = 0, m
    MarkPlace slope; ///< its x/z and y/z
    MarkPlace found; ///< the mark, m, in axes about those of the head
};

/// A row from a head: the beam that it answers for a command (its `ray`), cut with its plane z = 0. Throws
/// BadInput for a beam that does not go forward.
template <class Head>
ScaleRow scale_row(Head const& head, Command<> const& command, double height, MarkPlace const& found) {
    auto const ray = head.ray(command);
    if (!(ray.direction.z > 0))
        throw BadInput("a command of a field scale has a beam that does not leave the head forward");
    MarkPlace const slope{ray.direction.x / ray.direction.z, ray.direction.y / ray.direction.z};
    return {
        height, {ray.origin.x - ray.origin.z * slope.x, ray.origin.y - ray.origin.z * slope.y}, slope, found};
}

/// The scale of a head's field, and how far below the head the plate is.
struct FieldScale {
    Estimate scale;                   ///< found field over the head's own: 1.002 is larger by two thousandths
    Estimate distance;                ///< from the head's plane z = 0 to the lowest plate, m
    Estimate turn;                    ///< of the found axes against the head's, rad
    Estimate middle_x;                ///< where the head's axis meets the lowest plate, m
    Estimate middle_y;                ///< the same
    std::vector<MarkPlace> residuals; ///< found less fitted, m
    std::vector<bool> outlier;        ///< rows that were left out
    double deviation;                 ///< of one coordinate of a mark, m
};

/// How sure a field's scale must be.
struct ScaleOptions {
    double worst_deviation = 1e-3; ///< standard deviation of the scale above which it is refused
    bool find_outliers = true;     ///< from 8 rows on
};

/// Scale and distance from marks at two heights or more: found = middle + scale · turn · (start + (distance −
/// height) · slope), by least squares. From one height only their product is known: a field a thousandth too
/// large is a plate a thousandth further away. That is refused, saying how far apart a second height is
/// needed; so are heights so near to each other that the scale would be less sure than was asked. The plate
/// must be square to the head's axis and move along it: a tilt of the steps by 1 mrad shifts the marks by a
/// micrometre for each millimetre, all alike, and shows in the residuals, not in the scale. Throws BadInput
/// besides for fewer than 6 rows, numbers that are not finite, and marks that look mirrored, swapped or in
/// another unit.
inline FieldScale fit_field_scale(std::vector<ScaleRow> const& rows, ScaleOptions const& options = {}) {
    using detail::Complex;
    using detail::product;
    using detail::text_of;
    double low = std::numeric_limits<double>::infinity(), high = -low;
    std::vector<Complex> slopes, found;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        for (double const x : {rows[i].height, rows[i].start.x, rows[i].start.y, rows[i].slope.x,
                               rows[i].slope.y, rows[i].found.x, rows[i].found.y})
            if (!is_finite(x))
                throw BadInput("row " + std::to_string(i + 1) + " of the field scale is not finite");
        low = std::min(low, rows[i].height);
        high = std::max(high, rows[i].height);
        slopes.emplace_back(rows[i].slope.x, rows[i].slope.y);
        found.emplace_back(rows[i].found.x, rows[i].found.y);
    }
    if (rows.size() < 6)
        throw BadInput("a field scale needs 6 marks or more, better nine at each height; given " +
                       std::to_string(rows.size()));
    if (high - low > 1)
        throw BadInput("the heights of the field scale run over " + text_of(high - low) +
                       " m: they look like millimetres given as metres");
    auto const flat = detail::similarity_of(slopes, found);
    if (!(flat.spread > 1e-12 * static_cast<double>(rows.size()))) // a microradian
        throw BadInput("all marks of the field scale have the same command");
    double const reach = std::abs(flat.factor); // about the distance
    if (reach > 20)
        throw BadInput("the marks would lie on a plate " + text_of(reach) +
                       " m away: found places look like millimetres given as metres");
    // The same field at the size of the found one, so that only mirrors and swaps are left to be told.
    std::vector<Complex> sized;
    sized.reserve(slopes.size());
    for (auto const& slope : slopes)
        sized.push_back(reach * slope);
    detail::check_marks_move(sized, found, detail::similarity_of(sized, found));
    double const n = static_cast<double>(rows.size());
    double const scatter = std::sqrt(flat.sum / std::max(1.0, 2 * n - 4));
    if (high - low < 1e-6) {
        // The products scale · distance of two heights, each to scatter/√(spread); their difference by the
        // step is the scale.
        double const step = std::max(0.005, std::sqrt(2 / flat.spread) * scatter / options.worst_deviation);
        throw BadInput("all marks are at one height: the field's scale is not told from the distance of the "
                       "plate. Mark a second height, at least " +
                       text_of(in_millimetres(step)) + " mm apart");
    }
    // Numbers of the state: scale and turn as one complex number; distance / reach; middle / reach.
    double const size = reach;
    auto const linearised = [&](Eigen::VectorXd const& state) {
        auto const count = 2 * static_cast<Eigen::Index>(rows.size());
        Linearised all{Eigen::VectorXd(count), Eigen::MatrixXd(count, 5)};
        Complex const factor(state(0), state(1));
        for (std::size_t i = 0; i < rows.size(); ++i) {
            Complex const start(rows[i].start.x / size, rows[i].start.y / size);
            Complex const arm = start + (state(2) - rows[i].height / size) * slopes[i];
            Complex const miss = found[i] / size - Complex(state(3), state(4)) - product(factor, arm);
            Complex const by_distance = -product(factor, slopes[i]);
            auto const k = static_cast<Eigen::Index>(2 * i);
            all.residuals(k) = miss.real();
            all.residuals(k + 1) = miss.imag();
            all.jacobian.row(k) << -arm.real(), arm.imag(), by_distance.real(), -1, 0;
            all.jacobian.row(k + 1) << -arm.imag(), -arm.real(), by_distance.imag(), 0, -1;
        }
        return all;
    };
    Complex const unit = flat.factor / reach;
    Eigen::VectorXd start(5);
    start << unit.real(), unit.imag(), 1, flat.middle_after.real() / size, flat.middle_after.imag() / size;
    // The same marks with the steps the other way: they would fit a plate behind the head.
    Eigen::VectorXd behind = start;
    behind.head(3) *= -1;
    if (25 * least_squares(behind, linearised, detail::added).sum_of_squares <
        least_squares(start, linearised, detail::added).sum_of_squares)
        throw BadInput("the marks grow with the height: do heights count towards the head?");
    auto const kept = detail::fit_kept(start, linearised, 2, options.find_outliers && rows.size() >= 8);
    auto const& fit = kept.fit;
    if (!fit.determined)
        throw BadInput(
            "the marks do not determine the field's scale: spread them over the field at both heights");
    Eigen::MatrixXd const covariance = fit.covariance();
    Complex const factor(fit.state(0), fit.state(1));
    double const scale = std::abs(factor);
    Eigen::Vector2d const along(factor.real() / scale, factor.imag() / scale), across(-along(1), along(0));
    Eigen::Matrix2d const block = covariance.topLeftCorner<2, 2>();
    double const freedom = fit.degrees_of_freedom;
    auto const deviation_of = [&](Eigen::Index k) { return size * std::sqrt(covariance(k, k)); };
    FieldScale result{{scale, std::sqrt(along.dot(block * along)), freedom},
                      {size * fit.state(2), deviation_of(2), freedom},
                      {std::arg(factor), std::sqrt(across.dot(block * across)) / scale, freedom},
                      {size * fit.state(3), deviation_of(3), freedom},
                      {size * fit.state(4), deviation_of(4), freedom},
                      {},
                      kept.outlier,
                      size * fit.deviation()};
    if (result.scale.deviation > options.worst_deviation)
        throw BadInput(
            "heights " + text_of(in_millimetres(high - low)) +
            " mm apart leave the field's scale unsure by " + text_of(result.scale.deviation) +
            ": mark heights at least " +
            text_of(in_millimetres((high - low) * result.scale.deviation / options.worst_deviation)) +
            " mm apart");
    if (std::abs(scale - 1) > 0.2)
        throw BadInput("the field would be " + text_of(scale) +
                       " times as large as the head's own: are heights and places in metres, and do heights "
                       "count towards the head?");
    for (std::size_t i = 0; i < rows.size(); ++i) {
        auto const k = static_cast<Eigen::Index>(2 * i);
        result.residuals.push_back({size * fit.residuals(k), size * fit.residuals(k + 1)});
    }
    return result;
}

} // namespace seamhold

#endif
