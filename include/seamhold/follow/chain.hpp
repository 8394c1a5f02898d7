#ifndef SEAMHOLD_FOLLOW_CHAIN_HPP
#define SEAMHOLD_FOLLOW_CHAIN_HPP

#include "seamhold/follow/change.hpp"
#include "seamhold/head/scan_head.hpp"
#include "seamhold/motion/motion.hpp"
#include "seamhold/seam/seam.hpp"

namespace seamhold {

/// One evaluation of the chain: what the head must be told so that the spot is on the seam, and whether it
/// can.
template <class T> struct Followed {
    Aim<T, ValueOf<T>> aim; ///< the command, and the values of its clearances
    Point<Head, T> target;  ///< where the spot belongs, in the head frame, m
    StatusOf<T> status; ///< `ok` only if the command is finite, in reach, and backed by data; packs: by lane
};

/// The chain from a moving flange to a command: robot motion, part motion, where the head sits on the flange,
/// and the head. It is written once; the number put in for time decides what comes out: double gives the
/// command, Taylor<double, N> the command with its exact time derivatives. Immutable; any number of threads
/// may ask. Evaluation neither throws nor allocates where its parts do not.
template <class FlangeMotion, class PartMotion, class HeadModel, class S = double>
requires ScanHead<HeadModel>
struct Chain {
    FlangeMotion cell_from_flange;
    PartMotion cell_from_part;
    Pose<Flange, Head, S> flange_from_head;
    HeadModel head;

    /// What is given in the part frame (a point, a direction), in the head frame at time t, s; `change` says
    /// how part, flange and head may differ from what is given, see `Change`.
    template <class InPart, class T, class Changed = AsGiven>
    auto in_head(InPart const& given, T const& t, Changed const& change = {}) const {
        auto const cell = in_cell(given, t, change);
        auto const flange = with_pose(
            cell_from_flange, t, [&](auto const& cell_flange) { return inverse_times(cell_flange, cell); });
        return of_head(flange, change);
    }

    /// The same where the flange's pose in the cell is already known.
    template <class InPart, class T, class S2, class Changed = AsGiven>
    auto in_head(InPart const& given, T const& t, Pose<Cell, Flange, S2> const& cell_flange,
                 Changed const& change) const {
        return of_head(inverse_times(cell_flange, in_cell(given, t, change)), change);
    }

    /// The command that puts the spot where `seam` wants it `seam_time` seconds after its start, at the
    /// moment t, s, of the robot's clock. Both carry their derivatives; to weld, seam_time is t − start.
    template <class AnyOrSeam, class T>
    auto follow(AnyOrSeam const& seam, T const& seam_time, T const& t) const {
        return aimed_at(in_head(seam.at(seam_time).position, t), seam.focus_offset, t);
    }

    /// The command that puts the spot on a target in the head frame at the moment t, s, with the focus
    /// `focus_offset` m beyond it along the beam.
    template <class S2, class Offset, class T>
    auto aimed_at(Point<Head, S2> const& target, Offset const& focus_offset, T const& t) const {
        auto const aim = head.aim(target, focus_offset);
        using R = std::decay_t<decltype(aim.command.x_mirror)>;
        Followed<R> result{aim, number_cast<R>(target), with_data(status_of(aim), t)};
        if constexpr (is_packed<R>)
            blank_lanes(result.aim.command, result.status);
        else if (result.status == Status::not_finite)
            result.aim.command = {number_cast<R>(0), number_cast<R>(0), number_cast<R>(0)};
        return result;
    }

    /// What is given in the head frame, in the cell, with the flange's pose in the cell known.
    template <class InHead, class S2, class Changed = AsGiven>
    auto head_in_cell(InHead const& given, Pose<Cell, Flange, S2> const& cell_flange,
                      Changed const& change = {}) const {
        auto const in_flange = change.back_from_flange(flange_from_head * change.back_from_head(given));
        return cell_flange * in_flange;
    }

    /// What is given in the cell, in the part frame at time t, s.
    template <class InCell, class T, class Changed = AsGiven>
    auto cell_in_part(InCell const& given, T const& t, Changed const& change = {}) const {
        return change.back_from_part(with_pose(
            cell_from_part, t, [&](auto const& cell_part) { return inverse_times(cell_part, given); }));
    }

    /// What is given in the part frame, in the cell at time t, s.
    template <class InPart, class T, class Changed = AsGiven>
    auto in_cell(InPart const& given, T const& t, Changed const& change = {}) const {
        auto const in_part =
            change.of_part(number_cast<Common<T, std::remove_cvref_t<decltype(given.x)>>>(given));
        return with_pose(cell_from_part, t, [&](auto const& cell_part) { return cell_part * in_part; });
    }

    /// Whether all motions have data at time t, s.
    bool covers(double t) const { return has_data(cell_from_flange, t) && has_data(cell_from_part, t); }

    /// A status, or those of lanes, where the motions may have no data at time t, s.
    template <class AnyStatus, class T> AnyStatus with_data(AnyStatus status, T const& t) const {
        if constexpr (std::is_same_v<AnyStatus, Status>) {
            return status != Status::not_finite && !covers(value_of(t)) ? Status::no_data : status;
        } else {
            auto const times = value_of(t);
            for (int i = 0; i < static_cast<int>(std::size(status.lane)); ++i)
                status.lane[i] = with_data(status.lane[i], lane_or_same(times, i));
            return status;
        }
    }

    /// The times at which a derivative of a motion may jump, s, increasing.
    std::vector<double> breaks() const {
        return detail::merged(breaks_of(cell_from_flange), breaks_of(cell_from_part));
    }

private:
    static double lane_or_same(double x, int /*lane*/) { return x; }
    template <class V> static double lane_or_same(V const& x, int lane) { return lane_of(x, lane); }

    /// A command that is not finite is zero in its lane.
    template <class T, int W> static void blank_lanes(Command<T>& command, LaneStatus<W> const& status) {
        ValueOf<T> keep(1.0);
        bool all = true;
        for (int i = 0; i < W; ++i)
            if (status.lane[i] == Status::not_finite) {
                keep.set_lane(i, 0);
                all = false;
            }
        if (all)
            return;
        auto const mask = keep > ValueOf<T>(0.0);
        T const zero = number_cast<T>(0);
        command = {select(mask, command.x_mirror, zero), select(mask, command.y_mirror, zero),
                   select(mask, command.focus, zero)};
    }

    template <class InFlange, class Changed>
    auto of_head(InFlange const& in_flange, Changed const& change) const {
        return change.of_head(inverse_times(flange_from_head, change.of_flange(in_flange)));
    }
};

/// The cosine of the angle between the reversed beam and the surface's normal at the spot; 1 is
/// perpendicular. Of the seam `seam_time` seconds after its start at the moment t, s, with the beam as the
/// chain commands it.
template <class AnyChain, class AnyOrSeam>
double cosine_of_incidence(AnyChain const& chain, AnyOrSeam const& seam, double seam_time, double t) {
    auto const command = chain.follow(seam, seam_time, t).aim.command;
    return -dot(chain.head.ray(command).direction, chain.in_head(seam.at(seam_time).normal, t));
}

} // namespace seamhold

#endif
