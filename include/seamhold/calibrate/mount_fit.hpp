#ifndef SEAMHOLD_CALIBRATE_MOUNT_FIT_HPP
#define SEAMHOLD_CALIBRATE_MOUNT_FIT_HPP

#include "seamhold/calibrate/observation.hpp"
#include "seamhold/frame/pose_step.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <Eigen/Dense>

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

/// What a calibration of the mount answers.
namespace seamhold {

/// The covariance of a pose's step of six numbers (`moved_by`): turns about the axes of From, rad, then
/// shifts along them, m.
using PoseCovariance = Eigen::Matrix<double, 6, 6>;

/// The standard deviation of each of a step's six numbers, rad and m.
inline std::array<double, 6> deviations_of(PoseCovariance const& covariance) {
    std::array<double, 6> all{};
    for (std::size_t k = 0; k < 6; ++k)
        all[k] = std::sqrt(covariance(static_cast<Eigen::Index>(k), static_cast<Eigen::Index>(k)));
    return all;
}

/// Half the width of the interval that holds each of a step's six numbers at a level, rad and m, by Student's
/// t. Throws BadInput for a level outside (0, 1).
inline std::array<double, 6> half_widths_of(PoseCovariance const& covariance, double degrees_of_freedom,
                                            double level = 0.95) {
    double const factor = student_quantile(detail::upper_end(level), degrees_of_freedom);
    auto all = deviations_of(covariance);
    for (double& one : all)
        one *= factor;
    return all;
}

/// Whether a pose lies in the region that holds the true one at a level, all six numbers at once, by Fisher's
/// F (H. Hotelling, Annals of Mathematical Statistics 2, 1931, 360–378; from memory). Throws BadInput for a
/// level outside (0, 1).
template <class To, class From>
bool within_region(Pose<To, From> const& fitted, PoseCovariance const& covariance, double degrees_of_freedom,
                   Pose<To, From> const& asked, double level = 0.95) {
    auto const step = step_between(fitted, asked);
    // Scaled first: radians and metres may differ by powers of ten.
    Eigen::VectorXd const scale = covariance.diagonal().cwiseSqrt().cwiseInverse();
    Eigen::MatrixXd const scaled = scale.asDiagonal() * covariance * scale.asDiagonal();
    Eigen::VectorXd d(6);
    for (int k = 0; k < 6; ++k)
        d(k) = scale(k) * step[static_cast<std::size_t>(k)];
    scaled.llt().matrixL().solveInPlace(d);
    double const distance = d.squaredNorm();
    return distance <= 6 * f_quantile(level, 6, degrees_of_freedom);
}

/// What is known before a calibration of the mount, and what counts as plausible.
struct MountOptions {
    /// Where the mount is about, as by the drawing: within some 20° and a quarter of the working distance.
    /// Without it all rotations are searched.
    std::optional<Pose<Flange, Head>> start;
    /// The standard deviation of a found place in one direction, m, where it is known from elsewhere. Without
    /// it the residuals tell.
    std::optional<double> deviation;
    /// Residuals beyond this, m, or beyond four times `deviation`, raise the suspicion that a unit or a
    /// column is mixed up. Common practice, no source: marks and pilot spots are read to some tenths of a
    /// millimetre.
    double plausible_deviation = millimetres(0.5);
    /// A mount of which any turn (rad) or shift (m) has a larger standard deviation counts as not determined:
    /// a linear answer says little there.
    double most_deviation = 0.1;
};

/// What a further observation can differ in.
enum class MountAdvice : std::uint8_t {
    turn_x,    ///< the flange turned about its x axis, the target or the mark kept in the beam
    turn_y,    ///< about its y axis
    turn_z,    ///< about its z axis
    distance,  ///< the head nearer and farther along the beam
    deflect_x, ///< the beam deflected more by the x mirror
    deflect_y  ///< by the y mirror
};

/// A piece of advice in words.
constexpr char const* to_string(MountAdvice advice) {
    switch (advice) {
    case MountAdvice::turn_x:
        return "rotate the flange more about its x axis";
    case MountAdvice::turn_y:
        return "rotate the flange more about its y axis";
    case MountAdvice::turn_z:
        return "rotate the flange more about its z axis";
    case MountAdvice::distance:
        return "bring the head nearer and farther along the beam";
    case MountAdvice::deflect_x:
        return "deflect the beam more by the x mirror";
    case MountAdvice::deflect_y:
        return "deflect the beam more by the y mirror";
    }
    return "";
}

/// What one observation misses at the fit.
struct MountResidual {
    double x;    ///< m; across the beam, or in the plate's plane
    double y;    ///< likewise
    double norm; ///< √(x² + y²), m
};

/// What the data know least of the mount, and what would tell it.
struct MountWeakness {
    std::array<double, 6> step; ///< of the mount: turns, rad, then shifts, m; one standard deviation along it
    double share;               ///< its length as a share of `most_deviation`, a radian as a metre
    std::string direction;      ///< in words, as "a shift of the head along its z axis"
    MountAdvice advice;         ///< the further observation that makes the mount's variances least
    double variance_left;       ///< the sum of the six variances after one such, as a share of that before
};

/// Where the head sits on the flange, and how well that is known.
struct MountFit {
    Pose<Flange, Head> flange_from_head;
    PoseCovariance covariance; ///< of its step of six numbers, in the head's axes
    double deviation;          ///< of one of an observation's two numbers, m, as the residuals tell
    double degrees_of_freedom; ///< behind the covariance: of that deviation; ∞ where `deviation` was given
    std::vector<MountResidual> residuals; ///< observation by observation, the outliers' too
    std::vector<std::size_t> outliers;    ///< which observations were left out, from 0
    bool plausible;                       ///< the residuals are no larger than `MountOptions` expects
    bool start_left;                      ///< the start given led astray; this was found without it
    MountWeakness weakest;
    bool as_stated = true; ///< false: the residuals scatter more than the `deviation` given allows, and the
                           ///< covariance is by the residuals instead

    /// The standard deviation of each of the six numbers, rad and m.
    std::array<double, 6> deviations() const { return deviations_of(covariance); }
    /// Half the widths of their intervals at a level; see `half_widths_of`.
    std::array<double, 6> half_widths(double level = 0.95) const {
        return half_widths_of(covariance, degrees_of_freedom, level);
    }
    /// Whether a mount, as that of an earlier day, agrees with this one; see `within_region`.
    bool agrees_with(Pose<Flange, Head> const& other, double level = 0.95) const {
        return within_region(flange_from_head, covariance, degrees_of_freedom, other, level);
    }
};

/// A mount found by hitting one target from many poses.
struct MountFromTarget {
    MountFit mount;
    Point<Cell> target;
    Eigen::Matrix3d target_covariance; ///< of its coordinates, m²
};

/// A mount found by marks on a plate.
struct MountFromPlate {
    MountFit mount;
    Pose<Cell, Plate> cell_from_plate;
    PoseCovariance
        plate_covariance; ///< of its step of six numbers, in the plate's axes; 0 where it was known
};

} // namespace seamhold

#endif
