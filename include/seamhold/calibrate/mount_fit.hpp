#ifndef SEAMHOLD_CALIBRATE_MOUNT_FIT_HPP
#define SEAMHOLD_CALIBRATE_MOUNT_FIT_HPP

#include "seamhold/calibrate/observation.hpp"
#include "seamhold/number/units.hpp"

#include <Eigen/Core>

#include <array>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

/// What a calibration of the mount answers.
namespace seamhold {

/// The covariance of a pose's step of six numbers (`moved_by`): turns about the axes of From, rad, then
/// shifts along them, m.
using PoseCovariance = Eigen::Matrix<double, 6, 6>;

/// What is known before a calibration of the mount, and what counts as plausible.
struct MountOptions {
    /// Where the mount is about, as by the drawing: within some 20° and a quarter of the working distance.
    /// Without it all rotations are searched.
    std::optional<Pose<Flange, Head>> start;
    /// The standard deviation of a found place in one direction, m, where it is known from elsewhere. Without
    /// it the residuals tell.
    std::optional<double> deviation;
    /// Residuals beyond this, m, or four times `deviation`, raise the suspicion that a unit or a column is
    /// mixed up. Common practice, no source: marks and pilot spots are read to some tenths of a millimetre.
    double plausible_deviation = millimetres(0.5);
    /// A mount known no better than this, rad or m, counts as not determined. An honest value for both is a
    /// tenth: beyond, a linear answer says little.
    double most_deviation = 0.1;
};

/// What one observation misses at the fit.
struct MountResidual {
    double x;    ///< m; across the beam, or in the plate's plane
    double y;    ///< likewise
    double norm; ///< √(x² + y²), m
};

/// What the data know least of the mount, and what would tell it.
struct MountWeakness {
    std::array<double, 6> step; ///< of the mount (turns, rad, then shifts, m): one deviation along it
    double deviation;           ///< its worst number as a share of `MountOptions::most_deviation`
    std::string direction;      ///< in words, as "a shift of the head along its z axis"
    std::string advice;         ///< in words, as "rotate the flange more about its y axis"
};

/// Where the head sits on the flange, and how well that is known.
struct MountFit {
    Pose<Flange, Head> flange_from_head;
    PoseCovariance covariance; ///< of its step of six numbers, in the head's axes
    double deviation; ///< of one of an observation's two numbers, m; as given, or as the residuals tell
    double degrees_of_freedom;            ///< of that deviation; ∞ where it was given
    std::vector<MountResidual> residuals; ///< observation by observation, the outliers' too
    std::vector<std::size_t> outliers;    ///< which observations were left out, from 0
    MountWeakness weakest;

    /// The standard deviation of each of the six numbers.
    std::array<double, 6> deviations() const;
    /// Half the width of the interval that holds each of the six numbers at a level, by Student's t: the
    /// turns about the head's axes, rad, and the shifts along them, m, by which the true mount differs.
    std::array<double, 6> half_widths(double level = 0.95) const;
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
