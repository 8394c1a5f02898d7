#ifndef SEAMHOLD_CALIBRATE_OBSERVATION_HPP
#define SEAMHOLD_CALIBRATE_OBSERVATION_HPP

#include "seamhold/frame/pose.hpp"
#include "seamhold/head/command.hpp"

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

} // namespace seamhold

#endif
