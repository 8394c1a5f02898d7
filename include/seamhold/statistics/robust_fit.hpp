#ifndef SEAMHOLD_STATISTICS_ROBUST_FIT_HPP
#define SEAMHOLD_STATISTICS_ROBUST_FIT_HPP

#include "seamhold/statistics/least_squares.hpp"
#include "seamhold/statistics/outlier_test.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>
#include <vector>

namespace seamhold {

/// How outliers are told from noise.
struct RobustOptions {
    double false_alarm =
        0.01; ///< the probability that a whole set of clean normal data loses any observation
    std::optional<double> deviation; ///< standard deviation of a row, where it is known beforehand
    double rounding = 0;        ///< a row's size that is rounding and no noise; see `robust_least_squares`
    int prior_rows = 0;         ///< the last rows, which belong to no observation and always count
    LeastSquaresOptions search; ///< of the fits
};

/// The fit of the observations that agree, and those that do not.
template <class State> struct RobustFit {
    LeastSquaresFit<State> fit; ///< plain least squares of the kept rows; the weights of the others are 0
    std::vector<bool> outlier;  ///< of each observation
    int rounds;                 ///< fits made

    /// The numbers of the outliers, counted from 0.
    std::vector<std::size_t> outliers() const {
        std::vector<std::size_t> numbers;
        for (std::size_t i = 0; i < outlier.size(); ++i)
            if (outlier[i])
                numbers.push_back(i);
        return numbers;
    }
};

/// Whether rows scatter more than a deviation that was stated beforehand allows: Σ r² / σ² beyond what chance
/// exceeds once in a thousand times. Then the stated one is wrong, and intervals made from it are too narrow.
inline bool scatter_more_than_stated(double sum_of_squares, double degrees_of_freedom, double stated) {
    return degrees_of_freedom > 0 &&
           sum_of_squares > sqr(stated) * chi_squared_quantile(0.999, degrees_of_freedom);
}

/// Least squares as `least_squares` does it, that a few gross errors do not bend. Rows come in observations
/// of `rows_per_observation` rows each, in order; a row is measured less predicted, in one unit throughout.
/// Rounds of reweighted fits (Huber) lead near the clean fit from the start; there the largest agreeing part
/// is found and the others are let back in one by one as long as they are not further off than chance makes
/// (see `agreeing`); the result is plain least squares of those kept. Up to a quarter of the observations may
/// be outliers. Clean normal noise loses an observation in a share `false_alarm` of the sets, so that stated
/// deviations stay honest. Rows below a rounding level are never outliers: 64 units in the last place of the
/// state's numbers times what they do to a row (a pose's numbers count as 1 rad and 1 m), or `rounding` where
/// that is more. Throws BadInput as `least_squares` does, and for rows that are no whole number of
/// observations.
template <class State, class Of, class Moved>
RobustFit<State> robust_least_squares(State const& start, Of const& linearised, Moved const& moved,
                                      int rows_per_observation, RobustOptions const& options = {}) {
    Linearised rows = linearised(start);
    Eigen::Index const n = rows.residuals.size();
    Eigen::Index const k = rows_per_observation;
    if (k < 1 || options.prior_rows < 0 || n < options.prior_rows || (n - options.prior_rows) % k != 0)
        throw BadInput("observations of " + std::to_string(k) + " rows and " +
                       std::to_string(options.prior_rows) + " prior rows do not make " + std::to_string(n));
    Eigen::Index const count = (n - options.prior_rows) / k;
    auto const weights_of = [&](Eigen::VectorXd const& of_observations) {
        Eigen::VectorXd weights = Eigen::VectorXd::Ones(n);
        for (Eigen::Index i = 0; i < count; ++i)
            weights.segment(i * k, k).setConstant(of_observations(i));
        return weights;
    };

    // Reweighted rounds of a few steps: an observation beyond the bound counts by bound / size.
    LeastSquaresOptions few = options.search;
    few.most_steps = 10;
    few.least_step = 0.01;
    State state = start;
    Eigen::VectorXd trust = Eigen::VectorXd::Ones(count);
    int rounds = 0;
    for (; rounds < 15; ++rounds) {
        Eigen::VectorXd const next = detail::huber_weights(rows.residuals, count, k);
        if (rounds > 0 && (next - trust).cwiseAbs().maxCoeff() < 0.02)
            break;
        trust = next;
        auto const fit = least_squares(state, linearised, moved, few, weights_of(trust));
        state = fit.state;
        rows = {fit.residuals, fit.jacobian};
    }

    // Judge, fit those kept, judge again, until the verdict stays.
    RobustFit<State> result{{state, {}, {}, {}, {}, 0, 0, {}, {}, false, false, 0}, {}, 0};
    std::vector<bool> kept;
    for (int judged = 0; judged < 10; ++judged) {
        double const rounding = std::max(options.rounding, 64 * detail::rounding_of(rows.jacobian, state));
        std::vector<bool> const verdict =
            detail::agreeing(rows, k, options.prior_rows, options.false_alarm, options.deviation, rounding);
        if (judged > 0 && verdict == kept)
            break;
        kept = verdict;
        Eigen::VectorXd keep(count);
        for (Eigen::Index i = 0; i < count; ++i)
            keep(i) = kept[static_cast<std::size_t>(i)] ? 1 : 0;
        result.fit = least_squares(state, linearised, moved, options.search, weights_of(keep));
        state = result.fit.state;
        rows = {result.fit.residuals, result.fit.jacobian};
        ++rounds;
    }
    result.outlier = kept;
    result.outlier.flip();
    result.rounds = rounds;
    return result;
}

} // namespace seamhold

#endif
