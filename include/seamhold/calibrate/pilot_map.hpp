#ifndef SEAMHOLD_CALIBRATE_PILOT_MAP_HPP
#define SEAMHOLD_CALIBRATE_PILOT_MAP_HPP

#include "seamhold/calibrate/estimate.hpp"
#include "seamhold/calibrate/fit_kept.hpp"
#include "seamhold/calibrate/five_marks.hpp"
#include "seamhold/number/units.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace seamhold {

/// One command looked at twice: where the pilot spot lay on the plate, and where the process light marked it.
struct PilotRow {
    double height;     ///< of the plate above the plane that places are stated in, m
    MarkPlace pilot;   ///< m, from the middle of the field
    MarkPlace process; ///< m, in the same axes
};

/// How the process light's place may depend on the pilot's.
enum class PilotTerms {
    similar, ///< a shift, a turn and a scale
    affine,  ///< also different scales along x and y, and a skew
    cubic    ///< all terms up to the third power
};

/// What is asked of a pilot map.
struct PilotOptions {
    PilotTerms terms = PilotTerms::similar; ///< see there
    bool one_height = false;                ///< whether a map that holds at its one height only will do
    bool find_outliers = true;              ///< from 8 rows on
};

namespace detail {

/// The products of a place's coordinates, as complex numbers, in the order in which a map has its terms: 1,
/// p, p̄, p², pp̄, p̄², p³, p²p̄, pp̄², p̄³, as many as asked for; then height times the first ones.
struct PilotProducts {
    std::size_t flat;   ///< terms without the height
    std::size_t raised; ///< terms with it

    std::size_t count() const { return flat + raised; }

    std::vector<Complex> at(Complex p, double height) const {
        Complex const q = std::conj(p);
        Complex const p2 = product(p, p), pq = product(p, q), q2 = product(q, q);
        Complex const all[] = {
            1, p, q, p2, pq, q2, product(p2, p), product(p2, q), product(pq, q), product(q2, q)};
        std::vector<Complex> result(all, all + flat);
        for (std::size_t k = 0; k < raised; ++k)
            result.push_back(height * all[k]);
        return result;
    }
};

} // namespace detail

/// From the pilot light's place on a plate to the process light's, and back. Both lights are steered by the
/// same mirrors, but glass bends them differently, and their axes do not quite agree.
class PilotMap {
public:
    /// The process light's place for the pilot's at this height, m. Throws BadInput for a height other than
    /// the one that the map was made for, if it was made for one; outside of the measured field it is a
    /// guess.
    MarkPlace process_place(MarkPlace const& pilot, double height) const {
        check_height(height);
        auto const at = forward({pilot.x / reach_, pilot.y / reach_}, height / height_reach_);
        return {at.real() * reach_, at.imag() * reach_};
    }

    /// The pilot's place for which the process light arrives at `process`: the inverse of `process_place` to
    /// 1e-14 of the field. Throws BadInput as that does, and where no pilot place near the field leads
    /// there.
    MarkPlace pilot_place(MarkPlace const& process, double height) const {
        check_height(height);
        detail::Complex const goal(process.x / reach_, process.y / reach_);
        double const h = height / height_reach_;
        detail::Complex p = goal;
        double step = 1;
        for (int i = 0; i < 50 && is_finite(step); ++i) {
            auto const miss = goal - forward(p, h);
            auto const [by_p, by_q] = slopes(p, h);
            // miss = by_p d + by_q d̄, and its conjugate.
            double const determinant = std::norm(by_p) - std::norm(by_q);
            auto const d = (detail::product(std::conj(by_p), miss) - detail::product(by_q, std::conj(miss))) /
                           determinant;
            p += d;
            if (std::abs(d) >= step && step < 1e-13)
                return {p.real() * reach_, p.imag() * reach_};
            step = std::abs(d);
            if (step == 0)
                return {p.real() * reach_, p.imag() * reach_};
        }
        throw BadInput("no pilot place near the field leads to (" + detail::text_of(process.x) + ", " +
                       detail::text_of(process.y) + ") m");
    }

