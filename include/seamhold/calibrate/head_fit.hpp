#ifndef SEAMHOLD_CALIBRATE_HEAD_FIT_HPP
#define SEAMHOLD_CALIBRATE_HEAD_FIT_HPP

#include "seamhold/calibrate/field_polynomial.hpp"
#include "seamhold/calibrate/head_parameter.hpp"
#include "seamhold/calibrate/observation.hpp"
#include "seamhold/head/head_parts.hpp"
#include "seamhold/number/units.hpp"
#include "seamhold/statistics/bounds.hpp"
#include "seamhold/statistics/quantiles.hpp"

#include <Eigen/Core>

#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

/// What a calibration of a head is asked and answers.
namespace seamhold {

/// A parameter of the head that marks are to tell, and how far the drawing lets it be off.
struct FreedParameter {
    HeadParameter parameter;
    /// The standard deviation from its drawn number, in its unit; without end where only the marks count.
    /// Where a field is fitted along, marks do not tell some parameters from its first terms (an angle's
    /// scale from a straight term). Without a drawn deviation the parameter takes it all and the term is left
    /// out; with one that counts beside the marks (`least_new_share`) both stay, and the drawing decides: the
    /// parameter keeps near its drawn
    /// number, with an honest interval. The head as a whole is the same.
    double drawn_deviation = std::numeric_limits<double>::infinity();
};

/// Where the marks were made from.
struct MarkingPlace {
    Pose<Flange, Head> flange_from_head; ///< known, or about where the search starts
    Pose<Cell, Plate> cell_from_plate;   ///< likewise
    bool mount_freed = false;            ///< whether the mount is fitted too
    bool plate_freed = false;            ///< whether the plate's place is fitted too
};

/// What is fitted of a head, and how.
struct HeadFitOptions {
    std::vector<FreedParameter> freed;
    /// The standard deviation of a found mark in one direction, m, where it is known from elsewhere; needed
    /// where a drawn deviation is given. Without it the residuals tell.
    std::optional<double> mark_deviation;
    /// The degree of a polynomial field that is fitted along; none if not set. `most_field_degree` is looked
    /// at where it is `lowest_that_suffices`.
    std::optional<int> field_degree;
    /// The highest degree that is looked at.
    int most_field_degree = 7;
    /// A term of the field counts as explained by head, mount and plate, and is left out, where all of it but
    /// this share can be made by them and other terms.
    double least_new_share = 0.01;
    /// Residuals beyond this, m, or four times `mark_deviation`, raise the suspicion that a unit or a column
    /// is mixed up. Common practice, no source.
    double plausible_deviation = millimetres(0.5);
    /// Whether marks that do not agree with the others are left out and named.
    bool find_outliers = true;
    /// Correlations from this on are named.
    double named_correlation = 0.9;

    /// A `field_degree` that asks for the lowest degree to which F tests of two more add nothing at 1 %.
    static constexpr int lowest_that_suffices = -1;
};

/// A number that was fitted.
struct FittedNumber {
    std::string name;
    std::string unit;
    double drawn;              ///< where it started
    double value;              ///< where the marks, and the drawing if it counts, put it
    double deviation;          ///< of the value
    double degrees_of_freedom; ///< of that deviation; ∞ where the marks' deviation was given

    /// The interval that holds the true number at a level, by Student's t.
    Bounds bounds(double level = 0.95) const {
        double const half =
            deviation > 0 ? deviation * student_quantile(detail::upper_end(level), degrees_of_freedom) : 0;
        return {value - half, value + half};
    }
};

/// Two fitted numbers that the marks hardly tell apart.
struct NamedCorrelation {
    std::string first;
    std::string second;
    double value; ///< from −1 to 1
};

/// What one mark missed, found less predicted, in the plate's plane, m.
struct MarkResidual {
    double x_before; ///< by the head as drawn, at the places given
    double y_before;
    double x; ///< by the fitted head
    double y;
    bool outlier; ///< whether the mark was left out

    /// The distance by the head as drawn, m.
    double before() const { return std::hypot(x_before, y_before); }
    /// The distance by the fitted head, m.
    double after() const { return std::hypot(x, y); }
};

/// The field as it came out of a fit.
struct FittedField {
    int degree;                        ///< as given, or found to suffice
    FieldPolynomial polynomial;        ///< true less commanded angles, without the head's own parameters
    std::vector<std::string> left_out; ///< terms that head, mount and plate explain already
    double sampling;                   ///< the largest distance of the map from the polynomial, rad
    double worst;                      ///< the longest residual of a mark by the head with the map, m
    double rms;                        ///< the root of the mean square of them, outliers apart, m
};

/// A head as marks tell it.
template <class Objective> struct HeadFit {
    HeadParts<Objective> head;            ///< ready for `real_head`; with the map, if a field was asked for
    HeadCorrection<> correction;          ///< from the drawn head
    std::vector<FittedNumber> parameters; ///< those that were freed, in the order given
    Pose<Flange, Head> flange_from_head;  ///< fitted where it was freed
    Pose<Cell, Plate> cell_from_plate;    ///< likewise
    std::vector<FittedNumber> poses; ///< the steps of mount and plate from where they started, six a freed
                                     ///< pose: turns about the axes of From, rad, and shifts along them, m
    /// Of parameters, then mount, then plate, as far as freed: in their units, in the order of `parameters`
    /// and `poses`; poses by their steps at the fit (`moved_by`).
    Eigen::MatrixXd covariance;
    std::vector<NamedCorrelation> correlations; ///< beyond `named_correlation`
    std::vector<MarkResidual> residuals;        ///< mark by mark
    std::vector<std::size_t> outliers;          ///< marks that were left out, from 0
    double rms_before;         ///< of the distances of the marks that counted, by the head as drawn, m
    double rms_after;          ///< by the fitted head, m
    double deviation;          ///< of a mark in one direction, as the residuals tell it, m
    double degrees_of_freedom; ///< of that
    std::optional<FittedField> field;
    std::vector<std::string> remarks = {}; ///< what looks odd, in words
    bool plausible = true;                 ///< marks miss by no more than `HeadFitOptions` expects
};

} // namespace seamhold

#endif
