#ifndef SEAMHOLD_CALIBRATE_HEAD_WORDS_HPP
#define SEAMHOLD_CALIBRATE_HEAD_WORDS_HPP

#include "seamhold/calibrate/head_fit.hpp"
#include "seamhold/statistics/least_squares.hpp"

#include <Eigen/Dense>

#include <array>
#include <cmath>
#include <string>
#include <vector>

/// What marks do not tell of a head, in words.
namespace seamhold::detail {

/// One column of a head's fit: a parameter of the head, or one of the six numbers of a pose's step.
struct FittedColumn {
    enum class Of : std::uint8_t { head, mount, plate };
    Of of;
    HeadParameter parameter; ///< of the head
    int step;                ///< 0 to 5: turns about x, y, z, then shifts along them

    std::string name() const {
        if (of == Of::head)
            return to_string(parameter);
        std::string const axis =
            std::array<char const*, 3>{"x", "y", "z"}[static_cast<std::size_t>(step % 3)];
        return std::string(of == Of::mount ? "mount's " : "plate's ") +
               (step < 3 ? "turn about " : "shift along ") + axis;
    }
    std::string unit() const { return of == Of::head ? unit_of(parameter) : step < 3 ? "rad" : "m"; }
    /// Known no better than this, it counts as not determined.
    double most() const { return of == Of::head ? most_off(parameter) : step < 3 ? 0.1 : 0.03; }
};

inline std::vector<FittedColumn> fitted_columns(MarkingPlace const& place, HeadFitOptions const& options) {
    std::vector<FittedColumn> columns;
    for (auto const& freed : options.freed)
        columns.push_back({FittedColumn::Of::head, freed.parameter, 0});
    for (int k = 0; k < 6 && place.mount_freed; ++k)
        columns.push_back({FittedColumn::Of::mount, {}, k});
    for (int k = 0; k < 6 && place.plate_freed; ++k)
        columns.push_back({FittedColumn::Of::plate, {}, k});
    return columns;
}

/// Names as a sentence lists them: "a", "a and b", "a, b and c".
inline std::string all_named(std::vector<std::string> const& names) {
    std::string text;
    for (std::size_t i = 0; i < names.size(); ++i)
        text += (i == 0 ? "" : i + 1 == names.size() ? " and " : ", ") + names[i];
    return text;
}

/// What a direction of columns that marks leave open means and what to do about it. `share[k]` says how much
/// of the direction is column k's, the largest 1.
inline std::string words_of_open(std::vector<FittedColumn> const& columns, Eigen::VectorXd const& share) {
    std::vector<std::string> names;
    bool scale = false, height = false, zero = false, pose_tilt = false, across = false, pose_only = true,
         offset = false;
    for (std::size_t k = 0; k < columns.size(); ++k) {
        if (!(std::abs(share(static_cast<Eigen::Index>(k))) > 0.2))
            continue;
        auto const& column = columns[k];
        names.push_back("the " + column.name());
        if (column.of != FittedColumn::Of::head) {
            height = height || column.step == 5;
            pose_tilt = pose_tilt || column.step < 3;
            across = across || column.step == 3 || column.step == 4;
            continue;
        }
        pose_only = false;
        switch (column.parameter) {
        case HeadParameter::x_angle_scale:
        case HeadParameter::y_angle_scale:
        case HeadParameter::focal_length:
        case HeadParameter::separation:
            scale = true;
            break;
        case HeadParameter::focal_plane_z:
            height = true;
            break;
        case HeadParameter::x_zero_angle:
        case HeadParameter::y_zero_angle:
        case HeadParameter::beam_tilt_sideways:
        case HeadParameter::beam_tilt_upright:
        case HeadParameter::x_surface_tilt:
        case HeadParameter::y_surface_tilt:
            zero = true;
            break;
        default:
            offset = true;
        }
    }
    std::string text = "these marks do not determine the head: ";
    if (names.size() == 1)
        return text + "they say nothing about " + names[0] +
               "; fix it, say how far the drawing lets it be off, or mark at other distances and tilts";
    text += all_named(names) + " are not told apart. ";
    if (scale && height)
        return text + "Marks at one height only do not tell field scale from mount height: mark a second "
                      "height, or fix one of them";
    if (zero && pose_tilt)
        return text + "Zero angles and tilts of the beam are one and the same here as a tilt of the mount or "
                      "the plate: fix one, or say how far the drawing lets it be off";
    if (pose_only)
        return text + "Mount and plate move together: mark from flange poses that are turned against each "
                      "other about two axes, or give one of the two";
    if (offset && across)
        return text + "A shift of the beam is one and the same here as a shift of the mount or the plate: "
                      "fix one, or mark with the plate tilted both ways";
    return text + "Fix one, say how far the drawing lets it be off, or mark at more distances and tilts";
}

/// Throws BadInput, in words, where the columns leave a direction open, or where a number is known no better
/// than `FittedColumn::most`. `deviations` may be empty where nothing is known of the noise.
inline void check_determined(std::vector<FittedColumn> const& columns, Eigen::MatrixXd const& jacobian,
                             Eigen::VectorXd const& deviations, double rank_tolerance) {
    auto const m = static_cast<Eigen::Index>(columns.size());
    if (m == 0)
        return;
    Eigen::VectorXd const lengths = column_lengths(jacobian);
    for (Eigen::Index k = 0; k < m; ++k)
        if (!(jacobian.col(k).norm() > 0)) {
            Eigen::VectorXd alone = Eigen::VectorXd::Zero(m);
            alone(k) = 1;
            throw BadInput(words_of_open(columns, alone));
        }
    Eigen::JacobiSVD<Eigen::MatrixXd> const svd(
        Eigen::MatrixXd((jacobian * lengths.cwiseInverse().asDiagonal())
                            .householderQr()
                            .matrixQR()
                            .topRows(jacobian.cols()))
            .triangularView<Eigen::Upper>()
            .toDenseMatrix(),
        Eigen::ComputeFullV);
    auto const share_of = [&](Eigen::Index direction) {
        Eigen::VectorXd share = svd.matrixV().col(direction).head(m);
        return Eigen::VectorXd(share / share.cwiseAbs().maxCoeff());
    };
    auto const last = jacobian.cols() - 1;
    if (!(svd.singularValues()(last) > rank_tolerance * svd.singularValues()(0)))
        throw BadInput(words_of_open(columns, share_of(last)));
    for (Eigen::Index k = 0; k < m && k < deviations.size(); ++k) {
        auto const& column = columns[static_cast<std::size_t>(k)];
        if (deviations(k) <= column.most())
            continue;
        // The direction that makes this number so uncertain.
        Eigen::VectorXd const part =
            svd.matrixV().row(k).transpose().cwiseQuotient(svd.singularValues()).cwiseAbs();
        Eigen::Index direction = 0;
        part.maxCoeff(&direction);
        throw BadInput(words_of_open(columns, share_of(direction)) + " (the " + column.name() +
                       " is known to " + text_of(deviations(k)) + " " + column.unit() + " only; " +
                       text_of(column.most()) + " or better is asked)");
    }
}

} // namespace seamhold::detail

#endif