    /// Where the process light arrives at height 0 while the pilot is in the middle of the field, m.
    Estimate shift_x() const { return part(0, false, reach_); }
    /// The same along y.
    Estimate shift_y() const { return part(0, true, reach_); }
    /// How the shift grows with height, rad: the angle between the two lights' axes. 0, without a deviation,
    /// for a map of one height.
    Estimate pointing_x() const { return raised(0, false, reach_ / height_reach_); }
    /// The same along y.
    Estimate pointing_y() const { return raised(0, true, reach_ / height_reach_); }
    /// By how much the process light's field is larger at height 0: 0.002 is by two thousandths.
    Estimate scale() const {
        auto estimate = along(false);
        estimate.value -= 1;
        return estimate;
    }
    /// How the process light's field is turned against the pilot's, rad.
    Estimate turn() const {
        auto estimate = along(true);
        double const size = std::abs(terms_[1]);
        return {std::arg(terms_[1]), estimate.deviation / size, estimate.degrees_of_freedom};
    }
    /// How the scale grows with height, 1/m. 0, without a deviation, for a map of one height.
    Estimate growth() const { return raised(1, false, 1 / height_reach_); }

    /// How sure `process_place` is, m: the standard deviation of either coordinate of the fitted place. A
    /// mark scatters about it by `deviation()`.
    double place_deviation(MarkPlace const& pilot, double height) const {
        auto const row = products_.at({pilot.x / reach_, pilot.y / reach_}, height / height_reach_);
        auto const n = static_cast<Eigen::Index>(row.size());
        Eigen::VectorXd all(2 * n);
        for (Eigen::Index k = 0; k < n; ++k) {
            all(2 * k) = row[static_cast<std::size_t>(k)].real();
            all(2 * k + 1) = -row[static_cast<std::size_t>(k)].imag();
        }
        return reach_ * std::sqrt(all.dot(covariance_ * all));
    }

    /// The standard deviation of one coordinate of a mark about the map, m.
    double deviation() const { return reach_ * deviation_; }
    /// Behind it.
    double degrees_of_freedom() const { return degrees_of_freedom_; }
    /// Measured less fitted process place, row by row, m.
    std::vector<MarkPlace> const& residuals() const { return residuals_; }
    /// Rows that were left out.
    std::vector<bool> const& outlier() const { return outlier_; }
    /// The one height that the map holds at, m, if it was made for one.
    std::optional<double> only_height() const { return only_height_; }

    /// Makes one, see there.
    friend PilotMap fit_pilot_map(std::vector<PilotRow> const& rows, PilotOptions const& options);

private:
    detail::Complex forward(detail::Complex p, double h) const {
        auto const row = products_.at(p, h);
        detail::Complex sum;
        for (std::size_t k = 0; k < row.size(); ++k)
            sum += detail::product(terms_[k], row[k]);
        return sum;
    }

    struct Slopes {
        detail::Complex by_p, by_q;
    };

    /// The derivatives by p and by its conjugate.
    Slopes slopes(detail::Complex p, double h) const {
        using detail::Complex;
        using detail::product;
        Complex const q = std::conj(p);
        Complex const p2 = product(p, p), pq = product(p, q), q2 = product(q, q);
        Complex const by_p[] = {0, 1, 0, 2.0 * p, q, 0, 3.0 * p2, 2.0 * pq, q2, 0};
        Complex const by_q[] = {0, 0, 1, 0, p, 2.0 * q, 0, p2, 2.0 * pq, 3.0 * q2};
        Slopes sum{};
        for (std::size_t k = 0; k < products_.count(); ++k) {
            std::size_t const term = k < products_.flat ? k : k - products_.flat;
            Complex const c = k < products_.flat ? terms_[k] : h * terms_[k];
            sum.by_p += product(c, by_p[term]);
            sum.by_q += product(c, by_q[term]);
        }
        return sum;
    }

    Estimate part(std::size_t term, bool imaginary, double unit) const {
        auto const k = static_cast<Eigen::Index>(2 * term + (imaginary ? 1 : 0));
        double const value = imaginary ? terms_[term].imag() : terms_[term].real();
        return {unit * value, unit * std::sqrt(covariance_(k, k)), degrees_of_freedom_};
    }

