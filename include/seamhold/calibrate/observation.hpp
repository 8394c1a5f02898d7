#ifndef SEAMHOLD_CALIBRATE_OBSERVATION_HPP
#define SEAMHOLD_CALIBRATE_OBSERVATION_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/head/command.hpp"
#include "seamhold/number/bad_input.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>

/// What is measured in a cell to find where things are: one line of the notebook a struct.
namespace seamhold {

/// A flat plate on which marks are made: z = 0 is its surface, z points to the head's side.
struct Plate;

/// A target that a sensor sees, as a board with a pattern or a ball with a frame of its own.
struct Target;

/// The spot was brought onto a target that stays where it is: where the robot stood and what the head was
/// told. The spot may be brought there by moving the robot, the mirrors or both.
struct BeamOnTarget {
    Pose<Cell, Flange> cell_from_flange; ///< as the robot reports it, at rest, m
    Command<> command;                   ///< mechanical mirror angles, rad, and lens, m
};

/// A mark that the beam made or shows on a plate, and where it was found there.
struct PlateMark {
    Pose<Cell, Flange> cell_from_flange; ///< as the robot reports it, at rest, m
    Command<> command;                   ///< mechanical mirror angles, rad, and lens, m
    double x;                            ///< of the found place in the plate's plane, m
    double y;                            ///< likewise
};

/// What a sensor in the head saw, a whole pose, while the flange stood still.
struct PosePair {
    Pose<Cell, Flange> cell_from_flange; ///< as the robot reports it, m
    Pose<Head, Target> head_from_target; ///< as the sensor reports it, m
};

namespace detail {

/// Throws BadInput for a pose with a number that is not finite or with axes that are no rotation's. `whose`
/// names it.
template <class To, class From> void check_pose(Pose<To, From> const& pose, std::string const& whose) {
    auto const& m = pose.rotation.m;
    double off = 0, sum = 0;
    Direction<To> axes[3];
    for (int i = 0; i < 3; ++i) {
        axes[i] = {m[0][i], m[1][i], m[2][i]};
        sum += m[0][i] + m[1][i] + m[2][i];
        for (int k = 0; k <= i; ++k)
            off = std::max(off, std::abs(dot(axes[i], axes[k]) - (i == k ? 1 : 0)));
    }
    if (!is_finite(sum) || !is_finite(pose.origin))
        throw BadInput(whose + " is not finite");
    double const determinant = dot(cross(axes[0], axes[1]), axes[2]);
    if (!(off <= 1e-6) || !(determinant > 0))
        throw BadInput(whose + " has axes that are no rotation's: they differ from orthogonal by " +
                       text_of(off) + " with determinant " + text_of(determinant) +
                       "; allowed are 1e-6 and +1");
}

/// Whether two poses are the same to the last bit.
template <class To, class From> bool same_pose(Pose<To, From> const& a, Pose<To, From> const& b) {
    if (a.origin.x != b.origin.x || a.origin.y != b.origin.y || a.origin.z != b.origin.z)
        return false;
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            if (a.rotation.m[i][k] != b.rotation.m[i][k])
                return false;
    return true;
}

/// Throws BadInput where two of a list are one and the same to the last bit: a row that was pasted twice
/// counts twice and makes intervals too narrow. A second measurement differs in its last digits.
template <class Notes, class Same>
void refuse_repeats(Notes const& notes, std::string const& what, Same const& same) {
    for (std::size_t i = 1; i < notes.size(); ++i)
        for (std::size_t k = 0; k < i; ++k)
            if (same(notes[i], notes[k]))
                throw BadInput(what + " " + std::to_string(k + 1) + " and " + std::to_string(i + 1) +
                               " are the same in every digit: one row was entered twice");
}

} // namespace detail

} // namespace seamhold

#endif
