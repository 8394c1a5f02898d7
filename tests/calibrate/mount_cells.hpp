#ifndef SEAMHOLD_TESTS_CALIBRATE_MOUNT_CELLS_HPP
#define SEAMHOLD_TESTS_CALIBRATE_MOUNT_CELLS_HPP

#include "seamhold/calibrate/observation.hpp"
#include "seamhold/head/mirror_pair.hpp"
#include "support/random.hpp"
#include "support/real_heads.hpp"

#include <Eigen/Geometry>

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

// Cells with a head on a flange, and what is observed in them. The beams are traced by plain reflections and
// the poses are put together by Eigen: nothing is shared with the calibration. All numbers are invented.

namespace seamhold::test {

/// An ideal pair as the library has it.
inline MirrorPair<> ideal_head(double separation = 0.04) {
    Range const mirror{degrees(-10), degrees(10)};
    return {separation, separation + 0.5, 8, mirror, mirror, {-0.02, 0.02}, 1};
}

/// The same as plain numbers.
inline PlainHead plain_ideal_head(double separation = 0.04) {
    return {plain_pair(separation), {}, {}, separation + 0.5, 8, degrees(10), 0.02};
}

/// How poses are spread in a cell.
struct Spread {
    double tilt = 0.6;        ///< of the beam from the plate's normal, up to, rad
    double spin = 3;          ///< of the head about its z axis, to both sides, rad
    double deflection = 0.14; ///< of the mirrors, to both sides, rad
    double nearest = 0.4;     ///< along the beam, m
    double farthest = 0.65;
    double place = 0.15; ///< of marks on the plate, to both sides, m
};

/// A cell: what a calibration has to find.
struct MountCell {
    PlainHead head;
    Eigen::Isometry3d flange_from_head;
    Eigen::Isometry3d cell_from_plate; ///< its origin is the target
    Spread spread = {};

    /// An observation of a place in the plate's plane, by a head that stands in the cell as told. The beam
    /// passes `off` beside the place, in two directions across it.
    struct Seen {
        Eigen::Isometry3d cell_from_flange;
        Command<> command;
        double x, y;
    };

    /// The flange from which a command's beam passes beside a place. The head first looks straight down at
    /// the plate, then is turned by a rotation in its own axes.
    Seen seen(Command<> const& command, Eigen::Matrix3d const& turn, double distance, double x, double y,
              std::array<double, 2> const& off = {0, 0}) const {
        auto const line = beam_of(head, command.x_mirror, command.y_mirror).line;
        Eigen::Vector3d const d(line.direction.x, line.direction.y, line.direction.z);
        Eigen::Vector3d const p(line.point.x, line.point.y, line.point.z);
        Eigen::Vector3d const first = d.unitOrthogonal();
        Eigen::Vector3d const meets = p + distance * d + off[0] * first + off[1] * first.cross(d);
        Eigen::Isometry3d plate_from_head = Eigen::Isometry3d::Identity();
        plate_from_head.linear() =
            Eigen::AngleAxisd(std::numbers::pi, Eigen::Vector3d::UnitX()).toRotationMatrix() * turn;
        plate_from_head.translation() = Eigen::Vector3d(x, y, 0) - plate_from_head.linear() * meets;
        return {cell_from_plate * plate_from_head * flange_from_head.inverse(), command, x, y};
    }

    /// A random turn of the head as the spread says.
    Eigen::Matrix3d random_turn(Random& random) const {
        double const way = random.uniform(-std::numbers::pi, std::numbers::pi);
        Eigen::AngleAxisd const tilt(random.uniform(0, spread.tilt),
                                     Eigen::Vector3d(std::cos(way), std::sin(way), 0));
        Eigen::AngleAxisd const spin(random.uniform(-spread.spin, spread.spin), Eigen::Vector3d::UnitZ());
        return (spin * tilt).toRotationMatrix();
    }