    Estimate raised(std::size_t term, bool imaginary, double unit) const {
        if (products_.raised == 0)
            return {0, 0, degrees_of_freedom_};
        return part(products_.flat + term, imaginary, unit);
    }

    /// The size of the scale, and the deviation along it, or across it.
    Estimate along(bool across) const {
        double const size = std::abs(terms_[1]);
        detail::Complex const unit = terms_[1] / size;
        Eigen::Vector2d const direction =
            across ? Eigen::Vector2d(-unit.imag(), unit.real()) : Eigen::Vector2d(unit.real(), unit.imag());
        Eigen::Matrix2d const block = covariance_.block<2, 2>(2, 2);
        return {size, std::sqrt(direction.dot(block * direction)), degrees_of_freedom_};
    }

    void check_height(double height) const {
        if (!is_finite(height))
            throw BadInput("a height that is not finite");
        if (only_height_ && std::abs(height - *only_height_) > 1e-9)
            throw BadInput("this pilot map holds at a height of " + detail::text_of(*only_height_) +
                           " m only; given " + detail::text_of(height) + " m. Mark a second height");
    }

    detail::PilotProducts products_{};
    std::vector<detail::Complex> terms_; ///< in shares of the reaches
    Eigen::MatrixXd covariance_;         ///< of real and imaginary parts, in turn
    double reach_ = 1;
    double height_reach_ = 1;
    double deviation_ = 0;
    double degrees_of_freedom_ = 0;
    std::vector<MarkPlace> residuals_;
    std::vector<bool> outlier_;
    std::optional<double> only_height_;
};

namespace detail {

/// How far a second height must be away, m, so that the shift's part that grows with height is known to 1e-4
/// rad and the scale's to 1e-3 for 100 mm: from the marks' scatter, their number and the field.
inline double needed_step(double deviation, double count, double spread) {
    double const of_pointing = std::sqrt(2 / count) * deviation / 1e-4;
    double const of_growth = std::sqrt(2 / spread) * deviation / 1e-2;
    return std::max({0.005, of_pointing, of_growth});
}

inline void check_pilot_rows(std::vector<PilotRow> const& rows) {
    for (std::size_t i = 0; i < rows.size(); ++i)
        for (double const x :
             {rows[i].height, rows[i].pilot.x, rows[i].pilot.y, rows[i].process.x, rows[i].process.y})
            if (!is_finite(x))
                throw BadInput("row " + std::to_string(i + 1) +
                               " of the pilot map holds a number that is not finite");
}

} // namespace detail

