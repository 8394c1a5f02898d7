#ifndef SEAMHOLD_CALIBRATE_POSE_PAIRS_HPP
#define SEAMHOLD_CALIBRATE_POSE_PAIRS_HPP

#include "seamhold/calibrate/pose_pair_checks.hpp"

#include <cstddef>
#include <vector>

/// Where a sensor's head sits on the flange, from pairs of whole poses: A X = X B.
namespace seamhold {

/// Where the head sits on the flange and where the target is, from pairs of the flange's pose and the
/// target's pose that a sensor in the head reports. Closed form first (F. Park and B. Martin, IEEE Trans.
/// Robotics and Automation 10(5), 1994, 717–721): with α and β the rotation vectors of a motion of the flange
/// and of the head, α = R β, so R = (MᵀM)^(−1/2) Mᵀ with M = Σ β αᵀ, by singular values so that two axes are
/// enough; then the origin is linear. From there all turns and shifts that are left are made small together,
/// weighed by their deviations: those given, or those that the residuals tell of turns and of shifts apart,
/// each with the degrees of freedom that the unknowns leave to it, over and over until they stay. Noise is
/// taken as the same in all directions. At least 3 pairs; 10 or more are wanted, turned by 30° or more about
/// two axes. For a sensor that stands in the cell and a target on the flange give the inverse of the flange's
/// poses: then `flange_from_head` is the head in the cell, and `cell_from_target` the target on the flange.
/// Throws BadInput for too few pairs; for a number that is not finite or axes that are no rotation's, by its
/// place; for motions that do not determine the mount, with what is open and what would close it; and for
/// pairs that only fit once a unit or a direction is put right, with its name. One gross outlier in ten is
/// left out and named. Exact to 1e-9 rad and m without noise (1000 random cells).
inline MountFromPairs calibrate_mount(std::vector<PosePair> const& pairs,
                                      PosePairOptions const& options = {}) {
    detail::check_options(options);
    detail::check_pairs(pairs);
    auto const solved = detail::solved_pairs(pairs, options);
    auto const& fit = solved.fit;
    auto const these = "these " + std::to_string(pairs.size()) + " pairs";
    auto const rows_of = [&](detail::PairCandidate const& candidate) {
        std::vector<PosePair> const one{candidate.pair};
        return detail::PairProblem{one, solved.turn_deviation, solved.shift_deviation}(fit.state).jacobian;
    };
    auto const further = detail::candidates_near(pairs, fit.state);
    if (!fit.determined)
        detail::refuse_undetermined(these, fit, LeastSquaresOptions().rank_tolerance, further, rows_of);
    bool const fits = solved.plausible(options);
    if (!fits) {
        auto const slips = detail::slips_found(pairs, options, solved);
        if (!slips.empty())
            throw BadInput(detail::listed(slips, ", or ") +
                           ": so the pairs fit, as given they do not (residuals of " +
                           detail::text_of(in_degrees(solved.turn_deviation)) + "° and " +
                           detail::text_of(in_millimetres(solved.shift_deviation)) + " mm)");
    }

    MountFromPairs result{fit.state.flange_from_head,
                          fit.unit_covariance.topLeftCorner<6, 6>(),
                          fit.state.cell_from_target,
                          fit.unit_covariance.bottomRightCorner<6, 6>(),
                          solved.turn_deviation,
                          solved.shift_deviation,
                          solved.degrees_of_freedom,
                          {},
                          {},
                          fits,
                          {}};
    result.as_stated = !solved.contradicted;
    auto const each = detail::PairProblem{pairs, 1, 1}(fit.state).residuals;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        auto const row = 6 * static_cast<Eigen::Index>(i);
        result.residuals.push_back({each.segment<3>(row).norm(), each.segment<3>(row + 3).norm()});
        if (solved.outlier[i])
            result.outliers.push_back(i);
    }
    Eigen::MatrixXd const used = fit.weights.cwiseSqrt().asDiagonal() * fit.jacobian;
    result.weakest = detail::weakness(result.covariance, options.most_deviation, used, further, rows_of);
    for (double const deviation : result.deviations())
        if (!(deviation <= options.most_deviation))
            throw BadInput(these + " hardly determine the mount: " + result.weakest.direction +
                           " has a standard deviation of " + detail::size_in_words(result.weakest.step) +
                           "; " + detail::advice_in_words(detail::advised(used, further, rows_of, 6).advice));
    return result;
}

} // namespace seamhold

#endif
