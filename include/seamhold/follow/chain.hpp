#ifndef SEAMHOLD_FOLLOW_CHAIN_HPP
#define SEAMHOLD_FOLLOW_CHAIN_HPP

#include "seamhold/head/command.hpp"
#include "seamhold/motion/motion.hpp"
#include "seamhold/seam/seam.hpp"

namespace seamhold {

/// One evaluation of the chain: what the head must be told so that the spot is on the seam, and whether it
/// can.
template <class T> struct Followed {
    Aim<T> aim;
    Point<Head, T> target;     ///< where the spot belongs, in the head frame, m
    Direction<Head, T> normal; ///< the surface's normal there, unit
    Status status;             ///< `ok` only if the command is finite, in reach, and backed by data
};

/// The chain from a moving flange to a command: robot motion, part motion, where the head sits on the flange,
/// and the head. It is written once; the number put in for time decides what comes out: double gives the
/// command, Taylor<double, N> the command with its exact time derivatives. Immutable; any number of threads
/// may ask. Evaluation neither throws nor allocates where its parts do not.
template <class FlangeMotion, class PartMotion, class ScanHead, class S = double> struct Chain {
    FlangeMotion cell_from_flange;
    PartMotion cell_from_part;
    Pose<Flange, Head, S> flange_from_head;
    ScanHead head;

    /// The pose of the part in the head frame at time t, s.
    template <class T> auto head_from_part(T const& t) const {
        return inverse(cell_from_flange.at(t) * flange_from_head) * cell_from_part.at(t);
    }

    /// The command that puts the spot where `seam` wants it `seam_time` seconds after its start, at the
    /// moment t, s, of the robot's clock. Both carry their derivatives; to weld, seam_time is t − start.
    template <class AnyOrSeam, class T>
    auto follow(AnyOrSeam const& seam, T const& seam_time, T const& t) const {
        auto const spot = seam.at(seam_time);
        auto const cell_part = cell_from_part.at(t);
        auto const cell_flange = cell_from_flange.at(t);
        auto const target =
            inverse_times(flange_from_head, inverse_times(cell_flange, cell_part * spot.position));
        auto const normal =
            inverse_times(flange_from_head, inverse_times(cell_flange, cell_part * spot.normal));
        auto const aim = head.aim(target, focus_offset_of(seam));
        using R = std::decay_t<decltype(aim.command.x_mirror)>;
        Followed<R> result{aim, number_cast<R>(target), number_cast<R>(normal), status_of(aim)};
        if (!covers(value_of(t)))
            result.status = Status::no_data;
        if (result.status == Status::not_finite)
            result.aim.command = {number_cast<R>(0), number_cast<R>(0), number_cast<R>(0)};
        return result;
    }

    /// Whether all motions have data at time t, s.
    bool covers(double t) const { return has_data(cell_from_flange, t) && has_data(cell_from_part, t); }

    /// The times at which a derivative of a motion may jump, s, increasing.
    std::vector<double> breaks() const {
        return detail::merged(breaks_of(cell_from_flange), breaks_of(cell_from_part));
    }
};

/// The cosine of the angle between the reversed beam and the surface's normal; 1 is perpendicular. The beam
/// leaves the last mirror's axis, so this is the angle at the spot, not at the head's origin.
template <class ScanHead, class T> T cosine_of_incidence(ScanHead const& head, Followed<T> const& followed) {
    return -dot(head.ray(followed.aim.command).direction, followed.normal);
}

} // namespace seamhold

#endif
