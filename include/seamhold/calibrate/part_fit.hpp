#ifndef SEAMHOLD_CALIBRATE_PART_FIT_HPP
#define SEAMHOLD_CALIBRATE_PART_FIT_HPP

#include "seamhold/calibrate/mount_fit.hpp"
#include "seamhold/calibrate/part_touch.hpp"
#include "seamhold/number/units.hpp"

#include <array>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

/// What a fit of a part's place answers.
namespace seamhold {

/// What is known before a part is fitted, and what counts as plausible.
struct PartOptions {
    /// Where the part is about, as by the drawing of the cell: within some 30° and its own size. Needed where
    /// fewer than three points beside one line were touched.
    std::optional<Pose<Cell, Part>> start;
    /// The standard deviation of a touch of relative deviation 1 in one direction, m, where it is known from
    /// elsewhere. Without it the residuals tell.
    std::optional<double> deviation;
    /// Residuals beyond this, m, or four times `deviation`, raise the suspicion that a unit or a column is
    /// mixed up. Common practice, no source.
    double plausible_deviation = millimetres(2);
    /// Whether touches that do not agree with the others are left out and named.
    bool find_outliers = true;
    /// A direction in which touches hold the part this much less than in the best counts as open.
    double least_hold = 1e-4;
};

/// What one touch misses at the fit.
struct TouchResidual {
    Direction<Part> off; ///< from where it should be to where it is, in the part's axes, m
    double distance;     ///< its length, m
    bool outlier;        ///< whether the touch was left out
};

/// Where a part lies, and how well that is known.
struct PartFit {
    Pose<Cell, Part> cell_from_part;
    PoseCovariance covariance; ///< of its step of six numbers, in the part's axes (`moved_by`); ∞ on the
                               ///< diagonal where neither touches nor the caller tell the deviation
    double deviation;          ///< of a touch in one direction, m: as given, or as the residuals tell
    double degrees_of_freedom; ///< of that deviation; ∞ where it was given, 0 where nothing tells it
    std::vector<TouchResidual> residuals; ///< touch by touch
    std::vector<std::size_t> outliers;    ///< touches that were left out, from 0
    double rms;                           ///< of the distances of the touches that counted, m
    std::size_t worst_touch;              ///< of those the one with the longest, from 0
    std::vector<std::string> remarks;     ///< what looks odd, in words
    bool plausible = true;                ///< the touches miss by no more than `PartOptions` expects

    /// The standard deviation of each of the six numbers, rad and m.
    std::array<double, 6> deviations() const { return deviations_of(covariance); }

    /// Half the width of the interval that holds each of the six numbers at a level. Throws BadInput where
    /// nothing tells the deviation: touch more than the six directions that hold the part.
    std::array<double, 6> half_widths(double level = 0.95) const {
        need_deviation();
        return half_widths_of(covariance, degrees_of_freedom, level);
    }

    /// Whether a pose lies in the region that holds the true one at a level, all six numbers at once.
    bool holds(Pose<Cell, Part> const& pose, double level = 0.95) const {
        need_deviation();
        return within_region(cell_from_part, covariance, degrees_of_freedom, pose, level);
    }

    /// The standard deviation of the place of a point of the part in the cell along a unit direction, m.
    /// ∞ where nothing tells it.
    double deviation_at(Point<Part> const& point, Direction<Cell> const& along) const {
        if (!(degrees_of_freedom > 0))
            return std::numeric_limits<double>::infinity();
        auto const d = inverse_times(cell_from_part.rotation, along);
        auto const turn = cross(Direction<Part>{point.x, point.y, point.z}, d);
        Eigen::Matrix<double, 6, 1> by;
        by << turn.x, turn.y, turn.z, d.x, d.y, d.z;
        return std::sqrt(by.dot(covariance * by));
    }

private:
    void need_deviation() const {
        if (!(degrees_of_freedom > 0))
            throw BadInput(
                "no more was touched than holds the part, so nothing tells how exact its place is: touch "
                "more, or give the deviation of a touch");
    }
};

} // namespace seamhold

#endif
