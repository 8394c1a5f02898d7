#ifndef SEAMHOLD_CALIBRATE_PART_HOLD_HPP
#define SEAMHOLD_CALIBRATE_PART_HOLD_HPP

#include "seamhold/calibrate/part_fit.hpp"

#include <Eigen/Dense>

#include <array>
#include <cmath>
#include <string>
#include <vector>

/// In which directions touches leave a part free, in words.
namespace seamhold::detail {

/// The middle of what was touched, in the part, m.
inline Point<Part> middle_of_touches(std::vector<PartTouch> const& touches, Pose<Cell, Part> const& pose) {
    Eigen::Vector3d sum = Eigen::Vector3d::Zero();
    for (auto const& touch : touches) {
        auto const p = std::visit(
            [&](auto const& t) {
                if constexpr (std::is_same_v<std::decay_t<decltype(t)>, BeamTouch>)
                    return t.known;
                else
                    return inverse_times(pose, t.touched);
            },
            touch);
        sum += Eigen::Vector3d(p.x, p.y, p.z);
    }
    sum /= static_cast<double>(touches.size());
    return {sum.x(), sum.y(), sum.z()};
}

/// A direction of the part in words: an axis of it, or its numbers.
inline std::string axis_words(Eigen::Vector3d v, std::string const& before_axis) {
    v.normalize();
    for (int k = 0; k < 3; ++k)
        if (std::abs(v(k)) > 0.985) // within 10°
            return before_axis + std::array<char const*, 3>{"x", "y", "z"}[static_cast<std::size_t>(k)] +
                   " axis";
    auto const number = [](double x) { return text_of(std::round(100 * x) / 100 + 0.0); };
    return "the direction (" + number(v(0)) + ", " + number(v(1)) + ", " + number(v(2)) + ") of the part";
}

/// One open direction in words; `step` is a turn about the middle of the touches, in units of 1/size, and a
/// shift.
inline std::string words_of_free(Eigen::Matrix<double, 6, 1> const& step) {
    Eigen::Vector3d const turn = step.head<3>(), shift = step.tail<3>();
    if (turn.norm() > 0.5)
        return "nothing keeps the part from turning about " + axis_words(turn, "its ") +
               ": touch a face or an edge far beside that axis";
    return "nothing holds the part along " + axis_words(shift, "its ") + ": touch a face across it";
}

/// Throws BadInput where touches leave a direction of the part open, naming all that are. `rows` are those of
/// the fit, by a step of the part.
inline void check_held(std::vector<PartTouch> const& touches, Pose<Cell, Part> const& pose,
                       Eigen::MatrixXd const& jacobian, double least_hold) {
    auto const middle = middle_of_touches(touches, pose);
    Eigen::Matrix3d turns;
    turns << 0, -middle.z, middle.y, middle.z, 0, -middle.x, -middle.y, middle.x, 0; // middle × …
    // A turn w about the middle moves the part's origin by −w × middle = middle × w.
    Eigen::MatrixXd by_turn = jacobian.leftCols<3>() + jacobian.rightCols<3>() * turns;
    Eigen::MatrixXd const by_shift = jacobian.rightCols<3>();
    double const size = by_turn.norm() / by_shift.norm();
    if (size > 0)
        by_turn /= size;
    Eigen::MatrixXd all(jacobian.rows(), 6);
    all << by_turn, by_shift;
    Eigen::JacobiSVD<Eigen::MatrixXd> const svd(all, Eigen::ComputeFullV);
    Eigen::Index const known = svd.singularValues().size();
    Eigen::Index held = 0;
    while (held < known && svd.singularValues()(held) > least_hold * svd.singularValues()(0))
        ++held;
    if (held == 6)
        return;
    Eigen::MatrixXd const open = svd.matrixV().rightCols(6 - held);
    // Where shifts along axes or turns about them make up what is open, they are named; else what came out.
    std::string text;
    Eigen::Index named = 0;
    auto const add = [&](Eigen::Matrix<double, 6, 1> const& step) {
        text += (text.empty() ? "" : "; ") + words_of_free(step);
        ++named;
    };
    for (Eigen::Index k : {3, 4, 5, 0, 1, 2})
        if (open.row(k).norm() > 0.98)
            add(Eigen::Matrix<double, 6, 1>::Unit(k));
    if (named != open.cols()) {
        text.clear();
        for (Eigen::Index k = 0; k < open.cols(); ++k)
            add(open.col(k));
    }
    throw BadInput("these touches do not determine where the part lies: " + text);
}

} // namespace seamhold::detail

#endif