/// The map from pilot to process light from pairs of places at two heights or more: process = Σ c · products
/// of the pilot's place, the first of them also times the height, by least squares with a few outliers named.
/// From one height a shift of the light's axis is not told from a tilt of it, nor the scale of the field from
/// the height that the plate is at; that is refused, saying how far away a second height is needed, unless a
/// map for that height alone was asked for. Throws BadInput besides for too few rows, places on a line,
/// numbers that are not finite, and marks that look mirrored, swapped or in another unit. Places without
/// errors are met to some 1e-13 of the field.
inline PilotMap fit_pilot_map(std::vector<PilotRow> const& rows, PilotOptions const& options = {}) {
    using detail::text_of;
    detail::check_pilot_rows(rows);
    std::size_t const flat = options.terms == PilotTerms::similar  ? 2
                             : options.terms == PilotTerms::affine ? 3
                                                                   : 10;
    std::size_t const raised = options.one_height ? 0 : std::min<std::size_t>(flat, 3);
    PilotMap map;
    map.products_ = {flat, raised};
    std::size_t const count = map.products_.count();
    if (rows.size() < count + 1 || rows.size() < 4)
        throw BadInput("this pilot map needs " + std::to_string(std::max<std::size_t>(4, count + 1)) +
                       " rows or more, better twice as many; given " + std::to_string(rows.size()));
    std::vector<detail::Complex> pilot, process;
    double low = std::numeric_limits<double>::infinity(), high = -low, farthest = 0, tallest = 0;
    for (auto const& row : rows) {
        pilot.emplace_back(row.pilot.x, row.pilot.y);
        process.emplace_back(row.process.x, row.process.y);
        low = std::min(low, row.height);
        high = std::max(high, row.height);
        farthest = std::max(farthest, std::abs(pilot.back()));
        tallest = std::max(tallest, std::abs(row.height));
    }
    auto const similar = detail::similarity_of(pilot, process);
    double const n = static_cast<double>(rows.size());
    if (!(similar.spread > 1e-12 * n)) // a micrometre
        throw BadInput("all pilot places of the pilot map are the same");
    detail::check_marks_move(pilot, process, similar);
    if (tallest > 1 || high - low > 0.5)
        throw BadInput("the heights of the pilot map run from " + text_of(low) + " to " + text_of(high) +
                       " m: they look like millimetres given as metres");
    bool const one = high - low < 1e-6;
    if (one && !options.one_height)
        throw BadInput("all marks of the pilot map are at a height of " + text_of(low) +
                       " m: an offset of the light is not told from a tilt, nor the field's scale from the "
                       "height. Mark a second height, at least " +
                       text_of(in_millimetres(
                           detail::needed_step(std::sqrt(similar.sum / (2 * n - 4)), n, similar.spread))) +
                       " mm apart");
    if (!one && options.one_height)
        throw BadInput("a pilot map for one height was asked for, but the marks are at heights from " +
                       text_of(low) + " to " + text_of(high) + " m");

    map.reach_ = farthest;
    map.height_reach_ = tallest > 0 ? tallest : 1;
    if (options.one_height)
        map.only_height_ = low;
    auto const m = static_cast<Eigen::Index>(2 * count);
    auto const linearised = [&](Eigen::VectorXd const& state) {
        Linearised all{Eigen::VectorXd(2 * static_cast<Eigen::Index>(rows.size())),
                       Eigen::MatrixXd(2 * static_cast<Eigen::Index>(rows.size()), m)};
        for (std::size_t i = 0; i < rows.size(); ++i) {
            auto const products = map.products_.at(pilot[i] / map.reach_, rows[i].height / map.height_reach_);
            auto const k = static_cast<Eigen::Index>(2 * i);
            all.residuals(k) = process[i].real() / map.reach_;
            all.residuals(k + 1) = process[i].imag() / map.reach_;
            for (std::size_t term = 0; term < count; ++term) {
                auto const c = static_cast<Eigen::Index>(2 * term);
                all.jacobian.block<2, 2>(k, c) << -products[term].real(), products[term].imag(),
                    -products[term].imag(), -products[term].real();
            }
            all.residuals.segment(k, 2) += all.jacobian.middleRows(k, 2) * state;
        }
        return all;
    };
    auto const found =
        detail::fit_kept(Eigen::VectorXd::Zero(m), linearised, 2,
                         options.find_outliers && rows.size() >= std::max<std::size_t>(8, 2 * count));
    auto const& fit = found.fit;
    if (!fit.determined)
        throw BadInput(
            "the places of the pilot map do not determine it: spread them over the whole field, in rows and "
            "columns, at each height (cubic terms: four by four)");
    for (std::size_t term = 0; term < count; ++term) {
        auto const c = static_cast<Eigen::Index>(2 * term);
        map.terms_.emplace_back(fit.state(c), fit.state(c + 1));
    }
    map.covariance_ = fit.covariance();
    map.deviation_ = fit.deviation();
    map.degrees_of_freedom_ = fit.degrees_of_freedom;
    map.outlier_ = found.outlier;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        auto const k = static_cast<Eigen::Index>(2 * i);
        map.residuals_.push_back({map.reach_ * fit.residuals(k), map.reach_ * fit.residuals(k + 1)});
    }
    return map;
}

/// How much farther from the head the process light's focus lies than the pilot's, m, from the distances at
/// which each was sharpest at one place of the field: with the command at rest and the plate moved away.
inline Estimate pilot_focus_shift(Estimate const& process_distance, Estimate const& pilot_distance) {
    detail::check_estimate("the process light's focus", process_distance);
    detail::check_estimate("the pilot light's focus", pilot_distance);
    return difference_of(process_distance, pilot_distance);
}

} // namespace seamhold

#endif