    /// A random observation of a target at the plate's origin, or of a mark; noise as a deviation in each of
    /// two directions, m.
    Seen random_hit(Random& random, double noise = 0) const {
        auto const command = random_command(random);
        auto const turn = random_turn(random);
        double const distance = random.uniform(spread.nearest, spread.farthest);
        double const a = noise * random.normal();
        return seen(command, turn, distance, 0, 0, {a, noise * random.normal()});
    }
    Seen random_mark(Random& random, double noise = 0) const {
        auto const command = random_command(random);
        auto const turn = random_turn(random);
        double const distance = random.uniform(spread.nearest, spread.farthest);
        double const x = random.uniform(-spread.place, spread.place);
        auto mark = seen(command, turn, distance, x, random.uniform(-spread.place, spread.place));
        mark.x += noise * random.normal();
        mark.y += noise * random.normal();
        return mark;
    }

private:
    Command<> random_command(Random& random) const {
        double const x = random.uniform(-spread.deflection, spread.deflection);
        double const y = random.uniform(-spread.deflection, spread.deflection);
        return {x, y, random.uniform(-0.01, 0.01)};
    }
};

/// A random isometry: any rotation, an origin within a box.
inline Eigen::Isometry3d random_isometry(Random& random, double reach) {
    auto const q = random.on_sphere<4>();
    Eigen::Isometry3d pose = Eigen::Isometry3d::Identity();
    pose.linear() = Eigen::Quaterniond(q[0], q[1], q[2], q[3]).toRotationMatrix();
    double const x = random.uniform(-reach, reach), y = random.uniform(-reach, reach);
    pose.translation() = Eigen::Vector3d(x, y, random.uniform(-reach, reach));
    return pose;
}

/// A random cell with a head.
inline MountCell random_cell(Random& random, PlainHead const& head) {
    auto const mount = random_isometry(random, 0.3);
    return {head, mount, random_isometry(random, 1.5)};
}

/// A pose as the library has it.
template <class To, class From> Pose<To, From> pose_of(Eigen::Isometry3d const& pose) {
    Pose<To, From> result{{}, {pose.translation().x(), pose.translation().y(), pose.translation().z()}};
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            result.rotation.m[i][k] = pose.linear()(i, k);
    return result;
}

/// As the library takes them.
inline BeamOnTarget hit_of(MountCell::Seen const& seen) {
    return {pose_of<Cell, Flange>(seen.cell_from_flange), seen.command};
}
inline PlateMark mark_of(MountCell::Seen const& seen) {
    return {pose_of<Cell, Flange>(seen.cell_from_flange), seen.command, seen.x, seen.y};
}
inline std::vector<BeamOnTarget> random_hits(MountCell const& cell, Random& random, std::size_t count,
                                             double noise = 0) {
    std::vector<BeamOnTarget> hits;
    for (std::size_t i = 0; i < count; ++i)
        hits.push_back(hit_of(cell.random_hit(random, noise)));
    return hits;
}
inline std::vector<PlateMark> random_marks(MountCell const& cell, Random& random, std::size_t count,
                                           double noise = 0) {
    std::vector<PlateMark> marks;
    for (std::size_t i = 0; i < count; ++i)
        marks.push_back(mark_of(cell.random_mark(random, noise)));
    return marks;
}

/// By how much two poses differ: the rotation vector of from⁻¹ · to, rad, and its origin, m.
inline std::array<double, 6> difference_of(Eigen::Isometry3d const& from, Eigen::Isometry3d const& to) {
    Eigen::Isometry3d const between = from.inverse() * to;
    Eigen::AngleAxisd const turn(between.linear());
    Eigen::Vector3d const v = turn.angle() * turn.axis();
    auto const& t = between.translation();
    return {v.x(), v.y(), v.z(), t.x(), t.y(), t.z()};
}
template <class To, class From> Eigen::Isometry3d plain(Pose<To, From> const& pose) {
    Eigen::Isometry3d result = Eigen::Isometry3d::Identity();
    for (int i = 0; i < 3; ++i)
        for (int k = 0; k < 3; ++k)
            result.linear()(i, k) = pose.rotation.m[i][k];
    result.translation() = Eigen::Vector3d(pose.origin.x, pose.origin.y, pose.origin.z);
    return result;
}

/// The largest of six.
inline double largest(std::array<double, 6> const& six) {
    double most = 0;
    for (double const one : six)
        most = std::max(most, std::abs(one));
    return most;
}

} // namespace seamhold::test

#endif
